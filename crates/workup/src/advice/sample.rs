//! The drawn engines, sorted by what they cost, and what open readings would say of each.
//!
//! Most drawn engines look the same to one reading: everything that it looks at is sound. So what it would say is kept
//! once for those, and apart only for the engines that it can tell from them.

use inference::lanes::Draws;
use rayon::prelude::*;

use super::{Scene, count};
use crate::money::{Bills, OptionHere};
use crate::network::Cut;

/// Drawn engines in the order of their kinds. All engines of a kind cost the same whatever is chosen.
pub(super) struct Sample {
    pub(super) draws: Draws,
    /// Per variable: the engines in which it is not in its first state, ascending, with the state.
    odd: Vec<Vec<(u32, u8)>>,
    /// Per drawn engine: its kind, ascending.
    pub(super) kind: Vec<usize>,
    /// Per kind: its first engine.
    pub(super) of_kind: Vec<usize>,
    /// Per kind: how many engines are of it.
    pub(super) counts: Vec<f64>,
    /// Per drawn engine: the class of each block.
    pub(super) classes: Vec<Vec<usize>>,
}

impl Sample {
    /// Sorts the drawn engines of a scene by what these choices would cost in them.
    pub(super) fn of(scene: &Scene<'_, '_>, options: &[OptionHere<'_>]) -> Self {
        let drawn = scene.draws;
        let bills = Bills::of(options);
        let looked = |d: usize| {
            let states = drawn.draw(d);
            let classes: Vec<usize> = scene.blocks.iter().map(|block| block.class_in(states)).collect();
            (classes, bills.apart_from_classes(states), d)
        };
        let mut looked: Vec<(Vec<usize>, Vec<u64>, usize)> = (0..drawn.count).into_par_iter().map(looked).collect();
        looked.par_sort_unstable();
        let mut states = Vec::with_capacity(drawn.states.len());
        let mut out = Self {
            draws: Draws { count: drawn.count, variables: drawn.variables, states: Vec::new() },
            odd: vec![Vec::new(); drawn.variables],
            kind: Vec::with_capacity(drawn.count),
            of_kind: Vec::new(),
            counts: Vec::new(),
            classes: Vec::with_capacity(drawn.count),
        };
        for alike in looked.chunk_by(|a, b| (&a.0, &a.1) == (&b.0, &b.1)) {
            out.of_kind.push(out.kind.len());
            let kind = out.counts.len();
            out.counts.push(count(alike.len()));
            for (classes, _, d) in alike {
                let here = drawn.draw(*d);
                states.extend_from_slice(here);
                let place = u32::try_from(out.kind.len()).unwrap_or(u32::MAX);
                for (list, state) in out.odd.iter_mut().zip(here).filter(|(_, s)| **s > 0) {
                    list.push((place, *state));
                }
                out.kind.push(kind);
                out.classes.push(classes.clone());
            }
        }
        out.draws.states = states;
        out
    }

    /// Means over the drawn engines of what is tabled by kind.
    pub(super) fn means(&self, table: &[Vec<f64>]) -> Vec<f64> {
        means(table, &self.counts)
    }
}

/// Means over engines of what is tabled by kind, with the number of engines of each.
pub(super) fn means(table: &[Vec<f64>], counts: &[f64]) -> Vec<f64> {
    let mut sums = vec![0.0; table.first().map_or(0, Vec::len)];
    for (row, n) in table.iter().zip(counts) {
        for (sum, x) in sums.iter_mut().zip(row) {
            *sum += n * x;
        }
    }
    let n: f64 = counts.iter().sum();
    sums.into_iter().map(|s| s / n.max(1.0)).collect()
}

/// A number for every drawn engine: one for most of them, and the others apart.
#[derive(Debug, Clone)]
pub(super) struct Mostly {
    /// The number of all engines that are not listed.
    pub(super) usual: f64,
    /// The others, ascending, with theirs.
    pub(super) others: Vec<(u32, f64)>,
}

/// Something that would be seen, ready to be asked of every drawn engine.
pub(super) struct Ask {
    /// What can come out.
    pub(super) words: Vec<String>,
    /// Chance of each outcome in all engines that are not listed.
    pub(super) usual: Vec<f64>,
    /// The others, ascending.
    pub(super) engines: Vec<u32>,
    /// Chance of each outcome, listed engine after listed engine.
    pub(super) chances: Vec<f64>,
    /// What it is worth alone, and what it would be if the choices cost the same now.
    pub(super) telling: (f64, f64),
}

impl Ask {
    /// An open reading.
    pub(super) fn of(cuts: &[Cut], words: Vec<String>, sample: &Sample) -> Self {
        let first = |factor: &[f64]| factor.first().copied().unwrap_or(1.0);
        let whole = cuts.iter().flat_map(|c| &c.factors).any(|(_, factor)| first(factor) <= 0.0);
        let engines = if whole {
            (0..u32::try_from(sample.draws.count).unwrap_or(u32::MAX)).collect()
        } else {
            told_apart(cuts, sample)
        };
        let mut usual = Vec::with_capacity(words.len());
        let mut chances = vec![0.0; engines.len() * words.len()];
        // Per listed engine: its row, where there is one.
        let mut rows = vec![u32::MAX; sample.draws.count];
        for (row, engine) in (0..).zip(&engines) {
            if let Some(place) = rows.get_mut(*engine as usize) {
                *place = row;
            }
        }
        let mut below = vec![0.0; engines.len()];
        let mut usual_below = 0.0;
        let mut at_most = vec![0.0; engines.len()];
        for (place, cut) in cuts.iter().enumerate() {
            let plain = cut.own * cut.factors.iter().map(|(_, f)| first(f)).filter(|f| *f > 0.0).product::<f64>();
            at_most.fill(plain);
            for (variable, factor) in &cut.factors {
                let usual = first(factor);
                let by = |state: u8| factor.get(usize::from(state)).copied().unwrap_or(1.0);
                if usual <= 0.0 {
                    // Then all engines are listed.
                    for (d, value) in at_most.iter_mut().enumerate() {
                        *value *= by(sample.draws.draw(d).get(*variable).copied().unwrap_or(0));
                    }
                    continue;
                }
                for (engine, state) in sample.odd.get(*variable).into_iter().flatten() {
                    let row = rows.get(*engine as usize).copied().unwrap_or(u32::MAX);
                    if let Some(value) = at_most.get_mut(row as usize) {
                        *value *= by(*state) / usual;
                    }
                }
            }
            usual.push((plain - usual_below).max(0.0));
            usual_below = plain;
            for ((row, here), below) in chances.chunks_exact_mut(words.len()).zip(&at_most).zip(&mut below) {
                if let Some(chance) = row.get_mut(place) {
                    *chance = (here - *below).max(0.0);
                }
                *below = *here;
            }
        }
        usual.push((1.0 - usual_below).max(0.0));
        for (row, below) in chances.chunks_exact_mut(words.len()).zip(&below) {
            if let Some(last) = row.last_mut() {
                *last = (1.0 - below).max(0.0);
            }
        }
        Self { words, usual, engines, chances, telling: (0.0, 0.0) }
    }

    /// The listed engines with their chances.
    fn rows(&self) -> impl Iterator<Item = (u32, &[f64])> {
        self.engines.iter().copied().zip(self.chances.chunks_exact(self.words.len().max(1)))
    }

    /// The chance of the first outcome.
    pub(super) fn first(&self) -> Mostly {
        let first = |row: &[f64]| row.first().copied().unwrap_or(1.0);
        Mostly { usual: first(&self.usual), others: self.rows().map(|(d, row)| (d, first(row))).collect() }
    }

    /// The chance of an outcome that is one of these.
    pub(super) fn any(&self, of: &[bool]) -> Mostly {
        let any = |row: &[f64]| row.iter().zip(of).filter(|(_, of)| **of).map(|(p, _)| p).sum();
        Mostly { usual: any(&self.usual), others: self.rows().map(|(d, row)| (d, any(row))).collect() }
    }

    /// Both of two things: every pair of their outcomes, the last one's running fastest.
    fn and(&self, other: &Self) -> Self {
        let pairs =
            |a: &[f64], b: &[f64]| -> Vec<f64> { a.iter().flat_map(|x| b.iter().map(move |y| x * y)).collect() };
        let words = self.words.iter().flat_map(|a| other.words.iter().map(move |b| format!("{a} and {b}"))).collect();
        let mut engines = Vec::with_capacity(self.engines.len().max(other.engines.len()));
        let mut chances = Vec::new();
        let (mut left, mut right) = (self.rows().peekable(), other.rows().peekable());
        loop {
            let next = match (left.peek(), right.peek()) {
                (Some((a, _)), Some((b, _))) => *a.min(b),
                (Some((a, _)), None) => *a,
                (None, Some((b, _))) => *b,
                (None, None) => break,
            };
            let a = left.next_if(|(d, _)| *d == next).map_or(self.usual.as_slice(), |(_, row)| row);
            let b = right.next_if(|(d, _)| *d == next).map_or(other.usual.as_slice(), |(_, row)| row);
            engines.push(next);
            chances.extend(a.iter().flat_map(|x| b.iter().map(move |y| x * y)));
        }
        Self { words, usual: pairs(&self.usual, &other.usual), engines, chances, telling: (0.0, 0.0) }
    }

    /// All of some things: every joint outcome, the last one's running fastest; nothing where there are none.
    pub(super) fn all(asks: Vec<Self>) -> Option<Self> {
        asks.into_iter().reduce(|all, one| all.and(&one))
    }

    /// How many of some things come out otherwise than they should, up to a number and for that many and more.
    ///
    /// `well`: per thing, the chance that it comes out as it should.
    pub(super) fn counted<const CELLS: usize>(well: &[&Mostly], words: Vec<String>) -> Self {
        let most = CELLS - 1;
        let further = |cells: &mut [f64; CELLS], good: f64| {
            // From the largest count down, so that the one below is still the one before this thing.
            for k in (0..CELLS).rev() {
                let fewer = k.checked_sub(1).and_then(|j| cells.get(j)).copied().unwrap_or(0.0);
                let stays = if k == most { 1.0 } else { good };
                if let Some(cell) = cells.get_mut(k) {
                    *cell = *cell * stays + fewer * (1.0 - good);
                }
            }
        };
        let mut none = [0.0; CELLS];
        if let Some(first) = none.first_mut() {
            *first = 1.0;
        }
        // So many things that come out as they usually do, where they all do alike.
        let usual = well.first().map_or(1.0, |m| m.usual);
        let alike = well.iter().all(|m| m.usual.to_bits() == usual.to_bits());
        let mut so_many = vec![none];
        for one in well {
            let mut next = so_many.last().copied().unwrap_or(none);
            further(&mut next, one.usual);
            so_many.push(next);
        }
        let mut apart: Vec<(u32, usize, f64)> = Vec::new();
        for (thing, mostly) in well.iter().enumerate() {
            apart.extend(mostly.others.iter().map(|(engine, good)| (*engine, thing, *good)));
        }
        apart.sort_by_key(|(engine, thing, _)| (*engine, *thing));
        let mut engines = Vec::new();
        let mut chances = Vec::new();
        for group in apart.chunk_by(|a, b| a.0 == b.0) {
            let Some((engine, ..)) = group.first() else { continue };
            let mut cells = none;
            if alike {
                cells = so_many.get(well.len() - group.len()).copied().unwrap_or(none);
                group.iter().for_each(|(_, _, good)| further(&mut cells, *good));
            } else {
                let mut group = group.iter().peekable();
                for (thing, mostly) in well.iter().enumerate() {
                    let own = group.next_if(|(_, of, _)| *of == thing);
                    further(&mut cells, own.map_or(mostly.usual, |(_, _, good)| *good));
                }
            }
            engines.push(*engine);
            chances.extend(cells);
        }
        let usual = so_many.last().copied().unwrap_or(none).to_vec();
        Self { words, usual, engines, chances, telling: (0.0, 0.0) }
    }

    /// The chances of every outcome summed by kind of engine, for the worth of knowing it. `weight`: that of an engine.
    pub(super) fn by_kind(&self, sample: &Sample, weight: impl Fn(u32) -> f64) -> ByKind {
        let cells = self.words.len();
        let mut out = ByKind { kinds: Vec::new(), sums: Vec::new() };
        for (engine, row) in self.rows() {
            let kind = sample.kind.get(engine as usize).copied().unwrap_or(0);
            let w = weight(engine);
            match out.kinds.last_mut() {
                Some((last, sum)) if *last == kind => *sum += w,
                _ => {
                    out.kinds.push((kind, w));
                    out.sums.resize(out.sums.len() + cells, 0.0);
                }
            }
            let from = out.sums.len().saturating_sub(cells);
            for (sum, p) in out.sums.get_mut(from..).unwrap_or_default().iter_mut().zip(row) {
                *sum += w * p;
            }
        }
        out
    }

    /// The squares of what an outcome weighs in the listed engines, times those of what is saved in them; and the same for
    /// the engines themselves, whatever comes out. `saving`: by kind of engine.
    pub(super) fn squares(
        &self,
        outcome: usize,
        sample: &Sample,
        weights: &Weights,
        saving: impl Fn(usize) -> f64,
    ) -> (f64, f64) {
        let mut out = (0.0, 0.0);
        for (engine, row) in self.rows() {
            let saving = saving(sample.kind.get(engine as usize).copied().unwrap_or(0));
            let saved = weights.of(engine) * saving;
            let here = saved * row.get(outcome).copied().unwrap_or(0.0);
            out = (out.0 + here * here, out.1 + saved * saved);
        }
        out
    }
}

/// What the listed engines of a thing that would be seen come to by kind.
pub(super) struct ByKind {
    /// The kinds that occur, ascending, with the weight of the listed engines of each.
    pub(super) kinds: Vec<(usize, f64)>,
    /// Kind after kind and cell after cell: the weighted chances.
    pub(super) sums: Vec<f64>,
}

/// Numbers summed, and their squares.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Weight {
    pub(super) sum: f64,
    pub(super) squares: f64,
}

impl Weight {
    pub(super) fn of(w: f64) -> Self {
        Self { sum: w, squares: w * w }
    }

    /// The same with every number multiplied.
    pub(super) fn times(self, factor: f64) -> Self {
        Self { sum: self.sum * factor, squares: self.squares * factor * factor }
    }
}

impl std::ops::Add for Weight {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self { sum: self.sum + other.sum, squares: self.squares + other.squares }
    }
}

/// How much each drawn engine counts.
pub(super) struct Weights {
    /// Engine by engine; nothing where all count alike.
    each: Option<Vec<f64>>,
    /// By kind.
    pub(super) kinds: Vec<Weight>,
}

impl Weights {
    /// All alike.
    pub(super) fn even(sample: &Sample) -> Self {
        Self { each: None, kinds: sample.counts.iter().map(|n| Weight { sum: *n, squares: *n }).collect() }
    }

    /// By the chance of one outcome of something that would be seen.
    pub(super) fn given(ask: &Ask, outcome: usize, sample: &Sample) -> Self {
        let usual = ask.usual.get(outcome).copied().unwrap_or(0.0);
        let mut each = vec![usual; sample.draws.count];
        for (engine, row) in ask.rows() {
            if let (Some(place), Some(p)) = (each.get_mut(engine as usize), row.get(outcome)) {
                *place = *p;
            }
        }
        let mut kinds = vec![Weight::default(); sample.counts.len()];
        for (kind, w) in sample.kind.iter().zip(&each) {
            if let Some(sum) = kinds.get_mut(*kind) {
                *sum = *sum + Weight::of(*w);
            }
        }
        Self { each: Some(each), kinds }
    }

    /// What one engine counts.
    fn of(&self, engine: u32) -> f64 {
        self.each.as_ref().map_or(1.0, |each| each.get(engine as usize).copied().unwrap_or(0.0))
    }

    /// The chances of every outcome of a thing summed by kind.
    pub(super) fn by_kind(&self, ask: &Ask, sample: &Sample) -> ByKind {
        match &self.each {
            None => ask.by_kind(sample, |_| 1.0),
            Some(each) => ask.by_kind(sample, |engine| each.get(engine as usize).copied().unwrap_or(0.0)),
        }
    }
}

/// The engines, ascending, in which something that the cuts look at is in a state that they can tell from the first.
fn told_apart(cuts: &[Cut], sample: &Sample) -> Vec<u32> {
    let mut seen = vec![false; sample.draws.count];
    for (variable, factor) in cuts.iter().flat_map(|c| &c.factors) {
        let first = factor.first().copied().unwrap_or(1.0);
        #[expect(clippy::float_cmp, reason = "equal chances, not nearly equal ones, say nothing")]
        let tells = |state: u8| factor.get(usize::from(state)).copied().unwrap_or(1.0) != first;
        for (engine, state) in sample.odd.get(*variable).into_iter().flatten() {
            if tells(*state)
                && let Some(seen) = seen.get_mut(*engine as usize)
            {
                *seen = true;
            }
        }
    }
    (0..).zip(seen).filter(|(_, seen)| *seen).map(|(engine, _)| engine).collect()
}

#[cfg(test)]
mod tests {
    use super::super::priced::Stakes;
    use super::super::worth::Worth;
    use super::{Ask, Draws, Mostly, Sample, Weights};

    fn ask(words: &[&str], usual: &[f64], others: &[(u32, &[f64])]) -> Ask {
        Ask {
            words: words.iter().map(|w| (*w).to_owned()).collect(),
            usual: usual.to_vec(),
            engines: others.iter().map(|(d, _)| *d).collect(),
            chances: others.iter().flat_map(|(_, row)| row.to_vec()).collect(),
            telling: (0.0, 0.0),
        }
    }

    fn row(ask: &Ask, engine: u32) -> Vec<f64> {
        let found = ask.rows().find(|(d, _)| *d == engine);
        found.map_or_else(|| ask.usual.clone(), |(_, row)| row.to_vec())
    }

    #[test]
    fn two_readings_are_joined_in_every_engine_whoever_lists_it() {
        let a = ask(&["good", "bad"], &[0.9, 0.1], &[(2, &[0.5, 0.5]), (5, &[0.0, 1.0])]);
        let b = ask(&["dry", "wet"], &[0.8, 0.2], &[(1, &[0.3, 0.7]), (5, &[0.6, 0.4])]);
        let both = a.and(&b);
        assert_eq!(both.words, ["good and dry", "good and wet", "bad and dry", "bad and wet"]);
        assert_eq!(both.engines, [1, 2, 5]);
        let expected: [(u32, [f64; 4]); 4] = [
            (0, [0.72, 0.18, 0.08, 0.02]),
            (1, [0.27, 0.63, 0.03, 0.07]),
            (2, [0.40, 0.10, 0.40, 0.10]),
            (5, [0.0, 0.0, 0.6, 0.4]),
        ];
        for (engine, expected) in expected {
            let here = row(&both, engine);
            assert!(here.iter().zip(expected).all(|(a, b)| (a - b).abs() < 1e-12), "engine {engine}: {here:?}");
        }
    }

    /// How many of some things come out badly, by going through every way in which they can.
    fn enumerated(well: &[f64], most: usize) -> Vec<f64> {
        let mut out = vec![0.0; most + 1];
        for way in 0..1_u32 << well.len() {
            let bad = |i: usize| way >> i & 1 == 1;
            let p: f64 = well.iter().enumerate().map(|(i, good)| if bad(i) { 1.0 - good } else { *good }).product();
            if let Some(cell) = out.get_mut((way.count_ones() as usize).min(most)) {
                *cell += p;
            }
        }
        out
    }

    #[test]
    fn a_round_counts_as_going_through_every_way_does() {
        let mostly = |usual: f64, others: &[(u32, f64)]| Mostly { usual, others: others.to_vec() };
        let alike =
            [mostly(0.9, &[(1, 0.2), (3, 0.0)]), mostly(0.9, &[(3, 0.4)]), mostly(0.9, &[]), mostly(0.9, &[(0, 1.0)])];
        let unlike = [mostly(0.9, &[(1, 0.2)]), mostly(0.7, &[(1, 0.1), (3, 0.4)]), mostly(0.95, &[(0, 0.3)])];
        for things in [&alike[..], &unlike[..]] {
            let counted = Ask::counted::<4>(&things.iter().collect::<Vec<_>>(), vec![String::new(); 4]);
            for engine in 0..5 {
                let own = |m: &Mostly| m.others.iter().find(|(d, _)| *d == engine).map_or(m.usual, |(_, good)| *good);
                let expected = enumerated(&things.iter().map(own).collect::<Vec<_>>(), 3);
                let here = row(&counted, engine);
                assert!(here.iter().zip(&expected).all(|(a, b)| (a - b).abs() < 1e-12), "{here:?} not {expected:?}");
            }
        }
    }

    /// Engines of four kinds, a thousand of each.
    fn four_kinds() -> Sample {
        let kind: Vec<usize> = (0..4000).map(|engine| engine / 1000).collect();
        Sample {
            draws: Draws { count: 4000, variables: 0, states: Vec::new() },
            odd: Vec::new(),
            kind,
            of_kind: vec![0, 1000, 2000, 3000],
            counts: vec![1000.0; 4],
            classes: vec![Vec::new(); 4000],
        }
    }

    /// A thing that comes out badly with this chance in each kind.
    fn by_kind(bad: [f64; 4]) -> Ask {
        let others: Vec<(u32, Vec<f64>)> = (0..4000_u32)
            .map(|engine| (engine, bad.get(engine as usize / 1000).copied().unwrap_or(0.0)))
            .map(|(engine, bad)| (engine, vec![1.0 - bad, bad]))
            .collect();
        let borrowed: Vec<(u32, &[f64])> = others.iter().map(|(e, row)| (*e, row.as_slice())).collect();
        ask(&["good", "bad"], &[1.0, 0.0], &borrowed)
    }

    #[test]
    fn two_checks_one_after_the_other_are_worth_what_both_at_once_are() {
        let sample = four_kinds();
        let even = Weights::even(&sample);
        // Neither alone turns the choice: each leads from 0.5 to at most 0.9 against a gap that both together close.
        let (a, b) = (by_kind([0.1, 0.9, 0.1, 0.9]), by_kind([0.2, 0.2, 0.8, 0.8]));
        let savings = vec![-6.0, -8.0, -6.0, -5.0, -6.0, -4.0, 9.0, 4.0];
        let stakes = Stakes::of(0, vec![1, 2], savings, &even);
        let first = Worth::under(&a, &sample, &even, &stakes);
        let both = Worth::under(&a.and(&b), &sample, &even, &stakes);
        let after: f64 = first
            .cells
            .iter()
            .enumerate()
            .map(|(outcome, (_, choice))| {
                let weights = Weights::given(&a, outcome, &sample);
                let (here, _) = stakes.under(&weights, *choice, 8);
                Worth::under(&b, &sample, &weights, &here).saving
            })
            .sum();
        assert!(both.saving > 0.5, "{}", both.saving);
        assert!((first.saving + after - both.saving).abs() < 1e-9, "{} + {after} not {}", first.saving, both.saving);
        // By hand: a thousand engines of each kind, both bad in 0.72, 0.18, 0.02 and 0.08 of kinds 4, 2, 1 and 3 or so.
        let joint = |kind: usize| [0.1, 0.9, 0.1, 0.9][kind] * [0.2, 0.2, 0.8, 0.8][kind];
        let gain = |savings: [f64; 4]| (0..4).map(|k| joint(k) * savings[k]).sum::<f64>() / 4.0;
        let by_hand = gain([-6.0, -6.0, -6.0, 9.0]).max(gain([-8.0, -5.0, -4.0, 4.0])).max(0.0);
        assert!((both.saving - by_hand).abs() < 1e-9, "{} not {by_hand}", both.saving);
    }

    #[test]
    fn where_another_choice_leads_the_one_that_led_is_held_against_it() {
        let sample = four_kinds();
        let even = Weights::even(&sample);
        let stakes = Stakes::of(7, vec![1, 2], vec![-6.0, -8.0, -6.0, -5.0, -6.0, -4.0, 9.0, 4.0], &even);
        let bad = by_kind([0.0, 0.0, 0.0, 1.0]);
        let weights = Weights::given(&bad, 1, &sample);
        let (here, all_known) = stakes.under(&weights, 1, 8);
        // Only kind 4 counts, and there the new leader saves most: nothing can be gained over it.
        assert!(here.contenders.is_empty() && all_known.abs() < 1e-12, "{:?} {all_known}", here.contenders);
        let (here, all_known) = stakes.under(&even, 1, 8);
        // Over the new leader the old one saves 6 in three kinds of four, the other one 1 in kind 2 and 2 in kind 3.
        assert_eq!(here.contenders, [7, 2]);
        assert!((all_known - 18_000.0).abs() < 1e-9, "{all_known}");
        assert!((here.sums[0].sum - 9000.0).abs() < 1e-9, "{:?}", here.sums);
    }
}
