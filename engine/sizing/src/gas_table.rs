//! Capacity of gas pipe by a code's table, passed in: the next longer row, never between rows.

use crate::Bounds;
use crate::quantity::{Feet, Unusable, above_zero, not_negative};

/// A table of capacities by length and nominal size. Lengths in feet; capacities in the table's own unit (cfh or thousands of
/// Btu/h), in which loads are then asked.
#[derive(Debug, Clone, PartialEq)]
pub struct GasTable {
    sizes: Vec<String>,
    rows: Vec<(f64, Vec<Option<f64>>)>,
}

/// Why rows are no gas table.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum GasTableError {
    /// No size or no row.
    #[error("the gas table has no size or no row")]
    Empty,
    /// A row without one cell for each size.
    #[error("the row for {feet} ft has {cells} cells for {sizes} sizes")]
    Cells {
        /// Length of the row.
        feet: f64,
        /// Its cells.
        cells: usize,
        /// Sizes of the table.
        sizes: usize,
    },
    /// Lengths must rise.
    #[error("row {row} ({feet} ft) is out of order, not above zero or not finite")]
    Length {
        /// Row, counted from 1.
        row: usize,
        /// Its length.
        feet: f64,
    },
    /// Along a row capacity must rise, down a column it must fall.
    #[error(
        "{size} at {feet} ft carries {capacity}: along a row capacity must rise with the size, down a column it must fall, and none may be negative"
    )]
    Capacity {
        /// Length of the row.
        feet: f64,
        /// Size of the column.
        size: String,
        /// The cell.
        capacity: f64,
    },
}

/// Why a table gives no capacity.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum GasLookupError {
    /// An input out of range.
    #[error(transparent)]
    Unusable(#[from] Unusable),
    /// Beyond the last row.
    #[error(
        "{feet} ft is longer than the last row of the table ({last} ft): size by another table or by equation"
    )]
    TooLong {
        /// Length asked for.
        feet: f64,
        /// Length of the last row.
        last: f64,
    },
    /// No column.
    #[error("the table has no size {size}; it has {known}")]
    UnknownSize {
        /// Size asked for.
        size: String,
        /// Sizes of the table.
        known: String,
    },
    /// An empty cell.
    #[error("the table gives no capacity for {size} at {feet} ft")]
    NoCell {
        /// Size.
        size: String,
        /// Length of the row.
        feet: f64,
    },
}

/// A cell that does not lie on its column's own curve.
#[derive(Debug, Clone, PartialEq)]
pub struct Suspect {
    /// Length of the row, ft.
    pub feet: f64,
    /// Size of the column.
    pub size: String,
    /// The cell.
    pub capacity: f64,
    /// What the rest of the column makes of that length.
    pub expected: f64,
}

impl GasTable {
    /// A table of rows by length (ft, rising), each with one capacity for each size (small to large).
    ///
    /// # Errors
    /// Rows or columns out of order, and rows of another width.
    pub fn new(sizes: Vec<String>, rows: Vec<(f64, Vec<Option<f64>>)>) -> Result<Self, GasTableError> {
        if sizes.is_empty() || rows.is_empty() {
            return Err(GasTableError::Empty);
        }
        let mut above: Vec<Option<f64>> = vec![None; sizes.len()];
        for (index, (feet, cells)) in rows.iter().enumerate() {
            if cells.len() != sizes.len() {
                return Err(GasTableError::Cells { feet: *feet, cells: cells.len(), sizes: sizes.len() });
            }
            if !(feet.is_finite() && *feet > 0.0 && (index == 0 || *feet > rows[index - 1].0)) {
                return Err(GasTableError::Length { row: index + 1, feet: *feet });
            }
            let mut smaller = None;
            for ((cell, size), above) in cells.iter().zip(&sizes).zip(&mut above) {
                let Some(capacity) = *cell else { continue };
                let rises = smaller.is_none_or(|smaller| capacity > smaller);
                let falls = above.is_none_or(|above| capacity <= above);
                if !(capacity.is_finite() && capacity >= 0.0 && rises && falls) {
                    return Err(GasTableError::Capacity { feet: *feet, size: size.clone(), capacity });
                }
                smaller = Some(capacity);
                *above = Some(capacity);
            }
        }
        Ok(GasTable { sizes, rows })
    }

    /// Sizes, small to large.
    pub fn sizes(&self) -> &[String] {
        &self.sizes
    }

    /// Length of the row that stands for a length: the next longer one, or the row itself when it is met exactly.
    ///
    /// # Errors
    /// Longer than the last row.
    pub fn row_length(&self, length: Feet) -> Result<Feet, GasLookupError> {
        let (lo, hi) = self.rows_of(length)?;
        Ok(Feet(Bounds { lo: self.rows[lo].0, hi: self.rows[hi].0 }))
    }

    /// Capacity of a size over a length, by the next longer row.
    ///
    /// # Errors
    /// Longer than the last row, a size without a column, an empty cell.
    pub fn capacity(&self, size: &str, length: Feet) -> Result<Bounds, GasLookupError> {
        let column = self.sizes.iter().position(|s| s == size).ok_or_else(|| {
            GasLookupError::UnknownSize { size: size.to_owned(), known: self.sizes.join(", ") }
        })?;
        let (shortest, longest) = self.rows_of(length)?;
        let cell = |row: usize| {
            let (feet, cells) = &self.rows[row];
            cells[column].ok_or_else(|| GasLookupError::NoCell { size: size.to_owned(), feet: *feet })
        };
        Ok(Bounds { lo: cell(longest)?, hi: cell(shortest)? })
    }

    /// Index of the smallest size that surely carries a load over a length, and of the smallest that may. A load equal to the
    /// capacity is carried.
    ///
    /// # Errors
    /// Longer than the last row, a load below zero.
    pub fn smallest_size(&self, load: Bounds, length: Feet) -> Result<crate::Suggestion, GasLookupError> {
        let load = not_negative("gas load", load, "")?;
        let (shortest, longest) = self.rows_of(length)?;
        let find = |row: usize, load: f64| {
            self.rows[row].1.iter().position(|cell| cell.is_some_and(|capacity| load <= capacity))
        };
        Ok(crate::Suggestion { surely: find(longest, load.hi), perhaps: find(shortest, load.lo) })
    }

    /// Cells that lie off their column's curve k L^e by more than `share` (0.01 is 1 %): a misprint, or a table made up from
    /// several laws. The curve is fitted by the medians, which a few bad cells do not move.
    pub fn suspects(&self, share: f64) -> Vec<Suspect> {
        let mut found = Vec::new();
        for (column, size) in self.sizes.iter().enumerate() {
            let cells: Vec<(f64, f64)> = self
                .rows
                .iter()
                .filter_map(|(feet, cells)| cells[column].filter(|c| *c > 0.0).map(|c| (*feet, c)))
                .collect();
            let Some((exponent, constant)) = fit(&cells) else { continue };
            for (feet, capacity) in cells {
                let expected = libm::exp(constant + exponent * libm::log(feet));
                if (capacity / expected - 1.0).abs() > share {
                    found.push(Suspect { feet, size: size.clone(), capacity, expected });
                }
            }
        }
        found
    }

    /// Rows for the least and the greatest length.
    fn rows_of(&self, length: Feet) -> Result<(usize, usize), GasLookupError> {
        let feet = above_zero("length", length.bounds(), "ft")?;
        let last = self.rows[self.rows.len() - 1].0;
        if feet.hi > last {
            return Err(GasLookupError::TooLong { feet: feet.hi, last });
        }
        let row = |feet: f64| self.rows.partition_point(|row| row.0 < feet);
        Ok((row(feet.lo), row(feet.hi)))
    }
}

/// ln(capacity) = constant + exponent ln(length), by medians (Theil and Sen); `None` for fewer than four cells.
fn fit(cells: &[(f64, f64)]) -> Option<(f64, f64)> {
    if cells.len() < 4 {
        return None;
    }
    let logs: Vec<(f64, f64)> = cells.iter().map(|(l, c)| (libm::log(*l), libm::log(*c))).collect();
    let slopes = logs
        .iter()
        .enumerate()
        .flat_map(|(i, a)| logs[i + 1..].iter().map(move |b| (b.1 - a.1) / (b.0 - a.0)))
        .collect();
    let exponent = median(slopes)?;
    let constant = median(logs.iter().map(|(l, c)| c - exponent * l).collect())?;
    Some((exponent, constant))
}

fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}
