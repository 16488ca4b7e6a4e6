use crate::entry::{Hindrance, How, JobHeader};
use crate::entry_id::EntryId;

/// A subject that an edit speaks of: one of the record, or one that an earlier edit of the same slice adds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SubjectRef {
    /// A subject of the record.
    Id(EntryId),
    /// The index, in the same slice, of the [`Edit::Subject`] that adds it.
    New(usize),
}

impl From<EntryId> for SubjectRef {
    fn from(id: EntryId) -> Self {
        SubjectRef::Id(id)
    }
}

/// One act on a record. [`crate::Record::stage`] writes each as one entry (a restore as one per strike).
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Edit {
    /// Sets what identifies the job, in place of what stands.
    Job(JobHeader),
    /// Opens a visit of a stage (`groundwork`, `rough`, `final`, `reinspection`) on a day, `2026-11-25`.
    Visit {
        /// The stage.
        stage: String,
        /// The day.
        on: String,
    },
    /// Adds a subject.
    Subject {
        /// Its kind, a word of the vocabulary.
        kind: String,
        /// What people call it.
        name: String,
        /// What it stands in; only the house has none.
        parent: Option<SubjectRef>,
        /// The subject it was copied from.
        copied_from: Option<EntryId>,
    },
    /// Renames a subject.
    Name {
        /// The subject.
        of: EntryId,
        /// Its new name.
        name: String,
    },
    /// Takes a subject, photo or words out of consideration; a strike of a strike takes the strike back.
    Strike {
        /// The entry.
        of: EntryId,
        /// The reason, for whoever reads the record later.
        why: String,
    },
    /// Takes back every standing strike of an entry.
    Restore {
        /// The struck subject, photo or words.
        of: EntryId,
        /// The reason.
        why: String,
    },
    /// Records what is known of a fact, in place of what stands.
    Seen {
        /// Of which subject.
        subject: SubjectRef,
        /// The fact's name in the vocabulary.
        fact: String,
        /// The value as a canonical literal; `None` says that it is not known after all.
        value: Option<String>,
        /// How it is known.
        how: How,
        /// Words of the observer.
        note: String,
    },
    /// Says whether everything of a kind within a subject is listed.
    All {
        /// Within which subject.
        subject: SubjectRef,
        /// The kind.
        kind: String,
        /// Whether all are listed.
        all: bool,
    },
    /// Refers to a photo by the SHA-256 of its bytes.
    Photo {
        /// What it shows.
        subject: SubjectRef,
        /// 64 lower-case hex digits.
        sha256: String,
        /// Size of the file in bytes.
        bytes: u64,
        /// What to see on it.
        caption: String,
    },
    /// Adds words to the notice, to the whole or to one correction.
    Words {
        /// The words.
        text: String,
        /// The provision of the correction they belong to.
        provision: Option<String>,
        /// The subject of the correction they belong to.
        subject: Option<EntryId>,
    },
    /// States that a visit could not be held; an empty reason takes it back.
    Hinder {
        /// The visit.
        visit: EntryId,
        /// What hindered it.
        what: Hindrance,
        /// The reason.
        why: String,
    },
    /// Leaves a place out of a visit; an empty reason takes it back.
    Open {
        /// The visit.
        visit: EntryId,
        /// The place.
        place: EntryId,
        /// The reason.
        why: String,
    },
    /// Hands over a notice.
    Notice {
        /// The visit it concludes.
        visit: EntryId,
        /// What it says, such as `corrections_required`.
        disposition: String,
        /// The heads of the record it was drawn from.
        heads: Vec<String>,
        /// SHA-256 of the ruleset it was drawn with.
        digest: String,
        /// Who took it on site.
        received_by: String,
    },
}
