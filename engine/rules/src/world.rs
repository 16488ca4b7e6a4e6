//! What has been seen of a house: subjects, what stands in what, facts, and which lists are complete.

use crate::diagnostic::nearest;
use crate::value::{Value, fits};
use crate::vocabulary::{FactId, KindId, Lexicon, Vocabulary};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// More subjects than this are refused: no house has them, and evaluation must end soon.
pub const MOST_SUBJECTS: usize = 100_000;

/// A disputed fact keeps at most this many values apart; beyond, only their bounds count.
pub(crate) const MOST_DISPUTED: usize = 4;

/// Why something cannot be part of a world.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum WorldError {
    /// The vocabulary has no such kind.
    #[error("there is no kind `{kind}`{}", hint(.did_you_mean))]
    UnknownKind {
        /// What was given.
        kind: String,
        /// The nearest name, if one is near.
        did_you_mean: Option<String>,
    },
    /// The kind has narrower ones; a subject is of one of those.
    #[error("`{kind}` is a family of kinds; a subject is one of {}", .narrower.join(", "))]
    NotConcrete {
        /// What was given.
        kind: String,
        /// The kinds to choose from.
        narrower: Vec<String>,
    },
    /// The id is taken.
    #[error("there already is a subject `{id}`")]
    Duplicate {
        /// What was given.
        id: String,
    },
    /// The parent is not in the world; parents are added first.
    #[error("there is no subject `{id}` to put it in")]
    UnknownParent {
        /// What was given.
        id: String,
    },
    /// The parent cannot hold this kind.
    #[error("a `{kind}` does not stand in a `{parent}`")]
    Misplaced {
        /// Kind of the subject.
        kind: String,
        /// Kind of the parent.
        parent: String,
    },
    /// The subject's kind has no such fact.
    #[error("a `{kind}` has no fact `{fact}`{}", hint(.did_you_mean))]
    UnknownFact {
        /// Kind of the subject.
        kind: String,
        /// What was given.
        fact: String,
        /// The nearest fact of this kind, if one is near.
        did_you_mean: Option<String>,
    },
    /// The value is of another type or outside the fact's range.
    #[error("the value is not one that `{fact}` may have")]
    BadValue {
        /// The fact.
        fact: String,
    },
    /// There are too many subjects.
    #[error("more than {MOST_SUBJECTS} subjects")]
    TooMany,
}

fn hint(name: &Option<String>) -> String {
    name.as_ref().map_or(String::new(), |n| format!("; did you mean `{n}`?"))
}

/// What is known of one fact.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) enum Known {
    #[default]
    Unknown,
    Seen(Value),
    /// Two or more values, sorted, without repeats.
    Disputed(Vec<Value>),
}

#[derive(Debug, Clone)]
pub(crate) struct Subject {
    pub id: String,
    pub name: String,
    pub kind: KindId,
    pub parent: Option<usize>,
    pub children: Vec<usize>,
    /// By the slots of the kind.
    pub known: Vec<Known>,
    pub closed: BTreeSet<KindId>,
}

/// Subjects and what has been seen of them. Built for one evaluation or kept and added to.
#[derive(Debug, Clone)]
pub struct World {
    pub(crate) vocabulary: Arc<Lexicon>,
    pub(crate) subjects: Vec<Subject>,
    ids: BTreeMap<String, usize>,
    told: BTreeMap<(usize, FactId), String>,
    disputes: usize,
}

impl World {
    /// An empty world in the words of a vocabulary.
    pub fn new(vocabulary: &Vocabulary) -> World {
        World {
            vocabulary: Arc::clone(&vocabulary.0),
            subjects: vec![],
            ids: BTreeMap::new(),
            told: BTreeMap::new(),
            disputes: 0,
        }
    }

    /// Adds a subject of a concrete kind and gives its number. Without a parent it stands on its own, as in a case.
    ///
    /// # Errors
    /// [`WorldError`] when the kind is unknown or not concrete, the id taken, or the parent unknown or unfit.
    pub fn add(&mut self, id: &str, kind: &str, parent: Option<&str>) -> Result<usize, WorldError> {
        let vocabulary = &self.vocabulary;
        let Some(kind_id) = vocabulary.kind_id(kind) else {
            let did_you_mean = nearest(kind, vocabulary.kind_names()).map(str::to_owned);
            return Err(WorldError::UnknownKind { kind: kind.to_owned(), did_you_mean });
        };
        if !vocabulary.concrete(kind_id) {
            let narrower = vocabulary.kinds[usize::from(kind_id)].info.narrower.clone();
            return Err(WorldError::NotConcrete { kind: kind.to_owned(), narrower });
        }
        if self.ids.contains_key(id) {
            return Err(WorldError::Duplicate { id: id.to_owned() });
        }
        if self.subjects.len() >= MOST_SUBJECTS {
            return Err(WorldError::TooMany);
        }
        let parent = match parent {
            None => None,
            Some(parent) => {
                let Some(at) = self.ids.get(parent).copied() else {
                    return Err(WorldError::UnknownParent { id: parent.to_owned() });
                };
                let above = self.subjects[at].kind;
                if !vocabulary.sits_in[usize::from(kind_id)][usize::from(above)] {
                    let parent = vocabulary.kinds[usize::from(above)].info.name.clone();
                    return Err(WorldError::Misplaced { kind: kind.to_owned(), parent });
                }
                Some(at)
            }
        };
        let number = self.subjects.len();
        let facts = vocabulary.kinds[usize::from(kind_id)].facts.len();
        self.subjects.push(Subject {
            id: id.to_owned(),
            name: id.to_owned(),
            kind: kind_id,
            parent,
            children: vec![],
            known: vec![Known::Unknown; facts],
            closed: BTreeSet::new(),
        });
        if let Some(parent) = parent {
            self.subjects[parent].children.push(number);
        }
        self.ids.insert(id.to_owned(), number);
        Ok(number)
    }

    /// States what is known of a fact: no value, one, or several that people disagree on. `told` is how reasons say
    /// where it is from: `measured, 10:42, R. Okafor`. Replaces what was stated before.
    ///
    /// # Errors
    /// [`WorldError`] when the kind has no such fact or a value is not one it may have; nothing is changed then.
    ///
    /// # Panics
    /// When `subject` is no number that [`World::add`] gave.
    pub fn seen(
        &mut self,
        subject: usize,
        fact: &str,
        values: &[Value],
        told: &str,
    ) -> Result<(), WorldError> {
        let kind = self.subjects[subject].kind;
        let vocabulary = &self.vocabulary;
        let id = vocabulary.fact_id(fact);
        let Some((id, slot)) = id.and_then(|id| vocabulary.slot(kind, id).map(|slot| (id, slot))) else {
            let info = &vocabulary.kinds[usize::from(kind)];
            let known = info.facts.iter().map(|f| vocabulary.facts[usize::from(*f)].info.name.as_str());
            return Err(WorldError::UnknownFact {
                kind: info.info.name.clone(),
                fact: fact.to_owned(),
                did_you_mean: nearest(fact, known).map(str::to_owned),
            });
        };
        let shape = &vocabulary.facts[usize::from(id)].shape;
        if values.iter().any(|v| !fits(vocabulary, shape, v)) {
            return Err(WorldError::BadValue { fact: fact.to_owned() });
        }
        let mut sorted = values.to_vec();
        sorted.sort_unstable();
        sorted.dedup();
        let known = match sorted.as_slice() {
            [] => Known::Unknown,
            [one] => Known::Seen(*one),
            _ => Known::Disputed(sorted),
        };
        let slot = &mut self.subjects[subject].known[slot];
        self.disputes -= usize::from(matches!(slot, Known::Disputed(_)));
        self.disputes += usize::from(matches!(known, Known::Disputed(_)));
        *slot = known;
        if told.is_empty() {
            self.told.remove(&(subject, id));
        } else {
            self.told.insert((subject, id), told.to_owned());
        }
        Ok(())
    }

    /// How reasons call the subject; its id until then.
    ///
    /// # Panics
    /// When `subject` is no number that [`World::add`] gave.
    pub fn name(&mut self, subject: usize, name: &str) {
        name.clone_into(&mut self.subjects[subject].name);
    }

    /// "That is all of them": every subject of the kind within this one is listed. Unknown kinds are ignored, since a
    /// record may be older than the vocabulary.
    ///
    /// # Panics
    /// When `subject` is no number that [`World::add`] gave.
    pub fn close(&mut self, subject: usize, kind: &str) {
        if let Some(kind) = self.vocabulary.kind_id(kind) {
            self.subjects[subject].closed.insert(kind);
        }
    }

    /// The number of the subject with that id.
    pub fn find(&self, id: &str) -> Option<usize> {
        self.ids.get(id).copied()
    }

    /// The id of a subject.
    ///
    /// # Panics
    /// When `subject` is no number that [`World::add`] gave.
    pub fn id(&self, subject: usize) -> &str {
        &self.subjects[subject].id
    }

    /// How many subjects there are; their numbers run from 0.
    pub fn len(&self) -> usize {
        self.subjects.len()
    }

    /// Whether nothing is listed yet.
    pub fn is_empty(&self) -> bool {
        self.subjects.is_empty()
    }

    pub(crate) fn told(&self, subject: usize, fact: FactId) -> Option<&str> {
        self.told.get(&(subject, fact)).map(String::as_str)
    }

    pub(crate) fn has_disputes(&self) -> bool {
        self.disputes > 0
    }
}
