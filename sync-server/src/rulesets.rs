//! The rulesets a server hands out: those built into the binary, or those of a folder.

use std::path::Path;

use crownweir_rules::SourceFile;
use serde::Serialize;
use sha2::{Digest, Sha256};

#[derive(rust_embed::RustEmbed)]
#[folder = "../rulesets"]
#[include = "*.rules"]
#[include = "*.csv"]
struct Embedded;

/// Ruleset files as they leave the server: `crownweir_rules::load` takes them.
#[derive(Debug, Clone, Serialize)]
pub struct Rulesets {
    /// SHA-256 over paths and texts, in hex; also the `ETag`.
    pub digest: String,
    /// The files, by path.
    pub files: Vec<RulesetFile>,
}

/// One file of a ruleset.
#[derive(Debug, Clone, Serialize)]
pub struct RulesetFile {
    /// Path relative to the rulesets' root, `/` between its parts.
    pub path: String,
    /// Text.
    pub text: String,
}

/// Why ruleset files could not be read.
#[derive(Debug, thiserror::Error)]
pub enum RulesetsError {
    /// The folder or a file in it cannot be read.
    #[error("cannot read {path}: {cause}")]
    Unreadable {
        /// Folder or file.
        path: String,
        /// What the system said.
        cause: std::io::Error,
    },
    /// There is no ruleset file.
    #[error("{path} holds no .rules file: point --rulesets at the folder that holds the ruleset folders")]
    Empty {
        /// Folder.
        path: String,
    },
    /// A file is not UTF-8.
    #[error("{path} is not UTF-8 text")]
    NotText {
        /// File.
        path: String,
    },
}

impl Rulesets {
    /// The files built into the binary.
    pub fn embedded() -> Result<Self, RulesetsError> {
        let mut files = Vec::new();
        for path in Embedded::iter() {
            let Some(file) = Embedded::get(&path) else { continue };
            let text = String::from_utf8(file.data.into_owned())
                .map_err(|_| RulesetsError::NotText { path: path.to_string() })?;
            files.push(RulesetFile { path: path.into_owned(), text });
        }
        Self::of(files, "the binary")
    }

    /// The `.rules` and `.csv` files of a folder and its folders.
    pub fn from_dir(dir: &Path) -> Result<Self, RulesetsError> {
        let mut files = Vec::new();
        gather(dir, dir, &mut files)?;
        Self::of(files, &dir.display().to_string())
    }

    /// The files of a folder, or the built-in ones.
    pub fn open(dir: Option<&Path>) -> Result<Self, RulesetsError> {
        dir.map_or_else(Self::embedded, Self::from_dir)
    }

    /// What a tablet takes along: everything but the cases. Those prove the rulesets to their author and decide nothing,
    /// and they are four fifths of the bytes and two thirds of the time to load.
    pub fn without_cases(&self) -> Result<Self, RulesetsError> {
        let of_case = |f: &&RulesetFile| !f.path.split('/').rev().skip(1).any(|folder| folder == "cases");
        Self::of(self.files.iter().filter(of_case).cloned().collect(), "the rulesets without their cases")
    }

    /// As `crownweir_rules::load` takes them.
    pub fn sources(&self) -> Vec<SourceFile> {
        self.files.iter().map(|f| SourceFile { path: f.path.clone(), text: f.text.clone() }).collect()
    }

    fn of(mut files: Vec<RulesetFile>, from: &str) -> Result<Self, RulesetsError> {
        if !files.iter().any(|f| f.path.ends_with(".rules")) {
            return Err(RulesetsError::Empty { path: from.to_owned() });
        }
        files.sort_by(|a, b| a.path.cmp(&b.path));
        let mut sum = Sha256::new();
        for f in &files {
            for part in [&f.path, &f.text] {
                // Lengths keep two different splits of the same bytes apart.
                sum.update((part.len() as u64).to_be_bytes());
                sum.update(part.as_bytes());
            }
        }
        Ok(Rulesets { digest: hex::encode(sum.finalize()), files })
    }
}

fn gather(root: &Path, dir: &Path, files: &mut Vec<RulesetFile>) -> Result<(), RulesetsError> {
    let fails = |path: &Path| {
        let path = path.display().to_string();
        move |cause| RulesetsError::Unreadable { path, cause }
    };
    for entry in std::fs::read_dir(dir).map_err(fails(dir))? {
        let path = entry.map_err(fails(dir))?.path();
        if path.is_dir() {
            gather(root, &path, files)?;
        } else if path.extension().is_some_and(|e| e == "rules" || e == "csv") {
            let bytes = std::fs::read(&path).map_err(fails(&path))?;
            let relative = path.strip_prefix(root).unwrap_or(&path);
            let parts: Vec<_> = relative.iter().map(|p| p.to_string_lossy()).collect();
            let path = parts.join("/");
            let text = String::from_utf8(bytes).map_err(|_| RulesetsError::NotText { path: path.clone() })?;
            files.push(RulesetFile { path, text });
        }
    }
    Ok(())
}
