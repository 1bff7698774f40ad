//! How the costs of several ways spread (P10): a thin line, a bar and two ticks each.

use super::drawing::{Anchor, Drawing, INK, Pen, THICK, count, fitted, grouped, round_marks, wide};

const WIDTH: f64 = 640.0;
const LEFT: f64 = 12.0;
const RIGHT: f64 = 24.0;
const ROW: f64 = 54.0;
const TOP: f64 = 12.0;

/// The cost of one way over the horizon.
#[derive(Debug, Clone, PartialEq)]
pub struct SpreadLine {
    /// Its name.
    pub name: String,
    /// Its mean.
    pub mean: f64,
    /// What a tenth, a quarter, half, three quarters and nine tenths of all cases lie below.
    pub below: [f64; 5],
    /// How often it is the cheapest.
    pub cheapest: f64,
}

/// The costs of ways as intervals on one scale: a line for eight cases in ten, a bar for the middle half, a thin tick at the
/// cost that half lie below, and a thick one at the mean.
#[must_use]
pub fn cost_spreads(lines: &[SpreadLine], currency: &str) -> String {
    let words = |line: &SpreadLine| {
        let [tenth, _, half, _, ninetieth] = line.below.map(grouped);
        let (mean, often) = (grouped(line.mean), (100.0 * line.cheapest).round());
        format!(
            "{}: {mean} {currency} on average, half the time below {half}, eight times in ten {tenth} to {ninetieth}, cheapest {often} % of the time",
            line.name
        )
    };
    let said: Vec<String> = lines.iter().map(words).collect();
    let desc = if said.is_empty() { "Nothing is compared yet.".to_owned() } else { format!("{}.", said.join("; ")) };
    let height = TOP + count(lines.len()) * ROW + 46.0;
    let mut d = Drawing::new(WIDTH, height, "What each way costs over the years ahead", &desc);
    let ends = lines.iter().flat_map(|line| line.below.into_iter().chain([line.mean]));
    let (low, high) = ends.fold((0.0_f64, 0.0_f64), |(l, h), v| (l.min(v), h.max(v)));
    let high = if high > low { high } else { low + 1.0 };
    let scale = (WIDTH - LEFT - RIGHT) / ((high - low) * 1.04);
    let x = |v: f64| LEFT + (v - low) * scale;
    let y = height - 38.0;
    d.line((LEFT, y), (WIDTH - RIGHT, y), &Pen::line(1.0));
    for at in round_marks(low, high, 6.0) {
        d.line((x(at), y), (x(at), y + 5.0), &Pen::line(1.0));
        d.text((x(at).max(LEFT + 4.0), y + 17.0), 11.0, Anchor::Middle, false, &grouped(at));
    }
    let key =
        format!("{currency}; line: eight in ten; bar: middle half; thin tick: half lie below; thick tick: on average");
    d.text((LEFT, y + 33.0), 11.0, Anchor::Start, false, &key);
    for (n, line) in lines.iter().enumerate() {
        row(&mut d, line, TOP + count(n) * ROW, &x);
    }
    d.finish()
}

fn row(d: &mut Drawing, line: &SpreadLine, top: f64, x: &impl Fn(f64) -> f64) {
    let words = format!("cheapest {} %", (100.0 * line.cheapest).round());
    let room = WIDTH - LEFT - RIGHT - wide(&words, 12.0) - 16.0;
    d.text((LEFT, top + 12.0), 13.0, Anchor::Start, true, &fitted(&line.name, 13.0, room));
    d.text((WIDTH - RIGHT, top + 12.0), 12.0, Anchor::End, false, &words);
    let [tenth, quarter, half, three_quarters, ninetieth] = line.below.map(x);
    let (y, high) = (top + 20.0, 14.0);
    d.line((tenth, y + high / 2.0), (ninetieth, y + high / 2.0), &Pen::line(1.0));
    for end in [tenth, ninetieth] {
        d.line((end, y + 3.0), (end, y + high - 3.0), &Pen::line(1.0));
    }
    let bar = Pen { class: "wm-bar", stroke: INK, fill: "#B8BEC4", width: THICK, dashes: "" };
    d.rect((quarter, y), ((three_quarters - quarter).max(1.0), high), &bar);
    d.line((half, y), (half, y + high), &Pen::line(1.0));
    d.line((x(line.mean), y - 4.0), (x(line.mean), y + high + 4.0), &Pen::line(THICK * 1.6));
}
