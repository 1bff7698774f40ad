//! What a shop's own finished jobs say of the odds and of its checks.
//!
//! A job counts when somebody has told what a condition turned out to be, or when it is closed; what was not told leaves
//! every state possible, and its checks still count, so that engines nobody opened speak too. Only what a person told is a
//! label: no belief of the program's own ever is. The last word told of a place counts, so that a comeback puts an earlier
//! one right; a job with several places of one kind counts once.
//!
//! What was known before is worth [`WORTH_SHARES`] and [`WORTH_CHECK`] jobs. A figure is used where [`FEWEST`] jobs told it and it
//! foretells the jobs it has not seen better than the book, by more than one standard error; a check that shows another picture
//! than the book by more than chance is asked about and not averaged. Odds that are used become factors on the states before any
//! check: the smallest change of the book (in relative entropy) that brings its shares to those learnt.

use std::collections::BTreeMap;

use anatomy::{EngineLayout, Scope};
use inference::lanes::{Engine, Extra, LanesError};
use inference::learning::{Gain, Known, LearningError, Record, Test, gain, learnt, tail};
use jiff::Timestamp;
use knowledge::{Given, Knowledge, Observed, ReadingKind};
use logbook::JobState;
use serde::Serialize;

use crate::findings::{self, Finding};
use crate::network::{self, Cut, EngineNet, What};
use crate::{beliefs, told};

/// How many jobs the book's shares are worth \[ours\].
pub const WORTH_SHARES: f64 = 8.0;
/// How many jobs the book's chance of a check is worth \[ours\].
pub const WORTH_CHECK: f64 = 12.0;
/// A figure told by fewer jobs than this is not used \[ours\].
pub const FEWEST: f64 = 5.0;
/// All jobs together are worth so many at most \[ours\].
pub const MOST: f64 = 200.0;
/// A job is worth half as much with every so many years \[ours\].
pub const HALVED_YEARS: i32 = 3;
/// A count less likely than this under the book is odd \[ours\].
pub const ODD: f64 = 0.05;
/// No chance of a check is surer than this \[ours\].
const SURE: f64 = 1e-4;
/// No factor on odds is smaller than this \[ours\].
const LEAST_FACTOR: f64 = 1e-6;
/// Factors are set in so many rounds at most, until shares stand this near to what they should be \[ours\].
const ROUNDS: usize = 300;
const NEAR: f64 = 1e-4;
/// A step that went too far is made so much smaller, one that did not so much larger \[ours\].
const BACK: f64 = 0.5;
const ON: f64 = 1.1;

/// Whether a figure that was learnt is used, and if not, why.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    /// It foretells better than the book.
    Used,
    /// Too few jobs told it.
    TooFew,
    /// It does not foretell better than the book.
    BookForetells,
    /// The count is odd under the book: the check or how it is done differs here.
    Differs,
}

impl Standing {
    /// Why, in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Used => "used",
            Self::TooFew => "too few jobs told it; the book stays",
            Self::BookForetells => "does not foretell these jobs better; the book stays",
            Self::Differs => "shows another picture than the book: look how the check is done here; the book stays",
        }
    }
}

/// What the jobs say of a cause, or of a condition at one kind of place.
///
/// # Shapes
/// all lists: one entry per state, mildest first
#[derive(Debug, Clone, Serialize)]
pub struct OddsLesson {
    /// The cause or condition.
    pub of: String,
    /// Its name.
    pub name: String,
    /// The kind of place, for a condition.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub scope: Option<Scope>,
    /// The states.
    pub states: Vec<String>,
    /// How many jobs were told to be in each; a job with several places counts once.
    pub told: Vec<f64>,
    /// How many further jobs have checks of it and were not told.
    pub open: f64,
    /// The share the book gives these jobs before any check.
    pub book: Vec<f64>,
    /// The share learnt.
    pub learnt: Vec<f64>,
    /// How odd the told count of any state but the mildest is under the book; 1 where too few jobs told it.
    pub odd: f64,
    /// Mean gain in foretelling, in nats a job, and its standard error; nothing where no job told it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gain: Option<[f64; 2]>,
    /// Whether it is used.
    pub standing: Standing,
    /// By what the chance of each state is multiplied before any check; all 1 where it is not used.
    pub factor: Vec<f64>,
}

/// What the jobs say of one reading in one state of what it looks at.
#[derive(Debug, Clone, Serialize)]
pub struct ShowingLesson {
    /// The check.
    pub check: String,
    /// Its name.
    pub check_name: String,
    /// The reading.
    pub reading: String,
    /// The cause or condition.
    pub of: String,
    /// Its name.
    pub name: String,
    /// Its state.
    pub state: String,
    /// How many jobs in this state showed another outcome than the best one.
    pub showed: u32,
    /// How many jobs in this state had the check.
    pub told: u32,
    /// The chance of that by the book.
    pub book: f64,
    /// The chance learnt.
    pub learnt: f64,
    /// How odd the count is under the book.
    pub odd: f64,
    /// Whether it is used.
    pub standing: Standing,
    /// Whether the state is the mildest, so that the row is the background of the reading.
    pub mildest: bool,
    /// Chances of the outcomes that this state alone would bring, best first; empty for a reading that is a figure.
    pub row: Vec<f64>,
}

/// All that the jobs say.
#[derive(Debug, Clone, Serialize)]
pub struct Lesson {
    /// How many jobs count.
    pub jobs: usize,
    /// What they weigh together, older ones less.
    pub weight: f64,
    /// What they say of causes and conditions.
    pub odds: Vec<OddsLesson>,
    /// What they say of checks.
    pub showings: Vec<ShowingLesson>,
    /// Jobs that do not count: title and why.
    pub left_out: Vec<(String, String)>,
}

/// Why jobs cannot be learnt from.
#[derive(Debug, thiserror::Error)]
pub enum LearnError {
    /// The sums of an engine cannot be worked.
    #[error("the network of {job} cannot be worked: {why}")]
    Network {
        /// The job.
        job: String,
        /// What is wrong.
        why: LanesError,
    },
    /// The sums of learning cannot be worked.
    #[error("what was told of {of} cannot be counted: {why}")]
    Sums {
        /// The cause or condition.
        of: String,
        /// What is wrong.
        why: LearningError,
    },
}

/// Why a job does not count, where it does not.
#[must_use]
pub fn left_out(state: &JobState) -> Option<&'static str> {
    if state.layout.is_none() {
        return Some("its engine is not described");
    }
    if crate::practice::is_practice(state) {
        return Some("it is for practice");
    }
    let known = state.closed.is_some() || !state.outcomes.is_empty();
    (!known).then_some("it is open, and what its parts turned out to be is not told")
}

/// A cause, or a condition at one kind of place.
type Key = (String, Option<Scope>);

/// One description of an engine with all that hangs on it alone.
struct Sort {
    layout: EngineLayout,
    net: EngineNet,
    engine: Engine,
    /// Chances of every variable by the book, before any check.
    before: Vec<Vec<f64>>,
    /// What the jobs with this engine weigh.
    weight: f64,
}

impl Sort {
    /// The variables of a key.
    fn of(&self, key: &Key) -> Vec<usize> {
        match key.1 {
            None => self.net.causes.get(&key.0).copied().into_iter().collect(),
            Some(scope) => {
                let of = self.net.sites.iter().filter(|((id, at), _)| *id == key.0 && at.scope() == scope);
                of.map(|(_, variable)| *variable).collect()
            }
        }
    }

    fn key_of(&self, variable: usize) -> Option<Key> {
        Some(match self.net.what.get(variable)? {
            What::Cause(id) => (id.clone(), None),
            What::Condition(id, position) => (id.clone(), Some(position.scope())),
        })
    }
}

/// One place of a job: what it was told to be, and what readings showed there.
#[derive(Default)]
struct Seen {
    told: Option<usize>,
    /// By check and reading: whether it showed another outcome than the best one.
    showed: BTreeMap<(String, String), bool>,
}

/// A job as far as it is learnt from.
struct Lived {
    sort: usize,
    weight: f64,
    /// By variable.
    places: BTreeMap<usize, Seen>,
}

/// Learns from jobs against the book: knowledge without what was learnt before.
///
/// # Errors
/// An engine whose sums cannot be worked.
pub fn learn(jobs: &[JobState], book: &Knowledge, now: Timestamp) -> Result<Lesson, LearnError> {
    let mut out = Vec::new();
    let mut sorts: BTreeMap<String, usize> = BTreeMap::new();
    let mut kinds: Vec<Sort> = Vec::new();
    let mut lived: Vec<Lived> = Vec::new();
    for state in jobs {
        let title = || state.title.clone().unwrap_or_default();
        if let Some(why) = left_out(state) {
            out.push((title(), why.to_owned()));
            continue;
        }
        let Some(layout) = &state.layout else { continue };
        let told = told(state, book);
        let net = network::engine_net(layout, &told, book);
        let places = places_of(state, layout, &net, book);
        let about = format!("{:?}", (layout, &net.attributes));
        let sort = match sorts.get(&about) {
            Some(sort) => *sort,
            None => {
                let wrong = |why| LearnError::Network { job: title(), why };
                let engine = Engine::build(&net.net, &[beliefs::complaint(&net, book)]).map_err(wrong)?;
                let run = engine.run(&Extra::default()).map_err(wrong)?;
                let before = (0..net.what.len()).map(|v| run.marginal(v)).collect();
                drop(run);
                sorts.insert(about, kinds.len());
                kinds.push(Sort { layout: layout.clone(), net, engine, before, weight: 0.0 });
                kinds.len() - 1
            }
        };
        lived.push(Lived { sort, weight: faded(state, now), places });
    }
    let all: f64 = lived.iter().map(|l| l.weight).sum();
    let scale = if all > MOST { MOST / all } else { 1.0 };
    for one in &mut lived {
        one.weight *= scale;
        if let Some(sort) = kinds.get_mut(one.sort) {
            sort.weight += one.weight;
        }
    }
    let keys: std::collections::BTreeSet<Key> = lived
        .iter()
        .flat_map(|l| {
            let told = l.places.iter().filter(|(_, seen)| seen.told.is_some());
            told.filter_map(|(variable, _)| kinds.get(l.sort)?.key_of(*variable))
        })
        .collect();
    let mut odds = Vec::new();
    let mut showings = Vec::new();
    for key in &keys {
        let (one, more) = of_key(key, &lived, &kinds, book)?;
        odds.push(one);
        showings.extend(more);
    }
    set_factors(&mut odds, &kinds, book)?;
    Ok(Lesson { jobs: lived.len(), weight: all * scale, odds, showings, left_out: out })
}

/// What a job is worth by its age: half with every [`HALVED_YEARS`] full years since it was last told anything.
fn faded(state: &JobState, now: Timestamp) -> f64 {
    let told = state.outcomes.iter().map(|o| o.made_at);
    let last = told.chain(state.closed.iter().map(|c| c.made_at)).chain(state.opened_at).max();
    let days = last.map_or(0, |last| now.duration_since(last).as_hours() / 24);
    let times = days.max(0) / (365 * i64::from(HALVED_YEARS));
    0.5_f64.powi(i32::try_from(times.min(30)).unwrap_or(30))
}

/// What was told and read of every variable of a job.
fn places_of(state: &JobState, layout: &EngineLayout, net: &EngineNet, book: &Knowledge) -> BTreeMap<usize, Seen> {
    let mut places: BTreeMap<usize, Seen> = BTreeMap::new();
    for outcome in &state.outcomes {
        let variable = match net.causes.get(&outcome.condition) {
            Some(cause) => Some(*cause),
            None => net.sites.get(&(outcome.condition.clone(), outcome.position)).copied(),
        };
        let Some(variable) = variable else { continue };
        let states = net.net.variables.get(variable).map_or(&[][..], |v| &v.states);
        if let Some(place) = states.iter().position(|s| *s == outcome.state) {
            places.entry(variable).or_default().told = Some(place);
        }
    }
    let (findings, _) = findings::of_state(state, layout, net, book);
    let counts = |f: &&Finding| !f.after_repair && !f.measure_again && !beliefs::outdone(f, &findings);
    for finding in findings.iter().filter(counts) {
        let (Some(seen), Some(reading)) = (&finding.seen, book.reading(&finding.check, &finding.reading)) else {
            continue;
        };
        let showed = !beliefs::is_best(reading, seen);
        for (variable, _) in network::observed(net, layout, reading, &finding.position) {
            let about = (finding.check.clone(), finding.reading.clone());
            // Of several readings the worst counts: one look that shows it has shown it.
            *places.entry(variable).or_default().showed.entry(about).or_default() |= showed;
        }
    }
    places
}

/// What the jobs say of one key and of the checks that look at it.
fn of_key(
    key: &Key,
    lived: &[Lived],
    kinds: &[Sort],
    book: &Knowledge,
) -> Result<(OddsLesson, Vec<ShowingLesson>), LearnError> {
    struct Place<'l> {
        job: usize,
        sort: usize,
        variable: usize,
        weight: f64,
        seen: &'l Seen,
    }
    let states = book.states_of(&key.0).unwrap_or_default().to_vec();
    let mut found: Vec<Place<'_>> = Vec::new();
    let mut open = 0.0;
    for (number, job) in lived.iter().enumerate() {
        let Some(sort) = kinds.get(job.sort) else { continue };
        let here: Vec<(usize, &Seen)> =
            sort.of(key).into_iter().filter_map(|v| Some((v, job.places.get(&v)?))).collect();
        let weight = job.weight / here.iter().map(|_| 1.0).sum::<f64>();
        if here.iter().all(|(_, seen)| seen.told.is_none()) && !here.is_empty() {
            open += job.weight;
        }
        found.extend(here.into_iter().map(|(variable, seen)| Place {
            job: number,
            sort: job.sort,
            variable,
            weight,
            seen,
        }));
    }
    let shares = mean(
        states.len(),
        found.iter().filter_map(|p| Some((p.weight, kinds.get(p.sort)?.before.get(p.variable)?.as_slice()))),
    );
    // Every reading that was taken of it, by check and reading, in their own order.
    let about: Vec<(String, String)> = {
        let all: std::collections::BTreeSet<&(String, String)> =
            found.iter().flat_map(|p| p.seen.showed.keys()).collect();
        all.into_iter().cloned().collect()
    };
    let mut tests = Vec::new();
    for (check, reading) in &about {
        // The places of one sort of engine fare alike: the first with this reading speaks for all.
        let mut by_sort: BTreeMap<usize, (usize, f64)> = BTreeMap::new();
        for place in found.iter().filter(|p| p.seen.showed.contains_key(&(check.clone(), reading.clone()))) {
            by_sort.entry(place.sort).or_insert((place.variable, 0.0)).1 += place.weight;
        }
        let mut each = Vec::new();
        for (sort, (variable, weight)) in by_sort {
            let Some(sort) = kinds.get(sort) else { continue };
            each.push((weight, sort.showing(variable, check, reading, states.len(), book)?));
        }
        let positive = mean(states.len(), each.iter().map(|(w, list)| (*w, list.as_slice())));
        let positive = positive.into_iter().map(|p| p.clamp(SURE, 1.0 - SURE)).collect();
        tests.push(Test { positive, worth: vec![WORTH_CHECK; states.len()] });
    }
    let records: Vec<Record> = found
        .iter()
        .map(|place| Record {
            possible: (0..states.len()).map(|s| place.seen.told.is_none_or(|told| told == s)).collect(),
            results: about.iter().map(|a| place.seen.showed.get(a).copied()).collect(),
            weight: place.weight,
        })
        .collect();
    let known = Known { shares: shares.clone(), worth: WORTH_SHARES, tests };
    let wrong = |why| LearnError::Sums { of: key.0.clone(), why };
    let result = learnt(&known, &records).map_err(wrong)?;
    let told: Vec<f64> = (0..states.len())
        .map(|s| records.iter().filter(|r| r.known() == Some(s)).fold(0.0, |sum, r| sum + r.weight))
        .collect();
    let gained = gain(&known, &records).map_err(wrong)?;
    let all: f64 = told.iter().sum();
    let mild = shares.first().copied().unwrap_or(1.0);
    let name = book.name_of(&key.0).unwrap_or(&key.0).to_owned();
    let odds = OddsLesson {
        of: key.0.clone(),
        name: name.clone(),
        scope: key.1,
        factor: vec![1.0; states.len()],
        odd: if all + 1e-9 < FEWEST {
            1.0
        } else {
            tail(whole(all - told.first().copied().unwrap_or(0.0)), whole(all), 1.0 - mild, WORTH_SHARES)
        },
        standing: standing(all, gained, None),
        gain: gained.map(|g| [g.mean, g.error]),
        told,
        open,
        book: shares,
        learnt: result.shares,
        states: states.clone(),
    };
    let mut showings = Vec::new();
    for (place, (check, reading)) in about.iter().enumerate() {
        let (Some(test), Some(positive)) = (known.tests.get(place), result.positive.get(place)) else { continue };
        for (at, state) in states.iter().enumerate() {
            // By job: its weight, and how much of it showed; each of its places in this state counts alike.
            let mut by_job: BTreeMap<usize, [f64; 3]> = BTreeMap::new();
            for (place_of, record) in found.iter().zip(&records).filter(|(_, r)| r.known() == Some(at)) {
                let Some(Some(showed)) = record.results.get(place) else { continue };
                let job = lived.get(place_of.job).map_or(1.0, |job| job.weight);
                let cell = by_job.entry(place_of.job).or_insert([job, 0.0, 0.0]);
                cell[1] += if *showed { 1.0 } else { 0.0 };
                cell[2] += 1.0;
            }
            let all = by_job.values().fold(0.0, |sum, [job, ..]| sum + job);
            let yes = by_job.values().fold(0.0, |sum, [job, showed, places]| sum + job * showed / places);
            if all <= 0.0 {
                continue;
            }
            let (Some(by_book), Some(now)) = (test.positive.get(at), positive.get(at)) else { continue };
            let odd = tail(whole(yes), whole(all), *by_book, WORTH_CHECK);
            let two = Known { shares: vec![*by_book, 1.0 - by_book], worth: WORTH_CHECK, tests: Vec::new() };
            let of: Vec<Record> = [(true, yes), (false, all - yes)]
                .into_iter()
                .filter(|(_, weight)| *weight > 0.0)
                .flat_map(|(showed, weight)| pieces(showed, weight))
                .collect();
            let standing = standing(all, gain(&two, &of).map_err(wrong)?, Some(odd));
            let own = book.reading(check, reading).and_then(|r| own_row(r, &key.0, state, at == 0));
            let row = own.map_or_else(Vec::new, |own| moved(&own, *by_book, *now));
            showings.push(ShowingLesson {
                check: check.clone(),
                check_name: book.check(check).map_or_else(|| check.clone(), |c| c.name.clone()),
                reading: reading.clone(),
                of: key.0.clone(),
                name: name.clone(),
                state: state.clone(),
                showed: whole(yes),
                told: whole(all),
                book: *by_book,
                learnt: *now,
                odd,
                standing,
                mildest: at == 0,
                row,
            });
        }
    }
    Ok((odds, showings))
}

/// Whole records for a count, and one for what is left of it.
fn pieces(showed: bool, weight: f64) -> Vec<Record> {
    let record = |weight: f64| Record { possible: vec![showed, !showed], results: Vec::new(), weight };
    let left = weight.fract();
    (0..whole(weight.floor())).map(|_| record(1.0)).chain((left > 1e-9).then(|| record(left))).collect()
}

/// The nearest whole number of jobs.
fn whole(weight: f64) -> u32 {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a count of jobs, at most a few hundred"
    )]
    let count = weight.max(0.0).round() as u32;
    count
}

/// The mean of lists by weight; even where there are none.
fn mean<'l>(states: usize, lists: impl Iterator<Item = (f64, &'l [f64])>) -> Vec<f64> {
    let mut sum = vec![0.0; states];
    let mut all = 0.0;
    for (weight, list) in lists {
        all += weight;
        sum.iter_mut().zip(list).for_each(|(s, p)| *s += weight * p);
    }
    let even = 1.0 / sum.iter().map(|_| 1.0).sum::<f64>();
    sum.into_iter().map(|s| if all > 0.0 { s / all } else { even }).collect()
}

fn standing(all: f64, gained: Option<Gain>, odd: Option<f64>) -> Standing {
    if all + 1e-9 < FEWEST {
        Standing::TooFew
    } else if odd.is_some_and(|odd| odd < ODD) {
        Standing::Differs
    } else if gained.is_some_and(|g| g.speaks_for()) {
        Standing::Used
    } else {
        Standing::BookForetells
    }
}

/// The chances of the outcomes that a state alone brings by the book; nothing for a figure.
fn own_row(reading: &knowledge::Reading, of: &str, state: &str, mildest: bool) -> Option<Vec<f64>> {
    let (ReadingKind::Graded { outcomes, background } | ReadingKind::Nominal { outcomes, background }) = &reading.kind
    else {
        return None;
    };
    if mildest {
        return Some(background.clone());
    }
    let looked = reading.observes.iter().find(|o| match &o.of {
        Observed::Condition(id) | Observed::Cause(id) => id == of,
    })?;
    match looked.given.get(state) {
        Some(Given::Chances(row)) => Some(row.clone()),
        Some(Given::Normal(_)) => None,
        None => Some((0..outcomes.len()).map(|o| if o == 0 { 1.0 } else { 0.0 }).collect()),
    }
}

/// A row whose chance of the best outcome is moved so that the whole reading, in which other things speak too, moves from one
/// chance of another outcome to another.
fn moved(row: &[f64], from: f64, to: f64) -> Vec<f64> {
    let best = row.first().copied().unwrap_or(1.0);
    let now = (best * (1.0 - to) / (1.0 - from).max(SURE)).clamp(0.0, 1.0);
    let rest: f64 = row.iter().skip(1).sum();
    let share = |(outcome, p): (usize, &f64)| {
        if rest > 0.0 {
            p / rest * (1.0 - now)
        } else if outcome == 1 {
            1.0 - now
        } else {
            0.0
        }
    };
    std::iter::once(now).chain(row.iter().enumerate().skip(1).map(share)).collect()
}

impl Sort {
    /// The chance that a reading shows another outcome than the best one, in each state of a variable, with the complaint known
    /// and nothing else.
    fn showing(
        &self,
        variable: usize,
        check: &str,
        reading: &str,
        states: usize,
        book: &Knowledge,
    ) -> Result<Vec<f64>, LearnError> {
        let even = vec![0.5; states];
        let (Some(check), Some(reading)) = (book.check(check), book.reading(check, reading)) else { return Ok(even) };
        let looks = |at: &&anatomy::Position| {
            network::observed(&self.net, &self.layout, reading, at).iter().any(|(v, _)| *v == variable)
        };
        let sites = network::sites_of(&self.layout, check);
        let Some(at) = sites.iter().find(looks) else { return Ok(even) };
        let (cuts, _) = network::cuts(&self.net, &self.layout, reading, at);
        let Some(Cut { own, factors }) = cuts.first() else { return Ok(even) };
        let run = self
            .engine
            .run(&Extra::default())
            .map_err(|why| LearnError::Network { job: self.layout.in_words(), why })?;
        let one = |state: usize| -> Vec<f64> { (0..states).map(|s| if s == state { 1.0 } else { 0.0 }).collect() };
        let chance = |state: usize| {
            let there = run.probability(&[(variable, one(state))]);
            if there <= 0.0 {
                return 0.5;
            }
            let mut extra = Extra::default();
            extra.multiply(variable, &one(state));
            factors.iter().for_each(|(v, factor)| extra.multiply(*v, factor));
            let both: Vec<(usize, Vec<f64>)> = extra.factors.into_iter().collect();
            1.0 - own * run.probability(&both) / there
        };
        Ok((0..states).map(chance).collect())
    }
}

/// Sets the factors of what is used, causes first and parents before children, until the shares of the book stand where they
/// were learnt to be.
fn set_factors(odds: &mut [OddsLesson], kinds: &[Sort], book: &Knowledge) -> Result<(), LearnError> {
    let rank: BTreeMap<&str, usize> =
        network::parents_first(book).iter().enumerate().map(|(at, c)| (c.id.as_str(), at)).collect();
    let mut used: Vec<usize> =
        (0..odds.len()).filter(|i| odds.get(*i).is_some_and(|o| o.standing == Standing::Used)).collect();
    used.sort_by_key(|i| odds.get(*i).map(|o| (o.scope.is_some(), rank.get(o.of.as_str()).copied())));
    let key = |o: &OddsLesson| (o.of.clone(), o.scope);
    // Of all places of a key, not only of those that were told: the shares are moved by as much as those that were told.
    let at = |key: &Key, chances: &dyn Fn(&Sort, usize) -> Vec<f64>, states: usize| {
        let lists: Vec<(f64, Vec<f64>)> = kinds
            .iter()
            .flat_map(|sort| {
                let places = sort.of(key);
                let weight = sort.weight / places.iter().map(|_| 1.0).sum::<f64>();
                places.into_iter().map(move |v| (weight, chances(sort, v)))
            })
            .collect();
        mean(states, lists.iter().map(|(w, list)| (*w, list.as_slice())))
    };
    let mut want: BTreeMap<usize, Vec<f64>> = BTreeMap::new();
    for i in &used {
        let Some(o) = odds.get(*i) else { continue };
        let whole = at(&key(o), &|sort, v| sort.before.get(v).cloned().unwrap_or_default(), o.states.len());
        let ratio = o.learnt.iter().zip(&o.book).map(|(now, before)| if *before > 0.0 { now / before } else { 1.0 });
        let moved: Vec<f64> = whole.iter().zip(ratio).map(|(p, r)| p * r).collect();
        let total: f64 = moved.iter().sum();
        want.insert(*i, moved.into_iter().map(|p| p / total).collect());
    }
    // Places of one kind and links between kinds make a step act more than once: each kind's steps are halved where the last one
    // went too far and grow where it did not.
    let mut steps: BTreeMap<usize, (f64, Vec<f64>)> = used.iter().map(|i| (*i, (1.0, Vec::new()))).collect();
    for _ in 0..ROUNDS {
        let mut runs = Vec::new();
        for sort in kinds {
            let mut extra = Extra::default();
            for o in used.iter().filter_map(|i| odds.get(*i)) {
                sort.of(&key(o)).into_iter().for_each(|v| extra.multiply(v, &o.factor));
            }
            let asked: Vec<usize> = used.iter().filter_map(|i| odds.get(*i)).flat_map(|o| sort.of(&key(o))).collect();
            let run = sort.engine.run_for(&extra, &asked);
            runs.push(run.map_err(|why| LearnError::Network { job: sort.layout.in_words(), why })?);
        }
        let here = |sort: &Sort, v: usize| {
            let place = kinds.iter().position(|k| std::ptr::eq(k, sort));
            place.and_then(|p| runs.get(p)).map(|run| run.marginal(v)).unwrap_or_default()
        };
        let mut off: f64 = 0.0;
        for i in &used {
            let Some((o, target)) = odds.get(*i).zip(want.get(i)) else { continue };
            let now = at(&key(o), &here, o.states.len());
            off = now.iter().zip(target).map(|(a, b)| (a - b).abs()).fold(off, f64::max);
            let short: Vec<f64> =
                now.iter().zip(target).map(|(now, want)| if *now > 0.0 { (want / now).ln() } else { 0.0 }).collect();
            let Some((step, last)) = steps.get_mut(i) else { continue };
            // Weighed by what is wanted, so that a state that hardly occurs does not lead.
            let along: f64 = short.iter().zip(last.iter()).zip(target).map(|((a, b), w)| a * b * w).sum();
            if !last.is_empty() {
                *step = if along < 0.0 { *step * BACK } else { (*step * ON).min(1.0) };
            }
            let mut factor: Vec<f64> = o.factor.iter().zip(&short).map(|(f, s)| f * (s * *step).exp()).collect();
            *last = short;
            let most = factor.iter().copied().fold(0.0, f64::max);
            factor.iter_mut().for_each(|f| *f = (*f / most).max(LEAST_FACTOR));
            if let Some(o) = odds.get_mut(*i) {
                o.factor = factor;
            }
        }
        if off < NEAR {
            break;
        }
    }
    Ok(())
}

impl Lesson {
    /// How many figures are used.
    #[must_use]
    pub fn used(&self) -> usize {
        self.odds.iter().filter(|o| o.standing == Standing::Used).count() + self.rows().len()
    }

    /// The chances of checks that are used. A reading has one background: of several things that look at it and are sound, the one
    /// that most jobs told of sets it.
    fn rows(&self) -> Vec<&ShowingLesson> {
        let usable = |s: &&ShowingLesson| s.standing == Standing::Used && !s.row.is_empty();
        let mut out: Vec<&ShowingLesson> = Vec::new();
        for one in self.showings.iter().filter(usable) {
            let same =
                |s: &&&ShowingLesson| s.mildest && one.mildest && (&s.check, &s.reading) == (&one.check, &one.reading);
            match out.iter().position(|s| same(&s)) {
                Some(place) => {
                    if let Some(there) = out.get_mut(place).filter(|there| there.told < one.told) {
                        *there = one;
                    }
                }
                None => out.push(one),
            }
        }
        out
    }

    /// The figures that are used, as a knowledge file of the shop.
    #[must_use]
    pub fn file(&self, adopted: knowledge::Adopted) -> knowledge::learnt::File {
        let source = |jobs: f64| knowledge::Source {
            kind: knowledge::SourceKind::Elicited,
            reference: None,
            at: None,
            note: Some(format!("counted in {jobs:.0} of the shop's own jobs")),
        };
        let odds = self.odds.iter().filter(|o| o.standing == Standing::Used).map(|o| knowledge::Odds {
            of: o.of.clone(),
            scope: o.scope,
            book: rounded(&o.book),
            now: rounded(&o.learnt),
            told: o.told.iter().map(|t| (t * 100.0).round() / 100.0).collect(),
            factor: o.factor.clone(),
            source: source(o.told.iter().sum()),
        });
        let showings = self.rows().into_iter().map(|s| knowledge::Showing {
            check: s.check.clone(),
            reading: s.reading.clone(),
            of: s.of.clone(),
            state: s.state.clone(),
            book: s.book,
            now: s.learnt,
            showed: s.showed,
            told: s.told,
            row: s.row.clone(),
            source: source(f64::from(s.told)),
        });
        knowledge::learnt::File { learnt: vec![adopted], odds: odds.collect(), showing: showings.collect() }
    }
}

/// Shares with six decimals that still sum to one.
fn rounded(list: &[f64]) -> Vec<f64> {
    let mut out: Vec<f64> = list.iter().map(|p| (p * 1e6).round() / 1e6).collect();
    let off = 1.0 - out.iter().sum::<f64>();
    if let Some(first) = out.first_mut() {
        *first += off;
    }
    out
}

/// A condition that a finished job can tell the truth about.
#[derive(Debug, Clone, Serialize)]
pub struct ToTell {
    /// The condition.
    pub condition: String,
    /// Its name.
    pub name: String,
    /// Where.
    pub position: anatomy::Position,
    /// Where, in the names of this engine.
    pub place: String,
    /// The states it may have turned out to be in, mildest first.
    pub states: Vec<String>,
    /// The chance believed of any state but the mildest.
    pub p: f64,
}

/// Most conditions that are asked for at once \[ours\].
const ASKED: usize = 12;
/// A belief that readings moved by this much, or that stands at this much, is worth telling the end of \[ours\].
const MOVED: f64 = 0.02;
const LIKELY: f64 = 0.1;

/// What is worth telling of a job: what readings spoke of, for good or ill, and nobody has told the end of. What turned out to be
/// sound is asked for like what was bad, since a shop that tells only of trouble would learn that there is nothing else.
#[must_use]
pub fn to_tell(state: &JobState, case: &crate::Case, knowledge: &Knowledge) -> Vec<ToTell> {
    let told = |id: &str, at: &anatomy::Position| state.outcomes.iter().any(|o| o.condition == id && o.position == *at);
    let mut out: Vec<(f64, ToTell)> = case
        .conditions
        .iter()
        .filter(|b| knowledge.condition(&b.id).is_some_and(|c| !c.helper))
        .filter(|b| (b.p - b.before).abs() > MOVED || b.p > LIKELY)
        .filter_map(|b| {
            let position = b.position?;
            let one = ToTell {
                condition: b.id.clone(),
                name: b.name.clone(),
                position,
                place: b.place.clone(),
                states: b.states.iter().map(|(state, _)| state.clone()).collect(),
                p: b.p,
            };
            (!told(&b.id, &position)).then_some(((b.p - b.before).abs() + b.p, one))
        })
        .collect();
    out.sort_by(|(a, _), (b, _)| b.total_cmp(a));
    out.truncate(ASKED);
    out.into_iter().map(|(_, one)| one).collect()
}
