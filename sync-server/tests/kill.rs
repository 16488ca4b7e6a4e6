//! The real binary, killed (SIGKILL) under load again and again: nothing that was acknowledged may be missing after.
//!
//! `CROWNWEIR_KILLS` sets the number of rounds (default 6), `CROWNWEIR_SEED` the moments.

mod common;

use std::collections::{BTreeMap, BTreeSet};
use std::io::{BufRead, BufReader, Read, Write as _};
use std::net::{SocketAddr, TcpStream};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};

use automerge::{Automerge, ChangeHash};
use common::tablet::{Tablet, author, words};
use crownweir_record::{DocumentId, JobHeader};
use sha2::{Digest, Sha256};
use sync_server::jobs::{self, NewJob};
use sync_server::store::{Store, sqlite::SqliteStore};
use sync_server::{demo, hub};

const USERS: [&str; 3] = ["okafor", "lindqvist", "adeyemi"];

struct Binary {
    child: Child,
    address: SocketAddr,
}

impl Binary {
    fn start(data: &Path) -> Binary {
        let mut child = Command::new(env!("CARGO_BIN_EXE_crownweir"))
            .args(["serve", "--listen", "127.0.0.1:0", "--rulesets", common::RULESETS, "--data"])
            .arg(data)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("the binary starts");
        let mut line = String::new();
        BufReader::new(child.stdout.take().expect("piped")).read_line(&mut line).expect("a line");
        let address = line.trim().strip_prefix("listening on http://").expect("the address").parse();
        Binary { child, address: address.expect("an address") }
    }

    fn kill(mut self) {
        self.child.kill().expect("killed");
        self.child.wait().expect("ended");
    }
}

struct Reply {
    status: u16,
    headers: BTreeMap<String, String>,
    body: Vec<u8>,
}

/// One request over a socket of its own; the test needs no more of HTTP than that.
fn http(
    address: SocketAddr,
    method: &str,
    path: &str,
    headers: &[(&str, &str)],
    body: &[u8],
) -> Option<Reply> {
    let mut socket = TcpStream::connect(address).ok()?;
    let mut head = format!(
        "{method} {path} HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\nContent-Length: {}\r\n",
        body.len()
    );
    for (k, v) in headers {
        head += &format!("{k}: {v}\r\n");
    }
    socket.write_all(head.as_bytes()).ok()?;
    socket.write_all(b"\r\n").ok()?;
    socket.write_all(body).ok()?;
    let mut all = Vec::new();
    socket.read_to_end(&mut all).ok()?;
    let end = all.windows(4).position(|w| w == b"\r\n\r\n")?;
    let text = String::from_utf8_lossy(&all[..end]).into_owned();
    let mut lines = text.lines();
    let status = lines.next()?.split(' ').nth(1)?.parse().ok()?;
    let headers =
        lines.filter_map(|l| l.split_once(": ").map(|(k, v)| (k.to_lowercase(), v.to_owned()))).collect();
    Some(Reply { status, headers, body: all[end + 4..].to_vec() })
}

fn sign_in(address: SocketAddr, user: &str) -> Option<String> {
    let body = serde_json::json!({ "user": user, "password": common::password(user), "device": "kill" });
    let reply = http(address, "POST", "/api/session", &[], body.to_string().as_bytes())?;
    assert_eq!(reply.status, 200, "{}", String::from_utf8_lossy(&reply.body));
    Some(reply.headers["set-cookie"].split(';').next()?.to_owned())
}

fn seeded(data: &Path, count: usize) -> Vec<DocumentId> {
    let store: Arc<dyn Store> = Arc::new(SqliteStore::open(&data.join("crownweir.db")).expect("a store"));
    demo::seed_accounts(&store).expect("accounts");
    (0..count)
        .map(|i| {
            let header = JobHeader {
                permit: format!("K-{i}"),
                address: "7 Weir Lane, Tarn Hollow".into(),
                adoption: "bench".into(),
                applied_on: "2026-03-02".into(),
                ..JobHeader::default()
            };
            let job = NewJob {
                header,
                edits: vec![],
                stage: "rough".into(),
                scheduled: String::new(),
                assigned: USERS.iter().map(|u| (*u).into()).collect(),
            };
            let (doc, writes) = jobs::begin(job, 0).expect("a job");
            store.commit(&writes).expect("stored");
            doc
        })
        .collect()
}

/// Numbers from a seed; the moments of the kills must be repeatable, nothing more.
struct Dice(u64);

impl Dice {
    fn roll(&mut self, below: u64) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % below
    }
}

/// What the server said it has, of all documents.
type Acknowledged = Arc<Mutex<BTreeMap<DocumentId, BTreeSet<ChangeHash>>>>;

/// A tablet's work over its whole life: documents survive the server's deaths, as they do on a disk.
async fn work(
    address: SocketAddr,
    user: &'static str,
    session: u8,
    mut mine: BTreeMap<DocumentId, Automerge>,
    acknowledged: Acknowledged,
) -> BTreeMap<DocumentId, Automerge> {
    let cookie = match tokio::task::spawn_blocking(move || sign_in(address, user)).await.expect("asked") {
        Some(cookie) => cookie,
        None => return mine,
    };
    let mut tablet = Tablet::connect(address, &cookie, user).await;
    if tablet.try_join().await.is_none() {
        return mine;
    }
    let note = |t: &Tablet| {
        let mut all = acknowledged.lock().expect("a lock");
        for doc in t.docs.keys() {
            all.entry(*doc).or_default().extend(t.acknowledged(*doc));
        }
    };
    let mut n = 0u32;
    let docs: Vec<DocumentId> = mine.keys().copied().collect();
    let mut alive = true;
    for doc in &docs {
        let doc_mine = mine.remove(doc).expect("held");
        let asks = doc_mine.is_empty();
        tablet.docs.insert(*doc, (doc_mine, automerge::sync::State::new()));
        alive = alive && tablet.try_push(*doc, asks).await.is_some();
    }
    while alive {
        alive = tablet.step_quietly().await;
        note(&tablet);
        for doc in &docs {
            if alive && tablet.safe(*doc) {
                let actor = [session; 16];
                tablet.edit(*doc, &author(user), actor, &[words(&format!("{user} {session} {n}"))]);
                n += 1;
                alive = tablet.try_push(*doc, false).await.is_some();
            }
        }
    }
    note(&tablet);
    assert!(tablet.refused.is_empty(), "{:?}", tablet.refused);
    mine.extend(std::mem::take(&mut tablet.docs).into_iter().map(|(doc, (mine, _))| (doc, mine)));
    mine
}

fn stored(data: &Path, doc: DocumentId) -> Automerge {
    let store = SqliteStore::open(&data.join("crownweir.db")).expect("the store opens after a kill");
    let chunks = store.chunks(&doc.to_string()).expect("chunks");
    hub::load(&chunks).unwrap_or_else(|e| panic!("{doc} after a kill: {e}")).doc
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn killed_under_load_nothing_acknowledged_is_lost() {
    let number =
        |name: &str, usual: u64| std::env::var(name).ok().and_then(|v| v.parse().ok()).unwrap_or(usual);
    let (rounds, seed) = (number("CROWNWEIR_KILLS", 6), number("CROWNWEIR_SEED", 2026));
    println!("rounds {rounds}, seed {seed}");
    let folder = tempfile::tempdir().expect("a folder");
    let data = folder.path();
    let docs = seeded(data, 3);
    let acknowledged: Acknowledged = Arc::default();
    let mut dice = Dice(seed);
    let mut held: BTreeMap<&str, BTreeMap<DocumentId, Automerge>> =
        USERS.iter().map(|u| (*u, docs.iter().map(|d| (*d, Automerge::new())).collect())).collect();
    let mut checked = 0;
    for round in 0..rounds {
        let binary = Binary::start(data);
        let tablets: Vec<_> = USERS
            .iter()
            .enumerate()
            .map(|(i, user)| {
                let session = u8::try_from(round * 3 + i as u64 + 1).unwrap_or(u8::MAX);
                let mine = held.remove(user).expect("held");
                (*user, tokio::spawn(work(binary.address, user, session, mine, acknowledged.clone())))
            })
            .collect();
        tokio::time::sleep(std::time::Duration::from_millis(400 + dice.roll(900))).await;
        binary.kill();
        for (user, tablet) in tablets {
            held.insert(user, tablet.await.expect("a tablet ends in order"));
        }
        for (doc, hashes) in &*acknowledged.lock().expect("a lock") {
            let there = stored(data, *doc);
            for hash in hashes {
                assert!(
                    there.get_change_meta_by_hash(hash).is_some(),
                    "round {round}, seed {seed}: {hash} of {doc} was acknowledged and is not there"
                );
            }
            checked = checked.max(there.get_changes(&[]).len());
        }
    }
    let acknowledged: usize = acknowledged.lock().expect("a lock").values().map(BTreeSet::len).sum();
    println!("{acknowledged} acknowledged heads, {checked} changes in the largest document");
    assert!(acknowledged as u64 > rounds * 3, "the load was too light to prove anything");

    // And it goes on: everybody's work, acknowledged or not, arrives at the next start.
    let binary = Binary::start(data);
    for user in USERS {
        let cookie = sign_in(binary.address, user).expect("signed in");
        let mut t = Tablet::join(binary.address, &cookie, user, true).await;
        for (doc, mine) in held.remove(user).expect("held") {
            t.follow(doc, mine).await;
            t.until_safe(doc).await;
        }
    }
    binary.kill();
}

#[test]
fn upload_goes_on_after_a_kill_from_what_was_flushed() {
    let folder = tempfile::tempdir().expect("a folder");
    let doc = seeded(folder.path(), 1)[0];
    let mut photo = Vec::new();
    let picture = image::RgbImage::from_fn(300, 300, |x, y| image::Rgb([(x ^ y) as u8, x as u8, y as u8]));
    let encoder = image::codecs::jpeg::JpegEncoder::new_with_quality(&mut photo, 90);
    picture.write_with_encoder(encoder).expect("encoded");
    let path = format!("/api/photos/{doc}/{}", hex::encode(Sha256::digest(&photo)));
    let length = photo.len().to_string();
    let half = photo.len() / 2;
    let send = |address, cookie: &str, offset: usize, part: &[u8]| {
        let offset = offset.to_string();
        let headers =
            [("Cookie", cookie), ("Upload-Offset", offset.as_str()), ("Upload-Length", length.as_str())];
        http(address, "PATCH", &path, &headers, part).expect("an answer")
    };

    let binary = Binary::start(folder.path());
    let cookie = sign_in(binary.address, "okafor").expect("signed in");
    assert_eq!(send(binary.address, &cookie, 0, &photo[..half]).status, 204);
    binary.kill();

    let binary = Binary::start(folder.path());
    let state = http(binary.address, "HEAD", &path, &[("Cookie", &cookie)], b"").expect("an answer");
    assert_eq!(state.status, 200, "the session survives a restart too");
    assert_eq!(state.headers["upload-offset"], half.to_string());
    assert_eq!(state.headers["upload-complete"], "?0");
    assert_eq!(send(binary.address, &cookie, half, &photo[half..]).status, 201);
    binary.kill();

    let binary = Binary::start(folder.path());
    let back = http(binary.address, "GET", &path, &[("Cookie", &cookie)], b"").expect("an answer");
    assert_eq!((back.status, back.body), (200, photo));
    binary.kill();
}

#[test]
fn data_folder_in_use_is_refused_with_what_to_do() {
    let folder = tempfile::tempdir().expect("a folder");
    seeded(folder.path(), 1);
    let binary = Binary::start(folder.path());
    let second = Command::new(env!("CARGO_BIN_EXE_crownweir"))
        .args(["serve", "--listen", "127.0.0.1:0", "--rulesets", common::RULESETS, "--data"])
        .arg(folder.path())
        .output()
        .expect("ran");
    assert_eq!(second.status.code(), Some(2));
    let said = String::from_utf8_lossy(&second.stderr).into_owned();
    assert!(said.contains("another crownweir process") && said.contains("stop it first"), "{said}");
    binary.kill();
}

#[cfg(unix)]
#[test]
fn termination_signal_ends_it_in_order() {
    let folder = tempfile::tempdir().expect("a folder");
    seeded(folder.path(), 1);
    let mut binary = Binary::start(folder.path());
    let sent = Command::new("kill").args(["-TERM", &binary.child.id().to_string()]).status().expect("sent");
    assert!(sent.success());
    assert_eq!(binary.child.wait().expect("ended").code(), Some(0));
}
