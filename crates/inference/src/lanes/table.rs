//! Tables with lanes, and how two of them are joined.

#![expect(clippy::indexing_slicing, reason = "numeric kernel: indices come from shapes fixed when the tree is built")]

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::sync::{Arc, LazyLock, OnceLock, RwLock};

use rayon::prelude::*;

use super::numbers::Numbers;
use super::to_f64;
use crate::shared::ARCH;

#[derive(Debug, Clone)]
pub(super) struct Table {
    pub(super) vars: Arc<[u32]>,
    pub(super) mask: u32,
    pub(super) data: Arc<Numbers>,
    pub(super) log: f64,
    pub(super) id: u128,
    /// The variable over which this table is known to sum to one for every row and lane, if any.
    pub(super) sums_to_one: Option<u32>,
}

pub(super) fn digest(parts: &impl Hash) -> u128 {
    let mut first = DefaultHasher::new();
    0x57_u8.hash(&mut first);
    parts.hash(&mut first);
    let mut second = DefaultHasher::new();
    0xA9_u8.hash(&mut second);
    parts.hash(&mut second);
    (u128::from(first.finish()) << 64) | u128::from(second.finish())
}

pub(super) fn bits(data: &[f64]) -> Vec<u64> {
    data.iter().map(|x| x.to_bits()).collect()
}

impl Table {
    pub(super) fn ones() -> Self {
        static ONES: LazyLock<Table> = LazyLock::new(|| Table {
            vars: Arc::from([]),
            mask: 0,
            data: Arc::new(vec![1.0].into()),
            log: 0.0,
            id: 1,
            sums_to_one: None,
        });
        ONES.clone()
    }

    pub(super) fn is_ones(&self) -> bool {
        self.id == 1
    }

    pub(super) fn new(vars: Vec<u32>, mask: u32, data: Vec<f64>) -> Self {
        let id = digest(&(mask, vars.len(), bits(&data)));
        Self { vars: vars.into(), mask, data: Arc::new(data.into()), log: 0.0, id, sums_to_one: None }
    }

    /// A table with a digest of what it was made from.
    pub(super) fn made(vars: Vec<u32>, mask: u32, data: Arc<Numbers>, id: u128) -> Self {
        Self { vars: vars.into(), mask, data, log: 0.0, id, sums_to_one: None }
    }
}

/// For two sets of roots: the lane of the second that each lane of the first belongs to.
type LaneMaps = BTreeMap<(u32, u32), Arc<Vec<u32>>>;

/// The joint root states that are carried, and how those of fewer roots lie in them.
#[derive(Debug)]
pub(super) struct Lanes {
    pub(super) root_cards: Vec<usize>,
    /// The joint states of all roots that are carried, ascending; the last root runs fastest.
    pub(super) kept: Arc<Vec<u32>>,
    /// Per joint state kept and root: its state.
    digits: Vec<u32>,
    /// Per set of roots: how many joint states of it occur among those kept.
    counts: Vec<OnceLock<usize>>,
    /// Per set of roots: these states.
    lists: RwLock<BTreeMap<u32, Arc<Vec<u32>>>>,
    /// Lane maps from a set of roots to a part of it.
    maps: RwLock<LaneMaps>,
}

impl Lanes {
    /// All joint states of some roots, or those kept.
    pub(super) fn new(root_cards: Vec<usize>, kept: Option<Vec<u32>>) -> Self {
        let all: usize = root_cards.iter().product();
        let kept = kept.unwrap_or_else(|| (0..u32::try_from(all).unwrap_or(u32::MAX)).collect());
        let counts = (0..1usize << root_cards.len()).map(|_| OnceLock::new()).collect();
        let mut out = Self {
            root_cards,
            kept: Arc::new(kept),
            digits: Vec::new(),
            counts,
            lists: RwLock::default(),
            maps: RwLock::default(),
        };
        let roots = 0..out.root_cards.len();
        let of = |code: u32, root: usize| out.part_of(code, out.every(), 1 << root);
        out.digits = out
            .kept
            .iter()
            .flat_map(|code| roots.clone().map(move |root| (*code, root)))
            .map(|(c, r)| of(c, r))
            .collect();
        out
    }

    /// Of every joint state kept: the states of a set of roots.
    fn of_kept(&self, mask: u32) -> impl Iterator<Item = u32> {
        // How far one state of each root is from the next: nothing for a root that is not asked for.
        let mut steps = vec![0; self.root_cards.len()];
        let mut step = 1;
        for (root, place) in steps.iter_mut().enumerate().rev().filter(|(root, _)| mask >> root & 1 == 1) {
            *place = step;
            step *= u32::try_from(self.root_cards[root]).unwrap_or(u32::MAX);
        }
        let roots = self.root_cards.len().max(1);
        self.digits.chunks_exact(roots).map(move |digits| digits.iter().zip(&steps).map(|(d, step)| d * step).sum())
    }

    /// All roots.
    pub(super) fn every(&self) -> u32 {
        (1u32 << self.root_cards.len()) - 1
    }

    pub(super) fn count(&self, mask: u32) -> usize {
        let counted = || {
            let roots = self.root_cards.iter().enumerate().filter(|(root, _)| mask >> root & 1 == 1);
            let mut seen = vec![false; roots.map(|(_, card)| card).product()];
            for code in self.of_kept(mask) {
                seen[code as usize] = true;
            }
            seen.into_iter().filter(|s| *s).count()
        };
        *self.counts[mask as usize].get_or_init(counted)
    }

    /// The joint states of a set of roots that occur among those kept, ascending.
    pub(super) fn list(&self, mask: u32) -> Arc<Vec<u32>> {
        if let Ok(lists) = self.lists.read()
            && let Some(found) = lists.get(&mask)
        {
            return Arc::clone(found);
        }
        let made = if mask == self.every() {
            Arc::clone(&self.kept)
        } else {
            let mut codes: Vec<u32> = self.of_kept(mask).collect();
            codes.sort_unstable();
            codes.dedup();
            Arc::new(codes)
        };
        if let Ok(mut lists) = self.lists.write() {
            lists.insert(mask, Arc::clone(&made));
        }
        made
    }

    /// The state of the roots `to` in a joint state of the roots `from`, of which they are part.
    pub(super) fn part_of(&self, mut code: u32, from: u32, to: u32) -> u32 {
        let (mut out, mut step) = (0, 1);
        for root in (0..self.root_cards.len()).rev().filter(|r| from >> r & 1 == 1) {
            let card = u32::try_from(self.root_cards[root]).unwrap_or(u32::MAX);
            if to >> root & 1 == 1 {
                out += code % card * step;
                step *= card;
            }
            code /= card;
        }
        out
    }

    /// The state of one root in a joint state of all of them.
    pub(super) fn root_state(&self, code: u32, root: usize) -> usize {
        self.part_of(code, self.every(), 1 << root) as usize
    }

    /// For each lane of `from`, the lane of `to` (a part of `from`) that it belongs to.
    pub(super) fn map(&self, from: u32, to: u32) -> Arc<Vec<u32>> {
        if let Ok(maps) = self.maps.read()
            && let Some(found) = maps.get(&(from, to))
        {
            return Arc::clone(found);
        }
        let (wide, narrow) = (self.list(from), self.list(to));
        let lane = |code: &u32| narrow.binary_search(&self.part_of(*code, from, to)).unwrap_or(0);
        let made =
            Arc::new(wide.iter().map(|code| u32::try_from(lane(code)).unwrap_or(u32::MAX)).collect::<Vec<u32>>());
        if let Ok(mut maps) = self.maps.write() {
            maps.insert((from, to), Arc::clone(&made));
        }
        made
    }
}

/// How a variable that joins by the rule of the worst ends.
#[derive(Debug, Clone)]
pub(super) enum Worst {
    /// It is summed with a weight per level.
    Weighed {
        weights: Vec<f64>,
        /// Whether the last level stands apart from the others: "whatever was drawn".
        apart: bool,
    },
    /// It passes on, as a plain variable.
    Turns(u32),
}

impl Worst {
    fn weights(&self) -> Option<&Vec<f64>> {
        match self {
            Self::Weighed { weights, .. } => Some(weights),
            Self::Turns(_) => None,
        }
    }

    /// The levels that join by the rule of the worst, the mildest first.
    pub(super) fn ranked(&self, levels: usize) -> usize {
        match self {
            Self::Weighed { apart: true, .. } => levels - 1,
            Self::Weighed { .. } | Self::Turns(_) => levels,
        }
    }

    /// Products that joining two tables over all levels takes.
    pub(super) fn products(&self, levels: usize) -> usize {
        let ranked = self.ranked(levels);
        ranked * (ranked + 1) / 2 + levels - ranked
    }
}

/// Sizes of the variables of the tree, and the root lanes.
#[derive(Debug)]
pub(super) struct Shape {
    pub(super) cards: Vec<usize>,
    /// Per tree variable: how it ends, for a variable that joins by the rule of the worst.
    pub(super) worst: Vec<Option<Worst>>,
    pub(super) lanes: Lanes,
    /// What the variables come to when work is guessed.
    pub(super) guess: Arc<Guess>,
    /// Joins laid out before: they depend on variables only, so all parts of a tree share them.
    pub(super) plans: Arc<Plans>,
}

/// Variables as numbers, for guessing what joins take.
#[derive(Debug, Default)]
pub(super) struct Guess {
    /// Per variable: its levels.
    pub(super) levels: Vec<f64>,
    /// Per variable: products of joining two tables that both have it.
    pub(super) met: Vec<f64>,
    /// The worst-of variables, as bits.
    pub(super) worst: Vec<u64>,
}

impl Guess {
    /// `words`: so many hold a bit for every variable.
    pub(super) fn of(cards: &[usize], worst: &[Option<Worst>], words: usize) -> Self {
        let mut out = Self { levels: Vec::new(), met: Vec::new(), worst: vec![0; words] };
        for (v, (levels, worst)) in cards.iter().zip(worst).enumerate() {
            out.levels.push(to_f64(*levels));
            out.met.push(to_f64(worst.as_ref().map_or(*levels, |worst| worst.products(*levels))));
            if worst.is_some() {
                out.worst[v / 64] |= 1 << (v % 64);
            }
        }
        out
    }
}

/// What a join is laid out from: the variables of both tables, the summed one, and for the way down the node.
type Question = (Arc<[u32]>, Arc<[u32]>, Option<u32>, Option<usize>);

/// Joins laid out, by what they are laid out from.
#[derive(Debug, Default)]
pub(super) struct Plans(RwLock<BTreeMap<Question, Arc<Ready>>>);

impl Plans {
    fn get(&self, question: Question, lay: impl FnOnce() -> Ready) -> Arc<Ready> {
        if let Ok(plans) = self.0.read()
            && let Some(found) = plans.get(&question)
        {
            return Arc::clone(found);
        }
        let made = Arc::new(lay());
        if let Ok(mut plans) = self.0.write() {
            plans.insert(question, Arc::clone(&made));
        }
        made
    }
}

impl Shape {
    /// The same variables with fewer joint root states.
    pub(super) fn within(&self, kept: Vec<u32>) -> Self {
        let lanes = Lanes::new(self.lanes.root_cards.clone(), Some(kept));
        let (guess, plans) = (Arc::clone(&self.guess), Arc::clone(&self.plans));
        Self { cards: self.cards.clone(), worst: self.worst.clone(), lanes, guess, plans }
    }

    pub(super) fn lanes(&self, mask: u32) -> usize {
        self.lanes.count(mask)
    }

    /// The plain variable that a summed worst-of variable turns into, if it does.
    pub(super) fn turned(&self, sum: Option<u32>) -> Option<u32> {
        match self.worst[sum? as usize] {
            Some(Worst::Turns(plain)) => Some(plain),
            Some(Worst::Weighed { .. }) | None => None,
        }
    }

    /// What of a variable a join depends on: its levels, and how a worst-of variable ends.
    pub(super) fn kind(&self, variable: u32) -> (usize, Option<Vec<u64>>) {
        let ends = self.worst[variable as usize].as_ref().map(|worst| match worst {
            Worst::Weighed { weights, apart } => bits(weights).into_iter().chain([u64::from(*apart)]).collect(),
            Worst::Turns(_) => Vec::new(),
        });
        (self.cards[variable as usize], ends)
    }

    fn weights(&self, variable: u32) -> Option<Vec<f64>> {
        self.worst[variable as usize].as_ref().and_then(Worst::weights).cloned()
    }

    fn map(&self, from: u32, to: u32) -> Arc<Vec<u32>> {
        self.lanes.map(from, to)
    }

    /// A table of `wider`, of which this shape keeps a part.
    pub(super) fn restricted(&self, table: &Table, wider: &Self) -> Table {
        let (here, there) = (self.lanes.list(table.mask), wider.lanes.list(table.mask));
        if table.is_ones() || here.len() == there.len() {
            return table.clone();
        }
        let places: Vec<usize> = here.iter().filter_map(|code| there.binary_search(code).ok()).collect();
        let mut data = Numbers::unset(table.data.len() / there.len().max(1) * here.len());
        for (to, row) in data.chunks_exact_mut(here.len().max(1)).zip(table.data.chunks_exact(there.len())) {
            for (to, lane) in to.iter_mut().zip(&places) {
                *to = row[*lane];
            }
        }
        // Within one shape tables that were equal stay equal, so the digest may stay.
        Table { vars: Arc::clone(&table.vars), data: Arc::new(data), ..*table }
    }

    pub(super) fn rows(&self, vars: &[u32]) -> usize {
        vars.iter().map(|v| self.cards[*v as usize]).product()
    }

    pub(super) fn widen(&self, table: &Table, mask: u32) -> Arc<Numbers> {
        if table.mask == mask {
            return Arc::clone(&table.data);
        }
        let map = self.map(mask, table.mask);
        let narrow = self.lanes(table.mask);
        let mut out = Numbers::unset(self.rows(&table.vars) * map.len());
        for (to, row) in out.chunks_exact_mut(map.len().max(1)).zip(table.data.chunks_exact(narrow)) {
            for (to, lane) in to.iter_mut().zip(map.iter()) {
                *to = row[*lane as usize];
            }
        }
        Arc::new(out)
    }

    /// Product of two tables.
    ///
    /// Upwards, shared worst-of variables are joined by the rule of the worst and `sum` is summed (closed with its
    /// weights, or turned into its plain variable, where it is a worst-of variable). The rows of the result run over
    /// `a`'s variables in their order, then over `b`'s further ones.
    pub(super) fn up(&self, a: &Table, b: &Table, sum: Option<u32>, hands: Hands) -> Table {
        let union = a.mask | b.mask;
        let lanes = self.lanes(union);
        let left = self.widen(a, union);
        let right = self.widen(b, union);
        let question = (Arc::clone(&a.vars), Arc::clone(&b.vars), sum, None);
        let ready = self.plans.get(question, || self.way_up(&a.vars, &b.vars, sum));
        let made = ready.run(&left, &right, lanes, None, lanes, hands);
        rescaled(Arc::clone(&ready.vars), union, made, a.log + b.log)
    }

    fn way_up(&self, a: &[u32], b: &[u32], sum: Option<u32>) -> Ready {
        let turned = self.turned(sum).zip(sum);
        let sum = if turned.is_some() { None } else { sum };
        let mut vars: Vec<u32> = a.to_vec();
        vars.extend(b.iter().copied().filter(|v| !a.contains(v)));
        let a_steps = self.row_steps(a);
        let b_steps = self.row_steps(b);
        let mut plan = Plan::default();
        for v in &vars {
            let levels = self.cards[*v as usize];
            let x = a.iter().position(|w| w == v).map(|p| a_steps[p]);
            let y = b.iter().position(|w| w == v).map(|p| b_steps[p]);
            let closed = Some(*v) == sum;
            let weights = if closed { self.weights(*v) } else { None };
            match (x, y, &self.worst[*v as usize]) {
                (Some(x), Some(y), Some(worst)) => {
                    let ranked = worst.ranked(levels);
                    plan.shared.push(SharedDim { levels, ranked, a: x, b: y, keep: !closed, weights, upwards: true });
                    plan.shared_order.push(plan.order.len());
                }
                (x, y, _) => {
                    let dim = OuterDim { levels, a: x.unwrap_or(0), b: y.unwrap_or(0), keep: !closed, weights };
                    plan.outer.push(dim);
                    plan.outer_order.push(plan.order.len());
                }
            }
            plan.order.push(if closed { 1 } else { levels });
        }
        vars.retain(|v| Some(*v) != sum);
        if let Some((plain, worst)) = turned {
            rename(&mut vars, worst, plain);
        }
        plan.ready(vars)
    }

    /// Steps of each variable of a table, in rows.
    pub(super) fn row_steps(&self, vars: &[u32]) -> Vec<usize> {
        let cards: Vec<usize> = vars.iter().map(|v| self.cards[*v as usize]).collect();
        steps(&cards, 1)
    }

    /// What the tree above and a sibling say about a node: the adjoint of [`Shape::up`].
    ///
    /// The result runs over those of the node's variables that `above` or `sibling` know; `closed` is the variable that
    /// the join summed.
    pub(super) fn down(
        &self,
        above: &Table,
        sibling: &Table,
        (node, scope, scope_mask): (usize, &[u32], u32),
        closed: Option<u32>,
        hands: Hands,
    ) -> Table {
        let union = above.mask | sibling.mask;
        let lanes = self.lanes(union);
        let left = self.widen(above, union);
        let right = self.widen(sibling, union);
        let question = (Arc::clone(&above.vars), Arc::clone(&sibling.vars), closed, Some(node));
        let ready = self.plans.get(question, || self.way_down(&above.vars, &sibling.vars, scope, closed));
        let out_mask = union & scope_mask;
        let map = if out_mask == union { None } else { Some(self.map(union, out_mask)) };
        let made = ready.run(&left, &right, lanes, map.as_deref().map(Vec::as_slice), self.lanes(out_mask), hands);
        rescaled(Arc::clone(&ready.vars), out_mask, made, above.log + sibling.log)
    }

    fn way_down(&self, above: &[u32], sibling: &[u32], scope: &[u32], closed: Option<u32>) -> Ready {
        let mut over: Vec<u32> = above.to_vec();
        let mut closed = closed;
        if let Some((plain, worst)) = self.turned(closed).zip(closed) {
            // What stands above knows the plain variable that the worst-of variable turned into.
            rename(&mut over, plain, worst);
            closed = None;
        }
        let mut vars = over.clone();
        vars.extend(sibling.iter().copied().filter(|v| !over.contains(v)));
        if let Some(v) = closed
            && self.worst[v as usize].is_some()
            && !vars.contains(&v)
            && scope.contains(&v)
        {
            vars.push(v);
        }
        let above_steps = self.row_steps(above);
        let sibling_steps = self.row_steps(sibling);
        let mut plan = Plan::default();
        let mut kept = Vec::new();
        for v in &vars {
            let levels = self.cards[*v as usize];
            let x = over.iter().position(|w| w == v).map_or(0, |p| above_steps[p]);
            let y = sibling.iter().position(|w| w == v).map(|p| sibling_steps[p]);
            let weights = if Some(*v) == closed { self.weights(*v) } else { None };
            let keep = scope.contains(v);
            match (y, &self.worst[*v as usize]) {
                (Some(y), Some(worst)) if keep => {
                    let ranked = worst.ranked(levels);
                    plan.shared.push(SharedDim { levels, ranked, a: x, b: y, keep: true, weights, upwards: false });
                    plan.shared_order.push(plan.order.len());
                }
                (y, _) => {
                    plan.outer.push(OuterDim { levels, a: x, b: y.unwrap_or(0), keep, weights });
                    plan.outer_order.push(plan.order.len());
                }
            }
            plan.order.push(if keep { levels } else { 1 });
            if keep {
                kept.push(*v);
            }
        }
        plan.ready(kept)
    }

    /// The sum of all products of a node's table with what the rest of the tree says about it.
    pub(super) fn meet(&self, node: &Table, rest: &Table) -> Table {
        let union = node.mask | rest.mask;
        let lanes = self.lanes(union);
        let left = self.widen(node, union);
        let right = self.widen(rest, union);
        let cards = |vars: &[u32]| vars.iter().map(|v| self.cards[*v as usize]).collect::<Vec<_>>();
        let left_steps = steps(&cards(&node.vars), 1);
        let right_steps = steps(&cards(&rest.vars), 1);
        let mut vars: Vec<u32> = node.vars.to_vec();
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
        let made = plan.ready(Vec::new()).run(&left, &right, lanes, Some(&map), 1, Hands::Own);
        rescaled(Arc::from([]), 0, made, node.log + rest.log)
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
    /// So many levels join by the rule; a further one stands apart and meets only itself.
    ranked: usize,
    a: usize,
    b: usize,
    keep: bool,
    weights: Option<Vec<f64>>,
    upwards: bool,
}

impl SharedDim {
    /// The products of this dimension, in levels: with running sums in the other table, or level by level.
    fn products(&self, sums: bool) -> Vec<Entry> {
        let weight = |k: usize| self.weights.as_ref().map_or(1.0, |w| w[k]);
        let ranked = |k: usize| k < self.ranked;
        let mut list: Vec<Entry> = Vec::new();
        for k in 0..self.levels {
            // c[k] = a[k] (b[0] + .. + b[k]) + (a[0] + .. + a[k-1]) b[k]; and downwards a[i] is met with every b[j], where the
            // worse of the two indexes what stands above.
            let milder = if ranked(k) { 0..k } else { 0..0 };
            let entry = |a: usize, b: usize, w: usize| Entry { a, b, out: k, weight: weight(w) };
            if sums {
                list.push(entry(k, if k == 0 || !ranked(k) { k } else { self.levels + k - 1 }, k));
            } else {
                list.extend(milder.clone().map(|j| entry(k, j, k)));
                list.push(entry(k, k, k));
            }
            if self.upwards {
                list.extend(milder.map(|j| entry(j, k, k)));
            } else {
                list.extend((k + 1..self.ranked).map(|j| entry(j, j, j)));
            }
        }
        list.retain(|e| e.weight > 0.0);
        list
    }

    /// Rows of the prefix table: every level as it is, then the running sums of the ranked ones.
    fn radix(&self) -> usize {
        self.levels + self.ranked.saturating_sub(1)
    }
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
    /// Levels of the worst-of dimensions in the result: one for what is summed.
    fn shared_levels(&self) -> Vec<usize> {
        self.shared.iter().map(|d| if d.keep { d.levels } else { 1 }).collect()
    }

    /// The products of the worst-of dimensions: rows of `a`, rows of `b` or of its table with running sums, and which
    /// combination of the kept ones they belong to.
    fn entries(&self, codes: &[usize], sums: bool) -> Vec<Entry> {
        let mut entries = vec![Entry { a: 0, b: 0, out: 0, weight: 1.0 }];
        let radices: Vec<usize> = self.shared.iter().map(SharedDim::radix).collect();
        let there: Vec<usize> = if sums { steps(&radices, 1) } else { self.shared.iter().map(|dim| dim.b).collect() };
        for ((dim, code), step) in self.shared.iter().zip(codes).zip(there) {
            let list = dim.products(sums);
            let and = |e: &Entry, l: &Entry| Entry {
                a: e.a + l.a * dim.a,
                b: e.b + l.b * step,
                out: e.out + if dim.keep { l.out * code } else { 0 },
                weight: e.weight * l.weight,
            };
            entries = entries.iter().flat_map(|e| list.iter().map(move |l| and(e, l))).collect();
        }
        entries.sort_by_key(|e| (e.out, e.a, e.b));
        entries
    }

    /// Whether running sums of the other table pay: they save products and cost a copy of it.
    fn with_sums(&self) -> bool {
        let products = |sums| self.shared.iter().map(|dim| dim.products(sums).len()).product::<usize>();
        let outer: usize = self.outer.iter().map(|d| d.levels).product();
        outer * products(true) + COPIED * self.prefix_rows() < outer * products(false)
    }

    /// Fills the prefix table of `b` for one combination of the plain dimensions.
    fn prefixes(&self, right: &[f64], base: usize, lanes: usize, scratch: &mut [f64]) {
        let radices: Vec<usize> = self.shared.iter().map(SharedDim::radix).collect();
        let ext_steps = steps(&radices, 1);
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
            let SharedDim { levels, ranked, .. } = self.shared[place];
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
                for k in 1..ranked {
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

    /// Steps of the plain dimensions in the other table once it has its running sums over the worst-of dimensions: one
    /// block of them per combination of its plain dimensions.
    fn prefix_steps(&self) -> Vec<usize> {
        let block: usize = self.shared.iter().map(SharedDim::radix).product();
        let mut to_steps = steps(&self.there(), block);
        for (step, dim) in to_steps.iter_mut().zip(&self.outer) {
            if dim.b == 0 {
                *step = 0;
            }
        }
        to_steps
    }

    /// Levels of the plain dimensions that the other table has.
    fn there(&self) -> Vec<usize> {
        self.outer.iter().map(|d| if d.b > 0 { d.levels } else { 1 }).collect()
    }

    /// Rows of the other table with its running sums.
    fn prefix_rows(&self) -> usize {
        let block: usize = self.shared.iter().map(SharedDim::radix).product();
        self.there().iter().product::<usize>() * block
    }

    /// The other table with its running sums, written over all of `out`.
    fn with_prefixes(&self, right: &[f64], lanes: usize, out: &mut [f64]) {
        let block: usize = self.shared.iter().map(SharedDim::radix).product();
        let there = self.there();
        let mut state = vec![0usize; there.len()];
        for rows in out.chunks_exact_mut(block * lanes) {
            let from = state.iter().zip(&self.outer).map(|(s, d)| s * d.b).sum();
            self.prefixes(right, from, lanes, rows);
            step(&mut state, &there);
        }
    }

    /// The products of the plain dimensions that are summed: rows of `a`, rows of `b`, weight.
    fn summed(&self, b_steps: &[usize]) -> Vec<Pair> {
        let mut list = vec![Pair { a: 0, b: 0, weight: 1.0 }];
        for (dim, b) in self.outer.iter().zip(b_steps).filter(|(d, _)| !d.keep) {
            let weight = |s: usize| dim.weights.as_ref().map_or(1.0, |w| w[s]);
            list = list
                .iter()
                .flat_map(|p| {
                    (0..dim.levels).map(move |s| Pair {
                        a: p.a + s * dim.a,
                        b: p.b + s * b,
                        weight: p.weight * weight(s),
                    })
                })
                .filter(|p| p.weight > 0.0)
                .collect();
        }
        list
    }

    /// Lays the join out; `vars`: the variables of the result.
    fn ready(self, vars: Vec<u32>) -> Ready {
        let rows: usize = self.order.iter().product();
        let sums = self.with_sums();
        let b_steps = if sums { self.prefix_steps() } else { self.outer.iter().map(|d| d.b).collect() };
        // For each combination of the kept worst-of dimensions: its products.
        let levels = self.shared_levels();
        let codes = steps(&levels, 1);
        let summed = self.summed(&b_steps);
        let mut outs: Vec<Vec<Pair>> = vec![Vec::new(); levels.iter().product()];
        for e in self.entries(&codes, sums) {
            let of = |p: &Pair| Pair { a: p.a + e.a, b: p.b + e.b, weight: p.weight * e.weight };
            outs[e.out].extend(summed.iter().map(of));
        }
        let plain = outs.iter().flatten().all(|p| (p.weight - 1.0).abs() < f64::EPSILON);
        let mut dims: Vec<(usize, RowDim)> = Vec::new();
        for ((dim, b), place) in self.outer.iter().zip(&b_steps).zip(&self.outer_order).filter(|((d, _), _)| d.keep) {
            let weights = dim.weights.clone();
            dims.push((*place, RowDim { levels: dim.levels, a: dim.a, b: *b, code: 0, weights }));
        }
        for ((dim, code), place) in self.shared.iter().zip(&codes).zip(&self.shared_order).filter(|((d, _), _)| d.keep)
        {
            dims.push((*place, RowDim { levels: dim.levels, a: 0, b: 0, code: *code, weights: None }));
        }
        dims.sort_by_key(|(place, _)| *place);
        let dims = dims.into_iter().map(|(_, dim)| dim).collect();
        let products = outs.iter().map(Vec::len).sum::<usize>() * (rows / outs.len().max(1));
        Ready { vars: vars.into(), plan: sums.then_some(self), outs, dims, plain, rows, products }
    }
}

/// A join laid out for any lanes.
#[derive(Debug)]
pub(super) struct Ready {
    /// The variables of the result.
    vars: Arc<[u32]>,
    /// How running sums are added to the other table, where they are.
    plan: Option<Plan>,
    /// For each combination of the kept worst-of dimensions: the products of a row of the result.
    outs: Vec<Vec<Pair>>,
    /// The dimensions of the result, the last one running fastest.
    dims: Vec<RowDim>,
    /// Whether every product has the weight one.
    plain: bool,
    /// Rows of the result.
    rows: usize,
    /// Products of one lane.
    products: usize,
}

/// How the rows of a join's result are worked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Hands {
    /// By this thread alone.
    Own,
    /// By several where there is much to do. While such a join waits its thread may take up other work, so nothing that
    /// other work waits for may be held meanwhile.
    Many,
}

/// So many products a row of running sums costs, copied and added up \[ours\].
const COPIED: usize = 8;
/// So many products are worth several threads \[ours\].
const MANY: usize = 1 << 19;
/// Into so many pieces a join is then cut \[ours\].
const PIECES: usize = 8;

thread_local! {
    /// Room for the running sums of a join, kept so that it need not be fetched and cleared for each.
    static ROOM: RefCell<Vec<f64>> = const { RefCell::new(Vec::new()) };
}

/// Lends this thread's room to `work`; what is taken up meanwhile by the same thread gets a room of its own.
fn in_room<T>(size: usize, work: impl FnOnce(&mut [f64]) -> T) -> T {
    let mut room = ROOM.with(|room| std::mem::take(&mut *room.borrow_mut()));
    if room.len() < size {
        room.resize(size, 0.0);
    }
    let done = work(&mut room[..size]);
    ROOM.with(|kept| *kept.borrow_mut() = if size <= ROOM_KEPT { room } else { Vec::new() });
    done
}

/// A room larger than this is given back, so that a bench left alone holds little \[ours\].
const ROOM_KEPT: usize = 1 << 16;

impl Ready {
    /// The result: one row of lanes per combination of kept dimensions.
    ///
    /// # Shapes
    /// `map`: for each lane, the output lane it adds to; none where the result has the same lanes.
    fn run(
        &self,
        left: &[f64],
        right: &[f64],
        lanes: usize,
        map: Option<&[u32]>,
        out_lanes: usize,
        hands: Hands,
    ) -> Made {
        let work = |right: &[f64]| {
            let join = Join { left, right, ready: self, lanes, out_lanes, map };
            join.done(hands)
        };
        let Some(plan) = &self.plan else { return work(right) };
        in_room(plan.prefix_rows() * lanes, |room| {
            plan.with_prefixes(right, lanes, room);
            work(room)
        })
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

/// The rows of a result, with the largest magnitude among them.
#[derive(Debug)]
struct Made {
    data: Numbers,
    most: Most,
}

/// The largest magnitudes seen, several numbers at a time.
#[derive(Debug, Clone, Copy, Default)]
struct Most([f64; 8]);

impl Most {
    #[inline(always)]
    fn see(&mut self, data: &[f64]) {
        let chunks = data.chunks_exact(8);
        let rest = chunks.remainder();
        let worse = |m: &mut f64, x: &f64| *m = if x.abs() > *m { x.abs() } else { *m };
        for chunk in chunks {
            for (m, x) in self.0.iter_mut().zip(chunk) {
                worse(m, x);
            }
        }
        for (m, x) in self.0.iter_mut().zip(rest) {
            worse(m, x);
        }
    }

    fn largest(self) -> f64 {
        self.0.into_iter().fold(0.0, f64::max)
    }
}

fn rescaled(vars: Arc<[u32]>, mask: u32, made: Made, mut log: f64) -> Table {
    let Made { mut data, most } = made;
    let largest = most.largest();
    if largest > 0.0 && !(1e-60..=1e60).contains(&largest) {
        let scale = 1.0 / largest;
        for x in data.iter_mut() {
            *x *= scale;
        }
        log += largest.ln();
    }
    Table { vars, mask, data: Arc::new(data), log, id: 0, sums_to_one: None }
}

fn rename(vars: &mut [u32], from: u32, to: u32) {
    for v in vars.iter_mut().filter(|v| **v == from) {
        *v = to;
    }
}

pub(super) fn step(state: &mut [usize], cards: &[usize]) {
    for position in (0..state.len()).rev() {
        state[position] += 1;
        if state[position] < cards[position] {
            return;
        }
        state[position] = 0;
    }
}

/// One product of a row of the result: rows of both tables and its weight.
#[derive(Debug, Clone, Copy)]
struct Pair {
    a: usize,
    b: usize,
    weight: f64,
}

/// A dimension of the result: its steps in both tables, among the combinations of worst-of dimensions, and its weights.
#[derive(Debug)]
struct RowDim {
    levels: usize,
    a: usize,
    b: usize,
    code: usize,
    weights: Option<Vec<f64>>,
}

/// Where a row of the result is made from.
#[derive(Debug, Clone, Copy)]
struct Row {
    a: usize,
    b: usize,
    code: usize,
    weight: f64,
}

/// Walks the rows of a result one after another.
struct Rows<'p> {
    dims: &'p [RowDim],
    state: Vec<usize>,
    /// Per dimension: what those before it come to; last, what all come to.
    sums: Vec<Row>,
}

impl<'p> Rows<'p> {
    fn from(dims: &'p [RowDim], mut row: usize) -> Self {
        let mut state = vec![0; dims.len()];
        for (s, dim) in state.iter_mut().zip(dims).rev() {
            *s = row % dim.levels;
            row /= dim.levels;
        }
        let mut out = Self { dims, state, sums: vec![Row { a: 0, b: 0, code: 0, weight: 1.0 }; dims.len() + 1] };
        out.add_up(0);
        out
    }

    fn add_up(&mut self, first: usize) {
        for place in first..self.dims.len() {
            let (dim, s, before) = (&self.dims[place], self.state[place], self.sums[place]);
            self.sums[place + 1] = Row {
                a: before.a + s * dim.a,
                b: before.b + s * dim.b,
                code: before.code + s * dim.code,
                weight: dim.weights.as_ref().map_or(before.weight, |w| before.weight * w[s]),
            };
        }
    }

    fn here(&self) -> Row {
        self.sums[self.dims.len()]
    }

    fn on(&mut self) {
        for place in (0..self.dims.len()).rev() {
            self.state[place] += 1;
            if self.state[place] < self.dims[place].levels {
                return self.add_up(place);
            }
            self.state[place] = 0;
        }
    }
}

/// A join ready to be worked.
struct Join<'p> {
    left: &'p [f64],
    right: &'p [f64],
    ready: &'p Ready,
    lanes: usize,
    out_lanes: usize,
    map: Option<&'p [u32]>,
}

/// Rows of a join as work that the widest instructions can be chosen for. A closure would do, were it sure to be compiled
/// with them.
struct Working<'j, 'd> {
    join: &'j Join<'j>,
    first: usize,
    data: &'d mut [f64],
}

impl pulp::NullaryFnOnce for Working<'_, '_> {
    type Output = Most;

    #[inline(always)]
    fn call(self) -> Most {
        self.join.some(self.first, self.data)
    }
}

impl Join<'_> {
    fn done(&self, hands: Hands) -> Made {
        let rows = self.ready.rows;
        let mut data = Numbers::unset(rows * self.out_lanes);
        let most = if hands == Hands::Many && self.ready.products * self.lanes >= MANY && rows >= 2 * PIECES {
            let some = rows.div_ceil(PIECES);
            let piece = |(piece, data)| ARCH.dispatch(Working { join: self, first: piece * some, data });
            let pieces: Vec<Most> = data.par_chunks_mut(some * self.out_lanes).enumerate().map(piece).collect();
            let mut most = Most::default();
            pieces.iter().for_each(|piece| most.see(&piece.0));
            most
        } else if to_dispatch(rows * self.lanes) {
            ARCH.dispatch(Working { join: self, first: 0, data: &mut data })
        } else {
            self.some(0, &mut data)
        };
        Made { data, most }
    }

    /// Rows of the result from the first one on, block after block: each is worked and looked at for its largest while it is
    /// near the processor.
    #[inline(always)]
    fn some(&self, first: usize, data: &mut [f64]) -> Most {
        let block = (BLOCK / self.out_lanes.max(1)).max(1) * self.out_lanes;
        let mut most = Most::default();
        let mut wide = vec![0.0; if self.map.is_some() { self.lanes } else { 0 }];
        let mut rows = Rows::from(&self.ready.dims, first);
        for data in data.chunks_mut(block.max(1)) {
            self.work(&mut rows, &mut wide, data);
            most.see(data);
        }
        most
    }

    /// Some rows of the result.
    #[inline(always)]
    fn work(&self, rows: &mut Rows<'_>, wide: &mut [f64], data: &mut [f64]) {
        let Self { lanes, out_lanes, map, .. } = *self;
        let Ready { outs, plain, .. } = self.ready;
        for to in data.chunks_exact_mut(out_lanes) {
            let Row { a, b, code, weight } = rows.here();
            let (left, right, pairs) = (&self.left[a * lanes..], &self.right[b * lanes..], &outs[code]);
            match map {
                None => add_up(to, left, right, pairs, *plain, weight),
                Some(map) => {
                    add_up(wide, left, right, pairs, *plain, weight);
                    if let [only] = to {
                        *only = wide.iter().sum();
                    } else {
                        to.fill(0.0);
                        for (value, lane) in wide.iter().zip(map) {
                            to[*lane as usize] += value;
                        }
                    }
                }
            }
            rows.on();
        }
    }
}

/// Numbers of a result that are worked together: few enough to stay in the first cache \[ours\].
const BLOCK: usize = 2048;

/// Whether a join is large enough for choosing instructions to pay.
fn to_dispatch(size: usize) -> bool {
    size >= 64
}

/// Lanes that are added up at once.
const AT_ONCE: usize = 32;

/// One row of a result: the sum of its products, lane by lane, in pieces as wide as may be. The last piece is as narrow as will
/// do; it overlaps the one before it where the lanes do not divide evenly.
#[inline(always)]
fn add_up(out: &mut [f64], left: &[f64], right: &[f64], pairs: &[Pair], plain: bool, weight: f64) {
    let lanes = out.len();
    let mut at = 0;
    while at < lanes {
        let rest = lanes - at;
        let mut piece = Piece { out: &mut *out, left, right, pairs, plain, weight };
        at += match rest {
            rest if rest > 16 && lanes >= AT_ONCE => piece.at::<AT_ONCE>(at.min(lanes - AT_ONCE)),
            rest if rest > 8 && lanes >= 16 => piece.at::<16>(at.min(lanes - 16)),
            rest if rest > 4 && lanes >= 8 => piece.at::<8>(at.min(lanes - 8)),
            _ if lanes >= 4 => piece.at::<4>(at.min(lanes - 4)),
            _ => piece.at::<1>(at),
        };
    }
}

/// What the lanes of a row are added up from.
struct Piece<'p> {
    out: &'p mut [f64],
    left: &'p [f64],
    right: &'p [f64],
    pairs: &'p [Pair],
    plain: bool,
    weight: f64,
}

impl Piece<'_> {
    /// Adds up so many lanes from one on; answers how many.
    #[inline(always)]
    fn at<const N: usize>(&mut self, at: usize) -> usize {
        let Self { left, right, pairs, plain, weight, .. } = *self;
        let lanes = self.out.len();
        let mut sums = [0.0; N];
        for pair in pairs {
            let l = &left[pair.a * lanes + at..][..N];
            let r = &right[pair.b * lanes + at..][..N];
            if plain {
                for ((sum, l), r) in sums.iter_mut().zip(l).zip(r) {
                    *sum += l * r;
                }
            } else {
                for ((sum, l), r) in sums.iter_mut().zip(l).zip(r) {
                    *sum += pair.weight * l * r;
                }
            }
        }
        for (out, sum) in self.out[at..at + N].iter_mut().zip(&sums) {
            *out = weight * sum;
        }
        N
    }
}
