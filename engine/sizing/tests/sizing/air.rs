use crownweir_sizing::{
    Bounds, BtuPerHour, CubicFeet, CubicMeters, GallonsPerMinute, SquareInches, SquareMeters, VolumeRate,
    Watts, combustion_air_volume, combustion_air_volume_known_rate, combustion_opening, heater_recovery,
};
use proptest::prelude::*;

use crate::common::{exactly, near, number, reaches, rows};

fn btu(x: f64) -> Watts {
    BtuPerHour::exactly(x).into()
}

/// So many cubic feet for 1000 Btu/h.
fn rate(cubic_feet: f64) -> VolumeRate {
    VolumeRate { volume: CubicFeet::exactly(cubic_feet).into(), input: btu(1000.0) }
}

fn cubic_feet(volume: CubicMeters) -> Bounds {
    CubicFeet::from(volume).bounds()
}

fn square_inches(area: SquareMeters) -> Bounds {
    SquareInches::from(area).bounds()
}

#[test]
fn known_rate_volumes_match_every_printed_one() {
    let mut printed = 0;
    for row in rows(include_str!("../data/combustion-air-known-rate.csv")) {
        let input = btu(number(&row, "input_kBtu_per_h") * 1000.0);
        let volume = if row["appliance_kind"] == "fan" { 15.0 } else { 21.0 };
        let got =
            combustion_air_volume_known_rate(&[(input, rate(volume))], exactly(number(&row, "ach")), 0.6);
        let got = cubic_feet(got.expect("a volume"));
        let what = format!("{} {} at {}", row["appliance_kind"], row["input_kBtu_per_h"], row["ach"]);
        near(&what, got, number(&row, "equation_volume"), 1e-12);
        if !row["published_volume"].is_empty() {
            reaches(&what, got, &row["published_volume"], 1e-12);
            printed += 1;
        }
    }
    assert_eq!(printed, 47);
}

#[test]
fn kinds_of_appliances_add_up_and_air_changes_count_only_up_to_the_most() {
    let both = [(btu(40_000.0), rate(21.0)), (btu(75_000.0), rate(15.0))];
    let at =
        |ach: f64| cubic_feet(combustion_air_volume_known_rate(&both, exactly(ach), 0.6).expect("a volume"));
    // Worked example G3 has 2,800 cu ft for the first at 0.30; 3,750 for the second.
    near("sum", at(0.3), 2_800.0 + 3_750.0, 1e-12);
    near("most", at(0.9), at(0.6).middle(), 1e-12);
    let unknown = combustion_air_volume_known_rate(&both, exactly(0.0), 0.6).expect_err("no air");
    assert!(unknown.to_string().starts_with("the air changes an hour of 0 is not usable"), "{unknown}");
}

#[test]
fn a_boiler_of_120_000_needs_6000_cubic_feet_by_the_standard_method() {
    // Worked example G2 (thebuildingcodeforum.com): 50 cu ft for 1000 Btu/h.
    let volume = combustion_air_volume(btu(120_000.0), rate(50.0)).expect("a volume");
    reaches("boiler", cubic_feet(volume), "6000", 1e-12);
    // 400 cu ft left after remodelling are good for 8,000 Btu/h.
    reaches(
        "left",
        cubic_feet(combustion_air_volume(btu(8_000.0), rate(50.0)).expect("a volume")),
        "400",
        1e-12,
    );
}

#[test]
fn openings_of_the_closet_match_the_tenth_worked_example() {
    let area = |per: f64| {
        let area = combustion_opening(btu(120_000.0), btu(per), SquareInches::exactly(1.0).into());
        square_inches(area.expect("an area"))
    };
    for (per, printed) in [(1000.0, "120"), (2000.0, "60"), (3000.0, "40"), (4000.0, "30")] {
        reaches(printed, area(per), printed, 1e-12);
    }
}

#[test]
fn recovery_matches_the_hud_derivation() {
    for row in rows(include_str!("../data/ref-hud-derivation.csv")) {
        let x = number(&row, "input");
        let (input, efficiency) =
            if row["fuel"] == "electric" { (x * 3412.14, 0.98) } else { (x * 1000.0, 0.70) };
        // 8.32 Btu a gallon and degree over 100 F: 832 Btu a gallon; in SI, J/m3 over 1 K.
        let heat = exactly(832.0 * 1_055.055_852_62 / 0.003_785_411_784);
        let made = heater_recovery(btu(input), exactly(efficiency), heat, exactly(1.0)).expect("a recovery");
        let gpm = GallonsPerMinute::from(made).bounds();
        let gph = Bounds { lo: gpm.lo * 60.0, hi: gpm.hi * 60.0 };
        reaches(
            &format!("{} {}", row["fuel"], row["input"]),
            gph,
            &row["computed_recovery_gph_100F_rise"],
            1e-12,
        );
    }
}

proptest! {
    #[test]
    fn a_span_of_inputs_holds_each_within(
        input in (1e3..1e6f64, 0.0..1e5f64), ach in (0.05..0.7f64, 0.0..0.2f64), at in prop::array::uniform2(0.0..=1.0f64)
    ) {
        let span = |(lo, more): (f64, f64)| Bounds { lo, hi: lo + more };
        let point = |b: Bounds, share: f64| exactly((b.lo + share * (b.hi - b.lo)).clamp(b.lo, b.hi));
        let all = |input: Bounds, ach: Bounds| [
            combustion_air_volume(Watts(input), rate(50.0)).expect("a volume").bounds(),
            combustion_air_volume_known_rate(&[(Watts(input), rate(21.0))], ach, 0.6).expect("a volume").bounds(),
            combustion_opening(Watts(input), btu(1000.0), SquareMeters::exactly(1e-3)).expect("an area").bounds(),
        ];
        let (input, ach) = (span(input), span(ach));
        let one = all(point(input, at[0]), point(ach, at[1]));
        for (whole, one) in all(input, ach).iter().zip(one) {
            prop_assert!(whole.lo <= one.lo && one.hi <= whole.hi, "{whole:?} does not hold {one:?}");
        }
    }
}
