//! The command line over the engine: assess a job, check a ruleset, run its cases.
//!
//! Each command gives what to print and one of three outcomes; the binary turns them into exit codes.

use std::path::Path;

use crownweir_engine::view::VerdictWord;
use crownweir_engine::{FUNCTIONS, Law, judge_at, report};
use crownweir_record::job_file::JobFile;
use crownweir_record::{Author, JobState, Record, SCHEMA};
use crownweir_rules::Diagnostic;
use serde_json::json;

use crate::import;
use crate::rulesets::{Rulesets, RulesetsError};

/// How results are printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum Format {
    /// For a person.
    Text,
    /// For a program.
    Json,
}

/// What a command came to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// Everything holds: exit 0.
    Holds,
    /// Something falls short: exit 1.
    FallsShort,
}

/// What goes to standard output, and the outcome.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Printed {
    /// Text or JSON.
    pub text: String,
    /// The outcome.
    pub outcome: Outcome,
}

/// The input cannot be used: exit 2. Nothing was changed, for none of the commands writes.
#[derive(Debug, thiserror::Error)]
pub enum CliError {
    /// A file cannot be read.
    #[error("cannot read {path}: {cause}")]
    Unreadable {
        /// Which.
        path: String,
        /// What the system said.
        cause: std::io::Error,
    },
    /// Ruleset files cannot be read.
    #[error(transparent)]
    Rulesets(#[from] RulesetsError),
    /// The rulesets have errors.
    #[error("the rulesets cannot be used:\n{rendered}")]
    Law {
        /// Every diagnostic, drawn.
        rendered: String,
    },
    /// The job is no job.
    #[error("{path} is not a job: {why}")]
    Job {
        /// Which.
        path: String,
        /// Why.
        why: String,
    },
    /// Nothing can be assessed.
    #[error("nothing to assess: {0}")]
    Nothing(String),
}

/// Loads the law; every error is drawn with its line and a caret.
///
/// # Errors
/// [`CliError::Law`] if a ruleset has errors.
pub fn law(rulesets: &Rulesets) -> Result<Law, CliError> {
    Law::load(&rulesets.sources()).map_err(|e| CliError::Law { rendered: drawn(&e.0, rulesets) })
}

fn drawn(diagnostics: &[Diagnostic], rulesets: &Rulesets) -> String {
    let source = |file: &str| rulesets.files.iter().find(|f| f.path == file).map_or("", |f| f.text.as_str());
    diagnostics.iter().map(|d| d.render(source(&d.file))).collect::<Vec<_>>().join("\n")
}

/// `crownweir assess`: a job file or a saved record against an adoption. Falls short when anything violates or is still
/// undetermined.
///
/// # Errors
/// [`CliError`] when the input cannot be used.
pub fn assess(
    job: &Path,
    adoption: &str,
    stage: Option<&str>,
    format: Format,
    rulesets: &Rulesets,
) -> Result<Printed, CliError> {
    let law = law(rulesets)?;
    let path = job.display().to_string();
    let bytes = std::fs::read(job).map_err(|cause| CliError::Unreadable { path: path.clone(), cause })?;
    let (state, due) = state_of(&bytes, adoption, &law).map_err(|why| CliError::Job { path, why })?;
    let open = state.open_visit().map(|v| v.value.stage.clone());
    let stage = stage.map(str::to_owned).or(open).or(due);
    let judgement = judge_at(&state, &law, stage.as_deref(), Some(adoption));
    let report = report(&law, &state, &judgement).map_err(CliError::Nothing)?;
    let short = report
        .verdicts
        .iter()
        .any(|l| matches!(l.verdict.verdict, VerdictWord::Violates | VerdictWord::Undetermined));
    let text = match format {
        Format::Text => report.to_text(),
        Format::Json => pretty(&report),
    };
    Ok(Printed { text, outcome: if short { Outcome::FallsShort } else { Outcome::Holds } })
}

/// The state of a job, and the stage that is due by the file.
fn state_of(bytes: &[u8], adoption: &str, law: &Law) -> Result<(JobState, Option<String>), String> {
    // The four bytes with which every Automerge chunk begins.
    if bytes.starts_with(&[0x85, 0x6f, 0x4a, 0x83]) {
        let record = Record::open(bytes).map_err(|e| e.to_string())?;
        if let Some(why) = record.read_only() {
            return Err(format!("{why} (this program reads document shape {SCHEMA})"));
        }
        return Ok((record.state().clone(), None));
    }
    let text = std::str::from_utf8(bytes).map_err(|_| "neither JSON text nor a saved record".to_owned())?;
    let mut file = JobFile::parse(text).map_err(|e| e.to_string())?;
    // The adoption asked for counts, not the one that the file names.
    adoption.clone_into(&mut file.adoption);
    let file = import::checked(&file, law).map_err(|e| e.to_string())?;
    let author =
        Author { user: "file".into(), name: "job file".into(), role: "server".into(), device: "file".into() };
    // Fixed actor and time: the same file gives the same report, byte for byte.
    let mut record = Record::create(file.header(), &author, [1; 16], 0).map_err(|e| e.to_string())?;
    record.stage(&file.edits().map_err(|e| e.to_string())?, 0).map_err(|e| e.to_string())?;
    record.accept();
    Ok((record.state().clone(), Some(file.stage).filter(|s| !s.is_empty())))
}

/// `crownweir rules check`: whether rulesets load.
///
/// # Errors
/// [`CliError::Law`], with every diagnostic, when they do not; as JSON that is printed by the caller too.
pub fn check_rules(dir: &Path, format: Format) -> Result<Printed, CliError> {
    let rulesets = Rulesets::from_dir(dir)?;
    let loading = crownweir_rules::load(&rulesets.sources(), FUNCTIONS);
    let rendered = drawn(&loading.diagnostics, &rulesets);
    if loading.library.is_none() {
        return Err(CliError::Law {
            rendered: match format {
                Format::Text => rendered,
                Format::Json => pretty(&loading.diagnostics),
            },
        });
    }
    let text = match format {
        Format::Text => format!("{rendered}{} files hold together\n", rulesets.files.len()),
        Format::Json => pretty(&json!({ "files": rulesets.files.len(), "diagnostics": loading.diagnostics })),
    };
    Ok(Printed { text, outcome: Outcome::Holds })
}

/// `crownweir rules test`: runs the cases of rulesets.
///
/// # Errors
/// [`CliError`] when they do not load.
pub fn test_rules(dir: &Path, format: Format) -> Result<Printed, CliError> {
    let rulesets = Rulesets::from_dir(dir)?;
    let law = law(&rulesets)?;
    let cases = law.library().run_cases();
    let failed: Vec<_> = cases.iter().filter(|c| !c.passed).collect();
    let text = match format {
        Format::Json => pretty(&cases),
        Format::Text => {
            let mut out = String::new();
            for c in &failed {
                out += &format!(
                    "{}:{}: {} ({})\n  expected {}\n  found    {}\n",
                    c.file, c.line, c.title, c.provision, c.expected, c.found
                );
                for line in &c.reason {
                    out +=
                        &format!("    {}{}  {}\n", "  ".repeat(line.depth as usize), line.text, line.detail);
                }
                if !c.source.is_empty() {
                    out += &format!("  source: {}\n", c.source);
                }
            }
            out + &format!("{} cases, {} failed\n", cases.len(), failed.len())
        }
    };
    // No case at all proves nothing.
    let holds = failed.is_empty() && !cases.is_empty();
    Ok(Printed { text, outcome: if holds { Outcome::Holds } else { Outcome::FallsShort } })
}

fn pretty(value: &impl serde::Serialize) -> String {
    // Types with string keys and without maps of other keys always have a JSON form.
    let mut text = serde_json::to_string_pretty(value).unwrap_or_default();
    text.push('\n');
    text
}
