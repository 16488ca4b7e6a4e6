//! The friction factor of Darcy and Weisbach.
//!
//! Turbulent: C. F. Colebrook, "Turbulent flow in pipes", J. Inst. Civ. Eng. 11 (1939) 133-156:
//! 1/sqrt(f) = -2 log10(e/(3.7 d) + 2.51/(Re sqrt(f))). Laminar: f = 64/Re (Hagen and Poiseuille).
//! Between Re 2000 and 4000 a pipe may run either way: what is bounded there reaches from the one to the other.

use core::f64::consts::LN_10;

use crate::Bounds;

/// Below this Reynolds number a flow in a pipe is laminar; above [`TURBULENT`] it is turbulent (Moody's diagram, L. F.
/// Moody, Trans. ASME 66 (1944) 671-684; EPANET takes the same two numbers).
pub(crate) const LAMINAR: f64 = 2000.0;
pub(crate) const TURBULENT: f64 = 4000.0;

/// Largest relative error of a factor from the arithmetic of [`colebrook`] and [`swamee_jain`].
const ROUNDING: f64 = 4e-14;

/// Friction factor for a Reynolds number and a relative roughness e/d, both above zero (zero roughness is fine).
pub(crate) fn colebrook(reynolds: f64, relative: f64) -> Bounds {
    let (a, b) = (relative / 3.7, 2.51 / reynolds);
    // x = 1/sqrt(f) is the root of g(x) = x + 2 log10(a + b x), which rises with a slope between 1 and, for x > 0, a finite
    // one: the distance to the root is at most |g|.
    let g = |x: f64| x + 2.0 * libm::log10(a + b * x);
    let mut x = 7.0;
    for _ in 0..60 {
        let next = x - g(x) / (1.0 + 2.0 * b / (LN_10 * (a + b * x)));
        let next = if next > 0.0 { next } else { x / 2.0 };
        if (next - x).abs() <= 1e-15 * x {
            break;
        }
        x = next;
    }
    let far = g(x).abs() + 1e-14 * x;
    let x = Bounds { lo: (x - far).max(f64::MIN_POSITIVE), hi: x + far };
    Bounds::exactly(1.0).div(x.mul(x)).widened(ROUNDING)
}

/// Friction factor as EPANET reckons it: 64/Re below 2000; P. K. Swamee and A. K. Jain (1976), 0.25/log10(e/(3.7 d) +
/// 5.74/Re^0.9)^2, above 4000; and H. G. Dunlop's cubic between, which joins them (L. A. Rossman, EPANET 2 Users Manual,
/// EPA/600/R-00/057, appendix D).
pub(crate) fn swamee_jain(reynolds: f64, relative: f64) -> Bounds {
    let value = if reynolds < LAMINAR {
        64.0 / reynolds
    } else if reynolds < TURBULENT {
        let y2 = relative / 3.7 + 5.74 / libm::pow(TURBULENT, 0.9);
        let y3 = -2.0 / LN_10 * libm::log(y2);
        let fa = 1.0 / (y3 * y3);
        // Slope at 4000: 2 + (-2 x 2 x 0.9 / ln 10)(5.74 / 4000^0.9) / (y2 y3).
        let fb = (2.0 - 3.6 / LN_10 * 5.74 / libm::pow(TURBULENT, 0.9) / (y2 * y3)) * fa;
        let r = reynolds / LAMINAR;
        let x1 = 7.0 * fa - fb;
        let x2 = 0.128 - 17.0 * fa + 2.5 * fb;
        let x3 = -0.128 + 13.0 * fa - 2.0 * fb;
        let x4 = r * (0.032 - 3.0 * fa + 0.5 * fb);
        x1 + r * (x2 + r * (x3 + x4))
    } else {
        let y = libm::log10(relative / 3.7 + 5.74 / libm::pow(reynolds, 0.9));
        0.25 / (y * y)
    };
    Bounds::exactly(value).widened(ROUNDING)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_cubic_joins_laminar_and_turbulent_without_a_kink() {
        for e in [1e-6, 1e-4, 1e-2] {
            // Loss goes with f Re^2: laminar and turbulent are joined in its value and its slope.
            let loss = |re: f64| swamee_jain(re, e).middle() * re * re;
            for at in [LAMINAR, TURBULENT] {
                let (below, above) = (loss(at - 1e-6), loss(at + 1e-6));
                assert!((below / above - 1.0).abs() < 1e-6, "at {at}, e/d {e}: {below} and {above}");
                let (before, after) = (loss(at - 0.01) - loss(at - 1.01), loss(at + 1.01) - loss(at + 0.01));
                assert!((before / after - 1.0).abs() < 0.01, "at {at}, e/d {e}: slopes {before} and {after}");
            }
        }
    }

    proptest! {
        #[test]
        fn colebrook_solves_its_equation(re in 2000.0..1e8f64, e in 0.0..0.05f64) {
            let f = colebrook(re, e);
            let residual = |f: f64| 1.0 / f.sqrt() + 2.0 * libm::log10(e / 3.7 + 2.51 / (re * f.sqrt()));
            // The residual falls as f rises, so its sign tells that the root lies within.
            prop_assert!(residual(f.lo) >= 0.0 && residual(f.hi) <= 0.0, "{f:?}");
            prop_assert!(f.hi - f.lo < 1e-12 * f.hi);
        }
    }
}
