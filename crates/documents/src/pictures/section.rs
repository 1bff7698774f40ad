//! A bore or journal cut across, its error enlarged (P3): the readings, and the two circles with all of them between.

use std::fmt::Write;

use super::drawing::{Anchor, Drawing, Pen, THICK, number};

/// A section. Lengths in millimetres.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Section {
    /// The readings, each a place from the centre that they were taken about.
    pub points: Vec<[f64; 2]>,
    /// The centre of the two circles.
    pub centre: [f64; 2],
    /// How far the readings lie apart, seen from that centre.
    pub zone: f64,
}

const SIZE: f64 = 380.0;
const MIDDLE: f64 = 180.0;
/// Radii at which the two circles are drawn.
const INNER: f64 = 92.0;
const OUTER: f64 = 148.0;

/// The section with its error enlarged. Empty for fewer than three readings.
#[must_use]
pub fn round_section(section: &Section) -> String {
    let [cx, cy] = section.centre;
    let mut seen: Vec<(f64, f64)> =
        section.points.iter().map(|p| ((p[1] - cy).atan2(p[0] - cx), (p[0] - cx).hypot(p[1] - cy))).collect();
    if seen.len() < 3 {
        return String::new();
    }
    seen.sort_by(|a, b| a.0.total_cmp(&b.0));
    let low = seen.iter().map(|(_, r)| *r).fold(f64::INFINITY, f64::min);
    let high = seen.iter().map(|(_, r)| *r).fold(f64::NEG_INFINITY, f64::max);
    let width = high - low;
    let out =
        |r: f64| if width > 0.0 { INNER + (r - low) / width * (OUTER - INNER) } else { f64::midpoint(INNER, OUTER) };
    let at = |(angle, r): (f64, f64)| (MIDDLE + out(r) * angle.cos(), MIDDLE - out(r) * angle.sin());
    let micro = format!("{:.1}", 1000.0 * section.zone);
    let larger = if section.zone > 0.0 { (OUTER - INNER) / section.zone } else { 0.0 };
    let desc = format!(
        "{} readings between two circles {micro} thousandths of a millimetre apart, the error drawn large. The highest lies at {:.0} degrees, the lowest at {:.0}.",
        seen.len(),
        degrees(&seen, high),
        degrees(&seen, low),
    );
    let mut d = Drawing::new(SIZE, SIZE + 24.0, "The section, its error enlarged", &desc);
    d.circle((MIDDLE, MIDDLE), OUTER, &Pen::chain(1.0));
    d.circle((MIDDLE, MIDDLE), INNER, &Pen::chain(1.0));
    for angle in [0.0_f64, 90.0, 180.0, 270.0] {
        let (sine, cosine) = angle.to_radians().sin_cos();
        d.line(
            (MIDDLE + 12.0 * cosine, MIDDLE - 12.0 * sine),
            (MIDDLE + (OUTER + 8.0) * cosine, MIDDLE - (OUTER + 8.0) * sine),
            &Pen::help(),
        );
        let place = (MIDDLE + (OUTER + 20.0) * cosine, MIDDLE - (OUTER + 20.0) * sine + 4.0);
        d.text(place, 12.0, Anchor::Middle, false, &format!("{angle:.0}°"));
    }
    let mut path = String::new();
    for (k, reading) in seen.iter().enumerate() {
        let (x, y) = at(*reading);
        let _fits = write!(path, "{}{} {}", if k == 0 { "M" } else { "L" }, number(x), number(y));
    }
    path.push('Z');
    d.path(&path, &Pen::line(THICK));
    for reading in &seen {
        d.circle(at(*reading), 3.5, &Pen::solid());
    }
    let key = format!("zone {micro} µm, drawn {larger:.0} times too large");
    d.text((MIDDLE, SIZE + 8.0), 14.0, Anchor::Middle, false, &key);
    d.finish()
}

/// Where the reading of this radius lies, counted from 0 to 360.
fn degrees(seen: &[(f64, f64)], radius: f64) -> f64 {
    let found = seen.iter().find(|(_, r)| (r - radius).abs() <= f64::EPSILON * radius.abs());
    found.map_or(0.0, |(angle, _)| angle.to_degrees().rem_euclid(360.0))
}
