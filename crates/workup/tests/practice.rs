//! The practice job: its story is taken by the rules, advice speaks on it, and each step is done by what it asks for.
//!
//! Value by: the text of the steps; a step is done by the entry that it asks for and by no earlier one

#![expect(clippy::expect_used, reason = "helpers of tests stop at the first surprise")]

use knowledge::Knowledge;
use logbook::{JobState, StoryLine, Unsealed, fold, seal_story, story_from_lines};
use serde_json::{Value, json};
use workup::learning::left_out;
use workup::practice::{entries, entry, is_practice, steps};

const JOB: &str = "019c8e60-4600-7000-8fb2-2f3f4afc79ec";
const ENTRY: &str = "019c8e60-4601-7000-8fb2-2f3f4afc79ec";

/// The practice job with some further entries, made as the story is told.
fn with(more: &[(&str, Value)]) -> JobState {
    let knowledge = Knowledge::builtin().expect("the built-in knowledge");
    let line = |n: usize, kind: &str, body: &Value| {
        let at = format!("2026-03-01T08:{n:02}:00Z");
        json!({"at": at, "by": "Ida", "device": "bench", "kind": kind, "body": body}).to_string()
    };
    let mut lines: Vec<String> = Vec::new();
    let told = |lines: &[String]| -> JobState {
        let story: Vec<StoryLine> = story_from_lines(&lines.join("\n")).expect("a story");
        fold(&seal_story("practice", &story).expect("a sealed story"))
    };
    for number in 0..entries() {
        let state = if lines.is_empty() { JobState::default() } else { told(&lines) };
        let body = entry(number, &state, &knowledge).expect("an entry").expect("it is taken");
        let kept = Unsealed::new(
            JOB.parse().expect("an id"),
            "2026-03-01T08:00:00Z".parse().expect("a time"),
            "Ida",
            "bench",
            ENTRY.parse().expect("an id"),
            &body,
        );
        lines.push(line(number, body.kind().word(), &kept.expect("an entry").body));
    }
    for (number, (kind, body)) in more.iter().enumerate() {
        lines.push(line(entries() + number, kind, body));
    }
    told(&lines)
}

#[test]
fn its_story_is_taken_and_advice_speaks_on_it() {
    let state = with(&[]);
    assert!(is_practice(&state) && state.notices.is_empty(), "{:?}", state.notices);
    let knowledge = Knowledge::builtin().expect("the built-in knowledge");
    let case = workup::work_up(&state, &knowledge).expect("a case");
    assert!(case.notices.is_empty(), "{:?}", case.notices);
    assert!(!case.advice.next.is_empty(), "a check is worth doing");
    assert_eq!(left_out(&state), Some("it is for practice"));
}

#[test]
fn each_step_is_done_by_what_it_asks_for() {
    let reading = |check: &str, reading: &str, at: &str, more: Value| {
        let mut body = json!({"check": check, "reading": reading, "position": at});
        if let (Some(body), Value::Object(more)) = (body.as_object_mut(), more) {
            body.extend(more);
        }
        ("reading-taken", body)
    };
    let all = [
        (
            "outside-answered",
            json!({"fault": "sensors", "answer": "excluded", "how": "cold values agree with the air"}),
        ),
        reading("compression-dry", "pressure", "cyl-3", json!({"value": {"text": "8.4", "unit": "bar"}})),
        reading("combustion-gas-coolant", "colour", "engine", json!({"outcome": "quick-change"})),
        ("option-chosen", json!({"option": "recondition-own-heads", "by": "Ida", "reason": "the head can be saved"})),
        ("paper-issued", json!({"paper": "estimate", "sha256": "0".repeat(64), "revision": "A"})),
        ("job-closed", json!({"how": "taken-away"})),
    ];
    for done in 0..=all.len() {
        let state = with(all.get(..done).unwrap_or_default());
        let ticks: Vec<bool> = steps(&state).iter().map(|s| s.done).collect();
        let want: Vec<bool> = (0..all.len()).map(|n| n < done).collect();
        assert_eq!(ticks, want, "after {done} of what is asked for");
    }
}
