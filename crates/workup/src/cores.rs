//! Old parts that go back to a supplier against their deposit, and the last day they are taken.

use jiff::civil::Date;
use logbook::{Fact, JobState, PartOrdered, PartReturned, ReturnKind};

/// An old part that a supplier takes back.
#[derive(Debug, Clone, Copy)]
pub struct Core<'a> {
    /// The order under which its deposit was paid.
    pub order: &'a Fact<PartOrdered>,
    /// How it went back, where it did.
    pub back: Option<&'a Fact<PartReturned>>,
}

impl Core<'_> {
    /// How long there is for it, in words; nothing once it went back or where no day is told.
    #[must_use]
    pub fn clock(&self, today: Date) -> Option<String> {
        let due = self.order.core_due.filter(|_| self.back.is_none())?;
        let days = today.until(due).ok()?.get_days();
        Some(match days {
            0 => "today is the last day".to_owned(),
            1 => "1 day left".to_owned(),
            2.. => format!("{days} days left"),
            -1 => "the day passed yesterday".to_owned(),
            _ => format!("the day passed {} days ago", days.unsigned_abs()),
        })
    }
}

/// The old parts of a job's orders, in the sequence of the days they are due: each order with a deposit or such a day.
#[must_use]
pub fn of(state: &JobState) -> Vec<Core<'_>> {
    let back = |order: &Fact<PartOrdered>| {
        state.returns.iter().find(|r| r.why == ReturnKind::Core && r.order == Some(order.in_entry))
    };
    let owed = state.orders.iter().filter(|o| o.core_deposit.is_some() || o.core_due.is_some());
    let mut all: Vec<Core<'_>> = owed.map(|order| Core { order, back: back(order) }).collect();
    all.sort_by_key(|c| (c.back.is_some(), c.order.core_due.is_none(), c.order.core_due));
    all
}
