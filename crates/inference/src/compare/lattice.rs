//! Points that fill a space of many sides evenly: a lattice whose every beginning of 2^m points is a lattice too.
//!
//! Point k has the coordinates {z k'/2^32 + shift}, where k' is k with its bits in reverse. The shifts come from the seed.
//! The vector z is that of Cools, Kuo, Nuyens 2006, Constructing embedded lattice rules for multivariate integration,
//! SIAM J. Sci. Comput. 28, order-2 weights, up to 2^20 points, 250 dimensions \[published; two transcriptions agree\].
//! Coordinates past the last one are plain chance from the seed: the first ones carry ages and times of failing, the last
//! ones prices and days, to which little of the evenness matters.

use crate::shared::mixed;

/// Draws that are worked together.
pub(super) const TOGETHER: usize = 64;

const VECTOR: [u32; 250] = [
    1, 182_667, 469_891, 498_753, 110_745, 446_247, 250_185, 118_627, 245_333, 283_199, 408_519, 391_023, 246_327,
    126_539, 399_185, 461_527, 300_343, 69_681, 516_695, 436_179, 106_383, 238_523, 413_283, 70_841, 47_719, 300_129,
    113_029, 123_925, 410_745, 211_325, 17_489, 511_893, 40_767, 186_077, 519_471, 255_369, 101_819, 243_573, 66_189,
    152_143, 503_455, 113_217, 132_603, 463_967, 297_717, 157_383, 224_015, 502_917, 36_237, 94_049, 170_665, 79_397,
    123_963, 223_451, 323_871, 303_633, 98_567, 318_855, 494_245, 477_137, 177_975, 64_483, 26_695, 88_779, 94_497,
    239_429, 381_007, 110_205, 339_157, 73_397, 407_559, 181_791, 442_675, 301_397, 32_569, 147_737, 189_949, 138_655,
    350_241, 63_371, 511_925, 515_861, 434_045, 383_435, 249_187, 492_723, 479_195, 84_589, 99_703, 239_831, 269_423,
    182_241, 61_063, 130_789, 143_095, 471_209, 139_019, 172_565, 487_045, 304_803, 45_669, 380_427, 19_547, 425_593,
    337_729, 237_863, 428_453, 291_699, 238_587, 110_653, 196_113, 465_711, 141_583, 224_183, 266_671, 169_063,
    317_617, 68_143, 291_637, 263_355, 427_191, 200_211, 365_773, 254_701, 368_663, 248_047, 209_221, 279_201, 323_179,
    80_217, 122_791, 316_633, 118_515, 14_253, 129_509, 410_941, 402_601, 511_437, 10_469, 366_469, 463_959, 442_841,
    54_641, 44_167, 19_703, 209_585, 69_037, 33_317, 433_373, 55_879, 245_295, 10_905, 468_881, 128_617, 417_919,
    45_067, 442_243, 359_529, 51_109, 290_275, 168_691, 212_061, 217_775, 405_485, 313_395, 256_763, 152_537, 326_437,
    332_981, 406_755, 423_147, 412_621, 362_019, 279_679, 169_189, 107_405, 251_851, 5_413, 316_095, 247_945, 422_489,
    2_555, 282_267, 121_027, 369_319, 204_587, 445_191, 337_315, 322_505, 388_411, 102_961, 506_099, 399_801, 254_381,
    452_545, 309_001, 147_013, 507_865, 32_283, 320_511, 264_647, 417_965, 227_069, 341_461, 466_581, 386_241, 494_585,
    201_479, 151_243, 481_337, 68_195, 75_401, 58_359, 448_107, 459_499, 9_873, 365_117, 350_845, 181_873, 7_917,
    436_695, 43_899, 348_367, 423_927, 437_399, 385_089, 21_693, 268_793, 49_257, 250_211, 125_071, 341_631, 310_163,
    94_631, 108_795, 21_175, 142_847, 383_599, 71_105, 65_989, 446_433, 177_457, 107_311, 295_679, 442_763, 40_729,
    322_721, 420_175, 430_359, 480_757,
];

/// A source of points.
#[derive(Debug, Clone, Copy)]
pub(super) struct Lattice {
    seed: u64,
}

fn top(number: u64) -> u32 {
    u32::try_from(number >> 32).unwrap_or(u32::MAX)
}

impl Lattice {
    pub(super) fn of(seed: u64) -> Self {
        Self { seed }
    }

    /// One coordinate of the points from `first` on, strictly between nought and one.
    #[inline(always)]
    pub(super) fn fill(&self, first: u32, dimension: usize, out: &mut [f32; TOGETHER]) {
        let shift = mixed(self.seed ^ mixed(u64::try_from(dimension).unwrap_or(u64::MAX)));
        match VECTOR.get(dimension) {
            Some(z) => {
                let shift = top(shift);
                for (place, k) in out.iter_mut().zip(first..) {
                    *place = unit(k.reverse_bits().wrapping_mul(*z).wrapping_add(shift));
                }
            }
            None => {
                for (place, k) in out.iter_mut().zip(first..) {
                    *place = unit(top(mixed(shift ^ u64::from(k))));
                }
            }
        }
    }
}

/// One coordinate of points that fill a space evenly, strictly between nought and one: the first `count` of them.
///
/// For draws of things that no [`Choice`](super::Choice) describes. Different coordinates are independent of one another,
/// the same coordinate of another seed is not: it is shifted.
///
/// # Example
/// ```
/// let u = inference::compare::even(1, 0, 1024);
/// let mean = u.iter().sum::<f64>() / 1024.0;
/// assert!((mean - 0.5).abs() < 0.001);
/// ```
#[must_use]
pub fn even(seed: u64, coordinate: usize, count: usize) -> Vec<f64> {
    let lattice = Lattice::of(seed);
    let mut out = Vec::with_capacity(count);
    let mut first = 0;
    while out.len() < count {
        let mut block = [0.0; TOGETHER];
        lattice.fill(first, coordinate, &mut block);
        out.extend(block.iter().take(count - out.len()).map(|u| f64::from(*u)));
        first += 64;
    }
    out
}

/// The middle of one of 2^23 cells between nought and one: the leading bits become the mantissa of a number from one to two.
#[inline(always)]
fn unit(bits: u32) -> f32 {
    f32::from_bits(0x3f80_0000 | (bits >> 9)) - 1.0 + 5.960_464_5e-8
}

#[cfg(test)]
mod tests {
    use super::*;

    // By definition: a beginning of 2^m points puts one point into each of 2^m even cells, on every side, whatever the shift,
    // for all z are odd.
    #[test]
    fn every_side_is_filled_evenly() {
        for dimension in [0, 1, 17, 106, 249] {
            let mut seen = vec![0_u32; 1024];
            for first in (0..1024).step_by(TOGETHER) {
                let mut out = [0.0; TOGETHER];
                Lattice::of(7).fill(first, dimension, &mut out);
                for u in out {
                    assert!(u > 0.0 && u < 1.0);
                    let scaled = f64::from(u) * 1024.0;
                    let cell = (0..1024).zip(1_u32..).find(|(_, end)| scaled < f64::from(*end)).map_or(0, |(k, _)| k);
                    seen[cell] += 1;
                }
            }
            // The shift lets one point cross an edge into the next cell and none more.
            assert!(seen.iter().all(|n| *n <= 2), "{dimension}");
            assert!(seen.iter().filter(|n| **n != 1).count() <= 2, "{dimension}");
        }
    }
}
