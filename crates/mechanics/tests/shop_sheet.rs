//! The calculators against the worked lines of a shop sheet: invented reference engine, worked by hand and spreadsheet.
//!
//! Source:   shop calculations with an invented engine, bore 88.0, stroke 86.0, rod 134.0, chamber 46.0 cc, dish 6.0 cc,
//!           gasket 89.5 x 0.70, piston 0.30 down; bore readings and clearances from a statistics script in `NumPy`
//! Value by: hand and `NumPy`, not by this code
//! Digits:   as printed there; the tolerance is half the last printed digit unless the row says otherwise

#![expect(clippy::panic, reason = "the helper of a test may fail it")]

use mechanics::{CalcError, calculate, catalogue};

fn shows(id: &str, pairs: &[(&str, &str)], rows: &[(&str, f64, f64)]) {
    let answer = calculate(id, pairs).unwrap_or_else(|error| panic!("{id}: {error}"));
    for (key, expected, tolerance) in rows {
        let got = answer.value(key).unwrap_or_else(|| panic!("{id} has no {key}"));
        assert!((got - expected).abs() <= *tolerance, "{id} {key}: got {got}, the sheet says {expected}");
    }
}

#[test]
fn the_reference_engine_has_the_ratio_of_the_sheet() {
    shows(
        "compression-ratio",
        &[
            ("bore", "88 mm"),
            ("stroke", "86 mm"),
            ("chamber", "46 cc"),
            ("gasket_thickness", "0.70 mm"),
            ("gasket_bore", "89.5 mm"),
            ("deck", "0.30 mm"),
            ("dish", "6 cc"),
        ],
        &[
            ("swept", 523.06, 0.005),
            ("gasket_volume", 4.40, 0.005),
            ("deck_volume", 1.82, 0.005),
            ("clearance", 58.23, 0.005),
            ("compression_ratio", 9.98, 0.005),
        ],
    );
    shows(
        "milling-effect",
        &[
            ("bore", "88 mm"),
            ("stroke", "86 mm"),
            ("clearance", "58.23 cc"),
            ("open_area", "48 cm2"),
            ("cut", "0.25 mm"),
        ],
        &[("volume_lost", 1.20, 0.005), ("clearance_after", 57.03, 0.005), ("ratio_after", 10.17, 0.005)],
    );
    for (cut, ratio) in [("0.10 mm", 10.582), ("0.20 mm", 10.665), ("0.50 mm", 10.925)] {
        shows(
            "milling-effect",
            &[
                ("bore", "86 mm"),
                ("stroke", "86 mm"),
                ("compression_ratio", "10.5"),
                ("open_area", "45 cm2"),
                ("cut", cut),
            ],
            &[("ratio_after", ratio, 0.0005)],
        );
    }
    shows(
        "piston-deck",
        &[
            ("block_height", "206.50 mm"),
            ("stroke", "86 mm"),
            ("rod", "134 mm"),
            ("compression_height", "29.20 mm"),
            ("gasket_thickness", "0.70 mm"),
        ],
        &[("deck", 0.30, 1e-9), ("squish", 1.00, 1e-9)],
    );
}

#[test]
fn cranking_pressure_is_that_of_the_sheet() {
    let psi = 6.894_757;
    let at = |closing, air| {
        calculate(
            "cranking-pressure",
            &[
                ("compression_ratio", "9.98"),
                ("intake_closing", closing),
                ("stroke", "86 mm"),
                ("rod", "134 mm"),
                ("air_pressure", air),
            ],
        )
        .unwrap()
    };
    for (closing, air, expected) in [
        ("50 deg", "101.325 kPa", 208.0),
        ("50 deg", "84.6 kPa", 174.0),
        ("70 deg", "101.325 kPa", 173.0),
        ("70 deg", "84.6 kPa", 145.0),
    ] {
        let got = at(closing, air).value("gauge_pressure").unwrap() / psi;
        assert!((got - expected).abs() <= 0.6, "{closing} {air}: {got} against {expected}");
    }
    assert!((at("50 deg", "101.325 kPa").value("effective_ratio").unwrap() - 8.81).abs() < 0.005);
}

#[test]
fn bores_rings_and_bearings_are_those_of_the_sheet() {
    shows(
        "bore-oversize",
        &[("standard", "88 mm"), ("worst", "88.14 mm"), ("stock", "0.03 mm"), ("step", "0.25 mm")],
        &[
            ("size_on_worn_centre", 88.20, 1e-9),
            ("size_on_original_centre", 88.34, 1e-9),
            ("oversize_on_worn_centre", 0.25, 1e-9),
            ("oversize_on_original_centre", 0.50, 1e-9),
        ],
    );
    shows(
        "ring-gap",
        &[("bore", "88 mm"), ("gap_per_bore", "0.0045"), ("bore_change", "1 thou")],
        &[("gap", 0.396, 0.0005), ("gap_change", 0.0031 * 25.4, 0.002)],
    );
    shows(
        "bearing-clearance",
        &[("housing", "2.2500 in"), ("wall", "0.0615 in"), ("journal", "2.1247 in")],
        &[("clearance", 0.0023 * 25.4, 1e-9), ("per_journal", 1.08, 0.005)],
    );
    shows(
        "bearing-crush",
        &[("housing", "2.250 in"), ("excess", "0.006 in"), ("wall", "0.0615 in"), ("modulus", "30000000 psi")],
        &[
            ("strain", 0.85, 0.005),
            ("squeeze", 0.0019 * 25.4, 0.001),
            ("hoop_stress", 25.5 * 6.894_757, 0.5),
            ("back_pressure", 1.4 * 6.894_757, 0.4),
        ],
    );
    shows("plastic-strip", &[("strip", "0.26 mm"), ("width", "1.06 mm")], &[("clearance", 0.050, 0.0005)]);
    shows(
        "oil-clearance-heat",
        &[
            ("size", "60 mm"),
            ("housing_expansion", "21 ppm/K"),
            ("housing_rise", "70 K"),
            ("journal_expansion", "11.5 ppm/K"),
            ("journal_rise", "90 K"),
        ],
        &[("change", 0.026, 0.0005)],
    );
    shows(
        "piston-clearance",
        &[
            ("bore", "88.000 mm"),
            ("piston", "88.000 mm"),
            ("piston_temperature", "35 °C"),
            ("piston_expansion", "21 ppm/K"),
        ],
        &[("clearance", 0.028, 0.0005)],
    );
}

#[test]
fn bore_wear_is_that_of_the_worked_cylinder() {
    let readings = "86.052,86.094\n86.041,86.070\n86.016,86.022";
    shows(
        "bore-wear",
        &[("readings", readings), ("standard", "86 mm"), ("u_reading", "0.0025 mm"), ("u_setting", "0.002 mm")],
        &[("wear", 0.094, 1e-9), ("out_of_round", 0.042, 1e-9), ("taper", 0.072, 1e-9), ("largest", 86.094, 1e-9)],
    );
    let answer = calculate(
        "bore-wear",
        &[("readings", readings), ("standard", "86 mm"), ("u_reading", "0.0025 mm"), ("u_setting", "0.002 mm")],
    )
    .unwrap();
    assert!((answer.line("wear").unwrap().u.unwrap() - 0.003_201_562).abs() < 1e-8);
    assert!((answer.line("taper").unwrap().u.unwrap() - 0.003_535_534).abs() < 1e-8);
    // An oval of 0.040 mm hides behind 0.004 mm on two axes.
    shows("bore-wear", &[("readings", "86.030,86.034,86.052")], &[("out_of_round", 0.040_199_502, 1e-8)]);
    shows(
        "bore-wear",
        &[("readings", "86,030;86,034\n86,020;86,021")],
        &[("out_of_round", 0.004, 1e-9), ("taper", 0.013, 1e-9)],
    );
}

#[test]
fn doubt_is_carried_through_to_the_clearance() {
    let answer = calculate(
        "bearing-clearance",
        &[("housing", "57.007 mm ± 0.003 mm"), ("wall", "2.485 mm ± 0.0015 mm"), ("journal", "51.998 mm ± 0.0025 mm")],
    )
    .unwrap();
    let line = answer.line("clearance").unwrap();
    assert!((line.value - 0.039).abs() < 1e-9);
    // One wall for both shells: its doubt counts twice.
    assert!(
        (line.u.unwrap() - (0.003_f64.powi(2) + 4.0 * 0.0015_f64.powi(2) + 0.0025_f64.powi(2)).sqrt()).abs() < 1e-9
    );
    assert!((line.coverage.unwrap() - 0.682_689_492).abs() < 1e-9);
    let exact =
        calculate("bearing-clearance", &[("housing", "57.007 mm"), ("wall", "2.485 mm"), ("journal", "51.998 mm")])
            .unwrap();
    assert_eq!((exact.line("clearance").unwrap().u, exact.line("clearance").unwrap().coverage), (None, None));
}

#[test]
fn bolts_springs_and_seats_are_those_of_the_sheet() {
    for (factor, force) in [("0.15", 26_700.0), ("0.20", 20_000.0), ("0.12", 33_300.0)] {
        shows(
            "bolt-preload",
            &[("torque", "40 N.m"), ("diameter", "10 mm"), ("nut_factor", factor)],
            &[("preload_short", force, 50.0)],
        );
    }
    for (friction, force) in [("0.12", 23_900.0), ("0.10", 27_900.0), ("0.14", 20_900.0)] {
        shows(
            "bolt-preload",
            &[
                ("torque", "40 N.m"),
                ("diameter", "10 mm"),
                ("pitch", "1.5 mm"),
                ("thread_friction", friction),
                ("bearing_diameter", "13.5 mm"),
            ],
            &[("preload_long", force, 50.0)],
        );
    }
    shows(
        "bolt-angle",
        &[("pitch", "1.5 mm"), ("bolt_stiffness", "96 kN/mm"), ("joint_stiffness", "288 kN/mm"), ("angle", "90 deg")],
        &[("preload_gain", 27_000.0, 1e-6), ("stretch", 0.28, 0.005)],
    );
    shows(
        "valve-spring",
        &[
            ("load_1", "300 N"),
            ("height_1", "38.0 mm"),
            ("load_2", "700 N"),
            ("height_2", "28.5 mm"),
            ("sunk", "0.80 mm"),
        ],
        &[("rate", 42.1, 0.05), ("seat_load", 266.0, 0.5), ("change", -11.0, 0.5)],
    );
    shows(
        "valve-lash",
        &[("shim", "2.70 mm"), ("lash", "0.15 mm"), ("wanted", "0.20 mm")],
        &[("new_shim", 2.65, 1e-9)],
    );
    let seat = |head, seat| {
        [
            ("diameter", "36 mm"),
            ("interference", "0.130 mm"),
            ("head_expansion", "22 ppm/K"),
            ("seat_expansion", "12 ppm/K"),
            ("head_rise", head),
            ("seat_rise", seat),
        ]
    };
    for (head, insert, left) in [("160 K", "240 K", 0.107), ("180 K", "180 K", 0.065), ("240 K", "240 K", 0.044)] {
        shows("seat-fit", &seat(head, insert), &[("left", left, 0.0006), ("lets_go_at", 361.0, 0.5)]);
    }
    shows(
        "press-fit",
        &[
            ("diameter", "36 mm"),
            ("outer_diameter", "60 mm"),
            ("inner_diameter", "30 mm"),
            ("interference", "0.130 mm"),
            ("outer_modulus", "71 GPa"),
            ("inner_modulus", "120 GPa"),
            ("length", "6 mm"),
            ("friction", "0.15"),
        ],
        &[("pressure", 46.0, 0.7), ("force", 4.7, 0.1)],
    );
}

#[test]
fn intake_faces_of_a_v_are_those_of_the_sheet() {
    for (v, face, c, s) in [
        ("90", "45", 1.00, 1.41),
        ("90", "50", 1.10, 1.55),
        ("90", "55", 1.23, 1.72),
        ("60", "30", 0.58, 1.15),
        ("60", "40", 0.65, 1.29),
    ] {
        shows(
            "intake-face-cut",
            &[("v_angle", &format!("{v} deg")), ("face_angle", &format!("{face} deg")), ("cut", "1 mm")],
            &[("each_face", c, 0.006), ("end_rails", s, 0.006)],
        );
    }
}

#[test]
fn leak_down_is_that_of_the_sheet() {
    for (percent, ratio) in [("5 %", 0.66), ("10 %", 0.80), ("20 %", 0.97), ("30 %", 1.10), ("50 %", 1.33)] {
        let answer =
            calculate("leak-down", &[("orifice", "1 mm"), ("supply", "100 psi"), ("percent", percent)]).unwrap();
        assert!((answer.value("leak_diameter").unwrap() - ratio).abs() <= 0.006, "{percent}: {answer:?}");
    }
}

#[test]
fn gaps_under_a_straightedge_are_those_of_the_sheet() {
    shows(
        "flatness-straightedge",
        &[("gaps", "0,0; 75,0.02; 150,0.05; 225,0.07; 300,0.06; 375,0.03; 450,0")],
        &[("largest_gap", 0.07, 1e-12), ("local_dip", 0.015, 1e-12), ("local_dip_over", 150.0, 1e-9)],
    );
}

#[test]
fn friction_doubt_becomes_preload_doubt() {
    let answer =
        calculate("bolt-preload", &[("torque", "40 N.m"), ("diameter", "10 mm"), ("nut_factor", "0.20±0.03")]).unwrap();
    let line = answer.line("preload_short").unwrap();
    // F goes with 1/K, so 15 % of K is 15 % of F.
    assert!((line.u.unwrap() / line.value - 0.15).abs() < 1e-4);
}

#[test]
fn every_entry_of_the_catalogue_runs_its_own_example_and_says_what_it_declares() {
    for entry in catalogue() {
        let answer = entry.calculate(entry.example).unwrap_or_else(|error| panic!("{}: {error}", entry.id));
        assert!(!answer.results.is_empty() && !answer.sources.is_empty(), "{}", entry.id);
        for line in &answer.results {
            let declared = entry
                .outputs
                .iter()
                .find(|output| output.key == line.key)
                .unwrap_or_else(|| panic!("{} does not declare {}", entry.id, line.key));
            assert!(declared.unit.is_none_or(|unit| unit == line.unit), "{} {}", entry.id, line.key);
        }
        for (place, input) in entry.inputs.iter().enumerate() {
            assert!(
                !input.meaning.is_empty() && entry.inputs.iter().skip(place + 1).all(|other| other.key != input.key),
                "{} {}",
                entry.id,
                input.key
            );
            assert!(!(input.required && input.default.is_some()), "{} {}", entry.id, input.key);
            assert!(!input.key.contains('-'), "{} {}", entry.id, input.key);
        }
        let json = serde_json::to_value(&answer).unwrap();
        assert_eq!(json["calculator"], entry.id);
        for line in &answer.results {
            let told = &json["result"][line.key];
            assert!(
                told["value"].is_number()
                    && told["unit"].is_string()
                    && told.get("u").is_some()
                    && told.get("coverage").is_some(),
                "{told}"
            );
        }
        let listing = serde_json::to_value(entry).unwrap();
        assert!(
            listing["inputs"][0]["key"].is_string()
                && listing["inputs"][0]["required"].is_boolean()
                && listing["results"].is_array()
                && listing["sources"].is_array()
        );
    }
}

#[test]
fn every_mistake_names_the_key_what_was_typed_and_the_next_move() {
    let said = |id: &str, pairs: &[(&str, &str)], words: &[&str]| {
        let error = calculate(id, pairs).expect_err(id);
        let message = error.to_string();
        for word in words {
            assert!(message.contains(word), "{message:?} lacks {word:?}");
        }
        assert!(!message.ends_with('.'), "{message}");
        error
    };
    said("compresion-ratio", &[], &["compresion-ratio", "compression-ratio is the nearest"]);
    said("nothing-like-it-at-all", &[], &["type calc without a name"]);
    let ok = [("swept", "500 cc"), ("chamber", "50 cc")];
    let with = |key: &'static str, text: &'static str| [ok[0], ok[1], (key, text)];
    assert!(matches!(
        said("compression-ratio", &with("chambre", "5 cc"), &["chambre", "5 cc", "chamber"]),
        CalcError::UnknownKey { .. }
    ));
    assert!(matches!(
        said("compression-ratio", &with("chamber", "5 cc"), &["chamber", "50 cc", "5 cc", "keep one"]),
        CalcError::Twice { .. }
    ));
    assert!(matches!(
        said("compression-ratio", &[("swept", "500 cc")], &["chamber", "add chamber="]),
        CalcError::MissingKey { .. }
    ));
    assert!(matches!(
        said("compression-ratio", &[("bore", "88 mm"), ("chamber", "50 cc")], &["stroke"]),
        CalcError::MissingKey { .. }
    ));
    assert!(matches!(
        said("compression-ratio", &with("dish", "5 mm"), &["dish", "5 mm", "volume"]),
        CalcError::WrongUnit { .. }
    ));
    assert!(matches!(
        said(
            "compression-ratio",
            &[("bore", "88,123 mm"), ("stroke", "86 mm"), ("chamber", "50 cc")],
            &["bore", "88,123 mm", "?"]
        ),
        CalcError::Ambiguous { .. }
    ));
    assert!(matches!(
        said("compression-ratio", &[("swept", "NaN"), ("chamber", "50 cc")], &["swept", "NaN"]),
        CalcError::NotRead { .. }
    ));
    assert!(matches!(
        said("compression-ratio", &[("swept", "-500 cc"), ("chamber", "50 cc")], &["swept=-500 cc", "above zero"]),
        CalcError::OutOfDomain { .. }
    ));
    assert!(matches!(said("compression-ratio", &with("dish", "-60 cc"), &["sign"]), CalcError::DoNotGoTogether { .. }));
    assert!(matches!(
        said("flatness-grid", &[("points", "0,0,0;1,0,x;0,1,0;1,1,0")], &["points, row 2, column 3", "\"x\""]),
        CalcError::BadTable { row: 2, column: 3, .. }
    ));
    assert!(matches!(
        said("flatness-grid", &[("points", "0,0,0;1,0;0,1,0;1,1,0")], &["row 2", "columns"]),
        CalcError::BadTable { .. }
    ));
    said("flatness-grid", &[("points", "0,0,0;1,0,0;0,1,0")], &["at least four"]);
    said("flatness-grid", &[("points", "0,0,0;1,0,0;2,0,0;3,0,0")], &["one line"]);
    said(
        "leak-down",
        &[("orifice", "1 mm"), ("supply", "70 psi"), ("reading", "80 psi")],
        &["reading=80 psi", "above the supply"],
    );
    said("conformity", &[("value", "1 mm"), ("upper", "2 bar")], &["upper", "2 bar", "length"]);
    said("conformity", &[("value", "1 mm"), ("lower", "3 mm"), ("upper", "2 mm")], &["edges"]);
    said("unit", &[("value", "7 thou"), ("to", "bar")], &["to=bar", "length", "mm"]);
    said("unit", &[("value", "7 thou"), ("to", "blobs")], &["to=blobs", "mm"]);
    said(
        "piston-clearance",
        &[
            ("bore", "88 mm"),
            ("piston", "87.9 mm"),
            ("piston_temperature", "-300 °C"),
            ("piston_expansion", "21 ppm/K"),
        ],
        &["absolute zero"],
    );
}

#[test]
fn conformity_says_its_verdict_and_its_rule() {
    let answer =
        calculate("conformity", &[("value", "0.075 mm ± 0.005 mm"), ("upper", "0.05 mm"), ("reject_upper", "0.10 mm")])
            .unwrap();
    assert!(answer.notes.iter().any(|note| note == "verdict: usable by judgement"), "{:?}", answer.notes);
    assert!(answer.notes.iter().any(|note| note.starts_with("rule:")));
    assert!(answer.line("probability_inside").unwrap().u.is_none());
    // Values may be typed in different units of one kind.
    let answer = calculate("conformity", &[("value", "3 thou"), ("u", "5 um"), ("upper", "0.1 mm")]).unwrap();
    assert!((answer.value("accept_to").unwrap() - (0.1 - 1.644_853_6 * 0.005) / 0.0254).abs() < 1e-5);
}
