//! What follows when nothing failed.

use super::{LifeError, share};

/// The failing share that is not exceeded, at a confidence, after `passed` trials of which none failed.
///
/// # Errors
/// [`LifeError::Share`] when the confidence is not between nought and one.
///
/// # Source
/// Success-run theorem: passing all n times has the chance (1 - share)^n \[common practice\].
pub fn failing_share_at_most(passed: u32, confidence: f64) -> Result<f64, LifeError> {
    share("confidence", confidence)?;
    Ok(-((-confidence).ln_1p() / f64::from(passed)).exp_m1())
}

/// How many trials without failure show a share of good ones at a confidence.
///
/// # Errors
/// [`LifeError::Share`] when one of them is not between nought and one.
pub fn trials_needed(good_share: f64, confidence: f64) -> Result<f64, LifeError> {
    share("share of good ones", good_share)?;
    share("confidence", confidence)?;
    let exact = (-confidence).ln_1p() / good_share.ln();
    // A whole number that rounding lifted by its last digits stays that number.
    Ok((exact - 1e-9 * exact).ceil())
}
