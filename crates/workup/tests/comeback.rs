//! An engine that came back, by days that can be counted by hand.
#![expect(clippy::unwrap_used, reason = "clippy lets only the tests themselves off, not the functions they share")]

use std::path::Path;

use knowledge::Knowledge;
use logbook::{JobState, StoryLine, fold, seal_story, story_from_lines};
use workup::comeback::{last, then_and_now};

const TWIN: &str = "0003-merrowin-f2";

fn told(case: &str) -> Vec<StoryLine> {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../cases").join(case).join("story.jsonl");
    story_from_lines(&std::fs::read_to_string(file).unwrap()).unwrap()
}

fn state(lines: &[StoryLine]) -> JobState {
    fold(&seal_story("comeback", lines).unwrap())
}

#[test]
fn days_distance_and_warranties_are_counted_from_the_hand_back_and_from_the_day_the_part_came() {
    let back = last(&state(&told(TWIN))).unwrap();
    // Handed back on 2025-05-08 at 31,260 km, back on 2026-03-23 at 38,900 km.
    assert_eq!((back.days, back.ran.as_deref()), (Some(319), Some("7640 km")));
    let shop = back.shop.unwrap();
    assert_eq!((shop.months, shop.until.to_string().as_str(), shop.holds), (12, "2026-05-08", true));
    // The crank came on 2025-05-01 with 12 months by its quote.
    let crank = back.parts.iter().find(|p| p.part.contains("crank")).unwrap();
    assert_eq!((crank.warranty.until.to_string().as_str(), crank.warranty.holds), ("2026-05-01", true));
    assert_eq!(crank.batch.as_deref(), Some("SC-3107"));
    assert!(!back.not_done.is_empty());
    // Six weeks later both have ended.
    let mut late = told(TWIN);
    for line in late.iter_mut().filter(|l| l.kind == "comeback-opened") {
        line.at += jiff::SignedDuration::from_hours(24 * 47);
    }
    let at = late.iter().position(|l| l.kind == "comeback-opened").unwrap();
    late.truncate(at + 1);
    let back = last(&state(&late)).unwrap();
    assert!(!back.shop.unwrap().holds && back.parts.iter().all(|p| !p.warranty.holds), "{back:?}");
    let never: Vec<StoryLine> = told(TWIN).into_iter().take_while(|l| l.kind != "comeback-opened").collect();
    assert_eq!(last(&state(&never)), None, "it never came back");
}

#[test]
fn what_is_read_now_stands_beside_what_was_left_and_what_was_found() {
    let known = Knowledge::builtin().unwrap();
    let state = state(&told(TWIN));
    let case = workup::work_up(&state, &known).unwrap();
    let rows = then_and_now(&state, &known, &case.findings);
    assert_eq!(rows.len(), case.proof.rechecks.len());
    let filter = rows.iter().find(|r| r.now.check == "proof-first-filter").unwrap();
    assert_eq!((filter.found.unwrap().shown.as_str(), filter.now.shown.as_str()), ("flakes", "clean or fine"));
    let oil = rows.iter().find(|r| r.now.check == "proof-oil-pressure").unwrap();
    assert_eq!(oil.left.unwrap().check, "proof-oil-pressure");
    let bar = |f: &workup::Finding| f.value.unwrap();
    assert!(bar(oil.now) < bar(oil.left.unwrap()), "2.0 bar now, 2.1 when it was left");
    // It was found by the check for a hot engine at idle, which looks at the same thing.
    let found = oil.found.unwrap();
    assert!(found.check.starts_with("oil-pressure") && bar(found) < bar(oil.now), "{found:?}");
}
