//! How good the advice is: what each way of testing costs, and stated chances beside what was so.

use workup::simulate::{Bin, WayLine};

use super::drawing::{Anchor, Drawing, FAINT, INK, Pen, THICK, THIN, count, fitted, grouped, round_marks, wide};

const WIDTH: f64 = 640.0;
const LEFT: f64 = 12.0;
const RIGHT: f64 = 24.0;
const ROW: f64 = 46.0;
const TOP: f64 = 12.0;

/// What ways of testing cost on average: the repair as an open bar, the checks as a solid one behind it.
#[must_use]
pub fn ways_of_testing(lines: &[WayLine]) -> String {
    let unit = lines.first().and_then(|l| l.unit.clone());
    let (word, per) = unit.unwrap_or_else(|| ("labour units".to_owned(), 1.0));
    // Labour units are few: one digit behind the point tells them apart.
    let figure = |x: f64| if x * per < 1000.0 { format!("{:.1}", x * per) } else { grouped(x * per) };
    let said: Vec<String> = lines
        .iter()
        .map(|l| {
            let (total, checks) = (figure(l.total), figure(l.checks));
            format!("{}: {total} {word}, of these {checks} for checks", l.words)
        })
        .collect();
    let height = TOP + count(lines.len()) * ROW + 46.0;
    let mut d = Drawing::new(WIDTH, height, "What ways of testing cost on average", &format!("{}.", said.join("; ")));
    let most = lines.iter().map(|l| l.total * per).fold(1.0, f64::max);
    let scale = (WIDTH - LEFT - RIGHT) / (most * 1.04);
    let y = height - 38.0;
    d.line((LEFT, y), (WIDTH - RIGHT, y), &Pen::line(THIN));
    for at in round_marks(0.0, most, 6.0) {
        let x = LEFT + at * scale;
        d.line((x, y), (x, y + 5.0), &Pen::line(THIN));
        d.text((x.max(LEFT + 4.0), y + 17.0), 11.0, Anchor::Middle, false, &grouped(at));
    }
    let key = format!("{word} an engine, on average; open: the repair; solid: the checks, opening for them included");
    d.text((LEFT, y + 33.0), 11.0, Anchor::Start, false, &key);
    let bar = Pen { class: "wm-bar", stroke: INK, fill: "#B8BEC4", width: THICK, dashes: "" };
    for (n, line) in lines.iter().enumerate() {
        let top = TOP + count(n) * ROW;
        let words = figure(line.total);
        let room = WIDTH - LEFT - RIGHT - wide(&words, 13.0) - 16.0;
        d.text((LEFT, top + 12.0), 13.0, Anchor::Start, true, &fitted(line.words, 13.0, room));
        d.text((WIDTH - RIGHT, top + 12.0), 13.0, Anchor::End, true, &words);
        let (repair, checks) = (line.option * per * scale, line.checks * per * scale);
        d.rect((LEFT, top + 18.0), (repair.max(0.5), 14.0), &bar);
        if checks > 0.0 {
            d.rect((LEFT + repair, top + 18.0), (checks, 14.0), &Pen::solid());
        }
    }
    d.finish()
}

const SIDE: f64 = 420.0;
const EDGE: f64 = 64.0;
/// The scale of log-odds runs to this chance at both ends.
const LEAST: f64 = 0.0005;

/// Chances that were stated against the share of cases in which it was so, on a scale of log-odds, so that one in a thousand
/// and one in ten stand apart. Honest statements lie on the line.
#[must_use]
pub fn stated_and_seen(bins: &[Bin]) -> String {
    let said: Vec<String> =
        bins.iter().map(|b| format!("stated {}, seen {}", share(b.stated), share(b.seen.mean))).collect();
    let desc = if said.is_empty() { "Nothing was stated.".to_owned() } else { format!("{}.", said.join("; ")) };
    let height = SIDE + EDGE + 40.0;
    let mut d = Drawing::new(SIDE + EDGE + 40.0, height, "Chances stated, and how often it was so", &desc);
    let odds = |p: f64| {
        let p = p.clamp(LEAST, 1.0 - LEAST);
        (p / (1.0 - p)).ln()
    };
    let (low, high) = (odds(LEAST), odds(1.0 - LEAST));
    let along = |p: f64| (odds(p) - low) / (high - low) * SIDE;
    let x = |p: f64| EDGE + along(p);
    let y = |p: f64| 20.0 + SIDE - along(p);
    d.rect((EDGE, 20.0), (SIDE, SIDE), &Pen::line(THIN));
    for (p, words) in [(0.001, "0.1 %"), (0.01, "1 %"), (0.1, "10 %"), (0.5, "50 %"), (0.9, "90 %"), (0.99, "99 %")] {
        d.line((x(p), 20.0), (x(p), 20.0 + SIDE), &Pen::help());
        d.line((EDGE, y(p)), (EDGE + SIDE, y(p)), &Pen::help());
        d.text((x(p), SIDE + 36.0), 11.0, Anchor::Middle, false, words);
        d.text((EDGE - 6.0, y(p) + 4.0), 11.0, Anchor::End, false, words);
    }
    d.line((x(LEAST), y(LEAST)), (x(1.0 - LEAST), y(1.0 - LEAST)), &Pen::chain(THIN));
    for bin in bins {
        let at = x(bin.stated);
        d.line((at, y(bin.seen.low)), (at, y(bin.seen.high)), &Pen::line(THICK));
        d.circle((at, y(bin.seen.mean)), 4.5, &Pen::outline(THICK));
    }
    let faint = Pen { stroke: FAINT, ..Pen::line(THIN) };
    d.line((EDGE, SIDE + 50.0), (EDGE + 24.0, SIDE + 50.0), &faint);
    d.text(
        (EDGE + 30.0, SIDE + 54.0),
        11.0,
        Anchor::Start,
        false,
        "stated, left to right; seen, bottom to top; bar: 95 in 100",
    );
    d.finish()
}

fn share(p: f64) -> String {
    format!("{} %", quantity::print::printed(100.0 * p, 2))
}
