//! Words, numbers and signs of one clause.

use crate::date::Date;
use crate::diagnostic::{Fault, Faults, Span};
use crate::rational::Rational;

/// What a token is.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Tok {
    /// A word or dotted path: `tailpiece.length`, `irc-ipc-2021`.
    Word(String),
    /// `24`, `0.5`, `1/4`, `1-1/2`.
    Number(Rational),
    Day(Date),
    /// A text in double quotes.
    Text(String),
    /// Punctuation and operators.
    Sign(&'static str),
    End,
}

impl Tok {
    pub fn describe(&self) -> String {
        match self {
            Tok::Word(w) => format!("`{w}`"),
            Tok::Number(n) => format!("the number {}", n.mixed()),
            Tok::Day(d) => format!("the date {d}"),
            Tok::Text(_) => "a text in quotes".to_owned(),
            Tok::Sign(s) => format!("`{s}`"),
            Tok::End => "the end of the clause".to_owned(),
        }
    }
}

/// A token and where it stands.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Token {
    pub tok: Tok,
    pub span: Span,
}

/// Longest first, so that `<=` is not read as `<`.
const SIGNS: &[&str] = &[
    "..", "<=", "<>", ">=", "<", ">", "=", "(", ")", "[", "]", "{", "}", ",", ":", "+", "-", "*", "/", "%",
    ".",
];

/// Splits `text[start..end]` into tokens, telling faults and going on after them. No `End` is added.
pub(crate) fn lex(
    text: &str,
    file: u32,
    start: usize,
    end: usize,
    faults: &mut Faults,
    out: &mut Vec<Token>,
) {
    let mut at = start;
    let span = |from: usize, to: usize| Span { file, start: from as u32, end: to as u32 };
    while let Some(c) = text.get(at..end).and_then(|rest| rest.chars().next()) {
        if c.is_whitespace() {
            at += c.len_utf8();
        } else if c.is_ascii_alphabetic() || c == '_' {
            let to = word_end(text.as_bytes(), at, end);
            out.push(Token { tok: Tok::Word(text[at..to].to_owned()), span: span(at, to) });
            at = to;
        } else if c.is_ascii_digit() {
            let (tok, to) = number(text, at, end);
            match tok {
                Ok(tok) => out.push(Token { tok, span: span(at, to) }),
                Err(message) => faults.push(Fault::new("E0102", span(at, to), message)),
            }
            at = to;
        } else if c == '"' {
            let rest = &text[at + 1..end];
            match rest.find('"') {
                Some(len) => {
                    let inside = rest[..len].split_whitespace().collect::<Vec<_>>().join(" ");
                    out.push(Token { tok: Tok::Text(inside), span: span(at, at + len + 2) });
                    at += len + 2;
                }
                None => {
                    faults.push(
                        Fault::new("E0111", span(at, at + 1), "this quote is not closed on its line")
                            .help("close it with `\"`; inches are written `in`"),
                    );
                    at = end;
                }
            }
        } else if let Some(sign) = SIGNS.iter().find(|s| text[at..end].starts_with(**s)) {
            out.push(Token { tok: Tok::Sign(sign), span: span(at, at + sign.len()) });
            at += sign.len();
        } else {
            let to = at + c.len_utf8();
            faults.push(
                Fault::new(
                    "E0101",
                    span(at, to),
                    format!("the character `{}` has no meaning here", c.escape_debug()),
                )
                .maybe_help(match c {
                    '\u{2264}' => Some("write `<=`".to_owned()),
                    '\u{2265}' => Some("write `>=`".to_owned()),
                    '\u{2260}' | '!' => Some("write `<>`".to_owned()),
                    '\u{2013}' | '\u{2212}' => Some("write a plain `-`".to_owned()),
                    '\u{bd}' | '\u{bc}' | '\u{be}' => Some("write `1/2`, `1/4`, `3/4`".to_owned()),
                    _ => None,
                }),
            );
            at = to;
        }
    }
}

/// Words may hold digits, and dots and hyphens when another letter or digit follows at once.
fn word_end(bytes: &[u8], start: usize, end: usize) -> usize {
    let inner = |b: u8| b.is_ascii_alphanumeric() || b == b'_';
    let mut at = start;
    while at < end {
        let joins = matches!(bytes[at], b'.' | b'-') && at + 1 < end && inner(bytes[at + 1]);
        if !inner(bytes[at]) && !joins {
            break;
        }
        at += 1;
    }
    at
}

fn number(text: &str, start: usize, end: usize) -> (Result<Tok, String>, usize) {
    let bytes = text.as_bytes();
    let digits = |from: usize| {
        let mut at = from;
        while at < end && bytes[at].is_ascii_digit() {
            at += 1;
        }
        at
    };
    let follows = |at: usize, sign: u8| at + 1 < end && bytes[at] == sign && bytes[at + 1].is_ascii_digit();
    let whole_end = digits(start);
    if whole_end - start == 4 && follows(whole_end, b'-') {
        let to = (start + 10).min(end);
        let shape = text.get(start..to).is_some_and(|t| t.len() == 10 && t.as_bytes()[7] == b'-');
        if shape {
            let part = &text[start..to];
            return (part.parse::<Date>().map(Tok::Day).map_err(|e| e.to_string()), to);
        }
    }
    let read = |from: usize, to: usize| text[from..to].parse::<i128>().ok();
    let too_large = || "this number is too large".to_owned();
    let Some(whole) = read(start, whole_end) else { return (Err(too_large()), whole_end) };
    if follows(whole_end, b'.') {
        let to = digits(whole_end + 1);
        let places = (to - whole_end - 1) as u32;
        let value = read(whole_end + 1, to).and_then(|part| {
            let scale = 10i128.checked_pow(places)?;
            Rational::new(whole.checked_mul(scale)?.checked_add(part)?, scale)
        });
        return (value.map(Tok::Number).ok_or_else(too_large), to);
    }
    if follows(whole_end, b'/') {
        let to = digits(whole_end + 1);
        let value = read(whole_end + 1, to).and_then(|den| Rational::new(whole, den));
        return (value.map(Tok::Number).ok_or_else(|| "this fraction has no value".to_owned()), to);
    }
    if follows(whole_end, b'-') {
        let part_end = digits(whole_end + 1);
        if follows(part_end, b'/') {
            let to = digits(part_end + 1);
            let value = read(whole_end + 1, part_end)
                .zip(read(part_end + 1, to))
                .and_then(|(num, den)| Rational::new(num, den)?.add(Rational::whole(whole)));
            return (value.map(Tok::Number).ok_or_else(|| "this fraction has no value".to_owned()), to);
        }
        let told = "digits joined by `-` are neither a mixed number nor a date; a subtraction needs spaces around `-`";
        return (Err(told.to_owned()), part_end);
    }
    (Ok(Tok::Number(Rational::whole(whole))), whole_end)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(text: &str, expected: &[Tok]) {
        let mut faults = Faults::default();
        let mut out = Vec::new();
        lex(text, 0, 0, text.len(), &mut faults, &mut out);
        assert!(faults.list.is_empty(), "{:?}", faults.list);
        let found: Vec<Tok> = out.into_iter().map(|t| t.tok).collect();
        assert_eq!(found, expected, "{text}");
    }

    fn n(num: i128, den: i128) -> Tok {
        Tok::Number(Rational::new(num, den).unwrap())
    }

    #[test]
    fn numbers_are_read_as_tapes_and_tables_write_them() {
        check("1-1/2", &[n(3, 2)]);
        check("1/4", &[n(1, 4)]);
        check("0.5", &[n(1, 2)]);
        check("3 - 1", &[n(3, 1), Tok::Sign("-"), n(1, 1)]);
        check("1..1.5", &[n(1, 1), Tok::Sign(".."), n(3, 2)]);
        check("2026-03-01", &[Tok::Day(Date::new(2026, 3, 1).unwrap())]);
    }

    #[test]
    fn words_keep_their_dots_and_inner_hyphens() {
        let word = |w: &str| Tok::Word(w.to_owned());
        check("tailpiece.length<=reach", &[word("tailpiece.length"), Tok::Sign("<="), word("reach")]);
        check("irc-ipc-2021 us.24cfr3280", &[word("irc-ipc-2021"), word("us.24cfr3280")]);
        check("a - b", &[word("a"), Tok::Sign("-"), word("b")]);
    }

    #[test]
    fn a_subtraction_without_spaces_is_told() {
        let mut faults = Faults::default();
        lex("5-3", 0, 0, 3, &mut faults, &mut Vec::new());
        assert_eq!(faults.list[0].code, "E0102");
    }
}
