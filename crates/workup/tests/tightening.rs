//! Bolts set down where they stand: the manual's sequence holds, a rule stands in for it and says so.

#![expect(clippy::unwrap_used, reason = "helpers of tests stop at a surprise")]

use anatomy::Position;
use logbook::{JobState, fold, seal_story, story_from_lines};
use serde_json::{Value, json};
use workup::tightening::{Whose, pattern};

fn job(told: &[(&str, Value)]) -> JobState {
    let engine = json!({"layout": {"arrangement": "v", "cylinders": 8, "fuel": "petrol", "valve_gear": "twin-cam"}});
    let mut all = vec![("job-opened", json!({"title": "Ostrand, invented"})), ("engine-described", engine)];
    all.extend(told.iter().cloned());
    let lines: Vec<String> = all
        .iter()
        .enumerate()
        .map(|(n, (kind, body))| {
            json!({"at": format!("2026-03-02T08:{n:02}:00Z"), "by": "Ines", "device": "bench", "kind": kind, "body": body})
                .to_string()
        })
        .collect();
    fold(&seal_story("bolts", &story_from_lines(&lines.join("\n")).unwrap()).unwrap())
}

fn bolts(places: &[(&str, &str)], unit: &str) -> Value {
    let figure = |text: &str| json!({"text": text, "unit": unit});
    places.iter().map(|(x, y)| json!({"along": figure(x), "across": figure(y)})).collect()
}

const SQUARE: [(&str, &str); 4] = [("0", "0"), ("80", "0"), ("0", "80"), ("80", "80")];

fn numbers(state: &JobState, at: Option<Position>) -> Vec<(u16, f64, f64)> {
    pattern(state, "head", at).unwrap().bolts.iter().map(|b| (b.number, b.along, b.across)).collect()
}

#[test]
fn a_sequence_of_the_manual_holds_and_without_one_opposite_bolts_follow_each_other() {
    let by_hand = json!({"joint": "head", "bolts": bolts(&SQUARE, "mm"), "sequence": [2, 1, 3, 4], "document": "Book", "page": "7"});
    let state = job(&[("bolts-placed", by_hand)]);
    assert_eq!(pattern(&state, "head", None).unwrap().whose, Whose::Manual("Book".to_owned(), "7".to_owned()));
    assert_eq!(numbers(&state, None), [(1, 80.0, 0.0), (2, 0.0, 0.0), (3, 0.0, 80.0), (4, 80.0, 80.0)]);
    let state = job(&[("bolts-placed", json!({"joint": "head", "bolts": bolts(&SQUARE, "mm")}))]);
    let ours = pattern(&state, "head", None).unwrap();
    assert_eq!(ours.whose, Whose::Rule);
    assert!(ours.whose.words().contains("engine's manual"), "{}", ours.whose.words());
    for pair in ours.bolts.chunks(2) {
        assert!((pair[0].along + pair[1].along - 80.0).abs() < 1e-9, "{:?}", ours.bolts);
        assert!((pair[0].across + pair[1].across - 80.0).abs() < 1e-9, "{:?}", ours.bolts);
    }
}

#[test]
fn a_pattern_told_for_one_head_is_not_that_of_the_other_and_one_told_for_all_is() {
    let left: Position = "bank-A".parse().unwrap();
    let right: Position = "bank-B".parse().unwrap();
    let all = json!({"joint": "head", "bolts": bolts(&SQUARE, "mm")});
    let one = json!({"joint": "head", "position": "bank-A", "bolts": bolts(&SQUARE[..3], "mm")});
    let state = job(&[("bolts-placed", one.clone())]);
    assert!(pattern(&state, "head", Some(right)).is_none());
    let state = job(&[("bolts-placed", one), ("bolts-placed", all)]);
    assert_eq!(pattern(&state, "head", Some(left)).unwrap().bolts.len(), 3, "what is told of this head goes first");
    assert_eq!(pattern(&state, "head", Some(right)).unwrap().bolts.len(), 4);
    assert!(pattern(&state, "mains", None).is_none());
}

#[test]
fn two_bolts_at_one_place_are_refused_with_both() {
    let body = json!({"joint": "head", "bolts": bolts(&[("0", "0"), ("80", "0"), ("0.0", "0")], "mm")});
    let state = job(&[]);
    let knowledge = knowledge::Knowledge::builtin().unwrap();
    let placed = workup::entering::body_of(logbook::Kind::BoltsPlaced, &body, &state, &knowledge).unwrap();
    let why = workup::entering::ensure(&state, &state, &knowledge, &placed).unwrap_err();
    assert_eq!((why.rule.clone(), why.field.as_str()), (workup::entering::Rule::Value, "bolts"));
    assert!(why.found.contains("bolts 1 and 3 stand at the same place"), "{why}");
}

#[test]
fn inches_are_places_too_and_each_bolt_says_how_far_it_is() {
    let inches = [("0", "0"), ("4", "0"), ("0", "3"), ("4", "3")];
    let tighten = |bolt: u16, stage: u16, striped: &str| {
        (
            "bolt-tightened",
            json!({"joint": "head", "bolt": bolt, "stage": stage, "torque": {"text": "30", "unit": "N·m"}, "striped": striped}),
        )
    };
    let placed = ("bolts-placed", json!({"joint": "head", "bolts": bolts(&inches, "in"), "threads": "dry"}));
    let state = job(&[placed, tighten(1, 1, "no"), tighten(2, 1, "yes"), tighten(1, 2, "yes")]);
    let pattern = pattern(&state, "head", None).unwrap();
    let far: Vec<(u16, bool)> = pattern.bolts.iter().map(|b| (b.stage, b.striped)).collect();
    assert_eq!(far, [(2, true), (1, true), (0, false), (0, false)]);
    assert_eq!((pattern.stages(), pattern.threads.as_deref()), (2, Some("dry")));
    assert!(pattern.bolts.iter().any(|b| (b.along - 101.6).abs() < 1e-9));
}
