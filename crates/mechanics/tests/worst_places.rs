//! The worst stretch of a line and the worst window of a face against trying them all, and the calculators that show them.

#![expect(clippy::unwrap_used, clippy::indexing_slicing, reason = "the helpers of a test may fail it")]

mod heads;

use mechanics::flatness::{Point, minimum_zone, worst_stretch, worst_window};
use mechanics::{CalcError, calculate};
use proptest::prelude::*;

/// The profile's height at a place, straight between stations.
fn height(points: &[[f64; 2]], at: f64) -> f64 {
    let two = points.windows(2).find(|two| at <= two[1][0]).unwrap();
    two[0][1] + (two[1][1] - two[0][1]) * (at - two[0][0]) / (two[1][0] - two[0][0])
}

/// The zone along the heights by trying every three points of a stretch.
fn zone(points: &[[f64; 2]]) -> f64 {
    let mut largest = 0.0_f64;
    for (i, a) in points.iter().enumerate() {
        for (j, b) in points.iter().enumerate().skip(i + 1) {
            for c in &points[j + 1..] {
                largest = largest.max((a[1] + (c[1] - a[1]) * (b[0] - a[0]) / (c[0] - a[0]) - b[1]).abs());
            }
        }
    }
    largest
}

fn profile() -> impl Strategy<Value = Vec<[f64; 2]>> {
    prop::collection::vec((5.0..90.0_f64, -0.1..0.1_f64), 4..11).prop_map(|steps| {
        let mut at = 0.0;
        steps
            .into_iter()
            .map(|(step, height)| {
                at += step;
                [at, height]
            })
            .collect()
    })
}

proptest! {
    #[test]
    fn no_stretch_tried_is_worse_and_the_one_named_is_as_bad(points in profile(), length in 20.0..200.0_f64) {
        let (worst, from) = worst_stretch(&points, length).unwrap();
        let (first, last) = (points[0][0], points[points.len() - 1][0]);
        let stretch = |start: f64| {
            let end = (start + length).min(last);
            let mut inside = vec![[start, height(&points, start)]];
            inside.extend(points.iter().filter(|p| p[0] > start && p[0] < end));
            inside.push([end, height(&points, end)]);
            zone(&inside)
        };
        prop_assert!((stretch(from) - worst).abs() < 1e-9, "{} {worst}", stretch(from));
        let room = (last - first - length).max(0.0);
        for k in 0..=200_u32 {
            let tried = stretch(first + room * f64::from(k) / 200.0);
            prop_assert!(tried <= worst + 1e-9, "{tried} {worst}");
        }
    }

    #[test]
    fn no_window_tried_is_worse_and_the_one_named_is_as_bad(
        points in prop::collection::vec((0.0..400.0_f64, 0.0..160.0_f64, -0.1..0.1_f64).prop_map(|(x, y, z)| [x, y, z]), 6..40),
        size in 60.0..250.0_f64,
    ) {
        let inside = |x: f64, y: f64| -> Vec<Point> {
            points.iter().filter(|p| p[0] >= x && p[0] <= x + size && p[1] >= y && p[1] <= y + size).copied().collect()
        };
        let worst = worst_window(&points, size).unwrap();
        let most = worst.map_or(0.0, |worst| worst.width);
        if let Some(worst) = worst {
            let named = inside(worst.corner[0], worst.corner[1]);
            prop_assert_eq!(named.len(), worst.points);
            prop_assert!((minimum_zone(&named).unwrap().width - most).abs() < 1e-12);
        }
        for i in -8..40_i32 {
            for j in -8..16_i32 {
                if let Ok(tried) = minimum_zone(&inside(f64::from(i) * 10.0, f64::from(j) * 10.0)) {
                    prop_assert!(tried.width <= most + 1e-12, "{} {most}", tried.width);
                }
            }
        }
    }
}

#[test]
fn a_step_and_a_bow_have_the_stretch_worked_by_hand() {
    // A ridge of 0.06 in the middle of 600 mm of straight line: a stretch of 150 mm with it in its middle rises by
    // 0.06 * 75 / 300 = 0.015 over its ends.
    let ridge = [[0.0, 0.0], [300.0, 0.06], [600.0, 0.0]];
    let (worst, from) = worst_stretch(&ridge, 150.0).unwrap();
    assert!((worst - 0.015).abs() < 1e-12 && (from - 225.0).abs() < 1e-9, "{worst} {from}");
    // A dip of one station: the whole dip counts.
    let dip = [[0.0, 0.0], [50.0, 0.0], [100.0, -0.03], [150.0, 0.0], [600.0, 0.0]];
    assert!((worst_stretch(&dip, 150.0).unwrap().0 - 0.03).abs() < 1e-12);
    assert!((worst_stretch(&dip, 900.0).unwrap().0 - 0.03).abs() < 1e-12);
}

#[test]
fn the_grid_calculator_names_the_worst_window_of_the_sunk_head_at_its_sink() {
    let head = heads::all().remove("sunk_between_cylinders").unwrap();
    let text: Vec<String> = head.dial.iter().map(|p| format!("{},{},{}", p[0], p[1], p[2])).collect();
    let answer = calculate("flatness-grid", &[("points", &text.join("\n"))]).unwrap();
    let (worst, whole) = (answer.value("worst_window").unwrap(), answer.value("minimum_zone").unwrap());
    let along = answer.value("window_along").unwrap();
    // The sink of 0.085 lies at 220 mm, by the head's recipe.
    assert!(worst <= whole && worst > 0.08 && along < 220.0 && along + 150.0 > 220.0, "{worst} {whole} {along}");
}

fn rows(head: &heads::Head) -> String {
    let mut text = vec!["line, x, y, passes, refused".to_owned()];
    for (number, line) in head.lines.iter().enumerate() {
        for s in line {
            text.push(format!("{}, {}, {}, {}, {}", number + 1, s.place[0], s.place[1], s.passes, s.refused));
        }
    }
    text.join("\n")
}

#[test]
fn the_straightedge_calculator_gives_the_interval_of_the_head() {
    let head = heads::all().remove("twisted").unwrap();
    let answer = calculate("flatness-straightedge", &[("readings", &rows(&head))]).unwrap();
    let truth = head.known["true_flatness_on_stations"].as_f64().unwrap();
    assert!(answer.value("least").unwrap() < truth && truth < answer.value("greatest").unwrap());
    // The thickest blade shows half of the twist.
    assert!((answer.value("largest_gap").unwrap() - 0.06).abs() < 1e-12);
    assert!(
        answer.notes.iter().any(|note| note.contains("is proved")) && answer.notes.iter().any(|n| n.contains("unseen"))
    );
    let quick = calculate("flatness-straightedge", &[("readings", &rows(&head)), ("search", "quick")]).unwrap();
    assert!(quick.value("greatest").unwrap() >= answer.value("greatest").unwrap());
    assert!(quick.notes.iter().any(|note| note.contains("ceiling")));
    // Inches in the heading, the same head.
    let inches = rows(&head).replace("passes, refused", "passes (mm), refused (mm)");
    assert_eq!(calculate("flatness-straightedge", &[("readings", &inches)]).unwrap().results, answer.results);
}

#[test]
fn an_edge_that_is_worse_widens_the_interval_and_gaps_by_dial_narrow_it() {
    let head = heads::all().remove("bowed").unwrap();
    let with = |error: &str| {
        let answer = calculate("flatness-straightedge", &[("readings", &rows(&head)), ("edge_error", error)]).unwrap();
        (answer.value("least").unwrap(), answer.value("greatest").unwrap())
    };
    let (good, bad) = (with("0.002 mm"), with("0.02 mm"));
    assert!(bad.0 < good.0 && bad.1 > good.1, "{good:?} {bad:?}");
}

#[test]
fn what_does_not_go_together_is_refused_by_name() {
    let text = |pairs: &[(&str, &str)]| match calculate("flatness-straightedge", pairs) {
        Err(error) => error.to_string(),
        Ok(answer) => panic!("{answer:?}"),
    };
    assert!(matches!(calculate("flatness-straightedge", &[]), Err(CalcError::MissingKey { key: "readings", .. })));
    assert!(text(&[("readings", "1,0,0,0,0.03"), ("gaps", "0,0; 1,0; 2,0")]).contains("readings and gaps"));
    assert!(text(&[("readings", "1,0,0")]).contains("readings has 3 columns"));
    assert!(text(&[("readings", "1,0,0,0,0.03; 1,50,0,0,0.03; 1,100,0,0,0.03")]).contains("lines"));
    assert!(text(&[("gaps", "0,0; 50,0.01")]).contains("at least three"));
    assert!(text(&[("gaps", "0,0; 50,0.01; 40,0")]).contains("gaps"));
    assert!(text(&[("gaps", "0,0; 50,0.01; 90,0"), ("edge_error", "2 mm")]).contains("between 0 and 1"));
}

// Value by: nudging each height by a micrometre both ways and asking again; the root of the sum of squares of what that moves is
// what one doubt in every height comes to (JCGM 100:2008, 5.1.2). Digits: a nudge keeps the same points high and low.
#[test]
fn the_doubts_of_the_grid_are_what_nudging_every_height_says() {
    let head = heads::all().remove("sunk_between_cylinders").unwrap();
    let points: Vec<[f64; 3]> = head.dial.iter().step_by(4).map(|p| [p[0], p[1], p[2]]).collect();
    let answer = |points: &[[f64; 3]]| {
        let text: Vec<String> = points.iter().map(|p| format!("{},{},{:.9}", p[0], p[1], p[2])).collect();
        calculate("flatness-grid", &[("points", &text.join("\n")), ("u", "2 um"), ("window", "200 mm")]).unwrap()
    };
    let told = answer(&points);
    for key in ["minimum_zone", "least_squares", "worst_window"] {
        let nudge = 1e-6;
        let moved = |k: usize, by: f64| {
            let mut other = points.clone();
            other[k][2] += by;
            answer(&other).value(key).unwrap()
        };
        let sum: f64 = (0..points.len()).map(|k| ((moved(k, nudge) - moved(k, -nudge)) / (2.0 * nudge)).powi(2)).sum();
        let u = told.line(key).and_then(|line| line.u).unwrap();
        assert!((u - 0.002 * sum.sqrt()).abs() < 1e-6, "{key}: {u} against {}", 0.002 * sum.sqrt());
    }
}

#[test]
fn a_pyramid_has_the_doubt_of_least_squares_worked_by_hand() {
    // Four corners at nought, the middle at 0.05: plane and corners move so that the square of it is 2 - 1/4 - 1/4.
    let answer =
        calculate("flatness-grid", &[("points", "-1,-1,0; 1,-1,0; -1,1,0; 1,1,0; 0,0,0.05"), ("u", "2 um")]).unwrap();
    let u = answer.line("least_squares").and_then(|line| line.u).unwrap();
    assert!((u - 0.002 * 1.5_f64.sqrt()).abs() < 1e-9, "{u}");
}
