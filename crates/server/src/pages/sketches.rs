//! Who: whoever reads a calculator's answer. Moment: any.
//! Why so: a face is understood from its hills and a bore from its oval before any figure is read; both are drawn from what
//! was typed, by the same room that draws for the papers.

use documents::pictures::{Breadth, Section, Warp, round_section, warp_map};
use mechanics::flatness::{minimum_zone, points_given};
use mechanics::roundness::{circles, section_given};
use mechanics::straightedge::survey_given;
use mechanics::warp::{WarpFrame, WarpPoint, WarpPrior, WarpSurface, warp_of_survey, warp_surface};
use mechanics::{Calculator, Given};

use crate::forms::Typed;

/// The picture of an answer for a wide screen and for a phone, for calculators whose answer has one.
pub(crate) fn of(c: &'static Calculator, typed: &Typed) -> Option<(String, String)> {
    let pairs: Vec<(&str, &str)> = typed.iter().map(|(key, text)| (key.as_str(), text.as_str())).collect();
    let given = Given::read(c, &pairs).ok()?;
    let both = |warp: &Warp| (warp_map(warp, Breadth::Sheet), warp_map(warp, Breadth::Phone));
    let pair = match c.id {
        "flatness-grid" => both(&grid(&given)?),
        "flatness-straightedge" => both(&survey(&given)?),
        "roundness" => {
            let svg = section(&given)?;
            (svg.clone(), svg)
        }
        _ => return None,
    };
    Some(pair).filter(|(sheet, _)| !sheet.is_empty())
}

/// More points than this are not drawn: the surface through them takes the cube of their number \[ours\].
const MOST_DRAWN: usize = 400;

fn frame(places: &[[f64; 2]]) -> WarpFrame {
    let bound = |k: usize, pick: fn(f64, f64) -> f64, from: f64| {
        places.iter().filter_map(|place| place.get(k)).copied().fold(from, pick)
    };
    let from = [bound(0, f64::min, f64::INFINITY), bound(1, f64::min, f64::INFINITY)];
    let to = [bound(0, f64::max, f64::NEG_INFINITY), bound(1, f64::max, f64::NEG_INFINITY)];
    WarpFrame::over(from, to)
}

fn drawn(surface: WarpSurface, points: Vec<[f64; 2]>, lines: Vec<[[f64; 2]; 2]>) -> Warp {
    let WarpSurface { along, across, height, seen, .. } = surface;
    Warp { along, across, height, seen, points, lines, ..Warp::default() }
}

fn grid(given: &Given) -> Option<Warp> {
    let points = points_given(given).ok().filter(|points| points.len() <= MOST_DRAWN)?;
    let zone = minimum_zone(&points).ok()?;
    let places: Vec<[f64; 2]> = points.iter().map(|[x, y, _]| [*x, *y]).collect();
    let u = given.optional("u").unwrap_or(0.0).max(1e-4);
    let measured: Vec<WarpPoint> =
        points.iter().map(|[x, y, z]| WarpPoint { place: [*x, *y], height: *z, u }).collect();
    let surface = warp_surface(&measured, &[], &WarpPrior::USUAL, &frame(&places)).ok()?;
    let touched = |above: bool| -> Vec<[f64; 2]> {
        let here = zone.carried_by.iter().filter(|(_, weight)| (*weight > 0.0) == above);
        here.filter_map(|(place, _)| places.get(*place)).copied().collect()
    };
    let mut warp = drawn(surface, places.clone(), Vec::new());
    warp.touched = (touched(true), touched(false));
    Some(warp)
}

fn survey(given: &Given) -> Option<Warp> {
    let (survey, lines) = survey_given(given).ok()??;
    let laid: Vec<[[f64; 2]; 2]> =
        lines.iter().filter_map(|line| Some([line.first()?.place, line.last()?.place])).collect();
    let places = survey.stations().to_vec();
    let surface = warp_of_survey(&survey, &laid, &WarpPrior::USUAL, &frame(&places)).ok()?;
    Some(drawn(surface, places, laid))
}

fn section(given: &Given) -> Option<String> {
    let points = section_given(given).ok()?;
    let found = circles(&points).ok()?;
    Some(round_section(&Section { points, centre: found.zone_centre, zone: found.zone }))
}
