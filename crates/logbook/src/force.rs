//! Which entries count: withdrawals and corrections, settled before anything is read into the state.
//!
//! * An entry counts unless a withdrawal that counts names it. Withdrawals of withdrawals bring back.
//! * Of all corrections of an entry that count (also corrections of corrections), the one with the latest id holds.
//! * Withdrawals in a circle have no effect.
//!
//! The answer depends on the set of entries alone, so clocks and arrival cannot change it.

use std::collections::{BTreeMap, BTreeSet};

use anatomy::EntryId;

use crate::bodies::EntryCorrected;
use crate::entry::{Content, Entry};
use crate::kinds::EntryBody;

/// Which entries count.
#[derive(Debug, Default)]
pub(crate) struct Force {
    /// Entry taken back -> the withdrawal that counts (the earliest).
    pub(crate) withdrawn: BTreeMap<EntryId, EntryId>,
    /// First entry -> its corrections that count, in id order.
    pub(crate) corrections: BTreeMap<EntryId, Vec<EntryId>>,
    /// Withdrawals and corrections whose target is not here.
    pub(crate) without_target: Vec<EntryId>,
    /// Withdrawals that take each other back, and corrections that put each other right.
    pub(crate) in_circle: Vec<EntryId>,
}

impl Force {
    /// Settles which entries count.
    pub(crate) fn settle(entries: &BTreeMap<EntryId, &Entry>) -> Force {
        let mut force = Force::default();
        let mut withdrawal_of: BTreeMap<EntryId, EntryId> = BTreeMap::new();
        let mut correction_of: BTreeMap<EntryId, EntryId> = BTreeMap::new();
        for (id, entry) in entries {
            match entry.content() {
                Content::Known(EntryBody::EntryWithdrawn(body)) => {
                    withdrawal_of.insert(*id, body.entry);
                }
                Content::Known(EntryBody::EntryCorrected(body)) => {
                    correction_of.insert(*id, body.entry);
                }
                Content::Known(_) | Content::UnknownKind | Content::NewerVersion(_) | Content::Unreadable { .. } => {}
            }
        }
        let both = withdrawal_of.iter().chain(&correction_of);
        force.without_target = both.filter(|(_, target)| !entries.contains_key(target)).map(|(id, _)| *id).collect();
        force.without_target.sort_unstable();
        force.withdraw(&withdrawal_of);
        force.correct(&correction_of);
        force
    }

    /// Decides withdrawals from those nobody names downwards; what is left hangs in a circle.
    fn withdraw(&mut self, withdrawal_of: &BTreeMap<EntryId, EntryId>) {
        let mut open: BTreeMap<EntryId, usize> = withdrawal_of.keys().map(|id| (*id, 0)).collect();
        for target in withdrawal_of.values() {
            if let Some(named) = open.get_mut(target) {
                *named += 1;
            }
        }
        let mut ready: BTreeSet<EntryId> = open.iter().filter(|(_, named)| **named == 0).map(|(id, _)| *id).collect();
        while let Some(id) = ready.pop_first() {
            open.remove(&id);
            let Some(target) = withdrawal_of.get(&id) else {
                continue;
            };
            if !self.withdrawn.contains_key(&id) {
                let by = self.withdrawn.entry(*target).or_insert(id);
                *by = id.min(*by);
            }
            if let Some(named) = open.get_mut(target) {
                *named -= 1;
                if *named == 0 {
                    ready.insert(*target);
                }
            }
        }
        self.in_circle.extend(open.keys());
    }

    /// Leads each correction that counts to the first entry it is about.
    fn correct(&mut self, correction_of: &BTreeMap<EntryId, EntryId>) {
        for (id, target) in correction_of {
            let mut first = *target;
            let mut steps = 0;
            while let Some(next) = correction_of.get(&first) {
                first = *next;
                steps += 1;
                if steps > correction_of.len() {
                    break;
                }
            }
            if correction_of.contains_key(&first) {
                self.in_circle.push(*id);
            } else if !self.withdrawn.contains_key(id) {
                self.corrections.entry(first).or_default().push(*id);
            }
        }
    }

    /// Gives the correction body of an entry that is a correction.
    pub(crate) fn correction<'a>(entries: &BTreeMap<EntryId, &'a Entry>, id: &EntryId) -> Option<&'a EntryCorrected> {
        match entries.get(id)?.content() {
            Content::Known(EntryBody::EntryCorrected(body)) => Some(body),
            Content::Known(_) | Content::UnknownKind | Content::NewerVersion(_) | Content::Unreadable { .. } => None,
        }
    }
}
