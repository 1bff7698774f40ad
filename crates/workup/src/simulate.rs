//! How good the advice is: engines are drawn, ways of testing are let run on each of them, and the bills are compared.
//!
//! What comes in: the beginning of a job (engine, terms; readings are left aside), knowledge, and a [`Plan`]. What goes out:
//! a [`Report`]: what each way of testing costs on average, checks and repair together, and whether the chances stated
//! when the testing stopped came true as often as they were stated.
//!
//! Engines are drawn from the network of the knowledge, given that they were brought in with a complaint; or, with a
//! spread, from networks that differ from it by chance, while the shop goes on believing its own. A question asked of one
//! engine has one answer, whoever asks it, so that two ways of testing differ by what they ask and by nothing else.
//!
//! What an option really costs is its expected bill in the true state of the engine: what may come back within the
//! horizon enters by its chance and is not drawn.
//!
//! Modules in reading order: `otherwise` (knowledge that differs by chance), `truth` (an engine and what it shows),
//! `play` (the ways of testing), `honest` (stated and seen).

mod honest;
mod otherwise;
mod play;
mod truth;

use std::sync::atomic::{AtomicUsize, Ordering};

use inference::lanes::LanesError;
use knowledge::Knowledge;
use logbook::JobState;
use rayon::prelude::*;
use serde::Serialize;

pub use honest::{Bin, Confident, Honesty, OfKind, Range};
use honest::{Event, Played};
use play::Shop;
use truth::Model;

use crate::beliefs;
use crate::{Remembered, WorkUpError, money, network, told};

/// Engines drawn from one network that differs by chance \[ours, as the design's own trial had it\].
const ENGINES_PER_MODEL: usize = 8;

/// What is to be tried.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// How many engines.
    pub engines: usize,
    /// Seed of everything drawn.
    pub seed: u64,
    /// By how much the true network differs from the one believed: standard deviation in log-odds; nought for not at all.
    pub spread: f64,
}

/// A way of testing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Way {
    /// Everything is known and nothing is paid for it: nobody can do better.
    AllKnown,
    /// What the advice says, one step after the other, until it says stop.
    Advice,
    /// Of the checks and rounds that pay by themselves the one that pays most, until none does.
    OneStep,
    /// A fixed list on every engine.
    FixedList,
    /// No check at all.
    NoChecks,
    /// Every check there is, and then what is best for the engine as it is.
    EveryCheck,
}

impl Way {
    /// All of them, the ones that ask more of the engine later.
    pub const ALL: [Self; 6] =
        [Self::AllKnown, Self::Advice, Self::OneStep, Self::FixedList, Self::NoChecks, Self::EveryCheck];

    /// In words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::AllKnown => "everything known, free of charge",
            Self::Advice => "the advice, step by step",
            Self::OneStep => "what pays most alone, step by step",
            Self::FixedList => "a fixed list on every engine",
            Self::NoChecks => "no checks",
            Self::EveryCheck => "every check there is",
        }
    }
}

/// Why nothing could be tried.
#[derive(Debug, thiserror::Error)]
pub enum SimulateError {
    /// The plan asks for nothing, or for nonsense.
    #[error("{0}")]
    Plan(String),
    /// The job cannot be worked up.
    #[error(transparent)]
    WorkUp(#[from] WorkUpError),
    /// The knowledge has no fixed list.
    #[error("the knowledge has no `checklist`, so there is nothing to hold the advice against; add one under checks")]
    NoList,
}

impl From<LanesError> for SimulateError {
    fn from(error: LanesError) -> Self {
        Self::WorkUp(error.into())
    }
}

/// What one way of testing comes to.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WayLine {
    /// Which.
    pub way: Way,
    /// In words.
    pub words: &'static str,
    /// Checks and repair together, labour units, on average.
    pub total: f64,
    /// Of these the checks, opening for them included.
    pub checks: f64,
    /// Of these what the chosen option really costs.
    pub option: f64,
    /// Readings taken, on average.
    pub readings: f64,
    /// Engines in a hundred for which the option chosen was the one that is really cheapest, as far as the engine is open then.
    pub right: f64,
    /// By how much the advice costs less than this way, engine by engine; below nought where it costs more.
    pub advice_saves: Range,
    /// Money of a labour unit, where the job tells it: currency and amount.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit: Option<(String, f64)>,
}

/// What came out.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Report {
    /// The engine in words.
    pub engine: String,
    /// Which knowledge was believed.
    pub knowledge: String,
    /// Engines tried.
    pub engines: usize,
    /// The seed.
    pub seed: u64,
    /// By how much the true networks differ, in log-odds.
    pub spread: f64,
    /// The fixed list that was held against the advice, by name.
    pub list: String,
    /// The ways of testing, [`Way::ALL`] in this sequence.
    pub ways: Vec<WayLine>,
    /// Stated and seen, when the advice said stop.
    pub honesty: Honesty,
}

/// Tries the ways of testing on drawn engines. `done` is told after each engine how many are done.
///
/// # Errors
/// A plan without engines or with a spread that is no number from 0 to 3, a job without an engine, knowledge without a
/// fixed list, or evidence that cannot be worked.
pub fn simulate(
    begun: &JobState,
    knowledge: &Knowledge,
    plan: &Plan,
    done: impl Fn(usize) + Sync,
) -> Result<Report, SimulateError> {
    if plan.engines < 2 {
        return Err(SimulateError::Plan("two engines are the least that can be compared; ask for more".to_owned()));
    }
    if !(0.0..=3.0).contains(&plan.spread) {
        return Err(SimulateError::Plan(format!(
            "a spread of {} is not from 0 to 3; 0.3 is a little off, 1 is far off",
            plan.spread
        )));
    }
    let layout = begun.layout.as_ref().ok_or(WorkUpError::NoEngine)?;
    let list = knowledge.checklists.first().ok_or(SimulateError::NoList)?;
    let begun = only_told(begun);
    let told = told(&begun, knowledge);
    let net = network::engine_net(layout, &told, knowledge);
    let blocks = money::blocks(&net, layout, knowledge);
    let remembered = Remembered::default();
    let shop = Shop { knowledge, layout, net: &net, blocks: &blocks, begun: &begun, list, remembered: &remembered };
    let models = if plan.spread > 0.0 { plan.engines.div_ceil(ENGINES_PER_MODEL) } else { 1 };
    let per_model = if plan.spread > 0.0 { ENGINES_PER_MODEL } else { plan.engines };
    let models: Vec<Model<'_>> = (0..models)
        .map(|m| {
            let count = per_model.min(plan.engines - m * per_model);
            Model::drawn(knowledge, layout, &told, plan, m, count)
        })
        .collect::<Result<_, LanesError>>()?;
    let engines: Vec<(&Model<'_>, usize)> = models.iter().flat_map(|m| (0..m.count()).map(move |e| (m, e))).collect();
    let counted = AtomicUsize::new(0);
    let played: Vec<Played> = engines
        .into_par_iter()
        .map(|(model, engine)| {
            let played = shop.every_way(&model.engine(engine))?;
            done(counted.fetch_add(1, Ordering::Relaxed) + 1);
            Ok(played)
        })
        .collect::<Result<_, LanesError>>()?;
    let causes = knowledge.causes.iter().map(|c| c.name.clone());
    let names: Vec<String> = causes.chain(knowledge.conditions.iter().map(|c| c.name.clone())).collect();
    let rate = begun.rates.labour_rate.as_ref().map(|m| (m.currency().code().to_owned(), m.to_f64()));
    let believed = plan.spread <= 0.0;
    let line = |(place, way)| line(place, way, believed, &played, rate.clone());
    let ways = Way::ALL.into_iter().enumerate().map(line).collect();
    Ok(Report {
        engine: layout.in_words(),
        knowledge: knowledge.version.as_str().to_owned(),
        engines: played.len(),
        seed: plan.seed,
        spread: plan.spread,
        list: list.name.clone(),
        ways,
        honesty: Honesty::of(&played, plan.seed, &names),
    })
}

/// The job as it was before anybody looked at the engine: what was told, and nothing that was read, opened or decided.
fn only_told(begun: &JobState) -> JobState {
    JobState {
        job: begun.job,
        title: begun.title.clone(),
        opened_at: begun.opened_at,
        layout: begun.layout.clone(),
        vehicle: begun.vehicle.clone(),
        attributes: begun.attributes.clone(),
        rates: begun.rates.clone(),
        quotes: begun.quotes.clone(),
        limits: begun.limits.clone(),
        ..JobState::default()
    }
}

/// What a way came to. `believed`: whether the engines come from the network that the shop believes; then what is expected of a
/// choice is what it costs on average, and savings are counted with that: the same mean with far less chance in it.
fn line(place: usize, way: Way, believed: bool, played: &[Played], unit: Option<(String, f64)>) -> WayLine {
    let n = count(played.len());
    let of = |p: &Played| p.ways.get(place).copied().unwrap_or_default();
    let mean = |f: &dyn Fn(&play::Bill) -> f64| played.iter().map(|p| f(&of(p))).sum::<f64>() / n;
    let knows_all = matches!(way, Way::AllKnown | Way::EveryCheck);
    let total = |bill: play::Bill| if believed && !knows_all { bill.checks + bill.expected } else { bill.total() };
    let advice = |p: &Played| total(p.ways.get(1).copied().unwrap_or_default());
    let saved: Vec<f64> = played.iter().map(|p| total(of(p)) - advice(p)).collect();
    WayLine {
        way,
        words: way.words(),
        total: mean(&|b| b.total()),
        checks: mean(&|b| b.checks),
        option: mean(&|b| b.option),
        readings: mean(&|b| count(b.readings)),
        right: 100.0 * mean(&|b| f64::from(u8::from(b.right))),
        advice_saves: Range::of_mean(&saved),
        unit,
    }
}

fn count(n: usize) -> f64 {
    u32::try_from(n).map_or(f64::MAX, f64::from)
}

/// What is stated of every variable of an engine that somebody may ask about, and whether it was so.
fn events(shop: &Shop<'_>, model: &Model<'_>, states: &[u8], stated: &[f64], oracle: &[f64]) -> Vec<Event> {
    let helper = |id: &str| shop.knowledge.condition(id).is_some_and(|c| c.helper);
    shop.net
        .what
        .iter()
        .enumerate()
        .filter_map(|(index, what)| {
            let kind = match what {
                network::What::Cause(id) => id,
                network::What::Condition(id, _) if !helper(id) => id,
                network::What::Condition(..) => return None,
            };
            let kind = model.kind(kind)?;
            let (stated, oracle) = (*stated.get(index)?, *oracle.get(index)?);
            Some(Event { kind, stated, oracle, seen: *states.get(index)? > 0 })
        })
        .collect()
}

/// Whether a finding came out as a sound engine's would.
fn at_its_best(finding: &crate::Finding, knowledge: &Knowledge) -> bool {
    let reading = knowledge.reading(&finding.check, &finding.reading);
    reading.zip(finding.seen.as_ref()).is_some_and(|(reading, seen)| beliefs::is_best(reading, seen))
}
