//! The words a ruleset may use: kinds of subjects, where they may stand, and the facts asked of them.

use crate::date::Date;
use crate::diagnostic::{Fault, Faults, Span, did_you_mean, nearest};
use crate::quantity::{NOMINAL, QuantityType, find_unit, unit_names, usual_unit};
use crate::rational::Rational;
use crate::syntax::*;
use crate::value::Value;
use serde::Serialize;
use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

/// More members than this do not fit the bit mask of what is still possible.
pub const MOST_WORDS: usize = 64;

/// A kind of subject.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct KindInfo {
    /// Its word, `bar_sink`.
    pub name: String,
    /// As a person reads it, `Bar sink`.
    pub label: String,
    /// Kinds it may stand in, in the order declared; those of its broader kinds come first.
    pub parents: Vec<String>,
    /// The kind it is a case of.
    pub broader: Option<String>,
    /// The kinds that are cases of it, in the order declared. A kind without any is concrete: subjects have concrete kinds.
    pub narrower: Vec<String>,
}

/// A fact that may be asked of a subject.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FactInfo {
    /// Its name, `tailpiece.length`.
    pub name: String,
    /// As a person reads it.
    pub label: String,
    /// How to see or measure it; may be empty.
    pub hint: String,
    /// How a value is put in.
    pub entry: Entry,
}

/// How a value is put in: what a keypad or a row of choices looks like.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(tag = "type", rename_all = "snake_case")]
pub enum Entry {
    /// `yes` or `no`.
    YesNo,
    /// One of these words, with labels.
    Choice {
        /// Word and label, in the order declared.
        words: Vec<(String, String)>,
    },
    /// A number with a unit.
    Number {
        /// Units it may be given in, the usual one first.
        units: Vec<String>,
        /// Whether it is read off a tape, in fractions.
        fractions: bool,
        /// Smallest value taken, with its unit.
        least: String,
        /// Largest value taken, with its unit.
        most: String,
    },
    /// A plain whole number.
    Count {
        /// Smallest value taken.
        least: String,
        /// Largest value taken.
        most: String,
    },
    /// A nominal pipe size.
    Nominal {
        /// Sizes as words, `1-1/2`, with labels, smallest first.
        sizes: Vec<(String, String)>,
    },
    /// A day.
    Date,
}

/// Why a text is not a value of a fact.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ValueError {
    /// The vocabulary has no such fact.
    #[error("there is no fact `{fact}`{}", hint(.did_you_mean))]
    UnknownFact {
        /// What was asked for.
        fact: String,
        /// The nearest name, if one is near.
        did_you_mean: Option<String>,
    },
    /// Nothing was typed.
    #[error("nothing is typed; type {expected}")]
    Empty {
        /// What to type.
        expected: String,
    },
    /// A number stands without its unit.
    #[error("`{text}` has no unit; type {}", .units.iter().map(|u| format!("`{text} {u}`")).collect::<Vec<_>>().join(" or "))]
    NoUnit {
        /// What was typed.
        text: String,
        /// Units it may be given in.
        units: Vec<String>,
    },
    /// The unit is not one of this fact's.
    #[error("`{unit}` is no unit of {fact}; units are {}", .units.join(", "))]
    WrongUnit {
        /// The fact.
        fact: String,
        /// What was typed.
        unit: String,
        /// Units it may be given in.
        units: Vec<String>,
    },
    /// The text is no value of this kind.
    #[error("`{text}` cannot be read; type {expected}")]
    Unreadable {
        /// What was typed.
        text: String,
        /// What to type.
        expected: String,
    },
    /// The value lies outside what the fact can be.
    #[error("{value} is outside {least} to {most}; check the measure and the unit")]
    OutOfRange {
        /// The value read.
        value: String,
        /// Smallest value taken.
        least: String,
        /// Largest value taken.
        most: String,
    },
}

fn hint(name: &Option<String>) -> String {
    name.as_ref().map_or(String::new(), |n| format!("; did you mean `{n}`?"))
}

pub(crate) type KindId = u16;
pub(crate) type FactId = u16;
pub(crate) type WordsId = u16;

/// An enumeration of words.
#[derive(Debug, Clone)]
pub(crate) struct Words {
    pub name: String,
    pub ordered: bool,
    pub words: Vec<(String, String)>,
    pub groups: Vec<(String, u64)>,
}

impl Words {
    pub fn find(&self, word: &str) -> Option<u8> {
        self.words.iter().position(|(w, _)| w == word).and_then(|i| u8::try_from(i).ok())
    }

    pub fn all(&self) -> u64 {
        all_words(self.words.len())
    }
}

pub(crate) fn all_words(count: usize) -> u64 {
    if count >= 64 { u64::MAX } else { (1 << count) - 1 }
}

/// The type of a fact, resolved.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Shape {
    Truth,
    Words(WordsId),
    /// Indices into [`NOMINAL`], inclusive.
    Nominal(u8, u8),
    /// Ticks, inclusive; `unit` is the one the range was written in, empty for plain numbers.
    Quantity {
        ty: QuantityType,
        least: Rational,
        most: Rational,
        step: Option<Rational>,
        unit: &'static str,
        whole: bool,
    },
    Date,
}

#[derive(Debug, Clone)]
pub(crate) struct Fact {
    pub info: FactInfo,
    pub shape: Shape,
    pub span: Span,
}

#[derive(Debug, Clone)]
pub(crate) struct Kind {
    pub info: KindInfo,
    pub broader: Option<KindId>,
    pub span: Span,
    /// Facts of this kind and its broader ones, in vocabulary order.
    pub facts: Vec<FactId>,
}

/// Kinds of subjects, where they may stand, and the facts asked of them. Cheap to clone.
#[derive(Debug, Clone, Default)]
pub struct Vocabulary(pub(crate) Arc<Lexicon>);

/// Kinds, facts and enumerations, resolved and indexed.
#[derive(Debug, Clone, Default)]
pub(crate) struct Lexicon {
    pub kinds: Vec<Kind>,
    pub facts: Vec<Fact>,
    pub words: Vec<Words>,
    kind_ids: HashMap<String, KindId>,
    fact_ids: HashMap<String, FactId>,
    words_ids: HashMap<String, WordsId>,
    /// `is_a[a][b]`: every `a` is a `b`.
    pub is_a: Vec<Vec<bool>>,
    /// `sits_in[a][b]`: a concrete `a` may stand directly in a concrete `b`.
    pub sits_in: Vec<Vec<bool>>,
    /// `holds[a][b]`: a concrete `a` may hold some `b`, at any depth.
    pub holds: Vec<Vec<bool>>,
    /// `leads[a][b]`: a concrete `a` may hold a subject that is a `b`, at any depth.
    leads: Vec<Vec<bool>>,
    /// Position of a fact among its kind's, `NO_SLOT` when the kind has no such fact.
    pub slots: Vec<Vec<u16>>,
}

pub(crate) const NO_SLOT: u16 = u16::MAX;

impl Vocabulary {
    /// All kinds, in the order declared.
    pub fn kinds(&self) -> Vec<&KindInfo> {
        self.0.kinds.iter().map(|k| &k.info).collect()
    }

    /// The kind of that name.
    pub fn kind(&self, name: &str) -> Option<&KindInfo> {
        self.0.kind_ids.get(name).map(|id| &self.0.kinds[usize::from(*id)].info)
    }

    /// Concrete kinds that may stand directly in a subject of this kind, in the order declared.
    pub fn can_hold(&self, parent_kind: &str) -> Vec<String> {
        let Some(parent) = self.0.kind_ids.get(parent_kind) else { return vec![] };
        (0..self.0.kinds.len())
            .filter(|k| self.0.kinds[*k].info.narrower.is_empty() && self.0.sits_in[*k][usize::from(*parent)])
            .map(|k| self.0.kinds[k].info.name.clone())
            .collect()
    }

    /// Facts that may be asked of a kind, those of its broader kinds included, in the order declared.
    pub fn facts_of(&self, kind: &str) -> Vec<&FactInfo> {
        let Some(id) = self.0.kind_ids.get(kind) else { return vec![] };
        self.0.kinds[usize::from(*id)].facts.iter().map(|f| &self.0.facts[usize::from(*f)].info).collect()
    }

    /// The fact of that name.
    pub fn fact(&self, name: &str) -> Option<&FactInfo> {
        self.0.fact_ids.get(name).map(|id| &self.0.facts[usize::from(*id)].info)
    }

    /// Whether every subject of the first kind is one of the second.
    pub fn is_a(&self, kind: &str, broader: &str) -> bool {
        match (self.0.kind_ids.get(kind), self.0.kind_ids.get(broader)) {
            (Some(a), Some(b)) => self.0.is_a[usize::from(*a)][usize::from(*b)],
            _ => false,
        }
    }

    /// Reads a value as a person types it: `23 5/8 in`, `2'`, `609.6 mm`, `yes`, `copper`, `1-1/2`.
    ///
    /// # Errors
    /// [`ValueError`] says what to type instead.
    pub fn parse_value(&self, fact: &str, text: &str) -> Result<Value, ValueError> {
        let Some(id) = self.0.fact_ids.get(fact) else {
            let known = self.0.fact_ids.keys().map(String::as_str);
            let did_you_mean = nearest(fact, known).map(str::to_owned);
            return Err(ValueError::UnknownFact { fact: fact.to_owned(), did_you_mean });
        };
        crate::value::parse(&self.0, *id, text)
    }

    /// The value in its canonical writing, which [`Vocabulary::parse_value`] reads back to the same value.
    pub fn format_value(&self, fact: &str, value: &Value) -> String {
        match self.0.fact_ids.get(fact) {
            Some(id) => crate::value::write(&self.0, &self.0.facts[usize::from(*id)].shape, value),
            None => String::new(),
        }
    }

    /// The value as a person reads it: labels instead of words.
    pub fn spoken(&self, fact: &str, value: &Value) -> String {
        match self.0.fact_ids.get(fact) {
            Some(id) => crate::value::spoken(&self.0, &self.0.facts[usize::from(*id)].shape, value),
            None => String::new(),
        }
    }
}

impl Lexicon {
    pub fn kind_id(&self, name: &str) -> Option<KindId> {
        self.kind_ids.get(name).copied()
    }

    pub fn fact_id(&self, name: &str) -> Option<FactId> {
        self.fact_ids.get(name).copied()
    }

    pub fn words_id(&self, name: &str) -> Option<WordsId> {
        self.words_ids.get(name).copied()
    }

    pub fn kind_names(&self) -> impl Iterator<Item = &str> {
        self.kinds.iter().map(|k| k.info.name.as_str())
    }

    pub fn fact_names(&self) -> impl Iterator<Item = &str> {
        self.facts.iter().map(|f| f.info.name.as_str())
    }

    pub fn concrete(&self, kind: KindId) -> bool {
        self.kinds[usize::from(kind)].info.narrower.is_empty()
    }

    pub fn slot(&self, kind: KindId, fact: FactId) -> Option<usize> {
        let slot = self.slots[usize::from(kind)][usize::from(fact)];
        (slot != NO_SLOT).then_some(usize::from(slot))
    }

    /// Whether a subject of the first kind may hold one of the second, at any depth.
    pub fn leads_to(&self, above: KindId, kind: KindId) -> bool {
        self.leads[usize::from(above)][usize::from(kind)]
    }

    /// Whether a subject of `kind` or of one of its narrower kinds may stand somewhere below one of `above`.
    pub(crate) fn may_stand_below(&self, kind: KindId, above: KindId) -> bool {
        let n = self.kinds.len();
        (0..n).any(|a| {
            self.is_a[a][usize::from(above)]
                && (0..n).any(|k| self.is_a[k][usize::from(kind)] && self.holds[a][k])
        })
    }
}

fn label_of(name: &str) -> String {
    let spaced = name.replace(['_', '.'], " ");
    let mut chars = spaced.chars();
    chars.next().map_or(String::new(), |c| c.to_uppercase().chain(chars).collect())
}

/// Builds the vocabulary from everything the files declare, telling every fault.
pub(crate) fn build(trees: &[FileTree], faults: &mut Faults) -> Lexicon {
    let mut out = Lexicon::default();
    add_enums(&mut out, trees, faults);
    add_kinds(&mut out, trees, faults);
    add_facts(&mut out, trees, faults);
    index(&mut out);
    out
}

fn add_words(
    out: &mut Lexicon,
    name: &Name,
    ordered: bool,
    words: &[Name],
    groups: &[(Name, Vec<Name>)],
    labels: &[(Name, Prose)],
    faults: &mut Faults,
) -> Option<WordsId> {
    if words.len() > MOST_WORDS {
        let told = format!("`{}` has {} words, more than {MOST_WORDS}", name.text, words.len());
        faults.push(Fault::new("E0110", words[MOST_WORDS].span, told).help("split it into two enumerations"));
        return None;
    }
    let mut made = Words { name: name.text.clone(), ordered, words: vec![], groups: vec![] };
    for word in words {
        if made.find(&word.text).is_some() {
            faults.push(Fault::new("E0217", word.span, format!("`{}` stands twice", word.text)));
        } else {
            made.words.push((word.text.clone(), label_of(&word.text)));
        }
    }
    for (group, members) in groups {
        let mut mask = 0;
        for member in members {
            match made.find(&member.text) {
                Some(i) => mask |= 1 << i,
                None => faults.push(
                    Fault::new(
                        "E0207",
                        member.span,
                        format!("`{}` is no word of `{}`", member.text, name.text),
                    )
                    .maybe_help(did_you_mean(&member.text, made.words.iter().map(|(w, _)| w.as_str()))),
                ),
            }
        }
        let taken = made.find(&group.text).is_some() || made.groups.iter().any(|(g, _)| *g == group.text);
        if taken {
            faults.push(Fault::new("E0217", group.span, format!("`{}` stands twice", group.text)));
        }
        made.groups.push((group.text.clone(), mask));
    }
    for (word, label) in labels {
        match made.words.iter_mut().find(|(w, _)| *w == word.text) {
            Some((_, slot)) => *slot = label.text.clone(),
            None if made.groups.iter().any(|(g, _)| *g == word.text) => {}
            None => faults.push(
                Fault::new("E0207", word.span, format!("`{}` is no word of `{}`", word.text, name.text))
                    .maybe_help(did_you_mean(&word.text, made.words.iter().map(|(w, _)| w.as_str()))),
            ),
        }
    }
    let id = u16::try_from(out.words.len()).ok()?;
    out.words.push(made);
    Some(id)
}

fn add_enums(out: &mut Lexicon, trees: &[FileTree], faults: &mut Faults) {
    let mut seen: BTreeMap<&str, Span> = BTreeMap::new();
    for item in trees.iter().flat_map(|t| &t.enums) {
        if let Some(first) = seen.insert(&item.name.text, item.name.span) {
            let told = format!("enumeration `{}` is declared twice", item.name.text);
            faults.push(Fault::new("E0217", item.name.span, told).label(first, "first here"));
            continue;
        }
        if let Some(id) =
            add_words(out, &item.name, item.ordered, &item.words, &item.groups, &item.labels, faults)
        {
            out.words_ids.insert(item.name.text.clone(), id);
        }
    }
}

fn add_kinds(out: &mut Lexicon, trees: &[FileTree], faults: &mut Faults) {
    let items: Vec<&KindItem> = trees.iter().flat_map(|t| &t.kinds).collect();
    let mut heads: BTreeMap<&str, Span> = BTreeMap::new();
    let declare = |out: &mut Lexicon, name: &Name| -> Option<KindId> {
        if let Some(id) = out.kind_ids.get(&name.text) {
            return Some(*id);
        }
        let id = u16::try_from(out.kinds.len()).ok()?;
        out.kinds.push(Kind {
            info: KindInfo {
                name: name.text.clone(),
                label: label_of(&name.text),
                parents: vec![],
                broader: None,
                narrower: vec![],
            },
            broader: None,
            span: name.span,
            facts: vec![],
        });
        out.kind_ids.insert(name.text.clone(), id);
        Some(id)
    };
    for item in &items {
        if let Some(first) = heads.insert(&item.name.text, item.name.span) {
            let told = format!("kind `{}` is declared twice", item.name.text);
            faults.push(Fault::new("E0217", item.name.span, told).label(first, "first here"));
        }
        let Some(id) = declare(out, &item.name) else { continue };
        for narrow in &item.narrower {
            let Some(narrow_id) = declare(out, narrow) else { continue };
            let taken = out.kinds[usize::from(narrow_id)].broader.is_some();
            if taken || narrow_id == id {
                let told = format!("`{}` already is a case of another kind", narrow.text);
                faults.push(Fault::new("E0217", narrow.span, told).help("a kind has one broader kind"));
                continue;
            }
            out.kinds[usize::from(narrow_id)].broader = Some(id);
            out.kinds[usize::from(narrow_id)].info.broader = Some(item.name.text.clone());
            out.kinds[usize::from(id)].info.narrower.push(narrow.text.clone());
        }
    }
    // A chain of broader kinds that comes back to itself would never end.
    for k in 0..out.kinds.len() {
        let (mut at, mut steps) = (out.kinds[k].broader, 0);
        while let Some(up) = at {
            steps += 1;
            if steps > out.kinds.len() {
                let told = format!("kind `{}` would be a case of itself", out.kinds[k].info.name);
                faults.push(Fault::new("E0217", out.kinds[k].span, told));
                out.kinds[k].broader = None;
                break;
            }
            at = out.kinds[usize::from(up)].broader;
        }
    }
    for item in &items {
        for parent in &item.parents {
            if out.kind_ids.contains_key(&parent.text) {
                if let Some(id) = out.kind_ids.get(&item.name.text) {
                    out.kinds[usize::from(*id)].info.parents.push(parent.text.clone());
                }
            } else {
                faults.push(
                    Fault::new("E0201", parent.span, format!("there is no kind `{}`", parent.text))
                        .maybe_help(did_you_mean(&parent.text, out.kind_names())),
                );
            }
        }
        for (word, label) in &item.labels {
            match out.kind_ids.get(&word.text) {
                Some(id) => out.kinds[usize::from(*id)].info.label = label.text.clone(),
                None => faults.push(
                    Fault::new("E0201", word.span, format!("there is no kind `{}`", word.text))
                        .maybe_help(did_you_mean(&word.text, out.kind_names())),
                ),
            }
        }
    }
    // Narrower kinds stand where their broader ones may; all are worked out before any is changed.
    let inherited: Vec<Vec<String>> = (0..out.kinds.len())
        .map(|k| {
            let mut parents: Vec<String> = Vec::new();
            let mut at = Some(k);
            while let Some(i) = at {
                parents.splice(0..0, out.kinds[i].info.parents.iter().cloned());
                at = out.kinds[i].broader.map(usize::from);
            }
            let mut seen: Vec<String> = Vec::new();
            for parent in parents {
                if !seen.contains(&parent) {
                    seen.push(parent);
                }
            }
            seen
        })
        .collect();
    for (kind, parents) in out.kinds.iter_mut().zip(inherited) {
        kind.info.parents = parents;
    }
}

fn add_facts(out: &mut Lexicon, trees: &[FileTree], faults: &mut Faults) {
    let mut seen: BTreeMap<&str, Span> = BTreeMap::new();
    for item in trees.iter().flat_map(|t| &t.facts) {
        if let Some(first) = seen.insert(&item.name.text, item.name.span) {
            faults.push(
                Fault::new("E0217", item.name.span, format!("fact `{}` is declared twice", item.name.text))
                    .label(first, "first here")
                    .help("one fact may be on several kinds: `fact NAME on KIND, KIND ...`"),
            );
            continue;
        }
        let Some(shape) = shape_of(out, item, faults) else { continue };
        let entry = entry_of(out, &shape);
        let label = item.label.as_ref().map_or_else(|| label_of(&item.name.text), |l| l.text.clone());
        let hint = item.hint.as_ref().or(item.look.as_ref()).map_or(String::new(), |h| h.text.clone());
        let Ok(id) = u16::try_from(out.facts.len()) else { return };
        out.facts.push(Fact {
            info: FactInfo { name: item.name.text.clone(), label, hint, entry },
            shape,
            span: item.name.span,
        });
        out.fact_ids.insert(item.name.text.clone(), id);
        for kind in &item.kinds {
            match out.kind_ids.get(&kind.text) {
                Some(k) => out.kinds[usize::from(*k)].facts.push(id),
                None => faults.push(
                    Fault::new("E0201", kind.span, format!("there is no kind `{}`", kind.text))
                        .maybe_help(did_you_mean(&kind.text, out.kind_names())),
                ),
            }
        }
    }
    for k in 0..out.kinds.len() {
        let mut facts = out.kinds[k].facts.clone();
        let mut at = out.kinds[k].broader;
        while let Some(up) = at {
            let above = &out.kinds[usize::from(up)];
            facts.extend(above.facts.iter().copied());
            at = above.broader;
        }
        facts.sort_unstable();
        facts.dedup();
        out.kinds[k].facts = facts;
    }
}

fn shape_of(out: &mut Lexicon, item: &FactItem, faults: &mut Faults) -> Option<Shape> {
    match &item.ty {
        FactType::YesNo => Some(Shape::Truth),
        FactType::Date => Some(Shape::Date),
        FactType::OneOf(words) => {
            let name = Name { text: item.name.text.clone(), span: item.name.span };
            add_words(out, &name, false, words, &[], &[], faults).map(Shape::Words)
        }
        FactType::Enum(name) => match out.words_ids.get(&name.text) {
            Some(id) => Some(Shape::Words(*id)),
            None => {
                let known = out
                    .words_ids
                    .keys()
                    .map(String::as_str)
                    .chain(crate::quantity::NAMED.iter().map(|n| n.0));
                faults.push(
                    Fault::new(
                        "E0201",
                        name.span,
                        format!("there is no type or enumeration `{}`", name.text),
                    )
                    .maybe_help(did_you_mean(&name.text, known.chain(["yesno", "date", "nps"]))),
                );
                None
            }
        },
        FactType::Nominal { least, most } => match (&least.value, &most.value) {
            (Literal::Nominal(a), Literal::Nominal(b)) if a <= b => Some(Shape::Nominal(*a, *b)),
            _ => {
                faults.push(Fault::new(
                    "E0210",
                    least.span.to(most.span),
                    "the range ends below its beginning",
                ));
                None
            }
        },
        FactType::Quantity { ty, name, least, most, step } => {
            let mut unit = "";
            let mut ticks = |literal: &LiteralAt, point: bool| -> Option<Rational> {
                if let Literal::Quantity { ticks, ty: found, unit: written } = &literal.value {
                    if unit.is_empty() && point {
                        unit = written.unwrap_or("");
                    }
                    let same = *found == *ty || (!point && found.dimension == ty.dimension);
                    if same {
                        // A step of a temperature is a difference: `step 1 F` is one degree, not 1 F on the scale.
                        let offset = if !point && *found == *ty && ty.tag == crate::quantity::Tag::Point {
                            written.and_then(find_unit).and_then(|u| u.to_ticks(Rational::ZERO))
                        } else {
                            None
                        };
                        return match offset {
                            Some(offset) => ticks.sub(offset),
                            None => Some(*ticks),
                        };
                    }
                }
                let units = unit_names(*ty);
                let help = if units.is_empty() {
                    "write a plain number".to_owned()
                } else {
                    format!("units of {} are {}", ty.name(), units.join(", "))
                };
                faults.push(Fault::new("E0203", literal.span, format!("this is no {name}")).help(help));
                None
            };
            let (low, high) = (ticks(least, true), ticks(most, true));
            let step = step.as_ref().map(|s| ticks(s, false));
            let (low, high) = (low?, high?);
            let step = match step {
                Some(step) => Some(step?),
                None => None,
            };
            if low > high || step.is_some_and(|s| s <= Rational::ZERO) {
                let told =
                    if low > high { "the range ends below its beginning" } else { "a step is above 0" };
                faults.push(Fault::new("E0210", least.span.to(most.span), told));
                return None;
            }
            let whole = name == "count";
            Some(Shape::Quantity { ty: *ty, least: low, most: high, step, unit, whole })
        }
    }
}

fn entry_of(out: &Lexicon, shape: &Shape) -> Entry {
    match shape {
        Shape::Truth => Entry::YesNo,
        Shape::Date => Entry::Date,
        Shape::Words(id) => Entry::Choice { words: out.words[usize::from(*id)].words.clone() },
        Shape::Nominal(a, b) => Entry::Nominal {
            sizes: NOMINAL[usize::from(*a)..=usize::from(*b)]
                .iter()
                .map(|(name, ..)| (format!("{name} nps"), format!("{name} in")))
                .collect(),
        },
        Shape::Quantity { least, most, whole: true, .. } => {
            Entry::Count { least: least.to_string(), most: most.to_string() }
        }
        Shape::Quantity { ty, least, most, unit, .. } => {
            let first = find_unit(unit).or_else(|| usual_unit(*ty));
            let mut units: Vec<String> = first.iter().map(|u| u.name.to_owned()).collect();
            units.extend(
                unit_names(*ty).into_iter().filter(|n| Some(*n) != first.map(|u| u.name)).map(str::to_owned),
            );
            let say = |ticks: &Rational| match first {
                Some(unit) => unit.write(*ticks),
                None => ticks.to_string(),
            };
            Entry::Number {
                units,
                fractions: first.is_some_and(|u| u.fractions),
                least: say(least),
                most: say(most),
            }
        }
    }
}

fn index(out: &mut Lexicon) {
    let n = out.kinds.len();
    out.is_a = vec![vec![false; n]; n];
    for k in 0..n {
        let mut at = Some(k);
        while let Some(i) = at {
            out.is_a[k][i] = true;
            at = out.kinds[i].broader.map(usize::from);
        }
    }
    out.sits_in = vec![vec![false; n]; n];
    for child in 0..n {
        for parent in &out.kinds[child].info.parents {
            let Some(parent) = out.kind_ids.get(parent) else { continue };
            for p in 0..n {
                if out.is_a[p][usize::from(*parent)] {
                    out.sits_in[child][p] = true;
                }
            }
        }
    }
    // Reachability by repeated squaring of nothing fancier than Warshall's loop: kinds are few.
    let mut holds = vec![vec![false; n]; n];
    for (child, row) in out.sits_in.iter().enumerate() {
        for (parent, sits) in row.iter().enumerate() {
            holds[parent][child] |= *sits;
        }
    }
    for via in 0..n {
        for a in 0..n {
            if holds[a][via] {
                let reached = holds[via].clone();
                for (holds, through) in holds[a].iter_mut().zip(reached) {
                    *holds |= through;
                }
            }
        }
    }
    out.leads =
        (0..n).map(|a| (0..n).map(|b| (0..n).any(|k| out.is_a[k][b] && holds[a][k])).collect()).collect();
    out.holds = holds;
    out.slots = vec![vec![NO_SLOT; out.facts.len()]; n];
    for k in 0..n {
        for (slot, fact) in out.kinds[k].facts.iter().enumerate() {
            out.slots[k][usize::from(*fact)] = slot as u16;
        }
    }
}

/// The least and greatest day a date fact may have.
pub(crate) fn date_range() -> (i32, i32) {
    let edge = |y, m, d| Date::new(y, m, d).map_or(0, Date::number);
    (edge(1800, 1, 1), edge(2200, 12, 31))
}
