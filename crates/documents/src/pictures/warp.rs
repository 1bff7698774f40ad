//! A face as it is bent (P2): shade for height, hatching where nothing was measured, the points and lines it rests on.

use super::drawing::{Anchor, Drawing, INK, Pen, THICK, fitted};

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
}

const WIDTH: f64 = 560.0;
const LEFT: f64 = 16.0;
const TOP: f64 = 16.0;
/// The widest and the highest that the face is drawn.
const ROOM: (f64, f64) = (528.0, 300.0);
/// Steps of shade; more cannot be told apart in grey \[ours\].
const STEPS: f64 = 8.0;
/// The darkest shade.
const DARKEST: f64 = 0.62;

/// The face from above. High is dark. Empty where there is no grid.
#[must_use]
pub fn warp_map(warp: &Warp) -> String {
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
    let scale = (ROOM.0 / long).min(ROOM.1 / deep);
    let at = |place: &[f64; 2]| (LEFT + (place[0] - x0) * scale, TOP + (y1 - place[1]) * scale);
    let bottom = TOP + deep * scale;
    let micro = |height: f64| format!("{:.0}", 1000.0 * height);
    let blind = warp.seen.iter().any(|seen| !seen);
    let desc = format!(
        "A face of {long:.0} by {deep:.0} mm from above. Its highest ground lies {} thousandths of a millimetre over its lowest. \
         {} points measured.{}",
        micro(high - low),
        warp.points.len(),
        if blind { " Hatched ground was not measured." } else { "" }
    );
    let mut d = Drawing::new(WIDTH, bottom + 92.0, "The face, bent as measured", &desc);
    let edges = |places: &[f64]| -> Vec<(f64, f64)> {
        let middle = |a: Option<&f64>, b: &f64| a.map_or(*b, |a| f64::midpoint(*a, *b));
        let each = places.iter().enumerate();
        each.map(|(k, place)| {
            let before = k.checked_sub(1).and_then(|k| places.get(k));
            (middle(before, place), middle(places.get(k + 1), place))
        })
        .collect()
    };
    let shade = |height: f64| {
        let part = if high > low { (height - low) / (high - low) } else { 0.0 };
        ((part * STEPS).floor().min(STEPS - 1.0) / (STEPS - 1.0)) * DARKEST
    };
    let mut cells = warp.height.iter().zip(&warp.seen);
    for row in edges(&warp.across) {
        for column in edges(&warp.along) {
            let Some((height, seen)) = cells.next() else { break };
            let (from, to) = (at(&[column.0, row.1]), at(&[column.1, row.0]));
            let size = (to.0 - from.0, to.1 - from.1);
            if *seen {
                d.shade(from, size, shade(*height));
            } else {
                d.hatch(from, size, 7.0);
            }
        }
    }
    d.rect((LEFT, TOP), (long * scale, deep * scale), &Pen::line(THICK));
    for [from, to] in &warp.lines {
        d.line(at(from), at(to), &Pen::line(1.0));
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
    let mut x = LEFT;
    let step = 26.0;
    let mut k = 0.0;
    while k < STEPS {
        d.shade((x, bottom + 14.0), (step, 14.0), k / (STEPS - 1.0) * DARKEST);
        x += step;
        k += 1.0;
    }
    d.rect((LEFT, bottom + 14.0), (step * STEPS, 14.0), &Pen::line(1.0));
    d.text((LEFT, bottom + 46.0), 14.0, Anchor::Start, false, "low 0");
    d.text((LEFT + step * STEPS, bottom + 46.0), 14.0, Anchor::End, false, &format!("high {} µm", micro(high - low)));
    let key =
        if blind { "▲ touches above, ▼ below; hatched: not measured" } else { "▲ touches above, ▼ below" };
    d.text((LEFT, bottom + 72.0), 14.0, Anchor::Start, false, &fitted(key, 14.0, WIDTH - LEFT));
    d.finish()
}

impl Drawing {
    /// An area of ink, so dark: 0 is paper.
    fn shade(&mut self, at: (f64, f64), size: (f64, f64), dark: f64) {
        use super::drawing::number;
        // A hair wider than the cell, so that no light line stands between two of one shade.
        let (w, h) = (size.0 + 0.3, size.1 + 0.3);
        self.add(&format!(
            "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"{INK}\" fill-opacity=\"{}\"/>",
            number(at.0),
            number(at.1),
            number(w),
            number(h),
            number(dark)
        ));
    }
}
