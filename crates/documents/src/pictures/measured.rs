//! What several readings of one piece look like together: a bore by its heights and axes, a face by the lines of its
//! straightedge. Drawn from the readings alone; what lies between them was not measured and is not drawn.

use std::collections::BTreeMap;

use anatomy::Position;
use workup::Finding;

use super::drawing::{Anchor, Drawing, Pen, THICK, count, fitted, lines};

/// The pictures of the figures read at one place, one a reading where its spots make a picture.
///
/// # Shapes
/// the spots of a bore are a height and an axis (`top-thrust`, `bottom-pin-line`), those of a face a line of a straightedge
/// (`along-left`, `diagonal-1`, `across-front`); fewer than two heights or three lines are no picture
#[must_use]
pub fn of_place(findings: &[&Finding]) -> Vec<String> {
    let mut groups: BTreeMap<(Position, &str, &str), Vec<&Finding>> = BTreeMap::new();
    for f in findings.iter().filter(|f| f.value.is_some() && f.spot.is_some() && !f.measure_again && !f.whole_face) {
        groups.entry((f.position, &f.check, &f.reading)).or_default().push(f);
    }
    groups.values().flat_map(|group| [bore(group), face(group)]).filter(|svg| !svg.is_empty()).collect()
}

/// Heights of a bore, from the deck down, and how deep they are drawn.
const HEIGHTS: &[(&str, f64)] = &[("top", 92.0), ("middle", 172.0), ("bottom", 252.0)];
/// The ends of the bore as drawn.
const DECK: f64 = 60.0;
const FOOT: f64 = 284.0;
/// Half the bore as drawn, and the most that a wall stands off it.
const HALF: f64 = 38.0;
const MOST: f64 = 24.0;
/// Narrow enough that two axes are read on a phone.
const PANEL: f64 = 212.0;

/// A bore cut along each axis, its error drawn large.
fn bore(group: &[&Finding]) -> String {
    // Axis, then depth and figure from the deck down; a later reading of the same spot takes the earlier one's place.
    let mut axes: BTreeMap<String, BTreeMap<usize, &Finding>> = BTreeMap::new();
    for f in group {
        let Some(spot) = f.spot.as_deref() else { continue };
        let Some((rank, axis)) = HEIGHTS
            .iter()
            .enumerate()
            .find_map(|(rank, (name, _))| Some((rank, spot.strip_prefix(name)?.strip_prefix(['-', ' '])?)))
        else {
            continue;
        };
        axes.entry(axis.replace('-', " ")).or_default().insert(rank, f);
    }
    axes.retain(|_, heights| heights.len() >= 2);
    let value = |f: &Finding| f.value.unwrap_or(0.0);
    let (Some(first), Some(largest)) =
        (group.first(), axes.values().flat_map(|a| a.values()).map(|f| value(f).abs()).max_by(f64::total_cmp))
    else {
        return String::new();
    };
    let unit = first.unit.as_deref().unwrap_or("");
    let said: Vec<String> = axes
        .iter()
        .map(|(axis, heights)| {
            let figures = heights.iter().filter_map(|(rank, f)| Some(format!("{} {}", HEIGHTS.get(*rank)?.0, f.shown)));
            format!("{axis}: {}", figures.collect::<Vec<_>>().join(", "))
        })
        .collect();
    let title = format!("{}, {}", first.name(), first.place);
    let desc = format!("{} over its size. {}. The error is drawn large.", capital(&first.reading), said.join("; "));
    let width = PANEL * count(axes.len());
    let widest = format!("error drawn large, widest {} {unit}", quantity::print::printed(largest, 3));
    let words = ["broken line: standard size", widest.as_str()];
    let key: Vec<String> = words.iter().flat_map(|line| lines(line, 14.0, width - 20.0)).collect();
    let mut d = Drawing::new(width, FOOT + 38.0 + 18.0 * count(key.len()), &title, &desc);
    let scale = if largest > 0.0 { MOST / largest } else { 0.0 };
    for (k, (axis, heights)) in axes.iter().enumerate() {
        let middle = PANEL * count(k) + 76.0;
        d.text((middle, 22.0), 14.0, Anchor::Middle, true, &fitted(axis, 14.0, PANEL - 20.0));
        d.line((middle, DECK - 18.0), (middle, FOOT + 10.0), &Pen::chain(1.0));
        for side in [-1.0, 1.0] {
            d.line((middle + side * HALF, DECK), (middle + side * HALF, FOOT), &Pen::hidden());
        }
        d.line((middle - HALF - MOST, DECK), (middle + HALF + MOST, DECK), &Pen::line(THICK));
        let placed: Vec<(f64, f64, &Finding)> =
            heights.iter().filter_map(|(rank, f)| Some((HEIGHTS.get(*rank)?.1, value(f) * scale, *f))).collect();
        for pair in placed.windows(2) {
            if let [(y0, off0, _), (y1, off1, _)] = pair {
                for side in [-1.0, 1.0] {
                    let from = (middle + side * (HALF + off0), *y0);
                    d.line(from, (middle + side * (HALF + off1), *y1), &Pen::line(THICK));
                }
            }
        }
        for (y, off, f) in &placed {
            for side in [-1.0, 1.0] {
                d.circle((middle + side * (HALF + off), *y), 3.5, &Pen::solid());
            }
            d.text((middle + HALF + MOST + 7.0, y + 5.0), 14.0, Anchor::Start, true, &fitted(&f.shown, 14.0, 62.0));
        }
    }
    for (n, words) in key.iter().enumerate() {
        d.text((10.0, FOOT + 40.0 + 18.0 * count(n)), 14.0, Anchor::Start, false, words);
    }
    d.finish()
}

const WIDTH: f64 = 560.0;
/// The corners of the face as drawn.
const LEFT: f64 = 60.0;
const RIGHT: f64 = 500.0;
const TOP: f64 = 46.0;
const BOTTOM: f64 = 226.0;
/// Thickest line.
const THICKEST: f64 = 7.0;

/// A line of a straightedge: the name of its spot, where it lies, and where along it its figure stands.
type Edge = (&'static str, (f64, f64), (f64, f64), f64);

/// Facing the front, which is on the left of the picture, the left hand lies below.
const EDGES: &[Edge] = &[
    ("along-left", (LEFT + 10.0, BOTTOM - 18.0), (RIGHT - 10.0, BOTTOM - 18.0), 0.5),
    ("along-middle", (LEFT + 10.0, 136.0), (RIGHT - 10.0, 136.0), 0.62),
    ("along-right", (LEFT + 10.0, TOP + 18.0), (RIGHT - 10.0, TOP + 18.0), 0.5),
    ("across-front", (LEFT + 24.0, TOP + 8.0), (LEFT + 24.0, BOTTOM - 8.0), 0.5),
    ("across-middle", (280.0, TOP + 8.0), (280.0, BOTTOM - 8.0), 0.3),
    ("across-rear", (RIGHT - 24.0, TOP + 8.0), (RIGHT - 24.0, BOTTOM - 8.0), 0.5),
    ("diagonal-1", (LEFT + 10.0, BOTTOM - 8.0), (RIGHT - 10.0, TOP + 8.0), 0.3),
    ("diagonal-2", (LEFT + 10.0, TOP + 8.0), (RIGHT - 10.0, BOTTOM - 8.0), 0.3),
];

/// A face with the lines its straightedge lay along, each as thick as its gap.
fn face(group: &[&Finding]) -> String {
    let drawn: Vec<(&Edge, &Finding)> = EDGES
        .iter()
        .filter_map(|edge| Some((edge, *group.iter().rfind(|f| f.spot.as_deref() == Some(edge.0))?)))
        .collect();
    let (Some((_, first)), true) = (drawn.first(), drawn.len() >= 3) else { return String::new() };
    let value = |f: &Finding| f.value.unwrap_or(0.0).abs();
    let widest = drawn.iter().map(|(_, f)| value(f)).fold(0.0, f64::max);
    let said: Vec<String> = drawn.iter().map(|(e, f)| format!("{} {}", e.0.replace('-', " "), f.shown)).collect();
    let title = format!("{}, line by line", first.place);
    let desc = format!(
        "The widest gap under the straightedge along each line: {}. The thicker the line, the wider the gap; between the lines nothing was measured.",
        said.join("; ")
    );
    let mut d = Drawing::new(WIDTH, BOTTOM + 56.0, &title, &desc);
    d.rect((LEFT, TOP), (RIGHT - LEFT, BOTTOM - TOP), &Pen::outline(THICK));
    d.text((LEFT - 6.0, TOP - 14.0), 12.0, Anchor::Start, true, "◀ FRONT");
    for ((_, from, to, _), f) in &drawn {
        let width = if widest > 0.0 { 1.0 + value(f) / widest * (THICKEST - 1.0) } else { 1.0 };
        d.line(*from, *to, &Pen::line(width));
    }
    for ((_, from, to, part), f) in &drawn {
        let at = (from.0 + (to.0 - from.0) * part, from.1 + (to.1 - from.1) * part);
        let wide = super::drawing::wide(&f.shown, 14.0) + 10.0;
        d.rect((at.0 - wide / 2.0, at.1 - 11.0), (wide, 22.0), &Pen::outline(1.0));
        d.text((at.0, at.1 + 5.0), 14.0, Anchor::Middle, true, &f.shown);
    }
    let key =
        "widest gap under the straightedge; left and right as one faces the front; between the lines not measured";
    d.text((LEFT - 46.0, BOTTOM + 38.0), 12.0, Anchor::Start, false, &fitted(key, 12.0, WIDTH - 20.0));
    d.finish()
}

fn capital(id: &str) -> String {
    let words = id.replace('-', " ");
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
