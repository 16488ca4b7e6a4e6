//! Demand by R. B. Hunter's binomial (NBS report BMS65, 1940): n fixtures of one kind, each running with probability p.
//!
//! Hunter asks which number of fixtures is exceeded no more than 1 % of the time. That sentence has been read three ways, which
//! differ by up to one fixture; the caller names one.

use crate::Bounds;
use crate::quantity::{Unusable, finite};

/// How the number of fixtures running at once is read off the binomial. `busy` is the share of time that it is enough (0.99).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Convention {
    /// The least whole m with P(X <= m) >= busy.
    LeastCovering,
    /// The least whole m with P(X >= m) <= 1 - busy: one more than [`Self::LeastCovering`], but for ties.
    TailWithin,
    /// Where the line through the logarithms of the tails P(X >= m) crosses 1 - busy, a fraction between whole numbers.
    TailInterpolated,
}

/// Why there is no number.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum HunterError {
    /// Number of fixtures.
    #[error("{n} fixtures: give 1 to {MOST_FIXTURES}")]
    Fixtures {
        /// Number given.
        n: u32,
    },
    /// A probability out of range.
    #[error("a {which} of {lo} to {hi} is not usable: give more than 0 and less than 1")]
    Probability {
        /// Which one.
        which: &'static str,
        /// Lower end.
        lo: f64,
        /// Upper end.
        hi: f64,
    },
    /// So few fixtures that even all of them at once are not rare enough to cross the line.
    #[error(
        "{n} fixture(s) run all at once more often than the share asked for, so that the tail has nothing to be interpolated to; use another convention"
    )]
    NoCrossing {
        /// Number of fixtures.
        n: u32,
    },
    /// An input out of range.
    #[error(transparent)]
    Unusable(#[from] Unusable),
}

/// Most fixtures of one kind.
pub const MOST_FIXTURES: u32 = 10_000;

/// P(X <= m) for n fixtures that run with probability p each, bounded.
///
/// # Errors
/// No or too many fixtures, p outside of 0 to 1.
pub fn binomial_at_most(m: u32, n: u32, p: Bounds) -> Result<Bounds, HunterError> {
    check(n, p, "probability that a fixture runs")?;
    // More likely fixtures: less often at most m of them.
    let at = |p: f64| Cumulative::new(n, p).at_most(m);
    Ok(Bounds { lo: at(p.hi).lo, hi: at(p.lo).hi })
}

/// Number of fixtures of one kind to reckon with, of `n` that run with probability `p` each.
///
/// A bound that spans two numbers means that the arithmetic, or the span of `p`, does not tell which.
///
/// # Errors
/// No or too many fixtures, probabilities outside of 0 to 1, nothing to interpolate to.
pub fn running_at_once(n: u32, p: Bounds, busy: f64, convention: Convention) -> Result<Bounds, HunterError> {
    check(n, p, "probability that a fixture runs")?;
    let share = Bounds::decimal(busy);
    check(n, share, "share of time")?;
    // Rises with p.
    let (low, high) = (Cumulative::new(n, p.lo), Cumulative::new(n, p.hi));
    Ok(Bounds { lo: low.number(share, convention)?.lo, hi: high.number(share, convention)?.hi })
}

/// Demand of fixtures of one kind: the number running at once times what one draws, in the unit of `each`.
///
/// # Errors
/// As [`running_at_once`], and a draw that is not finite.
pub fn hunter_demand(
    n: u32,
    p: Bounds,
    each: crate::GallonsPerMinute,
    busy: f64,
    convention: Convention,
) -> Result<crate::GallonsPerMinute, HunterError> {
    let each = finite("draw of one fixture", each.bounds(), "gpm")?;
    Ok(crate::GallonsPerMinute(running_at_once(n, p, busy, convention)?.mul(each)))
}

fn check(n: u32, p: Bounds, which: &'static str) -> Result<(), HunterError> {
    if !(1..=MOST_FIXTURES).contains(&n) {
        return Err(HunterError::Fixtures { n });
    }
    if !(p.is_sound() && p.lo > 0.0 && p.hi < 1.0) {
        return Err(HunterError::Probability { which, lo: p.lo, hi: p.hi });
    }
    Ok(())
}

/// Weights of 0 to n fixtures running, against that of the likeliest number so that nothing underflows that counts,
/// added up from both ends so that a thin tail keeps its digits.
struct Cumulative {
    n: u32,
    /// `below[m]`: sum of the weights of 0 to m.
    below: Vec<Bounds>,
    /// `above[m]`: sum of the weights of m to n.
    above: Vec<Bounds>,
}

impl Cumulative {
    fn new(n: u32, p: f64) -> Self {
        let p = Bounds::decimal(p);
        let odds = p.div(Bounds::exactly(1.0).sub(p));
        let whole = |k: u32| Bounds::exactly(f64::from(k));
        let likeliest = (libm::floor((f64::from(n) + 1.0) * p.lo)).clamp(0.0, f64::from(n)) as u32;
        let mut weights = vec![Bounds::exactly(1.0); n as usize + 1];
        for k in likeliest..n {
            weights[k as usize + 1] =
                weights[k as usize].mul(whole(n - k)).div(whole(k + 1)).mul(odds).not_negative();
        }
        for k in (0..likeliest).rev() {
            weights[k as usize] =
                weights[k as usize + 1].mul(whole(k + 1)).div(whole(n - k)).div(odds).not_negative();
        }
        let mut below = weights.clone();
        for k in 1..below.len() {
            below[k] = below[k].add(below[k - 1]);
        }
        let mut above = weights;
        for k in (0..above.len() - 1).rev() {
            above[k] = above[k].add(above[k + 1]);
        }
        Cumulative { n, below, above }
    }

    fn at_most(&self, m: u32) -> Bounds {
        if m >= self.n {
            return Bounds::exactly(1.0);
        }
        share_of(self.below[m as usize], self.above[m as usize + 1])
    }

    /// P(X >= m).
    fn at_least(&self, m: u32) -> Bounds {
        match m {
            0 => Bounds::exactly(1.0),
            m if m > self.n => Bounds::exactly(0.0),
            m => share_of(self.above[m as usize], self.below[m as usize - 1]),
        }
    }

    fn number(&self, busy: Bounds, convention: Convention) -> Result<Bounds, HunterError> {
        let rare = Bounds::exactly(1.0).sub(busy);
        // Each test may be sure or only possible; the first possible m and the first sure one bound the answer.
        let first = |holds: &dyn Fn(u32) -> bool| (0..=self.n + 1).find(|&m| holds(m)).unwrap_or(self.n + 1);
        Ok(match convention {
            Convention::LeastCovering => Bounds {
                lo: f64::from(first(&|m| self.at_most(m).hi >= busy.lo)),
                hi: f64::from(first(&|m| self.at_most(m).lo >= busy.hi)),
            },
            Convention::TailWithin => Bounds {
                lo: f64::from(first(&|m| self.at_least(m).lo <= rare.hi)),
                hi: f64::from(first(&|m| self.at_least(m).hi <= rare.lo)),
            },
            Convention::TailInterpolated => {
                let low = self.crossing(first(&|m| self.at_least(m).lo <= rare.hi), rare)?;
                low.hull(self.crossing(first(&|m| self.at_least(m).hi <= rare.lo), rare)?)
            }
        })
    }

    /// Where the line between the logarithms at m - 1 and m crosses ln(rare).
    fn crossing(&self, m: u32, rare: Bounds) -> Result<Bounds, HunterError> {
        if m == 0 || m > self.n {
            return Err(HunterError::NoCrossing { n: self.n });
        }
        let (before, at) = (self.at_least(m - 1), self.at_least(m));
        if before.lo <= 0.0 || at.lo <= 0.0 {
            return Err(HunterError::NoCrossing { n: self.n });
        }
        let (before, at, wanted) = (before.ln(), at.ln(), rare.ln());
        let share = before.sub(wanted).div(before.sub(at));
        if !share.is_sound() {
            return Err(HunterError::NoCrossing { n: self.n });
        }
        Ok(Bounds::exactly(f64::from(m) - 1.0).add(share))
    }
}

/// part / (part + rest): rises with the one and falls with the other.
fn share_of(part: Bounds, rest: Bounds) -> Bounds {
    let at = |part: f64, rest: f64| {
        let part = Bounds::exactly(part);
        part.div(part.add(Bounds::exactly(rest)))
    };
    Bounds { lo: at(part.lo, rest.hi).lo.max(0.0), hi: at(part.hi, rest.lo).hi.min(1.0) }
}
