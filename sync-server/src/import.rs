//! Job files: from what a permit system wrote to jobs that tablets can work on.
//!
//! Every word is checked before anything is created: a kind or fact that the vocabulary does not know would stand in the
//! record for ever and take part in no verdict. All faults of a file are named at once, each with its subject and field.

use std::collections::BTreeMap;

use crownweir_engine::Law;
use crownweir_record::job_file::{Facts, JobFile, JobFileError};
use crownweir_rules::World;

use crate::jobs::NewJob;

/// Faults named in one answer at most.
const FAULTS_NAMED: usize = 20;

/// Why a job file was not taken.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{}", .faults.join("; "))]
pub struct ImportError {
    /// One sentence each, with subject and field.
    pub faults: Vec<String>,
}

impl From<JobFileError> for ImportError {
    fn from(e: JobFileError) -> Self {
        ImportError { faults: vec![e.to_string()] }
    }
}

/// Checks a job file's words against the law, and writes its values in their canonical form.
///
/// # Errors
/// Every fault found, up to a limit.
pub fn checked(file: &JobFile, law: &Law) -> Result<JobFile, ImportError> {
    let mut faults = Vec::new();
    if let Err(e) = law.adopt(&file.adoption, &file.applied_on) {
        faults.push(format!("`adoption`: {e}"));
    }
    let vocabulary = law.vocabulary();
    let mut world = World::new(vocabulary);
    let mut known = BTreeMap::new();
    let mut done = file.clone();
    for (i, subject) in done.subjects.iter_mut().enumerate() {
        let called = format!("subject `{}` ({})", subject.key, subject.name);
        // What stands in a subject that is refused cannot be looked at; the fault above it is named.
        if subject.parent.as_ref().is_some_and(|p| !known.contains_key(p)) {
            continue;
        }
        let at = match world.add(&subject.key, &subject.kind, subject.parent.as_deref()) {
            Ok(at) => at,
            Err(e) => {
                faults.push(format!("`subjects[{i}].kind`, {called}: {e}"));
                continue;
            }
        };
        known.insert(subject.key.clone(), at);
        let Facts(facts) = &mut subject.facts;
        for (fact, told) in facts {
            let field = format!("`subjects[{i}].facts.{fact}`, {called}");
            let value = match &told.value {
                None => None,
                // The kind is asked first: it knows the nearest fact of this subject, not of the whole vocabulary.
                Some(text) => match world
                    .seen(at, fact, &[], "")
                    .map_err(|e| e.to_string())
                    .and_then(|()| vocabulary.parse_value(fact, text).map_err(|e| format!("{fact}: {e}")))
                {
                    Ok(value) => Some(value),
                    Err(e) => {
                        faults.push(format!("{field}: {e}"));
                        continue;
                    }
                },
            };
            if let Err(e) = world.seen(at, fact, value.as_slice(), "") {
                faults.push(format!("{field}: {e}"));
            }
            told.value = value.map(|v| vocabulary.format_value(fact, &v));
        }
        for kind in &subject.all {
            if vocabulary.kind(kind).is_none() {
                // Asked for its hint: it knows the nearest kind.
                let hint = World::new(vocabulary)
                    .add("", kind, None)
                    .map_or_else(|e| e.to_string(), |_| String::new());
                faults.push(format!("`subjects[{i}].all`, {called}: {hint}"));
            }
        }
    }
    if faults.is_empty() {
        return Ok(done);
    }
    if faults.len() > FAULTS_NAMED {
        let more = faults.len() - FAULTS_NAMED;
        faults.truncate(FAULTS_NAMED);
        faults.push(format!("and {more} more"));
    }
    Err(ImportError { faults })
}

/// Turns a job file into a job to begin. `users` are the agency's sign-in names.
///
/// # Errors
/// Every fault found, up to a limit.
pub fn new_job(file: &JobFile, law: &Law, agency: &str, users: &[String]) -> Result<NewJob, ImportError> {
    let mut file = match checked(file, law) {
        Ok(file) => file,
        Err(mut e) => {
            e.faults.extend(strangers(file, users));
            return Err(e);
        }
    };
    let faults = strangers(&file, users);
    if !faults.is_empty() {
        return Err(ImportError { faults });
    }
    if file.agency.is_empty() {
        agency.clone_into(&mut file.agency);
    }
    Ok(NewJob {
        header: file.header(),
        edits: file.edits()?,
        stage: file.stage.clone(),
        scheduled: file.scheduled.clone(),
        assigned: file.assigned,
    })
}

fn strangers(file: &JobFile, users: &[String]) -> Vec<String> {
    file.assigned
        .iter()
        .filter(|a| !users.contains(a))
        .map(|a| format!("`assigned`: there is no user `{a}`; users are {}", users.join(", ")))
        .collect()
}
