//! How a figure of an answer is written for people, the same on paper, page and terminal.

use quantity::Unit;
use quantity::print::{printed, printed_with_doubt};

use crate::catalogue::{Calculator, Input, InputKind, ResultLine, ResultUnit};

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
    let unit = match line.unit.symbol() {
        "1" => "",
        symbol => symbol,
    };
    let (value, u) = match (&line.exact, line.u.filter(|u| *u > 0.0)) {
        (Some(exact), _) => (exact.clone(), None),
        (None, Some(u)) => printed_with_doubt(line.value, u),
        (None, None) => (least_digits(line.value, DIGITS, unit), None),
    };
    let other = match line.unit {
        ResultUnit::Measure(unit) => other_unit(unit).and_then(|there| {
            let value = unit.convert(line.value, there).ok()?;
            Some(format!("{} {}", least_digits(value, DIGITS_OF_OTHER, there.symbol()), there.symbol()))
        }),
        ResultUnit::Money(_) => None,
    };
    Figure { value, unit, u, other }
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
            InputKind::Table => match self.unit_symbol() {
                "1" | "" => "rows of numbers".to_owned(),
                unit => format!("rows of numbers in {unit}"),
            },
            InputKind::Lines => "rows of words and numbers".to_owned(),
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
