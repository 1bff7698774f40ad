//! The trial of the advice: what must hold whatever the figures are.
//!
//! Source:   the definitions themselves: nobody beats whoever knows all for nothing; a mean of differences is the difference of means
//! Value by: arithmetic on the report
//! Digits:   1e-9

#![expect(clippy::expect_used, reason = "helpers of tests stop at the first surprise")]

use anatomy::{Arrangement, EngineLayout, Fuel, ValveGear};
use knowledge::Knowledge;
use logbook::JobState;
use workup::simulate::{Plan, Report, SimulateError, Way, WayLine, simulate};

fn begun() -> JobState {
    let layout = EngineLayout::plain(Arrangement::Inline, 1, Fuel::Petrol, ValveGear::TwinCam).expect("a plain engine");
    JobState { layout: Some(layout), ..JobState::default() }
}

fn tried(plan: &Plan) -> Report {
    let knowledge = Knowledge::builtin().expect("the built-in knowledge loads");
    simulate(&begun(), &knowledge, plan, |_| ()).expect("a trial")
}

fn of(report: &Report, way: Way) -> &WayLine {
    report.ways.iter().find(|w| w.way == way).expect("every way is there")
}

#[test]
fn nobody_beats_whoever_knows_everything_and_every_sum_agrees() {
    let report = tried(&Plan { engines: 10, seed: 3, spread: 0.0 });
    let best = of(&report, Way::AllKnown);
    assert!(best.checks.abs() < 1e-12 && best.readings.abs() < 1e-12);
    let advice = of(&report, Way::Advice);
    for way in &report.ways {
        assert!((way.total - way.checks - way.option).abs() < 1e-9, "{way:?}");
        assert!(way.total >= best.total - 1e-9, "{way:?}");
        assert!(way.advice_saves.low <= way.advice_saves.mean && way.advice_saves.mean <= way.advice_saves.high);
    }
    // Who knows all expects what comes; the savings of the others are counted with what was expected.
    for way in [best, of(&report, Way::EveryCheck)] {
        assert!((way.advice_saves.mean - (way.total - advice.total)).abs() < 1e-9, "{way:?}");
    }
    assert!(advice.advice_saves.mean.abs() < 1e-12);
    let none = of(&report, Way::NoChecks);
    assert!(none.readings.abs() < 1e-12 && none.checks.abs() < 1e-12);
    let every = of(&report, Way::EveryCheck);
    assert!(every.readings > of(&report, Way::FixedList).readings && every.checks > advice.checks);
    // Stated by the right network: the shop and whoever knows it say the same.
    let honesty = &report.honesty;
    assert_eq!(honesty.bins.iter().map(|b| b.statements).sum::<usize>(), honesty.statements);
    assert_eq!(honesty.kinds.iter().map(|k| k.statements).sum::<usize>(), honesty.statements);
    assert!((honesty.brier[0] - honesty.brier[1]).abs() < 1e-12);
    assert!(honesty.brier[0] < 0.1, "{:?}", honesty.brier);
}

#[test]
fn the_same_seed_tells_the_same_and_another_model_makes_the_shop_worse_than_who_knows_it() {
    let plan = Plan { engines: 8, seed: 4, spread: 1.0 };
    let report = tried(&plan);
    assert_eq!(report, tried(&plan));
    // Where the shop believes another model, savings are those of the real bills.
    let advice = of(&report, Way::Advice);
    for way in &report.ways {
        assert!((way.advice_saves.mean - (way.total - advice.total)).abs() < 1e-9, "{way:?}");
    }
    let [shop, oracle] = report.honesty.log_loss;
    assert!(shop > oracle, "{shop} against {oracle}");
}

#[test]
fn a_plan_that_asks_for_nothing_is_refused_with_the_next_move() {
    let knowledge = Knowledge::builtin().expect("the built-in knowledge loads");
    let refused = |plan: &Plan| simulate(&begun(), &knowledge, plan, |_| ()).expect_err("a refusal").to_string();
    assert!(refused(&Plan { engines: 1, seed: 1, spread: 0.0 }).contains("ask for more"));
    assert!(refused(&Plan { engines: 9, seed: 1, spread: -1.0 }).contains("not from 0 to 3"));
    assert!(refused(&Plan { engines: 9, seed: 1, spread: f64::NAN }).contains("not from 0 to 3"));
    let nothing = simulate(&JobState::default(), &knowledge, &Plan { engines: 9, seed: 1, spread: 0.0 }, |_| ());
    assert!(matches!(nothing, Err(SimulateError::WorkUp(workup::WorkUpError::NoEngine))));
}
