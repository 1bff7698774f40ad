//! What kind of thing a number counts.

use std::fmt;

use serde::{Deserialize, Serialize};

/// The kind of thing a unit measures; units convert only within one kind.
///
/// A temperature and a difference of temperatures are two kinds, because 20 °C is not twice 10 °C but
/// a rise of 20 °C is twice a rise of 10 °C. A length at the bench and a distance on the road are two
/// kinds, so that an odometer never lands in a bore.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Dimension {
    /// Sizes, clearances, heights.
    Length,
    /// Faces, openings, stress areas.
    Area,
    /// Chambers, swept volumes, fluids.
    Volume,
    /// Turns of a bolt, a crank or a cam.
    Angle,
    /// Mass of a part.
    Mass,
    /// Pull of a bolt or a spring.
    Force,
    /// Twist on a fastener.
    Torque,
    /// Pressure and stress.
    Pressure,
    /// How hot something is.
    Temperature,
    /// How much hotter than something else.
    TemperatureDifference,
    /// Durations.
    Time,
    /// Road distance.
    Distance,
    /// Turning speed.
    Speed,
    /// Volume per time.
    FlowRate,
    /// Parts of a whole, plain ratios, friction coefficients.
    Ratio,
    /// Brinell hardness.
    Hardness,
    /// Pieces, teeth, threads.
    Count,
    /// Electric current.
    Current,
    /// Electric tension.
    Voltage,
    /// Force per length of a spring.
    Stiffness,
    /// Growth in length per length and degree.
    Expansion,
}

impl Dimension {
    /// The plain name of the kind, for messages.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Length => "length",
            Self::Area => "area",
            Self::Volume => "volume",
            Self::Angle => "angle",
            Self::Mass => "mass",
            Self::Force => "force",
            Self::Torque => "torque",
            Self::Pressure => "pressure",
            Self::Temperature => "temperature",
            Self::TemperatureDifference => "temperature difference",
            Self::Time => "time",
            Self::Distance => "road distance",
            Self::Speed => "turning speed",
            Self::FlowRate => "flow",
            Self::Ratio => "ratio",
            Self::Hardness => "hardness",
            Self::Count => "count",
            Self::Current => "current",
            Self::Voltage => "voltage",
            Self::Stiffness => "stiffness",
            Self::Expansion => "thermal expansion",
        }
    }

    /// Whether nobody types three decimals of this kind, so that `74,000` can only be a grouped thousand.
    #[must_use]
    pub const fn is_never_typed_to_a_thousandth(self) -> bool {
        matches!(self, Self::Distance | Self::Speed | Self::Count)
    }
}

impl fmt::Display for Dimension {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}
