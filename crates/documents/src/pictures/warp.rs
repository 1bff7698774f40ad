//! A face as it is bent (P2): hatching that grows closer with depth, blank slanting ground where nothing was measured, the
//! straightedge lines with their end letters, the stations, and bores or chambers to find one's way by.

use anatomy::EngineLayout;
use quantity::print::printed;
use workup::Face;

use super::drawing::{Anchor, Drawing, Pen, THICK, count, lines, number};
use super::prices::Breadth;

/// A face on a grid of places, and what was measured on it. Lengths in millimetres.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Warp {
    /// Places along, rising.
    pub along: Vec<f64>,
    /// Places across, rising.
    pub across: Vec<f64>,
    /// Heights, row by row across.
    pub height: Vec<f64>,
    /// Whether something was measured near each of them.
    pub seen: Vec<bool>,
    /// Where something was measured.
    pub points: Vec<[f64; 2]>,
    /// The lines along which an edge lay, from place to place.
    pub lines: Vec<[[f64; 2]; 2]>,
    /// The points that the smallest zone touches above, and those that it touches below.
    pub touched: (Vec<[f64; 2]>, Vec<[f64; 2]>),
    /// The letters marked on the face.
    pub letters: Vec<(char, [f64; 2])>,
    /// Names of the bores or chambers from the front, drawn evenly spaced; then the front is on the left.
    pub chambers: Vec<String>,
    /// The limit of the flatness, as it is said.
    pub limit: Option<String>,
    /// What is said below the face.
    pub words: Vec<String>,
}

const LEFT: f64 = 30.0;
const TOP: f64 = 60.0;
/// How far the edge of the face is drawn beyond the outer lines.
const RIM: f64 = 12.0;
/// The highest that the face is drawn.
const HIGHEST: f64 = 300.0;
/// Bands of depth \[ours\]: more cannot be told apart by their hatching in print.
const BANDS: usize = 5;
/// Between the hatch lines of the first band that has any; each deeper band has a line in every gap of the one before.
const WIDEST: f64 = 16.0;
/// Between the closest hatch lines.
const CLOSEST: f64 = WIDEST / 8.0;
/// Size of what is written below.
const SMALL: f64 = 14.0;

/// How wide the picture is.
const fn width(breadth: Breadth) -> f64 {
    match breadth {
        Breadth::Sheet => 560.0,
        Breadth::Phone => 356.0,
    }
}

/// The map of a face whose straightedge readings are told station by station; empty where they leave nothing to draw.
#[must_use]
pub fn face_map(face: &Face, layout: &EngineLayout, breadth: Breadth) -> String {
    let Some(surface) = &face.surface else { return String::new() };
    let mut letters: Vec<(char, [f64; 2])> = Vec::new();
    for line in &face.lines {
        for (letter, at) in line.ends.chars().zip([line.from, line.to]) {
            if !letters.iter().any(|(known, _)| *known == letter) {
                letters.push((letter, at));
            }
        }
    }
    let mut points: Vec<[f64; 2]> = Vec::new();
    for station in face.lines.iter().flat_map(|l| &l.stations) {
        if !points.iter().any(|p| (p[0] - station.at[0]).hypot(p[1] - station.at[1]) <= 1.0) {
            points.push(station.at);
        }
    }
    let mm = |x: f64| format!("{} mm", printed(x, 3));
    let edge = face.limit.as_ref().and_then(|l| l.edges[3].or(l.edges[2]));
    let mut words: Vec<String> = Vec::new();
    if let Some(flatness) = face.flatness {
        words.push(format!(
            "Flatness at the stations between {} and {}: {}.",
            mm(flatness.least),
            mm(flatness.greatest),
            face.verdict.words()
        ));
    }
    words.extend(face.shape.as_ref().map(|shape| format!("{}.", capital(shape))));
    if let Some(worst) = &face.stretch {
        words.push(format!(
            "Worst {} along a line: {} to {}, on {}.",
            mm(worst.over),
            printed(worst.straightness.least, 3),
            mm(worst.straightness.greatest),
            worst.line.replace('-', " ")
        ));
    }
    words.push(format!("{}.", capital(workup::faces::UNSEEN)));
    let warp = Warp {
        along: surface.along.clone(),
        across: surface.across.clone(),
        height: surface.height.clone(),
        seen: surface.seen.clone(),
        points,
        lines: face.lines.iter().map(|l| [l.from, l.to]).collect(),
        touched: (Vec::new(), Vec::new()),
        letters,
        chambers: super::head::covered(layout, &face.position)
            .iter()
            .map(|c| layout.cylinder_name(*c).unwrap_or_else(|| c.to_string()))
            .collect(),
        limit: edge.map(|edge| printed(edge, 3)),
        words,
    };
    warp_map(&warp, breadth)
}

fn capital(words: &str) -> String {
    workup::words::sentence(words)
}

/// How deep each cell lies: 0 at the highest, [`BANDS`] - 1 at the lowest; nothing where nobody measured.
fn bands(warp: &Warp, low: f64, high: f64) -> Vec<Option<usize>> {
    let of = |height: f64| {
        let part = if high > low { (high - height) / (high - low) } else { 0.0 };
        (0..BANDS).rev().find(|band| part * count(BANDS) >= count(*band)).unwrap_or(0)
    };
    warp.height.iter().zip(&warp.seen).map(|(height, seen)| seen.then(|| of(*height))).collect()
}

/// The face from above: the deeper, the closer its hatching. Empty where there is no grid.
#[must_use]
pub fn warp_map(warp: &Warp, breadth: Breadth) -> String {
    let width = width(breadth);
    let (Some(x0), Some(x1), Some(y0), Some(y1)) =
        (warp.along.first(), warp.along.last(), warp.across.first(), warp.across.last())
    else {
        return String::new();
    };
    let (long, deep) = (x1 - x0, y1 - y0);
    let seen = || warp.height.iter().zip(&warp.seen).filter(|(_, seen)| **seen).map(|(height, _)| *height);
    let (low, high) = (seen().fold(f64::INFINITY, f64::min), seen().fold(f64::NEG_INFINITY, f64::max));
    if !(long > 0.0 && deep > 0.0 && low.is_finite() && high.is_finite()) {
        return String::new();
    }
    let scale = ((width - 2.0 * LEFT) / long).min(HIGHEST / deep);
    let at = |place: &[f64; 2]| (LEFT + (place[0] - x0) * scale, TOP + (y1 - place[1]) * scale);
    let bottom = TOP + deep * scale;
    let depth = 1000.0 * (high - low);
    let blind = warp.seen.iter().any(|seen| !seen);
    let mut key = vec![format!(
        "The closer the lines, the deeper: {BANDS} bands of {} thousandths of a millimetre, {depth:.0} in all; heights are not to the scale of the plan.",
        printed(depth / count(BANDS), 2)
    )];
    if blind {
        key.push("Slanting lines: not measured.".to_owned());
    }
    if !warp.touched.0.is_empty() || !warp.touched.1.is_empty() {
        key.push("▲ touches above, ▼ below.".to_owned());
    }
    if !warp.chambers.is_empty() {
        key.push("Circles: chambers or bores, to find the place; their size is not drawn.".to_owned());
    }
    let written: Vec<String> =
        warp.words.iter().chain(&key).flat_map(|words| lines(words, SMALL, width - LEFT)).collect();
    let desc = format!(
        "A face of {long:.0} by {deep:.0} mm from above. Its highest ground lies {depth:.0} thousandths of a millimetre over its lowest. \
         {} points measured.{}{}{}",
        warp.points.len(),
        if blind { " Ground with slanting lines was not measured." } else { "" },
        warp.limit.as_ref().map(|limit| format!(" Limit of its flatness {limit} mm.")).unwrap_or_default(),
        warp.words.iter().map(|words| format!(" {words}")).collect::<String>()
    );
    let height = bottom + 74.0 + count(written.len()) * (SMALL + 5.0);
    let mut d = Drawing::new(width, height, "The face, bent as measured", &desc);
    hatched(&mut d, warp, &bands(warp, low, high), &at);
    d.rect((LEFT - RIM, TOP - RIM), (long * scale + 2.0 * RIM, deep * scale + 2.0 * RIM), &Pen::line(THICK));
    chambers(&mut d, warp, (LEFT, TOP), (long * scale, deep * scale));
    for [from, to] in &warp.lines {
        d.line(at(from), at(to), &Pen::chain(1.4));
    }
    for point in &warp.points {
        d.circle(at(point), 2.5, &Pen::outline(1.0));
    }
    for (points, up) in [(&warp.touched.0, true), (&warp.touched.1, false)] {
        for point in points {
            let (x, y) = at(point);
            let tip = if up { -9.0 } else { 9.0 };
            d.polygon(&[(x - 7.0, y - tip / 2.0), (x + 7.0, y - tip / 2.0), (x, y + tip)], &Pen::outline(THICK));
        }
    }
    for (letter, place) in &warp.letters {
        let (x, y) = at(place);
        d.circle((x, y), 9.0, &Pen::outline(1.2));
        d.text((x, y + 5.0), SMALL, Anchor::Middle, true, &letter.to_string());
    }
    if !warp.chambers.is_empty() {
        d.text((LEFT - RIM, TOP - RIM - 14.0), SMALL, Anchor::Start, true, "◀ FRONT");
    }
    if let Some(limit) = &warp.limit {
        flatness_frame(&mut d, limit, width);
    }
    scale_of_bands(&mut d, bottom + RIM + 16.0);
    for (k, words) in written.iter().enumerate() {
        d.text((LEFT, bottom + RIM + 62.0 + count(k) * (SMALL + 5.0)), SMALL, Anchor::Start, false, words);
    }
    d.finish()
}

/// Hatch lines over the whole face, each drawn where the ground is deep enough for it; slanting ones where nobody measured.
fn hatched(d: &mut Drawing, warp: &Warp, bands: &[Option<usize>], at: &impl Fn(&[f64; 2]) -> (f64, f64)) {
    let columns = edges(&warp.along);
    let mut path = String::new();
    for (row, (below, above)) in edges(&warp.across).into_iter().enumerate() {
        let cells: Vec<Option<usize>> = bands.iter().skip(row * columns.len()).take(columns.len()).copied().collect();
        let (upper, lower) = (at(&[0.0, above]).1, at(&[0.0, below]).1);
        let mut number_of = ((upper - TOP) / CLOSEST).ceil();
        while TOP + number_of * CLOSEST < lower {
            run(&mut path, TOP + number_of * CLOSEST, &columns, &cells, needs(number_of), at);
            number_of += 1.0;
        }
        // Unmeasured ground in whole stretches, so that its lines run on.
        let mut begun: Option<(f64, f64)> = None;
        for ((from, to), cell) in columns.iter().zip(&cells) {
            match (cell, begun) {
                (None, Some((start, _))) => begun = Some((start, *to)),
                (None, None) => begun = Some((*from, *to)),
                (Some(_), Some((start, end))) => {
                    slanting(d, at(&[start, above]), at(&[end, below]));
                    begun = None;
                }
                (Some(_), None) => {}
            }
        }
        if let Some((start, end)) = begun {
            slanting(d, at(&[start, above]), at(&[end, below]));
        }
    }
    d.path(&path, &Pen { class: "wm-hatch", ..Pen::line(0.6) });
}

/// The first band that a hatch line belongs to: every eighth line from the first band on, every fourth from the next, and so on.
fn needs(line: f64) -> usize {
    let level = [8.0, 4.0, 2.0, 1.0].iter().position(|step: &f64| (line / step).fract().abs() < 1e-9);
    level.map_or(BANDS, |level| level + 1)
}

/// One hatch line, drawn over the cells whose band asks for it.
fn run(
    path: &mut String,
    y: f64,
    columns: &[(f64, f64)],
    cells: &[Option<usize>],
    needs: usize,
    at: &impl Fn(&[f64; 2]) -> (f64, f64),
) {
    let mut begun: Option<f64> = None;
    let mut end = 0.0;
    for ((from, to), cell) in columns.iter().zip(cells) {
        if cell.is_some_and(|band| band >= needs) {
            begun = begun.or(Some(at(&[*from, 0.0]).0));
            end = at(&[*to, 0.0]).0;
        } else if let Some(start) = begun.take() {
            path.push_str(&format!("M{} {}H{}", number(start), number(y), number(end)));
        }
    }
    if let Some(start) = begun {
        path.push_str(&format!("M{} {}H{}", number(start), number(y), number(end)));
    }
}

/// Thin slanting lines in a rectangle, in step with those of every other one.
fn slanting(d: &mut Drawing, from: (f64, f64), to: (f64, f64)) {
    /// Between two slanting lines.
    const STEP: f64 = 10.0;
    let (left, right, top, foot) = (from.0, to.0, from.1, to.1);
    // Lines x + y = k * STEP.
    let mut sum = ((left + top) / STEP).ceil() * STEP;
    while sum < right + foot {
        let (x0, x1) = ((sum - foot).max(left), (sum - top).min(right));
        if x1 > x0 {
            d.line((x0, sum - x0), (x1, sum - x1), &Pen::help());
        }
        sum += STEP;
    }
}

/// The ends of the cells round places, half way to their neighbours.
fn edges(places: &[f64]) -> Vec<(f64, f64)> {
    let middle = |a: Option<&f64>, b: &f64| a.map_or(*b, |a| f64::midpoint(*a, *b));
    let each = places.iter().enumerate();
    each.map(|(k, place)| {
        let before = k.checked_sub(1).and_then(|k| places.get(k));
        (middle(before, place), middle(places.get(k + 1), place))
    })
    .collect()
}

/// Bores or chambers, evenly spaced from the front, with their names.
fn chambers(d: &mut Drawing, warp: &Warp, corner: (f64, f64), size: (f64, f64)) {
    let pitch = size.0 / count(warp.chambers.len().max(1));
    let radius = (0.4 * pitch).min(0.34 * size.1);
    for (k, name) in warp.chambers.iter().enumerate() {
        let (x, y) = (corner.0 + (count(k) + 0.5) * pitch, corner.1 + size.1 / 2.0);
        d.circle((x, y), radius, &Pen::line(1.0));
        let wide = super::drawing::wide(name, SMALL) + 8.0;
        d.rect((x - wide / 2.0, y + radius / 2.0 - 11.0), (wide, 20.0), &Pen::outline(0.8));
        d.text((x, y + radius / 2.0 + 4.0), SMALL, Anchor::Middle, true, name);
    }
}

/// The tolerance frame of flatness (ISO 1101 \[published\]): a parallelogram and the limit in mm.
fn flatness_frame(d: &mut Drawing, limit: &str, width: f64) {
    let wide = super::drawing::wide(limit, SMALL) + 16.0;
    let left = width - LEFT - wide - 34.0;
    d.rect((left, 12.0), (34.0, 24.0), &Pen::outline(1.2));
    d.polygon(&[(left + 6.0, 30.0), (left + 22.0, 30.0), (left + 28.0, 18.0), (left + 12.0, 18.0)], &Pen::line(1.6));
    d.rect((left + 34.0, 12.0), (wide, 24.0), &Pen::outline(1.2));
    d.text((left + 34.0 + wide / 2.0, 29.0), SMALL, Anchor::Middle, true, limit);
}

/// The bands from high to deep, beside one another.
fn scale_of_bands(d: &mut Drawing, top: f64) {
    const STEP: f64 = 44.0;
    let mut path = String::new();
    for band in 0..BANDS {
        let left = LEFT + 44.0 + count(band) * STEP;
        let mut line = 1.0;
        while line < 10.0 {
            // In step with the face, the widest spacing in the middle of the box.
            if band >= needs(line + 3.0) {
                path.push_str(&format!("M{} {}H{}", number(left), number(top + line * CLOSEST), number(left + STEP)));
            }
            line += 1.0;
        }
        d.rect((left, top), (STEP, 10.0 * CLOSEST), &Pen::line(1.0));
    }
    d.path(&path, &Pen { class: "wm-hatch", ..Pen::line(0.6) });
    d.text((LEFT, top + 13.0), SMALL, Anchor::Start, false, "high");
    d.text((LEFT + 52.0 + count(BANDS) * STEP, top + 13.0), SMALL, Anchor::Start, false, "deep");
}
