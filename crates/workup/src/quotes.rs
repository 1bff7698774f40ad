//! Quotes side by side: for each need who asks how much with freight, when it is here, and whether the price still holds.
//! What one past its day is carried as stands in [`aged`].

pub mod aged;

use anatomy::EntryId;
use jiff::civil::Date;
use knowledge::Knowledge;
use logbook::{Fact, JobState, QuoteReceived};
use quantity::Money;

use aged::Aged;

/// Whether a quote still holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Holds {
    /// Nobody told how long.
    Untold,
    /// So many days more; 0 is today.
    Days(i32),
    /// It ran out so many days ago.
    RanOut(i32),
}

impl Holds {
    /// Of a quote on a day.
    #[must_use]
    pub fn of(quote: &QuoteReceived, today: Date) -> Self {
        let Some(until) = quote.valid_until else { return Self::Untold };
        match today.until(until).map_or(0, |span| span.get_days()) {
            days @ 0.. => Self::Days(days),
            days => Self::RanOut(-days),
        }
    }

    /// In words, with the next move where there is one.
    #[must_use]
    pub fn words(self) -> String {
        match self {
            Self::Untold => "ask how long it holds".to_owned(),
            Self::Days(0) => "holds today".to_owned(),
            Self::Days(1) => "holds until tomorrow".to_owned(),
            Self::Days(n) => format!("holds {n} days more"),
            Self::RanOut(1) => "ran out yesterday, ask again".to_owned(),
            Self::RanOut(n) => format!("ran out {n} days ago, ask again"),
        }
    }
}

/// One quote beside the others for the same need.
#[derive(Debug, Clone, Copy)]
pub struct Offer<'a> {
    /// The quote.
    pub quote: &'a Fact<QuoteReceived>,
    /// Price and freight; nothing where the two are in different currencies.
    pub together: Option<Money>,
    /// Whether it still holds.
    pub holds: Holds,
    /// Whether none that holds costs less.
    pub cheapest: bool,
    /// Whether none that holds is here sooner, at worst.
    pub soonest: bool,
    /// Whether it was taken up with the choice.
    pub taken: bool,
    /// How it is carried in prices, where it is past its day by the record.
    pub aged: Option<Aged>,
}

/// Everything that was quoted for one need.
#[derive(Debug, Clone)]
pub struct Need<'a> {
    /// The operation, part or option, an id of the knowledge or words.
    pub id: &'a str,
    /// Whether it is a whole repair option.
    pub whole: bool,
    /// The offers: those that hold first, the cheapest of them first.
    pub offers: Vec<Offer<'a>>,
}

/// The quotes of a job by what they are for, in the sequence in which each need was first quoted.
#[must_use]
pub fn by_need<'s>(state: &'s JobState, knowledge: &Knowledge, today: Date) -> Vec<Need<'s>> {
    let mut out: Vec<Need<'s>> = Vec::new();
    let accepted = aged::taken(state);
    for quote in &state.quotes {
        let (Some(id), whole) = (quote.need.as_deref().or(quote.option.as_deref()), quote.option.is_some()) else {
            continue;
        };
        let together = match &quote.freight {
            Some(freight) => quote.price.plus(freight).ok(),
            None => Some(quote.price),
        };
        let taken = accepted.contains(&quote.in_entry);
        let holds = Holds::of(quote, today);
        let aged = Aged::of(state, knowledge, quote).filter(|_| aged::newest(state, quote).in_entry == quote.in_entry);
        let offer = Offer { quote, together, holds, cheapest: false, soonest: false, taken, aged };
        match out.iter_mut().find(|n| n.id == id && n.whole == whole) {
            Some(need) => need.offers.push(offer),
            None => out.push(Need { id, whole, offers: vec![offer] }),
        }
    }
    for need in &mut out {
        mark(&mut need.offers);
    }
    out
}

/// Marks what is cheapest and soonest among several, and brings them into sequence.
fn mark(offers: &mut [Offer<'_>]) {
    let ran_out = |o: &Offer<'_>| matches!(o.holds, Holds::RanOut(_));
    let amount = |o: &Offer<'_>| o.together.map(|m| m.amount());
    let one_currency = offers.windows(2).all(|pair| match pair {
        [a, b] => a.quote.price.currency() == b.quote.price.currency(),
        _ => true,
    });
    let standing: Vec<Offer<'_>> = offers.iter().copied().filter(|o| !ran_out(o)).collect();
    if standing.len() > 1 {
        let least = standing.iter().filter_map(amount).min();
        let first = standing.iter().map(|o| o.quote.lead_days[1]).min();
        for offer in offers.iter_mut().filter(|o| !ran_out(o)) {
            offer.cheapest = one_currency && least.is_some() && amount(offer) == least;
            offer.soonest = Some(offer.quote.lead_days[1]) == first;
        }
    }
    // One currency after the other, since two cannot be held against each other.
    offers.sort_by_key(|o| {
        (ran_out(o), o.quote.price.currency().code(), o.together.is_none(), amount(o), o.quote.in_entry)
    });
}

/// The quotes past their day that a choice or an estimate still rests on, while nothing is ordered on them and the job
/// is open.
#[must_use]
pub fn run_out(state: &JobState, knowledge: &Knowledge, today: Date) -> Vec<EntryId> {
    if state.closed.is_some() || state.handed_back.is_some() {
        return Vec::new();
    }
    let ordered = |id: &EntryId| aged::ordered(state, *id);
    let counts = |o: &Offer<'_>| match &state.chosen {
        Some(_) => o.taken,
        None => true,
    };
    let all = by_need(state, knowledge, today);
    let mut out = Vec::new();
    for need in &all {
        // One that holds takes the place of those that ran out.
        let past = |o: &Offer<'_>| matches!(o.holds, Holds::RanOut(_)) || o.aged.is_some();
        let fresh = need.offers.iter().any(|o| !past(o));
        let old = need.offers.iter().filter(|o| past(o) && counts(o));
        out.extend(old.filter(|o| o.taken || !fresh).map(|o| o.quote.in_entry).filter(|id| !ordered(id)));
    }
    out
}
