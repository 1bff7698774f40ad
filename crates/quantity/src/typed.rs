//! What was typed, kept as typed.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::unit::{Unit, UnitError};

/// A number with a unit as a person typed it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Typed {
    /// The text exactly as typed.
    pub text: String,
    /// The number, in `unit`.
    pub number: f64,
    /// The unit, typed or expected.
    pub unit: Unit,
    /// One step of the last digit typed, in `unit`; for a fraction one part of its denominator.
    pub resolution: f64,
}

impl Typed {
    /// The number in another unit of the kind.
    ///
    /// # Errors
    /// [`UnitError::Kind`] when the kinds differ.
    pub fn value_in(&self, unit: Unit) -> Result<f64, UnitError> {
        self.unit.convert(self.number, unit)
    }

    /// One step of the last digit typed, in another unit of the kind.
    ///
    /// # Errors
    /// [`UnitError::Kind`] when the kinds differ.
    pub fn resolution_in(&self, unit: Unit) -> Result<f64, UnitError> {
        self.unit.convert_difference(self.resolution, unit)
    }
}

impl fmt::Display for Typed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.text)
    }
}

/// What is asked back when a text has more than one reading.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Question {
    /// The text exactly as typed.
    pub typed: String,
    /// The readings it could have, at least two, the smaller ones first.
    pub readings: Vec<Typed>,
    /// The sentence to ask.
    pub ask: String,
}

impl fmt::Display for Question {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.ask)
    }
}

/// The answer to a typed text: a value, or a question.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Reply {
    /// The text has one reading.
    Value(Typed),
    /// The text has two or more readings and nobody but the typist can say which.
    Question(Question),
}

impl Reply {
    /// The value, when there is one reading.
    #[must_use]
    pub const fn value(&self) -> Option<&Typed> {
        match self {
            Self::Value(typed) => Some(typed),
            Self::Question(_) => None,
        }
    }
}
