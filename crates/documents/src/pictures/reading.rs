//! A reading between its limit lines, with its uncertainty bar (P5).

use quantity::Unit;
use workup::Finding;

use super::drawing::{Anchor, Drawing, Pen, THICK, fitted, wide};
use super::marks::Mark;

/// How many standard uncertainties the bar reaches to each side.
const REACH: f64 = 2.0;
const WIDTH: f64 = 400.0;
const HEIGHT: f64 = 122.0;
/// The line the dot runs on.
const AXIS: f64 = 66.0;
const LEFT: f64 = 64.0;
const RIGHT: f64 = 24.0;

/// One limit line.
struct Edge {
    at: f64,
    kind: Kind,
    /// Whether it bounds from below.
    least: bool,
}

/// What a limit line stands for.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Kind {
    /// Good up to here.
    Keep,
    /// Out beyond here.
    Reject,
    /// Both in one.
    Both,
}

impl Kind {
    /// The words beside its line; `least` where the edge bounds from below.
    fn words(self, least: bool) -> &'static str {
        match (self, least) {
            (Kind::Keep, true) => "good from",
            (Kind::Keep, false) => "good to",
            (Kind::Reject, true) => "out under",
            (Kind::Reject, false) => "out over",
            (Kind::Both, true) => "at least",
            (Kind::Both, false) => "at most",
        }
    }
}

/// The limit lines of four edges: where keep and reject edge of a side are one, there is one line.
fn lines(edges: [Option<f64>; 4]) -> Vec<Edge> {
    let [low_reject, low_keep, high_keep, high_reject] = edges;
    let mut out = Vec::new();
    for (reject, keep, least) in [(low_reject, low_keep, true), (high_reject, high_keep, false)] {
        match (reject, keep) {
            (Some(a), Some(b)) if (a - b).abs() <= 1e-9 * a.abs().max(1e-9) => {
                out.push(Edge { at: a, kind: Kind::Both, least })
            }
            (reject, keep) => {
                out.extend(reject.map(|at| Edge { at, kind: Kind::Reject, least }));
                out.extend(keep.map(|at| Edge { at, kind: Kind::Keep, least }));
            }
        }
    }
    out
}

/// A reading that is compared with its like: its share of the best of them, which its limits speak of too.
pub(crate) fn share_of_best(finding: &Finding) -> Option<f64> {
    let (value, limit) = (finding.value?, finding.limit.as_ref()?);
    // Readings compared among themselves have their limits as shares; the work-up gives the share as the measure.
    finding.measure.filter(|_| limit.name == "bands of the check itself").filter(|m| (m - value).abs() > 1e-9)
}

/// A reading between its limit lines: a thick full line where it is good up to, a thick dashed one where it is out.
#[must_use]
pub fn reading_between_limits(finding: &Finding) -> Option<String> {
    let value = finding.value?;
    let limit = finding.limit.as_ref()?;
    let share = share_of_best(finding);
    let at = share.unwrap_or(value);
    let u = finding.u.unwrap_or(0.0) * if share.is_some() { (at / value).abs() } else { 1.0 };
    let edges = lines(limit.edges);
    if edges.is_empty() || !at.is_finite() || !u.is_finite() {
        return None;
    }
    let (unit, convert) = shown_unit(finding);
    let worded = |x: f64| match (share, convert(x)) {
        (Some(_), _) => format!("{} % of the best", quantity::print::printed(x * 100.0, 3)),
        (None, x) if unit.is_empty() => quantity::print::printed(x, 3),
        (None, x) => format!("{} {unit}", quantity::print::printed(x, 3)),
    };
    let (low, high) = reach(&edges, at, u);
    let x = |v: f64| LEFT + (v - low) / (high - low) * (WIDTH - LEFT - RIGHT);
    let mark = Mark::of(finding.verdict);
    let said: Vec<String> = edges.iter().map(|e| format!("{} {}", e.kind.words(e.least), worded(e.at))).collect();
    let title = format!("{}, {}: {}", finding.check_name, finding.place, finding.shown);
    let shown = share.map_or_else(String::new, |s| format!(", that is {}", worded(s)));
    let desc = format!("{}{shown}; {}; {}.", finding.shown, said.join(", "), mark.words());
    let mut d = Drawing::new(WIDTH, HEIGHT, &title, &desc);
    mark.draw(&mut d, (30.0, AXIS - 6.0), 40.0);
    d.line((LEFT, AXIS), (WIDTH - RIGHT, AXIS), &Pen::help());
    labels(&mut d, &edges, &x, &worded);
    // The bar first, the dot over it.
    if u > 0.0 {
        let (a, b) = (x(at - REACH * u), x(at + REACH * u));
        d.line((a, AXIS), (b, AXIS), &Pen::line(THICK * 1.5));
        for end in [a, b] {
            d.line((end, AXIS - 7.0), (end, AXIS + 7.0), &Pen::line(THICK));
        }
    }
    d.circle((x(at), AXIS), 6.5, &Pen::solid());
    let figure = match share {
        Some(s) => format!("{} = {}", finding.shown, worded(s)),
        None => finding.shown.clone(),
    };
    let figure = fitted(&figure, 17.0, WIDTH - 20.0);
    d.text((kept_in(x(at), &figure, 17.0), 16.0), 17.0, Anchor::Middle, true, &figure);
    d.line((x(at), 21.0), (x(at), AXIS - 9.0), &Pen::hidden());
    Some(d.finish())
}

/// The unit the reading was typed in, and the way there from the unit of its limit: both lines of one picture speak
/// alike.
pub(crate) fn shown_unit(finding: &Finding) -> (String, impl Fn(f64) -> f64) {
    let own = finding.unit.as_deref().and_then(|u| Unit::from_symbol(u).ok());
    let typed = finding.shown.rsplit_once(' ').and_then(|(_, u)| Unit::from_symbol(u).ok());
    let way = own.zip(typed).filter(|(own, typed)| own.convert(1.0, *typed).is_ok());
    let unit = way.map_or_else(|| finding.unit.clone().unwrap_or_default(), |(_, typed)| typed.symbol().to_owned());
    (unit, move |x| way.and_then(|(own, typed)| own.convert(x, typed).ok()).unwrap_or(x))
}

/// From where to where the picture reaches.
fn reach(edges: &[Edge], at: f64, u: f64) -> (f64, f64) {
    let ends = edges.iter().map(|e| e.at).chain([at - REACH * u, at + REACH * u]);
    let (low, high) = ends.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
    let room = ((high - low) * 0.18).max(high.abs() * 0.02).max(1e-9);
    (low - room, high + room)
}

/// The limit lines with their words under the axis, in two rows so that they never cover each other.
fn labels(d: &mut Drawing, edges: &[Edge], x: &impl Fn(f64) -> f64, worded: &impl Fn(f64) -> String) {
    for edge in edges {
        let at = x(edge.at);
        let pen = if edge.kind == Kind::Reject { Pen { dashes: "6 4", ..Pen::line(THICK) } } else { Pen::line(THICK) };
        d.line((at, AXIS - 34.0), (at, AXIS + 14.0), &pen);
        let words = format!("{} {}", edge.kind.words(edge.least), worded(edge.at));
        let y = if edge.kind == Kind::Reject { AXIS + 49.0 } else { AXIS + 31.0 };
        d.text((kept_in(at, &words, 15.0), y), 15.0, Anchor::Middle, false, &words);
    }
}

/// The middle of a text so that it stays on the picture.
fn kept_in(at: f64, words: &str, size: f64) -> f64 {
    let half = wide(words, size) / 2.0 + 4.0;
    at.clamp(half.min(WIDTH / 2.0), (WIDTH - half).max(WIDTH / 2.0))
}
