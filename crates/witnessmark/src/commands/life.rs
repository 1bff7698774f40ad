//! `life`: how long a part lasts, from records; how far a vehicle has truly gone; which option costs least by both.

mod compare;
mod form;

use std::path::{Path, PathBuf};

use clap::{Args, Subcommand};
use inference::life::{Caution, History, LifePosterior, LifePrior, Record, Watch};
use inference::mileage::{Age, Claim, DatedReading, Habits, MeanTravel, Origin, Standing, Travel, true_travel};
use quantity::print::printed;
use serde_json::{Value, json};

use crate::desk::{Desk, read_text};
use crate::talk::Tone;
use crate::trouble::{Done, Exit, Trouble};

/// How long a part lasts, from records of parts that failed and parts that are still good.
#[derive(Debug, Args)]
pub(crate) struct Life {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// The life that the records speak for, alone and with what was believed before.
    Fit {
        #[command(flatten)]
        records: Records,
    },
    /// The chance that a part of an age lasts further.
    Predict {
        #[command(flatten)]
        records: Records,
        /// The age of the part now, in the unit of the records.
        #[arg(long)]
        age: f64,
        /// How much further, in the same unit.
        #[arg(long)]
        ahead: f64,
    },
    /// Which of several repair options costs least over the years ahead, and what that hangs on.
    Compare(compare::Compare),
    /// What the true mileage behind a claim is likely to be.
    Mileage(Box<Mileage>),
}

/// Records, and what was believed before them.
#[derive(Debug, Args)]
struct Records {
    /// A CSV file with a heading: `seen` (failed, good or between), `at` (the age when last seen; for between, the age when found failed),
    /// `after` (for between, the last age when good), `watched_from` (`new`, or the age at the first visit). One unit throughout.
    file: PathBuf,
    /// The age by which one in ten has failed, as believed before the records.
    #[arg(long, requires = "half")]
    tenth: Option<f64>,
    /// The age by which half have failed, as believed before the records.
    #[arg(long, requires = "tenth")]
    half: Option<f64>,
    /// How sure that is: nine times in ten the true half-life lies within this factor.
    #[arg(long, default_value_t = 1.5)]
    half_factor: f64,
    /// How sure the gap between the two is, in the same way.
    #[arg(long, default_value_t = 1.5)]
    gap_factor: f64,
}

#[derive(Debug, Args)]
struct Mileage {
    /// What the odometer or the seller says.
    #[arg(long)]
    claim: f64,
    /// Age of the vehicle in years.
    #[arg(long)]
    years: f64,
    /// What such a vehicle travels in a year, in the unit of the claim.
    #[arg(long)]
    yearly: f64,
    /// Spread of that among vehicles, of its logarithm [from-memory].
    #[arg(long, default_value_t = 0.4)]
    spread: f64,
    /// An earlier reading that is trusted, as `AGE:READING`; may be given again.
    #[arg(long, value_name = "AGE:READING")]
    earlier: Vec<String>,
    /// Chance that the odometer was turned back [published: NHTSA DOT HS 809 441 (2002), abstract, first 11 years of a passenger vehicle].
    #[arg(long, default_value_t = 0.0347)]
    turned_back: f64,
    /// Chance that instrument or engine was exchanged [from-memory].
    #[arg(long, default_value_t = 0.02)]
    swapped: f64,
    /// Chance that kilometres were taken for miles or the other way round [from-memory].
    #[arg(long, default_value_t = 0.005)]
    wrong_unit: f64,
    /// A loose engine without its vehicle: its own rates must then be stated with --turned-back and --swapped.
    #[arg(long, requires_all = ["turned_back", "swapped"])]
    loose: bool,
}

impl Life {
    pub(crate) fn run(self, desk: &Desk) -> Done {
        match self.what {
            What::Fit { records } => fit(desk, &records),
            What::Predict { records, age, ahead } => predict(desk, &records, age, ahead),
            What::Compare(asked) => asked.run(desk),
            What::Mileage(asked) => asked.run(desk),
        }
    }
}

/// Least and greatest share of the true distance that is left after turning back \[from-memory\].
const LEFT_AFTER_TURNING: [f64; 2] = [0.3, 0.9];
/// Kilometres in a mile.
const RATIO: f64 = 1.609_344;

impl Records {
    fn history(&self) -> Result<History, Trouble> {
        History::of(&read_records(&self.file)?)
            .map_err(|error| Trouble::new(Exit::Usage, format!("read {}", self.file.display()), error))
    }

    fn prior(&self) -> Result<Option<LifePrior>, Trouble> {
        let (Some(tenth), Some(half)) = (self.tenth, self.half) else { return Ok(None) };
        LifePrior::from_lives(tenth, half, self.half_factor, self.gap_factor)
            .map(Some)
            .map_err(|error| Trouble::new(Exit::Usage, "take what was believed", error))
    }
}

/// Reads the records of a CSV file.
fn read_records(path: &Path) -> Result<Vec<Record>, Trouble> {
    records(&read_text(path)?, &format!("read {}", path.display()))
}

/// The records of a CSV text.
pub(crate) fn records(text: &str, doing: &str) -> Result<Vec<Record>, Trouble> {
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).comment(Some(b'#')).from_reader(text.as_bytes());
    let wrong = |line: u64, why: String| Trouble::new(Exit::Usage, doing, format!("line {line}: {why}"));
    let heading = reader.headers().map_err(|error| Trouble::new(Exit::Usage, doing, error))?.clone();
    let column = |name: &str| heading.iter().position(|cell| cell == name);
    let need = |name: &str| {
        column(name).ok_or_else(|| {
            wrong(1, format!("the heading has no {name:?}; it wants seen, at, watched_from, and after for `between`"))
        })
    };
    let (seen, at, watched, after) = (need("seen")?, need("at")?, need("watched_from")?, column("after"));
    let mut records = Vec::new();
    for row in reader.records() {
        let row = row.map_err(|error| Trouble::new(Exit::Usage, doing, error))?;
        let line = row.position().map_or(0, csv::Position::line);
        let cell = |place: usize| row.get(place).unwrap_or("");
        let number =
            |place: usize, name: &str| {
                cell(place).parse::<f64>().ok().filter(|n| n.is_finite() && *n >= 0.0).ok_or_else(|| {
                    wrong(line, format!("{name} is {:?}; give a plain number, nought or more", cell(place)))
                })
            };
        let from = match cell(watched) {
            "new" => Watch::FromNew,
            "" => {
                return Err(wrong(
                    line,
                    "watched_from is empty; give `new`, or the age at the first visit: a part that failed before it never came into the record".to_owned(),
                ));
            }
            _ => Watch::Since(number(watched, "watched_from")?),
        };
        let age = number(at, "at")?;
        records.push(match cell(seen) {
            "failed" => Record::failed(age, from),
            "good" => Record::still_good(age, from),
            "between" => {
                let place =
                    after.ok_or_else(|| wrong(1, "the heading has no \"after\", which `between` wants".to_owned()))?;
                Record::failed_between(number(place, "after")?, age, from)
            }
            other => return Err(wrong(line, format!("seen is {other:?}; it is one of failed, good, between"))),
        });
    }
    Ok(records)
}

fn words(cautions: &[Caution]) -> Vec<String> {
    cautions.iter().map(Caution::in_words).collect()
}

fn fit(desk: &Desk, asked: &Records) -> Done {
    let history = asked.history()?;
    let prior = asked.prior()?;
    let alone = history.fit();
    let believed = prior.map(|prior| LifePosterior::of(&prior, &history)).transpose();
    let believed = believed.map_err(|error| Trouble::new(Exit::Problem, "weigh the records", error))?;
    if let (Err(error), None) = (&alone, &believed) {
        let why = format!("{error}; or say what was believed before, with --tenth and --half");
        return Err(Trouble::new(Exit::Problem, "fit a life", why));
    }
    let t = &desk.talk;
    if t.json() {
        let alone = match &alone {
            Ok(fit) => json!({"shape": fit.law.shape(), "scale": fit.law.scale(), "life_10": fit.law.life_of(0.1),
                "life_50": fit.law.life_of(0.5), "ln_likelihood": fit.ln_likelihood, "spread_ln_shape": fit.spreads[0],
                "spread_ln_scale": fit.spreads[1], "cautions": words(&fit.cautions)}),
            Err(error) => json!({"no_answer_because": error.to_string()}),
        };
        let believed = believed.as_ref().map(|posterior| {
            let moments = posterior.moments();
            json!({"mean_ln_shape": moments.means[0], "mean_ln_life_50": moments.means[1], "spread_ln_shape": moments.spreads[0],
                "spread_ln_life_50": moments.spreads[1], "correlation": moments.correlation, "ln_evidence": posterior.ln_evidence(),
                "cautions": words(posterior.cautions())})
        });
        t.answer(&json!({"records": history.records(), "failures": history.failures(), "records_alone": alone,
            "with_what_was_believed": believed}))?;
        return Ok(Exit::Fine);
    }
    t.line(&format!("{} records, {} of them failed", history.records(), history.failures()), 2)?;
    match &alone {
        Ok(fit) => {
            t.line(&t.tone(Tone::Strong, "the records alone"), 2)?;
            let law = &fit.law;
            t.line(
                &format!(
                    "  one in ten has failed by {}, half by {}",
                    printed(law.life_of(0.1), 4),
                    printed(law.life_of(0.5), 4)
                ),
                4,
            )?;
            t.line(
                &format!(
                    "  Weibull shape {} (factor {} either way), scale {}",
                    printed(law.shape(), 3),
                    printed(fit.spreads[0].exp(), 3),
                    printed(law.scale(), 5)
                ),
                4,
            )?;
            for caution in words(&fit.cautions) {
                t.line(&format!("  {caution}"), 4)?;
            }
        }
        Err(error) => t.line(&format!("the records alone give no answer: {error}"), 2)?,
    }
    if let Some(posterior) = &believed {
        let moments = posterior.moments();
        t.line(&t.tone(Tone::Strong, "with what was believed before"), 2)?;
        t.line(
            &format!(
                "  half have failed by {} (factor {} either way); shape {} (factor {})",
                printed(moments.means[1].exp(), 4),
                printed(moments.spreads[1].exp(), 3),
                printed(moments.means[0].exp(), 3),
                printed(moments.spreads[0].exp(), 3)
            ),
            4,
        )?;
        for caution in words(posterior.cautions()) {
            t.line(&format!("  {caution}"), 4)?;
        }
    }
    Ok(Exit::Fine)
}

fn predict(desk: &Desk, asked: &Records, age: f64, ahead: f64) -> Done {
    let doing = "say how long it lasts";
    let history = asked.history()?;
    let (lasts, lasts_new, cautions, how) = match asked.prior()? {
        Some(prior) => {
            let posterior = LifePosterior::of(&prior, &history).map_err(|e| Trouble::new(Exit::Problem, doing, e))?;
            let of = |age| posterior.survival(age, ahead).map_err(|e| Trouble::new(Exit::Usage, doing, e));
            (of(age)?, of(0.0)?, words(posterior.cautions()), "with what was believed before")
        }
        None => {
            let fit = history.fit().map_err(|e| Trouble::new(Exit::Problem, doing, e))?;
            if !(age.is_finite() && ahead.is_finite() && age >= 0.0 && ahead >= 0.0) {
                return Err(Trouble::new(Exit::Usage, doing, "age and ahead are numbers, nought or more"));
            }
            (
                fit.law.survival(age, ahead),
                fit.law.survival(0.0, ahead),
                words(&fit.cautions),
                "from the records alone, as if their figures were sure",
            )
        }
    };
    let t = &desk.talk;
    if t.json() {
        t.answer(&json!({"age": age, "ahead": ahead, "lasts": lasts, "a_new_one_lasts": lasts_new, "how": how, "cautions": cautions}))?;
        return Ok(Exit::Fine);
    }
    let percent = |p: f64| format!("{} %", printed(100.0 * p, 3));
    t.line(
        &format!(
            "{} that it lasts {} further; a new one {} ({how})",
            t.tone(Tone::Strong, &percent(lasts)),
            printed(ahead, 6),
            percent(lasts_new)
        ),
        2,
    )?;
    for caution in cautions {
        t.line(&caution, 2)?;
    }
    Ok(Exit::Fine)
}

impl Mileage {
    fn run(self, desk: &Desk) -> Done {
        let doing = "weigh the claim";
        let mut earlier = Vec::new();
        for text in &self.earlier {
            let read = text.split_once(':').and_then(|(age, reading)| Some((age.parse().ok()?, reading.parse().ok()?)));
            let Some((age, reading)) = read else {
                return Err(Trouble::new(
                    Exit::Usage,
                    doing,
                    format!("--earlier {text} is no AGE:READING, such as 4:51000"),
                ));
            };
            earlier.push(DatedReading { age, reading });
        }
        let standing = if self.loose {
            Standing::Loose { turned_back: self.turned_back, swapped: self.swapped }
        } else {
            Standing::InItsWhole
        };
        let claim = Claim { claimed: self.claim, age: Age::Years(self.years), earlier, standing };
        let travel = Travel { mean: MeanTravel::Yearly(self.yearly), spread: self.spread };
        let habits = Habits {
            turned_back: self.turned_back,
            swapped: self.swapped,
            wrong_unit: self.wrong_unit,
            share_left: LEFT_AFTER_TURNING,
            unit_ratio: RATIO,
        };
        let truth = true_travel(&claim, &travel, &habits).map_err(|error| Trouble::new(Exit::Usage, doing, error))?;
        let at = |p| truth.place_of(p).map_err(|error| Trouble::new(Exit::Problem, doing, error));
        let (low, middle, high) = (at(0.05)?, at(0.5)?, at(0.95)?);
        let honest = truth.chance_of(Origin::Honest);
        let t = &desk.talk;
        if t.json() {
            let chance = |origin| Value::from(truth.chance_of(origin));
            t.answer(&json!({"claim": self.claim, "years": self.years, "mean": truth.mean(), "low_5": low, "middle": middle, "high_95": high,
                "more_than_a_tenth_above_the_claim": truth.beyond(1.1), "honest": honest, "turned_back": chance(Origin::TurnedBack),
                "swapped": chance(Origin::Swapped), "wrong_unit": truth.chance_of(Origin::SmallerUnit) + truth.chance_of(Origin::LargerUnit),
                "oddities": truth.oddities().iter().map(odd).collect::<Vec<_>>()}))?;
            return Ok(Exit::Fine);
        }
        let round = |distance: f64| printed(distance, 3);
        let of_ten = printed(10.0 * honest, 2);
        t.line(
            &format!(
                "A claim of {} at {} years is believed {of_ten} times in ten.",
                printed(self.claim, 6),
                printed(self.years, 3)
            ),
            2,
        )?;
        t.line(
            &format!(
                "True distance: {} on average; half the time below {}; nine times in ten between {} and {}.",
                t.tone(Tone::Strong, &round(truth.mean())),
                round(middle),
                round(low),
                round(high)
            ),
            2,
        )?;
        t.line(
            &format!(
                "turned back {} %, exchanged {} %, wrong unit {} %",
                printed(100.0 * truth.chance_of(Origin::TurnedBack), 2),
                printed(100.0 * truth.chance_of(Origin::Swapped), 2),
                printed(100.0 * (truth.chance_of(Origin::SmallerUnit) + truth.chance_of(Origin::LargerUnit)), 2)
            ),
            2,
        )?;
        for oddity in truth.oddities() {
            t.line(&odd(oddity), 2)?;
        }
        Ok(Exit::Fine)
    }
}

fn odd(oddity: &inference::mileage::Oddity) -> String {
    use inference::mileage::Oddity;
    match oddity {
        Oddity::ReadingsFall { from, to } => {
            format!("odd: an earlier reading of {from} is higher than a later one of {to}")
        }
        Oddity::ClaimBelowReading { reading } => {
            format!("odd: the claim is below an earlier reading of {reading}, so it is not the truth")
        }
    }
}
