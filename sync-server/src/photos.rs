//! Photos on disk: named by their SHA-256, sent in parts, shown to be images before they are kept.
//!
//! ```text
//! photos/<first two digits>/<sha256>          whole and verified; a row in the store says whose it is
//! photos/incoming/<doc>.<sha256>.part         what has arrived so far; its length is the offset
//! ```
//!
//! A part is flushed before its offset is answered, so the offset is true after a crash too. A whole file is renamed
//! into place and flushed before the row is committed: the store never names a photo that is not there.

use std::fs::{self, File, OpenOptions};
use std::io::Write as _;
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

use crate::answer::Problem;

/// Largest photo: the tablet sends JPEGs of at most 2048 pixels, far below this.
pub const LARGEST_PHOTO: u64 = 8 * 1024 * 1024;
/// Largest part of an upload.
pub const LARGEST_PART: usize = 256 * 1024;
/// Photos of one job at most.
pub const PHOTOS_PER_JOB: u64 = 2000;
/// Longest side that is decoded.
const LONGEST_SIDE: u32 = 10_000;
/// Memory that decoding may take.
const DECODE_BYTES: u64 = 256 * 1024 * 1024;

/// Why a photo was not taken.
#[derive(Debug, thiserror::Error)]
pub enum PhotoError {
    /// The disk refused.
    #[error("cannot {doing} {path}: {cause}")]
    Disk {
        /// What was being done.
        doing: &'static str,
        /// Where.
        path: PathBuf,
        /// What the system said.
        cause: std::io::Error,
    },
    /// The part does not continue what is there.
    #[error("the part begins at byte {asked}, and {have} bytes are here")]
    Offset {
        /// Offset asked for.
        asked: u64,
        /// Bytes here.
        have: u64,
    },
    /// More bytes than were announced, or more than allowed.
    #[error("{bytes} bytes are more than the {most} announced or allowed")]
    TooLong {
        /// Bytes that would be there.
        bytes: u64,
        /// Bytes allowed.
        most: u64,
    },
    /// The bytes are not those of the name.
    #[error("the bytes received have another SHA-256 ({found}) than the photo's name")]
    OtherBytes {
        /// SHA-256 found.
        found: String,
    },
    /// Not a picture.
    #[error("this is not a JPEG image that can be read: {cause}")]
    NotAnImage {
        /// What the decoder said.
        cause: String,
    },
    /// The picture says where it was taken.
    #[error("this picture carries the place where it was taken (EXIF GPS)")]
    Located,
    /// A kept photo no longer has the bytes of its name.
    #[error("the stored photo {path} is damaged")]
    Damaged {
        /// Where.
        path: PathBuf,
    },
}

impl From<PhotoError> for Problem {
    fn from(e: PhotoError) -> Self {
        use axum::http::StatusCode as S;
        let on_tablet = "the photo is still on the tablet; nothing of this upload is kept on the server";
        match &e {
            PhotoError::Disk { .. } => Problem::ours(&e),
            PhotoError::Damaged { .. } => {
                tracing::error!(cause = %e, "a stored photo is damaged");
                Problem::new(
                    S::INTERNAL_SERVER_ERROR,
                    "the stored photo is damaged",
                    "the damaged file was left as it is, for whoever repairs the server",
                    "send the photo again from a tablet that still has it, or have the server restored from its backup",
                )
            }
            PhotoError::Offset { have, .. } => Problem::new(
                S::CONFLICT,
                e.to_string(),
                format!("{have} bytes of this photo are on the server"),
                "ask for the offset (HEAD) and continue from there",
            ),
            PhotoError::TooLong { .. } => Problem::new(
                S::PAYLOAD_TOO_LARGE,
                e.to_string(),
                on_tablet,
                "take the photo again with the tablet's camera page, which makes it small enough",
            ),
            PhotoError::OtherBytes { .. } => Problem::new(
                S::UNPROCESSABLE_ENTITY,
                e.to_string(),
                on_tablet,
                "send it again from the start; if that fails again, the file on the tablet is damaged",
            ),
            PhotoError::NotAnImage { .. } => Problem::new(
                S::UNPROCESSABLE_ENTITY,
                e.to_string(),
                on_tablet,
                "strike this photo in the record and take it again",
            ),
            PhotoError::Located => Problem::new(
                S::UNPROCESSABLE_ENTITY,
                e.to_string(),
                on_tablet,
                "take it with the tablet's camera page, which leaves the place out",
            ),
        }
    }
}

/// What has become of an upload.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Arrived {
    /// So many bytes are here and flushed.
    Part(u64),
    /// Whole, verified and in place; the row is still to be committed.
    Whole(u64),
}

/// The folder of photos. Calls block on the disk.
#[derive(Debug, Clone)]
pub struct PhotoFolder {
    root: PathBuf,
}

fn disk<'a>(doing: &'static str, path: &'a Path) -> impl Fn(std::io::Error) -> PhotoError + 'a {
    move |cause| PhotoError::Disk { doing, path: path.to_owned(), cause }
}

impl PhotoFolder {
    /// Opens or creates the folder.
    pub fn open(root: PathBuf) -> Result<Self, PhotoError> {
        let incoming = root.join("incoming");
        fs::create_dir_all(&incoming).map_err(disk("create", &incoming))?;
        Ok(PhotoFolder { root })
    }

    // INVARIANT: callers pass a document id and a hash that were parsed, so neither can leave the folder.
    fn part(&self, doc: &str, sha256: &str) -> PathBuf {
        self.root.join("incoming").join(format!("{doc}.{sha256}.part"))
    }

    fn whole(&self, sha256: &str) -> PathBuf {
        self.root.join(sha256.get(..2).unwrap_or("xx")).join(sha256)
    }

    /// Adds a part. `length` is the whole photo's size. When it is whole: verified, moved into place and flushed.
    pub fn append(
        &self,
        doc: &str,
        sha256: &str,
        offset: u64,
        length: u64,
        part: &[u8],
    ) -> Result<Arrived, PhotoError> {
        if length > LARGEST_PHOTO {
            return Err(PhotoError::TooLong { bytes: length, most: LARGEST_PHOTO });
        }
        let path = self.part(doc, sha256);
        let mut file =
            OpenOptions::new().create(true).append(true).open(&path).map_err(disk("open", &path))?;
        let have = file.metadata().map_err(disk("look at", &path))?.len();
        if have != offset {
            return Err(PhotoError::Offset { asked: offset, have });
        }
        let after = have + part.len() as u64;
        if after > length {
            return Err(PhotoError::TooLong { bytes: after, most: length });
        }
        file.write_all(part).map_err(disk("write", &path))?;
        file.sync_all().map_err(disk("flush", &path))?;
        if have == 0 {
            self.flush_folder(&self.root.join("incoming"))?;
        }
        if after < length {
            return Ok(Arrived::Part(after));
        }
        drop(file);
        self.finish(&path, sha256)?;
        Ok(Arrived::Whole(length))
    }

    /// Where an upload stands. One whose last part arrived before a crash is finished now, so that a tablet never finds
    /// all of its bytes here and the photo still missing.
    pub fn settle(&self, doc: &str, sha256: &str) -> Result<Option<Arrived>, PhotoError> {
        let path = self.part(doc, sha256);
        let bytes = match fs::read(&path) {
            Ok(bytes) => bytes,
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(None),
            Err(e) => return Err(disk("read", &path)(e)),
        };
        let have = bytes.len() as u64;
        if hex::encode(Sha256::digest(&bytes)) != sha256 {
            return Ok(Some(Arrived::Part(have)));
        }
        self.finish(&path, sha256)?;
        Ok(Some(Arrived::Whole(have)))
    }

    fn finish(&self, path: &Path, sha256: &str) -> Result<(), PhotoError> {
        let bytes = fs::read(path).map_err(disk("read", path))?;
        if let Err(e) = verify(sha256, &bytes) {
            fs::remove_file(path).map_err(disk("remove", path))?;
            return Err(e);
        }
        let whole = self.whole(sha256);
        let folder = whole.parent().unwrap_or(&self.root).to_owned();
        fs::create_dir_all(&folder).map_err(disk("create", &folder))?;
        fs::rename(path, &whole).map_err(disk("move into place", &whole))?;
        self.flush_folder(&folder)?;
        self.flush_folder(&self.root)
    }

    /// The bytes of a photo that is whole, checked against its name.
    pub fn read(&self, sha256: &str) -> Result<Vec<u8>, PhotoError> {
        let path = self.whole(sha256);
        let bytes = fs::read(&path).map_err(disk("read", &path))?;
        if hex::encode(Sha256::digest(&bytes)) != sha256 {
            return Err(PhotoError::Damaged { path });
        }
        Ok(bytes)
    }

    fn flush_folder(&self, folder: &Path) -> Result<(), PhotoError> {
        File::open(folder).and_then(|f| f.sync_all()).map_err(disk("flush", folder))
    }
}

fn verify(sha256: &str, bytes: &[u8]) -> Result<(), PhotoError> {
    let found = hex::encode(Sha256::digest(bytes));
    if found != sha256 {
        return Err(PhotoError::OtherBytes { found });
    }
    let mut limits = image::Limits::default();
    limits.max_image_width = Some(LONGEST_SIDE);
    limits.max_image_height = Some(LONGEST_SIDE);
    limits.max_alloc = Some(DECODE_BYTES);
    let mut reader = image::ImageReader::with_format(std::io::Cursor::new(bytes), image::ImageFormat::Jpeg);
    reader.limits(limits);
    reader.decode().map_err(|e| PhotoError::NotAnImage { cause: e.to_string() })?;
    match exif::Reader::new().read_from_container(&mut std::io::Cursor::new(bytes)) {
        Ok(found) if found.fields().any(|f| f.tag.context() == exif::Context::Gps) => {
            Err(PhotoError::Located)
        }
        Ok(_) | Err(exif::Error::NotFound(_)) => Ok(()),
        // EXIF that cannot be read cannot be shown to be free of a place.
        Err(e) => Err(PhotoError::NotAnImage { cause: format!("its EXIF data cannot be read: {e}") }),
    }
}
