//! A row of bores, the next oversize of bores, the next undersize of crank journals.

use quantity::{Reply, Unit, parse_quantity};
use statrs::distribution::{ContinuousCDF, Normal};

use crate::bores::{largest, oval_of_three, smallest};
use crate::budget::rows_of;
use crate::catalogue::{Calculator, Computed, Domain, Group, Input, Output};
use crate::cautions::CUTTING;
use crate::error::CalcError;
use crate::given::Given;

/// The most bores or journals in a row.
const MOST: usize = 64;

/// A millionth of a millimetre is rounding, not metal.
const ROUNDING_MM: f64 = 1e-6;

/// The chance that a cut to a size takes all the worn wall away, when the new centre misses the worn one by chance.
///
/// # Shapes
/// `room`: finished diameter less finishing stock, clean-up and twice the depth of the deepest score, less the largest
/// diameter read. `u`: standard uncertainty of that diameter. `offset`: standard deviation of the offset of the centre on
/// each of two axes.
/// # Units
/// All in one unit.
/// # Source
/// The wall is clean where `room >= error + 2 * offset`; the offset has a Rayleigh distribution, the error a normal one. The
/// chance of their sum in closed form, worked out here by completing the square.
#[must_use]
pub fn chance_of_cleaning(room: f64, u: f64, offset: f64) -> f64 {
    let normal = Normal::standard();
    let sigma = 2.0 * offset;
    if u <= 0.0 && sigma <= 0.0 {
        return if room >= 0.0 { 1.0 } else { 0.0 };
    }
    if sigma <= 0.0 {
        return normal.cdf(room / u);
    }
    if u <= 0.0 {
        return if room > 0.0 { -(-(room / sigma).powi(2) / 2.0).exp_m1() } else { 0.0 };
    }
    let both = sigma.hypot(u);
    let missed = sigma / both * (-(room / both).powi(2) / 2.0).exp() * normal.cdf(room / u * (sigma / both));
    (normal.cdf(room / u) - missed).clamp(0.0, 1.0)
}

/// Sizes typed as `0.25 0.50 0.75 mm`, rising, in millimetres.
fn sizes(given: &Given, key: &'static str) -> Result<Option<Vec<f64>>, CalcError> {
    let Some(text) = given.text(key) else { return Ok(None) };
    let mut words: Vec<&str> = text.split([' ', ';']).filter(|word| !word.is_empty()).collect();
    let mut unit = Unit::MILLIMETRE;
    if let Some(last) = words.last().and_then(|word| Unit::from_symbol(word).ok()) {
        words.pop();
        unit = last;
    }
    let wrong = || given.out_of_domain(key, "is no list of sizes above zero; type it as 0.25 0.50 0.75 mm");
    let mut found = Vec::new();
    for word in words {
        let Ok(Reply::Value(typed)) = parse_quantity(word, Some(unit)) else { return Err(wrong()) };
        let size = typed.value_in(Unit::MILLIMETRE).map_err(|_| wrong())?;
        if size <= 0.0 {
            return Err(wrong());
        }
        found.push(size);
    }
    if found.is_empty() || found.len() > MOST {
        return Err(wrong());
    }
    found.sort_by(f64::total_cmp);
    Ok(Some(found))
}

/// One bore of a row: its name and readings, one row per height.
struct Bore {
    name: String,
    heights: Vec<Vec<f64>>,
}

impl Bore {
    fn all(&self) -> impl Iterator<Item = f64> {
        self.heights.iter().flatten().copied()
    }

    fn out_of_round(&self) -> f64 {
        largest(self.heights.iter().map(|row| match row.as_slice() {
            [across, along, slanted] => oval_of_three(*across, *along, *slanted),
            [across, along] => (across - along).abs(),
            _ => 0.0,
        }))
    }

    fn taper(&self) -> f64 {
        let columns = self.heights.first().map_or(0, Vec::len);
        largest((0..columns).map(|column| {
            let on_axis = || self.heights.iter().filter_map(move |row| row.get(column)).copied();
            largest(on_axis()) - smallest(on_axis())
        }))
    }
}

fn read_bores(given: &Given) -> Result<Vec<Bore>, CalcError> {
    let text = given.text("bores").ok_or_else(|| given.missing("bores"))?;
    let unit = given.text("unit").unwrap_or("mm");
    let unit = Unit::from_symbol(unit)
        .ok()
        .filter(|unit| unit.dimension() == Unit::MILLIMETRE.dimension())
        .ok_or_else(|| given.out_of_domain("unit", "is no unit of length; type mm or in"))?;
    let mut bores = Vec::new();
    for (row, line, _) in rows_of(text) {
        let refuse = |column: usize, typed: &str, why: &str| CalcError::BadTable {
            key: "bores".to_owned(),
            row,
            column,
            typed: typed.chars().take(60).collect(),
            why: why.to_owned(),
        };
        let (name, readings) = match line.split_once(':') {
            Some((name, readings)) => (name.trim().to_owned(), readings),
            None => (row.to_string(), line),
        };
        let mut heights = Vec::new();
        let mut column = 0;
        for height in readings.split('/') {
            let mut values = Vec::new();
            for word in height.split_whitespace() {
                column += 1;
                let has_unit = word.trim_end_matches(',').ends_with(|c: char| c.is_alphabetic() || c == '"');
                if has_unit && word.starts_with(|c: char| c.is_ascii_digit()) {
                    return Err(refuse(
                        column,
                        word,
                        "carries a unit; type bare numbers, and their unit once as unit=in",
                    ));
                }
                let value = match parse_quantity(word.trim_end_matches(','), Some(unit)) {
                    Ok(Reply::Value(typed)) => typed.value_in(Unit::MILLIMETRE).ok(),
                    Ok(Reply::Question(_)) | Err(_) => None,
                };
                let Some(value) = value.filter(|value| *value > 0.0) else {
                    return Err(refuse(column, word, "is no diameter above zero; give numbers such as 88.094"));
                };
                values.push(value);
            }
            if !(2..=3).contains(&values.len()) {
                return Err(refuse(
                    column.max(1),
                    height,
                    "needs two or three diameters a height: across the crank, along it, and at 45 degrees if taken; heights stand apart by /",
                ));
            }
            heights.push(values);
        }
        let wide = heights.first().map_or(0, Vec::len);
        if heights.iter().any(|values| values.len() != wide) {
            return Err(refuse(
                1,
                line,
                "has more diameters at one height than at another; give every height the same axes",
            ));
        }
        bores.push(Bore { name, heights });
    }
    if bores.is_empty() || bores.len() > MOST {
        return Err(given.out_of_domain("bores", format!("must hold from 1 to {MOST} bores, one a line")));
    }
    Ok(bores)
}

/// All bores of a row.
pub const BORE_SERIES: Calculator = Calculator {
    id: "bore-series",
    group: Group::Bores,
    name: "Row of bores",
    meaning: "all bores of an engine together: the worst of each kind, their spread, and the trend along the engine",
    inputs: &[
        Input::lines(
            "bores",
            "one line per bore, in sequence: name: diameters of the top height / of the next / …; each height across the crank, along it, and at 45 degrees if taken",
        ),
        Input::text("unit", "unit of bare numbers").or("mm"),
        Input::number("standard", Unit::MILLIMETRE, "the bore when new").optional(),
        Input::number("u_reading", Unit::MILLIMETRE, "standard uncertainty of one reading against another")
            .optional()
            .within(Domain::NotNegative),
        Input::number(
            "u_setting",
            Unit::MILLIMETRE,
            "standard uncertainty common to all readings: setting ring, temperature",
        )
        .optional()
        .within(Domain::NotNegative),
    ],
    outputs: &[
        Output::new("largest", Unit::MILLIMETRE, "largest diameter of all bores"),
        Output::new("worst_wear", Unit::MILLIMETRE, "the same less the bore when new"),
        Output::new("worst_out_of_round", Unit::MILLIMETRE, "largest out-of-round of all bores"),
        Output::new("worst_taper", Unit::MILLIMETRE, "largest taper of all bores"),
        Output::new("spread", Unit::MILLIMETRE, "largest diameter of the worst bore less that of the best"),
        Output::new(
            "trend",
            Unit::MILLIMETRE,
            "change of the largest diameter from one bore to the next, by least squares",
        ),
    ],
    workings: &[
        "largest is the largest of all diameters",
        "worst_wear = largest - standard",
        "worst_out_of_round is the largest out-of-round of the bores, each as in bore-wear",
        "worst_taper is the largest taper of the bores, each as in bore-wear",
        "spread is the largest less the smallest of the bores' largest diameters",
        "trend is the slope of the straight line of least squares through the bores' largest diameters, bore by bore",
        "the doubt of a size is the root of u_reading² + u_setting²; that of a difference is u_reading times the root of 2; that of the trend is u_reading over the root of the sum of (place - middle place)²",
    ],
    sources: &[
        "definitions of the trade [common-practice]; the trend is a line of least squares, JCGM 100:2008 H.3 for its doubt [published]",
    ],
    example: &[
        (
            "bores",
            "1: 86.038 86.061 / 86.031 86.049 / 86.012 86.018; 2: 86.034 86.052 / 86.028 86.041 / 86.011 86.015; 3: 86.036 86.058 / 86.030 86.046 / 86.013 86.017; 4: 86.052 86.094 / 86.041 86.070 / 86.016 86.022",
        ),
        ("standard", "86 mm"),
        ("u_reading", "0.0025 mm"),
        ("u_setting", "0.002 mm"),
    ],
    cautions: &[],
    formula: bore_series,
};

fn bore_series(given: &Given) -> Result<Computed, CalcError> {
    let bores = read_bores(given)?;
    let (u_reading, u_setting) =
        (given.optional("u_reading").unwrap_or(0.0), given.optional("u_setting").unwrap_or(0.0));
    let u_difference = std::f64::consts::SQRT_2 * u_reading;
    let tops: Vec<f64> = bores.iter().map(|bore| largest(bore.all())).collect();
    let mut computed = Computed::default();
    let top = largest(tops.iter().copied());
    computed.put_with("largest", top, u_reading.hypot(u_setting));
    if let Some(standard) = given.optional("standard") {
        computed.put_with("worst_wear", top - standard, u_reading.hypot(u_setting));
        if top < standard {
            computed.note("the largest reading lies below the bore when new; look at the gauge setting");
        }
    }
    let rounds: Vec<f64> = bores.iter().map(Bore::out_of_round).collect();
    let tapers: Vec<f64> = bores.iter().map(Bore::taper).collect();
    computed.put_with("worst_out_of_round", largest(rounds.iter().copied()), u_difference);
    let has_heights = bores.iter().any(|bore| bore.heights.len() > 1);
    if has_heights {
        computed.put_with("worst_taper", largest(tapers.iter().copied()), u_difference);
    } else {
        computed.note("one height gives no taper; read at the top, the middle and the bottom");
    }
    computed.put_with("spread", top - smallest(tops.iter().copied()), if bores.len() > 1 { u_difference } else { 0.0 });
    if bores.len() > 1 {
        let count = f64::from(u32::try_from(bores.len()).unwrap_or(u32::MAX));
        let middle = (count - 1.0) / 2.0;
        let places = || (0_u32..).map(f64::from).map(|place| place - middle);
        let squares: f64 = places().take(bores.len()).map(|place| place * place).sum();
        let slope = places().zip(&tops).map(|(place, size)| place * (size - top)).sum::<f64>() / squares;
        computed.put_with("trend", slope, u_reading / squares.sqrt());
    }
    let named = |values: &[f64]| {
        let worst = values.iter().zip(&bores).max_by(|a, b| a.0.total_cmp(b.0));
        worst.map_or_else(String::new, |(_, bore)| bore.name.clone())
    };
    computed.note(format!("the largest bore is {}, the least round {}", named(&tops), named(&rounds)));
    if has_heights {
        computed.note(format!("the most tapered bore is {}", named(&tapers)));
    }
    computed.note("one bore sets the size for all; three or five lobes are invisible to any two-point gauge");
    Ok(computed)
}

/// The next oversize that cleans worn bores.
pub const BORE_OVERSIZE: Calculator = Calculator {
    id: "bore-oversize",
    group: Group::Bores,
    name: "Bore oversize",
    meaning: "smallest oversize that cleans the worst bore, on the worn and on the original centre, and the chance that all bores clean up",
    inputs: &[
        Input::number("standard", Unit::MILLIMETRE, "the bore when new"),
        Input::number("worst", Unit::MILLIMETRE, "largest diameter of the worst bore"),
        Input::number("stock", Unit::MILLIMETRE, "finishing stock on each side").within(Domain::NotNegative),
        Input::number("step", Unit::MILLIMETRE, "step in which oversizes are made"),
        Input::text("sizes", "oversizes that can be had, such as 0.25 0.50 1.00 mm; then the chances are given")
            .optional(),
        Input::readings(
            "bores",
            Unit::MILLIMETRE,
            "one row per bore: largest diameter, and depth of its deepest score if it has one",
        )
        .optional(),
        Input::number("score_depth", Unit::MILLIMETRE, "depth of the deepest score of the worst bore")
            .or("0 mm")
            .within(Domain::NotNegative),
        Input::number("cleanup", Unit::MILLIMETRE, "least cut on the diameter that makes the wall clean")
            .or("0 mm")
            .within(Domain::NotNegative),
        Input::number(
            "offset",
            Unit::MILLIMETRE,
            "how far the new centre misses the worn one, standard deviation on each axis",
        )
        .or("0 mm")
        .within(Domain::NotNegative),
        Input::number("u_worst", Unit::MILLIMETRE, "standard uncertainty of a largest diameter")
            .or("0 mm")
            .within(Domain::NotNegative),
        Input::number("chance", Unit::PERCENT, "wanted chance that all bores clean up")
            .or("99 %")
            .within(Domain::Between(50.0, 99.9999)),
    ],
    outputs: &[
        Output::new("size_on_worn_centre", Unit::MILLIMETRE, "smallest finished bore on the worn centre"),
        Output::new(
            "size_on_original_centre",
            Unit::MILLIMETRE,
            "smallest finished bore on the original centre, all wear on one side",
        ),
        Output::new("oversize_on_worn_centre", Unit::MILLIMETRE, "oversize step that reaches it on the worn centre"),
        Output::new(
            "oversize_on_original_centre",
            Unit::MILLIMETRE,
            "oversize step that reaches it on the original centre",
        ),
        Output::new(
            "oversize_by_chance",
            Unit::MILLIMETRE,
            "smallest listed oversize with the wanted chance, bored on the worn centres",
        ),
        Output::new("chance_all_clean", Unit::ONE, "chance that all bores clean up at that oversize"),
    ],
    workings: &[
        "taken = 2 × stock + cleanup",
        "size_on_worn_centre = worst + 2 × score_depth + taken",
        "size_on_original_centre = standard + 2 × (worst - standard) + 2 × score_depth + taken",
        "oversize_on_worn_centre is the next whole number of steps over standard that reaches size_on_worn_centre",
        "oversize_on_original_centre is the same for size_on_original_centre",
        "oversize_by_chance is the smallest of sizes for which chance_all_clean reaches chance",
        "chance_all_clean is, bore by bore multiplied, the chance that standard + oversize - taken - largest diameter - 2 × depth of score is more than twice the miss of the centre, the reading normal with u_worst and the miss with offset on each axis",
    ],
    sources: &[
        "geometry, and the chance in closed form for a normal reading and a centre missed by chance, worked out here",
    ],
    example: &[("standard", "88.00 mm"), ("worst", "88.14 mm"), ("stock", "0.03 mm"), ("step", "0.25 mm")],
    cautions: &[
        "How far a block may be bored stands in the engine's own manual: measure the wall all round first, and have the pistons before the cut; a bore that breaks into the coolant is the end of the block or a liner.",
        CUTTING,
    ],
    formula: bore_oversize,
};

fn bore_oversize(given: &Given) -> Result<Computed, CalcError> {
    let (standard, worst) = (given.number("standard")?, given.number("worst")?);
    let (stock, step) = (given.number("stock")?, given.number("step")?);
    let (score, cleanup) = (given.number("score_depth")?, given.number("cleanup")?);
    if worst < standard {
        return Err(given.out_of_domain("worst", "is smaller than the bore when new; look for exchanged values"));
    }
    let taken = 2.0 * stock + cleanup;
    let worn = worst + 2.0 * score + taken;
    let original = standard + 2.0 * (worst - standard) + 2.0 * score + taken;
    // A millionth of a step is rounding, not metal.
    let next = |size: f64| ((size - standard) / step - 1e-6).ceil().max(0.0) * step;
    let mut computed = Computed::default();
    computed.put("size_on_worn_centre", worn);
    computed.put("size_on_original_centre", original);
    computed.put("oversize_on_worn_centre", next(worn));
    computed.put("oversize_on_original_centre", next(original));
    if let Some(sizes) = sizes(given, "sizes")? {
        let bores = bores_to_clean(given, worst, score)?;
        let (u, offset, wanted) = (given.number("u_worst")?, given.number("offset")?, given.number("chance")? / 100.0);
        let chance = |size: f64| -> f64 {
            let room = |bore: &(f64, f64)| standard + size - taken - bore.0 - 2.0 * bore.1 + ROUNDING_MM;
            bores.iter().map(|bore| chance_of_cleaning(room(bore), u, offset)).product()
        };
        for size in &sizes {
            computed.note(format!(
                "oversize {size:.3} mm: all {} bores clean up with a chance of {:.4}",
                bores.len(),
                chance(*size)
            ));
        }
        match sizes.iter().find(|size| chance(**size) >= wanted) {
            Some(size) => {
                computed.put("oversize_by_chance", *size);
                computed.put("chance_all_clean", chance(*size));
            }
            None => computed.note("no listed oversize has the wanted chance; think of a liner, or of one bore sleeved"),
        }
        computed.note("the bores count as independent; a common error of the gauge makes them miss together, which changes little");
    }
    computed.note(
        "one bore sets the size for all; see that pistons exist and that the wall is thick enough before cutting",
    );
    Ok(computed)
}

/// Largest diameter and depth of score of each bore.
fn bores_to_clean(given: &Given, worst: f64, score: f64) -> Result<Vec<(f64, f64)>, CalcError> {
    let rows = given.table("bores");
    if rows.is_empty() {
        return Ok(vec![(worst, score)]);
    }
    let mut bores = Vec::new();
    for row in rows {
        let (size, score) = match row.as_slice() {
            [size] => (*size, 0.0),
            [size, score] => (*size, *score),
            _ => {
                return Err(given.do_not_go_together(
                    "bores has too many columns; give one or two: largest diameter, depth of score",
                ));
            }
        };
        if size <= 0.0 || score < 0.0 {
            return Err(given.do_not_go_together(format!(
                "bores holds {size} and {score}; a diameter is above zero, a depth not below"
            )));
        }
        bores.push((size, score));
    }
    if largest(bores.iter().map(|bore| bore.0)) > worst + ROUNDING_MM {
        return Err(given.out_of_domain("worst", "is smaller than the largest of bores; give the worst of them"));
    }
    Ok(bores)
}

/// The next undersize that cleans the journals of a crank.
pub const CRANK_UNDERSIZE: Calculator = Calculator {
    id: "crank-undersize",
    group: Group::Bearings,
    name: "Crank undersize",
    meaning: "next undersize that cleans all journals of one kind, ground on the worn and on the original centre",
    inputs: &[
        Input::number("standard", Unit::MILLIMETRE, "journal diameter when new"),
        Input::readings(
            "journals",
            Unit::MILLIMETRE,
            "one row per journal of the kind (all mains, or all rod journals): its readings",
        ),
        Input::number("stock", Unit::MILLIMETRE, "finishing stock on the diameter").within(Domain::NotNegative),
        Input::text("sizes", "undersizes that shells are made for, such as 0.25 0.50 0.75 mm"),
        Input::number("most", Unit::MILLIMETRE, "largest undersize that the engine's manual allows").optional(),
        Input::number("u_reading", Unit::MILLIMETRE, "standard uncertainty of one reading")
            .optional()
            .within(Domain::NotNegative),
    ],
    outputs: &[
        Output::new("smallest", Unit::MILLIMETRE, "smallest diameter read"),
        Output::new("largest_oval", Unit::MILLIMETRE, "largest difference of readings on one journal"),
        Output::new("target", Unit::MILLIMETRE, "largest ground diameter that cleans up on the worn centre"),
        Output::new(
            "target_on_original_centre",
            Unit::MILLIMETRE,
            "the same on the original centre, all wear on one side",
        ),
        Output::new("undersize", Unit::MILLIMETRE, "undersize that reaches the target"),
        Output::new(
            "ground",
            Unit::MILLIMETRE,
            "diameter when new less that undersize; the shells' own paper has the size to grind to",
        ),
        Output::new(
            "undersize_on_original_centre",
            Unit::MILLIMETRE,
            "undersize that reaches the target on the original centre",
        ),
    ],
    workings: &[
        "smallest is the smallest of all readings",
        "largest_oval is the largest, over the journals, of the largest less the smallest reading of one journal",
        "target = smallest - stock",
        "target_on_original_centre = standard - 2 × max(0, standard - smallest) - stock",
        "undersize is the least of sizes, up to most, for which standard - undersize does not exceed target",
        "ground = standard - undersize",
        "undersize_on_original_centre is the same for target_on_original_centre",
    ],
    sources: &[
        "geometry, worked out here; all journals of one kind are ground together [published: TM 5-3805-262-34, as cited on a shop sheet]",
    ],
    example: &[
        ("standard", "57.112 mm"),
        ("journals", "57.090,57.071; 57.085,57.062; 57.056,57.018; 57.092,57.075"),
        ("stock", "0.05 mm"),
        ("sizes", "0.25 0.50 0.75 mm"),
    ],
    cautions: &[
        "Whether a crankshaft may be ground at all, and how far, its maker decides: hardened surfaces may be ground through, and rolled or rounded fillets lose their strength when they are cut; look for cracks before and after.",
        CUTTING,
    ],
    formula: crank_undersize,
};

fn crank_undersize(given: &Given) -> Result<Computed, CalcError> {
    let (standard, stock) = (given.number("standard")?, given.number("stock")?);
    let rows = given.table("journals");
    if let Some(bad) = rows.iter().flatten().find(|value| **value <= 0.0) {
        return Err(given.do_not_go_together(format!(
            "journals holds {bad} mm, which is no diameter; look for a mistyped reading"
        )));
    }
    let least = smallest(rows.iter().flatten().copied());
    let oval = largest(rows.iter().map(|row| largest(row.iter().copied()) - smallest(row.iter().copied())));
    let u = given.optional("u_reading").unwrap_or(0.0);
    let target = least - stock;
    let original = standard - 2.0 * (standard - least).max(0.0) - stock;
    if original <= 0.0 {
        return Err(given.do_not_go_together("the wear is larger than the journal; look for a mistyped reading"));
    }
    let sizes = sizes(given, "sizes")?.ok_or_else(|| given.missing("sizes"))?;
    let most = given.optional("most").unwrap_or(f64::INFINITY);
    let next = |target: f64| {
        sizes.iter().copied().find(|size| standard - size <= target + ROUNDING_MM && *size <= most + ROUNDING_MM)
    };
    let mut computed = Computed::default();
    computed.put_with("smallest", least, u);
    computed.put_with("largest_oval", oval, std::f64::consts::SQRT_2 * u);
    computed.put_with("target", target, u);
    computed.put_with("target_on_original_centre", original, 2.0 * u);
    match next(target) {
        Some(size) => {
            computed.put("undersize", size);
            computed.put("ground", standard - size);
        }
        None => computed.note("no listed undersize cleans the worst journal within what is allowed; the crankshaft needs building up or replacing"),
    }
    match next(original) {
        Some(size) => computed.put("undersize_on_original_centre", size),
        None => computed.note("on the original centre no listed undersize cleans up when all wear is on one side"),
    }
    if least >= standard {
        computed.note("no journal is below its size when new; look whether it has to be ground at all");
    }
    computed.note("all journals of one kind are ground to the same undersize; the worst one sets it");
    computed.note("the throw and the index stay right only on the original centre; the grinder says which one is kept");
    Ok(computed)
}
