//! The server, with the shell inside.

use crate::ground::Ground;
use crate::problem::Problem;
use crate::step::step;
use crate::{run, shell};

/// Builds the shell, then the server around it.
pub fn build_with_shell(ground: &Ground) -> Result<(), Problem> {
    shell::build(ground)?;
    build(ground)
}

/// Builds the server around the shell as it lies in `web-shell/dist`.
pub fn build(ground: &Ground) -> Result<(), Problem> {
    step("server", || {
        run::run(ground.cargo().args(["build", "--release", "--quiet", "-p", "sync-server"]))?;
        let file = ground.server();
        let size = std::fs::metadata(&file).map_err(Problem::file(&file))?.len();
        Ok(format!("ready, {:.1} MB", size as f64 / 1e6))
    })
}
