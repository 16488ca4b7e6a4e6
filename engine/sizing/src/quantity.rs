//! Quantities with the unit in the name, each a span of values.
//!
//! A formula says in its signature which unit it wants; the compiler refuses feet where metres belong. Conversion between
//! units of one kind is `into()` and rounds outward. (`uom`, which some older functions of this crate take, holds one
//! value, not a span.)

use core::fmt;

use crate::Bounds;

/// An input that a formula cannot take.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("the {which} of {} is not usable: give {want}", shown(*.lo, *.hi, .unit))]
pub struct Unusable {
    /// Which input.
    pub which: &'static str,
    /// Its lower end.
    pub lo: f64,
    /// Its upper end.
    pub hi: f64,
    /// Its unit.
    pub unit: &'static str,
    /// What would be usable.
    pub want: &'static str,
}

fn shown(lo: f64, hi: f64, unit: &str) -> String {
    let space = if unit.is_empty() { "" } else { " " };
    if lo == hi { format!("{lo}{space}{unit}") } else { format!("{lo} to {hi}{space}{unit}") }
}

/// The span, when it is finite and not below zero.
pub(crate) fn not_negative(which: &'static str, b: Bounds, unit: &'static str) -> Result<Bounds, Unusable> {
    if b.is_sound() && b.lo >= 0.0 {
        return Ok(b);
    }
    Err(Unusable {
        which,
        lo: b.lo,
        hi: b.hi,
        unit,
        want: "zero or more, and a largest value not below the least",
    })
}

/// The span, when it is finite and above zero.
pub(crate) fn above_zero(which: &'static str, b: Bounds, unit: &'static str) -> Result<Bounds, Unusable> {
    if b.is_sound() && b.lo > 0.0 {
        return Ok(b);
    }
    Err(Unusable {
        which,
        lo: b.lo,
        hi: b.hi,
        unit,
        want: "more than zero, and a largest value not below the least",
    })
}

/// The span, when both its ends are finite and in order.
pub(crate) fn finite(which: &'static str, b: Bounds, unit: &'static str) -> Result<Bounds, Unusable> {
    if b.is_sound() {
        return Ok(b);
    }
    Err(Unusable {
        which,
        lo: b.lo,
        hi: b.hi,
        unit,
        want: "two finite numbers, the largest not below the least",
    })
}

/// A result, when the arithmetic did not run out of numbers.
pub(crate) fn within_reach(which: &'static str, b: Bounds, unit: &'static str) -> Result<Bounds, Unusable> {
    if b.is_sound() {
        return Ok(b);
    }
    Err(Unusable { which, lo: b.lo, hi: b.hi, unit, want: "inputs of a size met in buildings" })
}

macro_rules! quantities {
    ($($(#[$doc:meta])* $name:ident $unit:literal;)*) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq)]
        pub struct $name(pub Bounds);

        impl $name {
            /// The unit's sign.
            pub const UNIT: &'static str = $unit;

            /// One value, known exactly.
            pub const fn exactly(value: f64) -> Self {
                $name(Bounds::exactly(value))
            }

            /// From `lo` to `hi`; `None` when an end is not finite or they are the wrong way round.
            pub fn span(lo: f64, hi: f64) -> Option<Self> {
                Bounds::new(lo, hi).map($name)
            }

            /// The least and the greatest value.
            pub const fn bounds(self) -> Bounds {
                self.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&shown(self.0.lo, self.0.hi, $unit))
            }
        }
    )*};
}

quantities! {
    /// Length, m.
    Meters "m";
    /// Length, ft.
    Feet "ft";
    /// Length, in.
    Inches "in";
    /// Area, m2.
    SquareMeters "m2";
    /// Area, square inches.
    SquareInches "sq in";
    /// Volume, m3.
    CubicMeters "m3";
    /// Volume, cubic feet.
    CubicFeet "cu ft";
    /// Volume, US gallons.
    Gallons "gal";
    /// Gauge pressure or a loss of pressure, Pa.
    Pascals "Pa";
    /// Gauge pressure or a loss of pressure, psi.
    Psi "psi";
    /// Gas pressure or its loss, inches of water column (conventional, 249.08891 Pa).
    InchesOfWater "in. w.c.";
    /// Pressure per length: friction in a pipe, or the weight of a fluid, Pa/m.
    PascalsPerMeter "Pa/m";
    /// Pressure per length, psi/ft.
    PsiPerFoot "psi/ft";
    /// Flow, m3/s.
    CubicMetersPerSecond "m3/s";
    /// Flow of water, US gallons per minute.
    GallonsPerMinute "gpm";
    /// Flow of gas, cubic feet per hour.
    CubicFeetPerHour "cfh";
    /// Rate of heat, W.
    Watts "W";
    /// Rate of heat, Btu/h (International Table).
    BtuPerHour "Btu/h";
    /// Speed, m/s.
    MetersPerSecond "m/s";
    /// Speed, ft/s.
    FeetPerSecond "ft/s";
    /// Temperature on its scale, K.
    Kelvins "K";
    /// Dynamic viscosity, Pa s.
    PascalSeconds "Pa s";
    /// Kinematic viscosity, m2/s.
    SquareMetersPerSecond "m2/s";
}

/// One customary unit in SI base units, as a quotient of two decimals so that each is stated once and exactly.
macro_rules! conversions {
    ($($from:ident = $num:literal / $den:literal $to:ident;)*) => {$(
        impl From<$from> for $to {
            fn from(value: $from) -> $to {
                $to(value.0.mul(Bounds::decimal($num)).div(Bounds::decimal($den)))
            }
        }
        impl From<$to> for $from {
            fn from(value: $to) -> $from {
                $from(value.0.mul(Bounds::decimal($den)).div(Bounds::decimal($num)))
            }
        }
    )*};
}

// The inch is 0.0254 m, the pound 0.453 592 37 kg, standard gravity 9.806 65 m/s2, the gallon 231 cubic inches: all exact
// (NIST Special Publication 811, appendix B). The Btu is the International Table one; the inch of water is the
// conventional one of the same appendix.
conversions! {
    Feet = 0.3048 / 1.0 Meters;
    Inches = 0.0254 / 1.0 Meters;
    SquareInches = 0.000_645_16 / 1.0 SquareMeters;
    CubicFeet = 0.028_316_846_592 / 1.0 CubicMeters;
    Gallons = 0.003_785_411_784 / 1.0 CubicMeters;
    Psi = 4.448_221_615_260_5 / 0.000_645_16 Pascals;
    InchesOfWater = 249.088_91 / 1.0 Pascals;
    PsiPerFoot = 4.448_221_615_260_5 / 0.000_196_644_768 PascalsPerMeter;
    GallonsPerMinute = 0.003_785_411_784 / 60.0 CubicMetersPerSecond;
    CubicFeetPerHour = 0.028_316_846_592 / 3600.0 CubicMetersPerSecond;
    BtuPerHour = 1_055.055_852_62 / 3600.0 Watts;
    FeetPerSecond = 0.3048 / 1.0 MetersPerSecond;
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn units_convert_to_their_definitions() {
        let near = |b: Bounds, x: f64| assert!(b.contains(x) && b.hi - b.lo <= 1e-14 * x, "{b:?} is not {x}");
        near(Pascals::from(Psi::exactly(1.0)).0, 6_894.757_293_168_361);
        near(Meters::from(Feet::exactly(60.0)).0, 18.288);
        near(PascalsPerMeter::from(PsiPerFoot::exactly(1.0)).0, 22_620.594_793_859_45);
        near(Watts::from(BtuPerHour::exactly(1000.0)).0, 293.071_070_172_222_2);
        near(GallonsPerMinute::from(CubicMetersPerSecond::exactly(0.003_785_411_784)).0, 60.0);
    }

    #[test]
    fn an_unusable_input_says_which_and_what_to_give() {
        let error = above_zero("pipe's length", Bounds { lo: -1.0, hi: 2.0 }, "m").expect_err("negative");
        assert_eq!(
            error.to_string(),
            "the pipe's length of -1 to 2 m is not usable: give more than zero, and a largest value not below the least"
        );
    }

    proptest! {
        #[test]
        fn a_unit_and_back_holds_the_start(x in 0.0..1e9f64) {
            prop_assert!(Feet::from(Meters::from(Feet::exactly(x))).0.contains(x));
            prop_assert!(Psi::from(Pascals::from(Psi::exactly(x))).0.contains(x));
        }
    }
}
