//! `cargo xtask test`: every kind of test, counted together.

use std::process::{Command, ExitCode};
use std::time::Instant;

use crate::ground::Ground;
use crate::problem::Problem;
use crate::step::say;
use crate::tally::Tally;
use crate::{core, machine, run, server, shell};

/// A kind of test.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    /// The crates' own, property tests among them.
    Crates,
    /// Examples in the documentation.
    Documentation,
    /// The generated TypeScript types are the engine's.
    Types,
    /// The shell's units.
    Shell,
    /// The core inside a browser.
    CoreInBrowser,
    /// Other clients of the protocol against the real server.
    Interop,
    /// Whole browsers against the real server.
    Browsers,
}

/// Those that need no browser, then the rest.
const QUICK: [Part; 4] = [Part::Crates, Part::Documentation, Part::Types, Part::Shell];
const FULL: [Part; 7] = [
    Part::Crates,
    Part::Documentation,
    Part::Types,
    Part::Shell,
    Part::CoreInBrowser,
    Part::Interop,
    Part::Browsers,
];

/// All parts, one after another, whatever fails; failure at the end if anything did.
pub fn all(ground: &Ground, quick: bool) -> Result<ExitCode, Problem> {
    machine::node()?;
    if quick { finish(ground, &QUICK) } else { finish(ground, &FULL) }
}

/// One part.
pub fn one(ground: &Ground, part: Part) -> Result<ExitCode, Problem> {
    finish(ground, &[part])
}

fn finish(ground: &Ground, parts: &[Part]) -> Result<ExitCode, Problem> {
    let mut sum = Tally::default();
    let mut broken = Vec::new();
    for part in parts {
        println!("\n--- {}", part.title());
        let start = Instant::now();
        let tally = part.run(ground).unwrap_or_else(|problem| {
            eprintln!("xtask: {problem}");
            Tally::default().close(false)
        });
        say("tests", &format!("{}: {} passed, {} failed", part.title(), tally.passed, tally.failed), start);
        if tally.failed > 0 {
            broken.push(part.title());
        }
        sum = sum.and(tally);
    }
    if !broken.is_empty() {
        println!("\nfailed: {}", broken.join("; "));
    }
    println!("\n{} passed, {} failed", sum.passed, sum.failed);
    Ok(if sum.failed == 0 { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

impl Part {
    fn title(self) -> &'static str {
        match self {
            Part::Crates => "crates",
            Part::Documentation => "examples in the documentation",
            Part::Types => "generated types",
            Part::Shell => "web shell",
            Part::CoreInBrowser => "core in a browser",
            Part::Interop => "other clients",
            Part::Browsers => "whole browsers",
        }
    }

    fn run(self, ground: &Ground) -> Result<Tally, Problem> {
        match self {
            Part::Crates if has_nextest(ground) => {
                count(ground.cargo().args(["nextest", "run", "--workspace", "--no-fail-fast"]), Stream::Error)
            }
            Part::Crates => count(
                ground.cargo().args(["test", "--workspace", "--lib", "--bins", "--tests", "--no-fail-fast"]),
                Stream::Out,
            ),
            Part::Documentation => documentation(ground),
            Part::Types => {
                let current = core::types_are_current(ground)?;
                if !current {
                    eprintln!(
                        "web-shell/src/core/types.ts is not what the engine has now: run `cargo xtask types` and commit it"
                    );
                }
                Ok(Tally { passed: usize::from(current), failed: usize::from(!current) })
            }
            Part::Shell => {
                shell::packages(ground, &ground.shell())?;
                count(
                    machine::npm()
                        .current_dir(ground.shell())
                        .args(["test", "--silent"])
                        .env("NO_COLOR", "1"),
                    Stream::Out,
                )
            }
            Part::CoreInBrowser => count(&mut core::test_command(ground)?, Stream::Out),
            Part::Interop => against_server(ground, "interop"),
            Part::Browsers => against_server(ground, "e2e"),
        }
    }
}

/// Where a program sums up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Stream {
    Out,
    Error,
}

fn count(command: &mut Command, stream: Stream) -> Result<Tally, Problem> {
    let mut tally = Tally::default();
    let succeeded = match stream {
        Stream::Out => run::watch(command, |line| tally.read(line))?,
        Stream::Error => run::watch_errors(command, |line| tally.read(line))?,
    };
    Ok(tally.close(succeeded))
}

/// A workspace may have no examples at all, which is no failure.
fn documentation(ground: &Ground) -> Result<Tally, Problem> {
    let mut tally = Tally::default();
    let succeeded =
        run::watch(ground.cargo().args(["test", "--workspace", "--doc", "--no-fail-fast"]), |line| {
            tally.read(line)
        })?;
    Ok(if succeeded { tally } else { tally.close(false) })
}

/// The Node tests in a folder of `tests`, against the server as users get it.
fn against_server(ground: &Ground, folder: &str) -> Result<Tally, Problem> {
    let browser = machine::browser()?;
    server::build_with_shell(ground)?;
    let folder = ground.root.join("tests").join(folder);
    shell::packages(ground, &folder)?;
    let mut command = machine::npm();
    command
        .current_dir(&folder)
        .args(["test", "--silent"])
        .env("NO_COLOR", "1")
        .env("CROWNWEIR", ground.server())
        .env("CHROMIUM", browser.browser)
        .env("PICTURES", ground.target.join("pictures"));
    count(&mut command, Stream::Out)
}

fn has_nextest(ground: &Ground) -> bool {
    let asked = ground.cargo().args(["nextest", "--version"]).output();
    asked.is_ok_and(|output| output.status.success())
}
