//! What is on the way to a job, and which of it sets the date: parts and machine work alike, held against the day that was
//! promised to the customer. Days come in as arguments; this room has no clock.

use anatomy::{EntryId, Known};
use jiff::civil::Date;
use jiff::{Span, Timestamp};
use logbook::{Fact, JobState, MachineOrderSent, PartOrdered, ReturnKind};

use crate::words::day_of;

/// Something on the way.
#[derive(Debug, Clone, Copy)]
pub enum Coming<'a> {
    /// An ordered part.
    Part(&'a Fact<PartOrdered>),
    /// Work at a machine shop.
    Work(&'a Fact<MachineOrderSent>),
}

/// Where the day of something on the way comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Basis {
    /// Whoever sends it promised the day.
    Promised,
    /// Nobody promised a day: the day of the order with the longest lead of the quote it follows.
    Quoted,
    /// Nobody promised one: the day it was asked for by.
    AskedFor,
}

impl Basis {
    /// What stands before the day.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Basis::Promised => "promised",
            Basis::Quoted => "by the quote at the latest",
            Basis::AskedFor => "no day promised, asked for by",
        }
    }
}

/// Something on the way with its day.
#[derive(Debug, Clone, Copy)]
pub struct Awaited<'a> {
    /// What.
    pub what: Coming<'a>,
    /// Its day, where anything tells one.
    pub day: Option<(Date, Basis)>,
}

impl Awaited<'_> {
    /// From whom it comes.
    #[must_use]
    pub fn from(&self) -> &str {
        match self.what {
            Coming::Part(part) => &part.supplier,
            Coming::Work(order) => &order.shop,
        }
    }

    /// The entry that ordered it.
    #[must_use]
    pub fn entry(&self) -> EntryId {
        match self.what {
            Coming::Part(part) => part.in_entry,
            Coming::Work(order) => order.in_entry,
        }
    }
}

/// How many of an order are still to come; nothing once all are here. An arrival that does not say how many brings all.
#[must_use]
pub fn missing(state: &JobState, order: &Fact<PartOrdered>) -> Option<u32> {
    let same = |its: Option<EntryId>, part: &str, entry: EntryId| {
        its == Some(order.in_entry) || (its.is_none() && part == order.part && entry > order.in_entry)
    };
    // An old part that went back against the order says nothing of the new one. What went back for good, or was ordered
    // anew, is awaited no more under this order.
    let mut back = state.returns.iter().filter(|r| r.order == Some(order.in_entry) && r.why != ReturnKind::Core);
    let anew = |from: EntryId| state.orders.iter().any(|o| o.part == order.part && o.in_entry > from);
    if back.clone().any(|r| r.again == Some(Known::No) || anew(r.in_entry)) {
        return None;
    }
    // What came before it went back is not here; how many went back is not told, so all of them did.
    let since = back.next_back().map(|r| r.in_entry);
    let came = state
        .arrivals
        .iter()
        .filter(|a| same(a.order, &a.part, a.in_entry) && since.is_none_or(|since| a.in_entry > since));
    let counted: Option<Vec<u32>> = came.map(|a| a.quantity).collect();
    let here = counted.map_or(order.quantity, |all| all.iter().sum());
    Some(order.quantity.saturating_sub(here)).filter(|left| *left > 0)
}

/// Parts ordered of which some have neither arrived nor gone back.
#[must_use]
pub fn parts(state: &JobState) -> Vec<&Fact<PartOrdered>> {
    state.orders.iter().filter(|order| missing(state, order).is_some()).collect()
}

/// Machine orders of which a line has not come back; a return without lines brings all of them.
#[must_use]
pub fn work(state: &JobState) -> Vec<&Fact<MachineOrderSent>> {
    state.machine_orders.iter().filter(|order| !is_back(state, order)).collect()
}

/// Whether everything of a machine order has come back, in whatever way.
#[must_use]
pub fn is_back(state: &JobState, order: &Fact<MachineOrderSent>) -> bool {
    let back: Vec<_> = state.machine_returns.iter().filter(|r| crate::machine::answers(r, order)).collect();
    let told = |operation: &str, position: &anatomy::Position| {
        back.iter().flat_map(|r| &r.lines).any(|l| l.operation == operation && l.position == *position)
    };
    back.iter().any(|r| r.lines.is_empty())
        || (!back.is_empty() && order.lines.iter().all(|l| told(&l.operation, &l.position)))
}

/// The day by the quote: the order's own day and the longest lead.
fn quoted(state: &JobState, quote: Option<EntryId>, ordered: Timestamp) -> Option<Date> {
    let quote = state.quotes.iter().find(|q| Some(q.in_entry) == quote)?;
    day_of(ordered).checked_add(Span::new().try_days(i64::from(quote.lead_days[1])).ok()?).ok()
}

/// The date of a job as far as what is on the way sets it.
#[derive(Debug, Clone)]
pub struct JobDate<'a> {
    /// What is on the way, the one without a day last, else by its day.
    pub coming: Vec<Awaited<'a>>,
    /// The day promised to the customer.
    pub promise: Option<Date>,
}

impl<'a> JobDate<'a> {
    /// Works it out.
    #[must_use]
    pub fn of(state: &'a JobState) -> Self {
        let part = |order: &'a Fact<PartOrdered>| {
            let promised = order.promised.map(|day| (day, Basis::Promised));
            let quoted = || Some((quoted(state, order.quote, order.made_at)?, Basis::Quoted));
            Awaited { what: Coming::Part(order), day: promised.or_else(quoted) }
        };
        let machined = |order: &'a Fact<MachineOrderSent>| {
            let promised = order.promised.map(|day| (day, Basis::Promised));
            let quoted = || Some((quoted(state, order.quote, order.made_at)?, Basis::Quoted));
            let asked = || order.need_by.map(|day| (day, Basis::AskedFor));
            Awaited { what: Coming::Work(order), day: promised.or_else(quoted).or_else(asked) }
        };
        let mut coming: Vec<Awaited<'a>> =
            parts(state).into_iter().map(part).chain(work(state).into_iter().map(machined)).collect();
        coming.sort_by_key(|c| (c.day.is_none(), c.day.map(|(day, _)| day), c.entry()));
        Self { coming, promise: state.promised }
    }

    /// What sets the date: the latest of all days; nothing where none has a day.
    #[must_use]
    pub fn sets(&self) -> Option<(&Awaited<'a>, Date)> {
        self.coming.iter().rev().find_map(|c| Some((c, c.day?.0)))
    }

    /// Whether an entry is the one that sets the date.
    #[must_use]
    pub fn is_set_by(&self, entry: EntryId) -> bool {
        self.sets().is_some_and(|(c, _)| c.entry() == entry)
    }

    /// What the date means beside the day promised to the customer and beside today, and what to do; `today` is left out on
    /// papers, which are read later.
    #[must_use]
    pub fn words(&self, today: Option<Date>) -> Vec<String> {
        let mut out = Vec::new();
        if let Some((setter, day)) = self.sets() {
            let from = setter.from();
            if let Some(late) = today.map(|today| days(day, today)).filter(|late| *late > 0) {
                out.push(format!("its day passed {} and it is not here: call {from}", ago(late)));
            }
            out.push(match self.promise.map(|promise| (promise, days(promise, day))) {
                Some((promise, late)) if late > 0 => format!(
                    "that is {} after the day promised to the customer, {promise}: ask {from} for an earlier day, or promise \
                     the customer a new one",
                    counted(late)
                ),
                Some((promise, 0)) => {
                    format!("that is the very day promised to the customer, {promise}: nothing is left for the build")
                }
                Some((promise, early)) => format!(
                    "that is {} before the day promised to the customer, {promise}: the build has to fit between",
                    counted(-early)
                ),
                None => "no day is promised to the customer".to_owned(),
            });
        }
        let open = self.coming.iter().filter(|c| c.day.is_none()).count();
        match open {
            0 => {}
            1 => out.push("one thing on the way has no day: ask for it".to_owned()),
            n => out.push(format!("{n} things on the way have no day: ask for them")),
        }
        out
    }

    /// Whether the date stands after the day promised to the customer, or has passed.
    #[must_use]
    pub fn is_late(&self, today: Option<Date>) -> bool {
        let day = self.sets().map(|(_, day)| day);
        day.is_some_and(|day| self.promise.is_some_and(|p| day > p) || today.is_some_and(|today| day < today))
    }
}

/// Days from one to another.
fn days(from: Date, to: Date) -> i32 {
    from.until(to).map_or(0, |span| span.get_days())
}

fn counted(days: i32) -> String {
    if days == 1 { "1 day".to_owned() } else { format!("{days} days") }
}

fn ago(days: i32) -> String {
    if days == 1 { "yesterday".to_owned() } else { format!("{days} days ago") }
}
