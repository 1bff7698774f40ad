//! Many small linear programmes over one set of bounded rows, each started where the last one ended.
//!
//! Rows `lower <= A x <= upper` with `x` free and as many independent rows as columns. As many rows as there are columns
//! stand at one of their bounds; every other row, and every watched sum, is kept as a sum of those (a table that one exchange
//! step renews). A new target needs only its own row, so that a programme near the last one takes a few steps. Why this is
//! here and no library: docs/decisions/0020-straightedge-interval.md.
#![expect(clippy::indexing_slicing, reason = "a dense table; rows and columns are below the sizes it was made with")]

/// Smallest entry that is taken for a pivot.
const PIVOT: f64 = 1e-9;
/// Smallest gain per step that counts.
const GAIN: f64 = 1e-10;
/// How far a row may lie beyond its bound through rounding.
const SLACK: f64 = 1e-12;
/// Exchange steps after which the table is made anew from the rows given.
const RENEW_AFTER: usize = 400;

/// Why a set of rows has no programme.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Fault {
    /// Some movement of `x` changes no row.
    Loose,
    /// This row cannot keep its bounds together with the others.
    Contradiction(usize),
    /// The target grows without end, or the steps did not come to an end.
    NoEnd,
}

/// A set of bounded rows with a place in it.
#[derive(Debug, Clone)]
pub(crate) struct Programme {
    columns: usize,
    /// The rows given, then the watched sums.
    given: Vec<f64>,
    lower: Vec<f64>,
    upper: Vec<f64>,
    /// One line per row not at a bound, then one per watched sum, then one for the target.
    table: Vec<f64>,
    value: Vec<f64>,
    inside: Vec<usize>,
    bound: Vec<usize>,
    at_upper: Vec<bool>,
    watched: usize,
    steps: usize,
    new_line: Vec<f64>,
}

impl Programme {
    /// A programme at a place that keeps all bounds.
    ///
    /// `rows` and `watched` have one entry per column; `lower` and `upper` belong to `rows`, one of them finite.
    pub(crate) fn new(
        columns: usize,
        rows: &[Vec<f64>],
        bounds: &[(f64, f64)],
        watched: &[Vec<f64>],
    ) -> Result<Self, Fault> {
        let given: Vec<f64> = rows.iter().chain(watched).flatten().copied().collect();
        let mut programme = Self {
            columns,
            given,
            lower: bounds.iter().map(|bound| bound.0).collect(),
            upper: bounds.iter().map(|bound| bound.1).collect(),
            table: Vec::new(),
            value: Vec::new(),
            inside: Vec::new(),
            bound: Vec::new(),
            at_upper: Vec::new(),
            watched: watched.len(),
            steps: 0,
            new_line: vec![0.0; columns],
        };
        let all: Vec<usize> = (0..rows.len()).collect();
        programme.set_up(&all)?;
        programme.at_upper = programme.bound.iter().map(|&row| !programme.lower[row].is_finite()).collect();
        programme.take_values();
        programme.go_inside()?;
        Ok(programme)
    }

    /// Makes the table anew, with the rows at their bounds chosen from `candidates`.
    fn set_up(&mut self, candidates: &[usize]) -> Result<(), Fault> {
        let width = self.columns;
        let mut table = self.given.clone();
        let rows = self.lower.len();
        let mut free: Vec<usize> = candidates.to_vec();
        let mut chosen = Vec::with_capacity(width);
        let mut line = vec![0.0; width];
        for column in 0..width {
            let best = free
                .iter()
                .enumerate()
                .max_by(|a, b| table[a.1 * width + column].abs().total_cmp(&table[b.1 * width + column].abs()));
            let Some((place, &row)) = best else { return Err(Fault::Loose) };
            if table[row * width + column].abs() < PIVOT {
                return Err(Fault::Loose);
            }
            free.swap_remove(place);
            exchange(&mut table, width, row, column, &mut line);
            chosen.push(row);
        }
        self.inside = (0..rows).filter(|row| !chosen.contains(row)).collect();
        self.table.clear();
        for &row in &self.inside {
            self.table.extend_from_slice(&table[row * width..(row + 1) * width]);
        }
        self.table.extend_from_slice(&table[rows * width..]);
        self.table.resize(self.table.len() + width, 0.0);
        self.bound = chosen;
        self.steps = 0;
        Ok(())
    }

    fn standing(&self, column: usize) -> f64 {
        let row = self.bound[column];
        if self.at_upper[column] { self.upper[row] } else { self.lower[row] }
    }

    fn take_values(&mut self) {
        let standing: Vec<f64> = (0..self.columns).map(|column| self.standing(column)).collect();
        self.value = self
            .table
            .chunks_exact(self.columns)
            .take(self.inside.len() + self.watched)
            .map(|line| line.iter().zip(&standing).map(|(a, b)| a * b).sum())
            .collect();
    }

    fn renew(&mut self) -> Result<(), Fault> {
        let sides: Vec<(usize, bool)> = self.bound.iter().copied().zip(self.at_upper.iter().copied()).collect();
        let rows = self.bound.clone();
        self.set_up(&rows)?;
        self.at_upper =
            self.bound.iter().map(|row| sides.iter().find(|side| side.0 == *row).is_some_and(|side| side.1)).collect();
        self.take_values();
        Ok(())
    }

    const fn target_line(&self) -> usize {
        self.inside.len() + self.watched
    }

    fn target(&self) -> &[f64] {
        let start = self.target_line() * self.columns;
        &self.table[start..start + self.columns]
    }

    /// Moves the bound row of a column by `step` and lets `line` stand at its bound in its stead.
    fn swap(&mut self, line: usize, column: usize, step: f64, to_upper: bool) {
        let arrived = self.standing(column) + step;
        for (value, row) in self.value.iter_mut().zip(self.table.chunks_exact(self.columns)) {
            *value += row[column] * step;
        }
        exchange(&mut self.table, self.columns, line, column, &mut self.new_line);
        self.value[line] = arrived;
        std::mem::swap(&mut self.inside[line], &mut self.bound[column]);
        self.at_upper[column] = to_upper;
        self.steps += 1;
    }

    /// Finds a place that keeps all bounds: dual steps under a made-up cost that no two columns share.
    fn go_inside(&mut self) -> Result<(), Fault> {
        let start = self.target_line() * self.columns;
        let mut chance = 0x9E37_79B9_u32;
        for column in 0..self.columns {
            let cost = 1.0 + part_of_one(&mut chance);
            self.table[start + column] = if self.at_upper[column] { -cost } else { cost };
        }
        for _ in 0..50 * (self.inside.len() + self.columns) {
            let worst = (0..self.inside.len())
                .map(|line| {
                    let (row, value) = (self.inside[line], self.value[line]);
                    (line, (self.lower[row] - value).max(value - self.upper[row]))
                })
                .max_by(|a, b| a.1.total_cmp(&b.1));
            let Some((line, beyond)) = worst.filter(|worst| worst.1 > SLACK) else { return Ok(()) };
            let row = self.inside[line];
            let rise = self.value[line] < self.lower[row];
            let entries = &self.table[line * self.columns..(line + 1) * self.columns];
            let mut entering: Option<(usize, f64)> = None;
            for (column, (&entry, &cost)) in entries.iter().zip(self.target()).enumerate() {
                let helps = (entry > 0.0) == (rise != self.at_upper[column]);
                if helps && entry.abs() > PIVOT {
                    let ratio = cost.abs() / entry.abs();
                    if entering.is_none_or(|(_, least)| ratio < least) {
                        entering = Some((column, ratio));
                    }
                }
            }
            let Some((column, _)) = entering else { return Err(Fault::Contradiction(row)) };
            let step = if rise { beyond } else { -beyond } / entries[column];
            self.swap(line, column, step, !rise);
        }
        Err(Fault::NoEnd)
    }

    /// The largest value of a weighted sum of watched sums.
    pub(crate) fn most(&mut self, weights: &[(usize, f64)]) -> Result<f64, Fault> {
        if self.steps > RENEW_AFTER {
            self.renew()?;
        }
        let (width, first, start) = (self.columns, self.inside.len(), self.target_line() * self.columns);
        let (rows, target) = self.table.split_at_mut(start);
        target.fill(0.0);
        for &(watched, weight) in weights {
            let line = &rows[(first + watched) * width..(first + watched + 1) * width];
            for (cell, entry) in target.iter_mut().zip(line) {
                *cell += weight * entry;
            }
        }
        for _ in 0..100 * (self.inside.len() + self.columns) {
            let Some((column, up)) = self.best_column() else {
                return Ok(weights.iter().map(|&(watched, weight)| weight * self.value[first + watched]).sum());
            };
            self.advance(column, up)?;
        }
        Err(Fault::NoEnd)
    }

    /// The column whose movement gains most per step, and whether it rises.
    fn best_column(&self) -> Option<(usize, bool)> {
        let mut best: Option<(usize, bool)> = None;
        let mut most = GAIN;
        for (column, (&gain, &at_upper)) in self.target().iter().zip(&self.at_upper).enumerate() {
            let along = if at_upper { -gain } else { gain };
            if along > most {
                most = along;
                best = Some((column, !at_upper));
            }
        }
        best
    }

    /// Moves a column as far as the rows let it.
    fn advance(&mut self, column: usize, up: bool) -> Result<(), Fault> {
        let sign = if up { 1.0 } else { -1.0 };
        let row = self.bound[column];
        let whole = self.upper[row] - self.lower[row];
        // Two passes: how far with a little slack, then the largest entry among those that stop within it.
        let room = |line: usize| {
            let rate = sign * self.table[line * self.columns + column];
            let row = self.inside[line];
            if rate > PIVOT {
                Some(((self.upper[row] - self.value[line]).max(0.0) / rate, rate))
            } else if rate < -PIVOT {
                Some(((self.value[line] - self.lower[row]).max(0.0) / -rate, rate))
            } else {
                None
            }
        };
        let mut reach = whole;
        for line in 0..self.inside.len() {
            if let Some((far, rate)) = room(line) {
                reach = reach.min(far + SLACK / rate.abs());
            }
        }
        if !reach.is_finite() {
            return Err(Fault::NoEnd);
        }
        let mut stops: Option<(usize, f64, f64)> = None;
        for line in 0..self.inside.len() {
            if let Some((far, rate)) = room(line).filter(|stop| stop.0 <= reach)
                && stops.is_none_or(|(_, _, held)| rate.abs() > held.abs())
            {
                stops = Some((line, far, rate));
            }
        }
        match stops.filter(|stop| stop.1 < whole) {
            Some((line, far, rate)) => self.swap(line, column, sign * far, rate > 0.0),
            None => {
                let step = sign * whole;
                for (value, line) in self.value.iter_mut().zip(self.table.chunks_exact(self.columns)) {
                    *value += line[column] * step;
                }
                self.at_upper[column] = up;
            }
        }
        Ok(())
    }

    /// The watched sums where the last programme ended.
    pub(crate) fn watched(&self) -> &[f64] {
        &self.value[self.inside.len()..]
    }
}

/// Turns the sum in `line` over: what it was a sum of in `column` becomes a sum of it and the others.
fn exchange(table: &mut [f64], width: usize, line: usize, column: usize, new_line: &mut [f64]) {
    let pivot = table[line * width + column];
    for (cell, entry) in new_line.iter_mut().zip(&table[line * width..(line + 1) * width]) {
        *cell = -entry / pivot;
    }
    new_line[column] = 1.0 / pivot;
    for (place, row) in table.chunks_exact_mut(width).enumerate() {
        let factor = row[column];
        if place != line && factor.abs() > 0.0 {
            row[column] = 0.0;
            for (cell, entry) in row.iter_mut().zip(new_line.iter()) {
                *cell += factor * entry;
            }
        }
    }
    table[line * width..(line + 1) * width].copy_from_slice(new_line);
}

/// A number between nought and one from a fixed sequence.
pub(crate) fn part_of_one(state: &mut u32) -> f64 {
    *state ^= *state << 13;
    *state ^= *state >> 17;
    *state ^= *state << 5;
    f64::from(*state) / 4_294_967_296.0
}
