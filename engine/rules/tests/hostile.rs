//! Broken and hostile input: refused with a message, never a panic, never without end.

mod common;
use common::*;
use crownweir_rules::*;
use proptest::prelude::*;

fn told_code(files: &[SourceFile], code: &str) -> bool {
    let loading = load(files, &[]);
    assert!(loading.library.is_none());
    loading.diagnostics.iter().any(|d| d.code == code)
}

#[test]
fn limits_on_size_depth_and_count_are_told() {
    let big = format!("{CODE}# {}\n", "x".repeat(MOST_BYTES));
    assert!(told_code(&[file("a/b.rules", &big)], "E0108"), "a file over 4 MiB");

    let deep =
        provision("p", &format!("  for sink\n  require {}tight{}", "(".repeat(100_000), ")".repeat(100_000)));
    assert!(told_code(&files(&deep, &[]), "E0109"), "parentheses");
    let nots = provision("p", &format!("  for sink\n  require {}tight", "not ".repeat(100_000)));
    assert!(told_code(&files(&nots, &[]), "E0109"), "nots");
    let sum = provision("p", &format!("  for house\n  require load{} <= 1 dfu", " + load".repeat(10_000)));
    assert!(told_code(&files(&sum, &[]), "E0109"), "a long chain");
    let minus = provision("p", &format!("  for house\n  require {}people <= 1", "- ".repeat(100_000)));
    assert!(told_code(&files(&minus, &[]), "E0109"), "minus signs");
    let inner = "some bibb in house has ".repeat(9);
    let quantifiers = provision("p", &format!("  for house\n  require {inner}side is front"));
    assert!(!load(&files(&quantifiers, &[]), &[]).diagnostics.is_empty(), "quantifiers within one another");

    let words: Vec<String> = (0..65).map(|i| format!("w{i}")).collect();
    let vocabulary = format!("{VOCABULARY}enum many {}\n", words.join(", "));
    assert!(told_code(&[file("v/w.rules", &vocabulary)], "E0110"), "65 words");
    let rows: String = (0..2_001).map(|i| format!("{i},1,x\n")).collect();
    let csv = format!("n [=],long [in],source\n{rows}otherwise,undetermined\n");
    assert!(told_code(&files("", &[("code/t.csv", &csv)]), "E0110"), "2,001 rows");
    let provisions: String = (0..=MOST_PROVISIONS).map(|i| format!("provision p{i}\n")).collect();
    assert!(told_code(&files(&provisions, &[]), "E0110"), "10,001 provisions");
    let huge = provision(
        "p",
        "  for sink\n  require tailpiece.length <= 99999999999999999999999999999999999999999999 in",
    );
    assert!(told_code(&files(&huge, &[]), "E0102"), "a number that does not fit");
    let large =
        provision("p", "  for sink\n  require tailpiece.length <= 99999999999999999999999999999999999 ft");
    assert!(told_code(&files(&large, &[]), "E0214"), "a length that does not fit");
}

#[test]
fn a_broken_file_does_not_bury_the_others_faults_without_end() {
    let noise: String = (0..5_000).map(|i| format!("provision p{i}\n  wrong\n  require ]\n")).collect();
    let loading = load(&files(&noise, &[]), &[]);
    assert!(loading.library.is_none());
    assert!(loading.diagnostics.len() <= 500);
}

#[test]
fn circles_of_kinds_requirements_and_exceptions_end() {
    let kinds = format!("{VOCABULARY}kind a: b\nkind b: c\nkind c: a\n");
    assert!(load(&[file("v/w.rules", &kinds)], &[]).library.is_none());
    // Kinds that stand in one another are allowed (a room in a room) and end.
    let rooms = format!("{VOCABULARY}kind hall in hall, house\n");
    let library = library(&[file("v/w.rules", &rooms)]);
    assert_eq!(library.vocabulary().can_hold("hall"), ["hall"]);
    let rulesets = "ruleset a 1\n  language 1\n  requires b\n";
    let other = "ruleset b 1\n  language 1\n  requires a\n";
    assert!(load(&[file("a/a.rules", rulesets), file("b/b.rules", other)], &[]).library.is_some());
    let exceptions = provision(
        "p",
        "  for sink\n  require tight\n  except a over b\n    when reached\n    waive\n  except b over a\n    when reached\n    waive",
    );
    assert!(told_code(&files(&exceptions, &[]), "E0501"));
}

#[test]
fn a_chain_of_ten_thousand_subjects_is_evaluated() {
    let words = format!("{VOCABULARY}kind hall in hall, house\nfact wide on hall yesno\n");
    let rule = provision("p", "  for house\n  require every hall in house has wide");
    let library = library(&[file("v/w.rules", &words), file("code/c.rules", &format!("{CODE}{rule}"))]);
    let text = library.ruleset("code").unwrap();
    let mut world = World::new(library.vocabulary());
    world.add("0", "house", None).unwrap();
    for i in 1..10_000usize {
        let at = world.add(&i.to_string(), "hall", Some(&(i - 1).to_string())).unwrap();
        world.seen(at, "wide", &[Value::Truth(true)], "").unwrap();
    }
    world.close(0, "hall");
    assert_eq!(text.assess(&world, "final")[0].verdict, Verdict::Complies);
}

/// Real text with bytes changed, lines dropped, doubled or cut: the shapes that broken files have.
fn damaged(text: &str, seed: &[(u8, u16, u8)]) -> String {
    let mut bytes = text.as_bytes().to_vec();
    for (how, at, with) in seed {
        if bytes.is_empty() {
            break;
        }
        let at = usize::from(*at) % bytes.len();
        match how % 6 {
            0 => bytes[at] = *with,
            1 => {
                bytes.remove(at);
            }
            2 => bytes.insert(at, *with),
            3 => bytes.truncate(at.max(1)),
            4 => {
                let end = (at + usize::from(*with)).min(bytes.len());
                let copy = bytes[at..end].to_vec();
                bytes.splice(at..at, copy);
            }
            _ => {
                let end = (at + usize::from(*with)).min(bytes.len());
                bytes.drain(at..end);
            }
        }
    }
    String::from_utf8_lossy(&bytes).into_owned()
}

const RULES: &str = "  for sink, lavatory\n  limit reach = 24 in\n  let row = table t[trap.size]\n  when vent is aav and not (tight or reached)\n  \
    require tailpiece.length <= min(reach, row.long) and some stop s in sink has s is stop\n  except a over b\n    cite x\n    when count(stop in sink) >= 2\n    \
    limit reach = 3 ft 6 in\n  except b\n    when if tight then reached else no\n    waive\n  tell {tailpiece.length} over {reach} at {sink}";
const CSV: &str = "size [nps =],long [in rising],source,note\n1-1/2,72,\"a, b\",\"say \"\"so\"\"\"\n2..3,96,x,\n*,1,,\notherwise,violates,,\n";
const LAYER: &str = "layer l over code\n  cite c\n  from 2024-01-01\namend p\n  replace limit reach was 24 in now 2 ft\n  add exception z\n    when tight\n    waive\n\
    amend table t\n  replace cell [1-1/2].long was 72 in now 70\n  add row 4, 100\n  remove row 2 was 96\nadoption a\n  base code 2021 from 2020-01-01\n  layer l\n\
    case \"t\" of p under a given sink s: tailpiece.length = {1 in, 2 in} expect complies by 1 in for s because \"x\" source y\n";

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(192) })]

    #[test]
    fn arbitrary_text_never_panics(text in "\\PC{0,200}", csv in "\\PC{0,120}") {
        let faults = load(&[file("a/a.rules", &text), file("a/t.csv", &csv)], &[]).diagnostics;
        for fault in faults {
            let source = if fault.file.ends_with("csv") { &csv } else { &text };
            fault.render(source);
            prop_assert!(fault.labels.iter().all(|l| l.start <= l.end && l.end <= source.len()));
        }
    }

    #[test]
    fn damaged_rulesets_never_panic_and_every_place_lies_inside_its_file(
        which in 0usize..4,
        seed in prop::collection::vec((any::<u8>(), any::<u16>(), any::<u8>()), 1..8),
    ) {
        let mut files = files(&provision("p", RULES), &[("code/t.csv", CSV), ("l/l.rules", LAYER)]);
        files[which].text = damaged(&files[which].text, &seed);
        let loading = load(&files, &[]);
        for fault in &loading.diagnostics {
            let source = &files.iter().find(|f| f.path == fault.file).unwrap().text;
            fault.render(source);
            prop_assert!(fault.labels.iter().all(|l| l.start <= l.end && l.end <= source.len()));
        }
        if let Some(library) = loading.library {
            library.run_cases();
        }
    }

    #[test]
    fn typed_values_never_panic_and_read_back(text in "[-0-9 ./,a-z\"'\u{bd}%]{0,12}", fact in 0usize..8) {
        let library = library(&files("", &[]));
        let words = library.vocabulary();
        let fact = ["tailpiece.length", "trap.size", "outlet.heat", "people", "tight", "valve", "built", "arm.slope"][fact];
        if let Ok(value) = words.parse_value(fact, &text) {
            let written = words.format_value(fact, &value);
            prop_assert_eq!(words.parse_value(fact, &written), Ok(value), "{} -> {}", text, written);
        }
    }
}
