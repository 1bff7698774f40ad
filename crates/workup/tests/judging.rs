//! Findings that know their gauge: what settles them, the guard band, a bore's third axis, series, and gauges found off.

#![expect(
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "helpers of tests stop at the first surprise"
)]

use std::sync::OnceLock;

use anatomy::Position;
use knowledge::Knowledge;
use logbook::{fold, seal_story, story_from_lines};
use quantity::Verdict;
use serde_json::{Value, json};
use workup::{Case, Finding, work_up};

fn knowledge() -> &'static Knowledge {
    static LOADED: OnceLock<Knowledge> = OnceLock::new();
    LOADED.get_or_init(|| Knowledge::builtin().expect("the built-in knowledge loads"))
}

/// A job told line by line, on a petrol four in line.
#[derive(Clone)]
struct Job(Vec<String>);

impl Job {
    fn four() -> Self {
        let mut job = Job(Vec::new());
        job.tell("job-opened", json!({"title": "judging"}));
        let layout = json!({"arrangement": "inline", "cylinders": 4, "fuel": "petrol", "valve_gear": "twin-cam", "valves_per_cylinder": 4});
        job.tell("engine-described", json!({"layout": layout}));
        let money = |amount: &str| json!({"amount": amount, "currency": "EUR"});
        job.tell("money-told", json!({"labour_rate": money("90")}));
        job.tell("vehicle-described", json!({"value": money("16000"), "horizon_months": 36, "miles_per_year": 12000}));
        job
    }

    fn tell(&mut self, kind: &str, body: Value) {
        let minute = self.0.len();
        let at = format!("2026-03-02T{:02}:{:02}:00Z", 6 + minute / 60, minute % 60);
        self.0.push(json!({"at": at, "by": "bench", "device": "bench-1", "kind": kind, "body": body}).to_string());
    }

    fn and(mut self, kind: &str, body: Value) -> Self {
        self.tell(kind, body);
        self
    }

    /// The engine's own most for a reading of the bore gauge.
    fn most(self, reading: &str, text: &str) -> Self {
        let item = format!("bore-gauge/{reading}");
        let body = json!({"item": item, "bound": "max", "text": text, "unit": "mm", "document": "sheet", "page": "1"});
        self.and("engine-figure-set", body)
    }

    fn bore(self, reading: &str, cylinder: u8, text: &str) -> Self {
        self.and("reading-taken", bore(reading, cylinder, text))
    }

    fn by_label(self, label: &str, cylinder: u8, text: &str) -> Self {
        let value = json!({"text": text, "unit": "bar"});
        let position = format!("cyl-{cylinder}");
        self.and(
            "reading-taken",
            json!({"check": "compression-dry", "reading": "pressure", "position": position, "value": value, "label": label}),
        )
    }

    fn case(&self) -> Case {
        let lines = story_from_lines(&self.0.join("\n")).expect("a story");
        work_up(&fold(&seal_story("judging", &lines).expect("a sealed story")), knowledge()).expect("a case")
    }
}

fn bore(reading: &str, cylinder: u8, text: &str) -> Value {
    let value = json!({"text": text, "unit": "mm"});
    json!({"check": "bore-gauge", "reading": reading, "position": format!("cyl-{cylinder}"), "value": value, "gauge": "bore_gauge"})
}

fn found<'a>(case: &'a Case, reading: &str, place: &str) -> &'a Finding {
    let here = |f: &&Finding| f.reading == reading && f.position.address() == place;
    case.findings.iter().rfind(here).unwrap_or_else(|| panic!("no {reading} at {place}"))
}

fn next(finding: &Finding) -> &str {
    finding.next_move.as_deref().unwrap_or("")
}

#[test]
fn what_cannot_be_told_says_what_settles_it() {
    let case = Job::four().most("taper", "0.050").bore("taper", 1, "0.048").bore("taper", 2, "0.050").case();
    let near = found(&case, "taper", "cyl-1");
    assert_eq!(near.verdict, Verdict::CannotTell, "{}", near.reason);
    // By hand: 0.002 mm under the most asks for u of 0.002 / 1.6449 = 0.001216 mm or less.
    assert!(next(near).contains("a gauge of u 0.0012 mm or better settles it"), "{}", next(near));
    let on_it = found(&case, "taper", "cyl-2");
    assert_eq!(on_it.verdict, Verdict::CannotTell, "{}", on_it.reason);
    assert!(next(on_it).contains("sits on the edge"), "{}", next(on_it));
}

#[test]
fn a_reading_without_a_limit_asks_for_the_figure() {
    let reading = json!({"check": "spring-length-load", "reading": "load", "position": "cyl-1-in-1", "value": {"text": "210", "unit": "N"}});
    let case = Job::four().and("reading-taken", reading).case();
    let load = found(&case, "load", "cyl-1-in-1");
    assert_eq!((load.verdict, load.guard), (Verdict::CannotTell, None));
    assert!(load.limit.is_none() && next(load).contains("engine sheet"), "{}", next(load));
    // Where nothing is in question nothing is asked for.
    let sure = Job::four().most("taper", "0.050").bore("taper", 1, "0.010").case();
    let sure = found(&sure, "taper", "cyl-1");
    assert_eq!((sure.verdict, &sure.next_move), (Verdict::Inside, &None));
}

/// Without an engine's own figure the taper has two edges apart, 0.0254 and 0.0762 mm; the doubt of the gauge is
/// looked at on both.
#[test]
fn between_the_edges_it_is_a_question_to_a_person_and_still_evidence() {
    let at = |text: &str| Job::four().bore("taper", 1, text).case();
    let case = at("0.050");
    let between = found(&case, "taper", "cyl-1");
    let u = between.u.expect("a doubt");
    assert_eq!(between.verdict, Verdict::ByJudgement, "{}", between.reason);
    assert!(next(between).contains("the technician decides"), "{}", next(between));
    assert!(between.measure.is_some() && between.seen.is_some(), "it is evidence");
    let print = |x: f64| format!("{x:.4}");
    // On the keep edge the doubt leaves good and usable open: a person decides.
    let keep = at(&print(0.0254));
    assert_eq!(found(&keep, "taper", "cyl-1").verdict, Verdict::ByJudgement);
    // Half a guard band short of the reject edge it may be out: the gauge cannot tell; well short of it a person decides.
    let reject = at(&print(0.0762 - 0.8 * u));
    assert_eq!(found(&reject, "taper", "cyl-1").verdict, Verdict::CannotTell);
    assert!(found(&reject, "taper", "cyl-1").seen.is_some(), "it is evidence");
    let short = at(&print(0.0762 - 1.8 * u));
    assert_eq!(found(&short, "taper", "cyl-1").verdict, Verdict::ByJudgement);
}

#[test]
fn guard_band_and_rule_are_shown_where_a_number_meets_a_limit() {
    let look = json!({"check": "bore-visual", "reading": "wall", "position": "cyl-1", "outcome": "hone-visible"});
    let case = Job::four().most("taper", "0.050").bore("taper", 1, "0.010").and("reading-taken", look).case();
    let taper = found(&case, "taper", "cyl-1");
    let (guard, u) = (taper.guard.expect("a guard band"), taper.u.expect("a doubt"));
    // JCGM 106:2012, table 1: 95 % at one edge is 1.64 standard uncertainties, 1.6449 to five figures.
    assert!((guard / u - 1.6449).abs() < 0.0001, "{guard} {u}");
    let rule = taper.rule.as_deref().expect("a rule");
    assert!(rule.contains("once in 20") && rule.contains("under 0.05 mm"), "{rule}");
    assert!(taper.reason.contains("; guard band "), "{}", taper.reason);
    let wall = found(&case, "wall", "cyl-1");
    assert!(wall.guard.is_none() && wall.rule.is_none(), "a look has no guard band");
}

/// Wear 0.040 mm leaves room for an oval of 2 x 0.040 = 0.080 mm where two axes see nothing, and of 0.080 - 0.004 = 0.076 mm
/// at a height where they see 0.004 mm; wear of 0.008 mm for one of 0.016 mm, which a most of 0.050 mm takes easily.
#[test]
fn the_third_axis_is_asked_for_where_a_hidden_oval_could_turn_the_verdict() {
    let job = Job::four().most("out-of-round", "0.050");
    let worn = job.clone().bore("wear", 1, "0.040").bore("out-of-round", 1, "0.004").case();
    let said = next(found(&worn, "out-of-round", "cyl-1")).to_owned();
    assert!(said.contains("third axis at 45 degrees") && said.contains("up to 0.08 mm"), "{said}");
    let mut top = bore("out-of-round", 1, "0.004");
    top["spot"] = json!("top");
    let at_one_height = job.clone().bore("wear", 1, "0.040").and("reading-taken", top).case();
    let said = next(found(&at_one_height, "out-of-round", "cyl-1")).to_owned();
    assert!(said.contains("up to 0.076 mm"), "{said}");
    let little = job.clone().bore("wear", 1, "0.008").bore("out-of-round", 1, "0.004").case();
    assert_eq!(found(&little, "out-of-round", "cyl-1").next_move, None);
    let alone = job.clone().bore("out-of-round", 1, "0.004").case();
    assert!(next(found(&alone, "out-of-round", "cyl-1")).contains("no wear is read"));
    let out = job.clone().bore("wear", 1, "0.090").bore("out-of-round", 1, "0.080").case();
    assert!(!next(found(&out, "out-of-round", "cyl-1")).contains("third axis"), "it is out as it is");
    let mut third = bore("out-of-round", 1, "0.040");
    third["spot"] = json!("45 degrees");
    let all = job.bore("wear", 1, "0.040").bore("out-of-round", 1, "0.004").and("reading-taken", third).case();
    assert!(all.findings.iter().all(|f| !next(f).contains("third axis")), "it was read");
}

/// A bore that is 0.040 mm oval reads 88.02 + 0.02 cos 2(a - t) on the axis at a, t being how far it is turned: whatever t is, three
/// axes give the 0.040, while two at right angles give nothing at t = 45 degrees. By hand the doubt there is root 6 times that of one
/// size, for (D45 - (D0 + D90) / 2) alone makes the oval; unturned it is root 2 times, for D0 - D90 does.
#[test]
fn three_axes_give_the_oval_however_it_is_turned_with_its_own_doubt() {
    let read = |turned: f64| {
        let size = |degrees: f64| 88.02 + 0.02 * (2.0 * (degrees - turned).to_radians()).cos();
        let axis = |degrees: u16| json!({"degrees": degrees, "size": {"text": format!("{:.5}", size(f64::from(degrees))), "unit": "mm"}});
        let axes: Vec<Value> = [0, 45, 90].map(axis).to_vec();
        let body = json!({"check": "bore-gauge", "reading": "out-of-round", "position": "cyl-1", "axes": axes, "gauge": "bore_gauge"});
        Job::four().most("out-of-round", "0.080").bore("wear", 1, "0.060").and("reading-taken", body).case()
    };
    let one =
        Job::four().most("out-of-round", "0.080").bore("wear", 1, "0.060").bore("out-of-round", 1, "0.00400").case();
    let plain = found(&one, "out-of-round", "cyl-1");
    assert!(next(plain).contains("0: ...; 45: ...; 90: ..."), "{}", next(plain));
    for turned in [0.0, 10.0, 45.0, 77.0, 90.0] {
        let case = read(turned);
        let oval = found(&case, "out-of-round", "cyl-1");
        assert!((oval.value.expect("a figure") - 0.040).abs() < 2e-5, "{turned}: {oval:?}");
        assert!(case.findings.iter().all(|f| !next(f).contains("third axis")), "all axes are read");
        assert!(oval.shown.contains("at 0, 45 and 90 degrees, oval 0.0"), "{}", oval.shown);
        let times = oval.u.expect("a doubt") / plain.u.expect("a doubt");
        let wanted = match turned {
            45.0 => 6.0_f64.sqrt(),
            0.0 | 90.0 => 2.0_f64.sqrt(),
            _ => continue,
        };
        assert!((times - wanted).abs() < 1e-3, "{turned}: {times}");
    }
}

/// By hand as in the module: 0.02, 0.03, 0.05, 0.06 rise by 0.014 a place; the doubt is at least that of the scatter, 0.0014.
/// Counted from the driving end and looked at from the free end, which is the front, the slope is turned over.
#[test]
fn readings_along_the_engine_are_judged_together() {
    let four = |job: Job| {
        ["0.020", "0.030", "0.050", "0.060"].iter().zip(1..).fold(job, |job, (text, c)| job.bore("taper", c, text))
    };
    let case = four(Job::four()).case();
    let series = case.series.iter().find(|s| s.reading == "taper").expect("a series");
    assert_eq!((series.n, series.worst, series.after_repair), (4, 0.06, false));
    assert_eq!(series.worst_place, found(&case, "taper", "cyl-4").place);
    assert!((series.spread - 0.04).abs() < 1e-12, "{}", series.spread);
    let trend = series.trend.expect("a trend");
    assert!((trend.per_place.abs() - 0.014).abs() < 1e-12 && trend.u >= 0.001_414_213, "{trend:?}");
    let layout = json!({"arrangement": "inline", "cylinders": 4, "fuel": "petrol", "valve_gear": "twin-cam", "valves_per_cylinder": 4, "front": "driving-end"});
    let turned = four(Job::four().and("engine-described", json!({"layout": layout}))).case();
    let other = turned.series.iter().find(|s| s.reading == "taper").and_then(|s| s.trend).expect("a trend");
    assert!((other.per_place + trend.per_place).abs() < 1e-12, "{other:?} {trend:?}");
    let two = Job::four().bore("taper", 1, "0.02").bore("taper", 2, "0.03").case();
    assert!(two.series.is_empty(), "two places are no series");
    // The places stand worst first, and a finding knows its series.
    let ranked: Vec<String> = series.places.iter().map(Position::address).collect();
    assert_eq!(ranked, ["cyl-4", "cyl-3", "cyl-2", "cyl-1"]);
    let word = if trend.per_place > 0.0 { "rise" } else { "fall" };
    assert!(series.holds(found(&case, "taper", "cyl-1")) && series.plain.contains(word), "{}", series.plain);
    // 0.5 mm of wear is out by any limit, so its series comes before the taper.
    let worn = (1..=4).fold(four(Job::four()), |job, c| job.bore("wear", c, "0.500")).case();
    let order: Vec<(&str, Verdict)> = worn.series.iter().map(|s| (s.reading.as_str(), s.verdict)).collect();
    assert_eq!(order.first(), Some(&("wear", Verdict::Outside)), "{order:?}");
    assert!(!worn.series.first().expect("a series").holds(found(&worn, "taper", "cyl-1")));
    // After the work it is a series of its own.
    let mut after = case_with_left(&["0.010", "0.011", "0.012"]);
    after.series.retain(|s| s.after_repair);
    assert_eq!(after.series.len(), 1, "{:?}", after.series);
}

fn case_with_left(texts: &[&str]) -> Case {
    let four =
        ["0.020", "0.030", "0.050"].iter().zip(1..).fold(Job::four(), |job, (text, c)| job.bore("taper", c, text));
    let left = texts.iter().zip(1..).fold(four, |job, (text, c)| {
        let mut body = bore("taper", c, text);
        body["phase"] = json!("as-left");
        job.and("reading-taken", body)
    });
    left.case()
}

#[test]
fn a_gauge_found_off_takes_its_readings_out_of_findings_beliefs_and_advice() {
    let gauge = json!({"gauge": "comp_gauge", "label": "CG1"});
    let doubt = json!({"label": "CG1", "reason": "dropped"});
    let clear = |good: &str| json!({"label": "CG1", "how": "compared", "good": good});
    let rings = |case: &Case| {
        let here = |b: &&workup::Belief| b.id == "rings" && b.position.is_some_and(|p| p.address() == "cyl-2");
        case.conditions.iter().find(here).expect("a belief").p
    };
    let told = Job::four().and("gauge-described", gauge);
    let untouched = told.case();
    let read = [(1, "12.0"), (2, "5.0"), (3, "12.1"), (4, "11.9")]
        .iter()
        .fold(told, |job, (c, text)| job.by_label("CG1", *c, text));
    let trusted = read.case();
    assert!(rings(&trusted) > rings(&untouched) + 0.05, "{} {}", rings(&trusted), rings(&untouched));
    assert_eq!(trusted.series.len(), 1);

    let off = read.and("gauge-doubted", doubt);
    let doubted = off.case();
    assert_eq!(doubted.findings.len(), 4);
    for finding in &doubted.findings {
        assert!(finding.measure_again && finding.seen.is_none() && finding.p_inside.is_none());
        assert_eq!(finding.verdict, Verdict::CannotTell);
        assert!(next(finding).starts_with("measure it again"), "{}", next(finding));
        assert!(finding.reason.contains("CG1"), "{}", finding.reason);
    }
    assert_eq!(rings(&doubted).to_bits(), rings(&untouched).to_bits(), "no belief rests on them");
    assert!(doubted.series.is_empty());
    let asked =
        |case: &Case| serde_json::to_value(&case.advice).expect("advice").to_string().contains("compression-dry");
    assert_eq!(asked(&doubted), asked(&untouched), "the check is open again");
    assert!(doubted.notices.iter().any(|n| n.code == "gauge-doubted"));

    // Put right for later readings: those before it stay doubted, one after it counts.
    let later = off.clone().and("gauge-cleared", clear("later")).by_label("CG1", 2, "5.1").case();
    let again: Vec<bool> = later.findings.iter().map(|f| f.measure_again).collect();
    assert_eq!(again, [true, true, true, true, false]);
    assert!(later.findings.last().is_some_and(|f| f.seen.is_some()));
    // Found good for all: everything stands as before.
    let cleared = off.and("gauge-cleared", clear("all")).case();
    assert!(cleared.findings.iter().all(|f| !f.measure_again));
    assert_eq!(rings(&cleared).to_bits(), rings(&trusted).to_bits());
}

#[test]
fn the_best_of_its_kind_and_the_proof_do_not_rest_on_a_gauge_found_off() {
    let described = |label: &str| json!({"gauge": "comp_gauge", "label": label});
    let read = Job::four()
        .and("gauge-described", described("CG1"))
        .and("gauge-described", described("CG2"))
        .by_label("CG1", 1, "14.0")
        .by_label("CG2", 2, "10.0");
    let share = |case: &Case| found(case, "pressure", "cyl-2").measure.expect("a share of the best");
    // By hand: 10 of 14 is 0.714; without the 14 the 10 is the best itself.
    assert!((share(&read.case()) - 10.0 / 14.0).abs() < 1e-12);
    let reason = |place: &str| found(&read.case(), "pressure", place).reason.clone();
    assert!(reason("cyl-2").starts_with("71.4 % of the best; "), "{}", reason("cyl-2"));
    assert!(reason("cyl-1").starts_with("the best of them; "), "{}", reason("cyl-1"));
    let mut left = json!({"check": "proof-compression", "reading": "pressure", "position": "cyl-1", "value": {"text": "12.0", "unit": "bar"}, "label": "CG1"});
    left["phase"] = json!("as-left");
    let read = read.and("reading-taken", left);
    let before = read.case();
    assert!(before.proof.not_inside.is_empty(), "{:?}", before.proof.not_inside);
    let doubted = read.and("gauge-doubted", json!({"label": "CG1", "reason": "dropped"})).case();
    assert!((share(&doubted) - 1.0).abs() < 1e-12);
    let proof = doubted.findings.iter().find(|f| f.after_repair).expect("a finding after the work");
    assert_eq!(
        doubted.proof.not_inside,
        std::slice::from_ref(&proof.entry),
        "it proves nothing until it is read again"
    );
}

fn micrometer(cylinder: u8, text: &str) -> Value {
    let mut body = bore("taper", cylinder, text);
    body["gauge"] = json!("micrometer_mm");
    body["label"] = json!("MM-1");
    body
}

#[test]
fn a_zero_not_checked_that_day_and_a_calibration_that_ran_out_are_said_and_refuse_nothing() {
    let laid = |more: Value| {
        let mut body = json!({"gauge": "micrometer_mm", "label": "MM-1"});
        if let (Some(body), Some(more)) = (body.as_object_mut(), more.as_object()) {
            body.extend(more.clone());
        }
        body
    };
    let codes = |case: &Case| -> Vec<String> {
        case.notices.iter().map(|n| n.code.clone()).filter(|c| c.starts_with("gauge-")).collect()
    };
    // Jobs here are of 2026-03-02; twelve months after 2025-03-02 are not over on that day, and after 2025-03-01 they are.
    let good = Job::four().and("gauge-described", laid(json!({"zero_checked": "yes", "calibrated": "2025-03-02"})));
    let good = good.and("reading-taken", micrometer(1, "0.010")).case();
    assert_eq!((codes(&good), &found(&good, "taper", "cyl-1").gauge_word), (Vec::new(), &None));
    let old = Job::four().and("gauge-described", laid(json!({"zero_checked": "yes", "calibrated": "2025-03-01"})));
    let old = old.and("reading-taken", micrometer(1, "0.010")).and("reading-taken", micrometer(2, "0.010")).case();
    assert_eq!(codes(&old), ["gauge-calibration-passed"], "once for both readings");
    let finding = found(&old, "taper", "cyl-1");
    assert!(finding.gauge_word.as_ref().is_some_and(|w| w.contains("MM-1") && w.contains("2026-03-01")), "{finding:?}");
    let same = found(&good, "taper", "cyl-1");
    assert_eq!((finding.verdict, finding.u, finding.measure_again), (same.verdict, same.u, false), "only a word");
    let blind = Job::four().and("gauge-described", laid(json!({}))).and("reading-taken", micrometer(1, "0.010")).case();
    assert_eq!(codes(&blind), ["gauge-zero-not-checked"]);
    // A zero checked days before does not hold for this one.
    let early = json!({"at": "2026-02-27T08:00:00Z", "by": "bench", "device": "bench-1", "kind": "gauge-described",
        "body": laid(json!({"zero_checked": "yes"}))});
    let mut stale = Job::four().and("reading-taken", micrometer(1, "0.010"));
    stale.0.insert(0, early.to_string());
    let stale = stale.case();
    assert_eq!(codes(&stale), ["gauge-zero-not-checked"]);
    let word = found(&stale, "taper", "cyl-1").gauge_word.clone().unwrap_or_default();
    assert!(word.contains("2026-02-27"), "{word}");
}

#[test]
fn a_gauge_found_off_in_one_job_is_off_in_every_open_job_that_has_it() {
    use logbook::{EntryBody, JobState, Kind};
    use workup::gauges::{carried, register};

    let state = |job: &Job, name: &str| -> JobState {
        fold(&seal_story(name, &story_from_lines(&job.0.join("\n")).expect("a story")).expect("a sealed story"))
    };
    let told = |kind: Kind, body: Value| EntryBody::read(kind, 1, &body).expect("a body").expect("version 1");
    let described = |kind: &str| json!({"gauge": kind, "label": "CG1"});
    let with = |kind: &str| Job::four().and("gauge-described", described(kind)).by_label("CG1", 1, "12.0");
    let doubt = json!({"label": "CG1", "reason": "dropped"});
    let clear = json!({"label": "CG1", "how": "compared", "good": "all"});
    let closed = with("comp_gauge").and("job-closed", json!({"how": "handed-back"}));
    let (second, other_kind, shut) =
        (state(&with("comp_gauge"), "b"), state(&with("oil_gauge"), "c"), state(&closed, "d"));
    let first = state(&with("comp_gauge").and("gauge-doubted", doubt.clone()), "a");
    let doubted = told(Kind::GaugeDoubted, doubt.clone());
    let entries = carried(&first, &doubted, &[&second, &other_kind, &shut]);
    assert_eq!(entries.len(), 1, "not the gauge of another kind, not the closed job: {entries:?}");
    let (job, body) = entries.first().expect("an entry");
    assert_eq!(Some(*job), second.job);
    let EntryBody::GaugeDoubted(body) = body else { panic!("{body:?}") };
    assert!(body.reason.contains("dropped") && body.reason.contains("judging"), "{}", body.reason);
    // Kept there, every finding that leaned on it asks to be measured again, and nothing is carried twice.
    let reason = json!({"label": "CG1", "reason": body.reason});
    let off = with("comp_gauge").and("gauge-doubted", reason);
    assert!(off.case().findings.iter().all(|f| f.measure_again));
    let second_off = state(&off, "b");
    assert!(carried(&first, &doubted, &[&second_off]).is_empty());
    // A job that takes the gauge up later doubts it as well.
    let reading = told(
        Kind::ReadingTaken,
        json!({"check": "compression-dry", "reading": "pressure", "position": "cyl-1", "value": {"text": "12.0", "unit": "bar"}, "label": "CG1"}),
    );
    let late = carried(&second, &reading, &[&first]);
    assert!(matches!(late.as_slice(), [(job, EntryBody::GaugeDoubted(_))] if Some(*job) == second.job), "{late:?}");
    assert!(carried(&other_kind, &reading, &[&first]).is_empty());
    // Found good in one, it is good in the other, and a later reading is not doubted any more.
    let good = state(&with("comp_gauge").and("gauge-doubted", doubt).and("gauge-cleared", clear.clone()), "a");
    let back = carried(&good, &told(Kind::GaugeCleared, clear), &[&second_off, &other_kind]);
    assert!(matches!(back.as_slice(), [(job, EntryBody::GaugeCleared(_))] if Some(*job) == second.job), "{back:?}");
    assert!(carried(&second, &reading, &[&good]).is_empty());
    // The register names it once a kind, the doubted first, with the open jobs alone.
    let today = "2026-03-02".parse().expect("a day");
    let lines = register(&[&first, &second, &other_kind, &shut], knowledge(), today);
    let seen: Vec<(Option<&str>, bool, usize)> =
        lines.iter().map(|g| (g.kind.as_deref(), g.doubted_since.is_some(), g.jobs.len())).collect();
    assert_eq!(seen, [(Some("comp_gauge"), true, 2), (Some("oil_gauge"), false, 1)]);
}

#[test]
fn a_doubt_that_is_put_right_is_put_right_in_every_job_it_was_carried_to() {
    use logbook::{EntryBody, JobState, Kind};
    use workup::gauges::{carried, carried_by_copy};

    let state = |job: &Job, name: &str| -> JobState {
        fold(&seal_story(name, &story_from_lines(&job.0.join("\n")).expect("a story")).expect("a sealed story"))
    };
    let told = |kind: Kind, body: Value| EntryBody::read(kind, 1, &body).expect("a body").expect("version 1");
    let with = || {
        let laid = |label: &str| json!({"gauge": "comp_gauge", "label": label});
        Job::four().and("gauge-described", laid("CG1")).and("gauge-described", laid("CG2")).by_label("CG1", 1, "12.0")
    };
    let doubt = |label: &str, reason: &str| json!({"label": label, "reason": reason});
    let last = |state: &JobState| state.history.last().expect("an entry").entry;
    let doubted = with().and("gauge-doubted", doubt("CG1", "dropped"));
    let first = state(&doubted, "a");
    let second = state(&with(), "b");
    let entries = carried(&first, &told(Kind::GaugeDoubted, doubt("CG1", "dropped")), &[&second]);
    let [(_, EntryBody::GaugeDoubted(there))] = entries.as_slice() else { panic!("{entries:?}") };
    let second_off = state(&with().and("gauge-doubted", doubt("CG1", &there.reason)), "b");

    // Other words: a correction of the doubt that was carried, once.
    let right = json!({"entry": last(&first), "body": doubt("CG1", "hose leaks"), "reason": "looked again"});
    let now = state(&doubted.and("entry-corrected", right.clone()), "a");
    let entries = carried(&now, &told(Kind::EntryCorrected, right), &[&second_off]);
    let [(job, EntryBody::EntryCorrected(correction))] = entries.as_slice() else { panic!("{entries:?}") };
    assert_eq!((Some(*job), correction.entry), (second_off.job, last(&second_off)));
    let reason = correction.body["reason"].as_str().expect("a reason").to_owned();
    assert!(
        reason.starts_with("hose leaks (at the job ") && correction.reason.starts_with("looked again"),
        "{correction:?}"
    );
    let put_right = json!({"entry": correction.entry, "body": correction.body, "reason": correction.reason});
    let second_right =
        state(&with().and("gauge-doubted", doubt("CG1", &there.reason)).and("entry-corrected", put_right), "b");
    assert_eq!(second_right.doubted_gauges["CG1"].body.reason, reason);
    let again = json!({"entry": last(&first), "body": doubt("CG1", "hose leaks"), "reason": "looked again"});
    assert!(carried(&now, &told(Kind::EntryCorrected, again), &[&second_right]).is_empty());

    // It was the other gauge: the first is good again there, the other is doubted.
    let other = json!({"entry": last(&first), "body": doubt("CG2", "dropped"), "reason": "the other one fell"});
    let now = state(&with().and("gauge-doubted", doubt("CG1", "dropped")).and("entry-corrected", other.clone()), "a");
    let entries = carried(&now, &told(Kind::EntryCorrected, other), &[&second_off]);
    let [(_, EntryBody::GaugeCleared(good)), (_, EntryBody::GaugeDoubted(off))] = entries.as_slice() else {
        panic!("{entries:?}")
    };
    assert_eq!((good.label.as_str(), off.label.as_str()), ("CG1", "CG2"));

    // A job that comes in from elsewhere is told what is said here, and tells what it brings; twice gives nothing.
    let to_it = carried_by_copy(&second, &[&first]);
    assert!(matches!(to_it.as_slice(), [(job, EntryBody::GaugeDoubted(_))] if Some(*job) == second.job), "{to_it:?}");
    let from_it = carried_by_copy(&first, &[&second]);
    assert!(
        matches!(from_it.as_slice(), [(job, EntryBody::GaugeDoubted(_))] if Some(*job) == second.job),
        "{from_it:?}"
    );
    assert!(carried_by_copy(&second_off, &[&first]).is_empty() && carried_by_copy(&first, &[&second_off]).is_empty());
    let clear = json!({"label": "CG1", "how": "compared", "good": "all"});
    let good = state(&with().and("gauge-doubted", doubt("CG1", "dropped")).and("gauge-cleared", clear), "c");
    let cleared = carried_by_copy(&second_off, &[&good]);
    assert!(
        matches!(cleared.as_slice(), [(job, EntryBody::GaugeCleared(_))] if Some(*job) == second.job),
        "{cleared:?}"
    );
    let shut = state(&with().and("job-closed", json!({"how": "handed-back"})), "d");
    assert!(carried_by_copy(&shut, &[&first]).is_empty(), "a closed job is left alone");
}

/// What is advised is done: as many readings of the same figure as it asks for, and the verdict is no longer open.
#[test]
fn the_number_of_readings_that_would_settle_it_settles_it() {
    let asked = |text: &str| {
        let case = Job::four().most("taper", "0.050").bore("taper", 1, text).case();
        let near = found(&case, "taper", "cyl-1");
        let n = next(near).split("the mean of ").nth(1).and_then(|rest| rest.split(' ').next()?.parse::<usize>().ok());
        n.filter(|_| near.verdict == Verdict::CannotTell)
    };
    let (text, n) = (30..50)
        .map(|k| format!("0.0{k}"))
        .find_map(|text| asked(&text).map(|n| (text, n)))
        .expect("a figure that more readings settle");
    let several = |n: usize| {
        let mut body = bore("taper", 1, &text);
        let one = body.as_object_mut().and_then(|b| b.remove("value")).expect("a value");
        body["repeats"] = Value::Array(vec![one; n]);
        Job::four().most("taper", "0.050").and("reading-taken", body).case()
    };
    let case = several(n);
    let settled = found(&case, "taper", "cyl-1");
    assert_eq!(settled.verdict, Verdict::Inside, "{text} {n}: {}", settled.reason);
    assert!(settled.reason.contains(&format!("mean of {n} readings")), "{}", settled.reason);
    assert!(settled.shown.contains(&format!("{text}, {text}")), "{}", settled.shown);
    if n > 2 {
        let short = several(n - 1);
        let open = found(&short, "taper", "cyl-1");
        assert_eq!(open.verdict, Verdict::CannotTell);
        assert!(next(open).contains("take 1 more reading,"), "{}", next(open));
        assert!(open.u > settled.u);
    }
    // The same said as a mean with its number is worth the same.
    let mut body = bore("taper", 1, &text);
    body["mean_of"] = json!(n);
    let told = Job::four().most("taper", "0.050").and("reading-taken", body).case();
    let told = found(&told, "taper", "cyl-1");
    let (a, b) = (told.u.expect("a doubt"), settled.u.expect("a doubt"));
    assert!((a - b).abs() < 1e-12 && told.shown.contains("mean of"), "{told:?}");
}

/// 8.4 bar are 840 kPa, the unit of the knowledge, and 0.33 bar 33 kPa: whoever reads a gauge in bar is answered in bar.
#[test]
fn what_is_said_of_a_reading_is_said_in_the_unit_it_was_typed_in() {
    let job = ["12.1", "12.0", "8.4", "8.6"]
        .iter()
        .zip(1..)
        .fold(Job::four(), |job, (text, c)| job.by_label("CG-1", c, text));
    let case = job.case();
    for finding in &case.findings {
        let said = format!("{} {} {}", finding.reason, next(finding), finding.rule.clone().unwrap_or_default());
        assert!(said.contains(" bar") && !said.contains("kPa"), "{said}");
    }
    let series = case.series.first().expect("a series");
    assert!(series.words.contains("cylinder 3 with 8.4 bar, spread 3.7 bar"), "{}", series.words);
    assert!(series.plain.contains("8.4 bar") && !series.plain.contains("kPa"), "{}", series.plain);
    assert!((series.worst - 840.0).abs() < 1e-9 && series.unit == "kPa", "the figures beside stay in their unit");
}
