//! Tax on the lines of a bill, by rules that a place sets: what is taxed, on each line or on the total, whether prices
//! hold the tax already, and how it is rounded.
//!
//! Which rules hold is local law; nothing here knows any.

use serde::{Deserialize, Serialize};

use crate::money::{Currency, Decimal, Money, MoneyError, Rounding};

/// What a line of a bill is paid for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Charge {
    /// Work in the own shop.
    Labour,
    /// Parts and what is used up.
    Parts,
    /// Work bought in.
    Sublet,
    /// Anything else, such as freight.
    Other,
}

impl Charge {
    /// Every one.
    pub const ALL: &'static [Self] = &[Self::Labour, Self::Parts, Self::Sublet, Self::Other];

    /// Its word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Labour => "labour",
            Self::Parts => "parts",
            Self::Sublet => "sublet",
            Self::Other => "other",
        }
    }
}

/// Where tax is rounded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum TaxBy {
    /// Once, on the sum of what is taxed.
    #[default]
    Total,
    /// On each line.
    Line,
}

impl TaxBy {
    /// Every one.
    pub const ALL: &'static [Self] = &[Self::Total, Self::Line];

    /// Its word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Total => "total",
            Self::Line => "line",
        }
    }
}

/// Whether amounts hold the tax.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Prices {
    /// It comes on top.
    WithoutTax,
    /// They hold it already.
    WithTax,
}

impl Prices {
    /// Every one.
    pub const ALL: &'static [Self] = &[Self::WithoutTax, Self::WithTax];

    /// Its word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::WithoutTax => "without-tax",
            Self::WithTax => "with-tax",
        }
    }
}

/// A percentage as an exact part of one, from 0 to 1000 per cent: `8.25 %`, `8,25` and `8.25` are 0.0825.
#[must_use]
pub fn part_of_one(text: &str) -> Option<Decimal> {
    let number: Decimal = text.trim().trim_end_matches('%').trim().replace(',', ".").parse().ok()?;
    let in_reach = number >= Decimal::ZERO && number <= Decimal::from(1000);
    in_reach.then(|| number.checked_div(Decimal::ONE_HUNDRED)).flatten()
}

/// How tax is reckoned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TaxRules {
    /// The rate, as a part of one.
    pub rate: Decimal,
    /// Where it is rounded.
    pub by: TaxBy,
    /// Whether amounts hold it.
    pub prices: Prices,
    /// How it is rounded.
    pub rounding: Rounding,
}

/// What a bill comes to; `net` and `tax` add up to `total`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Taxed {
    /// Without tax.
    pub net: Money,
    /// The tax.
    pub tax: Money,
    /// With tax.
    pub total: Money,
}

impl TaxRules {
    /// Adds up lines, each with whether it is taxed.
    ///
    /// # Errors
    /// [`MoneyError`] where a line is in another currency or a sum is too large.
    pub fn add_up(&self, currency: Currency, lines: &[(Money, bool)]) -> Result<Taxed, MoneyError> {
        let zero = Money::zero(currency)?;
        let sum = |taxed: bool| {
            lines.iter().filter(|(_, of)| *of == taxed).try_fold(zero, |sum, (amount, _)| sum.plus(amount))
        };
        let (net, tax) = match self.by {
            TaxBy::Total => self.of(&sum(true)?)?,
            TaxBy::Line => {
                lines.iter().filter(|(_, taxed)| *taxed).try_fold((zero, zero), |(net, tax), (amount, _)| {
                    let (of_net, of_tax) = self.of(amount)?;
                    Ok::<_, MoneyError>((net.plus(&of_net)?, tax.plus(&of_tax)?))
                })?
            }
        };
        let net = net.plus(&sum(false)?)?;
        Ok(Taxed { net, tax, total: net.plus(&tax)? })
    }

    /// Net amount and tax of an amount as it stands.
    fn of(&self, amount: &Money) -> Result<(Money, Money), MoneyError> {
        let round = |exact: Decimal| Money::rounded_by(self.rounding, exact, amount.currency());
        match self.prices {
            Prices::WithTax => {
                let whole = Decimal::ONE.checked_add(self.rate).ok_or(MoneyError::TooLarge)?;
                let net = round(amount.amount().checked_div(whole).ok_or(MoneyError::TooLarge)?)?;
                Ok((net, amount.minus(&net)?))
            }
            Prices::WithoutTax => {
                Ok((*amount, round(amount.amount().checked_mul(self.rate).ok_or(MoneyError::TooLarge)?)?))
            }
        }
    }
}
