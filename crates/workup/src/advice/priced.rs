//! The choices priced in every kind of drawn engine, and what stands against the one that leads.

use rayon::prelude::*;

use super::Scene;
use super::sample::{Sample, Weight, Weights};
use crate::money::{Bills, OptionHere};

/// Choices priced with the engine opened so far, in every drawn engine.
pub(super) struct Priced<'k> {
    /// Every option, and of one that mends only what it opens every way of opening.
    pub(super) options: Vec<OptionHere<'k>>,
    /// Names of the blocks.
    pub(super) blocks: Vec<String>,
    /// Expected cost, in labour units: kind after kind of engine, option after option.
    pub(super) table: Vec<Vec<f64>>,
    /// Its mean per option.
    pub(super) expected: Vec<f64>,
    /// The best option now, with its mean.
    pub(super) best: (usize, f64),
    /// What stands against it.
    pub(super) stakes: Stakes,
}

/// What stands against the choice that leads.
#[derive(Default)]
pub(super) struct Stakes {
    /// The choice that leads.
    pub(super) leads: usize,
    /// The allowed options that are cheaper than it in some kind of engine.
    pub(super) contenders: Vec<usize>,
    /// What each contender saves over it: kind after kind of engine.
    pub(super) savings: Vec<f64>,
    /// Per contender: its savings summed over the drawn engines by their weights.
    pub(super) sums: Vec<Weight>,
}

impl Stakes {
    /// Of some contenders by what each saves in every kind of engine.
    pub(super) fn of(leads: usize, contenders: Vec<usize>, savings: Vec<f64>, weights: &Weights) -> Self {
        let sums = Self::sums(&savings, contenders.len(), weights);
        Self { leads, contenders, savings, sums }
    }

    /// What contenders save, kind after kind, summed over the weighted engines.
    pub(super) fn sums(savings: &[f64], contenders: usize, weights: &Weights) -> Vec<Weight> {
        let mut sums = vec![Weight::default(); contenders];
        for (row, weight) in savings.chunks_exact(contenders.max(1)).zip(&weights.kinds) {
            for (sum, saving) in sums.iter_mut().zip(row) {
                *sum = *sum + weight.times(*saving);
            }
        }
        sums
    }

    /// The same where engines count differently and another choice leads, with the contenders that could save most; and what
    /// knowing everything about them would save, summed. `most`: so many contenders.
    pub(super) fn under(&self, weights: &Weights, leads: usize, most: usize) -> (Self, f64) {
        let stays = self.contenders.iter().position(|c| *c == leads);
        // Where another choice leads, the one that led before stands at its place.
        let over = |row: &[f64], place: usize| {
            let own = if stays == Some(place) { 0.0 } else { row.get(place).copied().unwrap_or(0.0) };
            own - stays.and_then(|b| row.get(b)).copied().unwrap_or(0.0)
        };
        let rows = || self.savings.chunks_exact(self.contenders.len().max(1)).zip(&weights.kinds);
        let mut could: Vec<(f64, usize)> = (0..self.contenders.len())
            .map(|place| (rows().map(|(row, w)| w.sum * over(row, place).max(0.0)).sum(), place))
            .collect();
        could.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        could.truncate(most);
        could.retain(|(saves, _)| *saves > 0.0);
        let kept: Vec<usize> = could.into_iter().map(|(_, place)| place).collect();
        let mut savings = Vec::with_capacity(kept.len() * weights.kinds.len());
        let mut all_known = 0.0;
        for (row, w) in rows() {
            let from = savings.len();
            savings.extend(kept.iter().map(|place| over(row, *place)));
            let best = savings.get(from..).unwrap_or_default().iter().copied().fold(0.0, f64::max);
            all_known += w.sum * best;
        }
        let choice = |place: &usize| {
            if stays == Some(*place) { Some(self.leads) } else { self.contenders.get(*place).copied() }
        };
        let contenders = kept.iter().filter_map(choice).collect();
        (Self::of(leads, contenders, savings, weights), all_known)
    }

    /// What each contender saves in a kind of engine.
    pub(super) fn savings(&self, kind: usize) -> &[f64] {
        let width = self.contenders.len();
        self.savings.get(kind * width..(kind + 1) * width).unwrap_or_default()
    }
}

impl<'k> Priced<'k> {
    pub(super) fn of(scene: &Scene<'k, '_>, sample: &Sample, options: Vec<OptionHere<'k>>) -> Self {
        let bills = Bills::of(&options);
        let row = |d: &usize| {
            let classes = sample.classes.get(*d).map_or(&[][..], Vec::as_slice);
            bills.expected(sample.draws.draw(*d), classes)
        };
        let table: Vec<Vec<f64>> = sample.of_kind.par_iter().map(row).collect();
        let expected = sample.means(&table);
        let blocks = scene.blocks.iter().map(|b| b.name.clone()).collect();
        let best = (0, f64::INFINITY);
        Self { options, table, expected, best, stakes: Stakes::default(), blocks }
    }

    /// The same with the best of the allowed options found, and what stands against it.
    pub(super) fn among(self, allowed: &[bool], sample: &Sample) -> Self {
        let best = smallest(&self.expected, allowed);
        let saving = |row: &Vec<f64>, option: usize| {
            let stay = row.get(best.0).copied().unwrap_or(0.0);
            stay - row.get(option).copied().unwrap_or(stay)
        };
        let dearer = |option: &usize| self.table.iter().all(|row| saving(row, *option) <= 0.0);
        let contenders: Vec<usize> = (0..self.options.len())
            .filter(|i| *i != best.0 && allowed.get(*i) == Some(&true))
            .filter(|i| !dearer(i))
            .collect();
        let savings: Vec<f64> = self.table.iter().flat_map(|row| contenders.iter().map(|o| saving(row, *o))).collect();
        let stakes = Stakes::of(best.0, contenders, savings, &Weights::even(sample));
        Self { best, stakes, ..self }
    }

    /// The choice that costs least over the weighted engines.
    pub(super) fn leading(&self, weights: &Weights) -> usize {
        let Stakes { contenders, savings, .. } = &self.stakes;
        let saved = Stakes::sums(savings, contenders.len(), weights);
        let most = saved.iter().zip(contenders).max_by(|a, b| a.0.sum.total_cmp(&b.0.sum));
        most.filter(|(saved, _)| saved.sum > 0.0).map_or(self.best.0, |(_, choice)| *choice)
    }

    /// What the choice at a place costs over the weighted engines, summed.
    pub(super) fn cost_under(&self, weights: &Weights, choice: usize) -> f64 {
        let cost = |(row, weight): (&Vec<f64>, &Weight)| row.get(choice).map_or(0.0, |cost| cost * weight.sum);
        self.table.iter().zip(&weights.kinds).map(cost).sum()
    }

    /// Whether a choice takes every head off whatever is found.
    pub(super) fn takes_heads_off(&self, scene: &Scene<'_, '_>, choice: usize) -> bool {
        let shuts = |stage: &String| scene.knowledge.stage(stage).and_then(|s| s.shuts);
        let access = self.options.get(choice).map_or(&[][..], |o| &o.option.access);
        access.iter().any(|stage| shuts(stage) == Some(knowledge::Shuts::Cranking))
    }

    /// The name of the option that the other heads get, where a choice gives them one.
    pub(super) fn others(&self, choice: usize) -> Option<String> {
        self.options.get(choice).and_then(|o| o.beside).map(|o| o.name.clone())
    }

    /// The names of what a choice opens, where it is a choice of what to open.
    pub(super) fn opens(&self, choice: usize) -> Vec<String> {
        let opened = self.options.get(choice).and_then(|o| o.opens.as_ref());
        opened.into_iter().flatten().filter_map(|i| self.blocks.get(*i).cloned()).collect()
    }
}

pub(super) fn smallest(costs: &[f64], allowed: &[bool]) -> (usize, f64) {
    let mut best = (0, f64::INFINITY);
    for (index, cost) in costs.iter().enumerate() {
        if allowed.get(index).copied().unwrap_or(false) && *cost < best.1 {
            best = (index, *cost);
        }
    }
    best
}
