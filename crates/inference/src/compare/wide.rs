//! Elementary functions of which a processor works several at once: no branch, no call, no table.
//!
//! They add and multiply and never fuse both, so that every machine gives the same bits.

/// exp(x) to within 2e-15 of itself; x is held between -708 and 709.
#[inline(always)]
pub(super) fn exp(x: f64) -> f64 {
    // Adding this much leaves the nearest whole number in the lowest bits.
    const WHOLE: f64 = 6_755_399_441_055_744.0;
    let x = x.clamp(-708.0, 709.0);
    let shifted = x * std::f64::consts::LOG2_E + WHOLE;
    let twos = shifted - WHOLE;
    // ln 2 in two parts, the first of them with so few bits that the product is exact.
    let r = (x - twos * 6.931_471_803_691_238e-1) - twos * 1.908_214_929_270_587_7e-10;
    let mut sum = 1.0 / 479_001_600.0;
    for factorial in [39_916_800.0, 3_628_800.0, 362_880.0, 40_320.0, 5_040.0, 720.0, 120.0, 24.0, 6.0, 2.0, 1.0, 1.0] {
        sum = sum * r + 1.0 / factorial;
    }
    sum * f64::from_bits(shifted.to_bits().wrapping_add(1023) << 52)
}

/// A number in single precision, where that is meant.
#[expect(clippy::cast_possible_truncation, reason = "draws are made in single precision on purpose")]
pub(super) fn single(x: f64) -> f32 {
    x as f32
}

/// exp(x) in single precision; x is held between -87 and 88.
#[inline(always)]
pub(super) fn exp_single(x: f32) -> f32 {
    const WHOLE: f32 = 12_582_912.0;
    let x = x.clamp(-87.0, 88.0);
    let shifted = x * std::f32::consts::LOG2_E + WHOLE;
    let twos = shifted - WHOLE;
    let r = (x - twos * 0.693_359_4) + twos * 2.121_944_4e-4;
    let mut sum = 1.0 / 5040.0;
    for factorial in [720.0, 120.0, 24.0, 6.0, 2.0, 1.0, 1.0] {
        sum = sum * r + 1.0 / factorial;
    }
    sum * f32::from_bits(shifted.to_bits().wrapping_add(127) << 23)
}

/// ln(x) in single precision, for normal numbers above nought.
#[inline(always)]
pub(super) fn ln_single(x: f32) -> f32 {
    // The exponent is taken such that what is left lies between the root of a half and that of two.
    const ROOT_OF_HALF: u32 = 0x3f35_04f3;
    let exponent = x.to_bits().wrapping_sub(ROOT_OF_HALF).cast_signed() >> 23;
    let rest = f32::from_bits(x.to_bits().wrapping_sub((exponent << 23).cast_unsigned()));
    let twos = exponent as f32;
    // ln m = 2 artanh((m - 1) / (m + 1)), whose series has odd powers only.
    let s = (rest - 1.0) / (rest + 1.0);
    let q = s * s;
    let mut sum = 1.0 / 11.0;
    for odd in [9.0, 7.0, 5.0, 3.0, 1.0] {
        sum = sum * q + 1.0 / odd;
    }
    2.0 * s * sum + twos * std::f32::consts::LN_2
}

/// The place of the normal law with the chance `u` below it, in single precision, u strictly between nought and one.
///
/// # Source
/// Polynomials of Giles 2010, Approximating the erfinv function, table 5 \[published; typed from memory, held to the
/// quantiles of this crate by a test\].
#[inline(always)]
pub(super) fn place_single(u: f32) -> f32 {
    const NEAR: [f32; 9] = [
        2.810_226_4e-8,
        3.432_739_4e-7,
        -3.523_387_7e-6,
        -4.391_506_5e-6,
        0.000_218_580_87,
        -0.001_253_725,
        -0.004_177_681_6,
        0.246_640_73,
        1.501_409_4,
    ];
    const FAR: [f32; 9] = [
        -0.000_200_214_26,
        0.000_100_950_56,
        0.001_349_343_2,
        -0.003_673_428_4,
        0.005_739_507_7,
        -0.007_622_461_3,
        0.009_438_870_5,
        1.001_674,
        2.832_976_8,
    ];
    let x = 2.0 * u - 1.0;
    // 1 - x^2 from the chance itself, which keeps its digits in both tails.
    let w = -ln_single(4.0 * u * (1.0 - u));
    let (near, far) = (w - 2.5, w.max(0.0).sqrt() - 3.0);
    let (mut in_middle, mut in_tail) = (0.0_f32, 0.0_f32);
    for (a, b) in NEAR.into_iter().zip(FAR) {
        in_middle = in_middle * near + a;
        in_tail = in_tail * far + b;
    }
    std::f32::consts::SQRT_2 * x * if w < 5.0 { in_middle } else { in_tail }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::normal;

    #[test]
    fn exp_and_ln_are_those_of_the_standard_library() {
        for k in -7000_i32..7000 {
            let x = f64::from(k) * 0.1;
            assert!((exp(x) / x.exp() - 1.0).abs() < 2e-15, "{x}: {} {}", exp(x), x.exp());
            let y = single(f64::from(k) * 0.012);
            assert!((exp_single(y) / y.exp() - 1.0).abs() < 1.5e-6, "{y}");
            let z = single((f64::from(k) * 0.01).exp());
            assert!(
                (f64::from(ln_single(z)) - f64::from(z).ln()).abs() < 3e-7 * f64::from(z).ln().abs().max(1.0),
                "{z}"
            );
        }
        assert!((exp(-1e9) - exp(-708.0)).abs() < 1e-300);
    }

    // The inverse of the normal law of this crate goes another way and is itself held to SciPy.
    #[test]
    fn places_are_those_of_the_normal_law() {
        for k in 1..4096_u32 {
            let u = f64::from(k) / 4096.0;
            let z = f64::from(place_single(single(u)));
            assert!((z - normal::place(u)).abs() < 3e-6 * normal::place(u).abs().max(1.0), "{u}: {z}");
        }
        for u in [6e-8_f32, 1e-6, 1e-4] {
            let z = normal::place(f64::from(u));
            assert!((f64::from(place_single(u)) / z - 1.0).abs() < 1e-5, "{u}");
        }
    }
}
