//! Every layout there can be: positions, addresses, relations and contacts.
//!
//! Nothing here is compared with our own output: the counts follow from what the words mean (a row of n cylinders has
//! n - 1 bridges), and the site list is the knowledge files' own list.

#![expect(clippy::expect_used, clippy::unwrap_used, clippy::indexing_slicing, reason = "helpers of tests")]

use std::collections::BTreeSet;

use anatomy::{
    Arrangement, Bank, EngineLayout, Fuel, HeadDivision, LayoutDescription, Numbering, Position, RelativeSite, Scope,
    ValveGear,
};

/// All combinations of the fields that change which places there are: more than three thousand layouts.
fn every_layout() -> Vec<EngineLayout> {
    let mut layouts = Vec::new();
    for &arrangement in Arrangement::ALL {
        for cylinders in 1..=16_u8 {
            let splits: Vec<Option<Vec<u8>>> = match arrangement {
                Arrangement::Inline => vec![None],
                Arrangement::V | Arrangement::Flat if cylinders == 1 => continue,
                Arrangement::V | Arrangement::Flat if cylinders % 2 == 1 => {
                    vec![Some(vec![cylinders / 2 + 1, cylinders / 2]), Some(vec![1, cylinders - 1])]
                }
                Arrangement::V | Arrangement::Flat => vec![None],
            };
            for split in splits {
                for &valve_gear in ValveGear::ALL {
                    for valves in 2..=5 {
                        for intake in [None, Some(1)] {
                            for &heads in HeadDivision::ALL {
                                for shared in [false, true] {
                                    for &fuel in Fuel::ALL {
                                        let mut d = LayoutDescription::new(arrangement, cylinders, fuel, valve_gear);
                                        d.valves_per_cylinder = Some(valves);
                                        d.intake_valves_per_cylinder = intake;
                                        d.bank_split = split.clone();
                                        d.heads = Some(heads);
                                        if shared {
                                            let in_a = split.as_ref().map_or(cylinders.div_ceil(2), |s| s[0].max(s[1]));
                                            d.rod_journals =
                                                Some(if arrangement == Arrangement::Inline { cylinders } else { in_a });
                                            d.main_bearings = Some(2);
                                        }
                                        layouts.push(EngineLayout::new(d).expect("a layout that can be"));
                                    }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
    layouts
}

#[test]
fn positions_are_unique_in_order_and_their_addresses_come_back() {
    let layouts = every_layout();
    assert!(layouts.len() > 3000, "only {} layouts", layouts.len());
    for layout in layouts {
        let all = layout.all_positions();
        let different: BTreeSet<Position> = all.iter().copied().collect();
        assert_eq!(different.len(), all.len(), "{}", layout.in_words());
        assert!(all.is_sorted(), "{}", layout.in_words());
        for position in all {
            assert!(layout.contains(&position));
            assert_eq!(layout.ensure(&position), Ok(()));
            assert_eq!(position.address().parse(), Ok(position));
        }
    }
}

#[test]
fn each_bank_has_one_bridge_less_than_cylinders() {
    for layout in every_layout() {
        let mut cylinders = 0;
        for bank in layout.banks() {
            let row = layout.cylinders_of(bank);
            cylinders += row.len();
            let pairs = layout.related(RelativeSite::PairsOfThisBank, &Position::Bank(bank));
            assert_eq!(pairs.len(), row.len() - 1, "{}", layout.in_words());
            for (pair, two) in pairs.iter().zip(row.windows(2)) {
                assert_eq!(pair.pair(), Some((two[0], two[1])));
            }
        }
        assert_eq!(cylinders, usize::from(layout.cylinders()));
        let valves = layout.positions(Scope::ValveIntake).len() + layout.positions(Scope::ValveExhaust).len();
        assert_eq!(valves, cylinders * usize::from(layout.valves_per_cylinder()));
        assert_eq!(layout.positions(Scope::RodBearing).len(), cylinders);
        let covered: Vec<u8> = layout.heads().into_iter().flat_map(|head| head.cylinders).collect();
        assert_eq!(covered, (1..=layout.cylinders()).collect::<Vec<u8>>());
    }
}

#[test]
fn relations_stay_inside_the_engine_and_lead_to_the_promised_kind() {
    for layout in every_layout() {
        for at in layout.all_positions() {
            for &site in RelativeSite::ALL {
                let found = layout.related(site, &at);
                assert!(found.is_sorted(), "{site} from {at}");
                let different: BTreeSet<Position> = found.iter().copied().collect();
                assert_eq!(different.len(), found.len(), "{site} from {at}");
                for place in found {
                    assert!(layout.contains(&place), "{site} from {at} gave {place}");
                    assert!(site.scopes().contains(&place.scope()), "{site} from {at} gave {place}");
                }
            }
        }
    }
}

#[test]
fn contact_is_mutual_and_nothing_touches_itself() {
    for layout in every_layout().into_iter().step_by(7) {
        for at in layout.all_positions() {
            let touching = layout.touches(&at);
            assert!(!touching.contains(&at));
            assert!(
                !touching.is_empty() || at.scope() == Scope::Engine,
                "{at} touches nothing on {}",
                layout.in_words()
            );
            for other in touching {
                assert!(layout.contains(&other));
                assert!(layout.touches(&other).contains(&at), "{at} and {other}");
            }
        }
    }
}

#[test]
fn every_valve_has_one_cam_and_every_cam_drives_valves() {
    for layout in every_layout() {
        let mut driven = BTreeSet::new();
        for valve in layout.related(RelativeSite::AnyValve, &Position::Engine) {
            let cams = layout.related(RelativeSite::CamOfThisValve, &valve);
            assert_eq!(cams.len(), 1, "{valve}");
            driven.extend(cams);
        }
        assert_eq!(driven.into_iter().collect::<Vec<_>>(), layout.positions(Scope::Cam));
    }
}

#[test]
fn every_rod_runs_on_a_journal_and_no_journal_stays_empty() {
    for layout in every_layout() {
        let used: BTreeSet<u8> = (1..=layout.cylinders()).filter_map(|n| layout.rod_journal_of(n)).collect();
        assert_eq!(used, (1..=layout.rod_journals()).collect::<BTreeSet<u8>>(), "{}", layout.in_words());
    }
}

#[test]
fn names_are_different_and_lead_back_to_their_cylinder() {
    for layout in every_layout() {
        for n in 1..=layout.cylinders() {
            let name = layout.cylinder_name(n).expect("a name");
            assert_eq!(layout.cylinder_named(&name), Ok(n));
        }
        assert!(layout.front_statement().contains("flywheel"));
    }
}

#[test]
fn a_layout_survives_json_and_toml_and_keeps_what_was_assumed() {
    for layout in every_layout().into_iter().step_by(11) {
        let json = serde_json::to_string(&layout).unwrap();
        assert_eq!(serde_json::from_str::<EngineLayout>(&json).unwrap(), layout);
        let toml = toml::to_string(&layout).unwrap();
        let back = toml::from_str::<EngineLayout>(&toml).unwrap();
        assert_eq!(back.assumed(), layout.assumed());
        assert_eq!(back, layout);
    }
}

/// The network's own attribute list with its values, and the words a layout may answer for each.
const ATTRIBUTES: [(&str, &[&str]); 16] = [
    ("fuel", &["petrol", "diesel"]),
    ("head-material", &["aluminium", "iron"]),
    ("block-material", &["aluminium", "iron"]),
    ("bore-type", &["iron-bore", "iron-liner", "coated-aluminium"]),
    ("valvetrain", &["ohc", "ohv"]),
    ("follower-type", &["flat", "roller", "direct-bucket"]),
    ("seat-type", &["insert", "integral"]),
    ("interference", &["yes", "no"]),
    ("timing-drive-type", &["chain", "belt", "gear"]),
    ("induction", &["unboosted", "boosted"]),
    ("oil-cooler-fitted", &["yes", "no"]),
    ("liner", &["none", "dry", "wet"]),
    ("gasket", &["multi-layer-steel", "composite", "copper", "solid-steel", "none"]),
    ("arrangement", &["inline", "v", "flat"]),
    ("valves-per-cylinder", &["2", "3", "4", "5"]),
    ("cylinders-per-bank", &["1", "2", "3", "4", "5", "6", "7", "8", "9", "10", "11", "12", "13", "14", "15", "16"]),
];

#[test]
fn attributes_answer_with_the_words_of_the_network() {
    assert_eq!(ATTRIBUTES.map(|(name, _)| name), EngineLayout::ATTRIBUTES);
    for layout in every_layout().into_iter().step_by(5) {
        for (name, words) in ATTRIBUTES {
            match layout.attribute(name) {
                Some(word) => assert!(words.contains(&word), "{name}: {word}"),
                None => assert!(["interference", "oil-cooler-fitted"].contains(&name), "{name} is not answered"),
            }
        }
        assert_eq!(layout.attribute("odometer"), None);
    }
}

/// The twenty-seven sites of the knowledge files.
const SITES: [&str; 27] = [
    "engine",
    "this-bank",
    "any-bank",
    "this-cylinder",
    "any-cylinder",
    "cylinders-of-this-bank",
    "this-pair",
    "pairs-of-this-cylinder",
    "pairs-of-this-bank",
    "any-pair",
    "this-valve",
    "valves-of-this-cylinder",
    "intake-valves-of-this-cylinder",
    "exhaust-valves-of-this-cylinder",
    "valves-of-this-bank",
    "any-valve",
    "this-cam",
    "cam-of-this-valve",
    "cams-of-this-cylinder",
    "any-cam",
    "this-rod-bearing",
    "rod-bearing-of-this-cylinder",
    "any-rod-bearing",
    "this-main-bearing",
    "any-main-bearing",
    "this-journal",
    "any-journal",
];

#[test]
fn all_twenty_seven_sites_are_there_under_their_own_words() {
    let words: Vec<&str> = RelativeSite::ALL.iter().map(|site| site.word()).collect();
    assert_eq!(words, SITES);
    for word in SITES {
        let site: RelativeSite = serde_json::from_str(&format!("\"{word}\"")).unwrap();
        assert_eq!(site.word(), word);
    }
}

fn names(positions: &[Position]) -> Vec<String> {
    positions.iter().map(Position::address).collect()
}

#[test]
fn a_v8_with_four_valves_relates_its_places_as_a_person_would() {
    let v8 = EngineLayout::plain(Arrangement::V, 8, Fuel::Petrol, ValveGear::TwinCam).unwrap();
    let valve: Position = "cyl-6-ex-2".parse().unwrap();
    let from = |site| names(&v8.related(site, &valve));
    assert_eq!(v8.attribute("cylinders-per-bank"), Some("4"));
    assert_eq!(v8.attribute("valves-per-cylinder"), Some("4"));
    assert_eq!(from(RelativeSite::ThisBank), ["bank-B"]);
    assert_eq!(from(RelativeSite::ThisCylinder), ["cyl-6"]);
    assert_eq!(from(RelativeSite::CamOfThisValve), ["cam-B-ex"]);
    assert_eq!(from(RelativeSite::CamsOfThisCylinder), ["cam-B-in", "cam-B-ex"]);
    assert_eq!(from(RelativeSite::PairsOfThisCylinder), ["pair-5-6", "pair-6-7"]);
    assert_eq!(from(RelativeSite::IntakeValvesOfThisCylinder), ["cyl-6-in-1", "cyl-6-in-2"]);
    assert_eq!(from(RelativeSite::RodBearingOfThisCylinder), ["rod-6"]);
    assert_eq!(from(RelativeSite::ThisMainBearing), Vec::<String>::new());
    assert_eq!(v8.related(RelativeSite::ValvesOfThisBank, &valve).len(), 16);
    assert_eq!(v8.related(RelativeSite::AnyJournal, &valve).len(), 5 + 8);
    // Rods of cylinders 2 and 6 share a journal between mains 2 and 3.
    assert_eq!(names(&v8.touches(&"rod-2".parse().unwrap())), ["cyl-2", "main-2", "main-3", "rod-6"]);
    assert_eq!(v8.cylinder_name(6).unwrap(), "B2");
    assert_eq!(v8.label(&valve), "cylinder B2, exhaust valve 2");
    assert!(!v8.contains(&"pair-4-5".parse().unwrap()), "cylinders 4 and 5 stand in different banks");
}

#[test]
fn a_pushrod_engine_has_one_cam_in_the_block() {
    let six = EngineLayout::plain(Arrangement::Inline, 6, Fuel::Diesel, ValveGear::Pushrod).unwrap();
    assert_eq!(names(&six.positions(Scope::Cam)), ["cam"]);
    assert_eq!(six.positions(Scope::MainBearing).len(), 7);
    assert_eq!(six.attribute("valvetrain"), Some("ohv"));
    assert_eq!(six.bank_of(&"cam".parse().unwrap()), None);
    let two = EngineLayout::plain(Arrangement::Flat, 2, Fuel::Petrol, ValveGear::Pushrod).unwrap();
    assert_eq!(two.positions(Scope::MainBearing).len(), 2);
    assert_eq!(two.positions(Scope::AdjacentPair), Vec::new());
    assert_eq!(two.heads().len(), 2);
}

#[test]
fn the_makers_own_names_are_used_and_told_apart() {
    let text = r#"
        arrangement = "v"
        cylinders = 4
        fuel = "petrol"
        valve_gear = "pushrod"
        front = "driving-end"
        front_note = "towards the left wheel"
        [numbering]
        by = "maker"
        cylinder_names = ["1", "3", "2", "4"]
        bank_names = ["left", "right"]
        first_end = "free-end"
        document = "Tolvane workshop sheet 3"
    "#;
    let layout: EngineLayout = toml::from_str(text).unwrap();
    assert_eq!(layout.cylinder_named("3"), Ok(2));
    assert_eq!(layout.label(&"pair-3-4".parse().unwrap()), "between cylinders 2 and 4");
    assert_eq!(layout.bank_name(Bank::B), "right");
    assert_eq!(
        layout.front_statement(),
        "front is the driving (flywheel) end (towards the left wheel); cylinders are counted from the free end (opposite \
         the flywheel), with the maker's names (Tolvane workshop sheet 3)"
    );
    let lacking = layout.cylinder_named("5").unwrap_err().to_string();
    assert_eq!(lacking, "cylinder name `5`: this engine has 1, 3, 2, 4; use one of these names");
}

fn refusal(text: &str) -> String {
    serde_json::from_str::<EngineLayout>(text).unwrap_err().to_string()
}

#[test]
fn impossible_engines_are_refused_with_the_field_and_the_next_move() {
    let with = |extra: &str| {
        format!("{{\"arrangement\":\"v\",\"cylinders\":8,\"fuel\":\"petrol\",\"valve_gear\":\"pushrod\"{extra}}}")
    };
    assert!(serde_json::from_str::<EngineLayout>(&with("")).is_ok());
    let cases = [
        (with("").replace('8', "0"), "cylinders = 0"),
        (with("").replace('8', "17"), "cylinders = 17"),
        (with("").replace('8', "1"), "call a single cylinder inline"),
        (with("").replace('8', "5"), "an odd count needs bank_split, for example [3, 2]"),
        (with(",\"bank_split\":[5,4]"), "bank_split = [5, 4]"),
        (with(",\"bank_split\":[8,0]"), "bank_split = [8, 0]"),
        (with(",\"valves_per_cylinder\":6"), "valves_per_cylinder = 6"),
        (with(",\"intake_valves_per_cylinder\":2"), "intake_valves_per_cylinder = 2 of 2"),
        (with(",\"follower\":\"direct-bucket\""), "choose flat or roller"),
        (with(",\"bore_kind\":\"iron-bore\",\"liner\":\"wet\""), "a bore cut in the block has no liner"),
        (with(",\"bore_kind\":\"iron-liner\",\"liner\":\"none\""), "an iron liner is dry or wet"),
        (with(",\"bore_kind\":\"iron-bore\",\"block_material\":\"aluminium\""), "no iron bore of its own"),
        (with(",\"bore_kind\":\"coated-aluminium\""), "an iron block has no aluminium bore"),
        (with(",\"main_bearings\":1"), "main_bearings = 1: expected 2 to 6"),
        (with(",\"rod_journals\":6"), "expected 8 (one for each rod) or 4"),
        (with(",\"turbo\":true"), "unknown field `turbo`"),
        (
            with(",\"numbering\":{\"by\":\"maker\",\"first_end\":\"free-end\",\"cylinder_names\":[\"1\",\"1\"]}"),
            "expected 8 different, non-empty cylinder names, found 1",
        ),
    ];
    for (text, expected) in cases {
        let said = refusal(&text);
        assert!(said.contains(expected), "{text} gave: {said}");
    }
}

#[test]
fn a_place_the_engine_lacks_is_refused_and_what_there_is_is_named() {
    let four = EngineLayout::plain(Arrangement::Inline, 4, Fuel::Petrol, ValveGear::TwinCam).unwrap();
    let said = four.ensure(&"cyl-5".parse().unwrap()).unwrap_err().to_string();
    assert_eq!(
        said,
        "position cyl-5: this engine (inline 4, petrol, 16 valves, twin-cam) has no such place; it has cyl-1 to cyl-4; \
         choose one of these or correct the engine layout"
    );
    for lacking in ["bank-B", "pair-4-5", "cyl-1-in-3", "main-6", "rod-5", "cam", "cam-A", "cam-B-in"] {
        assert!(four.ensure(&lacking.parse().unwrap()).is_err(), "{lacking}");
    }
}

#[test]
fn texts_that_only_look_like_addresses_are_refused() {
    for text in [
        "",
        "Engine",
        "cyl",
        "cyl-",
        "cyl-0",
        "cyl-01",
        "cyl-100",
        "cyl-x",
        "cyl-1-",
        "cyl-1-in",
        "cyl-1-in-0",
        "cyl--1",
        "pair-1",
        "pair-1-3",
        "pair-2-1",
        "bank-C",
        "bank-a",
        "cam-in",
        "cam-A-mid",
        "main-+1",
        "rod- 1",
        " cyl-1",
    ] {
        assert!(text.parse::<Position>().is_err(), "{text}");
    }
}

proptest::proptest! {
    #[test]
    fn any_text_is_either_refused_or_printed_back_as_it_was(text in "[a-zA-Z0-9-]{0,16}") {
        if let Ok(position) = text.parse::<Position>() {
            assert_eq!(position.to_string(), text);
        }
    }
}

#[test]
fn without_any_word_on_numbering_iso_1204_is_used_and_counted_as_assumed() {
    let four = EngineLayout::plain(Arrangement::Inline, 4, Fuel::Petrol, ValveGear::TwinCam).unwrap();
    assert_eq!(four.numbering(), Numbering::Iso1204);
    assert!(four.front_statement().contains("cylinders are counted from the driving (flywheel) end"));
    assert!(four.assumed().iter().any(|a| a.field == "numbering"));
}

#[test]
fn two_stroke_and_rotary_engines_are_refused_in_so_many_words_however_they_are_told() {
    let told = |more: &str, arrangement: &str| {
        let text = format!(
            r#"{{"arrangement": "{arrangement}", "cylinders": 1, "fuel": "petrol", "valve_gear": "pushrod"{more}}}"#
        );
        serde_json::from_str::<EngineLayout>(&text).map_err(|e| e.to_string())
    };
    for (more, arrangement) in [
        (r#", "works": "two-stroke""#, "inline"),
        (r#", "works": "rotary""#, "inline"),
        ("", "rotary"),
        ("", "two-stroke"),
    ] {
        let why = told(more, arrangement).unwrap_err();
        assert!(why.contains("two-stroke and rotary engines are not covered"), "{more} {arrangement}: {why}");
    }
    assert!(told("", "star").unwrap_err().contains("expected one of `inline`, `v`, `flat`"));
    // What goes without saying is not kept, so what is written does not change.
    let four = told(r#", "works": "four-stroke""#, "inline").unwrap();
    assert_eq!(four, told("", "inline").unwrap());
    assert!(!serde_json::to_string(&four).unwrap().contains("works"));
}
