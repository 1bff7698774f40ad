//! In which sequence the bolts of a joint are tightened where no manual says it: from the middle outwards and crosswise.
//!
//! The rule \[ours, after common practice\]: bolts are taken in rings by their distance from the middle of the pattern. The
//! first of a ring is the one farthest in angle from the bolt taken last; each further one is the one farthest in angle
//! from all of its ring that are taken, of several equally far the one farthest from the last. So opposite bolts follow
//! each other, a round flange is crossed in a star, and a head is clamped from its middle to its ends. A sequence of the
//! engine's own manual always goes before it.

/// Bolts within this part of the greatest distance belong to one ring \[ours\]: places are typed to a millimetre or two.
const SAME_RING: f64 = 0.03;

/// Angles that differ by less are the same, in radians \[ours\].
const SAME_ANGLE: f64 = 1e-6;

/// Why there is no sequence.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum NoSequence {
    /// Fewer than two bolts.
    #[error("a sequence needs two bolts or more; place them all")]
    TooFew,
    /// A place that is no number.
    #[error("bolt {0} has no place; type two numbers for it")]
    NoPlace(usize),
    /// Two bolts at one place.
    #[error("bolts {0} and {1} stand at the same place; correct one of them")]
    SamePlace(usize, usize),
}

/// The sequence in which bolts are tightened, as places in the list.
///
/// # Shapes  one place along and across for each bolt, in any one unit; answers with every index once
/// # Errors  [`NoSequence`]: too few bolts, a place that is no number, two bolts at one place (counted from 1)
/// # Source  common practice: from the middle outwards, crosswise; the rule for ties is ours
pub fn centre_outward(bolts: &[(f64, f64)]) -> Result<Vec<usize>, NoSequence> {
    if bolts.len() < 2 {
        return Err(NoSequence::TooFew);
    }
    if let Some(n) = bolts.iter().position(|(x, y)| !(x.is_finite() && y.is_finite())) {
        return Err(NoSequence::NoPlace(n + 1));
    }
    let middle = middle(bolts);
    let seen: Vec<Seen> = bolts.iter().map(|bolt| Seen::from(middle, *bolt)).collect();
    let greatest = seen.iter().map(|s| s.distance).fold(0.0, f64::max);
    let near = greatest * 1e-9;
    for (a, (xa, ya)) in bolts.iter().enumerate() {
        for (b, (xb, yb)) in bolts.iter().enumerate().skip(a + 1) {
            if (xa - xb).hypot(ya - yb) <= near {
                return Err(NoSequence::SamePlace(a + 1, b + 1));
            }
        }
    }
    let mut out: Vec<usize> = Vec::with_capacity(bolts.len());
    for ring in rings(&seen, greatest) {
        let mut left = ring.clone();
        let mut taken: Vec<usize> = Vec::new();
        while !left.is_empty() {
            let next = farthest(&seen, &left, &taken, out.last().copied());
            left.retain(|bolt| *bolt != next);
            taken.push(next);
            out.push(next);
        }
    }
    Ok(out)
}

/// A bolt from the middle of the pattern.
#[derive(Debug, Clone, Copy)]
struct Seen {
    distance: f64,
    angle: f64,
}

impl Seen {
    fn from(middle: (f64, f64), bolt: (f64, f64)) -> Self {
        let (x, y) = (bolt.0 - middle.0, bolt.1 - middle.1);
        // A negative zero would turn a bolt on the axis half a turn round.
        let (x, y) = (x + 0.0, y + 0.0);
        Self { distance: x.hypot(y), angle: y.atan2(x) }
    }
}

/// The middle of the pattern: of the rectangle round it, so that a bolt more at one end does not move it.
fn middle(bolts: &[(f64, f64)]) -> (f64, f64) {
    let along = bolts.iter().map(|b| b.0);
    let across = bolts.iter().map(|b| b.1);
    let mid = |low: f64, high: f64| f64::midpoint(low, high);
    (
        mid(along.clone().fold(f64::INFINITY, f64::min), along.fold(f64::NEG_INFINITY, f64::max)),
        mid(across.clone().fold(f64::INFINITY, f64::min), across.fold(f64::NEG_INFINITY, f64::max)),
    )
}

/// Bolts by rings, the innermost first; a ring ends where the distance grows by more than a share of the greatest.
fn rings(seen: &[Seen], greatest: f64) -> Vec<Vec<usize>> {
    let mut order: Vec<usize> = (0..seen.len()).collect();
    let distance = |n: usize| seen.get(n).map_or(0.0, |s| s.distance);
    order.sort_by(|a, b| distance(*a).total_cmp(&distance(*b)));
    let mut out: Vec<Vec<usize>> = Vec::new();
    let mut starts = 0.0;
    for n in order {
        match out.last_mut() {
            Some(ring) if distance(n) - starts <= SAME_RING * greatest => ring.push(n),
            Some(_) | None => {
                starts = distance(n);
                out.push(vec![n]);
            }
        }
    }
    for ring in &mut out {
        ring.sort_unstable();
    }
    out
}

/// How far two directions are apart, from 0 to half a turn.
fn apart(a: f64, b: f64) -> f64 {
    let turn = (a - b).rem_euclid(std::f64::consts::TAU);
    turn.min(std::f64::consts::TAU - turn)
}

/// The bolt of those left that is farthest in angle from those taken of its ring, else from the one taken last; among
/// equals the one farthest from the latest, then the first by angle from the front.
fn farthest(seen: &[Seen], left: &[usize], taken: &[usize], last: Option<usize>) -> usize {
    let angle = |n: usize| seen.get(n).map_or(0.0, |s| s.angle);
    let against: Vec<f64> = if taken.is_empty() {
        last.into_iter().map(angle).collect()
    } else {
        taken.iter().map(|n| angle(*n)).collect()
    };
    let nearest = |n: usize| against.iter().map(|a| apart(*a, angle(n))).fold(std::f64::consts::PI, f64::min);
    let latest = |n: usize| last.map_or(0.0, |l| apart(angle(l), angle(n)));
    let steps = |x: f64| (x / SAME_ANGLE).round();
    let rank = |n: usize| (steps(nearest(n)), steps(latest(n)), -steps(angle(n)));
    let better = |a: usize, b: usize| {
        let (x, y) = (rank(a), rank(b));
        x.0.total_cmp(&y.0).then(x.1.total_cmp(&y.1)).then(x.2.total_cmp(&y.2)).is_gt()
    };
    let mut best = left.first().copied().unwrap_or(0);
    for n in left.iter().copied().skip(1) {
        if better(n, best) {
            best = n;
        }
    }
    best
}
