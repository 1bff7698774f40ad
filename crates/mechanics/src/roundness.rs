//! Roundness, cylindricity and straightness of bores, journals and their axes.
//!
//! All four reference circles of a section, the smallest zone of a cylinder, and the straightness of a surface or an axis.
//! Distances from a centre that moves a little change linearly, so each search is a small linear programme about the centre
//! so far, solved exactly (in `least_bound`), and again about the new centre until nothing moves. For the smallest zone
//! of a circle [`Circles::proved`] says whether no other centre can be better: the linear growth of the zone away from the
//! centre then outruns all that the curvature could give back.
#![expect(clippy::indexing_slicing, reason = "fixed small kernels; every index is below its array's length")]

use std::f64::consts::{PI, TAU};

use quantity::Unit;
use thiserror::Error;

use crate::catalogue::{Calculator, Computed, Domain, Group, Input, Output};
use crate::error::CalcError;
use crate::flatness::{least_squares_of_line, minimum_zone_of_line};
use crate::given::Given;
use crate::least_bound::{Bound, Least, least_bound, solve};

/// The most readings a search takes.
const MOST_READINGS: usize = 4000;

/// The most stations of a straightness; its search tries all pairs.
const MOST_STATIONS: usize = 400;

/// Why readings have no roundness.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum RoundnessError {
    /// Too few readings.
    #[error("{count} readings are too few; take at least {wanted}, evenly around")]
    TooFew {
        /// How many there are.
        count: usize,
        /// How many are needed.
        wanted: usize,
    },
    /// Too many readings.
    #[error("{count} readings are too many at once; take at most {most}")]
    TooMany {
        /// How many there are.
        count: usize,
        /// How many are taken.
        most: usize,
    },
    /// A number is NaN or infinite.
    #[error("reading {place} is not finite; look for a mistyped value")]
    NotFinite {
        /// Which reading, counted from 1.
        place: usize,
    },
    /// The readings do not go round.
    #[error("the readings leave a gap of half a turn or more; take them all around")]
    NotAround,
    /// All readings stand at one height.
    #[error("all readings stand at one height, which says nothing about a cylinder or a line; read at several heights")]
    OneHeight,
    /// The search found no centre.
    #[error("no centre was found for these readings; look for a mistyped reading, or one far larger than the others")]
    NotFound,
}

/// The reference circles of a section and what they say about its roundness.
#[derive(Debug, Clone, PartialEq)]
pub struct Circles {
    /// Centre of the two circles of the smallest zone.
    pub zone_centre: [f64; 2],
    /// Width of the smallest zone.
    pub zone: f64,
    /// Whether no other centre can have a smaller zone.
    pub proved: bool,
    /// Sum of squares of the weights that carry the smallest zone.
    pub zone_weight: f64,
    /// Centre and radius of the circle of least squares, and the width of readings about it.
    pub least_squares: ([f64; 2], f64, f64),
    /// Centre and radius of the smallest circle around all readings, and the width of readings about its centre.
    pub circumscribed: ([f64; 2], f64, f64),
    /// Centre and radius of the largest circle inside all readings, and the width of readings about its centre.
    pub inscribed: ([f64; 2], f64, f64),
}

/// One reading as seen from a centre or an axis: distance, direction, place along the axis.
#[derive(Debug, Clone, Copy)]
struct Seen {
    distance: f64,
    direction: [f64; 2],
    along: f64,
}

fn look(points: &[[f64; 2]], centre: [f64; 2]) -> Vec<Seen> {
    points
        .iter()
        .map(|point| {
            let (x, y) = (point[0] - centre[0], point[1] - centre[1]);
            let distance = x.hypot(y);
            let direction = if distance > 0.0 { [x / distance, y / distance] } else { [1.0, 0.0] };
            Seen { distance, direction, along: 0.0 }
        })
        .collect()
}

fn range(seen: &[Seen]) -> (f64, f64) {
    seen.iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), one| (low.min(one.distance), high.max(one.distance)))
}

fn width(seen: &[Seen]) -> f64 {
    let (low, high) = range(seen);
    high - low
}

fn ensure(count: usize, wanted: usize, numbers: impl Iterator<Item = bool>) -> Result<(), RoundnessError> {
    if count < wanted {
        return Err(RoundnessError::TooFew { count, wanted });
    }
    if count > MOST_READINGS {
        return Err(RoundnessError::TooMany { count, most: MOST_READINGS });
    }
    match numbers.into_iter().position(|finite| !finite) {
        Some(place) => Err(RoundnessError::NotFinite { place: place + 1 }),
        None => Ok(()),
    }
}

/// The largest gap between neighbouring directions, in radians.
fn largest_gap(seen: &[Seen]) -> f64 {
    let mut angles: Vec<f64> = seen.iter().map(|one| one.direction[1].atan2(one.direction[0])).collect();
    angles.sort_by(f64::total_cmp);
    let inner = angles.windows(2).map(|pair| pair[1] - pair[0]).fold(0.0, f64::max);
    match (angles.first(), angles.last()) {
        (Some(first), Some(last)) => inner.max(first + TAU - last),
        _ => TAU,
    }
}

/// The reference circles of points in a plane.
///
/// # Shapes
/// Points `[x, y]` in any sequence, at least four, all around: no gap of half a turn or more seen from their middle.
/// # Units
/// All in one unit.
/// # Errors
/// [`RoundnessError`].
/// # Invariants
/// The smallest zone is never wider than those of the other three circles.
/// # Source
/// ISO 12181-1 and ISO 1101, the four reference circles \[published\]; the searches are worked out here.
pub fn circles(points: &[[f64; 2]]) -> Result<Circles, RoundnessError> {
    let (centre, radius, seen) = first_circle(points)?;
    let least_squares = (centre, radius, width(&seen));
    let (zone_centre, zone, carried) = smallest_zone(points, centre)?;
    let around = circle_around(points, centre)?;
    let inside = circle_inside(points, centre)?;
    let of_circle = |(centre, radius): ([f64; 2], f64)| (centre, radius, width(&look(points, centre)));
    Ok(Circles {
        zone_centre,
        zone,
        proved: zone_is_proved(points, zone_centre, zone, &carried),
        zone_weight: carried.iter().map(|(_, weight)| weight * weight).sum(),
        least_squares,
        circumscribed: of_circle(around),
        inscribed: of_circle(inside),
    })
}

/// The circle of least squares and the readings seen from its centre; refused when they do not go round.
fn first_circle(points: &[[f64; 2]]) -> Result<([f64; 2], f64, Vec<Seen>), RoundnessError> {
    ensure(points.len(), 4, points.iter().map(|point| point[0].is_finite() && point[1].is_finite()))?;
    let middle = [0, 1].map(|k| points.iter().map(|point| point[k] / count_of(points.len())).sum::<f64>());
    let (centre, radius) = circle_of_least_squares(points, middle)?;
    let seen = look(points, centre);
    if largest_gap(&seen) >= PI - 1e-9 || range(&seen).0 <= 0.0 {
        return Err(RoundnessError::NotAround);
    }
    Ok((centre, radius, seen))
}

/// The smallest zone of a section and the radius of its circle of least squares.
fn zone_and_radius(points: &[[f64; 2]]) -> Result<(f64, f64), RoundnessError> {
    let (centre, radius, _) = first_circle(points)?;
    Ok((smallest_zone(points, centre)?.1, radius))
}

fn count_of(count: usize) -> f64 {
    f64::from(u32::try_from(count).unwrap_or(u32::MAX))
}

/// The circle of least squares of the distances from it, by repeated linear least squares.
fn circle_of_least_squares(points: &[[f64; 2]], start: [f64; 2]) -> Result<([f64; 2], f64), RoundnessError> {
    let mut centre = start;
    for _ in 0..100 {
        let seen = look(points, centre);
        let mean = seen.iter().map(|one| one.distance / count_of(seen.len())).sum::<f64>();
        let step = linear_squares(&seen, 2, mean, 1.0)?;
        centre = [centre[0] + step[0], centre[1] + step[1]];
        if step[0].hypot(step[1]) < 1e-14 * mean {
            break;
        }
    }
    let seen = look(points, centre);
    let radius = seen.iter().map(|one| one.distance / count_of(seen.len())).sum::<f64>();
    if radius.is_finite() { Ok((centre, radius)) } else { Err(RoundnessError::NotFound) }
}

/// One step of least squares: `size` shifts (2 for a centre, 4 for an axis) and a change of radius.
fn linear_squares(seen: &[Seen], size: usize, mean: f64, length: f64) -> Result<[f64; 6], RoundnessError> {
    let mut matrix = [[0.0; 6]; 6];
    let mut right = [0.0; 6];
    for one in seen {
        let row = row_of(one, size, length);
        for i in 0..=size {
            right[i] += row[i] * (one.distance - mean);
            for j in 0..=size {
                matrix[i][j] += row[i] * row[j];
            }
        }
    }
    solve(matrix, right, size + 1).ok_or(RoundnessError::NotFound)
}

/// How the distance of a reading changes with the shifts and the radius.
fn row_of(one: &Seen, size: usize, length: f64) -> [f64; 5] {
    let [x, y] = one.direction;
    let z = one.along / length;
    if size == 2 { [x, y, 1.0, 0.0, 0.0] } else { [x, y, x * z, y * z, 1.0] }
}

/// The programme of the smallest zone about a centre or an axis: shifts in `scale`, half width in `scale`.
fn zone_step(seen: &[Seen], size: usize, length: f64, reach: f64) -> Option<(Least, f64)> {
    let (low, high) = range(seen);
    let (middle, scale) = (f64::midpoint(low, high), (high - low) / 2.0);
    let bounds: Vec<Bound> = seen
        .iter()
        .flat_map(|one| {
            let slope = row_of(one, size, length);
            let height = (one.distance - middle) / scale;
            [Bound { slope, height }, Bound { slope: slope.map(|part| -part), height: -height }]
        })
        .collect();
    least_bound(&bounds, size + 1, 1.0, reach).map(|least| (least, scale))
}

/// The signs and weights of the readings that carry a zone: above or below, by place.
fn carriers(least: &Least) -> Vec<(usize, f64)> {
    least.carried_by.iter().map(|(place, weight)| (place / 2, if place % 2 == 0 { *weight } else { -weight })).collect()
}

type Zone = ([f64; 2], f64, Vec<(usize, f64)>);

fn smallest_zone(points: &[[f64; 2]], start: [f64; 2]) -> Result<Zone, RoundnessError> {
    let mut centre = start;
    let mut seen = look(points, centre);
    let mut best = width(&seen);
    let mut carried = Vec::new();
    let mut reach = 1e3;
    for _ in 0..200 {
        let (_, high) = range(&seen);
        if best <= 1e-14 * high {
            break;
        }
        let (least, scale) = zone_step(&seen, 2, 1.0, reach).ok_or(RoundnessError::NotFound)?;
        // The programme starts at one: what it cannot gain, no small step can.
        if 1.0 - least.t < 1e-13 {
            carried = carriers(&least);
            break;
        }
        let moved = [centre[0] + least.x[0] * scale, centre[1] + least.x[1] * scale];
        let there = look(points, moved);
        if width(&there) < best {
            let gain = best - width(&there);
            (centre, seen, best, carried) = (moved, there, best - gain, carriers(&least));
            if gain < 1e-13 * best {
                break;
            }
        } else {
            // Nothing gained: either this is the place, or the step went beyond what is linear.
            let step = least.x[0].hypot(least.x[1]);
            if step < 1e-9 || reach < 1e-9 {
                carried = carriers(&least);
                break;
            }
            reach = step.min(reach) / 4.0;
        }
    }
    Ok((centre, best, carried))
}

/// Whether no other centre within half a radius has a smaller zone.
///
/// With the carrying readings, moving the centre by `e` in any direction widens the zone by at least `growth * e` less
/// `e² / (2 (r - e))`, the most that curvature gives back; far from the centre the readings on either side settle it.
fn zone_is_proved(points: &[[f64; 2]], centre: [f64; 2], zone: f64, carried: &[(usize, f64)]) -> bool {
    let seen = look(points, centre);
    let (least, most) = range(&seen);
    if zone <= 1e-13 * most {
        return true;
    }
    let outward: Vec<[f64; 2]> = carried
        .iter()
        .filter(|(_, weight)| *weight > 0.0)
        .flat_map(|(high, _)| {
            carried.iter().filter(|(_, weight)| *weight < 0.0).map(|(low, _)| {
                let (high, low) = (seen[*high].direction, seen[*low].direction);
                [low[0] - high[0], low[1] - high[1]]
            })
        })
        .collect();
    let mut growth = f64::INFINITY;
    for (place, a) in outward.iter().enumerate() {
        for b in outward.iter().skip(place + 1) {
            let (x, y) = (a[0] - b[0], a[1] - b[1]);
            let length = x.hypot(y);
            if length > 1e-12 {
                for way in [[-y / length, x / length], [y / length, -x / length]] {
                    let most = outward.iter().map(|v| v[0] * way[0] + v[1] * way[1]).fold(f64::NEG_INFINITY, f64::max);
                    growth = growth.min(most);
                }
            }
        }
    }
    if !growth.is_finite() || growth <= 0.0 {
        return false;
    }
    let half = least / 2.0;
    let near = (2.0 * growth * least / (1.0 + 2.0 * growth)).min(half);
    let facing = (largest_gap(&seen) / 2.0).cos();
    let far_off = |e: f64| 2.0 * e * facing - zone - e * e / (2.0 * (least - e)) > zone;
    far_off(near) && far_off(half)
}

/// The smallest circle around all points: cutting planes, which prove their answer.
fn circle_around(points: &[[f64; 2]], start: [f64; 2]) -> Result<([f64; 2], f64), RoundnessError> {
    let shifted: Vec<[f64; 2]> = points.iter().map(|point| [point[0] - start[0], point[1] - start[1]]).collect();
    let stations: Vec<[f64; 3]> = shifted.iter().map(|point| [point[0], point[1], 0.0]).collect();
    let (x, radius) = smallest_around(&stations, 2, 1.0)?;
    Ok(([start[0] + x[0], start[1] + x[1]], radius))
}

/// The centre, or the line, with the smallest largest distance from all points `[x, y, along]`.
///
/// The distance is convex in the centre, so each plane that touches it bounds it from below; planes are added where the
/// centre found so far lies furthest off, until the bound meets the distance.
fn smallest_around(points: &[[f64; 3]], size: usize, length: f64) -> Result<([f64; 5], f64), RoundnessError> {
    let reach_of = |x: &[f64; 5]| {
        let x = *x;
        points.iter().map(move |point| {
            let z = point[2] / length;
            let (dx, dy) = if size == 2 {
                (point[0] - x[0], point[1] - x[1])
            } else {
                (point[0] - x[0] - x[2] * z, point[1] - x[1] - x[3] * z)
            };
            (dx, dy, z)
        })
    };
    let zero = [0.0; 5];
    let distances: Vec<f64> = reach_of(&zero).map(|(dx, dy, _)| dx.hypot(dy)).collect();
    let (low, high) = distances.iter().fold((f64::INFINITY, 0.0_f64), |(low, high), d| (low.min(*d), high.max(*d)));
    if high <= 0.0 {
        return Ok((zero, 0.0));
    }
    // A round section differs little in distance; a crooked axis as much as its distance.
    let scale = if high - low > 1e-12 * high { high - low } else { high };
    let base = high - scale;
    let bound = |dx: f64, dy: f64, z: f64, point: &[f64; 3]| Bound {
        slope: if size == 2 { [dx, dy, 0.0, 0.0, 0.0] } else { [dx, dy, dx * z, dy * z, 0.0] },
        height: (dx * point[0] + dy * point[1] - base) / scale,
    };
    let mut bounds = Vec::new();
    for ((dx, dy, z), point) in reach_of(&zero).zip(points) {
        let distance = dx.hypot(dy);
        if distance > 0.0 {
            bounds.push(bound(dx / distance, dy / distance, z, point));
        }
        if size > 2 {
            for eighth in 0..8 {
                let (sine, cosine) = (f64::from(eighth) * TAU / 8.0).sin_cos();
                bounds.push(bound(cosine, sine, z, point));
            }
        }
    }
    let mut best = (zero, high);
    let mut waited = 0;
    let enough = if size == 2 { 1e-9 } else { 1e-8 };
    for _ in 0..300 {
        let least = least_bound(&bounds, size, 1.0, 1e4).ok_or(RoundnessError::NotFound)?;
        let x = least.x.map(|part| part * scale);
        let proved = least.t * scale + base;
        let mut furthest: Vec<(f64, usize, (f64, f64, f64))> =
            reach_of(&x).enumerate().map(|(place, (dx, dy, z))| (dx.hypot(dy), place, (dx, dy, z))).collect();
        furthest.sort_by(|a, b| b.0.total_cmp(&a.0));
        let most = furthest.first().map_or(0.0, |first| first.0);
        waited = if most < best.1 { 0 } else { waited + 1 };
        if most < best.1 {
            best = (x, most);
        }
        if best.1 - proved <= enough * scale + 1e-15 * high || waited > 12 && best.1 - proved <= 1e-7 * scale {
            break;
        }
        for (distance, place, (dx, dy, z)) in furthest.into_iter().take(6) {
            if distance > proved && distance > 0.0 {
                bounds.push(bound(dx / distance, dy / distance, z, &points[place]));
            }
        }
    }
    Ok(best)
}

/// The largest circle inside all points, about a centre near the given one.
fn circle_inside(points: &[[f64; 2]], start: [f64; 2]) -> Result<([f64; 2], f64), RoundnessError> {
    let mut centre = start;
    let mut seen = look(points, centre);
    let (mut best, high) = range(&seen);
    let mut reach = 1e3;
    for _ in 0..200 {
        let (low, high_here) = range(&seen);
        let scale = (high_here - low) / 2.0;
        if scale <= 1e-14 * high {
            break;
        }
        let bounds: Vec<Bound> = seen
            .iter()
            .map(|one| Bound {
                slope: [-one.direction[0], -one.direction[1], 0.0, 0.0, 0.0],
                height: (low - one.distance) / scale,
            })
            .collect();
        let least = least_bound(&bounds, 2, 0.0, reach).ok_or(RoundnessError::NotFound)?;
        let moved = [centre[0] + least.x[0] * scale, centre[1] + least.x[1] * scale];
        let there = look(points, moved);
        if range(&there).0 > best {
            let gain = range(&there).0 - best;
            (centre, seen, best) = (moved, there, best + gain);
            if gain < 1e-15 * best {
                break;
            }
        } else {
            let step = least.x[0].hypot(least.x[1]);
            if step < 1e-9 || reach < 1e-9 {
                break;
            }
            reach = step.min(reach) / 4.0;
        }
    }
    Ok((centre, range(&seen).0))
}

/// The cylindricity of a bore or journal: the smallest zone between two coaxial cylinders, and the axis of least squares.
#[derive(Debug, Clone, PartialEq)]
pub struct Cylinder {
    /// Width of the smallest zone found.
    pub zone: f64,
    /// Width of readings about the axis of least squares.
    pub least_squares: f64,
    /// Radius of the cylinder of least squares.
    pub radius: f64,
    /// Slope of the axis of least squares along x and y per unit of height.
    pub slope: [f64; 2],
    /// Sum of squares of the weights that carry the smallest zone.
    pub zone_weight: f64,
}

/// An axis: a point of it, its direction, and two directions square to it.
#[derive(Debug, Clone, Copy)]
struct Axis {
    point: [f64; 3],
    along: [f64; 3],
}

impl Axis {
    fn frame(&self) -> [[f64; 3]; 2] {
        let w = self.along;
        let length = w[0].hypot(w[2]);
        let first = if length > 1e-9 { [w[2] / length, 0.0, -w[0] / length] } else { [1.0, 0.0, 0.0] };
        let second =
            [w[1] * first[2] - w[2] * first[1], w[2] * first[0] - w[0] * first[2], w[0] * first[1] - w[1] * first[0]];
        [first, second]
    }

    fn look(&self, points: &[[f64; 3]]) -> Vec<Seen> {
        let [first, second] = self.frame();
        let dot = |a: &[f64; 3], b: &[f64; 3]| a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
        points
            .iter()
            .map(|point| {
                let from = [0, 1, 2].map(|k| point[k] - self.point[k]);
                let (x, y) = (dot(&from, &first), dot(&from, &second));
                let distance = x.hypot(y);
                let direction = if distance > 0.0 { [x / distance, y / distance] } else { [1.0, 0.0] };
                Seen { distance, direction, along: dot(&from, &self.along) }
            })
            .collect()
    }

    /// Shifted by `a, b` and turned by `c, d` over `length`, in the directions of its frame.
    fn moved(&self, [a, b, c, d]: [f64; 4], length: f64) -> Self {
        let [first, second] = self.frame();
        let point = [0, 1, 2].map(|k| self.point[k] + a * first[k] + b * second[k]);
        let turned = [0, 1, 2].map(|k| self.along[k] + (c * first[k] + d * second[k]) / length);
        let size = turned[0].hypot(turned[1]).hypot(turned[2]);
        Self { point, along: turned.map(|part| part / size) }
    }
}

/// The smallest zone between two coaxial cylinders with all points between them, near the axis of least squares.
///
/// # Shapes
/// Points `[x, y, z]`, z along the bore; at least six, at two heights or more, all around.
/// # Units
/// All in one unit.
/// # Errors
/// [`RoundnessError`].
/// # Invariants
/// Never wider than the zone about the axis of least squares. Each step's programme is solved exactly, to a ten-millionth of the
/// width; that no quite other axis has a smaller zone is not proved.
/// # Source
/// ISO 12180-1 and ISO 1101, reference cylinders \[published\]; the search is worked out here.
pub fn cylinder(points: &[[f64; 3]]) -> Result<Cylinder, RoundnessError> {
    ensure(points.len(), 6, points.iter().map(|point| point.iter().all(|part| part.is_finite())))?;
    let count = count_of(points.len());
    let mean = [0, 1, 2].map(|k| points.iter().map(|point| point[k] / count).sum::<f64>());
    let length = points.iter().map(|point| (point[2] - mean[2]).abs()).fold(0.0, f64::max);
    let across = points.iter().map(|point| (point[0] - mean[0]).hypot(point[1] - mean[1])).fold(0.0, f64::max);
    if length <= 1e-9 * across {
        return Err(RoundnessError::OneHeight);
    }
    let mut axis = Axis { point: mean, along: [0.0, 0.0, 1.0] };
    let mut radius = 0.0;
    for _ in 0..100 {
        let seen = axis.look(points);
        radius = seen.iter().map(|one| one.distance / count).sum::<f64>();
        let [a, b, c, d, ..] = linear_squares(&seen, 4, radius, length)?;
        axis = axis.moved([a, b, c, d], length);
        if a.hypot(b).hypot(c).hypot(d) < 1e-14 * radius {
            break;
        }
    }
    let mut seen = axis.look(points);
    let gap = largest_gap(&seen);
    let least_squares = width(&seen);
    if !least_squares.is_finite() {
        return Err(RoundnessError::NotFound);
    }
    if gap >= PI - 1e-9 || range(&seen).0 <= 0.0 {
        return Err(RoundnessError::NotAround);
    }
    let slope = [axis.along[0] / axis.along[2], axis.along[1] / axis.along[2]];
    let (mut best, mut reach, mut weight) = (least_squares, 1e2, 0.0);
    for _ in 0..400 {
        if best <= 1e-13 * radius {
            break;
        }
        let (least, scale) = zone_step(&seen, 4, length, reach).ok_or(RoundnessError::NotFound)?;
        weight = least.carried_by.iter().map(|(_, weight)| weight * weight).sum();
        // A ten-millionth of the width is far below any reading.
        if 1.0 - least.t < 1e-7 {
            break;
        }
        let [a, b, c, d, _] = least.x.map(|part| part * scale);
        let there = axis.moved([a, b, c, d], length);
        let seen_there = there.look(points);
        let step = least.x.iter().take(4).fold(0.0_f64, |so_far, part| so_far.hypot(*part));
        if width(&seen_there) < best {
            let gain = best - width(&seen_there);
            (axis, seen, best) = (there, seen_there, best - gain);
            if gain < 1e-11 * best {
                break;
            }
        } else if step < 1e-7 || reach < 1e-7 {
            break;
        } else {
            reach = step.min(reach) / 4.0;
        }
    }
    Ok(Cylinder { zone: best, least_squares, radius, slope, zone_weight: weight })
}

/// The diameter of the smallest straight cylinder that holds an axis given by its centres at several heights.
///
/// # Shapes
/// Centres `[x, y, z]`, z along the axis; at least three, not all at one height. For axes nearly along z: distances are taken
/// square to z, which for a slope of one in a thousand is a part in a million off.
/// # Errors
/// [`RoundnessError`].
/// # Source
/// ISO 1101, straightness of an axis \[published\]; cutting planes, which prove their answer, worked out here.
pub fn axis_straightness(centres: &[[f64; 3]]) -> Result<f64, RoundnessError> {
    ensure(centres.len(), 3, centres.iter().map(|point| point.iter().all(|part| part.is_finite())))?;
    if centres.len() > MOST_STATIONS {
        return Err(RoundnessError::TooMany { count: centres.len(), most: MOST_STATIONS });
    }
    let count = count_of(centres.len());
    let mean = [0, 1, 2].map(|k| centres.iter().map(|point| point[k] / count).sum::<f64>());
    let length = centres.iter().map(|point| (point[2] - mean[2]).abs()).fold(0.0, f64::max);
    if length <= 0.0 {
        return Err(RoundnessError::OneHeight);
    }
    // The line of least squares is taken off first, so that what is left is small.
    let squares = centres.iter().map(|point| ((point[2] - mean[2]) / length).powi(2)).sum::<f64>();
    let tilt = [0, 1].map(|k| {
        centres.iter().map(|point| (point[2] - mean[2]) / length * (point[k] - mean[k])).sum::<f64>() / squares
    });
    let left: Vec<[f64; 3]> = centres
        .iter()
        .map(|point| {
            let z = point[2] - mean[2];
            [point[0] - mean[0] - tilt[0] * z / length, point[1] - mean[1] - tilt[1] * z / length, z]
        })
        .collect();
    smallest_around(&left, 4, length).map(|(_, radius)| 2.0 * radius)
}

/// The strongest number of lobes of evenly spaced radii, from 2 to half their number, and its amplitude.
fn lobes(radii: &[f64]) -> Option<(u32, f64)> {
    let count = u32::try_from(radii.len()).ok()?;
    let mut best: Option<(u32, f64)> = None;
    for waves in 2..count.div_ceil(2) {
        let (mut cosine, mut sine) = (0.0, 0.0);
        for (place, radius) in (0_u32..).zip(radii) {
            let angle = TAU * f64::from(waves) * f64::from(place) / f64::from(count);
            cosine += radius * angle.cos();
            sine += radius * angle.sin();
        }
        let amplitude = 2.0 * cosine.hypot(sine) / f64::from(count);
        if best.is_none_or(|(_, most)| amplitude > most * 1.000_001) {
            best = Some((waves, amplitude));
        }
    }
    best
}

const FORMS: &[&str] = &["radii", "diameters", "points"];

/// Roundness of one section.
pub const ROUNDNESS: Calculator = Calculator {
    id: "roundness",
    group: Group::Bores,
    name: "Roundness",
    meaning: "roundness of a bore or journal at one height from readings around it, by all four reference circles",
    inputs: &[
        Input::table(
            "readings",
            Unit::MILLIMETRE,
            "one row per reading: angle in degrees as a bare number, then radius or diameter; or x, y for points",
        ),
        Input::choice("form", "what the readings are", FORMS).or("radii"),
        Input::number("nominal", Unit::MILLIMETRE, "radius or diameter that a dial was set to, added to every reading")
            .optional(),
        Input::number("u", Unit::MILLIMETRE, "standard uncertainty of one reading")
            .optional()
            .within(Domain::NotNegative),
    ],
    outputs: &[
        Output::new(
            "minimum_zone",
            Unit::MILLIMETRE,
            "smallest difference of radii of two circles with one centre and all readings between them",
        ),
        Output::new("least_squares", Unit::MILLIMETRE, "largest less smallest radius from the centre of least squares"),
        Output::new(
            "circumscribed",
            Unit::MILLIMETRE,
            "the same from the centre of the smallest circle around: for journals",
        ),
        Output::new("inscribed", Unit::MILLIMETRE, "the same from the centre of the largest circle inside: for bores"),
        Output::new("zone_x", Unit::MILLIMETRE, "centre of the smallest zone, along 0°"),
        Output::new("zone_y", Unit::MILLIMETRE, "centre of the smallest zone, along 90°"),
        Output::new("squares_x", Unit::MILLIMETRE, "centre of least squares, along 0°"),
        Output::new("squares_y", Unit::MILLIMETRE, "centre of least squares, along 90°"),
        Output::new("squares_radius", Unit::MILLIMETRE, "radius of least squares"),
        Output::new("circumscribed_diameter", Unit::MILLIMETRE, "smallest ring that goes over it"),
        Output::new("inscribed_diameter", Unit::MILLIMETRE, "largest plug that goes in"),
        Output::new("two_point", Unit::MILLIMETRE, "largest less smallest diameter, as a two-point gauge sees it"),
        Output::new("lobes", Unit::PIECE, "the strongest number of lobes, for evenly spaced radii"),
    ],
    workings: &[
        "minimum_zone is the least, over all centres, of the largest less the smallest distance of the readings from the centre; zone_x and zone_y is that centre",
        "zone_x is the place of that centre along 0°",
        "zone_y is the place of that centre along 90°",
        "least_squares is the largest less the smallest distance from the centre whose circle leaves the least sum of squares",
        "squares_x is the place of that centre along 0°",
        "squares_y is the place of that centre along 90°",
        "squares_radius is the mean distance from it",
        "circumscribed is the largest less the smallest distance from the centre of the smallest circle around all readings",
        "circumscribed_diameter is the diameter of that circle",
        "inscribed is the largest less the smallest distance from the centre of the largest circle inside all readings",
        "inscribed_diameter is the diameter of that circle",
        "two_point is the largest less the smallest sum of two opposite radii, or of the diameters as given",
        "lobes is the number of waves round the part whose wave is the largest, by Fourier sums from two up",
        "the doubt of the smallest zone is u times the root of the sum of the squares of the weights of the readings that carry it",
    ],
    sources: &[
        "ISO 12181-1 and ISO 1101 for the four circles [published]; the searches are worked out here, the smallest zone proves its answer",
    ],
    example: &[
        ("readings", "0,43.010; 45,43.002; 90,42.991; 135,43.000; 180,43.009; 225,43.001; 270,42.990; 315,42.999"),
        ("form", "radii"),
        ("u", "0.001 mm"),
    ],
    cautions: &[],
    formula: roundness,
};

/// Rows of so many columns, or the complaint.
fn columns<const N: usize>(given: &Given, key: &str, words: &str) -> Result<Vec<[f64; N]>, CalcError> {
    given
        .table(key)
        .iter()
        .map(|row| {
            <[f64; N]>::try_from(row.as_slice())
                .map_err(|_| given.do_not_go_together(format!("{key} has {} columns; give {N}: {words}", row.len())))
        })
        .collect()
}

/// Angle and length (radius or diameter) as points of a section.
fn polar(given: &Given, rows: &[[f64; 2]], form: &str, nominal: f64) -> Result<Vec<[f64; 2]>, CalcError> {
    let mut points = Vec::new();
    for [angle, length] in rows {
        let length = length + nominal;
        if length <= 0.0 {
            return Err(given.do_not_go_together(format!(
                "a reading of {length} mm is no radius and no diameter; give nominal when the readings come from a dial"
            )));
        }
        let (sine, cosine) = angle.to_radians().sin_cos();
        if form == "diameters" {
            points.push([cosine * length / 2.0, sine * length / 2.0]);
            points.push([-cosine * length / 2.0, -sine * length / 2.0]);
        } else {
            points.push([cosine * length, sine * length]);
        }
    }
    Ok(points)
}

/// The readings that were typed, as points of the section.
///
/// # Errors
/// [`CalcError`], as the calculator itself.
pub fn section_given(given: &Given) -> Result<Vec<[f64; 2]>, CalcError> {
    let form = given.text("form").unwrap_or("radii");
    let rows: Vec<[f64; 2]> = columns(given, "readings", "angle and radius, angle and diameter, or x and y")?;
    if form == "points" { Ok(rows) } else { polar(given, &rows, form, given.optional("nominal").unwrap_or(0.0)) }
}

fn roundness(given: &Given) -> Result<Computed, CalcError> {
    let form = given.text("form").unwrap_or("radii");
    let nominal = given.optional("nominal").unwrap_or(0.0);
    let rows: Vec<[f64; 2]> = columns(given, "readings", "angle and radius, angle and diameter, or x and y")?;
    if form == "points" && given.optional("nominal").is_some() {
        return Err(given.out_of_domain("nominal", "has no meaning for points; leave it out"));
    }
    let points = section_given(given)?;
    let found = circles(&points).map_err(|error| given.do_not_go_together(error.to_string()))?;
    let u = given.optional("u").unwrap_or(0.0);
    let mut computed = Computed::default();
    computed.put_with("minimum_zone", found.zone, 2.0 * u * found.zone_weight.sqrt());
    computed.put("least_squares", found.least_squares.2);
    computed.put("circumscribed", found.circumscribed.2);
    computed.put("inscribed", found.inscribed.2);
    computed.put("zone_x", found.zone_centre[0]);
    computed.put("zone_y", found.zone_centre[1]);
    computed.put("squares_x", found.least_squares.0[0]);
    computed.put("squares_y", found.least_squares.0[1]);
    computed.put("squares_radius", found.least_squares.1);
    computed.put("circumscribed_diameter", 2.0 * found.circumscribed.1);
    computed.put("inscribed_diameter", 2.0 * found.inscribed.1);
    if form != "points" {
        let across = diameters(&rows, form, nominal);
        if across.len() > 1 {
            let (low, high) =
                across.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), d| (low.min(*d), high.max(*d)));
            computed.put("two_point", high - low);
        }
    }
    if form == "radii" && evenly_around(&rows) {
        let radii: Vec<f64> = rows.iter().map(|row| row[1]).collect();
        if let Some((waves, amplitude)) =
            lobes(&radii).filter(|(_, amplitude)| *amplitude > 1e-9 * found.least_squares.1)
        {
            computed.put("lobes", f64::from(waves));
            if waves % 2 == 1 {
                computed.note(format!("{waves} lobes of {amplitude:.4} mm: a two-point gauge sees nothing of them"));
            }
        }
    }
    if form == "diameters" {
        computed.note("diameters say nothing about an odd number of lobes: 3, 5 or 7 of them look round; use a dial with the part turned in a vee or on its axis");
    }
    computed.note(if found.proved {
        "no other centre has a smaller zone: proved"
    } else {
        "the smallest zone was found about the centre of least squares; that no other centre is better is not proved for these readings"
    });
    computed.note("decide by the smallest zone; the other three are never below it");
    Ok(computed)
}

/// The diameters that a two-point gauge would read.
fn diameters(rows: &[[f64; 2]], form: &str, nominal: f64) -> Vec<f64> {
    if form == "diameters" {
        return rows.iter().map(|row| row[1] + nominal).collect();
    }
    let mut across = Vec::new();
    for (place, a) in rows.iter().enumerate() {
        let opposite = rows.iter().skip(place + 1).find(|b| {
            let turn = (b[0] - a[0]).rem_euclid(360.0);
            (turn - 180.0).abs() < 1e-6
        });
        if let Some(b) = opposite {
            across.push(a[1] + b[1] + 2.0 * nominal);
        }
    }
    across
}

/// Whether the angles rise by equal steps once round.
fn evenly_around(rows: &[[f64; 2]]) -> bool {
    let step = 360.0 / count_of(rows.len());
    rows.len() >= 6 && rows.windows(2).all(|pair| (pair[1][0] - pair[0][0] - step).abs() < 1e-6 * step)
}

/// Cylindricity of a bore or journal.
pub const CYLINDRICITY: Calculator = Calculator {
    id: "cylindricity",
    group: Group::Bores,
    name: "Cylindricity",
    meaning: "cylindricity of a bore or journal from readings around it at several heights, with its taper",
    inputs: &[
        Input::table(
            "readings",
            Unit::MILLIMETRE,
            "one row per reading: height, angle in degrees as a bare number, radius or diameter; or x, y, height for points",
        ),
        Input::choice("form", "what the readings are", FORMS).or("radii"),
        Input::number("nominal", Unit::MILLIMETRE, "radius or diameter that a dial was set to, added to every reading")
            .optional(),
        Input::number("u", Unit::MILLIMETRE, "standard uncertainty of one reading")
            .optional()
            .within(Domain::NotNegative),
    ],
    outputs: &[
        Output::new(
            "minimum_zone",
            Unit::MILLIMETRE,
            "smallest difference of radii of two coaxial cylinders with all readings between them",
        ),
        Output::new("least_squares", Unit::MILLIMETRE, "largest less smallest radius from the axis of least squares"),
        Output::new("squares_diameter", Unit::MILLIMETRE, "diameter of the cylinder of least squares"),
        Output::new("axis_lean_x", Unit::PER_MILLE, "lean of the axis of least squares along x, per height"),
        Output::new("axis_lean_y", Unit::PER_MILLE, "lean of the axis of least squares along y, per height"),
        Output::new("out_of_round", Unit::MILLIMETRE, "largest roundness of one height by the smallest zone"),
        Output::new("taper", Unit::MILLIMETRE, "largest less smallest mean diameter of the heights"),
    ],
    workings: &[
        "minimum_zone is the least, over all axes, of the largest less the smallest distance of the readings from the axis",
        "least_squares is the same from the axis whose cylinder leaves the least sum of squares",
        "squares_diameter is the diameter of that cylinder",
        "axis_lean_x is the lean of that axis along x in thousandths of the height",
        "axis_lean_y is the lean of that axis along y in thousandths of the height",
        "out_of_round is the largest minimum_zone of one height, as in roundness",
        "taper is the largest less the smallest mean diameter of the heights",
    ],
    sources: &[
        "ISO 12180-1 and ISO 1101 for the cylinders [published]; the search is worked out here: linear steps from the axis of least squares, each solved exactly",
    ],
    example: &[
        (
            "readings",
            "0,0,43.010; 0,60,43.004; 0,120,43.003; 0,180,43.009; 0,240,43.004; 0,300,43.005; 60,0,43.006; 60,60,43.002; 60,120,43.001; 60,180,43.005; 60,240,43.002; 60,300,43.003; 120,0,43.001; 120,60,43.000; 120,120,43.000; 120,180,43.002; 120,240,43.001; 120,300,43.000",
        ),
        ("u", "0.001 mm"),
    ],
    cautions: &[],
    formula: cylindricity,
};

fn cylindricity(given: &Given) -> Result<Computed, CalcError> {
    let form = given.text("form").unwrap_or("radii");
    let nominal = given.optional("nominal").unwrap_or(0.0);
    let rows: Vec<[f64; 3]> = columns(given, "readings", "height, angle, radius or diameter; or x, y, height")?;
    let mut points: Vec<[f64; 3]> = Vec::new();
    if form == "points" {
        points.clone_from(&rows);
    } else {
        for [height, angle, length] in &rows {
            let section = polar(given, &[[*angle, *length]], form, nominal)?;
            points.extend(section.into_iter().map(|[x, y]| [x, y, *height]));
        }
    }
    let refused = |error: RoundnessError| given.do_not_go_together(error.to_string());
    let found = cylinder(&points).map_err(refused)?;
    let u = given.optional("u").unwrap_or(0.0);
    let mut computed = Computed::default();
    computed.put_with("minimum_zone", found.zone, 2.0 * u * found.zone_weight.sqrt());
    computed.put("least_squares", found.least_squares);
    computed.put("squares_diameter", 2.0 * found.radius);
    computed.put("axis_lean_x", found.slope[0] * 1000.0);
    computed.put("axis_lean_y", found.slope[1] * 1000.0);
    let mut heights: Vec<f64> = points.iter().map(|point| point[2]).collect();
    heights.sort_by(f64::total_cmp);
    heights.dedup_by(|a, b| (*a - *b).abs() < 1e-9);
    let mut sections = Vec::new();
    for height in heights {
        let section: Vec<[f64; 2]> =
            points.iter().filter(|point| (point[2] - height).abs() < 1e-9).map(|point| [point[0], point[1]]).collect();
        match zone_and_radius(&section) {
            Ok((zone, radius)) => sections.push((zone, 2.0 * radius)),
            Err(_) => {
                sections.clear();
                computed.note("not every height has four readings all around, so out_of_round and taper are left out");
                break;
            }
        }
    }
    if !sections.is_empty() {
        let most = |f: &dyn Fn(&(f64, f64)) -> f64| sections.iter().map(f).fold(f64::NEG_INFINITY, f64::max);
        computed.put("out_of_round", most(&|section| section.0));
        computed.put("taper", most(&|section| section.1) + most(&|section| -section.1));
    }
    if form == "diameters" {
        computed.note("diameters say nothing about an odd number of lobes nor about a bent axis");
    }
    computed.note("the smallest zone is found by linear steps from the axis of least squares; each step is exact, that no quite other axis is better is not proved");
    Ok(computed)
}

/// Straightness of a line or an axis.
pub const LINE_STRAIGHTNESS: Calculator = Calculator {
    id: "line-straightness",
    group: Group::Bores,
    name: "Straightness of a line or an axis",
    meaning: "straightness of a surface line, or of the axis of bores or journals, from stations along it",
    inputs: &[
        Input::table(
            "stations",
            Unit::MILLIMETRE,
            "one row per station: place, height of the surface; or place, and both offsets of the centre",
        ),
        Input::number("u", Unit::MILLIMETRE, "standard uncertainty of one offset")
            .optional()
            .within(Domain::NotNegative),
    ],
    outputs: &[
        Output::new(
            "straightness",
            Unit::MILLIMETRE,
            "smallest distance of two parallel lines, or diameter of the smallest straight cylinder, that holds all stations",
        ),
        Output::new(
            "least_squares",
            Unit::MILLIMETRE,
            "highest to lowest station from the line of least squares, for a surface",
        ),
        Output::new(
            "neighbour_step",
            Unit::MILLIMETRE,
            "largest offset of a station from the line through its two neighbours",
        ),
    ],
    workings: &[
        "straightness is the least, over all lines, of the distance of two parallel lines with all stations between them; for an axis the diameter of the smallest straight cylinder that holds all stations",
        "least_squares is the highest less the lowest station from the line of least squares",
        "neighbour_step is the largest offset of a station from the straight line through the two stations beside it",
    ],
    sources: &["ISO 1101 and ISO 12780-1 [published]; the search proves its answer, worked out here"],
    example: &[("stations", "0,0,0; 110,0.012,0.004; 220,0.020,0.010; 330,0.014,0.006; 440,0,0"), ("u", "0.002 mm")],
    cautions: &[],
    formula: line_straightness,
};

fn line_straightness(given: &Given) -> Result<Computed, CalcError> {
    let rows = given.table("stations");
    let wide = rows.first().map_or(0, Vec::len);
    if rows.len() > MOST_STATIONS {
        return Err(given.do_not_go_together(format!("stations has {} rows; give at most {MOST_STATIONS}", rows.len())));
    }
    let refused = |error: RoundnessError| given.do_not_go_together(error.to_string());
    // One station against two others that share its weight: at most the root of two.
    let of_zone = std::f64::consts::SQRT_2 * given.optional("u").unwrap_or(0.0);
    let mut computed = Computed::default();
    let centres: Vec<[f64; 3]> = match wide {
        2 => {
            let points: Vec<[f64; 2]> = columns(given, "stations", "place, height")?;
            let not_a_line = |error: crate::flatness::FlatnessError| {
                given.do_not_go_together(if points.len() < 3 {
                    format!("{} stations always lie on a line; measure at least three", points.len())
                } else {
                    error.to_string()
                })
            };
            computed.put_with("straightness", minimum_zone_of_line(&points).map_err(not_a_line)?, of_zone);
            computed.put("least_squares", least_squares_of_line(&points).map_err(not_a_line)?);
            points.iter().map(|point| [point[1], 0.0, point[0]]).collect()
        }
        3 => {
            let rows: Vec<[f64; 3]> = columns(given, "stations", "place, offset, offset")?;
            let centres: Vec<[f64; 3]> = rows.iter().map(|row| [row[1], row[2], row[0]]).collect();
            computed.put_with("straightness", axis_straightness(&centres).map_err(refused)?, of_zone);
            centres
        }
        other => {
            return Err(given.do_not_go_together(format!(
                "stations has {other} columns; give two for a surface (place, height) or three for an axis (place, offset, offset)"
            )));
        }
    };
    let step = centres
        .windows(3)
        .filter(|three| three[2][2] > three[1][2] && three[1][2] > three[0][2])
        .map(|three| {
            let part = (three[1][2] - three[0][2]) / (three[2][2] - three[0][2]);
            let off = |k: usize| three[1][k] - three[0][k] - part * (three[2][k] - three[0][k]);
            off(0).hypot(off(1))
        })
        .fold(f64::NEG_INFINITY, f64::max);
    if step.is_finite() {
        computed.put("neighbour_step", step);
    }
    computed.note("noise of the readings makes a line look less straight than it is");
    computed.note("a long bow may pass where a step between neighbours does not; hold both against the limits in the engine's manual");
    Ok(computed)
}
