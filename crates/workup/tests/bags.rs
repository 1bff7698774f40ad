//! Bags of small parts: which stage asks each back, what became of it, and what is said of those that nobody emptied.

#![expect(clippy::unwrap_used, clippy::panic, clippy::indexing_slicing, reason = "helpers of tests stop at a surprise")]

use knowledge::Knowledge;
use logbook::{Content, JobState, fold, seal_story, story_from_lines};
use serde_json::{Value, json};
use workup::bags::{self, Standing};
use workup::entering::{NotTaken, Rule, ensure};

fn entries(gear: &str, told: &[(&str, Value)]) -> Vec<logbook::Entry> {
    let engine = json!({"layout": {"arrangement": "inline", "cylinders": 4, "fuel": "petrol", "valve_gear": gear}});
    let mut all = vec![("job-opened", json!({"title": "Ostrand, invented"})), ("engine-described", engine)];
    all.extend(told.iter().cloned());
    let lines: Vec<String> = all
        .iter()
        .enumerate()
        .map(|(n, (kind, body))| {
            let at = format!("2026-03-02T{:02}:{:02}:00Z", 8 + n / 60, n % 60);
            json!({"at": at, "by": "Ines", "device": "bench", "kind": kind, "body": body}).to_string()
        })
        .collect();
    seal_story("bags", &story_from_lines(&lines.join("\n")).unwrap()).unwrap()
}

fn job(gear: &str, told: &[(&str, Value)]) -> JobState {
    fold(&entries(gear, told))
}

/// What the doors say of the last of some entries.
fn last_of(told: &[(&str, Value)]) -> Result<(), NotTaken> {
    let entries = entries("pushrod", told);
    let (last, earlier) = entries.split_last().unwrap();
    let Content::Known(body) = last.content() else { panic!("{last:?}") };
    ensure(&fold(earlier), &fold(&entries), &Knowledge::builtin().unwrap(), body)
}

fn filled(bag: &str, more: Value) -> (&'static str, Value) {
    let mut body = json!({"part": "bolts", "bag": bag});
    for (name, value) in more.as_object().unwrap() {
        body[name] = value.clone();
    }
    ("part-bagged", body)
}

fn emptied(bag: &str, how: &str) -> (&'static str, Value) {
    let words = (how != "back-in").then_some("one is bent");
    let mut body = json!({"bag": bag, "how": how});
    if let Some(words) = words {
        body["words"] = words.into();
    }
    ("bag-emptied", body)
}

fn standings(state: &JobState) -> Vec<(String, Standing)> {
    bags::all(state).iter().map(|bag| (bag.mark.to_owned(), bag.standing())).collect()
}

#[test]
fn the_next_number_is_one_that_no_bag_of_the_job_has_had() {
    assert_eq!(bags::next_free(&job("pushrod", &[])), 1);
    let told =
        [filled("2", json!({})), filled("tray B", json!({})), filled(" 07 ", json!({})), emptied("07", "back-in")];
    assert_eq!(bags::next_free(&job("pushrod", &told)), 8, "an emptied bag keeps its number");
}

#[test]
fn a_stage_asks_for_what_names_it_its_joint_or_the_place_of_its_caps_and_no_other_stage_does() {
    let knowledge = Knowledge::builtin().unwrap();
    let told = [
        filled("1", json!({"joint": "head"})),
        filled("2", json!({"joint": "head", "stage": "valvegear_ohv"})),
        filled("3", json!({"position": "rod-2"})),
        filled("4", json!({"position": "main-1"})),
        filled("5", json!({"position": "cyl-1"})),
        filled("6", json!({})),
        filled("7", json!({"joint": "timing_drive"})),
        filled("1", json!({"joint": "intake"})),
    ];
    let state = job("pushrod", &told);
    let at = |state: &JobState, stage: &str| -> Vec<String> {
        bags::asked_at(state, &knowledge, stage).iter().map(|bag| bag.mark.to_owned()).collect()
    };
    for (stage, asked) in [
        ("head_fit", &["1"][..]),
        ("valvegear_ohv", &["2"]),
        ("pistons_fit", &["3"]),
        ("mains_fit", &["4"]),
        ("timing_ohv", &["7"]),
        ("timing_ohc", &[]),
        ("outside", &["1"]),
        ("block_ready", &[]),
        ("re_torque", &[]),
    ] {
        assert_eq!(at(&state, stage), asked, "{stage}");
    }
    let without: Vec<&str> = bags::all(&state)
        .iter()
        .filter(|bag| bags::stages_of(bag, &state, &knowledge).is_empty())
        .map(|bag| bag.mark)
        .collect();
    assert_eq!(without, ["5", "6"]);
    // With the cams overhead the same chain is asked for at another stage.
    let over = job("twin-cam", &told);
    assert_eq!((at(&over, "timing_ohc"), at(&over, "timing_ohv")), (vec!["7".to_owned()], Vec::new()));
}

#[test]
fn every_joint_of_every_engine_has_a_stage_that_asks_its_bags_back() {
    let knowledge = Knowledge::builtin().unwrap();
    for gear in ["pushrod", "single-cam", "twin-cam"] {
        for joint in &knowledge.joints {
            let state = job(gear, &[filled("1", json!({"joint": joint.id}))]);
            let bag = bags::find(&state, "1").unwrap();
            let stages = bags::stages_of(&bag, &state, &knowledge);
            assert_eq!(stages.len(), 1, "{gear}: {}", joint.id);
            assert!(stages[0].makes.contains(&joint.id), "{gear}: {} at {}", joint.id, stages[0].id);
        }
    }
}

#[test]
fn what_was_said_last_holds_and_a_bag_filled_again_is_out_again_with_what_is_in_it_now() {
    let mut told = vec![filled("1", json!({})), filled("2", json!({})), emptied("1", "something-wrong")];
    let state = job("pushrod", &told);
    let of = |mark: &str, standing| (mark.to_owned(), standing);
    assert_eq!(standings(&state), [of("1", Standing::SomethingWrong), of("2", Standing::Out)]);
    assert_eq!(bags::open(&state).len(), 2);
    told.extend([emptied(" 1", "back-in"), emptied("2", "not-used")]);
    let state = job("pushrod", &told);
    assert_eq!(standings(&state), [of("1", Standing::BackIn), of("2", Standing::NotUsed)]);
    assert_eq!(bags::open(&state).len(), 0);
    told.push(filled("1", json!({"part": "nuts", "count": 4})));
    let state = job("pushrod", &told);
    let bag = bags::find(&state, "1").unwrap();
    assert_eq!((bag.standing(), bag.holds().as_str()), (Standing::Out, "nuts, 4"));
    // Capitals do not tell bags apart; more of the same bag is one bag.
    let state = job("pushrod", &[filled("Tray B", json!({})), filled("tray b", json!({"part": "shims"}))]);
    let [tray] = bags::all(&state).try_into().unwrap();
    assert_eq!((tray.mark, tray.holds().as_str()), ("Tray B", "bolts; shims"));
}

#[test]
fn bags_that_nobody_emptied_are_named_once_the_engine_ran_or_went_back() {
    let notices = |told: &[(&str, Value)]| -> Vec<(String, String)> {
        let case = workup::work_up(&job("pushrod", told), &Knowledge::builtin().unwrap()).unwrap();
        let ours = case.notices.into_iter().filter(|n| n.code.starts_with("bag-"));
        ours.map(|n| (n.code, n.message)).collect()
    };
    let mut told = vec![
        ("engine-run", json!({"run": "road-test"})),
        filled("1", json!({"count": 4})),
        filled("2", json!({})),
        filled("3", json!({})),
        emptied("2", "something-wrong"),
        emptied("3", "back-in"),
    ];
    assert_eq!(notices(&told), [], "it ran before they were filled");
    told.push(("engine-run", json!({"run": "road-test"})));
    let said = |code: &str, message: &str| (code.to_owned(), message.to_owned());
    let ran = "the engine has run since";
    assert_eq!(
        notices(&told),
        [
            said("bag-never-emptied", &format!("1 bag was never emptied, and {ran}: 1 (bolts, 4)")),
            said("bag-not-whole", &format!("of bag 2 (bolts) something is missing or damaged, and {ran}: one is bent")),
        ]
    );
    told.push(("handed-back", json!({"done": ["head"]})));
    assert!(notices(&told)[0].1.contains("the engine was handed back since"));
    told.extend([emptied("1", "not-used"), emptied("2", "back-in")]);
    assert_eq!(notices(&told), []);
}

#[test]
fn a_bag_that_there_is_not_and_a_bolt_that_the_joint_has_not_are_refused_with_what_there_is() {
    let refused = |told: &[(&str, Value)]| last_of(told).unwrap_err();
    let why = refused(&[emptied("4", "back-in")]);
    assert_eq!((why.rule.clone(), why.field.as_str()), (Rule::Unknown, "bag"));
    assert_eq!(why.to_string(), "no bag is called `4`; nothing is bagged in this job yet");
    let why = refused(&[filled("3", json!({})), filled("tray B", json!({})), emptied("4", "back-in")]);
    assert_eq!(why.to_string(), "no bag is called `4`; the bags are 3, tray B");
    assert!(last_of(&[filled("tray B", json!({})), emptied("TRAY B ", "back-in")]).is_ok());
    let why = refused(&[filled(" ", json!({}))]);
    assert_eq!(why.to_string(), "bag is empty; write the number that stands on it");
    let figure = |text: &str| json!({"text": text, "unit": "mm"});
    let place = |x: &str, y: &str| json!({"along": figure(x), "across": figure(y)});
    let placed =
        ("bolts-placed", json!({"joint": "head", "bolts": [place("0", "0"), place("80", "0"), place("0", "80")]}));
    let of_head = |bolts: Value| filled("1", json!({"joint": "head", "from_bolts": bolts}));
    assert!(last_of(&[of_head(json!([9]))]).is_ok(), "nobody has said how many there are");
    assert!(last_of(&[placed.clone(), of_head(json!([1, 3]))]).is_ok());
    let why = refused(&[placed, of_head(json!([1, 4]))]);
    assert_eq!(why.field, "from_bolts");
    assert!(why.to_string().contains("no bolt 4: 3 were set down"), "{why}");
}

#[test]
fn where_parts_came_from_and_what_keeps_its_place_are_said_in_words() {
    let knowledge = Knowledge::builtin().unwrap();
    let told = [
        filled("1", json!({"joint": "head", "position": "bank-A", "from_bolts": [7, 1, 2, 3]})),
        filled("2", json!({"own_place": "yes", "keep": "pushrod"})),
        filled("3", json!({"own_place": "no"})),
    ];
    let state = job("pushrod", &told);
    let [one, two, three] = state.bags.as_slice() else { panic!("{:?}", state.bags) };
    let from = bags::came_from(one, &state, &knowledge);
    assert!(from.starts_with("Head to block, bolts 1 to 3, 7"), "{from}");
    assert_eq!(bags::came_from(two, &state, &knowledge), "");
    assert_eq!(bags::keeps_place(one, &knowledge), None);
    let kept = bags::keeps_place(two, &knowledge).unwrap();
    assert_eq!(kept, "each back to its own place; pushrod: same place, same end up");
    assert_eq!(bags::keeps_place(three, &knowledge).as_deref(), Some("may change places"));
}

mod any {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(ProptestConfig { cases: 300, ..ProptestConfig::default() })]

        // The model is a table of marks that each event overwrites, told without the fold and without bags.
        #[test]
        fn whatever_is_filled_and_emptied_every_bag_stands_as_it_was_told_last(
            plan in prop::collection::vec((0_usize..4, 0_usize..5), 0..40)
        ) {
            let marks = ["1", "2", "9", "tray B"];
            let ends = ["back-in", "something-wrong", "not-used"];
            let mut told = Vec::new();
            let mut model: Vec<(&str, Standing)> = Vec::new();
            let mut largest = 0;
            for (mark, what) in plan {
                let mark = marks[mark];
                let there = model.iter().position(|(m, _)| *m == mark);
                if let Some(how) = ends.get(what) {
                    told.push(emptied(mark, how));
                    let Some(n) = there else { continue };
                    model[n].1 = [Standing::BackIn, Standing::SomethingWrong, Standing::NotUsed][what];
                } else {
                    told.push(filled(mark, json!({})));
                    largest = largest.max(mark.parse().unwrap_or(0));
                    match there {
                        None => model.push((mark, Standing::Out)),
                        Some(n) if !model[n].1.is_open() => model[n].1 = Standing::Out,
                        Some(_) => {}
                    }
                }
            }
            let state = job("pushrod", &told);
            let wanted: Vec<(String, Standing)> = model.iter().map(|(m, s)| ((*m).to_owned(), *s)).collect();
            prop_assert_eq!(standings(&state), wanted);
            let open = bags::open(&state);
            prop_assert_eq!(open.len(), model.iter().filter(|(_, s)| s.is_open()).count());
            prop_assert!(bags::all(&state).iter().all(|bag| !bag.parts.is_empty()));
            prop_assert_eq!(bags::next_free(&state), largest + 1);
        }
    }
}
