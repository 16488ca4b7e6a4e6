//! Where everything lives: immutable, hash-named chunks per document and a few small tables.
//!
//! [`Store`] is what the rest of the server needs of a database; [`sqlite`] is the one used. Whoever calls
//! [`Store::commit`] may rely on one thing: when it returns `Ok`, the whole batch survives a power cut; when it returns
//! an error, nothing of the batch is there. [`commit::Committer`] turns many callers into few such commits.

pub mod commit;
pub mod sqlite;

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

/// What a chunk holds. Both kinds load in any order, with duplicates.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ChunkKind {
    /// A whole document; its key is the SHA-256 of the sorted heads, in hex.
    Snapshot,
    /// One change; its key is the change's hash, in hex.
    Increment,
}

/// A stored chunk.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Chunk {
    /// Snapshot or increment.
    pub kind: ChunkKind,
    /// Hash name within document and kind.
    pub key: String,
    /// Automerge's own bytes.
    pub bytes: Vec<u8>,
    /// Whether the bytes are those that were written (their SHA-256 is stored beside them).
    pub sound: bool,
}

/// A person who may sign in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UserRow {
    /// Sign-in name, lower case.
    pub user: String,
    /// Name as shown and as it stands in records.
    pub name: String,
    /// `inspector`, `supervisor`, `clerk` or `administrator`.
    pub role: String,
    /// Password hash as a PHC string.
    pub password: String,
}

/// A signed-in device.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SessionRow {
    /// SHA-256 of the token, in hex; the token itself is only in the cookie.
    pub token_hash: String,
    /// Who signed in.
    pub user: String,
    /// What the device called itself.
    pub device: String,
    /// Milliseconds since 1970, server's clock.
    pub created_at: i64,
    /// Milliseconds since 1970, last contact; updated at most once a minute.
    pub seen_at: i64,
}

/// A job as lists show it. The document is the truth; this is its head, kept beside it for lists.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct JobRow {
    /// Document id, base58check.
    pub doc: String,
    /// Permit number, unique on a server.
    pub permit: String,
    /// Street address.
    pub address: String,
    /// What the permit covers.
    pub scope: String,
    /// Stage of the visit that is planned or open.
    pub stage: String,
    /// When the visit is planned, as imported.
    pub scheduled: String,
    /// Id of the adoption that binds the permit.
    pub adoption: String,
    /// Day the permit was applied for.
    pub applied_on: String,
    /// Sign-in names of the assigned users.
    pub assigned: Vec<String>,
}

/// A photo that is on disk, whole and verified.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PhotoRow {
    /// Document it belongs to.
    pub doc: String,
    /// SHA-256 of its bytes, in hex.
    pub sha256: String,
    /// Size in bytes.
    pub bytes: u64,
    /// Who sent it.
    pub user: String,
    /// Milliseconds since 1970, server's clock.
    pub at: i64,
}

/// Changes that were refused. They are kept: they may be somebody's only copy of a day's work.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct QuarantineRow {
    /// Document they were meant for; it need not exist.
    pub doc: String,
    /// Who sent them.
    pub user: String,
    /// From which device.
    pub device: String,
    /// Why they were refused.
    pub reason: String,
    /// The sync message as it came.
    pub bytes: Vec<u8>,
    /// Milliseconds since 1970, server's clock.
    pub at: i64,
}

/// One thing to be made durable.
#[derive(Debug, Clone)]
pub enum Write {
    /// Adds a chunk; a chunk of the same name is the same chunk.
    Chunk {
        /// Document.
        doc: String,
        /// Snapshot or increment.
        kind: ChunkKind,
        /// Hash name.
        key: String,
        /// Bytes.
        bytes: Vec<u8>,
    },
    /// Removes chunks by name: only those that a verified snapshot replaces.
    DropChunks {
        /// Document.
        doc: String,
        /// Names of the chunks.
        keys: Vec<(ChunkKind, String)>,
    },
    /// Binds an actor id to the user from whom it was first seen, within a document.
    Bind {
        /// Document.
        doc: String,
        /// Actor id in hex.
        actor: String,
        /// User.
        user: String,
    },
    /// Keeps refused changes.
    Quarantine(QuarantineRow),
    /// Adds a job; fails if its document or its permit is there already.
    AddJob(JobRow),
    /// Replaces what lists show of a job.
    JobHead(JobRow),
    /// Adds or replaces a user.
    User(UserRow),
    /// Adds a session.
    AddSession(SessionRow),
    /// Notes a contact.
    SessionSeen {
        /// Session.
        token_hash: String,
        /// Milliseconds since 1970.
        at: i64,
    },
    /// Ends a session.
    EndSession {
        /// Session.
        token_hash: String,
    },
    /// Notes a photo that is on disk.
    Photo(PhotoRow),
    /// Sets a named value of the installation, such as the agency's name.
    Setting {
        /// Name.
        name: String,
        /// Value.
        value: String,
    },
}

/// Why the store could not do it.
#[derive(Debug, Clone, thiserror::Error)]
pub enum StoreError {
    /// The database said no.
    #[error("the store could not {doing}: {cause}")]
    Database {
        /// What was being done.
        doing: &'static str,
        /// What the database said.
        cause: String,
    },
    /// A job with this permit or document is already there.
    #[error("there is already a job with permit {permit} or document {doc}")]
    JobExists {
        /// Permit of the new job.
        permit: String,
        /// Document of the new job.
        doc: String,
    },
    /// The data folder was written by a newer version of the program.
    #[error("the data folder has schema {found}, this program knows schema {known}: use the newer program")]
    Newer {
        /// Schema found.
        found: i64,
        /// Schema known.
        known: i64,
    },
    /// The database does not promise what the server promises.
    #[error(
        "the database runs with {setting} = {found}, and {wanted} is needed so that nothing acknowledged is lost"
    )]
    Promise {
        /// Pragma.
        setting: &'static str,
        /// Value found.
        found: String,
        /// Value needed.
        wanted: &'static str,
    },
    /// The thread that writes is gone; the process is ending.
    #[error("the store is closed")]
    Closed,
}

/// What the server needs of a database. Calls may block on the disk: call them off the async threads.
pub trait Store: Send + Sync + 'static {
    /// Makes a batch durable, all or nothing. Idempotent for chunks and bindings.
    fn commit(&self, batch: &[Write]) -> Result<(), StoreError>;
    /// Every chunk of a document, snapshots first; damaged ones are listed with `sound == false`.
    fn chunks(&self, doc: &str) -> Result<Vec<Chunk>, StoreError>;
    /// Actor ids (hex) bound within a document, with their users.
    fn actors(&self, doc: &str) -> Result<BTreeMap<String, String>, StoreError>;
    /// All jobs, by permit.
    fn jobs(&self) -> Result<Vec<JobRow>, StoreError>;
    /// One job by document.
    fn job(&self, doc: &str) -> Result<Option<JobRow>, StoreError>;
    /// One job by permit.
    fn job_by_permit(&self, permit: &str) -> Result<Option<JobRow>, StoreError>;
    /// All users, by sign-in name.
    fn users(&self) -> Result<Vec<UserRow>, StoreError>;
    /// One user.
    fn user(&self, user: &str) -> Result<Option<UserRow>, StoreError>;
    /// One session.
    fn session(&self, token_hash: &str) -> Result<Option<SessionRow>, StoreError>;
    /// One photo of a document.
    fn photo(&self, doc: &str, sha256: &str) -> Result<Option<PhotoRow>, StoreError>;
    /// How many photos a document has.
    fn photo_count(&self, doc: &str) -> Result<u64, StoreError>;
    /// What was refused, oldest first.
    fn quarantine(&self) -> Result<Vec<QuarantineRow>, StoreError>;
    /// A named value of the installation.
    fn setting(&self, name: &str) -> Result<Option<String>, StoreError>;
}
