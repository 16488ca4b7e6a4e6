//! Where things lie: the repository, cargo, cargo's output.

use std::path::{Path, PathBuf};
use std::process::Command;

use crate::problem::Problem;
use crate::run;

/// The folders every step works in.
#[derive(Debug)]
pub struct Ground {
    /// The repository.
    pub root: PathBuf,
    /// Cargo's output.
    pub target: PathBuf,
    cargo: PathBuf,
}

impl Ground {
    /// Asks cargo.
    pub fn find() -> Result<Self, Problem> {
        let cargo = std::env::var_os("CARGO").map_or_else(|| PathBuf::from("cargo"), PathBuf::from);
        let here = Path::new(env!("CARGO_MANIFEST_DIR"));
        let mut ask = Command::new(&cargo);
        // Run by hand from elsewhere, the folder of the build may be gone: then the current one decides.
        if here.is_dir() {
            ask.current_dir(here);
        }
        let text = run::output(ask.args(["metadata", "--no-deps", "--offline", "--format-version", "1"]))?;
        let answer: serde_json::Value = serde_json::from_str(&text)
            .map_err(|e| Problem::Unexpected(format!("cargo metadata did not answer in JSON: {e}")))?;
        let folder = |key: &str| {
            answer[key]
                .as_str()
                .map(PathBuf::from)
                .ok_or_else(|| Problem::Unexpected(format!("cargo metadata names no {key}")))
        };
        Ok(Ground { root: folder("workspace_root")?, target: folder("target_directory")?, cargo })
    }

    /// A cargo command in the repository.
    pub fn cargo(&self) -> Command {
        let mut command = Command::new(&self.cargo);
        command.current_dir(&self.root);
        command
    }

    /// The web shell.
    pub fn shell(&self) -> PathBuf {
        self.root.join("web-shell")
    }

    /// The built web shell.
    pub fn dist(&self) -> PathBuf {
        self.shell().join("dist")
    }

    /// Generated files that must not be in the repository: stamps, settings of the test browser, pictures.
    pub fn own(&self, name: &str) -> PathBuf {
        self.target.join("xtask").join(name)
    }

    /// The server as users get it.
    pub fn server(&self) -> PathBuf {
        self.target.join("release").join(format!("crownweir{}", std::env::consts::EXE_SUFFIX))
    }
}
