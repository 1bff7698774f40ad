//! The sheet and the pictures of a trial of the advice: every way and every figure is there, bars and points stand where they should.

use anatomy::{Arrangement, EngineLayout, Fuel, ValveGear};
use documents::papers::{PaperSize, trial_figures, typeset_trial};
use documents::pictures::{stated_and_seen, ways_of_testing};
use knowledge::Knowledge;
use logbook::JobState;
use workup::simulate::{Bin, Plan, Range, Report, Way, simulate};

use crate::papers::words;
use crate::pictures::whole;

fn report() -> Report {
    let layout = EngineLayout::plain(Arrangement::Inline, 1, Fuel::Petrol, ValveGear::TwinCam).unwrap();
    let begun = JobState { layout: Some(layout), ..JobState::default() };
    simulate(&begun, &Knowledge::builtin().unwrap(), &Plan { engines: 4, seed: 2, spread: 0.3 }, |_| ()).unwrap()
}

#[test]
fn the_sheet_of_a_trial_names_every_way_every_figure_and_what_it_does_not_show() {
    let report = report();
    for size in PaperSize::ALL {
        let set = typeset_trial(&report, "2026-11-28", Some("Kellan Bench, Fennmouth"), size).unwrap();
        assert!(set.remarks.is_empty(), "{:?}", set.remarks);
        let text = words(&set.pdf);
        let told = Way::ALL.map(Way::words).into_iter().chain([
            "Kellan Bench, Fennmouth",
            "Seed 2",
            "only records of jobs can show",
        ]);
        for said in told {
            assert!(text.contains(said), "{said}: {text}");
        }
        for (name, _) in trial_figures(&report) {
            assert!(text.contains(name), "{name}: {text}");
        }
        assert!(text.contains("differ from those of the knowledge by 0.3"), "{text}");
    }
}

#[test]
fn bars_are_as_long_as_what_they_stand_for() {
    let report = report();
    let svg = ways_of_testing(&report.ways);
    let document = whole(&svg);
    let width = |class: &str| -> Vec<f64> {
        let bars = document.descendants().filter(|n| n.has_tag_name(("http://www.w3.org/2000/svg", "rect")));
        let of = bars.filter(|n| n.attribute("class") == Some(class));
        of.map(|n| n.attribute("width").unwrap().parse().unwrap()).collect()
    };
    let (repair, checks) = (width("wm-bar"), width("wm-solid"));
    assert_eq!(repair.len(), report.ways.len());
    let scale = repair[0] / report.ways[0].option;
    for (bar, way) in repair.iter().zip(&report.ways) {
        assert!((bar / scale - way.option).abs() < 0.1, "{way:?}");
    }
    let with_checks: Vec<_> = report.ways.iter().filter(|w| w.checks > 0.0).collect();
    assert_eq!(checks.len(), with_checks.len());
    for (bar, way) in checks.iter().zip(with_checks) {
        assert!((bar / scale - way.checks).abs() < 0.1, "{way:?}");
    }
}

#[test]
fn an_honest_statement_stands_on_the_line_and_one_that_is_too_sure_under_it() {
    let bin = |stated: f64, seen: f64| {
        let seen = Range { mean: seen, low: seen * 0.9, high: (seen * 1.1).min(1.0) };
        Bin { statements: 10, stated, seen }
    };
    let svg = stated_and_seen(&[bin(0.1, 0.1), bin(0.9, 0.7), bin(0.5, 0.5)]);
    let document = whole(&svg);
    let circles = document.descendants().filter(|n| n.has_tag_name(("http://www.w3.org/2000/svg", "circle")));
    let at = |n: roxmltree::Node<'_, '_>, name: &str| -> f64 { n.attribute(name).unwrap().parse().unwrap() };
    // Over the side of the square: how far right and how far up.
    let points: Vec<(f64, f64)> = circles.map(|n| (at(n, "cx") - 64.0, 440.0 - at(n, "cy"))).collect();
    let [honest, sure, half] = points.as_slice() else { panic!("{points:?}") };
    assert!(
        (honest.0 - honest.1).abs() < 0.1 && (half.0 - 210.0).abs() < 0.1 && (half.1 - 210.0).abs() < 0.1,
        "{points:?}"
    );
    assert!(sure.1 < sure.0 - 10.0, "{points:?}");
    assert!(svg.contains("stated 90 %, seen 70 %"));
}
