//! The job document: what people did to a job, as an append-only set of entries that merges without loss.
//!
//! ```text
//! Edit --stage--> fork + bytes to store --accept--> Record --state()--> JobState (registers, subjects, history)
//!                                                     ^ |
//!                        link (tablet) / door (server)| | automerge::sync messages, wire frames
//! ```
//!
//! - [`Record`] holds the accepted document; nothing is accepted before its caller has stored it.
//! - [`JobState`] is what the entries say: a function of the document alone, equal wherever the heads are equal.
//! - [`door`] decides whether changes from a user may enter; [`wire`] reads and writes automerge-repo's messages;
//!   [`link`] is a tablet's side of the exchange, without a socket.
//!
//! ```
//! use crownweir_record::{Author, Edit, How, JobHeader, Record, SubjectRef};
//!
//! let of = |user: &str, role: &str| Author { user: user.into(), role: role.into(), ..Author::default() };
//! let header = JobHeader {
//!     permit: "P-26-0412".into(),
//!     address: "14 Larkspur Lane".into(),
//!     adoption: "alderfen".into(),
//!     applied_on: "2026-03-02".into(),
//!     ..JobHeader::default()
//! };
//! let mut record = Record::create(header, &of("office", "server"), [1; 16], 0)?;
//! record.begin(of("okafor", "inspector"), [2; 16]); // a fresh actor for every session
//! let house = Edit::Subject { kind: "house".into(), name: "House".into(), parent: None, copied_from: None };
//! let storeys = Edit::Seen {
//!     subject: SubjectRef::New(0),
//!     fact: "storeys".into(),
//!     value: Some("2".into()),
//!     how: How::Seen,
//!     note: String::new(),
//! };
//! let staged = record.stage(&[house, storeys], 1_780_000_000_000)?;
//! // Store `staged.bytes`, strictly; then, and only then:
//! record.accept();
//! let known = record.state().fact(&staged.ids[0], "storeys").unwrap();
//! assert_eq!(known.agreed().unwrap().value.value.as_deref(), Some("2"));
//! # Ok::<(), crownweir_record::StageError>(())
//! ```
//!
//! This crate knows nothing of rules, HTTP or browsers. It reads no clock and draws no random number: times and
//! actor ids are arguments.
//!
//! INVARIANT: an entry is written once, under a name that begins with its author's actor id, and is never changed or
//! deleted. Merging is therefore the union of the entries, and every earlier value stays readable.

mod author;
mod chunks;
mod document_id;
pub mod door;
mod edit;
mod entry;
mod entry_id;
pub mod job_file;
mod ledger;
pub mod link;
mod record;
pub mod state;
pub mod wire;

pub use author::Author;
pub use chunks::Damage;
pub use document_id::{DocumentId, DocumentIdError};
pub use edit::{Edit, SubjectRef};
pub use entry::{Hindrance, How, JobHeader, MAX_ENTRY_BYTES, PastVisit, Visit};
pub use entry_id::{EntryId, EntryIdError};
pub use record::{OpenError, Record, StageError, Staged, UnknownHeads};
pub use state::{
    Agree, Hinder, JobState, Notice, Observation, Photo, Register, Session, Stamped, Strike, Subject, Words,
};

/// The number of the document shape this crate writes. A document of a higher number opens read-only.
pub const SCHEMA: u64 = 1;
