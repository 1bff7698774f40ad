//! Draws of everything that is in doubt, the same for all ways, and the spread of the costs they lead to.
//!
//! All ways meet the same travel, the same lives, the same luck and the same prices in a draw; what differs between two of
//! them in a draw is therefore theirs. Draws are worked in blocks and in single precision, whose rounding is a
//! thousandth of the currency where costs are some thousands; sums are kept in double precision.

#![expect(
    clippy::indexing_slicing,
    reason = "numeric kernel: all places come from the plan, which is made with its lists"
)]

use rayon::prelude::*;
use statrs::distribution::{ContinuousCDF, Gamma};

use super::lattice::{Lattice, TOGETHER};
use super::law::{STEPS, rounded};
use super::wide::{exp_single, ln_single, place_single, single};
use super::{AgeBelief, Choice, CompareError, DAYS, Doubtful, KINDS, Law};
use crate::normal;
use crate::shared::ARCH;

/// The shares whose quantiles are kept.
pub const SHARES: [f64; 7] = [0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95];
/// Bins in which costs are counted for the quantiles \[ours: finer than the draws are sure of\].
const BINS: usize = 1 << 15;
/// Blocks of draws that one thread takes at once.
const BLOCKS: usize = 64;
/// Steps of the table of treatments, from this many spreads below the middle to as many above.
const TREATMENT_STEPS: usize = 512;
const TREATMENT_REACH: f32 = 5.5;

/// How the costs of all ways spread.
#[derive(Debug, Clone, PartialEq)]
pub struct Spread {
    /// One for each way.
    pub ways: Vec<Drawn>,
    /// How many draws were made.
    pub draws: usize,
    /// How many draws of equal weight say as much: fewer where ages were reached that speak about the lives.
    pub effective: f64,
    /// Blocks of draws, in each of them way after way.
    costs: Vec<f32>,
    /// Weights of the draws; empty where all weigh the same.
    weights: Vec<f32>,
}

/// How the cost of one way spreads.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawn {
    /// Mean of the draws. The exact one is that of [`means`](super::means()).
    pub mean: f64,
    /// Standard deviation.
    pub spread: f64,
    /// Costs that the shares [`SHARES`] of all draws lie below.
    pub below: [f64; SHARES.len()],
    /// How often it is the cheapest.
    pub cheapest: f64,
    /// How much more it costs on average than the cheapest of each draw.
    pub regret: f64,
    /// How often no serious mode comes.
    pub trouble_free: f64,
}

/// Gives the spread of the costs from draws; the same seed gives the same spread on every machine.
///
/// # Shapes
/// `draws` is rounded up to a multiple of 64; powers of two fill the space most evenly.
///
/// # Errors
/// As [`Choice::ensure`]; [`CompareError::Draws`]; [`CompareError::BeyondReach`].
pub fn spread(choice: &Choice, draws: usize, seed: u64) -> Result<Spread, CompareError> {
    choice.ensure()?;
    let blocks = blocks(draws)?;
    let wanted: Vec<usize> = (0..choice.ways.len()).collect();
    let plan = Plan::of(choice, &wanted);
    let lattice = Lattice::of(seed);
    let width = wanted.len() * TOGETHER;
    let mut costs = vec![0.0; blocks * width];
    let mut weights = vec![1.0; if plan.weighed { blocks * TOGETHER } else { 0 }];
    let mut weight_rows: Vec<&mut [f32]> = weights.chunks_mut(TOGETHER * BLOCKS).collect();
    weight_rows.resize_with(blocks.div_ceil(BLOCKS), Default::default);
    let sums: Vec<Sums> = costs
        .par_chunks_mut(BLOCKS * width)
        .zip(weight_rows)
        .enumerate()
        .map(|(piece, (costs, weights))| {
            let source = Source { lattice, other: None };
            let mut sums = Sums::of(wanted.len());
            ARCH.dispatch(Working { plan: &plan, source, first: piece * BLOCKS, costs, weights, sums: &mut sums });
            sums
        })
        .collect();
    let sums = sums.iter().fold(Sums::of(wanted.len()), Sums::with);
    if !(sums.weight > 0.0 && sums.weight.is_finite()) {
        return Err(CompareError::BeyondReach);
    }
    let below: Vec<[f64; SHARES.len()]> = (0..wanted.len())
        .into_par_iter()
        .map(|way| below(&costs, &weights, way, wanted.len(), &sums.ways[way], sums.weight))
        .collect();
    let drawn = |(sum, below): (&OfWay, [f64; SHARES.len()])| {
        let mean = sum.cost / sums.weight;
        Drawn {
            mean,
            spread: (sum.square / sums.weight - mean * mean).max(0.0).sqrt(),
            below,
            cheapest: sum.cheapest / sums.weight,
            regret: sum.regret / sums.weight,
            trouble_free: sum.trouble_free / sums.weight,
        }
    };
    let ways = sums.ways.iter().zip(below).map(drawn).collect();
    let effective = sums.weight * sums.weight / sums.weight_square;
    Ok(Spread { ways, draws: blocks * TOGETHER, effective, costs, weights })
}

fn blocks(draws: usize) -> Result<usize, CompareError> {
    let fits = (64..=1 << 24).contains(&draws);
    if fits { Ok(draws.div_ceil(TOGETHER)) } else { Err(CompareError::Draws { draws }) }
}

impl Spread {
    /// How often the first way costs less than the second.
    #[must_use]
    pub fn cheaper(&self, way: usize, than: usize) -> f64 {
        let ways = self.ways.len();
        if way >= ways || than >= ways {
            return 0.0;
        }
        let (mut less, mut all) = (0.0, 0.0);
        for (block, costs) in self.costs.chunks(ways * TOGETHER).enumerate() {
            for at in 0..TOGETHER {
                let weight = self.weights.get(block * TOGETHER + at).map_or(1.0, |w| f64::from(*w));
                all += weight;
                if costs[way * TOGETHER + at] < costs[than * TOGETHER + at] {
                    less += weight;
                }
            }
        }
        less / all
    }

    /// By how much the first way must become cheaper to cost less than the second in half of all draws; below nought where it
    /// does already.
    #[must_use]
    pub fn half_way(&self, way: usize, to: usize) -> f64 {
        let ways = self.ways.len();
        if way >= ways || to >= ways {
            return 0.0;
        }
        let mut gaps: Vec<(f32, f32)> = Vec::with_capacity(self.draws);
        for (block, costs) in self.costs.chunks(ways * TOGETHER).enumerate() {
            for at in 0..TOGETHER {
                let weight = self.weights.get(block * TOGETHER + at).copied().unwrap_or(1.0);
                gaps.push((costs[way * TOGETHER + at] - costs[to * TOGETHER + at], weight));
            }
        }
        gaps.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
        let half = 0.5 * gaps.iter().map(|(_, w)| f64::from(*w)).sum::<f64>();
        let mut sum = 0.0;
        let reached = gaps.iter().find(|(_, weight)| {
            sum += f64::from(*weight);
            sum >= half
        });
        reached.map_or(0.0, |(gap, _)| f64::from(*gap))
    }
}

/// Quantiles of one way, from its counts in even bins.
fn below(costs: &[f32], weights: &[f32], way: usize, ways: usize, sum: &OfWay, total: f64) -> [f64; SHARES.len()] {
    let (low, high) = (f64::from(sum.low), f64::from(sum.high));
    if high <= low {
        return [low; SHARES.len()];
    }
    let last = f64::from(u32::try_from(BINS).unwrap_or(1));
    // A little wider than the costs, so that the highest falls into the last bin.
    let scale = single((1.0 - 1e-6) * last / (high - low));
    let mut bins = vec![0.0; BINS];
    for (block, costs) in costs.chunks(ways * TOGETHER).enumerate() {
        for (at, cost) in costs[way * TOGETHER..(way + 1) * TOGETHER].iter().enumerate() {
            let weight = weights.get(block * TOGETHER + at).map_or(1.0, |w| f64::from(*w));
            bins[whole(((*cost - sum.low) * scale).max(0.0)).min(BINS - 1)] += weight;
        }
    }
    let width = (high - low) / (last * (1.0 - 1e-6));
    let mut out = [high; SHARES.len()];
    let (mut sum, mut shares) = (0.0, out.iter_mut().zip(SHARES).peekable());
    for (bin, weight) in (0_u32..).zip(&bins) {
        let to = sum + weight;
        while let Some((out, share)) = shares.next_if(|(_, share)| share * total <= to) {
            let within = if *weight > 0.0 { (share * total - sum) / weight } else { 0.0 };
            *out = low + width * (f64::from(bin) + within);
        }
        sum = to;
    }
    out
}

/// The whole part of a number from nought to 2^22.
#[inline(always)]
fn whole(x: f32) -> usize {
    // Adding this much leaves the nearest whole number in the mantissa.
    const WHOLE: f32 = 12_582_912.0;
    usize::try_from((x - 0.499_999_97 + WHOLE).to_bits() & 0x3f_ffff).unwrap_or(0)
}

type Block = [f32; TOGETHER];

/// Where the coordinates of a block come from.
#[derive(Clone, Copy)]
struct Source<'s> {
    lattice: Lattice,
    /// Coordinates that are taken from other points: which, and how far the other points lie.
    other: Option<(&'s [bool], usize)>,
}

impl Source<'_> {
    #[inline(always)]
    fn fill(&self, first: u32, dimension: usize, out: &mut Block) {
        let other = self.other.filter(|(which, _)| which[dimension]);
        self.lattice.fill(first, dimension + other.map_or(0, |(_, far)| far), out);
    }
}

/// A law made ready, with the coordinate it is drawn by.
#[derive(Debug, Clone)]
enum Ready {
    Known(f32),
    Triangular { dimension: usize, low: f32, high: f32, split: f32, rise: f32, fall: f32 },
    Table { dimension: usize, table: Vec<f32> },
    ByFactor { dimension: usize, ln_middle: f32, spread: f32 },
}

impl Ready {
    #[inline(always)]
    fn fill(&self, source: &Source<'_>, first: u32, out: &mut Block) {
        let mut u = [0.0; TOGETHER];
        match self {
            Self::Known(amount) => *out = [*amount; TOGETHER],
            Self::Triangular { dimension, low, high, split, rise, fall } => {
                source.fill(first, *dimension, &mut u);
                for (out, u) in out.iter_mut().zip(u) {
                    let (up, down) = (low + (u * rise).sqrt(), high - ((1.0 - u) * fall).sqrt());
                    *out = if u < *split { up } else { down };
                }
            }
            Self::Table { dimension, table } => {
                source.fill(first, *dimension, &mut u);
                for (out, u) in out.iter_mut().zip(u) {
                    let x = u * 1024.0;
                    let k = whole(x).min(STEPS - 1);
                    let (from, to) = (table[k], table[k + 1]);
                    *out = from + (to - from) * x.fract_from(k);
                }
            }
            Self::ByFactor { dimension, ln_middle, spread } => {
                source.fill(first, *dimension, &mut u);
                for (out, u) in out.iter_mut().zip(u) {
                    *out = exp_single(ln_middle + spread * place_single(u));
                }
            }
        }
    }

    fn is_nought(&self) -> bool {
        matches!(self, Self::Known(amount) if *amount == 0.0)
    }
}

/// What lies above a whole number.
trait Above {
    fn fract_from(self, k: usize) -> f32;
}

impl Above for f32 {
    #[inline(always)]
    fn fract_from(self, k: usize) -> f32 {
        self - u16::try_from(k).map_or(0.0, f32::from)
    }
}

/// A group of coordinates that belong to one thing in doubt.
struct Group {
    name: String,
    dimensions: Vec<usize>,
}

/// Gives out coordinates, and keeps in mind what they belong to.
#[derive(Default)]
struct Dimensions {
    used: usize,
    groups: Vec<Group>,
}

impl Dimensions {
    fn next(&mut self, name: &str) -> usize {
        let dimension = self.used;
        self.used += 1;
        match self.groups.iter_mut().find(|group| group.name == name) {
            Some(group) => group.dimensions.push(dimension),
            None => self.groups.push(Group { name: name.to_owned(), dimensions: vec![dimension] }),
        }
        dimension
    }

    fn law(&mut self, law: &Law, name: &str) -> Ready {
        if !law.in_doubt() {
            return Ready::Known(single(law.mean()));
        }
        let dimension = self.next(name);
        match *law {
            Law::Known(amount) => Ready::Known(single(amount)),
            Law::Triangular { low, likely, high } => Ready::Triangular {
                dimension,
                low: single(low),
                high: single(high),
                split: single((likely - low) / (high - low)),
                rise: single((likely - low) * (high - low)),
                fall: single((high - likely) * (high - low)),
            },
            Law::Rounded { low, likely, high } => {
                Ready::Table { dimension, table: rounded(low, likely, high).into_iter().map(single).collect() }
            }
            Law::ByFactor { middle, spread_ln } => {
                Ready::ByFactor { dimension, ln_middle: single(middle.ln()), spread: single(spread_ln) }
            }
        }
    }

    fn doubtful(&mut self, figure: &Doubtful, name: &str) -> Ready {
        self.law(&Law::ByFactor { middle: figure.middle, spread_ln: figure.spread_ln }, name)
    }
}

enum ReadyAge {
    Law(Ready),
    /// Coordinate, ages, and the sums of their chances.
    Nodes(usize, Vec<f32>, Vec<f32>),
}

struct ReadyMode {
    /// Coordinate of the luck.
    luck: usize,
    ln_shape: Normal,
    ln_life: Normal,
    /// Cumulative hazard at the life, and its logarithm.
    hazard: f32,
    ln_hazard: f32,
    takes: [Ready; KINDS],
    /// Ages that its parts reached, and whether they are those of the whole itself.
    reached: Vec<(usize, bool)>,
    serious: bool,
    ends: bool,
    /// Its standings: age and one over the strain.
    standings: Vec<(Option<usize>, f32)>,
    /// Place of the first of them.
    first: usize,
    /// Whether any way that is worked has it, or any age speaks about it.
    needed: bool,
}

struct Normal {
    mean: f32,
    spread: f32,
    dimension: Option<usize>,
}

impl Normal {
    #[inline(always)]
    fn fill(&self, source: &Source<'_>, first: u32, out: &mut Block) {
        let Some(dimension) = self.dimension else {
            *out = [self.mean; TOGETHER];
            return;
        };
        source.fill(first, dimension, out);
        for x in out.iter_mut() {
            *x = self.mean + self.spread * place_single(*x);
        }
    }
}

struct ReadyCover {
    until_travel: f32,
    until_years: f32,
    own: [f32; KINDS],
}

struct ReadyWay {
    buys: Vec<(usize, f32)>,
    days: Ready,
    surprises: Vec<(usize, f32, Ready, Ready)>,
    covers: Vec<ReadyCover>,
    /// For each mode that can come: its place, its standing, whether it is covered.
    modes: Vec<(usize, usize, bool)>,
    left: Ready,
    left_when_ended: f32,
}

/// A choice made ready for drawing.
struct Plan {
    yearly: Ready,
    years: f32,
    interest: f32,
    /// Discount of what is left at the horizon.
    at_end: f32,
    /// Coordinate and table of the treatment, and its gamma law.
    treatment: Option<(usize, Vec<f32>, f32, f32)>,
    ages: Vec<ReadyAge>,
    prices: Vec<Ready>,
    day: Ready,
    modes: Vec<ReadyMode>,
    ways: Vec<ReadyWay>,
    standings: usize,
    weighed: bool,
    dimensions: Dimensions,
}

const YEARLY: &str = "travel in a year";
const TREATMENT: &str = "how it is treated";

impl Plan {
    /// Coordinates are given out for all ways, and only those wanted are worked.
    fn of(choice: &Choice, wanted: &[usize]) -> Self {
        let mut d = Dimensions::default();
        let yearly = d.doubtful(&choice.yearly, YEARLY);
        let treatment = choice.treatment.and_then(|frailty| {
            let law = Gamma::new(frailty.shape(), frailty.rate()).ok()?;
            let last = f64::from(u32::try_from(TREATMENT_STEPS).unwrap_or(1));
            let reach = f64::from(TREATMENT_REACH);
            let at = |k: u32| law.inverse_cdf(normal::below(reach * (2.0 * f64::from(k) / last - 1.0)));
            let table = (0_u32..).take(TREATMENT_STEPS + 1).map(|k| single(at(k).max(1e-6))).collect();
            Some((d.next(TREATMENT), table, single(frailty.shape()), single(frailty.rate())))
        });
        let ages = choice.ages.iter().map(|age| match &age.belief {
            AgeBelief::Doubtful(doubt) if doubt.middle > 0.0 => ReadyAge::Law(d.doubtful(doubt, &age.name)),
            AgeBelief::Doubtful(_) => ReadyAge::Law(Ready::Known(0.0)),
            AgeBelief::Nodes(nodes) => {
                let total: f64 = nodes.iter().map(|(_, chance)| chance).sum();
                let mut sum = 0.0;
                let sums = nodes.iter().map(|(_, chance)| {
                    sum += chance / total;
                    single(sum)
                });
                let sums = sums.collect();
                ReadyAge::Nodes(d.next(&age.name), nodes.iter().map(|(age, _)| single(*age)).collect(), sums)
            }
        });
        let ages = ages.collect();
        let lucks: Vec<usize> = choice.modes.iter().map(|mode| d.next(&mode.name)).collect();
        let mut normals = |of: &dyn Fn(&crate::life::LifePrior) -> crate::life::Belief| -> Vec<Normal> {
            let one = |mode: &super::FailureMode| {
                let belief = of(&mode.life);
                let dimension = (belief.spread > 0.0).then(|| d.next(&mode.name));
                Normal { mean: single(belief.mean), spread: single(belief.spread), dimension }
            };
            choice.modes.iter().map(one).collect()
        };
        let lives = normals(&|life| life.ln_life);
        let shapes = normals(&|life| life.ln_shape);
        let prices = choice.prices.iter().map(|price| d.law(&price.amount, &price.name)).collect();
        let day = choice.standing.as_ref().map_or(Ready::Known(0.0), |price| d.law(&price.amount, &price.name));
        let mut first = 0;
        let mut modes = Vec::new();
        for (place, (mode, ((luck, ln_life), ln_shape))) in
            choice.modes.iter().zip(lucks.into_iter().zip(lives).zip(shapes)).enumerate()
        {
            let mut standings: Vec<(Option<usize>, f32)> = Vec::new();
            for fitted in wanted.iter().filter_map(|way| choice.ways[*way].fitted[place].as_ref()) {
                let standing = (fitted.age, single(1.0 / fitted.strain));
                if !standings.contains(&standing) {
                    standings.push(standing);
                }
            }
            let hazard = mode.life.hazard_at_life();
            let needed = !(standings.is_empty() && mode.reached.is_empty());
            let count = standings.len();
            modes.push(ReadyMode {
                luck,
                ln_shape,
                ln_life,
                hazard: single(hazard),
                ln_hazard: single(hazard.ln()),
                takes: mode.takes.each_ref().map(|law| d.law(law, &mode.name)),
                reached: mode.reached.iter().map(|age| (*age, choice.ages[*age].own)).collect(),
                serious: mode.serious,
                ends: mode.ends,
                standings,
                first,
                needed,
            });
            first += count;
        }
        let mut ways: Vec<ReadyWay> = Vec::new();
        for way in &choice.ways {
            let standing = |(place, fitted): (usize, &Option<super::Fitted>)| {
                let fitted = fitted.as_ref()?;
                let wanted = (fitted.age, single(1.0 / fitted.strain));
                let mode: &ReadyMode = &modes[place];
                let at = mode.standings.iter().position(|standing| *standing == wanted)?;
                Some((place, mode.first + at, fitted.covered && !way.covers.is_empty()))
            };
            let cover = |cover: &super::Cover| ReadyCover {
                until_travel: single(cover.until_travel),
                until_years: single(cover.until_years),
                own: cover.pays.map(|share| single(1.0 - share)),
            };
            let surprises = way.surprises.iter().map(|surprise| {
                let name = format!("{}: {}", way.name, surprise.name);
                let dimension = d.next(&name);
                (dimension, single(surprise.chance), d.law(&surprise.amount, &name), d.law(&surprise.days, &name))
            });
            let surprises = surprises.collect();
            ways.push(ReadyWay {
                buys: way.buys.iter().map(|(price, times)| (*price, single(*times))).collect(),
                days: d.law(&way.days, &format!("{}: days", way.name)),
                surprises,
                covers: way.covers.iter().map(cover).collect(),
                modes: way.fitted.iter().enumerate().filter_map(standing).collect(),
                left: d.law(&way.left, &format!("{}: what is left", way.name)),
                left_when_ended: single(way.left_when_ended),
            });
        }
        let mut place = 0..;
        ways.retain(|_| place.next().is_some_and(|way| wanted.contains(&way)));
        let years = choice.years;
        Self {
            yearly,
            years: single(years),
            interest: single(choice.interest),
            at_end: single((-choice.interest * years).exp()),
            treatment,
            ages,
            prices,
            day,
            weighed: modes.iter().any(|mode| !mode.reached.is_empty()),
            modes,
            ways,
            standings: first,
            dimensions: d,
        }
    }
}

/// Sums over draws.
#[derive(Debug, Clone)]
struct Sums {
    weight: f64,
    weight_square: f64,
    ways: Vec<OfWay>,
}

#[derive(Debug, Clone)]
struct OfWay {
    cost: f64,
    /// Sum of squares of the costs.
    square: f64,
    cheapest: f64,
    regret: f64,
    trouble_free: f64,
    low: f32,
    high: f32,
}

impl Sums {
    fn of(ways: usize) -> Self {
        let none = OfWay {
            cost: 0.0,
            square: 0.0,
            cheapest: 0.0,
            regret: 0.0,
            trouble_free: 0.0,
            low: f32::INFINITY,
            high: f32::NEG_INFINITY,
        };
        Self { weight: 0.0, weight_square: 0.0, ways: vec![none; ways] }
    }

    fn with(mut self, other: &Self) -> Self {
        self.weight += other.weight;
        self.weight_square += other.weight_square;
        for (to, from) in self.ways.iter_mut().zip(&other.ways) {
            to.cost += from.cost;
            to.square += from.square;
            to.cheapest += from.cheapest;
            to.regret += from.regret;
            to.trouble_free += from.trouble_free;
            to.low = to.low.min(from.low);
            to.high = to.high.max(from.high);
        }
        self
    }
}

/// What a block of draws is worked in.
struct Room {
    yearly: Block,
    horizon: Block,
    /// Minus the interest over the yearly travel.
    wait: Block,
    /// One over the treatment.
    mild: Block,
    /// For each age: itself, its logarithm, that of the age at the horizon.
    ages: Vec<[Block; 3]>,
    prices: Vec<Block>,
    day: Block,
    takes: Vec<[Block; KINDS]>,
    /// Travel at which a standing fails, infinite where it does not; and the present value of one then.
    when: Vec<Block>,
    worth: Vec<Block>,
    ln_weight: Block,
}

/// Some blocks of draws as work that the widest instructions can be chosen for.
struct Working<'w> {
    plan: &'w Plan,
    source: Source<'w>,
    /// Number of the first block.
    first: usize,
    costs: &'w mut [f32],
    /// Empty where all draws weigh the same.
    weights: &'w mut [f32],
    sums: &'w mut Sums,
}

impl pulp::NullaryFnOnce for Working<'_> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        let Self { plan, source, first, costs, weights, sums } = self;
        let nought = [0.0; TOGETHER];
        let mut room = Room {
            yearly: nought,
            horizon: nought,
            wait: nought,
            mild: [1.0; TOGETHER],
            ages: vec![[nought; 3]; plan.ages.len()],
            prices: vec![nought; plan.prices.len()],
            day: nought,
            takes: vec![[nought; KINDS]; plan.modes.len()],
            when: vec![nought; plan.standings],
            worth: vec![nought; plan.standings],
            ln_weight: nought,
        };
        let width = plan.ways.len() * TOGETHER;
        for (block, costs) in costs.chunks_exact_mut(width).enumerate() {
            let point = u32::try_from((first + block) * TOGETHER).unwrap_or(0);
            plan.draw(&source, point, &mut room);
            let weight = room.ln_weight.map(exp_single);
            if let Some(to) = weights.get_mut(block * TOGETHER..(block + 1) * TOGETHER) {
                to.copy_from_slice(&weight);
            }
            let mut best = [f32::INFINITY; TOGETHER];
            for ((way, costs), sum) in plan.ways.iter().zip(costs.chunks_exact_mut(TOGETHER)).zip(&mut sums.ways) {
                let mut cost = nought;
                let mut clear = [1.0; TOGETHER];
                plan.work(&source, point, way, &room, &mut cost, &mut clear);
                for ((to, best), cost) in costs.iter_mut().zip(&mut best).zip(cost) {
                    *to = cost;
                    *best = best.min(cost);
                    sum.low = sum.low.min(cost);
                    sum.high = sum.high.max(cost);
                }
                sum.trouble_free += weight.iter().zip(clear).map(|(w, c)| f64::from(w * c)).sum::<f64>();
            }
            sums.weight += weight.iter().map(|w| f64::from(*w)).sum::<f64>();
            sums.weight_square += weight.iter().map(|w| f64::from(w * w)).sum::<f64>();
            let mut left = weight;
            for (costs, sum) in costs.chunks_exact(TOGETHER).zip(&mut sums.ways) {
                let (mut total, mut square, mut regret, mut first) = (0.0, 0.0, 0.0, 0.0);
                for (((cost, best), weight), left) in costs.iter().zip(best).zip(weight).zip(&mut left) {
                    let (w, c) = (f64::from(weight), f64::from(*cost));
                    total += w * c;
                    square += w * c * c;
                    regret += w * f64::from(cost - best);
                    // Of equals the first is the cheapest.
                    let won = if *cost <= best { *left } else { 0.0 };
                    *left -= won;
                    first += f64::from(won);
                }
                sum.cost += total;
                sum.square += square;
                sum.regret += regret;
                sum.cheapest += first;
            }
        }
    }
}

impl Plan {
    /// Draws what all ways share.
    #[inline(always)]
    fn draw(&self, source: &Source<'_>, point: u32, room: &mut Room) {
        let mut u = [0.0; TOGETHER];
        self.yearly.fill(source, point, &mut room.yearly);
        for ((yearly, horizon), wait) in room.yearly.iter().zip(&mut room.horizon).zip(&mut room.wait) {
            *horizon = yearly * self.years;
            *wait = -self.interest / yearly;
        }
        room.ln_weight = [0.0; TOGETHER];
        if let Some((dimension, table, ..)) = &self.treatment {
            source.fill(point, *dimension, &mut u);
            for (mild, u) in room.mild.iter_mut().zip(u) {
                let z = place_single(u).clamp(-TREATMENT_REACH, TREATMENT_REACH);
                let x = (z / TREATMENT_REACH + 1.0) * 256.0;
                let k = whole(x).min(TREATMENT_STEPS - 1);
                let (from, to) = (table[k], table[k + 1]);
                *mild = 1.0 / (from + (to - from) * x.fract_from(k));
            }
        }
        for (age, [at, ln, ln_end]) in self.ages.iter().zip(&mut room.ages) {
            match age {
                ReadyAge::Law(law) => law.fill(source, point, at),
                ReadyAge::Nodes(dimension, ages, sums) => {
                    source.fill(point, *dimension, &mut u);
                    for (at, u) in at.iter_mut().zip(u) {
                        let node = sums.iter().position(|sum| u < *sum).unwrap_or(ages.len() - 1);
                        *at = ages[node];
                    }
                }
            }
            for (((at, ln), ln_end), horizon) in at.iter().zip(ln).zip(ln_end).zip(room.horizon) {
                // An age of nought has no logarithm; one this small has no hazard.
                *ln = ln_single(at.max(1e-6));
                *ln_end = ln_single(at + horizon);
            }
        }
        for (price, to) in self.prices.iter().zip(&mut room.prices) {
            price.fill(source, point, to);
        }
        self.day.fill(source, point, &mut room.day);
        let mut ln_horizon = room.horizon;
        ln_horizon.iter_mut().for_each(|h| *h = ln_single(*h));
        for (at, mode) in self.modes.iter().enumerate().filter(|(_, mode)| mode.needed) {
            self.draw_mode(source, point, at, mode, &ln_horizon, room);
        }
    }

    #[inline(always)]
    fn draw_mode(
        &self,
        source: &Source<'_>,
        point: u32,
        at: usize,
        mode: &ReadyMode,
        ln_horizon: &Block,
        room: &mut Room,
    ) {
        let (mut luck, mut shape, mut ln_life) = ([0.0; TOGETHER], [0.0; TOGETHER], [0.0; TOGETHER]);
        source.fill(point, mode.luck, &mut luck);
        mode.ln_shape.fill(source, point, &mut shape);
        mode.ln_life.fill(source, point, &mut ln_life);
        for (luck, (shape, mild)) in luck.iter_mut().zip(shape.iter_mut().zip(room.mild)) {
            *luck = -ln_single(*luck) * mild;
            *shape = exp_single(*shape);
        }
        for (kind, law) in mode.takes.iter().enumerate().filter(|(_, law)| !law.is_nought()) {
            law.fill(source, point, &mut room.takes[at][kind]);
            if kind == DAYS {
                room.takes[at][kind].iter_mut().zip(room.day).for_each(|(days, day)| *days *= day);
            }
        }
        let hazard_at = |ln_age: &Block| {
            let mut out = [0.0; TOGETHER];
            for (((out, ln), shape), life) in out.iter_mut().zip(ln_age).zip(shape).zip(ln_life) {
                *out = mode.hazard * exp_single(shape * (ln - life));
            }
            out
        };
        for (age, own) in &mode.reached {
            let hazard = hazard_at(&room.ages[*age][1]);
            for ((ln_weight, h), mild) in room.ln_weight.iter_mut().zip(hazard).zip(room.mild) {
                *ln_weight -= match &self.treatment {
                    Some((_, _, shape, rate)) if !own => shape * ln_single(1.0 + h / rate),
                    _ => h / mild,
                };
            }
        }
        let mut last: Option<(Option<usize>, Block, Block)> = None;
        for (place, (age, mildness)) in mode.standings.iter().enumerate() {
            let known = last.take().filter(|(of, ..)| of == age);
            let (_, now, then) = known.unwrap_or_else(|| match age {
                None => (*age, [0.0; TOGETHER], hazard_at(ln_horizon)),
                Some(a) => (*age, hazard_at(&room.ages[*a][1]), hazard_at(&room.ages[*a][2])),
            });
            let mut fails = 0_u32;
            for ((now, then), luck) in now.iter().zip(&then).zip(luck) {
                fails += u32::from(luck * mildness < then - now);
            }
            let (when, worth) = (&mut room.when[mode.first + place], &mut room.worth[mode.first + place]);
            if fails == 0 {
                *when = [f32::INFINITY; TOGETHER];
            } else {
                let start = age.map_or([0.0; TOGETHER], |a| room.ages[a][0]);
                for k in 0..TOGETHER {
                    let spent = luck[k] * mildness;
                    let reached = exp_single(ln_life[k] + (ln_single(now[k] + spent) - mode.ln_hazard) / shape[k]);
                    let travel = (reached - start[k]).max(0.0).min(room.horizon[k]);
                    worth[k] = exp_single(room.wait[k] * travel);
                    when[k] = if spent < then[k] - now[k] { travel } else { f32::INFINITY };
                }
            }
            last = Some((*age, now, then));
        }
    }

    /// What one way costs in each draw, and in which draws no serious mode comes.
    #[inline(always)]
    fn work(&self, source: &Source<'_>, point: u32, way: &ReadyWay, room: &Room, cost: &mut Block, clear: &mut Block) {
        let (mut amount, mut days, mut u) = ([0.0; TOGETHER], [0.0; TOGETHER], [0.0; TOGETHER]);
        for (price, times) in &way.buys {
            cost.iter_mut().zip(&room.prices[*price]).for_each(|(cost, price)| *cost += times * price);
        }
        way.days.fill(source, point, &mut days);
        cost.iter_mut().zip(days).zip(room.day).for_each(|((cost, days), day)| *cost += days * day);
        for (dimension, chance, law, stands) in &way.surprises {
            source.fill(point, *dimension, &mut u);
            law.fill(source, point, &mut amount);
            stands.fill(source, point, &mut days);
            for k in 0..TOGETHER {
                let all = amount[k] + days[k] * room.day[k];
                cost[k] += if u[k] < *chance { all } else { 0.0 };
            }
        }
        let mut stop = [f32::MAX; TOGETHER];
        for (mode, standing, _) in &way.modes {
            let when = &room.when[*standing];
            if self.modes[*mode].ends {
                stop.iter_mut().zip(when).for_each(|(stop, when)| *stop = stop.min(*when));
            }
            if self.modes[*mode].serious {
                clear
                    .iter_mut()
                    .zip(when)
                    .for_each(|(clear, when)| *clear = if *when < f32::MAX { 0.0 } else { *clear });
            }
        }
        for (mode, standing, covered) in &way.modes {
            let (when, worth, takes) = (&room.when[*standing], &room.worth[*standing], &room.takes[*mode]);
            let mut own = [0.0; TOGETHER];
            for (kind, _) in self.modes[*mode].takes.iter().enumerate().filter(|(_, law)| !law.is_nought()) {
                let mut share = [1.0_f32; TOGETHER];
                if *covered {
                    for cover in &way.covers {
                        for k in 0..TOGETHER {
                            // Years without end times a yearly travel are without end.
                            let until = cover.until_travel.min(cover.until_years * room.yearly[k]);
                            let pays = if when[k] < until { cover.own[kind] } else { 1.0 };
                            share[k] = share[k].min(pays);
                        }
                    }
                }
                for k in 0..TOGETHER {
                    own[k] += takes[kind][k] * share[k];
                }
            }
            for k in 0..TOGETHER {
                let now = own[k] * worth[k];
                cost[k] += if when[k] <= stop[k] { now } else { 0.0 };
            }
        }
        if !way.left.is_nought() {
            way.left.fill(source, point, &mut amount);
            for k in 0..TOGETHER {
                let remains = if stop[k] < f32::MAX { way.left_when_ended } else { 1.0 };
                cost[k] -= amount[k] * remains * self.at_end;
            }
        }
    }
}

/// What the difference between two ways hangs on: the share of its spread that would be left if one thing alone were in
/// doubt among those that are not known, its interplay with all others included.
///
/// The thing that has the largest share is the one to find out first. Shares add up to more than one where things act
/// together. A mode is one thing: when it comes, its lives, and what it takes.
///
/// # Errors
/// As [`spread`]; [`CompareError::Nowhere`].
///
/// # Source
/// Total effects by two sets of points that share all but one thing: Jansen 1999, Computer Physics Communications 117
/// \[from memory\]. Where ages were reached, a pair weighs the product of its weights.
pub fn hangs_on(
    choice: &Choice,
    pair: [usize; 2],
    draws: usize,
    seed: u64,
) -> Result<Vec<(String, f64)>, CompareError> {
    choice.ensure()?;
    let blocks = blocks(draws)?;
    let count = choice.ways.len();
    for place in pair {
        if place >= count {
            return Err(CompareError::Nowhere { what: "the question".to_owned(), of: "way", place, count });
        }
    }
    let plan = Plan::of(choice, &pair);
    let far = plan.dimensions.used;
    let gaps = |other: Option<&[bool]>| {
        let source = Source { lattice: Lattice::of(seed), other: other.map(|which| (which, far)) };
        let mut costs = vec![0.0; blocks * 2 * TOGETHER];
        let mut weights = vec![1.0; blocks * TOGETHER];
        let mut sums = Sums::of(2);
        ARCH.dispatch(Working {
            plan: &plan,
            source,
            first: 0,
            costs: &mut costs,
            weights: &mut weights,
            sums: &mut sums,
        });
        // The ways of the plan stand in the order of the choice.
        let sign = if pair[0] <= pair[1] { 1.0 } else { -1.0 };
        let gap = |costs: &[f32]| -> Vec<f64> {
            let (a, b) = costs.split_at(TOGETHER);
            a.iter().zip(b).map(|(a, b)| sign * f64::from(a - b)).collect()
        };
        (costs.chunks(2 * TOGETHER).flat_map(gap).collect::<Vec<f64>>(), weights)
    };
    let (base, weights) = gaps(None);
    let total: f64 = weights.iter().map(|w| f64::from(*w)).sum();
    let weighed = |of: &dyn Fn(f64) -> f64| base.iter().zip(&weights).map(|(g, w)| f64::from(*w) * of(*g)).sum::<f64>();
    let mean = weighed(&|gap| gap) / total;
    let variance = weighed(&|gap| (gap - mean) * (gap - mean)) / total;
    if variance <= 0.0 {
        return Ok(Vec::new());
    }
    let share = |group: &Group| {
        let mut which = vec![false; far];
        group.dimensions.iter().for_each(|d| which[*d] = true);
        let (other, others) = gaps(Some(&which));
        let (mut sum, mut all) = (0.0, 0.0);
        for ((a, b), (w, v)) in base.iter().zip(&other).zip(weights.iter().zip(&others)) {
            let weight = f64::from(w * v);
            sum += weight * (a - b) * (a - b);
            all += weight;
        }
        (group.name.clone(), 0.5 * sum / all / variance)
    };
    let mut shares: Vec<(String, f64)> = plan.dimensions.groups.par_iter().map(share).collect();
    shares.retain(|(_, share)| *share > 0.0);
    shares.sort_by(|a, b| b.1.total_cmp(&a.1));
    Ok(shares)
}
