//! Whether changes may enter a record.
//!
//! The question is put to the loaded result, not to the bytes: a peer may send one whole document in place of a list
//! of changes. `before` is the document as it is stored, `after` a fork of it that took the peer's message. What is in
//! `after` and not in `before`, changes that wait in the queue for others included, is looked at operation by
//! operation.
//!
//! A change may do one thing: put new entries, as texts, under names that begin with its own actor id. Everything
//! else - an entry changed or deleted, a name of another session, a key beside the entries, a signature of another
//! person - is refused with a sentence for the person whose work it is.
//!
//! Actor ids are self-declared, so the check binds them: the first login that shows an actor is its user from then
//! on. The caller keeps that table (job, actor -> user) and writes it in the transaction that stores the changes.
//!
//! [`receive`] comes before: it bounds what a message may unpack to ([`weigh`]), and contains it if a crafted message
//! makes the library panic.

mod change;
mod weigh;

use std::collections::{BTreeMap, BTreeSet};
use std::panic::{AssertUnwindSafe, catch_unwind};

use automerge::sync::{self, SyncDoc};
use automerge::{Automerge, Change, ChangeHash, ReadDoc, SaveOptions};

use crate::author::Author;
use crate::chunks::chunk_end;
use crate::entry::MAX_ENTRY_BYTES;
use crate::entry_id::prefix_of;
use crate::ledger::{entries_of, schema_of};

pub use weigh::weigh;

/// How much a record may hold, and a message may bring.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// Entries of a record.
    pub entries: usize,
    /// Changes that one message brings.
    pub changes: usize,
    /// Bytes of one entry's text.
    pub entry_bytes: usize,
    /// Changes that wait for others which have not arrived.
    pub waiting: usize,
    /// Bytes of those.
    pub waiting_bytes: usize,
    /// Bytes that one message may unpack to.
    pub unpacked_bytes: usize,
    /// Operations that one message may unpack to. A text object of a JavaScript client has one per character.
    pub unpacked_operations: u64,
}

impl Default for Limits {
    /// A long inspection of a house is some 300 entries; these are a hundred times that.
    fn default() -> Self {
        Limits {
            entries: 50_000,
            changes: 50_000,
            entry_bytes: MAX_ENTRY_BYTES,
            waiting: 1_000,
            waiting_bytes: 1024 * 1024,
            unpacked_bytes: 64 * 1024 * 1024,
            unpacked_operations: 8_000_000,
        }
    }
}

/// What may enter.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Admission {
    /// Actors (hex) that this user is the first to show: to be bound to the user together with the changes.
    pub new_actors: Vec<String>,
    /// How many changes are new.
    pub changes: usize,
    /// How many changes now wait for others that have not arrived.
    pub waiting: usize,
}

/// One change that may not enter.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RefusedChange {
    /// Its hash in hex.
    pub hash: String,
    /// The actor in hex that says it wrote it.
    pub actor: String,
    /// Why, as a sentence.
    pub reason: String,
    /// True when it is refused only because it builds on one that is.
    pub follows: bool,
}

/// Why a message may not enter.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{reason}")]
pub struct Refusal {
    /// Why, as a sentence.
    pub reason: String,
    /// What was kept, as a sentence.
    pub kept: String,
    /// What to do now, as a sentence.
    pub todo: String,
    /// The changes that may not enter; empty when the message was refused as a whole.
    pub changes: Box<[RefusedChange]>,
    /// Hashes in hex, in an order that can be applied, of the new changes against which nothing speaks.
    pub admissible: Box<[String]>,
    /// Actors of the admissible changes that would be bound to this user.
    pub new_actors: Box<[String]>,
}

impl Refusal {
    fn whole(reason: impl Into<String>, todo: impl Into<String>) -> Refusal {
        Refusal {
            reason: reason.into(),
            kept: "The job on the server is unchanged, and your work stays on this device.".to_owned(),
            todo: todo.into(),
            changes: Box::default(),
            admissible: Box::default(),
            new_actors: Box::default(),
        }
    }
}

/// Whether everything that `after` holds beyond `before` may enter.
///
/// `author` is who is signed in (`user`, `name` and `role` are compared; the device is what the session calls it);
/// `bound` maps the actors (hex) seen in this job to their users.
///
/// # Errors
/// [`Refusal`]: nothing of the message should be applied as it is; its `admissible` changes could be.
pub fn check(
    before: &Automerge,
    after: &Automerge,
    author: &Author,
    bound: &BTreeMap<String, String>,
    limits: &Limits,
) -> Result<Admission, Refusal> {
    contained(|| check_sound(before, after, author, bound, limits))?
}

/// Applies a peer's message to a fork: weighs it first, and turns a panic of the library into a refusal. Automerge
/// 0.12 panics on some changes that are well formed and contradict themselves, such as one that names an actor who
/// never wrote.
///
/// Returns whether the message brought anything to apply. After an error `doc` and `state` are not to be used further:
/// give it forks.
///
/// # Errors
/// [`Refusal`] of the message as a whole.
pub fn receive(
    doc: &mut Automerge,
    state: &mut sync::State,
    data: &[u8],
    limits: &Limits,
) -> Result<bool, Refusal> {
    contained(|| {
        let message =
            sync::Message::decode(data).map_err(|error| unusable(format!("It cannot be read ({error}).")))?;
        weigh(&message, limits)?;
        let brings = !message.changes.is_empty();
        doc.receive_sync_message(state, message)
            .map_err(|error| unusable(format!("It does not fit the job ({error}).")))?;
        Ok(brings)
    })?
}

fn contained<T>(work: impl FnOnce() -> T) -> Result<T, Refusal> {
    // What the work may leave half done is the caller's fork, which is dropped.
    catch_unwind(AssertUnwindSafe(work)).map_err(|_| unusable("It contradicts itself.".to_owned()))
}

fn unusable(reason: String) -> Refusal {
    Refusal::whole(reason, "Reload the page while connected, so that everything is sent again in full.")
}

fn check_sound(
    before: &Automerge,
    after: &Automerge,
    author: &Author,
    bound: &BTreeMap<String, String>,
    limits: &Limits,
) -> Result<Admission, Refusal> {
    let Some(entries) = entries_of(before) else {
        return Err(Refusal::whole(
            "This job is not on the server: a job is begun by importing it, not by sending it.",
            "Ask your office to import the job, then enter your work there.",
        ));
    };
    let fresh = after.get_changes(&before.get_heads());
    if fresh.len() > limits.changes {
        return Err(Refusal::whole(
            format!("{} changes came in one message; at most {} are taken.", fresh.len(), limits.changes),
            "Ask your office to export the job from this device.",
        ));
    }
    let count = after.length(&entries);
    if count > limits.entries {
        return Err(Refusal::whole(
            format!("This job would hold {count} entries; at most {} are kept in one job.", limits.entries),
            "Ask your office to open a new job for what is still to be entered.",
        ));
    }
    let known: BTreeSet<ChangeHash> = waiting(before).iter().map(Change::hash).collect();
    let queued: Vec<Change> = waiting(after);
    let queued_bytes: usize = queued.iter().map(|c| c.raw_bytes().len()).sum();
    if queued.len() > limits.waiting || queued_bytes > limits.waiting_bytes {
        return Err(Refusal::whole(
            format!("{} changes came without those they build on.", queued.len()),
            "Reload the page while connected, so that everything is sent again in full.",
        ));
    }

    let mut look = change::Look::new(before, after, entries, author, bound, limits);
    let mut refused: BTreeMap<ChangeHash, RefusedChange> = BTreeMap::new();
    let mut admissible = Vec::new();
    let waits = fresh.len();
    let all = fresh.iter().chain(queued.iter().filter(|change| !known.contains(&change.hash())));
    for (at, change) in all.enumerate() {
        let verdict = if let Some(first) = change.deps().iter().find_map(|dep| refused.get(dep)) {
            Err((format!("It builds on a change that was not taken. {}", first.reason), true))
        } else {
            look.at(change, at >= waits).map_err(|reason| (reason, false))
        };
        match verdict {
            Ok(()) if at < waits => admissible.push(change.hash().to_string()),
            Ok(()) => {}
            Err((reason, follows)) => {
                let actor = change.actor_id().to_hex_string();
                let hash = change.hash();
                refused.insert(hash, RefusedChange { hash: hash.to_string(), actor, reason, follows });
            }
        }
    }
    let new_actors = look.new_actors(&refused);
    if refused.is_empty() {
        return Ok(Admission { new_actors, changes: fresh.len(), waiting: queued.len() });
    }
    let changes: Box<[RefusedChange]> =
        fresh.iter().chain(&queued).filter_map(|change| refused.get(&change.hash()).cloned()).collect();
    let reason = changes.iter().find(|c| !c.follows).map_or_else(String::new, |c| c.reason.clone());
    let rest = Refusal::whole(
        reason,
        "Keep this device as it is and tell your supervisor, who can look at what was refused.",
    );
    Err(Refusal { changes, admissible: admissible.into(), new_actors: new_actors.into(), ..rest })
}

/// Whether `after` still holds everything that `before` does, unchanged: what a tablet asks of what it receives. Who
/// wrote it was the server's to check; entries of a bad shape are left out when the record is read.
///
/// # Errors
/// A sentence that says what is not as it was.
pub fn intact(before: &Automerge, after: &Automerge) -> Result<(), String> {
    let (Some(entries), Some(then)) = (entries_of(before), entries_of(after)) else {
        return Err("It is not a job record.".to_owned());
    };
    if entries != then || schema_of(after) < schema_of(before) {
        return Err("It replaces the record by another one.".to_owned());
    }
    let mut now = after.map_range(&then, ..);
    for item in before.map_range(&entries, ..) {
        // Both ranges are sorted by key.
        let same = now.by_ref().find(|other| other.key >= item.key);
        if !same.is_some_and(|other| other.key == item.key && other.id() == item.id()) {
            return Err(format!(
                "It changes or deletes the entry {}, and entries are only ever added.",
                item.key
            ));
        }
    }
    Ok(())
}

/// The changes that wait in a document's queue for others.
pub fn waiting(doc: &Automerge) -> Vec<Change> {
    // The queue can only be seen in what is saved: it follows the document chunk. Without a missing change there is
    // no queue, and nothing has to be saved.
    if doc.get_missing_deps(&[]).is_empty() {
        return Vec::new();
    }
    let saved = doc.save_with_options(SaveOptions { deflate: false, retain_orphans: true });
    let Some(mut at) = chunk_end(&saved, 0) else { return Vec::new() };
    let mut queued = Vec::new();
    while at < saved.len() {
        let Some(end) = chunk_end(&saved, at) else { break };
        queued.extend(Change::from_bytes(saved[at..end].to_vec()));
        at = end;
    }
    queued
}

/// Whether two actors would write under one prefix.
fn same_prefix(a: &[u8], b: &[u8]) -> bool {
    prefix_of(a) == prefix_of(b)
}
