//! R1: nothing is acknowledged, to anybody, before it is durable. And what is acknowledged outlives damage elsewhere.

mod common;

use std::collections::BTreeMap;
use std::sync::{Arc, Condvar, Mutex};

use automerge::Automerge;
use common::Bench;
use common::tablet::{Tablet, actor, author, edited, words};
use crownweir_record::DocumentId;
use sync_server::store::*;

#[derive(Default)]
struct Gate {
    /// Whether commits of chunks wait.
    shut: bool,
    /// Whether commits of chunks fail.
    broken: bool,
    /// Commits that wait.
    waiting: usize,
}

/// A store whose commits of chunks the test holds back or fails.
struct Gated {
    inner: Arc<dyn Store>,
    gate: Mutex<Gate>,
    moved: Condvar,
}

impl Gated {
    fn set(&self, change: impl FnOnce(&mut Gate)) {
        change(&mut self.gate.lock().expect("a gate"));
        self.moved.notify_all();
    }

    async fn until_a_commit_waits(self: &Arc<Self>) {
        let me = self.clone();
        tokio::task::spawn_blocking(move || {
            let gate = me.gate.lock().expect("a gate");
            drop(me.moved.wait_while(gate, |g| g.waiting == 0).expect("a gate"));
        })
        .await
        .expect("waited");
    }
}

impl Store for Gated {
    fn commit(&self, batch: &[Write]) -> Result<(), StoreError> {
        if batch.iter().any(|w| matches!(w, Write::Chunk { .. })) {
            let mut gate = self.gate.lock().expect("a gate");
            gate.waiting += 1;
            self.moved.notify_all();
            gate = self.moved.wait_while(gate, |g| g.shut).expect("a gate");
            gate.waiting -= 1;
            if gate.broken {
                return Err(StoreError::Database { doing: "write", cause: "disk full".into() });
            }
        }
        self.inner.commit(batch)
    }
    fn chunks(&self, doc: &str) -> Result<Vec<Chunk>, StoreError> {
        self.inner.chunks(doc)
    }
    fn actors(&self, doc: &str) -> Result<BTreeMap<String, String>, StoreError> {
        self.inner.actors(doc)
    }
    fn jobs(&self) -> Result<Vec<JobRow>, StoreError> {
        self.inner.jobs()
    }
    fn job(&self, doc: &str) -> Result<Option<JobRow>, StoreError> {
        self.inner.job(doc)
    }
    fn job_by_permit(&self, permit: &str) -> Result<Option<JobRow>, StoreError> {
        self.inner.job_by_permit(permit)
    }
    fn users(&self) -> Result<Vec<UserRow>, StoreError> {
        self.inner.users()
    }
    fn user(&self, user: &str) -> Result<Option<UserRow>, StoreError> {
        self.inner.user(user)
    }
    fn session(&self, token_hash: &str) -> Result<Option<SessionRow>, StoreError> {
        self.inner.session(token_hash)
    }
    fn photo(&self, doc: &str, sha256: &str) -> Result<Option<PhotoRow>, StoreError> {
        self.inner.photo(doc, sha256)
    }
    fn photo_count(&self, doc: &str) -> Result<u64, StoreError> {
        self.inner.photo_count(doc)
    }
    fn quarantine(&self) -> Result<Vec<QuarantineRow>, StoreError> {
        self.inner.quarantine()
    }
    fn setting(&self, name: &str) -> Result<Option<String>, StoreError> {
        self.inner.setting(name)
    }
}

fn gated() -> (Bench, Arc<Gated>) {
    let mut kept = None;
    let b = Bench::with(|inner| {
        let gated = Arc::new(Gated { inner, gate: Mutex::default(), moved: Condvar::new() });
        kept = Some(gated.clone());
        gated
    });
    (b, kept.expect("wrapped"))
}

/// Steps a tablet until a commit waits: an exchange may need more than one message before the changes are over.
async fn step_until_a_commit_waits(t: &mut Tablet, store: &Arc<Gated>) {
    let waits = store.until_a_commit_waits();
    tokio::pin!(waits);
    loop {
        tokio::select! {
            () = &mut waits => return,
            open = t.step() => assert!(open, "closed"),
        }
    }
}

async fn following(b: &Bench, run: &common::Running, user: &str, docs: &[DocumentId]) -> Tablet {
    let mut t = Tablet::join(run.address, &b.sign_in(user).await, user, true).await;
    for doc in docs {
        t.follow(*doc, Automerge::new()).await;
        t.until_safe(*doc).await;
    }
    t
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn new_heads_leave_for_nobody_before_the_commit_returns() {
    let (b, store) = gated();
    let users = ["okafor", "lindqvist"];
    let doc = b.job("P-1", &users);
    let markers: Vec<DocumentId> = (2..4).map(|i| b.job(&format!("P-{i}"), &users)).collect();
    let run = b.run().await;
    let mut t1 = following(&b, &run, "okafor", &[doc]).await;
    let mut t2 = following(&b, &run, "lindqvist", &[doc]).await;
    let old = b.stored(doc).get_heads();

    store.set(|g| g.shut = true);
    t1.edit(doc, &author("okafor"), actor(1), &[words("not yet durable")]);
    t1.push(doc, false).await;
    step_until_a_commit_waits(&mut t1, &store).await;
    // Frames of one socket arrive in order: what had left before is here once the marker's answer is.
    for (t, marker) in [(&mut t1, markers[0]), (&mut t2, markers[1])] {
        t.follow(marker, Automerge::new()).await;
        t.until_safe(marker).await;
        assert_eq!(t.acknowledged(doc), old, "heads left before they were durable");
    }
    assert_eq!(b.stored(doc).get_heads(), old);
    assert_eq!(t2.docs[&doc].0.get_heads(), old, "others see only what is durable");

    store.set(|g| g.shut = false);
    t1.until_safe(doc).await;
    let new = t1.docs[&doc].0.get_heads();
    assert_eq!(b.stored(doc).get_heads(), new);
    t2.until("the other sees it", |t| t.docs[&doc].0.get_heads() == new).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn store_that_fails_acknowledges_nothing_and_the_work_arrives_later() {
    let (b, store) = gated();
    let doc = b.job("P-1", &["okafor", "lindqvist"]);
    let run = b.run().await;
    let mut t1 = following(&b, &run, "okafor", &[doc]).await;
    let mut t2 = following(&b, &run, "lindqvist", &[doc]).await;
    let old = b.stored(doc).get_heads();

    store.set(|g| g.broken = true);
    t1.edit(doc, &author("okafor"), actor(1), &[words("kept on the tablet")]);
    t1.push(doc, false).await;
    let (code, reason) = t1.until_closed().await;
    assert_eq!(code, 1013);
    assert!(reason.contains("nothing was acknowledged"), "{reason}");
    assert_eq!(t1.acknowledged(doc), old);
    assert_eq!(b.stored(doc).get_heads(), old);

    store.set(|g| g.broken = false);
    let mine = t1.docs.remove(&doc).expect("kept").0;
    let mut again = Tablet::join(run.address, &b.sign_in("okafor").await, "okafor", true).await;
    again.follow(doc, mine).await;
    again.until_safe(doc).await;
    let new = again.docs[&doc].0.get_heads();
    assert_eq!(b.stored(doc).get_heads(), new);
    t2.until("the other sees it", |t| t.docs[&doc].0.get_heads() == new).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn one_slow_commit_takes_the_others_that_are_ready_along() {
    let (b, store) = gated();
    let docs: Vec<DocumentId> = (0..6).map(|i| b.job(&format!("P-{i}"), &["okafor"])).collect();
    let run = b.run().await;
    let mut t = following(&b, &run, "okafor", &docs).await;
    store.set(|g| g.shut = true);
    for (i, doc) in docs.iter().enumerate() {
        t.edit(*doc, &author("okafor"), actor(i as u8 + 1), &[words("one of many")]);
        t.push(*doc, false).await;
    }
    step_until_a_commit_waits(&mut t, &store).await;
    store.set(|g| g.shut = false);
    for doc in docs {
        t.until_safe(doc).await;
        assert_eq!(b.stored(doc).get_heads(), t.docs[&doc].0.get_heads());
    }
}

/// Flips a byte of every chunk of a document, behind the store's back.
fn damage(b: &Bench, doc: DocumentId) {
    let db = rusqlite::Connection::open(b.folder.path().join("crownweir.db")).expect("the file");
    let n = db
        .execute(
            "update chunks set bytes = cast(substr(bytes, 1, 20) || x'ff' || substr(bytes, 22) as blob) where doc = ?",
            [doc.to_string()],
        )
        .expect("damaged");
    assert!(n > 0);
}

#[tokio::test]
async fn damaged_job_is_named_and_kept_and_not_served_while_the_rest_goes_on() {
    let b = Bench::new();
    let (bad, good) = (b.job("P-1", &["okafor"]), b.job("P-2", &["okafor"]));
    let whole = b.stored(bad);
    damage(&b, bad);
    let run = b.run().await;
    let cookie = b.sign_in("okafor").await;
    let mut t = Tablet::join(run.address, &cookie, "tablet-1", true).await;
    t.follow(bad, edited(whole, &author("okafor"), actor(1), &[words("fresh work")])).await;
    t.until("it is named", |t| !t.refused.is_empty()).await;
    assert!(t.refused[0].reason.contains("damaged") && t.unavailable.contains(&bad));
    assert!(t.acknowledged(bad).is_empty(), "nothing may be acknowledged on top of a gap");
    t.follow(good, Automerge::new()).await;
    t.until_safe(good).await;
    let listed = b.get("/api/jobs", &cookie).await.json();
    let trouble = |permit: &str| {
        let all = listed.as_array().expect("a list");
        all.iter().find(|j| j["permit"] == permit).expect("listed")["trouble"].clone()
    };
    assert!(trouble("P-1").as_str().is_some_and(|t| t.contains("chunk")), "{listed}");
    assert!(trouble("P-2").is_null());
    assert_eq!(b.get("/healthz", "").await.json()["damaged_jobs"], 1);
    assert!(!b.store.chunks(&bad.to_string()).expect("an answer").is_empty(), "damaged chunks are kept");
}

#[tokio::test]
async fn chunks_are_put_together_and_none_is_removed_before_the_whole_reads_back() {
    let b = Bench::new();
    let doc = b.job("P-1", &["okafor"]);
    let run = b.run().await;
    let mut t = following(&b, &run, "okafor", &[doc]).await;
    // One change at a time, so that each becomes a chunk; far more than are kept before they are put together.
    for i in 0..70 {
        t.edit(doc, &author("okafor"), actor(1), &[words(&format!("entry {i}"))]);
        t.push(doc, false).await;
        t.until_safe(doc).await;
        assert_eq!(
            b.stored(doc).get_heads(),
            t.docs[&doc].0.get_heads(),
            "at every moment all of it is there"
        );
    }
    let chunks = b.store.chunks(&doc.to_string()).expect("an answer");
    assert!(chunks.len() < 64, "{} chunks", chunks.len());
    assert!(chunks.iter().any(|c| c.kind == ChunkKind::Snapshot));
}

#[tokio::test]
async fn document_leaves_memory_when_there_is_no_room_and_comes_back_whole() {
    let mut b = Bench::new();
    b.restart(|s| s.idle_bytes = 0);
    let doc = b.job("P-1", &["okafor"]);
    let run = b.run().await;
    let mut t = following(&b, &run, "okafor", &[doc]).await;
    t.edit(doc, &author("okafor"), actor(1), &[words("kept")]);
    t.push(doc, false).await;
    t.until_safe(doc).await;
    assert_eq!(b.server.hub.active(), 1);
    let heads = t.docs[&doc].0.get_heads();
    drop(t);
    while b.server.hub.active() > 0 {
        tokio::time::sleep(std::time::Duration::from_millis(20)).await;
    }
    let t = following(&b, &run, "okafor", &[doc]).await;
    assert_eq!(t.docs[&doc].0.get_heads(), heads);
}

#[test]
fn commit_is_all_or_nothing_and_the_same_chunk_twice_is_one() {
    let b = Bench::new_without_runtime();
    let chunk = |key: &str| Write::Chunk {
        doc: "d".into(),
        kind: ChunkKind::Increment,
        key: key.into(),
        bytes: vec![1, 2, 3],
    };
    let row = |permit: &str| {
        Write::AddJob(JobRow {
            doc: permit.into(),
            permit: "same".into(),
            address: String::new(),
            scope: String::new(),
            stage: String::new(),
            scheduled: String::new(),
            adoption: String::new(),
            applied_on: String::new(),
            assigned: vec![],
        })
    };
    b.commit(&[chunk("a"), chunk("a"), row("one")]).expect("stored");
    let refused = b.commit(&[chunk("b"), row("two")]);
    assert!(matches!(refused, Err(StoreError::JobExists { .. })), "{refused:?}");
    let keys: Vec<String> = b.chunks("d").expect("an answer").into_iter().map(|c| c.key).collect();
    assert_eq!(keys, ["a"], "nothing of the refused batch is there");
}
