//! Layers, amendments, adoptions, dates, trails, digests.

mod common;
use common::*;
use crownweir_rules::*;

const BASE: &str = "\
provision tailpiece.reach
  title    Tailpiece not too long
  cite     code 2021, s. 1002.1
  stage    final
  for      sink, bar_sink
  limit    reach = 24 in
  require  tailpiece.length <= reach
  tell     The drop is {tailpiece.length}; at most {reach}. At {fixture}.
  basis    from memory

provision arm.reach
  title    Trap arm
  cite     code 2021, s. 909.1
  stage    rough, final
  for      fixture
  require  arm.length <= table arm[trap.size]
  except   closet
    when   fixture is water_closet
    waive
  tell     T
  basis    from memory
";

const ARM: &str = "size [nps =],longest [in rising],source\n1-1/2,72,table 909.1\n2,96,table 909.1\notherwise,undetermined\n";

const STATE: &str = "\
layer state over code
  title State rules
  cite  State Rules 12
  from  2022-01-01
amend table arm
  cite  State Rule 12, table 2
  from  2024-07-01
  replace cell [1-1/2].longest was 72 in now 42 in
  add row 3, 144
";

const COUNTY: &str = "\
layer county over state
  title County code
amend tailpiece.reach
  cite  Ord. 88, s. 3
  from  2026-01-01
  replace limit reach was 24 in now 18 in
  add exception bar over closet
    when fixture is bar_sink
    limit reach = 20 in
";

const ADOPTIONS: &str = "\
adoption state
  base code 2021 from 2021-06-01
  layer state
  by date of permit application
adoption county
  title The county
  base code 2021 from 2022-03-01
  layer state
  layer county
";

fn all(county: &str) -> Vec<SourceFile> {
    files(
        BASE,
        &[
            ("code/arm.csv", ARM),
            ("state/layer.rules", STATE),
            ("county/layer.rules", &county.replace(" over closet", "")),
            ("adoptions.rules", ADOPTIONS),
        ],
    )
}

fn day(text: &str) -> Date {
    text.parse().unwrap()
}

fn reach(library: &Library, adoption: &str, on: &str, facts: &str) -> Verdict {
    let text = library.adopt(adoption, day(on)).unwrap();
    let world = world(text.vocabulary(), &format!("sink s: {facts}, arm.length = 1 in, trap.size = 2"));
    let at = text.provisions().iter().position(|p| p.id == "tailpiece.reach").unwrap();
    text.assess(&world, "final").into_iter().find(|f| f.provision == at).unwrap().verdict
}

#[test]
fn the_date_of_application_chooses_the_limit() {
    let library = library(&all(COUNTY));
    let table = [
        ("2025-12-31", Verdict::Complies),
        ("2026-01-01", Verdict::Violates),
        ("2030-01-01", Verdict::Violates),
    ];
    for (on, expected) in table {
        assert_eq!(reach(&library, "county", on, "tailpiece.length = 20 in"), expected, "{on}");
    }
    assert_eq!(reach(&library, "state", "2030-01-01", "tailpiece.length = 20 in"), Verdict::Complies);
}

#[test]
fn a_limits_trail_names_every_text_it_went_through() {
    let text = library(&all(COUNTY)).adopt("county", day("2026-05-01")).unwrap();
    let world = world(text.vocabulary(), "sink s: tailpiece.length = 20 in");
    let reason = text.explain(&world, 0, 0);
    assert_eq!(reason.verdict, Verdict::Violates);
    assert_eq!(reason.margin.as_deref(), Some("by 2 in"));
    assert_eq!((reason.found.as_str(), reason.limit.as_str()), ("20 in", "at most 18 in"));
    assert_eq!(reason.headline, "Drop from outlet to trap 20 in, at most 18 in");
    assert_eq!(reason.tell, "The drop is 20 in; at most 18 in. At s.");
    let limit = reason.lines.iter().find(|l| l.text == "reach").unwrap();
    assert_eq!(limit.detail, "18 in, Ord. 88, s. 3, from 2026-01-01 (was 24 in, code 2021, s. 1002.1)");
    assert_eq!(text.provisions()[0].cite, "code 2021, s. 1002.1; amended by Ord. 88, s. 3");
    assert_eq!(
        text.layers(),
        ["Code of the tests, edition 2021", "State rules (State Rules 12)", "County code"]
    );
}

#[test]
fn a_cells_trail_and_an_added_row_are_shown() {
    let text = library(&all(COUNTY)).adopt("county", day("2024-07-01")).unwrap();
    let at = text.provisions().iter().position(|p| p.id == "arm.reach").unwrap();
    let detail = |facts: &str| {
        let world = world(text.vocabulary(), &format!("sink s: {facts}"));
        let reason = text.explain(&world, at, 0);
        reason.lines.iter().find(|l| l.text.contains("= arm[")).unwrap().detail.clone()
    };
    assert_eq!(
        detail("trap.size = 1-1/2, arm.length = 54 in"),
        "42 in, row 1-1/2 nps, State Rule 12, table 2, from 2024-07-01 (was 72 in, table 909.1)"
    );
    assert_eq!(
        detail("trap.size = 3, arm.length = 54 in"),
        "144 in, row 3 nps, State Rule 12, table 2, from 2024-07-01"
    );
    let before = library(&all(COUNTY)).adopt("county", day("2024-06-30")).unwrap();
    let world = world(before.vocabulary(), "sink s: trap.size = 1-1/2, arm.length = 54 in");
    assert_eq!(before.explain(&world, at, 0).verdict, Verdict::Complies);
}

#[test]
fn an_added_exception_brings_its_own_limit() {
    let library = library(&all(COUNTY));
    let text = library.adopt("county", day("2026-05-01")).unwrap();
    let world =
        world(text.vocabulary(), "bar_sink b: tailpiece.length = 20 in\nsink s: tailpiece.length = 20 in");
    assert_eq!(text.explain(&world, 0, 0).verdict, Verdict::Complies);
    assert_eq!(text.explain(&world, 0, 1).verdict, Verdict::Violates);
}

#[test]
fn a_layer_not_yet_in_force_changes_nothing_and_the_digest_tells() {
    let library = library(&all(COUNTY));
    let digest = |adoption: &str, on: &str| library.adopt(adoption, day(on)).unwrap().digest().to_owned();
    assert_eq!(digest("county", "2025-12-31"), digest("state", "2025-12-31"));
    assert_ne!(digest("county", "2026-01-01"), digest("state", "2026-01-01"));
    assert_eq!(digest("county", "2026-01-01").len(), 64);
}

#[test]
fn comments_spacing_and_order_of_items_do_not_change_the_digest() {
    let tidy = library(&all(COUNTY)).adopt("county", day("2026-01-01")).unwrap();
    let (first, second) = BASE.split_once("\n\n").unwrap();
    let shuffled = format!(
        "# a comment\n{second}\n\n{}\n",
        first.replace("  limit    reach = 24 in", "  limit reach = 2 ft\n")
    );
    let turned = shuffled.replace("2 ft", "24 in");
    let mut files = all(COUNTY);
    files[1].text = format!("{CODE}{turned}");
    assert_eq!(library(&files).adopt("county", day("2026-01-01")).unwrap().digest(), tidy.digest());
}

#[test]
fn the_value_beneath_must_be_what_the_amendment_says() {
    let files = all(&COUNTY.replace("was 24 in", "was 30 in"));
    let loading = load(&files, &[]);
    assert!(loading.library.is_none());
    let fault = loading.diagnostics.iter().find(|d| d.code == "E0311").unwrap();
    let expected = "error[E0311]: the text beneath says 24 in here, not 30 in
 --> county/layer.rules:6:27
  |
6 |   replace limit reach was 30 in now 18 in
  |                           ^^^^^ 24 in: code 2021, s. 1002.1
  = help: write `was 24 in` if the amendment was meant to change that, or date it before the other change
";
    assert_eq!(fault.render(&files[4].text), expected);
}

#[test]
fn amendments_with_nothing_beneath_are_told() {
    let table = [
        (
            COUNTY.replace("amend tailpiece.reach", "amend tailpeice.reach"),
            "E0301",
            "did you mean `tailpiece.reach`?",
        ),
        (COUNTY.replace("limit reach was", "limit raech was"), "E0301", "did you mean `reach`?"),
        (COUNTY.replace("now 18 in", "now 18 gal"), "E0203", ""),
        (COUNTY.replace("over state", "over stat"), "E0201", "did you mean `state`?"),
        (COUNTY.replace("  from  2026-01-01\n", ""), "E0316", "add `from DATE`"),
        (
            format!(
                "{COUNTY}amend tailpiece.reach\n  from 2026-01-01\n  cite x\n  replace limit reach was 24 in now 17 in\n"
            ),
            "E0312",
            "",
        ),
        (
            format!(
                "{COUNTY}amend table arm\n  from 2026-01-01\n  cite x\n  replace cell [4].longest was 1 now 2\n"
            ),
            "E0301",
            "its rows are [1-1/2 nps] [2 nps] [3 nps]",
        ),
        (
            format!("{COUNTY}amend table arm\n  from 2026-01-01\n  cite x\n  remove row 2 was 95\n"),
            "E0311",
            "write 96 in",
        ),
    ];
    for (county, code, help) in table {
        let loading = load(&all(&county), &[]);
        let found = loading
            .diagnostics
            .iter()
            .any(|d| d.code == code && d.help.as_deref().unwrap_or("").contains(help));
        assert!(found && loading.library.is_none(), "{code} {help}: {:#?}", loading.diagnostics);
    }
}

#[test]
fn layers_in_a_circle_are_refused() {
    let mut files = all(COUNTY);
    files[3].text = STATE.replace("layer state over code", "layer state over county");
    let loading = load(&files, &[]);
    assert!(loading.diagnostics.iter().any(|d| d.code == "E0313"), "{:#?}", loading.diagnostics);
}

#[test]
fn adoptions_are_found_by_name_and_date() {
    let library = library(&all(COUNTY));
    let error = library.adopt("conty", day("2026-01-01")).unwrap_err();
    assert_eq!(error.to_string(), "there is no adoption `conty`; did you mean `county`?");
    let error = library.adopt("county", day("2022-02-28")).unwrap_err();
    assert_eq!(
        error.to_string(),
        "adoption `county` was not in force on 2022-02-28; its first base is in force from 2022-03-01"
    );
    assert!(library.adopt("county", day("2022-03-01")).is_ok());
    let ids: Vec<String> = library.adoptions().into_iter().map(|a| a.id).collect();
    assert_eq!(ids, ["state", "county"]);
}

#[test]
fn operations_of_every_kind_take_effect() {
    let operations = "\
layer county over state
amend arm.reach
  cite Ord. 1
  from 2025-01-01
  remove exception closet
  restrict when tight
  replace stage final
  replace title Another title
amend tailpiece.reach
  cite Ord. 2
  from 2025-01-01
  to 2025-12-31
  restrict for bar_sink
  replace require tailpiece.length < reach
amend extra.rule
  cite Ord. 3
  from 2025-01-01
  add provision
  title Reached
  cite Ord. 3
  stage final
  for sink
  require reached
  tell T
  basis our own
amend table arm
  cite Ord. 4
  from 2025-01-01
  remove row 2 was 96
";
    let library = library(&all(operations));
    let text = library.adopt("county", day("2025-06-01")).unwrap();
    let ids: Vec<&str> = text.provisions().iter().map(|p| p.id.as_str()).collect();
    assert_eq!(ids, ["tailpiece.reach", "arm.reach", "extra.rule"]);
    let arm = &text.provisions()[1];
    assert_eq!((arm.title.as_str(), arm.stages.len()), ("Another title", 1));
    let world = world(
        text.vocabulary(),
        "bar_sink b: tailpiece.length = 24 in\nwater_closet w: tight = yes, arm.length = 25 ft, trap.size = 3\n\
         sink s: reached = no, tight = no, tailpiece.length = 40 in\nsink t: tight = yes, trap.size = 2, arm.length = 1 in",
    );
    let found = text.assess(&world, "final");
    let of =
        |p: usize, s: usize| found.iter().find(|f| f.provision == p && f.subject == s).map(|f| f.verdict);
    assert_eq!(of(0, 0), Some(Verdict::Violates), "24 in is no longer less than 24 in");
    assert_eq!(of(0, 2), None, "restricted to bar sinks");
    assert_eq!(of(1, 1), Some(Verdict::Violates), "the exception for closets is gone");
    assert_eq!(of(1, 2), Some(Verdict::NotApplicable), "only where tight");
    assert_eq!(of(1, 3), Some(Verdict::Undetermined), "the row for 2 in is gone");
    assert_eq!(of(2, 2), Some(Verdict::Violates));
    let after = library.adopt("county", day("2026-01-01")).unwrap();
    assert_eq!(after.provisions()[0].kinds, ["sink", "bar_sink"], "the amendment ended");
}
