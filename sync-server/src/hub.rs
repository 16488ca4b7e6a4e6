//! Documents in memory and who follows them. (Being laid.)
use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

use crate::store::{Store, commit::Committer};

/// See the module.
pub struct Hub {}

impl Hub {
    /// Over a store.
    pub fn new(_store: Arc<dyn Store>, _committer: Committer, _settings: &crate::Settings, _clock: crate::Clock) -> Self {
        Hub {}
    }
    /// Damaged jobs by document, with what is wrong.
    pub fn damaged(&self) -> BTreeMap<String, String> {
        BTreeMap::new()
    }
    /// Closes the sockets of a session.
    pub fn end_session(&self, _token_hash: &str) {}
    /// Closes all sockets.
    pub async fn close(&self, _grace: Duration) {}
}
