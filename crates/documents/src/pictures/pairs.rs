//! Then and now: as found and as left of each place as two dots, joined (P14).

use super::drawing::{Anchor, Drawing, Pen, THICK, count, fitted, round_marks};

/// One place, read twice.
#[derive(Debug, Clone, PartialEq)]
pub struct ThenNow {
    /// The place, in words.
    pub place: String,
    /// As found.
    pub then: f64,
    /// As left.
    pub now: f64,
}

const LEFT: f64 = 58.0;
const TOP: f64 = 16.0;
const HIGH: f64 = 130.0;
const COLUMN: f64 = 96.0;

/// As found (open dot) and as left (full dot) of each place, joined by a line.
#[must_use]
pub fn then_and_now(name: &str, unit: &str, pairs: &[ThenNow]) -> String {
    let said: Vec<String> =
        pairs.iter().map(|p| format!("{}: {} then, {} now", p.place, short(p.then), short(p.now))).collect();
    let desc = format!("{name} in {unit}, as found and as left. {}.", said.join("; "));
    let width = LEFT + count(pairs.len().max(4)) * COLUMN + 20.0;
    let mut d = Drawing::new(width, TOP + HIGH + 62.0, &format!("{name}, then and now"), &desc);
    let ends = pairs.iter().flat_map(|p| [p.then, p.now]).filter(|v| v.is_finite());
    let (low, high) = ends.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
    let (low, high) = if low <= high { (low, high) } else { (0.0, 1.0) };
    let room = ((high - low) * 0.15).max(high.abs() * 0.02).max(1e-9);
    let (low, high) = (low - room, high + room);
    let y = |v: f64| TOP + HIGH - (v - low) / (high - low) * HIGH;
    d.line((LEFT, TOP), (LEFT, TOP + HIGH), &Pen::line(1.0));
    for at in round_marks(low, high, 5.0) {
        d.line((LEFT - 5.0, y(at)), (LEFT, y(at)), &Pen::line(1.0));
        d.text((LEFT - 8.0, y(at) + 4.0), 12.0, Anchor::End, false, &short(at));
    }
    for (n, pair) in pairs.iter().enumerate() {
        let x = LEFT + (count(n) + 0.5) * COLUMN;
        let (a, b) = ((x - 16.0, y(pair.then)), (x + 16.0, y(pair.now)));
        d.line(a, b, &Pen::line(1.0));
        d.circle(a, 6.0, &Pen::outline(THICK));
        d.circle(b, 6.0, &Pen::solid());
        d.text((x, TOP + HIGH + 18.0), 13.0, Anchor::Middle, false, &fitted(&pair.place, 13.0, COLUMN - 4.0));
    }
    let foot = TOP + HIGH + 44.0;
    d.circle((LEFT + 6.0, foot), 6.0, &Pen::outline(THICK));
    d.text((LEFT + 18.0, foot + 4.0), 13.0, Anchor::Start, false, "as found");
    d.circle((LEFT + 106.0, foot), 6.0, &Pen::solid());
    d.text((LEFT + 118.0, foot + 4.0), 13.0, Anchor::Start, false, &format!("as left, {unit}"));
    d.finish()
}

fn short(x: f64) -> String {
    quantity::print::printed(x, 3)
}
