// Where the page is, as the address bar says it: the tablet's own back button walks back through the house.

import type { Look, Sheet } from '../shared/messages';

export type Route = { screen: 'settings' } | Look;

export function read_route(hash: string): Route {
  const [first, doc, second, ...rest] = hash.replace(/^#\/?/, '').split('/').map(decode);
  if (first === 'settings') return { screen: 'settings' };
  if (first !== 'job' || doc === undefined || doc === '') return { screen: 'day' };
  if (second === 'notice') return { screen: 'notice', doc };
  if (second === 'place' && rest[0] !== undefined && rest[0] !== '') {
    return { screen: 'place', doc, place: rest[0], sheet: read_sheet(rest.slice(1)) };
  }
  return { screen: 'job', doc, sheet: read_sheet(second === undefined ? [] : [second, ...rest]) };
}

export function write_route(route: Route): string {
  switch (route.screen) {
    case 'day':
      return '#/';
    case 'settings':
      return '#/settings';
    case 'notice':
      return `#/${['job', route.doc, 'notice'].map(encodeURIComponent).join('/')}`;
    case 'job':
      return `#/${['job', route.doc, ...write_sheet(route.sheet)].map(encodeURIComponent).join('/')}`;
    case 'place':
      return `#/${['job', route.doc, 'place', route.place, ...write_sheet(route.sheet)].map(encodeURIComponent).join('/')}`;
  }
}

/** The same place with nothing lying over it. */
export function without_sheet(route: Route): Route {
  return route.screen === 'job' || route.screen === 'place' ? { ...route, sheet: null } : route;
}

function read_sheet(parts: string[]): Sheet | null {
  const [sheet, a, b] = parts;
  if (a === undefined || b === undefined) return null;
  if (sheet === 'reason') return { sheet, provision: a, subject: b };
  if (sheet === 'fact') return { sheet, subject: a, fact: b };
  return null;
}

function write_sheet(sheet: Sheet | null): string[] {
  if (sheet === null) return [];
  return sheet.sheet === 'reason' ? ['reason', sheet.provision, sheet.subject] : ['fact', sheet.subject, sheet.fact];
}

function decode(part: string): string {
  try {
    return decodeURIComponent(part);
  } catch {
    return part;
  }
}
