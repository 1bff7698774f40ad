//! The probability that a value keeps a limit, and the four-outcome verdict drawn from it.
//!
//! The rule. A limit has a *keep edge* (up to here the part is good) and may have a *reject edge*
//! further out (beyond it the part is out); between the two a person decides. With the value and its
//! standard uncertainty taken as a normal distribution, three chances follow: inside the keep edges,
//! between keep and reject, beyond reject. With the two risks of [`Risks`]:
//!
//! 1. [`Verdict::Inside`] when the chance of *not* being inside the keep edges is at most `wrongly_inside`;
//! 2. else [`Verdict::Outside`] when the chance of *not* being beyond the reject edges is at most `wrongly_outside`;
//! 3. else [`Verdict::ByJudgement`] when the limit has a reject edge apart from its keep edge on the
//!    side in play and the chance of being beyond the reject edges is at most `wrongly_inside`;
//! 4. else [`Verdict::CannotTell`]: this gauge cannot decide.
//!
//! A value exactly on an edge keeps it. With an uncertainty of zero the chances are 0 or 1 and the
//! fourth outcome cannot occur. Before rule 1 would call a value inside, a mean outside the keep edge
//! never is, because risks above one half are refused.

use serde::{Deserialize, Serialize};
use statrs::distribution::{Continuous, ContinuousCDF, Normal};
use statrs::function::erf::erfc;
use thiserror::Error;

/// On which side a limit stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Side {
    /// The value must not be above it.
    Upper,
    /// The value must not be below it.
    Lower,
    /// The value must lie between two of them.
    Within,
}

/// The outcome of holding a value against a limit; never a yes or no.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// Surely enough inside the keep edge.
    Inside,
    /// Surely enough not beyond the reject edge, and not surely inside the keep edge: a person decides.
    ByJudgement,
    /// Surely enough beyond the reject edge.
    Outside,
    /// The uncertainty is too wide for any of the three: a better gauge or more readings.
    CannotTell,
}

impl Verdict {
    /// The words shown to people.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Inside => "inside",
            Self::ByJudgement => "usable by judgement",
            Self::Outside => "outside",
            Self::CannotTell => "this gauge cannot tell",
        }
    }
}

/// Why a decision cannot be made.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum DecisionError {
    /// The value is NaN or infinite.
    #[error("the value {value} is not a finite number; give a plain number")]
    ValueNotFinite {
        /// The value.
        value: f64,
    },
    /// The uncertainty is negative, NaN or infinite.
    #[error("the standard uncertainty {u} must be zero or more and finite; give it without a sign")]
    BadUncertainty {
        /// The uncertainty.
        u: f64,
    },
    /// A zone has no edge at all, an edge that is not finite, or edges in the wrong sequence.
    #[error(
        "the edges {reject_lower:?} {keep_lower:?} {keep_upper:?} {reject_upper:?} do not rise in this sequence or none is given; a reject edge lies outside its keep edge"
    )]
    BadEdges {
        /// Lower reject edge.
        reject_lower: Option<f64>,
        /// Lower keep edge.
        keep_lower: Option<f64>,
        /// Upper keep edge.
        keep_upper: Option<f64>,
        /// Upper reject edge.
        reject_upper: Option<f64>,
    },
    /// A risk is not above 0 and at most one half.
    #[error("the risk {risk} must be above 0 and at most 0.5; 0.05 is usual")]
    BadRisk {
        /// What was given.
        risk: f64,
    },
    /// A probability is outside the open interval from 0 to 1.
    #[error("the probability {p} must lie between 0 and 1, both left out")]
    BadProbability {
        /// What was given.
        p: f64,
    },
}

/// The edges a value is held against: keep edges, and reject edges further out where the limit has them.
///
/// # Invariants
/// At least one keep edge; each reject edge has its keep edge and does not lie inside it; all finite.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "ZoneEdges", into = "ZoneEdges")]
pub struct Zone {
    edges: ZoneEdges,
}

/// The stored form of [`Zone`].
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct ZoneEdges {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    reject_lower: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    keep_lower: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    keep_upper: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    reject_upper: Option<f64>,
}

impl Zone {
    /// A zone from its four possible edges, in rising sequence; a missing reject edge stands on its keep edge.
    ///
    /// # Errors
    /// [`DecisionError::BadEdges`].
    pub fn new(
        reject_lower: Option<f64>,
        keep_lower: Option<f64>,
        keep_upper: Option<f64>,
        reject_upper: Option<f64>,
    ) -> Result<Self, DecisionError> {
        let bad = DecisionError::BadEdges { reject_lower, keep_lower, keep_upper, reject_upper };
        if keep_lower.is_none() && keep_upper.is_none()
            || reject_lower.is_some() && keep_lower.is_none()
            || reject_upper.is_some() && keep_upper.is_none()
        {
            return Err(bad);
        }
        let given: Vec<f64> = [reject_lower, keep_lower, keep_upper, reject_upper].into_iter().flatten().collect();
        if given.iter().any(|edge| !edge.is_finite()) || !given.is_sorted() {
            return Err(bad);
        }
        Ok(Self { edges: ZoneEdges { reject_lower, keep_lower, keep_upper, reject_upper } })
    }

    /// A limit that a value must not be above, with its reject edge if it has one.
    ///
    /// # Errors
    /// [`DecisionError::BadEdges`].
    pub fn at_most(keep: f64, reject: Option<f64>) -> Result<Self, DecisionError> {
        Self::new(None, None, Some(keep), reject)
    }

    /// A limit that a value must not be below, with its reject edge if it has one.
    ///
    /// # Errors
    /// [`DecisionError::BadEdges`].
    pub fn at_least(keep: f64, reject: Option<f64>) -> Result<Self, DecisionError> {
        Self::new(reject, Some(keep), None, None)
    }

    /// Two limits without reject edges.
    ///
    /// # Errors
    /// [`DecisionError::BadEdges`].
    pub fn within(lower: f64, upper: f64) -> Result<Self, DecisionError> {
        Self::new(None, Some(lower), Some(upper), None)
    }

    /// The keep edges, lower and upper.
    #[must_use]
    pub const fn keep(&self) -> (Option<f64>, Option<f64>) {
        (self.edges.keep_lower, self.edges.keep_upper)
    }

    /// The reject edges, lower and upper; where the limit has none, its keep edge.
    #[must_use]
    pub fn reject(&self) -> (Option<f64>, Option<f64>) {
        (self.edges.reject_lower.or(self.edges.keep_lower), self.edges.reject_upper.or(self.edges.keep_upper))
    }

    /// On which side the zone is bounded.
    #[must_use]
    pub const fn side(&self) -> Side {
        match (self.edges.keep_lower, self.edges.keep_upper) {
            (Some(_), Some(_)) => Side::Within,
            (Some(_), None) => Side::Lower,
            (None, _) => Side::Upper,
        }
    }

    /// Whether a room for judgement lies between keep and reject on the side nearer to the value.
    fn has_room_for_judgement(&self, value: f64) -> bool {
        let lower_room = room(self.edges.reject_lower, self.edges.keep_lower);
        let upper_room = room(self.edges.keep_upper, self.edges.reject_upper);
        match (self.edges.keep_lower, self.edges.keep_upper) {
            (Some(lower), Some(upper)) => {
                if value - lower < upper - value {
                    lower_room
                } else {
                    upper_room
                }
            }
            (Some(_), None) => lower_room,
            (None, _) => upper_room,
        }
    }
}

fn room(inner: Option<f64>, outer: Option<f64>) -> bool {
    matches!((inner, outer), (Some(a), Some(b)) if a < b)
}

impl TryFrom<ZoneEdges> for Zone {
    type Error = DecisionError;
    fn try_from(edges: ZoneEdges) -> Result<Self, DecisionError> {
        Self::new(edges.reject_lower, edges.keep_lower, edges.keep_upper, edges.reject_upper)
    }
}

impl From<Zone> for ZoneEdges {
    fn from(zone: Zone) -> Self {
        zone.edges
    }
}

/// The chances of error that are put up with.
///
/// # Invariants
/// Both above 0 and at most one half.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Risks {
    wrongly_inside: f64,
    wrongly_outside: f64,
}

impl Risks {
    /// Risks from the chance of calling a bad value inside and the chance of calling a usable value outside.
    ///
    /// # Errors
    /// [`DecisionError::BadRisk`] unless both lie above 0 and at most at one half.
    pub fn new(wrongly_inside: f64, wrongly_outside: f64) -> Result<Self, DecisionError> {
        for risk in [wrongly_inside, wrongly_outside] {
            if !(risk > 0.0 && risk <= 0.5) {
                return Err(DecisionError::BadRisk { risk });
            }
        }
        Ok(Self { wrongly_inside, wrongly_outside })
    }

    /// The largest chance of calling a value inside that is not.
    #[must_use]
    pub const fn wrongly_inside(&self) -> f64 {
        self.wrongly_inside
    }

    /// The largest chance of calling a value outside that is not.
    #[must_use]
    pub const fn wrongly_outside(&self) -> f64 {
        self.wrongly_outside
    }
}

impl Default for Risks {
    /// One in twenty both ways, the usual choice [common practice].
    fn default() -> Self {
        Self { wrongly_inside: 0.05, wrongly_outside: 0.05 }
    }
}

/// A verdict with the three chances it was drawn from.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Decision {
    /// The outcome.
    pub verdict: Verdict,
    /// Chance of being inside the keep edges.
    pub p_inside: f64,
    /// Chance of lying between a keep edge and its reject edge.
    pub p_between: f64,
    /// Chance of being beyond a reject edge.
    pub p_outside: f64,
}

/// The probability that the true value lies within the edges, the value taken as normal with standard deviation `u`.
///
/// # Units
/// All in one unit. A missing edge is no edge. With `u` of zero the answer is 0 or 1 and an edge is kept by equality.
/// # Invariants
/// In \[0, 1\]; a NaN or negative `u`, or a NaN value, gives NaN, never a chance.
/// # Source
/// JCGM 106:2012, 7.2 to 7.4 \[published\].
#[must_use]
pub fn probability_inside(value: f64, u: f64, lower: Option<f64>, upper: Option<f64>) -> f64 {
    if !value.is_finite() || !u.is_finite() || u < 0.0 {
        return f64::NAN;
    }
    if u == 0.0 {
        let kept = lower.is_none_or(|edge| value >= edge) && upper.is_none_or(|edge| value <= edge);
        return if kept { 1.0 } else { 0.0 };
    }
    match (lower.map(|edge| (edge - value) / u), upper.map(|edge| (edge - value) / u)) {
        (None, None) => 1.0,
        (None, Some(high)) => below(high),
        (Some(low), None) => below(-low),
        // Taking the difference on the side of the smaller tails keeps far-out chances exact.
        (Some(low), Some(high)) if low > 0.0 => (below(-low) - below(-high)).clamp(0.0, 1.0),
        (Some(low), Some(high)) => (below(high) - below(low)).clamp(0.0, 1.0),
    }
}

/// The standard normal probability below `z`.
#[must_use]
pub(crate) fn below(z: f64) -> f64 {
    0.5 * erfc(-z / std::f64::consts::SQRT_2)
}

/// Holds a value against a zone and draws the verdict by the rule at the head of this module.
///
/// # Units
/// Value, uncertainty and edges in one unit.
/// # Errors
/// [`DecisionError::ValueNotFinite`], [`DecisionError::BadUncertainty`].
/// # Invariants
/// The three chances sum to one.
/// # Source
/// JCGM 106:2012, 7 and 8 for the chances \[published\]; the four outcomes are this project's own.
pub fn decide(value: f64, u: f64, zone: &Zone, risks: Risks) -> Result<Decision, DecisionError> {
    if !value.is_finite() {
        return Err(DecisionError::ValueNotFinite { value });
    }
    if !u.is_finite() || u < 0.0 {
        return Err(DecisionError::BadUncertainty { u });
    }
    let (keep_lower, keep_upper) = zone.keep();
    let (reject_lower, reject_upper) = zone.reject();
    let p_inside = probability_inside(value, u, keep_lower, keep_upper);
    let not_inside = probability_beyond(value, u, keep_lower, keep_upper);
    let p_outside = probability_beyond(value, u, reject_lower, reject_upper);
    let not_outside = probability_inside(value, u, reject_lower, reject_upper);
    let p_between = (not_inside - p_outside).max(0.0);
    let verdict = if not_inside <= risks.wrongly_inside {
        Verdict::Inside
    } else if not_outside <= risks.wrongly_outside {
        Verdict::Outside
    } else if zone.has_room_for_judgement(value) && p_outside <= risks.wrongly_inside {
        Verdict::ByJudgement
    } else {
        Verdict::CannotTell
    };
    Ok(Decision { verdict, p_inside, p_between, p_outside })
}

/// One less [`probability_inside`], without losing the small chances to rounding.
fn probability_beyond(value: f64, u: f64, lower: Option<f64>, upper: Option<f64>) -> f64 {
    if u == 0.0 {
        return 1.0 - probability_inside(value, u, lower, upper);
    }
    let under = lower.map_or(0.0, |edge| below((edge - value) / u));
    let over = upper.map_or(0.0, |edge| below((value - edge) / u));
    (under + over).min(1.0)
}

/// How many standard uncertainties inside a single limit a value must lie to keep it with probability `p`.
///
/// # Errors
/// [`DecisionError::BadProbability`] unless `p` lies between 0 and 1.
/// # Source
/// JCGM 106:2012, 7.3 and table 1 \[published\].
pub fn conformity_factor(p: f64) -> Result<f64, DecisionError> {
    if !(p > 0.0 && p < 1.0) {
        return Err(DecisionError::BadProbability { p });
    }
    Ok(Normal::standard().inverse_cdf(p))
}

/// The margin taken off a single limit so that a value accepted right at the margin keeps the limit with probability `p`.
///
/// # Errors
/// [`DecisionError::BadProbability`], [`DecisionError::BadUncertainty`].
/// # Source
/// JCGM 106:2012, 8.3.2 \[published\].
pub fn guard_band(u: f64, p: f64) -> Result<f64, DecisionError> {
    if !u.is_finite() || u < 0.0 {
        return Err(DecisionError::BadUncertainty { u });
    }
    Ok(u * conformity_factor(p)?)
}

/// The largest standard uncertainty with which a value is settled: with it and every smaller one the verdict is not
/// [`Verdict::CannotTell`].
///
/// # Units
/// As the value. Zero when no gauge settles it, because the value stands on its edge; infinite when any gauge does.
/// # Errors
/// [`DecisionError::ValueNotFinite`].
/// # Source
/// The rule at the head of this module, solved for `u`: in closed form for one edge, by halving to the last bit for two.
pub fn gauge_that_settles(value: f64, zone: &Zone, risks: Risks) -> Result<f64, DecisionError> {
    if !value.is_finite() {
        return Err(DecisionError::ValueNotFinite { value });
    }
    let (keep, reject) = (zone.keep(), zone.reject());
    let lies_in = |(lower, upper): (Option<f64>, Option<f64>)| {
        lower.is_none_or(|edge| value >= edge) && upper.is_none_or(|edge| value <= edge)
    };
    let (edges, risk, good) = if lies_in(reject) && (lies_in(keep) || zone.has_room_for_judgement(value)) {
        // With room for judgement the weaker verdict settles it as well, and holds for wider doubts.
        (if zone.has_room_for_judgement(value) { reject } else { keep }, risks.wrongly_inside, true)
    } else {
        (reject, risks.wrongly_outside, false)
    };
    let wrong = |u: f64| {
        if good {
            probability_beyond(value, u, edges.0, edges.1)
        } else {
            probability_inside(value, u, edges.0, edges.1)
        }
    };
    let distance = |edge: Option<f64>| edge.map(|edge| (edge - value).abs());
    let nearest = distance(edges.0).into_iter().chain(distance(edges.1)).fold(f64::INFINITY, f64::min);
    if nearest <= 0.0 {
        return Ok(if risk >= 0.5 && edges.0.is_none() | edges.1.is_none() { f64::INFINITY } else { 0.0 });
    }
    let factor = conformity_factor(1.0 - risk)?;
    let single = nearest / factor;
    // One edge alone lets no smaller and no larger doubt through; two edges need a search below a bound.
    let mut high = match (edges.0, edges.1) {
        (Some(lower), Some(upper)) if !good => {
            let (near, far) =
                if value > upper { (value - upper, value - lower) } else { (lower - value, upper - value) };
            // Outside two edges the chance of being between them rises up to this doubt and falls again.
            let most = ((far - near) * (far + near) / (2.0 * (far / near).ln())).sqrt();
            if !most.is_finite() || wrong(most) <= risk {
                return Ok(f64::INFINITY);
            }
            most
        }
        (Some(_), Some(_)) => single,
        _ => {
            if risk >= 0.5 {
                return Ok(f64::INFINITY);
            }
            single * 1.000_001
        }
    };
    if wrong(high) <= risk {
        return Ok(high);
    }
    let mut low = 0.0;
    for _ in 0..2200 {
        let middle = f64::midpoint(low, high);
        if middle <= low || middle >= high {
            break;
        }
        if wrong(middle) <= risk {
            low = middle;
        } else {
            high = middle;
        }
    }
    Ok(low)
}

/// How many readings settle a value, when their mean stays where it is: the smallest number from which on the verdict
/// is not [`Verdict::CannotTell`]; nothing when no number of readings does.
///
/// A repeat divides the repeatability by the root of the number of readings; what all readings share (setting ring,
/// temperature, the gauge's own error) stays.
///
/// # Units
/// `shared` and `repeatability` are standard uncertainties in the unit of the value, the second of one reading.
/// # Errors
/// [`DecisionError::ValueNotFinite`], [`DecisionError::BadUncertainty`].
/// # Source
/// JCGM 100:2008, 4.2.3 for the mean of readings \[published\]; the rule at the head of this module solved for the number.
pub fn repeats_that_settle(
    value: f64,
    shared: f64,
    repeatability: f64,
    zone: &Zone,
    risks: Risks,
) -> Result<Option<u32>, DecisionError> {
    for u in [shared, repeatability] {
        if !u.is_finite() || u < 0.0 {
            return Err(DecisionError::BadUncertainty { u });
        }
    }
    let widest = gauge_that_settles(value, zone, risks)?;
    let of_mean = |count: f64| shared.hypot(repeatability / count.sqrt());
    if of_mean(1.0) <= widest {
        return Ok(Some(1));
    }
    if shared >= widest {
        return Ok(None);
    }
    let wanted = repeatability / ((widest - shared) * (widest + shared)).sqrt();
    let mut count = (wanted * wanted).ceil().max(2.0);
    // The square may round to either side of a whole number.
    if count < 1e9 && count > 2.0 && of_mean(count - 1.0) <= widest {
        count -= 1.0;
    } else if of_mean(count) > widest {
        count += 1.0;
    }
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a whole number below the bound")]
    let count = (count <= f64::from(u32::MAX)).then_some(count as u32);
    Ok(count)
}

/// A value and its doubt when it is known from what process it comes: the mean of both by their weights, and the doubt left.
///
/// # Shapes
/// `process` is mean and standard deviation of true values.
/// # Errors
/// [`DecisionError::ValueNotFinite`], [`DecisionError::BadUncertainty`] unless the process has a spread above zero.
/// # Source
/// JCGM 106:2012, 6.3 and 7.2, normal prior and normal reading \[published\].
pub fn with_process(value: f64, u: f64, process: (f64, f64)) -> Result<(f64, f64), DecisionError> {
    let (mean, spread) = process;
    for value in [value, mean] {
        if !value.is_finite() {
            return Err(DecisionError::ValueNotFinite { value });
        }
    }
    if !u.is_finite() || u < 0.0 {
        return Err(DecisionError::BadUncertainty { u });
    }
    if !spread.is_finite() || spread <= 0.0 {
        return Err(DecisionError::BadUncertainty { u: spread });
    }
    let whole = u.hypot(spread);
    let weight = (spread / whole).powi(2);
    Ok((weight * value + (1.0 - weight) * mean, u * (spread / whole)))
}

/// The two global risks of a decision rule over a whole production: (accepted though bad, refused though good).
///
/// # Shapes
/// `process` is mean and standard deviation of true values, `limits` the tolerance, `guard` the margin taken
/// off both limits before accepting.
/// # Errors
/// [`DecisionError::BadUncertainty`] unless both standard deviations are above zero.
/// # Source
/// JCGM 106:2012, 9.5 \[published\]; the integral is taken by Gauss-Legendre panels of our own.
pub fn global_risks(process: (f64, f64), u: f64, limits: (f64, f64), guard: f64) -> Result<(f64, f64), DecisionError> {
    let (mean, spread) = process;
    for deviation in [spread, u] {
        if !deviation.is_finite() || deviation <= 0.0 {
            return Err(DecisionError::BadUncertainty { u: deviation });
        }
    }
    let (lower, upper) = limits;
    let truth = Normal::new(mean, spread).map_err(|_| DecisionError::BadUncertainty { u: spread })?;
    let accepted = |value: f64| probability_inside(value, u, Some(lower + guard), Some(upper - guard));
    let reach = 9.0;
    // Where either curve bends: between these marks both are smooth.
    let marks = |from: f64, to: f64| {
        let bends = [mean - reach * spread, mean, mean + reach * spread, lower + guard - reach * u, lower + guard]
            .into_iter()
            .chain([lower + guard + reach * u, upper - guard - reach * u, upper - guard, upper - guard + reach * u]);
        let mut marks: Vec<f64> = bends.filter(|mark| *mark > from && *mark < to).chain([from, to]).collect();
        marks.sort_by(f64::total_cmp);
        marks
    };
    let over = |from: f64, to: f64, f: &dyn Fn(f64) -> f64| -> f64 {
        marks(from, to)
            .windows(2)
            .map(|pair| match pair {
                [a, b] => integrate(*a, *b, f),
                _ => 0.0,
            })
            .sum()
    };
    let (far_low, far_high) = (mean - reach * spread, mean + reach * spread);
    let bad = over(far_low.min(lower), lower, &|x| truth.pdf(x) * accepted(x))
        + over(upper, far_high.max(upper), &|x| truth.pdf(x) * accepted(x));
    let good = over(lower, upper, &|x| truth.pdf(x) * (1.0 - accepted(x)));
    Ok((bad, good))
}

fn integrate(from: f64, to: f64, f: &dyn Fn(f64) -> f64) -> f64 {
    // Five-point Gauss-Legendre on 200 panels.
    const NODES: [(f64, f64); 5] = [
        (0.0, 0.568_888_888_888_888_9),
        (0.538_469_310_105_683_1, 0.478_628_670_499_366_5),
        (-0.538_469_310_105_683_1, 0.478_628_670_499_366_5),
        (0.906_179_845_938_664, 0.236_926_885_056_189_1),
        (-0.906_179_845_938_664, 0.236_926_885_056_189_1),
    ];
    let panels = 200_u32;
    let half = (to - from) / f64::from(panels) / 2.0;
    (0..panels)
        .map(|panel| {
            let middle = from + (2.0 * f64::from(panel) + 1.0) * half;
            NODES.iter().map(|(node, weight)| weight * f(middle + node * half)).sum::<f64>() * half
        })
        .sum()
}
