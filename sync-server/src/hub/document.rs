//! The actor of one document.
//!
//! Per batch of messages: decode, receive on a fork, let the door look at it, commit what is new (or put it into
//! quarantine), and only then swap the fork in and generate messages, for the author and for everybody else. A store
//! that fails leaves the document as it was, and the senders are disconnected: they connect again and send again.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

use automerge::Automerge;
use automerge::sync::{State, SyncDoc};
use crownweir_record::{DocumentId, Record};
use tokio::sync::{Notify, mpsc};
use tokio::time::Instant;

use super::chunks::{self, Loaded};
use super::frames::Refusal;
use super::judge::{self, Judged};
use super::peer::{Goodbye, Peer};
use super::{Event, Hub, frames};
use crate::store::{ChunkKind, JobRow, QuarantineRow, StoreError, Write};

/// Messages worked on in one commit at most.
const BATCH: usize = 64;
/// From this size on a batch is worked on off the async threads.
const LARGE: usize = 32 * 1024;
/// Chunks of one document before they are compacted although people work on it.
const CHUNKS: usize = 64;
/// How long after the last change lists are brought up to date and, when nobody follows, chunks are compacted.
const QUIET: Duration = Duration::from_millis(500);

/// What an actor is started with.
pub(super) struct Desk {
    pub(super) hub: Hub,
    pub(super) doc: DocumentId,
    pub(super) name: String,
    pub(super) pending: Arc<AtomicUsize>,
    pub(super) leave: Arc<Notify>,
}

struct Following {
    peer: Arc<Peer>,
    state: State,
}

struct Document {
    desk: Desk,
    /// INVARIANT: everything in it is durable, apart from changes that wait for others and are not acknowledged.
    doc: Automerge,
    actors: BTreeMap<String, String>,
    keys: BTreeSet<(ChunkKind, String)>,
    bytes: usize,
    peers: BTreeMap<u64, Following>,
    /// When to look at lists and chunks again.
    tidy_at: Option<Instant>,
}

impl Drop for Document {
    fn drop(&mut self) {
        // Whatever went wrong, nobody may wait for an answer that never comes: they connect again and send again.
        if std::thread::panicking() {
            self.peers.values().for_each(|f| f.peer.close(Goodbye::NotStored));
        }
    }
}

pub(super) async fn run(desk: Desk, mut inbox: mpsc::Receiver<Event>) {
    match load(&desk).await {
        Ok((loaded, actors)) => {
            desk.hub.sound(&desk.name);
            let document = Document {
                doc: loaded.doc,
                actors,
                keys: loaded.keys,
                bytes: loaded.bytes,
                peers: BTreeMap::new(),
                tidy_at: None,
                desk,
            };
            document.serve(&mut inbox).await;
        }
        Err(Unloaded::Damaged(what)) => {
            desk.hub.damage(&desk.name, &what);
            turn_away(&desk, &what, &mut inbox).await;
        }
        Err(Unloaded::Store(e)) => {
            // Named like a damaged job until it can be read again; its peers connect again and ask again.
            desk.hub.damage(&desk.name, &e.to_string());
            loop {
                while let Ok(event) = inbox.try_recv() {
                    desk.pending.fetch_sub(1, Ordering::AcqRel);
                    if let Event::Sync { peer, .. } | Event::Ephemeral { peer, .. } = event {
                        peer.close(Goodbye::NotStored);
                    }
                }
                if desk.hub.leave(desk.doc, &desk.pending) {
                    return;
                }
                tokio::task::yield_now().await;
            }
        }
    }
}

enum Unloaded {
    Damaged(String),
    Store(StoreError),
}

async fn load(desk: &Desk) -> Result<(Loaded, BTreeMap<String, String>), Unloaded> {
    let (store, name) = (desk.hub.inner().store.clone(), desk.name.clone());
    let read = tokio::task::spawn_blocking(move || {
        let stored = store.chunks(&name).map_err(Unloaded::Store)?;
        let actors = store.actors(&name).map_err(Unloaded::Store)?;
        Ok((chunks::load(&stored).map_err(Unloaded::Damaged)?, actors))
    });
    read.await.unwrap_or_else(|e| Err(Unloaded::Damaged(format!("reading it ended unexpectedly: {e}"))))
}

/// A damaged job is not served: nothing may be acknowledged on top of a gap. What arrives for it is kept aside.
async fn turn_away(desk: &Desk, what: &str, inbox: &mut mpsc::Receiver<Event>) {
    let refusal = Refusal {
        reason: format!("this job is damaged on the server: {what}"),
        kept: "what is on the server is left as it is; your work stays on this tablet, and what you sent is kept aside"
            .into(),
        todo: "tell whoever runs the server that this job has to be restored from the backup".into(),
    };
    loop {
        let event = tokio::select! {
            event = inbox.recv() => event,
            () = desk.leave.notified() => None,
            () = tokio::time::sleep(Duration::from_secs(60)) => None,
        };
        let Some(event) = event else {
            if desk.hub.leave(desk.doc, &desk.pending) {
                return;
            }
            continue;
        };
        desk.pending.fetch_sub(1, Ordering::AcqRel);
        if let Event::Sync { peer, data } = event {
            if let Some(bytes) = judge::carried(&data) {
                let kept = desk
                    .hub
                    .inner()
                    .committer
                    .commit(vec![quarantine(desk, &peer, &refusal.reason, bytes)])
                    .await;
                if let Err(e) = kept {
                    tracing::error!(doc = desk.name, cause = %e, "changes for a damaged job could not be kept aside");
                    peer.close(Goodbye::NotStored);
                    continue;
                }
            }
            peer.send(frames::unavailable(desk.doc, &peer));
            refuse(desk, &peer, &refusal);
        }
    }
}

fn quarantine(desk: &Desk, peer: &Peer, reason: &str, bytes: Vec<u8>) -> Write {
    Write::Quarantine(QuarantineRow {
        doc: desk.name.clone(),
        user: peer.who.user.clone(),
        device: peer.who.device.clone(),
        reason: reason.to_owned(),
        bytes,
        at: (desk.hub.inner().clock)(),
    })
}

fn refuse(desk: &Desk, peer: &Peer, refusal: &Refusal) {
    tracing::warn!(
        doc = desk.name,
        user = peer.who.user,
        refusal.reason,
        "changes were refused and kept in quarantine"
    );
    if peer.ours {
        peer.send(frames::refused(desk.doc, peer, refusal));
    }
}

impl Document {
    async fn serve(mut self, inbox: &mut mpsc::Receiver<Event>) {
        let mut idle: Option<u64> = None;
        loop {
            if self.peers.is_empty() && idle.is_none() && self.tidy_at.is_none() {
                idle = Some(self.desk.hub.idle(self.bytes, &self.desk.leave));
            }
            let tidy_at = self.tidy_at;
            let quiet = async {
                match tidy_at {
                    Some(at) => tokio::time::sleep_until(at).await,
                    None => std::future::pending().await,
                }
            };
            tokio::select! {
                biased;
                event = inbox.recv() => {
                    let Some(event) = event else { break };
                    if let Some(ticket) = idle.take() {
                        self.desk.hub.busy(ticket);
                    }
                    let mut batch = vec![event];
                    while batch.len() < BATCH {
                        let Ok(event) = inbox.try_recv() else { break };
                        batch.push(event);
                    }
                    let taken = batch.len();
                    self = self.work(batch).await;
                    self.desk.pending.fetch_sub(taken, Ordering::AcqRel);
                }
                () = quiet => {
                    self.tidy_at = None;
                    self.tidy().await;
                }
                () = self.desk.leave.notified() => {
                    if self.peers.is_empty() && self.desk.hub.leave(self.desk.doc, &self.desk.pending) {
                        break;
                    }
                }
            }
        }
        if let Some(ticket) = idle {
            self.desk.hub.busy(ticket);
        }
        if self.tidy_at.is_some() {
            self.tidy().await;
        }
    }

    async fn work(mut self, batch: Vec<Event>) -> Self {
        let mut messages = Vec::new();
        let mut size = 0;
        for event in batch {
            match event {
                Event::Sync { peer, data } => {
                    size += data.len();
                    messages.push((peer, data));
                }
                Event::Ephemeral { peer, message } => {
                    for other in self.peers.values().filter(|f| f.peer.id != peer.id) {
                        other.peer.send(frames::ephemeral(self.desk.doc, &other.peer, &message));
                    }
                }
                Event::Gone { peer } => {
                    self.peers.remove(&peer);
                    messages.retain(|(p, _): &(Arc<Peer>, _)| p.id != peer);
                }
            }
        }
        if messages.is_empty() {
            return self;
        }
        for (peer, _) in &messages {
            self.peers
                .entry(peer.id)
                .or_insert_with(|| Following { peer: peer.clone(), state: State::new() });
        }
        let round = if size < LARGE {
            self.receive(&messages)
        } else {
            let (document, round) = match tokio::task::spawn_blocking(move || {
                let round = self.receive(&messages);
                (self, round)
            })
            .await
            {
                Ok(done) => done,
                // `receive` catches what the library may throw; this is the runtime going down.
                Err(e) => std::panic::resume_unwind(e.into_panic()),
            };
            self = document;
            round
        };
        self.settle(round).await;
        self
    }

    /// Takes the messages on a fork and has each judged. Nothing of the document changes here.
    fn receive(&self, messages: &[(Arc<Peer>, Vec<u8>)]) -> Round {
        let mut round = Round {
            staged: self.doc.fork(),
            states: BTreeMap::new(),
            actors: BTreeMap::new(),
            refused: Vec::new(),
            garbled: Vec::new(),
        };
        let mut bound = self.actors.clone();
        for (peer, data) in messages {
            let Some(following) = self.peers.get(&peer.id) else { continue };
            let state = round.states.get(&peer.id).unwrap_or(&following.state).clone();
            match judge::receive(&round.staged, state, data, &peer.who, &bound) {
                Judged::Taken { doc, state, actors } => {
                    round.staged = *doc;
                    round.states.insert(peer.id, state);
                    let fresh: Vec<_> = actors.into_iter().map(|a| (a, peer.who.user.clone())).collect();
                    bound.extend(fresh.iter().cloned());
                    round.actors.extend(fresh);
                }
                Judged::Refused { state, refusal, bytes } => {
                    round.states.insert(peer.id, state);
                    round.refused.push((peer.clone(), refusal, bytes));
                }
                Judged::Garbled => round.garbled.push(peer.clone()),
            }
        }
        round
    }

    /// Makes the round durable, then shows it.
    async fn settle(&mut self, round: Round) {
        let mut writes = chunks::beyond(&self.desk.name, &self.doc, &round.staged);
        let fresh: Vec<_> = writes.iter().filter_map(chunk_name).collect();
        let fresh_bytes: usize = writes.iter().map(chunk_size).sum();
        for (actor, user) in &round.actors {
            writes.push(Write::Bind {
                doc: self.desk.name.clone(),
                actor: actor.clone(),
                user: user.clone(),
            });
        }
        for (peer, refusal, bytes) in &round.refused {
            if !bytes.is_empty() {
                writes.push(quarantine(&self.desk, peer, &refusal.reason, bytes.clone()));
            }
        }
        if let Err(e) = self.desk.hub.inner().committer.commit(writes).await {
            tracing::error!(doc = self.desk.name, cause = %e, "changes were not stored and are not acknowledged");
            // Their states say that we have seen what we could not keep. Only a new connection sends it again.
            for id in round.states.into_keys() {
                if let Some(f) = self.peers.remove(&id) {
                    f.peer.close(Goodbye::NotStored);
                }
            }
            return;
        }
        if !fresh.is_empty() {
            self.keys.extend(fresh);
            self.bytes += fresh_bytes;
            self.tidy_at = Some(Instant::now() + QUIET);
        }
        self.doc = round.staged;
        self.actors.extend(round.actors);
        for (id, state) in round.states {
            if let Some(f) = self.peers.get_mut(&id) {
                f.state = state;
            }
        }
        for peer in round.garbled {
            self.peers.remove(&peer.id);
            peer.close(Goodbye::Garbled);
        }
        for (peer, refusal, _) in &round.refused {
            refuse(&self.desk, peer, refusal);
        }
        for f in self.peers.values_mut() {
            if let Some(message) = self.doc.generate_sync_message(&mut f.state) {
                f.peer.send(frames::sync(self.desk.doc, &f.peer, message.encode()));
            }
        }
        if self.keys.len() >= CHUNKS {
            self.compact().await;
        }
    }

    /// Brings the lists up to date and puts the chunks together.
    async fn tidy(&mut self) {
        if let Err(e) = self.refresh_head().await {
            tracing::warn!(doc = self.desk.name, cause = %e, "the list entry of a job could not be brought up to date");
        }
        if self.keys.iter().filter(|(kind, _)| *kind == ChunkKind::Increment).count() >= 8
            || self.keys.len() >= 4
        {
            self.compact().await;
        }
    }

    async fn refresh_head(&self) -> Result<(), StoreError> {
        let inner = self.desk.hub.inner();
        let (store, name) = (inner.store.clone(), self.desk.name.clone());
        let copy = self.doc.clone();
        let changed = tokio::task::spawn_blocking(move || {
            let Some(listed) = store.job(&name)? else { return Ok(None) };
            let now = listed_as(&listed, &Record::from_automerge(copy));
            Ok((now != listed).then_some(now))
        });
        match changed.await {
            Ok(Ok(Some(now))) => inner.committer.commit(vec![Write::JobHead(now)]).await,
            Ok(Ok(None)) => Ok(()),
            Ok(Err(e)) => Err(e),
            Err(e) => Err(StoreError::Database { doing: "read a job's head", cause: e.to_string() }),
        }
    }

    /// Stores the whole as one chunk, reads it back and loads it, and only then removes the chunks it replaces: those
    /// this actor has read or written itself, never others.
    async fn compact(&mut self) {
        let snapshot = chunks::whole(&self.desk.name, &self.doc);
        let Some(key) = chunk_name(&snapshot) else { return };
        let size = chunk_size(&snapshot);
        let inner = self.desk.hub.inner();
        let written = inner.committer.commit(vec![snapshot]).await;
        if let Err(e) = written {
            tracing::warn!(doc = self.desk.name, cause = %e, "not compacted; all chunks are kept");
            return;
        }
        self.keys.insert(key.clone());
        let (store, name, wanted) = (inner.store.clone(), self.desk.name.clone(), key.clone());
        let heads = self.doc.get_heads();
        let sound = tokio::task::spawn_blocking(move || {
            let stored = store.chunks(&name).map_err(|e| e.to_string())?;
            let back: Vec<_> = stored.into_iter().filter(|c| (c.kind, c.key.clone()) == wanted).collect();
            let loaded = chunks::load(&back)?;
            if loaded.doc.get_heads() == heads { Ok(()) } else { Err("it has other heads".to_owned()) }
        })
        .await
        .unwrap_or_else(|e| Err(e.to_string()));
        if let Err(what) = sound {
            tracing::error!(
                doc = self.desk.name,
                what,
                "a new snapshot does not read back; all chunks are kept"
            );
            return;
        }
        let old: Vec<_> = self.keys.iter().filter(|k| **k != key).cloned().collect();
        if old.is_empty() {
            return;
        }
        match inner.committer.commit(vec![Write::DropChunks { doc: self.desk.name.clone(), keys: old }]).await
        {
            Ok(()) => {
                self.keys = BTreeSet::from([key]);
                self.bytes = size;
            }
            Err(e) => {
                tracing::warn!(doc = self.desk.name, cause = %e, "replaced chunks could not be removed")
            }
        }
    }
}

struct Round {
    staged: Automerge,
    states: BTreeMap<u64, State>,
    /// Actors seen for the first time, with their user.
    actors: BTreeMap<String, String>,
    refused: Vec<(Arc<Peer>, Refusal, Vec<u8>)>,
    garbled: Vec<Arc<Peer>>,
}

fn chunk_name(write: &Write) -> Option<(ChunkKind, String)> {
    match write {
        Write::Chunk { kind, key, .. } => Some((*kind, key.clone())),
        _ => None,
    }
}

fn chunk_size(write: &Write) -> usize {
    match write {
        Write::Chunk { bytes, .. } => bytes.len(),
        _ => 0,
    }
}

fn listed_as(listed: &JobRow, record: &Record) -> JobRow {
    let state = record.state();
    let mut row = listed.clone();
    // Two headers that stand side by side are a disagreement for people to settle; the list shows the first.
    if let Some(header) = state.header.standing.first() {
        let h = &header.value;
        row.address.clone_from(&h.address);
        row.scope.clone_from(&h.scope);
        row.adoption.clone_from(&h.adoption);
        row.applied_on.clone_from(&h.applied_on);
        row.permit.clone_from(&h.permit);
    }
    if let Some(visit) = state.visit.standing.first() {
        row.stage.clone_from(&visit.value.stage);
    }
    row
}
