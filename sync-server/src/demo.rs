//! The demo agency: an invented county, four people and their jobs of a day.

use std::sync::Arc;

use crate::accounts::hash_password;
use crate::answer::Problem;
use crate::store::{Store, StoreError, UserRow, Write};

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
        writes.push(Write::User(UserRow { user: a.user.into(), name: a.name.into(), role: a.role.into(), password }));
    }
    store.commit(&writes)?;
    Ok(true)
}
