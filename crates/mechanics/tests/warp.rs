//! The face that a picture draws, against another algebra.
//!
//! Source:   reference/faces/warp.json, made by reference/faces/warp.py
//! Value by: `NumPy` 2.4.6, one bordered system of covariance and planes
//! Digits:   1e-8 mm, for the rounding of a system whose covariance spans six powers of ten

#![expect(clippy::unwrap_used, clippy::indexing_slicing, reason = "the helpers of a test may fail it")]

mod heads;

use mechanics::flatness::{Point, minimum_zone};
use mechanics::straightedge::EdgeSurvey;
use mechanics::warp::{
    WarpError, WarpFrame, WarpPoint, WarpPrior, WarpSurface, face_shape, warp_of_survey, warp_surface,
};
use serde_json::Value;

const FRAME: WarpFrame = WarpFrame { from: [0.0, 0.0], to: [440.0, 150.0], columns: 12, rows: 5, sight: 20.0 };

fn dial(head: &heads::Head, every: usize) -> Vec<WarpPoint> {
    head.dial.iter().step_by(every).map(|p| WarpPoint { place: [p[0], p[1]], height: p[2], u: 0.002 }).collect()
}

/// Heights over their own plane of least squares; a grid's columns are square to one another, so each is taken off alone.
fn level(surface: &WarpSurface) -> Vec<f64> {
    let mut height = surface.height.clone();
    let (columns, rows) = (surface.along.len(), surface.across.len());
    let mean = |numbers: &[f64]| numbers.iter().sum::<f64>() / f64::from(u32::try_from(numbers.len()).unwrap());
    let (x_mean, y_mean) = (mean(&surface.along), mean(&surface.across));
    let places: Vec<[f64; 3]> = (0..rows)
        .flat_map(|r| (0..columns).map(move |c| (r, c)))
        .map(|(r, c)| [1.0, surface.along[c] - x_mean, surface.across[r] - y_mean])
        .collect();
    for k in 0..3 {
        let part: f64 = places.iter().zip(&height).map(|(p, z)| p[k] * z).sum::<f64>()
            / places.iter().map(|p| p[k] * p[k]).sum::<f64>();
        for (z, p) in height.iter_mut().zip(&places) {
            *z -= part * p[k];
        }
    }
    height
}

#[test]
fn heights_and_doubts_are_those_of_the_other_algebra() {
    let reference: Value = serde_json::from_str(include_str!("../../../reference/faces/warp.json")).unwrap();
    for (name, expected) in reference["heads"].as_object().unwrap() {
        let head = heads::all().remove(name).unwrap();
        let surface = warp_surface(&dial(&head, 3), &[], &WarpPrior::USUAL, &FRAME).unwrap();
        let level = level(&surface);
        assert_eq!(level.len(), 60);
        for (k, (height, sd)) in level.iter().zip(&surface.sd).enumerate() {
            let (their_height, their_sd) =
                (expected["level"][k].as_f64().unwrap(), expected["sd"][k].as_f64().unwrap());
            assert!((height - their_height).abs() < 1e-8, "{name} {k}: {height} {their_height}");
            assert!((sd - their_sd).abs() < 1e-8, "{name} {k}: {sd} {their_sd}");
        }
    }
}

#[test]
fn a_tilt_of_the_part_changes_no_picture() {
    let head = heads::all().remove("bowed").unwrap();
    let points = dial(&head, 2);
    let tilted: Vec<WarpPoint> = points
        .iter()
        .map(|p| WarpPoint { height: p.height + 2.0 + 0.001 * p.place[0] - 0.002 * p.place[1], ..*p })
        .collect();
    let one = warp_surface(&points, &[], &WarpPrior::USUAL, &FRAME).unwrap();
    let other = warp_surface(&tilted, &[], &WarpPrior::USUAL, &FRAME).unwrap();
    for (a, b) in one.height.iter().zip(&other.height) {
        assert!((a - b).abs() < 1e-6, "{a} {b}");
    }
}

#[test]
fn a_face_measured_well_is_drawn_within_its_doubt_and_ground_far_off_is_unseen() {
    let head = heads::all().remove("twisted").unwrap();
    let near: Vec<WarpPoint> = dial(&head, 1).into_iter().filter(|p| p.place[0] < 250.0).collect();
    let surface = warp_surface(&near, &[], &WarpPrior::USUAL, &FRAME).unwrap();
    for (k, seen) in surface.seen.iter().enumerate() {
        let x = surface.along[k % 12];
        assert_eq!(*seen, x < 255.0, "{x}");
    }
    // Doubt is larger where nothing was measured.
    assert!(surface.sd[11] > 5.0 * surface.sd[3], "{} {}", surface.sd[11], surface.sd[3]);
    // A line across the far ground makes it seen, and nothing else.
    let with_line = warp_surface(&near, &[[[440.0, 0.0], [440.0, 150.0]]], &WarpPrior::USUAL, &FRAME).unwrap();
    assert!(with_line.seen[11] && !with_line.seen[9] && with_line.height == surface.height);
}

#[test]
fn a_straightedge_face_is_near_the_truth_where_lines_were_laid() {
    // The head's recipe: twist 0.07, bow 0.01, waves of 0.003; half of the twist is 0.06 of flatness.
    let head = heads::all().remove("twisted").unwrap();
    let survey = EdgeSurvey::new(&head.lines, heads::ASSUMED).unwrap();
    let surface = warp_of_survey(&survey, &[], &WarpPrior::USUAL, &FRAME).unwrap();
    let points: Vec<Point> =
        (0..60).map(|k| [surface.along[k % 12], surface.across[k / 12], surface.height[k]]).collect();
    let width = minimum_zone(&points).unwrap().width;
    let interval = survey.interval(&mut |_| true).unwrap();
    assert!(width > interval.least && width < 1.4 * interval.found, "{width} {interval:?}");
}

#[test]
fn what_cannot_be_drawn_is_refused_with_its_range() {
    let head = heads::all().remove("bowed").unwrap();
    let points = dial(&head, 1);
    let said = |points: &[WarpPoint], prior: &WarpPrior, frame: &WarpFrame| {
        warp_surface(points, &[], prior, frame).unwrap_err().to_string()
    };
    assert!(said(&points, &WarpPrior::USUAL, &WarpFrame { columns: 1, ..FRAME }).contains("between 2 and 1000"));
    assert!(said(&points, &WarpPrior::USUAL, &WarpFrame { to: [-1.0, 5.0], ..FRAME }).contains("above its lower end"));
    assert!(said(&points, &WarpPrior { reach: 0.0, ..WarpPrior::USUAL }, &FRAME).contains("reach above zero"));
    assert!(said(&points[..3], &WarpPrior::USUAL, &FRAME).contains("at least four"));
    let many = vec![points[0]; 2001];
    assert_eq!(warp_surface(&many, &[], &WarpPrior::USUAL, &FRAME), Err(WarpError::TooMany { count: 2001 }));
}

// Value by: the face is put together from its own bow, crown and twist, so that the answer is known without fitting.
#[test]
fn bow_crown_twist_and_a_local_sink_are_told_apart() {
    let face = |bow: f64, crown: f64, twist: f64| -> Vec<Point> {
        let places = (0..7).flat_map(|i| (0..5).map(move |j| (f64::from(i) * 70.0, f64::from(j) * 40.0)));
        places
            .map(|(x, y)| {
                let (u, v) = (x / 210.0 - 1.0, y / 80.0 - 1.0);
                [x, y, 0.3 + 0.001 * x - 0.0004 * y + bow * (1.0 - u * u) + crown * (1.0 - v * v) + twist / 2.0 * u * v]
            })
            .collect()
    };
    let bent = face_shape(&face(-0.16, 0.03, 0.05)).unwrap();
    for (got, put) in [(bent.bow, -0.16), (bent.crown, 0.03), (bent.twist, 0.05), (bent.local, 0.0)] {
        assert!((got - put).abs() < 1e-10, "{bent:?}");
    }
    let mut sunk = face(0.0, 0.0, 0.0);
    sunk[17][2] -= 0.06;
    let sunk_shape = face_shape(&sunk).unwrap();
    assert!((sunk_shape.local_at[0] - sunk[17][0]).hypot(sunk_shape.local_at[1] - sunk[17][1]) < 1e-9);
    assert!((-0.06..-0.045).contains(&sunk_shape.local), "{sunk_shape:?}");
    assert_eq!(face_shape(&face(0.1, 0.0, 0.0)[..6]), None, "six points fit anything");
    let line: Vec<Point> = (0..9).map(|k| [f64::from(k), 0.0, 0.0]).collect();
    assert_eq!(face_shape(&line), None);
}
