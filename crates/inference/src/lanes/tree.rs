//! The tree of one pattern of evidence: found once, worked upwards and downwards for a part of the lanes at a time.

#![expect(clippy::indexing_slicing, reason = "numeric kernel: indices come from shapes fixed when the tree is built")]

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use rayon::prelude::*;

use super::builder::{Builder, Wide};
use super::table::{Guess, Hands, Lanes, Shape, Table, digest, step};
use super::{Extra, LanesError, to_f64};
use crate::worst::{Reading, WorstNet};

/// Up to so many tables every sequence of joining them is tried \[ours\].
const TRIED: usize = 6;
/// Products from which on a wave of nodes is shared among processors \[ours\].
const SHARED: f64 = 20_000.0;
/// Most products that summing one variable may take.
const LARGEST: f64 = 4e9;

#[derive(Debug, Clone)]
pub(super) enum Node {
    /// One of the given tables.
    Base(Table),
    /// Product of two nodes; `sum` is summed where given.
    Join { a: usize, b: usize, sum: Option<u32> },
    /// One node summed over a variable.
    Sum { a: usize, sum: u32 },
}

/// The tree of one pattern of evidence, for some of the joint root states.
#[derive(Debug)]
pub(super) struct Part {
    pub(super) shape: Shape,
    pub(super) nodes: Vec<Node>,
    parents: Arc<Vec<Option<usize>>>,
    /// The nodes by how many joins lie below them at most: those of one wave need each other in nothing.
    waves: Arc<Vec<Vec<usize>>>,
    /// Per node: products of one lane that it takes at most, and the roots that they depend on.
    products: Arc<Vec<(f64, u32)>>,
    /// Per node: the variables and roots that its table may depend on.
    scopes: Arc<Vec<(Vec<u32>, u32)>>,
    /// Per network variable: its place among the roots or among the tree's variables.
    pub(super) places: Arc<Vec<Place>>,
    /// Node of the free factor of each network variable.
    slots: Arc<Vec<usize>>,
    /// Per reading: the nodes that carry it, with what replaces them when the reading is left out.
    reading_nodes: Arc<Vec<Vec<(usize, Table)>>>,
    pub(super) full_mask: u32,
}

#[derive(Debug, Clone, Copy)]
pub(super) enum Place {
    Root(usize),
    Var(u32),
}

/// What summing a variable would take.
#[derive(Debug, Clone, Copy)]
struct Cost {
    /// Products.
    work: f64,
    /// The lowest is summed first.
    rank: f64,
}

/// Words that the bits of so many variables take.
fn words_of(cards: &[usize]) -> usize {
    cards.len().div_ceil(64).max(1)
}

/// A set of tree variables as bits.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Scope {
    words: Vec<u64>,
    mask: u32,
}

impl Scope {
    fn of(table: &Table, words: usize) -> Self {
        let mut out = Self { words: vec![0; words], mask: table.mask };
        for v in table.vars.iter() {
            out.words[*v as usize / 64] |= 1 << (v % 64);
        }
        out
    }
    fn union(&self, other: &Self) -> Self {
        let words = self.words.iter().zip(&other.words).map(|(a, b)| a | b).collect();
        Self { words, mask: self.mask | other.mask }
    }
    fn meets(&self, other: &Self) -> bool {
        self.words.iter().zip(&other.words).any(|(a, b)| a & b != 0)
    }
    fn has(&self, v: u32) -> bool {
        self.words[v as usize / 64] >> (v % 64) & 1 == 1
    }
    /// Its variables, ascending.
    fn vars(&self) -> impl Iterator<Item = u32> {
        let word = |(first, word): (u32, &u64)| bits_of(*word).map(move |bit| first + u32::try_from(bit).unwrap_or(0));
        (0..).step_by(64).zip(&self.words).flat_map(word)
    }
    /// What is left when a variable was summed, or turned into another.
    fn summed(mut self, v: u32, shape: &Shape) -> Self {
        self.words[v as usize / 64] &= !(1 << (v % 64));
        if let Some(plain) = shape.turned(Some(v)) {
            self.words[plain as usize / 64] |= 1 << (plain % 64);
        }
        self
    }
    /// Products that a join of two scopes takes.
    fn join_work(&self, other: &Self, shape: &Shape) -> f64 {
        let mut work = to_f64(shape.lanes(self.mask | other.mask));
        for (first, (x, y)) in (0..).step_by(64).zip(self.words.iter().zip(&other.words)) {
            for bit in bits_of(x & y) {
                work *= shape.guess.met[first + bit];
            }
            for bit in bits_of(x ^ y) {
                work *= shape.guess.levels[first + bit];
            }
        }
        work
    }
    fn size(&self, shape: &Shape) -> f64 {
        let rows: f64 = self.vars().map(|v| shape.guess.levels[v as usize]).product();
        rows * to_f64(shape.lanes(self.mask))
    }
}

/// The bits of a word that are set, ascending.
fn bits_of(word: u64) -> impl Iterator<Item = usize> {
    let mut rest = word;
    std::iter::from_fn(move || {
        let bit = (rest != 0).then(|| rest.trailing_zeros() as usize)?;
        rest &= rest - 1;
        Some(bit)
    })
}

/// Scopes joined one after another.
struct Joining {
    scope: Scope,
    /// Levels of all variables so far, multiplied.
    rows: f64,
    /// Products so far.
    work: f64,
}

impl Joining {
    /// Joins one more, and counts its products as [`Scope::join_work`] does: what is new multiplies, what was there does not.
    fn and(&mut self, other: &Scope, shape: &Shape) {
        let (mut once, mut met) = (1.0, 1.0);
        for (first, ((here, more), worst)) in
            (0..).step_by(64).zip(self.scope.words.iter_mut().zip(&other.words).zip(&shape.guess.worst))
        {
            for bit in bits_of(*here & more & worst) {
                once *= shape.guess.levels[first + bit];
                met *= shape.guess.met[first + bit];
            }
            for bit in bits_of(more & !*here) {
                self.rows *= shape.guess.levels[first + bit];
            }
            *here |= more;
        }
        self.scope.mask |= other.mask;
        // Whole numbers, so nothing is lost by dividing.
        self.work += to_f64(shape.lanes(self.scope.mask)) * (self.rows / once * met);
    }
}

impl Part {
    /// Builds the tree of all joint root states.
    pub(super) fn build(net: &WorstNet, readings: &[Reading], wide: Wide) -> Result<Self, LanesError> {
        net.ensure()?;
        for reading in readings {
            net.ensure_reading(reading)?;
        }
        let root_cards: Vec<usize> = net.variables.iter().filter(|v| v.root).map(|v| v.states.len()).collect();
        let mut builder = Builder {
            net,
            wide,
            places: Vec::new(),
            cards: Vec::new(),
            lanes: Lanes::new(root_cards, None),
            base: Vec::new(),
            regions: Vec::new(),
            worst: Vec::new(),
            made: BTreeMap::new(),
        };
        let mut roots = 0..;
        for variable in &net.variables {
            let place = if variable.root {
                Place::Root(roots.next().unwrap_or(0))
            } else {
                Place::Var(builder.add_var(variable.states.len(), variable.region.clone()))
            };
            builder.places.push(place);
        }
        for index in 0..net.variables.len() {
            builder.variable(index);
        }
        // Root priors, then the free factor of each variable.
        for (index, variable) in net.variables.iter().enumerate() {
            if let Place::Root(r) = builder.places[index] {
                let states = builder.lanes.list(1 << r);
                let data = states.iter().map(|s| variable.own[*s as usize]).collect();
                builder.add(Table::new(Vec::new(), 1 << r, data));
            }
        }
        let slots: Vec<usize> = (0..net.variables.len())
            .map(|index| match builder.places[index] {
                Place::Root(r) => builder.add(slot_table(Vec::new(), 1 << r)),
                Place::Var(v) => builder.add(slot_table(vec![v], 0)),
            })
            .collect();
        let reading_nodes: Vec<Vec<(usize, Table)>> = readings.iter().map(|r| builder.reading(r)).collect();
        let Builder { places, cards, lanes, base, regions, worst, .. } = builder;
        let full_mask = lanes.every();
        let guess = Arc::new(Guess::of(&cards, &worst, words_of(&cards)));
        let shape = Shape { cards, worst, lanes, guess, plans: Arc::default() };
        let mut part = Self {
            shape,
            nodes: Vec::new(),
            parents: Arc::default(),
            waves: Arc::default(),
            products: Arc::default(),
            scopes: Arc::default(),
            places: Arc::new(places),
            slots: Arc::new(slots),
            reading_nodes: Arc::new(reading_nodes),
            full_mask,
        };
        part.tree(net, base, &regions)?;
        Ok(part)
    }

    /// The same tree for some of its joint root states.
    pub(super) fn within(&self, kept: Vec<u32>) -> Self {
        self.with_lanes(kept, |_| None)
    }

    fn with_lanes(&self, kept: Vec<u32>, instead: impl Fn(usize) -> Option<Table>) -> Self {
        let shape = self.shape.within(kept);
        let nodes = self
            .nodes
            .iter()
            .enumerate()
            .map(|(index, node)| match node {
                Node::Base(table) => Node::Base(instead(index).unwrap_or_else(|| shape.restricted(table, &self.shape))),
                join @ (Node::Join { .. } | Node::Sum { .. }) => join.clone(),
            })
            .collect();
        Self {
            shape,
            nodes,
            parents: Arc::clone(&self.parents),
            waves: Arc::clone(&self.waves),
            products: Arc::clone(&self.products),
            scopes: Arc::clone(&self.scopes),
            places: Arc::clone(&self.places),
            slots: Arc::clone(&self.slots),
            reading_nodes: Arc::clone(&self.reading_nodes),
            full_mask: self.full_mask,
        }
    }

    /// How to cut the tree along some roots into parts whose tables stay near the processor, if that pays.
    ///
    /// What does not depend on such a root is worked once for all parts. A table that depends on one but not on all of
    /// them is worked more often than it need be, so the roots are taken that cost least.
    pub(super) fn split(&self, near: f64, dearer: f64, least: usize) -> Option<Split> {
        let mut work: BTreeMap<u32, f64> = BTreeMap::new();
        let mut rows: BTreeMap<u32, f64> = BTreeMap::new();
        for (index, (vars, mask)) in self.scopes.iter().enumerate() {
            let (products, joined) = self.products[index];
            *work.entry(joined).or_default() += products;
            let here = to_f64(vars.iter().map(|v| self.shape.cards[*v as usize]).product());
            let most = rows.entry(*mask).or_default();
            *most = most.max(here);
        }
        let all = |mask: u32, along: u32| if mask & along == 0 { mask } else { mask | along };
        let total =
            |along: u32| -> f64 { work.iter().map(|(m, w)| w * to_f64(self.shape.lanes(all(*m, along)))).sum() };
        let largest = |along: u32| {
            let parts = to_f64(self.shape.lanes(along));
            let here = |m: u32| if m & along == 0 { self.shape.lanes(m) } else { self.shape.lanes(m | along) };
            let cut = |m: u32| if m & along == 0 { 1.0 } else { parts };
            rows.iter().map(|(m, r)| r * to_f64(here(*m)) / cut(*m)).fold(0.0, f64::max)
        };
        let uncut = total(0);
        if largest(0) <= near {
            return None;
        }
        // Where nothing fits, what comes nearest to it.
        let ways = (0..1u32 << self.shape.lanes.root_cards.len()).into_par_iter().filter_map(|along| {
            let (work, parts) = (total(along), self.shape.lanes(along));
            let fair = work <= uncut * dearer && self.shape.lanes.kept.len() >= least * parts;
            fair.then(|| (largest(along).max(near), work, along))
        });
        let best = ways.min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)).then(a.2.cmp(&b.2)));
        let along = best.map_or(0, |(_, _, along)| along);
        if self.shape.lanes(along) < 2 {
            return None;
        }
        let mut groups: BTreeMap<u32, Vec<u32>> = BTreeMap::new();
        for (code, group) in self.shape.lanes.kept.iter().zip(self.shape.lanes.map(self.full_mask, along).iter()) {
            groups.entry(*group).or_default().push(*code);
        }
        let once: Vec<bool> = self.scopes.iter().map(|(_, mask)| mask & along == 0).collect();
        let edge = |node: usize| once[node] && self.parents[node].is_some_and(|parent| !once[parent]);
        let edges = (0..self.nodes.len()).filter(|node| edge(*node)).collect();
        Some(Split { once, edges, kept: groups.into_values().collect() })
    }

    /// The same tree for some of its joint root states, without what is worked once for all of them.
    pub(super) fn rest(&self, kept: Vec<u32>, split: &Split) -> Self {
        let empty = |index: usize| split.once[index].then(Table::ones);
        self.with_lanes(kept, empty)
    }

    /// Whether the free factor of a variable is worked once for all parts.
    pub(super) fn once(&self, split: &Split, variable: usize) -> bool {
        split.once[self.slots[variable]]
    }

    /// The edges of a split below which the free factors of these variables stand.
    pub(super) fn edges_above(&self, split: &Split, variables: &[usize]) -> BTreeSet<usize> {
        let edge = |variable: &usize| {
            let mut at = self.slots[*variable];
            while split.once[at] {
                match self.parents[at] {
                    Some(parent) if split.once[parent] => at = parent,
                    Some(_) => return Some(at),
                    None => return None,
                }
            }
            None
        };
        variables.iter().filter_map(edge).collect()
    }

    /// A sum of what is said about one node, over all of its scope, of nothing so far.
    pub(super) fn nothing(&self, node: usize) -> Scaled {
        let (vars, mask) = &self.scopes[node];
        Scaled { values: vec![0.0; self.shape.rows(vars) * self.shape.lanes(*mask)], log: f64::NEG_INFINITY }
    }

    /// Finds the order of summation and lays the binary tree.
    fn tree(&mut self, net: &WorstNet, base: Vec<Table>, regions: &[Vec<u16>]) -> Result<(), LanesError> {
        let words = words_of(&self.shape.cards);
        let mut scopes: Vec<Scope> = base.iter().map(|t| Scope::of(t, words)).collect();
        self.nodes = base.into_iter().map(Node::Base).collect();
        let count = self.shape.cards.len();
        let mut holders: Vec<BTreeSet<usize>> = vec![BTreeSet::new(); count];
        for (index, node) in self.nodes.iter().enumerate() {
            if let Node::Base(table) = node {
                for v in table.vars.iter() {
                    holders[*v as usize].insert(index);
                }
            }
        }
        // The work is that of joining all holders one after another, smallest first: a fair guess of what `merge` takes.
        let cost_of = |v: usize, holders: &[BTreeSet<usize>], scopes: &[Scope], shape: &Shape| {
            let mut list: Vec<(f64, usize)> = holders[v].iter().map(|h| (scopes[*h].size(shape), *h)).collect();
            list.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
            let mut joined = Joining { scope: Scope { words: vec![0; words], mask: 0 }, rows: 1.0, work: 0.0 };
            let mut inputs = 0.0;
            for (size, h) in list {
                joined.and(&scopes[h], shape);
                inputs += size;
            }
            let Joining { scope, work, .. } = joined;
            let result = scope.summed(u32::try_from(v).unwrap_or(u32::MAX), shape).size(shape);
            // What is left open weighs more than what is worked once: it is carried into every later join.
            Cost { work, rank: work * (result / inputs).powi(2) }
        };
        let mut costs: Vec<Cost> = (0..count).map(|v| cost_of(v, &holders, &scopes, &self.shape)).collect();
        // Deeper regions first; within one region the cheapest variable first.
        let mut groups: BTreeMap<(std::cmp::Reverse<usize>, Vec<u16>), BTreeSet<usize>> = BTreeMap::new();
        for (v, region) in regions.iter().enumerate() {
            groups.entry((std::cmp::Reverse(region.len()), region.clone())).or_default().insert(v);
        }
        let mut queue: Vec<BTreeSet<usize>> = groups.into_values().rev().collect();
        let mut waiting = Scope { words: vec![0; words], mask: 0 };
        for plain in (0..count).filter_map(|v| self.shape.turned(u32::try_from(v).ok())) {
            waiting.words[plain as usize / 64] |= 1 << (plain % 64);
        }
        while queue.iter().any(|group| !group.is_empty()) {
            // Nothing is joined with the plain variable while the worst-of variable that turns into it is still open.
            let waits = |v: &usize| holders[*v].iter().any(|h| scopes[*h].meets(&waiting));
            let first = |group: &BTreeSet<usize>| {
                let ready = group.iter().copied().filter(|v| !waits(v));
                ready.min_by(|a, b| costs[*a].rank.total_cmp(&costs[*b].rank).then(a.cmp(b)))
            };
            let Some((place, v)) =
                queue.iter().enumerate().rev().find_map(|(place, group)| Some((place, first(group)?)))
            else {
                break;
            };
            queue[place].remove(&v);
            if let Some(plain) = self.shape.turned(u32::try_from(v).ok()) {
                waiting.words[plain as usize / 64] &= !(1 << (plain % 64));
            }
            let var = u32::try_from(v).unwrap_or(u32::MAX);
            if costs[v].work > LARGEST {
                let variable = self
                    .places
                    .iter()
                    .position(|p| matches!(p, Place::Var(w) if *w == var))
                    .and_then(|i| net.variables.get(i))
                    .map_or_else(|| "a reading of many parts".to_owned(), |x| x.name.clone());
                return Err(LanesError::TooLarge { entries: costs[v].work, variable });
            }
            let pool: Vec<usize> = std::mem::take(&mut holders[v]).into_iter().collect();
            let last = self.merge(pool, &mut scopes, Some(var));
            let scope = scopes[last].clone();
            let touched: Vec<usize> = scope.vars().map(|w| w as usize).filter(|w| *w != v).collect();
            for w in &touched {
                let scope_nodes = &mut holders[*w];
                scope_nodes.retain(|h| !scopes[*h].has(var));
                scope_nodes.insert(last);
            }
            for w in touched {
                costs[w] = cost_of(w, &holders, &scopes, &self.shape);
            }
        }
        let used: BTreeSet<usize> = self
            .nodes
            .iter()
            .flat_map(|n| match n {
                Node::Base(_) => Vec::new(),
                Node::Join { a, b, .. } => vec![*a, *b],
                Node::Sum { a, .. } => vec![*a],
            })
            .collect();
        let rest: Vec<usize> = (0..self.nodes.len()).filter(|i| !used.contains(i)).collect();
        self.merge(rest, &mut scopes, None);
        let mut parents = vec![None; self.nodes.len()];
        for (index, node) in self.nodes.iter().enumerate() {
            match node {
                Node::Base(_) => {}
                Node::Join { a, b, .. } => {
                    parents[*a] = Some(index);
                    parents[*b] = Some(index);
                }
                Node::Sum { a, .. } => parents[*a] = Some(index),
            }
        }
        self.waves = Arc::new(waves(&self.nodes));
        self.parents = Arc::new(parents);
        let scopes = scopes.iter().map(|scope| (scope.vars().collect(), scope.mask)).collect();
        self.scopes = Arc::new(scopes);
        self.products = Arc::new((0..self.nodes.len()).map(|index| self.products_of(index)).collect());
        Ok(())
    }

    /// Joins a pool of nodes pairwise: in the cheapest sequence where they are few, else the smallest product first until
    /// they are; the last join sums the variable.
    fn merge(&mut self, mut pool: Vec<usize>, scopes: &mut Vec<Scope>, sum: Option<u32>) -> usize {
        if pool.len() == 1 {
            let a = pool[0];
            return match sum {
                None => a,
                Some(v) => {
                    self.nodes.push(Node::Sum { a, sum: v });
                    scopes.push(scopes[a].clone().summed(v, &self.shape));
                    self.nodes.len() - 1
                }
            };
        }
        while pool.len() > TRIED {
            let mut best = (f64::INFINITY, 0, 1);
            for i in 0..pool.len() {
                for j in i + 1..pool.len() {
                    let size = scopes[pool[i]].join_work(&scopes[pool[j]], &self.shape);
                    if size < best.0 {
                        best = (size, i, j);
                    }
                }
            }
            let (_, i, j) = best;
            let b = pool.remove(j);
            let a = pool.remove(i);
            let joined = self.joined(a, b, scopes, None);
            pool.push(joined);
        }
        // The cheapest way to each subset of the pool, from the smaller subsets to the larger.
        let all = (1usize << pool.len()) - 1;
        let mut ways: Vec<(f64, usize)> = vec![(0.0, 0); all + 1];
        let mut unions: Vec<Scope> = vec![Scope { words: vec![0; scopes[pool[0]].words.len()], mask: 0 }; all + 1];
        for subset in 1..=all {
            let lowest = subset & subset.wrapping_neg();
            unions[subset] = unions[subset ^ lowest].union(&scopes[pool[lowest.trailing_zeros() as usize]]);
            if subset == lowest {
                continue;
            }
            let mut best = (f64::INFINITY, 0);
            // Every half that holds the first member.
            let rest = subset ^ lowest;
            let mut other = rest;
            while other > 0 {
                let half = subset ^ other;
                let work = ways[half].0 + ways[other].0 + unions[half].join_work(&unions[other], &self.shape);
                if work < best.0 {
                    best = (work, half);
                }
                other = (other - 1) & rest;
            }
            ways[subset] = best;
        }
        self.follow(&pool, &ways, all, scopes, sum)
    }

    /// Lays the joins of a subset of a pool in the sequence found.
    fn follow(
        &mut self,
        pool: &[usize],
        ways: &[(f64, usize)],
        subset: usize,
        scopes: &mut Vec<Scope>,
        sum: Option<u32>,
    ) -> usize {
        if subset & (subset - 1) == 0 {
            return pool[subset.trailing_zeros() as usize];
        }
        let half = ways[subset].1;
        let a = self.follow(pool, ways, half, scopes, None);
        let b = self.follow(pool, ways, subset ^ half, scopes, None);
        self.joined(a, b, scopes, sum)
    }

    fn joined(&mut self, a: usize, b: usize, scopes: &mut Vec<Scope>, sum: Option<u32>) -> usize {
        let union = scopes[a].union(&scopes[b]);
        // The second table is given its running sums, so it had better be the smaller one.
        let (a, b) = if scopes[b].size(&self.shape) > scopes[a].size(&self.shape) { (b, a) } else { (a, b) };
        self.nodes.push(Node::Join { a, b, sum });
        scopes.push(match sum {
            Some(v) => union.summed(v, &self.shape),
            None => union,
        });
        self.nodes.len() - 1
    }

    fn states(&self, variable: usize) -> usize {
        match self.places[variable] {
            Place::Root(r) => self.shape.lanes.root_cards[r],
            Place::Var(v) => self.shape.cards[v as usize],
        }
    }

    fn slot(&self, variable: usize, factor: &[f64]) -> Table {
        match self.places[variable] {
            Place::Root(r) => {
                let states = self.shape.lanes.list(1 << r);
                Table::new(Vec::new(), 1 << r, states.iter().map(|s| factor[*s as usize]).collect())
            }
            Place::Var(v) => Table::new(vec![v], 0, factor.to_vec()),
        }
    }

    fn replacements(&self, extra: &Extra) -> BTreeMap<usize, Table> {
        let mut out = BTreeMap::new();
        for (variable, factor) in &extra.factors {
            out.insert(self.slots[*variable], self.slot(*variable, factor));
        }
        for reading in &extra.without {
            if let Some(nodes) = self.reading_nodes.get(*reading) {
                for (node, neutral) in nodes {
                    out.insert(*node, neutral.clone());
                }
            }
        }
        out
    }

    /// The value of one node from the values of its parts.
    fn value(&self, node: &Node, up: &[Table], memo: &mut Memo<'_>) -> Table {
        match node {
            Node::Base(table) if table.is_ones() => Table::ones(),
            Node::Base(table) => table.clone(),
            Node::Join { a, b, sum } => self.join(&up[*a], &up[*b], *sum, memo),
            Node::Sum { a, sum } => self.join(&up[*a], &Table::ones(), Some(*sum), memo),
        }
    }

    fn join(&self, a: &Table, b: &Table, sum: Option<u32>, memo: &mut Memo<'_>) -> Table {
        let pair = Pair { a, b, sum };
        let id = match self.looked_up(pair, memo) {
            Ok(table) => return table,
            Err(id) => id,
        };
        let table = self.worked(pair, id, Hands::Many);
        memo.put(id, &table);
        table
    }

    /// What a join comes to without working it, where it is known; else the digest of what it is made from.
    fn looked_up(&self, Pair { a, b, sum }: Pair<'_>, memo: &Memo<'_>) -> Result<Table, u128> {
        match sum {
            None if b.is_ones() => return Ok(a.clone()),
            None if a.is_ones() => return Ok(b.clone()),
            Some(v) if self.shape.turned(Some(v)).is_some() => {}
            Some(v) if b.is_ones() && a.sums_to_one == Some(v) => return Ok(Table { log: a.log, ..Table::ones() }),
            Some(v) if a.is_ones() && b.sums_to_one == Some(v) => return Ok(Table { log: b.log, ..Table::ones() }),
            _ => {}
        }
        let pattern: Vec<u32> = b
            .vars
            .iter()
            .map(|v| a.vars.iter().position(|w| w == v).map_or(u32::MAX, |p| u32::try_from(p).unwrap_or(u32::MAX - 1)))
            .collect();
        let sum_place = sum.map(|v| (a.vars.iter().position(|w| *w == v), b.vars.iter().position(|w| *w == v)));
        let kinds = |t: &Table| t.vars.iter().map(|v| self.shape.kind(*v)).collect::<Vec<_>>();
        let id = digest(&(a.id, b.id, pattern, sum_place, kinds(a), kinds(b)));
        let found = memo.get(id).ok_or(id)?;
        let mut vars: Vec<u32> = a.vars.to_vec();
        vars.extend(b.vars.iter().copied().filter(|v| !a.vars.contains(v)));
        let left = |v: u32| if Some(v) == sum { self.shape.turned(sum) } else { Some(v) };
        let vars: Vec<u32> = vars.into_iter().filter_map(left).collect();
        Ok(Table { vars: vars.into(), ..found })
    }

    /// The product of a join, under the digest of what it is made from.
    fn worked(&self, Pair { a, b, sum }: Pair<'_>, id: u128, hands: Hands) -> Table {
        let mut table = self.shape.up(a, b, sum, hands);
        table.id = id.max(2);
        if sum.is_none() {
            // A table that sums to one over its own variable still does after a product with ones only;
            // with anything else it does not.
            table.sums_to_one = None;
        }
        table
    }

    /// Works the tree, or what of it is to be worked: the state from which every question about these lanes is answered.
    pub(super) fn run(&self, extra: &Extra, of: Of<'_>) -> PartRun<'_> {
        let mut memo = Memo { shared: None, own: BTreeMap::new() };
        let replaced = self.replacements(extra);
        let mut up = vec![Table::ones(); self.nodes.len()];
        for wave in self.waves.iter() {
            // Joins that are not known yet, each digest once.
            let mut open: Vec<(usize, u128)> = Vec::new();
            let mut asked: BTreeMap<u128, usize> = BTreeMap::new();
            for index in wave {
                let given = of.given(self, *index).or_else(|| replaced.get(index).cloned());
                let known = given.map_or_else(|| self.known(*index, &up, &memo), Ok);
                match known {
                    Ok(table) => up[*index] = table,
                    Err(id) => {
                        asked.entry(id).or_insert(*index);
                        open.push((*index, id));
                    }
                }
            }
            let asked: Vec<(u128, usize)> = asked.into_iter().collect();
            let many = self.pays(asked.iter().map(|(_, index)| *index));
            let work = |(id, index): &(u128, usize)| {
                let none = Table::ones();
                self.pair(*index, &up, &none)
                    .map(|pair| self.worked(pair, *id, if many { Hands::Many } else { Hands::Own }))
            };
            let made: Vec<Option<Table>> =
                if many { asked.par_iter().map(work).collect() } else { asked.iter().map(work).collect() };
            for ((id, _), table) in asked.iter().zip(made) {
                if let Some(table) = table {
                    memo.put(*id, &table);
                }
            }
            for (index, _) in open {
                if let Ok(table) = self.known(index, &up, &memo) {
                    up[index] = table;
                }
            }
        }
        PartRun::new(self, up, memo.own, extra.clone())
    }

    /// A node of two or one others as a join; nothing for a given table.
    fn pair<'t>(&self, node: usize, up: &'t [Table], none: &'t Table) -> Option<Pair<'t>> {
        match &self.nodes[node] {
            Node::Base(_) => None,
            Node::Join { a, b, sum } => Some(Pair { a: &up[*a], b: &up[*b], sum: *sum }),
            Node::Sum { a, sum } => Some(Pair { a: &up[*a], b: none, sum: Some(*sum) }),
        }
    }

    /// The table of a node where it needs no work, else the digest of what it is made from.
    fn known(&self, node: usize, up: &[Table], memo: &Memo<'_>) -> Result<Table, u128> {
        let none = Table::ones();
        match (&self.nodes[node], self.pair(node, up, &none)) {
            (Node::Base(table), _) if table.is_ones() => Ok(Table::ones()),
            (Node::Base(table), _) => Ok(table.clone()),
            (_, Some(pair)) => self.looked_up(pair, memo),
            (_, None) => Ok(Table::ones()),
        }
    }

    /// Whether working these nodes is enough for more than one processor.
    fn pays(&self, nodes: impl Iterator<Item = usize>) -> bool {
        let of = |index: usize| {
            let (products, mask) = self.products[index];
            products * to_f64(self.shape.lanes(mask))
        };
        let mut sum = 0.0;
        for index in nodes {
            sum += of(index);
            if sum >= SHARED {
                return true;
            }
        }
        false
    }

    /// How many nodes the tree has.
    pub(super) fn nodes(&self) -> usize {
        self.nodes.len()
    }

    /// How many multiplications one pass over the tree takes at most.
    pub(super) fn work(&self) -> f64 {
        let of = |index| {
            let (products, mask) = self.products[index];
            products * to_f64(self.shape.lanes(mask))
        };
        (0..self.nodes.len()).map(of).sum()
    }

    /// Products of one lane that a node takes at most, and the roots that they depend on.
    fn products_of(&self, index: usize) -> (f64, u32) {
        let of = |i: usize| &self.scopes[i];
        let pair = match &self.nodes[index] {
            Node::Base(_) => return (0.0, 0),
            Node::Join { a, b, .. } => [Some(*a), Some(*b)],
            Node::Sum { a, .. } => [Some(*a), None],
        };
        let mut count: BTreeMap<u32, usize> = BTreeMap::new();
        let mut mask = 0;
        for i in pair.into_iter().flatten() {
            mask |= of(i).1;
            for v in &of(i).0 {
                *count.entry(*v).or_default() += 1;
            }
        }
        let products = count
            .iter()
            .map(|(v, n)| {
                let levels = self.shape.cards[*v as usize];
                // A worst-of variable of both sides costs one product for the mildest level and two for a further one.
                let both = self.shape.worst[*v as usize].as_ref().filter(|_| *n == 2);
                to_f64(both.map_or(levels, |worst| worst.products(levels)))
            })
            .product();
        (products, mask)
    }
}

/// Nodes by the longest way up to them.
fn waves(nodes: &[Node]) -> Vec<Vec<usize>> {
    let mut height = vec![0usize; nodes.len()];
    let mut out: Vec<Vec<usize>> = Vec::new();
    for (index, node) in nodes.iter().enumerate() {
        height[index] = match node {
            Node::Base(_) => 0,
            Node::Join { a, b, .. } => height[*a].max(height[*b]) + 1,
            Node::Sum { a, .. } => height[*a] + 1,
        };
        if out.len() <= height[index] {
            out.resize(height[index] + 1, Vec::new());
        }
        out[height[index]].push(index);
    }
    out
}

/// Two tables to be joined, and the variable summed then.
#[derive(Debug, Clone, Copy)]
struct Pair<'t> {
    a: &'t Table,
    b: &'t Table,
    sum: Option<u32>,
}

fn slot_table(vars: Vec<u32>, mask: u32) -> Table {
    // The free factor has the place of its variable in the tree and the value one.
    Table { vars: vars.into(), mask, ..Table::ones() }
}

#[derive(Debug)]
struct Memo<'a> {
    shared: Option<&'a BTreeMap<u128, Table>>,
    own: BTreeMap<u128, Table>,
}

impl Memo<'_> {
    fn get(&self, id: u128) -> Option<Table> {
        self.shared.and_then(|s| s.get(&id)).or_else(|| self.own.get(&id)).cloned()
    }
    fn put(&mut self, id: u128, table: &Table) {
        self.own.insert(id, table.clone());
    }
}

/// How a tree is cut into parts.
#[derive(Debug)]
pub(super) struct Split {
    /// Per node: whether it is worked once for all parts.
    pub(super) once: Vec<bool>,
    /// The nodes worked once from which the parts go on.
    pub(super) edges: Vec<usize>,
    /// The joint root states of each part.
    pub(super) kept: Vec<Vec<u32>>,
}

/// What of a tree is worked.
#[derive(Debug, Clone, Copy)]
pub(super) enum Of<'r> {
    /// All of it.
    All,
    /// What is worked once for all parts.
    Once(&'r Split),
    /// The rest for one part, from what was worked once.
    Rest(&'r Split, &'r PartRun<'r>),
    /// All nodes for one part, where those worked once are taken over.
    Whole(&'r Split, &'r PartRun<'r>),
}

impl Of<'_> {
    /// The table of a node that is not worked here.
    fn given(&self, part: &Part, node: usize) -> Option<Table> {
        match self {
            Of::All => None,
            Of::Once(split) => (!split.once[node]).then(Table::ones),
            Of::Rest(split, whole) => split.once[node].then(|| {
                let edge = split.edges.binary_search(&node).is_ok();
                if edge { part.shape.restricted(&whole.up[node], &whole.part.shape) } else { Table::ones() }
            }),
            Of::Whole(split, whole) => {
                split.once[node].then(|| part.shape.restricted(&whole.up[node], &whole.part.shape))
            }
        }
    }
}

/// A worked tree: answers questions about its lanes.
#[derive(Debug)]
pub(super) struct PartRun<'a> {
    pub(super) part: &'a Part,
    pub(super) up: Vec<Table>,
    down: Vec<std::sync::OnceLock<Table>>,
    memo: BTreeMap<u128, Table>,
    extra: Extra,
}

/// Numbers with a common factor apart, so that none of them leaves the range of a double.
#[derive(Debug, Clone, Default)]
pub(super) struct Scaled {
    pub(super) values: Vec<f64>,
    /// Natural logarithm of the factor.
    pub(super) log: f64,
}

impl<'a> PartRun<'a> {
    fn new(part: &'a Part, up: Vec<Table>, memo: BTreeMap<u128, Table>, extra: Extra) -> Self {
        let down = (0..part.nodes.len()).map(|_| std::sync::OnceLock::new()).collect();
        Self { part, up, down, memo, extra }
    }

    /// The probability of the evidence together with each of the joint root states kept.
    pub(super) fn lanes(&self) -> Scaled {
        let Some(table) = self.up.last() else { return Scaled::default() };
        Scaled { values: self.part.shape.widen(table, self.part.full_mask).to_vec(), log: table.log }
    }

    /// Works the tree again with other constraints, sharing all that did not change. `from`: for a part, what was worked
    /// once with and without these constraints.
    pub(super) fn with(&self, all: Extra, of: Of<'_>, before: Option<&PartRun<'_>>) -> Self {
        let mut memo = Memo { shared: Some(&self.memo), own: BTreeMap::new() };
        let replaced = self.part.replacements(&all);
        let mut up: Vec<Table> = Vec::with_capacity(self.up.len());
        let mut dirty = vec![false; self.up.len()];
        for (index, node) in self.part.nodes.iter().enumerate() {
            if let (Of::Rest(split, whole), Some(before)) = (of, before)
                && split.once[index]
            {
                dirty[index] = !Arc::ptr_eq(&whole.up[index].data, &before.up[index].data);
                let given = if dirty[index] { of.given(self.part, index) } else { None };
                up.push(given.unwrap_or_else(|| self.up[index].clone()));
                continue;
            }
            dirty[index] = match node {
                Node::Base(_) => replaced.contains_key(&index),
                Node::Join { a, b, .. } => dirty[*a] || dirty[*b],
                Node::Sum { a, .. } => dirty[*a],
            };
            if let Of::Once(split) = of
                && !split.once[index]
            {
                up.push(Table::ones());
                continue;
            }
            let table = if !dirty[index] {
                self.up[index].clone()
            } else if let Some(table) = replaced.get(&index) {
                table.clone()
            } else {
                self.part.value(node, &up, &mut memo)
            };
            up.push(table);
        }
        let own = memo.own;
        Self::new(self.part, up, own, all)
    }

    /// Sets what the rest of the tree says about a node, where the rest was worked in parts.
    pub(super) fn told(&self, node: usize, said: Scaled) {
        let (vars, mask) = &self.part.scopes[node];
        let (vars, mask) = (vars.clone().into(), *mask);
        let log = if said.log.is_finite() { said.log } else { 0.0 };
        let table = Table { vars, mask, data: Arc::new(said.values.into()), log, id: 0, sums_to_one: None };
        self.down[node].get_or_init(|| table);
    }

    /// Adds what this part says about a node that was worked once to what other parts said.
    pub(super) fn tell(&self, node: usize, whole: &Shape, sum: &mut Scaled) {
        let shape = &self.part.shape;
        let (vars, mask) = &self.part.scopes[node];
        let table = self.down(node);
        if table.log > sum.log {
            let factor = (sum.log - table.log).exp();
            for x in &mut sum.values {
                *x *= factor;
            }
            sum.log = table.log;
        }
        let factor = (table.log - sum.log).exp();
        let (here, there) = (shape.lanes.list(*mask), whole.lanes.list(*mask));
        let places: Vec<usize> = here.iter().map(|code| there.binary_search(code).unwrap_or(0)).collect();
        let map = shape.lanes.map(*mask, table.mask);
        let narrow = shape.lanes(table.mask);
        let steps = shape.row_steps(&table.vars);
        let steps: Vec<usize> = vars
            .iter()
            .map(|v| table.vars.iter().position(|w| w == v).and_then(|p| steps.get(p)).copied().unwrap_or(0))
            .collect();
        let cards: Vec<usize> = vars.iter().map(|v| shape.cards[*v as usize]).collect();
        let mut state = vec![0usize; cards.len()];
        for row in sum.values.chunks_exact_mut(there.len()) {
            let from: usize = state.iter().zip(&steps).map(|(s, step)| s * step).sum();
            let data = &table.data[from * narrow..(from + 1) * narrow];
            for (place, lane) in places.iter().zip(map.iter()) {
                row[*place] += factor * data[*lane as usize];
            }
            step(&mut state, &cards);
        }
    }

    /// Works what the rest of the tree says about the free factors of some variables and about some nodes, wave after wave.
    pub(super) fn prepare(&self, variables: &[usize], nodes: &BTreeSet<usize>) {
        let mut needed = vec![false; self.part.nodes.len()];
        for node in variables.iter().map(|v| self.part.slots[*v]).chain(nodes.iter().copied()) {
            let mut at = Some(node);
            while let Some(node) = at
                && !needed[node]
                && self.down[node].get().is_none()
            {
                needed[node] = true;
                at = self.part.parents[node];
            }
        }
        // A parent is needed before its parts; in one wave by depth nobody needs another.
        let mut depth = vec![0usize; needed.len()];
        let mut waves: Vec<Vec<usize>> = Vec::new();
        for node in (0..needed.len()).rev() {
            depth[node] = self.part.parents[node].map_or(0, |parent| depth[parent] + 1);
            if !needed[node] {
                continue;
            }
            if waves.len() <= depth[node] {
                waves.resize(depth[node] + 1, Vec::new());
            }
            waves[depth[node]].push(node);
        }
        for wave in waves {
            let many = self.part.pays(wave.iter().filter_map(|node| self.part.parents[*node]));
            let work = |node: &usize| self.down_once(*node, if many { Hands::Many } else { Hands::Own });
            let made: Vec<Table> =
                if many { wave.par_iter().map(work).collect() } else { wave.iter().map(work).collect() };
            for (node, table) in wave.into_iter().zip(made) {
                self.down[node].get_or_init(|| table);
            }
        }
    }

    /// What the rest of the tree says about one node.
    fn down(&self, node: usize) -> &Table {
        if let Some(found) = self.down[node].get() {
            return found;
        }
        // From the root downwards, so that the depth of the tree never becomes the depth of the stack.
        let mut path = vec![node];
        let mut at = node;
        while let Some(parent) = self.part.parents[at] {
            if self.down[at].get().is_some() {
                break;
            }
            path.push(parent);
            at = parent;
        }
        for at in path.into_iter().rev() {
            self.down[at].get_or_init(|| self.down_once(at, Hands::Own));
        }
        self.down[node].get_or_init(Table::ones)
    }

    fn down_once(&self, node: usize, hands: Hands) -> Table {
        let Some(parent) = self.part.parents[node] else { return Table::ones() };
        let above = self.down[parent].get_or_init(Table::ones);
        let none = Table::ones();
        let (sibling, closed) = match &self.part.nodes[parent] {
            Node::Base(_) => (&none, None),
            Node::Sum { sum, .. } => (&none, Some(*sum)),
            Node::Join { a, b, sum } => (&self.up[if *a == node { *b } else { *a }], *sum),
        };
        let (vars, mask) = &self.part.scopes[node];
        self.part.shape.down(above, sibling, (node, vars, *mask), closed, hands)
    }

    /// The probability of the evidence together with each state of one variable.
    pub(super) fn marginal(&self, variable: usize) -> Scaled {
        let slot = self.part.slots[variable];
        let own = &self.up[slot];
        let outside = self.down_slot(slot, variable);
        let states: Vec<u32> = match self.part.places[variable] {
            Place::Root(r) => self.part.shape.lanes.list(1 << r).to_vec(),
            Place::Var(_) => (0..u32::try_from(outside.len()).unwrap_or(u32::MAX)).collect(),
        };
        let mut values = vec![0.0; self.part.states(variable)];
        for (place, state) in states.iter().enumerate() {
            let factor = if own.is_ones() { 1.0 } else { own.data[place] };
            values[*state as usize] = outside[place] * factor;
        }
        Scaled { values, log: self.down(slot).log + own.log }
    }

    /// The outside message at a variable's free factor, one entry per state that occurs.
    fn down_slot(&self, slot: usize, variable: usize) -> Vec<f64> {
        let table = self.down(slot);
        match self.part.places[variable] {
            Place::Root(r) => {
                if table.mask == 0 {
                    vec![table.data[0]; self.part.shape.lanes(1 << r)]
                } else {
                    table.data.to_vec()
                }
            }
            Place::Var(v) => {
                if table.vars.is_empty() {
                    vec![table.data[0]; self.part.shape.cards[v as usize]]
                } else {
                    table.data.to_vec()
                }
            }
        }
    }

    /// The probability of the evidence together with a further event: a product of one factor per variable.
    pub(super) fn joint(&self, extra: &Extra) -> Scaled {
        let part = self.part;
        let mut changed: BTreeMap<usize, Table> = BTreeMap::new();
        for (variable, factor) in &extra.factors {
            let mut all: Vec<f64> = factor.clone();
            if let Some(old) = self.extra.factors.get(variable) {
                for (a, o) in all.iter_mut().zip(old) {
                    *a *= o;
                }
            }
            changed.insert(part.slots[*variable], part.slot(*variable, &all));
        }
        if changed.is_empty() {
            return self.lanes();
        }
        let mut memo = Memo { shared: Some(&self.memo), own: BTreeMap::new() };
        // Climb until all changed parts have met.
        while changed.len() > 1 {
            // The node with the lowest parent: whatever changed below its sibling has been climbed already.
            let lowest = changed.keys().copied().filter_map(|n| part.parents[n].map(|p| (p, n))).min();
            let Some((parent, node)) = lowest else { break };
            let Some(table) = changed.remove(&node) else { break };
            let value = match &part.nodes[parent] {
                Node::Base(_) => table,
                Node::Sum { sum, .. } => part.join(&table, &Table::ones(), Some(*sum), &mut memo),
                Node::Join { a, b, sum } => {
                    let other = if *a == node { *b } else { *a };
                    let sibling = changed.remove(&other).unwrap_or_else(|| self.up[other].clone());
                    if *a == node {
                        part.join(&table, &sibling, *sum, &mut memo)
                    } else {
                        part.join(&sibling, &table, *sum, &mut memo)
                    }
                }
            };
            changed.insert(parent, value);
        }
        let Some((node, table)) = changed.pop_first() else { return Scaled::default() };
        let joined = part.shape.meet(&table, self.down(node));
        Scaled { values: joined.data.to_vec(), log: joined.log }
    }
}
