//! Bore wear, oversize, piston clearance and ring gap.

use std::f64::consts::{PI, SQRT_2};

use quantity::Unit;

use crate::catalogue::{Calculator, Computed, Domain, Group, Input, Output};
use crate::cautions::BUILD_BY_THE_MANUAL;
use crate::error::CalcError;
use crate::given::Given;

/// The difference of the largest and smallest diameter of an oval from diameters at 0, 90 and 45 degrees.
///
/// # Source
/// Double-angle geometry of an ellipse, worked out here.
#[must_use]
pub fn oval_of_three(at_0: f64, at_90: f64, at_45: f64) -> f64 {
    let across = (at_0 - at_90) / 2.0;
    let slanted = at_45 - f64::midpoint(at_0, at_90);
    2.0 * across.hypot(slanted)
}

pub(crate) fn largest(values: impl Iterator<Item = f64>) -> f64 {
    values.fold(f64::NEG_INFINITY, f64::max)
}

pub(crate) fn smallest(values: impl Iterator<Item = f64>) -> f64 {
    values.fold(f64::INFINITY, f64::min)
}

/// Wear, out-of-round and taper of a bore from gauge readings.
pub const BORE_WEAR: Calculator = Calculator {
    id: "bore-wear",
    group: Group::Bores,
    name: "Bore wear",
    meaning: "wear, out-of-round and taper of a cylinder bore from readings at several heights on two or three axes",
    inputs: &[
        Input::readings(
            "readings",
            Unit::MILLIMETRE,
            "diameters: one row per height, top first; columns: across the crank, along the crank, and at 45 degrees if taken",
        ),
        Input::number("standard", Unit::MILLIMETRE, "the bore when new").optional(),
        Input::number("u_reading", Unit::MILLIMETRE, "standard uncertainty of one reading against another")
            .optional()
            .within(Domain::NotNegative),
        Input::number(
            "u_setting",
            Unit::MILLIMETRE,
            "standard uncertainty of the setting ring and of temperature, common to all readings",
        )
        .optional()
        .within(Domain::NotNegative),
    ],
    outputs: &[
        Output::new("largest", Unit::MILLIMETRE, "largest diameter read"),
        Output::new("smallest", Unit::MILLIMETRE, "smallest diameter read"),
        Output::new("wear", Unit::MILLIMETRE, "largest diameter less the bore when new"),
        Output::new(
            "out_of_round",
            Unit::MILLIMETRE,
            "largest difference between the two axes at one height; with three axes the oval through them",
        ),
        Output::new("taper", Unit::MILLIMETRE, "largest difference between heights on one axis"),
    ],
    workings: &[
        "largest is the largest of readings",
        "smallest is the smallest of readings",
        "wear = largest - standard",
        "out_of_round is the largest, over the heights, of the difference across less along; with the reading at 45 degrees twice the root of ((across - along) / 2)² + (at 45 - (across + along) / 2)²",
        "taper is the largest, over the axes, of the largest less the smallest of the heights",
        "the doubt of a size is the root of u_reading² + u_setting²; that of a difference is u_reading times the root of 2",
    ],
    sources: &[
        "definitions of the trade [common-practice]; setting error cancels in differences and stays in the size, worked out here",
    ],
    example: &[
        ("readings", "88.094,88.052; 88.060,88.040; 88.022,88.018"),
        ("standard", "88 mm"),
        ("u_reading", "0.0025 mm"),
        ("u_setting", "0.002 mm"),
    ],
    cautions: &[],
    formula: bore_wear,
};

fn bore_wear(given: &Given) -> Result<Computed, CalcError> {
    let rows = given.table("readings");
    let columns = rows.first().map_or(0, Vec::len);
    if !(2..=3).contains(&columns) {
        return Err(given.do_not_go_together(format!(
            "readings has {columns} columns; give two axes a height, or three with the one at 45 degrees last"
        )));
    }
    if let Some(bad) = rows.iter().flatten().find(|value| **value <= 0.0) {
        return Err(given.do_not_go_together(format!(
            "readings holds {bad} mm, which is no diameter; look for a mistyped reading"
        )));
    }
    let (u_reading, u_setting) =
        (given.optional("u_reading").unwrap_or(0.0), given.optional("u_setting").unwrap_or(0.0));
    let (u_size, u_difference) = (u_reading.hypot(u_setting), SQRT_2 * u_reading);
    let all = || rows.iter().flatten().copied();
    let top = largest(all());
    let out_of_round = largest(rows.iter().map(|row| match row.as_slice() {
        [across, along] => (across - along).abs(),
        [across, along, slanted] => oval_of_three(*across, *along, *slanted),
        _ => f64::NAN,
    }));
    let taper = largest((0..columns).map(|column| {
        let on_axis = || rows.iter().filter_map(move |row| row.get(column)).copied();
        largest(on_axis()) - smallest(on_axis())
    }));
    let mut computed = Computed::default();
    computed.put_with("largest", top, u_size);
    computed.put_with("smallest", smallest(all()), u_size);
    if let Some(standard) = given.optional("standard") {
        computed.put_with("wear", top - standard, u_size);
        if top < standard {
            computed.note("the largest reading lies below the bore when new; look at the gauge setting");
        }
    }
    computed.put_with("out_of_round", out_of_round, u_difference);
    if rows.len() > 1 {
        computed.put_with("taper", taper, u_difference);
    } else {
        computed.note("one height gives no taper; read at the top, the middle and the bottom");
    }
    if columns == 2 {
        computed.note("two axes see on average two thirds of an oval that is turned by chance; read at 45 degrees as well when the decision hangs on it");
    }
    computed.note("three or five lobes are invisible to any two-point gauge");
    if u_reading > 0.0 {
        computed.note(format!(
            "a truly round bore would still show about {:.4} mm of out-of-round at one height with this gauge",
            2.0 * u_reading / PI.sqrt()
        ));
    }
    Ok(computed)
}

/// Piston clearance, brought to one temperature.
pub const PISTON_CLEARANCE: Calculator = Calculator {
    id: "piston-clearance",
    group: Group::Bores,
    name: "Piston clearance",
    meaning: "clearance of a piston in its bore, brought to 20 °C where temperatures are given",
    inputs: &[
        Input::number("bore", Unit::MILLIMETRE, "bore diameter as read"),
        Input::number("piston", Unit::MILLIMETRE, "piston diameter at its gauge point as read"),
        Input::number("bore_temperature", Unit::CELSIUS, "temperature of the bore when read")
            .or("20 °C")
            .within(Domain::Any),
        Input::number("piston_temperature", Unit::CELSIUS, "temperature of the piston when read")
            .or("20 °C")
            .within(Domain::Any),
        Input::number("bore_expansion", Unit::MILLIONTH_PER_KELVIN, "expansion of the block metal").optional(),
        Input::number("piston_expansion", Unit::MILLIONTH_PER_KELVIN, "expansion of the piston metal").optional(),
    ],
    outputs: &[
        Output::new("clearance", Unit::MILLIMETRE, "clearance on the diameter at 20 °C"),
        Output::new("per_bore", Unit::PER_MILLE, "clearance per bore diameter"),
    ],
    workings: &[
        "with bore_expansion: bore_at_20 = bore / (1 + bore_expansion × (bore_temperature - 20) / 1000000)",
        "with piston_expansion: piston_at_20 = piston / (1 + piston_expansion × (piston_temperature - 20) / 1000000)",
        "without bore_expansion: bore_at_20 = bore",
        "without piston_expansion: piston_at_20 = piston",
        "clearance = bore_at_20 - piston_at_20",
        "per_bore = 1000 × clearance / bore_at_20",
    ],
    sources: &["difference of two sizes; sizes are stated at 20 °C (ISO 1) [published]"],
    example: &[("bore", "88.030 mm"), ("piston", "87.985 mm")],
    cautions: &[BUILD_BY_THE_MANUAL],
    formula: |given| {
        let at_20 =
            |size: &'static str, temperature: &'static str, expansion: &'static str| -> Result<f64, CalcError> {
                let rise = given.number(temperature)? - 20.0;
                let growth = match given.optional(expansion) {
                    Some(growth) => growth * 1e-6,
                    None if rise.abs() > 0.0 => return Err(given.missing(expansion)),
                    None => 0.0,
                };
                Ok(given.number(size)? / (1.0 + growth * rise))
            };
        let bore = at_20("bore", "bore_temperature", "bore_expansion")?;
        let clearance = bore - at_20("piston", "piston_temperature", "piston_expansion")?;
        let mut computed = Computed::default();
        computed.put("clearance", clearance);
        computed.put("per_bore", clearance / bore * 1000.0);
        if clearance < 0.0 {
            computed.note("the piston is larger than the bore; look for exchanged values or a warm piston");
        }
        Ok(computed)
    },
};

/// Ring end gap.
pub const RING_GAP: Calculator = Calculator {
    id: "ring-gap",
    group: Group::Bores,
    name: "Ring end gap",
    meaning: "end gap wanted for a bore, and how the gap changes when the bore does",
    inputs: &[
        Input::number("bore", Unit::MILLIMETRE, "bore in which the ring is gapped"),
        Input::number(
            "gap_per_bore",
            Unit::ONE,
            "gap wanted per bore diameter, from the maker's figures or the limit in use",
        ),
        Input::number("bore_change", Unit::MILLIMETRE, "change of the bore after gapping, such as taper or honing")
            .or("0 mm")
            .within(Domain::Any),
    ],
    outputs: &[
        Output::new("gap", Unit::MILLIMETRE, "end gap wanted"),
        Output::new("gap_change", Unit::MILLIMETRE, "change of the gap with the change of the bore"),
    ],
    workings: &["gap = bore × gap_per_bore", "gap_change = pi × bore_change"],
    sources: &["geometry, worked out here: the gap opens by pi times the change of the bore"],
    example: &[("bore", "88 mm"), ("gap_per_bore", "0.0045")],
    cautions: &[
        BUILD_BY_THE_MANUAL,
        "A ring whose ends meet when hot breaks and scores the bore: file square, take off the burr, and read again.",
    ],
    formula: |given| {
        let mut computed = Computed::default();
        computed.put("gap", given.number("bore")? * given.number("gap_per_bore")?);
        computed.put("gap_change", PI * given.number("bore_change")?);
        computed.note("read the gap where the bore is tightest");
        Ok(computed)
    },
};
