//! Reasons, what is still needed, what is asked, and cases.

mod common;
use common::*;
use crownweir_rules::*;

fn needs(body: &str, situation: &str, id: &str) -> Vec<String> {
    let text = code(&provision("p", body), &[]);
    let world = world(text.vocabulary(), situation);
    let subject = world.find(id).unwrap();
    text.needed(&world, 0, subject)
        .into_iter()
        .map(|need| {
            let of = world.id(need.subject);
            match need.what {
                NeedWhat::Fact(fact) => format!("{of}.{fact}"),
                NeedWhat::Closing(kind) => format!("all {kind} in {of}"),
            }
        })
        .collect()
}

#[test]
fn nothing_is_asked_that_cannot_matter() {
    let table: &[(&str, &str, &[&str])] = &[
        ("  for sink\n  require tight and reached", "sink s", &["s.tight", "s.reached"]),
        ("  for sink\n  require tight and reached", "sink s: tight = yes", &["s.reached"]),
        ("  for sink\n  require tight and reached", "sink s: tight = no", &[]),
        ("  for sink\n  require tight or reached", "sink s: tight = yes", &[]),
        ("  for sink\n  when tight\n  require reached", "sink s", &["s.tight", "s.reached"]),
        // It complies if it applies: whether it applies need not be seen.
        ("  for sink\n  when tight\n  require reached", "sink s: reached = yes", &[]),
        ("  for sink\n  when tight\n  require reached", "sink s: reached = no", &["s.tight"]),
        ("  for sink\n  when tight\n  require reached", "sink s: tight = no", &[]),
        (
            "  for sink\n  require tailpiece.length <= (if tight then 24 in else 30 in)",
            "sink s: tight = yes",
            &["s.tailpiece.length"],
        ),
        (
            "  for sink\n  require tailpiece.length <= (if tight then 24 in else 30 in)",
            "sink s: tailpiece.length = 28 in",
            &["s.tight"],
        ),
        (
            "  for sink\n  require max(tailpiece.length, arm.length) <= 24 ft",
            "sink s: arm.length = 2 ft",
            &[],
        ),
        ("  for sink\n  require max(tailpiece.length, arm.length) <= 24 ft", "sink s", &["s.arm.length"]),
        (
            "  for house\n  require at least 2 bibb in house where side is front",
            "house h\nyard y in h\nbibb a in y: side = front\nbibb b in y\nbibb c in y: side = rear",
            &["b.side", "all bibb in h"],
        ),
        (
            "  for house\n  require at least 2 bibb in house where side is front",
            "house h\nyard y in h\nbibb a in y: side = front\nbibb b in y: side = front",
            &[],
        ),
        (
            "  for supply\n  when valve in quick_closing\n  require some arrestor in supply",
            "sink s\nsupply c in s: valve = solenoid",
            &["all arrestor in c"],
        ),
        (
            "  for sink\n  require tailpiece.length <= 24 in",
            "sink s: tailpiece.length = 20 in | 30 in",
            &["s.tailpiece.length"],
        ),
    ];
    for (body, situation, expected) in table {
        assert_eq!(
            needs(
                body,
                situation,
                if situation.contains("house h") {
                    "h"
                } else if situation.contains("supply c") {
                    "c"
                } else {
                    "s"
                }
            ),
            *expected,
            "{body}\n{situation}"
        );
    }
}

#[test]
fn exceptions_that_may_still_hold_are_asked_for_and_beaten_ones_are_not() {
    let body = "  for sink\n  require tailpiece.length <= 24 in\n  except a\n    when tight\n    waive\n  except b over a\n    when reached\n    require tailpiece.length <= 30 in";
    assert_eq!(needs(body, "sink s: tailpiece.length = 28 in", "s"), ["s.tight", "s.reached"]);
    assert_eq!(needs(body, "sink s: reached = yes", "s"), ["s.tailpiece.length"]);
    assert!(needs(body, "sink s: tailpiece.length = 28 in, reached = yes", "s").is_empty());
}

#[test]
fn the_headline_says_what_is_still_to_be_seen() {
    let text = code(&provision("p", "  for sink\n  require tailpiece.length <= 24 in and tight"), &[]);
    let open = world(text.vocabulary(), "sink s");
    let reason = text.explain(&open, 0, 0);
    assert_eq!(reason.headline, "still to see: Drop from outlet to trap; Tight");
    assert_eq!(reason.margin, None);
    let lines: Vec<(Mark, &str, &str)> =
        reason.lines.iter().map(|l| (l.mark, l.text.as_str(), l.detail.as_str())).collect();
    assert_eq!(
        lines,
        [
            (Mark::Open, "tailpiece.length <= 24 in", "not seen against 24 in"),
            (Mark::None, "tailpiece.length", "not seen"),
            (Mark::Open, "tight", "not seen"),
        ]
    );
}

#[test]
fn margins_are_exact_and_in_the_units_of_the_fact() {
    let table = [
        (
            "  for sink\n  require tailpiece.length <= 24 in",
            "sink s: tailpiece.length = 26-1/2 in",
            Some("by 2-1/2 in"),
        ),
        (
            "  for sink\n  require tailpiece.length <= 24 in",
            "sink s: tailpiece.length = 26 in | 30 in",
            Some("by at least 2 in"),
        ),
        ("  for house\n  require pressure <= 80 psi", "house s: pressure = 95 psi", Some("by 15 psi")),
        ("  for heater\n  require outlet.heat <= 120 F", "heater s: outlet.heat = 140 F", Some("by 20 F")),
        ("  for sink\n  require tight", "sink s: tight = no", None),
        ("  for sink\n  require tailpiece.length <= 24 in", "sink s: tailpiece.length = 20 in", None),
    ];
    for (body, situation, expected) in table {
        let text = code(&provision("p", body), &[]);
        let world = world(text.vocabulary(), situation);
        assert_eq!(text.explain(&world, 0, 0).margin.as_deref(), expected, "{situation}");
    }
}

#[test]
fn disputed_values_and_who_said_so_stand_in_the_reason() {
    let text = code(&provision("p", "  for sink\n  require tailpiece.length <= 24 in"), &[]);
    let mut world = world(text.vocabulary(), "sink s");
    let words = text.vocabulary();
    let value = |v: &str| words.parse_value("tailpiece.length", v).unwrap();
    world
        .seen(0, "tailpiece.length", &[value("20 in"), value("30 in")], "R. Okafor 10:42, P. Lindqvist 10:51")
        .unwrap();
    let lines = text.explain(&world, 0, 0).lines;
    assert_eq!(lines[1].detail, "disputed: 20 in or 30 in, R. Okafor 10:42, P. Lindqvist 10:51");
}

#[test]
fn a_facts_that_a_stage_reads_are_listed_in_order_of_first_reading() {
    let provisions = format!(
        "{}{}{}",
        provision("a", "  for sink\n  when vent is aav\n  require tailpiece.length <= 24 in and tight"),
        provision("b", "  for supply\n  require fixture.tight and some arrestor in supply"),
        provision("c", "  for house\n  require every sink in house has reached")
            .replace("stage final", "stage rough"),
    );
    let text = code(&provisions, &[]);
    assert_eq!(text.asks("sink", "final"), ["vent", "tailpiece.length", "tight"]);
    assert_eq!(text.asks("lavatory", "final"), ["tight"]);
    assert_eq!(text.asks("sink", "rough"), ["reached"]);
    assert!(text.asks("house", "final").is_empty());
    assert!(text.asks("nothing", "final").is_empty() && text.asks("sink", "nothing").is_empty());
}

#[test]
fn findings_come_in_the_order_of_provisions_then_subjects() {
    let provisions = format!(
        "{}{}",
        provision("a", "  for sink\n  require tight"),
        provision("b", "  for fixture\n  require reached")
    );
    let text = code(&provisions, &[]);
    let world = world(text.vocabulary(), "sink s\nlavatory l\nsink t: tight = yes");
    let found: Vec<(usize, usize, Verdict)> =
        text.assess(&world, "final").into_iter().map(|f| (f.provision, f.subject, f.verdict)).collect();
    use Verdict::{Complies, Undetermined};
    assert_eq!(
        found,
        [
            (0, 0, Undetermined),
            (0, 2, Complies),
            (1, 0, Undetermined),
            (1, 1, Undetermined),
            (1, 2, Undetermined)
        ]
    );
    assert!(text.assess(&world, "groundwork").is_empty());
}

fn cases(cases: &str) -> Vec<CaseOutcome> {
    let provision = provision("p", "  for sink\n  limit reach = 24 in\n  require tailpiece.length <= reach");
    library(&files(&provision, &[("code/cases/c.rules", cases)])).run_cases()
}

#[test]
fn cases_hold_or_say_what_came_out() {
    let outcomes = cases(
        "case \"over\" of p\n  given sink s: tailpiece.length = 26 in\n  expect violates by 2 in because \"tailpiece.length <= reach\"\n  source arithmetic\n\
         case \"at the limit\" of p     given sink s: tailpiece.length = 24 in     expect complies\n\
         case \"wrong margin\" of p given sink s: tailpiece.length = 26 in expect violates by 3 in\n\
         case \"wrong verdict\" of p given sink s expect complies\n\
         case \"two\" of p\n  given house h, room r in h, sink a in r: tailpiece.length = 20 in\n  given sink b in r\n  expect complies for a\n  expect undetermined for b\n  expect not applicable for r\n\
         case \"disputed\" of p given sink s: tailpiece.length = {20 in, 30 in} expect undetermined\n\
         case \"stage\" of p given sink s: tailpiece.length = 30 in stage rough expect not applicable\n",
    );
    let passed: Vec<(&str, bool)> = outcomes.iter().map(|c| (c.title.as_str(), c.passed)).collect();
    assert_eq!(
        passed,
        [
            ("over", true),
            ("at the limit", true),
            ("wrong margin", false),
            ("wrong verdict", false),
            ("two", true),
            ("disputed", true),
            ("stage", true)
        ]
    );
    assert_eq!(outcomes[0].source, "arithmetic");
    assert_eq!((outcomes[2].expected.as_str(), outcomes[2].line), ("violates by 3 in", 6));
    assert_eq!(outcomes[2].found, "violates by 2 in (Drop from outlet to trap 26 in, at most 24 in)");
}

#[test]
fn values_are_read_as_people_type_them_and_written_back() {
    let library = library(&files("", &[]));
    let words = library.vocabulary();
    let good = [
        ("tailpiece.length", "23 5/8 in", "23-5/8 in"),
        ("tailpiece.length", "23-5/8\"", "23-5/8 in"),
        ("tailpiece.length", "1' 11 5/8\"", "23-5/8 in"),
        ("tailpiece.length", "2ft", "24 in"),
        ("tailpiece.length", "609.6 mm", "24 in"),
        ("tailpiece.length", "23\u{bd} in", "23-1/2 in"),
        ("tailpiece.length", ".5 in", "1/2 in"),
        ("first_hour", "67 gal", "67 gal"),
        ("outlet.heat", "49 C", "120.2 F"),
        ("trap.size", "1-1/2", "1-1/2 nps"),
        ("trap.size", "1.5 nps", "1-1/2 nps"),
        ("arm.slope", "1/4 in/ft", "1/4 in/ft"),
        ("arm.slope", "2 %", "6/25 in/ft"),
        ("tight", "Yes", "yes"),
        ("valve", "Solenoid valve", "solenoid"),
        ("valve", "lever quick", "lever_quick"),
        ("people", "4", "4"),
        ("built", "1987-06-30", "1987-06-30"),
        ("load", "20 dfu", "20 dfu"),
    ];
    for (fact, typed, canonical) in good {
        let value = words.parse_value(fact, typed).unwrap_or_else(|e| panic!("{fact} {typed}: {e}"));
        let written = words.format_value(fact, &value);
        if typed != "2 %" {
            assert_eq!(written, canonical, "{typed}");
        }
        assert_eq!(words.parse_value(fact, &written), Ok(value), "{written} reads back");
    }
    let bad = [
        ("tailpiece.length", "24", "`24` has no unit; type `24 in` or `24 ft` or `24 mm`"),
        (
            "tailpiece.length",
            "24 gal",
            "`gal` is no unit of Drop from outlet to trap; units are in, ft, mm, cm, m",
        ),
        ("tailpiece.length", "100 in", "100 in is outside 0 in to 96 in; check the measure and the unit"),
        ("tailpiece.length", "-1 in", "-1 in is outside 0 in to 96 in; check the measure and the unit"),
        ("tailpiece.length", "", "nothing is typed; type a number with its unit, like `23-5/8 in`"),
        ("tailpiece.length", "long", "`long` cannot be read; type a number with its unit, like `23-5/8 in`"),
        (
            "tailpiece.length",
            "1/0 in",
            "`1/0 in` cannot be read; type a number with its unit, like `23-5/8 in`",
        ),
        ("tight", "perhaps", "`perhaps` cannot be read; type `yes` or `no`"),
        ("people", "2.5", "`2.5` cannot be read; type a whole number"),
        (
            "trap.size",
            "1.7",
            "`1.7` cannot be read; type a nominal size: 1-1/4, 1-1/2, 2, 2-1/2, 3, 3-1/2, 4",
        ),
        ("trap.size", "6", "6 nps is outside 1-1/4 nps to 4 nps; check the measure and the unit"),
        ("built", "30.6.1987", "`30.6.1987` cannot be read; type a date, like `2026-03-01`"),
        ("tailpeice.length", "1 in", "there is no fact `tailpeice.length`; did you mean `tailpiece.length`?"),
    ];
    for (fact, typed, message) in bad {
        assert_eq!(words.parse_value(fact, typed).unwrap_err().to_string(), message, "{fact} {typed}");
    }
}

#[test]
fn a_world_refuses_what_the_vocabulary_does_not_know() {
    let library = library(&files("", &[]));
    let words = library.vocabulary();
    let mut world = World::new(words);
    world.add("h", "house", None).unwrap();
    let told = |e: WorldError| e.to_string();
    assert_eq!(
        told(world.add("x", "snik", None).unwrap_err()),
        "there is no kind `snik`; did you mean `sink`?"
    );
    assert_eq!(
        told(world.add("x", "device", None).unwrap_err()),
        "`device` is a family of kinds; a subject is one of arrestor, stop"
    );
    assert_eq!(told(world.add("h", "house", None).unwrap_err()), "there already is a subject `h`");
    assert_eq!(told(world.add("x", "room", Some("y")).unwrap_err()), "there is no subject `y` to put it in");
    assert_eq!(told(world.add("x", "sink", Some("h")).unwrap_err()), "a `sink` does not stand in a `house`");
    assert_eq!(
        told(world.seen(0, "tight", &[Value::Truth(true)], "").unwrap_err()),
        "a `house` has no fact `tight`"
    );
    assert_eq!(
        told(world.seen(0, "people", &[Value::Truth(true)], "").unwrap_err()),
        "the value is not one that `people` may have"
    );
    assert_eq!(world.len(), 1, "nothing refused was kept");
}

#[test]
fn the_vocabulary_says_what_stands_where_and_what_is_asked() {
    let library = library(&files("", &[]));
    let words = library.vocabulary();
    assert_eq!(words.can_hold("room"), ["sink", "bar_sink", "lavatory", "water_closet", "heater"]);
    assert_eq!(words.can_hold("supply"), ["arrestor", "stop"]);
    assert!(words.is_a("bar_sink", "fixture") && !words.is_a("fixture", "bar_sink"));
    let facts: Vec<&str> = words.facts_of("water_closet").iter().map(|f| f.name.as_str()).collect();
    assert_eq!(facts, ["trap.size", "arm.length", "arm.slope", "vent", "tight", "reached", "grade"]);
    let length = words.fact("tailpiece.length").unwrap();
    assert_eq!(length.label, "Drop from outlet to trap");
    let Entry::Number { units, fractions, least, most } = &length.entry else { panic!("a number") };
    assert_eq!((units[0].as_str(), *fractions, least.as_str(), most.as_str()), ("in", true, "0 in", "96 in"));
    assert_eq!(
        words.kind("bar_sink").unwrap().parents,
        ["room"],
        "narrower kinds stand where their broader ones do"
    );
}
