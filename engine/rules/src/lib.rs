//! Deciding what a written code requires from partial knowledge, with reasons.
pub mod date;
pub mod diagnostic;
mod lex;
mod outcome;
mod outline;
mod parse;
mod parse_expr;
mod quantity;
pub mod rational;
mod syntax;
pub mod value;
pub mod vocabulary;
pub mod world;
pub use date::{Date, DateError};
pub use diagnostic::{Diagnostic, Label, Severity, SourceFile};
pub use outcome::{
    AdoptError, AdoptionInfo, CaseOutcome, Explanation, Finding, Line, Mark, Need, NeedWhat, ProvisionInfo,
    Verdict,
};
pub use rational::Rational;
pub use value::Value;
pub use vocabulary::{Entry, FactInfo, KindInfo, ValueError, Vocabulary};
pub use world::{World, WorldError};
