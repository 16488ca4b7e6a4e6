//! Calling other programs.

use std::io::{BufRead, BufReader, Read};
use std::process::{Command, Stdio};

use crate::problem::Problem;

/// Runs to the end; output goes where ours goes.
pub fn run(command: &mut Command) -> Result<(), Problem> {
    let program = spoken(command);
    let status = command.status().map_err(|source| Problem::Start { program: program.clone(), source })?;
    if status.success() { Ok(()) } else { Err(Problem::Failed { program, status }) }
}

/// Runs to the end and returns what it printed; errors go where ours go.
pub fn output(command: &mut Command) -> Result<String, Problem> {
    let program = spoken(command);
    let output = command
        .stderr(Stdio::inherit())
        .output()
        .map_err(|source| Problem::Start { program: program.clone(), source })?;
    if !output.status.success() {
        return Err(Problem::Failed { program, status: output.status });
    }
    Ok(String::from_utf8_lossy(&output.stdout).into_owned())
}

/// Runs to the end, passing each line of its output on and to `line`. Says whether it succeeded.
pub fn watch(command: &mut Command, line: impl FnMut(&str)) -> Result<bool, Problem> {
    let program = spoken(command);
    let start = |source| Problem::Start { program: program.clone(), source };
    let mut child = command.stdout(Stdio::piped()).spawn().map_err(start)?;
    if let Some(stdout) = child.stdout.take() {
        pass_on(stdout, line).map_err(start)?;
    }
    Ok(child.wait().map_err(start)?.success())
}

/// As [`watch`] for a program that reports on its error stream.
pub fn watch_errors(command: &mut Command, line: impl FnMut(&str)) -> Result<bool, Problem> {
    let program = spoken(command);
    let start = |source| Problem::Start { program: program.clone(), source };
    let mut child = command.stderr(Stdio::piped()).spawn().map_err(start)?;
    if let Some(stderr) = child.stderr.take() {
        pass_on(stderr, line).map_err(start)?;
    }
    Ok(child.wait().map_err(start)?.success())
}

fn pass_on(stream: impl Read, mut line: impl FnMut(&str)) -> std::io::Result<()> {
    let mut reader = BufReader::new(stream);
    let mut bytes = Vec::new();
    while reader.read_until(b'\n', &mut bytes)? > 0 {
        let text = String::from_utf8_lossy(&bytes);
        println!("{}", text.trim_end());
        line(text.trim_end());
        bytes.clear();
    }
    Ok(())
}

/// Program and arguments as a person would type them.
fn spoken(command: &Command) -> String {
    let words = std::iter::once(command.get_program()).chain(command.get_args());
    words.map(|word| word.to_string_lossy()).collect::<Vec<_>>().join(" ")
}
