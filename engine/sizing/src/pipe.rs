//! One pipe: its loss of pressure at a flow, by a declared law, with fittings.

use crate::Bounds;
use crate::darcy::{LAMINAR, TURBULENT, colebrook, swamee_jain};
use crate::quantity::{
    CubicMetersPerSecond, Meters, MetersPerSecond, Pascals, PascalsPerMeter, Unusable, above_zero,
    not_negative, within_reach,
};
use crate::viscosity::Water;

/// Which constants a Hazen-Williams loss is reckoned with. They differ by up to 2 % in house sizes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HazenWilliams {
    /// p = 4.52 Q^1.85 / (C^1.85 d^4.87), psi/ft with gpm and in (NFPA 13).
    Nfpa13,
    /// h = 4.727 q^1.852 / (C^1.852 d^4.871), ft/ft with cfs and ft (EPANET 2 Users Manual, table 3.1).
    Epanet,
}

/// The law of friction, with what it needs to know of the pipe. The values are a material's or a code's: the caller's.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Law {
    /// Hazen and Williams.
    HazenWilliams {
        /// Roughness value C, dimensionless; more is smoother.
        c: Bounds,
        /// Whose constants.
        form: HazenWilliams,
    },
    /// Darcy and Weisbach with Colebrook's factor and the water's own viscosity.
    Colebrook {
        /// Height of the roughness.
        roughness: Meters,
    },
    /// Darcy and Weisbach with the explicit factor of Swamee and Jain, as EPANET does; to compare with EPANET.
    SwameeJain {
        /// Height of the roughness, m.
        roughness_m: f64,
        /// Kinematic viscosity, m2/s, in place of the water's.
        viscosity_m2_s: f64,
    },
}

/// A pipe of one size.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pipe {
    /// Inside diameter.
    pub inside: Meters,
    /// Developed length, along the centre line.
    pub length: Meters,
    /// Fittings and valves as a length of the same pipe (see [`crate::FittingTable`]).
    pub equivalent: Meters,
    /// Fittings and valves as a sum of velocity heads (K values), where these are given instead.
    pub minor: Bounds,
    /// Law of friction.
    pub law: Law,
}

/// Loss of a pipe, told apart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PipeLoss {
    /// Friction along the developed and the equivalent length.
    pub friction: Pascals,
    /// The velocity heads of `minor`.
    pub minor: Pascals,
    /// Speed of the water.
    pub velocity: MetersPerSecond,
}

impl Pipe {
    /// Loss of pressure at a flow. Rises with flow, length, roughness; falls with the diameter.
    ///
    /// # Errors
    /// Inputs below zero, a diameter, C or viscosity of zero, and results beyond all measure.
    pub fn loss(&self, flow: CubicMetersPerSecond, water: &Water) -> Result<PipeLoss, Unusable> {
        self.check(water)?;
        let q = not_negative("flow", flow.bounds(), "m3/s")?;
        Ok(PipeLoss {
            friction: Pascals(within_reach("friction loss", self.friction(q, water), "Pa")?),
            minor: Pascals(within_reach("fittings' loss", self.minor_loss(q, water), "Pa")?),
            velocity: MetersPerSecond(within_reach("speed", self.velocity(q), "m/s")?),
        })
    }

    pub(crate) fn check(&self, water: &Water) -> Result<(), Unusable> {
        above_zero("inside diameter", self.inside.bounds(), "m")?;
        not_negative("pipe's length", self.length.bounds(), "m")?;
        not_negative("fittings' equivalent length", self.equivalent.bounds(), "m")?;
        not_negative("sum of K values", self.minor, "")?;
        above_zero("weight of water", water.weight.bounds(), "Pa/m")?;
        above_zero("gravity", water.gravity, "m/s2")?;
        match self.law {
            Law::HazenWilliams { c, .. } => above_zero("Hazen-Williams C", c, "").map(drop),
            Law::Colebrook { roughness } => {
                above_zero("viscosity of water", water.viscosity.bounds(), "m2/s")?;
                not_negative("roughness", roughness.bounds(), "m").map(drop)
            }
            Law::SwameeJain { roughness_m, viscosity_m2_s } => {
                above_zero("viscosity of water", Bounds::exactly(viscosity_m2_s), "m2/s")?;
                not_negative("roughness", Bounds::exactly(roughness_m), "m").map(drop)
            }
        }
    }

    /// Friction and fittings together for a flow that is not negative, Pa; inputs checked before.
    pub(crate) fn total(&self, q: Bounds, water: &Water) -> Bounds {
        self.friction(q, water).add(self.minor_loss(q, water))
    }

    /// One value within [`Self::total`] that rises without a step as the flow does: what an iteration needs.
    pub(crate) fn nominal(&self, q: f64, water: &Water) -> f64 {
        let d = self.inside.bounds().middle();
        let length = self.length.bounds().middle() + self.equivalent.bounds().middle();
        let (weight, gravity) = (water.weight.bounds().middle(), water.gravity.middle());
        let darcy = |f: f64| weight * 8.0 / (PI_SQUARED * gravity) * f * q * q / libm::pow(d, 5.0);
        let reynolds = |nu: f64| 4.0 * q / (core::f64::consts::PI * d * nu);
        let per_length = match self.law {
            _ if q <= 0.0 => 0.0,
            Law::HazenWilliams { c, form } => hazen_williams(
                Bounds::exactly(q),
                Bounds::exactly(d),
                Bounds::exactly(c.middle()),
                form,
                weight_of(weight),
            )
            .middle(),
            Law::Colebrook { roughness } => {
                let (re, e) = (reynolds(water.viscosity.bounds().middle()), roughness.bounds().middle() / d);
                let factor = if re <= LAMINAR {
                    64.0 / re
                } else if re >= TURBULENT {
                    colebrook(re, e).middle()
                } else {
                    let share = (re - LAMINAR) / (TURBULENT - LAMINAR);
                    64.0 / LAMINAR * (1.0 - share) + colebrook(TURBULENT, e).middle() * share
                };
                darcy(factor)
            }
            Law::SwameeJain { roughness_m, viscosity_m2_s } => {
                darcy(swamee_jain(reynolds(viscosity_m2_s), roughness_m / d).middle())
            }
        };
        let speed = q * 4.0 / (core::f64::consts::PI * d * d);
        per_length * length + self.minor.middle() * weight * speed * speed / (2.0 * gravity)
    }

    /// Mean speed in the full pipe, m/s.
    pub(crate) fn velocity(&self, q: Bounds) -> Bounds {
        let d = self.inside.bounds();
        q.mul(Bounds::exactly(4.0)).div(pi().mul(d.mul(d))).not_negative()
    }

    fn minor_loss(&self, q: Bounds, water: &Water) -> Bounds {
        let v = self.velocity(q);
        let heads = v.mul(v).div(water.gravity.mul(Bounds::exactly(2.0)));
        self.minor.mul(heads).mul(water.weight.bounds()).not_negative()
    }

    fn friction(&self, q: Bounds, water: &Water) -> Bounds {
        let length = self.length.bounds().add(self.equivalent.bounds());
        self.per_length(q, water).mul(length).not_negative()
    }

    /// Friction per length, Pa/m.
    pub(crate) fn per_length(&self, q: Bounds, water: &Water) -> Bounds {
        let (d, weight) = (self.inside.bounds(), water.weight.bounds());
        match self.law {
            _ if q.hi <= 0.0 => Bounds::exactly(0.0),
            Law::HazenWilliams { c, form } => hazen_williams(q, d, c, form, weight),
            Law::Colebrook { roughness } => {
                self.darcy_colebrook(q, roughness.bounds(), water.viscosity.bounds(), weight, water.gravity)
            }
            Law::SwameeJain { roughness_m, viscosity_m2_s } => {
                // With its own point viscosity the slope rises with flow and falls with the diameter throughout.
                let at = |q: f64, d: f64| {
                    if q <= 0.0 {
                        return Bounds::exactly(0.0);
                    }
                    let re = reynolds(q, d, viscosity_m2_s).middle();
                    velocity_slope(q, d, swamee_jain(re, roughness_m / d), weight, water.gravity)
                };
                Bounds { lo: at(q.lo, d.hi).lo, hi: at(q.hi, d.lo).hi }
            }
        }
    }

    fn darcy_colebrook(&self, q: Bounds, e: Bounds, nu: Bounds, weight: Bounds, gravity: Bounds) -> Bounds {
        let d = self.inside.bounds();
        let numbers = if q.lo > 0.0 {
            Bounds { lo: reynolds(q.lo, d.hi, nu.hi).lo, hi: reynolds(q.hi, d.lo, nu.lo).hi }
        } else {
            Bounds { lo: 0.0, hi: reynolds(q.hi, d.lo, nu.lo).hi }
        };
        let mut loss: Option<Bounds> = None;
        let mut reach = |more: Bounds| loss = Some(loss.map_or(more, |so_far| so_far.hull(more)));
        if numbers.lo <= TURBULENT {
            // 64/Re makes it 128 nu q w / (pi g d^4).
            let at = |q: f64, d: f64, nu: f64| {
                let d = Bounds::exactly(d);
                let above =
                    Bounds::exactly(128.0).mul(Bounds::exactly(nu)).mul(Bounds::exactly(q)).mul(weight);
                above.div(pi().mul(gravity).mul(d.mul(d).mul(d.mul(d))))
            };
            reach(Bounds { lo: at(q.lo, d.hi, nu.lo).lo.max(0.0), hi: at(q.hi, d.lo, nu.hi).hi });
        }
        if numbers.hi >= LAMINAR {
            // Rises with flow, viscosity and roughness, falls with the diameter.
            let at = |q: f64, d: f64, nu: f64, e: f64| {
                if q <= 0.0 {
                    return Bounds::exactly(0.0);
                }
                // The Reynolds number's own rounding moves the factor by less of itself than the number.
                let factor = colebrook(reynolds(q, d, nu).middle(), e / d).widened(8.0 * f64::EPSILON);
                velocity_slope(q, d, factor, weight, gravity)
            };
            reach(Bounds { lo: at(q.lo, d.hi, nu.lo, e.lo).lo.max(0.0), hi: at(q.hi, d.lo, nu.hi, e.hi).hi });
        }
        loss.unwrap_or(Bounds::exactly(0.0))
    }
}

/// f / d v^2/2g w, Pa/m, with v from the flow: 8 f q^2 w / (pi^2 g d^5).
fn velocity_slope(q: f64, d: f64, factor: Bounds, weight: Bounds, gravity: Bounds) -> Bounds {
    let (q, d) = (Bounds::exactly(q), Bounds::exactly(d));
    let fifth = d.mul(d).mul(d.mul(d)).mul(d);
    Bounds::exactly(8.0).mul(factor).mul(q.mul(q)).mul(weight).div(pi().mul(pi()).mul(gravity).mul(fifth))
}

/// 4 q / (pi d nu).
fn reynolds(q: f64, d: f64, nu: f64) -> Bounds {
    Bounds::exactly(4.0).mul(Bounds::exactly(q)).div(pi().mul(Bounds::exactly(d).mul(Bounds::exactly(nu))))
}

fn hazen_williams(q: Bounds, d: Bounds, c: Bounds, form: HazenWilliams, weight: Bounds) -> Bounds {
    match form {
        HazenWilliams::Nfpa13 => {
            let gpm = crate::GallonsPerMinute::from(CubicMetersPerSecond(q)).0.not_negative();
            let inches = crate::Inches::from(Meters(d)).0;
            let psi_per_foot =
                Bounds::decimal(4.52).mul(gpm.div(c).not_negative().pow(1.85)).div(inches.pow(4.87));
            PascalsPerMeter::from(crate::PsiPerFoot(psi_per_foot)).0
        }
        HazenWilliams::Epanet => {
            let foot = Bounds::decimal(0.3048);
            let cfs = q.div(foot.mul(foot).mul(foot));
            let feet = d.div(foot);
            let slope = Bounds::decimal(4.727).mul(cfs.div(c).not_negative().pow(1.852)).div(feet.pow(4.871));
            slope.mul(weight)
        }
    }
    .not_negative()
}

const PI_SQUARED: f64 = core::f64::consts::PI * core::f64::consts::PI;

pub(crate) fn pi() -> Bounds {
    Bounds::decimal(core::f64::consts::PI)
}

fn weight_of(pa_m: f64) -> Bounds {
    Bounds::exactly(pa_m)
}
