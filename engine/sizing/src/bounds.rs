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

    /// Sum; exact where the sum of the ends is (whole feet stay whole feet).
    pub(crate) fn add(self, other: Self) -> Self {
        Bounds { lo: sum_down(self.lo, other.lo), hi: sum_up(self.hi, other.hi) }
    }

    pub(crate) fn sub(self, other: Self) -> Self {
        self.add(other.negated())
    }

    pub(crate) fn negated(self) -> Self {
        Bounds { lo: -self.hi, hi: -self.lo }
    }

    /// Product; exact where both are one whole number each and the product fits.
    pub(crate) fn mul(self, other: Self) -> Self {
        if self.is_whole() && other.is_whole() && (self.lo * other.lo).abs() <= EXACT_WHOLE {
            return Bounds::exactly(self.lo * other.lo);
        }
        self.corners(other, |a, b| {
            if (a == 0.0 && b.is_finite()) || (b == 0.0 && a.is_finite()) { None } else { Some(a * b) }
        })
    }

    /// Quotient. A divisor that reaches zero (callers check their inputs, but a product may underflow) gives everything,
    /// which [`Self::is_sound`] refuses.
    pub(crate) fn div(self, other: Self) -> Self {
        if !(other.lo > 0.0 || other.hi < 0.0) {
            return Bounds { lo: f64::NEG_INFINITY, hi: f64::INFINITY };
        }
        self.corners(other, |a, b| if a == 0.0 && b.is_finite() { None } else { Some(a / b) })
    }

    /// What an operation, monotone in each operand, makes of the four pairs of ends; `None` stands for a zero that is exact, so
    /// that what cannot be negative does not come out a hair below zero.
    fn corners(self, other: Self, operation: impl Fn(f64, f64) -> Option<f64>) -> Self {
        let one = |a, b| match operation(a, b) {
            None => Bounds::exactly(0.0),
            // An infinity times zero: `hull` would lose it.
            Some(value) if value.is_nan() => Bounds { lo: f64::NEG_INFINITY, hi: f64::INFINITY },
            Some(value) => outward(value, value),
        };
        one(self.lo, other.lo)
            .hull(one(self.lo, other.hi))
            .hull(one(self.hi, other.lo))
            .hull(one(self.hi, other.hi))
    }

    /// The same bounds with both ends moved out by `share` of the value (1e-6 is one millionth).
    pub(crate) fn widened(self, share: f64) -> Self {
        self.mul(Bounds { lo: 1.0 - share, hi: 1.0 + share })
    }

    /// A number that was written as a decimal: its nearest f64 is off by at most half a step, a whole number or a
    /// tape fraction by nothing.
    pub(crate) fn decimal(value: f64) -> Self {
        // Halves, quarters, down to 1/1024 have an f64 of their own as well.
        if (value * 1024.0).fract() == 0.0 { Bounds::exactly(value) } else { outward(value, value) }
    }

    /// Square root of what is not negative.
    pub(crate) fn sqrt(self) -> Self {
        let root = outward(self.lo.max(0.0).sqrt(), self.hi.max(0.0).sqrt());
        Bounds { lo: root.lo.max(0.0), hi: root.hi }
    }

    /// `self` to a power written as a decimal, for a base that is not negative (and not zero when the power is negative).
    ///
    /// `libm::pow` is good to one step; the power's own nearest f64 moves the result by |ln x| times its error.
    pub(crate) fn pow(self, power: f64) -> Self {
        let end = |x: f64| {
            let y = libm::pow(x, power);
            if x <= 0.0 || !y.is_finite() {
                return Bounds { lo: y, hi: y };
            }
            let share = 4.0 * f64::EPSILON + (libm::log(x) * power).abs() * f64::EPSILON;
            Bounds { lo: (y * (1.0 - share)).max(0.0), hi: (y * (1.0 + share)).next_up() }
        };
        let (a, b) = (end(self.lo.max(0.0)), end(self.hi.max(0.0)));
        if power >= 0.0 { Bounds { lo: a.lo, hi: b.hi } } else { Bounds { lo: b.lo, hi: a.hi } }
    }

    /// Natural logarithm of what is above zero; `libm::log` is good to one step.
    pub(crate) fn ln(self) -> Self {
        let far = |x: f64| x.abs() * 4.0 * f64::EPSILON;
        let (lo, hi) = (libm::log(self.lo), libm::log(self.hi));
        outward(lo - far(lo), hi + far(hi))
    }

    /// Distance from zero of the farther end.
    pub(crate) fn magnitude(self) -> f64 {
        self.lo.abs().max(self.hi.abs())
    }

    /// The lower of the two, whichever it is.
    pub(crate) fn least(self, other: Self) -> Self {
        Bounds { lo: self.lo.min(other.lo), hi: self.hi.min(other.hi) }
    }

    /// The part that is not negative; for results that cannot be.
    pub(crate) fn not_negative(self) -> Self {
        Bounds { lo: self.lo.max(0.0), hi: self.hi.max(0.0) }
    }

    /// One whole number.
    fn is_whole(self) -> bool {
        self.lo == self.hi && self.lo.fract() == 0.0
    }

    /// The smallest bounds that contain both.
    pub(crate) fn hull(self, other: Self) -> Self {
        Bounds { lo: self.lo.min(other.lo), hi: self.hi.max(other.hi) }
    }
}

/// Whole numbers up to here, and their products, have an f64 of their own.
const EXACT_WHOLE: f64 = 9_007_199_254_740_992.0;

/// What rounding took from `a + b` (Knuth's two-sum; exact unless it overflows, which gives NaN).
fn lost(a: f64, b: f64, sum: f64) -> f64 {
    let b_seen = sum - a;
    (a - (sum - b_seen)) + (b - b_seen)
}

fn sum_down(a: f64, b: f64) -> f64 {
    let sum = a + b;
    if lost(a, b, sum) >= 0.0 { sum } else { sum.next_down() }
}

fn sum_up(a: f64, b: f64) -> f64 {
    let sum = a + b;
    if lost(a, b, sum) <= 0.0 { sum } else { sum.next_up() }
}

/// Each f64 operation is off by at most half a step, so one step outward holds the exact result.
fn outward(lo: f64, hi: f64) -> Bounds {
    Bounds { lo: lo.next_down(), hi: hi.next_up() }
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
    fn whole_numbers_stay_exact() {
        let whole = Bounds::exactly;
        assert_eq!(whole(15.0).add(whole(10.0)).add(whole(35.0)), whole(60.0));
        assert_eq!(whole(7.0).mul(whole(3.0)), whole(21.0));
        assert_eq!(Bounds { lo: 0.0, hi: 5.3 }.mul(whole(0.1)).lo, 0.0);
        assert_eq!(whole(0.0).div(whole(0.7)), whole(0.0));
        assert_ne!(whole(0.1).mul(whole(3.0)).lo, whole(0.1).mul(whole(3.0)).hi);
    }

    proptest! {
        #[test]
        fn powers_hold_what_inner_points_give(lo in 1e-9..1e6f64, more in 0.0..10.0f64, share in 0.0..=1.0f64, e in -5.0..5.0f64) {
            let span = Bounds { lo, hi: lo + more };
            let x = (lo + share * more).clamp(span.lo, span.hi);
            prop_assert!(span.pow(e).contains(libm::pow(x, e)));
            prop_assert!(span.ln().contains(libm::log(x)));
            prop_assert!(span.sqrt().contains(libm::sqrt(x)));
        }
    }

    #[test]
    fn unsound_ends_are_refused() {
        assert_eq!(Bounds::new(2.0, 1.0), None);
        assert_eq!(Bounds::new(f64::NAN, 1.0), None);
        assert_eq!(Bounds::new(0.0, f64::INFINITY), None);
        assert!(Bounds::new(1.0, 1.0).is_some());
    }
}
