//! Entry formats ever released still fold to the same state. The files under `formats/` are never written again.

use std::collections::BTreeSet;

use logbook::{CauseAnswer, Content, Kind, ReadingValue, fold, import, verify};

const V1: &str = include_str!("../formats/v1/entries.jsonl");

#[test]
fn the_first_format_holds_every_kind_in_version_1_and_can_be_read() {
    let mut seen = BTreeSet::new();
    let imported = import(V1.as_bytes());
    assert_eq!(imported.unreadable(), Vec::new());
    for entry in imported.entries() {
        assert_eq!(entry.version(), 1);
        match entry.content() {
            Content::Known(body) => seen.insert(body.kind()),
            other @ (Content::UnknownKind | Content::NewerVersion(_) | Content::Unreadable { .. }) => {
                panic!("{}: {other:?}", entry.kind())
            }
        };
    }
    let every: BTreeSet<Kind> = Kind::ALL.iter().copied().collect();
    assert_eq!(seen, every);
}

// The eight characters were written down when the file was made; they stand here as they would on a paper.
#[test]
fn the_first_format_still_ends_as_the_paper_says() {
    assert_eq!(verify(V1.as_bytes()).unwrap().tail8(None).unwrap(), "4fb5e016");
    assert!(logbook::verify_against_tail(V1.as_bytes(), "4FB5E016").is_ok());
}

#[test]
fn the_first_format_folds_to_the_story_it_tells() {
    let state = fold(&import(V1.as_bytes()).entries());
    assert_eq!(state.notices, Vec::new());
    assert_eq!(state.history.len(), 62);
    assert_eq!(state.title.as_deref(), Some("Tolvane Carrier, boiled on the hill"));
    assert_eq!(state.customer.as_deref(), Some("K-0417"));
    assert_eq!(state.promised.unwrap().to_string(), "2026-03-10", "the later promise holds");
    assert_eq!(state.complaints.len(), 1);
    assert_eq!(state.layout.as_ref().unwrap().in_words(), "inline 4, petrol, 16 valves, twin-cam");
    assert_eq!(state.attribute("odometer"), Some("120k-to-180k-miles"));
    assert_eq!(state.attribute("timing-drive-type"), Some("chain"));
    assert_eq!(state.vehicle.odometer.as_ref().unwrap().text, "143200");
    assert_eq!(
        state.sheet.iter().map(|f| f.item.as_str()).collect::<Vec<_>>(),
        ["head_flat_len_i4", "ring_gap_top", "comp_spec"]
    );
    assert!(state.doubted_gauges.is_empty(), "the straightedge was found good");
    assert_eq!(state.readings.len(), 4);
    let third = &state.readings[0];
    assert_eq!(third.value, ReadingValue::Number { text: "8.6".into(), unit: "bar".into() }, "corrected from 8.4");
    assert_eq!(state.readings[2].spot.as_deref(), Some("line-A-F"));
    assert!(state.readings.iter().all(|r| r.gauge_doubted_by.is_none()));
    assert_eq!(state.rates.labour_rate.unwrap().to_string(), "EUR 80.00");
    assert_eq!(state.approvals[0].asked, Some(state.approvals_asked[0].in_entry));
    assert_eq!(state.quotes.len(), 2);
    assert_eq!(state.ruled_out[0].entry, Some(state.readings[2].entry));
    assert_eq!(state.chosen.as_ref().unwrap().option, "head_exchange");
    assert!(matches!(state.cause, Some(CauseAnswer::UnknownSigned(_))), "the later answer holds");
    assert_eq!(state.arrivals[0].checks.len(), 2);
    assert_eq!(state.machine_returns[0].lines[0].as_left.as_ref().unwrap().text, "0.02");
    let bank = state.bolts[0].position;
    assert_eq!(state.bolt_stages("head", bank).into_iter().collect::<Vec<_>>(), [(1, 1)], "stage 2 started again");
    assert_eq!(state.handed_back.as_ref().unwrap().first_check.as_ref().unwrap().what, "coolant level, cold");
    assert_eq!(state.notes.iter().map(|n| n.text.as_str()).collect::<Vec<_>>(), ["ask about the fan"]);
    assert_eq!(state.comebacks.len(), 1);
    assert_eq!(state.outcomes[0].state, "soft");
    assert!(state.closed.is_some());
}

#[test]
fn a_state_survives_json() {
    let state = fold(&import(V1.as_bytes()).entries());
    let text = serde_json::to_string(&state).unwrap();
    assert_eq!(serde_json::from_str::<logbook::JobState>(&text).unwrap(), state);
}
