//! Deciding what a written code requires of a house from partial knowledge, with reasons.
//!
//! A *ruleset* is text: a vocabulary (kinds of subjects, facts asked of them), provisions with limits and exceptions,
//! decision tables, amending layers, adoptions, cases. [`load`] reads and checks it. [`Library::adopt`] gives the text in
//! force for a permit; [`Adopted::assess`] decides every provision on every subject of a [`World`];
//! [`Adopted::explain`] says why, [`Adopted::needed`] what is still to be seen.
//!
//! ```text
//! files -> load -> Library -> adopt(id, permit date) -> Adopted -> assess(World, stage) -> Finding ...
//!                                                          World: what has been seen, unknown, disputed
//! ```
//!
//! # What must stay true
//! - Every value is a *set of what is still possible*. A verdict is decided only when every completion of what is unknown
//!   agrees; learning a fact never flips a decided verdict. Nothing in the language can let ignorance decide.
//! - Numbers are exact fractions; no float decides at a limit.
//! - The same files, world and stage give the same findings in the same order. No clock, no randomness, no I/O.
//! - Loading reports every fault of all files in one run, each with a place and what to do.
//!
//! # What this crate must not know
//! Plumbing (that is in the rulesets), records and how they merge, files, sockets, browsers, clocks.
//!
//! # The language
#![doc = include_str!("../LANGUAGE.md")]

mod adopted;
mod build;
mod case;
mod compile;
mod date;
mod diagnostic;
mod digest;
mod eval;
mod explain;
mod function;
mod law;
mod lex;
mod library;
mod needed;
mod outcome;
mod outline;
mod parse;
mod parse_expr;
mod possible;
mod print;
mod program;
mod quantity;
mod rational;
mod show;
mod syntax;
mod table;
mod trail;
mod value;
mod vocabulary;
mod world;

pub use adopted::Adopted;
pub use date::{Date, DateError};
pub use diagnostic::{Diagnostic, Label, Severity, SourceFile};
pub use function::{HostBounds, HostFunction};
pub use library::{Library, Loading, MOST_BYTES, MOST_PROVISIONS, load};
pub use outcome::{
    AdoptError, AdoptionInfo, CaseOutcome, Explanation, Finding, Line, Mark, Need, NeedWhat, ProvisionInfo,
    Verdict,
};
pub use rational::Rational;
pub use value::Value;
pub use vocabulary::{Entry, FactInfo, KindInfo, MOST_WORDS, ValueError, Vocabulary};
pub use world::{MOST_SUBJECTS, World, WorldError};
