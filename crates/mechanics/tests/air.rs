//! Leaks and cranking pressure against libraries and step-by-step integration.
//!
//! Sources:  `reference/air/air.json`, made by `make_air.py` beside it; `reference/checks.json`
//! Value by: fluids 1.3.1 and `SciPy` 1.17.1, not by this code
//! Digits:   1e-5 and better; each test names its tolerance

#![expect(clippy::unwrap_used, clippy::panic, reason = "the helpers of a test may fail it")]

#[path = "common/checks.rs"]
mod checks;
mod common;

use mechanics::air::{
    AIR_GAS_CONSTANT, AIR_HEAT_RATIO, conductance_mass_flow, critical_pressure_ratio, flow_function, orifice_mass_flow,
};
use mechanics::calculate;
use proptest::prelude::*;
use serde_json::Value;

use checks::entry;
use common::{near, run};

fn reference() -> Value {
    serde_json::from_str(include_str!("../../../reference/air/air.json")).unwrap()
}

fn figure(row: &Value, key: &str) -> f64 {
    row[key].as_f64().unwrap()
}

#[test]
fn a_tester_with_a_hole_shows_what_the_library_says_and_finds_the_hole_again() {
    let rows = reference()["leaks"].as_array().unwrap().clone();
    assert_eq!(rows.len(), 144);
    for row in rows {
        let tester = [
            ("orifice", format!("{} mm", figure(&row, "orifice_mm"))),
            ("supply", format!("{} Pa", figure(&row, "supply_Pa"))),
            ("atmosphere", format!("{} Pa", figure(&row, "atmosphere_Pa"))),
            ("temperature", format!("{} °C", figure(&row, "celsius"))),
        ];
        let what = row.to_string();
        let shown = run("leak-down", &[&tester[..], &[("hole", format!("{} mm", figure(&row, "hole_mm")))]].concat());
        let percent = figure(&row, "percent");
        assert!((shown.value("percent").unwrap() - percent).abs() < 1e-5 * percent + 1e-7, "{what}: {shown:?}");
        let found = run("leak-down", &[&tester[..], &[("percent", format!("{percent} %"))]].concat());
        // A per cent that hangs on its last digits says little of a large hole.
        near(&what, found.value("leak_diameter").unwrap(), figure(&row, "hole_mm"), 2e-5);
        let kelvin = figure(&row, "celsius") + 273.15;
        let litres = figure(&row, "kg_per_s") * AIR_GAS_CONSTANT * kelvin / figure(&row, "atmosphere_Pa") * 60_000.0;
        near(&what, found.value("free_air_flow").unwrap(), litres, 2e-5);
    }
}

#[test]
fn the_testers_of_the_public_circular_have_its_orifices() {
    let e = entry("ac4313-orifice");
    for (word, bore) in [("bore-under-5-in", "bore<5.00"), ("bore-from-5-in", "bore>=5.00")] {
        let inches = e["expected"][bore]["dia"]["value"].as_f64().unwrap();
        let preset = run("leak-down", &[("tester", word.into()), ("reading", "70 psi".into())]);
        let typed = run(
            "leak-down",
            &[("orifice", format!("{inches} in")), ("supply", "80 psi".into()), ("reading", "70 psi".into())],
        );
        near(word, preset.value("leak_diameter").unwrap(), typed.value("leak_diameter").unwrap(), 1e-9);
    }
    // The shop sheet: one hole of 0.81 mm at 100 psi reads 27, 10 and 2 per cent through 0.030, 0.040 and 0.060 in.
    for (orifice, percent) in [("0.030 in", 27.0), ("0.040 in", 10.0), ("0.060 in", 2.0)] {
        let answer =
            run("leak-down", &[("orifice", orifice.into()), ("supply", "100 psi".into()), ("hole", "0.81 mm".into())]);
        assert!((answer.value("percent").unwrap() - percent).abs() <= 0.6, "{orifice}: {answer:?}");
    }
    let turns = run("leak-down", &[("tester", "bore-under-5-in".into()), ("reading", "70 psi".into())]);
    assert!(turns.cautions.iter().any(|caution| caution.contains("turn the engine")));
}

#[test]
fn flow_by_conductance_agrees_with_the_standard_and_with_a_nozzle() {
    let e = entry("iso6358-flow");
    let i = &e["inputs"];
    let value = |key: &str| i[key]["value"].as_f64().unwrap();
    for (down, flow) in i["p2"].as_array().unwrap().iter().zip(e["expected"]["qm"].as_array().unwrap()) {
        let got = conductance_mass_flow(
            value("C"),
            i["b"].as_f64().unwrap(),
            value("p1"),
            down["value"].as_f64().unwrap(),
            value("T1"),
        );
        near("qm", got, flow["value"].as_f64().unwrap(), 1e-6);
    }
    // An ideal nozzle has b of 0.528; the standard's quarter ellipse follows its exact curve within one per cent of full flow.
    let critical = critical_pressure_ratio(AIR_HEAT_RATIO);
    let area = 1e-6;
    let conductance = area * flow_function(0.0, AIR_HEAT_RATIO) / (AIR_GAS_CONSTANT * 293.15).sqrt() / 1.185;
    let full = orifice_mass_flow(area, 6e5, 1e5, 293.15);
    for step in 0..=100 {
        let down = 6e5 * f64::from(step) / 100.0;
        let ellipse = conductance_mass_flow(conductance, critical, 6e5, down, 293.15);
        let exact = orifice_mass_flow(area, 6e5, down, 293.15);
        assert!((ellipse - exact).abs() < 0.01 * full, "{down}: {ellipse} against {exact}");
    }
}

#[test]
fn cranking_pressure_agrees_with_compression_integrated_step_by_step() {
    let rows = reference()["cranking"].as_array().unwrap().clone();
    assert_eq!(rows.len(), 60);
    for row in rows {
        let answer = run(
            "cranking-pressure",
            &[
                ("compression_ratio", figure(&row, "ratio").to_string()),
                ("intake_closing", format!("{} deg", figure(&row, "closing_deg"))),
                ("stroke", format!("{} mm", figure(&row, "stroke_mm"))),
                ("rod", format!("{} mm", figure(&row, "rod_mm"))),
                ("exponent", figure(&row, "exponent").to_string()),
                ("height", format!("{} m", figure(&row, "height_m"))),
            ],
        );
        let what = row.to_string();
        near(&what, answer.value("air_pressure").unwrap() * 1000.0, figure(&row, "air_Pa"), 1e-6);
        near(&what, answer.value("effective_ratio").unwrap(), figure(&row, "effective_ratio"), 1e-9);
        near(&what, answer.value("gauge_pressure").unwrap() * 1000.0, figure(&row, "gauge_Pa"), 2e-6);
        assert!(answer.value("gauge_low") <= answer.value("gauge_pressure"));
        assert!(answer.value("gauge_pressure") <= answer.value("gauge_high"));
    }
}

#[test]
fn the_span_of_the_shop_sheet_comes_out_and_the_cylinders_are_compared_first() {
    let answer = run(
        "cranking-pressure",
        &[
            ("readings", "205 psi, 200 psi, 203 psi, 160 psi".into()),
            ("compression_ratio", "9.98".into()),
            ("intake_closing", "50 deg".into()),
            ("stroke", "86 mm".into()),
            ("rod", "134 mm".into()),
        ],
    );
    // Exponents 1.20 to 1.30 span 185 to 234 psi.
    assert!((answer.value("gauge_low").unwrap() / 6.894_757 - 185.0).abs() < 0.6, "{answer:?}");
    assert!((answer.value("gauge_high").unwrap() / 6.894_757 - 234.0).abs() < 0.6, "{answer:?}");
    assert_eq!(answer.results.first().map(|line| line.key), Some("lowest_to_highest"));
    near("ratio", answer.value("lowest_to_highest").unwrap(), 100.0 * 160.0 / 205.0, 1e-9);
    near("mean", answer.value("lowest_to_mean").unwrap(), 100.0 * 160.0 / (608.0 / 3.0), 1e-9);
    near("place", answer.value("lowest_cylinder").unwrap(), 4.0, 1e-12);
    assert!(answer.notes.iter().any(|note| note.contains("within the span")), "{:?}", answer.notes);
    // Without any figure of the engine the comparison stands alone.
    let alone = run("cranking-pressure", &[("readings", "1200,1180".into())]);
    assert_eq!(alone.value("gauge_pressure"), None);
    assert!(alone.value("lowest_to_highest").is_some());
}

#[test]
fn what_does_not_go_together_is_said() {
    let said = |id: &str, pairs: &[(&str, &str)], words: &[&str]| {
        let message = calculate(id, pairs).unwrap_err().to_string();
        assert!(words.iter().all(|word| message.contains(word)), "{message}");
    };
    said("cranking-pressure", &[], &["readings"]);
    said("cranking-pressure", &[("readings", "1200")], &["all cylinders"]);
    said("cranking-pressure", &[("readings", "0,0,0,0")], &["gauge, hose"]);
    said("cranking-pressure", &[("readings", "1200,-3")], &["-3", "below zero"]);
    said(
        "cranking-pressure",
        &[("compression_ratio", "10"), ("height", "500 m"), ("air_pressure", "95 kPa")],
        &["air_pressure and height"],
    );
    said(
        "cranking-pressure",
        &[("compression_ratio", "10"), ("exponent_low", "1.4"), ("exponent_high", "1.3")],
        &["exponent_low=1.4", "exchanged"],
    );
    said(
        "leak-down",
        &[("tester", "bore-under-5-in"), ("orifice", "1 mm"), ("reading", "70 psi")],
        &["tester and orifice"],
    );
    said("leak-down", &[("tester", "bore-under-5-in"), ("hole", "1 mm"), ("reading", "70 psi")], &["three ways"]);
    said("leak-down", &[("tester", "six-inch"), ("reading", "70 psi")], &["tester=six-inch", "bore-under-5-in"]);
    said("leak-down", &[("reading", "70 psi")], &["orifice"]);
}

proptest! {
    #[test]
    fn a_larger_hole_shows_a_larger_loss_and_a_larger_orifice_a_smaller_one(
        hole in 0.05..4.0_f64, orifice in 0.4..3.0_f64, supply in 50.0..900.0_f64, growth in 1.01..1.5_f64
    ) {
        let percent = |hole: f64, orifice: f64| run("leak-down", &[
            ("orifice", format!("{orifice} mm")), ("supply", format!("{supply} kPa")), ("hole", format!("{hole} mm")),
        ]).value("percent").unwrap();
        let here = percent(hole, orifice);
        prop_assert!(percent(hole * growth, orifice) > here);
        prop_assert!(percent(hole, orifice * growth) < here);
        prop_assert!(here > 0.0 && here < 100.0);
    }

    #[test]
    fn per_cent_to_hole_and_back_is_the_same(percent in 0.5..95.0_f64, orifice in 0.4..3.0_f64, supply in 50.0..900.0_f64) {
        let tester = [("orifice", format!("{orifice} mm")), ("supply", format!("{supply} kPa"))];
        let hole = run("leak-down", &[&tester[..], &[("percent", format!("{percent} %"))]].concat()).value("leak_diameter").unwrap();
        let back = run("leak-down", &[&tester[..], &[("hole", format!("{hole} mm"))]].concat()).value("percent").unwrap();
        prop_assert!((back - percent).abs() < 1e-7 * percent.max(1.0), "{percent} {hole} {back}");
    }

    #[test]
    fn higher_ratio_is_more_pressure_and_height_and_late_closing_are_less(ratio in 6.0..20.0_f64, closing in 10.0..80.0_f64, height in 0.0..3500.0_f64) {
        let gauge = |ratio: f64, closing: f64, height: f64| run("cranking-pressure", &[
            ("compression_ratio", ratio.to_string()), ("intake_closing", format!("{closing} deg")), ("stroke", "86 mm".into()),
            ("rod", "140 mm".into()), ("height", format!("{height} m")),
        ]).value("gauge_pressure").unwrap();
        let here = gauge(ratio, closing, height);
        prop_assert!(gauge(ratio * 1.02, closing, height) > here);
        prop_assert!(gauge(ratio, closing + 1.0, height) < here);
        prop_assert!(gauge(ratio, closing, height + 50.0) < here);
    }

    #[test]
    fn the_comparison_needs_no_unit_and_no_sequence(readings in prop::collection::vec(100.0..2000.0_f64, 2..13), factor in 0.1..3.0_f64) {
        let ratio = |readings: &[f64]| {
            let text: Vec<String> = readings.iter().map(ToString::to_string).collect();
            run("cranking-pressure", &[("readings", text.join(","))]).value("lowest_to_highest").unwrap()
        };
        let here = ratio(&readings);
        let mut other: Vec<f64> = readings.iter().map(|reading| reading * factor).collect();
        other.reverse();
        prop_assert!((ratio(&other) - here).abs() < 1e-9);
        prop_assert!(here > 0.0 && here <= 100.0);
    }
}
