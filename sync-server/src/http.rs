//! The HTTP side: the router, what every answer carries, and who is asking.

mod jobs;
mod photos;
mod rulesets;
mod session;
mod shell;
mod socket;

use std::net::{IpAddr, SocketAddr};

use axum::Router;
use axum::body::Bytes;
use axum::extract::{ConnectInfo, DefaultBodyLimit, FromRequest, FromRequestParts, Request, State};
use axum::http::request::Parts;
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::{Next, from_fn, from_fn_with_state};
use axum::response::{IntoResponse, Response};
use axum::routing::{any, get, head, post};
use serde::de::DeserializeOwned;

pub use shell::{ShellFile, embedded as embedded_shell};

use crate::Shared;
use crate::accounts::Signed;
use crate::answer::Problem;

/// Name of the session cookie.
pub const COOKIE: &str = "crownweir_session";

/// Largest body of a request, job imports included.
const LARGEST_BODY: usize = 8 * 1024 * 1024;

const POLICY: &str = "default-src 'self'; script-src 'self' 'wasm-unsafe-eval'; img-src 'self' blob:; \
    style-src 'self'; worker-src 'self'; connect-src 'self'; frame-ancestors 'none'; base-uri 'none'; \
    form-action 'self'; object-src 'none'";

/// The whole server as a router; needs no socket to be tested.
pub fn app(server: Shared) -> Router {
    Router::new()
        .route("/healthz", get(health))
        .route("/api/session", get(session::read).post(session::sign_in).delete(session::sign_out))
        .route("/api/ticket", post(session::ticket))
        .route("/api/jobs", get(jobs::list).post(jobs::import))
        .route("/api/rulesets", get(rulesets::read))
        .route("/api/photos/{doc}/{sha256}", head(photos::state).get(photos::read).patch(photos::append))
        .route("/api", any(no_such_call))
        .route("/api/{*rest}", any(no_such_call))
        .route("/ws", get(socket::open))
        .fallback(shell::serve)
        .method_not_allowed_fallback(wrong_method)
        .layer(DefaultBodyLimit::max(LARGEST_BODY))
        .layer(from_fn(same_origin))
        .layer(from_fn_with_state(server.clone(), headers))
        .with_state(server)
}

async fn health(State(server): State<Shared>) -> Response {
    let damaged = server.hub.damaged().len();
    let status = if damaged == 0 { "ok" } else { "damaged" };
    axum::Json(serde_json::json!({ "status": status, "damaged_jobs": damaged })).into_response()
}

async fn no_such_call() -> Problem {
    Problem::new(
        StatusCode::NOT_FOUND,
        "this server has no such call",
        "nothing was changed",
        "reload the page: it may be older or newer than the server",
    )
}

async fn wrong_method(method: Method) -> Problem {
    Problem::new(
        StatusCode::METHOD_NOT_ALLOWED,
        format!("this call does not take {method}"),
        "nothing was changed",
        "reload the page: it may be older or newer than the server",
    )
}

/// Headers that every answer carries.
async fn headers(State(server): State<Shared>, request: Request, next: Next) -> Response {
    let api = request.uri().path().starts_with("/api");
    let mut response = next.run(request).await;
    let h = response.headers_mut();
    let mut put = |name: HeaderName, value: &'static str| {
        h.entry(name).or_insert(HeaderValue::from_static(value));
    };
    put(header::CONTENT_SECURITY_POLICY, POLICY);
    put(header::X_CONTENT_TYPE_OPTIONS, "nosniff");
    put(header::REFERRER_POLICY, "no-referrer");
    put(header::X_FRAME_OPTIONS, "DENY");
    put(HeaderName::from_static("cross-origin-opener-policy"), "same-origin");
    put(HeaderName::from_static("cross-origin-resource-policy"), "same-origin");
    put(HeaderName::from_static("permissions-policy"), "camera=(self), geolocation=(), microphone=()");
    if server.settings.behind_tls {
        put(header::STRICT_TRANSPORT_SECURITY, "max-age=31536000");
    }
    if api {
        put(header::CACHE_CONTROL, "no-store");
    }
    response
}

/// A page of another origin may not act with this user's cookie. `SameSite=Lax` says the same to the browser; this also
/// covers another port of the same host, which counts as the same site.
async fn same_origin(request: Request, next: Next) -> Response {
    let reads = matches!(*request.method(), Method::GET | Method::HEAD | Method::OPTIONS);
    if (!reads || request.uri().path() == "/ws") && !origin_matches(request.headers()) {
        return Problem::new(
            StatusCode::FORBIDDEN,
            "this request came from a page of another address",
            "nothing was changed",
            "open the program at its own address and do it there",
        )
        .into_response();
    }
    next.run(request).await
}

fn origin_matches(headers: &HeaderMap) -> bool {
    let text = |name| headers.get(name).and_then(|v: &HeaderValue| v.to_str().ok());
    match (text(header::ORIGIN), text(header::HOST)) {
        (None, _) => true,
        (Some(origin), Some(host)) => {
            origin.split_once("://").is_some_and(|(_, authority)| authority.eq_ignore_ascii_case(host))
        }
        (Some(_), None) => false,
    }
}

/// The token in the cookie.
fn cookie_token(headers: &HeaderMap) -> Option<&str> {
    headers
        .get_all(header::COOKIE)
        .iter()
        .filter_map(|v| v.to_str().ok())
        .flat_map(|v| v.split(';'))
        .filter_map(|pair| pair.trim().split_once('='))
        .find(|(name, _)| *name == COOKIE)
        .map(|(_, token)| token)
}

impl FromRequestParts<Shared> for Signed {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, server: &Shared) -> Result<Self, Problem> {
        let token = cookie_token(&parts.headers).ok_or_else(Problem::signed_out)?;
        server.accounts.who(token, server.now_ms()).await?.ok_or_else(Problem::signed_out)
    }
}

/// The address a request came from; absent in tests without a socket.
struct From(Option<IpAddr>);

impl FromRequestParts<Shared> for From {
    type Rejection = std::convert::Infallible;

    async fn from_request_parts(parts: &mut Parts, _: &Shared) -> Result<Self, Self::Rejection> {
        Ok(From(parts.extensions.get::<ConnectInfo<SocketAddr>>().map(|c| c.0.ip())))
    }
}

/// A whole body, refused with our own words when it is too large.
struct Body(Bytes);

impl FromRequest<Shared> for Body {
    type Rejection = Problem;

    async fn from_request(request: Request, server: &Shared) -> Result<Self, Problem> {
        Bytes::from_request(request, server).await.map(Body).map_err(|e| {
            let status = e.into_response().status();
            if status == StatusCode::PAYLOAD_TOO_LARGE {
                Problem::new(
                    status,
                    format!("the request is larger than {} MB", LARGEST_BODY / (1024 * 1024)),
                    "nothing was changed",
                    "send it in smaller parts",
                )
            } else {
                Problem::unusable("the request broke off before its end", "send it again")
            }
        })
    }
}

fn json<T: DeserializeOwned>(body: &Bytes) -> Result<T, Problem> {
    serde_json::from_slice(body).map_err(|e| {
        Problem::unusable(
            format!("the request is not the JSON expected: {e}"),
            "correct it and send it again",
        )
    })
}
