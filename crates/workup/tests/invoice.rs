//! What is to be paid, by sums done by hand; tax against a ceiling; what a job takes over from the shop.
#![expect(clippy::unwrap_used, reason = "clippy lets only the tests themselves off, not the functions they share")]

use knowledge::{FileSet, Knowledge};
use logbook::{Content, Entry, JobState, fold, seal_story, story_from_lines};
use quantity::{Charge, Prices};
use serde_json::{Value, json};
use workup::committed::committed;
use workup::entering::{NotTaken, Rule, ensure};
use workup::invoice::{Invoice, NotBilled};

type Told = (&'static str, &'static str, Value);

/// A job of some lines, one a minute.
fn sealed(told: &[Told]) -> Vec<Entry> {
    let lines: String = told
        .iter()
        .enumerate()
        .map(|(n, (label, kind, body))| {
            let at = format!("2026-03-02T08:{n:02}:00Z");
            json!({"label": (!label.is_empty()).then_some(label), "at": at, "by": "Ines", "device": "bench", "kind": kind, "body": body}).to_string()
                + "\n"
        })
        .collect();
    seal_story("bill", &story_from_lines(&lines).unwrap()).unwrap()
}

fn state(told: &[Told]) -> JobState {
    fold(&sealed(told))
}

/// What the last line is answered with, in the job of those before it.
fn last(told: &[Told]) -> Result<(), NotTaken> {
    let entries = sealed(told);
    let (last, before) = entries.split_last().unwrap();
    let Content::Known(body) = last.content() else { unreachable!("{last:?}") };
    ensure(&fold(before), &fold(&entries), &Knowledge::builtin().unwrap(), body)
}

fn eur(amount: &str) -> Value {
    json!({"amount": amount, "currency": "EUR"})
}

fn yes(covers: &str, ceiling: &str) -> Value {
    json!({"covers": covers, "ceiling": eur(ceiling), "who": "owner", "how": "telephone", "words": "yes"})
}

fn rates(more: Value) -> Told {
    let mut body = json!({"labour_rate": eur("80.00")});
    body.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
    ("rate", "money-told", body)
}

fn hours(hours: &str) -> Told {
    ("h", "time-worked", json!({"time": {"text": hours, "unit": "h"}, "what": "head off and on"}))
}

fn order(label: &'static str, part: &str, price: &str) -> Told {
    (label, "part-ordered", json!({"part": part, "supplier": "Quayside", "quantity": 1, "price": eur(price)}))
}

fn opened() -> Told {
    ("open", "job-opened", json!({"title": "Tolvane, invented"}))
}

fn shown(of: &quantity::Money) -> String {
    of.to_string()
}

#[test]
fn hours_parts_markup_and_tax_are_the_sums_done_by_hand() {
    // 10 h at 80 are 800; parts 200 and 15 per cent on them 30; a bill of 100. 1130, and 20 per cent on top: 226.
    let told = [
        opened(),
        rates(json!({"tax_percent": "20", "prices": "without-tax", "parts_markup_percent": "15"})),
        ("yes", "approval-given", yes("repair", "1400.00")),
        order("o", "head_gasket", "200.00"),
        hours("10"),
        ("c", "cost-booked", json!({"what": "towing", "amount": eur("100.00"), "supplier": "Hook and Son"})),
    ];
    let bill = Invoice::of(&state(&told)).unwrap();
    assert_eq!(shown(&bill.sum.net), "EUR 1,130.00");
    assert_eq!(shown(&bill.sum.tax), "EUR 226.00");
    assert_eq!(shown(&bill.sum.total), "EUR 1,356.00");
    assert_eq!(bill.lines.len(), 4);
    assert_eq!(bill.agreed.len(), 1);
    assert_eq!(shown(&bill.agreed[0].billed), "EUR 1,356.00");
    // Where the amounts hold the tax, the same lines are to be paid as they stand.
    let mut held = told.clone();
    held[1] = rates(json!({"tax_percent": "20", "prices": "with-tax", "parts_markup_percent": "15"}));
    let bill = Invoice::of(&state(&held)).unwrap();
    assert_eq!(shown(&bill.sum.total), "EUR 1,130.00");
    assert_eq!(shown(&bill.sum.tax), "EUR 188.33");
    // Only parts are taxed: 230 of them, and the towing, of which nobody says what it is.
    let mut parts = told.clone();
    parts[1] =
        rates(json!({"tax_percent": "20", "prices": "without-tax", "parts_markup_percent": "15", "taxed": ["parts"]}));
    let bill = Invoice::of(&state(&parts)).unwrap();
    assert_eq!(shown(&bill.sum.tax), "EUR 66.00");
    // No tax is told: none is reckoned.
    let mut none = told;
    none[1] = rates(json!({}));
    assert_eq!(shown(&Invoice::of(&state(&none)).unwrap().sum.total), "EUR 1,100.00");
}

#[test]
fn a_bill_takes_the_place_of_what_was_promised_to_the_same_supplier() {
    let told = [
        opened(),
        rates(json!({})),
        ("yes", "approval-given", yes("repair", "1400.00")),
        order("o", "head_gasket", "200.00"),
        hours("1"),
        (
            "c",
            "cost-booked",
            json!({"what": "the bill of the stores", "amount": eur("185.00"), "supplier": "quayside"}),
        ),
    ];
    let bill = Invoice::of(&state(&told)).unwrap();
    assert_eq!(shown(&bill.sum.total), "EUR 265.00");
    // Against the ceiling the larger of the two still counts.
    assert_eq!(shown(&committed(&state(&told))[0].used.unwrap()), "EUR 280.00");
}

#[test]
fn what_is_missing_for_a_bill_is_named() {
    let base = [opened(), rates(json!({})), ("yes", "approval-given", yes("repair", "1000.00"))];
    let with = |more: &[Told]| Invoice::of(&state(&[base.as_slice(), more].concat())).unwrap_err();
    assert_eq!(with(&[]), NotBilled::Nothing);
    assert_eq!(with(&[order("o", "head_gasket", "200.00")]), NotBilled::NoWork);
    let unpriced = json!({"part": "head_gasket", "supplier": "Quayside", "quantity": 1});
    let NotBilled::NoPrice { what, .. } = with(&[hours("1"), ("o", "part-ordered", unpriced.clone())]) else {
        unreachable!()
    };
    assert!(what.contains("head gasket"), "{what}");
    // The supplier's bill says what nobody said before.
    let bill = ("c", "cost-booked", json!({"what": "bill", "amount": eur("90.00"), "supplier": "Quayside"}));
    let paid = Invoice::of(&state(&[base.as_slice(), &[hours("1"), ("o", "part-ordered", unpriced), bill]].concat()));
    assert_eq!(shown(&paid.unwrap().sum.total), "EUR 170.00");
    let told = [opened(), rates(json!({})), hours("1")];
    assert!(matches!(Invoice::of(&state(&told)), Err(NotBilled::NotAgreed { .. })));
    let told =
        [opened(), rates(json!({"tax_percent": "19"})), ("yes", "approval-given", yes("repair", "900.00")), hours("1")];
    let error = Invoice::of(&state(&told)).unwrap_err();
    assert!(error.to_string().contains("whether the amounts"), "{error}");
}

#[test]
fn markup_is_held_against_what_was_agreed() {
    // 800 of work and 100 of parts are inside 1000; with 50 per cent on parts and 20 per cent of tax they are not.
    let told = [
        opened(),
        rates(json!({"parts_markup_percent": "50"})),
        ("yes", "approval-given", yes("repair", "940.00")),
        order("o", "head_gasket", "100.00"),
        hours("10"),
    ];
    let NotBilled::Beyond { billed, ceiling, .. } = Invoice::of(&state(&told)).unwrap_err() else { unreachable!() };
    assert_eq!((shown(&billed), shown(&ceiling)), ("EUR 950.00".to_owned(), "EUR 940.00".to_owned()));
    // It was refused where the money was promised, and not first at the bill.
    let refused = last(&told).unwrap_err();
    assert_eq!(refused.rule, Rule::Ceiling);
    assert!(refused.to_string().contains("950.00"), "{refused}");
    let one = &committed(&state(&told))[0];
    assert_eq!(shown(&one.added.unwrap()), "EUR 50.00");
}

#[test]
fn nothing_is_added_on_freight_and_a_job_within_its_ceiling_can_always_be_billed() {
    // 250 of the part and 30 of freight: 10 per cent on 250 are 25; 8 h are 640; 945, and 20 per cent on top 189.
    let told = [
        opened(),
        rates(json!({"parts_markup_percent": "10", "tax_percent": "20", "prices": "without-tax"})),
        ("yes", "approval-given", yes("repair", "1134.00")),
        (
            "q",
            "quote-received",
            json!({"supplier": "Quayside", "price": eur("250.00"), "freight": eur("30.00"), "lead_days": [1, 2], "need": "radiator_renew"}),
        ),
        ("o", "part-ordered", json!({"part": "radiator", "supplier": "Quayside", "quantity": 1, "quote": "@q"})),
        hours("8"),
    ];
    assert_eq!(last(&told), Ok(()));
    let one = &committed(&state(&told))[0];
    assert_eq!((shown(&one.used.unwrap()), shown(&one.added.unwrap())), ("EUR 1,134.00".into(), "EUR 25.00".into()));
    let bill = Invoice::of(&state(&told)).unwrap();
    assert_eq!(bill.sum.total, one.used.unwrap());
    assert_eq!(bill.lines.iter().find(|l| l.what.starts_with("freight")).unwrap().amount.to_string(), "EUR 30.00");
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig::with_cases(400))]

    #[test]
    fn what_is_committed_is_what_is_billed_and_never_less(
        parts in proptest::collection::vec((1_u32..90_000, 0_u32..3_000, 0_u32..4), 0..5),
        bills in proptest::collection::vec((1_u32..90_000, 0_u32..5), 0..3),
        minutes in 1_u32..900,
        markup in 0_u32..6_000,
        percent in 0_u32..2_600,
        by_line in proptest::bool::ANY,
        with_tax in proptest::bool::ANY,
    ) {
        let cents = |c: u32| format!("{}.{:02}", c / 100, c % 100);
        let mut told = vec![
            opened(),
            rates(json!({
                "parts_markup_percent": cents(markup), "tax_percent": cents(percent),
                "prices": if with_tax { "with-tax" } else { "without-tax" },
                "tax_by": if by_line { "line" } else { "total" },
            })),
            ("yes", "approval-given", yes("repair", "9999999.00")),
            ("h", "time-worked", json!({"time": {"text": minutes.to_string(), "unit": "min"}, "what": "work"})),
        ];
        for (n, (price, freight, from)) in parts.iter().enumerate() {
            let label: &'static str = ["q0", "q1", "q2", "q3", "q4"][n];
            told.push((label, "quote-received", json!({"supplier": format!("Store {from}"), "price": eur(&cents(*price)),
                "freight": eur(&cents(*freight)), "lead_days": [1, 2], "need": "radiator_renew"})));
            told.push(("", "part-ordered", json!({"part": "radiator", "supplier": format!("Store {from}"), "quantity": 1,
                "quote": format!("@{label}")})));
        }
        for (amount, from) in &bills {
            told.push(("", "cost-booked",
                json!({"what": "bill", "amount": eur(&cents(*amount)), "supplier": format!("Store {from}")})));
        }
        let state = state(&told);
        let used = committed(&state)[0].used.unwrap();
        let bill = Invoice::of(&state).unwrap();
        let more = bill.sum.total.compare(&used).unwrap().is_gt();
        proptest::prop_assert!(!more, "billed {} and committed {used}", bill.sum.total);
        if bills.is_empty() {
            proptest::prop_assert_eq!(bill.sum.total, used);
        }
    }
}

#[test]
fn tax_on_top_counts_against_the_ceiling_once_it_is_told() {
    let told = |prices: Option<&str>, work: &str| {
        let tax = prices.map_or(json!({}), |p| json!({"tax_percent": "20", "prices": p}));
        vec![opened(), rates(tax), ("yes", "approval-given", yes("repair", "1000.00")), hours(work)]
    };
    // 11 h at 80 are 880; with 20 per cent on top 1056.
    assert_eq!(last(&told(None, "11")), Ok(()));
    assert_eq!(last(&told(Some("with-tax"), "11")), Ok(()));
    let refused = last(&told(Some("without-tax"), "11")).unwrap_err();
    assert_eq!(refused.rule, Rule::Ceiling);
    assert!(refused.to_string().contains("1,056.00"), "{refused}");
    let one = &committed(&state(&told(Some("without-tax"), "10")))[0];
    assert_eq!(
        (shown(&one.used.unwrap()), shown(&one.tax.unwrap())),
        ("EUR 960.00".to_owned(), "EUR 160.00".to_owned())
    );
}

const SHOP: &str = r#"
[[shop]]
name = "Saltmarsh Engine Works"
address = ["7 Tidemill Lane", "Fennmouth"]
labour_rate = "EUR 84.50"
parts_markup_percent = "12"
[shop.tax]
name = "VAT"
percent = "19"
prices = "without-tax"
on = ["parts", "labour"]
"#;

#[test]
fn a_job_takes_rate_markup_and_tax_over_from_the_shop() {
    let files = FileSet::builtin().with_texts(&[("shop/shop.toml", SHOP)]);
    let knowledge = Knowledge::from_files(&files).unwrap();
    let rates = workup::shop::rates(&knowledge).unwrap();
    assert_eq!(shown(&rates.labour_rate.unwrap()), "EUR 84.50");
    assert_eq!((rates.tax_percent.as_deref(), rates.prices), (Some("19"), Some(Prices::WithoutTax)));
    assert!(rates.taxes(Charge::Parts) && !rates.taxes(Charge::Sublet));
    assert_eq!(workup::shop::rates(&Knowledge::builtin().unwrap()), None);
}

#[test]
fn a_shop_file_that_does_not_fit_is_named_with_its_line() {
    let read = |text: &str| {
        let error = Knowledge::from_files(&FileSet::builtin().with_texts(&[("shop/shop.toml", text)])).unwrap_err();
        error.complaints().iter().map(ToString::to_string).collect::<Vec<_>>().join("\n")
    };
    let said = read(&SHOP.replace("\"19\"", "\"a fifth\""));
    assert!(said.starts_with("shop/shop.toml:2: tax.percent"), "{said}");
    assert!(read(&SHOP.replace("EUR 84.50", "84.50")).contains("84.50"));
    assert!(read(&format!("{SHOP}\n[[shop]]\nname = \"Other\"")).contains("a second shop"));
    assert!(read(&SHOP.replace("name = \"Saltmarsh Engine Works\"", "name = \" \"")).contains("is empty"));
    // The file that is laid ready can be read as it is, and with every line taken in.
    let as_it_is = FileSet::builtin().with_texts(&[("shop/shop.toml", knowledge::shop::SHOP_TO_FILL_IN)]);
    assert_eq!(Knowledge::from_files(&as_it_is).unwrap().shop_name(), Some("Name of the shop"));
    let open: String = knowledge::shop::SHOP_TO_FILL_IN
        .lines()
        .map(|line| match line.strip_prefix("# ") {
            Some(told) if told.contains(" = ") || told.starts_with('[') => told.to_owned() + "\n",
            Some(_) | None => line.to_owned() + "\n",
        })
        .collect();
    let whole = Knowledge::from_files(&FileSet::builtin().with_texts(&[("shop/shop.toml", &open)])).unwrap();
    let shop = whole.shop.unwrap();
    assert_eq!(shop.tax.unwrap().on.len(), 4);
    assert_eq!((shop.estimate_days, shop.words.estimate.len()), (Some(30), 1));
}
