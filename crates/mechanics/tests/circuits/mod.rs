//! Small faces of chance, and their smallest zone by every circuit: another road to the same width.

#![expect(clippy::indexing_slicing, clippy::unwrap_used, reason = "numbers of points are small and made here")]

use mechanics::flatness::{Point, minimum_zone};

fn chance(state: &mut u64) -> f64 {
    *state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
    f64::from(u32::try_from(*state >> 32).unwrap()) / 4_294_967_296.0
}

/// Four to nine points over 400 by 160 mm with heights of a tenth; every third face has its heights in whole hundredths and
/// its places on a grid, so that ties abound.
fn face(state: &mut u64, number: u32) -> Vec<Point> {
    let count = 4 + number % 6;
    let coarse = number.is_multiple_of(3);
    (0..count)
        .map(|k| {
            let (x, y, z) = (chance(state), chance(state), chance(state));
            if coarse {
                [f64::from(k % 3) * 100.0, f64::from(k / 3) * 60.0 + f64::from(k % 2) * 7.0, (z * 10.0).floor() * 0.01]
            } else {
                [400.0 * x, 160.0 * y, 0.1 * z]
            }
        })
        .collect()
}

/// The largest of all weighted sums of three or four heights whose weights kill every plane and add up to two in size.
fn by_circuits(p: &[Point]) -> f64 {
    let area = |a: &Point, b: &Point, c: &Point| (b[0] - a[0]) * (c[1] - a[1]) - (c[0] - a[0]) * (b[1] - a[1]);
    let mut largest = 0.0_f64;
    for i in 0..p.len() {
        for j in i + 1..p.len() {
            for k in j + 1..p.len() {
                for l in k + 1..p.len() {
                    let (a, b, c, d) = (&p[i], &p[j], &p[k], &p[l]);
                    let weights = [area(b, c, d), -area(a, c, d), area(a, b, d), -area(a, b, c)];
                    let size: f64 = weights.iter().map(|weight| weight.abs()).sum();
                    let sum: f64 = weights.iter().zip([a, b, c, d]).map(|(weight, point)| weight * point[2]).sum();
                    if size > 1e-6 {
                        largest = largest.max((2.0 * sum / size).abs());
                    }
                }
            }
        }
    }
    largest
}

/// The largest difference in mm between the search and all circuits over many faces. Circuits measure along z, so the
/// search's width is turned upright first.
pub(crate) fn largest_difference(faces: u32, seed: u64) -> f64 {
    let mut state = seed;
    let mut largest = 0.0_f64;
    for number in 0..faces {
        let points = face(&mut state, number);
        let zone = minimum_zone(&points).unwrap();
        let upright = zone.width * (1.0 + zone.slope[0].powi(2) + zone.slope[1].powi(2)).sqrt();
        largest = largest.max((upright - by_circuits(&points)).abs());
    }
    largest
}
