use crownweir_sizing::{
    Bounds, CubicMetersPerSecond, Feet, FeetPerSecond, GallonsPerMinute, HazenWilliams, Inches, Law, Link,
    LossCurve, Meters, Network, NetworkError, Node, Part, Pascals, Pipe, Psi, Solution, SuggestError, Water,
};
use proptest::prelude::*;

use crate::common::{exactly, near, number, rows};
use crate::inp::{self, House};
use crate::pipes::{fahrenheit, sizes};

const CASES: [(&str, &str); 4] = [
    ("tree", include_str!("../data/network-tree.inp")),
    ("dw", include_str!("../data/network-dw.inp")),
    ("loop", include_str!("../data/network-loop.inp")),
    ("prv", include_str!("../data/network-prv.inp")),
];

fn solved(text: &str) -> (House, Solution) {
    let house = inp::read(text).expect("a house");
    let solution = house.network.solve(house.supply, &house.water).expect("a solution");
    (house, solution)
}

fn node(house: &House, name: &str) -> usize {
    house.network.nodes.iter().position(|n| n.name == name).expect("a node")
}

/// Tolerances of the reference: heads to 0.002 ft, flows to 0.001 gpm (EPANET keeps 32-bit results).
fn agrees(what: &str, got: Bounds, expected: f64, tolerance: f64) {
    assert!((got.middle() - expected).abs() <= tolerance, "{what}: {got:?} against {expected}");
    assert!(got.hi - got.lo < 1e-4, "{what}: {got:?} is wide");
}

#[test]
fn four_houses_match_epanet_node_by_node_and_link_by_link() {
    let (nodes, links) = (
        rows(include_str!("../data/ref-network-nodes.csv")),
        rows(include_str!("../data/ref-network-links.csv")),
    );
    let mut compared = 0;
    for (case, text) in CASES {
        let (house, solution) = solved(text);
        assert_eq!(nodes.iter().filter(|r| r["case"] == case).count(), house.network.nodes.len(), "{case}");
        for row in nodes.iter().filter(|r| r["case"] == case) {
            let state = solution.nodes[node(&house, &row["node"])];
            let what = format!("{case} {}", row["node"]);
            agrees(&what, Feet::from(state.head).bounds(), number(row, "head_ft"), 0.002);
            if !row["pressure_psi_at_0.4333_psi_per_ft"].is_empty() {
                let psi = Psi::from(state.pressure).bounds();
                agrees(&what, psi, number(row, "pressure_psi_at_0.4333_psi_per_ft"), 0.002 * 0.4333 + 5e-5);
            }
            compared += 1;
        }
        for row in links.iter().filter(|r| r["case"] == case) {
            let index = house.network.links.iter().position(|l| l.name == row["link"]).expect("a link");
            let (state, what) = (solution.links[index], format!("{case} {}", row["link"]));
            agrees(&what, GallonsPerMinute::from(state.flow).bounds(), number(row, "flow_gpm"), 0.001);
            if let Some(speed) = state.velocity {
                agrees(&what, FeetPerSecond::from(speed).bounds(), number(row, "velocity_fps"), 0.001);
            }
            let psi_a_foot = 0.4333;
            let drop = Psi::from(state.loss).bounds();
            let feet = Bounds { lo: drop.lo / psi_a_foot, hi: drop.hi / psi_a_foot };
            agrees(&what, feet, number(row, "head_loss_ft"), 0.002);
            compared += 1;
        }
    }
    assert_eq!(compared, 53 + 50);
}

#[test]
fn the_tree_matches_a_solution_without_epanet() {
    let mut house = inp::read(CASES[0].1).expect("a house");
    for link in &mut house.network.links {
        // That solution does not round the velocity head as EPANET does; its K are whole or half.
        let Part::Pipe(pipe) = &mut link.part else { continue };
        pipe.minor = exactly((pipe.minor.middle() * 2.0).round() / 2.0);
    }
    let solution = house.network.solve(house.supply, &house.water).expect("a solution");
    for row in rows(include_str!("../data/ref-network-tree-by-hand.csv")) {
        let link = house.network.links.iter().position(|l| l.name == row["link"]).expect("a link");
        let state = solution.links[link];
        agrees(&row["link"], GallonsPerMinute::from(state.flow).bounds(), number(&row, "flow_gpm"), 1e-4);
        let head = Feet::from(solution.nodes[house.network.links[link].to].head).bounds();
        // Four decimals are printed, and its cubic foot a second is that of the definition.
        agrees(&row["link"], head, number(&row, "downstream_head_ft"), 1.1e-4);
    }
}

#[test]
fn the_critical_outlet_has_the_least_left_and_its_path_starts_at_the_main() {
    let (house, solution) = solved(CASES[0].1);
    let critical = solution.critical.expect("outlets");
    // Every outlet needs 8 psi here; EPANET has 46.7468 psi at the shower, the lowest of those that draw.
    assert_eq!(house.network.nodes[critical].name, "SHW");
    near("left", Psi::from(solution.nodes[critical].left.expect("an outlet")).bounds(), 38.7468, 1e-4);
    let path: Vec<&str> =
        solution.path(critical).iter().map(|&l| house.network.links[l].name.as_str()).collect();
    assert_eq!(path, ["P1", "P2", "P8", "P9", "P10"]);
    let lost: f64 = solution.path(critical).iter().map(|&l| solution.links[l].loss.bounds().middle()).sum();
    let rise = 0.4333 * 18.0 * 6_894.757_293_168;
    let start = house.supply.bounds().middle();
    near("budget", solution.nodes[critical].pressure.bounds(), start - rise - lost, 1e-9);
}

#[test]
fn two_houses_of_48_pipes_with_rings_and_a_reducing_valve_match_epanet() {
    // Made and solved by `tests/wntr/compare.py`: by Hazen and Williams, and by Darcy and Weisbach with pipes between laminar
    // and turbulent flow.
    for (text, results, feet, gallons) in [
        (
            include_str!("../data/network-house.inp"),
            include_str!("../data/ref-network-house.csv"),
            0.0006,
            0.0004,
        ),
        (
            include_str!("../data/network-house-dw.inp"),
            include_str!("../data/ref-network-house-dw.csv"),
            0.0002,
            0.0001,
        ),
    ] {
        let (house, solution) = solved(text);
        let rows = rows(results);
        assert!(house.network.links.len() >= 40);
        assert_eq!(rows.len(), house.network.nodes.len() + house.network.links.len());
        for row in rows {
            let expected = number(&row, "head_ft_or_flow_gpm");
            if row["kind"] == "node" {
                let state = solution.nodes[node(&house, &row["name"])];
                agrees(&row["name"], Feet::from(state.head).bounds(), expected, feet);
            } else {
                let link = house.network.links.iter().position(|l| l.name == row["name"]).expect("a link");
                agrees(
                    &row["name"],
                    GallonsPerMinute::from(solution.links[link].flow).bounds(),
                    expected,
                    gallons,
                );
            }
        }
    }
}

// Small networks of our own -------------------------------------------------------------------------

fn water() -> Water {
    Water::at(fahrenheit(60.0), Psi::exactly(60.0).into()).expect("water in a house")
}

fn joint(name: &str, feet: f64) -> Node {
    Node { name: name.into(), elevation: Feet::exactly(feet).into(), demand: gpm(0.0, 0.0), needs: None }
}

fn outlet(name: &str, feet: f64, demand: CubicMetersPerSecond, psi: f64) -> Node {
    Node { demand, needs: Some(Psi::exactly(psi).into()), ..joint(name, feet) }
}

fn gpm(lo: f64, hi: f64) -> CubicMetersPerSecond {
    GallonsPerMinute::span(lo, hi).expect("a span").into()
}

fn pipe(feet: f64, inside_in: f64) -> Pipe {
    Pipe {
        inside: Inches::exactly(inside_in).into(),
        length: Feet::exactly(feet).into(),
        equivalent: Meters::exactly(0.0),
        minor: exactly(0.0),
        law: Law::HazenWilliams { c: exactly(150.0), form: HazenWilliams::Nfpa13 },
    }
}

fn link(name: &str, from: usize, to: usize, part: Part) -> Link {
    Link { name: name.into(), from, to, part }
}

fn psi(p: f64) -> Pascals {
    Psi::exactly(p).into()
}

/// Main, meter, reducing valve, joint, two outlets.
fn fed_through(meter: Part, reducer: Part) -> Network {
    Network {
        nodes: vec![
            joint("main", 0.0),
            joint("after the meter", 0.0),
            joint("after the valve", 0.0),
            outlet("shower", 18.0, gpm(2.5, 2.5), 20.0),
            outlet("hose bibb", 2.0, gpm(5.0, 5.0), 8.0),
        ],
        links: vec![
            link("meter", 0, 1, meter),
            link("valve", 1, 2, reducer),
            link("riser", 2, 3, Part::Pipe(pipe(40.0, 0.785))),
            link("yard", 2, 4, Part::Pipe(pipe(30.0, 0.785))),
        ],
        source: 0,
    }
}

fn square_meter() -> Part {
    Part::Device(LossCurve::Square { at: gpm(20.0, 20.0), loss: psi(15.0) })
}

fn reducer(setting: f64, falloff: Option<LossCurve>, open: Option<LossCurve>) -> Part {
    Part::Reducer { setting: psi(setting), falloff, open }
}

fn at(solution: &Solution, node: usize) -> f64 {
    Psi::from(solution.nodes[node].pressure).bounds().middle()
}

#[test]
fn a_reducing_valve_holds_its_setting_and_passes_what_is_below_it() {
    let network = fed_through(square_meter(), reducer(60.0, None, None));
    let high = network.solve(psi(95.0), &water()).expect("a solution");
    // 15 psi x (7.5/20)^2 at the meter.
    assert!((at(&high, 1) - (95.0 - 2.109_375)).abs() < 1e-9);
    assert!((at(&high, 2) - 60.0).abs() < 1e-9);
    let low = network.solve(psi(50.0), &water()).expect("a solution");
    assert!((at(&low, 2) - (50.0 - 2.109_375)).abs() < 1e-9);
    // The valve's own numbers: 6 psi of fall-off at 10 gpm, 4 psi of loss wide open at 10 gpm.
    let curve =
        |p: f64| LossCurve::points(&[(gpm(0.0, 0.0), psi(0.0)), (gpm(10.0, 10.0), psi(p))]).expect("a curve");
    let real = fed_through(square_meter(), reducer(60.0, Some(curve(6.0)), Some(curve(4.0))));
    assert!((at(&real.solve(psi(95.0), &water()).expect("a solution"), 2) - (60.0 - 4.5)).abs() < 1e-9);
    let wide_open = real.solve(psi(50.0), &water()).expect("a solution");
    assert!((at(&wide_open, 2) - (50.0 - 2.109_375 - 3.0)).abs() < 1e-9);
}

#[test]
fn a_supply_that_may_be_below_the_setting_gives_bounds_that_reach_both() {
    let network = fed_through(square_meter(), reducer(60.0, None, None));
    let supply = Pascals::from(Psi::span(50.0, 95.0).expect("a span"));
    let after = Psi::from(network.solve(supply, &water()).expect("a solution").nodes[2].pressure).bounds();
    assert!((after.lo - 47.890_625).abs() < 1e-9 && (after.hi - 60.0).abs() < 1e-9, "{after:?}");
}

#[test]
fn static_pressure_falls_by_the_height_alone() {
    let mut network = fed_through(square_meter(), reducer(60.0, None, None));
    network.nodes.iter_mut().for_each(|n| n.demand = gpm(0.0, 0.0));
    let solution = network.solve(psi(95.0), &water()).expect("a solution");
    // Water of 60 F at 60 psig: 999.2 kg/m3, 0.43319 psi/ft.
    assert!((at(&solution, 3) - (60.0 - 18.0 * 0.433_19)).abs() < 1e-3, "{}", at(&solution, 3));
    assert!((at(&solution, 4) - (60.0 - 2.0 * 0.433_19)).abs() < 1e-3);
}

#[test]
fn piping_that_does_not_hang_together_is_refused_by_name() {
    let whole = fed_through(square_meter(), reducer(60.0, None, None));
    let error = |change: &dyn Fn(&mut Network)| {
        let mut network = whole.clone();
        change(&mut network);
        network.solve(psi(95.0), &water()).expect_err("refused")
    };
    let cut = error(&|n| drop(n.links.remove(2)));
    assert_eq!(cut.to_string(), "shower is not joined to the supply: add the pipe that feeds it");
    assert!(matches!(error(&|n| n.links[2].to = 9), NetworkError::NoSuchNode { index: 9, .. }));
    assert!(matches!(error(&|n| n.source = 5), NetworkError::NoSuchNode { index: 5, .. }));
    assert!(matches!(error(&|n| n.links[2].to = 2), NetworkError::Loop { .. }));
    assert!(matches!(error(&|n| (n.links[1].from, n.links[1].to) = (2, 1)), NetworkError::Backwards { .. }));
    let bypass = error(&|n| n.links.push(link("bypass", 1, 2, Part::Pipe(pipe(1.0, 0.545)))));
    assert!(matches!(bypass, NetworkError::DeviceInRing { ref link } if link == "valve"), "{bypass}");
    let negative = error(&|n| n.nodes[3].demand = CubicMetersPerSecond::exactly(-1.0));
    assert!(negative.to_string().starts_with("shower: the demand of -1 m3/s is not usable"), "{negative}");
    let short = LossCurve::points(&[(gpm(0.0, 0.0), psi(0.0)), (gpm(5.0, 5.0), psi(3.0))]).expect("a curve");
    assert!(matches!(error(&|n| n.links[0].part = Part::Device(short.clone())), NetworkError::Curve { .. }));
    assert!(matches!(error(&|n| n.nodes = vec![joint("x", 0.0); 2001]), NetworkError::TooLarge { .. }));
    assert!(matches!(error(&|n| n.nodes.clear()), NetworkError::NoSuchNode { .. }));
}

#[test]
fn a_ring_of_equal_pipes_shares_the_flow_in_halves() {
    let network = Network {
        nodes: vec![
            joint("main", 0.0),
            joint("a", 0.0),
            joint("b", 0.0),
            outlet("shower", 10.0, gpm(3.0, 3.0), 20.0),
        ],
        links: vec![
            link("left", 0, 1, Part::Pipe(pipe(20.0, 0.545))),
            link("right", 0, 2, Part::Pipe(pipe(20.0, 0.545))),
            link("left end", 1, 3, Part::Pipe(pipe(20.0, 0.545))),
            // Laid out against the flow.
            link("right end", 3, 2, Part::Pipe(pipe(20.0, 0.545))),
        ],
        source: 0,
    };
    let solution = network.solve(psi(60.0), &water()).expect("a solution");
    for (index, expected) in [(0, 1.5), (1, 1.5), (2, 1.5), (3, -1.5)] {
        let flow = GallonsPerMinute::from(solution.links[index].flow).bounds();
        assert!((flow.middle() - expected).abs() < 1e-9 && flow.hi - flow.lo < 1e-9, "{flow:?}");
    }
    assert!(solution.links[3].loss.bounds().hi < 0.0);
}

#[test]
fn a_ring_where_nothing_flows_is_still() {
    let network = Network {
        nodes: vec![joint("main", 0.0), joint("a", 0.0), joint("b", 0.0)],
        links: vec![
            link("1", 0, 1, Part::Pipe(pipe(20.0, 0.545))),
            link("2", 1, 2, Part::Pipe(pipe(20.0, 0.545))),
            link("3", 2, 0, Part::Pipe(pipe(30.0, 0.545))),
        ],
        source: 0,
    };
    let solution = network.solve(psi(60.0), &water()).expect("a solution");
    for state in &solution.links {
        let flow = GallonsPerMinute::from(state.flow).bounds();
        assert!(flow.contains(0.0) && flow.hi < 1e-3, "{flow:?}");
    }
    assert_eq!(solution.critical, None);
}

#[test]
fn sizes_are_suggested_that_keep_speed_and_pressure_and_none_smaller_does_on_the_way() {
    let network = fed_through(square_meter(), reducer(45.0, None, None));
    let sizes = sizes(&[("1/2", 0.545), ("3/4", 0.785), ("1", 1.025)]);
    let fastest = FeetPerSecond::exactly(8.0).into();
    let (sized, chosen) = network.suggest_sizes(psi(60.0), &water(), &sizes, fastest).expect("sizes");
    // 2.5 gpm in 1/2 in runs at 3.4 ft/s, 5 gpm at 6.9; 45 psi leave enough.
    assert_eq!(chosen, [None, None, Some(0), Some(0)]);
    let solution = sized.solve(psi(60.0), &water()).expect("a solution");
    assert!(solution.nodes.iter().filter_map(|n| n.left).all(|left| left.bounds().lo >= 0.0));
    // At 29 psi behind the valve the half-inch riser (1.8 psi) no longer leaves 20 at the shower, 18 ft up (7.8 psi).
    let tight = fed_through(square_meter(), reducer(29.0, None, None));
    let (_, chosen) = tight.suggest_sizes(psi(60.0), &water(), &sizes, fastest).expect("sizes");
    assert_eq!(chosen, [None, None, Some(1), Some(0)]);
    // At 27 psi no size does: 18 ft take 7.8 psi.
    let too_low = fed_through(square_meter(), reducer(27.0, None, None));
    let error = too_low.suggest_sizes(psi(60.0), &water(), &sizes, fastest).expect_err("too low");
    assert!(matches!(&error, SuggestError::TooLow { outlet, .. } if outlet == "shower"), "{error}");
    let slow = FeetPerSecond::exactly(1.0).into();
    assert!(matches!(
        network.suggest_sizes(psi(60.0), &water(), &sizes, slow),
        Err(SuggestError::TooFast { .. })
    ));
}

/// A tree of `ups.len()` pipes (each hangs on an earlier node) with `chords` added.
fn random(ups: &[usize], draws: &[(f64, f64)], chords: &[(usize, usize)], lengths: &[f64]) -> Network {
    let mut nodes = vec![joint("main", 0.0)];
    let mut links = Vec::new();
    for (index, (&up, &(draw, more))) in ups.iter().zip(draws).enumerate() {
        nodes.push(outlet(&format!("n{index}"), index as f64 % 7.0, gpm(draw, draw + more), 8.0));
        links.push(link(
            &format!("p{index}"),
            up % (index + 1),
            index + 1,
            Part::Pipe(pipe(lengths[index], 0.785)),
        ));
    }
    for (index, &(a, b)) in chords.iter().enumerate() {
        let (a, b) = (a % nodes.len(), b % nodes.len());
        if a != b {
            links.push(link(&format!("c{index}"), a, b, Part::Pipe(pipe(lengths[index] + 3.0, 0.545))));
        }
    }
    Network { nodes, links, source: 0 }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn rings_keep_continuity_and_lose_the_same_by_each_way(
        ups in prop::collection::vec(0..20usize, 12), draws in prop::collection::vec((0.0..1.0f64, 0.0..0.2f64), 12),
        chords in prop::collection::vec((0..20usize, 0..20usize), 1..4), lengths in prop::collection::vec(2.0..40.0f64, 12),
        at in prop::collection::vec(0.0..=1.0f64, 12)
    ) {
        let spans = random(&ups, &draws, &chords, &lengths);
        let whole = spans.solve(psi(80.0), &water()).expect("a solution");
        let mut inner = spans.clone();
        for (node, share) in inner.nodes[1..].iter_mut().zip(&at) {
            let d = node.demand.bounds();
            node.demand = CubicMetersPerSecond::exactly((d.lo + share * (d.hi - d.lo)).clamp(d.lo, d.hi));
        }
        let one = inner.solve(psi(80.0), &water()).expect("a solution");
        // Continuity at every node but the main.
        for node in 1..inner.nodes.len() {
            let mut lo = -inner.nodes[node].demand.bounds().hi;
            let mut hi = -inner.nodes[node].demand.bounds().lo;
            for (l, state) in inner.links.iter().zip(&one.links) {
                let flow = state.flow.bounds();
                if l.to == node { lo += flow.lo; hi += flow.hi; }
                if l.from == node { lo -= flow.hi; hi -= flow.lo; }
            }
            prop_assert!(lo <= 1e-15 && hi >= -1e-15, "node {node}: {lo} {hi}");
        }
        // The law of each pipe holds within the bounds of its ends.
        for (l, state) in inner.links.iter().zip(&one.links) {
            let Part::Pipe(pipe) = &l.part else { continue };
            let flow = state.flow.bounds();
            let forward = CubicMetersPerSecond::exactly(flow.middle().abs());
            let loss = pipe.loss(forward, &water()).expect("a pipe").friction.bounds().middle() * flow.middle().signum();
            prop_assert!((loss - state.loss.bounds().middle()).abs() < 1e-3 + 1e-6 * loss.abs(), "{}: {loss} {:?}", l.name, state.loss);
        }
        // Every demand within the spans is held.
        for (whole, one) in whole.nodes.iter().zip(&one.nodes) {
            let (whole, one) = (whole.pressure.bounds(), one.pressure.bounds());
            prop_assert!(whole.lo <= one.lo && one.hi <= whole.hi, "{whole:?} does not hold {one:?}");
        }
        for (whole, one) in whole.links.iter().zip(&one.links) {
            let (whole, one) = (whole.flow.bounds(), one.flow.bounds());
            prop_assert!(whole.lo <= one.middle() && one.middle() <= whole.hi, "{whole:?} does not hold {one:?}");
        }
    }

    #[test]
    fn more_draw_or_less_supply_never_raises_a_pressure(
        ups in prop::collection::vec(0..20usize, 10), draws in prop::collection::vec((0.0..1.0f64, 0.0..1e-9f64), 10),
        chords in prop::collection::vec((0..20usize, 0..20usize), 0..3), lengths in prop::collection::vec(2.0..40.0f64, 10),
        who in 1..11usize, more in 0.01..2.0f64
    ) {
        let network = random(&ups, &draws, &chords, &lengths);
        let before = network.solve(psi(80.0), &water()).expect("a solution");
        let mut drawn = network.clone();
        let d = drawn.nodes[who].demand.bounds();
        drawn.nodes[who].demand = CubicMetersPerSecond(Bounds { lo: d.lo + more * 6e-5, hi: d.hi + more * 6e-5 });
        for after in [drawn.solve(psi(80.0), &water()), network.solve(psi(79.0), &water())] {
            for (before, after) in before.nodes.iter().zip(after.expect("a solution").nodes) {
                prop_assert!(after.pressure.bounds().lo <= before.pressure.bounds().hi);
            }
        }
    }

    #[test]
    fn no_network_makes_it_panic(
        ends in prop::collection::vec((0..6usize, 0..6usize), 0..10), x in prop::collection::vec(prop::num::f64::ANY, 30),
        kinds in prop::collection::vec(0..4u8, 10), count in 0..6usize, source in 0..7usize
    ) {
        let b = |i: usize| Bounds { lo: x[i % 30], hi: x[(i + 1) % 30] };
        for wild in [true, false] {
            let value = |i: usize| if wild { b(i) } else { exactly(x[i % 30].abs().fract() + 0.5) };
            let nodes = (0..count)
                .map(|i| Node { name: i.to_string(), elevation: Meters(value(i)), demand: CubicMetersPerSecond(value(i + 3)), needs: (i % 2 == 0).then_some(Pascals(value(i + 5))) })
                .collect();
            let links = ends
                .iter()
                .zip(&kinds)
                .enumerate()
                .map(|(i, (&(from, to), kind))| {
                    let law = Law::HazenWilliams { c: value(i + 7), form: HazenWilliams::Epanet };
                    let pipe = Pipe { inside: Meters(value(i)), length: Meters(value(i + 1)), equivalent: Meters(value(i + 2)), minor: value(i + 3), law };
                    let curve = LossCurve::Square { at: CubicMetersPerSecond(value(i)), loss: Pascals(value(i + 4)) };
                    let part = match kind {
                        0 => Part::Device(curve),
                        1 => Part::Reducer { setting: Pascals(value(i)), falloff: Some(curve.clone()), open: None },
                        _ => Part::Pipe(pipe),
                    };
                    link(&i.to_string(), from, to, part)
                })
                .collect();
            let network = Network { nodes, links, source };
            let fastest = crownweir_sizing::MetersPerSecond(value(3));
            let _ = network.solve(Pascals(value(0)), &water());
            let _ = network.suggest_sizes(Pascals(value(0)), &water(), &sizes(&[("1/2", 0.545), ("1", 1.025)]), fastest);
        }
    }
}
