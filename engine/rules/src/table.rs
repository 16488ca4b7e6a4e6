//! Decision tables: reading them from CSV, checking them, looking rows up.
//!
//! The hit policy is always *unique*: at most one row matches any keys, which the loader proves.

use crate::diagnostic::{Fault, Faults, Span, did_you_mean};
use crate::lex::lex;
use crate::parse_expr::Parser;
use crate::possible::{Bounds, Possible};
use crate::quantity::{NOMINAL, QuantityType, find_unit, nominal_index};
use crate::rational::Rational;
use crate::syntax::{CellText, Literal};
use crate::trail::Trail;
use crate::vocabulary::{KindId, Lexicon, WordsId, all_words};

/// More rows than this are refused.
pub(crate) const MOST_ROWS: usize = 2_000;

/// More key columns than this are refused.
pub(crate) const MOST_KEYS: usize = 4;

/// Type of a column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum ColumnType {
    Quantity { ty: QuantityType, unit: &'static str },
    Nominal,
    Words(WordsId),
    Truth,
    Kind,
}

/// How a key finds its row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Match {
    Exact,
    Up,
    Down,
    Within,
}

#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Column {
    pub name: String,
    pub ty: ColumnType,
    /// `None` for a value.
    pub key: Option<Match>,
    pub trend: Option<Trend>,
    pub span: Span,
    /// Every cell of a key without a unit is a whole multiple of this; set when the table is settled.
    pub lattice: Option<Rational>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Trend {
    Rising,
    Falling,
}

/// A key cell as written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum KeyCell {
    Any,
    Words(u64),
    Kinds(Vec<KindId>),
    Value(Rational),
    Between(Option<Rational>, Option<Rational>),
}

/// What a key cell matches once `up` and `down` are worked out among the rows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Reach {
    Any,
    Words(u64),
    Kinds(Vec<KindId>),
    /// Ends, and whether the lower and the upper end belong to it.
    Span {
        lo: Option<(Rational, bool)>,
        hi: Option<(Rational, bool)>,
    },
}

#[derive(Debug, Clone, PartialEq)]
pub(crate) struct ValueCell {
    pub value: Possible,
    pub text: String,
    pub trail: Trail,
    pub span: Span,
}

#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Row {
    pub keys: Vec<KeyCell>,
    pub reach: Vec<Reach>,
    pub values: Vec<ValueCell>,
    /// The key cells as written.
    pub text: String,
    pub source: String,
    pub span: Span,
}

#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Otherwise {
    Violates,
    Undetermined,
    Row(Vec<ValueCell>),
}

#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Table {
    pub name: String,
    pub cite: String,
    pub basis: String,
    /// All columns but source and note, in the order of the file.
    pub columns: Vec<Column>,
    /// Places of keys and values among the columns.
    pub keys: Vec<usize>,
    pub values: Vec<usize>,
    pub rows: Vec<Row>,
    pub otherwise: Otherwise,
    pub span: Span,
}

struct Record {
    cells: Vec<CellText>,
}

/// Splits CSV into records, keeping where each cell stands. Quoted cells may hold commas, quotes (doubled) and line ends.
fn records(text: &str, file: u32, faults: &mut Faults) -> Vec<Record> {
    let bytes = text.as_bytes();
    let mut out = Vec::new();
    let mut cells: Vec<CellText> = Vec::new();
    let mut at = if text.starts_with('\u{feff}') { 3 } else { 0 };
    let span = |a: usize, b: usize| Span { file, start: a as u32, end: b as u32 };
    while at < bytes.len() {
        let start = at;
        if bytes[at] == b'"' {
            let mut value = String::new();
            at += 1;
            let mut from = at;
            loop {
                match text[at..].find('"') {
                    None => {
                        faults.push(
                            Fault::new("E0111", span(start, start + 1), "this quote is never closed")
                                .help("a cell in quotes ends with `\"`; a quote inside is written twice"),
                        );
                        value.push_str(&text[from..]);
                        at = bytes.len();
                        break;
                    }
                    Some(i) if bytes.get(at + i + 1) == Some(&b'"') => {
                        value.push_str(&text[from..=at + i]);
                        at += i + 2;
                        from = at;
                    }
                    Some(i) => {
                        value.push_str(&text[from..at + i]);
                        at += i + 1;
                        break;
                    }
                }
            }
            cells.push(CellText { text: value.trim().to_owned(), span: span(start, at) });
            while at < bytes.len() && !matches!(bytes[at], b',' | b'\n') {
                at += 1;
            }
        } else {
            while at < bytes.len() && !matches!(bytes[at], b',' | b'\n') {
                at += 1;
            }
            let raw = &text[start..at];
            let lead = raw.len() - raw.trim_start().len();
            let cell = raw.trim();
            cells.push(CellText {
                text: cell.to_owned(),
                span: span(start + lead, start + lead + cell.len()),
            });
        }
        let comma = at < bytes.len() && bytes[at] == b',';
        at += 1;
        if comma && at < bytes.len() {
            continue;
        }
        if comma {
            cells.push(CellText { text: String::new(), span: span(bytes.len(), bytes.len()) });
        }
        if !comma || at >= bytes.len() {
            let blank = cells.iter().all(|c| c.text.is_empty());
            let comment = cells.first().is_some_and(|c| c.text.starts_with('#'));
            if !blank && !comment {
                out.push(Record { cells: std::mem::take(&mut cells) });
            }
            cells.clear();
        }
    }
    out
}

/// Reads a table. `None` when its heading cannot be used; faulty rows are told and left out.
pub(crate) fn parse(
    name: &str,
    text: &str,
    file: u32,
    lexicon: &Lexicon,
    faults: &mut Faults,
) -> Option<Table> {
    let before = faults.list.len();
    let records = records(text, file, faults);
    let whole = Span { file, start: 0, end: 0 };
    let Some((heading, rest)) = records.split_first() else {
        faults.push(Fault::new("E0401", whole, format!("table `{name}` is empty")));
        return None;
    };
    let mut table = Table {
        name: name.to_owned(),
        cite: String::new(),
        basis: String::new(),
        columns: vec![],
        keys: vec![],
        values: vec![],
        rows: vec![],
        otherwise: Otherwise::Undetermined,
        span: heading.cells[0].span,
    };
    let mut source = None;
    // Place of each column of the file among ours; `None` for free text.
    let mut places: Vec<Option<usize>> = Vec::new();
    for (i, cell) in heading.cells.iter().enumerate() {
        match cell.text.as_str() {
            "source" => {
                source = Some(i);
                places.push(None);
            }
            "note" | "" => places.push(None),
            _ => {
                let column = column(cell, lexicon, faults)?;
                if table.columns.iter().any(|c| c.name == column.name) {
                    faults.push(Fault::new(
                        "E0217",
                        cell.span,
                        format!("column `{}` stands twice", column.name),
                    ));
                }
                let place = table.columns.len();
                if column.key.is_some() {
                    table.keys.push(place)
                } else {
                    table.values.push(place)
                }
                table.columns.push(column);
                places.push(Some(place));
            }
        }
    }
    if table.keys.is_empty() || table.values.is_empty() {
        let missing = if table.keys.is_empty() { "key" } else { "value" };
        faults.push(
            Fault::new("E0401", heading.cells[0].span, format!("table `{name}` has no {missing} column"))
                .help("a key says how it matches: `size [nps =]`, `flow [gpm up]`, `beds [a..b]`"),
        );
        return None;
    }
    if table.keys.len() > MOST_KEYS {
        let at = table.columns[table.keys[MOST_KEYS]].span;
        faults.push(Fault::new("E0110", at, format!("more than {MOST_KEYS} keys in table `{name}`")));
        return None;
    }
    if rest.len() > MOST_ROWS {
        let at = rest[MOST_ROWS].cells[0].span;
        faults.push(Fault::new("E0110", at, format!("more than {MOST_ROWS} rows in table `{name}`")));
        return None;
    }
    let mut otherwise = None;
    for record in rest {
        let first = &record.cells[0];
        let mut cells: Vec<CellText> =
            table.columns.iter().map(|_| CellText { text: String::new(), span: first.span }).collect();
        for (cell, place) in record.cells.iter().zip(&places) {
            if let Some(place) = place {
                cells[*place] = cell.clone();
            }
        }
        // Spreadsheets pad short rows with empty cells.
        if let Some(extra) = record.cells.iter().skip(places.len()).find(|c| !c.text.is_empty()) {
            faults.push(
                Fault::new("E0402", extra.span, "this row has more cells than the heading has columns")
                    .help("put a cell that holds a comma in double quotes"),
            );
            continue;
        }
        if first.text == "otherwise" {
            if otherwise.is_some() {
                faults.push(Fault::new("E0106", first.span, "a second `otherwise`"));
            }
            otherwise = Some(match record.cells.get(1).map(|c| c.text.as_str()) {
                Some("violates") => Otherwise::Violates,
                Some("undetermined") => Otherwise::Undetermined,
                _ => match value_cells(&table, &cells, lexicon, faults) {
                    Some(values) => Otherwise::Row(values),
                    None => continue,
                },
            });
            continue;
        }
        if otherwise.is_some() {
            faults.push(Fault::new("E0402", first.span, "`otherwise` is the last row"));
        }
        let free = source.and_then(|i| record.cells.get(i)).map_or(String::new(), |c| c.text.clone());
        if let Some(mut row) = row(&table, &cells, lexicon, faults) {
            row.source = free;
            table.rows.push(row);
        }
    }
    match otherwise {
        Some(otherwise) => table.otherwise = otherwise,
        None => faults.push(
            Fault::new(
                "E0403",
                heading.cells[0].span,
                format!("table `{name}` does not say what holds beyond it"),
            )
            .help("add a last row `otherwise,undetermined` or `otherwise,violates`"),
        ),
    }
    if faults.list.len() == before {
        settle(&mut table, faults);
    }
    Some(table)
}

/// `name [TYPE MATCH]`
fn column(cell: &CellText, lexicon: &Lexicon, faults: &mut Faults) -> Option<Column> {
    let (name, inside) = match cell.text.split_once('[') {
        Some((name, rest)) => (name.trim(), rest.trim_end_matches(']').trim()),
        None => (cell.text.as_str(), ""),
    };
    let mut column = Column {
        name: name.to_owned(),
        ty: ColumnType::Quantity { ty: QuantityType::NUMBER, unit: "" },
        key: None,
        trend: None,
        span: cell.span,
        lattice: None,
    };
    for word in inside.split_whitespace() {
        match word {
            "=" => column.key = Some(Match::Exact),
            "up" => column.key = Some(Match::Up),
            "down" => column.key = Some(Match::Down),
            "a..b" => column.key = Some(Match::Within),
            "rising" => column.trend = Some(Trend::Rising),
            "falling" => column.trend = Some(Trend::Falling),
            "nps" => column.ty = ColumnType::Nominal,
            "yesno" => column.ty = ColumnType::Truth,
            "kind" => column.ty = ColumnType::Kind,
            "count" | "number" => {}
            other => {
                if let Some(unit) = find_unit(other) {
                    column.ty = ColumnType::Quantity { ty: unit.ty, unit: unit.name };
                } else if let Some(words) = lexicon.words_id(other) {
                    column.ty = ColumnType::Words(words);
                } else if let Some(fact) = lexicon.fact_id(other)
                    && let crate::vocabulary::Shape::Words(words) = lexicon.facts[usize::from(fact)].shape
                {
                    column.ty = ColumnType::Words(words);
                } else {
                    let known = crate::quantity::UNITS.iter().map(|u| u.name).chain(["nps", "kind", "yesno"]);
                    faults.push(
                        Fault::new("E0202", cell.span, format!("`{other}` is no unit, match or enumeration"))
                            .help("a heading is `name [UNIT MATCH]`; matches are =, up, down, a..b, rising, falling")
                            .maybe_help(did_you_mean(other, known)),
                    );
                    return None;
                }
            }
        }
    }
    let words = matches!(column.ty, ColumnType::Words(_) | ColumnType::Truth | ColumnType::Kind);
    if words && !matches!(column.key, None | Some(Match::Exact)) {
        faults.push(Fault::new("E0401", cell.span, "words and kinds match only with `=`"));
        return None;
    }
    if column.key.is_none() && column.ty == ColumnType::Kind {
        faults.push(Fault::new("E0401", cell.span, "a kind can only be a key").help("write `[kind =]`"));
        return None;
    }
    Some(column)
}

/// A number of a column: its unit may be left out.
fn number(column: &Column, cell: &CellText, text: &str, faults: &mut Faults) -> Option<Rational> {
    let bad = |faults: &mut Faults, told: String| {
        faults.push(Fault::new("E0402", cell.span, told));
        None
    };
    let mut own = Faults::default();
    let mut tokens = Vec::new();
    lex(text, 0, 0, text.len(), &mut own, &mut tokens);
    let literal = {
        let mut parser = Parser::new(tokens, &mut own);
        match parser.literal() {
            Ok(literal) if parser.at_end() => Some(literal.value),
            _ => None,
        }
    };
    let Some(literal) = literal.filter(|_| own.list.is_empty()) else {
        return bad(faults, format!("`{text}` cannot be read as a value of column `{}`", column.name));
    };
    match (&column.ty, literal) {
        (ColumnType::Nominal, Literal::Nominal(index)) => Some(Rational::whole(i128::from(index))),
        (ColumnType::Nominal, Literal::Quantity { ticks, unit: None, .. }) => match nominal_index(ticks) {
            Some(index) => Some(Rational::whole(i128::from(index))),
            None => bad(faults, format!("no pipe is made in nominal size {text}")),
        },
        (ColumnType::Quantity { unit, .. }, Literal::Quantity { ticks, unit: None, .. }) => {
            match find_unit(unit) {
                None => Some(ticks),
                Some(unit) => match unit.to_ticks(ticks) {
                    Some(ticks) => Some(ticks),
                    None => bad(faults, format!("`{text}` is too large")),
                },
            }
        }
        (ColumnType::Quantity { ty, .. }, Literal::Quantity { ticks, ty: found, .. }) if *ty == found => {
            Some(ticks)
        }
        (ColumnType::Quantity { ty, .. }, Literal::Quantity { ty: found, .. }) => {
            bad(faults, format!("column `{}` is {}, this is {}", column.name, ty.name(), found.name()))
        }
        _ => bad(faults, format!("`{text}` is no value of column `{}`", column.name)),
    }
}

pub(crate) fn key_cell(
    column: &Column,
    cell: &CellText,
    lexicon: &Lexicon,
    faults: &mut Faults,
) -> Option<KeyCell> {
    let text = cell.text.as_str();
    if text == "*" {
        return Some(KeyCell::Any);
    }
    let words = |list: &[(String, String)], faults: &mut Faults| {
        let mut mask = 0u64;
        for word in text.split('|').map(str::trim) {
            match list.iter().position(|(w, _)| w == word) {
                Some(i) => mask |= 1 << i,
                None => {
                    faults.push(
                        Fault::new(
                            "E0207",
                            cell.span,
                            format!("`{word}` is no word of column `{}`", column.name),
                        )
                        .maybe_help(did_you_mean(word, list.iter().map(|(w, _)| w.as_str()))),
                    );
                    return None;
                }
            }
        }
        Some(KeyCell::Words(mask))
    };
    match column.ty {
        ColumnType::Words(id) => words(&lexicon.words[usize::from(id)].words, faults),
        ColumnType::Truth => match text {
            "yes" => Some(KeyCell::Words(1)),
            "no" => Some(KeyCell::Words(2)),
            _ => {
                faults.push(Fault::new("E0402", cell.span, format!("`{text}` is neither `yes` nor `no`")));
                None
            }
        },
        ColumnType::Kind => {
            let mut kinds = Vec::new();
            for word in text.split('|').map(str::trim) {
                let Some(id) = lexicon.kind_id(word) else {
                    faults.push(
                        Fault::new("E0201", cell.span, format!("there is no kind `{word}`"))
                            .maybe_help(did_you_mean(word, lexicon.kind_names())),
                    );
                    return None;
                };
                let all = 0..lexicon.kinds.len();
                kinds.extend(all.filter(|k| lexicon.is_a[*k][usize::from(id)]).map(|k| k as KindId));
            }
            kinds.sort_unstable();
            kinds.dedup();
            Some(KeyCell::Kinds(kinds))
        }
        ColumnType::Nominal | ColumnType::Quantity { .. } => {
            if column.key != Some(Match::Within) {
                return number(column, cell, text, faults).map(KeyCell::Value);
            }
            let Some((low, high)) = text.split_once("..") else {
                let point = number(column, cell, text, faults)?;
                return Some(KeyCell::Between(Some(point), Some(point)));
            };
            let mut end = |text: &str| -> Option<Option<Rational>> {
                let text = text.trim();
                if text.is_empty() { Some(None) } else { number(column, cell, text, faults).map(Some) }
            };
            let (low, high) = (end(low)?, end(high)?);
            if low.zip(high).is_some_and(|(a, b)| a > b) {
                faults.push(Fault::new("E0402", cell.span, "this range ends below its beginning"));
                return None;
            }
            Some(KeyCell::Between(low, high))
        }
    }
}

pub(crate) fn value_cell(
    column: &Column,
    cell: &CellText,
    lexicon: &Lexicon,
    faults: &mut Faults,
) -> Option<ValueCell> {
    let text = cell.text.as_str();
    let value = match column.ty {
        ColumnType::Quantity { .. } => Possible::point(number(column, cell, text, faults)?),
        ColumnType::Nominal => {
            let index = number(column, cell, text, faults)?;
            Possible::word(u8::try_from(index.floor()).ok()?)
        }
        ColumnType::Truth => match text {
            "yes" => Possible::Truth(crate::possible::T),
            "no" => Possible::Truth(crate::possible::F),
            _ => {
                faults.push(Fault::new("E0402", cell.span, format!("`{text}` is neither `yes` nor `no`")));
                return None;
            }
        },
        ColumnType::Words(id) => match lexicon.words[usize::from(id)].find(text) {
            Some(index) => Possible::word(index),
            None => {
                let known = lexicon.words[usize::from(id)].words.iter().map(|(w, _)| w.as_str());
                faults.push(
                    Fault::new(
                        "E0207",
                        cell.span,
                        format!("`{text}` is no word of column `{}`", column.name),
                    )
                    .maybe_help(did_you_mean(text, known)),
                );
                return None;
            }
        },
        ColumnType::Kind => return None,
    };
    Some(ValueCell {
        text: write_value(column, &value, lexicon),
        value,
        trail: Trail::default(),
        span: cell.span,
    })
}

/// A value of a column in its canonical writing.
pub(crate) fn write_value(column: &Column, value: &Possible, lexicon: &Lexicon) -> String {
    match (column.ty, value) {
        (ColumnType::Quantity { unit, .. }, Possible::Number { bounds: Bounds { lo: Some(n), .. }, .. }) => {
            match find_unit(unit) {
                Some(unit) => unit.write(*n),
                None => crate::quantity::write_number(*n, true),
            }
        }
        (ColumnType::Nominal, Possible::Words { mask, .. }) => NOMINAL
            .get(mask.trailing_zeros() as usize)
            .map_or(String::new(), |(name, ..)| format!("{name} nps")),
        (ColumnType::Words(id), Possible::Words { mask, .. }) => lexicon.words[usize::from(id)]
            .words
            .get(mask.trailing_zeros() as usize)
            .map_or(String::new(), |(word, _)| word.clone()),
        (_, Possible::Truth(t)) => if *t == crate::possible::T { "yes" } else { "no" }.to_owned(),
        _ => String::new(),
    }
}

fn value_cells(
    table: &Table,
    cells: &[CellText],
    lexicon: &Lexicon,
    faults: &mut Faults,
) -> Option<Vec<ValueCell>> {
    let list: Vec<Option<ValueCell>> =
        table.values.iter().map(|v| value_cell(&table.columns[*v], &cells[*v], lexicon, faults)).collect();
    list.into_iter().collect()
}

/// A row from cells in the order of the columns.
pub(crate) fn row(table: &Table, cells: &[CellText], lexicon: &Lexicon, faults: &mut Faults) -> Option<Row> {
    if cells.len() != table.columns.len() {
        let at = cells.first().map_or(table.span, |c| c.span);
        let names: Vec<&str> = table.columns.iter().map(|c| c.name.as_str()).collect();
        faults.push(
            Fault::new("E0402", at, format!("a row of table `{}` has {} cells", table.name, names.len()))
                .help(format!("in this order: {}", names.join(", "))),
        );
        return None;
    }
    let keys: Vec<Option<KeyCell>> =
        table.keys.iter().map(|k| key_cell(&table.columns[*k], &cells[*k], lexicon, faults)).collect();
    let values = value_cells(table, cells, lexicon, faults)?;
    let keys: Vec<KeyCell> = keys.into_iter().collect::<Option<_>>()?;
    let text: Vec<String> = table
        .keys
        .iter()
        .map(|k| {
            let suffix = if table.columns[*k].ty == ColumnType::Nominal { " nps" } else { "" };
            format!("{}{suffix}", cells[*k].text)
        })
        .collect();
    let reach = vec![];
    let span = cells[0].span;
    Some(Row { keys, reach, values, text: text.join(", "), source: String::new(), span })
}

/// Works out what each row matches and proves that no two rows match the same keys.
pub(crate) fn settle(table: &mut Table, faults: &mut Faults) {
    let key_count = table.keys.len();
    for k in 0..key_count {
        let place = table.keys[k];
        let mut lattice: Option<Rational> = None;
        if let ColumnType::Quantity { unit: "", .. } = table.columns[place].ty {
            for row in &table.rows {
                let ends = match &row.keys[k] {
                    KeyCell::Value(v) => [Some(*v), None],
                    KeyCell::Between(a, b) => [*a, *b],
                    _ => [None, None],
                };
                for end in ends.into_iter().flatten() {
                    lattice = match lattice {
                        None if end != Rational::ZERO => end.abs(),
                        None => None,
                        Some(measure) => measure.common_measure(end),
                    };
                }
            }
        } else if table.columns[place].ty == ColumnType::Nominal {
            lattice = Some(Rational::ONE);
        }
        table.columns[place].lattice = lattice;
    }
    let reach: Vec<Vec<Reach>> =
        table.rows.iter().map(|row| (0..key_count).map(|k| reach_of(table, row, k)).collect()).collect();
    for (row, reach) in table.rows.iter_mut().zip(reach) {
        row.reach = reach;
    }
    check_overlaps(table, faults);
    check_gaps(table, faults);
    check_trends(table, faults);
}

fn reach_of(table: &Table, row: &Row, k: usize) -> Reach {
    let column = &table.columns[table.keys[k]];
    let nominal = |reach: Reach| match reach {
        // Sizes are looked up as bits, whatever the match.
        Reach::Span { lo, hi } if column.ty == ColumnType::Nominal => {
            let inside = |i: usize| {
                let at = Rational::whole(i as i128);
                lo.is_none_or(|(v, closed)| at > v || (closed && at == v))
                    && hi.is_none_or(|(v, closed)| at < v || (closed && at == v))
            };
            Reach::Words((0..NOMINAL.len()).filter(|i| inside(*i)).fold(0, |mask, i| mask | 1 << i))
        }
        other => other,
    };
    match (&row.keys[k], column.key) {
        (KeyCell::Any, _) => Reach::Any,
        (KeyCell::Words(mask), _) => Reach::Words(*mask),
        (KeyCell::Kinds(kinds), _) => Reach::Kinds(kinds.clone()),
        (KeyCell::Between(a, b), _) => {
            nominal(Reach::Span { lo: a.map(|v| (v, true)), hi: b.map(|v| (v, true)) })
        }
        (KeyCell::Value(value), how @ (Some(Match::Up) | Some(Match::Down))) => {
            // Neighbours are the rows whose other keys are the same.
            let alike = table.rows.iter().filter(|other| {
                other.keys.iter().zip(&row.keys).enumerate().all(|(i, (a, b))| i == k || a == b)
            });
            let values = alike.filter_map(|r| match &r.keys[k] {
                KeyCell::Value(v) => Some(*v),
                _ => None,
            });
            nominal(if how == Some(Match::Up) {
                Reach::Span {
                    lo: values.filter(|v| v < value).max().map(|v| (v, false)),
                    hi: Some((*value, true)),
                }
            } else {
                Reach::Span {
                    lo: Some((*value, true)),
                    hi: values.filter(|v| v > value).min().map(|v| (v, false)),
                }
            })
        }
        (KeyCell::Value(value), _) => {
            nominal(Reach::Span { lo: Some((*value, true)), hi: Some((*value, true)) })
        }
    }
}

fn meets(a: &Reach, b: &Reach) -> bool {
    match (a, b) {
        (Reach::Any, _) | (_, Reach::Any) => true,
        (Reach::Words(a), Reach::Words(b)) => a & b != 0,
        (Reach::Kinds(a), Reach::Kinds(b)) => a.iter().any(|k| b.contains(k)),
        (Reach::Span { lo: a, hi: b }, Reach::Span { lo: c, hi: d }) => {
            let below = |hi: &Option<(Rational, bool)>, lo: &Option<(Rational, bool)>| match (hi, lo) {
                (Some((h, closed)), Some((l, open))) => h < l || (h == l && !(*closed && *open)),
                _ => false,
            };
            !below(b, c) && !below(d, a)
        }
        _ => false,
    }
}

fn check_overlaps(table: &Table, faults: &mut Faults) {
    for (i, a) in table.rows.iter().enumerate() {
        for b in &table.rows[i + 1..] {
            if a.reach.iter().zip(&b.reach).all(|(a, b)| meets(a, b)) {
                faults.push(
                    Fault::new(
                        "E0404",
                        b.span,
                        format!("two rows of table `{}` match the same keys", table.name),
                    )
                    .label(a.span, "the other row")
                    .help("exactly one row may match; the order of rows decides nothing"),
                );
            }
        }
    }
}

/// Gaps between neighbouring ranges, where the other keys are the same.
fn check_gaps(table: &Table, faults: &mut Faults) {
    for (k, place) in table.keys.iter().enumerate() {
        let column = &table.columns[*place];
        if column.key != Some(Match::Within) {
            continue;
        }
        for row in &table.rows {
            let KeyCell::Between(_, Some(end)) = row.keys[k] else { continue };
            let next = table
                .rows
                .iter()
                .filter(|r| r.keys.iter().zip(&row.keys).enumerate().all(|(i, (a, b))| i == k || a == b))
                .filter_map(|r| match &r.keys[k] {
                    KeyCell::Between(Some(begin), _) if *begin > end => Some((*begin, r.span)),
                    _ => None,
                })
                .min();
            if let Some((begin, span)) = next {
                let nothing_between =
                    column.lattice.is_some_and(|step| end.add(step).is_some_and(|n| n >= begin));
                if !nothing_between {
                    faults.push(
                        Fault::new(
                            "E0405",
                            span,
                            format!("table `{}` leaves a gap before this row", table.name),
                        )
                        .label(row.span, "the row before ends here")
                        .help("what falls between is beyond the table")
                        .warning(),
                    );
                }
            }
        }
    }
}

/// Printed tables contain misprints: a column declared rising must rise.
fn check_trends(table: &Table, faults: &mut Faults) {
    let size = |value: &Possible| match value {
        Possible::Number { bounds, .. } => bounds.lo,
        Possible::Words { mask, .. } => Some(Rational::whole(i128::from(mask.trailing_zeros()))),
        _ => None,
    };
    let begin = |reach: &Reach| match reach {
        Reach::Span { lo, hi } => lo.or(*hi).map(|(v, _)| v),
        Reach::Words(mask) => Some(Rational::whole(i128::from(mask.trailing_zeros()))),
        _ => None,
    };
    for (v, place) in table.values.iter().enumerate() {
        let Some(trend) = table.columns[*place].trend else { continue };
        for (k, key_place) in table.keys.iter().enumerate() {
            if matches!(
                table.columns[*key_place].ty,
                ColumnType::Words(_) | ColumnType::Truth | ColumnType::Kind
            ) {
                continue;
            }
            for row in &table.rows {
                let next = table
                    .rows
                    .iter()
                    .filter(|r| r.keys.iter().zip(&row.keys).enumerate().all(|(i, (a, b))| i == k || a == b))
                    .filter(|r| begin(&r.reach[k]) > begin(&row.reach[k]))
                    .min_by_key(|r| begin(&r.reach[k]));
                let Some(next) = next else { continue };
                let (a, b) = (size(&row.values[v].value), size(&next.values[v].value));
                let wrong = if trend == Trend::Rising { a > b } else { a < b };
                if wrong {
                    let word = if trend == Trend::Rising { "rising" } else { "falling" };
                    let told =
                        format!("column `{}` is declared {word} and is not here", table.columns[*place].name);
                    faults.push(
                        Fault::new("E0406", next.values[v].span, told)
                            .label(row.values[v].span, "the row before")
                            .help("compare with the printed table; printed tables have misprints"),
                    );
                }
            }
        }
    }
}

/// What a lookup gives: the values still possible, and the rows they come from.
pub(crate) struct Found {
    /// Rows still possible, by number.
    pub rows: Vec<usize>,
    /// Whether keys beyond the table are still possible.
    pub beyond: bool,
}

#[derive(PartialEq)]
enum Fit {
    No,
    Maybe,
    Sure,
}

fn fit(reach: &Reach, key: &Possible) -> Fit {
    match (reach, key) {
        (Reach::Any, _) => Fit::Sure,
        (_, Possible::Fails) => Fit::No,
        (Reach::Words(mask), Possible::Words { mask: key, .. }) => grade(key & mask != 0, key & !mask == 0),
        (Reach::Words(mask), Possible::Truth(t)) => {
            let key = u64::from(*t & crate::possible::U);
            grade(key & mask != 0, key & !mask == 0)
        }
        (Reach::Kinds(_), Possible::Kind(None)) => Fit::Maybe,
        (Reach::Kinds(kinds), Possible::Kind(Some(kind))) => {
            grade(kinds.contains(kind), kinds.contains(kind))
        }
        (Reach::Span { lo, hi }, Possible::Number { bounds, .. }) => {
            let above = |v: Option<Rational>, end: &(Rational, bool)| {
                v.is_some_and(|v| v > end.0 || (end.1 && v == end.0))
            };
            let under = |v: Option<Rational>, end: &(Rational, bool)| {
                v.is_some_and(|v| v < end.0 || (end.1 && v == end.0))
            };
            let some = lo.as_ref().is_none_or(|lo| bounds.hi.is_none() || above(bounds.hi, lo))
                && hi.as_ref().is_none_or(|hi| bounds.lo.is_none() || under(bounds.lo, hi));
            let all = lo.as_ref().is_none_or(|lo| above(bounds.lo, lo))
                && hi.as_ref().is_none_or(|hi| under(bounds.hi, hi));
            grade(some, all)
        }
        _ => Fit::Maybe,
    }
}

fn grade(some: bool, all: bool) -> Fit {
    match (some, all) {
        (false, _) => Fit::No,
        (true, false) => Fit::Maybe,
        (true, true) => Fit::Sure,
    }
}

impl Table {
    /// The row of keys that are certain, if there is one.
    pub fn sure_row(&self, keys: &[Possible]) -> Option<usize> {
        if !keys.iter().all(Possible::is_certain) {
            return None;
        }
        self.rows.iter().position(|row| row.reach.iter().zip(keys).all(|(r, k)| fit(r, k) == Fit::Sure))
    }

    /// The rows that the keys may still be of. `lattice` says for each key whether it moves in the column's steps.
    pub fn find(&self, keys: &[Possible], lattice: &[bool]) -> Found {
        let mut rows = Vec::new();
        for (i, row) in self.rows.iter().enumerate() {
            let mut sure = true;
            let mut out = false;
            for (reach, key) in row.reach.iter().zip(keys) {
                match fit(reach, key) {
                    Fit::No => {
                        out = true;
                        break;
                    }
                    Fit::Maybe => sure = false,
                    Fit::Sure => {}
                }
            }
            if out {
                continue;
            }
            if sure {
                return Found { rows: vec![i], beyond: false };
            }
            rows.push(i);
        }
        // One key of words, the usual table: what the rows leave over is a matter of bits.
        let beyond = match keys {
            [Possible::Words { mask, .. }] => {
                let reached = rows.iter().fold(0, |all, row| {
                    all | match self.rows[*row].reach[0] {
                        Reach::Words(words) => words,
                        _ => u64::MAX,
                    }
                });
                mask & !reached != 0
            }
            _ => !self.covers(keys, lattice, &rows, 0),
        };
        Found { rows, beyond }
    }

    /// Whether every combination of keys still possible has a row among `rows`, from key `k` on.
    fn covers(&self, keys: &[Possible], lattice: &[bool], rows: &[usize], k: usize) -> bool {
        if rows.is_empty() {
            return false;
        }
        if k == keys.len() {
            return true;
        }
        let column = &self.columns[self.keys[k]];
        let with = |inside: &dyn Fn(&Reach) -> bool| -> bool {
            let rest: Vec<usize> = rows.iter().copied().filter(|r| inside(&self.rows[*r].reach[k])).collect();
            self.covers(keys, lattice, &rest, k + 1)
        };
        match &keys[k] {
            Possible::Fails => true,
            Possible::Words { mask, .. } => bits(*mask).all(|bit| {
                with(&|reach| match reach {
                    Reach::Words(m) => m & bit != 0,
                    reach => *reach == Reach::Any,
                })
            }),
            Possible::Truth(t) => bits(u64::from(*t & 3)).all(|bit| {
                with(&|reach| match reach {
                    Reach::Words(m) => m & bit != 0,
                    reach => *reach == Reach::Any,
                })
            }),
            Possible::Kind(kind) => with(&|reach| match (reach, kind) {
                (Reach::Any, _) => true,
                (Reach::Kinds(kinds), Some(kind)) => kinds.contains(kind),
                _ => false,
            }),
            Possible::Number { bounds, .. } => {
                let mut cuts: Vec<Rational> = Vec::new();
                for row in rows {
                    if let Reach::Span { lo, hi } = &self.rows[*row].reach[k] {
                        cuts.extend([lo, hi].into_iter().flatten().map(|(v, _)| *v));
                    }
                }
                cuts.extend([bounds.lo, bounds.hi].into_iter().flatten());
                cuts.sort_unstable();
                cuts.dedup();
                cuts.retain(|v| bounds.lo.is_none_or(|lo| *v >= lo) && bounds.hi.is_none_or(|hi| *v <= hi));
                let step = column.lattice.filter(|_| lattice.get(k).copied().unwrap_or(false));
                let on_step = |v: Rational| step.is_none_or(|s| v.div(s).is_none_or(Rational::is_whole));
                let step_between = |a: Rational, b: Rational| {
                    let Some(step) = step else { return true };
                    let next = a.div(step).and_then(|n| n.floor().checked_add(1)).map(Rational::whole);
                    next.and_then(|n| n.mul(step)).is_none_or(|n| n < b)
                };
                let at = |v: Rational| {
                    with(&|reach| match reach {
                        Reach::Span { .. } => fit(reach, &Possible::point(v)) == Fit::Sure,
                        reach => *reach == Reach::Any,
                    })
                };
                // Every end is a cut, so a row holds either all of what lies between two cuts or nothing of it.
                let between = |a: Option<Rational>, b: Option<Rational>| {
                    with(&|reach| match reach {
                        Reach::Span { lo, hi } => {
                            lo.is_none_or(|(l, _)| a.is_some_and(|a| l <= a))
                                && hi.is_none_or(|(h, _)| b.is_some_and(|b| h >= b))
                        }
                        reach => *reach == Reach::Any,
                    })
                };
                if bounds.lo.is_none() && !between(None, cuts.first().copied()) {
                    return false;
                }
                if bounds.hi.is_none() && !between(cuts.last().copied(), None) {
                    return false;
                }
                cuts.iter().all(|v| (!on_step(*v) && !bounds.is_point()) || at(*v))
                    && cuts.windows(2).all(|w| !step_between(w[0], w[1]) || between(Some(w[0]), Some(w[1])))
            }
        }
    }

    /// What one of the value columns may still be, given the rows.
    pub fn value(&self, found: &Found, column: usize) -> Possible {
        let mut out: Option<Possible> = None;
        let mut join = |value: Possible| {
            out = Some(match out {
                None => value,
                Some(before) => before.hull(value),
            });
        };
        for row in &found.rows {
            join(self.rows[*row].values[column].value);
        }
        if found.beyond {
            match &self.otherwise {
                Otherwise::Violates => join(Possible::Fails),
                Otherwise::Row(values) => join(values[column].value),
                Otherwise::Undetermined => join(self.anything(column)),
            }
        }
        out.unwrap_or_else(|| self.anything(column))
    }

    /// A value of which nothing is known.
    fn anything(&self, column: usize) -> Possible {
        match self.columns[self.values[column]].ty {
            ColumnType::Quantity { .. } => Possible::number(Bounds::OPEN),
            ColumnType::Nominal => Possible::Words { mask: all_words(NOMINAL.len()), fails: false },
            ColumnType::Words(_) => Possible::Words { mask: u64::MAX, fails: false },
            ColumnType::Truth | ColumnType::Kind => Possible::Truth(crate::possible::U),
        }
    }

    /// Place of a value column by name.
    pub fn value_column(&self, name: &str) -> Option<usize> {
        self.values.iter().position(|v| self.columns[*v].name == name)
    }
}

fn bits(mask: u64) -> impl Iterator<Item = u64> {
    (0..64).map(|i| 1u64 << i).filter(move |bit| mask & bit != 0)
}
