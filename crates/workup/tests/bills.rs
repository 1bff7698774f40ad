//! Bills of the options, reckoned by hand from the tables of the knowledge and the formula that it states.

#![expect(clippy::expect_used, clippy::indexing_slicing, reason = "helpers of tests stop at the first surprise")]

use std::collections::BTreeMap;

use anatomy::{Arrangement, EngineLayout, Fuel, ValveGear};
use knowledge::Knowledge;
use knowledge::workshop::RepairOption;
use logbook::JobState;
use workup::money::{BlockHere, Donors, OptionHere, Terms, blocks, options};
use workup::network::{EngineNet, engine_net};

struct Bench {
    knowledge: Knowledge,
    layout: EngineLayout,
    net: EngineNet,
    blocks: Vec<BlockHere>,
}

impl Bench {
    fn of(arrangement: Arrangement, cylinders: u8) -> Self {
        let knowledge = Knowledge::builtin().expect("the built-in knowledge loads");
        let layout =
            EngineLayout::plain(arrangement, cylinders, Fuel::Petrol, ValveGear::TwinCam).expect("a plain engine");
        let net = engine_net(&layout, &BTreeMap::new(), &knowledge);
        let blocks = blocks(&net, &layout, &knowledge);
        Self { knowledge, layout, net, blocks }
    }

    fn options(&self, stages: &[&str]) -> Vec<OptionHere<'_>> {
        let mut state = JobState::default();
        state.stages_reached.extend(stages.iter().map(|s| (*s).to_owned()));
        let terms = Terms::of(&state, &self.knowledge);
        options(&self.net, &self.blocks, &self.layout, &self.knowledge, &[], &terms, &Donors::default())
    }

    fn sound(&self) -> Vec<u8> {
        vec![0; self.net.net.variables.len()]
    }

    /// Every block in its mildest class, but these: block, which one of its kind, class.
    fn classes(&self, but: &[(&str, usize, &str)]) -> Vec<usize> {
        let mut out = vec![0; self.blocks.len()];
        for (id, nth, class) in but {
            let (place, block) =
                self.blocks.iter().enumerate().filter(|(_, b)| b.id == *id).nth(*nth).expect("a block of that kind");
            out[place] = block.classes.iter().position(|c| c == class).expect("a class of it");
        }
        out
    }

    fn hours(&self, stages: &[&str]) -> f64 {
        stages.iter().map(|s| self.knowledge.stage(s).expect("a stage").access_minutes / 60.0).sum()
    }
}

fn find<'a, 'k>(options: &'a [OptionHere<'k>], id: &str) -> &'a OptionHere<'k> {
    options.iter().find(|o| o.option.id == id).expect("an option of that name")
}

fn listed(option: &RepairOption, block: &str, class: &str) -> f64 {
    option.costs.iter().find(|c| c.block == block).expect("a price list").class[class].mean()
}

#[test]
fn opening_that_two_blocks_call_for_is_paid_once() {
    let bench = Bench::of(Arrangement::Inline, 4);
    let options = bench.options(&[]);
    let fix = find(&options, "fix-failed-only");
    let price = |but: &[(&str, usize, &str)]| fix.bill(&bench.sound(), &bench.classes(but)).price.mean();
    let both = price(&[("head", 0, "reseal"), ("bores", 0, "rings")]) - price(&[]);
    let stages = ["top-end-open", "block-open", "head-on-bench", "bottom-end-open"];
    // An inline four with 16 valves is the reference engine: no growth.
    let by_hand = listed(fix.option, "head", "reseal") + listed(fix.option, "bores", "rings") + bench.hours(&stages);
    assert!((both - by_hand).abs() < 1e-9, "{both} against {by_hand} by hand");
}

#[test]
fn two_heads_of_one_engine_are_reached_by_opening_it_once() {
    let bench = Bench::of(Arrangement::V, 8);
    let options = bench.options(&[]);
    let fix = find(&options, "fix-failed-only");
    let price = |but: &[(&str, usize, &str)]| fix.bill(&bench.sound(), &bench.classes(but)).price.mean();
    let one = price(&[("head", 0, "skim")]) - price(&[]);
    let two = price(&[("head", 0, "skim"), ("head", 1, "skim")]) - price(&[]);
    let opening = bench.hours(&["top-end-open", "block-open", "head-on-bench"]);
    assert!((two - (2.0 * (one - opening) + opening)).abs() < 1e-9, "two heads {two}, one {one}, opening {opening}");
}

#[test]
fn a_stage_told_counts_the_stages_it_stands_on_as_reached() {
    let bench = Bench::of(Arrangement::Inline, 4);
    let price = |stages: &[&str]| {
        let options = bench.options(stages);
        find(&options, "recondition-own-heads").bill(&bench.sound(), &bench.classes(&[])).price.mean()
    };
    let closed = price(&[]);
    let on_bench = price(&["head-on-bench"]);
    let opening = bench.hours(&["top-end-open", "block-open", "head-on-bench"]);
    assert!((closed - on_bench - opening).abs() < 1e-9, "{closed} less {on_bench} against {opening}");
}

#[test]
fn a_sound_head_that_is_off_is_closed_up_by_the_table_and_a_bad_one_by_its_own_price() {
    let bench = Bench::of(Arrangement::Inline, 4);
    let reached = ["top-end-open", "block-open", "head-on-bench"];
    let (shut, open) = (bench.options(&[]), bench.options(&reached));
    let (shut, open) = (find(&shut, "fix-failed-only"), find(&open, "fix-failed-only"));
    let price =
        |o: &OptionHere<'_>, but: &[(&str, usize, &str)]| o.bill(&bench.sound(), &bench.classes(but)).price.mean();
    let back = open.option.put_back.first().expect("a price for closing up");
    assert!((price(open, &[]) - price(shut, &[]) - back.cost.mean()).abs() < 1e-9, "closing up is paid");
    let resealed = [("head", 0, "reseal")];
    let saved = price(shut, &resealed) - price(open, &resealed);
    assert!((saved - bench.hours(&reached)).abs() < 1e-9, "a resealed head holds its refit already: {saved}");
}

#[test]
fn rule_7_a_used_engine_carries_the_defect_of_its_family() {
    let bench = Bench::of(Arrangement::V, 8);
    let terms = Terms::of(&JobState::default(), &bench.knowledge);
    let donors = Donors::drawn(&bench.net, &bench.blocks, &bench.knowledge, &terms).expect("donors");
    let options = options(&bench.net, &bench.blocks, &bench.layout, &bench.knowledge, &[], &terms, &donors);
    let used = find(&options, "used-engine");
    let bill = |told: &[(&str, u8)]| {
        let mut states = bench.sound();
        for (cause, state) in told {
            states[bench.net.causes[*cause]] = *state;
        }
        used.bill(&states, &bench.classes(&[]))
    };
    // The same family, the same wear: each makes it worse, grade by grade, in chance and in money.
    for cause in ["weak-seat-family", "high-mileage"] {
        let grades = [0, 1, 2].map(|state| bill(&[(cause, state)]));
        for pair in grades.windows(2) {
            assert!(pair[1].runs < pair[0].runs && pair[1].later > pair[0].later, "{cause}: {grades:?}");
        }
    }
    // What happened to the present engine did not happen to the other one.
    assert_eq!(bill(&[("overheated", 1), ("ran-low-oil", 1)]), bill(&[]));
    // By hand, for a donor with nothing the matter: what no table holds, and what a sound engine leaves under the option
    // it is left as, but for the drive that is renewed.
    let residual = used.option.residual.as_ref().expect("it brings something of its own");
    let as_is = find(&options, &residual.donor.as_ref().expect("a donor").left_as);
    let sound: f64 = as_is
        .option
        .left
        .iter()
        .filter(|l| l.block != "drive")
        .flat_map(|l| vec![1.0 - l.class["sound"]; if l.block == "head" { 2 } else { 1 }])
        .product();
    let least = (1.0 - residual.goes_wrong) * sound;
    assert!(bill(&[]).runs < least && bill(&[]).runs > 0.6 * least, "{} against {least}", bill(&[]).runs);
}

#[test]
fn what_is_left_follows_the_stated_course_over_the_customers_road() {
    let bench = Bench::of(Arrangement::Inline, 4);
    let mut state = JobState::default();
    state.vehicle.horizon_months = Some(6);
    state.vehicle.miles_per_year = Some(12_000);
    let terms = Terms::of(&state, &bench.knowledge);
    let options = options(&bench.net, &bench.blocks, &bench.layout, &bench.knowledge, &[], &terms, &Donors::default());
    let defer = find(&options, "defer-monitor");
    let runs = |but: &[(&str, usize, &str)]| defer.bill(&bench.sound(), &bench.classes(but)).runs;
    let left = defer.option.left.iter().find(|l| l.block == "head").expect("what it leaves in the head");
    let chance = |class: &str| left.chance(class, 6_000.0).expect("a chance");
    let ratio = runs(&[("head", 0, "valve-work")]) / runs(&[]);
    let by_hand = (1.0 - chance("valve-work")) / (1.0 - chance("sound"));
    assert!((ratio - by_hand).abs() < 1e-12, "{ratio} against {by_hand}");
}
