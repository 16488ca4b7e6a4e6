//! Times the whole evaluation on a house of about 60 subjects under about 250 provisions, made up here from provisions of
//! the usual shapes. Not a test: it prints what this machine takes. `cargo run --release -p crownweir-rules --example speed`

use crownweir_rules::{SourceFile, World, load};
use std::time::Instant;

const VOCABULARY: &str = "\
ruleset words 1
  language 1
kind house
kind room in house
kind fixture in room: sink, lavatory, tub, closet
kind supply in fixture
kind device in supply
kind heater in room
enum valve manual, mixing, solenoid, lever   quick = solenoid, lever
enum use bedroom, full_bath, half_bath, other
fact a.length on fixture length 0 in .. 96 in
fact b.length on fixture length 0 in .. 30 ft
fact a.slope on fixture slope 0 in/ft .. 12 in/ft
fact a.size on fixture nps 1-1/4 .. 4
fact a.tight on fixture yesno
fact a.way on fixture one of open, aav, none
fact valve on supply valve
fact what on device one of arrestor, stop
fact use on room use
fact volume on heater volume 0 gal .. 300 gal
";

fn rules() -> String {
    let mut out = "ruleset code 1\n  language 1\n  requires words\n".to_owned();
    for i in 0..250 {
        let head = format!(
            "provision p{i}\n  title T\n  cite s. {i}\n  stage final\n  basis from memory\n  tell T\n"
        );
        let limit = 10 + i % 50;
        let body = match i % 10 {
            0 | 1 => format!("  for sink, lavatory\n  limit x = {limit} in\n  require a.length <= x\n"),
            2 => "  for fixture\n  let row = table arm[a.size]\n  require a.slope >= row.slope and b.length <= row.longest\n      \
                  and b.length * a.slope <= diameter(a.size)\n  except self\n    when fixture is closet\n    waive\n"
                .to_owned(),
            3 => format!("  for tub\n  limit x = {limit} in\n  when a.way is aav\n  require a.length >= x\n"),
            4 => "  for supply\n  when valve in quick\n  require some device in supply has what is arrestor\n".to_owned(),
            5 => "  for lavatory, tub\n  require a.tight\n".to_owned(),
            6 => format!("  for closet\n  limit x = {limit} in\n  limit y = 90 in\n  require a.length >= x and a.length <= y\n"),
            7 => "  for house\n  require sum(volume over heater in house) >= 10 gal * count(room in house where use is bedroom)\n"
                .to_owned(),
            8 => "  for sink\n  require a.size >= 1-1/2 nps and a.tight\n".to_owned(),
            _ => "  for room\n  when use is full_bath\n  require some closet in room\n".to_owned(),
        };
        out.push_str(&head);
        out.push_str(&body);
    }
    out
}

fn main() {
    let table = "size [nps =],slope [in/ft],longest [in],source\n1-1/4,1/4,60,x\n1-1/2,1/4,72,x\n2,1/4,96,x\n3,1/8,144,x\notherwise,undetermined\n";
    let file = |path: &str, text: &str| SourceFile { path: path.to_owned(), text: text.to_owned() };
    let files =
        [file("words/w.rules", VOCABULARY), file("code/c.rules", &rules()), file("code/arm.csv", table)];
    let start = Instant::now();
    let loading = load(&files, &[]);
    println!("load (base only): {:?}", start.elapsed());
    let Some(library) = loading.library else {
        loading.diagnostics.iter().take(5).for_each(|d| println!("{}", d.message));
        return;
    };
    let Some(text) = library.ruleset("code").cloned() else { return };
    let words = library.vocabulary();
    let mut world = World::new(words);
    let add = |world: &mut World, id: &str, kind: &str, parent: Option<&str>, facts: &[(&str, &str)]| {
        let at = world.add(id, kind, parent).expect("the vocabulary is ours");
        for (fact, value) in facts {
            let value = words.parse_value(fact, value).expect("the values are ours");
            world.seen(at, fact, &[value], "").expect("the facts are ours");
        }
    };
    add(&mut world, "h", "house", None, &[]);
    for r in 0..10 {
        let room = format!("r{r}");
        let uses = if r % 3 == 0 { "full_bath" } else { "bedroom" };
        add(&mut world, &room, "room", Some("h"), &[("use", uses)]);
        for (f, kind) in ["sink", "lavatory", "tub", "closet"].iter().enumerate() {
            let id = format!("f{r}{f}");
            let mut facts = vec![("a.length", "20 in"), ("a.slope", "1/4 in/ft"), ("a.tight", "yes")];
            if r % 4 != 1 {
                facts.push(("a.size", "2"));
                facts.push(("b.length", "5 ft"));
            }
            add(&mut world, &id, kind, Some(&room), &facts);
        }
        if r < 6 {
            add(&mut world, &format!("s{r}"), "supply", Some(&format!("f{r}0")), &[("valve", "solenoid")]);
        }
    }
    add(&mut world, "w", "heater", Some("r0"), &[("volume", "50 gal")]);
    let findings = text.assess(&world, "final");
    println!("{} subjects, {} verdicts", world.len(), findings.len());
    let mut times: Vec<_> = (0..500)
        .map(|_| {
            let start = Instant::now();
            std::hint::black_box(text.assess(&world, "final"));
            start.elapsed()
        })
        .collect();
    times.sort_unstable();
    println!("assess: {:?} at best, {:?} in the middle", times[0], times[times.len() / 2]);
    let open: Vec<_> =
        findings.iter().filter(|f| f.verdict == crownweir_rules::Verdict::Undetermined).take(200).collect();
    let start = Instant::now();
    for finding in &open {
        std::hint::black_box(text.needed(&world, finding.provision, finding.subject));
    }
    println!("needed: {:?} for each of {}", start.elapsed() / open.len().max(1) as u32, open.len());
    let start = Instant::now();
    for finding in &findings {
        std::hint::black_box(text.explain(&world, finding.provision, finding.subject));
    }
    println!("explain: {:?} each", start.elapsed() / findings.len() as u32);
}
