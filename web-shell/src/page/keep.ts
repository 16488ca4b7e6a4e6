// The worker sends whole views; what did not change in them is kept as the very object it was, so that only what did
// change is drawn again: a tap is answered on screen before the thumb is off the glass.

import type { PlacePage } from '../core/types';

/** `fresh`, with every item that says the same as before replaced by the item of before. */
export function keep_same<T>(before: T[], fresh: T[], key: (item: T) => string): T[] {
  const known = new Map(before.map((item) => [key(item), item]));
  return fresh.map((item) => {
    const old = known.get(key(item));
    return old !== undefined && JSON.stringify(old) === JSON.stringify(item) ? old : item;
  });
}

/** The fresh page of a place, keeping what says the same as before. */
export function keep_page(before: PlacePage | null, fresh: PlacePage | null): PlacePage | null {
  if (before === null || fresh === null || before.place.id !== fresh.place.id) return fresh;
  return {
    ...fresh,
    subjects: keep_same(before.subjects, fresh.subjects, (subject) => subject.id),
    still_to_see: keep_same(
      before.still_to_see,
      fresh.still_to_see,
      (need) => `${need.subject}/${need.what}/${need.closing}`,
    ),
  };
}
