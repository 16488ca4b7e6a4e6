//! Formulas that a rule may call by name: flat functions of SI base units, bounds in and bounds out.
//!
//! Lengths in m, areas in m2, volumes in m3, flows in m3/s, pressures in Pa (gauge), temperatures in K, heat in W, speeds
//! in m/s; numbers without a unit as they are. An error is a sentence for the one who recorded the facts. Tables do not
//! pass through here: a ruleset looks its own tables up.
//!
//! [`FUNCTIONS`] lists them all, with the type of each parameter in the words of the rule language and the formula to
//! show beside a result.

use crate::gas::{GasForm, gas_capacity_high as high, gas_capacity_low as low};
use crate::pipe::{HazenWilliams, Law, Pipe, pi};
use crate::quantity::*;
use crate::viscosity::{STANDARD_GRAVITY, Water};
use crate::{Bounds, VolumeRate};

/// A function and what may be said of it.
#[derive(Debug, Clone, Copy)]
pub struct Formula {
    /// Name, as a rule calls it and as this module names it.
    pub name: &'static str,
    /// Name and type of each parameter.
    pub params: &'static [(&'static str, &'static str)],
    /// Type of the result.
    pub result: &'static str,
    /// The formula, in the parameters' names.
    pub formula: &'static str,
    /// Where it comes from.
    pub source: &'static str,
    /// The function itself over a slice; an error when the number of arguments is another.
    pub call: fn(&[Bounds]) -> Result<Bounds, String>,
}

macro_rules! formulas {
    ($(
        $(#[$doc:meta])*
        fn $name:ident($($param:ident: $ty:literal),* $(,)?) -> $result:literal {
            formula: $formula:literal,
            source: $source:literal,
            $body:expr
        }
    )*) => {
        $(
            $(#[$doc])*
            #[doc = concat!("\n`", $formula, "`\n\nSource: ", $source, "\n")]
            ///
            /// # Errors
            /// An input out of range, named, with what would be usable.
            pub fn $name($($param: Bounds),*) -> Result<Bounds, String> {
                $body
            }
        )*

        /// Every function of this module.
        pub const FUNCTIONS: &[Formula] = &[$(Formula {
            name: stringify!($name),
            params: &[$((stringify!($param), $ty)),*],
            result: $result,
            formula: $formula,
            source: $source,
            call: |arguments| {
                let [$($param),*] = arguments else {
                    let wanted: &[&str] = &[$(stringify!($param)),*];
                    return Err(format!(
                        "{} takes {} values ({}), not {}",
                        stringify!($name), wanted.len(), wanted.join(", "), arguments.len()
                    ));
                };
                $name($(*$param),*)
            },
        }),*];
    };
}

formulas! {
    /// Growth of stored water when heated.
    fn expansion(volume: "volume", cold: "temperature", hot: "temperature", line: "pressure") -> "volume" {
        formula: "volume x (density(cold) / density(hot) - 1), densities at line pressure",
        source: "density by G. S. Kell, 1975",
        said(crate::expansion(volume, cold, hot, line))
    }

    /// Volume of the expansion tank, precharged to line pressure.
    fn expansion_tank(volume: "volume", cold: "temperature", hot: "temperature", line: "pressure", most: "pressure") -> "volume" {
        formula: "volume x (density(cold) / density(hot) - 1) / (1 - (line + air) / (most + air)), air = 101325 Pa",
        source: "Boyle's law; density by G. S. Kell, 1975",
        said(crate::expansion_tank(volume, cold, hot, line, most))
    }

    /// Friction loss of a pipe by Hazen and Williams, NFPA 13's constants.
    fn hazen_williams_loss(flow: "flow", inside: "length", run: "length", c: "number") -> "pressure" {
        formula: "4.52 x flow^1.85 / (c^1.85 x inside^4.87) x run, psi with gpm, in and ft",
        source: "NFPA 13",
        friction(flow, inside, run, Law::HazenWilliams { c, form: HazenWilliams::Nfpa13 }, conventional())
    }

    /// Friction loss of a pipe by Darcy, Weisbach and Colebrook, with the water's viscosity at its temperature.
    fn darcy_loss(flow: "flow", inside: "length", run: "length", roughness: "length", temperature: "temperature") -> "pressure" {
        formula: "f x run / inside x density x speed^2 / 2, 1/sqrt(f) = -2 log10(roughness / (3.7 inside) + 2.51 / (Re sqrt(f))), f = 64/Re below Re 2000",
        source: "C. F. Colebrook, 1939; viscosity by IAPWS R12-08, density by G. S. Kell, 1975, at no gauge pressure",
        Water::at(Kelvins(temperature), Pascals::exactly(0.0)).map_err(|e| e.to_string()).and_then(|water| {
            friction(flow, inside, run, Law::Colebrook { roughness: Meters(roughness) }, water)
        })
    }

    /// Mean speed in a full pipe.
    fn pipe_speed(flow: "flow", inside: "length") -> "velocity" {
        formula: "flow / (pi x inside^2 / 4)",
        source: "geometry",
        speed(flow, inside)
    }

    /// Flow that runs at a speed in a full pipe.
    fn flow_at_speed(speed: "velocity", inside: "length") -> "flow" {
        formula: "speed x pi x inside^2 / 4",
        source: "geometry",
        (|| {
            let v = not_negative("speed", speed, "m/s")?;
            let d = above_zero("inside diameter", inside, "m")?;
            within_reach("flow", v.mul(pi()).mul(d.mul(d)).div(Bounds::exactly(4.0)).not_negative(), "m3/s")
        })()
        .map_err(|e: Unusable| e.to_string())
    }

    /// Pressure of a column of water, at 0.433 psi a foot as the trade reckons (62.4 lb/cu ft).
    fn static_head(height: "length") -> "pressure" {
        formula: "height x 62.4 lb/cu ft",
        source: "water near 60 F; IPC Appendix E reckons with 0.433 psi/ft (secondary)",
        said(crate::static_head(Meters(height), conventional().weight).map(Pascals::bounds))
    }

    /// Total head of a pump: height and friction, Hazen-Williams with EPANET's constants.
    fn pump_head(height: "length", flow: "flow", inside: "length", run: "length", fittings: "length", c: "number") -> "length" {
        formula: "height + 4.727 x flow^1.852 / (c^1.852 x inside^4.871) x (run + fittings), ft with cfs and ft",
        source: "EPANET 2 Users Manual, table 3.1",
        said(crate::pump_head(
            Meters(height),
            CubicMetersPerSecond(flow),
            &Pipe {
                inside: Meters(inside),
                length: Meters(run),
                equivalent: Meters(fittings),
                minor: Bounds::exactly(0.0),
                law: Law::HazenWilliams { c, form: HazenWilliams::Epanet },
            },
            &conventional(),
        ).map(Meters::bounds))
    }

    /// Capacity of gas pipe below 1.5 psi by the codes' equation.
    fn gas_capacity_low(inside: "length", run: "length", drop: "pressure", factor: "number") -> "flow" {
        formula: "(19.17 x inside x (drop / (factor x run))^0.206)^(1/0.381), cfh with in, inwc and ft",
        source: "low pressure gas equation of IFGC and NFPA 54 (from memory, checked against published tables); factor is Cr",
        said(low(Meters(inside).into(), Meters(run).into(), Pascals(drop).into(), factor, GasForm::Diameter)
            .map(|q| CubicMetersPerSecond::from(q).bounds()))
    }

    /// Capacity of gas pipe at 1.5 psi and up by the codes' equation.
    fn gas_capacity_high(inside: "length", run: "length", start: "pressure", end: "pressure", factor: "number", y: "number") -> "flow" {
        formula: "(18.93 x inside x ((start^2 - end^2) x y / (factor x run))^0.206)^(1/0.381), cfh with in, psi absolute (gauge + 14.7) and ft",
        source: "high pressure gas equation of IFGC and NFPA 54 (from memory, checked against published tables); factor is Cr",
        said(high(Meters(inside).into(), Meters(run).into(), Pascals(start).into(), Pascals(end).into(), factor, y, GasForm::Diameter)
            .map(|q| CubicMetersPerSecond::from(q).bounds()))
    }

    /// Pressure that a gas flow loses in a pipe below 1.5 psi by the codes' equation.
    fn gas_drop_low(inside: "length", run: "length", flow: "flow", factor: "number") -> "pressure" {
        formula: "factor x run x (flow^0.381 / (19.17 x inside))^(1/0.206), inwc with cfh, in and ft",
        source: "low pressure gas equation of IFGC and NFPA 54 (from memory, checked against published tables); factor is Cr",
        said(crate::gas_drop_low(Meters(inside).into(), Meters(run).into(), CubicMetersPerSecond(flow).into(), factor, GasForm::Diameter)
            .map(|drop| Pascals::from(drop).bounds()))
    }

    /// Factor Cr of a gas.
    fn gas_factor(gravity: "number", temperature: "temperature", centipoise: "number") -> "number" {
        formula: "0.00354 x gravity x temperature x (centipoise / gravity)^0.152, degrees Rankine",
        source: "printed beside the gas equations (from memory; gives their printed 0.6094 and 1.2462)",
        said(crate::gas_factor(gravity, temperature.mul(Bounds::decimal(1.8)), centipoise))
    }

    /// Flow of gas that carries an input of heat.
    fn gas_flow(input: "heat", heating_heat: "heat", heating_flow: "flow") -> "flow" {
        formula: "input / (heating_heat / heating_flow): 1000 btu/h at 1 cfh is 1000 Btu a cubic foot",
        source: "definition of the heating value",
        (|| {
            let input = not_negative("input", input, "W")?;
            let heat = above_zero("heat of the heating value", heating_heat, "W")?;
            let flow = above_zero("flow of the heating value", heating_flow, "m3/s")?;
            within_reach("gas flow", input.mul(flow).div(heat).not_negative(), "m3/s")
        })()
        .map_err(|e: Unusable| e.to_string())
    }

    /// Volume of space for combustion air, standard method.
    fn combustion_air_volume(input: "heat", rate_volume: "volume", rate_input: "heat") -> "volume" {
        formula: "input / rate_input x rate_volume",
        source: "the rate is the code's",
        said(crate::combustion_air_volume(
            Watts(input),
            VolumeRate { volume: CubicMeters(rate_volume), input: Watts(rate_input) },
        ).map(CubicMeters::bounds))
    }

    /// Volume of space for combustion air, known-air-infiltration-rate method.
    fn combustion_air_volume_known_rate(
        natural: "heat", fan: "heat", changes: "number", most_changes: "number",
        natural_volume: "volume", fan_volume: "volume", rate_input: "heat",
    ) -> "volume" {
        formula: "(natural x natural_volume + fan x fan_volume) / rate_input / min(changes, most_changes), changes an hour",
        source: "the rates are the code's",
        (|| {
            let most = above_zero("greatest air changes an hour", most_changes, "")?;
            let known = above_zero("air changes an hour", changes, "")?;
            let changes = known.least(most);
            let rate = |volume: Bounds| VolumeRate { volume: CubicMeters(volume), input: Watts(rate_input) };
            let inputs = [(Watts(natural), rate(natural_volume)), (Watts(fan), rate(fan_volume))];
            crate::combustion_air_volume_known_rate(&inputs, changes, changes.hi).map(CubicMeters::bounds)
        })()
        .map_err(|e: Unusable| e.to_string())
    }

    /// Free area of an opening for combustion air.
    fn combustion_opening(input: "heat", rate_input: "heat", rate_area: "area") -> "area" {
        formula: "input / rate_input x rate_area",
        source: "the rate is the code's",
        said(crate::combustion_opening(Watts(input), Watts(rate_input), SquareMeters(rate_area)).map(SquareMeters::bounds))
    }

    /// Water that a heater heats.
    fn heater_recovery(input: "heat", efficiency: "number", cold: "temperature", hot: "temperature") -> "flow" {
        formula: "input x efficiency / (8.32 Btu a gallon and degree F x (hot - cold))",
        source: "convention of the HUD minimum property standards' table (8.32 lb a gallon near 80 F, 1 Btu a pound and degree)",
        (|| {
            let cold = finite("cold temperature", cold, "K")?;
            let hot = finite("hot temperature", hot, "K")?;
            // 1055.05585262 J x 1.8 / 0.003785411784 m3.
            let heat = Bounds::decimal(8.32)
                .mul(Bounds::decimal(1_055.055_852_62))
                .mul(Bounds::decimal(1.8))
                .div(Bounds::decimal(0.003_785_411_784));
            crate::heater_recovery(Watts(input), efficiency, heat, hot.sub(cold)).map(CubicMetersPerSecond::bounds)
        })()
        .map_err(|e: Unusable| e.to_string())
    }
}

fn said<E: core::fmt::Display>(result: Result<Bounds, E>) -> Result<Bounds, String> {
    result.map_err(|e| e.to_string())
}

/// Water as the trade reckons: 62.4 lb/cu ft. Without viscosity, which only Darcy and Weisbach ask for.
fn conventional() -> Water {
    let pound_force = Bounds::decimal(0.453_592_37).mul(Bounds::decimal(STANDARD_GRAVITY));
    Water {
        weight: PascalsPerMeter(
            Bounds::decimal(62.4).mul(pound_force).div(Bounds::decimal(0.028_316_846_592)),
        ),
        viscosity: SquareMetersPerSecond::exactly(0.0),
        gravity: Bounds::decimal(STANDARD_GRAVITY),
    }
}

fn friction(flow: Bounds, inside: Bounds, run: Bounds, law: Law, water: Water) -> Result<Bounds, String> {
    let pipe = Pipe {
        inside: Meters(inside),
        length: Meters(run),
        equivalent: Meters::exactly(0.0),
        minor: Bounds::exactly(0.0),
        law,
    };
    said(pipe.loss(CubicMetersPerSecond(flow), &water).map(|loss| loss.friction.bounds()))
}

fn speed(flow: Bounds, inside: Bounds) -> Result<Bounds, String> {
    let law = Law::HazenWilliams { c: Bounds::exactly(1.0), form: HazenWilliams::Nfpa13 };
    let pipe = Pipe {
        inside: Meters(inside),
        length: Meters::exactly(0.0),
        equivalent: Meters::exactly(0.0),
        minor: Bounds::exactly(0.0),
        law,
    };
    said(pipe.loss(CubicMetersPerSecond(flow), &conventional()).map(|loss| loss.velocity.bounds()))
}
