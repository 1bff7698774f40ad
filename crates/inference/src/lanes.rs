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
//! [`Engine::build`] takes differences for wide readings only, and [`Engine::without_differences`] for none. A reading of the
//! best outcome has nothing to be taken off, so [`Engine::build`] carries it in this form wherever it looks.

mod builder;
mod clash;
mod draw;
mod numbers;
mod table;
mod tree;

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use builder::Wide;
pub use clash::clash;
use draw::Chance;
pub use draw::{Drawn, Draws, drawn, forward_draws, posterior_draws};
use rayon::prelude::*;
use tree::{Of, Part, PartRun, Scaled, Split};

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
const NEAR: f64 = 700_000.0;
/// Up to this factor of further products parts may be cut so that their tables stay near \[ours\].
const DEARER: f64 = 1.5;
/// Joint root states of a part on average, at least: fewer leave the wide instructions without work \[ours\].
const LANES: usize = 8;
/// Into so many lists the parts are dealt; each list is worked by one processor, whatever their number, so that sums are
/// added up in the same order everywhere \[ours\].
const LISTS: usize = 4;

/// A compiled case: the tree for one pattern of evidence.
#[derive(Debug)]
pub struct Engine {
    /// The tree.
    whole: Part,
    /// How it is cut by joint root states, and the parts, where its tables would not stay near.
    cut: Option<(Split, Vec<Part>)>,
    variables: usize,
    size: (usize, f64),
}

/// The tree of a pattern of evidence, laid out for all joint root states and not yet told which of them matter.
#[derive(Debug)]
pub struct Laid {
    whole: Part,
    variables: usize,
}

impl Laid {
    /// Lays the tree.
    ///
    /// # Errors
    /// As [`Engine::build`].
    pub fn out(net: &WorstNet, readings: &[Reading]) -> Result<Self, LanesError> {
        Ok(Self { whole: Part::build(net, readings, Wide::Difference)?, variables: net.variables.len() })
    }

    /// The engine of some joint root states only (ascending, the last root running fastest): all others are taken as
    /// impossible. [`drawn`] says which may be left out, and what that can cost.
    #[must_use]
    pub fn among(&self, states: &[u32]) -> Engine {
        Engine::of(self.whole.within(states.to_vec()), self.variables, NEAR, DEARER, LANES)
    }
}

impl Engine {
    /// Builds the tree for a network and the readings taken.
    ///
    /// # Errors
    /// A malformed table, or a table that would not fit; never a wrong answer.
    pub fn build(net: &WorstNet, readings: &[Reading]) -> Result<Self, LanesError> {
        let Laid { whole, variables } = Laid::out(net, readings)?;
        Ok(Self::of(whole, variables, NEAR, DEARER, LANES))
    }

    /// The same engine with every reading carried by the rule of the worst: no digit is lost, at the price of time.
    ///
    /// # Errors
    /// As [`Engine::build`].
    pub fn without_differences(net: &WorstNet, readings: &[Reading]) -> Result<Self, LanesError> {
        let whole = Part::build(net, readings, Wide::Worst)?;
        Ok(Self::of(whole, net.variables.len(), NEAR, DEARER, LANES))
    }

    fn of(whole: Part, variables: usize, near: f64, dearer: f64, least: usize) -> Self {
        let size = (whole.nodes(), whole.work());
        let cut = whole.split(near, dearer, least).map(|split| {
            let parts = split.kept.par_iter().map(|kept| whole.rest(kept.clone(), &split)).collect();
            (split, parts)
        });
        Self { whole, cut, variables, size }
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
        let kept =
            self.whole.shape.lanes.kept.iter().copied().filter(|code| !out.contains(&(*code as usize))).collect();
        Self::of(self.whole.within(kept), self.variables, NEAR, DEARER, LANES)
    }

    /// Cuts the joint root states further, until no table of a part has more than so many entries or nothing is left to
    /// cut. Answers stay the same; only the memory and the time change.
    #[must_use]
    pub fn cut(self, entries: f64) -> Self {
        Self::of(self.whole, self.variables, entries, f64::INFINITY, 1)
    }

    /// How many nodes the tree has, and how many multiplications one pass over it takes at most.
    #[must_use]
    pub fn size(&self) -> (usize, f64) {
        self.size
    }

    /// Into how many parts the joint root states are cut.
    #[must_use]
    pub fn parts(&self) -> usize {
        self.cut.as_ref().map_or(1, |(_, parts)| parts.len())
    }

    /// Works the tree: the state from which every question is answered.
    ///
    /// # Errors
    /// Readings that exclude one another.
    pub fn run(&self, extra: &Extra) -> Result<Run<'_>, LanesError> {
        self.run_for(extra, &(0..self.variables).collect::<Vec<usize>>())
    }

    /// The tree as it is, and once more with each list of further constraints, sharing all that these do not change; the
    /// marginals of some variables only.
    ///
    /// # Errors
    /// Readings, or constraints, that exclude one another.
    pub fn run_each(&self, extras: &[Extra], variables: &[usize]) -> Result<(Run<'_>, Vec<Run<'_>>), LanesError> {
        let mut runs = Run::each(self, &Extra::default(), extras, variables)?.into_iter();
        let plain = runs.next().ok_or_else(|| LanesError::Impossible("nothing was asked".to_owned()))?;
        Ok((plain, runs.collect()))
    }

    /// The same with the marginals of some variables only, which is quicker; others are worked when they are asked for.
    ///
    /// # Errors
    /// As [`Engine::run`].
    pub fn run_for(&self, extra: &Extra, variables: &[usize]) -> Result<Run<'_>, LanesError> {
        Run::new(self, extra, variables)
    }
}

/// What the joint root states came to.
#[derive(Debug)]
enum Worked<'a> {
    /// All of it: the case is small.
    Kept(PartRun<'a>),
    /// What was worked once, and what each part came to.
    Parts {
        once: PartRun<'a>,
        parts: Vec<Noted>,
        /// The variables whose marginals are known.
        known: BTreeSet<usize>,
    },
}

/// The probability of the evidence by joint root state of one part, and the marginals of variables worked in it.
#[derive(Debug)]
struct Noted {
    lanes: Scaled,
    marginals: BTreeMap<usize, Scaled>,
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

/// What the parts of one run say.
#[derive(Debug)]
struct Told {
    noted: Vec<Noted>,
    /// Per edge: what the parts say about it together.
    said: Vec<Scaled>,
}

/// Engines worked part by part: without and with further constraints.
struct Cut<'a, 'x> {
    engine: &'a Engine,
    split: &'a Split,
    parts: &'a [Part],
    extra: &'x Extra,
    /// The variables whose marginals are asked for.
    wanted: &'x [usize],
}

impl Cut<'_, '_> {
    fn once(&self, variable: usize) -> bool {
        self.engine.whole.once(self.split, variable)
    }

    /// The edges below which something is asked for.
    fn edges(&self) -> BTreeSet<usize> {
        let below: Vec<usize> = self.wanted.iter().copied().filter(|v| self.once(*v)).collect();
        self.engine.whole.edges_above(self.split, &below)
    }

    /// Works every part, for the plain run and for each with further constraints, and adds up what they say.
    fn told(&self, plain: &PartRun<'_>, others: &[PartRun<'_>], further: &[Extra]) -> Vec<Told> {
        let edges = self.edges();
        let nothing = || -> Vec<Told> {
            let said = || edges.iter().map(|e| self.engine.whole.nothing(*e)).collect();
            (0..=others.len()).map(|_| Told { noted: Vec::new(), said: said() }).collect()
        };
        let some = self.parts.len().div_ceil(LISTS).max(1);
        let lists: Vec<Vec<Told>> = self
            .parts
            .par_chunks(some)
            .map(|list| {
                let mut told = nothing();
                for part in list {
                    let here = part.run(self.extra, Of::Rest(self.split, plain));
                    let mut told = told.iter_mut();
                    if let Some(told) = told.next() {
                        self.note(&here, &edges, told);
                    }
                    for ((whole, extra), told) in others.iter().zip(further).zip(told) {
                        let changed = here.with(extra.clone(), Of::Rest(self.split, whole), Some(plain));
                        self.note(&changed, &edges, told);
                    }
                }
                told
            })
            .collect();
        let mut all = nothing();
        for list in lists {
            for (all, told) in all.iter_mut().zip(list) {
                all.noted.extend(told.noted);
                for (sum, more) in all.said.iter_mut().zip(&told.said) {
                    *sum = added(std::mem::take(sum), more);
                }
            }
        }
        all
    }

    fn note(&self, run: &PartRun<'_>, edges: &BTreeSet<usize>, told: &mut Told) {
        let inner: Vec<usize> = self.wanted.iter().copied().filter(|v| !self.once(*v)).collect();
        run.prepare(&inner, edges);
        for (edge, sum) in edges.iter().zip(&mut told.said) {
            run.tell(*edge, &self.engine.whole.shape, sum);
        }
        let marginals = inner.into_iter().map(|v| (v, run.marginal(v))).collect();
        told.noted.push(Noted { lanes: run.lanes(), marginals });
    }
}

/// A worked tree: answers questions about one body of evidence.
#[derive(Debug)]
pub struct Run<'a> {
    engine: &'a Engine,
    extra: Extra,
    worked: Worked<'a>,
    ln_p: f64,
}

impl<'a> Run<'a> {
    fn new(engine: &'a Engine, extra: &Extra, wanted: &[usize]) -> Result<Self, LanesError> {
        let first = Self::each(engine, extra, &[], wanted)?.into_iter().next();
        first.ok_or_else(|| LanesError::Impossible("nothing was asked".to_owned()))
    }

    /// One run with some constraints, and one with each list of further ones.
    fn each(engine: &'a Engine, extra: &Extra, more: &[Extra], wanted: &[usize]) -> Result<Vec<Self>, LanesError> {
        let further: Vec<Extra> = more.iter().map(|m| and(extra, m)).collect();
        let Some((split, parts)) = &engine.cut else {
            let plain = engine.whole.run(extra, Of::All);
            plain.prepare(wanted, &BTreeSet::new());
            let other = |more: &Extra| {
                let run = plain.with(more.clone(), Of::All, None);
                run.prepare(wanted, &BTreeSet::new());
                run
            };
            let others: Vec<PartRun<'a>> = further.par_iter().map(other).collect();
            let all = [(extra.clone(), plain)].into_iter().chain(further.into_iter().zip(others));
            return all.map(|(extra, run)| Self::of(engine, extra, Worked::Kept(run))).collect();
        };
        let plain = engine.whole.run(extra, Of::Once(split));
        let others: Vec<PartRun<'a>> =
            further.par_iter().map(|m| plain.with(m.clone(), Of::Once(split), None)).collect();
        let cut = Cut { engine, split, parts, extra, wanted };
        let told = cut.told(&plain, &others, &further);
        let once = [plain].into_iter().chain(others);
        let extras = [extra.clone()].into_iter().chain(further);
        let known: BTreeSet<usize> = wanted.iter().copied().collect();
        extras
            .zip(once.zip(told))
            .map(|(extra, (once, told))| {
                for (edge, sum) in cut.edges().into_iter().zip(told.said) {
                    once.told(edge, sum);
                }
                let below: Vec<usize> = wanted.iter().copied().filter(|v| cut.once(*v)).collect();
                once.prepare(&below, &BTreeSet::new());
                Self::of(engine, extra, Worked::Parts { once, parts: told.noted, known: known.clone() })
            })
            .collect()
    }

    fn of(engine: &'a Engine, extra: Extra, worked: Worked<'a>) -> Result<Self, LanesError> {
        let mut out = Self { engine, extra, worked, ln_p: 0.0 };
        let lists: Vec<Scaled> = out.lanes().into_iter().map(|(_, lanes)| total(lanes)).collect();
        let all = sum(lists.iter().cloned());
        out.ln_p = all.values.iter().sum::<f64>().ln() + all.log;
        if !out.ln_p.is_finite() {
            return Err(LanesError::Impossible("their joint probability is zero".to_owned()));
        }
        Ok(out)
    }

    /// The probability of the evidence by joint root state, part after part.
    fn lanes(&self) -> Vec<(&Arc<Vec<u32>>, Scaled)> {
        match (&self.worked, &self.engine.cut) {
            (Worked::Parts { parts, .. }, Some((_, shapes))) => {
                shapes.iter().map(|p| &p.shape.lanes.kept).zip(parts.iter().map(|p| p.lanes.clone())).collect()
            }
            (Worked::Parts { once: run, .. } | Worked::Kept(run), _) => {
                vec![(&self.engine.whole.shape.lanes.kept, run.lanes())]
            }
        }
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
        let all = and(&self.extra, extra);
        match &self.worked {
            Worked::Kept(run) => Self::of(self.engine, all.clone(), Worked::Kept(run.with(all, Of::All, None))),
            Worked::Parts { .. } => Self::new(self.engine, &all, variables),
        }
    }

    /// The distribution of one variable given the evidence, one entry per state.
    #[must_use]
    pub fn marginal(&self, variable: usize) -> Vec<f64> {
        let here = self.unnormalised(variable);
        let total: f64 = here.values.iter().sum();
        here.values.into_iter().map(|x| (x / total).max(0.0)).collect()
    }

    fn unnormalised(&self, variable: usize) -> Scaled {
        match (&self.worked, &self.engine.cut) {
            (Worked::Parts { known, .. }, _) if !known.contains(&variable) => {
                // Not asked for when the parts were worked: worked again.
                let again = Self::new(self.engine, &self.extra, &[variable]);
                again.map(|run| run.unnormalised(variable)).unwrap_or_default()
            }
            (Worked::Parts { parts, .. }, Some((split, _))) if !self.engine.whole.once(split, variable) => {
                let lists: Vec<Scaled> = parts.iter().filter_map(|p| p.marginals.get(&variable)).cloned().collect();
                sum(lists.iter().cloned())
            }
            (Worked::Parts { once: run, .. } | Worked::Kept(run), _) => run.marginal(variable),
        }
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
        match &self.worked {
            Worked::Kept(run) => {
                let all = total(run.joint(&extra));
                all.values.iter().sum::<f64>() * (all.log - self.ln_p).exp()
            }
            Worked::Parts { .. } => {
                let again = Self::new(self.engine, &and(&self.extra, &extra), &[]);
                again.map_or(0.0, |run| (run.ln_p - self.ln_p).exp())
            }
        }
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
        let cards = &self.engine.whole.shape.lanes.root_cards;
        let mut out = vec![0.0; cards.iter().product()];
        for (kept, here) in self.lanes() {
            for (code, x) in kept.iter().zip(&here.values) {
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
        let parts = self.lanes();
        for (place, (_, here)) in parts.iter().enumerate() {
            let factor = (here.log - self.ln_p).exp();
            for (lane, x) in here.values.iter().enumerate() {
                sum += x * factor;
                lanes.push((place, lane));
                up_to.push(sum);
            }
        }
        let mut asked: Vec<Vec<(usize, usize)>> = vec![Vec::new(); parts.len()];
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
        for ((kept, _), asked) in parts.iter().zip(&asked) {
            if asked.is_empty() {
                continue;
            }
            let drawn = match (&self.worked, &self.engine.cut) {
                // Worked again, for the lanes that were drawn.
                (Worked::Parts { once, .. }, Some((split, _))) => {
                    let lanes: BTreeSet<usize> = asked.iter().map(|(_, lane)| *lane).collect();
                    let kept = lanes.iter().filter_map(|lane| kept.get(*lane)).copied().collect();
                    let places: BTreeMap<usize, usize> = lanes.iter().copied().zip(0..).collect();
                    let place = |lane: &usize| places.get(lane).copied().unwrap_or(0);
                    let asked: Vec<(usize, usize)> = asked.iter().map(|(i, lane)| (*i, place(lane))).collect();
                    let part = self.engine.whole.rest(kept, split);
                    part.run(&self.extra, Of::Whole(split, once)).draws(&asked, seed)
                }
                (Worked::Parts { once: run, .. } | Worked::Kept(run), _) => run.draws(asked, seed),
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

/// Further constraints on top of some.
fn and(extra: &Extra, more: &Extra) -> Extra {
    let mut all = extra.clone();
    for (variable, factor) in &more.factors {
        all.multiply(*variable, factor);
    }
    all.without.extend(more.without.iter().copied());
    all
}

/// The sum of two lists of numbers, each with its own factor.
fn added(a: Scaled, b: &Scaled) -> Scaled {
    let log = a.log.max(b.log);
    if !log.is_finite() {
        return a;
    }
    let (x, y) = ((a.log - log).exp(), (b.log - log).exp());
    Scaled { values: a.values.iter().zip(&b.values).map(|(a, b)| a * x + b * y).collect(), log }
}
