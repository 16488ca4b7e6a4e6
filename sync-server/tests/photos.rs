//! Photos: sent in parts, verified, refused with a reason.

mod common;

use axum::body::Body;
use axum::http::StatusCode;
use common::{Answer, Bench, request};
use sha2::{Digest, Sha256};

fn jpeg(side: u32) -> Vec<u8> {
    let mut bytes = Vec::new();
    let picture = image::RgbImage::from_fn(side, side, |x, y| {
        let (r, g) = (((x * 31) ^ (y * 17)) as u8, (x * 7 + y * 13) as u8);
        image::Rgb([r, g, r ^ g])
    });
    let encoder = image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, 90);
    picture.write_with_encoder(encoder).expect("encoded");
    bytes
}

/// With an EXIF segment whose GPS directory says "north".
fn located(jpeg: &[u8]) -> Vec<u8> {
    let mut tiff = b"II*\0\x08\0\0\0".to_vec();
    tiff.extend(b"\x01\0\x25\x88\x04\0\x01\0\0\0\x1a\0\0\0\0\0\0\0");
    tiff.extend(b"\x01\0\x01\0\x02\0\x02\0\0\0N\0\0\0\0\0\0\0");
    let mut segment = b"Exif\0\0".to_vec();
    segment.extend(tiff);
    let mut out = jpeg[..2].to_vec();
    out.extend([0xff, 0xe1]);
    out.extend((segment.len() as u16 + 2).to_be_bytes());
    out.extend(segment);
    out.extend(&jpeg[2..]);
    out
}

fn name(bytes: &[u8]) -> String {
    hex::encode(Sha256::digest(bytes))
}

struct Desk {
    b: Bench,
    cookie: String,
    doc: String,
}

impl Desk {
    async fn new() -> Desk {
        let b = Bench::new();
        let doc = b.job("P-1", &["okafor"]).to_string();
        let cookie = b.sign_in("okafor").await;
        Desk { b, cookie, doc }
    }

    async fn part(&self, sha256: &str, offset: usize, length: usize, part: &[u8]) -> Answer {
        let r = request("PATCH", &format!("/api/photos/{}/{sha256}", self.doc), &self.cookie)
            .header("upload-offset", offset)
            .header("upload-length", length);
        self.b.send(r.body(Body::from(part.to_vec())).expect("a request")).await
    }

    async fn state(&self, sha256: &str) -> Option<(u64, String)> {
        let answer = self
            .b
            .call("HEAD", &format!("/api/photos/{}/{sha256}", self.doc), &self.cookie, Body::empty())
            .await;
        if answer.status == StatusCode::NOT_FOUND {
            return None;
        }
        assert_eq!(answer.status, StatusCode::OK);
        let text = |k: &str| answer.headers[k].to_str().expect("text").to_owned();
        Some((text("upload-offset").parse().expect("a number"), text("upload-complete")))
    }

    async fn fetch(&self, cookie: &str, sha256: &str) -> Answer {
        self.b.get(&format!("/api/photos/{}/{sha256}", self.doc), cookie).await
    }
}

#[tokio::test]
async fn photo_sent_in_parts_resumes_where_it_stopped_and_comes_back_the_same() {
    let d = Desk::new().await;
    let photo = jpeg(400);
    let sha = name(&photo);
    assert_eq!(d.state(&sha).await, None);
    let (a, c) = (photo.len() / 3, photo.len() / 3 * 2);
    assert_eq!(d.part(&sha, 0, photo.len(), &photo[..a]).await.status, StatusCode::NO_CONTENT);
    assert_eq!(d.state(&sha).await, Some((a as u64, "?0".into())));
    let conflict = d.part(&sha, c, photo.len(), &photo[c..]).await;
    assert_eq!(conflict.status, StatusCode::CONFLICT);
    assert!(conflict.problem().1.contains(&a.to_string()), "says how much is kept");
    assert_eq!(d.part(&sha, a, photo.len(), &photo[a..c]).await.status, StatusCode::NO_CONTENT);
    assert_eq!(d.fetch(&d.cookie, &sha).await.status, StatusCode::NOT_FOUND, "half a photo is none");
    let done = d.part(&sha, c, photo.len(), &photo[c..]).await;
    assert_eq!(done.status, StatusCode::CREATED);
    assert_eq!(d.state(&sha).await, Some((photo.len() as u64, "?1".into())));
    let back = d.fetch(&d.cookie, &sha).await;
    assert_eq!(back.headers["content-type"], "image/jpeg");
    assert_eq!(back.bytes, photo);
    let again = d.part(&sha, 0, photo.len(), &photo[..a]).await;
    assert_eq!(
        (again.status, &again.headers["upload-complete"]),
        (StatusCode::OK, &"?1".parse().expect("value"))
    );
}

#[tokio::test]
async fn upload_whose_last_part_arrived_before_a_crash_is_finished_when_asked_for() {
    let d = Desk::new().await;
    let photo = jpeg(64);
    let sha = name(&photo);
    // As a crash between the flush of the last part and its verification leaves it.
    let part = d.b.folder.path().join("photos/incoming").join(format!("{}.{sha}.part", d.doc));
    std::fs::write(part, &photo).expect("written");
    assert_eq!(d.state(&sha).await, Some((photo.len() as u64, "?1".into())));
    assert_eq!(d.fetch(&d.cookie, &sha).await.bytes, photo);
}

#[tokio::test]
async fn what_is_not_an_image_or_not_its_name_or_tells_a_place_is_refused_and_nothing_is_kept() {
    let d = Desk::new().await;
    let photo = jpeg(64);
    let torn = photo[..photo.len() / 2].to_vec();
    let words = b"this is not a picture".to_vec();
    let png = b"\x89PNG\r\n\x1a\n and so on".to_vec();
    let place = located(&photo);
    let cases = [
        ("words", name(&words), words, "JPEG"),
        ("another format", name(&png), png, "JPEG"),
        ("a foreign name", name(b"other"), photo.clone(), "SHA-256"),
        ("a place", name(&place), place, "place"),
        ("half a picture under its own name", name(&torn), torn, "JPEG"),
    ];
    for (what, sha, bytes, said) in cases {
        let answer = d.part(&sha, 0, bytes.len(), &bytes).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{what}");
        let (message, kept, _) = answer.problem();
        assert!(message.contains(said), "{what}: {message}");
        assert!(kept.contains("still on the tablet"), "{what}: {kept}");
        assert_eq!(d.state(&sha).await, None, "{what}");
    }
    assert_eq!(d.part(&name(&photo), 0, photo.len(), &photo).await.status, StatusCode::CREATED);
}

#[tokio::test]
async fn uploads_beyond_the_limits_are_refused() {
    let d = Desk::new().await;
    let sha = name(b"x");
    let part = vec![0u8; 256 * 1024 + 1];
    assert_eq!(d.part(&sha, 0, part.len(), &part).await.status, StatusCode::PAYLOAD_TOO_LARGE);
    assert_eq!(d.part(&sha, 0, 9 * 1024 * 1024, &part[..10]).await.status, StatusCode::PAYLOAD_TOO_LARGE);
    assert_eq!(d.part(&sha, 0, 5, &part[..10]).await.status, StatusCode::PAYLOAD_TOO_LARGE);
    for bad in ["../../../etc/passwd", "ABC", &"A".repeat(64), &"0".repeat(63)] {
        let path = format!("/api/photos/{}/{}", d.doc, bad.replace('/', "%2F"));
        assert_eq!(d.b.get(&path, &d.cookie).await.status, StatusCode::BAD_REQUEST, "{bad}");
    }
}

#[tokio::test]
async fn photo_is_only_for_those_who_may_see_its_job() {
    let d = Desk::new().await;
    let photo = jpeg(64);
    let sha = name(&photo);
    d.part(&sha, 0, photo.len(), &photo).await;
    let (other, boss) = (d.b.sign_in("lindqvist").await, d.b.sign_in("adeyemi").await);
    assert_eq!(d.fetch(&other, &sha).await.status, StatusCode::NOT_FOUND);
    assert_eq!(d.fetch(&boss, &sha).await.bytes, photo);
    // Naming a hash is not having the photo: another job does not get it without sending it.
    let second = d.b.job("P-2", &["lindqvist"]);
    let path = format!("/api/photos/{second}/{sha}");
    assert_eq!(d.b.get(&path, &other).await.status, StatusCode::NOT_FOUND);
    assert_eq!(d.b.call("HEAD", &path, &other, Body::empty()).await.status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn damaged_photo_is_reported_and_not_shown() {
    let d = Desk::new().await;
    let photo = jpeg(64);
    let sha = name(&photo);
    d.part(&sha, 0, photo.len(), &photo).await;
    let file = d.b.folder.path().join("photos").join(&sha[..2]).join(&sha);
    std::fs::write(&file, b"rot").expect("damaged");
    let answer = d.fetch(&d.cookie, &sha).await;
    assert_eq!(answer.status, StatusCode::INTERNAL_SERVER_ERROR);
    assert!(answer.problem().0.contains("damaged"));
    assert!(file.exists(), "kept for whoever repairs it");
}
