//! The network of each demo job, worked by two methods that share no code: the fast engine of the product and the general
//! junction tree on the exported plain form. They must agree within 1e-10.
//!
//! A whole demo network has cliques of 1e9 to 1e14 entries in the general engine, so the causes (and what lies above
//! the cylinders, where that is still too large) are held at states that the readings make likely; every other variable
//! is free, and every reading is in.

#![expect(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests stop at the first surprise")]

use inference::lanes::{Engine, Extra, posterior_draws};
use inference::unroll::unroll;
use inference::{DEFAULT_LIMIT, JunctionTree};
use knowledge::Knowledge;
use logbook::{fold, seal_story, story_from_lines};
use workup::{beliefs, findings, network};

/// How many joint states are held one after another, per job.
const HELD: usize = 4;

fn agrees(story: &str, hold_above: bool) {
    let knowledge = Knowledge::builtin().unwrap();
    let state = fold(&seal_story("two-methods", &story_from_lines(story).unwrap()).unwrap());
    let layout = state.layout.as_ref().unwrap();
    let net = network::engine_net(layout, &workup::told(&state, &knowledge), &knowledge);
    let (found, _) = findings::of_state(&state, layout, &net, &knowledge);
    let gathered = beliefs::gather(&net, layout, &knowledge, &found);
    let (plain, evidence, places) = unroll(&net.net, &gathered.readings).unwrap();
    let engine = Engine::build(&net.net, &gathered.readings).unwrap();
    let draws = posterior_draws(&net.net, &gathered.readings, 256, 9).unwrap();
    let mut compared = 0;
    for d in 0..HELD {
        let drawn = draws.draw(d * 256 / HELD);
        let mut extra = Extra::default();
        let mut held = evidence.clone();
        for (v, variable) in net.net.variables.iter().enumerate() {
            if variable.root || hold_above && variable.region.len() < 2 {
                let one = |s: usize| if s == usize::from(drawn[v]) { 1.0 } else { 0.0 };
                extra.multiply(v, &(0..variable.states.len()).map(one).collect::<Vec<f64>>());
                held.hard.insert(places[v], usize::from(drawn[v]));
            }
        }
        let tree = JunctionTree::for_evidence(&plain, &held, DEFAULT_LIMIT).unwrap();
        let general = tree.posteriors(&held).unwrap();
        let fast = engine.run(&extra).unwrap();
        let ln_p = general.log10_p_evidence * std::f64::consts::LN_10;
        assert!((fast.ln_p() - ln_p).abs() < 1e-10, "{} {ln_p}", fast.ln_p());
        for (v, place) in places.iter().enumerate() {
            for (x, y) in fast.marginal(v).iter().zip(&general.marginals[*place]) {
                assert!((x - y).abs() < 1e-10, "{}: {x} {y}", net.net.variables[v].name);
                compared += 1;
            }
        }
    }
    assert!(compared > 1000, "{compared}");
}

#[test]
fn the_van() {
    agrees(include_str!("../../../cases/0001-tolvane-carrier/story.jsonl"), false);
}

#[test]
fn the_flatbed() {
    agrees(include_str!("../../../cases/0002-ostrand-h6/story.jsonl"), true);
}

#[test]
fn the_twin() {
    agrees(include_str!("../../../cases/0003-merrowin-f2/story.jsonl"), false);
}
