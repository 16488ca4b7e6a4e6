//! From stored chunks to a document, and from a document to chunks.

use std::collections::BTreeSet;

use automerge::{Automerge, ChangeHash, SaveOptions};
use sha2::{Digest, Sha256};

use crate::store::{Chunk, ChunkKind, Write};

/// From this many new changes on, one compressed snapshot is stored in place of single changes: it is smaller than the
/// increments (a shift of 300 changes: 4 kB against 36 kB) and is one row.
const SNAPSHOT_FROM: usize = 16;

/// A document and the chunks it came from.
pub struct Loaded {
    /// The document.
    pub doc: Automerge,
    /// Names of the chunks that were read.
    pub keys: BTreeSet<(ChunkKind, String)>,
    /// Size of the chunks.
    pub bytes: usize,
}

/// Puts a document together. Every chunk has to be sound and to be taken in whole: a gap is an error for a person to
/// look at, never something to sync on top of.
pub fn load(chunks: &[Chunk]) -> Result<Loaded, String> {
    if chunks.is_empty() {
        return Err("nothing is stored for it".into());
    }
    if let Some(bad) = chunks.iter().find(|c| !c.sound) {
        return Err(format!("the stored bytes of chunk {} are not those that were written", bad.key));
    }
    let mut doc = Automerge::new();
    for chunk in chunks {
        doc.load_incremental(&chunk.bytes).map_err(|e| format!("chunk {} cannot be read: {e}", chunk.key))?;
    }
    // An increment whose predecessors are missing waits in a queue and is not part of the history.
    for chunk in chunks.iter().filter(|c| c.kind == ChunkKind::Increment) {
        let known = chunk.key.parse::<ChangeHash>().is_ok_and(|h| doc.get_change_meta_by_hash(&h).is_some());
        if !known {
            return Err(format!("changes that come before chunk {} are missing", chunk.key));
        }
    }
    Ok(Loaded {
        doc,
        keys: chunks.iter().map(|c| (c.kind, c.key.clone())).collect(),
        bytes: chunks.iter().map(|c| c.bytes.len()).sum(),
    })
}

/// The whole document as one chunk. Changes that wait for others are left out: they are not acknowledged either.
pub fn whole(name: &str, doc: &Automerge) -> Write {
    let bytes = doc.save_with_options(SaveOptions { deflate: true, retain_orphans: false });
    Write::Chunk {
        doc: name.to_owned(),
        kind: ChunkKind::Snapshot,
        key: snapshot_key(&doc.get_heads()),
        bytes,
    }
}

fn snapshot_key(heads: &[ChangeHash]) -> String {
    let mut heads: Vec<_> = heads.to_vec();
    heads.sort();
    let mut sum = Sha256::new();
    heads.iter().for_each(|h| sum.update(h.0));
    hex::encode(sum.finalize())
}

/// What has to be stored so that `after` is durable when `before` already is.
pub(super) fn beyond(name: &str, before: &Automerge, after: &Automerge) -> Vec<Write> {
    let changes = after.get_changes(&before.get_heads());
    if changes.len() >= SNAPSHOT_FROM {
        return vec![whole(name, after)];
    }
    changes
        .into_iter()
        .map(|c| Write::Chunk {
            doc: name.to_owned(),
            kind: ChunkKind::Increment,
            key: c.hash().to_string(),
            bytes: c.raw_bytes().to_vec(),
        })
        .collect()
}
