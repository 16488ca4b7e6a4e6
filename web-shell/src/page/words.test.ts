import { describe, expect, it } from 'vitest';
import type { Standing } from '../shared/messages';
import { day_words, standing_words, tally_words, today } from './words';

const standing = (word: Standing['word'], photos_waiting = 0): string =>
  standing_words({ word, photos_waiting, refused: null, unavailable: false });

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
