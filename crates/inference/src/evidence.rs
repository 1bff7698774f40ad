//! Evidence on a network, and what an exact computation says about it.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::network::Network;

/// What is known: states seen for certain, and likelihoods where the sight was blurred.
///
/// # Shapes
/// Keys are indices of variables. A soft entry has one weight per state of its variable: the
/// chance of what was seen, were that state the true one. Weights need not add up to one.
/// A variable may have both; then both count.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Evidence {
    /// The state each of these variables is in.
    pub hard: BTreeMap<usize, usize>,
    /// The likelihood of each state of these variables.
    pub soft: BTreeMap<usize, Vec<f64>>,
}

/// Why evidence does not fit a network.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum EvidenceError {
    /// No variable has this name.
    #[error("there is no variable {name:?} in this network; check the spelling")]
    UnknownVariable {
        /// The name.
        name: String,
    },
    /// No variable has this index.
    #[error(
        "the evidence is about variable number {index}, but there are only {count} variables (counted from 0); correct the index"
    )]
    UnknownIndex {
        /// The index.
        index: usize,
        /// How many variables there are.
        count: usize,
    },
    /// The variable has no such state.
    #[error("variable {variable:?} has no state {state:?}; its states are {states}")]
    UnknownState {
        /// The variable.
        variable: String,
        /// The state asked for.
        state: String,
        /// The states it has.
        states: String,
    },
    /// The variable was already said to be in another state.
    #[error("variable {variable:?} is said to be both {first:?} and {second:?}; keep one of them")]
    TwoStates {
        /// The variable.
        variable: String,
        /// What was said first.
        first: String,
        /// What was said then.
        second: String,
    },
    /// A likelihood has the wrong number of weights.
    #[error(
        "the likelihood of {variable:?} has {found} weights, but the variable has {expected} states; give one weight per state"
    )]
    WrongLength {
        /// The variable.
        variable: String,
        /// Weights wanted.
        expected: usize,
        /// Weights given.
        found: usize,
    },
    /// A weight is not finite or negative.
    #[error(
        "the likelihood of {variable:?} has the weight {value} for state {state:?}; give a finite number that is not negative"
    )]
    BadWeight {
        /// The variable.
        variable: String,
        /// The state.
        state: String,
        /// The weight.
        value: f64,
    },
    /// All weights are zero.
    #[error("the likelihood of {variable:?} is zero for every state; leave it out or give one state a positive weight")]
    AllZero {
        /// The variable.
        variable: String,
    },
}

impl Evidence {
    /// Adds that the named variable is in the named state.
    ///
    /// # Errors
    /// [`EvidenceError`] when a name is unknown or another state was observed before.
    pub fn observe(&mut self, network: &Network, variable: &str, state: &str) -> Result<(), EvidenceError> {
        let index = index_of(network, variable)?;
        let states = states_of(network, index);
        let Some(place) = network.state_of(index, state) else {
            return Err(EvidenceError::UnknownState {
                variable: variable.to_owned(),
                state: state.to_owned(),
                states: states.join(", "),
            });
        };
        match self.hard.get(&index) {
            Some(&before) if before != place => Err(EvidenceError::TwoStates {
                variable: variable.to_owned(),
                first: states.get(before).cloned().unwrap_or_default(),
                second: state.to_owned(),
            }),
            _ => {
                self.hard.insert(index, place);
                Ok(())
            }
        }
    }

    /// Adds a likelihood for the named variable; a second one is multiplied onto the first.
    ///
    /// # Errors
    /// [`EvidenceError`] when the name is unknown or the weights do not fit.
    pub fn weigh(&mut self, network: &Network, variable: &str, weights: &[f64]) -> Result<(), EvidenceError> {
        let index = index_of(network, variable)?;
        check_weights(variable, states_of(network, index), weights)?;
        let entry = self.soft.entry(index).or_insert_with(|| vec![1.0; weights.len()]);
        for (kept, weight) in entry.iter_mut().zip(weights) {
            *kept *= weight;
        }
        Ok(())
    }

    /// Says whether nothing is known.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.hard.is_empty() && self.soft.is_empty()
    }

    /// Complains when the evidence does not fit the network.
    ///
    /// # Errors
    /// [`EvidenceError`] names the variable, and what would fit.
    pub fn check(&self, network: &Network) -> Result<(), EvidenceError> {
        let count = network.variables().len();
        for (&index, &state) in &self.hard {
            let Some(variable) = network.variables().get(index) else {
                return Err(EvidenceError::UnknownIndex { index, count });
            };
            if state >= variable.states.len() {
                return Err(EvidenceError::UnknownState {
                    variable: variable.name.clone(),
                    state: format!("number {state}"),
                    states: variable.states.join(", "),
                });
            }
        }
        for (&index, weights) in &self.soft {
            let Some(variable) = network.variables().get(index) else {
                return Err(EvidenceError::UnknownIndex { index, count });
            };
            check_weights(&variable.name, &variable.states, weights)?;
        }
        Ok(())
    }

    /// Says each piece of evidence in words, hard pieces first.
    #[must_use]
    pub fn in_words(&self, network: &Network) -> Vec<String> {
        let variable = |index: usize| network.variables().get(index);
        let name = |index: usize| variable(index).map_or("?", |v| v.name.as_str());
        let hard = self.hard.iter().map(|(&index, &state)| {
            let state = variable(index).and_then(|v| v.states.get(state));
            format!("{} = {}", name(index), state.map_or("?", |state| state.as_str()))
        });
        let soft = self.soft.keys().map(|&index| format!("the likelihood of {}", name(index)));
        hard.chain(soft).collect()
    }
}

fn index_of(network: &Network, variable: &str) -> Result<usize, EvidenceError> {
    network.index_of(variable).ok_or_else(|| EvidenceError::UnknownVariable { name: variable.to_owned() })
}

fn states_of(network: &Network, index: usize) -> &[String] {
    network.variables().get(index).map_or(&[], |variable| variable.states.as_slice())
}

fn check_weights(variable: &str, states: &[String], weights: &[f64]) -> Result<(), EvidenceError> {
    if weights.len() != states.len() {
        return Err(EvidenceError::WrongLength {
            variable: variable.to_owned(),
            expected: states.len(),
            found: weights.len(),
        });
    }
    for (state, &value) in states.iter().zip(weights) {
        if !value.is_finite() || value < 0.0 {
            return Err(EvidenceError::BadWeight { variable: variable.to_owned(), state: state.clone(), value });
        }
    }
    if weights.iter().all(|&weight| weight <= 0.0) {
        return Err(EvidenceError::AllZero { variable: variable.to_owned() });
    }
    Ok(())
}

/// The probability of every state of every variable, given the evidence.
///
/// # Shapes
/// `marginals[v][s]` is the probability of state `s` of variable `v`, in the network's order;
/// each adds up to one. An observed variable has one and zeros.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Posteriors {
    /// The decimal logarithm of the probability of the evidence. With likelihoods it is the
    /// logarithm of the mean weight, which may exceed zero when weights exceed one.
    pub log10_p_evidence: f64,
    /// Probabilities by variable and state.
    pub marginals: Vec<Vec<f64>>,
}

impl Posteriors {
    /// Gives the probability of the evidence, zero where it is too small for a number.
    #[must_use]
    pub fn p_evidence(&self) -> f64 {
        10_f64.powf(self.log10_p_evidence)
    }

    /// Gives the probability of one state of one variable.
    #[must_use]
    pub fn probability(&self, variable: usize, state: usize) -> Option<f64> {
        self.marginals.get(variable)?.get(state).copied()
    }
}

/// The one most probable state of the whole network, given the evidence.
///
/// # Shapes
/// `states[v]` is the state of variable `v`. Between equally probable answers the choice is fixed
/// but without meaning.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Explanation {
    /// The state of each variable.
    pub states: Vec<usize>,
    /// The decimal logarithm of the joint probability of these states and the evidence.
    pub log10_p: f64,
}

/// Why a network cannot answer.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum InferenceError {
    /// The evidence does not fit the network.
    #[error(transparent)]
    Evidence(#[from] EvidenceError),
    /// No state of the network agrees with the evidence.
    #[error(
        "the evidence is impossible: {} cannot hold together in this network; withdraw one of them or correct a table",
        .conflict.join(" and ")
    )]
    Impossible {
        /// A smallest set of pieces that contradict each other, in words: take any one of them
        /// away and the rest of this set is possible.
        conflict: Vec<String>,
    },
    /// The evidence is possible, but numbers of this width cannot weigh it up.
    #[error(
        "pieces of evidence pull against each other by odds beyond 1 in 1e280, too far for numbers to weigh: {}; withdraw the most surprising one or soften a table",
        .evidence.join(" and ")
    )]
    TooImprobable {
        /// All pieces of evidence, in words.
        evidence: Vec<String>,
    },
    /// The tree was laid out for evidence on a variable that is not observed now.
    #[error(
        "the tree was laid out for evidence on {variable:?}, which is not observed; observe it, or lay out a tree without it"
    )]
    NotObserved {
        /// The variable.
        variable: String,
    },
    /// Too many combinations to go through one by one.
    #[error("going through all combinations of states needs more than {limit} steps; use the junction tree")]
    TooManyStates {
        /// The limit.
        limit: u64,
    },
}
