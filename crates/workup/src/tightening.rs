//! Where the bolts of a joint stand, in which sequence they are tightened, and how far each one is.
//!
//! A sequence that was typed from the engine's manual holds; where only the places are known, the rule from the middle
//! outwards gives one, which says so, and the manual goes before it.

use std::collections::BTreeSet;

use anatomy::{Known, Position};
use logbook::{BoltsPlaced, EntryBody, Fact, JobState};
use mechanics::tightening::centre_outward;

use crate::entering::{NotTaken, Rule};

/// How far the bolts of a joint are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HowFar {
    /// None is tightened.
    NotStarted,
    /// Some are, or not all at the same stage.
    Begun,
    /// All stand at one stage.
    Done,
    /// All stand at one stage, each with a stripe drawn across it there.
    Proved,
    /// They were done, and the joint was disturbed since.
    Disturbed,
}

impl HowFar {
    /// The words for it.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::NotStarted => "not started",
            Self::Begun => "begun",
            Self::Done => "done",
            Self::Proved => "done, striped",
            Self::Disturbed => "disturbed, starts again",
        }
    }
}

/// How far the bolts of a joint are; of the bolts placed, each counts.
#[must_use]
pub fn how_far(state: &JobState, joint: &str, at: Option<Position>) -> HowFar {
    let bolts = state.bolt_stages(joint, at);
    let Some(top) = bolts.values().max().copied() else {
        let disturbed = state.disturbed.iter().any(|d| d.joint == joint && d.position == at);
        return if disturbed { HowFar::Disturbed } else { HowFar::NotStarted };
    };
    let striped = |bolt: &u16| {
        let mut here =
            state.bolts.iter().filter(|b| b.joint == joint && b.position == at && b.bolt == *bolt && b.stage == top);
        here.next_back().is_some_and(|b| b.striped == Some(Known::Yes))
    };
    let placed = pattern(state, joint, at).map_or(0, |p| p.bolts.len());
    match (bolts.len() >= placed && bolts.values().all(|stage| *stage == top), bolts.keys().all(striped)) {
        (false, _) => HowFar::Begun,
        (true, false) => HowFar::Done,
        (true, true) => HowFar::Proved,
    }
}

/// The joints that somebody has begun to tighten, placed the bolts of or disturbed, each with its place.
#[must_use]
pub fn joints(state: &JobState) -> BTreeSet<(String, Option<Position>)> {
    let mut out: BTreeSet<(String, Option<Position>)> = BTreeSet::new();
    out.extend(state.bolts.iter().map(|b| (b.joint.clone(), b.position)));
    let touched: BTreeSet<String> = out.iter().map(|(joint, _)| joint.clone()).collect();
    let placed = state.bolts_placed.iter().filter(|p| p.position.is_some() || !touched.contains(&p.joint));
    out.extend(placed.map(|p| (p.joint.clone(), p.position)));
    out.extend(state.disturbed.iter().map(|d| (d.joint.clone(), d.position)));
    out
}

/// Whose the sequence is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Whose {
    /// Of the engine's manual: document and page.
    Manual(String, String),
    /// By the rule from the middle outwards.
    Rule,
}

impl Whose {
    /// Where the sequence comes from, in one sentence.
    #[must_use]
    pub fn words(&self) -> String {
        match self {
            Self::Manual(document, page) => format!("Sequence of the engine's manual ({document}, page {page})."),
            Self::Rule => "From the middle outwards and crosswise, by our own rule: where the engine's manual shows a \
                           sequence, that one holds; type it in."
                .to_owned(),
        }
    }
}

/// One bolt of a joint.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bolt {
    /// Its place in the sequence, from 1.
    pub number: u16,
    /// From the front along the engine, in mm.
    pub along: f64,
    /// Across, in mm.
    pub across: f64,
    /// Whether its hole reaches into coolant or oil.
    pub wet: bool,
    /// The stage that it is through; 0 for none.
    pub stage: u16,
    /// Whether a stripe was drawn across it in that stage.
    pub striped: bool,
}

/// The bolts of a joint in the sequence of tightening.
#[derive(Debug, Clone, PartialEq)]
pub struct Pattern {
    /// Whose the sequence is.
    pub whose: Whose,
    /// The bolts, by their place in the sequence.
    pub bolts: Vec<Bolt>,
    /// How the threads are wetted, as the manual says.
    pub threads: Option<String>,
}

impl Pattern {
    /// The highest stage that any bolt is through.
    #[must_use]
    pub fn stages(&self) -> u16 {
        self.bolts.iter().map(|b| b.stage).max().unwrap_or(0)
    }

    /// The numbers of the bolts whose holes are wet.
    #[must_use]
    pub fn wet(&self) -> Vec<u16> {
        self.bolts.iter().filter(|b| b.wet).map(|b| b.number).collect()
    }
}

/// Passes bolts that stand where bolts can stand, so that each has its place in a sequence.
///
/// # Errors
/// [`Rule::Value`] with the bolt.
pub(crate) fn ensure(body: &EntryBody) -> Result<(), NotTaken> {
    let EntryBody::BoltsPlaced(placed) = body else { return Ok(()) };
    let Some(places) = places(placed) else { return Ok(()) };
    centre_outward(&places).map(|_| ()).map_err(|why| NotTaken::new(Rule::Value, "bolts", why))
}

/// Where bolts stand, in mm along and across; nothing where one is no length.
fn places(placed: &BoltsPlaced) -> Option<Vec<(f64, f64)>> {
    placed.bolts.iter().map(|b| Some((b.along.number_in("mm")?, b.across.number_in("mm")?))).collect()
}

/// The bolts of a joint where somebody said where they stand; a pattern told for no place serves every place of the joint.
#[must_use]
pub fn pattern(state: &JobState, joint: &str, at: Option<Position>) -> Option<Pattern> {
    let of_joint = |p: &&Fact<BoltsPlaced>| p.joint == joint && (p.position == at || p.position.is_none());
    let told = state.bolts_placed.iter().filter(of_joint).max_by_key(|p| (p.position == at, p.in_entry))?;
    let places = places(told)?;
    let (order, whose): (Vec<usize>, Whose) = if told.sequence.is_empty() {
        (centre_outward(&places).ok()?, Whose::Rule)
    } else {
        let manual = Whose::Manual(told.document.clone().unwrap_or_default(), told.page.clone().unwrap_or_default());
        (told.sequence.iter().map(|n| usize::from(*n).saturating_sub(1)).collect(), manual)
    };
    let stages = state.bolt_stages(joint, at);
    let striped = |number: u16, stage: u16| {
        let mut here =
            state.bolts.iter().filter(|b| b.joint == joint && b.position == at && b.bolt == number && b.stage == stage);
        here.next_back().is_some_and(|b| b.striped == Some(Known::Yes))
    };
    let bolts = (1..).zip(order).filter_map(|(number, place)| {
        let (along, across) = *places.get(place)?;
        let wet = told.bolts.get(place).is_some_and(|b| b.wet == Some(Known::Yes));
        let stage = stages.get(&number).copied().unwrap_or(0);
        Some(Bolt { number, along, across, wet, stage, striped: stage > 0 && striped(number, stage) })
    });
    Some(Pattern { whose, bolts: bolts.collect(), threads: told.threads.clone() })
}
