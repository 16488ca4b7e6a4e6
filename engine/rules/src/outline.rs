//! Cuts a file into items and their clauses by the first words of lines, before anything is understood.
//!
//! That is what makes recovery simple: a clause that cannot be read is dropped, and the next one is read.

use crate::diagnostic::{Fault, Faults, Span, did_you_mean};
use crate::lex::{Tok, Token, lex};

/// First words that begin an item; an item begins in a line's first column.
pub(crate) const ITEMS: &[&str] =
    &["ruleset", "kind", "fact", "enum", "table", "provision", "amend", "layer", "adoption", "case"];

/// First words that begin a clause of an item.
fn clauses_of(item: &str) -> &'static [&'static str] {
    match item {
        "ruleset" => &["title", "document", "edition", "language", "requires", "basis"],
        "kind" | "fact" => &["label", "look"],
        "enum" => &["label", "look", "group"],
        "table" => &["title", "cite", "basis"],
        "provision" => PROVISION,
        "amend" => AMEND,
        "layer" => &["title", "cite", "basis", "from"],
        "adoption" => &["title", "base", "layer", "by"],
        "case" => &["given", "all", "stage", "on", "under", "expect", "because", "source"],
        _ => &[],
    }
}

const PROVISION: &[&str] = &[
    "title", "cite", "stage", "for", "limit", "let", "when", "require", "except", "waive", "tell", "look",
    "why", "basis", "from", "to",
];

const AMEND: &[&str] = &[
    "title", "cite", "stage", "for", "limit", "let", "when", "require", "except", "waive", "tell", "look",
    "why", "basis", "from", "to", "replace", "add", "remove", "restrict", "renumber", "note",
];

/// An item with its clauses, the first being the item's own line.
#[derive(Debug, Clone)]
pub(crate) struct Item {
    pub keyword: &'static str,
    pub clauses: Vec<Clause>,
}

/// A keyword and what follows it, without comments.
#[derive(Debug, Clone)]
pub(crate) struct Clause {
    pub keyword: &'static str,
    /// Of the keyword.
    pub at: Span,
    /// Byte ranges of the body, one for each line.
    pub pieces: Vec<(usize, usize)>,
}

impl Clause {
    /// The body as words, spaces made single; a text wholly in quotes loses them.
    pub fn text(&self, source: &str) -> String {
        let words: Vec<&str> =
            self.pieces.iter().flat_map(|(a, b)| source[*a..*b].split_whitespace()).collect();
        let text = words.join(" ");
        match text.strip_prefix('"').and_then(|t| t.strip_suffix('"')) {
            Some(inside) if !inside.contains('"') => inside.trim().to_owned(),
            _ => text,
        }
    }

    /// From the keyword to the end of the body.
    pub fn span(&self) -> Span {
        let end = self.pieces.last().map_or(self.at.end, |(_, b)| *b as u32);
        Span { end: end.max(self.at.end), ..self.at }
    }

    /// The body alone, or the keyword when the body is empty.
    pub fn body(&self) -> Span {
        match (self.pieces.iter().find(|(a, b)| a < b), self.pieces.last()) {
            (Some((a, _)), Some((_, b))) => {
                Span { file: self.at.file, start: *a as u32, end: (*b).max(*a) as u32 }
            }
            _ => self.at,
        }
    }

    pub fn tokens(&self, source: &str, faults: &mut Faults) -> Vec<Token> {
        let mut out = Vec::new();
        for (a, b) in &self.pieces {
            lex(source, self.at.file, *a, *b, faults, &mut out);
        }
        let end = self.span().end;
        out.push(Token { tok: Tok::End, span: Span { file: self.at.file, start: end, end } });
        out
    }
}

/// Cuts `source` into items. Lines that belong to no item are told.
pub(crate) fn outline(source: &str, file: u32, faults: &mut Faults) -> Vec<Item> {
    let mut items: Vec<Item> = Vec::new();
    // In no item, and whether that was told: an unknown item's lines are not told one by one.
    let mut lost = true;
    let mut told = false;
    let mut start = 0;
    for line in source.split_inclusive('\n') {
        let from = start;
        start += line.len();
        let code = without_comment(line);
        let body = code.trim_end();
        let indent = body.len() - body.trim_start().len();
        let words = &body[indent..];
        if words.is_empty() {
            continue;
        }
        let len = words.find(|c: char| c.is_whitespace()).unwrap_or(words.len());
        let word = &words[..len];
        let at = Span { file, start: (from + indent) as u32, end: (from + indent + len) as u32 };
        let rest = (from + indent + len, from + body.len());
        if indent == 0
            && let Some(keyword) = ITEMS.iter().find(|k| **k == word)
        {
            let clause = Clause { keyword, at, pieces: vec![rest] };
            items.push(Item { keyword, clauses: vec![clause] });
            lost = false;
        } else if !lost
            && let Some(item) = items.last_mut()
            && let Some(keyword) = clauses_of(item.keyword).iter().find(|k| **k == word)
        {
            item.clauses.push(Clause { keyword, at, pieces: vec![rest] });
        } else if indent == 0 {
            let known = ITEMS.iter().chain(items.last().map_or(&[][..], |i| clauses_of(i.keyword)));
            faults.push(
                Fault::new(
                    "E0104",
                    at,
                    format!("`{word}` begins neither an item nor a clause of the item above"),
                )
                .help("a line that continues the clause above is indented")
                .maybe_help(did_you_mean(word, known.copied())),
            );
            lost = true;
            told = true;
        } else if lost {
            if !told {
                faults
                    .push(Fault::new("E0104", at, "this line stands before any item").help(
                        "an item (`kind`, `fact`, `provision`, ...) begins in the line's first column",
                    ));
                told = true;
            }
        } else if let Some(clause) = items.last_mut().and_then(|i| i.clauses.last_mut()) {
            clause.pieces.push((from + indent, from + body.len()));
        }
    }
    items
}

/// A comment begins with `#` at the start or after a space, outside quotes.
fn without_comment(line: &str) -> &str {
    let mut quoted = false;
    let mut before = ' ';
    for (i, c) in line.char_indices() {
        match c {
            '"' if quoted || before.is_whitespace() => quoted = !quoted,
            '#' if !quoted && before.is_whitespace() => return &line[..i],
            _ => {}
        }
        before = c;
    }
    line
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn clauses_end_where_the_next_begins_and_long_lines_go_on() {
        let source = "# head\nprovision a.b\n  title  A title\n    that goes on   # why\n  when x\n   and y\nfact q on z yesno\n";
        let mut faults = Faults::default();
        let items = outline(source, 0, &mut faults);
        assert!(faults.list.is_empty());
        assert_eq!(items.len(), 2);
        let words: Vec<_> = items[0].clauses.iter().map(|c| (c.keyword, c.text(source))).collect();
        assert_eq!(
            words,
            [
                ("provision", "a.b".to_owned()),
                ("title", "A title that goes on".to_owned()),
                ("when", "x and y".to_owned())
            ]
        );
    }

    #[test]
    fn a_misspelt_item_is_told_once_and_the_next_item_is_read() {
        let source = "provison a\n  title x\n  require y\nfact q on z yesno\n";
        let mut faults = Faults::default();
        let items = outline(source, 0, &mut faults);
        assert_eq!(faults.list.len(), 1);
        assert_eq!(faults.list[0].help.as_deref(), Some("did you mean `provision`?"));
        assert_eq!(items.len(), 1);
    }
}
