// Generated from engine/src/view.rs and command.rs by `cargo xtask types`. Do not edit.

export type AdoptionView = { id: string, title: string, 
/**
 * Base code, then each amending layer, as a person cites them.
 */
layers: Array<string>, 
/**
 * SHA-256 of the flat ruleset in force, in hex; empty if it could not be resolved.
 */
digest: string, 
/**
 * Why no adoption could be resolved, for a person to read.
 */
problem: string | null, };

export type ClosingView = { kind: string, label: string, closed: boolean, by: string, 
/**
 * Whether an open verdict waits for it.
 */
wanted: boolean, };

export type Command = { "do": "open_visit", stage: string, on: string, } | { "do": "add_subject", kind: string, name: string, parent: string, } | { "do": "copy_subject", subject: string, name: string, } | { "do": "rename_subject", subject: string, name: string, } | { "do": "strike", target: string, why: string, } | { "do": "restore", target: string, why: string, } | { "do": "record", subject: string, fact: string, value: string, how: string, note: string, } | { "do": "withdraw", subject: string, fact: string, note: string, } | { "do": "close", subject: string, kind: string, all: boolean, } | { "do": "add_photo", subject: string, sha256: string, bytes: number, caption: string, } | { "do": "add_words", text: string, provision: string | null, subject: string | null, } | { "do": "hinder", what: string, why: string, } | { "do": "leave_open", place: string, why: string, } | { "do": "issue_notice", received_by: string, };

export type CorrectionView = { number: number, 
/**
 * Ids that `AddWords` takes to speak about this correction.
 */
provision: string, subject_id: string, place: string, subject: string, title: string, section: string, tell: string, found: string, limit: string, why: string, photos: Array<PhotoView>, words: Array<string>, };

export type DisagreementView = { subject: string, subject_name: string, place: string, fact: string, label: string, values: Array<ObservationView>, 
/**
 * What the rules say under all of the values together.
 */
effect: string, };

export type DispositionView = { word: DispositionWord, label: string, 
/**
 * Why it is so, or what it waits for; one sentence each.
 */
because: Array<string>, 
/**
 * Whether a notice may be issued now.
 */
may_issue: boolean, };

export type DispositionWord = "approved" | "approved_in_part" | "corrections_required" | "not_ready" | "no_access" | "open";

export type EntryForm = { "type": "yes_no" } | { "type": "choice", words: Array<WordView>, } | { "type": "number", units: Array<string>, fractions: boolean, least: string, most: string, } | { "type": "count", least: string, most: string, } | { "type": "date" };

export type FactHistory = { label: string, subject_name: string, items: Array<FactHistoryItem>, };

export type FactHistoryItem = { observation: ObservationView, 
/**
 * `stands`, `replaced`, `withdrawn` or `disputed`.
 */
standing: string, };

export type FactState = "unknown" | "seen" | "disputed";

export type FactView = { 
/**
 * Name in the vocabulary, `tailpiece.length`.
 */
fact: string, label: string, 
/**
 * How to see or measure it.
 */
hint: string, entry: EntryForm, state: FactState, 
/**
 * One observation when seen, two or more when disputed.
 */
current: Array<ObservationView>, 
/**
 * How many earlier observations stand behind the current ones.
 */
earlier: number, 
/**
 * Titles of the provisions that still wait for it.
 */
wanted_for: Array<string>, 
/**
 * Whether any provision in force at this stage reads it.
 */
asked: boolean, };

export type HistoryView = { on: string, stage: string, disposition: string, by: string, words: string, };

export type JobView = { doc: string, permit: string, address: string, scope: string, contractor: string, 
/**
 * Date the permit was applied for, `2026-03-02`: it chooses the law.
 */
applied_on: string, adoption: AdoptionView, 
/**
 * The open visit, if one is open.
 */
visit: VisitView | null, 
/**
 * Earlier visits of this permit, oldest first.
 */
history: Array<HistoryView>, 
/**
 * Depth first: levels, then their rooms.
 */
places: Array<PlaceView>, tally: Tally, disagreements: Array<DisagreementView>, disposition: DispositionView, 
/**
 * Set when this record may be read but not written, with the reason to show.
 */
read_only: string | null, 
/**
 * Faults met in reading the record: entries that were skipped and why.
 */
faults: Array<string>, };

export type KindView = { kind: string, label: string, 
/**
 * The subject it would be put into.
 */
parent: string, parent_name: string, };

export type Mark = "yes" | "no" | "open" | "none";

export type NeedView = { subject: string, subject_name: string, place: string, 
/**
 * A fact's name, or a kind for `closing`.
 */
what: string, closing: boolean, label: string, 
/**
 * Titles of the provisions that wait for it.
 */
wanted_for: Array<string>, };

export type NoticeView = { title: string, agency: string, permit: string, address: string, contractor: string, scope: string, stage: string, on: string, law: Array<string>, disposition: DispositionView, corrections: Array<CorrectionView>, 
/**
 * Places or items left open: not seen at this visit, each with the reason.
 */
not_seen: Array<string>, 
/**
 * What an approval in part covers.
 */
covered: Array<string>, words: Array<WordsView>, inspectors: Array<string>, cautions: Array<string>, 
/**
 * When it was handed over, by whom; empty for a draft.
 */
issued: string, 
/**
 * What changed since it was handed over.
 */
changed_since: Array<string>, };

export type ObservationView = { id: string, 
/**
 * As a person reads it: `23-5/8 in`.
 */
value: string, 
/**
 * The same as `Record` takes it (canonical text): a person who decides a disagreement sends it back.
 */
typed: string, 
/**
 * `seen`, `measured`, `plans` or `told`.
 */
how: string, note: string, by: string, at: string, device: string, };

export type PhotoView = { id: string, sha256: string, subject: string, caption: string, by: string, at: string, struck: StrikeView | null, };

export type PlacePage = { place: PlaceView, 
/**
 * The place itself first (it has facts of its own), then what stands in it, nested ones after their owner.
 */
subjects: Array<SubjectView>, still_to_see: Array<NeedView>, 
/**
 * Kinds that may be added here, by the vocabulary.
 */
addable: Array<KindView>, };

export type PlaceView = { id: string, name: string, kind: string, 
/**
 * 0 for the house itself, 1 for a level, 2 for a room.
 */
depth: number, tally: Tally, 
/**
 * Fixtures, appliances, devices and piping runs listed here.
 */
subjects: number, disagreements: number, struck: StrikeView | null, 
/**
 * Left out of the open visit (could not be seen), by whom and why.
 */
left_open: StrikeView | null, };

export type ReadValue = { canonical: string, spoken: string, };

export type ReasonLine = { depth: number, mark: Mark, 
/**
 * What was looked up, computed or compared.
 */
text: string, 
/**
 * What came out, and where it is from: `26 in, measured, 10:42` or `24 in, s. P3201.6`.
 */
detail: string, };

export type ReasonPage = { verdict: VerdictView, subject_name: string, place_name: string, lines: Array<ReasonLine>, tell: string, look: string, why: string, 
/**
 * Where the limit was read: seen in a public source, or from memory.
 */
basis: string, still_to_see: Array<NeedView>, };

export type Report = { permit: string, address: string, stage: string, adoption: string, law: Array<string>, 
/**
 * SHA-256 of the flat ruleset, hex.
 */
digest: string, disposition: DispositionView, verdicts: Array<ReportLine>, faults: Array<string>, };

export type ReportLine = { place: string, subject_name: string, reasons: Array<ReasonLine>, provision: string, subject: string, title: string, cite: string, verdict: VerdictWord, 
/**
 * By how much, when the requirement is one comparison: `by 2 in`.
 */
margin: string | null, 
/**
 * What was seen against the limit, one line: `tailpiece.length 26 in, at most 24 in`.
 */
because: string, };

export type StrikeView = { by: string, at: string, why: string, };

export type SubjectView = { id: string, kind: string, kind_label: string, name: string, parent: string, 
/**
 * 0 for the place, 1 for a fixture in it, 2 for a connection of the fixture, and so on.
 */
depth: number, added_by: string, added_at: string, struck: StrikeView | null, facts: Array<FactView>, closings: Array<ClosingView>, verdicts: Array<VerdictView>, photos: Array<PhotoView>, };

export type Tally = { complies: number, violates: number, undetermined: number, settled: number, not_applicable: number, 
/**
 * Facts and "that is all of them" statements still wanted.
 */
to_see: number, };

export type VerdictView = { provision: string, subject: string, title: string, cite: string, verdict: VerdictWord, 
/**
 * By how much, when the requirement is one comparison: `by 2 in`.
 */
margin: string | null, 
/**
 * What was seen against the limit, one line: `tailpiece.length 26 in, at most 24 in`.
 */
because: string, };

export type VerdictWord = "violates" | "undetermined" | "complies" | "settled" | "not_applicable";

export type VisitView = { id: string, 
/**
 * `groundwork`, `rough`, `final` or `reinspection`.
 */
stage: string, stage_label: string, 
/**
 * Day of the visit, `2026-11-25`.
 */
on: string, opened_by: string, };

export type WordView = { word: string, label: string, };

export type WordsView = { id: string, text: string, by: string, at: string, };

