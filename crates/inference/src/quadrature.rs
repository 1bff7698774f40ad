//! Nodes and weights for integrals: Legendre, Hermite, Laguerre, and the double exponential rule.
//!
//! The three Gauss rules come from the eigenvalues of their recurrence [published: Golub, Welsch 1969, Calculation of
//! Gauss Quadrature Rules, Math. Comp. 23]; all weights sum to one, so that each rule is an average.

#![expect(clippy::indexing_slicing, reason = "the loops run over vectors whose lengths are set at their top")]

/// Places and weights of an average.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Rule {
    pub(crate) nodes: Vec<f64>,
    pub(crate) weights: Vec<f64>,
}

impl Rule {
    pub(crate) fn iter(&self) -> impl Iterator<Item = (f64, f64)> {
        self.nodes.iter().copied().zip(self.weights.iter().copied())
    }
}

fn real(n: usize) -> f64 {
    u32::try_from(n).map_or(f64::INFINITY, f64::from)
}

/// The average over the interval from nought to one.
pub(crate) fn legendre(points: usize) -> Rule {
    let off = |k: usize| real(k) / (4.0 * real(k) * real(k) - 1.0).sqrt();
    let mut rule = gauss(points, |_| 0.0, off);
    for node in &mut rule.nodes {
        *node = 0.5 * (1.0 + *node);
    }
    rule
}

/// The average over a normal variable with mean nought and spread one.
pub(crate) fn hermite(points: usize) -> Rule {
    gauss(points, |_| 0.0, |k| real(k).sqrt())
}

/// The average over a gamma variable of the shape given and rate one.
pub(crate) fn laguerre(points: usize, shape: f64) -> Rule {
    let off = |k: usize| (real(k) * (real(k) + shape - 1.0)).sqrt();
    gauss(points, |k| 2.0 * real(k) + shape, off)
}

/// The integral from nought to one, for functions with a corner or a pole that can be integrated at nought.
///
/// The nodes are given with their distance from nought, which keeps its digits there. Steps of 1/8 reach rounding for
/// the smooth functions of this crate \[ours, measured by the tests\].
pub(crate) fn double_exponential() -> Rule {
    const STEP: f64 = 0.125;
    let mut rule = Rule { nodes: Vec::new(), weights: Vec::new() };
    // The side of nought reaches down to 1e-37, for poles there.
    for step in -32_i32..=26 {
        let t = f64::from(step) * STEP;
        let u = std::f64::consts::PI * t.sinh();
        let node = 1.0 / (1.0 + (-u).exp());
        let slope = std::f64::consts::PI * t.cosh() * node / (1.0 + u.exp());
        rule.nodes.push(node);
        rule.weights.push(STEP * slope);
    }
    let sum: f64 = rule.weights.iter().sum();
    for weight in &mut rule.weights {
        *weight /= sum;
    }
    rule
}

/// Eigenvalues of the symmetric matrix with `diagonal(k)` and `off(k)` beside it, and the squared first entries of its
/// vectors, ascending.
fn gauss(points: usize, diagonal: impl Fn(usize) -> f64, off: impl Fn(usize) -> f64) -> Rule {
    let n = points.max(1);
    let mut d: Vec<f64> = (0..n).map(diagonal).collect();
    let mut e: Vec<f64> = (1..=n).map(|k| if k < n { off(k) } else { 0.0 }).collect();
    let mut first = vec![0.0; n];
    first[0] = 1.0;
    for at in 0..n {
        // A sweep makes the off-diagonal shrink by its cube; thirty are never needed.
        for _ in 0..60 {
            let end =
                (at..n - 1).find(|&k| e[k].abs() <= f64::EPSILON * (d[k].abs() + d[k + 1].abs())).unwrap_or(n - 1);
            if end == at {
                break;
            }
            sweep(&mut d, &mut e, &mut first, at, end);
        }
    }
    let mut pairs: Vec<(f64, f64)> = d.into_iter().zip(first.iter().map(|f| f * f)).collect();
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (nodes, weights) = pairs.into_iter().unzip();
    Rule { nodes, weights }
}

/// One implicit QL step on the block from `at` to `end` [published: Martin, Wilkinson 1968, Numerische Mathematik 12].
fn sweep(d: &mut [f64], e: &mut [f64], first: &mut [f64], at: usize, end: usize) {
    let half = (d[at + 1] - d[at]) / (2.0 * e[at]);
    let root = half.hypot(1.0).copysign(half);
    let mut g = d[end] - d[at] + e[at] / (half + root);
    let (mut s, mut c, mut p) = (1.0, 1.0, 0.0);
    for k in (at..end).rev() {
        let (f, b) = (s * e[k], c * e[k]);
        let r = f.hypot(g);
        e[k + 1] = r;
        if r == 0.0 {
            d[k + 1] -= p;
            e[end] = 0.0;
            return;
        }
        (s, c) = (f / r, g / r);
        g = d[k + 1] - p;
        let t = (d[k] - g) * s + 2.0 * c * b;
        p = s * t;
        d[k + 1] = g + p;
        g = c * t - b;
        let next = first[k + 1];
        first[k + 1] = s * first[k] + c * next;
        first[k] = c * first[k] - s * next;
    }
    d[at] -= p;
    e[at] = g;
    e[end] = 0.0;
}

#[cfg(test)]
mod tests {
    use super::*;

    fn average(rule: &Rule, f: impl Fn(f64) -> f64) -> f64 {
        rule.iter().map(|(x, w)| w * f(x)).sum()
    }

    // Source: moments of the three laws in closed form: 1/(k+1), the double factorials, the rising factorials. A rule of n
    // points is exact for powers up to 2n - 1; tolerance 1e-12 [ours] covers rounding of the largest power.
    #[test]
    fn gauss_rules_give_the_moments_of_their_laws() {
        for (power, exact) in [(0, 1.0), (1, 0.5), (7, 0.125), (47, 1.0 / 48.0)] {
            assert!((average(&legendre(24), |x| x.powi(power)) - exact).abs() < 1e-13, "{power}");
        }
        for (power, exact) in [(2, 1.0), (3, 0.0), (4, 3.0), (8, 105.0), (10, 945.0)] {
            assert!((average(&hermite(15), |x| x.powi(power)) - exact).abs() < 1e-12 * (1.0 + exact), "{power}");
        }
        let shape = 0.4;
        for (power, exact) in [(0, 1.0), (1, 0.4), (2, 0.4 * 1.4), (4, 0.4 * 1.4 * 2.4 * 3.4)] {
            assert!(
                (average(&laguerre(20, shape), |x| x.powi(power)) - exact).abs() < 1e-11 * (1.0 + exact),
                "{power}"
            );
        }
    }

    #[test]
    fn the_double_exponential_rule_takes_poles_at_the_ends() {
        // The integral of x to the power p over the unit interval is 1/(p+1).
        for power in [-0.5, -0.3, 0.0, 0.7, 2.5] {
            let got = average(&double_exponential(), |x| x.powf(power));
            assert!((got - 1.0 / (power + 1.0)).abs() < 3e-13 / (power + 1.0), "{power}: {got}");
        }
    }
}
