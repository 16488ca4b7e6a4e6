//! Viscosity of liquid water.
//!
//! Formula: IAPWS, "Release on the IAPWS Formulation 2008 for the Viscosity of Ordinary Water Substance" (R12-08), equations
//! 10 to 12; the critical enhancement, which is nothing in liquid water below 100 C, is left out. The release states its
//! own uncertainty against measurement as about 1 % in the liquid; the bounds here speak of the formula, not of that.

use crate::quantity::{Kelvins, PascalSeconds, Pascals, SquareMetersPerSecond};
use crate::water::{self, DENSITY_ERROR, WaterError};
use crate::{Bounds, quantity};

/// Largest relative error against IAPWS-95 with the formulation of 2008: the density's own ([`DENSITY_ERROR`]) counts about
/// once, and between the ends of a span of pressures the value moves by less than this where it is not monotone.
const VISCOSITY_ERROR: f64 = 2e-5;

/// Reference point of the formulation: K and kg/m3.
const T_STAR: f64 = 647.096;
const RHO_STAR: f64 = 322.0;

/// Table 1 of the release, H_0 to H_3.
const DILUTE: [f64; 4] = [1.677_52, 2.204_62, 0.636_656_4, -0.241_605];

/// Table 2 of the release: (i, j, H_ij).
const FINITE: [(i32, i32, f64); 21] = [
    (0, 0, 0.520_094),
    (1, 0, 0.085_089_5),
    (2, 0, -1.083_74),
    (3, 0, -0.289_555),
    (0, 1, 0.222_531),
    (1, 1, 0.999_115),
    (2, 1, 1.887_97),
    (3, 1, 1.266_13),
    (5, 1, 0.120_573),
    (0, 2, -0.281_378),
    (1, 2, -0.906_851),
    (2, 2, -0.772_479),
    (3, 2, -0.489_837),
    (4, 2, -0.257_040),
    (0, 3, 0.161_913),
    (1, 3, 0.257_399),
    (0, 4, -0.032_537_2),
    (3, 4, 0.069_845_2),
    (4, 5, 0.008_721_02),
    (3, 6, -0.004_356_73),
    (5, 6, -0.000_593_264),
];

/// Dynamic viscosity of liquid water at a temperature and a gauge pressure, the formula's error folded in.
///
/// # Errors
/// Outside of 0 C to 99 C or of 0 to 1.1 MPa above the standard atmosphere.
pub fn water_viscosity(temperature: Kelvins, gauge: Pascals) -> Result<PascalSeconds, WaterError> {
    let (t, p) = (temperature.bounds(), gauge.bounds());
    for end in [t.lo, t.hi] {
        water::check(end, p.lo)?;
        water::check(end, p.hi)?;
    }
    // It falls as water warms; with pressure it hardly moves.
    let all = [(t.lo, p.lo), (t.lo, p.hi), (t.hi, p.lo), (t.hi, p.hi)]
        .map(|(t, p)| formula(t, water::formula(t, p).middle()))
        .into_iter()
        .reduce(Bounds::hull)
        .unwrap_or(Bounds::exactly(f64::NAN));
    Ok(PascalSeconds(all.widened(VISCOSITY_ERROR + DENSITY_ERROR)))
}

/// The formula's value, Pa s; rounding is far below [`VISCOSITY_ERROR`].
fn formula(t_k: f64, rho: f64) -> Bounds {
    let (t, rho) = (t_k / T_STAR, rho / RHO_STAR);
    let dilute: f64 = DILUTE.iter().rev().fold(0.0, |sum, h| sum / t + h);
    let above: f64 = FINITE
        .iter()
        .map(|&(i, j, h)| h * libm::pow(1.0 / t - 1.0, f64::from(i)) * libm::pow(rho - 1.0, f64::from(j)))
        .sum();
    Bounds::exactly(1e-6 * 100.0 * t.sqrt() / dilute * libm::exp(rho * above))
}

/// What a hydraulic calculation needs to know of the water in the pipes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Water {
    /// Pressure of a column per height.
    pub weight: quantity::PascalsPerMeter,
    /// Kinematic viscosity; only Darcy and Weisbach ask for it.
    pub viscosity: SquareMetersPerSecond,
    /// Gravity, m/s2, by which a velocity head is reckoned.
    pub gravity: Bounds,
}

/// Standard gravity, m/s2, exact by definition (3rd CGPM, 1901). Over the United States gravity differs from it by up to
/// 0.2 %.
pub const STANDARD_GRAVITY: f64 = 9.806_65;

impl Water {
    /// Water at a temperature and a gauge pressure under standard gravity, by this crate's formulas.
    ///
    /// # Errors
    /// Outside of 0 C to 99 C or of 0 to 1.1 MPa above the standard atmosphere.
    pub fn at(temperature: Kelvins, gauge: Pascals) -> Result<Water, WaterError> {
        let dynamic = water_viscosity(temperature, gauge)?.bounds();
        let (t, p) = (temperature.bounds(), gauge.bounds());
        let density = water::formula_over(t, p.lo).hull(water::formula_over(t, p.hi)).widened(DENSITY_ERROR);
        let gravity = Bounds::decimal(STANDARD_GRAVITY);
        Ok(Water {
            weight: quantity::PascalsPerMeter(density.mul(gravity)),
            viscosity: SquareMetersPerSecond(dynamic.div(density)),
            gravity,
        })
    }
}
