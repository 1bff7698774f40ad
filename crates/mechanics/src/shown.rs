//! How a figure of an answer is written for people, the same on paper, page and terminal.

use quantity::print::{printed, printed_with_doubt};
use quantity::{Dimension, Unit};

use crate::catalogue::{Calculator, Input, InputKind, Output, ResultLine, ResultUnit};

/// Digits of a figure without doubt.
const DIGITS: i32 = 5;

/// Digits of the same in the other unit: it is there for orientation.
const DIGITS_OF_OTHER: i32 = 4;

/// A figure as it is written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Figure {
    /// The value, to the place that its doubt allows.
    pub value: String,
    /// The unit or currency; empty for a plain ratio.
    pub unit: &'static str,
    /// The standard uncertainty to two digits, in the same unit.
    pub u: Option<String>,
    /// The same in the other common unit of a shop, with the unit: inches beside millimetres.
    pub other: Option<String>,
}

impl Figure {
    /// Value and unit, and the doubt in brackets where there is one.
    #[must_use]
    pub fn in_one(&self) -> String {
        let doubt = self.u.as_ref().map_or_else(String::new, |u| format!(" (u {u})"));
        let gap = if self.unit.is_empty() { "" } else { " " };
        format!("{}{doubt}{gap}{}", self.value, self.unit)
    }
}

/// Writes a line of an answer.
#[must_use]
pub fn figure(line: &ResultLine) -> Figure {
    let declared = match line.unit {
        ResultUnit::Measure(unit) => Some(unit),
        ResultUnit::Money(_) => None,
    };
    // In the unit that was typed first, where there is one; the declared one then stands beside it.
    let there = |unit: Unit| Some((declared?.convert(line.value, unit).ok()?, unit));
    let led = line.asked_in.and_then(there);
    let (value, symbol) = led.map_or((line.value, line.unit.symbol()), |(value, unit)| (value, unit.symbol()));
    let u = match (line.u.filter(|u| *u > 0.0), declared, led) {
        (Some(u), Some(from), Some((_, to))) => from.convert_difference(u, to).ok(),
        (u, _, _) => u,
    };
    // What is counted needs no unit, and a difference of temperature is given as it is typed.
    let symbol = match symbol {
        "1" | "pieces" => "",
        "ΔK" => "K",
        other => other,
    };
    let (value, u) = match (&line.exact, u) {
        (Some(exact), _) => (exact.clone(), None),
        (None, Some(u)) => printed_with_doubt(value, u),
        (None, None) => (least_digits(value, DIGITS, symbol), None),
    };
    let beside = match (declared, led) {
        (Some(unit), Some(_)) => Some((line.value, unit)),
        (Some(unit), None) => other_unit(unit).and_then(there),
        (None, _) => None,
    };
    let other = beside
        .map(|(value, unit)| format!("{} {}", least_digits(value, DIGITS_OF_OTHER, unit.symbol()), unit.symbol()));
    Figure { value, unit: symbol, u, other }
}

/// So many digits, but no place that a shop cannot measure: a ten-thousandth of a millimetre, a hundred-thousandth of an inch \[ours\].
fn least_digits(value: f64, digits: i32, symbol: &str) -> String {
    let (places, digits) = match symbol {
        "mm" => (1e4, digits.max(8)),
        // A ten-thousandth of an inch; small ones, a clearance or a gap, to a tenth of that.
        "in" => (if value.abs() < 0.01 { 1e5 } else { 1e4 }, 8),
        _ => return printed(value, digits),
    };
    let there = (value * places).round() / places;
    // What would be nothing but zeros keeps a digit.
    if there == 0.0 { printed(value, 1) } else { printed(there, digits) }
}

/// Units and those that the other half of the trade would use.
const PAIRS: [(Unit, Unit); 12] = [
    (Unit::MILLIMETRE, Unit::INCH),
    (Unit::MICROMETRE, Unit::THOU),
    (Unit::SQUARE_CENTIMETRE, Unit::SQUARE_INCH),
    (Unit::CUBIC_CENTIMETRE, Unit::CUBIC_INCH),
    (Unit::KILOPASCAL, Unit::PSI),
    (Unit::MEGAPASCAL, Unit::PSI),
    (Unit::BAR, Unit::PSI),
    (Unit::NEWTON, Unit::POUND_FORCE),
    (Unit::KILONEWTON, Unit::POUND_FORCE),
    (Unit::NEWTON_METRE, Unit::FOOT_POUND),
    (Unit::CELSIUS, Unit::FAHRENHEIT),
    (Unit::NEWTON_PER_MILLIMETRE, Unit::POUND_PER_INCH),
];

/// Units of inch shops that stand in no pair.
const FURTHER_INCH_UNITS: [Unit; 3] = [Unit::FOOT, Unit::INCH_POUND, Unit::POUND];

/// The unit that a result is wanted in by who typed these units, where it is another than `declared`.
///
/// What was typed of the same kind decides; where nothing was, a shop that typed inch units only has them for the result as
/// well. Volumes and temperatures are typed in cm³ and °C in inch shops too, so there only their own kind decides. Who
/// types both kinds has the declared unit.
pub(crate) fn asked_in(declared: Unit, typed: &[Unit]) -> Option<Unit> {
    let other = other_unit(declared)?;
    let inch_unit = |unit: &Unit| PAIRS.iter().any(|(_, there)| there == unit) || FURTHER_INCH_UNITS.contains(unit);
    let alike: Vec<&Unit> = typed.iter().filter(|unit| unit.dimension() == declared.dimension()).collect();
    if alike.is_empty() {
        let own_kind_alone = matches!(declared.dimension(), Dimension::Volume | Dimension::Temperature);
        let mut telling = typed.iter().filter(|unit| PAIRS.iter().any(|(a, b)| a == *unit || b == *unit)).peekable();
        let all_inch = telling.peek().is_some() && telling.all(inch_unit);
        return (all_inch && !own_kind_alone).then_some(other);
    }
    if alike.iter().all(|unit| inch_unit(unit)) {
        return Some(other);
    }
    (declared == Unit::KILOPASCAL && alike.iter().all(|unit| **unit == Unit::BAR)).then_some(Unit::BAR)
}

fn other_unit(unit: Unit) -> Option<Unit> {
    PAIRS.iter().find(|(here, _)| *here == unit).map(|(_, there)| *there)
}

impl Input {
    /// Whether it must be given, and what is taken otherwise, in words.
    #[must_use]
    pub fn need(&self) -> String {
        match (self.required, self.default) {
            (true, _) => "needed".to_owned(),
            (false, Some(default)) => format!("{default} if not given"),
            (false, None) => "may be left out".to_owned(),
        }
    }

    /// What is typed, in words: the unit, the words to choose from, or rows.
    #[must_use]
    pub fn how(&self) -> String {
        match self.kind {
            InputKind::Number => match self.unit_symbol() {
                "1" => "a plain number".to_owned(),
                "any" => "in any unit".to_owned(),
                unit => format!("in {unit}, or another unit typed behind it"),
            },
            InputKind::Text => "a word or a name".to_owned(),
            InputKind::Choice => format!("one of {}", self.choices.join(", ")),
            InputKind::Table => match (self.unit_symbol(), self.alike) {
                ("1" | "", _) => "rows of numbers".to_owned(),
                (unit, true) => format!("rows of numbers in {unit}, or another unit typed behind the last of them"),
                (unit, false) => {
                    format!("rows of numbers in {unit}, or under a row of headings with the unit, such as height (in)")
                }
            },
            InputKind::Lines => "rows of words and numbers".to_owned(),
        }
    }
}

impl Output {
    /// What it is counted in, in words: the unit, or that it is a plain number.
    #[must_use]
    pub fn counted(&self) -> String {
        match self.unit.map(Unit::symbol) {
            None => "in the unit given".to_owned(),
            Some("1") => "a plain number".to_owned(),
            Some("pieces") => "a count".to_owned(),
            Some(unit) => format!("in {unit}"),
        }
    }
}

impl Calculator {
    /// The worked call as it is typed on the command line.
    #[must_use]
    pub fn example_command(&self) -> String {
        let plain = |text: &str| !text.contains([' ', ';', '(', '\n', '*', '&', '|', '<', '>', '$', '`', '"']);
        let word = |(key, text): &(&str, &str)| {
            if plain(text) { format!("{key}={text}") } else { format!("'{key}={text}'") }
        };
        let words: Vec<String> = self.example.iter().map(word).collect();
        format!("witnessmark calc {} {}", self.id, words.join(" "))
    }
}
