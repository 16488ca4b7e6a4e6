// The shapes of engine/src/view.rs and command.rs, as the core hands them over in JSON.

export type VerdictWord = 'violates' | 'undetermined' | 'complies' | 'settled' | 'not_applicable';
export type Tally = {
  complies: number;
  violates: number;
  undetermined: number;
  settled: number;
  not_applicable: number;
  to_see: number;
};
export type JobView = {
  doc: string;
  permit: string;
  address: string;
  scope: string;
  contractor: string;
  applied_on: string;
  adoption: AdoptionView;
  visit: VisitView | null;
  history: HistoryView[];
  places: PlaceView[];
  tally: Tally;
  disagreements: DisagreementView[];
  disposition: DispositionView;
  read_only: string | null;
  faults: string[];
};
export type AdoptionView = { id: string; title: string; layers: string[]; digest: string; problem: string | null };
export type VisitView = { id: string; stage: string; stage_label: string; on: string; opened_by: string };
export type HistoryView = { on: string; stage: string; disposition: string; by: string; words: string };
export type PlaceView = {
  id: string;
  name: string;
  kind: string;
  depth: number;
  tally: Tally;
  subjects: number;
  disagreements: number;
  struck: StrikeView | null;
  left_open: StrikeView | null;
};
export type PlacePage = { place: PlaceView; subjects: SubjectView[]; still_to_see: NeedView[]; addable: KindView[] };
export type KindView = { kind: string; label: string; parent: string; parent_name: string };
export type SubjectView = {
  id: string;
  kind: string;
  kind_label: string;
  name: string;
  parent: string;
  depth: number;
  added_by: string;
  added_at: string;
  struck: StrikeView | null;
  facts: FactView[];
  closings: ClosingView[];
  verdicts: VerdictView[];
  photos: PhotoView[];
};
export type StrikeView = { by: string; at: string; why: string };
export type FactState = 'unknown' | 'seen' | 'disputed';
export type FactView = {
  fact: string;
  label: string;
  hint: string;
  entry: EntryForm;
  state: FactState;
  current: ObservationView[];
  earlier: number;
  wanted_for: string[];
  asked: boolean;
};
export type EntryForm =
  | { type: 'yes_no' }
  | { type: 'choice'; words: WordView[] }
  | { type: 'number'; units: string[]; fractions: boolean; least: string; most: string }
  | { type: 'count'; least: string; most: string }
  | { type: 'date' };
export type WordView = { word: string; label: string };
export type ObservationView = {
  id: string;
  value: string;
  typed: string;
  how: string;
  note: string;
  by: string;
  at: string;
  device: string;
};
export type ClosingView = { kind: string; label: string; closed: boolean; by: string; wanted: boolean };
export type VerdictView = {
  provision: string;
  subject: string;
  title: string;
  cite: string;
  verdict: VerdictWord;
  margin: string | null;
  because: string;
};
export type ReasonPage = {
  verdict: VerdictView;
  subject_name: string;
  place_name: string;
  lines: ReasonLine[];
  tell: string;
  look: string;
  why: string;
  basis: string;
  still_to_see: NeedView[];
};
export type Mark = 'yes' | 'no' | 'open' | 'none';
export type ReasonLine = { depth: number; mark: Mark; text: string; detail: string };
export type NeedView = {
  subject: string;
  subject_name: string;
  place: string;
  what: string;
  closing: boolean;
  label: string;
  wanted_for: string[];
};
export type DisagreementView = {
  subject: string;
  subject_name: string;
  place: string;
  fact: string;
  label: string;
  values: ObservationView[];
  effect: string;
};
export type DispositionWord = 'approved' | 'approved_in_part' | 'corrections_required' | 'not_ready' | 'no_access' | 'open';
export type DispositionView = { word: DispositionWord; label: string; because: string[]; may_issue: boolean };
export type PhotoView = {
  id: string;
  sha256: string;
  subject: string;
  caption: string;
  by: string;
  at: string;
  struck: StrikeView | null;
};
export type NoticeView = {
  title: string;
  agency: string;
  permit: string;
  address: string;
  contractor: string;
  scope: string;
  stage: string;
  on: string;
  law: string[];
  disposition: DispositionView;
  corrections: CorrectionView[];
  not_seen: string[];
  covered: string[];
  words: WordsView[];
  inspectors: string[];
  cautions: string[];
  issued: string;
  changed_since: string[];
};
export type CorrectionView = {
  number: number;
  provision: string;
  subject_id: string;
  place: string;
  subject: string;
  title: string;
  section: string;
  tell: string;
  found: string;
  limit: string;
  why: string;
  photos: PhotoView[];
  words: string[];
};
export type WordsView = { id: string; text: string; by: string; at: string };
export type FactHistory = { label: string; subject_name: string; items: FactHistoryItem[] };
export type FactHistoryItem = { observation: ObservationView; standing: string };
export type ReadValue = { canonical: string; spoken: string };

export type Command =
  | { do: 'open_visit'; stage: string; on: string }
  | { do: 'add_subject'; kind: string; name: string; parent: string }
  | { do: 'copy_subject'; subject: string; name: string }
  | { do: 'rename_subject'; subject: string; name: string }
  | { do: 'strike'; target: string; why: string }
  | { do: 'restore'; target: string; why: string }
  | { do: 'record'; subject: string; fact: string; value: string; how: string; note: string }
  | { do: 'withdraw'; subject: string; fact: string; note: string }
  | { do: 'close'; subject: string; kind: string; all: boolean }
  | { do: 'add_photo'; subject: string; sha256: string; bytes: number; caption: string }
  | { do: 'add_words'; text: string; provision: string | null; subject: string | null }
  | { do: 'hinder'; what: string; why: string }
  | { do: 'leave_open'; place: string; why: string }
  | { do: 'issue_notice'; received_by: string };
