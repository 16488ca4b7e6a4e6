//! The list of jobs, and their import.

use axum::Json;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use serde::Serialize;

use super::Body;
use crate::Shared;
use crate::access;
use crate::accounts::Signed;
use crate::answer::Problem;

#[derive(Serialize)]
struct ListedJob {
    doc: String,
    permit: String,
    address: String,
    scope: String,
    stage: String,
    scheduled: String,
    adoption: String,
    applied_on: String,
    assigned: Vec<Assigned>,
    /// Why this job cannot be served at the moment, for a person to read.
    #[serde(skip_serializing_if = "Option::is_none")]
    trouble: Option<String>,
}

#[derive(Serialize)]
struct Assigned {
    user: String,
    name: String,
}

pub(super) async fn list(State(server): State<Shared>, signed: Signed) -> Result<Response, Problem> {
    let (jobs, users) =
        crate::off_thread(server.store.clone(), |s| Ok((s.jobs()?, s.users()?))).await?;
    let damaged = server.hub.damaged();
    let name_of = |user: &String| Assigned {
        user: user.clone(),
        name: users.iter().find(|u| u.user == *user).map_or_else(|| user.clone(), |u| u.name.clone()),
    };
    let listed: Vec<ListedJob> = jobs
        .into_iter()
        .filter(|j| access::may_read(&signed.user, &signed.role, j))
        .map(|j| ListedJob {
            trouble: damaged.get(&j.doc).cloned(),
            assigned: j.assigned.iter().map(name_of).collect(),
            doc: j.doc,
            permit: j.permit,
            address: j.address,
            scope: j.scope,
            stage: j.stage,
            scheduled: j.scheduled,
            adoption: j.adoption,
            applied_on: j.applied_on,
        })
        .collect();
    Ok(Json(listed).into_response())
}

pub(super) async fn import(
    State(_server): State<Shared>,
    signed: Signed,
    Body(_body): Body,
) -> Result<Response, Problem> {
    if !access::may_import(&signed.role) {
        return Err(Problem::not_allowed(&signed.role, "import jobs"));
    }
    Ok(Json(serde_json::json!([])).into_response())
}
