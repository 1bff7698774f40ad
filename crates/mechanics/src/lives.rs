//! How long a part lasts, and what lies behind a claimed mileage.
//!
//! The laws are those of [`inference::life`] and [`inference::mileage`]; here stand the words and the units of the bench.

use inference::life::{Caution, History, LifeError, LifePosterior, LifePrior, Nodes, Record, Watch};
use inference::mileage::{
    Age, Claim, DatedReading, Habits, MeanTravel, MileageError, Oddity, Origin, Standing, Travel, true_travel,
};
use quantity::print::printed;
use quantity::{Dimension, Unit};

use crate::catalogue::{Calculator, Computed, Domain, Group, Input, Output};
use crate::error::CalcError;
use crate::given::Given;

/// Least and greatest share of the true distance that is left after turning back \[from-memory\].
const LEFT_AFTER_TURNING: [f64; 2] = [0.3, 0.9];
/// Kilometres in a mile, exactly.
const KILOMETRES_IN_A_MILE: f64 = 1.609_344;
/// Nodes of the posterior: an answer that a person waits for can have more than the usual 15 \[ours\].
const NODES: Nodes = Nodes::Hermite(25);
/// Further than this many half-lives the time until half have failed is not looked for \[ours\].
const FURTHEST: f64 = 50.0;

/// The true mileage behind a claim.
pub const MILEAGE: Calculator = Calculator {
    id: "mileage",
    group: Group::Lives,
    name: "Mileage behind a claim",
    meaning: "how far to believe a claimed mileage, and what the true one is likely to be",
    inputs: &[
        Input::any_number("claim", "what the odometer or the seller says, in miles or kilometres")
            .within(Domain::Positive),
        Input::number("years", Unit::ONE, "age of the vehicle in years, at the end of its use for a loose engine")
            .within(Domain::Between(0.01, 150.0)),
        Input::any_number("yearly", "what such a vehicle travels in a year, in the unit of the claim or its own")
            .within(Domain::Positive),
        Input::number("spread", Unit::ONE, "spread of that among vehicles of one age, of its natural logarithm")
            .or("0.4")
            .within(Domain::Between(0.01, 3.0)),
        Input::table(
            "earlier",
            Unit::ONE,
            "earlier readings that are trusted, one a row: age in years, reading in the unit of the claim",
        )
        .optional(),
        Input::choice(
            "standing",
            "whether the engine still sits in the vehicle whose odometer is quoted",
            &["in-vehicle", "loose"],
        )
        .or("in-vehicle"),
        Input::number(
            "turned_back",
            Unit::PERCENT,
            "chance that the figure was lowered; 3.47 % for a vehicle, to be stated for a loose engine",
        )
        .optional()
        .within(Domain::Between(0.0, 100.0)),
        Input::number(
            "swapped",
            Unit::PERCENT,
            "chance that instrument or engine is another one; 2 % for a vehicle, to be stated for a loose engine",
        )
        .optional()
        .within(Domain::Between(0.0, 100.0)),
        Input::number(
            "wrong_unit",
            Unit::PERCENT,
            "chance that miles were taken for kilometres or the other way round",
        )
        .or("0.5 %")
        .within(Domain::Between(0.0, 100.0)),
    ],
    outputs: &[
        Output::new("honest", Unit::ONE, "chance that the claim is the truth"),
        Output::new("turned_back", Unit::ONE, "chance that it was lowered"),
        Output::new("swapped", Unit::ONE, "chance that it belongs to another instrument or engine"),
        Output::new("wrong_unit", Unit::ONE, "chance that it is in the other unit"),
        Output::any("mean", "true mileage on average"),
        Output::any("low", "one time in twenty it is below this"),
        Output::any("middle", "half the time it is at most this"),
        Output::any("high", "one time in twenty it is above this"),
        Output::new("beyond_a_tenth", Unit::ONE, "chance that the truth is more than a tenth above the claim"),
    ],
    workings: &[
        "each way in which a claim comes about (honest, turned_back, swapped, wrong_unit) is weighed by its chance beforehand times how likely such a claim is under it, true mileages being lognormal about yearly × years with spread",
        "honest is the weight of an honest claim over the sum of all weights",
        "turned_back is the weight of a lowered figure over that sum",
        "swapped is the weight of another instrument or engine over that sum",
        "wrong_unit is the weight of miles taken for kilometres, or the other way round, over that sum",
        "mean is the mean of the true mileage over all ways, each by its weight",
        "low is its twentieth part from below",
        "middle is its half",
        "high is its twentieth part from above",
        "beyond_a_tenth is the weight of true mileages over 1.1 × claim",
    ],
    sources: &[
        "Bayes' rule over the ways in which a claim comes about, worked out here",
        "3.47 per cent turned back within the first 11 years of a passenger vehicle: NHTSA, DOT HS 809 441 (2002), abstract [published]",
        "share left after turning back from 30 to 90 per cent, 2 per cent swapped, 0.5 per cent in the wrong unit, spread 0.4 [from-memory]",
    ],
    example: &[("claim", "58000 mi"), ("years", "13"), ("yearly", "12000 mi")],
    cautions: &[],
    formula: mileage,
};

fn mileage(given: &Given) -> Result<Computed, CalcError> {
    let (claimed, years, yearly) = (given.number("claim")?, given.number("years")?, given.number("yearly")?);
    let unit = given.unit("claim");
    if !matches!(unit.dimension(), Dimension::Distance | Dimension::Length | Dimension::Ratio) {
        return Err(given.out_of_domain("claim", "is no distance; give miles or kilometres, or a plain number"));
    }
    let loose = given.text("standing") == Some("loose");
    let rate = |key: &'static str, usual: f64| match given.optional(key) {
        Some(percent) => Ok(percent / 100.0),
        None if loose => Err(given.missing(key)),
        None => Ok(usual),
    };
    let (turned_back, swapped) = (rate("turned_back", 0.0347)?, rate("swapped", 0.02)?);
    let earlier = given.table("earlier").iter().enumerate().map(|(at, row)| match row.as_slice() {
        [age, reading] => Ok(DatedReading { age: *age, reading: *reading }),
        _ => Err(CalcError::BadTable {
            key: "earlier".to_owned(),
            row: at + 1,
            column: row.len(),
            typed: row.last().map(f64::to_string).unwrap_or_default(),
            why: "ends a row that is not age and reading; give two numbers a row, such as 4, 51000".to_owned(),
        }),
    });
    let claim = Claim {
        claimed,
        age: Age::Years(years),
        earlier: earlier.collect::<Result<_, _>>()?,
        standing: if loose { Standing::Loose { turned_back, swapped } } else { Standing::InItsWhole },
    };
    let travel = Travel { mean: MeanTravel::Yearly(yearly), spread: given.number("spread")? };
    let habits = Habits {
        turned_back,
        swapped,
        wrong_unit: given.number("wrong_unit")? / 100.0,
        share_left: LEFT_AFTER_TURNING,
        unit_ratio: KILOMETRES_IN_A_MILE,
    };
    let refused = |error: MileageError| given.do_not_go_together(error.to_string());
    let truth = true_travel(&claim, &travel, &habits).map_err(refused)?;
    let honest = truth.chance_of(Origin::Honest);
    let mut computed = Computed::default();
    computed.put("honest", honest);
    computed.put("turned_back", truth.chance_of(Origin::TurnedBack));
    computed.put("swapped", truth.chance_of(Origin::Swapped));
    computed.put("wrong_unit", truth.chance_of(Origin::SmallerUnit) + truth.chance_of(Origin::LargerUnit));
    computed.put_in("mean", truth.mean(), unit);
    for (key, p) in [("low", 0.05), ("middle", 0.5), ("high", 0.95)] {
        computed.put_in(key, truth.place_of(p).map_err(refused)?, unit);
    }
    computed.put("beyond_a_tenth", truth.beyond(1.1));
    let symbol = if unit == Unit::ONE { String::new() } else { format!(" {}", unit.symbol()) };
    let (claimed, years) = (printed(claimed, 6), printed(years, 3));
    computed.note(format!("a claim of {claimed}{symbol} at {years} years is believed {}", often(honest)));
    for odd in truth.oddities() {
        computed.note(match odd {
            Oddity::ReadingsFall { from, to } => {
                format!("odd: an earlier reading of {from} is higher than a later one of {to}")
            }
            Oddity::ClaimBelowReading { reading } => {
                format!("odd: the claim is below an earlier reading of {reading}, so it is not the truth")
            }
        });
    }
    if loose {
        computed.note("a loose engine has no odometer: its figure is word of mouth, and the two rates are your own");
    }
    Ok(computed)
}

/// A chance as people say it: so many times in so many.
fn often(p: f64) -> String {
    const OF: [u32; 8] = [2, 3, 4, 5, 10, 20, 50, 100];
    if p < 0.005 {
        return "less than once in 100".to_owned();
    }
    if p > 0.995 {
        return "more than 99 times in 100".to_owned();
    }
    // The smallest number that comes within a fiftieth, near the ends within a fifth of what is left.
    let near = (0.2 * p.min(1.0 - p)).min(0.02);
    let times = |of: u32| ((p * f64::from(of)).round().max(1.0), of);
    let fits = |(n, of): &(f64, u32)| (n / f64::from(*of) - p).abs() <= near && *n < f64::from(*of);
    let (n, of) = OF.into_iter().map(times).find(fits).unwrap_or_else(|| times(100));
    if n > 1.0 { format!("{n} times in {of}") } else { format!("once in {of}") }
}

/// How long a part lasts further.
pub const LIFE_SURVIVAL: Calculator = Calculator {
    id: "life-survival",
    group: Group::Lives,
    name: "How long a part lasts",
    meaning: "the chance that a part of an age lasts further, from two lives that you state and from records",
    inputs: &[
        Input::any_number("tenth", "the age by which one in ten has failed, in miles, kilometres, hours or years")
            .within(Domain::Positive),
        Input::any_number("half", "the age by which half have failed").within(Domain::Positive),
        Input::any_number("age", "the age of the part now; nothing for a new one").within(Domain::NotNegative),
        Input::any_number("ahead", "how much further it is to last").within(Domain::NotNegative),
        Input::number("half_factor", Unit::ONE, "how sure the half-life is: nine times in ten it lies within this factor")
            .or("1.5")
            .within(Domain::Between(1.01, 20.0)),
        Input::number("gap_factor", Unit::ONE, "how sure the gap between the two lives is, in the same way")
            .or("1.5")
            .within(Domain::Between(1.01, 20.0)),
        Input::lines(
            "records",
            "parts seen, one a row: failed AGE FROM, good AGE FROM, or between AGE AGE FROM; FROM is new, or the age at the first visit",
        )
        .optional(),
    ],
    outputs: &[
        Output::new("lasts", Unit::ONE, "chance that it lasts so much further"),
        Output::new("a_new_one_lasts", Unit::ONE, "the same for a new one"),
        Output::any("half_left", "how much further until half of those that reached this age have failed"),
        Output::new("shape", Unit::ONE, "Weibull shape: above one a part that wears, below one early trouble"),
        Output::any("half_life", "the age by which half have failed, records counted"),
    ],
    workings: &[
        "every life is a Weibull law with the chance exp(-(age / scale)^shape) to reach an age; tenth and half give shape and scale, half_factor and gap_factor how sure they are, and each of records weighs them by its own chance",
        "lasts is the chance to reach age + ahead over the chance to reach age, both on average over the lives weighed so",
        "a_new_one_lasts is the same for age nothing",
        "half_left is the ahead at which lasts is one half",
        "shape is the weighed mean of the shapes, by their logarithm",
        "half_life is the weighed mean of the half-lives, by their logarithm",
    ],
    sources: &[
        "Weibull lives: NIST/SEMATECH e-Handbook of Statistical Methods, section 8.1.6.2 [published]",
        "that a part reached its age speaks for the lives under which it could: conditional chance, worked out here",
    ],
    example: &[
        ("tenth", "70000 mi"),
        ("half", "160000 mi"),
        ("age", "120000 mi"),
        ("ahead", "36000 mi"),
    ],
    cautions: &[
        "A chance is no promise: parts whose failure wrecks the engine or hurts someone are renewed when the engine's own manual says so.",
    ],
    formula: life_survival,
};

fn life_survival(given: &Given) -> Result<Computed, CalcError> {
    let refused = |error: LifeError| given.do_not_go_together(error.to_string());
    let unit = given.unit("tenth");
    if unit.dimension() == Dimension::Temperature {
        return Err(given.out_of_domain("tenth", "is a temperature; give a distance, a time or a plain number"));
    }
    let (tenth, half) = (given.number("tenth")?, given.number("half")?);
    let (age, ahead) = (given.number("age")?, given.number("ahead")?);
    let prior = LifePrior::from_lives(tenth, half, given.number("half_factor")?, given.number("gap_factor")?);
    let records = records(given)?;
    let history = History::of(&records).map_err(refused)?;
    let posterior = LifePosterior::on(NODES, &prior.map_err(refused)?, &history).map_err(refused)?;
    let lasts = |ahead: f64| posterior.survival(age, ahead).map_err(refused);
    let moments = posterior.moments();
    let [ln_shape, ln_life] = moments.means;
    let mut computed = Computed::default();
    computed.put("lasts", lasts(ahead)?);
    computed.put("a_new_one_lasts", posterior.survival(0.0, ahead).map_err(refused)?);
    let half_left = until_half(lasts, FURTHEST * half)?;
    match half_left {
        Some(further) => computed.put_in("half_left", further, unit),
        None => computed.note("half of them last longer than these lives can say"),
    }
    computed.put("shape", ln_shape.exp());
    computed.put_in("half_life", ln_life.exp(), unit);
    if records.is_empty() {
        computed.note("no records were given: the answer is what was stated, and no more");
    } else {
        for caution in posterior.cautions() {
            computed.note(Caution::in_words(caution));
        }
    }
    Ok(computed)
}

/// How far until the chance has fallen to one half, to nine digits; nothing where it has not within `most`.
fn until_half(lasts: impl Fn(f64) -> Result<f64, CalcError>, most: f64) -> Result<Option<f64>, CalcError> {
    if lasts(most)? > 0.5 {
        return Ok(None);
    }
    let (mut low, mut high) = (0.0, most);
    while high - low > 1e-9 * high {
        let middle = f64::midpoint(low, high);
        if middle <= low || middle >= high {
            break;
        }
        if lasts(middle)? > 0.5 { low = middle } else { high = middle }
    }
    Ok(Some(high))
}

/// Reads the rows of parts seen.
fn records(given: &Given) -> Result<Vec<Record>, CalcError> {
    let text = given.text("records").unwrap_or_default();
    let rows = text.split(['\n', ';']).map(str::trim).filter(|row| !row.is_empty() && !row.starts_with('#'));
    rows.enumerate().map(|(at, row)| record(at + 1, row)).collect()
}

fn record(row: usize, text: &str) -> Result<Record, CalcError> {
    let words: Vec<&str> = text.split([',', ' ', '\t']).filter(|word| !word.is_empty()).collect();
    let bad = |column: usize, why: &str| CalcError::BadTable {
        key: "records".to_owned(),
        row,
        column,
        typed: words.get(column - 1).map_or_else(|| text.chars().take(60).collect(), |w| w.chars().take(60).collect()),
        why: why.to_owned(),
    };
    let number = |column: usize| {
        let read = words.get(column - 1).and_then(|word| word.parse::<f64>().ok());
        read.filter(|n| n.is_finite() && *n >= 0.0)
            .ok_or_else(|| bad(column, "is no age; give a plain number, nought or more, in the unit of tenth"))
    };
    let from = |column: usize| match words.get(column - 1) {
        Some(&"new") => Ok(Watch::FromNew),
        Some(_) => number(column).map(Watch::Since),
        None => Err(bad(
            column,
            "does not say since when it was watched; end the row with new, or with the age at the first visit",
        )),
    };
    let (record, columns) = match words.first() {
        Some(&"failed") => (Record::failed(number(2)?, from(3)?), 3),
        Some(&"good") => (Record::still_good(number(2)?, from(3)?), 3),
        Some(&"between") => (Record::failed_between(number(2)?, number(3)?, from(4)?), 4),
        _ => return Err(bad(1, "is none of failed, good, between")),
    };
    if words.len() > columns {
        return Err(bad(columns + 1, "is one word too many; one part a row"));
    }
    Ok(record)
}

#[cfg(test)]
mod tests {
    use super::often;

    #[test]
    fn a_chance_is_said_as_people_say_it() {
        let said = [0.681, 0.956, 0.144, 0.5, 0.9, 0.02, 0.999, 0.001].map(often);
        assert_eq!(
            said,
            [
                "2 times in 3",
                "19 times in 20",
                // 0.15 lies within a fiftieth of 0.144.
                "3 times in 20",
                "once in 2",
                "9 times in 10",
                "once in 50",
                "more than 99 times in 100",
                "less than once in 100"
            ]
        );
    }
}
