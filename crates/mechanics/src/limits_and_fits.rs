//! Limits and fits of holes and shafts by the ISO code system, from 1 mm to 500 mm.
//!
//! The tables are those of the standard, not its formulas: the standard rounds by hand, and no rounding rule brings back
//! every printed value. Its formulas are a cross-check in the tests.

use quantity::Unit;
use thiserror::Error;

use crate::catalogue::{Calculator, Computed, Domain, Group, Input, Output};
use crate::error::CalcError;
use crate::given::Given;

/// Upper ends of the main steps of nominal size, mm; a size belongs to the step it does not exceed.
const MAIN_STEPS: [f64; 13] = [3.0, 6.0, 10.0, 18.0, 30.0, 50.0, 80.0, 120.0, 180.0, 250.0, 315.0, 400.0, 500.0];
/// Upper ends of the finer steps of nominal size, mm.
const FINE_STEPS: [f64; 25] = [
    3.0, 6.0, 10.0, 14.0, 18.0, 24.0, 30.0, 40.0, 50.0, 65.0, 80.0, 100.0, 120.0, 140.0, 160.0, 180.0, 200.0, 225.0,
    250.0, 280.0, 315.0, 355.0, 400.0, 450.0, 500.0,
];
/// Slack of the comparison with the end of a step, mm: a size converted from inches is not torn off its step by rounding.
const SLACK: f64 = 1e-9;

/// Standard tolerances IT1 to IT18 on the main steps, µm [published: ISO 286-1:2010, table 1].
const STANDARD_TOLERANCES: [[f64; 13]; 18] = [
    [0.8, 1.0, 1.0, 1.2, 1.5, 1.5, 2.0, 2.5, 3.5, 4.5, 6.0, 7.0, 8.0],
    [1.2, 1.5, 1.5, 2.0, 2.5, 2.5, 3.0, 4.0, 5.0, 7.0, 8.0, 9.0, 10.0],
    [2.0, 2.5, 2.5, 3.0, 4.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 13.0, 15.0],
    [3.0, 4.0, 4.0, 5.0, 6.0, 7.0, 8.0, 10.0, 12.0, 14.0, 16.0, 18.0, 20.0],
    [4.0, 5.0, 6.0, 8.0, 9.0, 11.0, 13.0, 15.0, 18.0, 20.0, 23.0, 25.0, 27.0],
    [6.0, 8.0, 9.0, 11.0, 13.0, 16.0, 19.0, 22.0, 25.0, 29.0, 32.0, 36.0, 40.0],
    [10.0, 12.0, 15.0, 18.0, 21.0, 25.0, 30.0, 35.0, 40.0, 46.0, 52.0, 57.0, 63.0],
    [14.0, 18.0, 22.0, 27.0, 33.0, 39.0, 46.0, 54.0, 63.0, 72.0, 81.0, 89.0, 97.0],
    [25.0, 30.0, 36.0, 43.0, 52.0, 62.0, 74.0, 87.0, 100.0, 115.0, 130.0, 140.0, 155.0],
    [40.0, 48.0, 58.0, 70.0, 84.0, 100.0, 120.0, 140.0, 160.0, 185.0, 210.0, 230.0, 250.0],
    [60.0, 75.0, 90.0, 110.0, 130.0, 160.0, 190.0, 220.0, 250.0, 290.0, 320.0, 360.0, 400.0],
    [100.0, 120.0, 150.0, 180.0, 210.0, 250.0, 300.0, 350.0, 400.0, 460.0, 520.0, 570.0, 630.0],
    [140.0, 180.0, 220.0, 270.0, 330.0, 390.0, 460.0, 540.0, 630.0, 720.0, 810.0, 890.0, 970.0],
    [250.0, 300.0, 360.0, 430.0, 520.0, 620.0, 740.0, 870.0, 1000.0, 1150.0, 1300.0, 1400.0, 1550.0],
    [400.0, 480.0, 580.0, 700.0, 840.0, 1000.0, 1200.0, 1400.0, 1600.0, 1850.0, 2100.0, 2300.0, 2500.0],
    [600.0, 750.0, 900.0, 1100.0, 1300.0, 1600.0, 1900.0, 2200.0, 2500.0, 2900.0, 3200.0, 3600.0, 4000.0],
    [1000.0, 1200.0, 1500.0, 1800.0, 2100.0, 2500.0, 3000.0, 3500.0, 4000.0, 4600.0, 5200.0, 5700.0, 6300.0],
    [1400.0, 1800.0, 2200.0, 2700.0, 3300.0, 3900.0, 4600.0, 5400.0, 6300.0, 7200.0, 8100.0, 8900.0, 9700.0],
];

/// The sizes of fundamental deviations of one letter.
struct Row {
    letter: &'static str,
    steps: &'static [f64],
    /// How many steps at the small end have no value.
    without: usize,
    /// Values in µm, without sign.
    values: &'static [u16],
}

const fn main_row(letter: &'static str, values: &'static [u16]) -> Row {
    Row { letter, steps: &MAIN_STEPS, without: 0, values }
}

const fn fine_row(letter: &'static str, without: usize, values: &'static [u16]) -> Row {
    Row { letter, steps: &FINE_STEPS, without, values }
}

/// Fundamental deviations of shafts without sign, µm [published: ISO 286-1:2010, tables 4 and 5]: from a to h the upper one,
/// below the nominal size; from k to zc the lower one, above it.
///
/// Between 18 mm and 30 mm some printings of table 4 have 25 for ef; the geometric mean of e and f, which is its rule, and the
/// mirrored hole EF both say 28.
static ROWS: &[Row] = &[
    fine_row(
        "a",
        0,
        &[
            270, 270, 280, 290, 290, 300, 300, 310, 320, 340, 360, 380, 410, 460, 520, 580, 660, 740, 820, 920, 1050,
            1200, 1350, 1500, 1650,
        ],
    ),
    fine_row(
        "b",
        0,
        &[
            140, 140, 150, 150, 150, 160, 160, 170, 180, 190, 200, 220, 240, 260, 280, 310, 340, 380, 420, 480, 540,
            600, 680, 760, 840,
        ],
    ),
    fine_row(
        "c",
        0,
        &[
            60, 70, 80, 95, 95, 110, 110, 120, 130, 140, 150, 170, 180, 200, 210, 230, 240, 260, 280, 300, 330, 360,
            400, 440, 480,
        ],
    ),
    main_row("cd", &[34, 46, 56, 70, 85, 100]),
    main_row("d", &[20, 30, 40, 50, 65, 80, 100, 120, 145, 170, 190, 210, 230]),
    main_row("e", &[14, 20, 25, 32, 40, 50, 60, 72, 85, 100, 110, 125, 135]),
    main_row("ef", &[10, 14, 18, 23, 28, 35]),
    main_row("f", &[6, 10, 13, 16, 20, 25, 30, 36, 43, 50, 56, 62, 68]),
    main_row("fg", &[4, 6, 8, 10, 12, 15]),
    main_row("g", &[2, 4, 5, 6, 7, 9, 10, 12, 14, 15, 17, 18, 20]),
    main_row("h", &[0; 13]),
    main_row("k", &[0, 1, 1, 1, 2, 2, 2, 3, 3, 4, 4, 4, 5]),
    main_row("m", &[2, 4, 6, 7, 8, 9, 11, 13, 15, 17, 20, 21, 23]),
    main_row("n", &[4, 8, 10, 12, 15, 17, 20, 23, 27, 31, 34, 37, 40]),
    main_row("p", &[6, 12, 15, 18, 22, 26, 32, 37, 43, 50, 56, 62, 68]),
    fine_row(
        "r",
        0,
        &[10, 15, 19, 23, 23, 28, 28, 34, 34, 41, 43, 51, 54, 63, 65, 68, 77, 80, 84, 94, 98, 108, 114, 126, 132],
    ),
    fine_row(
        "s",
        0,
        &[
            14, 19, 23, 28, 28, 35, 35, 43, 43, 53, 59, 71, 79, 92, 100, 108, 122, 130, 140, 158, 170, 190, 208, 232,
            252,
        ],
    ),
    fine_row("t", 6, &[41, 48, 54, 66, 75, 91, 104, 122, 134, 146, 166, 180, 196, 218, 240, 268, 294, 330, 360]),
    fine_row(
        "u",
        0,
        &[
            18, 23, 28, 33, 33, 41, 48, 60, 70, 87, 102, 124, 144, 170, 190, 210, 236, 258, 284, 315, 350, 390, 435,
            490, 540,
        ],
    ),
    fine_row(
        "v",
        4,
        &[39, 47, 55, 68, 81, 102, 120, 146, 172, 202, 228, 252, 284, 310, 340, 385, 425, 475, 530, 595, 660],
    ),
    fine_row(
        "x",
        0,
        &[
            20, 28, 34, 40, 45, 54, 64, 80, 97, 122, 146, 178, 210, 248, 280, 310, 350, 385, 425, 475, 525, 590, 660,
            740, 820,
        ],
    ),
    fine_row(
        "y",
        5,
        &[63, 75, 94, 114, 144, 174, 214, 254, 300, 340, 380, 425, 470, 520, 580, 650, 730, 820, 920, 1000],
    ),
    fine_row(
        "z",
        0,
        &[
            26, 35, 42, 50, 60, 73, 88, 112, 136, 172, 210, 258, 310, 365, 415, 465, 520, 575, 640, 710, 790, 900,
            1000, 1100, 1250,
        ],
    ),
    fine_row(
        "za",
        0,
        &[
            32, 42, 52, 64, 77, 98, 118, 148, 180, 226, 274, 335, 400, 470, 535, 600, 670, 740, 820, 920, 1000, 1150,
            1300, 1450, 1600,
        ],
    ),
    fine_row(
        "zb",
        0,
        &[
            40, 50, 67, 90, 108, 136, 160, 200, 242, 300, 360, 445, 525, 620, 700, 780, 880, 960, 1050, 1200, 1300,
            1500, 1650, 1850, 2100,
        ],
    ),
    fine_row(
        "zc",
        0,
        &[
            60, 80, 97, 130, 150, 188, 218, 274, 325, 405, 480, 585, 690, 800, 900, 1000, 1150, 1250, 1350, 1550, 1700,
            1900, 2100, 2400, 2600,
        ],
    ),
];

/// Lower deviations of the shafts j5 and j6, below the nominal size, µm [published: ISO 286-1:2010, table 5].
static J_SHAFT_5_6: Row = main_row("j", &[2, 2, 2, 3, 4, 5, 7, 9, 11, 13, 16, 18, 20]);
/// The same of j7.
static J_SHAFT_7: Row = main_row("j", &[4, 4, 5, 6, 8, 10, 12, 15, 18, 21, 26, 28, 32]);
/// The same of j8, which only the smallest step has.
static J_SHAFT_8: Row = main_row("j", &[6]);
/// Upper deviations of the hole J6, above the nominal size, µm [published: ISO 286-1:2010, table 3].
static J_HOLE_6: Row = main_row("J", &[2, 5, 5, 6, 8, 10, 13, 16, 18, 22, 25, 29, 33]);
/// The same of J7.
static J_HOLE_7: Row = main_row("J", &[4, 6, 8, 10, 12, 14, 18, 22, 26, 30, 36, 39, 43]);
/// The same of J8.
static J_HOLE_8: Row = main_row("J", &[6, 10, 12, 15, 20, 24, 28, 34, 41, 47, 55, 60, 66]);

/// The raise of the holes K to ZC by grade IT3 to IT8, in half micrometres [published: ISO 286-1:2010, table 3].
static RAISES: &[(u8, [u16; 13])] = &[
    (3, [0, 2, 2, 2, 3, 3, 4, 4, 6, 6, 8, 8, 10]),
    (4, [0, 3, 3, 4, 4, 6, 6, 8, 8, 8, 8, 10, 10]),
    (5, [0, 2, 4, 6, 6, 8, 10, 10, 12, 12, 14, 14, 14]),
    (6, [0, 6, 6, 6, 8, 10, 12, 14, 14, 18, 18, 22, 26]),
    (7, [0, 8, 12, 14, 16, 18, 22, 26, 30, 34, 40, 42, 46]),
    (8, [0, 12, 14, 18, 24, 28, 32, 38, 46, 52, 58, 64, 68]),
];

/// The last letters that sit above the nominal size as shafts, k not among them.
const RISING: [&str; 14] = ["m", "n", "p", "r", "s", "t", "u", "v", "x", "y", "z", "za", "zb", "zc"];
/// The letters whose zone lies below the nominal size as shafts.
const FALLING: [&str; 11] = ["a", "b", "c", "cd", "d", "e", "ef", "f", "fg", "g", "h"];

/// Where a size may lie, as deviations from the nominal size.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Zone {
    /// Lower deviation, µm.
    pub lower: f64,
    /// Upper deviation, µm.
    pub upper: f64,
}

/// Why a class has no zone; every message says the next move.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum FitError {
    /// Not letters and a grade.
    #[error("is no tolerance class; write letters and a grade, such as H7 for a hole or p6 for a shaft")]
    NoClass,
    /// Small letters for a hole or capitals for a shaft.
    #[error(
        "is written for the other part: capitals are holes, small letters are shafts; look which key it belongs to"
    )]
    OtherPart,
    /// Beyond the tables.
    #[error("is asked for a size outside 1 mm to 500 mm; the larger sizes have tables of their own")]
    Size,
    /// No such grade.
    #[error("has no grade from 1 to 18; write the grade behind the letters, such as 7 in H7")]
    Grade,
    /// No such letters.
    #[error("has letters the standard does not know; it knows a to zc without i, l, o, q and w")]
    Letters,
    /// The tables have no value there.
    #[error("has no value in the tables of ISO 286-1 at this size; take a neighbouring letter or grade")]
    NotInTable,
}

impl Row {
    fn value(&self, size: f64) -> Option<f64> {
        let step = step(self.steps, size)?;
        self.values.get(step.checked_sub(self.without)?).copied().map(f64::from)
    }
}

fn step(steps: &[f64], size: f64) -> Option<usize> {
    steps.iter().position(|end| size <= *end + SLACK)
}

fn magnitude(letter: &str, size: f64) -> Result<f64, FitError> {
    let row = ROWS.iter().find(|row| row.letter == letter).ok_or(FitError::Letters)?;
    row.value(size).ok_or(FitError::NotInTable)
}

/// The standard tolerance of a size, in µm, grade 1 to 18.
///
/// # Units
/// The nominal size in mm, from 1 to 500.
/// # Errors
/// [`FitError`] for sizes and grades outside the table, and for IT14 to IT18 at 1 mm, which the standard bars.
/// # Source
/// ISO 286-1:2010, table 1 \[published\].
pub fn standard_tolerance(size: f64, grade: u8) -> Result<f64, FitError> {
    if !(1.0 - SLACK..=500.0 + SLACK).contains(&size) {
        return Err(FitError::Size);
    }
    let place = grade.checked_sub(1).ok_or(FitError::Grade)?;
    let row = STANDARD_TOLERANCES.get(usize::from(place)).ok_or(FitError::Grade)?;
    if size <= 1.0 + SLACK && grade >= 14 {
        return Err(FitError::NotInTable);
    }
    step(&MAIN_STEPS, size).and_then(|step| row.get(step)).copied().ok_or(FitError::Size)
}

/// The tolerance unit of a step of sizes, in µm: IT6 is ten of it, IT7 sixteen, IT8 twenty-five, before rounding.
///
/// # Units
/// The ends of the step in mm.
/// # Source
/// ISO 286-1, basis of the system: `0.45 D^(1/3) + 0.001 D` with D the geometric mean of the step \[published\].
#[must_use]
pub fn tolerance_unit(over: f64, up_to: f64) -> f64 {
    let middle = (over * up_to).sqrt();
    0.45 * middle.cbrt() + 0.001 * middle
}

/// Letters and grade of a class.
fn read_class(class: &str) -> Result<(&str, u8), FitError> {
    let class = class.trim();
    let split = class.find(|c: char| c.is_ascii_digit()).ok_or(FitError::NoClass)?;
    let (letters, grade) = class.split_at(split);
    if letters.is_empty() || !letters.chars().all(|c| c.is_ascii_alphabetic()) {
        return Err(FitError::NoClass);
    }
    let grade: u8 = grade.parse().map_err(|_| FitError::NoClass)?;
    if (1..=18).contains(&grade) { Ok((letters, grade)) } else { Err(FitError::Grade) }
}

/// The limits of a shaft class, such as `p6`, as deviations in µm.
///
/// # Units
/// The nominal size in mm, from 1 to 500.
/// # Errors
/// [`FitError`], saying what to type instead.
/// # Source
/// ISO 286-1:2010, tables 1, 4 and 5 \[published\]; js lies evenly about the nominal size and is not rounded.
pub fn shaft_zone(size: f64, class: &str) -> Result<Zone, FitError> {
    let (letter, grade) = read_class(class)?;
    if letter.chars().any(|c| c.is_ascii_uppercase()) {
        return Err(FitError::OtherPart);
    }
    let tolerance = standard_tolerance(size, grade)?;
    let above = |lower: f64| Zone { lower, upper: lower + tolerance };
    let table = |row: &Row| row.value(size).ok_or(FitError::NotInTable);
    Ok(match (letter, grade) {
        ("js", _) => Zone { lower: -tolerance / 2.0, upper: tolerance / 2.0 },
        ("j", 5 | 6) => above(-table(&J_SHAFT_5_6)?),
        ("j", 7) => above(-table(&J_SHAFT_7)?),
        ("j", 8) => above(-table(&J_SHAFT_8)?),
        ("j", _) => return Err(FitError::NotInTable),
        ("k", 4..=7) => above(magnitude("k", size)?),
        ("k", _) => above(0.0),
        ("a" | "b", _) if size <= 1.0 + SLACK => return Err(FitError::NotInTable),
        _ if FALLING.contains(&letter) => {
            let upper = -magnitude(letter, size)?;
            Zone { lower: upper - tolerance, upper }
        }
        _ if RISING.contains(&letter) => above(magnitude(letter, size)?),
        _ => return Err(FitError::Letters),
    })
}

/// How much higher than the mirrored shaft a hole of the fine grades lies, in µm.
fn raise(size: f64, grade: u8) -> Result<f64, FitError> {
    if size <= 3.0 + SLACK {
        return Ok(0.0);
    }
    let (_, row) = RAISES.iter().find(|(known, _)| *known == grade).ok_or(FitError::NotInTable)?;
    let halves = step(&MAIN_STEPS, size).and_then(|step| row.get(step)).ok_or(FitError::Size)?;
    Ok(f64::from(*halves) / 2.0)
}

/// The limits of a hole class, such as `H7`, as deviations in µm.
///
/// # Units
/// The nominal size in mm, from 1 to 500.
/// # Errors
/// [`FitError`], saying what to type instead.
/// # Source
/// ISO 286-1:2010, tables 1 to 3 with their footnotes \[published\]: A to H mirror the shafts; K, M and N up to IT8 and P to ZC
/// up to IT7 are raised by the table's delta; M6 over 250 mm up to 315 mm is raised by 11 µm instead of 9 µm.
pub fn hole_zone(size: f64, class: &str) -> Result<Zone, FitError> {
    let (letter, grade) = read_class(class)?;
    if letter.chars().any(|c| c.is_ascii_lowercase()) {
        return Err(FitError::OtherPart);
    }
    let tolerance = standard_tolerance(size, grade)?;
    let below = |upper: f64| Zone { lower: upper - tolerance, upper };
    let table = |row: &Row| row.value(size).ok_or(FitError::NotInTable);
    let small = letter.to_ascii_lowercase();
    let (tiny, smallest) = (size <= 1.0 + SLACK, size <= 3.0 + SLACK);
    Ok(match (letter, grade) {
        ("JS", _) => Zone { lower: -tolerance / 2.0, upper: tolerance / 2.0 },
        ("J", 6) => below(table(&J_HOLE_6)?),
        ("J", 7) => below(table(&J_HOLE_7)?),
        ("J", 8) => below(table(&J_HOLE_8)?),
        ("J", _) => return Err(FitError::NotInTable),
        ("K", 9..) if !smallest => return Err(FitError::NotInTable),
        ("N", 9..) if tiny => return Err(FitError::NotInTable),
        ("N", 9..) if !smallest => below(0.0),
        ("M", 6) if size > 250.0 + SLACK && size <= 315.0 + SLACK => below(-9.0),
        ("K" | "M" | "N", ..=8) => below(raise(size, grade)? - magnitude(&small, size)?),
        ("K" | "M" | "N", _) => below(-magnitude(&small, size)?),
        ("A" | "B", _) if tiny => return Err(FitError::NotInTable),
        _ if FALLING.contains(&small.as_str()) => {
            let lower = magnitude(&small, size)?;
            Zone { lower, upper: lower + tolerance }
        }
        (_, ..=7) if RISING.contains(&small.as_str()) => below(raise(size, grade)? - magnitude(&small, size)?),
        _ if RISING.contains(&small.as_str()) => below(-magnitude(&small, size)?),
        _ => return Err(FitError::Letters),
    })
}

/// Limits of a hole, a shaft, and the fit of both.
pub const FIT: Calculator = Calculator {
    id: "fit",
    group: Group::Fits,
    name: "Limits and fit",
    meaning: "limits of a hole class and a shaft class of the ISO system, and the clearance or interference between them",
    inputs: &[
        Input::number("size", Unit::MILLIMETRE, "nominal size of hole and shaft").within(Domain::Between(1.0, 500.0)),
        Input::text("hole", "class of the hole in capitals, such as H7").optional(),
        Input::text("shaft", "class of the shaft in small letters, such as p6").optional(),
    ],
    outputs: &[
        Output::new("clearance_least", Unit::MICROMETRE, "least clearance"),
        Output::new("clearance_greatest", Unit::MICROMETRE, "greatest clearance"),
        Output::new("interference_least", Unit::MICROMETRE, "least interference"),
        Output::new("interference_greatest", Unit::MICROMETRE, "greatest interference"),
        Output::new("hole_upper", Unit::MICROMETRE, "upper deviation of the hole"),
        Output::new("hole_lower", Unit::MICROMETRE, "lower deviation of the hole"),
        Output::new("hole_greatest", Unit::MILLIMETRE, "greatest hole"),
        Output::new("hole_least", Unit::MILLIMETRE, "least hole"),
        Output::new("shaft_upper", Unit::MICROMETRE, "upper deviation of the shaft"),
        Output::new("shaft_lower", Unit::MICROMETRE, "lower deviation of the shaft"),
        Output::new("shaft_greatest", Unit::MILLIMETRE, "greatest shaft"),
        Output::new("shaft_least", Unit::MILLIMETRE, "least shaft"),
    ],
    workings: &[
        "hole_upper is the upper deviation of the class from the tables",
        "hole_lower is the lower deviation of the class from the tables",
        "shaft_upper is the upper deviation of the class from the tables",
        "shaft_lower is the lower deviation of the class from the tables",
        "hole_greatest = size + hole_upper / 1000",
        "hole_least = size + hole_lower / 1000",
        "shaft_greatest = size + shaft_upper / 1000",
        "shaft_least = size + shaft_lower / 1000",
        "clearance_least = hole_lower - shaft_upper",
        "clearance_greatest = hole_upper - shaft_lower",
        "interference_least = shaft_lower - hole_upper",
        "interference_greatest = shaft_upper - hole_lower",
        "what comes out below zero is left out: a clearance below zero is an interference",
    ],
    sources: &["ISO 286-1:2010, tables 1 to 5 [published]"],
    example: &[("size", "25 mm"), ("hole", "H7"), ("shaft", "p6")],
    cautions: &[
        "A class is a designer's choice: which fit belongs to a part of an engine stands in the engine's own manual or on the drawing, not here.",
    ],
    formula: fit,
};

fn fit(given: &Given) -> Result<Computed, CalcError> {
    let size = given.number("size")?;
    let read = |key: &'static str, zone: fn(f64, &str) -> Result<Zone, FitError>| {
        given
            .text(key)
            .filter(|class| !class.is_empty())
            .map(|class| zone(size, class).map_err(|error| given.out_of_domain(key, error.to_string())))
            .transpose()
    };
    let (hole, shaft) = (read("hole", hole_zone)?, read("shaft", shaft_zone)?);
    if hole.is_none() && shaft.is_none() {
        return Err(given.missing("hole"));
    }
    let mut computed = Computed::default();
    if let (Some(hole), Some(shaft)) = (hole, shaft) {
        let (least, greatest) = (hole.lower - shaft.upper, hole.upper - shaft.lower);
        if least >= 0.0 {
            computed.put("clearance_least", least);
        }
        if greatest >= 0.0 {
            computed.put("clearance_greatest", greatest);
        } else {
            computed.put("interference_least", -greatest);
        }
        if least < 0.0 {
            computed.put("interference_greatest", -least);
        }
        computed.note(match (least >= 0.0, greatest >= 0.0) {
            (true, _) => "clearance fit: the parts are loose at every size within the limits",
            (false, true) => "transition fit: loose or tight, depending on the two sizes; measure both parts",
            (false, false) => "interference fit: the parts are tight at every size within the limits",
        });
    }
    for (zone, keys) in [
        (hole, ["hole_upper", "hole_lower", "hole_greatest", "hole_least"]),
        (shaft, ["shaft_upper", "shaft_lower", "shaft_greatest", "shaft_least"]),
    ] {
        let Some(zone) = zone else { continue };
        let [upper, lower, greatest, least] = keys;
        computed.put(upper, zone.upper);
        computed.put(lower, zone.lower);
        computed.put(greatest, size + zone.upper / 1000.0);
        computed.put(least, size + zone.lower / 1000.0);
    }
    let symmetrical = given.text("hole").is_some_and(|class| class.starts_with("JS"))
        || given.text("shaft").is_some_and(|class| class.starts_with("js"));
    if symmetrical {
        computed.note("half micrometres of js are kept; the edition of 1988 rounded them down for IT7 to IT11");
    }
    computed.note("sizes hold at 20 °C; parts just washed, ground or warmed read differently");
    Ok(computed)
}
