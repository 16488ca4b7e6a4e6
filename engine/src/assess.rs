//! The pure function of the whole system: a record's state and an adoption, to verdicts.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use crownweir_record::{EntryId, JobState, Observation, Register};
use crownweir_rules::{Adopted, Finding, Need, NeedWhat, Value, Verdict, World};

/// Every verdict of one stage over one job, and the world they were reached in.
pub struct Assessment {
    adopted: Arc<Adopted>,
    stage: String,
    world: World,
    /// World index -> subject.
    subjects: Vec<EntryId>,
    index: BTreeMap<EntryId, usize>,
    findings: Vec<Finding>,
    /// What each open verdict still waits for, by index into `findings`.
    needs: BTreeMap<usize, Vec<Need>>,
    faults: Vec<String>,
}

/// Assesses the job at one stage under one adoption. Struck subjects, and what stands in them, take no part.
pub fn assess(state: &JobState, adopted: &Arc<Adopted>, stage: &str) -> Assessment {
    let (world, subjects, faults) = build_world(state, adopted, &BTreeMap::new());
    let findings = adopted.assess(&world, stage);
    let needs = findings
        .iter()
        .enumerate()
        .filter(|(_, f)| f.verdict == Verdict::Undetermined)
        .map(|(i, f)| (i, adopted.needed(&world, f.provision, f.subject)))
        .collect();
    let index = subjects.iter().enumerate().map(|(i, id)| (id.clone(), i)).collect();
    Assessment {
        adopted: adopted.clone(),
        stage: stage.to_owned(),
        world,
        subjects,
        index,
        findings,
        needs,
        faults,
    }
}

/// The facts that stand otherwise in a world than in the record: (subject, fact) -> the one value to suppose.
type Supposed<'a> = BTreeMap<(&'a EntryId, &'a str), &'a str>;

fn build_world(
    state: &JobState,
    adopted: &Adopted,
    supposed: &Supposed<'_>,
) -> (World, Vec<EntryId>, Vec<String>) {
    let vocabulary = adopted.vocabulary();
    let mut world = World::new(vocabulary);
    let mut subjects = Vec::new();
    let mut index: BTreeMap<&EntryId, usize> = BTreeMap::new();
    let mut faults = Vec::new();
    for id in &state.order {
        let Some(subject) = state.subjects.get(id) else { continue };
        if subject.struck.is_some() {
            continue;
        }
        let parent = match &subject.parent {
            None => None,
            // A parent that is struck or was never readable takes what it holds out of the world with it.
            Some(parent) if index.contains_key(parent) => Some(parent.as_str()),
            Some(_) => continue,
        };
        let name = subject_name(state, id);
        match world.add(id.as_str(), &subject.kind, parent) {
            Ok(at) => {
                world.name(at, &name);
                index.insert(id, at);
                subjects.push(id.clone());
            }
            Err(e) => faults.push(format!("{name} takes no part in the verdicts: {e}")),
        }
    }
    for ((subject, fact), register) in &state.facts {
        let Some(&at) = index.get(subject) else { continue };
        let mut values: Vec<Value> = Vec::new();
        let supposed = supposed.get(&(subject, fact.as_str()));
        let texts = match supposed {
            Some(text) => vec![(*text).to_owned()],
            None => standing_values(register),
        };
        let mut refused = None;
        for text in &texts {
            match vocabulary.parse_value(fact, text) {
                Ok(value) => values.push(value),
                Err(e) => refused = Some(e.to_string()),
            }
        }
        // Half a disagreement would decide what the record leaves open: one unreadable value leaves the fact unknown.
        let outcome = match refused {
            Some(why) => Err(why),
            None => world.seen(at, fact, &values, &provenance(register)).map_err(|e| e.to_string()),
        };
        if let Err(why) = outcome {
            faults.push(format!("{} of {} is read as unknown: {why}", fact, subject_name(state, subject)));
        }
    }
    for ((subject, kind), register) in &state.closings {
        let Some(&at) = index.get(subject) else { continue };
        // Two people who disagree on "that is all of them" leave it unsaid.
        if register.agreed().is_some_and(|s| s.value) {
            world.close(at, kind);
        }
    }
    (world, subjects, faults)
}

/// The values a fact may have: one when it was seen, several when people differ, none when it is unknown.
///
/// Where one person says a value and another says that it is not known after all, anything is still possible.
pub(crate) fn standing_values(register: &Register<Observation>) -> Vec<String> {
    let values: Option<Vec<String>> = register.distinct().iter().map(|s| s.value.value.clone()).collect();
    values.unwrap_or_default()
}

fn provenance(register: &Register<Observation>) -> String {
    let told: BTreeSet<String> = register
        .standing
        .iter()
        .filter(|s| s.value.value.is_some())
        .map(|s| format!("{} by {}", s.value.how.word(), s.who.name))
        .collect();
    told.into_iter().collect::<Vec<_>>().join("; ")
}

/// How a subject is called; its id when the record does not hold it.
pub(crate) fn subject_name(state: &JobState, id: &EntryId) -> String {
    state.subjects.get(id).map_or_else(|| id.to_string(), |s| s.called().to_owned())
}

impl Assessment {
    /// The adoption this was reached under.
    pub fn adopted(&self) -> &Arc<Adopted> {
        &self.adopted
    }

    /// The stage assessed.
    pub fn stage(&self) -> &str {
        &self.stage
    }

    /// Verdicts in the order of provisions, then of subjects.
    pub fn findings(&self) -> &[Finding] {
        &self.findings
    }

    /// The world the verdicts were reached in.
    pub fn world(&self) -> &World {
        &self.world
    }

    /// The subject a finding or need speaks of.
    pub fn subject(&self, at: usize) -> &EntryId {
        &self.subjects[at]
    }

    /// Where a subject stands in the world, unless it is struck or unreadable.
    pub fn position(&self, id: &EntryId) -> Option<usize> {
        self.index.get(id).copied()
    }

    /// What the verdict at `findings()[at]` still waits for.
    pub fn needs(&self, at: usize) -> &[Need] {
        self.needs.get(&at).map_or(&[], Vec::as_slice)
    }

    /// Entries that could not take part, and why.
    pub fn faults(&self) -> &[String] {
        &self.faults
    }

    /// Every open thing once, with the findings that wait for it, in the order of first mention.
    pub fn wanted(&self) -> Vec<Wanted> {
        let mut order: Vec<Wanted> = Vec::new();
        let mut seen: BTreeMap<(usize, bool, &str), usize> = BTreeMap::new();
        for (&finding, needs) in &self.needs {
            for need in needs {
                let (closing, what) = match &need.what {
                    NeedWhat::Fact(fact) => (false, fact.as_str()),
                    NeedWhat::Closing(kind) => (true, kind.as_str()),
                };
                let at = *seen.entry((need.subject, closing, what)).or_insert_with(|| {
                    order.push(Wanted {
                        subject: need.subject,
                        closing,
                        what: what.to_owned(),
                        findings: Vec::new(),
                    });
                    order.len() - 1
                });
                order[at].findings.push(finding);
            }
        }
        order
    }

    /// The verdicts if one fact had just this value, as (provision, subject, verdict) where they differ from `self`.
    pub fn suppose(&self, state: &JobState, subject: &EntryId, fact: &str, value: &str) -> Vec<Finding> {
        let supposed = BTreeMap::from([((subject, fact), value)]);
        let (world, _, _) = build_world(state, &self.adopted, &supposed);
        self.adopted
            .assess(&world, &self.stage)
            .into_iter()
            .zip(&self.findings)
            .filter(|(new, old)| new.verdict != old.verdict)
            .map(|(new, _)| new)
            .collect()
    }
}

/// One thing still to be seen or said.
pub struct Wanted {
    /// World index of the subject it is about.
    pub subject: usize,
    /// "That is all of them" (and `what` is a kind) rather than a fact.
    pub closing: bool,
    /// Fact or kind.
    pub what: String,
    /// Indices into `findings()` that wait for it.
    pub findings: Vec<usize>,
}
