//! Amounts in doubt.

use super::{CompareError, number};
use crate::normal;

/// An amount: of money, or of days.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Law {
    /// Known.
    Known(f64),
    /// Lowest, likely, highest, with straight sides.
    Triangular {
        /// Lowest.
        low: f64,
        /// Likely.
        likely: f64,
        /// Highest.
        high: f64,
    },
    /// Lowest, likely, highest, with rounded sides: the beta law of network planning, whose mean is a sixth of the lowest,
    /// four of the likely and one of the highest [published: Malcolm et al. 1959, Operations Research 7].
    Rounded {
        /// Lowest.
        low: f64,
        /// Likely.
        likely: f64,
        /// Highest.
        high: f64,
    },
    /// In doubt by a factor.
    ByFactor {
        /// What half of all lie below.
        middle: f64,
        /// Standard deviation of the logarithm.
        spread_ln: f64,
    },
}

impl Law {
    /// Nothing.
    pub const NOUGHT: Self = Self::Known(0.0);

    pub(super) fn ensure(&self, what: impl Fn() -> String) -> Result<(), CompareError> {
        match *self {
            Self::Known(amount) => number(what, amount, true, "a finite number"),
            Self::Triangular { low, likely, high } | Self::Rounded { low, likely, high } => {
                for end in [low, likely, high] {
                    number(&what, end, true, "a finite number")?;
                }
                let follow = low <= likely && likely <= high;
                if follow { Ok(()) } else { Err(CompareError::Sequence { what: what(), low, likely, high }) }
            }
            Self::ByFactor { middle, spread_ln } => {
                number(&what, middle, middle > 0.0, "above nought")?;
                number(|| format!("the spread of {}", what()), spread_ln, spread_ln >= 0.0, "nought or more")
            }
        }
    }

    /// The mean, exactly.
    #[must_use]
    pub fn mean(&self) -> f64 {
        match *self {
            Self::Known(amount) => amount,
            Self::Triangular { low, likely, high } => (low + likely + high) / 3.0,
            Self::Rounded { low, likely, high } => (low + 4.0 * likely + high) / 6.0,
            Self::ByFactor { middle, spread_ln } => middle * (0.5 * spread_ln * spread_ln).exp(),
        }
    }

    /// The same law with every amount multiplied.
    #[must_use]
    pub fn times(self, factor: f64) -> Self {
        match self {
            Self::Known(amount) => Self::Known(amount * factor),
            Self::Triangular { low, likely, high } => {
                Self::Triangular { low: low * factor, likely: likely * factor, high: high * factor }
            }
            Self::Rounded { low, likely, high } => {
                Self::Rounded { low: low * factor, likely: likely * factor, high: high * factor }
            }
            Self::ByFactor { middle, spread_ln } => Self::ByFactor { middle: middle * factor, spread_ln },
        }
    }

    /// The amount that the share `p` of all lie below.
    #[must_use]
    pub fn place(&self, p: f64) -> f64 {
        match *self {
            Self::Known(amount) => amount,
            Self::Triangular { low, likely, high } => triangular(low, likely, high, p),
            Self::Rounded { low, likely, high } => {
                let table = rounded(low, likely, high);
                between(&table, p)
            }
            Self::ByFactor { middle, spread_ln } => middle * (spread_ln * normal::place(p)).exp(),
        }
    }

    /// How likely it lies below an amount.
    #[must_use]
    pub fn below(&self, amount: f64) -> f64 {
        match *self {
            Self::Known(known) => f64::from(u8::from(known < amount)),
            Self::Triangular { low, high, .. } | Self::Rounded { low, high, .. } if amount <= low || amount >= high => {
                f64::from(u8::from(amount > low))
            }
            Self::Triangular { low, likely, high } if amount < likely => {
                (amount - low) * (amount - low) / ((high - low) * (likely - low))
            }
            Self::Triangular { low, likely, high } => {
                1.0 - (high - amount) * (high - amount) / ((high - low) * (high - likely))
            }
            Self::Rounded { low, likely, high } => {
                let table = rounded(low, likely, high);
                let steps = table.windows(2).zip(0_u32..);
                let reached = steps.filter_map(|(step, k)| match step {
                    [from, to] if *from <= amount && amount < *to => Some(f64::from(k) + (amount - from) / (to - from)),
                    _ => None,
                });
                let last = f64::from(u32::try_from(STEPS).unwrap_or(1));
                reached.last().unwrap_or(last) / last
            }
            Self::ByFactor { middle, spread_ln } if amount > 0.0 && spread_ln > 0.0 => {
                normal::below((amount / middle).ln() / spread_ln)
            }
            Self::ByFactor { middle, .. } => f64::from(u8::from(amount > middle)),
        }
    }

    /// The least that it can be.
    pub(super) fn least(&self) -> f64 {
        match *self {
            Self::Known(amount) => amount,
            Self::Triangular { low, .. } | Self::Rounded { low, .. } => low,
            Self::ByFactor { .. } => 0.0,
        }
    }

    /// Whether there is any doubt.
    pub(super) fn in_doubt(&self) -> bool {
        match *self {
            Self::Known(_) => false,
            Self::Triangular { low, high, .. } | Self::Rounded { low, high, .. } => high > low,
            Self::ByFactor { spread_ln, .. } => spread_ln > 0.0,
        }
    }
}

fn triangular(low: f64, likely: f64, high: f64, p: f64) -> f64 {
    let width = high - low;
    if width <= 0.0 {
        low
    } else if p * width < likely - low {
        low + (p * width * (likely - low)).sqrt()
    } else {
        high - ((1.0 - p) * width * (high - likely)).sqrt()
    }
}

/// Steps of a table of places \[ours: the mean read from it is good to 1e-5 of the width\].
pub(super) const STEPS: usize = 1024;
/// Cells in which the chance is added up.
const CELLS: u32 = 2048;

/// Amounts at even steps of chance, `STEPS + 1` of them.
pub(super) fn rounded(low: f64, likely: f64, high: f64) -> Vec<f64> {
    let width = high - low;
    if width <= 0.0 {
        return vec![low; STEPS + 1];
    }
    let (rise, fall) = (4.0 * (likely - low) / width, 4.0 * (high - likely) / width);
    let density = |x: f64| x.powf(rise) * (1.0 - x).powf(fall);
    // Simpson's rule cell by cell; the powers are nought or above, so that nothing is infinite at the ends.
    let cell = 1.0 / f64::from(CELLS);
    let mut sums = vec![0.0];
    let (mut sum, mut left) = (0.0, density(0.0));
    for k in 0..CELLS {
        let from = f64::from(k) * cell;
        let right = density((from + cell).min(1.0));
        sum += (left + 4.0 * density(from + 0.5 * cell) + right) * cell / 6.0;
        sums.push(sum);
        left = right;
    }
    let mut out = Vec::with_capacity(STEPS + 1);
    let mut edges = sums.windows(2).zip(0_u32..).peekable();
    let steps = f64::from(u32::try_from(STEPS).unwrap_or(1));
    for k in (0_u32..).take(STEPS + 1) {
        let target = sum * f64::from(k) / steps;
        while edges.next_if(|(edge, _)| edge.last().is_some_and(|end| *end < target)).is_some() {}
        let place = match edges.peek() {
            Some(([from, to], cells)) if to > from => (f64::from(*cells) + (target - from) / (to - from)) * cell,
            Some((_, cells)) => f64::from(*cells) * cell,
            None => 1.0,
        };
        out.push(low + width * place.clamp(0.0, 1.0));
    }
    out
}

/// The amount at a chance, between the entries of a table.
fn between(table: &[f64], p: f64) -> f64 {
    let last = u32::try_from(table.len().saturating_sub(1)).unwrap_or(0);
    let x = p.clamp(0.0, 1.0) * f64::from(last);
    let at = |k: u32| usize::try_from(k).ok().and_then(|k| table.get(k)).copied();
    let below = (0..last).rev().find(|k| f64::from(*k) <= x).unwrap_or(0);
    match (at(below), at(below + 1)) {
        (Some(from), Some(to)) => from + (to - from) * (x - f64::from(below)),
        (from, _) => from.unwrap_or(0.0),
    }
}
