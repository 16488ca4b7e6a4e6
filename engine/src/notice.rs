//! What the contractor gets before the inspector drives off.

use std::collections::BTreeSet;

use crownweir_rules::Verdict;

use crate::assess::subject_name;
use crate::disposition::places_left_open;
use crate::moment::iso;
use crate::reading::{Reading, stage_label};
use crate::view::{CorrectionView, NoticeView, WordsView};

/// Said on every notice: what the paper is, and what it is not.
const CAUTIONS: [&str; 4] = [
    "This notice states what was found against the code and local amendments named above, at the places looked at, on the day of the visit. It does not warrant the rest of the work.",
    "The code official decides in every question of interpretation; an appeal goes to the board named by the jurisdiction.",
    "Work on gas, water heating and drainage is for licensed persons. Do not run an appliance listed here before its correction is done.",
    "If you smell gas or sewage, or a relief valve discharges: leave it alone, keep people away, and call the utility or the department at once. Hot water above 120 °F scalds.",
];

impl Reading<'_> {
    /// The notice of the open visit as it stands now.
    pub fn notice(&self) -> NoticeView {
        let header = self.state.job();
        let text =
            |f: fn(&crownweir_record::JobHeader) -> &String| header.map(f).cloned().unwrap_or_default();
        let visit = self.state.open_visit();
        let disposition = self.judgement.disposition(self.state);
        let issued = visit.and_then(|v| self.state.notices.iter().rev().find(|n| n.visit == v.id));
        NoticeView {
            title: match disposition.word {
                crate::view::DispositionWord::CorrectionsRequired => "Correction notice".to_owned(),
                _ => "Notice of inspection".to_owned(),
            },
            agency: text(|h| &h.agency),
            permit: text(|h| &h.permit),
            address: text(|h| &h.address),
            contractor: text(|h| &h.contractor),
            scope: text(|h| &h.scope),
            stage: visit.map(|v| stage_label(&v.value.stage).to_owned()).unwrap_or_default(),
            on: visit.map(|v| v.value.on.clone()).unwrap_or_default(),
            law: self.judgement.outcome().as_ref().map(|a| a.layers().to_vec()).unwrap_or_default(),
            corrections: self.corrections(),
            not_seen: self.not_seen(),
            covered: self.covered(),
            words: self.words(None),
            inspectors: self.inspectors(),
            cautions: CAUTIONS.map(str::to_owned).to_vec(),
            issued: issued
                .map(|n| format!("{} by {}, received by {}", iso(n.at_ms), n.who.name, n.received_by))
                .unwrap_or_default(),
            changed_since: issued
                .filter(|n| n.disposition != disposition.label)
                .map(|n| {
                    vec![format!(
                        "The disposition handed over was `{}`; it is now `{}`.",
                        n.disposition, disposition.label
                    )]
                })
                .unwrap_or_default(),
            disposition,
        }
    }

    fn corrections(&self) -> Vec<CorrectionView> {
        let Some(assessment) = self.assessment() else { return Vec::new() };
        let mut violations: Vec<_> =
            assessment.findings().iter().filter(|f| f.verdict == Verdict::Violates).collect();
        // In the order of the walk, so that the contractor can follow it through the house.
        violations.sort_by_key(|f| (self.judgement.places().rank(assessment.subject(f.subject)), f.subject));
        violations
            .into_iter()
            .zip(1..)
            .map(|(finding, number)| {
                let info = &assessment.adopted().provisions()[finding.provision];
                let subject = assessment.subject(finding.subject);
                let explanation = self.explain(finding);
                CorrectionView {
                    number,
                    provision: info.id.clone(),
                    subject_id: subject.to_string(),
                    place: self.place_name(subject),
                    subject: subject_name(self.state, subject),
                    title: info.title.clone(),
                    section: info.cite.clone(),
                    tell: explanation.tell,
                    found: explanation.found,
                    limit: explanation.limit,
                    why: info.why.clone(),
                    photos: self.photos(subject).into_iter().filter(|p| p.struck.is_none()).collect(),
                    words: self
                        .words(Some((&info.id, subject.as_str())))
                        .into_iter()
                        .map(|w| format!("{} ({})", w.text, w.by))
                        .collect(),
                }
            })
            .collect()
    }

    /// What nobody looked at, so that a notice never passes it silently.
    fn not_seen(&self) -> Vec<String> {
        let open = places_left_open(self.state);
        let mut lines: Vec<String> = open
            .iter()
            .map(|left| format!("{}: {}", subject_name(self.state, left.place), left.why))
            .collect();
        // One line a subject, so that a house hardly walked still fits on paper.
        let mut unseen: Vec<(String, String, Vec<String>)> = Vec::new();
        for wanted in self.wanted() {
            let need = self.need(&wanted);
            if open.iter().any(|left| left.place.as_str() == need.place) {
                continue;
            }
            match unseen.iter_mut().find(|(subject, ..)| *subject == need.subject) {
                Some((.., labels)) => labels.push(need.label),
                None => {
                    let place = self
                        .assessment()
                        .map(|a| self.place_name(a.subject(wanted.subject)))
                        .unwrap_or_default();
                    let whose = if place == need.subject_name {
                        place
                    } else {
                        format!("{place}, {}", need.subject_name)
                    };
                    unseen.push((need.subject, whose, vec![need.label]));
                }
            }
        }
        lines.extend(unseen.into_iter().map(|(_, whose, labels)| format!("{whose}: {}", labels.join("; "))));
        lines
    }

    /// The places an approval covers: looked at, nothing open, nothing violated.
    fn covered(&self) -> Vec<String> {
        let open = places_left_open(self.state);
        let Some(assessment) = self.assessment() else { return Vec::new() };
        let mut bad: BTreeSet<usize> = BTreeSet::new();
        let mut good: BTreeSet<usize> = BTreeSet::new();
        for finding in assessment.findings() {
            let rank = self.judgement.places().rank(assessment.subject(finding.subject));
            match finding.verdict {
                Verdict::Violates | Verdict::Undetermined => bad.insert(rank),
                Verdict::Complies | Verdict::Settled => good.insert(rank),
                Verdict::NotApplicable => false,
            };
        }
        good.difference(&bad)
            .filter_map(|&rank| self.judgement.places().walk.get(rank))
            .filter(|place| open.iter().all(|left| *left.place != place.id))
            .map(|place| subject_name(self.state, &place.id))
            .collect()
    }

    fn words(&self, of: Option<(&str, &str)>) -> Vec<WordsView> {
        self.state
            .words
            .iter()
            .filter(|w| w.struck.is_none())
            .filter(|w| match of {
                None => w.provision.is_none(),
                Some((provision, subject)) => {
                    w.provision.as_deref() == Some(provision)
                        && w.subject.as_ref().is_some_and(|s| s.as_str() == subject)
                }
            })
            .map(|w| WordsView {
                id: w.id.to_string(),
                text: w.text.clone(),
                by: w.who.name.clone(),
                at: iso(w.at_ms),
            })
            .collect()
    }

    /// Everybody who recorded something, with the role they signed in with.
    fn inspectors(&self) -> Vec<String> {
        let people: BTreeSet<String> = self
            .state
            .sessions
            .values()
            .filter(|session| session.who.inspects())
            .map(|session| format!("{} ({})", session.who.name, session.who.role))
            .collect();
        people.into_iter().collect()
    }
}
