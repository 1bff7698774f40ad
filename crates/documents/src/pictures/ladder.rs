//! The next checks as a ladder, with the line under which none pays (P9).

use quantity::Money;
use workup::CheckWorth;
use workup::advice::Advice;

use super::drawing::{Anchor, Drawing, INK, PAPER, Pen, THICK, count, fitted, grouped, lines, round_marks, wide};
use super::prices::Breadth;

/// Where the rungs begin.
const RAIL: f64 = 14.0;
const RIGHT: f64 = 20.0;
/// How many rungs are drawn above and below the line \[ours\].
const ABOVE: usize = 6;
const BELOW: usize = 4;

/// What worth and cost are shown in: money where the labour rate is told, else labour units.
#[derive(Debug, Clone, Copy)]
struct Unit<'a> {
    rate: Option<&'a Money>,
}

impl Unit<'_> {
    /// A figure in labour units, without its unit.
    fn figure(self, units: f64) -> String {
        match self.rate.map(|r| units * r.to_f64()) {
            Some(money) if money.abs() < 10.0 => format!("{money:.2}"),
            Some(money) => grouped(money),
            None => format!("{units:.2}"),
        }
    }

    /// What the figures are in.
    fn words(self) -> String {
        self.rate.map_or_else(|| "labour units".to_owned(), |r| r.currency().code().to_owned())
    }
}

/// The next checks as a ladder: the best on top, minutes across, worth at the right, and the STOP line. Worth and cost are
/// in money where the labour rate is told, else in labour units. On a phone worth and cost stand under the name.
#[must_use]
pub fn check_ladder(advice: &Advice, rate: Option<&Money>, breadth: Breadth) -> String {
    let unit = Unit { rate };
    let above: Vec<&CheckWorth> = advice.next.iter().take(ABOVE).collect();
    // Below the line one place stands for all places of a check: none of them pays.
    let mut below: Vec<&CheckWorth> = Vec::new();
    for check in &advice.rest {
        if below.len() < BELOW && !below.iter().any(|c| c.check == check.check) {
            below.push(check);
        }
    }
    let desc = described(advice, &above, &below, unit);
    let (width, step) = (breadth.width(), rung_step(breadth));
    let key = lines(
        &format!("minutes; dashed: opening the engine far enough first; worth and cost in {}", unit.words()),
        breadth.small(),
        width - RAIL,
    );
    let height = 16.0 + count(above.len() + below.len()) * step + 44.0 + 31.0 + 15.0 * count(key.len());
    let mut d = Drawing::new(width, height, "The next checks, as a ladder", &desc);
    let longest = above.iter().chain(&below).map(|c| c.minutes + c.access_minutes).fold(1.0_f64, f64::max);
    let scale = (width - RAIL - RIGHT) / longest;
    let mut y = 16.0;
    for (n, check) in above.iter().enumerate() {
        rung(&mut d, check, (y, scale), Some(n + 1), unit, breadth);
        y += step;
    }
    d.line((0.0, y + 20.0), (width, y + 20.0), &Pen::line(THICK * 2.0));
    d.rect((RAIL + 14.0, y + 4.0), (250.0, 32.0), &Pen { width: THICK, ..Pen::outline(THICK) });
    d.text((RAIL + 26.0, y + 26.0), 17.0, Anchor::Start, true, "STOP");
    d.text((RAIL + 84.0, y + 25.0), 12.0, Anchor::Start, false, "nothing below pays for itself");
    y += 44.0;
    let first_below = y;
    for check in &below {
        rung(&mut d, check, (y, scale), None, unit, breadth);
        y += step;
    }
    // The two rails stop being a ladder where it stops paying.
    if !above.is_empty() {
        d.line((RAIL - 8.0, 6.0), (RAIL - 8.0, first_below - 44.0), &Pen::line(THICK));
    }
    axis(&mut d, y, (longest, scale), &key, breadth);
    d.finish()
}

fn described(advice: &Advice, above: &[&CheckWorth], below: &[&CheckWorth], unit: Unit<'_>) -> String {
    let one = |c: &&CheckWorth| {
        let worth = match unit.rate {
            Some(_) => format!("{} {}", unit.words(), unit.figure(c.worth_ahead())),
            None => format!("{} {}", unit.figure(c.worth_ahead()), unit.words()),
        };
        format!("{}, {}: {:.0} min, worth {worth}", c.name, c.place, minutes(c))
    };
    let mut said = Vec::new();
    if above.is_empty() {
        said.push("No check pays.".to_owned());
    } else {
        said.push(format!("Pays, best first: {}.", above.iter().map(one).collect::<Vec<_>>().join("; ")));
    }
    if let Some(stop) = &advice.stop {
        said.push(format!("STOP: {}.", stop.words.trim_end_matches('.')));
    }
    if !below.is_empty() {
        said.push(format!("Does not pay: {}.", below.iter().map(one).collect::<Vec<_>>().join("; ")));
    }
    said.join(" ")
}

fn minutes(check: &CheckWorth) -> f64 {
    check.minutes + check.access_minutes
}

/// How far one rung lies under the other.
const fn rung_step(breadth: Breadth) -> f64 {
    match breadth {
        Breadth::Sheet => 46.0,
        Breadth::Phone => 78.0,
    }
}

/// One check: words over a bar as long as its minutes, the opening first and lighter.
fn rung(
    d: &mut Drawing,
    check: &CheckWorth,
    (top, scale): (f64, f64),
    rank: Option<usize>,
    unit: Unit<'_>,
    breadth: Breadth,
) {
    let width = breadth.width();
    let worth = format!("worth {}, costs {}", unit.figure(check.worth_ahead()), unit.figure(check.cost));
    let number = rank.map_or_else(String::new, |n| format!("{n}. "));
    let name = format!("{number}{}, {}", check.name, check.place);
    d.group(if rank.is_some() { "rung-pays" } else { "rung-below" });
    let y = match breadth {
        Breadth::Sheet => {
            // A name that is long for its line stands a little smaller before anything of it is cut off.
            let room = width - RAIL - RIGHT - 150.0;
            let letters = (12.98 * room / wide(&name, 13.0).max(1.0)).clamp(11.0, 13.0);
            d.text((RAIL, top + 12.0), letters, Anchor::Start, rank.is_some(), &fitted(&name, letters, room));
            d.text((width - RIGHT, top + 12.0), 12.0, Anchor::End, false, &worth);
            top
        }
        Breadth::Phone => {
            let room = width - RAIL - 4.0;
            let mut broken = lines(&name, 13.0, room).into_iter();
            let (first, rest) = (broken.next().unwrap_or_default(), broken.collect::<Vec<_>>().join(" "));
            d.text((RAIL, top + 12.0), 13.0, Anchor::Start, rank.is_some(), &first);
            d.text((RAIL, top + 28.0), 13.0, Anchor::Start, rank.is_some(), &fitted(&rest, 13.0, room));
            let below = if rest.is_empty() { 28.0 } else { 44.0 };
            d.text((RAIL, top + below), 12.5, Anchor::Start, false, &worth);
            top + below - 12.0
        }
    };
    let (open, own) = (check.access_minutes * scale, (check.minutes * scale).max(3.0));
    let bar = y + 19.0;
    if open > 0.0 {
        d.rect(
            (RAIL, bar),
            (open, 12.0),
            &Pen { class: "wm-outline", stroke: INK, fill: PAPER, width: 1.0, dashes: "3 2" },
        );
    }
    let pen = match rank {
        Some(_) => Pen { class: "wm-bar", stroke: INK, fill: "#15181A", width: 1.0, dashes: "" },
        None => Pen { class: "wm-bar-below", stroke: "#4A4F55", fill: "#E4E6E8", width: 1.0, dashes: "" },
    };
    d.rect((RAIL + open, bar), (own, 12.0), &pen);
    if rank.is_none() {
        d.hatch((RAIL, bar), (open + own, 12.0), 6.0);
    }
    d.end();
}

fn axis(d: &mut Drawing, y: f64, (longest, scale): (f64, f64), key: &[String], breadth: Breadth) {
    let small = breadth.small();
    d.line((RAIL, y + 4.0), (breadth.width() - RIGHT, y + 4.0), &Pen::line(1.0));
    for at in round_marks(0.0, longest, breadth.marks()) {
        let x = RAIL + at * scale;
        d.line((x, y + 4.0), (x, y + 9.0), &Pen::line(1.0));
        d.text((x.max(RAIL + 4.0), y + 21.0), small, Anchor::Middle, false, &format!("{at:.0}"));
    }
    for (n, words) in key.iter().enumerate() {
        d.text((RAIL, y + 37.0 + 15.0 * count(n)), small, Anchor::Start, false, words);
    }
}
