//! Whether something must be done again: a digest of what it was made from, kept beside cargo's output.

use sha2::{Digest, Sha256};
use std::path::{Path, PathBuf};

use crate::problem::Problem;

/// Folders that never count as a source.
const NOT_SOURCE: [&str; 3] = ["node_modules", "dist", "target"];

/// SHA-256 over names and contents of files and of all files below folders, in a fixed order. What is absent counts as absent.
pub fn digest(paths: &[PathBuf]) -> Result<String, Problem> {
    let mut files = Vec::new();
    for path in paths {
        collect(path, &mut files)?;
    }
    files.sort();
    let mut hash = Sha256::new();
    for file in files {
        let bytes = std::fs::read(&file).map_err(Problem::file(&file))?;
        hash.update(file.to_string_lossy().as_bytes());
        hash.update([0]);
        hash.update((bytes.len() as u64).to_le_bytes());
        hash.update(&bytes);
    }
    Ok(hash.finalize().iter().map(|byte| format!("{byte:02x}")).collect())
}

fn collect(path: &Path, files: &mut Vec<PathBuf>) -> Result<(), Problem> {
    if path.is_file() {
        files.push(path.to_path_buf());
    } else if path.is_dir() {
        for entry in std::fs::read_dir(path).map_err(Problem::file(path))? {
            let entry = entry.map_err(Problem::file(path))?;
            if !NOT_SOURCE.iter().any(|name| entry.file_name() == *name) {
                collect(&entry.path(), files)?;
            }
        }
    }
    Ok(())
}

/// Whether the stamp file holds this digest.
pub fn is_fresh(stamp: &Path, digest: &str) -> bool {
    std::fs::read_to_string(stamp).is_ok_and(|kept| kept == digest)
}

/// Keeps the digest; call only after the work is done.
pub fn keep(stamp: &Path, digest: &str) -> Result<(), Problem> {
    write(stamp, digest.as_bytes())
}

/// Writes a file and the folders above it.
pub fn write(path: &Path, bytes: &[u8]) -> Result<(), Problem> {
    if let Some(folder) = path.parent() {
        std::fs::create_dir_all(folder).map_err(Problem::file(folder))?;
    }
    std::fs::write(path, bytes).map_err(Problem::file(path))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_changed_moved_or_removed_file_changes_the_digest_and_an_output_does_not() {
        let folder = tempfile::tempdir().expect("a folder");
        let root = folder.path().to_path_buf();
        let now = || digest(std::slice::from_ref(&root)).expect("a digest");
        write(&root.join("src/a.ts"), b"one").expect("written");
        let first = now();
        write(&root.join("dist/a.js"), b"made").expect("written");
        assert_eq!(now(), first);
        write(&root.join("src/a.ts"), b"two").expect("written");
        let second = now();
        assert_ne!(second, first);
        std::fs::rename(root.join("src/a.ts"), root.join("src/b.ts")).expect("moved");
        assert_ne!(now(), second);
        std::fs::remove_file(root.join("src/b.ts")).expect("removed");
        assert_ne!(now(), first);
    }

    #[test]
    fn a_stamp_is_fresh_only_for_its_own_digest() {
        let folder = tempfile::tempdir().expect("a folder");
        let stamp = folder.path().join("deep/stamp");
        assert!(!is_fresh(&stamp, "abc"));
        keep(&stamp, "abc").expect("kept");
        assert!(is_fresh(&stamp, "abc") && !is_fresh(&stamp, "abd"));
    }
}
