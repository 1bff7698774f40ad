//! The money that a job has committed, held against what the customer has approved.
//!
//! What counts is in `docs/decisions/0017-what-counts-against-a-ceiling.md`. Sums are exact; nothing here is an estimate.

use std::cmp::Ordering;
use std::collections::BTreeMap;

use anatomy::EntryId;
use jiff::Timestamp;
use logbook::{Covers, Fact, Figure, JobState};
use quantity::tax::part_of_one;
use quantity::{Charge, Currency, Decimal, Money, Prices, Reply, Unit, parse_quantity};
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
    /// What is committed, with what the shop adds on parts, and with tax where that is told to come on top; none while nothing with a price is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub used: Option<Money>,
    /// What the shop adds on parts that it buys, of these lines; none where nothing is added.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub added: Option<Money>,
    /// The tax in it that comes on top of the lines; none where it is not told, or the prices hold it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tax: Option<Money>,
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
    /// The freight in it, on which nothing is added.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub freight: Option<Money>,
    /// Why it cannot be counted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub uncounted: Option<String>,
    /// What sort of promise it is.
    pub sort: Sort,
    /// What it is paid for, where the record says.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub charge: Option<Charge>,
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
            let sum = sum_up(state, &mut here, ceiling.as_ref());
            let (used, added, tax) = match sum {
                Some(sum) => (Some(sum.used), sum.added, sum.tax),
                None => (None, None, None),
            };
            Some(Committed { covers, ceiling, approvals, used, added, tax, lines: here })
        })
        .collect()
}

/// What some lines come to.
struct Sum {
    used: Money,
    added: Option<Money>,
    tax: Option<Money>,
}

/// Lines as they are billed: what the shop adds on the parts among them once on their sum, without their freight; then
/// tax, where it is told that prices are without it. What the record does not say the kind of counts as taxed, so that a
/// ceiling is kept.
fn come_to(state: &JobState, lines: &[&Line], currency: Currency) -> Option<Sum> {
    let rates = &state.rates;
    let mut items: Vec<(Option<Charge>, Money)> = Vec::new();
    let mut parts = Money::zero(currency).ok()?;
    for line in lines {
        let Some(amount) = line.amount else { continue };
        let bare = match line.freight {
            Some(freight) => {
                items.push((Some(Charge::Other), freight));
                amount.minus(&freight).ok()?
            }
            None => amount,
        };
        if line.charge == Some(Charge::Parts) {
            parts = parts.plus(&bare).ok()?;
        }
        items.push((line.charge, bare));
    }
    let share = rates.parts_markup_percent.as_deref().and_then(part_of_one);
    let added = share.and_then(|share| parts.times(share).ok()).filter(|added| !added.amount().is_zero());
    items.extend(added.map(|added| (Some(Charge::Parts), added)));
    let bare = items.iter().try_fold(Money::zero(currency).ok()?, |sum, (_, amount)| sum.plus(amount).ok())?;
    let taxed: Vec<(Money, bool)> =
        items.iter().map(|(charge, amount)| (*amount, charge.is_none_or(|charge| rates.taxes(charge)))).collect();
    let rules = rates.tax_rules().filter(|rules| rules.prices == Prices::WithoutTax);
    let tax = rules.and_then(|rules| rules.add_up(currency, &taxed).ok()).map(|sum| sum.tax);
    let used = tax.map_or(Some(bare), |tax| bare.plus(&tax).ok())?;
    Some(Sum { used, added, tax })
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

/// The freight that an amount holds.
fn freight_in(amount: Option<Money>, freight: Option<Money>) -> Option<Money> {
    freight.filter(|f| amount.is_some_and(|a| a.currency() == f.currency()))
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
                freight: freight_in(amount, freight),
                uncounted: amount.is_none().then(|| "no price is told".to_owned()),
                sort: Sort::Promised,
                charge: Some(Charge::Parts),
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
                freight: freight_in(amount, freight),
                uncounted: amount.is_none().then(|| "it follows no quote".to_owned()),
                sort: Sort::Promised,
                charge: Some(Charge::Sublet),
            },
        );
    }
    if let Some(chosen) = &state.chosen {
        let followed = |id: EntryId| crate::quotes::aged::ordered(state, id);
        // A choice that names no quote rests on the one that its option was priced by.
        let priced_by = state.quotes.iter().rfind(|q| q.option.as_ref() == Some(&chosen.option));
        let accepted: Vec<EntryId> = match chosen.quotes.as_slice() {
            [] => priced_by.map(|q| q.in_entry).into_iter().collect(),
            _ => crate::quotes::aged::taken(state),
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
            out.push((
                covers,
                Line { entry: quote.in_entry, what, from, amount, freight: None, uncounted: None, sort, charge: None },
            ));
        }
    }
    let mut line = |named: Option<Covers>, line: Line| out.push((counts_against(state, named, line.entry), line));
    for time in &state.time_worked {
        let (amount, uncounted) = match of_hours(&time.time, state.rates.labour_rate.as_ref()) {
            Ok(amount) => (Some(amount), None),
            Err(why) => (None, Some(why)),
        };
        let what = format!("{} {} worked: {}", time.time.text, time.time.unit, time.what);
        line(
            time.covers,
            Line {
                entry: time.in_entry,
                what,
                from: None,
                amount,
                freight: None,
                uncounted,
                sort: Sort::Promised,
                charge: Some(Charge::Labour),
            },
        );
    }
    for cost in &state.costs {
        line(
            cost.covers,
            Line {
                entry: cost.in_entry,
                what: cost.what.clone(),
                from: cost.supplier.clone(),
                amount: Some(cost.amount),
                freight: None,
                uncounted: None,
                sort: Sort::Booked,
                charge: None,
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

/// What lines come to in the currency of the ceiling, or of the first line; what is in another one is marked.
fn sum_up(state: &JobState, lines: &mut [Line], ceiling: Option<&Money>) -> Option<Sum> {
    let currency = currency_of(lines, ceiling)?;
    for line in lines.iter_mut().filter(|l| l.amount.is_some_and(|amount| amount.currency() != currency)) {
        line.uncounted = Some(format!("it is not in {}", currency.code()));
    }
    // Of two ways to the same money the one that comes to more counts, each with what is added and its tax.
    let whole = |lines: &[&Line]| come_to(state, lines, currency).map(|sum| sum.used);
    let counted = chosen(lines, currency, &whole, |both, of| both.larger(of))?;
    (!counted.is_empty()).then(|| come_to(state, &counted, currency)).flatten()
}

/// The lines that are billed, each of one and the same money once: what a supplier has billed in the place of what was promised,
/// and the price for the whole in the place of everything in it, unless its own bill or the rest comes to more.
#[must_use]
pub fn billed(of: &Committed) -> Vec<&Line> {
    let currency = currency_of(&of.lines, of.ceiling.as_ref());
    let sum = |lines: &[&Line], currency| total(lines, currency);
    currency
        .and_then(|currency| chosen(&of.lines, currency, &|lines| sum(lines, currency), |both, _| both.bill_first()))
        .unwrap_or_default()
}

fn currency_of(lines: &[Line], ceiling: Option<&Money>) -> Option<Currency> {
    ceiling.map(Money::currency).or_else(|| Some(lines.iter().find_map(|l| l.amount)?.currency()))
}

/// The amounts of some lines added up.
fn total(lines: &[&Line], currency: Currency) -> Option<Money> {
    let zero = Money::zero(currency).ok()?;
    lines.iter().filter_map(|l| l.amount).try_fold(zero, |sum, amount| sum.plus(&amount).ok())
}

/// What some lines come to.
type Reckon<'a> = &'a dyn Fn(&[&Line]) -> Option<Money>;

/// One line for one and the same money: `of_two` says which of what was promised to a supplier and what was booked with
/// them, and of a price for the whole and everything else what comes to more by `whole`. Nothing where a sum is too large.
fn chosen<'l>(
    lines: &'l [Line],
    currency: Currency,
    whole: Reckon<'_>,
    of_two: impl Fn(Both<'l>, Reckon<'_>) -> Option<Vec<&'l Line>>,
) -> Option<Vec<&'l Line>> {
    let key = |from: &Option<String>| from.as_ref().map(|f| f.trim().to_lowercase());
    let whole_from = lines.iter().find(|l| l.sort == Sort::Whole).and_then(|l| key(&l.from));
    let (mut inside, mut alone) = (Both::default(), Vec::new());
    let mut by_supplier: BTreeMap<String, Both<'_>> = BTreeMap::new();
    for line in lines.iter().filter(|l| l.amount.is_some_and(|amount| amount.currency() == currency)) {
        let from = key(&line.from);
        let of_whole = line.sort == Sort::Whole || from.is_some() && from == whole_from;
        match (from, of_whole) {
            (_, true) => inside.add(line),
            (None, false) => alone.push(line),
            (Some(from), false) => by_supplier.entry(from).or_default().add(line),
        }
    }
    let mut apart = alone;
    for both in by_supplier.into_values() {
        apart.extend(of_two(both, whole)?);
    }
    Both { promised: of_two(inside, whole)?, booked: apart }.larger(whole)
}

/// Two lists of lines for the same money.
#[derive(Default)]
struct Both<'l> {
    promised: Vec<&'l Line>,
    booked: Vec<&'l Line>,
}

impl<'l> Both<'l> {
    fn add(&mut self, line: &'l Line) {
        if line.sort == Sort::Booked { self.booked.push(line) } else { self.promised.push(line) }
    }

    /// The bill where there is one, else what was promised.
    fn bill_first(self) -> Option<Vec<&'l Line>> {
        Some(if self.booked.is_empty() { self.promised } else { self.booked })
    }

    /// The one that comes to more; the first where both come to the same.
    fn larger(self, of: Reckon<'_>) -> Option<Vec<&'l Line>> {
        let less = of(&self.promised)?.compare(&of(&self.booked)?).is_ok_and(Ordering::is_lt);
        Some(if less { self.booked } else { self.promised })
    }
}
