//! Press fits and seat inserts against a numerical solution of two elastic rings, an element table, and each other.
//!
//! Sources:  `reference/fits/press_fits.json`, made by `make_press_fits.py` beside it; `reference/checks.json`
//! Value by: `SciPy`'s collocation solver and the element table of pymatgen-core, not by this code
//! Digits:   1e-6 of the pressure, the solver's tolerance

#![expect(clippy::unwrap_used, clippy::panic, reason = "the helpers of a test may fail it")]

mod common;

use mechanics::fits::{METALS, metal_of};
use mechanics::{Answer, calculate, calculator};
use proptest::prelude::*;
use serde_json::Value;

use common::{near, run};

fn reference() -> Value {
    serde_json::from_str(include_str!("../../../reference/fits/press_fits.json")).unwrap()
}

#[test]
fn pressure_and_ring_stresses_with_heat_agree_with_two_elastic_rings() {
    for case in reference()["press_fits"].as_array().unwrap() {
        let figure = |part: &str, place: usize| case[part][place].as_f64().unwrap();
        let mm = |key: &str| format!("{} mm", case[key]);
        let answer = run(
            "seat-fit",
            &[
                ("diameter", mm("d")),
                ("boss_diameter", mm("do")),
                ("seat_inner_diameter", mm("di")),
                ("interference", mm("delta")),
                ("head_modulus", format!("{} MPa", figure("outer", 0))),
                ("seat_modulus", format!("{} MPa", figure("inner", 0))),
                ("head_poisson", figure("outer", 1).to_string()),
                ("seat_poisson", figure("inner", 1).to_string()),
                ("head_expansion", format!("{} 1/K", figure("outer", 2))),
                ("seat_expansion", format!("{} 1/K", figure("inner", 2))),
                ("head_rise", format!("{} K", figure("outer", 3))),
                ("seat_rise", format!("{} K", figure("inner", 3))),
            ],
        );
        let what = case.to_string();
        near(&what, answer.value("pressure_hot").unwrap(), case["pressure"].as_f64().unwrap(), 1e-6);
        // Ring stresses are told cold; the hot ones go with the pressure.
        let share = answer.value("pressure_hot").unwrap() / answer.value("pressure_cold").unwrap();
        near(&what, answer.value("head_hoop").unwrap() * share, case["outer_hoop"].as_f64().unwrap(), 1e-6);
        near(&what, answer.value("seat_hoop").unwrap() * share, case["inner_hoop"].as_f64().unwrap(), 1e-6);
    }
}

#[test]
fn metals_by_word_are_those_of_the_tables() {
    let all: Vec<Value> = serde_json::from_str(include_str!("../../../reference/checks.json")).unwrap();
    let listed = all.iter().find(|entry| entry["id"] == "cte-values").unwrap();
    let library = reference();
    for word in ["aluminium", "iron", "copper"] {
        let metal = metal_of(word).unwrap();
        let expected = listed["expected"][word]["value"].as_f64().unwrap();
        assert!((metal.expansion - expected).abs() <= 0.1, "{word}: {} against {expected}", metal.expansion);
        let row = &library["metals"][word];
        near(word, metal.expansion * 1e-6, row["expansion_per_K"].as_f64().unwrap(), 1e-9);
        near(word, metal.modulus, row["modulus_GPa"].as_f64().unwrap(), 1e-9);
        near(word, metal.poisson, row["poisson"].as_f64().unwrap(), 1e-9);
    }
    // The ranges that the listed check remembers for engine metals.
    for (word, low, high) in [("grey-iron", 10.5, 11.5), ("steel", 11.3, 12.0), ("aluminium-head", 20.0, 22.0)] {
        assert!((low..=high).contains(&metal_of(word).unwrap().expansion), "{word}");
    }
    for metal in METALS {
        assert!(
            ["[published", "[common-practice", "[elicited", "[from-memory"]
                .iter()
                .any(|tag| metal.source.contains(tag))
        );
        // Every word can be chosen, and no other.
        for id in ["press-fit", "seat-fit"] {
            let input = calculator(id).unwrap().inputs.iter().find(|input| input.key.ends_with("_material")).unwrap();
            assert!(input.choices.contains(&metal.word) && input.choices.len() == METALS.len(), "{}", metal.word);
        }
    }
}

#[test]
fn a_word_and_its_figures_say_the_same_and_a_typed_figure_goes_first() {
    let base = |more: &[(&'static str, &'static str)]| {
        let pairs = [
            ("diameter", "36 mm"),
            ("outer_diameter", "60 mm"),
            ("inner_diameter", "30 mm"),
            ("interference", "0.13 mm"),
        ];
        calculate("press-fit", &[&pairs[..], more].concat()).unwrap()
    };
    let words = base(&[("outer_material", "aluminium-head"), ("inner_material", "sintered-seat")]);
    let figures = base(&[
        ("outer_modulus", "71 GPa"),
        ("inner_modulus", "120 GPa"),
        ("outer_poisson", "0.33"),
        ("inner_poisson", "0.3"),
    ]);
    assert_eq!(words.value("pressure"), figures.value("pressure"));
    assert!(words.notes.iter().any(|note| note.contains("aluminium head") && note.contains("[published")));
    let stiffer =
        base(&[("outer_material", "aluminium-head"), ("outer_modulus", "80 GPa"), ("inner_material", "sintered-seat")]);
    assert!(stiffer.value("pressure") > words.value("pressure"));
}

#[test]
fn the_dropped_seat_and_the_fitting_of_the_shop_sheet_come_out() {
    let seat = |interference: &str, more: &[(&'static str, &'static str)]| {
        let mut pairs = vec![
            ("diameter", "36 mm".to_owned()),
            ("interference", interference.to_owned()),
            ("head_expansion", "22 ppm/K".to_owned()),
            ("seat_expansion", "12 ppm/K".to_owned()),
        ];
        pairs.extend(more.iter().map(|(key, text)| (*key, (*text).to_owned())));
        run("seat-fit", &pairs)
    };
    let dropped = seat("0.050 mm", &[]);
    assert!((dropped.value("lets_go_at").unwrap() - 139.0).abs() < 0.5);
    assert!((dropped.value("lets_go_temperature").unwrap() - 159.0).abs() < 0.5);
    // Head 100 K up and insert 80 K down closes 0.114 of 0.130; 130 K and 98 K open it by 0.145.
    let pressed = seat("0.130 mm", &[("head_at", "120 °C"), ("seat_at", "-60 °C")]);
    assert!((pressed.value("clearance_when_fitting").unwrap() + 0.016).abs() < 0.0006, "{pressed:?}");
    let slides = seat("0.130 mm", &[("head_at", "150 °C"), ("seat_at", "-78 °C")]);
    assert!((slides.value("clearance_when_fitting").unwrap() - 0.015).abs() < 0.0006, "{slides:?}");
    let cautions = slides.cautions.join(" ");
    assert!(["nitrogen", "air out of", "temper", "manual"].iter().all(|word| cautions.contains(word)), "{cautions}");
}

#[test]
fn what_does_not_go_together_is_said() {
    let said = |id: &str, pairs: &[(&str, &str)], words: &[&str]| {
        let message = calculate(id, pairs).unwrap_err().to_string();
        assert!(words.iter().all(|word| message.contains(word)), "{message}");
    };
    let seat = [("diameter", "36 mm"), ("head_material", "aluminium-head"), ("seat_material", "sintered-seat")];
    let with = |more: &[(&'static str, &'static str)]| [&seat[..], more].concat();
    said("seat-fit", &with(&[]), &["interference"]);
    said("seat-fit", &with(&[("wanted_pressure", "30 MPa")]), &["boss_diameter"]);
    said("seat-fit", &with(&[("interference", "0.1 mm"), ("seat_at", "80 °C")]), &["seat_at=80 °C", "cooled"]);
    said("seat-fit", &with(&[("interference", "0.1 mm"), ("head_at", "-80 °C")]), &["head_at=-80 °C", "heated"]);
    said("seat-fit", &with(&[("interference", "0.1 mm"), ("boss_diameter", "60 mm")]), &["belong together"]);
    said(
        "seat-fit",
        &with(&[("interference", "0.1 mm"), ("boss_diameter", "30 mm"), ("seat_inner_diameter", "20 mm")]),
        &["boss_diameter=30 mm", "exchanged"],
    );
    said("seat-fit", &[("diameter", "36 mm"), ("interference", "0.1 mm")], &["head_expansion"]);
    said(
        "seat-fit",
        &[("diameter", "36 mm"), ("interference", "0.1 mm"), ("head_material", "cheese")],
        &["head_material=cheese", "grey-iron"],
    );
    said(
        "press-fit",
        &[("diameter", "36 mm"), ("outer_diameter", "60 mm"), ("interference", "0.1 mm")],
        &["outer_modulus"],
    );
}

fn seat(interference: f64, more: &[(&'static str, String)]) -> Answer {
    let mut pairs = vec![
        ("diameter", "36 mm".to_owned()),
        ("head_material", "aluminium-head".to_owned()),
        ("seat_material", "sintered-seat".to_owned()),
        ("boss_diameter", "60 mm".to_owned()),
        ("seat_inner_diameter", "30 mm".to_owned()),
        ("depth", "6 mm".to_owned()),
        ("friction", "0.15".to_owned()),
    ];
    if interference > 0.0 {
        pairs.push(("interference", format!("{interference} mm")));
    }
    pairs.extend_from_slice(more);
    run("seat-fit", &pairs)
}

proptest! {
    #[test]
    fn heat_of_an_aluminium_head_only_ever_loosens_the_insert(interference in 0.02..0.2_f64, rise in 0.0..250.0_f64, more in 0.5..50.0_f64) {
        let hot = |rise: f64| seat(interference, &[("head_rise", format!("{rise} K")), ("seat_rise", format!("{rise} K"))]);
        let (here, hotter) = (hot(rise), hot(rise + more));
        prop_assert!(hotter.value("left").unwrap() < here.value("left").unwrap());
        prop_assert!(hotter.value("pressure_hot").unwrap() <= here.value("pressure_hot").unwrap());
        prop_assert!(hotter.value("force_hot").unwrap() <= here.value("force_hot").unwrap());
        // A hotter seat alone holds tighter.
        let seat_only = seat(interference, &[("head_rise", format!("{rise} K")), ("seat_rise", format!("{} K", rise + more))]);
        prop_assert!(seat_only.value("left").unwrap() > here.value("left").unwrap());
        // At the temperature at which it lets go nothing is left.
        let gone = here.value("lets_go_at").unwrap();
        prop_assert!(hot(gone).value("left").unwrap().abs() < 1e-9);
    }

    #[test]
    fn the_interference_for_a_wanted_hold_gives_that_hold(pressure in 1.0..80.0_f64, rise in 0.0..250.0_f64) {
        let heat = [("head_rise", format!("{rise} K")), ("seat_rise", format!("{} K", rise + 40.0))];
        let asked = seat(0.0, &[&heat[..], &[("wanted_pressure", format!("{pressure} MPa"))]].concat());
        let interference = asked.value("interference_wanted").unwrap();
        prop_assume!(interference > 0.0);
        let got = seat(interference, &heat);
        prop_assert!((got.value("pressure_hot").unwrap() - pressure).abs() < 1e-8 * pressure.max(1.0));
        let force = got.value("force_hot").unwrap();
        let by_force = seat(0.0, &[&heat[..], &[("wanted_force", format!("{force} kN"))]].concat());
        prop_assert!((by_force.value("interference_wanted").unwrap() - interference).abs() < 1e-9);
    }

    #[test]
    fn heated_and_cooled_as_told_the_insert_slides_in_with_the_clearance_wanted(
        interference in 0.05..0.2_f64, clearance in 0.0..0.05_f64, seat_at in -196.0..20.0_f64
    ) {
        let want = ("fitting_clearance", format!("{clearance} mm"));
        let cold = ("seat_at", format!("{seat_at} °C"));
        let head_at = seat(interference, &[want.clone(), cold.clone()]).value("head_temperature").unwrap();
        prop_assume!(head_at > 20.001);
        let fitted = seat(interference, &[want, cold, ("head_at", format!("{head_at} °C"))]);
        prop_assert!((fitted.value("clearance_when_fitting").unwrap() - clearance).abs() < 1e-9);
        prop_assert!((fitted.value("seat_temperature").unwrap() - seat_at).abs() < 1e-6);
    }

    #[test]
    fn pressure_goes_with_interference_and_a_thicker_boss_holds_tighter(interference in 0.01..0.2_f64, boss in 45.0..120.0_f64) {
        let at = |interference: f64, boss: f64| run("press-fit", &[
            ("diameter", "36 mm".into()), ("outer_diameter", format!("{boss} mm")), ("inner_diameter", "30 mm".into()),
            ("interference", format!("{interference} mm")), ("outer_material", "grey-iron".into()), ("inner_material", "hard-steel-seat".into()),
        ]).value("pressure").unwrap();
        prop_assert!((at(2.0 * interference, boss) - 2.0 * at(interference, boss)).abs() < 1e-8 * at(interference, boss));
        prop_assert!(at(interference, boss * 1.05) > at(interference, boss));
    }
}
