//! The pictures: every place is there, a mark moves with its valve, each has its words, each is well-formed.

use std::collections::BTreeMap;

use anatomy::{Arrangement, EngineLayout, Fuel, HeadDivision, LayoutDescription, Position, Scope, ValveGear};
use documents::pictures::{self, Breadth, Mark};
use knowledge::limits::Characteristic;
use knowledge::workshop::Works;

fn engine(arrangement: Arrangement, cylinders: u8, valves: u8) -> EngineLayout {
    let mut d = LayoutDescription::new(arrangement, cylinders, Fuel::Petrol, ValveGear::SingleCam);
    d.valves_per_cylinder = Some(valves);
    EngineLayout::new(d).unwrap()
}

/// Parses a picture, and makes sure that it has a name and says in words what it shows.
pub(crate) fn whole(svg: &str) -> roxmltree::Document<'_> {
    let document = roxmltree::Document::parse(svg).unwrap_or_else(|e| panic!("{e}: {svg}"));
    let root = document.root_element();
    assert!(root.attribute("viewBox").is_some());
    for tag in ["title", "desc"] {
        let words = root.children().find(|c| c.has_tag_name(("http://www.w3.org/2000/svg", tag)));
        let words = words.and_then(|w| w.text()).unwrap_or_default();
        assert!(!words.trim().is_empty(), "{tag} is empty: {svg}");
    }
    for node in document.descendants().filter(roxmltree::Node::is_element) {
        assert!(!["script", "image", "use", "style", "foreignObject"].contains(&node.tag_name().name()), "{svg}");
        let sizes = ["r", "width", "height", "rx", "ry"];
        for a in node.attributes().filter(|a| sizes.contains(&a.name())) {
            assert!(a.value().parse::<f64>().unwrap() >= 0.0, "{} = {}", a.name(), a.value());
        }
    }
    document
}

/// The group or link of a place.
fn place<'a, 'i>(document: &'a roxmltree::Document<'i>, at: &Position) -> Option<roxmltree::Node<'a, 'i>> {
    let address = at.address();
    document.descendants().find(|n| n.attribute("data-place") == Some(address.as_str()))
}

/// The classes of marks drawn at a place.
fn marks_at(svg: &str, at: &Position) -> Vec<String> {
    let document = whole(svg);
    let here = place(&document, at).unwrap_or_else(|| panic!("{} is not drawn", at.address()));
    let classes = here.descendants().filter_map(|n| n.attribute("class"));
    let groups = ["mark-none", "mark-inside", "mark-by-judgement", "mark-cannot-tell", "mark-outside", "mark-again"];
    classes.filter(|c| groups.contains(c)).map(str::to_owned).collect()
}

#[test]
fn every_valve_and_cylinder_of_a_head_is_drawn_inside_the_picture() {
    let engines = [
        (Arrangement::Inline, 1, 2),
        (Arrangement::Inline, 6, 2),
        (Arrangement::V, 8, 4),
        (Arrangement::Flat, 2, 4),
        (Arrangement::Inline, 3, 3),
        (Arrangement::Inline, 4, 5),
    ];
    for (arrangement, cylinders, valves) in engines {
        let layout = engine(arrangement, cylinders, valves);
        let mut seen = 0;
        for head in layout.heads() {
            let at = Position::Bank(head.bank);
            let svg = pictures::head_from_fire_side(&layout, &at, &BTreeMap::new(), &BTreeMap::new(), Breadth::Sheet);
            let document = whole(&svg);
            assert_eq!(document.root_element().attribute("role"), Some("img"));
            assert!(svg.contains("FRONT"));
            for scope in [Scope::Cylinder, Scope::ValveIntake, Scope::ValveExhaust] {
                for position in layout.positions(scope) {
                    let here = layout.bank_of(&position) == Some(head.bank);
                    assert_eq!(place(&document, &position).is_some(), here, "{}", position.address());
                    seen += usize::from(here);
                }
            }
            let size: Vec<f64> =
                document.root_element().attribute("viewBox").unwrap().split(' ').map(|n| n.parse().unwrap()).collect();
            for circle in document.descendants().filter(|n| n.tag_name().name() == "circle") {
                let of = |name: &str| circle.attribute(name).unwrap().parse::<f64>().unwrap();
                assert!(of("cx") >= of("r") && of("cx") + of("r") <= size[2]);
                assert!(of("cy") >= of("r") && of("cy") + of("r") <= size[3]);
            }
        }
        assert_eq!(seen, usize::from(cylinders) * (usize::from(valves) + 1));
    }
}

/// What is shown 350 points wide is read at 12 points or more (a valve's own word at 9), and no word leaves the picture.
#[test]
fn a_head_on_a_phone_has_words_that_can_be_read() {
    for (cylinders, valves) in [(1, 4), (2, 4), (3, 3), (4, 4), (6, 2), (8, 2)] {
        let layout = engine(Arrangement::Inline, cylinders, valves);
        let at = Position::Bank(anatomy::Bank::A);
        let marks = layout.all_positions().into_iter().map(|p| (p, Mark::Inside)).collect();
        let svg = pictures::head_from_fire_side(&layout, &at, &marks, &BTreeMap::new(), Breadth::Phone);
        let document = whole(&svg);
        let width: f64 = document.root_element().attribute("width").unwrap().parse().unwrap();
        let mut seen = 0;
        for text in document.descendants().filter(|n| n.has_tag_name(("http://www.w3.org/2000/svg", "text"))) {
            let number = |name: &str| text.attribute(name).unwrap().parse::<f64>().unwrap();
            let words = text.text().unwrap();
            let shown = number("font-size") * (350.0 / width).min(1.0);
            let valve = words.starts_with("in") || words.starts_with("ex");
            assert!(shown >= if valve { 8.9 } else { 12.0 }, "{cylinders}: {words} is {shown} high");
            let long = 0.62 * number("font-size") * f64::from(u16::try_from(words.len()).unwrap());
            let left = match text.attribute("text-anchor").unwrap() {
                "start" => number("x"),
                "middle" => number("x") - long / 2.0,
                _ => number("x") - long,
            };
            assert!(left >= -1.0 && left + long <= width + 1.0, "{cylinders}: {words} leaves the picture");
            seen += 1;
        }
        assert!(seen > usize::from(cylinders), "each cylinder has its name");
    }
}

#[test]
fn valves_of_one_chamber_never_cover_each_other() {
    for valves in 2..=5 {
        let layout = engine(Arrangement::Inline, 1, valves);
        let at = Position::Bank(anatomy::Bank::A);
        let svg = pictures::head_from_fire_side(&layout, &at, &BTreeMap::new(), &BTreeMap::new(), Breadth::Sheet);
        let document = whole(&svg);
        let seats: Vec<(f64, f64, f64)> = layout
            .all_positions()
            .iter()
            .filter(|p| p.is_valve())
            .map(|p| {
                let group = place(&document, p).unwrap();
                let circle = group.children().find(|n| n.tag_name().name() == "circle").unwrap();
                let of = |name: &str| circle.attribute(name).unwrap().parse::<f64>().unwrap();
                (of("cx"), of("cy"), of("r"))
            })
            .collect();
        for (k, a) in seats.iter().enumerate() {
            for b in &seats[k + 1..] {
                assert!((a.0 - b.0).hypot(a.1 - b.1) > a.2 + b.2, "{valves} valves: {a:?} {b:?}");
            }
        }
    }
}

#[test]
fn a_head_for_each_cylinder_is_drawn_alone() {
    let mut d = LayoutDescription::new(Arrangement::Inline, 3, Fuel::Diesel, ValveGear::Pushrod);
    d.heads = Some(HeadDivision::PerCylinder);
    let layout = EngineLayout::new(d).unwrap();
    let svg = pictures::head_from_fire_side(
        &layout,
        &Position::Cylinder(2),
        &BTreeMap::new(),
        &BTreeMap::new(),
        Breadth::Sheet,
    );
    let document = whole(&svg);
    assert!(place(&document, &Position::Cylinder(2)).is_some());
    assert!(place(&document, &Position::Cylinder(1)).is_none());
}

#[test]
fn a_mark_moves_with_its_valve_and_no_other_changes() {
    let layout = engine(Arrangement::V, 8, 4);
    let bank = Position::Bank(anatomy::Bank::B);
    let first = Position::ValveExhaust { cylinder: 6, number: 1 };
    let second = Position::ValveIntake { cylinder: 7, number: 2 };
    let draw = |at: Position| {
        pictures::head_from_fire_side(
            &layout,
            &bank,
            &BTreeMap::from([(at, Mark::Outside)]),
            &BTreeMap::new(),
            Breadth::Sheet,
        )
    };
    let (before, after) = (draw(first), draw(second));
    for scope in [Scope::Cylinder, Scope::ValveIntake, Scope::ValveExhaust] {
        for position in layout.positions(scope).iter().filter(|p| layout.bank_of(p) == Some(anatomy::Bank::B)) {
            let expected = |at: Position| if *position == at { vec!["mark-outside".to_owned()] } else { Vec::new() };
            assert_eq!(marks_at(&before, position), expected(first), "{}", position.address());
            assert_eq!(marks_at(&after, position), expected(second), "{}", position.address());
        }
    }
}

#[test]
fn all_six_marks_differ() {
    let drawn: Vec<String> = Mark::ALL.into_iter().map(pictures::mark_alone).collect();
    for (k, one) in drawn.iter().enumerate() {
        whole(one);
        // Without its colour and its class a mark must still be told from every other.
        assert!(drawn[k + 1..].iter().all(|other| shapes(one) != shapes(other)));
    }
    whole(&pictures::mark_key());
}

fn shapes(svg: &str) -> Vec<String> {
    let document = roxmltree::Document::parse(svg).unwrap();
    let geometry = ["cx", "cy", "r", "x", "y", "x1", "x2", "y1", "y2", "d", "width", "height"];
    let of = |n: roxmltree::Node<'_, '_>| {
        let attributes = n.attributes().filter(|a| geometry.contains(&a.name()));
        format!("{} {}", n.tag_name().name(), attributes.map(|a| a.value()).collect::<Vec<_>>().join(" "))
    };
    document.descendants().filter(|n| n.is_element()).map(of).collect()
}

#[test]
fn a_place_with_a_link_can_be_followed_and_carries_its_words() {
    let layout = engine(Arrangement::Inline, 4, 2);
    let valve = Position::ValveExhaust { cylinder: 3, number: 1 };
    let links = BTreeMap::from([(valve, "/jobs/1?at=cyl-3-ex-1&x=\"<".to_owned())]);
    let svg = pictures::head_from_fire_side(
        &layout,
        &Position::Bank(anatomy::Bank::A),
        &BTreeMap::new(),
        &links,
        Breadth::Sheet,
    );
    let document = whole(&svg);
    let link = place(&document, &valve).unwrap();
    assert_eq!(link.tag_name().name(), "a");
    assert_eq!(link.attribute("href"), Some("/jobs/1?at=cyl-3-ex-1&x=\"<"));
    // The drawn word first: who speaks to a screen says what is seen there.
    assert_eq!(link.attribute("aria-label"), Some("ex, cylinder 3, exhaust valve: not measured"));
    assert_eq!(document.root_element().attribute("role"), Some("group"), "an image would hide its links");
}

#[test]
fn the_arrow_stands_at_the_end_that_is_the_front() {
    let arrow = |layout: &EngineLayout| {
        let svg = pictures::head_from_fire_side(
            layout,
            &Position::Bank(anatomy::Bank::A),
            &BTreeMap::new(),
            &BTreeMap::new(),
            Breadth::Sheet,
        );
        let document = whole(&svg);
        let text = document.descendants().find(|n| n.text() == Some("FRONT") && n.is_element()).unwrap();
        let width: f64 = document.root_element().attribute("width").unwrap().parse().unwrap();
        text.attribute("x").unwrap().parse::<f64>().unwrap() < width / 2.0
    };
    // Counted from the driving end, front at the free end: the first cylinder is the last one from the front.
    assert!(!arrow(&engine(Arrangement::Inline, 4, 4)));
    let mut d = LayoutDescription::new(Arrangement::Inline, 4, Fuel::Petrol, ValveGear::TwinCam);
    d.numbering = Some(anatomy::Numbering::FromFreeEnd);
    assert!(arrow(&EngineLayout::new(d).unwrap()));
}

#[test]
fn pictures_of_the_demo_jobs_are_whole() {
    for name in crate::common::NAMES {
        let demo = crate::common::demo(name);
        let mut drawn = 0;
        for finding in &demo.case.findings {
            let picture = pictures::reading_between_limits(finding);
            assert_eq!(picture.is_some(), finding.value.is_some() && finding.limit.is_some(), "{}", finding.check);
            if let Some(svg) = picture {
                whole(&svg);
                assert!(svg.contains(finding.verdict.words()));
                drawn += 1;
            }
        }
        assert!(drawn > 3);
        for breadth in [pictures::Breadth::Sheet, pictures::Breadth::Phone] {
            whole(&pictures::check_ladder(&demo.case.advice, demo.state.rates.labour_rate.as_ref(), breadth));
            let costs = pictures::cost_intervals(&demo.case.options, breadth);
            whole(&costs);
            for option in &demo.case.options {
                assert!(
                    costs.contains(&format!(">{}</text>", option.name)),
                    "{name} {breadth:?}: {} is cut off",
                    option.name
                );
            }
        }
        let costs = pictures::cost_intervals(&demo.case.options, pictures::Breadth::Sheet);
        whole(&costs);
        for option in &demo.case.options {
            assert!(costs.contains(&option.name.replace('\'', "&#39;")));
        }
        for belief in demo.case.causes.iter().chain(&demo.case.conditions) {
            whole(&pictures::reasons(belief));
        }
    }
    whole(&pictures::cost_intervals(&[], pictures::Breadth::Sheet));
}

#[test]
fn spreads_of_costs_are_drawn_on_one_scale_and_said_in_words() {
    let line =
        |name: &str, mean: f64, below, cheapest| pictures::SpreadLine { name: name.to_owned(), mean, below, cheapest };
    let lines = [
        line("mend <the> head", 6291.0, [3238.0, 4700.0, 6184.0, 7800.0, 9477.0], 0.24),
        line("scrap", -300.0, [-300.0; 5], 0.0),
    ];
    let svg = pictures::cost_spreads(&lines, "crowns");
    let document = whole(&svg);
    assert!(svg.contains("6,291 crowns on average") && svg.contains("mend &lt;the&gt; head"), "{svg}");
    let bars: Vec<(f64, f64)> = document
        .descendants()
        .filter(|n| n.attribute("class") == Some("wm-bar"))
        .map(|n| {
            let of = |name: &str| n.attribute(name).unwrap().parse::<f64>().unwrap();
            (of("x"), of("width"))
        })
        .collect();
    // The middle half of the first is 3100 wide and begins 5000 right of the second's.
    assert!((bars[0].1 / (bars[0].0 - bars[1].0) - 3100.0 / 5000.0).abs() < 0.01, "{bars:?}");
    whole(&pictures::cost_spreads(&[], "crowns"));
}

#[test]
fn ten_engines_never_promise() {
    for (p, hatched) in [(0.0, 0), (0.04, 0), (0.06, 1), (0.5, 5), (0.93, 9), (0.96, 10), (1.0, 10), (f64::NAN, 0)] {
        let svg = pictures::ten_engines(p);
        let document = whole(&svg);
        let of = |class: &str| document.descendants().filter(|n| n.attribute("class") == Some(class)).count();
        assert_eq!((of("engine-has-it"), of("engine-free")), (hatched, 10 - hatched), "{p}");
    }
    assert_eq!(pictures::of_ten_in_words(0.93), "about 9 of 10 engines like this");
    assert_eq!(pictures::of_ten_in_words(1.0), "nearly all engines like this");
}

#[test]
fn words_of_people_cannot_break_a_picture() {
    let nasty = "<b>\"7\" & '8' ]]> \u{1}\u{ffff}".to_owned();
    let line = pictures::PartLine {
        name: nasty.clone(),
        ordered: "2026-02-25".to_owned(),
        promised: Some("2026-03-04".to_owned()),
        need_by: Some(nasty.clone()),
        arrived: None,
        sets_the_date: true,
    };
    whole(&pictures::parts_line(&[line.clone(), pictures::PartLine::default()]));
    for residue in &knowledge::Knowledge::builtin().expect("the built-in knowledge").residues {
        let swatch = pictures::residue_swatch(&residue.colour, &residue.texture);
        whole(&swatch);
        assert!(swatch.contains(&residue.texture), "{}", residue.id);
        // Something else than the patch of a residue that nobody knows.
        assert_ne!(swatch, pictures::residue_swatch("", &residue.texture), "{}: {}", residue.id, residue.colour);
    }
    whole(&pictures::parts_line(&[]));
    whole(&pictures::parts_line(&[pictures::PartLine::default()]));
    let worked = |works| pictures::Worked {
        number: 1,
        name: nasty.clone(),
        works,
        as_found: Some(nasty.clone()),
        wanted: Some(nasty.clone()),
        leave: None,
        frames: vec![pictures::Frame { is: Characteristic::Flatness, zone: nasty.clone() }],
        surface: Some(nasty.clone()),
    };
    for works in [Works::Face, Works::Bore, Works::Ledge, Works::Journal, Works::ValveSeat] {
        let cut = pictures::Cut {
            piece: nasty.clone(),
            datum: nasty.clone(),
            worked: vec![worked(Some(works)), worked(None)],
        };
        let drawn = pictures::cut_sketch(&cut);
        assert!(whole(&drawn).descendants().any(|n| n.text().is_some_and(|t| t.contains("as found"))));
    }
    let tests_only = pictures::Cut { worked: vec![worked(None)], ..pictures::Cut::default() };
    assert_eq!(pictures::cut_sketch(&tests_only), "", "a test has no shape to draw");
    let pair = |then, now| pictures::ThenNow { place: nasty.clone(), then, now };
    whole(&pictures::then_and_now(&nasty, "bar", &[pair(8.4, 12.0), pair(12.0, 12.0)]));
    whole(&pictures::then_and_now(&nasty, "", &[pair(f64::NAN, f64::INFINITY)]));
    whole(&pictures::then_and_now(&nasty, "mm", &[]));
}

#[test]
fn a_part_has_one_drawing_with_its_frames_its_datum_and_every_figure_in_words() {
    let worked = |number, works, name: &str, frames: Vec<(Characteristic, &str)>| pictures::Worked {
        number,
        name: name.to_owned(),
        works: Some(works),
        as_found: Some("0.12 mm".to_owned()),
        wanted: Some("0.03 mm".to_owned()),
        leave: Some("119.8 mm".to_owned()),
        frames: frames.into_iter().map(|(is, zone)| pictures::Frame { is, zone: zone.to_owned() }).collect(),
        surface: (number == 1).then(|| "Ra 0.8 µm".to_owned()),
    };
    let cut = pictures::Cut {
        piece: "Head".to_owned(),
        datum: "cam bores".to_owned(),
        worked: vec![
            worked(
                1,
                Works::Face,
                "Resurface",
                vec![(Characteristic::Flatness, "0.05 mm"), (Characteristic::Parallelism, "0.1 mm")],
            ),
            worked(2, Works::ValveSeat, "Cut seats", vec![(Characteristic::RunOut, "0.05 mm")]),
            worked(
                3,
                Works::Bore,
                "Guides",
                vec![(Characteristic::Cylindricity, "0.01 mm"), (Characteristic::Roundness, "0.005 mm")],
            ),
        ],
    };
    let drawn = pictures::cut_sketch(&cut);
    let tree = whole(&drawn);
    let desc =
        tree.descendants().find(|n| n.has_tag_name("desc")).and_then(|n| n.text()).unwrap_or_default().to_owned();
    for said in [
        "Datum A: cam bores",
        "1 Resurface: as found (0.12 mm), wanted 0.03 mm, leave at least 119.8 mm, flatness 0.05 mm, parallelism 0.1 mm to datum A, surface Ra 0.8 µm",
        "2 Cut seats",
        "run-out 0.05 mm to datum A",
        "cylindricity 0.01 mm, roundness 0.005 mm",
    ] {
        assert!(desc.contains(said), "{said}: {desc}");
    }
    // The frames stand in the drawing: a value each, and the letter of the datum where it is counted from it.
    let texts: Vec<&str> = tree.descendants().filter(|n| n.has_tag_name("text")).filter_map(|n| n.text()).collect();
    for zone in ["0.1 mm", "0.01 mm", "0.005 mm", "Ra 0.8 µm"] {
        assert!(texts.contains(&zone), "{zone}: {texts:?}");
    }
    // Three sketches, two frames and the foot carry the letter.
    assert_eq!(texts.iter().filter(|t| **t == "A").count(), 6, "{texts:?}");
}

/// A face of three by two places, its left end high.
fn bent() -> pictures::Warp {
    pictures::Warp {
        along: vec![0.0, 200.0, 400.0],
        across: vec![0.0, 150.0],
        height: vec![0.04, 0.02, 0.0, 0.04, 0.02, 0.0],
        seen: vec![true; 6],
        points: vec![[0.0, 0.0], [400.0, 150.0]],
        lines: vec![[[0.0, 0.0], [400.0, 150.0]]],
        touched: (vec![[0.0, 0.0]], vec![[400.0, 150.0]]),
        ..pictures::Warp::default()
    }
}

/// How many millimetres of hatching stand left and right of the middle of the face, without the key below it.
fn hatching(svg: &str) -> (f64, f64) {
    let document = whole(svg);
    let path =
        document.descendants().find(|n| n.attribute("class") == Some("wm-hatch")).unwrap().attribute("d").unwrap();
    let (mut left, mut right) = (0.0, 0.0);
    for piece in path.split('M').filter(|piece| !piece.is_empty()) {
        let (from, rest) = piece.split_once(' ').unwrap();
        let (from, to): (f64, f64) = (from.parse().unwrap(), rest.split_once('H').unwrap().1.parse().unwrap());
        let middle = 280.0;
        left += (to.min(middle) - from).max(0.0);
        right += (to - from.max(middle)).max(0.0);
    }
    (left, right)
}

#[test]
fn a_warped_face_is_hatched_the_closer_the_deeper_and_slanting_where_nobody_measured() {
    let svg = pictures::warp_map(&bent(), Breadth::Sheet);
    let (left, right) = hatching(&svg);
    assert!(right > 3.0 * left && right > 0.0, "the high end stands left and is bare: {left} {right}");
    let mut turned = bent();
    turned.height.reverse();
    let (mirrored, bare) = hatching(&pictures::warp_map(&turned, Breadth::Sheet));
    assert!(
        (mirrored - right).abs() < 0.02 * right && (bare - left).abs() < 0.02 * right,
        "turned round, turned round"
    );
    assert!(svg.contains("40 thousandths") && !svg.contains("not measured"), "{svg}");
    let mut blind = bent();
    blind.seen[2] = false;
    let half = pictures::warp_map(&blind, Breadth::Sheet);
    assert!(hatching(&half).1 < right, "unmeasured ground has no bands");
    assert!(half.contains("was not measured") && half.matches("<line").count() > svg.matches("<line").count());
    let mut moved = bent();
    moved.touched.0 = vec![[200.0, 75.0]];
    assert_ne!(pictures::warp_map(&moved, Breadth::Sheet), svg, "the mark stands where the face is touched");
    assert_eq!(pictures::warp_map(&pictures::Warp::default(), Breadth::Sheet), "", "nothing measured, nothing drawn");
}

#[test]
fn the_map_of_a_head_has_its_lines_letters_chambers_limit_and_words() {
    use crate::common::{NAMES, demo};
    let job = demo(NAMES[0]);
    let face = job.case.faces.iter().find(|f| f.check == "head-straightedge").unwrap();
    let svg = pictures::face_map(face, job.state.layout.as_ref().unwrap(), Breadth::Sheet);
    let document = whole(&svg);
    let texts: Vec<&str> =
        document.descendants().filter(|n| n.tag_name().name() == "text").filter_map(|n| n.text()).collect();
    // Six lines end at the four corners, A and C in front, D and F behind.
    for letter in ["A", "C", "D", "F"] {
        assert_eq!(texts.iter().filter(|t| **t == letter).count(), 1, "{letter} stands once");
    }
    for cylinder in ["1", "2", "3", "4"] {
        assert!(texts.contains(&cylinder), "chamber {cylinder} is outlined: {texts:?}");
    }
    assert!(
        texts.contains(&"0.08") && texts.contains(&"◀ FRONT"),
        "limit in its frame, and where the front is: {texts:?}"
    );
    let chain = document.descendants().filter(|n| n.attribute("stroke-dasharray") == Some("12 3 2 3"));
    assert_eq!(chain.count(), face.lines.len());
    let desc = document.descendants().find(|n| n.tag_name().name() == "desc").unwrap().text().unwrap();
    for words in ["outside", "Bow along", "was not measured", "420 by 175 mm", "Limit of its flatness 0.08 mm"] {
        assert!(desc.contains(words), "{words}: {desc}");
    }
    let mut unsized_face = face.clone();
    unsized_face.surface = None;
    assert_eq!(pictures::face_map(&unsized_face, job.state.layout.as_ref().unwrap(), Breadth::Sheet), "");
}

#[test]
fn a_section_is_drawn_large_between_its_two_circles() {
    let oval = |angle: f64| {
        let radius = 43.0 + 0.010 * (2.0 * angle.to_radians()).cos();
        [radius * angle.to_radians().cos(), radius * angle.to_radians().sin()]
    };
    let points: Vec<[f64; 2]> = (0..8).map(|k| oval(45.0 * f64::from(k))).collect();
    let svg = pictures::round_section(&pictures::Section { points, centre: [0.0, 0.0], zone: 0.020 });
    let document = whole(&svg);
    assert!(svg.contains("8 readings") && svg.contains("20.0 thousandths") && svg.contains("2800 times"), "{svg}");
    let dots: Vec<(f64, f64)> = document
        .descendants()
        .filter(|n| n.has_tag_name(("http://www.w3.org/2000/svg", "circle")) && n.attribute("r") == Some("3.5"))
        .map(|n| (n.attribute("cx").unwrap().parse().unwrap(), n.attribute("cy").unwrap().parse().unwrap()))
        .collect();
    assert_eq!(dots.len(), 8);
    let reach = |(x, y): (f64, f64)| (x - 180.0).hypot(y - 180.0);
    let (low, high) = dots.iter().map(|d| reach(*d)).fold((f64::MAX, 0.0_f64), |(l, h), r| (l.min(r), h.max(r)));
    assert!((low - 92.0).abs() < 0.1 && (high - 148.0).abs() < 0.1, "the readings touch both circles: {low} {high}");
    assert_eq!(pictures::round_section(&pictures::Section::default()), "");
}

#[test]
fn a_bore_by_height_and_axis_and_a_face_line_by_line_hold_every_figure_read_and_no_other() {
    use crate::common::{NAMES, demo};
    let place = |name: &'static str, check: &str, at: &str| -> Vec<String> {
        let case = demo(name).case;
        let here = |f: &&workup::Finding| f.check == check && f.position.address() == at && !f.after_repair;
        pictures::measured_at(&case.findings.iter().filter(here).collect::<Vec<_>>())
    };
    // The invented jobs hold six figures each.
    for (name, check, at, figures) in [
        (NAMES[1], "bore-gauge", "cyl-4", ["0.22 mm", "0.13 mm", "0.10 mm", "0.06 mm", "0.03 mm", "0.02 mm"]),
        (NAMES[0], "head-straightedge", "bank-A", ["0.18 mm", "0.16 mm", "0.17 mm", "0.15 mm", "0.03 mm", "0.04 mm"]),
    ] {
        let drawn = place(name, check, at);
        assert_eq!(drawn.len(), 1, "{check}");
        let document = whole(&drawn[0]);
        let mut texts: Vec<&str> = document
            .descendants()
            .filter(|n| n.tag_name().name() == "text")
            .filter_map(|n| n.text())
            .filter(|t| figures.contains(t))
            .collect();
        texts.sort_unstable();
        let mut wanted = figures.to_vec();
        wanted.sort_unstable();
        assert_eq!(texts, wanted, "each figure stands once in {check}");
        let desc = document.descendants().find(|n| n.tag_name().name() == "desc").and_then(|n| n.text()).unwrap();
        assert!(figures.iter().all(|f| desc.contains(f)), "{desc}");
    }
    // One figure of a bore is no picture.
    assert!(place(NAMES[1], "bore-gauge", "cyl-3").is_empty());
}

#[test]
fn the_approval_strip_steps_with_what_is_agreed_and_hatches_what_goes_above_it() {
    use workup::committed::{Course, Step};
    let step = |at: &str, to: &str| Step {
        at: at.parse().unwrap(),
        to: match quantity::parse_money(&format!("EUR {to}"), None).unwrap() {
            quantity::MoneyReply::Value(money) => money,
            quantity::MoneyReply::Question { ask, .. } => panic!("{ask}"),
        },
    };
    let within = Course {
        covers: logbook::Covers::Repair,
        ceilings: vec![step("2026-03-02T08:00:00Z", "1000"), step("2026-03-05T08:00:00Z", "1250")],
        used: vec![step("2026-03-03T08:00:00Z", "400"), step("2026-03-06T08:00:00Z", "900")],
    };
    let over = Course { used: vec![step("2026-03-03T08:00:00Z", "1100")], ..within.clone() };
    let unasked = Course { ceilings: Vec::new(), ..within.clone() };
    let short = Course { ceilings: vec![step("2026-03-02T08:00:00Z", "1000")], used: Vec::new(), ..within.clone() };
    for breadth in [Breadth::Sheet, Breadth::Phone] {
        let hatched = |course: &Course| {
            let svg = pictures::approval_strip(course, breadth);
            let document = whole(&svg);
            let bars = document.descendants().filter(|n| n.attribute("class") == Some("wm-bar")).count();
            // Two treads of the scale and one of the ground are lines too; hatching is many.
            (bars, document.descendants().filter(|n| n.attribute("class") == Some("wm-help")).count())
        };
        let ((bars, plain), (_, above), (none, all)) = (hatched(&within), hatched(&over), hatched(&unasked));
        assert_eq!(bars, 3, "one for each time in which something was committed");
        assert!(above > plain && all > above && none == 0, "{plain} {above} {all}");
        assert_eq!(hatched(&short).0, 0);
    }
    let said = pictures::approval_strip(&within, Breadth::Sheet);
    for part in ["EUR\u{a0}1,250.00 from 2026-03-05", "EUR\u{a0}900.00 from 2026-03-06", "EUR\u{a0}350.00 are left"] {
        assert!(said.contains(part), "{part}: {said}");
    }
    assert!(pictures::approval_strip(&over, Breadth::Sheet).contains("EUR\u{a0}150.00 are left"));
    let over = Course { ceilings: vec![step("2026-03-02T08:00:00Z", "1000")], ..over };
    assert!(pictures::approval_strip(&over, Breadth::Sheet).contains("More is committed than is agreed"));
}
