//! From edits to entries: each with its id and with what it replaces.

use std::collections::BTreeMap;

use super::{StageError, Writing, session_entry};
use crate::edit::{Edit, SubjectRef};
use crate::entry::{
    AllBody, Body, Entry, HinderBody, JobBody, NameBody, NoticeBody, OpenBody, PhotoBody, SeenBody,
    StrikeBody, SubjectBody, Visit, VisitBody, WordsBody,
};
use crate::entry_id::EntryId;
use crate::state::JobState;

/// What a register belongs to, among the edits of one slice.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
enum Target {
    Job,
    Visit,
    Name(EntryId),
    Fact(EntryId, String),
    Closing(EntryId, String),
    Hinder(EntryId),
    Open(EntryId, EntryId),
}

/// Turns a slice of edits into entries. Later edits of the slice see the earlier ones.
pub(super) struct Drafting<'a> {
    state: &'a JobState,
    session: &'a Writing,
    at_ms: i64,
    /// The counter of the next entry.
    pub(super) next: u64,
    /// The entries so far.
    pub(super) written: Vec<(EntryId, Entry)>,
    /// The entry of this slice that stands for a target.
    replaced: BTreeMap<Target, EntryId>,
    /// The type of each entry of this slice.
    added: BTreeMap<EntryId, &'static str>,
}

impl<'a> Drafting<'a> {
    pub(super) fn new(state: &'a JobState, session: &'a Writing, at_ms: i64) -> Drafting<'a> {
        Drafting {
            state,
            session,
            at_ms,
            next: session.next,
            written: Vec::new(),
            replaced: BTreeMap::new(),
            added: BTreeMap::new(),
        }
    }

    /// Writes the entries of a slice, the session's own first if it has none, and returns the entry of each edit.
    pub(super) fn draft(&mut self, edits: &[Edit]) -> Result<Vec<EntryId>, StageError> {
        if self.next == 0 {
            let entry = session_entry(&self.session.author, self.session.actor, self.at_ms);
            self.put(0, entry.body)?;
        }
        let mut ids: Vec<EntryId> = Vec::with_capacity(edits.len());
        for (index, edit) in edits.iter().enumerate() {
            let id = self.edit(index, edit, edits, &ids)?;
            ids.push(id);
        }
        Ok(ids)
    }

    fn edit(
        &mut self,
        index: usize,
        edit: &Edit,
        edits: &[Edit],
        ids: &[EntryId],
    ) -> Result<EntryId, StageError> {
        let finding = !matches!(edit, Edit::Job(_));
        let role = &self.session.author.role;
        if finding && !self.session.author.inspects() && role != "server" {
            return Err(StageError::Role { role: role.clone() });
        }
        let subject = |of: &SubjectRef, this: &Self| match of {
            SubjectRef::Id(id) => this.subject(id).map(|()| id.clone()),
            SubjectRef::New(i) => match (edits.get(*i), ids.get(*i)) {
                (Some(Edit::Subject { .. }), Some(id)) => Ok(id.clone()),
                _ => Err(StageError::NotAddedBefore { index }),
            },
        };
        match edit {
            Edit::Job(header) => {
                let after = self.standing(&Target::Job);
                self.set(index, Target::Job, Body::Job(JobBody { header: header.clone(), after }))
            }
            Edit::Visit { stage, on } => {
                let after = self.standing(&Target::Visit);
                let visit = Visit { stage: stage.clone(), on: on.clone() };
                self.set(index, Target::Visit, Body::Visit(VisitBody { visit, after }))
            }
            Edit::Subject { kind, name, parent, copied_from } => {
                let parent = parent.as_ref().map(|p| subject(p, self)).transpose()?;
                if let Some(from) = copied_from {
                    self.subject(from)?;
                }
                let body = SubjectBody {
                    kind: kind.clone(),
                    name: name.clone(),
                    parent,
                    copied_from: copied_from.clone(),
                };
                let id = self.put(index, Body::Subject(body))?;
                self.replaced.insert(Target::Name(id.clone()), id.clone());
                Ok(id)
            }
            Edit::Name { of, name } => {
                self.subject(of)?;
                let target = Target::Name(of.clone());
                let after = self.standing(&target);
                self.set(index, target, Body::Name(NameBody { of: of.clone(), name: name.clone(), after }))
            }
            Edit::Strike { of, why } => {
                self.strikable(of)?;
                self.put(index, Body::Strike(StrikeBody { of: of.clone(), why: why.clone() }))
            }
            Edit::Restore { of, why } => {
                self.strikable(of)?;
                let standing: Vec<EntryId> =
                    self.state.strikes_of(of).filter(|s| s.stands).map(|s| s.id.clone()).collect();
                let mut last = Err(StageError::Unknown { what: "a struck entry", id: of.to_string() });
                for strike in standing {
                    last = Ok(self.put(index, Body::Strike(StrikeBody { of: strike, why: why.clone() }))?);
                }
                last
            }
            Edit::Seen { subject: of, fact, value, how, note } => {
                let of = subject(of, self)?;
                let target = Target::Fact(of.clone(), fact.clone());
                let body = SeenBody {
                    after: self.standing(&target),
                    subject: of,
                    fact: fact.clone(),
                    value: value.clone(),
                    how: *how,
                    note: note.clone(),
                };
                self.set(index, target, Body::Seen(body))
            }
            Edit::All { subject: of, kind, all } => {
                let of = subject(of, self)?;
                let target = Target::Closing(of.clone(), kind.clone());
                let after = self.standing(&target);
                self.set(
                    index,
                    target,
                    Body::All(AllBody { subject: of, kind: kind.clone(), all: *all, after }),
                )
            }
            Edit::Photo { subject: of, sha256, bytes, caption } => {
                let subject = subject(of, self)?;
                let body =
                    PhotoBody { subject, sha256: sha256.clone(), bytes: *bytes, caption: caption.clone() };
                self.put(index, Body::Photo(body))
            }
            Edit::Words { text, provision, subject } => {
                if let Some(subject) = subject {
                    self.subject(subject)?;
                }
                let body =
                    WordsBody { text: text.clone(), provision: provision.clone(), subject: subject.clone() };
                self.put(index, Body::Words(body))
            }
            Edit::Hinder { visit, what, why } => {
                self.visit(visit)?;
                let target = Target::Hinder(visit.clone());
                let body = HinderBody {
                    after: self.standing(&target),
                    visit: visit.clone(),
                    what: *what,
                    why: why.clone(),
                };
                self.set(index, target, Body::Hinder(body))
            }
            Edit::Open { visit, place, why } => {
                self.visit(visit)?;
                self.subject(place)?;
                let target = Target::Open(visit.clone(), place.clone());
                let body = OpenBody {
                    after: self.standing(&target),
                    visit: visit.clone(),
                    place: place.clone(),
                    why: why.clone(),
                };
                self.set(index, target, Body::Open(body))
            }
            Edit::Notice { visit, disposition, heads, digest, received_by } => {
                self.visit(visit)?;
                let body = NoticeBody {
                    visit: visit.clone(),
                    disposition: disposition.clone(),
                    heads: heads.clone(),
                    digest: digest.clone(),
                    received_by: received_by.clone(),
                };
                self.put(index, Body::Notice(body))
            }
        }
    }

    fn set(&mut self, index: usize, target: Target, body: Body) -> Result<EntryId, StageError> {
        let id = self.put(index, body)?;
        self.replaced.insert(target, id.clone());
        Ok(id)
    }

    fn put(&mut self, index: usize, body: Body) -> Result<EntryId, StageError> {
        let entry = Entry { at_ms: self.at_ms, body };
        // The same reading as at the door: what it would refuse is refused here, while the person can still mend it.
        Entry::parse(&entry.text()).map_err(|fault| StageError::Shape {
            index,
            problem: format!("this cannot be entered: {fault}"),
        })?;
        let id = EntryId::new(&self.session.actor, self.next);
        self.next += 1;
        self.added.insert(id.clone(), entry.body.word());
        self.written.push((id.clone(), entry));
        Ok(id)
    }

    fn standing(&self, target: &Target) -> Vec<EntryId> {
        if let Some(id) = self.replaced.get(target) {
            return vec![id.clone()];
        }
        let state = self.state;
        match target {
            Target::Job => state.header.standing_ids(),
            Target::Visit => state.visit.standing_ids(),
            Target::Name(of) => state.subjects.get(of).map(|s| s.name.standing_ids()).unwrap_or_default(),
            Target::Fact(of, fact) => state.fact(of, fact).map(|r| r.standing_ids()).unwrap_or_default(),
            Target::Closing(of, kind) => {
                state.closing(of, kind).map(|r| r.standing_ids()).unwrap_or_default()
            }
            Target::Hinder(visit) => state.hinders.get(visit).map(|r| r.standing_ids()).unwrap_or_default(),
            Target::Open(visit, place) => state
                .open_places
                .get(&(visit.clone(), place.clone()))
                .map(|r| r.standing_ids())
                .unwrap_or_default(),
        }
    }

    fn subject(&self, id: &EntryId) -> Result<(), StageError> {
        if self.state.subjects.contains_key(id) || self.added.get(id) == Some(&"subject") {
            return Ok(());
        }
        Err(StageError::Unknown { what: "a subject", id: id.to_string() })
    }

    fn visit(&self, id: &EntryId) -> Result<(), StageError> {
        if self.state.visits.iter().any(|v| &v.id == id) || self.added.get(id) == Some(&"visit") {
            return Ok(());
        }
        Err(StageError::Unknown { what: "a visit", id: id.to_string() })
    }

    fn strikable(&self, id: &EntryId) -> Result<(), StageError> {
        let state = self.state;
        let known = state.subjects.contains_key(id)
            || state.photos.iter().any(|p| &p.id == id)
            || state.words.iter().any(|w| &w.id == id)
            || state.strikes.iter().any(|s| &s.id == id)
            || matches!(self.added.get(id), Some(&("subject" | "photo" | "words" | "strike")));
        if known {
            Ok(())
        } else {
            Err(StageError::Unknown { what: "an entry to strike", id: id.to_string() })
        }
    }
}
