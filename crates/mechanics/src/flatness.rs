//! Minimum zone and least squares of a face.
//!
//! The minimum zone is the smallest distance of two parallel planes with all points between them. It is the
//! optimum of a small linear programme: plane and half width such that no point lies further off than the half
//! width. The programme is solved by exchange: four points carry the plane, the worst outside point enters, a ratio
//! test says which one leaves. The four carry weights that prove the answer: the weighted sum of their heights is a
//! lower bound for every plane, and the search ends when the bound meets the width found. Three points against one
//! (a facet) and two against two (two edges) come out of the same step; nothing is enumerated.
#![expect(clippy::indexing_slicing, reason = "fixed 4 by 4 kernels; every index is below its array's length")]

use quantity::Unit;
use thiserror::Error;

use crate::catalogue::{Calculator, Computed, Domain, Group, Input, Output};
use crate::error::CalcError;
use crate::given::Given;

/// A point of a face: two places and a height, in one unit.
pub type Point = [f64; 3];

/// Why a face has no flatness.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum FlatnessError {
    /// Fewer than four points.
    #[error("{count} points always lie in a plane; measure at least four")]
    TooFew {
        /// How many.
        count: usize,
    },
    /// All points lie on one line.
    #[error("all points lie on one line, which says nothing about a face; measure across it as well")]
    OnOneLine,
    /// A coordinate is NaN or infinite.
    #[error("point {place} holds a number that is not finite; look for a mistyped value")]
    NotFinite {
        /// Which point, counted from 1.
        place: usize,
    },
    /// The places of a profile do not rise.
    #[error("point {place} does not lie further along than the one before; give the points in sequence")]
    NotRising {
        /// Which point, counted from 1.
        place: usize,
    },
    /// The search did not prove its answer.
    #[error("the smallest zone could not be proved for these points; look for heights far larger than the face")]
    NotProved,
}

/// What carries the smallest zone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Contact {
    /// Three points on one plane, one on the other.
    Facet,
    /// Two points on each plane.
    Edges,
    /// Fewer points suffice: a tie, or a face that is flat.
    Fewer,
}

/// The smallest zone of a face.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct MinimumZone {
    /// Distance of the two planes, square to them.
    pub width: f64,
    /// The lower bound that proves it, square to the planes.
    pub proved: f64,
    /// Slope of the planes along x and y.
    pub slope: [f64; 2],
    /// Which points carry it, by place in the list, and their weights; positive above, negative below.
    pub carried_by: Vec<(usize, f64)>,
    /// Facet or edges.
    pub contact: Contact,
}

/// The smallest zone between two parallel planes with all points between them.
///
/// # Shapes
/// Points in any sequence; at least four, not on one line in x and y.
/// # Units
/// Places and heights in one unit.
/// # Errors
/// [`FlatnessError`].
/// # Invariants
/// `proved <= width`, and they differ by less than a billionth of the spread of heights.
/// # Source
/// ISO 1101 and ISO 12781-1, minimum zone reference planes \[published\]; the search is worked out here.
pub fn minimum_zone(points: &[Point]) -> Result<MinimumZone, FlatnessError> {
    check(points)?;
    // A tilted face is turned level and searched again, so that the zone is square to its planes and not upright. The four
    // points found carry over, so the second search has little to do.
    let mut axes = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
    let mut basis = None;
    let mut best: Option<MinimumZone> = None;
    for _ in 0..6 {
        let cloud = Cloud::new(points, &axes);
        let start = match basis {
            Some(carried_over) => carried_over,
            None => first_four(&cloud)?,
        };
        let (found, zone) = upright_zone(&cloud, start)?;
        basis = Some(found);
        let steepness = (1.0 + zone.slope[0] * zone.slope[0] + zone.slope[1] * zone.slope[1]).sqrt();
        let normal = [-zone.slope[0] / steepness, -zone.slope[1] / steepness, 1.0 / steepness];
        let tilt = zone.slope[0].hypot(zone.slope[1]);
        // Back to the axes the caller gave.
        let outside = [0, 1, 2].map(|k| normal[0] * axes[0][k] + normal[1] * axes[1][k] + normal[2] * axes[2][k]);
        let found = MinimumZone {
            width: zone.width / steepness,
            proved: zone.proved / steepness,
            slope: [-outside[0] / outside[2], -outside[1] / outside[2]],
            ..zone
        };
        let better = best.as_ref().is_none_or(|so_far| found.width < so_far.width);
        if better {
            best = Some(found);
        }
        if tilt < 1e-6 || !better {
            break;
        }
        axes = frame(outside);
    }
    best.ok_or(FlatnessError::NotProved)
}

/// Three axes square to one another, the last one given.
fn frame(normal: [f64; 3]) -> [[f64; 3]; 3] {
    let length = normal[0].hypot(normal[2]);
    let first = [normal[2] / length, 0.0, -normal[0] / length];
    let second = [
        normal[1] * first[2] - normal[2] * first[1],
        normal[2] * first[0] - normal[0] * first[2],
        normal[0] * first[1] - normal[1] * first[0],
    ];
    [first, second, normal]
}

fn check(points: &[Point]) -> Result<(), FlatnessError> {
    if points.len() < 4 {
        return Err(FlatnessError::TooFew { count: points.len() });
    }
    match points.iter().position(|point| point.iter().any(|number| !number.is_finite())) {
        Some(place) => Err(FlatnessError::NotFinite { place: place + 1 }),
        None => Ok(()),
    }
}

/// How many points are looked at side by side.
const LANES: usize = 8;

/// Points centred and scaled to numbers near one, each coordinate on its own, filled up to whole lanes with the last point.
struct Cloud {
    x: Vec<f64>,
    y: Vec<f64>,
    z: Vec<f64>,
    count: usize,
    /// What one stands for along the face and in height.
    across: f64,
    high: f64,
}

impl Cloud {
    /// The points seen along three axes square to one another.
    fn new(points: &[Point], axes: &[[f64; 3]; 3]) -> Self {
        let count = points.len();
        let seen = |axis: &[f64; 3]| {
            let mut along = Vec::with_capacity(count + LANES);
            along.extend(points.iter().map(|point| axis[0] * point[0] + axis[1] * point[1] + axis[2] * point[2]));
            let last = along.last().copied().unwrap_or(0.0);
            along.resize(count.next_multiple_of(LANES), last);
            along
        };
        let [mut x, mut y, mut z] = [seen(&axes[0]), seen(&axes[1]), seen(&axes[2])];
        let bounds = |along: &[f64]| {
            let (low, high) = extremes(along.as_chunks().0.iter().copied());
            (f64::midpoint(low, high), high - low)
        };
        let ((x_mid, width), (y_mid, depth), (z_mid, height)) = (bounds(&x), bounds(&y), bounds(&z));
        let one_or = |half: f64| if half > 0.0 { half } else { 1.0 };
        let (across, high) = (one_or(width.max(depth) / 2.0), one_or(height / 2.0));
        for (along, mid, scale) in [(&mut x, x_mid, across), (&mut y, y_mid, across), (&mut z, z_mid, high)] {
            let part = 1.0 / scale;
            for place in along.iter_mut() {
                *place = (*place - mid) * part;
            }
        }
        Self { x, y, z, count, across, high }
    }

    /// Heights over a plane, a few at a time.
    fn over(&self, plane: [f64; 3]) -> impl Iterator<Item = [f64; LANES]> {
        let [a, b, c] = plane;
        let (x, y, z) = (self.x.as_chunks().0, self.y.as_chunks().0, self.z.as_chunks().0);
        x.iter().zip(y).zip(z).map(move |((x, y), z): ((&[f64; LANES], &[f64; LANES]), &[f64; LANES])| {
            std::array::from_fn(|k| z[k] - a * x[k] - b * y[k] - c)
        })
    }

    /// The first point that lies at or beyond a height over a plane, on the side of its sign.
    fn first_beyond(&self, plane: [f64; 3], height: f64, sign: f64) -> Option<usize> {
        let beyond = self.over(plane).enumerate().find_map(|(block, lanes)| {
            lanes.iter().position(|off| sign * off >= height).map(|lane| block * LANES + lane)
        });
        // What fills the lanes up is the last point again.
        beyond.map(|place| place.min(self.count - 1))
    }

    fn place(&self, place: usize) -> [f64; 2] {
        [self.x[place], self.y[place]]
    }
}

/// The smallest and the largest of many numbers.
fn extremes(lanes: impl Iterator<Item = [f64; LANES]>) -> (f64, f64) {
    let (mut low, mut high) = ([f64::INFINITY; LANES], [f64::NEG_INFINITY; LANES]);
    for numbers in lanes {
        for k in 0..LANES {
            low[k] = if numbers[k] < low[k] { numbers[k] } else { low[k] };
            high[k] = if numbers[k] > high[k] { numbers[k] } else { high[k] };
        }
    }
    (low.into_iter().fold(f64::INFINITY, f64::min), high.into_iter().fold(f64::NEG_INFINITY, f64::max))
}

/// Four points and the side of the plane that each is on.
type Basis = [(usize, f64); 4];

/// The smallest zone measured along z, and the four points that carry it.
fn upright_zone(p: &Cloud, mut basis: Basis) -> Result<(Basis, MinimumZone), FlatnessError> {
    let patience = 40 * p.count + 400;
    for step in 0..patience {
        let Some((plane, half)) = plane_through(p, &basis) else { return Err(FlatnessError::NotProved) };
        let (low, high) = extremes(p.over(plane));
        let worst = high.max(-low);
        let slack = 1e-13 * (1.0 + half.abs());
        if worst - half <= slack {
            let zone = finish(p, &basis, plane, high - low);
            return Ok((basis, zone));
        }
        // The worst point enters; after many steps the first bad one does, which cannot go round in circles.
        let sign = if high >= -low { 1.0 } else { -1.0 };
        let bar = if step > patience / 2 { half + slack } else { worst };
        let Some(entering) = p.first_beyond(plane, bar, sign) else { return Err(FlatnessError::NotProved) };
        let columns = column_matrix(p, &basis);
        let new = column(p.place(entering), sign);
        let sides = [[0.0, new[0]], [0.0, new[1]], [0.0, new[2]], [1.0, new[3]]];
        let [weights, share] = solve_all(columns, sides).ok_or(FlatnessError::NotProved)?;
        let mut leaving: Option<(usize, f64)> = None;
        for k in 0..4 {
            if share[k] > 1e-12 {
                let ratio = weights[k].max(0.0) / share[k];
                let tie_broken = |held: usize, least: f64| {
                    ratio < least - 1e-15 || (ratio <= least + 1e-15 && basis[k].0 < basis[held].0)
                };
                if leaving.is_none_or(|(held, least)| tie_broken(held, least)) {
                    leaving = Some((k, ratio));
                }
            }
        }
        let Some((leaving, _)) = leaving else { return Err(FlatnessError::NotProved) };
        basis[leaving] = (entering, sign);
    }
    Err(FlatnessError::NotProved)
}

/// Four points to begin with: they span a plane in x and y, and signs that make their weights positive.
fn first_four(p: &Cloud) -> Result<Basis, FlatnessError> {
    let best = |worth: &dyn Fn(f64, f64) -> f64| {
        let mut held = (0, f64::NEG_INFINITY);
        for (place, (x, y)) in p.x.iter().zip(&p.y).enumerate().take(p.count) {
            let value = worth(*x, *y);
            if value > held.1 {
                held = (place, value);
            }
        }
        held
    };
    let from = p.place(0);
    let second = best(&|x, y| (x - from[0]) * (x - from[0]) + (y - from[1]) * (y - from[1])).0;
    let run = [p.x[second] - from[0], p.y[second] - from[1]];
    let area = |x: f64, y: f64| run[0] * (y - from[1]) - (x - from[0]) * run[1];
    let (third, spread) = best(&|x, y| area(x, y).abs());
    if spread < 1e-12 {
        return Err(FlatnessError::OnOneLine);
    }
    let [x3, y3] = p.place(third);
    let whole = area(x3, y3);
    // The point furthest from the plane through the three is a good fourth.
    let heights = [0, second, third].map(|place| p.z[place]);
    let (dz2, dz3) = (heights[1] - heights[0], heights[2] - heights[0]);
    let a = (dz2 * (y3 - from[1]) - dz3 * run[1]) / whole;
    let b = (run[0] * dz3 - (x3 - from[0]) * dz2) / whole;
    let c = heights[0] - a * from[0] - b * from[1];
    let (low, high) = extremes(p.over([a, b, c]));
    let side = if high >= -low { 1.0 } else { -1.0 };
    let furthest = p.first_beyond([a, b, c], high.max(-low), side).filter(|place| ![0, second, third].contains(place));
    let fourth = furthest
        .or_else(|| (0..p.count).find(|place| ![0, second, third].contains(place)))
        .ok_or(FlatnessError::TooFew { count: p.count })?;
    // fourth = a * first + b * second + c * third with a + b + c = 1: the signs of (a, b, c, -1).
    let [x, y] = p.place(fourth);
    let b = ((x - from[0]) * (y3 - from[1]) - (x3 - from[0]) * (y - from[1])) / whole;
    let c = area(x, y) / whole;
    let sign = |number: f64| if number < 0.0 { -side } else { side };
    Ok([(0, -sign(1.0 - b - c)), (second, -sign(b)), (third, -sign(c)), (fourth, side)])
}

fn column(place: [f64; 2], sign: f64) -> [f64; 4] {
    [sign, sign * place[0], sign * place[1], 1.0]
}

/// Rows: the four equations; columns: the four points of the basis.
fn column_matrix(p: &Cloud, basis: &Basis) -> [[f64; 4]; 4] {
    let columns = basis.map(|(place, sign)| column(p.place(place), sign));
    let mut matrix = [[0.0; 4]; 4];
    for (k, column) in columns.iter().enumerate() {
        for row in 0..4 {
            matrix[row][k] = column[row];
        }
    }
    matrix
}

/// The plane (a, b, c of z = a x + b y + c) and half width at which the four points of the basis stand.
fn plane_through(p: &Cloud, basis: &Basis) -> Option<([f64; 3], f64)> {
    let matrix = basis.map(|(place, sign)| [p.x[place], p.y[place], 1.0, sign]);
    let heights = basis.map(|(place, _)| p.z[place]);
    let [a, b, c, half] = solve(matrix, heights)?;
    Some(([a, b, c], half))
}

/// Solves four equations by elimination with the largest pivot, for each of a few right sides.
fn solve_all<const SIDES: usize>(mut m: [[f64; 4]; 4], mut sides: [[f64; SIDES]; 4]) -> Option<[[f64; 4]; SIDES]> {
    for k in 0..4 {
        let mut pivot = k;
        for row in k + 1..4 {
            if m[row][k].abs() > m[pivot][k].abs() {
                pivot = row;
            }
        }
        if m[pivot][k].abs() < 1e-14 {
            return None;
        }
        m.swap(k, pivot);
        sides.swap(k, pivot);
        let (upper, upper_side, part) = (m[k], sides[k], 1.0 / m[k][k]);
        for row in k + 1..4 {
            let factor = m[row][k] * part;
            for (cell, above) in m[row].iter_mut().zip(upper).skip(k) {
                *cell -= factor * above;
            }
            for (cell, above) in sides[row].iter_mut().zip(upper_side) {
                *cell -= factor * above;
            }
        }
    }
    let mut solved = [[0.0; 4]; SIDES];
    for (side, solved) in solved.iter_mut().enumerate() {
        for k in (0..4).rev() {
            let known: f64 = (k + 1..4).map(|column| m[k][column] * solved[column]).sum();
            solved[k] = (sides[k][side] - known) / m[k][k];
        }
    }
    Some(solved)
}

fn solve(m: [[f64; 4]; 4], v: [f64; 4]) -> Option<[f64; 4]> {
    solve_all(m, v.map(|value| [value])).map(|[solved]| solved)
}

fn finish(p: &Cloud, basis: &Basis, plane: [f64; 3], width: f64) -> MinimumZone {
    let weights = solve(column_matrix(p, basis), [0.0, 0.0, 0.0, 1.0]).unwrap_or([0.0; 4]);
    let carried: Vec<(usize, f64)> = basis
        .iter()
        .zip(weights)
        .filter(|(_, weight)| *weight > 1e-9)
        .map(|((place, sign), weight)| (*place, sign * weight))
        .collect();
    let bound: f64 = 2.0 * carried.iter().map(|(place, weight)| weight * p.z[*place]).sum::<f64>();
    let above = carried.iter().filter(|(_, weight)| *weight > 0.0).count();
    let contact = match (above, carried.len() - above) {
        (3, 1) | (1, 3) => Contact::Facet,
        (2, 2) => Contact::Edges,
        _ => Contact::Fewer,
    };
    let scale = p.high / p.across;
    MinimumZone {
        width: width * p.high,
        proved: bound.clamp(0.0, width) * p.high,
        slope: [plane[0] * scale, plane[1] * scale],
        carried_by: carried,
        contact,
    }
}

/// The distance between the highest and the lowest point square to the plane of least squares.
///
/// # Shapes
/// As [`minimum_zone`].
/// # Errors
/// [`FlatnessError`].
/// # Source
/// ISO 12781-1, least squares reference plane, distances square to it \[published\]; the plane's normal is the direction of
/// smallest spread, found by turning pairs of axes (Jacobi).
pub fn least_squares(points: &[Point]) -> Result<f64, FlatnessError> {
    check(points)?;
    first_four(&Cloud::new(points, &[[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]))?;
    let count = f64::from(u32::try_from(points.len()).unwrap_or(u32::MAX));
    let centre = [0, 1, 2].map(|k| points.iter().map(|point| point[k]).sum::<f64>() / count);
    let q: Vec<Point> = points.iter().map(|point| [0, 1, 2].map(|k| point[k] - centre[k])).collect();
    // Start from the upright plane of least squares, then correct the normal: a face is nearly level in its own axes.
    let mut axes = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
    for _ in 0..60 {
        let turned: Vec<Point> = q
            .iter()
            .map(|point| axes.map(|axis| axis[0] * point[0] + axis[1] * point[1] + axis[2] * point[2]))
            .collect();
        let sum = |i: usize, j: usize| turned.iter().map(|point| point[i] * point[j]).sum::<f64>();
        let mut biggest = 0.0_f64;
        for (i, j) in [(0, 2), (1, 2), (0, 1)] {
            let (a, b, c) = (sum(i, i), sum(j, j), sum(i, j));
            if c.abs() > 1e-18 * (a * b).sqrt().max(f64::MIN_POSITIVE) {
                biggest = biggest.max((c / (a - b).abs().max(1e-300)).abs());
            }
        }
        if biggest < 1e-15 {
            break;
        }
        // One sweep of turns on the spread matrix.
        let mut spread = [[0.0; 3]; 3];
        for (i, row) in spread.iter_mut().enumerate() {
            for (j, cell) in row.iter_mut().enumerate() {
                *cell = sum(i, j);
            }
        }
        for (i, j) in [(0, 2), (1, 2), (0, 1)] {
            if spread[i][j].abs() > 0.0 {
                let half = (spread[j][j] - spread[i][i]) / (2.0 * spread[i][j]);
                let t = half.signum() / (half.abs() + (1.0 + half * half).sqrt());
                let cosine = 1.0 / (1.0 + t * t).sqrt();
                let sine = t * cosine;
                for row in &mut spread {
                    let (a, b) = (row[i], row[j]);
                    row[i] = cosine * a - sine * b;
                    row[j] = sine * a + cosine * b;
                }
                for k in 0..3 {
                    let (a, b) = (spread[i][k], spread[j][k]);
                    spread[i][k] = cosine * a - sine * b;
                    spread[j][k] = sine * a + cosine * b;
                    let (a, b) = (axes[i][k], axes[j][k]);
                    axes[i][k] = cosine * a - sine * b;
                    axes[j][k] = sine * a + cosine * b;
                }
            }
        }
    }
    let across = |axis: &[f64; 3]| {
        let offs = q.iter().map(|point| axis[0] * point[0] + axis[1] * point[1] + axis[2] * point[2]);
        let (low, top, square) = offs.fold((f64::INFINITY, f64::NEG_INFINITY, 0.0), |(low, top, square), off| {
            (off.min(low), off.max(top), square + off * off)
        });
        (square, top - low)
    };
    let widths = axes.map(|axis| across(&axis));
    let smallest = widths.into_iter().min_by(|a, b| a.0.total_cmp(&b.0)).map_or(0.0, |(_, width)| width);
    Ok(smallest)
}

/// The smallest distance between two parallel lines with all points of a profile between them.
///
/// # Shapes
/// Points `[place, height]` in any sequence, at least three, not all at one place.
/// # Errors
/// [`FlatnessError`].
/// # Source
/// ISO 1101 and ISO 12780-1, minimum zone reference lines \[published\]; one line runs through two points, so all pairs are tried.
pub fn minimum_zone_of_line(points: &[[f64; 2]]) -> Result<f64, FlatnessError> {
    if points.len() < 3 {
        return Err(FlatnessError::TooFew { count: points.len() });
    }
    if let Some(place) = points.iter().position(|point| !point[0].is_finite() || !point[1].is_finite()) {
        return Err(FlatnessError::NotFinite { place: place + 1 });
    }
    let mut smallest = f64::INFINITY;
    for (place, a) in points.iter().enumerate() {
        for b in points.iter().skip(place + 1) {
            let (dx, dz) = (b[0] - a[0], b[1] - a[1]);
            let length = dx.hypot(dz);
            if length > 0.0 {
                let offs = points.iter().map(|p| (dx * (p[1] - a[1]) - dz * (p[0] - a[0])) / length);
                let (low, high) =
                    offs.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), off| (off.min(low), off.max(high)));
                smallest = smallest.min(high - low);
            }
        }
    }
    if smallest.is_finite() { Ok(smallest) } else { Err(FlatnessError::OnOneLine) }
}

/// The distance between the highest and lowest point of a profile square to its line of least squares.
///
/// # Shapes
/// As [`minimum_zone_of_line`].
/// # Errors
/// [`FlatnessError`].
/// # Source
/// ISO 12780-1, least squares reference line, distances square to it \[published\].
pub fn least_squares_of_line(points: &[[f64; 2]]) -> Result<f64, FlatnessError> {
    minimum_zone_of_line(points)?;
    let count = f64::from(u32::try_from(points.len()).unwrap_or(u32::MAX));
    let mean = [0, 1].map(|k| points.iter().map(|point| point[k]).sum::<f64>() / count);
    let sum = |i: usize, j: usize| points.iter().map(|point| (point[i] - mean[i]) * (point[j] - mean[j])).sum::<f64>();
    let angle = 0.5 * (2.0 * sum(0, 1)).atan2(sum(0, 0) - sum(1, 1));
    let (sine, cosine) = angle.sin_cos();
    let offs = points.iter().map(|point| cosine * (point[1] - mean[1]) - sine * (point[0] - mean[0]));
    let (low, high) = offs.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), off| (off.min(low), off.max(high)));
    Ok(high - low)
}

/// The largest smallest zone of any stretch of a profile of this length, and where that stretch begins.
///
/// # Shapes
/// Points `[place, height]` with rising places, at least three. Between them the profile is taken as straight, so that a
/// stretch may begin and end anywhere: its ends are interpolated. A profile shorter than the length is one stretch.
/// # Units
/// Places, heights and length in one unit; the zone is measured along the heights.
/// # Errors
/// [`FlatnessError`].
/// # Source
/// Worked out here. A zone of a profile is the largest height of one point over the line through two others. While no
/// station enters or leaves, that height is, for the stretch's two ends and a station between, a square of where the stretch
/// begins, and monotone for any other three points; so stretches that begin or end at a station, and those at the turning
/// points of the squares, are all that can be the largest.
pub fn worst_stretch(points: &[[f64; 2]], length: f64) -> Result<(f64, f64), FlatnessError> {
    let whole = upright_zone_of_line(points);
    minimum_zone_of_line(points)?;
    if let Some(place) = (1..points.len()).find(|&place| points[place][0] <= points[place - 1][0]) {
        return Err(FlatnessError::NotRising { place: place + 1 });
    }
    let (first, last) = (points[0][0], points[points.len() - 1][0]);
    if last - first <= length {
        return Ok((whole, first));
    }
    let mut events: Vec<f64> = points
        .iter()
        .flat_map(|point| [point[0], point[0] - length])
        .map(|start| start.clamp(first, last - length))
        .collect();
    events.sort_by(f64::total_cmp);
    events.dedup();
    let mut starts = events.clone();
    for two in events.windows(2) {
        let (low, high) = (two[0], two[1]);
        let middle = f64::midpoint(low, high);
        let (before, after) = (piece(points, middle), piece(points, middle + length));
        for m in points.iter().filter(|point| point[0] > middle && point[0] < middle + length) {
            // The chord's height at m times the length: (a + b s)(s + L - m) + (c + d (s + L))(m - s), a square of s.
            let square = before[1] - after[1];
            let linear = before[0] + before[1] * (length - m[0]) + after[1] * (m[0] - length) - after[0];
            if square.abs() > 0.0 {
                let turning = -linear / (2.0 * square);
                if turning > low && turning < high {
                    starts.push(turning);
                }
            }
        }
    }
    let mut worst = (0.0, first);
    let mut inside: Vec<[f64; 2]> = Vec::new();
    for start in starts {
        let end = start + length;
        let (before, after) = (piece(points, start), piece(points, end));
        inside.clear();
        inside.push([start, before[0] + before[1] * start]);
        inside.extend(points.iter().filter(|point| point[0] > start && point[0] < end));
        inside.push([end, after[0] + after[1] * end]);
        let zone = upright_zone_of_line(&inside);
        if zone > worst.0 {
            worst = (zone, start);
        }
    }
    Ok(worst)
}

/// The straight piece of a profile at a place: height at nought, and slope.
fn piece(points: &[[f64; 2]], place: f64) -> [f64; 2] {
    let after = points.iter().position(|point| point[0] > place).unwrap_or(points.len() - 1).max(1);
    let (a, b) = (points[after - 1], points[after]);
    let slope = (b[1] - a[1]) / (b[0] - a[0]);
    [a[1] - slope * a[0], slope]
}

/// The largest height of a point over the line through two others: the zone of a profile along its heights.
fn upright_zone_of_line(points: &[[f64; 2]]) -> f64 {
    // Each edge of the upper hull against the lowest point under it, and the same turned over.
    let above = |sign: f64| {
        let mut hull: Vec<[f64; 2]> = Vec::with_capacity(points.len());
        for point in points {
            let p = [point[0], sign * point[1]];
            while let [.., a, b] = hull[..]
                && (b[1] - a[1]) * (p[0] - a[0]) <= (p[1] - a[1]) * (b[0] - a[0])
            {
                hull.pop();
            }
            hull.push(p);
        }
        let mut deepest = 0.0_f64;
        for two in hull.windows(2) {
            let ([x0, z0], [x1, z1]) = (two[0], two[1]);
            let slope = (z1 - z0) / (x1 - x0);
            for point in points.iter().filter(|point| point[0] > x0 && point[0] < x1) {
                deepest = deepest.max(z0 + slope * (point[0] - x0) - sign * point[1]);
            }
        }
        deepest
    };
    above(1.0).max(above(-1.0))
}

/// The doubt of a zone's width for a doubt of one in every height: the width is twice the weighted sum of those it is carried by.
fn doubt_per_height(carried_by: &[(usize, f64)]) -> f64 {
    2.0 * carried_by.iter().map(|(_, weight)| weight * weight).sum::<f64>().sqrt()
}

/// The doubt of highest less lowest point over the plane of least squares, for a doubt of one in every height.
///
/// The two points move with their own heights and with the plane: with columns `q` square to one another that span every plane,
/// the square of it is two less the squares of `q(highest) - q(lowest)`: what the plane takes is taken off.
fn doubt_of_least_squares(points: &[Point]) -> f64 {
    let places: Vec<[f64; 2]> = points.iter().map(|point| [point[0], point[1]]).collect();
    let columns = crate::straightedge::plane_columns(&places);
    let mut rest: Vec<f64> = points.iter().map(|point| point[2]).collect();
    for column in &columns {
        let part: f64 = column.iter().zip(points).map(|(cell, point)| cell * point[2]).sum();
        for (height, cell) in rest.iter_mut().zip(column) {
            *height -= part * cell;
        }
    }
    let at = |pick: fn(&(usize, &f64), &(usize, &f64)) -> std::cmp::Ordering| {
        rest.iter().enumerate().max_by(pick).map_or(0, |(place, _)| place)
    };
    let (high, low) = (at(|a, b| a.1.total_cmp(b.1)), at(|a, b| b.1.total_cmp(a.1)));
    let taken: f64 = columns.iter().map(|column| (column[high] - column[low]).powi(2)).sum();
    if high == low { 0.0 } else { (2.0 - taken).max(0.0).sqrt() }
}

/// The least flat square window of a face.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct WorstWindow {
    /// Its smallest zone.
    pub width: f64,
    /// Where it begins along and across.
    pub corner: [f64; 2],
    /// How many points lie in it.
    pub points: usize,
    /// The doubt of `width` for a doubt of one in every height: root of the sum of squares of the weights of its heights.
    pub doubt_per_height: f64,
}

/// The largest smallest zone of the points in any square window of this size, its sides along and across.
///
/// A window holds every straight stretch of its size that runs along or across in it, so a limit per length is kept along
/// and across when it is kept by the worst window. Nothing is interpolated: points count, and a window with fewer than four
/// points, or with all of them on one line, has no zone and is left out.
///
/// # Shapes
/// Points in any sequence. The answer is none when no window has a zone.
/// # Units
/// Places, heights and size in one unit.
/// # Errors
/// [`FlatnessError`], of the face as a whole.
/// # Source
/// Worked out here. More points never make a zone smaller, and a window can be pushed along and across until its sides meet
/// points without losing one; so windows that begin at a point's place along and at a point's place across are all there are.
pub fn worst_window(points: &[Point], size: f64) -> Result<Option<WorstWindow>, FlatnessError> {
    let whole = minimum_zone(points)?;
    let over = |point: &Point| point[2] - whole.slope[0] * point[0] - whole.slope[1] * point[1];
    let places = |k: usize| {
        let mut along: Vec<f64> = points.iter().map(|point| point[k]).collect();
        along.sort_by(f64::total_cmp);
        along.dedup();
        // A window further on than the last whole one holds fewer points of it.
        let last = along.last().copied().unwrap_or(0.0);
        let needed = along.iter().position(|place| place + size >= last).map_or(along.len(), |first| first + 1);
        along.truncate(needed);
        along
    };
    let (along, across) = (places(0), places(1));
    let mut worst: Option<WorstWindow> = None;
    for &x in &along {
        let strip: Vec<Point> = points.iter().filter(|point| (x..=x + size).contains(&point[0])).copied().collect();
        for &y in &across {
            let inside: Vec<Point> = strip.iter().filter(|point| (y..=y + size).contains(&point[1])).copied().collect();
            // A zone is never wider than what the points take up over any plane.
            let (low, high) = inside
                .iter()
                .map(over)
                .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), height| (low.min(height), high.max(height)));
            if worst.is_some_and(|worst| high - low <= worst.width) {
                continue;
            }
            match minimum_zone(&inside) {
                Ok(zone) => {
                    if worst.is_none_or(|worst| zone.width > worst.width) {
                        let doubt_per_height = doubt_per_height(&zone.carried_by);
                        worst = Some(WorstWindow {
                            width: zone.width,
                            corner: [x, y],
                            points: inside.len(),
                            doubt_per_height,
                        });
                    }
                }
                Err(FlatnessError::TooFew { .. } | FlatnessError::OnOneLine) => {}
                Err(
                    other @ (FlatnessError::NotFinite { .. }
                    | FlatnessError::NotRising { .. }
                    | FlatnessError::NotProved),
                ) => return Err(other),
            }
        }
    }
    Ok(worst)
}

/// Flatness of a face from a grid of heights.
pub const FLATNESS_GRID: Calculator = Calculator {
    id: "flatness-grid",
    group: Group::Faces,
    name: "Flatness of a face",
    meaning: "flatness of a face from points with heights: the smallest zone between two planes, and least squares beside it",
    inputs: &[
        Input::table("points", Unit::MILLIMETRE, "one row per point: place along, place across, height"),
        Input::number("u", Unit::MILLIMETRE, "standard uncertainty of one height")
            .optional()
            .within(Domain::NotNegative),
        Input::number(
            "window",
            Unit::MILLIMETRE,
            "side of the window that is moved over the face for the worst part of it",
        )
        .or("150 mm"),
    ],
    outputs: &[
        Output::new(
            "minimum_zone",
            Unit::MILLIMETRE,
            "smallest distance of two parallel planes with all points between them",
        ),
        Output::new("least_squares", Unit::MILLIMETRE, "highest to lowest point from the plane of least squares"),
        Output::new("slope_along", Unit::ONE, "slope of the planes along the first place"),
        Output::new("slope_across", Unit::ONE, "slope of the planes along the second place"),
        Output::new("points", Unit::PIECE, "how many points were used"),
        Output::new("worst_window", Unit::MILLIMETRE, "smallest zone of the least flat square window of that side"),
        Output::new("window_along", Unit::MILLIMETRE, "where that window begins along"),
        Output::new("window_across", Unit::MILLIMETRE, "where that window begins across"),
    ],
    workings: &[
        "minimum_zone is the least, over all planes, of the highest less the lowest point, square to the plane",
        "least_squares is the highest less the lowest point from the plane of least squares, square to it",
        "slope_along is the rise per length of the planes of the smallest zone along the first place",
        "slope_across is the same along the second place",
        "points is the number of rows",
        "worst_window is the largest minimum_zone of the points inside one square of side window, over all places of the square",
        "window_along is where that square begins along",
        "window_across is where that square begins across",
        "the doubt of minimum_zone is u times the root of the sum of the squares of the weights with which the points on the planes carry it",
    ],
    sources: &[
        "ISO 1101 and ISO 12781-1 for both definitions [published]; the search for the smallest zone is worked out here and proves its answer",
    ],
    example: &[("points", "0,0,0; 100,0,0.02; 0,100,0.02; 100,100,0"), ("u", "0.002 mm")],
    cautions: &[],
    formula: flatness_grid,
};

/// The points that were typed.
///
/// # Errors
/// [`CalcError`], when a row is no point.
pub fn points_given(given: &Given) -> Result<Vec<Point>, CalcError> {
    let rows = given.table("points");
    let point = |row: &Vec<f64>| {
        <Point>::try_from(row.as_slice()).map_err(|_| {
            given.do_not_go_together(format!("points has {} columns; give three: along, across, height", row.len()))
        })
    };
    rows.iter().map(point).collect()
}

fn flatness_grid(given: &Given) -> Result<Computed, CalcError> {
    let points = points_given(given)?;
    let refused = |error: FlatnessError| given.do_not_go_together(format!("points: {error}"));
    let zone = minimum_zone(&points).map_err(refused)?;
    let u = given.optional("u").unwrap_or(0.0);
    // The width is twice the weighted sum of four heights, so its doubt follows from the weights.
    let of_zone = u * doubt_per_height(&zone.carried_by);
    let mut computed = Computed::default();
    computed.put_with("minimum_zone", zone.width, of_zone);
    let of_squares = u * doubt_of_least_squares(&points);
    computed.put_with("least_squares", least_squares(&points).map_err(refused)?, of_squares);
    computed.put("slope_along", zone.slope[0]);
    computed.put("slope_across", zone.slope[1]);
    computed.put("points", f64::from(u32::try_from(points.len()).unwrap_or(u32::MAX)));
    match worst_window(&points, given.number("window")?).map_err(refused)? {
        Some(worst) => {
            computed.put_with("worst_window", worst.width, u * worst.doubt_per_height);
            computed.put("window_along", worst.corner[0]);
            computed.put("window_across", worst.corner[1]);
        }
        None => computed.note("no window of that side holds four points that are not on one line; measure a finer grid, or give a larger window"),
    }
    let places = |above: bool| {
        let names: Vec<String> = zone
            .carried_by
            .iter()
            .filter(|(_, weight)| (*weight > 0.0) == above)
            .map(|(place, _)| (place + 1).to_string())
            .collect();
        names.join(", ")
    };
    computed.note(match zone.contact {
        Contact::Facet => "carried by three points on one plane and one on the other",
        Contact::Edges => "carried by two points on each plane: a twist or a saddle",
        Contact::Fewer => "carried by fewer than four points: a ridge, a hollow, or a flat face",
    });
    computed.note(format!("high points: {}; low points: {}", places(true), places(false)));
    computed.note("decide by the smallest zone; least squares is never below it");
    computed.note("noise of the readings makes a face look less flat than it is");
    Ok(computed)
}
