//! The law that makes the records most likely, without any prior.

use super::bins::Powers;
use super::surface::{Surface, spreads};
use super::{Caution, History, LifeError, Lognormal, Record, Seen, Watch, Weibull, cautions};
use crate::normal;

/// Shapes outside this are not looked for: no wear is steeper, and the bins lose digits there \[ours\].
const FLATTEST: f64 = 1e-3;
const STEEPEST: f64 = 50.0;
/// Where the search begins, between early trouble and wear \[ours\].
const FIRST_SHAPE: f64 = 1.5;

/// The law of the greatest likelihood, how sharp its two figures are, and what must be said with it.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit<Law> {
    /// The law.
    pub law: Law,
    /// The greatest logarithm of the likelihood.
    pub ln_likelihood: f64,
    /// Standard errors from the curvature: of ln shape and ln scale, or of mean and ln spread of the logarithm.
    pub spreads: [f64; 2],
    /// Correlation of these two.
    pub correlation: f64,
    /// What must be said beside it.
    pub cautions: Vec<Caution>,
}

impl<Law> Fit<Law> {
    /// Akaike's information: twice the two fitted figures less twice the logarithm of the likelihood; the law with less of
    /// it describes the same records better.
    #[must_use]
    pub fn information(&self) -> f64 {
        4.0 - 2.0 * self.ln_likelihood
    }
}

/// A search for the place where a falling function crosses nought, by Newton inside a bracket.
#[derive(Debug, Clone, Copy)]
struct Bracket {
    low: f64,
    high: f64,
}

impl History {
    /// Gives the Weibull law that makes these records most likely.
    ///
    /// # Errors
    /// [`LifeError::NoFailures`] and [`LifeError::NoHighest`] when the records alone set no law.
    ///
    /// # Source
    /// Profile score: scale^shape = S0/D and D/shape + sum of ln t over failures - D S1/S0 = 0, where S0 and S1 sum t^shape
    /// and t^shape ln t over exits less entries. Reference values in `reference/life`.
    pub fn fit(&self) -> Result<Fit<Weibull>, LifeError> {
        if self.failures() == 0 {
            return Err(LifeError::NoFailures { records: self.records() });
        }
        let surface = Surface::new(self, None);
        let from_ages = self.between().is_empty();
        let place = if from_ages { [self.profile_top(&surface)?.ln(), 0.0] } else { [FIRST_SHAPE.ln(), 0.0] };
        let steps = if from_ages { Some(surface.best_life(place)) } else { surface.climb(place) };
        let no_highest = |[ln_shape, _]: [f64; 2]| LifeError::NoHighest {
            direction: if ln_shape > 0.0 { "steeper" } else { "flatter" },
        };
        let (top, local) = steps.ok_or_else(|| no_highest(place))?;
        let [ln_shape, ln_scale] = top;
        if !(FLATTEST.ln()..=STEEPEST.ln()).contains(&ln_shape) {
            return Err(no_highest(top));
        }
        let (spreads, correlation) = spreads(local.bend).ok_or_else(|| no_highest(top))?;
        Ok(Fit {
            law: Weibull::new(ln_shape.exp(), (ln_scale + surface.shift).exp())?,
            ln_likelihood: local.value,
            spreads,
            correlation,
            cautions: cautions(self.failures(), ln_shape.exp()),
        })
    }

    /// The shape, from the score in the shape alone.
    fn profile_top(&self, surface: &Surface<'_>) -> Result<f64, LifeError> {
        let (failed, sum_ln) = self.failed();
        let sum_ln = sum_ln - failed * surface.shift;
        let mut bracket = Bracket { low: 0.0, high: f64::INFINITY };
        let mut shape = FIRST_SHAPE;
        // Newton takes five or six steps; the bracket halves or doubles where it would leave.
        for _ in 0..200 {
            let Powers { zeroth, first, second } = surface.powers(shape);
            let mean = first / zeroth;
            let score = failed / shape + sum_ln - failed * mean;
            let slope = -failed / (shape * shape) - failed * (second / zeroth - mean * mean);
            let next = bracket.step(shape, score, slope);
            if (next - shape).abs() <= 1e-7 * shape {
                // What is left after a step is of the size of its square.
                return Ok(next);
            }
            if next > STEEPEST {
                return Err(LifeError::NoHighest { direction: "steeper" });
            }
            if next < FLATTEST {
                return Err(LifeError::NoHighest { direction: "flatter" });
            }
            shape = next;
        }
        Err(LifeError::NoHighest { direction: if shape > 1.0 { "steeper" } else { "flatter" } })
    }
}

impl Bracket {
    /// The next place to look, given the value here, which is above nought left of the crossing.
    fn step(&mut self, here: f64, value: f64, slope: f64) -> f64 {
        if value > 0.0 {
            self.low = here;
        } else {
            self.high = here;
        }
        let newton = here - value / slope;
        if newton.is_finite() && self.low < newton && newton < self.high {
            return newton.min(4.0 * here);
        }
        if self.high.is_finite() { 0.5 * (self.low + self.high) } else { 2.0 * here }
    }
}

/// Gives the lognormal law that makes records most likely, to hold it against the Weibull law of the same records.
///
/// # Errors
/// As for [`History::fit`]; a failure between two ages is refused like one whose entry is unknown, since this law is a
/// comparison for records with ages.
pub fn fit_lognormal(records: &[Record]) -> Result<Fit<Lognormal>, LifeError> {
    let history = History::of(records)?;
    let (failed, sum_ln) = history.failed();
    if history.failures() == 0 {
        return Err(LifeError::NoFailures { records: history.records() });
    }
    let mut ages = Vec::new();
    for (record, one) in records.iter().enumerate() {
        match (one.seen, one.watched) {
            (Seen::FailedBetween { .. }, _) | (_, Watch::Unknown) => return Err(LifeError::EntryUnknown { record }),
            (Seen::Failed { at }, watched) => ages.push((at.ln(), true, watched)),
            (Seen::StillGood { at }, watched) => ages.push((at.ln(), false, watched)),
        }
    }
    let center = sum_ln / failed;
    let far = ages.iter().map(|(x, ..)| (x - center) * (x - center)).sum::<f64>();
    let count = f64::from(u32::try_from(ages.len()).unwrap_or(u32::MAX));
    let mut place = [center, 0.5 * (far / count).max(1e-12).ln()];
    for _ in 0..200 {
        let (value, slope, bend) = lognormal_local(&ages, place);
        let no_highest = || LifeError::NoHighest { direction: "flatter" };
        let ([ga, gb], [aa, ab, bb]) = (slope, bend);
        let det = aa * bb - ab * ab;
        let [m, q] = place;
        let step = if aa < 0.0 && det > 0.0 {
            [(ab * gb - bb * ga) / det, (ab * ga - aa * gb) / det]
        } else {
            [ga / aa.abs().max(1e-300), 0.3 * gb.signum()]
        };
        let [dm, dq] = step;
        let scale = (1.0 / dq.abs()).min(1.0);
        place = [m + scale * dm, q + scale * dq];
        if !(place.iter().all(|x| x.is_finite()) && q.abs() < 50.0) {
            return Err(no_highest());
        }
        if dm.abs() + dq.abs() < 1e-10 {
            let (spreads, correlation) = spreads(bend).ok_or_else(no_highest)?;
            let law = Lognormal { mean_ln: m, spread_ln: q.exp() };
            let cautions = cautions(history.failures(), f64::INFINITY);
            return Ok(Fit { law, ln_likelihood: value, spreads, correlation, cautions });
        }
    }
    Err(LifeError::NoHighest { direction: "flatter" })
}

/// Value, slopes and second slopes by the mean and the logarithm of the spread.
fn lognormal_local(ages: &[(f64, bool, Watch)], [mean, ln_spread]: [f64; 2]) -> (f64, [f64; 2], [f64; 3]) {
    let spread = ln_spread.exp();
    let (mut value, mut slope, mut bend) = (0.0, [0.0; 2], [0.0; 3]);
    // One survivor term, counted with its sign: ln of the chance above z, z = (x - mean) / spread.
    let mut add = |v: f64, [gz, gq]: [f64; 2], curve: f64, z: f64| {
        // By z: slope gz and second slope `curve`; gq is what ln spread adds by itself.
        let ([sm, sq], [mm, mq, qq]) = (slope, bend);
        value += v;
        slope = [sm - gz / spread, sq - gz * z + gq];
        bend = [mm + curve / (spread * spread), mq + (curve * z + gz) / spread, qq + (curve * z + gz) * z];
    };
    for &(x, failed, watched) in ages {
        let z = (x - mean) / spread;
        if failed {
            add(normal::ln_density(z) - ln_spread - x, [-z, -1.0], -1.0, z);
        } else {
            let (ln_above, ratio) = normal::tail(z);
            add(ln_above, [-ratio, 0.0], ratio * (z - ratio), z);
        }
        if let Watch::Since(age) = watched
            && age > 0.0
        {
            let z = (age.ln() - mean) / spread;
            let (ln_above, ratio) = normal::tail(z);
            add(-ln_above, [ratio, 0.0], -ratio * (z - ratio), z);
        }
    }
    (value, slope, bend)
}
