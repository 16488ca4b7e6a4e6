//! What follows from the verdicts. Nobody sets a disposition: it is computed, and a person may only add words.

use crownweir_record::{EntryId, Hindrance, JobState};
use crownweir_rules::Verdict;

use crate::assess::{Assessment, subject_name};
use crate::places::Places;
use crate::view::{DispositionView, DispositionWord};

impl DispositionWord {
    /// The word of the trade.
    pub fn label(self) -> &'static str {
        match self {
            DispositionWord::Approved => "Approved",
            DispositionWord::ApprovedInPart => "Approved in part",
            DispositionWord::CorrectionsRequired => "Corrections required",
            DispositionWord::NotReady => "Not ready",
            DispositionWord::NoAccess => "No access",
            DispositionWord::Open => "Not decided yet",
        }
    }
}

/// Facts and statements on which two people differ and nobody who saw both has decided.
pub(crate) fn disputed_facts(state: &JobState) -> Vec<(&EntryId, &str)> {
    state
        .facts
        .iter()
        .filter(|((subject, _), register)| register.disagrees() && !state.is_struck(subject))
        .map(|((subject, fact), _)| (subject, fact.as_str()))
        .collect()
}

/// A place left out of the open visit.
pub(crate) struct LeftOpen<'a> {
    pub place: &'a EntryId,
    pub why: String,
    /// Everybody who said so.
    pub by: String,
    pub at_ms: i64,
}

/// Places left out of the open visit. A concurrent "I could look after all" beside "could not see" keeps the place
/// open: the cautious one.
pub(crate) fn places_left_open(state: &JobState) -> Vec<LeftOpen<'_>> {
    let Some(visit) = state.open_visit() else { return Vec::new() };
    let mut left = Vec::new();
    for ((of, place), register) in &state.open_places {
        let stated: Vec<_> = register.standing.iter().filter(|s| !s.value.is_empty()).collect();
        if *of != visit.id || stated.is_empty() {
            continue;
        }
        left.push(LeftOpen {
            place,
            why: stated.iter().map(|s| s.value.as_str()).collect::<Vec<_>>().join("; "),
            by: stated.iter().map(|s| s.who.name.as_str()).collect::<Vec<_>>().join(", "),
            at_ms: stated.iter().map(|s| s.at_ms).max().unwrap_or_default(),
        });
    }
    left
}

/// What the open visit comes to; without one (the command line may name a stage), what it would come to.
pub(crate) fn disposition(
    state: &JobState,
    assessment: Option<&Assessment>,
    places: &Places,
) -> DispositionView {
    let visit = state.open_visit();
    if visit.is_none() && assessment.is_none() {
        return view(DispositionWord::Open, vec!["No visit is open.".into()], false);
    }
    if state.visit.disagrees() {
        return view(
            DispositionWord::Open,
            vec!["Two people opened different visits at the same time: open the one that holds.".into()],
            false,
        );
    }
    if let Some(register) = visit.and_then(|visit| state.hinders.get(&visit.id)) {
        let stated: Vec<_> = register.standing.iter().filter(|s| !s.value.why.is_empty()).collect();
        if let [first, rest @ ..] = stated.as_slice() {
            if rest.iter().any(|other| other.value.what != first.value.what) {
                return view(
                    DispositionWord::Open,
                    vec!["One of you says not ready, the other no access: state the one that holds.".into()],
                    false,
                );
            }
            let word = if first.value.what == Hindrance::NoAccess {
                DispositionWord::NoAccess
            } else {
                DispositionWord::NotReady
            };
            let why = stated.iter().map(|s| format!("{}: {}", s.who.name, s.value.why)).collect();
            return view(word, why, true);
        }
    }
    let Some(assessment) = assessment else {
        return view(
            DispositionWord::Open,
            vec!["No adoption could be resolved for this permit.".into()],
            false,
        );
    };
    let disputed = disputed_facts(state);
    if !disputed.is_empty() {
        let because = disputed
            .iter()
            .map(|(subject, fact)| {
                format!("Two people differ on {} of {}: decide it first.", fact, subject_name(state, subject))
            })
            .collect();
        return view(DispositionWord::Open, because, false);
    }
    let unread = assessment.faults();
    if !unread.is_empty() {
        return view(DispositionWord::Open, unread.to_vec(), false);
    }

    let open_places = places_left_open(state);
    let left_open = |subject: &EntryId| {
        places.place_of(subject).is_some_and(|place| open_places.iter().any(|open| *open.place == place.id))
    };
    let (mut violations, mut decided, mut excused) = (0_u32, 0_u32, 0_u32);
    let mut waiting = Vec::new();
    for (at, finding) in assessment.findings().iter().enumerate() {
        match finding.verdict {
            Verdict::Violates => violations += 1,
            Verdict::Complies | Verdict::Settled => decided += 1,
            Verdict::NotApplicable => {}
            Verdict::Undetermined => {
                let needs = assessment.needs(at);
                // Open only for want of something in a place that was left out, and said to be.
                let only_there =
                    !needs.is_empty() && needs.iter().all(|need| left_open(assessment.subject(need.subject)));
                if only_there || left_open(assessment.subject(finding.subject)) {
                    excused += 1;
                } else {
                    waiting.push(at);
                }
            }
        }
    }
    let left = open_places
        .iter()
        .map(|open| format!("{} was left open: {}.", subject_name(state, open.place), open.why));
    if violations > 0 {
        let mut because = vec![count(violations, "requirement is not met.", "requirements are not met.")];
        if !waiting.is_empty() {
            because.push(count(
                small(waiting.len()),
                "requirement is still undecided; the notice lists what was not seen.",
                "requirements are still undecided; the notice lists what was not seen.",
            ));
        }
        because.extend(left);
        return view(DispositionWord::CorrectionsRequired, because, true);
    }
    if !waiting.is_empty() {
        let mut because = vec![count(
            small(waiting.len()),
            "requirement is still undecided.",
            "requirements are still undecided.",
        )];
        let stuck = waiting.iter().filter(|&&at| assessment.needs(at).is_empty());
        because.extend(stuck.map(|&at| {
            let finding = &assessment.findings()[at];
            let provision = &assessment.adopted().provisions()[finding.provision];
            format!(
                "{}, {}: what was recorded cannot decide it; it is for the code official.",
                provision.title,
                subject_name(state, assessment.subject(finding.subject))
            )
        }));
        return view(DispositionWord::Open, because, false);
    }
    if decided == 0 && excused == 0 {
        return view(DispositionWord::Open, vec!["Nothing has been looked at yet.".into()], false);
    }
    if excused > 0 || !open_places.is_empty() {
        return view(DispositionWord::ApprovedInPart, left.collect(), true);
    }
    view(
        DispositionWord::Approved,
        vec![count(decided, "requirement was checked and is met.", "requirements were checked and are met.")],
        true,
    )
}

fn view(word: DispositionWord, because: Vec<String>, may_issue: bool) -> DispositionView {
    DispositionView { word, label: word.label().to_owned(), because, may_issue }
}

pub(crate) fn small(n: usize) -> u32 {
    u32::try_from(n).unwrap_or(u32::MAX)
}

fn count(n: u32, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}
