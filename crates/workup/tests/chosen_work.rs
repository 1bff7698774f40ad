//! What follows from the chosen work: the estimate line by line, the build stages it reaches, and the proof it asks for.

#![expect(clippy::expect_used, clippy::indexing_slicing, reason = "helpers of tests stop at the first surprise")]

use std::collections::{BTreeMap, BTreeSet};
use std::sync::OnceLock;

use knowledge::Knowledge;
use logbook::{JobState, fold, seal_story, story_from_lines};
use quantity::Money;
use serde_json::{Value, json};
use workup::estimate::{Estimate, Group, Price, Range};
use workup::network::attributes;
use workup::proof::Standing;
use workup::work::Judged;
use workup::{Case, work_up};

fn knowledge() -> &'static Knowledge {
    static LOADED: OnceLock<Knowledge> = OnceLock::new();
    LOADED.get_or_init(|| Knowledge::builtin().expect("the built-in knowledge loads"))
}

/// A job told line by line.
#[derive(Clone)]
struct Job(Vec<String>);

impl Job {
    fn on(layout: &Value) -> Self {
        Job(Vec::new()).tell("job-opened", json!({"title": "work"})).tell("engine-described", json!({"layout": layout}))
    }

    fn four() -> Self {
        Self::on(&four())
    }

    fn tell(self, kind: &str, body: Value) -> Self {
        self.labelled("", kind, body)
    }

    fn labelled(mut self, label: &str, kind: &str, body: Value) -> Self {
        let minute = self.0.len();
        let at = format!("2026-03-02T{:02}:{:02}:00Z", 6 + minute / 60, minute % 60);
        let mut line = json!({"at": at, "by": "bench", "device": "bench-1", "kind": kind, "body": body});
        if !label.is_empty() {
            line["label"] = json!(label);
        }
        self.0.push(line.to_string());
        self
    }

    fn rate(self, amount: &str) -> Self {
        self.tell("money-told", json!({"labour_rate": {"amount": amount, "currency": "EUR"}, "tax_percent": "19"}))
    }

    fn chosen(self, option: &str, quotes: &[&str]) -> Self {
        self.tell("option-chosen", json!({"option": option, "by": "owner", "reason": "so", "quotes": quotes}))
    }

    fn quote(self, label: &str, body: Value) -> Self {
        let mut whole = json!({"supplier": label, "lead_days": [2, 4]});
        for (key, value) in body.as_object().expect("an object") {
            whole[key] = value.clone();
        }
        self.labelled(label, "quote-received", whole)
    }

    fn opened(self, stages: &[&str]) -> Self {
        stages.iter().fold(self, |job, stage| job.tell("stage-reached", json!({"stage": stage})))
    }

    fn state(&self) -> JobState {
        let lines = story_from_lines(&self.0.join("\n")).expect("a story");
        fold(&seal_story("work", &lines).expect("a sealed story"))
    }

    fn case(&self) -> Case {
        work_up(&self.state(), knowledge()).expect("a case")
    }

    fn estimate(&self) -> Estimate {
        self.case().estimate.expect("an estimate")
    }
}

fn four() -> Value {
    json!({"arrangement": "inline", "cylinders": 4, "fuel": "petrol", "valve_gear": "twin-cam", "valves_per_cylinder": 4,
           "head_material": "aluminium", "timing_drive": "chain"})
}

fn euro(amount: &str) -> Value {
    json!({"amount": amount, "currency": "EUR"})
}

fn known(price: &Price) -> Option<Range> {
    match price {
        Price::Known(range) => Some(*range),
        Price::In(_) | Price::Open(_) | Price::NotSaid => None,
    }
}

fn sum(ranges: impl IntoIterator<Item = Range>) -> Range {
    ranges
        .into_iter()
        .reduce(|a, b| Range {
            lo: a.lo.plus(&b.lo).expect("one currency"),
            hi: a.hi.plus(&b.hi).expect("one currency"),
        })
        .expect("something to add up")
}

fn lines(estimate: &Estimate) -> Range {
    sum(estimate.lines.iter().filter_map(|l| known(&l.price)))
}

/// The total is the price at the choice plus every difference that is named.
fn agrees(estimate: &Estimate) {
    let total = estimate.total.expect("a total");
    assert_eq!(lines(estimate), total, "lines add up");
    let at_choice = estimate.when_chosen.expect("a price at the choice");
    let with = sum(std::iter::once(at_choice).chain(estimate.differs.iter().map(|d| d.by)));
    assert_eq!(with, total, "{:#?}", estimate.differs);
}

#[test]
fn lines_add_up_to_the_total_and_to_the_price_at_the_choice_for_every_option() {
    let options: Vec<&str> = knowledge().options.iter().map(|o| o.id.as_str()).collect();
    for layout in [four(), v_six()] {
        for option in &options {
            let job = Job::on(&layout).rate("78.35").chosen(option, &[]);
            let case = job.case();
            let estimate = case.estimate.clone().unwrap_or_else(|| panic!("{option} has an estimate"));
            agrees(&estimate);
            assert!(estimate.differs.is_empty(), "{option}: {:?}", estimate.differs);
            assert_eq!(estimate.open, 0, "{option}");
            // The page shows the same price, in whole units of the currency.
            let shown = case.options.iter().find(|o| o.id == *option).and_then(|o| o.money.clone()).expect("money");
            let total = estimate.total.expect("a total");
            for (cent, page) in [(total.lo, shown.price[0]), (total.hi, shown.price[1])] {
                assert!((cent.to_f64() - page).abs() < 0.006, "{option}: {cent} and {page}");
            }
        }
    }
}

fn v_six() -> Value {
    json!({"arrangement": "v", "cylinders": 6, "fuel": "petrol", "valve_gear": "twin-cam", "valves_per_cylinder": 4})
}

#[test]
fn every_line_is_a_whole_number_of_cents_and_rounded_once() {
    let estimate = Job::four().rate("77.77").chosen("exchange-recon-heads", &[]).estimate();
    let rate = Money::new("77.77".parse().expect("a figure"), "EUR".parse().expect("a currency")).expect("money");
    let refit = estimate.lines.iter().find(|l| l.what == "Refit head, time engine").expect("a line for refitting");
    let four_hours = rate.times("4".parse().expect("a figure")).expect("an amount");
    let ten_hours = rate.times("10".parse().expect("a figure")).expect("an amount");
    assert_eq!(known(&refit.price), Some(Range { lo: four_hours, hi: ten_hours }));
    assert_eq!(refit.how, "4 to 10 h");
}

#[test]
fn a_quote_takes_the_place_of_a_usual_price_and_the_difference_says_so() {
    let job = Job::four().rate("80.00").quote(
        "heads",
        json!({"need": "head_exchange_fit", "price": euro("985.00"), "freight": euro("28.00"),
               "core_deposit": euro("180.00")}),
    );
    let estimate = job.chosen("exchange-recon-heads", &["@heads"]).estimate();
    agrees(&estimate);
    let quoted: Vec<&str> = estimate.lines.iter().filter(|l| l.how == "as quoted").map(|l| l.who.as_str()).collect();
    assert_eq!(quoted, ["heads", "heads"], "the head and its freight");
    let head = estimate.lines.iter().find(|l| l.what.contains("what is bought")).expect("a line for what is bought");
    assert_eq!(
        known(&head.price).map(|r| (r.lo.to_string(), r.hi.to_string())),
        Some(("EUR 985.00".to_owned(), "EUR 985.00".to_owned()))
    );
    assert!(estimate.lines.iter().any(|l| l.what == "Fit an exchange reconditioned head" && l.how == "0.6 to 1.5 h"));
    assert_eq!(estimate.differs.len(), 1, "{:?}", estimate.differs);
    assert_eq!(estimate.deposits.len(), 1);
    let total = estimate.total.expect("a total");
    let tax = estimate.tax.expect("tax as told");
    assert_eq!(total.lo.plus(&tax.on_top.lo).expect("one currency"), tax.with.lo);
}

#[test]
fn a_quote_for_the_whole_option_is_the_whole_price() {
    let job = Job::four().rate("80.00").quote(
        "counter",
        json!({"option": "exchange-recon-heads", "price": euro("2790.00"), "freight": euro("10.50")}),
    );
    let estimate = job.chosen("exchange-recon-heads", &["@counter"]).estimate();
    agrees(&estimate);
    assert_eq!(estimate.total.map(|t| t.hi.to_string()).as_deref(), Some("EUR 2,800.50"));
    let work: Vec<_> = estimate.lines.iter().filter(|l| l.price == Price::NotSaid).collect();
    assert!(work.len() > 3, "the work of the way is named");
    assert!(!estimate.lines.iter().any(|l| matches!(l.price, Price::In(_))), "and none is said to be in the price");
    assert_eq!(estimate.open, 0, "what the quote leaves unsaid is no line without a price");
}

#[test]
fn without_a_rate_each_line_says_what_is_missing_and_a_quote_still_counts() {
    let job = Job::four().quote("heads", json!({"need": "head_exchange_fit", "price": euro("985.00")}));
    let estimate = job.chosen("exchange-recon-heads", &["@heads"]).estimate();
    let open: Vec<&Price> = estimate.lines.iter().map(|l| &l.price).filter(|p| known(p).is_none()).collect();
    assert!(open.len() > 5 && open.len() == estimate.open);
    assert!(open.iter().any(|p| matches!(p, Price::Open(why) if why.contains("hourly rate is not told"))));
    assert!(open.iter().any(|p| matches!(p, Price::Open(why) if why.contains("freight"))));
    assert_eq!(estimate.total.map(|t| t.lo.to_string()).as_deref(), Some("EUR 985.00"));
    assert!(estimate.when_chosen.is_none() && estimate.differs.is_empty());
}

#[test]
fn a_quote_in_another_currency_is_open_and_not_added() {
    let dollars = json!({"amount": "700.00", "currency": "USD"});
    let job = Job::four().rate("80.00").quote("far", json!({"need": "head_exchange_fit", "price": dollars}));
    let estimate = job.chosen("exchange-recon-heads", &["@far"]).estimate();
    let open = |l: &&workup::estimate::EstimateLine| matches!(&l.price, Price::Open(why) if why.contains("convert"));
    assert_eq!(estimate.lines.iter().filter(open).count(), 1);
    agrees(&estimate);
}

#[test]
fn work_asked_for_besides_comes_on_top_and_is_named() {
    let job = Job::four().rate("80.00").quote("cooling", json!({"need": "radiator_renew", "price": euro("264.00")}));
    let estimate = job.chosen("exchange-recon-heads", &["@cooling"]).estimate();
    agrees(&estimate);
    let besides: Vec<&str> =
        estimate.lines.iter().filter(|l| l.group == Group::Besides).map(|l| l.what.as_str()).collect();
    assert_eq!(besides, ["Renew radiator", "Renew radiator: what is bought"]);
}

#[test]
fn work_that_the_price_holds_already_is_not_paid_twice() {
    let job = Job::four()
        .rate("80.00")
        .opened(&["top-end-open", "block-open", "bottom-end-open"])
        .quote("nozzles", json!({"need": "injector_renew", "price": euro("30.00")}));
    let estimate = job.chosen("fix-failed-only", &["@nozzles"]).estimate();
    agrees(&estimate);
    assert!(estimate.lines.iter().any(|l| l.group == Group::Found && l.who == "nozzles"));
}

fn reached(case: &Case) -> BTreeSet<&str> {
    case.reach.stages.iter().map(String::as_str).collect()
}

#[test]
fn one_head_machined_does_not_build_a_whole_engine() {
    let case = Job::four().chosen("recondition-own-heads", &[]).case();
    let stages = reached(&case);
    for wanted in ["prep", "block_ready", "head_ready", "head_fit", "cams_ohc", "timing_ohc", "covers", "outside"] {
        assert!(stages.contains(wanted), "{wanted}");
    }
    for wanted in ["wait", "first_start", "re_torque", "proof", "handover"] {
        assert!(stages.contains(wanted), "every build has {wanted}");
    }
    for spared in ["mains_fit", "pistons_fit", "deck_height", "oil_side"] {
        assert!(case.reach.left_out.iter().any(|s| s == spared), "{spared} is not reached");
    }
    // Nothing of another valve gear, on the sheet or among what was left out.
    let all: BTreeSet<&String> = case.reach.stages.iter().chain(&case.reach.left_out).collect();
    assert!(all.iter().all(|s| !s.ends_with("_ohv") && *s != "cam_block"));
}

/// The sum of what takes a cause away, as far as an option does not do it itself; from the knowledge, added by hand here.
fn remedies(cause: &str, option: &str) -> (f64, f64) {
    let k = knowledge();
    let option = &k.options.iter().find(|o| o.id == option).expect("the option").value;
    let all = &k.causes.iter().find(|c| c.id == cause).expect("the cause").value.remedies;
    let open = all.iter().filter(|r| {
        let petrol = r.applies.iter().all(|a| a.attribute != "fuel" || a.any_of.iter().any(|v| v == "petrol"));
        petrol && !r.operations.iter().any(|o| option.operations.contains(o)) && (option.keeps_engine || r.outside)
    });
    open.fold((0.0, 0.0), |(lo, hi), r| (lo + r.cost.lo, hi + r.cost.hi))
}

#[test]
fn a_named_cause_is_paid_for_by_every_option_that_keeps_the_engine_and_by_none_that_leaves_it() {
    let k = knowledge();
    for cause in ["overheated", "ran-low-oil", "detonation", "hydrolock", "dust-ingestion"] {
        for option in k.options.iter().map(|o| &o.value) {
            let job = || Job::four().rate("100").chosen(&option.id, &[]);
            let before = job().case().estimate.expect("an estimate");
            let named = job().tell("cause-named", json!({"cause": cause, "by": "bench"})).case();
            let after = named.estimate.expect("an estimate");
            agrees(&after);
            let (lo, hi) = if option.leaves_cause.is_some() { (0.0, 0.0) } else { remedies(cause, &option.id) };
            let more = |a: quantity::Money, b: quantity::Money| a.to_f64() - b.to_f64();
            let (was, is) = (before.total.expect("a total"), after.total.expect("a total"));
            let told = format!("{cause}, {}", option.id);
            assert!((more(is.lo, was.lo) - 100.0 * lo).abs() < 0.02, "{told}: {was:?} {is:?}");
            assert!((more(is.hi, was.hi) - 100.0 * hi).abs() < 0.02, "{told}: {was:?} {is:?}");
            let lines = after.lines.iter().filter(|l| l.what.starts_with("So that it does not happen again")).count();
            assert_eq!(lines > 0, hi > 0.0, "{told}");
            // Whoever keeps the engine and means to mend it has the cause in the price, here or in the option's own work.
            let own = k.causes.iter().find(|c| c.id == cause).expect("the cause");
            let does = own.remedies.iter().any(|r| r.operations.iter().any(|o| option.operations.contains(o)));
            assert!(!option.keeps_engine || option.leaves_cause.is_some() || does || lines > 0, "{told}");
        }
    }
}

/// By hand: thermostat and cap 1.2 to 4.0, radiator and circuit 1.5 to 4.5; the smallest repair does neither by itself, so an
/// engine that overheated makes it 2.7 to 8.5 units dearer, at 100 an hour.
#[test]
fn the_smallest_repair_of_an_engine_that_overheated_pays_for_thermostat_and_circuit() {
    let job = || Job::four().rate("100").chosen("fix-failed-only", &[]);
    let was = job().case().estimate.expect("an estimate").total.expect("a total");
    let case = job().tell("cause-named", json!({"cause": "overheated", "by": "bench"})).case();
    let is = case.estimate.expect("an estimate").total.expect("a total");
    assert!((is.lo.to_f64() - was.lo.to_f64() - 270.0).abs() < 0.011, "{was:?} {is:?}");
    assert!((is.hi.to_f64() - was.hi.to_f64() - 850.0).abs() < 0.011, "{was:?} {is:?}");
}

#[test]
fn a_cause_signed_as_unknown_and_one_that_only_the_repair_takes_away_add_nothing() {
    let job = || Job::four().rate("100").chosen("recondition-own-heads", &[]);
    let before = job().case().estimate.expect("an estimate").total;
    let unknown = job().tell("cause-unknown-signed", json!({"by": "bench"})).case();
    assert_eq!(unknown.estimate.expect("an estimate").total, before);
    let worn = job().tell("cause-named", json!({"cause": "high-mileage", "by": "bench"})).case();
    assert_eq!(worn.estimate.expect("an estimate").total, before);
}

#[test]
fn a_quote_taken_up_for_the_remedy_stands_in_its_place_and_is_not_paid_twice() {
    let quote = json!({
        "supplier": "Brackwater Cooling", "price": {"amount": "264.00", "currency": "EUR"}, "lead_days": [1, 4],
        "need": "radiator_renew",
    });
    let job = Job::four()
        .rate("100")
        .labelled("q", "quote-received", quote)
        .tell("cause-named", json!({"cause": "overheated", "by": "bench"}));
    let case = job.chosen("recondition-own-heads", &["@q"]).case();
    let estimate = case.estimate.expect("an estimate");
    agrees(&estimate);
    assert!(!estimate.lines.iter().any(|l| l.what.contains("flow and fan proved")), "{:#?}", estimate.lines);
    assert!(estimate.lines.iter().any(|l| l.who == "Brackwater Cooling"));
}

#[test]
fn an_overhaul_builds_every_stage_of_the_engine() {
    for layout in [four(), json!({"arrangement": "inline", "cylinders": 6, "fuel": "diesel", "valve_gear": "pushrod"})]
    {
        let case = Job::on(&layout).chosen("overhaul-own-shop", &[]).case();
        assert_eq!(case.reach.left_out, ["metal_cleared"], "which only metal in the oil calls for");
    }
}

#[test]
fn whatever_an_operation_opens_is_closed_by_a_stage_with_hold_points() {
    let k = knowledge();
    for gear in ["twin-cam", "pushrod"] {
        let layout = json!({"arrangement": "inline", "cylinders": 4, "fuel": "petrol", "valve_gear": gear});
        let attributes =
            Job::on(&layout).state().layout.map(|l| attributes(&l, &BTreeMap::new(), k)).expect("a layout");
        for operation in k.operations.iter().filter(|o| !o.opens.is_empty()) {
            let state = Job::on(&layout)
                .quote("asked", json!({"need": operation.id, "price": euro("100.00")}))
                .chosen("defer-monitor", &["@asked"])
                .state();
            // No belief is needed for what was asked for: neither blocks nor conditions.
            let judged = Judged { state: &state, knowledge: k, attributes: &attributes, blocks: &[], conditions: &[] };
            let reach = judged.reach(None);
            let here: BTreeSet<&String> = reach.stages.iter().chain(&reach.left_out).collect();
            for stage in k.steps.iter().filter(|s| s.closes.iter().any(|j| operation.opens.contains(j))) {
                let of_another_gear = !here.contains(&stage.id);
                assert!(reach.stages.contains(&stage.id) || of_another_gear, "{} and {}", operation.id, stage.id);
            }
            for always in ["first_start", "proof"] {
                assert!(reach.stages.iter().any(|s| s == always), "{}", operation.id);
            }
        }
    }
}

#[test]
fn what_was_opened_is_closed_whatever_was_chosen() {
    let job = Job::four().opened(&["bottom-end-open"]).chosen("defer-monitor", &[]);
    let stages: Vec<String> = job.case().reach.stages;
    for wanted in ["pistons_fit", "oil_side", "covers", "wait"] {
        assert!(stages.iter().any(|s| s == wanted), "{wanted} of {stages:?}");
    }
    assert!(!stages.iter().any(|s| s == "mains_fit"), "no main cap was looked at");
    let looked = job.tell(
        "reading-taken",
        json!({"check": "bearing-visual", "reading": "shell", "position": "main-1", "outcome": "copper-showing"}),
    );
    assert!(looked.case().reach.stages.iter().any(|s| s == "mains_fit"), "a main cap was off");
}

#[test]
fn a_hold_point_that_is_signed_and_a_joint_that_was_disturbed_bring_their_stage() {
    let job = Job::four().chosen("defer-monitor", &[]);
    assert!(job.case().reach.stages.is_empty(), "nothing was opened");
    let signed =
        job.clone().tell("hold-point-signed", json!({"stage": "mains_fit", "hold": "crank end play", "by": "bench"}));
    assert!(signed.case().reach.stages.iter().any(|s| s == "mains_fit"));
    let disturbed = job.tell("joint-disturbed", json!({"joint": "mains", "reason": "looked again"}));
    assert!(disturbed.case().reach.stages.iter().any(|s| s == "mains_fit"));
}

#[test]
fn a_repair_is_proved_by_its_last_reading_at_every_place_and_by_nothing_less() {
    let job = Job::four().chosen("exchange-recon-heads", &[]);
    assert_eq!(Job::four().case().proof.standing, Standing::NotAsked);
    let proof = job.case().proof;
    assert_eq!(proof.standing, Standing::NotProved);
    let places = |check: &str| proof.asked.iter().filter(|a| a.check == check).count();
    assert_eq!(places("proof-compression"), 4, "one for each cylinder");
    assert_eq!(places("proof-cooling-hold"), 1);
    // The first filter is cut open on the road: due later, not missing.
    let later: Vec<&str> = proof.due_later().map(|a| a.check.as_str()).collect();
    assert_eq!(later, ["proof-first-filter"]);
    let open = proof.open().count();
    assert_eq!(open + later.len(), proof.asked.len());
    let read = |job: Job, bar: &str| {
        job.tell(
            "reading-taken",
            json!({"check": "proof-compression", "reading": "pressure", "position": "cyl-1", "phase": "as-left",
                   "value": {"text": bar, "unit": "bar"}}),
        )
    };
    let low = read(job, "4.0").case().proof;
    assert_eq!(low.open().count(), open - 1);
    assert_eq!(low.pairs.len(), 1);
    assert!(low.reason.contains("proofs are missing"), "{}", low.reason);
}

#[test]
fn an_option_speaks_of_one_head_where_the_engine_has_one() {
    let name = |job: &Job| {
        let case = job.case();
        case.options.iter().find(|o| o.id == "exchange-recon-heads").map(|o| o.name.clone()).expect("the option")
    };
    assert_eq!(name(&Job::four()), "Exchange reconditioned head");
    assert_eq!(name(&Job::on(&v_six())), "Exchange reconditioned heads");
}

#[test]
fn what_was_closed_again_costs_its_opening_once_more_until_the_job_is_over() {
    let hours = |stages: &[&str]| -> f64 {
        stages.iter().map(|s| knowledge().stage(s).expect("a stage").access_minutes / 60.0).sum()
    };
    let stages = ["top-end-open", "block-open"];
    let access = |job: &Job| {
        let terms = workup::money::Terms::of(&job.state(), knowledge());
        let stages: Vec<String> = stages.iter().map(|s| (*s).to_owned()).collect();
        workup::money::access(&stages, &terms.reached, knowledge())
    };
    let open = Job::four().opened(&stages);
    assert!(access(&open).abs() < 1e-9, "it is open");
    let ran = open.tell("engine-run", json!({"run": "first-start"}));
    assert!((access(&ran) - hours(&stages)).abs() < 1e-9, "it ran, so it is closed: {}", access(&ran));
    let over = ran.tell("job-closed", json!({"how": "handed-back"}));
    assert!(access(&over).abs() < 1e-9, "what was done is priced as it was done");
}

#[test]
fn old_parts_are_owed_until_they_went_back_and_their_days_are_counted() {
    let order = |part: &str, due: &str| json!({"part": part, "supplier": "Fennmouth", "quantity": 1, "core_deposit": euro("180.00"), "core_due": due});
    let job = Job::four()
        .labelled("head", "part-ordered", order("recon_head", "2026-03-27"))
        .labelled("pump", "part-ordered", order("oil pump", "2026-03-12"))
        .tell("part-ordered", json!({"part": "head_gasket", "supplier": "Quayside", "quantity": 1}))
        .tell("part-returned", json!({"part": "a wrong one", "why": "wrong", "order": "@pump"}))
        .tell("part-returned", json!({"part": "old head", "why": "core", "order": "@head"}));
    let state = job.state();
    let cores = workup::cores::of(&state);
    let parts: Vec<(&str, bool)> = cores.iter().map(|c| (c.order.part.as_str(), c.back.is_some())).collect();
    assert_eq!(parts, [("oil pump", false), ("recon_head", true)], "a wrong part sent back is no old one");
    let clock = |core: usize, day: i8| cores[core].clock(jiff::civil::date(2026, 3, day));
    assert_eq!(clock(0, 2).as_deref(), Some("10 days left"));
    assert_eq!(clock(0, 11).as_deref(), Some("1 day left"));
    assert_eq!(clock(0, 12).as_deref(), Some("today is the last day"));
    assert_eq!(clock(0, 13).as_deref(), Some("the day passed yesterday"));
    assert_eq!(clock(0, 15).as_deref(), Some("the day passed 3 days ago"));
    assert_eq!(clock(1, 2), None, "it went back");
}

#[test]
fn a_long_wait_for_one_need_moves_the_option_out_and_the_soonest_quote_for_it_counts() {
    let days = |quotes: &[(&str, [u32; 2])]| {
        let mut job = Job::four().rate("80.00");
        for (label, lead) in quotes {
            job = job.quote(
                label,
                json!({"supplier": *label, "price": euro("900.00"), "lead_days": lead, "need": "head_exchange_fit"}),
            );
        }
        let case = job.case();
        let days = case.options.iter().find(|o| o.id == "exchange-recon-heads").expect("the option").days;
        days.map(|day| format!("{day}")).join(" to ")
    };
    // Usually 2 to 7 days.
    assert_eq!(days(&[]), "2 to 7");
    assert_eq!(days(&[("slow", [10, 14])]), "10 to 14");
    assert_eq!(days(&[("slow", [10, 14]), ("quick", [1, 3])]), "2 to 7");
}
