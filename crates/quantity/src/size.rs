//! Sizes and differences of sizes, temperatures and differences of temperatures: four types that do not mix.
//!
//! ```compile_fail
//! # use quantity::Size;
//! # fn add(bore: Size, piston: Size) {
//! let nonsense = bore + piston; // two sizes do not add
//! # }
//! ```

use std::ops::{Add, Neg, Sub};

use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::dimension::Dimension;
use crate::unit::{Unit, UnitError};

/// Why a size, difference or temperature cannot be.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum SizeError {
    /// The number is NaN or infinite.
    #[error("{value} {unit} is not a finite number; give a plain number")]
    NotFinite {
        /// The number.
        value: f64,
        /// Its unit.
        unit: Unit,
    },
    /// A size is below zero.
    #[error("a size of {value} {unit} is below zero; a difference may be negative, a size may not")]
    BelowZero {
        /// The number.
        value: f64,
        /// Its unit.
        unit: Unit,
    },
    /// A temperature is below absolute zero.
    #[error("{value} {unit} is below absolute zero; look at the sign and the unit")]
    BelowAbsoluteZero {
        /// The number.
        value: f64,
        /// Its unit.
        unit: Unit,
    },
    /// The unit is of another kind.
    #[error(transparent)]
    Unit(#[from] UnitError),
}

/// An absolute size of a feature: a bore, a journal, a height; never below zero.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(try_from = "f64", into = "f64")]
pub struct Size {
    mm: f64,
}

/// A difference of two sizes: clearance, wear, taper; may be negative.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(try_from = "f64", into = "f64")]
pub struct Difference {
    mm: f64,
}

/// How hot something is, from absolute zero.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(try_from = "f64", into = "f64")]
pub struct Temperature {
    kelvin: f64,
}

/// How much hotter than something else.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(try_from = "f64", into = "f64")]
pub struct TemperatureDifference {
    kelvin: f64,
}

impl Size {
    /// A size from a number and a unit of length.
    ///
    /// # Errors
    /// [`SizeError`] for NaN, infinity, a value below zero, or a unit of another kind.
    pub fn new(value: f64, unit: Unit) -> Result<Self, SizeError> {
        let mm = finite(value, unit, Unit::MILLIMETRE)?;
        if mm < 0.0 {
            return Err(SizeError::BelowZero { value, unit });
        }
        Ok(Self { mm })
    }

    /// The size in millimetres.
    #[must_use]
    pub const fn mm(self) -> f64 {
        self.mm
    }

    /// The size after growing or shrinking by a difference.
    ///
    /// # Errors
    /// [`SizeError::BelowZero`] when nothing would be left.
    pub fn moved(self, by: Difference) -> Result<Self, SizeError> {
        Self::new(self.mm + by.mm, Unit::MILLIMETRE)
    }
}

impl Difference {
    /// A difference from a number and a unit of length.
    ///
    /// # Errors
    /// [`SizeError`] for NaN, infinity, or a unit of another kind.
    pub fn new(value: f64, unit: Unit) -> Result<Self, SizeError> {
        Ok(Self { mm: finite(value, unit, Unit::MILLIMETRE)? })
    }

    /// The difference in millimetres.
    #[must_use]
    pub const fn mm(self) -> f64 {
        self.mm
    }
}

impl Temperature {
    /// A temperature from a number and a unit of temperature.
    ///
    /// # Errors
    /// [`SizeError`] for NaN, infinity, a value below absolute zero, or a unit of another kind.
    pub fn new(value: f64, unit: Unit) -> Result<Self, SizeError> {
        let kelvin = finite(value, unit, Unit::KELVIN)?;
        if kelvin < 0.0 {
            return Err(SizeError::BelowAbsoluteZero { value, unit });
        }
        Ok(Self { kelvin })
    }

    /// Kelvin above absolute zero.
    #[must_use]
    pub const fn kelvin(self) -> f64 {
        self.kelvin
    }
}

impl TemperatureDifference {
    /// A temperature difference from a number and a unit of temperature difference.
    ///
    /// # Errors
    /// [`SizeError`] for NaN, infinity, or a unit of another kind.
    pub fn new(value: f64, unit: Unit) -> Result<Self, SizeError> {
        Ok(Self { kelvin: finite(value, unit, Unit::KELVIN_DIFFERENCE)? })
    }

    /// Kelvin of difference.
    #[must_use]
    pub const fn kelvin(self) -> f64 {
        self.kelvin
    }
}

fn finite(value: f64, unit: Unit, base: Unit) -> Result<f64, SizeError> {
    if !value.is_finite() {
        return Err(SizeError::NotFinite { value, unit });
    }
    Ok(unit.convert(value, base)?)
}

impl Sub for Size {
    type Output = Difference;
    fn sub(self, other: Self) -> Difference {
        Difference { mm: self.mm - other.mm }
    }
}

impl Add for Difference {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self { mm: self.mm + other.mm }
    }
}

impl Sub for Difference {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self { mm: self.mm - other.mm }
    }
}

impl Neg for Difference {
    type Output = Self;
    fn neg(self) -> Self {
        Self { mm: -self.mm }
    }
}

impl Sub for Temperature {
    type Output = TemperatureDifference;
    fn sub(self, other: Self) -> TemperatureDifference {
        TemperatureDifference { kelvin: self.kelvin - other.kelvin }
    }
}

impl Add for TemperatureDifference {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self { kelvin: self.kelvin + other.kelvin }
    }
}

impl TryFrom<f64> for Size {
    type Error = SizeError;
    fn try_from(mm: f64) -> Result<Self, SizeError> {
        Self::new(mm, Unit::MILLIMETRE)
    }
}

impl From<Size> for f64 {
    fn from(size: Size) -> f64 {
        size.mm
    }
}

impl TryFrom<f64> for Difference {
    type Error = SizeError;
    fn try_from(mm: f64) -> Result<Self, SizeError> {
        Self::new(mm, Unit::MILLIMETRE)
    }
}

impl From<Difference> for f64 {
    fn from(difference: Difference) -> f64 {
        difference.mm
    }
}

impl TryFrom<f64> for Temperature {
    type Error = SizeError;
    fn try_from(kelvin: f64) -> Result<Self, SizeError> {
        Self::new(kelvin, Unit::KELVIN)
    }
}

impl From<Temperature> for f64 {
    fn from(temperature: Temperature) -> f64 {
        temperature.kelvin
    }
}

impl TryFrom<f64> for TemperatureDifference {
    type Error = SizeError;
    fn try_from(kelvin: f64) -> Result<Self, SizeError> {
        Self::new(kelvin, Unit::KELVIN_DIFFERENCE)
    }
}

impl From<TemperatureDifference> for f64 {
    fn from(difference: TemperatureDifference) -> f64 {
        difference.kelvin
    }
}

const _: () = assert!(matches!(Unit::MILLIMETRE.dimension(), Dimension::Length));
