import { describe, expect, it } from 'vitest';
import { type Route, read_route, without_sheet, write_route } from './route';

const ROUTES: Route[] = [
  { screen: 'day' },
  { screen: 'settings' },
  { screen: 'job', doc: '3Vx9', sheet: null },
  { screen: 'job', doc: '3Vx9', sheet: { sheet: 'fact', subject: 'a1.2', fact: 'tailpiece.length' } },
  { screen: 'place', doc: '3Vx9', place: 'a1.7', sheet: null },
  {
    screen: 'place',
    doc: '3Vx9',
    place: 'a1/7',
    sheet: { sheet: 'reason', provision: 'IRC P3201.6/a', subject: 'a1.2' },
  },
  { screen: 'notice', doc: '3Vx9' },
];

describe('the address', () => {
  it.each(ROUTES.map((route) => [write_route(route), route] as const))(
    '%s leads back to where it was written',
    (hash, route) => {
      expect(read_route(hash)).toEqual(route);
    },
  );

  it.each(['', '#', '#/nonsense', '#/job', '#/job//place', '#/%E0%A4%A'])(
    '%j leads to the jobs when it means nothing',
    (hash) => {
      expect(read_route(hash)).toEqual({ screen: 'day' });
    },
  );

  it('leaves the place as it was when what lies over it is closed', () => {
    const over: Route = { screen: 'place', doc: 'd', place: 'p', sheet: { sheet: 'fact', subject: 's', fact: 'f' } };
    expect(without_sheet(over)).toEqual({ screen: 'place', doc: 'd', place: 'p', sheet: null });
  });
});
