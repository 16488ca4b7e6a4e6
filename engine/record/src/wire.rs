//! The messages of automerge-repo's WebSocket protocol, version 1, and one of our own.
//!
//! Each binary frame is one CBOR map with a text `type`. Field names follow the code of automerge-repo 2.5 where its
//! text differs: the metadata of a peer is `peerMetadata` (`metadata` is accepted too), and a `join` may come without
//! a list of versions. Fields that are not known are passed over unread.
//!
//! | `type` | fields beside `senderId` and `targetId` |
//! | --- | --- |
//! | `join` (client first; no target) | `peerMetadata {storageId?, isEphemeral?, crownweir?}`, `supportedProtocolVersions` |
//! | `peer` (the answer) | `peerMetadata`, `selectedProtocolVersion` |
//! | `sync`, `request` | `documentId`, `data` |
//! | `doc-unavailable` | `documentId` |
//! | `ephemeral` | `documentId`, `count`, `sessionId`, `data` |
//! | `leave` | (no target) |
//! | `error` | `message` |
//! | `crownweir-refused` (ours) | `documentId`, `reason`, `kept`, `todo` |
//!
//! A peer that understands `crownweir-refused` says so by a `crownweir` field in its metadata. It tells a person that
//! work was not taken, what was kept, and what to do.

use serde::de::IgnoredAny;
use serde::{Deserialize, Serialize};

use crate::document_id::{DocumentId, DocumentIdError};

/// The version of the protocol spoken here.
pub const PROTOCOL_VERSION: &str = "1";

/// How large a frame and its parts may be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// Bytes of a whole frame.
    pub frame: usize,
    /// Characters of a peer's name, a session's or a storage's.
    pub name: usize,
    /// Characters of a message to a person.
    pub text: usize,
}

impl Default for Limits {
    /// 8 MiB a frame: a job of 3,000 changes is sent whole in about 35 kB (measured), so this is far off.
    fn default() -> Self {
        Limits { frame: 8 * 1024 * 1024, name: 256, text: 4_000 }
    }
}

/// What a peer says of itself when it connects.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct PeerMetadata {
    /// The name of its storage, if it has one.
    pub storage_id: Option<String>,
    /// Whether it keeps nothing.
    pub is_ephemeral: bool,
    /// Whether it understands `crownweir-refused`.
    pub crownweir: bool,
}

/// One message.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Message {
    /// A client introduces itself.
    Join {
        /// The client's name for this connection.
        sender: String,
        /// What it says of itself.
        metadata: PeerMetadata,
        /// The versions it speaks; without a list, version 1.
        versions: Vec<String>,
    },
    /// The server's answer.
    Peer {
        /// The server.
        sender: String,
        /// The client.
        target: String,
        /// What the server says of itself.
        metadata: PeerMetadata,
        /// The version chosen.
        version: String,
    },
    /// A step of the exchange about a document.
    Sync(DocMessage),
    /// The same, from a peer that has nothing of the document yet.
    Request(DocMessage),
    /// The sender does not have the document or does not give it to us.
    DocUnavailable {
        /// Who answers.
        sender: String,
        /// Whom.
        target: String,
        /// The document.
        document: DocumentId,
    },
    /// Something that is not kept, such as a cursor.
    Ephemeral {
        /// Who wrote it; survives relaying.
        sender: String,
        /// For whom.
        target: String,
        /// About which document.
        document: DocumentId,
        /// Number within the session.
        count: u64,
        /// The writing session.
        session: String,
        /// What it is.
        data: Vec<u8>,
    },
    /// The sender goes.
    Leave {
        /// Who.
        sender: String,
    },
    /// Something went wrong with the whole connection.
    Error {
        /// Who says so.
        sender: String,
        /// To whom.
        target: String,
        /// What, for a person.
        message: String,
    },
    /// Ours: changes were not taken.
    Refused(Refused),
    /// A type that this version does not know or need; to be passed over.
    Other {
        /// Its `type`.
        kind: String,
    },
}

/// A sync message of Automerge with its addresses.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DocMessage {
    /// Who.
    pub sender: String,
    /// To whom.
    pub target: String,
    /// The document.
    pub document: DocumentId,
    /// `automerge::sync::Message`, encoded.
    pub data: Vec<u8>,
}

/// Changes were not taken: said to the person whose work it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refused {
    /// Who refuses.
    pub sender: String,
    /// Whom.
    pub target: String,
    /// The document.
    pub document: DocumentId,
    /// Why.
    pub reason: String,
    /// What was kept, and where.
    pub kept: String,
    /// What to do now.
    pub todo: String,
}

/// Why a frame is not a message.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum DecodeError {
    /// The frame is larger than allowed.
    #[error("the message has {bytes} bytes, at most {most} are allowed")]
    TooLarge {
        /// Its size.
        bytes: usize,
        /// The limit.
        most: usize,
    },
    /// The bytes are not a CBOR map with the fields of a message.
    #[error("the message cannot be read ({message})")]
    NotAMessage {
        /// The reader's own words.
        message: String,
    },
    /// The map lacks a field that its type needs.
    #[error("a `{kind}` message lacks `{field}`")]
    Missing {
        /// The message's type.
        kind: String,
        /// The field.
        field: &'static str,
    },
    /// A text is longer than allowed.
    #[error("`{field}` is longer than {most} characters")]
    TooLong {
        /// The field.
        field: &'static str,
        /// The limit.
        most: usize,
    },
    /// The document is not named properly.
    #[error(transparent)]
    Document(#[from] DocumentIdError),
    /// Bytes follow the message.
    #[error("{bytes} bytes follow the message")]
    Trailing {
        /// How many.
        bytes: usize,
    },
}

/// Maps within maps that a message may have; ours have two.
const DEPTH: usize = 12;

#[derive(Default, Deserialize)]
#[serde(rename_all = "camelCase", default)]
struct RawMetadata {
    storage_id: Option<String>,
    is_ephemeral: Option<bool>,
    crownweir: Option<IgnoredAny>,
}

impl From<RawMetadata> for PeerMetadata {
    fn from(raw: RawMetadata) -> Self {
        PeerMetadata {
            storage_id: raw.storage_id,
            is_ephemeral: raw.is_ephemeral.unwrap_or(false),
            crownweir: raw.crownweir.is_some(),
        }
    }
}

/// Every field of every message; the `type` says which are needed.
#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct Raw {
    #[serde(rename = "type")]
    kind: String,
    sender_id: Option<String>,
    target_id: Option<String>,
    document_id: Option<String>,
    data: Option<Bytes>,
    count: Option<Count>,
    session_id: Option<String>,
    peer_metadata: Option<RawMetadata>,
    metadata: Option<RawMetadata>,
    supported_protocol_versions: Option<Vec<String>>,
    selected_protocol_version: Option<String>,
    message: Option<String>,
    reason: Option<String>,
    kept: Option<String>,
    todo: Option<String>,
}

/// A CBOR byte string.
struct Bytes(Vec<u8>);

impl<'de> Deserialize<'de> for Bytes {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Visitor;
        impl serde::de::Visitor<'_> for Visitor {
            type Value = Bytes;
            fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str("a byte string")
            }
            fn visit_bytes<E>(self, bytes: &[u8]) -> Result<Bytes, E> {
                Ok(Bytes(bytes.to_vec()))
            }
            fn visit_byte_buf<E>(self, bytes: Vec<u8>) -> Result<Bytes, E> {
                Ok(Bytes(bytes))
            }
        }
        deserializer.deserialize_byte_buf(Visitor)
    }
}

/// A whole number. A JavaScript client writes one beyond 32 bits as a float.
struct Count(u64);

impl<'de> Deserialize<'de> for Count {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Visitor;
        impl serde::de::Visitor<'_> for Visitor {
            type Value = Count;
            fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str("a whole number")
            }
            fn visit_u64<E>(self, n: u64) -> Result<Count, E> {
                Ok(Count(n))
            }
            fn visit_f64<E: serde::de::Error>(self, n: f64) -> Result<Count, E> {
                let whole = n >= 0.0 && n <= 2f64.powi(53) && n.fract() == 0.0;
                if whole { Ok(Count(n as u64)) } else { Err(E::custom("a count is a whole number")) }
            }
        }
        deserializer.deserialize_any(Visitor)
    }
}

/// Reads a frame within the usual limits. Any bytes are answered with a message or an error.
pub fn decode(frame: &[u8]) -> Result<Message, DecodeError> {
    decode_within(frame, &Limits::default())
}

/// Reads a frame within limits.
pub fn decode_within(frame: &[u8], limits: &Limits) -> Result<Message, DecodeError> {
    if frame.len() > limits.frame {
        return Err(DecodeError::TooLarge { bytes: frame.len(), most: limits.frame });
    }
    let mut rest = frame;
    let raw: Raw = ciborium::de::from_reader_with_recursion_limit(&mut rest, DEPTH).map_err(|error| {
        // Only the kind of fault: a hostile peer's bytes do not belong in a log.
        let message = match error {
            ciborium::de::Error::Io(_) => "it ends too early".to_owned(),
            ciborium::de::Error::Syntax(at) => format!("it is not CBOR at byte {at}"),
            ciborium::de::Error::Semantic(_, what) => what.chars().take(120).collect(),
            ciborium::de::Error::RecursionLimitExceeded => "it is nested too deeply".to_owned(),
        };
        DecodeError::NotAMessage { message }
    })?;
    if !rest.is_empty() {
        return Err(DecodeError::Trailing { bytes: rest.len() });
    }
    Reading { raw, limits }.message()
}

struct Reading<'a> {
    raw: Raw,
    limits: &'a Limits,
}

impl Reading<'_> {
    fn message(mut self) -> Result<Message, DecodeError> {
        self.short("type", Some(&self.raw.kind), self.limits.name)?;
        Ok(match self.raw.kind.as_str() {
            "join" => {
                let versions = self.raw.supported_protocol_versions.take();
                let versions = versions.unwrap_or_else(|| vec![PROTOCOL_VERSION.to_owned()]);
                if versions.len() > 16 {
                    return Err(DecodeError::TooLong { field: "supportedProtocolVersions", most: 16 });
                }
                for version in &versions {
                    self.short("supportedProtocolVersions", Some(version), self.limits.name)?;
                }
                Message::Join { sender: self.sender()?, metadata: self.metadata()?, versions }
            }
            "peer" => Message::Peer {
                version: self
                    .raw
                    .selected_protocol_version
                    .take()
                    .unwrap_or_else(|| PROTOCOL_VERSION.to_owned()),
                sender: self.sender()?,
                target: self.target()?,
                metadata: self.metadata()?,
            },
            "sync" => Message::Sync(self.doc_message()?),
            "request" => Message::Request(self.doc_message()?),
            "doc-unavailable" => Message::DocUnavailable {
                sender: self.sender()?,
                target: self.target()?,
                document: self.document()?,
            },
            "ephemeral" => Message::Ephemeral {
                sender: self.sender()?,
                target: self.target()?,
                document: self.document()?,
                count: self.raw.count.take().map_or(0, |count| count.0),
                session: self.name("sessionId", self.raw.session_id.clone())?,
                data: self.data()?,
            },
            "leave" => Message::Leave { sender: self.sender()? },
            "error" => {
                let message = self.text("message", self.raw.message.clone())?;
                Message::Error {
                    sender: self.raw.sender_id.take().unwrap_or_default(),
                    target: self.raw.target_id.take().unwrap_or_default(),
                    message,
                }
            }
            "crownweir-refused" => Message::Refused(Refused {
                sender: self.sender()?,
                target: self.target()?,
                document: self.document()?,
                reason: self.text("reason", self.raw.reason.clone())?,
                kept: self.text("kept", self.raw.kept.clone())?,
                todo: self.text("todo", self.raw.todo.clone())?,
            }),
            _ => Message::Other { kind: self.raw.kind },
        })
    }

    fn doc_message(&mut self) -> Result<DocMessage, DecodeError> {
        Ok(DocMessage {
            sender: self.sender()?,
            target: self.target()?,
            document: self.document()?,
            data: self.data()?,
        })
    }

    fn sender(&self) -> Result<String, DecodeError> {
        self.name("senderId", self.raw.sender_id.clone())
    }

    fn target(&self) -> Result<String, DecodeError> {
        self.name("targetId", self.raw.target_id.clone())
    }

    fn document(&self) -> Result<DocumentId, DecodeError> {
        let text = self.raw.document_id.as_deref().ok_or_else(|| self.missing("documentId"))?;
        Ok(text.parse()?)
    }

    fn data(&mut self) -> Result<Vec<u8>, DecodeError> {
        self.raw.data.take().map(|bytes| bytes.0).ok_or_else(|| self.missing("data"))
    }

    fn metadata(&mut self) -> Result<PeerMetadata, DecodeError> {
        let raw = self.raw.peer_metadata.take().or(self.raw.metadata.take());
        let metadata: PeerMetadata = raw.unwrap_or_default().into();
        self.short("storageId", metadata.storage_id.as_deref(), self.limits.name)?;
        Ok(metadata)
    }

    fn name(&self, field: &'static str, value: Option<String>) -> Result<String, DecodeError> {
        let value = value.ok_or_else(|| self.missing(field))?;
        self.short(field, Some(&value), self.limits.name)?;
        Ok(value)
    }

    fn text(&self, field: &'static str, value: Option<String>) -> Result<String, DecodeError> {
        let value = value.unwrap_or_default();
        self.short(field, Some(&value), self.limits.text)?;
        Ok(value)
    }

    fn short(&self, field: &'static str, value: Option<&str>, most: usize) -> Result<(), DecodeError> {
        match value {
            Some(value) if value.len() > most && value.chars().count() > most => {
                Err(DecodeError::TooLong { field, most })
            }
            _ => Ok(()),
        }
    }

    fn missing(&self, field: &'static str) -> DecodeError {
        DecodeError::Missing { kind: self.raw.kind.clone(), field }
    }
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct OutMetadata<'a> {
    #[serde(skip_serializing_if = "Option::is_none")]
    storage_id: Option<&'a str>,
    is_ephemeral: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    crownweir: Option<u8>,
}

impl<'a> From<&'a PeerMetadata> for OutMetadata<'a> {
    fn from(metadata: &'a PeerMetadata) -> Self {
        OutMetadata {
            storage_id: metadata.storage_id.as_deref(),
            is_ephemeral: metadata.is_ephemeral,
            crownweir: metadata.crownweir.then_some(1),
        }
    }
}

#[derive(Default, Serialize)]
#[serde(rename_all = "camelCase")]
struct Out<'a> {
    #[serde(rename = "type")]
    kind: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    sender_id: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    target_id: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    document_id: Option<DocumentId>,
    #[serde(skip_serializing_if = "Option::is_none")]
    count: Option<u64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    session_id: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    data: Option<Slice<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    peer_metadata: Option<OutMetadata<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    supported_protocol_versions: Option<&'a [String]>,
    #[serde(skip_serializing_if = "Option::is_none")]
    selected_protocol_version: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    message: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    reason: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    kept: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    todo: Option<&'a str>,
}

struct Slice<'a>(&'a [u8]);

impl Serialize for Slice<'_> {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_bytes(self.0)
    }
}

impl Message {
    /// Writes the frame. [`Message::Other`] is written as its type alone.
    pub fn encode(&self) -> Vec<u8> {
        let out = match self {
            Message::Join { sender, metadata, versions } => Out {
                kind: "join",
                sender_id: Some(sender),
                peer_metadata: Some(metadata.into()),
                supported_protocol_versions: Some(versions),
                ..Out::default()
            },
            Message::Peer { sender, target, metadata, version } => Out {
                kind: "peer",
                peer_metadata: Some(metadata.into()),
                selected_protocol_version: Some(version),
                ..addressed(sender, target)
            },
            Message::Sync(m) => m.out("sync"),
            Message::Request(m) => m.out("request"),
            Message::DocUnavailable { sender, target, document } => {
                Out { kind: "doc-unavailable", document_id: Some(*document), ..addressed(sender, target) }
            }
            Message::Ephemeral { sender, target, document, count, session, data } => Out {
                kind: "ephemeral",
                document_id: Some(*document),
                count: Some(*count),
                session_id: Some(session),
                data: Some(Slice(data)),
                ..addressed(sender, target)
            },
            Message::Leave { sender } => Out { kind: "leave", sender_id: Some(sender), ..Out::default() },
            Message::Error { sender, target, message } => {
                Out { kind: "error", message: Some(message), ..addressed(sender, target) }
            }
            Message::Refused(r) => Out {
                kind: "crownweir-refused",
                document_id: Some(r.document),
                reason: Some(&r.reason),
                kept: Some(&r.kept),
                todo: Some(&r.todo),
                ..addressed(&r.sender, &r.target)
            },
            Message::Other { kind } => Out { kind, ..Out::default() },
        };
        let mut frame = Vec::new();
        // A vector takes every byte, and every field above has a form in CBOR.
        let _ = ciborium::into_writer(&out, &mut frame);
        frame
    }
}

impl DocMessage {
    fn out<'a>(&'a self, kind: &'a str) -> Out<'a> {
        Out {
            kind,
            document_id: Some(self.document),
            data: Some(Slice(&self.data)),
            ..addressed(&self.sender, &self.target)
        }
    }
}

fn addressed<'a>(sender: &'a str, target: &'a str) -> Out<'a> {
    Out { sender_id: Some(sender), target_id: Some(target), ..Out::default() }
}

#[cfg(test)]
mod tests;
