//! The smallest zone against brute force and against least squares.

#![expect(clippy::unwrap_used, clippy::indexing_slicing, reason = "the helpers of a test may fail it")]

mod circuits;
mod heads;

use mechanics::flatness::{FlatnessError, Point, least_squares, minimum_zone};
use proptest::prelude::*;

/// The smallest upright zone by trying every facet and every pair of edges: another road to the same optimum.
fn brute_force(points: &[Point]) -> f64 {
    let n = points.len();
    let spread = |a: f64, b: f64| {
        let offs = points.iter().map(|p| p[2] - a * p[0] - b * p[1]);
        let (low, high) = offs.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
        (high - low) / (1.0 + a * a + b * b).sqrt()
    };
    let mut best = f64::INFINITY;
    let mut try_directions = |u: [f64; 3], v: [f64; 3]| {
        let det = u[0] * v[1] - u[1] * v[0];
        if det.abs() > 1e-12 {
            best = best.min(spread((u[2] * v[1] - u[1] * v[2]) / det, (u[0] * v[2] - u[2] * v[0]) / det));
        }
    };
    let between = |i: usize, j: usize| [0, 1, 2].map(|k| points[j][k] - points[i][k]);
    // Any two directions between points span every facet and every edge-edge pair.
    for i in 0..n {
        for j in i + 1..n {
            for k in i..n {
                for l in k + 1..n {
                    try_directions(between(i, j), between(k, l));
                }
            }
        }
    }
    best
}

fn face(count: std::ops::Range<usize>) -> impl Strategy<Value = Vec<Point>> {
    prop::collection::vec((0.0..400.0_f64, 0.0..160.0_f64, -0.1..0.1_f64).prop_map(|(x, y, z)| [x, y, z]), count)
}

/// A regular grid with heights in whole micrometres, full of ties.
fn grid() -> impl Strategy<Value = Vec<Point>> {
    (2..5_usize, 2..4_usize, prop::collection::vec(-3..4_i32, 12)).prop_map(|(columns, rows, heights)| {
        (0..columns * rows)
            .map(|k| {
                [
                    f64::from(u32::try_from(k % columns).unwrap()) * 80.0,
                    f64::from(u32::try_from(k / columns).unwrap()) * 60.0,
                    f64::from(heights[k % 12]) * 0.001,
                ]
            })
            .collect()
    })
}

proptest! {
    #[test]
    fn smallest_zone_equals_brute_force_on_small_faces(points in face(4..9)) {
        if let Ok(zone) = minimum_zone(&points) {
            let brute = brute_force(&points);
            prop_assert!((zone.width - brute).abs() < 1e-9, "{} against {brute}", zone.width);
        }
    }

    #[test]
    fn smallest_zone_equals_brute_force_on_grids_full_of_ties(points in grid()) {
        let zone = minimum_zone(&points).unwrap();
        let brute = brute_force(&points);
        prop_assert!((zone.width - brute).abs() < 1e-9, "{} against {brute}", zone.width);
    }

    #[test]
    fn smallest_zone_is_never_above_least_squares_and_always_proved(points in face(4..200)) {
        match (minimum_zone(&points), least_squares(&points)) {
            (Ok(zone), Ok(squares)) => {
                prop_assert!(zone.width <= squares + 1e-12);
                prop_assert!(zone.proved <= zone.width + 1e-15 && zone.width - zone.proved < 1e-9 * 0.2, "{zone:?}");
            }
            (a, b) => prop_assert!(false, "{a:?} {b:?}"),
        }
    }

    #[test]
    fn tilting_and_lifting_a_face_changes_nothing(points in face(4..40), a in -0.02..0.02_f64, b in -0.02..0.02_f64, c in -50.0..50.0_f64) {
        let level = minimum_zone(&points).unwrap().width;
        // Turn about both axes, so distances stay.
        let (sa, ca) = a.sin_cos();
        let (sb, cb) = b.sin_cos();
        let tilted: Vec<Point> = points.iter().map(|p| {
            let (x, z) = (ca * p[0] - sa * p[2], sa * p[0] + ca * p[2]);
            let (y, z) = (cb * p[1] - sb * z, sb * p[1] + cb * z);
            [x, y, z + c]
        }).collect();
        let turned = minimum_zone(&tilted).unwrap().width;
        prop_assert!((turned - level).abs() < 1e-9, "{turned} against {level}");
        prop_assert!((least_squares(&tilted).unwrap() - least_squares(&points).unwrap()).abs() < 1e-9);
    }

    #[test]
    fn one_more_point_never_makes_the_zone_smaller(points in face(5..60)) {
        let all = minimum_zone(&points).unwrap().width;
        if let Ok(fewer) = minimum_zone(&points[1..]) {
            prop_assert!(fewer.width <= all + 1e-12);
        }
    }
}

#[test]
fn a_flat_face_is_flat_and_a_ridge_and_a_repeated_point_do_no_harm() {
    let flat: Vec<Point> =
        (0..12).map(|k| [f64::from(k % 4) * 100.0, f64::from(k / 4) * 50.0, 0.001 * f64::from(k % 4)]).collect();
    assert!(minimum_zone(&flat).unwrap().width < 1e-12);
    let ridge: Vec<Point> = (0..15)
        .map(|k| [f64::from(k % 5) * 100.0, f64::from(k / 5) * 50.0, 0.02 * (2.0 - (f64::from(k % 5) - 2.0).abs())])
        .collect();
    let zone = minimum_zone(&ridge).unwrap();
    assert!((zone.width - 0.04).abs() < 1e-9, "{zone:?}");
    let mut twice = ridge.clone();
    twice.extend_from_slice(&ridge);
    assert!((minimum_zone(&twice).unwrap().width - zone.width).abs() < 1e-12);
}

#[test]
fn a_large_grid_is_solved_exactly() {
    // 59 by 31 stations of a bowed, twisted, rippled face.
    let points: Vec<Point> = (0..59 * 31)
        .map(|k| {
            let (x, y) = (f64::from(k % 59) / 58.0, f64::from(k / 59) / 30.0);
            [
                x * 440.0,
                y * 150.0,
                0.1 * x * (1.0 - x) + 0.04 * (x - 0.5) * (y - 0.5) + 0.003 * (37.0 * x + 11.0 * y).sin(),
            ]
        })
        .collect();
    let zone = minimum_zone(&points).unwrap();
    assert!(zone.width - zone.proved < 1e-12 && zone.width > 0.0 && zone.width < least_squares(&points).unwrap());
}

#[test]
fn what_is_no_face_is_refused() {
    assert_eq!(minimum_zone(&[[0.0; 3]; 3]), Err(FlatnessError::TooFew { count: 3 }));
    assert_eq!(minimum_zone(&[[0.0; 3]; 4]), Err(FlatnessError::OnOneLine));
    assert_eq!(
        minimum_zone(&[[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, f64::NAN], [1.0, 1.0, 0.0]]),
        Err(FlatnessError::NotFinite { place: 3 })
    );
}

/// Upright width and width square to the planes, of the unrounded or of the rounded heights.
fn exact(name: &str, which: &str) -> [f64; 2] {
    let file: serde_json::Value =
        serde_json::from_str(include_str!("../../../reference/faces/heads_exact.json")).unwrap();
    ["upright_mm", "square_mm"].map(|key| file["heads"][name][which][key].as_f64().unwrap())
}

fn unrounded(name: &str) -> Vec<Point> {
    let file: serde_json::Value =
        serde_json::from_str(include_str!("../../../reference/faces/heads_exact.json")).unwrap();
    let column = |key: &str| {
        let numbers = file["heads"][name][key].as_array().unwrap().clone();
        numbers.into_iter().map(|number| number.as_f64().unwrap())
    };
    column("x").zip(column("y")).zip(column("z")).map(|((x, y), z)| [x, y, z]).collect()
}

// Source:   reference/faces/zones.json, made by reference/faces/peer.py; reference/faces/heads_exact.json, by heads_exact.py
// Value by: linear programme in `SciPy` 1.17.1 (HiGHS) over all points, turned square to its planes; and the same optimum in
//           whole fractions, without tolerance
// Digits:   1e-9 mm for the programme, which was solved to 1e-10; 1e-12 for the fractions, which covers our own rounding
#[test]
fn five_heads_measured_by_dial_have_the_zone_of_the_linear_programme() {
    let zones: serde_json::Value = serde_json::from_str(include_str!("../../../reference/faces/zones.json")).unwrap();
    for (name, head) in heads::all() {
        let zone = minimum_zone(&head.dial).unwrap();
        let theirs = zones["zone_mm"][&name].as_f64().unwrap();
        assert!((zone.width - theirs).abs() <= 1e-9, "{name}: {} against {theirs}", zone.width);
        let [_, square] = exact(&name, "rounded");
        assert!((zone.width - square).abs() <= 1e-12, "{name}: {} against {square}", zone.width);
        assert!(zone.width - zone.proved < 1e-12, "{name}");
        let squares = head.known["dial"]["least_squares_flatness"].as_f64().unwrap();
        assert!((least_squares(&head.dial).unwrap() - squares).abs() <= 2e-5, "{name}");
    }
}

// Source:   `min_zone` of reference/faces/heads.json, taken before its heights were rounded; the heights before the rounding
//           stand in heads_exact.json
// Value by: linear programme in `SciPy`, upright
// Digits:   1e-7 mm
#[test]
fn five_heads_have_their_stored_optimum_on_the_heights_it_was_taken_from_and_no_other() {
    for (name, head) in heads::all() {
        let stored = head.known["dial"]["min_zone"].as_f64().unwrap();
        let zone = minimum_zone(&unrounded(&name)).unwrap();
        let upright = zone.width * (1.0 + zone.slope[0].powi(2) + zone.slope[1].powi(2)).sqrt();
        assert!((upright - stored).abs() <= 1e-7, "{name}: {upright} against {stored}");
        let [exactly, square] = exact(&name, "unrounded");
        assert!((upright - exactly).abs() <= 1e-12 && (zone.width - square).abs() <= 1e-12, "{name}: {zone:?}");
        // The rounded heights of the same file have another optimum, by up to twice half a step of 0.00001 mm.
        let [rounded, _] = exact(&name, "rounded");
        assert!((1e-7..=1e-5).contains(&(rounded - stored).abs()), "{name}: {rounded} against {stored}");
    }
}

// Value by: every circuit of three or four points, tests/circuits; no step of the search
// Digits:   1e-12 mm, which covers our own rounding; two million faces came within 4e-16
#[test]
fn a_million_small_faces_have_the_zone_of_all_circuits() {
    let difference = circuits::largest_difference(1_000_000, 7);
    assert!(difference < 1e-12, "{difference}");
}

#[test]
fn the_sequence_of_the_points_changes_nothing() {
    for (name, head) in heads::all() {
        let width = minimum_zone(&head.dial).unwrap().width;
        for step in [5, 31, 101] {
            let shuffled: Vec<Point> = (0..184).map(|k| head.dial[k * step % 184]).collect();
            assert!((minimum_zone(&shuffled).unwrap().width - width).abs() < 1e-12, "{name} {step}");
        }
    }
}
