//! What the entries of a record say.
//!
//! Entries are taken in causal order: by the operation counter that Automerge gives them (larger than every counter
//! its author had seen), then by actor. That order is the same on every device that holds the same entries, no
//! clock takes part in it, and an entry can only refer to one before it, so that no cycle can arise.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use crate::author::Author;
use crate::entry::{Body, Entry, Hindrance, How, JobHeader, Visit};
use crate::entry_id::EntryId;

/// A value with who set it and when.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stamped<T> {
    /// The entry that set it.
    pub id: EntryId,
    /// Who wrote the entry.
    pub who: Arc<Author>,
    /// When, by the device's clock, in ms since 1970. For showing, never for deciding.
    pub at_ms: i64,
    /// The value.
    pub value: T,
    /// The entries that its author saw standing and replaced.
    pub after: Vec<EntryId>,
}

/// Whether two values that stand together say the same.
pub trait Agree {
    /// True when nobody has to decide between the two.
    fn agrees(&self, other: &Self) -> bool;
}

macro_rules! agree_when_equal {
    ($($type:ty),*) => {$(impl Agree for $type {
        fn agrees(&self, other: &Self) -> bool { self == other }
    })*};
}
agree_when_equal!(String, bool, JobHeader, Visit, Hinder);

/// Everything ever set for one target: what stands and what was replaced, both in causal order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Register<T> {
    /// Set and not replaced. Two or more when people set it without having seen one another's value.
    pub standing: Vec<Stamped<T>>,
    /// Replaced by somebody who saw it.
    pub earlier: Vec<Stamped<T>>,
}

impl<T> Default for Register<T> {
    fn default() -> Self {
        Register { standing: Vec::new(), earlier: Vec::new() }
    }
}

impl<T> Register<T> {
    /// The ids of what stands: what a deciding entry names.
    pub fn standing_ids(&self) -> Vec<EntryId> {
        self.standing.iter().map(|s| s.id.clone()).collect()
    }

    /// Everything ever set, in causal order within what was replaced and within what stands.
    pub fn all(&self) -> impl Iterator<Item = &Stamped<T>> {
        self.earlier.iter().chain(&self.standing)
    }

    fn set(&mut self, stamped: Stamped<T>) {
        let (replaced, kept) = std::mem::take(&mut self.standing)
            .into_iter()
            .partition::<Vec<_>, _>(|s| stamped.after.contains(&s.id));
        self.standing = kept;
        self.earlier.extend(replaced);
        self.standing.push(stamped);
    }
}

impl<T: Agree> Register<T> {
    /// Whether values stand that differ, so that somebody who has seen them has to decide.
    pub fn disagrees(&self) -> bool {
        self.standing.windows(2).any(|pair| !pair[0].value.agrees(&pair[1].value))
    }

    /// The value, when one stands or all that stand agree: the first of them.
    pub fn agreed(&self) -> Option<&Stamped<T>> {
        if self.disagrees() { None } else { self.standing.first() }
    }

    /// The standing values without repetitions, each with the first who set it.
    pub fn distinct(&self) -> Vec<&Stamped<T>> {
        let mut distinct: Vec<&Stamped<T>> = Vec::new();
        for stamped in &self.standing {
            if !distinct.iter().any(|seen| seen.value.agrees(&stamped.value)) {
                distinct.push(stamped);
            }
        }
        distinct
    }
}

/// One observation of a fact.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Observation {
    /// The canonical literal; `None`: said to be unknown after all.
    pub value: Option<String>,
    /// How it is known.
    pub how: How,
    /// Words of the observer.
    pub note: String,
}

impl Agree for Observation {
    /// Two people who found the same value agree, however they found it.
    fn agrees(&self, other: &Self) -> bool {
        self.value == other.value
    }
}

/// What hindered a visit; an empty reason takes it back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Hinder {
    /// What hindered it.
    pub what: Hindrance,
    /// The reason.
    pub why: String,
}

/// A session: one person at one device with one page load.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Session {
    /// The session's entry.
    pub id: EntryId,
    /// Who.
    pub who: Arc<Author>,
    /// The whole actor id in hex.
    pub actor: String,
    /// When it began, by the device's clock.
    pub at_ms: i64,
}

/// A statement that an entry is no longer to be considered, or, of a strike, that it is considered again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Strike {
    /// The striking entry.
    pub id: EntryId,
    /// Who struck.
    pub who: Arc<Author>,
    /// When, by the device's clock.
    pub at_ms: i64,
    /// What is struck.
    pub of: EntryId,
    /// Why.
    pub why: String,
    /// False when the strike itself has been struck, which is how it is taken back.
    pub stands: bool,
}

/// A place, fixture, appliance, device or piping run.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Subject {
    /// The entry that added it: its id in all others.
    pub id: EntryId,
    /// Who added it.
    pub who: Arc<Author>,
    /// When, by the device's clock.
    pub at_ms: i64,
    /// A word of the vocabulary.
    pub kind: String,
    /// What people call it. The first name is set by the adding entry.
    pub name: Register<String>,
    /// What it stands in; it was added before.
    pub parent: Option<EntryId>,
    /// The subject it was copied from.
    pub copied_from: Option<EntryId>,
    /// The first strike that stands. [`JobState::strikes_of`] lists all.
    pub struck: Option<Strike>,
}

impl Subject {
    /// What to call it: the first standing name.
    pub fn called(&self) -> &str {
        self.name.standing.first().map_or("", |s| s.value.as_str())
    }
}

/// A reference to a photo.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Photo {
    /// The entry.
    pub id: EntryId,
    /// Who took it.
    pub who: Arc<Author>,
    /// When, by the device's clock.
    pub at_ms: i64,
    /// What it shows.
    pub subject: EntryId,
    /// SHA-256 of the file in hex.
    pub sha256: String,
    /// Size of the file in bytes.
    pub bytes: u64,
    /// What to see on it.
    pub caption: String,
    /// The first strike that stands.
    pub struck: Option<Strike>,
}

/// Words for the notice.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Words {
    /// The entry.
    pub id: EntryId,
    /// Who wrote them.
    pub who: Arc<Author>,
    /// When, by the device's clock.
    pub at_ms: i64,
    /// The words.
    pub text: String,
    /// The provision of the correction they belong to.
    pub provision: Option<String>,
    /// The subject of the correction they belong to.
    pub subject: Option<EntryId>,
    /// The first strike that stands.
    pub struck: Option<Strike>,
}

/// A notice that was handed over.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Notice {
    /// The entry.
    pub id: EntryId,
    /// Who handed it over.
    pub who: Arc<Author>,
    /// When, by the device's clock.
    pub at_ms: i64,
    /// The visit it concludes.
    pub visit: EntryId,
    /// What it says.
    pub disposition: String,
    /// The heads of the record it was drawn from.
    pub heads: Vec<String>,
    /// SHA-256 of the ruleset it was drawn with.
    pub digest: String,
    /// Who took it.
    pub received_by: String,
}

/// What a record says, in full: a function of its entries alone.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct JobState {
    /// The number of the document's shape; 0 while nothing has arrived.
    pub schema: u64,
    /// What identifies the job.
    pub header: Register<JobHeader>,
    /// The open visit.
    pub visit: Register<Visit>,
    /// Every visit, in causal order.
    pub visits: Vec<Stamped<Visit>>,
    /// Every subject, struck ones too.
    pub subjects: BTreeMap<EntryId, Subject>,
    /// The subjects in the order they were added; what stands in another comes after it.
    pub order: Vec<EntryId>,
    /// What is known, by subject and fact.
    pub facts: BTreeMap<(EntryId, String), Register<Observation>>,
    /// "That is all of them", by subject and kind.
    pub closings: BTreeMap<(EntryId, String), Register<bool>>,
    /// Every photo, in causal order, struck ones too.
    pub photos: Vec<Photo>,
    /// All words, in causal order, struck ones too.
    pub words: Vec<Words>,
    /// What hindered a visit, by visit.
    pub hinders: BTreeMap<EntryId, Register<Hinder>>,
    /// Why a place was left out of a visit, by visit and place; an empty reason takes it back.
    pub open_places: BTreeMap<(EntryId, EntryId), Register<String>>,
    /// Every notice, in causal order.
    pub notices: Vec<Notice>,
    /// Every strike, in causal order, those taken back too.
    pub strikes: Vec<Strike>,
    /// Every session, by the prefix of its entries.
    pub sessions: BTreeMap<String, Session>,
    /// Entries that were skipped, and why, and changes that wait for others; sentences for a person. Those of entries
    /// are equal wherever the heads are.
    pub faults: Vec<String>,
    /// How many changes wait for others that have not arrived.
    pub waiting: usize,
    /// How many entries were taken.
    pub taken: usize,
}

/// Causal order of entries.
pub(crate) type Order = (u64, Vec<u8>);

impl JobState {
    /// What is known of a fact of a subject.
    pub fn fact(&self, subject: &EntryId, fact: &str) -> Option<&Register<Observation>> {
        self.facts.get(&(subject.clone(), fact.to_owned()))
    }

    /// Whether everything of a kind within a subject is said to be listed.
    pub fn closing(&self, subject: &EntryId, kind: &str) -> Option<&Register<bool>> {
        self.closings.get(&(subject.clone(), kind.to_owned()))
    }

    /// All strikes of an entry, those taken back too, in causal order.
    pub fn strikes_of<'a>(&'a self, of: &'a EntryId) -> impl Iterator<Item = &'a Strike> {
        self.strikes.iter().filter(move |s| &s.of == of)
    }

    /// Whether a subject, or anything it stands in, is struck.
    pub fn is_struck(&self, subject: &EntryId) -> bool {
        let mut at = Some(subject);
        while let Some(found) = at.and_then(|id| self.subjects.get(id)) {
            if found.struck.is_some() {
                return true;
            }
            // A parent was always added before its child, so this ends.
            at = found.parent.as_ref();
        }
        false
    }

    /// What identifies the job. When two changed it without seeing one another, the first; [`JobState::header`] has all.
    pub fn job(&self) -> Option<&JobHeader> {
        self.header.standing.first().map(|s| &s.value)
    }

    /// The open visit. When two were opened at once, the first; [`JobState::visit`] has all.
    pub fn open_visit(&self) -> Option<&Stamped<Visit>> {
        self.visit.standing.first()
    }

    /// SHA-256 and size of every photo that is referred to and not struck, each once, in causal order.
    pub fn wanted_photos(&self) -> Vec<(&str, u64)> {
        let mut named = BTreeSet::new();
        self.photos
            .iter()
            .filter(|p| p.struck.is_none() && named.insert(p.sha256.as_str()))
            .map(|p| (p.sha256.as_str(), p.bytes))
            .collect()
    }

    /// Takes the next entry in causal order.
    pub(crate) fn take(&mut self, id: &EntryId, actor: &str, entry: &Entry) {
        match self.place(id, actor, entry) {
            Ok(()) => self.taken += 1,
            Err(why) => self.skip(id.as_str(), &why),
        }
    }

    /// Notes an entry that could not be read.
    pub(crate) fn skip(&mut self, key: &str, why: &str) {
        let shown: String = key.chars().take(60).collect();
        self.faults.push(format!("Entry {shown} was left out, and kept: {why}."));
    }

    /// Notes how many changes wait for others.
    pub(crate) fn note_waiting(&mut self, waiting: usize) {
        if self.waiting > 0 {
            self.faults.pop();
        }
        self.waiting = waiting;
        if waiting > 0 {
            self.faults.push(format!(
                "{waiting} later changes are kept but not shown: they build on one that has not arrived. Connect to \
                 fetch it."
            ));
        }
    }

    fn place(&mut self, id: &EntryId, actor: &str, entry: &Entry) -> Result<(), String> {
        if let Body::Session(body) = &entry.body {
            return self.begin_session(id, actor, entry.at_ms, body);
        }
        let Some(session) = self.sessions.get(id.prefix()) else {
            return Err("nobody has signed in under its name".to_owned());
        };
        let (who, at_ms) = (Arc::clone(&session.who), entry.at_ms);
        let stamp = |after: &[EntryId]| (id.clone(), Arc::clone(&who), at_ms, after.to_vec());
        match &entry.body {
            Body::Session(_) => {}
            Body::Job(b) => self.header.set(stamped(stamp(&b.after), b.header.clone())),
            Body::Visit(b) => {
                self.visits.push(stamped(stamp(&b.after), b.visit.clone()));
                self.visit.set(stamped(stamp(&b.after), b.visit.clone()));
            }
            Body::Subject(b) => {
                if let Some(parent) = &b.parent {
                    self.known_subject(parent)?;
                }
                let mut name = Register::default();
                name.set(stamped(stamp(&[]), b.name.clone()));
                let subject = Subject {
                    id: id.clone(),
                    who,
                    at_ms,
                    kind: b.kind.clone(),
                    name,
                    parent: b.parent.clone(),
                    copied_from: b.copied_from.clone(),
                    struck: None,
                };
                self.subjects.insert(id.clone(), subject);
                self.order.push(id.clone());
            }
            Body::Name(b) => {
                self.known_subject(&b.of)?;
                if let Some(subject) = self.subjects.get_mut(&b.of) {
                    subject.name.set(stamped(stamp(&b.after), b.name.clone()));
                }
            }
            Body::Strike(b) => {
                let known = self.subjects.contains_key(&b.of)
                    || self.photos.iter().any(|p| p.id == b.of)
                    || self.words.iter().any(|w| w.id == b.of)
                    || self.strikes.iter().any(|s| s.id == b.of);
                if !known {
                    return Err(format!(
                        "it strikes {}, which cannot be struck or is not in this record",
                        b.of
                    ));
                }
                let strike =
                    Strike { id: id.clone(), who, at_ms, of: b.of.clone(), why: b.why.clone(), stands: true };
                self.strikes.push(strike);
                self.settle_strikes();
            }
            Body::Seen(b) => {
                self.known_subject(&b.subject)?;
                let seen = Observation { value: b.value.clone(), how: b.how, note: b.note.clone() };
                let register = self.facts.entry((b.subject.clone(), b.fact.clone())).or_default();
                register.set(stamped(stamp(&b.after), seen));
            }
            Body::All(b) => {
                self.known_subject(&b.subject)?;
                let register = self.closings.entry((b.subject.clone(), b.kind.clone())).or_default();
                register.set(stamped(stamp(&b.after), b.all));
            }
            Body::Photo(b) => {
                self.known_subject(&b.subject)?;
                self.photos.push(Photo {
                    id: id.clone(),
                    who,
                    at_ms,
                    subject: b.subject.clone(),
                    sha256: b.sha256.clone(),
                    bytes: b.bytes,
                    caption: b.caption.clone(),
                    struck: None,
                });
            }
            Body::Words(b) => {
                if let Some(subject) = &b.subject {
                    self.known_subject(subject)?;
                }
                self.words.push(Words {
                    id: id.clone(),
                    who,
                    at_ms,
                    text: b.text.clone(),
                    provision: b.provision.clone(),
                    subject: b.subject.clone(),
                    struck: None,
                });
            }
            Body::Hinder(b) => {
                self.known_visit(&b.visit)?;
                let register = self.hinders.entry(b.visit.clone()).or_default();
                register.set(stamped(stamp(&b.after), Hinder { what: b.what, why: b.why.clone() }));
            }
            Body::Open(b) => {
                self.known_visit(&b.visit)?;
                self.known_subject(&b.place)?;
                let register = self.open_places.entry((b.visit.clone(), b.place.clone())).or_default();
                register.set(stamped(stamp(&b.after), b.why.clone()));
            }
            Body::Notice(b) => {
                self.known_visit(&b.visit)?;
                self.notices.push(Notice {
                    id: id.clone(),
                    who,
                    at_ms,
                    visit: b.visit.clone(),
                    disposition: b.disposition.clone(),
                    heads: b.heads.clone(),
                    digest: b.digest.clone(),
                    received_by: b.received_by.clone(),
                });
            }
        }
        Ok(())
    }

    fn begin_session(
        &mut self,
        id: &EntryId,
        actor: &str,
        at_ms: i64,
        body: &crate::entry::SessionBody,
    ) -> Result<(), String> {
        if body.actor != actor {
            return Err("it signs in under another actor than the one that wrote it".to_owned());
        }
        if let Some(first) = self.sessions.get(id.prefix()) {
            return Err(format!("{} has already signed in under its name", first.who.name));
        }
        let who = Author {
            user: body.user.clone(),
            name: body.name.clone(),
            role: body.role.clone(),
            device: body.device.clone(),
        };
        let session = Session { id: id.clone(), who: Arc::new(who), actor: body.actor.clone(), at_ms };
        self.sessions.insert(id.prefix().to_owned(), session);
        Ok(())
    }

    fn known_subject(&self, id: &EntryId) -> Result<(), String> {
        if self.subjects.contains_key(id) {
            return Ok(());
        }
        Err(format!("it speaks of {id}, which is not a subject of this record"))
    }

    fn known_visit(&self, id: &EntryId) -> Result<(), String> {
        if self.visits.iter().any(|v| &v.id == id) {
            return Ok(());
        }
        Err(format!("it speaks of {id}, which is not a visit of this record"))
    }

    /// A strike stands unless a standing strike strikes it; a strike is always later than what it strikes.
    fn settle_strikes(&mut self) {
        let mut struck: BTreeMap<EntryId, Strike> = BTreeMap::new();
        for strike in self.strikes.iter_mut().rev() {
            strike.stands = !struck.contains_key(&strike.id);
            if strike.stands {
                struck.insert(strike.of.clone(), strike.clone());
            }
        }
        for subject in self.subjects.values_mut() {
            subject.struck = struck.get(&subject.id).cloned();
        }
        for photo in &mut self.photos {
            photo.struck = struck.get(&photo.id).cloned();
        }
        for words in &mut self.words {
            words.struck = struck.get(&words.id).cloned();
        }
    }
}

fn stamped<T>((id, who, at_ms, after): (EntryId, Arc<Author>, i64, Vec<EntryId>), value: T) -> Stamped<T> {
    Stamped { id, who, at_ms, value, after }
}
