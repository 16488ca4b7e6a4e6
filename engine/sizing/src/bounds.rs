//! Intervals that only ever grow: each operation rounds its lower end down and its upper end up.

/// All values from `lo` to `hi`, both included. The unit is that of whoever holds it (SI base units at the edge).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounds {
    /// The least value.
    pub lo: f64,
    /// The greatest value.
    pub hi: f64,
}

impl Bounds {
    /// One value, known exactly.
    pub const fn exactly(value: f64) -> Self {
        Bounds { lo: value, hi: value }
    }

    /// From `lo` to `hi`; `None` when an end is not a finite number or they are the wrong way round.
    pub fn new(lo: f64, hi: f64) -> Option<Self> {
        let bounds = Bounds { lo, hi };
        bounds.is_sound().then_some(bounds)
    }

    /// Whether both ends are finite and in order.
    pub fn is_sound(self) -> bool {
        self.lo.is_finite() && self.hi.is_finite() && self.lo <= self.hi
    }

    /// Whether `value` lies within.
    pub fn contains(self, value: f64) -> bool {
        self.lo <= value && value <= self.hi
    }

    /// The point half way.
    pub fn middle(self) -> f64 {
        self.lo + (self.hi - self.lo) / 2.0
    }

    /// Half of the distance between the ends, rounded up.
    pub fn half_width(self) -> f64 {
        ((self.hi - self.lo).next_up() / 2.0).next_up()
    }

    pub(crate) fn add(self, other: Self) -> Self {
        outward(self.lo + other.lo, self.hi + other.hi)
    }

    pub(crate) fn sub(self, other: Self) -> Self {
        outward(self.lo - other.hi, self.hi - other.lo)
    }

    pub(crate) fn mul(self, other: Self) -> Self {
        spanning([self.lo * other.lo, self.lo * other.hi, self.hi * other.lo, self.hi * other.hi])
    }

    /// Quotient; the divisor must not contain zero (callers check their inputs first).
    pub(crate) fn div(self, other: Self) -> Self {
        debug_assert!(other.lo > 0.0 || other.hi < 0.0, "divisor contains zero");
        spanning([self.lo / other.lo, self.lo / other.hi, self.hi / other.lo, self.hi / other.hi])
    }

    /// The same bounds with both ends moved out by `share` of the value (1e-6 is one millionth).
    pub(crate) fn widened(self, share: f64) -> Self {
        self.mul(Bounds { lo: 1.0 - share, hi: 1.0 + share })
    }

    /// The smallest bounds that contain both.
    pub(crate) fn hull(self, other: Self) -> Self {
        Bounds { lo: self.lo.min(other.lo), hi: self.hi.max(other.hi) }
    }
}

/// Each f64 operation is off by at most half a step, so one step outward holds the exact result.
fn outward(lo: f64, hi: f64) -> Bounds {
    Bounds { lo: lo.next_down(), hi: hi.next_up() }
}

fn spanning(corners: [f64; 4]) -> Bounds {
    outward(
        corners.into_iter().fold(f64::INFINITY, f64::min),
        corners.into_iter().fold(f64::NEG_INFINITY, f64::max),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn pair() -> impl Strategy<Value = (Bounds, f64)> {
        (-1e6..1e6f64, 0.0..1e3f64, 0.0..=1.0f64).prop_map(|(lo, width, share)| {
            let hi = lo + width;
            (Bounds { lo, hi }, (lo + share * (hi - lo)).clamp(lo, hi))
        })
    }

    proptest! {
        #[test]
        fn results_contain_what_any_inner_points_give((a, x) in pair(), (b, y) in pair()) {
            prop_assert!(a.add(b).contains(x + y));
            prop_assert!(a.sub(b).contains(x - y));
            prop_assert!(a.mul(b).contains(x * y));
            if !b.contains(0.0) {
                prop_assert!(a.div(b).contains(x / y));
            }
        }
    }

    #[test]
    fn a_rounded_sum_holds_the_exact_one() {
        // 0.1 + 0.2 in f64 is above 3/10; 0.3 in f64 is below it.
        let sum = Bounds::exactly(0.1).add(Bounds::exactly(0.2));
        assert!(sum.contains(0.3) && sum.lo < 0.1 + 0.2);
    }

    #[test]
    fn unsound_ends_are_refused() {
        assert_eq!(Bounds::new(2.0, 1.0), None);
        assert_eq!(Bounds::new(f64::NAN, 1.0), None);
        assert_eq!(Bounds::new(0.0, f64::INFINITY), None);
        assert!(Bounds::new(1.0, 1.0).is_some());
    }
}
