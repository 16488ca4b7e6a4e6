//! Expansion of stored water when it is heated, and the tank that takes it up.
//!
//! dV = V (rho_cold / rho_hot - 1), V being the volume filled with cold water; the stretch of heater and pipes is left
//! out, which errs to the safe side. Both densities are taken at the static pressure: raising the hot side to the
//! largest pressure would make dV smaller by less than 0.6 %.
//!
//! tank = dV / (1 - (static + atmosphere) / (max + atmosphere)), Boyle's law for the air of a tank precharged to the
//! static pressure (R. Griffith's series on expansion tanks gives the same form and a worked case; see the tests).

use crate::Bounds;
use crate::water::{self, RATIO_ERROR, WaterError};

/// The standard atmosphere, Pa (exact by definition, ISO 2533). Higher up the air is thinner and the true tank smaller.
const ATMOSPHERE_PA: f64 = 101_325.0;

/// Why an expansion or its tank was not computed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ExpansionError {
    /// An input is not a finite span, or negative.
    #[error("the {which} is not a usable span: {lo} to {hi}")]
    Unusable {
        /// Which input.
        which: &'static str,
        /// Its lower end, SI.
        lo: f64,
        /// Its upper end, SI.
        hi: f64,
    },
    /// Temperature or pressure outside of the density formula.
    #[error(transparent)]
    Water(#[from] WaterError),
    /// The tank is already at its largest pressure when cold, or may be.
    #[error(
        "the static pressure ({static_pa:.0} Pa) is not below the largest pressure allowed ({max_pa:.0} Pa), so no tank of any \
         size keeps it: lower the static pressure first"
    )]
    NoRoom {
        /// Greatest static gauge pressure, Pa.
        static_pa: f64,
        /// Least of the largest gauge pressure allowed, Pa.
        max_pa: f64,
    },
}

/// By how much water grows when heated from cold to hot, m3, for a stored volume in m3, temperatures in K and the static
/// gauge pressure in Pa. Negative when it shrinks (below 4 C). The formula's error against IAPWS-95 is folded in.
///
/// # Errors
/// Unusable spans, and water outside of 0 C to 99 C or 0 to 1.1 MPa.
pub fn expansion(
    volume_m3: Bounds,
    cold_k: Bounds,
    hot_k: Bounds,
    static_pa: Bounds,
) -> Result<Bounds, ExpansionError> {
    usable("volume", volume_m3)?;
    usable("cold temperature", cold_k)?;
    usable("hot temperature", hot_k)?;
    usable("static pressure", static_pa)?;
    for t in [cold_k.lo, cold_k.hi, hot_k.lo, hot_k.hi] {
        water::check(t, static_pa.lo)?;
    }
    water::check(cold_k.lo, static_pa.hi)?;
    // At given temperatures the quotient is (1 + aP) / (1 + bP), monotone in P: the two ends decide.
    let at = |pa: f64| water::formula_over(cold_k, pa).div(water::formula_over(hot_k, pa));
    let ratio = at(static_pa.lo).hull(at(static_pa.hi)).widened(RATIO_ERROR);
    Ok(volume_m3.mul(ratio.sub(Bounds::exactly(1.0))))
}

/// Volume of the expansion tank in m3 for stored water in m3, temperatures in K and gauge pressures in Pa; the tank is
/// precharged to the static pressure. Rises with the stored volume, the heating and the static pressure, falls with
/// the largest pressure. Zero where nothing expands.
///
/// # Errors
/// As [`expansion`], and when the static pressure is or may be at the largest pressure.
pub fn expansion_tank(
    volume_m3: Bounds,
    cold_k: Bounds,
    hot_k: Bounds,
    static_pa: Bounds,
    max_pa: Bounds,
) -> Result<Bounds, ExpansionError> {
    usable("largest pressure", max_pa)?;
    let grown = expansion(volume_m3, cold_k, hot_k, static_pa)?;
    let atmosphere = Bounds::exactly(ATMOSPHERE_PA);
    // static and max each stand once in the quotient: corners of the quotient are corners of the acceptance.
    let acceptance = Bounds::exactly(1.0).sub(static_pa.add(atmosphere).div(max_pa.add(atmosphere)));
    if static_pa.hi >= max_pa.lo || acceptance.lo <= 0.0 {
        return Err(ExpansionError::NoRoom { static_pa: static_pa.hi, max_pa: max_pa.lo });
    }
    let tank = grown.div(acceptance);
    Ok(Bounds { lo: tank.lo.max(0.0), hi: tank.hi.max(0.0) })
}

fn usable(which: &'static str, bounds: Bounds) -> Result<(), ExpansionError> {
    if bounds.is_sound() && bounds.lo >= 0.0 {
        return Ok(());
    }
    Err(ExpansionError::Unusable { which, lo: bounds.lo, hi: bounds.hi })
}
