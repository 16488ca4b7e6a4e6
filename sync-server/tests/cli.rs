//! The command line: what it prints, and its exit codes.

use std::path::Path;
use std::process::{Command, Output};

use serde_json::{Value, json};

const RULESETS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/rulesets");

fn crownweir(args: &[&str]) -> (i32, String, String) {
    let Output { status, stdout, stderr } =
        Command::new(env!("CARGO_BIN_EXE_crownweir")).args(args).output().expect("ran");
    let text = |b: Vec<u8>| String::from_utf8(b).expect("text");
    (status.code().expect("a code"), text(stdout), text(stderr))
}

fn job(length: &str) -> Value {
    json!({
        "permit": "C-1", "address": "3 Weir Lane, Tarn Hollow", "adoption": "bench", "applied_on": "2026-03-02",
        "stage": "final",
        "subjects": [
            { "key": "h", "kind": "house", "name": "House" },
            { "key": "r", "kind": "room", "name": "Bar", "in": "h" },
            { "key": "s", "kind": "bar_sink", "name": "Bar sink", "in": "r",
              "facts": { "tailpiece.length": length } },
        ],
    })
}

fn assess(folder: &Path, job: &str, more: &[&str]) -> (i32, String, String) {
    let file = folder.join("job.json");
    std::fs::write(&file, job).expect("written");
    let file = file.to_str().expect("text").to_owned();
    let mut args = vec!["assess", &file, "--adoption", "bench", "--rulesets", RULESETS];
    args.extend(more);
    crownweir(&args)
}

#[test]
fn assess_prints_verdict_reason_and_section_and_its_code_says_whether_it_holds() {
    let folder = tempfile::tempdir().expect("a folder");
    let (code, out, err) = assess(folder.path(), &job("24 in").to_string(), &[]);
    assert_eq!(code, 0, "{out}{err}");
    let (code, out, err) = assess(folder.path(), &job("26 1/2 in").to_string(), &[]);
    assert_eq!(code, 1, "{out}{err}");
    for part in ["VIOLATES", "26-1/2 in", "24 in", "Bench 1", "Bar sink"] {
        assert!(out.contains(part), "{part} is not in {out}");
    }
    let mut unseen = job("1 in");
    unseen["subjects"][2]["facts"] = json!({});
    let (code, out, _) = assess(folder.path(), &unseen.to_string(), &[]);
    assert_eq!(code, 1, "what is not determined does not hold: {out}");
    let (_, out, _) = assess(folder.path(), &job("26 1/2 in").to_string(), &["--format", "json"]);
    let report: Value = serde_json::from_str(&out).expect("JSON");
    assert_eq!(report["verdicts"][0]["verdict"], "violates");
    assert_eq!(report["permit"], "C-1");
}

#[test]
fn input_that_cannot_be_used_is_named_and_exits_two() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut unknown = job("24 in");
    unknown["subjects"][2]["kind"] = "bar_snik".into();
    let cases = [
        (unknown.to_string(), "did you mean `bar_sink`"),
        (job("24").to_string(), "has no unit"),
        (String::new(), "is not a job"),
        ("[]".into(), "is not a job"),
        ("\u{85}oJ".into(), "is not a job"),
    ];
    for (text, said) in cases {
        let (code, _, err) = assess(folder.path(), &text, &[]);
        assert_eq!(code, 2, "{text}: {err}");
        assert!(err.contains(said) && !err.contains("panicked"), "{text}: {err}");
    }
    let (code, _, err) =
        crownweir(&["assess", "no-such-file", "--adoption", "bench", "--rulesets", RULESETS]);
    assert_eq!(code, 2);
    assert!(err.contains("no-such-file"), "{err}");
    std::fs::write(folder.path().join("torn"), [0x85, 0x6f, 0x4a, 0x83, 1, 2, 3]).expect("written");
    let torn = folder.path().join("torn").display().to_string();
    let (code, _, err) = crownweir(&["assess", &torn, "--adoption", "bench", "--rulesets", RULESETS]);
    assert_eq!(code, 2, "{err}");
}

#[test]
fn rules_are_checked_with_a_caret_and_their_cases_counted() {
    let (code, out, err) = crownweir(&["rules", "check", RULESETS]);
    assert_eq!(code, 0, "{out}{err}");
    let (code, out, err) = crownweir(&["rules", "test", RULESETS]);
    assert_eq!(code, 0, "{out}{err}");
    assert!(out.contains("1 cases, 0 failed"), "{out}");

    let folder = tempfile::tempdir().expect("a folder");
    let text = std::fs::read_to_string(Path::new(RULESETS).join("bench.rules")).expect("read");
    let change = |from: &str, to: &str| {
        assert!(text.contains(from));
        std::fs::write(folder.path().join("bench.rules"), text.replace(from, to)).expect("written");
        folder.path().to_str().expect("text").to_owned()
    };
    let dir = change("limit    reach = 24 in", "limit    reach = 24 gal");
    let (code, _, err) = crownweir(&["rules", "check", &dir]);
    assert_eq!(code, 2);
    assert!(err.contains("bench.rules:") && err.contains('^'), "{err}");
    let dir = change("limit    reach = 24 in", "limit    reach = 25 in");
    let (code, out, _) = crownweir(&["rules", "test", &dir]);
    assert_eq!(code, 1, "{out}");
    assert!(out.contains("1 cases, 1 failed") && out.contains("violates by 2 in"), "{out}");
}

#[test]
fn demo_is_seeded_once_and_never_over_something_else() {
    let folder = tempfile::tempdir().expect("a folder");
    let data = folder.path().join("demo");
    let data = data.to_str().expect("text");
    let (code, first, err) = crownweir(&["demo", "--data", data]);
    assert_eq!(code, 0, "{err}");
    assert!(
        first.contains("Alderfen County Building Department is set up") && !first.contains("\n0 jobs"),
        "{first}"
    );
    for a in sync_server::demo::ACCOUNTS {
        assert!(first.contains(a.user) && first.contains(a.password), "{first}");
    }
    let (code, second, err) = crownweir(&["demo", "--data", data]);
    assert_eq!(code, 0, "{err}");
    assert!(second.contains("was there already") && second.contains("0 jobs added"), "{second}");

    let other = folder.path().join("other");
    let other = other.to_str().expect("text");
    let mut adds = Command::new(env!("CARGO_BIN_EXE_crownweir"))
        .args(["account", "--data", other, "--user", "Berg", "--name", "N. Berg", "--role", "administrator"])
        .args(["--agency", "Town of Tarn Hollow"])
        .stdin(std::process::Stdio::piped())
        .spawn()
        .expect("ran");
    std::io::Write::write_all(&mut adds.stdin.take().expect("piped"), b"a long password\n").expect("written");
    assert!(adds.wait().expect("ended").success());
    let (code, _, err) = crownweir(&["demo", "--data", other]);
    assert_eq!(code, 2);
    assert!(err.contains("Town of Tarn Hollow") && err.contains("nothing was changed"), "{err}");
}
