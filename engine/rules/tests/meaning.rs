//! What the language means: verdicts, sets of what is possible, aggregates, tables, exceptions.

mod common;
use common::*;
use crownweir_rules::Verdict::{self, Complies, NotApplicable, Settled, Undetermined, Violates};

/// The table of verdicts, entire: condition and requirement each true, unknown, false.
#[test]
fn verdicts_follow_condition_and_requirement() {
    let body = "  for sink\n  when tight\n  require reached";
    let table = [
        ("yes", "yes", Complies),
        ("yes", "", Undetermined),
        ("yes", "no", Violates),
        ("", "yes", Settled),
        ("", "", Undetermined),
        ("", "no", Undetermined),
        ("no", "yes", NotApplicable),
        ("no", "", NotApplicable),
        ("no", "no", NotApplicable),
    ];
    for (applies, required, expected) in table {
        let fact = |name: &str, value: &str| {
            if value.is_empty() { String::new() } else { format!("{name} = {value},") }
        };
        let situation = format!("sink s: {}{}", fact("tight", applies), fact("reached", required));
        assert_eq!(decide(body, &situation, "s"), expected, "{situation}");
    }
}

#[test]
fn a_limit_is_exact_in_every_spelling() {
    for limit in ["24 in", "2 ft", "609.6 mm", "60.96 cm", "1 ft 12 in"] {
        let body = format!("  for sink\n  limit reach = {limit}\n  require tailpiece.length <= reach");
        for at in ["24 in", "2 ft", "609.6 mm", "1 ft 12 in", "23 16/16 in"] {
            let situation = format!("sink s: tailpiece.length = {at}");
            if at == "23 16/16 in" {
                // A fraction of one whole is no tape reading; nothing is guessed.
                assert!(
                    code(&provision("p", &body), &[])
                        .vocabulary()
                        .parse_value("tailpiece.length", at)
                        .is_err()
                );
                continue;
            }
            assert_eq!(decide(&body, &situation, "s"), Complies, "{at} against {limit}");
        }
        for over in ["24-1/16 in", "609.60001 mm"] {
            assert_eq!(decide(&body, &format!("sink s: tailpiece.length = {over}"), "s"), Violates, "{over}");
        }
    }
}

#[test]
fn an_unknown_within_its_declared_range_may_decide() {
    // Declared 0 to 96 in: at most 100 in holds whatever is found.
    let body = "  for sink\n  require tailpiece.length <= 24 in or arm.length <= 40 ft";
    assert_eq!(decide(body, "sink s", "s"), Complies);
}

#[test]
fn a_disputed_fact_is_decided_when_its_values_agree() {
    let body = "  for sink\n  require tailpiece.length <= 24 in";
    assert_eq!(decide(body, "sink s: tailpiece.length = 20 in | 22 in", "s"), Complies);
    assert_eq!(decide(body, "sink s: tailpiece.length = 25 in | 40 in", "s"), Violates);
    assert_eq!(decide(body, "sink s: tailpiece.length = 20 in | 40 in", "s"), Undetermined);
}

#[test]
fn disputed_values_are_kept_apart_not_smeared() {
    // 10 or 30 is never 20: bounds alone would leave this open.
    let body = "  for sink\n  require tailpiece.length <= 10 in or tailpiece.length >= 30 in";
    assert_eq!(decide(body, "sink s: tailpiece.length = 10 in | 30 in", "s"), Complies);
}

#[test]
fn an_unknown_read_twice_is_one_unknown() {
    assert_eq!(decide("  for sink\n  require tight or not tight", "sink s", "s"), Complies);
    assert_eq!(
        decide("  for sink\n  require vent is aav or vent in {open_vent, none}", "sink s", "s"),
        Complies
    );
    assert_eq!(decide("  for sink\n  require tight and not tight", "sink s", "s"), Violates);
}

#[test]
fn a_fact_of_the_place_above_is_read_by_its_kind() {
    let body = "  for heater\n  when room.use is bedroom\n  require outlet.heat <= 120 F";
    let at = |room: &str| format!("house h\nroom r in h: {room}\nheater w in r: outlet.heat = 140 F");
    assert_eq!(decide(body, &at("use = bedroom"), "w"), Violates);
    assert_eq!(decide(body, &at("use = other"), "w"), NotApplicable);
    assert_eq!(decide(body, &at(""), "w"), Undetermined);
    // A heater that stands in no room: there is nothing to ask, and ignorance does not decide.
    assert_eq!(decide(body, "house h\nheater w in h: outlet.heat = 140 F", "w"), Undetermined);
}

#[test]
fn kinds_are_asked_by_name_and_by_family() {
    let body = "  for fixture\n  when fixture is not water_closet\n  require fixture in {sink, lavatory}";
    for (kind, expected) in [("sink", Complies), ("bar_sink", Violates), ("water_closet", NotApplicable)] {
        assert_eq!(decide(body, &format!("{kind} f"), "f"), expected, "{kind}");
    }
}

#[test]
fn two_bibbs_seen_decide_at_least_two_though_the_yard_is_not_finished() {
    let body = "  for house\n  require at least 2 bibb in house";
    let two = "house h\nyard y in h\nbibb a in y\nbibb b in y";
    let one = "house h\nyard y in h\nbibb a in y";
    assert_eq!(decide(body, two, "h"), Complies);
    assert_eq!(decide(body, one, "h"), Undetermined);
    assert_eq!(decide(body, &format!("{one}\nall bibb in h"), "h"), Violates);
    // Closing the lists on the way says as much.
    assert_eq!(decide(body, &format!("{one}\nall yard in h"), "h"), Undetermined);
    assert_eq!(decide(body, &format!("{one}\nall yard in h\nall bibb in y"), "h"), Violates);
    assert_eq!(decide(body, &format!("{one}\nall bibb in y"), "h"), Undetermined);
}

/// Some, every, no and counts over open and closed lists with known and unknown members.
#[test]
fn quantifiers_decide_only_what_is_sure() {
    let members = |facts: &[&str], closed: bool| {
        let mut out = "house h\nyard y in h\n".to_owned();
        for (i, fact) in facts.iter().enumerate() {
            out.push_str(&format!(
                "bibb b{i} in y: {}\n",
                if fact.is_empty() { String::new() } else { format!("side = {fact}") }
            ));
        }
        if closed {
            out.push_str("all bibb in h\n");
        }
        out
    };
    let table: &[(&str, &[&str], bool, Verdict)] = &[
        ("some bibb in house has side is front", &["front"], false, Complies),
        ("some bibb in house has side is front", &["rear", ""], false, Undetermined),
        ("some bibb in house has side is front", &["rear", ""], true, Undetermined),
        ("some bibb in house has side is front", &["rear"], true, Violates),
        ("some bibb in house has side is front", &[], true, Violates),
        ("some bibb in house has side is front", &[], false, Undetermined),
        ("every bibb in house has side is front", &["front"], false, Undetermined),
        ("every bibb in house has side is front", &["front"], true, Complies),
        ("every bibb in house has side is front", &["rear"], false, Violates),
        ("every bibb in house has side is front", &[], true, Complies),
        ("every bibb in house where side is front has side is rear", &["rear"], true, Complies),
        ("no bibb in house has side is front", &["front"], false, Violates),
        ("no bibb in house has side is front", &["rear"], true, Complies),
        ("no bibb in house has side is front", &["rear"], false, Undetermined),
        ("at most 1 bibb in house", &["", ""], false, Violates),
        ("at most 1 bibb in house where side is front", &["front", ""], true, Undetermined),
        ("at most 2 bibb in house where side is front", &["front", ""], true, Complies),
        ("exactly 2 bibb in house", &["", ""], true, Complies),
        ("exactly 2 bibb in house", &["", ""], false, Undetermined),
        ("exactly 1 bibb in house", &["", ""], false, Violates),
        ("count(bibb in house where side is front) >= 1", &["front", ""], false, Complies),
    ];
    for (require, facts, closed, expected) in table {
        let body = format!("  for house\n  require {require}");
        assert_eq!(
            decide(&body, &members(facts, *closed), "h"),
            *expected,
            "{require} over {facts:?} closed {closed}"
        );
    }
}

#[test]
fn sums_grow_with_what_may_still_be_listed() {
    let body = "  for house\n  require sum(first_hour over heater in house) >= 67 gal";
    let one = "house h\nroom r in h\nheater a in r: first_hour = 40 gal\n";
    let two =
        "house h\nroom r in h\nheater a in r: first_hour = 40 gal\nheater b in h: first_hour = 27 gal\n";
    assert_eq!(decide(body, one, "h"), Undetermined);
    assert_eq!(decide(body, &format!("{one}all heater in h"), "h"), Violates);
    // Ratings are never negative, so two heaters already decide.
    assert_eq!(decide(body, two, "h"), Complies);
    let unread = "house h\nheater a in h: first_hour = 40 gal\nheater b in h\nall heater in h";
    assert_eq!(decide(body, unread, "h"), Undetermined);
    let least = "  for house\n  require least(first_hour over heater in house) >= 30 gal";
    assert_eq!(decide(least, &format!("{two}all heater in h"), "h"), Violates);
    assert_eq!(decide(least, two, "h"), Violates);
    assert_eq!(decide(least, &format!("{one}all heater in h"), "h"), Complies);
    assert_eq!(decide(least, one, "h"), Undetermined);
}

const ARM: &str = "size [nps =],slope [in/ft],longest [in rising],source\n\
1-1/4,1/4,60,trade table\n1-1/2,1/4,72,trade table\n2,1/4,96,trade table\n3,1/8,144,trade table\notherwise,undetermined\n";

#[test]
fn a_row_of_a_table_gives_all_its_columns() {
    let body = "  for fixture\n  let row = table trap_arm[trap.size]\n  require arm.slope >= row.slope and arm.length <= row.longest\n      and arm.length * arm.slope <= diameter(trap.size)";
    let text = code(&provision("p", body), &[("code/tables/trap_arm.csv", ARM)]);
    let decide = |facts: &str| verdict(&text, &world(text.vocabulary(), &format!("sink s: {facts}")), "s");
    assert_eq!(decide("trap.size = 1-1/2, arm.length = 72 in, arm.slope = 1/4 in/ft"), Complies);
    assert_eq!(decide("trap.size = 1-1/2, arm.length = 72-1/16 in, arm.slope = 1/4 in/ft"), Violates);
    // 6 ft at 3/8 in a foot falls 2-1/4 in, more than the 2 in pipe.
    assert_eq!(decide("trap.size = 2, arm.length = 6 ft, arm.slope = 3/8 in/ft"), Violates);
    // No row for 4 in: beyond the table, undetermined.
    assert_eq!(decide("trap.size = 4, arm.length = 1 in, arm.slope = 1/4 in/ft"), Undetermined);
    // Size not seen: every row, and those beyond, are possible.
    assert_eq!(decide("arm.length = 13 ft, arm.slope = 1/4 in/ft"), Undetermined);
}

#[test]
fn up_takes_the_next_larger_row_and_down_the_next_smaller() {
    let up = "length [in up],gap [in],source\n12,1,x\n24,2,x\notherwise,violates\n";
    let down = "slope [in/ft down],load [dfu],source\n1/8,10,x\n1/4,20,x\notherwise,undetermined\n";
    let body = "  for sink\n  require tailpiece.length >= table up[arm.length]";
    let text = code(&provision("p", body), &[("code/up.csv", up)]);
    let decide = |facts: &str| verdict(&text, &world(text.vocabulary(), &format!("sink s: {facts}")), "s");
    assert_eq!(decide("arm.length = 12 in, tailpiece.length = 1 in"), Complies);
    assert_eq!(decide("arm.length = 12-1/64 in, tailpiece.length = 1 in"), Violates);
    assert_eq!(decide("arm.length = 1 in, tailpiece.length = 1 in"), Complies);
    assert_eq!(
        decide("arm.length = 24-1/64 in, tailpiece.length = 96 in"),
        Violates,
        "beyond the table violates"
    );
    // Unknown length up to 24 in would do with 2 in; beyond it would not.
    assert_eq!(decide("tailpiece.length = 2 in"), Undetermined);
    let body = "  for sink\n  require table down[arm.slope] >= 20 dfu";
    let text = code(&provision("p", body), &[("code/down.csv", down)]);
    let decide = |facts: &str| verdict(&text, &world(text.vocabulary(), &format!("sink s: {facts}")), "s");
    assert_eq!(decide("arm.slope = 1/4 in/ft"), Complies);
    assert_eq!(decide("arm.slope = 3/16 in/ft"), Violates);
    assert_eq!(decide("arm.slope = 2 in/ft"), Complies);
    assert_eq!(decide("arm.slope = 1/16 in/ft"), Undetermined);
}

const FIRST_HOUR: &str = "baths [a..b],beds [a..b],gallons [gal],source\n1..1.5,1..1,42,m\n1..1.5,2..3,54,m\n2..2.5,2..2,54,m\n\
2..2.5,3..4,67,m\n2..2.5,5..5,80,m\n3..3.5,3..3,67,m\n3..3.5,4..6,80,m\notherwise,undetermined\n";

#[test]
fn unsure_keys_leave_only_the_rows_still_possible() {
    let body = "  for house\n  let beds = count(room in house where use is bedroom)\n  \
        let baths = count(room in house where use is full_bath) + 1/2 * count(room in house where use is half_bath)\n  \
        require sum(first_hour over heater in house) >= table first_hour[baths, beds]";
    let text = code(&provision("p", body), &[("code/first_hour.csv", FIRST_HOUR)]);
    let house = |gallons: u32, last: &str| {
        let mut out = "house h\n".to_owned();
        for i in 0..4 {
            out.push_str(&format!("room bed{i} in h: use = bedroom\n"));
        }
        out.push_str(
            "room b1 in h: use = full_bath\nroom b2 in h: use = full_bath\nroom b3 in h: use = half_bath\n",
        );
        out.push_str(&format!("room over_garage in h{last}\nheater w in h: first_hour = {gallons} gal\n"));
        out.push_str("all room in h\nall level in h\nall heater in h");
        world(text.vocabulary(), &out)
    };
    // 4 or 5 bedrooms, 2-1/2 to 3-1/2 baths: rows of 67, 80 and 80 gal.
    assert_eq!(verdict(&text, &house(67, ""), "h"), Undetermined);
    assert_eq!(verdict(&text, &house(80, ""), "h"), Complies);
    assert_eq!(verdict(&text, &house(66, ""), "h"), Violates);
    assert_eq!(verdict(&text, &house(67, ": use = other"), "h"), Complies);
    assert_eq!(verdict(&text, &house(67, ": use = bedroom"), "h"), Violates);
    let subject = house(67, "").find("h").unwrap();
    let lines = text.explain(&house(67, ""), 0, subject).lines;
    let rows = lines.iter().find(|l| l.text.contains("= first_hour[")).unwrap();
    assert!(rows.detail.starts_with("67 gal to 80 gal; rows still possible: "), "{}", rows.detail);
    assert!(!rows.detail.contains("beyond"), "half baths come in halves: {}", rows.detail);
}

#[test]
fn tables_are_keyed_by_words_and_kinds() {
    let csv = "kind [kind =],vent [vent =],units [dfu],source\nsink|bar_sink,*,2,x\nwater_closet,aav,3,x\nwater_closet,open_vent|none,4,x\notherwise,violates\n";
    let body = "  for fixture\n  require table units[fixture, vent] <= 3 dfu";
    let text = code(&provision("p", body), &[("code/units.csv", csv)]);
    let decide = |what: &str| verdict(&text, &world(text.vocabulary(), what), "f");
    assert_eq!(decide("bar_sink f"), Complies);
    assert_eq!(decide("water_closet f: vent = aav"), Complies);
    assert_eq!(decide("water_closet f: vent = none"), Violates);
    assert_eq!(decide("water_closet f"), Undetermined);
    assert_eq!(decide("lavatory f: vent = aav"), Violates, "no row, and beyond the table violates");
}

#[test]
fn not_does_not_turn_a_missing_row_into_compliance() {
    let csv = "people [=],load [dfu],source\n1,10,x\notherwise,violates\n";
    for require in ["load <= table t[people]", "not load > table t[people]"] {
        let body = format!("  for house\n  require {require}");
        let text = code(&provision("p", &body), &[("code/t.csv", csv)]);
        let decide =
            |facts: &str| verdict(&text, &world(text.vocabulary(), &format!("house h: {facts}")), "h");
        assert_eq!(decide("people = 2, load = 1 dfu"), Violates, "{require}");
        assert_eq!(decide("people = 1, load = 1 dfu"), Complies, "{require}");
    }
}

const EXCEPTIONS: &str = "  for sink\n  limit reach = 24 in\n  require tailpiece.length <= reach\n  \
    except island\n    cite exc. 1\n    when vent is aav\n    limit reach = 30 in\n  \
    except tight over island\n    cite exc. 2\n    when tight\n    waive";

#[test]
fn exceptions_replace_limits_waive_and_rank() {
    let table = [
        ("tailpiece.length = 28 in, vent = none, tight = no", Violates),
        ("tailpiece.length = 28 in, vent = aav, tight = no", Complies),
        ("tailpiece.length = 31 in, vent = aav, tight = no", Violates),
        ("tailpiece.length = 31 in, vent = aav, tight = yes", NotApplicable),
        // Which exception holds is open, and it matters.
        ("tailpiece.length = 28 in, tight = no", Undetermined),
        // It is open and does not matter.
        ("tailpiece.length = 20 in, tight = no", Complies),
        ("tailpiece.length = 40 in, tight = no", Violates),
        // Complies, or is waived: nothing more needs to be seen.
        ("tailpiece.length = 20 in", Settled),
        ("tailpiece.length = 40 in, vent = aav", Undetermined),
    ];
    for (facts, expected) in table {
        assert_eq!(decide(EXCEPTIONS, &format!("sink s: {facts}"), "s"), expected, "{facts}");
    }
}

#[test]
fn exceptions_that_clash_are_a_conflict_with_both_citations() {
    let body = "  for sink\n  require tailpiece.length <= 24 in\n  except one\n    cite rule 1\n    when tight\n    waive\n  \
        except two\n    cite rule 2\n    when reached\n    require tailpiece.length <= 12 in";
    let text = code(&provision("p", body), &[]);
    let both = world(text.vocabulary(), "sink s: tight = yes, reached = yes, tailpiece.length = 20 in");
    assert_eq!(verdict(&text, &both, "s"), Undetermined);
    let headline = text.explain(&both, 0, 0).headline;
    assert_eq!(headline, "exceptions conflict: one (rule 1) and two (rule 2); ask the code official");
    let one = world(text.vocabulary(), "sink s: tight = yes, reached = no, tailpiece.length = 20 in");
    assert_eq!(verdict(&text, &one, "s"), NotApplicable);
    assert!(told(&provision("p", body), &[], crownweir_rules::Severity::Warning).contains("E0502"));
}

#[test]
fn conditional_values_hull_both_branches() {
    let body = "  for sink\n  require tailpiece.length <= (if tight then 24 in else 30 in)";
    assert_eq!(decide(body, "sink s: tailpiece.length = 24 in", "s"), Complies);
    assert_eq!(decide(body, "sink s: tailpiece.length = 31 in", "s"), Violates);
    assert_eq!(decide(body, "sink s: tailpiece.length = 28 in", "s"), Undetermined);
    assert_eq!(decide(body, "sink s: tailpiece.length = 28 in, tight = no", "s"), Complies);
}

#[test]
fn a_divisor_that_may_be_nought_leaves_it_open() {
    let body = "  for house\n  require load / people <= 2 dfu";
    assert_eq!(decide(body, "house h: load = 4 dfu, people = 2", "h"), Complies);
    assert_eq!(decide(body, "house h: load = 4 dfu, people = 0", "h"), Undetermined);
    assert_eq!(decide(body, "house h: load = 4 dfu", "h"), Undetermined);
}

#[test]
fn dates_and_ordered_words_compare() {
    assert_eq!(
        decide("  for house\n  require built < 1990-01-01", "house h: built = 1989-12-31", "h"),
        Complies
    );
    assert_eq!(
        decide("  for house\n  require built < 1990-01-01", "house h: built = 1990-01-01", "h"),
        Violates
    );
    assert_eq!(decide("  for sink\n  require grade >= middle", "sink s: grade = high", "s"), Complies);
    assert_eq!(
        decide("  for sink\n  require grade >= middle", "sink s: grade = low | middle", "s"),
        Undetermined
    );
    assert_eq!(
        decide("  for sink\n  require grade >= middle", "sink s: grade = middle | high", "s"),
        Complies
    );
}

#[test]
fn nominal_sizes_compare_in_their_order() {
    let body = "  for sink\n  require trap.size >= 1-1/2 nps";
    for (size, expected) in [("1-1/4", Violates), ("1-1/2", Complies), ("2", Complies)] {
        assert_eq!(decide(body, &format!("sink s: trap.size = {size}"), "s"), expected);
    }
}

#[test]
fn numbers_too_large_to_be_exact_are_undetermined_not_wrong() {
    // Lengths to the eighth power of a mile-long tape do not fit; nothing overflows into a verdict.
    let body = "  for sink\n  let a = arm.length * arm.length\n  let b = a * a\n  let c = b * b\n  let d = c * c * c * c\n  require d / d >= 1";
    assert_eq!(decide(body, "sink s: arm.length = 29 ft", "s"), Undetermined);
}
