//! Peak demand from fixture units by a code's table, which the caller passes in.
//!
//! Codes differ in how to read between rows: the next row up, or a straight line. Neither is assumed; a ruleset says.

use crate::Bounds;

/// Rows of fixture units and the demand they make, in the table's own unit of flow.
#[derive(Debug, Clone, PartialEq)]
pub struct DemandTable {
    rows: Vec<(f64, f64)>,
}

/// Why rows are not a demand table.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum TableError {
    /// No row at all.
    #[error("the demand table has no row")]
    Empty,
    /// A number that is negative or not finite.
    #[error(
        "row {row} of the demand table ({units} fixture units, demand {demand}) has a number that is negative or not finite"
    )]
    Number {
        /// Row, counted from 1.
        row: usize,
        /// Its fixture units.
        units: f64,
        /// Its demand.
        demand: f64,
    },
    /// Fixture units must rise from row to row and demand must not fall.
    #[error(
        "row {row} of the demand table is out of order: fixture units must rise and demand must not fall"
    )]
    Order {
        /// Row, counted from 1.
        row: usize,
    },
}

/// Why a demand was not read off a table.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum LookupError {
    /// Not a usable number of fixture units.
    #[error("{lo} to {hi} fixture units is not a usable load")]
    Load {
        /// Lower end.
        lo: f64,
        /// Upper end.
        hi: f64,
    },
    /// Below the first row: a line has nothing to start from.
    #[error(
        "{units} fixture units are below the first row of the table ({first}), which cannot be interpolated"
    )]
    BelowTable {
        /// The load.
        units: f64,
        /// Fixture units of the first row.
        first: f64,
    },
    /// Beyond the last row.
    #[error("{units} fixture units are beyond the last row of the table ({last})")]
    BeyondTable {
        /// The load.
        units: f64,
        /// Fixture units of the last row.
        last: f64,
    },
}

impl DemandTable {
    /// A table of (fixture units, demand), fixture units rising.
    ///
    /// # Errors
    /// No rows, numbers that are not finite or negative, rows out of order.
    pub fn new(rows: Vec<(f64, f64)>) -> Result<Self, TableError> {
        if rows.is_empty() {
            return Err(TableError::Empty);
        }
        for (index, &(units, demand)) in rows.iter().enumerate() {
            if !(units.is_finite() && demand.is_finite() && units >= 0.0 && demand >= 0.0) {
                return Err(TableError::Number { row: index + 1, units, demand });
            }
            if index > 0 && (units <= rows[index - 1].0 || demand < rows[index - 1].1) {
                return Err(TableError::Order { row: index + 1 });
            }
        }
        Ok(DemandTable { rows })
    }

    /// Demand of the first row that carries the load. A load below the first row takes the first row.
    ///
    /// # Errors
    /// A load beyond the last row, or not a number.
    pub fn by_next_row(&self, units: Bounds) -> Result<Bounds, LookupError> {
        let (lo, hi) = self.ends(units)?;
        let demand = |load: f64| self.rows[self.rows.partition_point(|row| row.0 < load)].1;
        Ok(Bounds { lo: demand(lo), hi: demand(hi) })
    }

    /// Demand on the straight line between the rows beside the load, rounded outward.
    ///
    /// # Errors
    /// A load below the first or beyond the last row, or not a number.
    pub fn by_interpolation(&self, units: Bounds) -> Result<Bounds, LookupError> {
        let (lo, hi) = self.ends(units)?;
        let first = self.rows[0].0;
        if lo < first {
            return Err(LookupError::BelowTable { units: lo, first });
        }
        Ok(Bounds { lo: self.on_the_line(lo).lo, hi: self.on_the_line(hi).hi })
    }

    fn on_the_line(&self, load: f64) -> Bounds {
        let above = self.rows.partition_point(|row| row.0 < load);
        let (units, demand) = self.rows[above];
        if units == load {
            return Bounds::exactly(demand);
        }
        let (units_below, demand_below) = self.rows[above - 1];
        // Tables and loads are written as decimals, so each number here may be half a step off.
        let decimal = Bounds::decimal;
        let share = decimal(load).sub(decimal(units_below)).div(decimal(units).sub(decimal(units_below)));
        decimal(demand_below).add(share.mul(decimal(demand).sub(decimal(demand_below))))
    }

    fn ends(&self, units: Bounds) -> Result<(f64, f64), LookupError> {
        if !(units.is_sound() && units.lo >= 0.0) {
            return Err(LookupError::Load { lo: units.lo, hi: units.hi });
        }
        let last = self.rows[self.rows.len() - 1].0;
        if units.hi > last {
            return Err(LookupError::BeyondTable { units: units.hi, last });
        }
        Ok((units.lo, units.hi))
    }
}
