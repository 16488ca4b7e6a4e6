//! Frames as the hub needs them: what a client may say to a server, and what a server says to one peer.

use crownweir_record::DocumentId;
use crownweir_record::wire::{
    self, DecodeError, DocMessage, Message, PROTOCOL_VERSION, PeerMetadata, Refused,
};

use super::peer::Peer;

/// The server's name in every frame.
pub const SERVER: &str = "crownweir-server";

/// What a client says.
pub enum Frame {
    /// It introduces itself.
    Join {
        /// Its name.
        sender: String,
        /// Whether it understands our own frames.
        ours: bool,
        /// Whether it speaks a version that we speak.
        speaks: bool,
    },
    /// A step of the exchange about a document; `asks` if the client has nothing of it.
    Sync {
        /// Document.
        doc: DocumentId,
        /// Automerge's sync message.
        data: Vec<u8>,
        /// Whether it is a request.
        asks: bool,
    },
    /// Something transient about a document.
    Ephemeral {
        /// Document.
        doc: DocumentId,
        /// What and whose.
        message: Ephemeral,
    },
    /// It goes; the socket's end says the same.
    Leave,
    /// Nothing a server acts on.
    Other,
}

/// Something transient, passed on unread.
#[derive(Debug, Clone)]
pub struct Ephemeral {
    sender: String,
    count: u64,
    session: String,
    data: Vec<u8>,
}

/// Why something was not taken, for the person whose work it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refusal {
    /// Why.
    pub reason: String,
    /// What was kept, and where.
    pub kept: String,
    /// What to do now.
    pub todo: String,
}

impl Refusal {
    /// Changes that are in quarantine.
    pub fn kept_aside(reason: impl Into<String>) -> Self {
        Refusal {
            reason: reason.into(),
            kept: "your work is still on this tablet, and the server keeps what you sent aside, unread by others".into(),
            todo: "show this to a supervisor before you enter more in this job".into(),
        }
    }
}

/// Reads a frame.
pub fn read(bytes: &[u8]) -> Result<Frame, DecodeError> {
    Ok(match wire::decode(bytes)? {
        Message::Join { sender, metadata, versions } => Frame::Join {
            sender,
            ours: metadata.crownweir,
            speaks: versions.iter().any(|v| v == PROTOCOL_VERSION),
        },
        Message::Sync(m) => Frame::Sync { doc: m.document, data: m.data, asks: false },
        Message::Request(m) => Frame::Sync { doc: m.document, data: m.data, asks: true },
        Message::Ephemeral { sender, document, count, session, data, .. } => {
            Frame::Ephemeral { doc: document, message: Ephemeral { sender, count, session, data } }
        }
        Message::Leave { .. } => Frame::Leave,
        _ => Frame::Other,
    })
}

/// The answer to `join`.
pub fn welcome(to: &Peer) -> Vec<u8> {
    let metadata = PeerMetadata { storage_id: None, is_ephemeral: false, crownweir: true };
    let message = Message::Peer {
        sender: SERVER.into(),
        target: to.name.clone(),
        metadata,
        version: PROTOCOL_VERSION.into(),
    };
    message.encode()
}

/// A step of the exchange.
pub fn sync(doc: DocumentId, to: &Peer, data: Vec<u8>) -> Vec<u8> {
    Message::Sync(DocMessage { sender: SERVER.into(), target: to.name.clone(), document: doc, data }).encode()
}

/// The document is not here, or not for this peer.
pub fn unavailable(doc: DocumentId, to: &Peer) -> Vec<u8> {
    Message::DocUnavailable { sender: SERVER.into(), target: to.name.clone(), document: doc }.encode()
}

/// Changes were not taken; only for peers that understand it.
pub fn refused(doc: DocumentId, to: &Peer, refusal: &Refusal) -> Vec<u8> {
    let r = refusal.clone();
    Message::Refused(Refused {
        sender: SERVER.into(),
        target: to.name.clone(),
        document: doc,
        reason: r.reason,
        kept: r.kept,
        todo: r.todo,
    })
    .encode()
}

/// Something transient, with its author's name kept.
pub fn ephemeral(doc: DocumentId, to: &Peer, message: &Ephemeral) -> Vec<u8> {
    let m = message.clone();
    Message::Ephemeral {
        sender: m.sender,
        target: to.name.clone(),
        document: doc,
        count: m.count,
        session: m.session,
        data: m.data,
    }
    .encode()
}

/// Something is wrong with the whole connection. JavaScript clients log it.
pub fn error(to: &str, message: &str) -> Vec<u8> {
    Message::Error { sender: SERVER.into(), target: to.to_owned(), message: message.to_owned() }.encode()
}
