//! Entry formats ever released still fold to the same state. The files under `formats/` are never written again.

use std::collections::BTreeSet;

use logbook::{CauseAnswer, Content, Kind, ReadingValue, fold, import, verify};

/// The kinds that came with a version of their own after the first format.
const V2: &str = include_str!("../formats/v2/entries.jsonl");
const V3: &str = include_str!("../formats/v3/entries.jsonl");
const V4: &str = include_str!("../formats/v4/entries.jsonl");
const V5: &str = include_str!("../formats/v5/entries.jsonl");
const V6: &str = include_str!("../formats/v6/entries.jsonl");
const V7: &str = include_str!("../formats/v7/entries.jsonl");
const V8: &str = include_str!("../formats/v8/entries.jsonl");
const V9: &str = include_str!("../formats/v9/entries.jsonl");
const V10: &str = include_str!("../formats/v10/entries.jsonl");
const V11: &str = include_str!("../formats/v11/entries.jsonl");
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
    // Kinds that came later stand in the folder they came with.
    let later =
        BTreeSet::from([Kind::BagEmptied, Kind::BoltsPlaced, Kind::LimitsTold, Kind::StageLeftOut, Kind::WaitStarted]);
    let every: BTreeSet<Kind> = Kind::ALL.iter().copied().filter(|kind| !later.contains(kind)).collect();
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

#[test]
fn several_readings_of_one_thing_came_with_version_2_and_fold_to_their_mean() {
    assert_eq!(verify(V2.as_bytes()).unwrap().tail8(None).unwrap(), "10e19aac");
    let state = fold(&import(V2.as_bytes()).entries());
    assert_eq!(state.notices, Vec::new());
    let [by_one, told] = state.readings.as_slice() else { panic!("{:?}", state.readings) };
    // By hand: 0.16 over 3 is 0.05333; two digits beyond those of one reading.
    assert_eq!(by_one.value, ReadingValue::Number { text: "0.0533".into(), unit: "mm".into() });
    let texts: Vec<&str> = by_one.repeats.iter().map(|f| f.text.as_str()).collect();
    assert_eq!((texts, by_one.mean_of), (vec!["0.05", "0.06", "0.05"], Some(3)));
    assert_eq!(told.value, ReadingValue::Number { text: "0.053".into(), unit: "mm".into() });
    assert_eq!((told.repeats.len(), told.mean_of), (0, Some(3)));
}

#[test]
fn limits_came_later_and_fold_to_what_was_told() {
    let state = fold(&import(V4.as_bytes()).entries());
    assert_eq!(state.notices, Vec::new());
    let [first, second] = state.limits.as_slice() else { panic!("{:?}", state.limits) };
    assert_eq!(first.most.as_ref().unwrap().to_string(), "EUR 4,000.00");
    assert_eq!(first.ready_by.unwrap().to_string(), "2026-03-20");
    assert_eq!(second.bad_bill.as_ref().unwrap().to_string(), "EUR 6,500.00");
    assert_eq!(second.bears, Some(anatomy::Known::No));
}

#[test]
fn a_stage_left_out_came_later_and_folds_to_who_and_why() {
    let state = fold(&import(V5.as_bytes()).entries());
    assert_eq!(state.notices, Vec::new());
    let [left] = state.stages_left_out.as_slice() else { panic!("{:?}", state.stages_left_out) };
    assert_eq!((left.stage.as_str(), left.by.as_str(), left.reason.as_str()), ("oil_side", "Ida", "the sump stays on"));
}

#[test]
fn a_pattern_of_bolts_says_where_each_stands_and_a_sequence_names_each_once_with_its_page() {
    use logbook::EntryBody;
    let state = fold(&import(V5.as_bytes()).entries());
    let [placed] = state.bolts_placed.as_slice() else { panic!("{:?}", state.bolts_placed) };
    assert_eq!((placed.joint.as_str(), placed.bolts.len(), placed.sequence.clone()), ("head", 4, vec![1, 4, 2, 3]));
    assert_eq!(placed.bolts[3].wet, Some(anatomy::Known::Yes));
    let mut body = serde_json::to_value(&placed.body).unwrap();
    let refused = |body: &serde_json::Value| EntryBody::read(Kind::BoltsPlaced, 1, body).unwrap_err().to_string();
    body["sequence"] = serde_json::json!([1, 2, 3, 3]);
    assert!(refused(&body).contains("every bolt from 1 to 4 once"), "{}", refused(&body));
    body["sequence"] = serde_json::json!([1, 4, 2, 3]);
    body.as_object_mut().unwrap().remove("page");
    assert!(refused(&body).contains("its page"), "{}", refused(&body));
    body["bolts"] = serde_json::json!([{"along": {"text": "0", "unit": "mm"}, "across": {"text": "1", "unit": "bar"}}]);
    assert!(refused(&body).contains("two or more"), "{}", refused(&body));
}

#[test]
fn a_teardown_estimate_came_with_version_2_of_what_left_the_shop_and_the_others_stay_version_1() {
    use logbook::EntryBody;
    let state = fold(&import(V5.as_bytes()).entries());
    assert_eq!(state.papers[0].paper, logbook::Paper::TeardownEstimate);
    let mut body = serde_json::to_value(&state.papers[0].body).unwrap();
    assert_eq!(Kind::PaperIssued.version_for(&body), 2);
    assert!(EntryBody::read(Kind::PaperIssued, 1, &body).unwrap_err().to_string().contains("version 2"));
    body["paper"] = "estimate".into();
    assert_eq!(Kind::PaperIssued.version_for(&body), 1);
}

#[test]
fn the_day_a_machine_shop_promised_and_the_doubt_it_states_came_with_version_2() {
    use logbook::EntryBody;
    assert_eq!(verify(V6.as_bytes()).unwrap().tail8(None).unwrap(), "1ac1402b");
    let entries = import(V6.as_bytes()).entries();
    let state = fold(&entries);
    assert_eq!(state.notices, Vec::new());
    // What says neither is written as before, so that an older build reads it.
    assert_eq!(entries.iter().map(logbook::Entry::version).collect::<Vec<_>>(), [1, 1, 2, 2]);
    let [old, new] = state.machine_orders.as_slice() else { panic!("{:?}", state.machine_orders) };
    assert_eq!((old.promised, new.promised.unwrap().to_string().as_str()), (None, "2026-03-06"));
    assert_eq!(state.machine_returns[0].lines[0].u.as_ref().unwrap().text, "0.002");
    for entry in &entries {
        let Some(kind) = Kind::from_word(entry.kind()) else { panic!("{}", entry.kind()) };
        assert_eq!(kind.version_for(entry.body()), entry.version());
        let early = EntryBody::read(kind, 1, entry.body());
        assert_eq!(early.is_err(), entry.version() == 2, "version 1 holds no field of version 2");
    }
}

#[test]
fn how_tax_is_reckoned_and_who_pays_for_a_wrong_part_came_with_version_2_and_the_invoice_with_version_3() {
    use logbook::EntryBody;
    use quantity::{Charge, Prices, Rounding, TaxBy};
    assert!(verify(V8.as_bytes()).is_ok());
    let entries = import(V8.as_bytes()).entries();
    let state = fold(&entries);
    assert_eq!(state.notices, Vec::new());
    assert_eq!(entries.iter().map(logbook::Entry::version).collect::<Vec<_>>(), [1, 1, 2, 1, 1, 2, 3]);
    for entry in &entries {
        let Some(kind) = Kind::from_word(entry.kind()) else { panic!("{}", entry.kind()) };
        assert_eq!(kind.version_for(entry.body()), entry.version());
        let early = EntryBody::read(kind, 1, entry.body());
        assert_eq!(early.is_err(), entry.version() > 1, "version 1 holds no field of a later one");
    }
    // Told later, it stands beside what was told before.
    let rules = state.rates.tax_rules().unwrap();
    assert_eq!((rules.rate.to_string().as_str(), rules.by, rules.prices), ("0.19", TaxBy::Line, Prices::WithoutTax));
    assert_eq!((rules.rounding, state.rates.tax_word()), (Rounding::HalfEven, "VAT"));
    assert!(state.rates.taxes(Charge::Labour) && !state.rates.taxes(Charge::Sublet));
    assert_eq!(state.returns[1].pays, Some(logbook::Bearer::Supplier));
    assert_eq!(state.papers[0].paper, logbook::Paper::Invoice);
    let wrong = serde_json::json!({"tax_percent": "a fifth", "prices": "with-tax"});
    assert!(EntryBody::read(Kind::MoneyTold, 2, &wrong).unwrap_err().to_string().contains("a fifth"));
    // As version 1 it was kept as typed, and says nothing of a rule.
    let old = serde_json::json!({"tax_percent": "a fifth"});
    let Some(EntryBody::MoneyTold(told)) = EntryBody::read(Kind::MoneyTold, 1, &old).unwrap() else { panic!("{old}") };
    assert_eq!(told.tax_rules(), None);
}

#[test]
fn a_limit_says_what_it_is() {
    use logbook::EntryBody;
    let refused = |body: serde_json::Value| EntryBody::read(Kind::LimitsTold, 1, &body).unwrap_err().to_string();
    assert!(refused(serde_json::json!({})).contains("expected one of them at least"));
    assert!(refused(serde_json::json!({"bears": "no"})).contains("which bill"));
}

#[test]
fn one_reading_is_still_written_as_version_1_and_version_1_holds_no_second() {
    use logbook::EntryBody;
    let figure = |text: &str| serde_json::json!({"text": text, "unit": "mm"});
    let one =
        serde_json::json!({"check": "bore-gauge", "reading": "taper", "position": "cyl-1", "value": figure("0.05")});
    let mut several = one.clone();
    several.as_object_mut().unwrap().remove("value");
    several["repeats"] = serde_json::json!([figure("0.05"), figure("0.06")]);
    assert_eq!((Kind::ReadingTaken.version_for(&one), Kind::ReadingTaken.version_for(&several)), (1, 2));
    assert!(EntryBody::read(Kind::ReadingTaken, 1, &several).unwrap_err().to_string().contains("version 2"));
    let refused = |body: &serde_json::Value| EntryBody::read(Kind::ReadingTaken, 2, body).unwrap_err().to_string();
    let mut both = several.clone();
    both["value"] = figure("0.05");
    assert!(refused(&both).contains("no outcome and no value"), "{}", refused(&both));
    several["repeats"] = serde_json::json!([figure("0.05"), {"text": "2", "unit": "thou"}]);
    assert!(refused(&several).contains("in one unit"), "{}", refused(&several));
    several["repeats"] = serde_json::json!([figure("0.05")]);
    assert!(refused(&several).contains("two or more"), "{}", refused(&several));
    let mut alone = one;
    alone["mean_of"] = 1.into();
    assert!(refused(&alone).contains("two or more"), "{}", refused(&alone));
}

#[test]
fn a_straightedge_laid_once_and_a_bore_on_three_axes_came_with_version_3() {
    use logbook::EntryBody;
    assert_eq!(verify(V3.as_bytes()).unwrap().tail8(None).unwrap(), "93fe4282");
    let state = fold(&import(V3.as_bytes()).entries());
    assert_eq!(state.notices, Vec::new());
    let [laid, bore] = state.readings.as_slice() else { panic!("{:?}", state.readings) };
    assert_eq!(laid.value, ReadingValue::Number { text: "0.05".into(), unit: "mm".into() });
    assert_eq!((laid.stations.len(), laid.spot.as_deref(), laid.mean_of), (3, Some("along-left"), None));
    assert_eq!(laid.stations[0].enters, None);
    // By hand: 88.04 stands 0.02 off the mean of the other two, and an oval turned by 45 degrees is twice that.
    assert_eq!(bore.value, ReadingValue::Number { text: "0.0400".into(), unit: "mm".into() });
    assert_eq!(bore.axes.iter().map(|a| a.degrees).collect::<Vec<_>>(), [0, 45, 90]);

    let figure = |text: &str| serde_json::json!({"text": text, "unit": "mm"});
    let station = |along: &str, enters: &str, refused: &str| {
        let mut one = serde_json::json!({"along": figure(along)});
        for (name, text) in [("enters", enters), ("refused", refused)] {
            if !text.is_empty() {
                one[name] = figure(text);
            }
        }
        one
    };
    let body = |stations: Vec<serde_json::Value>| serde_json::json!({"check": "head-straightedge", "reading": "gap", "position": "bank-A", "spot": "along-left", "stations": stations});
    let good = body(vec![station("0", "", "0.03"), station("200", "0.05", "0.06")]);
    assert_eq!(Kind::ReadingTaken.version_for(&good), 3);
    let read = |v: u32, body: &serde_json::Value| EntryBody::read(Kind::ReadingTaken, v, body);
    let kept = read(3, &good).unwrap().unwrap();
    assert_eq!(serde_json::to_value(&kept).unwrap(), good, "what is read is what is written");
    assert!(read(2, &good).unwrap_err().to_string().contains("version 3"));
    // No blade enters anywhere: the gap is nought, not unknown.
    let none = body(vec![station("0", "", "0.03"), station("200", "", "0.03")]);
    let EntryBody::ReadingTaken(_) = read(3, &none).unwrap().unwrap() else { panic!("a reading") };
    let mut valued = good.clone();
    valued["value"] = figure("0.05");
    let mut nowhere = good.clone();
    nowhere.as_object_mut().unwrap().remove("spot");
    for (body, says) in [
        (valued, "no outcome, value"),
        (nowhere, "say which line"),
        (body(vec![station("0", "", "0.03"), station("0", "", "0.04")]), "read twice"),
        (body(vec![station("200", "", "0.03"), station("0", "", "0.04")]), "in sequence"),
        (body(vec![station("0", "", "")]), "no blade"),
        (body(vec![station("0", "0.06", "0.05")]), "swap the two"),
        (body(vec![station("-5", "", "0.05")]), "from nought up"),
        (body(vec![station("far", "", "0.05")]), "from nought up"),
    ] {
        let why = read(3, &body).unwrap_err().to_string();
        assert!(why.contains(says), "{why}");
    }
    let bore = |degrees: &[u16], text: &str| {
        let axes: Vec<serde_json::Value> =
            degrees.iter().map(|d| serde_json::json!({"degrees": d, "size": figure(text)})).collect();
        serde_json::json!({"check": "bore-gauge", "reading": "out-of-round", "position": "cyl-1", "axes": axes})
    };
    assert_eq!(Kind::ReadingTaken.version_for(&bore(&[0, 45, 90], "88.02")), 3);
    let mut beside = bore(&[0, 45, 90], "88.02");
    beside["value"] = figure("0.05");
    for (body, says) in [
        (beside, "nothing else beside them"),
        (bore(&[0, 90], "88.02"), "0, 45 and 90 degrees"),
        (bore(&[90, 45, 0], "88.02"), "in this sequence"),
        (bore(&[0, 45, 90], "wide"), "as shown"),
    ] {
        let why = read(3, &body).unwrap_err().to_string();
        assert!(why.contains(says), "{why}");
    }
}

#[test]
fn a_question_with_its_page_and_code_came_with_version_2_and_folds_to_what_was_shown() {
    use logbook::EntryBody;
    assert_eq!(verify(V7.as_bytes()).unwrap().tail8(None).unwrap(), "aed99348");
    let imported = import(V7.as_bytes());
    let versions: Vec<u32> = imported.entries().iter().map(logbook::Entry::version).collect();
    assert_eq!(versions, [1, 2, 2]);
    let state = fold(&imported.entries());
    assert_eq!(state.notices, Vec::new());
    let [ask] = state.approvals_asked.as_slice() else { panic!("{:?}", state.approvals_asked) };
    assert_eq!(ask.code.as_deref(), Some("7XYCMHD"));
    assert_eq!(ask.answer_by.unwrap().to_string(), "2026-03-09");
    assert_eq!(ask.shown[1].says, "EUR\u{a0}2,900.00");
    let [no] = state.refusals.as_slice() else { panic!("{:?}", state.refusals) };
    assert_eq!((no.asked, &no.page), (Some(ask.in_entry), &ask.page));

    // Without a page nothing of version 2 is said, so an older build still reads it.
    let mut body = serde_json::to_value(&ask.body).unwrap();
    assert_eq!(Kind::ApprovalAsked.version_for(&body), 2);
    assert!(EntryBody::read(Kind::ApprovalAsked, 1, &body).unwrap_err().to_string().contains("version 2"));
    let refused = |body: &serde_json::Value| EntryBody::read(Kind::ApprovalAsked, 2, body).unwrap_err().to_string();
    let mut other = body.clone();
    other["shown"][0]["says"] = "EUR 2,791".into();
    assert!(refused(&other).contains("expected the hash of what stands in shown"), "{}", refused(&other));
    other = body.clone();
    other["code"] = "7XYCMDH".into();
    assert!(refused(&other).contains("check sign"), "{}", refused(&other));
    other["code"] = "7XY-CMH-D".into();
    assert!(refused(&other).contains("7XYCMHD"), "{}", refused(&other));
    for name in ["code", "answer_by", "shown", "page"] {
        body.as_object_mut().unwrap().remove(name);
    }
    assert_eq!(Kind::ApprovalAsked.version_for(&body), 1);
    let mut refusal = serde_json::to_value(&no.body).unwrap();
    assert_eq!(Kind::ApprovalRefused.version_for(&refusal), 2);
    refusal.as_object_mut().unwrap().remove("page");
    assert_eq!(Kind::ApprovalRefused.version_for(&refusal), 1);
}

#[test]
fn a_signature_with_the_two_sizes_came_with_version_2_and_the_findings_with_version_4_of_papers() {
    use logbook::EntryBody;
    assert_eq!(verify(V10.as_bytes()).unwrap().tail8(None).unwrap(), "d375eb3c");
    let entries = import(V10.as_bytes()).entries();
    assert_eq!(entries.iter().map(logbook::Entry::version).collect::<Vec<_>>(), [1, 1, 2, 4]);
    let state = fold(&entries);
    assert_eq!(state.notices, Vec::new());
    assert_eq!(state.papers[0].paper, logbook::Paper::Findings);
    assert!(EntryBody::read(Kind::PaperIssued, 3, entries[3].body()).unwrap_err().to_string().contains("version 4"));
    let [value, sizes] = state.holds_signed.as_slice() else { panic!("{:?}", state.holds_signed) };
    assert_eq!((value.value.as_ref().unwrap().text.as_str(), &value.outer), ("0.12", &None));
    let text = |f: &Option<logbook::Figure>| f.as_ref().unwrap().text.clone();
    assert_eq!((text(&sizes.outer), text(&sizes.inner), &sizes.value), ("48.046".into(), "48.002".into(), &None));
    let early = EntryBody::read(Kind::HoldPointSigned, 1, entries[2].body()).unwrap_err().to_string();
    assert!(early.contains("version 2"), "{early}");
}

// A pressure set going at the bench, read after its time, and set going once more after the repair.
#[test]
fn the_ninth_format_knows_what_was_set_going_to_stand() {
    let imported = import(V9.as_bytes());
    assert_eq!(imported.unreadable(), Vec::new());
    assert_eq!(verify(V9.as_bytes()).unwrap().tail8(None).unwrap(), "031fd7c9");
    let state = fold(&imported.entries());
    assert_eq!(state.notices, Vec::new());
    let [before, after] = state.waits.as_slice() else { panic!("{:?}", state.waits) };
    assert_eq!((before.check.as_str(), before.position.address().as_str()), ("cooling-pressure-hold", "engine"));
    assert_eq!((before.phase, before.made_by.as_str()), (None, "Ida"));
    assert_eq!(before.made_at.to_string(), "2026-03-03T08:10:00Z");
    assert_eq!((after.check.as_str(), after.phase), ("proof-cooling-hold", Some(logbook::Phase::AsLeft)));
    assert_eq!(state.readings.len(), 1);
    // A place that the engine does not have is said, as for any other entry; without a place it is no wait.
    let body = serde_json::json!({"check": "cooling-pressure-hold"});
    assert!(logbook::EntryBody::read(Kind::WaitStarted, 1, &body).unwrap_err().to_string().contains("position"));
}

#[test]
fn where_bagged_parts_came_from_came_with_version_2_and_bags_asked_back_came_later() {
    use logbook::{BagEnd, EntryBody};
    assert_eq!(verify(V11.as_bytes()).unwrap().tail8(None).unwrap(), "fbaa4a52");
    let entries = import(V11.as_bytes()).entries();
    assert_eq!(entries.iter().map(logbook::Entry::version).collect::<Vec<_>>(), [1, 1, 1, 2, 2, 2, 1, 1, 1]);
    for entry in &entries {
        let Some(kind) = Kind::from_word(entry.kind()) else { panic!("{}", entry.kind()) };
        assert_eq!(kind.version_for(entry.body()), entry.version());
        let early = EntryBody::read(kind, 1, entry.body());
        assert_eq!(early.is_err(), entry.version() == 2, "version 1 holds no field of version 2");
    }
    let state = fold(&entries);
    assert_eq!(state.notices, Vec::new());
    let [plain, bolts, rods] = state.bags.as_slice() else { panic!("{:?}", state.bags) };
    assert_eq!((plain.bag.as_str(), &plain.joint, plain.own_place), ("3", &None, None));
    assert_eq!((bolts.joint.as_deref(), bolts.from_bolts.as_slice()), (Some("head"), &[1, 2, 5][..]));
    assert_eq!((rods.stage.as_deref(), rods.keep.as_deref()), (Some("valvegear_ohv"), Some("pushrod")));
    assert_eq!(state.photos[0].bag.as_deref(), Some("5"));
    let ends: Vec<(&str, BagEnd)> = state.bags_emptied.iter().map(|b| (b.bag.as_str(), b.how)).collect();
    assert_eq!(ends, [("4", BagEnd::NotUsed), ("5", BagEnd::SomethingWrong), ("5", BagEnd::BackIn)]);

    let refused = |kind: Kind, body: serde_json::Value| {
        EntryBody::read(kind, kind.latest_version(), &body).unwrap_err().to_string()
    };
    for (body, says) in [
        (serde_json::json!({"part": "bolts", "bag": "6", "from_bolts": [1]}), "expected the joint beside it"),
        (serde_json::json!({"part": "bolts", "bag": "6", "joint": "head", "from_bolts": [0, 1]}), "counts from 1"),
        (
            serde_json::json!({"part": "bolts", "bag": "6", "joint": "head", "from_bolts": [3, 1, 3]}),
            "bolt 3 is named twice",
        ),
    ] {
        let why = refused(Kind::PartBagged, body);
        assert!(why.contains(says), "{why}");
    }
    for (how, says) in [("something-wrong", "missing or damaged"), ("not-used", "why it is not used again")] {
        for words in [None, Some(" ")] {
            let why = refused(Kind::BagEmptied, serde_json::json!({"bag": "6", "how": how, "words": words}));
            assert!(why.contains(says), "{why}");
        }
    }
}
