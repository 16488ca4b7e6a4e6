//! What becomes of one sync message: taken, refused, or not the protocol at all.

use std::collections::BTreeSet;
use std::panic::{AssertUnwindSafe, catch_unwind};

use automerge::Automerge;
use automerge::sync::{Message, State, SyncDoc};

use super::frames::Refusal;
use crate::accounts::Signed;

/// See the module.
pub(super) enum Judged {
    /// Received on a fork and let through the door.
    Taken {
        /// The fork.
        doc: Box<Automerge>,
        /// The exchange after it.
        state: State,
        /// Actors whose changes came first with this message.
        actors: BTreeSet<Vec<u8>>,
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

fn joined(message: &Message) -> Vec<u8> {
    message.changes.iter().flatten().copied().collect()
}

/// Receives a message on a fork of `before`. `bound` says to whom an actor is bound.
pub(super) fn receive(
    before: &Automerge,
    state: State,
    data: &[u8],
    who: &Signed,
    bound: &dyn Fn(&[u8]) -> Option<String>,
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

type Taken = (Automerge, State, BTreeSet<Vec<u8>>);

fn take(
    before: &Automerge,
    mut state: State,
    message: Message,
    who: &Signed,
    bound: &dyn Fn(&[u8]) -> Option<String>,
) -> Result<Taken, Refusal> {
    let carries = !message.changes.is_empty();
    let mut after = before.fork();
    after
        .receive_sync_message(&mut state, message)
        .map_err(|e| Refusal::kept_aside(format!("these changes cannot be merged into the record ({e})")))?;
    let mut actors = BTreeSet::new();
    if carries {
        for change in after.get_changes_meta(&before.get_heads()) {
            let actor = change.actor.to_bytes();
            match bound(actor) {
                None => drop(actors.insert(actor.to_vec())),
                Some(user) if user == who.user => {}
                Some(user) => {
                    let reason = format!("it holds work of {user} that is not on the server yet; only {user} may send it");
                    return Err(Refusal::kept_aside(reason));
                }
            }
        }
    }
    Ok((after, state, actors))
}

fn refuse(before: &Automerge, mut state: State, message: Message, bytes: Vec<u8>, refusal: Option<Refusal>) -> Judged {
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
            Judged::Taken { doc: Box::new(before.fork()), state, actors: BTreeSet::new() }
        }
        (Ok((state, Ok(()))), None) => Judged::Refused {
            state,
            refusal: Refusal::kept_aside("it builds on changes that were refused before"),
            bytes,
        },
        _ => Judged::Garbled,
    }
}
