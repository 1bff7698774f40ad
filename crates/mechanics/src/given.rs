//! From typed texts to numbers in the wanted units.
//!
//! A number may carry its standard uncertainty: `bore=88mm±0.01mm`; an expanded one with its factor:
//! `bore=88mm±0.02mm (k=2)`.
//!
//! A table is rows of numbers. On several lines, columns stand apart by comma, semicolon, tab or space; where
//! semicolons or tabs stand, a comma is a decimal comma. On one line, rows stand apart by semicolon and columns by
//! comma or space. A first row of words is a heading; a unit in it (`z_mm`, `z (in)`) holds for its column. Where all cells
//! are one kind of reading, a unit typed behind one of them holds for all that have none (`175,170,168,135 psi`); elsewhere a
//! column has a unit behind each of its cells or behind none, since a bare cell could mean either.

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
    typed_in: Unit,
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
    typed_in: Vec<Unit>,
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
            typed_in: Vec::new(),
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
                    let table = read_table(input, text)?;
                    given.typed_in.extend(table.units);
                    given.tables.insert(input.key, table.rows);
                }
                InputKind::Number => {
                    let number = read_number(input, text, any_unit)?;
                    match input.unit {
                        None => any_unit = any_unit.or(Some(number.unit)),
                        Some(_) if typed.contains_key(input.key) => given.typed_in.push(number.typed_in),
                        Some(_) => {}
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

    /// The units in which numbers and tables with a declared unit were typed.
    pub(crate) fn typed_in(&self) -> &[Unit] {
        &self.typed_in
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
        let said = |(key, text): &(&'static str, &'static str)| {
            let Some(input) = self.calculator.inputs.iter().find(|input| input.key == *key) else {
                return format!("{} {text}", key.replace('_', " "));
            };
            // A word to choose is written as people write it; a figure is left as it is.
            let text = if input.kind == InputKind::Choice { text.replace('-', " ") } else { (*text).to_owned() };
            // What it is, without what its field adds.
            let what = input.meaning.split([';', ':']).next().unwrap_or(input.meaning);
            format!("{what}: {text}")
        };
        let taken: Vec<String> = self.defaults.iter().map(said).collect();
        vec![format!("taken, since nothing else was given: {}", taken.join("; "))]
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
    Ok(Number { value, u, unit, typed_in: read.typed.unit, text: text.to_owned() })
}

/// A table as read: its rows in the unit of its input, and the units it was typed in.
struct Table {
    rows: Vec<Vec<f64>>,
    units: Vec<Unit>,
}

/// Reads rows of numbers; every row has as many columns as the first.
fn read_table(input: &Input, text: &str) -> Result<Table, CalcError> {
    let unit = input.unit.unwrap_or(Unit::ONE);
    let lines = lines_of(text);
    let (lines, several) = (lines.0, lines.1);
    if lines.len() > MOST_ROWS {
        return Err(bad_cell(input, MOST_ROWS + 1, 1, "", "is one row too many; split the table"));
    }
    let wide_separator = several && lines.iter().any(|line| line.contains([';', '\t']));
    let mut grid: Vec<Vec<&str>> = lines.iter().map(|line| cells_of(line, wide_separator)).collect();
    let heading = grid.first().is_some_and(|cells| cells.iter().all(|cell| cell.starts_with(char::is_alphabetic)));
    let headings = if heading { grid.remove(0) } else { Vec::new() };
    let alike = |found: &Unit| found.dimension() == unit.dimension();
    let column_units: Vec<Option<Unit>> =
        headings.iter().map(|cell| heading_unit(cell).filter(|found| alike(found))).collect();
    let bare = BareCells::of(input, &grid, &column_units)?;
    let mut units: Vec<Unit> = column_units.iter().flatten().copied().chain(bare.typed.iter().copied()).collect();
    let mut rows: Vec<Vec<f64>> = Vec::with_capacity(grid.len());
    for (above, cells) in grid.iter().enumerate() {
        let row = above + 1;
        let mut numbers = Vec::with_capacity(cells.len());
        for (place, cell) in cells.iter().enumerate() {
            let expected = column_units.get(place).copied().flatten().or(bare.unit).unwrap_or(unit);
            if let Some(number) = plain_number(cell).filter(|_| expected == unit && reads_plainly(unit)) {
                numbers.push(number);
                continue;
            }
            let decimal_point =
                if wide_separator && !cell.contains('.') { cell.replace(',', ".") } else { (*cell).to_owned() };
            match parse_quantity(&decimal_point, Some(expected)) {
                Ok(Reply::Value(typed)) => {
                    let wrong = |why: &str| bad_cell(input, row, place + 1, cell, why);
                    numbers.push(typed.value_in(unit).map_err(|problem| wrong(&problem.to_string()))?);
                }
                Ok(Reply::Question(question)) => {
                    let why = format!("has two readings: {}", question.ask);
                    return Err(bad_cell(input, row, place + 1, cell, &why));
                }
                Err(problem) => {
                    return Err(bad_cell(input, row, place + 1, cell, &format!("is no number: {problem}")));
                }
            }
        }
        if let Some(first) = rows.first().filter(|first| first.len() != numbers.len()) {
            let why = format!(
                "ends a row of {} columns, the first row has {}; give every row the same columns",
                numbers.len(),
                first.len()
            );
            return Err(bad_cell(input, row, numbers.len(), cells.last().copied().unwrap_or(""), &why));
        }
        rows.push(numbers);
    }
    if rows.is_empty() {
        return Err(bad_cell(input, 1, 1, "", "holds no numbers; give rows such as 0,0,0.02"));
    }
    if units.is_empty() {
        units.push(unit);
    }
    Ok(Table { rows, units })
}

fn bad_cell(input: &Input, row: usize, column: usize, typed: &str, why: &str) -> CalcError {
    CalcError::BadTable { key: input.key.to_owned(), row, column, typed: shorten(typed), why: why.to_owned() }
}

/// The rows as texts, and whether they stood on several lines.
fn lines_of(text: &str) -> (Vec<&str>, bool) {
    let lines: Vec<&str> = text
        .trim_start_matches('\u{feff}')
        .lines()
        .map(str::trim)
        .filter(|line| !line.is_empty() && !line.starts_with('#'))
        .collect();
    if lines.len() > 1 {
        return (lines, true);
    }
    let rows = lines.into_iter().flat_map(|line| line.split(';')).map(str::trim).filter(|line| !line.is_empty());
    (rows.collect(), false)
}

fn cells_of(line: &str, wide_separator: bool) -> Vec<&str> {
    if wide_separator {
        return line.split([';', '\t']).map(str::trim).collect();
    }
    if line.contains(',') {
        return line.split(',').map(str::trim).collect();
    }
    let mut cells: Vec<&str> = Vec::new();
    let mut rest = line.trim();
    while !rest.is_empty() {
        let end = rest.find(char::is_whitespace).unwrap_or(rest.len());
        let (cell, behind) = rest.split_at(end);
        // `170 168 psi`: a unit that stands apart belongs to the number before it.
        let unit = behind.split_whitespace().next().filter(|word| Unit::from_symbol(word).is_ok());
        let length = unit.map_or(end, |word| behind.find(word).map_or(end, |at| end + at + word.len()));
        let whole = if cell.ends_with(|c: char| c.is_ascii_digit()) { length } else { end };
        cells.push(&rest[..whole]);
        rest = rest[whole..].trim_start();
    }
    cells
}

/// What a cell without a unit is read in, where units stand behind other cells.
struct BareCells {
    unit: Option<Unit>,
    typed: Vec<Unit>,
}

impl BareCells {
    fn of(input: &Input, grid: &[Vec<&str>], column_units: &[Option<Unit>]) -> Result<Self, CalcError> {
        if !grid.iter().flatten().any(|cell| unit_behind(cell).is_some()) {
            return Ok(Self { unit: None, typed: Vec::new() });
        }
        let mut typed: Vec<Unit> = Vec::new();
        let mut first_bare: BTreeMap<usize, (usize, &str)> = BTreeMap::new();
        let mut first_with: BTreeMap<usize, (usize, &str)> = BTreeMap::new();
        for (above, cells) in grid.iter().enumerate() {
            for (place, cell) in cells.iter().enumerate() {
                if let Some(unit) = unit_behind(cell) {
                    if !typed.contains(&unit) {
                        typed.push(unit);
                    }
                    first_with.entry(place).or_insert((above + 1, cell));
                } else if !is_zero(cell) && column_units.get(place).copied().flatten().is_none() {
                    first_bare.entry(place).or_insert((above + 1, cell));
                }
            }
        }
        if input.alike {
            return match (typed.as_slice(), first_bare.iter().next()) {
                ([one], _) => Ok(Self { unit: Some(*one), typed }),
                (_, None) | ([], Some(_)) => Ok(Self { unit: None, typed }),
                ([one, two, ..], Some((place, (row, cell)))) => {
                    let why = format!("has no unit while others have {one} and {two}; type the unit behind each");
                    Err(bad_cell(input, *row, place + 1, cell, &why))
                }
            };
        }
        for (place, (row, cell)) in &first_with {
            if let Some((bare_row, bare)) = first_bare.get(place) {
                let why = format!(
                    "has a unit and {bare:?} in row {bare_row} of its column has none; type it behind each, or once above the column as height (in)"
                );
                return Err(bad_cell(input, *row, place + 1, cell, &why));
            }
        }
        Ok(Self { unit: None, typed })
    }
}

/// The unit that stands behind the number of a cell.
fn unit_behind(cell: &str) -> Option<Unit> {
    let number = |c: char| c.is_ascii_digit() || matches!(c, '.' | ',' | '-' | '+' | '/' | ' ' | '½' | '¼' | '¾');
    let unit = cell.trim_start_matches(number).trim();
    if unit.is_empty() || !cell.starts_with(number) { None } else { Unit::from_symbol(unit).ok() }
}

/// Nought is nought in every unit of a table.
fn is_zero(cell: &str) -> bool {
    cell.parse::<f64>().is_ok_and(|number| number == 0.0)
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
