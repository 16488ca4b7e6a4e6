use crownweir_sizing::host::{self, FUNCTIONS};
use crownweir_sizing::{
    Bounds, BtuPerHour, CubicFeet, CubicFeetPerHour, CubicMeters, CubicMetersPerSecond, Feet, Gallons,
    GallonsPerMinute, Inches, InchesOfWater, Meters, Pascals, Psi, Watts,
};
use proptest::prelude::*;

use crate::common::{exactly, near};
use crate::pipes::fahrenheit;

fn feet(x: f64) -> Bounds {
    Meters::from(Feet::exactly(x)).bounds()
}

fn inches(x: f64) -> Bounds {
    Meters::from(Inches::exactly(x)).bounds()
}

fn psi(x: f64) -> Bounds {
    Pascals::from(Psi::exactly(x)).bounds()
}

fn gpm(x: f64) -> Bounds {
    CubicMetersPerSecond::from(GallonsPerMinute::exactly(x)).bounds()
}

fn btu(x: f64) -> Bounds {
    Watts::from(BtuPerHour::exactly(x)).bounds()
}

/// A value for each function, with an answer known from elsewhere.
fn known() -> Vec<(&'static str, Vec<Bounds>, f64, f64)> {
    let f = |x: f64| fahrenheit(x).bounds();
    let gallon = CubicMeters::from(Gallons::exactly(1.0)).bounds().middle();
    let cubic_foot = CubicMeters::from(CubicFeet::exactly(1.0)).bounds().middle();
    let fifty = CubicMeters::from(Gallons::exactly(50.0)).bounds();
    let (psi_pa, cfh, inch2) = (
        psi(1.0).middle(),
        CubicMetersPerSecond::from(CubicFeetPerHour::exactly(1.0)).bounds(),
        0.0254 * 0.0254,
    );
    vec![
        // ref-expansion.csv: 50 gal, 50 to 140 F at 60 psig.
        ("expansion", vec![fifty, f(50.0), f(140.0), psi(60.0)], 0.840_13 * gallon, 1e-4),
        // 0.84013 gal over 1 - 74.696/94.696.
        ("expansion_tank", vec![fifty, f(50.0), f(140.0), psi(60.0), psi(80.0)], 3.977_85 * gallon, 1e-4),
        // Worked example 11: 12 gpm, 3/4 in copper L, C 150: 13.735 psi/100 ft at 7.955 ft/s.
        (
            "hazen_williams_loss",
            vec![gpm(12.0), inches(0.785), feet(100.0), exactly(150.0)],
            13.735 * psi_pa,
            1e-4,
        ),
        // ref-friction.csv, 1/2 in copper L, 3 gpm, 60 F (there at 60 psig, which moves it by less than 1e-3).
        (
            "darcy_loss",
            vec![gpm(3.0), inches(0.545), feet(100.0), exactly(1.5e-6), f(60.0)],
            6.9425 * psi_pa,
            2e-2,
        ),
        ("pipe_speed", vec![gpm(12.0), inches(0.785)], 7.955 * 0.3048, 1e-4),
        ("flow_at_speed", vec![exactly(7.955 * 0.3048), inches(0.785)], gpm(12.0).middle(), 1e-4),
        ("static_head", vec![feet(10.0)], 4.333_333 * psi_pa, 1e-6),
        (
            "pump_head",
            vec![feet(12.0), gpm(21.0), inches(2.067), feet(80.0), feet(20.0), exactly(150.0)],
            (12.0 + 0.798_409) * 0.3048,
            1e-6,
        ),
        // Worked example G6.
        (
            "gas_capacity_low",
            vec![
                inches(0.824),
                feet(60.0),
                Pascals::from(InchesOfWater::exactly(0.5)).bounds(),
                exactly(0.6094),
            ],
            137.4 * cfh.middle(),
            1e-3,
        ),
        // gas-table-rows-published.csv, Table 402.4(6), 1/2 in at 10 ft: the equation gives 2360.1.
        (
            "gas_capacity_high",
            vec![inches(0.622), feet(10.0), psi(3.0), psi(1.0), exactly(0.6094), exactly(0.9992)],
            2_360.1 * cfh.middle(),
            1e-4,
        ),
        // Worked example G7, section A.
        (
            "gas_drop_low",
            vec![inches(1.049), feet(15.0), exactly(220.0 * cfh.middle()), exactly(0.6094)],
            0.0925 * 249.088_91,
            1e-3,
        ),
        ("gas_factor", vec![exactly(0.6), exactly(520.0 / 1.8), exactly(0.012)], 0.609_42, 1e-5),
        // Worked example G9.
        ("gas_flow", vec![btu(220_000.0), btu(1050.0), cfh], 209.52 * cfh.middle(), 1e-4),
        // Worked example G2.
        (
            "combustion_air_volume",
            vec![btu(120_000.0), exactly(50.0 * cubic_foot), btu(1000.0)],
            6_000.0 * cubic_foot,
            1e-12,
        ),
        // Worked example G3, both rows.
        (
            "combustion_air_volume_known_rate",
            vec![
                btu(40_000.0),
                btu(75_000.0),
                exactly(0.3),
                exactly(0.6),
                exactly(21.0 * cubic_foot),
                exactly(15.0 * cubic_foot),
                btu(1000.0),
            ],
            6_550.0 * cubic_foot,
            1e-12,
        ),
        // Worked example G10.
        ("combustion_opening", vec![btu(120_000.0), btu(4000.0), exactly(inch2)], 30.0 * inch2, 1e-12),
        // ref-hud-derivation.csv, gas, 36,000 Btu/h: 30.2885 gal/h.
        (
            "heater_recovery",
            vec![btu(36_000.0), exactly(0.7), f(40.0), f(140.0)],
            30.2885 * gallon / 3600.0,
            1e-5,
        ),
    ]
}

#[test]
fn every_function_gives_a_known_answer_by_name() {
    let known = known();
    let names: Vec<&str> = FUNCTIONS.iter().map(|f| f.name).collect();
    assert_eq!(names, known.iter().map(|k| k.0).collect::<Vec<_>>(), "each function has its known answer");
    for (function, (name, arguments, expected, share)) in FUNCTIONS.iter().zip(&known) {
        assert_eq!(function.params.len(), arguments.len(), "{name}");
        let got = (function.call)(arguments).unwrap_or_else(|e| panic!("{name}: {e}"));
        near(name, got, *expected, *share);
        assert!(got.is_sound() && got.hi - got.lo < 1e-2 * expected, "{name}: {got:?}");
    }
}

#[test]
fn types_are_words_of_the_rule_language_and_formulas_name_their_parameters() {
    const WORDS: [&str; 9] =
        ["length", "area", "volume", "flow", "velocity", "pressure", "heat", "temperature", "number"];
    for function in FUNCTIONS {
        let types = function.params.iter().map(|p| p.1).chain([function.result]);
        types.for_each(|t| assert!(WORDS.contains(&t), "{}: {t}", function.name));
        for (parameter, _) in function.params {
            let shown = function.formula.contains(parameter) || function.name == "darcy_loss";
            assert!(shown, "{}: {parameter} is not in its formula", function.name);
        }
        assert!(!function.source.is_empty());
    }
}

#[test]
fn the_wrong_number_of_values_and_unusable_ones_are_answered_in_words() {
    for function in FUNCTIONS {
        let error = (function.call)(&[]).expect_err("no values");
        let first = function.params[0].0;
        assert!(
            error.starts_with(&format!("{} takes {} values ({first}", function.name, function.params.len())),
            "{error}"
        );
    }
    let error = host::static_head(Bounds { lo: 2.0, hi: 1.0 }).expect_err("the wrong way round");
    assert!(error.starts_with("the height of 2 to 1 m is not usable"), "{error}");
    let error =
        host::gas_capacity_low(exactly(0.0), exactly(1.0), exactly(1.0), exactly(0.6)).expect_err("no pipe");
    assert!(error.starts_with("the inside diameter of 0 in is not usable: give more than zero"), "{error}");
}

proptest! {
    #[test]
    fn wider_inputs_give_bounds_that_hold_the_narrow_ones(grow in prop::collection::vec((0.0..0.01f64, 0.0..0.01f64), 7)) {
        for (function, (name, arguments, ..)) in FUNCTIONS.iter().zip(known()) {
            // A hundredth of a kelvin scale would boil; a temperature moves by a few kelvins at most.
            let wide: Vec<Bounds> = arguments
                .iter()
                .zip(&grow)
                .map(|(b, (down, up))| Bounds { lo: b.lo - b.lo * down, hi: b.hi + b.hi * up })
                .collect();
            let narrow = (function.call)(&arguments).expect("known");
            let whole = (function.call)(&wide).unwrap_or_else(|e| panic!("{name}: {e}"));
            prop_assert!(whole.lo <= narrow.lo && narrow.hi <= whole.hi, "{name}: {whole:?} does not hold {narrow:?}");
        }
    }

    #[test]
    fn no_number_makes_a_function_panic_or_answer_with_nonsense(x in prop::collection::vec(prop::num::f64::ANY, 14)) {
        for function in FUNCTIONS {
            for arguments in [
                x.windows(2).step_by(2).map(|w| Bounds { lo: w[0], hi: w[1] }).collect::<Vec<_>>(),
                x.iter().map(|v| exactly(v.abs())).collect(),
            ] {
                if let Ok(answer) = (function.call)(&arguments[..function.params.len()]) {
                    prop_assert!(answer.is_sound(), "{}: {answer:?}", function.name);
                }
            }
        }
    }
}
