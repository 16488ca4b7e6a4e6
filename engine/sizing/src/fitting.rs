//! Fittings and valves as a length of pipe with the same loss, by a table that the caller passes in.

use crate::Bounds;
use crate::quantity::{Feet, not_negative};

/// Equivalent lengths by fitting and nominal size, as a code or a maker prints them.
#[derive(Debug, Clone, PartialEq)]
pub struct FittingTable {
    rows: Vec<(String, String, f64)>,
}

/// Why fittings have no equivalent length.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum FittingError {
    /// The table's own length is unusable.
    #[error("the equivalent length of {fitting} in {size} is {feet} ft: a table needs zero or more")]
    Row {
        /// Fitting.
        fitting: String,
        /// Nominal size.
        size: String,
        /// Length given.
        feet: f64,
    },
    /// Two rows for one fitting and size.
    #[error("the table has two lengths for {fitting} in {size}")]
    Twice {
        /// Fitting.
        fitting: String,
        /// Nominal size.
        size: String,
    },
    /// No row.
    #[error("the table has no equivalent length for {fitting} in {size}; it has {known}")]
    Unknown {
        /// Fitting asked for.
        fitting: String,
        /// Nominal size asked for.
        size: String,
        /// What the table has.
        known: String,
    },
}

impl FittingTable {
    /// A table of (fitting, nominal size, equivalent length in feet).
    ///
    /// # Errors
    /// Lengths below zero or not finite, and two rows of one fitting and size.
    pub fn new(rows: Vec<(String, String, f64)>) -> Result<Self, FittingError> {
        for (index, (fitting, size, feet)) in rows.iter().enumerate() {
            if not_negative("length", Bounds::exactly(*feet), "ft").is_err() {
                return Err(FittingError::Row { fitting: fitting.clone(), size: size.clone(), feet: *feet });
            }
            if rows[..index].iter().any(|row| row.0 == *fitting && row.1 == *size) {
                return Err(FittingError::Twice { fitting: fitting.clone(), size: size.clone() });
            }
        }
        Ok(FittingTable { rows })
    }

    /// Sum over fittings of one size: each with how many there are.
    ///
    /// # Errors
    /// A fitting the table does not have in this size.
    pub fn equivalent(&self, size: &str, fittings: &[(&str, u32)]) -> Result<Feet, FittingError> {
        let mut sum = Bounds::exactly(0.0);
        for &(fitting, count) in fittings {
            let row = self.rows.iter().find(|row| row.0 == fitting && row.1 == size);
            let Some((.., feet)) = row else {
                return Err(FittingError::Unknown {
                    fitting: fitting.to_owned(),
                    size: size.to_owned(),
                    known: self.known(),
                });
            };
            sum = sum.add(Bounds::decimal(*feet).mul(Bounds::exactly(f64::from(count))));
        }
        Ok(Feet(sum))
    }

    fn known(&self) -> String {
        if self.rows.is_empty() {
            return "no row".to_owned();
        }
        self.rows.iter().map(|(fitting, size, _)| format!("{fitting} {size}")).collect::<Vec<_>>().join(", ")
    }
}
