//! Density of liquid water.
//!
//! Formula: G. S. Kell, "Density, thermal expansivity, and compressibility of liquid water from 0 to 150 C", J. Chem.
//! Eng. Data 20 (1975) 97-105: equation 16 for the density of air-free water at one atmosphere and the isothermal
//! compressibility beside it, on the temperature scale of 1968. (Some reprints carry 16.897850 in the denominator; the
//! digits are swapped, 16.879850 agrees with IAPWS-95.) Temperatures of today's scale (ITS-90) are converted by
//! t68 = 1.00024 t90, P. M. Saunders, 1990.

use uom::si::f64::{Pressure, ThermodynamicTemperature};
use uom::si::{pressure::pascal, thermodynamic_temperature::kelvin};

use crate::Bounds;

/// Largest relative difference between the formula here and IAPWS-95, 0 to 99 C and 0 to 1.1 MPa above atmosphere:
/// seen between -4.8e-6 and -2.0e-6 (tests hold it against `tests/data/ref-water-properties.csv`).
pub const DENSITY_ERROR: f64 = 5e-6;

/// Largest relative error of a quotient of two densities at one pressure: the formula is low nearly everywhere by
/// the same share, so only the spread (2.8e-6) is left.
pub(crate) const RATIO_ERROR: f64 = 3e-6;

pub(crate) const COLDEST_K: f64 = 273.15;
pub(crate) const HOTTEST_K: f64 = 372.15;
pub(crate) const HIGHEST_GAUGE_PA: f64 = 1.1e6;

/// Why the density of water was not computed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum WaterError {
    /// Outside of what the formula was checked for.
    #[error(
        "water at {t_k} K is outside of 273.15 K to 372.15 K (32 F to 210 F), where the density formula was checked"
    )]
    Temperature {
        /// The temperature given, K.
        t_k: f64,
    },
    /// Outside of what the formula was checked for.
    #[error(
        "a gauge pressure of {gauge_pa} Pa is outside of 0 Pa to 1,100,000 Pa (0 psi to 159 psi), where the density formula was checked"
    )]
    Pressure {
        /// The gauge pressure given, Pa.
        gauge_pa: f64,
    },
}

/// Density of liquid water in kg/m3 at a temperature and a gauge pressure, [`DENSITY_ERROR`] folded in.
///
/// # Errors
/// Outside of 0 C to 99 C or of 0 to 1.1 MPa above the standard atmosphere.
pub fn water_density(temperature: ThermodynamicTemperature, gauge: Pressure) -> Result<Bounds, WaterError> {
    let (t, p) = (temperature.get::<kelvin>(), gauge.get::<pascal>());
    check(t, p)?;
    Ok(formula(t, p).widened(DENSITY_ERROR))
}

pub(crate) fn check(t_k: f64, gauge_pa: f64) -> Result<(), WaterError> {
    if !(COLDEST_K..=HOTTEST_K).contains(&t_k) {
        return Err(WaterError::Temperature { t_k });
    }
    if !(0.0..=HIGHEST_GAUGE_PA).contains(&gauge_pa) {
        return Err(WaterError::Pressure { gauge_pa });
    }
    Ok(())
}

/// The formula's own value, bounded against rounding only.
pub(crate) fn formula(t_k: f64, gauge_pa: f64) -> Bounds {
    let t = Bounds::exactly(t_k).sub(Bounds::exactly(COLDEST_K)).mul(Bounds::exactly(1.00024));
    let at_one_atmosphere = polynomial(
        t,
        &[999.839_52, 16.945_176, -7.987_040_1e-3, -46.170_461e-6, 105.563_02e-9, -280.542_53e-12],
    )
    .div(polynomial(t, &[1.0, 16.879_850e-3]));
    // 1e-11 per pascal, that is 1e-6 per bar.
    let compressibility =
        polynomial(t, &[50.884_96, 0.616_381_3, 1.459_187e-3, 20.084_38e-6, -58.477_27e-9, 410.411_0e-12])
            .div(polynomial(t, &[1.0, 19.673_48e-3]))
            .mul(Bounds::exactly(1e-11));
    at_one_atmosphere.mul(Bounds::exactly(1.0).add(compressibility.mul(Bounds::exactly(gauge_pa))))
}

/// Bounds of the formula over a span of temperatures at one pressure. Density rises to its peak near 4 C and falls
/// from there, so the ends and the peak decide.
pub(crate) fn formula_over(t_k: Bounds, gauge_pa: f64) -> Bounds {
    // The peak moves down by 0.2 K per MPa; being 0.03 K beside it changes the density by less than 1e-8 of itself.
    let peak_k = 277.133 - 0.2e-6 * gauge_pa;
    let ends = formula(t_k.lo, gauge_pa).hull(formula(t_k.hi, gauge_pa));
    if t_k.contains(peak_k) { ends.hull(formula(peak_k, gauge_pa)) } else { ends }
}

/// Horner's scheme, lowest power first.
fn polynomial(x: Bounds, coefficients: &[f64]) -> Bounds {
    coefficients.iter().rev().fold(Bounds::exactly(0.0), |sum, c| sum.mul(x).add(Bounds::exactly(*c)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_span_over_the_peak_reaches_the_peak() {
        let over = formula_over(Bounds { lo: 274.15, hi: 280.15 }, 0.0);
        assert!(over.hi >= formula(277.13, 0.0).middle());
        assert!(over.hi > formula(274.15, 0.0).hi && over.hi > formula(280.15, 0.0).hi);
    }

    #[test]
    fn steam_and_ice_are_refused() {
        assert!(matches!(check(270.0, 0.0), Err(WaterError::Temperature { .. })));
        assert!(matches!(check(f64::NAN, 0.0), Err(WaterError::Temperature { .. })));
        assert!(matches!(check(300.0, -1.0), Err(WaterError::Pressure { .. })));
    }
}
