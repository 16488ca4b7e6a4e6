mod drafting;

use automerge::transaction::{CommitOptions, Transactable};
use automerge::{ActorId, Automerge, AutomergeError, ChangeHash, ObjType, ROOT, ReadDoc};
use sha2::{Digest, Sha256};

use crate::SCHEMA;
use crate::author::Author;
use crate::chunks::{self, Damage};
use crate::edit::Edit;
use crate::entry::{Body, Entry, JobBody, JobHeader, SessionBody};
use crate::entry_id::EntryId;
use crate::ledger::{ENTRIES_KEY, Ledger, SCHEMA_KEY, entries_of, schema_of};
use crate::state::JobState;
use drafting::Drafting;

/// Why stored bytes do not open as a job record.
#[derive(Debug, thiserror::Error)]
pub enum OpenError {
    /// There are no bytes.
    #[error("nothing is stored for this job; fetch it from the server")]
    Empty,
    /// The bytes are whole but are not a job.
    #[error("the stored document is not a job record; nothing was changed, and it is kept as it is")]
    NotAJob,
    /// Some of the bytes cannot be read.
    #[error(
        "{} of the stored pieces of this job cannot be read ({}); {entries} entries in the other pieces can be read and \
         nothing was deleted: open what is left, and fetch the rest from the server or a backup",
        damage.len(),
        damage.first().map_or("", |d| d.why.as_str())
    )]
    Damaged {
        /// How many entries the readable pieces hold.
        entries: usize,
        /// The pieces that cannot be read.
        damage: Vec<Damage>,
    },
}

/// Why an edit was not staged. Nothing was written.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum StageError {
    /// The record may only be read.
    #[error("{why}")]
    ReadOnly {
        /// The reason, for a person.
        why: String,
    },
    /// [`Record::begin`] was not called.
    #[error("nobody is signed in on this record; sign in and enter it again")]
    NoSession,
    /// An earlier edit has been staged and is neither accepted nor discarded.
    #[error("the entry before this one is still being stored; try again in a moment")]
    Pending,
    /// The author's role does not write this.
    #[error("the role `{role}` does not enter what is found on site; ask an inspector to enter it")]
    Role {
        /// The author's role.
        role: String,
    },
    /// The edit speaks of something that is not in the record.
    #[error("`{id}` is not {what} of this job; reload the job and try again")]
    Unknown {
        /// What was looked for, with its article.
        what: &'static str,
        /// The id.
        id: String,
    },
    /// The edit at `index` refers to a new subject that no earlier edit of the slice adds.
    #[error("edit {index} speaks of a subject that is not added before it")]
    NotAddedBefore {
        /// The index of the edit.
        index: usize,
    },
    /// The edit at `index` has a field that cannot be written.
    #[error("{problem}")]
    Shape {
        /// The index of the edit.
        index: usize,
        /// What is wrong with it.
        problem: String,
    },
    /// The document refused the edit.
    #[error("the record could not take this entry ({message}); nothing was changed")]
    Document {
        /// The document's own message.
        message: String,
    },
}

/// Heads that are not part of a record's history.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the record does not hold the state this refers to; wait until the job has been fetched in full")]
pub struct UnknownHeads;

/// What was staged.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Staged {
    /// The entry of each edit, in their order.
    pub ids: Vec<EntryId>,
    /// The chunk to store before [`Record::accept`].
    pub bytes: Vec<u8>,
}

/// A job document as accepted, with at most one staged slice of edits beside it.
///
/// INVARIANT: [`Record::automerge`], [`Record::state`] and [`Record::heads`] only ever show what the caller said is
/// stored.
#[derive(Debug, Clone)]
pub struct Record {
    doc: Automerge,
    ledger: Ledger,
    state: JobState,
    read_only: Option<String>,
    session: Option<Writing>,
    staged: Option<Fork>,
}

/// The session that this record's edits belong to.
#[derive(Debug, Clone)]
struct Writing {
    author: Author,
    actor: [u8; 16],
    /// The counter of the next entry; 0 while the session's own entry is not accepted.
    next: u64,
}

/// A fork of the accepted document that waits for being stored.
#[derive(Debug, Clone)]
struct Fork {
    doc: Automerge,
    /// The heads of the accepted document when it was forked.
    base: Vec<ChangeHash>,
    /// What it holds beyond those heads.
    bytes: Vec<u8>,
    /// The session that wrote it, and its next counter.
    actor: [u8; 16],
    next: u64,
}

impl Record {
    /// Begins the record of a job. Called once per job, by whoever imports it: two records begun for one job could
    /// never be merged.
    pub fn create(
        job: JobHeader,
        author: &Author,
        actor: [u8; 16],
        at_ms: i64,
    ) -> Result<Record, StageError> {
        let mut doc = Automerge::new().with_actor(ActorId::from(actor));
        let entries = [
            (EntryId::new(&actor, 0), session_entry(author, actor, at_ms)),
            (
                EntryId::new(&actor, 1),
                Entry { at_ms, body: Body::Job(JobBody { header: job, after: vec![] }) },
            ),
        ];
        for (_, entry) in &entries {
            entry.check().map_err(|fault| StageError::Shape { index: 0, problem: fault.to_string() })?;
        }
        write(&mut doc, at_ms, |tx| {
            tx.put(ROOT, SCHEMA_KEY, SCHEMA)?;
            let map = tx.put_object(ROOT, ENTRIES_KEY, ObjType::Map)?;
            entries.iter().try_for_each(|(id, entry)| tx.put(&map, id.as_str(), entry.text()))
        })?;
        let mut record = Record::from_automerge(doc);
        record.session = Some(Writing { author: author.clone(), actor, next: 2 });
        Ok(record)
    }

    /// Opens stored chunks: snapshots and increments, concatenated in any order, duplicates harmless.
    ///
    /// # Errors
    /// [`OpenError::Damaged`] if any piece cannot be read: [`Record::rescue`] then opens the others.
    pub fn open(bytes: &[u8]) -> Result<Record, OpenError> {
        if bytes.is_empty() {
            return Err(OpenError::Empty);
        }
        match chunks::load(bytes) {
            Ok(doc) if schema_of(&doc).is_some() && entries_of(&doc).is_some() => {
                Ok(Record::from_automerge(doc))
            }
            Ok(_) => Err(OpenError::NotAJob),
            Err(error) => {
                let (doc, mut damage) = chunks::rescue(bytes);
                if damage.is_empty() {
                    damage.push(Damage { at: 0, bytes: bytes.len(), why: error.to_string() });
                }
                let entries = entries_of(&doc).map_or(0, |map| doc.length(&map));
                Err(OpenError::Damaged { entries, damage })
            }
        }
    }

    /// Opens what can be read of damaged chunks, read-only, and lists the rest. Deletes nothing.
    ///
    /// # Errors
    /// [`OpenError::Empty`] and [`OpenError::NotAJob`] if nothing of a job is left.
    pub fn rescue(bytes: &[u8]) -> Result<(Record, Vec<Damage>), OpenError> {
        if bytes.is_empty() {
            return Err(OpenError::Empty);
        }
        let (doc, damage) = chunks::rescue(bytes);
        if schema_of(&doc).is_none() || entries_of(&doc).is_none() {
            return Err(OpenError::NotAJob);
        }
        let mut record = Record::from_automerge(doc);
        if !damage.is_empty() {
            record.read_only = Some(format!(
                "{} stored pieces of this job cannot be read. What is shown is what is left; nothing was deleted. Fetch \
                 the job from the server again before you enter more.",
                damage.len()
            ));
        }
        Ok((record, damage))
    }

    /// Wraps a document. One that is not a job has an empty state and is read-only.
    pub fn from_automerge(doc: Automerge) -> Record {
        let mut record = Record {
            doc,
            ledger: Ledger::default(),
            state: JobState::default(),
            read_only: None,
            session: None,
            staged: None,
        };
        record.refresh();
        record
    }

    /// Says whose edits follow. The actor must be fresh for every tab and page load: two sessions under one actor
    /// could never be merged. If this record already knows the actor under another name, one is derived from it.
    pub fn begin(&mut self, author: Author, actor: [u8; 16]) {
        let mut actor = actor;
        loop {
            let id = EntryId::new(&actor, 0);
            let next = match self.state.sessions.get(id.prefix()) {
                None => 0,
                Some(session) if *session.who == author && session.actor == hex::encode(actor) => {
                    self.next_counter(&actor)
                }
                Some(_) => {
                    actor = successor(actor);
                    continue;
                }
            };
            self.session = Some(Writing { author, actor, next });
            return;
        }
    }

    /// Applies edits to a fork: the session's entry first if this is its first, each edit with what it replaces.
    ///
    /// # Errors
    /// [`StageError`]; then nothing is staged.
    pub fn stage(&mut self, edits: &[Edit], at_ms: i64) -> Result<Staged, StageError> {
        if let Some(why) = &self.read_only {
            return Err(StageError::ReadOnly { why: why.clone() });
        }
        let Some(session) = &self.session else { return Err(StageError::NoSession) };
        if self.staged.is_some() {
            return Err(StageError::Pending);
        }
        if edits.is_empty() {
            return Ok(Staged { ids: Vec::new(), bytes: Vec::new() });
        }
        let mut drafting = Drafting::new(&self.state, session, at_ms);
        let ids = drafting.draft(edits)?;
        let (written, next) = (drafting.written, drafting.next);

        let base = self.doc.get_heads();
        let mut doc = self.doc.fork().with_actor(ActorId::from(session.actor));
        let Some(map) = entries_of(&doc) else {
            return Err(StageError::ReadOnly { why: "This job has not been fetched yet.".to_owned() });
        };
        write(&mut doc, at_ms, |tx| {
            written.iter().try_for_each(|(id, entry)| tx.put(&map, id.as_str(), entry.text()))
        })?;
        let bytes = doc.save_after(&base);
        let actor = session.actor;
        self.staged = Some(Fork { doc, base, bytes: bytes.clone(), actor, next });
        Ok(Staged { ids, bytes })
    }

    /// Takes the staged edits in. To be called when, and only when, their bytes are stored.
    pub fn accept(&mut self) {
        let Some(fork) = self.staged.take() else { return };
        if let Some(session) = self.session.as_mut().filter(|session| session.actor == fork.actor) {
            session.next = fork.next;
        }
        self.take_in(fork.doc, &fork.base, &fork.bytes);
    }

    /// Drops the staged edits, because they could not be stored. The session goes on under a new actor: should the
    /// bytes have reached the disk after all, they must not meet other changes of the same number.
    pub fn discard(&mut self) {
        if self.staged.take().is_some()
            && let Some(session) = self.session.take()
        {
            self.begin(session.author, successor(session.actor));
        }
    }

    /// Whether [`Record::begin`] was called.
    pub fn has_session(&self) -> bool {
        self.session.is_some()
    }

    /// Whether edits are staged and neither accepted nor discarded.
    pub fn is_staged(&self) -> bool {
        self.staged.is_some()
    }

    /// What the accepted document says.
    pub fn state(&self) -> &JobState {
        &self.state
    }

    /// What the document said at earlier heads.
    ///
    /// # Errors
    /// [`UnknownHeads`] if the record does not hold these heads.
    pub fn state_at(&self, heads: &[String]) -> Result<JobState, UnknownHeads> {
        let heads: Vec<ChangeHash> =
            heads.iter().map(|h| h.parse().map_err(|_| UnknownHeads)).collect::<Result<_, _>>()?;
        if heads.iter().any(|h| self.doc.get_change_meta_by_hash(h).is_none()) {
            return Err(UnknownHeads);
        }
        let doc = self.doc.fork_at(&heads).map_err(|_| UnknownHeads)?;
        let (mut ledger, mut state) = (Ledger::default(), JobState::default());
        ledger.follow(&doc, &mut state);
        Ok(state)
    }

    /// The heads of the accepted document, in hex, sorted.
    pub fn heads(&self) -> Vec<String> {
        let mut heads: Vec<String> = self.doc.get_heads().iter().map(ToString::to_string).collect();
        heads.sort();
        heads
    }

    /// The accepted document as one snapshot chunk (changes that wait for others follow it).
    pub fn save(&self) -> Vec<u8> {
        self.doc.save()
    }

    /// Why this record may be read but not written.
    pub fn read_only(&self) -> Option<&str> {
        self.read_only.as_deref()
    }

    /// The accepted document.
    pub fn automerge(&self) -> &Automerge {
        &self.doc
    }

    /// Takes in what arrived and is stored: `doc` is a fork of the document at `base` that went on by `bytes`.
    pub(crate) fn take_arrival(&mut self, doc: Automerge, base: &[ChangeHash], bytes: &[u8]) {
        self.take_in(doc, base, bytes);
    }

    fn take_in(&mut self, mut fork: Automerge, base: &[ChangeHash], bytes: &[u8]) {
        if self.doc.get_heads() == base {
            self.doc = fork;
        } else if self.doc.load_incremental(bytes).is_err() {
            // An edit and an arrival were staged side by side and the other one was accepted first. Changes that one
            // fork took can be taken again; should the library refuse all the same, merging is its other way.
            let _ = self.doc.merge(&mut fork);
        }
        self.refresh();
    }

    fn refresh(&mut self) {
        self.ledger.follow(&self.doc, &mut self.state);
        let waiting = crate::door::waiting(&self.doc).len();
        self.state.note_waiting(waiting);
        match schema_of(&self.doc) {
            Some(schema) if schema > SCHEMA => {
                self.read_only = Some(format!(
                    "This job was written by a newer version of this program (document shape {schema}, this version \
                     knows {SCHEMA}). It can be read here; to enter more, load the new version. Nothing is lost."
                ));
            }
            Some(_) => {}
            None => self.read_only = Some("This job has not been fetched yet.".to_owned()),
        }
    }

    fn next_counter(&self, actor: &[u8; 16]) -> u64 {
        let prefix = EntryId::new(actor, 0).prefix().to_owned();
        let Some(map) = entries_of(&self.doc) else { return 0 };
        let last = self
            .doc
            .map_range(&map, format!("{prefix}.")..format!("{prefix}/"))
            .filter_map(|item| item.key.parse::<EntryId>().ok())
            .map(|id| id.counter())
            .max();
        last.map_or(0, |last| last.saturating_add(1))
    }
}

fn session_entry(author: &Author, actor: [u8; 16], at_ms: i64) -> Entry {
    let body = SessionBody {
        user: author.user.clone(),
        name: author.name.clone(),
        role: author.role.clone(),
        device: author.device.clone(),
        actor: hex::encode(actor),
    };
    Entry { at_ms, body: Body::Session(body) }
}

/// An actor id that follows from another, for a session that cannot go on under it.
fn successor(actor: [u8; 16]) -> [u8; 16] {
    let digest = Sha256::new().chain_update(b"crownweir session after ").chain_update(actor).finalize();
    std::array::from_fn(|i| digest[i])
}

fn write(
    doc: &mut Automerge,
    at_ms: i64,
    puts: impl FnOnce(&mut automerge::transaction::Transaction<'_>) -> Result<(), AutomergeError>,
) -> Result<(), StageError> {
    let mut tx = doc.transaction();
    if let Err(error) = puts(&mut tx) {
        tx.rollback();
        return Err(StageError::Document { message: error.to_string() });
    }
    // Without a time the library would ask a clock.
    tx.commit_with(CommitOptions::default().with_time(at_ms.div_euclid(1000)));
    Ok(())
}
