//! What the tests share.

use std::collections::HashMap;

use crownweir_sizing::Bounds;

pub type Row = HashMap<String, String>;

pub fn rows(text: &str) -> Vec<Row> {
    let rows: Vec<Row> = csv::Reader::from_reader(text.as_bytes())
        .deserialize()
        .map(|row| row.expect("a row of the data file"))
        .collect();
    assert!(!rows.is_empty());
    rows
}

pub fn number(row: &Row, column: &str) -> f64 {
    row[column].parse().unwrap_or_else(|e| panic!("{column} {:?}: {e}", row[column]))
}

pub fn whole(row: &Row, column: &str) -> u32 {
    row[column].parse().unwrap_or_else(|e| panic!("{column} {:?}: {e}", row[column]))
}

pub fn exactly(value: f64) -> Bounds {
    Bounds::exactly(value)
}

/// A number printed with some decimals: the bounds must reach it within half of the last, and be no wider than `width`.
pub fn reaches(what: &str, got: Bounds, printed: &str, width: f64) {
    let expected: f64 = printed.parse().unwrap_or_else(|e| panic!("{what} {printed:?}: {e}"));
    let places = printed.split_once('.').map_or(0, |(_, after)| after.len() as i32);
    let half = 0.5 * 10f64.powi(-places) * 1.000_001;
    assert!(got.lo <= expected + half && expected - half <= got.hi, "{what}: {got:?} misses {printed}");
    assert!(got.hi - got.lo <= width * expected.abs().max(f64::MIN_POSITIVE), "{what}: {got:?} is wide");
}

/// Within a share of the expected value.
pub fn near(what: &str, got: Bounds, expected: f64, share: f64) {
    let off = (got.middle() / expected - 1.0).abs();
    assert!(off <= share, "{what}: {got:?} is off {expected} by {off:e}");
}
