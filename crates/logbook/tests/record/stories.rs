//! Stories written by hand become proper logbooks, engine sheets travel between jobs, and papers have their day.

use crate::common::{body, chained, made, small};
use logbook::{
    EntryBody, SheetError, StoryError, fold, seal_story, sheet_export, sheet_from_json, sheet_from_toml, sheet_import,
    sheet_to_json, sheet_to_toml, story_from_lines, verify,
};

const STORY: &str = r#"
{"at":"2026-02-24T07:40:00Z","by":"counter","device":"counter","kind":"job-opened","body":{"title":"Merrowin F2 900"}}
{"at":"2026-02-24T07:40:00Z","by":"counter","device":"counter","kind":"entry-corrected","body":{"entry":"@r12","body":{"text":"seen twice"},"reason":"said so"}}
{"at":"2026-02-24T07:40:00Z","by":"Ida","device":"phone","kind":"note-written","label":"r12","body":{"text":"seen @ 3000 1/min"}}
"#;

#[test]
fn a_story_becomes_a_chain_with_ordered_ids_and_resolved_labels() {
    let entries = seal_story("demo 3", &story_from_lines(STORY).unwrap()).unwrap();
    assert!(entries.is_sorted_by_key(logbook::Entry::id), "lines of one moment keep their order");
    assert_eq!(verify(logbook::export(&entries).as_bytes()).unwrap().lines, 3);
    for entry in &entries {
        // RFC 9562: the thirteenth hexadecimal digit is the version, the seventeenth one of 8, 9, a, b.
        let id = entry.id().to_string();
        assert_eq!(&id[14..15], "7");
        assert!(["8", "9", "a", "b"].contains(&&id[19..20]), "{id}");
        assert_eq!(entry.id().unix_ms(), 1_771_918_800_000);
    }
    let state = fold(&entries);
    assert_eq!(state.notes[0].text, "seen twice");
    let again = seal_story("demo 3", &story_from_lines(STORY).unwrap()).unwrap();
    assert_eq!(logbook::export(&entries), logbook::export(&again), "the same story gives the same bytes");
    let other = seal_story("demo 4", &story_from_lines(STORY).unwrap()).unwrap();
    assert_ne!(entries[0].job(), other[0].job());
    assert_ne!(entries[0].id(), other[0].id());
    assert_eq!(seal_story("nothing", &[]), Ok(Vec::new()));
}

#[test]
fn mistakes_in_a_story_are_named_with_their_line() {
    let said = |text: &str| match story_from_lines(text) {
        Err(error) => error.to_string(),
        Ok(lines) => seal_story("x", &lines).unwrap_err().to_string(),
    };
    let missing = said(&STORY.replace("\"label\":\"r12\",", ""));
    assert_eq!(missing, "story line 2: no line has the label `r12`; label the line that is meant");
    assert!(said(&STORY.replace("note-written", "note-sung")).contains("story line 3: kind `note-sung` is not known"));
    assert!(said(&STORY.replace("\"title\"", "\"titel\"")).contains("unknown field `titel`"));
    assert!(said(&STORY.replace("2026-02-24T07:40:00Z", "1969-02-24T07:40:00Z")).contains("from 1970 on"));
    assert!(said("{}").contains("story line 1: missing field"));
    let twice = STORY.replace("\"kind\":\"job-opened\"", "\"label\":\"r12\",\"kind\":\"job-opened\"");
    let lines = story_from_lines(&twice).unwrap();
    assert_eq!(seal_story("x", &lines), Err(StoryError::LabelTwice { line: 3, label: "r12".into() }));
    assert!(said(&STORY.replace("\"label\":\"r12\"", "\"label\":\"R 12\"")).contains("`R 12` is no label"));
}

#[test]
fn an_engine_sheet_travels_to_the_next_job_of_the_same_engine() {
    let old = fold(&crate::common::format_1());
    let sheet = sheet_export(&old, "TC16");
    assert_eq!(sheet.figures.len(), 3);
    assert_eq!(sheet_from_toml(&sheet_to_toml(&sheet).unwrap()).unwrap(), sheet);
    assert_eq!(sheet_from_json(&sheet_to_json(&sheet).unwrap()).unwrap(), sheet);

    let mut new = logbook::JobState { layout: old.layout.clone(), ..Default::default() };
    let adopted = sheet_import(&sheet, &new).unwrap();
    assert!(matches!(&adopted, EntryBody::SheetAdopted(body) if body.figures == sheet.figures));
    let state = fold(&crate::common::chained(&[crate::common::made(0, 0, &adopted)]));
    assert_eq!(sheet_export(&state, "TC16").figures, sheet.figures);

    let six = r#"{"arrangement":"inline","cylinders":6,"fuel":"diesel","valve_gear":"pushrod"}"#;
    new.layout = Some(serde_json::from_str(six).unwrap());
    let refused = sheet_import(&sheet, &new).unwrap_err();
    assert!(matches!(refused, SheetError::OtherEngine { .. }));
    assert_eq!(
        refused.to_string(),
        "engine sheet TC16 is for inline 4, petrol, 16 valves, twin-cam, this job's engine is inline 6, diesel, 12 valves, \
         pushrod; choose another sheet or correct the engine layout"
    );
}

#[test]
fn a_spoiled_sheet_says_where() {
    let said = sheet_from_toml("sheet = \"x\"\n[[figures]]\nitem = \"i\"\n").unwrap_err().to_string();
    assert!(said.contains("missing field"), "{said}");
    let said = sheet_from_json("{\"sheet\":\"x\",\"colour\":1}").unwrap_err().to_string();
    assert!(said.contains("unknown field `colour`"), "{said}");
}

const ISSUED: &str = r#"{"paper":"estimate","sha256":"e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855","revision":"A","knowledge":"e3b0c44298fc1c14","tail":"7852b855"}"#;

#[test]
fn no_paper_is_dated_before_its_last_entry_and_one_issued_keeps_its_day() {
    let day_of = |at: jiff::Timestamp| at.to_zoned_datetime(jiff::tz::TimeZone::UTC).date();
    let day = |n: i8| jiff::civil::date(2026, 2, n);
    // Noted on the 24th, and on the 26th by a phone whose clock runs ahead of this machine's.
    let notes = [0, 2 * 24 * 60]
        .map(|m| made(m, small(usize::try_from(m).expect("small") % 200), &body("note-written", r#"{"text":"x"}"#)));
    let told = chained(&notes);
    let basis = logbook::issue_basis(&told, logbook::Paper::Estimate);
    assert_eq!(basis.day(day(25), day_of), day(26), "never before what it tells");
    assert_eq!(basis.day(day(28), day_of), day(28), "else today");
    assert_eq!(logbook::issue_basis(&[], logbook::Paper::Estimate).day(day(3), day_of), day(3));
    let issued = made(3 * 24 * 60, 9, &body("paper-issued", ISSUED));
    let told = chained(&[notes[0].clone(), notes[1].clone(), issued]);
    let basis = logbook::issue_basis(&told, logbook::Paper::Estimate);
    assert_eq!(basis.day(day(28), day_of), day(27), "the same paper keeps the day on which it was issued");
}
