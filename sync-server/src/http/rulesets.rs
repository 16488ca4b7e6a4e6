//! The rulesets, whole, for a tablet to take along.

use axum::Json;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};

use crate::Shared;
use crate::accounts::Signed;

pub(super) async fn read(State(server): State<Shared>, _: Signed, headers: HeaderMap) -> Response {
    let tag = format!("\"{}\"", server.rulesets.digest);
    let known = headers.get(header::IF_NONE_MATCH).and_then(|v| v.to_str().ok());
    let fixed = [(header::ETAG, tag.clone()), (header::CACHE_CONTROL, "private, no-cache".to_owned())];
    if known.is_some_and(|k| k.split(',').any(|k| k.trim() == tag)) {
        return (StatusCode::NOT_MODIFIED, fixed).into_response();
    }
    (fixed, Json(&server.rulesets)).into_response()
}
