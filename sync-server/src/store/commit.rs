//! Group commit: everything that is ready goes into one transaction with one fsync, then all callers are answered.

use std::sync::Arc;

use tokio::sync::{mpsc, oneshot};

use super::{Store, StoreError, Write};

/// Requests waiting at most before a caller has to wait to hand one over.
const WAITING: usize = 1024;
/// Writes in one transaction at most, so that nobody waits for an endless batch.
const BATCH: usize = 8192;

struct Request {
    writes: Vec<Write>,
    reply: oneshot::Sender<Result<(), StoreError>>,
}

/// Hands writes to the one thread that commits.
#[derive(Clone)]
pub struct Committer {
    requests: mpsc::Sender<Request>,
}

impl Committer {
    /// Starts the thread; it ends when the last handle is dropped and everything handed over is committed.
    pub fn start(store: Arc<dyn Store>) -> std::io::Result<Self> {
        let (requests, inbox) = mpsc::channel(WAITING);
        std::thread::Builder::new().name("store-commit".into()).spawn(move || serve(&*store, inbox))?;
        Ok(Committer { requests })
    }

    /// Returns when the writes are durable (all of them) or refused (all of them).
    pub async fn commit(&self, writes: Vec<Write>) -> Result<(), StoreError> {
        if writes.is_empty() {
            return Ok(());
        }
        let (reply, answer) = oneshot::channel();
        self.requests.send(Request { writes, reply }).await.map_err(|_| StoreError::Closed)?;
        answer.await.map_err(|_| StoreError::Closed)?
    }
}

fn serve(store: &dyn Store, mut inbox: mpsc::Receiver<Request>) {
    while let Some(first) = inbox.blocking_recv() {
        let mut size = first.writes.len();
        let mut group = vec![first];
        while size < BATCH {
            let Ok(next) = inbox.try_recv() else { break };
            size += next.writes.len();
            group.push(next);
        }
        commit_group(store, group);
    }
}

fn commit_group(store: &dyn Store, mut group: Vec<Request>) {
    let ranges: Vec<usize> = group.iter().map(|r| r.writes.len()).collect();
    let all: Vec<Write> = group.iter_mut().flat_map(|r| std::mem::take(&mut r.writes)).collect();
    match store.commit(&all) {
        Ok(()) => group.into_iter().for_each(|r| drop(r.reply.send(Ok(())))),
        Err(e) if group.len() == 1 => group.into_iter().for_each(|r| drop(r.reply.send(Err(e.clone())))),
        // One request that cannot be stored must not fail its neighbours: each gets its own answer.
        Err(_) => {
            let mut rest = all.as_slice();
            for (request, n) in group.into_iter().zip(ranges) {
                let (mine, others) = rest.split_at(n);
                rest = others;
                drop(request.reply.send(store.commit(mine)));
            }
        }
    }
}
