//! One connected tablet or client, as the documents see it: who it is and how frames reach it.

use std::sync::OnceLock;
use std::sync::atomic::{AtomicUsize, Ordering};

use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

use crate::accounts::Signed;

/// Bytes waiting for one socket at most; a reader that is slower than that is disconnected.
const BYTES_WAITING: usize = 32 * 1024 * 1024;

/// Why a socket is closed, as the close frame says it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Goodbye {
    /// The session is over or was ended.
    SignedOut,
    /// The same client connected again.
    Replaced,
    /// It reads more slowly than others write.
    TooSlow,
    /// The server stops.
    Stopping,
    /// The store failed; nothing was acknowledged.
    NotStored,
    /// It sent what is not the protocol.
    Garbled,
    /// Silent for too long.
    Silent,
    /// Too many sockets of one user.
    TooMany,
}

impl Goodbye {
    /// WebSocket close code; 4000 and above are our own.
    pub fn code(self) -> u16 {
        match self {
            Goodbye::SignedOut => 4401,
            Goodbye::Replaced => 4409,
            Goodbye::TooSlow => 4408,
            Goodbye::TooMany => 4429,
            Goodbye::Stopping => 1001,
            Goodbye::NotStored => 1013,
            Goodbye::Garbled => 1002,
            Goodbye::Silent => 4410,
        }
    }

    /// What a person may read; at most 123 bytes, as the protocol demands.
    pub fn reason(self) -> &'static str {
        match self {
            Goodbye::SignedOut => "not signed in; sign in again, your work is kept on the tablet",
            Goodbye::Replaced => "this client connected again",
            Goodbye::TooSlow => "the connection is too slow; connect again, nothing is lost",
            Goodbye::TooMany => "too many connections of this user; close some tabs",
            Goodbye::Stopping => "the server is stopping; your work is kept on the tablet",
            Goodbye::NotStored => "the server could not store; nothing was acknowledged, connect again",
            Goodbye::Garbled => "the message is not of the sync protocol",
            Goodbye::Silent => "no answer to pings",
        }
    }
}

/// A connected client after its `join`.
#[derive(Debug)]
pub struct Peer {
    /// Unique per `join`.
    pub id: u64,
    /// The name it gave itself; frames to it carry it as target.
    pub name: String,
    /// Who signed in.
    pub who: Signed,
    /// Whether it understands our own frames.
    pub ours: bool,
    outbox: mpsc::Sender<Vec<u8>>,
    waiting: AtomicUsize,
    goodbye: OnceLock<Goodbye>,
    closed: CancellationToken,
}

impl Peer {
    /// A peer whose frames go to `outbox`; cancelling `closed` ends its socket.
    pub fn new(
        id: u64,
        name: String,
        who: Signed,
        ours: bool,
        outbox: mpsc::Sender<Vec<u8>>,
        closed: CancellationToken,
    ) -> Self {
        Peer { id, name, who, ours, outbox, waiting: AtomicUsize::new(0), goodbye: OnceLock::new(), closed }
    }

    /// Queues a frame. A peer whose queue is full is disconnected rather than waited for.
    pub fn send(&self, frame: Vec<u8>) {
        let waiting = self.waiting.fetch_add(frame.len(), Ordering::Relaxed) + frame.len();
        if waiting > BYTES_WAITING || self.outbox.try_send(frame).is_err() {
            self.close(Goodbye::TooSlow);
        }
    }

    /// Notes that a frame has left.
    pub fn sent(&self, bytes: usize) {
        self.waiting.fetch_sub(bytes, Ordering::Relaxed);
    }

    /// Ends the socket; the first reason stands.
    pub fn close(&self, why: Goodbye) {
        if self.goodbye.set(why).is_ok() {
            self.closed.cancel();
        }
    }

    /// Why it was closed, once it is.
    pub fn goodbye(&self) -> Option<Goodbye> {
        self.goodbye.get().copied()
    }

    /// Resolves when it is closed.
    pub async fn closed(&self) {
        self.closed.cancelled().await;
    }
}
