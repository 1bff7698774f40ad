//! The work that a job calls for, the joints it opens, and the stages of the build it reaches.
//!
//! A joint is reached by the operations of the option, by a block that the option mends, by what was quoted for and
//! taken up or sent to a machine shop, and by everything that shows the engine was opened there: stages of strip-down,
//! readings, bolts tightened, parts ordered. A build stage is reached by a joint it closes, by work that names it, by a
//! hold point or step that stands in the logbook, or because it belongs to every build.

use std::collections::{BTreeMap, BTreeSet};

use anatomy::EngineLayout;
use knowledge::Knowledge;
use knowledge::limits::AppliesTo;
use knowledge::workshop::{BuildStage, Hold, Operation, RepairOption};
use logbook::{JobState, Phase};
use serde::Serialize;

use crate::advice::BlockBelief;
use crate::beliefs::Belief;
use crate::gates;
use crate::money::OptionLine;

/// How likely a class of a block or a state of a part must be before the joints that it alone opens count as reached
/// \[ours\]: low on purpose, since a stage too many is struck out with a pen and a stage too few is a hold point lost.
const REACHED_FROM: f64 = 0.2;

/// A build as far as the work of the job reaches.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Reach {
    /// The joints that are opened.
    pub joints: BTreeSet<String>,
    /// The build stages that are reached, in the order of the build.
    pub stages: Vec<String>,
    /// The build stages of this engine that are not reached, in the order of the build.
    pub left_out: Vec<String>,
}

/// The option of an id.
#[must_use]
pub fn option<'k>(knowledge: &'k Knowledge, id: &str) -> Option<&'k RepairOption> {
    knowledge.options.iter().find(|o| o.id == id).map(|o| &o.value)
}

/// An operation by id.
#[must_use]
pub fn operation<'k>(knowledge: &'k Knowledge, id: &str) -> Option<&'k Operation> {
    knowledge.operations.iter().find(|o| o.id == id).map(|o| &o.value)
}

/// The operations that the job calls for as far as told, each once: those of the option, what was quoted for and taken
/// up, what a machine shop was asked to do.
#[must_use]
pub fn operations<'k>(state: &JobState, knowledge: &'k Knowledge, option_id: &str) -> Vec<&'k Operation> {
    let mut ids: Vec<&str> = Vec::new();
    if let Some(known) = option(knowledge, option_id) {
        ids.extend(known.operations.iter().map(String::as_str));
    }
    ids.extend(asked_for(state));
    let mut seen = BTreeSet::new();
    ids.retain(|id| seen.insert(*id));
    ids.into_iter().filter_map(|id| operation(knowledge, id)).collect()
}

/// Operations, by id, that somebody asked for besides the option: quotes taken up with the choice, machine orders.
pub(crate) fn asked_for(state: &JobState) -> Vec<&str> {
    let chosen: Vec<_> = state.chosen.iter().flat_map(|c| c.quotes.iter()).collect();
    let quoted = state.quotes.iter().filter(|q| chosen.contains(&&q.in_entry)).filter_map(|q| q.need.as_deref());
    let sent = state.machine_orders.iter().flat_map(|o| o.lines.iter().map(|l| l.operation.as_str()));
    quoted.chain(sent).collect()
}

/// What reaching a build needs to know of a judged job.
#[derive(Debug, Clone, Copy)]
pub struct Judged<'a> {
    /// What was told.
    pub state: &'a JobState,
    /// The knowledge.
    pub knowledge: &'a Knowledge,
    /// What the engine is known to be.
    pub attributes: &'a BTreeMap<String, String>,
    /// What each block needs.
    pub blocks: &'a [BlockBelief],
    /// Conditions of parts.
    pub conditions: &'a [Belief],
}

impl Judged<'_> {
    fn told(&self, name: &str) -> Option<&str> {
        self.attributes.get(name).map(String::as_str)
    }

    /// How far the work of an option and everything that was opened reaches into the build.
    #[must_use]
    pub fn reach(&self, line: Option<&OptionLine>) -> Reach {
        self.through(&self.joints(line), line.map(|l| l.id.as_str()))
    }

    /// How far the build reaches for sure: by what was chosen, asked for and opened, and by no belief.
    #[must_use]
    pub fn sure_reach(&self) -> Reach {
        let chosen = self.state.chosen.as_ref().map(|c| c.option.as_str());
        self.through(&self.joints_of(chosen), chosen)
    }

    /// The stages that some joints and the work of an option reach.
    fn through(&self, joints: &BTreeSet<String>, option_id: Option<&str>) -> Reach {
        let here: Vec<&BuildStage> = self
            .knowledge
            .steps
            .iter()
            .map(|s| &s.value)
            .filter(|s| AppliesTo::all_hold(&s.applies, |name| self.told(name)) || self.recorded(s))
            .collect();
        let work: BTreeSet<&str> = option_id
            .map(|id| operations(self.state, self.knowledge, id))
            .unwrap_or_default()
            .into_iter()
            .map(|o| o.id.as_str())
            .chain(asked_for(self.state))
            .collect();
        let of_work = |s: &BuildStage| {
            s.closes.iter().any(|j| joints.contains(j)) || s.after.iter().any(|o| work.contains(o.as_str()))
        };
        let any = !joints.is_empty() || here.iter().any(|s| of_work(s));
        let mut out = Reach { joints: joints.clone(), ..Reach::default() };
        let mut ordered = here;
        ordered.sort_by_key(|s| s.order);
        for stage in ordered {
            let called = stage.after_seeing.iter().any(|seen| gates::was_seen(self.state, seen));
            let left = self.state.stages_left_out.iter().any(|l| l.stage == stage.id);
            // Metal seen after somebody left the stage out calls for it all the same.
            let due = !left && (of_work(stage) || (any && stage.always));
            let reached = self.recorded(stage) || (any && called) || due;
            if reached { &mut out.stages } else { &mut out.left_out }.push(stage.id.clone());
        }
        out
    }

    /// Whether anything of a stage stands in the logbook.
    fn recorded(&self, stage: &BuildStage) -> bool {
        let state = self.state;
        state.steps_done.iter().any(|s| s.stage == stage.id)
            || state.holds_signed.iter().any(|h| h.stage == stage.id)
            || state.holds_open.iter().any(|h| h.stage == stage.id)
    }

    /// The joints that are opened whatever is found: by what was asked for and what an option always does, and by what
    /// shows that the engine is open there.
    fn joints_of(&self, option_id: Option<&str>) -> BTreeSet<String> {
        let mut out = self.shown_open();
        for id in asked_for(self.state) {
            out.extend(operation(self.knowledge, id).into_iter().flat_map(|o| o.opens.iter().cloned()));
        }
        if let Some(known) = option_id.and_then(|id| option(self.knowledge, id)) {
            self.always_opened(known, &mut out);
        }
        out
    }

    /// The joints that an option opens whatever is found.
    fn always_opened(&self, known: &RepairOption, out: &mut BTreeSet<String>) {
        self.stages_open(&known.access, out);
        let work = known.operations.iter().filter_map(|id| operation(self.knowledge, id));
        out.extend(work.flat_map(|o| o.opens.iter().cloned()));
    }

    /// The joints that are opened: by the work, and by what shows that the engine is open there.
    fn joints(&self, line: Option<&OptionLine>) -> BTreeSet<String> {
        let mut out = self.joints_of(line.map(|l| l.id.as_str()));
        let Some(line) = line else { return out };
        if let Some(beside) = self.beside(line) {
            self.always_opened(beside, &mut out);
        }
        if let Some(known) = option(self.knowledge, &line.id) {
            self.mended(known, line, &mut out);
        }
        out
    }

    fn beside(&self, line: &OptionLine) -> Option<&RepairOption> {
        let name = line.others.as_ref()?;
        self.knowledge.options.iter().map(|o| &o.value).find(|o| o.name == *name)
    }

    /// The joints of the blocks that an option mends and of the parts that it renews one by one.
    fn mended(&self, known: &RepairOption, line: &OptionLine, out: &mut BTreeSet<String>) {
        for cost in &known.costs {
            let here = self.blocks.iter().filter(|b| b.id == cost.block);
            for block in here {
                let chosen = known.left_alone.is_none() || cost.access.is_empty() || line.opens.contains(&block.name);
                if !chosen {
                    continue;
                }
                for (class, p) in block.classes.iter().skip(1).filter(|(_, p)| *p >= REACHED_FROM) {
                    let paid = cost.class.get(class).is_some_and(|span| span.hi > 0.0);
                    if paid && *p > 0.0 {
                        out.extend(cost.opens.iter().cloned());
                        if !self.told_what_to_do(&cost.block) {
                            out.extend(cost.opens_in.get(class).into_iter().flatten().cloned());
                        }
                    }
                }
                // What is opened on the way is opened, whatever is found there.
                if line.opens.contains(&block.name) {
                    self.stages_open(&cost.access, out);
                }
            }
        }
        for part in &known.per_part {
            let chance = |b: &Belief| b.states.iter().find(|(s, _)| *s == part.state).map_or(0.0, |(_, p)| *p);
            if self.conditions.iter().any(|b| b.id == part.condition && chance(b) >= REACHED_FROM) {
                out.extend(part.opens.iter().cloned());
            }
        }
    }

    /// Whether work was asked for that puts a part of a block right: then it says what is opened there, and the class
    /// does not.
    fn told_what_to_do(&self, block: &str) -> bool {
        asked_for(self.state).into_iter().any(|id| self.mends(id, block))
    }

    /// Whether an operation puts a part of a block right.
    pub(crate) fn mends(&self, operation_id: &str, block: &str) -> bool {
        let Some(known) = operation(self.knowledge, operation_id) else { return false };
        let members = self.knowledge.blocks.iter().filter(|b| b.id == block).flat_map(|b| &b.value.members);
        members.into_iter().any(|m| known.cures.iter().any(|c| c.condition == m.condition))
    }

    /// The joints that reaching some stages of strip-down opens, those below them included.
    fn stages_open<'s>(&self, stages: impl IntoIterator<Item = &'s String>, out: &mut BTreeSet<String>) {
        for stage in stages.into_iter().filter_map(|s| self.knowledge.stage(s)) {
            let below = stage.needs.iter().filter_map(|s| self.knowledge.stage(s));
            for reached in std::iter::once(stage).chain(below) {
                out.extend(reached.opens.iter().cloned());
            }
        }
    }

    /// The joints that the record shows to be open or to have been.
    fn shown_open(&self) -> BTreeSet<String> {
        let state = self.state;
        let mut out = BTreeSet::new();
        self.stages_open(&state.stages_reached, &mut out);
        for reading in state.readings.iter().filter(|r| r.phase == Phase::AsFound) {
            let stage = self.knowledge.check(&reading.check).and_then(|c| self.knowledge.stage(&c.stage));
            let there = stage.into_iter().flat_map(|s| &s.opens_where_read);
            out.extend(there.filter(|o| o.scope == reading.position.scope()).map(|o| o.joint.clone()));
        }
        out.extend(state.bolts.iter().map(|b| b.joint.clone()));
        out.extend(state.disturbed.iter().map(|d| d.joint.clone()));
        let parts: BTreeSet<&str> =
            state.orders.iter().map(|o| o.part.as_str()).chain(state.fitted.iter().map(|f| f.part.as_str())).collect();
        for joint in &self.knowledge.joints {
            if joint.value.parts.iter().any(|p| parts.contains(p.id.as_str())) {
                out.insert(joint.id.clone());
            }
        }
        out
    }
}

/// What somebody stated or told of the engine; what was merely filled in is left out.
///
/// A part or a hold point falls away only by what somebody said: a filled-in chain is no reason to leave out the belt.
#[must_use]
pub fn stated(state: &JobState, layout: &EngineLayout, knowledge: &Knowledge) -> BTreeMap<String, String> {
    let built = EngineLayout::ATTRIBUTES.into_iter().filter(|name| layout.stated(name));
    let mut out: BTreeMap<String, String> =
        built.filter_map(|name| Some((name.to_owned(), layout.attribute(name)?.to_owned()))).collect();
    out.extend(crate::told(state, knowledge));
    out
}

/// Whether a hold point belongs to this engine: what nobody told does not take it away, and what is signed stays.
#[must_use]
pub fn hold_is_here<'a>(hold: &Hold, signed: bool, told: impl Fn(&str) -> Option<&'a str>) -> bool {
    signed || !AppliesTo::spoken_against(&hold.applies, told)
}
