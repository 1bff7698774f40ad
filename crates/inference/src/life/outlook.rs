//! Several modes at once: which comes first within a span, and the chance that none comes.

use serde::{Deserialize, Serialize};

use super::{LifeError, LifePosterior, Weibull, not_negative, positive};
use crate::quadrature::{Rule, double_exponential, laguerre};

/// Nodes over the frailty where no closed form is at hand \[ours: the tests find it good to 1e-9 against the closed form\].
const FRAILTY_NODES: usize = 24;

/// What a mode's life is counted in.
///
/// Travel misleads where age itself wears, such as rubber and idle corrosion, or where starts count. Such a mode names
/// years as its clock, and its prior and records are in years.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Clock {
    /// Distance travelled.
    Travel,
    /// Years since new.
    Years,
}

/// An age, or a span ahead, on both clocks. Between now and the end of a span both run evenly.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Clocks {
    /// Distance, in the unit of the lives on this clock.
    pub travel: f64,
    /// Years.
    pub years: f64,
}

impl Clocks {
    /// What one clock shows.
    #[must_use]
    pub fn on(&self, clock: Clock) -> f64 {
        match clock {
            Clock::Travel => self.travel,
            Clock::Years => self.years,
        }
    }
}

/// How the part stands in its whole. Parts of one mode differ in nothing but their age.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub enum Part {
    /// New at the start of the span.
    Renewed,
    /// Kept, with the age of the whole or its own; its survival so far also speaks for how this whole is treated.
    Kept(Clocks),
    /// Taken from another whole at this age; its survival so far says nothing about this whole.
    Donor(Clocks),
}

impl Part {
    fn age(&self, clock: Clock) -> f64 {
        match self {
            Self::Renewed => 0.0,
            Self::Kept(age) | Self::Donor(age) => age.on(clock),
        }
    }
}

/// What is known of the lives in a mode.
#[derive(Debug, Clone, PartialEq)]
pub enum Lives {
    /// Shape and scale are taken as known.
    Known(Weibull),
    /// Shape and scale are in doubt.
    Doubtful(LifePosterior),
}

/// One mode of one part of a whole.
#[derive(Debug, Clone, PartialEq)]
pub struct Mode {
    /// The lives.
    pub lives: Lives,
    /// Their clock.
    pub clock: Clock,
    /// The part they are about.
    pub part: Part,
    /// By how much the hazard ahead is multiplied, one for a part like those in the record; above one after mistreatment or
    /// doubtful work. Hazard so far is not multiplied.
    pub strain: f64,
}

/// A treatment that all modes of one whole share: a gamma variable that multiplies all hazards.
///
/// Modes are not independent given their ages; one overheating harms many parts. With a frailty, whoever has lived long
/// is likely well treated, and whoever failed early is likely to fail again.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Frailty {
    shape: f64,
    rate: f64,
}

impl Frailty {
    /// A frailty with mean one and the variance given.
    ///
    /// # Errors
    /// [`LifeError::NotPositive`] when the variance is not above nought; no variance means no frailty.
    pub fn of_variance(variance: f64) -> Result<Self, LifeError> {
        let shape = 1.0 / positive("variance of the frailty", variance)?;
        Ok(Self { shape, rate: shape })
    }

    /// The frailty after earlier parts of this whole: how many failed, and the cumulative hazard they all went through.
    ///
    /// # Errors
    /// [`LifeError::Negative`] when the hazard is below nought.
    pub fn after(self, failures: u32, cumulative: f64) -> Result<Self, LifeError> {
        let more = not_negative("cumulative hazard of earlier parts", cumulative)?;
        Ok(Self { shape: self.shape + f64::from(failures), rate: self.rate + more })
    }

    /// Its mean.
    #[must_use]
    pub fn mean(&self) -> f64 {
        self.shape / self.rate
    }

    /// The shape of its gamma law.
    pub(crate) fn shape(&self) -> f64 {
        self.shape
    }

    /// The rate of its gamma law.
    pub(crate) fn rate(&self) -> f64 {
        self.rate
    }

    /// The mean of exp(-frailty times hazard), in closed form.
    pub(crate) fn mean_survival(&self, hazard: f64) -> f64 {
        (-self.shape * (hazard / self.rate).ln_1p()).exp()
    }
}

/// What lies ahead of a whole within a span.
#[derive(Debug, Clone, PartialEq)]
pub struct Outlook {
    /// The chance that no mode comes.
    pub none: f64,
    /// For each mode, the chance that it comes, and comes first. With `none` they sum to one within 1e-9.
    pub first: Vec<f64>,
    /// For each mode, the chance that it does not come if it were alone.
    pub alone: Vec<f64>,
    /// Logarithm of the chance of having lived to these ages, for mixing outlooks over doubtful ages.
    ln_so_far: f64,
}

impl Outlook {
    /// Mixes outlooks of one whole over its doubtful age: the chance of each age, and the outlook with it.
    ///
    /// Ages at which the whole would hardly be alive still count for less.
    ///
    /// # Errors
    /// [`LifeError::NoModes`] without outlooks; [`LifeError::ModesDiffer`]; [`LifeError::Negative`] for a chance below nought;
    /// [`LifeError::NotPositive`] when no age has a chance.
    pub fn mixed(outlooks: &[(f64, Self)]) -> Result<Self, LifeError> {
        let (_, model) = outlooks.first().ok_or(LifeError::NoModes)?;
        let modes = model.first.len();
        let most = outlooks.iter().map(|(_, one)| one.ln_so_far).fold(f64::NEG_INFINITY, f64::max);
        let mut sum = 0.0;
        let mut out = Self { none: 0.0, first: vec![0.0; modes], alone: vec![0.0; modes], ln_so_far: most };
        for (outlook, (chance, one)) in outlooks.iter().enumerate() {
            if one.first.len() != modes {
                return Err(LifeError::ModesDiffer { outlook, found: one.first.len(), expected: modes });
            }
            let weight = not_negative("chance of an age", *chance)? * (one.ln_so_far - most).exp();
            sum += weight;
            out.none += weight * one.none;
            for (to, from) in [(&mut out.first, &one.first), (&mut out.alone, &one.alone)] {
                to.iter_mut().zip(from).for_each(|(to, from)| *to += weight * from);
            }
        }
        positive("sum of the chances of the ages", sum)?;
        out.none /= sum;
        out.first.iter_mut().chain(&mut out.alone).for_each(|p| *p /= sum);
        out.ln_so_far = most + sum.ln();
        Ok(out)
    }
}

/// Gives the outlook of a whole: its modes, the span ahead on both clocks, and what treatment they share, if any.
///
/// Given the treatment the modes are independent, whatever is doubtful about each of them. Where all lives are known the
/// mean over the treatment is taken in closed form, else on nodes.
///
/// # Errors
/// [`LifeError::NoModes`]; [`LifeError::Negative`] for a span or an age below nought; [`LifeError::NotPositive`] for a strain;
/// [`LifeError::BeyondReach`].
///
/// # Source
/// Chance of coming first: the integral of a mode's density times the survival of the others. Gamma frailty and its
/// Laplace transform: Hougaard 2000, Analysis of Multivariate Survival Data \[from memory\].
pub fn outlook(modes: &[Mode], ahead: Clocks, frailty: Option<Frailty>) -> Result<Outlook, LifeError> {
    not_negative("span ahead in travel", ahead.travel)?;
    not_negative("span ahead in years", ahead.years)?;
    if modes.is_empty() {
        return Err(LifeError::NoModes);
    }
    for mode in modes {
        positive("strain of a mode", mode.strain)?;
        not_negative("age of a part", mode.part.age(mode.clock))?;
    }
    let times = double_exponential();
    let courses: Vec<Course> = modes.iter().map(|mode| Course::of(mode, ahead, &times)).collect();
    let known = modes.iter().all(|mode| matches!(mode.lives, Lives::Known(_)));
    let out = match frailty {
        Some(frailty) if known => closed(&courses, &times, frailty),
        frailty => on_nodes(&courses, &times, frailty)?,
    };
    let all = || out.first.iter().chain(&out.alone).chain([&out.none]);
    if all().any(|p| !p.is_finite()) { Err(LifeError::BeyondReach) } else { Ok(out) }
}

/// One node of a mode's lives, walked through the span.
#[derive(Debug)]
struct Walk {
    weight: f64,
    /// Cumulative hazard of the part up to now.
    so_far: f64,
    /// Hazard added from now to each node of time, and its slope per span; the last entry is the end of the span.
    added: Vec<f64>,
    slope: Vec<f64>,
}

/// A mode walked through the span.
#[derive(Debug)]
struct Course {
    walks: Vec<Walk>,
    kept: bool,
    donor: bool,
}

impl Course {
    fn of(mode: &Mode, ahead: Clocks, times: &Rule) -> Self {
        let (age, span) = (mode.part.age(mode.clock), ahead.on(mode.clock));
        let walk = |weight: f64, shape: f64, hazard: &dyn Fn(f64) -> f64| {
            let so_far = hazard(age);
            let places = || times.nodes.iter().copied().chain([1.0]);
            let at: Vec<f64> = places().map(|t| hazard(age + t * span)).collect();
            // The hazard's slope is shape times hazard over age.
            let rise = |(t, h): (f64, &f64)| {
                let reached = age + t * span;
                if reached > 0.0 { mode.strain * span * shape * h / reached } else { 0.0 }
            };
            Walk {
                weight,
                so_far,
                added: at.iter().map(|h| mode.strain * (h - so_far).max(0.0)).collect(),
                slope: places().zip(&at).map(rise).collect(),
            }
        };
        let walks = match &mode.lives {
            Lives::Known(law) => vec![walk(1.0, law.shape(), &|age| law.cumulative(age))],
            Lives::Doubtful(posterior) => {
                let mut walks = Vec::new();
                for row in posterior.rows() {
                    // Powers are the same for all lives of one shape.
                    let common = walk(1.0, row.shape, &|age| posterior.power(row, age));
                    walks.extend(row.nodes.iter().map(|node| Walk {
                        weight: node.weight,
                        so_far: node.rate * common.so_far,
                        added: common.added.iter().map(|h| node.rate * h).collect(),
                        slope: common.slope.iter().map(|h| node.rate * h).collect(),
                    }));
                }
                walks
            }
        };
        Self { walks, kept: matches!(mode.part, Part::Kept(_)), donor: matches!(mode.part, Part::Donor(_)) }
    }

    /// The least hazard so far among the nodes.
    fn least(&self) -> f64 {
        self.walks.iter().map(|walk| walk.so_far).fold(f64::INFINITY, f64::min)
    }

    /// Given the treatment: logarithm of the chance of having lived so far, survival and density at each node of time.
    fn given(&self, z: f64, frailty: Option<Frailty>) -> (f64, Vec<f64>, Vec<f64>) {
        let places = self.walks.first().map_or(0, |walk| walk.added.len());
        let (mut survival, mut density, mut so_far) = (vec![0.0; places], vec![0.0; places], 0.0);
        // A kept part lived under this treatment; a donor under another, which is averaged out.
        let elsewhere = frailty.filter(|_| self.donor);
        let (base, own) =
            if elsewhere.is_some() { (0.0, 0.0) } else { (self.least(), if self.kept { z } else { 1.0 }) };
        for walk in &self.walks {
            let lived = match elsewhere {
                Some(frailty) => frailty.mean_survival(walk.so_far),
                None => (-own * (walk.so_far - base)).exp(),
            };
            let weight = walk.weight * lived;
            if weight <= 0.0 {
                continue;
            }
            so_far += weight;
            for (((s, d), added), slope) in survival.iter_mut().zip(&mut density).zip(&walk.added).zip(&walk.slope) {
                let left = weight * (-z * added).exp();
                *s += left;
                *d += left * z * slope;
            }
        }
        survival.iter_mut().chain(&mut density).for_each(|x| *x /= so_far);
        (so_far.ln() - own * base, survival, density)
    }
}

/// Known lives under a shared treatment: all means over the treatment are powers.
fn closed(courses: &[Course], times: &Rule, frailty: Frailty) -> Outlook {
    let walks = || courses.iter().flat_map(|course| &course.walks);
    let so_far: f64 = courses.iter().filter(|c| c.kept).flat_map(|c| &c.walks).map(|walk| walk.so_far).sum();
    let donors: f64 =
        courses.iter().filter(|c| c.donor).flat_map(|c| &c.walks).map(|w| frailty.mean_survival(w.so_far).ln()).sum();
    let now = Frailty { shape: frailty.shape, rate: frailty.rate + so_far };
    let places = times.nodes.len() + 1;
    let mut total = vec![0.0; places];
    for walk in walks() {
        total.iter_mut().zip(&walk.added).for_each(|(sum, added)| *sum += added);
    }
    // Minus the slope of the mean survival: one more power, times the mean of the treatment.
    let falls: Vec<f64> = total.iter().map(|h| now.mean() * now.mean_survival(*h) / (1.0 + h / now.rate)).collect();
    let first = |walk: &Walk| {
        times.weights.iter().zip(&walk.slope).zip(&falls).map(|((w, slope), fall)| w * slope * fall).sum()
    };
    let last = |walk: &Walk| now.mean_survival(walk.added.last().copied().unwrap_or(0.0));
    Outlook {
        none: now.mean_survival(total.last().copied().unwrap_or(0.0)),
        first: walks().map(first).collect(),
        alone: walks().map(last).collect(),
        ln_so_far: frailty.mean_survival(so_far).ln() + donors,
    }
}

/// Any lives, with the treatment on nodes or absent.
fn on_nodes(courses: &[Course], times: &Rule, frailty: Option<Frailty>) -> Result<Outlook, LifeError> {
    let treatments = match frailty {
        None => vec![(1.0, 0.0)],
        Some(frailty) => treatments(courses, frailty),
    };
    let count = courses.len();
    let mut parts = Vec::with_capacity(treatments.len());
    for (z, ln_weight) in treatments {
        let mut out = Outlook { none: 1.0, first: vec![0.0; count], alone: vec![0.0; count], ln_so_far: ln_weight };
        let given: Vec<_> = courses.iter().map(|course| course.given(z, frailty)).collect();
        let mut all = vec![1.0; times.nodes.len() + 1];
        for ((ln_so_far, survival, _), alone) in given.iter().zip(&mut out.alone) {
            out.ln_so_far += ln_so_far;
            all.iter_mut().zip(survival).for_each(|(all, s)| *all *= s);
            *alone = survival.last().copied().unwrap_or(1.0);
        }
        out.none = all.last().copied().unwrap_or(1.0);
        for ((_, survival, density), first) in given.iter().zip(&mut out.first) {
            for (((weight, all), s), d) in times.weights.iter().zip(&all).zip(survival).zip(density) {
                // The survival of the others is that of all over its own, which may both be gone.
                if *s > 0.0 {
                    *first += weight * d * all / s;
                }
            }
        }
        parts.push((1.0, out));
    }
    // The same weighing as over doubtful ages: by the chance of having lived so far.
    Outlook::mixed(&parts).map_err(|_| LifeError::BeyondReach)
}

/// Nodes over the treatment and the logarithms of their weights, laid around what the parts' survival so far makes likely.
fn treatments(courses: &[Course], frailty: Frailty) -> Vec<(f64, f64)> {
    let mean = |course: &Course| {
        let (mut sum, mut hazard) = (0.0, 0.0);
        for walk in &course.walks {
            let weight = walk.weight * (-walk.so_far).exp();
            sum += weight;
            hazard += weight * walk.so_far;
        }
        if sum > 0.0 { hazard / sum } else { course.least() }
    };
    let expected: f64 = courses.iter().filter(|course| course.kept).map(mean).sum();
    let rate = frailty.rate + expected;
    let rule = laguerre(FRAILTY_NODES, frailty.shape);
    let moved = frailty.shape * (frailty.rate / rate).ln();
    // Under the moved law the weight carries the quotient of the two densities.
    rule.iter().filter(|(_, w)| *w > 0.0).map(|(x, w)| (x / rate, w.ln() + moved + x / rate * expected)).collect()
}
