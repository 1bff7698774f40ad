//! What knowing the outcome of something is worth.

use super::priced::{Priced, Stakes};
use super::sample::{Ask, ByKind, Sample, Weights};
use super::{LEAST, Outcome, SURE, count};

/// What knowing the outcome of something is worth.
pub(super) struct Worth {
    /// What is saved on average.
    pub(super) saving: f64,
    /// What would be saved if the best choice and another one cost the same now: how far it can tell them apart.
    pub(super) level: f64,
    /// Chance that the outcome changes the choice.
    pub(super) p_changes: f64,
    /// Per outcome: its chance, and the choice that would then be best.
    pub(super) cells: Vec<(f64, usize)>,
}

impl Worth {
    pub(super) fn of(ask: &Ask, sample: &Sample, priced: &Priced<'_>) -> Self {
        Self::under(ask, sample, &Weights::even(sample), &priced.stakes)
    }

    /// The same where engines count differently; worth and chances are times the mean weight.
    pub(super) fn under(ask: &Ask, sample: &Sample, weights: &Weights, stakes: &Stakes) -> Self {
        let ByKind { kinds, sums } = weights.by_kind(ask, sample);
        let (total, width) = (ask.words.len(), stakes.contenders.len());
        let n = count(sample.draws.count);
        // What the engines that are not listed save: of all engines less the listed ones.
        let every = ask.engines.len() == sample.draws.count;
        let all = stakes.sums.iter().map(|w| w.sum);
        let mut rest: Vec<f64> = if every { vec![0.0; width] } else { all.collect() };
        let whole: f64 = weights.kinds.iter().map(|w| w.sum).sum();
        let unlisted = whole - kinds.iter().map(|(_, w)| w).sum::<f64>();
        let mut chance: Vec<f64> = ask.usual.iter().map(|p| p * unlisted).collect();
        let mut listed = vec![0.0; total * width];
        for ((kind, here), cells) in kinds.iter().zip(sums.chunks_exact(total.max(1))) {
            let savings = stakes.savings(*kind);
            if !every {
                rest.iter_mut().zip(savings).for_each(|(rest, saving)| *rest -= here * saving);
            }
            for ((chance, w), sums) in chance.iter_mut().zip(cells).zip(listed.chunks_exact_mut(width.max(1))) {
                *chance += w;
                sums.iter_mut().zip(savings).for_each(|(sum, saving)| *sum += w * saving);
            }
            // Without contenders there is nothing to save, but the chances count.
            if width == 0 {
                chance.iter_mut().zip(cells).for_each(|(chance, w)| *chance += w);
            }
        }
        // Asked seldom: only of what would be the best so far.
        let error = |cell: usize, place: usize, mean: f64| {
            let usual = ask.usual.get(cell).copied().unwrap_or(0.0);
            let saving = |kind: usize| stakes.savings(kind).get(place).copied().unwrap_or(0.0);
            let (here, listed) = ask.squares(cell, sample, weights, saving);
            let all = stakes.sums.get(place).map_or(0.0, |w| w.squares);
            let others = if every { 0.0 } else { (all - listed).max(0.0) * usual * usual };
            (((others + here) / n - mean * mean).max(0.0) / n).sqrt()
        };
        let mut out = Self { saving: 0.0, level: 0.0, p_changes: 0.0, cells: Vec::with_capacity(total) };
        let mut level = vec![0.0; width];
        for (cell, (p, usual)) in chance.iter().zip(&ask.usual).enumerate() {
            let p = p / n;
            let mut best = (stakes.leads, LEAST);
            let here = listed.get(cell * width..(cell + 1) * width).unwrap_or_default();
            for (place, ((sum, rest), option)) in here.iter().zip(&rest).zip(&stakes.contenders).enumerate() {
                let mean = (sum + usual * rest) / n;
                let gap = stakes.sums.get(place).map_or(0.0, |w| w.sum) / n;
                if let Some(level) = level.get_mut(place) {
                    *level += (mean - p * gap).max(0.0);
                }
                if mean > best.1 && mean > SURE * error(cell, place, mean) {
                    best = (*option, mean);
                }
            }
            if best.1 > LEAST {
                out.saving += best.1;
                out.p_changes += p;
            }
            out.cells.push((p, best.0));
        }
        out.level = level.into_iter().fold(0.0, f64::max);
        out
    }

    /// Per outcome: whether it changes the choice, or whether it does not.
    pub(super) fn changing(&self, now: usize, wanted: bool) -> Vec<bool> {
        self.cells.iter().map(|(_, choice)| (*choice != now) == wanted).collect()
    }

    /// The same with every outcome in words.
    pub(super) fn told(self, ask: &Ask, priced: &Priced<'_>) -> (f64, f64, Vec<Outcome>) {
        let outcome = |((p, choice), words): ((f64, usize), &String)| Outcome {
            words: words.clone(),
            p,
            then: priced.options.get(choice).map_or_else(String::new, |o| o.option.id.clone()),
            opens: priced.opens(choice),
            others: priced.others(choice),
        };
        (self.saving, self.p_changes, self.cells.into_iter().zip(&ask.words).map(outcome).collect())
    }
}
