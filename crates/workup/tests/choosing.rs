//! Options under everything in doubt: two roads to one mean, what first place hangs on, and what must always hold.
//!
//! Sources:  the rules of issue and decision 0027; figures of the cases below are worked beside each of them
//! Value by: hand, or another road through the same sums
//! Digits:   0.5 per cent between two roads, as the trade needs them and no closer

#![expect(clippy::expect_used, reason = "helpers of tests stop at the first surprise")]

use std::sync::OnceLock;

use inference::lanes::{Engine, Extra, drawn};
use knowledge::Knowledge;
use logbook::{JobState, fold, seal_story, story_from_lines};
use workup::{advice, beliefs, choosing, findings, money, network, work_up};

fn knowledge() -> &'static Knowledge {
    static LOADED: OnceLock<Knowledge> = OnceLock::new();
    LOADED.get_or_init(|| Knowledge::builtin().expect("the built-in knowledge loads"))
}

fn folded(story: &str) -> JobState {
    fold(&seal_story("choosing", &story_from_lines(story).expect("a story")).expect("a sealed story"))
}

const STORIES: [(&str, &str); 3] = [
    ("van", include_str!("../../../cases/0001-tolvane-carrier/story.jsonl")),
    ("flatbed", include_str!("../../../cases/0002-ostrand-h6/story.jsonl")),
    ("twin", include_str!("../../../cases/0003-merrowin-f2/story.jsonl")),
];

/// Every choice of a job with its mean from many drawn engines and from exact sums.
fn both(state: &JobState, count: usize) -> Vec<(String, f64, f64)> {
    let knowledge = knowledge();
    let layout = state.layout.as_ref().expect("an engine");
    let net = network::engine_net(layout, &workup::told(state, knowledge), knowledge);
    let (found, _) = findings::of_state(state, layout, &net, knowledge);
    let gathered = beliefs::gather(&net, layout, knowledge, &found);
    let blocks = money::blocks(&net, layout, knowledge);
    let terms = money::Terms::of(state, knowledge);
    let donors = money::Donors::drawn(&net, &blocks, knowledge, &terms).expect("donors");
    let engine = Engine::build(&net.net, &gathered.readings).expect("a tree");
    let run = engine.run(&Extra::default()).expect("a run");
    let draws = drawn(&net.net, &gathered.readings, count, 5).expect("draws").draws;
    let scene = advice::Scene {
        knowledge,
        layout,
        net: &net,
        run: &run,
        draws: &draws,
        blocks: &blocks,
        state,
        findings: &found,
        terms: &terms,
        donors: &donors,
    };
    choosing::by_both(&scene, &run)
}

#[test]
fn drawn_engines_and_exact_sums_agree_on_what_every_option_costs() {
    for (name, story) in STORIES {
        let state = folded(story);
        for (option, drawn, exact) in both(&state, 1 << 14) {
            let apart = (drawn / exact - 1.0).abs();
            assert!(apart < 0.005, "{name} {option}: drawn {drawn}, exact {exact}");
        }
    }
}

#[test]
fn a_comparison_holds_every_open_option_once_and_adds_up() {
    for (name, story) in STORIES {
        let case = work_up(&folded(story), knowledge()).expect("a case");
        let all = case.comparison.as_ref().expect("a comparison");
        let open: Vec<&str> = case.options.iter().filter(|o| o.struck_out.is_none()).map(|o| o.id.as_str()).collect();
        assert_eq!(all.ways.iter().map(|w| w.option.as_str()).collect::<Vec<_>>(), open, "{name}");
        let firsts: f64 = all.ways.iter().map(|w| w.cheapest).sum();
        assert!((firsts - 1.0).abs() < 1e-9, "{name}: {firsts}");
        for way in &all.ways {
            let line = case.options.iter().find(|o| o.id == way.option).expect("its option");
            let expected = line.money.as_ref().expect("money").expected;
            // What luck and prices do is drawn evenly: their means are within a hundredth of the bill's.
            assert!((way.drawn / expected - 1.0).abs() < 0.01, "{name} {}: {} {expected}", way.option, way.drawn);
            assert!((way.mean / expected - 1.0).abs() < 0.01, "{name} {}: {} {expected}", way.option, way.mean);
            assert!(way.cost[0] <= way.cost[1] && way.regret >= 0.0 && way.regrets[0] >= 0.0, "{name} {way:?}");
            assert!((line.p_first - way.cheapest).abs() < 1e-12, "{name}: the option tells the same share");
        }
        let hangs_on = all.hangs_on.as_ref().expect("two open options");
        assert_eq!(hangs_on.pair, [open[0].to_owned(), open[1].to_owned()], "{name}");
        assert!(hangs_on.on.windows(2).all(|w| w[0].share >= w[1].share), "{name}: {:?}", hangs_on.on);
        assert!(!hangs_on.on.is_empty() && hangs_on.on.iter().all(|h| !h.next.is_empty()), "{name}");
    }
}
