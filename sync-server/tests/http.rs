//! Signing in, and what every answer carries.

mod common;

use std::sync::atomic::Ordering;

use axum::body::Body;
use axum::http::StatusCode;
use common::{Bench, password, request};
use sync_server::accounts::{SESSION_IDLE_MS, SESSION_MAX_MS};

#[tokio::test]
async fn signing_in_gives_a_session_that_later_requests_are_known_by() {
    let b = Bench::new();
    let answer = b.try_sign_in("Okafor ", password("okafor")).await;
    assert_eq!(answer.status, StatusCode::OK);
    let set = answer.headers["set-cookie"].to_str().expect("text").to_owned();
    assert!(set.contains("HttpOnly") && set.contains("SameSite=Lax"), "{set}");
    let session = b.get("/api/session", &answer.cookie()).await.json();
    assert_eq!(session["user"], "okafor");
    assert_eq!(session["role"], "inspector");
    assert_eq!(session["device"], "bench");
    assert_eq!(session["agency"], "Alderfen County Building Department");
    assert_eq!(session["people"].as_array().map(Vec::len), Some(4));
}

#[tokio::test]
async fn requests_without_a_session_are_told_so_in_three_sentences() {
    let b = Bench::new();
    for (method, path) in [
        ("GET", "/api/session"),
        ("GET", "/api/jobs"),
        ("POST", "/api/jobs"),
        ("GET", "/api/rulesets"),
        ("POST", "/api/ticket"),
        ("GET", "/api/photos/4NMNnkMhL8jXrdJ9jamS58PAVdXu/00"),
    ] {
        for cookie in ["", "crownweir_session=0000"] {
            let answer = b.call(method, path, cookie, Body::empty()).await;
            assert_eq!(answer.status, StatusCode::UNAUTHORIZED, "{method} {path}");
            let (_, kept, todo) = answer.problem();
            assert!(kept.contains("still on it") && todo.contains("sign in"), "{kept} {todo}");
        }
    }
}

#[tokio::test]
async fn session_survives_a_shift_and_ends_after_fourteen_silent_hours() {
    let b = Bench::new();
    let cookie = b.sign_in("okafor").await;
    b.now.fetch_add(SESSION_IDLE_MS - 1000, Ordering::SeqCst);
    assert_eq!(b.get("/api/session", &cookie).await.status, StatusCode::OK);
    b.now.fetch_add(SESSION_IDLE_MS - 1000, Ordering::SeqCst);
    assert_eq!(b.get("/api/session", &cookie).await.status, StatusCode::OK, "a contact extends it");
    b.now.fetch_add(SESSION_IDLE_MS + 1000, Ordering::SeqCst);
    assert_eq!(b.get("/api/session", &cookie).await.status, StatusCode::UNAUTHORIZED);
}

#[tokio::test]
async fn session_ends_after_a_week_even_if_it_is_used() {
    let b = Bench::new();
    let cookie = b.sign_in("okafor").await;
    let mut used = 0;
    while used < SESSION_MAX_MS {
        assert_eq!(b.get("/api/session", &cookie).await.status, StatusCode::OK);
        used += SESSION_IDLE_MS / 2;
        b.now.fetch_add(SESSION_IDLE_MS / 2, Ordering::SeqCst);
    }
    assert_eq!(b.get("/api/session", &cookie).await.status, StatusCode::UNAUTHORIZED);
}

#[tokio::test]
async fn signing_out_ends_the_session_and_its_tickets() {
    let b = Bench::new();
    let cookie = b.sign_in("okafor").await;
    let ticket = b.call("POST", "/api/ticket", &cookie, Body::empty()).await.json()["ticket"].clone();
    let ticket = ticket.as_str().expect("a ticket").to_owned();
    let now = b.now.load(Ordering::SeqCst);
    assert!(b.server.accounts.who_by_ticket(&ticket, now).await.expect("an answer").is_some());
    assert_eq!(b.call("DELETE", "/api/session", &cookie, Body::empty()).await.status, StatusCode::NO_CONTENT);
    assert_eq!(b.get("/api/session", &cookie).await.status, StatusCode::UNAUTHORIZED);
    assert!(b.server.accounts.who_by_ticket(&ticket, now).await.expect("an answer").is_none());
}

#[tokio::test]
async fn ticket_ends_after_ten_minutes() {
    let b = Bench::new();
    let cookie = b.sign_in("okafor").await;
    let ticket = b.call("POST", "/api/ticket", &cookie, Body::empty()).await.json()["ticket"].clone();
    let ticket = ticket.as_str().expect("a ticket");
    let now = b.now.load(Ordering::SeqCst);
    let known = async |at| b.server.accounts.who_by_ticket(ticket, at).await.expect("an answer").is_some();
    assert!(known(now + 599_000).await);
    assert!(!known(now + 600_000).await);
}

#[tokio::test]
async fn wrong_passwords_are_braked_per_user_and_the_right_one_waits_too() {
    let b = Bench::new();
    for _ in 0..5 {
        let answer = b.try_sign_in("okafor", "guess").await;
        assert_eq!(answer.status, StatusCode::UNAUTHORIZED);
        assert!(answer.problem().0.contains("wrong"));
    }
    let answer = b.try_sign_in("okafor", password("okafor")).await;
    assert_eq!(answer.status, StatusCode::TOO_MANY_REQUESTS);
    assert!(answer.headers.contains_key("retry-after"));
    answer.problem();
    b.sign_in("lindqvist").await;
    b.now.fetch_add(15 * 60_000, Ordering::SeqCst);
    b.sign_in("okafor").await;
}

#[tokio::test]
async fn unknown_user_and_wrong_password_get_the_same_answer() {
    let b = Bench::new();
    let (a, c) = (b.try_sign_in("okafor", "x").await, b.try_sign_in("nobody", "x").await);
    assert_eq!((a.status, a.bytes), (c.status, c.bytes));
}

#[tokio::test]
async fn requests_of_a_page_of_another_origin_are_refused() {
    let b = Bench::new();
    let cookie = b.sign_in("okafor").await;
    let send = async |origin: &str| {
        let r = request("DELETE", "/api/session", &cookie).header("origin", origin);
        b.send(r.body(Body::empty()).expect("a request")).await.status
    };
    assert_eq!(send("http://elsewhere.test").await, StatusCode::FORBIDDEN);
    assert_eq!(send("http://bench.test:81").await, StatusCode::FORBIDDEN);
    assert_eq!(send("null").await, StatusCode::FORBIDDEN);
    assert_eq!(b.get("/api/session", &cookie).await.status, StatusCode::OK);
    assert_eq!(send("http://bench.test").await, StatusCode::NO_CONTENT);
}

#[tokio::test]
async fn every_answer_carries_the_security_headers() {
    let b = Bench::new();
    for path in ["/", "/api/session", "/api/nothing", "/healthz", "/missing.js"] {
        let answer = b.get(path, "").await;
        let csp = answer.headers["content-security-policy"].to_str().expect("text");
        assert!(
            csp.contains("default-src 'self'") && csp.contains("frame-ancestors 'none'"),
            "{path}: {csp}"
        );
        assert!(!csp.contains("unsafe-inline") && !csp.contains("'unsafe-eval'"), "{path}: {csp}");
        assert_eq!(answer.headers["x-content-type-options"], "nosniff", "{path}");
    }
}

#[tokio::test]
async fn calls_that_do_not_exist_get_a_problem_and_not_a_page() {
    let b = Bench::new();
    for (method, path, status) in [
        ("GET", "/api/nothing", StatusCode::NOT_FOUND),
        ("PUT", "/api/jobs", StatusCode::METHOD_NOT_ALLOWED),
        ("POST", "/", StatusCode::METHOD_NOT_ALLOWED),
        ("GET", "/assets/missing.js", StatusCode::NOT_FOUND),
        ("GET", "/ws", StatusCode::UPGRADE_REQUIRED),
    ] {
        let answer = b.call(method, path, "", Body::empty()).await;
        assert_eq!(answer.status, status, "{method} {path}");
        answer.problem();
    }
}

#[tokio::test]
async fn bodies_that_are_too_large_or_no_json_are_explained() {
    let b = Bench::new();
    let answer = b.call("POST", "/api/session", "", vec![b' '; 9 * 1024 * 1024]).await;
    assert_eq!(answer.status, StatusCode::PAYLOAD_TOO_LARGE);
    answer.problem();
    let answer = b.call("POST", "/api/session", "", "{\"user\":").await;
    assert_eq!(answer.status, StatusCode::BAD_REQUEST);
    answer.problem();
}

#[tokio::test]
async fn rulesets_are_handed_out_whole_and_only_once_while_they_stay_the_same() {
    let b = Bench::new();
    let cookie = b.sign_in("pruitt").await;
    let answer = b.get("/api/rulesets", &cookie).await;
    let files = answer.json()["files"].as_array().expect("files").len();
    assert!(files > 0);
    let tag = answer.headers["etag"].to_str().expect("text").to_owned();
    let again = request("GET", "/api/rulesets", &cookie).header("if-none-match", tag);
    let again = b.send(again.body(Body::empty()).expect("a request")).await;
    assert_eq!(again.status, StatusCode::NOT_MODIFIED);
    assert!(again.bytes.is_empty());
}
