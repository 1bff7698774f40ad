//! Threads and bolts against standards, handbook tables and a numerical chain of elements.
//!
//! Sources:  ISO 898-1 loads by class in `reference/checks.json`; SAE J429 loads [from memory]; `reference/threads/bolts.json`,
//!           made by the script beside it; the worked bolt of the shop sheet
//! Value by: those, not by this code
//! Digits:   each test names its tolerance

#![expect(clippy::unwrap_used, clippy::panic, reason = "the helpers of a test may fail it")]

#[path = "common/checks.rs"]
mod checks;
mod common;

use mechanics::calculate;
use mechanics::fasteners::nearest_threads;
use proptest::prelude::*;
use serde_json::Value;

use checks::entry;
use common::{near, run};

#[test]
fn loads_by_strength_class_agree_with_the_standard() {
    // The standard rounds the area to three figures before it multiplies, and the load to three after.
    for (id, key) in [("thr-proof-load", "proof_load"), ("thr-ultimate-load", "breaking_load")] {
        for (class, sizes) in entry(id)["expected"].as_object().unwrap() {
            for (size, load) in sizes.as_object().unwrap() {
                let pitch = match size.as_str() {
                    "M6" => 1.0,
                    "M8" => 1.25,
                    "M10" => 1.5,
                    "M12" => 1.75,
                    _ => 2.5,
                };
                let answer = run(
                    "thread",
                    &[
                        ("diameter", format!("{} mm", size.trim_start_matches('M'))),
                        ("pitch", format!("{pitch} mm")),
                        ("property_class", class.clone()),
                    ],
                );
                let area = answer.value("stress_area").unwrap();
                let printed: f64 = if area < 100.0 { (area * 10.0).round() / 10.0 } else { area.round() };
                let got = answer.value(key).unwrap() * printed / area;
                near(&format!("{id} {class} {size}"), got, load["value"].as_f64().unwrap(), 0.006);
            }
        }
    }
    // SAE J429, proof and breaking load in lbf [from memory].
    for (size, threads, class, proof, breaking) in [
        ("0.5", "13", "SAE-5", 12_050.0, 17_000.0),
        ("0.5", "13", "SAE-8", 17_050.0, 21_300.0),
        ("0.375", "16", "SAE-8", 9_300.0, 11_600.0),
        ("0.4375", "14", "SAE-5", 9_050.0, 12_800.0),
    ] {
        let answer = run(
            "thread",
            &[
                ("diameter", format!("{size} in")),
                ("threads_per_inch", threads.into()),
                ("profile", "unified".into()),
                ("property_class", class.into()),
            ],
        );
        near(size, answer.value("proof_load").unwrap() / 4.448_221_615_260_5, proof, 0.006);
        near(size, answer.value("breaking_load").unwrap() / 4.448_221_615_260_5, breaking, 0.006);
    }
}

#[test]
fn a_measured_bolt_is_named_and_its_twin_is_told() {
    // Read a tenth to two tenths below nominal, as bolts do.
    for (diameter, pitch, name, twin) in [
        (9.85, 1.5, "M10 x 1.5", None),
        (9.43, 25.4 / 16.0, "3/8-16 UNC", None),
        (7.85, 1.25, "M8 x 1.25", None),
        (12.6, 25.4 / 20.0, "1/2-20 UNF", None),
        (11.85, 1.25, "M12 x 1.25", None),
        (6.93, 1.0, "M7 x 1", None),
        (11.05, 25.4 / 20.0, "7/16-20 UNF", None),
        (7.85, 25.4 / 18.0, "5/16-18 UNC", Some("M8 x 1.25")),
        (12.62, 1.96, "1/2-13 UNC", None),
    ] {
        let near = nearest_threads(diameter, pitch);
        assert_eq!(near.first(), Some(&name), "{diameter} x {pitch}: {near:?}");
        assert!(twin.is_none_or(|twin| near.contains(&twin)) || near.len() == 1, "{diameter} x {pitch}: {near:?}");
    }
    assert!(nearest_threads(9.0, 3.0).is_empty());
    let answer = calculate("thread", &[("diameter", "9.85 mm"), ("pitch", "1.5 mm")]).unwrap();
    assert!(answer.notes.iter().any(|note| note.contains("M10 x 1.5")), "{:?}", answer.notes);
    let message = calculate("thread", &[("diameter", "9.85 mm")]).unwrap_err().to_string();
    assert!(
        ["diameter=9.85 mm", "M10 x 1.5", "M10 x 1.25", "add pitch="].iter().all(|word| message.contains(word)),
        "{message}"
    );
}

fn case_pairs(case: &Value) -> Vec<(&'static str, String)> {
    let mm = |key: &str| format!("{} mm", case[key]);
    vec![
        ("pitch", mm("p")),
        ("diameter", mm("d")),
        ("waist_diameter", mm("waist")),
        ("waist_length", mm("along")),
        ("thread_length", mm("thread")),
        ("bolt_modulus", format!("{} GPa", case["e"])),
        ("joint_ratio", case["ratio"].to_string()),
        ("snug_preload", format!("{} N", case["snug"])),
        ("yield_strength", format!("{} MPa", case["y"])),
    ]
}

#[test]
fn a_bolt_turned_to_yield_and_past_it_agrees_with_a_chain_of_elements() {
    let reference: Value = serde_json::from_str(include_str!("../../../reference/threads/bolts.json")).unwrap();
    let mut past = 0;
    for case in reference["turned"].as_array().unwrap() {
        for row in case["rows"].as_array().unwrap() {
            let mut pairs = case_pairs(case);
            pairs.push(("angle", format!("{} deg", row["angle_deg"])));
            let answer = run("bolt-angle", &pairs);
            let what = format!("{case} {row}");
            near(&what, answer.value("bolt_stiffness").unwrap(), case["bolt_kN_per_mm"].as_f64().unwrap(), 1e-5);
            near(&what, answer.value("preload_total").unwrap(), row["load_N"].as_f64().unwrap(), 1e-5);
            let stretch = row["stretch_mm"].as_f64().unwrap();
            assert!((answer.value("stretch").unwrap() - stretch).abs() < 1e-5, "{what}: {answer:?}");
            if answer.value("lasting_stretch").unwrap() > 0.0 {
                past += 1;
                assert!(answer.notes.iter().any(|note| note.starts_with("past yield")), "{:?}", answer.notes);
            }
        }
    }
    assert!(past >= 8, "{past}");
}

#[test]
fn the_worked_bolt_of_the_shop_sheet_yields_at_ninety_nine_degrees() {
    let answer = run(
        "bolt-angle",
        &[
            ("pitch", "1.5 mm".into()),
            ("angle", "90 deg".into()),
            ("diameter", "10 mm".into()),
            ("waist_diameter", "7.5 mm".into()),
            ("waist_length", "70 mm".into()),
            ("thread_length", "32 mm".into()),
            ("joint_ratio", "3".into()),
            ("snug_preload", "11900 N".into()),
            ("yield_strength", "940 MPa".into()),
        ],
    );
    for (key, expected, tolerance) in [
        ("bolt_stiffness", 96.0, 0.5),
        ("preload_gain", 27_000.0, 100.0),
        ("stretch", 0.28, 0.005),
        ("yield_load", 41_500.0, 50.0),
        ("angle_at_yield", 99.0, 0.5),
    ] {
        assert!((answer.value(key).unwrap() - expected).abs() <= tolerance, "{key}: {:?}", answer.value(key));
    }
    assert!(answer.cautions.iter().any(|caution| caution.contains("manual")));
    assert!(answer.cautions.iter().any(|caution| caution.contains("used once")));
}

#[test]
fn preload_from_torque_agrees_with_a_block_on_the_rolled_out_thread() {
    let reference: Value = serde_json::from_str(include_str!("../../../reference/threads/bolts.json")).unwrap();
    for case in reference["torque"].as_array().unwrap() {
        let answer = run(
            "bolt-preload",
            &[
                ("torque", format!("{} N.m", case["torque"].as_f64().unwrap() / 1000.0)),
                ("diameter", format!("{} mm", case["d"])),
                ("pitch", format!("{} mm", case["p"])),
                ("thread_friction", case["mu_t"].to_string()),
                ("bearing_friction", case["mu_n"].to_string()),
                ("bearing_diameter", format!("{} mm", case["rubbing"])),
            ],
        );
        near(&case.to_string(), answer.value("preload_long").unwrap(), case["preload_N"].as_f64().unwrap(), 0.01);
    }
}

#[test]
fn published_scatter_of_the_method_goes_with_the_preload() {
    // NASA NSTS 08307: torque on dry bolts 35, plated 30, oiled 25; Machinery's Handbook: turn of nut 15, stretch up to 5.
    for (method, share) in
        [("torque-dry", 0.35), ("torque-plated", 0.30), ("torque-oiled", 0.25), ("angle", 0.15), ("stretch", 0.05)]
    {
        let answer = run(
            "bolt-preload",
            &[
                ("torque", "40 N.m".into()),
                ("diameter", "10 mm".into()),
                ("nut_factor", "0.2".into()),
                ("method", method.into()),
            ],
        );
        near(method, answer.value("preload_least").unwrap(), 20_000.0 * (1.0 - share), 1e-12);
        near(method, answer.value("preload_greatest").unwrap(), 20_000.0 * (1.0 + share), 1e-12);
    }
}

#[test]
fn the_share_of_yield_is_that_of_the_combined_stress() {
    let e = entry("tq-vonmises");
    let answer = run(
        "bolt-preload",
        &[
            ("preload", "30000 N".into()),
            ("diameter", "10 mm".into()),
            ("pitch", "1.5 mm".into()),
            ("pitch_diameter", "9.0257 mm".into()),
            ("thread_friction", "0.12".into()),
            ("bearing_diameter", "13 mm".into()),
            ("property_class", "10.9".into()),
        ],
    );
    let expected = e["expected"]["sigma_e"]["value"].as_f64().unwrap() / 940.0 * 100.0;
    near("share", answer.value("yield_share").unwrap(), expected, 1e-4);
    near("pull", answer.value("pull_share").unwrap(), e["expected"]["sigma"]["value"].as_f64().unwrap() / 9.4, 1e-3);
}

#[test]
fn an_inch_bolt_is_reckoned_with_the_unified_stress_area() {
    // Shigley, table 8-2: 0.1419 square inches for 1/2-13, 0.373 for 3/4-16; 25 000 lbf on the latter pulls 67.0 ksi.
    for (size, threads, area, load) in [("0.5", "13", 0.1419, 11_707.0), ("0.75", "16", 0.373, 25_000.0)] {
        let preload = run(
            "bolt-preload",
            &[
                ("preload", format!("{load} lbf")),
                ("diameter", format!("{size} in")),
                ("threads_per_inch", threads.into()),
                ("thread_friction", "0.15".into()),
                ("bearing_diameter", format!("{} in", 1.25 * size.parse::<f64>().unwrap())),
                ("property_class", "SAE-8".into()),
            ],
        );
        let ksi = load / area / 1000.0;
        near(size, preload.value("tensile_stress").unwrap() / 6.894_757_293_168, ksi, 0.002);
        near(size, preload.value("pull_share").unwrap(), ksi / 130.0 * 100.0, 0.002);
        let turned = run(
            "bolt-angle",
            &[
                ("threads_per_inch", threads.into()),
                ("diameter", format!("{size} in")),
                ("thread_length", "2 in".into()),
                ("joint_ratio", "4".into()),
                ("angle", "20 deg".into()),
                ("bolt_modulus", "30000000 psi".into()),
                ("property_class", "SAE-8".into()),
            ],
        );
        near(size, turned.value("yield_load").unwrap() / 4.448_221_615_260_5, 130_000.0 * area, 0.002);
        // A rod: stiffness is area times modulus over length.
        near(size, turned.value("bolt_stiffness").unwrap() / 0.175_126_835_246_5, 30_000.0 * area / 2.0, 0.002);
    }
}

#[test]
fn what_does_not_go_together_is_said() {
    let said = |id: &str, pairs: &[(&str, &str)], words: &[&str]| {
        let message = calculate(id, pairs).unwrap_err().to_string();
        assert!(words.iter().all(|word| message.contains(word)), "{message}");
    };
    said(
        "thread",
        &[("diameter", "20 mm"), ("pitch", "2.5 mm"), ("property_class", "9.8")],
        &["property_class=9.8", "not made in this diameter"],
    );
    said(
        "thread",
        &[("diameter", "10 mm"), ("pitch", "1.5 mm"), ("property_class", "11")],
        &["property_class=11", "10.9"],
    );
    said("bolt-angle", &[("pitch", "1.5 mm"), ("angle", "90 deg")], &["stiffness of the bolt", "bolt_stiffness"]);
    let bolt = [("pitch", "1.5 mm"), ("diameter", "10 mm"), ("thread_length", "60 mm"), ("joint_ratio", "3")];
    let with = |more: &[(&'static str, &'static str)]| [&bolt[..], more].concat();
    said("bolt-angle", &with(&[("angle", "90 deg"), ("preload", "9 kN")]), &["angle and preload"]);
    said("bolt-angle", &with(&[("preload", "90 kN"), ("property_class", "8.8")]), &["preload=90 kN", "yields"]);
    said(
        "bolt-angle",
        &with(&[("angle", "9 deg"), ("snug_preload", "90 kN"), ("property_class", "8.8")]),
        &["before snug"],
    );
    said("bolt-angle", &with(&[("angle", "9 deg"), ("waist_diameter", "7 mm")]), &["belong together"]);
    said(
        "bolt-preload",
        &[
            ("torque", "40 N.m"),
            ("diameter", "10 mm"),
            ("nut_factor", "0.2"),
            ("yield_strength", "900 MPa"),
            ("property_class", "8.8"),
        ],
        &["twice"],
    );
}

proptest! {
    #[test]
    fn more_torque_is_more_preload_and_more_friction_is_less(torque in 5.0..200.0_f64, friction in 0.05..0.3_f64) {
        let preload = |torque: f64, friction: f64| {
            run("bolt-preload", &[
                ("torque", format!("{torque} N.m")), ("diameter", "10 mm".into()), ("pitch", "1.5 mm".into()),
                ("thread_friction", friction.to_string()), ("bearing_diameter", "13.5 mm".into()), ("nut_factor", friction.to_string()),
            ])
        };
        let (here, more, dry) = (preload(torque, friction), preload(torque * 1.1, friction), preload(torque, friction * 1.1));
        for key in ["preload_short", "preload_long"] {
            prop_assert!(more.value(key).unwrap() > here.value(key).unwrap() && dry.value(key).unwrap() < here.value(key).unwrap());
        }
        // There and back.
        let back = run("bolt-preload", &[
            ("preload", format!("{} N", here.value("preload_long").unwrap())), ("diameter", "10 mm".into()), ("pitch", "1.5 mm".into()),
            ("thread_friction", friction.to_string()), ("bearing_diameter", "13.5 mm".into()),
        ]);
        prop_assert!((back.value("torque_long").unwrap() - torque).abs() < 1e-6 * torque);
    }

    #[test]
    fn load_never_falls_with_the_angle_and_never_passes_yield(angle in 0.0..300.0_f64, more in 0.1..60.0_f64, twist in 0.0..0.25_f64) {
        let at = |angle: f64| run("bolt-angle", &[
            ("pitch", "1.5 mm".into()), ("angle", format!("{angle} deg")), ("diameter", "10 mm".into()), ("waist_diameter", "7.5 mm".into()),
            ("waist_length", "70 mm".into()), ("thread_length", "32 mm".into()), ("joint_ratio", "3".into()),
            ("snug_preload", "9000 N".into()), ("property_class", "10.9".into()), ("thread_friction", twist.to_string()),
        ]);
        let (here, further) = (at(angle), at(angle + more));
        prop_assert!(further.value("preload_total").unwrap() >= here.value("preload_total").unwrap() - 1e-9);
        prop_assert!(further.value("stretch").unwrap() > here.value("stretch").unwrap());
        prop_assert!(further.value("preload_total").unwrap() <= further.value("yield_load").unwrap() + 1e-6);
        // Twist only ever lowers the load at which it yields.
        prop_assert!(here.value("yield_load").unwrap() <= 940.0 * std::f64::consts::PI / 4.0 * 7.5 * 7.5 + 1e-6);
    }

    #[test]
    fn a_larger_thread_of_one_pitch_carries_more(diameter in 6.0..39.0_f64, pitch in 0.5..1.5_f64) {
        let area = |diameter: f64| {
            run("thread", &[("diameter", format!("{diameter} mm")), ("pitch", format!("{pitch} mm"))]).value("stress_area").unwrap()
        };
        prop_assert!(area(diameter * 1.01) > area(diameter));
    }
}
