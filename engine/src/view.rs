//! What a screen shows, as data: everything that leaves the engine towards a screen has its type here.
//!
//! The page holds no rules: it draws these. Texts are ready to read; codes beside them (`verdict`, `state`) are
//! for choosing a mark, never for deciding. TypeScript types are derived from these (feature `ts`).
#![expect(missing_docs, reason = "fields are named by the words on the screen; what needs more is said")]

use serde::{Deserialize, Serialize};

/// Derives everything a type needs to cross to the page.
macro_rules! crossing {
    ($($item:item)*) => {$(
        #[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
        #[cfg_attr(feature = "ts", derive(ts_rs::TS))]
        $item
    )*};
}

crossing! {
/// The verdict of a provision on a subject.
#[derive(Copy, PartialOrd, Ord)]
#[serde(rename_all = "snake_case")]
pub enum VerdictWord {
    /// The requirement is not met whatever else is found.
    Violates,
    /// What has been seen does not decide it.
    Undetermined,
    /// The requirement is met.
    Complies,
    /// Met if it applies, and whether it applies is not known: nothing more needs to be seen.
    Settled,
    /// The provision does not bear on this subject.
    NotApplicable,
}

/// How many verdicts of each word, and how many things are still to be seen.
#[derive(Copy, Default)]
pub struct Tally {
    pub complies: u32,
    pub violates: u32,
    pub undetermined: u32,
    pub settled: u32,
    pub not_applicable: u32,
    /// Facts and "that is all of them" statements still wanted.
    pub to_see: u32,
}

/// A job as its first screen shows it.
pub struct JobView {
    pub doc: String,
    pub permit: String,
    pub address: String,
    pub scope: String,
    pub contractor: String,
    /// Date the permit was applied for, `2026-03-02`: it chooses the law.
    pub applied_on: String,
    pub adoption: AdoptionView,
    /// The open visit, if one is open.
    pub visit: Option<VisitView>,
    /// Earlier visits of this permit, oldest first.
    pub history: Vec<HistoryView>,
    /// Depth first: levels, then their rooms.
    pub places: Vec<PlaceView>,
    pub tally: Tally,
    pub disagreements: Vec<DisagreementView>,
    pub disposition: DispositionView,
    /// Set when this record may be read but not written, with the reason to show.
    pub read_only: Option<String>,
    /// Faults met in reading the record: entries that were skipped and why.
    pub faults: Vec<String>,
}

/// The law that binds the permit.
pub struct AdoptionView {
    pub id: String,
    pub title: String,
    /// Base code, then each amending layer, as a person cites them.
    pub layers: Vec<String>,
    /// SHA-256 of the flat ruleset in force, in hex; empty if it could not be resolved.
    pub digest: String,
    /// Why no adoption could be resolved, for a person to read.
    pub problem: Option<String>,
}

pub struct VisitView {
    pub id: String,
    /// `groundwork`, `rough`, `final` or `reinspection`.
    pub stage: String,
    pub stage_label: String,
    /// Day of the visit, `2026-11-25`.
    pub on: String,
    pub opened_by: String,
}

pub struct HistoryView {
    pub on: String,
    pub stage: String,
    pub disposition: String,
    pub by: String,
    pub words: String,
}

/// A level, a room, or the outside.
pub struct PlaceView {
    pub id: String,
    pub name: String,
    pub kind: String,
    /// 0 for the house itself, 1 for a level, 2 for a room.
    pub depth: u32,
    pub tally: Tally,
    /// Fixtures, appliances, devices and piping runs listed here.
    pub subjects: u32,
    pub disagreements: u32,
    pub struck: Option<StrikeView>,
    /// Left out of the open visit (could not be seen), by whom and why.
    pub left_open: Option<StrikeView>,
}

/// One place, open on the screen.
pub struct PlacePage {
    pub place: PlaceView,
    /// The place itself first (it has facts of its own), then what stands in it, nested ones after their owner.
    pub subjects: Vec<SubjectView>,
    pub still_to_see: Vec<NeedView>,
    /// Kinds that may be added here, by the vocabulary.
    pub addable: Vec<KindView>,
}

pub struct KindView {
    pub kind: String,
    pub label: String,
    /// The subject it would be put into.
    pub parent: String,
    pub parent_name: String,
}

pub struct SubjectView {
    pub id: String,
    pub kind: String,
    pub kind_label: String,
    pub name: String,
    pub parent: String,
    /// 0 for the place, 1 for a fixture in it, 2 for a connection of the fixture, and so on.
    pub depth: u32,
    pub added_by: String,
    pub added_at: String,
    pub struck: Option<StrikeView>,
    pub facts: Vec<FactView>,
    pub closings: Vec<ClosingView>,
    pub verdicts: Vec<VerdictView>,
    pub photos: Vec<PhotoView>,
}

pub struct StrikeView {
    pub by: String,
    pub at: String,
    pub why: String,
}

#[derive(Copy)]
#[serde(rename_all = "snake_case")]
pub enum FactState {
    Unknown,
    Seen,
    /// Two people set it differently and nobody who saw both has decided.
    Disputed,
}

pub struct FactView {
    /// Name in the vocabulary, `tailpiece.length`.
    pub fact: String,
    pub label: String,
    /// How to see or measure it.
    pub hint: String,
    pub entry: EntryForm,
    pub state: FactState,
    /// One observation when seen, two or more when disputed.
    pub current: Vec<ObservationView>,
    /// How many earlier observations stand behind the current ones.
    pub earlier: u32,
    /// Titles of the provisions that still wait for it.
    pub wanted_for: Vec<String>,
    /// Whether any provision in force at this stage reads it.
    pub asked: bool,
}

/// How a fact is put in: what the keypad or the row of choices looks like.
#[serde(tag = "type", rename_all = "snake_case")]
pub enum EntryForm {
    YesNo,
    Choice { words: Vec<WordView> },
    /// A number with one of these units, the first being the usual one; `fractions` asks for tape fractions.
    Number { units: Vec<String>, fractions: bool, least: String, most: String },
    /// A plain whole number.
    Count { least: String, most: String },
    Date,
}

pub struct WordView {
    pub word: String,
    pub label: String,
}

pub struct ObservationView {
    pub id: String,
    /// As a person reads it: `23-5/8 in`.
    pub value: String,
    /// The same as `Record` takes it (canonical text): a person who decides a disagreement sends it back.
    pub typed: String,
    /// `seen`, `measured`, `plans` or `told`.
    pub how: String,
    pub note: String,
    pub by: String,
    pub at: String,
    pub device: String,
}

/// "That is all of them" for one kind within one subject.
pub struct ClosingView {
    pub kind: String,
    pub label: String,
    pub closed: bool,
    pub by: String,
    /// Whether an open verdict waits for it.
    pub wanted: bool,
}

pub struct VerdictView {
    pub provision: String,
    pub subject: String,
    pub title: String,
    pub cite: String,
    pub verdict: VerdictWord,
    /// By how much, when the requirement is one comparison: `by 2 in`.
    pub margin: Option<String>,
    /// What was seen against the limit, one line: `tailpiece.length 26 in, at most 24 in`.
    pub because: String,
}

/// The whole reason of one verdict.
pub struct ReasonPage {
    pub verdict: VerdictView,
    pub subject_name: String,
    pub place_name: String,
    pub lines: Vec<ReasonLine>,
    pub tell: String,
    pub look: String,
    pub why: String,
    /// Where the limit was read: seen in a public source, or from memory.
    pub basis: String,
    pub still_to_see: Vec<NeedView>,
}

#[derive(Copy)]
#[serde(rename_all = "snake_case")]
pub enum Mark { Yes, No, Open, None }

pub struct ReasonLine {
    pub depth: u32,
    pub mark: Mark,
    /// What was looked up, computed or compared.
    pub text: String,
    /// What came out, and where it is from: `26 in, measured, 10:42` or `24 in, s. P3201.6`.
    pub detail: String,
}

pub struct NeedView {
    pub subject: String,
    pub subject_name: String,
    pub place: String,
    /// A fact's name, or a kind for `closing`.
    pub what: String,
    pub closing: bool,
    pub label: String,
    /// Titles of the provisions that wait for it.
    pub wanted_for: Vec<String>,
}

/// A fact with more than one value standing.
pub struct DisagreementView {
    pub subject: String,
    pub subject_name: String,
    pub place: String,
    pub fact: String,
    pub label: String,
    pub values: Vec<ObservationView>,
    /// What the rules say under all of the values together.
    pub effect: String,
}

#[derive(Copy)]
#[serde(rename_all = "snake_case")]
pub enum DispositionWord {
    Approved,
    ApprovedInPart,
    CorrectionsRequired,
    NotReady,
    NoAccess,
    /// Nothing can be said yet: things are unseen, or two people disagree.
    Open,
}

/// What follows from the verdicts, and what it waits for.
pub struct DispositionView {
    pub word: DispositionWord,
    pub label: String,
    /// Why it is so, or what it waits for; one sentence each.
    pub because: Vec<String>,
    /// Whether a notice may be issued now.
    pub may_issue: bool,
}

pub struct PhotoView {
    pub id: String,
    pub sha256: String,
    pub subject: String,
    pub caption: String,
    pub by: String,
    pub at: String,
    pub struck: Option<StrikeView>,
}

/// What the contractor gets.
pub struct NoticeView {
    pub title: String,
    pub agency: String,
    pub permit: String,
    pub address: String,
    pub contractor: String,
    pub scope: String,
    pub stage: String,
    pub on: String,
    pub law: Vec<String>,
    pub disposition: DispositionView,
    pub corrections: Vec<CorrectionView>,
    /// Places or items left open: not seen at this visit, each with the reason.
    pub not_seen: Vec<String>,
    /// What an approval in part covers.
    pub covered: Vec<String>,
    pub words: Vec<WordsView>,
    pub inspectors: Vec<String>,
    pub cautions: Vec<String>,
    /// When it was handed over, by whom; empty for a draft.
    pub issued: String,
    /// What changed since it was handed over.
    pub changed_since: Vec<String>,
}

pub struct CorrectionView {
    pub number: u32,
    /// Ids that `AddWords` takes to speak about this correction.
    pub provision: String,
    pub subject_id: String,
    pub place: String,
    pub subject: String,
    pub title: String,
    pub section: String,
    pub tell: String,
    pub found: String,
    pub limit: String,
    pub why: String,
    pub photos: Vec<PhotoView>,
    pub words: Vec<String>,
}

pub struct WordsView {
    pub id: String,
    pub text: String,
    pub by: String,
    pub at: String,
}

/// The history of one fact, oldest first.
pub struct FactHistory {
    pub label: String,
    pub subject_name: String,
    pub items: Vec<FactHistoryItem>,
}

pub struct FactHistoryItem {
    pub observation: ObservationView,
    /// `stands`, `replaced`, `withdrawn` or `disputed`.
    pub standing: String,
}

/// What the tablet takes from a typed value: the canonical text, and how it reads aloud.
pub struct ReadValue {
    pub canonical: String,
    pub spoken: String,
}
}
