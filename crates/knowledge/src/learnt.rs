//! What a shop's own finished jobs say, where the shop has taken it up.
//!
//! None is compiled in: a shop that has counted its own jobs keeps the result in `learnt/odds.toml` of its own folder
//! (`witnessmark learn adopt`). It stands beside the book, which it never changes: odds as factors on the states of a cause or
//! condition before any check, chances of a check as a row in place of the book's. It counts as long as causes, conditions and
//! checks are those that it was learnt from.

use anatomy::Scope;
use serde::{Deserialize, Serialize};

use crate::load::{Complaint, Located};
use crate::network::{Check, Given, Observed, ReadingKind};
use crate::source::Source;

/// The folders of the knowledge that odds are learnt against.
pub const LEARNT_AGAINST: [&str; 3] = ["causes", "checks", "conditions"];

/// Who took it up, when and why.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Adopted {
    /// The fingerprint of the causes, conditions and checks that it was learnt against.
    pub against: String,
    /// The day, as `2026-03-05`.
    pub on: String,
    /// Who.
    pub by: String,
    /// Why.
    pub because: String,
    /// From how many jobs.
    pub jobs: usize,
}

/// What a shop's jobs say of the shares of the states of a cause or condition.
///
/// # Shapes
/// all lists: one entry per state, mildest first
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Odds {
    /// The cause or condition.
    pub of: String,
    /// The kind of place, for a condition.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scope: Option<Scope>,
    /// The share the book gave these jobs before any check.
    pub book: Vec<f64>,
    /// The share that is used now.
    pub now: Vec<f64>,
    /// How many jobs were told to be in each state; a job with several places counts once.
    pub told: Vec<f64>,
    /// By what the chance of each state is multiplied before any check; the largest is 1.
    pub factor: Vec<f64>,
    /// Where it comes from.
    pub source: Source,
}

/// What a shop's jobs say of a check in a state of what it looks at.
///
/// # Shapes
/// `row`: one chance per outcome of the reading, best first
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Showing {
    /// The check.
    pub check: String,
    /// The reading of it.
    pub reading: String,
    /// The cause or condition that it looks at.
    pub of: String,
    /// The state of that; the mildest stands for the background of the reading.
    pub state: String,
    /// The chance of another outcome than the best one that the book gave these jobs.
    pub book: f64,
    /// The chance that is used now.
    pub now: f64,
    /// How many of the jobs told to be in this state showed another outcome than the best one.
    pub showed: u32,
    /// How many jobs were told to be in this state and had the check.
    pub told: u32,
    /// Chances of the outcomes that this state alone brings.
    pub row: Vec<f64>,
    /// Where it comes from.
    pub source: Source,
}

/// A file of what was learnt, as it is written.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct File {
    /// Who, when and why; one.
    pub learnt: Vec<Adopted>,
    /// The odds.
    pub odds: Vec<Odds>,
    /// The chances of checks.
    pub showing: Vec<Showing>,
}

impl File {
    /// The text of the file.
    ///
    /// # Errors
    /// None that is known: what the file holds can be written as TOML.
    pub fn text(&self) -> Result<String, toml::ser::Error> {
        let body = toml::to_string(self)?;
        Ok(format!(
            "# What this shop's own jobs say; written by `witnessmark learn adopt`, taken back by `witnessmark learn undo`.\n\n{body}"
        ))
    }
}

/// All that a shop has taken up.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Learnt {
    /// Who, when and why; nothing where the shop has taken up nothing.
    pub adopted: Option<Located<Adopted>>,
    /// The odds.
    pub odds: Vec<Located<Odds>>,
    /// The chances of checks.
    pub showings: Vec<Located<Showing>>,
    /// Whether it counts: the book is still the one that it was learnt against.
    pub counts: bool,
    /// The checks whose rows were replaced, as the book has them.
    pub(crate) replaced: Vec<Located<Check>>,
}

impl Learnt {
    /// The odds that count.
    #[must_use]
    pub fn counting(&self) -> &[Located<Odds>] {
        if self.counts { &self.odds } else { &[] }
    }

    /// Puts the rows that count in place of the book's.
    pub(crate) fn put_into(&mut self, checks: &mut [Located<Check>], mildest: impl Fn(&str) -> Option<String>) {
        let named = |c: &&Located<Check>| self.counts && self.showings.iter().any(|s| s.check == c.id);
        self.replaced = checks.iter().filter(named).cloned().collect();
        for showing in self.showings.iter().filter(|_| self.counts) {
            let readings =
                checks.iter_mut().filter(|c| c.value.id == showing.check).flat_map(|c| &mut c.value.readings);
            for reading in readings.filter(|r| r.id == showing.reading) {
                let is_mildest = mildest(&showing.of).is_some_and(|state| state == showing.state);
                match &mut reading.kind {
                    ReadingKind::Graded { background, .. } | ReadingKind::Nominal { background, .. } if is_mildest => {
                        background.clone_from(&showing.row);
                    }
                    ReadingKind::Graded { .. } | ReadingKind::Nominal { .. } => {
                        let of = |observed: &Observed| observed.id() == showing.of;
                        for observe in reading.observes.iter_mut().filter(|o| of(&o.of)) {
                            observe.given.insert(showing.state.clone(), Given::Chances(showing.row.clone()));
                        }
                    }
                    ReadingKind::Numeric(_) => {}
                }
            }
        }
    }
}

/// What is wrong with a list of chances.
fn no_chances(list: &[f64], states: usize) -> Option<String> {
    let fine = list.len() == states && list.iter().all(|p| (0.0..=1.0).contains(p));
    let sums = (list.iter().sum::<f64>() - 1.0).abs() < 1e-6;
    (!fine || !sums).then(|| format!("{list:?} is wrong, expected {states} chances that sum to one"))
}

const AGAIN: &str = "learn again with `witnessmark learn adopt`, or take the file away with `witnessmark learn undo`";

/// What is wrong with what was learnt, beyond its form.
///
/// `states`: the states of a cause or condition; `outcomes`: how many a graded reading has.
pub(crate) fn complaints(
    learnt: &Learnt,
    states: impl Fn(&str) -> Option<Vec<String>>,
    outcomes: impl Fn(&str, &str) -> Option<usize>,
) -> Vec<Complaint> {
    let mut out = Vec::new();
    match &learnt.adopted {
        Some(adopted) if !learnt.counts => out.push(adopted.complaint(
            "against",
            "was learnt against other causes, conditions or checks than these, so it counts for nothing",
            AGAIN,
        )),
        None if !(learnt.odds.is_empty() && learnt.showings.is_empty()) => {
            let first =
                learnt.odds.first().map(|o| o.complaint("learnt", "there is no [[learnt]] table beside it", AGAIN));
            out.extend(first.or_else(|| {
                learnt.showings.first().map(|s| s.complaint("learnt", "there is no [[learnt]] table beside it", AGAIN))
            }));
        }
        _ => {}
    }
    if !learnt.counts {
        return out;
    }
    for odds in &learnt.odds {
        let Some(known) = states(&odds.of) else {
            out.push(odds.complaint("of", format!("{:?} is no cause or condition", odds.of), AGAIN));
            continue;
        };
        for (field, list) in [("book", &odds.book), ("now", &odds.now)] {
            out.extend(no_chances(list, known.len()).map(|why| odds.complaint(field, why, AGAIN)));
        }
        let fine = odds.factor.len() == known.len() && odds.factor.iter().all(|f| *f > 0.0 && *f <= 1.0);
        if !fine {
            let why = format!("{:?} is wrong, expected {} factors above 0 and up to 1", odds.factor, known.len());
            out.push(odds.complaint("factor", why, AGAIN));
        }
    }
    for showing in &learnt.showings {
        let Some(many) = outcomes(&showing.check, &showing.reading) else {
            let why = format!("{:?} has no graded reading {:?}", showing.check, showing.reading);
            out.push(showing.complaint("reading", why, AGAIN));
            continue;
        };
        if !states(&showing.of).is_some_and(|known| known.contains(&showing.state)) {
            let why = format!("{:?} has no state {:?}", showing.of, showing.state);
            out.push(showing.complaint("state", why, AGAIN));
        }
        out.extend(no_chances(&showing.row, many).map(|why| showing.complaint("row", why, AGAIN)));
    }
    out
}
