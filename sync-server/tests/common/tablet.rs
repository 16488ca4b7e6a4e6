//! A client of the server's WebSocket: automerge-repo's protocol over a real socket.

use std::collections::BTreeMap;
use std::time::Duration;

use automerge::sync::{Message as SyncMessage, State, SyncDoc};
use automerge::{Automerge, ChangeHash};
use crownweir_record::wire::{DocMessage, Message, PeerMetadata, Refused};
use crownweir_record::{Author, DocumentId, Edit, Record};
use futures_util::{SinkExt, StreamExt};
use tokio::net::TcpStream;
use tokio_tungstenite::tungstenite::client::IntoClientRequest;
use tokio_tungstenite::tungstenite::{self, protocol::frame::coding::CloseCode};
use tokio_tungstenite::{MaybeTlsStream, WebSocketStream};

/// Long enough that only a fault reaches it.
const PATIENCE: Duration = Duration::from_secs(30);

pub struct Tablet {
    pub name: String,
    pub docs: BTreeMap<DocumentId, (Automerge, State)>,
    pub refused: Vec<Refused>,
    pub unavailable: Vec<DocumentId>,
    pub closed: Option<(u16, String)>,
    socket: WebSocketStream<MaybeTlsStream<TcpStream>>,
}

impl Tablet {
    /// Connects and joins.
    pub async fn join(address: std::net::SocketAddr, cookie: &str, name: &str, ours: bool) -> Tablet {
        let mut tablet = Tablet::connect(address, cookie, name).await;
        tablet.say_join(ours).await;
        assert!(matches!(tablet.next().await, Some(Message::Peer { .. })), "no welcome");
        tablet
    }

    pub async fn connect(address: std::net::SocketAddr, cookie: &str, name: &str) -> Tablet {
        let mut request = format!("ws://{address}/ws").into_client_request().expect("a request");
        if !cookie.is_empty() {
            request.headers_mut().insert("cookie", cookie.parse().expect("a cookie"));
        }
        let (socket, _) = tokio_tungstenite::connect_async(request).await.expect("a connection");
        Tablet {
            name: name.into(),
            docs: BTreeMap::new(),
            refused: vec![],
            unavailable: vec![],
            closed: None,
            socket,
        }
    }

    pub async fn say_join(&mut self, ours: bool) {
        let metadata = PeerMetadata { crownweir: ours, ..PeerMetadata::default() };
        let join = Message::Join { sender: self.name.clone(), metadata, versions: vec!["1".into()] };
        self.say(join.encode()).await;
    }

    /// As [`Tablet::join`] for a server that may die meanwhile.
    pub async fn try_join(&mut self) -> Option<()> {
        let metadata = PeerMetadata { crownweir: true, ..PeerMetadata::default() };
        let join = Message::Join { sender: self.name.clone(), metadata, versions: vec!["1".into()] };
        self.try_say(join.encode()).await?;
        self.next().await.map(drop)
    }

    /// As [`Tablet::push`] for a server that may die meanwhile.
    pub async fn try_push(&mut self, doc: DocumentId, asks: bool) -> Option<()> {
        match self.pending_frame(doc, asks) {
            Some(frame) => self.try_say(frame).await,
            None => Some(()),
        }
    }

    /// As [`Tablet::step`] for a server that may die meanwhile.
    pub async fn step_quietly(&mut self) -> bool {
        match self.next().await {
            None => false,
            Some(message) => match self.take(message) {
                Some(doc) => self.try_push(doc, false).await.is_some(),
                None => true,
            },
        }
    }

    /// As [`Tablet::say`] for a server that may hang up.
    pub async fn try_say(&mut self, frame: Vec<u8>) -> Option<()> {
        self.socket.send(tungstenite::Message::Binary(frame.into())).await.ok()
    }

    pub async fn say(&mut self, frame: Vec<u8>) {
        self.socket.send(tungstenite::Message::Binary(frame.into())).await.expect("sent");
    }

    /// The next message; `None` once the socket is closed.
    pub async fn next(&mut self) -> Option<Message> {
        // Pings go on for ever, so the patience is with the whole wait and not with each frame.
        tokio::time::timeout(PATIENCE, self.next_frame()).await.expect("the server says something")
    }

    async fn next_frame(&mut self) -> Option<Message> {
        loop {
            match self.socket.next().await {
                Some(Ok(tungstenite::Message::Binary(b))) => {
                    return Some(crownweir_record::wire::decode(&b).expect("a message"));
                }
                Some(Ok(tungstenite::Message::Close(why))) => {
                    self.closed = why.map(|f| (CloseCode::into(f.code), f.reason.to_string()));
                    return None;
                }
                Some(Ok(_)) => {}
                Some(Err(_)) | None => return None,
            }
        }
    }

    /// Starts following a document, with what is there already.
    pub async fn follow(&mut self, doc: DocumentId, mine: Automerge) {
        let fresh = mine.is_empty();
        self.docs.insert(doc, (mine, State::new()));
        self.push(doc, fresh).await;
    }

    /// Sends what there is to send.
    pub async fn push(&mut self, doc: DocumentId, asks: bool) {
        if let Some(frame) = self.pending_frame(doc, asks) {
            self.say(frame).await;
        }
    }

    fn pending_frame(&mut self, doc: DocumentId, asks: bool) -> Option<Vec<u8>> {
        let (mine, state) = self.docs.get_mut(&doc).expect("followed");
        let m = mine.generate_sync_message(state)?;
        let m = DocMessage {
            sender: self.name.clone(),
            target: "crownweir-server".into(),
            document: doc,
            data: m.encode(),
        };
        Some(if asks { Message::Request(m).encode() } else { Message::Sync(m).encode() })
    }

    /// Takes one message and answers it. `false` once the socket is closed.
    pub async fn step(&mut self) -> bool {
        let Some(message) = self.next().await else { return false };
        if let Some(doc) = self.take(message) {
            self.push(doc, false).await;
        }
        true
    }

    /// Takes a message; the document to answer about, if it is a step of an exchange.
    fn take(&mut self, message: Message) -> Option<DocumentId> {
        match message {
            Message::Sync(m) | Message::Request(m) => {
                let (mine, state) = self.docs.get_mut(&m.document).expect("only what was named");
                let data = SyncMessage::decode(&m.data).expect("a sync message");
                mine.receive_sync_message(state, data).expect("received");
                return Some(m.document);
            }
            Message::Refused(r) => self.refused.push(r),
            Message::DocUnavailable { document, .. } => self.unavailable.push(document),
            _ => {}
        }
        None
    }

    /// What the server last said it has.
    pub fn acknowledged(&self, doc: DocumentId) -> Vec<ChangeHash> {
        self.docs[&doc].1.their_heads.clone().unwrap_or_default()
    }

    /// Whether the server said that it has everything of ours.
    pub fn safe(&self, doc: DocumentId) -> bool {
        let mut ours = self.docs[&doc].0.get_heads();
        let mut theirs = self.acknowledged(doc);
        ours.sort();
        theirs.sort();
        !ours.is_empty() && ours == theirs
    }

    /// Steps until a condition holds.
    pub async fn until(&mut self, what: &str, holds: impl Fn(&Tablet) -> bool) {
        while !holds(self) {
            assert!(self.step().await, "closed ({:?}) before: {what}", self.closed);
        }
    }

    pub async fn until_safe(&mut self, doc: DocumentId) {
        self.until("everything is on the server", |t| t.safe(doc)).await;
    }

    pub async fn until_closed(&mut self) -> (u16, String) {
        while self.step().await {}
        self.closed.clone().expect("a close frame")
    }

    /// Writes as a person does, under an actor of its own.
    pub fn edit(&mut self, doc: DocumentId, author: &Author, actor: [u8; 16], edits: &[Edit]) {
        let (mine, _) = self.docs.get_mut(&doc).expect("followed");
        *mine = edited(mine.clone(), author, actor, edits);
    }
}

pub fn edited(doc: Automerge, author: &Author, actor: [u8; 16], edits: &[Edit]) -> Automerge {
    let mut record = Record::from_automerge(doc);
    record.begin(author.clone(), actor);
    record.stage(edits, 1_780_000_000_000).expect("staged");
    record.accept();
    record.automerge().clone()
}

pub fn author(user: &str) -> Author {
    let a = sync_server::demo::ACCOUNTS.iter().find(|a| a.user == user).expect("a demo account");
    Author { user: a.user.into(), name: a.name.into(), role: a.role.into(), device: "bench".into() }
}

pub fn actor(n: u8) -> [u8; 16] {
    [n; 16]
}

pub fn words(text: &str) -> Edit {
    Edit::Words { text: text.into(), provision: None, subject: None }
}
