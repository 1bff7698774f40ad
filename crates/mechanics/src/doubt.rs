//! Doubt that moves together, the budget of an answer, and the check by draws.
//!
//! Inputs read with one gauge share its error: `one_gauge=housing,journal` makes their doubts move together,
//! `one_gauge=housing,journal:0.5` to half. The budget says which input brings which part of the doubt of a result.
//! The draws are the other road to the same figure: inputs are drawn by chance from a fixed seed, the formula is
//! computed for each draw, and what comes out is held against the propagation.
#![expect(clippy::indexing_slicing, reason = "small square matrices; every index is below their one length")]

use quantity::print::{printed, printed_with_doubt};
use quantity::{Unit, root_sum_square};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{RngCore, SeedableRng};
use serde::Serialize;
use statrs::distribution::{ContinuousCDF, Normal};

use crate::catalogue::{Answer, Calculator, InputKind};
use crate::error::CalcError;
use crate::given::Given;

/// The key that names inputs read with one gauge.
pub const ONE_GAUGE: &str = "one_gauge";

/// The key that asks for a check by draws.
pub const DRAWS: &str = "draws";

/// The fewest and the most draws that can be asked for by key.
pub const DRAWS_TAKEN: (u32, u32) = (10_000, 200_000);

/// The seed of the draws asked for by key: the same question always has the same answer.
pub const SEED: u64 = 20_261_128;

/// A key that every calculator takes besides its own.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct CommonKey {
    /// The key before the equals sign.
    pub key: &'static str,
    /// What it does, in one line.
    pub meaning: &'static str,
    /// How it is typed.
    pub example: &'static str,
}

/// The keys that every calculator takes besides its own; none of them is ever needed.
pub const COMMON_KEYS: [CommonKey; 2] = [
    CommonKey {
        key: ONE_GAUGE,
        meaning: "inputs read with one gauge: their doubts move together, wholly, or by the coefficient from -1 to 1 behind a colon; several sets stand apart by semicolon",
        example: "one_gauge=housing,journal:0.5",
    },
    CommonKey {
        key: DRAWS,
        meaning: "check the doubt by so many draws by chance (10000 to 200000, fixed seed); for inputs typed with ±",
        example: "draws=100000",
    },
];

/// One part of the doubt of a result.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Share {
    /// The input it comes from; `formula` for the doubt that the formula brings itself, as from a table of readings.
    pub input: String,
    /// The unit of `u`.
    pub unit: &'static str,
    /// Change of the result for one unit of the input.
    pub sensitivity: f64,
    /// Standard uncertainty of the input.
    pub u: f64,
    /// Part of the variance of the result, together one; below zero where a common error cancels.
    pub share: f64,
}

/// Which inputs move together, and how closely.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Together {
    sets: Vec<(Vec<&'static str>, f64)>,
    typed: String,
}

impl Together {
    /// Reads `a,b; c,d:0.5`.
    pub(crate) fn read(calculator: &'static Calculator, text: &str) -> Result<Self, CalcError> {
        let refuse = |why: String| refused(ONE_GAUGE, text, why);
        let mut sets: Vec<(Vec<&'static str>, f64)> = Vec::new();
        for set in text.split(';').map(str::trim).filter(|set| !set.is_empty()) {
            let (names, coefficient) = match set.split_once(':') {
                Some((names, number)) => {
                    let read = number.trim().parse::<f64>().ok().filter(|read| (-1.0..=1.0).contains(read));
                    let Some(read) = read else {
                        return Err(refuse(format!(
                            "has the coefficient {:?}, which is no number from -1 to 1; 1 means wholly together",
                            number.trim()
                        )));
                    };
                    (names, read)
                }
                None => (set, 1.0),
            };
            let mut keys = Vec::new();
            for name in names.split(',').map(str::trim) {
                let wanted = name.replace('-', "_");
                let input = calculator.inputs.iter().find(|input| input.key == wanted);
                let Some(input) = input.filter(|input| input.kind == InputKind::Number && input.unit.is_some()) else {
                    let known: Vec<&str> = numbers_of(calculator);
                    return Err(refuse(format!(
                        "names {name:?}, which is no number of {}; its numbers are {}",
                        calculator.id,
                        if known.is_empty() { "none".to_owned() } else { known.join(", ") }
                    )));
                };
                if keys.contains(&input.key) {
                    return Err(refuse(format!("names {name} twice in one set; name each input once")));
                }
                keys.push(input.key);
            }
            if keys.len() < 2 {
                return Err(refuse("needs at least two keys in a set, such as one_gauge=housing,journal".to_owned()));
            }
            let both = |other: &[&str]| keys.iter().filter(|key| other.contains(*key)).count() > 1;
            if sets.iter().any(|(other, _)| both(other)) {
                return Err(refuse("sets the same two keys twice; keep one coefficient for them".to_owned()));
            }
            sets.push((keys, coefficient));
        }
        if sets.is_empty() {
            return Err(refuse("names no keys; type it as one_gauge=housing,journal".to_owned()));
        }
        Ok(Self { sets, typed: text.to_owned() })
    }

    /// Refuses keys without doubt and coefficients that cannot hold all at once.
    pub(crate) fn check(&self, doubtful: &[(&'static str, f64)]) -> Result<(), CalcError> {
        for key in self.sets.iter().flat_map(|(keys, _)| keys) {
            if !doubtful.iter().any(|(other, _)| other == key) {
                return Err(refused(
                    ONE_GAUGE,
                    &self.typed,
                    format!("names {key}, which was given without a doubt; type it as {key}=…±… or leave it out"),
                ));
            }
        }
        self.root(doubtful).map(|_| ())
    }

    /// The coefficient of every pair.
    fn matrix(&self, doubtful: &[(&'static str, f64)]) -> Vec<Vec<f64>> {
        let pair = |a: &str, b: &str| {
            if a == b {
                return 1.0;
            }
            let held = self.sets.iter().find(|(keys, _)| keys.contains(&a) && keys.contains(&b));
            held.map_or(0.0, |(_, coefficient)| *coefficient)
        };
        doubtful.iter().map(|(a, _)| doubtful.iter().map(|(b, _)| pair(a, b)).collect()).collect()
    }

    fn root(&self, doubtful: &[(&'static str, f64)]) -> Result<Vec<Vec<f64>>, CalcError> {
        matrix_root(&self.matrix(doubtful)).ok_or_else(|| {
            refused(
                ONE_GAUGE,
                &self.typed,
                "sets coefficients that cannot hold all at once (the matrix of them is not positive semi-definite); if a moves with b and b with c, then a and c must move as well".to_owned(),
            )
        })
    }
}

fn refused(key: &str, typed: &str, why: String) -> CalcError {
    CalcError::OutOfDomain { key: key.to_owned(), typed: typed.trim().chars().take(60).collect(), why }
}

fn numbers_of(calculator: &Calculator) -> Vec<&'static str> {
    calculator
        .inputs
        .iter()
        .filter(|input| input.kind == InputKind::Number && input.unit.is_some())
        .map(|input| input.key)
        .collect()
}

/// Rows whose products give back a matrix of correlation coefficients; nothing when it is not positive semi-definite.
///
/// # Shapes
/// Square and symmetric in, square out: `sum over k of root[i][k] * root[j][k]` is `matrix[i][j]`.
/// # Source
/// Cholesky's factors with the largest pivot first, worked out here.
#[must_use]
pub fn matrix_root(matrix: &[Vec<f64>]) -> Option<Vec<Vec<f64>>> {
    let size = matrix.len();
    let mut rest = matrix.to_vec();
    let mut root = vec![vec![0.0; size]; size];
    let mut open: Vec<usize> = (0..size).collect();
    let mut column = 0;
    while column < size {
        let Some(pivot) = open.iter().copied().max_by(|a, b| rest[*a][*a].total_cmp(&rest[*b][*b])) else { break };
        if rest[pivot][pivot] <= 1e-12 {
            break;
        }
        let length = rest[pivot][pivot].sqrt();
        for &row in &open {
            root[row][column] = rest[row][pivot] / length;
        }
        open.retain(|row| *row != pivot);
        for &i in &open {
            for &j in &open {
                rest[i][j] -= root[i][column] * root[j][column];
            }
        }
        column += 1;
    }
    let left_over = open.iter().any(|i| open.iter().any(|j| rest[*i][*j].abs() > 1e-9));
    (!left_over).then_some(root)
}

/// The doubt of one result and the parts it comes from.
///
/// # Shapes
/// `parts`: the change of the result when each doubtful input moves by its `u`, in the sequence of `doubtful`.
pub(crate) fn combine(
    given: &Given,
    doubtful: &[(&'static str, f64)],
    parts: &[f64],
    own: f64,
) -> Result<(f64, Vec<Share>), CalcError> {
    let together = given.together();
    let matrix = together.matrix(doubtful);
    let root = together.root(doubtful)?;
    // Summing along the root keeps a common error that cancels from leaving a rest of rounding.
    let mut sums: Vec<f64> =
        (0..parts.len()).map(|k| parts.iter().zip(&root).map(|(part, row)| part * row[k]).sum()).collect();
    sums.push(own);
    let u = root_sum_square(&sums);
    let relative = |part: f64| if u > 0.0 { part / u } else { 0.0 };
    let mut budget = Vec::new();
    for (place, (key, of_input)) in doubtful.iter().enumerate() {
        if parts[place].abs() > 0.0 {
            let moved: f64 = parts.iter().zip(&matrix[place]).map(|(part, r)| r * relative(*part)).sum();
            budget.push(Share {
                input: (*key).to_owned(),
                unit: given.unit(key).difference_unit().symbol(),
                sensitivity: parts[place] / of_input,
                u: *of_input,
                share: relative(parts[place]) * moved,
            });
        }
    }
    if own > 0.0 {
        budget.push(Share {
            input: "formula".to_owned(),
            unit: Unit::ONE.symbol(),
            sensitivity: 1.0,
            u: own,
            share: relative(own).powi(2),
        });
    }
    Ok((u, budget))
}

/// What the draws say about one result.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawn {
    /// Mean of the draws.
    pub mean: f64,
    /// Standard deviation of the draws.
    pub u: f64,
    /// Two and a half per cent lie below.
    pub low: f64,
    /// Two and a half per cent lie above.
    pub high: f64,
    /// How many draws had an answer.
    pub answered: u32,
    /// How many draws were made.
    pub made: u32,
}

impl Drawn {
    /// To how many digits of its doubt the propagation agrees with the draws: 2, 1 or 0.
    ///
    /// Both ends of the interval of 95 % must agree within half a unit of the last digit kept; the scatter that
    /// so many draws have of themselves (three standard deviations of it) is let off.
    ///
    /// # Source
    /// JCGM 101:2008, clause 8 \[published\]; the scatter of a quantile is the usual formula.
    #[must_use]
    pub fn digits_agreed(&self, value: f64, u: f64) -> u8 {
        if u <= 0.0 {
            // No doubt by propagation: the draws must not move either.
            return if self.high - self.low <= 1e-9 * value.abs() { 2 } else { 0 };
        }
        let scatter = 3.0 * 2.67 * u / f64::from(self.answered.max(1)).sqrt();
        let apart = (self.low - (value - 1.959_964 * u)).abs().max((self.high - (value + 1.959_964 * u)).abs());
        let first_digit = 10.0_f64.powf(u.log10().floor());
        if apart <= first_digit / 20.0 + scatter {
            2
        } else if apart <= first_digit / 2.0 + scatter {
            1
        } else {
            0
        }
    }
}

/// Draws the inputs of a calculator by chance, runs its formula for each draw, and says how its results scatter.
///
/// Inputs with a doubt are drawn from normal distributions, together where `one_gauge` says so; the doubt that a formula
/// brings itself is drawn as well. A draw that the calculator refuses is left out and counted.
///
/// # Shapes
/// One line per result of the calculator, in its sequence. The same seed gives the same draws on every machine.
/// # Errors
/// [`CalcError::OutOfDomain`] when no input has a doubt, when rows of readings were given, or when more than half of the
/// draws have no answer.
/// # Source
/// JCGM 101:2008, 7 \[published\]; the generator is `ChaCha` with 8 rounds.
pub fn monte_carlo(
    calculator: &'static Calculator,
    given: &Given,
    draws: u32,
    seed: u64,
) -> Result<Vec<(&'static str, Drawn)>, CalcError> {
    let typed = draws.to_string();
    if given.has_rows() {
        return Err(refused(DRAWS, &typed, "does not reach rows of readings; ask again without it".to_owned()));
    }
    let doubtful = given.doubtful();
    let centre = (calculator.formula)(given)?;
    if doubtful.is_empty() {
        return Err(refused(
            DRAWS,
            &typed,
            "has nothing to draw: no number was typed with a doubt; type one as 88mm±0.01mm, or leave draws out"
                .to_owned(),
        ));
    }
    let root = given.together().root(&doubtful)?;
    let normal = Normal::standard();
    let mut chance = ChaCha8Rng::seed_from_u64(seed);
    let mut next = || {
        // 52 bits and a half: never 0, never 1, and so never endless.
        let high: u32 = chance.next_u32();
        let low: u32 = chance.next_u32() >> 12;
        let evenly = (f64::from(high) + (f64::from(low) + 0.5) / 1_048_576.0) / 4_294_967_296.0;
        normal.inverse_cdf(evenly)
    };
    let middle: Vec<f64> = doubtful.iter().map(|(key, _)| given.optional(key).unwrap_or(0.0)).collect();
    let mut columns: Vec<Vec<f64>> = vec![Vec::new(); centre.lines.len()];
    let mut moved = given.clone();
    for _ in 0..draws {
        let free: Vec<f64> = doubtful.iter().map(|_| next()).collect();
        let mut allowed = true;
        for (place, (key, u)) in doubtful.iter().enumerate() {
            let joint: f64 = root[place].iter().zip(&free).map(|(row, z)| row * z).sum();
            allowed &= moved.set(key, middle[place] + u * joint);
        }
        let own: Vec<f64> = centre.lines.iter().map(|line| if line.3 > 0.0 { next() } else { 0.0 }).collect();
        if !allowed {
            continue;
        }
        if let Ok(computed) = (calculator.formula)(&moved) {
            for ((line, column), own) in centre.lines.iter().zip(&mut columns).zip(own) {
                let found = computed.lines.iter().find(|other| other.0 == line.0);
                if let Some(found) = found.filter(|found| found.1.is_finite()) {
                    column.push(found.1 + own * found.3);
                }
            }
        }
    }
    let mut answers = Vec::new();
    for (line, column) in centre.lines.iter().zip(&mut columns) {
        let answered = u32::try_from(column.len()).unwrap_or(u32::MAX);
        if answered < draws / 2 || answered < 2 {
            return Err(refused(
                DRAWS,
                &typed,
                format!(
                    "finds {} only {answered} times out of {draws}: values near the middle are refused; look for a doubt far too wide",
                    line.0
                ),
            ));
        }
        column.sort_by(f64::total_cmp);
        let count = f64::from(answered);
        let mean = column.iter().map(|value| value / count).sum::<f64>();
        let u = root_sum_square(&column.iter().map(|value| (value - mean) / (count - 1.0).sqrt()).collect::<Vec<_>>());
        let cut = column.len() / 40;
        let (low, high) = (column[cut], column[column.len() - 1 - cut]);
        answers.push((line.0, Drawn { mean, u, low, high, answered, made: draws }));
    }
    Ok(answers)
}

/// Puts what the draws say beside each line of an answer, and a note for each.
pub(crate) fn check_by_draws(
    calculator: &'static Calculator,
    given: &Given,
    draws: u32,
    answer: &mut Answer,
) -> Result<(), CalcError> {
    let drawn = monte_carlo(calculator, given, draws, SEED)?;
    for (key, drawn) in drawn {
        if !(drawn.mean.is_finite() && drawn.u.is_finite() && drawn.low.is_finite() && drawn.high.is_finite()) {
            return Err(refused(
                DRAWS,
                &draws.to_string(),
                format!("gives no finite figures for {key}; look for a mistyped value"),
            ));
        }
        let Some(line) = answer.results.iter_mut().find(|line| line.key == key) else { continue };
        let agreed = drawn.digits_agreed(line.value, line.u.unwrap_or(0.0));
        let (mean, u) = printed_with_doubt(drawn.mean, drawn.u);
        let unit = match line.unit.symbol() {
            "1" => String::new(),
            symbol => format!(" {symbol}"),
        };
        let refusals = match drawn.made - drawn.answered {
            0 => String::new(),
            left_out => format!("; {left_out} draws had no answer and are left out"),
        };
        let verdict = match agreed {
            0 => "the propagation does not agree; take the interval of the draws",
            1 => "the propagation agrees to one digit of the doubt",
            _ => "the propagation agrees to two digits of the doubt",
        };
        answer.notes.push(format!(
            "{draws} draws: {key} is {mean}{unit} (u {}), 95 % of them between {} and {}{unit}; {verdict}{refusals}",
            u.unwrap_or_else(|| "0".to_owned()),
            printed(drawn.low, 6),
            printed(drawn.high, 6)
        ));
        line.drawn = Some(drawn);
    }
    Ok(())
}
