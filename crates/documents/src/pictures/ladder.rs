//! The next checks as a ladder, with the line under which none pays (P9).

use quantity::Money;
use workup::CheckWorth;
use workup::advice::Advice;

use super::drawing::{Anchor, Drawing, INK, PAPER, Pen, THICK, count, fitted, grouped, round_marks};

const WIDTH: f64 = 640.0;
/// Where the rungs begin.
const RAIL: f64 = 14.0;
const RUNG: f64 = 46.0;
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
/// in money where the labour rate is told, else in labour units.
#[must_use]
pub fn check_ladder(advice: &Advice, rate: Option<&Money>) -> String {
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
    let height = 16.0 + count(above.len() + below.len()) * RUNG + 44.0 + 46.0;
    let mut d = Drawing::new(WIDTH, height, "The next checks, as a ladder", &desc);
    let longest = above.iter().chain(&below).map(|c| c.minutes + c.access_minutes).fold(1.0_f64, f64::max);
    let scale = (WIDTH - RAIL - RIGHT) / longest;
    let mut y = 16.0;
    for (n, check) in above.iter().enumerate() {
        rung(&mut d, check, y, scale, Some(n + 1), unit);
        y += RUNG;
    }
    d.line((0.0, y + 20.0), (WIDTH, y + 20.0), &Pen::line(THICK * 2.0));
    d.rect((RAIL + 14.0, y + 4.0), (250.0, 32.0), &Pen { width: THICK, ..Pen::outline(THICK) });
    d.text((RAIL + 26.0, y + 26.0), 17.0, Anchor::Start, true, "STOP");
    d.text((RAIL + 84.0, y + 25.0), 12.0, Anchor::Start, false, "nothing below pays for itself");
    y += 44.0;
    let first_below = y;
    for check in &below {
        rung(&mut d, check, y, scale, None, unit);
        y += RUNG;
    }
    // The two rails stop being a ladder where it stops paying.
    if !above.is_empty() {
        d.line((RAIL - 8.0, 6.0), (RAIL - 8.0, first_below - 44.0), &Pen::line(THICK));
    }
    axis(&mut d, y, longest, scale, unit);
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

/// One check: words over a bar as long as its minutes, the opening first and lighter.
fn rung(d: &mut Drawing, check: &CheckWorth, y: f64, scale: f64, rank: Option<usize>, unit: Unit<'_>) {
    let worth = format!("worth {}, costs {}", unit.figure(check.worth_ahead()), unit.figure(check.cost));
    let number = rank.map_or_else(String::new, |n| format!("{n}. "));
    let name = fitted(&format!("{number}{}, {}", check.name, check.place), 13.0, WIDTH - RAIL - RIGHT - 170.0);
    d.group(if rank.is_some() { "rung-pays" } else { "rung-below" });
    d.text((RAIL, y + 12.0), 13.0, Anchor::Start, rank.is_some(), &name);
    d.text((WIDTH - RIGHT, y + 12.0), 12.0, Anchor::End, false, &worth);
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

fn axis(d: &mut Drawing, y: f64, longest: f64, scale: f64, unit: Unit<'_>) {
    d.line((RAIL, y + 4.0), (WIDTH - RIGHT, y + 4.0), &Pen::line(1.0));
    for at in round_marks(0.0, longest, 6.0) {
        let x = RAIL + at * scale;
        d.line((x, y + 4.0), (x, y + 9.0), &Pen::line(1.0));
        d.text((x.max(RAIL + 4.0), y + 21.0), 11.0, Anchor::Middle, false, &format!("{at:.0}"));
    }
    let words = format!("minutes; dashed: opening the engine far enough first; worth and cost in {}", unit.words());
    d.text((RAIL, y + 37.0), 11.0, Anchor::Start, false, &words);
}
