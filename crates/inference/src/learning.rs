//! Shares and reliabilities learnt from records of which some are known whole and some only in part.
//!
//! A thing is in one of several states; each record says which of them are still possible and what some tests showed. What
//! was known before stands as counts: the shares as a Dirichlet worth so many records, the chance of a positive test in each
//! state as a beta worth so many. Records that leave several states possible are summed over every way to complete them
//! ([`exact`]), or, where those are too many or records count in part, by expectation and maximisation with the same counts
//! ([`by_expectation`]). [`learnt`] takes whichever applies.
//!
//! Beside it: how odd a count is under what was known before ([`tail`]), and whether what was learnt foretells a record that it has
//! not seen better than what was known before ([`gain`]).

use statrs::function::beta::ln_beta;
use statrs::function::gamma::ln_gamma;

/// Most completions that are summed one by one \[ours\].
pub const MOST_COMPLETIONS: f64 = 100_000.0;
/// Rounds of expectation and maximisation at most \[ours\].
const ROUNDS: usize = 2_000;
/// A round that moves no figure by more than this is the last \[ours\].
const STILL: f64 = 1e-12;

/// What is known before any record.
///
/// # Shapes
/// `shares`: one per state, summing to one; `tests`: one per test.
#[derive(Debug, Clone, PartialEq)]
pub struct Known {
    /// Share of each state.
    pub shares: Vec<f64>,
    /// How many records these shares are worth.
    pub worth: f64,
    /// What is known of each test.
    pub tests: Vec<Test>,
}

/// What is known of one test.
///
/// # Shapes
/// both lists: one per state
#[derive(Debug, Clone, PartialEq)]
pub struct Test {
    /// Chance that it is positive in each state, strictly between 0 and 1.
    pub positive: Vec<f64>,
    /// How many records each of these chances is worth.
    pub worth: Vec<f64>,
}

/// One record.
///
/// # Shapes
/// `possible`: one per state, one of them true at least; `results`: one per test.
#[derive(Debug, Clone, PartialEq)]
pub struct Record {
    /// Which states it leaves possible; a single one is known.
    pub possible: Vec<bool>,
    /// What each test showed, where it was done.
    pub results: Vec<Option<bool>>,
    /// How much it counts; 1 for a whole one.
    pub weight: f64,
}

impl Record {
    /// The one state that is possible, where there is one only.
    #[must_use]
    pub fn known(&self) -> Option<usize> {
        let mut possible = self.possible.iter().enumerate().filter(|(_, p)| **p).map(|(state, _)| state);
        possible.next().filter(|_| possible.next().is_none())
    }
}

/// What records make of what was known.
#[derive(Debug, Clone, PartialEq)]
pub struct Learnt {
    /// Mean share of each state.
    pub shares: Vec<f64>,
    /// Per test: mean chance that it is positive, by state.
    pub positive: Vec<Vec<f64>>,
    /// Whether every completion was summed.
    pub exact: bool,
}

/// Why records cannot be learnt from.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum LearningError {
    /// A list has another length than there are states or tests, or a figure is no chance.
    #[error("{what} is wrong: {why}")]
    Malformed {
        /// Which list.
        what: String,
        /// What is wrong with it.
        why: String,
    },
}

fn malformed(what: impl Into<String>, why: impl Into<String>) -> LearningError {
    LearningError::Malformed { what: what.into(), why: why.into() }
}

fn checked(known: &Known, records: &[Record]) -> Result<(), LearningError> {
    let states = known.shares.len();
    if states < 2 {
        return Err(malformed("the list of states", "expected two or more"));
    }
    let share = |p: &f64| p.is_finite() && *p >= 0.0;
    if !known.shares.iter().all(share) || (known.shares.iter().copied().sum::<f64>() - 1.0).abs() > 1e-9 {
        return Err(malformed("the shares", "expected chances that sum to one"));
    }
    let worth = |w: f64| w.is_finite() && w > 0.0;
    if !worth(known.worth) || !known.tests.iter().flat_map(|t| &t.worth).all(|w| worth(*w)) {
        return Err(malformed("the worth in records", "expected a number above 0"));
    }
    for (test, t) in known.tests.iter().enumerate() {
        if t.positive.len() != states || t.worth.len() != states || !t.positive.iter().all(|p| *p > 0.0 && *p < 1.0) {
            return Err(malformed(format!("test number {test}"), format!("expected {states} chances inside 0 and 1")));
        }
    }
    for (number, record) in records.iter().enumerate() {
        if record.possible.len() != states || record.results.len() != known.tests.len() {
            let why = format!("expected {states} states and {} tests", known.tests.len());
            return Err(malformed(format!("record number {number}"), why));
        }
        // A state that has no share before has none after: a record of nothing else cannot be.
        if !record.possible.iter().zip(&known.shares).any(|(possible, share)| *possible && *share > 0.0) {
            return Err(malformed(format!("record number {number}"), "leaves no state possible"));
        }
        if !(record.weight.is_finite() && record.weight > 0.0) {
            return Err(malformed(format!("record number {number}"), "expected a weight above 0"));
        }
    }
    Ok(())
}

/// Counts of states, and of results of each test in each state.
#[derive(Debug, Clone)]
struct Counts {
    states: Vec<f64>,
    /// Per test and state: negative and positive.
    tests: Vec<Vec<[f64; 2]>>,
}

impl Counts {
    fn none(known: &Known) -> Self {
        let states = known.shares.len();
        Self { states: vec![0.0; states], tests: vec![vec![[0.0; 2]; states]; known.tests.len()] }
    }

    fn add(&mut self, record: &Record, state: usize, weight: f64) {
        if let Some(count) = self.states.get_mut(state) {
            *count += weight;
        }
        for (cells, result) in self.tests.iter_mut().zip(&record.results) {
            if let (Some(cell), Some(result)) = (cells.get_mut(state), result) {
                let [no, yes] = cell;
                *if *result { yes } else { no } += weight;
            }
        }
    }

    /// Mean shares and chances under these counts and what was known.
    fn means(&self, known: &Known) -> (Vec<f64>, Vec<Vec<f64>>) {
        let all = known.worth + self.states.iter().copied().sum::<f64>();
        let shares = known.shares.iter().zip(&self.states).map(|(p, n)| (p * known.worth + n) / all).collect();
        let positive = known
            .tests
            .iter()
            .zip(&self.tests)
            .map(|(test, cells)| {
                let mean = |((p, worth), [no, yes]): ((&f64, &f64), &[f64; 2])| (p * worth + yes) / (worth + no + yes);
                test.positive.iter().zip(&test.worth).zip(cells).map(mean).collect()
            })
            .collect();
        (shares, positive)
    }

    /// Logarithm of the probability of records completed so, but for what does not hang on how they are completed.
    fn ln_weight(&self, known: &Known) -> f64 {
        let shares = known.shares.iter().zip(&self.states).map(|(p, n)| {
            let a = p * known.worth;
            if *n > 0.0 { ln_gamma(a + n) - ln_gamma(a) } else { 0.0 }
        });
        let tests = known.tests.iter().zip(&self.tests).flat_map(|(test, cells)| {
            test.positive.iter().zip(&test.worth).zip(cells).map(|((p, worth), [no, yes])| {
                let (a, b) = (p * worth, (1.0 - p) * worth);
                if no + yes > 0.0 { ln_beta(a + yes, b + no) - ln_beta(a, b) } else { 0.0 }
            })
        });
        shares.chain(tests).sum::<f64>()
    }
}

/// In how many ways the records can be completed.
#[must_use]
pub fn completions(records: &[Record]) -> f64 {
    let ways = |record: &Record| record.possible.iter().filter(|p| **p).map(|_| 1.0).sum::<f64>();
    records.iter().map(ways).product()
}

/// What the records say, each completion of the partly known ones weighed by its exact probability; nothing where a record
/// counts in part or there are more completions than [`MOST_COMPLETIONS`].
///
/// # Errors
/// Lists whose lengths do not fit, and figures that are no chances.
pub fn exact(known: &Known, records: &[Record]) -> Result<Option<Learnt>, LearningError> {
    checked(known, records)?;
    // Whether a record counts whole is a matter of how it was set, not of arithmetic.
    #[expect(clippy::float_cmp, reason = "a whole record has the weight 1 that it was given")]
    let whole = records.iter().all(|r| r.weight == 1.0);
    if !whole || completions(records) > MOST_COMPLETIONS {
        return Ok(None);
    }
    let mut fixed = Counts::none(known);
    let mut open: Vec<(&Record, Vec<usize>)> = Vec::new();
    for record in records {
        match record.known() {
            Some(state) => fixed.add(record, state, 1.0),
            None => {
                let share = |state: &usize| known.shares.get(*state).is_some_and(|p| *p > 0.0);
                let states = (0..known.shares.len()).filter(|s| record.possible.get(*s) == Some(&true));
                open.push((record, states.filter(share).collect()));
            }
        }
    }
    let mut turn = vec![0_usize; open.len()];
    let mut ways: Vec<(f64, Counts)> = Vec::new();
    loop {
        let mut counts = fixed.clone();
        for ((record, states), at) in open.iter().zip(&turn) {
            if let Some(state) = states.get(*at) {
                counts.add(record, *state, 1.0);
            }
        }
        ways.push((counts.ln_weight(known), counts));
        // The next completion, as an odometer turns.
        let next = turn.iter_mut().zip(&open).find_map(|(at, (_, states))| {
            *at += 1;
            if *at < states.len() {
                return Some(());
            }
            *at = 0;
            None
        });
        if next.is_none() {
            break;
        }
    }
    let most = ways.iter().map(|(w, _)| *w).fold(f64::NEG_INFINITY, f64::max);
    let total = ways.iter().map(|(w, _)| (w - most).exp()).sum::<f64>();
    let mut shares = vec![0.0; known.shares.len()];
    let mut positive = vec![vec![0.0; known.shares.len()]; known.tests.len()];
    for (ln, counts) in &ways {
        let weight = (ln - most).exp() / total;
        let (s, p) = counts.means(known);
        shares.iter_mut().zip(s).for_each(|(sum, one)| *sum += weight * one);
        for (sums, ones) in positive.iter_mut().zip(p) {
            sums.iter_mut().zip(ones).for_each(|(sum, one)| *sum += weight * one);
        }
    }
    Ok(Some(Learnt { shares, positive, exact: true }))
}

/// What the records say by expectation and maximisation with what was known as counts beside them.
///
/// # Errors
/// Lists whose lengths do not fit, and figures that are no chances.
pub fn by_expectation(known: &Known, records: &[Record]) -> Result<Learnt, LearningError> {
    checked(known, records)?;
    let (mut shares, mut positive) = Counts::none(known).means(known);
    for _ in 0..ROUNDS {
        let mut counts = Counts::none(known);
        for record in records {
            let chances: Vec<f64> = (0..known.shares.len())
                .map(|state| {
                    if record.possible.get(state) != Some(&true) {
                        return 0.0;
                    }
                    let results = positive.iter().zip(&record.results).map(|(test, result)| {
                        let p = test.get(state).copied().unwrap_or(0.5);
                        result.map_or(1.0, |yes| if yes { p } else { 1.0 - p })
                    });
                    shares.get(state).copied().unwrap_or(0.0) * results.product::<f64>()
                })
                .collect();
            let total = chances.iter().copied().sum::<f64>();
            for (state, chance) in chances.iter().enumerate().filter(|(_, c)| **c > 0.0) {
                counts.add(record, state, record.weight * chance / total);
            }
        }
        let (s, p) = counts.means(known);
        let moved = s
            .iter()
            .chain(p.iter().flatten())
            .zip(shares.iter().chain(positive.iter().flatten()))
            .map(|(new, old)| (new - old).abs())
            .fold(0.0, f64::max);
        (shares, positive) = (s, p);
        if moved <= STILL {
            break;
        }
    }
    Ok(Learnt { shares, positive, exact: false })
}

/// What the records say: exactly where that can be summed, else by expectation and maximisation.
///
/// # Errors
/// Lists whose lengths do not fit, and figures that are no chances.
pub fn learnt(known: &Known, records: &[Record]) -> Result<Learnt, LearningError> {
    match exact(known, records)? {
        Some(learnt) => Ok(learnt),
        None => by_expectation(known, records),
    }
}

/// How odd `yes` of `all` is where a share of `mean` worth `worth` records was expected: the chance of a count as far out or
/// farther to the same side.
#[must_use]
pub fn tail(yes: u32, all: u32, mean: f64, worth: f64) -> f64 {
    let (a, b) = (mean * worth, (1.0 - mean) * worth);
    if a <= 0.0 || b <= 0.0 {
        return 1.0;
    }
    let chance = |k: u32| {
        let (k, n) = (f64::from(k), f64::from(all));
        let ways = ln_gamma(n + 1.0) - ln_gamma(k + 1.0) - ln_gamma(n - k + 1.0);
        (ways + ln_beta(a + k, b + n - k) - ln_beta(a, b)).exp()
    };
    let yes = yes.min(all);
    let below = (0..=yes).map(chance).sum::<f64>();
    let above = (yes..=all).map(chance).sum::<f64>();
    below.min(above).min(1.0)
}

/// What learning gained in foretelling records.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gain {
    /// Mean gain in the logarithm of the chance given to what was found, in nats a record.
    pub mean: f64,
    /// Its standard error; infinite for a single record.
    pub error: f64,
    /// How much the records count together.
    pub records: f64,
}

impl Gain {
    /// Whether learning foretells better, by more than one standard error.
    #[must_use]
    pub fn speaks_for(&self) -> bool {
        self.mean > self.error
    }
}

/// What the shares learnt from the other known records gain in foretelling each known record, against what was known before;
/// nothing where no record is known.
///
/// # Errors
/// Lists whose lengths do not fit, and figures that are no chances.
pub fn gain(known: &Known, records: &[Record]) -> Result<Option<Gain>, LearningError> {
    checked(known, records)?;
    let seen: Vec<(usize, f64)> = records.iter().filter_map(|r| Some((r.known()?, r.weight))).collect();
    let mut counts = vec![0.0; known.shares.len()];
    for (state, weight) in &seen {
        if let Some(count) = counts.get_mut(*state) {
            *count += weight;
        }
    }
    let all = counts.iter().copied().sum::<f64>();
    if all <= 0.0 {
        return Ok(None);
    }
    let gained = |(state, weight): &(usize, f64)| {
        let before = known.shares.get(*state).copied().unwrap_or(0.0);
        let others = counts.get(*state).copied().unwrap_or(0.0) - weight;
        let now = (before * known.worth + others) / (known.worth + all - weight);
        (now.ln() - before.ln(), *weight)
    };
    let each: Vec<(f64, f64)> = seen.iter().map(gained).collect();
    let mean = each.iter().map(|(g, w)| g * w).sum::<f64>() / all;
    let squares = each.iter().map(|(g, w)| w * (g - mean).powi(2)).sum::<f64>();
    let error = if all > 1.0 { (squares / (all - 1.0) / all).sqrt() } else { f64::INFINITY };
    Ok(Some(Gain { mean, error, records: all }))
}
