//! Units with exact factors to one base unit per kind.

use std::cmp::Ordering;
use std::collections::BTreeMap;
use std::fmt;
use std::hash::{Hash, Hasher};
use std::sync::OnceLock;

use num_bigint::BigInt;
use num_rational::BigRational;
use num_traits::{One, ToPrimitive, Zero};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use thiserror::Error;

use crate::dimension::Dimension;

/// One row of the unit table: `base = (value + offset) * factor`, both exact fractions.
#[derive(Debug)]
struct Row {
    symbol: &'static str,
    name: &'static str,
    dimension: Dimension,
    factor: (i128, i128),
    offset: (i128, i128),
    spellings: &'static [&'static str],
}

/// A unit of measure with its exact factor; small and copied freely.
///
/// # Units
/// The base unit of each kind has factor 1: m, m², m³, degree, kg, N, N·m, Pa, K, s, m of road, 1/min,
/// L/min, 1, HB, pieces, A, V, N/m, 1/K.
/// # Source
/// Factors follow from inch = 25.4 mm, pound = 0.453 592 37 kg, standard gravity = 9.806 65 m/s²,
/// US gallon = 231 in³, imperial gallon = 4.546 09 L, all exact by definition
/// (NIST Special Publication 811, 2008 edition, appendix B) \[published\]; columns of mercury and water are
/// the conventional ones of the same table.
#[derive(Clone, Copy)]
pub struct Unit(&'static Row);

macro_rules! units {
    ($( $constant:ident $symbol:literal $name:literal $dimension:ident ($num:expr, $den:expr) + ($onum:expr, $oden:expr) [$($spelling:literal),* $(,)?]; )*) => {
        impl Unit {
            $(
                #[doc = concat!("The unit ", $name, ", written `", $symbol, "`.")]
                pub const $constant: Unit = Unit(&Row {
                    symbol: $symbol,
                    name: $name,
                    dimension: Dimension::$dimension,
                    factor: ($num, $den),
                    offset: ($onum, $oden),
                    spellings: &[$($spelling),*],
                });
            )*

            /// Every unit known, in the order of the table: by kind, the metric ones first.
            pub const ALL: &'static [Unit] = &[$(Unit::$constant),*];
        }
    };
}

units! {
    // length, base metre
    MILLIMETRE "mm" "millimetre" Length (1, 1000) + (0, 1) ["millimetre", "millimetres", "millimeter", "millimeters"];
    MICROMETRE "µm" "micrometre" Length (1, 1_000_000) + (0, 1) ["um", "micron", "microns", "micrometre", "micrometres", "micrometer", "micrometers"];
    NANOMETRE "nm" "nanometre" Length (1, 1_000_000_000) + (0, 1) ["nanometre", "nanometer"];
    CENTIMETRE "cm" "centimetre" Length (1, 100) + (0, 1) ["centimetre", "centimetres", "centimeter", "centimeters"];
    METRE "m" "metre" Length (1, 1) + (0, 1) ["metre", "metres", "meter", "meters"];
    INCH "in" "inch" Length (254, 10_000) + (0, 1) ["inch", "inches", "\"", "''"];
    THOU "thou" "thousandth of an inch" Length (254, 10_000_000) + (0, 1) ["thous", "thousandth of an inch", "thousandths of an inch"];
    MICROINCH "µin" "millionth of an inch" Length (254, 10_000_000_000) + (0, 1) ["uin", "microinch", "microinches"];
    FOOT "ft" "foot" Length (3048, 10_000) + (0, 1) ["foot", "feet", "'"];
    // area, base square metre
    SQUARE_MILLIMETRE "mm²" "square millimetre" Area (1, 1_000_000) + (0, 1) ["mm2", "sq mm"];
    SQUARE_CENTIMETRE "cm²" "square centimetre" Area (1, 10_000) + (0, 1) ["cm2", "sq cm"];
    SQUARE_METRE "m²" "square metre" Area (1, 1) + (0, 1) ["m2", "sq m"];
    SQUARE_INCH "in²" "square inch" Area (64_516, 100_000_000) + (0, 1) ["in2", "sq in"];
    // volume, base cubic metre
    CUBIC_CENTIMETRE "cm³" "cubic centimetre" Volume (1, 1_000_000) + (0, 1) ["cc", "ccm", "cm3", "mL", "ml", "millilitre", "millilitres", "milliliter", "milliliters"];
    CUBIC_MILLIMETRE "mm³" "cubic millimetre" Volume (1, 1_000_000_000) + (0, 1) ["mm3"];
    LITRE "L" "litre" Volume (1, 1000) + (0, 1) ["l", "litre", "litres", "liter", "liters", "dm3"];
    CUBIC_METRE "m³" "cubic metre" Volume (1, 1) + (0, 1) ["m3"];
    CUBIC_INCH "in³" "cubic inch" Volume (16_387_064, 1_000_000_000_000) + (0, 1) ["in3", "cu in", "cubic inch", "cubic inches"];
    US_QUART "US qt" "US quart" Volume (946_352_946, 1_000_000_000_000) + (0, 1) ["US quart", "US quarts"];
    IMPERIAL_QUART "imp qt" "imperial quart" Volume (11_365_225, 10_000_000_000) + (0, 1) ["imperial quart", "imperial quarts", "UK qt"];
    US_GALLON "US gal" "US gallon" Volume (3_785_411_784, 1_000_000_000_000) + (0, 1) ["US gallon", "US gallons"];
    IMPERIAL_GALLON "imp gal" "imperial gallon" Volume (454_609, 100_000_000) + (0, 1) ["imperial gallon", "imperial gallons", "UK gal"];
    // angle, base degree
    DEGREE "°" "degree" Angle (1, 1) + (0, 1) ["deg", "degree", "degrees", "crank deg", "cam deg"];
    TURN "turn" "full turn" Angle (360, 1) + (0, 1) ["turns", "rev", "revolution", "revolutions"];
    // mass, base kilogram
    KILOGRAM "kg" "kilogram" Mass (1, 1) + (0, 1) ["kilo", "kilos", "kilogram", "kilograms"];
    GRAM "g" "gram" Mass (1, 1000) + (0, 1) ["gram", "grams"];
    POUND "lb" "pound" Mass (45_359_237, 100_000_000) + (0, 1) ["lbm"];
    OUNCE "oz" "ounce" Mass (45_359_237, 1_600_000_000) + (0, 1) ["ounce", "ounces"];
    // force, base newton
    NEWTON "N" "newton" Force (1, 1) + (0, 1) ["newton", "newtons"];
    KILONEWTON "kN" "kilonewton" Force (1000, 1) + (0, 1) ["kilonewton", "kilonewtons"];
    POUND_FORCE "lbf" "pound-force" Force (44_482_216_152_605, 10_000_000_000_000) + (0, 1) ["pound force", "pounds force"];
    KILOGRAM_FORCE "kgf" "kilogram-force" Force (980_665, 100_000) + (0, 1) ["kp"];
    // torque, base newton metre
    NEWTON_METRE "N·m" "newton metre" Torque (1, 1) + (0, 1) ["Nm", "newton metre", "newton metres", "newton meter", "newton meters"];
    FOOT_POUND "lbf·ft" "pound-force foot" Torque (13_558_179_483_314_004, 10_000_000_000_000_000) + (0, 1)
        ["lbf ft", "lbfft", "ft lbf", "ft lb", "ft lbs", "lb ft", "lbs ft", "lbft", "ftlb", "ftlbs", "foot pound", "foot pounds", "pound foot", "pound feet", "foot lb", "foot lbs"];
    INCH_POUND "lbf·in" "pound-force inch" Torque (1_129_848_290_276_167, 10_000_000_000_000_000) + (0, 1)
        ["lbf in", "lbfin", "in lbf", "in lb", "in lbs", "lb in", "lbs in", "lbin", "inlb", "inlbs", "inch pound", "inch pounds", "inch lb", "inch lbs"];
    KILOGRAM_METRE "kgf·m" "kilogram-force metre" Torque (980_665, 100_000) + (0, 1) ["kgf m", "kg m", "kgm", "m kg", "mkg", "mkp", "kpm", "kp m"];
    NEWTON_MILLIMETRE "N·mm" "newton millimetre" Torque (1, 1000) + (0, 1) ["Nmm"];
    // pressure, base pascal
    BAR "bar" "bar" Pressure (100_000, 1) + (0, 1) ["bars", "barg"];
    MILLIBAR "mbar" "millibar" Pressure (100, 1) + (0, 1) ["millibar", "hPa"];
    PASCAL "Pa" "pascal" Pressure (1, 1) + (0, 1) ["pascal"];
    KILOPASCAL "kPa" "kilopascal" Pressure (1000, 1) + (0, 1) ["kilopascal"];
    MEGAPASCAL "MPa" "megapascal" Pressure (1_000_000, 1) + (0, 1) ["megapascal", "N/mm2"];
    GIGAPASCAL "GPa" "gigapascal" Pressure (1_000_000_000, 1) + (0, 1) ["gigapascal"];
    PSI "psi" "pound-force per square inch" Pressure (44_482_216_152_605, 6_451_600_000) + (0, 1) ["psig", "lbf/in2", "lb/in2", "lbs/in2", "pounds per square inch"];
    KILOGRAM_PER_SQUARE_CENTIMETRE "kgf/cm²" "kilogram-force per square centimetre" Pressure (980_665, 10) + (0, 1) ["kg/cm2", "kgf/cm2", "kp/cm2"];
    ATMOSPHERE "atm" "standard atmosphere" Pressure (101_325, 1) + (0, 1) ["atmosphere", "atmospheres"];
    INCH_OF_MERCURY "inHg" "inch of mercury" Pressure (3_386_389, 1000) + (0, 1) ["in Hg", "inches Hg", "inch Hg", "\"Hg", "\" Hg"];
    MILLIMETRE_OF_MERCURY "mmHg" "millimetre of mercury" Pressure (1_333_224, 10_000) + (0, 1) ["mm Hg"];
    INCH_OF_WATER "inH2O" "inch of water" Pressure (2_490_889, 10_000) + (0, 1) ["in H2O", "inches H2O", "in water", "inches of water"];
    // temperature, base kelvin
    CELSIUS "°C" "degree Celsius" Temperature (1, 1) + (27_315, 100) ["C", "degC", "deg C", "degrees C", "degree C", "Celsius", "º C"];
    FAHRENHEIT "°F" "degree Fahrenheit" Temperature (5, 9) + (45_967, 100) ["F", "degF", "deg F", "degrees F", "degree F", "Fahrenheit"];
    KELVIN "K" "kelvin" Temperature (1, 1) + (0, 1) ["kelvin"];
    // temperature difference, base kelvin
    CELSIUS_DIFFERENCE "Δ°C" "degree Celsius of difference" TemperatureDifference (1, 1) + (0, 1) ["ΔC", "delta C", "C deg"];
    FAHRENHEIT_DIFFERENCE "Δ°F" "degree Fahrenheit of difference" TemperatureDifference (5, 9) + (0, 1) ["ΔF", "delta F", "F deg"];
    KELVIN_DIFFERENCE "ΔK" "kelvin of difference" TemperatureDifference (1, 1) + (0, 1) ["delta K"];
    // time, base second
    SECOND "s" "second" Time (1, 1) + (0, 1) ["sec", "secs", "second", "seconds"];
    MINUTE "min" "minute" Time (60, 1) + (0, 1) ["mins", "minute", "minutes"];
    HOUR "h" "hour" Time (3600, 1) + (0, 1) ["hr", "hrs", "hour", "hours"];
    DAY "d" "day" Time (86_400, 1) + (0, 1) ["day", "days"];
    WEEK "wk" "week" Time (604_800, 1) + (0, 1) ["week", "weeks"];
    // road distance, base metre
    KILOMETRE "km" "kilometre" Distance (1000, 1) + (0, 1) ["kms", "kilometre", "kilometres", "kilometer", "kilometers"];
    MILE "mi" "mile" Distance (1_609_344, 1000) + (0, 1) ["mile", "miles"];
    // turning speed, base 1/min
    PER_MINUTE "1/min" "turn per minute" Speed (1, 1) + (0, 1) ["rpm", "r/min", "rev/min", "min-1", "min⁻¹", "/min"];
    PER_SECOND "1/s" "turn per second" Speed (60, 1) + (0, 1) ["rps", "rev/s"];
    // flow, base litre per minute
    LITRE_PER_MINUTE "L/min" "litre per minute" FlowRate (1, 1) + (0, 1) ["l/min", "lpm"];
    LITRE_PER_HOUR "L/h" "litre per hour" FlowRate (1, 60) + (0, 1) ["l/h"];
    CUBIC_FOOT_PER_MINUTE "ft³/min" "cubic foot per minute" FlowRate (28_316_846_592, 1_000_000_000) + (0, 1) ["cfm", "ft3/min"];
    CUBIC_CENTIMETRE_PER_MINUTE "cm³/min" "cubic centimetre per minute" FlowRate (1, 1000) + (0, 1) ["cc/min", "cm3/min", "ml/min", "mL/min"];
    // ratio, base 1
    ONE "1" "plain ratio" Ratio (1, 1) + (0, 1) ["-", ":1"];
    PERCENT "%" "per cent" Ratio (1, 100) + (0, 1) ["percent", "per cent", "pct"];
    PER_MILLE "‰" "per mille" Ratio (1, 1000) + (0, 1) ["per mille"];
    // the rest
    BRINELL "HB" "Brinell hardness" Hardness (1, 1) + (0, 1) ["HBW", "BHN", "brinell"];
    PIECE "pieces" "piece" Count (1, 1) + (0, 1) ["piece", "pcs", "pc", "off", "count", "teeth", "threads"];
    AMPERE "A" "ampere" Current (1, 1) + (0, 1) ["amp", "amps", "ampere", "amperes"];
    MILLIAMPERE "mA" "milliampere" Current (1, 1000) + (0, 1) ["milliamp", "milliamps"];
    VOLT "V" "volt" Voltage (1, 1) + (0, 1) ["volt", "volts"];
    MILLIVOLT "mV" "millivolt" Voltage (1, 1000) + (0, 1) ["millivolt", "millivolts"];
    NEWTON_PER_MILLIMETRE "N/mm" "newton per millimetre" Stiffness (1000, 1) + (0, 1) [];
    NEWTON_PER_METRE "N/m" "newton per metre" Stiffness (1, 1) + (0, 1) [];
    KILONEWTON_PER_MILLIMETRE "kN/mm" "kilonewton per millimetre" Stiffness (1_000_000, 1) + (0, 1) [];
    POUND_PER_INCH "lbf/in" "pound-force per inch" Stiffness (44_482_216_152_605, 254_000_000_000) + (0, 1) ["lb/in", "lbs/in"];
    PER_KELVIN "1/K" "per kelvin" Expansion (1, 1) + (0, 1) ["/K", "1/°C", "/°C"];
    MILLIONTH_PER_KELVIN "µm/(m·K)" "millionth per kelvin" Expansion (1, 1_000_000) + (0, 1) ["ppm/K", "1e-6/K", "um/m/K", "µm/m/K"];
    PER_FAHRENHEIT "1/°F" "per degree Fahrenheit" Expansion (9, 5) + (0, 1) ["/°F"];
}

/// What is wrong with a conversion.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum UnitError {
    /// The two units measure different kinds of thing.
    #[error("{from} measures {}, {to} measures {}; give the value in a unit of {}", from.dimension(), to.dimension(), to.dimension())]
    Kind {
        /// Unit the value has.
        from: Unit,
        /// Unit that was asked for.
        to: Unit,
    },
    /// No unit is written so.
    #[error("no unit is written {symbol:?}; see the list of `calc unit`")]
    Unknown {
        /// What was given.
        symbol: String,
    },
    /// The value is not a finite number.
    #[error("{value} {unit} is not a finite number; give a plain number")]
    NotFinite {
        /// The value.
        value: f64,
        /// Its unit.
        unit: Unit,
    },
}

impl Unit {
    /// The one way this unit is printed.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        self.0.symbol
    }

    /// The name in words, singular.
    #[must_use]
    pub const fn name(self) -> &'static str {
        self.0.name
    }

    /// The kind of thing it measures.
    #[must_use]
    pub const fn dimension(self) -> Dimension {
        self.0.dimension
    }

    /// The unit written so, by its symbol or one of its other spellings.
    ///
    /// # Errors
    /// [`UnitError::Unknown`] when no unit is written so.
    pub fn from_symbol(symbol: &str) -> Result<Self, UnitError> {
        spelled(symbol).ok_or_else(|| UnitError::Unknown { symbol: symbol.to_owned() })
    }

    /// The units of one kind, the metric ones first.
    pub fn of(dimension: Dimension) -> impl Iterator<Item = Unit> {
        Self::ALL.iter().copied().filter(move |unit| unit.dimension() == dimension)
    }

    /// Gives the ways the units of a kind are written, each as [`Unit::from_symbol`] compares it: small marks made plain, and
    /// one point for spaces, hyphens and signs of multiplication.
    pub fn spellings_of(dimension: Dimension) -> impl Iterator<Item = (&'static str, Unit)> {
        let all = spellings().iter().map(|(spelling, unit)| (spelling.as_str(), *unit));
        all.filter(move |(_, unit)| unit.dimension() == dimension)
    }

    /// The exact factor to the base unit of the kind.
    #[must_use]
    pub fn factor(self) -> BigRational {
        fraction(self.0.factor)
    }

    /// The same value in another unit of the kind, rounded once from the exact fraction.
    ///
    /// # Errors
    /// [`UnitError::Kind`] when the kinds differ, [`UnitError::NotFinite`] for NaN or infinity.
    pub fn convert(self, value: f64, to: Unit) -> Result<f64, UnitError> {
        self.convert_with(value, to, true)
    }

    /// The same difference in another unit of the kind: zero points play no part.
    ///
    /// # Units
    /// Differs from [`Unit::convert`] only for temperatures; the right road for an uncertainty.
    /// # Errors
    /// [`UnitError::Kind`] when the kinds differ, [`UnitError::NotFinite`] for NaN or infinity.
    pub fn convert_difference(self, value: f64, to: Unit) -> Result<f64, UnitError> {
        self.convert_with(value, to, false)
    }

    /// The unit of differences that goes with this unit (itself, except for temperatures).
    #[must_use]
    pub fn difference_unit(self) -> Unit {
        if self == Self::CELSIUS {
            Self::CELSIUS_DIFFERENCE
        } else if self == Self::FAHRENHEIT {
            Self::FAHRENHEIT_DIFFERENCE
        } else if self == Self::KELVIN {
            Self::KELVIN_DIFFERENCE
        } else {
            self
        }
    }

    fn convert_with(self, value: f64, to: Unit, zero_points: bool) -> Result<f64, UnitError> {
        if self.dimension() != to.dimension() {
            return Err(UnitError::Kind { from: self, to });
        }
        let not_finite = UnitError::NotFinite { value, unit: self };
        if self == to && value.is_finite() {
            return Ok(value);
        }
        let exact = exact_decimal(value).ok_or_else(|| not_finite.clone())?;
        let (here, there) = if zero_points {
            (fraction(self.0.offset), fraction(to.0.offset))
        } else {
            (BigRational::zero(), BigRational::zero())
        };
        let converted = (exact + here) * fraction(self.0.factor) / fraction(to.0.factor) - there;
        converted.to_f64().filter(|number| number.is_finite()).ok_or(not_finite)
    }
}

impl PartialEq for Unit {
    fn eq(&self, other: &Self) -> bool {
        self.0.symbol == other.0.symbol
    }
}

impl Eq for Unit {}

impl PartialOrd for Unit {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Unit {
    fn cmp(&self, other: &Self) -> Ordering {
        self.0.symbol.cmp(other.0.symbol)
    }
}

impl Hash for Unit {
    fn hash<H: Hasher>(&self, state: &mut H) {
        self.0.symbol.hash(state);
    }
}

impl fmt::Debug for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Unit({})", self.0.symbol)
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.0.symbol)
    }
}

impl Serialize for Unit {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.0.symbol)
    }
}

impl<'de> Deserialize<'de> for Unit {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let symbol = String::deserialize(deserializer)?;
        Self::from_symbol(&symbol).map_err(serde::de::Error::custom)
    }
}

/// The number as the exact decimal fraction a reader sees (its shortest printed form), or nothing for NaN and infinity.
pub(crate) fn exact_decimal(value: f64) -> Option<BigRational> {
    if !value.is_finite() {
        return None;
    }
    let printed = format!("{value:e}");
    let (mantissa, exponent) = printed.split_once('e')?;
    let exponent: i64 = exponent.parse().ok()?;
    let decimals = mantissa.split_once('.').map_or(0, |(_, after)| after.len());
    let digits: BigInt = mantissa.replace('.', "").parse().ok()?;
    let shift = exponent.checked_sub(i64::try_from(decimals).ok()?)?;
    Some(BigRational::from_integer(digits) * power_of_ten(shift))
}

/// Ten to a whole power, exactly.
pub(crate) fn power_of_ten(exponent: i64) -> BigRational {
    let steps = u32::try_from(exponent.unsigned_abs()).unwrap_or(u32::MAX).min(2000);
    let power = BigRational::from_integer(BigInt::from(10).pow(steps));
    if exponent < 0 { BigRational::one() / power } else { power }
}

fn fraction((num, den): (i128, i128)) -> BigRational {
    BigRational::new(BigInt::from(num), BigInt::from(den))
}

/// The form under which spellings are compared: separators become one dot, superscripts plain digits, µ becomes u.
pub(crate) fn spelling_key(text: &str) -> String {
    let mut key = String::with_capacity(text.len());
    for c in text.trim().chars() {
        let c = match c {
            'µ' | 'μ' => 'u',
            '²' => '2',
            '³' => '3',
            '⋅' | '·' | '∙' | '•' | '*' | '×' | '-' | '‐' | '‑' | '.' => '.',
            'º' | '˚' => '°',
            '″' | '”' | '“' | '„' => '"',
            '′' | '’' | '‘' | '´' => '\'',
            '^' => continue,
            c if c.is_whitespace() => '.',
            c => c,
        };
        if c == '.' && (key.is_empty() || key.ends_with('.')) {
            continue;
        }
        key.push(c);
    }
    while key.ends_with('.') {
        key.pop();
    }
    key.replace(".(", "(")
}

fn spellings() -> &'static BTreeMap<String, Unit> {
    static SPELLINGS: OnceLock<BTreeMap<String, Unit>> = OnceLock::new();
    SPELLINGS.get_or_init(|| {
        let mut known = BTreeMap::new();
        for unit in Unit::ALL {
            for spelling in unit.0.spellings.iter().chain(std::iter::once(&unit.0.symbol)) {
                known.entry(spelling_key(spelling)).or_insert(*unit);
            }
        }
        known
    })
}

fn spelled(text: &str) -> Option<Unit> {
    if text.trim() == "-" {
        return Some(Unit::ONE);
    }
    spellings().get(&spelling_key(text)).copied()
}

/// The unit written so, letting capitals pass where exactly one unit is meant.
pub(crate) fn spelled_loosely(text: &str) -> Option<Unit> {
    if let Some(unit) = spelled(text) {
        return Some(unit);
    }
    let key = spelling_key(text).to_lowercase();
    if key.chars().count() < 2 {
        return None;
    }
    let mut meant: Vec<Unit> = Vec::new();
    for (spelling, unit) in spellings() {
        // Nobody types nanometres in capitals; `NM` is a torque.
        if spelling.to_lowercase() == key && *unit != Unit::NANOMETRE && !meant.contains(unit) {
            meant.push(*unit);
        }
    }
    match meant.as_slice() {
        [only] => Some(*only),
        _ => None,
    }
}
