//! What to choose, and what knowing more is worth: small decisions with a few acts and a few states.
//!
//! What comes in: chances of states and what each act brings in each of them. What goes out: the best act, the worth of
//! being certain, the worth of a reading, and in what sequence suspects are looked at most cheaply. Whether an amount is
//! money or minutes is the caller's; more is better, and costs are stated as such.

use thiserror::Error;

/// How far chances may be from summing to one.
const SUM_TOLERANCE: f64 = 1e-9;

/// Why a decision was refused.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum DecisionError {
    /// A list of chances has a bad entry or a bad sum.
    #[error("the chances of {what} are no distribution: {why}; give one from 0 to 1 for each, summing to one")]
    Chances {
        /// Of what.
        what: String,
        /// What is wrong.
        why: String,
    },
    /// A table or a list has the wrong length.
    #[error("{what} has {found} entries, but {expected} are needed; give one for each")]
    Length {
        /// Which one.
        what: String,
        /// How many it has.
        found: usize,
        /// How many it needs.
        expected: usize,
    },
    /// An amount is not a number, or a cost is below nought.
    #[error("{what} is {value}, which is no usable amount; correct it")]
    Amount {
        /// Which one.
        what: String,
        /// The amount.
        value: f64,
    },
}

/// A choice among acts whose outcome depends on a state that is not known.
#[derive(Debug, Clone, PartialEq)]
pub struct Decision {
    chances: Vec<f64>,
    /// Rows: acts; columns: states.
    payoffs: Vec<Vec<f64>>,
}

/// What one act is expected to bring.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Best {
    /// The act, by its place; the first of equals.
    pub act: usize,
    /// Its expected payoff.
    pub value: f64,
}

/// One outcome of a reading.
#[derive(Debug, Clone, PartialEq)]
pub struct AfterReading {
    /// The chance of this outcome.
    pub chance: f64,
    /// The chances of the states given it; as before where the outcome cannot occur.
    pub states: Vec<f64>,
    /// The best act then.
    pub best: Best,
}

/// What a reading is worth before its own cost.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadingWorth {
    /// Its outcomes.
    pub outcomes: Vec<AfterReading>,
    /// Expected payoff when the act is chosen after the reading.
    pub value: f64,
    /// What that is more than without it; nought when every outcome leaves the same act best.
    pub gain: f64,
}

impl Decision {
    /// Gives a decision from the chances of the states and the payoffs of the acts.
    ///
    /// # Shapes
    /// One row an act, one column a state: with the chances `[0.7, 0.2, 0.1]` and two acts, `[[5, 1, -9], [0, 0, 0]]`.
    ///
    /// # Errors
    /// [`DecisionError`] names the list or the entry that is wrong.
    pub fn new(chances: Vec<f64>, payoffs: Vec<Vec<f64>>) -> Result<Self, DecisionError> {
        distribution("the states", &chances)?;
        if payoffs.is_empty() {
            return Err(DecisionError::Length { what: "the list of acts".into(), found: 0, expected: 1 });
        }
        for (act, row) in payoffs.iter().enumerate() {
            let what = || format!("the row of act {act} (counted from 0)");
            same_length(what, row.len(), chances.len())?;
            if let Some(&value) = row.iter().find(|value| !value.is_finite()) {
                return Err(DecisionError::Amount { what: what(), value });
            }
        }
        Ok(Self { chances, payoffs })
    }

    /// What each act is expected to bring.
    #[must_use]
    pub fn expected(&self) -> Vec<f64> {
        expected(&self.payoffs, &self.chances)
    }

    /// The best act as things stand.
    #[must_use]
    pub fn best(&self) -> Best {
        best(&self.payoffs, &self.chances)
    }

    /// What the best act brings in each state, had the state been known: chance and payoff.
    #[must_use]
    pub fn if_certain(&self) -> Vec<(f64, f64)> {
        let top = |state: usize| {
            self.payoffs.iter().filter_map(|row| row.get(state)).fold(f64::NEG_INFINITY, |m, p| m.max(*p))
        };
        self.chances.iter().enumerate().map(|(state, chance)| (*chance, top(state))).collect()
    }

    /// What certainty about the state is worth; no reading is worth more.
    #[must_use]
    pub fn worth_of_certainty(&self) -> f64 {
        mean_and_spread(&self.if_certain()).0 - self.best().value
    }

    /// What a reading is worth before its own cost.
    ///
    /// # Shapes
    /// `likelihoods`: one row a state, one column an outcome, each row summing to one.
    ///
    /// # Errors
    /// [`DecisionError`] names the row that is wrong.
    pub fn worth_of_reading(&self, likelihoods: &[Vec<f64>]) -> Result<ReadingWorth, DecisionError> {
        same_length(|| "the table of likelihoods".into(), likelihoods.len(), self.chances.len())?;
        let outcomes = likelihoods.first().map_or(0, Vec::len);
        for (state, row) in likelihoods.iter().enumerate() {
            same_length(|| format!("the row of state {state} (counted from 0)"), row.len(), outcomes)?;
            distribution(&format!("the outcomes in state {state}"), row)?;
        }
        let after = |outcome: usize| {
            let joint = |(chance, row): (&f64, &Vec<f64>)| chance * row.get(outcome).copied().unwrap_or(0.0);
            let joint: Vec<f64> = self.chances.iter().zip(likelihoods).map(joint).collect();
            let chance: f64 = joint.iter().sum();
            let states = if chance > 0.0 { joint.iter().map(|p| p / chance).collect() } else { self.chances.clone() };
            AfterReading { chance, best: best(&self.payoffs, &states), states }
        };
        let outcomes: Vec<AfterReading> = (0..outcomes).map(after).collect();
        let value = outcomes.iter().map(|one| one.chance * one.best.value).sum::<f64>();
        // Rounding may leave a worthless reading a hair below nought.
        Ok(ReadingWorth { outcomes, value, gain: (value - self.best().value).max(0.0) })
    }
}

/// A check with two outcomes, by how often it says yes when it should, and no when it should.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TwoWayCheck {
    /// Chance of yes where there is something.
    pub sensitivity: f64,
    /// Chance of no where there is nothing.
    pub specificity: f64,
}

impl TwoWayCheck {
    /// The likelihood ratios of a yes and of a no.
    #[must_use]
    pub fn ratios(&self) -> [f64; 2] {
        [self.sensitivity / (1.0 - self.specificity), (1.0 - self.sensitivity) / self.specificity]
    }

    /// The chance after a yes and after a no, from the chance before.
    ///
    /// # Errors
    /// [`DecisionError::Chances`] when one of the three is no chance.
    pub fn after(&self, before: f64) -> Result<[f64; 2], DecisionError> {
        for (what, p) in [("the fault", before), ("a yes", self.sensitivity), ("a no", self.specificity)] {
            distribution(what, &[p, 1.0 - p])?;
        }
        let (hit, miss) = (before * self.sensitivity, before * (1.0 - self.sensitivity));
        let (false_yes, right_no) = ((1.0 - before) * (1.0 - self.specificity), (1.0 - before) * self.specificity);
        // An answer that cannot come leaves the chance as it was.
        let of = |part: f64, rest: f64| if part + rest > 0.0 { part / (part + rest) } else { before };
        Ok([of(hit, false_yes), of(miss, right_no)])
    }
}

/// One suspect of several, of which exactly one is at fault.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Suspect {
    /// The chance that it is the one.
    pub chance: f64,
    /// What it costs to find out, by looking or by mending on suspicion.
    pub look: f64,
    /// What mending it costs once it was found.
    pub mend: f64,
}

/// A sequence of looking at suspects.
#[derive(Debug, Clone, PartialEq)]
pub struct Sequence {
    /// The places of the suspects, first looked at first.
    pub rank: Vec<usize>,
    /// What it is expected to cost until the fault is mended.
    pub cost: f64,
}

/// Gives the cheapest sequence: by chance over cost of looking, the greatest first, earlier place first among equals.
///
/// # Errors
/// [`DecisionError::Chances`]; [`DecisionError::Amount`] for a cost below nought.
///
/// # Source
/// Kadane, Simon 1977; Heckerman, Breese, Rommelse 1995, Comm. ACM 38, p. 49 \[from memory\]. It holds for one fault and
/// costs that do not depend on the sequence; where looking at one lays another open, try the sequences by
/// [`expected_cost`].
pub fn cheapest_sequence(suspects: &[Suspect]) -> Result<Sequence, DecisionError> {
    let mut rank: Vec<usize> = (0..suspects.len()).collect();
    let key = |at: &usize| suspects.get(*at).map_or((0.0, 0.0), |s| (s.chance, s.look));
    // Compared crosswise, so that a look that costs nothing comes first and nothing is divided by nought.
    rank.sort_by(|a, b| {
        let ((p, c), (q, d)) = (key(a), key(b));
        (q * c).total_cmp(&(p * d))
    });
    let cost = expected_cost(suspects, &rank)?;
    Ok(Sequence { rank, cost })
}

/// Gives what a sequence is expected to cost until the fault is mended.
///
/// # Errors
/// [`DecisionError::Length`] when a suspect is left out or named twice; else as [`cheapest_sequence`].
pub fn expected_cost(suspects: &[Suspect], rank: &[usize]) -> Result<f64, DecisionError> {
    distribution("the suspects", &suspects.iter().map(|s| s.chance).collect::<Vec<_>>())?;
    let mut seen = rank.to_vec();
    seen.sort_unstable();
    seen.dedup();
    same_length(|| "the sequence".into(), seen.len(), suspects.len())?;
    same_length(|| "the sequence".into(), rank.len(), suspects.len())?;
    let (mut left, mut cost) = (1.0, 0.0);
    for at in rank {
        let Some(suspect) = suspects.get(*at) else {
            return Err(DecisionError::Length { what: "the sequence".into(), found: at + 1, expected: suspects.len() });
        };
        for (what, value) in [("looking", suspect.look), ("mending", suspect.mend)] {
            if !(value.is_finite() && value >= 0.0) {
                return Err(DecisionError::Amount { what: format!("the cost of {what} at suspect {at}"), value });
            }
        }
        cost += left * suspect.look + suspect.chance * suspect.mend;
        left -= suspect.chance;
    }
    Ok(cost)
}

/// Mean and standard deviation of amounts with their chances.
#[must_use]
pub fn mean_and_spread(amounts: &[(f64, f64)]) -> (f64, f64) {
    let mean: f64 = amounts.iter().map(|(p, x)| p * x).sum();
    let square: f64 = amounts.iter().map(|(p, x)| p * (x - mean) * (x - mean)).sum();
    (mean, square.sqrt())
}

fn expected(payoffs: &[Vec<f64>], chances: &[f64]) -> Vec<f64> {
    payoffs.iter().map(|row| row.iter().zip(chances).map(|(x, p)| x * p).sum()).collect()
}

fn best(payoffs: &[Vec<f64>], chances: &[f64]) -> Best {
    let better = |best: Best, (act, value): (usize, f64)| if value > best.value { Best { act, value } } else { best };
    expected(payoffs, chances).into_iter().enumerate().fold(Best { act: 0, value: f64::NEG_INFINITY }, better)
}

fn same_length(what: impl Fn() -> String, found: usize, expected: usize) -> Result<(), DecisionError> {
    if found == expected { Ok(()) } else { Err(DecisionError::Length { what: what(), found, expected }) }
}

fn distribution(what: &str, chances: &[f64]) -> Result<(), DecisionError> {
    let refuse = |why: String| Err(DecisionError::Chances { what: what.to_owned(), why });
    if let Some(bad) = chances.iter().find(|p| !(0.0..=1.0).contains(*p)) {
        return refuse(format!("{bad} is no chance"));
    }
    let sum: f64 = chances.iter().sum();
    if (sum - 1.0).abs() > SUM_TOLERANCE {
        return refuse(format!("they sum to {sum}"));
    }
    Ok(())
}
