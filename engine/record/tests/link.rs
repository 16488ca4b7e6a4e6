//! Tablets and a small server that exchange real frames: what arrives, what is acknowledged, what ends.

mod common;

use std::collections::BTreeMap;

use automerge::sync::{self, SyncDoc};
use automerge::transaction::Transactable;
use automerge::{Automerge, ReadDoc};
use common::*;
use crownweir_record::link::{Event, Link, Received, Standing};
use crownweir_record::wire::{self, DocMessage, Message, PeerMetadata, Refused};
use crownweir_record::{Author, DocumentId, Edit, EntryId, Record, door};
use proptest::prelude::*;

const DOC: DocumentId = DocumentId([7; 16]);

/// A server of one document, as ours does it: fork, apply, check, "store", swap, answer.
#[derive(Default)]
struct Server {
    doc: Option<Automerge>,
    bound: BTreeMap<String, String>,
    /// Skips the door: a server that went wrong.
    careless: bool,
}

/// A connection as the server sees it.
#[derive(Default)]
struct Connection {
    peer: String,
    author: Author,
    state: sync::State,
}

impl Server {
    fn take(&mut self, c: &mut Connection, frame: &[u8]) -> Vec<Vec<u8>> {
        let target = |c: &Connection| c.peer.clone();
        match wire::decode(frame).unwrap() {
            Message::Join { sender, metadata, versions } => {
                assert!(metadata.crownweir && versions == ["1"]);
                c.peer = sender;
                let (sender, metadata, version) = ("server".into(), PeerMetadata::default(), "1".into());
                vec![Message::Peer { sender, target: target(c), metadata, version }.encode()]
            }
            Message::Sync(m) | Message::Request(m) => {
                assert_eq!((m.document, m.target.as_str(), &m.sender), (DOC, "server", &c.peer));
                let Some(doc) = &mut self.doc else {
                    let (sender, document) = ("server".into(), m.document);
                    return vec![Message::DocUnavailable { sender, target: target(c), document }.encode()];
                };
                let mut fork = doc.fork();
                let mut state = c.state.clone();
                fork.receive_sync_message(&mut state, sync::Message::decode(&m.data).unwrap()).unwrap();
                let limits = door::Limits::default();
                let mut frames = Vec::new();
                match door::check(doc, &fork, &c.author, &self.bound, &limits) {
                    Err(refusal) if !self.careless => {
                        c.state.set_read_only(true);
                        frames.push(
                            Message::Refused(Refused {
                                sender: "server".into(),
                                target: target(c),
                                document: DOC,
                                reason: refusal.reason,
                                kept: refusal.kept,
                                todo: refusal.todo,
                            })
                            .encode(),
                        );
                        let message = sync::Message::decode(&m.data).unwrap();
                        doc.receive_sync_message(&mut c.state, message).unwrap();
                    }
                    admission => {
                        for actor in admission.map(|a| a.new_actors).unwrap_or_default() {
                            self.bound.insert(actor, c.author.user.clone());
                        }
                        (*doc, c.state) = (fork, state);
                    }
                }
                frames.extend(self.push(c));
                frames
            }
            other => panic!("{other:?}"),
        }
    }

    /// What the server has to say on a connection.
    fn push(&self, c: &mut Connection) -> Option<Vec<u8>> {
        let data = self.doc.as_ref()?.generate_sync_message(&mut c.state)?.encode();
        let (sender, target) = ("server".into(), c.peer.clone());
        Some(Message::Sync(DocMessage { sender, target, document: DOC, data }).encode())
    }
}

/// A tablet with its store.
struct Tablet {
    author: Author,
    n: u8,
    docs: BTreeMap<DocumentId, Record>,
    stored: Vec<u8>,
    events: Vec<Event>,
}

impl Tablet {
    fn new(author: Author, n: u8) -> Tablet {
        Tablet { author, n, docs: BTreeMap::new(), stored: Vec::new(), events: Vec::new() }
    }

    fn record(&mut self) -> &mut Record {
        self.docs.get_mut(&DOC).unwrap()
    }

    fn act(&mut self, edit: Edit) -> EntryId {
        let staged = self.record().stage(&[edit], AT).unwrap();
        self.stored.extend(&staged.bytes);
        self.record().accept();
        staged.ids[0].clone()
    }

    /// Takes a frame and stores what it brings.
    fn take(&mut self, link: &mut Link, frame: &[u8]) {
        let received = link.receive(frame, &mut self.docs);
        self.events.extend(received.events);
        for (_, bytes) in received.store {
            self.stored.extend(bytes);
        }
        for id in link.settle(&mut self.docs) {
            self.docs.get_mut(&id).unwrap().begin(self.author.clone(), actor(self.n));
        }
    }

    /// What is stored says what is in memory.
    fn check_store(&self) {
        let stored = Record::open(&self.stored).unwrap();
        assert_eq!(stored.state(), self.docs[&DOC].state());
        assert_eq!(stored.heads(), self.docs[&DOC].heads());
    }
}

fn connected(server: &mut Server, tablet: &mut Tablet, peer: &str) -> (Link, Connection) {
    let mut link = Link::new(peer);
    link.follow(DOC);
    let mut connection = Connection { author: tablet.author.clone(), ..Connection::default() };
    for frame in server.take(&mut connection, &link.join()) {
        tablet.take(&mut link, &frame);
    }
    assert!(link.is_connected());
    (link, connection)
}

/// Exchanges until both are silent; the number of messages is returned, and bounded.
fn exchange(server: &mut Server, c: &mut Connection, tablet: &mut Tablet, link: &mut Link) -> usize {
    let mut messages = 0;
    loop {
        let mut frames = Vec::new();
        for frame in link.generate(&tablet.docs) {
            messages += 1;
            frames.extend(server.take(c, &frame));
        }
        frames.extend(server.push(c));
        if frames.is_empty() {
            return messages;
        }
        for frame in frames {
            messages += 1;
            tablet.take(link, &frame);
        }
        assert!(messages < 50, "the exchange does not end");
    }
}

fn sync(server: &mut Server, tablet: &mut Tablet, peer: &str) -> Standing {
    let (mut link, mut c) = connected(server, tablet, peer);
    exchange(server, &mut c, tablet, &mut link);
    link.standing(&DOC, &tablet.docs)
}

/// A server with a job, and a tablet that has fetched it.
fn fetched() -> (Server, Tablet, EntryId) {
    let (record, house) = imported();
    let mut server = Server { doc: Some(record.automerge().clone()), ..Server::default() };
    let mut tablet = Tablet::new(inspector("okafor"), 1);
    let standing = sync(&mut server, &mut tablet, "okafor-1");
    assert!(standing.safe);
    (server, tablet, house)
}

#[test]
fn a_job_of_which_nothing_is_stored_is_fetched_and_stored_before_it_is_open() {
    let (record, _) = imported();
    let mut server = Server { doc: Some(record.automerge().clone()), ..Server::default() };
    let mut tablet = Tablet::new(inspector("okafor"), 1);
    let (mut link, mut c) = connected(&mut server, &mut tablet, "okafor-1");
    let asks = link.generate(&tablet.docs);
    assert!(matches!(wire::decode(&asks[0]).unwrap(), Message::Request(_)));
    let mut store = Vec::new();
    let mut answers = server.take(&mut c, &asks[0]);
    while let Some(frame) = answers.pop() {
        let received = link.receive(&frame, &mut tablet.docs);
        store.extend(received.store);
        assert!(tablet.docs.is_empty(), "not before it is stored");
        for ask in link.generate(&tablet.docs) {
            answers.extend(server.take(&mut c, &ask));
        }
    }
    assert_eq!(store.len(), 1);
    assert_eq!(link.settle(&mut tablet.docs), [DOC]);
    assert_eq!(Record::open(&store[0].1).unwrap().state(), record.state());
    assert_eq!(tablet.record().state(), record.state());
}

#[test]
fn work_is_safe_when_the_server_says_so_and_not_before() {
    let (mut server, mut tablet, house) = fetched();
    tablet.act(seen(&house, "storeys", "2"));
    let (mut link, mut c) = connected(&mut server, &mut tablet, "okafor-2");
    assert_eq!(link.standing(&DOC, &tablet.docs), Standing::default());
    let mut sent = link.generate(&tablet.docs);
    // The server names its heads while our change is on its way.
    let hello = server.push(&mut c).unwrap();
    tablet.take(&mut link, &hello);
    let standing = link.standing(&DOC, &tablet.docs);
    assert!(!standing.safe && !standing.server_heads.is_empty());
    sent.extend(link.generate(&tablet.docs));
    for frame in sent {
        for answer in server.take(&mut c, &frame) {
            tablet.take(&mut link, &answer);
        }
    }
    exchange(&mut server, &mut c, &mut tablet, &mut link);
    let standing = link.standing(&DOC, &tablet.docs);
    assert!(standing.safe);
    assert_eq!(standing.server_heads, tablet.record().heads());
    tablet.act(seen(&house, "storeys", "3"));
    assert!(!link.standing(&DOC, &tablet.docs).safe, "the new entry is only here");
}

#[test]
fn two_tablets_that_worked_apart_hold_the_same_and_both_values_stand() {
    let (mut server, mut one, house) = fetched();
    let mut two = Tablet::new(inspector("lindqvist"), 2);
    sync(&mut server, &mut two, "lindqvist-1");
    one.act(seen(&house, "storeys", "2"));
    two.act(seen(&house, "storeys", "3"));
    two.act(subject("room", "Bath", Some(&house)));
    for round in 0..2 {
        assert!(sync(&mut server, &mut one, &format!("one-{round}")).safe);
        assert!(sync(&mut server, &mut two, &format!("two-{round}")).safe);
    }
    assert_eq!(one.record().state(), two.record().state());
    assert_eq!(standing(one.record(), &house, "storeys"), ["2", "3"]);
    assert!(one.record().state().fact(&house, "storeys").unwrap().disagrees());
    one.check_store();
    two.check_store();
}

#[test]
fn a_server_that_holds_more_than_this_tablet_still_makes_its_work_safe() {
    let (mut server, mut one, house) = fetched();
    let mut two = Tablet::new(inspector("lindqvist"), 2);
    sync(&mut server, &mut two, "two");
    one.act(seen(&house, "storeys", "2"));
    let (mut link, mut c) = connected(&mut server, &mut one, "one");
    exchange(&mut server, &mut c, &mut one, &mut link);
    two.act(seen(&house, "storeys", "3"));
    sync(&mut server, &mut two, "two-again");
    // The news arrives and is not yet stored here.
    let news = server.push(&mut c).unwrap();
    link.receive(&news, &mut one.docs);
    let standing = link.standing(&DOC, &one.docs);
    assert!(standing.safe, "the heads it named cover ours");
    assert_ne!(standing.server_heads, one.record().heads());
}

#[test]
fn nothing_is_acknowledged_before_it_is_stored() {
    let (mut server, mut one, _) = fetched();
    let mut two = Tablet::new(inspector("lindqvist"), 2);
    sync(&mut server, &mut two, "two");
    let (mut link, mut c) = connected(&mut server, &mut one, "one");
    exchange(&mut server, &mut c, &mut one, &mut link);
    let house = two.record().state().order[0].clone();
    two.act(seen(&house, "storeys", "3"));
    sync(&mut server, &mut two, "two-again");
    let news = server.push(&mut c).unwrap();
    let before = one.record().heads();
    let received = link.receive(&news, &mut one.docs);
    assert_eq!(received.store.len(), 1);
    assert_eq!(one.record().heads(), before);
    assert!(link.generate(&one.docs).is_empty(), "no message while the arrival is not stored");
    link.settle(&mut one.docs);
    let acknowledged = link.generate(&one.docs);
    let Message::Sync(m) = wire::decode(&acknowledged[0]).unwrap() else { panic!() };
    let heads = sync::Message::decode(&m.data).unwrap().heads;
    assert_eq!(heads.iter().map(ToString::to_string).collect::<Vec<_>>(), one.record().heads());
}

#[test]
fn an_arrival_that_could_not_be_stored_comes_again() {
    let (mut server, mut one, house) = fetched();
    let mut two = Tablet::new(inspector("lindqvist"), 2);
    sync(&mut server, &mut two, "two");
    let (mut link, mut c) = connected(&mut server, &mut one, "one");
    exchange(&mut server, &mut c, &mut one, &mut link);
    two.act(seen(&house, "storeys", "3"));
    sync(&mut server, &mut two, "two-again");
    let news = server.push(&mut c).unwrap();
    assert_eq!(link.receive(&news, &mut one.docs).store.len(), 1);
    link.unsettle();
    assert_eq!(standing(one.record(), &house, "storeys"), [""; 0]);
    exchange(&mut server, &mut c, &mut one, &mut link);
    assert_eq!(standing(one.record(), &house, "storeys"), ["3"]);
    one.check_store();
}

/// An edit and an arrival are staged side by side; both orders of accepting lead to the same record.
#[test]
fn an_edit_and_an_arrival_staged_together_are_both_taken() {
    for edit_first in [true, false] {
        let (mut server, mut one, house) = fetched();
        let mut two = Tablet::new(inspector("lindqvist"), 2);
        sync(&mut server, &mut two, "two");
        let (mut link, mut c) = connected(&mut server, &mut one, "one");
        exchange(&mut server, &mut c, &mut one, &mut link);
        two.act(seen(&house, "storeys", "3"));
        sync(&mut server, &mut two, "two-again");
        let staged = one.record().stage(&[seen(&house, "storeys", "2")], AT).unwrap();
        let news = server.push(&mut c).unwrap();
        let received = link.receive(&news, &mut one.docs);
        one.stored.extend(&staged.bytes);
        one.stored.extend(&received.store[0].1);
        if edit_first {
            one.record().accept();
            link.settle(&mut one.docs);
        } else {
            link.settle(&mut one.docs);
            one.record().accept();
        }
        assert_eq!(standing(one.record(), &house, "storeys"), ["2", "3"]);
        one.check_store();
        exchange(&mut server, &mut c, &mut one, &mut link);
        assert!(link.standing(&DOC, &one.docs).safe);
    }
}

#[test]
fn refused_work_ends_the_exchange_stays_here_and_is_told() {
    let (mut server, mut one, house) = fetched();
    // The account lost its role while the tablet was away.
    one.act(seen(&house, "storeys", "2"));
    one.author = author("okafor", "clerk");
    let (mut link, mut c) = connected(&mut server, &mut one, "one");
    let messages = exchange(&mut server, &mut c, &mut one, &mut link);
    assert!(messages <= 8, "{messages}");
    let told = link.standing(&DOC, &one.docs);
    assert!(!told.safe);
    let sentence = told.refused.unwrap();
    assert!(sentence.starts_with("It is signed as OKAFOR of Alderfen (inspector), but"), "{sentence}");
    assert!(one.events.iter().any(|e| e.to_string() == sentence));
    assert_eq!(standing(one.record(), &house, "storeys"), ["2"]);
    // The work of others still comes.
    let mut two = Tablet::new(inspector("lindqvist"), 2);
    sync(&mut server, &mut two, "two");
    two.act(subject("room", "Bath", Some(&house)));
    assert!(sync(&mut server, &mut two, "two-again").safe);
    exchange(&mut server, &mut c, &mut one, &mut link);
    assert_eq!(one.record().state().subjects.len(), 2);
}

#[test]
fn a_job_the_server_does_not_give_stays_here_and_is_asked_for_again_only_when_told() {
    let (mut server, mut one, house) = fetched();
    let kept = server.doc.take();
    one.act(seen(&house, "storeys", "2"));
    let (mut link, mut c) = connected(&mut server, &mut one, "one");
    let messages = exchange(&mut server, &mut c, &mut one, &mut link);
    assert_eq!(messages, 2);
    let told = link.standing(&DOC, &one.docs);
    assert!(told.unavailable && !told.safe);
    assert_eq!(standing(one.record(), &house, "storeys"), ["2"]);
    // It is assigned meanwhile, and asked for again.
    server.doc = kept;
    link.follow(DOC);
    exchange(&mut server, &mut c, &mut one, &mut link);
    assert!(link.standing(&DOC, &one.docs).safe);
}

#[test]
fn a_reconnect_with_nothing_new_is_short() {
    let (mut server, mut one, _) = fetched();
    let (mut link, mut c) = connected(&mut server, &mut one, "one");
    assert!(exchange(&mut server, &mut c, &mut one, &mut link) <= 4);
    assert!(link.standing(&DOC, &one.docs).safe);
}

#[test]
fn what_spoils_entries_is_not_taken_and_the_work_here_still_goes_out() {
    let (mut server, mut one, house) = fetched();
    server.careless = true;
    let doc = server.doc.as_mut().unwrap();
    let entries = doc.get(automerge::ROOT, "entries").unwrap().unwrap().1;
    let mut tx = doc.transaction();
    tx.put(&entries, house.as_str(), "{}").unwrap();
    tx.commit();
    one.act(seen(&house, "storeys", "2"));
    let before = one.record().state().clone();
    let standing = sync(&mut server, &mut one, "one");
    assert_eq!(one.record().state(), &before);
    let trouble = standing.trouble.unwrap();
    assert_eq!(trouble, format!("It changes or deletes the entry {house}, and entries are only ever added."));
    assert!(standing.safe, "the server named heads that cover ours");
    one.check_store();
}

#[test]
fn a_document_that_is_not_a_job_is_not_taken() {
    let mut doc = Automerge::new();
    let mut tx = doc.transaction();
    tx.put(automerge::ROOT, "hello", "world").unwrap();
    tx.commit();
    let mut server = Server { doc: Some(doc), careless: true, ..Server::default() };
    let mut one = Tablet::new(inspector("okafor"), 1);
    let standing = sync(&mut server, &mut one, "one");
    assert_eq!(standing.trouble.as_deref(), Some("It is not a job record."));
    assert!(one.docs.is_empty() && one.stored.is_empty());
}

#[test]
fn nothing_is_sent_before_the_server_has_answered_and_early_frames_are_not_used() {
    let (record, _) = imported();
    let mut docs = BTreeMap::from([(DOC, record)]);
    let mut link = Link::new("one");
    link.follow(DOC);
    assert!(link.generate(&docs).is_empty());
    let early = Message::Sync(DocMessage {
        sender: "server".into(),
        target: "one".into(),
        document: DOC,
        data: vec![1],
    });
    let received = link.receive(&early.encode(), &mut docs);
    assert_eq!(
        received.events[0].to_string(),
        "A message of the server was not used: It came before the server's answer. \
         Nothing on this device was changed."
    );
}

#[test]
fn a_server_of_another_protocol_is_not_talked_to() {
    let mut link = Link::new("one");
    let (sender, target, metadata, version) =
        ("server".into(), "one".into(), PeerMetadata::default(), "2".into());
    let peer = Message::Peer { sender, target, metadata, version }.encode();
    link.receive(&peer, &mut BTreeMap::new());
    assert!(!link.is_connected());
}

/// A peer leaves a change out when its filter wrongly says that we have it, and sends what builds on it.
#[test]
fn a_change_that_arrives_before_the_one_it_builds_on_is_kept_for_it() {
    for fetched_before in [true, false] {
        let (mut server, mut one, house) = fetched();
        let mut work = tablet(&Record::from_automerge(server.doc.clone().unwrap()), "lindqvist", 2);
        act(&mut work, seen(&house, "storeys", "2"));
        act(&mut work, seen(&house, "storeys", "3"));
        let known = if fetched_before { one.record().automerge().get_heads() } else { Vec::new() };
        if !fetched_before {
            one.docs.clear();
        }
        let mut changes: Vec<Vec<u8>> =
            work.automerge().get_changes(&known).iter().map(|c| c.raw_bytes().to_vec()).collect();
        let last = changes.pop().unwrap();
        let (mut link, _) = connected(&mut server, &mut one, "one");
        let frame = |changes: Vec<Vec<u8>>| {
            let data = sync::Message {
                heads: work.automerge().get_heads(),
                need: vec![],
                have: vec![],
                changes: changes.into(),
                flags: None,
                version: sync::MessageVersion::V1,
            };
            let (sender, target, document) = ("server".into(), "one".into(), DOC);
            Message::Sync(DocMessage { sender, target, document, data: data.encode() }).encode()
        };
        assert_eq!(link.receive(&frame(vec![last]), &mut one.docs), Received::default());
        assert!(!link.generate(&one.docs).is_empty(), "it asks for what is missing");
        let received = link.receive(&frame(changes), &mut one.docs);
        let stored = if fetched_before {
            [one.stored.clone(), received.store[0].1.clone()].concat()
        } else {
            received.store[0].1.clone()
        };
        link.settle(&mut one.docs);
        assert_eq!(one.record().state(), work.state());
        assert_eq!(Record::open(&stored).unwrap().state(), work.state());
    }
}

/// What happens to a fleet of tablets.
#[derive(Debug, Clone)]
enum Step {
    /// A tablet records a fact: which subject, which fact, which value.
    Seen(usize, prop::sample::Index, u8, u8),
    Add(usize, prop::sample::Index),
    Strike(usize, prop::sample::Index),
    Connect(usize),
    /// Messages flow both ways on a tablet's connection, so many.
    Exchange(usize, usize),
    /// A frame arrives, storing it fails.
    FailToStore(usize),
    /// An edit is staged while a frame arrives; which of the two is accepted first.
    Together(usize, bool),
    /// The tab dies: memory is what is stored; the connection is gone.
    Crash(usize),
}

fn steps() -> impl Strategy<Value = Vec<Step>> {
    let tablet = 0..3usize;
    let index = any::<prop::sample::Index>;
    let step = prop_oneof![
        4 => (tablet.clone(), index(), 0..2u8, 0..3u8).prop_map(|(t, i, f, v)| Step::Seen(t, i, f, v)),
        2 => (tablet.clone(), index()).prop_map(|(t, i)| Step::Add(t, i)),
        1 => (tablet.clone(), index()).prop_map(|(t, i)| Step::Strike(t, i)),
        2 => tablet.clone().prop_map(Step::Connect),
        6 => (tablet.clone(), 1..5usize).prop_map(|(t, n)| Step::Exchange(t, n)),
        1 => tablet.clone().prop_map(Step::FailToStore),
        2 => (tablet.clone(), any::<bool>()).prop_map(|(t, first)| Step::Together(t, first)),
        1 => tablet.prop_map(Step::Crash),
    ];
    prop::collection::vec(step, 1..80)
}

struct Fleet {
    server: Server,
    tablets: Vec<Tablet>,
    links: Vec<Option<(Link, Connection)>>,
    session: u8,
    /// Every entry that was ever accepted on a tablet.
    accepted: Vec<EntryId>,
}

impl Fleet {
    fn new() -> Fleet {
        let (record, _) = imported();
        let mut server = Server { doc: Some(record.automerge().clone()), ..Server::default() };
        let mut tablets = Vec::new();
        for (n, user) in ["okafor", "lindqvist", "vale"].into_iter().enumerate() {
            let mut tablet = Tablet::new(inspector(user), n as u8);
            assert!(sync(&mut server, &mut tablet, user).safe);
            tablets.push(tablet);
        }
        Fleet { server, tablets, links: vec![None, None, None], session: 10, accepted: Vec::new() }
    }

    fn subject(&mut self, t: usize, i: &prop::sample::Index) -> EntryId {
        let order = &self.tablets[t].record().state().order;
        order[i.index(order.len())].clone()
    }

    fn connect(&mut self, t: usize) {
        self.session += 1;
        let peer = format!("{t}-{}", self.session);
        self.links[t] = Some(connected(&mut self.server, &mut self.tablets[t], &peer));
    }

    /// Sends what the tablet has to say; returns what the server answers.
    fn ask(&mut self, t: usize) -> Vec<Vec<u8>> {
        let Some((link, c)) = &mut self.links[t] else { return Vec::new() };
        let mut frames = Vec::new();
        for frame in link.generate(&self.tablets[t].docs) {
            frames.extend(self.server.take(c, &frame));
        }
        frames.extend(self.server.push(c));
        frames
    }

    fn step(&mut self, step: &Step) {
        match step {
            Step::Seen(t, i, fact, value) => {
                let edit = seen(&self.subject(*t, i), &format!("f{fact}"), &format!("{value} in"));
                let id = self.tablets[*t].act(edit);
                self.accepted.push(id);
            }
            Step::Add(t, i) => {
                let edit = subject("room", "Room", Some(&self.subject(*t, i)));
                let id = self.tablets[*t].act(edit);
                self.accepted.push(id);
            }
            Step::Strike(t, i) => {
                let edit = strike(&self.subject(*t, i), "struck");
                self.tablets[*t].act(edit);
            }
            Step::Connect(t) => self.connect(*t),
            Step::Exchange(t, n) => {
                for _ in 0..*n {
                    let frames = self.ask(*t);
                    let Some((link, _)) = &mut self.links[*t] else { return };
                    for frame in frames {
                        self.tablets[*t].take(link, &frame);
                    }
                }
            }
            Step::FailToStore(t) => {
                let frames = self.ask(*t);
                let Some((link, _)) = &mut self.links[*t] else { return };
                for frame in frames {
                    link.receive(&frame, &mut self.tablets[*t].docs);
                }
                link.unsettle();
            }
            Step::Together(t, edit_first) => {
                let frames = self.ask(*t);
                let house = self.tablets[*t].record().state().order[0].clone();
                let tablet = &mut self.tablets[*t];
                let staged = tablet.record().stage(&[seen(&house, "f0", "9 in")], AT).unwrap();
                let mut store = BTreeMap::new();
                if let Some((link, _)) = &mut self.links[*t] {
                    for frame in frames {
                        store.extend(link.receive(&frame, &mut tablet.docs).store);
                    }
                }
                tablet.stored.extend(&staged.bytes);
                store.values().for_each(|bytes| tablet.stored.extend(bytes));
                if *edit_first {
                    tablet.record().accept();
                }
                if let Some((link, _)) = &mut self.links[*t] {
                    link.settle(&mut tablet.docs);
                }
                tablet.record().accept();
                self.accepted.push(staged.ids[0].clone());
            }
            Step::Crash(t) => {
                self.links[*t] = None;
                self.session += 1;
                let tablet = &mut self.tablets[*t];
                tablet.n = self.session;
                let mut record = Record::open(&tablet.stored).unwrap();
                record.begin(tablet.author.clone(), actor(tablet.n));
                tablet.docs.insert(DOC, record);
            }
        }
        for tablet in &self.tablets {
            tablet.check_store();
        }
    }
}

proptest! {
    #![proptest_config(cases(24))]

    /// Crashes, failed stores, edits beside arrivals, connections that end in the middle: what a tablet accepted is in
    /// its store at every moment, and when all have met the server everybody holds everything.
    #[test]
    fn a_fleet_loses_nothing_and_ends_equal(steps in steps()) {
        let mut fleet = Fleet::new();
        for step in &steps {
            fleet.step(step);
        }
        for round in 0..2 {
            for t in 0..3 {
                fleet.connect(t);
                let (mut link, mut c) = fleet.links[t].take().unwrap();
                exchange(&mut fleet.server, &mut c, &mut fleet.tablets[t], &mut link);
                let standing = link.standing(&DOC, &fleet.tablets[t].docs);
                prop_assert!(standing.safe, "round {round}, tablet {t}: {standing:?}");
                prop_assert_eq!(standing.refused, None);
            }
        }
        let server = Record::from_automerge(fleet.server.doc.clone().unwrap());
        for tablet in &mut fleet.tablets {
            prop_assert_eq!(tablet.record().state(), server.state());
            tablet.check_store();
        }
        let state = server.state();
        prop_assert_eq!(&state.faults, &Vec::<String>::new());
        for id in &fleet.accepted {
            let kept = state.subjects.contains_key(id)
                || state.facts.values().any(|register| register.all().any(|s| s.id == *id));
            prop_assert!(kept, "{id} is lost");
        }
    }
}

proptest! {
    #![proptest_config(cases(32))]

    #[test]
    fn any_frame_is_answered_and_changes_nothing(
        frames in prop::collection::vec(prop::collection::vec(any::<u8>(), 0..300), 1..4),
    ) {
        let (record, _) = imported();
        let before = record.state().clone();
        let mut docs = BTreeMap::from([(DOC, record)]);
        let mut link = Link::new("one");
        link.follow(DOC);
        let (sender, target, metadata, version) =
            ("server".into(), "one".into(), PeerMetadata::default(), "1".into());
        link.receive(&Message::Peer { sender, target, metadata, version }.encode(), &mut docs);
        for data in frames {
            link.receive(&data, &mut docs);
            let (sender, target, document) = ("server".into(), "one".into(), DOC);
            let frame = Message::Sync(DocMessage { sender, target, document, data }).encode();
            let received = link.receive(&frame, &mut docs);
            prop_assert!(received.store.is_empty());
            link.settle(&mut docs);
            link.generate(&docs);
        }
        prop_assert_eq!(docs[&DOC].state(), &before);
    }
}
