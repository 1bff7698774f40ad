//! One head on the bench, eight intake valves, air in the ports and soap on the valves: what that says about the causes.
//!
//! Source:   the order a machinist gives the reasons in [common practice]; the bounds are loose on purpose
//! Value by: summing over every setting of the causes, of the head's heat and of pistons meeting its valves, each weighed
//!           by the chance that it brings the engine in, and for each over all states of the six conditions of one
//!           valve; nothing of the inference room is used

#![expect(clippy::indexing_slicing, clippy::unwrap_used, clippy::panic, reason = "an own small sum in a test")]

use anatomy::Scope;
use knowledge::{Given, Knowledge, Reading, with_factor};
use std::collections::BTreeMap;

const SCOPE: Scope = Scope::ValveIntake;
/// The conditions of one valve, parents first.
const PARTS: [&str; 6] =
    ["seat-insert-fit", "valve-guide", "valve-spring", "valve-stem", "valve-seat-face", "valve-face"];

fn told(name: &str) -> Option<&'static str> {
    match name {
        "fuel" => Some("petrol"),
        "head-material" => Some("aluminium"),
        "valvetrain" => Some("ohc"),
        "seat-type" => Some("insert"),
        "interference" => Some("yes"),
        "arrangement" => Some("v"),
        _ => None,
    }
}

fn up_to(chances: &[f64]) -> Vec<f64> {
    let mut sum = 0.0;
    chances
        .iter()
        .map(|p| {
            sum += p;
            sum
        })
        .collect()
}

fn times(all: &mut [f64], more: &[f64]) {
    for (a, b) in all.iter_mut().zip(more) {
        *a *= b;
    }
}

fn steps(up_to: &[f64]) -> Vec<f64> {
    let mut before = 0.0;
    up_to
        .iter()
        .map(|p| {
            let step = p - before;
            before = *p;
            step
        })
        .collect()
}

/// Chances of a condition's states, as running sums, under one setting of the causes and with some parents' states.
fn condition_up_to(
    knowledge: &Knowledge,
    id: &str,
    scope: Scope,
    causes: &BTreeMap<&str, usize>,
    parents: &[(&str, usize)],
) -> Vec<f64> {
    let condition = knowledge.condition(id).unwrap();
    let mut all = up_to(condition.prior_for(scope, told).unwrap());
    for link in condition.causes.iter().filter(|l| l.scope.is_none_or(|s| s == scope)) {
        let states = &knowledge.cause(&link.cause).unwrap().states;
        if let Some(given) = link.given.get(&states[causes[link.cause.as_str()]]) {
            let factor = condition.factor_on_cause(&link.cause, told);
            times(&mut all, &up_to(&with_factor(given, factor)));
        }
    }
    for (parent, state) in parents {
        let states = &knowledge.condition(parent).unwrap().states;
        for link in
            condition.parents.iter().filter(|l| l.condition == *parent && l.for_scope.is_none_or(|s| s == scope))
        {
            if let Some(given) = link.given.get(&states[*state]) {
                let factor = condition.factor_on_parent(parent, told);
                times(&mut all, &up_to(&with_factor(given, factor)));
            }
        }
    }
    all
}

/// Chances of the outcomes of the soap check on one intake valve, under one setting of the causes, of the head's heat and
/// of what struck its valves.
fn outcomes(knowledge: &Knowledge, reading: &Reading, causes: &BTreeMap<&str, usize>, head: [usize; 2]) -> Vec<f64> {
    let knowledge::ReadingKind::Graded { background, .. } = &reading.kind else { panic!("not graded") };
    // One entry: the states of the parts so far, with their weight.
    let mut settings: Vec<(Vec<usize>, f64)> = vec![(Vec::new(), 1.0)];
    for part in PARTS {
        settings = settings
            .iter()
            .flat_map(|(states, weight)| {
                let mut parents: Vec<(&str, usize)> = PARTS.into_iter().zip(states.iter().copied()).collect();
                parents.extend([("head-heat", head[0]), ("valve-contact", head[1])]);
                let chances = steps(&condition_up_to(knowledge, part, SCOPE, causes, &parents));
                chances
                    .into_iter()
                    .enumerate()
                    .map(|(state, p)| {
                        let mut longer = states.clone();
                        longer.push(state);
                        (longer, weight * p)
                    })
                    .collect::<Vec<_>>()
            })
            .collect();
    }
    let mut total = vec![0.0; background.len()];
    for (states, weight) in settings {
        let mut all = up_to(background);
        for (part, state) in PARTS.into_iter().zip(states) {
            let word = &knowledge.condition(part).unwrap().states[state];
            for observe in reading.observes.iter().filter(|o| o.of.id() == part) {
                if let Some(Given::Chances(given)) = observe.given.get(word) {
                    times(&mut all, &up_to(given));
                }
            }
        }
        for (sum, p) in total.iter_mut().zip(steps(&all)) {
            *sum += weight * p;
        }
    }
    total
}

/// Chances of each cause's states after `dry` valves without bubbles and `stream` valves that stream, on one head of a
/// V engine, with the odometer class told or not; `on_marks` adds that the drive is in its mildest state.
fn after(dry: i32, stream: i32, odometer: Option<&'static str>, on_marks: bool) -> BTreeMap<String, Vec<f64>> {
    let knowledge = Knowledge::builtin().unwrap();
    let reading = knowledge.reading("valve-seal-soap-air", "bubbles").unwrap();
    // Causes that reach a valve or the drive; the others change nothing here and stay mildest.
    let reach = [
        "high-mileage",
        "weak-seat-family",
        "overheated",
        "ran-low-oil",
        "hydrolock",
        "detonation",
        "timing-event",
        "dust-ingestion",
        "poor-repair",
    ];
    let asked = |name: &str| odometer.filter(|_| name == "odometer").or_else(|| told(name));
    let mut settings: Vec<(BTreeMap<&str, usize>, f64)> = vec![(BTreeMap::new(), 1.0)];
    for id in reach {
        let prior = knowledge.cause(id).unwrap().prior_for(asked).to_vec();
        settings = settings
            .iter()
            .flat_map(|(setting, weight)| {
                prior.iter().enumerate().map(move |(state, p)| {
                    let mut longer = setting.clone();
                    longer.insert(id, state);
                    (longer, weight * p)
                })
            })
            .collect();
    }
    let mut out: BTreeMap<String, Vec<f64>> =
        reach.into_iter().map(|id| (id.to_owned(), vec![0.0; knowledge.cause(id).unwrap().states.len()])).collect();
    let mut total = 0.0;
    let mut known: BTreeMap<(Vec<usize>, [usize; 2]), Vec<f64>> = BTreeMap::new();
    for (setting, weight) in settings {
        let stays_away: f64 =
            setting.iter().map(|(id, state)| 1.0 - knowledge.cause(id).unwrap().brings_in[*state]).product();
        let weight = weight * (1.0 - stays_away);
        let heats = steps(&condition_up_to(&knowledge, "head-heat", Scope::Bank, &setting, &[]));
        let drive =
            if on_marks { condition_up_to(&knowledge, "timing-drive", Scope::Engine, &setting, &[])[0] } else { 1.0 };
        // These reach an intake valve only through the head's heat or what struck it, or not at all.
        let apart = ["overheated", "timing-event", "ran-low-oil", "hydrolock"];
        let key: Vec<usize> = setting.iter().filter(|(id, _)| !apart.contains(id)).map(|(_, state)| *state).collect();
        let struck = steps(&condition_up_to(&knowledge, "valve-contact", Scope::Bank, &setting, &[]));
        let mut likelihood = 0.0;
        for (heat, p) in heats.into_iter().enumerate() {
            for (hit, q) in struck.iter().enumerate() {
                let head = [heat, hit];
                let found =
                    known.entry((key.clone(), head)).or_insert_with(|| outcomes(&knowledge, reading, &setting, head));
                likelihood += p * q * found[0].powi(dry) * found[2].powi(stream);
            }
        }
        let weight = weight * likelihood * drive;
        total += weight;
        for (id, chances) in &mut out {
            chances[setting[id.as_str()]] += weight;
        }
    }
    for chances in out.values_mut() {
        for p in chances.iter_mut() {
            *p /= total;
        }
    }
    out
}

#[test]
fn eight_dry_intakes_leave_a_worn_engine_thinkable() {
    let untold = &after(8, 0, None, false)["high-mileage"];
    assert!(untold[1] + untold[2] > 0.2, "{untold:?}");
    let far = &after(8, 0, Some("over-180k-miles"), false)["high-mileage"];
    assert!(far[1] + far[2] > 0.6 && far[2] > 0.15, "{far:?}");
}

#[test]
fn six_of_eight_streaming_means_look_at_the_cam_marks_first() {
    let causes = after(2, 6, None, false);
    let timing = causes["timing-event"][1];
    assert!(timing > 0.8, "{causes:?}");
    for id in ["weak-seat-family", "overheated", "dust-ingestion"] {
        assert!(timing > 1.0 - causes[id][0], "{id}: {causes:?}");
    }
}

#[test]
fn with_the_cam_on_its_marks_the_seats_come_first() {
    let causes = after(2, 6, None, true);
    let seats = 1.0 - causes["weak-seat-family"][0];
    assert!(seats > 2.0 * causes["timing-event"][1], "{causes:?}");
}
