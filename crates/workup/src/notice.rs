//! Notices: complaints about the record that stand beside the result and never stop it.

use serde::Serialize;

/// A complaint about the record.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Notice {
    /// A short fixed code, so that a notice can be looked up.
    pub code: String,
    /// What it is about: an entry, a place, a figure.
    pub about: String,
    /// What is odd.
    pub message: String,
    /// What to do.
    pub what_to_do: String,
}

/// The codes of notices on readings that count for nothing because they cannot be true.
pub(crate) const CANNOT_BE_TRUE: [&str; 2] = ["cannot-be-true", "cannot-all-be-true"];

impl Notice {
    /// Whether it names readings that count for nothing until one of them is put right.
    #[must_use]
    pub fn sets_aside(&self) -> bool {
        CANNOT_BE_TRUE.contains(&self.code.as_str())
    }

    /// A notice from its four parts.
    #[must_use]
    pub fn new(code: &str, about: &str, message: impl Into<String>, what_to_do: &str) -> Self {
        Self {
            code: code.to_owned(),
            about: about.to_owned(),
            message: message.into(),
            what_to_do: what_to_do.to_owned(),
        }
    }
}
