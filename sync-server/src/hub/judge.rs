//! What becomes of one sync message: taken, refused, or not the protocol at all.

use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};

use automerge::Automerge;
use automerge::sync::{Message, State, SyncDoc};

use crownweir_record::Author;
use crownweir_record::door::{self, Limits};

use super::frames::Refusal;
use crate::accounts::Signed;

/// What is added to the door's own words: this server keeps what it refuses.
const KEPT_ASIDE: &str = "A copy of what was sent is kept aside on the server.";

/// See the module.
pub(super) enum Judged {
    /// Received on a fork and let through the door.
    Taken {
        /// The fork.
        doc: Box<Automerge>,
        /// The exchange after it.
        state: State,
        /// Actors (hex) that this user is the first to show.
        actors: Vec<String>,
    },
    /// Not let through; nothing of it is in the document.
    Refused {
        /// The exchange after it, read-only from now on so that it ends.
        state: State,
        /// Why, for a person.
        refusal: Refusal,
        /// The changes as they came.
        bytes: Vec<u8>,
    },
    /// Cannot be decoded.
    Garbled,
}

/// The changes that a message carries, if any.
pub(crate) fn carried(data: &[u8]) -> Option<Vec<u8>> {
    let message = decode(data)?;
    (!message.changes.is_empty()).then(|| joined(&message))
}

fn decode(data: &[u8]) -> Option<Message> {
    // The decoder is the library's; a panic in it must cost the sender its connection, not others their server.
    catch_unwind(AssertUnwindSafe(|| Message::decode(data).ok())).ok().flatten()
}

/// The changes as chunks that can be loaded.
fn joined(message: &Message) -> Vec<u8> {
    message.changes.iter().flatten().copied().collect()
}

/// Receives a message on a fork of `before`. `bound` says to whom an actor (hex) is bound.
pub(super) fn receive(
    before: &Automerge,
    state: State,
    data: &[u8],
    who: &Signed,
    bound: &BTreeMap<String, String>,
) -> Judged {
    let Some(message) = decode(data) else { return Judged::Garbled };
    let bytes = joined(&message);
    if state.read_only {
        return refuse(before, state, message, bytes, None);
    }
    let taken = catch_unwind(AssertUnwindSafe(|| take(before, state.clone(), message.clone(), who, bound)));
    match taken {
        Ok(Ok((doc, state, actors))) => Judged::Taken { doc: Box::new(doc), state, actors },
        Ok(Err(refusal)) => refuse(before, state, message, bytes, Some(refusal)),
        Err(_) => {
            let refusal = Refusal::kept_aside("these changes cannot be merged into the record");
            refuse(before, state, message, bytes, Some(refusal))
        }
    }
}

type Taken = (Automerge, State, Vec<String>);

fn take(
    before: &Automerge,
    mut state: State,
    message: Message,
    who: &Signed,
    bound: &BTreeMap<String, String>,
) -> Result<Taken, Refusal> {
    let mut after = before.fork();
    if message.changes.is_empty() {
        after.receive_sync_message(&mut state, message).map_err(|e| unmergeable(&e))?;
        return Ok((after, state, Vec::new()));
    }
    let limits = Limits::default();
    door::weigh(&message, &limits).map_err(refusal)?;
    after.receive_sync_message(&mut state, message).map_err(|e| unmergeable(&e))?;
    let author = Author {
        user: who.user.clone(),
        name: who.name.clone(),
        role: who.role.clone(),
        device: who.device.clone(),
    };
    let admission = door::check(before, &after, &author, bound, &limits).map_err(refusal)?;
    Ok((after, state, admission.new_actors))
}

fn unmergeable(e: &automerge::AutomergeError) -> Refusal {
    Refusal::kept_aside(format!("these changes cannot be merged into the record ({e})"))
}

fn refusal(by: door::Refusal) -> Refusal {
    Refusal { reason: by.reason, kept: format!("{} {KEPT_ASIDE}", by.kept), todo: by.todo }
}

fn refuse(
    before: &Automerge,
    mut state: State,
    message: Message,
    bytes: Vec<u8>,
    refusal: Option<Refusal>,
) -> Judged {
    state.set_read_only(true);
    let mut copy = before.fork();
    let received = catch_unwind(AssertUnwindSafe(|| {
        let done = copy.receive_sync_message(&mut state, message);
        (state, done)
    }));
    match (received, refusal) {
        (Ok((state, Ok(()))), Some(refusal)) => Judged::Refused { state, refusal, bytes },
        // Read-only since an earlier refusal: the sender was told then.
        (Ok((state, Ok(()))), None) if bytes.is_empty() => {
            Judged::Taken { doc: Box::new(before.fork()), state, actors: Vec::new() }
        }
        (Ok((state, Ok(()))), None) => Judged::Refused {
            state,
            refusal: Refusal::kept_aside("it builds on changes that were refused before"),
            bytes,
        },
        _ => Judged::Garbled,
    }
}
