//! Knowledge that differs by chance from what a shop believes.

use std::collections::BTreeMap;

use inference::luck::Luck;
use knowledge::{Condition, Given, Knowledge, Modifier, Reading, ReadingKind, with_factor};

/// The logistic law has this spread for one of its scale.
const LOGISTIC: f64 = 1.813_799_364_234_217_8;

/// The same knowledge with every chance moved: of causes each state's chance by a factor, of all else the chance of "this
/// bad or milder" in log-odds, means of figures by as much of their spread. Places of one kind share one move.
pub(super) fn otherwise(knowledge: &Knowledge, spread: f64, luck: Luck) -> Knowledge {
    let mut other = knowledge.clone();
    if spread <= 0.0 {
        return other;
    }
    for cause in &mut other.causes {
        let luck = luck.at("cause").at(&cause.value.id);
        let lists =
            std::iter::once(&mut cause.value.prior).chain(cause.value.prior_by.iter_mut().map(|by| &mut by.prior));
        for chances in lists {
            multiplied(chances, spread, luck);
        }
        for (state, p) in (0..).zip(&mut cause.value.brings_in) {
            *p = moved(*p, spread * luck.at("brings-in").nth(state).normal());
        }
    }
    for condition in &mut other.conditions {
        condition_otherwise(&mut condition.value, spread, luck.at("condition"));
    }
    for check in &mut other.checks {
        let luck = luck.at("check").at(&check.value.id);
        for reading in &mut check.value.readings {
            reading_otherwise(reading, spread, luck.at(&reading.id.clone()));
        }
    }
    other
}

fn condition_otherwise(condition: &mut Condition, spread: f64, luck: Luck) {
    let luck = luck.at(&condition.id);
    let own = luck.at("own");
    let priors = condition.prior_by.iter_mut().flat_map(|by| by.prior.values_mut());
    for chances in condition.prior.values_mut().chain(priors) {
        shifted(chances, spread, own);
    }
    // What an engine with every harmful attribute multiplies the harm of a link by.
    let factor = |meant: &dyn Fn(&Modifier) -> bool| -> f64 {
        condition.modifiers.iter().filter(|m| meant(m)).map(|m| m.multiply.max(1.0)).product()
    };
    let by_cause: Vec<f64> =
        condition.causes.iter().map(|l| factor(&|m| m.cause.as_deref() == Some(&l.cause))).collect();
    let by_parent: Vec<f64> =
        condition.parents.iter().map(|l| factor(&|m| m.parent.as_deref() == Some(&l.condition))).collect();
    for (link, most) in condition.causes.iter_mut().zip(by_cause) {
        of_states(&mut link.given, spread, luck.at(&link.cause), most);
    }
    for (link, most) in condition.parents.iter_mut().zip(by_parent) {
        of_states(&mut link.given, spread, luck.at(&link.condition), most);
    }
}

/// Moves what each state of a parent brings; harm stays a chance when it is multiplied by `most`.
fn of_states(given: &mut BTreeMap<String, Vec<f64>>, spread: f64, luck: Luck, most: f64) {
    for (state, chances) in given {
        shifted(chances, spread, luck.at(state));
        let harm: f64 = chances.iter().skip(1).sum();
        if harm * most > 1.0 {
            *chances = with_factor(chances, 1.0 / (harm * most));
        }
    }
}

fn reading_otherwise(reading: &mut Reading, spread: f64, luck: Luck) {
    let background = luck.at("background");
    match &mut reading.kind {
        ReadingKind::Graded { background: chances, .. } | ReadingKind::Nominal { background: chances, .. } => {
            shifted(chances, spread, background);
        }
        ReadingKind::Numeric(numeric) => shifted_mean(&mut numeric.background, spread, background),
    }
    for observe in &mut reading.observes {
        let luck = luck.at(observe.of.id());
        for (state, given) in &mut observe.given {
            match given {
                Given::Chances(chances) => shifted(chances, spread, luck.at(state)),
                Given::Normal(figure) => shifted_mean(figure, spread, luck.at(state)),
            }
        }
    }
}

fn shifted_mean(figure: &mut [f64; 2], spread: f64, luck: Luck) {
    let [mean, sd] = figure;
    *mean += *sd * spread * luck.normal() / LOGISTIC;
}

/// A chance moved by so much in log-odds; what is certain stays so.
fn moved(p: f64, by: f64) -> f64 {
    if p <= 0.0 || p >= 1.0 {
        return p;
    }
    1.0 / (1.0 + ((1.0 - p) / p) * (-by).exp())
}

/// Chances of states, mildest first, with each running sum moved by its own amount; where sums would cross, the milder one
/// gives way.
fn shifted(chances: &mut [f64], spread: f64, luck: Luck) {
    let mut sum = 0.0;
    let mut before = 0.0;
    let last = chances.len().saturating_sub(1);
    for (state, p) in chances.iter_mut().enumerate() {
        sum += *p;
        let at_most = if state == last {
            1.0
        } else {
            let by = spread * luck.nth(u64::try_from(state).unwrap_or(u64::MAX)).normal();
            moved(sum.min(1.0), by).max(before)
        };
        *p = at_most - before;
        before = at_most;
    }
}

/// Chances of states with each multiplied by its own factor.
fn multiplied(chances: &mut [f64], spread: f64, luck: Luck) {
    for (state, p) in (0..).zip(chances.iter_mut()) {
        *p *= (spread * luck.nth(state).normal()).exp();
    }
    let sum: f64 = chances.iter().sum();
    chances.iter_mut().for_each(|p| *p /= sum.max(f64::MIN_POSITIVE));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn moved_chances_stay_chances_and_certainties_stay_certain() {
        for seed in 0..200 {
            let mut chances = vec![0.7, 0.0, 0.25, 0.05];
            shifted(&mut chances, 1.0, Luck::of(seed));
            assert!((chances.iter().sum::<f64>() - 1.0).abs() < 1e-12, "{chances:?}");
            assert!(chances.iter().all(|p| (0.0..=1.0).contains(p)), "{chances:?}");
            let mut certain = vec![1.0, 0.0, 0.0];
            shifted(&mut certain, 1.0, Luck::of(seed));
            assert!((certain[0] - 1.0).abs() < 1e-12, "{certain:?}");
        }
    }

    #[test]
    fn a_move_in_log_odds_is_one() {
        let logit = |p: f64| (p / (1.0 - p)).ln();
        for (p, by) in [(0.2, 0.6), (0.9, -1.1), (0.5, 0.0)] {
            assert!((logit(moved(p, by)) - logit(p) - by).abs() < 1e-12);
        }
    }

    #[test]
    fn engines_of_other_knowledge_have_chances_that_are_ones() {
        let knowledge = Knowledge::builtin().unwrap();
        let layout: anatomy::EngineLayout = serde_json::from_str(
            r#"{"arrangement": "inline", "cylinders": 4, "fuel": "petrol", "valve_gear": "twin-cam"}"#,
        )
        .unwrap();
        let told = [("interference", "yes"), ("odometer", "over-180k-miles"), ("duty", "unpaved")];
        let told = told.map(|(key, value)| (key.to_owned(), value.to_owned())).into();
        for (seed, spread) in (0..120).zip([0.3, 0.6, 1.0].into_iter().cycle()) {
            let other = otherwise(&knowledge, spread, Luck::of(seed));
            let net = crate::network::engine_net(&layout, &told, &other);
            net.net.ensure().unwrap_or_else(|e| panic!("seed {seed}, spread {spread}: {e}"));
        }
    }

    #[test]
    fn other_knowledge_is_still_knowledge() {
        let knowledge = Knowledge::builtin().unwrap();
        let other = otherwise(&knowledge, 0.6, Luck::of(4));
        let sums = other.conditions.iter().flat_map(|c| c.prior.values()).map(|p| p.iter().sum::<f64>());
        assert!(sums.into_iter().all(|sum| (sum - 1.0).abs() < 1e-9));
        assert_ne!(other.causes[0].prior, knowledge.causes[0].prior);
        assert_eq!(otherwise(&knowledge, 0.0, Luck::of(4)).causes[0].prior, knowledge.causes[0].prior);
    }
}
