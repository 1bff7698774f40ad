//! A smooth face through measured heights, with its doubt: what a picture of a warped face draws.
//!
//! The face is a plane of any tilt, plus quadratic and cubic terms, plus a smooth field of chance; heights at points, each with
//! its doubt, condition it. Everything is normal, so mean and doubt come in closed form (kriging with a plane). It is a picture
//! and no verdict: a limit is judged by the smallest zone of what was measured.
#![expect(clippy::indexing_slicing, reason = "a square table of the points' own size")]

use thiserror::Error;

use crate::flatness::{FlatnessError, Point, minimum_zone};
use crate::straightedge::{EdgeSurvey, StraightedgeError};

/// The most points; the work grows with their square for every place drawn \[ours\].
const MOST_POINTS: usize = 2000;
/// Smallest doubt of a height, in mm \[ours: far below any gauge, and enough for the table to stay regular\].
const LEAST_U: f64 = 1e-4;

/// A height at a place, and its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WarpPoint {
    /// Along and across, in mm.
    pub place: [f64; 2],
    /// Height in mm, over any plane.
    pub height: f64,
    /// Standard uncertainty in mm.
    pub u: f64,
}

/// How faces of this kind are bent, before anything is measured.
///
/// Places count from -1 to 1 over the face drawn, along and across.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WarpPrior {
    /// Standard deviation of bow (along²), twist (along times across) and crown (across²), in mm.
    pub quadratic: [f64; 3],
    /// Standard deviation of each of the cubic terms along³, along² across, along across², in mm.
    pub cubic: f64,
    /// Standard deviation of the field, in mm.
    pub field: f64,
    /// Length over which the field holds together, in mm.
    pub reach: f64,
}

impl WarpPrior {
    /// What drew the five heads of reference/faces well; no more than that is known for it \[ours\].
    pub const USUAL: Self = Self { quadratic: [0.04, 0.04, 0.015], cubic: 0.008, field: 0.005, reach: 38.0 };
}

/// The part of the face that is drawn, and how finely.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WarpFrame {
    /// Lowest place along and across, in mm.
    pub from: [f64; 2],
    /// Highest place along and across, in mm.
    pub to: [f64; 2],
    /// How many places along, at least two.
    pub columns: usize,
    /// How many places across, at least two.
    pub rows: usize,
    /// Ground further than this from every point and line counts as unseen, in mm.
    pub sight: f64,
}

/// Columns and rows of a face as it is usually drawn \[ours\].
const GRID: (usize, usize) = (48, 24);
/// How far from a point or line a face still counts as seen, as a part of its longer side \[ours\].
const SIGHT: f64 = 0.1;

impl WarpFrame {
    /// The frame from one corner to the other, as finely as faces are usually drawn.
    #[must_use]
    pub fn over(from: [f64; 2], to: [f64; 2]) -> Self {
        let sight = SIGHT * (to[0] - from[0]).max(to[1] - from[1]);
        Self { from, to, columns: GRID.0, rows: GRID.1, sight }
    }
}

/// A drawn face.
///
/// Rows run across and columns along; the columns of a row stand next to one another.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct WarpSurface {
    /// Places along, one per column.
    pub along: Vec<f64>,
    /// Places across, one per row.
    pub across: Vec<f64>,
    /// Height over the middle plane of the smallest zone of the points, in mm.
    pub height: Vec<f64>,
    /// Standard deviation of it, in mm, as far as the prior is right.
    pub sd: Vec<f64>,
    /// Whether a point or a line lies within sight.
    pub seen: Vec<bool>,
}

/// Why there is nothing to draw.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum WarpError {
    /// The points have no flatness.
    #[error(transparent)]
    Points(#[from] FlatnessError),
    /// The readings have no interval.
    #[error(transparent)]
    Readings(#[from] StraightedgeError),
    /// More points than are worked.
    #[error("{count} points are more than the {MOST_POINTS} that are drawn through; leave out every second one")]
    TooMany {
        /// How many.
        count: usize,
    },
    /// The frame or the prior is no frame or prior.
    #[error("{what} must be {wanted}")]
    Frame {
        /// Which number.
        what: &'static str,
        /// Its range.
        wanted: &'static str,
    },
    /// Points, doubts and prior contradict each other numerically.
    #[error(
        "no smooth face could be laid through these points; look for two heights at one place, or state a larger doubt"
    )]
    NotSolved,
}

/// A smooth face through points with heights.
///
/// # Shapes
/// At least four points not on one line, at most 2000; `lines` are pairs of ends along which was measured, for what counts as
/// seen only, and may be empty.
/// # Units
/// mm.
/// # Errors
/// [`WarpError`].
/// # Source
/// Conditioning of a normal field with an unknown plane (universal kriging) \[published: Rasmussen and Williams, Gaussian
/// Processes for Machine Learning, 2006, section 2.7\].
pub fn warp_surface(
    points: &[WarpPoint],
    lines: &[[[f64; 2]; 2]],
    prior: &WarpPrior,
    frame: &WarpFrame,
) -> Result<WarpSurface, WarpError> {
    if points.len() > MOST_POINTS {
        return Err(WarpError::TooMany { count: points.len() });
    }
    ensure_frame(points, prior, frame)?;
    let measured: Vec<Point> = points.iter().map(|point| [point.place[0], point.place[1], point.height]).collect();
    let zone = minimum_zone(&measured)?;
    let tilted = |place: [f64; 2]| zone.slope[0] * place[0] + zone.slope[1] * place[1];
    let level: Vec<f64> = points.iter().map(|point| point.height - tilted(point.place)).collect();
    let low = level.iter().copied().fold(f64::INFINITY, f64::min);
    let high = level.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let level: Vec<f64> = level.iter().map(|height| height - f64::midpoint(low, high)).collect();

    let field = Field { prior, frame };
    let fitted = Fitted::new(&field, points, &level).ok_or(WarpError::NotSolved)?;
    let between = |k: usize, count: usize| {
        let step = (frame.to[k] - frame.from[k]) / f64::from(u32::try_from(count - 1).unwrap_or(u32::MAX));
        (0..count).map(|i| frame.from[k] + step * f64::from(u32::try_from(i).unwrap_or(u32::MAX))).collect::<Vec<f64>>()
    };
    let (along, across) = (between(0, frame.columns), between(1, frame.rows));
    let size = along.len() * across.len();
    let (mut height, mut sd, mut seen) = (Vec::with_capacity(size), Vec::with_capacity(size), Vec::with_capacity(size));
    for &y in &across {
        for &x in &along {
            let (mean, spread) = fitted.at(&field, points, [x, y]);
            height.push(mean);
            sd.push(spread);
            let by_point = points.iter().any(|point| (point.place[0] - x).hypot(point.place[1] - y) <= frame.sight);
            seen.push(by_point || lines.iter().any(|line| distance_to(line, [x, y]) <= frame.sight));
        }
    }
    Ok(WarpSurface { along, across, height, sd, seen })
}

/// A smooth face through the middle of what straightedge readings allow.
///
/// The heights are those of [`EdgeSurvey::middle`]; the doubt of each is that of an even spread over its range, as if the
/// ranges were independent: a picture of where the readings hold the face and where they do not, with no claim of coverage.
/// What bounds the flatness is the interval of the survey and not this face.
///
/// # Errors
/// [`WarpError`].
pub fn warp_of_survey(
    survey: &EdgeSurvey,
    lines: &[[[f64; 2]; 2]],
    prior: &WarpPrior,
    frame: &WarpFrame,
) -> Result<WarpSurface, WarpError> {
    let heights = survey.middle()?;
    let points: Vec<WarpPoint> = survey
        .stations()
        .iter()
        .zip(&heights)
        // An even spread over a width w has the standard deviation w / sqrt(12) (JCGM 100:2008, 4.3.7 [published]).
        .map(|(place, at)| WarpPoint {
            place: *place,
            height: at.height,
            u: (at.high - at.low).max(0.0) / 12.0_f64.sqrt(),
        })
        .collect();
    warp_surface(&points, lines, prior, frame)
}

/// What a face is mostly bent like.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FaceShape {
    /// How far the middle lies over the ends, along, in mm.
    pub bow: f64,
    /// How far the middle lies over the sides, across, in mm.
    pub crown: f64,
    /// How far the first corner and the one opposite it stand over the other two, in mm.
    pub twist: f64,
    /// The point that is furthest off bow, crown and twist together, in mm; above counts up.
    pub local: f64,
    /// Where that point lies.
    pub local_at: [f64; 2],
}

/// Bow, crown and twist of a face by least squares through its points, and what they leave at the worst point; nothing where
/// the points do not tell them apart.
///
/// # Shapes
/// At least seven points: six numbers are fitted, and something must be left.
/// # Units
/// mm.
/// # Source
/// Least squares of plane, along², across² and along × across, places counted from -1 to 1 over the points; geometry, worked
/// out here.
#[must_use]
pub fn face_shape(points: &[Point]) -> Option<FaceShape> {
    const FITTED: usize = 6;
    if points.len() <= FITTED {
        return None;
    }
    let ends = |k: usize| {
        points.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), p| (low.min(p[k]), high.max(p[k])))
    };
    let spans = [ends(0), ends(1)];
    if spans.iter().any(|(low, high)| high - low <= 0.0) {
        return None;
    }
    let row = |point: &Point| {
        let part = |k: usize| 2.0 * (point[k] - spans[k].0) / (spans[k].1 - spans[k].0) - 1.0;
        let (u, v) = (part(0), part(1));
        [1.0, u, v, u * u, u * v, v * v]
    };
    let mut table = [[0.0; FITTED + 1]; FITTED];
    for point in points {
        let own = row(point);
        for (i, line) in table.iter_mut().enumerate() {
            for (j, cell) in line.iter_mut().enumerate() {
                *cell += own[i] * if j < FITTED { own[j] } else { point[2] };
            }
        }
    }
    for column in 0..FITTED {
        let best = (column..FITTED).max_by(|&a, &b| table[a][column].abs().total_cmp(&table[b][column].abs()))?;
        table.swap(column, best);
        let pivot = table[column];
        if pivot[column].abs() < 1e-6 {
            return None;
        }
        for (place, line) in table.iter_mut().enumerate() {
            if place != column {
                let factor = line[column] / pivot[column];
                for (cell, above) in line.iter_mut().zip(&pivot) {
                    *cell -= factor * above;
                }
            }
        }
    }
    let fitted: [f64; FITTED] = std::array::from_fn(|k| table[k][FITTED] / table[k][k]);
    let rest = |point: &Point| point[2] - row(point).iter().zip(&fitted).map(|(a, b)| a * b).sum::<f64>();
    let worst = points.iter().max_by(|a, b| rest(a).abs().total_cmp(&rest(b).abs()))?;
    Some(FaceShape {
        bow: -fitted[3],
        crown: -fitted[5],
        twist: 2.0 * fitted[4],
        local: rest(worst),
        local_at: [worst[0], worst[1]],
    })
}

fn ensure_frame(points: &[WarpPoint], prior: &WarpPrior, frame: &WarpFrame) -> Result<(), WarpError> {
    let finite = |numbers: &[f64]| numbers.iter().all(|number| number.is_finite());
    let wrong = |what, wanted| Err(WarpError::Frame { what, wanted });
    if !finite(&[frame.from[0], frame.from[1], frame.to[0], frame.to[1]])
        || frame.from[0] >= frame.to[0]
        || frame.from[1] >= frame.to[1]
    {
        return wrong("the upper end of the frame", "above its lower end, both finite");
    }
    if !(2..=1000).contains(&frame.columns) || !(2..=1000).contains(&frame.rows) {
        return wrong("the number of places along and across", "between 2 and 1000");
    }
    if !frame.sight.is_finite() || frame.sight < 0.0 {
        return wrong("the distance of sight", "zero or more, in mm");
    }
    let spreads = [prior.quadratic[0], prior.quadratic[1], prior.quadratic[2], prior.cubic, prior.field];
    if !finite(&spreads) || spreads.iter().any(|spread| *spread < 0.0) || !prior.reach.is_finite() || prior.reach <= 0.0
    {
        return wrong("each standard deviation of the prior", "zero or more, and its reach above zero");
    }
    if points.iter().any(|point| !point.u.is_finite() || point.u < 0.0) {
        return wrong("the doubt of each height", "zero or more, in mm");
    }
    Ok(())
}

fn distance_to(line: &[[f64; 2]; 2], place: [f64; 2]) -> f64 {
    let [p, q] = line;
    let run = [q[0] - p[0], q[1] - p[1]];
    let square = run[0] * run[0] + run[1] * run[1];
    let part = ((place[0] - p[0]) * run[0] + (place[1] - p[1]) * run[1]) / square.max(f64::MIN_POSITIVE);
    let part = part.clamp(0.0, 1.0);
    (place[0] - p[0] - part * run[0]).hypot(place[1] - p[1] - part * run[1])
}

/// The prior over a frame.
struct Field<'a> {
    prior: &'a WarpPrior,
    frame: &'a WarpFrame,
}

impl Field<'_> {
    /// Constant, along, across: each from -1 to 1.
    fn plane(&self, place: [f64; 2]) -> [f64; 3] {
        let part = |k: usize| 2.0 * (place[k] - self.frame.from[k]) / (self.frame.to[k] - self.frame.from[k]) - 1.0;
        [1.0, part(0), part(1)]
    }

    fn bent(&self, place: [f64; 2]) -> [f64; 6] {
        let [_, u, v] = self.plane(place);
        let [bow, twist, crown] = self.prior.quadratic;
        let cubic = self.prior.cubic;
        [bow * u * u, twist * u * v, crown * v * v, cubic * u * u * u, cubic * u * u * v, cubic * u * v * v]
    }

    fn together(&self, a: [f64; 2], b: [f64; 2]) -> f64 {
        let bent: f64 = self.bent(a).iter().zip(self.bent(b)).map(|(x, y)| x * y).sum();
        let apart = (a[0] - b[0]).hypot(a[1] - b[1]) / self.prior.reach;
        bent + self.prior.field * self.prior.field * (-apart * apart / 2.0).exp()
    }
}

/// What is worked out once for all places.
struct Fitted {
    /// The lower triangle of the points' covariance, row by row.
    lower: Vec<Vec<f64>>,
    /// The three columns of the plane, solved against it.
    planes: [Vec<f64>; 3],
    /// The plane through the points.
    plane: [f64; 3],
    /// Inverse of the plane's own information.
    of_plane: [[f64; 3]; 3],
    /// What the plane leaves of the heights, solved against the triangle.
    rest: Vec<f64>,
}

impl Fitted {
    fn new(field: &Field<'_>, points: &[WarpPoint], level: &[f64]) -> Option<Self> {
        let mut lower: Vec<Vec<f64>> = Vec::with_capacity(points.len());
        for (i, a) in points.iter().enumerate() {
            let mut row: Vec<f64> = Vec::with_capacity(i + 1);
            for (j, b) in points.iter().enumerate().take(i + 1) {
                let noise = if i == j { a.u.max(LEAST_U).powi(2) } else { 0.0 };
                let sum = field.together(a.place, b.place) + noise;
                let other: &[f64] = if i == j { &row } else { &lower[j] };
                let rest = sum - row.iter().zip(other).map(|(x, y)| x * y).sum::<f64>();
                if i == j {
                    if rest <= 0.0 {
                        return None;
                    }
                    row.push(rest.sqrt());
                } else {
                    row.push(rest / lower[j][j]);
                }
            }
            lower.push(row);
        }
        let planes = [0, 1, 2].map(|k| {
            let column: Vec<f64> = points.iter().map(|point| field.plane(point.place)[k]).collect();
            forward(&lower, &column)
        });
        let heights = forward(&lower, level);
        let product = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(x, y)| x * y).sum::<f64>();
        let information: [[f64; 3]; 3] =
            std::array::from_fn(|i| std::array::from_fn(|j| product(&planes[i], &planes[j])));
        let of_plane = inverse(&information)?;
        let told: [f64; 3] = std::array::from_fn(|k| product(&planes[k], &heights));
        let plane: [f64; 3] = std::array::from_fn(|i| product(&of_plane[i], &told));
        let rest = heights
            .iter()
            .enumerate()
            .map(|(i, height)| height - (0..3).map(|k| plane[k] * planes[k][i]).sum::<f64>())
            .collect();
        Some(Self { lower, planes, plane, of_plane, rest })
    }

    /// Mean and standard deviation at a place.
    fn at(&self, field: &Field<'_>, points: &[WarpPoint], place: [f64; 2]) -> (f64, f64) {
        let with: Vec<f64> = points.iter().map(|point| field.together(point.place, place)).collect();
        let solved = forward(&self.lower, &with);
        let product = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(x, y)| x * y).sum::<f64>();
        let here = field.plane(place);
        let mean = product(&here, &self.plane) + product(&solved, &self.rest);
        let left: [f64; 3] = std::array::from_fn(|k| here[k] - product(&self.planes[k], &solved));
        let by_plane: f64 = (0..3).map(|i| left[i] * product(&self.of_plane[i], &left)).sum();
        let variance = field.together(place, place) - product(&solved, &solved) + by_plane;
        (mean, variance.max(0.0).sqrt())
    }
}

/// Solves the lower triangle against a column.
fn forward(lower: &[Vec<f64>], column: &[f64]) -> Vec<f64> {
    let mut solved: Vec<f64> = Vec::with_capacity(column.len());
    for (row, value) in lower.iter().zip(column) {
        let known: f64 = row.iter().zip(&solved).map(|(a, b)| a * b).sum();
        solved.push((value - known) / row[solved.len()]);
    }
    solved
}

fn inverse(m: &[[f64; 3]; 3]) -> Option<[[f64; 3]; 3]> {
    let minor = |i: usize, j: usize| {
        let (a, b, c, d) = ((i + 1) % 3, (i + 2) % 3, (j + 1) % 3, (j + 2) % 3);
        m[a][c] * m[b][d] - m[a][d] * m[b][c]
    };
    let whole: f64 = (0..3).map(|j| m[0][j] * minor(0, j)).sum();
    let size = m.iter().flatten().fold(0.0_f64, |most, cell| most.max(cell.abs()));
    if whole.abs() <= 1e-14 * size * size * size {
        return None;
    }
    Some(std::array::from_fn(|i| std::array::from_fn(|j| minor(j, i) / whole)))
}
