//! Readings that cannot all be true are named, count for nothing, and the job goes on without them.
#![expect(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    reason = "clippy lets only the tests themselves off, not the functions they share"
)]

use std::collections::BTreeSet;

use knowledge::Knowledge;
use logbook::{fold, seal_story, story_from_lines};
use serde_json::{Value, json};
use workup::{Case, Finding, work_up};

const VALVE: &str = "cyl-2-ex-1";

fn told(arrangement: &str, cylinders: u8, readings: &[(&str, &str, &str, &str)], more: &[Value]) -> Case {
    let layout =
        json!({"arrangement": arrangement, "cylinders": cylinders, "fuel": "petrol", "valve_gear": "twin-cam"});
    let mut lines = vec![
        json!({"kind": "job-opened", "body": {"title": "Ostrand, invented"}}),
        json!({"kind": "engine-described", "body": {"layout": layout}}),
        json!({"kind": "stage-reached", "body": {"stage": "head-on-bench"}}),
    ];
    for (place, (check, reading, at, outcome)) in readings.iter().enumerate() {
        let body = json!({"check": check, "reading": reading, "position": at, "outcome": outcome});
        lines.push(json!({"label": format!("r{place}"), "kind": "reading-taken", "body": body}));
    }
    lines.extend(more.iter().cloned());
    let text: Vec<String> = lines
        .into_iter()
        .enumerate()
        .map(|(n, mut line)| {
            line["at"] = json!(format!("2026-03-02T08:{n:02}:00Z"));
            (line["by"], line["device"]) = (json!("Ines"), json!("bench"));
            line.to_string()
        })
        .collect();
    let entries = seal_story("clash", &story_from_lines(&text.join("\n")).unwrap()).unwrap();
    work_up(&fold(&entries), &Knowledge::builtin().unwrap()).unwrap()
}

/// An insert that is not there, and a valve in it that lets no bubble through.
const CLASH: [(&str, &str, &str, &str); 4] = [
    ("history-interview", "overheat-told", "engine", "yes"),
    ("seat-insert-look", "line", VALVE, "missing"),
    ("chamber-residue-id", "class", "cyl-1", "dry-even-carbon"),
    ("valve-seal-soap-air", "bubbles", VALVE, "no-bubbles"),
];

fn at<'c>(case: &'c Case, check: &str) -> &'c Finding {
    case.findings.iter().find(|f| f.check == check).unwrap()
}

#[test]
fn two_readings_that_exclude_each_other_are_named_and_the_rest_is_worked() {
    for (arrangement, cylinders) in [("inline", 4), ("v", 8)] {
        let case = told(arrangement, cylinders, &CLASH, &[]);
        let notices: Vec<_> = case.notices.iter().filter(|n| n.code == "cannot-all-be-true").collect();
        let [notice] = notices.as_slice() else { panic!("{:?}", case.notices) };
        let (insert, bubbles) = (at(&case, "seat-insert-look"), at(&case, "valve-seal-soap-air"));
        assert_eq!(notice.about, format!("{} {}", insert.entry, bubbles.entry));
        for (finding, other) in [(insert, bubbles), (bubbles, insert)] {
            assert!(finding.measure_again && finding.seen.is_none(), "{finding:?}");
            assert!(
                finding.reason.contains(&other.check_name) && finding.reason.contains(&other.shown),
                "{}",
                finding.reason
            );
            assert!(
                notice.message.contains(&finding.check_name) && notice.message.contains(&finding.place),
                "{notice:?}"
            );
            assert!(finding.next_move.as_ref().is_some_and(|n| n.contains("take back")), "{finding:?}");
        }
        assert!(!at(&case, "history-interview").measure_again && !at(&case, "chamber-residue-id").measure_again);
        // The same beliefs as in a job that was never told of either.
        let without = told(arrangement, cylinders, &[CLASH[0], CLASH[2]], &[]);
        assert!((case.ln_p_evidence - without.ln_p_evidence).abs() < 1e-9);
        let (here, there) = (&case.conditions, &without.conditions);
        assert!(here.iter().zip(there).all(|(a, b)| a.id == b.id && (a.p - b.p).abs() < 1e-9));
        // And the looks are as open as if nobody had made them.
        let open = |case: &Case| -> BTreeSet<(String, String)> {
            let all = case.advice.next.iter().chain(&case.advice.rest);
            all.map(|c| (c.check.clone(), c.position.address())).collect()
        };
        assert_eq!(open(&case), open(&without));
    }
}

#[test]
fn what_is_taken_back_lets_the_other_count_again() {
    let back = json!({"kind": "entry-withdrawn", "body": {"entry": "@r3", "reason": "another valve"}});
    let case = told("inline", 4, &CLASH, &[back]);
    assert!(case.notices.iter().all(|n| n.code != "cannot-all-be-true"), "{:?}", case.notices);
    let insert = at(&case, "seat-insert-look");
    assert!(!insert.measure_again);
    let dropped =
        case.conditions.iter().find(|b| b.id == "seat-insert-fit" && b.position.is_some_and(|p| p.address() == VALVE));
    assert!(dropped.unwrap().p > 0.99, "an insert that is not there is believed");
}

#[test]
fn two_clashes_in_one_job_are_both_named() {
    let other = "cyl-3-in-1";
    let more = [("seat-insert-look", "line", other, "missing"), ("valve-seal-solvent", "weep", other, "dry")];
    let case = told("inline", 4, &[&CLASH[..], &more[..]].concat(), &[]);
    let named: Vec<_> = case.notices.iter().filter(|n| n.code == "cannot-all-be-true").collect();
    assert_eq!(named.len(), 2, "{named:?}");
    assert_eq!(case.findings.iter().filter(|f| f.measure_again).count(), 4);
}
