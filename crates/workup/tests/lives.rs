//! Options priced by how long parts last (new ones, those of this engine, those of another), and the price at which one
//! overtakes another.
//!
//! Sources:  `reference/life/drive_life.json`, made by `drive_life.py` beside it
//! Value by: plain Python on grids, not by this code
//! Digits:   expected costs within 0.5 per cent, as the trade needs them and no closer

#![expect(
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "helpers of tests stop at the first surprise"
)]

use std::sync::OnceLock;

use knowledge::Knowledge;
use logbook::{JobState, fold, seal_story, story_from_lines};
use serde_json::{Value, json};
use workup::money::{Bill, Donors, Terms, blocks, options};
use workup::{Case, OptionLine, network, work_up};

/// Currency units of one hour.
const RATE: f64 = 90.0;

fn knowledge() -> &'static Knowledge {
    static LOADED: OnceLock<Knowledge> = OnceLock::new();
    LOADED.get_or_init(|| Knowledge::builtin().expect("the built-in knowledge loads"))
}

/// The built-in knowledge with a used engine whose drive goes in as it came.
fn drive_left_in() -> Knowledge {
    let mut other = knowledge().clone();
    let used = other.options.iter_mut().find(|o| o.id == "used-engine").expect("a used engine");
    let donor = used.value.residual.as_mut().and_then(|r| r.donor.as_mut()).expect("a donor");
    assert_eq!(donor.renews, ["drive"]);
    donor.renews.clear();
    other
}

fn reference(what: &str) -> f64 {
    let all: Value =
        serde_json::from_str(include_str!("../../../reference/life/drive_life.json")).expect("reference values");
    all[what].as_f64().unwrap_or_else(|| panic!("no value {what}"))
}

/// An eight-year-old car of 96 000 miles; kept for three years of 12 000.
struct Car {
    family: Option<&'static str>,
    odometer: Option<&'static str>,
    believed: &'static str,
    further: Vec<(&'static str, Value)>,
}

impl Car {
    fn of(family: Option<&'static str>) -> Self {
        Self { family, odometer: Some("96000"), believed: "yes", further: Vec::new() }
    }

    fn quoted(mut self, option: &str, amount: f64, told_miles: Option<&str>) -> Self {
        let price = json!({"amount": format!("{amount:.2}"), "currency": "EUR"});
        let mut quote = json!({"supplier": option, "option": option, "price": price, "lead_days": [3, 3]});
        if let Some(miles) = told_miles {
            quote["used_odometer"] = json!({"text": miles, "unit": "mi"});
        }
        self.further.push(("quote-received", quote));
        self
    }

    /// The filter is full of bearing metal: the bottom end is not what anybody builds on.
    fn with_metal_in_the_filter(mut self) -> Self {
        let flakes =
            json!({"check": "oil-filter-cut", "reading": "non-magnetic", "position": "engine", "outcome": "flakes"});
        self.further.push(("reading-taken", flakes));
        self
    }

    fn state(&self) -> JobState {
        let layout = json!({"arrangement": "inline", "cylinders": 4, "fuel": "petrol", "valve_gear": "twin-cam", "valves_per_cylinder": 4});
        let money = |amount: &str| json!({"amount": amount, "currency": "EUR"});
        let mut vehicle = json!({"year": 2018, "value": money("16000"), "horizon_months": 36, "miles_per_year": 12000});
        if let Some(miles) = self.odometer {
            vehicle["odometer"] = json!({"text": miles, "unit": "mi"});
            vehicle["odometer_believed"] = json!(self.believed);
        }
        let mut told = vec![
            ("job-opened", json!({"title": "family"})),
            ("engine-described", json!({"layout": layout})),
            ("money-told", json!({"labour_rate": money("90")})),
            ("vehicle-described", vehicle),
        ];
        if let Some(family) = self.family {
            told.push(("attribute-told", json!({"attribute": "drive-family", "value": family, "told_by": "shop"})));
        }
        told.extend(self.further.iter().cloned());
        let line = |(minute, (kind, body)): (usize, (&str, Value))| {
            json!({"at": format!("2026-03-02T06:{minute:02}:00Z"), "by": "bench", "device": "bench-1", "kind": kind, "body": body})
                .to_string()
        };
        let lines: Vec<String> = told.into_iter().enumerate().map(line).collect();
        fold(&seal_story("family", &story_from_lines(&lines.join("\n")).expect("a story")).expect("a sealed story"))
    }

    fn case(&self, knowledge: &Knowledge) -> Case {
        work_up(&self.state(), knowledge).expect("a case")
    }

    /// The bill of every option when everything is sound but the drive, which is in a class by its place.
    fn bills(&self, class: usize) -> Vec<(String, Bill)> {
        let (state, knowledge) = (self.state(), knowledge());
        let layout = state.layout.as_ref().expect("an engine");
        let net = network::engine_net(layout, &workup::told(&state, knowledge), knowledge);
        let blocks = blocks(&net, layout, knowledge);
        let terms = Terms::of(&state, knowledge);
        let donors = Donors::drawn(&net, &blocks, knowledge, &terms).expect("donors");
        let priced = options(&net, &blocks, layout, knowledge, &state.quotes, &terms, &donors);
        let states = vec![0; net.net.variables.len()];
        let classes: Vec<usize> = blocks.iter().map(|b| if b.id == "drive" { class } else { 0 }).collect();
        priced.iter().map(|o| (o.option.id.clone(), o.bill(&states, &classes))).collect()
    }
}

fn line<'c>(case: &'c Case, id: &str) -> &'c OptionLine {
    case.options.iter().find(|o| o.id == id).unwrap_or_else(|| panic!("no option {id}"))
}

#[test]
fn every_option_costs_what_the_ages_of_its_parts_say_within_half_a_per_cent() {
    let (new, kept) = (reference("new"), reference("kept_96000"));
    for class in 0..3 {
        let plain = Car::of(None).bills(class);
        let known = Car::of(Some("short-lived")).bills(class);
        for ((id, plain), (_, known)) in plain.iter().zip(&known) {
            let option = knowledge().options.iter().find(|o| o.id == *id).expect("an option");
            // By hand: what is left in the drive, and what another engine brings.
            let mut by_hand = plain.expected();
            if let Some(left) = option.left.iter().find(|l| l.block == "drive") {
                let name = ["sound", "renew", "heavy"][class];
                let stated = left.class[name];
                let now = match (left.new_in.iter().any(|c| c == name), class) {
                    (true, _) => 1.0 - (1.0 - stated) * (1.0 - new),
                    (false, 0) => kept,
                    (false, _) => stated.max(kept),
                };
                by_hand += (now - stated) * left.comeback.mean();
                let runs = plain.runs * (1.0 - now) / (1.0 - stated);
                assert!((known.runs - runs).abs() < 1e-4, "{id} {class}: runs {} against {runs}", known.runs);
            } else if id == "used-engine" {
                let as_is = knowledge().options.iter().find(|o| o.id == "defer-monitor").expect("as it is");
                let left = as_is.left.iter().find(|l| l.block == "drive").expect("the drive");
                by_hand += new * left.comeback.mean();
            } else if id == "exchange-reman-engine" {
                let own = option.residual.as_ref().expect("it brings something of its own");
                by_hand += (1.0 - own.goes_wrong) * new * own.comeback.mean();
            }
            let within = 0.005 * by_hand;
            assert!(
                (known.expected() - by_hand).abs() < within,
                "{id} {class}: {} by hand {by_hand}",
                known.expected()
            );
        }
    }
}

#[test]
fn what_is_known_of_no_family_or_without_a_mileage_changes_nothing() {
    let plain = Car::of(None).bills(0);
    assert_eq!(plain, Car::of(Some("no-known-fault")).bills(0));
    let untold = |family| Car { odometer: None, ..Car::of(family) }.bills(0);
    assert_eq!(untold(None), untold(Some("short-lived")));
}

#[test]
fn a_low_claim_that_is_doubted_is_priced_as_the_older_engine_it_may_be() {
    let deferred = |believed| {
        let car = Car { odometer: Some("24000"), believed, ..Car::of(Some("short-lived")) };
        car.bills(0).into_iter().find(|(id, _)| id == "defer-monitor").expect("to wait").1
    };
    // 24 000 miles at eight and a half years: hardly anybody believes it.
    let (taken, doubted) = (deferred("yes"), deferred("no"));
    assert!(doubted.runs < taken.runs && doubted.later > taken.later, "{doubted:?} {taken:?}");
    // A claim that fits the age costs next to nothing by being doubted.
    let plausible = |believed| {
        let car = Car { believed, ..Car::of(Some("short-lived")) };
        car.bills(0).into_iter().find(|(id, _)| id == "defer-monitor").expect("to wait").1
    };
    let (taken, doubted) = (plausible("yes"), plausible("no"));
    assert!((doubted.runs - taken.runs).abs() < 0.02, "{doubted:?} {taken:?}");
}

// The trade's expectation, written before the case was run: the timing drive of this family fails with miles. A used engine of the
// same family, sold as 60 000 miles, carries the defect; though it is cheapest on paper it loses to a rebuilt engine when its drive
// goes in as it came, and wins at the same price when the drive is renewed on the stand.
//
// The break-even, by hand: between the two lies the chance that the drive of a loose engine told as 60 000 miles at eight and a
// half years fails (.3206 by the reference), less that of a new one (.0597), times what it costs when it lets go (20 to 80
// units at 90): at least 1174 in money, more by the drives that are worn already.
#[test]
fn a_used_engine_of_a_family_with_a_bad_drive_loses_until_its_drive_is_renewed() {
    let (left_in, renewed) = (drive_left_in(), knowledge());
    let rebuilt = 6500.0;
    let at = |used: f64, knowledge: &Knowledge| {
        Car::of(Some("short-lived"))
            .with_metal_in_the_filter()
            .quoted("exchange-reman-engine", rebuilt, None)
            .quoted("used-engine", used, Some("60000"))
            .case(knowledge)
    };
    let margin =
        |case: &Case| (line(case, "exchange-reman-engine").expected - line(case, "used-engine").expected) * RATE;
    // A quote is all that is paid, so the price at which both tie is the quote and the margin.
    let start = 3000.0;
    let tie = |knowledge: &Knowledge| start + margin(&at(start, knowledge));
    let (ties_left_in, ties_renewed) = (tie(&left_in), tie(renewed));
    let by_hand = (reference("loose_60000_at_8_5") - reference("new")) * 50.0 * RATE;
    let apart = ties_renewed - ties_left_in;
    assert!(apart > 0.995 * by_hand && apart < 1.6 * by_hand, "{apart} against {by_hand} by hand");
    // Between the two ties, and cheaper on paper than the rebuilt engine.
    let price = f64::midpoint(ties_left_in, ties_renewed);
    assert!(price < rebuilt, "{price}");
    assert!(margin(&at(price, &left_in)) < -0.4 * apart, "as it came, it loses");
    assert!(margin(&at(price, renewed)) > 0.4 * apart, "with a new drive, it wins");
    // The break-even is one: a hundred below it wins and a hundred above it loses.
    assert!(margin(&at(ties_renewed - 100.0, renewed)) > 0.0);
    assert!(margin(&at(ties_renewed + 100.0, renewed)) < 0.0);
}

#[test]
fn a_dearer_quote_never_helps_the_option_it_is_for() {
    let mut last = 0.0;
    for price in [2000.0, 4000.0, 8000.0] {
        let case = Car::of(Some("short-lived")).quoted("used-engine", price, Some("60000")).case(knowledge());
        let expected = line(&case, "used-engine").expected;
        assert!(expected > last, "{expected} after {last}");
        last = expected;
    }
}

#[test]
fn at_the_price_that_is_said_another_option_overtakes() {
    let at = |used: f64| {
        Car::of(None)
            .with_metal_in_the_filter()
            .quoted("exchange-reman-engine", 3500.0, None)
            .quoted("used-engine", used, Some("60000"))
            .case(knowledge())
    };
    let case = at(5000.0);
    let first = case.first_place.as_ref().expect("a first place");
    assert_eq!(first.least, case.advice.best);
    let level = first.others.iter().find(|l| l.option == "used-engine").expect("the used engine is behind");
    let (currency, less) = level.money.clone().expect("money");
    assert!(currency == "EUR" && less > 0.0 && less < 5000.0, "{less}");
    let leads = |used: f64| at(used).first_place.expect("a first place").least == "used-engine";
    assert!(leads(5000.0 - less - 50.0) && !leads(5000.0 - less + 50.0), "{less}");
    // The sentence about the leader names the option behind it.
    let next = first.others.first().expect("another option");
    let named = workup::words::within(&line(&case, &next.option).name);
    assert!(first.words.iter().any(|w| w.contains("leads until") && w.contains(&named)), "{:?}", first.words);
}
