//! Job files: what is read, what is refused and how it is named, and that a record is written as it was read.

mod common;

use common::*;
use crownweir_record::job_file::{FactFile, JobFile};
use crownweir_record::{How, Record};

const FILE: &str = r#"{
  "permit": "P-26-0412", "address": "14 Larkspur Lane, Brindle Ford", "scope": "new dwelling",
  "adoption": "alderfen", "applied_on": "2026-03-02", "agency": "Alderfen County",
  "stage": "rough", "scheduled": "2026-11-25", "assigned": ["okafor"],
  "history": [{ "on": "2026-05-06", "stage": "groundwork", "disposition": "approved", "by": "R. Okafor" }],
  "subjects": [
    { "key": "house", "kind": "house", "name": "House", "facts": { "storeys": "2" } },
    { "key": "bath", "kind": "room", "name": "Bath", "in": "house", "all": ["lavatory"] },
    { "key": "lav", "kind": "lavatory", "name": "Lavatory", "in": "bath", "facts": {
      "trap.size": { "value": "1-1/4 nps", "how": "measured", "note": "with a rule" },
      "overflow": null
    } }
  ]
}"#;

fn recorded(file: &JobFile) -> Record {
    let mut record = Record::create(file.header(), &author("crownweir", "server"), actor(200), AT).unwrap();
    let staged = record.stage(&file.edits().unwrap(), AT).unwrap();
    assert!(!staged.bytes.is_empty());
    record.accept();
    record
}

#[test]
fn a_file_becomes_a_record_that_says_the_same() {
    let file = JobFile::parse(FILE).unwrap();
    assert_eq!((file.stage.as_str(), file.scheduled.as_str()), ("rough", "2026-11-25"));
    let record = recorded(&file);
    let state = record.state();
    assert!(state.faults.is_empty(), "{:?}", state.faults);
    assert_eq!(state.job().unwrap().history[0].by, "R. Okafor");
    let called: Vec<_> = state.order.iter().map(|id| state.subjects[id].called()).collect();
    assert_eq!(called, ["House", "Bath", "Lavatory"]);
    let lavatory = &state.order[2];
    assert_eq!(state.subjects[lavatory].parent.as_ref(), Some(&state.order[1]));
    let trap = &state.fact(lavatory, "trap.size").unwrap().standing[0].value;
    assert_eq!(
        (trap.value.as_deref(), trap.how, trap.note.as_str()),
        (Some("1-1/4 nps"), How::Measured, "with a rule")
    );
    assert_eq!(state.fact(&state.order[0], "storeys").unwrap().standing[0].value.how, How::Plans);
    assert_eq!(state.fact(lavatory, "overflow").unwrap().standing[0].value.value, None);
    assert!(state.closing(&state.order[1], "lavatory").unwrap().standing[0].value);
}

#[test]
fn a_record_written_as_a_file_reads_back_the_same() {
    let first = recorded(&JobFile::parse(FILE).unwrap());
    let (file, left_out) = JobFile::from_state(first.state());
    assert!(left_out.is_empty(), "{left_out:?}");
    let again = JobFile::parse(&file.text()).unwrap();
    assert_eq!(again, file);
    let second = recorded(&again);
    let says = |record: &Record| JobFile::from_state(record.state()).0;
    assert_eq!(says(&second), says(&first));
}

#[test]
fn what_a_file_cannot_say_is_named() {
    let (server, house) = imported();
    let mut one = tablet(&server, "okafor", 0);
    let mut two = tablet(&server, "lindqvist", 1);
    act(&mut one, seen(&house, "storeys", "2"));
    act(&mut two, seen(&house, "storeys", "3"));
    let bath = act(&mut one, subject("room", "Bath", Some(&house)));
    act(&mut one, subject("lavatory", "Lavatory", Some(&bath)));
    act(&mut one, strike(&bath, "there is none"));
    pull(&mut one, &two, "okafor", 0);
    let (file, left_out) = JobFile::from_state(one.state());
    assert_eq!(left_out, ["storeys of House: two values stand."]);
    assert_eq!(file.subjects.len(), 1, "what is struck, and what stands in it, is not written");
    assert!(file.subjects[0].facts.is_empty());
}

#[test]
fn the_field_that_cannot_be_used_is_named() {
    let refused = |from: &str, to: &str, expected: &str| {
        assert!(FILE.contains(from), "{from}");
        let error = JobFile::parse(&FILE.replacen(from, to, 1)).unwrap_err().to_string();
        assert!(error.starts_with(expected), "{error}");
    };
    refused(r#""permit": "P-26-0412", "#, "", "missing field `permit`");
    refused(r#""P-26-0412""#, "412", "`permit`: invalid type: integer `412`, expected a string");
    refused(r#""P-26-0412""#, r#"" ""#, "`permit`: is empty");
    refused(
        r#""2026-03-02""#,
        r#""March 2""#,
        "`applied_on`: `March 2` is not a day written like 2026-03-02",
    );
    refused(r#""2026-11-25""#, r#""2026-11-31""#, "`scheduled`: `2026-11-31` is not a day");
    refused(
        r#""rough""#,
        r#""roughin""#,
        "`stage`: `roughin` is none of groundwork, rough, final, reinspection",
    );
    refused(r#""scope""#, r#""scpoe""#, "`scpoe`: unknown field `scpoe`, expected one of");
    refused(r#""2026-05-06""#, r#""2026-5-6""#, "`history[0].on`: `2026-5-6` is not a day");
    refused(r#""by""#, r#""inspector""#, "`history[0].inspector`: unknown field");
    refused(
        r#""in": "house""#,
        r#""in": "hose""#,
        "`subjects[1].in`: no subject before this one has the key `hose`",
    );
    refused(
        r#""key": "bath""#,
        r#""key": "house""#,
        "`subjects[1].key`: `house` is the key of an earlier subject",
    );
    refused(r#""all": ["lavatory"]"#, r#""all": "lavatory""#, "`subjects[1].all`: invalid type: string");
    refused(
        r#"{ "storeys": "2" }"#,
        r#"{ "storeys": 2 }"#,
        "`subjects[0].facts.storeys`: invalid type: integer `2`, expected a value as text",
    );
    refused(
        r#"{ "storeys": "2" }"#,
        r#"{ "storeys": "" }"#,
        "`subjects[0].facts.storeys`: is empty; leave it out or write null",
    );
    refused(
        r#"{ "storeys": "2" }"#,
        r#"{ "storeys": "2", "storeys": "3" }"#,
        "`subjects[0].facts`: `storeys` is given twice",
    );
    refused(r#""measured""#, r#""guessed""#, "`subjects[2].facts.trap.size.how`: unknown variant `guessed`");
    refused(r#""value": "1-1/4 nps", "#, "", "`subjects[2].facts.trap.size`: missing field `value`");
    refused("\n}", "", "EOF while parsing");
    assert!(JobFile::parse(&format!("{FILE} x")).unwrap_err().to_string().starts_with("trailing characters"));
}

#[test]
fn of_many_jobs_each_is_answered_by_itself() {
    let many = format!(r#"{{"jobs": [{FILE}, {{"permit": "P-1"}}]}}"#);
    let answers = JobFile::parse_all(&many).unwrap();
    assert_eq!(answers.len(), 2);
    assert!(answers[0].is_ok());
    assert_eq!(answers[1].as_ref().unwrap_err().to_string(), "missing field `address`");
    assert_eq!(JobFile::parse_all(FILE).unwrap().len(), 1);
    assert_eq!(
        JobFile::parse_all(r#"{"jobs": 1}"#).unwrap_err().to_string(),
        "`jobs`: is not a list of job files"
    );
    let beside = JobFile::parse_all(r#"{"jobs": [], "job": 1}"#).unwrap_err().to_string();
    assert_eq!(beside, "`job`: is not expected beside `jobs`");
}

#[test]
fn a_plain_value_is_read_from_the_plans() {
    let file = JobFile::parse(FILE).unwrap();
    let expected = FactFile { value: Some("2".into()), how: How::Plans, note: String::new() };
    assert_eq!(file.subjects[0].facts.0, [("storeys".to_owned(), expected)]);
}
