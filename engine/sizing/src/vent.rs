//! Capacity of a vent by a code's table, passed in, and the reduction for a long connector.

use crate::Bounds;
use crate::quantity::{Feet, Unusable, above_zero, not_negative};

/// A row of a vent table, for one vent size and one kind of appliance and connector. Inputs in the table's own unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct VentRow {
    /// Height of the vent, ft.
    pub height_ft: f64,
    /// Lateral run, ft; 0 is a straight vertical vent.
    pub lateral_ft: f64,
    /// Least input, for a fan-assisted appliance.
    pub least: Option<f64>,
    /// Greatest input.
    pub most: f64,
}

/// Rows by height, and by lateral within a height.
#[derive(Debug, Clone, PartialEq)]
pub struct VentTable {
    rows: Vec<VentRow>,
}

/// How to read between rows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum VentReading {
    /// The next lower height and, there, the next longer lateral.
    SaferRow,
    /// A straight line between laterals, then between heights; never between a straight vertical vent and one with a lateral,
    /// where the next longer lateral stands.
    Interpolated,
}

/// Input that a vent takes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct VentCapacity {
    /// Least input; none where the table has none.
    pub least: Option<Bounds>,
    /// Greatest input.
    pub most: Bounds,
}

/// Why rows are no vent table, or a table gives no capacity.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum VentError {
    /// No row.
    #[error("the vent table has no row")]
    Empty,
    /// Rows must rise by height and, within one, by lateral; numbers must be usable; a longer lateral must not vent more.
    #[error(
        "row {row} of the vent table is out of order: height, then lateral, must rise, a longer lateral must not carry more nor need less, and no number may be negative"
    )]
    Row {
        /// Row, counted from 1.
        row: usize,
    },
    /// An input out of range.
    #[error(transparent)]
    Unusable(#[from] Unusable),
    /// Below the lowest or above the highest vent of the table.
    #[error(
        "a vent {height_ft} ft high is outside of the table ({lowest} ft to {highest} ft), and tables are not extended"
    )]
    Height {
        /// Height asked for.
        height_ft: f64,
        /// Lowest of the table.
        lowest: f64,
        /// Highest of the table.
        highest: f64,
    },
    /// Lateral beyond the table.
    #[error(
        "a lateral of {lateral_ft} ft is beyond the longest of the table for a vent {height_ft} ft high ({longest} ft)"
    )]
    Lateral {
        /// Lateral asked for.
        lateral_ft: f64,
        /// Height of the rows read.
        height_ft: f64,
        /// Longest lateral there.
        longest: f64,
    },
    /// A connector too long for any reduction.
    #[error("a connector longer than {most} times the length allowed has no capacity by this rule")]
    Connector {
        /// Most multiples of the allowed length.
        most: u32,
    },
}

impl VentTable {
    /// A table of rows, sorted by height and then lateral.
    ///
    /// # Errors
    /// No rows, rows out of order, negative numbers.
    pub fn new(rows: Vec<VentRow>) -> Result<Self, VentError> {
        if rows.is_empty() {
            return Err(VentError::Empty);
        }
        for (index, row) in rows.iter().enumerate() {
            let numbers = [row.height_ft, row.lateral_ft, row.most, row.least.unwrap_or(0.0)];
            let usable = numbers.iter().all(|n| n.is_finite() && *n >= 0.0) && row.height_ft > 0.0;
            let in_order = index == 0 || {
                let before = rows[index - 1];
                let same = before.height_ft == row.height_ft;
                let less = match (before.least, row.least) {
                    (Some(before), Some(least)) => before <= least,
                    _ => true,
                };
                before.height_ft < row.height_ft
                    || (same && before.lateral_ft < row.lateral_ft && before.most >= row.most && less)
            };
            if !(usable && in_order) {
                return Err(VentError::Row { row: index + 1 });
            }
        }
        Ok(VentTable { rows })
    }

    /// Input that a vent of a height and lateral takes.
    ///
    /// # Errors
    /// Outside of the table; tables are not extended.
    pub fn capacity(
        &self,
        height: Feet,
        lateral: Feet,
        reading: VentReading,
    ) -> Result<VentCapacity, VentError> {
        let h = above_zero("height of the vent", height.bounds(), "ft")?;
        let l = not_negative("lateral", lateral.bounds(), "ft")?;
        // What is read is linear in each between the table's own numbers, so these and the ends decide; just above a number of
        // the table the next row may begin, hence the neighbours.
        let mut heights = vec![h.lo, h.hi];
        let mut laterals = vec![l.lo, l.hi];
        for row in &self.rows {
            for near in [row.height_ft.next_down(), row.height_ft, row.height_ft.next_up()] {
                if h.contains(near) {
                    heights.push(near);
                }
            }
            for near in [row.lateral_ft.next_down(), row.lateral_ft, row.lateral_ft.next_up()] {
                if l.contains(near) {
                    laterals.push(near);
                }
            }
        }
        let mut all: Option<VentCapacity> = None;
        for &height in &heights {
            for &lateral in &laterals {
                let one = match reading {
                    VentReading::SaferRow => self.safer_row(height, lateral)?,
                    VentReading::Interpolated => self.interpolated(height, lateral)?,
                };
                all = Some(all.map_or(one, |all| VentCapacity {
                    least: all.least.zip(one.least).map(|(a, b)| a.hull(b)),
                    most: all.most.hull(one.most),
                }));
            }
        }
        all.ok_or(VentError::Empty)
    }

    fn safer_row(&self, height: f64, lateral: f64) -> Result<VentCapacity, VentError> {
        let (below, _) = self.heights_around(height)?;
        let row = self.row_covering(below, lateral)?;
        Ok(VentCapacity { least: row.least.map(Bounds::exactly), most: Bounds::exactly(row.most) })
    }

    fn interpolated(&self, height: f64, lateral: f64) -> Result<VentCapacity, VentError> {
        let (below, above) = self.heights_around(height)?;
        let lower = self.at_height(below, lateral)?;
        if below == above {
            return Ok(lower);
        }
        Ok(between(lower, self.at_height(above, lateral)?, height, below, above))
    }

    fn at_height(&self, height: f64, lateral: f64) -> Result<VentCapacity, VentError> {
        let row = self.row_covering(height, lateral)?;
        let own = |row: &VentRow| VentCapacity {
            least: row.least.map(Bounds::exactly),
            most: Bounds::exactly(row.most),
        };
        let before = self.at(height).filter(|r| r.lateral_ft < lateral && r.lateral_ft > 0.0).last();
        match before {
            Some(before) if row.lateral_ft > lateral => {
                Ok(between(own(before), own(row), lateral, before.lateral_ft, row.lateral_ft))
            }
            _ => Ok(own(row)),
        }
    }

    fn at(&self, height: f64) -> impl Iterator<Item = &VentRow> {
        self.rows.iter().filter(move |row| row.height_ft == height)
    }

    fn row_covering(&self, height: f64, lateral: f64) -> Result<&VentRow, VentError> {
        self.at(height).find(|row| row.lateral_ft >= lateral).ok_or_else(|| VentError::Lateral {
            lateral_ft: lateral,
            height_ft: height,
            longest: self.at(height).last().map_or(0.0, |row| row.lateral_ft),
        })
    }

    /// Heights of the table at or next below, and at or next above.
    fn heights_around(&self, height: f64) -> Result<(f64, f64), VentError> {
        let below = self.rows.iter().rev().map(|row| row.height_ft).find(|h| *h <= height);
        let above = self.rows.iter().map(|row| row.height_ft).find(|h| *h >= height);
        below.zip(above).ok_or_else(|| VentError::Height {
            height_ft: height,
            lowest: self.rows[0].height_ft,
            highest: self.rows[self.rows.len() - 1].height_ft,
        })
    }
}

fn between(a: VentCapacity, b: VentCapacity, at: f64, from: f64, to: f64) -> VentCapacity {
    let decimal = Bounds::decimal;
    let share = decimal(at).sub(decimal(from)).div(decimal(to).sub(decimal(from)));
    let line = |a: Bounds, b: Bounds| a.add(share.mul(b.sub(a))).not_negative();
    VentCapacity { least: a.least.zip(b.least).map(|(a, b)| line(a, b)), most: line(a.most, b.most) }
}

/// Share of the table's greatest input that is left for a connector longer than allowed: 1 up to the allowed length, and less
/// by `each` for every further multiple of it begun, up to `most` multiples. The numbers are the code's.
///
/// # Errors
/// Lengths not above zero, a share outside of 0 to 1, a connector beyond the last multiple.
pub fn connector_factor(length: Feet, allowed: Feet, each: f64, most: u32) -> Result<Bounds, VentError> {
    let length = not_negative("connector's length", length.bounds(), "ft")?;
    let allowed = above_zero("length allowed", allowed.bounds(), "ft")?;
    let each = not_negative("reduction", Bounds::decimal(each).not_negative(), "")?;
    if most > 1000 {
        return Err(VentError::Connector { most: 1000 });
    }
    let multiple = |length: f64, allowed: f64, upper: bool| {
        (1..=most)
            .find(|k| {
                let reach = Bounds::exactly(f64::from(*k)).mul(Bounds::exactly(allowed));
                length <= if upper { reach.lo } else { reach.hi }
            })
            .ok_or(VentError::Connector { most })
    };
    let fewest = multiple(length.lo, allowed.hi, false)?;
    let greatest = multiple(length.hi, allowed.lo, true)?;
    let left = |k: u32| Bounds::exactly(1.0).sub(each.mul(Bounds::exactly(f64::from(k - 1))));
    Ok(left(greatest).hull(left(fewest)).not_negative())
}
