//! What a person is told when something did not work: what happened, what was kept, what to do now.

use axum::Json;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Serialize;

/// The body of every error answer is `{"error": Problem}`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Problem {
    /// HTTP status, not part of the body.
    #[serde(skip)]
    pub status: u16,
    /// Seconds for `Retry-After`, not part of the body.
    #[serde(skip)]
    pub retry_after_s: Option<u64>,
    /// What happened.
    pub message: String,
    /// What was kept, and where.
    pub kept: String,
    /// What to do now.
    pub todo: String,
}

impl Problem {
    /// A problem with its three sentences.
    pub fn new(
        status: StatusCode,
        message: impl Into<String>,
        kept: impl Into<String>,
        todo: impl Into<String>,
    ) -> Self {
        Problem {
            status: status.as_u16(),
            retry_after_s: None,
            message: message.into(),
            kept: kept.into(),
            todo: todo.into(),
        }
    }

    /// The session is missing, over or revoked.
    pub fn signed_out() -> Self {
        Problem::new(
            StatusCode::UNAUTHORIZED,
            "you are not signed in, or your session is over",
            "everything recorded on this tablet is still on it",
            "sign in again; what is waiting is sent afterwards",
        )
    }

    /// Nothing of that name, or nothing this user may see: the two are not told apart.
    pub fn not_here(what: &str) -> Self {
        Problem::new(
            StatusCode::NOT_FOUND,
            format!("{what} is not on this server, or not for you to see"),
            "nothing was changed",
            "check the address, or ask a supervisor to assign the job to you",
        )
    }

    /// The user's role does not allow it.
    pub fn not_allowed(role: &str, what: &str) -> Self {
        Problem::new(
            StatusCode::FORBIDDEN,
            format!("a user with the role {role} may not {what}"),
            "nothing was changed",
            "ask a supervisor or an administrator to do it",
        )
    }

    /// The request cannot be understood.
    pub fn unusable(message: impl Into<String>, todo: impl Into<String>) -> Self {
        Problem::new(StatusCode::BAD_REQUEST, message, "nothing was changed", todo)
    }

    /// Our own fault: the cause goes to the log, not to the answer.
    pub fn ours(cause: &dyn std::fmt::Display) -> Self {
        tracing::error!(%cause, "request failed on the server's side");
        Problem::new(
            StatusCode::INTERNAL_SERVER_ERROR,
            "the server could not finish this",
            "nothing was acknowledged; what you sent is still on your device",
            "try again in a minute; if it happens again, tell whoever runs the server: the cause is in its log",
        )
    }

    /// Adds `Retry-After`.
    pub fn retry_after(mut self, seconds: u64) -> Self {
        self.retry_after_s = Some(seconds);
        self
    }
}

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        let status = StatusCode::from_u16(self.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
        let retry = self.retry_after_s;
        let mut response = (status, Json(serde_json::json!({ "error": self }))).into_response();
        if let Some(seconds) = retry {
            response.headers_mut().insert(header::RETRY_AFTER, HeaderValue::from(seconds));
        }
        response
    }
}

impl From<crate::store::StoreError> for Problem {
    fn from(e: crate::store::StoreError) -> Self {
        Problem::ours(&e)
    }
}
