//! Exact answers for any discrete network by passing messages in a tree of cliques.
//!
//! # What is done
//!
//! Laying out ([`JunctionTree::new`]) fixes the cliques once. For each question the observed
//! variables are cut out of every table (so cliques shrink), messages go up to the roots, which
//! gives the probability of the evidence, and come down again, which gives every posterior.
//! Where everything below a clique is unobserved the upward message is one by construction and
//! neither computed nor multiplied: tables are taken to add up exactly to one. The same upward
//! pass with "largest" in place of "sum" gives the most probable explanation, and with "possible
//! or not" in place of numbers it finds out which pieces of evidence contradict each other.
//!
//! # Numbers
//!
//! Every message is divided by a power of two and the exponents are added up apart, so the
//! probability of the evidence may be as small as one likes. Only cells with odds beyond 1 in 1e280
//! against the largest cell of the same message are dropped. An upper bound of what was dropped
//! is carried along; when it could reach one part in 1e15 of the answer, the answer is withheld with
//! [`InferenceError::TooImprobable`], and never mistaken for an impossibility.

#![expect(clippy::indexing_slicing, reason = "all indices are variables or cliques of the tree being walked")]

use std::collections::BTreeSet;

use thiserror::Error;

use crate::evidence::{Evidence, Explanation, InferenceError, Posteriors};
use crate::kernel::{Axis, Overlay, exponent, lowest_exponent, offsets, scale, size, total};
use crate::network::Network;
use crate::triangulate::{CliqueTree, clique_tree};

/// The number of clique entries allowed when nothing else is said: two gigabytes of numbers.
pub const DEFAULT_LIMIT: u64 = 1 << 28;

/// Cells of a message below this are dropped; its largest cell is between one and two.
const DROP: f64 = 1e-280;

/// The same as a power of two.
const DROP_EXPONENT: i64 = -930;

/// What is lost below the range of numbers when the largest cell is about one.
const UNDERFLOW_EXPONENT: i64 = -1020;

/// How much of an answer, as a power of two, may have been dropped.
const BEARABLE: i64 = -50;

/// Lowest exponent a product may reach before it is scaled.
const LOW: i64 = -900;

/// Why a network cannot be laid out as a tree of cliques.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum TreeError {
    /// The cliques would hold too many entries.
    #[error(
        "the cliques would hold {total} entries, more than the limit of {limit}; the largest, with {largest} entries, joins {clique}; observe some of these variables before, give one of them fewer parents, or raise the limit"
    )]
    TooLarge {
        /// Entries of all cliques together.
        total: u64,
        /// The limit.
        limit: u64,
        /// Entries of the largest clique.
        largest: u64,
        /// The variables of the largest clique, in words.
        clique: String,
    },
    /// A variable to be observed is not there.
    #[error(
        "variable number {index} is to be observed, but there are only {count} variables (counted from 0); correct the index"
    )]
    UnknownIndex {
        /// The index.
        index: usize,
        /// How many variables there are.
        count: usize,
    },
}

/// A network laid out for exact answers.
#[derive(Debug, Clone)]
pub struct JunctionTree {
    network: Network,
    counts: Vec<usize>,
    tree: CliqueTree,
    /// Variables that must be observed in every question.
    absent: Vec<bool>,
    /// The clique each table is multiplied into.
    table_home: Vec<Option<usize>>,
    /// The clique in which each variable is summed out.
    variable_home: Vec<Option<usize>>,
    entries: Vec<u64>,
}

impl JunctionTree {
    /// Lays out a network for any evidence.
    ///
    /// # Errors
    /// [`TreeError::TooLarge`] names the largest clique when all cliques together would hold more
    /// than `limit` entries (of eight bytes each); nothing of that size is allocated before.
    pub fn new(network: &Network, limit: u64) -> Result<Self, TreeError> {
        Self::for_observed(network, &BTreeSet::new(), limit)
    }

    /// Lays out a network for evidence that always has the given variables observed.
    ///
    /// The cliques are smaller than those of [`Self::new`], often much smaller; in exchange every
    /// question must give a hard observation for each of these variables.
    ///
    /// # Errors
    /// As [`Self::new`], and [`TreeError::UnknownIndex`].
    pub fn for_observed(network: &Network, observed: &BTreeSet<usize>, limit: u64) -> Result<Self, TreeError> {
        let counts: Vec<usize> = network.variables().iter().map(|v| v.states.len()).collect();
        let mut absent = vec![false; counts.len()];
        for &index in observed {
            let count = counts.len();
            *absent.get_mut(index).ok_or(TreeError::UnknownIndex { index, count })? = true;
        }
        let families: Vec<Vec<usize>> =
            network.tables().iter().map(|t| t.parents.iter().copied().chain([t.child]).collect()).collect();
        let tree = clique_tree(&counts, &families, &absent);
        let entries = tree.entries(&counts);
        let total = entries.iter().fold(0_u64, |sum, &e| sum.saturating_add(e));
        if total > limit {
            let (place, largest) = largest_of(&entries);
            return Err(TreeError::TooLarge { total, limit, largest, clique: in_words(network, &tree.cliques[place]) });
        }
        let variable_home = tree.home(counts.len());
        let table_home = families
            .iter()
            .map(|family| {
                let first = family.iter().filter_map(|&v| tree.rank[v].map(|rank| (rank, v))).min()?;
                variable_home[first.1]
            })
            .collect();
        Ok(Self { network: network.clone(), counts, tree, absent, table_home, variable_home, entries })
    }

    /// Lays out a network for questions with the same variables observed as in this evidence.
    ///
    /// # Errors
    /// As [`Self::for_observed`].
    pub fn for_evidence(network: &Network, evidence: &Evidence, limit: u64) -> Result<Self, TreeError> {
        Self::for_observed(network, &evidence.hard.keys().copied().collect(), limit)
    }

    /// Gives the network this tree answers for.
    #[must_use]
    pub fn network(&self) -> &Network {
        &self.network
    }

    /// Gives the number of entries of all cliques together, before any evidence.
    #[must_use]
    pub fn entries(&self) -> u64 {
        self.entries.iter().sum()
    }

    /// Gives the number of entries and the variables of the largest clique.
    #[must_use]
    pub fn largest_clique(&self) -> (u64, &[usize]) {
        if self.entries.is_empty() {
            return (0, &[]);
        }
        let (place, entries) = largest_of(&self.entries);
        (entries, &self.tree.cliques[place])
    }

    /// Gives the posterior of every variable and the probability of the evidence.
    ///
    /// # Shapes
    /// See [`Posteriors`]. Observed variables have one and zeros.
    ///
    /// # Errors
    /// [`InferenceError`] when the evidence does not fit, is impossible (with a smallest set of
    /// pieces that contradict each other), or is too improbable to be told from impossible.
    pub fn posteriors(&self, evidence: &Evidence) -> Result<Posteriors, InferenceError> {
        self.check(evidence)?;
        let question = Question::new(self, evidence, Kind::Sum);
        let up = question.up().map_err(|stop| self.explain(stop, evidence))?;
        let log10_p_evidence = up.odds.log10();
        let marginals = question.down(up, evidence);
        Ok(Posteriors { log10_p_evidence, marginals })
    }

    /// Gives the decimal logarithm of the probability of the evidence alone, about twice as fast.
    ///
    /// # Errors
    /// As [`Self::posteriors`].
    pub fn log10_p_evidence(&self, evidence: &Evidence) -> Result<f64, InferenceError> {
        self.check(evidence)?;
        Question::new(self, evidence, Kind::Sum)
            .up()
            .map(|up| up.odds.log10())
            .map_err(|stop| self.explain(stop, evidence))
    }

    /// Gives the most probable state of all variables together.
    ///
    /// # Errors
    /// As [`Self::posteriors`].
    pub fn most_probable(&self, evidence: &Evidence) -> Result<Explanation, InferenceError> {
        self.check(evidence)?;
        let question = Question::new(self, evidence, Kind::Largest);
        let up = question.up().map_err(|stop| self.explain(stop, evidence))?;
        let mut states = vec![0; self.counts.len()];
        for (&v, &state) in &evidence.hard {
            states[v] = state;
        }
        for clique in (0..self.tree.cliques.len()).rev() {
            let axes = &question.axes[clique];
            let shared = question.shared[clique];
            let run = size(&axes[shared..]);
            let at = axes[..shared].iter().fold(0, |at, &(v, n)| at * n + states[v]);
            let cells = &up.cells[clique][at * run..(at + 1) * run];
            let mut best = (0, -1.0);
            for (place, &cell) in cells.iter().enumerate() {
                if cell > best.1 {
                    best = (place, cell);
                }
            }
            let mut rest = best.0;
            for &(v, n) in axes[shared..].iter().rev() {
                states[v] = rest % n;
                rest /= n;
            }
        }
        let mut odds = Odds::default();
        for table in self.network.tables() {
            let row = table.parents.iter().fold(0, |row, &p| row * self.counts[p] + states[p]);
            odds.multiply(table.values[row * self.counts[table.child] + states[table.child]]);
        }
        for (&v, weights) in &evidence.soft {
            odds.multiply(weights[states[v]]);
        }
        Ok(Explanation { states, log10_p: odds.log10() })
    }

    fn check(&self, evidence: &Evidence) -> Result<(), InferenceError> {
        evidence.check(&self.network)?;
        for (v, _) in self.absent.iter().enumerate().filter(|&(_, &a)| a) {
            if !evidence.hard.contains_key(&v) {
                return Err(InferenceError::NotObserved { variable: self.network.variables()[v].name.clone() });
            }
        }
        Ok(())
    }

    fn explain(&self, stop: Stop, evidence: &Evidence) -> InferenceError {
        let possible = || Question::new(self, evidence, Kind::Possible).up().is_ok();
        if stop == Stop::TooMuchDropped || possible() {
            return InferenceError::TooImprobable { evidence: evidence.in_words(&self.network) };
        }
        InferenceError::Impossible { conflict: self.conflict(evidence).in_words(&self.network) }
    }

    /// Gives a smallest part of impossible evidence that is impossible by itself.
    ///
    /// Pieces are added in their order until the collection turns impossible; the last one added
    /// is in the conflict. It is kept, and the search goes on among those before it.
    fn conflict(&self, evidence: &Evidence) -> Evidence {
        // A tree laid out for observed variables cannot do without them; lay out a free one
        // if it fits, else name all pieces.
        let free;
        let tree = if self.absent.iter().any(|&a| a) {
            match Self::new(&self.network, DEFAULT_LIMIT) {
                Ok(made) => {
                    free = made;
                    &free
                }
                Err(_) => return evidence.clone(),
            }
        } else {
            self
        };
        let pieces: Vec<Piece<'_>> = evidence
            .hard
            .iter()
            .map(|(&v, &state)| Piece::Hard(v, state))
            .chain(evidence.soft.iter().map(|(&v, w)| Piece::Soft(v, w)))
            .collect();
        let impossible = |kept: &[Piece<'_>], first: &[Piece<'_>]| {
            let mut part = Evidence::default();
            for piece in kept.iter().chain(first) {
                piece.add_to(&mut part);
            }
            Question::new(tree, &part, Kind::Possible).up().is_err()
        };
        let mut kept: Vec<Piece<'_>> = Vec::new();
        let mut open = pieces.as_slice();
        while !impossible(&kept, &[]) {
            // Smallest number of open pieces that makes it impossible, by halving.
            let (mut possible_at, mut impossible_at) = (0, open.len());
            while impossible_at - possible_at > 1 {
                let middle = possible_at.midpoint(impossible_at);
                if impossible(&kept, &open[..middle]) {
                    impossible_at = middle;
                } else {
                    possible_at = middle;
                }
            }
            let Some((&last, before)) = open[..impossible_at].split_last() else {
                return evidence.clone();
            };
            kept.push(last);
            open = before;
        }
        let mut conflict = Evidence::default();
        for piece in &kept {
            piece.add_to(&mut conflict);
        }
        conflict
    }
}

fn largest_of(entries: &[u64]) -> (usize, u64) {
    let mut best = (0, 0);
    for (place, &e) in entries.iter().enumerate() {
        if e > best.1 {
            best = (place, e);
        }
    }
    best
}

fn in_words(network: &Network, clique: &[usize]) -> String {
    const SHOWN: usize = 12;
    let mut names: Vec<String> = clique.iter().take(SHOWN).map(|&v| network.variables()[v].name.clone()).collect();
    if clique.len() > SHOWN {
        names.push(format!("{} more", clique.len() - SHOWN));
    }
    names.join(", ")
}

/// One piece of evidence.
#[derive(Debug, Clone, Copy)]
enum Piece<'a> {
    Hard(usize, usize),
    Soft(usize, &'a [f64]),
}

impl Piece<'_> {
    fn add_to(&self, evidence: &mut Evidence) {
        match *self {
            Self::Hard(v, state) => {
                evidence.hard.insert(v, state);
            }
            Self::Soft(v, weights) => {
                evidence.soft.insert(v, weights.to_vec());
            }
        }
    }
}

/// What the upward pass computes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    /// Probabilities.
    Sum,
    /// The probability of the best combination.
    Largest,
    /// One for possible, zero for impossible.
    Possible,
}

/// A positive number kept as mantissa and power of two.
#[derive(Debug, Clone, Copy)]
struct Odds {
    mantissa: f64,
    exponent: i64,
}

impl Default for Odds {
    fn default() -> Self {
        Self { mantissa: 1.0, exponent: 0 }
    }
}

impl Odds {
    fn multiply(&mut self, by: f64) {
        let mut one = [by];
        if let Some(e) = scale(&mut one) {
            self.exponent += e;
        }
        self.mantissa *= one[0];
        let e = if self.mantissa > 0.0 { exponent(self.mantissa) } else { 0 };
        if e != 0 {
            let mut one = [self.mantissa];
            self.exponent += scale(&mut one).unwrap_or(0);
            self.mantissa = one[0];
        }
    }

    #[expect(clippy::cast_precision_loss, reason = "the exponent is far below two to the power of 53")]
    fn log10(self) -> f64 {
        self.mantissa.log10() + self.exponent as f64 * std::f64::consts::LOG10_2
    }
}

/// A table with the observed variables cut out, axes in the common order.
struct Factor {
    axes: Vec<Axis>,
    cells: Vec<f64>,
}

/// The tree as it stands for one set of evidence.
struct Question<'a> {
    tree: &'a CliqueTree,
    counts: &'a [usize],
    kind: Kind,
    /// The open axes of each clique.
    axes: Vec<Vec<Axis>>,
    /// How many of them are shared with the parent.
    shared: Vec<usize>,
    /// What is multiplied into each clique.
    factors: Vec<Vec<Factor>>,
    /// What has no open variable left.
    constants: Vec<f64>,
    /// Cliques whose upward message is one by construction.
    silent: Vec<bool>,
}

/// Why an upward pass came to no answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Stop {
    /// Every cell of some message is zero.
    NothingLeft,
    /// What was dropped along the way may weigh as much as what is left.
    TooMuchDropped,
}

/// The tables and messages of one clique multiplied together.
struct Product {
    cells: Vec<f64>,
    /// The power of two divided out.
    taken: i64,
    /// Upper bound, as a power of two, of what any cell has lost.
    lost: Option<i64>,
}

/// A message and the upper bound of what any cell has lost, as a power of two.
#[derive(Debug, Clone, Default)]
struct Message {
    cells: Vec<f64>,
    lost: Option<i64>,
}

/// What the upward pass leaves behind.
struct Up {
    odds: Odds,
    /// The product of tables and messages in each clique; empty where silent.
    cells: Vec<Vec<f64>>,
    /// The scaled upward message of each clique; empty where silent and for roots.
    messages: Vec<Message>,
}

impl<'a> Question<'a> {
    fn new(junction: &'a JunctionTree, evidence: &Evidence, kind: Kind) -> Self {
        let tree = &junction.tree;
        let counts = &junction.counts;
        let mut hard: Vec<Option<usize>> = vec![None; counts.len()];
        for (&v, &state) in &evidence.hard {
            hard[v] = Some(state);
        }
        let open = |v: &usize| hard[*v].is_none();
        let axes: Vec<Vec<Axis>> = tree
            .cliques
            .iter()
            .map(|clique| clique.iter().filter(|v| open(v)).map(|&v| (v, counts[v])).collect())
            .collect();
        let shared: Vec<usize> = tree
            .cliques
            .iter()
            .zip(&tree.shared)
            .map(|(clique, &shared)| clique.iter().take(shared).filter(|v| open(v)).count())
            .collect();
        let mut factors: Vec<Vec<Factor>> = (0..axes.len()).map(|_| Vec::new()).collect();
        let mut constants = Vec::new();
        // Variables summed out here whose own table is here too, less whatever disturbs.
        let mut own = vec![0_usize; axes.len()];
        let mut silent = vec![kind == Kind::Sum; axes.len()];
        for (table, home) in junction.network.tables().iter().zip(&junction.table_home) {
            let mut factor = cut_out(table, counts, &hard, tree);
            if kind == Kind::Possible {
                mark_possible(&mut factor.cells);
            }
            let Some(home) = *home else {
                constants.extend(factor.cells);
                continue;
            };
            if hard[table.child].is_none() && junction.variable_home[table.child] == Some(home) {
                own[home] += 1;
            } else {
                silent[home] = false;
            }
            if factor.axes.is_empty() {
                constants.extend(factor.cells);
            } else {
                factors[home].push(factor);
            }
        }
        for (&v, weights) in &evidence.soft {
            if let Some(state) = hard[v] {
                let weight = weights[state];
                constants.push(if kind == Kind::Possible && weight > 0.0 { 1.0 } else { weight });
            } else if let Some(home) = junction.variable_home[v] {
                silent[home] = false;
                let mut cells = weights.clone();
                if kind == Kind::Possible {
                    mark_possible(&mut cells);
                }
                factors[home].push(Factor { axes: vec![(v, counts[v])], cells });
            }
        }
        for clique in 0..axes.len() {
            silent[clique] &= own[clique] == axes[clique].len() - shared[clique];
            if let Some(parent) = tree.parent[clique] {
                silent[parent] &= silent[clique];
            }
        }
        Self { tree, counts, kind, axes, shared, factors, constants, silent }
    }

    /// Multiplies the tables and messages of a clique together.
    fn product<'m>(&'m self, clique: usize, messages: impl Iterator<Item = (&'m [Axis], &'m Message)>) -> Product {
        let axes = &self.axes[clique];
        let mut product = Product { cells: Vec::new(), taken: 0, lost: None };
        let mut low = 0;
        let mut parts_taken = 0;
        let parts = self.factors[clique]
            .iter()
            .map(|factor| (factor.axes.as_slice(), factor.cells.as_slice(), None))
            .chain(messages.map(|(axes, message)| (axes, message.cells.as_slice(), message.lost)));
        for (part_axes, part, part_lost) in parts {
            let overlay = Overlay::new(axes, part_axes);
            // A likelihood may come with weights of any size; everything else is about one at most.
            let high = part.iter().fold(0.0_f64, |most, &cell| most.max(cell));
            let mut scaled = Vec::new();
            let part = if (1e-3..2.0).contains(&high) {
                part
            } else {
                scaled.extend_from_slice(part);
                parts_taken += scale(&mut scaled).unwrap_or(0);
                scaled.as_slice()
            };
            low += lowest_exponent(part);
            // The parts are below two: what was lost is at most doubled by each.
            product.lost = product.lost.max(part_lost).map(|lost| lost + 2);
            if product.cells.is_empty() {
                product.cells = vec![0.0; size(axes)];
                overlay.spread(&mut product.cells, part);
            } else {
                overlay.multiply(&mut product.cells, part);
            }
            if low < LOW {
                let by = scale(&mut product.cells).unwrap_or(0);
                product.taken += by;
                product.lost = product.lost.map(|lost| lost - by);
                low = lowest_exponent(&product.cells);
                if low < LOW {
                    product.lost = product.lost.max(Some(UNDERFLOW_EXPONENT));
                }
            }
        }
        product.taken += parts_taken;
        if product.cells.is_empty() {
            product.cells = vec![1.0; size(axes)];
        }
        product
    }

    /// Sums, or takes the largest, down to the variables shared with the parent.
    fn message(&self, from: &[Axis], cells: &[f64], shared: &[Axis]) -> Vec<f64> {
        let mut message = vec![0.0; size(shared)];
        let overlay = Overlay::new(from, shared);
        match self.kind {
            Kind::Sum => overlay.sum(cells, &mut message),
            Kind::Largest | Kind::Possible => overlay.largest(cells, &mut message),
        }
        message
    }

    fn up(&self) -> Result<Up, Stop> {
        let count = self.axes.len();
        let mut odds = Odds::default();
        for &constant in &self.constants {
            if constant <= 0.0 {
                return Err(Stop::NothingLeft);
            }
            odds.multiply(constant);
        }
        let mut up = Up { odds, cells: vec![Vec::new(); count], messages: vec![Message::default(); count] };
        let mut children: Vec<Vec<usize>> = vec![Vec::new(); count];
        for clique in 0..count {
            if self.silent[clique] {
                continue;
            }
            let below = std::mem::take(&mut children[clique]);
            let incoming = below.iter().map(|&c| (&self.axes[c][..self.shared[c]], &up.messages[c]));
            let Product { mut cells, taken, lost } = self.product(clique, incoming);
            up.odds.exponent += taken;
            let axes = &self.axes[clique];
            let (shared, own) = axes.split_at(self.shared[clique]);
            let mut message = self.message(axes, &cells, shared);
            let by = scale(&mut message).ok_or(Stop::NothingLeft)?;
            let summed = i64::from(size(own).ilog2()) + 1;
            let mut lost = lost.map(|lost| lost + summed - by);
            if let Some(parent) = self.tree.parent[clique] {
                up.odds.exponent += by;
                if by < -64 {
                    // Only their proportions are used from here on; keep clear of the low end.
                    scale(&mut cells);
                }
                for cell in &mut message {
                    if *cell < DROP && *cell > 0.0 {
                        *cell = 0.0;
                        lost = lost.max(Some(DROP_EXPONENT));
                    }
                }
                up.messages[clique] = Message { cells: message, lost };
                children[parent].push(clique);
            } else {
                if self.kind != Kind::Possible && lost.is_some_and(|lost| lost > BEARABLE) {
                    return Err(Stop::TooMuchDropped);
                }
                up.odds.exponent += by;
                for cell in message {
                    up.odds.multiply(cell);
                }
            }
            up.cells[clique] = if self.kind == Kind::Possible { Vec::new() } else { cells };
        }
        Ok(up)
    }

    /// Sends messages down and reads every posterior off the smallest clique it is in.
    fn down(&self, mut up: Up, evidence: &Evidence) -> Vec<Vec<f64>> {
        let mut marginals: Vec<Vec<f64>> = self.counts.iter().map(|&n| vec![0.0; n]).collect();
        for (&v, &state) in &evidence.hard {
            marginals[v][state] = 1.0;
        }
        let readers = self.readers();
        let mut waiting = vec![0_usize; self.axes.len()];
        for parent in self.tree.parent.iter().flatten() {
            waiting[*parent] += 1;
        }
        for clique in (0..self.axes.len()).rev() {
            let axes = &self.axes[clique];
            let mut cells = std::mem::take(&mut up.cells[clique]);
            if self.silent[clique] {
                cells = self.product(clique, std::iter::empty()).cells;
            }
            if let Some(parent) = self.tree.parent[clique] {
                let shared = &axes[..self.shared[clique]];
                let mut news = self.message(&self.axes[parent], &up.cells[parent], shared);
                scale(&mut news);
                for (new, &old) in news.iter_mut().zip(&up.messages[clique].cells) {
                    *new = if old > 0.0 { *new / old } else { 0.0 };
                }
                Overlay::new(axes, shared).multiply(&mut cells, &news);
                waiting[parent] -= 1;
                if waiting[parent] == 0 {
                    up.cells[parent] = Vec::new();
                }
            }
            for &v in &readers[clique] {
                let marginal = &mut marginals[v];
                Overlay::new(axes, &[(v, self.counts[v])]).sum(&cells, marginal);
                let sum = total(marginal);
                for p in marginal {
                    *p /= sum;
                }
            }
            if waiting[clique] > 0 {
                up.cells[clique] = cells;
            }
        }
        marginals
    }

    /// Gives for each clique the variables whose posterior is read there.
    fn readers(&self) -> Vec<Vec<usize>> {
        let sizes: Vec<usize> = self.axes.iter().map(|axes| size(axes)).collect();
        let mut best: Vec<Option<usize>> = vec![None; self.counts.len()];
        for (clique, axes) in self.axes.iter().enumerate() {
            for &(v, _) in axes {
                if best[v].is_none_or(|other| sizes[clique] < sizes[other]) {
                    best[v] = Some(clique);
                }
            }
        }
        let mut readers = vec![Vec::new(); self.axes.len()];
        for (v, clique) in best.iter().enumerate() {
            if let Some(clique) = *clique {
                readers[clique].push(v);
            }
        }
        readers
    }
}

fn mark_possible(cells: &mut [f64]) {
    for cell in cells {
        *cell = if *cell > 0.0 { 1.0 } else { 0.0 };
    }
}

/// Gives the part of a table that agrees with the observed states, axes in the common order.
fn cut_out(table: &crate::network::Table, counts: &[usize], hard: &[Option<usize>], tree: &CliqueTree) -> Factor {
    let mut base = 0;
    let mut stride = 1;
    // (order, variable, states, stride in the table)
    let mut open: Vec<(usize, usize, usize, usize)> = Vec::with_capacity(table.parents.len() + 1);
    for &v in std::iter::once(&table.child).chain(table.parents.iter().rev()) {
        match hard[v] {
            Some(state) => base += state * stride,
            None => open.push((tree.rank[v].unwrap_or(0), v, counts[v], stride)),
        }
        stride *= counts[v];
    }
    open.sort_unstable_by(|a, b| b.cmp(a));
    let steps: Vec<(usize, usize)> = open.iter().map(|&(_, _, n, s)| (n, s)).collect();
    Factor {
        axes: open.iter().map(|&(_, v, n, _)| (v, n)).collect(),
        cells: offsets(&steps).into_iter().map(|offset| table.values[base + offset]).collect(),
    }
}
