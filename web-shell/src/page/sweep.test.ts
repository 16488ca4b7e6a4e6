import { expect, it } from 'vitest';
import { by_subject } from './sweep';

it('brings what is wanted of one fixture together, in the order in which the fixtures come up', () => {
  const needs = ['heater 1/trap', 'heater 2/trap', 'heater 1/shutoff', 'pan/drain', 'heater 2/shutoff'].map((text) => {
    const [subject = '', what = ''] = text.split('/');
    return { subject, what };
  });
  expect(by_subject(needs).map(({ subject, what }) => `${subject}/${what}`)).toEqual([
    'heater 1/trap',
    'heater 1/shutoff',
    'heater 2/trap',
    'heater 2/shutoff',
    'pan/drain',
  ]);
  expect(by_subject([])).toEqual([]);
});
