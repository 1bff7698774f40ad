//! Inner loops over tables: gathering, multiplying one table onto a larger one, and summing down.
//!
//! All tables of a tree list their variables in one common order, so the variables of the smaller
//! table always appear in the larger one in the same order. Neighbouring axes are run together,
//! which leaves one innermost run that is either side by side in both tables or constant in the
//! smaller one; only the offsets of the outer runs are looked up.

#![expect(
    clippy::indexing_slicing,
    reason = "offsets are built from the same axis lengths as the tables they point into"
)]

/// One axis of a table: the variable and how many states of it are left open.
pub(crate) type Axis = (usize, usize);

/// Gives the number of entries of a table with these axes.
pub(crate) fn size(axes: &[Axis]) -> usize {
    axes.iter().map(|&(_, count)| count).product()
}

/// Gives the offset of every cell in counting order, last axis fastest.
pub(crate) fn offsets(counts_and_strides: &[(usize, usize)]) -> Vec<usize> {
    let total = counts_and_strides.iter().map(|&(count, _)| count).product();
    let mut all = Vec::with_capacity(total);
    all.push(0);
    let mut next = Vec::with_capacity(total);
    for &(count, stride) in counts_and_strides {
        next.clear();
        for &offset in &all {
            for step in 0..count {
                next.push(offset + step * stride);
            }
        }
        std::mem::swap(&mut all, &mut next);
    }
    all
}

/// How a small table lies inside a large one.
#[derive(Debug)]
pub(crate) struct Overlay {
    /// Where in the small table each outer block begins.
    outer: Vec<usize>,
    /// How many runs make a block.
    runs: usize,
    /// How many cells make a run.
    run: usize,
    /// Whether a run walks along the small table; else it stays on one cell of it and the runs
    /// of a block walk.
    along: bool,
}

impl Overlay {
    /// Works out how a table with the axes `small` lies inside one with the axes `large`.
    pub(crate) fn new(large: &[Axis], small: &[Axis]) -> Self {
        // Stride of every large axis in the small table, zero where it is not in it.
        let mut groups: Vec<(usize, usize)> = Vec::with_capacity(large.len());
        let mut left = small.len();
        let mut stride = 1;
        for &(variable, count) in large.iter().rev() {
            let here = if left > 0 && small[left - 1].0 == variable {
                left -= 1;
                let here = stride;
                stride *= count;
                here
            } else {
                0
            };
            if count == 1 {
                continue;
            }
            match groups.last_mut() {
                // Both in the small table, or both not: one longer run.
                Some((joined, inner)) if (*inner == 0) == (here == 0) => *joined *= count,
                _ => groups.push((count, here)),
            }
        }
        debug_assert_eq!(left, 0, "the small table's axes must all be in the large one");
        let (run, along) = groups.first().map_or((1, true), |&(n, s)| (n, s != 0));
        let runs = groups.get(1).map_or(1, |&(n, _)| n);
        groups.reverse();
        groups.truncate(groups.len().saturating_sub(2));
        Self { outer: offsets(&groups), runs, run, along }
    }

    /// Applies `change` to every cell of the large table with the cell of the small one under it.
    #[inline(always)]
    fn each(&self, large: &mut [f64], small: &[f64], change: impl Fn(&mut f64, f64)) {
        for (block, &at) in large.chunks_exact_mut(self.run * self.runs).zip(&self.outer) {
            if self.along {
                let under = &small[at..at + self.run];
                for cells in block.chunks_exact_mut(self.run) {
                    for (cell, &other) in cells.iter_mut().zip(under) {
                        change(cell, other);
                    }
                }
            } else {
                let under = &small[at..at + self.runs];
                for (cells, &other) in block.chunks_exact_mut(self.run).zip(under) {
                    for cell in cells {
                        change(cell, other);
                    }
                }
            }
        }
    }

    /// Overwrites the large table with the small one, repeated.
    pub(crate) fn spread(&self, large: &mut [f64], small: &[f64]) {
        self.each(large, small, |cell, other| *cell = other);
    }

    /// Multiplies the small table onto the large one.
    pub(crate) fn multiply(&self, large: &mut [f64], small: &[f64]) {
        self.each(large, small, |cell, other| *cell *= other);
    }

    /// Adds the cells of the large table up into the small one, which must be zero before.
    pub(crate) fn sum(&self, large: &[f64], small: &mut [f64]) {
        for (block, &at) in large.chunks_exact(self.run * self.runs).zip(&self.outer) {
            if self.along {
                let under = &mut small[at..at + self.run];
                for cells in block.chunks_exact(self.run) {
                    for (cell, other) in cells.iter().zip(under.iter_mut()) {
                        *other += cell;
                    }
                }
            } else {
                let under = &mut small[at..at + self.runs];
                for (cells, other) in block.chunks_exact(self.run).zip(under) {
                    *other += total(cells);
                }
            }
        }
    }

    /// Keeps the largest cell of the large table in each cell of the small one.
    pub(crate) fn largest(&self, large: &[f64], small: &mut [f64]) {
        for (block, &at) in large.chunks_exact(self.run * self.runs).zip(&self.outer) {
            if self.along {
                let under = &mut small[at..at + self.run];
                for cells in block.chunks_exact(self.run) {
                    for (&cell, other) in cells.iter().zip(under.iter_mut()) {
                        *other = other.max(cell);
                    }
                }
            } else {
                let under = &mut small[at..at + self.runs];
                for (cells, other) in block.chunks_exact(self.run).zip(under) {
                    *other = cells.iter().fold(*other, |best, &cell| best.max(cell));
                }
            }
        }
    }
}

/// Adds up in four lanes in a fixed order.
pub(crate) fn total(cells: &[f64]) -> f64 {
    let mut lanes = [0.0; 4];
    let fours = cells.chunks_exact(4);
    let rest: f64 = fours.remainder().iter().sum();
    for four in fours {
        for (lane, cell) in lanes.iter_mut().zip(four) {
            *lane += cell;
        }
    }
    (lanes[0] + lanes[1]) + (lanes[2] + lanes[3]) + rest
}

/// Gives the power of two of a positive number, as a whole number.
pub(crate) fn exponent(value: f64) -> i64 {
    // Numbers below the normal range are lifted first; their exponent field is empty.
    if value < f64::MIN_POSITIVE {
        return exponent(value * LIFT) - 512;
    }
    i64::try_from((value.to_bits() >> 52) & 0x7ff).map_or(0, |field| field - 1023)
}

/// Two to the power of 512.
const LIFT: f64 = f64::from_bits((1023 + 512) << 52);

/// Divides a table by a power of two so that its largest cell lies between one and two.
///
/// Gives the exponent divided by, or nothing when every cell is zero. Exact for every cell that
/// stays in the normal range.
pub(crate) fn scale(cells: &mut [f64]) -> Option<i64> {
    let most = cells.iter().fold(0.0_f64, |most, &cell| most.max(cell));
    if most <= 0.0 {
        return None;
    }
    let by = exponent(most);
    if by != 0 {
        let (first, second) = (by / 2, by - by / 2);
        let (first, second) = (power_of_two(-first), power_of_two(-second));
        for cell in cells {
            *cell = *cell * first * second;
        }
    }
    Some(by)
}

/// Gives two to a whole power between -1022 and 1023, the nearest of these outside.
fn power_of_two(power: i64) -> f64 {
    let field = (power + 1023).clamp(1, 2046);
    f64::from_bits(u64::try_from(field).unwrap_or(1) << 52)
}

/// Gives the exponent of the smallest cell above zero.
pub(crate) fn lowest_exponent(cells: &[f64]) -> i64 {
    let least = cells.iter().filter(|&&cell| cell > 0.0).fold(f64::MAX, |least, &cell| least.min(cell));
    exponent(least).min(0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_small_table_lies_inside_a_large_one_cell_by_cell() {
        // Axes of unequal length so that a swapped axis cannot hide.
        let large = [(9, 2), (7, 3), (4, 1), (3, 4), (1, 5)];
        for picked in 0..32_usize {
            let small: Vec<Axis> =
                large.iter().enumerate().filter(|(place, _)| picked >> place & 1 == 1).map(|(_, &axis)| axis).collect();
            let overlay = Overlay::new(&large, &small);
            let under: Vec<f64> = (0..u32::try_from(size(&small)).unwrap()).map(|c| f64::from(c) + 1.0).collect();
            let mut cells = vec![0.0; size(&large)];
            overlay.spread(&mut cells, &under);
            let mut sums = vec![0.0; size(&small)];
            overlay.sum(&cells, &mut sums);
            let mut most = vec![0.0; size(&small)];
            overlay.largest(&cells, &mut most);
            assert_eq!(most, under);
            let repeats = f64::from(u32::try_from(size(&large) / size(&small)).unwrap());
            for (sum, cell) in sums.iter().zip(&under) {
                assert!((sum - cell * repeats).abs() < 1e-12);
            }
            for (place, cell) in cells.iter().enumerate() {
                // Take the place apart into states and put those of the small table together.
                let mut rest = place;
                let mut states = [0; 10];
                for &(v, n) in large.iter().rev() {
                    states[v] = rest % n;
                    rest /= n;
                }
                let at = small.iter().fold(0, |at, &(v, n)| at * n + states[v]);
                assert!((cell - under[at]).abs() < f64::EPSILON);
            }
        }
    }

    #[test]
    fn scaling_by_powers_of_two_loses_nothing() {
        for start in [3.7e-310_f64, 1e-200, 0.75, 1.0, 3.0, 1e300] {
            let mut cells = [start, start / 3.0, 0.0];
            let by = scale(&mut cells).unwrap();
            assert!((1.0..2.0).contains(&cells[0]), "{start}");
            let back = cells[0].log2() + f64::from(i32::try_from(by).unwrap());
            assert!((back - start.log2()).abs() < 1e-9, "{start}");
        }
        assert_eq!(scale(&mut [0.0, 0.0]), None);
    }
}
