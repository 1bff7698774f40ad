//! The bolts of a joint where they stand, numbered as they are tightened, each filled by the stages it is through (P13).

use workup::tightening::{Bolt, Pattern};

use super::drawing::{Anchor, Drawing, Pen, count, lines};

const WIDTH: f64 = 380.0;
/// Room round the outermost bolts.
const EDGE: f64 = 34.0;
/// Radius of a bolt with its ring of stages.
const RING: f64 = 17.0;
/// Radius of the disc with the number.
const DISC: f64 = 11.0;
/// The picture is never flatter or taller than this.
const LEAST: f64 = 130.0;
const MOST: f64 = 360.0;
/// Corners of a quarter of a ring.
const CORNERS: u32 = 8;

/// The bolts of a joint: a thin line leads from number to number, the ring of a bolt is full by as many sectors as stages
/// are done, a stripe crosses a bolt that was striped, a drop stands at a wet hole, and two rings round the next one.
#[must_use]
pub fn bolt_rosette(pattern: &Pattern, name: &str, next: Option<u16>) -> String {
    let (low, high) = extent(&pattern.bolts);
    let (long, wide) = ((high.0 - low.0).max(1.0), (high.1 - low.1).max(0.0));
    let scale = ((WIDTH - 2.0 * EDGE) / long).min((MOST - 2.0 * EDGE) / wide.max(1.0));
    let height = (wide * scale + 2.0 * EDGE).max(LEAST);
    let left = (WIDTH - long * scale) / 2.0;
    let top = (height - wide * scale) / 2.0;
    let at = |b: &Bolt| (left + (b.along - low.0) * scale, top + (b.across - low.1) * scale);
    let stages = pattern.stages().max(1);
    let mut d = Drawing::new(WIDTH, height + 54.0, &format!("Bolts of {name}"), &in_words(pattern, next));
    for pair in pattern.bolts.windows(2) {
        if let [from, to] = pair {
            d.line(at(from), at(to), &Pen::help());
        }
    }
    for bolt in &pattern.bolts {
        one(&mut d, bolt, at(bolt), stages, next == Some(bolt.number));
    }
    d.text((8.0, height + 8.0), 12.0, Anchor::Start, false, "← front");
    let mut key = vec!["sector: a stage done", "bar: striped"];
    key.extend((!pattern.wet().is_empty()).then_some("drop: wet hole"));
    key.extend(next.map(|_| "double ring: next"));
    for (n, line) in lines(&key.join("; "), 12.0, WIDTH - 16.0).iter().enumerate() {
        d.text((8.0, height + 28.0 + 16.0 * count(n)), 12.0, Anchor::Start, false, line);
    }
    d.finish()
}

fn extent(bolts: &[Bolt]) -> ((f64, f64), (f64, f64)) {
    let start = ((f64::INFINITY, f64::INFINITY), (f64::NEG_INFINITY, f64::NEG_INFINITY));
    let (low, high) = bolts.iter().fold(start, |(low, high), b| {
        ((low.0.min(b.along), low.1.min(b.across)), (high.0.max(b.along), high.1.max(b.across)))
    });
    if low.0 <= high.0 { (low, high) } else { ((0.0, 0.0), (1.0, 1.0)) }
}

fn one(d: &mut Drawing, bolt: &Bolt, at: (f64, f64), stages: u16, next: bool) {
    d.circle(at, RING, &Pen::outline(1.2));
    for done in 0..bolt.stage {
        d.polygon(&sector(at, done, stages), &Pen::solid());
    }
    // Paper under the number, so that it is read on a full ring too.
    d.circle(at, DISC, &Pen::outline(1.0));
    d.text((at.0, at.1 + 4.5), 13.0, Anchor::Middle, true, &bolt.number.to_string());
    if bolt.striped {
        d.line((at.0 - RING - 4.0, at.1 + RING - 2.0), (at.0 + RING + 4.0, at.1 + RING - 2.0), &Pen::line(2.5));
    }
    if bolt.wet {
        let (x, y) = (at.0 + RING + 2.0, at.1 - RING - 4.0);
        d.polygon(&[(x, y - 5.0), (x + 4.0, y + 2.0), (x, y + 5.0), (x - 4.0, y + 2.0)], &Pen::solid());
    }
    if next {
        d.circle(at, RING + 4.0, &Pen { fill: "none", ..Pen::line(2.0) });
    }
}

/// The part of a bolt's ring that stands for one stage, from the top clockwise.
fn sector(at: (f64, f64), stage: u16, stages: u16) -> Vec<(f64, f64)> {
    let turn = std::f64::consts::TAU / f64::from(stages);
    let from = f64::from(stage) * turn - std::f64::consts::FRAC_PI_2;
    let steps = CORNERS * 4 / u32::from(stages.max(1)) + 2;
    let point = |n: u32, radius: f64| {
        let angle = from + turn * f64::from(n) / f64::from(steps);
        (at.0 + radius * angle.cos(), at.1 + radius * angle.sin())
    };
    let outer = (0..=steps).map(|n| point(n, RING));
    let inner = (0..=steps).rev().map(|n| point(n, DISC));
    outer.chain(inner).collect()
}

fn in_words(pattern: &Pattern, next: Option<u16>) -> String {
    let n = count(pattern.bolts.len());
    let mut out = format!("{n} bolts, the front of the engine at the left. {}", pattern.whose.words());
    let stage = |b: &Bolt| match b.stage {
        0 => format!("bolt {}: not begun", b.number),
        stage if b.striped => format!("bolt {}: through stage {stage}, striped", b.number),
        stage => format!("bolt {}: through stage {stage}", b.number),
    };
    let all: Vec<String> = pattern.bolts.iter().map(stage).collect();
    out.push_str(&format!(" {}.", all.join("; ")));
    let wet: Vec<String> = pattern.wet().iter().map(u16::to_string).collect();
    if !wet.is_empty() {
        out.push_str(&format!(" Wet holes: {}.", wet.join(", ")));
    }
    if let Some(next) = next {
        out.push_str(&format!(" Next is bolt {next}."));
    }
    out
}

#[cfg(test)]
mod tests {
    use workup::tightening::Whose;

    use super::*;

    fn pattern() -> Pattern {
        let bolt = |number, along, across, stage, striped, wet| Bolt { number, along, across, wet, stage, striped };
        let bolts = vec![
            bolt(1, 0.0, 0.0, 2, true, false),
            bolt(2, 80.0, 80.0, 1, false, true),
            bolt(3, 80.0, 0.0, 0, false, false),
        ];
        Pattern { whose: Whose::Rule, bolts, threads: None }
    }

    #[test]
    fn every_bolt_says_how_far_it_is_in_words_and_in_as_many_sectors() {
        let svg = bolt_rosette(&pattern(), "the head", Some(3));
        for wanted in
            ["bolt 1: through stage 2, striped", "bolt 2: through stage 1", "bolt 3: not begun", "Wet holes: 2."]
        {
            assert!(svg.contains(wanted), "{wanted}: {svg}");
        }
        assert!(svg.contains("Next is bolt 3.") && svg.contains("by our own rule"), "{svg}");
        // Two stages of bolt 1, one of bolt 2, and the drop at the wet hole.
        assert_eq!(svg.matches("<polygon").count(), 4, "{svg}");
        // A ring and a disc for each, and a second ring round the next.
        assert_eq!(svg.matches("<circle").count(), 7, "{svg}");
    }

    #[test]
    fn a_pattern_in_one_row_and_one_of_a_single_bolt_are_pictures_too() {
        let mut flat = pattern();
        flat.bolts.iter_mut().for_each(|b| b.across = 5.0);
        let alone = Pattern { bolts: flat.bolts.iter().copied().take(1).collect(), ..flat.clone() };
        for svg in [bolt_rosette(&flat, "a row", None), bolt_rosette(&alone, "one", None)] {
            assert!(svg.starts_with("<svg") && !svg.contains("NaN") && !svg.contains("inf"), "{svg}");
        }
    }
}
