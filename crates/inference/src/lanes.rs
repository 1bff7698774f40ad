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
//! digest of how it came to be.
//!
//! Accuracy. [`Run::accuracy`] compares totals that must agree.
//!
//! A reading that looks at many regions at once (gas in the coolant: every cylinder) would make that rule dear. For
//! those the difference of two plain products is used, "at most this" less "better than this", which costs one
//! product per level but loses as many digits as the reading is improbable given all the others. So
//! [`Engine::build`] takes differences for wide readings only, and [`Engine::without_differences`] for none.

#![expect(clippy::indexing_slicing, reason = "numeric kernel: indices come from shapes fixed when the tree is built")]

use std::collections::{BTreeMap, BTreeSet};
use std::hash::{DefaultHasher, Hash, Hasher};
use std::sync::Arc;

use crate::worst::{Link, Reading, ReadingLink, WorstError, WorstNet, cumulative};

/// Tables of a variable with more rows than this are split by an auxiliary variable.
const DENSE_ROWS: usize = 1500;
/// Most products that summing one variable may take.
const LARGEST: f64 = 4e9;

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

/// A table: rows over small variables (the last runs fastest), lanes over joint root states.
#[derive(Debug, Clone)]
struct Table {
    vars: Vec<u32>,
    mask: u32,
    data: Arc<Vec<f64>>,
    log: f64,
    id: u128,
    /// The variable over which this table is known to sum to one for every row and lane, if any.
    sums_to_one: Option<u32>,
}

fn digest(parts: &impl Hash) -> u128 {
    let mut first = DefaultHasher::new();
    0x57_u8.hash(&mut first);
    parts.hash(&mut first);
    let mut second = DefaultHasher::new();
    0xA9_u8.hash(&mut second);
    parts.hash(&mut second);
    (u128::from(first.finish()) << 64) | u128::from(second.finish())
}

fn bits(data: &[f64]) -> Vec<u64> {
    data.iter().map(|x| x.to_bits()).collect()
}

impl Table {
    fn ones() -> Self {
        Self { vars: Vec::new(), mask: 0, data: Arc::new(vec![1.0]), log: 0.0, id: 1, sums_to_one: None }
    }

    fn is_ones(&self) -> bool {
        self.id == 1
    }

    fn new(vars: Vec<u32>, mask: u32, data: Vec<f64>) -> Self {
        let id = digest(&(mask, vars.len(), bits(&data)));
        Self { vars, mask, data: Arc::new(data), log: 0.0, id, sums_to_one: None }
    }
}

/// For two sets of roots: the lane of the second that each lane of the first belongs to.
type LaneMaps = BTreeMap<(u32, u32), Arc<Vec<u32>>>;

/// Sizes of the variables of the tree and of the root lanes.
#[derive(Debug)]
struct Shape {
    cards: Vec<usize>,
    /// Per tree variable: the weights it is closed with, for a variable that joins by the rule of the worst.
    worst: Vec<Option<Vec<f64>>>,
    root_cards: Vec<usize>,
    /// Lane maps from a set of roots to a part of it, filled when the tree is built.
    maps: std::sync::RwLock<LaneMaps>,
}

impl Shape {
    fn lanes(&self, mask: u32) -> usize {
        self.root_cards.iter().enumerate().filter(|(i, _)| mask >> i & 1 == 1).map(|(_, c)| c).product()
    }

    fn rows(&self, vars: &[u32]) -> usize {
        vars.iter().map(|v| self.cards[*v as usize]).product()
    }

    /// For each lane of `from`, the lane of `to` (a part of `from`) that it belongs to.
    fn map(&self, from: u32, to: u32) -> Arc<Vec<u32>> {
        if let Ok(maps) = self.maps.read()
            && let Some(found) = maps.get(&(from, to))
        {
            return Arc::clone(found);
        }
        let roots: Vec<usize> = (0..self.root_cards.len()).filter(|i| from >> i & 1 == 1).collect();
        let mut out = Vec::with_capacity(self.lanes(from));
        let mut state = vec![0usize; roots.len()];
        for _ in 0..self.lanes(from) {
            let mut lane = 0usize;
            for (position, root) in roots.iter().enumerate() {
                if to >> root & 1 == 1 {
                    lane = lane * self.root_cards[*root] + state[position];
                }
            }
            out.push(u32::try_from(lane).unwrap_or(u32::MAX));
            for position in (0..roots.len()).rev() {
                state[position] += 1;
                if state[position] < self.root_cards[roots[position]] {
                    break;
                }
                state[position] = 0;
            }
        }
        let made = Arc::new(out);
        if let Ok(mut maps) = self.maps.write() {
            maps.insert((from, to), Arc::clone(&made));
        }
        made
    }

    fn widen(&self, table: &Table, mask: u32) -> Arc<Vec<f64>> {
        if table.mask == mask {
            return Arc::clone(&table.data);
        }
        let map = self.map(mask, table.mask);
        let narrow = self.lanes(table.mask);
        let mut out = Vec::with_capacity(self.rows(&table.vars) * map.len());
        for row in table.data.chunks_exact(narrow) {
            out.extend(map.iter().map(|lane| row[*lane as usize]));
        }
        Arc::new(out)
    }

    /// Product of two tables.
    ///
    /// Upwards, shared worst-of variables are joined by the rule of the worst and `sum` is summed (closed with its
    /// weights where it is a worst-of variable). The rows of the result run over `a`'s variables in their order, then
    /// over `b`'s further ones.
    fn up(&self, a: &Table, b: &Table, sum: Option<u32>) -> Table {
        let union = a.mask | b.mask;
        let lanes = self.lanes(union);
        let left = self.widen(a, union);
        let right = self.widen(b, union);
        let mut vars: Vec<u32> = a.vars.clone();
        vars.extend(b.vars.iter().copied().filter(|v| !a.vars.contains(v)));
        let a_steps = self.row_steps(&a.vars);
        let b_steps = self.row_steps(&b.vars);
        let mut plan = Plan::default();
        for v in &vars {
            let levels = self.cards[*v as usize];
            let x = a.vars.iter().position(|w| w == v).map(|p| a_steps[p]);
            let y = b.vars.iter().position(|w| w == v).map(|p| b_steps[p]);
            let closed = Some(*v) == sum;
            let weights = if closed { self.worst[*v as usize].clone() } else { None };
            match (x, y) {
                (Some(x), Some(y)) if self.worst[*v as usize].is_some() => {
                    plan.shared.push(SharedDim { levels, a: x, b: y, keep: !closed, weights, upwards: true });
                    plan.shared_order.push(plan.order.len());
                }
                (x, y) => {
                    let dim = OuterDim { levels, a: x.unwrap_or(0), b: y.unwrap_or(0), keep: !closed, weights };
                    plan.outer.push(dim);
                    plan.outer_order.push(plan.order.len());
                }
            }
            plan.order.push(if closed { 1 } else { levels });
        }
        let data = plan.run(&left, &right, lanes, None, lanes);
        vars.retain(|v| Some(*v) != sum);
        rescaled(vars, union, data, a.log + b.log)
    }

    /// Steps of each variable of a table, in rows.
    fn row_steps(&self, vars: &[u32]) -> Vec<usize> {
        let cards: Vec<usize> = vars.iter().map(|v| self.cards[*v as usize]).collect();
        steps(&cards, 1)
    }

    /// What the tree above and a sibling say about a node: the adjoint of [`Shape::up`].
    ///
    /// The result runs over those of the node's variables that `above` or `sibling` know; `closed` is the variable that
    /// the join summed.
    fn down(&self, above: &Table, sibling: &Table, scope: &[u32], scope_mask: u32, closed: Option<u32>) -> Table {
        let union = above.mask | sibling.mask;
        let lanes = self.lanes(union);
        let left = self.widen(above, union);
        let right = self.widen(sibling, union);
        let mut vars: Vec<u32> = above.vars.clone();
        vars.extend(sibling.vars.iter().copied().filter(|v| !above.vars.contains(v)));
        if let Some(v) = closed
            && self.worst[v as usize].is_some()
            && !vars.contains(&v)
            && scope.contains(&v)
        {
            vars.push(v);
        }
        let above_steps = self.row_steps(&above.vars);
        let sibling_steps = self.row_steps(&sibling.vars);
        let mut plan = Plan::default();
        let mut kept = Vec::new();
        for v in &vars {
            let levels = self.cards[*v as usize];
            let x = above.vars.iter().position(|w| w == v).map_or(0, |p| above_steps[p]);
            let y = sibling.vars.iter().position(|w| w == v).map(|p| sibling_steps[p]);
            let weights = if Some(*v) == closed { self.worst[*v as usize].clone() } else { None };
            let keep = scope.contains(v);
            match y {
                Some(y) if keep && self.worst[*v as usize].is_some() => {
                    plan.shared.push(SharedDim { levels, a: x, b: y, keep: true, weights, upwards: false });
                    plan.shared_order.push(plan.order.len());
                }
                y => {
                    plan.outer.push(OuterDim { levels, a: x, b: y.unwrap_or(0), keep, weights });
                    plan.outer_order.push(plan.order.len());
                }
            }
            plan.order.push(if keep { levels } else { 1 });
            if keep {
                kept.push(*v);
            }
        }
        let out_mask = union & scope_mask;
        let map = if out_mask == union { None } else { Some(self.map(union, out_mask)) };
        let data = plan.run(&left, &right, lanes, map.as_deref().map(Vec::as_slice), self.lanes(out_mask));
        rescaled(kept, out_mask, data, above.log + sibling.log)
    }

    /// The sum of all products of a node's table with what the rest of the tree says about it.
    fn meet(&self, node: &Table, rest: &Table) -> Table {
        let union = node.mask | rest.mask;
        let lanes = self.lanes(union);
        let left = self.widen(node, union);
        let right = self.widen(rest, union);
        let cards = |vars: &[u32]| vars.iter().map(|v| self.cards[*v as usize]).collect::<Vec<_>>();
        let left_steps = steps(&cards(&node.vars), 1);
        let right_steps = steps(&cards(&rest.vars), 1);
        let mut vars: Vec<u32> = node.vars.clone();
        vars.extend(rest.vars.iter().copied().filter(|v| !node.vars.contains(v)));
        let mut plan = Plan::default();
        for v in &vars {
            let x = node.vars.iter().position(|w| w == v).map_or(0, |p| left_steps[p]);
            let y = rest.vars.iter().position(|w| w == v).map_or(0, |p| right_steps[p]);
            plan.outer.push(OuterDim { levels: self.cards[*v as usize], a: x, b: y, keep: false, weights: None });
            plan.outer_order.push(plan.order.len());
            plan.order.push(1);
        }
        let map = self.map(union, 0);
        let data = plan.run(&left, &right, lanes, Some(&map), 1);
        rescaled(Vec::new(), 0, data, node.log + rest.log)
    }
}

/// A dimension that both tables (or one of them) index plainly; steps are in rows.
#[derive(Debug)]
struct OuterDim {
    levels: usize,
    a: usize,
    b: usize,
    keep: bool,
    weights: Option<Vec<f64>>,
}

/// A dimension joined by the rule of the worst; steps are in rows.
#[derive(Debug)]
struct SharedDim {
    levels: usize,
    a: usize,
    b: usize,
    keep: bool,
    weights: Option<Vec<f64>>,
    upwards: bool,
}

/// One product of the worst-of part of a join.
#[derive(Debug, Clone, Copy)]
struct Entry {
    a: usize,
    b: usize,
    out: usize,
    weight: f64,
}

/// A join laid out: plain dimensions outside, worst-of dimensions inside.
#[derive(Debug, Default)]
struct Plan {
    outer: Vec<OuterDim>,
    shared: Vec<SharedDim>,
    /// Sizes of the result's dimensions in its own sequence (1 for what is summed), and where the two kinds stand in it.
    order: Vec<usize>,
    outer_order: Vec<usize>,
    shared_order: Vec<usize>,
}

impl Plan {
    /// The products of the worst-of dimensions: rows of `a`, rows of the prefix table of `b`, rows of the result.
    fn entries(&self, out_steps: &[usize]) -> Vec<Entry> {
        let mut entries = vec![Entry { a: 0, b: 0, out: 0, weight: 1.0 }];
        let mut ext = 1;
        let radices: Vec<usize> = self.shared.iter().map(|d| 2 * d.levels - 1).collect();
        let ext_steps = steps(&radices, 1);
        for (place, dim) in self.shared.iter().enumerate() {
            let out_step = if dim.keep { out_steps[self.shared_order[place]] } else { 0 };
            let prefix = |k: usize| if k == 0 { 0 } else { dim.levels + k - 1 };
            let weight = |k: usize| dim.weights.as_ref().map_or(1.0, |w| w[k]);
            let mut list: Vec<Entry> = Vec::new();
            for k in 0..dim.levels {
                if dim.upwards {
                    // c[k] = a[k] (b[0] + .. + b[k]) + (a[0] + .. + a[k-1]) b[k]
                    let out = k * out_step;
                    list.push(Entry { a: k * dim.a, b: prefix(k), out, weight: weight(k) });
                    list.extend((0..k).map(|j| Entry { a: j * dim.a, b: k, out, weight: weight(k) }));
                } else {
                    // a[i] is met with every b[j]: the worse of the two indexes what stands above.
                    let out = k * out_step;
                    list.push(Entry { a: k * dim.a, b: prefix(k), out, weight: weight(k) });
                    list.extend((k + 1..dim.levels).map(|j| Entry { a: j * dim.a, b: j, out, weight: weight(j) }));
                }
            }
            list.retain(|e| e.weight > 0.0);
            let step = ext_steps[place];
            let mut next = Vec::with_capacity(entries.len() * list.len());
            for e in &entries {
                next.extend(list.iter().map(|l| Entry {
                    a: e.a + l.a,
                    b: e.b + l.b * step,
                    out: e.out + l.out,
                    weight: e.weight * l.weight,
                }));
            }
            entries = next;
            ext *= radices[place];
        }
        let _ = ext;
        entries.sort_by_key(|e| (e.out, e.a, e.b));
        entries
    }

    /// Fills the prefix table of `b` for one combination of the plain dimensions.
    fn prefixes(&self, right: &[f64], base: usize, lanes: usize, scratch: &mut Vec<f64>) {
        let radices: Vec<usize> = self.shared.iter().map(|d| 2 * d.levels - 1).collect();
        let ext_steps = steps(&radices, 1);
        let rows: usize = radices.iter().product();
        scratch.resize(rows * lanes, 0.0);
        let exact: Vec<usize> = self.shared.iter().map(|d| d.levels).collect();
        let mut state = vec![0usize; self.shared.len()];
        let count: usize = exact.iter().product();
        for _ in 0..count {
            let mut from = base;
            let mut to = 0;
            for (place, s) in state.iter().enumerate() {
                from += s * self.shared[place].b;
                to += s * ext_steps[place];
            }
            scratch[to * lanes..(to + 1) * lanes].copy_from_slice(&right[from * lanes..(from + 1) * lanes]);
            step(&mut state, &exact);
        }
        for place in 0..self.shared.len() {
            let levels = self.shared[place].levels;
            // Dimensions before this one are complete, those after it hold exact rows only.
            let sizes: Vec<usize> = (0..self.shared.len())
                .map(|q| {
                    if q < place {
                        radices[q]
                    } else if q == place {
                        1
                    } else {
                        exact[q]
                    }
                })
                .collect();
            let mut state = vec![0usize; sizes.len()];
            let count: usize = sizes.iter().product();
            for _ in 0..count {
                let row: usize = state.iter().zip(&ext_steps).map(|(s, e)| s * e).sum();
                for k in 1..levels {
                    let before = if k == 1 { 0 } else { levels + k - 2 };
                    let x = (row + before * ext_steps[place]) * lanes;
                    let y = (row + k * ext_steps[place]) * lanes;
                    let z = (row + (levels + k - 1) * ext_steps[place]) * lanes;
                    let (low, high) = scratch.split_at_mut(z);
                    for ((o, x), y) in high[..lanes].iter_mut().zip(&low[x..x + lanes]).zip(&low[y..y + lanes]) {
                        *o = x + y;
                    }
                }
                step(&mut state, &sizes);
            }
        }
    }

    /// The result: one row of lanes per combination of kept dimensions.
    ///
    /// # Shapes
    /// `map`: for each lane, the output lane it adds to; none where the result has the same lanes.
    fn run(&self, left: &[f64], right: &[f64], lanes: usize, map: Option<&[u32]>, out_lanes: usize) -> Vec<f64> {
        let out_steps = steps(&self.order, 1);
        let rows: usize = self.order.iter().product();
        let mut data = vec![0.0; rows * out_lanes];
        let entries = self.entries(&out_steps);
        let plain = self.shared.is_empty();
        // Rows of the result that the worst-of part makes for one combination of the plain dimensions.
        let mut outs: Vec<usize> = entries.iter().map(|e| e.out).collect();
        outs.dedup();
        let mut scratch: Vec<f64> = Vec::new();
        let mut last_base = usize::MAX;
        let mut wide = vec![0.0; if map.is_some() { outs.len() * lanes } else { 0 }];
        let sizes: Vec<usize> = self.outer.iter().map(|d| if d.keep { d.levels } else { 1 }).collect();
        let summed: Vec<&OuterDim> = self.outer.iter().filter(|d| !d.keep).collect();
        let summed_sizes: Vec<usize> = summed.iter().map(|d| d.levels).collect();
        let mut inner: Vec<(usize, usize, f64)> = Vec::new();
        let mut state = vec![0usize; summed.len()];
        for _ in 0..summed_sizes.iter().product::<usize>() {
            let mut at = (0, 0, 1.0);
            for (dim, s) in summed.iter().zip(&state) {
                at.0 += s * dim.a;
                at.1 += s * dim.b;
                at.2 *= dim.weights.as_ref().map_or(1.0, |w| w[*s]);
            }
            if at.2 > 0.0 {
                inner.push(at);
            }
            step(&mut state, &summed_sizes);
        }
        inner.sort_by_key(|t| t.1);
        let mut state = vec![0usize; self.outer.len()];
        for _ in 0..sizes.iter().product::<usize>() {
            let mut at = (0, 0, 0, 1.0);
            for ((dim, s), place) in self.outer.iter().zip(&state).zip(&self.outer_order) {
                if dim.keep {
                    at.0 += s * dim.a;
                    at.1 += s * dim.b;
                    at.2 += s * out_steps[*place];
                    at.3 *= dim.weights.as_ref().map_or(1.0, |w| w[*s]);
                }
            }
            wide.fill(0.0);
            for (x, y, w) in &inner {
                let (base_a, base_b, weight) = (at.0 + x, at.1 + y, at.3 * w);
                if weight <= 0.0 {
                    continue;
                }
                if !plain && base_b != last_base {
                    self.prefixes(right, base_b, lanes, &mut scratch);
                    last_base = base_b;
                }
                let mut slot = 0;
                for e in &entries {
                    let l = (base_a + e.a) * lanes;
                    let l = &left[l..l + lanes];
                    let r = if plain {
                        &right[base_b * lanes..(base_b + 1) * lanes]
                    } else {
                        &scratch[e.b * lanes..(e.b + 1) * lanes]
                    };
                    let out = if map.is_some() {
                        while outs[slot] != e.out {
                            slot += 1;
                        }
                        &mut wide[slot * lanes..(slot + 1) * lanes]
                    } else {
                        let o = (at.2 + e.out) * lanes;
                        &mut data[o..o + lanes]
                    };
                    add_products(out, l, r, weight * e.weight);
                }
            }
            if let Some(map) = map {
                for (slot, out) in outs.iter().enumerate() {
                    let from = &wide[slot * lanes..(slot + 1) * lanes];
                    let to = &mut data[(at.2 + out) * out_lanes..(at.2 + out + 1) * out_lanes];
                    if out_lanes == 1 {
                        to[0] = from.iter().sum();
                    } else {
                        for (value, lane) in from.iter().zip(map) {
                            to[*lane as usize] += value;
                        }
                    }
                }
            }
            step(&mut state, &sizes);
        }
        data
    }
}

fn steps(cards: &[usize], lanes: usize) -> Vec<usize> {
    let mut out = vec![0; cards.len()];
    let mut step = lanes;
    for place in (0..cards.len()).rev() {
        out[place] = step;
        step *= cards[place];
    }
    out
}

fn rescaled(vars: Vec<u32>, mask: u32, mut data: Vec<f64>, mut log: f64) -> Table {
    let largest = data.iter().fold(0.0_f64, |m, x| m.max(x.abs()));
    if largest > 0.0 && !(1e-60..=1e60).contains(&largest) {
        let scale = 1.0 / largest;
        for x in &mut data {
            *x *= scale;
        }
        log += largest.ln();
    }
    Table { vars, mask, data: Arc::new(data), log, id: 0, sums_to_one: None }
}

fn step(state: &mut [usize], cards: &[usize]) {
    for position in (0..state.len()).rev() {
        state[position] += 1;
        if state[position] < cards[position] {
            return;
        }
        state[position] = 0;
    }
}

fn add_products(out: &mut [f64], left: &[f64], right: &[f64], weight: f64) {
    if (weight - 1.0).abs() < f64::EPSILON {
        for ((o, x), y) in out.iter_mut().zip(left).zip(right) {
            *o += x * y;
        }
    } else {
        for ((o, x), y) in out.iter_mut().zip(left).zip(right) {
            *o += weight * x * y;
        }
    }
}

#[derive(Debug, Clone)]
enum Node {
    /// One of the given tables.
    Base(Table),
    /// Product of two nodes; `sum` is summed where given.
    Join { a: usize, b: usize, sum: Option<u32> },
    /// One node summed over a variable.
    Sum { a: usize, sum: u32 },
}

/// A compiled case: the tree for one pattern of evidence.
#[derive(Debug)]
pub struct Engine {
    shape: Shape,
    nodes: Vec<Node>,
    parents: Vec<Option<usize>>,
    /// Per node: the variables and roots that its table may depend on.
    scopes: Vec<(Vec<u32>, u32)>,
    /// Per network variable: its place among the roots or among the tree's variables.
    places: Vec<Place>,
    /// Node of the free factor of each network variable.
    slots: Vec<usize>,
    /// Per reading: the nodes that carry it, with what replaces them when the reading is left out.
    reading_nodes: Vec<Vec<(usize, Table)>>,
    full_mask: u32,
}

#[derive(Debug, Clone, Copy)]
enum Place {
    Root(usize),
    Var(u32),
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

/// How readings that look at many regions are carried.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Wide {
    /// As a difference of two products.
    Difference,
    /// By the rule of the worst, like all others.
    Worst,
}

/// A reading with parts in this many regions or more is wide \[ours\].
const WIDE: usize = 3;

struct Builder<'a> {
    net: &'a WorstNet,
    wide: Wide,
    places: Vec<Place>,
    cards: Vec<usize>,
    root_cards: Vec<usize>,
    base: Vec<Table>,
    /// Per tree variable: where it belongs.
    regions: Vec<Vec<u16>>,
    /// Per tree variable: closing weights of a worst-of variable.
    worst: Vec<Option<Vec<f64>>>,
}

fn shared_path(a: &[u16], b: &[u16]) -> Vec<u16> {
    a.iter().zip(b).take_while(|(x, y)| x == y).map(|(x, _)| *x).collect()
}

impl Builder<'_> {
    fn lanes(&self, mask: u32) -> usize {
        self.root_cards.iter().enumerate().filter(|(i, _)| mask >> i & 1 == 1).map(|(_, c)| c).product()
    }

    fn add_var(&mut self, card: usize, region: Vec<u16>) -> u32 {
        self.cards.push(card);
        self.regions.push(region);
        self.worst.push(None);
        u32::try_from(self.cards.len() - 1).unwrap_or(u32::MAX)
    }

    fn add(&mut self, table: Table) -> usize {
        self.base.push(table);
        self.base.len() - 1
    }

    /// The smallest region that holds all of these variables.
    fn common<'b>(&self, vars: impl Iterator<Item = &'b u32>) -> Vec<u16> {
        let mut paths = vars.filter_map(|v| self.regions.get(*v as usize));
        let Some(first) = paths.next() else { return Vec::new() };
        paths.fold(first.clone(), |path, next| shared_path(&path, next))
    }

    /// Product over root links of one factor per root state: one lane table per level.
    fn root_products(&self, roots: &[(usize, Vec<Vec<f64>>)], levels: usize) -> (u32, Vec<Vec<f64>>) {
        let mask = roots.iter().fold(0u32, |m, (r, _)| m | 1 << r);
        let lanes = self.lanes(mask);
        let list: Vec<usize> = (0..self.root_cards.len()).filter(|i| mask >> i & 1 == 1).collect();
        let list_cards: Vec<usize> = list.iter().map(|r| self.root_cards[*r]).collect();
        let mut out = vec![vec![1.0; lanes]; levels];
        let mut state = vec![0usize; list.len()];
        for lane in 0..lanes {
            for (root, table) in roots {
                let position = list.iter().position(|r| r == root).unwrap_or(0);
                for (level, row) in out.iter_mut().enumerate() {
                    row[lane] *= table[state[position]][level];
                }
            }
            step(&mut state, &list_cards);
        }
        (mask, out)
    }

    /// The worst of draws of several parents, built up one draw at a time; answers the variable that holds it.
    fn worst_so_far(&mut self, mut parts: Vec<(u32, Vec<Vec<f64>>)>, states: usize) -> u32 {
        // Parts of one region first among themselves, so that each region hands over one variable.
        parts.sort_by_key(|(v, _)| (self.regions[*v as usize].clone(), *v));
        let mut groups: Vec<u32> = Vec::new();
        let mut index = 0;
        while index < parts.len() {
            let region = self.regions[parts[index].0 as usize].clone();
            let mut held: Option<u32> = None;
            while index < parts.len() && self.regions[parts[index].0 as usize] == region {
                let (v, table) = &parts[index];
                let next = self.add_var(states, region.clone());
                let exact = |s: usize, k: usize| table[s][k] - if k == 0 { 0.0 } else { table[s][k - 1] };
                let rows = table.len();
                match held {
                    None => {
                        let data: Vec<f64> = (0..states).flat_map(|k| (0..rows).map(move |s| exact(s, k))).collect();
                        let mut made = Table::new(vec![next, *v], 0, data);
                        made.sums_to_one = Some(next);
                        self.add(made);
                    }
                    Some(before) => {
                        let mut data = Vec::with_capacity(states * states * rows);
                        for k in 0..states {
                            for j in 0..states {
                                for (s, row) in table.iter().enumerate() {
                                    data.push(match j.cmp(&k) {
                                        std::cmp::Ordering::Greater => 0.0,
                                        std::cmp::Ordering::Equal => row[k],
                                        std::cmp::Ordering::Less => exact(s, k),
                                    });
                                }
                            }
                        }
                        let mut made = Table::new(vec![next, before, *v], 0, data);
                        made.sums_to_one = Some(next);
                        self.add(made);
                    }
                }
                held = Some(next);
                index += 1;
            }
            groups.extend(held);
        }
        let mut groups = groups.into_iter();
        let Some(mut held) = groups.next() else { return self.add_var(states, Vec::new()) };
        for group in groups {
            let region = shared_path(&self.regions[held as usize], &self.regions[group as usize]);
            let next = self.add_var(states, region);
            let mut data = Vec::with_capacity(states * states * states);
            for k in 0..states {
                for i in 0..states {
                    for j in 0..states {
                        data.push(if i.max(j) == k { 1.0 } else { 0.0 });
                    }
                }
            }
            let mut made = Table::new(vec![next, held, group], 0, data);
            made.sums_to_one = Some(next);
            self.add(made);
            held = next;
        }
        held
    }

    /// The table of a variable given its parents; many alike parents are first drawn together.
    fn variable(&mut self, index: usize) {
        let variable = &self.net.variables[index];
        let Place::Var(me) = self.places[index] else { return };
        let states = variable.states.len();
        let cumulate = |link: &Link| link.given.iter().map(|row| cumulative(row)).collect::<Vec<_>>();
        let mut roots = Vec::new();
        let mut dense: Vec<(u32, Vec<Vec<f64>>)> = Vec::new();
        let mut loose: Vec<(u32, Vec<Vec<f64>>)> = Vec::new();
        for link in &variable.links {
            match self.places[link.parent] {
                Place::Root(r) => roots.push((r, cumulate(link))),
                Place::Var(v) => {
                    let alike = variable.links.iter().filter(|other| other.given == link.given).count();
                    if alike >= 3 { loose.push((v, cumulate(link))) } else { dense.push((v, cumulate(link))) }
                }
            }
        }
        let rows = |dense: &[(u32, Vec<Vec<f64>>)]| states * dense.iter().map(|(_, t)| t.len()).product::<usize>();
        while rows(&dense) > DENSE_ROWS {
            if let Some(moved) = dense.pop() {
                loose.push(moved);
            }
        }
        if !loose.is_empty() {
            // "The worst so far" is a parent that passes its state on as it is.
            let held = self.worst_so_far(loose, states);
            let passes = (0..states).map(|j| (0..states).map(|k| if k >= j { 1.0 } else { 0.0 }).collect()).collect();
            dense.push((held, passes));
        }
        let (mask, products) = self.root_products(&roots, states);
        let own = cumulative(&variable.own);
        let lanes = self.lanes(mask);
        let parent_cards: Vec<usize> = dense.iter().map(|(_, t)| t.len()).collect();
        let assignments: usize = parent_cards.iter().product();
        let mut vars: Vec<u32> = vec![me];
        vars.extend(dense.iter().map(|(v, _)| *v));
        let mut data = vec![0.0; states * assignments * lanes];
        let mut state = vec![0usize; parent_cards.len()];
        for assignment in 0..assignments {
            let level_value = |level: usize, lane: usize| {
                let mut value = own[level] * products[level][lane];
                for ((_, table), s) in dense.iter().zip(&state) {
                    value *= table[*s][level];
                }
                value
            };
            for k in 0..states {
                for lane in 0..lanes {
                    let lower = if k == 0 { 0.0 } else { level_value(k - 1, lane) };
                    data[(k * assignments + assignment) * lanes + lane] = (level_value(k, lane) - lower).max(0.0);
                }
            }
            step(&mut state, &parent_cards);
        }
        let mut table = Table::new(vars, mask, data);
        table.sums_to_one = Some(me);
        self.add(table);
    }

    /// The tables of one reading; answers the nodes that carry it and what replaces them when it is left out.
    fn reading(&mut self, reading: &Reading) -> Vec<(usize, Table)> {
        let mut made = Vec::new();
        let best = reading.own[0] <= 0.0 && reading.echo <= 0.0;
        let mut roots = Vec::new();
        let mut parts: Vec<(u32, Vec<[f64; 2]>)> = Vec::new();
        for ReadingLink { parent, given } in &reading.links {
            match self.places[*parent] {
                Place::Root(r) => {
                    roots.push((r, given.iter().map(|[below, here]| vec![*below, below + here]).collect::<Vec<_>>()));
                }
                Place::Var(v) => parts.push((v, given.clone())),
            }
        }
        let (mask, products) = self.root_products(&roots, 2);
        let lanes = self.lanes(mask);
        let [below, here] = reading.own;
        if best {
            // Nothing can be better than the best: a plain factor per part.
            let data: Vec<f64> = products[1].iter().map(|p| p * here).collect();
            made.push((self.add(Table::new(Vec::new(), mask, data)), Table::ones()));
            for (v, table) in parts {
                let data = table.iter().map(|[b, h]| b + h).collect();
                made.push((self.add(Table::new(vec![v], 0, data)), Table::ones()));
            }
            return made;
        }
        if reading.echo <= 0.0 {
            // A part that can never be what made the reading: a plain factor will do.
            let (plain, telling): (Vec<_>, Vec<_>) =
                parts.into_iter().partition(|(_, table)| table.iter().all(|[_, h]| *h <= 0.0));
            parts = telling;
            for (v, table) in plain {
                let data = table.iter().map(|[b, _]| *b).collect();
                made.push((self.add(Table::new(vec![v], 0, data)), Table::ones()));
            }
        }
        let weight = |upper: f64, lower: f64| reading.echo + (1.0 - reading.echo) * (upper - lower).max(0.0);
        if parts.len() <= 1 {
            let single = parts.first();
            let states = single.map_or(1, |(_, t)| t.len());
            let mut data = vec![0.0; states * lanes];
            for s in 0..states {
                let [b, h] = single.map_or([1.0, 0.0], |(_, t)| t[s]);
                for lane in 0..lanes {
                    let upper = (below + here) * products[1][lane] * (b + h);
                    let lower = below * products[0][lane] * b;
                    data[s * lanes + lane] = weight(upper, lower);
                }
            }
            let vars = single.map(|(v, _)| *v).into_iter().collect();
            made.push((self.add(Table::new(vars, mask, data)), Table::ones()));
            return made;
        }
        let regions: BTreeSet<&[u16]> = parts
            .iter()
            .filter_map(|(v, _)| self.regions.get(*v as usize))
            .map(|r| r.get(..r.len().min(2)).unwrap_or_default())
            .collect();
        if self.wide == Wide::Difference && regions.len() >= WIDE {
            return self.difference(reading, parts, mask, &products, made);
        }
        // With an echo the worst beyond the reading matters too.
        let levels = if reading.echo > 0.0 { 3 } else { 2 };
        let region = self.common(parts.iter().map(|(v, _)| v));
        let aux = self.add_var(levels, region);
        let closing = if levels == 3 { vec![reading.echo, 1.0, reading.echo] } else { vec![0.0, 1.0] };
        self.worst[aux as usize] = Some(closing);
        let exact = |b: f64, upper: f64| {
            let mut out = vec![b, (upper - b).max(0.0)];
            if levels == 3 {
                out.push((1.0 - upper).max(0.0));
            }
            out
        };
        let own: Vec<Vec<f64>> =
            (0..lanes).map(|l| exact(below * products[0][l], (below + here) * products[1][l])).collect();
        let data: Vec<f64> = (0..levels).flat_map(|k| own.iter().map(move |row| row[k])).collect();
        let mut neutral = vec![0.0; levels];
        neutral[1] = 1.0;
        made.push((self.add(Table::new(vec![aux], mask, data)), Table::new(vec![aux], 0, neutral)));
        for (v, table) in parts {
            let rows: Vec<Vec<f64>> = table.iter().map(|[b, h]| exact(*b, b + h)).collect();
            let data: Vec<f64> = (0..levels).flat_map(|k| rows.iter().map(move |row| row[k])).collect();
            // Left out, a part draws nothing: always better.
            let mut nothing = vec![0.0; levels];
            nothing[0] = 1.0;
            made.push((self.add(Table::new(vec![aux, v], 0, data)), Table::new(vec![aux], 0, nothing)));
        }
        made
    }
}

impl Builder<'_> {
    /// A wide reading as "at most this" less "better than this".
    fn difference(
        &mut self,
        reading: &Reading,
        parts: Vec<(u32, Vec<[f64; 2]>)>,
        mask: u32,
        products: &[Vec<f64>],
        mut made: Vec<(usize, Table)>,
    ) -> Vec<(usize, Table)> {
        let [below, here] = reading.own;
        let rest = 1.0 - reading.echo;
        let mut weights = vec![rest * (below + here), -rest * below];
        if reading.echo > 0.0 {
            weights.push(reading.echo);
        }
        let levels = weights.len();
        let region = self.common(parts.iter().map(|(v, _)| v));
        let aux = self.add_var(levels, region);
        let lane = |level: usize, lane: usize| match level {
            0 => products[1][lane],
            1 => products[0][lane],
            _ => 1.0,
        };
        let data: Vec<f64> = weights
            .iter()
            .enumerate()
            .flat_map(|(l, w)| (0..self.lanes(mask)).map(move |i| w * lane(l, i)).collect::<Vec<_>>())
            .collect();
        let mut neutral = vec![0.0; levels];
        neutral[0] = 1.0;
        made.push((self.add(Table::new(vec![aux], mask, data)), Table::new(vec![aux], 0, neutral)));
        for (v, table) in parts {
            let level = |l: usize, [b, h]: [f64; 2]| match l {
                0 => b + h,
                1 => b,
                _ => 1.0,
            };
            let data: Vec<f64> =
                (0..levels).flat_map(|l| table.iter().map(move |pair| level(l, *pair)).collect::<Vec<_>>()).collect();
            made.push((self.add(Table::new(vec![aux, v], 0, data)), Table::ones()));
        }
        made
    }
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
        for v in &table.vars {
            out.words[*v as usize / 64] |= 1 << (v % 64);
        }
        out
    }
    fn union(&self, other: &Self) -> Self {
        let words = self.words.iter().zip(&other.words).map(|(a, b)| a | b).collect();
        Self { words, mask: self.mask | other.mask }
    }
    fn has(&self, v: u32) -> bool {
        self.words[v as usize / 64] >> (v % 64) & 1 == 1
    }
    fn without(mut self, v: u32) -> Self {
        self.words[v as usize / 64] &= !(1 << (v % 64));
        self
    }
    /// Products that a join of two scopes takes.
    fn join_work(&self, other: &Self, shape: &Shape) -> f64 {
        let mut work = to_f64(shape.lanes(self.mask | other.mask));
        for (position, (x, y)) in self.words.iter().zip(&other.words).enumerate() {
            let mut rest = x | y;
            let both = x & y;
            while rest != 0 {
                let bit = rest.trailing_zeros() as usize;
                let v = position * 64 + bit;
                let levels = shape.cards[v];
                let doubled = both >> bit & 1 == 1 && shape.worst[v].is_some();
                work *= to_f64(if doubled { levels * (levels + 1) / 2 } else { levels });
                rest &= rest - 1;
            }
        }
        work
    }
    fn size(&self, shape: &Shape) -> f64 {
        let mut size = 1.0;
        for (position, word) in self.words.iter().enumerate() {
            let mut rest = *word;
            while rest != 0 {
                let bit = rest.trailing_zeros() as usize;
                size *= to_f64(shape.cards[position * 64 + bit]);
                rest &= rest - 1;
            }
        }
        size * to_f64(shape.lanes(self.mask))
    }
}

fn to_f64(n: usize) -> f64 {
    u32::try_from(n).map_or(f64::MAX, f64::from)
}

impl Engine {
    /// Builds the tree for a network and the readings taken.
    ///
    /// # Errors
    /// A malformed table, or a table that would not fit; never a wrong answer.
    pub fn build(net: &WorstNet, readings: &[Reading]) -> Result<Self, LanesError> {
        Self::build_as(net, readings, Wide::Difference)
    }

    /// The same engine with every reading carried by the rule of the worst: no digit is lost, at the price of time.
    ///
    /// # Errors
    /// As [`Engine::build`].
    pub fn without_differences(net: &WorstNet, readings: &[Reading]) -> Result<Self, LanesError> {
        Self::build_as(net, readings, Wide::Worst)
    }

    fn build_as(net: &WorstNet, readings: &[Reading], wide: Wide) -> Result<Self, LanesError> {
        net.ensure()?;
        for reading in readings {
            net.ensure_reading(reading)?;
        }
        let mut builder = Builder {
            net,
            wide,
            places: Vec::new(),
            cards: Vec::new(),
            root_cards: Vec::new(),
            base: Vec::new(),
            regions: Vec::new(),
            worst: Vec::new(),
        };
        for variable in &net.variables {
            let place = if variable.root {
                builder.root_cards.push(variable.states.len());
                Place::Root(builder.root_cards.len() - 1)
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
                builder.add(Table::new(Vec::new(), 1 << r, variable.own.clone()));
            }
        }
        let slots: Vec<usize> = (0..net.variables.len())
            .map(|index| match builder.places[index] {
                Place::Root(r) => builder.add(slot_table(Vec::new(), 1 << r)),
                Place::Var(v) => builder.add(slot_table(vec![v], 0)),
            })
            .collect();
        let reading_nodes: Vec<Vec<(usize, Table)>> = readings.iter().map(|r| builder.reading(r)).collect();
        let Builder { places, cards, root_cards, base, regions, worst, .. } = builder;
        let full_mask = (1u32 << root_cards.len()) - 1;
        let shape = Shape { cards, worst, root_cards, maps: std::sync::RwLock::new(BTreeMap::new()) };
        let mut engine = Self {
            shape,
            nodes: Vec::new(),
            parents: Vec::new(),
            scopes: Vec::new(),
            places,
            slots,
            reading_nodes,
            full_mask,
        };
        engine.tree(net, base, &regions)?;
        Ok(engine)
    }

    /// Finds the order of summation and lays the binary tree.
    fn tree(&mut self, net: &WorstNet, base: Vec<Table>, regions: &[Vec<u16>]) -> Result<(), LanesError> {
        let words = self.shape.cards.len().div_ceil(64).max(1);
        let mut scopes: Vec<Scope> = base.iter().map(|t| Scope::of(t, words)).collect();
        self.nodes = base.into_iter().map(Node::Base).collect();
        let count = self.shape.cards.len();
        let mut holders: Vec<BTreeSet<usize>> = vec![BTreeSet::new(); count];
        for (index, node) in self.nodes.iter().enumerate() {
            if let Node::Base(table) = node {
                for v in &table.vars {
                    holders[*v as usize].insert(index);
                }
            }
        }
        // The work of joining all holders one after another, smallest first: a fair guess of what `merge` will take.
        let cost_of = |v: usize, holders: &[BTreeSet<usize>], scopes: &[Scope], shape: &Shape| {
            let mut list: Vec<(f64, usize)> = holders[v].iter().map(|h| (scopes[*h].size(shape), *h)).collect();
            list.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
            let mut union = Scope { words: vec![0; words], mask: 0 };
            let mut work = 0.0;
            for (_, h) in list {
                work += union.join_work(&scopes[h], shape);
                union = union.union(&scopes[h]);
            }
            work
        };
        let mut costs: Vec<f64> = (0..count).map(|v| cost_of(v, &holders, &scopes, &self.shape)).collect();
        // Deeper regions first; within one region the cheapest variable first.
        let mut groups: BTreeMap<(std::cmp::Reverse<usize>, Vec<u16>), BTreeSet<usize>> = BTreeMap::new();
        for (v, region) in regions.iter().enumerate() {
            groups.entry((std::cmp::Reverse(region.len()), region.clone())).or_default().insert(v);
        }
        let mut queue: Vec<BTreeSet<usize>> = groups.into_values().rev().collect();
        while let Some(mut group) = queue.pop() {
            let Some(v) = group.iter().copied().min_by(|a, b| costs[*a].total_cmp(&costs[*b]).then(a.cmp(b))) else {
                continue;
            };
            group.remove(&v);
            queue.push(group);
            let var = u32::try_from(v).unwrap_or(u32::MAX);
            if costs[v] > LARGEST {
                let variable = self
                    .places
                    .iter()
                    .position(|p| matches!(p, Place::Var(w) if *w == var))
                    .and_then(|i| net.variables.get(i))
                    .map_or_else(|| "a reading of many parts".to_owned(), |x| x.name.clone());
                return Err(LanesError::TooLarge { entries: costs[v], variable });
            }
            let pool: Vec<usize> = std::mem::take(&mut holders[v]).into_iter().collect();
            let last = self.merge(pool, &mut scopes, Some(var));
            let scope = scopes[last].clone();
            let mut touched = BTreeSet::new();
            for w in 0..count {
                if w != v && scope.has(u32::try_from(w).unwrap_or(u32::MAX)) {
                    touched.insert(w);
                }
            }
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
        self.parents = vec![None; self.nodes.len()];
        for (index, node) in self.nodes.iter().enumerate() {
            match node {
                Node::Base(_) => {}
                Node::Join { a, b, .. } => {
                    self.parents[*a] = Some(index);
                    self.parents[*b] = Some(index);
                }
                Node::Sum { a, .. } => self.parents[*a] = Some(index),
            }
        }
        self.scopes = scopes
            .iter()
            .map(|scope| {
                let all = 0..u32::try_from(count).unwrap_or(u32::MAX);
                (all.filter(|v| scope.has(*v)).collect(), scope.mask)
            })
            .collect();
        Ok(())
    }

    /// Joins a pool of nodes pairwise, smallest product first; the last join sums the variable.
    fn merge(&mut self, mut pool: Vec<usize>, scopes: &mut Vec<Scope>, sum: Option<u32>) -> usize {
        if pool.len() == 1 {
            let a = pool[0];
            return match sum {
                None => a,
                Some(v) => {
                    self.nodes.push(Node::Sum { a, sum: v });
                    scopes.push(scopes[a].clone().without(v));
                    self.nodes.len() - 1
                }
            };
        }
        while pool.len() > 1 {
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
            let union = scopes[a].union(&scopes[b]);
            let now = if pool.is_empty() { sum } else { None };
            self.nodes.push(Node::Join { a, b, sum: now });
            scopes.push(match now {
                Some(v) => union.without(v),
                None => union,
            });
            pool.push(self.nodes.len() - 1);
        }
        pool[0]
    }

    fn slot(&self, variable: usize, factor: &[f64]) -> Table {
        match self.places[variable] {
            Place::Root(r) => Table::new(Vec::new(), 1 << r, factor.to_vec()),
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
    fn value(&self, node: &Node, get: &dyn Fn(usize) -> Table, memo: &mut Memo<'_>) -> Table {
        match node {
            Node::Base(table) if table.is_ones() => Table::ones(),
            Node::Base(table) => table.clone(),
            Node::Join { a, b, sum } => self.join(&get(*a), &get(*b), *sum, memo),
            Node::Sum { a, sum } => self.join(&get(*a), &Table::ones(), Some(*sum), memo),
        }
    }

    fn join(&self, a: &Table, b: &Table, sum: Option<u32>, memo: &mut Memo<'_>) -> Table {
        match sum {
            None if b.is_ones() => return a.clone(),
            None if a.is_ones() => return b.clone(),
            Some(v) if b.is_ones() && a.sums_to_one == Some(v) => return Table { log: a.log, ..Table::ones() },
            Some(v) if a.is_ones() && b.sums_to_one == Some(v) => return Table { log: b.log, ..Table::ones() },
            _ => {}
        }
        let pattern: Vec<u32> = b
            .vars
            .iter()
            .map(|v| a.vars.iter().position(|w| w == v).map_or(u32::MAX, |p| u32::try_from(p).unwrap_or(u32::MAX - 1)))
            .collect();
        let sum_place = sum.map(|v| (a.vars.iter().position(|w| *w == v), b.vars.iter().position(|w| *w == v)));
        let cards = |t: &Table| t.vars.iter().map(|v| self.shape.cards[*v as usize]).collect::<Vec<_>>();
        let id = digest(&(a.id, b.id, pattern, sum_place, cards(a), cards(b)));
        if let Some(found) = memo.get(id) {
            let mut vars: Vec<u32> = a.vars.iter().copied().filter(|v| Some(*v) != sum).collect();
            vars.extend(b.vars.iter().copied().filter(|v| Some(*v) != sum && !a.vars.contains(v)));
            return Table { vars, ..found };
        }
        let mut table = self.shape.up(a, b, sum);
        table.id = id.max(2);
        if sum.is_none() {
            // A table that sums to one over its own variable still does after a product with ones only;
            // with anything else it does not.
            table.sums_to_one = None;
        }
        memo.put(id, &table);
        table
    }

    /// Works the whole tree: the state from which every question is answered.
    ///
    /// # Errors
    /// Readings that exclude one another.
    pub fn run(&self, extra: &Extra) -> Result<Run<'_>, LanesError> {
        let mut memo = Memo { shared: None, own: BTreeMap::new() };
        let up = self.up_all(extra, &mut memo);
        Run::new(self, up, memo.own, extra.clone())
    }

    fn up_all(&self, extra: &Extra, memo: &mut Memo<'_>) -> Vec<Table> {
        let replaced = self.replacements(extra);
        let mut up: Vec<Table> = Vec::with_capacity(self.nodes.len());
        for (index, node) in self.nodes.iter().enumerate() {
            let table = match replaced.get(&index) {
                Some(table) => table.clone(),
                None => self.value(node, &|i| up[i].clone(), memo),
            };
            up.push(table);
        }
        up
    }

    /// How many nodes the tree has, and how many multiplications one pass over it takes at most.
    #[must_use]
    pub fn size(&self) -> (usize, f64) {
        let work = self.nodes.iter().enumerate().map(|(index, _)| self.work(index)).sum();
        (self.nodes.len(), work)
    }

    fn work(&self, index: usize) -> f64 {
        let of = |i: usize| &self.scopes[i];
        let (pair, sum) = match &self.nodes[index] {
            Node::Base(_) => return 0.0,
            Node::Join { a, b, sum } => ([Some(*a), Some(*b)], *sum),
            Node::Sum { a, sum } => ([Some(*a), None], Some(*sum)),
        };
        let mut count: BTreeMap<u32, usize> = BTreeMap::new();
        let mut mask = 0;
        for i in pair.into_iter().flatten() {
            mask |= of(i).1;
            for v in &of(i).0 {
                *count.entry(*v).or_default() += 1;
            }
        }
        let _ = sum;
        let products: f64 = count
            .iter()
            .map(|(v, n)| {
                let levels = self.shape.cards[*v as usize];
                // A worst-of variable of both sides costs one product for the mildest level and two for a further one.
                let both = *n == 2 && self.shape.worst[*v as usize].is_some();
                to_f64(if both { levels * (levels + 1) / 2 } else { levels })
            })
            .product();
        products * to_f64(self.shape.lanes(mask))
    }

    /// The heaviest products of the tree in words, for developers.
    #[must_use]
    pub fn profile(&self) -> String {
        let mut list: Vec<(f64, usize)> = (0..self.nodes.len()).map(|i| (self.work(i), i)).collect();
        list.sort_by(|a, b| b.0.total_cmp(&a.0));
        let total: f64 = list.iter().map(|x| x.0).sum();
        let mut out = format!("total {total:.3e}\n");
        for (work, i) in list.into_iter().take(25) {
            let (vars, mask) = &self.scopes[i];
            let names: Vec<String> = vars
                .iter()
                .map(|v| {
                    self.places
                        .iter()
                        .position(|p| matches!(p, Place::Var(w) if w == v))
                        .map_or_else(|| format!("aux{v}"), |x| format!("#{x}"))
                })
                .collect();
            out.push_str(&format!("{work:.2e} {i} lanes {} vars {}\n", self.shape.lanes(*mask), names.join(" ")));
        }
        out
    }
}

fn slot_table(vars: Vec<u32>, mask: u32) -> Table {
    // The free factor has the place of its variable in the tree and the value one.
    Table { vars, mask, data: Arc::new(vec![1.0]), log: 0.0, id: 1, sums_to_one: None }
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

/// A worked tree: answers questions about one body of evidence.
#[derive(Debug)]
pub struct Run<'a> {
    engine: &'a Engine,
    up: Vec<Table>,
    down: Vec<std::sync::OnceLock<Table>>,
    memo: BTreeMap<u128, Table>,
    extra: Extra,
    ln_p: f64,
}

impl<'a> Run<'a> {
    fn new(engine: &'a Engine, up: Vec<Table>, memo: BTreeMap<u128, Table>, extra: Extra) -> Result<Self, LanesError> {
        let ln_p = up.last().map_or(0.0, |t| t.data.iter().sum::<f64>().ln() + t.log);
        if !ln_p.is_finite() {
            let why = "their joint probability is zero".to_owned();
            return Err(LanesError::Impossible(why));
        }
        let down = (0..engine.nodes.len()).map(|_| std::sync::OnceLock::new()).collect();
        Ok(Self { engine, up, down, memo, extra, ln_p })
    }

    /// Natural logarithm of the probability of the evidence.
    #[must_use]
    pub fn ln_p(&self) -> f64 {
        self.ln_p
    }

    /// Works the tree again with further constraints, sharing all that did not change.
    ///
    /// # Errors
    /// Constraints that cannot hold together with the evidence.
    pub fn with(&self, extra: &Extra) -> Result<Run<'a>, LanesError> {
        let mut all = self.extra.clone();
        for (variable, factor) in &extra.factors {
            all.multiply(*variable, factor);
        }
        all.without.extend(extra.without.iter().copied());
        let mut memo = Memo { shared: Some(&self.memo), own: BTreeMap::new() };
        let replaced = self.engine.replacements(&all);
        let mut up: Vec<Table> = Vec::with_capacity(self.up.len());
        let mut dirty = vec![false; self.up.len()];
        for (index, node) in self.engine.nodes.iter().enumerate() {
            dirty[index] = match node {
                Node::Base(_) => replaced.contains_key(&index),
                Node::Join { a, b, .. } => dirty[*a] || dirty[*b],
                Node::Sum { a, .. } => dirty[*a],
            };
            let table = if let Some(table) = replaced.get(&index) {
                table.clone()
            } else if dirty[index] {
                self.engine.value(node, &|i| up[i].clone(), &mut memo)
            } else {
                self.up[index].clone()
            };
            up.push(table);
        }
        let own = memo.own;
        Run::new(self.engine, up, own, all)
    }

    /// What the rest of the tree says about one node.
    fn down(&self, node: usize) -> &Table {
        if let Some(found) = self.down[node].get() {
            return found;
        }
        // From the root downwards, so that the depth of the tree never becomes the depth of the stack.
        let mut path = vec![node];
        let mut at = node;
        while let Some(parent) = self.engine.parents[at] {
            if self.down[at].get().is_some() {
                break;
            }
            path.push(parent);
            at = parent;
        }
        for at in path.into_iter().rev() {
            self.down[at].get_or_init(|| self.down_once(at));
        }
        self.down[node].get_or_init(Table::ones)
    }

    fn down_once(&self, node: usize) -> Table {
        let Some(parent) = self.engine.parents[node] else { return Table::ones() };
        let above = self.down[parent].get_or_init(Table::ones);
        let (sibling, closed) = match &self.engine.nodes[parent] {
            Node::Base(_) => (Table::ones(), None),
            Node::Sum { sum, .. } => (Table::ones(), Some(*sum)),
            Node::Join { a, b, sum } => (self.up[if *a == node { *b } else { *a }].clone(), *sum),
        };
        let (vars, mask) = &self.engine.scopes[node];
        self.engine.shape.down(above, &sibling, vars, *mask, closed)
    }

    /// The distribution of one variable given the evidence, one entry per state.
    #[must_use]
    pub fn marginal(&self, variable: usize) -> Vec<f64> {
        let (values, total) = self.unnormalised(variable);
        values.into_iter().map(|x| (x / total).max(0.0)).collect()
    }

    fn unnormalised(&self, variable: usize) -> (Vec<f64>, f64) {
        let slot = self.engine.slots[variable];
        let card = match self.engine.places[variable] {
            Place::Root(r) => self.engine.shape.root_cards[r],
            Place::Var(v) => self.engine.shape.cards[v as usize],
        };
        let own = &self.up[slot];
        let outside = self.down_slot(slot, variable);
        let values: Vec<f64> = (0..card)
            .map(|s| {
                let factor = if own.is_ones() { 1.0 } else { own.data[s] };
                outside[s] * factor
            })
            .collect();
        let total = values.iter().sum();
        (values, total)
    }

    /// The outside message at a variable's free factor, one entry per state.
    fn down_slot(&self, slot: usize, variable: usize) -> Vec<f64> {
        let table = self.down(slot);
        match self.engine.places[variable] {
            Place::Root(r) => {
                if table.mask == 0 {
                    vec![table.data[0]; self.engine.shape.root_cards[r]]
                } else {
                    table.data.to_vec()
                }
            }
            Place::Var(v) => {
                if table.vars.is_empty() {
                    vec![table.data[0]; self.engine.shape.cards[v as usize]]
                } else {
                    table.data.to_vec()
                }
            }
        }
    }

    /// The probability of a further event relative to this evidence: P(event | evidence).
    ///
    /// The event is a product of one factor per variable, such as "this reading would be at most that level".
    #[must_use]
    pub fn probability(&self, event: &[(usize, Vec<f64>)]) -> f64 {
        let engine = self.engine;
        let mut extra = Extra::default();
        for (variable, factor) in event {
            extra.multiply(*variable, factor);
        }
        let mut changed: BTreeMap<usize, Table> = BTreeMap::new();
        for (variable, factor) in &extra.factors {
            let mut all: Vec<f64> = factor.clone();
            if let Some(old) = self.extra.factors.get(variable) {
                for (a, o) in all.iter_mut().zip(old) {
                    *a *= o;
                }
            }
            changed.insert(engine.slots[*variable], engine.slot(*variable, &all));
        }
        if changed.is_empty() {
            return 1.0;
        }
        let mut memo = Memo { shared: Some(&self.memo), own: BTreeMap::new() };
        // Climb until all changed parts have met.
        while changed.len() > 1 {
            // The node with the lowest parent: whatever changed below its sibling has been climbed already.
            let lowest = changed.keys().copied().filter_map(|n| engine.parents[n].map(|p| (p, n))).min();
            let Some((parent, node)) = lowest else { break };
            let Some(table) = changed.remove(&node) else { break };
            let value = match &engine.nodes[parent] {
                Node::Base(_) => table,
                Node::Sum { sum, .. } => engine.join(&table, &Table::ones(), Some(*sum), &mut memo),
                Node::Join { a, b, sum } => {
                    let other = if *a == node { *b } else { *a };
                    let sibling = changed.remove(&other).unwrap_or_else(|| self.up[other].clone());
                    if *a == node {
                        engine.join(&table, &sibling, *sum, &mut memo)
                    } else {
                        engine.join(&sibling, &table, *sum, &mut memo)
                    }
                }
            };
            changed.insert(parent, value);
        }
        let Some((node, table)) = changed.pop_first() else { return 0.0 };
        let down = self.down(node);
        let joined = engine.shape.meet(&table, down);
        let value: f64 = joined.data.iter().sum();
        value * (joined.log - self.ln_p).exp()
    }

    /// The largest relative difference between totals that must agree: a measure of lost digits.
    #[must_use]
    pub fn accuracy(&self) -> f64 {
        self.accuracies().into_iter().fold(0.0_f64, f64::max)
    }

    /// The same measure per variable.
    #[must_use]
    pub fn accuracies(&self) -> Vec<f64> {
        (0..self.engine.places.len())
            .map(|variable| {
                let (_, total) = self.unnormalised(variable);
                let slot = self.engine.slots[variable];
                let log = self.down(slot).log + self.up[slot].log;
                ((total.ln() + log - self.ln_p).exp() - 1.0).abs()
            })
            .collect()
    }

    /// The joint distribution of the roots given the evidence, the last root running fastest.
    #[must_use]
    pub fn roots(&self) -> Vec<f64> {
        let Some(table) = self.up.last() else { return Vec::new() };
        let wide = self.engine.shape.widen(table, self.engine.full_mask);
        let total: f64 = wide.iter().sum();
        wide.iter().map(|x| x / total).collect()
    }
}

/// How one join is undone when a state of everything is drawn.
#[derive(Debug)]
struct Undo {
    a: usize,
    b: Option<usize>,
    /// Plain variables known by now: variable, step in `a`, step in `b`, in rows.
    known: Vec<(u32, usize, usize)>,
    /// Worst-of variables that only one side has and that stay open: place in this node, side is `b`, place there, step.
    passed: Vec<(usize, bool, usize, usize)>,
    /// What is drawn here.
    drawn: Vec<Drawn>,
    lanes_a: usize,
    lanes_b: usize,
    map_a: Arc<Vec<u32>>,
    map_b: Arc<Vec<u32>>,
}

#[derive(Debug)]
enum Drawn {
    /// A plain variable that was summed here.
    Plain { var: u32, a: usize, b: usize },
    /// A worst-of variable of both sides: place here (none where it was closed), places there, steps, closing weights.
    Split {
        here: Option<usize>,
        in_a: usize,
        in_b: usize,
        a: usize,
        b: usize,
        levels: usize,
        weights: Option<Vec<f64>>,
    },
    /// A worst-of variable of one side that was closed here.
    Closed { in_b: bool, place: usize, step: usize, weights: Vec<f64> },
}

/// States of every variable of the network, drawn from their exact joint distribution given the evidence.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Draws {
    /// How many.
    pub count: usize,
    /// How many variables.
    pub variables: usize,
    /// Draw after draw, one state per variable.
    pub states: Vec<u8>,
}

impl Draws {
    /// The states of one draw, one per variable.
    #[must_use]
    pub fn draw(&self, index: usize) -> &[u8] {
        &self.states[index * self.variables..(index + 1) * self.variables]
    }
}

/// Repeatable chance: the splitmix64 sequence (Steele, Lea and Flood 2014), one stream per draw.
#[derive(Debug)]
struct Chance(u64);

impl Chance {
    fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^= z >> 31;
        // 53 bits, as many as a double holds.
        #[expect(clippy::cast_precision_loss, reason = "53 bits fit a double exactly")]
        let whole = (z >> 11) as f64;
        whole / 9_007_199_254_740_992.0
    }
}

/// Engines drawn per engine kept, where some readings enter as weights \[ours\].
const OVERDRAWN: usize = 4;
/// Wide readings that the draws are made with; further ones enter as weights \[ours\].
const DRAWN_WIDE: usize = 3;

/// Draws states of all variables from their joint distribution given the readings.
///
/// The least expected wide readings and all narrow ones are met exactly; the further wide ones enter by weighing four
/// times as many draws and resampling them evenly. The same seed gives the same draws on every machine.
///
/// # Errors
/// As [`Engine::build`] and [`Engine::run`].
pub fn posterior_draws(net: &WorstNet, readings: &[Reading], count: usize, seed: u64) -> Result<Draws, LanesError> {
    let region = |v: usize| {
        let r = net.variables.get(v).map_or(&[][..], |x| &x.region);
        r.get(..r.len().min(2)).unwrap_or_default()
    };
    let telling = |r: &Reading| {
        let parts = r.links.iter().filter(|l| l.given.iter().any(|[_, h]| *h > 0.0) || r.echo > 0.0);
        parts.map(|l| region(l.parent)).collect::<BTreeSet<_>>().len()
    };
    let mut wide: Vec<usize> = (0..readings.len())
        .filter(|i| readings.get(*i).is_some_and(|r| r.own[0] > 0.0 && telling(r) >= WIDE))
        .collect();
    wide.sort_by(|a, b| readings[*a].own[1].total_cmp(&readings[*b].own[1]).then(a.cmp(b)));
    let weighed: BTreeSet<usize> = wide.into_iter().skip(DRAWN_WIDE).collect();
    let met: Vec<Reading> =
        readings.iter().enumerate().filter(|(i, _)| !weighed.contains(i)).map(|(_, r)| r.clone()).collect();
    let engine = Engine::without_differences(net, &met)?;
    let run = engine.run(&Extra::default())?;
    if weighed.is_empty() {
        return Ok(run.draws(count, seed));
    }
    let draws = run.draws(count * OVERDRAWN, seed);
    let weights: Vec<f64> =
        (0..draws.count).map(|d| weighed.iter().map(|i| readings[*i].chance(draws.draw(d))).product()).collect();
    let total: f64 = weights.iter().sum();
    if total.partial_cmp(&0.0) != Some(std::cmp::Ordering::Greater) {
        return Ok(run.draws(count, seed));
    }
    let mut states = Vec::with_capacity(count * draws.variables);
    let (mut place, mut sum) = (0, weights.first().copied().unwrap_or(0.0));
    for i in 0..count {
        let target = (to_f64(i) + 0.5) / to_f64(count) * total;
        while sum < target && place + 1 < draws.count {
            place += 1;
            sum += weights[place];
        }
        states.extend_from_slice(draws.draw(place));
    }
    Ok(Draws { count, variables: draws.variables, states })
}

impl Run<'_> {
    fn worst_vars(&self, node: usize) -> Vec<u32> {
        let worst = &self.engine.shape.worst;
        self.up[node].vars.iter().copied().filter(|v| worst[*v as usize].is_some()).collect()
    }

    fn undo(&self, node: usize) -> Option<Undo> {
        let shape = &self.engine.shape;
        let (a, b, sum) = match &self.engine.nodes[node] {
            Node::Base(_) => return None,
            Node::Join { a, b, sum } => (*a, Some(*b), *sum),
            Node::Sum { a, sum } => (*a, None, Some(*sum)),
        };
        let none = Table::ones();
        let left = &self.up[a];
        let right = b.map_or(&none, |b| &self.up[b]);
        let a_steps = shape.row_steps(&left.vars);
        let b_steps = shape.row_steps(&right.vars);
        let here = self.worst_vars(node);
        let in_a = self.worst_vars(a);
        let in_b = b.map(|b| self.worst_vars(b)).unwrap_or_default();
        let at = |list: &[u32], v: u32| list.iter().position(|w| *w == v);
        let mut out = Undo {
            a,
            b,
            known: Vec::new(),
            passed: Vec::new(),
            drawn: Vec::new(),
            lanes_a: shape.lanes(left.mask),
            lanes_b: shape.lanes(right.mask),
            map_a: shape.map(self.engine.full_mask, left.mask),
            map_b: shape.map(self.engine.full_mask, right.mask),
        };
        let mut vars: Vec<u32> = left.vars.clone();
        vars.extend(right.vars.iter().copied().filter(|v| !left.vars.contains(v)));
        for v in vars {
            let x = left.vars.iter().position(|w| *w == v).map(|p| a_steps[p]);
            let y = right.vars.iter().position(|w| *w == v).map(|p| b_steps[p]);
            let closed = Some(v) == sum;
            let levels = shape.cards[v as usize];
            match (&shape.worst[v as usize], x, y) {
                (None, x, y) if closed => {
                    out.drawn.push(Drawn::Plain { var: v, a: x.unwrap_or(0), b: y.unwrap_or(0) });
                }
                (None, x, y) => out.known.push((v, x.unwrap_or(0), y.unwrap_or(0))),
                (Some(weights), Some(x), Some(y)) => out.drawn.push(Drawn::Split {
                    here: if closed { None } else { at(&here, v) },
                    in_a: at(&in_a, v).unwrap_or(0),
                    in_b: at(&in_b, v).unwrap_or(0),
                    a: x,
                    b: y,
                    levels,
                    weights: closed.then(|| weights.clone()),
                }),
                (Some(weights), x, y) => {
                    let side = y.is_some();
                    let place = at(if side { &in_b } else { &in_a }, v).unwrap_or(0);
                    let step = x.or(y).unwrap_or(0);
                    if closed {
                        out.drawn.push(Drawn::Closed { in_b: side, place, step, weights: weights.clone() });
                    } else if let Some(here) = at(&here, v) {
                        out.passed.push((here, side, place, step));
                    }
                }
            }
        }
        Some(out)
    }

    /// Draws states of all variables from their exact joint distribution given the evidence.
    ///
    /// The same seed gives the same draws on every machine, whatever the number of threads.
    #[must_use]
    pub fn draws(&self, count: usize, seed: u64) -> Draws {
        use rayon::prelude::*;
        let engine = self.engine;
        let undo: Vec<Option<Undo>> = (0..engine.nodes.len()).map(|n| self.undo(n)).collect();
        let starts: Vec<usize> = (0..engine.nodes.len())
            .scan(0, |sum, n| {
                let start = *sum;
                *sum += self.worst_vars(n).len();
                Some(start)
            })
            .collect();
        let size = starts.last().map_or(0, |s| s + self.worst_vars(engine.nodes.len() - 1).len());
        let roots = self.roots();
        let mut cumulative = Vec::with_capacity(roots.len());
        let mut sum = 0.0;
        for p in &roots {
            sum += p;
            cumulative.push(sum);
        }
        let variables = engine.places.len();
        let states: Vec<u8> = (0..count)
            .into_par_iter()
            .flat_map_iter(|index| {
                let index64 = u64::try_from(index).unwrap_or(u64::MAX);
                let mut chance = Chance(seed ^ index64.wrapping_mul(0xD6E8_FEB8_6659_FD93));
                // Stratified over the roots: draw i falls into the i-th part of the scale.
                let u = (to_f64(index) + chance.unit()) / to_f64(count);
                let lane = cumulative.partition_point(|c| *c < u * sum).min(roots.len() - 1);
                let mut plain = vec![0u8; engine.shape.cards.len()];
                let mut worst = vec![0u8; size];
                self.draw_one(&undo, &starts, lane, &mut chance, &mut plain, &mut worst);
                let out: Vec<u8> = engine
                    .places
                    .iter()
                    .map(|place| match place {
                        Place::Root(r) => engine.root_state(lane, *r),
                        Place::Var(v) => plain[*v as usize],
                    })
                    .collect();
                out
            })
            .collect();
        Draws { count, variables, states }
    }

    fn draw_one(
        &self,
        undo: &[Option<Undo>],
        starts: &[usize],
        lane: usize,
        chance: &mut Chance,
        plain: &mut [u8],
        worst: &mut [u8],
    ) {
        let mut terms: Vec<(usize, usize, f64)> = Vec::new();
        let mut next: Vec<(usize, usize, f64)> = Vec::new();
        for node in (0..undo.len()).rev() {
            let Some(u) = &undo[node] else { continue };
            let start = starts[node];
            let (mut base_a, mut base_b) = (0, 0);
            for (v, x, y) in &u.known {
                let s = usize::from(plain[*v as usize]);
                base_a += s * x;
                base_b += s * y;
            }
            let start_b = u.b.map_or(0, |b| starts[b]);
            for (here, side, place, step) in &u.passed {
                let level = worst[start + here];
                worst[if *side { start_b } else { starts[u.a] } + place] = level;
                if *side { base_b += usize::from(level) * step } else { base_a += usize::from(level) * step }
            }
            if u.drawn.is_empty() {
                continue;
            }
            terms.clear();
            terms.push((base_a, base_b, 1.0));
            for drawn in &u.drawn {
                next.clear();
                match drawn {
                    Drawn::Plain { var, a, b } => {
                        let levels = self.engine.shape.cards[*var as usize];
                        for t in &terms {
                            next.extend((0..levels).map(|k| (t.0 + k * a, t.1 + k * b, t.2)));
                        }
                    }
                    Drawn::Closed { in_b, step, weights, .. } => {
                        for t in &terms {
                            next.extend(weights.iter().enumerate().map(|(k, w)| {
                                let (x, y) = if *in_b { (0, k * step) } else { (k * step, 0) };
                                (t.0 + x, t.1 + y, t.2 * w)
                            }));
                        }
                    }
                    Drawn::Split { here, a, b, levels, weights, .. } => {
                        let known = here.map(|h| usize::from(worst[start + h]));
                        for t in &terms {
                            for i in 0..*levels {
                                for j in 0..*levels {
                                    let k = i.max(j);
                                    let w = match (known, weights) {
                                        (Some(known), _) => f64::from(u8::from(known == k)),
                                        (None, Some(weights)) => weights[k],
                                        (None, None) => 1.0,
                                    };
                                    next.push((t.0 + i * a, t.1 + j * b, t.2 * w));
                                }
                            }
                        }
                    }
                }
                std::mem::swap(&mut terms, &mut next);
            }
            let left = &self.up[u.a].data;
            let lane_a = u.map_a[lane] as usize;
            let lane_b = u.map_b[lane] as usize;
            let mut sum = 0.0;
            for t in &mut terms {
                if t.2 > 0.0 {
                    let x = left[t.0 * u.lanes_a + lane_a];
                    let y = u.b.map_or(1.0, |b| self.up[b].data[t.1 * u.lanes_b + lane_b]);
                    t.2 *= x * y;
                    sum += t.2;
                }
            }
            let mut rest = chance.unit() * sum;
            let mut code = terms.len() - 1;
            for (index, t) in terms.iter().enumerate() {
                rest -= t.2;
                if rest < 0.0 {
                    code = index;
                    break;
                }
            }
            for drawn in u.drawn.iter().rev() {
                match drawn {
                    Drawn::Plain { var, .. } => {
                        let levels = self.engine.shape.cards[*var as usize];
                        plain[*var as usize] = u8::try_from(code % levels).unwrap_or(0);
                        code /= levels;
                    }
                    Drawn::Closed { in_b, place, weights, .. } => {
                        let level = u8::try_from(code % weights.len()).unwrap_or(0);
                        worst[if *in_b { start_b } else { starts[u.a] } + place] = level;
                        code /= weights.len();
                    }
                    Drawn::Split { in_a, in_b, levels, .. } => {
                        worst[start_b + in_b] = u8::try_from(code % levels).unwrap_or(0);
                        code /= levels;
                        worst[starts[u.a] + in_a] = u8::try_from(code % levels).unwrap_or(0);
                        code /= levels;
                    }
                }
            }
        }
    }
}

impl Engine {
    fn root_state(&self, lane: usize, root: usize) -> u8 {
        let below: usize = self.shape.root_cards.iter().skip(root + 1).product();
        u8::try_from(lane / below % self.shape.root_cards[root]).unwrap_or(0)
    }
}
