//! The job file: a job as JSON, for import from a permit system and for export.
//!
//! ```json
//! {
//!   "permit": "P-26-0412", "address": "14 Larkspur Lane, Brindle Ford", "scope": "new dwelling", "contractor": "",
//!   "adoption": "alderfen", "applied_on": "2026-03-02", "stage": "rough", "scheduled": "2026-11-25",
//!   "assigned": ["okafor"],
//!   "history": [{ "on": "2026-05-06", "stage": "groundwork", "disposition": "approved", "by": "R. Okafor" }],
//!   "subjects": [
//!     { "key": "house", "kind": "house", "name": "House" },
//!     { "key": "bath", "kind": "room", "name": "Bath", "in": "house", "all": ["lavatory"] },
//!     { "key": "lav", "kind": "lavatory", "name": "Lavatory", "in": "bath",
//!       "facts": { "trap.size": { "value": "1-1/4 nps", "how": "plans", "note": "sheet P2" } } }
//!   ]
//! }
//! ```
//!
//! A fact's value is its literal as text; alone, it is taken as read from the plans. Unknown fields are refused, so
//! that a misspelt one is not lost silently. Whether kinds, facts and values are words of the vocabulary is not
//! decided here.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

use serde::de::{MapAccess, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::edit::{Edit, SubjectRef};
use crate::entry::{How, JobHeader, PastVisit, is_date};
use crate::entry_id::EntryId;
use crate::state::JobState;

/// A job as a file.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct JobFile {
    /// The permit's number.
    pub permit: String,
    /// The address of the site.
    pub address: String,
    /// What the permit covers.
    #[serde(default)]
    pub scope: String,
    /// Who does the work.
    #[serde(default)]
    pub contractor: String,
    /// The id of the adoption.
    pub adoption: String,
    /// The day the permit was applied for, `2026-03-02`.
    pub applied_on: String,
    /// The agency that keeps the record.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub agency: String,
    /// The stage of the visit that is due.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub stage: String,
    /// The day it is due, `2026-11-25`.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub scheduled: String,
    /// The users it is assigned to.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub assigned: Vec<String>,
    /// Earlier visits, oldest first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub history: Vec<PastVisit>,
    /// What is known to be there; what stands in another comes after it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub subjects: Vec<SubjectFile>,
}

/// A subject of a job file.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SubjectFile {
    /// Its name within the file.
    pub key: String,
    /// Its kind.
    pub kind: String,
    /// What people call it.
    pub name: String,
    /// The key of what it stands in; only the house has none.
    #[serde(rename = "in", default, skip_serializing_if = "Option::is_none")]
    pub parent: Option<String>,
    /// What is known of it, in the order of the file.
    #[serde(default, skip_serializing_if = "Facts::is_empty")]
    pub facts: Facts,
    /// Kinds of which all members in it are listed.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub all: Vec<String>,
}

/// Facts by name, in the order of the file.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Facts(pub Vec<(String, FactFile)>);

impl Facts {
    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}

/// What is known of one fact.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FactFile {
    /// The literal; `None` (JSON `null`): said to be unknown.
    pub value: Option<String>,
    /// How it is known; from the plans unless it is said.
    pub how: How,
    /// A note.
    pub note: String,
}

/// Why a text is not a job file.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{}{problem}", if path.is_empty() { String::new() } else { format!("`{path}`: ") })]
pub struct JobFileError {
    /// The field, such as `subjects[2].facts.trap.size`; empty if it is the whole.
    pub path: String,
    /// What is wrong with it.
    pub problem: String,
}

impl JobFile {
    /// Reads a job file.
    ///
    /// # Errors
    /// [`JobFileError`] names the first field that cannot be used.
    pub fn parse(text: &str) -> Result<JobFile, JobFileError> {
        let mut json = serde_json::Deserializer::from_str(text);
        let file: JobFile = serde_path_to_error::deserialize(&mut json).map_err(|e| located(&e))?;
        json.end().map_err(|e| problem("", e.to_string()))?;
        file.check()?;
        Ok(file)
    }

    /// Reads a job file from JSON that is parsed already.
    ///
    /// # Errors
    /// [`JobFileError`] names the first field that cannot be used.
    pub fn from_value(value: serde_json::Value) -> Result<JobFile, JobFileError> {
        let file: JobFile = serde_path_to_error::deserialize(value).map_err(|e| located(&e))?;
        file.check()?;
        Ok(file)
    }

    /// Reads one job file, or `{"jobs": [..]}`; each job is answered by itself.
    ///
    /// # Errors
    /// [`JobFileError`] if the text is neither.
    pub fn parse_all(text: &str) -> Result<Vec<Result<JobFile, JobFileError>>, JobFileError> {
        let value: serde_json::Value = serde_json::from_str(text).map_err(|e| problem("", e.to_string()))?;
        match value {
            serde_json::Value::Object(mut map) if map.contains_key("jobs") => {
                let jobs = map.remove("jobs");
                if let Some(other) = map.keys().next() {
                    return Err(problem(other, "is not expected beside `jobs`"));
                }
                match jobs {
                    Some(serde_json::Value::Array(jobs)) => {
                        Ok(jobs.into_iter().map(JobFile::from_value).collect())
                    }
                    _ => Err(problem("jobs", "is not a list of job files")),
                }
            }
            value => Ok(vec![JobFile::from_value(value)]),
        }
    }

    /// The text of the file.
    pub fn text(&self) -> String {
        // Strings, numbers, lists and maps keyed by strings always have a JSON text.
        serde_json::to_string_pretty(self).unwrap_or_default()
    }

    /// What identifies the job.
    pub fn header(&self) -> JobHeader {
        JobHeader {
            permit: self.permit.clone(),
            address: self.address.clone(),
            scope: self.scope.clone(),
            contractor: self.contractor.clone(),
            adoption: self.adoption.clone(),
            applied_on: self.applied_on.clone(),
            agency: self.agency.clone(),
            history: self.history.clone(),
        }
    }

    /// The edits that enter the subjects with what is known of them, for a record whose header is
    /// [`JobFile::header`]. The stage and the assignment are not part of the record: the visit is opened by whoever
    /// holds it.
    ///
    /// # Errors
    /// [`JobFileError`] as in [`JobFile::parse`].
    pub fn edits(&self) -> Result<Vec<Edit>, JobFileError> {
        self.check()?;
        // All subjects first, so that the index of a subject is the index of its edit.
        let at: BTreeMap<&str, usize> =
            self.subjects.iter().enumerate().map(|(i, s)| (s.key.as_str(), i)).collect();
        let mut edits: Vec<Edit> = self
            .subjects
            .iter()
            .map(|subject| Edit::Subject {
                kind: subject.kind.clone(),
                name: subject.name.clone(),
                parent: subject.parent.as_ref().map(|parent| SubjectRef::New(at[parent.as_str()])),
                copied_from: None,
            })
            .collect();
        for (i, subject) in self.subjects.iter().enumerate() {
            edits.extend(subject.facts.0.iter().map(|(fact, known)| Edit::Seen {
                subject: SubjectRef::New(i),
                fact: fact.clone(),
                value: known.value.clone(),
                how: known.how,
                note: known.note.clone(),
            }));
            edits.extend(subject.all.iter().map(|kind| Edit::All {
                subject: SubjectRef::New(i),
                kind: kind.clone(),
                all: true,
            }));
        }
        Ok(edits)
    }

    /// A record as a file: what stands and is not struck. The second value names what a job file cannot say:
    /// disagreements, where nothing is written, and photos and words.
    pub fn from_state(state: &JobState) -> (JobFile, Vec<String>) {
        let mut left_out = Vec::new();
        let header = state.job().cloned().unwrap_or_default();
        if state.header.disagrees() {
            left_out.push(
                "The job's heading was changed by two people at once; the first one is written.".to_owned(),
            );
        }
        let open = state.open_visit().map(|visit| visit.value.clone());
        let mut keys: BTreeMap<&EntryId, String> = BTreeMap::new();
        let mut subjects = Vec::new();
        for id in &state.order {
            let Some(subject) = state.subjects.get(id) else { continue };
            if state.is_struck(id) {
                continue;
            }
            let key = format!("s{}", keys.len() + 1);
            let mut facts = Vec::new();
            let first = (id.clone(), String::new());
            for ((_, fact), register) in
                state.facts.range(first.clone()..).take_while(|((of, _), _)| of == id)
            {
                match register.agreed() {
                    Some(seen) => facts.push((
                        fact.clone(),
                        FactFile {
                            value: seen.value.value.clone(),
                            how: seen.value.how,
                            note: seen.value.note.clone(),
                        },
                    )),
                    None => left_out.push(format!("{} of {}: two values stand.", fact, subject.called())),
                }
            }
            let closed = state.closings.range(first..).take_while(|((of, _), _)| of == id);
            let all = closed
                .filter(|(_, register)| register.agreed().is_some_and(|all| all.value))
                .map(|((_, kind), _)| kind.clone())
                .collect();
            subjects.push(SubjectFile {
                key: key.clone(),
                kind: subject.kind.clone(),
                name: subject.called().to_owned(),
                parent: subject.parent.as_ref().and_then(|parent| keys.get(parent).cloned()),
                facts: Facts(facts),
                all,
            });
            keys.insert(id, key);
        }
        for (what, count) in [
            ("photos", state.photos.iter().filter(|p| p.struck.is_none()).count()),
            ("words for the notice", state.words.iter().filter(|w| w.struck.is_none()).count()),
            ("notices", state.notices.len()),
        ] {
            if count > 0 {
                left_out.push(format!("{count} {what}: a job file does not hold them."));
            }
        }
        let file = JobFile {
            permit: header.permit,
            address: header.address,
            scope: header.scope,
            contractor: header.contractor,
            adoption: header.adoption,
            applied_on: header.applied_on,
            agency: header.agency,
            stage: open.as_ref().map(|v| v.stage.clone()).unwrap_or_default(),
            scheduled: open.map(|v| v.on).unwrap_or_default(),
            assigned: Vec::new(),
            history: header.history,
            subjects,
        };
        (file, left_out)
    }

    /// What the JSON alone does not show: empty fields, days that are none, keys that are not unique or not defined.
    fn check(&self) -> Result<(), JobFileError> {
        for (path, value) in
            [("permit", &self.permit), ("address", &self.address), ("adoption", &self.adoption)]
        {
            if value.trim().is_empty() {
                return Err(problem(path, "is empty"));
            }
        }
        day("applied_on", &self.applied_on)?;
        if !self.scheduled.is_empty() {
            day("scheduled", &self.scheduled)?;
        }
        if !self.stage.is_empty() && !STAGES.contains(&self.stage.as_str()) {
            return Err(problem(
                "stage",
                format!("`{}` is none of {}", short(&self.stage), STAGES.join(", ")),
            ));
        }
        for (i, past) in self.history.iter().enumerate() {
            day(&format!("history[{i}].on"), &past.on)?;
        }
        let mut seen: BTreeSet<&str> = BTreeSet::new();
        for (i, subject) in self.subjects.iter().enumerate() {
            let at = |field: &str| format!("subjects[{i}].{field}");
            for (field, value) in [("key", &subject.key), ("kind", &subject.kind), ("name", &subject.name)] {
                if value.trim().is_empty() {
                    return Err(problem(&at(field), "is empty"));
                }
            }
            if let Some(parent) = &subject.parent
                && !seen.contains(parent.as_str())
            {
                let why = format!("no subject before this one has the key `{}`", short(parent));
                return Err(problem(&at("in"), why));
            }
            if !seen.insert(&subject.key) {
                return Err(problem(
                    &at("key"),
                    format!("`{}` is the key of an earlier subject", short(&subject.key)),
                ));
            }
            for (fact, known) in &subject.facts.0 {
                if known.value.as_ref().is_some_and(|value| value.trim().is_empty()) {
                    return Err(problem(
                        &at(&format!("facts.{fact}")),
                        "is empty; leave it out or write null",
                    ));
                }
            }
        }
        Ok(())
    }
}

/// The stages of a visit.
const STAGES: [&str; 4] = ["groundwork", "rough", "final", "reinspection"];

fn problem(path: &str, problem: impl Into<String>) -> JobFileError {
    JobFileError { path: path.to_owned(), problem: problem.into() }
}

fn day(path: &str, value: &str) -> Result<(), JobFileError> {
    if is_date(value) {
        return Ok(());
    }
    Err(problem(path, format!("`{}` is not a day written like 2026-03-02", short(value))))
}

fn short(text: &str) -> String {
    text.chars().take(60).collect()
}

fn located(error: &serde_path_to_error::Error<serde_json::Error>) -> JobFileError {
    let path = error.path().to_string();
    // Where the text breaks off there is no field to name, or one is half read.
    let nowhere = path == "." || path.ends_with('?');
    JobFileError { path: if nowhere { String::new() } else { path }, problem: error.inner().to_string() }
}

impl<'de> Deserialize<'de> for Facts {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct FactsVisitor;
        impl<'de> Visitor<'de> for FactsVisitor {
            type Value = Facts;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("facts by name")
            }
            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Facts, A::Error> {
                let mut facts: Vec<(String, FactFile)> = Vec::new();
                while let Some((fact, known)) = map.next_entry::<String, FactFile>()? {
                    if facts.iter().any(|(earlier, _)| *earlier == fact) {
                        return Err(serde::de::Error::custom(format!("`{}` is given twice", short(&fact))));
                    }
                    facts.push((fact, known));
                }
                Ok(Facts(facts))
            }
        }
        deserializer.deserialize_map(FactsVisitor)
    }
}

impl Serialize for Facts {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_map(self.0.iter().map(|(fact, known)| (fact, known)))
    }
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct FullFact {
    // Named so that it is required: `{}` does not say that a fact is unknown.
    #[serde(deserialize_with = "Option::deserialize")]
    value: Option<String>,
    #[serde(default = "from_plans")]
    how: How,
    #[serde(default)]
    note: String,
}

fn from_plans() -> How {
    How::Plans
}

impl<'de> Deserialize<'de> for FactFile {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct FactVisitor;
        impl<'de> Visitor<'de> for FactVisitor {
            type Value = FactFile;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a value as text (\"24 in\", \"yes\"), null, or {\"value\", \"how\", \"note\"}")
            }
            fn visit_str<E>(self, value: &str) -> Result<FactFile, E> {
                Ok(FactFile { value: Some(value.to_owned()), how: How::Plans, note: String::new() })
            }
            fn visit_unit<E>(self) -> Result<FactFile, E> {
                Ok(FactFile { value: None, how: How::Plans, note: String::new() })
            }
            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<FactFile, A::Error> {
                let full = FullFact::deserialize(serde::de::value::MapAccessDeserializer::new(map))?;
                Ok(FactFile { value: full.value, how: full.how, note: full.note })
            }
        }
        deserializer.deserialize_any(FactVisitor)
    }
}

impl Serialize for FactFile {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let FactFile { value, how, note } = self.clone();
        FullFact { value, how, note }.serialize(serializer)
    }
}
