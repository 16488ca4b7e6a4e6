import { expect, it } from 'vitest';
import { free_name } from './names';

it.each([
  ['Sink', [], 'Sink'],
  ['Sink', ['Sink'], 'Sink 2'],
  ['Sink', ['sink', 'Sink 2'], 'Sink 3'],
  ['Sink 2', ['Sink', 'Sink 2'], 'Sink 3'],
  ['Water heater 1', ['Water heater 1', 'Water heater 2'], 'Water heater 3'],
])('%s beside %j starts as %s', (label, taken, expected) => {
  expect(free_name(label, taken)).toBe(expected);
});
