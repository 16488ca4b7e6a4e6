//! What an evaluation hands back.

use serde::Serialize;

/// The verdict of a provision on a subject.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// It applies and its requirement is met, whatever else is found.
    Complies,
    /// It applies and its requirement is not met, whatever else is found.
    Violates,
    /// What has been seen does not decide it.
    Undetermined,
    /// Met if it applies, and whether it applies is not known: nothing more needs to be seen.
    Settled,
    /// It does not bear on this subject, or an exception waives it.
    NotApplicable,
}

/// One verdict.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Finding {
    /// Place in `Adopted::provisions`.
    pub provision: usize,
    /// Number of the subject in the world.
    pub subject: usize,
    /// The verdict.
    pub verdict: Verdict,
}

/// What a reader of a provision wants to know of it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ProvisionInfo {
    /// Its id, `tailpiece.reach`.
    pub id: String,
    /// Its title.
    pub title: String,
    /// Where the requirement stands; with the layers that changed it.
    pub cite: String,
    /// Stages it is inspected at.
    pub stages: Vec<String>,
    /// Kinds it is for, as written.
    pub kinds: Vec<String>,
    /// How to see or measure what it needs.
    pub look: String,
    /// Why it matters.
    pub why: String,
    /// Where its numbers were read: `seen: ...` or `from memory`.
    pub basis: String,
}

/// How a line of a reason came out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Mark {
    /// It holds.
    Yes,
    /// It does not hold.
    No,
    /// Open: what has been seen does not decide it.
    Open,
    /// A value, not a condition.
    None,
}

/// One line of a reason.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Line {
    /// How far it is indented.
    pub depth: u32,
    /// How it came out.
    pub mark: Mark,
    /// What was looked up, computed or compared.
    pub text: String,
    /// What came out, and where it is from.
    pub detail: String,
}

/// The whole reason of one verdict.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Explanation {
    /// The verdict.
    pub verdict: Verdict,
    /// By how much it is missed, when one comparison decides: `by 2 in`.
    pub margin: Option<String>,
    /// One line: `tailpiece.length 26 in, at most 24 in`.
    pub headline: String,
    /// From the whole down to what was seen.
    pub lines: Vec<Line>,
    /// What to tell the contractor, values put in.
    pub tell: String,
    /// What was found at the comparison that decides: `26 in`; empty when there is none.
    pub found: String,
    /// What it was compared with: `at most 24 in`; empty when there is none.
    pub limit: String,
}

/// Something that can still change a verdict.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
pub struct Need {
    /// Number of the subject it is to be seen on.
    pub subject: usize,
    /// What is to be seen.
    pub what: NeedWhat,
}

/// What is to be seen.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(tag = "type", content = "name", rename_all = "snake_case")]
pub enum NeedWhat {
    /// A fact, by its name.
    Fact(String),
    /// "That is all of them" for a kind within the subject; listing another one also helps.
    Closing(String),
}

/// An adoption that can be chosen.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct AdoptionInfo {
    /// Its id.
    pub id: String,
    /// Its title.
    pub title: String,
    /// Base, then each layer, as a person cites them.
    pub layers: Vec<String>,
}

/// Why an adoption cannot be had for a date.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum AdoptError {
    /// There is no such adoption.
    #[error("there is no adoption `{id}`{}", .did_you_mean.as_ref().map_or(String::new(), |n| format!("; did you mean `{n}`?")))]
    UnknownAdoption {
        /// What was asked for.
        id: String,
        /// The nearest name, if one is near.
        did_you_mean: Option<String>,
    },
    /// No base of the adoption was in force on the date.
    #[error("adoption `{id}` was not in force on {on}; its first base is in force from {from}")]
    NotYetInForce {
        /// The adoption.
        id: String,
        /// The date asked for.
        on: crate::Date,
        /// When it begins.
        from: crate::Date,
    },
    /// The text in force on that date has a fault that loading did not meet.
    #[error("adoption `{id}` has no usable text on {on}: {reason}")]
    Unusable {
        /// The adoption.
        id: String,
        /// The date asked for.
        on: crate::Date,
        /// The first fault.
        reason: String,
    },
}

/// How a case of a ruleset came out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct CaseOutcome {
    /// Its title.
    pub title: String,
    /// The provision it is of.
    pub provision: String,
    /// File it stands in.
    pub file: String,
    /// Line it begins on, from 1.
    pub line: usize,
    /// Whether every expectation holds.
    pub passed: bool,
    /// What was expected, as written.
    pub expected: String,
    /// What came out.
    pub found: String,
    /// The reason, for reading when it fails.
    pub reason: Vec<Line>,
    /// Where the expectation is from.
    pub source: String,
}
