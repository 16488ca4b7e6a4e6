//! What the tests of this crate share: a small vocabulary of the trade and short ways to load and to build worlds.
#![allow(dead_code, reason = "each test file uses a part of it")]

use crownweir_rules::*;

/// Kinds and facts that the tests' provisions are about.
pub const VOCABULARY: &str = "\
ruleset vocabulary 1
  language 1
kind house
kind level in house
kind room in level, house
kind yard in house
kind fixture in room: sink, bar_sink, lavatory, water_closet
kind supply in fixture
kind device in supply: arrestor, stop
kind heater in room, house
kind bibb in yard
enum valve manual, mixing, solenoid, lever_quick   quick_closing = solenoid, lever_quick
  label solenoid \"Solenoid valve\"
enum use bedroom, full_bath, half_bath, other
enum grade ordered low, middle, high
fact tailpiece.length on sink, bar_sink, lavatory length 0 in .. 96 in step 1/16 in
  label Drop from outlet to trap
fact trap.size on fixture nps 1-1/4 .. 4
fact arm.length on fixture length 0 in .. 30 ft
fact arm.slope on fixture slope 0 in/ft .. 12 in/ft
fact vent on fixture one of open_vent, aav, none
fact tight on fixture yesno
fact reached on fixture yesno
fact grade on fixture grade
fact valve on supply valve
fact use on room use
fact first_hour on heater volume 0 gal .. 300 gal step 1 gal
fact outlet.heat on heater temperature 60 F .. 212 F
fact side on bibb one of front, rear
fact pressure on house pressure 0 psi .. 200 psi step 1 psi
fact load on house dfu 0 dfu .. 100 dfu
fact demand on house wsfu 0 wsfu .. 100 wsfu
fact people on house count 0 .. 20
fact built on house date
";

/// Head of a ruleset that provisions may follow.
pub const CODE: &str = "\
ruleset code 2021
  document Code of the tests
  edition 2021
  language 1
  requires vocabulary
";

pub fn file(path: &str, text: &str) -> SourceFile {
    SourceFile { path: path.to_owned(), text: text.to_owned() }
}

/// Provisions under the head of a ruleset, with the vocabulary and further files.
pub fn files(provisions: &str, more: &[(&str, &str)]) -> Vec<SourceFile> {
    let mut out = vec![
        file("vocabulary/words.rules", VOCABULARY),
        file("code/main.rules", &format!("{CODE}{provisions}")),
    ];
    out.extend(more.iter().map(|(path, text)| file(path, text)));
    out
}

/// One provision with only the clauses that tests care about.
pub fn provision(id: &str, body: &str) -> String {
    format!("provision {id}\n  title T\n  cite s. 1\n  stage final\n  tell T\n  basis from memory\n{body}\n")
}

/// Loads and wants no errors.
pub fn library(files: &[SourceFile]) -> Library {
    let loading = load(files, &[]);
    let errors: Vec<String> = loading
        .diagnostics
        .iter()
        .filter(|d| d.severity == Severity::Error)
        .map(|d| d.render(&files.iter().find(|f| f.path == d.file).unwrap().text))
        .collect();
    loading.library.unwrap_or_else(|| panic!("{}", errors.join("\n")))
}

/// The ruleset `code`, made of these provisions, without layers.
pub fn code(provisions: &str, more: &[(&str, &str)]) -> Adopted {
    library(&files(provisions, more)).ruleset("code").unwrap().clone()
}

/// What is said of loading these provisions, rendered; only faults of that severity.
pub fn told(provisions: &str, more: &[(&str, &str)], severity: Severity) -> String {
    let files = files(provisions, more);
    let loading = load(&files, &[]);
    let texts: Vec<String> = loading
        .diagnostics
        .iter()
        .filter(|d| d.severity == severity)
        .map(|d| d.render(&files.iter().find(|f| f.path == d.file).unwrap().text))
        .collect();
    texts.join("\n")
}

/// A world from lines `kind id [in parent] [: fact = value, ...]`; values split by `|` are disputed. `all kind in id` closes.
pub fn world(vocabulary: &Vocabulary, text: &str) -> World {
    let mut world = World::new(vocabulary);
    for line in text.lines().map(str::trim).filter(|l| !l.is_empty()) {
        if let Some(rest) = line.strip_prefix("all ") {
            let (kind, subject) = rest.split_once(" in ").unwrap();
            let at = world.find(subject).unwrap();
            world.close(at, kind);
            continue;
        }
        let (head, facts) = line.split_once(':').unwrap_or((line, ""));
        let words: Vec<&str> = head.split_whitespace().collect();
        let parent = words.get(3).copied();
        let at = world.add(words[1], words[0], parent).unwrap();
        for fact in facts.split(',').map(str::trim).filter(|f| !f.is_empty()) {
            let (name, value) = fact.split_once('=').unwrap();
            let values: Vec<Value> =
                value.split('|').map(|v| vocabulary.parse_value(name.trim(), v).unwrap()).collect();
            world.seen(at, name.trim(), &values, "measured").unwrap();
        }
    }
    world
}

/// The verdict of the only provision on the subject with that id.
pub fn verdict(text: &Adopted, world: &World, id: &str) -> Verdict {
    let subject = world.find(id).unwrap();
    let found: Vec<Finding> =
        text.assess(world, "final").into_iter().filter(|f| f.subject == subject).collect();
    assert_eq!(found.len(), 1, "one finding for {id}");
    found[0].verdict
}

/// Loads one provision, builds the world, gives the verdict.
pub fn decide(body: &str, situation: &str, id: &str) -> Verdict {
    let text = code(&provision("p", body), &[]);
    verdict(&text, &world(text.vocabulary(), situation), id)
}
