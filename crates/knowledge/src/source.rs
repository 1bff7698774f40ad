//! Where a figure of the trade comes from.
//!
//! Every table of the knowledge files carries one [`Source`]; its rank is printed wherever the figure is shown.

use serde::{Deserialize, Serialize};
use std::fmt;

/// How a figure came to be known, best rank first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SourceKind {
    /// Printed somewhere that can be opened again; the `ref` names it.
    Published,
    /// Done alike in most shops, without one text to point at.
    CommonPractice,
    /// Asked of people, with a spread; the note says how many and in what role.
    Elicited,
    /// Judgement of the writer, to be replaced.
    FromMemory,
}

impl SourceKind {
    /// All of them, what people ought to replace first.
    pub const ALL: [Self; 4] = [Self::FromMemory, Self::Elicited, Self::CommonPractice, Self::Published];

    /// The word that the files use.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Published => "published",
            Self::CommonPractice => "common-practice",
            Self::Elicited => "elicited",
            Self::FromMemory => "from-memory",
        }
    }

    /// The kind in the words shown to a reader.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Published => "published",
            Self::CommonPractice => "common practice",
            Self::Elicited => "elicited",
            Self::FromMemory => "from memory",
        }
    }
}

impl fmt::Display for SourceKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.words())
    }
}

/// The source tag of one fact: `source = { kind = "published", ref = "AC43", at = "para 8-14" }`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Source {
    /// How the figure came to be known.
    pub kind: SourceKind,
    /// Id of an entry in `sources/`; a published figure has one.
    #[serde(rename = "ref", default, skip_serializing_if = "Option::is_none")]
    pub reference: Option<String>,
    /// The place inside the source: page, paragraph, table, row.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at: Option<String>,
    /// What a reader ought to know before leaning on it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

impl fmt::Display for Source {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.kind)?;
        for part in [&self.reference, &self.at, &self.note].into_iter().flatten() {
            write!(f, ", {part}")?;
        }
        Ok(())
    }
}
