//! The digest of a flat text: what was decided under it can be told apart from what any other text would decide.

use crate::law::Flat;
use crate::parse::{LANGUAGE, write_literal};
use crate::print::print;
use crate::syntax::*;
use crate::table::{KeyCell, Match, Otherwise, Table, Trend};
use crate::vocabulary::{Lexicon, Shape};
use sha2::{Digest, Sha256};
use std::fmt::Write;

/// SHA-256 in hex over the canonical tree of the flat text and its vocabulary, and the language's number. Files,
/// comments, spacing and the order of items do not count.
pub(crate) fn digest(flat: &Flat, lexicon: &Lexicon) -> String {
    let mut lines: Vec<String> = vec![format!("language {LANGUAGE}")];
    vocabulary(lexicon, &mut lines);
    for provision in &flat.provisions {
        lines.push(self::provision(&provision.item));
    }
    for table in &flat.tables {
        lines.push(self::table(table));
    }
    lines[1..].sort_unstable();
    let mut hash = Sha256::new();
    for line in &lines {
        hash.update((line.len() as u64).to_be_bytes());
        hash.update(line.as_bytes());
    }
    let mut out = String::new();
    for byte in hash.finalize() {
        let _ = write!(out, "{byte:02x}");
    }
    out
}

fn vocabulary(lexicon: &Lexicon, lines: &mut Vec<String>) {
    for kind in &lexicon.kinds {
        lines.push(format!("kind {} in {:?} of {:?}", kind.info.name, kind.info.parents, kind.info.broader));
    }
    for words in &lexicon.words {
        lines.push(format!("enum {} {} {:?} {:?}", words.name, words.ordered, words.words, words.groups));
    }
    for (i, fact) in lexicon.facts.iter().enumerate() {
        let on: Vec<&str> = lexicon
            .kinds
            .iter()
            .filter(|k| k.facts.contains(&(i as u16)))
            .map(|k| k.info.name.as_str())
            .collect();
        let shape = match &fact.shape {
            Shape::Truth => "yesno".to_owned(),
            Shape::Date => "date".to_owned(),
            Shape::Words(id) => format!("enum {}", lexicon.words[usize::from(*id)].name),
            Shape::Nominal(a, b) => format!("nps {a} {b}"),
            Shape::Quantity { ty, least, most, step, whole, .. } => {
                format!("{:?} {least:?} {most:?} {step:?} {whole}", ty.dimension.0)
            }
        };
        lines.push(format!("fact {} on {on:?} {shape}", fact.info.name));
    }
}

fn provision(item: &ProvisionItem) -> String {
    let mut out = format!("provision {}", item.id.text);
    let text = |prose: &Option<Prose>| prose.as_ref().map_or(String::new(), |p| p.text.clone());
    for (word, value) in [
        ("title", text(&item.title)),
        ("cite", text(&item.cite)),
        ("look", text(&item.look)),
        ("why", text(&item.why)),
        ("basis", text(&item.basis)),
    ] {
        let _ = write!(out, "\n{word} {value:?}");
    }
    let names = |list: &[Name]| list.iter().map(|n| n.text.as_str()).collect::<Vec<_>>().join(", ");
    let _ = write!(out, "\nstage {}\nfor {}", names(&item.stages), names(&item.kinds));
    let limit = |out: &mut String, l: &LimitClause| {
        let _ = write!(out, "\nlimit {} = {}", l.name.text, write_literal(&l.value.value));
    };
    item.limits.iter().for_each(|l| limit(&mut out, l));
    for l in &item.lets {
        let _ = write!(out, "\nlet {} = {}", l.name.text, print(&l.value));
    }
    let clause = |out: &mut String, word: &str, expr: &Option<std::sync::Arc<Expr>>| {
        if let Some(expr) = expr {
            let _ = write!(out, "\n{word} {}", print(expr));
        }
    };
    clause(&mut out, "when", &item.when);
    clause(&mut out, "require", &item.require);
    for exception in &item.exceptions {
        let _ = write!(out, "\nexcept {} over {}", exception.name.text, names(&exception.over));
        let _ = write!(out, "\ncite {:?}", text(&exception.cite));
        exception.limits.iter().for_each(|l| limit(&mut out, l));
        clause(&mut out, "when", &exception.when);
        clause(&mut out, "require", &exception.require);
        if exception.waive.is_some() {
            out.push_str("\nwaive");
        }
    }
    if let Some(tell) = &item.tell {
        out.push_str("\ntell ");
        for part in &tell.parts {
            match part {
                TemplatePart::Text(text) => out.push_str(text),
                TemplatePart::Value(expr) => {
                    let _ = write!(out, "{{{}}}", print(expr));
                }
            }
        }
    }
    out
}

fn table(table: &Table) -> String {
    let mut out = format!("table {} cite {:?}", table.name, table.cite);
    for column in &table.columns {
        let key = column.key.map_or("", |k| match k {
            Match::Exact => "=",
            Match::Up => "up",
            Match::Down => "down",
            Match::Within => "a..b",
        });
        let trend = column.trend.map_or("", |t| if t == Trend::Rising { "rising" } else { "falling" });
        let _ = write!(out, "\ncolumn {} {:?} {key} {trend}", column.name, column.ty);
    }
    let mut rows: Vec<String> = table
        .rows
        .iter()
        .map(|row| {
            let keys: Vec<String> = row
                .keys
                .iter()
                .map(|k| match k {
                    KeyCell::Any => "*".to_owned(),
                    KeyCell::Words(mask) => format!("{mask:b}"),
                    KeyCell::Kinds(kinds) => format!("{kinds:?}"),
                    KeyCell::Value(v) => format!("{v:?}"),
                    KeyCell::Between(a, b) => format!("{a:?}..{b:?}"),
                })
                .collect();
            let values: Vec<&str> = row.values.iter().map(|v| v.text.as_str()).collect();
            format!("\nrow {keys:?} {values:?}")
        })
        .collect();
    rows.sort_unstable();
    rows.iter().for_each(|row| out.push_str(row));
    match &table.otherwise {
        Otherwise::Violates => out.push_str("\notherwise violates"),
        Otherwise::Undetermined => out.push_str("\notherwise undetermined"),
        Otherwise::Row(values) => {
            let values: Vec<&str> = values.iter().map(|v| v.text.as_str()).collect();
            let _ = write!(out, "\notherwise {values:?}");
        }
    }
    out
}
