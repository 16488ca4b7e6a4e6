//! Importing jobs: what is good is taken, what is not is named, field by field.

mod common;

use axum::body::Body;
use axum::http::StatusCode;
use common::{Answer, Bench};
use crownweir_record::{DocumentId, Record};
use serde_json::{Value, json};

fn job(permit: &str) -> Value {
    json!({
        "permit": permit, "address": "3 Weir Lane, Tarn Hollow", "scope": "bar", "adoption": "bench",
        "applied_on": "2026-03-02", "stage": "final", "scheduled": "2026-11-25", "assigned": ["okafor"],
        "subjects": [
            { "key": "h", "kind": "house", "name": "House" },
            { "key": "r", "kind": "room", "name": "Bar", "in": "h", "all": ["fixture"] },
            { "key": "s", "kind": "bar_sink", "name": "Bar sink", "in": "r",
              "facts": { "tailpiece.length": "26 1/2 in" } },
        ],
    })
}

async fn import(b: &Bench, user: &str, body: &Value) -> Answer {
    let cookie = b.sign_in(user).await;
    b.call("POST", "/api/jobs", &cookie, Body::from(body.to_string())).await
}

#[tokio::test]
async fn imported_job_is_listed_for_its_inspector_and_holds_what_the_file_said() {
    let b = Bench::new();
    let answer = import(&b, "pruitt", &job("P-9")).await;
    assert_eq!(answer.status, StatusCode::OK);
    let answer = answer.json();
    assert_eq!(answer[0]["permit"], "P-9");
    let doc: DocumentId = answer[0]["doc"].as_str().expect("a document").parse().expect("a document id");
    let list = b.get("/api/jobs", &b.sign_in("okafor").await).await.json();
    assert_eq!(
        list,
        json!([{
            "doc": doc.to_string(), "permit": "P-9", "address": "3 Weir Lane, Tarn Hollow", "scope": "bar",
            "stage": "final", "scheduled": "2026-11-25", "adoption": "bench", "applied_on": "2026-03-02",
            "assigned": [{ "user": "okafor", "name": "R. Okafor" }],
        }])
    );
    assert_eq!(b.get("/api/jobs", &b.sign_in("lindqvist").await).await.json(), json!([]), "not assigned");
    let record = Record::from_automerge(b.stored(doc));
    let state = record.state();
    assert_eq!(state.job().expect("a header").agency, "Alderfen County Building Department");
    assert_eq!(state.subjects.len(), 3);
    let values: Vec<_> = state.facts.values().filter_map(|r| r.standing[0].value.value.clone()).collect();
    assert_eq!(values, ["26-1/2 in"], "in canonical form");
    assert_eq!(state.closings.len(), 1);
}

#[tokio::test]
async fn faults_of_one_job_are_all_named_and_the_others_are_taken() {
    let b = Bench::new();
    let mut bad = job("P-1");
    bad["subjects"][2]["kind"] = "bar_snik".into();
    bad["assigned"] = json!(["okafor", "nobody"]);
    bad["adoption"] = "bnech".into();
    let mut worse = job("P-2");
    worse["subjects"][2]["facts"] =
        json!({ "tailpiece.length": "26", "tailpiece.lenght": "26 in", "trap.form": "z_trap" });
    worse["subjects"][1]["all"] = json!(["fixtrue"]);
    let mut misplaced = job("P-3");
    misplaced["subjects"][2]["in"] = "h".into();
    let mut early = job("P-4");
    early["applied_on"] = "2019-12-31".into();
    let mut misspelt = job("P-5");
    misspelt["adress"] = "x".into();
    let all = json!({ "jobs": [bad, worse, misplaced, early, misspelt, job("P-6")] });
    let answer = import(&b, "adeyemi", &all).await;
    assert_eq!(answer.status, StatusCode::OK);
    let answer = answer.json();
    let said = |i: usize| answer[i]["error"]["message"].as_str().unwrap_or_default().to_owned();
    let cases: [(usize, &[&str]); 5] = [
        (
            0,
            &[
                "P-1",
                "subjects[2].kind",
                "`s`",
                "bar_snik",
                "did you mean `bar_sink`",
                "`assigned`",
                "nobody",
                "bnech",
            ],
        ),
        (
            1,
            &[
                "P-2",
                "tailpiece.length",
                "has no unit",
                "26 in",
                "did you mean `tailpiece.length`",
                "z_trap",
                "subjects[1].all",
                "fixtrue",
            ],
        ),
        (2, &["P-3", "a `bar_sink` does not stand in a `house`"]),
        (3, &["P-4", "`adoption`", "2020-01-01"]),
        (4, &["adress"]),
    ];
    for (i, parts) in cases {
        for part in parts {
            assert!(said(i).contains(part), "{part:?} is not in {:?}", said(i));
        }
        assert!(!answer[i]["error"]["todo"].as_str().unwrap_or_default().is_empty());
    }
    assert!(answer[5]["doc"].is_string());
    let jobs = b.store.jobs().expect("an answer");
    assert_eq!(jobs.iter().map(|j| j.permit.as_str()).collect::<Vec<_>>(), ["P-6"]);
}

#[tokio::test]
async fn permit_imported_twice_keeps_the_first_job() {
    let b = Bench::new();
    let doc = import(&b, "pruitt", &job("P-1")).await.json()[0]["doc"].clone();
    let again = import(&b, "pruitt", &job("P-1")).await;
    assert_eq!(again.status, StatusCode::UNPROCESSABLE_ENTITY);
    let message = again.json()[0]["error"]["message"].as_str().expect("a message").to_owned();
    assert!(message.contains(doc.as_str().expect("a document")), "{message}");
    assert_eq!(b.store.jobs().expect("an answer").len(), 1);
}

#[tokio::test]
async fn inspector_does_not_import_and_no_job_file_is_no_job() {
    let b = Bench::new();
    let answer = import(&b, "okafor", &job("P-1")).await;
    assert_eq!(answer.status, StatusCode::FORBIDDEN);
    answer.problem();
    for body in [json!({ "jobs": 3 }), json!({ "jobs": [], "more": 1 })] {
        let answer = import(&b, "pruitt", &body).await;
        assert_eq!(answer.status, StatusCode::BAD_REQUEST, "{body}");
        answer.problem();
    }
    for body in [json!([]), json!(null), json!({ "permit": 3 })] {
        assert!(!import(&b, "pruitt", &body).await.status.is_success(), "{body}");
    }
    assert!(b.store.jobs().expect("an answer").is_empty());
}
