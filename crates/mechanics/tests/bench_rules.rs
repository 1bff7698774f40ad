//! What a machinist may count on at every calculator: cautions where work hurts, sources with their tags, a table in his own
//! unit, and an answer that leads with it.

#![expect(clippy::unwrap_used, reason = "the helpers of a test may fail it")]

use mechanics::shown::figure;
use mechanics::{Calculator, InputKind, calculate, calculator, catalogue};

/// What hurts, or ruins an engine, and the words by which a caution says it.
const HURTS: &[(&str, &[&str])] = &[
    ("bore-oversize", &["own manual", "chips"]),
    ("crank-undersize", &["cracks", "grit"]),
    ("milling-effect", &["own manual", "chips"]),
    ("cut-plan", &["own manual", "chips"]),
    ("intake-face-cut", &["own manual", "chips"]),
    ("compression-ratio", &["burn"]),
    ("piston-deck", &["own manual"]),
    ("piston-clearance", &["own manual"]),
    ("ring-gap", &["own manual"]),
    ("bearing-clearance", &["own manual"]),
    ("bearing-crush", &["Never file"]),
    ("plastic-strip", &["own manual"]),
    ("oil-clearance-heat", &["own manual"]),
    ("cam-timing-shift", &["manual", "by hand"]),
    ("valve-spring", &["eye"]),
    ("valve-lash", &["own manual", "by hand"]),
    ("press-fit", &["own manual", "out of line", "oven", "fresh air"]),
    ("seat-fit", &["manual", "oven", "temper", "fresh air"]),
    ("fit", &["own manual"]),
    ("thread", &["stretched"]),
    ("bolt-preload", &["own manual", "snap", "used once"]),
    ("bolt-angle", &["own manual", "snap", "used once"]),
    ("leak-down", &["turn the engine", "slowly"]),
    ("cranking-pressure", &["fuel and ignition off", "diesel"]),
    ("life-survival", &["own manual"]),
];

#[test]
fn where_work_hurts_the_calculator_and_its_answer_say_so() {
    for (id, words) in HURTS {
        let entry = calculator(id).unwrap();
        let answer = entry.calculate(entry.example).unwrap();
        assert_eq!(answer.cautions, entry.cautions, "{id}");
        let wire = serde_json::to_value(&answer).unwrap()["cautions"].to_string();
        for word in *words {
            assert!(entry.cautions.iter().any(|caution| caution.contains(word)), "{id}: no caution says {word:?}");
            assert!(wire.contains(word), "{id}: {word:?} is not on the wire");
        }
    }
}

#[test]
fn a_caution_is_a_sentence() {
    for entry in catalogue() {
        for caution in entry.cautions {
            let first = caution.chars().next().unwrap();
            assert!(first.is_uppercase() && caution.ends_with('.'), "{}: {caution}", entry.id);
        }
    }
}

#[test]
fn every_calculator_says_where_its_formula_comes_from_and_a_figure_has_its_tag() {
    let tags = ["[published", "[common-practice]", "[elicited]", "[from-memory]", "[ours]"];
    for entry in catalogue() {
        assert!(!entry.sources.is_empty(), "{}", entry.id);
        for source in entry.sources {
            let told = source.contains("worked out here")
                || source.contains("the notes")
                || source.contains("each answer names");
            let by_hand = told || source.contains("arithmetic") || source.contains("as in");
            assert!(by_hand || tags.iter().any(|tag| source.contains(tag)), "{}: {source}", entry.id);
        }
        // A figure that is taken when nothing is typed is one of the trade unless it is nought, one, or how to work.
        for input in entry.inputs.iter().filter(|input| input.kind == InputKind::Number) {
            let Some(default) = input.default else { continue };
            let neutral = default.starts_with("0 ") || ["0", "1", "20 °C", "101.325 kPa"].contains(&default);
            let how_to_work = ["window", "stretch", "chance", "risk", "coverage", "half_factor", "gap_factor"];
            if !neutral && !how_to_work.contains(&input.key) {
                let number = default.split(' ').next().unwrap().trim_end_matches('0').trim_end_matches('.');
                let named = entry
                    .sources
                    .iter()
                    .any(|s| s.contains(number) || s.contains("to 0.05") || s.contains("1.2 and 1.3"));
                assert!(named, "{}: {} {default} has no source", entry.id, input.key);
            }
        }
    }
}

fn led(id: &str, pairs: &[(&str, &str)], key: &str) -> String {
    let answer = calculate(id, pairs).unwrap();
    let figure = figure(answer.line(key).unwrap());
    format!("{} = {}", figure.in_one(), figure.other.unwrap_or_default())
}

#[test]
fn an_answer_leads_with_the_unit_in_which_was_asked_and_keeps_the_other_beside_it() {
    // 2.2500 - 2 × 0.0615 - 2.1247 = 0.0023 in = 0.05842 mm.
    let inch = [("housing", "2.2500 in"), ("wall", "0.0615 in"), ("journal", "2.1247 in ± 0.0001 in")];
    assert_eq!(led("bearing-clearance", &inch, "clearance"), "0.00230 (u 0.00010) in = 0.0584 mm");
    let metric = [("housing", "57.15"), ("wall", "1.562"), ("journal", "53.967")];
    assert_eq!(led("bearing-clearance", &metric, "clearance"), "0.059 mm = 0.00232 in");
    let mixed = [("housing", "57.15 mm"), ("wall", "1.562 mm"), ("journal", "2.1247 in")];
    assert!(led("bearing-clearance", &mixed, "clearance").contains(" mm = "));
    // A torque in foot-pounds and sizes in inches: the pull in pounds. 12 × 60 / (0.2 × 0.5) = 7200 lbf.
    let bolt = [("torque", "60 ft-lb"), ("diameter", "0.5 in"), ("nut_factor", "0.2")];
    assert!(led("bolt-preload", &bolt, "preload_short").starts_with("7200 lbf = "));
    // Volumes are typed in cc in inch shops too.
    let ratio = [("bore", "4 in"), ("stroke", "3.48 in"), ("chamber", "64 cc")];
    assert!(led("compression-ratio", &ratio, "clearance").starts_with("64 cm³"));
    // The file for programs keeps the declared unit.
    let answer = calculate("bearing-clearance", &inch).unwrap();
    let wire = serde_json::to_value(&answer).unwrap();
    assert_eq!(wire["result"]["clearance"]["unit"], "mm");
    assert!((wire["result"]["clearance"]["value"].as_f64().unwrap() - 0.05842).abs() < 1e-9);
}

#[test]
fn a_pressure_asked_in_bar_or_psi_is_answered_in_it() {
    let bar = [("orifice", "1 mm"), ("supply", "6 bar"), ("percent", "25 %")];
    assert!(led("leak-down", &bar, "cylinder_pressure").starts_with("4.5 bar = 450 kPa"));
    let psi = [("orifice", "0.040 in"), ("supply", "80 psi"), ("reading", "70 psi")];
    assert!(led("leak-down", &psi, "cylinder_pressure").starts_with("70 psi = 482.6 kPa"));
}

#[test]
fn a_unit_typed_once_behind_readings_of_one_kind_holds_for_all_of_them() {
    let share =
        |readings: &str| calculate("cranking-pressure", &[("readings", readings)]).unwrap().value("lowest_to_highest");
    let bare = share("175,170,168,135").unwrap();
    for readings in
        ["175,170,168,135 psi", "175 170 168 135 psi", "175 psi, 170, 168, 135", "175 psi,170 psi,168 psi,135 psi"]
    {
        assert!((share(readings).unwrap() - bare).abs() < 1e-9, "{readings}");
    }
    // 135 / 175
    assert!((bare - 77.142_857).abs() < 1e-5);
    let wear = |readings: &str| calculate("bore-wear", &[("readings", readings), ("standard", "3.5 in")]).unwrap();
    let inches = wear("3.5012, 3.5005; 3.5003, 3.5001 in");
    assert!((inches.value("wear").unwrap() - 0.0012 * 25.4).abs() < 1e-9, "{inches:?}");
    let two = calculate("cranking-pressure", &[("readings", "175 psi, 12 bar, 168")]).unwrap_err().to_string();
    assert!(two.contains("psi and bar") && two.contains("behind each"), "{two}");
}

#[test]
fn a_column_with_a_unit_behind_one_cell_alone_is_asked_about_not_guessed() {
    let error = calculate("flatness-grid", &[("points", "0,0,0; 100,0,0.8; 0,100,0.8; 100,100,0.2 thou")]).unwrap_err();
    let message = error.to_string();
    assert!(
        message.contains("thou") && message.contains("of its column has none") && message.contains("heading")
            || message.contains("above the column"),
        "{message}"
    );
    let headed = "along (in), across (in), height (in); 0,0,0; 4,0,0.0008; 0,4,0.0008; 4,4,0";
    let zone = calculate("flatness-grid", &[("points", headed)]).unwrap();
    let cells = "0,0,0; 4 in,0,0.0008 in; 0,4 in,0.0008 in; 4 in,4 in,0";
    let same = calculate("flatness-grid", &[("points", cells)]).unwrap();
    for answer in [&zone, &same] {
        assert!((answer.value("minimum_zone").unwrap() - 0.0008 * 25.4).abs() < 1e-9, "{answer:?}");
        assert_eq!(figure(answer.line("minimum_zone").unwrap()).unit, "in");
    }
    let bores = calculate("bore-series", &[("bores", "1: 3.5012in 3.5005 / 3.5003 3.5001")]).unwrap_err().to_string();
    assert!(bores.contains("unit=in"), "{bores}");
}

#[test]
fn a_blade_thicker_than_a_smooth_face_could_show_is_remarked() {
    let entry: &Calculator = calculator("flatness-straightedge").unwrap();
    let answer = entry.calculate(entry.example).unwrap();
    let thicker = answer.value("largest_gap").unwrap() > answer.value("greatest").unwrap();
    assert!(thicker, "the example no longer shows it: {answer:?}");
    assert!(answer.notes.iter().any(|note| note.contains("smooth is too strict")), "{:?}", answer.notes);
}
