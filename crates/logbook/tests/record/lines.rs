//! Lines come out as they went in, also those this build cannot read.

use crate::common::{FORMAT_1, at, body, chained, id, job, made, sample_bodies};
use logbook::{Content, Entry, LineError, NoticeCode, SealError, Unsealed, ensure_writable, export, fold, import};
use proptest::prelude::*;

#[test]
fn export_of_an_import_is_byte_equal() {
    let imported = import(FORMAT_1.as_bytes());
    assert_eq!(export(&imported.entries()), FORMAT_1);
    assert_eq!(imported.bytes(), FORMAT_1.as_bytes());
    let without_end = FORMAT_1.trim_end();
    assert_eq!(import(without_end.as_bytes()).bytes(), without_end.as_bytes());
}

fn newer() -> Vec<Entry> {
    let opened = made(0, 0, &sample_bodies()[0]);
    let unknown = Unsealed {
        kind: "smell-noticed".into(),
        v: 3,
        body: serde_json::from_str(r#"{"z":1.50,"a":[null,{"deep":"ä"}]}"#).expect("JSON"),
        ..made(1, 1, &sample_bodies()[0])
    };
    let later_version = Unsealed {
        v: 2,
        body: serde_json::from_str(r#"{"headline":"x"}"#).expect("JSON"),
        ..made(2, 2, &sample_bodies()[0])
    };
    chained(&[opened, unknown, later_version])
}

#[test]
fn kinds_and_versions_from_a_newer_build_are_carried_told_and_never_written_over() {
    let entries = newer();
    let file = export(&entries);
    let back = import(file.as_bytes());
    assert_eq!(back.bytes(), file.as_bytes());
    let back = back.entries();
    assert!(matches!(back[1].content(), Content::UnknownKind));
    assert!(matches!(back[2].content(), Content::NewerVersion(_)));
    assert!(logbook::verify(file.as_bytes()).is_ok());
    let codes: Vec<NoticeCode> = fold(&back).notices.iter().map(|n| n.code).collect();
    assert_eq!(codes, [NoticeCode::UnknownKind, NoticeCode::NewerVersion]);
    let refused = ensure_writable(&back).unwrap_err();
    assert_eq!(refused.entry, entries[1].id());
    assert!(refused.to_string().contains("kind smell-noticed version 3"), "{refused}");
    assert_eq!(ensure_writable(&crate::common::format_1()), Ok(()));
}

#[test]
fn a_line_with_another_member_order_and_an_unknown_member_is_kept_as_it_is() {
    // Made outside: members in another order, one more member, spaces; the hash is over these very bytes.
    let open = format!(
        r#"{{ "v":1,"colour" : "blue", "kind":"note-written","by":"Ida","device":"d","at":"2026-02-24T07:40:00Z","job":"{}","id":"{}","body":{{"text":"hello"}},"prev":"{}""#,
        job(),
        id(0, 0),
        logbook::FIRST_PREV
    );
    use sha2::{Digest as _, Sha256};
    let hash: String = Sha256::digest(format!("{open}}}")).iter().map(|b| format!("{b:02x}")).collect();
    let line = format!("{open},\"hash\":\"{hash}\"}}");
    let entry = Entry::from_line(&line).unwrap();
    assert_eq!(entry.line(), line);
    assert_eq!(fold(std::slice::from_ref(&entry)).notes[0].text, "hello");
    assert!(logbook::verify(format!("{line}\n").as_bytes()).is_ok());
}

#[test]
fn an_entry_sealed_and_read_again_is_the_same_entry() {
    for (n, body) in sample_bodies().iter().enumerate() {
        let entry =
            Entry::seal(job(), at(n as u64), "Ida", "bench phone", id(n as u64, 1), body, logbook::FIRST_PREV).unwrap();
        assert_eq!(Entry::from_line(entry.line()).unwrap(), entry);
        assert!(matches!(entry.content(), Content::Known(read) if read == body));
        let json = serde_json::to_string(&entry.unsealed()).unwrap();
        let again: Unsealed = serde_json::from_str(&json).unwrap();
        assert_eq!(again.seal(logbook::FIRST_PREV).unwrap().line(), entry.line());
    }
}

/// Puts a raw body under a known kind and says why it is refused.
fn refusal(kind: &str, json: &str) -> String {
    let unsealed = Unsealed {
        kind: kind.into(),
        body: serde_json::from_str(json).expect("JSON"),
        ..made(0, 0, &sample_bodies()[0])
    };
    match unsealed.seal(logbook::FIRST_PREV) {
        Err(SealError::Body { why, .. }) => why,
        other => panic!("{kind} {json}: {other:?}"),
    }
}

#[test]
fn bodies_that_do_not_fit_are_refused_with_field_and_next_move() {
    let cases = [
        ("note-written", r#"{"text":"x","colour":"blue"}"#, "unknown field `colour`"),
        ("note-written", "{}", "missing field `text`"),
        ("reading-taken", r#"{"check":"c","reading":"r","position":"cyl-3"}"#, "expected one of them, found none"),
        (
            "reading-taken",
            r#"{"check":"c","reading":"r","position":"cyl-3","outcome":"no","value":{"text":"1","unit":"mm"}}"#,
            "expected one of them, found both",
        ),
        ("reading-taken", r#"{"check":"c","reading":"r","position":"zyl-3","outcome":"no"}"#, "`zyl-3` is no address"),
        (
            "reading-taken",
            r#"{"check":"c","reading":"r","position":"cyl-3","value":{"text":" ","unit":"mm"}}"#,
            "value.text is empty",
        ),
        (
            "quote-received",
            r#"{"supplier":"s","price":{"amount":"1.00","currency":"EUR"},"lead_days":[3,2],"need":"x"}"#,
            "swap them",
        ),
        (
            "quote-received",
            r#"{"supplier":"s","price":{"amount":"1.00","currency":"EUR"},"lead_days":[2,3]}"#,
            "exactly one of them",
        ),
        (
            "quote-received",
            r#"{"supplier":"s","price":{"amount":"1.001","currency":"EUR"},"lead_days":[2,3],"need":"x"}"#,
            "EUR",
        ),
        ("photo-kept", r#"{"sha256":"ABC","caption":"x","drawn":true}"#, "64 small hexadecimal digits"),
        (
            "engine-figure-set",
            r#"{"item":"i","bound":"range","text":"1","unit":"mm","document":"d","page":"1"}"#,
            "needs text_high",
        ),
        (
            "engine-figure-set",
            r#"{"item":"i","bound":"max","text":"1","text_high":"2","unit":"mm","document":"d","page":"1"}"#,
            "bound range only",
        ),
        ("bolt-tightened", r#"{"joint":"head","bolt":0,"stage":1}"#, "count from 1"),
        (
            "engine-described",
            r#"{"layout":{"arrangement":"v","cylinders":5,"fuel":"petrol","valve_gear":"pushrod"}}"#,
            "bank_split",
        ),
    ];
    for (kind, json, expected) in cases {
        let why = refusal(kind, json);
        assert!(why.contains(expected), "{kind}: {why}");
    }
}

#[test]
fn a_prev_that_is_no_hash_is_refused() {
    let said = made(0, 0, &body("note-written", r#"{"text":"x"}"#)).seal("abc").unwrap_err().to_string();
    assert!(
        said.ends_with("expected 64 small hexadecimal digits; pass the hash of the last entry or FIRST_PREV"),
        "{said}"
    );
}

#[test]
fn lines_that_are_no_entries_say_why() {
    assert_eq!(Entry::from_line(""), Err(LineError::NoHash));
    let entry = &crate::common::format_1()[0];
    let changed = entry.line().replace("Ida", "Eda");
    assert_eq!(Entry::from_line(&changed), Err(LineError::WrongHash { id: entry.id() }));
    let no_entry = format!("{{\"a\":1,\"hash\":\"{}\"}}", entry.hash());
    assert!(matches!(Entry::from_line(&no_entry), Err(LineError::NotAnEntry(_))));
}

#[test]
fn very_deep_json_is_refused_and_does_not_overflow() {
    let deep = format!("{}1{}", "[".repeat(10_000), "]".repeat(10_000));
    let line = format!("{{\"body\":{deep},\"hash\":\"{}\"}}", logbook::FIRST_PREV);
    assert!(matches!(Entry::from_line(&line), Err(LineError::NotAnEntry(_))));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 10_000, ..ProptestConfig::default() })]

    #[test]
    fn no_text_near_an_entry_makes_the_reader_fall_over(
        place in any::<prop::sample::Index>(),
        with in "[\\x00-\\x7f]{0,6}",
        cut in any::<bool>(),
    ) {
        let line = FORMAT_1.lines().nth(13).expect("a line");
        let place = place.index(line.len());
        if line.is_char_boundary(place) {
            let (before, after) = line.split_at(place);
            let text = if cut { format!("{before}{with}") } else { format!("{before}{with}{after}") };
            if let Ok(entry) = Entry::from_line(&text) {
                prop_assert_eq!(entry.line(), line);
            }
        }
    }
}
