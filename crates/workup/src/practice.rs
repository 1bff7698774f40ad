//! A practice job: an invented engine half tested, and six steps that lead whoever is new through a whole job.
//!
//! It is a job like any other, kept and worked up like one, and marked as practice by its customer code. It teaches nothing to the
//! shop: its ends are not counted among what the shop's own jobs say.

use anatomy::Position;
use knowledge::Knowledge;
use logbook::{EntryBody, JobState, Kind, Moment, Paper};
use serde_json::Value;

use crate::entering::{NotTaken, body_of};

/// The customer code of a practice job.
pub const CODE: &str = "PRACTICE";
/// What is told of it before the learner begins, one entry a line.
const STORY: &str = include_str!("practice/story.jsonl");
/// The reading that the learner takes.
const CHECK: &str = "compression-dry";
const READING: &str = "pressure";
const CYLINDER: u8 = 3;

/// Whether a job is for practice.
#[must_use]
pub fn is_practice(state: &JobState) -> bool {
    state.customer.as_deref() == Some(CODE)
}

/// One step of the practice.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Step {
    /// What is learnt, in a few words.
    pub title: &'static str,
    /// What to do, in a sentence or two.
    pub says: &'static str,
    /// The page of the moment that it is done on, or the page of the reading.
    pub at: At,
    /// Whether it is done.
    pub done: bool,
}

/// Where a step is done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum At {
    /// On the page of a moment.
    Moment(Moment),
    /// Where a reading is entered.
    Entering {
        /// The check.
        check: &'static str,
        /// The reading.
        reading: &'static str,
        /// The place.
        position: Position,
    },
}

/// How many entries a practice job has before the learner begins.
#[must_use]
pub fn entries() -> usize {
    STORY.lines().filter(|line| !line.trim().is_empty()).count()
}

/// The entry of a number, counted from 0, judged by the job as it stands by then.
///
/// # Errors
/// An entry that the knowledge of the shop does not take; nothing for a number past the last.
pub fn entry(number: usize, state: &JobState, knowledge: &Knowledge) -> Option<Result<EntryBody, NotTaken>> {
    let line = STORY.lines().filter(|line| !line.trim().is_empty()).nth(number)?;
    let value: Value = serde_json::from_str(line).ok()?;
    let kind = value.get("kind").and_then(Value::as_str).and_then(Kind::from_word)?;
    Some(body_of(kind, value.get("body")?, state, knowledge))
}

/// The steps, in the order in which they are done.
#[must_use]
pub fn steps(state: &JobState) -> Vec<Step> {
    let at = Position::Cylinder(CYLINDER);
    let is_it = |r: &logbook::ReadingTaken| r.check == CHECK && r.reading == READING && r.position == at;
    let taken = state.readings.iter().find(|r| is_it(r));
    let another = taken.is_some_and(|taken| state.readings.iter().any(|r| r.entry > taken.entry && r.check != CHECK));
    let priced = state.papers.iter().any(|p| p.paper == Paper::Estimate);
    vec![
        Step {
            title: "Is it the engine at all?",
            says: "Read what the customer says. Below it stand faults outside the engine that explain the same: answer one of \
                   them, as if you had looked.",
            at: At::Moment(Moment::Hear),
            done: !state.outside.is_empty(),
        },
        Step {
            title: "Enter a reading",
            says: "Three cylinders are read. Enter 8.4 bar for cylinder 3. The unit stands fixed beside the keys; the page says \
                   at once how the reading stands to the others, and what it moved.",
            at: At::Entering { check: CHECK, reading: READING, position: at },
            done: taken.is_some(),
        },
        Step {
            title: "Follow the advice once",
            says: "Two neighbours are low. On top stands the check that is worth most now, with its minutes. Do it, as if the \
                   engine were here: pick what you would see.",
            at: At::Moment(Moment::Test),
            done: another,
        },
        Step {
            title: "Choose a way",
            says: "The ways to put it right stand side by side in money, days and risk, doing nothing among them. Choose one; it \
                   can be changed later.",
            at: At::Moment(Moment::Choose),
            done: state.chosen.is_some(),
        },
        Step {
            title: "Price it",
            says: "Name the cause, or sign that it is unknown: no estimate leaves without. Then open the estimate under Papers, at \
                   the foot of the page.",
            at: At::Moment(Moment::Choose),
            done: priced,
        },
        Step {
            title: "Close the job",
            says: "Close it as taken away. Every entry is still there: open one, and see that it can be taken back or put right, \
                   and that both stay in the record.",
            at: At::Moment(Moment::HandBack),
            done: state.closed.is_some(),
        },
    ]
}
