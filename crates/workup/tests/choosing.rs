//! Options under everything in doubt: two roads to one mean, what first place hangs on, and what must always hold.
//!
//! Sources:  the rules of issue and decision 0027; figures of the cases below are worked beside each of them
//! Value by: hand, or another road through the same sums
//! Digits:   0.5 per cent between two roads, as the trade needs them and no closer

#![expect(clippy::expect_used, clippy::panic, reason = "helpers of tests stop at the first surprise")]

use std::sync::OnceLock;

use inference::lanes::{Extra, Laid, drawn};
use knowledge::Knowledge;
use logbook::{JobState, fold, seal_story, story_from_lines};
use serde_json::{Value, json};
use workup::{Case, OptionLine, advice, beliefs, choosing, findings, money, network, work_up};

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
    let drawn = drawn(&net.net, &gathered.readings, count, 5).expect("draws");
    let engine = Laid::out(&net.net, &gathered.readings).expect("a tree").among(&drawn.likely);
    let run = engine.run(&Extra::default()).expect("a run");
    let draws = drawn.draws;
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

// ---- Jobs made of parts ----

const RATE: f64 = 90.0;

fn euros(amount: f64) -> Value {
    json!({"amount": format!("{amount:.2}"), "currency": "EUR"})
}

/// A four-cylinder car of 96 000 miles, as told; what is done to it is added line by line.
#[derive(Clone)]
struct Job(Vec<(&'static str, Value)>);

impl Job {
    fn worth(value: f64, scrap: f64) -> Self {
        let layout = json!({"arrangement": "inline", "cylinders": 4, "fuel": "petrol", "valve_gear": "twin-cam", "valves_per_cylinder": 4, "head_material": "aluminium"});
        Self(vec![
            ("job-opened", json!({"title": "choosing"})),
            ("engine-described", json!({"layout": layout})),
            ("money-told", json!({"labour_rate": euros(RATE), "scrap_value": euros(scrap)})),
            (
                "vehicle-described",
                json!({"year": 2018, "value": euros(value), "horizon_months": 36, "miles_per_year": 12000, "odometer": {"text": "96000", "unit": "mi"}, "odometer_believed": "yes"}),
            ),
        ])
    }

    fn and(mut self, kind: &'static str, body: Value) -> Self {
        self.0.push((kind, body));
        self
    }

    fn quoted(self, option: &str, amount: f64, days: [u32; 2]) -> Self {
        self.and(
            "quote-received",
            json!({"supplier": option, "option": option, "price": euros(amount), "lead_days": days}),
        )
    }

    /// Only these are left to choose from.
    fn only(mut self, options: &[&str]) -> Self {
        for option in knowledge().options.iter().filter(|o| !options.contains(&o.id.as_str())) {
            self = self.and("option-ruled-out", json!({"option": option.id, "because": "not asked here"}));
        }
        self
    }

    /// Bearing metal in the filter: the bottom end is done for.
    fn with_metal(self) -> Self {
        self.and(
            "reading-taken",
            json!({"check": "oil-filter-cut", "reading": "non-magnetic", "position": "engine", "outcome": "flakes"}),
        )
    }

    fn state(&self) -> JobState {
        let line = |(minute, (kind, body)): (usize, &(&str, Value))| {
            json!({"at": format!("2026-03-02T06:{minute:02}:00Z"), "by": "bench", "device": "bench-1", "kind": kind, "body": body})
                .to_string()
        };
        folded(&self.0.iter().enumerate().map(line).collect::<Vec<_>>().join("\n"))
    }

    fn case(&self) -> Case {
        work_up(&self.state(), knowledge()).expect("a case")
    }
}

fn line<'c>(case: &'c Case, id: &str) -> &'c OptionLine {
    case.options.iter().find(|o| o.id == id).unwrap_or_else(|| panic!("no option {id}"))
}

fn expected(case: &Case, id: &str) -> f64 {
    line(case, id).money.as_ref().expect("money").expected
}

fn open(case: &Case) -> Vec<&str> {
    case.options.iter().filter(|o| o.struck_out.is_none()).map(|o| o.id.as_str()).collect()
}

const REMAN: &str = "exchange-reman-engine";
const OVERHAUL: &str = "overhaul-own-shop";

// ---- Limits ----

#[test]
fn a_limit_strikes_options_out_with_its_reason_and_another_limit_brings_them_back() {
    let job = Job::worth(16_000.0, 1_000.0)
        .with_metal()
        .quoted(REMAN, 5_200.0, [5, 7])
        .quoted(OVERHAUL, 4_600.0, [20, 30])
        .only(&[REMAN, OVERHAUL, "sell-or-scrap"]);
    let case = job.case();
    assert_eq!(open(&case).len(), 3, "nothing told, nothing struck out");
    // 5 200 is over 5 000, 4 600 is not.
    let poor = job.clone().and("limits-told", json!({"most": euros(5_000.0)}));
    let case = poor.case();
    let why = line(&case, REMAN).struck_out.as_ref().expect("struck out").why.replace(char::is_whitespace, " ");
    assert!(why.contains("EUR 5,200") && why.contains("EUR 200 more") && why.contains("EUR 5,000"), "{why}");
    assert!(open(&case).contains(&OVERHAUL));
    let richer = poor.clone().and("limits-told", json!({"most": euros(5_300.0)})).case();
    assert!(open(&richer).contains(&REMAN), "the later limit holds");
    // Told on 2 March: 8 days to the 10th. Seven fit, thirty do not, and what is scrapped does not run.
    let hasty = job.clone().and("limits-told", json!({"ready_by": "2026-03-10"}));
    let case = hasty.case();
    assert_eq!(open(&case), [REMAN]);
    assert_eq!(case.advice.best, REMAN);
    let why = &line(&case, OVERHAUL).struck_out.as_ref().expect("struck out").why;
    assert!(why.contains("30 days") && why.contains("8 are left"), "{why}");
    // 2 + 30 days is the first of April.
    let patient = hasty.and("limits-told", json!({"ready_by": "2026-04-01"})).case();
    assert!(open(&patient).contains(&OVERHAUL));
    // A limit in another money is held against nothing, and said so.
    let foreign = job.and("limits-told", json!({"most": {"amount": "10.00", "currency": "GBP"}})).case();
    assert_eq!(open(&foreign).len(), 3);
    assert!(foreign.notices.iter().any(|n| n.code == "limit-not-held" && n.message.contains("EUR")));
}

#[test]
fn a_bill_that_could_not_be_borne_strikes_out_what_reaches_it_and_a_yes_strikes_out_nothing() {
    let job = Job::worth(16_000.0, 1_000.0)
        .quoted("used-engine", 4_000.0, [3, 5])
        .quoted(REMAN, 6_500.0, [5, 7])
        .only(&["used-engine", REMAN, "defer-monitor"]);
    let case = job.case();
    let all = case.comparison.as_ref().expect("a comparison");
    let bad = |id: &str| all.way(id).expect("a way").cost[1];
    let ids = open(&case);
    let (worst, next) = {
        let mut by: Vec<f64> = ids.iter().map(|id| bad(id)).collect();
        by.sort_by(f64::total_cmp);
        (by[2], by[1])
    };
    assert!(worst > next + 2.0, "{worst} {next}");
    let bill = f64::midpoint(worst, next);
    let told = |bears: &str| job.clone().and("limits-told", json!({"bad_bill": euros(bill), "bears": bears})).case();
    let no = told("no");
    let expected: Vec<&str> = ids.iter().copied().filter(|id| bad(id) < bill).collect();
    assert_eq!(open(&no), expected, "those whose bad case stays below");
    assert_eq!(open(&told("yes")), ids);
    assert_eq!(open(&told("unknown")), ids);
    assert!(no.comparison.as_ref().expect("a comparison").asks.is_none(), "answered once");
}

// ---- Cases that the trade would recognise ----

/// A bus that stands. By hand: both are paid whole by quote, so a day more for the customer moves the difference by the days
/// between them, 25 - 6 = 19; what is between them without standing costs, over 19, is the price of a day that turns it.
#[test]
fn a_bus_that_stands_is_decided_by_its_days() {
    let job = Job::worth(40_000.0, 2_000.0)
        .with_metal()
        .quoted(REMAN, 6_900.0, [5, 7])
        .quoted(OVERHAUL, 4_600.0, [20, 30])
        .only(&[REMAN, OVERHAUL]);
    let still = job.case();
    assert_eq!(still.advice.best, OVERHAUL, "nobody loses by waiting");
    let turns_at = (expected(&still, REMAN) - expected(&still, OVERHAUL)) / 19.0;
    assert!(turns_at > 0.0);
    let at = |day: f64| job.clone().and("money-told", json!({"standing_per_day": euros(day)})).case();
    let (below, above) = (at((turns_at - 1.0).floor()), at((turns_at + 1.0).ceil()));
    assert_eq!((below.advice.best.as_str(), above.advice.best.as_str()), (OVERHAUL, REMAN), "turns at {turns_at}");
    // Ten times as dear a day: 20 to 30 days are a spread of 2.9 days, and nothing else comes near.
    let dear = at((10.0 * turns_at).ceil());
    let hangs_on = dear.comparison.as_ref().and_then(|c| c.hangs_on.as_ref()).expect("two open options");
    let first = hangs_on.on.first().expect("something");
    assert!(first.what.contains("how many days") && first.share > 0.5, "{:?}", hangs_on.on);
    assert!(first.next.contains("a day that somebody stands by"));
}

/// An overheated soft head. By hand: a head that is soft for certain loses the deposit for certain, so a deposit of as much as
/// lies between the two prices turns the order.
#[test]
fn with_a_soft_head_exchange_against_new_hangs_on_the_deposit() {
    let soft = |job: Job| {
        let figure = json!({"item": "head_hardness_al", "bound": "min", "text": "75", "unit": "HB", "document": "handbook", "page": "1"});
        let hard = |hb: &str, spot: &str| json!({"check": "head-hardness-test", "reading": "hardness", "position": "bank-A", "value": {"text": hb, "unit": "HB"}, "spot": spot});
        job.and("engine-figure-set", figure)
            .and("stage-reached", json!({"stage": "top-end-open"}))
            .and("reading-taken", hard("40", "beside-1"))
            .and("reading-taken", hard("38", "beside-3"))
            .and("reading-taken", hard("41", "beside-4"))
    };
    let quote = |option: &str, amount: f64, deposit: f64| json!({"supplier": option, "option": option, "price": euros(amount), "lead_days": [3, 3], "core_deposit": euros(deposit)});
    let with = |deposit: f64| {
        soft(Job::worth(16_000.0, 1_000.0))
            .and("quote-received", quote("exchange-recon-heads", 2_700.0, deposit))
            .and("quote-received", quote("new-heads", 3_300.0, 0.0))
            .case()
    };
    let without = with(0.0);
    for id in ["recondition-own-heads", "recondition-own-heads-inserts"] {
        let out = line(&without, id).struck_out.as_ref().unwrap_or_else(|| panic!("{id} is open"));
        assert!(out.reading.as_ref().is_some_and(|r| r.contains("hardness")), "{out:?}");
    }
    let p = 1.0 - 0.01;
    let head = without.blocks.iter().find(|b| b.id == "head").expect("the head");
    let beyond = head.classes.last().expect("beyond").1;
    assert!(beyond > p, "the head is done for: {beyond}");
    let between = expected(&without, "new-heads") - expected(&without, "exchange-recon-heads");
    assert!(between > 100.0, "exchange is the cheaper one when nothing is kept: {between}");
    let deposit = 400.0;
    let kept = expected(&with(deposit), "exchange-recon-heads") - expected(&without, "exchange-recon-heads");
    assert!((kept / deposit - beyond).abs() < 1e-6, "{kept} of {deposit} is lost, {beyond}");
    let ahead = |case: &Case| expected(case, "exchange-recon-heads") < expected(case, "new-heads");
    assert!(ahead(&with(between - 15.0)) && !ahead(&with(between / p + 15.0)), "turns at {between}");
}

#[test]
fn a_bottom_end_that_fails_its_evidence_takes_work_on_the_head_alone_off_the_top() {
    let sound = Job::worth(16_000.0, 1_000.0).case();
    let metal = Job::worth(16_000.0, 1_000.0).with_metal().case();
    for id in ["recondition-own-heads", "exchange-recon-heads", "new-heads", "part-used"] {
        // Work on the head leaves the bottom end to fail: it gets dearer by more than half of what a bottom end costs, 80 units.
        let dearer = line(&metal, id).expected - line(&sound, id).expected;
        assert!(dearer > 20.0, "{id}: {dearer}");
        assert_ne!(metal.advice.best, id);
        assert!(line(&metal, id).p_trouble_free < line(&sound, id).p_trouble_free);
    }
}

/// An old car worth little. By hand: giving it up costs what it is worth less scrap, 900 - 250 = 650 and a handful of hours; no
/// engine work on a bottom end is that cheap, and riding on with it cannot lose more than the car.
#[test]
fn an_old_car_worth_little_is_given_up_or_ridden_on_and_a_good_one_is_mended() {
    let old = Job::worth(900.0, 250.0).with_metal().case();
    assert!(["sell-or-scrap", "defer-monitor"].contains(&old.advice.best.as_str()), "{}", old.advice.best);
    let good = Job::worth(24_000.0, 250.0).with_metal().case();
    assert!(!["sell-or-scrap", "defer-monitor"].contains(&good.advice.best.as_str()), "{}", good.advice.best);
}

/// A mileage that nobody believes: the claim of 24 000 at nine years of numerics.md, there believed once in seven. A drive that is
/// known to fail with miles is then priced by miles that it may have.
#[test]
fn a_claim_that_nobody_believes_is_priced_by_the_miles_it_may_hide() {
    let claimed = |believed: &str| {
        let vehicle = json!({"year": 2017, "value": euros(16_000.0), "horizon_months": 36, "miles_per_year": 12000, "odometer": {"text": "24000", "unit": "mi"}, "odometer_believed": believed});
        Job::worth(16_000.0, 1_000.0)
            .and("vehicle-described", vehicle)
            .and("attribute-told", json!({"attribute": "drive-family", "value": "short-lived", "told_by": "shop"}))
            .only(&["defer-monitor", "sell-or-scrap"])
            .case()
    };
    let (yes, unknown) = (claimed("yes"), claimed("unknown"));
    assert!(
        expected(&unknown, "defer-monitor") > expected(&yes, "defer-monitor") + 50.0,
        "riding on costs more: {} {}",
        expected(&unknown, "defer-monitor"),
        expected(&yes, "defer-monitor")
    );
    // Drawn mile by mile the mean stays that of the bill.
    for case in [&yes, &unknown] {
        let way = case.comparison.as_ref().and_then(|c| c.way("defer-monitor")).expect("open").clone();
        assert!((way.drawn / way.mean - 1.0).abs() < 0.01, "{way:?}");
    }
}

// ---- What must always hold ----

#[test]
fn a_worthless_option_changes_nothing_and_a_dearer_quote_never_helps() {
    let two =
        Job::worth(16_000.0, 1_000.0).with_metal().quoted(REMAN, 5_200.0, [5, 7]).quoted(OVERHAUL, 4_600.0, [9, 9]);
    let without = two.clone().only(&[REMAN, OVERHAUL]).case();
    let with = two.clone().quoted("new-heads", 90_000.0, [3, 3]).only(&[REMAN, OVERHAUL, "new-heads"]).case();
    let (a, b) = (without.comparison.expect("one"), with.comparison.expect("one"));
    for way in &a.ways {
        let same = b.way(&way.option).expect("still there");
        assert_eq!((way.cost, way.cheapest, way.regret), (same.cost, same.cheapest, same.regret), "{}", way.option);
    }
    assert_eq!(a.hangs_on.expect("two").on.len(), b.hangs_on.expect("three").on.len());
    let mut last = (f64::INFINITY, f64::NEG_INFINITY);
    for price in [4_000.0, 4_600.0, 5_200.0, 7_000.0] {
        let case = two.clone().quoted(OVERHAUL, price, [9, 9]).only(&[REMAN, OVERHAUL]).case();
        let way = case.comparison.as_ref().and_then(|c| c.way(OVERHAUL)).expect("open").clone();
        assert!(way.cheapest <= last.0 && way.mean > last.1, "{price}: {way:?}");
        last = (way.cheapest, way.mean);
    }
}

#[test]
fn a_longer_warranty_from_others_never_hurts_the_customer() {
    let with = |months: u32| {
        let quote = json!({"supplier": "x", "option": REMAN, "price": euros(5_200.0), "lead_days": [5, 7], "warranty_months": months});
        expected(&Job::worth(16_000.0, 1_000.0).and("quote-received", quote).case(), REMAN)
    };
    assert!(with(36) <= with(12) && with(12) <= with(0));
}

#[test]
fn scaling_all_prices_scales_the_costs() {
    let at = |scale: f64| {
        let mut job = Job::worth(16_000.0 * scale, 1_000.0 * scale).quoted(REMAN, 5_200.0 * scale, [5, 7]).only(&[
            REMAN,
            OVERHAUL,
            "defer-monitor",
        ]);
        job.0
            .push(("money-told", json!({"labour_rate": euros(RATE * scale), "standing_per_day": euros(20.0 * scale)})));
        job.case().comparison.expect("a comparison")
    };
    let (one, three) = (at(1.0), at(3.0));
    for way in &one.ways {
        let dear = three.way(&way.option).expect("still open");
        for (a, b) in
            [(way.mean, dear.mean), (way.cost[0], dear.cost[0]), (way.cost[1], dear.cost[1]), (way.regret, dear.regret)]
        {
            assert!((3.0 * a - b).abs() < 1e-6 * b.abs().max(1.0), "{}: {a} {b}", way.option);
        }
    }
}

/// Knowing more for nothing cannot cost: what a check saves is never below nought, and all of them together save no more than
/// knowing everything.
#[test]
fn checks_for_nothing_never_raise_the_expected_cost() {
    for (name, story) in STORIES {
        let case = work_up(&folded(story), knowledge()).expect("a case");
        for check in case.advice.next.iter().chain(&case.advice.rest) {
            assert!(
                check.worth >= 0.0 && check.worth <= case.advice.ceiling + 1e-6,
                "{name} {}: {}",
                check.check,
                check.worth
            );
        }
    }
}

#[test]
fn every_option_tells_who_carries_which_risk_with_what_a_quote_promises() {
    let case = work_up(&folded(STORIES[0].1), knowledge()).expect("a case");
    for option in &case.options {
        let by: Vec<(&str, usize)> =
            workup::RiskLine::by_bearer(&option.risks).into_iter().map(|(who, list)| (who, list.len())).collect();
        let all: usize = by.iter().map(|(_, n)| n).sum();
        assert!(all > 0 && all == option.risks.len(), "{}: {by:?}", option.id);
        assert!(by.iter().any(|(who, _)| *who == "customer"), "{}: nobody carries nothing", option.id);
    }
    let bought = |id: &str| {
        let option = case.options.iter().find(|o| o.id == id).unwrap_or_else(|| panic!("no option {id}"));
        let risk = option.risks.iter().find(|r| r.risk == "what was bought fails").expect("a risk");
        (risk.who.clone(), risk.in_words())
    };
    // The van's story has a quote for a used engine with its promise, and none for a new head.
    let (who, words) = bought("used-engine");
    assert_eq!(who, "supplier");
    assert!(words.contains("Old Quay Breakers promises 1 month, 30 days, engine only"), "{words}");
    assert!(!bought("new-heads").1.contains("promises"));
}

#[test]
fn what_is_bought_has_questions_that_are_worth_most_first_and_most_where_it_leads_by_little() {
    let head = |quote: &str| {
        let price = json!({"amount": quote, "currency": "EUR"});
        let body =
            json!({"supplier": "Quay Heads", "option": "exchange-recon-heads", "price": price, "lead_days": [3, 5]});
        let line = json!({"at": "2026-03-05T12:00:00Z", "by": "Ines", "device": "bench", "kind": "quote-received", "body": body});
        let story: Vec<&str> = STORIES[0].1.lines().take_while(|l| !l.contains("\"option-chosen\"")).collect();
        work_up(&folded(&format!("{}\n{line}", story.join("\n"))), knowledge()).expect("a case")
    };
    let (near, far) = (head("3600"), head("900"));
    for case in [&near, &far] {
        for call in &case.calls {
            let line = case.options.iter().find(|o| o.id == call.option).expect("its option");
            assert!(line.struck_out.is_none() && !call.questions.is_empty(), "{}", call.option);
            assert!(call.questions.is_sorted_by(|a, b| a.worth >= b.worth), "{}", call.option);
        }
    }
    let most = |case: &Case| {
        let call = case.calls.iter().find(|c| c.option == "exchange-recon-heads").expect("a sheet");
        call.questions.iter().map(|q| q.worth).fold(0.0, f64::max)
    };
    assert!(most(&near) > most(&far), "{} where it leads by little, {} by far", most(&near), most(&far));
    let bought = |id: &str| near.calls.iter().any(|c| c.option == id);
    assert!(bought("used-engine") && bought("exchange-reman-engine") && bought("part-used") && !bought("new-heads"));
}
