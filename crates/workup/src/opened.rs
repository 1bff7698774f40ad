//! How far the engine is open, and which checks that makes impossible.

use std::collections::BTreeSet;

use knowledge::{Check, Knowledge, Shuts};
use logbook::JobState;

/// The stage at which the engine runs under its own power.
pub const RUNNING: &str = "engine-running";
/// The stage of the proof checks.
pub const AFTER_REPAIR: &str = "after-repair";

/// The stages that are reached: those told, and those that they stand on.
#[must_use]
pub fn reached(told: &BTreeSet<String>, knowledge: &Knowledge) -> BTreeSet<String> {
    let below = told.iter().filter_map(|s| knowledge.stage(s)).flat_map(|s| s.needs.iter().cloned());
    told.iter().cloned().chain(below).collect()
}

/// The stages that must still be reached for a check.
#[must_use]
pub fn missing<'k>(check: &Check, reached: &BTreeSet<String>, knowledge: &'k Knowledge) -> Vec<&'k str> {
    knowledge.stage(&check.stage).map_or_else(Vec::new, |stage| {
        stage.needs.iter().map(String::as_str).filter(|s| !reached.contains(*s)).collect()
    })
}

/// Whether only a closed engine allows a check.
#[must_use]
pub fn needs_closed(check: &Check, knowledge: &Knowledge) -> bool {
    check.prerequisites.iter().any(|p| knowledge.prerequisites.iter().any(|k| k.id == *p && k.closed))
}

/// Why an engine that is open so far does not allow a check, if it does not.
#[must_use]
pub fn shut_out(check: &Check, reached: &BTreeSet<String>, knowledge: &Knowledge) -> Option<&'static str> {
    let shuts = reached.iter().filter_map(|s| knowledge.stage(s)?.shuts).max();
    match shuts {
        Some(Shuts::Running | Shuts::Cranking) if check.stage == RUNNING => Some("the engine is open: it cannot run"),
        Some(Shuts::Cranking) if needs_closed(check, knowledge) => {
            Some("the engine is open: this check needs it closed")
        }
        _ => None,
    }
}

/// Whether the engine was built up again and has run, or is at its proof.
#[must_use]
pub fn closed_again(state: &JobState) -> bool {
    state.stages_reached.contains(AFTER_REPAIR) || !state.runs.is_empty()
}

/// How far the engine is open now: after it ran again or came to its proof, only what was reached since.
#[must_use]
pub fn open_now(state: &JobState, knowledge: &Knowledge) -> BTreeSet<String> {
    if !closed_again(state) {
        return reached(&state.stages_reached, knowledge);
    }
    let since = state.stages_since_run.rsplit(|s| s == AFTER_REPAIR).next().unwrap_or_default();
    reached(&since.iter().cloned().collect(), knowledge)
}

/// Why a check cannot be done now, as far as the engine is open, if it cannot.
///
/// After the repair the engine is closed again: what needs it open waits until it is opened once more.
#[must_use]
pub fn impossible_now(state: &JobState, knowledge: &Knowledge, check: &Check) -> Option<String> {
    if check.stage == AFTER_REPAIR {
        return None;
    }
    let reached = open_now(state, knowledge);
    if let Some(why) = shut_out(check, &reached, knowledge) {
        return Some(why.to_owned());
    }
    missing(check, &reached, knowledge).last().map(|stage| {
        let words = stage.replace('-', " ");
        if closed_again(state) {
            format!("the engine is closed again, and it needs it at {words}; tell that first if it is opened once more")
        } else {
            format!("it needs the engine at {words}, and that is not reached; tell that first")
        }
    })
}
