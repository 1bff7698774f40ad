//! What is believed about a mode after its records, as weighted nodes over shape and life.

use super::surface::{Surface, spreads};
use super::{Caution, History, LifeError, LifePrior, cautions, not_negative, positive};
use crate::quadrature;
use std::sync::LazyLock;

/// Nodes an axis of [`LifePosterior::of`]; the survival is then good to 4e-7 with twelve records and to 1.1e-6 with
/// seven, and to 3e-4 for a part at three times the usual life \[measured against `reference/life/worked.json`,
/// `reference.json` and the grid\].
const USUAL: usize = 15;

static USUAL_RULE: LazyLock<quadrature::Rule> = LazyLock::new(|| quadrature::hermite(USUAL));

/// How the posterior is laid out in nodes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Nodes {
    /// Gauss-Hermite nodes around the peak, along the axes of its curvature; so many an axis.
    Hermite(usize),
    /// An even grid over the prior, which is slow and right: the reference.
    Grid {
        /// Nodes an axis.
        points: usize,
        /// How many spreads of the prior it reaches to either side.
        reach: f64,
    },
}

/// The peak of a posterior and the normal law that fits there: the first and cheapest of the three answers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Peak {
    /// ln shape and ln life at the peak.
    pub at: [f64; 2],
    /// Their spreads by the curvature.
    pub spreads: [f64; 2],
    /// Their correlation by the curvature.
    pub correlation: f64,
    /// The logarithm of the evidence by the curvature.
    pub ln_evidence: f64,
}

/// What is believed about shape and life of one mode.
#[derive(Debug, Clone, PartialEq)]
pub struct LifePosterior {
    rows: Vec<Row>,
    /// Logarithm of the age of reference.
    shift: f64,
    ln_evidence: f64,
    peak: Peak,
    cautions: Vec<Caution>,
}

/// All nodes of one shape.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Row {
    pub(super) shape: f64,
    ln_shape: f64,
    pub(super) nodes: Vec<Node>,
}

/// One life of a row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Node {
    pub(super) weight: f64,
    ln_life: f64,
    /// Cumulative hazard at the age of reference.
    pub(super) rate: f64,
}

/// Mean, spread and correlation of ln shape and ln life.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moments {
    /// Means.
    pub means: [f64; 2],
    /// Standard deviations.
    pub spreads: [f64; 2],
    /// Correlation.
    pub correlation: f64,
}

impl LifePosterior {
    /// Gives the posterior of a prior and a history on 15 by 15 nodes around its peak.
    ///
    /// # Errors
    /// As for [`Self::on`].
    pub fn of(prior: &LifePrior, history: &History) -> Result<Self, LifeError> {
        Self::on(Nodes::Hermite(USUAL), prior, history)
    }

    /// Gives the posterior on nodes of the caller's choice.
    ///
    /// # Errors
    /// Complaints about the prior; [`LifeError::Points`]; [`LifeError::NoHighest`] should the climb to the peak fail.
    pub fn on(nodes: Nodes, prior: &LifePrior, history: &History) -> Result<Self, LifeError> {
        prior.ensure()?;
        let points = match nodes {
            Nodes::Hermite(points) | Nodes::Grid { points, .. } => points,
        };
        if !(2..=2000).contains(&points) {
            return Err(LifeError::Points { points });
        }
        let surface = Surface::new(history, Some(prior));
        let from = [prior.ln_shape.mean, 0.0];
        let steepness = LifeError::NoHighest { direction: "steeper" };
        let (top, local) = surface.climb(from).ok_or_else(|| steepness.clone())?;
        let (sd, correlation) = spreads(local.bend).ok_or(steepness)?;
        let [a, b] = top;
        let [sa, sb] = sd;
        let flat = (1.0 - correlation * correlation).sqrt();
        let peak = Peak {
            at: [a, b + surface.shift],
            spreads: sd,
            correlation,
            ln_evidence: local.value + (2.0 * std::f64::consts::PI * sa * sb * flat).ln(),
        };
        let mut rows = Vec::with_capacity(points);
        match nodes {
            Nodes::Hermite(points) => {
                let made;
                let rule = if points == USUAL {
                    &*USUAL_RULE
                } else {
                    made = quadrature::hermite(points);
                    &made
                };
                // Weights over the normal density, which the rule has in its own weights.
                let ln_over: Vec<(f64, f64)> = rule.iter().map(|(x, w)| (x, w.ln() + 0.5 * x * x)).collect();
                let area = (2.0 * std::f64::consts::PI * sa * sb * flat).ln();
                for &(x, ln_x) in &ln_over {
                    let lives =
                        ln_over.iter().map(|&(y, ln_y)| (b + sb * (correlation * x + flat * y), ln_x + ln_y + area));
                    rows.push(lay_row(&surface, a + sa * x, lives));
                }
            }
            Nodes::Grid { points, reach } => {
                positive("reach of the grid", reach)?;
                let last = f64::from(u32::try_from(points - 1).unwrap_or(1));
                let places: Vec<f64> =
                    (0_u32..).take(points).map(|i| reach * (2.0 * f64::from(i) / last - 1.0)).collect();
                let (pa, pb) = (prior.ln_shape, prior.ln_life);
                let cell = (pa.spread * pb.spread * (2.0 * reach / last) * (2.0 * reach / last)).ln();
                for x in &places {
                    let lives = places.iter().map(|y| (pb.spread * y, cell));
                    rows.push(lay_row(&surface, pa.mean + pa.spread * x, lives));
                }
            }
        }
        let ln_evidence = normalise(&mut rows);
        let mut posterior = Self { rows, shift: surface.shift, ln_evidence, peak, cautions: Vec::new() };
        let [mean_ln_shape, _] = posterior.moments().means;
        posterior.cautions = cautions(history.failures(), mean_ln_shape.exp());
        Ok(posterior)
    }

    /// The peak, and the normal law that fits there.
    #[must_use]
    pub fn peak(&self) -> &Peak {
        &self.peak
    }

    /// The logarithm of the chance of the records under the prior. Two ways of sorting the same records into modes are
    /// compared by the difference of its sums.
    #[must_use]
    pub fn ln_evidence(&self) -> f64 {
        self.ln_evidence
    }

    /// What must be said beside any answer from this posterior.
    #[must_use]
    pub fn cautions(&self) -> &[Caution] {
        &self.cautions
    }

    /// Means, spreads and correlation of ln shape and ln life.
    #[must_use]
    pub fn moments(&self) -> Moments {
        let average = |f: &dyn Fn(f64, f64) -> f64| -> f64 {
            let row_sum = |row: &Row| row.nodes.iter().map(|n| n.weight * f(row.ln_shape, n.ln_life)).sum::<f64>();
            self.rows.iter().map(row_sum).sum()
        };
        let (a, b) = (average(&|a, _| a), average(&|_, b| b));
        let aa = average(&|x, _| (x - a) * (x - a));
        let bb = average(&|_, y| (y - b) * (y - b));
        let ab = average(&|x, y| (x - a) * (y - b));
        Moments { means: [a, b + self.shift], spreads: [aa.sqrt(), bb.sqrt()], correlation: ab / (aa * bb).sqrt() }
    }

    /// The chance that a part which has lived to `age` lasts `ahead` more.
    ///
    /// It is the mean of reaching `age + ahead` over the mean of reaching `age`: that the part lived so long speaks for the
    /// shapes and lives under which it could. Averaging the chances of the rest alone would forget that, and comes out too
    /// low. Do not also count this part's own survival among the records.
    ///
    /// # Errors
    /// [`LifeError::Negative`] for an age or a span below nought; [`LifeError::BeyondReach`].
    pub fn survival(&self, age: f64, ahead: f64) -> Result<f64, LifeError> {
        self.survival_at_doubtful_age(&[(age, 1.0)], ahead)
    }

    /// The same when the age is not known: ages with their chances, which need not sum to one.
    ///
    /// Ages at which the part would hardly be alive still count for less, by the same rule.
    ///
    /// # Errors
    /// [`LifeError::Negative`] for an age, a chance or a span below nought; [`LifeError::NotPositive`] when no age has a
    /// chance; [`LifeError::BeyondReach`].
    pub fn survival_at_doubtful_age(&self, ages: &[(f64, f64)], ahead: f64) -> Result<f64, LifeError> {
        not_negative("span ahead", ahead)?;
        // The least hazard so far is taken out of both, so that very old parts do not fall below the smallest number.
        let mut least = f64::INFINITY;
        let mut total = 0.0;
        for &(age, chance) in ages {
            not_negative("age", age)?;
            total += not_negative("chance of an age", chance)?;
            self.each_hazard(age, |_, hazard| least = least.min(hazard));
        }
        positive("sum of the chances of the ages", total)?;
        let (mut here, mut there) = (0.0, 0.0);
        for &(age, chance) in ages {
            self.each_hazard(age, |weight, hazard| here += chance * weight * (least - hazard).exp());
            self.each_hazard(age + ahead, |weight, hazard| there += chance * weight * (least - hazard).exp());
        }
        let chance = there / here;
        if chance.is_finite() { Ok(chance) } else { Err(LifeError::BeyondReach) }
    }

    /// Weight and cumulative hazard at an age, node by node.
    fn each_hazard(&self, age: f64, mut take: impl FnMut(f64, f64)) {
        for row in &self.rows {
            let power = self.power(row, age);
            for node in &row.nodes {
                take(node.weight, node.rate * power);
            }
        }
    }

    /// An age over the age of reference, to the power of the row's shape.
    pub(super) fn power(&self, row: &Row, age: f64) -> f64 {
        if age > 0.0 { (row.shape * (age.ln() - self.shift)).exp() } else { 0.0 }
    }

    pub(super) fn rows(&self) -> &[Row] {
        &self.rows
    }
}

/// One row; `lives` are places on the axis of life with the logarithm of their weight.
fn lay_row(surface: &Surface<'_>, ln_shape: f64, lives: impl Iterator<Item = (f64, f64)>) -> Row {
    let common = surface.row(ln_shape);
    let shape = common.shape;
    let node = |(ln_life, ln_weight): (f64, f64)| Node {
        weight: ln_weight + surface.value(&common, ln_life),
        ln_life,
        rate: surface.rate(shape, ln_life),
    };
    Row { shape, ln_shape, nodes: lives.map(node).collect() }
}

/// Turns logarithms of weights into weights that sum to one, and gives the logarithm of their sum.
fn normalise(rows: &mut [Row]) -> f64 {
    let nodes = || rows.iter().flat_map(|row| &row.nodes).map(|node| node.weight);
    let most = nodes().filter(|w| w.is_finite()).fold(f64::NEG_INFINITY, f64::max);
    let mut sum = 0.0;
    for node in rows.iter_mut().flat_map(|row| &mut row.nodes) {
        let weight = (node.weight - most).exp();
        node.weight = if weight.is_finite() { weight } else { 0.0 };
        sum += node.weight;
    }
    for node in rows.iter_mut().flat_map(|row| &mut row.nodes) {
        node.weight /= sum;
    }
    most + sum.ln()
}
