//! The demo agency: seeded once into an empty data folder.

use std::path::Path;
use std::process::Command;

use crate::ground::Ground;
use crate::problem::Problem;
use crate::step::step;
use crate::{run, stamp};

/// Beside the records, so that a later `up` can print the accounts again. Demo passwords are no secret.
const ACCOUNTS: &str = "demo-accounts.txt";

/// Seeds the agency when the folder is absent or empty. Never touches a folder that holds anything.
pub fn seed(ground: &Ground, data: &Path) -> Result<(), Problem> {
    step("demo", || {
        if holds_anything(data)? {
            return Ok(format!("kept what is in {}", data.display()));
        }
        std::fs::create_dir_all(data).map_err(Problem::file(data))?;
        let accounts = run::output(Command::new(ground.server()).arg("demo").arg("--data").arg(data))?;
        stamp::write(&data.join(ACCOUNTS), accounts.as_bytes())?;
        Ok(format!("seeded into {}", data.display()))
    })
}

/// What `crownweir demo` said when it seeded this folder, if it did.
pub fn accounts(data: &Path) -> Option<String> {
    std::fs::read_to_string(data.join(ACCOUNTS)).ok()
}

fn holds_anything(data: &Path) -> Result<bool, Problem> {
    if !data.exists() {
        return Ok(false);
    }
    Ok(std::fs::read_dir(data).map_err(Problem::file(data))?.next().is_some())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_an_absent_or_empty_folder_counts_as_empty() {
        let folder = tempfile::tempdir().expect("a folder");
        assert!(!holds_anything(&folder.path().join("absent")).expect("readable"));
        assert!(!holds_anything(folder.path()).expect("readable"));
        std::fs::write(folder.path().join("records"), b"x").expect("written");
        assert!(holds_anything(folder.path()).expect("readable"));
    }
}
