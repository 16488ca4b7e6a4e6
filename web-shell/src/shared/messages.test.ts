import { expect, it } from 'vitest';
import { never, Plain } from './messages';

it('a failure keeps its kind beside its words, and is an error', () => {
  const plain = new Plain('not_saved', 'Not saved: the storage is full.');
  expect(plain).toBeInstanceOf(Error);
  expect([plain.kind, plain.message]).toEqual(['not_saved', 'Not saved: the storage is full.']);
});

it('a message of a kind that nobody handles is a fault, not silence', () => {
  expect(() => never({ type: 'unheard of' } as never)).toThrow(/unheard of/);
});
