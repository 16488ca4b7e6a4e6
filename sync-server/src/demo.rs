//! The demo agency: an invented county, four people and their jobs of a day.

use std::sync::Arc;

use crownweir_engine::Law;
use crownweir_record::job_file::JobFile;

use crate::accounts::hash_password;
use crate::answer::Problem;
use crate::store::{Store, StoreError, UserRow, Write};
use crate::{import, jobs};

/// Name of the demo agency; a data folder with this agency is a demo.
pub const AGENCY: &str = "Alderfen County Building Department";

/// A demo account. The passwords are public: a demo is for looking at, not for records that matter.
#[derive(Debug, Clone, Copy)]
pub struct DemoAccount {
    /// Sign-in name.
    pub user: &'static str,
    /// Name as shown.
    pub name: &'static str,
    /// Role.
    pub role: &'static str,
    /// Password.
    pub password: &'static str,
}

/// Everybody of the demo agency.
pub const ACCOUNTS: [DemoAccount; 4] = [
    DemoAccount { user: "okafor", name: "R. Okafor", role: "inspector", password: "copper-elbow-34" },
    DemoAccount { user: "lindqvist", name: "T. Lindqvist", role: "inspector", password: "brass-union-12" },
    DemoAccount { user: "adeyemi", name: "S. Adeyemi", role: "supervisor", password: "level-sight-58" },
    DemoAccount { user: "pruitt", name: "J. Pruitt", role: "clerk", password: "paper-stamp-76" },
];

/// Why the demo was not seeded.
#[derive(Debug, thiserror::Error)]
pub enum DemoError {
    /// The folder holds something else.
    #[error(
        "the data folder holds the records of {agency}; nothing was changed. Choose an empty folder for the demo (--data)"
    )]
    NotEmpty {
        /// Agency found, or what stands for it.
        agency: String,
    },
    /// The store.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// Hashing a password.
    #[error("{0}")]
    Password(String),
    /// The day's jobs.
    #[error("the demo's jobs do not fit the rulesets: {0}")]
    Jobs(String),
}

#[derive(rust_embed::RustEmbed)]
#[folder = "demo"]
#[include = "day.json"]
struct Day;

/// Adds the day's jobs to a demo that has none. Returns how many were added.
///
/// # Errors
/// [`DemoError::Jobs`] names the first job that does not fit; then none is added.
pub fn seed_jobs(store: &Arc<dyn Store>, law: &Law, at_ms: i64) -> Result<usize, DemoError> {
    if !store.jobs()?.is_empty() {
        return Ok(0);
    }
    let day = Day::get("day.json").ok_or_else(|| DemoError::Jobs("day.json is missing".into()))?;
    let text = std::str::from_utf8(&day.data).map_err(|e| DemoError::Jobs(e.to_string()))?;
    let users: Vec<String> = store.users()?.into_iter().map(|u| u.user).collect();
    let mut writes = Vec::new();
    let files = JobFile::parse_all(text).map_err(|e| DemoError::Jobs(e.to_string()))?;
    let count = files.len();
    for file in files {
        let file = file.map_err(|e| DemoError::Jobs(e.to_string()))?;
        let of = |e: &dyn std::fmt::Display| DemoError::Jobs(format!("{}: {e}", file.permit));
        let job = import::new_job(&file, law, AGENCY, &users).map_err(|e| of(&e))?;
        writes.extend(jobs::begin(job, at_ms).map_err(|e| of(&e))?.1);
    }
    // One transaction: a demo killed half way has all of its jobs or none.
    store.commit(&writes)?;
    Ok(count)
}

/// Adds the agency and its accounts to an empty store. Does nothing if they are there; refuses any other content.
pub fn seed_accounts(store: &Arc<dyn Store>) -> Result<bool, DemoError> {
    match store.setting("agency")? {
        Some(agency) if agency == AGENCY => return Ok(false),
        Some(agency) => return Err(DemoError::NotEmpty { agency }),
        None if !store.users()?.is_empty() || !store.jobs()?.is_empty() => {
            return Err(DemoError::NotEmpty { agency: "an agency without a name".into() });
        }
        None => {}
    }
    let mut writes = vec![Write::Setting { name: "agency".into(), value: AGENCY.into() }];
    for a in ACCOUNTS {
        let password = hash_password(a.password).map_err(|p: Problem| DemoError::Password(p.message))?;
        writes.push(Write::User(UserRow {
            user: a.user.into(),
            name: a.name.into(),
            role: a.role.into(),
            password,
        }));
    }
    store.commit(&writes)?;
    Ok(true)
}
