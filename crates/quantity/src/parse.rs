//! From typed text to a value or a question.
//!
//! What is read: one number with an optional sign, then one unit. Points and commas are both read;
//! spaces, no-break spaces and apostrophes may group thousands; fractions (`1/64`, `1 1/2`, `1-1/2`,
//! `1½`) and powers of ten (`1.5e-3`) are read.
//!
//! What is asked, because two people would read it in two ways: a lone comma before exactly three digits
//! (`1,234 mm`), a lone point before exactly three digits where nobody types thousandths (`120.000 km`),
//! a space between numbers of three digits that could be readings apart (`150 155 psi`),
//! words that mean different sizes in different shops (`mil`, `tenths`, `hundredths`, `gal`), a weight
//! where a torque is expected (`25 lbs`), a bare `°` where a temperature is expected, and a leading `±`.
//!
//! What is refused: nothing, no number, NaN and infinity, two sizes in one text (`2 in 1/16`), a
//! range, a comparison, an unknown unit, a unit of another kind, an uncertainty where none is expected.

use num_bigint::BigInt;
use num_rational::BigRational;
use num_traits::{One, ToPrimitive, Zero};
use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::dimension::Dimension;
use crate::typed::{Question, Reply, Typed};
use crate::unit::{Unit, UnitError, exact_decimal, power_of_ten, spelled_loosely, spelling_key};

/// The longest text that is read, in characters.
const LONGEST: usize = 120;
/// The largest power of ten that is read.
const LARGEST_POWER: i64 = 30;

/// Why a typed text is not a value.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum ParseError {
    /// Nothing was typed.
    #[error("nothing was typed; type a number and its unit, such as \"0.18 mm\"")]
    Empty,
    /// The text is longer than any value.
    #[error("{length} characters were typed where a value is expected; type one number and its unit")]
    TooLong {
        /// How many.
        length: usize,
    },
    /// The text says NaN or infinity.
    #[error("{typed:?} is not a finite number; type digits, or leave the field empty if it was not measured")]
    NotFinite {
        /// What was typed.
        typed: String,
    },
    /// No number starts the text.
    #[error("{typed:?} has no number at character {at}; type the number first, then its unit")]
    NoNumber {
        /// What was typed.
        typed: String,
        /// Where, counted from 1.
        at: usize,
    },
    /// The number cannot be read.
    #[error("{typed:?} has a number at character {at} that cannot be read: {why}")]
    BadNumber {
        /// What was typed.
        typed: String,
        /// Where, counted from 1.
        at: usize,
        /// What is wrong and what to type instead.
        why: &'static str,
    },
    /// The number has no unit and none is expected.
    #[error("{typed:?} has no unit; add one, such as mm, in or thou")]
    MissingUnit {
        /// What was typed.
        typed: String,
    },
    /// The unit is not known.
    #[error("{typed:?} has a unit {unit:?} at character {at} that is not known; type {suggestion}")]
    UnknownUnit {
        /// What was typed.
        typed: String,
        /// The part taken for a unit.
        unit: String,
        /// Where, counted from 1.
        at: usize,
        /// Units that would do.
        suggestion: String,
    },
    /// The unit is of another kind than the one expected.
    #[error("{typed:?} is in {unit}, which measures {found}, where {expected} is expected; type it in {suggestion}")]
    WrongKind {
        /// What was typed.
        typed: String,
        /// The unit found.
        unit: Unit,
        /// Its kind.
        found: Dimension,
        /// The kind expected.
        expected: Dimension,
        /// Units that would do.
        suggestion: String,
    },
    /// Two sizes in one text.
    #[error(
        "{typed:?} holds two numbers, the second at character {at}; type one number and one unit, such as \"2 1/16 in\""
    )]
    TwoNumbers {
        /// What was typed.
        typed: String,
        /// Where the second one starts, counted from 1.
        at: usize,
    },
    /// A range instead of a value.
    #[error(
        "{typed:?} is a range, the second number is at character {at}; type one value, or the two ends in their own fields"
    )]
    Range {
        /// What was typed.
        typed: String,
        /// Where the second one starts, counted from 1.
        at: usize,
    },
    /// A comparison or an estimate instead of a value.
    #[error("{typed:?} starts with {sign:?}; type the value read, and put the comparison into the note")]
    Comparison {
        /// What was typed.
        typed: String,
        /// The sign.
        sign: char,
    },
    /// An uncertainty where only a value is expected.
    #[error(
        "{typed:?} carries an uncertainty at character {at}; type the value alone, the gauge's uncertainty has its own field"
    )]
    DoubtNotExpected {
        /// What was typed.
        typed: String,
        /// Where, counted from 1.
        at: usize,
    },
    /// The uncertainty cannot be used.
    #[error("the uncertainty in {typed:?} cannot be used: {why}")]
    BadDoubt {
        /// What was typed.
        typed: String,
        /// What is wrong and what to type instead.
        why: String,
    },
}

/// A typed value with its standard uncertainty, where one was typed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TypedWithDoubt {
    /// The value; its text is the whole text as typed.
    pub typed: Typed,
    /// The standard uncertainty in the unit of the value (for a temperature: a difference).
    pub u: Option<f64>,
}

/// The answer to a typed value that may carry an uncertainty.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum DoubtReply {
    /// The text has one reading.
    Value(TypedWithDoubt),
    /// The text has more than one reading.
    Question(Question),
}

/// Reads what was typed as one value, or asks when it has more than one reading.
///
/// # Shapes
/// `expected` is the unit of the field: it supplies a missing unit and says which kind is wanted.
/// # Errors
/// [`ParseError`], naming what was typed, where the trouble starts, and what to type instead.
/// # Example
/// ```
/// use quantity::{Reply, Unit, parse_quantity};
/// let Ok(Reply::Value(typed)) = parse_quantity("7 thou", None) else { panic!() };
/// assert_eq!(typed.value_in(Unit::MILLIMETRE), Ok(0.1778));
/// let Ok(Reply::Question(question)) = parse_quantity("1,234 mm", None) else { panic!() };
/// assert_eq!(question.readings.len(), 2);
/// ```
pub fn parse_quantity(text: &str, expected: Option<Unit>) -> Result<Reply, ParseError> {
    let typed = text.to_owned();
    let all: Vec<char> = text.chars().map(plain).collect();
    if all.len() > LONGEST {
        return Err(ParseError::TooLong { length: all.len() });
    }
    if let Some(at) = doubt_sign(&all) {
        return Err(ParseError::DoubtNotExpected { typed, at: at + 1 });
    }
    let mut scan = Scan { chars: &all, at: 0 };
    scan.skip_spaces();
    if scan.peek().is_none() {
        return Err(ParseError::Empty);
    }
    scan.take_if(|c| matches!(c, 'ø' | 'Ø' | '⌀'));
    scan.skip_spaces();
    if let Some(sign) = scan.peek().filter(|c| matches!(c, '<' | '>' | '~' | '≈' | '≤' | '≥' | '=')) {
        return Err(ParseError::Comparison { typed, sign });
    }
    let signs: &[i8] = scan.signs();
    scan.skip_spaces();
    let start = scan.at;
    let token = scan.number_token(&typed)?;
    let unit_start = scan.at;
    let readings =
        read_number(&token).map_err(|why| ParseError::BadNumber { typed: typed.clone(), at: start + 1, why })?;
    let unit_text: String = all.iter().skip(unit_start).collect();
    let units = read_unit(&typed, &unit_text, unit_start, expected)?;

    let mut values: Vec<Typed> = Vec::new();
    for unit in &units {
        for reading in &readings {
            if reading.grouping_only_where_thousandths_are_odd
                && !unit.unit.dimension().is_never_typed_to_a_thousandth()
            {
                continue;
            }
            if reading.one_of_several && unit.unit.dimension().is_never_typed_to_a_thousandth() {
                continue;
            }
            if reading.decimal_comma_of_thousandths && unit.unit.dimension().is_never_typed_to_a_thousandth() {
                continue;
            }
            for sign in signs {
                let exact = &reading.exact * &unit.scale * BigRational::from_integer(BigInt::from(*sign));
                let step = &reading.step * &unit.scale;
                let (Some(number), Some(resolution)) = (exact.to_f64(), step.to_f64()) else { continue };
                if !number.is_finite() || !resolution.is_finite() {
                    return Err(ParseError::NotFinite { typed });
                }
                // A zero keeps no sign.
                let number = if number == 0.0 { 0.0 } else { number };
                let value = Typed { text: typed.clone(), number, unit: unit.unit, resolution };
                if !values
                    .iter()
                    .any(|other| other.unit == value.unit && other.number.to_bits() == value.number.to_bits())
                {
                    values.push(value);
                }
            }
        }
    }
    values.sort_by(|a, b| size_of(a).total_cmp(&size_of(b)));
    if values.len() > 1 {
        let ask = ask(&typed, &values);
        return Ok(Reply::Question(Question { typed, readings: values, ask }));
    }
    values.pop().map(Reply::Value).ok_or(ParseError::NoNumber { typed, at: start + 1 })
}

/// Reads what was typed as one value with an optional standard uncertainty after `±`.
///
/// # Shapes
/// `88 mm ± 0.01 mm`, `88 mm ±0.01`, `88±0.01 mm` (the unit then holds for both), `88 mm ± 0.5 %` (of the value), and
/// `88 mm ± 0.02 mm (k=2)`: an expanded uncertainty with its coverage factor, which is divided out. Without `k=` the figure is
/// one standard uncertainty.
/// # Errors
/// [`ParseError`], as [`parse_quantity`]; [`ParseError::BadDoubt`] for what stands after the sign.
pub fn parse_with_doubt(text: &str, expected: Option<Unit>) -> Result<DoubtReply, ParseError> {
    let typed = text.to_owned();
    let original: Vec<char> = text.chars().collect();
    let all: Vec<char> = original.iter().copied().map(plain).collect();
    let Some(at) = doubt_sign(&all) else {
        return Ok(match parse_quantity(text, expected)? {
            Reply::Value(typed) => DoubtReply::Value(TypedWithDoubt { typed, u: None }),
            Reply::Question(question) => DoubtReply::Question(question),
        });
    };
    let bad = |why: String| ParseError::BadDoubt { typed: typed.clone(), why };
    let sign_length = if all.get(at) == Some(&'±') {
        1
    } else if all.get(at + 1) == Some(&'/') {
        3
    } else {
        2
    };
    let value_text: String = original.iter().take(at).collect();
    let doubt_text: String = original.iter().skip(at + sign_length).collect();
    let (doubt_text, factor) = split_factor(&doubt_text).map_err(bad)?;
    // `88±0.01 mm`: the unit behind the doubt holds for the value too.
    let value_has_unit =
        value_text.trim_end().chars().last().is_some_and(|c| !c.is_ascii_digit() && c != '.' && c != ',');
    let doubt = match parse_quantity(&doubt_text, Some(Unit::ONE)) {
        Ok(Reply::Value(doubt))
            if doubt.unit == Unit::PERCENT && expected.is_none_or(|unit| unit.dimension() != Dimension::Ratio) =>
        {
            Some(doubt)
        }
        _ => None,
    };
    let value_expected = if value_has_unit || doubt.is_some() {
        expected
    } else {
        let behind: String = doubt_text
            .trim_start()
            .chars()
            .skip_while(|c| c.is_ascii_digit() || matches!(c, '.' | ',' | ' '))
            .collect();
        if behind.is_empty() { expected } else { Some(unit_for_both(&typed, &behind, expected)?) }
    };
    let mut value = match parse_quantity(&value_text, value_expected)? {
        Reply::Value(value) => value,
        Reply::Question(question) => return Ok(DoubtReply::Question(question)),
    };
    let u = if let Some(share) = doubt {
        share.value_in(Unit::ONE).map_err(|error| bad(error.to_string()))? * value.number.abs()
    } else {
        let unit = value.unit.difference_unit();
        match parse_quantity(&doubt_text, Some(unit)).map_err(|error| bad(error.to_string()))? {
            Reply::Value(doubt) => doubt.value_in(unit).map_err(|error: UnitError| bad(error.to_string()))?,
            Reply::Question(question) => return Ok(DoubtReply::Question(question)),
        }
    };
    let u = u / factor;
    if !u.is_finite() || u < 0.0 {
        return Err(bad("it must be zero or more; type it without a sign".to_owned()));
    }
    value.text = typed;
    Ok(DoubtReply::Value(TypedWithDoubt { typed: value, u: Some(u) }))
}

fn unit_for_both(typed: &str, behind: &str, expected: Option<Unit>) -> Result<Unit, ParseError> {
    match read_unit(typed, behind, 0, expected)?.as_slice() {
        [only] if only.scale.is_one() => Ok(only.unit),
        _ => Err(ParseError::BadDoubt {
            typed: typed.to_owned(),
            why: "the unit behind it has more than one reading; write the unit behind both numbers".to_owned(),
        }),
    }
}

fn split_factor(text: &str) -> Result<(String, f64), String> {
    let open = text.find("k=").or_else(|| text.find("k ="));
    let Some(open) = open else { return Ok((text.to_owned(), 1.0)) };
    let (before, after) = text.split_at(open);
    let number = after.trim_start_matches(['k', ' ', '=']).trim_end_matches([')', ' ']).replace(',', ".");
    let factor: f64 =
        number.parse().map_err(|_| format!("the coverage factor {number:?} cannot be read; write it as (k=2)"))?;
    if !factor.is_finite() || factor <= 0.0 {
        return Err(format!("the coverage factor {number:?} must be above zero; 2 is usual"));
    }
    Ok((before.trim_end_matches(['(', ' ', ',']).to_owned(), factor))
}

/// Where a `±` or `+/-` stands behind a number, if it does.
fn doubt_sign(chars: &[char]) -> Option<usize> {
    let first_digit = chars.iter().position(|c| c.is_ascii_digit() || vulgar(*c).is_some())?;
    (first_digit..chars.len()).find(|&at| {
        let next = |step: usize| chars.get(at + step).copied();
        next(0) == Some('±')
            || next(0) == Some('+') && next(1) == Some('/') && next(2) == Some('-')
            || next(0) == Some('+') && next(1) == Some('-')
    })
}

/// One character with its look-alikes made plain; never changes how many there are.
const fn plain(c: char) -> char {
    match c {
        '−' | '–' | '—' | '‒' | '‐' | '‑' | '﹣' | '－' | '⁻' => '-',
        '\u{a0}' | '\u{2009}' | '\u{202f}' | '\u{2007}' | '\u{2002}' | '\u{2003}' | '\u{3000}' | '\t' => ' ',
        '″' | '”' | '“' | '„' | '＂' => '"',
        '′' | '’' | '‘' | '´' | '`' => '\'',
        '⁄' | '∕' => '/',
        '＋' => '+',
        '，' | '‚' => ',',
        '．' => '.',
        c => c,
    }
}

const fn vulgar(c: char) -> Option<(u32, u32)> {
    Some(match c {
        '½' => (1, 2),
        '¼' => (1, 4),
        '¾' => (3, 4),
        '⅛' => (1, 8),
        '⅜' => (3, 8),
        '⅝' => (5, 8),
        '⅞' => (7, 8),
        '⅓' => (1, 3),
        '⅔' => (2, 3),
        _ => return None,
    })
}

struct Scan<'a> {
    chars: &'a [char],
    at: usize,
}

impl Scan<'_> {
    fn peek(&self) -> Option<char> {
        self.ahead(0)
    }

    fn ahead(&self, steps: usize) -> Option<char> {
        self.chars.get(self.at + steps).copied()
    }

    fn take_if(&mut self, wanted: impl Fn(char) -> bool) -> bool {
        let taken = self.peek().is_some_and(wanted);
        if taken {
            self.at += 1;
        }
        taken
    }

    fn skip_spaces(&mut self) {
        while self.take_if(|c| c == ' ' || c.is_whitespace()) {}
    }

    /// The signs the number may have; both when `±` leads.
    fn signs(&mut self) -> &'static [i8] {
        if self.take_if(|c| c == '±') {
            return &[-1, 1];
        }
        if self.peek() == Some('+') {
            if self.ahead(1) == Some('/') && self.ahead(2) == Some('-') {
                self.at += 3;
                return &[-1, 1];
            }
            self.at += 1;
            if self.take_if(|c| c == '-') {
                return &[-1, 1];
            }
            return &[1];
        }
        if self.take_if(|c| c == '-') { &[-1] } else { &[1] }
    }

    fn digit_at(&self, steps: usize) -> bool {
        self.ahead(steps).is_some_and(|c| c.is_ascii_digit())
    }

    /// Takes the characters of one number, and refuses a second one.
    fn number_token(&mut self, typed: &str) -> Result<String, ParseError> {
        let start = self.at;
        let no_number = ParseError::NoNumber { typed: typed.to_owned(), at: start + 1 };
        let word: String = self.chars.iter().skip(start).take_while(|c| c.is_alphabetic() || **c == '∞').collect();
        if matches!(word.to_lowercase().as_str(), "nan" | "inf" | "infinity" | "infinite" | "∞") {
            return Err(ParseError::NotFinite { typed: typed.to_owned() });
        }
        let mut token = String::new();
        let mut digits_seen = false;
        let mut fraction_seen = false;
        while let Some(c) = self.peek() {
            if c.is_ascii_digit() {
                digits_seen = true;
                token.push(c);
                self.at += 1;
            } else if matches!(c, '.' | ',')
                && (self.digit_at(1) || digits_seen && !fraction_seen && !self.letter_follows_point())
            {
                token.push(c);
                self.at += 1;
            } else if let Some((over, under)) = vulgar(c) {
                if fraction_seen {
                    return Err(ParseError::TwoNumbers { typed: typed.to_owned(), at: self.at + 1 });
                }
                token.push_str(&format!(" {over}/{under}"));
                (digits_seen, fraction_seen) = (true, true);
                self.at += 1;
            } else if c == '/' && digits_seen && !fraction_seen && self.digit_at(1) {
                fraction_seen = true;
                token.push(c);
                self.at += 1;
            } else if c == '\''
                && digits_seen
                && self.digit_at(1)
                && self.digit_at(2)
                && self.digit_at(3)
                && !self.digit_at(4)
            {
                token.push('\'');
                self.at += 1;
            } else if c == ' ' && digits_seen && self.number_continues_after_space() {
                if fraction_seen {
                    return Err(ParseError::TwoNumbers { typed: typed.to_owned(), at: self.at + 2 });
                }
                token.push(' ');
                self.skip_spaces();
            } else if c == '-' && digits_seen && self.digit_at(1) {
                if !self.fraction_follows(1) {
                    return Err(ParseError::Range { typed: typed.to_owned(), at: self.at + 2 });
                }
                token.push(' ');
                self.at += 1;
            } else if matches!(c, 'e' | 'E')
                && digits_seen
                && (self.digit_at(1) || matches!(self.ahead(1), Some('-' | '+')) && self.digit_at(2))
            {
                token.push('e');
                self.at += 1;
                if let Some(sign) = self.peek().filter(|c| matches!(c, '-' | '+')) {
                    token.push(sign);
                    self.at += 1;
                }
            } else {
                break;
            }
        }
        if digits_seen { Ok(token) } else { Err(no_number) }
    }

    /// Whether the point or comma here belongs to what follows it, as in `40 N.m` typed without its space.
    fn letter_follows_point(&self) -> bool {
        self.ahead(1).is_some_and(char::is_alphabetic)
    }

    /// Whether the digits after this space belong to the number: a group of three, or a fraction; `1/min` does not.
    fn number_continues_after_space(&self) -> bool {
        let mut steps = 0;
        while self.ahead(steps) == Some(' ') {
            steps += 1;
        }
        if self.ahead(steps).is_some_and(|c| vulgar(c).is_some()) {
            return true;
        }
        if !self.digit_at(steps) {
            return false;
        }
        let mut end = steps;
        while self.digit_at(end) {
            end += 1;
        }
        // `250 1/min` and the plain ratio `0.14 1` carry their unit behind the space.
        let per_something = self.ahead(end) == Some('/') && !self.digit_at(end + 1);
        let plain_ratio = end == steps + 1 && self.ahead(steps) == Some('1') && self.ahead(end).is_none();
        !(per_something || plain_ratio)
    }

    /// Whether a fraction starts so many steps ahead.
    fn fraction_follows(&self, steps: usize) -> bool {
        let mut end = steps;
        while self.digit_at(end) {
            end += 1;
        }
        end > steps && self.ahead(end) == Some('/') && self.digit_at(end + 1)
    }
}

struct NumberReading {
    exact: BigRational,
    step: BigRational,
    /// The comma was taken for the decimal sign before exactly three digits.
    decimal_comma_of_thousandths: bool,
    /// The point was taken for a sign of thousands, which only makes sense where nobody types thousandths.
    grouping_only_where_thousandths_are_odd: bool,
    /// One of several readings that spaces set apart, which makes no sense for what is counted in thousands.
    one_of_several: bool,
}

impl NumberReading {
    const fn sure(exact: BigRational, step: BigRational) -> Self {
        Self {
            exact,
            step,
            decimal_comma_of_thousandths: false,
            grouping_only_where_thousandths_are_odd: false,
            one_of_several: false,
        }
    }
}

/// The numbers of `150 155`, where they could be readings of one thing \[ours\]: three digits each, none more than twice another.
/// `120 000` and `12 500` are one number in thousands.
fn several_readings(body: &str) -> Vec<&str> {
    let parts: Vec<&str> = body.split(' ').collect();
    let numbers: Vec<u32> = parts.iter().filter(|p| p.len() == 3).filter_map(|p| p.parse().ok()).collect();
    let (least, most) = (numbers.iter().min().copied().unwrap_or(0), numbers.iter().max().copied().unwrap_or(0));
    let alike = parts.len() > 1 && numbers.len() == parts.len() && least >= 100 && most <= 2 * least;
    if alike { parts } else { Vec::new() }
}

/// The one or two readings of the characters of a number.
fn read_number(token: &str) -> Result<Vec<NumberReading>, &'static str> {
    let token = token.trim();
    if let Some((before, under)) = token.split_once('/') {
        return read_fraction(before, under).map(|reading| vec![reading]);
    }
    let (body, power) = match token.split_once('e') {
        Some((body, power)) => {
            let power: i64 = power.parse().map_err(|_| "the power of ten is no whole number; type the number out")?;
            if power.abs() > LARGEST_POWER {
                return Err("the power of ten is too large; type the number out");
            }
            (body, power)
        }
        None => (token, 0),
    };
    let points = body.matches('.').count();
    let commas = body.matches(',').count();
    let spaced = body.contains([' ', '\'']);
    const GROUPS: &str = "thousands are grouped by threes; type the digits without separators";
    let one = |decimal_sign: Option<char>| read_decimal(body, decimal_sign, power).ok_or(GROUPS);
    Ok(match (points, commas) {
        (0, 0) => {
            let mut readings = vec![one(None)?];
            for apart in several_readings(body).into_iter().filter(|_| power == 0) {
                let mut reading = read_decimal(apart, None, 0).ok_or(GROUPS)?;
                reading.one_of_several = true;
                readings.push(reading);
            }
            readings
        }
        (1, 0) => {
            let decimal = one(Some('.'))?;
            match three_after(body, '.').filter(|_| !spaced && power == 0) {
                Some(()) => {
                    let mut grouped = one(None)?;
                    grouped.grouping_only_where_thousandths_are_odd = true;
                    vec![decimal, grouped]
                }
                None => vec![decimal],
            }
        }
        (0, 1) => {
            let mut decimal = one(Some(','))?;
            match three_after(body, ',').filter(|_| !spaced && power == 0) {
                Some(()) => {
                    decimal.decimal_comma_of_thousandths = true;
                    vec![decimal, one(None)?]
                }
                None => vec![decimal],
            }
        }
        (0, _) | (_, 0) => vec![one(None)?],
        (1, _) if body.rfind(',') < body.find('.') => vec![one(Some('.'))?],
        (_, 1) if body.rfind('.') < body.find(',') => vec![one(Some(','))?],
        _ => return Err("points and commas are mixed; type one decimal sign and no other separator"),
    })
}

/// Whether the one separator could group a thousand: one to three digits before it, the first not zero, three after it.
fn three_after(body: &str, separator: char) -> Option<()> {
    let (before, after) = body.split_once(separator)?;
    (after.len() == 3 && (1..=3).contains(&before.len()) && !before.starts_with('0')).then_some(())
}

fn read_decimal(body: &str, decimal_sign: Option<char>, power: i64) -> Option<NumberReading> {
    let (whole, decimals) = match decimal_sign {
        Some(sign) => body.split_once(sign)?,
        None => (body, ""),
    };
    if !decimals.chars().all(|c| c.is_ascii_digit()) {
        return None;
    }
    let groups: Vec<&str> = whole.split([' ', '\'', ',', '.']).collect();
    let separators: Vec<char> = whole.chars().filter(|c| !c.is_ascii_digit()).collect();
    if separators.iter().any(|separator| Some(separator) != separators.first()) {
        return None;
    }
    let first_fits = groups.first().is_some_and(|group| (1..=3).contains(&group.len()));
    if groups.len() > 1 && !(first_fits && groups.iter().skip(1).all(|group| group.len() == 3)) {
        return None;
    }
    let digits = format!("{}{decimals}", groups.concat());
    let digits: BigInt = digits.parse().ok()?;
    let shift = power - i64::try_from(decimals.len()).ok()?;
    let step = power_of_ten(shift);
    Some(NumberReading::sure(BigRational::from_integer(digits) * &step, step))
}

fn is_power_of_ten(number: &BigInt) -> bool {
    number.to_string().trim_end_matches('0') == "1"
}

fn read_fraction(before: &str, under: &str) -> Result<NumberReading, &'static str> {
    const WHOLE: &str = "a fraction is two whole numbers, such as 1/64 or 1 1/2";
    const APART: &str = "it looks like two readings; type one of them, or the fraction as a decimal number";
    let (whole, over) = match before.trim().rsplit_once(' ') {
        Some((whole, over)) => (whole.trim(), over),
        None => ("0", before.trim()),
    };
    let number = |digits: &str| digits.parse::<BigInt>().map_err(|_| WHOLE);
    if [whole, over, under].iter().any(|part| part.is_empty() || !part.chars().all(|c| c.is_ascii_digit())) {
        return Err(WHOLE);
    }
    let under = number(under)?;
    if under.is_zero() {
        return Err("its denominator is zero; type a denominator above zero");
    }
    let over = number(over)?;
    // Nobody reads a scale in 155ths: `150/155 psi` is a pair.
    if under > BigInt::from(128) && (&under & (&under - 1)) != BigInt::zero() && !is_power_of_ten(&under) {
        return Err(APART);
    }
    let mixed = before.trim().contains(' ');
    if mixed && over >= under {
        return Err("the fraction behind the whole number is one or more; type it as one number");
    }
    let step = BigRational::new(BigInt::one(), under.clone());
    Ok(NumberReading::sure(BigRational::from_integer(number(whole)?) + BigRational::new(over, under), step))
}

struct UnitReading {
    unit: Unit,
    scale: BigRational,
}

impl UnitReading {
    fn plain(unit: Unit) -> Self {
        Self { unit, scale: BigRational::one() }
    }
}

/// The units a text may mean where a value of `expected` is wanted.
fn read_unit(typed: &str, text: &str, at: usize, expected: Option<Unit>) -> Result<Vec<UnitReading>, ParseError> {
    let trimmed = text.trim();
    let at = at + text.chars().take_while(|c| c.is_whitespace()).count() + 1;
    if trimmed.is_empty() || trimmed == "." || trimmed == "," {
        return expected
            .map(|unit| vec![UnitReading::plain(unit)])
            .ok_or_else(|| ParseError::MissingUnit { typed: typed.to_owned() });
    }
    let wanted = expected.map(Unit::dimension);
    let unknown = || ParseError::UnknownUnit {
        typed: typed.to_owned(),
        unit: trimmed.to_owned(),
        at,
        suggestion: suggestion(wanted),
    };
    let mut meant = meanings(trimmed, wanted);
    if meant.is_empty() {
        // `74k miles`, `120k`
        if let Some(rest) =
            trimmed.strip_prefix(['k', 'K']).filter(|_| wanted.is_none_or(|kind| kind == Dimension::Distance))
        {
            let thousands = |mut reading: UnitReading| {
                reading.scale *= power_of_ten(3);
                reading
            };
            if rest.trim().is_empty()
                && let Some(unit) = expected
            {
                return Ok(vec![thousands(UnitReading::plain(unit))]);
            }
            meant = meanings(rest.trim(), wanted)
                .into_iter()
                .filter(|reading| reading.unit.dimension() == Dimension::Distance)
                .map(thousands)
                .collect();
        }
    }
    if meant.is_empty() {
        return Err(second_number(typed, trimmed, at).unwrap_or_else(unknown));
    }
    let Some(wanted) = wanted else { return Ok(meant) };
    let fitting: Vec<UnitReading> = meant
        .iter()
        .filter(|reading| reading.unit.dimension() == wanted)
        .map(|reading| UnitReading { unit: reading.unit, scale: reading.scale.clone() })
        .collect();
    if fitting.is_empty() {
        let unit = meant.first().map_or(Unit::ONE, |reading| reading.unit);
        return Err(ParseError::WrongKind {
            typed: typed.to_owned(),
            unit,
            found: unit.dimension(),
            expected: wanted,
            suggestion: suggestion(Some(wanted)),
        });
    }
    Ok(fitting)
}

/// The complaint about a second number inside what should be a unit, if there is one.
fn second_number(typed: &str, unit: &str, at: usize) -> Option<ParseError> {
    let digit = unit.chars().position(|c| c.is_ascii_digit() || vulgar(c).is_some())?;
    let front: String = unit.chars().take(digit).collect();
    let separator = front.trim_end().chars().last();
    let front = front.trim();
    let front = front.strip_suffix("to").unwrap_or(front).trim_end_matches(['-', ',', ';', '+', 'x', '×', ' ']);
    if !front.is_empty() && spelled_loosely(front).is_none() {
        return None;
    }
    let at = at + digit;
    Some(if separator == Some('-') || unit.contains("to ") {
        ParseError::Range { typed: typed.to_owned(), at }
    } else {
        ParseError::TwoNumbers { typed: typed.to_owned(), at }
    })
}

/// Every unit a spelling may stand for, without looking at what is expected unless the spelling needs it.
fn meanings(text: &str, wanted: Option<Dimension>) -> Vec<UnitReading> {
    let one = |unit: Unit| vec![UnitReading::plain(unit)];
    let both = |a: Unit, b: Unit| vec![UnitReading::plain(a), UnitReading::plain(b)];
    let scaled = |unit: Unit, power: i64| UnitReading { unit, scale: power_of_ten(power) };
    let key = spelling_key(text);
    let lower = key.to_lowercase();
    match lower.as_str() {
        "mil" | "mils" => return both(Unit::THOU, Unit::MILLIMETRE),
        "tenth" | "tenths" => return vec![scaled(Unit::INCH, -4), scaled(Unit::MILLIMETRE, -1)],
        "hundredth" | "hundredths" => return vec![scaled(Unit::MILLIMETRE, -2), scaled(Unit::INCH, -2)],
        "thousandth" | "thousandths" => return vec![scaled(Unit::MILLIMETRE, -3), UnitReading::plain(Unit::THOU)],
        "gal" | "gals" | "gallon" | "gallons" => return both(Unit::US_GALLON, Unit::IMPERIAL_GALLON),
        "qt" | "qts" | "quart" | "quarts" => return both(Unit::US_QUART, Unit::IMPERIAL_QUART),
        "lb" | "lbs" | "pound" | "pounds" => {
            return match wanted {
                Some(Dimension::Torque) => both(Unit::FOOT_POUND, Unit::INCH_POUND),
                Some(Dimension::Force) => one(Unit::POUND_FORCE),
                Some(_) => one(Unit::POUND),
                None => both(Unit::POUND, Unit::POUND_FORCE),
            };
        }
        "kg" if wanted == Some(Dimension::Force) => return one(Unit::KILOGRAM_FORCE),
        "c" if wanted == Some(Dimension::Temperature) => return one(Unit::CELSIUS),
        "f" if wanted == Some(Dimension::Temperature) => return one(Unit::FAHRENHEIT),
        "°" | "deg" | "degree" | "degrees" if wanted == Some(Dimension::Temperature) => {
            return both(Unit::CELSIUS, Unit::FAHRENHEIT);
        }
        "°" | "deg" | "degree" | "degrees" if wanted == Some(Dimension::TemperatureDifference) => {
            return both(Unit::CELSIUS_DIFFERENCE, Unit::FAHRENHEIT_DIFFERENCE);
        }
        "nm" if key == "nm" => {
            return match wanted {
                Some(Dimension::Torque) => one(Unit::NEWTON_METRE),
                Some(_) => one(Unit::NANOMETRE),
                None => both(Unit::NEWTON_METRE, Unit::NANOMETRE),
            };
        }
        _ => {}
    }
    let Some(unit) = spelled_loosely(text) else { return Vec::new() };
    if wanted == Some(Dimension::TemperatureDifference) { one(unit.difference_unit()) } else { one(unit) }
}

/// Units to type for a kind, in words.
fn suggestion(wanted: Option<Dimension>) -> String {
    let symbols: Vec<&str> = match wanted {
        None => vec!["mm", "in", "N·m", "bar"],
        Some(Dimension::Length) => vec!["mm", "µm", "in", "thou"],
        Some(Dimension::Torque) => vec!["N·m", "ft-lb", "in-lb"],
        Some(Dimension::Pressure) => vec!["bar", "kPa", "psi"],
        Some(Dimension::Volume) => vec!["cc", "L", "in³"],
        Some(kind) => Unit::of(kind).take(4).map(Unit::symbol).collect(),
    };
    match symbols.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} or {last}", rest.join(", ")),
        Some((last, _)) => (*last).to_owned(),
        None => "a known unit".to_owned(),
    }
}

fn size_of(typed: &Typed) -> f64 {
    let factor = typed.unit.factor().to_f64().unwrap_or(1.0);
    typed.number * factor
}

fn ask(typed: &str, readings: &[Typed]) -> String {
    let shown: Vec<String> =
        readings.iter().map(|reading| format!("{} {}", shown_number(reading), reading.unit)).collect();
    match shown.split_last() {
        Some((last, rest)) => format!("{typed:?} can be {} or {last}: which one is meant?", rest.join(", ")),
        None => format!("{typed:?} cannot be read: what is meant?"),
    }
}

fn shown_number(reading: &Typed) -> String {
    exact_decimal(reading.number).map_or_else(String::new, |_| format!("{}", reading.number))
}
