//! The open documents of one session and their judgements.

use std::collections::{BTreeMap, BTreeSet};

use crownweir_engine::{
    Command, CommandError, Judgement, Law, LawError, Reading, Report, edits, judge, report,
    view::{FactHistory, JobView, NoticeView, PlacePage, ReadValue, ReasonPage},
};
use crownweir_record::link::{Link, Received, Standing};
use crownweir_record::{Author, DocumentId, OpenError, Record, StageError};
use crownweir_rules::SourceFile;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

/// Who works at this tablet, as the server said at sign-in.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[expect(missing_docs, reason = "as the server names them")]
pub struct Session {
    pub user: String,
    pub name: String,
    pub role: String,
    pub device: String,
}

/// Why the desk could not do what was asked. The text is for the person at the tablet.
#[derive(Debug, thiserror::Error)]
#[expect(missing_docs, reason = "each variant's sentence says what it is")]
pub enum DeskError {
    #[error("sign in first")]
    NoSession,
    #[error("the rulesets are not on this tablet yet: take the day's jobs along while there is a network")]
    NoLaw,
    #[error("{0}")]
    Law(#[from] LawError),
    #[error("`{0}` is not a document id")]
    NotAnId(String),
    #[error("this job is not on this tablet: take it along while there is a network")]
    NotOpen,
    #[error("{0}")]
    Open(#[from] OpenError),
    #[error("{0}; nothing was written")]
    Command(#[from] CommandError),
    #[error("{0}; nothing was written")]
    Stage(#[from] StageError),
    #[error("the page asked for something this version does not know ({0}): reload it")]
    Page(serde_json::Error),
    #[error("there is no such {0} in this job")]
    Missing(&'static str),
    #[error("{0}")]
    Value(String),
    #[error("this job can only be read here: {0}")]
    ReadOnly(String),
}

struct Judged {
    heads: Vec<String>,
    judgement: Judgement,
}

/// Everything one page load holds.
#[derive(Default)]
pub struct Desk {
    law: Option<Law>,
    session: Option<(Author, [u8; 32])>,
    records: BTreeMap<DocumentId, Record>,
    /// Judged at these heads; dropped as soon as they move.
    judged: BTreeMap<DocumentId, Judged>,
    /// Documents that have their session of this page load.
    begun: BTreeSet<DocumentId>,
    link: Option<Link>,
    staged: BTreeMap<DocumentId, Vec<u8>>,
    wanted: Vec<DocumentId>,
}

impl Desk {
    /// Loads the rulesets that the server handed out.
    ///
    /// # Errors
    /// When they do not load; the rulesets loaded before stay in use.
    pub fn load_rulesets(&mut self, files: &[SourceFile]) -> Result<(), DeskError> {
        self.law = Some(Law::load(files)?);
        self.judged.clear();
        Ok(())
    }

    /// Begins a session. `random` is at least 16 fresh random bytes: a reused actor id makes work that can never merge.
    pub fn begin(&mut self, session: Session, random: &[u8]) {
        let Session { user, name, role, device } = session;
        let seed: [u8; 32] = Sha256::digest(random).into();
        self.session = Some((Author { user, name, role, device }, seed));
        self.begun.clear();
        self.begin_new();
    }

    /// Opens a document from its stored chunks, in any order.
    ///
    /// # Errors
    /// When the chunks do not make a job record; nothing is dropped, the worker keeps the bytes.
    pub fn open(&mut self, doc: &str, chunks: &[u8]) -> Result<(), DeskError> {
        let id = id(doc)?;
        self.records.insert(id, Record::open(chunks)?);
        self.judged.remove(&id);
        self.begun.remove(&id);
        self.begin_new();
        if let Some(link) = &mut self.link {
            link.follow(id);
        }
        Ok(())
    }

    /// Ids of the open documents.
    pub fn docs(&self) -> Vec<String> {
        self.records.keys().map(ToString::to_string).collect()
    }

    /// Whether the document is open.
    pub fn is_open(&self, doc: &str) -> bool {
        id(doc).is_ok_and(|id| self.records.contains_key(&id))
    }

    /// Lets a document go from memory; its stored chunks stay with the worker.
    pub fn close(&mut self, doc: &str) {
        if let Ok(id) = id(doc) {
            self.records.remove(&id);
            self.judged.remove(&id);
        }
    }

    /// Stages a person's act and returns the chunk to store.
    ///
    /// # Errors
    /// What is wrong with it; nothing is staged then.
    pub fn propose(&mut self, doc: &str, command: &str, now_ms: i64) -> Result<Vec<u8>, DeskError> {
        let command: Command = serde_json::from_str(command).map_err(DeskError::Page)?;
        if self.session.is_none() {
            return Err(DeskError::NoSession);
        }
        let id = id(doc)?;
        self.judge(&id)?;
        let law = self.law.as_ref().ok_or(DeskError::NoLaw)?;
        let record = self.records.get_mut(&id).ok_or(DeskError::NotOpen)?;
        if let Some(why) = record.read_only() {
            return Err(DeskError::ReadOnly(why.to_owned()));
        }
        let judged = &self.judged[&id];
        let edits = edits(&command, record.state(), law, &judged.judgement, &judged.heads)?;
        Ok(record.stage(&edits, now_ms)?.bytes)
    }

    /// Swaps in what was proposed: call it when the chunk is on disk.
    pub fn accept(&mut self, doc: &str) -> Result<(), DeskError> {
        let id = id(doc)?;
        self.records.get_mut(&id).ok_or(DeskError::NotOpen)?.accept();
        self.judged.remove(&id);
        Ok(())
    }

    /// Drops what was proposed: call it when the chunk could not be stored.
    pub fn discard(&mut self, doc: &str) -> Result<(), DeskError> {
        self.records.get_mut(&id(doc)?).ok_or(DeskError::NotOpen)?.discard();
        Ok(())
    }

    /// The whole document as one chunk, for compaction.
    pub fn snapshot(&mut self, doc: &str) -> Result<Vec<u8>, DeskError> {
        Ok(self.records.get_mut(&id(doc)?).ok_or(DeskError::NotOpen)?.save())
    }

    /// The job's first screen.
    pub fn job(&mut self, doc: &str) -> Result<JobView, DeskError> {
        self.read(doc, |reading, record| Ok(reading.job(doc, record.read_only())))
    }

    /// One place.
    pub fn place(&mut self, doc: &str, place: &str) -> Result<PlacePage, DeskError> {
        let place = place.parse().map_err(|_| DeskError::Missing("place"))?;
        self.read(doc, |reading, _| reading.place(&place).ok_or(DeskError::Missing("place")))
    }

    /// The reason of one verdict.
    pub fn reason(&mut self, doc: &str, provision: &str, subject: &str) -> Result<ReasonPage, DeskError> {
        let subject = subject.parse().map_err(|_| DeskError::Missing("subject"))?;
        self.read(doc, |reading, _| reading.reason(provision, &subject).ok_or(DeskError::Missing("verdict")))
    }

    /// The notice as it stands.
    pub fn notice(&mut self, doc: &str) -> Result<NoticeView, DeskError> {
        self.read(doc, |reading, _| Ok(reading.notice()))
    }

    /// Everything ever recorded of one fact.
    pub fn fact_history(&mut self, doc: &str, subject: &str, fact: &str) -> Result<FactHistory, DeskError> {
        let subject = subject.parse().map_err(|_| DeskError::Missing("subject"))?;
        self.read(doc, |reading, _| Ok(reading.fact_history(&subject, fact)))
    }

    /// What a typed value is taken for.
    pub fn read_value(&mut self, doc: &str, fact: &str, typed: &str) -> Result<ReadValue, DeskError> {
        self.read(doc, |reading, _| reading.read_value(fact, typed).map_err(DeskError::Value))
    }

    /// Every verdict with its reasons, as `crownweir assess` prints it.
    pub fn report(&mut self, doc: &str) -> Result<Report, DeskError> {
        let id = id(doc)?;
        self.judge(&id)?;
        let law = self.law.as_ref().ok_or(DeskError::NoLaw)?;
        let record = self.records.get(&id).ok_or(DeskError::NotOpen)?;
        report(law, record.state(), &self.judged[&id].judgement).map_err(DeskError::Value)
    }

    /// Photos that the record refers to and that are not struck: (SHA-256, bytes).
    pub fn photos(&self, doc: &str) -> Result<Vec<(String, u64)>, DeskError> {
        let record = self.records.get(&id(doc)?).ok_or(DeskError::NotOpen)?;
        Ok(record.state().wanted_photos().into_iter().map(|(sha, bytes)| (sha.to_owned(), bytes)).collect())
    }

    fn read<T>(
        &mut self,
        doc: &str,
        draw: impl FnOnce(&Reading<'_>, &Record) -> Result<T, DeskError>,
    ) -> Result<T, DeskError> {
        let id = id(doc)?;
        self.judge(&id)?;
        let law = self.law.as_ref().ok_or(DeskError::NoLaw)?;
        let record = self.records.get(&id).ok_or(DeskError::NotOpen)?;
        draw(&Reading::new(law, record.state(), &self.judged[&id].judgement), record)
    }

    /// Judges a document anew if its heads moved.
    fn judge(&mut self, id: &DocumentId) -> Result<(), DeskError> {
        let law = self.law.as_ref().ok_or(DeskError::NoLaw)?;
        let record = self.records.get(id).ok_or(DeskError::NotOpen)?;
        let heads = record.heads();
        if self.judged.get(id).is_none_or(|judged| judged.heads != heads) {
            self.judged.insert(*id, Judged { heads, judgement: judge(record.state(), law) });
        }
        Ok(())
    }

    /// Gives every record that has none its session, with an actor of its own per document and page load.
    fn begin_new(&mut self) {
        let Some((author, seed)) = &self.session else { return };
        for (doc, record) in &mut self.records {
            if self.begun.insert(*doc) {
                let digest = Sha256::new_with_prefix(seed).chain_update(doc.to_string()).finalize();
                let mut actor = [0; 16];
                actor.copy_from_slice(&digest[..16]);
                record.begin(author.clone(), actor);
            }
        }
    }

    // --- sync ---

    /// Begins a connection: the first frame. Every open or wanted document is followed.
    pub fn link_open(&mut self, peer_id: &str) -> Vec<u8> {
        let mut link = Link::new(peer_id.to_owned());
        for doc in self.records.keys().chain(&self.wanted) {
            link.follow(*doc);
        }
        let join = link.join();
        self.link = Some(link);
        join
    }

    /// Asks for a document of which nothing is stored yet.
    pub fn link_follow(&mut self, doc: &str) -> Result<(), DeskError> {
        let id = id(doc)?;
        if !self.wanted.contains(&id) {
            self.wanted.push(id);
        }
        if let Some(link) = &mut self.link {
            link.follow(id);
        }
        Ok(())
    }

    /// Takes a frame in. What it brings is staged; [`Desk::staged`] has the bytes to store for each document named.
    pub fn link_receive(&mut self, frame: &[u8]) -> Result<ReceivedView, DeskError> {
        let Some(link) = &mut self.link else { return Ok(ReceivedView::default()) };
        let Received { store, events } = link.receive(frame, &mut self.records);
        let docs = store.iter().map(|(doc, _)| doc.to_string()).collect();
        self.staged.extend(store);
        Ok(ReceivedView { store: docs, events: events.iter().map(ToString::to_string).collect() })
    }

    /// The bytes to store for a document named by [`Desk::link_receive`].
    pub fn staged(&self, doc: &str) -> Result<Vec<u8>, DeskError> {
        Ok(self.staged.get(&id(doc)?).cloned().unwrap_or_default())
    }

    /// Accepts all that is staged: call it when the bytes are on disk.
    pub fn link_settle(&mut self) {
        self.staged.clear();
        if let Some(link) = &mut self.link {
            link.settle(&mut self.records);
        }
        self.begin_new();
    }

    /// The frames to send now.
    pub fn link_send(&mut self) -> Vec<Vec<u8>> {
        self.link.as_mut().map(|link| link.generate(&self.records)).unwrap_or_default()
    }

    /// The connection is gone.
    pub fn link_close(&mut self) {
        self.link = None;
        self.staged.clear();
    }

    /// How a document stands with the server.
    pub fn standing(&self, doc: &str) -> Result<Option<Standing>, DeskError> {
        let id = id(doc)?;
        Ok(self.link.as_ref().map(|link| link.standing(&id, &self.records)))
    }
}

/// What a frame brought.
#[derive(Debug, Default, Serialize)]
pub struct ReceivedView {
    /// Documents with bytes to store now.
    pub store: Vec<String>,
    /// Sentences for the log or the screen.
    pub events: Vec<String>,
}

fn id(doc: &str) -> Result<DocumentId, DeskError> {
    doc.parse().map_err(|_| DeskError::NotAnId(doc.to_owned()))
}
