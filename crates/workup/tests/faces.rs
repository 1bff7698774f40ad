//! Faces read under a straightedge station by station: the interval, its verdict, and what is missing.
//!
//! The faces are made here: their true flatness is known, and the blades are what a set in steps of 0.01 mm would show. So the
//! interval is held against a truth that it does not know.

#![expect(clippy::expect_used, clippy::indexing_slicing, reason = "helpers of tests stop at the first surprise")]

use std::sync::OnceLock;

use anatomy::Position;
use knowledge::Knowledge;
use logbook::{JobState, fold, seal_story, story_from_lines};
use quantity::Verdict;
use serde_json::{Value, json};
use workup::faces::{Face, LINES, Line};
use workup::{Finding, findings, network};

const LENGTH: f64 = 420.0;
const WIDTH: f64 = 175.0;

fn knowledge() -> &'static Knowledge {
    static LOADED: OnceLock<Knowledge> = OnceLock::new();
    LOADED.get_or_init(|| Knowledge::builtin().expect("the built-in knowledge loads"))
}

/// A job told line by line, on a petrol four in line with a head that may be 0.08 mm out of flat.
#[derive(Clone)]
struct Job(Vec<String>);

impl Job {
    fn new() -> Self {
        let layout = json!({"arrangement": "inline", "cylinders": 4, "fuel": "petrol", "valve_gear": "twin-cam", "gasket": "multi-layer-steel"});
        let gauge = json!({"gauge": "straightedge", "label": "SE-2", "u": {"text": "0.003", "unit": "mm"}, "zero_checked": "yes"});
        Job(Vec::new())
            .and("job-opened", &json!({"title": "faces"}))
            .and("engine-described", &json!({"layout": layout}))
            .and("gauge-described", &gauge)
            .figure("head_flat_len_mls", "max", "0.08")
    }

    fn sized() -> Self {
        Job::new().figure("head-face-length", "nominal", "420").figure("head-face-width", "nominal", "175")
    }

    fn figure(self, item: &str, bound: &str, text: &str) -> Self {
        let body = json!({"item": item, "bound": bound, "text": text, "unit": "mm", "document": "sheet", "page": "1"});
        self.and("engine-figure-set", &body)
    }

    fn and(mut self, kind: &str, body: &Value) -> Self {
        let minute = self.0.len();
        let at = format!("2026-03-02T{:02}:{:02}:00Z", 6 + minute / 60, minute % 60);
        self.0.push(json!({"at": at, "by": "bench", "device": "bench-1", "kind": kind, "body": body}).to_string());
        self
    }

    fn laid(self, line: &str, stations: &[Value]) -> Self {
        let body = json!({"check": "head-straightedge", "reading": "gap", "position": "bank-A", "spot": line,
            "stations": stations, "gauge": "straightedge", "label": "SE-2"});
        self.and("reading-taken", &body)
    }

    fn state(&self) -> JobState {
        let story = story_from_lines(&self.0.join("\n")).expect("a story");
        fold(&seal_story("faces", &story).expect("a sealed story"))
    }

    fn judged(&self) -> (Vec<Face>, Vec<Finding>) {
        let state = self.state();
        let layout = state.layout.clone().expect("an engine");
        let net = network::engine_net(&layout, &workup::told(&state, knowledge()), knowledge());
        let (mut findings, notices) = findings::of_state(&state, &layout, &net, knowledge());
        assert!(notices.iter().all(|n| !n.code.contains("unreadable")), "{notices:?}");
        let faces = workup::faces::of_state(&state, &layout, &net, knowledge(), &mut findings);
        (faces, findings)
    }

    fn face(&self) -> Face {
        let (mut faces, _) = self.judged();
        assert_eq!(faces.len(), 1);
        faces.remove(0)
    }
}

fn mm(number: f64) -> Value {
    json!({"text": format!("{number:.4}"), "unit": "mm"})
}

/// What blades in steps show of a face along a line. The edge rests on the face and is rocked until its widest gap is least; its
/// slope is then that of two places of the face.
fn read(line: &Line, count: u32, step: f64, face: &dyn Fn([f64; 2]) -> f64) -> Vec<Value> {
    let size = [LENGTH, WIDTH];
    let long = line.length(size);
    let along: Vec<f64> = (0..count).map(|k| long * f64::from(k) / f64::from(count - 1)).collect();
    let heights: Vec<f64> = along.iter().map(|a| face(line.place(*a, size))).collect();
    let mut rest: Option<(f64, f64, f64)> = None;
    for i in 0..along.len() {
        for j in i + 1..along.len() {
            let slope = (heights[j] - heights[i]) / (along[j] - along[i]);
            let over: Vec<f64> = along.iter().zip(&heights).map(|(a, z)| z - slope * a).collect();
            let start = over.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let widest = over.iter().map(|z| start - z).fold(0.0, f64::max);
            if rest.is_none_or(|r| widest < r.2) {
                rest = Some((start, slope, widest));
            }
        }
    }
    let (start, slope, _) = rest.expect("an edge rests somewhere");
    along
        .iter()
        .zip(&heights)
        .map(|(a, z)| {
            let gap = (start + slope * a - z).max(0.0);
            let steps = (gap / step + 1e-6).floor();
            let mut station = json!({"along": mm(*a), "refused": mm((steps + 1.0) * step)});
            if steps > 0.0 {
                station["enters"] = mm(steps * step);
            }
            station
        })
        .collect()
}

fn line(name: &str) -> Line {
    Line::named(name).expect("a line")
}

const SIX: &[&str] = &["along-left", "along-right", "diagonal-1", "diagonal-2", "across-front", "across-rear"];
const EIGHT: &[&str] = &[
    "along-left",
    "along-right",
    "diagonal-1",
    "diagonal-2",
    "across-front",
    "across-rear",
    "along-middle",
    "across-middle",
];

fn all(names: &[&str], step: f64, face: &dyn Fn([f64; 2]) -> f64) -> Job {
    names.iter().fold(Job::sized(), |job, name| job.laid(name, &read(&line(name), 5, step, face)))
}

fn bow(deep: f64) -> impl Fn([f64; 2]) -> f64 {
    move |at| -deep * (1.0 - (at[0] / LENGTH * 2.0 - 1.0).powi(2))
}

fn twist(high: f64) -> impl Fn([f64; 2]) -> f64 {
    move |at| high / 2.0 * (at[0] / LENGTH * 2.0 - 1.0) * (at[1] / WIDTH * 2.0 - 1.0)
}

fn whole(findings: &[Finding]) -> &Finding {
    findings.iter().find(|f| f.whole_face).expect("a finding on the whole face")
}

#[test]
fn the_interval_holds_the_truth_and_its_verdict_is_the_one_the_limit_leaves() {
    // A bow of w is flat to w; a twist whose corners stand w over the other two is flat to w.
    for (words, truth, face) in [
        ("bow", 0.20, Box::new(bow(0.20)) as Box<dyn Fn([f64; 2]) -> f64>),
        ("twist", 0.20, Box::new(twist(0.20))),
        ("hump", 0.20, Box::new(bow(-0.20))),
    ] {
        let job = all(EIGHT, 0.01, &face);
        let (faces, findings) = job.judged();
        let found = faces[0].flatness.expect("an interval");
        assert!(found.least <= truth && truth <= found.greatest, "{words}: {truth} in {found:?}");
        assert!(found.least > 0.5 * truth && found.greatest < 2.0 * truth, "{words}: {found:?}");
        assert_eq!(faces[0].verdict, Verdict::Outside, "{words}: {}", faces[0].reason);
        let on_face = whole(&findings);
        assert_eq!((on_face.verdict, on_face.position), (Verdict::Outside, "bank-A".parse::<Position>().unwrap()));
        assert!(on_face.reason.contains("was not measured"), "{}", on_face.reason);
        let shape = faces[0].shape.as_deref().unwrap_or_default();
        assert!(shape.contains(if words == "twist" { "twist" } else { "bow along" }), "{words}: {shape}");
        let surface = faces[0].surface.as_ref().expect("a surface");
        assert_eq!(surface.height.len(), surface.along.len() * surface.across.len());
    }
    // Flat, with fine blades: every line refuses 0.01 mm. Edge and blades may each be wrong at every station, and the pattern adds
    // that up: against 0.15 it is inside, against 0.08 this edge and these blades cannot tell.
    let flat = all(EIGHT, 0.01, &|_| 0.0);
    let soft = flat.clone().figure("head_flat_len_mls", "max", "0.15").face();
    assert_eq!((soft.verdict, soft.flatness.unwrap().least), (Verdict::Inside, 0.0), "{}", soft.reason);
    assert_eq!(flat.face().verdict, Verdict::CannotTell);
}

#[test]
fn a_twist_shows_half_under_every_line_and_the_lines_together_call_it_out() {
    let (faces, findings) = all(SIX, 0.01, &twist(0.16)).judged();
    let lines: Vec<&Finding> = findings.iter().filter(|f| !f.whole_face).collect();
    assert!(lines.iter().all(|f| f.value.unwrap() <= 0.08), "no blade shows more than half of it");
    assert!(lines.iter().all(|f| f.verdict != Verdict::Outside));
    assert_eq!(faces[0].verdict, Verdict::Outside, "{}", faces[0].reason);
}

#[test]
fn where_the_edge_lies_inside_the_interval_it_cannot_tell_and_names_what_to_add() {
    // Coarse blades on a face that is out of flat by about the limit.
    let (faces, findings) = all(SIX, 0.03, &bow(0.08)).judged();
    let found = faces[0].flatness.unwrap();
    assert!(found.least < 0.08 && 0.08 < found.greatest, "{found:?}");
    let on_face = whole(&findings);
    assert_eq!(on_face.verdict, Verdict::CannotTell);
    let next = on_face.next_move.as_deref().unwrap();
    assert!(next.contains("mm of ") && next.contains("blades closer together"), "{next}");
    assert!(
        next.contains("along middle") || next.contains("across middle"),
        "a line that is not laid yet is named: {next}"
    );
    // With every line laid there is no line left to name.
    let full = all(EIGHT, 0.03, &bow(0.08)).face();
    assert!(full.next_move.unwrap().ends_with("or take a dial on a bridge"));
}

#[test]
fn without_its_size_the_face_says_what_is_missing_and_each_line_is_judged_as_before() {
    let stations = read(&line("along-left"), 5, 0.01, &bow(0.2));
    let plain = json!({"check": "head-straightedge", "reading": "gap", "position": "bank-A", "spot": "along-left",
        "value": {"text": "0.2000", "unit": "mm"}, "gauge": "straightedge", "label": "SE-2"});
    let (faces, findings) =
        Job::new().figure("head-face-length", "nominal", "420").laid("along-left", &stations).judged();
    assert_eq!(faces[0].missing.len(), 1);
    assert!(
        faces[0].missing[0].contains("width") && faces[0].missing[0].contains("engine sheet"),
        "{:?}",
        faces[0].missing
    );
    assert_eq!((faces[0].flatness, faces[0].surface.is_none(), findings.len()), (None, true, 1));
    let (none, before) = Job::new().and("reading-taken", &plain).judged();
    assert_eq!(none, Vec::new());
    let of = |f: &Finding| (f.verdict, f.value, f.u, f.p_inside, f.reason.clone(), f.spot.clone());
    assert_eq!(of(&findings[0]), of(&before[0]), "a line judges itself by its widest blade");
}

#[test]
fn a_pattern_that_bounds_nothing_is_refused_with_the_line_to_add() {
    let two = all(&["along-left", "along-right"], 0.01, &bow(0.1)).face();
    assert_eq!((two.flatness, two.verdict), (None, Verdict::CannotTell));
    let next = two.next_move.unwrap();
    assert!(next.contains("diagonal 1 (from A to F)") && next.contains("across front"), "{next}");
    // Crossing lines without a station where they cross float, and are told so by their names.
    let even = ["along-left", "along-right", "across-front", "across-rear"];
    let job = even.iter().fold(Job::sized(), |job, name| job.laid(name, &read(&line(name), 5, 0.01, &bow(0.1))));
    let floating = job
        .laid("diagonal-1", &read(&line("diagonal-1"), 4, 0.01, &bow(0.1)))
        .laid("diagonal-2", &read(&line("diagonal-2"), 4, 0.01, &bow(0.1)))
        .face();
    assert!(floating.missing[0].contains("diagonal"), "{:?}", floating.missing);
    assert!(
        !floating.missing[0].contains("line 5") && !floating.missing[0].contains("line 6"),
        "{:?}",
        floating.missing
    );
}

#[test]
fn a_station_without_a_refused_blade_and_a_line_of_two_stations_are_asked_for() {
    let mut open = read(&line("along-left"), 5, 0.01, &bow(0.1));
    open[2].as_object_mut().unwrap().remove("refused");
    let face = Job::sized().laid("along-left", &open).face();
    assert!(face.missing[0].contains("no refused blade at 210 mm"), "{:?}", face.missing);
    let face = Job::sized().laid("along-left", &open[..2]).face();
    assert!(face.missing[0].contains("fewer than three"), "{:?}", face.missing);
}

#[test]
fn readings_that_no_face_explains_name_the_place() {
    let mut job = all(SIX, 0.01, &|_| 0.0);
    // A second time along the left side, half a millimetre away from the first.
    job = job.laid(
        "along-left",
        &[
            json!({"along": mm(0.0), "refused": mm(0.01)}),
            json!({"along": mm(210.0), "enters": mm(0.5), "refused": mm(0.51)}),
            json!({"along": mm(420.0), "refused": mm(0.01)}),
        ],
    );
    let face = job.face();
    assert!(
        face.missing[0].contains("no face explains") && face.missing[0].contains("along left"),
        "{:?}",
        face.missing
    );
    assert!(face.next_move.unwrap().contains("once more"));
}

#[test]
fn turning_a_line_round_or_packing_one_up_changes_nothing() {
    let face = |at: [f64; 2]| bow(0.09)(at) + twist(0.04)(at);
    let straight = all(SIX, 0.01, &face).face();
    let turned = SIX.iter().fold(Job::sized(), |job, name| {
        let line = line(name);
        let mut ends = line.ends;
        ends.reverse();
        let back = Line::named(&format!("{}-{}", ends[0], ends[1])).expect("a line from its other end");
        job.laid(&back.spot(), &read(&back, 5, 0.01, &face))
    });
    let turned = turned.face();
    let (one, other) = (straight.flatness.unwrap(), turned.flatness.unwrap());
    assert!(
        (one.least - other.least).abs() < 2e-4 && (one.greatest - other.greatest).abs() < 2e-4,
        "{one:?} {other:?}"
    );
    assert_eq!(straight.verdict, turned.verdict);
    // An edge on two blades: every gap of the line is larger by as much, and the face is the same.
    let packed = |by: f64| {
        let job = SIX.iter().fold(Job::sized(), |job, name| {
            let mut stations = read(&line(name), 5, 0.01, &face);
            for station in &mut stations {
                for blade in ["enters", "refused"] {
                    let was = station.get(blade).map_or(0.0, |f| f["text"].as_str().unwrap().parse::<f64>().unwrap());
                    station[blade] = mm(was + by);
                }
            }
            job.laid(name, &stations)
        });
        job.face().flatness.unwrap()
    };
    let (thin, thick) = (packed(0.2), packed(0.3));
    assert!(
        (thin.least - thick.least).abs() < 2e-4 && (thin.greatest - thick.greatest).abs() < 2e-4,
        "{thin:?} {thick:?}"
    );
    // Only an edge on the face itself knows that no gap is below nought: that narrows and never widens.
    assert!(thin.least <= one.least + 1e-9 && thin.greatest >= one.greatest - 1e-9, "{thin:?} {one:?}");
}

#[test]
fn the_worst_stretch_is_told_where_stations_stand_close_enough() {
    let coarse = all(SIX, 0.01, &bow(0.2)).face();
    // Five stations on 420 mm stand 105 mm apart: three of them take 210 mm; across, three lie within 87.5.
    assert!(coarse.stretch.as_ref().is_none_or(|s| s.line.starts_with("across")), "{:?}", coarse.stretch);
    let fine = SIX.iter().fold(Job::sized(), |job, name| job.laid(name, &read(&line(name), 9, 0.01, &bow(0.2))));
    let fine = fine.face();
    let worst = fine.stretch.unwrap();
    // Three stations span 105 mm of a parabola that is 0.2 deep over 420: the depth goes with the square of the span.
    let truth = 0.2 * (105.0_f64 / 420.0).powi(2);
    assert!(worst.straightness.least <= truth && truth <= worst.straightness.greatest, "{worst:?} {truth}");
    assert!((worst.from_to[1] - worst.from_to[0]) <= 151.0);
    assert!(worst.judged.is_some(), "it is held against the limit for six inches");
}

#[test]
fn a_doubted_gauge_takes_its_lines_off_the_face() {
    let job = all(SIX, 0.01, &bow(0.2)).and("gauge-doubted", &json!({"label": "SE-2", "reason": "dropped"}));
    let (faces, findings) = job.judged();
    assert_eq!(faces, Vec::new());
    assert!(findings.iter().all(|f| f.measure_again && !f.whole_face));
}

#[test]
fn every_line_is_found_by_name_and_by_its_ends_from_either_of_them() {
    for line in LINES {
        let [a, b] = line.ends;
        for text in [line.name.to_owned(), format!("line-{a}-{b}"), format!("{a}-{b}").to_lowercase()] {
            assert_eq!(Line::named(&text), Some(*line), "{text}");
        }
        let back = Line::named(&format!("{b}{a}")).unwrap();
        assert_eq!((back.from, back.to, back.spot()), (line.to, line.from, format!("line-{b}-{a}")));
        assert_eq!(Line::named(&back.spot()), Some(back));
        assert_eq!(Line::named(&line.spot()), Some(*line));
    }
    for text in ["A-B", "along-top", "", "A-F-C", "line"] {
        assert_eq!(Line::named(text), None, "{text}");
    }
}
