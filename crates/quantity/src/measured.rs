//! Values with standard uncertainty, and how uncertainties combine.

use std::fmt;

use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, Normal, StudentsT};
use thiserror::Error;

use crate::print::printed_with_doubt;
use crate::unit::{Unit, UnitError};

/// Why a measured value cannot be.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum MeasuredError {
    /// The value is NaN or infinite.
    #[error("the value {value} {unit} is not a finite number; give a plain number")]
    ValueNotFinite {
        /// The value.
        value: f64,
        /// Its unit.
        unit: Unit,
    },
    /// The uncertainty is negative, NaN or infinite.
    #[error("the standard uncertainty {u} {unit} must be zero or more and finite; give it without a sign")]
    BadUncertainty {
        /// The uncertainty.
        u: f64,
        /// Its unit.
        unit: Unit,
    },
    /// Too few readings for a spread.
    #[error("{count} readings give no spread; take at least two")]
    TooFew {
        /// How many there were.
        count: usize,
    },
    /// A chance is outside the open interval from 0 to 1.
    #[error("the coverage {coverage} must lie between 0 and 1, both left out; 0.95 is usual")]
    BadCoverage {
        /// What was given.
        coverage: f64,
    },
    /// Degrees of freedom are not above zero.
    #[error("{degrees} degrees of freedom must be above zero; n readings have n - 1")]
    BadDegrees {
        /// What was given.
        degrees: f64,
    },
    /// The units are of different kinds.
    #[error(transparent)]
    Unit(#[from] UnitError),
}

/// A value with its standard uncertainty (one standard deviation) in one unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Stored")]
pub struct Measured {
    /// The value, in `unit`.
    pub value: f64,
    /// The standard uncertainty, zero or more, in `unit` (for temperatures a difference).
    pub u: f64,
    /// The unit of both.
    pub unit: Unit,
}

#[derive(Deserialize)]
struct Stored {
    value: f64,
    u: f64,
    unit: Unit,
}

impl TryFrom<Stored> for Measured {
    type Error = MeasuredError;
    fn try_from(stored: Stored) -> Result<Self, MeasuredError> {
        Self::new(stored.value, stored.u, stored.unit)
    }
}

impl Measured {
    /// A measured value, refused unless the value is finite and the uncertainty zero or more.
    ///
    /// # Errors
    /// [`MeasuredError::ValueNotFinite`], [`MeasuredError::BadUncertainty`].
    pub fn new(value: f64, u: f64, unit: Unit) -> Result<Self, MeasuredError> {
        if !value.is_finite() {
            return Err(MeasuredError::ValueNotFinite { value, unit });
        }
        if !u.is_finite() || u < 0.0 {
            return Err(MeasuredError::BadUncertainty { u, unit });
        }
        Ok(Self { value, u, unit })
    }

    /// The same value and uncertainty in another unit of the kind.
    ///
    /// # Errors
    /// [`MeasuredError::Unit`] when the kinds differ.
    pub fn in_unit(self, unit: Unit) -> Result<Self, MeasuredError> {
        Self::new(self.unit.convert(self.value, unit)?, self.unit.convert_difference(self.u, unit)?, unit)
    }

    /// The difference `self - other` with the uncertainty of two independent values, in the unit of `self`.
    ///
    /// # Errors
    /// [`MeasuredError::Unit`] when the kinds differ.
    pub fn minus(self, other: Self) -> Result<Self, MeasuredError> {
        let other = other.in_unit(self.unit)?;
        Self::new(self.value - other.value, root_sum_square(&[self.u, other.u]), self.unit.difference_unit())
    }

    /// The sum with the uncertainty of two independent values, in the unit of `self`.
    ///
    /// # Errors
    /// [`MeasuredError::Unit`] when the kinds differ.
    pub fn plus(self, other: Self) -> Result<Self, MeasuredError> {
        let other = other.in_unit(self.unit)?;
        Self::new(self.value + other.value, root_sum_square(&[self.u, other.u]), self.unit)
    }

    /// The uncertainty times a coverage factor.
    #[must_use]
    pub fn expanded(&self, factor: f64) -> f64 {
        self.u * factor
    }

    /// The interval `value ± factor * u`.
    #[must_use]
    pub fn interval(&self, factor: f64) -> (f64, f64) {
        (self.value - factor * self.u, self.value + factor * self.u)
    }
}

impl fmt::Display for Measured {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (value, u) = printed_with_doubt(self.value, self.u);
        match u {
            Some(u) => write!(f, "{value} ± {u} {}", self.unit),
            None => write!(f, "{value} {}", self.unit),
        }
    }
}

/// The combined uncertainty of independent parts: the root of the sum of squares.
///
/// # Source
/// JCGM 100:2008, 5.1.2 \[published\].
#[must_use]
pub fn root_sum_square(parts: &[f64]) -> f64 {
    parts.iter().fold(0.0_f64, |so_far, part| so_far.hypot(*part))
}

/// The mean, the standard deviation of one reading, and the standard uncertainty of the mean.
///
/// # Errors
/// [`MeasuredError::TooFew`] for fewer than two readings, [`MeasuredError::ValueNotFinite`] for NaN or infinity.
/// # Source
/// JCGM 100:2008, 4.2 \[published\].
pub fn mean_of_readings(readings: &[f64], unit: Unit) -> Result<(f64, f64, f64), MeasuredError> {
    if readings.len() < 2 {
        return Err(MeasuredError::TooFew { count: readings.len() });
    }
    if let Some(&value) = readings.iter().find(|value| !value.is_finite()) {
        return Err(MeasuredError::ValueNotFinite { value, unit });
    }
    let n = count_as_number(readings.len());
    let mean = readings.iter().sum::<f64>() / n;
    let spread = (readings.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
    Ok((mean, spread, spread / n.sqrt()))
}

/// The standard uncertainty of a value known only to lie somewhere within a half width: half width over root 3.
///
/// # Source
/// JCGM 100:2008, 4.3.7 \[published\].
#[must_use]
pub fn uniform_uncertainty(half_width: f64) -> f64 {
    half_width.abs() / 3.0_f64.sqrt()
}

/// The standard uncertainty of a value within a half width, most likely in the middle: half width over root 6.
///
/// # Source
/// JCGM 100:2008, 4.3.9 \[published\].
#[must_use]
pub fn triangular_uncertainty(half_width: f64) -> f64 {
    half_width.abs() / 6.0_f64.sqrt()
}

/// The standard uncertainty that the last digit alone brings: one step over root 12.
///
/// # Source
/// JCGM 100:2008, F.2.2.1 \[published\].
#[must_use]
pub fn resolution_uncertainty(step: f64) -> f64 {
    step.abs() / 12.0_f64.sqrt()
}

/// The factor that widens a standard uncertainty to an interval of given coverage, for a normal distribution.
///
/// # Errors
/// [`MeasuredError::BadCoverage`] unless the coverage lies between 0 and 1.
pub fn coverage_factor(coverage: f64) -> Result<f64, MeasuredError> {
    if !(coverage > 0.0 && coverage < 1.0) {
        return Err(MeasuredError::BadCoverage { coverage });
    }
    Ok(Normal::standard().inverse_cdf(f64::midpoint(1.0, coverage)))
}

/// The factor that widens a standard uncertainty of few degrees of freedom to an interval of given coverage.
///
/// # Errors
/// [`MeasuredError::BadCoverage`], [`MeasuredError::BadDegrees`].
/// # Source
/// Student's t distribution, JCGM 100:2008, G.3 \[published\].
pub fn coverage_factor_with(coverage: f64, degrees: f64) -> Result<f64, MeasuredError> {
    if !(coverage > 0.0 && coverage < 1.0) {
        return Err(MeasuredError::BadCoverage { coverage });
    }
    if degrees.is_infinite() && degrees > 0.0 {
        return coverage_factor(coverage);
    }
    let t = StudentsT::new(0.0, 1.0, degrees).map_err(|_| MeasuredError::BadDegrees { degrees })?;
    Ok(t.inverse_cdf(f64::midpoint(1.0, coverage)))
}

/// The effective degrees of freedom of a combined uncertainty, from the parts and their degrees of freedom.
///
/// # Shapes
/// One pair `(u, degrees)` per independent part; infinite degrees are allowed and add nothing.
/// # Source
/// Welch-Satterthwaite formula, JCGM 100:2008, G.4.1 \[published\].
#[must_use]
pub fn effective_degrees(parts: &[(f64, f64)]) -> f64 {
    let combined: f64 = parts.iter().map(|(u, _)| u * u).sum();
    let below: f64 =
        parts.iter().filter(|(_, degrees)| degrees.is_finite()).map(|(u, degrees)| u.powi(4) / degrees).sum();
    if below > 0.0 { combined * combined / below } else { f64::INFINITY }
}

pub(crate) fn count_as_number(count: usize) -> f64 {
    f64::from(u32::try_from(count).unwrap_or(u32::MAX))
}
