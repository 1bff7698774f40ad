//! Customer pages and the requests they make: what a page shows, when it is void, which answers are taken.
#![expect(
    clippy::unwrap_used,
    clippy::panic,
    reason = "clippy lets only the tests themselves off, not the functions they share"
)]

use std::collections::BTreeSet;

use jiff::civil::{Date, date};
use knowledge::Knowledge;
use logbook::{ApprovalAsked, Channel, Covers, EntryBody, Fact, JobState, Kind, fold, seal_story, story_from_lines};
use quantity::{Money, MoneyReply, parse_money};
use serde_json::{Value, json};
use workup::Case;
use workup::asking::{self, NoRequest, Standing};
use workup::customer_page::{CustomerPage, MOST_WAYS, PageError, Question, stays, ways_shown};
use workup::entering::Rule;

const VAN: &str = include_str!("../../../cases/0001-tolvane-carrier/story.jsonl");
const TRUCK: &str = include_str!("../../../cases/0002-ostrand-h6/story.jsonl");
const CYCLE: &str = include_str!("../../../cases/0003-merrowin-f2/story.jsonl");
/// So much of the van's story is told when its cause is named and nothing is chosen.
const CAUSE_NAMED: usize = 119;
const TODAY: Date = date(2026, 2, 26);

/// The van after some lines of its story, and lines of our own.
fn van(lines: usize, more: &[(&str, Value)]) -> JobState {
    let mut text: String = VAN.lines().take(lines).map(|l| format!("{l}\n")).collect();
    for (n, (kind, body)) in more.iter().enumerate() {
        let at = format!("2026-02-26T09:{n:02}:00Z");
        let line = json!({"label": format!("own-{n}"), "at": at, "by": "Orla", "device": "counter", "kind": kind, "body": body});
        text.push_str(&format!("{line}\n"));
    }
    fold(&seal_story("0001-tolvane-carrier", &story_from_lines(&text).unwrap()).unwrap())
}

fn eur(text: &str) -> Money {
    match parse_money(&format!("EUR {text}"), None).unwrap() {
        MoneyReply::Value(money) => money,
        MoneyReply::Question { ask, .. } => panic!("{ask}"),
    }
}

fn question(ceiling: &str) -> Question {
    let option = Some("exchange-recon-heads".to_owned());
    Question { covers: Covers::Repair, option, ceiling: eur(ceiling), words: None, answer_by: Some(date(2026, 2, 28)) }
}

fn case(state: &JobState, knowledge: &Knowledge) -> Case {
    workup::work_up(state, knowledge).unwrap()
}

/// The van with a page asked, as an entry.
fn asked(knowledge: &Knowledge) -> (Value, ApprovalAsked) {
    let state = van(CAUSE_NAMED, &[]);
    let page = CustomerPage::of(&case(&state, knowledge), &state, knowledge, &question("2900")).unwrap();
    let ask = asking::asked(state.job.unwrap(), &page, &question("2900"), Channel::Page, &BTreeSet::new());
    (serde_json::to_value(&ask).unwrap(), ask)
}

fn yes(ceiling: &str, asked: &str) -> Value {
    json!({"covers": "repair", "ceiling": {"amount": ceiling, "currency": "EUR"}, "who": "owner", "how": "telephone",
        "words": "Yes.", "asked": asked})
}

fn only(state: &JobState) -> &Fact<ApprovalAsked> {
    state.approvals_asked.iter().find(|a| a.code.is_some()).unwrap()
}

/// What an answer is met with in a job as it stands.
fn answered(
    state: &JobState,
    knowledge: &Knowledge,
    kind: Kind,
    body: &Value,
) -> Result<EntryBody, workup::entering::NotTaken> {
    let body = workup::entering::body_of(kind, body, state, knowledge)?;
    asking::ensure_answer(state, knowledge, Some(&case(state, knowledge)), &body).map(|()| body)
}

#[test]
fn five_ways_at_most_with_the_one_asked_about_the_best_and_doing_nothing_always_among_them() {
    let knowledge = Knowledge::builtin().unwrap();
    for (name, story) in [("van", VAN), ("truck", TRUCK), ("cycle", CYCLE)] {
        let state = fold(&seal_story(name, &story_from_lines(story).unwrap()).unwrap());
        let case = case(&state, &knowledge);
        let open: Vec<&str> = case.options.iter().filter(|o| o.struck_out.is_none()).map(|o| o.id.as_str()).collect();
        assert!(open.len() > MOST_WAYS, "{name} has something to leave out");
        for asked in open.iter().map(|id| Some(*id)).chain([None]) {
            let shown = ways_shown(&case, &knowledge, asked);
            let ids: BTreeSet<&str> = shown.iter().map(|o| o.id.as_str()).collect();
            assert_eq!((ids.len(), shown.len()), (MOST_WAYS, MOST_WAYS), "{name} {asked:?}");
            assert!(shown.iter().any(|o| stays(&o.id, &knowledge)), "{name} {asked:?}: {ids:?}");
            assert!(ids.contains(case.advice.best.as_str()), "{name} {asked:?}: {ids:?}");
            if let Some(asked) = asked {
                assert_eq!(shown[0].id, asked, "{name}: the one asked about leads");
            }
        }
    }
}

#[test]
fn no_page_is_made_before_somebody_answers_for_the_cause() {
    let knowledge = Knowledge::builtin().unwrap();
    let state = van(CAUSE_NAMED - 1, &[]);
    let made = |state: &JobState, q: &Question| CustomerPage::of(&case(state, &knowledge), state, &knowledge, q);
    assert_eq!(made(&state, &question("2900")).unwrap_err(), PageError::CauseUnnamed);
    let signed = van(CAUSE_NAMED - 1, &[("cause-unknown-signed", json!({"by": "Ansel"}))]);
    let page = made(&signed, &question("2900")).unwrap();
    assert!(page.cause.contains("do not know") && page.cause.contains("Ansel"), "{}", page.cause);
    let named = van(CAUSE_NAMED, &[]);
    let of = |covers: Covers| Question { covers, ..question("2900") };
    assert!(matches!(made(&named, &of(Covers::Teardown)), Err(PageError::NotARepair { .. })));
    let nowhere = Question { option: Some("new-car".to_owned()), ..question("2900") };
    assert!(matches!(made(&named, &nowhere), Err(PageError::UnknownOption { .. })));
    let out = van(
        CAUSE_NAMED,
        &[("option-ruled-out", json!({"option": "exchange-recon-heads", "because": "none to be had"}))],
    );
    let why = made(&out, &question("2900")).unwrap_err().to_string();
    assert!(why.contains("none to be had"), "{why}");
}

#[test]
fn a_ceiling_below_the_high_end_of_the_price_says_that_it_may_be_passed() {
    let knowledge = Knowledge::builtin().unwrap();
    let state = van(CAUSE_NAMED, &[]);
    let case = case(&state, &knowledge);
    let page = |ceiling: &str| CustomerPage::of(&case, &state, &knowledge, &question(ceiling)).unwrap();
    assert!(page("100").may_pass && !page("100000").may_pass);
    assert_ne!(page("100").hash(), page("101").hash(), "another ceiling is another page");
    assert_eq!(page("100").hash(), page("100").hash());
}

#[test]
fn tax_that_comes_on_top_of_everything_is_worked_out_beside_each_price_and_otherwise_told_in_words() {
    let knowledge = Knowledge::builtin().unwrap();
    let page = |told: Value| {
        let state = van(CAUSE_NAMED, &[("money-told", told)]);
        CustomerPage::of(&case(&state, &knowledge), &state, &knowledge, &question("100000")).unwrap()
    };
    // Whole euros of a text such as "EUR 2 310 to 2 900".
    let ends = |text: &str| -> Vec<f64> {
        let digits = |end: &str| end.chars().filter(char::is_ascii_digit).collect::<String>().parse().unwrap();
        text.split(" to ").map(digits).collect()
    };
    let on_top = page(json!({"prices": "without-tax", "tax_percent": "19"}));
    assert!(on_top.ways.len() > 2);
    for way in &on_top.ways {
        let with = way.with_tax.as_deref().unwrap();
        assert_eq!(ends(&way.price).len(), ends(with).len(), "{}: {} and {with}", way.name, way.price);
        for (net, all_in) in ends(&way.price).into_iter().zip(ends(with)) {
            // Both are told in whole euros: half of one may be lost in each.
            assert!((net * 1.19 - all_in).abs() <= 0.5 + 0.5 * 1.19 + 1e-9, "{}: {} and {with}", way.name, way.price);
        }
    }
    assert!(page(json!({"prices": "with-tax", "tax_percent": "19"})).ways.iter().all(|w| w.with_tax.is_none()));
    let some = page(json!({"prices": "without-tax", "tax_percent": "19", "taxed": ["labour"]}));
    assert!(some.ways.iter().all(|w| w.with_tax.is_none()), "which part of a price is labour is not on the page");
    assert!(some.tax.unwrap().contains("on top for"));
}

#[test]
fn a_page_whose_price_changed_is_void_and_a_yes_to_it_is_refused() {
    let knowledge = Knowledge::builtin().unwrap();
    let (body, ask) = asked(&knowledge);
    let state = van(CAUSE_NAMED, &[("approval-asked", body.clone())]);
    let standing = |state: &JobState, day: Date| {
        asking::standing(state, &knowledge, Some(&case(state, &knowledge)), only(state), day)
    };
    assert_eq!(standing(&state, TODAY), Standing::Open);
    assert!(matches!(standing(&state, date(2026, 3, 1)), Standing::Overdue { .. }));
    let asked = only(&state).in_entry.to_string();
    let taken = answered(&state, &knowledge, Kind::ApprovalGiven, &yes("2800.00", &asked)).unwrap();
    let EntryBody::ApprovalGiven(given) = &taken else { panic!("{taken:?}") };
    assert_eq!(given.page, ask.page, "the answer carries the page that it answers");
    let above = answered(&state, &knowledge, Kind::ApprovalGiven, &yes("2900.01", &asked)).unwrap_err();
    assert_eq!((above.rule, above.field.as_str()), (Rule::Asked, "ceiling"));

    // Somebody tells another hourly rate: prices move, and with them the page.
    let dearer = json!({"labour_rate": {"amount": "90.00", "currency": "EUR"}});
    let changed = van(CAUSE_NAMED, &[("approval-asked", body.clone()), ("money-told", dearer.clone())]);
    let Standing::Void { changed: what } = standing(&changed, TODAY) else { panic!("{:?}", standing(&changed, TODAY)) };
    assert!(what[0].what.starts_with("price: ") && what[0].was != what[0].is, "{what:?}");
    let refused = answered(&changed, &knowledge, Kind::ApprovalGiven, &yes("2800.00", &asked)).unwrap_err();
    assert_eq!((&refused.rule, refused.field.as_str()), (&Rule::Asked, "asked"));
    let said = refused.to_string();
    assert!(said.contains(what[0].was.as_ref().unwrap()) && said.contains(what[0].is.as_ref().unwrap()), "{said}");
    assert!(said.contains("ask again"), "{said}");
    let no = json!({"covers": "repair", "who": "owner", "how": "telephone", "words": "No.", "asked": asked});
    assert!(answered(&changed, &knowledge, Kind::ApprovalRefused, &no).is_ok(), "a no commits nobody");

    // Put back, the page is the one that was shown.
    let back = json!({"labour_rate": {"amount": "78.00", "currency": "EUR"}});
    let again = van(CAUSE_NAMED, &[("approval-asked", body.clone()), ("money-told", dearer), ("money-told", back)]);
    assert_eq!(standing(&again, TODAY), Standing::Open);
    // What cannot be made any more is void too.
    let out = json!({"option": "exchange-recon-heads", "because": "none to be had"});
    let gone = van(CAUSE_NAMED, &[("approval-asked", body), ("option-ruled-out", out)]);
    let said = standing(&gone, TODAY).in_words();
    assert!(said.contains("none to be had"), "{said}");
}

#[test]
fn a_request_answered_or_asked_again_waits_no_more() {
    let knowledge = Knowledge::builtin().unwrap();
    let (body, _) = asked(&knowledge);
    let waits = |state: &JobState| asking::waiting_for_answer(state, TODAY).len();
    let state = van(CAUSE_NAMED, &[("approval-asked", body.clone())]);
    assert_eq!(waits(&state), 1);
    let given = van(CAUSE_NAMED, &[("approval-asked", body.clone()), ("approval-given", yes("2900.00", "@own-0"))]);
    assert_eq!(waits(&given), 0);
    let entry = only(&given).in_entry.to_string();
    let twice = answered(&given, &knowledge, Kind::ApprovalGiven, &yes("2900.00", &entry)).unwrap_err();
    assert!(twice.found.contains("answered with yes already"), "{twice}");
    let mut other = body.clone();
    other["words"] = "Once more, please.".into();
    for name in ["shown", "page", "code"] {
        other.as_object_mut().unwrap().remove(name);
    }
    let again = van(CAUSE_NAMED, &[("approval-asked", body), ("approval-asked", other)]);
    assert_eq!(waits(&again), 1, "the later question takes the place of the earlier one");
    assert!(matches!(asking::standing_without_case(&again, only(&again), TODAY), Standing::AskedAgain { .. }));
    let old = answered(&again, &knowledge, Kind::ApprovalGiven, &yes("2900.00", &only(&again).in_entry.to_string()));
    assert_eq!(old.unwrap_err().rule, Rule::Asked);
}

#[test]
fn a_code_finds_its_request_and_a_wrong_one_names_what_was_typed_and_what_is_near() {
    let knowledge = Knowledge::builtin().unwrap();
    let (body, ask) = asked(&knowledge);
    let state = van(CAUSE_NAMED, &[("approval-asked", body)]);
    let other = van(CAUSE_NAMED, &[]);
    let jobs = [&other, &state];
    let meant = |typed: &str| asking::meant(typed, jobs, TODAY);
    let code = ask.code.clone().unwrap();
    let (_, found) = meant(&code.to_lowercase()).unwrap();
    assert_eq!(found.in_entry, only(&state).in_entry);
    let mut signs: Vec<char> = code.chars().collect();
    signs.swap(0, 1);
    if signs[0] == signs[1] {
        signs[0] = if signs[0] == '7' { '8' } else { '7' };
    }
    let swapped: String = signs.into_iter().collect();
    let why = meant(&swapped).unwrap_err();
    assert!(matches!(why, NoRequest::NoCode { .. }));
    let said = why.to_string();
    assert!(
        said.contains(&swapped) && said.contains(&asking::shown(&code)) && said.contains("Tolvane Carrier"),
        "{said}"
    );
    // A good code of nobody.
    let stranger = asking::new_code(state.job.unwrap(), "another page", &BTreeSet::from([code.clone()]));
    let why = meant(stranger.as_str()).unwrap_err();
    assert!(matches!(why, NoRequest::Unknown { .. }) && why.to_string().contains(&stranger.grouped()), "{why}");
    // A code that is taken is not given twice.
    let page = ask.page.unwrap();
    assert_ne!(asking::new_code(state.job.unwrap(), &page, &BTreeSet::from([code.clone()])).as_str(), code);
    assert_eq!(asking::new_code(state.job.unwrap(), &page, &BTreeSet::new()).as_str(), code);
}
