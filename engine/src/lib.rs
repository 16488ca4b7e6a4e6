//! Joins a job record and the adoption in force to verdicts with reasons, a disposition and a notice.
//!
//! ```text
//! record (crownweir-record) -> JobState --+
//!                                         +--> judge -> Judgement --> Reading: job, place, reason, notice, report
//! rulesets (crownweir-rules) -> Law ------+
//! person -> Command -> edits -> Edit -> record.stage
//! ```
//!
//! [`judge`] is the one function that the tablet (WASM) and the server (native) share; everything else here shows
//! what it said or turns a person's act into edits of the record. No I/O, no clock, no randomness, and no verdict
//! decided in code: limits live in the rulesets, formulas in `crownweir-sizing`.

mod assess;
mod command;
mod disposition;
mod edits;
mod law;
mod moment;
mod notice;
mod places;
mod reading;
mod report;
pub mod view;

pub use assess::{Assessment, Wanted, assess};
pub use command::Command;
pub use edits::{CommandError, edits};
pub use law::{FUNCTIONS, Law, LawError};
pub use places::{PLACE_KINDS, Place, Places};
pub use reading::{Judgement, Reading, judge, judge_at, stage_label};
pub use report::{Report, ReportLine, report};
