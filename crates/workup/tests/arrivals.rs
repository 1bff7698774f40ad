//! What came in: looks by part, what a failed look holds up, and what is wanted again.
#![expect(clippy::unwrap_used, reason = "clippy lets only the tests themselves off, not the functions they share")]

use knowledge::Knowledge;
use logbook::{Content, Entry, JobState, fold, seal_story, story_from_lines};
use serde_json::{Value, json};
use workup::entering::{NotTaken, Rule, ensure};
use workup::{arrivals, awaited};

type Told = (&'static str, &'static str, Value);

fn sealed(told: &[Told]) -> Vec<Entry> {
    let lines: String = told
        .iter()
        .enumerate()
        .map(|(n, (label, kind, body))| {
            let at = format!("2026-03-02T08:{n:02}:00Z");
            json!({"label": label, "at": at, "by": "Ines", "device": "bench", "kind": kind, "body": body}).to_string()
                + "\n"
        })
        .collect();
    seal_story("parcel", &story_from_lines(&lines).unwrap()).unwrap()
}

fn state(told: &[Told]) -> JobState {
    fold(&sealed(told))
}

fn knowledge() -> Knowledge {
    Knowledge::builtin().unwrap()
}

fn last(told: &[Told]) -> Result<(), NotTaken> {
    let entries = sealed(told);
    let (last, before) = entries.split_last().unwrap();
    let Content::Known(body) = last.content() else { unreachable!("{last:?}") };
    ensure(&fold(before), &fold(&entries), &knowledge(), body)
}

fn ordered() -> Vec<Told> {
    vec![
        ("open", "job-opened", json!({"title": "Tolvane, invented"})),
        ("o", "part-ordered", json!({"part": "recon_head", "supplier": "Fennmouth", "quantity": 1})),
    ]
}

fn arrived(checks: Value) -> Told {
    ("a", "part-arrived", json!({"part": "recon_head", "order": "@o", "checks": checks}))
}

fn fitted() -> Told {
    ("f", "part-fitted", json!({"part": "recon_head", "order": "@o"}))
}

#[test]
fn a_part_wants_its_own_looks_and_a_bought_whole_those_of_what_it_is() {
    let k = knowledge();
    let head = arrivals::looks_for(&k, "recon_head");
    assert!(head.contains(&"cast number and side".to_owned()) && head.len() > 6, "{head:?}");
    let engine = arrivals::looks_for(&k, "used-engine");
    assert!(engine.iter().any(|look| look.contains("compression")), "{engine:?}");
    assert_eq!(arrivals::looks_for(&k, "used engine"), engine);
    assert!(arrivals::looks_for(&k, "a thing nobody knows").is_empty());
}

#[test]
fn a_look_that_nobody_took_stays_asked_until_somebody_takes_it() {
    let k = knowledge();
    let all = arrivals::looks_for(&k, "recon_head");
    let mut built_in = ordered();
    built_in.extend([arrived(json!([])), fitted()]);
    assert!(arrivals::here(&state(&built_in), &k)[0].untaken.is_empty(), "what is built in is looked at no more");
    let mut told = ordered();
    told.push(arrived(
        json!([{"what": "cast number and side", "result": "good"}, {"what": all[2], "result": "not-looked"}]),
    ));
    let first = state(&told);
    let here = arrivals::here(&first, &k);
    assert_eq!(here.len(), 1);
    assert_eq!(here[0].untaken.len(), all.len() - 1);
    assert!(!here[0].is_trusted());
    // The rest is looked at later, by an arrival of none.
    let rest: Vec<Value> =
        all.iter().skip(1).map(|look| json!({"what": look.to_uppercase(), "result": "good"})).collect();
    told.push(("b", "part-arrived", json!({"part": "recon_head", "order": "@o", "quantity": 0, "checks": rest})));
    let then = state(&told);
    let here = arrivals::here(&then, &k);
    assert_eq!(here.len(), 1);
    assert!(here[0].is_trusted(), "{:?}", here[0].untaken);
    assert!(awaited::parts(&then).is_empty());
}

#[test]
fn a_part_that_failed_a_look_is_not_fitted_until_it_is_looked_at_again_or_another_came() {
    let bad = json!([{"what": "seats", "result": "bad", "note": "one is loose"}]);
    let mut told = ordered();
    told.push(arrived(bad));
    let refused = last(&[told.clone(), vec![fitted()]].concat()).unwrap_err();
    assert_eq!(refused.rule, Rule::Hold);
    assert!(refused.to_string().contains("seats"), "{refused}");
    // Another part is none of its business.
    assert_eq!(last(&[told.clone(), vec![("g", "part-fitted", json!({"part": "head_gasket"}))]].concat()), Ok(()));
    // Looked at again, it was good.
    let again =
        json!({"part": "recon_head", "order": "@o", "quantity": 0, "checks": [{"what": "seats", "result": "good"}]});
    assert_eq!(last(&[told.clone(), vec![("b", "part-arrived", again), fitted()]].concat()), Ok(()));
    // It went back, and another came.
    let back = json!({"part": "recon_head", "order": "@o", "why": "damaged", "pays": "supplier"});
    told.push(("r", "part-returned", back));
    let away = state(&told);
    assert_eq!(awaited::parts(&away).len(), 1, "another is to come");
    told.push((
        "b",
        "part-arrived",
        json!({"part": "recon_head", "order": "@o", "checks": [{"what": "seats", "result": "good"}]}),
    ));
    assert!(awaited::parts(&state(&told)).is_empty());
    assert_eq!(last(&[told, vec![fitted()]].concat()), Ok(()));
}

#[test]
fn what_went_back_for_good_or_was_ordered_anew_is_awaited_no_more_under_its_order() {
    let mut told = ordered();
    told.push(arrived(json!([])));
    let back = |again: Option<&str>| {
        let mut body = json!({"part": "recon_head", "order": "@o", "why": "wrong"});
        if let Some(again) = again {
            body["again"] = json!(again);
        }
        ("r", "part-returned", body)
    };
    let with = |more: Vec<Told>| awaited::parts(&state(&[told.clone(), more].concat())).len();
    assert_eq!(with(vec![back(None)]), 1);
    assert_eq!(with(vec![back(Some("no"))]), 0);
    let other = ("p", "part-ordered", json!({"part": "recon_head", "supplier": "Other Exchange", "quantity": 1}));
    assert_eq!(with(vec![back(None), other]), 1, "the new order is awaited, the old one is not");
    // An old part against its deposit says nothing of the new one.
    let core = ("c", "part-returned", json!({"part": "old head", "order": "@o", "why": "core"}));
    assert_eq!(with(vec![core]), 0);
}
