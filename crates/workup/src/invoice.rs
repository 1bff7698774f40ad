//! What is to be paid for a job: what is committed, each of one and the same money once, with mark-up and tax, held against
//! what was agreed. Nothing in it is an estimate.

use anatomy::EntryId;
use logbook::{Covers, JobState};
use quantity::tax::part_of_one;
use quantity::{Charge, Currency, Money, Prices, Rounding, TaxBy, TaxRules, Taxed};
use serde::Serialize;

use crate::committed::{self, Committed, Sort};
use crate::cores;

/// One line to be paid.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Line {
    /// The entry it stands in; none for what the shop adds.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub entry: Option<EntryId>,
    /// What was agreed for it.
    pub covers: Covers,
    /// What it is.
    pub what: String,
    /// From whom, where that is told.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub from: Option<String>,
    /// What it is paid for, where the record says.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub charge: Option<Charge>,
    /// How much.
    pub amount: Money,
}

/// A deposit on an old part.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Deposit {
    /// The part.
    pub part: String,
    /// Who holds it.
    pub supplier: String,
    /// How much.
    pub amount: Money,
    /// Whether the old part went back.
    pub back: bool,
}

/// What was agreed and what is billed of it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Agreed {
    /// For what.
    pub covers: Covers,
    /// The most it may cost.
    pub ceiling: Money,
    /// What is billed, tax included.
    pub billed: Money,
}

/// What is to be paid.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Invoice {
    /// The lines.
    pub lines: Vec<Line>,
    /// The lines added up, with tax where it is told.
    pub sum: Taxed,
    /// How tax is reckoned; nothing where none is told.
    #[serde(skip)]
    pub rules: Option<TaxRules>,
    /// What each yes allows, and what is billed of it.
    pub agreed: Vec<Agreed>,
    /// Deposits, which are in no line.
    pub deposits: Vec<Deposit>,
}

/// Why nothing can be billed yet.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotBilled {
    /// Nothing is committed.
    #[error("nothing is ordered, worked or spent yet; tell hours with `time-worked` and bills with `cost-booked`")]
    Nothing,
    /// A line has no price.
    #[error(
        "{what} cannot be counted: {why}; book the bill (`cost-booked`, with the same supplier), or put the entry right"
    )]
    NoPrice {
        /// The line.
        what: String,
        /// Why.
        why: String,
    },
    /// No work is billed.
    #[error(
        "no work is in it: neither hours nor a price for the whole; tell hours with `time-worked`, or work at an agreed price \
         with `cost-booked` without a supplier"
    )]
    NoWork,
    /// Nobody has agreed.
    #[error("nobody has said yes to the {}; keep the answer with `approval-given` first", covers.word())]
    NotAgreed {
        /// To what.
        covers: Covers,
    },
    /// It comes to more than was agreed.
    #[error(
        "the {} comes to {billed}, and the customer has agreed to {ceiling}; ask for the rest (`approval-asked`, further work) \
         or put a line right",
        covers.word()
    )]
    Beyond {
        /// For what.
        covers: Covers,
        /// What it comes to.
        billed: Money,
        /// The most it may cost.
        ceiling: Money,
    },
    /// Whether the prices hold the tax is not told.
    #[error(
        "a tax of {percent} per cent is told, and not whether the amounts of this job are without it or hold it; tell `prices` \
         (`money-told`)"
    )]
    TaxNotSaid {
        /// The rate, as typed.
        percent: String,
    },
    /// A sum cannot be reckoned.
    #[error("the sum cannot be reckoned: {0}; put the amount right")]
    Sum(#[from] quantity::MoneyError),
}

impl Invoice {
    /// Reckons it.
    ///
    /// # Errors
    /// [`NotBilled`] names what is missing or too much.
    pub fn of(state: &JobState) -> Result<Self, NotBilled> {
        let rates = &state.rates;
        let rules = rates.tax_rules();
        if let Some(percent) = rates.tax_percent.as_deref().filter(|percent| rules.is_none() && told(percent)) {
            return Err(NotBilled::TaxNotSaid { percent: percent.to_owned() });
        }
        let all = committed::committed(state);
        let mut lines = Vec::new();
        for one in &all {
            lines.extend(lines_of(state, one)?);
        }
        let first = lines.first().ok_or(NotBilled::Nothing)?;
        let currency = first.amount.currency();
        let work = |line: &committed::Line| {
            line.charge == Some(Charge::Labour)
                || line.sort == Sort::Whole
                || (line.sort == Sort::Booked && line.from.is_none())
        };
        if !all.iter().flat_map(|one| committed::billed(one)).any(work) {
            return Err(NotBilled::NoWork);
        }
        let mut agreed = Vec::new();
        for one in all.iter().filter(|one| lines.iter().any(|line| line.covers == one.covers)) {
            let covers = one.covers;
            let billed = sum(state, rules, currency, lines.iter().filter(|line| line.covers == covers))?.total;
            let ceiling = one.ceiling.ok_or(NotBilled::NotAgreed { covers })?;
            if billed.compare(&ceiling)?.is_gt() {
                return Err(NotBilled::Beyond { covers, billed, ceiling });
            }
            agreed.push(Agreed { covers, ceiling, billed });
        }
        let sum = sum(state, rules, currency, &lines)?;
        let deposits = cores::of(state)
            .into_iter()
            .filter_map(|core| {
                Some(Deposit {
                    part: core.order.part.clone(),
                    supplier: core.order.supplier.clone(),
                    amount: core.order.core_deposit?,
                    back: core.back.is_some(),
                })
            })
            .collect();
        Ok(Self { lines, sum, rules, agreed, deposits })
    }
}

/// Whether a rate is more than nothing.
fn told(percent: &str) -> bool {
    part_of_one(percent).is_none_or(|rate| !rate.is_zero())
}

fn lines_of(state: &JobState, one: &Committed) -> Result<Vec<Line>, NotBilled> {
    let inside = one.lines.iter().any(|line| line.sort == Sort::Whole);
    // What was ordered without a price is paid by the supplier's bill.
    let paid = |line: &committed::Line| {
        let same = |a: &str, b: &str| a.trim().to_lowercase() == b.trim().to_lowercase();
        let bill = |other: &committed::Line| match (&line.from, &other.from) {
            (Some(a), Some(b)) => other.sort == Sort::Booked && same(a, b),
            (Some(_) | None, Some(_) | None) => false,
        };
        inside || one.lines.iter().any(bill)
    };
    if let Some(line) = one.lines.iter().find(|line| line.uncounted.is_some() && !paid(line)) {
        let why = line.uncounted.clone().unwrap_or_default();
        return Err(NotBilled::NoPrice { what: line.what.clone(), why });
    }
    let billed = committed::billed(one);
    let mut lines: Vec<Line> = Vec::new();
    let mut freights: Vec<Line> = Vec::new();
    for line in billed {
        let Some(amount) = line.amount else { continue };
        let (from, covers) = (line.from.clone(), one.covers);
        let mut bare = amount;
        // Freight stands by itself: nothing is added on it.
        if let Some(freight) = line.freight {
            bare = amount.minus(&freight)?;
            let order = state.orders.iter().find(|o| o.in_entry == line.entry);
            let of = order.map_or_else(|| line.what.clone(), |order| crate::words::words(&order.part));
            let what = format!("freight of {of}");
            let charge = Some(Charge::Other);
            freights.push(Line { entry: None, covers, what, from: from.clone(), charge, amount: freight });
        }
        let what = line.what.clone();
        lines.push(Line { entry: Some(line.entry), covers, what, from, charge: line.charge, amount: bare });
    }
    lines.extend(freights);
    let share = state.rates.parts_markup_percent.as_deref().and_then(part_of_one).filter(|share| !share.is_zero());
    let bought: Vec<Money> =
        lines.iter().filter(|line| line.charge == Some(Charge::Parts)).map(|line| line.amount).collect();
    if let (Some(share), false) = (share, bought.is_empty()) {
        let sum = Money::sum(&bought)?;
        let percent = state.rates.parts_markup_percent.as_deref().unwrap_or_default().trim().trim_end_matches('%');
        lines.push(Line {
            entry: None,
            covers: one.covers,
            what: format!("added on parts, {} per cent of {sum}", percent.trim_end()),
            from: None,
            charge: Some(Charge::Parts),
            amount: sum.times(share)?,
        });
    }
    Ok(lines)
}

/// Lines added up by the rules; without rules nothing is taxed.
fn sum<'l>(
    state: &JobState,
    rules: Option<TaxRules>,
    currency: Currency,
    lines: impl IntoIterator<Item = &'l Line>,
) -> Result<Taxed, quantity::MoneyError> {
    let none = TaxRules {
        rate: quantity::Decimal::ZERO,
        by: TaxBy::Total,
        prices: Prices::WithoutTax,
        rounding: Rounding::HalfUp,
    };
    // What the record does not say the kind of is taxed: nobody is to find the tax missing.
    let taxed = |charge: Option<Charge>| charge.is_none_or(|charge| state.rates.taxes(charge));
    let lines: Vec<(Money, bool)> = lines.into_iter().map(|line| (line.amount, taxed(line.charge))).collect();
    rules.unwrap_or(none).add_up(currency, &lines)
}
