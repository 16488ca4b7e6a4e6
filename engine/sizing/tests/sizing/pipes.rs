use crownweir_sizing::{
    Bounds, CubicMetersPerSecond, CurveError, Feet, FeetPerSecond, FittingError, FittingTable,
    GallonsPerMinute, HazenWilliams, Inches, Kelvins, Law, LossCurve, Meters, Pascals, PascalsPerMeter, Pipe,
    PipeSize, Psi, PsiPerFoot, SuggestError, Water, pump_head, static_head, suggest_size, water_viscosity,
};
use proptest::prelude::*;

use crate::common::{exactly, near, number, reaches, rows};

pub fn fahrenheit(f: f64) -> Kelvins {
    Kelvins::exactly((f - 32.0) / 1.8 + 273.15)
}

fn water(f: f64) -> Water {
    Water::at(fahrenheit(f), Psi::exactly(60.0).into()).expect("water in a house")
}

fn hundred_feet(inside_in: f64, law: Law) -> Pipe {
    Pipe {
        inside: Inches::exactly(inside_in).into(),
        length: Feet::exactly(100.0).into(),
        equivalent: Meters::exactly(0.0),
        minor: exactly(0.0),
        law,
    }
}

fn gpm(q: f64) -> CubicMetersPerSecond {
    GallonsPerMinute::exactly(q).into()
}

fn hazen(c: f64, form: HazenWilliams) -> Law {
    Law::HazenWilliams { c: exactly(c), form }
}

#[test]
fn viscosity_matches_the_iapws_formulation() {
    for row in rows(include_str!("../data/ref-water-properties.csv")) {
        let got =
            water_viscosity(fahrenheit(number(&row, "temp_F")), Psi::exactly(60.0).into()).expect("liquid");
        let got = Bounds { lo: got.bounds().lo * 1e3, hi: got.bounds().hi * 1e3 };
        reaches(&row["temp_F"], got, &row["mu_60psig_mPa_s"], 1e-4);
        near(&row["temp_F"], got, number(&row, "mu_60psig_mPa_s"), 2e-5);
    }
}

#[test]
fn three_friction_laws_match_the_reference_within_1e_4() {
    let drawn = Law::Colebrook { roughness: Meters::exactly(1.5e-6) };
    let epanet_water = Water { weight: PsiPerFoot::exactly(62.4 / 144.0).into(), ..water(60.0) };
    let mut compared = 0;
    for row in rows(include_str!("../data/ref-friction.csv")) {
        let (d, q) = (number(&row, "id_in"), gpm(number(&row, "flow_gpm")));
        let what = format!("{} {} at {} gpm", row["material"], row["nominal_in"], row["flow_gpm"]);
        for (column, law, water) in [
            ("hw_C150_psi_100ft", hazen(150.0, HazenWilliams::Nfpa13), water(60.0)),
            ("hw_C130_psi_100ft", hazen(130.0, HazenWilliams::Nfpa13), water(60.0)),
            ("hw_epanet_C150_psi_100ft", hazen(150.0, HazenWilliams::Epanet), epanet_water),
            ("darcy_60F_psi_100ft", drawn, water(60.0)),
            ("darcy_120F_psi_100ft", drawn, water(120.0)),
        ] {
            let loss = hundred_feet(d, law).loss(q, &water).expect("a pipe");
            let got = Psi::from(loss.friction).bounds();
            // The printed figure has four decimals, which is coarser than 1e-4 only below half a psi.
            let printed = number(&row, column);
            near(&format!("{what} {column}"), got, printed, 1e-4 + 0.5e-4 / printed);
            reaches(&format!("{what} {column}"), got, &row[column], 2e-4);
            compared += 1;
        }
    }
    assert_eq!(compared, 180);
}

#[test]
fn the_bounded_hazen_williams_holds_the_point_one() {
    // `friction_loss` is the older function over points; both are the NFPA 13 form.
    use uom::si::f64::{Length, VolumeRate};
    for (d, q) in [(0.545, 3.0), (0.785, 12.0), (1.025, 0.0)] {
        let (flow, inside) = (gpm(q).bounds().middle(), Meters::from(Inches::exactly(d)).bounds().middle());
        let point = crownweir_sizing::friction_loss(
            VolumeRate::new::<uom::si::volume_rate::cubic_meter_per_second>(flow),
            Length::new::<uom::si::length::meter>(inside),
            150.0,
        )
        .expect("a pipe");
        let pipe =
            Pipe { length: Meters::exactly(1.0), ..hundred_feet(d, hazen(150.0, HazenWilliams::Nfpa13)) };
        let span =
            pipe.loss(CubicMetersPerSecond::exactly(flow), &water(60.0)).expect("a pipe").friction.bounds();
        assert!(span.lo <= point.hi && point.lo <= span.hi, "{span:?} {point:?}");
    }
}

#[test]
fn between_laminar_and_turbulent_the_loss_reaches_from_one_to_the_other() {
    // Re = 4 q / (pi d nu); at 3000 in a half-inch pipe.
    let (d, nu) =
        (Meters::from(Inches::exactly(0.545)).bounds().middle(), water(60.0).viscosity.bounds().middle());
    let at = |re: f64| CubicMetersPerSecond::exactly(re * std::f64::consts::PI * d * nu / 4.0);
    let pipe = hundred_feet(0.545, Law::Colebrook { roughness: Meters::exactly(1.5e-6) });
    let ratio = |re: f64| {
        let loss = pipe.loss(at(re), &water(60.0)).expect("a pipe").friction.bounds();
        loss.hi / loss.lo
    };
    assert!(ratio(1900.0) < 1.001 && ratio(4100.0) < 1.001, "{} {}", ratio(1900.0), ratio(4100.0));
    // f: 64/3000 = 0.0213; Colebrook about 0.0437.
    assert!((ratio(3000.0) - 2.04).abs() < 0.03, "{}", ratio(3000.0));
}

#[test]
fn the_pressure_budget_of_the_eleventh_worked_example_leaves_22_92_psi_a_hundred_feet() {
    // Method of IPC Appendix E103.3: main 60, meter 6, rise 15 ft x 0.433, outlet 20; equivalent length 120 ft.
    let rise = static_head(Feet::exactly(15.0).into(), PsiPerFoot::exactly(0.433).into()).expect("a rise");
    near("rise", Psi::from(rise).bounds(), 6.495, 1e-12);
    let left = 60.0 - 6.0 - Psi::from(rise).bounds().middle() - 20.0;
    let allowed = PascalsPerMeter::from(PsiPerFoot::exactly(left / 120.0));
    near("allowed", Psi::exactly(left / 1.2).bounds(), 22.92, 1e-4);
    let copper_l = sizes(&[("1/2", 0.545), ("3/4", 0.785), ("1", 1.025)]);
    let suggest = |q: f64, fastest: f64| {
        let law = hazen(150.0, HazenWilliams::Nfpa13);
        suggest_size(&copper_l, gpm(q), law, &water(60.0), allowed, FeetPerSecond::exactly(fastest).into())
    };
    // 12 gpm runs at 7.955 ft/s in 3/4 in: just under 8, well over 5.
    assert_eq!(suggest(12.0, 8.0).expect("sizes").surely, Some(1));
    assert_eq!(suggest(12.0, 5.0).expect("sizes").surely, Some(2));
    assert_eq!(suggest(40.0, 8.0).expect("sizes").surely, None);
}

pub fn sizes(list: &[(&str, f64)]) -> Vec<PipeSize> {
    list.iter()
        .map(|(name, d)| PipeSize { name: (*name).into(), inside: Inches::exactly(*d).into() })
        .collect()
}

#[test]
fn a_size_that_only_may_do_is_not_called_sure() {
    let law = hazen(150.0, HazenWilliams::Nfpa13);
    let flow = CubicMetersPerSecond::from(GallonsPerMinute::span(11.0, 13.0).expect("a span"));
    let fastest = FeetPerSecond::exactly(8.0).into();
    let friction = PsiPerFoot::exactly(1.0).into();
    let got =
        suggest_size(&sizes(&[("3/4", 0.785), ("1", 1.025)]), flow, law, &water(60.0), friction, fastest);
    let got = got.expect("sizes");
    assert_eq!((got.perhaps, got.surely), (Some(0), Some(1)));
    let unsorted =
        suggest_size(&sizes(&[("1", 1.025), ("3/4", 0.785)]), flow, law, &water(60.0), friction, fastest);
    assert!(matches!(unsorted, Err(SuggestError::Order { .. })));
    assert_eq!(suggest_size(&[], flow, law, &water(60.0), friction, fastest), Err(SuggestError::NoSizes));
}

#[test]
fn fittings_add_up_as_length_by_the_table() {
    // Lengths invented for the test.
    let table = FittingTable::new(vec![
        ("elbow 90".into(), "3/4".into(), 2.0),
        ("tee branch".into(), "3/4".into(), 3.0),
        ("elbow 90".into(), "1".into(), 2.5),
    ])
    .expect("a table");
    assert_eq!(table.equivalent("3/4", &[("elbow 90", 4), ("tee branch", 1)]), Ok(Feet::exactly(11.0)));
    let error = table.equivalent("1", &[("tee branch", 1)]).expect_err("no row");
    assert!(
        error.to_string().contains("no equivalent length for tee branch in 1; it has elbow 90 3/4"),
        "{error}"
    );
    let bad = FittingTable::new(vec![("elbow 90".into(), "1".into(), -2.0)]);
    assert!(matches!(bad, Err(FittingError::Row { .. })));
}

#[test]
fn equivalent_length_counts_as_length_of_pipe() {
    let long = hundred_feet(0.785, hazen(150.0, HazenWilliams::Nfpa13));
    let short = Pipe { length: Feet::exactly(70.0).into(), equivalent: Feet::exactly(30.0).into(), ..long };
    let loss = |pipe: Pipe| pipe.loss(gpm(8.0), &water(60.0)).expect("a pipe").friction.bounds();
    near("sum", loss(short), loss(long).middle(), 1e-14);
}

#[test]
fn a_device_is_read_off_its_makers_curve() {
    let at = |q: f64, p: f64| (gpm(q), Pascals::from(Psi::exactly(p)));
    // A reduced pressure assembly: invented points with the fall at small flows that such curves have.
    let curve = LossCurve::points(&[at(0.0, 12.0), at(5.0, 10.0), at(20.0, 14.0)]).expect("a curve");
    let psi = |q: CubicMetersPerSecond| Psi::from(curve.loss(q).expect("on the curve")).bounds();
    near("on a point", psi(gpm(5.0)), 10.0, 1e-12);
    near("between", psi(gpm(12.5)), 12.0, 1e-12);
    let span = psi(GallonsPerMinute::span(1.0, 20.0).expect("a span").into());
    assert!(span.lo <= 10.0 && span.lo > 9.999 && (span.hi - 14.0).abs() < 1e-9, "{span:?}");
    assert!(matches!(curve.loss(gpm(21.0)), Err(CurveError::Beyond { .. })));
    assert!(matches!(LossCurve::points(&[at(5.0, 1.0)]), Err(CurveError::Start { .. })));
    assert!(matches!(LossCurve::points(&[]), Err(CurveError::Start { .. })));
    assert!(matches!(LossCurve::points(&[at(0.0, 1.0), at(0.0, 2.0)]), Err(CurveError::Point { .. })));
    // Turbulent loss of a meter: 15 psi at 20 gpm (AWWA C700 upper limit, from memory) makes 3.75 at 10.
    let meter = LossCurve::Square { at: gpm(20.0), loss: Psi::exactly(15.0).into() };
    near("meter", Psi::from(meter.loss(gpm(10.0)).expect("a loss")).bounds(), 3.75, 1e-12);
}

#[test]
fn a_sewage_pump_at_21_gpm_scours_a_2_inch_pipe() {
    // Worked example G12: 21 gpm in 2 in. schedule 40 (2.067 in) is 2.01 ft/s; 2-1/2 in 30 gpm 2.01; 3 in 46 gpm 2.00.
    for (q, d, speed) in [(21.0, 2.067, "2.01"), (30.0, 2.469, "2.01"), (46.0, 3.068, "2.00")] {
        let loss =
            hundred_feet(d, hazen(150.0, HazenWilliams::Nfpa13)).loss(gpm(q), &water(60.0)).expect("a pipe");
        reaches("speed", FeetPerSecond::from(loss.velocity).bounds(), speed, 1e-12);
    }
}

#[test]
fn pump_head_is_height_and_friction() {
    let pipe = hundred_feet(2.067, hazen(150.0, HazenWilliams::Epanet));
    let still = pump_head(Feet::exactly(12.0).into(), gpm(0.0), &pipe, &water(60.0)).expect("a head");
    near("no flow", Feet::from(still).bounds(), 12.0, 1e-12);
    // 4.727 x 150^-1.852 x (2.067/12)^-4.871 x 100 x (21/448.8312)^1.852 ft, reckoned in Python.
    let flowing = pump_head(Feet::exactly(12.0).into(), gpm(21.0), &pipe, &water(60.0)).expect("a head");
    near("21 gpm", Feet::from(flowing).bounds(), 12.0 + 0.798_409, 1e-6);
}

proptest! {
    #[test]
    fn a_span_of_pipes_holds_each_pipe_within(
        q in (0.0..30.0f64, 0.0..5.0f64), d in (0.4..2.0f64, 0.0..0.2f64), l in (1.0..100.0f64, 0.0..20.0f64),
        c in (90.0..150.0f64, 0.0..20.0f64), k in 0.0..10.0f64, at in prop::array::uniform5(0.0..=1.0f64), law in 0..3
    ) {
        let span = |(lo, more): (f64, f64)| Bounds { lo, hi: lo + more };
        let point = |b: Bounds, share: f64| exactly((b.lo + share * (b.hi - b.lo)).clamp(b.lo, b.hi));
        let pipe = |d: Bounds, l: Bounds, c: Bounds| Pipe {
            inside: Inches(d).into(),
            length: Feet(l).into(),
            equivalent: Meters::exactly(0.0),
            minor: exactly(k),
            law: match law {
                0 => Law::HazenWilliams { c, form: HazenWilliams::Nfpa13 },
                1 => Law::HazenWilliams { c, form: HazenWilliams::Epanet },
                _ => Law::Colebrook { roughness: Meters(Bounds { lo: c.lo * 1e-8, hi: c.hi * 1e-8 }) },
            },
        };
        let loss = |pipe: Pipe, q: Bounds| {
            let loss = pipe.loss(GallonsPerMinute(q).into(), &water(60.0)).expect("a pipe");
            (loss.friction.bounds(), loss.minor.bounds(), loss.velocity.bounds())
        };
        let (q, d, l, c) = (span(q), span(d), span(l), span(c));
        let whole = loss(pipe(d, l, c), q);
        let one = loss(pipe(point(d, at[1]), point(l, at[2]), point(c, at[3])), point(q, at[0]));
        for (whole, one) in [(whole.0, one.0), (whole.1, one.1), (whole.2, one.2)] {
            prop_assert!(whole.lo <= one.lo && one.hi <= whole.hi, "{whole:?} does not hold {one:?}");
        }
    }

    #[test]
    fn loss_rises_with_flow_and_falls_with_the_diameter(q in 0.01..40.0f64, d in 0.3..3.0f64, more in 0.001..1.0f64, law in 0..4) {
        let law = match law {
            0 => hazen(140.0, HazenWilliams::Nfpa13),
            1 => hazen(140.0, HazenWilliams::Epanet),
            2 => Law::SwameeJain { roughness_m: 1.5e-6, viscosity_m2_s: 1e-6 },
            _ => Law::Colebrook { roughness: Meters::exactly(1.5e-6) },
        };
        let loss = |q: f64, d: f64| hundred_feet(d, law).loss(gpm(q), &water(60.0)).expect("a pipe").friction.bounds();
        prop_assert!(loss(q, d).lo <= loss(q + more, d).hi);
        prop_assert!(loss(q, d + more).lo <= loss(q, d).hi);
    }

    #[test]
    fn no_pipe_makes_it_panic(x in prop::array::uniform20(prop::num::f64::ANY)) {
        let b = |i: usize| Bounds { lo: x[i], hi: x[i + 1] };
        let waters = [water(60.0), Water { weight: PascalsPerMeter(b(0)), viscosity: crownweir_sizing::SquareMetersPerSecond(b(2)), gravity: b(4) }];
        for water in waters {
            for law in [
                Law::HazenWilliams { c: b(6), form: HazenWilliams::Nfpa13 },
                Law::HazenWilliams { c: exactly(x[6].abs()), form: HazenWilliams::Epanet },
                Law::Colebrook { roughness: Meters(exactly(x[7].abs())) },
                Law::SwameeJain { roughness_m: x[8].abs(), viscosity_m2_s: x[9].abs() },
            ] {
                let points = |i: usize| exactly(x[i].abs());
                for (inside, length, minor, flow) in [(b(10), b(12), b(14), b(16)), (points(10), points(12), points(14), points(16))] {
                    let pipe = Pipe { inside: Meters(inside), length: Meters(length), equivalent: Meters(b(18)), minor, law };
                    let clean = Pipe { equivalent: Meters::exactly(0.0), ..pipe };
                    for pipe in [pipe, clean] {
                        if let Ok(loss) = pipe.loss(CubicMetersPerSecond(flow), &water) {
                            prop_assert!(loss.friction.bounds().is_sound());
                        }
                    }
                }
            }
        }
        let _ = water_viscosity(Kelvins(b(0)), Pascals(b(2)));
        let _ = LossCurve::points(&[(CubicMetersPerSecond(b(0)), Pascals(b(2))), (CubicMetersPerSecond(b(4)), Pascals(b(6)))]);
    }
}
