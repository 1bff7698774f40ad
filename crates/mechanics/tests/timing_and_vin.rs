//! Cuts by coordinates, and every mistake in a number by trying them all.
//!
//! Sources:  own coordinates: faces moved as points, tangents found by search; the rule of 49 CFR 565.15 tried on every character;
//!           a web guide on milling intake faces, as quoted in the shop sheet (0.707 over the sine of 45 less the head angle)
//! Value by: geometry worked out here by another road, and counting; not by the formulas of the code
//! Digits:   rounding of the arithmetic

#![expect(clippy::unwrap_used, clippy::panic, reason = "the helpers of a test may fail it")]

use std::f64::consts::PI;

use mechanics::calculate;
use mechanics::vin::{Unseen, character_value, read_vin, unseen_mistakes};
use proptest::prelude::*;

type Point = [f64; 2];

fn add(a: Point, b: Point, times: f64) -> Point {
    [a[0] + times * b[0], a[1] + times * b[1]]
}

fn cross(a: Point, b: Point) -> f64 {
    a[0] * b[1] - a[1] * b[0]
}

fn value(id: &str, pairs: &[(&str, String)], key: &str) -> f64 {
    let pairs: Vec<(&str, &str)> = pairs.iter().map(|(key, text)| (*key, text.as_str())).collect();
    calculate(id, &pairs).unwrap_or_else(|error| panic!("{id} {pairs:?}: {error}")).value(key).unwrap()
}

fn intake(v: f64, face: f64, cut: f64) -> (f64, f64) {
    let pairs = [("v_angle", format!("{v} deg")), ("face_angle", format!("{face} deg")), ("cut", format!("{cut} mm"))];
    (value("intake-face-cut", &pairs, "each_face"), value("intake-face-cut", &pairs, "end_rails"))
}

/// Depths off face and rails by moving the corners of a port and cutting lines with lines.
fn by_coordinates(v: f64, face: f64, cut: f64) -> (f64, f64) {
    let (half, face) = ((v / 2.0).to_radians(), face.to_radians());
    let mut found = Vec::new();
    // Both banks; the left one is the mirror of the right one.
    for side in [1.0, -1.0] {
        // The face looks up and inwards; a port's roof and floor lie on it some way off the middle.
        let normal = [-side * face.cos(), face.sin()];
        let along = [side * face.sin(), face.cos()];
        let middle = [side * 91.3, 143.7];
        let (roof, floor) = (add(middle, along, 17.0), add(middle, along, -17.0));
        // The head moves down its cylinders' axis.
        let down = [-side * half.sin() * cut, -half.cos() * cut];
        let (moved_roof, moved_floor) = (add(roof, down, 1.0), add(floor, down, 1.0));
        // The manifold's port falls straight down; the head's port runs square to its face. Where do they meet?
        let meet = |manifold: Point, head: Point| {
            let fall = [0.0, -1.0];
            let between = add(manifold, head, -1.0);
            // head - c normal = manifold + s fall
            let c = -cross(between, fall) / cross(normal, fall);
            let point = add(head, normal, -c);
            let s = manifold[1] - point[1];
            assert!((point[0] - manifold[0]).abs() < 1e-9, "{point:?} {manifold:?}");
            (c, s)
        };
        found.push(meet(roof, moved_roof));
        found.push(meet(floor, moved_floor));
        // Cut and lowered, the two faces are one line: both corners of the manifold lie on the head's new face.
        let (c, s) = found.last().copied().unwrap();
        let new_face = add(moved_floor, normal, -c);
        for corner in [roof, floor] {
            let lowered = [corner[0], corner[1] - s];
            assert!(cross(add(lowered, new_face, -1.0), along).abs() < 1e-9);
        }
    }
    let first = found.first().copied().unwrap();
    for other in &found {
        assert!((other.0 - first.0).abs() < 1e-9 && (other.1 - first.1).abs() < 1e-9, "{found:?}");
    }
    first
}

/// Length of the tight strand from the foot of the crank wheel to the foot of the cam wheel, by searching the tangent.
fn strand_by_search(centres: f64, cam: f64, crank: f64) -> f64 {
    // Crank at the origin, cam straight above; the strand runs on the right and touches each wheel at the angle where the
    // distance between equal angles is square to both radii: the same angle up from the level for both.
    let off = |angle: f64| {
        let a = [crank * angle.cos(), crank * angle.sin()];
        let b = [cam * angle.cos(), centres + cam * angle.sin()];
        let run = add(b, a, -1.0);
        run[0] * angle.cos() + run[1] * angle.sin()
    };
    let (mut low, mut high) = (-PI / 2.0, PI / 2.0);
    for _ in 0..200 {
        let middle = f64::midpoint(low, high);
        if off(middle) < 0.0 { low = middle } else { high = middle }
    }
    let angle = f64::midpoint(low, high);
    let a = [crank * angle.cos(), crank * angle.sin()];
    let b = [cam * angle.cos(), centres + cam * angle.sin()];
    let run = add(b, a, -1.0);
    // From the level of each wheel: the crank gives up what lies below the touching point, the cam adds what lies beyond.
    run[0].hypot(run[1]) + crank * angle - cam * angle
}

#[test]
fn intake_faces_moved_as_points_and_cut_with_lines_agree_on_a_grid() {
    for v in [20.0, 45.0, 60.0, 72.0, 75.0, 90.0, 120.0, 150.0, 180.0] {
        for face in [0.0, 10.0, 30.0, 45.0, 55.0, 70.0, 85.0] {
            for cut in [0.05, 0.25, 1.0] {
                let (c, s) = by_coordinates(v, face, cut);
                let (got_c, got_s) = intake(v, face, cut);
                assert!(
                    (got_c - c).abs() < 1e-9 && (got_s - s).abs() < 1e-9,
                    "{v} {face} {cut}: {got_c} {got_s}, {c} {s}"
                );
            }
        }
    }
    // The guide's rule for 90 degree engines, by the angle of the head.
    for head in [0.0_f64, 5.0, 10.0, 20.0] {
        let rule = 0.707 / (45.0 - head).to_radians().sin();
        assert!((intake(90.0, 45.0 + head, 1.0).0 - rule).abs() < 0.001, "{head}");
    }
}

#[test]
fn cam_lag_agrees_with_a_tangent_found_by_search() {
    for (cam_teeth, crank_teeth, pitch, centres, cut, drive) in [
        (42.0, 21.0, 9.525, 420.0, 0.25, "chain"),
        (38.0, 19.0, 8.0, 380.0, 0.5, "chain"),
        (40.0, 20.0, 8.0, 330.0, 0.3, "belt"),
        (48.0, 24.0, 9.525, 250.0, 1.0, "belt"),
        (36.0, 36.0, 9.525, 300.0, 0.2, "chain"),
    ] {
        // Radii by coordinates: a polygon's corner circle for the chain, a circumference for the belt.
        let radius =
            |teeth: f64| if drive == "chain" { pitch / 2.0 / (PI / teeth).sin() } else { pitch * teeth / (2.0 * PI) };
        let (cam, crank) = (radius(cam_teeth), radius(crank_teeth));
        let slack = strand_by_search(centres, cam, crank) - strand_by_search(centres - cut, cam, crank);
        let got = value(
            "cam-timing-shift",
            &[
                ("cam_teeth", cam_teeth.to_string()),
                ("crank_teeth", crank_teeth.to_string()),
                ("pitch", format!("{pitch} mm")),
                ("centres", format!("{centres} mm")),
                ("cut", format!("{cut} mm")),
                ("drive", drive.to_owned()),
            ],
            "cam_lag",
        );
        let expected = (slack / cam).to_degrees();
        assert!((got - expected).abs() < 1e-8, "{drive} {centres}: {got} against {expected}");
    }
}

const CHARACTERS: &str = "ABCDEFGHJKLMNPRSTUVWXYZ0123456789";

/// The check digit by the letter of the rule, written down apart from the code.
fn is_right(vin: &[char]) -> bool {
    let weights = [8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2];
    let of = |c: char| match c {
        '0'..='9' => i32::try_from(c.to_digit(10).unwrap()).unwrap(),
        _ => {
            ["_", "AJ", "BKS", "CLT", "DMU", "ENV", "FW", "GPX", "HY", "RZ"]
                .iter()
                .zip(0..)
                .find(|(letters, _)| letters.contains(c))
                .unwrap()
                .1
        }
    };
    let sum: i32 = vin.iter().zip(weights).map(|(c, weight)| of(*c) * weight).sum();
    let wanted = if sum % 11 == 10 { 'X' } else { char::from_digit(u32::try_from(sum % 11).unwrap(), 10).unwrap() };
    vin.get(8) == Some(&wanted)
}

/// Every wrong character and every exchange of two places that the rule lets pass, by trying all of them.
fn by_trying_all(vin: &str) -> Vec<Unseen> {
    let right: Vec<char> = vin.chars().collect();
    assert!(is_right(&right), "{vin}");
    let mut unseen = Vec::new();
    for place in 0..17 {
        for c in CHARACTERS.chars() {
            let mut wrong = right.clone();
            *wrong.get_mut(place).unwrap() = c;
            if wrong != right && is_right(&wrong) {
                unseen.push(Unseen::Substitution(place + 1, c));
            }
        }
    }
    for a in 0..17 {
        for b in a + 1..17 {
            let mut wrong = right.clone();
            wrong.swap(a, b);
            if wrong != right && is_right(&wrong) {
                unseen.push(Unseen::Exchange(a + 1, b + 1));
            }
        }
    }
    unseen.sort();
    unseen
}

/// An invented number with its check digit put in.
fn with_check_digit(seventeen: &str) -> String {
    for digit in "0123456789X".chars() {
        let tried: String = seventeen.chars().zip(0..).map(|(c, place)| if place == 8 { digit } else { c }).collect();
        if is_right(&tried.chars().collect::<Vec<_>>()) {
            return tried;
        }
    }
    panic!("no check digit for {seventeen}")
}

#[test]
fn every_single_mistake_is_tried_and_the_unseen_ones_are_listed() {
    for vin in ["1M8GDM9AXKP042788", "1G4AH59H45G118341", "11111111111111111"] {
        let mut listed = unseen_mistakes(vin);
        listed.sort();
        assert_eq!(listed, by_trying_all(vin), "{vin}");
        let answer = calculate("vin", &[("vin", vin)]).unwrap();
        let told = answer.value("unseen_characters").unwrap() + answer.value("unseen_exchanges").unwrap();
        assert!((told - f64::from(u32::try_from(listed.len()).unwrap())).abs() < 1e-12);
    }
    // Characters of one value are never told apart: at every place that counts, every other of its kind passes.
    let vin = "11111111111111111";
    let letters: Vec<char> = unseen_mistakes(vin)
        .iter()
        .filter_map(|mistake| match mistake {
            Unseen::Substitution(1, c) => Some(*c),
            Unseen::Substitution(..) | Unseen::Exchange(..) => None,
        })
        .collect();
    assert_eq!(letters, ['A', 'J']);
    assert!(unseen_mistakes("1M8GDM9A0KP042788").is_empty(), "a wrong number hides nothing");
    assert!(unseen_mistakes("too short").is_empty());
}

#[test]
fn every_character_at_every_place_moves_the_check_digit_by_its_value_and_weight() {
    // All 33 characters at all 17 places of an empty number, against the rule written apart.
    for place in 0..17_usize {
        for c in CHARACTERS.chars() {
            let vin: String = (0..17).map(|at| if at == place { c } else { '0' }).collect();
            let reading = read_vin(&vin);
            let weight = [8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2].get(place).copied().unwrap();
            assert_eq!(reading.weighted_sum, Some(character_value(c).unwrap() * weight), "{vin}");
            let right = is_right(&vin.chars().collect::<Vec<_>>());
            let said = !reading.warnings.iter().any(|w| matches!(w, mechanics::vin::VinWarning::CheckDigit { .. }));
            assert_eq!(said, right, "{vin}");
        }
    }
}

proptest! {
    #[test]
    fn the_unseen_mistakes_of_any_number_are_those_found_by_trying_all(text in "[A-HJ-NPR-Z0-9]{17}") {
        let vin = with_check_digit(&text);
        let mut listed = unseen_mistakes(&vin);
        listed.sort();
        prop_assert_eq!(&listed, &by_trying_all(&vin));
        // Neighbours are told apart, check digit aside, unless they count the same.
        let characters: Vec<char> = vin.chars().collect();
        for mistake in &listed {
            if let Unseen::Exchange(a, b) = mistake
                && b - a == 1 && *a != 9 && *b != 9
            {
                let at = |place: usize| character_value(*characters.get(place - 1).unwrap());
                prop_assert_eq!(at(*a), at(*b));
            }
        }
    }

    #[test]
    fn a_deeper_cut_shifts_more_and_a_larger_wheel_less(cut in 0.01..1.0_f64, more in 0.01..0.5_f64, teeth in 30.0..50.0_f64) {
        let lag = |cut: f64, teeth: f64| value("cam-timing-shift", &[
            ("cam_teeth", teeth.to_string()), ("crank_teeth", "20".into()), ("pitch", "9.525 mm".into()),
            ("centres", "400 mm".into()), ("cut", format!("{cut} mm")),
        ], "cam_lag");
        prop_assert!(lag(cut + more, teeth) > lag(cut, teeth));
        prop_assert!(lag(cut, teeth + 1.0) < lag(cut, teeth));
        prop_assert!(intake(90.0, 50.0, cut + more) > intake(90.0, 50.0, cut));
        let (c, s) = intake(90.0, 50.0, cut);
        let (c2, s2) = intake(90.0, 50.0, 2.0 * cut);
        prop_assert!((c2 - 2.0 * c).abs() < 1e-12 && (s2 - 2.0 * s).abs() < 1e-12);
    }
}
