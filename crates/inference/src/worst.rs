//! Networks in which every variable is the worst of independent draws, and readings of them.
//!
//! A variable's states run from mild to bad. Its state is the worst of one draw of its own and one draw
//! from each parent, whatever the number of parents; a reading is the worst of a background draw and one
//! draw from each thing it looks at. That rule keeps large tables small: each link is one short table,
//! and a cumulative probability of the child is a plain product over its parents.

use serde::{Deserialize, Serialize};

/// One variable: names, own draw and what its parents add.
///
/// # Invariants
/// `own` sums to one and has one entry per state; parents stand before their children in [`WorstNet`].
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Variable {
    /// Name, unique in the network.
    pub name: String,
    /// State names, mildest first.
    pub states: Vec<String>,
    /// Distribution of the variable's own draw, one entry per state.
    pub own: Vec<f64>,
    /// What each parent adds.
    pub links: Vec<Link>,
    /// Whether the variable is one of the few shared roots that everything is conditioned on.
    pub root: bool,
    /// Where it belongs: a path from the whole to the part, such as group 2, member 3. Empty for the whole.
    ///
    /// Only the speed depends on it: deeper parts are summed first.
    #[serde(default)]
    pub region: Vec<u16>,
}

/// What one parent adds to a variable.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Link {
    /// Index of the parent variable.
    pub parent: usize,
    /// Rows: states of the parent; columns: states of the child; each row sums to one.
    pub given: Vec<Vec<f64>>,
}

/// One reading that was taken, reduced to what matters: a draw is better than the reading, equal to it, or worse.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// Name, unique among the readings of a case.
    pub name: String,
    /// Chance that the background draw is better than the reading, and that it equals it.
    pub own: [f64; 2],
    /// What each observed variable adds.
    pub links: Vec<ReadingLink>,
    /// Chance that this reading only echoes an earlier one that it agrees with (0 for a first reading).
    pub echo: f64,
}

/// What one observed variable adds to a reading.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ReadingLink {
    /// Index of the observed variable.
    pub parent: usize,
    /// Per state of the parent: chance that its draw is better than the reading, and that it equals it.
    pub given: Vec<[f64; 2]>,
}

impl Reading {
    /// The chance of this reading when every variable is in the state given, by the rule of the worst.
    ///
    /// # Shapes
    /// One state per variable of the network.
    #[must_use]
    pub fn chance(&self, states: &[u8]) -> f64 {
        let [below, here] = self.own;
        let (mut upper, mut lower) = (below + here, below);
        for link in &self.links {
            let state = states.get(link.parent).map_or(0, |s| usize::from(*s));
            let [b, h] = link.given.get(state).copied().unwrap_or([1.0, 0.0]);
            upper *= b + h;
            lower *= b;
        }
        self.echo + (1.0 - self.echo) * (upper - lower).max(0.0)
    }
}

/// A network of worst-of variables.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct WorstNet {
    /// Variables, parents before children.
    pub variables: Vec<Variable>,
}

/// Why a worst-of network or a reading was refused.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum WorstError {
    /// A distribution has the wrong length, a bad entry or a bad sum.
    #[error("the distribution of {what} is wrong: {why}; give one chance from 0 to 1 per state, summing to one")]
    Distribution {
        /// Which table.
        what: String,
        /// What is wrong with it.
        why: String,
    },
    /// A link names a variable that does not stand before the child.
    #[error("{what} looks at variable number {parent}, which does not stand before it; list parents first")]
    Parent {
        /// Which table.
        what: String,
        /// The index it names.
        parent: usize,
    },
    /// A root has parents.
    #[error("{what} is a root and has parents; drop the links or the root mark")]
    RootWithParents {
        /// Which variable.
        what: String,
    },
}

fn distribution(values: &[f64], states: usize, what: &str) -> Result<(), WorstError> {
    let refuse = |why: String| Err(WorstError::Distribution { what: what.to_owned(), why });
    if values.len() != states {
        return refuse(format!("{} entries for {states} states", values.len()));
    }
    if let Some(bad) = values.iter().find(|p| !p.is_finite() || **p < 0.0 || **p > 1.0) {
        return refuse(format!("entry {bad} is no probability"));
    }
    let sum: f64 = values.iter().sum();
    if (sum - 1.0).abs() > 1e-9 {
        return refuse(format!("it sums to {sum}"));
    }
    Ok(())
}

impl WorstNet {
    /// Says whether every table has its shape, its sum and parents that stand before it.
    ///
    /// # Errors
    /// The first table that is wrong, named.
    pub fn ensure(&self) -> Result<(), WorstError> {
        for (index, variable) in self.variables.iter().enumerate() {
            let what = &variable.name;
            distribution(&variable.own, variable.states.len(), what)?;
            if variable.root && !variable.links.is_empty() {
                return Err(WorstError::RootWithParents { what: what.clone() });
            }
            for link in &variable.links {
                let Some(parent) = self.variables.get(link.parent).filter(|_| link.parent < index) else {
                    return Err(WorstError::Parent { what: what.clone(), parent: link.parent });
                };
                let place = format!("{what} given {}", parent.name);
                if link.given.len() != parent.states.len() {
                    let why = format!("{} rows for {} states of the parent", link.given.len(), parent.states.len());
                    return Err(WorstError::Distribution { what: place, why });
                }
                for row in &link.given {
                    distribution(row, variable.states.len(), &place)?;
                }
            }
        }
        Ok(())
    }

    /// Says whether a reading fits this network.
    ///
    /// # Errors
    /// The first table of the reading that is wrong, named.
    pub fn ensure_reading(&self, reading: &Reading) -> Result<(), WorstError> {
        let pair = |values: &[f64; 2], what: &str| {
            let [below, here] = *values;
            distribution(&[below, here, (1.0 - below - here).max(0.0)], 3, what)
        };
        pair(&reading.own, &reading.name)?;
        if !(0.0..1.0).contains(&reading.echo) {
            let why = format!("echo {} is not from 0 to below 1", reading.echo);
            return Err(WorstError::Distribution { what: reading.name.clone(), why });
        }
        for link in &reading.links {
            let Some(parent) = self.variables.get(link.parent) else {
                return Err(WorstError::Parent { what: reading.name.clone(), parent: link.parent });
            };
            let place = format!("{} given {}", reading.name, parent.name);
            if link.given.len() != parent.states.len() {
                let why = format!("{} rows for {} states", link.given.len(), parent.states.len());
                return Err(WorstError::Distribution { what: place, why });
            }
            for row in &link.given {
                pair(row, &place)?;
            }
        }
        Ok(())
    }
}

/// Running sums of a distribution: entry `k` is the chance of state `k` or milder.
#[must_use]
pub fn cumulative(values: &[f64]) -> Vec<f64> {
    let mut sum = 0.0;
    let mut out: Vec<f64> = values
        .iter()
        .map(|p| {
            sum += p;
            sum
        })
        .collect();
    if let Some(last) = out.last_mut() {
        *last = 1.0;
    }
    out
}
