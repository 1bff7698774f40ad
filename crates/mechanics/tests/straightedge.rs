//! The interval of flatness from straightedge and feelers, against another solver and against faces that are known.
//!
//! Source:   reference/faces/straightedge.json, made by reference/faces/straightedge.py
//! Value by: `HiGHS` 1.16.0 through `SciPy` 1.17.1 (least, kink index) and highspy (greatest): another solver, warm-started on
//!           another form of the programme; the truth at the stations is the answer key of the five heads
//! Digits:   2e-7 mm: bounds are let out here by a thousandth of a micrometre so that no programmes tie, and the kink limit
//!           moves with them

#![expect(clippy::unwrap_used, clippy::indexing_slicing, reason = "the helpers of a test may fail it")]

mod heads;

use mechanics::flatness::{Point, minimum_zone};
use mechanics::straightedge::{
    EdgeAssumptions, EdgeLine, EdgeStation, EdgeSurvey, StraightedgeError, stretch_interval,
};
use proptest::prelude::*;
use serde_json::Value;

fn reference() -> Value {
    serde_json::from_str(include_str!("../../../reference/faces/straightedge.json")).unwrap()
}

#[test]
fn five_heads_have_the_interval_of_the_other_solver_and_hold_the_truth() {
    let reference = reference();
    for (name, head) in heads::all() {
        let expected = &reference["heads"][&name];
        let survey = EdgeSurvey::new(&head.lines, heads::ASSUMED).unwrap();
        assert_eq!(survey.stations().len(), 29, "{name}");
        let near = |what: &str, got: f64| {
            let theirs = expected[what].as_f64().unwrap();
            assert!((got - theirs).abs() < 2e-7, "{name} {what}: got {got}, the other solver says {theirs}");
        };
        near("kink_index", survey.kink_index());
        let interval = survey.interval(&mut |_| true).unwrap();
        near("least", interval.least);
        near("greatest", interval.found);
        assert!(interval.proved(), "{name} {interval:?}");
        let truth = head.known["true_flatness_on_stations"].as_f64().unwrap();
        assert!(interval.least <= truth && truth <= interval.found, "{name}: {truth} outside {interval:?}");
        let quick = survey.quick().unwrap();
        assert!(quick.ceiling >= interval.ceiling && quick.found <= interval.found + 1e-9, "{name} {quick:?}");
        assert!((quick.least - interval.least).abs() < 1e-12);
        let free = EdgeSurvey::new(&head.lines, EdgeAssumptions { kink_allowance: None, ..heads::ASSUMED }).unwrap();
        near("least_without_limit", free.least().unwrap());
        assert!(free.quick().unwrap().ceiling >= quick.ceiling - 1e-6, "{name}: a limit cannot widen the interval");
    }
}

// Source:   reference/faces/small_surveys.json, made by reference/faces/small_surveys.py
// Value by: `HiGHS` through `SciPy` 1.17.1; every circuit of nine stations solved on its own, nothing pruned
// Digits:   3e-7 mm, as above; circuits measure along the heights, as the ceiling does
#[test]
fn small_surveys_of_chance_have_the_interval_of_all_circuits_or_are_refused() {
    let file: Value = serde_json::from_str(include_str!("../../../reference/faces/small_surveys.json")).unwrap();
    let mut refused = 0;
    for (number, survey) in file["surveys"].as_array().unwrap().iter().enumerate() {
        let station = |s: &Value| {
            let at = |k: usize| s[k].as_f64().unwrap();
            EdgeStation { place: [at(0), at(1)], passes: at(2), refused: at(3) }
        };
        let lines: Vec<EdgeLine> = survey["lines"]
            .as_array()
            .unwrap()
            .iter()
            .map(|line| line.as_array().unwrap().iter().map(station).collect())
            .collect();
        let expected = &survey["answer"];
        if expected.is_null() {
            refused += 1;
            let error = EdgeSurvey::new(&lines, heads::ASSUMED).unwrap_err();
            assert!(matches!(error, StraightedgeError::Contradiction { .. }), "{number}: {error}");
            continue;
        }
        for (kind, kink_allowance) in [("limited", Some(0.005)), ("free", None)] {
            let ready = EdgeSurvey::new(&lines, EdgeAssumptions { kink_allowance, ..heads::ASSUMED }).unwrap();
            let interval = ready.interval(&mut |_| true).unwrap();
            let near = |what: &str, got: f64, theirs: &Value| {
                let theirs = theirs.as_f64().unwrap();
                assert!((got - theirs).abs() < 3e-7, "{number} {kind} {what}: {got} against {theirs}");
            };
            near("kink index", ready.kink_index(), &expected["kink_index"]);
            near("least", interval.least, &expected[kind]["least"]);
            near("greatest", interval.ceiling, &expected[kind]["greatest"]);
            assert!(interval.proved() && ready.quick().unwrap().ceiling >= interval.found - 1e-9);
        }
    }
    assert!(refused > 0 && refused < 30, "{refused}");
}

#[test]
fn a_search_told_to_stop_keeps_a_ceiling_above_the_proved_greatest() {
    let head = heads::all().remove("bowed").unwrap();
    let survey = EdgeSurvey::new(&head.lines, heads::ASSUMED).unwrap();
    let proved = survey.interval(&mut |_| true).unwrap();
    let mut heard = Vec::new();
    let stopped = survey
        .interval(&mut |progress| {
            heard.push(progress);
            heard.len() < 5
        })
        .unwrap();
    assert_eq!(heard.len(), 5);
    assert!(heard.windows(2).all(|two| two[0].ceiling >= two[1].ceiling && two[0].found <= two[1].found), "{heard:?}");
    assert!(heard.iter().all(|progress| progress.ceiling >= proved.found && progress.done < progress.of));
    assert!(!stopped.proved() && stopped.ceiling >= proved.found && stopped.found <= proved.found + 1e-9);
}

#[test]
fn the_middle_face_explains_the_readings_and_lies_in_its_ranges() {
    for (name, head) in heads::all() {
        let survey = EdgeSurvey::new(&head.lines, heads::ASSUMED).unwrap();
        let middle = survey.middle().unwrap();
        assert!(middle.iter().all(|at| at.low - 1e-8 <= at.height && at.height <= at.high + 1e-8), "{name}");
        let points: Vec<Point> =
            survey.stations().iter().zip(&middle).map(|(place, height)| [place[0], place[1], height.height]).collect();
        let width = minimum_zone(&points).unwrap().width;
        let interval = survey.interval(&mut |_| true).unwrap();
        assert!(interval.least - 1e-8 <= width && width <= interval.found + 1e-8, "{name}: {width} {interval:?}");
    }
}

/// Three lines along, three across and both diagonals, through shared stations, of a face of 400 by 140 mm. Without the
/// diagonals a twist changes no gap: it is straight along every line of the other two kinds.
fn lattice() -> Vec<Vec<[f64; 2]>> {
    let (along, across) = ([0.0, 100.0, 200.0, 300.0, 400.0], [0.0, 70.0, 140.0]);
    let mut lines: Vec<Vec<[f64; 2]>> = across.iter().map(|y| along.iter().map(|x| [*x, *y]).collect()).collect();
    lines.extend([0.0, 200.0, 400.0].iter().map(|x| across.iter().map(|y| [*x, *y]).collect::<Vec<_>>()));
    lines.push(vec![[0.0, 0.0], [200.0, 70.0], [400.0, 140.0]]);
    lines.push(vec![[0.0, 140.0], [200.0, 70.0], [400.0, 0.0]]);
    lines
}

/// Gaps of a face under an edge that lies on its two highest places round the middle, read between blades 0.01 mm apart.
fn measured(lines: &[Vec<[f64; 2]>], face: impl Fn([f64; 2]) -> f64) -> Vec<EdgeLine> {
    let mut exact = exactly(lines, face);
    for station in exact.iter_mut().flatten() {
        station.passes = (station.passes * 100.0 + 1e-9).floor() / 100.0;
        station.refused = station.passes + 0.01;
    }
    exact
}

/// The same gaps as they are.
fn exactly(lines: &[Vec<[f64; 2]>], face: impl Fn([f64; 2]) -> f64) -> Vec<EdgeLine> {
    let one = |line: &Vec<[f64; 2]>| {
        let along: Vec<f64> = line.iter().map(|p| (p[0] - line[0][0]).hypot(p[1] - line[0][1])).collect();
        let heights: Vec<f64> = line.iter().map(|p| face(*p)).collect();
        let middle = along.last().unwrap() / 2.0;
        let mut edge: Option<Vec<f64>> = None;
        for i in 0..line.len() {
            for j in i + 1..line.len() {
                let slope = (heights[j] - heights[i]) / (along[j] - along[i]);
                let over: Vec<f64> = along.iter().map(|s| heights[i] + slope * (s - along[i])).collect();
                let rests = over.iter().zip(&heights).all(|(edge, height)| edge - height >= -1e-12);
                if rests && along[i] <= middle && middle <= along[j] {
                    edge = Some(over);
                }
            }
        }
        let gaps = edge.unwrap().into_iter().zip(heights).map(|(edge, height)| (edge - height).max(0.0));
        let station = |(place, gap): (&[f64; 2], f64)| EdgeStation { place: *place, passes: gap, refused: gap };
        line.iter().zip(gaps).map(station).collect()
    };
    lines.iter().map(one).collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    #[test]
    fn the_interval_holds_any_smooth_face_that_made_the_readings(
        bow in -0.1..0.1_f64, twist in -0.1..0.1_f64, crown in -0.03..0.03_f64, edge_u in 0.0..0.004_f64,
    ) {
        let face = |p: [f64; 2]| {
            let (u, v) = (p[0] / 200.0 - 1.0, p[1] / 70.0 - 1.0);
            bow * u * u + twist * u * v + crown * v * v
        };
        let lines = measured(&lattice(), face);
        // A bow of 0.1 over 400 mm kinks by 0.025 at stations 100 mm apart; the allowance leaves room for it.
        let assumed = EdgeAssumptions { edge_u, blade_u: 0.003, kink_allowance: Some(0.04) };
        let survey = EdgeSurvey::new(&lines, assumed).unwrap();
        let interval = survey.interval(&mut |_| true).unwrap();
        let points: Vec<Point> = survey.stations().iter().map(|p| [p[0], p[1], face(*p)]).collect();
        let truth = minimum_zone(&points).unwrap().width;
        prop_assert!(interval.least - 1e-8 <= truth && truth <= interval.found + 1e-8, "{truth} {interval:?}");
        prop_assert!(interval.proved() && survey.quick().unwrap().ceiling >= interval.found - 1e-9);
    }

    #[test]
    fn the_interval_does_not_hang_on_which_way_and_in_which_sequence_lines_are_laid(
        bow in -0.1..0.1_f64, twist in -0.1..0.1_f64, turn in 0..8_usize,
    ) {
        let lines = measured(&lattice(), |p| bow * (p[0] / 200.0 - 1.0).powi(2) + twist * (p[0] / 200.0 - 1.0) * (p[1] / 70.0 - 1.0));
        let first = EdgeSurvey::new(&lines, heads::ASSUMED).unwrap().interval(&mut |_| true).unwrap();
        let mut other = lines.clone();
        other.rotate_left(turn);
        for line in &mut other {
            line.reverse();
            for station in line.iter_mut() {
                station.place = [1000.0 - station.place[1], 20.0 + station.place[0]];
            }
        }
        let second = EdgeSurvey::new(&other, heads::ASSUMED).unwrap().interval(&mut |_| true).unwrap();
        prop_assert!((first.least - second.least).abs() < 2e-7 && (first.found - second.found).abs() < 2e-7, "{first:?} {second:?}");
    }
}

#[test]
fn gaps_known_exactly_leave_one_flatness() {
    let face = |p: [f64; 2]| {
        let (u, v) = (p[0] / 200.0 - 1.0, p[1] / 70.0 - 1.0);
        0.06 * u * u - 0.04 * u * v + 0.02 * v * v + 0.01 * u * u * u
    };
    let exact = EdgeAssumptions { edge_u: 0.0, blade_u: 0.0, kink_allowance: Some(0.005) };
    let survey = EdgeSurvey::new(&exactly(&lattice(), face), exact).unwrap();
    let interval = survey.interval(&mut |_| true).unwrap();
    let points: Vec<Point> = survey.stations().iter().map(|p| [p[0], p[1], face(*p)]).collect();
    let truth = minimum_zone(&points).unwrap().width;
    assert!((interval.least - truth).abs() < 1e-6 && (interval.ceiling - truth).abs() < 1e-6, "{truth} {interval:?}");
}

#[test]
fn a_face_with_more_stations_than_are_enumerated_still_has_a_proved_ceiling() {
    // 13 by 5 stations, lines along and across through all of them, and both diagonals through shared ones.
    let step = |k: u32, by: f64| f64::from(k) * by;
    let mut lines: Vec<Vec<[f64; 2]>> =
        (0..5).map(|r| (0..13).map(|c| [step(c, 30.0), step(r, 35.0)]).collect()).collect();
    lines.extend((0..13).map(|c| (0..5).map(|r| [step(c, 30.0), step(r, 35.0)]).collect::<Vec<_>>()));
    lines.push((0..5).map(|k| [step(k, 90.0), step(k, 35.0)]).collect());
    lines.push((0..5).map(|k| [step(k, 90.0), 140.0 - step(k, 35.0)]).collect());
    let face = |p: [f64; 2]| 0.05 * (p[0] / 180.0 - 1.0).powi(2) + 0.04 * (p[0] / 180.0 - 1.0) * (p[1] / 70.0 - 1.0);
    let survey = EdgeSurvey::new(&measured(&lines, face), heads::ASSUMED).unwrap();
    assert_eq!(survey.stations().len(), 65);
    let interval = survey.interval(&mut |_| panic!("nothing to enumerate")).unwrap();
    let points: Vec<Point> = survey.stations().iter().map(|p| [p[0], p[1], face(*p)]).collect();
    let truth = minimum_zone(&points).unwrap().width;
    assert!(interval.least <= truth && truth <= interval.ceiling, "{truth} {interval:?}");
    assert!(interval.found <= interval.ceiling && interval.ceiling < 5.0 * truth, "{truth} {interval:?}");
}

fn flat_lines(places: &[&[[f64; 2]]]) -> Vec<EdgeLine> {
    places
        .iter()
        .map(|line| line.iter().map(|place| EdgeStation { place: *place, passes: 0.0, refused: 0.03 }).collect())
        .collect()
}

#[test]
fn crosswise_lines_that_miss_the_stations_are_refused_with_the_places_to_add() {
    let lines = flat_lines(&[
        &[[0.0, 0.0], [200.0, 0.0], [400.0, 0.0]],
        &[[0.0, 70.0], [200.0, 70.0], [400.0, 70.0]],
        &[[0.0, 140.0], [200.0, 140.0], [400.0, 140.0]],
        &[[100.0, 5.0], [100.0, 75.0], [100.0, 135.0]],
    ]);
    let error = EdgeSurvey::new(&lines, heads::ASSUMED).unwrap_err().to_string();
    for part in ["line 4", "(100, 70) on line 2"] {
        assert!(error.contains(part), "{error}");
    }
}

#[test]
fn lines_that_leave_the_face_loose_are_refused_with_the_line_to_add() {
    let lines = flat_lines(&[
        &[[0.0, 0.0], [200.0, 0.0], [400.0, 0.0]],
        &[[0.0, 70.0], [200.0, 70.0], [400.0, 70.0]],
        &[[0.0, 140.0], [200.0, 140.0], [400.0, 140.0]],
        &[[200.0, 0.0], [200.0, 70.0], [200.0, 140.0]],
        &[[0.0, 0.0], [200.0, 70.0], [400.0, 140.0]],
    ]);
    let Err(StraightedgeError::Loose { add, .. }) = EdgeSurvey::new(&lines, heads::ASSUMED) else {
        panic!("a loose pattern was taken")
    };
    assert!(add.starts_with("add a line with stations at (0, "), "{add}");
    // What it says to add does help: the crosswise ends tie the twist.
    let mut more = lines;
    more.extend(flat_lines(&[
        &[[0.0, 0.0], [0.0, 70.0], [0.0, 140.0]],
        &[[400.0, 0.0], [400.0, 70.0], [400.0, 140.0]],
    ]));
    assert!(EdgeSurvey::new(&more, heads::ASSUMED).is_ok());
}

#[test]
fn what_is_mistyped_is_named_with_line_and_station() {
    let good = flat_lines(&lattice().iter().map(Vec::as_slice).collect::<Vec<_>>());
    let with = |change: &dyn Fn(&mut Vec<EdgeLine>)| {
        let mut lines = good.clone();
        change(&mut lines);
        EdgeSurvey::new(&lines, heads::ASSUMED).unwrap_err().to_string()
    };
    let cases = [
        (with(&|lines| lines[1][2].place[1] += 9.0), "station 3 of line 2 lies 9.0 mm beside"),
        (with(&|lines| lines[3].truncate(2)), "line 4 has 2 stations"),
        (with(&|lines| lines[0].swap(1, 2)), "station 3 of line 1"),
        (with(&|lines| lines[0][1].passes = 0.5), "station 2 of line 1: the blade of 0.5 mm passes"),
        (with(&|lines| lines[2][1].passes = -0.1), "station 2 of line 3: a blade of -0.1 mm is below zero"),
        (with(&|lines| lines[2][0].refused = f64::NAN), "station 1 of line 3: NaN is no place or gap"),
        // A hollow under both diagonals and under no line along or across.
        (
            with(&|lines| {
                for line in [6, 7] {
                    (lines[line][1].passes, lines[line][1].refused) = (0.3, 0.35);
                }
            }),
            "no face explains these readings",
        ),
        (with(&|lines| lines.truncate(6)), "add a line with stations at"),
    ];
    for (got, expected) in &cases {
        assert!(got.contains(expected), "{got:?} lacks {expected:?}");
    }
}

/// The least strip that meets every upright gap, by another road: for one slope the strip must reach from the lowest of the
/// upper ends to the highest of the lower ends; the slopes that matter join two ends.
fn least_strip(stations: &[(f64, f64, f64)]) -> f64 {
    let ends: Vec<[f64; 2]> = stations.iter().flat_map(|s| [[s.0, s.1], [s.0, s.2]]).collect();
    let mut least = f64::INFINITY;
    for a in &ends {
        for b in ends.iter().filter(|b| b[0] > a[0]) {
            let slope = (b[1] - a[1]) / (b[0] - a[0]);
            let high = stations.iter().map(|s| s.1 - slope * s.0).fold(f64::NEG_INFINITY, f64::max);
            let low = stations.iter().map(|s| s.2 - slope * s.0).fold(f64::INFINITY, f64::min);
            least = least.min((high - low).max(0.0));
        }
    }
    least
}

/// The widest strip that some choice of heights needs: every choice of ends, each with its smallest zone.
fn widest_strip(stations: &[(f64, f64, f64)]) -> f64 {
    (0..1_u32 << stations.len())
        .map(|choice| {
            let heights: Vec<(f64, f64, f64)> = stations
                .iter()
                .enumerate()
                .map(|(k, s)| if choice >> k & 1 == 0 { (s.0, s.1, s.1) } else { (s.0, s.2, s.2) })
                .collect();
            least_strip(&heights)
        })
        .fold(0.0, f64::max)
}

proptest! {
    #[test]
    fn the_interval_of_one_line_is_that_of_all_strips_and_turning_it_round_changes_nothing(
        gaps in prop::collection::vec((5.0..80.0_f64, 0.0..0.2_f64, 0.0..0.05_f64), 3..8),
        stretch in 60.0..400.0_f64,
    ) {
        let mut along = 0.0;
        let stations: Vec<(f64, f64, f64)> = gaps.iter().map(|(step, low, width)| { along += step; (along, *low, low + width) }).collect();
        let whole = stretch_interval(&stations, f64::INFINITY).unwrap();
        prop_assert!((whole.least - least_strip(&stations)).abs() < 1e-12, "{whole:?}");
        prop_assert!((whole.greatest - widest_strip(&stations)).abs() < 1e-12, "{whole:?}");
        let turned: Vec<(f64, f64, f64)> = stations.iter().rev().map(|s| (along + 1.0 - s.0, s.1, s.2)).collect();
        match (stretch_interval(&stations, stretch), stretch_interval(&turned, stretch)) {
            (Some(one), Some(other)) => {
                prop_assert!((one.least - other.least).abs() < 1e-12 && (one.greatest - other.greatest).abs() < 1e-12);
                prop_assert!(one.least <= one.greatest && one.greatest <= whole.greatest + 1e-12);
                prop_assert!(one.to - one.from <= stretch + 1.0);
            }
            (None, None) => {}
            (one, other) => prop_assert!(false, "{one:?} {other:?}"),
        }
        // Packing one end of the edge up changes every gap and no line.
        let packed: Vec<(f64, f64, f64)> = stations.iter().map(|s| (s.0, s.1 + 0.3 + 0.001 * s.0, s.2 + 0.3 + 0.001 * s.0)).collect();
        let packed = stretch_interval(&packed, f64::INFINITY).unwrap();
        prop_assert!((packed.least - whole.least).abs() < 1e-12 && (packed.greatest - whole.greatest).abs() < 1e-12);
    }
}

#[test]
fn two_stations_or_stations_out_of_sequence_say_nothing_of_a_stretch() {
    assert_eq!(stretch_interval(&[(0.0, 0.0, 0.1), (100.0, 0.0, 0.1)], 150.0), None);
    assert_eq!(stretch_interval(&[(0.0, 0.0, 0.1), (100.0, 0.0, 0.1), (200.0, 0.0, 0.1)], 150.0), None);
    assert_eq!(stretch_interval(&[(0.0, 0.0, 0.1), (0.0, 0.0, 0.1), (20.0, 0.0, 0.1)], 150.0), None);
}
