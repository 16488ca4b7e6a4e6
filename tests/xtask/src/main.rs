//! `cargo xtask up` sets up, builds and serves Crownweir; `cargo xtask test` passes its tests. The other commands are
//! the pieces of these two.
//!
//! Must not know: anything about plumbing, rules or records. It calls cargo, npm and the `crownweir` binary.

mod core;
mod demo;
mod ground;
mod machine;
mod problem;
mod run;
mod server;
mod shell;
mod stamp;
mod step;
mod tally;
mod trial;
mod up;

use ground::Ground;
use problem::Problem;
use std::process::ExitCode;

const USAGE: &str = "\
cargo xtask COMMAND

  up [--port N] [--data DIR] [--prebuilt]
              set up what is missing, build, seed a demo agency and serve it on this machine
              --port      default 8350
              --data      where the records live, default `data` in the repository
              --prebuilt  use the web shell in web-shell/dist as it is: needs no Node
  test [--quick]
              every test: crates, documentation, the core in a browser, the shell, other clients, whole browsers
              --quick     only what needs no browser

Pieces:
  wasm        build the core for the browser into web-shell/src/core/pkg
  types       write the TypeScript types of the core to web-shell/src/core/types.ts
  shell       build the web shell into web-shell/dist (and the core it holds)
  server      build the server with the shell inside (and the shell)
  wasm-test   the core's tests in a browser without a window
  interop     other clients of the same protocol against the server
  e2e         whole browsers against the server
";

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    match dispatch(&arguments) {
        Ok(code) => code,
        Err(problem) => {
            eprintln!("xtask: {problem}");
            ExitCode::FAILURE
        }
    }
}

fn dispatch(arguments: &[String]) -> Result<ExitCode, Problem> {
    let (command, rest) = match arguments.split_first() {
        Some((command, rest)) => (command.as_str(), rest),
        None => ("help", arguments),
    };
    match command {
        "up" => up::up(&Ground::find()?, &up::Options::read(rest)?)?,
        "test" => return trial::all(&Ground::find()?, options_quick(rest)?),
        "wasm" => core::build(&Ground::find()?)?,
        "types" => core::write_types(&Ground::find()?)?,
        "shell" => shell::build(&Ground::find()?)?,
        "server" => server::build_with_shell(&Ground::find()?)?,
        "wasm-test" => return trial::one(&Ground::find()?, trial::Part::CoreInBrowser),
        "interop" => return trial::one(&Ground::find()?, trial::Part::Interop),
        "e2e" => return trial::one(&Ground::find()?, trial::Part::Browsers),
        // How cargo calls us back for a test binary of the core (see trial.rs).
        "wasm-runner" => core::run_tests(rest)?,
        "help" | "--help" | "-h" => print!("{USAGE}"),
        unknown => {
            return Err(Problem::Arguments {
                what: format!("there is no command `{unknown}`"),
                usage: USAGE,
            });
        }
    }
    Ok(ExitCode::SUCCESS)
}

fn options_quick(rest: &[String]) -> Result<bool, Problem> {
    match rest {
        [] => Ok(false),
        [flag] if flag == "--quick" => Ok(true),
        _ => Err(Problem::Arguments {
            what: format!("`test` does not know `{}`", rest.join(" ")),
            usage: USAGE,
        }),
    }
}
