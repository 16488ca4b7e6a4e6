//! One entry of a record: its JSON text, and the limits of what may stand in it.

use std::borrow::Cow;

use serde::{Deserialize, Serialize};

use crate::entry_id::EntryId;

/// The longest JSON text of one entry, in bytes. Photos and drawings are stored beside the record, not in it.
pub const MAX_ENTRY_BYTES: usize = 32 * 1024;

/// The longest word of a vocabulary (kind, fact, stage, disposition), in characters.
const MAX_WORD: usize = 100;
/// The longest name, address, value or reason, in characters.
const MAX_LINE: usize = 1_000;
/// The longest running text, in characters.
const MAX_TEXT: usize = 8_000;
/// The most entries that one entry replaces, and the most heads that a notice names.
const MAX_NAMED: usize = 256;
/// The most earlier visits that a job brings with it.
const MAX_HISTORY: usize = 200;

/// How a value is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum How {
    /// Looked at.
    Seen,
    /// Measured with a tool.
    Measured,
    /// Read from the approved plans.
    Plans,
    /// Told by a person on site.
    Told,
}

impl How {
    /// The word in entries and job files.
    pub fn word(self) -> &'static str {
        match self {
            How::Seen => "seen",
            How::Measured => "measured",
            How::Plans => "plans",
            How::Told => "told",
        }
    }

    /// How a person reads it: `measured`, `from plans`.
    pub fn label(self) -> &'static str {
        match self {
            How::Plans => "from plans",
            other => other.word(),
        }
    }

    /// Reads the word.
    pub fn from_word(word: &str) -> Option<How> {
        [How::Seen, How::Measured, How::Plans, How::Told].into_iter().find(|how| how.word() == word)
    }
}

/// What kept a visit from being held.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Hindrance {
    /// The work was not ready for the inspection.
    NotReady,
    /// Nobody let the inspector in.
    NoAccess,
}

impl Hindrance {
    /// The word in entries.
    pub fn word(self) -> &'static str {
        match self {
            Hindrance::NotReady => "not_ready",
            Hindrance::NoAccess => "no_access",
        }
    }

    /// Reads the word.
    pub fn from_word(word: &str) -> Option<Hindrance> {
        [Hindrance::NotReady, Hindrance::NoAccess].into_iter().find(|what| what.word() == word)
    }
}

/// What identifies a job and chooses the law that binds it.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct JobHeader {
    /// The permit's number.
    pub permit: String,
    /// The address of the site.
    pub address: String,
    /// What the permit covers.
    #[serde(default)]
    pub scope: String,
    /// Who does the work.
    #[serde(default)]
    pub contractor: String,
    /// The id of the adoption.
    pub adoption: String,
    /// The day the permit was applied for, `2026-03-02`: it chooses the law.
    pub applied_on: String,
    /// The agency that keeps the record.
    #[serde(default)]
    pub agency: String,
    /// Earlier visits of this permit, oldest first, from before this record began.
    #[serde(default)]
    pub history: Vec<PastVisit>,
}

/// A visit from before the record began.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PastVisit {
    /// The day, `2026-03-02`.
    pub on: String,
    /// The stage.
    pub stage: String,
    /// What came of it.
    pub disposition: String,
    /// Who held it.
    #[serde(default)]
    pub by: String,
    /// What was said.
    #[serde(default)]
    pub words: String,
}

/// A visit of a stage on a day.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Visit {
    /// The stage, such as `rough`.
    pub stage: String,
    /// The day, `2026-11-25`.
    pub on: String,
}

/// What an entry says, without who and when.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Body {
    Session(SessionBody),
    Job(JobBody),
    Visit(VisitBody),
    Subject(SubjectBody),
    Name(NameBody),
    Strike(StrikeBody),
    Seen(SeenBody),
    All(AllBody),
    Photo(PhotoBody),
    Words(WordsBody),
    Hinder(HinderBody),
    Open(OpenBody),
    Notice(NoticeBody),
}

/// Defines the body of an entry type: plain fields, unknown ones ignored so that a later version may add some.
macro_rules! body {
    ($name:ident { $($(#[$meta:meta])* $field:ident: $type:ty),* $(,)? }) => {
        #[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
        pub(crate) struct $name { $($(#[$meta])* pub(crate) $field: $type),* }
    };
}

body!(SessionBody { user: String, name: String, role: String, device: String, actor: String });
body!(JobBody { #[serde(flatten)] header: JobHeader, #[serde(default)] after: Vec<EntryId> });
body!(VisitBody { #[serde(flatten)] visit: Visit, #[serde(default)] after: Vec<EntryId> });
body!(SubjectBody {
    kind: String,
    name: String,
    #[serde(rename = "in", default, skip_serializing_if = "Option::is_none")]
    parent: Option<EntryId>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    copied_from: Option<EntryId>,
});
body!(NameBody { of: EntryId, name: String, #[serde(default)] after: Vec<EntryId> });
body!(StrikeBody { of: EntryId, why: String });
body!(SeenBody {
    subject: EntryId,
    fact: String,
    value: Option<String>,
    how: How,
    #[serde(default)]
    note: String,
    #[serde(default)]
    after: Vec<EntryId>,
});
body!(AllBody { subject: EntryId, kind: String, all: bool, #[serde(default)] after: Vec<EntryId> });
body!(PhotoBody {
    subject: EntryId,
    sha256: String,
    bytes: u64,
    #[serde(default)]
    caption: String
});
body!(WordsBody {
    text: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    provision: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    subject: Option<EntryId>,
});
body!(HinderBody { visit: EntryId, what: Hindrance, why: String, #[serde(default)] after: Vec<EntryId> });
body!(OpenBody { visit: EntryId, place: EntryId, why: String, #[serde(default)] after: Vec<EntryId> });
body!(NoticeBody { visit: EntryId, disposition: String, heads: Vec<String>, digest: String, received_by: String });

/// What an entry says, and when by the device's clock.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Entry {
    pub(crate) at_ms: i64,
    pub(crate) body: Body,
}

/// Why an entry cannot be taken.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub(crate) enum EntryFault {
    #[error("it has {bytes} bytes, at most {MAX_ENTRY_BYTES} are allowed")]
    TooLarge { bytes: usize },
    #[error("it is not an entry: {message}")]
    NotAnEntry { message: String },
    #[error("its type `{word}` is not known to this version of the program")]
    UnknownType { word: String },
    #[error("its `{field}` {problem}")]
    BadField { field: &'static str, problem: String },
}

#[derive(Deserialize)]
struct Head<'a> {
    #[serde(borrow)]
    t: Cow<'a, str>,
    at: i64,
}

#[derive(Serialize)]
struct Written<'a, T: Serialize> {
    t: &'static str,
    at: i64,
    #[serde(flatten)]
    body: &'a T,
}

impl Body {
    /// The entry's type word.
    pub(crate) fn word(&self) -> &'static str {
        match self {
            Body::Session(_) => "session",
            Body::Job(_) => "job",
            Body::Visit(_) => "visit",
            Body::Subject(_) => "subject",
            Body::Name(_) => "name",
            Body::Strike(_) => "strike",
            Body::Seen(_) => "seen",
            Body::All(_) => "all",
            Body::Photo(_) => "photo",
            Body::Words(_) => "words",
            Body::Hinder(_) => "hinder",
            Body::Open(_) => "open",
            Body::Notice(_) => "notice",
        }
    }

    /// Whether this says something about the site, which only those who inspect may write.
    pub(crate) fn is_finding(&self) -> bool {
        !matches!(self, Body::Session(_) | Body::Job(_))
    }
}

impl Entry {
    /// Reads the JSON text of an entry and checks its shape.
    pub(crate) fn parse(text: &str) -> Result<Entry, EntryFault> {
        if text.len() > MAX_ENTRY_BYTES {
            return Err(EntryFault::TooLarge { bytes: text.len() });
        }
        fn read<'a, T: Deserialize<'a>>(text: &'a str) -> Result<T, EntryFault> {
            serde_json::from_str(text).map_err(|error| EntryFault::NotAnEntry { message: error.to_string() })
        }
        let head: Head<'_> = read(text)?;
        let body = match &*head.t {
            "session" => Body::Session(read(text)?),
            "job" => Body::Job(read(text)?),
            "visit" => Body::Visit(read(text)?),
            "subject" => Body::Subject(read(text)?),
            "name" => Body::Name(read(text)?),
            "strike" => Body::Strike(read(text)?),
            "seen" => Body::Seen(read(text)?),
            "all" => Body::All(read(text)?),
            "photo" => Body::Photo(read(text)?),
            "words" => Body::Words(read(text)?),
            "hinder" => Body::Hinder(read(text)?),
            "open" => Body::Open(read(text)?),
            "notice" => Body::Notice(read(text)?),
            other => return Err(EntryFault::UnknownType { word: other.chars().take(40).collect() }),
        };
        let entry = Entry { at_ms: head.at, body };
        entry.check()?;
        Ok(entry)
    }

    /// Writes the JSON text.
    pub(crate) fn text(&self) -> String {
        fn write<T: Serialize>(t: &'static str, at: i64, body: &T) -> String {
            // A struct of strings, numbers and lists always has a JSON text.
            serde_json::to_string(&Written { t, at, body }).unwrap_or_default()
        }
        let (t, at) = (self.body.word(), self.at_ms);
        match &self.body {
            Body::Session(body) => write(t, at, body),
            Body::Job(body) => write(t, at, body),
            Body::Visit(body) => write(t, at, body),
            Body::Subject(body) => write(t, at, body),
            Body::Name(body) => write(t, at, body),
            Body::Strike(body) => write(t, at, body),
            Body::Seen(body) => write(t, at, body),
            Body::All(body) => write(t, at, body),
            Body::Photo(body) => write(t, at, body),
            Body::Words(body) => write(t, at, body),
            Body::Hinder(body) => write(t, at, body),
            Body::Open(body) => write(t, at, body),
            Body::Notice(body) => write(t, at, body),
        }
    }

    /// Checks the fields' own shapes; what they refer to is the concern of [`crate::JobState`].
    pub(crate) fn check(&self) -> Result<(), EntryFault> {
        match &self.body {
            Body::Session(b) => {
                word("user", &b.user)?;
                line("name", &b.name)?;
                word("role", &b.role)?;
                line("device", &b.device)?;
                let hex = b.actor.bytes().all(|c| c.is_ascii_digit() || (b'a'..=b'f').contains(&c));
                if !hex || b.actor.len() < 16 || b.actor.len() > 128 {
                    return bad("actor", "is not an actor id in hex");
                }
            }
            Body::Job(b) => {
                let h = &b.header;
                filled("permit", &h.permit)?;
                filled("address", &h.address)?;
                line("scope", &h.scope)?;
                line("contractor", &h.contractor)?;
                word("adoption", &h.adoption)?;
                date("applied_on", &h.applied_on)?;
                line("agency", &h.agency)?;
                if h.history.len() > MAX_HISTORY {
                    return bad(
                        "history",
                        format!("lists {} visits, at most {MAX_HISTORY}", h.history.len()),
                    );
                }
                for past in &h.history {
                    date("history.on", &past.on)?;
                    word("history.stage", &past.stage)?;
                    word("history.disposition", &past.disposition)?;
                    line("history.by", &past.by)?;
                    text("history.words", &past.words)?;
                }
                named("after", b.after.len())?;
            }
            Body::Visit(b) => {
                word("stage", &b.visit.stage)?;
                date("on", &b.visit.on)?;
                named("after", b.after.len())?;
            }
            Body::Subject(b) => {
                word("kind", &b.kind)?;
                filled("name", &b.name)?;
            }
            Body::Name(b) => {
                filled("name", &b.name)?;
                named("after", b.after.len())?;
            }
            Body::Strike(b) => line("why", &b.why)?,
            Body::Seen(b) => {
                word("fact", &b.fact)?;
                if let Some(value) = &b.value {
                    filled("value", value)?;
                }
                text("note", &b.note)?;
                named("after", b.after.len())?;
            }
            Body::All(b) => {
                word("kind", &b.kind)?;
                named("after", b.after.len())?;
            }
            Body::Photo(b) => {
                digest("sha256", &b.sha256)?;
                line("caption", &b.caption)?;
            }
            Body::Words(b) => {
                text("text", &b.text)?;
                if b.text.trim().is_empty() {
                    return bad("text", "is empty");
                }
                if let Some(provision) = &b.provision {
                    word("provision", provision)?;
                }
            }
            Body::Hinder(b) => {
                line("why", &b.why)?;
                named("after", b.after.len())?;
            }
            Body::Open(b) => {
                line("why", &b.why)?;
                named("after", b.after.len())?;
            }
            Body::Notice(b) => {
                word("disposition", &b.disposition)?;
                named("heads", b.heads.len())?;
                for head in &b.heads {
                    digest("heads", head)?;
                }
                if !b.digest.is_empty() {
                    digest("digest", &b.digest)?;
                }
                line("received_by", &b.received_by)?;
            }
        }
        Ok(())
    }
}

fn bad<T>(field: &'static str, problem: impl Into<String>) -> Result<T, EntryFault> {
    Err(EntryFault::BadField { field, problem: problem.into() })
}

fn at_most(field: &'static str, value: &str, most: usize) -> Result<(), EntryFault> {
    // Bytes bound characters from above: most texts are settled without counting.
    if value.len() > most && value.chars().count() > most {
        return bad(field, format!("is longer than {most} characters"));
    }
    Ok(())
}

fn text(field: &'static str, value: &str) -> Result<(), EntryFault> {
    at_most(field, value, MAX_TEXT)
}

fn line(field: &'static str, value: &str) -> Result<(), EntryFault> {
    at_most(field, value, MAX_LINE)
}

fn filled(field: &'static str, value: &str) -> Result<(), EntryFault> {
    if value.trim().is_empty() {
        return bad(field, "is empty");
    }
    line(field, value)
}

fn word(field: &'static str, value: &str) -> Result<(), EntryFault> {
    if value.trim().is_empty() {
        return bad(field, "is empty");
    }
    if value.chars().any(char::is_control) {
        return bad(field, "contains a control character");
    }
    at_most(field, value, MAX_WORD)
}

fn named(field: &'static str, count: usize) -> Result<(), EntryFault> {
    if count > MAX_NAMED {
        return bad(field, format!("names {count} entries, at most {MAX_NAMED}"));
    }
    Ok(())
}

fn digest(field: &'static str, value: &str) -> Result<(), EntryFault> {
    let hex = value.bytes().all(|c| c.is_ascii_digit() || (b'a'..=b'f').contains(&c));
    if value.len() == 64 && hex { Ok(()) } else { bad(field, "is not a SHA-256 in 64 lower-case hex digits") }
}

fn date(field: &'static str, value: &str) -> Result<(), EntryFault> {
    if is_date(value) { Ok(()) } else { bad(field, "is not a day written like 2026-03-02") }
}

/// Whether a text is a day of the calendar, `2026-03-02`.
pub(crate) fn is_date(value: &str) -> bool {
    let bytes = value.as_bytes();
    let shape = bytes.len() == 10
        && bytes
            .iter()
            .enumerate()
            .all(|(i, b)| if i == 4 || i == 7 { *b == b'-' } else { b.is_ascii_digit() });
    if !shape {
        return false;
    }
    let number = |range: std::ops::Range<usize>| value[range].parse::<u32>().unwrap_or(0);
    let (year, month, day) = (number(0..4), number(5..7), number(8..10));
    let leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
    let days = match month {
        1 | 3 | 5 | 7 | 8 | 10 | 12 => 31,
        4 | 6 | 9 | 11 => 30,
        2 if leap => 29,
        2 => 28,
        _ => 0,
    };
    (1..=days).contains(&day)
}
