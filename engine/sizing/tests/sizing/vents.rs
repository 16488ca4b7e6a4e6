use crownweir_sizing::{Bounds, Feet, VentError, VentReading, VentRow, VentTable, connector_factor};
use proptest::prelude::*;

use crate::common::{exactly, number, rows};

/// Type B, 3 in, one appliance: greatest input by `column`, and the least for a fan-assisted one.
fn single(column: &str) -> VentTable {
    let fan = column.starts_with("fan");
    let rows = rows(include_str!("../data/vent-type-b-single-appliance.csv"))
        .into_iter()
        .filter(|r| !r[column].is_empty())
        .map(|r| VentRow {
            height_ft: number(&r, "height_ft"),
            lateral_ft: number(&r, "lateral_ft"),
            least: fan.then(|| number(&r, "fan_min_3in_kBtu_h")),
            most: number(&r, column),
        })
        .collect();
    VentTable::new(rows).expect("a table")
}

fn at(table: &VentTable, height: f64, lateral: f64, reading: VentReading) -> (Option<Bounds>, Bounds) {
    let got = table.capacity(Feet::exactly(height), Feet::exactly(lateral), reading).expect("in the table");
    (got.least, got.most)
}

#[test]
fn every_row_reads_itself_either_way() {
    for column in ["fan_max_3in_kBtu_h", "nat_max_3in_kBtu_h", "nat_max_4in_kBtu_h"] {
        let table = single(column);
        for row in rows(include_str!("../data/vent-type-b-single-appliance.csv")) {
            if row[column].is_empty() {
                continue;
            }
            for reading in [VentReading::SaferRow, VentReading::Interpolated] {
                let (least, most) =
                    at(&table, number(&row, "height_ft"), number(&row, "lateral_ft"), reading);
                assert_eq!(most, exactly(number(&row, column)), "{column} {row:?}");
                let fan = column.starts_with("fan").then(|| exactly(number(&row, "fan_min_3in_kBtu_h")));
                assert_eq!(least, fan);
            }
        }
    }
}

#[test]
fn between_rows_the_safer_row_is_lower_and_longer_and_the_line_lies_between() {
    let fan = single("fan_max_3in_kBtu_h");
    // 8 ft high: lateral 2 takes 12 to 57, lateral 5 takes 23 to 53.
    assert_eq!(at(&fan, 9.0, 3.5, VentReading::SaferRow), (Some(exactly(23.0)), exactly(53.0)));
    let (least, most) = at(&fan, 8.0, 3.5, VentReading::Interpolated);
    assert!(least.expect("fan").contains(17.5) && most.contains(55.0), "{least:?} {most:?}");
    // 10 ft: 61 and 57; half way up from 8 ft at a lateral of 3.5 ft: (55 + 59) / 2.
    let (_, most) = at(&fan, 9.0, 3.5, VentReading::Interpolated);
    assert!(most.contains(57.0) && most.hi - most.lo < 1e-12, "{most:?}");
}

#[test]
fn a_lateral_is_never_read_towards_a_straight_vertical_vent() {
    let fan = single("fan_max_3in_kBtu_h");
    // At 8 ft: straight up 84, lateral 2 ft 57; 1 ft takes what 2 ft do.
    assert_eq!(at(&fan, 8.0, 1.0, VentReading::Interpolated).1, exactly(57.0));
    assert_eq!(at(&fan, 8.0, 0.0, VentReading::Interpolated).1, exactly(84.0));
}

#[test]
fn tables_are_not_extended() {
    let fan = single("fan_max_3in_kBtu_h");
    let capacity = |h: f64, l: f64| fan.capacity(Feet::exactly(h), Feet::exactly(l), VentReading::SaferRow);
    assert!(matches!(capacity(5.0, 0.0), Err(VentError::Height { .. })));
    let long = capacity(8.0, 9.0).expect_err("too long");
    assert_eq!(
        long.to_string(),
        "a lateral of 9 ft is beyond the longest of the table for a vent 8 ft high (8 ft)"
    );
    assert!(matches!(capacity(8.0, -1.0), Err(VentError::Unusable(_))));
    let upside_down = [(8.0, 0.0, 84.0), (6.0, 0.0, 78.0)].map(|(height_ft, lateral_ft, most)| VentRow {
        height_ft,
        lateral_ft,
        least: None,
        most,
    });
    assert_eq!(VentTable::new(upside_down.to_vec()), Err(VentError::Row { row: 2 }));
    assert_eq!(VentTable::new(vec![]), Err(VentError::Empty));
}

#[test]
fn the_common_vent_is_read_by_height_alone() {
    let rows = rows(include_str!("../data/vent-type-b-common.csv"));
    let rows_of = |column: &str| {
        let rows = rows.iter().map(|r| VentRow {
            height_ft: number(r, "height_ft"),
            lateral_ft: 0.0,
            least: None,
            most: number(r, column),
        });
        VentTable::new(rows.collect()).expect("a table")
    };
    let table = rows_of("fannat_4in");
    assert_eq!(at(&table, 12.0, 0.0, VentReading::SaferRow).1, exactly(97.0));
    let line = at(&table, 12.5, 0.0, VentReading::Interpolated).1;
    assert!(line.contains(104.5) && line.hi - line.lo < 1e-12, "{line:?}");
}

#[test]
fn a_long_connector_loses_a_tenth_for_each_further_multiple() {
    // Worked example G4 (IRC G2428.3.2): 4 in, 1.5 ft an inch, 6 ft allowed; 0.90 to 12 ft, 0.80 to 18.
    let factor = |feet: f64| connector_factor(Feet::exactly(feet), Feet::exactly(6.0), 0.1, 3);
    for (feet, share) in [(0.0, 1.0), (6.0, 1.0), (6.01, 0.9), (12.0, 0.9), (12.01, 0.8), (18.0, 0.8)] {
        let got = factor(feet).expect("a share");
        assert!(got.contains(share) && got.hi - got.lo < 1e-12, "{feet}: {got:?}");
    }
    assert_eq!(factor(18.1), Err(VentError::Connector { most: 3 }));
    let unsure =
        connector_factor(Feet::span(5.5, 6.5).expect("a span"), Feet::exactly(6.0), 0.1, 3).expect("a share");
    assert!(unsure.lo <= 0.9 && unsure.hi == 1.0, "{unsure:?}");
}

proptest! {
    #[test]
    fn a_span_of_vents_holds_each_within(
        h in (6.0..20.0f64, 0.0..5.0f64), l in (0.0..6.0f64, 0.0..3.0f64), at in prop::array::uniform2(0.0..=1.0f64), line in any::<bool>()
    ) {
        let reading = if line { VentReading::Interpolated } else { VentReading::SaferRow };
        let table = single("fan_max_3in_kBtu_h");
        let span = |(lo, more): (f64, f64)| Bounds { lo, hi: lo + more };
        let point = |b: Bounds, share: f64| exactly((b.lo + share * (b.hi - b.lo)).clamp(b.lo, b.hi));
        let (h, l) = (span(h), span(l));
        if let Ok(whole) = table.capacity(Feet(h), Feet(l), reading) {
            let one = table.capacity(Feet(point(h, at[0])), Feet(point(l, at[1])), reading).expect("within the span");
            for (whole, one) in [(whole.most, one.most), (whole.least.expect("fan"), one.least.expect("fan"))] {
                prop_assert!(whole.lo <= one.lo && one.hi <= whole.hi, "{whole:?} does not hold {one:?}");
            }
        }
    }

    #[test]
    fn no_number_makes_vents_panic(x in prop::array::uniform10(prop::num::f64::ANY), most in any::<u32>()) {
        let b = |i: usize| Bounds { lo: x[i], hi: x[i + 1] };
        let row = |i: usize| VentRow { height_ft: x[i], lateral_ft: x[i + 1], least: Some(x[i + 2]), most: x[i + 3] };
        let table = VentTable::new(vec![row(0), row(4)]);
        for table in [table.as_ref().ok(), Some(&single("fan_max_3in_kBtu_h"))].into_iter().flatten() {
            for reading in [VentReading::SaferRow, VentReading::Interpolated] {
                let _ = table.capacity(Feet(b(0)), Feet(b(2)), reading);
                let _ = table.capacity(Feet(exactly(x[0].abs())), Feet(exactly(x[1].abs())), reading);
            }
        }
        let _ = connector_factor(Feet(b(0)), Feet(b(2)), x[4], most);
        let _ = connector_factor(Feet(exactly(x[0].abs())), Feet(exactly(x[1].abs())), x[4], most);
    }
}
