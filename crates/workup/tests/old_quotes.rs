//! A quote past its day: what its price is carried as, from when on, what ends it, and that nothing of it is silent.
//!
//! The rule of these tests is written here and not taken from the knowledge: 30 days, 3 per cent to either side at once,
//! 1 per cent to either side and half a per cent upwards for each month begun. By hand, for EUR 435.00 that is 70 days old
//! and names no last day: 40 days past, two months begun; 1 + 0.01 - 0.05 = 0.96 and 1 + 0.01 + 0.05 = 1.06 times 435.00
//! are 417.60 and 461.10.

#![expect(clippy::expect_used, clippy::indexing_slicing, reason = "helpers of tests stop at the first surprise")]

use knowledge::{Knowledge, Located, QuoteAge, Source, SourceKind};
use logbook::{Covers, JobState, fold, seal_story, story_from_lines};
use quantity::{Money, MoneyReply, parse_money};
use serde_json::{Value, json};
use workup::customer_page::{CustomerPage, Question};
use workup::estimate::{Estimate, EstimateLine, Price};
use workup::quotes::aged::{self, Aged};
use workup::{Case, work_up};

fn knowledge() -> Knowledge {
    let mut knowledge = Knowledge::builtin().expect("the built-in knowledge loads");
    let rule = QuoteAge {
        id: "by-hand".to_owned(),
        holds_days: 30,
        spread_percent: 3.0,
        spread_per_month_percent: 1.0,
        drift_per_month_percent: 0.5,
        most_months: 12,
        source: Source { kind: SourceKind::FromMemory, reference: None, at: None, note: None },
    };
    knowledge.quote_ages = vec![Located { value: rule, file: "by-hand.toml".to_owned(), line: 1 }];
    knowledge
}

/// A job told line by line, each on a day.
#[derive(Clone)]
struct Job(Vec<String>);

impl Job {
    /// A four that has a rate, told on 3 May.
    fn four() -> Self {
        let layout = json!({"arrangement": "inline", "cylinders": 4, "fuel": "petrol", "valve_gear": "twin-cam",
                            "valves_per_cylinder": 4, "head_material": "aluminium", "timing_drive": "chain"});
        Job(Vec::new())
            .tell("2026-05-03", "job-opened", json!({"title": "work"}))
            .tell("2026-05-03", "engine-described", json!({"layout": layout}))
            .tell("2026-05-03", "money-told", json!({"labour_rate": euro("80.00"), "parts_markup_percent": "10"}))
    }

    fn labelled(mut self, label: &str, day: &str, kind: &str, body: Value) -> Self {
        let at = format!("{day}T08:{:02}:00Z", self.0.len());
        let mut line = json!({"at": at, "by": "bench", "device": "bench-1", "kind": kind, "body": body});
        if !label.is_empty() {
            line["label"] = json!(label);
        }
        self.0.push(line.to_string());
        self
    }

    fn tell(self, day: &str, kind: &str, body: Value) -> Self {
        self.labelled("", day, kind, body)
    }

    /// A quote for a head, of 3 May unless another day is said.
    fn head(self, label: &str, day: &str, amount: &str, until: Option<&str>) -> Self {
        let mut body =
            json!({"supplier": "Head house", "need": "head_exchange_fit", "price": euro(amount), "lead_days": [2, 4]});
        if let Some(until) = until {
            body["valid_until"] = json!(until);
        }
        self.labelled(label, day, "quote-received", body)
    }

    fn chosen(self, day: &str, quotes: &[&str]) -> Self {
        let body = json!({"option": "exchange-recon-heads", "by": "owner", "reason": "so", "quotes": quotes});
        self.tell(day, "option-chosen", body)
    }

    /// Something that is told on a day and has nothing to do with prices.
    fn on(self, day: &str) -> Self {
        self.tell(day, "note-written", json!({"text": "looked in"}))
    }

    fn state(&self) -> JobState {
        let lines = story_from_lines(&self.0.join("\n")).expect("a story");
        fold(&seal_story("work", &lines).expect("a sealed story"))
    }

    fn case(&self) -> Case {
        work_up(&self.state(), &knowledge()).expect("a case")
    }

    fn estimate(&self) -> Estimate {
        self.case().estimate.expect("an estimate")
    }

    /// The line of the quoted head.
    fn line(&self) -> EstimateLine {
        let bought = |l: &EstimateLine| l.what.contains("what is bought") && l.who == "Head house";
        self.estimate().lines.into_iter().find(bought).expect("a line for the head")
    }
}

fn euro(amount: &str) -> Value {
    json!({"amount": amount, "currency": "EUR"})
}

fn money(text: &str) -> Money {
    match parse_money(&format!("EUR {text}"), None).expect("an amount") {
        MoneyReply::Value(money) => money,
        MoneyReply::Question { .. } => Money::zero(quantity::Currency::EUR).expect("euros are paid"),
    }
}

fn ends(line: &EstimateLine) -> (String, String) {
    match &line.price {
        Price::Known(range) => (range.lo.to_string(), range.hi.to_string()),
        Price::In(_) | Price::Open(_) | Price::NotSaid => (format!("{:?}", line.price), String::new()),
    }
}

fn both(amount: &str) -> (String, String) {
    (format!("EUR {amount}"), format!("EUR {amount}"))
}

#[test]
fn a_quote_of_seventy_days_is_carried_as_a_band_and_the_line_says_so() {
    let job = Job::four().head("heads", "2026-05-03", "435.00", None).chosen("2026-05-03", &["@heads"]);
    assert_eq!((ends(&job.line()), job.line().how.as_str()), (both("435.00"), "as quoted"));
    let old = job.on("2026-07-12");
    let line = old.line();
    assert_eq!(ends(&line), ("EUR 417.60".to_owned(), "EUR 461.10".to_owned()));
    let words = "quote of 2026-05-03 is 70 days old: EUR\u{a0}435.00 carried as EUR\u{a0}417.60 to EUR\u{a0}461.10";
    assert_eq!(line.how, words);
    // What the shop adds goes with it: ten per cent of either end.
    let estimate = old.estimate();
    let added = estimate.lines.iter().find(|l| l.what.starts_with("Added on parts")).expect("the shop adds");
    assert_eq!(ends(added), ("EUR 41.76".to_owned(), "EUR 46.11".to_owned()));
    let sum = |end: fn(&workup::estimate::Range) -> Money| {
        let all: Vec<Money> = estimate
            .lines
            .iter()
            .filter_map(|l| match &l.price {
                Price::Known(range) => Some(end(range)),
                Price::In(_) | Price::Open(_) | Price::NotSaid => None,
            })
            .collect();
        Money::sum(&all).expect("one currency")
    };
    let total = estimate.total.expect("a total");
    assert_eq!((sum(|r| r.lo), sum(|r| r.hi)), (total.lo, total.hi), "lines add up");
    assert_eq!(estimate.old_quotes.len(), 1, "the estimate says what moved it");
    assert!(estimate.old_quotes[0].contains("Head house") && estimate.old_quotes[0].contains("asked for again"));
}

#[test]
fn it_begins_on_the_day_after_the_last_one_and_moves_month_by_month() {
    let undated = Job::four().head("heads", "2026-05-03", "100.00", None).chosen("2026-05-03", &["@heads"]);
    let dated = Job::four().head("heads", "2026-05-03", "100.00", Some("2026-05-10")).chosen("2026-05-03", &["@heads"]);
    // By hand: months begun 1, 1, 2, and 12 for anything from 331 days past on.
    let first = || ("EUR 96.50".to_owned(), "EUR 104.50".to_owned());
    let second = || ("EUR 96.00".to_owned(), "EUR 106.00".to_owned());
    let last = || ("EUR 91.00".to_owned(), "EUR 121.00".to_owned());
    for (job, day, expected) in [
        (&undated, "2026-06-02", both("100.00")),
        (&undated, "2026-06-03", first()),
        (&undated, "2026-07-02", first()),
        (&undated, "2026-07-03", second()),
        (&dated, "2026-05-10", both("100.00")),
        (&dated, "2026-05-11", first()),
        (&dated, "2026-06-09", first()),
        (&dated, "2026-06-10", second()),
        (&dated, "2027-04-10", last()),
        (&dated, "2031-01-01", last()),
    ] {
        assert_eq!(ends(&job.clone().on(day).line()), expected, "{day}");
    }
}

#[test]
fn a_newer_quote_of_the_same_supplier_ends_it_also_after_the_choice() {
    let old =
        Job::four().head("heads", "2026-05-03", "435.00", None).chosen("2026-05-03", &["@heads"]).on("2026-07-12");
    let again = old.clone().head("anew", "2026-07-13", "448.00", None);
    assert_eq!((ends(&again.line()), again.line().how.as_str()), (both("448.00"), "as quoted"));
    assert!(again.estimate().old_quotes.is_empty());
    assert!(workup::quotes::run_out(&old.state(), &knowledge(), jiff::civil::date(2026, 7, 12)).len() == 1);
    assert!(workup::quotes::run_out(&again.state(), &knowledge(), jiff::civil::date(2026, 7, 13)).is_empty());
    let promised = |job: &Job| {
        let lines = workup::committed::committed(&job.state());
        format!("{lines:?}")
    };
    assert!(promised(&again).contains("448"), "what counts against the ceiling is what was confirmed last");
    // Another house's quote for the same thing ends nothing: nobody took it up.
    let other =
        json!({"supplier": "Other house", "need": "head_exchange_fit", "price": euro("300.00"), "lead_days": [1, 1]});
    assert_eq!(ends(&old.tell("2026-07-13", "quote-received", other).line()).0, "EUR 417.60");
}

#[test]
fn what_was_ordered_on_a_quote_or_is_over_does_not_grow_old() {
    let job = Job::four().head("heads", "2026-05-03", "435.00", None).chosen("2026-05-03", &["@heads"]);
    let order = json!({"part": "head_exchange_fit", "supplier": "Head house", "quantity": 1, "quote": "@heads"});
    let ordered = job.clone().tell("2026-05-04", "part-ordered", order).on("2026-07-12");
    assert_eq!(ends(&ordered.line()), both("435.00"));
    let closed = job.tell("2026-05-05", "job-closed", json!({"how": "taken-away"})).on("2026-07-12");
    let state = closed.state();
    assert!(state.quotes.iter().all(|q| Aged::of(&state, &knowledge(), q).is_none()), "{:?}", state.notices);
}

#[test]
fn a_quote_for_a_whole_way_moves_the_price_of_the_way() {
    let whole = json!({"supplier": "Counter", "option": "exchange-recon-heads", "price": euro("2800.00"),
                       "freight": euro("200.00"), "lead_days": [2, 4]});
    let job = Job::four().tell("2026-05-03", "quote-received", whole).chosen("2026-05-03", &[]);
    let way = |job: &Job| {
        let case = job.case();
        let line = case.options.into_iter().find(|o| o.id == "exchange-recon-heads").expect("the way");
        (line.money.expect("in money").price, line.price_from)
    };
    let near = |a: f64, b: f64| (a - b).abs() < 0.005;
    let ([lo, hi], from) = way(&job);
    assert!(near(lo, 3_000.0) && near(hi, 3_000.0) && from == "quote of Counter", "{lo} {hi} {from}");
    // 0.96 and 1.06 times price and freight together.
    let old = job.on("2026-07-12");
    let ([lo, hi], from) = way(&old);
    assert!(near(lo, 2_880.0) && near(hi, 3_180.0), "{lo} {hi}");
    assert!(from.starts_with("Counter, quote of 2026-05-03 is 70 days old"), "{from}");
    let estimate = old.estimate();
    assert_eq!(estimate.when_chosen, estimate.total, "the estimate is the price of the way");
    let total = estimate.total.expect("a total");
    assert_eq!((total.lo, total.hi), (money("2880.00"), money("3180.00")));
}

#[test]
fn a_page_is_not_made_void_by_being_asked_late_and_says_what_moved_it() {
    let whole =
        json!({"supplier": "Counter", "option": "exchange-recon-heads", "price": euro("2800.00"), "lead_days": [2, 4]});
    let job = Job::four()
        .tell("2026-05-03", "quote-received", whole)
        .tell("2026-05-03", "cause-named", json!({"cause": "overheat", "by": "bench"}))
        .chosen("2026-05-03", &[]);
    let question =
        Question { covers: Covers::Repair, option: None, ceiling: money("3500"), words: None, answer_by: None };
    let page = |job: &Job| CustomerPage::of(&job.case(), &job.state(), &knowledge(), &question).expect("a page");
    let fresh = page(&job);
    // The page is asked about long after; that it was asked and that papers left the shop makes nothing older.
    let ask = json!({"covers": "repair", "ceiling": euro("3500.00"), "how": "page", "words": fresh.question,
                     "page": fresh.hash(), "shown": fresh.facts()});
    let asked = job.clone().tell("2026-07-12", "approval-asked", ask);
    assert_eq!(aged::told_until(&asked.state()), Some(jiff::civil::date(2026, 5, 3)));
    assert_eq!(page(&asked).hash(), fresh.hash());
    // Work on the job does, and the page says why its price is another one.
    let old = page(&asked.on("2026-07-12"));
    assert_ne!(old.hash(), fresh.hash());
    let moved: Vec<&String> = old.moves.iter().filter(|m| m.contains("past its day")).collect();
    assert_eq!(moved.len(), 1, "{:?}", old.moves);
    assert!(moved[0].contains("EUR\u{a0}2,800.00 carried as EUR\u{a0}2,688.00 to EUR\u{a0}2,968.00"), "{}", moved[0]);
    assert!(!fresh.moves.iter().any(|m| m.contains("past its day")));
}

#[test]
fn the_rule_of_the_shop_wins_and_without_a_rule_nothing_ages() {
    let job =
        Job::four().head("heads", "2026-05-03", "435.00", None).chosen("2026-05-03", &["@heads"]).on("2026-07-12");
    let state = job.state();
    let quote = &state.quotes[0];
    let mut own = knowledge();
    own.quote_ages[0].value.holds_days = 90;
    assert_eq!(Aged::of(&state, &own, quote), None);
    own.quote_ages.clear();
    assert_eq!(Aged::of(&state, &own, quote), None);
    assert_eq!(Aged::of(&state, &knowledge(), quote).map(|a| (a.days, a.months)), Some((70, 2)));
}
