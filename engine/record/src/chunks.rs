//! Reading stored chunks: one or more snapshots and increments, concatenated in any order, duplicates harmless.

use automerge::{Automerge, AutomergeError, Change, LoadOptions, OnPartialLoad};

/// A stretch of stored bytes that could not be read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Damage {
    /// Offset of the first byte.
    pub at: usize,
    /// How many bytes.
    pub bytes: usize,
    /// What is wrong with it.
    pub why: String,
}

/// The first bytes of every chunk.
const MAGIC: [u8; 4] = [0x85, 0x6f, 0x4a, 0x83];

/// Loads everything, or says that something cannot be loaded.
pub(crate) fn load(bytes: &[u8]) -> Result<Automerge, AutomergeError> {
    let strict = LoadOptions::new().on_partial_load(OnPartialLoad::Error);
    match Automerge::load_with_options(bytes, strict) {
        // All chunks were read, some wait for one that is elsewhere: they stay in the document's queue.
        Err(AutomergeError::MissingDeps) => {
            Automerge::load_with_options(bytes, LoadOptions::new().on_partial_load(OnPartialLoad::Ignore))
        }
        other => other,
    }
}

/// Loads what can be loaded, and lists what cannot.
pub(crate) fn rescue(bytes: &[u8]) -> (Automerge, Vec<Damage>) {
    let mut damage = Vec::new();
    let mut changes: Vec<(usize, usize, Change)> = Vec::new();
    let mut at = 0;
    while at < bytes.len() {
        let end = chunk_end(bytes, at).unwrap_or_else(|| next_magic(bytes, at + 1));
        let chunk = &bytes[at..end];
        match read_chunk(chunk) {
            Ok(read) => changes.extend(read.into_iter().map(|change| (at, end - at, change))),
            Err(why) => damage.push(Damage { at, bytes: end - at, why }),
        }
        at = end;
    }
    let mut doc = Automerge::new();
    if doc.apply_changes(changes.iter().map(|(_, _, change)| change.clone()).collect::<Vec<_>>()).is_err() {
        // Two different changes of one session with one number: whichever comes first is kept, the other is named.
        doc = Automerge::new();
        for (at, bytes, change) in changes {
            if let Err(error) = doc.apply_changes([change]) {
                damage.push(Damage { at, bytes, why: error.to_string() });
            }
        }
    }
    (doc, damage)
}

fn read_chunk(chunk: &[u8]) -> Result<Vec<Change>, String> {
    match chunk.get(8) {
        Some(1 | 2) if chunk.starts_with(&MAGIC) => {
            // `Change::from_bytes` takes any checksum, and applying a change that was spoilt can panic. Loading the
            // chunk by itself compares the checksum first.
            let alone = LoadOptions::new().on_partial_load(OnPartialLoad::Ignore);
            Automerge::load_with_options(chunk, alone).map_err(|e| e.to_string())?;
            Change::from_bytes(chunk.to_vec()).map(|change| vec![change]).map_err(|e| e.to_string())
        }
        _ => Automerge::load(chunk).map(|doc| doc.get_changes(&[])).map_err(|e| e.to_string()),
    }
}

/// The head of a chunk: what it is and where its data lies.
pub(crate) struct ChunkHeader {
    /// 0 a document, 1 a change, 2 a packed change, 3 a bundle of changes.
    pub(crate) kind: u8,
    /// Its data within the bytes; may reach beyond their end.
    pub(crate) data: std::ops::Range<usize>,
}

/// Reads the head of the chunk at `at`: magic 4, checksum 4, kind 1, then the length in LEB128.
pub(crate) fn chunk_header(bytes: &[u8], at: usize) -> Option<ChunkHeader> {
    let rest = bytes.get(at..)?;
    if !rest.starts_with(&MAGIC) {
        return None;
    }
    let mut length: usize = 0;
    for (i, byte) in rest.get(9..)?.iter().take(9).enumerate() {
        length |= usize::from(byte & 0x7f).checked_shl(7 * u32::try_from(i).ok()?)?;
        if byte & 0x80 == 0 {
            let start = at + 9 + i + 1;
            return Some(ChunkHeader { kind: rest[8], data: start..start.checked_add(length)? });
        }
    }
    None
}

/// Where the chunk at `at` ends by its own length, if it begins like a chunk and another or nothing follows it.
pub(crate) fn chunk_end(bytes: &[u8], at: usize) -> Option<usize> {
    let end = chunk_header(bytes, at)?.data.end;
    let follows = end == bytes.len() || bytes.get(end..)?.starts_with(&MAGIC);
    follows.then_some(end)
}

fn next_magic(bytes: &[u8], from: usize) -> usize {
    (from..bytes.len()).find(|&i| bytes[i..].starts_with(&MAGIC)).unwrap_or(bytes.len())
}
