//! What can be wrong with what was typed for a calculator.

use quantity::{ParseError, Question};
use thiserror::Error;

/// Why a calculator gives no answer; every message names the key, what was typed and the next move.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum CalcError {
    /// No calculator has this name.
    #[error("no calculator is called {name:?}; {suggestion}")]
    UnknownCalculator {
        /// What was typed.
        name: String,
        /// The nearest name, or where to find the list.
        suggestion: String,
    },
    /// The calculator has no such key.
    #[error("{calculator} has no key {key:?} (typed {key}={typed}); its keys are {known}")]
    UnknownKey {
        /// The calculator.
        calculator: &'static str,
        /// The key typed.
        key: String,
        /// The value typed.
        typed: String,
        /// The keys it has.
        known: String,
    },
    /// A key was given twice.
    #[error("{key} was given twice, as {first:?} and as {second:?}; keep one of them")]
    Twice {
        /// The key.
        key: String,
        /// The first text.
        first: String,
        /// The second text.
        second: String,
    },
    /// A needed key is missing.
    #[error("{calculator} needs {key} ({meaning}); add {key}={example}")]
    MissingKey {
        /// The calculator.
        calculator: &'static str,
        /// The key.
        key: &'static str,
        /// What it means.
        meaning: &'static str,
        /// A value to type, as a pattern.
        example: String,
    },
    /// The unit is of another kind, or is missing where values are compared.
    #[error("{key}: {problem}")]
    WrongUnit {
        /// The key.
        key: String,
        /// What was typed.
        typed: String,
        /// What is wrong and what to type.
        problem: String,
    },
    /// The typed value has more than one reading.
    #[error("{key}: {}; type it so that only one reading is left", question.ask)]
    Ambiguous {
        /// The key.
        key: String,
        /// The question with its readings.
        question: Box<Question>,
    },
    /// The typed value cannot be read.
    #[error("{key}: {problem}")]
    NotRead {
        /// The key.
        key: String,
        /// What was typed.
        typed: String,
        /// The reader's own complaint.
        problem: Box<ParseError>,
    },
    /// The value is read but makes no sense here.
    #[error("{key}={typed} {why}")]
    OutOfDomain {
        /// The key.
        key: String,
        /// What was typed.
        typed: String,
        /// Why not, and the next move.
        why: String,
    },
    /// A table cannot be read.
    #[error("{key}, row {row}, column {column}: {typed:?} {why}")]
    BadTable {
        /// The key.
        key: String,
        /// Row, counted from 1 without headings.
        row: usize,
        /// Column, counted from 1.
        column: usize,
        /// What stands there.
        typed: String,
        /// What is wrong and what to do.
        why: String,
    },
    /// The values given do not go together.
    #[error("{calculator}: {why}")]
    DoNotGoTogether {
        /// The calculator.
        calculator: &'static str,
        /// What is wrong and what to do.
        why: String,
    },
}

impl CalcError {
    /// The key that is to be put right, where one is.
    #[must_use]
    pub fn key(&self) -> Option<&str> {
        match self {
            Self::UnknownKey { key, .. }
            | Self::Twice { key, .. }
            | Self::WrongUnit { key, .. }
            | Self::Ambiguous { key, .. }
            | Self::NotRead { key, .. }
            | Self::OutOfDomain { key, .. }
            | Self::BadTable { key, .. } => Some(key),
            Self::MissingKey { key, .. } => Some(key),
            Self::UnknownCalculator { .. } | Self::DoNotGoTogether { .. } => None,
        }
    }
}
