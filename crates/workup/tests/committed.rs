//! The money committed, by sums that can be done by hand, and what is refused above a ceiling.
#![expect(clippy::unwrap_used, reason = "clippy lets only the tests themselves off, not the functions they share")]

use knowledge::Knowledge;
use logbook::{EntryBody, JobState, Kind, fold, seal_story, story_from_lines};
use serde_json::{Value, json};
use workup::committed::{Committed, committed, courses};
use workup::entering::{NotTaken, Rule, ensure};

/// A job of some lines, one a minute.
fn lines(told: &[(&str, &str, Value)]) -> String {
    told.iter()
        .enumerate()
        .map(|(n, (label, kind, body))| {
            let at = format!("2026-03-02T08:{:02}:00Z", n);
            json!({"label": label, "at": at, "by": "Ines", "device": "bench", "kind": kind, "body": body}).to_string()
                + "\n"
        })
        .collect()
}

fn state(told: &[(&str, &str, Value)]) -> JobState {
    fold(&seal_story("money", &story_from_lines(&lines(told)).unwrap()).unwrap())
}

/// What the last line is answered with, in the job of those before it.
fn last(told: &[(&str, &str, Value)]) -> Result<(), NotTaken> {
    let entries = seal_story("money", &story_from_lines(&lines(told)).unwrap()).unwrap();
    let (last, before) = entries.split_last().unwrap();
    let kind = Kind::from_word(last.kind()).unwrap();
    let body = EntryBody::read(kind, 1, last.body()).unwrap().unwrap();
    ensure(&fold(before), &fold(&entries), &Knowledge::builtin().unwrap(), &body)
}

fn eur(amount: &str) -> Value {
    json!({"amount": amount, "currency": "EUR"})
}

fn yes(covers: &str, ceiling: &str) -> Value {
    json!({"covers": covers, "ceiling": eur(ceiling), "who": "owner", "how": "telephone", "words": "yes"})
}

fn order(part: &str, supplier: &str, price: &str) -> Value {
    json!({"part": part, "supplier": supplier, "quantity": 1, "price": eur(price)})
}

fn opened() -> (&'static str, &'static str, Value) {
    ("open", "job-opened", json!({"title": "Tolvane, invented"}))
}

fn rate() -> (&'static str, &'static str, Value) {
    ("rate", "money-told", json!({"labour_rate": eur("78.00")}))
}

fn used(all: &[Committed], covers: &str) -> Option<String> {
    all.iter().find(|c| c.covers.word() == covers).and_then(|c| c.used).map(|m| m.to_string())
}

#[test]
fn hours_orders_and_bills_add_up_to_the_sums_done_by_hand() {
    let quote = json!({"supplier": "Brackwater", "price": eur("264.00"), "lead_days": [5, 6], "need": "radiator_renew", "freight": eur("14.00"), "core_deposit": eur("40.00")});
    let all = committed(&state(&[
        opened(),
        rate(),
        ("yes-1", "approval-given", yes("teardown", "620.00")),
        ("h1", "time-worked", json!({"time": {"text": "6,5", "unit": "h"}, "what": "head off", "covers": "teardown"})),
        ("h2", "time-worked", json!({"time": {"text": "50", "unit": "min"}, "what": "measuring"})),
        ("yes-2", "approval-given", yes("repair", "2900.00")),
        ("q", "quote-received", quote),
        (
            "o1",
            "part-ordered",
            json!({"part": "radiator", "supplier": "Brackwater", "quantity": 1, "quote": "@q", "core_deposit": eur("40.00")}),
        ),
        ("o2", "part-ordered", order("gasket", "Quayside", "96.00")),
        ("o3", "part-ordered", json!({"part": "bolts", "supplier": "Quayside", "quantity": 10})),
        ("paid", "cost-booked", json!({"what": "gasket, paid", "amount": eur("98.50"), "supplier": "quayside "})),
        ("oil", "cost-booked", json!({"what": "oil", "amount": eur("31.00")})),
    ]));
    // 6.5 h at 78 are 507.00, 50 min are 65.00.
    assert_eq!(used(&all, "teardown").unwrap(), "EUR 572.00");
    // 264 + 14 freight; the larger of 96 ordered and 98.50 paid; 31 of oil.
    assert_eq!(used(&all, "repair").unwrap(), "EUR 407.50");
    let repair = all.iter().find(|c| c.covers.word() == "repair").unwrap();
    assert_eq!(repair.lines.iter().filter(|l| l.uncounted.is_some()).count(), 1, "bolts without a price");
    assert_eq!(repair.ceiling.unwrap().to_string(), "EUR 2,900.00");
}

#[test]
fn a_price_for_the_whole_repair_contains_its_parts_until_they_come_to_more() {
    let whole =
        json!({"supplier": "own counter", "price": eur("1000.00"), "lead_days": [2, 3], "option": "fix-failed-only"});
    let chosen = json!({"option": "fix-failed-only", "by": "owner", "reason": "it is enough"});
    let mut told = vec![
        opened(),
        ("yes", "approval-given", yes("repair", "1400.00")),
        ("q", "quote-received", whole),
        ("c", "option-chosen", chosen),
        ("o1", "part-ordered", order("head", "Fennmouth", "800.00")),
    ];
    assert_eq!(used(&committed(&state(&told)), "repair").unwrap(), "EUR 1,000.00");
    told.push(("o2", "part-ordered", order("radiator", "Brackwater", "300.00")));
    assert_eq!(used(&committed(&state(&told)), "repair").unwrap(), "EUR 1,100.00");
    assert_eq!(last(&told), Ok(()));
}

#[test]
fn an_order_over_the_ceiling_waits_for_a_new_yes() {
    let mut told = vec![
        opened(),
        ("yes", "approval-given", yes("repair", "1000.00")),
        ("o1", "part-ordered", order("head", "Fennmouth", "985.00")),
        ("o2", "part-ordered", order("gasket", "Quayside", "15.00")),
    ];
    assert_eq!(last(&told), Ok(()), "up to the ceiling, to the cent");
    told.push(("o3", "part-ordered", order("bolt", "Quayside", "0.01")));
    let why = last(&told).unwrap_err();
    assert_eq!((&why.rule, why.field.as_str()), (&Rule::Ceiling, "price"));
    assert!(why.to_string().contains("EUR 1,000.01") && why.to_string().contains("EUR 1,000.00"), "{why}");
    told.pop();
    told.push(("more", "approval-given", yes("further-work", "50.00")));
    told.push(("o3", "part-ordered", order("bolt", "Quayside", "50.00")));
    assert_eq!(last(&told), Ok(()), "further work is on top");
    told.push(("o4", "part-ordered", order("bolt", "Quayside", "0.01")));
    assert_eq!(last(&told).unwrap_err().rule, Rule::Ceiling);
    told.pop();
    told.push((
        "dear",
        "part-ordered",
        json!({"part": "x", "supplier": "y", "quantity": 1, "price": {"amount": "1.00", "currency": "USD"}}),
    ));
    assert_eq!(last(&told).unwrap_err().rule, Rule::Ceiling, "what cannot be compared is not let through");
}

#[test]
fn teardown_has_its_own_yes_and_hours_are_held_to_it() {
    let hours = |text: &str| json!({"time": {"text": text, "unit": "h"}, "what": "strip"});
    let told = |text: &str| {
        [opened(), rate(), ("yes", "approval-given", yes("teardown", "620.00")), ("h", "time-worked", hours(text))]
    };
    // 620 at 78 an hour are 7.948 h.
    assert_eq!(last(&told("7.94")), Ok(()));
    let why = last(&told("7.95")).unwrap_err();
    assert_eq!((&why.rule, why.field.as_str()), (&Rule::Ceiling, "time"));
    let early = [
        opened(),
        ("yes", "approval-given", yes("teardown", "620.00")),
        ("o", "part-ordered", order("head", "F", "985.00")),
    ];
    assert_eq!(last(&early).unwrap_err().rule, Rule::Ceiling, "the repair is not approved by the yes to the teardown");
    assert_eq!(
        last(&[opened(), ("o", "part-ordered", order("head", "F", "985.00"))]),
        Ok(()),
        "nobody has set a ceiling"
    );
}

#[test]
fn a_correction_or_a_withdrawal_is_no_way_round() {
    let base = [
        opened(),
        ("yes", "approval-given", yes("repair", "1000.00")),
        ("o", "part-ordered", order("head", "Fennmouth", "900.00")),
    ];
    let with = |more: &[(&'static str, &'static str, Value)]| last(&[&base[..], more].concat());
    let right = |entry: &str, body: Value| json!({"entry": entry, "body": body, "reason": "misread"});
    let dearer = ("r", "entry-corrected", right("@o", order("head", "Fennmouth", "1001.00")));
    assert_eq!(with(&[dearer]).unwrap_err().rule, Rule::Ceiling);
    let cheaper = ("r", "entry-corrected", right("@o", order("head", "Fennmouth", "890.00")));
    assert_eq!(with(&[cheaper]), Ok(()));
    let lifted = with(&[("r", "entry-corrected", right("@yes", yes("repair", "5000.00")))]).unwrap_err();
    assert_eq!((&lifted.rule, lifted.field.as_str()), (&Rule::Ceiling, "ceiling"));
    assert_eq!(with(&[("r", "entry-corrected", right("@yes", yes("repair", "950.00")))]), Ok(()));
    let back = |entry: &str| json!({"entry": entry, "reason": "slip"});
    let again = [
        ("w", "entry-withdrawn", back("@o")),
        ("o2", "part-ordered", order("head", "Old Quay", "950.00")),
        ("ww", "entry-withdrawn", back("@w")),
    ];
    assert_eq!(with(&again[..2]), Ok(()));
    assert_eq!(with(&again).unwrap_err().rule, Rule::Ceiling, "an order that comes back is an order");
}

#[test]
fn the_invented_jobs_kept_to_what_was_approved() {
    for (story, teardown, repair) in [
        // 6.5 h at EUR 78; the whole job at EUR 2,790, its parts 985 + 28, 264 + 14, 96 and 47 inside it.
        (include_str!("../../../cases/0001-tolvane-carrier/story.jsonl"), Some("EUR 507.00"), Some("EUR 2,790.00")),
        (include_str!("../../../cases/0003-merrowin-f2/story.jsonl"), None, Some("EUR 4,150.00")),
    ] {
        let all = committed(&fold(&seal_story("demo", &story_from_lines(story).unwrap()).unwrap()));
        assert_eq!(used(&all, "teardown").as_deref(), teardown);
        assert_eq!(used(&all, "repair").as_deref(), repair);
        for one in &all {
            let (Some(ceiling), Some(used)) = (one.ceiling, one.used) else { continue };
            assert!(used.compare(&ceiling).unwrap().is_le(), "{used} of {ceiling}");
        }
    }
}

#[test]
fn the_course_of_a_ceiling_is_its_steps_and_those_of_what_is_committed() {
    let told = vec![
        opened(),
        rate(),
        ("yes", "approval-given", yes("repair", "1000.00")),
        ("one", "part-ordered", order("head", "Fennmouth", "400.00")),
        ("more", "approval-given", yes("further-work", "250.00")),
        ("two", "part-ordered", order("radiator", "Quayside", "500.00")),
        ("note", "note-written", json!({"text": "rang"})),
    ];
    let all = courses(&state(&told));
    let [course] = all.as_slice() else { panic!("{all:?}") };
    let said = |steps: &[workup::committed::Step]| -> Vec<(String, String)> {
        steps.iter().map(|s| (s.at.to_string(), s.to.to_string())).collect()
    };
    let at = |minute: u8, amount: &str| (format!("2026-03-02T08:{minute:02}:00Z"), format!("EUR {amount}"));
    assert_eq!(said(&course.ceilings), [at(2, "1,000.00"), at(4, "1,250.00")]);
    assert_eq!(said(&course.used), [at(3, "400.00"), at(5, "900.00")]);
    assert_eq!(courses(&state(&told[..2])), Vec::new());
}
