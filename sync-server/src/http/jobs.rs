//! The list of jobs, and their import.

use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use crownweir_record::job_file::{JobFile, JobFileError};
use serde::Serialize;

use super::Body;
use crate::Shared;
use crate::access;
use crate::accounts::Signed;
use crate::answer::Problem;
use crate::store::StoreError;
use crate::{import, jobs};

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
    let (jobs, users) = crate::off_thread(server.store.clone(), |s| Ok((s.jobs()?, s.users()?))).await?;
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

/// Job files are taken one by one: a fault in one does not keep the others out.
pub(super) async fn import(
    State(server): State<Shared>,
    signed: Signed,
    Body(body): Body,
) -> Result<Response, Problem> {
    if !access::may_import(&signed.role) {
        return Err(Problem::not_allowed(&signed.role, "import jobs"));
    }
    let text = std::str::from_utf8(&body).map_err(|_| {
        Problem::unusable("the file is not text in UTF-8", "export it again as JSON and send that")
    })?;
    let files = JobFile::parse_all(text).map_err(|e| {
        Problem::unusable(format!("this is not a job file: {e}"), "correct the file and import it again")
    })?;
    let (agency, users) = crate::off_thread(server.store.clone(), |s| {
        let users: Vec<String> = s.users()?.into_iter().map(|u| u.user).collect();
        Ok((s.setting("agency")?.unwrap_or_default(), users))
    })
    .await?;
    let mut answers = Vec::with_capacity(files.len());
    let mut taken = 0;
    for file in files {
        let permit = match &file {
            Ok(file) => file.permit.clone(),
            Err(_) => String::new(),
        };
        match import_one(&server, file, &agency, &users).await {
            Ok(doc) => {
                taken += 1;
                answers.push(serde_json::json!({ "permit": permit, "doc": doc }));
            }
            Err(problem) => answers.push(serde_json::json!({ "permit": permit, "error": problem })),
        }
    }
    let status =
        if taken > 0 || answers.is_empty() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
    Ok((status, Json(answers)).into_response())
}

async fn import_one(
    server: &Shared,
    file: Result<JobFile, JobFileError>,
    agency: &str,
    users: &[String],
) -> Result<String, Problem> {
    let refused = |message: String| {
        Problem::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            message,
            "nothing of this job was imported; the other jobs of the file are not affected",
            "correct the file and import it again",
        )
    };
    let file = file.map_err(|e| refused(e.to_string()))?;
    let permit = file.permit.clone();
    let there = {
        let permit = permit.clone();
        crate::off_thread(server.store.clone(), move |s| s.job_by_permit(&permit)).await?
    };
    let exists = |doc: String| {
        let mut p = refused(format!("`permit`: {permit} was imported before, as job {doc}"));
        p.kept = "the job of this permit is as it was".into();
        p.todo = "open it; to begin another job, give it a permit number of its own".into();
        p
    };
    if let Some(job) = there {
        return Err(exists(job.doc));
    }
    let job = import::new_job(&file, &server.law, agency, users)
        .map_err(|e| refused(format!("permit {permit}: {e}")))?;
    let (doc, writes) =
        jobs::begin(job, server.now_ms()).map_err(|e| refused(format!("permit {permit}: {e}")))?;
    match server.committer.commit(writes).await {
        Ok(()) => Ok(doc.to_string()),
        Err(StoreError::JobExists { .. }) => Err(exists("another import has just begun".into())),
        Err(e) => Err(Problem::ours(&e)),
    }
}
