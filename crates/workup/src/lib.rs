//! The one way through: the state of a job and the knowledge of the trade become a judged case.
//!
//! * **For:** every screen, paper and command shows rows of a [`Case`]; nothing else computes a verdict or a belief.
//! * **Comes in:** a [`JobState`] folded from entries, and [`Knowledge`].
//! * **Goes out:** a [`Case`]: findings, what is not the engine, beliefs with reasons, advice, options, notices.
//! * **Must not:** touch disk, network, environment or clock; write a result back into its input; hold a figure of
//!   the trade.
//!
//! Modules in reading order: [`notice`], [`network`] (layout and knowledge to worst-of variables), [`settle`],
//! [`findings`], [`faces`], [`gauges`], [`scales`], [`series`],
//! [`beliefs`], [`money`], [`first_place`], [`remembered`], [`opened`], [`bounds`], [`advice`], [`choosing`], [`work`], [`estimate`], [`proof`], then [`work_up`] below. [`export`]
//! writes the job's network for other programs. Beside them: [`committed`] (money against what was approved),
//! [`customer_page`] and [`asking`] (what a customer is asked, and whether the question still holds), [`cores`] (old parts
//! that go back), [`awaited`] (what is on the way and sets the date), [`machine`] (orders to a machine shop and what came
//! back), [`gates`] (hold points and what they hold up), [`quotes`] (offers side by side), [`price_list`] (quotes out of a table, and into one), [`teardown`] (what opening
//! costs), [`tightening`] (the bolts of a joint), [`bags`] (small parts put away and asked back), [`entering`] (the rules by which
//! an entry is taken), [`learning`] (what the shop's own jobs say of the odds), [`practice`] (a job to learn with), [`simulate`] (how good
//! the advice is) and [`mod@words`].

pub mod advice;
pub mod arrivals;
pub mod asking;
pub mod awaited;
pub mod bags;
pub mod beliefs;
pub mod bounds;
pub mod calls;
pub mod choosing;
mod clashes;
pub mod comeback;
pub mod committed;
pub mod cores;
pub mod curing;
pub mod customer_page;
pub mod entering;
pub mod estimate;
pub mod export;
pub mod faces;
pub mod findings;
pub mod first_place;
pub mod gates;
pub mod gauges;
pub mod invoice;
pub mod learning;
pub mod machine;
pub mod money;
pub mod network;
pub mod notice;
pub mod on_phone;
pub mod opened;
pub mod practice;
pub mod price_list;
pub mod proof;
pub mod quotes;
pub mod remembered;
pub mod scales;
pub mod series;
pub mod settle;
pub mod shop;
pub mod simulate;
pub mod teardown;
pub mod tightening;
pub mod timed;
pub mod words;
pub mod work;

use std::cell::OnceCell;
use std::collections::BTreeMap;

use anatomy::{EngineLayout, Position};
use inference::lanes::{Engine, Extra, LanesError, Run};
use inference::worst::{Reading, WorstNet};
use knowledge::Knowledge;
use logbook::{JobState, OutsideAnswer};
use serde::Serialize;

pub use advice::{Advice, BlockBelief, CheckWorth, Stop};
pub use beliefs::{Belief, Reason};
pub use choosing::Comparison;
pub use estimate::Estimate;
pub use faces::Face;
pub use findings::{Finding, LimitUsed};
pub use first_place::FirstPlace;
pub use money::{OptionLine, OptionMoney, RiskLine, StruckOut};
pub use notice::Notice;
pub use opened::impossible_now;
pub use proof::Proof;
pub use remembered::Remembered;
pub use series::{Series, Trend};
pub use work::Reach;

/// Relative loss of digits from which the slower sums without differences are taken: half of what a posterior may be out by,
/// and several times what root states are left out for \[ours\].
const LOSS: f64 = 5e-10;

/// Chances nearer to one another than this are listed as equal \[ours\].
const ALIKE: f64 = 1e-9;

/// How many conditions get their reasons worked out \[ours\].
const REASONED: usize = 5;

/// A judged job: everything that may be shown, and nothing that must be computed again.
#[derive(Debug, Clone, Serialize)]
pub struct Case {
    /// The job.
    pub job: String,
    /// Its title.
    pub title: String,
    /// The engine in words.
    pub engine: String,
    /// Which end is the front, in words.
    pub front: String,
    /// Which knowledge it was judged by.
    pub knowledge: String,
    /// What is not the engine and is not excluded yet.
    pub outside: Vec<OutsideLine>,
    /// Every reading with its verdict.
    pub findings: Vec<Finding>,
    /// Faces whose straightedge readings are told station by station.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub faces: Vec<Face>,
    /// Readings of one kind at three or more places, judged together.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub series: Vec<Series>,
    /// Root causes, the likeliest first.
    pub causes: Vec<Belief>,
    /// Conditions of parts, the likeliest trouble first.
    pub conditions: Vec<Belief>,
    /// Whether reasons, the comparison, and checks that pay together with another one are still to come: then there are none
    /// of them yet.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub weighing: bool,
    /// What each block needs.
    pub blocks: Vec<BlockBelief>,
    /// What to do next.
    pub advice: Advice,
    /// The ways to put it right, the cheapest on average first, struck-out ones last.
    pub options: Vec<OptionLine>,
    /// How sure the first of them is; nothing where all are struck out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub first_place: Option<FirstPlace>,
    /// What to ask before something is bought, by option.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub calls: Vec<calls::Call>,
    /// The open options when everything in doubt is drawn; nothing while it is still to come, and where all are struck out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub comparison: Option<Comparison>,
    /// The chosen option, else the best one, priced line by line; nothing where neither is among the options.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub estimate: Option<Estimate>,
    /// How far the chosen work, else the best, reaches into the build.
    pub reach: Reach,
    /// Whether the repair is proved, and why.
    pub proof: Proof,
    /// What machine shops say of their own work; no proof and no belief rests on it.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub machine: Vec<machine::back::MachineBack>,
    /// Complaints about the record.
    pub notices: Vec<Notice>,
    /// Cautions for every job.
    pub cautions: Vec<String>,
    /// How well the sums agree: the largest relative difference between totals that must be equal.
    pub accuracy: f64,
    /// Natural logarithm of the probability of all readings.
    pub ln_p_evidence: f64,
}

/// A fault outside the engine that explains the same complaint.
#[derive(Debug, Clone, Serialize)]
pub struct OutsideLine {
    /// Its id.
    pub id: String,
    /// Its name.
    pub name: String,
    /// Whether it is open, excluded or found.
    pub state: String,
    /// The outside check that comes first.
    pub check: String,
    /// Minutes of that check.
    pub minutes: f64,
    /// Cautions of that check.
    pub cautions: Vec<String>,
    /// How it was answered, where it was.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub how: Option<String>,
}

/// Why a job cannot be worked up.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum WorkUpError {
    /// Nobody has described the engine.
    #[error("the job has no engine description; enter one (`engine-described`) before a work-up")]
    NoEngine,
    /// Inference refused.
    #[error("the readings cannot be worked: {0}")]
    Lanes(#[from] LanesError),
}

/// Works a job up: findings, beliefs, advice and options, in this order and no other.
///
/// # Errors
/// A job without an engine, or evidence that cannot be worked; an odd record never is an error but a notice.
pub fn work_up(state: &JobState, knowledge: &Knowledge) -> Result<Case, WorkUpError> {
    work_up_again(state, knowledge, &Remembered::default())
}

/// As [`work_up`], with what an earlier work-up of the job left that no reading changes. The case is the same to the bit.
///
/// # Errors
/// As [`work_up`].
pub fn work_up_again(state: &JobState, knowledge: &Knowledge, remembered: &Remembered) -> Result<Case, WorkUpError> {
    work_up_in_two(state, knowledge, remembered, |_| Wanted::Whole)
}

/// Whether a case is wanted with its reasons.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wanted {
    /// With them.
    Whole,
    /// Without: something newer is known already.
    NoMore,
}

/// As [`work_up_again`], with a first look at the case as soon as the advice stands.
///
/// What weighs for and against a belief takes as long as a third of everything else, and nobody has to wait for it, nor for
/// the options under everything in doubt, to do the next check. `first` is shown the case without either and with the
/// checks that pay alone ([`Case::weighing`]), and says whether the rest is wanted: reasons, the comparison, and the checks
/// that pay together with another one.
///
/// # Errors
/// As [`work_up`].
pub fn work_up_in_two(
    state: &JobState,
    knowledge: &Knowledge,
    remembered: &Remembered,
    first: impl FnOnce(&Case) -> Wanted,
) -> Result<Case, WorkUpError> {
    let layout: &EngineLayout = state.layout.as_ref().ok_or(WorkUpError::NoEngine)?;
    let mut notices: Vec<Notice> = state
        .notices
        .iter()
        .map(|n| {
            let about: Vec<String> = n.about.iter().map(ToString::to_string).collect();
            Notice::new(n.code.word(), &about.join(" "), n.message.clone(), &n.what_to_do)
        })
        .collect();
    let net = network::engine_net(layout, &told(state, knowledge), knowledge);
    let (mut findings, odd) = findings::of_state(state, layout, &net, knowledge);
    let faces = faces::of_state(state, layout, &net, knowledge, &mut findings);
    notices.extend(odd);
    notices.extend(scales::past_the_end(state, knowledge));
    notices.extend(bounds::odd(state));
    notices.extend(bags::left_over(state));
    let (machine, of_machine) = machine::back::of_state(state, layout, knowledge);
    notices.extend(of_machine);
    let blocks = money::blocks(&net, layout, knowledge);
    let terms = money::Terms::of(state, knowledge);
    let (clashes::Consistent { gathered, drawn, laid }, before) =
        clashes::consistent(&net, layout, knowledge, &mut findings, &mut notices, || {
            remembered.before(&net, layout, knowledge, &blocks, &terms)
        })?;
    let before = before?;
    let engine = laid?.among(&drawn.likely);
    let slower = OnceCell::new();
    let (whole, run, accuracy) = exactly(&net.net, &gathered.readings, &engine, &slower, drawn.ln_left_out)?;
    let all = beliefs::all(&net, layout, knowledge, &run, &before.chances);
    let chosen = chosen(&all, knowledge);
    let named: Vec<(String, Option<Position>)> =
        chosen.iter().filter_map(|i| all.get(*i)).map(|b| (b.id.clone(), b.position)).collect();
    let draws = drawn.draws;
    let scene = advice::Scene {
        knowledge,
        layout,
        net: &net,
        run: &run,
        draws: &draws,
        blocks: &blocks,
        state,
        findings: &findings,
        terms: &terms,
        donors: &before.donors,
    };
    let mut advised = advice::advise(&scene);
    let advice = advised.advice(&scene);
    let (block_beliefs, options) = (std::mem::take(&mut advised.blocks), std::mem::take(&mut advised.options));
    let (mut causes, mut conditions): (Vec<Belief>, Vec<Belief>) = all.into_iter().partition(|b| b.cause);
    // Places that fare alike differ by their last digits only: they stand in the engine's own order.
    let shown = |b: &Belief| (b.p / ALIKE).round();
    let by_p = |a: &Belief, b: &Belief| {
        shown(b).total_cmp(&shown(a)).then_with(|| a.id.cmp(&b.id)).then(a.position.cmp(&b.position))
    };
    causes.sort_by(by_p);
    conditions.sort_by(by_p);
    let shown = state.chosen.as_ref().map_or(advice.best.as_str(), |c| c.option.as_str());
    let shown = options.iter().find(|o| o.id == shown);
    let judged =
        work::Judged { state, knowledge, attributes: &net.attributes, blocks: &block_beliefs, conditions: &conditions };
    let reach = judged.reach(shown);
    let estimate = shown.map(|line| Estimate::of(&judged, layout, line, &reach));
    let proof = Proof::of(state, layout, &net, knowledge, &findings);
    let mut case = Case {
        job: state.job.map_or_else(String::new, |j| j.to_string()),
        title: state.title.clone().unwrap_or_default(),
        engine: layout.in_words(),
        front: layout.front_statement(),
        knowledge: knowledge.version.as_str().to_owned(),
        series: series::of_findings(&findings, layout),
        faces,
        outside: outside(state, knowledge, &net),
        findings: findings.clone(),
        causes,
        conditions,
        weighing: true,
        blocks: block_beliefs,
        advice,
        first_place: FirstPlace::among(&options),
        calls: calls::of(&options, knowledge),
        options,
        comparison: None,
        estimate,
        reach,
        proof,
        machine,
        notices,
        cautions: knowledge
            .cautions
            .iter()
            .filter(|c| c.always && c.concerns(network::told_of(&net.attributes)))
            .map(|c| c.id.clone())
            .collect(),
        accuracy,
        ln_p_evidence: run.ln_p(),
    };
    if first(&case) == Wanted::NoMore {
        return Ok(case);
    }
    // Whoever waits for the reasons gets the comparison and the second step of the advice with them.
    let ((reasons, comparison), ()) = rayon::join(
        || {
            rayon::join(
                || beliefs::reasons(whole, &run, &gathered, &draws, &chosen),
                || choosing::compared(&scene, &case.options, &case.advice),
            )
        },
        || advised.look_ahead(&scene),
    );
    let reasons = reasons?;
    case.advice = advised.advice(&scene);
    for ((id, position), reasons) in named.into_iter().zip(reasons) {
        let all = case.causes.iter_mut().chain(&mut case.conditions);
        for belief in all.filter(|b| b.id == id && b.position == position) {
            belief.reasons.clone_from(&reasons);
        }
    }
    if let Some(comparison) = &comparison {
        comparison.told(&mut case.options);
        case.first_place = FirstPlace::among(&case.options);
    }
    case.comparison = comparison;
    case.weighing = false;
    Ok(case)
}

/// An engine worked, by the slower sums where the quick ones lose digits: which of the two, its run, and how well its sums agree.
///
/// `ln_left_out`: what the probability of the evidence with the joint root states left out is below.
fn exactly<'e>(
    net: &WorstNet,
    readings: &[Reading],
    quick: &'e Engine,
    slower: &'e OnceCell<Engine>,
    ln_left_out: f64,
) -> Result<(&'e Engine, Run<'e>, f64), LanesError> {
    let run = quick.run(&Extra::default())?;
    let accuracy = run.accuracy().max((ln_left_out - run.ln_p()).exp());
    if accuracy <= LOSS {
        return Ok((quick, run, accuracy));
    }
    let built = Engine::without_differences(net, readings)?;
    let slow = slower.get_or_init(|| built);
    let run = slow.run(&Extra::default())?;
    let accuracy = run.accuracy();
    Ok((slow, run, accuracy))
}

/// What was told of the engine, with the class of its odometer where that was not told in so many words, and with what
/// a residue proves where nobody has told otherwise.
#[must_use]
pub fn told(state: &JobState, knowledge: &Knowledge) -> BTreeMap<String, String> {
    let mut told = state.attributes.clone();
    for proof in state.residues.iter().flat_map(|seen| proved(&seen.body, knowledge)) {
        let known = told.get(&proof.attribute).is_some_and(|v| v != "unknown");
        if !known {
            told.insert(proof.attribute.clone(), proof.value.clone());
        }
    }
    if !told.contains_key("odometer")
        && state.vehicle.odometer_believed != Some(anatomy::Known::No)
        && let Some(figure) = &state.vehicle.odometer
        && let Some(miles) = money::lives::miles(figure)
    {
        let class = match miles {
            m if m < 60_000.0 => "under-60k-miles",
            m if m < 120_000.0 => "60k-to-120k-miles",
            m if m < 180_000.0 => "120k-to-180k-miles",
            _ => "over-180k-miles",
        };
        told.insert("odometer".to_owned(), class.to_owned());
    }
    let found = |id: &String| state.outside.get(id).is_some_and(|a| a.body.answer == OutsideAnswer::Found);
    if let Some(outside) = knowledge.outside.iter().find(|o| o.explains && found(&o.id)) {
        told.insert(beliefs::EXPLAINED.to_owned(), outside.id.clone());
    }
    told
}

/// What a residue proves of the engine, unless a solvent that was tried did otherwise than it should.
fn proved<'k>(seen: &logbook::ResidueSeen, knowledge: &'k Knowledge) -> &'k [knowledge::AttributeIs] {
    use knowledge::workshop::Dissolves;
    let Some(residue) = knowledge.residues.iter().find(|r| r.id == seen.residue) else { return &[] };
    let should = |solvent: &str| match solvent {
        "water" => residue.dissolves.water,
        "alcohol" => residue.dissolves.alcohol,
        "brake_cleaner" => residue.dissolves.brake_cleaner,
        "acid" => residue.dissolves.acid,
        _ => Dissolves::Unknown,
    };
    let against = |(solvent, did): (&String, &logbook::Dissolves)| {
        matches!(
            (should(solvent), did),
            (Dissolves::Yes, logbook::Dissolves::No) | (Dissolves::No, logbook::Dissolves::Yes)
        )
    };
    if seen.dissolves.iter().flatten().any(against) { &[] } else { &residue.proves }
}

/// The beliefs that get reasons: every cause that moved, and the likeliest trouble of each kind.
fn chosen(all: &[Belief], knowledge: &Knowledge) -> Vec<usize> {
    let helper = |id: &str| knowledge.condition(id).is_some_and(|c| c.helper);
    let mut causes: Vec<usize> = (0..all.len()).filter(|i| all.get(*i).is_some_and(|b| b.cause && b.p > 0.2)).collect();
    let mut conditions: Vec<usize> =
        (0..all.len()).filter(|i| all.get(*i).is_some_and(|b| !b.cause && !helper(&b.id) && b.p > 0.1)).collect();
    let gain = |i: &usize| all.get(*i).map_or(0.0, |b| (b.p - b.before).abs() + b.p / 10.0);
    conditions.sort_by(|a, b| gain(b).total_cmp(&gain(a)).then(a.cmp(b)));
    conditions.truncate(REASONED);
    causes.extend(conditions);
    causes
}

fn outside(state: &JobState, knowledge: &Knowledge, net: &network::EngineNet) -> Vec<OutsideLine> {
    knowledge
        .outside
        .iter()
        .filter(|o| network::applies(&o.applies, &net.attributes))
        .map(|o| {
            let answer = state.outside.get(&o.id);
            let word = match answer.map(|a| a.body.answer) {
                Some(OutsideAnswer::Excluded) => "excluded",
                Some(OutsideAnswer::Found) => "found",
                Some(OutsideAnswer::Unknown) | None => "open",
            };
            OutsideLine {
                id: o.id.clone(),
                name: o.name.clone(),
                state: word.to_owned(),
                check: o.check.clone(),
                minutes: o.minutes,
                cautions: knowledge.cautions_for(&o.cautions, network::told_of(&net.attributes)),
                how: answer.map(|a| a.body.how.clone()),
            }
        })
        .collect()
}
