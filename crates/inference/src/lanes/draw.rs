//! Drawing engines: states of all variables from their exact joint distribution given the readings.

#![expect(clippy::indexing_slicing, reason = "numeric kernel: indices come from shapes fixed when the tree is built")]

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use rayon::prelude::*;

use super::builder::is_wide;
use super::table::{Table, Worst};
use super::tree::{Node, PartRun, Place};
use super::{Engine, Extra, LanesError, to_f64};
use crate::shared::{ARCH, STEP, mixed, unit};
use crate::worst::{Reading, WorstNet, cumulative};

/// How one node of the tree is undone: what is known there, and what is drawn.
#[derive(Debug)]
struct Undo {
    a: usize,
    b: Option<usize>,
    /// Plain variables known by now: variable, step in `a`, step in `b`, in rows.
    known: Vec<(u32, usize, usize)>,
    /// Worst-of variables known by now that only one side has: slot, step in `a`, step in `b`, in rows.
    passed: Vec<(usize, usize, usize)>,
    /// Slots whose level is that of the plain variable that the worst-of variable turned into here.
    turned: Vec<(usize, u32)>,
    /// What is drawn here.
    drawn: Vec<Undone>,
    lanes_a: usize,
    lanes_b: usize,
    map_a: Arc<Vec<u32>>,
    map_b: Arc<Vec<u32>>,
}

/// Where the level of a worst-of variable is known from.
#[derive(Debug, Clone, Copy)]
enum Level {
    /// Its slot.
    Slot(usize),
    /// The plain variable that it turned into here.
    Turned(u32),
}

#[derive(Debug)]
enum Undone {
    /// A plain variable that was summed here.
    Plain { var: u32, levels: usize, a: usize, b: usize },
    /// A worst-of variable of both sides: its level here, or its weights where it was closed, slots and steps of both
    /// sides, and how many levels there are and how many of them join by the rule of the worst.
    Split { here: Result<Level, Vec<f64>>, in_a: usize, in_b: usize, a: usize, b: usize, levels: usize, ranked: usize },
    /// A worst-of variable of one side that was closed here: its slot there, and its steps.
    Closed { slot: usize, a: usize, b: usize, weights: Vec<f64> },
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
pub(super) struct Chance(u64);

impl Chance {
    /// The stream of one draw.
    pub(super) fn of(seed: u64, index: usize) -> Self {
        let index = u64::try_from(index).unwrap_or(u64::MAX);
        Self(seed ^ index.wrapping_mul(0xD6E8_FEB8_6659_FD93))
    }

    pub(super) fn unit(&mut self) -> f64 {
        let z = mixed(self.0);
        self.0 = self.0.wrapping_add(STEP);
        unit(z)
    }
}

/// Engines drawn per engine kept, where the readings that enter as weights leave few of them \[ours\].
const OVERDRAWN: usize = 4;
/// Share of the draws that must be left for them to be enough \[ours\].
const EFFECTIVE: f64 = 0.6;
/// Wide readings that the draws are made with; further ones enter as weights \[ours\].
const DRAWN_WIDE: usize = 3;

/// Engines drawn given the readings, and the joint root states that the readings leave possible.
#[derive(Debug)]
pub struct Drawn {
    /// The engines.
    pub draws: Draws,
    /// Whether any draw is possible under the readings that enter as weights: where none is, the readings may exclude one another.
    pub met: bool,
    /// Joint root states, the last root running fastest, ascending.
    pub likely: Vec<u32>,
    /// Natural logarithm of what the probability of the evidence with all other joint root states is below.
    pub ln_left_out: f64,
}

/// Share of the probability of the evidence that joint root states may be left out for \[ours\].
const LEFT_OUT: f64 = 1e-10;

/// Draws states of all variables from their joint distribution given the readings, and finds the root states that matter.
///
/// The least expected wide readings and all narrow ones are met exactly; the further wide ones enter by weighing the
/// draws, or four times as many where few of them would be left, and resampling them evenly. The same seed gives the same draws on every machine. A reading that
/// is left out of the sums can only make them larger, so they bound what every joint root state can come to.
///
/// # Errors
/// As [`Engine::build`] and [`Engine::run`].
pub fn drawn(net: &WorstNet, readings: &[Reading], count: usize, seed: u64) -> Result<Drawn, LanesError> {
    let mut wide: Vec<usize> =
        (0..readings.len()).filter(|i| readings.get(*i).is_some_and(|r| is_wide(net, r))).collect();
    wide.sort_by(|a, b| readings[*a].own[1].total_cmp(&readings[*b].own[1]).then(a.cmp(b)));
    let weighed: BTreeSet<usize> = wide.into_iter().skip(DRAWN_WIDE).collect();
    let met: Vec<Reading> =
        readings.iter().enumerate().filter(|(i, _)| !weighed.contains(i)).map(|(_, r)| r.clone()).collect();
    let engine = Engine::without_differences(net, &met)?;
    let run = engine.run_for(&Extra::default(), &[])?;
    let (draws, share) = if weighed.is_empty() {
        (run.draws(count, seed), 1.0)
    } else {
        let weigh = |more: &Draws| -> Vec<f64> {
            let chance = |d: usize| weighed.iter().map(|i| readings[*i].chance(more.draw(d))).product();
            (0..more.count).map(chance).collect()
        };
        let mut more = run.draws(count, seed);
        let mut weights = weigh(&more);
        if effective(&weights) < to_f64(count) * EFFECTIVE {
            more = run.draws(count * OVERDRAWN, seed);
            weights = weigh(&more);
        }
        match resampled(&more, &weights, count) {
            Some(draws) => (draws, weights.iter().sum::<f64>() / to_f64(more.count)),
            None => (run.draws(count, seed), 0.0),
        }
    };
    let mut states: Vec<(u32, f64)> = (0..).zip(run.roots()).filter(|(_, p)| *p > 0.0).collect();
    states.sort_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0)));
    let mut left = 0.0;
    let few = states.iter().take_while(|(_, p)| {
        let fits = left + p <= LEFT_OUT * share;
        left += if fits { *p } else { 0.0 };
        fits
    });
    let few = few.count();
    let mut likely: Vec<u32> = states.into_iter().skip(few).map(|(code, _)| code).collect();
    likely.sort_unstable();
    Ok(Drawn { draws, met: share > 0.0, likely, ln_left_out: run.ln_p() + left.ln() })
}

/// Draws states of all variables from their joint distribution given the readings, as [`drawn`].
///
/// # Errors
/// As [`drawn`].
pub fn posterior_draws(net: &WorstNet, readings: &[Reading], count: usize, seed: u64) -> Result<Draws, LanesError> {
    Ok(drawn(net, readings, count, seed)?.draws)
}

/// Draws states of all variables with no reading taken: parents first, each variable the worst of its draws.
///
/// The same seed gives the same draws on every machine.
///
/// # Errors
/// A malformed network.
pub fn forward_draws(net: &WorstNet, count: usize, seed: u64) -> Result<Draws, LanesError> {
    net.ensure()?;
    let tables = Forward::of(net);
    let states = (0..count).into_par_iter().flat_map_iter(|index| tables.draw(seed, index)).collect();
    Ok(Draws { count, variables: net.variables.len(), states })
}

/// Running sums of every variable's own draw and of what each parent adds by its state, laid out one after another.
struct Forward {
    /// Per variable: the row of its own draw, and its links.
    variables: Vec<(Running, std::ops::Range<usize>)>,
    /// Per link: the parent, and the place of its first row.
    links: Vec<(usize, usize)>,
    /// Link after link: a row for each state of the parent.
    rows: Vec<Running>,
    sums: Vec<f64>,
}

/// Where the running sums of one draw stand; nowhere for a row that never draws anything but the mildest state, which
/// needs no chance.
type Running = std::ops::Range<usize>;

impl Forward {
    fn of(net: &WorstNet) -> Self {
        let mut out = Self { variables: Vec::new(), links: Vec::new(), rows: Vec::new(), sums: Vec::new() };
        for variable in &net.variables {
            let own = out.row(&variable.own);
            let first = out.links.len();
            for link in &variable.links {
                out.links.push((link.parent, out.rows.len()));
                for given in &link.given {
                    let row = out.row(given);
                    out.rows.push(row);
                }
            }
            out.variables.push((own, first..out.links.len()));
        }
        out
    }

    fn row(&mut self, values: &[f64]) -> Running {
        let first = self.sums.len();
        if values.iter().skip(1).any(|p| *p > 0.0) {
            self.sums.extend(cumulative(values));
        }
        first..self.sums.len()
    }

    /// One engine: the state of every variable.
    fn draw(&self, seed: u64, index: usize) -> Vec<u8> {
        let mut chance = Chance::of(seed, index);
        let mut states: Vec<u8> = Vec::with_capacity(self.variables.len());
        let mut drawn = |row: &Running| {
            let Some((_, sums)) = self.sums[row.clone()].split_last() else { return 0 };
            let u = chance.unit();
            sums.iter().take_while(|c| **c <= u).count()
        };
        for (own, links) in &self.variables {
            let mut worst = drawn(own);
            for (parent, first) in &self.links[links.clone()] {
                worst = worst.max(drawn(&self.rows[first + usize::from(states[*parent])]));
            }
            states.push(u8::try_from(worst).unwrap_or(u8::MAX));
        }
        states
    }
}

/// How many draws of equal weight say as much as these (Kish 1965).
fn effective(weights: &[f64]) -> f64 {
    let (sum, squares) = weights.iter().fold((0.0, 0.0), |(s, q), w| (s + w, q + w * w));
    if squares > 0.0 { sum * sum / squares } else { 0.0 }
}

/// Draws resampled evenly by their weights, where any of them weighs anything.
fn resampled(draws: &Draws, weights: &[f64], count: usize) -> Option<Draws> {
    let total: f64 = weights.iter().sum();
    if total.partial_cmp(&0.0) != Some(std::cmp::Ordering::Greater) {
        return None;
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
    Some(Draws { count, variables: draws.variables, states })
}

/// Draws that are worked together, so that one node's tables stay near the processor \[ours\].
const TOGETHER: usize = 1024;

impl PartRun<'_> {
    /// The way down the tree, from its root: what is drawn at each node. Answers also how many slots there are for the
    /// levels of worst-of variables.
    fn way_down(&self) -> (Vec<Undo>, usize) {
        let mut slots: Vec<BTreeMap<u32, usize>> = vec![BTreeMap::new(); self.part.nodes.len()];
        let mut used = 0;
        let mut way = Vec::new();
        for node in (0..self.part.nodes.len()).rev() {
            if let Some(undo) = self.undo(node, &mut slots, &mut used) {
                way.push(undo);
            }
        }
        (way, used)
    }

    fn undo(&self, node: usize, slots: &mut [BTreeMap<u32, usize>], used: &mut usize) -> Option<Undo> {
        let shape = &self.part.shape;
        let (a, b, sum) = match &self.part.nodes[node] {
            Node::Base(_) => return None,
            Node::Join { a, b, sum } => (*a, Some(*b), *sum),
            Node::Sum { a, sum } => (*a, None, Some(*sum)),
        };
        let none = Table::ones();
        let left = &self.up[a];
        let right = b.map_or(&none, |b| &self.up[b]);
        let a_steps = shape.row_steps(&left.vars);
        let b_steps = shape.row_steps(&right.vars);
        let here = std::mem::take(&mut slots[node]);
        let mut out = Undo {
            a,
            b,
            known: Vec::new(),
            passed: Vec::new(),
            turned: Vec::new(),
            drawn: Vec::new(),
            lanes_a: shape.lanes(left.mask),
            lanes_b: shape.lanes(right.mask),
            map_a: shape.lanes.map(self.part.full_mask, left.mask),
            map_b: shape.lanes.map(self.part.full_mask, right.mask),
        };
        let mut new_slot = || {
            *used += 1;
            *used - 1
        };
        let mut vars: Vec<u32> = left.vars.to_vec();
        vars.extend(right.vars.iter().copied().filter(|v| !left.vars.contains(v)));
        for v in vars {
            let x = left.vars.iter().position(|w| *w == v).map(|p| a_steps[p]);
            let y = right.vars.iter().position(|w| *w == v).map(|p| b_steps[p]);
            let (step_a, step_b) = (x.unwrap_or(0), y.unwrap_or(0));
            let closed = Some(v) == sum;
            let levels = shape.cards[v as usize];
            let Some(worst) = &shape.worst[v as usize] else {
                if closed {
                    out.drawn.push(Undone::Plain { var: v, levels, a: step_a, b: step_b });
                } else {
                    out.known.push((v, step_a, step_b));
                }
                continue;
            };
            let level = match worst {
                Worst::Weighed { weights, .. } if closed => Err(weights.clone()),
                Worst::Turns(plain) if closed => Ok(Level::Turned(*plain)),
                Worst::Weighed { .. } | Worst::Turns(_) => Ok(Level::Slot(here.get(&v).copied().unwrap_or(0))),
            };
            if let (Some(a_step), Some(b_step), Some(b)) = (x, y, b) {
                let (in_a, in_b, ranked) = (new_slot(), new_slot(), worst.ranked(levels));
                slots[a].insert(v, in_a);
                slots[b].insert(v, in_b);
                out.drawn.push(Undone::Split { here: level, in_a, in_b, a: a_step, b: b_step, levels, ranked });
                continue;
            }
            let side = if y.is_some() { b.unwrap_or(a) } else { a };
            let slot = match level {
                Ok(Level::Slot(slot)) => {
                    out.passed.push((slot, step_a, step_b));
                    slot
                }
                Ok(Level::Turned(plain)) => {
                    let slot = new_slot();
                    out.turned.push((slot, plain));
                    out.passed.push((slot, step_a, step_b));
                    slot
                }
                Err(weights) => {
                    let slot = new_slot();
                    out.drawn.push(Undone::Closed { slot, a: step_a, b: step_b, weights });
                    slot
                }
            };
            slots[side].insert(v, slot);
        }
        (!out.drawn.is_empty() || !out.turned.is_empty()).then_some(out)
    }

    /// Draws the states of all variables, one draw for each pair of place in the whole list and lane here.
    pub(super) fn draws(&self, asked: &[(usize, usize)], seed: u64) -> Vec<Vec<u8>> {
        let (way, slots) = self.way_down();
        asked.par_chunks(TOGETHER).flat_map_iter(|some| self.draws_of(&way, slots, some, seed)).collect()
    }

    /// Some of the draws, node after node.
    fn draws_of(&self, way: &[Undo], slots: usize, asked: &[(usize, usize)], seed: u64) -> Vec<Vec<u8>> {
        let part = self.part;
        let count = asked.len();
        let mut chances: Vec<Chance> = asked
            .iter()
            .map(|(index, _)| {
                let mut chance = Chance::of(seed, *index);
                // The first number chose the lane.
                chance.unit();
                chance
            })
            .collect();
        // What is drawn by now, one list of draws a thing: the plain variables, then the slots.
        let plain = part.shape.cards.len();
        let mut states = vec![0u8; (plain + slots) * count];
        let list = |thing: usize| thing * count..(thing + 1) * count;
        // Rows of both sides, and levels of what is split between them, draw by draw.
        let (mut a, mut b, mut levels_here) = (vec![0u32; count], vec![0u32; count], vec![0u32; count]);
        let mut ways: Vec<Ways> = (0..KEPT_WAYS).map(|_| Ways::default()).collect();
        for u in way {
            for (slot, v) in &u.turned {
                states.copy_within(list(*v as usize), (plain + slot) * count);
            }
            if u.drawn.is_empty() {
                continue;
            }
            a.fill(0);
            b.fill(0);
            levels_here.fill(0);
            let known = u.known.iter().map(|(v, x, y)| (*v as usize, *x, *y));
            for (thing, x, y) in known.chain(u.passed.iter().map(|(slot, x, y)| (plain + slot, *x, *y))) {
                step_on(&mut a, &states[list(thing)], x);
                step_on(&mut b, &states[list(thing)], y);
            }
            for drawn in &u.drawn {
                if let Undone::Split { here: Ok(place), levels, .. } = drawn {
                    let levels = u32::try_from(*levels).unwrap_or(u32::MAX);
                    for (code, state) in levels_here.iter_mut().zip(&states[list(place.thing(plain))]) {
                        *code = *code * levels + u32::from(*state);
                    }
                }
            }
            ways.iter_mut().for_each(|w| w.of = None);
            let outs: Vec<usize> = u.drawn.iter().flat_map(|d| d.things(plain)).collect();
            let sizes: Vec<usize> = u.drawn.iter().flat_map(Undone::sizes).collect();
            for (draw, ((_, lane), chance)) in asked.iter().zip(&mut chances).enumerate() {
                let lanes = (u.map_a[*lane], u.map_b[*lane]);
                let context = Context { lanes, a: a[draw], b: b[draw], levels: levels_here[draw] };
                // Most engines are alike at most nodes: what may have come about is laid out once for all of them.
                let ways = &mut ways[context.place()];
                if ways.of != Some(context) {
                    ways.lay(context, &u.drawn, |level: Level| states[level.thing(plain) * count + draw]);
                    self.weigh(u, context, ways);
                }
                let chosen = ways.chosen(chance);
                for (thing, state) in outs.iter().zip(ways.stands_for(chosen, &sizes)) {
                    states[thing * count + draw] = *state;
                }
            }
        }
        asked
            .iter()
            .enumerate()
            .map(|(draw, (_, lane))| {
                let state = |place: &Place| match place {
                    Place::Root(r) => {
                        let code = part.shape.lanes.kept.get(*lane).copied().unwrap_or(0);
                        u8::try_from(part.shape.lanes.root_state(code, *r)).unwrap_or(0)
                    }
                    Place::Var(v) => states[*v as usize * count + draw],
                };
                part.places.iter().map(state).collect()
            })
            .collect()
    }

    /// Weighs the ways in which a node can have come about, where there are several.
    fn weigh(&self, u: &Undo, here: Context, ways: &mut Ways) {
        if ways.terms.len() < 2 {
            return;
        }
        let left = &self.up[u.a].data;
        let right = u.b.map(|b| &self.up[b].data);
        let (lane_a, lane_b) = (here.lanes.0 as usize, here.lanes.1 as usize);
        ways.sum = 0.0;
        for t in &mut ways.terms {
            t.weight *= left[t.a * u.lanes_a + lane_a];
            if let Some(right) = right {
                t.weight *= right[t.b * u.lanes_b + lane_b];
            }
            ways.sum += t.weight;
        }
    }
}

/// Everything that decides how a node can have come about: the lanes of both sides, what is known of their rows, and the
/// known levels of what is split between them.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
struct Context {
    lanes: (u32, u32),
    a: u32,
    b: u32,
    levels: u32,
}

/// For so many kinds of engines it is kept how a node can have come about \[ours\].
const KEPT_WAYS: usize = 16;

impl Context {
    /// Where its ways are kept.
    fn place(&self) -> usize {
        (self.a ^ (self.b << 1) ^ (self.levels << 2) ^ self.lanes.0 ^ self.lanes.1) as usize % KEPT_WAYS
    }
}

/// In place of the first state of a way that was not asked for yet.
const UNREAD: u8 = u8::MAX;

/// Steps rows on by a list of states.
#[inline(never)]
fn step_on(rows: &mut [u32], states: &[u8], step: usize) {
    let step = u32::try_from(step).unwrap_or(u32::MAX);
    if step > 0 {
        ARCH.dispatch(Stepping { rows, states, step });
    }
}

/// Stepping rows on, as work that the widest instructions can be chosen for.
struct Stepping<'r> {
    rows: &'r mut [u32],
    states: &'r [u8],
    step: u32,
}

impl pulp::NullaryFnOnce for Stepping<'_> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        for (row, state) in self.rows.iter_mut().zip(self.states) {
            *row += u32::from(*state) * self.step;
        }
    }
}

/// The ways in which a node can have come about.
#[derive(Debug, Default)]
struct Ways {
    of: Option<Context>,
    terms: Vec<Term>,
    /// What all of them weigh, where there are several.
    sum: f64,
    /// What each of them stands for: way after way, the state of everything drawn, or [`UNREAD`] where nobody asked yet.
    outs: Vec<u8>,
    /// Room for laying them out.
    next: Vec<Term>,
}

impl Ways {
    fn lay(&mut self, here: Context, drawn: &[Undone], level: impl Fn(Level) -> u8) {
        self.of = Some(here);
        self.terms.clear();
        self.terms.push(Term { a: here.a as usize, b: here.b as usize, code: 0, weight: 1.0 });
        for one in drawn {
            self.next.clear();
            one.spread(&self.terms, &mut self.next, &level);
            std::mem::swap(&mut self.terms, &mut self.next);
        }
        self.outs.clear();
    }

    /// What one of them stands for: the states of everything drawn, of which there are so many each.
    fn stands_for(&mut self, way: usize, sizes: &[usize]) -> &[u8] {
        if self.outs.is_empty() {
            self.outs.resize(self.terms.len() * sizes.len(), UNREAD);
        }
        let out = &mut self.outs[way * sizes.len()..(way + 1) * sizes.len()];
        if out.first() == Some(&UNREAD) {
            let mut code = self.terms[way].code;
            // The first has what the others leave.
            for (state, size) in out.iter_mut().zip(sizes).skip(1).rev() {
                *state = u8::try_from(code % size).unwrap_or(0);
                code /= size;
            }
            out[0] = u8::try_from(code).unwrap_or(0);
        }
        out
    }

    /// The place of one of them, by its weight.
    fn chosen(&self, chance: &mut Chance) -> usize {
        if self.terms.len() < 2 {
            return 0;
        }
        let mut rest = chance.unit() * self.sum;
        let hit = self.terms.iter().position(|t| {
            rest -= t.weight;
            rest < 0.0
        });
        hit.unwrap_or(self.terms.len() - 1)
    }
}

impl Level {
    /// Where its level is listed: with the plain variables, or behind so many of them.
    fn thing(self, plain: usize) -> usize {
        match self {
            Self::Slot(slot) => plain + slot,
            Self::Turned(v) => v as usize,
        }
    }
}

impl Undone {
    /// Where what is drawn is listed: with the plain variables, or behind so many of them.
    fn things(&self, plain: usize) -> impl Iterator<Item = usize> {
        let (one, other) = match self {
            Self::Plain { var, .. } => (*var as usize, None),
            Self::Closed { slot, .. } => (plain + slot, None),
            Self::Split { in_a, in_b, .. } => (plain + in_a, Some(plain + in_b)),
        };
        [Some(one), other].into_iter().flatten()
    }

    /// How many states each of these has.
    fn sizes(&self) -> impl Iterator<Item = usize> {
        let (one, other) = match self {
            Self::Plain { levels, .. } => (*levels, None),
            Self::Closed { weights, .. } => (weights.len(), None),
            Self::Split { levels, .. } => (*levels, Some(*levels)),
        };
        [Some(one), other].into_iter().flatten()
    }

    /// The cases of one thing that is drawn, for every case of what was drawn before it at the same node.
    fn spread(&self, terms: &[Term], out: &mut Vec<Term>, level: &impl Fn(Level) -> u8) {
        match self {
            Self::Plain { levels, a, b, .. } => {
                for t in terms {
                    out.extend((0..*levels).map(|k| t.and(k * a, k * b, *levels, k, 1.0)));
                }
            }
            Self::Closed { a, b, weights, .. } => {
                for t in terms {
                    let open = weights.iter().enumerate().filter(|(_, w)| **w > 0.0);
                    out.extend(open.map(|(k, w)| t.and(k * a, k * b, weights.len(), k, *w)));
                }
            }
            Self::Split { here, a, b, levels, ranked, .. } => {
                // The worst of both sides is known, or weighed where it was closed here.
                let (which, weights) = match here {
                    Ok(place) => {
                        let known = usize::from(level(*place));
                        (known..known + 1, None)
                    }
                    Err(weights) => (0..*levels, Some(weights)),
                };
                for k in which {
                    let w = weights.map_or(1.0, |w| w[k]);
                    if w <= 0.0 {
                        continue;
                    }
                    let milder = if k < *ranked { 0..k } else { 0..0 };
                    for t in terms {
                        let pair = |i: usize, j: usize| t.and(i * a, j * b, levels * levels, i * levels + j, w);
                        out.push(pair(k, k));
                        out.extend(milder.clone().map(|j| pair(k, j)));
                        out.extend(milder.clone().map(|i| pair(i, k)));
                    }
                }
            }
        }
    }
}

/// One way in which a join can have come about: rows of both tables, what it stands for, and its chance.
#[derive(Debug, Clone, Copy)]
struct Term {
    a: usize,
    b: usize,
    code: usize,
    weight: f64,
}

impl Term {
    /// The same with one more thing decided: one of `of` cases.
    fn and(&self, a: usize, b: usize, of: usize, case: usize, weight: f64) -> Self {
        Self { a: self.a + a, b: self.b + b, code: self.code * of + case, weight: self.weight * weight }
    }
}
