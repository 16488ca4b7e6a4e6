// The words of the screen for codes that come from the core: for showing, never for deciding.

import type { DispositionWord, HistoryView, Mark, Tally, VerdictWord } from '../core/types';
import type { LinkState, Standing } from '../shared/messages';

export const VERDICT_WORDS: Record<VerdictWord, string> = {
  violates: 'Violates',
  undetermined: 'Undetermined',
  complies: 'Complies',
  settled: 'Settled',
  not_applicable: 'Not applicable',
};

/** Worst first: the order in which tallies and verdict lines are shown. */
export const VERDICT_ORDER: VerdictWord[] = ['violates', 'undetermined', 'complies', 'settled', 'not_applicable'];

export const DISPOSITION_SHAPE: Record<DispositionWord, VerdictWord | 'disputed'> = {
  approved: 'complies',
  approved_in_part: 'settled',
  corrections_required: 'violates',
  not_ready: 'not_applicable',
  no_access: 'not_applicable',
  open: 'undetermined',
};

export const MARK_WORDS: Record<Mark, string> = { yes: 'holds', no: 'does not hold', open: 'not known', none: '' };

export const HOW_WORDS: [string, string][] = [
  ['seen', 'Seen'],
  ['measured', 'Measured'],
  ['plans', 'From plans'],
  ['told', 'Told'],
];

export const STAGES: [string, string][] = [
  ['groundwork', 'Groundwork'],
  ['rough', 'Rough-in'],
  ['final', 'Final'],
  ['reinspection', 'Reinspection'],
];

export function stage_word(stage: string): string {
  return STAGES.find(([word]) => word === stage)?.[1] ?? stage;
}

export function how_word(how: string): string {
  return HOW_WORDS.find(([word]) => word === how)?.[1] ?? how;
}

export function count(number: number, one: string, many = `${one}s`): string {
  return `${number} ${number === 1 ? one : many}`;
}

export function tally_words(tally: Tally): string {
  const parts = VERDICT_ORDER.filter((word) => word !== 'not_applicable' && tally[word] > 0).map(
    (word) => `${tally[word]} ${VERDICT_WORDS[word].toLowerCase()}`,
  );
  if (tally.to_see > 0) parts.push(`${tally.to_see} still to see`);
  return parts.join(', ') || 'nothing to see';
}

export function standing_words(standing: Standing): string {
  const photos = standing.photos_waiting > 0 ? `, ${count(standing.photos_waiting, 'photo')} still to send` : '';
  switch (standing.word) {
    case 'absent':
      return 'Not on this tablet yet';
    case 'tablet':
      return `Only on this tablet${photos}`;
    case 'safe':
      return `Safe on the server${photos}`;
    case 'complete':
      return 'Safe on the server, complete';
  }
}

export const LINK_WORDS: Record<LinkState, string> = {
  off: 'Not connected',
  connecting: 'Looking for the server',
  connected: 'Connected',
  no_signal: 'No signal',
  sign_in: 'Signed out by the server',
};

export function clock(at_ms: number): string {
  return new Date(at_ms).toLocaleTimeString('en-US', { hour: 'numeric', minute: '2-digit' });
}

/** Today by this tablet's clock, `2026-11-25`. */
export function today(now = new Date()): string {
  return `${now.getFullYear()}-${String(now.getMonth() + 1).padStart(2, '0')}-${String(now.getDate()).padStart(2, '0')}`;
}

/** A day as people here write it: `Nov 25, 2026`; anything else is shown as it came. */
export function day_words(day: string): string {
  const match = /^(\d{4})-(\d{2})-(\d{2})$/.exec(day);
  if (match === null) return day;
  return new Date(Number(match[1]), Number(match[2]) - 1, Number(match[3])).toLocaleDateString('en-US', {
    year: 'numeric',
    month: 'short',
    day: 'numeric',
  });
}

/** An earlier visit in one line. */
export function visit_words(visit: HistoryView): string {
  return `${day_words(visit.on)}, ${stage_word(visit.stage)}, ${visit.disposition.replaceAll('_', ' ')}`;
}

const MOMENT = /\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}Z/g;

/** The core's moments (UTC) in the tablet's own zone: the hour for today, the day too for any other. */
export function local_times(text: string, now = new Date()): string {
  return text.replace(MOMENT, (moment) => {
    const at = new Date(moment);
    if (Number.isNaN(at.getTime())) return moment;
    const hour = clock(at.getTime());
    return today(at) === today(now) ? hour : `${day_words(today(at))}, ${hour}`;
  });
}
