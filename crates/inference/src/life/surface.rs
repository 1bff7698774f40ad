//! The logarithm of likelihood and prior over shape and life, with its slopes, and the way to its top.
//!
//! With a = ln shape, b = ln life and k the cumulative hazard at that life, H(t) = k exp(e^a (ln t - b)). A failure at t
//! adds ln H'(t) - H(t), a survivor -H(t), an entry +H(v), and a failure between l and r adds
//! -H(l) + ln(1 - exp(-(H(r) - H(l)))), the last by `exp_m1` so that no digits are lost when little hazard lies between.

use super::bins::Powers;
use super::history::Exposure;
use super::{Belief, History, LifePrior};
use crate::normal;

/// Steps after which a climb is given up.
const MOST_STEPS: usize = 100;

/// Value, slopes and second slopes at a place.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Local {
    pub(super) value: f64,
    pub(super) slope: [f64; 2],
    /// By a twice, by a and b, by b twice.
    pub(super) bend: [f64; 3],
}

/// A place: ln shape, and ln life over the age of reference.
pub(super) type Place = [f64; 2];

#[derive(Debug)]
pub(super) struct Surface<'a> {
    exposure: Exposure<'a>,
    /// Logarithms of the two ages, over the age of reference; the first may be minus infinity.
    between: Vec<(f64, f64)>,
    failed: f64,
    /// Sum of ln t over failures, over the age of reference, and as it is.
    sum_ln: (f64, f64),
    prior: Option<LifePrior>,
    hazard: f64,
    pub(super) shift: f64,
}

/// What one shape has in common for all lives.
#[derive(Debug)]
pub(super) struct ShapeRow {
    pub(super) shape: f64,
    ln_shape: f64,
    powers: Powers,
    /// The two powers of each failure between two ages.
    between: Vec<(f64, f64)>,
}

impl<'a> Surface<'a> {
    /// Without a prior the life is the scale.
    pub(super) fn new(history: &'a History, prior: Option<&LifePrior>) -> Self {
        let shift = prior.map_or_else(|| history.ln_top(), |prior| prior.ln_life.mean);
        let (failed, sum_ln) = history.failed();
        Self {
            exposure: history.exposure(shift),
            between: history.between().iter().map(|(l, r)| (l.ln() - shift, r.ln() - shift)).collect(),
            failed,
            sum_ln: (sum_ln - failed * shift, sum_ln),
            prior: prior.copied(),
            hazard: prior.map_or(1.0, LifePrior::hazard_at_life),
            shift,
        }
    }

    pub(super) fn row(&self, ln_shape: f64) -> ShapeRow {
        let shape = ln_shape.exp();
        let power = |x: f64| (shape * x).exp();
        ShapeRow {
            shape,
            ln_shape,
            powers: self.exposure.powers(shape),
            between: self.between.iter().map(|(l, r)| (power(*l), power(*r))).collect(),
        }
    }

    /// The cumulative hazard of a life at the age of reference.
    pub(super) fn rate(&self, shape: f64, ln_life: f64) -> f64 {
        self.hazard * (-shape * ln_life).exp()
    }

    /// The value alone, for many lives of one shape.
    pub(super) fn value(&self, row: &ShapeRow, ln_life: f64) -> f64 {
        let rate = self.rate(row.shape, ln_life);
        let mut value = self.failed * (row.ln_shape + self.hazard.ln()) - self.sum_ln.1
            + row.shape * (self.sum_ln.0 - self.failed * ln_life)
            - rate * row.powers.zeroth;
        // One logarithm for several chances; eight of them do not fall below the smallest number unless one does.
        for some in row.between.chunks(8) {
            let chance: f64 = some.iter().map(|(l, r)| -(-rate * (r - l)).exp_m1()).product();
            value += chance.ln();
        }
        if let Some(prior) = &self.prior {
            value += density(&prior.ln_shape, row.ln_shape) + density(&prior.ln_life, ln_life + self.shift);
        }
        value
    }

    pub(super) fn powers(&self, shape: f64) -> Powers {
        self.exposure.powers(shape)
    }

    /// The best life for the shape of a place, without prior and without failures between two ages.
    pub(super) fn best_life(&self, [ln_shape, _]: Place) -> (Place, Local) {
        let row = self.row(ln_shape);
        let ln_life = (row.powers.zeroth / self.failed).ln() / row.shape;
        ([ln_shape, ln_life], self.local_in(&row, ln_life))
    }

    /// Value and slopes at a place.
    pub(super) fn local(&self, [ln_shape, ln_life]: Place) -> Local {
        self.local_in(&self.row(ln_shape), ln_life)
    }

    fn local_in(&self, row: &ShapeRow, b: f64) -> Local {
        let a = row.ln_shape;
        let (shape, s) = (row.shape, row.powers);
        let rate = self.rate(shape, b);
        // By shape first, then by its logarithm.
        let turned = s.first - b * s.zeroth;
        let mut slope = [self.sum_ln.0 - self.failed * b - rate * turned, shape * (rate * s.zeroth - self.failed)];
        let mut bend = [
            -rate * (s.second - 2.0 * b * s.first + b * b * s.zeroth),
            rate * (s.zeroth + shape * turned) - self.failed,
            -rate * shape * shape * s.zeroth,
        ];
        for ((l, r), (power_l, power_r)) in self.between.iter().zip(&row.between) {
            // Hazard between the ages and its slopes, of which the first age has none when it is nought.
            let part = |x: f64, power: f64| {
                if power > 0.0 { [power, power * (x - b), power * (x - b) * (x - b)] } else { [0.0; 3] }
            };
            let (low, high) = (part(*l, *power_l), part(*r, *power_r));
            let [d, d1, d2] = [0, 1, 2].map(|k: usize| rate * (pick(&high, k) - pick(&low, k)));
            // Slope and second slope of ln(1 - exp(-d)).
            let first = 1.0 / d.exp_m1();
            let second = -first * (1.0 + first);
            slope = [pick(&slope, 0) + first * d1, pick(&slope, 1) - first * shape * d];
            bend = [
                pick(&bend, 0) + first * d2 + second * d1 * d1,
                pick(&bend, 1) - first * (d + shape * d1) - second * d1 * shape * d,
                pick(&bend, 2) + first * shape * shape * d + second * shape * shape * d * d,
            ];
        }
        let [by_shape, by_life] = slope;
        let [twice, mixed, life_twice] = bend;
        let mut local = Local {
            value: self.value(row, b),
            slope: [self.failed + shape * by_shape, by_life],
            bend: [shape * by_shape + shape * shape * twice, shape * mixed, life_twice],
        };
        if let Some(prior) = &self.prior {
            let pull = |belief: &Belief, at: f64| (belief.mean - at) / (belief.spread * belief.spread);
            let [slope_a, slope_b] = local.slope;
            local.slope = [slope_a + pull(&prior.ln_shape, a), slope_b + pull(&prior.ln_life, b + self.shift)];
            let [aa, ab, bb] = local.bend;
            local.bend = [aa - prior.ln_shape.spread.powi(-2), ab, bb - prior.ln_life.spread.powi(-2)];
        }
        local
    }

    /// Climbs by Newton's steps, shortened until each goes up; gives the top, or nothing when there is none.
    pub(super) fn climb(&self, from: Place) -> Option<(Place, Local)> {
        let mut place = from;
        let mut here = self.local(place);
        for _ in 0..MOST_STEPS {
            let step = uphill(&here)?;
            let [da, db] = step;
            if !(da.is_finite() && db.is_finite()) {
                return None;
            }
            if da.abs() + db.abs() < 1e-9 {
                return Some((place, here));
            }
            let mut size = (1.0 / da.abs().max(db.abs())).min(1.0);
            loop {
                let [a, b] = place;
                let next = [a + size * da, b + size * db];
                let there = self.local(next);
                // Near the top the gain drowns in rounding; a step that loses no more than that is taken.
                if there.value >= here.value - 1e-12 * here.value.abs() {
                    (place, here) = (next, there);
                    break;
                }
                size *= 0.5;
                if size < 1e-12 {
                    return Some((place, here));
                }
            }
        }
        None
    }
}

fn density(belief: &Belief, at: f64) -> f64 {
    normal::ln_density((at - belief.mean) / belief.spread) - belief.spread.ln()
}

fn pick<const N: usize>(of: &[f64; N], at: usize) -> f64 {
    of.get(at).copied().unwrap_or(0.0)
}

/// Newton's step, or one along the slope where the surface does not bend downwards.
fn uphill(local: &Local) -> Option<Place> {
    let ([ga, gb], [aa, ab, bb]) = (local.slope, local.bend);
    let (mut p, q, mut r) = (-aa, -ab, -bb);
    // The smaller of the two curvatures, lifted until both point down.
    let middle = 0.5 * (p + r);
    let least = middle - (0.25 * (p - r) * (p - r) + q * q).sqrt();
    let floor = 1e-9 * middle.abs().max(1e-300);
    if least < floor {
        let lift = floor - least + 0.1 * (ga.abs() + gb.abs());
        p += lift;
        r += lift;
    }
    let det = p * r - q * q;
    (det.is_finite() && det > 0.0).then(|| [(r * ga - q * gb) / det, (p * gb - q * ga) / det])
}

/// Spreads and correlation that the bend at a top stands for; nothing where it does not bend downwards.
pub(super) fn spreads([aa, ab, bb]: [f64; 3]) -> Option<([f64; 2], f64)> {
    let det = aa * bb - ab * ab;
    (aa < 0.0 && det > 0.0).then(|| ([(-bb / det).sqrt(), (-aa / det).sqrt()], ab / (aa * bb).sqrt()))
}
