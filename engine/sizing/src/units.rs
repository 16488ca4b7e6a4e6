//! Fixture units of a house, by a code's table that the caller passes in.
//!
//! Units are decimals with up to three places and are added exactly: ten fixtures of 1.4 and one of 6 are 20, not a hair
//! more, so that the load of a table's row reads that row.

use core::fmt;

use crate::Bounds;

/// A number of fixture units, drainage or supply; exact to a thousandth.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct FixtureUnits {
    thousandths: u64,
}

/// More fixture units than any building has.
const MOST_UNITS: u64 = 1_000_000;

impl FixtureUnits {
    /// From a decimal; `None` when it is negative, above a million, or finer than a thousandth.
    pub fn new(units: f64) -> Option<Self> {
        if !(0.0..=MOST_UNITS as f64).contains(&units) {
            return None;
        }
        let thousandths = libm::round(units * 1000.0);
        // Up to a million units a decimal's nearest f64 is off by far less than this; a finer decimal by more.
        ((units * 1000.0 - thousandths).abs() <= 1e-6)
            .then_some(FixtureUnits { thousandths: thousandths as u64 })
    }

    /// The decimal's nearest f64: the same as of a table's number written with the same digits.
    pub fn get(self) -> f64 {
        self.thousandths as f64 / 1000.0
    }

    fn times_plus(self, count: u32, sum: FixtureUnits) -> Option<FixtureUnits> {
        let thousandths = self.thousandths.checked_mul(u64::from(count))?.checked_add(sum.thousandths)?;
        (thousandths <= MOST_UNITS * 1000).then_some(FixtureUnits { thousandths })
    }
}

impl fmt::Display for FixtureUnits {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.get())
    }
}

/// Fixture units by kind of fixture or group, one column of a code's table (drainage; or cold, hot or total supply).
#[derive(Debug, Clone, PartialEq)]
pub struct FixtureTable {
    rows: Vec<(String, FixtureUnits)>,
}

/// How many there are of one kind: at least and at most, where some rooms are not yet seen.
#[derive(Debug, Clone, PartialEq)]
pub struct Fixtures<'a> {
    /// Kind, as the table writes it.
    pub kind: &'a str,
    /// Least number.
    pub least: u32,
    /// Greatest number.
    pub most: u32,
}

impl<'a> Fixtures<'a> {
    /// So many, all counted.
    pub fn counted(kind: &'a str, count: u32) -> Self {
        Fixtures { kind, least: count, most: count }
    }
}

/// Why there is no total.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum FixtureError {
    /// A row's number is no fixture units.
    #[error(
        "{kind} has {units} fixture units in the table: give zero to a million, in thousandths at the finest"
    )]
    Row {
        /// Kind.
        kind: String,
        /// Number given.
        units: f64,
    },
    /// Two rows for one kind.
    #[error("the table has two rows for {kind}")]
    Twice {
        /// Kind.
        kind: String,
    },
    /// No row.
    #[error("the table of fixture units has no row for {kind}; it has {known}")]
    Unknown {
        /// Kind asked for.
        kind: String,
        /// Kinds of the table.
        known: String,
    },
    /// A least number above the greatest.
    #[error("{kind} is counted as {least} to {most}: the least must not be above the most")]
    Count {
        /// Kind.
        kind: String,
        /// Least number.
        least: u32,
        /// Greatest number.
        most: u32,
    },
    /// A sum above a million.
    #[error("the fixture units add up to more than a million: check the counts")]
    TooMany,
}

impl FixtureTable {
    /// A table of (kind, fixture units of one).
    ///
    /// # Errors
    /// Numbers that are no fixture units, and two rows of one kind.
    pub fn new(rows: Vec<(String, f64)>) -> Result<Self, FixtureError> {
        let mut kept: Vec<(String, FixtureUnits)> = Vec::with_capacity(rows.len());
        for (kind, units) in rows {
            if kept.iter().any(|row| row.0 == kind) {
                return Err(FixtureError::Twice { kind });
            }
            match FixtureUnits::new(units) {
                Some(exact) => kept.push((kind, exact)),
                None => return Err(FixtureError::Row { kind, units }),
            }
        }
        Ok(FixtureTable { rows: kept })
    }

    /// Units of one fixture of a kind.
    ///
    /// # Errors
    /// A kind without a row.
    pub fn of(&self, kind: &str) -> Result<FixtureUnits, FixtureError> {
        self.rows.iter().find(|row| row.0 == kind).map(|row| row.1).ok_or_else(|| FixtureError::Unknown {
            kind: kind.to_owned(),
            known: self.rows.iter().map(|row| row.0.as_str()).collect::<Vec<_>>().join(", "),
        })
    }

    /// Sum over the fixtures, exact at both ends.
    ///
    /// # Errors
    /// A kind without a row, counts the wrong way round, a sum beyond a million.
    pub fn total(&self, fixtures: &[Fixtures<'_>]) -> Result<Bounds, FixtureError> {
        let (mut lo, mut hi) = (FixtureUnits::default(), FixtureUnits::default());
        for Fixtures { kind, least, most } in fixtures {
            let each = self.of(kind)?;
            if least > most {
                return Err(FixtureError::Count { kind: (*kind).to_owned(), least: *least, most: *most });
            }
            lo = each.times_plus(*least, lo).ok_or(FixtureError::TooMany)?;
            hi = each.times_plus(*most, hi).ok_or(FixtureError::TooMany)?;
        }
        Ok(Bounds { lo: lo.get(), hi: hi.get() })
    }
}

/// How a code turns a steady flow (pump, condensate) into drainage fixture units; numbers passed in.
#[derive(Debug, Clone, PartialEq)]
pub enum ContinuousFlow {
    /// So many units for each gallon a minute.
    PerGpm(f64),
    /// Steps of (up to and including so many gallons a minute, units), rising; nothing beyond the last.
    Steps(Vec<(f64, f64)>),
}

/// Why a steady flow has no fixture units.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ContinuousFlowError {
    /// Not a usable flow.
    #[error("a steady flow of {lo} to {hi} gpm is not usable: give zero or more")]
    Flow {
        /// Lower end, gpm.
        lo: f64,
        /// Upper end, gpm.
        hi: f64,
    },
    /// The rule's numbers are negative, not finite or out of order.
    #[error("step {step} of the rule for steady flow is negative, not finite or out of order")]
    Rule {
        /// Step, counted from 1.
        step: usize,
    },
    /// Beyond the last step.
    #[error("{gpm} gpm is beyond the last step of the rule ({last} gpm): the code official decides")]
    Beyond {
        /// Flow, gpm.
        gpm: f64,
        /// Flow of the last step, gpm.
        last: f64,
    },
}

impl ContinuousFlow {
    /// Drainage fixture units of a steady flow. (The word *up to* includes the limit itself.)
    ///
    /// # Errors
    /// A flow below zero or beyond the last step, and a rule out of order.
    pub fn drainage_units(&self, flow: crate::GallonsPerMinute) -> Result<Bounds, ContinuousFlowError> {
        let gpm = flow.bounds();
        if !(gpm.is_sound() && gpm.lo >= 0.0) {
            return Err(ContinuousFlowError::Flow { lo: gpm.lo, hi: gpm.hi });
        }
        match self {
            ContinuousFlow::PerGpm(units) => {
                if !(units.is_finite() && *units >= 0.0) {
                    return Err(ContinuousFlowError::Rule { step: 1 });
                }
                let product = Bounds::decimal(*units).mul(gpm).not_negative();
                product
                    .is_sound()
                    .then_some(product)
                    .ok_or(ContinuousFlowError::Flow { lo: gpm.lo, hi: gpm.hi })
            }
            ContinuousFlow::Steps(steps) => {
                for (index, &(up_to, units)) in steps.iter().enumerate() {
                    let rises = index == 0 || (up_to > steps[index - 1].0 && units >= steps[index - 1].1);
                    if !(up_to.is_finite() && units.is_finite() && up_to >= 0.0 && units >= 0.0 && rises) {
                        return Err(ContinuousFlowError::Rule { step: index + 1 });
                    }
                }
                let last = steps.last().ok_or(ContinuousFlowError::Rule { step: 1 })?.0;
                let of = |gpm: f64| {
                    let step = steps.iter().find(|step| gpm <= step.0);
                    step.map(|step| step.1).ok_or(ContinuousFlowError::Beyond { gpm, last })
                };
                Ok(Bounds { lo: of(gpm.lo)?, hi: of(gpm.hi)? })
            }
        }
    }
}
