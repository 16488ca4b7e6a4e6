//! Photos over HTTP: ask what is there, send the next part, fetch.

use axum::extract::{Path, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};

use super::Body;
use crate::Shared;
use crate::access;
use crate::accounts::Signed;
use crate::answer::Problem;
use crate::photos::{Arrived, LARGEST_PART, PHOTOS_PER_JOB};
use crate::store::{PhotoRow, Write};

/// A photo of a job that this user may see.
async fn named(server: &Shared, signed: &Signed, doc: &str, sha256: &str) -> Result<(), Problem> {
    let is_hash =
        sha256.len() == 64 && sha256.bytes().all(|b| b.is_ascii_digit() || (b'a'..=b'f').contains(&b));
    if !is_hash {
        return Err(Problem::unusable(
            "a photo is named by its SHA-256: 64 digits, small letters",
            "reload the page and send the photo again",
        ));
    }
    access::job(server, signed, doc).await.map(|_| ())
}

async fn row(server: &Shared, doc: &str, sha256: &str) -> Result<Option<PhotoRow>, Problem> {
    let (doc, sha256) = (doc.to_owned(), sha256.to_owned());
    crate::off_thread(server.store.clone(), move |s| s.photo(&doc, &sha256)).await
}

fn progress(status: StatusCode, offset: u64, complete: bool) -> Response {
    let mut r = status.into_response();
    r.headers_mut().insert("upload-offset", HeaderValue::from(offset));
    r.headers_mut().insert("upload-complete", HeaderValue::from_static(if complete { "?1" } else { "?0" }));
    r
}

pub(super) async fn state(
    State(server): State<Shared>,
    signed: Signed,
    Path((doc, sha256)): Path<(String, String)>,
) -> Result<Response, Problem> {
    named(&server, &signed, &doc, &sha256).await?;
    if let Some(whole) = row(&server, &doc, &sha256).await? {
        return Ok(progress(StatusCode::OK, whole.bytes, true));
    }
    let guard = server.uploads.lock(&doc, &sha256).await;
    let photos = server.photos.clone();
    let (d, s) = (doc.clone(), sha256.clone());
    let arrived = tokio::task::spawn_blocking(move || {
        let done = photos.settle(&d, &s);
        drop(guard);
        done
    })
    .await
    .map_err(|e| Problem::ours(&e))??;
    match arrived {
        Some(Arrived::Part(offset)) => Ok(progress(StatusCode::OK, offset, false)),
        Some(Arrived::Whole(bytes)) => {
            note(&server, doc, sha256, bytes, signed.user).await?;
            Ok(progress(StatusCode::OK, bytes, true))
        }
        None => Err(Problem::new(
            StatusCode::NOT_FOUND,
            "nothing of this photo is here yet",
            "the photo is still on the tablet",
            "send it from the start",
        )),
    }
}

fn number(headers: &HeaderMap, name: &str) -> Result<u64, Problem> {
    headers.get(name).and_then(|v| v.to_str().ok()).and_then(|v| v.parse().ok()).ok_or_else(|| {
        Problem::unusable(
            format!("the header {name} is missing or not a number of bytes"),
            "reload the page and send the photo again",
        )
    })
}

pub(super) async fn append(
    State(server): State<Shared>,
    signed: Signed,
    Path((doc, sha256)): Path<(String, String)>,
    headers: HeaderMap,
    Body(part): Body,
) -> Result<Response, Problem> {
    named(&server, &signed, &doc, &sha256).await?;
    let (offset, length) = (number(&headers, "upload-offset")?, number(&headers, "upload-length")?);
    if part.len() > LARGEST_PART {
        return Err(Problem::new(
            StatusCode::PAYLOAD_TOO_LARGE,
            format!("a part may have at most {LARGEST_PART} bytes"),
            "what arrived before is kept",
            "send smaller parts",
        ));
    }
    if let Some(whole) = row(&server, &doc, &sha256).await? {
        return Ok(progress(StatusCode::OK, whole.bytes, true));
    }
    let counted = doc.clone();
    if crate::off_thread(server.store.clone(), move |s| s.photo_count(&counted)).await? >= PHOTOS_PER_JOB {
        return Err(Problem::new(
            StatusCode::INSUFFICIENT_STORAGE,
            format!("this job has {PHOTOS_PER_JOB} photos already"),
            "the photo is still on the tablet",
            "strike photos that are not needed, or ask whoever runs the server",
        ));
    }
    // One upload step at a time per photo: two tablets of one user could otherwise append to the same part.
    let guard = server.uploads.lock(&doc, &sha256).await;
    let photos = server.photos.clone();
    let (d, s) = (doc.clone(), sha256.clone());
    let arrived = tokio::task::spawn_blocking(move || {
        let done = photos.append(&d, &s, offset, length, &part);
        drop(guard);
        done
    })
    .await
    .map_err(|e| Problem::ours(&e))??;
    match arrived {
        Arrived::Part(offset) => Ok(progress(StatusCode::NO_CONTENT, offset, false)),
        Arrived::Whole(bytes) => {
            note(&server, doc, sha256, bytes, signed.user).await?;
            Ok(progress(StatusCode::CREATED, bytes, true))
        }
    }
}

async fn note(server: &Shared, doc: String, sha256: String, bytes: u64, user: String) -> Result<(), Problem> {
    let row = PhotoRow { doc, sha256, bytes, user, at: server.now_ms() };
    Ok(server.committer.commit(vec![Write::Photo(row)]).await?)
}

pub(super) async fn read(
    State(server): State<Shared>,
    signed: Signed,
    Path((doc, sha256)): Path<(String, String)>,
) -> Result<Response, Problem> {
    named(&server, &signed, &doc, &sha256).await?;
    if row(&server, &doc, &sha256).await?.is_none() {
        return Err(Problem::not_here("this photo"));
    }
    let photos = server.photos.clone();
    let bytes =
        tokio::task::spawn_blocking(move || photos.read(&sha256)).await.map_err(|e| Problem::ours(&e))??;
    let fixed = [
        (header::CONTENT_TYPE, "image/jpeg"),
        (header::CACHE_CONTROL, "private, max-age=31536000, immutable"),
        (header::CONTENT_SECURITY_POLICY, "default-src 'none'; sandbox"),
    ];
    Ok((fixed, bytes).into_response())
}
