use crownweir_sizing::{
    Bounds, ContinuousFlow, ContinuousFlowError, Convention, ConvolutionError, DemandTable, Draws,
    FixtureError, FixtureTable, FixtureUnits, Fixtures, GallonsPerMinute, HunterError, binomial_at_most,
    house_demand, hunter_demand, running_at_once,
};
use proptest::prelude::*;

use crate::common::{exactly, number, reaches, rows, whole};

fn drainage(code: &str, table: &str, use_: &[&str]) -> FixtureTable {
    let rows = rows(include_str!("../data/dfu.csv"))
        .into_iter()
        .filter(|r| r["code"] == code && r["table"] == table && use_.contains(&r["use"].as_str()))
        .map(|r| (r["fixture"].clone(), number(&r, "dfu")))
        .collect();
    FixtureTable::new(rows).expect("a table")
}

fn total(table: &FixtureTable, fixtures: &[(&str, u32)]) -> Bounds {
    let fixtures: Vec<Fixtures<'_>> = fixtures.iter().map(|&(kind, n)| Fixtures::counted(kind, n)).collect();
    table.total(&fixtures).expect("known fixtures")
}

#[test]
fn one_house_has_20_14_and_23_drainage_units_under_three_codes() {
    // Worked example W3 of the drainage reference (arithmetic over the tables): 2.5 baths, kitchen, washer, laundry tub.
    let ipc = [
        ("bathroom_group_wc_1_6gpf", 2),
        ("wc_private_1_6gpf", 1),
        ("lavatory", 1),
        ("kitchen_sink_with_disposer_dishwasher_or_both", 1),
        ("clothes_washer_residential", 1),
        ("laundry_tray_1_or_2_compartment", 1),
    ];
    assert_eq!(total(&drainage("IPC", "709.1", &["any", "private"]), &ipc), exactly(20.0));
    let irc = [("multi_bath_2_5", 1), ("kitchen_group", 1), ("laundry_group", 1)];
    assert_eq!(total(&drainage("IRC", "P3004.1", &["dwelling"]), &irc), exactly(14.0));
    let upc = [
        ("wc_1_6gpf_gravity_tank", 3),
        ("lavatory", 3),
        ("bathtub_or_combination", 2),
        ("kitchen_sink_with_or_without_disposer_dishwasher", 1),
        ("clothes_washer_domestic_standpipe", 1),
        ("laundry_sink_1_or_2_compartment", 1),
    ];
    assert_eq!(total(&drainage("UPC", "702.1", &["private"]), &upc), exactly(23.0));
}

fn supply(column: &str) -> FixtureTable {
    let rows = rows(include_str!("../data/wsfu-irc-p2903.6.csv"));
    let rows = rows.iter().map(|r| {
        let units = if r[column].is_empty() { 0.0 } else { number(r, column) };
        (r["fixture_or_group"].clone(), units)
    });
    FixtureTable::new(rows.collect()).expect("a table")
}

const HOUSE: [(&str, u32); 5] = [
    ("full-bath group (bathtub or shower stall)", 2),
    ("half-bath group (water closet and lavatory)", 1),
    ("kitchen group (dishwasher and sink)", 1),
    ("laundry group (clothes washer standpipe and laundry tub)", 1),
    ("hose bibb (sillcock)", 2),
];

#[test]
fn the_house_of_the_tenth_worked_example_has_19_8_supply_units() {
    // Worked example 10 of the water reference: IRC Table P2903.6 from memory; 19.8 combined, 7.2 hot.
    assert_eq!(total(&supply("combined_wsfu"), &HOUSE), exactly(19.8));
    assert_eq!(total(&supply("hot_wsfu"), &HOUSE), exactly(7.2));
}

#[test]
fn units_that_sum_to_a_row_read_that_row() {
    let table = FixtureTable::new(vec![("sink".into(), 1.4), ("other".into(), 6.0)]).expect("a table");
    let load = total(&table, &[("sink", 10), ("other", 1)]);
    assert_eq!(load, exactly(20.0));
    let demand = DemandTable::new(vec![(20.0, 19.6), (25.0, 21.5)]).expect("a table");
    assert_eq!(demand.by_next_row(load), Ok(exactly(19.6)));
}

#[test]
fn fixtures_not_yet_counted_make_a_span() {
    let fixtures = [Fixtures::counted("lavatory", 2), Fixtures { kind: "bathtub", least: 1, most: 3 }];
    assert_eq!(supply("combined_wsfu").total(&fixtures[..1]).expect("known"), exactly(1.4));
    let irc = drainage("IRC", "P3004.1", &["dwelling"]);
    assert_eq!(irc.total(&fixtures), Ok(Bounds { lo: 4.0, hi: 8.0 }));
}

#[test]
fn an_unknown_fixture_and_a_bad_table_are_named() {
    let error = supply("hot_wsfu").of("bidet").expect_err("no row");
    assert!(
        error.to_string().starts_with("the table of fixture units has no row for bidet; it has bathtub"),
        "{error}"
    );
    let twice = FixtureTable::new(vec![("sink".into(), 1.0), ("sink".into(), 2.0)]);
    assert!(matches!(twice, Err(FixtureError::Twice { .. })));
    for units in [-1.0, f64::NAN, 1e9, 1.00001] {
        assert!(
            matches!(FixtureTable::new(vec![("sink".into(), units)]), Err(FixtureError::Row { .. })),
            "{units}"
        );
    }
    let table = FixtureTable::new(vec![("sink".into(), 1e6)]).expect("a table");
    assert_eq!(table.total(&[Fixtures::counted("sink", 2)]), Err(FixtureError::TooMany));
    let swapped = Fixtures { kind: "sink", least: 2, most: 1 };
    assert!(matches!(table.total(&[swapped]), Err(FixtureError::Count { .. })));
}

/// The rule of a row of the data file: a rate, or steps in words.
fn steady(code: &str) -> ContinuousFlow {
    let rows = rows(include_str!("../data/continuous_flow_dfu.csv"));
    let row = rows.iter().find(|r| r["code"] == code).expect("a row");
    if !row["dfu_per_gpm"].is_empty() {
        return ContinuousFlow::PerGpm(number(row, "dfu_per_gpm"));
    }
    // "up to 7.5 gpm=1; over 7.5-15=2; ..."
    let steps = row["rule"].split_once(": ").expect("steps").1.split("; ").map(|step| {
        let (flow, units) = step.split_once('=').expect("a step");
        let flow =
            flow.trim_start_matches("stepped: ").trim_start_matches("up to ").trim_start_matches("over ");
        let upper = flow.trim_end_matches(" gpm").rsplit('-').next().expect("a flow");
        (upper.parse().expect("gpm"), units.parse().expect("dfu"))
    });
    ContinuousFlow::Steps(steps.collect())
}

#[test]
fn a_pump_of_10_gpm_makes_20_15_10_or_2_units() {
    // Worked example W7 of the drainage reference.
    for (code, units) in [("IPC", 20.0), ("IRC", 15.0), ("Chicago", 10.0), ("UPC", 2.0)] {
        let got = steady(code).drainage_units(GallonsPerMinute::exactly(10.0)).expect("in the rule");
        assert!(got.contains(units) && got.hi - got.lo < 1e-12, "{code}: {got:?}");
    }
}

#[test]
fn a_step_holds_up_to_and_including_its_limit_and_nothing_lies_beyond_the_last() {
    let upc = steady("UPC");
    for (gpm, units) in [(0.0, 1.0), (7.5, 1.0), (7.51, 2.0), (15.0, 2.0), (30.0, 4.0), (50.0, 6.0)] {
        assert_eq!(upc.drainage_units(GallonsPerMinute::exactly(gpm)), Ok(exactly(units)), "{gpm}");
    }
    let beyond = upc.drainage_units(GallonsPerMinute::exactly(50.5));
    assert_eq!(beyond, Err(ContinuousFlowError::Beyond { gpm: 50.5, last: 50.0 }));
    let span = GallonsPerMinute::span(7.0, 8.0).expect("a span");
    assert_eq!(upc.drainage_units(span), Ok(Bounds { lo: 1.0, hi: 2.0 }));
    let unordered = ContinuousFlow::Steps(vec![(5.0, 2.0), (4.0, 3.0)]);
    assert_eq!(unordered.drainage_units(span), Err(ContinuousFlowError::Rule { step: 2 }));
}

#[test]
fn hunters_numbers_match_scipy_in_three_conventions() {
    for row in rows(include_str!("../data/ref-hunter-binomial.csv")) {
        let (n, p) = (whole(&row, "n"), exactly(number(&row, "p")));
        let what = format!("{} x {n}", row["fixture"]);
        let number_of = |convention| running_at_once(n, p, 0.99, convention);
        assert_eq!(number_of(Convention::LeastCovering), Ok(exactly(number(&row, "m_99"))), "{what}");
        assert_eq!(number_of(Convention::TailWithin), Ok(exactly(number(&row, "m_tail_le_1pct"))), "{what}");
        match row["m_tail_log_interpolated"].as_str() {
            "" => assert!(matches!(
                number_of(Convention::TailInterpolated),
                Err(HunterError::NoCrossing { .. })
            )),
            printed => {
                reaches(&what, number_of(Convention::TailInterpolated).expect("a crossing"), printed, 1e-9)
            }
        }
        let m = whole(&row, "m_99");
        reaches(&what, binomial_at_most(m, n, p).expect("a share"), &row["cdf_at_m"], 1e-11);
        reaches(&what, binomial_at_most(m - 1, n, p).expect("a share"), &row["cdf_at_m_minus_1"], 1e-11);
        let q = GallonsPerMinute::exactly(number(&row, "q_gpm"));
        let demand = hunter_demand(n, p, q, 0.99, Convention::LeastCovering).expect("a demand");
        assert_eq!(demand.bounds(), exactly(number(&row, "demand_m_times_q_gpm")), "{what}");
    }
}

#[test]
fn seven_toilets_cross_at_4_61() {
    // Contractor magazine, 2013: of 7 the 99th percentile lies between 4 and 5.
    let got = running_at_once(7, exactly(0.2), 0.99, Convention::TailInterpolated).expect("a crossing");
    reaches("seven toilets", got, "4.61", 1e-12);
    let span =
        running_at_once(7, Bounds { lo: 0.1, hi: 0.2 }, 0.99, Convention::LeastCovering).expect("a number");
    assert_eq!(span, Bounds { lo: 3.0, hi: 4.0 });
}

#[test]
fn hunters_questions_out_of_range_are_refused() {
    let least = Convention::LeastCovering;
    assert_eq!(running_at_once(0, exactly(0.2), 0.99, least), Err(HunterError::Fixtures { n: 0 }));
    assert!(matches!(running_at_once(10_001, exactly(0.2), 0.99, least), Err(HunterError::Fixtures { .. })));
    for p in [0.0, 1.0, f64::NAN] {
        assert!(
            matches!(running_at_once(5, exactly(p), 0.99, least), Err(HunterError::Probability { .. })),
            "{p}"
        );
    }
    assert!(matches!(running_at_once(5, exactly(0.2), 1.0, least), Err(HunterError::Probability { .. })));
}

/// (p, q) of UPC Appendix M, from memory, as `ref-demand-convolution.csv` was made with.
const APPENDIX_M: [(&str, f64, f64); 9] = [
    ("combination bath/shower", 0.055, 5.5),
    ("shower", 0.045, 2.0),
    ("lavatory", 0.02, 1.5),
    ("water closet", 0.01, 3.0),
    ("kitchen faucet", 0.02, 2.2),
    ("dishwasher", 0.005, 1.3),
    ("clothes washer", 0.05, 3.5),
    ("laundry faucet", 0.02, 2.0),
    ("bathtub", 0.01, 5.5),
];

#[test]
fn three_houses_by_convolution_match_numpy() {
    for row in rows(include_str!("../data/ref-demand-convolution.csv")) {
        let fixtures: Vec<Draws> = row["fixtures"]
            .split("; ")
            .map(|part| {
                let (count, kind) = part.split_once(' ').expect("a count and a kind");
                let (_, p, gpm) = *APPENDIX_M.iter().find(|k| k.0 == kind).expect("a kind");
                Draws { count: count.parse().expect("a count"), p, gpm }
            })
            .collect();
        let demand = house_demand(&fixtures, 0.1, 0.99).expect("a house");
        let what = &row["house"];
        reaches(what, demand.idle, &row["P_no_flow"], 1e-12);
        reaches(what, demand.mean.bounds(), &row["mean_gpm"], 1e-12);
        reaches(what, demand.deviation.bounds(), &row["sd_gpm"], 1e-12);
        reaches(what, demand.exact.bounds(), &row["q99_exact_gpm"], 1e-12);
        reaches(
            what,
            demand.while_running.expect("something runs").bounds(),
            &row["q99_given_some_flow_gpm"],
            1e-12,
        );
        reaches(what, demand.normal.bounds(), &row["wistort_normal_gpm"], 1e-11);
    }
}

#[test]
fn convolution_of_one_kind_is_the_binomial() {
    for n in [1, 7, 20] {
        let demand = house_demand(&[Draws { count: n, p: 0.2, gpm: 4.0 }], 0.5, 0.99).expect("a house");
        let hunter =
            hunter_demand(n, exactly(0.2), GallonsPerMinute::exactly(4.0), 0.99, Convention::LeastCovering);
        let (exact, hunter) = (demand.exact.bounds(), hunter.expect("a demand").bounds());
        assert!(exact.contains(hunter.lo) && exact.hi - exact.lo < 1e-12, "{exact:?} {hunter:?}");
    }
}

#[test]
fn a_house_without_fixtures_draws_nothing() {
    let demand = house_demand(&[], 0.1, 0.99).expect("nothing");
    assert_eq!(demand.exact, GallonsPerMinute::exactly(0.0));
    assert_eq!(demand.while_running, None);
}

#[test]
fn convolution_refuses_what_it_cannot_put_on_its_grid() {
    let one = |p, gpm| [Draws { count: 1, p, gpm }];
    assert!(matches!(house_demand(&one(0.1, 1.25), 0.1, 0.99), Err(ConvolutionError::OffStep { .. })));
    assert!(matches!(house_demand(&one(1.0, 1.0), 0.1, 0.99), Err(ConvolutionError::Kind { .. })));
    assert!(matches!(house_demand(&one(0.1, 1.0), 0.0, 0.99), Err(ConvolutionError::Question { .. })));
    let many = [Draws { count: u32::MAX, p: 0.1, gpm: 5.0 }];
    assert_eq!(house_demand(&many, 0.1, 0.99), Err(ConvolutionError::TooMuch));
}

proptest! {
    #[test]
    fn more_or_likelier_fixtures_never_run_fewer(n in 1..80u32, p in 0.01..0.5f64, more in 0.0..0.4f64) {
        for convention in [Convention::LeastCovering, Convention::TailWithin] {
            let at = |n, p| running_at_once(n, exactly(p), 0.99, convention).expect("a number");
            prop_assert!(at(n, p).lo <= at(n, p + more).hi);
            prop_assert!(at(n, p).lo <= at(n + 1, p).hi);
        }
    }

    #[test]
    fn shares_of_the_binomial_hold_a_plain_sum(n in 1..60u32, p in 0.01..0.99f64, m in 0..60u32) {
        let mut sum = 0.0;
        let mut weight = (1.0 - p).powi(n as i32);
        for k in 0..=m.min(n) {
            sum += weight;
            weight *= f64::from(n - k) / f64::from(k + 1) * p / (1.0 - p);
        }
        let got = binomial_at_most(m, n, exactly(p)).expect("a share");
        prop_assert!((got.middle() - sum).abs() < 1e-11, "{:?} {}", got, sum);
        prop_assert!(got.hi - got.lo < 1e-11);
    }

    #[test]
    fn decimals_in_thousandths_are_kept_exactly(thousandths in 0..1_000_000_000u64) {
        let units = thousandths as f64 / 1000.0;
        prop_assert_eq!(FixtureUnits::new(units).map(FixtureUnits::get), Some(units));
    }

    #[test]
    fn no_number_makes_demand_panic(n in any::<u32>(), m in any::<u32>(), x in prop::array::uniform5(prop::num::f64::ANY)) {
        let span = Bounds { lo: x[0], hi: x[1] };
        for convention in [Convention::LeastCovering, Convention::TailWithin, Convention::TailInterpolated] {
            let _ = running_at_once(n % 300, span, x[2], convention);
            let _ = running_at_once(n % 300, exactly(x[0].abs().fract()), x[2].abs().fract(), convention);
        }
        let _ = binomial_at_most(m, n % 300, span);
        let _ = house_demand(&[Draws { count: n % 50, p: x[3], gpm: x[4] }], x[2], x[1]);
        let _ = ContinuousFlow::Steps(vec![(x[0], x[1]), (x[2], x[3])]).drainage_units(GallonsPerMinute(span));
        let _ = ContinuousFlow::PerGpm(x[3]).drainage_units(GallonsPerMinute(span));
    }
}
