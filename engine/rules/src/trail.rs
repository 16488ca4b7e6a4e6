//! Where a value is from: the base text, and every layer that changed it.

use crate::date::Date;

/// The changes of one value, oldest first; empty when it stands as the base text has it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Trail(pub Vec<Step>);

/// One change.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Step {
    /// What stood before.
    pub was: String,
    pub cite: String,
    pub from: Option<Date>,
}

impl Trail {
    /// The citation in force and what it replaced: `Norhaven Rule 12, from 2024-07-01 (was 72 in, s. 909.1)`.
    pub fn say(&self, base: &str) -> String {
        let Some(last) = self.0.last() else { return base.to_owned() };
        let mut out = last.cite.clone();
        if let Some(from) = last.from {
            out.push_str(&format!(", from {from}"));
        }
        for (i, step) in self.0.iter().enumerate().rev() {
            let before = if i == 0 { base } else { &self.0[i - 1].cite };
            out.push_str(&format!(" (was {}, {before})", step.was));
        }
        out
    }
}
