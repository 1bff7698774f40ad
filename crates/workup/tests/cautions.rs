//! Cautions are shown with the work, and left out only where the engine is known to be of another kind.

#![expect(clippy::unwrap_used, reason = "tests stop at the first surprise")]

use std::collections::BTreeSet;

use knowledge::Knowledge;
use logbook::{StoryLine, fold, seal_story, story_from_lines};
use workup::work_up;

fn shown(fuel: &str, told: &[(&str, &str)]) -> BTreeSet<String> {
    let knowledge = Knowledge::builtin().unwrap();
    let layout = serde_json::json!({
        "arrangement": "inline", "cylinders": 4, "fuel": fuel, "valve_gear": "single-cam", "valves_per_cylinder": 2,
        "head_material": "aluminium", "block_material": "iron"
    });
    let line = |minute: usize, kind: &str, body: serde_json::Value| {
        serde_json::json!({"at": format!("2026-05-04T08:{minute:02}:00Z"), "by": "Nell", "device": "bench", "kind": kind, "body": body})
            .to_string()
    };
    let mut lines = vec![
        line(0, "job-opened", serde_json::json!({"title": "cautions"})),
        line(1, "engine-described", serde_json::json!({"layout": layout})),
    ];
    for (i, (attribute, value)) in told.iter().enumerate() {
        let body = serde_json::json!({"attribute": attribute, "value": value, "told_by": "owner"});
        lines.push(line(2 + i, "attribute-told", body));
    }
    let story: Vec<StoryLine> = story_from_lines(&lines.join("\n")).unwrap();
    let case = work_up(&fold(&seal_story("cautions", &story).unwrap()), &knowledge).unwrap();
    let checks = case.advice.next.iter().chain(&case.advice.rest).flat_map(|c| c.cautions.clone());
    let outside = case.outside.iter().flat_map(|o| o.cautions.clone());
    checks.chain(outside).chain(case.cautions.clone()).collect()
}

#[test]
fn a_caution_is_left_out_only_where_the_engine_is_known_to_be_of_another_kind() {
    let petrol = shown("petrol", &[]);
    assert!(petrol.contains("petrol-rail-pressure") && !petrol.contains("diesel-runaway"));
    let diesel = shown("diesel", &[]);
    assert!(diesel.contains("diesel-runaway") && !diesel.contains("petrol-rail-pressure"));
    // Nobody has told: the caution stays.
    assert!(petrol.contains("high-voltage") && petrol.contains("gas-fuel"));
    let told = shown("petrol", &[("high-voltage-drive", "no"), ("gas-fuel-fitted", "no")]);
    assert!(!told.contains("high-voltage") && !told.contains("gas-fuel"));
    let hybrid = shown("petrol", &[("high-voltage-drive", "yes")]);
    assert!(hybrid.contains("high-voltage"));
}
