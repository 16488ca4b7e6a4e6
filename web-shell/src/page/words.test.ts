import { describe, expect, it } from 'vitest';
import type { Standing } from '../shared/messages';
import { day_words, local_times, standing_words, tally_words, today } from './words';

const standing = (word: Standing['word'], photos_waiting = 0): string =>
  standing_words({ word, photos_waiting, refused: null, trouble: null, unavailable: false });

describe('where the work is', () => {
  it('is never called safe before the server acknowledged it', () => {
    for (const photos of [0, 3]) {
      expect(standing('tablet', photos)).not.toMatch(/safe/i);
      expect(standing('absent', photos)).not.toMatch(/safe/i);
    }
  });

  it('is not called complete while photos wait', () => {
    expect(standing('safe', 1)).toBe('Safe on the server, 1 photo still to send');
    expect(standing('complete')).toMatch(/complete/);
  });
});

it('a tally reads worst first, with its numbers, and leaves out what is zero', () => {
  expect(tally_words({ complies: 4, violates: 1, undetermined: 0, settled: 0, not_applicable: 9, to_see: 3 })).toBe(
    '1 violates, 4 complies, 3 still to see',
  );
});

it('a day is the day of the tablet, not of Greenwich', () => {
  expect(today(new Date(2026, 10, 5, 23, 30))).toBe('2026-11-05');
  expect(day_words('2026-11-05')).toBe('Nov 5, 2026');
  expect(day_words('soon')).toBe('soon');
});

it('a moment of the core is shown by the clock of the tablet, with the day unless it is today', () => {
  const now = new Date(2026, 10, 25, 12);
  const at = (day: number) => new Date(2026, 10, day, 10, 42, 7).toISOString().replace('.000', '');
  expect(local_times(`${at(25)} by R. Okafor`, now)).toBe('10:42 AM by R. Okafor');
  expect(local_times(at(24), now)).toBe('Nov 24, 2026, 10:42 AM');
  expect(local_times('measured, 26 in', now)).toBe('measured, 26 in');
});
