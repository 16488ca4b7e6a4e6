//! Dimensions and units. Every unit is a whole or fractional number of ticks of one coherent set, so that products and
//! quotients need no conversion and `24 in`, `2 ft` and `609.6 mm` are the same number.
//!
//! Ticks: length 3.125 um (1 in = 8128, 1 mm = 320), mass so that 1 psi = 44,482,216,152,605 and 1 Pa = 6,451,600,000,
//! time 1 s, temperature 1/900 K. The inch is 25.4 mm and the pound-force 4.4482216152605 N by definition; the US gallon
//! is 231 cubic inches; the BTU is the International Table one, 1055.05585262 J; an inch of water is the conventional
//! 249.08891 Pa and an inch of mercury 3386.389 Pa (NIST SP 811, Appendix B).

use crate::rational::Rational;
use serde::Serialize;

/// Exponents of length, mass, time, temperature, drainage fixture units and supply fixture units.
///
/// The two fixture units are dimensions of their own, so that adding one to the other is an error.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize)]
pub struct Dimension(pub [i8; 6]);

impl Dimension {
    /// Plain numbers.
    pub const NONE: Dimension = Dimension([0; 6]);
    /// Length.
    pub const LENGTH: Dimension = Dimension([1, 0, 0, 0, 0, 0]);
    /// Area.
    pub const AREA: Dimension = Dimension([2, 0, 0, 0, 0, 0]);
    /// Volume.
    pub const VOLUME: Dimension = Dimension([3, 0, 0, 0, 0, 0]);
    /// Volume a time.
    pub const FLOW: Dimension = Dimension([3, 0, -1, 0, 0, 0]);
    /// Length a time.
    pub const VELOCITY: Dimension = Dimension([1, 0, -1, 0, 0, 0]);
    /// Force an area.
    pub const PRESSURE: Dimension = Dimension([-1, 1, -2, 0, 0, 0]);
    /// Energy a time.
    pub const HEAT: Dimension = Dimension([2, 1, -3, 0, 0, 0]);
    /// Time.
    pub const TIME: Dimension = Dimension([0, 0, 1, 0, 0, 0]);
    /// Temperature, a point or a difference: see [`Tag`].
    pub const TEMPERATURE: Dimension = Dimension([0, 0, 0, 1, 0, 0]);
    /// Drainage fixture units.
    pub const DFU: Dimension = Dimension([0, 0, 0, 0, 1, 0]);
    /// Water supply fixture units.
    pub const WSFU: Dimension = Dimension([0, 0, 0, 0, 0, 1]);

    pub(crate) fn times(self, other: Dimension, sign: i8) -> Option<Dimension> {
        let mut out = [0; 6];
        for (i, slot) in out.iter_mut().enumerate() {
            *slot = self.0[i].checked_add(other.0[i].checked_mul(sign)?)?;
        }
        Some(Dimension(out))
    }
}

/// What tells quantities of one dimension apart where mixing them would be a mistake.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Tag {
    /// Nothing special.
    #[default]
    Plain,
    /// Fall along a pipe: a ratio, but not comparable with a count.
    Slope,
    /// A temperature on its scale, as against a difference of two.
    Point,
}

/// The type of a quantity.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize)]
pub struct QuantityType {
    /// Its dimension.
    pub dimension: Dimension,
    /// What else tells it apart.
    pub tag: Tag,
}

impl QuantityType {
    /// Plain numbers and counts.
    pub const NUMBER: QuantityType = QuantityType { dimension: Dimension::NONE, tag: Tag::Plain };

    pub(crate) const fn plain(dimension: Dimension) -> QuantityType {
        QuantityType { dimension, tag: Tag::Plain }
    }

    /// The name a person calls it by: `length`, `temperature difference`, `length x length / time`.
    pub fn name(self) -> String {
        for (name, ty) in NAMED {
            if *ty == self {
                return (*name).to_owned();
            }
        }
        if self.dimension == Dimension::TEMPERATURE {
            return "temperature difference".to_owned();
        }
        let bases = ["length", "mass", "time", "temperature", "dfu", "wsfu"];
        let side = |positive: bool| {
            let words: Vec<String> = bases
                .iter()
                .zip(self.dimension.0)
                .filter(|(_, e)| if positive { *e > 0 } else { *e < 0 })
                .map(|(b, e)| if e.abs() == 1 { (*b).to_owned() } else { format!("{b}^{}", e.abs()) })
                .collect();
            words.join(" x ")
        };
        match (side(true), side(false)) {
            (above, below) if below.is_empty() => above,
            (above, below) if above.is_empty() => format!("1 / ({below})"),
            (above, below) => format!("{above} / ({below})"),
        }
    }
}

/// Names of quantity types as a vocabulary writes them.
pub(crate) const NAMED: &[(&str, QuantityType)] = &[
    ("length", QuantityType::plain(Dimension::LENGTH)),
    ("area", QuantityType::plain(Dimension::AREA)),
    ("volume", QuantityType::plain(Dimension::VOLUME)),
    ("flow", QuantityType::plain(Dimension::FLOW)),
    ("velocity", QuantityType::plain(Dimension::VELOCITY)),
    ("pressure", QuantityType::plain(Dimension::PRESSURE)),
    ("heat", QuantityType::plain(Dimension::HEAT)),
    ("time", QuantityType::plain(Dimension::TIME)),
    ("temperature", QuantityType { dimension: Dimension::TEMPERATURE, tag: Tag::Point }),
    ("slope", QuantityType { dimension: Dimension::NONE, tag: Tag::Slope }),
    ("dfu", QuantityType::plain(Dimension::DFU)),
    ("wsfu", QuantityType::plain(Dimension::WSFU)),
    ("count", QuantityType::NUMBER),
    ("number", QuantityType::NUMBER),
];

/// A unit: `ticks = value * factor + offset`.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Unit {
    pub name: &'static str,
    pub aliases: &'static [&'static str],
    pub ty: QuantityType,
    num: i128,
    den: i128,
    offset: i128,
    /// Written as tape fractions rather than decimals.
    pub fractions: bool,
}

const fn unit(
    name: &'static str,
    aliases: &'static [&'static str],
    dimension: Dimension,
    num: i128,
    den: i128,
) -> Unit {
    Unit { name, aliases, ty: QuantityType::plain(dimension), num, den, offset: 0, fractions: false }
}

const fn tape(mut unit: Unit) -> Unit {
    unit.fractions = true;
    unit
}

const fn tagged(mut unit: Unit, tag: Tag, offset: i128) -> Unit {
    unit.ty.tag = tag;
    unit.offset = offset;
    unit
}

const IN: i128 = 8128;
const FT: i128 = 12 * IN;
const M: i128 = 320_000;
const GAL: i128 = 231 * IN * IN * IN;
const LITRE: i128 = 32_000 * 32_000 * 32_000;
const PA: i128 = 6_451_600_000;
const WATT: i128 = PA * M * M * M;

/// Every unit, the usual ones of a dimension first.
pub(crate) const UNITS: &[Unit] = &[
    tape(unit("in", &["inch", "inches", "\"", "\u{2033}", "\u{201d}"], Dimension::LENGTH, IN, 1)),
    tape(unit("ft", &["foot", "feet", "'", "\u{2032}", "\u{2019}"], Dimension::LENGTH, FT, 1)),
    unit("mm", &[], Dimension::LENGTH, 320, 1),
    unit("cm", &[], Dimension::LENGTH, 3200, 1),
    unit("m", &[], Dimension::LENGTH, M, 1),
    unit("in2", &["sqin"], Dimension::AREA, IN * IN, 1),
    unit("ft2", &["sqft"], Dimension::AREA, FT * FT, 1),
    unit("mm2", &[], Dimension::AREA, 320 * 320, 1),
    unit("cm2", &[], Dimension::AREA, 3200 * 3200, 1),
    unit("m2", &[], Dimension::AREA, M * M, 1),
    unit("gal", &["gallon", "gallons"], Dimension::VOLUME, GAL, 1),
    unit("qt", &[], Dimension::VOLUME, GAL, 4),
    unit("L", &["l", "litre", "liter"], Dimension::VOLUME, LITRE, 1),
    unit("mL", &["ml"], Dimension::VOLUME, LITRE, 1000),
    unit("ft3", &["cuft"], Dimension::VOLUME, FT * FT * FT, 1),
    unit("in3", &[], Dimension::VOLUME, IN * IN * IN, 1),
    unit("m3", &[], Dimension::VOLUME, M * M * M, 1),
    unit("gpm", &["gal/min"], Dimension::FLOW, GAL, 60),
    unit("gph", &["gal/h"], Dimension::FLOW, GAL, 3600),
    unit("L/s", &["l/s"], Dimension::FLOW, LITRE, 1),
    unit("L/min", &["l/min"], Dimension::FLOW, LITRE, 60),
    unit("cfh", &["ft3/h"], Dimension::FLOW, FT * FT * FT, 3600),
    unit("cfm", &["ft3/min"], Dimension::FLOW, FT * FT * FT, 60),
    unit("ft/s", &["fps"], Dimension::VELOCITY, FT, 1),
    unit("m/s", &[], Dimension::VELOCITY, M, 1),
    unit("psi", &["psig"], Dimension::PRESSURE, 44_482_216_152_605, 1),
    unit("kPa", &["kpa"], Dimension::PRESSURE, 1000 * PA, 1),
    unit("Pa", &["pa"], Dimension::PRESSURE, PA, 1),
    unit("bar", &[], Dimension::PRESSURE, 100_000 * PA, 1),
    unit("inwc", &["inH2O"], Dimension::PRESSURE, 24_908_891 * PA, 100_000),
    unit("inhg", &["inHg"], Dimension::PRESSURE, 3_386_389 * PA, 1000),
    // 1 BTU/h = 1055.05585262 J / 3600 s; the shared factor 36 is taken out so that the numerator fits.
    unit(
        "btu/h",
        &["BTU/h", "Btu/h", "btuh", "BTUh"],
        Dimension::HEAT,
        105_505_585_262 * (WATT / 100_000_000),
        3600,
    ),
    unit("W", &["w"], Dimension::HEAT, WATT, 1),
    unit("kW", &["kw"], Dimension::HEAT, 1000 * WATT, 1),
    unit("s", &["sec"], Dimension::TIME, 1, 1),
    unit("min", &["minutes", "minute"], Dimension::TIME, 60, 1),
    unit("h", &["hours", "hour"], Dimension::TIME, 3600, 1),
    unit("d", &["days", "day"], Dimension::TIME, 86_400, 1),
    // t(F) + 459.67 degrees of 5/9 K each, 900 ticks a kelvin: 500 ticks a degree and 229,835 ticks at 0 F.
    tagged(unit("F", &["f", "\u{b0}F"], Dimension::TEMPERATURE, 500, 1), Tag::Point, 229_835),
    tagged(unit("C", &["c", "\u{b0}C"], Dimension::TEMPERATURE, 900, 1), Tag::Point, 245_835),
    tagged(unit("K", &[], Dimension::TEMPERATURE, 900, 1), Tag::Point, 0),
    unit("F_diff", &[], Dimension::TEMPERATURE, 500, 1),
    unit("C_diff", &[], Dimension::TEMPERATURE, 900, 1),
    tape(tagged(unit("in/ft", &[], Dimension::NONE, 1, 12), Tag::Slope, 0)),
    tagged(unit("mm/m", &[], Dimension::NONE, 1, 1000), Tag::Slope, 0),
    tagged(unit("%", &["percent"], Dimension::NONE, 1, 100), Tag::Slope, 0),
    unit("dfu", &["DFU"], Dimension::DFU, 1, 1),
    unit("wsfu", &["WSFU"], Dimension::WSFU, 1, 1),
];

impl Unit {
    fn factor(&self) -> Rational {
        Rational::new(self.num, self.den).unwrap_or(Rational::ONE)
    }

    /// Ticks of `value` in this unit, if they fit.
    pub fn to_ticks(self, value: Rational) -> Option<Rational> {
        let ticks = value.mul(self.factor())?;
        if self.offset == 0 { Some(ticks) } else { ticks.add(Rational::whole(self.offset)) }
    }

    /// The value in this unit of so many ticks, if it fits.
    pub fn of_ticks(self, ticks: Rational) -> Option<Rational> {
        let ticks = if self.offset == 0 { ticks } else { ticks.sub(Rational::whole(self.offset))? };
        ticks.div(self.factor())
    }

    /// `23-5/8 in`, `609.6 mm`, `120 F`; exact, and read back to the same number.
    pub fn write(self, ticks: Rational) -> String {
        let Some(value) = self.of_ticks(ticks) else { return format!("({ticks} ticks)") };
        format!("{} {}", write_number(value, self.fractions), self.name)
    }
}

/// A plain number, as fractions where a tape or table would have them, as decimals otherwise.
pub(crate) fn write_number(value: Rational, fractions: bool) -> String {
    let tape = value.denominator().unsigned_abs().is_power_of_two() && value.denominator() <= 64;
    if fractions && tape {
        return value.mixed();
    }
    value.decimal(6).unwrap_or_else(|| value.mixed())
}

/// The unit of that name or alias.
pub(crate) fn find_unit(name: &str) -> Option<&'static Unit> {
    UNITS.iter().find(|u| u.name == name || u.aliases.contains(&name))
}

/// The usual unit of a type, if it has one.
pub(crate) fn usual_unit(ty: QuantityType) -> Option<&'static Unit> {
    UNITS.iter().find(|u| u.ty == ty)
}

/// The names of the units of a type, the usual one first.
pub(crate) fn unit_names(ty: QuantityType) -> Vec<&'static str> {
    UNITS.iter().filter(|u| u.ty == ty).map(|u| u.name).collect()
}

/// Ticks in one SI base unit of the type, for handing numbers to and from formulas.
pub(crate) fn ticks_per_si(ty: QuantityType) -> Option<Rational> {
    let [l, m, t, k, ..] = ty.dimension.0;
    let power = |base: Rational, exponent: i8| -> Option<Rational> {
        let mut out = Rational::ONE;
        for _ in 0..exponent.unsigned_abs() {
            out = if exponent > 0 { out.mul(base)? } else { out.div(base)? };
        }
        Some(out)
    };
    let _ = t;
    // 1 kg = PA * M mass ticks, since 1 Pa = 1 kg / (m s^2) = PA ticks.
    power(Rational::whole(M), l)?
        .mul(power(Rational::whole(PA.checked_mul(M)?), m)?)?
        .mul(power(Rational::whole(900), k)?)
}

/// The nominal pipe sizes, smallest first. An ordered enumeration, not lengths: a 2 in pipe's bore is not 2 in.
pub(crate) const NOMINAL: &[(&str, i128, i128)] = &[
    ("1/8", 1, 8),
    ("1/4", 1, 4),
    ("3/8", 3, 8),
    ("1/2", 1, 2),
    ("5/8", 5, 8),
    ("3/4", 3, 4),
    ("1", 1, 1),
    ("1-1/4", 5, 4),
    ("1-1/2", 3, 2),
    ("2", 2, 1),
    ("2-1/2", 5, 2),
    ("3", 3, 1),
    ("3-1/2", 7, 2),
    ("4", 4, 1),
    ("5", 5, 1),
    ("6", 6, 1),
    ("8", 8, 1),
    ("10", 10, 1),
    ("12", 12, 1),
    ("15", 15, 1),
];

/// The place of a nominal size in the order, by the number it is called by.
pub(crate) fn nominal_index(value: Rational) -> Option<u8> {
    let at = NOMINAL.iter().position(|(_, n, d)| Rational::new(*n, *d) == Some(value))?;
    u8::try_from(at).ok()
}

/// The nominal size as a length in ticks.
pub(crate) fn nominal_length(index: u8) -> Rational {
    let (_, num, den) = NOMINAL[usize::from(index).min(NOMINAL.len() - 1)];
    Rational::new(num * IN, den).unwrap_or(Rational::ZERO)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ticks(value: (i128, i128), unit: &str) -> Rational {
        find_unit(unit).unwrap().to_ticks(Rational::new(value.0, value.1).unwrap()).unwrap()
    }

    #[test]
    fn one_length_in_three_spellings_is_one_number() {
        assert_eq!(ticks((24, 1), "in"), ticks((6096, 10), "mm"));
        assert_eq!(ticks((24, 1), "in"), ticks((2, 1), "ft"));
    }

    #[test]
    #[expect(clippy::type_complexity, reason = "a table of the test")]
    fn published_conversions_hold() {
        // NIST SP 811, Appendix B.8: exact or conventional values.
        let table: &[((i128, i128), &str, (i128, i128), &str)] = &[
            ((1, 1), "gal", (3_785_411_784, 1_000_000_000), "L"),
            ((1, 1), "ft3", (28_316_846_592, 1_000_000_000), "L"),
            ((212, 1), "F", (100, 1), "C"),
            ((32, 1), "F", (0, 1), "C"),
            ((0, 1), "C", (27315, 100), "K"),
            ((1, 1), "inwc", (24_908_891, 100_000), "Pa"),
            ((3600, 1), "btu/h", (105_505_585_262, 100_000_000), "W"),
            ((1, 1), "m", (1000, 1), "mm"),
            ((60, 1), "gpm", (3_785_411_784, 1_000_000_000), "L/s"),
            ((1, 1), "bar", (100, 1), "kPa"),
        ];
        for (a, ua, b, ub) in table {
            assert_eq!(ticks(*a, ua), ticks(*b, ub), "{a:?} {ua} = {b:?} {ub}");
        }
        // 1 psi = 44482216152605 / 6451600000 Pa.
        assert_eq!(ticks((1, 1), "psi"), ticks((44_482_216_152_605, 6_451_600_000), "Pa"));
    }

    #[test]
    fn units_are_coherent() {
        // Products of units are the unit of the product: 1 m x 1 m2 = 1 m3, 1 Pa x 1 m3/s = 1 W.
        assert_eq!(ticks((1, 1), "m").mul(ticks((1, 1), "m2")), Some(ticks((1, 1), "m3")));
        let cubic_metre_a_second = ticks((1000, 1), "L/s");
        assert_eq!(ticks((1, 1), "Pa").mul(cubic_metre_a_second), Some(ticks((1, 1), "W")));
        for (name, si) in
            [("length", "m"), ("volume", "m3"), ("pressure", "Pa"), ("heat", "W"), ("temperature", "K")]
        {
            let ty = NAMED.iter().find(|(n, _)| *n == name).unwrap().1;
            assert_eq!(ticks_per_si(ty), Some(ticks((1, 1), si)), "{name}");
        }
    }

    #[test]
    fn what_is_written_reads_back() {
        for unit in UNITS {
            let value = Rational::new(17, 8).unwrap();
            let text = unit.write(unit.to_ticks(value).unwrap());
            let number = text.split(' ').next().unwrap();
            let expected = if unit.fractions { "2-1/8" } else { "2.125" };
            assert_eq!(number, expected, "{}", unit.name);
        }
    }
}
