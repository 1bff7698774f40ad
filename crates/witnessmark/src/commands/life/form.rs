//! The file that `life compare` reads: repair options described as data, in TOML or JSON.
//!
//! Amounts are in the currency of the file, distances in miles. What the file leaves out has no doubt, costs nothing or pays
//! nothing; what a part's age is, and which failures cannot come, must be said.

use std::collections::BTreeMap;
use std::path::Path;

use inference::compare::{Age, AgeBelief, Choice, Cover, Doubtful, FailureMode, Fitted, Law, Price, Surprise, Way};
use inference::life::{Belief, Frailty, LifePrior};
use serde::Deserialize;

use crate::desk::read_text;
use crate::trouble::{Exit, Trouble};

/// The age of a part fitted new.
const NEW: &str = "new";

/// All that a comparison takes.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Form {
    #[serde(default)]
    currency: String,
    horizon_years: f64,
    yearly_miles: Factor,
    #[serde(default)]
    interest_per_year: f64,
    /// Variance of the treatment that all parts of the vehicle share.
    shared_treatment_variance: Option<f64>,
    standing_per_day: Option<Amount>,
    #[serde(default)]
    ages: Vec<FormAge>,
    #[serde(default)]
    prices: Vec<FormPrice>,
    #[serde(default)]
    modes: Vec<FormMode>,
    options: Vec<FormOption>,
}

/// A figure in doubt by a factor.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields)]
struct Factor {
    middle: f64,
    #[serde(default)]
    spread_ln: f64,
}

/// An amount of money or days.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(
    untagged,
    deny_unknown_fields,
    expecting = "an amount is a number, or low, likely and high (with sides = \"straight\" where it is a triangle), or middle and spread_ln"
)]
enum Amount {
    Known(f64),
    Between { low: f64, likely: f64, high: f64, sides: Option<Sides> },
    ByFactor { middle: f64, spread_ln: f64 },
}

#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Sides {
    Rounded,
    Straight,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct FormAge {
    name: String,
    miles: FormMiles,
    /// Whether it is that of this vehicle.
    #[serde(default)]
    own: bool,
}

#[derive(Debug, Deserialize)]
#[serde(
    untagged,
    deny_unknown_fields,
    expecting = "miles are a number, middle and spread_ln, or a list of [miles, chance]"
)]
enum FormMiles {
    Known(f64),
    ByFactor(Factor),
    Chances(Vec<(f64, f64)>),
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct FormPrice {
    name: String,
    #[serde(default)]
    currency: String,
    amount: Amount,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct FormMode {
    name: String,
    tenth_miles: Option<f64>,
    half_miles: Option<f64>,
    half_factor: Option<f64>,
    gap_factor: Option<f64>,
    shape: Option<Factor>,
    scale_miles: Option<Factor>,
    #[serde(default)]
    serious: bool,
    #[serde(default)]
    ends: bool,
    /// Names of ages that such parts reached still good.
    #[serde(default)]
    reached: Vec<String>,
    labour: Option<Amount>,
    parts: Option<Amount>,
    tow: Option<Amount>,
    days: Option<Amount>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct FormOption {
    name: String,
    #[serde(default)]
    buys: Vec<Buy>,
    days: Option<Amount>,
    /// What may come on top: machine work that grows, a core deposit that is lost, a comeback.
    #[serde(default)]
    on_top: Vec<OnTop>,
    #[serde(default)]
    fitted: BTreeMap<String, FormFitted>,
    /// Names of modes that cannot come, or `["all"]`.
    #[serde(default)]
    cannot_come: Vec<String>,
    #[serde(default)]
    warranties: Vec<Warranty>,
    value_left: Option<Amount>,
    #[serde(default = "one")]
    value_left_share_after_end: f64,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Buy {
    price: String,
    #[serde(default = "one")]
    times: f64,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct OnTop {
    name: String,
    chance: f64,
    amount: Option<Amount>,
    days: Option<Amount>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct FormFitted {
    /// `new`, or the name of an age.
    age: String,
    #[serde(default = "one")]
    strain: f64,
    #[serde(default)]
    covered: bool,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Warranty {
    by: String,
    until_miles: Option<f64>,
    until_years: Option<f64>,
    pays: Pays,
}

/// Shares that somebody pays.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(
    untagged,
    deny_unknown_fields,
    expecting = "pays is one share from 0 to 1 for everything, or shares of labour, parts, tow and days"
)]
enum Pays {
    Everything(f64),
    Each {
        #[serde(default)]
        labour: f64,
        #[serde(default)]
        parts: f64,
        #[serde(default)]
        tow: f64,
        #[serde(default)]
        days: f64,
    },
}

fn one() -> f64 {
    1.0
}

fn law(amount: Option<Amount>) -> Law {
    match amount {
        None => Law::NOUGHT,
        Some(Amount::Known(amount)) => Law::Known(amount),
        Some(Amount::Between { low, likely, high, sides: Some(Sides::Straight) }) => {
            Law::Triangular { low, likely, high }
        }
        Some(Amount::Between { low, likely, high, .. }) => Law::Rounded { low, likely, high },
        Some(Amount::ByFactor { middle, spread_ln }) => Law::ByFactor { middle, spread_ln },
    }
}

impl From<Factor> for Doubtful {
    fn from(Factor { middle, spread_ln }: Factor) -> Self {
        Self { middle, spread_ln }
    }
}

impl Form {
    /// Reads a file by its ending.
    pub(super) fn read(path: &Path) -> Result<Self, Trouble> {
        let text = read_text(path)?;
        let wrong = |error: String| Trouble::new(Exit::Usage, format!("read {}", path.display()), error);
        if path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("toml")) {
            return toml::from_str(&text).map_err(|error| wrong(error.to_string().trim_end().to_owned()));
        }
        serde_json::from_str(&text).map_err(|error| wrong(error.to_string()))
    }

    /// The choice that the file describes; what it refers to by name is looked up.
    pub(super) fn choice(self) -> Result<Choice, String> {
        let ages: Vec<String> = self.ages.iter().map(|age| age.name.clone()).collect();
        let prices: Vec<String> = self.prices.iter().map(|price| price.name.clone()).collect();
        let modes: Vec<String> = self.modes.iter().map(|mode| mode.name.clone()).collect();
        if ages.iter().any(|age| age == NEW) {
            return Err("an age is called \"new\", which is what a new part has; give it another name".to_owned());
        }
        let treatment = self.shared_treatment_variance.filter(|variance| *variance != 0.0).map(Frailty::of_variance);
        let treatment = treatment.transpose().map_err(|error| error.to_string())?;
        let standing = self.standing_per_day.map(|amount| Price {
            name: "a day of standing".to_owned(),
            currency: self.currency.clone(),
            amount: law(Some(amount)),
        });
        let (ages, prices, names) = (Names("age", &ages), Names("price", &prices), Names("mode", &modes));
        let made: Result<Vec<FailureMode>, String> = self.modes.into_iter().map(|mode| mode.made(&ages)).collect();
        let ways: Result<Vec<Way>, String> =
            self.options.into_iter().map(|option| option.made(&ages, &prices, &names)).collect();
        Ok(Choice {
            currency: self.currency,
            years: self.horizon_years,
            yearly: self.yearly_miles.into(),
            interest: self.interest_per_year,
            treatment,
            standing,
            ages: self.ages.into_iter().map(FormAge::made).collect(),
            prices: self
                .prices
                .into_iter()
                .map(|price| Price { name: price.name, currency: price.currency, amount: law(Some(price.amount)) })
                .collect(),
            modes: made?,
            ways: ways?,
        })
    }
}

/// Names that others refer to, and what they are names of.
struct Names<'n>(&'static str, &'n [String]);

impl Names<'_> {
    fn place(&self, who: &str, name: &str) -> Result<usize, String> {
        let Self(of, names) = self;
        names.iter().position(|known| known == name).ok_or_else(|| {
            let known = names.iter().map(|known| format!("{known:?}")).collect::<Vec<_>>().join(", ");
            let known = if known.is_empty() { "none".to_owned() } else { known };
            format!(
                "{who:?} refers to the {of} {name:?}, which the file does not have (it has {known}); correct the name"
            )
        })
    }
}

impl FormAge {
    fn made(self) -> Age {
        let belief = match self.miles {
            FormMiles::Known(miles) => AgeBelief::Doubtful(Doubtful { middle: miles, spread_ln: 0.0 }),
            FormMiles::ByFactor(miles) => AgeBelief::Doubtful(miles.into()),
            FormMiles::Chances(chances) => AgeBelief::Nodes(chances),
        };
        Age { name: self.name, belief, own: self.own }
    }
}

impl FormMode {
    fn life(&self) -> Result<LifePrior, String> {
        let of = |error: inference::life::LifeError| format!("the life of {:?}: {error}", self.name);
        let positive = |what: &str, figure: Factor| {
            if figure.middle > 0.0 {
                return Ok(Belief { mean: figure.middle.ln(), spread: figure.spread_ln });
            }
            Err(format!("the {what} of {:?} is {}, but must be above nought; correct it", self.name, figure.middle))
        };
        match (self.tenth_miles, self.half_miles, self.shape, self.scale_miles) {
            (Some(tenth), Some(half), None, None) => {
                let (half_factor, gap_factor) = (self.half_factor.unwrap_or(1.5), self.gap_factor.unwrap_or(1.5));
                LifePrior::from_lives(tenth, half, half_factor, gap_factor).map_err(of)
            }
            (None, None, Some(shape), Some(scale)) => Ok(LifePrior {
                ln_shape: positive("shape", shape)?,
                ln_life: positive("scale", scale)?,
                share: -(-1.0_f64).exp_m1(),
            }),
            _ => Err(format!(
                "the life of {:?} is not clear; give tenth_miles and half_miles (with half_factor and gap_factor), or shape and scale_miles",
                self.name
            )),
        }
    }

    fn made(self, ages: &Names<'_>) -> Result<FailureMode, String> {
        let life = self.life()?;
        let reached: Result<Vec<usize>, String> = self.reached.iter().map(|age| ages.place(&self.name, age)).collect();
        Ok(FailureMode {
            name: self.name,
            life,
            reached: reached?,
            serious: self.serious,
            ends: self.ends,
            takes: [self.labour, self.parts, self.tow, self.days].map(law),
        })
    }
}

impl FormOption {
    fn made(self, ages: &Names<'_>, prices: &Names<'_>, modes: &Names<'_>) -> Result<Way, String> {
        let name = &self.name;
        let none = matches!(self.cannot_come.as_slice(), [all] if all == "all");
        for told in self.fitted.keys().chain(self.cannot_come.iter().filter(|_| !none)) {
            modes.place(name, told)?;
        }
        let mut fitted = Vec::new();
        for mode in modes.1 {
            let stands = self.fitted.get(mode);
            let left_out = none || self.cannot_come.contains(mode);
            fitted.push(match stands {
                Some(_) if left_out => {
                    return Err(format!("{name:?} fits {mode:?} and says that it cannot come; leave one of them out"));
                }
                Some(part) => {
                    let age = if part.age == NEW { None } else { Some(ages.place(name, &part.age)?) };
                    Some(Fitted { age, strain: part.strain, covered: part.covered })
                }
                None if left_out => None,
                None => {
                    return Err(format!(
                        "{name:?} does not say how old its part for {mode:?} is; name it under fitted, or under cannot_come"
                    ));
                }
            });
        }
        let buys: Result<Vec<(usize, f64)>, String> =
            self.buys.iter().map(|buy| Ok((prices.place(name, &buy.price)?, buy.times))).collect();
        let cover = |warranty: Warranty| Cover {
            party: warranty.by,
            until_travel: warranty.until_miles.unwrap_or(f64::INFINITY),
            until_years: warranty.until_years.unwrap_or(f64::INFINITY),
            pays: match warranty.pays {
                Pays::Everything(share) => [share; 4],
                Pays::Each { labour, parts, tow, days } => [labour, parts, tow, days],
            },
        };
        let surprise =
            |top: OnTop| Surprise { name: top.name, chance: top.chance, amount: law(top.amount), days: law(top.days) };
        Ok(Way {
            buys: buys?,
            days: law(self.days),
            surprises: self.on_top.into_iter().map(surprise).collect(),
            fitted,
            covers: self.warranties.into_iter().map(cover).collect(),
            left: law(self.value_left),
            left_when_ended: self.value_left_share_after_end,
            name: self.name,
        })
    }
}
