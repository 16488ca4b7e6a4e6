//! One upload step at a time per photo of a job.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError, Weak};

use tokio::sync::OwnedMutexGuard;

type Steps = HashMap<(String, String), Weak<tokio::sync::Mutex<()>>>;

/// Locks by document and photo; forgotten when nobody holds or waits for them.
#[derive(Debug, Default)]
pub struct Uploads(Mutex<Steps>);

impl Uploads {
    /// Waits until no other step works on this photo.
    pub async fn lock(&self, doc: &str, sha256: &str) -> OwnedMutexGuard<()> {
        let step = {
            let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
            let name = (doc.to_owned(), sha256.to_owned());
            match all.get(&name).and_then(Weak::upgrade) {
                Some(step) => step,
                None => {
                    all.retain(|_, step| step.strong_count() > 0);
                    let step = Arc::new(tokio::sync::Mutex::new(()));
                    all.insert(name, Arc::downgrade(&step));
                    step
                }
            }
        };
        step.lock_owned().await
    }
}
