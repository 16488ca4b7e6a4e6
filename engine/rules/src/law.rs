//! Rulesets and layers as loaded, and the fold of a stack of them into one flat text for a date.

use crate::date::Date;
use crate::diagnostic::{Fault, Faults, Span, did_you_mean};
use crate::parse::write_literal;
use crate::print::print;
use crate::syntax::*;
use crate::table::{self, KeyCell, Table};
use crate::trail::{Step, Trail};
use crate::vocabulary::Lexicon;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// A base text.
#[derive(Debug)]
pub(crate) struct Ruleset {
    pub item: RulesetItem,
    pub provisions: Vec<ProvisionItem>,
    pub tables: Vec<Table>,
}

/// An amending layer.
#[derive(Debug)]
pub(crate) struct Layer {
    pub item: LayerItem,
    pub amends: Vec<AmendItem>,
    pub provisions: Vec<ProvisionItem>,
    pub tables: Vec<Table>,
}

/// Everything the files say about the law, names of rulesets and layers resolved.
#[derive(Debug, Default)]
pub(crate) struct Law {
    pub rulesets: Vec<Ruleset>,
    pub layers: Vec<Layer>,
    pub adoptions: Vec<AdoptionItem>,
}

/// A provision as a stack of layers leaves it.
#[derive(Debug, Clone)]
pub(crate) struct FlatProvision {
    pub item: ProvisionItem,
    /// Trails of limits by name, `exception.limit` for those of exceptions.
    pub trails: BTreeMap<String, Trail>,
    /// Other changes: what, by whom, from when.
    pub changes: Vec<(String, String, Option<Date>)>,
}

/// One flat text.
#[derive(Debug, Clone, Default)]
pub(crate) struct Flat {
    pub provisions: Vec<FlatProvision>,
    pub tables: Vec<Table>,
}

fn same(a: &Literal, b: &Literal) -> bool {
    match (a, b) {
        (Literal::Quantity { ticks: x, ty: t, .. }, Literal::Quantity { ticks: y, ty: u, .. }) => {
            x == y && t == u
        }
        (a, b) => a == b,
    }
}

impl Ruleset {
    /// How a person cites it.
    pub fn cited(&self) -> String {
        let name = self.item.document.as_ref().map_or(self.item.id.text.as_str(), |d| d.text.as_str());
        match &self.item.edition {
            Some(edition) => format!("{name}, edition {}", edition.text),
            None => name.to_owned(),
        }
    }
}

impl Layer {
    /// How a person cites it.
    pub fn cited(&self) -> String {
        match (&self.item.title, &self.item.cite) {
            (Some(title), Some(cite)) if title.text != cite.text => format!("{} ({})", title.text, cite.text),
            (Some(one), _) | (None, Some(one)) => one.text.clone(),
            (None, None) => self.item.id.text.clone(),
        }
    }

    fn cite_of(&self, amend: &AmendItem) -> String {
        let cite = amend.cite.as_ref().or(self.item.cite.as_ref());
        cite.map_or_else(|| self.item.id.text.clone(), |c| c.text.clone())
    }

    fn since_of(&self, amend: &AmendItem) -> Option<Date> {
        amend.from.as_ref().or(self.item.from.as_ref()).map(|(d, _)| *d)
    }

    /// Days on which this layer's text changes.
    pub fn turns(&self) -> BTreeSet<Date> {
        let own = self.item.from.iter().map(|(d, _)| *d);
        let amends = self.amends.iter().flat_map(|a| a.from.iter().chain(&a.to));
        let provisions = self.provisions.iter().flat_map(|p| p.from.iter().chain(&p.to));
        let ends = self.amends.iter().filter_map(|a| a.to).chain(self.provisions.iter().filter_map(|p| p.to));
        let after = ends.filter_map(|(d, _)| Date::from_number(d.number() + 1));
        own.chain(amends.chain(provisions).map(|(d, _)| *d)).chain(after).collect()
    }
}

impl Law {
    pub fn ruleset(&self, id: &str) -> Option<usize> {
        self.rulesets.iter().position(|r| r.item.id.text == id)
    }

    pub fn layer(&self, id: &str) -> Option<usize> {
        self.layers.iter().position(|l| l.item.id.text == id)
    }

    /// The base text of a ruleset with those it requires, no layers.
    pub fn base(&self, ruleset: usize) -> Flat {
        let mut flat = Flat::default();
        let mut done = BTreeSet::new();
        self.add_base(ruleset, &mut flat, &mut done);
        flat
    }

    /// Where a ruleset and those it requires were read.
    pub fn basis(&self, at: usize) -> Vec<String> {
        let mut out = Vec::new();
        let mut seen = BTreeSet::new();
        let mut stack = vec![at];
        while let Some(at) = stack.pop() {
            if seen.insert(at) {
                let item = &self.rulesets[at].item;
                out.extend(item.basis.iter().map(|b| b.text.clone()));
                stack.extend(item.requires.iter().filter_map(|n| self.ruleset(&n.text)));
            }
        }
        out
    }

    fn add_base(&self, at: usize, flat: &mut Flat, done: &mut BTreeSet<usize>) {
        if !done.insert(at) {
            return;
        }
        let ruleset = &self.rulesets[at];
        for name in &ruleset.item.requires {
            if let Some(required) = self.ruleset(&name.text) {
                self.add_base(required, flat, done);
            }
        }
        flat.tables.extend(ruleset.tables.iter().cloned());
        flat.provisions.extend(ruleset.provisions.iter().map(|item| FlatProvision {
            item: item.clone(),
            trails: BTreeMap::new(),
            changes: vec![],
        }));
    }

    /// Folds layers over a base as they stand on a date.
    pub fn fold(
        &self,
        ruleset: usize,
        layers: &[usize],
        on: Date,
        lexicon: &Lexicon,
        faults: &mut Faults,
    ) -> Flat {
        let mut flat = self.base(ruleset);
        flat.provisions.retain(|p| in_force(p.item.from, p.item.to, on));
        for at in layers {
            self.apply(&mut flat, &self.layers[*at], on, lexicon, faults);
        }
        flat
    }

    fn apply(&self, flat: &mut Flat, layer: &Layer, on: Date, lexicon: &Lexicon, faults: &mut Faults) {
        for table in &layer.tables {
            match flat.tables.iter().find(|t| t.name == table.name) {
                Some(_) => faults.push(
                    Fault::new(
                        "E0312",
                        table.span,
                        format!("table `{}` stands beneath this layer already", table.name),
                    )
                    .help("change its cells and rows with `amend table`"),
                ),
                None => flat.tables.push(table.clone()),
            }
        }
        let layer_from = layer.item.from.map(|(d, _)| d);
        if layer_from.is_some_and(|from| on < from) {
            return;
        }
        for provision in &layer.provisions {
            if in_force(provision.from, provision.to, on) {
                add_provision(flat, provision.clone(), provision.id.span, faults);
            }
        }
        let mut amends: Vec<&AmendItem> =
            layer.amends.iter().filter(|a| in_force(a.from, a.to, on)).collect();
        amends.sort_by_key(|a| layer.since_of(a));
        let mut targets: BTreeMap<(String, Option<Date>), Span> = BTreeMap::new();
        for amend in amends {
            let (cite, from) = (layer.cite_of(amend), layer.since_of(amend));
            let mut touched = BTreeSet::new();
            for (operation, span) in &amend.operations {
                let key = format!("{}/{}", amend.target.text, target_of(operation));
                if let Some(first) = targets.get(&(key.clone(), from)) {
                    faults.push(
                        Fault::new(
                            "E0312",
                            *span,
                            "two operations of one layer change the same thing from the same day",
                        )
                        .label(*first, "the other one"),
                    );
                    continue;
                }
                targets.insert((key, from), *span);
                let act = Act { cite: &cite, from, span: *span, layer, law: self };
                if amend.table {
                    act.on_table(flat, amend, operation, lexicon, faults, &mut touched);
                } else {
                    act.on_provision(flat, amend, operation, faults);
                }
            }
            for name in touched {
                if let Some(table) = flat.tables.iter_mut().find(|t| t.name == name) {
                    table::settle(table, faults);
                }
            }
        }
    }

    /// What a value's trail rests on.
    fn beneath(&self, trail: &Trail, base: &str) -> String {
        let said = trail.say(base);
        if said.is_empty() { "the text beneath".to_owned() } else { said }
    }
}

pub(crate) fn in_force(from: Option<(Date, Span)>, to: Option<(Date, Span)>, on: Date) -> bool {
    from.is_none_or(|(from, _)| from <= on) && to.is_none_or(|(to, _)| on <= to)
}

fn add_provision(flat: &mut Flat, item: ProvisionItem, span: Span, faults: &mut Faults) {
    match flat.provisions.iter().find(|p| p.item.id.text == item.id.text) {
        Some(there) => faults.push(
            Fault::new(
                "E0312",
                span,
                format!("provision `{}` stands beneath this layer already", item.id.text),
            )
            .label(there.item.id.span, "here")
            .help("change it with `replace`, or remove it first"),
        ),
        None => flat.provisions.push(FlatProvision { item, trails: BTreeMap::new(), changes: vec![] }),
    }
}

/// What an operation changes, for telling two of them apart.
fn target_of(operation: &Operation) -> String {
    let cells = |list: &[CellText]| list.iter().map(|c| c.text.as_str()).collect::<Vec<_>>().join(",");
    match operation {
        Operation::AddProvision(_) | Operation::RemoveProvision => "provision".to_owned(),
        Operation::AddException(e) => format!("exception {}", e.name.text),
        Operation::RemoveException(name) => format!("exception {}", name.text),
        Operation::AddRow(row) => format!("row {}", cells(row)),
        Operation::RemoveRow { keys, .. } => format!("row {}", cells(keys)),
        Operation::AddStage(names) => format!("stage {}", names.first().map_or("", |n| n.text.as_str())),
        Operation::ReplaceLimit { name, .. } => format!("limit {}", name.text),
        Operation::ReplaceCell { keys, column, .. } => format!("cell {}.{}", cells(keys), column.text),
        Operation::ReplaceWhen(_) => "when".to_owned(),
        Operation::ReplaceRequire(_) => "require".to_owned(),
        Operation::ReplaceFor(_) => "for".to_owned(),
        Operation::ReplaceStage(_) => "stage".to_owned(),
        Operation::ReplaceText { which, .. } => (*which).to_owned(),
        Operation::ReplaceTell(_) => "tell".to_owned(),
        Operation::RestrictFor(_) => "restrict for".to_owned(),
        Operation::RestrictWhen(_) => "restrict when".to_owned(),
    }
}

/// One operation at work.
struct Act<'a> {
    cite: &'a str,
    from: Option<Date>,
    span: Span,
    layer: &'a Layer,
    law: &'a Law,
}

impl Act<'_> {
    fn step(&self, was: String) -> Step {
        Step { was, cite: self.cite.to_owned(), from: self.from }
    }

    fn on_provision(&self, flat: &mut Flat, amend: &AmendItem, operation: &Operation, faults: &mut Faults) {
        if let Operation::AddProvision(item) = operation {
            let mut item = (**item).clone();
            if item.cite.is_none() {
                item.cite = amend.cite.clone().or_else(|| self.layer.item.cite.clone());
            }
            add_provision(flat, item, self.span, faults);
            return;
        }
        let Some(at) = flat.provisions.iter().position(|p| p.item.id.text == amend.target.text) else {
            let known = flat.provisions.iter().map(|p| p.item.id.text.as_str());
            let help = did_you_mean(&amend.target.text, known);
            faults.push(
                Fault::new(
                    "E0301",
                    amend.target.span,
                    format!("nothing beneath this amendment: there is no provision `{}`", amend.target.text),
                )
                .maybe_help(help),
            );
            return;
        };
        if matches!(operation, Operation::RemoveProvision) {
            flat.provisions.remove(at);
            return;
        }
        let provision = &mut flat.provisions[at];
        let item = &mut provision.item;
        let mut change = String::new();
        match operation {
            Operation::ReplaceLimit { name, was, now } => {
                self.replace_limit(provision, name, was, now, faults);
                return;
            }
            Operation::AddException(exception) => {
                if item.exceptions.iter().any(|e| e.name.text == exception.name.text) {
                    let told = format!("exception `{}` stands beneath already", exception.name.text);
                    faults.push(Fault::new("E0312", exception.name.span, told));
                    return;
                }
                let mut exception = exception.clone();
                if exception.cite.is_none() {
                    exception.cite = Some(Prose { text: self.cite.to_owned(), span: self.span });
                }
                change = format!("exception {} added", exception.name.text);
                item.exceptions.push(exception);
            }
            Operation::RemoveException(name) => {
                let Some(gone) = item.exceptions.iter().position(|e| e.name.text == name.text) else {
                    let known = item.exceptions.iter().map(|e| e.name.text.as_str());
                    faults.push(
                        Fault::new(
                            "E0301",
                            name.span,
                            format!("there is no exception `{}` beneath", name.text),
                        )
                        .maybe_help(did_you_mean(&name.text, known)),
                    );
                    return;
                };
                item.exceptions.remove(gone);
                for exception in &mut item.exceptions {
                    exception.over.retain(|o| o.text != name.text);
                }
                change = format!("exception {} removed", name.text);
            }
            Operation::AddStage(stages) => {
                item.stages.extend(stages.iter().cloned());
                change = "stage added".to_owned();
            }
            Operation::ReplaceWhen(expr) => {
                change = match &item.when {
                    Some(was) => format!("condition was {}", print(was)),
                    None => "condition added".to_owned(),
                };
                item.when = Some(Arc::clone(expr));
            }
            Operation::ReplaceRequire(expr) => {
                change = match &item.require {
                    Some(was) => format!("requirement was {}", print(was)),
                    None => String::new(),
                };
                item.require = Some(Arc::clone(expr));
            }
            Operation::ReplaceFor(kinds) => {
                item.kinds.clone_from(kinds);
                change = "kinds replaced".to_owned();
            }
            Operation::ReplaceStage(stages) => {
                item.stages.clone_from(stages);
                change = "stages replaced".to_owned();
            }
            Operation::ReplaceText { which, text } => {
                let slot = match *which {
                    "title" => &mut item.title,
                    "cite" => &mut item.cite,
                    "look" => &mut item.look,
                    _ => &mut item.why,
                };
                *slot = Some(text.clone());
            }
            Operation::ReplaceTell(template) => item.tell = Some(template.clone()),
            Operation::RestrictFor(kinds) => {
                let Some(odd) = kinds.iter().find(|k| !item.kinds.iter().any(|own| own.text == k.text))
                else {
                    item.kinds.clone_from(kinds);
                    provision.changes.push(("kinds restricted".to_owned(), self.cite.to_owned(), self.from));
                    return;
                };
                let told = format!("the provision beneath is not for `{}`", odd.text);
                faults.push(
                    Fault::new("E0301", odd.span, told)
                        .help("`restrict for` names kinds of its `for` clause"),
                );
                return;
            }
            Operation::RestrictWhen(expr) => {
                let joined = match &item.when {
                    Some(own) => Arc::new(Expr {
                        kind: ExprKind::And(vec![Arc::clone(own), Arc::clone(expr)]),
                        span: expr.span,
                    }),
                    None => Arc::clone(expr),
                };
                item.when = Some(joined);
                change = format!("only when {}", print(expr));
            }
            Operation::AddRow(_) | Operation::RemoveRow { .. } | Operation::ReplaceCell { .. } => {
                faults.push(
                    Fault::new("E0301", self.span, "a provision has no rows or cells")
                        .help(format!("write `amend table {}` if a table is meant", amend.target.text)),
                );
                return;
            }
            Operation::AddProvision(_) | Operation::RemoveProvision => {}
        }
        if !change.is_empty() {
            provision.changes.push((change, self.cite.to_owned(), self.from));
        }
    }

    fn replace_limit(
        &self,
        provision: &mut FlatProvision,
        name: &Name,
        was: &LiteralAt,
        now: &LiteralAt,
        faults: &mut Faults,
    ) {
        let item = &mut provision.item;
        let base_cite = item.cite.as_ref().map_or(String::new(), |c| c.text.clone());
        let mut known: Vec<String> = item.limits.iter().map(|l| l.name.text.clone()).collect();
        let found = match name.text.split_once('.') {
            Some((exception, limit)) => item
                .exceptions
                .iter_mut()
                .find(|e| e.name.text == exception)
                .and_then(|e| e.limits.iter_mut().find(|l| l.name.text == limit)),
            None => item.limits.iter_mut().find(|l| l.name.text == name.text),
        };
        let Some(limit) = found else {
            for exception in &item.exceptions {
                known.extend(
                    exception.limits.iter().map(|l| format!("{}.{}", exception.name.text, l.name.text)),
                );
            }
            faults.push(
                Fault::new(
                    "E0301",
                    name.span,
                    format!("nothing beneath this amendment: no limit `{}`", name.text),
                )
                .maybe_help(did_you_mean(&name.text, known.iter().map(String::as_str)))
                .maybe_help((known.is_empty()).then(|| "the provision has no limits".to_owned())),
            );
            return;
        };
        let trail = provision.trails.entry(name.text.clone()).or_default();
        if !same(&limit.value.value, &was.value) {
            let says = write_literal(&limit.value.value);
            let by = self.law.beneath(trail, &base_cite);
            faults.push(
                Fault::new("E0311", was.span, format!("the text beneath says {says} here, not {}", write_literal(&was.value)))
                    .here(format!("{says}: {by}"))
                    .help(format!(
                        "write `was {says}` if the amendment was meant to change that, or date it before the other change"
                    )),
            );
            return;
        }
        if let (Literal::Quantity { ty: a, .. }, Literal::Quantity { ty: b, .. }) = (&was.value, &now.value)
            && a != b
        {
            let told = format!("{} is replaced by {}", a.name(), b.name());
            faults.push(Fault::new("E0203", now.span, told));
            return;
        }
        trail.0.push(self.step(write_literal(&limit.value.value)));
        limit.value = now.clone();
    }

    fn on_table(
        &self,
        flat: &mut Flat,
        amend: &AmendItem,
        operation: &Operation,
        lexicon: &Lexicon,
        faults: &mut Faults,
        touched: &mut BTreeSet<String>,
    ) {
        let Some(at) = flat.tables.iter().position(|t| t.name == amend.target.text) else {
            let help = did_you_mean(&amend.target.text, flat.tables.iter().map(|t| t.name.as_str()));
            faults.push(
                Fault::new(
                    "E0301",
                    amend.target.span,
                    format!("nothing beneath this amendment: there is no table `{}`", amend.target.text),
                )
                .maybe_help(help),
            );
            return;
        };
        let table = &mut flat.tables[at];
        match operation {
            Operation::ReplaceCell { keys, column, was, now } => {
                let Some(row) = self.row(table, keys, lexicon, faults) else { return };
                let Some(place) = table.value_column(&column.text) else {
                    let known = table.values.iter().map(|v| table.columns[*v].name.as_str());
                    faults.push(
                        Fault::new(
                            "E0301",
                            column.span,
                            format!("table `{}` has no value column `{}`", table.name, column.text),
                        )
                        .maybe_help(did_you_mean(&column.text, known)),
                    );
                    return;
                };
                let shape = table.columns[table.values[place]].clone();
                let (Some(was_cell), Some(now_cell)) = (
                    table::value_cell(&shape, was, lexicon, faults),
                    table::value_cell(&shape, now, lexicon, faults),
                ) else {
                    return;
                };
                let base = [table.cite.clone(), table.rows[row].source.clone()];
                let base = base.into_iter().find(|s| !s.is_empty()).unwrap_or_default();
                let cell = &mut table.rows[row].values[place];
                if cell.value != was_cell.value {
                    let by = self.law.beneath(&cell.trail, &base);
                    faults.push(
                        Fault::new("E0311", was.span, format!("the text beneath says {} here, not {}", cell.text, was_cell.text))
                            .here(format!("{}: {by}", cell.text))
                            .help(format!(
                                "write `was {}` if the amendment was meant to change that, or date it before the other change",
                                cell.text
                            )),
                    );
                    return;
                }
                let mut trail = std::mem::take(&mut cell.trail);
                trail.0.push(self.step(cell.text.clone()));
                *cell = table::ValueCell { trail, ..now_cell };
                touched.insert(table.name.clone());
            }
            Operation::AddRow(cells) => {
                if let Some(mut row) = table::row(table, cells, lexicon, faults) {
                    row.source = match self.from {
                        Some(from) => format!("{}, from {from}", self.cite),
                        None => self.cite.to_owned(),
                    };
                    table.rows.push(row);
                    touched.insert(table.name.clone());
                }
            }
            Operation::RemoveRow { keys, was } => {
                let Some(row) = self.row(table, keys, lexicon, faults) else { return };
                let shapes: Vec<_> = table.values.iter().map(|v| table.columns[*v].clone()).collect();
                if shapes.len() != was.len() {
                    let names: Vec<&str> = shapes.iter().map(|c| c.name.as_str()).collect();
                    let told = format!("`was` names the values of {}", names.join(", "));
                    faults.push(Fault::new("E0402", self.span, told));
                    return;
                }
                for ((shape, cell), there) in shapes.iter().zip(was).zip(&table.rows[row].values) {
                    let Some(value) = table::value_cell(shape, cell, lexicon, faults) else { return };
                    if value.value != there.value {
                        let told = format!("the text beneath says {} here, not {}", there.text, value.text);
                        faults
                            .push(Fault::new("E0311", cell.span, told).help(format!("write {}", there.text)));
                        return;
                    }
                }
                table.rows.remove(row);
                touched.insert(table.name.clone());
            }
            _ => faults.push(
                Fault::new("E0301", self.span, "this is no operation on a table")
                    .help("use `replace cell`, `add row` or `remove row`"),
            ),
        }
    }

    /// The row whose key cells are written so.
    fn row(&self, table: &Table, keys: &[CellText], lexicon: &Lexicon, faults: &mut Faults) -> Option<usize> {
        if keys.len() != table.keys.len() {
            let names: Vec<&str> = table.keys.iter().map(|k| table.columns[*k].name.as_str()).collect();
            let told = format!("table `{}` has {} keys: {}", table.name, names.len(), names.join(", "));
            faults.push(Fault::new("E0402", keys.first().map_or(self.span, |c| c.span), told));
            return None;
        }
        let cells: Vec<Option<KeyCell>> = table
            .keys
            .iter()
            .zip(keys)
            .map(|(k, cell)| table::key_cell(&table.columns[*k], cell, lexicon, faults))
            .collect();
        let cells: Vec<KeyCell> = cells.into_iter().collect::<Option<_>>()?;
        let found = table.rows.iter().position(|r| r.keys == cells);
        if found.is_none() {
            let rows: Vec<String> = table.rows.iter().take(12).map(|r| format!("[{}]", r.text)).collect();
            faults.push(
                Fault::new(
                    "E0301",
                    keys[0].span,
                    format!("nothing beneath this amendment: table `{}` has no such row", table.name),
                )
                .help(format!("its rows are {}", rows.join(" "))),
            );
        }
        found
    }
}
