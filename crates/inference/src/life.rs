//! How long parts last: what records say about a mode of failing, and what that means for a part of a given age.
//!
//! A **mode** is one way in which a part can fail; its life follows a Weibull law whose shape and scale are not known.
//! What comes in: a [`LifePrior`] that somebody with experience can state, and a [`History`] of [`Record`]s. What goes
//! out: a [`LifePosterior`], or a [`Fit`] without prior; from either the chance that a part lasts further, and from
//! several modes an [`Outlook`].
//!
//! Modules in reading order: `weibull` has the laws, `history` the records and their sums, `bins` the sums of very
//! many records, `fit` the greatest likelihood, `prior` and `posterior` what is believed, `outlook` several modes at
//! once, `trials` what follows when nothing failed.
//!
//! # Where records deceive
//!
//! - A part that survived enters the record only when it comes back. [`Watch::Since`] must be the age at which the
//!   keeper of the record began to watch it: its first visit, not its sale. Left out, the shape comes out too steep and
//!   the life too long. Who does not know it says [`Watch::Unknown`] and is refused.
//! - A part renewed at an unknown age of the whole has an age between two bounds ([`Seen::FailedBetween`]); the age of
//!   the whole is not the age of the part.
//! - Several parts of one mode in one whole share their treatment. They are not independent records; take one of
//!   them, or the first that failed.
//! - A shape below one is more often a mixture of good and bad batches than early trouble ([`Caution::ShapeBelowOne`]).
//! - The survival of the very part that is asked about belongs either into the records or into the age it is asked
//!   with, not into both.
//! - With few failures the shape is the prior's ([`Caution::ShapeIsThePriors`]).
//! - Travel is not the only clock; see [`Clock`].
//! - A part that was mistreated or recalled is not one of those in the record. Its survival so far does not speak for
//!   it as it does for the others; give it a strain of its own ([`Mode::strain`]).

mod bins;
mod fit;
mod history;
mod outlook;
mod posterior;
mod prior;
mod surface;
mod trials;
mod weibull;

pub use fit::{Fit, fit_lognormal};
pub use history::{History, Record, Seen, Watch};
pub use outlook::{Clock, Clocks, Frailty, Lives, Mode, Outlook, Part, outlook};
pub use posterior::{LifePosterior, Moments, Nodes, Peak};
pub use prior::{Belief, LifePrior};
pub use trials::{failing_share_at_most, trials_needed};
pub use weibull::{Lognormal, Weibull};

/// How many failures it takes before the records begin to speak about the shape \[ours\].
pub const FEW_FAILURES: u64 = 5;

/// What a reader of an answer must be told beside it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Caution {
    /// Fewer than [`FEW_FAILURES`] failures: the shape is the prior's, or without one little better than a guess.
    ShapeIsThePriors {
        /// How many failures there were, those between two ages included.
        failures: u64,
    },
    /// The shape lies below one: look for good and bad batches in one record before believing in early trouble.
    ShapeBelowOne,
}

impl Caution {
    /// The caution in words, with the next move.
    #[must_use]
    pub fn in_words(&self) -> String {
        match self {
            Self::ShapeIsThePriors { failures } => format!(
                "{failures} failures in the records: the shape is the prior's; record failures until there are {FEW_FAILURES}"
            ),
            Self::ShapeBelowOne => {
                "the shape lies below one: sort the records by batch before reading this as early trouble".to_owned()
            }
        }
    }
}

/// The cautions that belong to an answer.
fn cautions(failures: u64, shape: f64) -> Vec<Caution> {
    let few = (failures < FEW_FAILURES).then_some(Caution::ShapeIsThePriors { failures });
    few.into_iter().chain((shape < 1.0).then_some(Caution::ShapeBelowOne)).collect()
}

/// Why a question about lives was refused.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum LifeError {
    /// A number that must be above nought is not.
    #[error("the {what} is {value}, but must be a number above nought; correct it")]
    NotPositive {
        /// What the number is.
        what: String,
        /// The number.
        value: f64,
    },
    /// An age or a span of time below nought, or none.
    #[error("the {what} is {value}, but must be nought or more; correct it")]
    Negative {
        /// What the number is.
        what: String,
        /// The number.
        value: f64,
    },
    /// The ages of a record do not follow one another.
    #[error(
        "record {record} (counted from 0) has ages that do not follow one another: watched from {entered}, {seen}; the part must be watched before that, so correct the ages"
    )]
    Ages {
        /// Which record.
        record: usize,
        /// The age at which watching began.
        entered: f64,
        /// What was seen, in words.
        seen: String,
    },
    /// Nobody knows since when a part was watched.
    #[error(
        "record {record} (counted from 0) does not say since when the part was watched; give its age at the first visit, or leave the record out, for survivors enter a record only by coming back"
    )]
    EntryUnknown {
        /// Which record.
        record: usize,
    },
    /// The columns of a table have different lengths.
    #[error(
        "the columns have {ages} ages, {failed} marks of failing and {entered} ages at entry; give one of each per record"
    )]
    Columns {
        /// Ages.
        ages: usize,
        /// Marks.
        failed: usize,
        /// Entries.
        entered: usize,
    },
    /// Nothing failed, so that without a prior nothing follows.
    #[error(
        "none of the {records} records is a failure, so that they set no life; state a prior, or use the bound for trials without failure"
    )]
    NoFailures {
        /// How many records.
        records: u64,
    },
    /// The likelihood has no highest point.
    #[error("the records allow ever {direction} shapes without end; state a prior or give more failures at other ages")]
    NoHighest {
        /// `steeper` or `flatter`.
        direction: &'static str,
    },
    /// The 10 % life is not below the 50 % life.
    #[error("the 10 % life {tenth} is not below the 50 % life {half}; exchange or correct them")]
    LivesOutOfStep {
        /// The 10 % life.
        tenth: f64,
        /// The 50 % life.
        half: f64,
    },
    /// A factor of doubt must lie above one.
    #[error(
        "the factor of doubt of the {what} is {value}, but must lie above one; 1.5 says from two thirds to half as much again"
    )]
    Factor {
        /// Of what.
        what: &'static str,
        /// The factor.
        value: f64,
    },
    /// A share or a confidence is not between nought and one.
    #[error("the {what} is {value}, but must lie between nought and one; correct it")]
    Share {
        /// What it is.
        what: &'static str,
        /// The number.
        value: f64,
    },
    /// Nodes that give no answer.
    #[error("{points} nodes an axis give no answer; take from 2 to 2000")]
    Points {
        /// How many.
        points: usize,
    },
    /// Outlooks over doubtful ages are not about the same modes.
    #[error(
        "outlook {outlook} (counted from 0) has {found} modes, the first has {expected}; mix outlooks of the same modes only"
    )]
    ModesDiffer {
        /// Which outlook.
        outlook: usize,
        /// Its modes.
        found: usize,
        /// Those of the first.
        expected: usize,
    },
    /// A chance is below what numbers hold.
    #[error(
        "an age lies so far beyond the lives that no number holds the chance of having reached it; compare the units of ages, records and prior"
    )]
    BeyondReach,
    /// Not one mode was given.
    #[error("no mode was given; name at least one")]
    NoModes,
}

/// The number, when it is finite and above nought.
fn positive(what: &str, value: f64) -> Result<f64, LifeError> {
    if value.is_finite() && value > 0.0 {
        return Ok(value);
    }
    Err(LifeError::NotPositive { what: what.to_owned(), value })
}

/// The number, when it is finite and not below nought.
fn not_negative(what: &str, value: f64) -> Result<f64, LifeError> {
    if value.is_finite() && value >= 0.0 {
        return Ok(value);
    }
    Err(LifeError::Negative { what: what.to_owned(), value })
}

/// The number, when it lies strictly between nought and one.
fn share(what: &'static str, value: f64) -> Result<f64, LifeError> {
    if value > 0.0 && value < 1.0 {
        return Ok(value);
    }
    Err(LifeError::Share { what, value })
}
