//! Beliefs: a probability for every cause and every condition at every site, each with the reasons that moved it.
//!
//! A reason is a group of readings (one check at one place; all unremarkable places of one check together) and its
//! weight: how the odds would stand had the group not been read. Weights are exact: the evidence is worked again
//! without the group.

use std::collections::{BTreeMap, BTreeSet};

use anatomy::{EngineLayout, Position};
use inference::lanes::{Draws, Engine, Extra, LanesError, Run};
use inference::worst::{Reading, ReadingLink};
use knowledge::{Knowledge, ReadingKind, Worse};
use rayon::prelude::*;
use serde::Serialize;

use crate::findings::Finding;
use crate::network::{EngineNet, Seen, What, evidence, observed};

/// A probability over the states of one cause or condition.
#[derive(Debug, Clone, Serialize)]
pub struct Belief {
    /// Cause or condition, by id.
    pub id: String,
    /// Its name.
    pub name: String,
    /// Whether it is a root cause.
    pub cause: bool,
    /// The site, for a condition.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub position: Option<Position>,
    /// The site in the names of this engine.
    pub place: String,
    /// States, mildest first, with their probabilities.
    pub states: Vec<(String, f64)>,
    /// Probability of any state but the mildest.
    pub p: f64,
    /// Probability before any reading of this job.
    pub before: f64,
    /// What moved it, the weightiest first; empty where reasons were not asked for.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub reasons: Vec<Reason>,
}

/// One group of readings and how it moves a belief.
#[derive(Debug, Clone, Serialize)]
pub struct Reason {
    /// The readings in words.
    pub words: String,
    /// The entries.
    pub entries: Vec<String>,
    /// Natural logarithm of the factor by which the group moves the odds; positive speaks for.
    pub weight: f64,
}

/// A group of readings that count as one witness.
#[derive(Debug, Clone)]
pub struct Group {
    /// The group in words.
    pub words: String,
    /// The entries.
    pub entries: Vec<String>,
    /// Its readings, by index into the evidence.
    pub readings: BTreeSet<usize>,
}

/// The evidence of a job.
#[derive(Debug, Clone, Default)]
pub struct Evidence {
    /// Readings for inference, the complaint first, what the shop's own jobs say last; neither belongs to a group.
    pub readings: Vec<Reading>,
    /// Per reading of a finding, after the complaint: the finding, by place in the list of findings.
    pub findings: Vec<usize>,
    /// The same readings: what each says of its own accord if nobody ever made a slip.
    pub sure: Vec<[f64; 2]>,
    /// The same readings as witnesses.
    pub groups: Vec<Group>,
}

impl Evidence {
    /// The readings as they would be if nobody ever made a slip of the pen.
    pub(crate) fn without_slips(&self) -> Vec<Reading> {
        let own = [None].into_iter().chain(self.sure.iter().copied().map(Some)).chain(std::iter::repeat(None));
        self.readings.iter().zip(own).map(|(r, own)| Reading { own: own.unwrap_or(r.own), ..r.clone() }).collect()
    }
}

/// Whether a reading is in its best outcome or band.
#[must_use]
pub fn is_best(reading: &knowledge::Reading, seen: &Seen) -> bool {
    match (&reading.kind, seen) {
        (_, Seen::Outcome(place)) => *place == 0,
        (ReadingKind::Numeric(numeric), Seen::Number { value, .. }) => {
            numeric.bands.first().and_then(|b| b.to).is_none_or(|to| match numeric.worse {
                Worse::Higher => *value <= to,
                Worse::Lower => *value >= to,
            })
        }
        (ReadingKind::Graded { .. } | ReadingKind::Nominal { .. }, Seen::Number { .. }) => true,
    }
}

/// Whether a finding is one of several spots of one measurement and another spot reads worse: only the worst counts.
pub(crate) fn outdone(finding: &Finding, findings: &[Finding]) -> bool {
    let Some(Seen::Number { value, .. }) = finding.seen else { return false };
    finding.spot.is_some()
        && findings.iter().any(|other| {
            let same = other.check == finding.check
                && other.reading == finding.reading
                && other.position == finding.position
                && other.after_repair == finding.after_repair
                && other.spot.is_some()
                && other.entry != finding.entry;
            match (&other.seen, same) {
                (Some(Seen::Number { value: there, .. }), true) => {
                    let worse = if finding.lower_is_worse { *there < value } else { *there > value };
                    worse || there.total_cmp(&value).is_eq() && other.entry < finding.entry
                }
                _ => false,
            }
        })
}

/// What is known of an engine whose complaint was found outside it.
pub(crate) const EXPLAINED: &str = "complaint-explained";

/// The first reading of every job: the engine was brought in with a complaint.
///
/// Causes are rare in the car park and common on the bench; taken together with the complaint, one that is found takes
/// the others back. Where something outside the engine that explains it was found, the complaint says nothing of the engine.
#[must_use]
pub fn complaint(net: &EngineNet, knowledge: &Knowledge) -> Reading {
    let explained = net.attributes.contains_key(EXPLAINED);
    let links = knowledge
        .causes
        .iter()
        .filter(|_| !explained)
        .filter_map(|cause| {
            let parent = *net.causes.get(&cause.id)?;
            Some(ReadingLink { parent, given: cause.brings_in.iter().map(|p| [1.0 - p, *p]).collect() })
        })
        .collect();
    let own = if explained { [0.0, 1.0] } else { [1.0, 0.0] };
    Reading { name: "complaint".to_owned(), own, links, echo: 0.0 }
}

/// What the shop's own jobs say before any check, as one reading for each cause and each place: the chance of its state is
/// multiplied by the factor learnt. It speaks of engines brought in with a complaint, as the shop's jobs were, and of no others.
#[must_use]
pub fn own_odds(net: &EngineNet, knowledge: &Knowledge) -> Vec<Reading> {
    let mut out = Vec::new();
    for odds in knowledge.learnt.counting() {
        let places = net.what.iter().enumerate().filter(|(_, what)| match (what, odds.scope) {
            (What::Cause(id), None) => *id == odds.of,
            (What::Condition(id, position), Some(scope)) => *id == odds.of && position.scope() == scope,
            (What::Cause(_), Some(_)) | (What::Condition(..), None) => false,
        });
        out.extend(places.map(|(parent, _)| Reading {
            name: format!("own-odds/{}@{parent}", odds.of),
            own: [0.0, 1.0],
            links: vec![ReadingLink { parent, given: odds.factor.iter().map(|f| [0.0, *f]).collect() }],
            echo: 0.0,
        }));
    }
    out
}

/// What is known before any check: the complaint first, then what the shop's own jobs say.
#[must_use]
pub fn before_any_check(net: &EngineNet, knowledge: &Knowledge) -> Vec<Reading> {
    std::iter::once(complaint(net, knowledge)).chain(own_odds(net, knowledge)).collect()
}

/// Readings as evidence, the complaint first and what the shop's own jobs say last, later ones of one kind at one place discounted where they only agree.
#[must_use]
pub fn gather(net: &EngineNet, layout: &EngineLayout, knowledge: &Knowledge, findings: &[Finding]) -> Evidence {
    struct Earlier<'a> {
        group: &'a str,
        check: &'a str,
        reading: &'a str,
        position: &'a Position,
        looks_at: BTreeSet<usize>,
        best: bool,
    }
    let mut out = Evidence { readings: vec![complaint(net, knowledge)], ..Evidence::default() };
    let mut earlier: Vec<Earlier<'_>> = Vec::new();
    let mut keys: BTreeMap<(String, String), usize> = BTreeMap::new();
    for (place, finding) in findings.iter().enumerate().filter(|(_, f)| !f.after_repair && !outdone(f, findings)) {
        let (Some(seen), Some(check)) = (&finding.seen, knowledge.check(&finding.check)) else { continue };
        let Some(reading) = check.readings.iter().find(|r| r.id == finding.reading) else { continue };
        let looks_at: BTreeSet<usize> =
            observed(net, layout, reading, &finding.position).into_iter().map(|(v, _)| v).collect();
        if looks_at.is_empty() {
            continue;
        }
        let best = is_best(reading, seen);
        let agrees = earlier.iter().any(|e| {
            e.group == check.group
                && *e.position == finding.position
                && (e.check != check.id || e.reading == reading.id)
                && e.best == best
                && !e.looks_at.is_disjoint(&looks_at)
        });
        let echo = if agrees { knowledge.repeat_echo } else { 0.0 };
        let name = format!("{}/{}@{}#{}", check.id, reading.id, finding.position.address(), out.readings.len());
        let (taken, sure) = evidence(net, layout, reading, &finding.position, seen, &name, echo);
        out.readings.push(taken);
        out.sure.push(sure);
        out.findings.push(place);
        let at = if best { String::new() } else { finding.position.address() };
        let index = *keys.entry((check.id.clone(), at)).or_insert_with(|| {
            out.groups.push(Group { words: String::new(), entries: Vec::new(), readings: BTreeSet::new() });
            out.groups.len() - 1
        });
        if let Some(group) = out.groups.get_mut(index) {
            group.readings.insert(out.readings.len() - 1);
            group.entries.push(finding.entry.clone());
            let what = if check.readings.len() > 1 {
                format!("{} {}", reading.id.replace('-', " "), finding.shown)
            } else {
                finding.shown.clone()
            };
            let at = if finding.position == Position::Engine { String::new() } else { format!(" {}", finding.place) };
            if group.words.is_empty() {
                group.words = format!("{}:{at} {what}", check.name);
            } else {
                group.words.push_str(&format!(";{at} {what}"));
            }
        }
        earlier.push(Earlier {
            group: &check.group,
            check: &check.id,
            reading: &reading.id,
            position: &finding.position,
            looks_at,
            best,
        });
    }
    out.readings.extend(own_odds(net, knowledge));
    out
}

/// All beliefs, without reasons; `untouched` holds the chances of every variable before any check.
#[must_use]
pub fn all(
    net: &EngineNet,
    layout: &EngineLayout,
    knowledge: &Knowledge,
    run: &Run<'_>,
    untouched: &[Vec<f64>],
) -> Vec<Belief> {
    (0..net.what.len())
        .into_par_iter()
        .filter_map(|index| {
            let variable = net.net.variables.get(index)?;
            let chances = run.marginal(index);
            let before = untouched.get(index)?;
            let (id, name, position) = match net.what.get(index)? {
                What::Cause(id) => (id, knowledge.cause(id).map_or(id, |c| &c.name), None),
                What::Condition(id, position) => (id, knowledge.condition(id).map_or(id, |c| &c.name), Some(*position)),
            };
            Some(Belief {
                id: id.clone(),
                name: name.clone(),
                cause: position.is_none(),
                position,
                place: position.map_or_else(|| "the engine".to_owned(), |p| layout.label(&p)),
                p: chances.iter().skip(1).sum(),
                before: before.iter().skip(1).sum(),
                states: variable.states.iter().cloned().zip(chances).collect(),
                reasons: Vec::new(),
            })
        })
        .collect()
}

/// Chances closer to 0 or 1 than this are held at it when odds are formed, so that a weight stays a number \[ours\].
const NEAR: f64 = 1e-12;

fn log_odds(p: f64) -> f64 {
    let p = p.clamp(NEAR, 1.0 - NEAR);
    (p / (1.0 - p)).ln()
}

/// How many groups of readings get an exact weight per work-up; the weightiest by a first look over the draws \[ours\].
const WEIGHED: usize = 8;
/// Share of the evidence that may be left out for a weight: a group that moves the odds by a factor of a million leaves it
/// within one part in ten thousand \[ours\].
const UNLIKELY: f64 = 1e-10;
/// Products that may be spent on weights; a tightly coupled case gets fewer of them, but never less than three \[ours\].
const SPENT: f64 = 1.5e9;

/// The reasons of the chosen beliefs (indices into the network's variables), one list for each.
///
/// A first look over the drawn engines says which groups matter; their weights are then worked exactly, by working the
/// evidence again without the group.
///
/// # Errors
/// Evidence that cannot be worked without one of its groups.
pub fn reasons(
    engine: &Engine,
    run: &Run<'_>,
    gathered: &Evidence,
    draws: &Draws,
    chosen: &[usize],
) -> Result<Vec<Vec<Reason>>, LanesError> {
    let mut looks: Vec<(f64, usize)> =
        gathered.groups.iter().enumerate().map(|(g, group)| (first_look(group, gathered, draws, chosen), g)).collect();
    looks.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    let work = engine.size().1;
    let affordable =
        (0..WEIGHED).rev().find(|n| work * f64::from(u32::try_from(*n).unwrap_or(0)) <= SPENT).unwrap_or(0);
    looks.truncate(affordable.max(3));
    let without = |(_, g): &(f64, usize)| Extra {
        without: gathered.groups.get(*g).map(|x| x.readings.clone()).unwrap_or_default(),
        ..Extra::default()
    };
    let extras: Vec<Extra> = looks.iter().map(without).collect();
    let fewer = engine.without_the_unlikely(run, UNLIKELY);
    let (with, others) = fewer.run_each(&extras, chosen)?;
    let odds = |run: &Run<'_>, index: usize| log_odds(run.marginal(index).iter().skip(1).sum());
    let weights: Vec<(usize, Vec<f64>)> = looks
        .iter()
        .zip(&others)
        .map(|((_, g), without)| (*g, chosen.iter().map(|i| odds(&with, *i) - odds(without, *i)).collect()))
        .collect();
    let reasons = |place: usize| {
        let mut list: Vec<Reason> = weights
            .iter()
            .filter_map(|(g, row)| {
                let (group, weight) = (gathered.groups.get(*g)?, *row.get(place)?);
                (weight.abs() > 0.02).then(|| Reason {
                    words: group.words.clone(),
                    entries: group.entries.clone(),
                    weight,
                })
            })
            .collect();
        list.sort_by(|a, b| b.weight.abs().total_cmp(&a.weight.abs()).then_with(|| a.words.cmp(&b.words)));
        list
    };
    Ok((0..chosen.len()).map(reasons).collect())
}

/// A rough size of a group's weight on the chosen beliefs: the draws reweighted as if it had not been read.
fn first_look(group: &Group, gathered: &Evidence, draws: &Draws, chosen: &[usize]) -> f64 {
    let mut total = 0.0;
    let mut bad = vec![(0.0, 0.0); chosen.len()];
    for d in 0..draws.count {
        let states = draws.draw(d);
        let mut likelihood = 1.0;
        for r in &group.readings {
            let Some(reading) = gathered.readings.get(*r) else { continue };
            likelihood *= reading.chance(states);
        }
        let weight = 1.0 / likelihood.max(1e-9);
        total += weight;
        for ((with, left), index) in bad.iter_mut().zip(chosen) {
            if states.get(*index).is_some_and(|s| *s > 0) {
                *with += 1.0;
                *left += weight;
            }
        }
    }
    let n = u32::try_from(draws.count).map_or(1.0, f64::from);
    bad.iter()
        .map(|(with, left)| {
            let smooth = |x: f64| (x + 0.5 / n).clamp(0.5 / n, 1.0 - 0.5 / n);
            (log_odds(smooth(with / n)) - log_odds(smooth(left / total.max(1e-300)))).abs()
        })
        .fold(0.0, f64::max)
}
