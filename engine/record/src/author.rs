use serde::{Deserialize, Serialize};

/// Who acts, in which role, on which device. Every session begins by writing it down.
#[derive(Debug, Clone, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct Author {
    /// The account's name, unique within the agency.
    pub user: String,
    /// The person's name as a notice shows it.
    pub name: String,
    /// `inspector`, `supervisor`, `clerk`, `administrator`, or `server` for what the server itself writes.
    pub role: String,
    /// The device's name as people know it.
    pub device: String,
}

impl Author {
    /// Whether this role may write what was found on site. A clerk and an administrator keep the file, they do not
    /// inspect; the server only imports.
    pub fn inspects(&self) -> bool {
        matches!(self.role.as_str(), "inspector" | "supervisor")
    }
}
