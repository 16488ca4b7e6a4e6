//! Air for combustion: volume of the space, and area of openings. The rates are the code's and are passed in.

use crate::Bounds;
use crate::quantity::{CubicMeters, SquareMeters, Unusable, Watts, above_zero, not_negative, within_reach};

/// A volume of space for an input of heat (50 cu ft for 1000 Btu/h, say), as a code states it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct VolumeRate {
    /// Volume.
    pub volume: CubicMeters,
    /// Input it is for.
    pub input: Watts,
}

/// Volume needed by the standard method: in proportion to the input of all appliances in the space.
///
/// # Errors
/// An input below zero, a rate that is not above zero.
pub fn combustion_air_volume(input: Watts, rate: VolumeRate) -> Result<CubicMeters, Unusable> {
    let input = not_negative("input", input.bounds(), "W")?;
    let (volume, per) = parts(rate)?;
    Ok(CubicMeters(within_reach("volume", input.mul(volume).div(per).not_negative(), "m3")?))
}

/// Volume needed by the known-air-infiltration-rate method: for each kind of appliance its rate, over the air changes an hour
/// that are known. `most_changes` is the greatest rate the code lets one reckon with.
///
/// # Errors
/// Inputs below zero, air changes or rates that are not above zero.
pub fn combustion_air_volume_known_rate(
    inputs: &[(Watts, VolumeRate)],
    changes_per_hour: Bounds,
    most_changes: f64,
) -> Result<CubicMeters, Unusable> {
    let known = above_zero("air changes an hour", changes_per_hour, "")?;
    let most = above_zero("greatest air changes an hour", Bounds::decimal(most_changes), "")?;
    let changes = known.least(most);
    let mut sum = Bounds::exactly(0.0);
    for &(input, rate) in inputs {
        let input = not_negative("input", input.bounds(), "W")?;
        let (volume, per) = parts(rate)?;
        sum = sum.add(volume.mul(input).div(per).div(changes).not_negative());
    }
    Ok(CubicMeters(within_reach("volume", sum, "m3")?))
}

/// Free area of an opening, in proportion to the input: `area` for each `per` of it.
///
/// # Errors
/// An input or area below zero, `per` not above zero.
pub fn combustion_opening(input: Watts, per: Watts, area: SquareMeters) -> Result<SquareMeters, Unusable> {
    let input = not_negative("input", input.bounds(), "W")?;
    let per = above_zero("input of the rate", per.bounds(), "W")?;
    let area = not_negative("area of the rate", area.bounds(), "m2")?;
    Ok(SquareMeters(within_reach("area", input.mul(area).div(per).not_negative(), "m2")?))
}

fn parts(rate: VolumeRate) -> Result<(Bounds, Bounds), Unusable> {
    Ok((
        above_zero("volume of the rate", rate.volume.bounds(), "m3")?,
        above_zero("input of the rate", rate.input.bounds(), "W")?,
    ))
}
