//! The web shell, from inside the binary.
//!
//! Names under `assets/` carry a hash of their content and never change; everything else is asked for again each time,
//! because a service worker or a start page kept by a cache would hold a tablet on old code.

use axum::body::Body;
use axum::extract::State;
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, Uri, header};
use axum::response::{IntoResponse, Response};

use crate::Shared;
use crate::answer::Problem;

#[derive(rust_embed::RustEmbed)]
#[folder = "../web-shell/dist"]
struct Dist;

/// One file of the shell.
#[derive(Debug, Clone)]
pub struct ShellFile {
    /// Content.
    pub bytes: std::borrow::Cow<'static, [u8]>,
    /// SHA-256 of the content, in hex.
    pub sha256: String,
}

/// The shell built into the binary, by path.
pub fn embedded(path: &str) -> Option<ShellFile> {
    Dist::get(path).map(|f| ShellFile { sha256: hex::encode(f.metadata.sha256_hash()), bytes: f.data })
}

const NOT_BUILT: &str = "<!doctype html><html lang=\"en\"><meta charset=\"utf-8\"><title>Crownweir</title>\
<h1>The server runs, but the web shell is not in this binary</h1>\
<p>Nothing is lost: records and accounts are served as usual.</p>\
<p>Build everything with <code>cargo xtask up</code>, or run <code>npm ci && npm run build</code> in \
<code>web-shell</code> and build the server again.</p></html>";

pub(super) async fn serve(
    State(server): State<Shared>,
    method: Method,
    uri: Uri,
    headers: HeaderMap,
) -> Response {
    if method != Method::GET && method != Method::HEAD {
        return super::wrong_method(method).await.into_response();
    }
    let path = uri.path().trim_start_matches('/');
    let get = server.shell;
    if !path.is_empty()
        && let Some(response) = file(get, path, &headers)
    {
        return response;
    }
    // A path of the page itself has no extension; a missing file must stay missing, or a script tag would get a page.
    let last = path.rsplit('/').next().unwrap_or_default();
    if last.contains('.') && path != "index.html" {
        return Problem::not_here("this file").into_response();
    }
    file(get, "index.html", &headers).unwrap_or_else(|| {
        let kind = [(header::CONTENT_TYPE, "text/html; charset=utf-8"), (header::CACHE_CONTROL, "no-cache")];
        (StatusCode::SERVICE_UNAVAILABLE, kind, NOT_BUILT).into_response()
    })
}

fn file(get: fn(&str) -> Option<ShellFile>, path: &str, headers: &HeaderMap) -> Option<Response> {
    let plain = get(path)?;
    let text = |name| headers.get(name).and_then(|v: &HeaderValue| v.to_str().ok()).unwrap_or_default();
    let takes_br = text(header::ACCEPT_ENCODING).split(',').any(|c| {
        let mut parts = c.split(';').map(str::trim);
        parts.next() == Some("br") && !parts.any(|p| p == "q=0")
    });
    let squeezed = takes_br.then(|| get(&format!("{path}.br"))).flatten();
    let is_br = squeezed.is_some();
    let sent = squeezed.unwrap_or(plain);
    let tag = format!("\"{}\"", sent.sha256);
    let cache = if path.starts_with("assets/") { "public, max-age=31536000, immutable" } else { "no-cache" };
    let mut response = if text(header::IF_NONE_MATCH).split(',').any(|k| k.trim() == tag) {
        StatusCode::NOT_MODIFIED.into_response()
    } else {
        Response::new(Body::from(match sent.bytes {
            std::borrow::Cow::Borrowed(b) => bytes::Bytes::from_static(b),
            std::borrow::Cow::Owned(b) => bytes::Bytes::from(b),
        }))
    };
    let h = response.headers_mut();
    h.insert(header::CONTENT_TYPE, HeaderValue::from_static(media_type(path)));
    h.insert(header::CACHE_CONTROL, HeaderValue::from_static(cache));
    h.insert(header::VARY, HeaderValue::from_static("accept-encoding"));
    if let Ok(tag) = HeaderValue::from_str(&tag) {
        h.insert(header::ETAG, tag);
    }
    if is_br {
        h.insert(header::CONTENT_ENCODING, HeaderValue::from_static("br"));
    }
    Some(response)
}

fn media_type(path: &str) -> &'static str {
    match path.rsplit('.').next().unwrap_or_default() {
        "html" => "text/html; charset=utf-8",
        "js" | "mjs" => "text/javascript; charset=utf-8",
        "css" => "text/css; charset=utf-8",
        "wasm" => "application/wasm",
        "json" | "map" => "application/json",
        "webmanifest" => "application/manifest+json",
        "svg" => "image/svg+xml",
        "png" => "image/png",
        "ico" => "image/x-icon",
        "woff2" => "font/woff2",
        "txt" => "text/plain; charset=utf-8",
        _ => "application/octet-stream",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shell(path: &str) -> Option<ShellFile> {
        let bytes: &'static [u8] = match path {
            "index.html" => b"<p>page",
            "assets/core-1a2b.wasm" => b"plain",
            "assets/core-1a2b.wasm.br" => b"squeezed",
            "sw.js" => b"worker",
            "manifest.webmanifest" => b"{}",
            _ => return None,
        };
        Some(ShellFile { bytes: bytes.into(), sha256: path.into() })
    }

    #[track_caller]
    fn check(path: &str, accepts: &str, media: &str, cache: &str, encoding: Option<&str>) {
        let mut headers = HeaderMap::new();
        headers.insert(header::ACCEPT_ENCODING, accepts.parse().expect("a header"));
        let answer = file(shell, path, &headers).expect("a file");
        let h = answer.headers();
        assert!(
            h[header::CONTENT_TYPE].to_str().is_ok_and(|t| t.starts_with(media)),
            "{:?}",
            h[header::CONTENT_TYPE]
        );
        assert!(
            h[header::CACHE_CONTROL].to_str().is_ok_and(|t| t.contains(cache)),
            "{:?}",
            h[header::CACHE_CONTROL]
        );
        assert_eq!(h.get(header::CONTENT_ENCODING).map(|e| e.to_str().expect("text")), encoding);
    }

    #[test]
    fn hashed_assets_are_kept_for_ever_and_start_page_worker_and_manifest_are_asked_for_again() {
        check("assets/core-1a2b.wasm", "", "application/wasm", "immutable", None);
        check("index.html", "", "text/html", "no-cache", None);
        check("sw.js", "", "text/javascript", "no-cache", None);
        check("manifest.webmanifest", "", "application/manifest+json", "no-cache", None);
    }

    #[test]
    fn squeezed_files_are_sent_only_to_those_who_take_them() {
        check("assets/core-1a2b.wasm", "gzip, br", "application/wasm", "immutable", Some("br"));
        check("assets/core-1a2b.wasm", "gzip", "application/wasm", "immutable", None);
        check("assets/core-1a2b.wasm", "br;q=0", "application/wasm", "immutable", None);
        check("sw.js", "br", "text/javascript", "no-cache", None);
    }

    #[test]
    fn file_the_browser_has_is_not_sent_again() {
        let mut headers = HeaderMap::new();
        headers.insert(header::IF_NONE_MATCH, "\"sw.js\"".parse().expect("a header"));
        assert_eq!(file(shell, "sw.js", &headers).expect("a file").status(), StatusCode::NOT_MODIFIED);
        assert!(file(shell, "missing.js", &headers).is_none());
    }
}
