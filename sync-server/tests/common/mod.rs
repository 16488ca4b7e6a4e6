//! A server over a fresh folder, and requests to it without a socket.
#![allow(dead_code, reason = "each test file uses its own part of this")]

pub mod tablet;

use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

use automerge::Automerge;
use axum::Router;
use axum::body::Body;
use axum::http::{HeaderMap, Request, Response, StatusCode, header};
use crownweir_engine::Law;
use crownweir_record::{DocumentId, Edit, JobHeader};
use http_body_util::BodyExt;
use serde_json::Value;
use sync_server::jobs::{self, NewJob};
use sync_server::rulesets::Rulesets;
use sync_server::store::{Store, sqlite::SqliteStore};
use sync_server::{Server, Settings, Shared, cli, demo, http, hub};
use tempfile::TempDir;
use tower::ServiceExt;

/// A server on a socket; stops when dropped.
pub struct Running {
    pub address: SocketAddr,
    stop: Option<tokio::sync::oneshot::Sender<()>>,
    pub ended: tokio::task::JoinHandle<std::io::Result<()>>,
}

impl Running {
    pub fn stop(&mut self) {
        drop(self.stop.take());
    }
}

/// A server whose clock the test moves.
pub struct Bench {
    pub folder: TempDir,
    pub store: Arc<dyn Store>,
    pub server: Shared,
    pub app: Router,
    pub now: Arc<AtomicI64>,
}

pub struct Answer {
    pub status: StatusCode,
    pub headers: HeaderMap,
    pub bytes: Vec<u8>,
}

impl Answer {
    pub fn json(&self) -> Value {
        serde_json::from_slice(&self.bytes).expect("a JSON answer")
    }

    /// The three sentences of a problem; fails if one of them is missing.
    pub fn problem(&self) -> (String, String, String) {
        let e = &self.json()["error"];
        let text = |k: &str| {
            let t = e[k].as_str().unwrap_or_else(|| panic!("no {k} in {e}"));
            assert!(!t.is_empty(), "{k} is empty");
            t.to_owned()
        };
        (text("message"), text("kept"), text("todo"))
    }

    pub fn cookie(&self) -> String {
        let set = self.headers.get(header::SET_COOKIE).expect("a cookie").to_str().expect("text");
        set.split(';').next().unwrap_or_default().to_owned()
    }
}

/// Rulesets of the tests' own.
pub const RULESETS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/rulesets");

fn law() -> (Rulesets, Law) {
    let rulesets = Rulesets::from_dir(Path::new(RULESETS)).expect("rulesets");
    let law = cli::law(&rulesets).unwrap_or_else(|e| panic!("{e}"));
    (rulesets, law)
}

pub fn password(user: &str) -> &'static str {
    demo::ACCOUNTS.iter().find(|a| a.user == user).expect("a demo account").password
}

impl Bench {
    pub fn new() -> Bench {
        Bench::with(|store| store)
    }

    /// With the store wrapped.
    pub fn with(wrap: impl FnOnce(Arc<dyn Store>) -> Arc<dyn Store>) -> Bench {
        let folder = tempfile::tempdir().expect("a folder");
        let plain: Arc<dyn Store> =
            Arc::new(SqliteStore::open(&folder.path().join("crownweir.db")).expect("a store"));
        demo::seed_accounts(&plain).expect("demo accounts");
        let store = wrap(plain);
        let (rulesets, law) = law();
        let now = Arc::new(AtomicI64::new(1_780_000_000_000));
        let clock = now.clone();
        let server = Server::new(
            Settings::new(folder.path().to_owned()),
            store.clone(),
            rulesets,
            law,
            Arc::new(move || clock.load(Ordering::SeqCst)),
        )
        .expect("a server");
        Bench { app: http::app(server.clone()), folder, store, server, now }
    }

    /// Begins a job for these users, without rules taking part.
    pub fn job(&self, permit: &str, assigned: &[&str]) -> DocumentId {
        let header = JobHeader {
            permit: permit.into(),
            address: "14 Weir Lane, Tarn Hollow".into(),
            adoption: "bench".into(),
            applied_on: "2026-03-02".into(),
            agency: demo::AGENCY.into(),
            ..JobHeader::default()
        };
        let house =
            Edit::Subject { kind: "house".into(), name: "House".into(), parent: None, copied_from: None };
        let job = NewJob {
            header,
            edits: vec![house],
            stage: "rough".into(),
            scheduled: String::new(),
            assigned: assigned.iter().map(|a| (*a).to_owned()).collect(),
        };
        let (doc, writes) = jobs::begin(job, 1_780_000_000_000).expect("a job");
        self.store.commit(&writes).expect("stored");
        doc
    }

    /// The document as the store has it.
    pub fn stored(&self, doc: DocumentId) -> Automerge {
        hub::load(&self.store.chunks(&doc.to_string()).expect("chunks")).expect("a document").doc
    }

    /// Listens on a free port.
    pub async fn run(&self) -> Running {
        let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.expect("a port");
        let address = listener.local_addr().expect("an address");
        let (stop, stopped) = tokio::sync::oneshot::channel::<()>();
        let ended = tokio::spawn(sync_server::serve::run(self.server.clone(), listener, async move {
            drop(stopped.await);
        }));
        Running { address, stop: Some(stop), ended }
    }

    /// A server with other settings over the same store.
    pub fn restart(&mut self, change: impl FnOnce(&mut Settings)) {
        let mut settings = self.server.settings.clone();
        change(&mut settings);
        let (rulesets, law) = law();
        let clock = self.now.clone();
        let clock = Arc::new(move || clock.load(Ordering::SeqCst));
        self.server = Server::new(settings, self.store.clone(), rulesets, law, clock).expect("a server");
        self.app = http::app(self.server.clone());
    }

    /// The store alone.
    pub fn new_without_runtime() -> SqliteStore {
        // The folder has to outlive the store; the system's own folder of temporary files is emptied by the system.
        let folder = tempfile::tempdir().expect("a folder").keep();
        SqliteStore::open(&folder.join("crownweir.db")).expect("a store")
    }

    pub async fn send(&self, request: Request<Body>) -> Answer {
        let response: Response<Body> = self.app.clone().oneshot(request).await.expect("an answer");
        let (parts, body) = response.into_parts();
        let bytes = body.collect().await.expect("a body").to_bytes().to_vec();
        Answer { status: parts.status, headers: parts.headers, bytes }
    }

    pub async fn call(&self, method: &str, path: &str, cookie: &str, body: impl Into<Body>) -> Answer {
        self.send(request(method, path, cookie).body(body.into()).expect("a request")).await
    }

    pub async fn get(&self, path: &str, cookie: &str) -> Answer {
        self.call("GET", path, cookie, Body::empty()).await
    }

    pub async fn try_sign_in(&self, user: &str, password: &str) -> Answer {
        let body = serde_json::json!({ "user": user, "password": password, "device": "bench" });
        self.call("POST", "/api/session", "", body.to_string()).await
    }

    /// Signs a demo user in; returns the cookie.
    pub async fn sign_in(&self, user: &str) -> String {
        let answer = self.try_sign_in(user, password(user)).await;
        assert_eq!(answer.status, StatusCode::OK, "{:?}", String::from_utf8_lossy(&answer.bytes));
        answer.cookie()
    }
}

pub fn request(method: &str, path: &str, cookie: &str) -> axum::http::request::Builder {
    let r = Request::builder().method(method).uri(path).header(header::HOST, "bench.test");
    if cookie.is_empty() { r } else { r.header(header::COOKIE, cookie) }
}
