//! The WebSocket. (Being laid.)
use axum::response::{IntoResponse, Response};

use crate::answer::Problem;

pub(super) async fn open() -> Response {
    Problem::not_here("the socket").into_response()
}
