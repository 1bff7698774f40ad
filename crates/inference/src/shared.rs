//! What several modules need: the widest instructions of this processor, and repeatable chance.

use std::sync::LazyLock;

/// The widest instructions of this processor, chosen when the first work is handed over. Numbers are added up in the same
/// order with all of them, so the bits are the same.
pub(crate) static ARCH: LazyLock<pulp::Arch> = LazyLock::new(pulp::Arch::new);

/// By how much the counter of splitmix64 moves on.
pub(crate) const STEP: u64 = 0x9E37_79B9_7F4A_7C15;

/// The number of splitmix64 after a counter \[published: Steele, Lea, Flood 2014\].
#[inline(always)]
pub(crate) fn mixed(counter: u64) -> u64 {
    let mut z = counter.wrapping_add(STEP);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

/// A number from 0 to below 1 out of the upper 53 bits, as many as a double holds.
#[inline(always)]
pub(crate) fn unit(bits: u64) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "53 bits fit a double exactly")]
    let whole = (bits >> 11) as f64;
    whole / 9_007_199_254_740_992.0
}
