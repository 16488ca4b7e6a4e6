//! Demand of a mixed house by exact convolution: how often which total flow runs, each fixture by itself running or not.
//!
//! Beside it the normal approximation (R. Wistort, "A new look at determining water demand in buildings", ASPE 1994, from
//! memory): mean + z x standard deviation. It is no bound of the exact demand; in small houses it lies well below.

use crate::Bounds;
use crate::quantity::GallonsPerMinute;

/// Fixtures of one kind.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Draws {
    /// How many.
    pub count: u32,
    /// Probability that one runs.
    pub p: f64,
    /// What one draws, gpm.
    pub gpm: f64,
}

/// Demand of a house.
#[derive(Debug, Clone, PartialEq)]
pub struct Demand {
    /// Probability that nothing runs.
    pub idle: Bounds,
    /// Mean flow.
    pub mean: GallonsPerMinute,
    /// Standard deviation of the flow.
    pub deviation: GallonsPerMinute,
    /// Least flow Q with P(flow <= Q) >= busy.
    pub exact: GallonsPerMinute,
    /// The same among the times when something runs; none when nothing ever does.
    pub while_running: Option<GallonsPerMinute>,
    /// Mean + z x deviation, z being the normal quantile of `busy`.
    pub normal: GallonsPerMinute,
}

/// Why there is no demand.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ConvolutionError {
    /// A kind's numbers.
    #[error(
        "kind {kind}: {count} fixtures at {gpm} gpm that run with probability {p}: give a probability of 0 to less than 1 and a flow of zero or more"
    )]
    Kind {
        /// Kind, counted from 1.
        kind: usize,
        /// Its count.
        count: u32,
        /// Its probability.
        p: f64,
        /// Its flow.
        gpm: f64,
    },
    /// A flow that is no whole number of steps.
    #[error("kind {kind}: {gpm} gpm is no whole number of steps of {step} gpm: choose a finer step")]
    OffStep {
        /// Kind, counted from 1.
        kind: usize,
        /// Its flow.
        gpm: f64,
        /// The step.
        step: f64,
    },
    /// The step or the share of time.
    #[error(
        "a step of {step} gpm and a share of time of {busy}: give a step above zero and a share between 0 and 1"
    )]
    Question {
        /// Step, gpm.
        step: f64,
        /// Share of time.
        busy: f64,
    },
    /// More work than a house makes.
    #[error("so many fixtures with so fine a step take too long: choose a coarser step or fewer fixtures")]
    TooMuch,
}

/// Most additions; a house takes some ten thousand.
const MOST_WORK: u64 = 50_000_000;

/// Demand of fixtures that run independently of one another, on a grid of `step` gpm, for the share of time `busy` (0.99)
/// that it shall be enough.
///
/// # Errors
/// Numbers out of range, flows off the grid, more work than a house makes.
pub fn house_demand(fixtures: &[Draws], step: f64, busy: f64) -> Result<Demand, ConvolutionError> {
    if !(step.is_finite() && step > 0.0 && busy > 0.0 && busy < 1.0) {
        return Err(ConvolutionError::Question { step, busy });
    }
    let mut kinds = Vec::with_capacity(fixtures.len());
    let (mut reach, mut count) = (0u64, 0u64);
    for (index, &Draws { count: n, p, gpm }) in fixtures.iter().enumerate() {
        if !((0.0..1.0).contains(&p) && gpm.is_finite() && gpm >= 0.0) {
            return Err(ConvolutionError::Kind { kind: index + 1, count: n, p, gpm });
        }
        let steps = libm::round(gpm / step);
        if steps > 1e6 || (gpm / step - steps).abs() > 1e-6 {
            return Err(ConvolutionError::OffStep { kind: index + 1, gpm, step });
        }
        let steps = steps as usize;
        kinds.push((n, Bounds::decimal(p), steps));
        reach += u64::from(n) * steps as u64;
        count += u64::from(n);
    }
    if (reach + 1).saturating_mul(count.max(1)) > MOST_WORK {
        return Err(ConvolutionError::TooMuch);
    }
    Ok(from_distribution(&kinds, &distribution(&kinds, reach as usize), step, busy))
}

type Kind = (u32, Bounds, usize);

/// Probability of each total, in steps.
fn distribution(kinds: &[Kind], reach: usize) -> Vec<Bounds> {
    let mut total = vec![Bounds::exactly(0.0); reach + 1];
    total[0] = Bounds::exactly(1.0);
    let mut top = 0;
    for &(count, p, steps) in kinds {
        let idle = Bounds::exactly(1.0).sub(p);
        for _ in 0..count {
            top += steps;
            for at in (0..=top).rev() {
                let stays = total[at].mul(idle);
                let comes = if at >= steps { total[at - steps].mul(p) } else { Bounds::exactly(0.0) };
                total[at] = stays.add(comes).not_negative();
            }
        }
    }
    total
}

fn from_distribution(kinds: &[Kind], total: &[Bounds], step: f64, busy: f64) -> Demand {
    let one = Bounds::exactly(1.0);
    let grid = Bounds::decimal(step);
    let busy_share = Bounds::decimal(busy);
    let (mut idle, mut mean, mut variance) = (one, Bounds::exactly(0.0), Bounds::exactly(0.0));
    for &(count, p, steps) in kinds {
        let (n, q) = (Bounds::exactly(f64::from(count)), Bounds::exactly(steps as f64).mul(grid));
        mean = mean.add(n.mul(p).mul(q));
        variance = variance.add(n.mul(p).mul(one.sub(p)).mul(q.mul(q)));
        for _ in 0..count {
            idle = idle.mul(one.sub(p));
        }
    }
    let deviation = variance.sqrt();
    let mut below = Vec::with_capacity(total.len());
    let mut sum = Bounds::exactly(0.0);
    for &share in total {
        sum = sum.add(share);
        below.push(sum);
    }
    let flow = |lo: usize, hi: usize| {
        GallonsPerMinute(Bounds::exactly(lo as f64).mul(grid).hull(Bounds::exactly(hi as f64).mul(grid)))
    };
    let last = total.len() - 1;
    let first = |holds: &dyn Fn(Bounds) -> bool| below.iter().position(|b| holds(*b)).unwrap_or(last);
    let exact = flow(first(&|b| b.hi >= busy_share.lo), first(&|b| b.lo >= busy_share.hi));
    let running = one.sub(idle);
    let while_running = (running.lo > 0.0).then(|| {
        let given = |b: Bounds| b.sub(idle).div(running);
        flow(first(&|b| given(b).hi >= busy_share.lo), first(&|b| given(b).lo >= busy_share.hi))
    });
    let normal = mean.add(normal_quantile(busy).mul(deviation));
    Demand {
        idle,
        mean: GallonsPerMinute(mean),
        deviation: GallonsPerMinute(deviation),
        exact,
        while_running,
        normal: GallonsPerMinute(normal),
    }
}

/// z with P(Z <= z) = share for a standard normal Z; share between 0 and 1.
fn normal_quantile(share: f64) -> Bounds {
    // P(Z <= z) = erfc(-z / sqrt 2) / 2. `libm::erfc` is good to about one step of its value.
    let cumulative = |z: f64| 0.5 * libm::erfc(-z / core::f64::consts::SQRT_2);
    let (mut lo, mut hi) = (-40.0, 40.0);
    for _ in 0..200 {
        let middle = (lo + hi) / 2.0;
        if cumulative(middle) < share { lo = middle } else { hi = middle }
    }
    // The error of erfc, of the argument and of `share` itself, divided by the slope of the curve there.
    let density = libm::exp(-lo * lo / 2.0) / libm::sqrt(2.0 * core::f64::consts::PI);
    let far =
        (16.0 * f64::EPSILON * share + f64::EPSILON * lo.abs() * density) / density.max(f64::MIN_POSITIVE);
    Bounds { lo: lo - far - 1e-14, hi: hi + far + 1e-14 }
}
