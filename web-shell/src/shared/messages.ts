// What the page and the worker say to each other. The page asks, the worker answers each ask once; besides, the
// worker says what changed. Both ends switch over `type` exhaustively.

import type {
  Command,
  DispositionWord,
  FactHistory,
  HistoryView,
  JobView,
  NoticeView,
  PlacePage,
  ReadValue,
  ReasonPage,
  Tally,
} from '../core/types';

/** Who is signed in, as the server said it. */
export interface Session {
  user: string;
  name: string;
  role: string;
  agency: string;
  device: string;
}

/** What is on the screen: the worker keeps these views fresh. */
export type Look =
  | { screen: 'day' }
  | { screen: 'job'; doc: string; sheet: Sheet | null }
  | { screen: 'place'; doc: string; place: string; sheet: Sheet | null }
  | { screen: 'notice'; doc: string };

/** What lies over the screen. */
export type Sheet =
  | { sheet: 'reason'; provision: string; subject: string }
  | { sheet: 'fact'; subject: string; fact: string };

/** The views of one look; `problem` says why one could not be drawn. */
export interface Views {
  look: Look;
  job: JobView | null;
  place: PlacePage | null;
  notice: NoticeView | null;
  reason: ReasonPage | null;
  history: FactHistory | null;
  problem: string | null;
}

/** Where the work on one job is. `safe` and `complete` only ever come from the server's acknowledgement. */
export type StandingWord = 'absent' | 'tablet' | 'safe' | 'complete';

export interface Standing {
  word: StandingWord;
  photos_waiting: number;
  /** Why the server refused changes of this job; they are kept here. */
  refused: string | null;
  /** Why nothing more comes from the server for this job on this connection. */
  trouble: string | null;
  /** The server says that it has no such job for this user. */
  unavailable: boolean;
}

export interface JobRow {
  doc: string;
  permit: string;
  address: string;
  scope: string;
  stage: string;
  scheduled: string;
  adoption: string;
  applied_on: string;
  assigned: { user: string; name: string }[];
  /** Still on the server's list for this user; an unlisted job stays here until its work is safe. */
  listed: boolean;
  on_tablet: boolean;
  /** Everything that the visit needs is stored here: the record, the law that binds it, its photos. */
  ready: boolean;
  law: string;
  visits_before: number;
  last_visit: HistoryView | null;
  visit_open: string;
  disposition: { word: DispositionWord; label: string } | null;
  tally: Tally | null;
  standing: Standing;
  /** Why this job cannot be opened here. */
  problem: string | null;
}

export type LinkState = 'off' | 'connecting' | 'connected' | 'no_signal' | 'sign_in';

export interface Status {
  session: Session | null;
  link: LinkState;
  /** `elsewhere`: another tab holds storage and socket; this one only shows. */
  writer: 'here' | 'elsewhere';
  rulesets: { loaded: boolean; digest: string; problem: string | null };
  /** When the last change became durable here (ms), null before the first. */
  saved_at: number | null;
  rows: JobRow[];
  taking: { done: number; of: number } | null;
  /** Something that the user must know, beside single answers. */
  trouble: string | null;
}

export type Ask =
  | { type: 'start' }
  | { type: 'sign_in'; user: string; password: string; device: string }
  | { type: 'sign_out' }
  | { type: 'take_along' }
  | { type: 'watch'; look: Look }
  | { type: 'command'; doc: string; command: Command }
  | { type: 'photo'; doc: string; subject: string; caption: string; image: Blob }
  | { type: 'photo_image'; doc: string; sha256: string }
  | { type: 'read_value'; doc: string; subject: string; fact: string; text: string }
  | { type: 'import_jobs'; text: string }
  | { type: 'shown'; shown: boolean }
  | { type: 'take_over' };

/** What each ask is answered with. */
export interface Answers {
  start: Status;
  sign_in: Session;
  sign_out: null;
  take_along: null;
  watch: Views;
  command: null;
  photo: null;
  photo_image: Blob | null;
  read_value: ReadValue;
  import_jobs: ImportOutcome[];
  shown: null;
  take_over: null;
}

export interface ImportOutcome {
  permit: string;
  /** Null when it was taken; else what is wrong with it. */
  problem: string | null;
}

/** Why an ask was not fulfilled; the message says what happened, what was kept and what to do. */
export interface Failure {
  kind: 'refused' | 'not_saved' | 'no_signal' | 'sign_in' | 'elsewhere' | 'unreadable' | 'broken';
  message: string;
}

export type FromPage = { id: number; ask: Ask };

export type FromWorker =
  | { type: 'answer'; id: number; value: Answers[keyof Answers] }
  | { type: 'failure'; id: number; failure: Failure }
  | { type: 'status'; status: Status }
  | { type: 'views'; views: Views }
  /** The job of the place on the screen, which follows its views a moment later. */
  | { type: 'job'; doc: string; job: JobView }
  /** The core stopped; what was stored is on disk and a fresh start reads it. */
  | { type: 'stopped'; message: string };

/** An error that a user can act on. */
export class Plain extends Error {
  constructor(
    readonly kind: Failure['kind'],
    message: string,
  ) {
    super(message);
  }
}

/** For a `default:` branch: a union grown by one must not compile until it is handled. */
export function never(value: never): never {
  throw new Error(`unexpected ${JSON.stringify(value)}`);
}
