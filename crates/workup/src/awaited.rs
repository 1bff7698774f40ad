//! What the shop waits for: parts ordered that are not here, machine work that is not back.

use anatomy::EntryId;
use logbook::{Fact, JobState, MachineOrderSent, PartOrdered, ReturnKind};

/// Parts ordered that have neither arrived in full nor gone back; an arrival that does not say how many brings all.
#[must_use]
pub fn parts(state: &JobState) -> Vec<&Fact<PartOrdered>> {
    let done = |order: &Fact<PartOrdered>| {
        let same = |its: Option<EntryId>, part: &str, entry| {
            its == Some(order.in_entry) || (its.is_none() && part == order.part && entry > order.in_entry)
        };
        let came: Vec<Option<u32>> =
            state.arrivals.iter().filter(|a| same(a.order, &a.part, a.in_entry)).map(|a| a.quantity).collect();
        let counted: Option<u32> = came.iter().copied().sum();
        let in_full = !came.is_empty() && counted.is_none_or(|n| n >= order.quantity);
        // An old part that went back against the order says nothing of the new one.
        in_full || state.returns.iter().any(|r| r.order == Some(order.in_entry) && r.why != ReturnKind::Core)
    };
    state.orders.iter().filter(|o| !done(o)).collect()
}

/// Machine orders whose work has not come back.
#[must_use]
pub fn machine_work(state: &JobState) -> Vec<&Fact<MachineOrderSent>> {
    let back = |order: &Fact<MachineOrderSent>| {
        state.machine_returns.iter().any(|r| r.order == Some(order.in_entry) || r.code == order.code)
    };
    state.machine_orders.iter().filter(|o| !back(o)).collect()
}
