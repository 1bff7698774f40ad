//! Who is first, how surely, at what price another would be, and what single figure would turn it.

use rayon::prelude::*;

use super::means::{USUAL, means_on};
use super::{AgeBelief, Choice, CompareError, Law, Means, Spread, means};
use crate::normal;

/// Shares of a belief between which a single figure is tried \[ours: four times in five it lies there\].
const TRIED: [f64; 2] = [0.1, 0.9];
/// Halvings of the stretch in which first place turns: to a thousandth of the belief.
const HALVINGS: usize = 9;

/// Who is first by each of two rules, which are both shown where they differ.
#[derive(Debug, Clone, PartialEq)]
pub struct Ranking {
    /// Places of the ways, cheapest on average first.
    pub on_average: Vec<usize>,
    /// The way that is most often the cheapest.
    pub most_often: usize,
    /// How often the first on average costs less than the second.
    pub sure: f64,
    /// One for each way.
    pub places: Vec<Place>,
}

/// How far one way is from first place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// What it costs on average more than the cheapest other way; below nought for the first.
    pub behind: f64,
    /// What its prices may come to for it to tie for first place on average; nothing where no price above nought is low enough.
    pub break_even: Option<f64>,
    /// What its prices may come to for it to cost less in half of all draws than the first (for the first: than the second).
    pub break_even_half: Option<f64>,
}

impl Ranking {
    /// The way that is cheapest on average.
    #[must_use]
    pub fn first(&self) -> usize {
        self.on_average.first().copied().unwrap_or(0)
    }

    /// Whether another way is more often the cheapest than the one that is cheapest on average.
    #[must_use]
    pub fn differ(&self) -> bool {
        self.first() != self.most_often
    }
}

/// Gives the ranking from exact means and drawn spread of one choice.
#[must_use]
pub fn ranking(means: &Means, spread: &Spread) -> Ranking {
    let mut on_average: Vec<usize> = (0..means.ways.len()).collect();
    let cost = |way: &usize| means.ways.get(*way).map_or(f64::INFINITY, |way| way.cost);
    on_average.sort_by(|a, b| cost(a).total_cmp(&cost(b)));
    let first = on_average.first().copied().unwrap_or(0);
    let second = on_average.get(1).copied();
    let rival = |way: usize| if way == first { second } else { Some(first) };
    let place = |(way, of): (usize, &super::MeansOf)| {
        let behind = rival(way).map_or(0.0, |rival| of.cost - cost(&rival));
        let half = rival(way).map_or(0.0, |rival| spread.half_way(way, rival));
        let price = |fall: f64| Some(of.bought - fall).filter(|price| *price >= 0.0);
        Place { behind, break_even: price(behind), break_even_half: price(half) }
    };
    let often = |best: usize, way: usize| {
        let of = |way: usize| spread.ways.get(way).map_or(0.0, |way| way.cheapest);
        if of(way) > of(best) { way } else { best }
    };
    Ranking {
        most_often: (0..spread.ways.len()).fold(first, often),
        sure: second.map_or(1.0, |second| spread.cheaper(first, second)),
        places: means.ways.iter().enumerate().map(place).collect(),
        on_average,
    }
}

/// What kind of figure turns first place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Hinge {
    /// A price, or that of a day.
    Price,
    /// Travel in a year.
    Yearly,
    /// An age.
    Age,
    /// The life of a mode.
    Life,
}

/// A single figure at which another way becomes the cheapest on average.
#[derive(Debug, Clone, PartialEq)]
pub struct Turn {
    /// Its name.
    pub what: String,
    /// What kind it is.
    pub hinge: Hinge,
    /// Its middle now; the mean for a price.
    pub now: f64,
    /// Where first place turns.
    pub at: f64,
    /// How likely the figure lies there or beyond.
    pub chance: f64,
    /// The way that is first then.
    pub to: usize,
}

/// Gives the single figures that would turn first place on average, the most likely first.
///
/// Prices are tried without bound, for costs are straight lines in them; travel, ages and lives where they lie four times in
/// five. One figure is taken as known at a time, and all others stay in doubt as they are.
///
/// # Errors
/// As [`means`](means()).
pub fn turns(choice: &Choice) -> Result<Vec<Turn>, CompareError> {
    let now = means(choice)?;
    if now.ways.len() < 2 {
        return Ok(Vec::new());
    }
    let first = cheapest(&now);
    let mut out: Vec<Turn> = Vec::new();
    for (place, price) in choice.prices.iter().enumerate() {
        let times = |way: &super::Way| way.buys.iter().find(|(p, _)| *p == place).map_or(0.0, |(_, times)| *times);
        let slopes: Vec<f64> = choice.ways.iter().map(times).collect();
        out.extend(price_turns(&now, first, &price.name, price.amount, &slopes));
    }
    if let Some(day) = &choice.standing {
        // Costs are straight lines in the price of a day too; two points give the slope.
        let mut dearer = choice.clone();
        let step = day.amount.mean().abs().max(1.0);
        dearer.standing = Some(super::Price { amount: Law::Known(day.amount.mean() + step), ..day.clone() });
        let then = means_on(&dearer, &USUAL)?;
        let slopes: Vec<f64> = now.ways.iter().zip(&then.ways).map(|(a, b)| (b.cost - a.cost) / step).collect();
        out.extend(price_turns(&now, first, &day.name, day.amount, &slopes));
    }
    let yearly = std::iter::once(Figure::Yearly);
    let figures: Vec<Figure> = yearly
        .chain((0..choice.ages.len()).map(Figure::Age))
        .chain((0..choice.modes.len()).map(Figure::Life))
        .filter(|figure| figure.in_doubt(choice))
        .collect();
    let found: Result<Vec<Vec<Turn>>, CompareError> =
        figures.par_iter().map(|figure| figure_turns(choice, first, *figure)).collect();
    out.extend(found?.into_iter().flatten());
    out.sort_by(|a, b| b.chance.total_cmp(&a.chance));
    Ok(out)
}

fn cheapest(means: &Means) -> usize {
    let costs = means.ways.iter().map(|way| way.cost).enumerate();
    costs.min_by(|a, b| a.1.total_cmp(&b.1)).map_or(0, |(way, _)| way)
}

/// The nearest price below and the nearest above at which another way ties.
fn price_turns(now: &Means, first: usize, name: &str, amount: Law, slopes: &[f64]) -> Vec<Turn> {
    let mean = amount.mean();
    let of = |way: usize| now.ways.get(way).map_or(f64::INFINITY, |way| way.cost).min(f64::MAX);
    let slope = |way: usize| slopes.get(way).copied().unwrap_or(0.0);
    let crossings = (0..now.ways.len()).filter(|way| *way != first).filter_map(|way| {
        let steeper = slope(first) - slope(way);
        let by = (of(way) - of(first)) / steeper;
        by.is_finite().then_some((by, way))
    });
    let crossings: Vec<(f64, usize)> = crossings.collect();
    let up = crossings.iter().filter(|(by, _)| *by > 0.0).min_by(|a, b| a.0.total_cmp(&b.0));
    let down = crossings.iter().filter(|(by, _)| *by < 0.0 && mean + by >= 0.0).max_by(|a, b| a.0.total_cmp(&b.0));
    let turn = |(by, to): &(f64, usize)| {
        let below = amount.below(mean + by);
        let chance = if *by > 0.0 { 1.0 - below } else { below };
        Turn { what: name.to_owned(), hinge: Hinge::Price, now: mean, at: mean + by, chance, to: *to }
    };
    up.into_iter().chain(down).map(turn).collect()
}

/// A figure that is not a price.
#[derive(Debug, Clone, Copy)]
enum Figure {
    Yearly,
    Age(usize),
    Life(usize),
}

impl Figure {
    fn in_doubt(self, choice: &Choice) -> bool {
        match self {
            Self::Yearly => choice.yearly.spread_ln > 0.0,
            Self::Age(age) => choice.ages.get(age).is_some_and(|age| match &age.belief {
                AgeBelief::Doubtful(doubt) => doubt.spread_ln > 0.0 && doubt.middle > 0.0,
                AgeBelief::Nodes(nodes) => nodes.len() > 1,
            }),
            Self::Life(mode) => choice.modes.get(mode).is_some_and(|mode| mode.life.ln_life.spread > 0.0),
        }
    }

    fn named(self, choice: &Choice) -> (String, Hinge) {
        let age = |age: usize| choice.ages.get(age).map_or_else(String::new, |age| age.name.clone());
        let mode = |mode: usize| choice.modes.get(mode).map_or_else(String::new, |mode| mode.name.clone());
        match self {
            Self::Yearly => ("travel in a year".to_owned(), Hinge::Yearly),
            Self::Age(at) => (age(at), Hinge::Age),
            Self::Life(at) => (mode(at), Hinge::Life),
        }
    }

    /// The choice with the figure known at a share of its belief, and the figure there.
    fn known_at(self, choice: &Choice, share: f64) -> (Choice, f64) {
        let mut known = choice.clone();
        let z = normal::place(share);
        let value = match self {
            Self::Yearly => {
                known.yearly.middle = choice.yearly.at(z);
                known.yearly.spread_ln = 0.0;
                known.yearly.middle
            }
            Self::Age(age) => {
                let Some(age) = known.ages.get_mut(age) else { return (known, f64::NAN) };
                let value = age.belief.place(share);
                age.belief = AgeBelief::Nodes(vec![(value, 1.0)]);
                value
            }
            Self::Life(mode) => {
                let Some(mode) = known.modes.get_mut(mode) else { return (known, f64::NAN) };
                mode.life.ln_life.mean += z * mode.life.ln_life.spread;
                mode.life.ln_life.spread = 0.0;
                mode.life.ln_life.mean.exp()
            }
        };
        (known, value)
    }
}

impl AgeBelief {
    /// The age that a share of the belief lies below.
    fn place(&self, share: f64) -> f64 {
        match self {
            Self::Doubtful(age) => age.at(normal::place(share)),
            Self::Nodes(nodes) => {
                let mut nodes = nodes.clone();
                nodes.sort_by(|a, b| a.0.total_cmp(&b.0));
                let total: f64 = nodes.iter().map(|(_, chance)| chance).sum();
                let mut sum = 0.0;
                let reached = nodes.iter().find(|(_, chance)| {
                    sum += chance / total;
                    sum >= share
                });
                reached.or(nodes.last()).map_or(0.0, |(age, _)| *age)
            }
        }
    }
}

/// Where first place turns on the way from the middle of one figure to either end of what is tried.
fn figure_turns(choice: &Choice, first: usize, figure: Figure) -> Result<Vec<Turn>, CompareError> {
    let best = |share: f64| means_on(&figure.known_at(choice, share).0, &USUAL).map(|means| cheapest(&means));
    let mut out = Vec::new();
    for end in TRIED {
        let mut to = best(end)?;
        if to == first {
            continue;
        }
        let (mut same, mut other) = (0.5, end);
        for _ in 0..HALVINGS {
            let middle = 0.5 * (same + other);
            let there = best(middle)?;
            if there == first {
                same = middle;
            } else {
                (other, to) = (middle, there);
            }
        }
        let (what, hinge) = figure.named(choice);
        let (now, at) = (figure.known_at(choice, 0.5).1, figure.known_at(choice, other).1);
        let chance = if end < 0.5 { other } else { 1.0 - other };
        out.push(Turn { what, hinge, now, at, chance, to });
    }
    Ok(out)
}
