//! The engine for the browser: its WASM, the calls to it and their types.

use std::path::PathBuf;
use std::process::Command;

use crate::ground::Ground;
use crate::machine::{self, WASM};
use crate::problem::Problem;
use crate::step::step;
use crate::{run, stamp};

/// What the wasm crate's build is called in cargo's output.
const BUILT: &str = "web_core.wasm";

/// Builds `web-core` and writes `core.js`, `core_bg.wasm` and `core.d.ts`.
pub fn build(ground: &Ground) -> Result<(), Problem> {
    step("target", machine::wasm_target)?;
    step("core", || {
        run::run(ground.cargo().args([
            "build",
            "--quiet",
            "--target",
            WASM,
            "--profile",
            "wasm",
            "-p",
            "web-core",
        ]))?;
        let wasm = ground.target.join(WASM).join("wasm").join(BUILT);
        let made_of = stamp::digest(std::slice::from_ref(&wasm))?;
        let kept = ground.own("core.stamp");
        if stamp::is_fresh(&kept, &made_of) && pkg(ground).join("core_bg.wasm").is_file() {
            return Ok("unchanged".into());
        }
        let folder = pkg(ground);
        if folder.is_dir() {
            std::fs::remove_dir_all(&folder).map_err(Problem::file(&folder))?;
        }
        bindings(&wasm, &folder)?;
        stamp::keep(&kept, &made_of)?;
        let file = folder.join("core_bg.wasm");
        let size = std::fs::metadata(&file).map_err(Problem::file(&file))?.len();
        Ok(format!("built, {} kB", size / 1000))
    })
}

/// Where the shell imports the core from.
pub fn pkg(ground: &Ground) -> PathBuf {
    ground.shell().join("src/core/pkg")
}

fn bindings(wasm: &std::path::Path, folder: &std::path::Path) -> Result<(), Problem> {
    let arguments = [
        "wasm-bindgen",
        "--target",
        "web",
        "--out-name",
        "core",
        "--remove-name-section",
        "--remove-producers-section",
    ];
    let arguments = arguments.iter().map(std::ffi::OsString::from).chain([
        "--out-dir".into(),
        folder.into(),
        wasm.into(),
    ]);
    wasm_bindgen_cli::wasm_bindgen::run_cli_with_args(arguments)
        .map_err(|e| Problem::Unexpected(format!("wasm-bindgen could not make the bindings: {e:#}")))
}

/// Writes the TypeScript types of what crosses into the shell.
pub fn write_types(ground: &Ground) -> Result<(), Problem> {
    step("types", || {
        let (path, text) = (types_path(ground), types(ground)?);
        if std::fs::read_to_string(&path).is_ok_and(|kept| kept == text) {
            return Ok("unchanged".into());
        }
        stamp::write(&path, text.as_bytes())?;
        Ok("written".into())
    })
}

/// Whether the types in the repository are those of the engine.
pub fn types_are_current(ground: &Ground) -> Result<bool, Problem> {
    let text = types(ground)?;
    Ok(std::fs::read_to_string(types_path(ground)).is_ok_and(|kept| kept == text))
}

fn types_path(ground: &Ground) -> PathBuf {
    ground.shell().join("src/core/types.ts")
}

fn types(ground: &Ground) -> Result<String, Problem> {
    run::output(ground.cargo().args([
        "run",
        "--quiet",
        "-p",
        "crownweir-engine",
        "--features",
        "ts",
        "--example",
        "types",
    ]))
}

/// The core's own tests, compiled for the browser, with this program as their runner.
pub fn test_command(ground: &Ground) -> Result<Command, Problem> {
    let browser = machine::browser()?;
    let settings = machine::webdriver_settings(ground, &browser)?;
    let me = std::env::current_exe().map_err(Problem::file("xtask"))?;
    let mut command = ground.cargo();
    command
        .args(["test", "--target", WASM, "-p", "web-core", "--tests"])
        .env("CHROMEDRIVER", &browser.driver)
        .env("WASM_BINDGEN_TEST_WEBDRIVER_JSON", settings)
        .env("CARGO_TARGET_WASM32_UNKNOWN_UNKNOWN_RUNNER", format!("{} wasm-runner", me.display()));
    Ok(command)
}

/// What cargo calls for each test binary of the core.
pub fn run_tests(arguments: &[String]) -> Result<(), Problem> {
    let arguments = std::iter::once("wasm-bindgen-test-runner".to_string()).chain(arguments.iter().cloned());
    wasm_bindgen_cli::wasm_bindgen_test_runner::run_cli_with_args(arguments)
        .map_err(|e| Problem::Unexpected(format!("the core's tests did not run in the browser: {e:#}")))
}
