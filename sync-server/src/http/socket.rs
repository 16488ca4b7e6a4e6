//! The WebSocket: automerge-repo's protocol, one task that reads and one that writes.

use std::collections::{HashMap, HashSet};
use std::sync::Arc;
use std::time::Duration;

use axum::extract::ws::rejection::WebSocketUpgradeRejection;
use axum::extract::ws::{CloseFrame, Message, WebSocket, WebSocketUpgrade};
use axum::extract::{Query, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};
use crownweir_record::DocumentId;
use futures_util::stream::SplitSink;
use futures_util::{SinkExt, StreamExt};
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

use super::cookie_token;
use crate::Shared;
use crate::access;
use crate::accounts::Signed;
use crate::answer::Problem;
use crate::hub::frames::{self, Frame, Refusal};
use crate::hub::{Goodbye, Peer};
use crate::store::{QuarantineRow, Write};

/// Largest frame. A whole job of many thousand entries is far below it.
const LARGEST_FRAME: usize = 8 * 1024 * 1024;
/// Documents of one socket at most.
const DOCUMENTS: usize = 5_000;
/// Sockets of one user at most.
const SOCKETS_PER_USER: usize = 64;
/// How long a socket may take to say `join`.
const JOIN_WITHIN: Duration = Duration::from_secs(20);
/// How long the network may take to take one frame.
const SEND_WITHIN: Duration = Duration::from_secs(60);

pub(super) async fn open(
    State(server): State<Shared>,
    Query(query): Query<HashMap<String, String>>,
    headers: HeaderMap,
    upgrade: Result<WebSocketUpgrade, WebSocketUpgradeRejection>,
) -> Result<Response, Problem> {
    let upgrade = upgrade.map_err(|_| {
        Problem::new(
            StatusCode::UPGRADE_REQUIRED,
            "this address takes WebSocket connections only",
            "nothing was changed",
            "open the program's start page instead",
        )
    })?;
    let now = server.now_ms();
    let signed = match (query.get("ticket"), cookie_token(&headers)) {
        (Some(ticket), _) => server.accounts.who_by_ticket(ticket, now).await?,
        (None, Some(token)) => server.accounts.who(token, now).await?,
        (None, None) => None,
    };
    Ok(upgrade
        .max_message_size(LARGEST_FRAME)
        .max_frame_size(LARGEST_FRAME)
        .on_upgrade(move |socket| async move {
            match signed {
                Some(signed) => serve(server, socket, signed).await,
                // A page cannot read the status of a refused upgrade, but it can read why a socket was closed.
                None => farewell(socket, Goodbye::SignedOut).await,
            }
        })
        .into_response())
}

async fn farewell(mut socket: WebSocket, why: Goodbye) {
    // The other side may be gone already; then there is nobody left to tell.
    drop(socket.send(close_frame(why)).await);
}

fn close_frame(why: Goodbye) -> Message {
    Message::Close(Some(CloseFrame { code: why.code(), reason: why.reason().into() }))
}

async fn serve(server: Shared, socket: WebSocket, signed: Signed) {
    let (sink, mut stream) = socket.split();
    let (outbox, queue) = mpsc::channel(server.settings.frames_waiting);
    let closed = CancellationToken::new();
    let mut reader = Reader {
        server: server.clone(),
        signed,
        outbox,
        closed: closed.clone(),
        peer: None,
        allowed: HashSet::new(),
    };
    let (joined, peers) = tokio::sync::watch::channel(None);
    let writer = tokio::spawn(write(server.clone(), sink, queue, peers, closed.clone()));
    let mut patience = JOIN_WITHIN;
    let why = loop {
        let next = tokio::select! {
            next = tokio::time::timeout(patience, stream.next()) => next,
            () = closed.cancelled() => break None,
        };
        match next {
            Err(_) => break Some(Goodbye::Silent),
            Ok(None | Some(Err(_)) | Some(Ok(Message::Close(_)))) => break None,
            Ok(Some(Ok(Message::Binary(frame)))) => match reader.take(&frame).await {
                Ok(()) => {
                    if let Some(peer) = &reader.peer {
                        patience = server.settings.ping_every * 2 + Duration::from_secs(5);
                        joined.send_if_modified(|known: &mut Option<Arc<Peer>>| {
                            let new = known.as_ref().is_none_or(|k| k.id != peer.id);
                            if new {
                                *known = Some(peer.clone());
                            }
                            new
                        });
                    }
                }
                Err(why) => break Some(why),
            },
            Ok(Some(Ok(Message::Text(_)))) => break Some(Goodbye::Garbled),
            Ok(Some(Ok(Message::Ping(_) | Message::Pong(_)))) => {}
        }
    };
    if let (Some(peer), Some(why)) = (&reader.peer, why) {
        peer.close(why);
    }
    reader.part().await;
    let before_join = why;
    closed.cancel();
    drop(reader);
    if let Ok(mut sink) = writer.await {
        let why = joined.borrow().as_ref().and_then(|p| p.goodbye()).or(before_join);
        let frame = why.map_or(Message::Close(None), close_frame);
        drop(tokio::time::timeout(Duration::from_secs(2), sink.send(frame)).await);
        drop(tokio::time::timeout(Duration::from_secs(2), sink.close()).await);
    }
}

/// Writes what is queued and pings. Returns the sink for the last word.
async fn write(
    server: Shared,
    mut sink: SplitSink<WebSocket, Message>,
    mut queue: mpsc::Receiver<Vec<u8>>,
    peers: tokio::sync::watch::Receiver<Option<Arc<Peer>>>,
    closed: CancellationToken,
) -> SplitSink<WebSocket, Message> {
    let mut ping = tokio::time::interval(server.settings.ping_every);
    ping.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Delay);
    ping.tick().await;
    loop {
        let message = tokio::select! {
            biased;
            () = closed.cancelled() => break,
            frame = queue.recv() => match frame {
                Some(frame) => Message::Binary(frame.into()),
                None => break,
            },
            _ = ping.tick() => {
                let peer = peers.borrow().clone();
                if let Some(peer) = peer {
                    still_signed_in(&server, &peer).await;
                }
                Message::Ping(bytes::Bytes::new())
            }
        };
        let size = if let Message::Binary(b) = &message { b.len() } else { 0 };
        let sent = tokio::time::timeout(SEND_WITHIN, sink.send(message)).await;
        let peer = peers.borrow().clone();
        if let Some(peer) = &peer {
            peer.sent(size);
        }
        match sent {
            Ok(Ok(())) => {}
            Ok(Err(_)) => {
                closed.cancel();
                break;
            }
            Err(_) => {
                if let Some(peer) = peer {
                    peer.close(Goodbye::TooSlow);
                }
                closed.cancel();
                break;
            }
        }
    }
    sink
}

/// A session that was ended, or a role that was changed, takes effect at the next ping.
async fn still_signed_in(server: &Shared, peer: &Peer) {
    match server.accounts.who_by_hash(peer.who.token_hash.clone(), server.now_ms()).await {
        Ok(Some(now)) if now == peer.who => {}
        Ok(_) => peer.close(Goodbye::SignedOut),
        // The store is in trouble, which is no reason to send people away.
        Err(problem) => tracing::warn!(problem.message, "a session could not be looked up"),
    }
}

struct Reader {
    server: Shared,
    signed: Signed,
    outbox: mpsc::Sender<Vec<u8>>,
    closed: CancellationToken,
    peer: Option<Arc<Peer>>,
    allowed: HashSet<DocumentId>,
}

impl Reader {
    async fn take(&mut self, bytes: &[u8]) -> Result<(), Goodbye> {
        let frame = frames::read(bytes).map_err(|cause| {
            tracing::info!(user = self.signed.user, %cause, "a frame could not be read");
            Goodbye::Garbled
        })?;
        match frame {
            Frame::Join { sender, speaks: false, .. } => {
                // Nothing else can be waiting yet, so a full queue means that nobody reads.
                drop(
                    self.outbox
                        .try_send(frames::error(&sender, "this server speaks version 1 of the protocol")),
                );
                return Err(Goodbye::Garbled);
            }
            Frame::Join { sender, ours, .. } => return self.join(sender, ours).await,
            Frame::Leave => return Ok(()),
            Frame::Other => return Ok(()),
            Frame::Sync { .. } | Frame::Ephemeral { .. } => {}
        }
        let Some(peer) = self.peer.clone() else { return Err(Goodbye::Garbled) };
        match frame {
            Frame::Sync { doc, data, asks } => {
                if self.may_open(doc).await? {
                    self.server.hub.deliver(doc, peer, data).await;
                } else {
                    self.turn_away(doc, &peer, &data, asks).await?;
                }
            }
            Frame::Ephemeral { doc, message } if self.allowed.contains(&doc) => {
                self.server.hub.pass_on(doc, peer, message).await;
            }
            _ => {}
        }
        Ok(())
    }

    /// A second `join` starts over: the states of the first are dropped.
    async fn join(&mut self, sender: String, ours: bool) -> Result<(), Goodbye> {
        self.part().await;
        let hub = &self.server.hub;
        let peer = Arc::new(Peer::new(
            hub.serial(),
            sender,
            self.signed.clone(),
            ours,
            self.outbox.clone(),
            self.closed.clone(),
        ));
        if !hub.enter(&peer, SOCKETS_PER_USER) {
            return Err(Goodbye::TooMany);
        }
        peer.send(frames::welcome(&peer));
        self.peer = Some(peer);
        Ok(())
    }

    async fn part(&mut self) {
        if let Some(peer) = self.peer.take() {
            self.server.hub.exit(&peer);
            for doc in self.allowed.drain() {
                self.server.hub.gone(doc, peer.id).await;
            }
        }
    }

    async fn may_open(&mut self, doc: DocumentId) -> Result<bool, Goodbye> {
        if self.allowed.contains(&doc) {
            return Ok(true);
        }
        match access::job(&self.server, &self.signed, &doc.to_string()).await {
            Ok(_) if self.allowed.len() < DOCUMENTS => {
                self.allowed.insert(doc);
                Ok(true)
            }
            Ok(_) => Ok(false),
            Err(p) if p.status == StatusCode::NOT_FOUND.as_u16() => Ok(false),
            Err(_) => Err(Goodbye::NotStored),
        }
    }

    /// A document that is not here or not for this user. Jobs begin at import, never by sync; but what a tablet brings
    /// may be somebody's work from before the server was restored, so it is kept aside.
    async fn turn_away(&self, doc: DocumentId, peer: &Peer, data: &[u8], asks: bool) -> Result<(), Goodbye> {
        let carried = if asks { None } else { crate::hub::carried(data) };
        peer.send(frames::unavailable(doc, peer));
        let Some(bytes) = carried else { return Ok(()) };
        let refusal = Refusal {
            reason: "this job is not on the server, or not for you to see".into(),
            kept: "your work is still on this tablet, and the server keeps what you sent aside".into(),
            todo: "ask a supervisor to import the job or to assign it to you".into(),
        };
        let row = QuarantineRow {
            doc: doc.to_string(),
            user: self.signed.user.clone(),
            device: self.signed.device.clone(),
            reason: refusal.reason.clone(),
            bytes,
            at: self.server.now_ms(),
        };
        if let Err(e) = self.server.committer.commit(vec![Write::Quarantine(row)]).await {
            tracing::error!(cause = %e, "changes for an unknown job could not be kept aside");
            return Err(Goodbye::NotStored);
        }
        if peer.ours {
            peer.send(frames::refused(doc, peer, &refusal));
        }
        Ok(())
    }
}
