//! The web shell: its packages and its build.

use std::path::Path;
use std::time::Instant;

use crate::ground::Ground;
use crate::problem::Problem;
use crate::step::{say, step};
use crate::{core, machine, run, stamp};

/// What the shell is made of beside the core.
const SOURCES: [&str; 5] = ["src", "public", "build", "index.html", "package-lock.json"];

/// Builds the core and the shell, if anything they are made of changed.
pub fn build(ground: &Ground) -> Result<(), Problem> {
    step("node", machine::node)?;
    core::build(ground)?;
    packages(ground, &ground.shell())?;
    step("shell", || {
        let made_of = stamp::digest(&sources(ground)?)?;
        let kept = ground.own("shell.stamp");
        if stamp::is_fresh(&kept, &made_of) && ground.dist().join("index.html").is_file() {
            return Ok("unchanged".into());
        }
        run::run(machine::npm().current_dir(ground.shell()).args(["run", "--silent", "build"]))?;
        stamp::keep(&kept, &made_of)?;
        Ok("built".into())
    })
}

/// Installs the packages of a folder exactly as its lock file says, if that changed since.
pub fn packages(ground: &Ground, folder: &Path) -> Result<(), Problem> {
    let start = Instant::now();
    let name = folder.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let lock = stamp::digest(&[folder.join("package-lock.json")])?;
    let kept = ground.own(&format!("packages-{name}.stamp"));
    if stamp::is_fresh(&kept, &lock) && folder.join("node_modules").is_dir() {
        say("packages", &format!("{name}: unchanged"), start);
        return Ok(());
    }
    run::run(machine::npm().current_dir(folder).args(["ci", "--no-audit", "--no-fund", "--loglevel=error"]))?;
    stamp::keep(&kept, &lock)?;
    say("packages", &format!("{name}: installed"), start);
    Ok(())
}

/// The named sources and whatever settings lie beside them.
fn sources(ground: &Ground) -> Result<Vec<std::path::PathBuf>, Problem> {
    let shell = ground.shell();
    let mut sources: Vec<_> = SOURCES.iter().map(|name| shell.join(name)).collect();
    for entry in std::fs::read_dir(&shell).map_err(Problem::file(&shell))? {
        let path = entry.map_err(Problem::file(&shell))?.path();
        if path.is_file() && path.extension().is_some_and(|ext| ext == "json" || ext == "ts") {
            sources.push(path);
        }
    }
    sources.sort();
    sources.dedup();
    Ok(sources)
}
