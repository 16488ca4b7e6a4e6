//! The server and the command line of Crownweir: sockets, accounts, the durable store, photos.
//!
//! ```text
//! http ------ session, jobs, rulesets, photos, shell ---+
//!   \-- /ws -- hub: one actor per active document ------+--> store (commit: one fsync for many)
//! ```
//!
//! It moves bytes, asks the engine and shows the answer. It must not know how a verdict is reached, nor read a record
//! other than through `crownweir-record`.
//!
//! INVARIANT (R1): no sync message leaves with heads that are not durable. Messages are generated only from a document
//! whose changes [`store::commit::Committer::commit`] has confirmed.

pub mod access;
pub mod accounts;
pub mod answer;
pub mod cli;
pub mod demo;
pub mod http;
pub mod hub;
pub mod import;
pub mod jobs;
pub mod photos;
pub mod rulesets;
pub mod serve;
pub mod store;
mod uploads;

use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use answer::Problem;
use crownweir_engine::Law;
use store::commit::Committer;
use store::sqlite::SqliteStore;
use store::{Store, StoreError};

/// How a server runs.
#[derive(Debug, Clone)]
pub struct Settings {
    /// Folder of everything that lasts.
    pub data: PathBuf,
    /// Whether people reach it by HTTPS (through a proxy): cookies are then marked `Secure`.
    pub behind_tls: bool,
    /// How often sockets are pinged; one that is silent for two spans is dropped.
    pub ping_every: Duration,
    /// Saved bytes of documents that stay in memory although nobody has them open.
    pub idle_bytes: usize,
    /// Frames waiting for one socket at most; a reader that is slower is disconnected.
    pub frames_waiting: usize,
}

impl Settings {
    /// The usual ones.
    pub fn new(data: PathBuf) -> Self {
        Settings {
            data,
            behind_tls: false,
            ping_every: Duration::from_secs(15),
            idle_bytes: 64 * 1024 * 1024,
            frames_waiting: 1024,
        }
    }
}

/// Milliseconds since 1970.
pub type Clock = Arc<dyn Fn() -> i64 + Send + Sync>;

/// The system's clock.
pub fn system_clock() -> Clock {
    Arc::new(|| {
        let since = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).unwrap_or_default();
        i64::try_from(since.as_millis()).unwrap_or(i64::MAX)
    })
}

/// Everything the handlers share.
pub struct Server {
    /// How it runs.
    pub settings: Settings,
    /// Reading.
    pub store: Arc<dyn Store>,
    /// Writing.
    pub committer: Committer,
    /// Who is signed in.
    pub accounts: accounts::Accounts,
    /// What is handed out as law.
    pub rulesets: rulesets::Rulesets,
    /// The same, loaded: imports are checked against its vocabulary.
    pub law: Law,
    /// Documents in memory and who follows them.
    pub hub: hub::Hub,
    /// Photos on disk.
    pub photos: photos::PhotoFolder,
    /// One upload step at a time per photo.
    pub uploads: uploads::Uploads,
    /// The web shell's files.
    pub shell: fn(&str) -> Option<http::ShellFile>,
    clock: Clock,
}

/// What handlers hold.
pub type Shared = Arc<Server>;

/// Why a server could not be set up.
#[derive(Debug, thiserror::Error)]
pub enum OpenError {
    /// The data folder cannot be made or used.
    #[error("cannot use the data folder {path}: {cause}")]
    Folder {
        /// Folder.
        path: PathBuf,
        /// What the system said.
        cause: std::io::Error,
    },
    /// Another server works on the data folder.
    #[error("another crownweir process is using {path}: stop it first, or choose another --data folder")]
    InUse {
        /// Folder.
        path: PathBuf,
    },
    /// The database.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The photos' folder.
    #[error(transparent)]
    Photos(#[from] photos::PhotoError),
    /// Accounts.
    #[error("cannot set up accounts: {0}")]
    Accounts(String),
}

/// Holds a data folder for one process; let go when dropped or when the process dies.
#[derive(Debug)]
pub struct DataFolder {
    /// Where it is.
    pub path: PathBuf,
    _lock: std::fs::File,
}

impl DataFolder {
    /// Creates the folder if need be and takes hold of it.
    pub fn hold(path: PathBuf) -> Result<Self, OpenError> {
        let fails = |cause| OpenError::Folder { path: path.clone(), cause };
        std::fs::create_dir_all(&path).map_err(fails)?;
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            // Password hashes and everybody's records: nobody else on the machine reads them.
            std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o700)).map_err(fails)?;
        }
        let lock = std::fs::OpenOptions::new()
            .create(true)
            .truncate(false)
            .write(true)
            .open(path.join("in-use"))
            .map_err(fails)?;
        match lock.try_lock() {
            Ok(()) => Ok(DataFolder { path, _lock: lock }),
            Err(std::fs::TryLockError::WouldBlock) => Err(OpenError::InUse { path }),
            Err(std::fs::TryLockError::Error(cause)) => Err(fails(cause)),
        }
    }

    /// Opens the store in it.
    pub fn store(&self) -> Result<SqliteStore, StoreError> {
        SqliteStore::open(&self.path.join("crownweir.db"))
    }
}

impl Server {
    /// Sets a server up over a store; `law` is loaded from `rulesets`, which is what tablets take along. Needs a running tokio runtime.
    pub fn new(
        settings: Settings,
        store: Arc<dyn Store>,
        rulesets: rulesets::Rulesets,
        law: Law,
        clock: Clock,
    ) -> Result<Shared, OpenError> {
        let committer = Committer::start(store.clone())
            .map_err(|cause| OpenError::Folder { path: settings.data.clone(), cause })?;
        let accounts = accounts::Accounts::new(store.clone(), committer.clone())
            .map_err(|p| OpenError::Accounts(p.message))?;
        let photos = photos::PhotoFolder::open(settings.data.join("photos"))?;
        let hub = hub::Hub::new(store.clone(), committer.clone(), &settings, clock.clone());
        Ok(Arc::new(Server {
            settings,
            store,
            committer,
            accounts,
            rulesets,
            law,
            hub,
            photos,
            uploads: uploads::Uploads::default(),
            shell: http::embedded_shell,
            clock,
        }))
    }

    /// Milliseconds since 1970.
    pub fn now_ms(&self) -> i64 {
        (self.clock)()
    }
}

/// Runs a store call where it may block.
pub(crate) async fn off_thread<T: Send + 'static>(
    store: Arc<dyn Store>,
    f: impl FnOnce(&dyn Store) -> Result<T, StoreError> + Send + 'static,
) -> Result<T, Problem> {
    match tokio::task::spawn_blocking(move || f(&*store)).await {
        Ok(answer) => answer.map_err(Problem::from),
        Err(e) => Err(Problem::ours(&e)),
    }
}
