//! An engine that came back: how long and how far since, whose warranty still holds, and what is read now beside what was
//! left and what was found.
//!
//! Who bears it is decided by a person; this only lays side by side what speaks for whom.

use jiff::Span;
use jiff::civil::Date;
use knowledge::Knowledge;
use logbook::{ComebackOpened, Fact, JobState, Phase};
use quantity::Verdict;
use serde::Serialize;

use crate::findings::Finding;
use crate::words::day_of;

/// What an engine that came back is judged by.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Comeback {
    /// The day it came back.
    pub day: Date,
    /// The customer's words.
    pub words: String,
    /// Days since it was handed back; nothing where that is not told.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub days: Option<i32>,
    /// How far it ran since, in the unit of the odometer; nothing where one of the two readings is not told.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ran: Option<String>,
    /// The shop's own warranty, where months are told.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub shop: Option<Warranty>,
    /// The warranty of each part by its supplier, as far as a quote promised one.
    pub parts: Vec<PartWarranty>,
    /// What was handed back as not done.
    pub not_done: Vec<String>,
}

/// A warranty that runs from a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Warranty {
    /// How many months.
    pub months: u32,
    /// The last day of it.
    pub until: Date,
    /// Whether the engine came back within it.
    pub holds: bool,
}

/// The warranty of a part.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PartWarranty {
    /// The part, an id of the knowledge or words.
    pub part: String,
    /// Who gave it.
    pub supplier: String,
    /// The lot, where it is told.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub batch: Option<String>,
    /// The warranty, counted from the day the part came.
    pub warranty: Warranty,
}

/// One reading of a comeback beside the earlier ones at the same place.
#[derive(Debug, Clone, Copy)]
pub struct ThenNow<'a> {
    /// Read now.
    pub now: &'a Finding,
    /// As left.
    pub left: Option<&'a Finding>,
    /// As found, before the work.
    pub found: Option<&'a Finding>,
}

/// The last comeback of a job; nothing where it never came back.
#[must_use]
pub fn last(state: &JobState) -> Option<Comeback> {
    let back: &Fact<ComebackOpened> = state.comebacks.last()?;
    let day = day_of(back.made_at);
    let handed = state.handed_back.as_ref();
    let warranty = |months: u32, from: Date| {
        let until = from.checked_add(Span::new().try_months(i64::from(months)).ok()?).ok()?;
        Some(Warranty { months, until, holds: day <= until })
    };
    let ran = || {
        let now = back.odometer.as_ref()?;
        let then = handed?.odometer.as_ref()?;
        let by = now.number_in(&now.unit)? - then.number_in(&now.unit)?;
        Some(format!("{by:.0} {}", now.unit))
    };
    let parts = state.orders.iter().filter_map(|order| {
        let quote = state.quotes.iter().find(|q| Some(q.in_entry) == order.quote)?;
        let came = state.arrivals.iter().find(|a| a.order == Some(order.in_entry))?;
        Some(PartWarranty {
            part: order.part.clone(),
            supplier: order.supplier.clone(),
            batch: came.batch.clone(),
            warranty: warranty(quote.warranty_months?, day_of(came.made_at))?,
        })
    });
    Some(Comeback {
        day,
        words: back.words.clone(),
        days: handed.and_then(|h| day_of(h.made_at).until(day).ok()).map(|span| span.get_days()),
        ran: ran(),
        shop: handed.and_then(|h| warranty(h.warranty_months?, day_of(h.made_at))),
        parts: parts.collect(),
        not_done: handed.map(|h| h.not_done.clone()).unwrap_or_default(),
    })
}

/// The readings of rechecks, each beside the last one as left and the worst one as found of the same kind at the same
/// place; of another check that looks at the same thing where the very same was not taken before.
#[must_use]
pub fn then_and_now<'a>(state: &JobState, knowledge: &Knowledge, findings: &'a [Finding]) -> Vec<ThenNow<'a>> {
    let phase = |f: &Finding| state.readings.iter().find(|r| r.entry.to_string() == f.entry).map(|r| r.phase);
    let of: Vec<(&Finding, Phase)> = findings.iter().filter_map(|f| Some((f, phase(f)?))).collect();
    let group = |f: &Finding| knowledge.check(&f.check).map(|c| c.group.clone());
    let beside = |now: &Finding, wanted: Phase| {
        let here = |f: &&Finding| f.position == now.position && f.unit == now.unit && !f.measure_again;
        let all = || of.iter().filter(|(_, p)| *p == wanted).map(|(f, _)| *f).filter(here);
        let very_same = |f: &&Finding| f.check == now.check && f.reading == now.reading;
        let alike = |f: &&Finding| group(f).is_some() && group(f) == group(now);
        if wanted == Phase::AsLeft {
            return all().rfind(very_same).or_else(|| all().rfind(alike));
        }
        // As found the worst stands: it is what was put right.
        let inside = |f: &Finding| f.p_inside.unwrap_or(if f.verdict == Verdict::Inside { 1.0 } else { 0.0 });
        let worst = |a: &&Finding, b: &&Finding| inside(a).total_cmp(&inside(b));
        all().filter(very_same).min_by(worst).or_else(|| all().filter(alike).min_by(worst))
    };
    let now = of.iter().filter(|(_, phase)| *phase == Phase::Recheck).map(|(f, _)| *f);
    now.map(|now| ThenNow { now, left: beside(now, Phase::AsLeft), found: beside(now, Phase::AsFound) }).collect()
}
