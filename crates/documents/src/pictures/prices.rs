//! The price of each option as an interval (P10).

use workup::OptionLine;

use super::drawing::{Anchor, Drawing, INK, PAPER, Pen, THICK, count, fitted, grouped, lines, round_marks, wide};

/// How wide the picture is drawn, and so how large its words stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Breadth {
    /// For a sheet or a wide screen.
    Sheet,
    /// For a phone: the price stands under the name.
    Phone,
}

impl Breadth {
    pub(crate) const fn width(self) -> f64 {
        match self {
            Breadth::Sheet => 640.0,
            Breadth::Phone => 356.0,
        }
    }

    const fn row(self) -> f64 {
        match self {
            Breadth::Sheet => 54.0,
            Breadth::Phone => 70.0,
        }
    }

    pub(crate) const fn marks(self) -> f64 {
        match self {
            Breadth::Sheet => 6.0,
            Breadth::Phone => 3.0,
        }
    }

    /// Letters of the axis and of the key.
    pub(crate) const fn small(self) -> f64 {
        match self {
            Breadth::Sheet => 11.0,
            Breadth::Phone => 12.5,
        }
    }
}

const LEFT: f64 = 12.0;
const RIGHT: f64 = 24.0;
const TOP: f64 = 12.0;

/// What one row says.
struct Row<'a> {
    name: &'a str,
    price: [f64; 2],
    expected: f64,
    out: bool,
}

/// The price of each option as an interval: a bar from low to high, a tick at what it comes to on average to the
/// horizon.
#[must_use]
pub fn cost_intervals(options: &[OptionLine], breadth: Breadth) -> String {
    let currency = options.iter().find_map(|o| o.money.as_ref().map(|m| m.currency.clone()));
    let in_money = currency.is_some() && options.iter().all(|o| o.money.is_some());
    let unit = if in_money { currency.unwrap_or_default() } else { "labour units".to_owned() };
    let rows: Vec<Row<'_>> = options
        .iter()
        .map(|o| {
            let told = o.money.as_ref().filter(|_| in_money).map(|m| (m.price, m.expected));
            let (price, expected) = told.unwrap_or((o.price, o.expected));
            Row { name: &o.name, price, expected, out: o.struck_out.is_some() }
        })
        .collect();
    let figure = |x: f64| if in_money { grouped(x) } else { format!("{x:.1}") };
    let said: Vec<String> = rows
        .iter()
        .map(|r| {
            let (low, high, mean) = (figure(r.price[0]), figure(r.price[1]), figure(r.expected));
            let out = if r.out { ", ruled out" } else { "" };
            format!("{}: {low} to {high} {unit} now, {mean} on average to the horizon{out}", r.name)
        })
        .collect();
    let desc = if said.is_empty() { "No option is priced yet.".to_owned() } else { format!("{}.", said.join("; ")) };
    let width = breadth.width();
    let key = lines(
        &format!("{unit}; bar: price now, low to high; tick: on average in the end, comebacks included"),
        breadth.small(),
        width - LEFT,
    );
    let height = TOP + count(rows.len()) * breadth.row() + 31.0 + 15.0 * count(key.len());
    let mut d = Drawing::new(width, height, "What each way costs, as an interval", &desc);
    let ends = rows.iter().flat_map(|r| [r.price[0], r.price[1], r.expected]);
    let (low, high) = ends.fold((0.0_f64, 0.0_f64), |(l, h), v| (l.min(v), h.max(v)));
    let high = if high > low { high } else { low + 1.0 };
    let scale = (width - LEFT - RIGHT) / ((high - low) * 1.04);
    let x = |v: f64| LEFT + (v - low) * scale;
    axis(&mut d, &x, (low, high), TOP + count(rows.len()) * breadth.row() + 8.0, breadth, &key, &figure);
    for (n, row) in rows.iter().enumerate() {
        bar(&mut d, row, TOP + count(n) * breadth.row(), breadth, &x, &figure);
    }
    d.finish()
}

fn axis(
    d: &mut Drawing,
    x: &impl Fn(f64) -> f64,
    (low, high): (f64, f64),
    y: f64,
    breadth: Breadth,
    key: &[String],
    figure: &impl Fn(f64) -> String,
) {
    let small = breadth.small();
    d.line((LEFT, y), (breadth.width() - RIGHT, y), &Pen::line(1.0));
    for at in round_marks(low, high, breadth.marks()) {
        d.line((x(at), y), (x(at), y + 5.0), &Pen::line(1.0));
        d.text((x(at).max(LEFT + 4.0), y + 17.0), small, Anchor::Middle, false, &figure(at));
    }
    for (n, words) in key.iter().enumerate() {
        d.text((LEFT, y + 33.0 + 15.0 * count(n)), small, Anchor::Start, false, words);
    }
}

fn bar(
    d: &mut Drawing,
    row: &Row<'_>,
    top: f64,
    breadth: Breadth,
    x: &impl Fn(f64) -> f64,
    figure: &impl Fn(f64) -> String,
) {
    let (low, high) = (figure(row.price[0]), figure(row.price[1]));
    let words = if low == high { low } else { format!("{low} to {high}") };
    let edge = breadth.width() - RIGHT;
    let room = match breadth {
        Breadth::Sheet => edge - LEFT - wide(&words, 12.0) - 16.0,
        Breadth::Phone => breadth.width() - LEFT - 4.0,
    };
    // A name that is long for its line stands a little smaller before anything of it is cut off.
    let letters = (12.98 * room / wide(row.name, 13.0).max(1.0)).clamp(11.0, 13.0);
    let name = fitted(row.name, letters, room);
    if row.out {
        d.struck((LEFT, top + 12.0), letters, &name);
    } else {
        d.text((LEFT, top + 12.0), letters, Anchor::Start, true, &name);
    }
    let top = match breadth {
        Breadth::Sheet => {
            d.text((edge, top + 12.0), 12.0, Anchor::End, false, &words);
            top
        }
        Breadth::Phone => {
            d.text((LEFT, top + 28.0), 12.5, Anchor::Start, false, &words);
            top + 16.0
        }
    };
    let (a, b) = (x(row.price[0]), x(row.price[1]));
    let (y, high) = (top + 20.0, 14.0);
    let width = (b - a).max(3.0);
    let mean = x(row.expected);
    // Where the average lies beyond the price, a thin line leads to it: that is what comes later.
    let near = if mean > b { b } else { a };
    if mean > b || mean < a {
        d.line((near, y + high / 2.0), (mean, y + high / 2.0), &Pen::hidden());
    }
    if row.out {
        d.rect((a, y), (width, high), &Pen { class: "wm-out", stroke: INK, fill: PAPER, width: 1.0, dashes: "3 2" });
        d.line((a - 4.0, y + high + 4.0), (a + width + 4.0, y - 4.0), &Pen::line(THICK));
        d.line((a - 4.0, y - 4.0), (a + width + 4.0, y + high + 4.0), &Pen::line(THICK));
    } else {
        d.rect((a, y), (width, high), &Pen { class: "wm-bar", stroke: INK, fill: "#B8BEC4", width: THICK, dashes: "" });
    }
    d.line((mean, y - 4.0), (mean, y + high + 4.0), &Pen::line(THICK * 1.6));
}
