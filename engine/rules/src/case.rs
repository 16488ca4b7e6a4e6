//! Cases: a situation, the verdict expected of it, and where that expectation is from.

use crate::adopted::Adopted;
use crate::date::Date;
use crate::diagnostic::{Fault, Faults, did_you_mean};
use crate::law::Law;
use crate::library::Owner;
use crate::outcome::{CaseOutcome, Verdict};
use crate::parse::write_literal;
use crate::program::stage_bit;
use crate::quantity::{Tag, find_unit};
use crate::rational::Rational;
use crate::syntax::*;
use crate::vocabulary::Vocabulary;
use crate::world::{World, WorldError};

/// Which text a case is run under.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Text {
    /// A ruleset's own, without layers.
    Own(usize),
    Adoption(usize),
}

#[derive(Debug)]
struct Expectation {
    verdict: Verdict,
    /// Exact margin in ticks, and its writing.
    by: Option<(Rational, String)>,
    /// `None`: the only given subject the provision is for.
    subject: Option<usize>,
    because: Option<String>,
}

/// A case, its world built and checked when the ruleset loaded.
#[derive(Debug)]
pub(crate) struct Case {
    title: String,
    provision: String,
    file: String,
    line: usize,
    pub text: Text,
    pub on: Option<Date>,
    stage: Option<u8>,
    world: World,
    expect: Vec<Expectation>,
    source: String,
}

fn verdict_of(expected: Expected) -> Verdict {
    match expected {
        Expected::Complies => Verdict::Complies,
        Expected::Violates => Verdict::Violates,
        Expected::Undetermined => Verdict::Undetermined,
        Expected::Settled => Verdict::Settled,
        Expected::NotApplicable => Verdict::NotApplicable,
    }
}

pub(crate) fn verdict_text(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Complies => "complies",
        Verdict::Violates => "violates",
        Verdict::Undetermined => "undetermined",
        Verdict::Settled => "settled",
        Verdict::NotApplicable => "not applicable",
    }
}

/// Checks a case and builds its world; faults are told at their place.
#[expect(clippy::too_many_arguments, reason = "called once, with everything loading has gathered")]
pub(crate) fn resolve(
    item: &CaseItem,
    file: &str,
    line: usize,
    owner: Owner,
    adoption: Option<Option<usize>>,
    adoptions: &[&str],
    bases: &[Adopted],
    law: &Law,
    vocabulary: &Vocabulary,
    faults: &mut Faults,
) -> Option<Case> {
    let text = match (adoption, owner) {
        (Some(Some(at)), _) => Text::Adoption(at),
        (Some(None), _) => {
            let name = item.under.as_ref()?;
            faults.push(
                Fault::new("E0201", name.span, format!("there is no adoption `{}`", name.text))
                    .maybe_help(did_you_mean(&name.text, adoptions.iter().copied())),
            );
            return None;
        }
        (None, Owner::Ruleset(at)) => Text::Own(at),
        (None, _) => {
            faults.push(
                Fault::new("E0602", item.span, "the case does not say which text it is of")
                    .help("add `under ADOPTION`, or put it into a ruleset's folder"),
            );
            return None;
        }
    };
    let id = item.provision.text.as_str();
    let known: Vec<&str> = match text {
        Text::Own(at) => bases[at].provisions().iter().map(|p| p.id.as_str()).collect(),
        Text::Adoption(_) => law
            .rulesets
            .iter()
            .flat_map(|r| r.provisions.iter().map(|p| p.id.text.as_str()))
            .chain(law.layers.iter().flat_map(|l| {
                let added = l.amends.iter().flat_map(|a| &a.operations).filter_map(|(o, _)| match o {
                    Operation::AddProvision(p) => Some(p.id.text.as_str()),
                    _ => None,
                });
                l.provisions.iter().map(|p| p.id.text.as_str()).chain(added)
            }))
            .collect(),
    };
    if !known.contains(&id) {
        // A provision with a fault of its own is told there, not here.
        let exists = law.rulesets.iter().flat_map(|r| &r.provisions).any(|p| p.id.text == id);
        if !exists || !faults.has_errors() {
            faults.push(
                Fault::new(
                    "E0201",
                    item.provision.span,
                    format!("there is no provision `{id}` in this text"),
                )
                .maybe_help(did_you_mean(id, known.iter().copied())),
            );
        }
        return None;
    }
    let world = world(item, vocabulary, faults)?;
    let stage = match &item.stage {
        None => None,
        Some(stage) => match stage_bit(&stage.text) {
            Some(bit) => Some(bit),
            None => {
                faults.push(Fault::new("E0201", stage.span, format!("there is no stage `{}`", stage.text)));
                return None;
            }
        },
    };
    let mut expect = Vec::new();
    for clause in &item.expect {
        let subject = match &clause.subject {
            None => None,
            Some(name) => match world.find(&name.text) {
                Some(at) => Some(at),
                None => {
                    let known = item.given.iter().map(|g| g.name.text.as_str());
                    faults.push(
                        Fault::new("E0603", name.span, format!("no subject `{}` is given", name.text))
                            .maybe_help(did_you_mean(&name.text, known)),
                    );
                    return None;
                }
            },
        };
        let by = match &clause.by {
            None => None,
            Some(by) => match &by.value {
                Literal::Quantity { ticks, ty, unit } => {
                    let offset = match (ty.tag, unit) {
                        (Tag::Point, Some(unit)) => find_unit(unit).and_then(|u| u.to_ticks(Rational::ZERO)),
                        _ => None,
                    };
                    let ticks = offset.map_or(Some(*ticks), |o| ticks.sub(o))?;
                    Some((ticks, write_literal(&by.value)))
                }
                _ => {
                    faults.push(Fault::new("E0204", by.span, "a margin is a number with its unit"));
                    return None;
                }
            },
        };
        let because = clause.because.as_ref().map(|b| b.text.clone());
        expect.push(Expectation { verdict: verdict_of(clause.verdict), by, subject, because });
    }
    Some(Case {
        title: item.title.text.clone(),
        provision: id.to_owned(),
        file: file.to_owned(),
        line,
        text,
        on: item.on.map(|(d, _)| d),
        stage,
        world,
        expect,
        source: item.source.as_ref().map_or(String::new(), |s| s.text.clone()),
    })
}

fn world(item: &CaseItem, vocabulary: &Vocabulary, faults: &mut Faults) -> Option<World> {
    let mut world = World::new(vocabulary);
    let mut whole = true;
    for given in &item.given {
        let parent = given.parent.as_ref().map(|p| p.text.as_str());
        let subject = match world.add(&given.name.text, &given.kind.text, parent) {
            Ok(subject) => subject,
            Err(error) => {
                let at = match &error {
                    WorldError::UnknownParent { .. } | WorldError::Misplaced { .. } => {
                        given.parent.as_ref().map_or(given.name.span, |p| p.span)
                    }
                    WorldError::Duplicate { .. } => given.name.span,
                    _ => given.kind.span,
                };
                faults.push(Fault::new("E0603", at, error.to_string()));
                whole = false;
                continue;
            }
        };
        for fact in &given.facts {
            let mut values = Vec::new();
            for value in &fact.values {
                match vocabulary.parse_value(&fact.fact.text, &value.text) {
                    Ok(value) => values.push(value),
                    Err(error) => {
                        let at = match error {
                            crate::ValueError::UnknownFact { .. } => fact.fact.span,
                            _ => value.span,
                        };
                        faults.push(Fault::new("E0603", at, error.to_string()));
                        whole = false;
                    }
                }
            }
            if values.len() == fact.values.len()
                && let Err(error) = world.seen(subject, &fact.fact.text, &values, "given")
            {
                faults.push(Fault::new("E0603", fact.fact.span, error.to_string()));
                whole = false;
            }
        }
    }
    for (kind, subject) in &item.closed {
        match (vocabulary.kind(&kind.text), world.find(&subject.text)) {
            (Some(_), Some(at)) => world.close(at, &kind.text),
            (None, _) => {
                let help = did_you_mean(&kind.text, vocabulary.0.kind_names());
                let told = format!("there is no kind `{}`", kind.text);
                faults.push(Fault::new("E0603", kind.span, told).maybe_help(help));
                whole = false;
            }
            (_, None) => {
                faults.push(Fault::new(
                    "E0603",
                    subject.span,
                    format!("no subject `{}` is given", subject.text),
                ));
                whole = false;
            }
        }
    }
    whole.then_some(world)
}

impl Case {
    fn outcome(&self, passed: bool, found: String, reason: Vec<crate::outcome::Line>) -> CaseOutcome {
        let expected: Vec<String> = self
            .expect
            .iter()
            .map(|e| {
                let mut out = verdict_text(e.verdict).to_owned();
                if let Some((_, by)) = &e.by {
                    out.push_str(&format!(" by {by}"));
                }
                if let Some(subject) = e.subject {
                    out.push_str(&format!(" for {}", self.world.id(subject)));
                }
                if let Some(because) = &e.because {
                    out.push_str(&format!(" because \"{because}\""));
                }
                out
            })
            .collect();
        CaseOutcome {
            title: self.title.clone(),
            provision: self.provision.clone(),
            file: self.file.clone(),
            line: self.line,
            passed,
            expected: expected.join("; "),
            found,
            reason,
            source: self.source.clone(),
        }
    }

    /// The case cannot be run.
    pub fn failed(&self, reason: &str) -> CaseOutcome {
        self.outcome(false, reason.to_owned(), vec![])
    }

    /// Runs the case under a text.
    pub fn run(&self, text: &Adopted) -> CaseOutcome {
        let Some(provision) = text.provisions().iter().position(|p| p.id == self.provision) else {
            // A provision not in force, or removed, requires nothing.
            let none = self.expect.iter().all(|e| e.verdict == Verdict::NotApplicable);
            return self.outcome(
                none,
                "not applicable: the text has no such provision on that day".to_owned(),
                vec![],
            );
        };
        let code = &text.built.program.provisions[provision];
        let fits = |s: &usize| code.kinds[usize::from(self.world.subjects[*s].kind)];
        let candidates: Vec<usize> = (0..self.world.len()).filter(fits).collect();
        let mut found = Vec::new();
        let mut reason = Vec::new();
        let mut passed = true;
        for expectation in &self.expect {
            let subject = match (expectation.subject, candidates.as_slice()) {
                (Some(subject), _) => subject,
                (None, [one]) => *one,
                (None, []) if self.world.len() == 1 => 0,
                (None, []) => {
                    found.push(
                        "no given subject is of a kind the provision is for; add `for NAME`".to_owned(),
                    );
                    passed = false;
                    continue;
                }
                (None, _) => {
                    found.push(
                        "several given subjects are of a kind the provision is for; add `for NAME`"
                            .to_owned(),
                    );
                    passed = false;
                    continue;
                }
            };
            let at_stage = self.stage.is_none_or(|s| code.stages & s != 0);
            if !at_stage || !fits(&subject) {
                passed &= expectation.verdict == Verdict::NotApplicable;
                found.push("not applicable: not for this kind or stage".to_owned());
                continue;
            }
            let told = text.told(&self.world, provision, subject);
            let explanation = told.explanation;
            let mut line = verdict_text(explanation.verdict).to_owned();
            if let Some(margin) = &explanation.margin {
                line.push_str(&format!(" {margin}"));
            }
            if !explanation.headline.is_empty() {
                line.push_str(&format!(" ({})", explanation.headline));
            }
            found.push(line);
            passed &= explanation.verdict == expectation.verdict;
            if let Some((by, _)) = &expectation.by {
                passed &= told.margin.is_some_and(|(ticks, _)| ticks == *by);
            }
            if let Some(because) = &expectation.because {
                passed &= explanation.lines.iter().any(|l| l.text == *because);
            }
            reason.extend(explanation.lines);
        }
        self.outcome(passed, found.join("; "), reason)
    }
}
