//! Pipe sizes: the smallest that keep the speed and the pressure.

use super::{Network, NetworkError, Part, Solution};
use crate::Bounds;
use crate::pipe::{Law, Pipe};
use crate::quantity::{
    CubicMetersPerSecond, Meters, MetersPerSecond, Pascals, PascalsPerMeter, Unusable, above_zero, finite,
};
use crate::viscosity::Water;

/// Most links that are sized together: each enlargement is tried by solving all anew.
pub const MOST_SIZED: usize = 300;

/// A size to choose from.
#[derive(Debug, Clone, PartialEq)]
pub struct PipeSize {
    /// Nominal size.
    pub name: String,
    /// Inside diameter.
    pub inside: Meters,
}

/// Which size does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Suggestion {
    /// Index of the smallest size that surely keeps both limits; none when no size does.
    pub surely: Option<usize>,
    /// Index of the smallest that may keep them within what is not known; at most `surely`.
    pub perhaps: Option<usize>,
}

/// Why sizes were not suggested.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SuggestError {
    /// An input out of range.
    #[error(transparent)]
    Unusable(#[from] Unusable),
    /// Nothing to choose from.
    #[error("there is no pipe size to choose from")]
    NoSizes,
    /// Sizes must grow.
    #[error("size {name} is not larger than the size before it: list sizes from small to large")]
    Order {
        /// The size.
        name: String,
    },
    /// The network itself has no answer.
    #[error(transparent)]
    Network(#[from] NetworkError),
    /// No size keeps the speed.
    #[error("{pipe}: even in {largest} the water may run faster than the limit")]
    TooFast {
        /// The pipe.
        pipe: String,
        /// Largest size listed.
        largest: String,
    },
    /// No sizes leave enough pressure.
    #[error(
        "{outlet} lacks {short_pa:.0} Pa even with the largest sizes on its way: raise the supply's pressure"
    )]
    TooLow {
        /// The outlet.
        outlet: String,
        /// Pressure lacking, Pa.
        short_pa: f64,
    },
    /// Too many links.
    #[error("the piping has {links} links; sizes are suggested for up to {MOST_SIZED}")]
    TooLarge {
        /// Links.
        links: usize,
    },
    /// Rings are not sized.
    #[error("{link} closes a ring; sizes are suggested for piping that only branches")]
    Ring {
        /// The link.
        link: String,
    },
}

/// The smallest of `sizes` (small to large) that carries a flow with no more than the friction and the speed allowed. Equal to a
/// limit is within it.
///
/// # Errors
/// Inputs out of range, no sizes, sizes that do not grow.
pub fn suggest_size(
    sizes: &[PipeSize],
    flow: CubicMetersPerSecond,
    law: Law,
    water: &Water,
    most_friction: PascalsPerMeter,
    fastest: MetersPerSecond,
) -> Result<Suggestion, SuggestError> {
    in_order(sizes)?;
    let friction = finite("friction allowed", most_friction.bounds(), "Pa/m")?;
    let speed = above_zero("speed allowed", fastest.bounds(), "m/s")?;
    let mut suggestion = Suggestion { surely: None, perhaps: None };
    for (index, size) in sizes.iter().enumerate() {
        let one = Meters::exactly(1.0);
        let pipe = Pipe {
            inside: size.inside,
            length: one,
            equivalent: Meters::exactly(0.0),
            minor: Bounds::exactly(0.0),
            law,
        };
        let loss = pipe.loss(flow, water)?;
        let (lost, runs) = (loss.friction.bounds(), loss.velocity.bounds());
        if lost.lo <= friction.hi && runs.lo <= speed.hi {
            suggestion.perhaps.get_or_insert(index);
        }
        if lost.hi <= friction.lo && runs.hi <= speed.lo {
            suggestion.surely = Some(index);
            break;
        }
    }
    Ok(suggestion)
}

fn in_order(sizes: &[PipeSize]) -> Result<(), SuggestError> {
    let Some(first) = sizes.first() else { return Err(SuggestError::NoSizes) };
    above_zero("inside diameter", first.inside.bounds(), "m")?;
    for pair in sizes.windows(2) {
        above_zero("inside diameter", pair[1].inside.bounds(), "m")?;
        if pair[0].inside.bounds().hi >= pair[1].inside.bounds().lo {
            return Err(SuggestError::Order { name: pair[1].name.clone() });
        }
    }
    Ok(())
}

impl Network {
    /// This piping with every pipe in one of `sizes` (small to large), and the index of the size of each link (none for a
    /// device), so that no pipe runs faster than `fastest` and every outlet surely has what it needs.
    ///
    /// Starts from the smallest sizes that keep the speed; then, on the way to the outlet that lacks most, enlarges by one
    /// size the pipe that gains most. That is a good choice, not the cheapest of all. Fittings given as equivalent length
    /// keep their length.
    ///
    /// # Errors
    /// As [`Network::solve`]; rings; limits that no size keeps.
    pub fn suggest_sizes(
        &self,
        supply: Pascals,
        water: &Water,
        sizes: &[PipeSize],
        fastest: MetersPerSecond,
    ) -> Result<(Network, Vec<Option<usize>>), SuggestError> {
        in_order(sizes)?;
        let speed = above_zero("speed allowed", fastest.bounds(), "m/s")?;
        if self.links.len() > MOST_SIZED {
            return Err(SuggestError::TooLarge { links: self.links.len() });
        }
        let mut network = self.clone();
        let mut solution = network.solve(supply, water)?;
        if let Some(link) = super::layout::Layout::of(self)?.chords.first() {
            return Err(SuggestError::Ring { link: self.links[*link].name.clone() });
        }
        let mut chosen = vec![None; network.links.len()];
        for (index, link) in network.links.iter_mut().enumerate() {
            let Part::Pipe(pipe) = &mut link.part else { continue };
            let q = super::solve::without_direction(solution.links[index].flow.bounds());
            let keeps = sizes.iter().position(|size| {
                let sized = Pipe { inside: size.inside, ..*pipe };
                sized.velocity(q).hi <= speed.lo
            });
            let Some(size) = keeps else {
                let largest = sizes[sizes.len() - 1].name.clone();
                return Err(SuggestError::TooFast { pipe: link.name.clone(), largest });
            };
            pipe.inside = sizes[size].inside;
            chosen[index] = Some(size);
        }
        loop {
            solution = network.solve(supply, water)?;
            let Some((outlet, short_pa)) = lacking(&solution) else { return Ok((network, chosen)) };
            // Behind a reducing valve only what follows it counts, so gains are tried, not reckoned.
            // Gains are tried, not reckoned: before a reducing valve that holds back pressure a larger pipe gains nothing.
            let mut best: Option<(usize, f64)> = None;
            for link in solution.path(outlet) {
                let Some(larger) = chosen[link].and_then(|size| sizes.get(size + 1)) else { continue };
                let before = replace(&mut network, link, larger.inside);
                let tried = network.solve(supply, water);
                if let Some(inside) = before {
                    replace(&mut network, link, inside);
                }
                let left = tried?.nodes[outlet].left.map_or(f64::NEG_INFINITY, |left| left.bounds().lo);
                if left + short_pa > best.map_or(0.0, |(_, gain)| gain) {
                    best = Some((link, left + short_pa));
                }
            }
            let Some((link, _)) = best else {
                return Err(SuggestError::TooLow { outlet: network.nodes[outlet].name.clone(), short_pa });
            };
            let size = chosen[link].unwrap_or(0) + 1;
            chosen[link] = Some(size);
            replace(&mut network, link, sizes[size].inside);
        }
    }
}

/// The outlet that lacks most, and how much.
fn lacking(solution: &Solution) -> Option<(usize, f64)> {
    let outlet = solution.critical?;
    let left = solution.nodes[outlet].left?.bounds().lo;
    (left < 0.0).then_some((outlet, -left))
}

/// Gives a pipe another inside diameter and returns the one it had.
fn replace(network: &mut Network, link: usize, inside: Meters) -> Option<Meters> {
    match &mut network.links[link].part {
        Part::Pipe(pipe) => Some(core::mem::replace(&mut pipe.inside, inside)),
        Part::Device(_) | Part::Reducer { .. } => None,
    }
}
