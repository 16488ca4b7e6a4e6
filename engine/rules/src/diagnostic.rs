//! Faults of a ruleset, told to whoever wrote it: what, where, and what to do.

use serde::Serialize;

/// One text file of a ruleset. The caller reads it; this crate knows no files.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, serde::Deserialize)]
pub struct SourceFile {
    /// Path relative to the rulesets' root, parts separated by `/`; ends in `.rules` or `.csv`.
    pub path: String,
    /// The whole text.
    pub text: String,
}

/// A place in the text of one of the files given.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub(crate) struct Span {
    pub file: u32,
    pub start: u32,
    pub end: u32,
}

impl Span {
    pub fn to(self, other: Span) -> Span {
        Span { file: self.file, start: self.start.min(other.start), end: self.end.max(other.end) }
    }
}

/// How grave a fault is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Severity {
    /// The rulesets are not loaded.
    Error,
    /// Worth a look; the rulesets are loaded.
    Warning,
}

/// A marked stretch of the file's text.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Label {
    /// First byte.
    pub start: usize,
    /// One past the last byte.
    pub end: usize,
    /// What to say under it; may be empty.
    pub text: String,
    /// The place of the fault itself, as against places that explain it.
    pub primary: bool,
}

/// One fault, one cause.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Diagnostic {
    /// `E0203`; each is explained in LANGUAGE.md.
    pub code: &'static str,
    /// Whether it stops loading.
    pub severity: Severity,
    /// Lower case, without a final stop.
    pub message: String,
    /// Path of the file, as given.
    pub file: String,
    /// Marked places in that file, the primary one first.
    pub labels: Vec<Label>,
    /// What to do about it.
    pub help: Option<String>,
}

impl Diagnostic {
    /// Plain text with the line and a caret; `source` is the text of `file`.
    pub fn render(&self, source: &str) -> String {
        let kind = if self.severity == Severity::Error { "error" } else { "warning" };
        let mut out = format!("{kind}[{}]: {}\n", self.code, self.message);
        let mut labels: Vec<&Label> = self.labels.iter().collect();
        labels.sort_by_key(|l| (!l.primary, l.start));
        let places: Vec<_> = labels.iter().map(|l| Place::of(source, l.start)).collect();
        let width = places.iter().map(|p| p.number.to_string().len()).max().unwrap_or(1);
        match places.first() {
            None => out.push_str(&format!("{:width$}--> {}\n", "", self.file)),
            Some(place) => out.push_str(&format!(
                "{:width$}--> {}:{}:{}\n",
                "",
                self.file,
                place.number,
                place.column + 1
            )),
        }
        for (label, place) in labels.iter().zip(&places) {
            let line = place.line.replace('\t', " ");
            let rest = source.get(label.start.min(source.len())..label.end.clamp(label.start, source.len()));
            let marked = rest.unwrap_or("").lines().next().unwrap_or("").chars().count().max(1);
            let mark = if label.primary { "^" } else { "-" }.repeat(marked);
            out.push_str(&format!("{:width$} |\n{:>width$} | {line}\n", "", place.number));
            let text = format!("{:width$} | {:column$}{mark} {}", "", "", label.text, column = place.column);
            out.push_str(text.trim_end());
            out.push('\n');
        }
        if let Some(help) = &self.help {
            out.push_str(&format!("{:width$} = help: {help}\n", ""));
        }
        out
    }

    /// Line and column (both from 1) of the primary place in the file's text.
    pub fn line_column(&self, source: &str) -> Option<(usize, usize)> {
        let label = self.labels.iter().find(|l| l.primary)?;
        let place = Place::of(source, label.start);
        Some((place.number, place.column + 1))
    }
}

struct Place<'a> {
    number: usize,
    column: usize,
    line: &'a str,
}

impl Place<'_> {
    fn of(source: &str, at: usize) -> Place<'_> {
        let mut at = at.min(source.len());
        while !source.is_char_boundary(at) {
            at -= 1;
        }
        let before = &source[..at];
        let start = before.rfind('\n').map_or(0, |i| i + 1);
        let line = source[start..].lines().next().unwrap_or("");
        Place { number: before.matches('\n').count() + 1, column: source[start..at].chars().count(), line }
    }
}

/// Collects the faults of one loading.
#[derive(Debug, Default)]
pub(crate) struct Faults {
    pub list: Vec<Fault>,
    /// How often a fault was met, those already listed included: the same text is checked in several folds.
    pub met: usize,
}

/// A fault before file numbers are turned into paths.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Fault {
    pub code: &'static str,
    pub severity: Severity,
    pub message: String,
    pub labels: Vec<(Span, String)>,
    pub help: Option<String>,
}

impl Fault {
    pub fn new(code: &'static str, at: Span, message: impl Into<String>) -> Fault {
        Fault {
            code,
            severity: Severity::Error,
            message: message.into(),
            labels: vec![(at, String::new())],
            help: None,
        }
    }

    pub fn warning(mut self) -> Fault {
        self.severity = Severity::Warning;
        self
    }

    pub fn here(mut self, text: impl Into<String>) -> Fault {
        self.labels[0].1 = text.into();
        self
    }

    pub fn label(mut self, at: Span, text: impl Into<String>) -> Fault {
        self.labels.push((at, text.into()));
        self
    }

    pub fn help(mut self, text: impl Into<String>) -> Fault {
        self.help = Some(text.into());
        self
    }

    pub fn maybe_help(mut self, text: Option<String>) -> Fault {
        self.help = text.or(self.help);
        self
    }
}

/// More than this many are not listed: one broken file must not bury the others' faults.
pub(crate) const MOST_FAULTS: usize = 500;

impl Faults {
    pub fn push(&mut self, fault: Fault) {
        self.met += 1;
        if self.list.len() < MOST_FAULTS && !self.list.contains(&fault) {
            self.list.push(fault);
        }
    }

    pub fn has_errors(&self) -> bool {
        self.list.iter().any(|f| f.severity == Severity::Error)
    }

    /// Turns the faults into diagnostics, in order of file and place. Labels in other files become part of their text.
    pub fn finish(self, files: &[SourceFile]) -> Vec<Diagnostic> {
        let mut list = self.list;
        list.sort_by_key(|f| (f.labels[0].0, f.code));
        let path = |span: Span| files.get(span.file as usize).map_or("", |f| f.path.as_str());
        list.into_iter()
            .map(|fault| {
                let main = fault.labels[0].0;
                let mut message = fault.message;
                let mut labels = Vec::new();
                for (i, (span, text)) in fault.labels.into_iter().enumerate() {
                    if span.file == main.file {
                        labels.push(Label {
                            start: span.start as usize,
                            end: span.end as usize,
                            text,
                            primary: i == 0,
                        });
                    } else {
                        let source = files.get(span.file as usize).map_or("", |f| f.text.as_str());
                        let line = Place::of(source, span.start as usize).number;
                        message.push_str(&format!(" ({text}: {}:{line})", path(span)));
                    }
                }
                Diagnostic {
                    code: fault.code,
                    severity: fault.severity,
                    message,
                    file: path(main).to_owned(),
                    labels,
                    help: fault.help,
                }
            })
            .collect()
    }
}

/// The nearest of the known names, if one is near enough to be what was meant.
pub(crate) fn nearest<'a>(name: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let limit = (name.chars().count() / 3).max(1);
    known
        .into_iter()
        .filter(|k| *k != name)
        .map(|k| (distance(name, k), k))
        .filter(|(d, _)| *d <= limit)
        .min()
        .map(|(_, k)| k)
}

/// The help text for a name that is near a known one.
pub(crate) fn did_you_mean<'a>(name: &str, known: impl IntoIterator<Item = &'a str>) -> Option<String> {
    nearest(name, known).map(|k| format!("did you mean `{k}`?"))
}

/// Edits between two words, a swap of neighbours counting as one.
fn distance(a: &str, b: &str) -> usize {
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().take(64).collect(), b.chars().take(64).collect());
    let mut rows = vec![vec![0; b.len() + 1]; a.len() + 1];
    for i in 0..=a.len() {
        for j in 0..=b.len() {
            rows[i][j] = if i == 0 || j == 0 {
                i + j
            } else {
                let same = usize::from(a[i - 1] != b[j - 1]);
                let mut best = (rows[i - 1][j] + 1).min(rows[i][j - 1] + 1).min(rows[i - 1][j - 1] + same);
                if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                    best = best.min(rows[i - 2][j - 2] + 1);
                }
                best
            };
        }
    }
    rows[a.len()][b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn near_names_are_suggested_and_far_ones_are_not() {
        let known = ["tailpiece.length", "trap.size", "arm.slope"];
        assert_eq!(nearest("tailpeice.length", known), Some("tailpiece.length"));
        assert_eq!(nearest("trap.sise", known), Some("trap.size"));
        assert_eq!(nearest("heater", known), None);
    }

    #[test]
    fn the_caret_stands_under_the_fault() {
        let source = "first line\n  require tailpiece <= 24 gal\n";
        let start = source.find("24 gal").unwrap();
        let fault = Diagnostic {
            code: "E0203",
            severity: Severity::Error,
            message: "a length is compared with a volume".into(),
            file: "drainage.rules".into(),
            labels: vec![Label { start, end: start + 6, text: "volume".into(), primary: true }],
            help: Some("did you mean `24 in`?".into()),
        };
        let expected = "error[E0203]: a length is compared with a volume
 --> drainage.rules:2:24
  |
2 |   require tailpiece <= 24 gal
  |                        ^^^^^^ volume
  = help: did you mean `24 in`?
";
        assert_eq!(fault.render(source), expected);
    }
}
