//! What is believed about a mode before its records, from figures that somebody with experience can state.

use serde::{Deserialize, Serialize};

use super::{LifeError, positive};

/// Nine in ten of a normal law lie within this many spreads \[exact to the digits shown\].
const NINE_IN_TEN: f64 = 1.644_853_626_951_472_2;

/// A normal belief about a logarithm.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Belief {
    /// Where it is centred.
    pub mean: f64,
    /// Its standard deviation.
    pub spread: f64,
}

/// A belief about shape and life of a mode: both logarithms are normal and independent.
///
/// The life is that of a share of the parts, because that is what people can state. A share near the one that failed in
/// the records leaves the two nearly independent in the posterior too.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct LifePrior {
    /// Belief about the logarithm of the shape.
    pub ln_shape: Belief,
    /// Belief about the logarithm of the life of `share`.
    pub ln_life: Belief,
    /// The share of parts that have failed by that life; 1 - 1/e makes the life the scale.
    pub share: f64,
}

impl LifePrior {
    /// The prior behind four statements: the 10 % life, the 50 % life, and how far each may be out.
    ///
    /// `half_factor` says how sure the 50 % life is: nine times in ten the true one lies between the stated one divided by
    /// it and multiplied by it. `gap_factor` says the same of the gap between the two lives (of the logarithm of their
    /// ratio), which is what carries the shape. Asking for the doubt of the gap and not of the 10 % life keeps shape and
    /// life independent.
    ///
    /// # Errors
    /// [`LifeError::NotPositive`], [`LifeError::LivesOutOfStep`], [`LifeError::Factor`].
    ///
    /// # Source
    /// By definition: ratio of lives = (ln 2 / -ln 0.9)^(1/shape).
    pub fn from_lives(tenth: f64, half: f64, half_factor: f64, gap_factor: f64) -> Result<Self, LifeError> {
        positive("10 % life", tenth)?;
        positive("50 % life", half)?;
        if tenth >= half {
            return Err(LifeError::LivesOutOfStep { tenth, half });
        }
        let spread = |what, value: f64| {
            let sure = value.is_finite() && value > 1.0;
            if sure { Ok(value.ln() / NINE_IN_TEN) } else { Err(LifeError::Factor { what, value }) }
        };
        let shape = (std::f64::consts::LN_2 / -(-0.1_f64).ln_1p()).ln() / (half / tenth).ln();
        Ok(Self {
            ln_shape: Belief { mean: shape.ln(), spread: spread("gap of the lives", gap_factor)? },
            ln_life: Belief { mean: half.ln(), spread: spread("50 % life", half_factor)? },
            share: 0.5,
        })
    }

    /// A prior on the logarithms of shape and scale themselves.
    ///
    /// # Errors
    /// [`LifeError::NotPositive`] when a spread is not a number above nought.
    pub fn on_scale(ln_shape: Belief, ln_scale: Belief) -> Result<Self, LifeError> {
        let prior = Self { ln_shape, ln_life: ln_scale, share: -(-1.0_f64).exp_m1() };
        prior.ensure()?;
        Ok(prior)
    }

    /// The cumulative hazard at the life of the share.
    pub(crate) fn hazard_at_life(&self) -> f64 {
        -(-self.share).ln_1p()
    }

    /// As [`Self::ensure`], with figures that may also be known without doubt.
    pub(crate) fn ensure_loosely(&self) -> Result<(), LifeError> {
        super::share("share of the stated life", self.share)?;
        for (what, belief) in [("logarithm of the shape", self.ln_shape), ("logarithm of the life", self.ln_life)] {
            super::not_negative(&format!("spread of the {what}"), belief.spread)?;
            if !belief.mean.is_finite() {
                return Err(LifeError::NotPositive { what: format!("centre behind the {what}"), value: belief.mean });
            }
        }
        Ok(())
    }

    pub(super) fn ensure(&self) -> Result<(), LifeError> {
        super::share("share of the stated life", self.share)?;
        for (what, belief) in [("logarithm of the shape", self.ln_shape), ("logarithm of the life", self.ln_life)] {
            positive(&format!("spread of the {what}"), belief.spread)?;
            if !belief.mean.is_finite() {
                return Err(LifeError::NotPositive { what: format!("centre behind the {what}"), value: belief.mean });
            }
        }
        Ok(())
    }
}
