//! What a cut does, against figures from outside this code.
//!
//! Source:   statistics script in `NumPy` beside the project's five heads: 86 x 86 mm, ratio 10.5, open area 45 cm²; cam wheel of
//!           50 mm radius
//! Value by: hand and `NumPy`
//! Digits:   as printed there, half of the last one

#![expect(clippy::panic, reason = "the helper of a test may fail it")]

use mechanics::{Answer, calculate};

fn plan(pairs: &[(&str, &str)]) -> Answer {
    calculate("cut-plan", pairs).unwrap_or_else(|error| panic!("{pairs:?}: {error}"))
}

fn near(answer: &Answer, key: &str, expected: f64, tolerance: f64) {
    let got = answer.value(key).unwrap_or_else(|| panic!("no {key} in {answer:?}"));
    assert!((got - expected).abs() <= tolerance, "{key}: got {got}, expected {expected}");
}

fn forbidden(answer: &Answer) -> bool {
    answer.notes.iter().any(|note| note.starts_with("DO NOT CUT"))
}

#[test]
fn ratio_after_the_cut_is_that_of_the_sheet() {
    for (flatness, depth, ratio) in [("0.07 mm", 0.10, 10.582), ("0.17 mm", 0.20, 10.665), ("0.47 mm", 0.50, 10.925)] {
        let answer = plan(&[
            ("flatness", flatness),
            ("bore", "86 mm"),
            ("stroke", "86 mm"),
            ("compression_ratio", "10.5"),
            ("open_area", "45 cm2"),
        ]);
        near(&answer, "depth_free", depth, 1e-12);
        near(&answer, "ratio_after", ratio, 0.0005);
        assert!(!forbidden(&answer) && answer.value("height_after").is_none() && answer.value("cam_lag").is_none());
    }
}

#[test]
fn an_overhead_cam_lags_by_depth_over_radius() {
    let answer = plan(&[("flatness", "0.17 mm"), ("cam_radius", "50 mm")]);
    near(&answer, "cam_lag", 0.23, 0.005);
    near(&answer, "crank_lag", 0.46, 0.005);
    // The same wheel by teeth: 8 mm belt, 39.27 teeth have a radius of 50 mm; equal wheels run straight.
    let teeth = format!("{}", 2.0 * std::f64::consts::PI * 50.0 / 8.0);
    let by_teeth = plan(&[
        ("flatness", "0.17 mm"),
        ("cam_teeth", &teeth),
        ("crank_teeth", &teeth),
        ("pitch", "8 mm"),
        ("centres", "420 mm"),
        ("drive", "belt"),
    ]);
    near(&by_teeth, "cam_lag", answer.value("cam_lag").unwrap_or(f64::NAN), 1e-9);
}

#[test]
fn a_part_on_its_own_locating_faces_loses_more_and_never_less() {
    let answer =
        plan(&[("flatness", "0.05 mm"), ("datum_rise", "0.09 mm"), ("clean_up", "0.02 mm"), ("height", "100 mm")]);
    near(&answer, "depth_free", 0.07, 1e-12);
    near(&answer, "depth_datum", 0.11, 1e-12);
    near(&answer, "height_after", 99.89, 1e-9);
    let error = calculate("cut-plan", &[("flatness", "0.05 mm"), ("datum_rise", "0.03 mm")]).map_err(|e| e.to_string());
    assert!(
        error.as_ref().is_err_and(|text| text.contains("datum_rise") && text.contains("between 0.05 mm and 10 mm")),
        "{error:?}"
    );
}

#[test]
fn the_lower_bound_of_the_height_decides() {
    let with = |height: &str| {
        plan(&[("flatness", "0.07 mm"), ("clean_up", "0.03 mm"), ("height", height), ("minimum_height", "132.60 mm")])
    };
    let good = with("132.75 mm±0.02mm");
    // 132.75 - 0.10 - 2 x 0.02 = 132.61.
    near(&good, "height_after_low", 132.61, 1e-9);
    near(&good, "spare", 0.01, 1e-9);
    assert!(!forbidden(&good));
    let doubtful = with("132.72 mm±0.02mm");
    near(&doubtful, "spare", -0.02, 1e-9);
    assert!(doubtful.notes.iter().any(|note| note.starts_with("DO NOT CUT before the height is measured better")));
    for (height, words) in
        [("132.65 mm", "would leave the part below"), ("132.50 mm", "below its minimum height already")]
    {
        let answer = with(height);
        assert!(
            answer.notes.iter().any(|note| note.starts_with("DO NOT CUT") && note.contains(words)),
            "{:?}",
            answer.notes
        );
    }
}

#[test]
fn squish_and_a_block_are_told_and_a_piston_that_would_touch_is_refused_by_a_note() {
    // A block of 86 mm bore: area 58.088 cm², so 0.1 mm takes 0.58088 cm³ of each cylinder.
    let block = plan(&[
        ("face", "block"),
        ("flatness", "0.07 mm"),
        ("bore", "86 mm"),
        ("stroke", "86 mm"),
        ("clearance", "52 cc"),
        ("squish", "1.00 mm"),
    ]);
    near(&block, "volume_lost", 0.58088, 5e-6);
    near(&block, "squish_after", 0.90, 1e-9);
    assert!(!forbidden(&block));
    assert!(forbidden(&plan(&[("flatness", "0.97 mm"), ("squish", "0.95 mm")])));
}

#[test]
fn a_cut_plan_agrees_with_milling_and_with_cam_timing() {
    let answer = plan(&[
        ("flatness", "0.17 mm±0.005mm"),
        ("bore", "86 mm"),
        ("stroke", "86 mm"),
        ("compression_ratio", "10.5"),
        ("open_area", "45 cm2"),
        ("cam_teeth", "42"),
        ("crank_teeth", "21"),
        ("pitch", "9.525 mm"),
        ("centres", "420 mm"),
    ]);
    // The doubt of the flatness is the doubt of the depth.
    let depth = answer.line("depth_free").and_then(|line| line.u);
    assert!(depth.is_some_and(|u| (u - 0.005).abs() < 1e-9), "{depth:?}");
    let milling = calculate(
        "milling-effect",
        &[
            ("bore", "86 mm"),
            ("stroke", "86 mm"),
            ("compression_ratio", "10.5"),
            ("open_area", "45 cm2"),
            ("cut", "0.2 mm"),
        ],
    );
    let cam = calculate(
        "cam-timing-shift",
        &[("cam_teeth", "42"), ("crank_teeth", "21"), ("pitch", "9.525 mm"), ("centres", "420 mm"), ("cut", "0.2 mm")],
    );
    for (key, other) in [("ratio_after", &milling), ("volume_lost", &milling), ("cam_lag", &cam), ("crank_lag", &cam)] {
        let theirs = other.as_ref().ok().and_then(|answer| answer.value(key)).unwrap_or(f64::NAN);
        near(&answer, key, theirs, 1e-12);
    }
}
