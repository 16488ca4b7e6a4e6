//! What an author is told: code, place, help. Every fault of all files in one run.

mod common;
use common::*;
use crownweir_rules::*;

fn errors(provisions: &str, more: &[(&str, &str)]) -> String {
    told(provisions, more, Severity::Error)
}

#[test]
fn a_wrong_dimension_is_shown_with_both_sides_and_a_suggestion() {
    let text = provision("p", "  for sink\n  require tailpiece.length <= 24 gal");
    let expected =
        "error[E0203]: a length is compared with a volume (declared here: vocabulary/words.rules:16)
  --> code/main.rules:13:31
   |
13 |   require tailpiece.length <= 24 gal
   |                               ^^^^^^ volume
   |
13 |   require tailpiece.length <= 24 gal
   |           ---------------- length
   = help: did you mean `24 in`?
";
    assert_eq!(errors(&text, &[]), expected);
}

/// A fault, its code and what is said to do about it.
#[test]
fn faults_have_a_code_a_place_and_help() {
    let table: &[(&str, &str, &str, &str)] = &[
        // body, code, marked text, help
        (
            "  for sink\n  require trap.size >= 1.5 in",
            "E0205",
            "1.5 in",
            "use `diameter(trap.size)`, or give the size as `nps`",
        ),
        ("  for sink\n  require trap.size >= 1.6 nps", "E0202", "1.6 nps", "sizes are 1/8, 1/4, 3/8"),
        ("  for house\n  require load + demand <= 10 dfu", "E0203", "demand", ""),
        ("  for house\n  require load <= 10", "E0203", "10", "did you mean `10 dfu`?"),
        ("  for sink\n  require arm.slope >= 1/4", "E0203", "1/4", "did you mean `1/4 in/ft`?"),
        ("  for heater\n  require outlet.heat + outlet.heat <= 240 F", "E0203", "outlet.heat", ""),
        (
            "  for sink\n  require tailpeice.length <= 24 in",
            "E0201",
            "tailpeice.length",
            "did you mean `tailpiece.length`?",
        ),
        (
            "  for sink\n  require first_hour >= 40 gal",
            "E0208",
            "first_hour",
            "it is a fact of heater; write `KIND.first_hour` for one above this subject",
        ),
        (
            "  for fixture\n  require tailpiece.length <= 24 in",
            "E0208",
            "tailpiece.length",
            "add the kind there, or leave it out of `for`",
        ),
        ("  for snik\n  require tight", "E0201", "snik", "did you mean `sink`?"),
        ("  for sink\n  require vent is avv", "E0207", "avv", "did you mean `aav`?"),
        (
            "  for supply\n  require valve is quick_closing",
            "E0207",
            "quick_closing",
            "`quick_closing` is a group: write `in quick_closing`",
        ),
        (
            "  for supply\n  require valve <= manual",
            "E0201",
            "manual",
            "`manual` is a word of `valve`: write `FACT is manual`",
        ),
        ("  for sink\n  require tight is known", "E0212", "known", "ignorance never decides"),
        ("  for house\n  require built < today", "E0212", "today", "by the date of permit application"),
        ("  for sink\n  require tailpiece.length", "E0204", "tailpiece.length", "compare it with something"),
        (
            "  for sink\n  limit x = 2 * 12 in\n  require tailpiece.length <= x",
            "E0211",
            "2",
            "use `let` for a calculation",
        ),
        (
            "  for sink\n  limit x = 24 in\n  require tight",
            "E0213",
            "x",
            "an amendment of it would change nothing",
        ),
        (
            "  for sink\n  require some device in sink has some house in device",
            "E0209",
            "house",
            "kind A in B",
        ),
        ("  for sink\n  require some room in sink", "E0209", "room", "kind A in B"),
        (
            "  for sink\n  require tight\n  when reached\n  when tight",
            "E0106",
            "when",
            "put that whole text in double quotes",
        ),
        ("  for sink\n  require tight and", "E0103", "", ""),
        (
            "  for sink\n  require 1 in <= tailpiece.length <= 2 in",
            "E0103",
            "<=",
            "write `a <= b and b <= c`",
        ),
        ("  for sink\n  require tailpiece.length \u{2264} 24 in", "E0101", "\u{2264}", "write `<=`"),
        ("  for sink\n  require tailpiece.length <= 24-1 in", "E0102", "24-1", ""),
        ("  for sink\n  require sqrt(tailpiece.length) <= 24 in", "E0201", "sqrt", ""),
        (
            "  for sink\n  require arm.length <= table arn[trap.size]",
            "E0201",
            "arn",
            "put `arn.csv` into the ruleset's folder",
        ),
        (
            "  for sink\n  require tight\n  except a\n    waive",
            "E0107",
            "except",
            "add `when` and its condition",
        ),
        ("  for sink\n  require tight\n  except a over b\n    when reached\n    waive", "E0501", "b", ""),
        ("  for sink\n  stage ruogh\n  require tight", "E0201", "ruogh", "did you mean `rough`?"),
    ];
    for (body, code, marked, help) in table {
        let files = files(&provision("p", body), &[]);
        let loading = load(&files, &[]);
        assert!(loading.library.is_none(), "{body} loads");
        let found = loading.diagnostics.iter().find(|d| d.code == *code);
        let found = found.unwrap_or_else(|| panic!("{body}: {:#?}", loading.diagnostics));
        let source = &files.iter().find(|f| f.path == found.file).unwrap().text;
        let primary = found.labels.iter().find(|l| l.primary).unwrap();
        assert_eq!(&source[primary.start..primary.end], *marked, "{body}");
        assert!(found.help.as_deref().unwrap_or("").contains(help), "{body}: {:?}", found.help);
    }
}

#[test]
fn every_fault_of_all_files_is_told_in_one_run() {
    let provisions = format!(
        "{}{}",
        provision("a", "  for sink\n  limit x = oops\n  when tihgt\n  require tailpiece.length <= 24 gal"),
        provision("b", "  for lavatroy\n  require tight")
    );
    let more = [
        ("code/t.csv", "size [nps =],long [in],source\n9,1,x\notherwise,undetermined\n"),
        ("code/more.rules", "provison c\n"),
    ];
    let files = files(&provisions, &more);
    let codes: Vec<&str> = load(&files, &[]).diagnostics.iter().map(|d| d.code).collect();
    assert_eq!(codes, ["E0211", "E0201", "E0203", "E0201", "E0402", "E0104"]);
}

#[test]
fn tables_are_proved_unique_complete_and_as_declared() {
    let table: &[(&str, Severity, &str, &str)] = &[
        (
            "size [nps =],long [in],source\n2,60,x\n2,72,x\notherwise,undetermined\n",
            Severity::Error,
            "E0404",
            "two rows of table `t` match the same keys",
        ),
        (
            "n [a..b],long [in],source\n1..3,60,x\n3..4,72,x\notherwise,undetermined\n",
            Severity::Error,
            "E0404",
            "two rows",
        ),
        (
            "n [a..b],long [in],source\n1..2,60,x\n4..5,72,x\notherwise,undetermined\n",
            Severity::Warning,
            "E0405",
            "leaves a gap",
        ),
        (
            "size [nps =],long [in rising],source\n2,60,x\n3,50,x\notherwise,undetermined\n",
            Severity::Error,
            "E0406",
            "declared rising",
        ),
        (
            "size [nps =],long [in],source\n2,60,x\n",
            Severity::Error,
            "E0403",
            "does not say what holds beyond it",
        ),
        (
            "size [nps =],long [in],source\n2,60 gal,x\notherwise,undetermined\n",
            Severity::Error,
            "E0402",
            "column `long` is length, this is volume",
        ),
        (
            "size [nps =],long [inn],source\n2,60,x\notherwise,undetermined\n",
            Severity::Error,
            "E0202",
            "no unit, match or enumeration",
        ),
        (
            "size [nps =],source\n2,x\notherwise,undetermined\n",
            Severity::Error,
            "E0401",
            "has no value column",
        ),
        (
            "size [nps =],long [in],source\n2,60,x,y\notherwise,undetermined\n",
            Severity::Error,
            "E0402",
            "more cells",
        ),
        (
            "vent [vent =],long [in],source\navv,60,x\notherwise,undetermined\n",
            Severity::Error,
            "E0207",
            "no word of column",
        ),
        ("size [nps =],long [in],source\n2,\"60,x\n", Severity::Error, "E0111", "never closed"),
        ("", Severity::Error, "E0401", "is empty"),
    ];
    for (csv, severity, code, message) in table {
        let files = files("", &[("code/t.csv", csv)]);
        let faults = load(&files, &[]).diagnostics;
        let found =
            faults.iter().any(|d| d.code == *code && d.severity == *severity && d.message.contains(message));
        assert!(found, "{csv}: {faults:#?}");
    }
    // Numbers that come in halves leave no gap between 1.5 and 2; counts none between 1 and 2.
    let whole = "baths [a..b],n [a..b],long [in],source\n1..1.5,1..1,60,x\n2..2.5,1..1,61,x\n1..1.5,2..3,62,x\notherwise,undetermined\n";
    assert_eq!(load(&files("", &[("code/t.csv", whole)]), &[]).diagnostics, []);
}

#[test]
fn conditions_that_nothing_seen_can_change_are_warned_of() {
    let always = provision("p", "  for sink\n  require tailpiece.length <= 100 in");
    assert!(told(&always, &[], Severity::Warning).contains("E0215"));
    let sometimes = provision("p", "  for sink\n  require tailpiece.length <= 95 in");
    assert_eq!(told(&sometimes, &[], Severity::Warning), "");
}

#[test]
fn other_language_numbers_are_refused() {
    for (line, help) in [
        ("  language 2\n", "install a newer version of the program, or use an older edition of the ruleset"),
        ("  language 0\n", "use an edition of the ruleset written in the language this engine reads"),
        ("", "add `language 1`"),
    ] {
        let mut files = files("", &[]);
        files[1].text = CODE.replace("  language 1\n", line);
        let loading = load(&files, &[]);
        assert!(loading.library.is_none());
        let fault = loading.diagnostics.iter().find(|d| d.code == "E0315").unwrap();
        assert_eq!(fault.help.as_deref(), Some(help));
    }
}

#[test]
fn cases_that_cannot_be_run_are_faults_of_the_ruleset() {
    let table = [
        ("case \"x\" of q given sink s expect complies", "E0201"),
        ("case \"x\" of p given snik s expect complies", "E0603"),
        ("case \"x\" of p given sink s: tight = perhaps expect complies", "E0603"),
        ("case \"x\" of p given sink s: tihgt = yes expect complies", "E0603"),
        ("case \"x\" of p given sink s in r expect complies", "E0603"),
        ("case \"x\" of p given sink s expect complies for t", "E0603"),
        ("case \"x\" of p under nowhere given sink s expect complies", "E0201"),
        ("case \"x\" of p given sink s expect passes", "E0601"),
        ("case \"x\" of p given sink s", "E0107"),
    ];
    for (case, code) in table {
        let loading =
            load(&files(&provision("p", "  for sink\n  require tight"), &[("code/c.rules", case)]), &[]);
        assert!(loading.diagnostics.iter().any(|d| d.code == code), "{case}: {:#?}", loading.diagnostics);
    }
}

/// LANGUAGE.md explains every code that the engine can tell, and no other.
#[test]
fn every_code_has_an_entry_in_the_reference() {
    let guide = include_str!("../LANGUAGE.md");
    let mut sources = String::new();
    for entry in std::fs::read_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/src")).unwrap() {
        sources.push_str(&std::fs::read_to_string(entry.unwrap().path()).unwrap());
    }
    let codes = |text: &str, lead: &str| -> std::collections::BTreeSet<String> {
        text.match_indices(lead)
            .map(|(i, _)| text[i + lead.len() - 1..].chars().take(5).collect::<String>())
            .filter(|c| c.len() == 5 && c[1..].bytes().all(|b| b.is_ascii_digit()))
            .collect()
    };
    assert_eq!(codes(&sources, "\"E"), codes(guide, "`E"));
}
