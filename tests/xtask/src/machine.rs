//! What the machine must have, and how to get it.

use std::path::PathBuf;
use std::process::{Command, Stdio};

use crate::ground::Ground;
use crate::problem::Problem;
use crate::run;

/// Rust's name of the browser as a target.
pub const WASM: &str = "wasm32-unknown-unknown";

const NODE_AT_LEAST: (u32, u32) = (20, 19);
const BROWSERS: [&str; 5] =
    ["chromium", "chromium-browser", "google-chrome-stable", "google-chrome", "chrome"];

/// A browser and the program that steers it for the core's tests.
#[derive(Debug)]
pub struct Browser {
    /// Chromium or Chrome.
    pub browser: PathBuf,
    /// chromedriver.
    pub driver: PathBuf,
}

/// Rust for the browser. rustup fetches it by rust-toolchain.toml; a Rust without rustup may lack it.
pub fn wasm_target() -> Result<String, Problem> {
    let has = || -> Result<bool, Problem> {
        let rustc = std::env::var_os("RUSTC").unwrap_or_else(|| "rustc".into());
        let libdir = run::output(Command::new(rustc).args(["--print", "target-libdir", "--target", WASM]))?;
        Ok(PathBuf::from(libdir.trim()).is_dir())
    };
    if has()? {
        return Ok("there".into());
    }
    if on_path("rustup").is_some() {
        run::run(Command::new("rustup").args(["target", "add", WASM]))?;
        if has()? {
            return Ok("installed by rustup".into());
        }
    }
    Err(Problem::Missing {
        what: format!("Rust's standard library for {WASM}"),
        todo: "Install Rust by rustup, or your distribution's package of that name (Debian: libstd-rust-dev-wasm32), then run this again.".into(),
    })
}

/// Node and npm, installed by apt when we may.
pub fn node() -> Result<String, Problem> {
    let mut version = node_version();
    if (version.is_none() || on_path("npm").is_none()) && may_install() {
        apt(&["nodejs", "npm"])?;
        version = node_version();
    }
    let (major, minor) = NODE_AT_LEAST;
    let wish = format!(
        "Install Node {major}.{minor} or newer with npm, then run this again; or use a release archive and `up --prebuilt`, which needs no Node."
    );
    match version {
        None => Err(Problem::Missing { what: "Node".into(), todo: wish }),
        Some((a, b, text)) if (a, b) < NODE_AT_LEAST => Err(Problem::Missing {
            what: format!("Node {major}.{minor} (this machine has {text})"),
            todo: wish,
        }),
        Some(_) if on_path("npm").is_none() => Err(Problem::Missing { what: "npm".into(), todo: wish }),
        Some((_, _, text)) => Ok(text),
    }
}

/// Chromium and its driver, installed by apt when we may.
pub fn browser() -> Result<Browser, Problem> {
    if let Some(found) = find_browser() {
        return Ok(found);
    }
    if may_install() {
        apt(&["chromium", "chromium-driver"])?;
    }
    find_browser().ok_or_else(|| Problem::Missing {
        what: "Chromium or its driver".into(),
        todo: "Run `apt-get update && apt-get install -y chromium chromium-driver` as root (or your system's way), or name both \
               in the environment variables CHROMIUM and CHROMEDRIVER, then run this again."
            .into(),
    })
}

fn find_browser() -> Option<Browser> {
    let named = |variable: &str| std::env::var_os(variable).map(PathBuf::from).filter(|path| path.is_file());
    Some(Browser {
        browser: named("CHROMIUM").or_else(|| BROWSERS.iter().find_map(|name| on_path(name)))?,
        driver: named("CHROMEDRIVER").or_else(|| on_path("chromedriver"))?,
    })
}

/// The file by which the core's test runner starts the browser without a window.
pub fn webdriver_settings(ground: &Ground, browser: &Browser) -> Result<PathBuf, Problem> {
    let settings = serde_json::json!({ "goog:chromeOptions": {
        "binary": browser.browser,
        // Root cannot start it inside its sandbox; the rest keeps it from calling home during a test.
        "args": ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
                 "--disable-background-networking", "--disable-component-update", "--disable-sync",
                 "--disable-dev-shm-usage"],
    } });
    let path = ground.own("webdriver.json");
    crate::stamp::write(&path, settings.to_string().as_bytes())?;
    Ok(path)
}

fn node_version() -> Option<(u32, u32, String)> {
    let output = Command::new("node").arg("--version").stderr(Stdio::null()).output().ok()?;
    parse_version(&String::from_utf8_lossy(&output.stdout))
}

/// `v20.20.2` to 20, 20 and the text.
fn parse_version(text: &str) -> Option<(u32, u32, String)> {
    let text = text.trim();
    let mut parts = text.trim_start_matches('v').split('.');
    Some((parts.next()?.parse().ok()?, parts.next()?.parse().ok()?, text.to_string()))
}

fn may_install() -> bool {
    on_path("apt-get").is_some()
        && Command::new("id").arg("-u").output().is_ok_and(|output| output.stdout.trim_ascii() == b"0")
}

fn apt(packages: &[&str]) -> Result<(), Problem> {
    println!("installing {} (apt-get)", packages.join(", "));
    let apt = || {
        let mut command = Command::new("apt-get");
        command.env("DEBIAN_FRONTEND", "noninteractive");
        command
    };
    run::run(apt().args(["update", "-qq"]))?;
    run::run(
        apt().args(["install", "-y", "-qq", "--no-install-recommends"]).args(packages).stdout(Stdio::null()),
    )
}

/// Where a program lies.
pub fn on_path(program: &str) -> Option<PathBuf> {
    let file = format!("{program}{}", std::env::consts::EXE_SUFFIX);
    std::env::split_paths(&std::env::var_os("PATH")?)
        .map(|folder| folder.join(&file))
        .find(|path| path.is_file())
}

/// npm, which is a script with another ending on some systems.
pub fn npm() -> Command {
    Command::new(if cfg!(windows) { "npm.cmd" } else { "npm" })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn node_versions_compare_by_number() {
        let at_least = |text: &str| parse_version(text).is_some_and(|(a, b, _)| (a, b) >= NODE_AT_LEAST);
        assert!(at_least("v20.19.0\n") && at_least("v22.1.0") && at_least("v100.0.0"));
        assert!(!at_least("v20.9.0") && !at_least("v18.20.1") && !at_least("not a version"));
    }
}
