//! What a person does to a job, as data. The page sends these; `Job::propose` turns one into edits of the record.

#![expect(missing_docs, reason = "fields are named by the words of the views")]

use serde::{Deserialize, Serialize};

/// One act of a person. `subject`, `kind`, `fact` name things by the ids and vocabulary words of the views.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "ts", derive(ts_rs::TS))]
#[serde(tag = "do", rename_all = "snake_case")]
pub enum Command {
    /// Opens a visit of a stage on a day, `2026-11-25`.
    OpenVisit {
        stage: String,
        on: String,
    },
    AddSubject {
        kind: String,
        name: String,
        parent: String,
    },
    /// Copies a subject with what it holds. What was seen on the original is not seen on the copy: no fact is copied.
    CopySubject {
        subject: String,
        name: String,
    },
    RenameSubject {
        subject: String,
        name: String,
    },
    /// Takes a subject, photo or words out of consideration, with a reason; it stays readable.
    Strike {
        target: String,
        why: String,
    },
    /// Takes back a strike.
    Restore {
        target: String,
        why: String,
    },
    /// Records a fact. `value` as typed (`23 5/8 in`, `yes`, a word); `how` is `seen`, `measured`, `plans` or `told`.
    Record {
        subject: String,
        fact: String,
        value: String,
        how: String,
        note: String,
    },
    /// Says that a fact is not known after all.
    Withdraw {
        subject: String,
        fact: String,
        note: String,
    },
    /// Says that everything of a kind within a subject is listed, or takes that back.
    Close {
        subject: String,
        kind: String,
        all: bool,
    },
    /// Refers to a photo that is already stored on the tablet under its SHA-256.
    AddPhoto {
        subject: String,
        sha256: String,
        bytes: u64,
        caption: String,
    },
    /// Adds words to the notice, to the whole of it or to one correction (`provision` and `subject`).
    AddWords {
        text: String,
        provision: Option<String>,
        subject: Option<String>,
    },
    /// States that the visit could not be held: `not_ready` or `no_access`, with the reason; empty takes it back.
    Hinder {
        what: String,
        why: String,
    },
    /// Leaves a place out of this visit, with the reason (`could not see`); empty takes it back.
    LeaveOpen {
        place: String,
        why: String,
    },
    /// Hands the notice over: freezes disposition, heads and adoption digest.
    IssueNotice {
        received_by: String,
    },
}
