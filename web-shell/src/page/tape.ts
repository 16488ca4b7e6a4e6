// What the keys of the number pad do to the text that is being entered. No value is judged here: the core reads it.

/** The marks between two inches, coarse ones in one row and sixteenths in the other, as a tape shows them. */
export const EIGHTHS = ['1/8', '1/4', '3/8', '1/2', '5/8', '3/4', '7/8'] as const;
export const SIXTEENTHS = ['1/16', '3/16', '5/16', '7/16', '9/16', '11/16', '13/16', '15/16'] as const;

export type Key =
  | { key: 'digit'; digit: string }
  | { key: 'point' }
  | { key: 'fraction'; fraction: string }
  | { key: 'back' }
  | { key: 'clear' };

const FRACTION = /(?:^|\s)(\d+\/\d+)$/;

/** The text after a key. Digits go to the whole number, whether a fraction is there already or not. */
export function press(text: string, key: Key): string {
  const fraction = FRACTION.exec(text)?.[1] ?? '';
  const whole = fraction === '' ? text.trimEnd() : text.slice(0, text.length - fraction.length).trimEnd();
  switch (key.key) {
    case 'digit':
      return join(whole === '0' ? key.digit : whole + key.digit, fraction);
    case 'point':
      if (fraction !== '' || whole.includes('.')) return text;
      return `${whole === '' ? '0' : whole}.`;
    case 'fraction':
      // On a tape a mark is either a fraction or a decimal; the later one wins. The same mark again takes it back.
      if (key.fraction === fraction) return whole;
      return join(whole.split('.')[0] ?? '', key.fraction);
    case 'back':
      return fraction === '' ? whole.slice(0, -1) : whole;
    case 'clear':
      return '';
  }
}

function join(whole: string, fraction: string): string {
  if (fraction === '') return whole;
  return whole === '' || whole === '0' ? fraction : `${whole} ${fraction}`;
}

/** What is sent to be read: the text with the chosen unit, unless a unit was typed along. */
export function with_unit(text: string, unit: string): string {
  const trimmed = text.trim();
  return trimmed === '' || unit === '' || /[a-z"'%°]/i.test(trimmed) ? trimmed : `${trimmed} ${unit}`;
}

/** The fraction that is set, to show its key as pressed. */
export function fraction_of(text: string): string {
  return FRACTION.exec(text)?.[1] ?? '';
}
