//! The desk as the worker uses it. The same tests run natively and, by the WASM runner, in headless Chromium.

use crownweir_engine::{Command, Law};
use crownweir_record::{Author, DocumentId, Record, job_file::JobFile};
use crownweir_rules::SourceFile;
use include_dir::{Dir, include_dir};
use web_core::{Desk, Session};

#[cfg(target_family = "wasm")]
use wasm_bindgen_test::wasm_bindgen_test as test;
#[cfg(target_family = "wasm")]
wasm_bindgen_test::wasm_bindgen_test_configure!(run_in_browser);

static RULESETS: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/../../rulesets");
const DAY: &str = include_str!("../../../sync-server/demo/day.json");
const NOW: i64 = 1_795_603_327_000;

fn rulesets() -> Vec<SourceFile> {
    fn gather(dir: &Dir<'_>, files: &mut Vec<SourceFile>) {
        for file in dir.files() {
            let path = file.path().to_string_lossy().into_owned();
            if path.ends_with(".rules") || (path.ends_with(".csv") && path.contains("/tables/")) {
                files.push(SourceFile { path, text: file.contents_utf8().unwrap().to_owned() });
            }
        }
        dir.dirs().for_each(|dir| gather(dir, files));
    }
    let mut files = Vec::new();
    gather(&RULESETS, &mut files);
    files
}

/// The first demo job as the server would have created it.
fn demo_job() -> (String, Vec<u8>) {
    let files = JobFile::parse_all(DAY).unwrap();
    let file = files.into_iter().next().unwrap().unwrap();
    let server = Author {
        user: "server".into(),
        name: "Server".into(),
        role: "server".into(),
        device: "server".into(),
    };
    let mut record = Record::create(file.header(), &server, [7; 16], NOW).unwrap();
    record.stage(&file.edits().unwrap(), NOW).unwrap();
    record.accept();
    (DocumentId([9; 16]).to_string(), record.save())
}

fn desk(user: &str, random: u8) -> (Desk, String) {
    let mut desk = Desk::default();
    desk.load_rulesets(&rulesets()).unwrap_or_else(|e| panic!("{e}"));
    let session =
        Session { user: user.into(), name: user.into(), role: "inspector".into(), device: "tablet".into() };
    desk.begin(session, &[random; 16]);
    let (doc, bytes) = demo_job();
    desk.open(&doc, &bytes).unwrap();
    (desk, doc)
}

/// Proposes and accepts, and returns the chunk that the worker would have stored in between.
fn act(desk: &mut Desk, doc: &str, command: &Command) -> Vec<u8> {
    let chunk = desk.propose(doc, &serde_json::to_string(command).unwrap(), NOW).unwrap();
    desk.accept(doc).unwrap();
    chunk
}

fn open_final(desk: &mut Desk, doc: &str) -> Vec<u8> {
    act(desk, doc, &Command::OpenVisit { stage: "final".into(), on: "2026-11-25".into() })
}

/// A bar sink of the demo house, with its place.
fn subject_of_kind(desk: &mut Desk, doc: &str, kind: &str) -> (String, String) {
    for place in desk.job(doc).unwrap().places {
        let page = desk.place(doc, &place.id).unwrap();
        if let Some(subject) = page.subjects.iter().find(|s| s.kind == kind) {
            return (subject.id.clone(), place.id);
        }
    }
    panic!("the demo house has no {kind}");
}

fn record(subject: &str, fact: &str, value: &str) -> Command {
    Command::Record {
        subject: subject.into(),
        fact: fact.into(),
        value: value.into(),
        how: "measured".into(),
        note: String::new(),
    }
}

#[test]
fn nothing_shows_before_it_is_accepted() {
    let (mut desk, doc) = desk("okafor", 1);
    let command =
        serde_json::to_string(&Command::OpenVisit { stage: "final".into(), on: "2026-11-25".into() })
            .unwrap();
    desk.propose(&doc, &command, NOW).unwrap();
    assert!(desk.job(&doc).unwrap().visit.is_none());
    desk.discard(&doc).unwrap();
    assert!(desk.job(&doc).unwrap().visit.is_none());
    open_final(&mut desk, &doc);
    assert_eq!(desk.job(&doc).unwrap().visit.unwrap().stage, "final");
}

#[test]
fn stored_chunks_in_any_order_give_the_job_back() {
    let (mut desk, doc) = desk("okafor", 1);
    let (_, base) = demo_job();
    let visit = open_final(&mut desk, &doc);
    let (sink, _) = subject_of_kind(&mut desk, &doc, "bar_sink");
    let fact = act(&mut desk, &doc, &record(&sink, "tailpiece.length", "23 5/8 in"));
    let before = serde_json::to_string(&desk.report(&doc).unwrap()).unwrap();

    let (mut other, _) = reopened(&doc, &[fact, base, visit].concat());
    assert_eq!(serde_json::to_string(&other.report(&doc).unwrap()).unwrap(), before);
}

fn reopened(doc: &str, chunks: &[u8]) -> (Desk, String) {
    let mut desk = Desk::default();
    desk.load_rulesets(&rulesets()).unwrap_or_else(|e| panic!("{e}"));
    desk.open(doc, chunks).unwrap();
    (desk, doc.to_owned())
}

#[test]
fn a_tape_reading_is_taken_with_its_fraction_and_decides_at_once() {
    let (mut desk, doc) = desk("okafor", 1);
    open_final(&mut desk, &doc);
    let (sink, place) = subject_of_kind(&mut desk, &doc, "bar_sink");
    act(&mut desk, &doc, &record(&sink, "tailpiece.length", "26 in"));
    let page = desk.place(&doc, &place).unwrap();
    let subject = page.subjects.iter().find(|s| s.id == sink).unwrap();
    let violated: Vec<_> = subject
        .verdicts
        .iter()
        .filter(|v| serde_json::to_value(v.verdict).unwrap() == "violates" && v.because.contains("26 in"))
        .collect();
    assert_eq!(violated.len(), 1, "{:#?}", subject.verdicts);
    act(&mut desk, &doc, &record(&sink, "tailpiece.length", "17 5/8 in"));
    let page = desk.place(&doc, &place).unwrap();
    let subject = page.subjects.iter().find(|s| s.id == sink).unwrap();
    let now = subject.verdicts.iter().find(|v| v.provision == violated[0].provision).unwrap();
    assert_eq!(serde_json::to_value(now.verdict).unwrap(), "complies");
}

#[test]
fn a_number_without_a_unit_is_refused_and_nothing_is_written() {
    let (mut desk, doc) = desk("okafor", 1);
    open_final(&mut desk, &doc);
    let (sink, _) = subject_of_kind(&mut desk, &doc, "bar_sink");
    let command = serde_json::to_string(&record(&sink, "tailpiece.length", "23")).unwrap();
    let before = desk.snapshot(&doc).unwrap();
    let error = desk.propose(&doc, &command, NOW).unwrap_err().to_string();
    assert!(
        error.contains("unit") && error.contains("in") && error.contains("nothing was written"),
        "{error}"
    );
    assert_eq!(desk.snapshot(&doc).unwrap(), before);
}

#[test]
fn two_values_set_apart_both_stand_until_one_decides() {
    let (mut a, doc) = desk("okafor", 1);
    let visit = open_final(&mut a, &doc);
    let (sink, _) = subject_of_kind(&mut a, &doc, "bar_sink");
    let (mut b, _) = desk("lindqvist", 2);
    let with_visit = [demo_job().1, visit].concat();
    b.open(&doc, &with_visit).unwrap();
    let of_a = act(&mut a, &doc, &record(&sink, "tailpiece.length", "17 in"));
    let of_b = act(&mut b, &doc, &record(&sink, "tailpiece.length", "26 in"));

    let merged = [with_visit, of_a, of_b].concat();
    a.open(&doc, &merged).unwrap();
    b.open(&doc, &merged).unwrap();
    let job = a.job(&doc).unwrap();
    assert_eq!(job, b.job(&doc).unwrap());
    assert_eq!(job.disagreements.len(), 1);
    let authors: Vec<_> = job.disagreements[0].values.iter().map(|v| v.by.as_str()).collect();
    assert!(authors.contains(&"okafor") && authors.contains(&"lindqvist"), "{authors:?}");
    assert!(!job.disposition.may_issue);

    act(&mut a, &doc, &record(&sink, "tailpiece.length", "17 in"));
    assert!(a.job(&doc).unwrap().disagreements.is_empty());
}

#[test]
fn a_copy_knows_nothing_of_what_was_seen_on_the_original() {
    let (mut desk, doc) = desk("okafor", 1);
    open_final(&mut desk, &doc);
    let (sink, place) = subject_of_kind(&mut desk, &doc, "lavatory");
    act(&mut desk, &doc, &record(&sink, "tailpiece.length", "10 in"));
    act(&mut desk, &doc, &Command::CopySubject { subject: sink.clone(), name: "Second lavatory".into() });
    let page = desk.place(&doc, &place).unwrap();
    let copy = page.subjects.iter().find(|s| s.name == "Second lavatory").unwrap();
    assert!(copy.facts.iter().all(|f| f.current.is_empty()));
}

#[test]
fn a_strike_needs_a_reason_and_can_be_taken_back() {
    let (mut desk, doc) = desk("okafor", 1);
    open_final(&mut desk, &doc);
    let (sink, place) = subject_of_kind(&mut desk, &doc, "bar_sink");
    let strike = |why: &str| Command::Strike { target: sink.clone(), why: why.into() };
    let refused = desk.propose(&doc, &serde_json::to_string(&strike(" ")).unwrap(), NOW).unwrap_err();
    assert!(refused.to_string().contains("reason"));
    act(&mut desk, &doc, &strike("not built"));
    let struck = |desk: &mut Desk| {
        let page = desk.place(&doc, &place).unwrap();
        page.subjects.iter().find(|s| s.id == sink).unwrap().struck.clone()
    };
    assert_eq!(struck(&mut desk).unwrap().why, "not built");
    act(&mut desk, &doc, &Command::Restore { target: sink.clone(), why: "it is, behind the door".into() });
    assert!(struck(&mut desk).is_none());
}

#[test]
fn an_unseen_house_can_not_be_approved() {
    let (mut desk, doc) = desk("okafor", 1);
    open_final(&mut desk, &doc);
    let job = desk.job(&doc).unwrap();
    assert!(job.tally.to_see > 0);
    assert_eq!(serde_json::to_value(job.disposition.word).unwrap(), "open");
    let issue = serde_json::to_string(&Command::IssueNotice { received_by: "D. Hale".into() }).unwrap();
    assert!(desk.propose(&doc, &issue, NOW).is_err());
}

#[test]
fn every_adoption_of_the_rulesets_can_be_had_today() {
    let law = Law::load(&rulesets()).unwrap_or_else(|e| panic!("{e}"));
    for adoption in law.library().adoptions() {
        law.adopt(&adoption.id, "2026-11-25").unwrap_or_else(|e| panic!("{}: {e}", adoption.id));
    }
}
