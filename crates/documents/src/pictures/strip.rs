//! What was agreed over time, and what is committed below it (P16).

use workup::committed::{Course, Step};
use workup::words::{amount, words};

use super::drawing::{Anchor, Drawing, INK, Pen, THICK, count, grouped, lines, round_marks, wide};
use super::prices::Breadth;

const RIGHT: f64 = 14.0;
const TOP: f64 = 26.0;
const PLOT: f64 = 120.0;
/// What follows the last step, as a share of the time before it: nobody sees a step without a tread \[ours\].
const TREAD: f64 = 0.22;

/// What held from one moment to the next.
struct Tread {
    from: f64,
    to: f64,
    ceiling: Option<f64>,
    used: f64,
}

/// The moment of a step in seconds.
fn moment(step: &Step) -> f64 {
    step.at.as_second() as f64
}

/// The day of a step.
fn day(step: &Step) -> String {
    step.at.to_string().chars().take(10).collect()
}

/// The approval strip: the ceiling as a step line over time, what is committed as a filled step below it. What lies above the
/// ceiling, or has none, is hatched.
#[must_use]
pub fn approval_strip(course: &Course, breadth: Breadth) -> String {
    let what = words(course.covers.word());
    let width = breadth.width();
    let small = breadth.small();
    let key = lines(
        "line: the most that is agreed; grey: committed of it; hatched: above what is agreed",
        small,
        width - 12.0 - RIGHT,
    );
    let height = TOP + PLOT + 28.0 + 15.0 * count(key.len());
    let mut d =
        Drawing::new(width, height, &format!("What was agreed and what is committed, {what}"), &in_words(course));
    let drawn = |steps: &[Step]| -> Vec<(f64, f64)> { steps.iter().map(|s| (moment(s), s.to.to_f64())).collect() };
    let (ceilings, used) = (drawn(&course.ceilings), drawn(&course.used));
    let mut moments: Vec<f64> = ceilings.iter().chain(&used).map(|(at, _)| *at).collect();
    moments.sort_by(f64::total_cmp);
    moments.dedup();
    let (Some(first), Some(last)) = (moments.first().copied(), moments.last().copied()) else { return d.finish() };
    let end = last + ((last - first) * TREAD).max(1.0);
    let top = ceilings.iter().chain(&used).map(|(_, money)| *money).fold(1.0, f64::max);
    let axis = round_marks(0.0, top * 1.08, breadth.marks().min(4.0));
    let left = axis.iter().map(|m| wide(&grouped(*m), small)).fold(0.0, f64::max) + 14.0;
    let x = |t: f64| left + (t - first) / (end - first) * (width - left - RIGHT);
    let y = |money: f64| TOP + PLOT - money / (top * 1.08) * PLOT;
    let value = |steps: &[(f64, f64)], t: f64| steps.iter().rfind(|(at, _)| *at <= t).map(|s| s.1);
    let mut next = moments.iter().skip(1).copied().chain([end]);
    let treads: Vec<Tread> = moments
        .iter()
        .filter_map(|from| {
            let to = next.next()?;
            Some(Tread { from: *from, to, ceiling: value(&ceilings, *from), used: value(&used, *from).unwrap_or(0.0) })
        })
        .collect();
    for mark in &axis {
        d.line((left, y(*mark)), (width - RIGHT, y(*mark)), &Pen { width: 0.5, ..Pen::help() });
        d.text((left - 6.0, y(*mark) + small * 0.35), small, Anchor::End, false, &grouped(*mark));
    }
    d.text((0.0, 14.0), small, Anchor::Start, false, &code(course));
    for tread in &treads {
        step(&mut d, tread, &x, &y);
    }
    ceiling_line(&mut d, &treads, &x, &y);
    ends(&mut d, &treads, (&x, &y), small);
    d.line((left, y(0.0)), (width - RIGHT, y(0.0)), &Pen::line(1.0));
    let (from, to) = (days(course).next(), days(course).last());
    let under = TOP + PLOT + 16.0;
    if let Some(from) = &from {
        d.text((left, under), small, Anchor::Start, false, from);
    }
    if let Some(to) = to.filter(|to| Some(to) != from.as_ref()) {
        let room = x(last).max(left + wide(&to, small) * 2.0 + 10.0).min(width - RIGHT);
        d.text((room, under), small, Anchor::End, false, &to);
    }
    for (n, words) in key.iter().enumerate() {
        d.text((12.0, under + 18.0 + 15.0 * count(n)), small, Anchor::Start, false, words);
    }
    d.finish()
}

/// The days on which something changed, the first one first.
fn days(course: &Course) -> impl Iterator<Item = String> {
    let mut all: Vec<String> = course.ceilings.iter().chain(&course.used).map(day).collect();
    all.sort();
    all.into_iter()
}

fn code(course: &Course) -> String {
    let first = course.ceilings.iter().chain(&course.used).next();
    first.map_or_else(String::new, |step| step.to.currency().code().to_owned())
}

/// What is committed while one tread lasts.
fn step(d: &mut Drawing, tread: &Tread, x: &impl Fn(f64) -> f64, y: &impl Fn(f64) -> f64) {
    if tread.used <= 0.0 {
        return;
    }
    let (from, wide) = (x(tread.from), x(tread.to) - x(tread.from));
    let below = tread.used.min(tread.ceiling.unwrap_or(0.0));
    if below > 0.0 {
        let bar = Pen { class: "wm-bar", stroke: INK, fill: "#B8BEC4", width: 1.0, dashes: "" };
        d.rect((from, y(below)), (wide, y(0.0) - y(below)), &bar);
    }
    if tread.used > below {
        let size = (wide, y(below) - y(tread.used));
        d.rect((from, y(tread.used)), size, &Pen::outline(1.0));
        d.hatch((from, y(tread.used)), size, 5.0);
    }
}

fn ceiling_line(d: &mut Drawing, treads: &[Tread], x: &impl Fn(f64) -> f64, y: &impl Fn(f64) -> f64) {
    let pen = Pen::line(THICK * 1.4);
    let mut before = None;
    for tread in treads {
        let Some(ceiling) = tread.ceiling else { continue };
        let from = *before.get_or_insert(ceiling);
        if (from - ceiling).abs() > f64::EPSILON {
            d.line((x(tread.from), y(from)), (x(tread.from), y(ceiling)), &pen);
        }
        d.line((x(tread.from), y(ceiling)), (x(tread.to), y(ceiling)), &pen);
        before = Some(ceiling);
    }
}

/// What holds now, at the right end.
fn ends(d: &mut Drawing, treads: &[Tread], (x, y): (&impl Fn(f64) -> f64, &impl Fn(f64) -> f64), small: f64) {
    let Some(last) = treads.last() else { return };
    let at = x(last.to) - 4.0;
    if let Some(ceiling) = last.ceiling {
        d.text((at, y(ceiling) - 5.0), small + 1.0, Anchor::End, true, &grouped(ceiling));
    }
    if last.used > 0.0 {
        let inside = y(0.0) - y(last.used) > small + 8.0;
        let line = if inside { y(last.used) + small + 4.0 } else { y(last.used) - 4.0 };
        d.text((at, line), small + 1.0, Anchor::End, false, &grouped(last.used));
    }
}

/// The picture in words.
fn in_words(course: &Course) -> String {
    let said = |steps: &[Step]| -> String {
        let steps: Vec<String> = steps.iter().map(|s| format!("{} from {}", amount(&s.to), day(s))).collect();
        steps.join(", then ")
    };
    let agreed = match course.ceilings.as_slice() {
        [] => "Nothing is agreed".to_owned(),
        steps => format!("Agreed: {}", said(steps)),
    };
    let used = match course.used.as_slice() {
        [] => "nothing is committed".to_owned(),
        steps => format!("committed: {}", said(steps)),
    };
    let ceiling = course.ceilings.last().map(|s| s.to);
    let left = match (ceiling, course.used.last().map(|s| s.to)) {
        (Some(ceiling), Some(used)) => match ceiling.minus(&used) {
            Ok(left) if left.amount().is_sign_negative() => ". More is committed than is agreed".to_owned(),
            Ok(left) => format!(". {} are left", amount(&left)),
            Err(_) => String::new(),
        },
        (Some(ceiling), None) => format!(". {} are left", amount(&ceiling)),
        (None, _) => String::new(),
    };
    format!("{agreed}; {used}{left}.")
}
