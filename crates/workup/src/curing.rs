//! Clocks of what cures: each begins with the build step that puts it on and says when it is over at the earliest.
//!
//! The least time is common practice; the tube decides, and the clock says so. It forbids nothing.

use jiff::{SignedDuration, Timestamp};
use knowledge::Knowledge;
use knowledge::workshop::{BuildStage, Instruction, Waiting};
use logbook::{BuildStepDone, Fact, JobState};

/// A clock that runs or has run out.
#[derive(Debug, Clone, Copy)]
pub struct Clock<'a> {
    /// What is waited for.
    pub wait: &'a Waiting,
    /// The stage in which it was put on.
    pub stage: &'a BuildStage,
    /// The step that put it on.
    pub step: &'a Fact<BuildStepDone>,
    /// Over at this moment at the earliest.
    pub until: Timestamp,
}

impl Clock<'_> {
    /// Whether it runs at a moment.
    #[must_use]
    pub fn runs(&self, now: Timestamp) -> bool {
        now < self.until
    }
}

/// Whether a step told stands for a step of the stage: by its number, or by its words.
#[must_use]
pub fn is_step(told: &BuildStepDone, stage: &BuildStage, number: usize, step: &Instruction) -> bool {
    told.stage == stage.id && (told.step == number.to_string() || told.step == step.words)
}

/// The clocks of a job in the order in which they end; of one thing put on twice in a stage the later one.
#[must_use]
pub fn clocks<'a>(state: &'a JobState, knowledge: &'a Knowledge) -> Vec<Clock<'a>> {
    let stages = knowledge.steps.iter().map(|s| &s.value);
    let steps = stages.flat_map(|stage| (1..).zip(&stage.steps).map(move |(n, step)| (stage, n, step)));
    let mut out: Vec<Clock<'a>> = steps
        .filter_map(|(stage, n, step)| {
            let wait = knowledge.waits.iter().find(|w| Some(&w.id) == step.cures.as_ref())?;
            let least = SignedDuration::from_mins(i64::from(wait.least_minutes?));
            let step = state.steps_done.iter().rfind(|told| is_step(told, stage, n, step))?;
            let until = step.made_at.checked_add(least).ok()?;
            Some(Clock { wait, stage, step, until })
        })
        .collect();
    out.sort_by_key(|c| (c.until, c.stage.order));
    out
}
