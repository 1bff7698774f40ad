//! Means without draws: nodes over travel, ages, treatment and lives; failures at nodes of travel ahead.
//!
//! The chances of a mode over the road ahead depend on its age, its strain and the treatment, and not on how fast the road
//! is gone. They are worked out once, on nodes between all places at which something changes (ends of covers, ends of the
//! horizon for each yearly travel), and then put together for each way.

#![expect(
    clippy::indexing_slicing,
    reason = "numeric kernel: all places come from lists made together with the tables"
)]

use rayon::prelude::*;

use super::wide::exp;
use super::{Age, AgeBelief, Choice, CompareError, Cover, DAYS, Doubtful, FailureMode, Fitted, KINDS, Way};
use crate::quadrature::{self, Rule};
use crate::shared::ARCH;

/// What ways cost on average, and how likely they run without trouble.
#[derive(Debug, Clone, PartialEq)]
pub struct Means {
    /// One for each way.
    pub ways: Vec<MeansOf>,
    /// Who pays beside the customer, in the order of [`MeansOf::others`].
    pub parties: Vec<String>,
}

/// What one way costs on average.
#[derive(Debug, Clone, PartialEq)]
pub struct MeansOf {
    /// All in all, for the customer.
    pub cost: f64,
    /// The prices it pays.
    pub bought: f64,
    /// What comes on top, days included.
    pub surprises: f64,
    /// The days it stands at first.
    pub standing: f64,
    /// Failures within the horizon, as far as the customer pays for them.
    pub failures: f64,
    /// What is left at the horizon, which has been taken off the cost.
    pub left: f64,
    /// What each other party pays for failures.
    pub others: Vec<f64>,
    /// For each mode: what its failures cost the customer.
    pub by_mode: Vec<f64>,
    /// For each mode: how likely it comes within the horizon.
    pub comes: Vec<f64>,
    /// How likely no serious mode comes.
    pub trouble_free: f64,
    /// How likely no mode ends the whole.
    pub goes_on: f64,
}

/// How finely means are worked out.
#[derive(Debug, Clone, Copy)]
pub(super) struct Nodes {
    pub(super) yearly: usize,
    /// Ages in much doubt; three do for those in little.
    pub(super) age: usize,
    pub(super) life: usize,
    /// Places between two changes on the road, and from nought to the first.
    pub(super) road: usize,
    pub(super) first: usize,
    pub(super) treatment: usize,
}

/// Good to 0.01 of the currency in the worked example, in which costs are some thousands \[measured against
/// `reference/choosing/means.json`\].
pub(super) const USUAL: Nodes = Nodes { yearly: 9, age: 11, life: 7, road: 5, first: 10, treatment: 10 };
/// An age in less doubt than this is in little \[ours\].
const LITTLE: f64 = 0.06;

/// Gives the mean cost of each way and its chance of running without trouble, exactly but for rounding and the nodes.
///
/// # Units
/// Costs in the currency of the choice, at their present value.
///
/// # Errors
/// As [`Choice::ensure`]; [`CompareError::BeyondReach`].
pub fn means(choice: &Choice) -> Result<Means, CompareError> {
    choice.ensure()?;
    means_on(choice, &USUAL)
}

/// The same on nodes of the caller's choice, for a choice that has been ensured.
pub(super) fn means_on(choice: &Choice, nodes: &Nodes) -> Result<Means, CompareError> {
    let road = Road::of(choice, nodes);
    let ages: Vec<Vec<(f64, f64)>> = choice.ages.iter().map(|age| age.nodes(nodes)).collect();
    let treatments: Vec<(f64, f64)> = match choice.treatment {
        None => vec![(1.0, 1.0)],
        Some(z) => quadrature::laguerre(nodes.treatment, z.shape()).iter().map(|(x, w)| (x / z.rate(), w)).collect(),
    };
    let setting = Setting { choice, road: &road, ages: &ages, treatments: &treatments };
    // Parts of a mode that stand alike in several ways are worked out once.
    let mut standings: Vec<(usize, Option<usize>, u64)> = Vec::new();
    for way in &choice.ways {
        for (mode, fitted) in way.fitted.iter().enumerate() {
            let standing = fitted.map(|f| (mode, f.age, f.strain.to_bits()));
            standings.extend(standing.filter(|s| !standings.contains(s)));
        }
    }
    let courses: Vec<Courses> = standings
        .par_iter()
        .map(|&(mode, age, strain)| Courses::of(&setting, mode, age, f64::from_bits(strain), nodes))
        .collect();
    let reached: Vec<Reached> = (0..choice.modes.len())
        .filter(|mode| !choice.modes[*mode].reached.is_empty())
        .map(|mode| Reached::of(&setting, mode, nodes))
        .collect();
    let course_of = |mode: usize, fitted: &Fitted| {
        let wanted = (mode, fitted.age, fitted.strain.to_bits());
        standings.iter().position(|standing| *standing == wanted).map(|place| &courses[place])
    };
    let parties: Vec<String> = choice.parties().into_iter().map(str::to_owned).collect();
    let of_way = |way: &Way| {
        let courses: Vec<Option<&Courses>> =
            way.fitted.iter().enumerate().map(|(mode, f)| f.as_ref().and_then(|f| course_of(mode, f))).collect();
        setting.way(way, &courses, &reached, &parties)
    };
    let ways: Result<Vec<MeansOf>, CompareError> = choice.ways.par_iter().map(of_way).collect();
    Ok(Means { ways: ways?, parties })
}

impl Doubtful {
    fn nodes(&self, points: usize) -> Vec<(f64, f64)> {
        if self.spread_ln > 0.0 {
            quadrature::hermite(points).iter().map(|(x, w)| (self.at(x), w)).collect()
        } else {
            vec![(self.middle, 1.0)]
        }
    }
}

impl Age {
    fn nodes(&self, nodes: &Nodes) -> Vec<(f64, f64)> {
        match &self.belief {
            AgeBelief::Doubtful(age) if age.middle > 0.0 => {
                age.nodes(if age.spread_ln < LITTLE { nodes.age.min(3) } else { nodes.age })
            }
            AgeBelief::Doubtful(_) => vec![(0.0, 1.0)],
            AgeBelief::Nodes(nodes) => {
                let sum: f64 = nodes.iter().map(|(_, chance)| chance).sum();
                nodes.iter().map(|(age, chance)| (*age, chance / sum)).collect()
            }
        }
    }
}

/// The road ahead: its nodes, and where the horizon of each yearly travel ends.
struct Road {
    /// Travel ahead, ascending.
    at: Vec<f64>,
    /// Weights of an integral over travel; nought at the ends of horizons.
    weight: Vec<f64>,
    /// Yearly travels with their chances, and the place in `at` at which each horizon ends.
    yearly: Vec<(f64, f64, usize)>,
}

impl Road {
    fn of(choice: &Choice, nodes: &Nodes) -> Self {
        let yearly = choice.yearly.nodes(nodes.yearly);
        let horizons: Vec<f64> = yearly.iter().map(|(travel, _)| travel * choice.years).collect();
        let most = horizons.iter().copied().fold(0.0, f64::max);
        let mut breaks = horizons.clone();
        for cover in choice.ways.iter().flat_map(|way| &way.covers) {
            breaks.extend(yearly.iter().map(|(travel, _)| cover.until(*travel)));
        }
        breaks.retain(|at| *at > 0.0 && *at <= most);
        breaks.sort_by(f64::total_cmp);
        breaks.dedup();
        let (first, usual) = (quadrature::legendre(nodes.first), quadrature::legendre(nodes.road));
        let mut road = Self { at: Vec::new(), weight: Vec::new(), yearly: Vec::new() };
        let mut from = 0.0;
        for to in breaks {
            let length = to - from;
            let curve = if from > 0.0 { &usual } else { &first };
            for (u, w) in curve.iter() {
                // Near nought the density of a new part has a corner or a pole; the cube takes it out.
                let (share, slope) = if from > 0.0 { (u, 1.0) } else { (u * u * u, 3.0 * u * u) };
                road.at.push(from + length * share);
                road.weight.push(length * slope * w);
            }
            road.at.push(to);
            road.weight.push(0.0);
            from = to;
        }
        let end = |horizon: f64| road.at.partition_point(|at| *at < horizon);
        road.yearly = yearly.iter().zip(&horizons).map(|((travel, chance), h)| (*travel, *chance, end(*h))).collect();
        road
    }
}

impl Cover {
    /// The travel at which it ends, at a yearly travel.
    pub(super) fn until(&self, yearly: f64) -> f64 {
        self.until_travel.min(self.until_years * yearly)
    }
}

/// What all tables are made from.
struct Setting<'c> {
    choice: &'c Choice,
    road: &'c Road,
    ages: &'c [Vec<(f64, f64)>],
    treatments: &'c [(f64, f64)],
}

/// Shapes and lives of one mode on nodes.
struct Shapes {
    shift: f64,
    /// Shape, and for each life its weight and its cumulative hazard at the travel whose logarithm is `shift`.
    rows: Vec<(f64, Vec<(f64, f64)>)>,
}

impl Shapes {
    fn of(mode: &FailureMode, points: usize) -> Self {
        let single = || Rule { nodes: vec![0.0], weights: vec![1.0] };
        let rule = |spread: f64| if spread > 0.0 { quadrature::hermite(points) } else { single() };
        let (shape, life) = (mode.life.ln_shape, mode.life.ln_life);
        let hazard = mode.life.hazard_at_life();
        let row = |(x, w): (f64, f64)| {
            let steep = (shape.mean + shape.spread * x).exp();
            let rate = |y: f64| hazard * (-steep * life.spread * y).exp();
            (steep, rule(life.spread).iter().map(|(y, v)| (w * v, rate(y))).collect())
        };
        Self { shift: life.mean, rows: rule(shape.spread).iter().map(row).collect() }
    }

    fn power(&self, shape: f64, age: f64) -> f64 {
        if age > 0.0 { (shape * (age.ln() - self.shift)).exp() } else { 0.0 }
    }
}

impl Setting<'_> {
    /// Weights of all lives of a mode given that its parts reached some ages, under a treatment; and their sum.
    fn given(&self, shapes: &Shapes, reached: &[(f64, bool)], z: f64) -> (Vec<f64>, f64) {
        let mut weights = Vec::new();
        for (shape, lives) in &shapes.rows {
            let powers: Vec<(f64, bool)> =
                reached.iter().map(|(age, own)| (shapes.power(*shape, *age), *own)).collect();
            for (weight, rate) in lives {
                let lived = powers.iter().map(|(power, own)| match self.choice.treatment {
                    // Another whole had a treatment of its own, which is averaged out.
                    Some(treatment) if !own => treatment.mean_survival(rate * power),
                    _ => (-z * rate * power).exp(),
                });
                weights.push(weight * lived.product::<f64>());
            }
        }
        let sum: f64 = weights.iter().sum();
        (weights, sum)
    }

    /// Each joint case of some ages: the place of each in its nodes.
    fn cases(&self, ages: &[usize]) -> Vec<Vec<usize>> {
        let mut cases = vec![Vec::new()];
        for age in ages {
            let with = |case: &Vec<usize>| {
                let case = case.clone();
                (0..self.ages[*age].len()).map(move |node| [case.as_slice(), &[node]].concat())
            };
            cases = cases.iter().flat_map(with).collect();
        }
        cases
    }

    fn reached(&self, mode: usize, ages: &[usize], case: &[usize]) -> Vec<(f64, bool)> {
        let of = |place: &usize| {
            let at = ages.iter().position(|age| age == place).map_or(0, |p| case[p]);
            (self.ages[*place][at].0, self.choice.ages[*place].own)
        };
        self.choice.modes[mode].reached.iter().map(of).collect()
    }
}

/// A list of ages, each once.
fn each_once(ages: impl Iterator<Item = usize>) -> Vec<usize> {
    let mut out: Vec<usize> = ages.collect();
    out.sort_unstable();
    out.dedup();
    out
}

/// Where a case of some ages lies in the list of cases of fewer ages.
fn place_in(own: &[usize], counts: impl Fn(usize) -> usize, all: &[usize], case: &[usize]) -> usize {
    own.iter().fold(0, |place, age| {
        let node = all.iter().position(|a| a == age).map_or(0, |p| case[p]);
        place * counts(*age) + node
    })
}

/// How likely the ages are that a mode's parts reached, for each case of them and each treatment.
struct Reached {
    ages: Vec<usize>,
    /// Case after case, treatment after treatment.
    chance: Vec<f64>,
}

impl Reached {
    fn of(setting: &Setting<'_>, mode: usize, nodes: &Nodes) -> Self {
        let shapes = Shapes::of(&setting.choice.modes[mode], nodes.life);
        let ages = each_once(setting.choice.modes[mode].reached.iter().copied());
        let mut chance = Vec::new();
        for case in setting.cases(&ages) {
            let reached = setting.reached(mode, &ages, &case);
            chance.extend(setting.treatments.iter().map(|(z, _)| setting.given(&shapes, &reached, *z).1));
        }
        Self { ages, chance }
    }
}

/// One mode on the road ahead, for each case of the ages that bear on it and each treatment.
struct Courses {
    ages: Vec<usize>,
    /// Chance of lasting and density of failing at each node of the road; case after case, treatment after treatment.
    courses: Vec<Course>,
}

struct Course {
    lasts: Vec<f64>,
    fails: Vec<f64>,
}

/// One shape of a mode walked along the road, as work that the widest instructions can be chosen for.
struct Walking<'w> {
    /// Weight and rate of each life.
    lives: &'w [(f64, f64)],
    /// Powers of the ages on the road less that of the age at its start, and slopes of the powers.
    powers: &'w [f64],
    slopes: &'w [f64],
    course: &'w mut Course,
}

impl pulp::NullaryFnOnce for Walking<'_> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        let Course { lasts, fails } = self.course;
        for &(weight, rate) in self.lives {
            let places = lasts.iter_mut().zip(fails.iter_mut()).zip(self.powers.iter().zip(self.slopes));
            for ((lasts, fails), (power, slope)) in places {
                let left = weight * exp(-rate * power);
                *lasts += left;
                *fails += left * (rate * slope);
            }
        }
    }
}

impl Courses {
    fn of(setting: &Setting<'_>, mode: usize, age: Option<usize>, strain: f64, nodes: &Nodes) -> Self {
        let shapes = Shapes::of(&setting.choice.modes[mode], nodes.life);
        let ages = each_once(setting.choice.modes[mode].reached.iter().copied().chain(age));
        let road = setting.road;
        let mut courses = Vec::new();
        let (mut powers, mut slopes) = (vec![0.0; road.at.len()], vec![0.0; road.at.len()]);
        for case in setting.cases(&ages) {
            let at = age.map_or(0.0, |age| {
                let node = ages.iter().position(|a| *a == age).map_or(0, |p| case[p]);
                setting.ages[age][node].0
            });
            let reached = setting.reached(mode, &ages, &case);
            let ln_reached: Vec<f64> = road.at.iter().map(|x| (at + x).ln() - shapes.shift).collect();
            for (z, _) in setting.treatments {
                let (weights, sum) = setting.given(&shapes, &reached, *z);
                let mut course = Course { lasts: vec![0.0; road.at.len()], fails: vec![0.0; road.at.len()] };
                let mut weights = weights.iter();
                for (shape, lives) in &shapes.rows {
                    let start = shapes.power(*shape, at);
                    for (place, ln) in ln_reached.iter().enumerate() {
                        let power = exp(shape * ln);
                        powers[place] = power - start;
                        slopes[place] = shape * power / (at + road.at[place]);
                    }
                    let lives: Vec<(f64, f64)> =
                        lives.iter().zip(&mut weights).map(|((_, rate), w)| (w / sum, strain * z * rate)).collect();
                    ARCH.dispatch(Walking { lives: &lives, powers: &powers, slopes: &slopes, course: &mut course });
                }
                courses.push(course);
            }
        }
        Self { ages, courses }
    }
}

/// Who pays how much of a kind at a place of the road.
struct Paying {
    /// What the customer pays, for each kind.
    customer: [f64; KINDS],
    /// The party that pays the rest, for each kind.
    party: [Option<usize>; KINDS],
}

impl Way {
    fn paying(&self, travel: f64, yearly: f64, parties: &[String]) -> Paying {
        let mut paying = Paying { customer: [1.0; KINDS], party: [None; KINDS] };
        for cover in self.covers.iter().filter(|cover| travel < cover.until(yearly)) {
            let party = parties.iter().position(|name| *name == cover.party);
            for kind in 0..KINDS {
                if 1.0 - cover.pays[kind] < paying.customer[kind] {
                    paying.customer[kind] = 1.0 - cover.pays[kind];
                    paying.party[kind] = party;
                }
            }
        }
        paying
    }
}

impl Setting<'_> {
    fn way(
        &self,
        way: &Way,
        courses: &[Option<&Courses>],
        reached: &[Reached],
        parties: &[String],
    ) -> Result<MeansOf, CompareError> {
        let choice = self.choice;
        let day = choice.day();
        let bought = way.buys.iter().map(|(price, times)| times * choice.prices[*price].amount.mean()).sum();
        let surprises = way.surprises.iter().map(|s| s.chance * (s.amount.mean() + day * s.days.mean())).sum();
        let count = choice.modes.len();
        let mut out = MeansOf {
            cost: 0.0,
            bought,
            surprises,
            standing: way.days.mean() * day,
            failures: 0.0,
            left: 0.0,
            others: vec![0.0; parties.len()],
            by_mode: vec![0.0; count],
            comes: vec![0.0; count],
            trouble_free: 0.0,
            goes_on: 0.0,
        };
        let mut rates = vec![vec![0.0; self.road.at.len()]; count];
        let fitted = || courses.iter().flatten().flat_map(|course| &course.ages);
        let ages = each_once(fitted().chain(reached.iter().flat_map(|r| &r.ages)).copied());
        let counts = |age: usize| self.ages[age].len();
        let mut total = 0.0;
        for case in self.cases(&ages) {
            let chance: f64 = ages.iter().zip(&case).map(|(age, node)| self.ages[*age][*node].1).product();
            for (at, (_, weight)) in self.treatments.iter().enumerate() {
                let place = |own: &[usize]| place_in(own, counts, &ages, &case) * self.treatments.len() + at;
                let lived: f64 = reached.iter().map(|r| r.chance[place(&r.ages)]).product();
                let weight = chance * weight * lived;
                total += weight;
                let here: Vec<Option<&Course>> =
                    courses.iter().map(|c| c.map(|c| &c.courses[place(&c.ages)])).collect();
                self.add(&here, weight, &mut rates, &mut out);
            }
        }
        if !(total > 0.0 && total.is_finite()) {
            return Err(CompareError::BeyondReach);
        }
        out.trouble_free /= total;
        out.goes_on /= total;
        rates.iter_mut().flatten().for_each(|rate| *rate /= total);
        self.pay(way, &rates, parties, &mut out);
        out.failures = out.by_mode.iter().sum();
        let remains = out.goes_on + way.left_when_ended * (1.0 - out.goes_on);
        out.left = way.left.mean() * remains * (-choice.interest * choice.years).exp();
        out.cost = out.bought + out.surprises + out.standing + out.failures - out.left;
        Ok(out)
    }

    /// Adds one case of ages and treatment: how often each mode comes at each node of the road.
    fn add(&self, courses: &[Option<&Course>], weight: f64, rates: &mut [Vec<f64>], out: &mut MeansOf) {
        let (choice, road) = (self.choice, self.road);
        let fitted = || courses.iter().zip(&choice.modes).filter_map(|(course, mode)| course.map(|c| (c, mode)));
        let mut goes_on = vec![1.0; road.at.len()];
        for (course, _) in fitted().filter(|(_, mode)| mode.ends) {
            goes_on.iter_mut().zip(&course.lasts).for_each(|(all, lasts)| *all *= lasts);
        }
        for ((course, mode), rates) in courses.iter().zip(&choice.modes).zip(rates) {
            let Some(course) = course else { continue };
            for (place, rate) in rates.iter_mut().enumerate() {
                // The mode itself has not come before it comes.
                let own = if mode.ends { course.lasts[place] } else { 1.0 };
                let others = if own > 0.0 { goes_on[place] / own } else { 0.0 };
                *rate += weight * road.weight[place] * course.fails[place] * others;
            }
        }
        for (_, chance, end) in &road.yearly {
            out.goes_on += weight * chance * goes_on[*end];
            let serious = fitted().filter(|(_, mode)| mode.serious).map(|(course, _)| course.lasts[*end]);
            out.trouble_free += weight * chance * serious.product::<f64>();
        }
    }

    /// What the failures cost, and whom.
    fn pay(&self, way: &Way, rates: &[Vec<f64>], parties: &[String], out: &mut MeansOf) {
        let day = self.choice.day();
        let takes: Vec<[f64; KINDS]> = self.choice.modes.iter().map(|mode| mode.takes_on_average(day)).collect();
        for (yearly, chance, end) in &self.road.yearly {
            for (place, at) in self.road.at[..*end].iter().enumerate() {
                let at = *at;
                let worth = chance * (-self.choice.interest / yearly * at).exp();
                let paying = way.paying(at, *yearly, parties);
                for (mode, fitted) in way.fitted.iter().enumerate() {
                    let Some(fitted) = fitted else { continue };
                    let rate = rates[mode][place];
                    out.comes[mode] += chance * rate;
                    if !fitted.covered {
                        out.by_mode[mode] += worth * rate * takes[mode].iter().sum::<f64>();
                        continue;
                    }
                    for ((takes, own), party) in takes[mode].iter().zip(paying.customer).zip(paying.party) {
                        let all = worth * rate * takes;
                        out.by_mode[mode] += all * own;
                        if let Some(party) = party {
                            out.others[party] += all * (1.0 - own);
                        }
                    }
                }
            }
        }
    }
}

impl FailureMode {
    /// What a failure takes on average, days in money.
    fn takes_on_average(&self, day: f64) -> [f64; KINDS] {
        let mut takes = self.takes.map(|law| law.mean());
        takes[DAYS] *= day;
        takes
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // By definition: the weights of a road up to each horizon are an integral over it.
    #[test]
    fn a_road_integrates_powers() {
        let choice = Choice {
            currency: "crowns".to_owned(),
            years: 3.0,
            yearly: Doubtful { middle: 10e3, spread_ln: 0.3 },
            interest: 0.0,
            treatment: None,
            standing: None,
            ages: Vec::new(),
            prices: Vec::new(),
            modes: Vec::new(),
            ways: Vec::new(),
        };
        let road = Road::of(&choice, &USUAL);
        for (yearly, _, end) in &road.yearly {
            let horizon = 3.0 * yearly;
            let sum = |of: &dyn Fn(f64) -> f64| -> f64 { (0..*end).map(|k| road.weight[k] * of(road.at[k])).sum() };
            assert!((sum(&|x| x * x) / (horizon.powi(3) / 3.0) - 1.0).abs() < 1e-12, "{yearly}");
            // The root has no Taylor series at nought; the failures of new parts are like that.
            assert!((sum(&f64::sqrt) / (horizon.powf(1.5) / 1.5) - 1.0).abs() < 1e-6, "{yearly}");
        }
    }
}
