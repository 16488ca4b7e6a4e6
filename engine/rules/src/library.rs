//! Loading: files in, a library of adoptions out, or every fault of all files in one run.

use crate::adopted::Adopted;
use crate::build::build;
use crate::case::{self, Case};
use crate::date::Date;
use crate::diagnostic::{Diagnostic, Fault, Faults, SourceFile, Span, did_you_mean, nearest};
use crate::digest::digest;
use crate::function::HostFunction;
use crate::law::{Flat, Law, Layer, Ruleset};
use crate::outcome::{AdoptError, AdoptionInfo, CaseOutcome};
use crate::parse::parse;
use crate::syntax::*;
use crate::vocabulary::{self, Vocabulary};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// A file larger than this is refused unread.
pub const MOST_BYTES: usize = 4 << 20;
/// More provisions than this in one text are refused.
pub const MOST_PROVISIONS: usize = 10_000;

/// What loading gives.
#[derive(Debug)]
pub struct Loading {
    /// The library, when no file has an error.
    pub library: Option<Library>,
    /// Every fault found, in order of file and place.
    pub diagnostics: Vec<Diagnostic>,
}

/// Rulesets, layers and adoptions, checked.
#[derive(Debug)]
pub struct Library {
    law: Law,
    vocabulary: Vocabulary,
    functions: Arc<[HostFunction]>,
    cases: Vec<Case>,
    /// Rulesets' own texts, by place in the law.
    bases: Vec<Adopted>,
}

/// Loads rulesets from their files. Nothing is read but what is handed in; the same files give the same library.
pub fn load(files: &[SourceFile], functions: &[HostFunction]) -> Loading {
    let mut faults = Faults::default();
    let library = load_all(files, functions, &mut faults);
    let library = library.filter(|_| !faults.has_errors());
    Loading { library, diagnostics: faults.finish(files) }
}

/// Who a file belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Owner {
    Ruleset(usize),
    Layer(usize),
    Nobody,
}

fn load_all(files: &[SourceFile], functions: &[HostFunction], faults: &mut Faults) -> Option<Library> {
    let mut trees: Vec<FileTree> = Vec::with_capacity(files.len());
    for (i, file) in files.iter().enumerate() {
        let span = Span { file: i as u32, start: 0, end: 0 };
        if file.text.len() > MOST_BYTES {
            faults.push(
                Fault::new("E0108", span, format!("the file is larger than {} MiB", MOST_BYTES >> 20))
                    .help("split it into several files"),
            );
            trees.push(FileTree::default());
        } else if file.path.ends_with(".rules") {
            trees.push(parse(&file.path, &file.text, i as u32, faults));
        } else {
            if !file.path.ends_with(".csv") {
                faults.push(
                    Fault::new("E0108", span, "a ruleset's files end in `.rules` or `.csv`")
                        .help("leave this file out"),
                );
            }
            trees.push(FileTree::default());
        }
    }
    let count: usize = trees.iter().map(|t| t.law.len()).sum();
    if count > MOST_PROVISIONS {
        faults.push(Fault::new(
            "E0110",
            Span::default(),
            format!("more than {MOST_PROVISIONS} provisions and amendments"),
        ));
        return None;
    }
    let lexicon = Arc::new(vocabulary::build(&trees, faults));
    let vocabulary = Vocabulary(Arc::clone(&lexicon));
    let mut law = Law::default();
    let owners = owners(files, &trees, &mut law, faults);
    gather(files, &trees, &owners, &mut law, &lexicon, faults);
    for tree in &trees {
        law.adoptions.extend(tree.adoptions.iter().cloned());
    }
    check_names(&law, faults);
    let functions: Arc<[HostFunction]> = functions.into();
    let mut bases = Vec::new();
    for i in 0..law.rulesets.len() {
        let flat = law.base(i);
        let digest = digest(&flat, &lexicon);
        let built = build(flat, &lexicon, &functions, faults);
        let ruleset = &law.rulesets[i];
        bases.push(Adopted {
            id: ruleset.item.id.text.clone(),
            title: ruleset.cited(),
            layers: vec![ruleset.cited()],
            basis: law.basis(i),
            date: last_day(),
            digest,
            vocabulary: vocabulary.clone(),
            built: Arc::new(built),
            functions: Arc::clone(&functions),
        });
    }
    check_adoptions(&law, &lexicon, &functions, faults);
    let cases = trees
        .iter()
        .enumerate()
        .flat_map(|(i, tree)| tree.cases.iter().map(move |item| (i, item)))
        .filter_map(|(i, item)| {
            let line =
                files[i].text[..(item.span.start as usize).min(files[i].text.len())].matches('\n').count()
                    + 1;
            let adoption =
                item.under.as_ref().map(|n| law.adoptions.iter().position(|a| a.id.text == n.text));
            let known: Vec<&str> = law.adoptions.iter().map(|a| a.id.text.as_str()).collect();
            case::resolve(
                item,
                &files[i].path,
                line,
                owners[i],
                adoption,
                &known,
                &bases,
                &law,
                &vocabulary,
                faults,
            )
        })
        .collect();
    Some(Library { law, vocabulary, functions, cases, bases })
}

/// A day on which every dated change of a text is in force.
fn last_day() -> Date {
    Date::from_number(vocabulary::date_range().1).unwrap_or_else(unreachable_day)
}

fn unreachable_day() -> Date {
    // `date_range` ends in the year 2200, which the calendar has.
    Date::new(2200, 12, 31).expect("the calendar has this day")
}

/// Registers rulesets and layers and finds out which files belong to which.
fn owners(files: &[SourceFile], trees: &[FileTree], law: &mut Law, faults: &mut Faults) -> Vec<Owner> {
    let mut folders: BTreeMap<String, Vec<Owner>> = BTreeMap::new();
    let folder = |path: &str| path.rfind('/').map_or(String::new(), |i| path[..=i].to_owned());
    for (file, tree) in files.iter().zip(trees) {
        for item in &tree.rulesets {
            let at = Owner::Ruleset(law.rulesets.len());
            if let Some(first) = law.rulesets.iter().find(|r| r.item.id.text == item.id.text) {
                let told = format!("ruleset `{}` is declared twice", item.id.text);
                faults.push(Fault::new("E0217", item.id.span, told).label(first.item.id.span, "first here"));
            }
            law.rulesets.push(Ruleset { item: item.clone(), provisions: vec![], tables: vec![] });
            folders.entry(item.folder.clone()).or_default().push(at);
        }
        for item in &tree.law {
            if let LawItem::Layer(item) = item {
                if let Some(first) = law.layers.iter().find(|l| l.item.id.text == item.id.text) {
                    let told = format!("layer `{}` is declared twice", item.id.text);
                    faults.push(
                        Fault::new("E0217", item.id.span, told).label(first.item.id.span, "first here"),
                    );
                }
                let at = Owner::Layer(law.layers.len());
                law.layers.push(Layer {
                    item: item.clone(),
                    amends: vec![],
                    provisions: vec![],
                    tables: vec![],
                });
                folders.entry(folder(&file.path)).or_default().push(at);
            }
        }
    }
    files
        .iter()
        .map(|file| {
            let mut at = folder(&file.path);
            loop {
                match folders.get(&at).map(Vec::as_slice) {
                    // A ruleset's folder that also holds a layer's file belongs to the ruleset.
                    Some(list) if list.iter().filter(|o| matches!(o, Owner::Ruleset(_))).count() == 1 => {
                        return list
                            .iter()
                            .copied()
                            .find(|o| matches!(o, Owner::Ruleset(_)))
                            .unwrap_or(Owner::Nobody);
                    }
                    Some([one]) => return *one,
                    _ => {}
                }
                if at.is_empty() {
                    return Owner::Nobody;
                }
                at = folder(at.trim_end_matches('/'));
            }
        })
        .collect()
}

/// Gives provisions, amendments and tables to their owners.
fn gather(
    files: &[SourceFile],
    trees: &[FileTree],
    owners: &[Owner],
    law: &mut Law,
    lexicon: &vocabulary::Lexicon,
    faults: &mut Faults,
) {
    for ((i, file), tree) in files.iter().enumerate().zip(trees) {
        let mut current = owners[i];
        for item in &tree.law {
            match item {
                LawItem::Layer(layer) => {
                    if let Some(at) = law.layers.iter().position(|l| l.item.id.text == layer.id.text) {
                        current = Owner::Layer(at);
                    }
                }
                LawItem::Provision(provision) => match current {
                    Owner::Ruleset(at) => {
                        let list = &mut law.rulesets[at].provisions;
                        if let Some(first) = list.iter().find(|p| p.id.text == provision.id.text) {
                            let told = format!("provision `{}` is declared twice", provision.id.text);
                            let fault = Fault::new("E0217", provision.id.span, told);
                            faults.push(fault.label(first.id.span, "first here"));
                        } else {
                            list.push(provision.clone());
                        }
                    }
                    Owner::Layer(at) => {
                        let mut provision = provision.clone();
                        if provision.from.is_none() {
                            provision.from = law.layers[at].item.from;
                        }
                        law.layers[at].provisions.push(provision);
                    }
                    Owner::Nobody => faults.push(
                        Fault::new(
                            "E0302",
                            provision.id.span,
                            "this provision belongs to no ruleset and no layer",
                        )
                        .help("add a `ruleset` item to one of the folder's files"),
                    ),
                },
                LawItem::Amend(amend) => match current {
                    Owner::Layer(at) => law.layers[at].amends.push(amend.clone()),
                    _ => faults.push(
                        Fault::new("E0302", amend.target.span, "this amendment belongs to no layer")
                            .help("put a `layer NAME over ...` item above it"),
                    ),
                },
            }
        }
        if file.path.ends_with(".csv") && file.text.len() <= MOST_BYTES {
            let start = file.path.rfind('/').map_or(0, |i| i + 1);
            let name = &file.path[start..file.path.len() - ".csv".len()];
            let span = Span { file: i as u32, start: 0, end: 0 };
            let Some(mut table) = crate::table::parse(name, &file.text, i as u32, lexicon, faults) else {
                continue;
            };
            let mut items =
                owners.iter().zip(trees).filter(|(o, _)| **o == owners[i]).flat_map(|(_, t)| &t.tables);
            if let Some(item) = items.find(|t| t.name.text == name) {
                table.cite = item.cite.as_ref().map_or(String::new(), |c| c.text.clone());
                table.basis = item.basis.as_ref().map_or(String::new(), |b| b.text.clone());
            }
            let list = match owners[i] {
                Owner::Ruleset(at) => &mut law.rulesets[at].tables,
                Owner::Layer(at) => &mut law.layers[at].tables,
                Owner::Nobody => {
                    faults.push(
                        Fault::new("E0302", span, "this table belongs to no ruleset and no layer")
                            .help("put it into the folder of a ruleset or layer"),
                    );
                    continue;
                }
            };
            if list.iter().any(|t| t.name == table.name) {
                faults.push(Fault::new("E0217", span, format!("a second table `{name}` in one ruleset")));
            } else {
                list.push(table);
            }
        }
    }
    for (owner, tree) in owners.iter().zip(trees) {
        for item in &tree.tables {
            let tables = match owner {
                Owner::Ruleset(at) => &law.rulesets[*at].tables,
                Owner::Layer(at) => &law.layers[*at].tables,
                Owner::Nobody => continue,
            };
            if !tables.iter().any(|t| t.name == item.name.text) {
                let known = tables.iter().map(|t| t.name.as_str());
                faults.push(
                    Fault::new(
                        "E0201",
                        item.name.span,
                        format!("there is no file `{}.csv` in this ruleset", item.name.text),
                    )
                    .maybe_help(did_you_mean(&item.name.text, known)),
                );
            }
        }
    }
}

/// Rulesets required, layers beneath, adoptions' parts: all there, no circles.
fn check_names(law: &Law, faults: &mut Faults) {
    let rulesets: Vec<&str> = law.rulesets.iter().map(|r| r.item.id.text.as_str()).collect();
    let layers: Vec<&str> = law.layers.iter().map(|l| l.item.id.text.as_str()).collect();
    for ruleset in &law.rulesets {
        for name in &ruleset.item.requires {
            if !rulesets.contains(&name.text.as_str()) {
                faults.push(
                    Fault::new("E0201", name.span, format!("there is no ruleset `{}`", name.text))
                        .maybe_help(did_you_mean(&name.text, rulesets.iter().copied())),
                );
            }
        }
    }
    for layer in &law.layers {
        for name in &layer.item.over {
            if !rulesets.contains(&name.text.as_str()) && !layers.contains(&name.text.as_str()) {
                let known = rulesets.iter().chain(&layers).copied();
                faults.push(
                    Fault::new("E0201", name.span, format!("there is no layer or ruleset `{}`", name.text))
                        .maybe_help(did_you_mean(&name.text, known)),
                );
            }
        }
        // Layers reachable downward; coming back to oneself is a circle.
        let mut seen: BTreeSet<&str> = BTreeSet::new();
        let mut stack: Vec<&str> = layer.item.over.iter().map(|n| n.text.as_str()).collect();
        while let Some(below) = stack.pop() {
            if below == layer.item.id.text {
                faults.push(
                    Fault::new("E0313", layer.item.id.span, format!("layer `{below}` would lie over itself"))
                        .help("a layer lies over what it amends; take one `over` out"),
                );
                break;
            }
            if seen.insert(below)
                && let Some(next) = law.layers.iter().find(|l| l.item.id.text == below)
            {
                stack.extend(next.item.over.iter().map(|n| n.text.as_str()));
            }
        }
        for amend in &layer.amends {
            if amend.cite.is_none() && layer.item.cite.is_none() {
                faults.push(
                    Fault::new("E0316", amend.target.span, "the amendment has no citation")
                        .help("add `cite`"),
                );
            }
            if amend.from.is_none() && layer.item.from.is_none() {
                faults.push(
                    Fault::new(
                        "E0316",
                        amend.target.span,
                        "the amendment does not say from when it is in force",
                    )
                    .help("add `from DATE`"),
                );
            }
            if let (Some((from, _)), Some((to, span))) = (amend.from, amend.to)
                && to < from
            {
                faults.push(Fault::new("E0316", span, "the amendment ends before it begins"));
            }
        }
    }
    for (i, adoption) in law.adoptions.iter().enumerate() {
        if let Some(first) = law.adoptions[..i].iter().find(|a| a.id.text == adoption.id.text) {
            let told = format!("adoption `{}` is declared twice", adoption.id.text);
            faults.push(Fault::new("E0217", adoption.id.span, told).label(first.id.span, "first here"));
        }
        for (name, _) in &adoption.bases {
            if !rulesets.contains(&name.text.as_str()) {
                faults.push(
                    Fault::new("E0201", name.span, format!("there is no ruleset `{}`", name.text))
                        .maybe_help(did_you_mean(&name.text, rulesets.iter().copied())),
                );
            }
        }
        let mut below: Vec<&str> = adoption.bases.iter().map(|(n, _)| n.text.as_str()).collect();
        for (name, _) in &adoption.layers {
            match law.layers.iter().find(|l| l.item.id.text == name.text) {
                None => faults.push(
                    Fault::new("E0201", name.span, format!("there is no layer `{}`", name.text))
                        .maybe_help(did_you_mean(&name.text, layers.iter().copied())),
                ),
                Some(layer) => {
                    let over = &layer.item.over;
                    if let Some(missing) = over.iter().find(|o| !below.contains(&o.text.as_str())) {
                        faults.push(
                            Fault::new(
                                "E0317",
                                name.span,
                                format!(
                                    "layer `{}` lies over `{}`, which does not stand above it here",
                                    name.text, missing.text
                                ),
                            )
                            .label(missing.span, "declared here")
                            .help("list the base and the layers from the bottom up"),
                        );
                    }
                }
            }
            below.push(&name.text);
        }
    }
}

/// The stack of an adoption on a date: its base and layers in force.
fn stack(law: &Law, adoption: &AdoptionItem, on: Date) -> Option<(usize, Vec<usize>)> {
    let base = adoption
        .bases
        .iter()
        .filter(|(_, from)| from.is_none_or(|f| f <= on))
        .max_by_key(|(_, from)| *from)
        .and_then(|(name, _)| law.ruleset(&name.text))?;
    let layers = adoption
        .layers
        .iter()
        .filter(|(_, from)| from.is_none_or(|f| f <= on))
        .filter_map(|(name, _)| law.layer(&name.text))
        .collect();
    Some((base, layers))
}

/// Days on which the text of an adoption changes.
fn turns(law: &Law, adoption: &AdoptionItem) -> BTreeSet<Date> {
    let own = adoption.bases.iter().chain(&adoption.layers).filter_map(|(_, from)| *from);
    let layers = adoption.layers.iter().filter_map(|(name, _)| law.layer(&name.text));
    let first = adoption.bases.iter().filter_map(|(_, from)| *from).min();
    let mut days: BTreeSet<Date> = own.chain(layers.flat_map(|l| law.layers[l].turns())).collect();
    days.retain(|d| first.is_none_or(|f| f <= *d));
    if days.is_empty() {
        days.insert(last_day());
    }
    days
}

/// Folds every adoption on every day its text changes, so that no fault waits for a permit of that day.
fn check_adoptions(
    law: &Law,
    lexicon: &Arc<vocabulary::Lexicon>,
    functions: &[HostFunction],
    faults: &mut Faults,
) {
    let mut done: BTreeSet<String> = BTreeSet::new();
    for adoption in &law.adoptions {
        for day in turns(law, adoption) {
            let Some((base, layers)) = stack(law, adoption, day) else { continue };
            let flat = law.fold(base, &layers, day, lexicon, faults);
            if done.insert(digest(&flat, lexicon)) {
                build(flat, lexicon, functions, faults);
            }
        }
    }
    // Layers that no adoption uses are checked over what they say they lie over, all of their changes in force.
    for (i, layer) in law.layers.iter().enumerate() {
        let used = law.adoptions.iter().flat_map(|a| &a.layers).any(|(n, _)| n.text == layer.item.id.text);
        if used {
            continue;
        }
        let mut order = vec![i];
        let mut base = None;
        let mut at = i;
        while let Some(below) = law.layers[at].item.over.first() {
            base = law.ruleset(&below.text).or(base);
            match law.layer(&below.text) {
                Some(next) if !order.contains(&next) => {
                    order.insert(0, next);
                    at = next;
                }
                _ => break,
            }
        }
        if let Some(base) = base {
            let flat: Flat = law.fold(base, &order, last_day(), lexicon, faults);
            build(flat, lexicon, functions, faults);
        }
    }
}

impl Library {
    /// Adoptions that can be chosen, in the order of the files.
    pub fn adoptions(&self) -> Vec<AdoptionInfo> {
        self.law
            .adoptions
            .iter()
            .map(|adoption| {
                let layers = match stack(&self.law, adoption, last_day()) {
                    Some((base, layers)) => self.cited(base, &layers),
                    None => vec![],
                };
                AdoptionInfo { id: adoption.id.text.clone(), title: title(adoption), layers }
            })
            .collect()
    }

    fn cited(&self, base: usize, layers: &[usize]) -> Vec<String> {
        std::iter::once(self.law.rulesets[base].cited())
            .chain(layers.iter().map(|l| self.law.layers[*l].cited()))
            .collect()
    }

    /// The words that all rulesets of the library share.
    pub fn vocabulary(&self) -> &Vocabulary {
        &self.vocabulary
    }

    /// Ids of the rulesets, in the order of the files.
    pub fn rulesets(&self) -> Vec<&str> {
        self.law.rulesets.iter().map(|r| r.item.id.text.as_str()).collect()
    }

    /// A ruleset's own text, without layers.
    pub fn ruleset(&self, id: &str) -> Option<&Adopted> {
        self.law.ruleset(id).map(|at| &self.bases[at])
    }

    /// The law in force for a permit applied for on a date.
    ///
    /// # Errors
    /// [`AdoptError`] when there is no such adoption, or it was not yet in force.
    pub fn adopt(&self, id: &str, permit_date: Date) -> Result<Adopted, AdoptError> {
        let Some(adoption) = self.law.adoptions.iter().find(|a| a.id.text == id) else {
            let known = self.law.adoptions.iter().map(|a| a.id.text.as_str());
            return Err(AdoptError::UnknownAdoption {
                id: id.to_owned(),
                did_you_mean: nearest(id, known).map(str::to_owned),
            });
        };
        let Some((base, layers)) = stack(&self.law, adoption, permit_date) else {
            let first = adoption.bases.iter().filter_map(|(_, from)| *from).min();
            return Err(AdoptError::NotYetInForce {
                id: id.to_owned(),
                on: permit_date,
                from: first.unwrap_or(permit_date),
            });
        };
        let mut faults = Faults::default();
        let lexicon = &self.vocabulary.0;
        let flat = self.law.fold(base, &layers, permit_date, lexicon, &mut faults);
        let digest = digest(&flat, lexicon);
        let built = build(flat, lexicon, &self.functions, &mut faults);
        if let Some(fault) = faults.list.iter().find(|f| f.severity == crate::diagnostic::Severity::Error) {
            return Err(AdoptError::Unusable {
                id: id.to_owned(),
                on: permit_date,
                reason: fault.message.clone(),
            });
        }
        Ok(Adopted {
            id: id.to_owned(),
            title: title(adoption),
            layers: self.cited(base, &layers),
            basis: self.law.basis(base),
            date: permit_date,
            digest,
            vocabulary: self.vocabulary.clone(),
            built: Arc::new(built),
            functions: Arc::clone(&self.functions),
        })
    }

    /// The days on which the text of an adoption changes, for showing and for tests; empty for an unknown one.
    pub fn turning_days(&self, id: &str) -> Vec<Date> {
        let found = self.law.adoptions.iter().find(|a| a.id.text == id);
        found.map_or(vec![], |a| turns(&self.law, a).into_iter().collect())
    }

    /// Runs every case of every ruleset and layer.
    pub fn run_cases(&self) -> Vec<CaseOutcome> {
        let mut texts: BTreeMap<(usize, Option<Date>), Result<Adopted, String>> = BTreeMap::new();
        self.cases
            .iter()
            .map(|case| match case.text {
                case::Text::Own(base) => case.run(&self.bases[base]),
                case::Text::Adoption(at) => {
                    let adoption = &self.law.adoptions[at];
                    let text = texts.entry((at, case.on)).or_insert_with(|| {
                        let day = case.on.or_else(|| turns(&self.law, adoption).last().copied());
                        self.adopt(&adoption.id.text, day.unwrap_or_else(last_day)).map_err(|e| e.to_string())
                    });
                    match text {
                        Ok(adopted) => case.run(adopted),
                        Err(reason) => case.failed(reason),
                    }
                }
            })
            .collect()
    }
}

fn title(adoption: &AdoptionItem) -> String {
    adoption.title.as_ref().map_or_else(|| adoption.id.text.clone(), |t| t.text.clone())
}
