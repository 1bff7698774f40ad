//! How far a whole has truly travelled, when its instrument says so and may lie.
//!
//! What comes in: the [`Claim`] with the age, earlier dated readings and whether the part still sits in its whole; how far
//! wholes travel ([`Travel`], also by a [`Schedule`] of survival and travel); how often instruments lie ([`Habits`]). What
//! goes out: a [`TrueTravel`], the chance of every distance and of every way in which the claim can have come about.
//!
//! True travel is lognormal about its mean for the age. The claim is the truth, or the truth turned back to a share of it,
//! or that of another instrument, or the truth in the other unit of distance. All weights are in closed form but one: turned
//! back after an earlier reading.
//!
//! No rate in here has a default. How often instruments are turned back is known for whole vehicles only and roughly; a
//! part sold loose has no instrument to be read, its figure is word of mouth, and its rates must be stated
//! ([`Standing::Loose`]).

mod schedule;

pub use schedule::{Schedule, Year};

use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::normal;
use crate::quadrature::{Rule, legendre};
use std::sync::LazyLock;

/// Nodes of each spread-out piece of the answer.
const NODES: usize = 24;

static RULE: LazyLock<Rule> = LazyLock::new(|| legendre(NODES));
static FINE: LazyLock<Rule> = LazyLock::new(|| legendre(2 * NODES));

/// Why a question about travel was refused.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum MileageError {
    /// A row of a schedule is wrong.
    #[error("row {row} (counted from 0) of the schedule {name:?} is wrong: {why}; correct the table")]
    Schedule {
        /// The schedule.
        name: String,
        /// The row.
        row: usize,
        /// What is wrong.
        why: &'static str,
    },
    /// A number that must be above nought is not.
    #[error("the {what} is {value}, but must be a number above nought; correct it")]
    NotPositive {
        /// What the number is.
        what: &'static str,
        /// The number.
        value: f64,
    },
    /// The rates are no chances, or leave nothing to the truth.
    #[error(
        "the rates of lying are {turned_back}, {swapped} and {wrong_unit}; each must be nought or more, and their sum below one"
    )]
    Rates {
        /// Turned back.
        turned_back: f64,
        /// Swapped.
        swapped: f64,
        /// In the wrong unit.
        wrong_unit: f64,
    },
    /// The share left after turning back.
    #[error(
        "an instrument turned back shows a share from {from} to {to} of the truth; both must lie between 0 and 1, the first lower"
    )]
    ShareLeft {
        /// Least share.
        from: f64,
        /// Greatest share.
        to: f64,
    },
    /// An earlier reading is not earlier.
    #[error(
        "the reading at {reading_age} years is not earlier than the claim at {age} years; correct its date, or take it as the claim"
    )]
    NotEarlier {
        /// Age at the reading.
        reading_age: f64,
        /// Age at the claim.
        age: f64,
    },
    /// Earlier readings need an age.
    #[error("earlier readings are given, but no age; state the age to which the claim belongs")]
    AgeNeeded,
    /// An unknown age needs a schedule.
    #[error("the age is not known and travel is given by the year; hand in a schedule, or state the age")]
    ScheduleNeeded,
    /// The claim cannot have come about in any of the ways considered.
    #[error(
        "a claim of {claimed} cannot have come about in any way considered; correct it, or allow for an instrument that was swapped"
    )]
    Impossible {
        /// The claim.
        claimed: f64,
    },
}

/// How far wholes travel.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Travel {
    /// The mean.
    pub mean: MeanTravel,
    /// Spread of the logarithm of the distance among wholes of one age.
    pub spread: f64,
}

/// Mean distance by age.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum MeanTravel {
    /// The same each year.
    Yearly(f64),
    /// By a table.
    ByAge(Schedule),
}

/// How often instruments lie, and by how much.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Habits {
    /// Chance of having been turned back since the latest earlier reading that is trusted, or since new.
    pub turned_back: f64,
    /// Chance that instrument or part was exchanged, so that the claim belongs to another one.
    pub swapped: f64,
    /// Chance that the figure is in the other unit of distance; either way is equally likely.
    pub wrong_unit: f64,
    /// Least and greatest share of the truth that is left after turning back; all between are equally likely.
    pub share_left: [f64; 2],
    /// How many of the smaller unit of distance make the larger.
    pub unit_ratio: f64,
}

/// Whether the part still sits in the whole whose instrument is quoted.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub enum Standing {
    /// It does, and the habits hold.
    InItsWhole,
    /// It is loose. Nobody has counted how often such figures are untrue, so the caller states these two.
    Loose {
        /// Chance that the figure was lowered.
        turned_back: f64,
        /// Chance that the figure belongs to another part.
        swapped: f64,
    },
}

/// How old the whole is, at the time of the claim or at the end of its use.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub enum Age {
    /// So many years.
    Years(f64),
    /// Not known, and in use: ages weigh by the schedule's share in use.
    InUse,
    /// Not known, and out of use: ages weigh by how many end in them.
    OutOfUse,
}

/// A reading of the instrument at an earlier age that is trusted.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct DatedReading {
    /// Age in years.
    pub age: f64,
    /// What the instrument showed.
    pub reading: f64,
}

/// What is claimed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Claim {
    /// The distance.
    pub claimed: f64,
    /// The age.
    pub age: Age,
    /// Trusted readings at earlier ages. The highest bounds the truth from below, and only the travel since then is open; a
    /// claim that fits on to it leaves little room for turning back.
    pub earlier: Vec<DatedReading>,
    /// Whether the part sits in its whole.
    pub standing: Standing,
}

/// How a claim can have come about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Origin {
    /// It is the truth.
    Honest,
    /// The truth was lowered.
    TurnedBack,
    /// It is that of another instrument or part.
    Swapped,
    /// It counts the smaller unit and was taken for the larger: the truth is less.
    SmallerUnit,
    /// It counts the larger unit and was taken for the smaller: the truth is more.
    LargerUnit,
}

/// Something odd about the readings that the reader of the answer must be told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Oddity {
    /// An earlier reading is higher than a later one.
    ReadingsFall {
        /// The higher, earlier reading.
        from: f64,
        /// The lower, later one.
        to: f64,
    },
    /// The claim is lower than an earlier reading, so it is not the truth.
    ClaimBelowReading {
        /// That reading.
        reading: f64,
    },
}

/// What is believed of the true distance.
#[derive(Debug, Clone, PartialEq)]
pub struct TrueTravel {
    claimed: f64,
    pieces: Vec<Piece>,
    oddities: Vec<Oddity>,
}

/// One way at one age, its chance, and the law of the truth then.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Piece {
    origin: Origin,
    chance: f64,
    law: Law,
}

/// Travel since a base, lognormal.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Since {
    base: f64,
    mu: f64,
    spread: f64,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Law {
    /// One distance.
    At(f64),
    /// The base and travel since.
    Free(Since),
    /// The same, weighed by one over the truth and cut to a range.
    Back(Since, [f64; 2]),
}

/// Gives what is believed of the true distance behind a claim.
///
/// # Units
/// Claim, readings and travel in one unit of distance; ages in years.
///
/// # Errors
/// [`MileageError`] names the figure that is wrong or missing.
///
/// # Source
/// Bayes' rule over the five origins; [`Origin::TurnedBack`] without readings: the integral of density over truth is
/// exp(-mu + s^2/2) times a difference of two normal chances. Reference values in `reference/life`.
pub fn true_travel(claim: &Claim, travel: &Travel, habits: &Habits) -> Result<TrueTravel, MileageError> {
    let rates = Rates::of(claim, habits)?;
    positive("claimed distance", claim.claimed)?;
    positive("spread of travel", travel.spread)?;
    let base = base(claim)?;
    let mut pieces = Vec::new();
    for (age, chance) in ages(claim, travel)? {
        positive("age", age)?;
        if let Some(late) = claim.earlier.iter().find(|reading| reading.age >= age) {
            return Err(MileageError::NotEarlier { reading_age: late.age, age });
        }
        let own = travel.since(base, age)?;
        let any = travel.since(DatedReading { age: 0.0, reading: 0.0 }, age)?;
        pieces.extend(weigh(claim.claimed, chance, &own, &any, habits, &rates));
    }
    let sum: f64 = pieces.iter().map(|piece| piece.chance).sum();
    if !(sum.is_finite() && sum > 0.0) {
        return Err(MileageError::Impossible { claimed: claim.claimed });
    }
    pieces.retain(|piece| piece.chance > 0.0);
    pieces.iter_mut().for_each(|piece| piece.chance /= sum);
    Ok(TrueTravel { claimed: claim.claimed, pieces, oddities: oddities(claim) })
}

impl TrueTravel {
    /// The chance that the claim came about in this way.
    #[must_use]
    pub fn chance_of(&self, origin: Origin) -> f64 {
        self.pieces.iter().filter(|piece| piece.origin == origin).map(|piece| piece.chance).sum()
    }

    /// The mean of the true distance.
    #[must_use]
    pub fn mean(&self) -> f64 {
        self.pieces.iter().map(|piece| piece.chance * piece.law.mean()).sum()
    }

    /// The chance that the true distance is at most this.
    #[must_use]
    pub fn at_most(&self, distance: f64) -> f64 {
        self.pieces.iter().map(|piece| piece.chance * piece.law.at_most(distance)).sum()
    }

    /// The chance that the true distance is more than the claim times a factor.
    #[must_use]
    pub fn beyond(&self, factor: f64) -> f64 {
        (1.0 - self.at_most(factor * self.claimed)).max(0.0)
    }

    /// The least distance that the truth does not exceed with the chance `p`; good to 1e-9 of itself.
    ///
    /// # Errors
    /// [`MileageError::NotPositive`] unless `p` lies strictly between nought and one.
    pub fn place_of(&self, p: f64) -> Result<f64, MileageError> {
        positive("chance", p)?;
        positive("rest of the chance", 1.0 - p)?;
        let (mut low, mut high) = (0.0, self.claimed);
        while self.at_most(high) < p && high < f64::MAX / 4.0 {
            (low, high) = (high, 2.0 * high);
        }
        while high - low > 1e-10 * high {
            let middle = 0.5 * (low + high);
            if self.at_most(middle) < p { low = middle } else { high = middle }
        }
        Ok(high)
    }

    /// Distances with their chances that stand for the whole answer, for use as doubtful ages of a part: one for each exact
    /// distance, 24 for each spread-out piece.
    #[must_use]
    pub fn nodes(&self) -> Vec<(f64, f64)> {
        self.pieces.iter().flat_map(|piece| piece.law.nodes(&RULE).map(|(m, w)| (m, w * piece.chance))).collect()
    }

    /// What is odd about the readings.
    #[must_use]
    pub fn oddities(&self) -> &[Oddity] {
        &self.oddities
    }
}

/// Rates for one claim.
#[derive(Debug, Clone, Copy)]
struct Rates {
    honest: f64,
    turned_back: f64,
    swapped: f64,
    wrong_unit: f64,
}

impl Rates {
    fn of(claim: &Claim, habits: &Habits) -> Result<Self, MileageError> {
        let (turned_back, swapped) = match claim.standing {
            Standing::InItsWhole => (habits.turned_back, habits.swapped),
            Standing::Loose { turned_back, swapped } => (turned_back, swapped),
        };
        let wrong_unit = habits.wrong_unit;
        let honest = 1.0 - turned_back - swapped - wrong_unit;
        if !([turned_back, swapped, wrong_unit].iter().all(|rate| *rate >= 0.0) && honest > 0.0) {
            return Err(MileageError::Rates { turned_back, swapped, wrong_unit });
        }
        let [from, to] = habits.share_left;
        if !(from > 0.0 && from < to && to <= 1.0) {
            return Err(MileageError::ShareLeft { from, to });
        }
        positive("ratio of the units", habits.unit_ratio)?;
        Ok(Self { honest, turned_back, swapped, wrong_unit })
    }
}

/// The pieces of one age, their chances not yet divided by their sum.
fn weigh(claimed: f64, chance: f64, own: &Since, any: &Since, habits: &Habits, rates: &Rates) -> [Piece; 5] {
    let [from, to] = habits.share_left;
    let range = [(claimed / to).max(own.base), claimed / from];
    let ratio = habits.unit_ratio;
    let piece = |origin, weight: f64, law| Piece { origin, chance: chance * weight, law };
    [
        piece(Origin::Honest, rates.honest * own.density(claimed), Law::At(claimed)),
        piece(Origin::TurnedBack, rates.turned_back * own.over_truth(range) / (to - from), Law::Back(*own, range)),
        piece(Origin::Swapped, rates.swapped * any.density(claimed), Law::Free(*own)),
        piece(
            Origin::SmallerUnit,
            0.5 * rates.wrong_unit * own.density(claimed / ratio) / ratio,
            Law::At(claimed / ratio),
        ),
        piece(
            Origin::LargerUnit,
            0.5 * rates.wrong_unit * own.density(claimed * ratio) * ratio,
            Law::At(claimed * ratio),
        ),
    ]
}

impl Travel {
    /// The law of the travel from a reading to an age.
    fn since(&self, base: DatedReading, age: f64) -> Result<Since, MileageError> {
        let mean = match &self.mean {
            MeanTravel::Yearly(yearly) => yearly * (age - base.age),
            MeanTravel::ByAge(schedule) => schedule.travelled(age) - schedule.travelled(base.age),
        };
        let mu = positive("mean travel up to the claim", mean)?.ln() - 0.5 * self.spread * self.spread;
        Ok(Since { base: base.reading, mu, spread: self.spread })
    }
}

impl Since {
    /// How many spreads a truth lies from the middle; minus infinity at the base and below.
    fn z(&self, truth: f64) -> f64 {
        let travel = truth - self.base;
        if travel > 0.0 { (travel.ln() - self.mu) / self.spread } else { f64::NEG_INFINITY }
    }

    fn density(&self, truth: f64) -> f64 {
        let z = self.z(truth);
        if z.is_finite() { normal::ln_density(z).exp() / ((truth - self.base) * self.spread) } else { 0.0 }
    }

    /// The integral of density over truth in a range.
    fn over_truth(&self, [low, high]: [f64; 2]) -> f64 {
        if high <= low {
            return 0.0;
        }
        if self.base > 0.0 {
            return self.along([low, high], &FINE).map(|(truth, weight)| weight / truth).sum();
        }
        let s = self.spread;
        (0.5 * s * s - self.mu).exp() * normal::between(self.z(low) + s, self.z(high) + s)
    }

    /// Truths in a range and their weights by the density, evenly by spreads from the middle, as far as anything is left.
    fn along(&self, [low, high]: [f64; 2], rule: &Rule) -> impl Iterator<Item = (f64, f64)> {
        // Past this the density has fallen by exp(-40) from where it is greatest in the range.
        let reach = |z: f64| (z * z + 80.0).sqrt();
        let (z_low, z_high) = (self.z(low), self.z(high));
        let from = z_low.max(-reach(z_high.min(0.0)));
        let to = z_high.min(reach(z_low.max(0.0)));
        rule.iter().map(move |(x, weight)| {
            let z = from + (to - from) * x;
            (self.base + (self.mu + self.spread * z).exp(), normal::ln_density(z).exp() * (to - from) * weight)
        })
    }

    /// Truths in a range and their weights by the density, evenly by probability.
    fn in_range(&self, [low, high]: [f64; 2], rule: &Rule) -> impl Iterator<Item = (f64, f64)> {
        let (z_low, z_high) = (self.z(low), self.z(high));
        let mass = normal::between(z_low, z_high);
        // Counted from the nearer end of the law, so that the far tail keeps its digits.
        let upper = z_low > 0.0;
        let start = if upper { normal::below(-z_high) } else { normal::below(z_low) };
        rule.iter().map(move |(x, weight)| {
            let z = normal::place(start + mass * x);
            let z = if upper { -z } else { z };
            (self.base + (self.mu + self.spread * z).exp(), mass * weight)
        })
    }
}

impl Law {
    fn mean(&self) -> f64 {
        match self {
            Self::At(truth) => *truth,
            Self::Free(since) => since.base + (since.mu + 0.5 * since.spread * since.spread).exp(),
            // Truth times density over truth is the density.
            Self::Back(since, [low, high]) => {
                normal::between(since.z(*low), since.z(*high)) / since.over_truth([*low, *high])
            }
        }
    }

    fn at_most(&self, distance: f64) -> f64 {
        match self {
            Self::At(truth) => f64::from(u8::from(*truth <= distance)),
            Self::Free(since) => normal::below(since.z(distance)),
            Self::Back(since, [low, high]) => {
                since.over_truth([*low, distance.min(*high)]) / since.over_truth([*low, *high])
            }
        }
    }

    fn nodes(&self, rule: &Rule) -> Box<dyn Iterator<Item = (f64, f64)>> {
        match self {
            Self::At(truth) => Box::new(std::iter::once((*truth, 1.0))),
            Self::Free(since) => {
                let all: Vec<_> = since.in_range([since.base, f64::INFINITY], rule).collect();
                Box::new(all.into_iter())
            }
            Self::Back(since, range) if since.base <= 0.0 => {
                // Without a base the weight 1/truth only moves the middle of the law.
                let moved = Since { mu: since.mu - since.spread * since.spread, ..*since };
                let all: Vec<_> = moved.in_range(*range, rule).collect();
                let sum: f64 = all.iter().map(|(_, weight)| weight).sum();
                Box::new(all.into_iter().map(move |(truth, weight)| (truth, weight / sum)))
            }
            Self::Back(since, range) => {
                let all: Vec<_> = since.along(*range, rule).map(|(truth, weight)| (truth, weight / truth)).collect();
                let sum: f64 = all.iter().map(|(_, weight)| weight).sum();
                Box::new(all.into_iter().map(move |(truth, weight)| (truth, weight / sum)))
            }
        }
    }
}

/// The highest earlier reading, or new.
fn base(claim: &Claim) -> Result<DatedReading, MileageError> {
    let mut base = DatedReading { age: 0.0, reading: 0.0 };
    for reading in &claim.earlier {
        positive("earlier reading", reading.reading)?;
        positive("age at an earlier reading", reading.age)?;
        if reading.reading > base.reading {
            base = *reading;
        }
    }
    Ok(base)
}

fn ages(claim: &Claim, travel: &Travel) -> Result<Vec<(f64, f64)>, MileageError> {
    let schedule = match &travel.mean {
        MeanTravel::ByAge(schedule) => Ok(schedule),
        MeanTravel::Yearly(_) => Err(MileageError::ScheduleNeeded),
    };
    match claim.age {
        Age::Years(age) => Ok(vec![(age, 1.0)]),
        Age::InUse | Age::OutOfUse if !claim.earlier.is_empty() => Err(MileageError::AgeNeeded),
        Age::InUse => Ok(schedule?.ages_in_use()),
        Age::OutOfUse => Ok(schedule?.ages_at_end()),
    }
}

fn oddities(claim: &Claim) -> Vec<Oddity> {
    let mut readings = claim.earlier.clone();
    readings.sort_by(|a, b| a.age.total_cmp(&b.age));
    let falls = readings.iter().zip(readings.iter().skip(1)).filter(|(a, b)| b.reading < a.reading);
    let mut odd: Vec<Oddity> = falls.map(|(a, b)| Oddity::ReadingsFall { from: a.reading, to: b.reading }).collect();
    let highest = readings.iter().map(|reading| reading.reading).fold(0.0, f64::max);
    if claim.claimed < highest {
        odd.push(Oddity::ClaimBelowReading { reading: highest });
    }
    odd
}

fn positive(what: &'static str, value: f64) -> Result<f64, MileageError> {
    if value.is_finite() && value > 0.0 { Ok(value) } else { Err(MileageError::NotPositive { what, value }) }
}
