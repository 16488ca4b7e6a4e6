//! What can go wrong, each with what to do about it.

use std::path::PathBuf;

/// Why a step stopped.
#[derive(Debug, thiserror::Error)]
pub enum Problem {
    /// The command line does not parse.
    #[error("{what}\n\n{usage}")]
    Arguments {
        /// What is wrong with it.
        what: String,
        /// The commands there are.
        usage: &'static str,
    },
    /// Something the machine lacks and we may not or cannot install.
    #[error("{what} is missing. {todo}")]
    Missing {
        /// What is missing.
        what: String,
        /// The sentence to act on.
        todo: String,
    },
    /// A program did not start.
    #[error("could not start `{program}`: {source}")]
    Start {
        /// The program.
        program: String,
        /// Why.
        source: std::io::Error,
    },
    /// A program ended with a failure; its own output stands above.
    #[error("`{program}` failed ({status}); its own words are above")]
    Failed {
        /// The program and its arguments.
        program: String,
        /// How it ended.
        status: std::process::ExitStatus,
    },
    /// A file could not be read or written.
    #[error("{}: {source}", path.display())]
    File {
        /// Which.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
    /// A tool answered with something we do not understand.
    #[error("{0}")]
    Unexpected(String),
}

impl Problem {
    /// For `map_err` on file operations.
    pub fn file(path: impl Into<PathBuf>) -> impl FnOnce(std::io::Error) -> Problem {
        let path = path.into();
        move |source| Problem::File { path, source }
    }
}
