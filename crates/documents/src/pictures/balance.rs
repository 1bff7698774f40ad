//! The reasons for and against a belief as weights on a beam (P7).

use workup::{Belief, Reason};

use super::drawing::{Anchor, Drawing, Pen, THICK, THIN, count, lines};

const WIDTH: f64 = 640.0;
const MIDDLE: f64 = 320.0;
/// Half of the beam.
const ARM: f64 = 250.0;
/// Where the beam lies when it is level.
const LEVEL: f64 = 86.0;
/// How many weights are drawn \[ours\].
const MOST: usize = 8;
/// Where the words begin.
const WORDS: f64 = 160.0;

/// A reason with the number it carries on the beam.
struct Weight<'a> {
    number: usize,
    reason: &'a Reason,
}

/// The reasons for and against a belief as weights on a beam: against at the left, for at the right, a weight as
/// large as it moves the odds; the beam leans to the heavier side.
#[must_use]
pub fn reasons(belief: &Belief) -> String {
    let mut sorted: Vec<&Reason> = belief.reasons.iter().filter(|r| r.weight.is_finite()).collect();
    sorted.sort_by(|a, b| b.weight.abs().total_cmp(&a.weight.abs()));
    let all: Vec<Weight<'_>> =
        sorted.into_iter().take(MOST).enumerate().map(|(n, reason)| Weight { number: n + 1, reason }).collect();
    let place = if belief.place.is_empty() { String::new() } else { format!(", {}", belief.place) };
    let title = format!("Reasons for and against: {}{place}", belief.name);
    let said: Vec<String> = all.iter().map(|w| format!("{} {}", side(w.reason), w.reason.words)).collect();
    let desc = if said.is_empty() { "No reading moves it.".to_owned() } else { format!("{}.", said.join("; ")) };
    let worded: Vec<(usize, Vec<String>)> = all
        .iter()
        .map(|w| (w.number, lines(&format!("{}: {}", side(w.reason), w.reason.words), 13.0, WIDTH - 60.0)))
        .collect();
    let rows: usize = worded.iter().map(|(_, l)| l.len()).sum();
    let height = WORDS + count(rows.max(1)) * 18.0 + 8.0;
    let mut d = Drawing::new(WIDTH, height, &title, &desc);
    let total: f64 = all.iter().map(|w| w.reason.weight).sum();
    let lean = (total / 6.0).clamp(-1.0, 1.0) * 0.1;
    beam(&mut d, lean);
    let (against, speaks_for): (Vec<&Weight<'_>>, Vec<&Weight<'_>>) = all.iter().partition(|w| w.reason.weight < 0.0);
    load(&mut d, &against, -1.0, lean);
    load(&mut d, &speaks_for, 1.0, lean);
    let mut y = WORDS + 12.0;
    if worded.is_empty() {
        d.text((MIDDLE, y), 13.0, Anchor::Middle, false, "no reading moves it");
    }
    for (number, words) in &worded {
        d.text((30.0, y), 13.0, Anchor::End, true, &number.to_string());
        for line in words {
            d.text((40.0, y), 13.0, Anchor::Start, false, line);
            y += 18.0;
        }
    }
    d.finish()
}

fn side(reason: &Reason) -> &'static str {
    if reason.weight < 0.0 { "against" } else { "for" }
}

/// The beam on its edge.
fn beam(d: &mut Drawing, lean: f64) {
    let drop = ARM * lean;
    d.polygon(&[(MIDDLE, LEVEL), (MIDDLE - 22.0, LEVEL + 44.0), (MIDDLE + 22.0, LEVEL + 44.0)], &Pen::outline(THICK));
    d.line((MIDDLE - 60.0, LEVEL + 44.0), (MIDDLE + 60.0, LEVEL + 44.0), &Pen::line(THICK));
    d.line((MIDDLE - ARM, LEVEL - drop), (MIDDLE + ARM, LEVEL + drop), &Pen::line(THICK * 2.0));
    d.text((MIDDLE - ARM, LEVEL + 62.0), 14.0, Anchor::Start, true, "against");
    d.text((MIDDLE + ARM, LEVEL + 62.0), 14.0, Anchor::End, true, "for");
}

/// The weights of one side, the heaviest furthest out.
fn load(d: &mut Drawing, weights: &[&Weight<'_>], side: f64, lean: f64) {
    let mut out = ARM - 2.0;
    for weight in weights {
        let size = (14.0 + 16.0 * weight.reason.weight.abs().sqrt()).min(54.0);
        let x = MIDDLE + side * (out - size / 2.0);
        let foot = LEVEL + side * (out - size / 2.0) * lean - THICK;
        d.rect((x - size / 2.0, foot - size), (size, size), &Pen::outline(THICK));
        d.line((x - size / 2.0, foot - size), (x + size / 2.0, foot - size), &Pen::line(THIN));
        d.text((x, foot - size / 2.0 + 5.0), 14.0, Anchor::Middle, true, &weight.number.to_string());
        out -= size + 5.0;
    }
}
