//! Capacity of gas pipe by equation.
//!
//! Two forms of each equation are in use and they differ; the caller names one. The *diameter form* is the one printed in the
//! International Fuel Gas Code and NFPA 54 as equations for low pressure (below 1.5 psi) and for 1.5 psi and up:
//! D = Q^0.381 / (19.17 (dH/(Cr L))^0.206) and D = Q^0.381 / (18.93 ((P1^2 - P2^2) Y/(Cr L))^0.206). The *capacity form*,
//! Q = 2313 D^2.623 (dH/(Cr L))^0.541 and Q = 2237 D^2.623 ((P1^2 - P2^2) Y/(Cr L))^0.541, is the older one, from which the
//! low pressure tables seem to have been printed (both from memory; checked against 306 published cells, see the tests). D in
//! inches, Q in cubic feet per hour, dH in inches of water, L in feet with the allowance for fittings, P in psi absolute.
//! Where a table is adopted the table is the law; the equation is then only a check on it.

use crate::Bounds;
use crate::quantity::{
    CubicFeetPerHour, Feet, Inches, InchesOfWater, Psi, Unusable, above_zero, within_reach,
};

/// Which form of the equation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum GasForm {
    /// As printed in the codes, solved for the diameter.
    Diameter,
    /// The older form, solved for the flow; 0.2 to 0.8 % below the other.
    Capacity,
}

/// Atmosphere that the equations add to a gauge pressure, psi.
const ATMOSPHERE_PSI: f64 = 14.7;

/// Why gas pipe was not reckoned.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum GasError {
    /// An input out of range.
    #[error(transparent)]
    Unusable(#[from] Unusable),
    /// The outlet pressure is, or may be, no lower than the inlet pressure.
    #[error(
        "the pressure at the end ({end_psi} psi) is not below that at the start ({start_psi} psi), so nothing flows"
    )]
    NoDrop {
        /// Least pressure at the start, psi gauge.
        start_psi: f64,
        /// Greatest pressure at the end, psi gauge.
        end_psi: f64,
    },
}

/// The factor Cr of a gas: 0.00354 S T (Z/S)^0.152, with the specific gravity S (air is 1), the absolute temperature T in
/// degrees Rankine and the viscosity Z in centipoise. (Printed beside the equations; the form is from memory. 0.60, 520 and
/// 0.012 give the 0.6094 printed for natural gas, 1.50, 520 and 0.008 the 1.2462 for propane.)
///
/// # Errors
/// Inputs that are not above zero.
pub fn gas_factor(gravity: Bounds, rankine: Bounds, centipoise: Bounds) -> Result<Bounds, GasError> {
    let s = above_zero("specific gravity", gravity, "")?;
    let t = above_zero("temperature", rankine, "R")?;
    let z = above_zero("viscosity", centipoise, "cP")?;
    // S (Z/S)^0.152 = S^0.848 Z^0.152: each stands once and all rise.
    let factor = Bounds::decimal(0.003_54).mul(t).mul(s.pow(0.848)).mul(z.pow(0.152));
    Ok(within_reach("gas factor", factor, "")?)
}

/// Capacity of a pipe below 1.5 psi, for a drop of `drop` along `length`. Rises with the drop and the diameter, falls with the
/// length and the factor.
///
/// # Errors
/// Inputs that are not above zero.
pub fn gas_capacity_low(
    inside: Inches,
    length: Feet,
    drop: InchesOfWater,
    factor: Bounds,
    form: GasForm,
) -> Result<CubicFeetPerHour, GasError> {
    let drop = above_zero("pressure drop", drop.bounds(), "in. w.c.")?;
    let (diameter, capacity) = (19.17, 2313.0);
    carried(inside, length, drop, factor, form, diameter, capacity)
}

/// Capacity of a pipe at 1.5 psi and up, from `start` to `end` (gauge) along `length`; `y` is the gas's factor for
/// superexpansibility (0.9992 natural gas, 0.9910 propane in those codes, from memory).
///
/// # Errors
/// Inputs that are not above zero, pressures that do not fall.
pub fn gas_capacity_high(
    inside: Inches,
    length: Feet,
    start: Psi,
    end: Psi,
    factor: Bounds,
    y: Bounds,
    form: GasForm,
) -> Result<CubicFeetPerHour, GasError> {
    let fall = squares(start, end, y)?;
    let (diameter, capacity) = (18.93, 2237.0);
    carried(inside, length, fall, factor, form, diameter, capacity)
}

/// Inside diameter that carries a flow below 1.5 psi; the inverse of [`gas_capacity_low`].
///
/// # Errors
/// Inputs that are not above zero.
pub fn gas_diameter_low(
    flow: CubicFeetPerHour,
    length: Feet,
    drop: InchesOfWater,
    factor: Bounds,
    form: GasForm,
) -> Result<Inches, GasError> {
    let q = above_zero("gas flow", flow.bounds(), "cfh")?;
    let drop = above_zero("pressure drop", drop.bounds(), "in. w.c.")?;
    let slope = drop.div(resistance(length, factor)?);
    let inside = match form {
        GasForm::Diameter => q.pow(0.381).div(Bounds::decimal(19.17).mul(slope.pow(0.206))),
        GasForm::Capacity => root(q.div(Bounds::exactly(2313.0).mul(slope.pow(0.541))), 2.623),
    };
    Ok(Inches(within_reach("diameter", inside, "in")?))
}

/// Drop of pressure below 1.5 psi at a flow; the inverse of [`gas_capacity_low`] in the drop.
///
/// # Errors
/// Inputs that are not above zero.
pub fn gas_drop_low(
    inside: Inches,
    length: Feet,
    flow: CubicFeetPerHour,
    factor: Bounds,
    form: GasForm,
) -> Result<InchesOfWater, GasError> {
    let d = above_zero("inside diameter", inside.bounds(), "in")?;
    let q = above_zero("gas flow", flow.bounds(), "cfh")?;
    let slope = match form {
        GasForm::Diameter => root(q.pow(0.381).div(Bounds::decimal(19.17).mul(d)), 0.206),
        GasForm::Capacity => root(q.div(Bounds::exactly(2313.0).mul(d.pow(2.623))), 0.541),
    };
    let drop = slope.mul(resistance(length, factor)?);
    Ok(InchesOfWater(within_reach("pressure drop", drop, "in. w.c.")?))
}

/// (P1^2 - P2^2) Y = (P1 - P2)(P1 + P2) Y: each factor bounded by itself.
fn squares(start: Psi, end: Psi, y: Bounds) -> Result<Bounds, GasError> {
    let start = above_zero("pressure at the start", start.bounds(), "psi")?;
    let end = crate::quantity::not_negative("pressure at the end", end.bounds(), "psi")?;
    let y = above_zero("superexpansibility factor", y, "")?;
    if end.hi >= start.lo {
        return Err(GasError::NoDrop { start_psi: start.lo, end_psi: end.hi });
    }
    let at = |start: f64, end: f64| {
        let (start, end, air) =
            (Bounds::exactly(start), Bounds::exactly(end), Bounds::decimal(ATMOSPHERE_PSI));
        start.sub(end).mul(start.add(end).add(air).add(air))
    };
    // Rises with the start and, absolute pressures being above zero, falls with the end.
    Ok(Bounds { lo: at(start.lo, end.hi).lo, hi: at(start.hi, end.lo).hi }.mul(y))
}

fn resistance(length: Feet, factor: Bounds) -> Result<Bounds, GasError> {
    let length = above_zero("length", length.bounds(), "ft")?;
    Ok(above_zero("gas factor", factor, "")?.mul(length))
}

fn carried(
    inside: Inches,
    length: Feet,
    fall: Bounds,
    factor: Bounds,
    form: GasForm,
    diameter: f64,
    capacity: f64,
) -> Result<CubicFeetPerHour, GasError> {
    let d = above_zero("inside diameter", inside.bounds(), "in")?;
    let slope = fall.div(resistance(length, factor)?).not_negative();
    let flow = match form {
        GasForm::Diameter => root(Bounds::decimal(diameter).mul(d).mul(slope.pow(0.206)), 0.381),
        GasForm::Capacity => Bounds::exactly(capacity).mul(d.pow(2.623)).mul(slope.pow(0.541)),
    };
    Ok(CubicFeetPerHour(within_reach("capacity", flow, "cfh")?))
}

/// x^(1/power). The quotient's own rounding counts as an error of the power.
fn root(x: Bounds, power: f64) -> Bounds {
    x.not_negative().pow(1.0 / power)
}
