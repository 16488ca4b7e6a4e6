//! The rulesets of the project against what was worked out by hand: their own cases, and the walked demo jobs.
//!
//! `sync-server/demo/expected.csv` names every verdict of `sync-server/demo/walked-*.json` with its line of reason. It
//! was written from the texts of the codes and the facts of the jobs, not from what the program prints.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use crownweir_engine::view::DispositionWord;
use crownweir_engine::{Law, judge, judge_at, report};
use crownweir_record::job_file::JobFile;
use crownweir_record::{Author, Edit, Record};
use crownweir_rules::{SourceFile, Verdict};

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn read(root: &Path, folder: &Path, out: &mut Vec<SourceFile>) {
    let mut paths: Vec<PathBuf> = std::fs::read_dir(folder)
        .expect("rulesets folder")
        .map(|entry| entry.expect("entry").path())
        .collect();
    paths.sort();
    for path in paths {
        if path.is_dir() {
            read(root, &path, out);
        } else if path.extension().is_some_and(|e| e == "rules" || e == "csv") {
            let short = path.strip_prefix(root).expect("below the root").to_string_lossy().replace('\\', "/");
            out.push(SourceFile { path: short, text: std::fs::read_to_string(&path).expect("readable") });
        }
    }
}

fn law() -> Law {
    let folder = root().join("rulesets");
    let mut files = Vec::new();
    read(&folder, &folder, &mut files);
    Law::load(&files).unwrap_or_else(|e| panic!("{e}: {:?}", e.0.first()))
}

fn demo(name: &str) -> String {
    std::fs::read_to_string(root().join("sync-server/demo").join(name)).expect("a demo file")
}

fn record(file: &JobFile) -> Record {
    let author =
        Author { user: "file".into(), name: "job file".into(), role: "server".into(), device: "file".into() };
    let mut record = Record::create(file.header(), &author, [1; 16], 0).expect("a record");
    let mut edits = file.edits().expect("edits");
    edits.push(Edit::Visit { stage: file.stage.clone(), on: file.scheduled.clone() });
    record.stage(&edits, 0).expect("edits that stand");
    record.accept();
    record
}

fn word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Complies => "complies",
        Verdict::Violates => "violates",
        Verdict::Undetermined => "undetermined",
        Verdict::Settled => "settled",
        Verdict::NotApplicable => "not applicable",
    }
}

/// Verdicts by provision and key of the subject.
fn found(law: &Law, file: &JobFile) -> BTreeMap<(String, String), String> {
    let record = record(file);
    let state = record.state();
    let judgement = judge_at(state, law, Some(&file.stage), None);
    let assessment = judgement.assessment().expect("a law and a stage");
    assert_eq!(assessment.faults(), &[] as &[String], "{}", file.permit);
    let provisions = assessment.adopted().provisions();
    assessment
        .findings()
        .iter()
        .map(|finding| {
            let id = assessment.subject(finding.subject);
            let at = state.order.iter().position(|other| other == id).expect("a subject of the record");
            let key = file.subjects[at].key.clone();
            ((provisions[finding.provision].id.clone(), key), word(finding.verdict).to_owned())
        })
        .collect()
}

/// Verdicts of one job as worked by hand.
fn expected(job: &str) -> BTreeMap<(String, String), String> {
    demo("expected.csv")
        .lines()
        .skip(1)
        .map(|line| line.splitn(5, ',').collect::<Vec<_>>())
        .filter(|cells| cells[0] == job)
        .map(|cells| ((cells[1].to_owned(), cells[2].to_owned()), cells[3].to_owned()))
        .collect()
}

#[test]
fn every_case_of_every_ruleset_holds() {
    let law = law();
    let outcomes = law.library().run_cases();
    let failed: Vec<String> = outcomes
        .iter()
        .filter(|case| !case.passed)
        .map(|c| format!("{}:{} {}: expected {}, found {}", c.file, c.line, c.title, c.expected, c.found))
        .collect();
    assert!(outcomes.len() > 800, "only {} cases were found", outcomes.len());
    assert!(failed.is_empty(), "{}", failed.join("\n"));
}

#[test]
fn walked_jobs_come_out_as_worked_by_hand() {
    let law = law();
    for job in ["walked-approved", "walked-violations", "walked-townhouse", "walked-manufactured"] {
        let file = JobFile::parse(&demo(&format!("{job}.json"))).expect("a job file");
        let (found, expected) = (found(&law, &file), expected(job));
        assert!(expected.len() > 50, "{job}: expectations are missing");
        let differing: Vec<String> = found
            .keys()
            .chain(expected.keys())
            .filter(|key| found.get(*key) != expected.get(*key))
            .map(|key| {
                format!("{} of {}: found {:?}, worked {:?}", key.0, key.1, found.get(key), expected.get(key))
            })
            .collect();
        assert!(differing.is_empty(), "{job}:\n{}", differing.join("\n"));
    }
}

#[test]
fn disposition_follows_from_the_walk() {
    let law = law();
    for (job, word) in [
        ("walked-approved", DispositionWord::Approved),
        ("walked-violations", DispositionWord::CorrectionsRequired),
        ("walked-townhouse", DispositionWord::Approved),
        ("walked-manufactured", DispositionWord::Approved),
    ] {
        let file = JobFile::parse(&demo(&format!("{job}.json"))).expect("a job file");
        let record = record(&file);
        let judgement = judge(record.state(), &law);
        let report = report(&law, record.state(), &judgement).expect("a report");
        assert_eq!(report.disposition.word, word, "{job}: {:?}", report.disposition.because);
    }
}

#[test]
fn jobs_of_the_day_load_and_nothing_is_violated_before_anybody_looked() {
    let law = law();
    let files = JobFile::parse_all(&demo("day.json")).expect("jobs");
    assert_eq!(files.len(), 3);
    for file in files {
        let file = file.expect("a job file");
        let violated: Vec<_> =
            found(&law, &file).into_iter().filter(|(_, word)| word == "violates").collect();
        assert!(violated.is_empty(), "{}: {violated:?}", file.permit);
    }
}

/// Two permits of one street fall under different law: what passes on one fails on the other.
#[test]
fn permit_date_chooses_the_law() {
    let law = law();
    let file = JobFile::parse(&demo("walked-townhouse.json")).expect("a job file");
    let arm = |applied_on: &str| {
        let file = JobFile { applied_on: applied_on.to_owned(), ..file.clone() };
        found(&law, &file).get(&("arm.reach".to_owned(), "ksink".to_owned())).cloned()
    };
    // 54 in of 1-1/2 in arm: 72 in to mid 2024, then 60 (Norhaven Rule 12-5), 42 from 2026 (Alderfen Ord. 88).
    assert_eq!(arm("2024-06-30").as_deref(), Some("complies"));
    assert_eq!(arm("2025-12-31").as_deref(), Some("complies"));
    assert_eq!(arm("2026-01-01").as_deref(), Some("violates"));
}
