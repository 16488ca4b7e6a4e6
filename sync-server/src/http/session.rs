//! Signing in and out, and tickets.

use axum::Json;
use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::{Deserialize, Serialize};

use super::{Body, COOKIE, From, json};
use crate::Shared;
use crate::accounts::{Person, SESSION_MAX_MS, Signed};
use crate::answer::Problem;

#[derive(Deserialize)]
struct SignIn {
    user: String,
    password: String,
    #[serde(default)]
    device: String,
}

#[derive(Serialize)]
struct Session {
    user: String,
    name: String,
    role: String,
    agency: String,
    device: String,
    people: Vec<Person>,
}

async fn session(server: &Shared, s: Signed) -> Result<Json<Session>, Problem> {
    let people = server.accounts.people().await?;
    let agency = crate::off_thread(server.store.clone(), |s| s.setting("agency")).await?;
    Ok(Json(Session {
        user: s.user,
        name: s.name,
        role: s.role,
        agency: agency.unwrap_or_default(),
        device: s.device,
        people,
    }))
}

pub(super) async fn sign_in(
    State(server): State<Shared>,
    From(address): From,
    Body(body): Body,
) -> Result<Response, Problem> {
    let asked: SignIn = json(&body)?;
    let now = server.now_ms();
    let (token, signed) =
        server.accounts.sign_in(&asked.user, &asked.password, &asked.device, address, now).await?;
    let secure = if server.settings.behind_tls { "; Secure" } else { "" };
    let cookie = format!(
        "{COOKIE}={token}; Path=/; HttpOnly; SameSite=Lax; Max-Age={}{secure}",
        SESSION_MAX_MS / 1000
    );
    Ok(([(header::SET_COOKIE, cookie)], session(&server, signed).await?).into_response())
}

pub(super) async fn read(State(server): State<Shared>, signed: Signed) -> Result<Response, Problem> {
    Ok(session(&server, signed).await?.into_response())
}

pub(super) async fn sign_out(State(server): State<Shared>, signed: Signed) -> Result<Response, Problem> {
    server.accounts.end(&signed.token_hash).await?;
    server.hub.end_session(&signed.token_hash);
    let cookie = format!("{COOKIE}=; Path=/; HttpOnly; SameSite=Lax; Max-Age=0");
    Ok((StatusCode::NO_CONTENT, [(header::SET_COOKIE, cookie)]).into_response())
}

pub(super) async fn ticket(State(server): State<Shared>, signed: Signed) -> Result<Response, Problem> {
    let ticket = server.accounts.ticket(&signed.token_hash, server.now_ms())?;
    Ok(Json(serde_json::json!({ "ticket": ticket })).into_response())
}
