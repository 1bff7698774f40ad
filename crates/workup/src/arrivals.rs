//! What came in: which looks each part wants before it is trusted, whether they were taken, and what is wanted again.
//!
//! A part that failed a look, or that went back as wrong or damaged, is not here: it is wanted again.

use knowledge::Knowledge;
use logbook::{
    ArrivalCheck, ArrivalResult, Fact, JobState, PartArrived, PartFitted, PartOrdered, PartReturned, ReturnKind,
};

/// The looks that a part or a bought whole wants when it comes, in the sequence in which they are taken.
///
/// A part of a joint has its own; what comes as a whole (an engine, a head) those of what it is.
#[must_use]
pub fn looks_for(knowledge: &Knowledge, part: &str) -> Vec<String> {
    let known = knowledge.joints.iter().flat_map(|j| &j.value.parts).find(|p| p.id == part);
    if let Some(known) = known {
        return known.arrival_checks.clone();
    }
    let words = crate::words::words(part).to_lowercase();
    let of_that_name = |item: &str| words == item.to_lowercase();
    let arrival = knowledge
        .arrivals
        .iter()
        .find(|a| a.id == part || of_that_name(&a.item) || a.comes_as.iter().any(|id| id == part));
    arrival.map(|a| a.checks.clone()).unwrap_or_default()
}

/// Something that arrived, with the looks taken at it and those still to be taken.
#[derive(Debug, Clone)]
pub struct Here<'a> {
    /// The arrival.
    pub arrival: &'a Fact<PartArrived>,
    /// The order it belongs to.
    pub order: Option<&'a Fact<PartOrdered>>,
    /// The looks taken, each as it gave last.
    pub looks: Vec<&'a ArrivalCheck>,
    /// The looks it wants that nobody has taken.
    pub untaken: Vec<String>,
    /// How it went back, where it did.
    pub back: Option<&'a Fact<PartReturned>>,
}

impl Here<'_> {
    /// The looks that it failed.
    pub fn failed(&self) -> impl Iterator<Item = &str> {
        self.looks.iter().filter(|look| look.result == ArrivalResult::Bad).map(|look| look.what.as_str())
    }

    /// Whether it is trusted: every look taken, none failed, and it is still here.
    #[must_use]
    pub fn is_trusted(&self) -> bool {
        self.untaken.is_empty() && self.failed().next().is_none() && self.back.is_none()
    }
}

/// Whether two people mean the same thing.
fn same(a: &str, b: &str) -> bool {
    a.trim().eq_ignore_ascii_case(b.trim())
}

/// The order of an arrival: the one it names, else the last one of the same part before it.
fn order_of<'a>(state: &'a JobState, arrival: &Fact<PartArrived>) -> Option<&'a Fact<PartOrdered>> {
    let named = |o: &&Fact<PartOrdered>| arrival.order == Some(o.in_entry);
    let before =
        |o: &&Fact<PartOrdered>| arrival.order.is_none() && o.part == arrival.part && o.in_entry < arrival.in_entry;
    state.orders.iter().find(named).or_else(|| state.orders.iter().rfind(before))
}

/// Everything that arrived, in the sequence in which it came. An arrival of none is one more look at what came before.
#[must_use]
pub fn here<'a>(state: &'a JobState, knowledge: &Knowledge) -> Vec<Here<'a>> {
    arrived(state, |part| looks_for(knowledge, part))
}

fn arrived<'a>(state: &'a JobState, wanted: impl Fn(&str) -> Vec<String>) -> Vec<Here<'a>> {
    let mut out: Vec<Here<'a>> = Vec::new();
    for arrival in &state.arrivals {
        let order = order_of(state, arrival);
        let its = order.map(|o| o.in_entry);
        let again = arrival.quantity == Some(0);
        let before = out
            .iter_mut()
            .rfind(|h| again && same(&h.arrival.part, &arrival.part) && h.order.map(|o| o.in_entry) == its);
        let place = match before {
            Some(there) => there,
            None => {
                let untaken = wanted(&arrival.part);
                out.push(Here { arrival, order, looks: Vec::new(), untaken, back: None });
                let Some(last) = out.last_mut() else { continue };
                last
            }
        };
        for look in &arrival.checks {
            if look.result == ArrivalResult::NotLooked {
                continue;
            }
            place.untaken.retain(|wanted| !same(wanted, &look.what));
            place.looks.retain(|old| !same(&old.what, &look.what));
            place.looks.push(look);
        }
    }
    // What is built in, or has left with the engine, is looked at no more.
    let left = state.closed.is_some() || state.handed_back.is_some();
    for here in &mut out {
        let its = here.order.map(|o| o.in_entry);
        let built_in =
            |f: &Fact<PartFitted>| same(&f.part, &here.arrival.part) && (f.order.is_none() || f.order == its);
        if left || state.fitted.iter().any(built_in) {
            here.untaken.clear();
        }
    }
    for back in state.returns.iter().filter(|back| back.why != ReturnKind::Core) {
        let its = |h: &&mut Here<'a>| {
            let of_order = back.order.is_some() && h.order.map(|o| o.in_entry) == back.order;
            let of_name = back.order.is_none() && same(&h.arrival.part, &back.part);
            h.back.is_none() && h.arrival.in_entry < back.in_entry && (of_order || of_name)
        };
        if let Some(gone) = out.iter_mut().rfind(its) {
            gone.back = Some(back);
        }
    }
    out
}

/// What is here and failed a look: it is neither fitted nor built on.
#[must_use]
pub fn failed(state: &JobState) -> Vec<Here<'_>> {
    let bad = |h: &Here<'_>| h.back.is_none() && h.failed().next().is_some();
    arrived(state, |_| Vec::new()).into_iter().filter(bad).collect()
}
