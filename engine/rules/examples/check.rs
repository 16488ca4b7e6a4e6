//! Reads a folder of rulesets, prints every fault, runs every case. For authors of rulesets and for trying the engine.
//!
//! `cargo run -p crownweir-rules --example check -- FOLDER [--all]`; exit code 0 when everything holds, 1 when a case or
//! a file falls short, 2 when the folder cannot be read. `--all` prints passing cases too,
//! `--reasons` with the reason of each.

use crownweir_rules::{CaseOutcome, HostBounds, HostFunction, Severity, SourceFile, load};
use crownweir_sizing::Bounds;
use std::path::Path;
use std::process::ExitCode;

/// The formulas that the rulesets of this project call, as the engine's face offers them.
const FUNCTIONS: &[HostFunction] = &[HostFunction {
    name: "expansion_tank",
    params: &["volume", "temperature", "temperature", "pressure", "pressure"],
    result: "volume",
    call: expansion_tank,
}];

fn expansion_tank(args: &[HostBounds]) -> Result<HostBounds, String> {
    let [volume, cold, hot, line, most] = args else {
        return Err("expansion_tank takes five arguments".to_owned());
    };
    let bounds = |b: &HostBounds| Bounds { lo: b.lo, hi: b.hi };
    crownweir_sizing::expansion_tank(bounds(volume), bounds(cold), bounds(hot), bounds(line), bounds(most))
        .map(|b| HostBounds { lo: b.lo, hi: b.hi })
        .map_err(|e| e.to_string())
}

fn read(root: &Path, folder: &Path, out: &mut Vec<SourceFile>) -> std::io::Result<()> {
    let mut entries: Vec<_> = std::fs::read_dir(folder)?.collect::<Result<_, _>>()?;
    entries.sort_by_key(std::fs::DirEntry::path);
    for entry in entries {
        let path = entry.path();
        if path.is_dir() {
            read(root, &path, out)?;
        } else if path.extension().is_some_and(|e| e == "rules" || e == "csv") {
            let short = path.strip_prefix(root).unwrap_or(&path).to_string_lossy().replace('\\', "/");
            out.push(SourceFile { path: short, text: std::fs::read_to_string(&path)? });
        }
    }
    Ok(())
}

fn print_case(case: &CaseOutcome, reasons: bool) {
    let word = if case.passed { "holds" } else { "FAILS" };
    println!("{word}: {} \"{}\"  ({}:{})", case.provision, case.title, case.file, case.line);
    if !case.passed || reasons {
        println!("   expected: {}\n   found:    {}", case.expected, case.found);
        for line in &case.reason {
            println!(
                "     {:indent$}[{:?}] {}  {}",
                "",
                line.mark,
                line.text,
                line.detail,
                indent = line.depth as usize * 2
            );
        }
    }
}

fn main() -> ExitCode {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let Some(folder) = args.iter().find(|a| !a.starts_with("--")) else {
        eprintln!("give the folder of the rulesets");
        return ExitCode::from(2);
    };
    let mut files = Vec::new();
    if let Err(error) = read(Path::new(folder), Path::new(folder), &mut files) {
        eprintln!("{folder} cannot be read: {error}");
        return ExitCode::from(2);
    }
    let loading = load(&files, FUNCTIONS);
    for fault in &loading.diagnostics {
        let source = files.iter().find(|f| f.path == fault.file).map_or("", |f| f.text.as_str());
        println!("{}", fault.render(source));
    }
    let errors = loading.diagnostics.iter().filter(|d| d.severity == Severity::Error).count();
    println!("{} files, {errors} errors, {} warnings", files.len(), loading.diagnostics.len() - errors);
    let Some(library) = loading.library else { return ExitCode::from(1) };
    let cases = library.run_cases();
    let failed = cases.iter().filter(|c| !c.passed).count();
    for case in cases.iter().filter(|c| !c.passed || args.iter().any(|a| a == "--all")) {
        print_case(case, args.iter().any(|a| a == "--reasons"));
    }
    println!("{} cases, {failed} fail", cases.len());
    for adoption in library.adoptions() {
        let texts: Vec<String> = library
            .turning_days(&adoption.id)
            .into_iter()
            .filter_map(|day| {
                library.adopt(&adoption.id, day).ok().map(|a| format!("{day} {}", &a.digest()[..12]))
            })
            .collect();
        println!("adoption {}: {}", adoption.id, texts.join(", "));
    }
    if failed == 0 { ExitCode::SUCCESS } else { ExitCode::from(1) }
}
