//! Formulas that the host offers to rulesets by name: roots and powers belong there, not in a text that must stay exact.

/// Bounds in SI base units (m, m2, m3, m3/s, m/s, Pa, W, K, s); plain numbers, slopes and fixture units as they are.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HostBounds {
    /// Lower bound; minus infinity when open.
    pub lo: f64,
    /// Upper bound; plus infinity when open.
    pub hi: f64,
}

/// A pure function of bounds to bounds. Its result must enclose every value that arguments within the bounds may give,
/// rounding outward: a result that straddles a limit is then undetermined instead of wrong.
#[derive(Debug, Clone, Copy)]
pub struct HostFunction {
    /// Name that expressions call it by.
    pub name: &'static str,
    /// Types of its arguments: `length`, `volume`, `pressure`, `temperature`, `flow`, `number`, ...
    pub params: &'static [&'static str],
    /// Type of its result.
    pub result: &'static str,
    /// The function. An error says why it has no value; the value is then open.
    pub call: fn(&[HostBounds]) -> Result<HostBounds, String>,
}
