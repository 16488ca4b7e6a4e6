//! One job, read under its law: the screens' data.

use std::collections::BTreeMap;
use std::sync::Arc;

use crownweir_record::{EntryId, JobState, Observation, Photo, Register, Stamped, Strike, Subject};
use crownweir_rules::{Adopted, Entry, Explanation, Finding, Mark as RuleMark, Verdict, Vocabulary};

use crate::assess::{Assessment, Wanted, assess, standing_values, subject_name};
use crate::disposition::{LeftOpen, disposition, disputed_facts, places_left_open, small};
use crate::law::{Law, adoption_view};
use crate::moment::iso;
use crate::places::{Place, Places};
use crate::view::*;

/// What the law makes of a record at its heads. Owns nothing of the record, so that a holder can keep both.
pub struct Judgement {
    outcome: Result<Arc<Adopted>, String>,
    assessment: Option<Assessment>,
    places: Places,
}

/// Words for the stages of a visit.
pub fn stage_label(stage: &str) -> &str {
    match stage {
        "groundwork" => "Groundwork",
        "rough" => "Rough-in",
        "final" => "Final",
        "reinspection" => "Reinspection",
        other => other,
    }
}

/// Judges a record under the law at hand. Without an open visit nothing is assessed: a verdict is one of a stage.
pub fn judge(state: &JobState, law: &Law) -> Judgement {
    judge_at(state, law, state.open_visit().map(|v| v.value.stage.as_str()), None)
}

/// Judges a record at a given stage, and under a given adoption instead of the record's own.
pub fn judge_at(state: &JobState, law: &Law, stage: Option<&str>, adoption: Option<&str>) -> Judgement {
    let outcome = match (state.job(), state.header.disagrees()) {
        (None, _) => Err("the record has no permit".to_owned()),
        // Which law binds must not depend on whose change happens to stand first.
        (_, true) => Err("two people changed the permit's data differently: set it once more".to_owned()),
        (Some(job), false) => law.adopt(adoption.unwrap_or(&job.adoption), &job.applied_on),
    };
    let assessment = match (&outcome, stage) {
        (Ok(adopted), Some(stage)) => Some(assess(state, adopted, stage)),
        _ => None,
    };
    Judgement { outcome, assessment, places: Places::of(state) }
}

impl Judgement {
    /// The verdicts, when there is a law and an open visit.
    pub fn assessment(&self) -> Option<&Assessment> {
        self.assessment.as_ref()
    }

    /// The law in force, or why there is none.
    pub fn outcome(&self) -> &Result<Arc<Adopted>, String> {
        &self.outcome
    }

    /// The walk through the house.
    pub fn places(&self) -> &Places {
        &self.places
    }

    /// What the open visit comes to.
    pub fn disposition(&self, state: &JobState) -> DispositionView {
        disposition(state, self.assessment.as_ref(), &self.places)
    }
}

/// What is counted for one place of the walk.
#[derive(Clone, Copy, Default)]
struct Counts {
    tally: Tally,
    disagreements: u32,
}

impl Tally {
    fn plus(self, other: Tally) -> Tally {
        Tally {
            complies: self.complies + other.complies,
            violates: self.violates + other.violates,
            undetermined: self.undetermined + other.undetermined,
            settled: self.settled + other.settled,
            not_applicable: self.not_applicable + other.not_applicable,
            to_see: self.to_see + other.to_see,
        }
    }
}

/// A record and its judgement, for drawing.
pub struct Reading<'a> {
    pub(crate) law: &'a Law,
    pub(crate) state: &'a JobState,
    pub(crate) judgement: &'a Judgement,
}

impl<'a> Reading<'a> {
    /// Reads `state` as judged; `judgement` must be of this very state.
    pub fn new(law: &'a Law, state: &'a JobState, judgement: &'a Judgement) -> Self {
        Reading { law, state, judgement }
    }

    fn vocabulary(&self) -> &'a Vocabulary {
        self.law.vocabulary()
    }

    pub(crate) fn assessment(&self) -> Option<&'a Assessment> {
        self.judgement.assessment.as_ref()
    }

    /// The job's first screen.
    pub fn job(&self, doc: &str, read_only: Option<&str>) -> JobView {
        let header = self.state.job();
        let text =
            |f: fn(&crownweir_record::JobHeader) -> &String| header.map(f).cloned().unwrap_or_default();
        let wanted = self.wanted();
        let counts = self.counts(&wanted);
        let left_open = places_left_open(self.state);
        let mut faults = self.state.faults.clone();
        if let Some(a) = self.assessment() {
            faults.extend(a.faults().iter().cloned());
        }
        JobView {
            doc: doc.to_owned(),
            permit: text(|h| &h.permit),
            address: text(|h| &h.address),
            scope: text(|h| &h.scope),
            contractor: text(|h| &h.contractor),
            applied_on: text(|h| &h.applied_on),
            adoption: adoption_view(&text(|h| &h.adoption), &self.judgement.outcome),
            visit: self.state.open_visit().map(|visit| VisitView {
                id: visit.id.to_string(),
                stage: visit.value.stage.clone(),
                stage_label: stage_label(&visit.value.stage).to_owned(),
                on: visit.value.on.clone(),
                opened_by: visit.who.name.clone(),
            }),
            history: self.history(),
            tally: counts.iter().map(|c| c.tally).fold(Tally::default(), Tally::plus),
            places: self
                .judgement
                .places
                .walk
                .iter()
                .zip(counts)
                .map(|(place, counts)| self.place_view(place, counts, &left_open))
                .collect(),
            disagreements: self.disagreements(),
            disposition: self.judgement.disposition(self.state),
            read_only: read_only.map(str::to_owned),
            faults,
        }
    }

    /// One place with what stands in it; `None` for an id that is no place of this job.
    pub fn place(&self, place: &EntryId) -> Option<PlacePage> {
        let at = self.judgement.places.walk.iter().position(|p| p.id == *place)?;
        let place = &self.judgement.places.walk[at];
        let mut wanted = self.wanted();
        let counts = self.counts(&wanted).swap_remove(at);
        // From here on only this place is drawn.
        wanted.retain(|w| self.rank(w.subject) == at);
        let mut addable = Vec::new();
        for (id, _) in &place.contents {
            let Some(subject) = self.state.subjects.get(id) else { continue };
            if subject.struck.is_some() {
                continue;
            }
            for kind in self.vocabulary().can_hold(&subject.kind) {
                addable.push(KindView {
                    label: self.kind_label(&kind),
                    kind,
                    parent: id.to_string(),
                    parent_name: subject_name(self.state, id),
                });
            }
        }
        Some(PlacePage {
            place: self.place_view(place, counts, &places_left_open(self.state)),
            subjects: place
                .contents
                .iter()
                .filter_map(|(id, depth)| self.subject(id, *depth, &wanted))
                .collect(),
            still_to_see: wanted.iter().map(|w| self.need(w)).collect(),
            addable,
        })
    }

    /// The whole reason of one verdict; `None` when the provision does not speak of the subject at this stage.
    pub fn reason(&self, provision: &str, subject: &EntryId) -> Option<ReasonPage> {
        let assessment = self.assessment()?;
        let (at, finding) = self.find(provision, subject)?;
        let info = &assessment.adopted().provisions()[finding.provision];
        let explanation = self.explain(finding);
        let wanted = self.wanted();
        Some(ReasonPage {
            verdict: self.verdict_view(finding, &explanation),
            subject_name: subject_name(self.state, subject),
            place_name: self.place_name(subject),
            lines: self.reason_lines(&explanation),
            tell: explanation.tell,
            look: info.look.clone(),
            why: info.why.clone(),
            basis: info.basis.clone(),
            still_to_see: wanted.iter().filter(|w| w.findings.contains(&at)).map(|w| self.need(w)).collect(),
        })
    }

    pub(crate) fn reason_lines(&self, explanation: &Explanation) -> Vec<ReasonLine> {
        let line = |line: &crownweir_rules::Line| ReasonLine {
            depth: line.depth,
            mark: match line.mark {
                RuleMark::Yes => Mark::Yes,
                RuleMark::No => Mark::No,
                RuleMark::Open => Mark::Open,
                RuleMark::None => Mark::None,
            },
            text: line.text.clone(),
            detail: line.detail.clone(),
        };
        explanation.lines.iter().map(line).collect()
    }

    /// Every observation ever made of one fact, oldest first.
    pub fn fact_history(&self, subject: &EntryId, fact: &str) -> FactHistory {
        let register = self.state.facts.get(&(subject.clone(), fact.to_owned()));
        let disputed = register.is_some_and(Register::disagrees);
        let mut items: Vec<(i64, FactHistoryItem)> = Vec::new();
        for (stands, list) in register.iter().flat_map(|r| [(false, &r.earlier), (true, &r.standing)]) {
            items.extend(list.iter().map(|observation| {
                let standing = match (stands, observation.value.value.is_some()) {
                    (true, true) if disputed => "disputed",
                    (true, true) => "stands",
                    (true, false) => "withdrawn",
                    (false, _) => "replaced",
                };
                let observation_view = self.observation(fact, observation);
                (
                    observation.at_ms,
                    FactHistoryItem { observation: observation_view, standing: standing.to_owned() },
                )
            }));
        }
        // By the devices' clocks, for reading only; what stands was settled by who saw what.
        items.sort_by(|a, b| a.0.cmp(&b.0).then_with(|| a.1.observation.id.cmp(&b.1.observation.id)));
        FactHistory {
            label: self.fact_label(fact),
            subject_name: subject_name(self.state, subject),
            items: items.into_iter().map(|(_, item)| item).collect(),
        }
    }

    /// What a typed value is taken for.
    ///
    /// # Errors
    /// What to type instead, for the person at the keypad.
    pub fn read_value(&self, fact: &str, typed: &str) -> Result<ReadValue, String> {
        let value = self.vocabulary().parse_value(fact, typed).map_err(|e| e.to_string())?;
        Ok(ReadValue {
            canonical: self.vocabulary().format_value(fact, &value),
            spoken: self.vocabulary().spoken(fact, &value),
        })
    }

    fn history(&self) -> Vec<HistoryView> {
        let earlier = self.state.job().into_iter().flat_map(|job| &job.history).map(|h| HistoryView {
            on: h.on.clone(),
            stage: stage_label(&h.stage).to_owned(),
            disposition: h.disposition.clone(),
            by: h.by.clone(),
            words: h.words.clone(),
        });
        let issued = self.state.notices.iter().map(|notice| {
            let visit = self.state.visits.iter().find(|v| v.id == notice.visit);
            HistoryView {
                on: visit.map(|v| v.value.on.clone()).unwrap_or_default(),
                stage: visit.map(|v| stage_label(&v.value.stage).to_owned()).unwrap_or_default(),
                disposition: notice.disposition.clone(),
                by: notice.who.name.clone(),
                words: format!("Received by {}", notice.received_by),
            }
        });
        earlier.chain(issued).collect()
    }

    pub(crate) fn wanted(&self) -> Vec<Wanted> {
        self.assessment().map(Assessment::wanted).unwrap_or_default()
    }

    /// Which place of the walk a subject of the assessment stands in.
    fn rank(&self, subject: usize) -> usize {
        self.assessment().map_or(usize::MAX, |a| self.judgement.places.rank(a.subject(subject)))
    }

    /// Counts for every place of the walk, in one pass: the job's screen draws them all after every tap.
    fn counts(&self, wanted: &[Wanted]) -> Vec<Counts> {
        let mut counts = vec![Counts::default(); self.judgement.places.walk.len()];
        let findings = self.assessment().map_or(&[][..], Assessment::findings);
        for finding in findings {
            let Some(Counts { tally, .. }) = counts.get_mut(self.rank(finding.subject)) else { continue };
            let counter = match finding.verdict {
                Verdict::Complies => &mut tally.complies,
                Verdict::Violates => &mut tally.violates,
                Verdict::Undetermined => &mut tally.undetermined,
                Verdict::Settled => &mut tally.settled,
                Verdict::NotApplicable => &mut tally.not_applicable,
            };
            *counter += 1;
        }
        for wanted in wanted {
            if let Some(counts) = counts.get_mut(self.rank(wanted.subject)) {
                counts.tally.to_see += 1;
            }
        }
        for (subject, _) in disputed_facts(self.state) {
            if let Some(counts) = counts.get_mut(self.judgement.places.rank(subject)) {
                counts.disagreements += 1;
            }
        }
        counts
    }

    fn place_view(&self, place: &Place, counts: Counts, left_open: &[LeftOpen<'_>]) -> PlaceView {
        let subject = self.state.subjects.get(&place.id);
        let standing = |id: &EntryId| self.state.subjects.get(id).is_some_and(|s| s.struck.is_none());
        PlaceView {
            id: place.id.to_string(),
            name: subject_name(self.state, &place.id),
            kind: subject.map(|s| s.kind.clone()).unwrap_or_default(),
            depth: place.depth,
            tally: counts.tally,
            subjects: small(place.contents.iter().filter(|(id, depth)| *depth > 0 && standing(id)).count()),
            disagreements: counts.disagreements,
            struck: subject.and_then(|s| s.struck.as_ref()).map(strike_view),
            left_open: left_open.iter().find(|l| *l.place == place.id).map(|l| StrikeView {
                by: l.by.clone(),
                at: iso(l.at_ms),
                why: l.why.clone(),
            }),
        }
    }

    fn subject(&self, id: &EntryId, depth: u32, wanted: &[Wanted]) -> Option<SubjectView> {
        let subject = self.state.subjects.get(id)?;
        Some(SubjectView {
            id: id.to_string(),
            kind: subject.kind.clone(),
            kind_label: self.kind_label(&subject.kind),
            name: subject_name(self.state, id),
            parent: subject.parent.as_ref().map(ToString::to_string).unwrap_or_default(),
            depth,
            added_by: subject.who.name.clone(),
            added_at: iso(subject.at_ms),
            struck: subject.struck.as_ref().map(strike_view),
            facts: self.facts(id, subject, wanted),
            closings: self.closings(id, subject, wanted),
            verdicts: self.verdicts(id),
            photos: self.photos(id),
        })
    }

    fn facts(&self, id: &EntryId, subject: &Subject, wanted: &[Wanted]) -> Vec<FactView> {
        let asked: Vec<String> =
            self.assessment().map(|a| a.adopted().asks(&subject.kind, a.stage())).unwrap_or_default();
        self.vocabulary()
            .facts_of(&subject.kind)
            .into_iter()
            .map(|info| {
                let register = self.state.facts.get(&(id.clone(), info.name.clone()));
                FactView {
                    fact: info.name.clone(),
                    label: info.label.clone(),
                    hint: info.hint.clone(),
                    entry: entry_form(&info.entry),
                    state: match register {
                        Some(r) if r.disagrees() => FactState::Disputed,
                        Some(r) if r.standing.iter().any(|s| s.value.value.is_some()) => FactState::Seen,
                        _ => FactState::Unknown,
                    },
                    current: register
                        .iter()
                        .flat_map(|r| &r.standing)
                        .filter(|s| s.value.value.is_some() || register.is_some_and(Register::disagrees))
                        .map(|s| self.observation(&info.name, s))
                        .collect(),
                    earlier: register.map_or(0, |r| small(r.earlier.len())),
                    wanted_for: self.wanted_for(id, false, &info.name, wanted),
                    asked: asked.contains(&info.name),
                }
            })
            .collect()
    }

    fn closings(&self, id: &EntryId, subject: &Subject, wanted: &[Wanted]) -> Vec<ClosingView> {
        self.vocabulary()
            .can_hold(&subject.kind)
            .into_iter()
            .chain(
                wanted.iter().filter(|w| w.closing && self.is_subject(w.subject, id)).map(|w| w.what.clone()),
            )
            .collect::<std::collections::BTreeSet<String>>()
            .into_iter()
            .map(|kind| {
                let register = self.state.closings.get(&(id.clone(), kind.clone()));
                let standing = register.map_or(&[][..], |r| &r.standing[..]);
                let agreed = register.and_then(Register::agreed);
                ClosingView {
                    label: self.kind_label(&kind),
                    closed: agreed.is_some_and(|s| s.value),
                    by: standing.iter().map(|s| s.who.name.as_str()).collect::<Vec<_>>().join(", "),
                    wanted: !self.wanted_for(id, true, &kind, wanted).is_empty(),
                    kind,
                }
            })
            .collect()
    }

    fn verdicts(&self, id: &EntryId) -> Vec<VerdictView> {
        let Some(assessment) = self.assessment() else { return Vec::new() };
        let Some(at) = assessment.position(id) else { return Vec::new() };
        let mut verdicts: Vec<VerdictView> = assessment
            .findings()
            .iter()
            .filter(|f| f.verdict != Verdict::NotApplicable && f.subject == at)
            .map(|f| self.verdict_view(f, &self.explain(f)))
            .collect();
        verdicts.sort_by_key(|v| v.verdict);
        verdicts
    }

    pub(crate) fn photos(&self, subject: &EntryId) -> Vec<PhotoView> {
        self.state.photos.iter().filter(|p| p.subject == *subject).map(photo_view).collect()
    }

    pub(crate) fn explain(&self, finding: &Finding) -> Explanation {
        let assessment = self.assessment().expect("a finding comes from an assessment");
        assessment.adopted().explain(assessment.world(), finding.provision, finding.subject)
    }

    pub(crate) fn verdict_view(&self, finding: &Finding, explanation: &Explanation) -> VerdictView {
        let assessment = self.assessment().expect("a finding comes from an assessment");
        let info = &assessment.adopted().provisions()[finding.provision];
        VerdictView {
            provision: info.id.clone(),
            subject: assessment.subject(finding.subject).to_string(),
            title: info.title.clone(),
            cite: info.cite.clone(),
            verdict: word(finding.verdict),
            margin: explanation.margin.clone(),
            because: explanation.headline.clone(),
        }
    }

    fn find(&self, provision: &str, subject: &EntryId) -> Option<(usize, &Finding)> {
        let assessment = self.assessment()?;
        let of = assessment.position(subject)?;
        assessment
            .findings()
            .iter()
            .enumerate()
            .find(|(_, f)| f.subject == of && assessment.adopted().provisions()[f.provision].id == provision)
    }

    fn is_subject(&self, at: usize, id: &EntryId) -> bool {
        self.assessment().is_some_and(|a| a.subject(at) == id)
    }

    fn wanted_for(&self, id: &EntryId, closing: bool, what: &str, wanted: &[Wanted]) -> Vec<String> {
        wanted
            .iter()
            .filter(|w| w.closing == closing && w.what == what && self.is_subject(w.subject, id))
            .flat_map(|w| self.titles(w))
            .collect()
    }

    fn titles(&self, wanted: &Wanted) -> Vec<String> {
        let Some(assessment) = self.assessment() else { return Vec::new() };
        let mut titles: Vec<String> = Vec::new();
        for &at in &wanted.findings {
            let title = &assessment.adopted().provisions()[assessment.findings()[at].provision].title;
            if !titles.contains(title) {
                titles.push(title.clone());
            }
        }
        titles
    }

    pub(crate) fn need(&self, wanted: &Wanted) -> NeedView {
        let id = self.assessment().expect("a need comes from an assessment").subject(wanted.subject);
        NeedView {
            subject: id.to_string(),
            subject_name: subject_name(self.state, id),
            place: self.judgement.places.place_of(id).map(|p| p.id.to_string()).unwrap_or_default(),
            what: wanted.what.clone(),
            closing: wanted.closing,
            label: if wanted.closing {
                format!("That is all of them: {}", self.kind_label(&wanted.what).to_lowercase())
            } else {
                self.fact_label(&wanted.what)
            },
            wanted_for: self.titles(wanted),
        }
    }

    pub(crate) fn place_name(&self, subject: &EntryId) -> String {
        match self.judgement.places.place_of(subject) {
            Some(place) => subject_name(self.state, &place.id),
            None => String::new(),
        }
    }

    fn observation(&self, fact: &str, observation: &Stamped<Observation>) -> ObservationView {
        let vocabulary = self.vocabulary();
        let value = match &observation.value.value {
            None => "not known after all".to_owned(),
            Some(text) => match vocabulary.parse_value(fact, text) {
                Ok(value) => vocabulary.spoken(fact, &value),
                // Shown as it stands in the record; `faults` says that it takes no part.
                Err(_) => text.clone(),
            },
        };
        ObservationView {
            id: observation.id.to_string(),
            value,
            typed: observation.value.value.clone().unwrap_or_default(),
            how: observation.value.how.word().to_owned(),
            note: observation.value.note.clone(),
            by: observation.who.name.clone(),
            at: iso(observation.at_ms),
            device: observation.who.device.clone(),
        }
    }

    fn disagreements(&self) -> Vec<DisagreementView> {
        disputed_facts(self.state)
            .into_iter()
            .map(|(subject, fact)| {
                let register = &self.state.facts[&(subject.clone(), fact.to_owned())];
                DisagreementView {
                    subject: subject.to_string(),
                    subject_name: subject_name(self.state, subject),
                    place: self
                        .judgement
                        .places
                        .place_of(subject)
                        .map(|p| p.id.to_string())
                        .unwrap_or_default(),
                    fact: fact.to_owned(),
                    label: self.fact_label(fact),
                    values: register.standing.iter().map(|s| self.observation(fact, s)).collect(),
                    effect: self.effect(subject, fact, &standing_values(register)),
                }
            })
            .collect()
    }

    /// What each of the disputed values would decide.
    fn effect(&self, subject: &EntryId, fact: &str, values: &[String]) -> String {
        let Some(assessment) = self.assessment() else { return String::new() };
        let mut by_provision: BTreeMap<(usize, usize), Vec<String>> = BTreeMap::new();
        for value in values {
            for finding in assessment.suppose(self.state, subject, fact, value) {
                let text = format!("{value}: {}", word(finding.verdict).label());
                by_provision.entry((finding.provision, finding.subject)).or_default().push(text);
            }
        }
        if by_provision.is_empty() {
            return "Every verdict is the same under each of the values.".to_owned();
        }
        by_provision
            .into_iter()
            .map(|((provision, _), outcomes)| {
                format!("{} ({})", assessment.adopted().provisions()[provision].title, outcomes.join("; "))
            })
            .collect::<Vec<_>>()
            .join(" · ")
    }

    pub(crate) fn kind_label(&self, kind: &str) -> String {
        self.vocabulary().kind(kind).map_or_else(|| kind.to_owned(), |k| k.label.clone())
    }

    pub(crate) fn fact_label(&self, fact: &str) -> String {
        self.vocabulary().fact(fact).map_or_else(|| fact.to_owned(), |f| f.label.clone())
    }
}

impl VerdictWord {
    /// The word a person reads.
    pub fn label(self) -> &'static str {
        match self {
            VerdictWord::Complies => "complies",
            VerdictWord::Violates => "violates",
            VerdictWord::Undetermined => "undetermined",
            VerdictWord::Settled => "complies or does not apply",
            VerdictWord::NotApplicable => "not applicable",
        }
    }
}

pub(crate) fn word(verdict: Verdict) -> VerdictWord {
    match verdict {
        Verdict::Complies => VerdictWord::Complies,
        Verdict::Violates => VerdictWord::Violates,
        Verdict::Undetermined => VerdictWord::Undetermined,
        Verdict::Settled => VerdictWord::Settled,
        Verdict::NotApplicable => VerdictWord::NotApplicable,
    }
}

fn strike_view(strike: &Strike) -> StrikeView {
    StrikeView { by: strike.who.name.clone(), at: iso(strike.at_ms), why: strike.why.clone() }
}

fn photo_view(photo: &Photo) -> PhotoView {
    PhotoView {
        id: photo.id.to_string(),
        sha256: photo.sha256.clone(),
        subject: photo.subject.to_string(),
        caption: photo.caption.clone(),
        by: photo.who.name.clone(),
        at: iso(photo.at_ms),
        struck: photo.struck.as_ref().map(strike_view),
    }
}

fn entry_form(entry: &Entry) -> EntryForm {
    let choice = |words: &[(String, String)]| EntryForm::Choice {
        words: words
            .iter()
            .map(|(word, label)| WordView { word: word.clone(), label: label.clone() })
            .collect(),
    };
    match entry {
        Entry::YesNo => EntryForm::YesNo,
        Entry::Choice { words } | Entry::Nominal { sizes: words } => choice(words),
        Entry::Number { units, fractions, least, most } => EntryForm::Number {
            units: units.clone(),
            fractions: *fractions,
            least: least.clone(),
            most: most.clone(),
        },
        Entry::Count { least, most } => EntryForm::Count { least: least.clone(), most: most.clone() },
        Entry::Date => EntryForm::Date,
    }
}
