//! Amounts of money in ISO 4217 currencies.
//!
//! The usual rounding rule: half away from zero to the minor unit of the currency (cents, whole yen,
//! fils); where a place has another rule, [`Rounding`] names it. No binary fraction ever holds an amount.

use std::fmt;

pub use iso_currency::Currency;
use num_traits::ToPrimitive;
pub use rust_decimal::Decimal;
use rust_decimal::RoundingStrategy;
use serde::{Deserialize, Serialize};
use thiserror::Error;

/// An amount in one currency, always a whole number of minor units.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "Stored", into = "Stored")]
pub struct Money {
    amount: Decimal,
    currency: Currency,
}

/// How an amount between two minor units is brought to one of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Rounding {
    /// To the nearer one; from the middle away from zero.
    #[default]
    HalfUp,
    /// To the nearer one; from the middle to the even one.
    HalfEven,
    /// Towards zero.
    Down,
}

impl Rounding {
    /// Every one.
    pub const ALL: &'static [Self] = &[Self::HalfUp, Self::HalfEven, Self::Down];

    /// Its word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::HalfUp => "half-up",
            Self::HalfEven => "half-even",
            Self::Down => "down",
        }
    }

    const fn strategy(self) -> RoundingStrategy {
        match self {
            Self::HalfUp => RoundingStrategy::MidpointAwayFromZero,
            Self::HalfEven => RoundingStrategy::MidpointNearestEven,
            Self::Down => RoundingStrategy::ToZero,
        }
    }
}

#[derive(Serialize, Deserialize)]
struct Stored {
    #[serde(with = "rust_decimal::serde::str")]
    amount: Decimal,
    currency: Currency,
}

/// Why an amount of money cannot be.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum MoneyError {
    /// Nothing was typed.
    #[error("no amount was typed; type a number and a currency, such as \"EUR 12.50\"")]
    Empty,
    /// The text is not an amount.
    #[error("{typed:?} is not an amount of money; type a number and a currency code, such as \"EUR 12.50\"")]
    NotAnAmount {
        /// What was typed.
        typed: String,
    },
    /// No currency was typed and none was expected.
    #[error("{typed:?} has no currency; add its three-letter code, such as EUR or USD")]
    NoCurrency {
        /// What was typed.
        typed: String,
    },
    /// The code is not one of ISO 4217.
    #[error("{code:?} in {typed:?} is not a currency code of ISO 4217; use a three-letter code such as EUR or USD")]
    UnknownCurrency {
        /// What was typed.
        typed: String,
        /// The part that should be a code.
        code: String,
    },
    /// More digits than the currency has.
    #[error("{amount} has more digits than {} counts ({digits}); round it, or type it without its separator if thousands are meant", currency.code())]
    TooManyDigits {
        /// The amount.
        amount: Decimal,
        /// The currency.
        currency: Currency,
        /// Its minor digits.
        digits: u32,
    },
    /// The currency has no minor unit in ISO 4217, such as a metal or a test code.
    #[error("{} is not a currency one pays in; use another code", currency.code())]
    NotPayable {
        /// The currency.
        currency: Currency,
    },
    /// Two currencies met.
    #[error("{} and {} cannot be added or compared; convert one of them first", left.code(), right.code())]
    Mixed {
        /// Currency of the first amount.
        left: Currency,
        /// Currency of the second amount.
        right: Currency,
    },
    /// The amount is too large to keep to the minor unit.
    #[error("the amount is too large to be kept to the minor unit; look for a mistyped digit")]
    TooLarge,
    /// A sum over nothing, or a split into nothing.
    #[error("there is nothing to add up or divide by; give at least one amount or part")]
    Nothing,
}

/// The answer to a typed amount.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum MoneyReply {
    /// One reading.
    Value(Money),
    /// Two readings, and the sentence to ask.
    Question {
        /// What was typed.
        typed: String,
        /// The readings it could have.
        readings: Vec<Money>,
        /// The sentence to ask.
        ask: String,
    },
}

impl Money {
    /// An amount that is already a whole number of minor units.
    ///
    /// # Errors
    /// [`MoneyError::TooManyDigits`] when it is not, [`MoneyError::NotPayable`] for codes without minor unit.
    pub fn new(amount: Decimal, currency: Currency) -> Result<Self, MoneyError> {
        let digits = minor_digits(currency)?;
        if amount.normalize().scale() > digits {
            return Err(MoneyError::TooManyDigits { amount, currency, digits });
        }
        Self::rounded(amount, currency)
    }

    /// An amount rounded half away from zero to the minor unit.
    ///
    /// # Errors
    /// [`MoneyError::NotPayable`] for codes without minor unit, [`MoneyError::TooLarge`].
    pub fn rounded(amount: Decimal, currency: Currency) -> Result<Self, MoneyError> {
        Self::rounded_by(Rounding::HalfUp, amount, currency)
    }

    /// An amount rounded to the minor unit by a rule.
    ///
    /// # Errors
    /// [`MoneyError::NotPayable`] for codes without minor unit, [`MoneyError::TooLarge`].
    /// # Source
    /// IEEE 754 and IEC 60559 for the names of the rules \[published\]; ISO 4217 for the minor units \[published\].
    pub fn rounded_by(rule: Rounding, amount: Decimal, currency: Currency) -> Result<Self, MoneyError> {
        let digits = minor_digits(currency)?;
        let mut amount = amount.round_dp_with_strategy(digits, rule.strategy());
        amount.rescale(digits);
        if amount.scale() != digits {
            return Err(MoneyError::TooLarge);
        }
        if amount.is_zero() {
            amount.set_sign_positive(true);
        }
        Ok(Self { amount, currency })
    }

    /// Nothing, in this currency.
    ///
    /// # Errors
    /// [`MoneyError::NotPayable`] for codes without minor unit.
    pub fn zero(currency: Currency) -> Result<Self, MoneyError> {
        Self::rounded(Decimal::ZERO, currency)
    }

    /// The amount, with as many decimals as the currency has.
    #[must_use]
    pub const fn amount(&self) -> Decimal {
        self.amount
    }

    /// The amount as the nearest floating-point number, for sums that are estimates anyway; never for a bill.
    #[must_use]
    pub fn to_f64(&self) -> f64 {
        // An amount has at most 28 digits, far inside the range.
        self.amount.to_f64().unwrap_or(f64::NAN)
    }

    /// The currency.
    #[must_use]
    pub const fn currency(&self) -> Currency {
        self.currency
    }

    /// The sum of two amounts of one currency.
    ///
    /// # Errors
    /// [`MoneyError::Mixed`], [`MoneyError::TooLarge`].
    pub fn plus(&self, other: &Self) -> Result<Self, MoneyError> {
        self.same(other)?;
        Self::rounded(self.amount.checked_add(other.amount).ok_or(MoneyError::TooLarge)?, self.currency)
    }

    /// The difference of two amounts of one currency.
    ///
    /// # Errors
    /// [`MoneyError::Mixed`], [`MoneyError::TooLarge`].
    pub fn minus(&self, other: &Self) -> Result<Self, MoneyError> {
        self.same(other)?;
        Self::rounded(self.amount.checked_sub(other.amount).ok_or(MoneyError::TooLarge)?, self.currency)
    }

    /// The amount times an exact factor, rounded once.
    ///
    /// # Errors
    /// [`MoneyError::TooLarge`].
    pub fn times(&self, factor: Decimal) -> Result<Self, MoneyError> {
        Self::rounded(self.amount.checked_mul(factor).ok_or(MoneyError::TooLarge)?, self.currency)
    }

    /// The amount divided by an exact divisor, rounded once.
    ///
    /// # Errors
    /// [`MoneyError::Nothing`] for a divisor of zero, [`MoneyError::TooLarge`].
    pub fn divided_by(&self, divisor: Decimal) -> Result<Self, MoneyError> {
        if divisor.is_zero() {
            return Err(MoneyError::Nothing);
        }
        Self::rounded(self.amount.checked_div(divisor).ok_or(MoneyError::TooLarge)?, self.currency)
    }

    /// The net amount and the tax inside a price that includes it; the two add up to the price.
    ///
    /// # Errors
    /// [`MoneyError::Nothing`] for a rate of minus one, [`MoneyError::TooLarge`].
    pub fn without_tax(&self, rate: Decimal) -> Result<(Self, Self), MoneyError> {
        let net = self.divided_by(Decimal::ONE.checked_add(rate).ok_or(MoneyError::TooLarge)?)?;
        let tax = self.minus(&net)?;
        Ok((net, tax))
    }

    /// The amount in equal parts that differ by at most one minor unit and add up to it, larger parts first.
    ///
    /// # Errors
    /// [`MoneyError::Nothing`] for no parts.
    pub fn split(&self, parts: u32) -> Result<Vec<Self>, MoneyError> {
        if parts == 0 {
            return Err(MoneyError::Nothing);
        }
        let digits = minor_digits(self.currency)?;
        let minor = self.amount.mantissa();
        let count = i128::from(parts);
        let (each, rest) = (minor / count, minor % count);
        Ok((0..count)
            .map(|part| {
                let extra = if part < rest.abs() { rest.signum() } else { 0 };
                Self { amount: Decimal::from_i128_with_scale(each + extra, digits), currency: self.currency }
            })
            .collect())
    }

    /// The sum of many amounts of one currency.
    ///
    /// # Errors
    /// [`MoneyError::Nothing`] for an empty list, [`MoneyError::Mixed`], [`MoneyError::TooLarge`].
    pub fn sum<'a>(amounts: impl IntoIterator<Item = &'a Self>) -> Result<Self, MoneyError> {
        let mut amounts = amounts.into_iter();
        let first = *amounts.next().ok_or(MoneyError::Nothing)?;
        amounts.try_fold(first, |so_far, next| so_far.plus(next))
    }

    /// How two amounts of one currency compare.
    ///
    /// # Errors
    /// [`MoneyError::Mixed`].
    pub fn compare(&self, other: &Self) -> Result<std::cmp::Ordering, MoneyError> {
        self.same(other)?;
        Ok(self.amount.cmp(&other.amount))
    }

    fn same(&self, other: &Self) -> Result<(), MoneyError> {
        if self.currency == other.currency {
            Ok(())
        } else {
            Err(MoneyError::Mixed { left: self.currency, right: other.currency })
        }
    }
}

impl fmt::Display for Money {
    /// Code, space, sign, digits in groups of three with commas, decimal point: `EUR -1,234.50`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let text = self.amount.abs().to_string();
        let (whole, minor) = text.split_once('.').map_or((text.as_str(), None), |(whole, minor)| (whole, Some(minor)));
        let mut grouped = String::new();
        for (place, digit) in whole.chars().enumerate() {
            if place > 0 && (whole.len() - place).is_multiple_of(3) {
                grouped.push(',');
            }
            grouped.push(digit);
        }
        let sign = if self.amount.is_sign_negative() { "-" } else { "" };
        let printed = match minor {
            Some(minor) => format!("{} {sign}{grouped}.{minor}", self.currency.code()),
            None => format!("{} {sign}{grouped}", self.currency.code()),
        };
        f.pad(&printed)
    }
}

impl TryFrom<Stored> for Money {
    type Error = MoneyError;
    fn try_from(stored: Stored) -> Result<Self, MoneyError> {
        Self::new(stored.amount, stored.currency)
    }
}

impl From<Money> for Stored {
    fn from(money: Money) -> Self {
        Self { amount: money.amount, currency: money.currency }
    }
}

/// The minor digits of a currency, as ISO 4217 has them.
///
/// # Errors
/// [`MoneyError::NotPayable`] for codes without minor unit.
pub fn minor_digits(currency: Currency) -> Result<u32, MoneyError> {
    currency.exponent().map(u32::from).ok_or(MoneyError::NotPayable { currency })
}

/// Reads an amount as typed: a number with the code before or after it, or without one when a currency is expected.
///
/// # Shapes
/// `EUR 12.50`, `12,50 EUR`, `1,234.50`, `1.234,50`, `1 234.50`, `-12.50`. A lone comma before exactly three digits
/// groups thousands where the currency has other than three minor digits, and is a question where it has three; a lone point
/// is always the decimal point.
/// # Errors
/// [`MoneyError`], naming what was typed.
pub fn parse_money(text: &str, expected: Option<Currency>) -> Result<MoneyReply, MoneyError> {
    let typed = text.to_owned();
    let not_an_amount = || MoneyError::NotAnAmount { typed: typed.clone() };
    if text.trim().is_empty() {
        return Err(MoneyError::Empty);
    }
    let letters: String = text.chars().filter(|c| c.is_alphabetic()).collect();
    let currency = if letters.is_empty() {
        expected.ok_or_else(|| MoneyError::NoCurrency { typed: typed.clone() })?
    } else {
        Currency::from_code(&letters.to_ascii_uppercase())
            .ok_or_else(|| MoneyError::UnknownCurrency { typed: typed.clone(), code: letters.clone() })?
    };
    let stripped = text.trim();
    let number: String = if letters.is_empty() {
        stripped.to_owned()
    } else if let Some(rest) = stripped.strip_prefix(letters.as_str()) {
        rest.trim().to_owned()
    } else if let Some(rest) = stripped.strip_suffix(letters.as_str()) {
        rest.trim().to_owned()
    } else {
        return Err(not_an_amount());
    };
    let digits = minor_digits(currency)?;
    let (negative, body) = match number.chars().next() {
        Some('-' | '−' | '–') => (true, number.chars().skip(1).collect::<String>()),
        Some('+') => (false, number.chars().skip(1).collect()),
        _ => (false, number.clone()),
    };
    let body: String = body.trim().chars().map(|c| if c.is_whitespace() || c == '’' { '\'' } else { c }).collect();
    if body.chars().any(|c| !(c.is_ascii_digit() || matches!(c, '.' | ',' | '\''))) {
        return Err(not_an_amount());
    }
    let mut readings = Vec::new();
    for point in ['.', ','] {
        // A lone point is a decimal point, as this project prints it; only a lone comma may group thousands.
        if point == ',' && body.matches('.').count() == 1 && !body.contains(',') {
            continue;
        }
        if let Some(amount) = reading_with_point(&body, point) {
            let amount = if negative { -amount } else { amount };
            if amount.scale() > digits {
                continue;
            }
            let money = Money::new(amount, currency)?;
            if !readings.contains(&money) {
                readings.push(money);
            }
        }
    }
    match readings.as_slice() {
        [] => {
            if let Some(amount) = reading_with_point(&body, '.').or_else(|| reading_with_point(&body, ',')) {
                return Err(MoneyError::TooManyDigits { amount, currency, digits });
            }
            Err(not_an_amount())
        }
        [one] => Ok(MoneyReply::Value(*one)),
        [first, second, ..] => {
            let ask = format!("{text:?} can be {first} or {second}: which one is meant?");
            Ok(MoneyReply::Question { typed, readings, ask })
        }
    }
}

/// The most digits that are read before the decimal sign: with four minor digits, the most a currency has, an amount still has as many as
/// are read.
const MOST_WHOLE: usize = 24;
/// The most digits that are read: any number of 28 digits can be held exactly.
const MOST_DIGITS: usize = 28;

/// The amount when `point` is the decimal sign and every other separator groups thousands.
fn reading_with_point(body: &str, point: char) -> Option<Decimal> {
    let mut halves = body.split(point);
    let (whole, minor) = (halves.next()?, halves.next().unwrap_or(""));
    if halves.next().is_some() || !minor.chars().all(|c| c.is_ascii_digit()) {
        return None;
    }
    let groups: Vec<&str> = whole.split(|c: char| !c.is_ascii_digit()).collect();
    let well_grouped = groups.len() == 1
        || groups.first().is_some_and(|group| (1..=3).contains(&group.len()))
            && groups.iter().skip(1).all(|group| group.len() == 3);
    let separators: Vec<char> = whole.chars().filter(|c| !c.is_ascii_digit()).collect();
    let one_separator = separators.windows(2).all(|pair| pair.first() == pair.last());
    let whole: String = groups.concat();
    let too_long = whole.len() > MOST_WHOLE || whole.len() + minor.len() > MOST_DIGITS;
    if !well_grouped || !one_separator || whole.is_empty() && minor.is_empty() || too_long {
        return None;
    }
    let text =
        if minor.is_empty() { whole } else { format!("{}.{minor}", if whole.is_empty() { "0" } else { &whole }) };
    text.parse().ok()
}
