//! Exact inference in a worst-of network, with the shared roots carried as contiguous lanes.
//!
//! Comes in: a [`WorstNet`] and the readings taken. Goes out: the probability of the evidence, every
//! marginal, and the probability of any further outcome or joint constraint, exactly.
//!
//! Method. Tables are multiplied and summed along a binary tree that is found once per pattern of evidence
//! (deepest region first, then greedy smallest table, ties by position). The few root variables are never summed
//! inside the tree: every table has one lane per joint state of the roots that it depends on, so the inner loops are
//! long and plain.
//! A reading of many parts is not tabulated: it becomes one auxiliary variable, "the worst draw so far" (better than
//! the reading, equal to it, worse), that every part carries. Two parts are joined by the rule of the worst,
//! `c[k] = a[k] (b[0] + .. + b[k]) + (a[0] + .. + a[k-1]) b[k]`: no subtraction, so no digit is lost however improbable
//! the reading is. A variable with many parents is built up one draw at a time in the same way.
//! Equal parts of the tree (the same valve with the same readings) are computed once: each table carries a
//! digest of how it came to be. Where the tables would not stay near the processor, the joint root states are cut into
//! parts that are worked one by one, on all processors, and forgotten once their marginals are taken.
//!
//! Accuracy. [`Run::accuracy`] compares totals that must agree.
//!
//! A reading that looks at many regions at once (gas in the coolant: every cylinder) would make that rule dear. For
//! those the difference of two plain products is used, "at most this" less "better than this", which costs one
//! product per level but loses as many digits as the reading is improbable given all the others. So
//! [`Engine::build`] takes differences for wide readings only, and [`Engine::without_differences`] for none.

mod builder;
mod draw;
mod table;
mod tree;

use std::collections::{BTreeMap, BTreeSet};

use builder::Wide;
use draw::Chance;
pub use draw::{Drawn, Draws, drawn, forward_draws, posterior_draws};
use rayon::prelude::*;
use tree::{Part, PartRun, Scaled};

use crate::worst::{Reading, WorstError, WorstNet};

/// Why the evidence could not be worked through.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum LanesError {
    /// The network or a reading is malformed.
    #[error(transparent)]
    Worst(#[from] WorstError),
    /// The readings cannot all be true under this network.
    #[error("the readings exclude one another: {0}; withdraw or correct one of them")]
    Impossible(String),
    /// The network is too tightly coupled for exact tables.
    #[error(
        "{entries:.0} products would be needed around {variable}; withdraw a reading that looks at everything at once"
    )]
    TooLarge {
        /// Products that would be needed.
        entries: f64,
        /// The variable that would be summed.
        variable: String,
    },
}

/// Extra knowledge for one question: factors on single variables, and readings to leave out.
#[derive(Debug, Clone, Default)]
pub struct Extra {
    /// Per variable: a factor per state, multiplied in.
    pub factors: BTreeMap<usize, Vec<f64>>,
    /// Indices of readings to leave out.
    pub without: BTreeSet<usize>,
}

impl Extra {
    /// Multiplies a factor per state onto a variable.
    pub fn multiply(&mut self, variable: usize, factor: &[f64]) {
        self.factors
            .entry(variable)
            .and_modify(|old| {
                for (o, f) in old.iter_mut().zip(factor) {
                    *o *= f;
                }
            })
            .or_insert_with(|| factor.to_vec());
    }
}

fn to_f64(n: usize) -> f64 {
    u32::try_from(n).map_or(f64::MAX, f64::from)
}

/// Entries of the largest table of a part: what stays near the processor \[ours\].
const NEAR: f64 = 1_000_000.0;
/// Up to this factor of further products parts may be cut so that their tables stay near \[ours\].
const DEARER: f64 = 1.5;

/// A compiled case: the tree for one pattern of evidence.
#[derive(Debug)]
pub struct Engine {
    /// The tree, cut by joint root states.
    parts: Vec<Part>,
    variables: usize,
    size: (usize, f64),
}

impl Engine {
    /// Builds the tree for a network and the readings taken.
    ///
    /// # Errors
    /// A malformed table, or a table that would not fit; never a wrong answer.
    pub fn build(net: &WorstNet, readings: &[Reading]) -> Result<Self, LanesError> {
        Self::build_as(net, readings, Wide::Difference, None)
    }

    /// The same engine for some joint root states only (ascending, the last root running fastest): all others are taken
    /// as impossible. [`drawn`] says which may be left out, and what that can cost.
    ///
    /// # Errors
    /// As [`Engine::build`].
    pub fn among(net: &WorstNet, readings: &[Reading], states: &[u32]) -> Result<Self, LanesError> {
        Self::build_as(net, readings, Wide::Difference, Some(states.to_vec()))
    }

    /// The same engine with every reading carried by the rule of the worst: no digit is lost, at the price of time.
    ///
    /// # Errors
    /// As [`Engine::build`].
    pub fn without_differences(net: &WorstNet, readings: &[Reading]) -> Result<Self, LanesError> {
        Self::build_as(net, readings, Wide::Worst, None)
    }

    fn build_as(
        net: &WorstNet,
        readings: &[Reading],
        wide: Wide,
        states: Option<Vec<u32>>,
    ) -> Result<Self, LanesError> {
        let whole = Part::build(net, readings, wide, states)?;
        let size = (whole.nodes(), whole.work());
        Ok(Self { parts: whole.cut(NEAR, DEARER), variables: net.variables.len(), size })
    }

    /// The same engine without the joint root states that together have less than this share of a run's evidence.
    #[must_use]
    pub fn without_the_unlikely(&self, run: &Run<'_>, share: f64) -> Self {
        let roots = run.roots();
        let mut states: Vec<(usize, f64)> = roots.iter().copied().enumerate().collect();
        states.sort_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0)));
        let mut left = 0.0;
        let few = states.iter().take_while(|(_, p)| {
            left += p.max(0.0);
            left < share
        });
        let out: BTreeSet<usize> = few.map(|(code, _)| *code).collect();
        let likely = |part: &Part| {
            let kept: Vec<u32> =
                part.shape.lanes.kept.iter().copied().filter(|code| !out.contains(&(*code as usize))).collect();
            (!kept.is_empty()).then(|| part.within(kept))
        };
        Self { parts: self.parts.iter().filter_map(likely).collect(), ..*self }
    }

    /// Cuts the joint root states further, until no table of a part has more than so many entries or nothing is left to
    /// cut. Answers stay the same; only the memory and the time change.
    #[must_use]
    pub fn cut(self, entries: f64) -> Self {
        let parts = self.parts.into_iter().flat_map(|part| part.cut(entries, f64::INFINITY)).collect();
        Self { parts, ..self }
    }

    /// How many nodes the tree has, and how many multiplications one pass over it takes at most.
    #[must_use]
    pub fn size(&self) -> (usize, f64) {
        self.size
    }

    /// Into how many parts the joint root states are cut.
    #[must_use]
    pub fn parts(&self) -> usize {
        self.parts.len()
    }

    /// Works the tree: the state from which every question is answered.
    ///
    /// # Errors
    /// Readings that exclude one another.
    pub fn run(&self, extra: &Extra) -> Result<Run<'_>, LanesError> {
        self.run_for(extra, &(0..self.variables).collect::<Vec<usize>>())
    }

    /// The same with the marginals of some variables only, which is quicker; others are worked when they are asked for.
    ///
    /// # Errors
    /// As [`Engine::run`].
    pub fn run_for(&self, extra: &Extra, variables: &[usize]) -> Result<Run<'_>, LanesError> {
        Run::new(self, extra, variables)
    }
}

/// What one part of the joint root states came to.
#[derive(Debug)]
enum Worked<'a> {
    /// All of it: the case is small.
    Kept(PartRun<'a>),
    /// The probability of the evidence by joint root state, and the marginals that were asked for.
    Noted { lanes: Scaled, marginals: BTreeMap<usize, Scaled> },
}

impl Worked<'_> {
    fn lanes(&self) -> Scaled {
        match self {
            Self::Kept(run) => run.lanes(),
            Self::Noted { lanes, .. } => lanes.clone(),
        }
    }

    fn marginal(&self, variable: usize) -> Option<Scaled> {
        match self {
            Self::Kept(run) => Some(run.marginal(variable)),
            Self::Noted { marginals, .. } => marginals.get(&variable).cloned(),
        }
    }
}

/// Sums lists of numbers, each with its own factor; answers the sum and its factor.
fn sum(lists: impl Iterator<Item = Scaled> + Clone) -> Scaled {
    let telling = |s: &Scaled| s.values.iter().any(|x| x.abs() > 0.0);
    let log = lists.clone().filter(telling).map(|s| s.log).fold(f64::NEG_INFINITY, f64::max);
    let mut out = Scaled { values: Vec::new(), log: if log.is_finite() { log } else { 0.0 } };
    for list in lists {
        out.values.resize(list.values.len().max(out.values.len()), 0.0);
        let factor = (list.log - out.log).exp();
        for (sum, x) in out.values.iter_mut().zip(&list.values) {
            if *x != 0.0 {
                *sum += x * factor;
            }
        }
    }
    out
}

/// A worked tree: answers questions about one body of evidence.
#[derive(Debug)]
pub struct Run<'a> {
    engine: &'a Engine,
    extra: Extra,
    parts: Vec<Worked<'a>>,
    ln_p: f64,
}

impl<'a> Run<'a> {
    fn new(engine: &'a Engine, extra: &Extra, wanted: &[usize]) -> Result<Self, LanesError> {
        let parts = match engine.parts.as_slice() {
            [whole] => vec![Worked::Kept(whole.run(extra))],
            many => many.par_iter().map(|part| noted(&part.run(extra), wanted)).collect(),
        };
        Self::of(engine, extra.clone(), parts)
    }

    fn of(engine: &'a Engine, extra: Extra, parts: Vec<Worked<'a>>) -> Result<Self, LanesError> {
        let lists: Vec<Scaled> = parts.iter().map(Worked::lanes).map(total).collect();
        let all = sum(lists.iter().cloned());
        let ln_p = all.values.iter().sum::<f64>().ln() + all.log;
        if !ln_p.is_finite() {
            return Err(LanesError::Impossible("their joint probability is zero".to_owned()));
        }
        Ok(Self { engine, extra, parts, ln_p })
    }

    /// Natural logarithm of the probability of the evidence.
    #[must_use]
    pub fn ln_p(&self) -> f64 {
        self.ln_p
    }

    /// Works the tree again with further constraints, sharing what did not change where that is still known.
    ///
    /// # Errors
    /// Constraints that cannot hold together with the evidence.
    pub fn with(&self, extra: &Extra) -> Result<Run<'a>, LanesError> {
        self.with_for(extra, &(0..self.engine.variables).collect::<Vec<usize>>())
    }

    /// The same for the marginals of some variables only, which is quicker.
    ///
    /// # Errors
    /// Constraints that cannot hold together with the evidence.
    pub fn with_for(&self, extra: &Extra, variables: &[usize]) -> Result<Run<'a>, LanesError> {
        let all = self.and(extra);
        match self.parts.as_slice() {
            [Worked::Kept(run)] => Self::of(self.engine, all.clone(), vec![Worked::Kept(run.with(all))]),
            _ => Self::new(self.engine, &all, variables),
        }
    }

    fn and(&self, extra: &Extra) -> Extra {
        let mut all = self.extra.clone();
        for (variable, factor) in &extra.factors {
            all.multiply(*variable, factor);
        }
        all.without.extend(extra.without.iter().copied());
        all
    }

    /// The distribution of one variable given the evidence, one entry per state.
    #[must_use]
    pub fn marginal(&self, variable: usize) -> Vec<f64> {
        let here = self.unnormalised(variable);
        let total: f64 = here.values.iter().sum();
        here.values.into_iter().map(|x| (x / total).max(0.0)).collect()
    }

    fn unnormalised(&self, variable: usize) -> Scaled {
        let noted: Option<Vec<Scaled>> = self.parts.iter().map(|part| part.marginal(variable)).collect();
        let lists = noted.unwrap_or_else(|| {
            // Not asked for when the parts were worked: worked again.
            self.engine.parts.par_iter().map(|part| part.run(&self.extra).marginal(variable)).collect()
        });
        sum(lists.iter().cloned())
    }

    /// The probability of a further event relative to this evidence: P(event | evidence).
    ///
    /// The event is a product of one factor per variable, such as "this reading would be at most that level".
    #[must_use]
    pub fn probability(&self, event: &[(usize, Vec<f64>)]) -> f64 {
        let mut extra = Extra::default();
        for (variable, factor) in event {
            extra.multiply(*variable, factor);
        }
        if extra.factors.is_empty() {
            return 1.0;
        }
        let lists: Vec<Scaled> = match self.parts.as_slice() {
            [Worked::Kept(run)] => vec![total(run.joint(&extra))],
            _ => {
                let all = self.and(&extra);
                self.engine.parts.par_iter().map(|part| total(part.run(&all).lanes())).collect()
            }
        };
        let all = sum(lists.iter().cloned());
        all.values.iter().sum::<f64>() * (all.log - self.ln_p).exp()
    }

    /// The largest relative difference between totals that must agree: a measure of lost digits.
    #[must_use]
    pub fn accuracy(&self) -> f64 {
        self.accuracies().into_iter().fold(0.0_f64, f64::max)
    }

    /// The same measure per variable.
    #[must_use]
    pub fn accuracies(&self) -> Vec<f64> {
        let of = |variable| {
            let here = self.unnormalised(variable);
            let total: f64 = here.values.iter().sum();
            ((total.ln() + here.log - self.ln_p).exp() - 1.0).abs()
        };
        (0..self.engine.variables).map(of).collect()
    }

    /// The joint distribution of the roots given the evidence, the last root running fastest.
    #[must_use]
    pub fn roots(&self) -> Vec<f64> {
        let cards = self.engine.parts.first().map_or(&[][..], |p| &p.shape.lanes.root_cards);
        let mut out = vec![0.0; cards.iter().product()];
        for (part, worked) in self.engine.parts.iter().zip(&self.parts) {
            let here = worked.lanes();
            for (code, x) in part.shape.lanes.kept.iter().zip(&here.values) {
                if let Some(p) = out.get_mut(*code as usize) {
                    *p = x * (here.log - self.ln_p).exp();
                }
            }
        }
        out
    }

    /// Draws states of all variables from their exact joint distribution given the evidence.
    ///
    /// The same seed gives the same draws on every machine, whatever the number of threads. The engine must carry its
    /// readings without differences.
    #[must_use]
    pub fn draws(&self, count: usize, seed: u64) -> Draws {
        // Every lane of every part in turn, with the chances up to it.
        let mut lanes: Vec<(usize, usize)> = Vec::new();
        let mut up_to: Vec<f64> = Vec::new();
        let mut sum = 0.0;
        for (place, worked) in self.parts.iter().enumerate() {
            let here = worked.lanes();
            let factor = (here.log - self.ln_p).exp();
            for (lane, x) in here.values.iter().enumerate() {
                sum += x * factor;
                lanes.push((place, lane));
                up_to.push(sum);
            }
        }
        let mut asked: Vec<Vec<(usize, usize)>> = vec![Vec::new(); self.parts.len()];
        for index in 0..count {
            // Stratified over the roots: draw i falls into the i-th part of the scale.
            let u = (to_f64(index) + Chance::of(seed, index).unit()) / to_f64(count);
            let at = up_to.partition_point(|c| *c < u * sum).min(lanes.len().saturating_sub(1));
            if let Some((place, lane)) = lanes.get(at)
                && let Some(list) = asked.get_mut(*place)
            {
                list.push((index, *lane));
            }
        }
        let variables = self.engine.variables;
        let mut states = vec![0u8; count * variables];
        for ((part, worked), asked) in self.engine.parts.iter().zip(&self.parts).zip(&asked) {
            if asked.is_empty() {
                continue;
            }
            let drawn = match worked {
                Worked::Kept(run) => run.draws(asked, seed),
                // Worked again, for the lanes that were drawn.
                Worked::Noted { .. } => {
                    let lanes: BTreeSet<usize> = asked.iter().map(|(_, lane)| *lane).collect();
                    let kept = lanes.iter().filter_map(|lane| part.shape.lanes.kept.get(*lane)).copied().collect();
                    let places: BTreeMap<usize, usize> = lanes.iter().copied().zip(0..).collect();
                    let place = |lane: &usize| places.get(lane).copied().unwrap_or(0);
                    let asked: Vec<(usize, usize)> = asked.iter().map(|(i, lane)| (*i, place(lane))).collect();
                    part.within(kept).run(&self.extra).draws(&asked, seed)
                }
            };
            for ((index, _), row) in asked.iter().zip(&drawn) {
                if let Some(place) = states.get_mut(index * variables..(index + 1) * variables) {
                    place.copy_from_slice(row);
                }
            }
        }
        Draws { count, variables, states }
    }
}

fn total(list: Scaled) -> Scaled {
    Scaled { values: vec![list.values.iter().sum()], log: list.log }
}

fn noted<'a>(run: &PartRun<'_>, wanted: &[usize]) -> Worked<'a> {
    let marginals = wanted.iter().map(|v| (*v, run.marginal(*v))).collect();
    Worked::Noted { lanes: run.lanes(), marginals }
}
