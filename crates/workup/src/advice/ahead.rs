//! Two steps ahead: what a check is worth where another one may follow, depending on what comes out.
//!
//! Two checks of which neither changes the choice alone can do so together. So for the checks that tell the choices apart
//! best, each outcome is taken as known, the drawn engines are weighed by its chance, and the check that pays best from
//! there on is looked for among the others.

use rayon::prelude::*;

use super::priced::{Priced, Stakes};
use super::sample::{Ask, Sample, Weights};
use super::worth::Worth;
use super::{LEAST, count};

/// Checks that are tried as the first of two \[ours\].
const FIRST: usize = 16;
/// Checks that are tried as the second of two \[ours\].
const SECOND: usize = 32;
/// Choices that are held against the one that leads after an outcome \[ours\].
const CHOICES: usize = 8;
/// What follows an outcome less likely than this is not looked at \[ours\].
const UNLIKELY: f64 = 0.01;

/// A check that may be done, ready to be asked of every drawn engine.
pub(super) struct Step<'s, 'k> {
    /// Its place in the list that it was made from.
    pub(super) place: usize,
    /// Which check, for those that are alike.
    pub(super) check: &'s str,
    /// What it asks.
    pub(super) ask: &'s Ask,
    /// The choices priced with the engine opened for it.
    pub(super) then: &'s Priced<'k>,
    /// The stages that must be reached for it.
    pub(super) missing: Vec<&'s str>,
    /// What it takes without opening, in labour units.
    pub(super) doing: f64,
    /// What it is worth by itself, and with all costs taken off.
    pub(super) saving: f64,
    pub(super) net: f64,
    /// What it would be worth if the choices cost the same now.
    pub(super) level: f64,
    /// Whether what it tells is seen better later, so that it is worth no more than its net.
    pub(super) waits: bool,
}

/// What a check is worth with the one that may follow it.
pub(super) struct Ahead {
    /// The place of the first check.
    pub(super) place: usize,
    /// Worth of both, all costs taken off.
    pub(super) net: f64,
    /// Per outcome of the first: the place of the second, where one pays then.
    pub(super) follows: Vec<Option<usize>>,
}

/// Looks two steps ahead. `access`: labour units of reaching some stages. `capped`: what a second step saves where a choice
/// leads, as far as it is not seen better later.
pub(super) fn ahead(
    steps: &[Step<'_, '_>],
    sample: &Sample,
    access: impl Fn(&[&str]) -> f64 + Sync,
    capped: impl Fn(&Step<'_, '_>, usize, &Worth) -> f64 + Sync,
) -> Vec<Ahead> {
    // The first one pays for opening the engine, the second one may find it open.
    let first = leading(steps, |s| s.level - s.saving + s.net);
    let first: Vec<&Step<'_, '_>> = distinct(&first, 1).into_iter().filter(|s| !s.waits).take(FIRST).collect();
    let second = leading(steps, |s| s.level - s.doing);
    let second: Vec<&Step<'_, '_>> = distinct(&second, 2).into_iter().take(SECOND).collect();
    let of = |step: &&Step<'_, '_>| after(step, &second, sample, &access, &capped);
    first.par_iter().filter_map(of).collect()
}

/// The steps that could pay, those that could pay most first.
fn leading<'a, 's, 'k>(steps: &'a [Step<'s, 'k>], could: impl Fn(&Step<'_, '_>) -> f64) -> Vec<&'a Step<'s, 'k>> {
    let mut able: Vec<&Step<'_, '_>> = steps.iter().filter(|s| could(s) > LEAST).collect();
    able.sort_by(|a, b| could(b).total_cmp(&could(a)).then(a.place.cmp(&b.place)));
    able
}

/// So many at most of the steps that are alike.
fn distinct<'a, 's, 'k>(steps: &[&'a Step<'s, 'k>], each: usize) -> Vec<&'a Step<'s, 'k>> {
    let mut out: Vec<&Step<'_, '_>> = Vec::new();
    for step in steps {
        let alike = out.iter().filter(|o| o.check == step.check && (o.level - step.level).abs() < LEAST);
        if alike.count() < each {
            out.push(step);
        }
    }
    out
}

fn after(
    step: &Step<'_, '_>,
    second: &[&Step<'_, '_>],
    sample: &Sample,
    access: &impl Fn(&[&str]) -> f64,
    capped: &impl Fn(&Step<'_, '_>, usize, &Worth) -> f64,
) -> Option<Ahead> {
    let n = count(sample.draws.count);
    let worth = Worth::of(step.ask, sample, step.then);
    let mut out = Ahead { place: step.place, net: step.net, follows: Vec::with_capacity(worth.cells.len()) };
    for (outcome, (p, choice)) in worth.cells.iter().enumerate() {
        let best = if *p < UNLIKELY {
            None
        } else {
            let weights = Weights::given(step.ask, outcome, sample);
            let here = Here { step, sample, weights: &weights, p: *p, choice: *choice, n };
            here.follows(second, access, capped)
        };
        out.follows.push(best.map(|(place, _)| place));
        out.net += best.map_or(0.0, |(_, net)| net);
    }
    out.follows.iter().any(Option::is_some).then_some(out)
}

/// What is known after an outcome of a first check.
struct Here<'h, 's, 'k> {
    step: &'h Step<'s, 'k>,
    sample: &'h Sample,
    weights: &'h Weights,
    p: f64,
    /// The choice that leads now.
    choice: usize,
    n: f64,
}

impl Here<'_, '_, '_> {
    /// The second check that pays best from here on, with what it is worth.
    fn follows(
        &self,
        second: &[&Step<'_, '_>],
        access: &impl Fn(&[&str]) -> f64,
        capped: &impl Fn(&Step<'_, '_>, usize, &Worth) -> f64,
    ) -> Option<(usize, f64)> {
        let Self { step, sample, weights, p, choice, n } = *self;
        let stop = step.then.cost_under(weights, choice) / n;
        let (here, all_known) = step.then.stakes.under(weights, choice, CHOICES);
        // The choices with the engine opened further, by the stages that this takes.
        let mut opened: Vec<Opened<'_>> = Vec::new();
        let mut best = None;
        for next in second.iter().filter(|next| next.place != step.place) {
            let further: Vec<&str> = next.missing.iter().filter(|s| !step.missing.contains(s)).copied().collect();
            let doing = p * (access(&further) + next.doing);
            if further.is_empty() && all_known / n <= doing {
                continue;
            }
            let (stakes, dearer) = if further.is_empty() {
                (&here, 0.0)
            } else if step.missing.iter().all(|s| next.missing.contains(s)) {
                let known = opened.iter().position(|o| *o.stages == *next.missing);
                let place = known.unwrap_or_else(|| {
                    opened.push(Opened::of(next, weights, stop, n));
                    opened.len() - 1
                });
                let Some(Opened { stakes, dearer, all_known, .. }) = opened.get(place) else { continue };
                if *all_known <= (dearer + p * access(&further)).max(0.0) + p * next.doing {
                    continue;
                }
                (stakes, *dearer)
            } else {
                continue;
            };
            let worth = Worth::under(next.ask, sample, weights, stakes);
            let saving = capped(next, stakes.leads, &worth);
            let net = saving - (dearer + p * access(&further)).max(0.0) - p * next.doing;
            if net > best.map_or(LEAST, |(_, net)| net) {
                best = Some((next.place, net));
            }
        }
        best
    }
}

/// The choices with the engine opened further.
struct Opened<'h> {
    /// The stages that this takes.
    stages: &'h [&'h str],
    stakes: Stakes,
    /// What the best choice costs more.
    dearer: f64,
    /// What knowing everything would save.
    all_known: f64,
}

impl<'h> Opened<'h> {
    fn of(next: &'h Step<'_, '_>, weights: &Weights, stop: f64, n: f64) -> Self {
        let leads = next.then.leading(weights);
        let (stakes, all_known) = next.then.stakes.under(weights, leads, CHOICES);
        let dearer = next.then.cost_under(weights, leads) / n - stop;
        Self { stages: &next.missing, stakes, dearer, all_known: all_known / n }
    }
}
