//! The oracle: answers by going through every combination of states, one after another.
//!
//! Slow and simple on purpose. It shares no step with the junction tree except the reading of
//! the tables, so that agreement of the two says something. Use it in tests and for networks of
//! a dozen variables.

#![expect(
    clippy::indexing_slicing,
    reason = "every index runs over a checked network: states below their count, tables of full shape"
)]

use crate::evidence::{Evidence, Explanation, InferenceError, Posteriors};
use crate::network::Network;

/// The most combinations of states that are gone through.
pub const COMBINATION_LIMIT: u64 = 1 << 24;

/// Gives all posteriors by summing the joint probability of every combination of states.
///
/// # Errors
/// [`InferenceError`] when the evidence does not fit or is impossible (then all of it is named),
/// or when there are more than [`COMBINATION_LIMIT`] combinations.
pub fn posteriors(network: &Network, evidence: &Evidence) -> Result<Posteriors, InferenceError> {
    let mut sums: Vec<Vec<Sum>> = network.variables().iter().map(|v| vec![Sum::default(); v.states.len()]).collect();
    let mut total = Sum::default();
    for_each_combination(network, evidence, |states, p| {
        total.add(p);
        for (sum, &state) in sums.iter_mut().zip(states) {
            sum[state].add(p);
        }
    })?;
    let p = total.value();
    if p <= 0.0 {
        return Err(impossible(network, evidence));
    }
    Ok(Posteriors {
        log10_p_evidence: p.log10(),
        marginals: sums.iter().map(|states| states.iter().map(|sum| sum.value() / p).collect()).collect(),
    })
}

/// Gives the most probable combination of states; the first in counting order wins a tie.
///
/// # Errors
/// As [`posteriors`].
pub fn most_probable(network: &Network, evidence: &Evidence) -> Result<Explanation, InferenceError> {
    let mut best = 0.0;
    let mut best_states = Vec::new();
    for_each_combination(network, evidence, |states, p| {
        if p > best {
            best = p;
            best_states = states.to_vec();
        }
    })?;
    if best_states.is_empty() {
        return Err(impossible(network, evidence));
    }
    Ok(Explanation { states: best_states, log10_p: best.log10() })
}

/// Gives the joint probability of one combination of states and the evidence.
///
/// # Shapes
/// One state per variable; a combination of another shape has probability zero.
#[must_use]
pub fn joint_probability(network: &Network, evidence: &Evidence, states: &[usize]) -> f64 {
    if states.len() != network.variables().len()
        || states.iter().zip(network.variables()).any(|(&state, variable)| state >= variable.states.len())
        || evidence.check(network).is_err()
        || evidence.hard.iter().any(|(&v, &state)| states[v] != state)
    {
        return 0.0;
    }
    joint(network, evidence, states)
}

fn joint(network: &Network, evidence: &Evidence, states: &[usize]) -> f64 {
    let tables: f64 = network
        .tables()
        .iter()
        .map(|table| {
            let row = table
                .parents
                .iter()
                .fold(0, |row, &parent| row * network.variables()[parent].states.len() + states[parent]);
            let columns = network.variables()[table.child].states.len();
            table.values[row * columns + states[table.child]]
        })
        .product();
    let weights: f64 = evidence.soft.iter().map(|(&v, weights)| weights[states[v]]).product();
    tables * weights
}

fn for_each_combination(
    network: &Network,
    evidence: &Evidence,
    mut take: impl FnMut(&[usize], f64),
) -> Result<(), InferenceError> {
    evidence.check(network)?;
    let mut combinations = 1_u64;
    for (index, variable) in network.variables().iter().enumerate() {
        if !evidence.hard.contains_key(&index) {
            combinations = combinations.saturating_mul(variable.states.len() as u64);
        }
    }
    if combinations > COMBINATION_LIMIT {
        return Err(InferenceError::TooManyStates { limit: COMBINATION_LIMIT });
    }
    let mut states = vec![0; network.variables().len()];
    for (&variable, &state) in &evidence.hard {
        states[variable] = state;
    }
    for _ in 0..combinations {
        let p = joint(network, evidence, &states);
        if p > 0.0 {
            take(&states, p);
        }
        // Count on: the last open variable runs fastest.
        for (index, variable) in network.variables().iter().enumerate().rev() {
            if evidence.hard.contains_key(&index) {
                continue;
            }
            states[index] += 1;
            if states[index] < variable.states.len() {
                break;
            }
            states[index] = 0;
        }
    }
    Ok(())
}

fn impossible(network: &Network, evidence: &Evidence) -> InferenceError {
    InferenceError::Impossible { conflict: evidence.in_words(network) }
}

/// A sum that carries along what rounding took away (Neumaier's form).
#[derive(Debug, Clone, Copy, Default)]
struct Sum {
    sum: f64,
    lost: f64,
}

impl Sum {
    fn add(&mut self, value: f64) {
        let next = self.sum + value;
        self.lost += if self.sum.abs() >= value.abs() { (self.sum - next) + value } else { (value - next) + self.sum };
        self.sum = next;
    }

    fn value(self) -> f64 {
        self.sum + self.lost
    }
}
