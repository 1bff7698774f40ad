//! What feeler readings along several straightedge lines say about a face: the interval of its flatness.
//!
//! A line's edge is straight with two free numbers (where it lies is not known); a gap is the edge less the height of the
//! face. "This blade passes, that one is refused" keeps a gap between two numbers, widened by what edge and blades may be
//! wrong. Lines that share stations tie the heights together. All faces that explain the readings form a convex set; the
//! least flatness in it is one linear programme, the greatest is the largest of many small ones: flatness is the largest
//! weighted sum over all *circuits*, four stations whose weights kill every plane and add up to two in size. That the edge
//! touches the face somewhere is an either-or and left out, so the interval can only come out wider.
//!
//! The interval is about the stations. What lies between the lines is unseen.
#![expect(clippy::indexing_slicing, reason = "stations, lines and circuits are numbered by this module itself")]

use quantity::Unit;
use thiserror::Error;

use crate::catalogue::{Calculator, Computed, Domain, Group, Input, Output};
use crate::error::CalcError;
use crate::flatness::{FlatnessError, Point, least_squares_of_line, minimum_zone, minimum_zone_of_line, worst_stretch};
use crate::given::Given;
use crate::simplex::{Fault, Programme, part_of_one};

/// Stations nearer than this are one place, in mm \[ours\].
const SAME_PLACE: f64 = 1.0;
/// A station further off its line than this is refused, in mm: at a slope of a thousandth it would falsify a gap by a
/// micrometre \[ours\].
const OFF_LINE: f64 = 1.0;
/// What lines must hold each other by, as an entry of their table (places in 100 mm): more than stations beside their line
/// can feign, less than stations 15 mm apart give \[ours\].
const HOLD: f64 = 0.04;
/// What is added to the kink index to make the kink limit, in mm \[ours: an assumption about how smooth a face is\].
pub const KINK_ALLOWANCE: f64 = 0.005;
/// The least kink allowance that is worked with, in mm: with none, one single face may be left, and no room to search \[ours\].
const LEAST_ALLOWANCE: f64 = 1e-5;
/// Margin of a gap at which the kink index is taken when edge and blades are worse than that, in mm \[ours: the margin at which
/// index and allowance were tried on the five heads of reference/faces\].
const KINK_MARGIN: f64 = 0.010;
/// Every bound is let out by up to this much, in mm, so that no two programmes tie; results widen by about as much \[ours\].
const LET_OUT: f64 = 1e-9;
/// With more stations than this the circuits are not enumerated.
const MOST_STATIONS: usize = 64;

/// One station of a line: where, and between which blades the gap lies.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EdgeStation {
    /// Along and across the face, in mm.
    pub place: [f64; 2],
    /// Thickest blade that passes, in mm; nought when none does.
    pub passes: f64,
    /// Thinnest blade that is refused, in mm.
    pub refused: f64,
}

/// A straightedge laid down once: its stations in sequence.
pub type EdgeLine = Vec<EdgeStation>;

/// How wrong edge and blades may be, and how smooth the face is taken to be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EdgeAssumptions {
    /// Standard uncertainty of the edge's straightness, in mm.
    pub edge_u: f64,
    /// Standard uncertainty of a blade's thickness, in mm.
    pub blade_u: f64,
    /// What a kink may exceed the least that explains the readings, in mm; none for no limit.
    pub kink_allowance: Option<f64>,
}

/// Why readings give no interval.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum StraightedgeError {
    /// A line with fewer than three stations says nothing.
    #[error("line {line} has {count} stations; a line says something from three stations on, at both ends and between")]
    ShortLine {
        /// Which line, from 1.
        line: usize,
        /// How many stations.
        count: usize,
    },
    /// A station beside its line.
    #[error(
        "station {station} of line {line} lies {off:.1} mm beside the line through its first and last station; look for a mistyped place"
    )]
    BesideLine {
        /// Which line, from 1.
        line: usize,
        /// Which station, from 1.
        station: usize,
        /// How far, in mm.
        off: f64,
    },
    /// Stations out of sequence or at one place.
    #[error(
        "station {station} of line {line} does not lie further along than the one before; give the stations in sequence"
    )]
    Sequence {
        /// Which line, from 1.
        line: usize,
        /// Which station, from 1.
        station: usize,
    },
    /// A gap that is no gap.
    #[error("station {station} of line {line}: {what}")]
    Gap {
        /// Which line, from 1.
        line: usize,
        /// Which station, from 1.
        station: usize,
        /// What is wrong and what to do.
        what: String,
    },
    /// The pattern does not bound the flatness.
    #[error("these lines do not hold each other: {loose}; {add}")]
    Loose {
        /// What floats.
        loose: String,
        /// The line or stations to add.
        add: String,
    },
    /// No face explains the readings.
    #[error(
        "no face explains these readings, the last straw being {at}; read that place again, or state a larger error of edge or blades"
    )]
    Contradiction {
        /// Which reading.
        at: String,
    },
    /// The steps did not come to an end.
    #[error("the linear programme did not come to an end; look for gaps or places of very different size")]
    NotSolved,
}

/// The interval of flatness at the stations.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EdgeInterval {
    /// No face that explains the readings is flatter, in mm.
    pub least: f64,
    /// No face that explains the readings is less flat, in mm: proved, and not always reached.
    pub ceiling: f64,
    /// The least flat face found that explains the readings, in mm.
    pub found: f64,
    /// Linear programmes solved.
    pub programmes: usize,
}

impl EdgeInterval {
    /// Whether the greatest flatness is proved: what was found meets the ceiling.
    #[must_use]
    pub fn proved(&self) -> bool {
        self.ceiling - self.found <= 1e-6
    }
}

/// How far the search for the greatest flatness has come.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EdgeProgress {
    /// Circuits dealt with.
    pub done: usize,
    /// Circuits in all that could still matter when the search began.
    pub of: usize,
    /// Greatest found so far, in mm.
    pub found: f64,
    /// Proved ceiling so far, in mm.
    pub ceiling: f64,
}

/// Four stations whose weights kill every plane and add up to two in size, and the most they can come to.
#[derive(Debug, Clone, Copy)]
struct Circuit {
    stations: [usize; 4],
    weights: [f64; 4],
    ceiling: f64,
}

/// Readings along several lines, ready to be asked.
#[derive(Debug, Clone)]
pub struct EdgeSurvey {
    places: Vec<[f64; 2]>,
    seen: Vec<Vec<Seen>>,
    kink_index: f64,
    kink_limit: Option<f64>,
    programme: Programme,
    base: [usize; 3],
}

/// A reading: place along the line, which station of the face, and the bounds of its gap.
#[derive(Debug, Clone, Copy)]
struct Seen {
    along: f64,
    station: usize,
    low: f64,
    high: f64,
}

impl EdgeSurvey {
    /// Readings along several lines, checked and ready to be asked.
    ///
    /// # Shapes
    /// Lines in any sequence, their stations in sequence; stations within 1 mm of one another are one place.
    /// # Units
    /// Everything in mm.
    /// # Errors
    /// [`StraightedgeError`]: what is mistyped, contradictory, or bounds nothing.
    /// # Source
    /// Geometry of a straight edge over a face, worked out here. Blade passing and blade refused are widened by
    /// `2 * sqrt(edge_u² + blade_u²)`, twice the combined standard uncertainty (JCGM 100:2008, 6.2.1 \[published\]).
    pub fn new(lines: &[EdgeLine], assumptions: EdgeAssumptions) -> Result<Self, StraightedgeError> {
        let margin = 2.0 * assumptions.edge_u.hypot(assumptions.blade_u);
        let (places, seen) = read(lines, margin)?;
        ensure_held(&places, &seen)?;
        let base = wide_triple(&places).ok_or_else(|| StraightedgeError::Loose {
            loose: "all stations lie on one line".to_owned(),
            add: "add lines across".to_owned(),
        })?;
        // A worse edge explains more with less kink; it must not make the face smoother, so the index is taken at the
        // usual margin as long as the readings allow it.
        let (_, usual) = read(lines, margin.min(KINK_MARGIN))?;
        let kink_index = kink_index(&places, &usual, base).or_else(|_| kink_index(&places, &seen, base))?;
        let kink_limit = assumptions.kink_allowance.map(|allowance| kink_index + allowance.max(LEAST_ALLOWANCE));
        let shape = Shape::of(&places, &seen, &base);
        let (mut rows, mut bounds) = (shape.gaps(&seen), shape.gap_bounds(&seen));
        if let Some(limit) = kink_limit {
            let kinks = shape.kinks(&seen);
            bounds.extend(kinks.iter().map(|_| (-limit, limit)));
            rows.extend(kinks);
        }
        let watched: Vec<Vec<f64>> = (0..places.len()).map(|station| shape.height(station)).collect();
        let programme = Programme::new(shape.columns, &rows, &let_out(&bounds), &watched)
            .map_err(|fault| refused(fault, &seen, &places))?;
        Ok(Self { places, seen, kink_index, kink_limit, programme, base })
    }

    /// The stations of the face, each once, in the sequence of first mention.
    #[must_use]
    pub fn stations(&self) -> &[[f64; 2]] {
        &self.places
    }

    /// The least bound on all kinks that explains the readings, in mm: a station's height off the line through its two
    /// neighbours. Large where damage is local. Taken at a margin of 0.010 mm where edge and blades are worse than that.
    #[must_use]
    pub const fn kink_index(&self) -> f64 {
        self.kink_index
    }

    /// The kink limit the interval rests on, in mm.
    #[must_use]
    pub const fn kink_limit(&self) -> Option<f64> {
        self.kink_limit
    }

    /// The flatness of the flattest face that explains the readings, in mm.
    ///
    /// # Errors
    /// [`StraightedgeError::NotSolved`].
    pub fn least(&self) -> Result<f64, StraightedgeError> {
        // Heights lie between nought and the flatness: that takes the place of a plane held fast.
        let shape = Shape::of(&self.places, &self.seen, &[]);
        let widen = |mut row: Vec<f64>, last: f64| {
            row.push(last);
            row
        };
        let mut rows: Vec<Vec<f64>> = shape.gaps(&self.seen).into_iter().map(|row| widen(row, 0.0)).collect();
        let mut bounds = shape.gap_bounds(&self.seen);
        if let Some(limit) = self.kink_limit {
            for row in shape.kinks(&self.seen) {
                rows.push(widen(row, 0.0));
                bounds.push((-limit, limit));
            }
        }
        for station in 0..self.places.len() {
            rows.push(widen(shape.height(station), 0.0));
            bounds.push((0.0, f64::INFINITY));
            rows.push(widen(shape.height(station).iter().map(|entry| -entry).collect(), 1.0));
            bounds.push((0.0, f64::INFINITY));
        }
        let watched = vec![widen(vec![0.0; shape.columns], 1.0)];
        let mut programme = Programme::new(shape.columns + 1, &rows, &let_out(&bounds), &watched)
            .map_err(|fault| refused(fault, &self.seen, &self.places))?;
        let least = -programme.most(&[(0, -1.0)]).map_err(|_| StraightedgeError::NotSolved)?;
        Ok(least.max(0.0))
    }

    /// The interval with a proved ceiling, at once: the least exactly, the greatest by ranges of single heights.
    ///
    /// Held level on three far stations, every face that explains the readings has each of its heights in a range (two
    /// programmes a station). A circuit comes to no more than its best ends of those ranges; four such triples are held and
    /// the smallest counts. The ceiling is the largest over all circuits, so no face lies above it.
    ///
    /// # Errors
    /// [`StraightedgeError::NotSolved`].
    pub fn quick(&self) -> Result<EdgeInterval, StraightedgeError> {
        let least = self.least()?;
        let mut search = Search::new(self);
        let ranges = search.ranges(self)?;
        let ceiling = search.ceiling(self, &ranges)?;
        Ok(EdgeInterval { least, ceiling, found: search.found, programmes: search.programmes })
    }

    /// The interval with the greatest flatness proved, or with a ceiling when told to stop.
    ///
    /// Circuits are taken in the sequence of their ceilings until the next one lies below what was found: then what was
    /// found is the greatest. `go_on` hears of the progress every few programmes and stops the search with `false`; the
    /// interval then still holds, its ceiling being that of the next circuit.
    ///
    /// # Shapes
    /// Up to 64 stations; with more, the answer is that of [`EdgeSurvey::quick`].
    /// # Errors
    /// [`StraightedgeError::NotSolved`].
    pub fn interval(&self, go_on: &mut dyn FnMut(EdgeProgress) -> bool) -> Result<EdgeInterval, StraightedgeError> {
        let least = self.least()?;
        let mut search = Search::new(self);
        let ranges = search.ranges(self)?;
        if self.places.len() > MOST_STATIONS {
            let ceiling = search.ceiling(self, &ranges)?;
            return Ok(EdgeInterval { least, ceiling, found: search.found, programmes: search.programmes });
        }
        let mut open = circuits(&self.places, &ranges);
        open.retain(|circuit| circuit.ceiling > search.found + LET_OUT);
        open.sort_unstable_by(|a, b| b.ceiling.total_cmp(&a.ceiling));
        let mut ceiling = search.found;
        for (done, circuit) in open.iter().enumerate() {
            if circuit.ceiling <= search.found + LET_OUT {
                break;
            }
            let progress =
                EdgeProgress { done, of: open.len(), found: search.found, ceiling: circuit.ceiling.max(ceiling) };
            if done % 16 == 0 && !go_on(progress) {
                ceiling = circuit.ceiling;
                break;
            }
            search.try_circuit(self, circuit)?;
        }
        ceiling = ceiling.max(search.found).max(search.upright);
        Ok(EdgeInterval { least, ceiling, found: search.found, programmes: search.programmes })
    }

    /// A face in the middle of those that explain the readings, and the range of each of its heights.
    ///
    /// The mean of the extreme faces: it explains the readings itself, because these faces form a convex set. Each range is
    /// exact (two programmes a station), but not every choice of heights from the ranges explains the readings.
    ///
    /// # Shapes
    /// One entry per station of [`EdgeSurvey::stations`].
    /// # Units
    /// mm, over the plane of least squares through the face's own stations.
    /// # Errors
    /// [`StraightedgeError::NotSolved`].
    pub fn middle(&self) -> Result<Vec<EdgeHeight>, StraightedgeError> {
        let mut search = Search::new(self);
        let count = self.places.len();
        let planes = plane_columns(&self.places);
        let mut heights = vec![EdgeHeight { height: 0.0, low: 0.0, high: 0.0 }; count];
        let mut sum = vec![0.0; count];
        for station in 0..count {
            for (sign, up) in [(1.0, true), (-1.0, false)] {
                let weights: Vec<(usize, f64)> = (0..count)
                    .map(|other| {
                        let own = if other == station { 1.0 } else { 0.0 };
                        let plane: f64 = planes.iter().map(|column| column[station] * column[other]).sum();
                        (other, sign * (own - plane))
                    })
                    .collect();
                let most = sign * search.most(&weights)?;
                if up {
                    heights[station].high = most;
                } else {
                    heights[station].low = most;
                }
                for (sum, height) in sum.iter_mut().zip(search.programme.watched()) {
                    *sum += height;
                }
            }
        }
        let faces = 2.0 * f64::from(u32::try_from(count).unwrap_or(u32::MAX));
        let mean: Vec<f64> = sum.iter().map(|sum| sum / faces).collect();
        let plane: Vec<f64> =
            planes.iter().map(|column| column.iter().zip(&mean).map(|(part, height)| part * height).sum()).collect();
        for (station, height) in heights.iter_mut().enumerate() {
            let on_plane: f64 = planes.iter().zip(&plane).map(|(column, part)| column[station] * part).sum();
            height.height = mean[station] - on_plane;
        }
        Ok(heights)
    }
}

/// Between what the straightness of one line lies, as far as stations within one stretch of it tell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StretchInterval {
    /// No line that explains the readings is straighter than this over its least straight stretch, in mm.
    pub least: f64,
    /// No line that explains the readings is less straight than this over its least straight stretch, in mm.
    pub greatest: f64,
    /// Where the stretch of `greatest` begins, from the start of the line, in mm.
    pub from: f64,
    /// Where it ends.
    pub to: f64,
}

/// Between what the straightness of a line lies at its stations, over any stretch of this length; nothing where no three
/// stations lie within one stretch, or where they do not rise along the line.
///
/// Two parallel lines that hold some places are as far apart as the widest of all threes: how far the middle place of a three
/// stands off the straight line through the outer two. Where the edge lay drops out of that. Each gap is free between its
/// blades, so the greatest of a three is taken at their ends; the least of all threes together is the largest of their least
/// ones, because strips that every three places allow have one in common (Helly's theorem for convex sets of the plane).
///
/// # Shapes
/// `stations`: place along the line, lowest and highest gap there, in sequence.
/// # Units
/// mm; the stretch is infinite for the whole line.
/// # Source
/// Geometry, worked out here; Helly's theorem \[published: E. Helly 1923\].
#[must_use]
pub fn stretch_interval(stations: &[(f64, f64, f64)], stretch: f64) -> Option<StretchInterval> {
    if !stations.windows(2).all(|two| two[0].0 < two[1].0) {
        return None;
    }
    let mut found: Option<StretchInterval> = None;
    for (i, a) in stations.iter().enumerate() {
        for (k, c) in stations.iter().enumerate().skip(i + 2).filter(|(_, c)| c.0 - a.0 <= stretch + SAME_PLACE) {
            for b in &stations[i + 1..k] {
                let part = (b.0 - a.0) / (c.0 - a.0);
                let chord = |x: f64, y: f64| x + (y - x) * part;
                let (low, high) = (b.1 - chord(a.2, c.2), b.2 - chord(a.1, c.1));
                let least = low.max(-high).max(0.0);
                let greatest = high.max(-low);
                let held = found.get_or_insert(StretchInterval { least, greatest, from: a.0, to: c.0 });
                held.least = held.least.max(least);
                if greatest > held.greatest {
                    *held = StretchInterval { least: held.least, greatest, from: a.0, to: c.0 };
                }
            }
        }
    }
    found
}

/// A height of the middle face, and between what it lies.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EdgeHeight {
    /// Of the middle face.
    pub height: f64,
    /// No face that explains the readings lies lower here.
    pub low: f64,
    /// No face that explains the readings lies higher here.
    pub high: f64,
}

/// Three columns square to one another that span every plane at the places.
pub(crate) fn plane_columns(places: &[[f64; 2]]) -> [Vec<f64>; 3] {
    let mut columns =
        [vec![1.0; places.len()], places.iter().map(|p| p[0]).collect(), places.iter().map(|p| p[1]).collect()];
    for k in 0..3 {
        let (before, rest) = columns.split_at_mut(k);
        let column = &mut rest[0];
        // Twice, against rounding.
        for earlier in before.iter().chain(before.iter()) {
            let along: f64 = earlier.iter().zip(column.iter()).map(|(a, b)| a * b).sum();
            for (cell, part) in column.iter_mut().zip(earlier) {
                *cell -= along * part;
            }
        }
        let length = column.iter().map(|cell| cell * cell).sum::<f64>().sqrt();
        for cell in column.iter_mut() {
            *cell /= length;
        }
    }
    columns
}

/// Heights measured from the plane through three stations.
struct Level {
    back: [[f64; 3]; 3],
}

impl Level {
    fn on(places: &[[f64; 2]], three: [usize; 3]) -> Self {
        let [a, b, c] = three.map(|station| places[station]);
        let whole = (b[0] - a[0]) * (c[1] - a[1]) - (c[0] - a[0]) * (b[1] - a[1]);
        // Each of the three has a weight linear in the place: constant, along, across.
        let weight = |q: [f64; 2], r: [f64; 2]| {
            [(q[0] * r[1] - r[0] * q[1]) / whole, (q[1] - r[1]) / whole, (r[0] - q[0]) / whole]
        };
        Self { back: [weight(b, c), weight(c, a), weight(a, b)] }
    }

    fn weights(&self, place: [f64; 2]) -> [f64; 3] {
        self.back.map(|w| w[0] + w[1] * place[0] + w[2] * place[1])
    }
}

/// What the search has found.
struct Search {
    programme: Programme,
    /// The widest smallest zone of a face met, square to its planes.
    found: f64,
    /// The most that a circuit came to, measured along the heights: above `found` by the slope of the face, squared.
    upright: f64,
    programmes: usize,
    corners: Vec<Vec<f64>>,
}

impl Search {
    fn new(survey: &EdgeSurvey) -> Self {
        Self { programme: survey.programme.clone(), found: 0.0, upright: 0.0, programmes: 0, corners: Vec::new() }
    }

    fn most(&mut self, weights: &[(usize, f64)]) -> Result<f64, StraightedgeError> {
        self.programmes += 1;
        self.programme.most(weights).map_err(|_| StraightedgeError::NotSolved)
    }

    /// The range of every height, held level on three stations.
    fn range(&mut self, survey: &EdgeSurvey, three: [usize; 3]) -> Result<Vec<(f64, f64)>, StraightedgeError> {
        let level = Level::on(&survey.places, three);
        let mut range = vec![(0.0, 0.0); survey.places.len()];
        for (sign, up) in [(1.0, true), (-1.0, false)] {
            for (station, ends) in range.iter_mut().enumerate() {
                if three.contains(&station) {
                    continue;
                }
                let [a, b, c] = level.weights(survey.places[station]);
                let weights = [(station, sign), (three[0], -sign * a), (three[1], -sign * b), (three[2], -sign * c)];
                let most = sign * self.most(&weights)?;
                if up {
                    ends.1 = most;
                } else {
                    ends.0 = most;
                }
                self.corners.push(self.programme.watched().to_vec());
            }
        }
        Ok(range)
    }

    /// The ranges held level on each three of four far stations, with a good face found on the way.
    fn ranges(&mut self, survey: &EdgeSurvey) -> Result<Vec<Held>, StraightedgeError> {
        let mut ranges = Vec::new();
        for three in far_triples(&survey.places, survey.base) {
            ranges.push(self.range(survey, three)?);
        }
        // The least flat of the corners met is a good beginning; its circuit leads on to a less flat one.
        let mut best: Option<(f64, usize)> = None;
        for (place, corner) in self.corners.iter().enumerate() {
            let width = zone(&survey.places, corner).map_or(0.0, |zone| zone.0);
            if best.is_none_or(|held| width > held.0) {
                best = Some((width, place));
            }
        }
        if let Some((_, place)) = best {
            let face = self.corners[place].clone();
            self.climb(survey, &face)?;
        }
        Ok(ranges)
    }

    /// From a face to the least flat one that its own circuit leads to.
    fn climb(&mut self, survey: &EdgeSurvey, face: &[f64]) -> Result<(), StraightedgeError> {
        let mut face = face.to_vec();
        while let Some((width, carried_by)) = zone(&survey.places, &face) {
            if width <= self.found + LET_OUT {
                break;
            }
            self.found = width;
            let most = self.most(&carried_by)?;
            self.upright = self.upright.max(most);
            face = self.programme.watched().to_vec();
        }
        Ok(())
    }

    fn try_circuit(&mut self, survey: &EdgeSurvey, circuit: &Circuit) -> Result<(), StraightedgeError> {
        let weights: Vec<(usize, f64)> = circuit.stations.iter().copied().zip(circuit.weights).collect();
        let most = self.most(&weights)?;
        self.upright = self.upright.max(most);
        let face = self.programme.watched().to_vec();
        self.climb(survey, &face)
    }

    fn ceiling(&self, survey: &EdgeSurvey, ranges: &[Held]) -> Result<f64, StraightedgeError> {
        let ceiling = if survey.places.len() <= MOST_STATIONS {
            largest_ceiling(&survey.places, ranges)
        } else {
            // The smallest zone round all ends of the ranges holds every face that explains the readings.
            let around = |held: &Held| {
                let ends: Vec<Point> = survey
                    .places
                    .iter()
                    .zip(held)
                    .flat_map(|(place, (low, high))| [[place[0], place[1], *low], [place[0], place[1], *high]])
                    .collect();
                minimum_zone(&ends).map_or(f64::INFINITY, |zone| zone.width)
            };
            ranges.iter().map(around).fold(f64::INFINITY, f64::min)
        };
        if ceiling.is_finite() { Ok(ceiling.max(self.found)) } else { Err(StraightedgeError::NotSolved) }
    }
}

/// Ranges of all heights, held level on three stations.
type Held = Vec<(f64, f64)>;

/// The smallest zone of a face at the stations, twice its weights by station.
fn zone(places: &[[f64; 2]], heights: &[f64]) -> Option<(f64, Vec<(usize, f64)>)> {
    let points: Vec<Point> = places.iter().zip(heights).map(|(place, &height)| [place[0], place[1], height]).collect();
    let zone = minimum_zone(&points).ok()?;
    Some((zone.width, zone.carried_by.iter().map(|&(station, weight)| (station, 2.0 * weight)).collect()))
}

/// Calls `each` with every four stations and their weights; both signs count.
fn for_each_circuit(places: &[[f64; 2]], mut each: impl FnMut([usize; 4], [f64; 4])) {
    let n = places.len();
    let area = |a: usize, b: usize, c: usize| {
        let (p, q, r) = (places[a], places[b], places[c]);
        (q[0] - p[0]) * (r[1] - p[1]) - (r[0] - p[0]) * (q[1] - p[1])
    };
    for i in 0..n {
        for j in i + 1..n {
            for k in j + 1..n {
                let whole = area(i, j, k);
                for l in k + 1..n {
                    let weights = [area(j, k, l), -area(i, k, l), area(i, j, l), -whole];
                    let size: f64 = weights.iter().map(|weight| weight.abs()).sum();
                    if size > 1e-6 {
                        each([i, j, k, l], weights.map(|weight| 2.0 * weight / size));
                    }
                }
            }
        }
    }
}

/// The most a circuit can come to by ranges, with its signs as given and turned over.
fn ceilings(stations: [usize; 4], weights: [f64; 4], ranges: &[Held]) -> (f64, f64) {
    let mut least = (f64::INFINITY, f64::INFINITY);
    for held in ranges {
        let (mut up, mut down) = (0.0, 0.0);
        for (&station, &weight) in stations.iter().zip(&weights) {
            let (low, high) = held[station];
            let (a, b) = (weight * low, weight * high);
            up += a.max(b);
            down -= a.min(b);
        }
        least = (least.0.min(up), least.1.min(down));
    }
    least
}

fn largest_ceiling(places: &[[f64; 2]], ranges: &[Held]) -> f64 {
    let mut largest = 0.0_f64;
    for_each_circuit(places, |stations, weights| {
        let (up, down) = ceilings(stations, weights, ranges);
        largest = largest.max(up).max(down);
    });
    largest
}

fn circuits(places: &[[f64; 2]], ranges: &[Held]) -> Vec<Circuit> {
    let mut all = Vec::new();
    for_each_circuit(places, |stations, weights| {
        let (up, down) = ceilings(stations, weights, ranges);
        all.push(Circuit { stations, weights, ceiling: up });
        all.push(Circuit { stations, weights: weights.map(|weight| -weight), ceiling: down });
    });
    all
}

/// Three stations that span the face.
fn wide_triple(places: &[[f64; 2]]) -> Option<[usize; 3]> {
    let far = |worth: &dyn Fn(&[f64; 2]) -> f64| {
        (0..places.len()).max_by(|&a, &b| worth(&places[a]).total_cmp(&worth(&places[b]))).unwrap_or(0)
    };
    let first = far(&|p| -p[0] - p[1]);
    let second = far(&|p| (p[0] - places[first][0]).hypot(p[1] - places[first][1]));
    let (a, b) = (places[first], places[second]);
    let area = |p: &[f64; 2]| ((b[0] - a[0]) * (p[1] - a[1]) - (p[0] - a[0]) * (b[1] - a[1])).abs();
    let third = far(&area);
    (area(&places[third]) > 1.0).then_some([first, second, third])
}

/// The wide triple and the three others that a fourth far station makes with it.
fn far_triples(places: &[[f64; 2]], base: [usize; 3]) -> Vec<[usize; 3]> {
    let [a, b, c] = base;
    let area = |p: usize, q: usize, r: usize| {
        let (p, q, r) = (places[p], places[q], places[r]);
        ((q[0] - p[0]) * (r[1] - p[1]) - (r[0] - p[0]) * (q[1] - p[1])).abs()
    };
    let least = |s: usize| area(a, b, s).min(area(b, c, s)).min(area(a, c, s));
    let fourth = (0..places.len()).max_by(|&p, &q| least(p).total_cmp(&least(q))).unwrap_or(a);
    let mut triples = vec![base];
    triples
        .extend([[a, b, fourth], [a, c, fourth], [b, c, fourth]].into_iter().filter(|t| area(t[0], t[1], t[2]) > 1.0));
    triples
}

/// Columns of a programme: heights of the stations that are not held at nought, then two numbers per line.
struct Shape {
    columns: usize,
    column_of: Vec<Option<usize>>,
    first_line: usize,
}

impl Shape {
    fn of(places: &[[f64; 2]], seen: &[Vec<Seen>], held: &[usize]) -> Self {
        let mut next = 0;
        let column_of: Vec<Option<usize>> = (0..places.len())
            .map(|station| {
                (!held.contains(&station)).then(|| {
                    next += 1;
                    next - 1
                })
            })
            .collect();
        Self { columns: next + 2 * seen.len(), column_of, first_line: next }
    }

    fn height(&self, station: usize) -> Vec<f64> {
        let mut row = vec![0.0; self.columns];
        if let Some(column) = self.column_of[station] {
            row[column] = 1.0;
        }
        row
    }

    fn gaps(&self, seen: &[Vec<Seen>]) -> Vec<Vec<f64>> {
        let mut rows = Vec::new();
        for (line, stations) in seen.iter().enumerate() {
            for reading in stations {
                let mut row: Vec<f64> = self.height(reading.station).iter().map(|entry| -entry).collect();
                row[self.first_line + 2 * line] = 1.0;
                row[self.first_line + 2 * line + 1] = reading.along / 100.0;
                rows.push(row);
            }
        }
        rows
    }

    fn gap_bounds(&self, seen: &[Vec<Seen>]) -> Vec<(f64, f64)> {
        seen.iter().flatten().map(|reading| (reading.low, reading.high)).collect()
    }

    /// Each inner station's height less that of the line through its two neighbours.
    fn kinks(&self, seen: &[Vec<Seen>]) -> Vec<Vec<f64>> {
        let mut rows = Vec::new();
        for three in seen.iter().flat_map(|stations| stations.windows(3)) {
            let (a, b, c) = (three[0], three[1], three[2]);
            let part = (b.along - a.along) / (c.along - a.along);
            let mut row = vec![0.0; self.columns];
            for (reading, weight) in [(b, 1.0), (a, part - 1.0), (c, -part)] {
                if let Some(column) = self.column_of[reading.station] {
                    row[column] += weight;
                }
            }
            rows.push(row);
        }
        rows
    }
}

/// Bounds let out by a little each, no two alike.
fn let_out(bounds: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let mut chance = 0x2545_F491_u32;
    let mut little = || LET_OUT * (0.5 + part_of_one(&mut chance) / 2.0);
    bounds.iter().map(|(low, high)| (low - little(), high + little())).collect()
}

/// The stations of the face, and the readings line by line.
type Survey = (Vec<[f64; 2]>, Vec<Vec<Seen>>);

fn read(lines: &[EdgeLine], margin: f64) -> Result<Survey, StraightedgeError> {
    let mut places: Vec<[f64; 2]> = Vec::new();
    let mut seen = Vec::new();
    for (number, line) in lines.iter().enumerate() {
        let line_number = number + 1;
        let (Some(first), Some(last)) = (line.first(), line.last()) else {
            return Err(StraightedgeError::ShortLine { line: line_number, count: 0 });
        };
        if line.len() < 3 {
            return Err(StraightedgeError::ShortLine { line: line_number, count: line.len() });
        }
        let mut merged = |station: &EdgeStation| {
            let near =
                |place: &[f64; 2]| (place[0] - station.place[0]).hypot(place[1] - station.place[1]) <= SAME_PLACE;
            places.iter().position(near).unwrap_or_else(|| {
                places.push(station.place);
                places.len() - 1
            })
        };
        for (number, station) in line.iter().enumerate() {
            ensure_gap(station).map_err(|what| StraightedgeError::Gap {
                line: line_number,
                station: number + 1,
                what,
            })?;
        }
        let stations_of_face: Vec<usize> = line.iter().map(&mut merged).collect();
        let (start, end) = (merged(first), merged(last));
        let (start, end) = (places[start], places[end]);
        let run = [end[0] - start[0], end[1] - start[1]];
        let length = run[0].hypot(run[1]);
        let mut stations: Vec<Seen> = Vec::new();
        for (number, (station, at)) in line.iter().zip(stations_of_face).enumerate() {
            let station_number = number + 1;
            let from = [places[at][0] - start[0], places[at][1] - start[1]];
            let along = (from[0] * run[0] + from[1] * run[1]) / length.max(f64::MIN_POSITIVE);
            let off = (from[0] * run[1] - from[1] * run[0]).abs() / length.max(f64::MIN_POSITIVE);
            if stations.last().is_some_and(|before| along <= before.along + SAME_PLACE) {
                return Err(StraightedgeError::Sequence { line: line_number, station: station_number });
            }
            if off > OFF_LINE {
                return Err(StraightedgeError::BesideLine { line: line_number, station: station_number, off });
            }
            let low = (station.passes - margin).max(0.0);
            stations.push(Seen { along, station: at, low, high: station.refused + margin });
        }
        seen.push(stations);
    }
    Ok((places, seen))
}

fn ensure_gap(station: &EdgeStation) -> Result<(), String> {
    let numbers = [station.place[0], station.place[1], station.passes, station.refused];
    if let Some(bad) = numbers.iter().find(|number| !number.is_finite() || number.abs() > 1e5) {
        return Err(format!("{bad} is no place or gap of a face in mm; look for a mistyped value"));
    }
    if station.passes < 0.0 {
        return Err(format!("a blade of {} mm is below zero; type 0 where no blade passes", station.passes));
    }
    if station.refused < station.passes {
        return Err(format!(
            "the blade of {} mm passes and the thinner one of {} mm is refused; swap the two",
            station.passes, station.refused
        ));
    }
    Ok(())
}

/// How many free movements the lines leave: a plane has three.
fn loose_movements(places: &[[f64; 2]], seen: &[Vec<Seen>]) -> usize {
    let shape = Shape::of(places, seen, &[]);
    let mut rows = shape.gaps(seen);
    let mut rank = 0;
    for column in 0..shape.columns {
        let best = (rank..rows.len()).max_by(|&a, &b| rows[a][column].abs().total_cmp(&rows[b][column].abs()));
        let Some(best) = best.filter(|&row| rows[row][column].abs() > HOLD) else { continue };
        rows.swap(rank, best);
        let pivot = rows[rank].clone();
        for row in rows.iter_mut().skip(rank + 1) {
            let factor = row[column] / pivot[column];
            if factor.abs() > 0.0 {
                for (cell, entry) in row.iter_mut().zip(&pivot) {
                    *cell -= factor * entry;
                }
            }
        }
        rank += 1;
    }
    shape.columns - rank
}

/// Refuses lines that leave more than a plane free, with the line to add.
fn ensure_held(places: &[[f64; 2]], seen: &[Vec<Seen>]) -> Result<(), StraightedgeError> {
    let free = loose_movements(places, seen);
    if free <= 3 {
        return Ok(());
    }
    let shared = |line: usize| {
        let on = |station: usize, other: usize| seen[other].iter().any(|reading| reading.station == station);
        let meets = |station: usize| (0..seen.len()).any(|other| other != line && on(station, other));
        seen[line].iter().filter(|reading| meets(reading.station)).count()
    };
    // First the plain mistake: a line that crosses others where neither has a station.
    let floating = (0..seen.len())
        .filter(|&line| shared(line) < 3)
        .map(|line| (line, unmarked_crossings(places, seen, line)))
        .max_by_key(|(_, crossings)| crossings.len())
        .filter(|(_, crossings)| !crossings.is_empty());
    if let Some((line, crossings)) = floating {
        let list: Vec<String> =
            crossings.iter().map(|(other, at)| format!("({:.0}, {:.0}) on line {}", at[0], at[1], other + 1)).collect();
        return Err(StraightedgeError::Loose {
            loose: format!("line {} shares {} stations with the others and floats", line + 1, shared(line)),
            add: format!(
                "lay line {} again with stations where it crosses the others, and read these lines there too: {}",
                line + 1,
                list.join(", ")
            ),
        });
    }
    // Else the line through stations already read that ties up most.
    let mut best: Option<(usize, EdgePath)> = None;
    for a in 0..places.len() {
        for b in a + 1..places.len() {
            let path = stations_between(places, a, b);
            if path.len() < 3 {
                continue;
            }
            let mut more = seen.to_vec();
            more.push(path.iter().map(|&(along, station)| Seen { along, station, low: 0.0, high: 0.0 }).collect());
            let left = loose_movements(places, &more);
            if left < free && best.as_ref().is_none_or(|held| left < held.0) {
                best = Some((left, path));
            }
        }
    }
    let loose = format!("{} movements of the face besides tilting change no gap", free - 3);
    let add = best.map_or_else(
        || {
            "add a line across that has stations on at least three of the lines along, and read these there too"
                .to_owned()
        },
        |(left, path)| {
            let list: Vec<String> = path
                .iter()
                .map(|&(_, station)| format!("({:.0}, {:.0})", places[station][0], places[station][1]))
                .collect();
            let more = if left > 3 { "; more lines are needed after it" } else { "" };
            format!("add a line with stations at {}{more}", list.join(", "))
        },
    );
    Err(StraightedgeError::Loose { loose, add })
}

/// Places along a line and the stations there.
type EdgePath = Vec<(f64, usize)>;

/// The stations on the straight line from one station to another, both included.
fn stations_between(places: &[[f64; 2]], a: usize, b: usize) -> EdgePath {
    let (p, q) = (places[a], places[b]);
    let run = [q[0] - p[0], q[1] - p[1]];
    let length = run[0].hypot(run[1]);
    let mut path: EdgePath = places
        .iter()
        .enumerate()
        .filter_map(|(station, place)| {
            let from = [place[0] - p[0], place[1] - p[1]];
            let along = (from[0] * run[0] + from[1] * run[1]) / length;
            let off = (from[0] * run[1] - from[1] * run[0]).abs() / length;
            (off <= SAME_PLACE && along >= -SAME_PLACE && along <= length + SAME_PLACE).then_some((along, station))
        })
        .collect();
    path.sort_by(|x, y| x.0.total_cmp(&y.0));
    path
}

/// Where a line crosses others at no common station.
fn unmarked_crossings(places: &[[f64; 2]], seen: &[Vec<Seen>], line: usize) -> Vec<(usize, [f64; 2])> {
    let ends = |line: usize| {
        let first = seen[line].first().map_or(0, |reading| reading.station);
        let last = seen[line].last().map_or(0, |reading| reading.station);
        (places[first], places[last])
    };
    let (p, q) = ends(line);
    let mut found = Vec::new();
    for other in (0..seen.len()).filter(|&other| other != line) {
        let (r, s) = ends(other);
        let (u, v) = ([q[0] - p[0], q[1] - p[1]], [s[0] - r[0], s[1] - r[1]]);
        let cross = u[0] * v[1] - u[1] * v[0];
        let size = u[0].hypot(u[1]) * v[0].hypot(v[1]);
        if cross.abs() < 0.01 * size {
            continue;
        }
        let w = [r[0] - p[0], r[1] - p[1]];
        let (t, k) = ((w[0] * v[1] - w[1] * v[0]) / cross, (w[0] * u[1] - w[1] * u[0]) / cross);
        let at = [p[0] + t * u[0], p[1] + t * u[1]];
        let marked = |of: usize| {
            seen[of].iter().any(|reading| {
                let place = places[reading.station];
                (place[0] - at[0]).hypot(place[1] - at[1]) <= SAME_PLACE
            })
        };
        if (-0.02..=1.02).contains(&t) && (-0.02..=1.02).contains(&k) && !(marked(line) && marked(other)) {
            found.push((other, at));
        }
    }
    found
}

/// The least bound on all kinks that explains the readings.
fn kink_index(places: &[[f64; 2]], seen: &[Vec<Seen>], base: [usize; 3]) -> Result<f64, StraightedgeError> {
    let shape = Shape::of(places, seen, &base);
    let widen = |row: &[f64], last: f64| row.iter().copied().chain([last]).collect::<Vec<f64>>();
    let mut rows: Vec<Vec<f64>> = shape.gaps(seen).iter().map(|row| widen(row, 0.0)).collect();
    let mut bounds = shape.gap_bounds(seen);
    for kink in shape.kinks(seen) {
        let turned: Vec<f64> = kink.iter().map(|entry| -entry).collect();
        rows.push(widen(&kink, 1.0));
        rows.push(widen(&turned, 1.0));
        bounds.extend([(0.0, f64::INFINITY); 2]);
    }
    let watched = vec![widen(&vec![0.0; shape.columns], 1.0)];
    let mut programme = Programme::new(shape.columns + 1, &rows, &let_out(&bounds), &watched)
        .map_err(|fault| refused(fault, seen, places))?;
    let least = -programme.most(&[(0, -1.0)]).map_err(|_| StraightedgeError::NotSolved)?;
    Ok(least.max(0.0))
}

fn refused(fault: Fault, seen: &[Vec<Seen>], places: &[[f64; 2]]) -> StraightedgeError {
    let reading = |wanted: usize| {
        let all = seen.iter().enumerate().flat_map(|(line, stations)| {
            stations.iter().enumerate().map(move |(place, reading)| (line + 1, place + 1, reading.station))
        });
        all.into_iter().nth(wanted)
    };
    match fault {
        Fault::Contradiction(row) => StraightedgeError::Contradiction {
            at: reading(row).map_or_else(
                || "the kink limit".to_owned(),
                |(line, station, at)| {
                    format!("station {station} of line {line} at ({:.0}, {:.0})", places[at][0], places[at][1])
                },
            ),
        },
        Fault::Loose | Fault::NoEnd => StraightedgeError::NotSolved,
    }
}

/// Linear programmes after which the calculator stops the search and says that its greatest is a ceiling \[ours\].
const MOST_PROGRAMMES: usize = 20_000;

/// Flatness from gaps under a straightedge, along one line or several.
pub const FLATNESS_STRAIGHTEDGE: Calculator = Calculator {
    id: "flatness-straightedge",
    group: Group::Faces,
    name: "Straightedge and feelers",
    meaning: "along several lines: between what bounds the flatness of the face lies; along one line: how straight it is",
    inputs: &[
        Input::table(
            "readings",
            Unit::MILLIMETRE,
            "one row per station: number of the line, place along, place across, thickest blade that passes (0 for none), thinnest blade refused; or one gap from a dial in place of the two blades",
        )
        .optional(),
        Input::table(
            "gaps",
            Unit::MILLIMETRE,
            "for one line alone, instead of readings: one row per station along the edge: place, gap; stations in sequence",
        )
        .optional(),
        Input::number("edge_error", Unit::MILLIMETRE, "standard uncertainty of the edge's straightness")
            .or("0.004 mm")
            .within(Domain::Between(0.0, 1.0)),
        Input::number("blade_error", Unit::MILLIMETRE, "standard uncertainty of a blade's thickness, or of a gap by dial")
            .or("0.003 mm")
            .within(Domain::Between(0.0, 1.0)),
        Input::number(
            "kink_allowance",
            Unit::MILLIMETRE,
            "how much more than the readings call for a station may lie off its two neighbours; 10 mm for no limit",
        )
        .or("0.005 mm")
        .within(Domain::Between(0.0, 10.0)),
        Input::number("stretch", Unit::MILLIMETRE, "length of the stretch that is moved along each line for the worst part of it").or("150 mm"),
        Input::choice(
            "search",
            "proved looks for the greatest flatness until it is proved; quick gives a ceiling above it at once",
            &["proved", "quick"],
        )
        .or("proved"),
    ],
    outputs: &[
        Output::new("largest_gap", Unit::MILLIMETRE, "largest gap under the edge, or thickest blade that passed"),
        Output::new("least", Unit::MILLIMETRE, "no face that explains the readings is flatter than this at the stations"),
        Output::new("greatest_any", Unit::MILLIMETRE, "no face whatever that explains the readings is less flat than this at the stations"),
        Output::new("greatest", Unit::MILLIMETRE, "the same for a smooth face, none of whose stations stands off its neighbours by more than the limit below"),
        Output::new("worst_found", Unit::MILLIMETRE, "flatness of the least flat smooth face found that explains the readings"),
        Output::new("stations", Unit::PIECE, "stations of the face, shared ones counted once"),
        Output::new("kink_index", Unit::MILLIMETRE, "least height of a station off its two neighbours that the readings call for; large where damage is local"),
        Output::new("kink_limit", Unit::MILLIMETRE, "the same, as allowed: an assumption; damage in one place can exceed it"),
        Output::new(
            "minimum_zone",
            Unit::MILLIMETRE,
            "one line: smallest distance of two parallel lines with all stations between them",
        ),
        Output::new("least_squares", Unit::MILLIMETRE, "one line: highest to lowest station from the line of least squares"),
        Output::new("local_dip", Unit::MILLIMETRE, "one line: largest gap of a station over the line through its two neighbours"),
        Output::new("local_dip_over", Unit::MILLIMETRE, "one line: distance between those two neighbours"),
        Output::new("worst_stretch", Unit::MILLIMETRE, "zone of the least straight stretch of that length on any line"),
        Output::new("stretch_from", Unit::MILLIMETRE, "where that stretch begins, from the start of its line"),
        Output::new("stretch_line", Unit::ONE, "several lines: which line it is on, counted as they were given"),
    ],
    workings: &[
        "largest_gap is the largest gap, or the thickest blade that passed",
        "margin = 2 × sqrt(edge_error² + blade_error²)",
        "least is the smallest flatness at the stations of any surface whose every gap under the edge lies between the blade that passed less margin and the blade refused plus margin",
        "greatest_any is a ceiling over the flatness of all such surfaces",
        "greatest is the same among surfaces none of whose stations stands off the middle of its two neighbours by more than kink_limit; proved with search=proved",
        "worst_found is the flatness of the worst such surface that was found",
        "stations is the number of different places",
        "kink_index is the least kink that any surface needs to explain the readings",
        "kink_limit = kink_index + kink_allowance",
        "minimum_zone is, for one line, the least distance of two parallel lines with all stations between them",
        "least_squares is, for one line, the highest less the lowest station from the line of least squares",
        "local_dip is, for one line, the largest gap of a station over the straight line through its two neighbours",
        "local_dip_over is the distance of those two neighbours",
        "worst_stretch is the largest minimum_zone of the stations within one stretch, over all lines",
        "stretch_from is where that stretch begins",
        "stretch_line is the line it lies on",
    ],
    sources: &[
        "ISO 1101 and ISO 12780-1 for the zone and for least squares of a line [published]; the interval, the local dip and the worst stretch are geometry, worked out here",
        "twice the combined standard uncertainty of edge and blade as margin of a gap: JCGM 100:2008, 6.2.1 [published]",
        "0.004 mm for the edge and 0.003 mm for a blade where none is given [from-memory]; 0.005 mm as kink allowance is an assumption of this tool [ours]",
    ],
    example: &[(
        "readings",
        "1,10,10,0,0.03; 1,200,10,0.05,0.06; 1,390,10,0,0.03; 2,10,80,0,0.03; 2,200,80,0.05,0.06; 2,390,80,0,0.03; 3,10,150,0,0.03; 3,200,150,0.05,0.06; 3,390,150,0,0.03; 4,10,10,0,0.03; 4,10,80,0,0.03; 4,10,150,0,0.03; 5,200,10,0,0.03; 5,200,80,0,0.03; 5,200,150,0,0.03; 6,390,10,0,0.03; 6,390,80,0,0.03; 6,390,150,0,0.03; 7,10,10,0,0.03; 7,200,80,0.05,0.06; 7,390,150,0,0.03; 8,10,150,0,0.03; 8,200,80,0.05,0.06; 8,390,10,0,0.03",
    )],
    cautions: &["A blade of 0.05 mm that passes in the middle and not at the ends is a bow: readings with coarse blades bound little, and a smooth face is an assumption. Pass a face on the greatest of all, not on the greatest of a smooth one."],
    formula: |given| match (given.table("readings"), given.table("gaps")) {
        ([], []) => Err(given.missing("readings")),
        (readings, []) => several_lines(given, readings),
        ([], gaps) => one_line(given, gaps),
        _ => Err(given.do_not_go_together("readings and gaps were both given; give readings for several lines, or gaps for one")),
    },
};

/// The survey that was typed, with its lines; none where only one line of gaps was.
///
/// # Errors
/// [`CalcError`], as the calculator itself.
pub fn survey_given(given: &Given) -> Result<Option<(EdgeSurvey, Vec<EdgeLine>)>, CalcError> {
    match given.table("readings") {
        [] => Ok(None),
        rows => survey_of(given, rows).map(Some),
    }
}

fn assumptions(given: &Given) -> Result<EdgeAssumptions, CalcError> {
    Ok(EdgeAssumptions {
        edge_u: given.number("edge_error")?,
        blade_u: given.number("blade_error")?,
        kink_allowance: Some(given.number("kink_allowance")?).filter(|allowance| *allowance < 10.0),
    })
}

fn survey_of(given: &Given, rows: &[Vec<f64>]) -> Result<(EdgeSurvey, Vec<EdgeLine>), CalcError> {
    let mut numbers: Vec<f64> = Vec::new();
    let mut lines: Vec<EdgeLine> = Vec::new();
    for row in rows {
        let (line, place, passes, refused) = match row.as_slice() {
            [line, x, y, gap] => (*line, [*x, *y], *gap, *gap),
            [line, x, y, passes, refused] => (*line, [*x, *y], *passes, *refused),
            _ => {
                return Err(given.do_not_go_together(format!(
                    "readings has {} columns; give five: line, along, across, blade that passes, blade refused; or four with one gap",
                    row.len()
                )));
            }
        };
        // Numbers of lines are names: they need not rise, and come back in messages by their place.
        let at = numbers.iter().position(|number| (number - line).abs() < 1e-9).unwrap_or_else(|| {
            numbers.push(line);
            lines.push(Vec::new());
            lines.len() - 1
        });
        lines[at].push(EdgeStation { place, passes, refused });
    }
    let assumptions = assumptions(given)?;
    let refused = |error: StraightedgeError| given.do_not_go_together(format!("readings: {error}"));
    let survey = EdgeSurvey::new(&lines, assumptions).map_err(refused)?;
    Ok((survey, lines))
}

fn several_lines(given: &Given, rows: &[Vec<f64>]) -> Result<Computed, CalcError> {
    let (survey, lines) = survey_of(given, rows)?;
    let refused = |error: StraightedgeError| given.do_not_go_together(format!("readings: {error}"));
    let quick = given.text("search") == Some("quick");
    let interval =
        if quick { survey.quick() } else { survey.interval(&mut |progress| progress.done < MOST_PROGRAMMES) };
    let interval = interval.map_err(refused)?;
    let mut computed = Computed::default();
    let largest_gap = lines.iter().flatten().map(|station| station.passes).fold(0.0, f64::max);
    computed.put("largest_gap", largest_gap);
    computed.put("least", interval.least);
    let any = EdgeAssumptions { kink_allowance: None, ..assumptions(given)? };
    let any = EdgeSurvey::new(&lines, any).and_then(|survey| survey.quick()).map_err(refused)?;
    computed.put("greatest_any", any.ceiling.max(interval.ceiling));
    computed.put("greatest", interval.ceiling);
    computed.put("worst_found", interval.found);
    computed.put("stations", f64::from(u32::try_from(survey.stations().len()).unwrap_or(u32::MAX)));
    computed.put("kink_index", survey.kink_index());
    if let Some(limit) = survey.kink_limit() {
        computed.put("kink_limit", limit);
    }
    stretches(given, &mut computed, &lines, assumptions(given)?)?;
    if largest_gap > interval.ceiling {
        computed.note("a blade passed that is thicker than a smooth face could show: smooth is too strict for stations so far apart, so hold the greatest of all against the limit, or read more stations");
    }
    computed.note("the flatness at the stations lies between least and greatest, as far as each gap lies within its margin of twice the standard uncertainty and no station kinks more than the limit");
    computed.note("what lies between the lines is unseen; lay a line over every fire ring and every bridge");
    computed.note("the thickest blade that passes shows about half of a twist");
    computed.note(if interval.proved() {
        "the greatest of a smooth face is proved, as far as the face is smooth; to pass a face whatever its shape, hold the greatest of all against the limit, or read with finer blades"
    } else {
        "the greatest of a smooth face is a ceiling: no smooth face is worse, and the worst one that was found lies below it; to pass a face whatever its shape, hold the greatest of all against the limit"
    });
    Ok(computed)
}

/// The worst stretch of all lines, by the middle between the blades.
fn stretches(
    given: &Given,
    computed: &mut Computed,
    lines: &[EdgeLine],
    assumptions: EdgeAssumptions,
) -> Result<(), CalcError> {
    let length = given.number("stretch")?;
    let mut worst: Option<(f64, f64, usize, f64)> = None;
    for (number, line) in lines.iter().enumerate() {
        let start = line.first().map_or([0.0; 2], |station| station.place);
        let profile: Vec<[f64; 2]> = line
            .iter()
            .map(|station| {
                let along = (station.place[0] - start[0]).hypot(station.place[1] - start[1]);
                [along, -f64::midpoint(station.passes, station.refused)]
            })
            .collect();
        let (zone, from) = worst_stretch(&profile, length)
            .map_err(|error| given.do_not_go_together(format!("readings, line {}: {error}", number + 1)))?;
        if worst.is_none_or(|held| zone > held.0) {
            // An even spread between the blades, edge and blade; a station counts once and its two chord ends half each at
            // most.
            let widest = line.iter().map(|station| station.refused - station.passes).fold(0.0, f64::max);
            let of_gap = (widest * widest / 12.0 + assumptions.edge_u.powi(2) + assumptions.blade_u.powi(2)).sqrt();
            worst = Some((zone, from, number + 1, 1.5_f64.sqrt() * of_gap));
        }
    }
    if let Some((zone, from, line, u)) = worst {
        computed.put_with("worst_stretch", zone, u);
        computed.put("stretch_from", from);
        computed.put("stretch_line", f64::from(u32::try_from(line).unwrap_or(u32::MAX)));
        computed.note("the worst stretch is taken at the middle between the two blades, straight between stations");
    }
    Ok(())
}

fn one_line(given: &Given, rows: &[Vec<f64>]) -> Result<Computed, CalcError> {
    let mut gaps = Vec::new();
    for row in rows {
        let [place, gap] = row.as_slice() else {
            return Err(given.do_not_go_together(format!(
                "gaps has {} columns; give two: place, gap; several lines go into readings",
                row.len()
            )));
        };
        if *gap < 0.0 {
            return Err(given.do_not_go_together(format!(
                "gaps: a gap of {gap} mm is below zero; a straightedge rests on the highest points, so gaps are zero or more"
            )));
        }
        // The edge lies over the face: what is deeper is lower.
        gaps.push([*place, -*gap]);
    }
    if !gaps.is_sorted_by(|a, b| a[0] < b[0]) {
        return Err(
            given.do_not_go_together("gaps: the stations do not rise in place; give them in sequence along the edge")
        );
    }
    let refused = |error: FlatnessError| {
        given.do_not_go_together(match error {
            FlatnessError::TooFew { count } => {
                format!("gaps: {count} stations always lie on a line; measure at least three")
            }
            other @ (FlatnessError::OnOneLine
            | FlatnessError::NotFinite { .. }
            | FlatnessError::NotRising { .. }
            | FlatnessError::NotProved) => format!("gaps: {other}"),
        })
    };
    let mut computed = Computed::default();
    computed.put("largest_gap", gaps.iter().map(|gap| -gap[1]).fold(0.0, f64::max));
    computed.put("minimum_zone", minimum_zone_of_line(&gaps).map_err(refused)?);
    computed.put("least_squares", least_squares_of_line(&gaps).map_err(refused)?);
    let dips = gaps.windows(3).map(|three| {
        let ([x0, z0], [x1, z1], [x2, z2]) = (three[0], three[1], three[2]);
        ((z0 + (z2 - z0) * (x1 - x0) / (x2 - x0)) - z1, x2 - x0)
    });
    if let Some((dip, over)) = dips.max_by(|a, b| a.0.total_cmp(&b.0)) {
        computed.put("local_dip", dip);
        computed.put("local_dip_over", over);
    }
    let (worst, from) = worst_stretch(&gaps, given.number("stretch")?).map_err(refused)?;
    computed.put("worst_stretch", worst);
    computed.put("stretch_from", from);
    computed.note("the largest gap shows about half of a twist; lines across must share stations with lines along before a face can be judged");
    computed.note("between stations the line is taken as straight, so a stretch may begin and end between them");
    Ok(computed)
}
