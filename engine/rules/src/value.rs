//! Values of facts: reading them as people type them, writing them canonically.

use crate::date::Date;
use crate::quantity::{NOMINAL, find_unit, nominal_index, unit_names, usual_unit, write_number};
use crate::rational::Rational;
use crate::vocabulary::{FactId, Lexicon, Shape, ValueError, date_range};
use serde::Serialize;

/// A value of a fact. What it means depends on the fact; [`crate::Vocabulary::format_value`] writes it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Value {
    /// Yes or no.
    Truth(bool),
    /// Place of the word among the fact's words.
    Word(u8),
    /// Place of the nominal pipe size in the order of sizes.
    Nominal(u8),
    /// Ticks of the fact's dimension, exact.
    Number(Rational),
    /// A day.
    Day(Date),
}

/// Whether the value is one the fact may have.
pub(crate) fn fits(vocabulary: &Lexicon, shape: &Shape, value: &Value) -> bool {
    match (shape, value) {
        (Shape::Truth, Value::Truth(_)) => true,
        (Shape::Words(id), Value::Word(i)) => {
            usize::from(*i) < vocabulary.words[usize::from(*id)].words.len()
        }
        (Shape::Nominal(a, b), Value::Nominal(i)) => a <= i && i <= b,
        (Shape::Quantity { least, most, whole, .. }, Value::Number(n)) => {
            least <= n && n <= most && (!whole || n.is_whole())
        }
        (Shape::Date, Value::Day(day)) => {
            let (least, most) = date_range();
            (least..=most).contains(&day.number())
        }
        _ => false,
    }
}

pub(crate) fn write(vocabulary: &Lexicon, shape: &Shape, value: &Value) -> String {
    match (shape, value) {
        (Shape::Words(id), Value::Word(i)) => {
            let words = &vocabulary.words[usize::from(*id)].words;
            words.get(usize::from(*i)).map_or(String::new(), |(word, _)| word.clone())
        }
        (Shape::Quantity { ty, unit, .. }, Value::Number(n)) => {
            match find_unit(unit).or_else(|| usual_unit(*ty)) {
                Some(unit) => unit.write(*n),
                None => write_number(*n, true),
            }
        }
        (_, Value::Truth(true)) => "yes".to_owned(),
        (_, Value::Truth(false)) => "no".to_owned(),
        (_, Value::Nominal(i)) => {
            NOMINAL.get(usize::from(*i)).map_or(String::new(), |(name, ..)| format!("{name} nps"))
        }
        (_, Value::Day(day)) => day.to_string(),
        (_, Value::Number(n)) => write_number(*n, true),
        (_, Value::Word(i)) => i.to_string(),
    }
}

pub(crate) fn spoken(vocabulary: &Lexicon, shape: &Shape, value: &Value) -> String {
    match (shape, value) {
        (Shape::Words(id), Value::Word(i)) => {
            let words = &vocabulary.words[usize::from(*id)].words;
            words.get(usize::from(*i)).map_or(String::new(), |(_, label)| label.clone())
        }
        (_, Value::Nominal(i)) => {
            NOMINAL.get(usize::from(*i)).map_or(String::new(), |(name, ..)| format!("{name} in nominal"))
        }
        _ => write(vocabulary, shape, value),
    }
}

/// What to type for a fact, with an example.
fn expected(vocabulary: &Lexicon, shape: &Shape) -> String {
    match shape {
        Shape::Truth => "`yes` or `no`".to_owned(),
        Shape::Words(id) => {
            let words = &vocabulary.words[usize::from(*id)].words;
            format!("one of {}", words.iter().map(|(w, _)| format!("`{w}`")).collect::<Vec<_>>().join(", "))
        }
        Shape::Nominal(a, b) => {
            let sizes = &NOMINAL[usize::from(*a)..=usize::from(*b)];
            format!("a nominal size: {}", sizes.iter().map(|(n, ..)| *n).collect::<Vec<_>>().join(", "))
        }
        Shape::Quantity { whole: true, .. } => "a whole number".to_owned(),
        Shape::Quantity { ty, .. } if unit_names(*ty).is_empty() => "a number".to_owned(),
        Shape::Quantity { ty, unit, .. } => {
            let unit = find_unit(unit).or_else(|| usual_unit(*ty));
            let example = if unit.is_some_and(|u| u.fractions) { "23-5/8" } else { "12" };
            format!("a number with its unit, like `{example} {}`", unit.map_or("", |u| u.name))
        }
        Shape::Date => "a date, like `2026-03-01`".to_owned(),
    }
}

pub(crate) fn parse(vocabulary: &Lexicon, fact: FactId, typed: &str) -> Result<Value, ValueError> {
    let fact = &vocabulary.facts[usize::from(fact)];
    let shape = &fact.shape;
    let text = typed.trim();
    let unreadable =
        || ValueError::Unreadable { text: text.to_owned(), expected: expected(vocabulary, shape) };
    if text.is_empty() {
        return Err(ValueError::Empty { expected: expected(vocabulary, shape) });
    }
    let value = match shape {
        Shape::Truth => match text.to_lowercase().as_str() {
            "yes" | "y" | "true" => Value::Truth(true),
            "no" | "n" | "false" => Value::Truth(false),
            _ => return Err(unreadable()),
        },
        Shape::Words(id) => {
            let words = &vocabulary.words[usize::from(*id)].words;
            let folded = text.to_lowercase();
            let at = words
                .iter()
                .position(|(word, _)| *word == text)
                .or_else(|| words.iter().position(|(_, label)| label.to_lowercase() == folded))
                .or_else(|| words.iter().position(|(word, _)| *word == folded.replace(' ', "_")));
            match at.and_then(|i| u8::try_from(i).ok()) {
                Some(i) => Value::Word(i),
                None => return Err(unreadable()),
            }
        }
        Shape::Date => Value::Day(text.parse().map_err(|_| unreadable())?),
        Shape::Nominal(..) => {
            let (number, rest) = read_number(text).ok_or_else(unreadable)?;
            if !matches!(rest.trim(), "" | "nps" | "in" | "\"") {
                return Err(unreadable());
            }
            Value::Nominal(nominal_index(number).ok_or_else(unreadable)?)
        }
        Shape::Quantity { ty, .. } => {
            let units: Vec<String> = unit_names(*ty).into_iter().map(str::to_owned).collect();
            let (negative, body) = match text.strip_prefix(['-', '\u{2212}']) {
                Some(body) => (true, body.trim_start()),
                None => (false, text),
            };
            let mut rest = body;
            let mut sum = Rational::ZERO;
            let mut parts = 0;
            let mut feet = false;
            while !rest.trim().is_empty() {
                let (number, after) = read_number(rest).ok_or_else(unreadable)?;
                let after = after.trim_start();
                if after.starts_with('/') {
                    return Err(unreadable());
                }
                // A unit ends where the next number begins.
                let end = after
                    .char_indices()
                    .find(|(i, c)| {
                        *i > 0 && (c.is_ascii_digit() || c.is_whitespace()) && !after[..*i].ends_with('/')
                    })
                    .map_or(after.len(), |(i, _)| i);
                let mut end = end;
                // Units whose names end in digits: ft2, in3, m2.
                while after[end..].starts_with(|c: char| c.is_ascii_digit())
                    && find_unit(&after[..end + 1]).is_some()
                {
                    end += 1;
                }
                let word = after[..end].trim();
                rest = &after[end..];
                if units.is_empty() {
                    if !word.is_empty() || parts > 0 {
                        return Err(unreadable());
                    }
                    sum = number;
                } else if word.is_empty() {
                    return Err(if parts == 0 {
                        ValueError::NoUnit {
                            text: text.to_owned(),
                            units: units.into_iter().take(3).collect(),
                        }
                    } else {
                        unreadable()
                    });
                } else {
                    let unit =
                        find_unit(word).filter(|u| u.ty == *ty).ok_or_else(|| ValueError::WrongUnit {
                            fact: fact.info.label.clone(),
                            unit: word.to_owned(),
                            units: units.clone(),
                        })?;
                    // Only feet and inches are written together.
                    if parts > 0 && !(feet && parts == 1 && unit.name == "in") {
                        return Err(unreadable());
                    }
                    feet = unit.name == "ft";
                    let signed = if negative { number.neg() } else { Some(number) };
                    let ticks = signed.and_then(|n| unit.to_ticks(n)).ok_or_else(unreadable)?;
                    sum = sum.add(ticks).ok_or_else(unreadable)?;
                }
                parts += 1;
            }
            if parts == 0 {
                return Err(unreadable());
            }
            if units.is_empty() && negative {
                sum = sum.neg().ok_or_else(unreadable)?;
            }
            if matches!(shape, Shape::Quantity { whole: true, .. }) && !sum.is_whole() {
                return Err(unreadable());
            }
            Value::Number(sum)
        }
    };
    if fits(vocabulary, shape, &value) {
        return Ok(value);
    }
    let (least, most) = match shape {
        Shape::Quantity { least, most, .. } => (Value::Number(*least), Value::Number(*most)),
        Shape::Nominal(a, b) => (Value::Nominal(*a), Value::Nominal(*b)),
        _ => {
            let (a, b) = date_range();
            match (Date::from_number(a), Date::from_number(b)) {
                (Some(a), Some(b)) => (Value::Day(a), Value::Day(b)),
                _ => return Err(unreadable()),
            }
        }
    };
    Err(ValueError::OutOfRange {
        value: write(vocabulary, shape, &value),
        least: write(vocabulary, shape, &least),
        most: write(vocabulary, shape, &most),
    })
}

/// A number as a tape shows it at the start of `text`, and what follows: `23 5/8 in`, `23-5/8`, `5/8`, `.5`, `1,200`.
fn read_number(text: &str) -> Option<(Rational, &str)> {
    let text = text.trim_start();
    let digits = |s: &str| s.find(|c: char| !c.is_ascii_digit()).unwrap_or(s.len());
    let whole_len = digits(text);
    let mut rest = &text[whole_len..];
    let mut whole_text = text[..whole_len].to_owned();
    // Thousands with commas, only in groups of three.
    while whole_len > 0 && whole_len <= 3 && rest.starts_with(',') && digits(&rest[1..]) == 3 {
        whole_text.push_str(&rest[1..4]);
        rest = &rest[4..];
    }
    let glyph = |s: &str| -> Option<(Rational, usize)> {
        let c = s.chars().next()?;
        let (num, den) = match c {
            '\u{bd}' => (1, 2),
            '\u{bc}' => (1, 4),
            '\u{be}' => (3, 4),
            '\u{215b}' => (1, 8),
            '\u{215c}' => (3, 8),
            '\u{215d}' => (5, 8),
            '\u{215e}' => (7, 8),
            _ => return None,
        };
        Some((Rational::new(num, den)?, c.len_utf8()))
    };
    let fraction = |s: &str| -> Option<(Rational, usize)> {
        if let Some(found) = glyph(s) {
            return Some(found);
        }
        let num = digits(s);
        if num == 0 || !s[num..].starts_with('/') {
            return None;
        }
        let den = digits(&s[num + 1..]);
        if den == 0 {
            return None;
        }
        let value = Rational::new(s[..num].parse().ok()?, s[num + 1..num + 1 + den].parse().ok()?)?;
        Some((value, num + 1 + den))
    };
    if whole_len == 0 {
        if let Some((value, len)) = glyph(text) {
            return Some((value, &text[len..]));
        }
        if !text.starts_with('.') {
            return None;
        }
    } else if let Some((value, len)) = fraction(text) {
        return Some((value, &text[len..]));
    }
    if let Some(after) = rest.strip_prefix('.') {
        let places = digits(after);
        if places == 0 && whole_len == 0 {
            return None;
        }
        let scale = 10i128.checked_pow(u32::try_from(places).ok()?)?;
        let whole: i128 = if whole_text.is_empty() { 0 } else { whole_text.parse().ok()? };
        let part: i128 = if places == 0 { 0 } else { after[..places].parse().ok()? };
        let value = Rational::new(whole.checked_mul(scale)?.checked_add(part)?, scale)?;
        return Some((value, &after[places..]));
    }
    let whole = Rational::whole(whole_text.parse().ok()?);
    let gap = rest.strip_prefix('-').unwrap_or_else(|| rest.trim_start());
    if let Some((part, len)) = fraction(gap)
        && part < Rational::ONE
    {
        return Some((whole.add(part)?, &gap[len..]));
    }
    Some((whole, rest))
}
