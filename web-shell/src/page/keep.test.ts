import { expect, it } from 'vitest';
import { keep_same } from './keep';

it('keeps what says the same as the very object it was, and takes the rest as it comes', () => {
  const item = (id: string, value: number) => ({ id, facts: [{ value }] });
  const before = [item('sink', 1), item('tub', 2), item('gone', 3)];
  const fresh = [item('tub', 2), item('sink', 9), item('new', 4)];
  const kept = keep_same(before, fresh, (one) => one.id);
  expect(kept).toEqual(fresh);
  expect(kept[0]).toBe(before[1]);
  expect(kept[1]).toBe(fresh[1]);
  expect(kept[2]).toBe(fresh[2]);
});
