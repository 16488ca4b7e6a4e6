//! Loss of a meter, a backflow assembly, a filter: a curve from its maker, passed in.

use crate::Bounds;
use crate::quantity::{CubicMetersPerSecond, Pascals, Unusable, above_zero, not_negative};

/// Loss of pressure over flow.
#[derive(Debug, Clone, PartialEq)]
pub enum LossCurve {
    /// Points of (flow in m3/s, loss in Pa), flow rising from zero, a straight line between them. The loss may fall (a
    /// reduced pressure assembly's does at first).
    Points(Points),
    /// Loss as the square of the flow, through one rated point: turbulent loss of a meter, an approximation.
    Square {
        /// Rated flow.
        at: CubicMetersPerSecond,
        /// Loss there.
        loss: Pascals,
    },
}

/// Checked points of a curve.
#[derive(Debug, Clone, PartialEq)]
pub struct Points {
    points: Vec<(f64, f64)>,
    /// Where the curve ends, the rounding of the last point's flow included.
    end: f64,
}

/// Why points are not a curve, or a loss was not read off one.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CurveError {
    /// The first point must be at no flow: what is lost there is the maker's to say, not ours to guess.
    #[error("the curve starts at {m3_s} m3/s: give the loss at no flow as well")]
    Start {
        /// Flow of the first point (NaN when there is none).
        m3_s: f64,
    },
    /// Flow must rise, and no number may be negative or not finite.
    #[error("point {point} of the curve ({m3_s} m3/s, {pa} Pa) is out of order, negative or not finite")]
    Point {
        /// Point, counted from 1.
        point: usize,
        /// Its flow.
        m3_s: f64,
        /// Its loss.
        pa: f64,
    },
    /// Beyond the last point.
    #[error("a flow of {m3_s} m3/s is beyond the curve, which ends at {last} m3/s")]
    Beyond {
        /// Greatest flow asked for.
        m3_s: f64,
        /// Flow of the last point.
        last: f64,
    },
    /// An input out of range.
    #[error(transparent)]
    Unusable(#[from] Unusable),
}

impl LossCurve {
    /// A curve through points of (flow, loss).
    ///
    /// # Errors
    /// No point at zero flow, flows that do not rise, numbers that are negative or not finite.
    pub fn points(points: &[(CubicMetersPerSecond, Pascals)]) -> Result<Self, CurveError> {
        let end = points.last().map_or(0.0, |(q, _)| q.bounds().hi);
        let points: Vec<(f64, f64)> =
            points.iter().map(|(q, p)| (q.bounds().middle(), p.bounds().middle())).collect();
        let start = points.first().map_or(f64::NAN, |p| p.0);
        if start != 0.0 {
            return Err(CurveError::Start { m3_s: start });
        }
        for (index, &(m3_s, pa)) in points.iter().enumerate() {
            let rises = index == 0 || m3_s > points[index - 1].0;
            if !(m3_s.is_finite() && pa.is_finite() && pa >= 0.0 && rises) {
                return Err(CurveError::Point { point: index + 1, m3_s, pa });
            }
        }
        Ok(LossCurve::Points(Points { points, end }))
    }

    /// Loss over a span of flows.
    ///
    /// # Errors
    /// A flow below zero or beyond the last point; a rated point of zero.
    pub fn loss(&self, flow: CubicMetersPerSecond) -> Result<Pascals, CurveError> {
        let q = not_negative("flow", flow.bounds(), "m3/s")?;
        match self {
            LossCurve::Square { at, loss } => {
                let rated = above_zero("rated flow", at.bounds(), "m3/s")?;
                let loss = not_negative("loss at rated flow", loss.bounds(), "Pa")?;
                let share = q.div(rated).not_negative();
                Ok(Pascals(loss.mul(share.mul(share)).not_negative()))
            }
            LossCurve::Points(Points { points, end }) => {
                if q.hi > *end {
                    return Err(CurveError::Beyond { m3_s: q.hi, last: *end });
                }
                let last = points[points.len() - 1].0;
                let q = Bounds { lo: q.lo.min(last), hi: q.hi.min(last) };
                let mut all = on_the_line(points, q.lo).hull(on_the_line(points, q.hi));
                for &(_, pa) in points.iter().filter(|(m3_s, _)| q.contains(*m3_s)) {
                    all = all.hull(Bounds::exactly(pa));
                }
                // The points came through a conversion of units, which is good to some steps.
                Ok(Pascals(all.widened(1e-14).not_negative()))
            }
        }
    }
}

fn on_the_line(points: &[(f64, f64)], q: f64) -> Bounds {
    let above = points.partition_point(|p| p.0 < q);
    let (q1, p1) = points[above];
    if q1 == q || above == 0 {
        return Bounds::exactly(p1);
    }
    let (q0, p0) = points[above - 1];
    let exactly = Bounds::exactly;
    let share = exactly(q).sub(exactly(q0)).div(exactly(q1).sub(exactly(q0)));
    exactly(p0).add(share.mul(exactly(p1).sub(exactly(p0))))
}
