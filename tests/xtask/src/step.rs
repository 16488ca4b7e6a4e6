//! One line for each step, with its time.

use std::io::Write;
use std::time::Instant;

use crate::problem::Problem;

/// Does the work and prints `name  what came of it  (seconds)`.
pub fn step(name: &str, work: impl FnOnce() -> Result<String, Problem>) -> Result<(), Problem> {
    let start = Instant::now();
    let outcome = work()?;
    say(name, &outcome, start);
    Ok(())
}

/// The line of a step that was timed elsewhere.
pub fn say(name: &str, outcome: &str, start: Instant) {
    println!("{name:<10} {outcome}  ({:.1} s)", start.elapsed().as_secs_f64());
    // Who watches a pipe wants the line now; a closed pipe is their business.
    let _ = std::io::stdout().flush();
}
