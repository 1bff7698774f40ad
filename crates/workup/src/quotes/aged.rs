//! What a quote past its day is carried as: the rule of the knowledge, the day by the record, the price as a band.
//!
//! A quote that names its last day is past it from the next day on, one that names none after the days of the rule. How old
//! it is by the last entry that tells something of the job: this room has no clock, and the same record gives the same price.
//! What was ordered on a quote is agreed and does not grow old, nor does a job that is handed back or closed.

use anatomy::EntryId;
use jiff::civil::Date;
use knowledge::{Knowledge, QuoteAge};
use logbook::{Fact, JobState, QuoteReceived};
use quantity::{Decimal, Money};

use crate::estimate::Range;
use crate::words::{amount, count, day_of};

/// Days of a month, as months of ageing are counted \[ours\].
const MONTH: i32 = 30;

/// Entries that tell nothing new of a job: that a paper left the shop, and that the customer was asked. Without this a page
/// would grow older by being asked about.
const TELLS_NOTHING: [&str; 2] = ["paper-issued", "approval-asked"];

/// The day up to which a job is told: of the last entry that tells something of it.
#[must_use]
pub fn told_until(state: &JobState) -> Option<Date> {
    let telling = state.history.iter().filter(|line| !TELLS_NOTHING.contains(&line.kind.as_str()));
    telling.map(|line| day_of(line.at)).max()
}

/// How a quote past its day is carried.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Aged {
    /// The day it came in.
    pub of: Date,
    /// Days since then.
    pub days: i32,
    /// Months begun since its last day, as far as the rule counts them.
    pub months: u32,
    /// What its amounts are multiplied with: low and high.
    pub factors: [Decimal; 2],
}

impl Aged {
    /// How a quote is carried; nothing while it counts as it stands.
    #[must_use]
    pub fn of(state: &JobState, knowledge: &Knowledge, quote: &Fact<QuoteReceived>) -> Option<Self> {
        let rule = knowledge.quote_ages.first()?;
        let today = told_until(state)?;
        if state.closed.is_some() || state.handed_back.is_some() || ordered(state, quote.in_entry) {
            return None;
        }
        let of = day_of(quote.made_at);
        let days = |from: Date| from.until(today).map_or(0, |span| span.get_days());
        let past = match quote.valid_until {
            Some(last) => days(last),
            None => days(of) - i32::from(rule.holds_days),
        };
        let begun = past.checked_add(MONTH - 1).unwrap_or(past) / MONTH;
        let months = u32::try_from(begun).ok().filter(|months| *months > 0)?.min(rule.most_months);
        Some(Self { of, days: days(of), months, factors: factors(rule, months)? })
    }

    /// An amount of the quote as it is carried; nothing where it is too large to be one.
    #[must_use]
    pub fn carry(&self, money: Money) -> Option<Range> {
        let [lo, hi] = self.factors;
        Some(Range { lo: money.times(lo).ok()?, hi: money.times(hi).ok()? })
    }

    /// In words, with the price that was quoted: `quote of 2026-05-03 is 70 days old: EUR 435.00 carried as EUR 417.60 to
    /// EUR 461.10`.
    #[must_use]
    pub fn words(&self, price: Money) -> String {
        let carried = self.carry(price).map_or_else(String::new, |r| format!(": {}", carried(price, &r)));
        let days = count(usize::try_from(self.days).unwrap_or(0), "day", "days");
        format!("quote of {} is {days} old{carried}", self.of)
    }
}

/// A price and what it is carried as.
fn carried(price: Money, range: &Range) -> String {
    format!("{} carried as {} to {}", amount(&price), amount(&range.lo), amount(&range.hi))
}

fn factors(rule: &QuoteAge, months: u32) -> Option<[Decimal; 2]> {
    let exact = |x: f64| Decimal::try_from(x).ok();
    let months = Decimal::from(months);
    let hundred = Decimal::ONE_HUNDRED;
    let drift = exact(rule.drift_per_month_percent)?.checked_mul(months)?.checked_div(hundred)?;
    let wide = exact(rule.spread_per_month_percent)?.checked_mul(months)?.checked_add(exact(rule.spread_percent)?)?;
    let wide = wide.checked_div(hundred)?;
    let middle = Decimal::ONE.checked_add(drift)?;
    // A price is never carried below nothing, whatever a rule says.
    Some([middle.checked_sub(wide)?.max(Decimal::ZERO), middle.checked_add(wide)?])
}

/// Whether anything was ordered on a quote: then its price is agreed.
pub(crate) fn ordered(state: &JobState, id: EntryId) -> bool {
    state.orders.iter().any(|o| o.quote == Some(id)) || state.machine_orders.iter().any(|o| o.quote == Some(id))
}

/// The quote that stands in the place of one: the newest of the same supplier for the same thing, unless the old one was
/// ordered on. Most are their own.
#[must_use]
pub fn newest<'s>(state: &'s JobState, quote: &'s Fact<QuoteReceived>) -> &'s Fact<QuoteReceived> {
    let name = |q: &QuoteReceived| q.supplier.trim().to_lowercase();
    let again = |q: &&Fact<QuoteReceived>| {
        q.in_entry > quote.in_entry && (&q.need, &q.option) == (&quote.need, &quote.option) && name(q) == name(quote)
    };
    if ordered(state, quote.in_entry) || (quote.need.is_none() && quote.option.is_none()) {
        return quote;
    }
    state.quotes.iter().rfind(again).unwrap_or(quote)
}

/// The quotes that a choice rests on, each as its supplier confirmed it last.
#[must_use]
pub fn taken(state: &JobState) -> Vec<EntryId> {
    let named = state.chosen.iter().flat_map(|c| &c.quotes);
    let stands = |id: &EntryId| {
        let quote = state.quotes.iter().find(|q| q.in_entry == *id);
        quote.map_or(*id, |quote| newest(state, quote).in_entry)
    };
    named.map(stands).collect()
}

/// What old quotes do to the price of an option, a sentence each: what moved it and what ends that. It tells no count of days,
/// so it changes only when the price does.
#[must_use]
pub fn what_moved(state: &JobState, knowledge: &Knowledge, option: &str) -> Vec<String> {
    let known = crate::work::option(knowledge, option);
    let chosen = state.chosen.as_ref().filter(|c| c.option == option);
    let counts = |q: &&Fact<QuoteReceived>| match (&q.need, &q.option) {
        (None, Some(of)) => of == option,
        (Some(need), _) => match chosen {
            Some(_) => taken(state).contains(&q.in_entry),
            None => known
                .is_some_and(|o| o.operations.contains(need) || o.items.iter().any(|item| item.parts.contains(need))),
        },
        (None, None) => false,
    };
    let last = |q: &&Fact<QuoteReceived>| newest(state, q).in_entry == q.in_entry;
    let sentence = |q: &Fact<QuoteReceived>| {
        let aged = Aged::of(state, knowledge, q)?;
        let range = aged.carry(q.price)?;
        Some(format!(
            "The price of {} dates from {} and is past its day: {} until it is asked for again",
            q.supplier,
            aged.of,
            carried(q.price, &range)
        ))
    };
    state.quotes.iter().filter(counts).filter(last).filter_map(sentence).collect()
}
