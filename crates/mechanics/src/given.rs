//! From typed texts to numbers in the wanted units.
//!
//! A number may carry its standard uncertainty: `bore=88mm±0.01mm`; an expanded one with its factor:
//! `bore=88mm±0.02mm (k=2)`.
//!
//! A table is rows of numbers. On several lines, columns stand apart by comma, semicolon, tab or space; where
//! semicolons or tabs stand, a comma is a decimal comma. On one line, rows stand apart by semicolon and columns by
//! comma or space. A first row of words is a heading; a unit in it (`z_mm`, `z (in)`) holds for its column.

use std::collections::BTreeMap;

use quantity::{Dimension, DoubtReply, ParseError, Reply, Unit, parse_quantity, parse_with_doubt};

use crate::catalogue::{Calculator, Domain, Input, InputKind};
use crate::doubt::{DRAWS, DRAWS_TAKEN, ONE_GAUGE, Together};
use crate::error::CalcError;

/// The most rows a table may have.
const MOST_ROWS: usize = 100_000;

#[derive(Debug, Clone, PartialEq)]
struct Number {
    value: f64,
    u: f64,
    unit: Unit,
    text: String,
}

/// What a calculator was told, read and in its units.
#[derive(Debug, Clone)]
pub struct Given {
    calculator: &'static Calculator,
    numbers: BTreeMap<&'static str, Number>,
    texts: BTreeMap<&'static str, String>,
    tables: BTreeMap<&'static str, Vec<Vec<f64>>>,
    defaults: Vec<(&'static str, &'static str)>,
    together: Together,
    draws: Option<u32>,
}

impl Given {
    /// Reads the typed texts of a calculator's keys.
    ///
    /// # Shapes
    /// One pair of key and text per input, in any sequence; a hyphen in a key counts as an underline.
    /// # Errors
    /// [`CalcError`] for unknown, doubled and missing keys and for texts that are no value.
    pub fn read(calculator: &'static Calculator, pairs: &[(&str, &str)]) -> Result<Self, CalcError> {
        let mut typed: BTreeMap<&'static str, &str> = BTreeMap::new();
        let mut common: BTreeMap<&'static str, &str> = BTreeMap::new();
        for (key, text) in pairs {
            let wanted = key.trim().replace('-', "_");
            if let Some(key) = [ONE_GAUGE, DRAWS].into_iter().find(|common| *common == wanted) {
                if let Some(first) = common.insert(key, text) {
                    return Err(CalcError::Twice { key: wanted, first: shorten(first), second: shorten(text) });
                }
                continue;
            }
            let Some(input) = calculator.inputs.iter().find(|input| input.key == wanted) else {
                let known: Vec<&str> = calculator.inputs.iter().map(|input| input.key).collect();
                return Err(CalcError::UnknownKey {
                    calculator: calculator.id,
                    key: (*key).to_owned(),
                    typed: shorten(text),
                    known: format!("{}; every calculator also takes {ONE_GAUGE} and {DRAWS}", known.join(", ")),
                });
            };
            if let Some(first) = typed.insert(input.key, text) {
                return Err(CalcError::Twice { key: wanted, first: shorten(first), second: shorten(text) });
            }
        }
        let mut given = Self {
            calculator,
            numbers: BTreeMap::new(),
            texts: BTreeMap::new(),
            tables: BTreeMap::new(),
            defaults: Vec::new(),
            together: Together::default(),
            draws: None,
        };
        let mut any_unit = None;
        for input in calculator.inputs {
            let text = match (typed.get(input.key), input.default) {
                (Some(text), _) => *text,
                (None, Some(default)) => {
                    given.defaults.push((input.key, default));
                    default
                }
                (None, None) if input.required => return Err(given.missing(input.key)),
                (None, None) => continue,
            };
            match input.kind {
                InputKind::Text | InputKind::Lines => {
                    given.texts.insert(input.key, text.trim().to_owned());
                }
                InputKind::Choice => {
                    let word = text.trim();
                    let Some(choice) = input.choices.iter().find(|choice| choice.eq_ignore_ascii_case(word)) else {
                        return Err(CalcError::OutOfDomain {
                            key: input.key.to_owned(),
                            typed: shorten(text),
                            why: format!("is none of {}", input.choices.join(", ")),
                        });
                    };
                    given.texts.insert(input.key, (*choice).to_owned());
                }
                InputKind::Table => {
                    given.tables.insert(input.key, read_table(input, text)?);
                }
                InputKind::Number => {
                    let number = read_number(input, text, any_unit)?;
                    if input.unit.is_none() {
                        any_unit = any_unit.or(Some(number.unit));
                    }
                    given.numbers.insert(input.key, number);
                }
            }
        }
        if let Some(text) = common.get(ONE_GAUGE) {
            given.together = Together::read(calculator, text)?;
            given.together.check(&given.doubtful())?;
        }
        if let Some(text) = common.get(DRAWS) {
            given.draws = Some(read_draws(text)?);
        }
        Ok(given)
    }

    /// The number of a key that is required or has a default.
    ///
    /// # Errors
    /// [`CalcError::MissingKey`] when it was not given after all.
    pub fn number(&self, key: &'static str) -> Result<f64, CalcError> {
        self.optional(key).ok_or_else(|| self.missing(key))
    }

    /// The number of a key, if it was given or has a default.
    #[must_use]
    pub fn optional(&self, key: &str) -> Option<f64> {
        self.numbers.get(key).map(|number| number.value)
    }

    /// The standard uncertainty typed with a number, zero when none was.
    #[must_use]
    pub fn u(&self, key: &str) -> f64 {
        self.numbers.get(key).map_or(0.0, |number| number.u)
    }

    /// The unit a number is held in.
    #[must_use]
    pub fn unit(&self, key: &str) -> Unit {
        self.numbers.get(key).map_or(Unit::ONE, |number| number.unit)
    }

    /// The text of a key, if it was given.
    #[must_use]
    pub fn text(&self, key: &str) -> Option<&str> {
        self.texts.get(key).map(String::as_str)
    }

    /// The rows of a table, none when it was not given.
    #[must_use]
    pub fn table(&self, key: &str) -> &[Vec<f64>] {
        self.tables.get(key).map_or(&[], Vec::as_slice)
    }

    /// The complaint that a key is missing.
    #[must_use]
    pub fn missing(&self, key: &'static str) -> CalcError {
        let input = self.calculator.inputs.iter().find(|input| input.key == key);
        CalcError::MissingKey {
            calculator: self.calculator.id,
            key,
            meaning: input.map_or("", |input| input.meaning),
            example: self
                .calculator
                .example
                .iter()
                .find(|(other, _)| *other == key)
                .map_or_else(|| format!("…{}", input.map_or("", Input::unit_symbol)), |(_, text)| shorten(text)),
        }
    }

    /// The complaint that a value makes no sense.
    #[must_use]
    pub fn out_of_domain(&self, key: &'static str, why: impl Into<String>) -> CalcError {
        let typed = self
            .numbers
            .get(key)
            .map(|number| number.text.clone())
            .or_else(|| self.texts.get(key).cloned())
            .unwrap_or_default();
        CalcError::OutOfDomain { key: key.to_owned(), typed, why: why.into() }
    }

    /// The complaint that the values do not go together.
    #[must_use]
    pub fn do_not_go_together(&self, why: impl Into<String>) -> CalcError {
        CalcError::DoNotGoTogether { calculator: self.calculator.id, why: why.into() }
    }

    pub(crate) fn doubtful(&self) -> Vec<(&'static str, f64)> {
        self.numbers
            .iter()
            .filter(|(_, number)| number.u > 0.0)
            // A number of any kind is carried through by its own calculator.
            .filter(|(key, _)| self.calculator.inputs.iter().any(|input| input.key == **key && input.unit.is_some()))
            .map(|(key, number)| (*key, number.u))
            .collect()
    }

    pub(crate) const fn together(&self) -> &Together {
        &self.together
    }

    pub(crate) const fn draws(&self) -> Option<u32> {
        self.draws
    }

    /// Whether a table or lines were given.
    pub(crate) fn has_rows(&self) -> bool {
        !self.tables.is_empty()
            || self
                .calculator
                .inputs
                .iter()
                .any(|input| input.kind == InputKind::Lines && self.texts.contains_key(input.key))
    }

    /// Puts another value in the place of a number; says whether the key takes it.
    pub(crate) fn set(&mut self, key: &str, value: f64) -> bool {
        let Some(number) = self.numbers.get_mut(key) else { return false };
        number.value = value;
        let too_cold = number.unit.dimension() == Dimension::Temperature
            && number.unit.convert(value, Unit::KELVIN).is_ok_and(|kelvin| kelvin < 0.0);
        let domain = self.calculator.inputs.iter().find(|input| input.key == key).map(|input| input.domain);
        !too_cold && domain.is_some_and(|domain| domain.takes(value))
    }

    pub(crate) fn moved(&self, key: &str, by: f64) -> Self {
        let mut moved = self.clone();
        if let Some(number) = moved.numbers.get_mut(key) {
            number.value += by;
        }
        moved
    }

    pub(crate) fn notes(&self) -> Vec<String> {
        if self.defaults.is_empty() {
            return Vec::new();
        }
        let taken: Vec<String> =
            self.defaults.iter().map(|(key, text)| format!("{} {text}", key.replace('_', " "))).collect();
        vec![format!("taken, since nothing else was given: {}", taken.join(", "))]
    }
}

fn read_draws(text: &str) -> Result<u32, CalcError> {
    let (fewest, most) = DRAWS_TAKEN;
    text.trim().parse::<u32>().ok().filter(|draws| (fewest..=most).contains(draws)).ok_or_else(|| {
        CalcError::OutOfDomain {
            key: DRAWS.to_owned(),
            typed: shorten(text),
            why: format!("is no whole number from {fewest} to {most}; draws=100000 is usual"),
        }
    })
}

fn shorten(text: &str) -> String {
    if text.chars().count() <= 60 { text.to_owned() } else { text.chars().take(57).chain("…".chars()).collect() }
}

/// Whether a number of any kind is a difference of the others, which matters for temperatures.
fn is_difference(key: &str) -> bool {
    matches!(key, "u" | "repeatability" | "process_spread")
}

fn read_number(input: &Input, text: &str, any_unit: Option<Unit>) -> Result<Number, CalcError> {
    let expected =
        input.unit.or(any_unit.map(|unit: Unit| if is_difference(input.key) { unit.difference_unit() } else { unit }));
    // A number of any kind may also be bare; it then counts as a plain one.
    let reply = match (parse_with_doubt(text, expected), expected) {
        (Err(ParseError::MissingUnit { .. }), None) => parse_with_doubt(text, Some(Unit::ONE)),
        (reply, _) => reply,
    };
    let read = match reply {
        Ok(DoubtReply::Value(read)) => read,
        Ok(DoubtReply::Question(question)) => {
            return Err(CalcError::Ambiguous { key: input.key.to_owned(), question: Box::new(question) });
        }
        Err(problem @ ParseError::WrongKind { .. }) => {
            return Err(CalcError::WrongUnit {
                key: input.key.to_owned(),
                typed: text.to_owned(),
                problem: problem.to_string(),
            });
        }
        Err(problem) => {
            return Err(CalcError::NotRead {
                key: input.key.to_owned(),
                typed: text.to_owned(),
                problem: Box::new(problem),
            });
        }
    };
    let unit = expected.unwrap_or(read.typed.unit);
    let wrong = |problem: quantity::UnitError| CalcError::WrongUnit {
        key: input.key.to_owned(),
        typed: text.to_owned(),
        problem: problem.to_string(),
    };
    let value = read.typed.value_in(unit).map_err(wrong)?;
    let u = match read.u {
        Some(u) => read.typed.unit.convert_difference(u, unit).map_err(wrong)?,
        None => 0.0,
    };
    let why = match input.domain {
        Domain::Any => "is too large to compute with; look for a mistyped value".to_owned(),
        Domain::NotNegative => "is below zero; type it without a sign, or look at the key".to_owned(),
        Domain::Positive => "must be above zero; look for a mistyped value".to_owned(),
        Domain::Between(low, high) => format!("must lie between {low} and {high} {unit}"),
    };
    let absolute_zero = unit.dimension() == Dimension::Temperature
        && unit.convert(value, Unit::KELVIN).is_ok_and(|kelvin| kelvin < 0.0);
    if absolute_zero {
        return Err(CalcError::OutOfDomain {
            key: input.key.to_owned(),
            typed: text.to_owned(),
            why: "is below absolute zero; look at the sign and the unit".to_owned(),
        });
    }
    if !input.domain.takes(value) {
        return Err(CalcError::OutOfDomain { key: input.key.to_owned(), typed: text.to_owned(), why });
    }
    Ok(Number { value, u, unit, text: text.to_owned() })
}

/// Reads rows of numbers; every row has as many columns as the first.
fn read_table(input: &Input, text: &str) -> Result<Vec<Vec<f64>>, CalcError> {
    let unit = input.unit.unwrap_or(Unit::ONE);
    let bad = |row: usize, column: usize, typed: &str, why: &str| CalcError::BadTable {
        key: input.key.to_owned(),
        row,
        column,
        typed: shorten(typed),
        why: why.to_owned(),
    };
    let lines: Vec<&str> = text
        .trim_start_matches('\u{feff}')
        .lines()
        .map(str::trim)
        .filter(|line| !line.is_empty() && !line.starts_with('#'))
        .collect();
    let several = lines.len() > 1;
    let lines: Vec<&str> = if several {
        lines
    } else {
        lines.into_iter().flat_map(|line| line.split(';')).map(str::trim).filter(|line| !line.is_empty()).collect()
    };
    if lines.len() > MOST_ROWS {
        return Err(bad(MOST_ROWS + 1, 1, "", "is one row too many; split the table"));
    }
    let wide_separator = several && lines.iter().any(|line| line.contains([';', '\t']));
    let mut column_units: Vec<Unit> = Vec::new();
    let mut rows: Vec<Vec<f64>> = Vec::new();
    for line in lines {
        let cells: Vec<&str> = if wide_separator {
            line.split([';', '\t']).map(str::trim).collect()
        } else if line.contains(',') {
            line.split(',').map(str::trim).collect()
        } else {
            line.split_whitespace().collect()
        };
        let is_heading = rows.is_empty()
            && column_units.is_empty()
            && cells.iter().all(|cell| cell.starts_with(char::is_alphabetic));
        if is_heading {
            column_units = cells
                .iter()
                .map(|cell| heading_unit(cell).filter(|found| found.dimension() == unit.dimension()).unwrap_or(unit))
                .collect();
            continue;
        }
        let row = rows.len() + 1;
        let mut numbers = Vec::with_capacity(cells.len());
        for (place, cell) in cells.iter().enumerate() {
            let expected = column_units.get(place).copied().unwrap_or(unit);
            if let Some(number) = plain_number(cell).filter(|_| expected == unit && reads_plainly(unit)) {
                numbers.push(number);
                continue;
            }
            let decimal_point =
                if wide_separator && !cell.contains('.') { cell.replace(',', ".") } else { (*cell).to_owned() };
            match parse_quantity(&decimal_point, Some(expected)) {
                Ok(Reply::Value(typed)) => {
                    let value =
                        typed.value_in(unit).map_err(|problem| bad(row, place + 1, cell, &problem.to_string()))?;
                    numbers.push(value);
                }
                Ok(Reply::Question(question)) => {
                    return Err(bad(row, place + 1, cell, &format!("has two readings: {}", question.ask)));
                }
                Err(problem) => return Err(bad(row, place + 1, cell, &format!("is no number: {problem}"))),
            }
        }
        if let Some(first) = rows.first().filter(|first| first.len() != numbers.len()) {
            let why = format!(
                "ends a row of {} columns, the first row has {}; give every row the same columns",
                numbers.len(),
                first.len()
            );
            return Err(bad(row, numbers.len(), cells.last().copied().unwrap_or(""), &why));
        }
        rows.push(numbers);
    }
    if rows.is_empty() {
        return Err(bad(1, 1, "", "holds no numbers; give rows such as 0,0,0.02"));
    }
    Ok(rows)
}

/// Whether digits with a decimal point have one reading for this unit.
fn reads_plainly(unit: Unit) -> bool {
    !unit.dimension().is_never_typed_to_a_thousandth()
}

/// A number of at most fifteen digits with nothing but a minus before and a point in it. Most cells of a large table are such,
/// and the reader of what people type, which takes them apart exactly, comes to the same number far more slowly.
fn plain_number(cell: &str) -> Option<f64> {
    let digits = cell.strip_prefix('-').unwrap_or(cell);
    let (whole, decimals) = digits.split_once('.').unwrap_or((digits, "0"));
    let only_digits = |part: &str| !part.is_empty() && part.bytes().all(|byte| byte.is_ascii_digit());
    if digits.len() > 16 || !only_digits(whole) || !only_digits(decimals) {
        return None;
    }
    // Adding zero turns a minus zero into a plain one.
    cell.parse::<f64>().ok().map(|number| number + 0.0)
}

fn heading_unit(heading: &str) -> Option<Unit> {
    let inside = heading.split_once(['(', '[']).and_then(|(_, rest)| rest.split([')', ']']).next());
    let behind = heading.rsplit_once('_').map(|(_, unit)| unit);
    let apart = heading.rsplit_once(' ').map(|(_, unit)| unit);
    [inside, behind, apart].into_iter().flatten().find_map(|text| Unit::from_symbol(text).ok())
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use quantity::{Reply, Unit, parse_quantity};

    use super::plain_number;

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(5000))]

        #[test]
        fn a_plain_cell_reads_as_the_reader_of_what_people_type_reads_it(cell in "-?[0-9]{1,9}(\\.[0-9]{1,6})?") {
            let number = plain_number(&cell);
            prop_assert!(number.is_some());
            match parse_quantity(&cell, Some(Unit::MILLIMETRE)) {
                Ok(Reply::Value(typed)) => prop_assert_eq!(typed.number.to_bits(), number.unwrap_or(f64::NAN).to_bits()),
                other => prop_assert!(false, "{:?}", other),
            }
        }
    }

    #[test]
    fn what_is_more_than_digits_goes_to_the_full_reader() {
        for cell in
            ["", "-", ".", "1.", ".5", "1e3", "0,5", "3 thou", "+1", "--1", "1.2.3", "NaN", "inf", "12345678901234567"]
        {
            assert_eq!(plain_number(cell), None, "{cell}");
        }
    }
}
