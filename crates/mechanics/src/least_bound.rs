//! The smallest bound over many linear ones: the programme behind roundness, cylindricity and straightness.
//!
//! Wanted are numbers `x` and the least `t` with `t >= height - slope · x` for every bound. The search is an exchange: as
//! many bounds as there are numbers, and one more, carry the answer; the most broken bound enters, a ratio test says
//! which one leaves. Weights of the carrying bounds prove the answer: the weighted sum of their heights is below every
//! other `t`.
#![expect(clippy::indexing_slicing, reason = "fixed small kernels; every index is below its array's length")]

/// The most numbers looked for, and one.
const MOST: usize = 6;

/// A bound `t >= height - slope · x`; slopes beyond the wanted numbers are zero.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Bound {
    pub(crate) slope: [f64; 5],
    pub(crate) height: f64,
}

/// The least `t`, where it is, and what carries it.
#[derive(Debug, Clone)]
pub(crate) struct Least {
    pub(crate) x: [f64; 5],
    pub(crate) t: f64,
    /// Places of the carrying bounds and their weights, which sum to one.
    pub(crate) carried_by: Vec<(usize, f64)>,
}

/// Finds the least bound.
///
/// # Shapes
/// `size` numbers, at most five. The numbers are kept within about `reach` of zero, where `t` is `start`.
/// Nothing when the search does not end.
pub(crate) fn least_bound(bounds: &[Bound], size: usize, start: f64, reach: f64) -> Option<Least> {
    // Steep walls around zero: a first basis, and a limit to the step.
    let steep = 1e3;
    let mut all: Vec<Bound> = Vec::with_capacity(bounds.len() + size + 1);
    let mut wall = Bound { slope: [0.0; 5], height: start - steep * reach };
    for slope in wall.slope.iter_mut().take(size) {
        *slope = -steep;
    }
    all.push(wall);
    for k in 0..size {
        let mut wall = Bound { slope: [0.0; 5], height: start - steep * reach };
        wall.slope[k] = steep;
        all.push(wall);
    }
    let walls = all.len();
    all.extend_from_slice(bounds);
    let mut basis: Vec<usize> = (0..walls).collect();
    let order = size + 1;
    let patience = 60 * bounds.len() + 600;
    for step in 0..patience {
        let (x, t) = crossing(&all, &basis, size)?;
        let off = |bound: &Bound| bound.height - (0..size).map(|k| bound.slope[k] * x[k]).sum::<f64>() - t;
        let mut entering: Option<(usize, f64)> = None;
        for (place, bound) in all.iter().enumerate().skip(walls) {
            let broken = off(bound);
            if broken > 1e-13 * (1.0 + bound.height.abs()) && entering.is_none_or(|(_, worst)| broken > worst) {
                entering = Some((place, broken));
                // After many steps the first broken one enters, which cannot go round in circles.
                if step > patience / 2 {
                    break;
                }
            }
        }
        let mut columns = [[0.0; MOST]; MOST];
        for (k, place) in basis.iter().enumerate() {
            columns[0][k] = 1.0;
            for row in 0..size {
                columns[row + 1][k] = all[*place].slope[row];
            }
        }
        let mut one = [0.0; MOST];
        one[0] = 1.0;
        let weights = solve(columns, one, order)?;
        let Some((entering, _)) = entering else {
            let carried_by = basis
                .iter()
                .zip(weights)
                .filter(|(place, weight)| *weight > 1e-9 && **place >= walls)
                .map(|(place, weight)| (place - walls, weight))
                .collect();
            return Some(Least { x, t, carried_by });
        };
        let mut right = [0.0; MOST];
        right[0] = 1.0;
        right[1..=size].copy_from_slice(&all[entering].slope[..size]);
        let share = solve(columns, right, order)?;
        let mut leaving: Option<(usize, f64)> = None;
        for k in 0..order {
            if share[k] > 1e-12 {
                let ratio = weights[k].max(0.0) / share[k];
                let sooner = |held: usize, least: f64| {
                    ratio < least - 1e-15 || (ratio <= least + 1e-15 && basis[k] < basis[held])
                };
                if leaving.is_none_or(|(held, least)| sooner(held, least)) {
                    leaving = Some((k, ratio));
                }
            }
        }
        basis[leaving?.0] = entering;
    }
    None
}

/// Where the bounds of the basis meet.
fn crossing(all: &[Bound], basis: &[usize], size: usize) -> Option<([f64; 5], f64)> {
    let mut matrix = [[0.0; MOST]; MOST];
    let mut right = [0.0; MOST];
    for (row, place) in basis.iter().enumerate() {
        matrix[row][..size].copy_from_slice(&all[*place].slope[..size]);
        matrix[row][size] = 1.0;
        right[row] = all[*place].height;
    }
    let found = solve(matrix, right, size + 1)?;
    let mut x = [0.0; 5];
    x[..size].copy_from_slice(&found[..size]);
    Some((x, found[size]))
}

/// Solves the first `order` equations by elimination with the largest pivot.
pub(crate) fn solve(mut m: [[f64; MOST]; MOST], mut v: [f64; MOST], order: usize) -> Option<[f64; MOST]> {
    for k in 0..order {
        let pivot = (k..order).max_by(|&i, &j| m[i][k].abs().total_cmp(&m[j][k].abs()))?;
        // Not a number is refused here as well.
        if m[pivot][k].abs().partial_cmp(&1e-14) != Some(std::cmp::Ordering::Greater) {
            return None;
        }
        m.swap(k, pivot);
        v.swap(k, pivot);
        for row in k + 1..order {
            let factor = m[row][k] / m[k][k];
            let upper = m[k];
            for (cell, above) in m[row].iter_mut().zip(upper).take(order).skip(k) {
                *cell -= factor * above;
            }
            v[row] -= factor * v[k];
        }
    }
    for k in (0..order).rev() {
        for column in k + 1..order {
            v[k] -= m[k][column] * v[column];
        }
        v[k] /= m[k][k];
    }
    Some(v)
}
