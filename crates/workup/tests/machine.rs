//! Machine work: the order of work, what belongs to an order, what came back, and the date. Figures by hand.
#![expect(clippy::unwrap_used, reason = "clippy lets only the tests themselves off, not the functions they share")]

use jiff::civil::date;
use knowledge::Knowledge;
use logbook::{JobState, Kind, fold, seal_story, story_from_lines};
use quantity::Verdict;
use serde_json::{Value, json};
use workup::awaited::{self, Basis, JobDate};
use workup::entering::{Rule, body_of};
use workup::machine::back::{LineBack, of_state};
use workup::machine::sequence::{Belongs, lines, unordered};
use workup::machine::{Taken, code_for, pieces, taken};
use workup::{Case, Notice, work_up};

type Told = (&'static str, &'static str, Value);

/// A job; entries stand an hour apart from the morning of 2 March 2026.
fn job(layout: &Value, more: &[Told]) -> JobState {
    let mut told = vec![
        ("open", "job-opened", json!({"title": "Ostrand, invented", "promised": "2026-03-09"})),
        ("engine", "engine-described", json!({"layout": layout})),
    ];
    told.extend_from_slice(more);
    let lines: String = told
        .iter()
        .enumerate()
        .map(|(n, (label, kind, body))| {
            let at = format!("2026-03-02T{n:02}:00:00Z");
            json!({"label": label, "at": at, "by": "Ines", "device": "bench", "kind": kind, "body": body}).to_string()
                + "\n"
        })
        .collect();
    fold(&seal_story("machine", &story_from_lines(&lines).unwrap()).unwrap())
}

fn vee() -> Value {
    json!({"arrangement": "v", "cylinders": 8, "fuel": "petrol", "valve_gear": "pushrod", "head_material": "iron"})
}

fn six() -> Value {
    json!({"arrangement": "inline", "cylinders": 6, "fuel": "diesel", "valve_gear": "pushrod", "liner": "wet"})
}

fn line(operation: &str, position: &str) -> Value {
    json!({"operation": operation, "position": position})
}

fn mm(text: &str) -> Value {
    json!({"text": text, "unit": "mm"})
}

fn order(code: &str, lines: &[Value]) -> Value {
    json!({"shop": "Harrow Machine Shop", "code": code, "lines": lines})
}

#[test]
fn a_crack_test_comes_before_the_cut_and_the_guides_before_the_seats() {
    let knowledge = Knowledge::builtin().unwrap();
    let sent = [
        line("seats_cut", "cyl-1-ex-1"),
        line("head_resurface", "bank-A"),
        line("guides_replace", "cyl-1-ex-1"),
        line("head_crack_test", "bank-A"),
    ];
    let state = job(&vee(), &[("mo", "machine-order-sent", order("A", &sent))]);
    let sent = &state.machine_orders[0];
    let ids: Vec<&str> = lines(&sent.body, &knowledge).iter().map(|l| l.line.operation.as_str()).collect();
    assert_eq!(ids, ["head_crack_test", "head_resurface", "guides_replace", "seats_cut"]);
    // All four are done to one head, so they stand on one sheet.
    let parts = pieces(sent, state.layout.as_ref().unwrap(), &knowledge);
    assert_eq!(parts.len(), 1);
    assert_eq!(parts[0].lines.len(), 4);
    assert!(parts[0].at.name(state.layout.as_ref().unwrap()).starts_with("head, "));
}

#[test]
fn each_part_has_a_sheet_of_its_own_whatever_the_sequence_of_the_lines() {
    let knowledge = Knowledge::builtin().unwrap();
    let sent = [
        line("head_resurface", "bank-B"),
        line("bore_hone", "cyl-3"),
        line("head_resurface", "bank-A"),
        line("bore_hone", "cyl-4"),
    ];
    let state = job(&vee(), &[("mo", "machine-order-sent", order("A", &sent))]);
    let layout = state.layout.as_ref().unwrap();
    let parts = pieces(&state.machine_orders[0], layout, &knowledge);
    let said: Vec<(String, usize)> = parts.iter().map(|p| (p.at.name(layout), p.lines.len())).collect();
    assert_eq!(said.iter().map(|(_, n)| *n).collect::<Vec<_>>(), [1, 2, 1]);
    assert_eq!(said[1].0, "block");
}

#[test]
fn earlier_work_that_is_neither_ordered_nor_read_is_asked_for_and_the_other_bank_is_suggested() {
    let knowledge = Knowledge::builtin().unwrap();
    let sent = [line("head_resurface", "bank-A"), line("head_crack_test", "bank-A")];
    let open = |more: &[Told]| -> Vec<(Belongs, String, String)> {
        let state = job(&vee(), more);
        let layout = state.layout.as_ref().unwrap();
        let all = unordered(&state, layout, &knowledge, &state.machine_orders[0].body);
        all.iter().map(|u| (u.belongs, u.operation.id.clone(), u.position.address())).collect()
    };
    let first = ("mo", "machine-order-sent", order("A", &sent));
    let pressure = (Belongs::First, "head_pressure_test".to_owned(), "bank-A".to_owned());
    let other = (Belongs::OtherBank, "head_resurface_other_bank".to_owned(), "bank-B".to_owned());
    // An iron head is not asked for its hardness.
    assert_eq!(open(std::slice::from_ref(&first)), [pressure, other.clone()]);
    let check = knowledge.check("head-pressure-test").unwrap();
    let reading = json!({"check": check.id, "reading": check.readings[0].id, "position": "bank-A", "outcome": "none"});
    let read = open(&[first.clone(), ("r", "reading-taken", reading)]);
    assert_eq!(read, [other], "read here");
    let second = (
        "mo2",
        "machine-order-sent",
        order("B", &[line("head_pressure_test", "bank-A"), line("head_resurface", "bank-B")]),
    );
    assert_eq!(
        open(&[first, second]),
        [],
        "the same cut by its own name is as good, and what is ordered is not asked for"
    );
}

#[test]
fn seats_follow_new_guides_and_a_crank_is_tested_before_it_is_ground() {
    let knowledge = Knowledge::builtin().unwrap();
    let state = job(
        &vee(),
        &[(
            "mo",
            "machine-order-sent",
            order("A", &[line("guides_replace", "cyl-1-ex-1"), line("crank_grind", "engine")]),
        )],
    );
    let all = unordered(&state, state.layout.as_ref().unwrap(), &knowledge, &state.machine_orders[0].body);
    let said: Vec<(Belongs, &str)> = all.iter().map(|u| (u.belongs, u.operation.id.as_str())).collect();
    assert_eq!(said, [(Belongs::First, "crank_crack_test"), (Belongs::Then, "seats_cut")]);
    let words = all[0].words(state.layout.as_ref().unwrap());
    assert!(words.starts_with("First: Crack test of a crank") && words.contains("order it, or ask"), "{words}");
}

/// The ledge of a wet liner of an invented six: wanted 0.05 to 0.13 mm by order and sheet.
fn ledge(left: &str, more: Value) -> (Vec<LineBack>, Vec<Notice>) {
    let knowledge = Knowledge::builtin().unwrap();
    let mut told =
        json!({"operation": "liner_counterbore", "position": "cyl-4", "result": "done", "as_left": mm(left)});
    told.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
    let sent =
        json!({"operation": "liner_counterbore", "position": "cyl-4", "want": mm("0.05"), "want_high": mm("0.13")});
    let figure = json!({"item": "liner_protrusion_check", "bound": "range", "text": "0.05", "text_high": "0.13", "unit": "mm",
        "stands_for": "assembly", "document": "Ostrand H6 service book, part 2", "page": "88"});
    let state = job(
        &six(),
        &[
            ("f", "engine-figure-set", figure),
            ("mo", "machine-order-sent", order("7KF-QM", &[sent])),
            ("mr", "machine-work-returned", json!({"code": "7kf qm", "lines": [told]})),
        ],
    );
    let (backs, notices) = of_state(&state, state.layout.as_ref().unwrap(), &knowledge);
    (backs.into_iter().next().unwrap().lines, notices)
}

/// By hand: one step of the last digit is 0.01 mm, so u = 0.01 / root 3 = 0.00577 mm. 0.09 lies 6.9 u inside either edge, 0.13 on
/// the edge, 0.15 lies 3.5 u beyond it. With a stated u of 0.02 mm the same 0.15 lies 1 u beyond: that tells nothing for sure.
#[test]
fn a_figure_as_left_is_judged_by_order_and_sheet_with_the_stated_or_a_default_doubt() {
    for (left, more, verdict, code) in [
        ("0.09", json!({}), Verdict::Inside, None),
        ("0.13", json!({}), Verdict::CannotTell, None),
        ("0.15", json!({}), Verdict::Outside, Some("as-left-outside")),
        ("0.15", json!({"u": mm("0.02")}), Verdict::CannotTell, None),
    ] {
        let (lines, notices) = ledge(left, more);
        assert_eq!(lines[0].verdict, Some(verdict), "{left}: {}", lines[0].reason);
        assert_eq!(notices.first().map(|n| n.code.as_str()), code, "{notices:?}");
        let sources: Vec<&str> = lines[0].against.iter().map(|a| a.source.as_str()).collect();
        assert_eq!(sources, ["order 7KF-QM", "Ostrand H6 service book, part 2, page 88"], "{left}");
    }
    let (lines, _) = ledge("0.09", json!({}));
    assert!((lines[0].u.unwrap() - 0.005_773_5).abs() < 1e-6);
    assert!(!lines[0].u_stated && lines[0].next_move.as_ref().unwrap().contains("no proof"));
}

#[test]
fn otherwise_and_not_done_raise_a_notice_with_the_next_move_until_the_work_is_ordered_again() {
    let (_, notices) = ledge("0.09", json!({"result": "otherwise", "note": "cut 0.3 deeper, shim to suit"}));
    assert_eq!(notices[0].code, "machine-work-otherwise");
    assert!(notices[0].message.contains("cut 0.3 deeper") && notices[0].what_to_do.contains("read the part here"));
    let knowledge = Knowledge::builtin().unwrap();
    let back = json!({"code": "A", "lines": [{"operation": "head_resurface", "position": "bank-A", "result": "not-done", "note": "cracked"}]});
    let told = vec![
        ("mo", "machine-order-sent", order("A", &[line("head_resurface", "bank-A")])),
        ("mr", "machine-work-returned", back),
    ];
    let notices = |told: &[Told]| {
        let state = job(&vee(), told);
        of_state(&state, state.layout.as_ref().unwrap(), &knowledge).1
    };
    let said = notices(&told);
    assert_eq!(said[0].code, "machine-work-not-done");
    assert!(said[0].what_to_do.starts_with("order it again"), "{said:?}");
    let again = [told, vec![("mo2", "machine-order-sent", order("B", &[line("head_resurface", "bank-A")]))]].concat();
    assert_eq!(notices(&again), []);
}

/// A face read 0.12 mm hollow, cut to at most 0.03 mm, 119.8 mm to be left.
fn face(more: &[Told]) -> (JobState, Case) {
    let layout = json!({"arrangement": "inline", "cylinders": 4, "fuel": "petrol", "valve_gear": "twin-cam"});
    let reading = |phase: &str, text: &str| json!({"check": "head-straightedge", "reading": "gap", "position": "bank-A", "value": mm(text), "phase": phase, "gauge": "feeler_fine"});
    let sent = json!({"operation": "head_resurface", "position": "bank-A", "as_found": mm("0.12"), "want": mm("0.03"),
        "leave_at_least": mm("119.8")});
    let mut told =
        vec![("r", "reading-taken", reading("as-found", "0.12")), ("mo", "machine-order-sent", order("A", &[sent]))];
    told.extend(more.iter().map(|(label, kind, body)| {
        let body = body.as_str().map_or_else(|| body.clone(), |text| reading("as-left", text));
        (*label, *kind, body)
    }));
    let state = job(&layout, &told);
    let case = work_up(&state, &Knowledge::builtin().unwrap()).unwrap();
    (state, case)
}

fn returned(left: &str) -> Told {
    let line = json!({"operation": "head_resurface", "position": "bank-A", "result": "done", "as_left": mm(left)});
    ("mr", "machine-work-returned", json!({"code": "A", "lines": [line]}))
}

#[test]
fn a_machine_shops_own_word_is_a_finding_beside_as_found_and_proves_nothing() {
    let (_, before) = face(&[]);
    let (_, after) = face(&[returned("0.02")]);
    let line = &after.machine[0].lines[0];
    assert_eq!((line.as_found.as_deref(), line.as_left.as_deref()), (Some("0.12 mm"), Some("0.02 mm")));
    assert_eq!(line.verdict, Some(Verdict::Inside), "{}", line.reason);
    // 119.8 mm of what is left is another measure than 0.02 mm of hollow.
    assert!(line.reason.contains("whether 119.8 mm was left is not told"), "{}", line.reason);
    assert!(line.against.iter().any(|a| a.name == "what was wanted" && a.edges[3] == Some(0.03)));
    assert_eq!(before.findings.len(), after.findings.len());
    assert_eq!(before.proof, after.proof);
    let chances = |case: &Case| -> Vec<(String, u64)> {
        case.conditions.iter().chain(&case.causes).map(|b| (b.id.clone(), b.p.to_bits())).collect()
    };
    assert_eq!(chances(&before), chances(&after), "no belief moves on it");
}

/// By hand: E number after ISO 13528, |difference| against the root of the sum of squares of twice each doubt. The shop's u is
/// 0.00577 mm, so 0.03 beside 0.02 agrees whatever the feeler's doubt; 0.10 beside 0.02 would take a feeler of u 0.04 mm.
#[test]
fn our_own_reading_stands_beside_the_shops_and_says_when_the_two_do_not_agree() {
    let own = |text: &str| face(&[returned("0.02"), ("own", "reading-taken", json!(text))]).1;
    let good = own("0.03");
    assert_eq!(good.machine[0].lines[0].own.as_ref().unwrap().agrees, Some(true));
    assert!(!good.notices.iter().any(|n| n.code.starts_with("as-left")));
    let bad = own("0.10");
    assert_eq!(bad.machine[0].lines[0].own.as_ref().unwrap().agrees, Some(false));
    let notice = bad.notices.iter().find(|n| n.code == "as-left-differs").unwrap();
    assert!(notice.message.contains("0.02 mm") && notice.message.contains("0.1"), "{notice:?}");
}

#[test]
fn machine_work_that_is_not_back_enters_the_date_and_leaves_it_when_it_is() {
    let part = json!({"part": "head_gasket", "supplier": "Quayside Parts", "quantity": 1, "promised": "2026-03-05"});
    let mut sent = order("A", &[line("head_resurface", "bank-A"), line("head_pressure_test", "bank-A")]);
    sent["promised"] = json!("2026-03-10");
    let told = vec![("p", "part-ordered", part), ("mo", "machine-order-sent", sent)];
    let state = job(&vee(), &told);
    let due = JobDate::of(&state);
    let (setter, day) = due.sets().unwrap();
    assert_eq!((setter.from(), day), ("Harrow Machine Shop", date(2026, 3, 10)));
    // Promised to the customer for the 9th.
    let words = due.words(Some(date(2026, 3, 3))).join("; ");
    assert!(
        words.contains("1 day after the day promised to the customer, 2026-03-09: ask Harrow Machine Shop"),
        "{words}"
    );
    assert!(due.is_late(Some(date(2026, 3, 3))));
    let words = due.words(Some(date(2026, 3, 12))).join("; ");
    assert!(words.contains("its day passed 2 days ago and it is not here: call Harrow Machine Shop"), "{words}");
    let back = |operation: &str| json!({"code": "A", "lines": [{"operation": operation, "position": "bank-A", "result": "done"}]});
    let half = [told, vec![("b1", "machine-work-returned", back("head_resurface"))]].concat();
    let state = job(&vee(), &half);
    assert_eq!(JobDate::of(&state).sets().unwrap().1, date(2026, 3, 10), "one line is still away");
    let state = job(&vee(), &[half, vec![("b2", "machine-work-returned", back("head_pressure_test"))]].concat());
    let due = JobDate::of(&state);
    assert_eq!((awaited::work(&state).len(), due.sets().unwrap().1), (0, date(2026, 3, 5)), "the date has moved");
    let words = due.words(None).join("; ");
    assert!(words.contains("4 days before the day promised to the customer"), "{words}");
}

#[test]
fn without_a_promise_the_longest_lead_of_the_quote_counts_and_then_the_day_asked_for() {
    let quote = json!({"supplier": "Harrow Machine Shop", "price": {"amount": "300.00", "currency": "EUR"}, "lead_days": [2, 6], "need": "head_resurface"});
    let day = |more: Value| {
        let mut sent = order("A", &[line("head_resurface", "bank-A")]);
        sent.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        let state = job(&vee(), &[("q", "quote-received", quote.clone()), ("mo", "machine-order-sent", sent)]);
        JobDate::of(&state).coming[0].day
    };
    // Ordered on 2 March with six days at worst.
    assert_eq!(day(json!({"quote": "@q", "need_by": "2026-03-04"})), Some((date(2026, 3, 8), Basis::Quoted)));
    assert_eq!(day(json!({"need_by": "2026-03-04"})), Some((date(2026, 3, 4), Basis::AskedFor)));
    assert_eq!(day(json!({})), None);
}

#[test]
fn part_of_a_delivery_leaves_the_rest_on_the_way() {
    let told = |arrived: Value| {
        let part = json!({"part": "valve", "supplier": "Quayside Parts", "quantity": 8});
        let state = job(&vee(), &[("p", "part-ordered", part), ("a", "part-arrived", arrived)]);
        awaited::missing(&state, &state.orders[0])
    };
    assert_eq!(told(json!({"part": "valve", "order": "@p", "quantity": 5})), Some(3));
    assert_eq!(told(json!({"part": "valve", "order": "@p", "quantity": 8})), None);
    assert_eq!(told(json!({"part": "valve", "order": "@p"})), None, "one that does not say how many brings all");
}

#[test]
fn a_return_lands_on_a_line_of_its_order_or_is_refused_with_what_it_may_have_meant() {
    let knowledge = Knowledge::builtin().unwrap();
    let state = job(&vee(), &[("mo", "machine-order-sent", order("7KF-QM", &[line("head_resurface", "bank-A")]))]);
    let told = |body: Value| body_of(Kind::MachineWorkReturned, &body, &state, &knowledge);
    let row = |operation: &str| json!([{"operation": operation, "position": "bank-A", "result": "done"}]);
    assert!(
        told(json!({"code": "7kfqm", "lines": row("head_resurface")})).is_ok(),
        "an older code, typed as one likes"
    );
    let why = told(json!({"code": "7KF-QN", "lines": row("head_resurface")})).unwrap_err();
    assert_eq!((&why.rule, why.field.as_str()), (&Rule::Unknown, "code"));
    assert!(why.to_string().contains("near it are 7KF-QM"), "{why}");
    let why = told(json!({"code": "7KF-QM", "lines": row("crank_grind")})).unwrap_err();
    assert_eq!(why.field, "lines.0.operation");
    assert!(why.to_string().contains("head_resurface at bank-A"), "{why}");
    // A new order gets a code of its own, and none that another has.
    let entry = state.machine_orders[0].in_entry;
    let made = code_for(entry, "", &[]).unwrap();
    assert_eq!(made.len(), 8);
    let has = |code: &str, away| [Taken { code: code.to_owned(), away }];
    assert_ne!(code_for(entry, "", &has(&made, false)).unwrap(), made, "a made code is nobody else's, back or not");
    assert_eq!(
        code_for(entry, " MY-1 ", &has("my1", false)).unwrap(),
        "MY-1",
        "what is back keeps its code for nobody"
    );
    assert!(code_for(entry, "my1", &has("MY-1", true)).unwrap_err().to_string().contains("leave it empty"));
    assert_eq!((taken(&state, entry).len(), taken(&state, state.history[0].entry)), (0, has("7KF-QM", true).to_vec()));
}
