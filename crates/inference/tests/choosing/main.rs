//! Comparing ways forward against values worked out elsewhere.
//!
//! Source and value by: `reference/choosing`, whose scripts work out the same example with `NumPy` and `SciPy` (means by nested
//! quadrature on other nodes, spread by 4 million draws of another generator); closed forms of the exponential law stand
//! in the tests. None of the values was made by this code.

#![expect(clippy::unwrap_used, clippy::indexing_slicing, reason = "the helpers of a test may fail it")]

mod example;
mod features;
mod properties;

use inference::compare::{AgeBelief, Choice, Doubtful, Fitted, Hinge, hangs_on, means, ranking, spread, turns};
use serde_json::Value;

fn worked() -> Choice {
    example::choice(include_str!("../../../../reference/choosing/example.json"))
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|x| x.as_f64().unwrap()).collect()
}

/// The finest of the four runs of `means.py`.
fn finest() -> (Vec<f64>, Vec<f64>) {
    let all: Value = serde_json::from_str(include_str!("../../../../reference/choosing/means.json")).unwrap();
    let run = &all["(15, 5, 21, 11, 48)"];
    (numbers(&run["mean"]), numbers(&run["nofail"]))
}

// Source: `reference/life/worked.json`, six competing modes by adaptive quadrature. Where every mode ends the whole, that a mode
// comes means that it comes first.
#[test]
fn competing_modes_come_first_as_often_as_in_the_worked_example() {
    let all: Value = serde_json::from_str(include_str!("../../../../reference/life/worked.json")).unwrap();
    let six = &all["competing"];
    let mut choice = worked();
    choice.yearly = Doubtful { middle: six["h"].as_f64().unwrap(), spread_ln: 0.0 };
    choice.years = 1.0;
    choice.ages[0].belief = AgeBelief::Nodes(vec![(six["t"].as_f64().unwrap(), 1.0)]);
    choice.modes.truncate(6);
    choice.ways.truncate(1);
    choice.ways[0].fitted = vec![Some(Fitted { age: Some(0), strain: 1.0, covered: false }); 6];
    for (mode, of) in choice.modes.iter_mut().zip(six["modes"].as_array().unwrap()) {
        mode.life = features::known(of["beta"].as_f64().unwrap(), of["eta"].as_f64().unwrap());
        (mode.serious, mode.ends) = (true, true);
    }
    let ours = means(&choice).unwrap().ways.remove(0);
    assert!((ours.trouble_free - six["S_all"].as_f64().unwrap()).abs() < 1e-12);
    for (ours, first) in ours.comes.iter().zip(numbers(&six["first_failure_prob"])) {
        assert!((ours - first).abs() < 1e-9, "{ours} for {first}");
    }
}

// Tolerance: a tenth of the currency where costs are some thousands, and 1e-5 of chance; the finest runs of the script
// differ by 0.007 and 1.2e-6 from each other.
#[test]
fn mean_costs_and_chances_without_trouble_are_those_of_the_reference() {
    let (cost, trouble_free) = finest();
    let ours = means(&worked()).unwrap();
    for (at, way) in ours.ways.iter().enumerate() {
        assert!((way.cost - cost[at]).abs() < 0.1, "{at}: {} for {}", way.cost, cost[at]);
        assert!(
            (way.trouble_free - trouble_free[at]).abs() < 1e-5,
            "{at}: {} for {}",
            way.trouble_free,
            trouble_free[at]
        );
    }
}

#[test]
fn draws_agree_with_the_means_of_the_reference() {
    let (cost, trouble_free) = finest();
    let ours = spread(&worked(), 1 << 18, 11).unwrap();
    for (at, way) in ours.ways.iter().enumerate() {
        // Four standard errors of as many plain draws.
        let error = way.spread / 512.0;
        assert!((way.mean - cost[at]).abs() < 4.0 * error, "{at}: {} for {} ({error})", way.mean, cost[at]);
        assert!((way.trouble_free - trouble_free[at]).abs() < 4.0 / 1024.0, "{at}");
    }
}

// Source: `reference/choosing/sensitivity.json`, made by `sensitivity.py` with pick-freeze on 131 072 plain draws of `draws.py`,
// total effects of single prices and of travel. Tolerance: 0.03, which covers the noise of both.
#[test]
fn the_difference_of_two_ways_hangs_on_what_the_reference_says() {
    let all: Value = serde_json::from_str(include_str!("../../../../reference/choosing/sensitivity.json")).unwrap();
    let choice = worked();
    let place = |name: &str| choice.ways.iter().position(|way| way.name == name).unwrap();
    for (pair, names) in [
        ("machine heads - exchange heads", ["machine heads", "exchange heads"]),
        ("machine heads - reman engine", ["machine heads", "reman engine"]),
    ] {
        let ours = hangs_on(&choice, names.map(place), 1 << 15, 3).unwrap();
        let mut seen = 0;
        for (name, total) in all[pair].as_object().unwrap() {
            let found = ours.iter().find(|(ours, _)| ours == name).map_or(0.0, |(_, share)| *share);
            assert!((found - total.as_f64().unwrap()).abs() < 0.03, "{pair}, {name}: {found} for {total}");
            seen += 1;
        }
        assert!(seen > 20, "{pair}");
    }
}

// Source: `reference/choosing/PROVENANCE.md`: 4 million draws of another generator, each figure to the
// digits shown there. The gap between ties is a difference of exact means.
#[test]
fn ranking_shows_both_rules_and_the_prices_that_would_turn_it() {
    let choice = worked();
    let (exact, drawn) = (means(&choice).unwrap(), spread(&choice, 1 << 18, 5).unwrap());
    let ours = ranking(&exact, &drawn);
    // Machining is cheapest on average and doing nothing most often.
    assert_eq!((ours.first(), ours.most_often), (0, 5));
    assert!(ours.differ());
    for (way, cheapest) in drawn.ways.iter().zip([0.238, 0.143, 0.125, 0.150, 0.009, 0.336]) {
        assert!((way.cheapest - cheapest).abs() < 0.004, "{} for {cheapest}", way.cheapest);
    }
    for (way, regret) in drawn.ways.iter().zip([1339.0, 1566.0, 2037.0, 2099.0, 3673.0, 1679.0]) {
        assert!((way.regret - regret).abs() < 12.0, "{} for {regret}", way.regret);
    }
    let quantiles = [
        [3238.0, 6184.0, 9477.0],
        [3765.0, 6276.0, 9513.0],
        [3936.0, 6699.0, 10398.0],
        [5479.0, 6741.0, 9042.0],
        [6797.0, 8279.0, 10977.0],
        [3511.0, 6515.0, 9794.0],
    ];
    for (way, expected) in drawn.ways.iter().zip(quantiles) {
        for (ours, expected) in [way.below[1], way.below[3], way.below[5]].into_iter().zip(expected) {
            assert!((ours - expected).abs() < 30.0, "{ours} for {expected}");
        }
    }
    // The rebuilt engine must fall by 756.8 to tie on average, by 1162 to win half the time.
    let rebuilt = ours.places[3];
    assert!((rebuilt.behind - 756.8).abs() < 0.1);
    assert!((exact.ways[3].bought - rebuilt.break_even.unwrap() - 756.8).abs() < 0.1);
    assert!((exact.ways[3].bought - rebuilt.break_even_half.unwrap() - 1162.0).abs() < 15.0);
}

#[test]
fn a_figure_that_turns_first_place_does_so_when_it_is_put_in() {
    let choice = worked();
    let found = turns(&choice).unwrap();
    assert!(found.iter().any(|turn| turn.hinge == Hinge::Price));
    for turn in found.iter().filter(|turn| turn.hinge == Hinge::Price && turn.at > 0.0) {
        let place = choice.prices.iter().position(|price| price.name == turn.what).unwrap();
        let costs = |factor: f64| {
            let mut other = choice.clone();
            other.prices[place].amount = inference::compare::Law::Known(turn.now + factor * (turn.at - turn.now));
            let ways = means(&other).unwrap().ways;
            (ways[0].cost, ways[turn.to].cost)
        };
        let ((first, _), (_, to), (before, rival)) = (costs(1.0), costs(1.0), costs(0.98));
        assert!((first - to).abs() < 1e-6, "{turn:?}");
        assert!(before < rival, "{turn:?}");
    }
}
