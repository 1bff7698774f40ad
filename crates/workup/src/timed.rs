//! What was set going on a job and must stand before it is read: since when, and when it is ready. Times go out as times; this
//! room has no clock, so whoever shows them says how much is left.

use anatomy::{EntryId, Position};
use jiff::{SignedDuration, Timestamp};
use knowledge::{Check, Knowledge, Stands};
use logbook::{JobState, Phase};

/// Something that stands.
#[derive(Debug, Clone, Copy)]
pub struct Timed<'a> {
    /// The entry that says it was set going.
    pub entry: EntryId,
    /// Who set it going.
    pub by: &'a str,
    /// The check it is read by.
    pub check: &'a Check,
    /// Where.
    pub position: Position,
    /// When in the life of the job.
    pub phase: Phase,
    /// Since when it stands.
    pub since: Timestamp,
    /// From when on it is read.
    pub ready: Timestamp,
    /// Until when it still says the same, where there is an end.
    pub latest: Option<Timestamp>,
}

/// Gives what stands on a job and is not read yet, what is ready first in front. A reading of the check at its place ends it, and
/// so does setting it going anew; on a closed job nothing stands.
#[must_use]
pub fn standing<'a>(state: &'a JobState, knowledge: &'a Knowledge) -> Vec<Timed<'a>> {
    if state.closed.is_some() {
        return Vec::new();
    }
    let mut out: Vec<Timed<'a>> = Vec::new();
    for wait in &state.waits {
        // A check that this knowledge does not time tells no end.
        let Some(check) = knowledge.check(&wait.check) else { continue };
        let Some(stands) = &check.stands else { continue };
        let phase = wait.phase.unwrap_or(Phase::AsFound);
        out.retain(|t| (t.check.id.as_str(), t.position, t.phase) != (wait.check.as_str(), wait.position, phase));
        let read = state.readings.iter().any(|r| {
            r.entry > wait.in_entry && r.check == wait.check && r.position == wait.position && r.phase == phase
        });
        if !read {
            let after = |minutes: u32| wait.made_at.saturating_add(SignedDuration::from_mins(minutes.into()));
            // A time beyond the end of the calendar is no time.
            let (Ok(ready), latest) = (after(stands.minutes), stands.most_minutes.map(after)) else { continue };
            out.push(Timed {
                entry: wait.in_entry,
                by: &wait.made_by,
                check: &check.value,
                position: wait.position,
                phase,
                since: wait.made_at,
                ready,
                latest: latest.and_then(Result::ok),
            });
        }
    }
    out.sort_by_key(|t| (t.ready, t.entry));
    out
}

/// Says how long something must stand: `15 minutes`, `8 to 16 hours`.
#[must_use]
pub fn length(stands: &Stands) -> String {
    let hours = |minutes: u32| minutes.is_multiple_of(60).then_some(minutes / 60);
    let whole = |n: u32, one: &str, many: &str| format!("{n} {}", if n == 1 { one } else { many });
    match (stands.minutes, stands.most_minutes) {
        (least, None) => match hours(least) {
            Some(n) => whole(n, "hour", "hours"),
            None => whole(least, "minute", "minutes"),
        },
        (least, Some(most)) => match (hours(least), hours(most)) {
            (Some(a), Some(b)) => format!("{a} to {b} hours"),
            _ => format!("{least} to {most} minutes"),
        },
    }
}
