//! Which of several ways forward costs least: exact means, the spread around them, and what first place hangs on.
//!
//! What comes in: a [`Choice`]: how far and how long the whole is used, prices with their doubt, modes of failing with
//! their lives, and the ways that are open, each of them saying what it buys, what may come on top, which parts it leaves at
//! which age, and who pays for what fails until when. What goes out: [`Means`] by quadrature, a [`Spread`] by
//! quasi-random draws in which all ways meet the same luck, and a [`Ranking`] that says who is first, by how much, and
//! what would turn it.
//!
//! Modules in reading order: `law` has amounts in doubt, `means` the exact means, `lattice` the points, `wide` functions
//! that many draws share, `draws` the draws and their spread, `ranking` what follows from both.
//!
//! # What is counted
//!
//! A way costs its prices; what may come on top (work that grows, a deposit that is lost, a comeback); the days it stands;
//! the failures within the horizon, each mode once, at the present value of the day it comes; less the present value of
//! what is left at the horizon. A mode that ends the whole stops the modes after it. Given the ages, the travel and the
//! shared treatment the modes are independent, and so the means are sums over nodes; nothing is drawn for them.
//!
//! # Source
//! The model is that of `reference/choosing`, whose scripts work out the same means and draws with other libraries.

mod draws;
mod lattice;
mod law;
mod means;
mod ranking;

mod wide;

pub use draws::{Drawn, SHARES, Spread, hangs_on, spread};
pub use lattice::even;
pub use law::Law;
pub use means::{Means, MeansOf, means};
pub use ranking::{Hinge, Place, Ranking, Turn, ranking, turns};

use crate::life::{Frailty, LifePrior};

/// What failures, and other things that go wrong, are made of; each kind can be paid by somebody else.
pub const KINDS: usize = 4;
/// Labour, that of taking apart included.
pub const LABOUR: usize = 0;
/// Parts and bought work.
pub const PARTS: usize = 1;
/// Fetching the whole from where it stopped.
pub const TOW: usize = 2;
/// Days on which the whole stands, each at the price of [`Choice::standing`].
pub const DAYS: usize = 3;

/// A figure above nought in doubt by a factor: its logarithm is normal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Doubtful {
    /// The figure that half of all lie below.
    pub middle: f64,
    /// Standard deviation of its logarithm; nought when it is known.
    pub spread_ln: f64,
}

/// An age of parts, in travel.
#[derive(Debug, Clone, PartialEq)]
pub struct Age {
    /// Its name.
    pub name: String,
    /// What it may be.
    pub belief: AgeBelief,
    /// Whether the whole itself has that age, so that its treatment is the one that lies ahead.
    pub own: bool,
}

/// What is believed about an age.
#[derive(Debug, Clone, PartialEq)]
pub enum AgeBelief {
    /// In doubt by a factor.
    Doubtful(Doubtful),
    /// Ages with their chances, as [`TrueTravel::nodes`](crate::mileage::TrueTravel::nodes) gives them.
    Nodes(Vec<(f64, f64)>),
}

/// A price that one or several ways pay.
#[derive(Debug, Clone, PartialEq)]
pub struct Price {
    /// Its name.
    pub name: String,
    /// What its amount is in.
    pub currency: String,
    /// The amount.
    pub amount: Law,
}

/// A mode of failing: how long parts last in it, and what a failure takes.
#[derive(Debug, Clone, PartialEq)]
pub struct FailureMode {
    /// Its name.
    pub name: String,
    /// What is believed about its lives, in travel.
    pub life: LifePrior,
    /// Places of the ages that parts of this mode are known to have reached still good. They speak about its lives, whichever way is taken.
    pub reached: Vec<usize>,
    /// Whether running without trouble means running without it.
    pub serious: bool,
    /// Whether it ends the whole, so that nothing fails after it.
    pub ends: bool,
    /// What a failure takes: labour, parts, towing as amounts, and days.
    pub takes: [Law; KINDS],
}

/// How the part of a mode is fitted in one way.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fitted {
    /// Place of its age among the ages; nothing for a new part.
    pub age: Option<usize>,
    /// By how much the hazard ahead is multiplied; one for a part like those its life is known from.
    pub strain: f64,
    /// Whether the covers of the way hold for it.
    pub covered: bool,
}

/// Somebody who pays for failures of covered parts, and until when.
#[derive(Debug, Clone, PartialEq)]
pub struct Cover {
    /// Who.
    pub party: String,
    /// Until how much travel; infinite for no such end.
    pub until_travel: f64,
    /// Until how many years; infinite for no such end.
    pub until_years: f64,
    /// The share that the party pays of labour, parts, towing and standing.
    pub pays: [f64; KINDS],
}

/// Something that may come on top: work that grows when the part is opened, a deposit that is lost, a comeback.
#[derive(Debug, Clone, PartialEq)]
pub struct Surprise {
    /// Its name.
    pub name: String,
    /// How likely it is.
    pub chance: f64,
    /// What it takes in money.
    pub amount: Law,
    /// What it takes in days.
    pub days: Law,
}

/// One way forward.
#[derive(Debug, Clone, PartialEq)]
pub struct Way {
    /// Its name.
    pub name: String,
    /// Places of the prices it pays, and how often; below nought for money that comes in.
    pub buys: Vec<(usize, f64)>,
    /// Days on which the whole stands at first.
    pub days: Law,
    /// What may come on top.
    pub surprises: Vec<Surprise>,
    /// How the part of each mode is fitted; nothing for a mode that cannot come.
    pub fitted: Vec<Option<Fitted>>,
    /// Who pays for failures. Of several that hold, the one that pays most does.
    pub covers: Vec<Cover>,
    /// What the whole is worth at the horizon.
    pub left: Law,
    /// The share of that which remains when a mode has ended the whole on the road.
    pub left_when_ended: f64,
}

/// What is to be chosen from.
#[derive(Debug, Clone, PartialEq)]
pub struct Choice {
    /// What all amounts are in.
    pub currency: String,
    /// How many years are looked ahead.
    pub years: f64,
    /// Travel in a year.
    pub yearly: Doubtful,
    /// What a year's wait takes off an amount, as a rate that compounds without pause.
    pub interest: f64,
    /// The treatment that all modes of the whole share.
    pub treatment: Option<Frailty>,
    /// What a day costs on which the whole stands.
    pub standing: Option<Price>,
    /// Ages that ways refer to.
    pub ages: Vec<Age>,
    /// Prices that ways refer to.
    pub prices: Vec<Price>,
    /// Modes of failing.
    pub modes: Vec<FailureMode>,
    /// The ways.
    pub ways: Vec<Way>,
}

/// Why a comparison was refused.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CompareError {
    /// There is nothing to compare.
    #[error("no way forward was given; name at least one, doing nothing being one")]
    NoWays,
    /// No time lies ahead.
    #[error(
        "the horizon is {years} years, so that nothing can fail and nothing can be compared; give a number of years above nought"
    )]
    NoHorizon {
        /// The years.
        years: f64,
    },
    /// An amount without its currency.
    #[error("the price {price:?} names no currency; write down what it is in")]
    NoCurrency {
        /// Which price.
        price: String,
    },
    /// Two currencies.
    #[error(
        "the price {price:?} is in {found}, the comparison in {expected}; convert it on a day you choose, and write down the rate"
    )]
    Currencies {
        /// Which price.
        price: String,
        /// Its currency.
        found: String,
        /// That of the comparison.
        expected: String,
    },
    /// An age below nought.
    #[error("the age {age:?} is {value}; an age is a number, nought or more")]
    NegativeAge {
        /// Which age.
        age: String,
        /// Its value.
        value: f64,
    },
    /// A number out of its range.
    #[error("{what} is {value}, but must be {must}; correct it")]
    Number {
        /// What it is.
        what: String,
        /// The number.
        value: f64,
        /// What it must be.
        must: &'static str,
    },
    /// An amount whose figures do not follow one another.
    #[error(
        "{what} goes from {low} over {likely} to {high}; give the lowest first, the likely one between, the highest last"
    )]
    Sequence {
        /// Whose.
        what: String,
        /// Lowest.
        low: f64,
        /// Likely.
        likely: f64,
        /// Highest.
        high: f64,
    },
    /// A place that does not exist.
    #[error("{what} refers to {of} number {place} (counted from 0), but there are {count}; correct the reference")]
    Nowhere {
        /// Who refers.
        what: String,
        /// To what.
        of: &'static str,
        /// Which place.
        place: usize,
        /// How many there are.
        count: usize,
    },
    /// A way buys one thing twice.
    #[error("{way:?} buys {price:?} twice; write it once, with how often it is paid")]
    Twice {
        /// Which way.
        way: String,
        /// Which price.
        price: String,
    },
    /// Two things of one name.
    #[error("two {of} are called {name:?}; give each its own name")]
    SameName {
        /// Of what.
        of: &'static str,
        /// The name.
        name: String,
    },
    /// The fittings of a way do not match the modes.
    #[error(
        "{way:?} fits {found} modes, but there are {expected}; say for each mode how its part is fitted, or that it cannot come"
    )]
    Fittings {
        /// Which way.
        way: String,
        /// How many it has.
        found: usize,
        /// How many it needs.
        expected: usize,
    },
    /// Days without a price of a day.
    #[error(
        "{what} takes days, but no day has a price; give the price of a day on which the whole stands, nought included"
    )]
    DaysWithoutPrice {
        /// Who takes them.
        what: String,
    },
    /// A life that cannot be used.
    #[error("the life of {mode:?} cannot be used: {why}")]
    Life {
        /// Which mode.
        mode: String,
        /// Why.
        why: crate::life::LifeError,
    },
    /// Too few or too many draws.
    #[error("{draws} draws were asked for; from 64 to 16777216 can be made")]
    Draws {
        /// How many.
        draws: usize,
    },
    /// What a mode is said to have lived through is beyond all belief.
    #[error(
        "an age that was reached lies so far beyond the lives that no number holds the chance of it; compare the units of ages and lives"
    )]
    BeyondReach,
}

fn number(what: impl Fn() -> String, value: f64, fits: bool, must: &'static str) -> Result<(), CompareError> {
    if value.is_finite() && fits { Ok(()) } else { Err(CompareError::Number { what: what(), value, must }) }
}

fn names<'n>(of: &'static str, names: impl Iterator<Item = &'n str>) -> Result<(), CompareError> {
    let mut seen = std::collections::BTreeSet::new();
    for name in names {
        if !seen.insert(name) {
            return Err(CompareError::SameName { of, name: name.to_owned() });
        }
    }
    Ok(())
}

impl Choice {
    /// Refuses what cannot be compared, by name.
    ///
    /// # Errors
    /// See [`CompareError`].
    pub fn ensure(&self) -> Result<(), CompareError> {
        if self.ways.is_empty() {
            return Err(CompareError::NoWays);
        }
        if !(self.years.is_finite() && self.years > 0.0) {
            return Err(CompareError::NoHorizon { years: self.years });
        }
        self.yearly.ensure("travel in a year")?;
        number(|| "the interest".to_owned(), self.interest, true, "a finite number")?;
        names("ways", self.ways.iter().map(|way| way.name.as_str()))?;
        names("modes", self.modes.iter().map(|mode| mode.name.as_str()))?;
        names("prices", self.prices.iter().map(|price| price.name.as_str()))?;
        self.prices.iter().chain(&self.standing).try_for_each(|price| self.ensure_price(price))?;
        self.ages.iter().try_for_each(Age::ensure)?;
        self.modes.iter().try_for_each(|mode| self.ensure_mode(mode))?;
        self.ways.iter().try_for_each(|way| self.ensure_way(way))
    }

    fn ensure_price(&self, price: &Price) -> Result<(), CompareError> {
        if price.currency.trim().is_empty() {
            return Err(CompareError::NoCurrency { price: price.name.clone() });
        }
        if price.currency != self.currency {
            return Err(CompareError::Currencies {
                price: price.name.clone(),
                found: price.currency.clone(),
                expected: self.currency.clone(),
            });
        }
        price.amount.ensure(|| format!("the price {:?}", price.name))
    }

    fn ensure_days(&self, what: impl Fn() -> String, days: &Law) -> Result<(), CompareError> {
        days.ensure(|| format!("the days of {}", what()))?;
        let least = days.least();
        number(|| format!("the least of the days of {}", what()), least, least >= 0.0, "nought or more")?;
        if days.mean() > 0.0 && self.standing.is_none() {
            return Err(CompareError::DaysWithoutPrice { what: what() });
        }
        Ok(())
    }

    fn ensure_age(&self, what: impl Fn() -> String, place: usize) -> Result<(), CompareError> {
        let count = self.ages.len();
        if place < count { Ok(()) } else { Err(CompareError::Nowhere { what: what(), of: "age", place, count }) }
    }

    fn ensure_mode(&self, mode: &FailureMode) -> Result<(), CompareError> {
        let name = || format!("the mode {:?}", mode.name);
        mode.life.ensure_loosely().map_err(|why| CompareError::Life { mode: mode.name.clone(), why })?;
        mode.reached.iter().try_for_each(|place| self.ensure_age(name, *place))?;
        let [labour, parts, tow, days] = &mode.takes;
        for (kind, law) in [("labour", labour), ("parts", parts), ("towing", tow)] {
            law.ensure(|| format!("the {kind} of {}", name()))?;
            number(|| format!("the least {kind} of {}", name()), law.least(), law.least() >= 0.0, "nought or more")?;
        }
        self.ensure_days(name, days)
    }

    fn ensure_way(&self, way: &Way) -> Result<(), CompareError> {
        let name = || format!("{:?}", way.name);
        let mut bought = std::collections::BTreeSet::new();
        for &(place, times) in &way.buys {
            let count = self.prices.len();
            let nowhere = || CompareError::Nowhere { what: name(), of: "price", place, count };
            let price = self.prices.get(place).ok_or_else(nowhere)?;
            number(|| format!("how often {} pays {:?}", name(), price.name), times, true, "a finite number")?;
            if !bought.insert(place) {
                return Err(CompareError::Twice { way: way.name.clone(), price: price.name.clone() });
            }
        }
        self.ensure_days(name, &way.days)?;
        for surprise in &way.surprises {
            let of = || format!("{:?} of {}", surprise.name, name());
            let chance = surprise.chance;
            number(|| format!("the chance of {}", of()), chance, (0.0..=1.0).contains(&chance), "from nought to one")?;
            surprise.amount.ensure(of)?;
            self.ensure_days(of, &surprise.days)?;
        }
        if way.fitted.len() != self.modes.len() {
            let (found, expected) = (way.fitted.len(), self.modes.len());
            return Err(CompareError::Fittings { way: way.name.clone(), found, expected });
        }
        for (fitted, mode) in way.fitted.iter().zip(&self.modes) {
            let Some(fitted) = fitted else { continue };
            let of = || format!("{:?} in {}", mode.name, name());
            number(|| format!("the strain of {}", of()), fitted.strain, fitted.strain > 0.0, "above nought")?;
            fitted.age.map_or(Ok(()), |place| self.ensure_age(of, place))?;
        }
        for cover in &way.covers {
            let of = |what: &str| format!("{what} of the cover by {:?} in {}", cover.party, name());
            for (what, until) in [("the travel", cover.until_travel), ("the years", cover.until_years)] {
                if until.is_nan() || until < 0.0 {
                    return Err(CompareError::Number { what: of(what), value: until, must: "nought or more" });
                }
            }
            for share in cover.pays {
                number(|| of("a share"), share, (0.0..=1.0).contains(&share), "from nought to one")?;
            }
        }
        way.left.ensure(|| format!("what is left of {}", name()))?;
        let kept = way.left_when_ended;
        number(
            || format!("the share left when {} ends", name()),
            kept,
            (0.0..=1.0).contains(&kept),
            "from nought to one",
        )
    }

    /// Names of all parties that pay in any way, each once.
    #[must_use]
    pub fn parties(&self) -> Vec<&str> {
        let mut parties = Vec::new();
        for cover in self.ways.iter().flat_map(|way| &way.covers) {
            if !parties.contains(&cover.party.as_str()) {
                parties.push(cover.party.as_str());
            }
        }
        parties
    }

    /// The mean price of a day on which the whole stands; nought where none has a price.
    fn day(&self) -> f64 {
        self.standing.as_ref().map_or(0.0, |price| price.amount.mean())
    }
}

impl Doubtful {
    fn ensure(&self, what: &str) -> Result<(), CompareError> {
        number(|| format!("the {what}"), self.middle, self.middle > 0.0, "above nought")?;
        number(|| format!("the spread of the {what}"), self.spread_ln, self.spread_ln >= 0.0, "nought or more")
    }

    /// The figure so many spreads above its middle.
    fn at(&self, spreads: f64) -> f64 {
        self.middle * (self.spread_ln * spreads).exp()
    }
}

impl Age {
    fn ensure(&self) -> Result<(), CompareError> {
        let refuse = |value: f64| Err(CompareError::NegativeAge { age: self.name.clone(), value });
        match &self.belief {
            AgeBelief::Doubtful(age) if !(age.middle.is_finite() && age.middle >= 0.0) => refuse(age.middle),
            AgeBelief::Doubtful(age) => {
                let spread = age.spread_ln;
                number(|| format!("the spread of the age {:?}", self.name), spread, spread >= 0.0, "nought or more")
            }
            AgeBelief::Nodes(nodes) => {
                let mut sum = 0.0;
                for &(age, chance) in nodes {
                    if !(age.is_finite() && age >= 0.0) {
                        return refuse(age);
                    }
                    let of = || format!("a chance of the age {:?}", self.name);
                    number(of, chance, chance >= 0.0, "nought or more")?;
                    sum += chance;
                }
                number(|| format!("the sum of the chances of the age {:?}", self.name), sum, sum > 0.0, "above nought")
            }
        }
    }
}
