use std::cmp::Ordering;
use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Deserializer, Serialize};

/// The name of an entry: the first 16 hex digits of the writing actor, a full stop, and a counter in base 36.
///
/// Ordered by actor, then by counter as a number, so that one session's entries sort as they were made.
#[derive(Clone, PartialEq, Eq, Hash, Serialize)]
#[serde(transparent)]
pub struct EntryId(String);

/// Why a text is not the name of an entry.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{text}` is not the name of an entry: it is 16 hex digits, a full stop and a count in base 36")]
pub struct EntryIdError {
    /// What was given, shortened.
    pub text: String,
}

/// Hex digits of the actor in front of the full stop.
pub(crate) const PREFIX: usize = 16;

impl EntryId {
    /// The name of the entry with number `counter` of a session.
    pub fn new(actor: &[u8], counter: u64) -> EntryId {
        EntryId(format!("{}.{}", prefix_of(actor), base36(counter)))
    }

    /// The whole name.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// The writing session: the first 16 hex digits of its actor id.
    pub fn prefix(&self) -> &str {
        &self.0[..PREFIX]
    }

    /// The number within the session; 0 is the session entry.
    pub fn counter(&self) -> u64 {
        u64::from_str_radix(&self.0[PREFIX + 1..], 36).unwrap_or(u64::MAX)
    }
}

/// The first 16 hex digits of an actor id; a shorter actor is filled up with zeros.
pub(crate) fn prefix_of(actor: &[u8]) -> String {
    let mut hex = hex::encode(&actor[..actor.len().min(PREFIX / 2)]);
    while hex.len() < PREFIX {
        hex.push('0');
    }
    hex
}

fn base36(mut n: u64) -> String {
    let mut digits = Vec::new();
    loop {
        digits.push(char::from_digit((n % 36) as u32, 36).unwrap_or('0'));
        n /= 36;
        if n == 0 {
            break digits.into_iter().rev().collect();
        }
    }
}

impl FromStr for EntryId {
    type Err = EntryIdError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let lower = |b: u8| b.is_ascii_digit() || b.is_ascii_lowercase();
        let bytes = text.as_bytes();
        let good = bytes.len() > PREFIX + 1
            && bytes.len() <= PREFIX + 1 + 12
            && bytes[..PREFIX].iter().all(|&b| b.is_ascii_digit() || (b'a'..=b'f').contains(&b))
            && bytes[PREFIX] == b'.'
            && bytes[PREFIX + 1..].iter().all(|&b| lower(b))
            // One number has one name, or two entries could look like one.
            && (bytes[PREFIX + 1] != b'0' || bytes.len() == PREFIX + 2);
        if good {
            Ok(EntryId(text.to_owned()))
        } else {
            Err(EntryIdError { text: text.chars().take(40).collect() })
        }
    }
}

impl fmt::Display for EntryId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl fmt::Debug for EntryId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl PartialOrd for EntryId {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for EntryId {
    fn cmp(&self, other: &Self) -> Ordering {
        let (a, b) = (self.0.as_bytes(), other.0.as_bytes());
        // Of two counters without leading zeros the longer one is the larger one.
        a[..PREFIX].cmp(&b[..PREFIX]).then(a.len().cmp(&b.len())).then_with(|| a.cmp(b))
    }
}

impl<'de> Deserialize<'de> for EntryId {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        String::deserialize(deserializer)?.parse().map_err(serde::de::Error::custom)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn names_read_back_and_sort_as_counted(actor: [u8; 16], a in 0u64..1 << 40, b in 0u64..1 << 40) {
            let (x, y) = (EntryId::new(&actor, a), EntryId::new(&actor, b));
            prop_assert_eq!(x.as_str().parse::<EntryId>().unwrap(), x.clone());
            prop_assert_eq!(x.counter(), a);
            prop_assert_eq!(x.prefix(), hex::encode(&actor[..8]));
            prop_assert_eq!(x.cmp(&y), a.cmp(&b));
        }
    }

    #[test]
    fn other_texts_are_refused() {
        for text in [
            "",
            "0011223344556677",
            "0011223344556677.",
            "001122334455667.1",
            "0011223344556677.01",
            "0011223344556677.A",
            "001122334455667g.1",
            "0011223344556677.1/..",
            "0011223344556677.1234567890123",
        ] {
            assert!(text.parse::<EntryId>().is_err(), "{text}");
        }
    }
}
