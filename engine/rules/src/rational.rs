//! Exact numbers: fractions of two `i128`, in lowest terms, every operation checked.
//!
//! A limit in a code is exact, so nothing here rounds. What does not fit is `None`; the caller says what was too large.

use std::cmp::Ordering;
use std::fmt;

/// A fraction in lowest terms with a positive denominator.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Rational {
    num: i128,
    den: i128,
}

fn gcd(a: i128, b: i128) -> u128 {
    let (mut a, mut b) = (a.unsigned_abs(), b.unsigned_abs());
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a
}

#[expect(
    clippy::should_implement_trait,
    reason = "checked: an operator could not say that the result is too large"
)]
impl Rational {
    /// Nought.
    pub const ZERO: Rational = Rational { num: 0, den: 1 };
    /// One.
    pub const ONE: Rational = Rational { num: 1, den: 1 };

    /// `num / den` in lowest terms; `None` for a denominator of 0 or when the lowest terms do not fit.
    pub fn new(num: i128, den: i128) -> Option<Rational> {
        if den == 0 {
            return None;
        }
        if den == 1 {
            return Some(Rational { num, den });
        }
        let shared = i128::try_from(gcd(num, den)).ok()?;
        let (mut num, mut den) = (num.checked_div(shared)?, den.checked_div(shared)?);
        if den < 0 {
            num = num.checked_neg()?;
            den = den.checked_neg()?;
        }
        Some(Rational { num, den })
    }

    /// A whole number.
    pub const fn whole(num: i128) -> Rational {
        Rational { num, den: 1 }
    }

    /// The numerator; its sign is the number's.
    pub fn numerator(self) -> i128 {
        self.num
    }

    /// The denominator, always positive.
    pub fn denominator(self) -> i128 {
        self.den
    }

    /// Whether the number is whole.
    pub fn is_whole(self) -> bool {
        self.den == 1
    }

    /// Whether the number is below 0.
    pub fn is_negative(self) -> bool {
        self.num < 0
    }

    /// The sum, if it fits.
    pub fn add(self, other: Rational) -> Option<Rational> {
        if self.den == other.den {
            let num = self.num.checked_add(other.num)?;
            return if self.den == 1 { Some(Rational { num, den: 1 }) } else { Rational::new(num, self.den) };
        }
        let shared = i128::try_from(gcd(self.den, other.den)).ok()?;
        let (a, b) = (self.den / shared, other.den / shared);
        let num = self.num.checked_mul(b)?.checked_add(other.num.checked_mul(a)?)?;
        Rational::new(num, self.den.checked_mul(b)?)
    }

    /// The number with its sign turned.
    pub fn neg(self) -> Option<Rational> {
        Some(Rational { num: self.num.checked_neg()?, den: self.den })
    }

    /// The difference, if it fits.
    pub fn sub(self, other: Rational) -> Option<Rational> {
        self.add(other.neg()?)
    }

    /// The product, if it fits.
    pub fn mul(self, other: Rational) -> Option<Rational> {
        if self.den == 1 && other.den == 1 {
            return Some(Rational { num: self.num.checked_mul(other.num)?, den: 1 });
        }
        // Crosswise reduction first, so that a product that fits in lowest terms is never refused.
        let a = i128::try_from(gcd(self.num, other.den)).ok()?.max(1);
        let b = i128::try_from(gcd(other.num, self.den)).ok()?.max(1);
        Rational::new((self.num / a).checked_mul(other.num / b)?, (self.den / b).checked_mul(other.den / a)?)
    }

    /// The quotient; `None` when `other` is 0 or it does not fit.
    pub fn div(self, other: Rational) -> Option<Rational> {
        if other.num == 0 {
            return None;
        }
        let turned = Rational::new(other.den, other.num)?;
        self.mul(turned)
    }

    /// The distance from 0.
    pub fn abs(self) -> Option<Rational> {
        if self.num < 0 { self.neg() } else { Some(self) }
    }

    /// The nearest `f64`, for handing to a formula; never used to decide at a limit.
    pub fn approximate(self) -> f64 {
        self.num as f64 / self.den as f64
    }

    /// Bounds in `f64` that surely enclose the number.
    pub fn enclose(self) -> (f64, f64) {
        if self.num == 0 {
            return (0.0, 0.0);
        }
        let near = self.approximate();
        // Two conversions and one division are each within half a unit in the last place.
        let (mut lo, mut hi) = (near, near);
        for _ in 0..3 {
            lo = lo.next_down();
            hi = hi.next_up();
        }
        (lo, hi)
    }

    /// The number of sixty-fourths and finer that `value` is, rounded down (`up` false) or up, as an exact fraction.
    /// `None` when it is not finite or too large.
    pub fn from_float(value: f64, up: bool) -> Option<Rational> {
        if !value.is_finite() {
            return None;
        }
        let den: i128 = if value.abs() < 1e20 { 1 << 40 } else { 1 };
        let scaled = value * den as f64;
        if scaled.abs() > 1e37 {
            return None;
        }
        let num = if up { scaled.ceil() } else { scaled.floor() };
        Rational::new(num as i128, den)
    }

    /// The largest whole number not above this one.
    pub fn floor(self) -> i128 {
        self.num.div_euclid(self.den)
    }

    /// The smallest whole number not below this one, if it fits.
    pub fn ceil(self) -> Option<i128> {
        self.floor().checked_add(i128::from(!self.is_whole()))
    }

    /// The largest number of which both are whole multiples; `None` for two noughts or when it does not fit.
    pub fn common_measure(self, other: Rational) -> Option<Rational> {
        let a = self.num.checked_mul(other.den)?;
        let b = other.num.checked_mul(self.den)?;
        let shared = i128::try_from(gcd(a, b)).ok()?;
        if shared == 0 { None } else { Rational::new(shared, self.den.checked_mul(other.den)?) }
    }

    /// As decimals when that is exact within `places`.
    pub fn decimal(self, places: u32) -> Option<String> {
        let mut scale: i128 = 1;
        for digits in 0..=places {
            if scale % self.den == 0 {
                let scaled = self.num.checked_mul(scale / self.den)?;
                let sign = if scaled < 0 { "-" } else { "" };
                let scaled = scaled.unsigned_abs();
                let scale = scale.unsigned_abs();
                return Some(if digits == 0 {
                    format!("{sign}{scaled}")
                } else {
                    format!("{sign}{}.{:0width$}", scaled / scale, scaled % scale, width = digits as usize)
                });
            }
            scale = scale.checked_mul(10)?;
        }
        None
    }

    /// As a tape reads: `3`, `1/4`, `23-5/8`, `-1-1/2`.
    pub fn mixed(self) -> String {
        let sign = if self.num < 0 { "-" } else { "" };
        let (num, den) = (self.num.unsigned_abs(), self.den.unsigned_abs());
        if den == 1 {
            format!("{sign}{num}")
        } else if num < den {
            format!("{sign}{num}/{den}")
        } else {
            format!("{sign}{}-{}/{den}", num / den, num % den)
        }
    }
}

impl PartialOrd for Rational {
    fn partial_cmp(&self, other: &Rational) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Rational {
    fn cmp(&self, other: &Rational) -> Ordering {
        if self.den == other.den {
            return self.num.cmp(&other.num);
        }
        match (self.num.checked_mul(other.den), other.num.checked_mul(self.den)) {
            (Some(a), Some(b)) => a.cmp(&b),
            // The cross products do not fit: compare whole parts, then the turned remainders, as Euclid does.
            _ => {
                let (whole_a, whole_b) = (self.floor(), other.floor());
                if whole_a != whole_b {
                    return whole_a.cmp(&whole_b);
                }
                let (rest_a, rest_b) = (self.num.rem_euclid(self.den), other.num.rem_euclid(other.den));
                match (rest_a, rest_b) {
                    (0, 0) => Ordering::Equal,
                    (0, _) => Ordering::Less,
                    (_, 0) => Ordering::Greater,
                    _ => {
                        Rational { num: other.den, den: rest_b }.cmp(&Rational { num: self.den, den: rest_a })
                    }
                }
            }
        }
    }
}

impl fmt::Display for Rational {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.decimal(6) {
            Some(text) => f.write_str(&text),
            None => write!(f, "{}/{}", self.num, self.den),
        }
    }
}

impl fmt::Debug for Rational {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.num, self.den)
    }
}

impl serde::Serialize for Rational {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(&format_args!("{}/{}", self.num, self.den))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sums_of_tenths_are_exact() {
        let tenth = Rational::new(1, 10).unwrap();
        let fifth = Rational::new(2, 10).unwrap();
        assert_eq!(tenth.add(fifth), Rational::new(3, 10));
    }

    #[test]
    fn comparison_survives_cross_products_that_do_not_fit() {
        let big = i128::MAX / 3;
        let a = Rational::new(big, big - 1).unwrap();
        let b = Rational::new(big - 2, big - 3).unwrap();
        // 1 + 1/(n-1) against 1 + 1/(n-3).
        assert!(a < b);
        assert!(b > a);
        assert_eq!(a.cmp(&a), Ordering::Equal);
    }

    #[test]
    fn overflow_is_none_not_a_panic() {
        let big = Rational::whole(i128::MAX);
        assert_eq!(big.add(Rational::ONE), None);
        assert_eq!(big.mul(Rational::whole(2)), None);
        assert_eq!(Rational::whole(i128::MIN).neg(), None);
        assert_eq!(Rational::new(i128::MIN, -1), None);
        assert_eq!(Rational::ONE.div(Rational::ZERO), None);
    }

    #[test]
    fn mixed_numbers_read_like_a_tape() {
        let cases = [((189, 8), "23-5/8"), ((1, 4), "1/4"), ((-3, 2), "-1-1/2"), ((24, 1), "24")];
        for ((num, den), text) in cases {
            assert_eq!(Rational::new(num, den).unwrap().mixed(), text);
        }
    }

    #[test]
    fn enclosing_floats_enclose() {
        for (num, den) in [(1, 3), (-7, 11), (i128::MAX, 3), (1, i128::MAX)] {
            let value = Rational::new(num, den).unwrap();
            let (lo, hi) = value.enclose();
            assert!(lo < hi);
            if let (Some(lo), Some(hi)) = (Rational::from_float(lo, false), Rational::from_float(hi, true)) {
                assert!(lo <= value && value <= hi);
            }
        }
    }
}
