//! Laws of unknowns, on random rules and random worlds: sound against every completion, monotone, independent of order.
//!
//! Completions share nothing with sets of what is possible: every unknown is given every value it may have, and the rule is
//! decided with everything known.

mod common;
use common::*;
use crownweir_rules::*;
use proptest::prelude::*;
use std::collections::BTreeSet;

/// Small ranges, so that limits are hit and completions can be counted.
const WORDS: &str = "\
ruleset words 1
  language 1
kind house
kind room in house
kind sink in room
enum c red, green, blue
fact p on sink yesno
fact q on sink yesno
fact c on sink c
fact n on sink count 0 .. 3
fact m on sink count 0 .. 3
fact dry on room yesno
";

const TABLE: &str =
    "n [a..b],m [up],v [dfu],source\n0..1,1,1,x\n0..1,2,2,x\n2..2,2,3,x\notherwise,OTHERWISE\n";

/// Values a fact may have, as written.
fn values(fact: &str) -> &'static [&'static str] {
    match fact {
        "p" | "q" | "dry" => &["yes", "no"],
        "c" => &["red", "green", "blue"],
        _ => &["0", "1", "2", "3"],
    }
}

/// A fact of a subject: unknown, seen, or disputed.
#[derive(Debug, Clone, PartialEq)]
struct Cell {
    subject: String,
    fact: &'static str,
    known: Vec<usize>,
}

#[derive(Debug, Clone)]
struct Situation {
    cells: Vec<Cell>,
    sinks: usize,
    closed: bool,
}

impl Situation {
    fn world(&self, words: &Vocabulary) -> World {
        let mut world = World::new(words);
        world.add("h", "house", None).unwrap();
        world.add("r", "room", Some("h")).unwrap();
        for i in 0..self.sinks {
            world.add(&format!("s{i}"), "sink", Some("r")).unwrap();
        }
        if self.closed {
            world.close(1, "sink");
        }
        for cell in &self.cells {
            let at = world.find(&cell.subject).unwrap();
            let known: Vec<Value> = cell
                .known
                .iter()
                .map(|v| words.parse_value(cell.fact, values(cell.fact)[*v]).unwrap())
                .collect();
            world.seen(at, cell.fact, &known, "").unwrap();
        }
        world
    }

    /// Every way in which the unknown and disputed facts may turn out, up to a number.
    fn completions(&self, most: usize) -> Option<Vec<Situation>> {
        let mut out = vec![Situation { cells: vec![], ..self.clone() }];
        for cell in &self.cells {
            let choices: Vec<usize> = if cell.known.is_empty() {
                (0..values(cell.fact).len()).collect()
            } else {
                cell.known.clone()
            };
            if out.len() * choices.len() > most {
                return None;
            }
            out = out
                .into_iter()
                .flat_map(|s| {
                    choices.iter().map(move |v| {
                        let mut next = s.clone();
                        next.cells.push(Cell { known: vec![*v], ..cell.clone() });
                        next
                    })
                })
                .collect();
        }
        Some(out)
    }
}

/// An expression of numbers over a sink.
fn number() -> impl Strategy<Value = String> {
    let leaf = prop_oneof![
        Just("n".to_owned()),
        Just("m".to_owned()),
        (0..4u8).prop_map(|k| k.to_string()),
        Just("count(sink in room where p)".to_owned()),
        Just("sum(n over sink in room where q)".to_owned()),
    ];
    leaf.prop_recursive(2, 8, 2, |inner| {
        prop_oneof![
            (inner.clone(), inner.clone()).prop_map(|(a, b)| format!("({a} + {b})")),
            (inner.clone(), inner.clone()).prop_map(|(a, b)| format!("({a} - {b})")),
            (inner.clone(), inner.clone()).prop_map(|(a, b)| format!("({a} * {b})")),
            (inner.clone(), inner.clone()).prop_map(|(a, b)| format!("min({a}, {b})")),
            (inner.clone(), inner.clone()).prop_map(|(a, b)| format!("max({a}, {b})")),
            (inner.clone(), inner).prop_map(|(a, b)| format!("(if p then {a} else {b})")),
        ]
    })
}

/// A condition over a sink.
fn condition() -> impl Strategy<Value = String> {
    let sign = prop::sample::select(vec!["<", "<=", "=", "<>", ">=", ">"]);
    let leaf = prop_oneof![
        Just("p".to_owned()),
        Just("q".to_owned()),
        Just("room.dry".to_owned()),
        Just("c is red".to_owned()),
        Just("c in {red, blue}".to_owned()),
        Just("c is not green".to_owned()),
        (number(), sign, number()).prop_map(|(a, s, b)| format!("{a} {s} {b}")),
        (0..4u8).prop_map(|k| format!("table t[n, m] <= {k} dfu")),
        Just("(some sink in room has p)".to_owned()),
        Just("(every sink in room where q has p)".to_owned()),
        Just("(no sink in room where c is red)".to_owned()),
        (0..3u8).prop_map(|k| format!("(at least {k} sink in room has q)")),
        (0..3u8).prop_map(|k| format!("(at most {k} sink in room where p)")),
        (0..3u8).prop_map(|k| format!("(exactly {k} sink in room has c is blue)")),
    ];
    leaf.prop_recursive(3, 10, 3, |inner| {
        prop_oneof![
            (inner.clone(), inner.clone()).prop_map(|(a, b)| format!("({a} and {b})")),
            (inner.clone(), inner.clone()).prop_map(|(a, b)| format!("({a} or {b})")),
            inner.clone().prop_map(|a| format!("not ({a})")),
            (inner.clone(), inner.clone(), inner).prop_map(|(a, b, c)| format!("(if {a} then {b} else {c})")),
        ]
    })
}

/// A provision with up to two exceptions, ranked or not.
fn rule() -> impl Strategy<Value = String> {
    let exception = (condition(), prop::option::of(condition()));
    (condition(), condition(), prop::collection::vec(exception, 0..3), any::<bool>()).prop_map(
        |(when, require, exceptions, ranked)| {
            let mut body = format!("  for sink\n  when {when}\n  require {require}\n");
            for (i, (when, require)) in exceptions.iter().enumerate() {
                let over = if ranked && i == 1 { " over e0" } else { "" };
                let act = require.as_ref().map_or("waive".to_owned(), |r| format!("require {r}"));
                body.push_str(&format!("  except e{i}{over}\n    cite e\n    when {when}\n    {act}\n"));
            }
            provision("p", &body)
        },
    )
}

fn situation() -> impl Strategy<Value = Situation> {
    let known = prop_oneof![4 => Just(0u8), 4 => Just(1u8), 1 => Just(2u8)];
    (1..3usize, any::<bool>(), prop::collection::vec((known, any::<u8>(), any::<u8>()), 11)).prop_map(
        |(sinks, closed, draws)| {
            let mut draws = draws.into_iter();
            let mut cells = Vec::new();
            let mut cell = |subject: String, fact: &'static str| {
                let (how, a, b) = draws.next().unwrap();
                let count = values(fact).len();
                let mut known: BTreeSet<usize> =
                    [usize::from(a) % count, usize::from(b) % count].into_iter().take(how.into()).collect();
                if how == 2 && known.len() < 2 {
                    known = [0, 1].into();
                }
                cells.push(Cell { subject, fact, known: known.into_iter().collect() });
            };
            cell("r".into(), "dry");
            for i in 0..sinks {
                for fact in ["p", "q", "c", "n", "m"] {
                    cell(format!("s{i}"), fact);
                }
            }
            Situation { cells, sinks, closed }
        },
    )
}

fn text(rule: &str, violates: bool) -> Adopted {
    let table = TABLE.replace("OTHERWISE", if violates { "violates" } else { "undetermined" });
    let files = [
        file("words/w.rules", WORDS),
        file("code/c.rules", &format!("{}{rule}", CODE.replace("vocabulary", "words"))),
        file("code/t.csv", &table),
    ];
    library(&files).ruleset("code").unwrap().clone()
}

fn verdicts(text: &Adopted, world: &World) -> Vec<Verdict> {
    text.assess(world, "final").into_iter().map(|f| f.verdict).collect()
}

/// Whether a completion's verdict is one that a decided verdict allows.
fn allows(decided: Verdict, completed: Verdict) -> bool {
    match decided {
        Verdict::Undetermined => true,
        Verdict::Settled => {
            matches!(completed, Verdict::Complies | Verdict::NotApplicable | Verdict::Settled)
        }
        other => completed == other,
    }
}

/// How many random worlds a run tries; `CROWNWEIR_LAWS` asks for more.
fn cases() -> u32 {
    std::env::var("CROWNWEIR_LAWS").ok().and_then(|n| n.parse().ok()).unwrap_or(160)
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, max_global_rejects: 1 << 20, ..ProptestConfig::with_cases(cases()) })]

    /// Law 1: a decided verdict holds for every completion, and an open list may also grow.
    #[test]
    fn decided_verdicts_hold_for_every_completion(rule in rule(), situation in situation(), violates: bool) {
        let text = text(&rule, violates);
        let words = text.vocabulary().clone();
        let found = verdicts(&text, &situation.world(&words));
        prop_assume!(found.iter().any(|v| *v != Verdict::Undetermined));
        let mut variants = vec![Situation { closed: true, ..situation.clone() }];
        if !situation.closed {
            // One more sink of which everything is known.
            let mut grown = variants[0].clone();
            let id = format!("s{}", grown.sinks);
            grown.cells.extend([("p", 0), ("q", 0), ("c", 0), ("n", 3), ("m", 1)].map(|(fact, v)| Cell {
                subject: id.clone(),
                fact,
                known: vec![v],
            }));
            grown.sinks += 1;
            variants.push(grown);
        }
        for variant in variants {
            for completion in variant.completions(600).unwrap_or_default() {
                let all = verdicts(&text, &completion.world(&words));
                for (decided, completed) in found.iter().zip(&all) {
                    prop_assert!(allows(*decided, *completed), "{decided:?} but {completed:?} in {completion:?}\n{rule}");
                }
            }
        }
    }

    /// Law 2: learning a fact, deciding a disagreement or closing a list never flips a decided verdict, whatever is learnt.
    #[test]
    fn learning_never_flips_a_decided_verdict(rule in rule(), situation in situation(), order in any::<u64>(), violates: bool) {
        let text = text(&rule, violates);
        let words = text.vocabulary().clone();
        let mut now = situation;
        let mut found = verdicts(&text, &now.world(&words));
        let mut unknown: Vec<usize> = (0..now.cells.len()).filter(|i| now.cells[*i].known.len() != 1).collect();
        let mut draw = order;
        while !unknown.is_empty() || !now.closed {
            draw = draw.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            let pick = (draw >> 33) as usize;
            if !now.closed && pick.is_multiple_of(4) || unknown.is_empty() {
                now.closed = true;
            } else {
                let cell = unknown.remove(pick % unknown.len());
                let count = values(now.cells[cell].fact).len();
                let draw = (draw >> 20) as usize;
                // A disputed fact is decided for one of its values.
                let known = &mut now.cells[cell].known;
                *known = vec![if known.is_empty() { draw % count } else { known[draw % known.len()] }];
            }
            let next = verdicts(&text, &now.world(&words));
            for (before, after) in found.iter().zip(&next) {
                prop_assert!(allows(*before, *after), "{before:?} became {after:?} in {now:?}\n{rule}");
            }
            found = next;
        }
    }

    /// Law 5: a verdict under two values is what both give, when they give the same.
    #[test]
    fn a_disputed_fact_gives_the_union_of_its_values(rule in rule(), situation in situation(), violates: bool) {
        let text = text(&rule, violates);
        let words = text.vocabulary().clone();
        prop_assume!(situation.cells.iter().filter(|c| c.known.len() == 2).count() == 1);
        let at = situation.cells.iter().position(|c| c.known.len() == 2).unwrap();
        let each: Vec<Vec<Verdict>> = situation.cells[at].known.iter().map(|v| {
            let mut one = situation.clone();
            one.cells[at].known = vec![*v];
            verdicts(&text, &one.world(&words))
        }).collect();
        let found = verdicts(&text, &situation.world(&words));
        for (i, verdict) in found.iter().enumerate() {
            if each[0][i] == each[1][i] {
                prop_assert_eq!(*verdict, each[0][i], "{:?}\n{}", situation, rule);
            } else {
                prop_assert!(
                    allows(*verdict, each[0][i]) && allows(*verdict, each[1][i]),
                    "{verdict:?} of {each:?} in {situation:?}\n{rule}"
                );
            }
        }
    }

    /// Law 4, in part: when nothing is asked the verdict is decided or cannot be; a fact not asked for changes nothing.
    #[test]
    fn a_fact_that_is_not_asked_for_cannot_decide_alone(rule in rule(), situation in situation()) {
        let text = text(&rule, true);
        let words = text.vocabulary().clone();
        // Few enough unknowns that every one read twice is kept apart: beyond 16 branches verdicts may stay open longer.
        let mut situation = situation;
        let mut branches = 1;
        for cell in situation.cells.iter_mut().filter(|c| c.known.len() != 1) {
            let count = values(cell.fact).len();
            if cell.known.len() > 1 || branches * count > 16 {
                cell.known = vec![0];
            } else if !matches!(cell.fact, "n" | "m") {
                branches *= count;
            }
        }
        let world = situation.world(&words);
        for finding in text.assess(&world, "final") {
            let needs = text.needed(&world, finding.provision, finding.subject);
            if finding.verdict != Verdict::Undetermined {
                prop_assert!(needs.is_empty());
                continue;
            }
            for (i, cell) in situation.cells.iter().enumerate().filter(|(_, c)| c.known.is_empty()) {
                let asked = needs.iter().any(|n| {
                    world.id(n.subject) == cell.subject && n.what == NeedWhat::Fact(cell.fact.to_owned())
                });
                if asked {
                    continue;
                }
                for value in 0..values(cell.fact).len() {
                    let mut learnt = situation.clone();
                    learnt.cells[i].known = vec![value];
                    let after = learnt.world(&words);
                    let found = text.assess(&after, "final");
                    let same = found.iter().find(|f| f.subject == finding.subject).unwrap();
                    prop_assert_eq!(same.verdict, Verdict::Undetermined, "{:?} not asked in {:?}\n{}", cell, situation, rule);
                }
            }
        }
    }

    /// Explaining gives the verdict that assessing gives, and both are the same when done again.
    #[test]
    fn reasons_agree_with_verdicts(rule in rule(), situation in situation(), violates: bool) {
        let text = text(&rule, violates);
        let world = situation.world(text.vocabulary());
        let found = text.assess(&world, "final");
        prop_assert_eq!(&found, &text.assess(&world, "final"));
        for finding in found {
            let reason = text.explain(&world, finding.provision, finding.subject);
            prop_assert_eq!(reason.verdict, finding.verdict, "{}", rule);
            prop_assert!(reason.lines.len() <= 401);
        }
    }

    /// Operands of `and` and `or` may stand in any order; spellings of a limit do not matter.
    #[test]
    fn order_and_spelling_change_no_verdict(a in condition(), b in condition(), situation in situation(), inches in 0u8..96, seen in 0u8..96) {
        for word in ["and", "or"] {
            let one = text(&provision("p", &format!("  for sink\n  require {a} {word} {b}")), true);
            let other = text(&provision("p", &format!("  for sink\n  require {b} {word} {a}")), true);
            let (x, y) = (situation.world(one.vocabulary()), situation.world(other.vocabulary()));
            prop_assert_eq!(verdicts(&one, &x), verdicts(&other, &y));
        }
        let millimetres = f64::from(inches) * 25.4;
        let rule = |limit: &str| provision("p", &format!("  for sink\n  limit x = {limit}\n  require tailpiece.length <= x"));
        let mut all = BTreeSet::new();
        for limit in [format!("{inches} in"), format!("{millimetres:.1} mm"), format!("{}/12 ft", inches)] {
            let text = code(&rule(&limit), &[]);
            all.insert(verdict(&text, &world(text.vocabulary(), &format!("sink s: tailpiece.length = {seen} in")), "s"));
        }
        prop_assert_eq!(all.len(), 1);
        prop_assert_eq!(all.contains(&Verdict::Complies), seen <= inches);
    }
}
