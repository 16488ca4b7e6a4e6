//! Commands of a person -> edits of the record. Everything is checked here, before anything is written.

use crownweir_record::{Edit, EntryId, Hindrance, How, JobState, Subject, SubjectRef};
use crownweir_rules::{Date, Vocabulary};

use crate::assess::subject_name;
use crate::command::Command;
use crate::law::Law;
use crate::reading::Judgement;

/// Why a command was not carried out. Nothing was written.
#[derive(Debug, thiserror::Error, PartialEq, Eq)]
#[expect(missing_docs, reason = "each variant's sentence says what it is")]
pub enum CommandError {
    #[error("`{0}` is not in this record")]
    NotHere(String),
    #[error("{0} is struck; restore it first")]
    Struck(String),
    #[error("give a reason: the record keeps who struck it and why")]
    NoReason,
    #[error("`{kind}` is not a kind the vocabulary knows")]
    UnknownKind { kind: String },
    #[error("a {kind} can't stand in {parent}")]
    WrongPlace { kind: String, parent: String },
    #[error("`{fact}` is not a fact of {subject}")]
    UnknownFact { fact: String, subject: String },
    #[error("{0}")]
    Value(String),
    #[error("`{0}` is not a way of knowing; say seen, measured, plans or told")]
    UnknownHow(String),
    #[error("open a visit first")]
    NoVisit,
    #[error("`{0}` is not a stage; say groundwork, rough, final or reinspection")]
    UnknownStage(String),
    #[error("`{0}` is not a date such as 2026-11-25")]
    NotADate(String),
    #[error("`{0}` is not a hindrance; say not_ready or no_access")]
    UnknownHindrance(String),
    #[error("write the words first")]
    NoWords,
    #[error("the notice can't be issued yet: {0}")]
    NotIssuable(String),
    #[error("say who receives the notice")]
    NoReceiver,
}

/// Carries out a command against a record and its judgement: the edits to write.
///
/// # Errors
/// What is wrong and what to do instead; nothing is written then.
pub fn edits(
    command: &Command,
    state: &JobState,
    law: &Law,
    judgement: &Judgement,
    heads: &[String],
) -> Result<Vec<Edit>, CommandError> {
    let vocabulary = law.vocabulary();
    Ok(match command {
        Command::OpenVisit { stage, on } => {
            if !["groundwork", "rough", "final", "reinspection"].contains(&stage.as_str()) {
                return Err(CommandError::UnknownStage(stage.clone()));
            }
            on.parse::<Date>().map_err(|_| CommandError::NotADate(on.clone()))?;
            vec![Edit::Visit { stage: stage.clone(), on: on.clone() }]
        }
        Command::AddSubject { kind, name, parent } => {
            let (parent_id, parent) = standing(state, parent)?;
            let info =
                vocabulary.kind(kind).ok_or_else(|| CommandError::UnknownKind { kind: kind.clone() })?;
            if !vocabulary.can_hold(&parent.kind).contains(kind) {
                return Err(CommandError::WrongPlace {
                    kind: info.label.to_lowercase(),
                    parent: subject_name(state, &parent_id),
                });
            }
            vec![Edit::Subject {
                kind: kind.clone(),
                name: name_or(name, || next_name(state, &parent_id, kind, &info.label)),
                parent: Some(SubjectRef::Id(parent_id)),
                copied_from: None,
            }]
        }
        Command::CopySubject { subject, name } => copy(state, vocabulary, subject, name)?,
        Command::RenameSubject { subject, name } => {
            let (of, _) = standing(state, subject)?;
            if name.trim().is_empty() {
                return Err(CommandError::NoWords);
            }
            vec![Edit::Name { of, name: name.trim().to_owned() }]
        }
        Command::Strike { target, why } => vec![strike(state, target, why)?],
        Command::Restore { target, why } => vec![restore(state, target, why)?],
        Command::Record { subject, fact, value, how, note } => {
            let (id, of) = standing(state, subject)?;
            known_fact(vocabulary, state, &id, of, fact)?;
            let read = vocabulary.parse_value(fact, value).map_err(|e| CommandError::Value(e.to_string()))?;
            vec![Edit::Seen {
                subject: SubjectRef::Id(id),
                fact: fact.clone(),
                value: Some(vocabulary.format_value(fact, &read)),
                how: How::from_word(how).ok_or_else(|| CommandError::UnknownHow(how.clone()))?,
                note: note.trim().to_owned(),
            }]
        }
        Command::Withdraw { subject, fact, note } => {
            let (id, of) = standing(state, subject)?;
            known_fact(vocabulary, state, &id, of, fact)?;
            vec![Edit::Seen {
                subject: SubjectRef::Id(id),
                fact: fact.clone(),
                value: None,
                how: How::Seen,
                note: note.trim().to_owned(),
            }]
        }
        Command::Close { subject, kind, all } => {
            let (id, _) = standing(state, subject)?;
            if vocabulary.kind(kind).is_none() {
                return Err(CommandError::UnknownKind { kind: kind.clone() });
            }
            vec![Edit::All { subject: SubjectRef::Id(id), kind: kind.clone(), all: *all }]
        }
        Command::AddPhoto { subject, sha256, bytes, caption } => {
            let (id, _) = standing(state, subject)?;
            vec![Edit::Photo {
                subject: SubjectRef::Id(id),
                sha256: sha256.clone(),
                bytes: *bytes,
                caption: caption.trim().to_owned(),
            }]
        }
        Command::AddWords { text, provision, subject } => {
            if text.trim().is_empty() {
                return Err(CommandError::NoWords);
            }
            let subject = match subject {
                Some(subject) => Some(standing(state, subject)?.0),
                None => None,
            };
            vec![Edit::Words { text: text.trim().to_owned(), provision: provision.clone(), subject }]
        }
        Command::Hinder { what, why } => {
            let visit = the_visit(state)?;
            let what =
                Hindrance::from_word(what).ok_or_else(|| CommandError::UnknownHindrance(what.clone()))?;
            vec![Edit::Hinder { visit, what, why: why.trim().to_owned() }]
        }
        Command::LeaveOpen { place, why } => {
            let (place, _) = standing(state, place)?;
            vec![Edit::Open { visit: the_visit(state)?, place, why: why.trim().to_owned() }]
        }
        Command::IssueNotice { received_by } => {
            let visit = the_visit(state)?;
            let disposition = judgement.disposition(state);
            if !disposition.may_issue {
                return Err(CommandError::NotIssuable(disposition.because.join(" ")));
            }
            if received_by.trim().is_empty() {
                return Err(CommandError::NoReceiver);
            }
            vec![Edit::Notice {
                visit,
                disposition: disposition.label,
                heads: heads.to_vec(),
                digest: judgement.outcome().as_ref().map(|a| a.digest().to_owned()).unwrap_or_default(),
                received_by: received_by.trim().to_owned(),
            }]
        }
    })
}

fn id_of(text: &str) -> Result<EntryId, CommandError> {
    text.parse().map_err(|_| CommandError::NotHere(text.to_owned()))
}

/// A subject that takes part.
fn standing<'a>(state: &'a JobState, id: &str) -> Result<(EntryId, &'a Subject), CommandError> {
    let id = id_of(id)?;
    let subject = state.subjects.get(&id).ok_or_else(|| CommandError::NotHere(id.to_string()))?;
    if state.is_struck(&id) {
        return Err(CommandError::Struck(subject_name(state, &id)));
    }
    Ok((id, subject))
}

fn the_visit(state: &JobState) -> Result<EntryId, CommandError> {
    state.open_visit().map(|v| v.id.clone()).ok_or(CommandError::NoVisit)
}

fn known_fact(
    vocabulary: &Vocabulary,
    state: &JobState,
    id: &EntryId,
    subject: &Subject,
    fact: &str,
) -> Result<(), CommandError> {
    if vocabulary.facts_of(&subject.kind).iter().any(|f| f.name == fact) {
        return Ok(());
    }
    Err(CommandError::UnknownFact { fact: fact.to_owned(), subject: subject_name(state, id) })
}

fn name_or(given: &str, otherwise: impl FnOnce() -> String) -> String {
    match given.trim() {
        "" => otherwise(),
        name => name.to_owned(),
    }
}

/// `Lavatory`, then `Lavatory 2`: unique among what stands beside it.
fn next_name(state: &JobState, parent: &EntryId, kind: &str, label: &str) -> String {
    let beside =
        state.subjects.values().filter(|s| s.parent.as_ref() == Some(parent) && s.kind == kind).count();
    if beside == 0 { label.to_owned() } else { format!("{label} {}", beside + 1) }
}

/// A copy of a subject and of what it holds, without any fact: nothing on it has been looked at yet.
fn copy(
    state: &JobState,
    vocabulary: &Vocabulary,
    subject: &str,
    name: &str,
) -> Result<Vec<Edit>, CommandError> {
    let (id, original) = standing(state, subject)?;
    let Some(parent) = original.parent.clone() else {
        return Err(CommandError::WrongPlace {
            kind: original.kind.clone(),
            parent: "a second one of this record".to_owned(),
        });
    };
    let label = vocabulary.kind(&original.kind).map_or(original.kind.as_str(), |k| &k.label);
    let mut edits = vec![Edit::Subject {
        kind: original.kind.clone(),
        name: name_or(name, || next_name(state, &parent, &original.kind, label)),
        parent: Some(SubjectRef::Id(parent)),
        copied_from: Some(id.clone()),
    }];
    let mut copied = vec![(id, 0_usize)];
    // `order` lists owners before what they hold, so one pass reaches every depth.
    for inner_id in &state.order {
        let Some(inner) = state.subjects.get(inner_id) else { continue };
        let Some(owner) = &inner.parent else { continue };
        let Some(&(_, at)) = copied.iter().find(|(copied, _)| copied == owner) else { continue };
        if inner.struck.is_some() {
            continue;
        }
        copied.push((inner_id.clone(), edits.len()));
        edits.push(Edit::Subject {
            kind: inner.kind.clone(),
            name: subject_name(state, inner_id),
            parent: Some(SubjectRef::New(at)),
            copied_from: Some(inner_id.clone()),
        });
    }
    Ok(edits)
}

fn strike(state: &JobState, target: &str, why: &str) -> Result<Edit, CommandError> {
    let of = id_of(target)?;
    if struck(state, &of).ok_or_else(|| CommandError::NotHere(target.to_owned()))? {
        return Err(CommandError::Struck("it".to_owned()));
    }
    reason(why)?;
    Ok(Edit::Strike { of, why: why.trim().to_owned() })
}

fn restore(state: &JobState, target: &str, why: &str) -> Result<Edit, CommandError> {
    let of = id_of(target)?;
    if struck(state, &of) != Some(true) {
        return Err(CommandError::NotHere(target.to_owned()));
    }
    reason(why)?;
    Ok(Edit::Restore { of, why: why.trim().to_owned() })
}

fn reason(why: &str) -> Result<(), CommandError> {
    if why.trim().is_empty() { Err(CommandError::NoReason) } else { Ok(()) }
}

/// Whether a subject, photo or words is struck; `None` when there is no such thing.
fn struck(state: &JobState, of: &EntryId) -> Option<bool> {
    let subject = state.subjects.get(of).map(|s| s.struck.is_some());
    let photo = || state.photos.iter().find(|p| p.id == *of).map(|p| p.struck.is_some());
    let words = || state.words.iter().find(|w| w.id == *of).map(|w| w.struck.is_some());
    subject.or_else(photo).or_else(words)
}
