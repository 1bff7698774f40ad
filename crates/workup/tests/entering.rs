//! What is refused at every door, and by which rule.
#![expect(clippy::unwrap_used, reason = "clippy lets only the tests themselves off, not the functions they share")]

use knowledge::Knowledge;
use logbook::{EntryBody, JobState, Kind, fold, seal_story, story_from_lines};
use serde_json::{Value, json};
use workup::entering::{Given, NotTaken, Rule, body_of, ended, ensure, open_for};

type Told = (String, &'static str, Value);

fn say(label: &str, kind: &'static str, body: Value) -> Told {
    (label.to_owned(), kind, body)
}

fn job(told: &[Told]) -> Vec<logbook::Entry> {
    let lines: String = told
        .iter()
        .enumerate()
        .map(|(n, (label, kind, body))| {
            let at = format!("2026-03-02T08:{n:02}:00Z");
            json!({"label": label, "at": at, "by": "Ines", "device": "bench", "kind": kind, "body": body}).to_string()
                + "\n"
        })
        .collect();
    seal_story("rules", &story_from_lines(&lines).unwrap()).unwrap()
}

fn base() -> Vec<Told> {
    let layout = json!({"arrangement": "inline", "cylinders": 4, "fuel": "petrol", "valve_gear": "twin-cam"});
    vec![
        say("open", "job-opened", json!({"title": "Ostrand, invented"})),
        say("engine", "engine-described", json!({"layout": layout})),
    ]
}

fn last(told: &[Told]) -> Result<(), NotTaken> {
    let entries = job(told);
    let (last, before) = entries.split_last().unwrap();
    let body = EntryBody::read(Kind::from_word(last.kind()).unwrap(), 1, last.body()).unwrap().unwrap();
    ensure(&fold(before), &fold(&entries), &Knowledge::builtin().unwrap(), &body)
}

fn with(more: &[Told]) -> Result<(), NotTaken> {
    last(&[base(), more.to_vec()].concat())
}

fn ticks(ids: &[String]) -> Vec<Told> {
    ids.iter().map(|id| say(&format!("tick-{id}"), "caution-ticked", json!({"caution": id}))).collect()
}

#[test]
fn a_reading_waits_for_the_caution_of_its_check() {
    let knowledge = Knowledge::builtin().unwrap();
    let holds = |id: &String| knowledge.cautions.iter().any(|c| c.id == *id && c.hold && c.not_for.is_empty());
    let reading = json!({"check": "compression-dry", "reading": "pressure", "position": "cyl-1", "value": {"text": "12", "unit": "bar"}});
    let held = knowledge.check("compression-dry").unwrap().cautions.clone();
    assert!(held.iter().any(holds), "there is a hold to test with");
    let why = with(&[say("r", "reading-taken", reading.clone())]).unwrap_err();
    let Rule::Caution(id) = &why.rule else { panic!("{why}") };
    let text = &knowledge.cautions.iter().find(|c| c.id == *id).unwrap().text;
    assert!(why.to_string().contains(text.as_str()), "the refusal shows the caution itself: {why}");
    assert_eq!(with(&[ticks(&held), vec![say("r", "reading-taken", reading)]].concat()), Ok(()));
}

#[test]
fn a_closed_job_takes_words_and_no_readings_until_it_is_open_again() {
    let closed = say("end", "job-closed", json!({"how": "handed-back"}));
    let note = say("n", "note-written", json!({"text": "rang"}));
    let stage = say("s", "stage-reached", json!({"stage": "top-end-open"}));
    assert_eq!(with(&[closed.clone(), note]), Ok(()));
    let why = with(&[closed.clone(), stage.clone()]).unwrap_err();
    assert_eq!(why.rule, Rule::Closed);
    assert!(why.to_string().contains("the job is closed") && why.to_string().contains("reopen it"), "{why}");
    let put_right = json!({"entry": "@engine", "body": base()[1].2, "reason": "slip"});
    assert_eq!(with(&[closed.clone(), say("c", "entry-corrected", put_right)]).unwrap_err().rule, Rule::Closed);
    let back = say("w", "entry-withdrawn", json!({"entry": "@end", "reason": "not yet"}));
    assert_eq!(with(&[closed.clone(), back.clone()]), Ok(()));
    assert_eq!(with(&[closed.clone(), back, stage.clone()]), Ok(()));
    let again = say("a", "comeback-opened", json!({"words": "low on coolant"}));
    assert_eq!(with(&[closed.clone(), again.clone()]), Ok(()));
    assert_eq!(with(&[closed.clone(), again, stage]), Ok(()));
    let state: JobState = fold(&job(&[base(), vec![closed]].concat()));
    assert!(ended(&state).is_some() && !open_for(&state, Kind::ReadingTaken));
}

#[test]
fn what_is_withdrawn_or_not_there_is_not_taken_back() {
    let note = say("n", "note-written", json!({"text": "rang"}));
    let back = |label: &str, entry: &str| say(label, "entry-withdrawn", json!({"entry": entry, "reason": "slip"}));
    assert_eq!(with(&[note.clone(), back("w", "@n")]), Ok(()));
    assert_eq!(with(&[note.clone(), back("w", "@n"), back("v", "@n")]).unwrap_err().rule, Rule::Withdrawn);
    let none = anatomy::EntryId::from_time_and_chance(1, [7; 10]).to_string();
    assert_eq!(with(&[note, back("w", &none)]).unwrap_err().rule, Rule::NoEntry);
}

#[test]
fn a_refusal_names_the_field_and_what_may_be_said_instead() {
    let knowledge = Knowledge::builtin().unwrap();
    let state = fold(&job(&base()));
    let given = |check: &str, reading: &str, position: &str, value: &str| {
        let text = |t: &str| t.to_owned();
        let given = Given {
            check: text(check),
            reading: text(reading),
            position: text(position),
            value: text(value),
            ..Given::default()
        };
        given.body(&state, &knowledge, None)
    };
    let rows = [
        (given("compresion-dry", "", "cyl-1", "12 bar"), Rule::Unknown, "check"),
        (given("compression-dry", "presure", "cyl-1", "12 bar"), Rule::Unknown, "reading"),
        (given("compression-dry", "pressure", "cyl-9", "12 bar"), Rule::Place, "position"),
        (given("compression-dry", "pressure", "main-2", "12 bar"), Rule::Place, "position"),
        (given("compression-dry", "pressure", "cyl-1", "12 mm"), Rule::Value, "value"),
        (given("compression-dry", "pressure", "cyl-1", "-3 bar"), Rule::Impossible, "value"),
        (given("head-straightedge", "", "bank-A", "0.1 mm"), Rule::Stage, "check"),
    ];
    for (answer, rule, field) in rows {
        let why = answer.unwrap_err();
        assert_eq!((&why.rule, why.field.as_str()), (&rule, field), "{why}");
    }
    assert_eq!(given("compression-dry", "pressure", "1", "12 bar").unwrap().position.address(), "cyl-1");
    let told = |kind: Kind, body: Value| body_of(kind, &body, &state, &knowledge).unwrap_err();
    let rows = [
        (told(Kind::StageReached, json!({"stage": "half-way"})), "stage"),
        (told(Kind::ResidueSeen, json!({"position": "cyl-1", "residue": "glitter"})), "residue"),
        (told(Kind::OutsideAnswered, json!({"fault": "moon", "answer": "found", "how": "looked"})), "fault"),
        (told(Kind::OptionChosen, json!({"option": "hope", "by": "x", "reason": "y"})), "option"),
        (told(Kind::GaugeDescribed, json!({"gauge": "thumb", "label": "T1"})), "gauge"),
        (told(Kind::BoltTightened, json!({"joint": "love", "bolt": 1, "stage": 1})), "joint"),
        (
            told(
                Kind::MachineOrderSent,
                json!({"shop": "x", "code": "y", "lines": [{"operation": "polish", "position": "cyl-1"}]}),
            ),
            "lines.0.operation",
        ),
        (told(Kind::NoteWritten, json!({"text": "x", "position": "cyl-7"})), "position"),
        (told(Kind::MoneyTold, json!({"labor": 3})), "body"),
    ];
    for (why, field) in rows {
        assert_eq!(why.field, field, "{why}");
    }
}

#[test]
fn several_readings_of_one_thing_are_typed_in_one_field() {
    let knowledge = Knowledge::builtin().unwrap();
    let state = fold(&job(&base()));
    let given = |value: &str, mean_of: &str| {
        let text = |t: &str| t.to_owned();
        let given = Given {
            check: text("compression-dry"),
            reading: text("pressure"),
            position: text("cyl-1"),
            value: text(value),
            mean_of: text(mean_of),
            ..Given::default()
        };
        given.body(&state, &knowledge, None)
    };
    let texts = |value: &str| -> Vec<(String, String)> {
        given(value, "").unwrap().repeats.into_iter().map(|f| (f.text, f.unit)).collect()
    };
    let three = |unit: &str| ["12.1", "12.0", "12.1"].map(|t| (t.to_owned(), unit.to_owned())).to_vec();
    // Without a unit it is that of the reading.
    assert_eq!(texts("12.1; 12.0; 12.1"), three("kPa"));
    for typed in ["12.1; 12.0; 12.1 bar", "12.1 12.0 12.1 bar", "12.1, 12.0, 12.1 bar", "12.1 bar; 12.0 bar; 12.1 bar"]
    {
        assert_eq!(texts(typed), three("bar"), "{typed}");
    }
    assert_eq!(texts("175; 174 psi").len(), 2);
    assert_eq!(texts("175; 174 psi")[0].1, "psi");
    let one = given("12.1 bar", "").unwrap();
    assert_eq!((one.repeats.len(), one.value.unwrap().text.as_str()), (0, "12.1"));
    assert_eq!(given("12.07 bar", "3").unwrap().mean_of, Some(3));
    for (value, n, field) in [
        ("12.1 bar; 175 psi", "", "value"),
        ("12.1; -3", "", "value"),
        ("12.1; low", "", "value"),
        ("12.1", "1", "mean_of"),
        ("12.1", "many", "mean_of"),
        ("12.1; 12.0", "2", "mean_of"),
    ] {
        let why = given(value, n).unwrap_err();
        assert_eq!(why.field, field, "{value} {n}: {why}");
    }
}

/// What is noticed of a job.
fn noticed(told: &[Told], code: &str) -> Vec<(String, String)> {
    let case = workup::work_up(&fold(&job(told)), &Knowledge::builtin().unwrap()).unwrap();
    case.notices.into_iter().filter(|n| n.code == code).map(|n| (n.message, n.what_to_do)).collect()
}

#[test]
fn a_figure_past_the_end_of_its_gauge_is_noticed_with_the_gauge_that_reads_so_far() {
    let layout = json!({"arrangement": "inline", "cylinders": 4, "fuel": "diesel", "valve_gear": "pushrod"});
    let mut told = vec![
        say("open", "job-opened", json!({"title": "Ostrand, invented"})),
        say("engine", "engine-described", json!({"layout": layout})),
        say("g", "gauge-described", json!({"gauge": "comp_gauge", "label": "CG-1"})),
    ];
    let reading = |text: &str, gauge: &str, label: Option<&str>| {
        json!({"check": "compression-dry", "reading": "pressure", "position": "cyl-1",
               "value": {"text": text, "unit": "bar"}, "gauge": gauge, "label": label})
    };
    // 300 psi is 20.7 bar.
    told.push(say("in", "reading-taken", reading("20.5", "comp_gauge", None)));
    assert!(noticed(&told, "past-the-scale").is_empty());
    told.push(say("past", "reading-taken", reading("26.0", "comp_gauge", None)));
    told.push(say("by-label", "reading-taken", reading("26.0", "comp_gauge_diesel", Some("CG-1"))));
    told.push(say("good", "reading-taken", reading("26.0", "comp_gauge_diesel", None)));
    let found = noticed(&told, "past-the-scale");
    assert_eq!(found.len(), 2, "{found:?}");
    let (message, next) = &found[0];
    assert!(message.contains("26.0 bar") && message.contains("300 psi"), "{message}");
    assert!(next.contains("1000 psi"), "{next}");
}

#[test]
fn after_the_engine_ran_again_what_needs_it_open_waits_until_it_is_opened_once_more() {
    let knowledge = Knowledge::builtin().unwrap();
    let check = |id: &str| knowledge.check(id).unwrap();
    let open = |stage: &str| say(stage, "stage-reached", json!({"stage": stage}));
    let no = |told: &[Told], id: &str| workup::impossible_now(&fold(&job(told)), &knowledge, check(id));
    let mut told = base();
    told.push(open("block-open"));
    assert_eq!(no(&told, "bore-gauge"), None);
    assert!(no(&told, "compression-dry").is_some());
    told.push(say("run", "engine-run", json!({"run": "first-start"})));
    let why = no(&told, "bore-gauge").unwrap();
    assert!(why.contains("closed again") && why.contains("block open"), "{why}");
    assert_eq!(no(&told, "compression-dry"), None, "it is closed: it cranks");
    assert_eq!(no(&told, "proof-compression"), None);
    told.push(say("again", "stage-reached", json!({"stage": "block-open"})));
    assert_eq!(no(&told, "bore-gauge"), None, "opened once more");
    assert!(no(&told, "compression-dry").is_some());
    told.push(open("after-repair"));
    assert!(no(&told, "bore-gauge").is_some());
}
