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
    match take(before, state.clone(), data, who, bound) {
        Ok((doc, state, actors)) => Judged::Taken { doc: Box::new(doc), state, actors },
        Err(by) => refuse(before, state, message, bytes, Some(refusal(by))),
    }
}

type Taken = (Automerge, State, Vec<String>);

fn take(
    before: &Automerge,
    mut state: State,
    data: &[u8],
    who: &Signed,
    bound: &BTreeMap<String, String>,
) -> Result<Taken, door::Refusal> {
    let limits = Limits::default();
    let mut after = before.fork();
    if !door::receive(&mut after, &mut state, data, &limits)? {
        return Ok((after, state, Vec::new()));
    }
    let author = Author {
        user: who.user.clone(),
        name: who.name.clone(),
        role: who.role.clone(),
        device: who.device.clone(),
    };
    let admission = door::check(before, &after, &author, bound, &limits)?;
    Ok((after, state, admission.new_actors))
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
