//! Numbering: what each cylinder is called on paper and on screen, from which end one counts, and which end is the front.
//!
//! Inside, cylinders are always 1 to n, bank `A` first, each bank in bore order from the end the layout counts from. What
//! people read may differ, because makers differ; the mapping is kept here.
//!
//! ISO 1204:1990 [from memory, the text of the standard was not opened: the observer faces the driving end, counts the
//! cylinders from there, and calls the left bank `A`]. Its scope leaves out engines that propel road vehicles, tractors and
//! aircraft \[published: ISO 1204:1990, scope, read in a standards seller's summary\]; makers of road vehicles mostly count
//! from the free end \[common practice\]. So the end counted from is always kept and always printed.

use serde::{Deserialize, Serialize};

use crate::words::vocabulary;

vocabulary! {
    /// One of the two ends of a crankshaft.
    End {
        /// The end that gives power away: flywheel, coupling.
        Driving = "driving-end",
        /// The other end, mostly with the timing drive and the belt pulley.
        Free = "free-end",
    }
}

impl End {
    /// Gives the words to print for this end.
    #[must_use]
    pub fn plain(self) -> &'static str {
        match self {
            End::Driving => "the driving (flywheel) end",
            End::Free => "the free end (opposite the flywheel)",
        }
    }
}

/// How cylinders are named, and from which end they are counted.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, Default)]
#[serde(tag = "by", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Numbering {
    /// After ISO 1204 \[from memory\]: from the driving end; `1, 2, …` in one bank, `A1, A2, … B1, B2, …` in two.
    #[default]
    #[serde(rename = "iso-1204")]
    Iso1204,
    /// From the free end, bank after bank, plain numbers.
    FromFreeEnd,
    /// The maker's own names.
    Maker {
        /// One name for each cylinder: bank `A` in bore order from `first_end`, then bank `B`.
        cylinder_names: Vec<String>,
        /// The end from which both banks are counted.
        first_end: End,
        /// The maker's names of the banks, when he has any.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        bank_names: Vec<String>,
        /// Where this was read.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        document: Option<String>,
    },
}

impl Numbering {
    /// Gives the end from which cylinders and main bearings are counted.
    #[must_use]
    pub fn first_end(&self) -> End {
        match self {
            Numbering::Iso1204 => End::Driving,
            Numbering::FromFreeEnd => End::Free,
            Numbering::Maker { first_end, .. } => *first_end,
        }
    }
}
