//! From a worst-of network and its readings to base tables: one per variable, part of a reading and free factor.

#![expect(clippy::indexing_slicing, reason = "numeric kernel: indices come from shapes fixed when the tree is built")]

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use super::numbers::Numbers;
use super::table::{Lanes, Table, Worst, bits, digest, step};
use super::tree::Place;
use crate::worst::{Link, Reading, ReadingLink, WorstNet, cumulative};

/// Tables of a variable with more rows than this are split by an auxiliary variable.
const DENSE_ROWS: usize = 1500;

/// How readings that look at many regions are carried.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Wide {
    /// As a difference of two products.
    Difference,
    /// By the rule of the worst, like all others.
    Worst,
}

/// One product of a reading that is carried as a difference.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum AtMost {
    /// All parts drew this or a better outcome.
    This,
    /// All parts drew a better one.
    Better,
    /// They drew whatever they did.
    Any,
}

/// A reading with parts in this many regions or more is wide \[ours\].
const WIDE: usize = 3;

/// Depth of a region that holds what belongs closely together: member of a group \[ours\].
const MEMBER: usize = 2;

pub(super) struct Builder<'a> {
    pub(super) net: &'a WorstNet,
    pub(super) wide: Wide,
    pub(super) places: Vec<Place>,
    pub(super) cards: Vec<usize>,
    pub(super) lanes: Lanes,
    pub(super) base: Vec<Table>,
    /// Per tree variable: where it belongs.
    pub(super) regions: Vec<Vec<u16>>,
    /// Per tree variable: how a worst-of variable ends.
    pub(super) worst: Vec<Option<Worst>>,
    /// Tables of variables by what they were made from: most sites of a condition have the same one.
    pub(super) made: BTreeMap<u128, Arc<Numbers>>,
}

fn shared_path(a: &[u16], b: &[u16]) -> Vec<u16> {
    a.iter().zip(b).take_while(|(x, y)| x == y).map(|(x, _)| *x).collect()
}

/// The member of a group in which the deepest parts of a reading lie together, if there is one.
///
/// A part further out (what two neighbours share) then stays open beside them, which is less than carrying every
/// reading of both out to it.
fn home(regions: &[&[u16]]) -> Option<Vec<u16>> {
    let mut deep = regions.iter().filter(|r| r.len() >= MEMBER);
    let first = deep.next()?.to_vec();
    let path = deep.fold(first, |path, next| shared_path(&path, next));
    (path.len() >= MEMBER).then_some(path)
}

/// Whether a reading looks at so many regions that it is carried as a difference, or weighed.
pub(super) fn is_wide(net: &WorstNet, reading: &Reading) -> bool {
    let tells = |link: &&ReadingLink| link.given.iter().any(|[_, here]| *here > 0.0) || reading.echo > 0.0;
    let parts = reading.links.iter().filter(tells).filter_map(|l| net.variables.get(l.parent)).filter(|v| !v.root);
    let regions: Vec<&[u16]> = parts.map(|v| v.region.as_slice()).collect();
    let members: BTreeSet<&[u16]> = regions.iter().map(|r| r.get(..r.len().min(MEMBER)).unwrap_or_default()).collect();
    let best = reading.own[0] <= 0.0 && reading.echo <= 0.0;
    !best && members.len() >= WIDE && home(&regions).is_none()
}

impl Builder<'_> {
    pub(super) fn add_var(&mut self, card: usize, region: Vec<u16>) -> u32 {
        self.cards.push(card);
        self.regions.push(region);
        self.worst.push(None);
        u32::try_from(self.cards.len() - 1).unwrap_or(u32::MAX)
    }

    pub(super) fn add(&mut self, table: Table) -> usize {
        self.base.push(table);
        self.base.len() - 1
    }

    /// The smallest region that holds all of these variables.
    fn common<'b>(&self, vars: impl Iterator<Item = &'b u32>) -> Vec<u16> {
        let mut paths = vars.filter_map(|v| self.regions.get(*v as usize));
        let Some(first) = paths.next() else { return Vec::new() };
        paths.fold(first.clone(), |path, next| shared_path(&path, next))
    }

    /// Where a reading with these parts belongs.
    fn region_of(&self, parts: &[(u32, Vec<[f64; 2]>)]) -> Vec<u16> {
        let regions: Vec<&[u16]> = parts.iter().map(|(v, _)| self.regions[*v as usize].as_slice()).collect();
        home(&regions).unwrap_or_else(|| self.common(parts.iter().map(|(v, _)| v)))
    }

    /// Product over root links of one factor per root state: one lane table per level.
    fn root_products(&self, roots: &[(usize, Vec<Vec<f64>>)], levels: usize) -> (u32, Vec<Vec<f64>>) {
        let mask = roots.iter().fold(0u32, |m, (r, _)| m | 1 << r);
        let states = self.lanes.list(mask);
        let mut out = vec![vec![1.0; states.len()]; levels];
        for (root, table) in roots {
            for (lane, code) in states.iter().enumerate() {
                let row = &table[self.lanes.part_of(*code, mask, 1 << root) as usize];
                for (level, list) in out.iter_mut().enumerate() {
                    list[lane] *= row[level];
                }
            }
        }
        (mask, out)
    }

    /// The worst of draws of several parents, as the plain variable that holds it.
    ///
    /// Each parent's draw is one part of a worst-of variable, which turns into the plain one where all have met.
    fn worst_so_far(&mut self, parts: Vec<(u32, Vec<Vec<f64>>)>, states: usize) -> u32 {
        let region = self.common(parts.iter().map(|(v, _)| v));
        let held = self.add_var(states, region.clone());
        let worst = self.add_var(states, region);
        self.worst[worst as usize] = Some(Worst::Turns(held));
        for (v, table) in parts {
            let exact = |row: &Vec<f64>, k: usize| row[k] - if k == 0 { 0.0 } else { row[k - 1] };
            let data = (0..states).flat_map(|k| table.iter().map(move |row| exact(row, k))).collect();
            self.add(Table::new(vec![worst, v], 0, data));
        }
        held
    }

    /// The table of a variable given its parents; many alike parents are first drawn together.
    pub(super) fn variable(&mut self, index: usize) {
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
        let lanes = self.lanes.count(mask);
        let parent_cards: Vec<usize> = dense.iter().map(|(_, t)| t.len()).collect();
        let assignments: usize = parent_cards.iter().product();
        let mut vars: Vec<u32> = vec![me];
        vars.extend(dense.iter().map(|(v, _)| *v));
        let tables = |list: &[(u32, Vec<Vec<f64>>)]| -> Vec<Vec<u64>> {
            list.iter().map(|(_, t)| t.iter().flat_map(|row| bits(row)).collect()).collect()
        };
        let product_bits: Vec<Vec<u64>> = products.iter().map(|row| bits(row)).collect();
        let id = digest(&(mask, bits(&own), tables(&dense), parent_cards.clone(), product_bits));
        let data = self.made.entry(id).or_insert_with(|| {
            let mut data = vec![0.0; states * assignments * lanes];
            let mut state = vec![0usize; parent_cards.len()];
            for assignment in 0..assignments {
                for k in 0..states {
                    // Chance of this state or a milder one: what the parents let through, by lane.
                    let passed: f64 = dense.iter().zip(&state).map(|((_, table), s)| table[*s][k]).product();
                    let before: f64 = match k {
                        0 => 0.0,
                        k => dense.iter().zip(&state).map(|((_, table), s)| table[*s][k - 1]).product(),
                    };
                    let (passed, before) = (own[k] * passed, if k == 0 { 0.0 } else { own[k - 1] * before });
                    let row = &mut data[(k * assignments + assignment) * lanes..][..lanes];
                    let milder = &products[k.saturating_sub(1)];
                    for ((out, p), q) in row.iter_mut().zip(&products[k]).zip(milder) {
                        *out = (passed * p - before * q).max(0.0);
                    }
                }
                step(&mut state, &parent_cards);
            }
            Arc::new(data.into())
        });
        let mut table = Table::made(vars, mask, Arc::clone(data), id);
        table.sums_to_one = Some(me);
        self.add(table);
    }

    /// The tables of one reading; answers the nodes that carry it and what replaces them when it is left out.
    pub(super) fn reading(&mut self, reading: &Reading) -> Vec<(usize, Table)> {
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
        let lanes = self.lanes.count(mask);
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
        if self.wide == Wide::Difference && (is_wide(self.net, reading) || below <= 0.0) {
            return self.difference(reading, parts, mask, &products, made);
        }
        // With an echo what was drawn may be anything as well.
        let apart = reading.echo > 0.0;
        let levels = if apart { 3 } else { 2 };
        let region = self.region_of(&parts);
        let aux = self.add_var(levels, region);
        let weights = if apart { vec![0.0, 1.0 - reading.echo, reading.echo] } else { vec![0.0, 1.0] };
        self.worst[aux as usize] = Some(Worst::Weighed { weights, apart });
        let exact = |b: f64, upper: f64| {
            let mut out = vec![b, (upper - b).max(0.0)];
            out.resize(levels, 1.0);
            out
        };
        let own: Vec<Vec<f64>> =
            (0..lanes).map(|l| exact(below * products[0][l], (below + here) * products[1][l])).collect();
        let data: Vec<f64> = (0..levels).flat_map(|k| own.iter().map(move |row| row[k])).collect();
        // Left out, the background draws the reading and the parts draw nothing: always better.
        let neutral = exact(0.0, 1.0);
        let nothing = exact(1.0, 1.0);
        made.push((self.add(Table::new(vec![aux], mask, data)), Table::new(vec![aux], 0, neutral)));
        for (v, table) in parts {
            let rows: Vec<Vec<f64>> = table.iter().map(|[b, h]| exact(*b, b + h)).collect();
            let data: Vec<f64> = (0..levels).flat_map(|k| rows.iter().map(move |row| row[k])).collect();
            made.push((self.add(Table::new(vec![aux, v], 0, data)), Table::new(vec![aux], 0, nothing.clone())));
        }
        made
    }
}

impl Builder<'_> {
    /// A wide reading as "at most this" less "better than this", or one of the best outcome, which nothing is better than, with
    /// what an echo adds: then nothing is taken off and no digit is lost.
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
        // At most this, better than this where anything can be, and whatever was drawn where it may be an echo.
        let all = [(AtMost::This, rest * (below + here)), (AtMost::Better, -rest * below), (AtMost::Any, reading.echo)];
        let terms: Vec<(AtMost, f64)> = all.into_iter().filter(|(_, w)| w.abs() > 0.0).collect();
        let levels = terms.len();
        let region = self.region_of(&parts);
        let aux = self.add_var(levels, region);
        let lane = |term: AtMost, lane: usize| match term {
            AtMost::This => products[1][lane],
            AtMost::Better => products[0][lane],
            AtMost::Any => 1.0,
        };
        let data: Vec<f64> = terms
            .iter()
            .flat_map(|(term, w)| (0..self.lanes.count(mask)).map(move |i| w * lane(*term, i)).collect::<Vec<_>>())
            .collect();
        let mut neutral = vec![0.0; levels];
        neutral[0] = 1.0;
        made.push((self.add(Table::new(vec![aux], mask, data)), Table::new(vec![aux], 0, neutral)));
        for (v, table) in parts {
            let part = |term: AtMost, [b, h]: [f64; 2]| match term {
                AtMost::This => b + h,
                AtMost::Better => b,
                AtMost::Any => 1.0,
            };
            let of = |(term, _): &(AtMost, f64)| table.iter().map(|pair| part(*term, *pair)).collect::<Vec<_>>();
            let data: Vec<f64> = terms.iter().flat_map(of).collect();
            made.push((self.add(Table::new(vec![aux, v], 0, data)), Table::ones()));
        }
        made
    }
}
