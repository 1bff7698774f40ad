//! The trade's rules on when more checking is pointless, each held as a sentence on a plain engine.
//!
//! The engine is a petrol V8 with two cams and four valves per cylinder unless the rule says otherwise. Limits are those
//! of the rules themselves: loose on purpose, and from the rules' own words, never from a run.

#![expect(
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "helpers of tests stop at the first surprise"
)]

use std::collections::BTreeMap;
use std::sync::OnceLock;

use knowledge::Knowledge;
use logbook::{JobState, fold, seal_story, story_from_lines};
use serde_json::{Value, json};
use workup::{Case, CheckWorth, work_up};

fn knowledge() -> &'static Knowledge {
    static LOADED: OnceLock<Knowledge> = OnceLock::new();
    LOADED.get_or_init(|| Knowledge::builtin().expect("the built-in knowledge loads"))
}

/// A job told line by line.
#[derive(Clone)]
struct Job(Vec<String>);

impl Job {
    fn on(layout: Value) -> Self {
        let mut job = Job(Vec::new());
        job.tell("job-opened", json!({"title": "rule"}));
        job.tell("engine-described", json!({"layout": layout}));
        let money = |amount: &str| json!({"amount": amount, "currency": "EUR"});
        job.tell("money-told", json!({"labour_rate": money("90")}));
        job.tell("vehicle-described", json!({"value": money("16000"), "horizon_months": 36, "miles_per_year": 12000}));
        job
    }

    fn v8() -> Self {
        Self::on(v8_layout())
    }

    fn tell(&mut self, kind: &str, body: Value) {
        let minute = self.0.len();
        let at = format!("2026-03-02T{:02}:{:02}:00Z", 6 + minute / 60, minute % 60);
        let line = json!({"at": at, "by": "bench", "device": "bench-1", "kind": kind, "body": body});
        self.0.push(line.to_string());
    }

    fn look(mut self, check: &str, reading: &str, at: &str, outcome: &str) -> Self {
        self.tell("reading-taken", json!({"check": check, "reading": reading, "position": at, "outcome": outcome}));
        self
    }

    fn read(mut self, check: &str, reading: &str, at: &str, text: &str, unit: &str) -> Self {
        self.tell(
            "reading-taken",
            json!({"check": check, "reading": reading, "position": at, "value": {"text": text, "unit": unit}}),
        );
        self
    }

    fn opened(mut self, stages: &[&str]) -> Self {
        for stage in stages {
            self.tell("stage-reached", json!({"stage": stage}));
        }
        self
    }

    fn quote(mut self, option: &str, price: &str) -> Self {
        let price = json!({"amount": price, "currency": "EUR"});
        self.tell(
            "quote-received",
            json!({"supplier": "counter", "option": option, "price": price, "lead_days": [2, 4]}),
        );
        self
    }

    fn compressions(self, bars: &[&str]) -> Self {
        bars.iter()
            .enumerate()
            .fold(self, |job, (i, bar)| job.read("compression-dry", "pressure", &format!("cyl-{}", i + 1), bar, "bar"))
    }

    fn state(&self) -> JobState {
        let lines = story_from_lines(&self.0.join("\n")).expect("a story");
        fold(&seal_story("rule", &lines).expect("a sealed story"))
    }

    fn case(&self) -> Case {
        work_up(&self.state(), knowledge()).expect("a case")
    }
}

fn v8_layout() -> Value {
    json!({"arrangement": "v", "cylinders": 8, "fuel": "petrol", "valve_gear": "twin-cam", "valves_per_cylinder": 4})
}

fn p(case: &Case, id: &str, at: &str) -> f64 {
    let here = |b: &&workup::Belief| b.id == id && b.position.map_or_else(|| at == "engine", |p| p.address() == at);
    case.causes.iter().chain(&case.conditions).find(here).unwrap_or_else(|| panic!("no belief {id} at {at}")).p
}

fn p_state(case: &Case, id: &str, at: &str, states: &[&str]) -> f64 {
    let here = |b: &&workup::Belief| b.id == id && b.position.map_or_else(|| at == "engine", |p| p.address() == at);
    let belief =
        case.causes.iter().chain(&case.conditions).find(here).unwrap_or_else(|| panic!("no belief {id} at {at}"));
    belief.states.iter().filter(|(s, _)| states.contains(&s.as_str())).map(|(_, p)| p).sum()
}

/// Chance that a block is in one of these classes.
fn block(case: &Case, id: &str, name_part: &str, classes: &[&str]) -> f64 {
    let found = case.blocks.iter().find(|b| b.id == id && b.name.contains(name_part));
    let found = found.unwrap_or_else(|| panic!("no block {id} {name_part}"));
    found.classes.iter().filter(|(c, _)| classes.contains(&c.as_str())).map(|(_, p)| p).sum()
}

fn all_open(case: &Case) -> impl Iterator<Item = &CheckWorth> {
    case.advice.next.iter().chain(&case.advice.rest)
}

/// The worth of a check at a place; nothing when it is not open. Places of equal worth share one line.
fn worth(case: &Case, check: &str, at: &str) -> Option<f64> {
    let mut label = None;
    for c in all_open(case).filter(|c| c.check == check && c.round.is_empty()) {
        if c.position.address() == at {
            return Some(c.worth);
        }
        label.get_or_insert_with(|| layout().label(&at.parse().expect("an address")));
        if label.as_ref().is_some_and(|l| c.also.contains(l)) {
            return Some(c.worth);
        }
    }
    None
}

/// The worth of a check at a place, done by itself or in the best round that takes the place in.
fn worth_in_a_round(case: &Case, check: &str, at: &str) -> f64 {
    all_open(case)
        .filter(|c| c.check == check && c.round.iter().any(|p| p.address() == at))
        .map(|c| c.worth)
        .fold(worth(case, check, at).unwrap_or(0.0), f64::max)
}

fn layout() -> anatomy::EngineLayout {
    serde_json::from_value(v8_layout()).expect("a layout")
}

fn net(case: &Case, check: &str) -> f64 {
    all_open(case).filter(|c| c.check == check).map(|c| c.net).fold(f64::NEG_INFINITY, f64::max)
}

fn highest_worth(case: &Case, check: &str) -> f64 {
    all_open(case).filter(|c| c.check == check).map(|c| c.worth).fold(0.0, f64::max)
}

fn advised(case: &Case) -> Vec<String> {
    case.advice.next.iter().map(|c| format!("{} at {} net {:+.2}", c.check, c.position, c.net)).collect()
}

fn is_advised(case: &Case, check: &str) -> bool {
    case.advice.next.iter().any(|c| c.check == check)
}

fn name(check: &str) -> String {
    knowledge().check(check).unwrap_or_else(|| panic!("no check {check}")).name.clone()
}

/// Bank A of the V8: the heads lie on the bench with the cams out and six of eight intakes stream.
fn six_of_eight_streaming() -> Job {
    let layout = layout();
    let bank = layout.banks()[0];
    let mut job = Job::v8().opened(&["top-end-open", "block-open", "head-on-bench"]);
    let intakes: Vec<(u8, u8)> = layout.cylinders_of(bank).into_iter().flat_map(|c| [(c, 1), (c, 2)]).collect();
    for (i, (cylinder, number)) in intakes.iter().enumerate() {
        let outcome = if i < 6 { "stream" } else { "no-bubbles" };
        job = job.look("valve-seal-soap-air", "bubbles", &format!("cyl-{cylinder}-in-{number}"), outcome);
    }
    job
}

fn at_of(bank: usize, kind: &str) -> Vec<String> {
    let layout = layout();
    let bank = layout.banks()[bank];
    layout
        .cylinders_of(bank)
        .into_iter()
        .flat_map(|c| [format!("cyl-{c}-{kind}-1"), format!("cyl-{c}-{kind}-2")])
        .collect()
}

#[test]
fn rule_1_six_streaming_intakes_settle_that_head() {
    let case = six_of_eight_streaming().case();
    let head = block(
        &case,
        "head",
        &layout().label(&"bank-A".parse().expect("an address")),
        &["valve-work", "insert-work", "beyond"],
    );
    assert!(head > 0.99, "the head needs valve work for certain, not {head}");
    for at in at_of(0, "ex") {
        for check in ["valve-seal-soap-air", "valve-seal-solvent", "valve-seal-vacuum"] {
            let here = all_open(&case).find(|c| c.check == check && c.position.address() == at);
            if let Some(c) = here {
                assert!(
                    c.worth < 1e-9 || c.net <= 0.0,
                    "{check} at {at} on the settled head: worth {}, net {}",
                    c.worth,
                    c.net
                );
            }
        }
    }
}

#[test]
fn rule_1_the_other_head_keeps_the_worth_of_its_seal_checks() {
    let case = six_of_eight_streaming().case();
    let most = |bank: usize| {
        let seals = ["valve-seal-soap-air", "valve-seal-solvent", "valve-seal-vacuum"];
        let at = at_of(bank, "ex");
        at.iter().flat_map(|at| seals.map(|check| worth_in_a_round(&case, check, at))).fold(0.0, f64::max)
    };
    let (settled, open) = (most(0), most(1));
    assert!(open > settled, "bank B {open} is worth more than bank A {settled}");
}

#[test]
fn rule_2_find_out_why_before_the_head_is_sent() {
    let case = six_of_eight_streaming().case();
    let first: Vec<&str> = case.advice.next.iter().take(6).map(|c| c.check.as_str()).collect();
    let why = [
        "cam-timing-check",
        "timing-drive-inspect",
        "family-defect-lookup",
        "seat-insert-look",
        "seat-insert-tap",
        "valve-runout",
        "stem-tip-height",
    ];
    assert!(
        first.iter().any(|c| why.contains(c)),
        "one of {why:?} is among the first advised, not {:?}",
        advised(&case)
    );
    let on_a: Vec<String> = at_of(0, "in").into_iter().chain(at_of(0, "ex")).collect();
    let more =
        case.advice.next.iter().find(|c| c.check.starts_with("valve-seal-") && on_a.contains(&c.position.address()));
    assert!(
        more.is_none(),
        "no more air and soap on that head, but {:?}",
        more.map(|c| (&c.check, c.position.address(), c.net))
    );
}

fn boiled_and_low() -> Job {
    Job::v8()
        .look("history-interview", "overheat-told", "engine", "yes")
        .look("combustion-gas-coolant", "colour", "engine", "quick-change")
        .compressions(&["12.0", "12.1", "8.3", "8.5", "12.0", "11.9", "12.1", "12.0"])
}

/// Heads off, bores holding fluid overnight; the three other signs are added by the tests.
fn fluid_holds() -> Job {
    let mut job = Job::v8()
        .look("history-interview", "overheat-told", "engine", "yes")
        .look("history-interview", "low-oil-told", "engine", "no")
        .look("combustion-gas-coolant", "colour", "engine", "quick-change")
        .opened(&["top-end-open", "block-open"]);
    for cylinder in 1..=8 {
        job = job.look("static-fluid-hold", "level-left", &format!("cyl-{cylinder}"), "holds-more-than-half");
    }
    job
}

const APART: &[&str] = &["shells", "grind", "replace"];

#[test]
fn rule_4_four_good_signs_leave_the_bottom_end_alone() {
    let case = fluid_holds()
        .look("crank-turning-torque", "turn", "engine", "smooth-and-even")
        .read("oil-pressure-hot-idle", "pressure", "engine", "2.2", "bar")
        .look("oil-filter-cut", "non-magnetic", "engine", "clean")
        .look("oil-filter-cut", "magnetic", "engine", "clean")
        .case();
    let apart = block(&case, "crank", "", APART);
    assert!(apart < 0.05, "the bottom end must come apart in less than 5 of 100, not {apart}");
    let opening = case.advice.next.iter().find(|c| c.stage == "bottom-end-open");
    assert!(opening.is_none(), "no check that opens the bottom end, but {:?}", advised(&case));
}

#[test]
fn rule_4_a_fluid_hold_alone_says_nothing_of_the_bearings() {
    let before = Job::v8()
        .look("history-interview", "overheat-told", "engine", "yes")
        .look("history-interview", "low-oil-told", "engine", "no")
        .look("combustion-gas-coolant", "colour", "engine", "quick-change")
        .opened(&["top-end-open", "block-open"])
        .case();
    let with_hold = fluid_holds().case();
    let (was, is) = (block(&before, "crank", "", APART), block(&with_hold, "crank", "", APART));
    assert!(is > was / 2.0, "fluid in the bores does not clear bearings: {was} became {is}");
    assert!(is >= 0.05, "with the hold alone nobody may claim less than 5 of 100: {is}");
}

#[test]
fn rule_5_one_falling_level_is_weak_news() {
    let opened = Job::v8().opened(&["top-end-open", "block-open"]);
    let before = opened.case();
    let after = opened.look("static-fluid-hold", "level-left", "cyl-3", "drops-most").case();
    let bad = |case: &Case| {
        1.0 - (1.0 - p_state(case, "bore", "cyl-3", &["scored"])) * (1.0 - p_state(case, "rings", "cyl-3", &["broken"]))
    };
    let factor = bad(&after) / bad(&before);
    assert!(factor < 6.0, "scored or broken rises by less than 6, not {factor}: {} to {}", bad(&before), bad(&after));
}

#[test]
fn rule_5_after_a_falling_level_comes_a_look_or_a_gauge_and_no_teardown() {
    let case = Job::v8()
        .opened(&["top-end-open", "block-open"])
        .look("static-fluid-hold", "level-left", "cyl-3", "drops-most")
        .case();
    let for_bores: Vec<&CheckWorth> = all_open(&case)
        .filter(|c| {
            c.position.address() == "cyl-3"
                && ["bore-visual", "bore-gauge", "ring-and-piston-look", "ring-fit"].contains(&c.check.as_str())
        })
        .collect();
    let best = for_bores.iter().max_by(|a, b| a.net.total_cmp(&b.net)).expect("bore checks are open");
    assert!(
        ["bore-visual", "bore-gauge"].contains(&best.check.as_str()),
        "a look or a gauge before pulling pistons, not {}",
        best.check
    );
}

#[test]
fn rule_6_no_heat_story_lowers_the_worth_of_the_hardness_test_but_not_to_nothing() {
    let open = Job::v8().look("combustion-gas-coolant", "colour", "engine", "quick-change").opened(&[
        "top-end-open",
        "block-open",
        "head-on-bench",
        "machine-shop",
    ]);
    let yes = open.clone().look("history-interview", "overheat-told", "engine", "yes").case();
    let no = open.look("history-interview", "overheat-told", "engine", "no").case();
    let (with, without) = (highest_worth(&yes, "head-hardness-test"), highest_worth(&no, "head-hardness-test"));
    assert!(without < with, "answer no {without} is worth less than answer yes {with}");
    assert!(without > 0.0, "owners forget: it never reaches nothing");
}

#[test]
fn rule_6_no_oil_story_lowers_the_worth_of_pressure_and_filter() {
    let yes = Job::v8().look("history-interview", "low-oil-told", "engine", "yes").case();
    let no = Job::v8().look("history-interview", "low-oil-told", "engine", "no").case();
    for check in ["oil-pressure-hot-idle", "oil-filter-cut"] {
        let (with, without) = (highest_worth(&yes, check), highest_worth(&no, check));
        assert!(without < with, "{check}: answer no {without} is worth less than answer yes {with}");
    }
}

fn flakes_and_low_pressure() -> Job {
    Job::v8().look("oil-filter-cut", "non-magnetic", "engine", "flakes").read(
        "oil-pressure-hot-idle",
        "pressure",
        "engine",
        "0.3",
        "bar",
    )
}

#[test]
fn rule_8_flakes_with_low_hot_pressure_end_the_argument() {
    let apart = block(&flakes_and_low_pressure().case(), "crank", "", APART);
    assert!(apart > 0.9, "the bottom end must come apart in more than 90 of 100, not {apart}");
}

#[test]
fn rule_8_nothing_that_runs_the_engine_is_offered_after_flakes() {
    let case = flakes_and_low_pressure().case();
    let running = case.advice.next.iter().find(|c| c.stage == "engine-running");
    assert!(running.is_none(), "no running test, but {:?}", advised(&case));
    let noise = all_open(&case).find(|c| c.check == "noise-location").map_or(0.0, |c| c.worth);
    assert!(noise < 1e-9 || net(&case, "noise-location") <= 0.0, "where it knocks has no worth: {noise}");
}

#[test]
fn rule_9_a_hard_stop_ends_cranking_and_running() {
    let case = Job::v8().look("crank-turned-by-hand", "feel", "engine", "stops-hard").case();
    for open in all_open(&case) {
        let check = knowledge().check(&open.check).expect("a known check");
        assert!(!check.prerequisites.iter().any(|p| p == "crank-turns"), "{} turns the crank", open.check);
        assert!(check.stage != "engine-running", "{} runs the engine", open.check);
    }
    assert!(case.advice.withheld.iter().any(|w| w.check == "compression-dry"), "and it says what is kept back");
}

#[test]
fn rule_9_looks_rise_after_a_hard_stop() {
    let before = Job::v8().case();
    let after = Job::v8().look("crank-turned-by-hand", "feel", "engine", "stops-hard").case();
    let (was, is) = (highest_worth(&before, "borescope"), highest_worth(&after, "borescope"));
    assert!(is > was, "a look through the plug hole is worth more: {was} became {is}");
}

#[test]
fn rule_10_no_wet_test_on_a_good_cylinder() {
    let case = Job::v8().compressions(&["12.0", "12.1", "8.3", "12.0", "12.0", "11.9", "12.1", "12.0"]).case();
    let good = worth(&case, "compression-wet", "cyl-1").unwrap_or(0.0);
    assert!(good < 0.05, "close to nothing on a full cylinder: {good}");
    assert!(worth(&case, "compression-wet", "cyl-3").is_some(), "and open on the low one");
}

#[test]
fn rule_10_no_wet_test_on_a_diesel() {
    let layout = json!({"arrangement": "inline", "cylinders": 4, "fuel": "diesel", "valve_gear": "twin-cam"});
    let case = Job::on(layout).compressions(&["28.0", "27.5", "17.0", "28.1"]).case();
    assert!(all_open(&case).all(|c| c.check != "compression-wet"), "an oil test on a diesel is never offered");
}

#[test]
fn rule_11_leak_down_goes_to_the_low_one() {
    let case = Job::v8().compressions(&["12.0", "12.1", "8.3", "12.0", "12.0", "11.9", "12.1", "12.0"]).case();
    let first = all_open(&case).find(|c| c.check == "leak-down").expect("leak-down is open");
    assert_eq!(first.position.address(), "cyl-3", "the low one first");
    let fifth = all_open(&case).filter(|c| c.check == "leak-down").find(|c| c.position.address() != "cyl-3");
    assert!(fifth.is_none_or(|c| c.net <= 0.0), "a good one does not pay: {:?}", fifth.map(|c| c.net));
}

#[test]
fn rule_12_when_the_head_comes_off_anyway_looks_through_the_plug_hole_stop_paying() {
    let case = boiled_and_low()
        .look("overheat-witness", "heat-marks", "bank-A", "plain-to-see")
        .look("leak-down", "bubbles-in-coolant", "cyl-3", "steady")
        .look("leak-down", "heard-neighbour", "cyl-3", "clear")
        .case();
    for check in ["borescope", "leak-down", "cylinder-drip-under-pressure"] {
        let paying = case
            .advice
            .next
            .iter()
            .find(|c| c.check == check && ["cyl-3", "cyl-4"].contains(&c.position.address().as_str()));
        assert!(paying.is_none(), "{check} is below its cost, but net {:?}", paying.map(|c| c.net));
    }
}

#[test]
fn rule_13_what_opening_makes_impossible_is_listed_before() {
    let case = Job::v8().look("history-interview", "overheat-told", "engine", "yes").case();
    for check in ["oil-pressure-hot-idle", "combustion-gas-coolant", "noise-location"] {
        assert!(
            case.advice.last_chance.contains(&name(check)),
            "{check} is listed, but the list is {:?}",
            case.advice.last_chance
        );
    }
}

#[test]
fn rule_13_nothing_is_a_last_chance_after_opening() {
    for stage in ["top-end-open", "block-open", "bottom-end-open"] {
        let case = Job::v8().look("history-interview", "overheat-told", "engine", "yes").opened(&[stage]).case();
        assert!(case.advice.last_chance.is_empty(), "after {stage}: {:?}", case.advice.last_chance);
    }
}

#[test]
fn rule_14_hardness_before_money() {
    let case = boiled_and_low()
        .look("overheat-witness", "heat-marks", "bank-A", "plain-to-see")
        .look("overheat-witness", "heat-marks", "bank-B", "plain-to-see")
        .opened(&["top-end-open", "block-open", "head-on-bench"])
        .read("head-straightedge", "gap", "bank-A", "0.40", "mm")
        .read("head-straightedge", "gap", "bank-B", "0.40", "mm")
        .case();
    for check in
        ["seat-contact-blueing", "stem-guide-clearance", "stem-rock-quick", "seat-insert-look", "valve-seal-soap-air"]
    {
        let worth = highest_worth(&case, check);
        assert!(
            worth < 0.01 && !is_advised(&case, check),
            "{check} on a head that is past cutting has no worth, but {worth}"
        );
    }
}

fn confirmed(job: Job) -> Job {
    job.look("head-crack-dye", "lines", "bank-A", "line-into-port-seat-or-passage").look(
        "head-pressure-test",
        "bubbles",
        "bank-A",
        "steady-stream",
    )
}

fn loses_coolant() -> Job {
    Job::v8()
        .look("history-interview", "overheat-told", "engine", "yes")
        .look("cooling-pressure-hold", "hold", "engine", "fast-drop")
        .look("combustion-gas-coolant", "colour", "engine", "quick-change")
        .opened(&["top-end-open", "block-open", "head-on-bench", "machine-shop"])
}

#[test]
fn rule_16_a_clean_dye_test_does_not_clear_a_head_that_loses_coolant() {
    let case = loses_coolant().look("head-crack-dye", "lines", "bank-A", "none").case();
    let left = worth(&case, "head-pressure-test", "bank-A").unwrap_or(0.0);
    assert!(left > 0.0, "the pressure test keeps worth after a clean dye test");
}

/// Chance that any of these cylinders has the condition.
fn somewhere(job: &Job, condition: &str, cylinders: &[u8]) -> f64 {
    use workup::{beliefs, findings, network};
    let state = job.state();
    let net = network::engine_net(&layout(), &workup::told(&state, knowledge()), knowledge());
    let (found, _) = findings::of_state(&state, &layout(), &net, knowledge());
    let gathered = beliefs::gather(&net, &layout(), knowledge(), &found);
    let engine = inference::lanes::Engine::build(&net.net, &gathered.readings).expect("an engine");
    let run = engine.run(&inference::lanes::Extra::default()).expect("a run");
    let none: Vec<(usize, Vec<f64>)> = cylinders
        .iter()
        .map(|c| {
            let variable = net.sites[&(condition.to_owned(), anatomy::Position::Cylinder(*c))];
            let states = net.net.variables[variable].states.len();
            (variable, (0..states).map(|s| if s == 0 { 1.0 } else { 0.0 }).collect())
        })
        .collect();
    1.0 - run.probability(&none)
}

#[test]
fn rule_16_a_crack_found_twice_needs_no_third_method() {
    let before = loses_coolant().case();
    let after = confirmed(loses_coolant()).case();
    let (was, is) = (
        worth(&before, "head-crack-dye", "bank-A").unwrap_or(0.0),
        worth(&after, "head-crack-magnetic", "bank-A").unwrap_or(0.0),
    );
    assert!(is < 0.05, "another method on a confirmed crack adds nothing: {is} (dye was worth {was})");
    // Somewhere on that head: a line in the casting is looked for per cylinder, and where it is found the other cylinders
    // are less likely to have one, so it is asked of them together.
    let crack = somewhere(&confirmed(loses_coolant()), "head-crack", &layout().cylinders_of(layout().banks()[0]));
    assert!(crack > 0.95, "the crack is believed: {crack}");
}

#[test]
fn rule_17_brown_cream_points_to_the_cooler_before_the_gasket() {
    let mut layout = v8_layout();
    layout["oil_cooler"] = json!("yes");
    let case = Job::on(layout).look("coolant-condition", "oil-in-coolant", "engine", "brown-cream").case();
    let cooler = p(&case, "oil-cooler", "engine");
    for bank in ["bank-A", "bank-B"] {
        let gasket = p(&case, "gasket-oil-coolant", bank);
        assert!(cooler > gasket, "cooler {cooler}, gasket {bank} {gasket}");
    }
    let both = p(&case, "gasket-oil-coolant", "bank-A") + p(&case, "gasket-oil-coolant", "bank-B");
    assert!(cooler > both, "cooler {cooler} against both gaskets together {both}");
}

#[test]
fn rule_18_a_repeat_of_one_kind_moves_less_than_the_first() {
    // A valve job in the making: a reading, its twin of the same kind, and one of another kind.
    let odds = |case: &Case| {
        let p = p(case, "rings", "cyl-3");
        (p / (1.0 - p)).ln()
    };
    let none = Job::v8().case();
    let one = Job::v8().compressions(&["12.0", "12.1", "7.0", "12.0", "12.0", "11.9", "12.1", "12.0"]);
    let two = one.clone().read("starter-current-compression", "peak-height", "cyl-3", "58", "%");
    let (first, second) = (odds(&one.case()) - odds(&none), odds(&two.case()) - odds(&one.case()));
    assert!(second.abs() < first.abs(), "first {first:+.2}, repeat {second:+.2}");
}

#[test]
fn rule_18_another_kind_outranks_a_repeat() {
    let case = Job::v8().compressions(&["12.0", "12.1", "7.0", "12.0", "12.0", "11.9", "12.1", "12.0"]).case();
    let (repeat, other) = (
        worth(&case, "starter-current-compression", "cyl-3").unwrap_or(0.0),
        worth(&case, "leak-down", "cyl-3").unwrap_or(0.0),
    );
    assert!(other > repeat, "leak-down {other} against a second cranking test {repeat}");
}

#[test]
fn rule_20_a_film_that_wipes_off_is_history_and_not_a_coolant_fault() {
    let before = Job::v8().opened(&["top-end-open", "block-open"]);
    let mut after = before.clone();
    after.tell(
        "residue-seen",
        json!({"position": "bank-A", "residue": "blue-film-on-machined-face", "place": "deck", "dissolves": {"brake_cleaner": "yes"}}),
    );
    let (was, is) = (before.case(), after.case());
    for (id, at) in [("gasket-cylinder-coolant", "cyl-1"), ("gasket-oil-coolant", "bank-A"), ("head-crack", "cyl-1")] {
        let (a, b) = (p(&was, id, at), p(&is, id, at));
        assert!((a - b).abs() < 0.02, "{id} stays where it was: {a} and {b}");
    }
    let (a, b) = (p(&was, "poor-repair", "engine"), p(&is, "poor-repair", "engine"));
    assert!(b > a && b < 3.0 * a, "poor repair rises slightly: {a} to {b}");
}

/// A head that is settled with a bottom end that has answered well, and prices that leave no doubt.
fn safe_order() -> Job {
    let mut job = fluid_holds()
        .look("crank-turning-torque", "turn", "engine", "smooth-and-even")
        .read("oil-pressure-hot-idle", "pressure", "engine", "2.4", "bar")
        .look("oil-filter-cut", "non-magnetic", "engine", "clean")
        .look("oil-filter-cut", "magnetic", "engine", "clean")
        .look("timing-drive-inspect", "state", "engine", "good")
        .opened(&["head-on-bench", "machine-shop"])
        .quote("exchange-recon-heads", "4200")
        .quote("used-engine", "9800")
        .quote("exchange-reman-engine", "16500");
    for bank in ["bank-A", "bank-B"] {
        job = job
            .read("block-deck-straightedge", "gap", bank, "0.02", "mm")
            .read("head-straightedge", "gap", bank, "0.14", "mm")
            .read("head-hardness-test", "hardness", bank, "42", "HB");
    }
    for cylinder in 1..=8 {
        job = job.look("bore-visual", "wall", &format!("cyl-{cylinder}"), "hone-visible");
    }
    job
}

#[test]
fn rule_21_stop_when_the_order_is_safe() {
    let case = safe_order().case();
    assert_eq!(case.advice.best, "exchange-recon-heads", "soft heads on a good block are exchanged");
    let stop = case.advice.stop.as_ref();
    assert!(stop.is_some(), "stop and quote, but it advises {:?}", advised(&case));
}

#[test]
fn rule_21_the_stop_names_the_one_reading_that_would_open_it_again() {
    let case = safe_order().case();
    let stop = case.advice.stop.expect("a stop");
    let anything = case.advice.rest.iter().any(|c| c.worth > 0.0);
    assert!(
        !anything || stop.nearest.is_some_and(|n| stop.words.contains(&n)),
        "the words name the nearest reading: {}",
        stop.words
    );
}

#[test]
fn rule_22_proof_checks_are_kept_out_of_the_stop_rule() {
    let case = safe_order().case();
    let proofs: Vec<&str> =
        knowledge().checks.iter().filter(|c| c.stage == "after-repair").map(|c| c.id.as_str()).collect();
    assert!(proofs.len() >= 4, "oil pressure, compression, cooling hold, heat cycles: {proofs:?}");
    let withheld: BTreeMap<&str, &str> =
        case.advice.withheld.iter().map(|w| (w.check.as_str(), w.why.as_str())).collect();
    for proof in proofs {
        assert!(all_open(&case).all(|c| c.check != proof), "{proof} is not weighed for worth");
        assert!(
            withheld.get(proof).is_some_and(|why| why.contains("whatever it is worth")),
            "{proof} is done whatever it is worth"
        );
    }
}
