//! Gas piping that branches: the length by which each section is sized.
//!
//! Longest-length method: every section by the length from the point of delivery to the most remote outlet. Branch-length
//! method: the sections on the way to the most remote outlet by that length, every other section by the length from the
//! point of delivery to the most remote outlet that it serves. (International Fuel Gas Code 402.4.1 and 402.4.2.)

use crate::Bounds;
use crate::gas_table::{GasLookupError, GasTable};
use crate::quantity::{Feet, Unusable, above_zero, not_negative};

/// How lengths are taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum GasMethod {
    /// Longest-length method.
    LongestLength,
    /// Branch-length method.
    BranchLength,
}

/// A section of pipe between two branchings.
#[derive(Debug, Clone, PartialEq)]
pub struct GasSection {
    /// How messages call it.
    pub name: String,
    /// Index of the section that feeds it; none for the one at the point of delivery. Must be listed before.
    pub fed_by: Option<usize>,
    /// Length, with the allowance for fittings where the code wants one.
    pub length: Feet,
    /// Load of the appliance at its end, in the unit of the table; zero at a branching.
    pub load: Bounds,
}

/// What a section has to carry, and over which length it is sized.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SizedSection {
    /// Sum of the loads behind it.
    pub load: Bounds,
    /// Length to size by.
    pub length: Feet,
}

/// Why sections were not sized.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum GasTreeError {
    /// No section.
    #[error("there is no gas piping to size")]
    Empty,
    /// A feeding section listed later, or not at all.
    #[error("{section} is fed by section number {fed_by}, which must be listed before it (counted from 0)")]
    Order {
        /// The section.
        section: String,
        /// Index given.
        fed_by: usize,
    },
    /// An input out of range.
    #[error("{section}: {cause}")]
    Input {
        /// The section.
        section: String,
        /// What is wrong.
        cause: Unusable,
    },
    /// The table has no answer for a section.
    #[error("{section}: {cause}")]
    Table {
        /// The section.
        section: String,
        /// Why.
        cause: GasLookupError,
    },
}

/// Load and sizing length of each section.
///
/// Where lengths are spans it may not be known which outlet is the most remote; the bounds then hold each possibility.
///
/// # Errors
/// Sections out of order, lengths not above zero, loads below zero.
pub fn gas_sections(sections: &[GasSection], method: GasMethod) -> Result<Vec<SizedSection>, GasTreeError> {
    if sections.is_empty() {
        return Err(GasTreeError::Empty);
    }
    let mut from_delivery: Vec<Bounds> = Vec::with_capacity(sections.len());
    for (index, section) in sections.iter().enumerate() {
        let input = |cause| GasTreeError::Input { section: section.name.clone(), cause };
        let length = above_zero("length", section.length.bounds(), "ft").map_err(input)?;
        not_negative("load", section.load, "").map_err(input)?;
        let before = match section.fed_by {
            None => Bounds::exactly(0.0),
            Some(fed_by) if fed_by < index => from_delivery[fed_by],
            Some(fed_by) => return Err(GasTreeError::Order { section: section.name.clone(), fed_by }),
        };
        from_delivery.push(before.add(length));
    }
    let mut load: Vec<Bounds> = sections.iter().map(|s| s.load).collect();
    let mut farthest = from_delivery.clone();
    for (index, section) in sections.iter().enumerate().rev() {
        if let Some(fed_by) = section.fed_by {
            load[fed_by] = load[fed_by].add(load[index]);
            farthest[fed_by] = most(farthest[fed_by], farthest[index]);
        }
    }
    let longest = farthest.iter().copied().reduce(most).unwrap_or(Bounds::exactly(0.0));
    let sized = load.into_iter().zip(farthest).map(|(load, farthest)| SizedSection {
        load,
        length: Feet(match method {
            GasMethod::LongestLength => longest,
            // The farthest outlet of a section on the longest run is the most remote of all, so one rule serves both kinds.
            GasMethod::BranchLength => farthest,
        }),
    });
    Ok(sized.collect())
}

/// The smallest size of each section by a table.
///
/// # Errors
/// As [`gas_sections`], and where the table ends.
pub fn size_gas_sections(
    sections: &[GasSection],
    method: GasMethod,
    table: &GasTable,
) -> Result<Vec<crate::Suggestion>, GasTreeError> {
    let sized = gas_sections(sections, method)?;
    sections
        .iter()
        .zip(sized)
        .map(|(section, SizedSection { load, length })| {
            table
                .smallest_size(load, length)
                .map_err(|cause| GasTreeError::Table { section: section.name.clone(), cause })
        })
        .collect()
}

fn most(a: Bounds, b: Bounds) -> Bounds {
    Bounds { lo: a.lo.max(b.lo), hi: a.hi.max(b.hi) }
}
