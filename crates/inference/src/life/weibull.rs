//! The Weibull law of a life, and the lognormal law to hold it against.

use serde::{Deserialize, Serialize};
use statrs::function::gamma::gamma;

use super::{LifeError, positive};
use crate::normal;

/// How long one part lasts in one mode, when shape and scale are known.
///
/// The cumulative hazard at age t is (t / scale)^shape; a shape above one means wear, below one early trouble.
///
/// # Units
/// Scale and ages are in the unit of the mode's clock, whichever the caller uses throughout.
///
/// # Source
/// NIST/SEMATECH e-Handbook of Statistical Methods, section 8.1.6.2 \[published\].
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "StoredWeibull")]
pub struct Weibull {
    shape: f64,
    scale: f64,
}

/// A law as it is read back, not yet checked.
#[derive(Deserialize)]
struct StoredWeibull {
    shape: f64,
    scale: f64,
}

impl TryFrom<StoredWeibull> for Weibull {
    type Error = LifeError;

    fn try_from(stored: StoredWeibull) -> Result<Self, LifeError> {
        Self::new(stored.shape, stored.scale)
    }
}

impl Weibull {
    /// Gives the law from its shape and its scale, the age that 63.2 % do not reach.
    ///
    /// # Errors
    /// [`LifeError::NotPositive`] when one of them is not a number above nought.
    pub fn new(shape: f64, scale: f64) -> Result<Self, LifeError> {
        Ok(Self { shape: positive("shape", shape)?, scale: positive("scale", scale)? })
    }

    /// The shape.
    #[must_use]
    pub fn shape(&self) -> f64 {
        self.shape
    }

    /// The scale.
    #[must_use]
    pub fn scale(&self) -> f64 {
        self.scale
    }

    /// The cumulative hazard at an age; nought at and before age nought.
    #[must_use]
    pub fn cumulative(&self, age: f64) -> f64 {
        if age > 0.0 { (age / self.scale).powf(self.shape) } else { 0.0 }
    }

    /// The rate of failing at an age above nought among those that reached it, per unit of age.
    #[must_use]
    pub fn hazard(&self, age: f64) -> f64 {
        self.shape / self.scale * (age / self.scale).powf(self.shape - 1.0)
    }

    /// The chance of reaching an age from new.
    #[must_use]
    pub fn reaches(&self, age: f64) -> f64 {
        (-self.cumulative(age)).exp()
    }

    /// The chance that a part which has lived to `age` lasts `ahead` more.
    #[must_use]
    pub fn survival(&self, age: f64, ahead: f64) -> f64 {
        (self.cumulative(age) - self.cumulative(age + ahead)).exp()
    }

    /// The age by which a share of all has failed, such as 0.1 for the 10 % life; NaN outside 0 to 1.
    #[must_use]
    pub fn life_of(&self, share: f64) -> f64 {
        self.scale * (-(-share).ln_1p()).powf(1.0 / self.shape)
    }

    /// The mean life.
    #[must_use]
    pub fn mean(&self) -> f64 {
        self.scale * gamma(1.0 + 1.0 / self.shape)
    }

    /// The standard deviation of the life.
    #[must_use]
    pub fn spread(&self) -> f64 {
        let first = gamma(1.0 + 1.0 / self.shape);
        self.scale * (gamma(1.0 + 2.0 / self.shape) - first * first).max(0.0).sqrt()
    }
}

/// How long one part lasts when the logarithm of its life follows the normal law.
///
/// Its use here is to hold a Weibull against it by [`Fit::information`](super::Fit::information).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Lognormal {
    /// Mean of the logarithm of the life.
    pub mean_ln: f64,
    /// Spread of the logarithm of the life.
    pub spread_ln: f64,
}

impl Lognormal {
    /// The chance of reaching an age from new.
    #[must_use]
    pub fn reaches(&self, age: f64) -> f64 {
        if age > 0.0 { normal::below((self.mean_ln - age.ln()) / self.spread_ln) } else { 1.0 }
    }

    /// The age by which a share of all has failed.
    #[must_use]
    pub fn life_of(&self, share: f64) -> f64 {
        (self.mean_ln + self.spread_ln * normal::place(share)).exp()
    }
}
