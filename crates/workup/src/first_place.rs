//! How sure the first place is: what is cheapest most often, and at which price another option would overtake.
//!
//! An option's average falls one for one with its price, so the difference of two averages is the price at which they are
//! level. Struck-out options do not count.

use serde::Serialize;

use crate::money::OptionLine;
use crate::words;

/// From this difference of shares on, an option counts as cheapest more often than the one that leads \[ours: about three
/// standard errors of a share over the drawn engines\].
const MORE_OFTEN: f64 = 0.025;
/// Options named with the price at which they would be level \[ours\].
const NAMED: usize = 3;

/// How sure the first place among the options is.
#[derive(Debug, Clone, Serialize)]
pub struct FirstPlace {
    /// The option that costs least on average.
    pub least: String,
    /// The option that is cheapest in the end most often, where that is another one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub most_often: Option<String>,
    /// The others, the nearest first.
    pub others: Vec<Level>,
    /// The same in sentences.
    pub words: Vec<String>,
}

/// How much less an option must ask to cost as little on average as the one that leads.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Level {
    /// The option.
    pub option: String,
    /// In labour units.
    pub units: f64,
    /// In money, where the hourly rate is told: currency and amount.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub money: Option<(String, f64)>,
}

impl FirstPlace {
    /// Gives it for options in the sequence of a case, the cheapest on average first; nothing where all are struck out.
    #[must_use]
    pub fn among(options: &[OptionLine]) -> Option<Self> {
        let mut open = options.iter().filter(|o| o.struck_out.is_none());
        let least = open.next()?;
        let others: Vec<&OptionLine> = open.collect();
        let often = others.iter().max_by(|a, b| a.p_first.total_cmp(&b.p_first));
        let often = often.filter(|o| o.p_first > least.p_first + MORE_OFTEN);
        let mut words = Vec::new();
        if let Some(often) = often {
            words.push(format!(
                "{} costs least on average; {} is the cheapest in the end more often ({} against {} of 10 engines like this) and loses more when it goes wrong",
                least.name,
                words::within(&often.name),
                of_ten(often.p_first),
                of_ten(least.p_first)
            ));
        }
        let level = |o: &&OptionLine| Level {
            option: o.id.clone(),
            units: o.expected - least.expected,
            money: o
                .money
                .as_ref()
                .zip(least.money.as_ref())
                .map(|(o, l)| (o.currency.clone(), o.expected - l.expected)),
        };
        let levels: Vec<Level> = others.iter().map(level).collect();
        if let (Some(next), Some(level)) = (others.first(), levels.first()) {
            words.push(format!(
                "{} leads until it costs {} more; then {} overtakes",
                least.name,
                amount(level),
                words::within(&next.name)
            ));
        }
        for (other, level) in others.iter().zip(&levels).skip(1).take(NAMED - 1) {
            words.push(format!("{} would be level at {} less", other.name, amount(level)));
        }
        let most_often = often.map(|o| o.id.clone());
        Some(Self { least: least.id.clone(), most_often, others: levels, words })
    }
}

fn of_ten(p: f64) -> String {
    match 10.0 * p {
        n if n < 0.5 => "hardly one".to_owned(),
        n => format!("{n:.0}"),
    }
}

fn amount(level: &Level) -> String {
    match &level.money {
        Some((currency, amount)) => format!("{currency}\u{a0}{}", words::grouped(*amount)),
        None => format!("{:.1} labour units", level.units),
    }
}
