//! Sets of what is still possible, and the operators lifted to them.
//!
//! Every operator respects inclusion: a smaller set in never gives a larger set out. That is why a verdict once decided
//! holds for every completion, and why learning never flips it.

use crate::quantity::nominal_length;
use crate::rational::Rational;
use crate::syntax::{Arithmetic, Comparison};

/// Which outcomes of a condition are still possible: a non-empty subset of these three.
pub(crate) type Truth = u8;
pub(crate) const T: Truth = 1;
pub(crate) const F: Truth = 2;
/// A table has no row for the keys and says that this violates: neither a condition nor its negation holds.
pub(crate) const V: Truth = 4;
pub(crate) const U: Truth = T | F;

/// Numbers from `lo` to `hi`; `None` is open.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Bounds {
    pub lo: Option<Rational>,
    pub hi: Option<Rational>,
}

/// What a value may still be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Possible {
    Truth(Truth),
    /// A bit for each word, or each nominal size.
    Words {
        mask: u64,
        fails: bool,
    },
    Number {
        bounds: Bounds,
        fails: bool,
    },
    /// The kind of a subject, `None` when there is no such subject.
    Kind(Option<u16>),
    /// A table has no row, and that violates.
    Fails,
}

impl Bounds {
    pub const OPEN: Bounds = Bounds { lo: None, hi: None };

    pub fn point(value: Rational) -> Bounds {
        Bounds { lo: Some(value), hi: Some(value) }
    }

    pub fn is_point(&self) -> bool {
        self.lo.is_some() && self.lo == self.hi
    }

    pub fn hull(self, other: Bounds) -> Bounds {
        Bounds {
            lo: self.lo.zip(other.lo).map(|(a, b)| a.min(b)),
            hi: self.hi.zip(other.hi).map(|(a, b)| a.max(b)),
        }
    }

    fn not_negative(&self) -> bool {
        self.lo.is_some_and(|lo| lo >= Rational::ZERO)
    }

    pub fn add(self, other: Bounds) -> Bounds {
        Bounds {
            lo: self.lo.zip(other.lo).and_then(|(a, b)| a.add(b)),
            hi: self.hi.zip(other.hi).and_then(|(a, b)| a.add(b)),
        }
    }

    pub fn neg(self) -> Bounds {
        Bounds { lo: self.hi.and_then(Rational::neg), hi: self.lo.and_then(Rational::neg) }
    }

    fn mul(self, other: Bounds) -> Bounds {
        let zero = Bounds::point(Rational::ZERO);
        if self == zero || other == zero {
            return zero;
        }
        if let (Some(a), Some(b), Some(c), Some(d)) = (self.lo, self.hi, other.lo, other.hi) {
            if a == b && c == d {
                return a.mul(c).map_or(Bounds::OPEN, Bounds::point);
            }
            let all = [a.mul(c), a.mul(d), b.mul(c), b.mul(d)];
            if let [Some(p), Some(q), Some(r), Some(s)] = all {
                return Bounds { lo: Some(p.min(q).min(r).min(s)), hi: Some(p.max(q).max(r).max(s)) };
            }
        }
        if self.not_negative() && other.not_negative() {
            let lo = self.lo.zip(other.lo).and_then(|(a, b)| a.mul(b)).unwrap_or(Rational::ZERO);
            let hi = self.hi.zip(other.hi).and_then(|(a, b)| a.mul(b));
            return Bounds { lo: Some(lo), hi };
        }
        Bounds::OPEN
    }

    /// A divisor that may be 0 leaves everything possible.
    fn div(self, other: Bounds) -> Bounds {
        let positive = other.lo.is_some_and(|lo| lo > Rational::ZERO);
        let negative = other.hi.is_some_and(|hi| hi < Rational::ZERO);
        if negative {
            return self.neg().div(other.neg());
        }
        if !positive {
            return Bounds::OPEN;
        }
        if let (Some(a), Some(b), Some(c), Some(d)) = (self.lo, self.hi, other.lo, other.hi) {
            let all = [a.div(c), a.div(d), b.div(c), b.div(d)];
            if let [Some(p), Some(q), Some(r), Some(s)] = all {
                return Bounds { lo: Some(p.min(q).min(r).min(s)), hi: Some(p.max(q).max(r).max(s)) };
            }
        }
        if self.not_negative() {
            let lo = self.lo.zip(other.hi).and_then(|(a, b)| a.div(b)).unwrap_or(Rational::ZERO);
            let hi = self.hi.zip(other.lo).and_then(|(a, b)| a.div(b));
            return Bounds { lo: Some(lo), hi };
        }
        Bounds::OPEN
    }

    pub fn least(self, other: Bounds) -> Bounds {
        Bounds { lo: both(self.lo, other.lo, Rational::min), hi: either(self.hi, other.hi, Rational::min) }
    }

    pub fn greatest(self, other: Bounds) -> Bounds {
        Bounds { lo: either(self.lo, other.lo, Rational::max), hi: both(self.hi, other.hi, Rational::max) }
    }
}

fn both(a: Option<Rational>, b: Option<Rational>, f: fn(Rational, Rational) -> Rational) -> Option<Rational> {
    a.zip(b).map(|(a, b)| f(a, b))
}

fn either(
    a: Option<Rational>,
    b: Option<Rational>,
    f: fn(Rational, Rational) -> Rational,
) -> Option<Rational> {
    match (a, b) {
        (Some(a), Some(b)) => Some(f(a, b)),
        (a, b) => a.or(b),
    }
}

impl Possible {
    pub fn number(bounds: Bounds) -> Possible {
        Possible::Number { bounds, fails: false }
    }

    pub fn point(value: Rational) -> Possible {
        Possible::number(Bounds::point(value))
    }

    pub fn word(index: u8) -> Possible {
        Possible::Words { mask: 1 << index, fails: false }
    }

    pub fn may_fail(&self) -> bool {
        match self {
            Possible::Truth(t) => t & V != 0,
            Possible::Words { fails, .. } | Possible::Number { fails, .. } => *fails,
            Possible::Kind(_) => false,
            Possible::Fails => true,
        }
    }

    pub fn failing(self) -> Possible {
        match self {
            Possible::Truth(t) => Possible::Truth(t | V),
            Possible::Words { mask, .. } => Possible::Words { mask, fails: true },
            Possible::Number { bounds, .. } => Possible::Number { bounds, fails: true },
            other => other,
        }
    }

    /// Whether only one value is possible.
    pub fn is_certain(&self) -> bool {
        match self {
            Possible::Truth(t) => t.count_ones() == 1,
            Possible::Words { mask, fails } => mask.count_ones() == 1 && !fails,
            Possible::Number { bounds, fails } => bounds.is_point() && !fails,
            Possible::Kind(kind) => kind.is_some(),
            Possible::Fails => true,
        }
    }

    /// Everything either may be.
    pub fn hull(self, other: Possible) -> Possible {
        match (self, other) {
            (Possible::Truth(a), Possible::Truth(b)) => Possible::Truth(a | b),
            (Possible::Words { mask: a, fails: f }, Possible::Words { mask: b, fails: g }) => {
                Possible::Words { mask: a | b, fails: f || g }
            }
            (Possible::Number { bounds: a, fails: f }, Possible::Number { bounds: b, fails: g }) => {
                Possible::Number { bounds: a.hull(b), fails: f || g }
            }
            (Possible::Fails, Possible::Truth(t)) | (Possible::Truth(t), Possible::Fails) => {
                Possible::Truth(t | V)
            }
            (Possible::Fails, other) | (other, Possible::Fails) => other.failing(),
            (Possible::Kind(a), Possible::Kind(b)) => Possible::Kind(if a == b { a } else { None }),
            // The checker lets no two types meet.
            (a, _) => a,
        }
    }

    pub fn truth(&self) -> Truth {
        match self {
            Possible::Truth(t) => *t,
            Possible::Fails => V,
            _ => U,
        }
    }
}

pub(crate) fn not(a: Truth) -> Truth {
    (a & V) | if a & T != 0 { F } else { 0 } | if a & F != 0 { T } else { 0 }
}

pub(crate) fn and(a: Truth, b: Truth) -> Truth {
    let mut out = (a | b) & F;
    if a & T != 0 && b & T != 0 {
        out |= T;
    }
    // Failing is stronger than true and weaker than false.
    if (a & V != 0 && b & (T | V) != 0) || (b & V != 0 && a & (T | V) != 0) {
        out |= V;
    }
    out
}

pub(crate) fn or(a: Truth, b: Truth) -> Truth {
    not(and(not(a), not(b)))
}

pub(crate) fn compare(sign: Comparison, a: &Possible, b: &Possible) -> Truth {
    let fails = if a.may_fail() || b.may_fail() { V } else { 0 };
    let decided = match (a, b) {
        (Possible::Fails, _) | (_, Possible::Fails) => return V,
        (Possible::Number { bounds: a, .. }, Possible::Number { bounds: b, .. }) => {
            let a_hi_le = |x: Option<Rational>, y: Option<Rational>| x.zip(y).is_some_and(|(x, y)| x <= y);
            let lt = |x: Option<Rational>, y: Option<Rational>| x.zip(y).is_some_and(|(x, y)| x < y);
            match sign {
                Comparison::AtMost => pick(a_hi_le(a.hi, b.lo), lt(b.hi, a.lo)),
                Comparison::Less => pick(lt(a.hi, b.lo), a_hi_le(b.hi, a.lo)),
                Comparison::AtLeast => pick(a_hi_le(b.hi, a.lo), lt(a.hi, b.lo)),
                Comparison::More => pick(lt(b.hi, a.lo), a_hi_le(a.hi, b.lo)),
                Comparison::Equal => {
                    pick(a.is_point() && b.is_point() && a.lo == b.lo, lt(a.hi, b.lo) || lt(b.hi, a.lo))
                }
                Comparison::Unequal => {
                    pick(lt(a.hi, b.lo) || lt(b.hi, a.lo), a.is_point() && b.is_point() && a.lo == b.lo)
                }
            }
        }
        (Possible::Words { mask: a, .. }, Possible::Words { mask: b, .. }) => {
            let (a_lo, a_hi) = (a.trailing_zeros(), 63 - a.leading_zeros().min(63));
            let (b_lo, b_hi) = (b.trailing_zeros(), 63 - b.leading_zeros().min(63));
            let same = a.count_ones() == 1 && a == b;
            match sign {
                Comparison::AtMost => pick(a_hi <= b_lo, a_lo > b_hi),
                Comparison::Less => pick(a_hi < b_lo, a_lo >= b_hi),
                Comparison::AtLeast => pick(a_lo >= b_hi, a_hi < b_lo),
                Comparison::More => pick(a_lo > b_hi, a_hi <= b_lo),
                Comparison::Equal => pick(same, a & b == 0),
                Comparison::Unequal => pick(a & b == 0, same),
            }
        }
        (Possible::Truth(a), Possible::Truth(b)) => {
            let (a, b) = (a & U, b & U);
            let equal = if a == 0 || b == 0 {
                return V;
            } else if a.count_ones() == 1 && b.count_ones() == 1 {
                if a == b { T } else { F }
            } else {
                U
            };
            if sign == Comparison::Unequal { not(equal) } else { equal }
        }
        _ => U,
    };
    decided | fails
}

fn pick(yes: bool, no: bool) -> Truth {
    match (yes, no) {
        (true, _) => T,
        (_, true) => F,
        _ => U,
    }
}

pub(crate) fn within(value: &Possible, words: u64) -> Truth {
    match value {
        Possible::Words { mask, fails } => {
            pick(mask & !words == 0, mask & words == 0) | if *fails { V } else { 0 }
        }
        other => other.truth(),
    }
}

pub(crate) fn arithmetic(sign: Arithmetic, a: &Possible, b: &Possible) -> Possible {
    match (a, b) {
        (Possible::Number { bounds: x, fails: f }, Possible::Number { bounds: y, fails: g }) => {
            let bounds = match sign {
                Arithmetic::Plus => x.add(*y),
                Arithmetic::Minus => x.add(y.neg()),
                Arithmetic::Times => x.mul(*y),
                Arithmetic::Over => x.div(*y),
            };
            Possible::Number { bounds, fails: *f || *g }
        }
        _ => Possible::Fails,
    }
}

/// Nominal sizes as lengths.
pub(crate) fn diameter(size: &Possible) -> Possible {
    match size {
        Possible::Words { mask, fails } if *mask != 0 => {
            let lo = nominal_length(mask.trailing_zeros() as u8);
            let hi = nominal_length((63 - mask.leading_zeros()) as u8);
            Possible::Number { bounds: Bounds { lo: Some(lo), hi: Some(hi) }, fails: *fails }
        }
        _ => Possible::Fails,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The tables of language.md section 4, entire: rows and columns T, U, F.
    #[test]
    fn truth_tables_are_strong_kleene() {
        let order = [T, U, F];
        let and_table = [[T, U, F], [U, U, F], [F, F, F]];
        let or_table = [[T, T, T], [T, U, U], [T, U, F]];
        let implies_table = [[T, U, F], [T, U, U], [T, T, T]];
        for (i, a) in order.into_iter().enumerate() {
            for (j, b) in order.into_iter().enumerate() {
                assert_eq!(and(a, b), and_table[i][j], "{a} and {b}");
                assert_eq!(or(a, b), or_table[i][j], "{a} or {b}");
                assert_eq!(or(not(a), b), implies_table[i][j], "{a} implies {b}");
            }
        }
        assert_eq!([not(T), not(U), not(F)], [F, U, T]);
    }

    /// Every operator on sets is the union over the members, failing included.
    #[test]
    fn lifted_operators_are_unions_over_members() {
        let single_and = |a: Truth, b: Truth| match (a, b) {
            (F, _) | (_, F) => F,
            (V, _) | (_, V) => V,
            _ => T,
        };
        let single_or = |a: Truth, b: Truth| match (a, b) {
            (T, _) | (_, T) => T,
            (V, _) | (_, V) => V,
            _ => F,
        };
        let members = |set: Truth| [T, F, V].into_iter().filter(move |m| set & m != 0);
        for a in 1..8 {
            for b in 1..8 {
                let mut expected = (0, 0);
                for x in members(a) {
                    for y in members(b) {
                        expected.0 |= single_and(x, y);
                        expected.1 |= single_or(x, y);
                    }
                }
                assert_eq!((and(a, b), or(a, b)), expected, "{a} {b}");
            }
        }
    }

    /// Comparisons of all bounds within 0..=4 agree with comparing every pair of members.
    #[test]
    #[expect(clippy::type_complexity, reason = "a table of the test")]
    fn comparisons_on_bounds_are_exhaustively_right() {
        let signs: [(Comparison, fn(i128, i128) -> bool); 6] = [
            (Comparison::Less, |a, b| a < b),
            (Comparison::AtMost, |a, b| a <= b),
            (Comparison::Equal, |a, b| a == b),
            (Comparison::Unequal, |a, b| a != b),
            (Comparison::AtLeast, |a, b| a >= b),
            (Comparison::More, |a, b| a > b),
        ];
        let number = |lo: i128, hi: i128| {
            Possible::number(Bounds { lo: Some(Rational::whole(lo)), hi: Some(Rational::whole(hi)) })
        };
        let words =
            |lo: i128, hi: i128| Possible::Words { mask: (lo..=hi).fold(0, |m, i| m | 1 << i), fails: false };
        for (a, b, c, d) in (0..5 * 5 * 5 * 5).map(|n| (n / 125, n / 25 % 5, n / 5 % 5, n % 5)) {
            if a > b || c > d {
                continue;
            }
            for (sign, holds) in signs {
                let mut expected = 0;
                for x in a..=b {
                    for y in c..=d {
                        expected |= if holds(x, y) { T } else { F };
                    }
                }
                // Bounds also hold what lies between whole numbers, so equal end points of wide bounds stay open.
                assert_eq!(
                    compare(sign, &number(a, b), &number(c, d)),
                    expected,
                    "{a}..{b} {sign:?} {c}..{d}"
                );
                assert_eq!(compare(sign, &words(a, b), &words(c, d)), expected, "{a}..{b} {sign:?} {c}..{d}");
            }
        }
    }

    #[test]
    fn arithmetic_encloses_every_pair() {
        let signs = [Arithmetic::Plus, Arithmetic::Minus, Arithmetic::Times, Arithmetic::Over];
        for (a, b, c, d) in (0..6i128.pow(4)).map(|n| (n / 216 - 3, n / 36 % 6 - 3, n / 6 % 6 - 3, n % 6 - 3))
        {
            if a > b || c > d {
                continue;
            }
            for sign in signs {
                let number = |lo, hi| {
                    Possible::number(Bounds { lo: Some(Rational::whole(lo)), hi: Some(Rational::whole(hi)) })
                };
                let Possible::Number { bounds, .. } = arithmetic(sign, &number(a, b), &number(c, d)) else {
                    panic!()
                };
                for (x, y) in (a..=b).flat_map(|x| (c..=d).map(move |y| (x, y))) {
                    let (x, y) = (Rational::whole(x), Rational::whole(y));
                    let exact = match sign {
                        Arithmetic::Plus => x.add(y),
                        Arithmetic::Minus => x.sub(y),
                        Arithmetic::Times => x.mul(y),
                        Arithmetic::Over => x.div(y),
                    };
                    if let Some(exact) = exact {
                        assert!(
                            bounds.lo.is_none_or(|lo| lo <= exact) && bounds.hi.is_none_or(|hi| exact <= hi)
                        );
                    }
                }
            }
        }
    }
}
