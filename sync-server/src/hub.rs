//! Documents in memory, and who follows them.
//!
//! ```text
//! socket --frame--> Hub::deliver --> document actor: decode, fork + receive, door check,
//!                                    commit (waits for the disk), swap, generate --> every following peer's queue
//! ```
//!
//! One actor per active document works on its messages in order; a document nobody follows stays while there is room
//! ([`crate::Settings::idle_bytes`]) and then leaves memory. A connection is joined to a document only when it names it.

mod chunks;
mod document;
pub mod frames;
mod judge;
mod peer;

use std::collections::{BTreeMap, HashMap};
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use crownweir_record::DocumentId;
use tokio::sync::{Notify, mpsc};
use tokio_util::task::TaskTracker;

pub use chunks::{Loaded, load, whole};
pub(crate) use judge::carried;
pub use peer::{Goodbye, Peer};

use crate::store::Store;
use crate::store::commit::Committer;
use crate::{Clock, Settings};

/// Messages waiting for one document at most; a socket that sends more waits.
const MESSAGES_WAITING: usize = 64;

/// What reaches a document's actor.
pub(crate) enum Event {
    /// A sync message of a peer that may see the document.
    Sync { peer: Arc<Peer>, data: Vec<u8> },
    /// Something transient for the other peers, passed on unread.
    Ephemeral { peer: Arc<Peer>, message: frames::Ephemeral },
    /// The peer is gone.
    Gone { peer: u64 },
}

struct Handle {
    events: mpsc::Sender<Event>,
    /// Events handed over and not yet taken; an actor only leaves when this is zero.
    pending: Arc<AtomicUsize>,
    /// Asks an idle actor to leave memory.
    leave: Arc<Notify>,
    serial: u64,
}

/// What every actor shares.
pub(crate) struct Inner {
    pub(crate) store: Arc<dyn Store>,
    pub(crate) committer: Committer,
    pub(crate) clock: Clock,
    idle_bytes: usize,
    documents: Mutex<HashMap<DocumentId, Handle>>,
    idle: Mutex<Idle>,
    damaged: Mutex<BTreeMap<String, String>>,
    peers: Mutex<HashMap<u64, Arc<Peer>>>,
    serial: AtomicU64,
    tasks: TaskTracker,
}

#[derive(Default)]
struct Idle {
    /// By the order in which they became idle.
    waiting: BTreeMap<u64, (usize, Arc<Notify>)>,
    bytes: usize,
}

/// See the module.
#[derive(Clone)]
pub struct Hub(Arc<Inner>);

fn lock<T>(m: &Mutex<T>) -> MutexGuard<'_, T> {
    // None of these is ever left half changed.
    m.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Hub {
    /// Over a store.
    pub fn new(store: Arc<dyn Store>, committer: Committer, settings: &Settings, clock: Clock) -> Self {
        Hub(Arc::new(Inner {
            store,
            committer,
            clock,
            idle_bytes: settings.idle_bytes,
            documents: Mutex::default(),
            idle: Mutex::default(),
            damaged: Mutex::default(),
            peers: Mutex::default(),
            serial: AtomicU64::new(1),
            tasks: TaskTracker::new(),
        }))
    }

    /// A number that was not used before in this process.
    pub fn serial(&self) -> u64 {
        self.0.serial.fetch_add(1, Ordering::Relaxed)
    }

    /// Damaged jobs by document, with what is wrong.
    pub fn damaged(&self) -> BTreeMap<String, String> {
        lock(&self.0.damaged).clone()
    }

    /// How many documents are in memory.
    pub fn active(&self) -> usize {
        lock(&self.0.documents).len()
    }

    /// Adds a connected peer. One of the same user and name is replaced; more than `most` of one user are refused.
    pub fn enter(&self, peer: &Arc<Peer>, most: usize) -> bool {
        let mut peers = lock(&self.0.peers);
        let replaced: Vec<u64> = peers
            .values()
            .filter(|p| p.name == peer.name && p.who.user == peer.who.user)
            .map(|p| p.id)
            .collect();
        for id in replaced {
            if let Some(old) = peers.remove(&id) {
                old.close(Goodbye::Replaced);
            }
        }
        if peers.values().filter(|p| p.who.user == peer.who.user).count() >= most {
            return false;
        }
        peers.insert(peer.id, peer.clone());
        true
    }

    /// Takes a peer out again.
    pub fn exit(&self, peer: &Peer) {
        lock(&self.0.peers).remove(&peer.id);
    }

    /// Closes the sockets of a session.
    pub fn end_session(&self, token_hash: &str) {
        for peer in lock(&self.0.peers).values().filter(|p| p.who.token_hash == token_hash) {
            peer.close(Goodbye::SignedOut);
        }
    }

    /// Closes all sockets and waits for the actors to finish what they hold, at most `grace`.
    pub async fn close(&self, grace: Duration) {
        for peer in lock(&self.0.peers).values() {
            peer.close(Goodbye::Stopping);
        }
        for handle in lock(&self.0.documents).values() {
            handle.leave.notify_one();
        }
        self.0.tasks.close();
        if tokio::time::timeout(grace, self.0.tasks.wait()).await.is_err() {
            tracing::warn!("some documents were still busy; nothing of theirs was acknowledged");
        }
    }

    /// Hands a sync message to its document, loading it if need be. Waits when the document is busy.
    pub async fn deliver(&self, doc: DocumentId, peer: Arc<Peer>, data: Vec<u8>) {
        self.hand(doc, Event::Sync { peer, data }, true).await;
    }

    /// Passes something transient on to the other peers of an active document.
    pub async fn pass_on(&self, doc: DocumentId, peer: Arc<Peer>, message: frames::Ephemeral) {
        self.hand(doc, Event::Ephemeral { peer, message }, false).await;
    }

    /// Tells a document that a peer is gone.
    pub async fn gone(&self, doc: DocumentId, peer: u64) {
        self.hand(doc, Event::Gone { peer }, false).await;
    }

    async fn hand(&self, doc: DocumentId, mut event: Event, load: bool) {
        loop {
            let (events, pending, serial) = {
                let mut documents = lock(&self.0.documents);
                if !documents.contains_key(&doc) && !load {
                    return;
                }
                let handle = documents.entry(doc).or_insert_with(|| self.start(doc));
                // Counted under the lock: an actor looks at this under the same lock before it leaves.
                handle.pending.fetch_add(1, Ordering::AcqRel);
                (handle.events.clone(), handle.pending.clone(), handle.serial)
            };
            match events.send(event).await {
                Ok(()) => return,
                Err(mpsc::error::SendError(back)) => {
                    // Only an actor that died unexpectedly closes its queue while it is listed. Start a new one: what
                    // was acknowledged is in the store.
                    pending.fetch_sub(1, Ordering::AcqRel);
                    event = back;
                    let mut documents = lock(&self.0.documents);
                    if documents.get(&doc).is_some_and(|h| h.serial == serial) {
                        tracing::error!(%doc, "a document's actor ended unexpectedly and is started again");
                        documents.remove(&doc);
                    }
                }
            }
        }
    }

    fn start(&self, doc: DocumentId) -> Handle {
        let (events, inbox) = mpsc::channel(MESSAGES_WAITING);
        let handle = Handle {
            events,
            pending: Arc::new(AtomicUsize::new(0)),
            leave: Arc::new(Notify::new()),
            serial: self.serial(),
        };
        let desk = document::Desk {
            hub: self.clone(),
            doc,
            name: doc.to_string(),
            pending: handle.pending.clone(),
            leave: handle.leave.clone(),
        };
        self.0.tasks.spawn(document::run(desk, inbox));
        handle
    }

    pub(crate) fn inner(&self) -> &Inner {
        &self.0
    }

    /// Takes an actor out, unless something is on its way to it.
    pub(crate) fn leave(&self, doc: DocumentId, pending: &AtomicUsize) -> bool {
        let mut documents = lock(&self.0.documents);
        if pending.load(Ordering::Acquire) > 0 {
            return false;
        }
        documents.remove(&doc);
        true
    }

    /// Notes that nobody follows a document of this size; whoever has been idle longest is asked to leave when there is
    /// no more room. Returns the ticket to hand back in [`Hub::busy`].
    pub(crate) fn idle(&self, bytes: usize, leave: &Arc<Notify>) -> u64 {
        let ticket = self.serial();
        let mut idle = lock(&self.0.idle);
        idle.waiting.insert(ticket, (bytes, leave.clone()));
        idle.bytes += bytes;
        while idle.bytes > self.0.idle_bytes {
            let Some((_, (bytes, leave))) = idle.waiting.pop_first() else { break };
            idle.bytes -= bytes;
            leave.notify_one();
        }
        ticket
    }

    /// Notes that a document is followed again, or gone.
    pub(crate) fn busy(&self, ticket: u64) {
        let mut idle = lock(&self.0.idle);
        if let Some((bytes, _)) = idle.waiting.remove(&ticket) {
            idle.bytes -= bytes;
        }
    }

    pub(crate) fn damage(&self, doc: &str, what: &str) {
        tracing::error!(
            doc,
            what,
            "a stored job is damaged; it is kept as it is and not served, the others are"
        );
        lock(&self.0.damaged).insert(doc.to_owned(), what.to_owned());
    }

    pub(crate) fn sound(&self, doc: &str) {
        lock(&self.0.damaged).remove(doc);
    }
}
