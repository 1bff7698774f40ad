//! Check digit and model year of a vehicle identification number.
//!
//! The check digit is a rule of North America (49 CFR 565.15) on the numbering of ISO 3779; elsewhere the
//! ninth place may hold anything. So a number that fails is warned about and never refused.

use quantity::Unit;

use crate::catalogue::{Calculator, Computed, Group, Input, Output};

/// Weights by place [published: 49 CFR 565.15, table IV].
const WEIGHTS: [u32; 17] = [8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2];
/// The thirty codes of the model year in their sequence from 1980 [published: 49 CFR 565.15, table VII].
const YEAR_CODES: &str = "ABCDEFGHJKLMNPRSTVWXY123456789";

/// Something odd about a number; the number is kept all the same.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum VinWarning {
    /// Not 17 characters.
    Length(usize),
    /// A character at a place, counted from 1, that no such number has (I, O, Q, signs).
    Character(char, usize),
    /// The check digit that stands in place 9 and the one that belongs there.
    CheckDigit {
        /// What stands there.
        found: char,
        /// What belongs there.
        wanted: char,
    },
    /// The code in place 10 stands for no model year.
    YearCode(char),
}

/// What a vehicle identification number says about itself.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct VinReading {
    /// The number in capitals without spaces and hyphens.
    pub vin: String,
    /// The weighted sum of the characters, when all 17 can be read.
    pub weighted_sum: Option<u32>,
    /// The check digit that belongs in place 9, when all 17 can be read.
    pub check_digit: Option<char>,
    /// Whether the check digit in place 9 is that one and nothing else is odd.
    pub agrees: bool,
    /// The model years the code in place 10 stands for, the likelier by the rule of place 7 first.
    pub model_years: Vec<u16>,
    /// What is odd about it.
    pub warnings: Vec<VinWarning>,
}

/// The number a character counts for, none for I, O, Q and signs.
///
/// # Source
/// 49 CFR 565.15, table III \[published\].
#[must_use]
pub const fn character_value(c: char) -> Option<u32> {
    Some(match c {
        '0' => 0,
        'A' | 'J' | '1' => 1,
        'B' | 'K' | 'S' | '2' => 2,
        'C' | 'L' | 'T' | '3' => 3,
        'D' | 'M' | 'U' | '4' => 4,
        'E' | 'N' | 'V' | '5' => 5,
        'F' | 'W' | '6' => 6,
        'G' | 'P' | 'X' | '7' => 7,
        'H' | 'Y' | '8' => 8,
        'R' | 'Z' | '9' => 9,
        _ => return None,
    })
}

/// The model years a code stands for, up to 2039, earliest first.
///
/// # Source
/// 49 CFR 565.15, table VII, thirty-year cycle \[published\].
#[must_use]
pub fn years_of_code(code: char) -> Vec<u16> {
    YEAR_CODES
        .chars()
        .zip(1980_u16..)
        .find(|(known, _)| *known == code)
        .map_or_else(Vec::new, |(_, year)| vec![year, year + 30])
}

/// Reads a vehicle identification number: check digit, model years, and what is odd about it.
///
/// # Shapes
/// Small letters are read as capitals; spaces and hyphens are left out.
/// # Errors
/// None: an odd number is warned about and kept.
/// # Source
/// ISO 3779 for the characters, 49 CFR 565.15 for check digit and year code, 73 FR 23367 for place 7 \[published\].
#[must_use]
pub fn read_vin(text: &str) -> VinReading {
    // Letters beyond the plain ones stay as they are: some would become two (ß), or a plain one that nobody typed (ſ).
    let vin: String =
        text.chars().filter(|c| !c.is_whitespace() && *c != '-').map(|c| c.to_ascii_uppercase()).collect();
    let length = vin.chars().count();
    let mut warnings = Vec::new();
    if length != 17 {
        warnings.push(VinWarning::Length(length));
    }
    for (place, c) in vin.chars().enumerate() {
        if character_value(c).is_none() {
            warnings.push(VinWarning::Character(c, place + 1));
        }
    }
    let values: Option<Vec<u32>> = vin.chars().map(character_value).collect();
    let weighted_sum = values
        .filter(|values| values.len() == 17)
        .map(|values| values.iter().zip(WEIGHTS).map(|(value, weight)| value * weight).sum::<u32>());
    let check_digit =
        weighted_sum.map(|sum| if sum % 11 == 10 { 'X' } else { char::from_digit(sum % 11, 10).unwrap_or('X') });
    if let (Some(wanted), Some(found)) = (check_digit, vin.chars().nth(8))
        && wanted != found
    {
        warnings.push(VinWarning::CheckDigit { found, wanted });
    }
    let mut model_years = Vec::new();
    if length == 17 {
        let code = vin.chars().nth(9).unwrap_or('0');
        model_years = years_of_code(code);
        if model_years.is_empty() {
            warnings.push(VinWarning::YearCode(code));
        }
        if vin.chars().nth(6).is_some_and(|c| c.is_ascii_alphabetic()) {
            model_years.reverse();
        }
    }
    let agrees = warnings.iter().all(|warning| matches!(warning, VinWarning::YearCode(_))) && check_digit.is_some();
    VinReading { vin, weighted_sum, check_digit, agrees, model_years, warnings }
}

/// A mistake in reading or typing a number that its check digit does not show.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Unseen {
    /// At this place, counted from 1, the character could be this other one.
    Substitution(usize, char),
    /// The characters at these two places, counted from 1, could be exchanged.
    Exchange(usize, usize),
}

/// Every character that may stand in such a number.
const CHARACTERS: &str = "ABCDEFGHJKLMNPRSTUVWXYZ0123456789";

/// Every wrong character and every exchange of two places that leaves the check digit right.
///
/// A substitution is unseen when both characters count the same. An exchange is unseen when difference of values times
/// difference of weights is a multiple of eleven: eleven is prime and both differences are smaller, so one of them must be
/// nought: both characters count the same, or both places weigh the same, as 1 and 11, 2 and 12, up to 7 and 17. The place of
/// the check digit itself hides nothing but its own weight.
///
/// # Shapes
/// The number in capitals; one that cannot be read whole or whose check digit is wrong hides nothing and gives an empty list.
/// # Source
/// Worked out from the rule of 49 CFR 565.15 \[published\].
#[must_use]
pub fn unseen_mistakes(vin: &str) -> Vec<Unseen> {
    let characters: Vec<char> = vin.chars().collect();
    let values: Option<Vec<u32>> = characters.iter().copied().map(character_value).collect();
    let Some(values) = values.filter(|values| values.len() == WEIGHTS.len()) else { return Vec::new() };
    let rows: Vec<(usize, char, u32, u32)> = characters
        .iter()
        .zip(values)
        .zip(WEIGHTS)
        .zip(1..)
        .map(|(((c, value), weight), place)| (place, *c, value, weight))
        .collect();
    let sum: u32 = rows.iter().map(|row| row.2 * row.3).sum();
    if characters.get(8).is_none_or(|found| !is_check_digit(*found, sum)) {
        return Vec::new();
    }
    let mut unseen = Vec::new();
    for (place, c, value, weight) in &rows {
        if *weight > 0 {
            let alike = CHARACTERS.chars().filter(|other| other != c && character_value(*other) == Some(*value));
            unseen.extend(alike.map(|other| Unseen::Substitution(*place, other)));
        }
    }
    for (at, one) in rows.iter().enumerate() {
        for other in rows.iter().skip(at + 1).filter(|other| one.1 != other.1) {
            let after = sum + one.2 * other.3 + other.2 * one.3 - one.2 * one.3 - other.2 * other.3;
            let digit = match (one.0, other.0) {
                (9, _) => other.1,
                (_, 9) => one.1,
                _ => characters.get(8).copied().unwrap_or_default(),
            };
            if is_check_digit(digit, after) {
                unseen.push(Unseen::Exchange(one.0, other.0));
            }
        }
    }
    unseen
}

/// Whether this is the check digit of a weighted sum.
fn is_check_digit(found: char, sum: u32) -> bool {
    if sum % 11 == 10 { found == 'X' } else { found.to_digit(10) == Some(sum % 11) }
}

impl std::fmt::Display for VinWarning {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Length(length) => {
                write!(f, "it has {length} characters, 17 are usual since 1981; count them at the vehicle")
            }
            Self::Character(c, place) => write!(
                f,
                "{c:?} at place {place} does not occur in such numbers; I, O and Q are left out because they look like 1 and 0"
            ),
            Self::CheckDigit { found, wanted } => {
                write!(
                    f,
                    "the check digit at place 9 is {found}, {wanted} belongs there; read the number again, or the vehicle was made for a market without check digits"
                )
            }
            Self::YearCode(code) => {
                write!(f, "{code:?} at place 10 stands for no model year; the maker may not code it")
            }
        }
    }
}

/// A count as a number; there are never more than some hundred.
fn count(of: usize) -> f64 {
    u32::try_from(of).map_or(f64::INFINITY, f64::from)
}

/// Check digit and model year.
pub const VIN: Calculator = Calculator {
    id: "vin",
    group: Group::Papers,
    name: "Vehicle identification number",
    meaning: "check digit and model year of a vehicle identification number, and the mistakes it cannot show; warns and never refuses",
    inputs: &[Input::text("vin", "the number as read at the vehicle")],
    outputs: &[
        Output::new("agrees", Unit::ONE, "1 when the check digit is right, 0 when something is odd"),
        Output::new("weighted_sum", Unit::ONE, "weighted sum of the characters"),
        Output::new("remainder", Unit::ONE, "remainder of the sum by 11, 10 is written X"),
        Output::new("model_year", Unit::ONE, "model year by the codes in place 10 and 7"),
        Output::new("other_model_year", Unit::ONE, "the year thirty years apart that has the same code"),
        Output::new("unseen_characters", Unit::ONE, "single wrong characters that the check digit would not show"),
        Output::new("unseen_exchanges", Unit::ONE, "exchanges of two places that it would not show"),
    ],
    workings: &[
        "agrees is 1 when remainder and the character in place 9 are the same, 10 written X, and nothing else is odd",
        "weighted_sum is the sum over the 17 places of the weight of the place times the value of its character",
        "remainder is what is left of weighted_sum by 11",
        "model_year is read from place 10, and place 7 tells which thirty years",
        "other_model_year is thirty years from it",
        "unseen_characters is the number of single changes that leave remainder and place 9 in agreement",
        "unseen_exchanges is the number of exchanges of two places that do",
    ],
    sources: &[
        "49 CFR 565.15, tables III to VII [published]",
        "73 FR 23367 for the rule of place 7, passenger cars and light trucks [published]",
        "ISO 3779 [published]",
    ],
    example: &[("vin", "11111111111111111")],
    cautions: &[],
    formula: |given| {
        let reading = read_vin(given.text("vin").unwrap_or(""));
        let mut computed = Computed::default();
        computed.put("agrees", if reading.agrees { 1.0 } else { 0.0 });
        if let Some(sum) = reading.weighted_sum {
            computed.put("weighted_sum", f64::from(sum));
            computed.put("remainder", f64::from(sum % 11));
        }
        for (key, year) in ["model_year", "other_model_year"].into_iter().zip(&reading.model_years) {
            computed.put(key, f64::from(*year));
        }
        for warning in &reading.warnings {
            computed.note(warning.to_string());
        }
        if !reading.model_years.is_empty() {
            computed.note("the rule of place 7 holds for cars and light trucks of North America; for others either year may be right");
        }
        if reading.agrees {
            let unseen = unseen_mistakes(&reading.vin);
            let exchanges = unseen.iter().filter(|mistake| matches!(mistake, Unseen::Exchange(..))).count();
            computed.put("unseen_characters", count(unseen.len() - exchanges));
            computed.put("unseen_exchanges", count(exchanges));
            computed.note("not every mistake shows: characters of the same value stand for one another unseen (1 A J, 2 B K S, 3 C L T, 4 D M U, 5 E N V, 6 F W, 7 G P X, 8 H Y, 9 R Z), and places 1 to 7 change unseen with 11 to 17; compare it character by character at the vehicle");
        }
        Ok(computed)
    },
};
