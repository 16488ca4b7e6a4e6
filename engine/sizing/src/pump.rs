//! Head of a pump, weight of a column of water, and what a heater makes in an hour.

use crate::Bounds;
use crate::pipe::Pipe;
use crate::quantity::{
    CubicMetersPerSecond, Meters, Pascals, PascalsPerMeter, Unusable, Watts, above_zero, finite,
    not_negative, within_reach,
};
use crate::viscosity::Water;

/// Total head that a pump must make: the height from the water's surface to the end of the discharge, and friction and fittings
/// of the discharge pipe at the flow.
///
/// # Errors
/// As [`Pipe::loss`]; a height that is not finite.
pub fn pump_head(
    height: Meters,
    flow: CubicMetersPerSecond,
    discharge: &Pipe,
    water: &Water,
) -> Result<Meters, Unusable> {
    let height = finite("height", height.bounds(), "m")?;
    let loss = discharge.loss(flow, water)?;
    let lost = loss.friction.bounds().add(loss.minor.bounds()).div(water.weight.bounds()).not_negative();
    Ok(Meters(within_reach("head", height.add(lost), "m")?))
}

/// Pressure of a column of water: its height times the weight of water. Negative for a negative height.
///
/// # Errors
/// A height that is not finite, a weight that is not above zero.
pub fn static_head(height: Meters, weight: PascalsPerMeter) -> Result<Pascals, Unusable> {
    let height = finite("height", height.bounds(), "m")?;
    let weight = above_zero("weight of water", weight.bounds(), "Pa/m")?;
    Ok(Pascals(within_reach("pressure", height.mul(weight), "Pa")?))
}

/// Water that a heater heats, m3/s: input x efficiency / (heat for each m3 and kelvin x rise in kelvins). The convention for the
/// heat (8.32 Btu a gallon and degree, say) is the caller's.
///
/// # Errors
/// An input below zero, an efficiency, heat or rise that is not above zero.
pub fn heater_recovery(
    input: Watts,
    efficiency: Bounds,
    heat_j_m3_k: Bounds,
    rise_k: Bounds,
) -> Result<CubicMetersPerSecond, Unusable> {
    let input = not_negative("input", input.bounds(), "W")?;
    let efficiency = above_zero("efficiency", efficiency, "")?;
    let heat = above_zero("heat of water", heat_j_m3_k, "J/(m3 K)")?;
    let rise = above_zero("rise of temperature", rise_k, "K")?;
    let made = input.mul(efficiency).div(heat.mul(rise)).not_negative();
    Ok(CubicMetersPerSecond(within_reach("recovery", made, "m3/s")?))
}
