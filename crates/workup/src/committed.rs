//! The money that a job has committed, held against what the customer has approved.
//!
//! What counts is in `docs/decisions/0017-what-counts-against-a-ceiling.md`. Sums are exact; nothing here is an estimate.

use std::cmp::Ordering;
use std::collections::BTreeMap;

use anatomy::EntryId;
use jiff::Timestamp;
use logbook::{Covers, Fact, Figure, JobState};
use quantity::{Decimal, Money, Reply, Unit, parse_quantity};
use serde::Serialize;

/// What one approval, or several that add up, allow, and what is used of it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Committed {
    /// For what; further work is a part of the repair.
    pub covers: Covers,
    /// The most it may cost; none where nobody has said yes.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ceiling: Option<Money>,
    /// The approvals that the ceiling is made of.
    pub approvals: Vec<EntryId>,
    /// What is committed; none while nothing with a price is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub used: Option<Money>,
    /// What it is made of.
    pub lines: Vec<Line>,
}

/// One thing that commits money.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Line {
    /// The entry.
    pub entry: EntryId,
    /// What it is.
    pub what: String,
    /// From whom, where that is told.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub from: Option<String>,
    /// How much; none where it cannot be counted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub amount: Option<Money>,
    /// Why it cannot be counted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub uncounted: Option<String>,
    /// What sort of promise it is.
    pub sort: Sort,
}

/// What sort of promise a line is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Sort {
    /// An accepted quote for the whole repair: the other lines are inside it until they come to more.
    Whole,
    /// An order, an accepted quote that no order has followed, or hours.
    Promised,
    /// Money booked as spent; with its supplier's orders it is one and the same money.
    Booked,
}

/// Money that goes beyond what was approved.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Beyond {
    /// More than the ceiling.
    #[error(
        "this would bring what is committed for the {} to {would_be}, and the customer has approved up to {ceiling}",
        covers.word()
    )]
    Ceiling {
        /// For what.
        covers: Covers,
        /// The most it may cost.
        ceiling: Money,
        /// What would be committed.
        would_be: Money,
    },
    /// Not comparable with the ceiling.
    #[error("{what} is not in {}, the currency in which the customer has approved up to {ceiling}", ceiling.currency().code())]
    OtherCurrency {
        /// What is priced otherwise.
        what: String,
        /// The most it may cost.
        ceiling: Money,
    },
    /// A ceiling lifted by putting an entry right.
    #[error("putting an approval right cannot lift its ceiling from {was} to {wanted}")]
    Lifted {
        /// The ceiling as approved.
        was: Money,
        /// The ceiling as it would be.
        wanted: Money,
    },
}

/// What each approval allows and what is used of it; first finding out, then taking apart, then the repair.
#[must_use]
pub fn committed(state: &JobState) -> Vec<Committed> {
    let lines = lines(state);
    [Covers::Diagnosis, Covers::Teardown, Covers::Repair]
        .into_iter()
        .filter_map(|covers| {
            let (ceiling, approvals) = ceiling(state, covers);
            let mut here: Vec<Line> = lines.iter().filter(|(of, _)| *of == covers).map(|(_, l)| l.clone()).collect();
            if here.is_empty() && approvals.is_empty() {
                return None;
            }
            let used = sum_up(&mut here, ceiling.as_ref());
            Some(Committed { covers, ceiling, approvals, used, lines: here })
        })
        .collect()
}

/// How a ceiling and what is used of it went, step by step.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Course {
    /// For what; further work is a part of the repair.
    pub covers: Covers,
    /// When the customer said yes, and the ceiling from then on.
    pub ceilings: Vec<Step>,
    /// When what is committed changed, and what it was from then on.
    pub used: Vec<Step>,
}

/// An amount from a moment on.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Step {
    /// The moment, by the device's clock.
    pub at: Timestamp,
    /// The amount.
    pub to: Money,
}

/// How each ceiling and what is used of it went over time, as far as the record stands now: what was taken back never was, and
/// of several choices the last one speaks. In the sequence of [`committed`].
#[must_use]
pub fn courses(state: &JobState) -> Vec<Course> {
    let mut events: Vec<(EntryId, Timestamp)> = Vec::new();
    events.extend(state.approvals.iter().map(|f| (f.in_entry, f.made_at)));
    events.extend(state.orders.iter().map(|f| (f.in_entry, f.made_at)));
    events.extend(state.machine_orders.iter().map(|f| (f.in_entry, f.made_at)));
    events.extend(state.time_worked.iter().map(|f| (f.in_entry, f.made_at)));
    events.extend(state.costs.iter().map(|f| (f.in_entry, f.made_at)));
    events.extend(state.chosen.iter().map(|f| (f.in_entry, f.made_at)));
    events.sort_unstable();
    let mut out: Vec<Course> = Vec::new();
    for (entry, at) in events {
        for one in committed(&up_to(state, entry)) {
            let course = match out.iter_mut().find(|c| c.covers == one.covers) {
                Some(course) => course,
                None => {
                    out.push(Course { covers: one.covers, ceilings: Vec::new(), used: Vec::new() });
                    let Some(last) = out.last_mut() else { continue };
                    last
                }
            };
            for (steps, now) in [(&mut course.ceilings, one.ceiling), (&mut course.used, one.used)] {
                if let Some(now) = now
                    && steps.last().is_none_or(|before| before.to != now)
                {
                    steps.push(Step { at, to: now });
                }
            }
        }
    }
    out.sort_by_key(|course| course.covers);
    out
}

/// The money of a job as it stood after an entry.
fn up_to(state: &JobState, last: EntryId) -> JobState {
    fn until<T: Clone>(facts: &[Fact<T>], last: EntryId) -> Vec<Fact<T>> {
        facts.iter().filter(|f| f.in_entry <= last).cloned().collect()
    }
    JobState {
        rates: state.rates.clone(),
        approvals: until(&state.approvals, last),
        orders: until(&state.orders, last),
        machine_orders: until(&state.machine_orders, last),
        quotes: until(&state.quotes, last),
        time_worked: until(&state.time_worked, last),
        costs: until(&state.costs, last),
        chosen: state.chosen.clone().filter(|f| f.in_entry <= last),
        ..JobState::default()
    }
}

/// Passes what keeps to the ceilings: `after` is the job with the new entry, `corrects` whether that puts another right.
///
/// A job that is over a ceiling already is only held to add nothing.
///
/// # Errors
/// [`Beyond`] with both amounts.
pub fn ensure_within(before: &JobState, after: &JobState, corrects: bool) -> Result<(), Beyond> {
    if corrects {
        for approval in &before.approvals {
            let Some(new) = after.approvals.iter().find(|a| a.in_entry == approval.in_entry) else { continue };
            let lifted = new.ceiling.compare(&approval.ceiling).map_or(true, Ordering::is_gt);
            if lifted || new.covers != approval.covers {
                return Err(Beyond::Lifted { was: approval.ceiling, wanted: new.ceiling });
            }
        }
    }
    let was = committed(before);
    for now in committed(after) {
        let (Some(ceiling), Some(used)) = (now.ceiling, now.used) else { continue };
        let then = was.iter().find(|c| c.covers == now.covers);
        let known = |line: &Line| then.is_some_and(|c| c.lines.iter().any(|l| l == line));
        let odd = now.lines.iter().find(|l| l.amount.is_some_and(|m| m.currency() != ceiling.currency()) && !known(l));
        if let Some(odd) = odd {
            return Err(Beyond::OtherCurrency { what: odd.what.clone(), ceiling });
        }
        let over = used.compare(&ceiling).is_ok_and(Ordering::is_gt);
        let more = then.and_then(|c| c.used).is_none_or(|u| used.compare(&u).map_or(true, Ordering::is_gt));
        if over && more {
            return Err(Beyond::Ceiling { covers: now.covers, ceiling, would_be: used });
        }
    }
    Ok(())
}

/// Further work is a part of the repair.
const fn group(covers: Covers) -> Covers {
    match covers {
        Covers::FurtherWork => Covers::Repair,
        Covers::Diagnosis | Covers::Teardown | Covers::Repair => covers,
    }
}

/// The last approval of a kind; of the repair, with every further work approved after it.
fn ceiling(state: &JobState, covers: Covers) -> (Option<Money>, Vec<EntryId>) {
    let mut approvals = Vec::new();
    let mut ceiling: Option<Money> = None;
    for approval in state.approvals.iter().filter(|a| group(a.covers) == covers) {
        let adds = approval.covers == Covers::FurtherWork;
        let sum = ceiling.filter(|_| adds).and_then(|c| c.plus(&approval.ceiling).ok());
        if sum.is_none() {
            approvals.clear();
        }
        ceiling = Some(sum.unwrap_or(approval.ceiling));
        approvals.push(approval.in_entry);
    }
    (ceiling, approvals)
}

/// Which approval a line counts against.
///
/// The one that it names, where somebody said yes to that. Else the repair, where that was approved before; else what
/// was approved last before it; else what it names, or the repair.
fn counts_against(state: &JobState, named: Option<Covers>, entry: EntryId) -> Covers {
    let given = |covers: Covers| state.approvals.iter().any(|a| group(a.covers) == covers);
    let before = || state.approvals.iter().filter(|a| a.in_entry < entry);
    let named = named.map(group);
    if let Some(covers) = named.filter(|c| given(*c)) {
        return covers;
    }
    if before().any(|a| group(a.covers) == Covers::Repair) {
        return Covers::Repair;
    }
    before().next_back().map(|a| group(a.covers)).or(named).unwrap_or(Covers::Repair)
}

/// Price of a thing quoted, with its freight; a deposit comes back and does not count.
fn quoted(state: &JobState, quote: Option<EntryId>) -> (Option<Money>, Option<Money>) {
    let found = quote.and_then(|id| state.quotes.iter().find(|q| q.in_entry == id));
    (found.map(|q| q.price), found.and_then(|q| q.freight))
}

fn with_freight(price: Option<Money>, freight: Option<Money>) -> Option<Money> {
    match (price, freight) {
        (Some(price), Some(freight)) => price.plus(&freight).ok().or(Some(price)),
        (price, _) => price,
    }
}

fn lines(state: &JobState) -> Vec<(Covers, Line)> {
    let mut out = Vec::new();
    let mut line = |named: Option<Covers>, line: Line| out.push((counts_against(state, named, line.entry), line));
    for order in &state.orders {
        let (price, freight) = quoted(state, order.quote);
        let amount = with_freight(order.price.or(price), freight);
        line(
            None,
            Line {
                entry: order.in_entry,
                what: format!("{} ordered", crate::words::words(&order.part)),
                from: Some(order.supplier.clone()),
                amount,
                uncounted: amount.is_none().then(|| "no price is told".to_owned()),
                sort: Sort::Promised,
            },
        );
    }
    for order in &state.machine_orders {
        let (price, freight) = quoted(state, order.quote);
        let amount = with_freight(price, freight);
        line(
            None,
            Line {
                entry: order.in_entry,
                what: format!("machine order {}", order.code),
                from: Some(order.shop.clone()),
                amount,
                uncounted: amount.is_none().then(|| "it follows no quote".to_owned()),
                sort: Sort::Promised,
            },
        );
    }
    if let Some(chosen) = &state.chosen {
        let followed = |id: EntryId| {
            state.orders.iter().any(|o| o.quote == Some(id)) || state.machine_orders.iter().any(|o| o.quote == Some(id))
        };
        // A choice that names no quote rests on the one that its option was priced by.
        let priced_by = state.quotes.iter().rfind(|q| q.option.as_ref() == Some(&chosen.option));
        let accepted: Vec<EntryId> = match chosen.quotes.as_slice() {
            [] => priced_by.map(|q| q.in_entry).into_iter().collect(),
            named => named.to_vec(),
        };
        let whole = state.quotes.iter().rfind(|q| accepted.contains(&q.in_entry) && q.option.is_some());
        let parts = state.quotes.iter().filter(|q| q.option.is_none() && accepted.contains(&q.in_entry));
        for quote in parts.filter(|q| !followed(q.in_entry)).chain(whole) {
            let sort = if quote.option.is_some() { Sort::Whole } else { Sort::Promised };
            let of = quote.need.as_ref().or(quote.option.as_ref()).map_or("", String::as_str);
            let covers = counts_against(state, None, chosen.in_entry);
            let amount = with_freight(Some(quote.price), quote.freight);
            let what = format!("quote for {} accepted", crate::words::words(of));
            let from = Some(quote.supplier.clone());
            out.push((covers, Line { entry: quote.in_entry, what, from, amount, uncounted: None, sort }));
        }
    }
    let mut line = |named: Option<Covers>, line: Line| out.push((counts_against(state, named, line.entry), line));
    for time in &state.time_worked {
        let (amount, uncounted) = match of_hours(&time.time, state.rates.labour_rate.as_ref()) {
            Ok(amount) => (Some(amount), None),
            Err(why) => (None, Some(why)),
        };
        let what = format!("{} {} worked: {}", time.time.text, time.time.unit, time.what);
        line(time.covers, Line { entry: time.in_entry, what, from: None, amount, uncounted, sort: Sort::Promised });
    }
    for cost in &state.costs {
        line(
            cost.covers,
            Line {
                entry: cost.in_entry,
                what: cost.what.clone(),
                from: cost.supplier.clone(),
                amount: Some(cost.amount),
                uncounted: None,
                sort: Sort::Booked,
            },
        );
    }
    out
}

/// Hours at the shop's rate, exact to the minor unit.
fn of_hours(time: &Figure, rate: Option<&Money>) -> Result<Money, String> {
    let rate = rate.ok_or("no labour rate is told")?;
    let not_a_time = |_| format!("`{} {}` is no time", time.text, time.unit);
    let unit = Unit::from_symbol(&time.unit).map_err(|e| e.to_string())?;
    let hour = Unit::from_symbol("h").map_err(|e| e.to_string())?;
    let Ok(Reply::Value(typed)) = parse_quantity(&time.text, Some(unit)) else {
        return Err(format!("`{} {}` has no single reading", time.text, time.unit));
    };
    // The shortest digits of the number are those that were typed, so whole minutes and tenths of hours stay exact.
    let exact = |number: f64| number.to_string().parse::<Decimal>().map_err(|e| e.to_string());
    let (number, parts) = match typed.unit.symbol() {
        "h" => (exact(typed.number)?, Decimal::ONE),
        "min" => (exact(typed.number)?, Decimal::from(60)),
        _ => (exact(typed.value_in(hour).map_err(not_a_time)?)?, Decimal::ONE),
    };
    let money = rate.amount().checked_mul(number).and_then(|m| m.checked_div(parts));
    Money::rounded(money.ok_or("the sum is too large")?, rate.currency()).map_err(|e| e.to_string())
}

/// Adds lines up in the currency of the ceiling, or of the first line; what is in another one is marked.
fn sum_up(lines: &mut [Line], ceiling: Option<&Money>) -> Option<Money> {
    let first = lines.iter().find_map(|l| l.amount);
    let currency = ceiling.map(Money::currency).or_else(|| first.map(|m| m.currency()))?;
    let zero = Money::zero(currency).ok()?;
    let key = |from: &Option<String>| from.as_ref().map(|f| f.trim().to_lowercase());
    let whole_from = lines.iter().find(|l| l.sort == Sort::Whole).and_then(|l| key(&l.from));
    let mut inside = (zero, zero);
    let mut alone = zero;
    let mut by_supplier: BTreeMap<String, (Money, Money)> = BTreeMap::new();
    let mut any = false;
    for line in lines.iter_mut() {
        let Some(amount) = line.amount else { continue };
        if amount.currency() != currency {
            line.uncounted = Some(format!("it is not in {}", currency.code()));
            continue;
        }
        any = true;
        let from = key(&line.from);
        let whole = line.sort == Sort::Whole || from.is_some() && from == whole_from;
        let sum = match (&from, whole) {
            (_, true) => &mut inside,
            (None, false) => {
                alone = alone.plus(&amount).ok()?;
                continue;
            }
            (Some(from), false) => by_supplier.entry(from.clone()).or_insert((zero, zero)),
        };
        let sum = if line.sort == Sort::Booked { &mut sum.1 } else { &mut sum.0 };
        *sum = sum.plus(&amount).ok()?;
    }
    // What was ordered from a supplier and what was paid to him is the same money.
    let larger = |(a, b): &(Money, Money)| if a.compare(b).is_ok_and(Ordering::is_lt) { *b } else { *a };
    let apart = by_supplier.values().try_fold(alone, |sum, both| sum.plus(&larger(both)).ok())?;
    any.then(|| larger(&(larger(&inside), apart)))
}
