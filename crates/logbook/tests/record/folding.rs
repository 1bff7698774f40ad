//! The fold depends on the set of entries alone, withdrawals undo, and every notice can be provoked.

use std::collections::BTreeSet;

use crate::common::{body, chained, id, job, made, sample_bodies, small};
use anatomy::EntryId;
use logbook::{
    Chain, Entry, EntryBody, EntryWithdrawn, Folding, InForce, JobState, NoticeCode, ReadingValue, Unsealed, fold,
};
use proptest::prelude::*;

fn withdraw(minute: u64, chance: u8, entry: EntryId) -> Unsealed {
    made(minute, chance, &EntryBody::EntryWithdrawn(EntryWithdrawn { entry, reason: "mistyped".into() }))
}

fn correct(minute: u64, chance: u8, entry: EntryId, json: &str) -> Unsealed {
    let json = format!(r#"{{"entry":"{entry}","body":{json},"reason":"read again"}}"#);
    made(minute, chance, &body("entry-corrected", &json))
}

fn reading(text: &str) -> String {
    format!(
        r#"{{"check":"compression-dry","reading":"pressure","position":"cyl-3","value":{{"text":"{text}","unit":"bar"}}}}"#
    )
}

fn texts(state: &JobState) -> Vec<String> {
    let text = |r: &logbook::ReadingTaken| match &r.value {
        ReadingValue::Number { text, .. } => text.clone(),
        ReadingValue::Outcome(word) => word.clone(),
    };
    state.readings.iter().map(text).collect()
}

fn codes(state: &JobState) -> Vec<NoticeCode> {
    state.notices.iter().map(|n| n.code).collect()
}

#[test]
fn nothing_folds_to_nothing() {
    assert_eq!(fold(&[]), JobState::default());
}

#[test]
fn two_phones_same_minute_keep_both_readings_and_a_third_is_asked_for() {
    let one = made(5, 1, &body("reading-taken", &reading("8.4")));
    let other =
        Unsealed { device: "tablet".into(), by: "Joss".into(), ..made(5, 2, &body("reading-taken", &reading("8.9"))) };
    let state = fold(&chained(&[one.clone(), other.clone()]));
    assert_eq!(texts(&state), ["8.4", "8.9"]);
    assert_eq!(codes(&state), [NoticeCode::TwoReadings]);
    assert_eq!(state.notices[0].about, [one.id, other.id]);
    assert!(state.notices[0].what_to_do.starts_with("take a third reading"));
    let third = made(6, 3, &body("reading-taken", &reading("8.5")));
    assert_eq!(codes(&fold(&chained(&[one.clone(), other.clone(), third]))), []);
    let taken_back = withdraw(7, 4, other.id);
    assert_eq!(codes(&fold(&chained(&[one, other, taken_back]))), []);
}

#[test]
fn readings_of_another_spot_or_phase_are_not_two_of_the_same() {
    let with = |extra: &str| body("reading-taken", &reading("8.4").replace("\"check\"", &format!("{extra}\"check\"")));
    let bodies = [with(""), with(r#""spot":"top","#), with(r#""spot":"low","#), with(r#""phase":"as-left","#)];
    let unsealed: Vec<Unsealed> = bodies.iter().enumerate().map(|(n, b)| made(n as u64, small(n), b)).collect();
    assert_eq!(codes(&fold(&chained(&unsealed))), []);
}

#[test]
fn a_correction_replaces_and_the_latest_one_holds_until_it_is_taken_back() {
    let first = made(0, 0, &body("reading-taken", &reading("8.4")));
    let once = correct(1, 1, first.id, &reading("8.5"));
    let twice = correct(2, 2, once.id, &reading("8.6"));
    let undo = withdraw(3, 3, twice.id);
    let entries = chained(&[first.clone(), once.clone(), twice.clone(), undo.clone()]);
    assert_eq!(texts(&fold(&entries[..2])), ["8.5"]);
    assert_eq!(texts(&fold(&entries[..3])), ["8.6"], "a correction of a correction is about the first entry");
    let state = fold(&entries);
    assert_eq!(texts(&state), ["8.5"]);
    assert_eq!(state.readings[0].entry, first.id);
    let statuses: Vec<InForce> = state.history.iter().map(|line| line.status.clone()).collect();
    assert_eq!(
        statuses,
        [InForce::Corrected { by: once.id }, InForce::Standing, InForce::Withdrawn { by: undo.id }, InForce::Standing]
    );
    assert_eq!(state.history[0].body["value"]["text"], "8.4", "what was first written stays in the history");
}

#[test]
fn a_withdrawal_can_be_withdrawn() {
    let note = made(0, 0, &body("note-written", r#"{"text":"x"}"#));
    let undo = withdraw(1, 1, note.id);
    let redo = withdraw(2, 2, undo.id);
    assert_eq!(fold(&chained(&[note.clone(), undo.clone()])).notes.len(), 0);
    assert_eq!(fold(&chained(&[note, undo, redo])).notes.len(), 1);
}

#[test]
fn a_slow_clock_does_not_hinder_a_withdrawal_but_is_told() {
    let note = made(5000, 0, &body("note-written", r#"{"text":"x"}"#));
    let undo = withdraw(1, 1, note.id);
    let state = fold(&chained(&[note.clone(), undo.clone()]));
    assert_eq!(state.notes.len(), 0);
    assert_eq!(codes(&state), [NoticeCode::ClockDoubted]);
}

#[test]
fn clocks_that_jump_leave_the_order_to_the_ids_and_are_told() {
    let bodies = sample_bodies();
    for jump_ms in [-315_360_000_000_i64, 315_360_000_000, -3_600_000, 259_200_000] {
        let mut entry = made(1, 1, &bodies[1]);
        entry.at = jiff::Timestamp::from_millisecond(entry.at.as_millisecond() + jump_ms).unwrap();
        let state = fold(&chained(&[made(0, 0, &bodies[0]), entry, made(2, 2, &bodies[5])]));
        assert_eq!(codes(&state), [NoticeCode::ClockDoubted], "{jump_ms}");
        assert!(state.history.is_sorted_by_key(|line| line.entry));
    }
}

#[test]
fn a_doubted_gauge_asks_for_all_its_readings_again_until_it_is_cleared() {
    let by = |minute: u64, position: &str| {
        let json = reading("8.4").replace("cyl-3", position).replace("\"check\"", "\"label\":\"CG1\",\"check\"");
        made(minute, small(usize::try_from(minute).expect("small")), &body("reading-taken", &json))
    };
    let gauge = made(0, 0, &body("gauge-described", r#"{"gauge":"compression_gauge","label":"CG1"}"#));
    let doubt = made(2, 2, &body("gauge-doubted", r#"{"label":"CG1","reason":"dropped"}"#));
    let put_right = made(4, 4, &body("gauge-cleared", r#"{"label":"CG1","how":"new seal","good":"later"}"#));
    let all_good = made(6, 6, &body("gauge-cleared", r#"{"label":"CG1","how":"compared","good":"all"}"#));
    let story = chained(&[gauge, by(1, "cyl-1"), doubt.clone(), by(3, "cyl-2"), put_right, by(5, "cyl-3"), all_good]);
    let again = |n: usize| -> Vec<String> {
        let state = fold(&story[..n]);
        let doubted = state.readings.iter().filter(|r| r.gauge_doubted_by == Some(doubt.id));
        doubted.map(|r| r.position.to_string()).collect()
    };
    assert_eq!(again(2), Vec::<String>::new());
    assert_eq!(again(4), ["cyl-1", "cyl-2"]);
    assert_eq!(again(6), ["cyl-1", "cyl-2"], "put right for later readings only");
    assert_eq!(again(7), Vec::<String>::new());
    assert!(fold(&story[..4]).doubted_gauges.contains_key("CG1"));
    assert!(fold(&story[..6]).doubted_gauges.is_empty());
}

/// Each notice code once, with the entries that provoke it.
fn provocations() -> Vec<(NoticeCode, Vec<Entry>)> {
    let bodies = sample_bodies();
    let opened = made(0, 0, &bodies[0]);
    let engine = made(1, 1, &bodies[2]);
    let raw = |minute: u64, kind: &str, v: u32, json: &str| Unsealed {
        kind: kind.into(),
        v,
        body: serde_json::from_str(json).expect("JSON"),
        ..made(minute, 7, &bodies[0])
    };
    let note = made(2, 2, &body("note-written", r#"{"text":"x"}"#));
    let (a, b) = (id(3, 3), id(4, 4));
    let mut off = made(2, 2, &body("note-written", r#"{"text":"x"}"#));
    off.at = crate::common::at(600);
    let figure = |text: &str| {
        body(
            "engine-figure-set",
            &format!(r#"{{"item":"i","bound":"max","text":"{text}","unit":"mm","document":"d","page":"1"}}"#),
        )
    };
    let other_job = anatomy::JobId::from_time_and_chance(crate::common::START_MS + 1, [3; 10]);
    let labelled = body("reading-taken", &reading("8.4").replace("\"check\"", "\"label\":\"CG1\",\"check\""));
    let unreadable = {
        // A known kind with a body that does not fit cannot be sealed here; it comes from a faulty device.
        let good = raw(3, "note-writtem", 1, r#"{"words":"x"}"#).seal(logbook::FIRST_PREV).expect("an unknown kind");
        let open = good.line().replace("note-writtem", "note-written");
        let open = open.split(",\"hash\"").next().expect("a part").to_owned();
        use sha2::{Digest as _, Sha256};
        let hash: String = Sha256::digest(format!("{open}}}")).iter().map(|b| format!("{b:02x}")).collect();
        Entry::from_line(&format!("{open},\"hash\":\"{hash}\"}}")).expect("a whole line")
    };
    let seal = |list: &[Unsealed]| chained(list);
    vec![
        (NoticeCode::UnknownKind, seal(&[opened.clone(), raw(3, "smell-noticed", 1, "{}")])),
        (NoticeCode::NewerVersion, seal(&[opened.clone(), raw(3, "note-written", 9, "{}")])),
        (NoticeCode::UnreadableEntry, [seal(std::slice::from_ref(&opened)), vec![unreadable]].concat()),
        (
            NoticeCode::UnreadableCorrection,
            seal(&[opened.clone(), note.clone(), correct(3, 3, note.id, r#"{"words":"y"}"#)]),
        ),
        (NoticeCode::OtherJob, seal(&[opened.clone(), Unsealed { job: other_job, ..note.clone() }])),
        (
            NoticeCode::SameIdTwice,
            seal(&[opened.clone(), note.clone(), Unsealed { by: "Joss".into(), ..note.clone() }]),
        ),
        (NoticeCode::TargetMissing, seal(&[opened.clone(), withdraw(3, 3, id(1, 99))])),
        (NoticeCode::WithdrawalCircle, seal(&[opened.clone(), withdraw(3, 3, b), withdraw(4, 4, a)])),
        (NoticeCode::ClockDoubted, seal(&[opened.clone(), off])),
        (
            NoticeCode::TwoReadings,
            seal(&[
                opened.clone(),
                made(2, 2, &body("reading-taken", &reading("1"))),
                made(3, 3, &body("reading-taken", &reading("2"))),
            ]),
        ),
        (NoticeCode::FiguresDiffer, seal(&[opened.clone(), made(2, 2, &figure("0.05")), made(3, 3, &figure("0.06"))])),
        (
            NoticeCode::PositionNotOnEngine,
            seal(&[opened.clone(), engine, made(2, 2, &body("note-written", r#"{"text":"x","position":"cyl-5"}"#))]),
        ),
        (NoticeCode::GaugeNotDescribed, seal(&[opened.clone(), made(2, 2, &labelled)])),
        (
            NoticeCode::GaugeDoubted,
            seal(&[
                opened,
                made(1, 1, &body("gauge-described", r#"{"gauge":"g","label":"CG1"}"#)),
                made(2, 2, &labelled),
                made(3, 3, &body("gauge-doubted", r#"{"label":"CG1","reason":"dropped"}"#)),
            ]),
        ),
    ]
}

#[test]
fn every_notice_code_is_provoked_once_and_says_what_to_do() {
    let all = provocations();
    let provoked: BTreeSet<NoticeCode> = all.iter().map(|(code, _)| *code).collect();
    assert_eq!(provoked, NoticeCode::ALL.iter().copied().collect());
    for (code, entries) in all {
        let state = fold(&entries);
        let found = state.notices.iter().find(|n| n.code == code);
        let found = found.unwrap_or_else(|| panic!("{code} not told: {:?}", state.notices));
        assert!(!found.about.is_empty() && !found.message.is_empty() && !found.what_to_do.is_empty());
        assert!(!found.message.ends_with('.') && !found.what_to_do.ends_with('.'));
        // A circle also looks like a wrong clock; everything else is told alone.
        if code != NoticeCode::WithdrawalCircle {
            assert_eq!(codes(&state), [code], "{:?}", state.notices);
        }
    }
}

#[test]
fn withdrawals_in_a_long_row_are_settled_without_deep_recursion() {
    let mut unsealed = vec![made(0, 0, &body("note-written", r#"{"text":"x"}"#))];
    for n in 1..=20_001_u64 {
        let before = unsealed[usize::try_from(n).unwrap() - 1].id;
        unsealed.push(withdraw(n, 1, before));
    }
    let entries = chained(&unsealed);
    assert_eq!(fold(&entries).notes.len(), 0, "an odd number of withdrawals");
    assert_eq!(fold(&entries[..entries.len() - 1]).notes.len(), 1, "an even number");
}

/// Random entries: bodies of all kinds, withdrawals and corrections of earlier and later ones, doubtful clocks.
fn any_entries() -> impl Strategy<Value = Vec<Unsealed>> {
    let one = (0_u64..60, any::<u8>(), 0_usize..1000, 0_u8..10, any::<prop::sample::Index>(), -90_i64..90);
    prop::collection::vec(one, 1..25).prop_map(|plan| {
        let bodies = sample_bodies();
        let ids: Vec<EntryId> = plan.iter().map(|(minute, chance, ..)| id(*minute, *chance)).collect();
        plan.iter()
            .map(|(minute, chance, which, what, target, clock)| {
                let target = *target.get(&ids);
                let mut entry = match what {
                    0 | 1 => withdraw(*minute, *chance, target),
                    2 => correct(*minute, *chance, target, &reading("9.9")),
                    3..=5 => made(*minute, *chance, &body("reading-taken", &reading(&which.to_string()))),
                    _ => made(*minute, *chance, &bodies[which % bodies.len()]),
                };
                entry.at = jiff::Timestamp::from_second(entry.at.as_second() + clock).expect("a time");
                entry
            })
            .collect()
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 10_000, ..ProptestConfig::default() })]

    #[test]
    fn any_arrival_order_gives_the_same_state(
        (plan, shuffled) in any_entries().prop_flat_map(|plan| (Just(plan.clone()), Just(plan).prop_shuffle()))
    ) {
        let state = fold(&chained(&plan));
        let also = fold(&chained(&shuffled));
        prop_assert_eq!(&state, &also);
        let bytes = serde_json::to_string(&state).expect("JSON");
        prop_assert_eq!(bytes, serde_json::to_string(&also).expect("JSON"));
    }
}

/// How the queues of two to five phones come in: whose turn it is each time, and how often an entry is sent for which the
/// answer got lost. Each phone sends its own in the sequence it wrote them down.
fn any_arrival() -> impl Strategy<Value = (Vec<Unsealed>, Vec<Unsealed>)> {
    let turns = prop::collection::vec((any::<prop::sample::Index>(), 1_usize..4), 60);
    (any_entries(), 2_usize..6, turns).prop_map(|(plan, phones, turns)| {
        let mut queues: Vec<Vec<Unsealed>> = vec![Vec::new(); phones];
        for (n, entry) in plan.into_iter().enumerate() {
            queues[n % phones].push(Unsealed { device: format!("phone {}", n % phones), ..entry });
        }
        for queue in &mut queues {
            queue.sort_by_key(|entry| entry.id);
        }
        let apart = queues.concat();
        let mut arrived = Vec::new();
        let mut turns = turns.into_iter().cycle();
        while queues.iter().any(|queue| !queue.is_empty()) {
            let Some((whose, sent)) = turns.next() else { break };
            let left: Vec<usize> = (0..phones).filter(|n| !queues[*n].is_empty()).collect();
            let entry = queues[*whose.get(&left)].remove(0);
            arrived.extend(std::iter::repeat_n(entry, sent));
        }
        (apart, arrived)
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 10_000, ..ProptestConfig::default() })]

    #[test]
    fn phones_that_were_away_give_one_state_however_their_queues_come_in_and_however_often((apart, arrived) in any_arrival()) {
        let one_by_one = fold(&chained(&apart));
        let mut folding = Folding::new();
        for entry in chained(&arrived) {
            folding.add(entry);
        }
        prop_assert_eq!(&folding.state(), &one_by_one);
        let bytes = serde_json::to_string(&one_by_one).expect("JSON");
        prop_assert_eq!(serde_json::to_string(&folding.state()).expect("JSON"), bytes);
        // Nothing is lost: every entry stands in the history, whatever became of it.
        let written: BTreeSet<EntryId> = apart.iter().map(|entry| entry.id).collect();
        let told: BTreeSet<EntryId> = one_by_one.history.iter().map(|line| line.entry).collect();
        prop_assert_eq!(told, written);
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2_000, ..ProptestConfig::default() })]

    #[test]
    fn one_sealed_set_of_entries_gives_one_state_in_any_order_even_with_ids_used_twice(
        (plan, order) in any_entries().prop_flat_map(|plan| {
            let n = plan.len();
            (Just(plan), Just((0..n).collect::<Vec<_>>()).prop_shuffle())
        })
    ) {
        let entries = chained(&plan);
        let shuffled: Vec<Entry> = order.iter().map(|n| entries[*n].clone()).collect();
        prop_assert_eq!(fold(&entries), fold(&shuffled));
    }

    #[test]
    fn folding_one_by_one_equals_folding_at_once(plan in any_entries()) {
        let entries = chained(&plan);
        let mut folding = Folding::new();
        for n in 0..entries.len() {
            folding.add(entries[n].clone());
            folding.add(entries[n / 2].clone());
            prop_assert_eq!(folding.state(), fold(&entries[..=n]));
        }
    }

    #[test]
    fn withdrawing_an_entry_undoes_it(plan in any_entries(), which in 0_usize..1000, minute in 0_u64..60) {
        let bodies = sample_bodies();
        let before = chained(&plan);
        let more = made(minute, 255, &bodies[which % bodies.len()]);
        prop_assume!(plan.iter().all(|entry| entry.id != more.id && entry.id != id(61, 254)));
        // The first opening of a job names it; an entry of the same job changes nothing there.
        let undo = withdraw(61, 254, more.id);
        let mut all = plan.clone();
        all.extend([more, undo]);
        prop_assert_eq!(fold(&chained(&all)).facts_only(), fold(&before).facts_only());
    }
}

#[test]
fn entries_may_be_sealed_again_in_another_order_by_another_store() {
    let bodies = sample_bodies();
    let unsealed: Vec<Unsealed> = bodies.iter().enumerate().map(|(n, b)| made(n as u64, small(n), b)).collect();
    let here = chained(&unsealed);
    let mut chain = Chain::new(job());
    let there: Vec<Entry> =
        unsealed.iter().rev().map(|entry| chain.append_unsealed(entry.clone()).expect("a good body")).collect();
    assert_eq!(fold(&here), fold(&there));
    assert_eq!(fold(&[here.clone(), there].concat()), fold(&here), "both together are still one job");
}

#[test]
fn no_body_has_a_field_that_a_fact_would_hide() {
    for body in sample_bodies() {
        let json = serde_json::to_value(&body).unwrap();
        for hidden in ["in_entry", "made_at", "made_by", "body"] {
            assert!(json.get(hidden).is_none(), "{} has {hidden}", body.kind().word());
        }
    }
}
