import { describe, expect, it } from 'vitest';
import { EIGHTHS, fraction_of, type Key, press, SIXTEENTHS, with_unit } from './tape';

function keys(typed: string[]): string {
  return typed.reduce((text, one) => press(text, key_of(one)), '');
}

function key_of(one: string): Key {
  if (one === '<') return { key: 'back' };
  if (one === 'clear') return { key: 'clear' };
  if (one === '.') return { key: 'point' };
  return one.includes('/') ? { key: 'fraction', fraction: one } : { key: 'digit', digit: one };
}

describe('the keys of the number pad', () => {
  it.each([
    ['a tape reading is whole inches and a mark', ['2', '3', '5/8'], '23 5/8'],
    ['a mark alone needs no whole number', ['5/8'], '5/8'],
    ['a second mark replaces the first', ['2', '3', '5/8', '1/2'], '23 1/2'],
    ['the same mark again takes it back', ['2', '3', '5/8', '5/8'], '23'],
    ['digits after a mark go to the inches', ['2', '5/8', '3'], '23 5/8'],
    ['inches after a mark alone stand before it', ['5/8', '7'], '7 5/8'],
    ['a leading zero gives way to a digit', ['0', '7'], '7'],
    ['a leading zero gives way to a mark', ['0', '1/4'], '1/4'],
    ['a decimal keeps its leading zero', ['.', '2', '5'], '0.25'],
    ['a second point is not taken', ['1', '.', '5', '.', '2'], '1.52'],
    ['a mark drops the decimals', ['1', '.', '5', '1/4'], '1 1/4'],
    ['a point after a mark is not taken', ['1', '1/4', '.'], '1 1/4'],
    ['back takes the mark as a whole', ['2', '3', '5/8', '<'], '23'],
    ['back takes one digit', ['2', '3', '<'], '2'],
    ['back on nothing leaves nothing', ['<'], ''],
    ['clear leaves nothing', ['2', '3', '5/8', 'clear'], ''],
  ])('%s', (_, typed, expected) => {
    expect(keys(typed)).toBe(expected);
  });

  it('has every sixteenth of an inch exactly once', () => {
    const sixteenths = [...EIGHTHS, ...SIXTEENTHS]
      .map((mark) => mark.split('/').map(Number))
      .map(([part = 0, whole = 1]) => (part * 16) / whole);
    expect(sixteenths.sort((a, b) => a - b)).toEqual(Array.from({ length: 15 }, (_, index) => index + 1));
  });
});

describe('the unit', () => {
  it.each([
    ['is added to a bare number', '23 5/8', 'in', '23 5/8 in'],
    ['is not added when one was typed', '2 ft', 'in', '2 ft'],
    ['is not added when inches were typed as a mark', '23 5/8"', 'in', '23 5/8"'],
    ['is not added to nothing', '  ', 'in', ''],
    ['is not added where there is none', '3', '', '3'],
  ])('%s', (_, text, unit, expected) => {
    expect(with_unit(text, unit)).toBe(expected);
  });
});

it('shows which mark is set', () => {
  expect(fraction_of('23 5/8')).toBe('5/8');
  expect(fraction_of('5/8')).toBe('5/8');
  expect(fraction_of('23')).toBe('');
});
