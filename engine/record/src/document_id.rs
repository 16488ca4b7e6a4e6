use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// The name of a job document: 16 bytes, written in base58check exactly as automerge-repo writes them, so that its
/// clients name our jobs.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct DocumentId(pub [u8; 16]);

/// Why a text is not the name of a document.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum DocumentIdError {
    /// The text is not base58 or its check digits are wrong.
    #[error("`{text}` is not the name of a job: a character is wrong or missing; copy it again in full")]
    NotBase58Check {
        /// What was given.
        text: String,
    },
    /// The check digits are right but the length is not that of a document.
    #[error("`{text}` names {length} bytes, a job is named by 16")]
    WrongLength {
        /// What was given.
        text: String,
        /// How many bytes it stands for.
        length: usize,
    },
}

/// No document's name is longer in base58check; longer texts are refused unread.
const LONGEST: usize = 64;

impl fmt::Display for DocumentId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&bs58::encode(self.0).with_check().into_string())
    }
}

impl fmt::Debug for DocumentId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "DocumentId({self})")
    }
}

impl FromStr for DocumentId {
    type Err = DocumentIdError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let shown = || text.chars().take(LONGEST).collect::<String>();
        if text.len() > LONGEST {
            return Err(DocumentIdError::NotBase58Check { text: shown() });
        }
        let bytes = bs58::decode(text)
            .with_check(None)
            .into_vec()
            .map_err(|_| DocumentIdError::NotBase58Check { text: shown() })?;
        let length = bytes.len();
        bytes.try_into().map(DocumentId).map_err(|_| DocumentIdError::WrongLength { text: shown(), length })
    }
}

impl Serialize for DocumentId {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for DocumentId {
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
        fn every_id_reads_back(bytes: [u8; 16]) {
            let id = DocumentId(bytes);
            prop_assert_eq!(id.to_string().parse::<DocumentId>(), Ok(id));
        }

        #[test]
        fn one_changed_character_is_refused(bytes: [u8; 16], at: prop::sample::Index) {
            let text = DocumentId(bytes).to_string();
            let at = at.index(text.len());
            let other = if &text[at..=at] == "z" { "y" } else { "z" };
            let changed = format!("{}{other}{}", &text[..at], &text[at + 1..]);
            prop_assert!(changed.parse::<DocumentId>().is_err());
        }

        #[test]
        fn any_text_is_answered(text: String) {
            let _ = text.parse::<DocumentId>();
        }
    }

    #[test]
    fn name_is_that_of_automerge_repo() {
        // What `stringifyAutomergeUrl` of automerge-repo 2.5.6 makes of these bytes, without `automerge:`.
        let bytes: [u8; 16] = std::array::from_fn(|i| u8::try_from(i).unwrap());
        assert_eq!(DocumentId(bytes).to_string(), "1Bhh3pU9gLXZiNDL6PEa1Gs9fh");
    }

    #[test]
    fn wrong_length_is_named() {
        let text = bs58::encode([1u8; 15]).with_check().into_string();
        assert_eq!(
            text.parse::<DocumentId>().unwrap_err().to_string(),
            format!("`{text}` names 15 bytes, a job is named by 16")
        );
    }
}
