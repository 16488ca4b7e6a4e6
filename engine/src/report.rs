//! The verdicts of a job as one document: what `crownweir assess` prints, on the tablet and on the server alike.

#![expect(missing_docs, reason = "fields are named by the words of the report")]

use crownweir_record::JobState;
use serde::{Deserialize, Serialize};

use crate::assess::subject_name;
use crate::reading::{Judgement, Reading, word};
use crate::view::{DispositionView, Mark, ReasonLine, VerdictView};
use crate::{Law, reading::stage_label};

/// Every verdict with its reasons. At equal heads and equal law it is the same text on every machine.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "ts", derive(ts_rs::TS))]
pub struct Report {
    pub permit: String,
    pub address: String,
    pub stage: String,
    pub adoption: String,
    pub law: Vec<String>,
    /// SHA-256 of the flat ruleset, hex.
    pub digest: String,
    pub disposition: DispositionView,
    pub verdicts: Vec<ReportLine>,
    pub faults: Vec<String>,
}

/// One verdict with the place and subject it is about and the lines of its reasons.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "ts", derive(ts_rs::TS))]
pub struct ReportLine {
    #[serde(flatten)]
    pub verdict: VerdictView,
    pub place: String,
    pub subject_name: String,
    pub reasons: Vec<ReasonLine>,
}

/// The report of a judged record.
///
/// # Errors
/// Why nothing can be assessed: no permit, no adoption in force, no visit open and no stage given.
pub fn report(law: &Law, state: &JobState, judgement: &Judgement) -> Result<Report, String> {
    let adopted = judgement.outcome().as_ref().map_err(String::clone)?;
    let assessment =
        judgement.assessment().ok_or("no visit is open in this record: name a stage to assess")?;
    let reading = Reading::new(law, state, judgement);
    let job = state.job().ok_or("the record has no permit")?;
    let verdicts = assessment
        .findings()
        .iter()
        .map(|finding| {
            let explanation = reading.explain(finding);
            let subject = assessment.subject(finding.subject);
            ReportLine {
                verdict: reading.verdict_view(finding, &explanation),
                place: reading.place_name(subject),
                subject_name: subject_name(state, subject),
                reasons: reading.reason_lines(&explanation),
            }
        })
        .collect();
    Ok(Report {
        permit: job.permit.clone(),
        address: job.address.clone(),
        stage: assessment.stage().to_owned(),
        adoption: adopted.id().to_owned(),
        law: adopted.layers().to_vec(),
        digest: adopted.digest().to_owned(),
        disposition: judgement.disposition(state),
        verdicts,
        faults: state.faults.iter().chain(assessment.faults()).cloned().collect(),
    })
}

impl Report {
    /// As a person reads it: worst first within each place, provisions that do not apply left out.
    pub fn to_text(&self) -> String {
        let mut out = format!(
            "{}, {}\n{} under {}\n",
            self.permit,
            self.address,
            stage_label(&self.stage),
            self.law.join("; ")
        );
        out += &format!("Disposition: {}\n", self.disposition.label);
        for line in &self.disposition.because {
            out += &format!("  {line}\n");
        }
        for line in self
            .verdicts
            .iter()
            .filter(|l| l.verdict.verdict != word(crownweir_rules::Verdict::NotApplicable))
        {
            let v = &line.verdict;
            let margin = v.margin.as_deref().map(|m| format!(" {m}")).unwrap_or_default();
            out += &format!(
                "\n{}  {}, {}  {}{margin}\n",
                v.provision,
                line.subject_name,
                line.place,
                v.verdict.label().to_uppercase()
            );
            out += &format!("  {}: {}\n", v.cite, v.title);
            for reason in &line.reasons {
                let mark = match reason.mark {
                    Mark::Yes => "yes ",
                    Mark::No => "NO  ",
                    Mark::Open => "open",
                    Mark::None => "    ",
                };
                let indent = "  ".repeat(reason.depth as usize + 1);
                out += format!("{indent}{mark} {}  {}", reason.text, reason.detail).trim_end();
                out.push('\n');
            }
        }
        for fault in &self.faults {
            out += &format!("\nNot read: {fault}\n");
        }
        out += "\nResults defer to the local code official and to licensed practice.\n";
        out
    }
}
