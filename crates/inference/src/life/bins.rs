//! Sums over very many lives, kept in bins, so that they cost one pass and histories add.
//!
//! Wanted are the sums of t^b, t^b ln t and t^b (ln t)^2 for any exponent b, over ages at exit (counted +1) and at entry
//! (counted -1). A bin holds the sums of d^0 to d^7 of its ages, d being the distance from the middle of the bin in
//! units of the octave's lower edge; with the binomial series these give t^b for every b at once. Bins are 1/32 of an octave's lower edge wide, so
//! that an age finds its bin from its leading bits without a logarithm and |d| stays below 1/64: what the series leaves
//! out is below C(b, 8) / 64^8, under rounding up to b = 7 and under 3e-8 at b = 30.
//!
//! The edges of bins do not depend on the records. Bins therefore add, today's to last year's and one keeper's to another's.

#![expect(
    clippy::indexing_slicing,
    reason = "tables have 32 cells and are met with five bits; a bin is looked up by its place"
)]

use std::f64::consts::LN_2;
use std::sync::LazyLock;

use serde::{Deserialize, Serialize};

use crate::shared::ARCH;

/// Sums kept a bin; eight fill one line of the processor's cache.
const SUMS: usize = 8;
/// Bins an octave, and the bits that tell them apart.
const STEPS: usize = 32;
const STEP_BITS: u32 = 5;
/// Where the number of the bin begins in the bits of an age.
const KEY_SHIFT: u32 = 52 - STEP_BITS;
/// The mantissa in the bits of a number, and the bits of one.
const MANTISSA: u64 = (1 << 52) - 1;
const ONE: u64 = 1023 << 52;
/// The bits of the mantissa that tell the bin, and half the distance to the next.
const LEADING: u64 = MANTISSA & !((1 << KEY_SHIFT) - 1);
const HALF_STEP: f64 = 1.0 / 64.0;
/// First and last number of a bin: ages that are normal numbers.
const LOWEST: u64 = 1 << STEP_BITS;
const HIGHEST: u64 = (0x7ff << STEP_BITS) - 1;
/// Rows that are taken at once; so many mantissas below two can be multiplied before their product is too large.
const BLOCK: usize = 512;
/// How many bins are laid out at first, and how many of them below the first age.
const ROOM: u64 = 256;
const BELOW: u64 = 192;

/// For the bins of the octave from one to two: powers of one over the middle, and its logarithm.
struct Middles {
    over: [[f64; SUMS]; STEPS],
    ln: [f64; STEPS],
}

static MIDDLES: LazyLock<Middles> = LazyLock::new(|| {
    let mut made = Middles { over: [[1.0; SUMS]; STEPS], ln: [0.0; STEPS] };
    let mut middle = 1.0 + HALF_STEP;
    for step in 0..STEPS {
        for power in 1..SUMS {
            made.over[step][power] = made.over[step][power - 1] / middle;
        }
        made.ln[step] = middle.ln();
        middle += 2.0 * HALF_STEP;
    }
    made
});

/// The sums of t^b, t^b x and t^b x^2 with x the logarithm of t over the age of reference, all divided by its b-th power.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Powers {
    pub(super) zeroth: f64,
    pub(super) first: f64,
    pub(super) second: f64,
}

/// What failed in one pass over columns.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Failed {
    pub(super) count: u64,
    pub(super) sum_ln: f64,
}

#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(try_from = "StoredBins")]
pub(super) struct Bins {
    /// Number of the first bin, the first of its octave.
    first: u64,
    cells: Vec<[f64; SUMS]>,
}

/// Number of the bin, and the distance of the mantissa from its middle there.
#[inline(always)]
fn split(age: f64) -> (u64, f64) {
    let mantissa = f64::from_bits((age.to_bits() & MANTISSA) | ONE);
    let edge = f64::from_bits((age.to_bits() & LEADING) | ONE);
    (key_of(age), (mantissa - edge) - HALF_STEP)
}

/// The power of two of the octave a bin lies in.
#[inline(always)]
fn octave(key: u64) -> f64 {
    // Eleven bits fit.
    f64::from(u32::try_from(key >> STEP_BITS).unwrap_or(0)) - 1023.0
}

/// Adds the powers of a distance from nought to the seventh, laid out so that they are made and added four at a time.
#[inline(always)]
fn put(cell: &mut [f64; SUMS], sign: f64, d: f64) {
    let square = d * d;
    let fourth = square * square;
    let (odd, even) = ([sign, sign * d, sign, sign * d], [1.0, 1.0, square, square]);
    let mut sums = *cell;
    for k in 0..4 {
        let low = odd[k] * even[k];
        sums[k] += low;
        sums[k + 4] += low * fourth;
    }
    *cell = sums;
}

/// Bins as they are read back, not yet known to be whole.
#[derive(Deserialize)]
struct StoredBins {
    first: u64,
    cells: Vec<[f64; SUMS]>,
}

impl TryFrom<StoredBins> for Bins {
    type Error = &'static str;

    fn try_from(StoredBins { first, cells }: StoredBins) -> Result<Self, Self::Error> {
        let room = u64::try_from(cells.len()).is_ok_and(|len| len <= HIGHEST && first <= HIGHEST + 1 - len);
        let begins = cells.is_empty() || (first >= LOWEST && first.is_multiple_of(32));
        if !(room && begins && cells.iter().flatten().all(|sum| sum.is_finite())) {
            return Err("the bins of a history do not begin at an octave or hold no sums; sum up the records again");
        }
        Ok(Self { first, cells })
    }
}

/// One call of [`Bins::take`], with the instructions of this processor; a closure would not be compiled for them.
struct Taking<'a> {
    bins: &'a mut Bins,
    at: &'a [f64],
    failed: &'a [bool],
    entered: &'a [f64],
}

impl pulp::NullaryFnOnce for Taking<'_> {
    type Output = Result<Failed, usize>;

    #[inline(always)]
    fn call(self) -> Self::Output {
        self.bins.take_rows(self.at, self.failed, self.entered)
    }
}

/// One call of [`Bins::powers`].
struct Adding<'a> {
    bins: &'a Bins,
    exponent: f64,
    shift: f64,
}

impl pulp::NullaryFnOnce for Adding<'_> {
    type Output = Powers;

    #[inline(always)]
    fn call(self) -> Powers {
        self.bins.add_up(self.exponent, self.shift)
    }
}

#[inline(always)]
fn key_of(age: f64) -> u64 {
    age.to_bits() >> KEY_SHIFT
}

#[inline(always)]
fn slot_of(key: u64, first: u64) -> usize {
    usize::try_from(key.wrapping_sub(first)).unwrap_or(usize::MAX)
}

/// The numbers of the lowest and of the highest bin that some rows need, or nothing when the ages of a row do not follow
/// one another.
#[inline(always)]
fn extent(at: &[f64], failed: &[bool], entered: &[f64]) -> Option<(u64, u64)> {
    // The bits of numbers from nought up stand in the sequence of the numbers; those of all others lie above them.
    let (mut low, mut high, mut good) = (u64::MAX, 0, true);
    for ((&age, &fail), &from) in at.iter().zip(failed).zip(entered) {
        // Adding nought makes nought of minus nought; nought less one lies above everything and does not count.
        let (age, from) = (age.to_bits(), (from + 0.0).to_bits());
        good &= from.saturating_add(u64::from(fail)) <= age;
        low = low.min(age).min(from.wrapping_sub(1));
        high = high.max(age);
    }
    good.then_some((low >> KEY_SHIFT, high >> KEY_SHIFT))
}

#[inline(always)]
fn follows(age: f64, failed: bool, from: f64) -> bool {
    (from >= 0.0) & (age > 0.0) & ((from < age) | (!failed & (from <= age)))
}

/// The first row of some whose ages do not follow one another or have no bin.
fn first_odd(at: &[f64], failed: &[bool], entered: &[f64]) -> usize {
    let odd = |((&age, &fail), &from): ((&f64, &bool), &f64)| {
        let has_bin = |age: f64| (LOWEST..=HIGHEST).contains(&key_of(age));
        !(follows(age, fail, from) && has_bin(age) && (from == 0.0 || has_bin(from)))
    };
    at.iter().zip(failed).zip(entered).position(odd).unwrap_or(0)
}

impl Bins {
    /// Adds one age, counted with its sign; one that is no normal number above nought is left out, and was refused before.
    pub(super) fn add(&mut self, age: f64, sign: f64) {
        let (key, d) = split(age);
        let slot = Some(slot_of(key, self.first)).filter(|slot| *slot < self.cells.len());
        if let Some(slot) = slot.or_else(|| self.reach(key)) {
            put(&mut self.cells[slot], sign, d);
        }
    }

    /// Makes room for a bin and says where it is; nothing when ages have no such bin.
    #[cold]
    #[inline(never)]
    fn reach(&mut self, key: u64) -> Option<usize> {
        if !(LOWEST..=HIGHEST).contains(&key) {
            return None;
        }
        let octave_start = |key: u64| (key >> STEP_BITS << STEP_BITS).max(LOWEST);
        if self.cells.is_empty() {
            self.first = octave_start(key.saturating_sub(BELOW));
            self.cells = vec![[0.0; SUMS]; usize::try_from(ROOM).ok()?];
        }
        if key < self.first {
            let first = octave_start(key);
            let more = usize::try_from(self.first - first).ok()?;
            self.cells.splice(0..0, std::iter::repeat_n([0.0; SUMS], more));
            self.first = first;
        }
        let slot = usize::try_from(key - self.first).ok()?;
        if slot >= self.cells.len() {
            self.cells.resize((slot / STEPS + 1) * STEPS, [0.0; SUMS]);
        }
        Some(slot)
    }

    /// Takes in columns of equal length: ages at exit, whether failed, ages at entry (nought: from new).
    ///
    /// Stops at the first row whose ages do not follow one another, and gives its number.
    pub(super) fn take(&mut self, at: &[f64], failed: &[bool], entered: &[f64]) -> Result<Failed, usize> {
        ARCH.dispatch(Taking { bins: self, at, failed, entered })
    }

    #[inline(always)]
    fn take_rows(&mut self, at: &[f64], failed: &[bool], entered: &[f64]) -> Result<Failed, usize> {
        let mut out = Failed::default();
        let blocks = at.chunks(BLOCK).zip(failed.chunks(BLOCK)).zip(entered.chunks(BLOCK));
        for (block, ((at, failed), entered)) in blocks.enumerate() {
            // The rows of a block are looked through first, so that the sums below need no questions.
            let range = extent(at, failed, entered);
            let room = range.filter(|(low, high)| self.reach(*low).is_some() && self.reach(*high).is_some());
            if room.is_none() {
                return Err(block * BLOCK + first_odd(at, failed, entered));
            }
            // No branches: which rows failed, and which were watched from new, cannot be foretold.
            let (mut product, mut octaves, mut count) = (1.0, 0, 0);
            let mut late = [0.0; BLOCK];
            let mut late_count = 0;
            for ((&age, &fail), &from) in at.iter().zip(failed).zip(entered) {
                // The mantissa and the octave of a failure, one and nought of a survivor.
                let all_or_none = u64::from(fail).wrapping_neg();
                product *= f64::from_bits((age.to_bits() & MANTISSA & all_or_none) | ONE);
                octaves += (key_of(age) >> STEP_BITS) & all_or_none;
                count += u32::from(fail);
                late[late_count] = from;
                late_count += usize::from(from > 0.0);
            }
            self.put_all(at, 1.0);
            self.put_all(&late[..late_count], -1.0);
            // At most 512 octaves below 2048 each.
            let octaves = f64::from(u32::try_from(octaves).unwrap_or(0)) - 1023.0 * f64::from(count);
            out.count += u64::from(count);
            out.sum_ln += product.ln() + octaves * LN_2;
        }
        Ok(out)
    }

    /// Adds ages that have their bins.
    #[inline(always)]
    fn put_all(&mut self, ages: &[f64], sign: f64) {
        // With the sign known beforehand the sums are stored in pieces, which is slow to read again soon after.
        let sign = std::hint::black_box(sign);
        let (first, cells) = (self.first, self.cells.as_mut_slice());
        for age in ages {
            let (key, d) = split(*age);
            put(&mut cells[slot_of(key, first)], sign, d);
        }
    }

    /// Adds the bins of another history.
    pub(super) fn merge(&mut self, other: &Self) {
        for (key, cell) in (other.first..).zip(&other.cells) {
            if cell.iter().all(|sum| *sum == 0.0) {
                continue;
            }
            let here = usize::try_from(key.wrapping_sub(self.first)).ok().filter(|slot| *slot < self.cells.len());
            if let Some(slot) = here.or_else(|| self.reach(key)) {
                for (sum, more) in self.cells[slot].iter_mut().zip(cell) {
                    *sum += more;
                }
            }
        }
    }

    /// The logarithm of an age that none of the bins goes beyond.
    pub(super) fn ln_top(&self) -> f64 {
        let filled = self.cells.iter().rposition(|cell| cell[0] != 0.0 || cell[1] != 0.0).unwrap_or(0);
        let key = self.first + u64::try_from(filled).unwrap_or(0);
        (octave(key) + 1.0) * LN_2
    }

    /// The sums for one exponent; `shift` is the logarithm of the age of reference.
    pub(super) fn powers(&self, exponent: f64, shift: f64) -> Powers {
        ARCH.dispatch(Adding { bins: self, exponent, shift })
    }

    #[inline(always)]
    fn add_up(&self, exponent: f64, shift: f64) -> Powers {
        let middles: &Middles = &MIDDLES;
        let mut steps = [0.0; STEPS];
        for (step, ln) in steps.iter_mut().zip(&middles.ln) {
            *step = (exponent * ln).exp();
        }
        let (mut zeroth, mut first, mut second) = ([0.0; SUMS], [0.0; SUMS], [0.0; SUMS]);
        for (key, cells) in (self.first..).step_by(STEPS).zip(self.cells.chunks(STEPS)) {
            let base = octave(key) * LN_2 - shift;
            let scale = (exponent * base).exp();
            for (((cell, step), ln), over) in cells.iter().zip(&steps).zip(&middles.ln).zip(&middles.over) {
                let (x, weight) = (base + ln, scale * step);
                let mut sums = *over;
                for k in 0..SUMS {
                    sums[k] *= weight * cell[k];
                }
                for k in 0..SUMS {
                    zeroth[k] += sums[k];
                }
                for k in 0..SUMS {
                    sums[k] *= x;
                    first[k] += sums[k];
                }
                for k in 0..SUMS {
                    sums[k] *= x;
                    second[k] += sums[k];
                }
            }
        }
        join(&[zeroth, first, second], exponent)
    }
}

/// Puts the series together: coefficients C(b, k) and their first and second derivative by b.
fn join(sums: &[[f64; SUMS]; 3], exponent: f64) -> Powers {
    let (mut c, mut slope, mut bend) = (1.0, 0.0, 0.0);
    let mut out = Powers::default();
    let mut next = 1.0;
    let [zeroth, first, second] = sums;
    for ((zeroth, first), second) in zeroth.iter().zip(first).zip(second) {
        out.zeroth += c * zeroth;
        out.first += c * first + slope * zeroth;
        out.second += c * second + 2.0 * slope * first + bend * zeroth;
        let factor = exponent - (next - 1.0);
        bend = (bend * factor + 2.0 * slope) / next;
        slope = (slope * factor + c) / next;
        c = c * factor / next;
        next += 1.0;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sums taken one by one.
    fn plain(ages: &[(f64, f64)], exponent: f64, shift: f64) -> Powers {
        let mut out = Powers::default();
        for (age, sign) in ages {
            let x = age.ln() - shift;
            let power = sign * (exponent * x).exp();
            out.zeroth += power;
            out.first += power * x;
            out.second += power * x * x;
        }
        out
    }

    // Tolerance: the bound in the module text, 3e-8 at an exponent of 30, and rounding below 8, where C(8, 8) / 64^8 is 4e-15.
    #[test]
    fn sums_in_bins_are_those_taken_one_by_one() {
        let ages: Vec<(f64, f64)> = (0..4000_u32)
            .map(|k| (5e3 * (1.0 + f64::from(k * 7919 % 4001) / 17.3).powf(0.8), if k % 3 == 0 { -0.4 } else { 1.0 }))
            .collect();
        let mut bins = Bins::default();
        for (age, sign) in &ages {
            bins.add(*age, *sign);
        }
        let shift = bins.ln_top();
        assert!(ages.iter().all(|(age, _)| age.ln() <= shift));
        for (exponent, within) in [(0.05, 1e-12), (0.9, 1e-12), (2.3, 1e-12), (5.0, 1e-12), (8.0, 1e-12), (30.0, 3e-8)]
        {
            let (got, exact) = (bins.powers(exponent, shift), plain(&ages, exponent, shift));
            for (got, exact) in [(got.zeroth, exact.zeroth), (got.first, exact.first), (got.second, exact.second)] {
                assert!((got / exact - 1.0).abs() < within, "{exponent}: {got} {exact}");
            }
        }
    }

    #[test]
    fn edges_of_bins_and_of_numbers_are_met() {
        let mut bins = Bins::default();
        for age in [1.0, 2.0, 1.0 + 1.0 / 32.0, 0.999_999_999_999_999_9, f64::MIN_POSITIVE, f64::MAX] {
            bins.add(age, 1.0);
        }
        for odd in [0.0, -1.0, f64::NAN, f64::INFINITY, f64::MIN_POSITIVE / 2.0] {
            bins.add(odd, 1.0);
            assert_eq!(bins.take(&[1.0, odd], &[true, true], &[0.0, 0.0]).map(|f| f.count), Err(1), "{odd}");
        }
        let count: f64 = bins.cells.iter().map(|cell| cell[0]).sum();
        assert!((count - 6.0).abs() < 1e-12, "{count}");
        // Minus nought is nought.
        assert!(Bins::default().take(&[1.0], &[true], &[-0.0]).is_ok());
    }
}
