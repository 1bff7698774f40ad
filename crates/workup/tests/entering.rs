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

#[test]
fn a_straightedge_is_typed_station_by_station_and_refused_by_the_place_that_does_not_fit() {
    let knowledge = Knowledge::builtin().unwrap();
    let figure = |item: &str, text: &str| {
        let body =
            json!({"item": item, "bound": "nominal", "text": text, "unit": "mm", "document": "rule", "page": "-"});
        say(item, "engine-figure-set", body)
    };
    let mut told = base();
    told.push(say("stage", "stage-reached", json!({"stage": "head-on-bench"})));
    let unsized_state = fold(&job(&told));
    told.extend([figure("head-face-length", "420"), figure("head-face-width", "175")]);
    let state = fold(&job(&told));
    let given = |spot: &str, stations: &str, value: &str, check: &str| Given {
        check: check.to_owned(),
        position: "bank-A".to_owned(),
        spot: spot.to_owned(),
        stations: stations.to_owned(),
        value: value.to_owned(),
        ..Given::default()
    };
    let head =
        |spot: &str, stations: &str| given(spot, stations, "", "head-straightedge").body(&state, &knowledge, None);
    let body = head("F-A", "455: ..0.03; 0: ..1/64 in; 227,5: 2..3 thou").unwrap();
    assert_eq!(body.spot.as_deref(), Some("line-F-A"));
    let along: Vec<&str> = body.stations.iter().map(|s| s.along.text.as_str()).collect();
    assert_eq!(along, ["0", "227,5", "455"], "they stand in sequence from the first end");
    let middle = &body.stations[1];
    let blades = [&middle.enters, &middle.refused].map(|f| f.as_ref().map(|f| (f.text.clone(), f.unit.clone())));
    assert_eq!(
        blades,
        ["2", "3"].map(|t| Some((t.to_owned(), "thou".to_owned()))),
        "the unit behind the last stands for both"
    );
    assert_eq!(body.stations[0].enters, None);
    assert_eq!(head("line-A-D", "0: ..0.03").unwrap().spot.as_deref(), Some("along-left"));
    let rows: &[(&str, &str, Rule, &str, &[&str])] = &[
        ("along-top", "0: ..0.03", Rule::Word, "spot", &["along-top", "diagonal-1 (A-F)"]),
        ("", "0: ..0.03", Rule::Word, "spot", &["no line"]),
        ("A-F", "0: ..0.03; 460: ..0.03", Rule::Impossible, "stations", &["diagonal 1, 460 mm", "455", "engine sheet"]),
        ("A-D", "0: ..0.03; 210: 0.06..0.05", Rule::Impossible, "stations", &["along left, 210 mm", "swap"]),
        ("A-D", "0: ..0.03; 210: ..0.05; 210.5: ..0.06", Rule::Impossible, "stations", &["210.5", "twice"]),
        ("A-D", "210", Rule::Value, "stations", &["`210`", "150: 0.05..0.06"]),
        ("A-D", ": ..0.05", Rule::Value, "stations", &["how far along"]),
        ("A-D", "210: 0.05", Rule::Value, "stations", &["between which blades"]),
        ("A-D", "210: ..", Rule::Value, "stations", &["no blade"]),
        ("A-D", "-5: ..0.05", Rule::Impossible, "stations", &["below nought"]),
    ];
    for (spot, stations, rule, field, says) in rows {
        let why = head(spot, stations).unwrap_err();
        assert_eq!((&why.rule, why.field.as_str()), (rule, *field), "{why}");
        for words in *says {
            assert!(why.to_string().contains(words), "{words}: {why}");
        }
    }
    let beside = given("A-D", "0: ..0.05", "0.05", "head-straightedge").body(&state, &knowledge, None).unwrap_err();
    assert!(beside.to_string().contains("leave it out"), "{beside}");
    let other = given("A-D", "0: ..0.05", "", "head-height").body(&state, &knowledge, None).unwrap_err();
    assert!(other.to_string().contains("not read station by station"), "{other}");
    // Without the size of the face nobody knows where it ends.
    given("A-F", "0: ..0.03; 460: ..0.03", "", "head-straightedge").body(&unsized_state, &knowledge, None).unwrap();
}

#[test]
fn a_straightedge_put_right_is_held_to_the_same_rules() {
    let station =
        |along: &str| json!({"along": {"text": along, "unit": "mm"}, "refused": {"text": "0.03", "unit": "mm"}});
    let laid = |spot: &str, along: &[&str]| {
        let stations: Vec<Value> = along.iter().map(|a| station(a)).collect();
        json!({"check": "head-straightedge", "reading": "gap", "position": "bank-A", "spot": spot, "stations": stations})
    };
    let told = |body: &Value| {
        let mut all = base();
        all.push(say("first", "reading-taken", laid("along-left", &["0", "210"])));
        all.push(say(
            "right",
            "entry-corrected",
            json!({"entry": "@first", "body": body, "reason": "misread", "v": 3}),
        ));
        last(&all)
    };
    told(&laid("along-right", &["0", "210"])).unwrap();
    let why = told(&laid("along-top", &["0", "210"])).unwrap_err();
    assert!(why.to_string().contains("no line of a straightedge"), "{why}");
}

#[test]
fn a_bore_on_three_axes_is_typed_in_the_field_of_its_value() {
    let knowledge = Knowledge::builtin().unwrap();
    let mut told = base();
    told.extend(["top-end-open", "block-open"].map(|stage| say(stage, "stage-reached", json!({"stage": stage}))));
    let state = fold(&job(&told));
    let given = |reading: &str, value: &str| {
        let text = |t: &str| t.to_owned();
        let given = Given {
            check: text("bore-gauge"),
            reading: text(reading),
            position: text("cyl-1"),
            value: text(value),
            ..Given::default()
        };
        given.body(&state, &knowledge, None)
    };
    let body = given("out-of-round", "90°: 88,01; 0: 88,02; 45: 88,05 mm").unwrap();
    let axes: Vec<(u16, &str, &str)> =
        body.axes.iter().map(|a| (a.degrees, a.size.text.as_str(), a.size.unit.as_str())).collect();
    assert_eq!(axes, [(0, "88,02", "mm"), (45, "88,05", "mm"), (90, "88,01", "mm")]);
    assert_eq!(body.value, None);
    assert_eq!(given("out-of-round", "0: 2; 45: 3; 90: 1 thou").unwrap().axes[1].size.unit, "thou");
    for (reading, value, says) in [
        ("taper", "0: 88.02; 45: 88.03; 90: 88.01", "not read on three axes"),
        ("out-of-round", "0: 88.02; 45: 88.03", "each axis once"),
        ("out-of-round", "0: 88.02; 45: 88.03; 45: 88.01", "each axis once"),
        ("out-of-round", "0: 88.02; 60: 88.03; 90: 88.01", "0, 45 and 90 degrees"),
        ("out-of-round", "0: 88.02; 88.03; 90: 88.01", "does not name its axis"),
    ] {
        let why = given(reading, value).unwrap_err();
        assert_eq!((&why.rule, why.field.as_str()), (&Rule::Value, "value"));
        assert!(why.to_string().contains(says), "{says}: {why}");
    }
}
