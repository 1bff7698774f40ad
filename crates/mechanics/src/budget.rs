//! A budget of doubt, typed row by row.
//!
//! One row per input: `name, value or readings, doubt, further words`. The cells stand apart by comma; where a row has
//! an upright stroke, by that, and then a comma is free. Rows stand one a line, or apart by semicolon on one line.

use quantity::measured::{
    coverage_factor_with, effective_degrees, mean_of_readings, triangular_uncertainty, uniform_uncertainty,
};
use quantity::{ParseError, Reply, Unit, parse_quantity, root_sum_square};

use crate::catalogue::{Calculator, Computed, Domain, Group, Input, Output};
use crate::doubt::{Share, matrix_root};
use crate::error::CalcError;
use crate::given::Given;

/// The most rows of a budget.
const MOST_ROWS: usize = 200;

/// A budget of doubt.
pub const UNCERTAINTY_BUDGET: Calculator = Calculator {
    id: "uncertainty-budget",
    group: Group::Judging,
    name: "Budget of doubt",
    meaning: "combined and expanded doubt of a result from its inputs row by row, with the part each of them brings",
    inputs: &[
        Input::text("unit", "unit of the result, such as mm"),
        Input::lines(
            "rows",
            "one row per input: name, value or `readings` with several values (a bare number is in the unit of the result), then its doubt: `u 0.003 mm`, `normal 0.006 mm k 2`, `rectangular 0.005 mm`, `triangular …`, `u-shaped …` (half widths); then if needed `df 9` and `sensitivity 2` (result per unit of the input); a row `together, name, name, 0.5` for inputs that move together",
        ),
        Input::number("coverage", Unit::PERCENT, "coverage of the expanded uncertainty")
            .or("95 %")
            .within(Domain::Between(1.0, 99.9999)),
        Input::any_number("value", "the result itself, when it is not the sum of sensitivity times value").optional(),
    ],
    outputs: &[
        Output::any("value", "the result: sum of sensitivity times value, unless it was given"),
        Output::any("combined", "combined standard uncertainty"),
        Output::new("effective_degrees", Unit::ONE, "effective degrees of freedom; left out when endless"),
        Output::new("coverage_factor", Unit::ONE, "factor for the wanted coverage, by Student's t for these degrees"),
        Output::any("expanded", "expanded uncertainty"),
        Output::any("low", "lower end of the interval"),
        Output::any("high", "upper end of the interval"),
    ],
    workings: &[
        "value is the sum over rows of sensitivity times value",
        "combined is the root of the sum of (sensitivity × u)² over the rows, and of 2 × r × the products of two rows that move together",
        "a rectangular half width counts as its width over the root of 3, a triangular one over the root of 6, a u-shaped one over the root of 2, an expanded one over its k; readings as their spread over the root of their number",
        "effective_degrees is combined to the fourth over the sum of (sensitivity × u) to the fourth over the row's df",
        "coverage_factor is Student's t for effective_degrees, rounded down, at coverage",
        "expanded = coverage_factor × combined",
        "low = value - expanded",
        "high = value + expanded",
    ],
    sources: &[
        "JCGM 100:2008, 4.2 and 4.3 for the rows, 5.1 and 5.2 for their sum, G.4 for the degrees of freedom [published]",
    ],
    example: &[
        ("unit", "mm"),
        (
            "rows",
            "repeats, readings 88.021 88.024 88.020 88.023 mm; setting ring, 0 mm, normal 0.002 mm k 2; last digit, 0 mm, rectangular 0.0005 mm; temperature, 0 ΔK, rectangular 2 ΔK, sensitivity 0.00097",
        ),
    ],
    cautions: &[],
    formula: uncertainty_budget,
};

/// One row, read: all in the unit of the result except the first two.
struct Row {
    name: String,
    unit: Unit,
    u: f64,
    value: f64,
    sensitivity: f64,
    degrees: f64,
}

struct Place<'a> {
    row: usize,
    text: &'a str,
}

impl Place<'_> {
    fn refuse(&self, column: usize, typed: &str, why: impl Into<String>) -> CalcError {
        let typed = if typed.is_empty() { self.text } else { typed };
        CalcError::BadTable {
            key: "rows".to_owned(),
            row: self.row,
            column,
            typed: typed.chars().take(60).collect(),
            why: why.into(),
        }
    }

    fn own(&self, column: usize, text: &str, typed: &quantity::Typed) -> Result<(f64, Unit), CalcError> {
        let value = typed.value_in(typed.unit).map_err(|problem| self.refuse(column, text, problem.to_string()))?;
        Ok((value, typed.unit))
    }

    /// A value; a bare number, and a unit with two readings, count in the unit hoped for, other kinds keep their own.
    fn quantity(&self, column: usize, text: &str, hoped: Unit, other_kinds: bool) -> Result<(f64, Unit), CalcError> {
        let reply = match parse_quantity(text, Some(hoped)) {
            Err(ParseError::WrongKind { .. }) if other_kinds => parse_quantity(text, None),
            reply => reply,
        };
        match reply {
            Ok(Reply::Value(typed)) => self.own(column, text, &typed),
            Ok(Reply::Question(question)) => {
                Err(self.refuse(column, text, format!("has two readings: {}", question.ask)))
            }
            Err(problem) => Err(self.refuse(column, text, format!("is no value: {problem}"))),
        }
    }

    fn number(&self, column: usize, text: &str, what: &str) -> Result<f64, CalcError> {
        text.trim()
            .parse::<f64>()
            .ok()
            .filter(|number| number.is_finite())
            .ok_or_else(|| self.refuse(column, text, format!("is no number for {what}; type it as {what} 2")))
    }

    /// Several values with one unit, at the end or with each.
    fn readings(&self, text: &str, hoped: Unit) -> Result<(Vec<f64>, Unit), CalcError> {
        let mut words: Vec<&str> = text.split_whitespace().collect();
        let unit = match words.last().map(|word| (word, Unit::from_symbol(word))) {
            Some((_, Ok(unit))) => {
                words.pop();
                unit
            }
            _ => hoped,
        };
        let mut values = Vec::new();
        for word in words {
            let (value, own) = self.quantity(2, word, unit, false)?;
            values.push(own.convert(value, unit).map_err(|problem| self.refuse(2, word, problem.to_string()))?);
        }
        Ok((values, unit))
    }
}

/// Splits what was typed into rows and cells; shared with other calculators that read lines.
pub(crate) fn rows_of(text: &str) -> Vec<(usize, &str, Vec<&str>)> {
    let lines: Vec<&str> =
        text.lines().map(str::trim).filter(|line| !line.is_empty() && !line.starts_with('#')).collect();
    let lines: Vec<&str> = if lines.len() == 1 {
        lines.into_iter().flat_map(|line| line.split(';')).map(str::trim).filter(|line| !line.is_empty()).collect()
    } else {
        lines
    };
    lines
        .into_iter()
        .enumerate()
        .map(|(place, line)| {
            let apart = if line.contains('|') { '|' } else { ',' };
            (place + 1, line, line.split(apart).map(str::trim).collect())
        })
        .collect()
}

fn read_row(place: &Place<'_>, cells: &[&str], result: Unit) -> Result<Row, CalcError> {
    let [name, value, rest @ ..] = cells else {
        return Err(place.refuse(1, "", "needs a name and a value, such as: setting ring, 0 mm, u 0.002 mm"));
    };
    let mut u: Option<f64> = None;
    let mut degrees = f64::INFINITY;
    let mut factor: Option<f64> = None;
    let (middle, unit) = if let Some(list) = value.strip_prefix("readings") {
        let (values, unit) = place.readings(list, result)?;
        let (mean, _, of_mean) =
            mean_of_readings(&values, unit).map_err(|problem| place.refuse(2, value, problem.to_string()))?;
        u = Some(of_mean);
        degrees = f64::from(u32::try_from(values.len() - 1).unwrap_or(u32::MAX));
        (mean, unit)
    } else {
        place.quantity(2, value, result, true)?
    };
    for (at, cell) in rest.iter().enumerate() {
        let column = at + 3;
        let (word, text) = cell.split_once(char::is_whitespace).unwrap_or((cell, ""));
        let wide = |text: &str| -> Result<f64, CalcError> {
            let (width, own) = place.quantity(column, text, unit.difference_unit(), false)?;
            let width = own
                .convert_difference(width, unit)
                .map_err(|problem| place.refuse(column, text, problem.to_string()))?;
            if width < 0.0 {
                return Err(place.refuse(column, text, "is below zero; give a half width without a sign"));
            }
            Ok(width)
        };
        let found = match word {
            "u" => wide(text)?,
            "normal" => {
                let Some((text, k)) = text.rsplit_once(" k") else {
                    return Err(place.refuse(column, cell, "needs its factor, such as: normal 0.006 mm k 2"));
                };
                let k = place.number(column, k.trim_start_matches(['=', ' ']), "k")?;
                if k <= 0.0 {
                    return Err(place.refuse(column, cell, "has a factor k that is not above zero; 2 is usual"));
                }
                wide(text)? / k
            }
            "rectangular" => uniform_uncertainty(wide(text)?),
            "triangular" => triangular_uncertainty(wide(text)?),
            "u-shaped" => wide(text)? / std::f64::consts::SQRT_2,
            "df" => {
                degrees = place.number(column, text, "df")?;
                if degrees < 1.0 {
                    return Err(place.refuse(
                        column,
                        cell,
                        "gives fewer degrees of freedom than one; n readings have n - 1",
                    ));
                }
                continue;
            }
            "sensitivity" => {
                factor = Some(place.number(column, text, "sensitivity")?);
                continue;
            }
            _ => {
                return Err(place.refuse(
                    column,
                    cell,
                    "is none of: u, normal … k …, rectangular, triangular, u-shaped, df, sensitivity",
                ));
            }
        };
        if u.replace(found).is_some() {
            return Err(place.refuse(
                column,
                cell,
                "is a second doubt in one row; give it a row of its own with the value 0",
            ));
        }
    }
    let Some(u) = u else {
        return Err(place.refuse(
            cells.len() + 1,
            "",
            "has no doubt; add u 0.002 mm, rectangular 0.005 mm, or type the value as readings 1 2 3 mm",
        ));
    };
    if result.dimension() == unit.dimension() {
        let wrong = |problem: quantity::UnitError| place.refuse(2, value, problem.to_string());
        let sensitivity = factor.unwrap_or(1.0);
        let u = unit.convert_difference(u, result).map_err(wrong)?;
        let middle = unit.convert(middle, result).map_err(wrong)?;
        return Ok(Row { name: (*name).to_owned(), unit: result, u, value: middle, sensitivity, degrees });
    }
    let Some(sensitivity) = factor else {
        return Err(place.refuse(
            2,
            value,
            format!("is no {} like the result; add the change of the result in {result} for one {unit} of it, as: sensitivity 0.5", result.dimension()),
        ));
    };
    Ok(Row { name: (*name).to_owned(), unit, u, value: middle, sensitivity, degrees })
}

/// The coefficients of the rows `together, name, name, number`.
fn read_together(place: &Place<'_>, cells: &[&str], rows: &[Row], matrix: &mut [Vec<f64>]) -> Result<(), CalcError> {
    let [_, first, second, number] = cells else {
        return Err(place.refuse(
            1,
            "",
            "needs two names and a coefficient, such as: together, ring, thermometer, 0.5",
        ));
    };
    let find = |column: usize, name: &str| {
        rows.iter()
            .position(|row| row.name == name)
            .ok_or_else(|| place.refuse(column, name, "is the name of no row; names must be spelt as in their rows"))
    };
    let (a, b) = (find(2, first)?, find(3, second)?);
    let r = place.number(4, number, "together")?;
    if a == b || !(-1.0..=1.0).contains(&r) {
        return Err(place.refuse(4, number, "must join two rows by a coefficient from -1 to 1"));
    }
    for (row, column) in [(a, b), (b, a)] {
        if let Some(cell) = matrix.get_mut(row).and_then(|row| row.get_mut(column)) {
            *cell = r;
        }
    }
    Ok(())
}

fn uncertainty_budget(given: &Given) -> Result<Computed, CalcError> {
    let typed = given.text("unit").ok_or_else(|| given.missing("unit"))?;
    let unit = Unit::from_symbol(typed)
        .map_err(|_| given.out_of_domain("unit", "is no unit known here; type one such as mm, N·m or bar"))?;
    let text = given.text("rows").ok_or_else(|| given.missing("rows"))?;
    let typed_rows = rows_of(text);
    if typed_rows.is_empty() || typed_rows.len() > MOST_ROWS {
        return Err(given.out_of_domain("rows", format!("must hold from 1 to {MOST_ROWS} rows, one a line")));
    }
    let joins = |cells: &[&str]| cells.first() == Some(&"together");
    let mut rows: Vec<Row> = Vec::new();
    for (row, text, cells) in typed_rows.iter().filter(|(_, _, cells)| !joins(cells)) {
        let place = Place { row: *row, text };
        let read = read_row(&place, cells, unit)?;
        if rows.iter().any(|other| other.name == read.name) {
            return Err(place.refuse(1, &read.name, "is the name of two rows; give each row its own name"));
        }
        rows.push(read);
    }
    let size = rows.len();
    let mut matrix: Vec<Vec<f64>> =
        (0..size).map(|i| (0..size).map(|j| if i == j { 1.0 } else { 0.0 }).collect()).collect();
    let mut joined = false;
    for (row, text, cells) in typed_rows.iter().filter(|(_, _, cells)| joins(cells)) {
        read_together(&Place { row: *row, text }, cells, &rows, &mut matrix)?;
        joined = true;
    }
    let root = matrix_root(&matrix).ok_or_else(|| {
        given.do_not_go_together("the coefficients of the rows `together` cannot hold all at once; if a moves with b and b with c, then a and c must move as well")
    })?;
    let parts: Vec<f64> = rows.iter().map(|row| row.sensitivity * row.u).collect();
    let sums: Vec<f64> = (0..size)
        .map(|k| parts.iter().zip(&root).map(|(part, row)| part * row.get(k).copied().unwrap_or(0.0)).sum())
        .collect();
    let combined = root_sum_square(&sums);
    let coverage = given.number("coverage")? / 100.0;
    let degrees = if joined {
        rows.iter().map(|row| row.degrees).fold(f64::INFINITY, f64::min)
    } else {
        // Taken relative to the whole, so that fourth powers keep their digits.
        let scale = if combined > 0.0 { combined } else { 1.0 };
        let relative: Vec<(f64, f64)> =
            rows.iter().zip(&parts).map(|(row, part)| (part / scale, row.degrees)).collect();
        effective_degrees(&relative)
    };
    let whole_degrees = if degrees.is_finite() { degrees.floor().clamp(1.0, 1e6) } else { f64::INFINITY };
    let factor = coverage_factor_with(coverage, whole_degrees)
        .map_err(|error| given.out_of_domain("coverage", error.to_string()))?;
    let value = match given.optional("value") {
        Some(value) => given
            .unit("value")
            .convert(value, unit)
            .map_err(|problem| given.out_of_domain("value", problem.to_string()))?,
        None => rows.iter().map(|row| row.sensitivity * row.value).sum(),
    };
    let difference = unit.difference_unit();
    let mut computed = Computed::default();
    computed.lines.push(("value", value, Some(unit), combined));
    computed.put_in("combined", combined, difference);
    if degrees.is_finite() {
        computed.put("effective_degrees", degrees);
    } else {
        computed
            .note("no row has few readings, so the degrees of freedom are endless and the factor is the normal one");
    }
    computed.put("coverage_factor", factor);
    computed.put_in("expanded", factor * combined, difference);
    computed.put_in("low", value - factor * combined, unit);
    computed.put_in("high", value + factor * combined, unit);
    if joined && degrees.is_finite() {
        computed.note("rows that move together have no formula for the effective degrees; the fewest of any row are taken, which is on the safe side");
    }
    let relative = |part: f64| if combined > 0.0 { part / combined } else { 0.0 };
    let shares: Vec<Share> = rows
        .iter()
        .zip(&parts)
        .zip(&matrix)
        .map(|((row, part), coefficients)| Share {
            input: row.name.clone(),
            unit: row.unit.difference_unit().symbol(),
            sensitivity: row.sensitivity,
            u: row.u,
            share: relative(*part) * coefficients.iter().zip(&parts).map(|(r, part)| r * relative(*part)).sum::<f64>(),
        })
        .collect();
    for share in &shares {
        computed.note(format!("{} brings {:.1} % of the variance", share.input, share.share * 100.0));
    }
    computed.shares.push(("value", shares));
    Ok(computed)
}
