//! A tablet's side of the exchange with the server, without a socket.
//!
//! ```text
//! open:    Link::new -> follow each job -> send join()
//! frame:   receive() -> store what it names, strictly -> settle()     (or unsettle() if storing failed)
//! after both, and after every accepted edit: send what generate() returns
//! ```
//!
//! A link is one connection: a new connection needs a new link, because what was sent on the old one may be lost.
//! Arrivals are applied to forks that the link holds; dropping the link drops what was not stored.
//!
//! INVARIANT: the heads in any message are an acknowledgement, so messages are generated from accepted documents only,
//! and for a document with an arrival that is not yet stored none is generated.

use std::collections::BTreeMap;
use std::fmt;

use automerge::sync::{self, SyncDoc};
use automerge::{Automerge, ChangeHash};
use serde::Serialize;

use crate::document_id::DocumentId;
use crate::door;
use crate::ledger::{entries_of, schema_of};
use crate::record::Record;
use crate::wire::{self, DocMessage, Message, PROTOCOL_VERSION, PeerMetadata, Refused};

/// One connection to the server.
#[derive(Debug)]
pub struct Link {
    peer_id: String,
    /// The server's name, once it has answered.
    server: Option<String>,
    following: BTreeMap<DocumentId, Following>,
    limits: door::Limits,
}

#[derive(Debug, Default)]
struct Following {
    state: sync::State,
    /// Stands for a document of which nothing is here yet. It may hold changes that wait for others.
    blank: Automerge,
    arrival: Option<Arrival>,
    refused: Option<Refused>,
    unavailable: bool,
    /// Why nothing more is taken from the server for this document on this connection.
    trouble: Option<String>,
}

/// What arrived and is not yet stored.
#[derive(Debug)]
struct Arrival {
    doc: Automerge,
    /// Heads of the accepted document when it was forked.
    base: Vec<ChangeHash>,
    /// Everything it holds beyond those.
    bytes: Vec<u8>,
    /// The state of the exchange before it.
    state_before: sync::State,
}

/// What a frame brought.
#[derive(Debug, Default, PartialEq, Eq)]
pub struct Received {
    /// Documents with everything about them that is to be stored before [`Link::settle`]: a later frame's bytes for a
    /// document contain those of the earlier ones that are not yet settled.
    pub store: Vec<(DocumentId, Vec<u8>)>,
    /// What happened, in order.
    pub events: Vec<Event>,
}

/// Something that happened, as a sentence by its `Display`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Event {
    /// The server answered: jobs are being exchanged.
    Connected,
    /// Entries of others, or a whole job, came in.
    Arrived(DocumentId),
    /// The server did not take changes of this document.
    Refused(Refused),
    /// The server does not have or give this document.
    Unavailable(DocumentId),
    /// The server speaks of a fault of the whole connection.
    ServerError {
        /// Its words.
        message: String,
    },
    /// A frame or a part of it could not be used. Nothing was changed by it.
    NotUsed {
        /// The document, if it was about one.
        document: Option<DocumentId>,
        /// Why.
        reason: String,
    },
}

impl fmt::Display for Event {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Event::Connected => f.write_str("Connected to the server."),
            Event::Arrived(document) => write!(f, "Entries of others came in for job {document}."),
            Event::Refused(r) => write!(f, "{} {} {}", r.reason, r.kept, r.todo),
            Event::Unavailable(document) => {
                write!(f, "The server has no job {document} for you. What is on this device stays here.")
            }
            Event::ServerError { message } => write!(f, "The server reports: {message}"),
            Event::NotUsed { document: Some(document), reason } => {
                write!(
                    f,
                    "What came for job {document} was not used: {reason} Nothing on this device was changed."
                )
            }
            Event::NotUsed { document: None, reason } => {
                write!(
                    f,
                    "A message of the server was not used: {reason} Nothing on this device was changed."
                )
            }
        }
    }
}

/// How a document stands with the server.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Standing {
    /// Whether the server has said, on this connection, that it holds everything accepted here.
    pub safe: bool,
    /// The heads it named last, in hex, sorted; empty until it has named any.
    pub server_heads: Vec<String>,
    /// Why it did not take changes of this document, what was kept and what to do.
    pub refused: Option<String>,
    /// Whether it said that it does not have or give this document.
    pub unavailable: bool,
    /// Why nothing more is taken from the server for this document on this connection.
    pub trouble: Option<String>,
}

impl Link {
    /// Begins a connection under a name that is unique to it, such as the tab's.
    pub fn new(peer_id: impl Into<String>) -> Link {
        Link {
            peer_id: peer_id.into(),
            server: None,
            following: BTreeMap::new(),
            limits: door::Limits::default(),
        }
    }

    /// The first frame to send.
    pub fn join(&self) -> Vec<u8> {
        let metadata = PeerMetadata { storage_id: None, is_ephemeral: true, crownweir: true };
        let versions = vec![PROTOCOL_VERSION.to_owned()];
        Message::Join { sender: self.peer_id.clone(), metadata, versions }.encode()
    }

    /// Exchanges a document from now on, whether or not anything of it is here. One that the server said it does not
    /// give is asked for again: the job may have been assigned meanwhile.
    pub fn follow(&mut self, document: DocumentId) {
        let following = self.following.entry(document).or_default();
        if following.unavailable {
            *following = Following::default();
        }
    }

    /// Exchanges a document no more. What arrived and is not stored is dropped; it will come again.
    pub fn unfollow(&mut self, document: &DocumentId) {
        self.following.remove(document);
    }

    /// Whether the server has answered.
    pub fn is_connected(&self) -> bool {
        self.server.is_some()
    }

    /// Takes a frame in. What it brings is staged within the link: store it, then call [`Link::settle`].
    pub fn receive(&mut self, frame: &[u8], docs: &mut BTreeMap<DocumentId, Record>) -> Received {
        let mut received = Received::default();
        match wire::decode(frame) {
            Ok(message) => self.take(message, docs, &mut received),
            Err(error) => {
                received.events.push(Event::NotUsed { document: None, reason: format!("{error}.") });
            }
        }
        received
    }

    /// Accepts everything that [`Link::receive`] named. To be called when, and only when, it is stored. A job that was
    /// not open is added to `docs`, and returned: it has no session yet.
    pub fn settle(&mut self, docs: &mut BTreeMap<DocumentId, Record>) -> Vec<DocumentId> {
        let mut added = Vec::new();
        for (id, following) in &mut self.following {
            let Some(arrival) = following.arrival.take() else { continue };
            match docs.get_mut(id) {
                Some(record) => record.take_arrival(arrival.doc, &arrival.base, &arrival.bytes),
                None => {
                    docs.insert(*id, Record::from_automerge(arrival.doc));
                    added.push(*id);
                }
            }
        }
        added
    }

    /// Drops everything that [`Link::receive`] named, because it could not be stored, and asks for it again.
    pub fn unsettle(&mut self) {
        for following in self.following.values_mut() {
            if let Some(arrival) = following.arrival.take() {
                following.state = arrival.state_before;
                // The server believes that it has sent these changes: it is told to send them again.
                following.state.needs_reset = true;
                following.state.have_responded = false;
                following.state.in_flight = false;
            }
        }
    }

    /// The frames to send now: at most one for each document that has something to say.
    pub fn generate(&mut self, docs: &BTreeMap<DocumentId, Record>) -> Vec<Vec<u8>> {
        let Some(server) = &self.server else { return Vec::new() };
        let mut frames = Vec::new();
        for (id, following) in &mut self.following {
            if following.arrival.is_some() || following.unavailable {
                continue;
            }
            let state = &mut following.state;
            let doc = docs.get(id).map_or(&following.blank, Record::automerge);
            let Some(message) = doc.generate_sync_message(state) else { continue };
            let asks = message.heads.is_empty() && state.their_heads.as_ref().is_none_or(Vec::is_empty);
            let addressed = DocMessage {
                sender: self.peer_id.clone(),
                target: server.clone(),
                document: *id,
                data: message.encode(),
            };
            let message = if asks { Message::Request(addressed) } else { Message::Sync(addressed) };
            frames.push(message.encode());
        }
        frames
    }

    /// How a document stands with the server.
    pub fn standing(&self, document: &DocumentId, docs: &BTreeMap<DocumentId, Record>) -> Standing {
        let Some(following) = self.following.get(document) else { return Standing::default() };
        let theirs = following.state.their_heads.as_deref().unwrap_or_default();
        let mut server_heads: Vec<String> = theirs.iter().map(ToString::to_string).collect();
        server_heads.sort();
        let safe = docs.get(document).is_some_and(|record| covers(theirs, record.automerge()));
        Standing {
            safe,
            server_heads,
            refused: following.refused.as_ref().map(|r| format!("{} {} {}", r.reason, r.kept, r.todo)),
            unavailable: following.unavailable,
            trouble: following.trouble.clone(),
        }
    }

    fn take(&mut self, message: Message, docs: &mut BTreeMap<DocumentId, Record>, received: &mut Received) {
        let events = &mut received.events;
        let not_used = |reason: &str| Event::NotUsed { document: None, reason: reason.to_owned() };
        match message {
            Message::Peer { sender, version, .. } => {
                if version != PROTOCOL_VERSION {
                    events.push(not_used("It speaks another version of the protocol; load the new program."));
                    return;
                }
                if self.server.as_ref().is_some_and(|known| *known != sender) {
                    events.push(not_used("Another server answered on the same connection."));
                    return;
                }
                if self.server.replace(sender).is_none() {
                    events.push(Event::Connected);
                }
            }
            Message::Error { message, .. } => events.push(Event::ServerError { message }),
            _ if self.server.is_none() => events.push(not_used("It came before the server's answer.")),
            Message::Sync(m) | Message::Request(m) => self.arrive(m, docs, received),
            Message::DocUnavailable { document, .. } => {
                if let Some(following) = self.following.get_mut(&document) {
                    following.unavailable = true;
                    events.push(Event::Unavailable(document));
                }
            }
            Message::Refused(refused) => {
                if let Some(following) = self.following.get_mut(&refused.document) {
                    following.refused = Some(refused.clone());
                    events.push(Event::Refused(refused));
                }
            }
            Message::Join { .. }
            | Message::Leave { .. }
            | Message::Ephemeral { .. }
            | Message::Other { .. } => {}
        }
    }

    fn arrive(&mut self, m: DocMessage, docs: &mut BTreeMap<DocumentId, Record>, received: &mut Received) {
        // Documents that nobody here asked for are left with the server.
        let Some(following) = self.following.get_mut(&m.document) else { return };
        following.unavailable = false;
        match following.apply(&m.data, docs.get_mut(&m.document), &self.limits) {
            Ok(None) => {}
            Ok(Some(bytes)) => {
                received.store.push((m.document, bytes));
                received.events.push(Event::Arrived(m.document));
            }
            Err(reason) => {
                // From here on the document only goes out: the work on this device must still reach the server.
                following.state.set_read_only(true);
                following.trouble = Some(reason.clone());
                received.events.push(Event::NotUsed { document: Some(m.document), reason });
            }
        }
    }
}

impl Following {
    /// Applies a message to a fork. Returns all that is to be stored, or `None` if it brought nothing new.
    fn apply(
        &mut self,
        data: &[u8],
        record: Option<&mut Record>,
        limits: &door::Limits,
    ) -> Result<Option<Vec<u8>>, String> {
        let accepted = record.as_ref().map_or(&self.blank, |record| record.automerge());
        let (mut doc, base) = match &self.arrival {
            Some(arrival) => (arrival.doc.clone(), arrival.base.clone()),
            None => (accepted.fork(), accepted.get_heads()),
        };
        let heads_before = doc.get_heads();
        let mut state = self.state.clone();
        let brings = door::receive(&mut doc, &mut state, data, limits).map_err(|refusal| refusal.reason)?;
        let state_before = std::mem::replace(&mut self.state, state);
        if !brings {
            return Ok(None);
        }
        let sound = if !base.is_empty() {
            door::intact(accepted, &doc)
        } else if doc.get_heads().is_empty() || (schema_of(&doc).is_some() && entries_of(&doc).is_some()) {
            Ok(())
        } else {
            Err("It is not a job record.".to_owned())
        };
        if let Err(reason) = sound {
            self.state = state_before;
            return Err(reason);
        }
        if doc.get_heads() == heads_before && self.arrival.is_none() {
            // At most changes that wait for others came. They count for nothing yet, so nothing has to be stored; but
            // they must be kept, as the server will not send them again on this connection.
            match record {
                Some(record) => record.take_arrival(doc, &base, &[]),
                None => self.blank = doc,
            }
            return Ok(None);
        }
        let mut bytes = if base.is_empty() { doc.save() } else { doc.save_after(&base) };
        if !base.is_empty() {
            door::waiting(&doc).iter().for_each(|change| bytes.extend_from_slice(change.raw_bytes()));
        }
        let state_before = self.arrival.take().map_or(state_before, |arrival| arrival.state_before);
        self.arrival = Some(Arrival { doc, base, bytes: bytes.clone(), state_before });
        Ok(Some(bytes))
    }
}

/// Whether a peer that named these heads holds everything in `doc`.
fn covers(theirs: &[ChangeHash], doc: &Automerge) -> bool {
    if doc.get_heads().iter().all(|head| theirs.contains(head)) {
        return !theirs.is_empty();
    }
    // Heads that are not known here say that the server has more; what of ours is in it, the known ones tell.
    let known: Vec<ChangeHash> =
        theirs.iter().filter(|head| doc.get_change_meta_by_hash(head).is_some()).copied().collect();
    !known.is_empty() && doc.get_changes_meta(&known).is_empty()
}
