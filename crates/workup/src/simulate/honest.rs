//! What was stated, held against what was so.

use inference::luck::Luck;
use serde::Serialize;

use super::count;
use super::play::Bill;

/// Into so many groups of equal size statements are put \[published: Guo, Pleiss, Sun, Weinberger 2017, section 2, use fifteen\].
const BINS: usize = 15;
/// How often the engines are drawn again from themselves for an interval \[ours\].
const AGAIN: u64 = 400;
/// Statements from here on are confident ones \[ours\].
const CONFIDENT: f64 = 0.8;
/// Statements closer to 0 or 1 than this count as this, where logarithms are taken \[ours\].
const NEAR: f64 = 1e-6;

/// One statement about one place of one engine.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Event {
    /// Which kind of statement.
    pub(super) kind: usize,
    pub(super) stated: f64,
    /// What somebody who knows the true network would have stated.
    pub(super) oracle: f64,
    pub(super) seen: bool,
}

/// What came of one engine.
#[derive(Debug)]
pub(super) struct Played {
    /// What every way of testing came to.
    pub(super) ways: Vec<Bill>,
    /// What the advice expected of its choice when it said stop, and what that really costs.
    pub(super) predicted: f64,
    pub(super) realised: f64,
    /// What was stated then.
    pub(super) events: Vec<Event>,
}

/// A figure with the interval that holds it 95 times in 100.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Range {
    /// The figure.
    pub mean: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Range {
    /// Of the mean of independent figures, by the normal law.
    pub(super) fn of_mean(all: &[f64]) -> Self {
        let n = count(all.len()).max(1.0);
        let mean = all.iter().sum::<f64>() / n;
        let spread = (all.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / (n - 1.0).max(1.0)).sqrt();
        let half = 1.96 * spread / n.sqrt();
        Self { mean, low: mean - half, high: mean + half }
    }

    /// Of a figure that was worked from engines, drawn again from themselves.
    fn again(mean: f64, mut drawn: Vec<f64>) -> Self {
        drawn.sort_by(f64::total_cmp);
        let at = |tenth: usize| drawn.get(drawn.len() * tenth / 1000).copied().unwrap_or(mean);
        Self { mean, low: at(25), high: at(975) }
    }
}

/// Statements of about the same chance, and how often they were so.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Bin {
    /// How many.
    pub statements: usize,
    /// Their mean.
    pub stated: f64,
    /// The share that was so.
    pub seen: Range,
}

/// Statements about one kind of thing.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OfKind {
    /// Place among the causes and conditions of the knowledge.
    #[serde(skip)]
    place: usize,
    /// What they are about.
    pub name: String,
    /// How many statements.
    pub statements: usize,
    /// Mean chance stated.
    pub stated: f64,
    /// Share that was so.
    pub seen: f64,
    /// What somebody who knows the true network states on average.
    pub oracle: f64,
}

/// Confident statements.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Confident {
    /// How many.
    pub statements: usize,
    /// Their mean.
    pub stated: f64,
    /// The share that was so.
    pub seen: Range,
}

/// Whether what was stated came true as often as it was stated.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Honesty {
    /// How many statements.
    pub statements: usize,
    /// Mean squared difference of statement and truth: of the shop, and of somebody who knows the true network (Brier 1950).
    pub brier: [f64; 2],
    /// Mean loss by the logarithm: of the shop, and of somebody who knows the true network.
    pub log_loss: [f64; 2],
    /// Expected calibration error over fifteen groups of equal size, of the shop.
    pub calibration_error: Range,
    /// The same of somebody who knows the true network.
    pub calibration_error_oracle: f64,
    /// Log-odds of what is seen against log-odds stated: 1 for honest, below 1 for too sure.
    pub slope: Range,
    /// What the chosen option really costs against what was expected of it: 1 for honest.
    pub cost_slope: Range,
    /// The groups.
    pub bins: Vec<Bin>,
    /// Confident statements.
    pub confident: Confident,
    /// By kind of thing, the worst first.
    pub kinds: Vec<OfKind>,
}

impl Honesty {
    /// `names`: of every kind of thing.
    pub(super) fn of(played: &[Played], seed: u64, names: &[String]) -> Self {
        let all: Vec<Event> = played.iter().flat_map(|p| p.events.iter().copied()).collect();
        let n = count(all.len()).max(1.0);
        let mean = |f: &dyn Fn(&Event) -> f64| all.iter().map(f).sum::<f64>() / n;
        let truth = |e: &Event| f64::from(u8::from(e.seen));
        let loss = |p: f64, seen: bool| -(if seen { p } else { 1.0 - p }).clamp(NEAR, 1.0).ln();
        let edges = edges(&all, |e| e.stated);
        let tallies: Vec<Vec<Tally>> = played.iter().map(|p| tally(&p.events, &edges)).collect();
        let every: Vec<usize> = (0..played.len()).collect();
        let whole = summed(&tallies, &every);
        let draws: Vec<Vec<usize>> =
            (0..AGAIN).map(|again| drawn_again(played.len(), Luck::of(seed).at("again").nth(again))).collect();
        let again: Vec<Vec<Tally>> = draws.iter().map(|d| summed(&tallies, d)).collect();
        let share = |bin: usize| {
            let of = |bins: &[Tally]| bins.get(bin).map_or(0.0, |t| t.seen / t.n.max(1.0));
            Range::again(of(&whole), again.iter().map(|a| of(a)).collect())
        };
        let bins = whole.iter().enumerate().filter(|(_, t)| t.n > 0.0).map(|(bin, t)| Bin {
            statements: whole_number(t.n),
            stated: t.stated / t.n,
            seen: share(bin),
        });
        let oracle_edges = self::edges(&all, |e| e.oracle);
        let as_oracle: Vec<Event> = all.iter().map(|e| Event { stated: e.oracle, ..*e }).collect();
        let slopes =
            draws.iter().step_by(8).map(|d| slope(d.iter().filter_map(|i| played.get(*i)).flat_map(|p| &p.events)));
        let costs = draws.iter().map(|d| cost_slope(d.iter().filter_map(|i| played.get(*i))));
        let sure = |d: &[usize]| {
            let events =
                d.iter().filter_map(|i| played.get(*i)).flat_map(|p| &p.events).filter(|e| e.stated > CONFIDENT);
            let sums = events.fold((0.0, 0.0, 0.0), |s, e| (s.0 + 1.0, s.1 + e.stated, s.2 + truth(e)));
            (sums.0, sums.1 / f64::max(sums.0, 1.0), sums.2 / f64::max(sums.0, 1.0))
        };
        let (n_sure, stated_sure, seen_sure) = sure(&every);
        Self {
            statements: all.len(),
            brier: [mean(&|e| (e.stated - truth(e)).powi(2)), mean(&|e| (e.oracle - truth(e)).powi(2))],
            log_loss: [mean(&|e| loss(e.stated, e.seen)), mean(&|e| loss(e.oracle, e.seen))],
            calibration_error: Range::again(error(&whole), again.iter().map(|a| error(a)).collect()),
            calibration_error_oracle: error(&tally(&as_oracle, &oracle_edges)),
            slope: Range::again(slope(all.iter()), slopes.collect()),
            cost_slope: Range::again(cost_slope(played.iter()), costs.collect()),
            bins: bins.collect(),
            confident: Confident {
                statements: whole_number(n_sure),
                stated: stated_sure,
                seen: Range::again(seen_sure, draws.iter().map(|d| sure(d).2).collect()),
            },
            kinds: kinds(&all, names),
        }
    }
}

/// Sums of the statements of one group.
#[derive(Debug, Clone, Copy, Default)]
struct Tally {
    n: f64,
    stated: f64,
    seen: f64,
}

/// The upper edges of all groups but the last, so that each has as many statements as any other.
fn edges(all: &[Event], of: impl Fn(&Event) -> f64) -> Vec<f64> {
    let mut sorted: Vec<f64> = all.iter().map(of).collect();
    sorted.sort_by(f64::total_cmp);
    (1..BINS).filter_map(|k| sorted.get(sorted.len() * k / BINS).copied()).collect()
}

fn tally(events: &[Event], edges: &[f64]) -> Vec<Tally> {
    let mut out = vec![Tally::default(); BINS];
    for event in events {
        let bin = edges.partition_point(|edge| *edge <= event.stated);
        if let Some(tally) = out.get_mut(bin) {
            tally.n += 1.0;
            tally.stated += event.stated;
            tally.seen += f64::from(u8::from(event.seen));
        }
    }
    out
}

fn summed(tallies: &[Vec<Tally>], engines: &[usize]) -> Vec<Tally> {
    let mut out = vec![Tally::default(); BINS];
    for one in engines.iter().filter_map(|i| tallies.get(*i)) {
        for (sum, tally) in out.iter_mut().zip(one) {
            sum.n += tally.n;
            sum.stated += tally.stated;
            sum.seen += tally.seen;
        }
    }
    out
}

/// The expected calibration error: the mean difference of stated and seen over the groups.
fn error(bins: &[Tally]) -> f64 {
    let n: f64 = bins.iter().map(|t| t.n).sum();
    bins.iter().map(|t| (t.stated - t.seen).abs()).sum::<f64>() / n.max(1.0)
}

/// The engines drawn again from themselves.
fn drawn_again(n: usize, luck: Luck) -> Vec<usize> {
    let whole = count(n);
    (0..u64::try_from(n).unwrap_or(0))
        .map(|i| whole_number(luck.nth(i).unit() * whole).min(n.saturating_sub(1)))
        .collect()
}

fn whole_number(x: f64) -> usize {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a count, never below nought")]
    let whole = x as usize;
    whole
}

/// Logistic regression of what was seen on the log-odds stated: the slope.
fn slope<'e>(events: impl Iterator<Item = &'e Event> + Clone) -> f64 {
    let (mut a, mut b) = (0.0_f64, 1.0_f64);
    for _ in 0..25 {
        let (mut g, mut h) = ([0.0; 2], [0.0; 3]);
        for event in events.clone() {
            let p = event.stated.clamp(NEAR, 1.0 - NEAR);
            let x = (p / (1.0 - p)).ln();
            let fitted = 1.0 / (1.0 + (-(a + b * x)).exp());
            let (left, weight) = (f64::from(u8::from(event.seen)) - fitted, fitted * (1.0 - fitted));
            g = [g[0] + left, g[1] + left * x];
            h = [h[0] + weight, h[1] + weight * x, h[2] + weight * x * x];
        }
        let det = h[0] * h[2] - h[1] * h[1];
        if det <= 0.0 {
            break;
        }
        let step = [(h[2] * g[0] - h[1] * g[1]) / det, (h[0] * g[1] - h[1] * g[0]) / det];
        a += step[0];
        b += step[1];
        if step[0].abs().max(step[1].abs()) < 1e-9 {
            break;
        }
    }
    b
}

/// Least squares of what the choice really costs on what was expected of it: the slope.
fn cost_slope<'p>(played: impl Iterator<Item = &'p Played> + Clone) -> f64 {
    let n = played.clone().fold(0.0, |n, _| n + 1.0);
    let x = played.clone().map(|p| p.predicted).sum::<f64>() / n;
    let y = played.clone().map(|p| p.realised).sum::<f64>() / n;
    let (xy, xx) = played
        .fold((0.0, 0.0), |(xy, xx), p| (xy + (p.predicted - x) * (p.realised - y), xx + (p.predicted - x).powi(2)));
    if xx > 0.0 { xy / xx } else { 1.0 }
}

fn kinds(all: &[Event], names: &[String]) -> Vec<OfKind> {
    let mut out: Vec<OfKind> = Vec::new();
    for event in all {
        let place = out.partition_point(|k| k.place < event.kind);
        if out.get(place).is_none_or(|k| k.place != event.kind) {
            let name = names.get(event.kind).cloned().unwrap_or_default();
            let none = OfKind { place: event.kind, name, statements: 0, stated: 0.0, seen: 0.0, oracle: 0.0 };
            out.insert(place, none);
        }
        if let Some(kind) = out.get_mut(place) {
            kind.statements += 1;
            kind.stated += event.stated;
            kind.oracle += event.oracle;
            kind.seen += f64::from(u8::from(event.seen));
        }
    }
    for kind in &mut out {
        let n = count(kind.statements).max(1.0);
        kind.stated /= n;
        kind.oracle /= n;
        kind.seen /= n;
    }
    let off = |k: &OfKind| (k.stated - k.seen).abs();
    out.sort_by(|a, b| off(b).total_cmp(&off(a)));
    out
}
