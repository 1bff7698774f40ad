//! Bearing clearance by select fit and by plastic strip, crush, and growth with heat.

use std::f64::consts::PI;

use quantity::Unit;

use crate::catalogue::{Calculator, Computed, Domain, Group, Input, Output};
use crate::cautions::BUILD_BY_THE_MANUAL;

/// Clearance from housing, shells and journal.
pub const BEARING_CLEARANCE: Calculator = Calculator {
    id: "bearing-clearance",
    group: Group::Bearings,
    name: "Bearing clearance",
    meaning: "oil clearance from the sizes of housing, shells and journal",
    inputs: &[
        Input::number("housing", Unit::MILLIMETRE, "housing bore, cap tightened, no shells"),
        Input::number("wall", Unit::MILLIMETRE, "wall of one shell; of both when the second is not given"),
        Input::number("second_wall", Unit::MILLIMETRE, "wall of the other shell").optional(),
        Input::number("journal", Unit::MILLIMETRE, "journal diameter"),
    ],
    outputs: &[
        Output::new("clearance", Unit::MILLIMETRE, "oil clearance on the diameter"),
        Output::new("per_journal", Unit::PER_MILLE, "clearance per journal diameter"),
    ],
    workings: &[
        "second_wall = wall",
        "clearance = housing - wall - second_wall - journal",
        "per_journal = 1000 × clearance / journal",
    ],
    sources: &["difference of sizes, worked out here"],
    example: &[("housing", "2.2500 in"), ("wall", "0.0615 in"), ("journal", "2.1247 in")],
    cautions: &[BUILD_BY_THE_MANUAL],
    formula: |given| {
        let wall = given.number("wall")?;
        let journal = given.number("journal")?;
        let clearance = given.number("housing")? - wall - given.optional("second_wall").unwrap_or(wall) - journal;
        let mut computed = Computed::default();
        computed.put("clearance", clearance);
        computed.put("per_journal", clearance / journal * 1000.0);
        if clearance <= 0.0 {
            computed.note("no clearance is left; look for a mistyped size or the wrong shell");
        }
        Ok(computed)
    },
};

/// Bearing crush.
pub const BEARING_CRUSH: Calculator = Calculator {
    id: "bearing-crush",
    group: Group::Bearings,
    name: "Bearing crush",
    meaning: "how hard two shells standing proud are squeezed when the cap is drawn down",
    inputs: &[
        Input::number("housing", Unit::MILLIMETRE, "housing bore"),
        Input::number(
            "excess",
            Unit::MILLIMETRE,
            "length by which both shells together are longer than the housing's circumference",
        ),
        Input::number("wall", Unit::MILLIMETRE, "wall of one shell"),
        Input::number("modulus", Unit::GIGAPASCAL, "stiffness of the shell back").or("207 GPa"),
    ],
    outputs: &[
        Output::new("strain", Unit::PER_MILLE, "shortening of the shells along their length"),
        Output::new("squeeze", Unit::MILLIMETRE, "the same as an interference on the diameter"),
        Output::new("hoop_stress", Unit::MEGAPASCAL, "pressing stress along the shell"),
        Output::new("back_pressure", Unit::MEGAPASCAL, "pressure of the shell on the housing, a rigid one"),
    ],
    workings: &[
        "strain = 1000 × excess / (pi × housing)",
        "squeeze = excess / pi",
        "hoop_stress = strain × modulus",
        "back_pressure = hoop_stress × wall / (housing / 2)",
    ],
    sources: &["thin ring, worked out here; steel 207 GPa [published: machine-design tables]"],
    example: &[("housing", "2.250 in"), ("excess", "0.006 in"), ("wall", "0.0615 in")],
    cautions: &[
        "Never file caps or shells to change the crush; a cap once filed is machined by somebody who is equipped for it, or replaced.",
    ],
    formula: |given| {
        let housing = given.number("housing")?;
        let strain = given.number("excess")? / (PI * housing);
        let hoop = strain * given.number("modulus")? * 1000.0;
        let mut computed = Computed::default();
        computed.put("strain", strain * 1000.0);
        computed.put("squeeze", strain * housing);
        computed.put("hoop_stress", hoop);
        computed.put("back_pressure", hoop * given.number("wall")? / (housing / 2.0));
        Ok(computed)
    },
};

/// Clearance from the width of a plastic strip.
pub const PLASTIC_STRIP: Calculator = Calculator {
    id: "plastic-strip",
    group: Group::Bearings,
    name: "Plastic strip",
    meaning: "clearance from the width to which a round plastic strip was pressed",
    inputs: &[
        Input::number("strip", Unit::MILLIMETRE, "diameter of the strip before pressing"),
        Input::number("width", Unit::MILLIMETRE, "width after pressing"),
    ],
    outputs: &[Output::new("clearance", Unit::MILLIMETRE, "clearance where the strip lay")],
    workings: &["clearance = pi × strip² / (4 × width)"],
    sources: &["kept volume, worked out here; the scale printed on the wrapper goes before this formula"],
    example: &[("strip", "0.26 mm"), ("width", "1.06 mm")],
    cautions: &[BUILD_BY_THE_MANUAL],
    formula: |given| {
        let (strip, width) = (given.number("strip")?, given.number("width")?);
        if width < strip {
            return Err(given.out_of_domain(
                "width",
                "is smaller than the strip itself; it was not pressed, or the values are exchanged",
            ));
        }
        let mut computed = Computed::default();
        computed.put("clearance", PI * strip * strip / (4.0 * width));
        computed.note("use the scale printed on the wrapper; this shows why twice the width is half the clearance");
        Ok(computed)
    },
};

/// Change of an oil clearance with heat.
pub const OIL_CLEARANCE_HEAT: Calculator = Calculator {
    id: "oil-clearance-heat",
    group: Group::Bearings,
    name: "Oil clearance with heat",
    meaning: "how an oil clearance changes between cold and running hot",
    inputs: &[
        Input::number("size", Unit::MILLIMETRE, "journal diameter"),
        Input::number("housing_expansion", Unit::MILLIONTH_PER_KELVIN, "expansion of the housing metal"),
        Input::number("housing_rise", Unit::KELVIN_DIFFERENCE, "how much warmer the housing runs than it was measured")
            .within(Domain::Any),
        Input::number("journal_expansion", Unit::MILLIONTH_PER_KELVIN, "expansion of the journal metal"),
        Input::number("journal_rise", Unit::KELVIN_DIFFERENCE, "how much warmer the journal runs than it was measured")
            .within(Domain::Any),
        Input::number("cold", Unit::MILLIMETRE, "clearance when measured cold").optional().within(Domain::Any),
    ],
    outputs: &[
        Output::new("change", Unit::MILLIMETRE, "change of the clearance on the diameter"),
        Output::new("hot", Unit::MILLIMETRE, "clearance when hot"),
    ],
    workings: &[
        "change = size × (housing_expansion × housing_rise - journal_expansion × journal_rise) / 1000000",
        "hot = cold + change",
    ],
    sources: &["linear expansion, worked out here"],
    example: &[
        ("size", "60 mm"),
        ("housing_expansion", "21 ppm/K"),
        ("housing_rise", "70 K"),
        ("journal_expansion", "11.5 ppm/K"),
        ("journal_rise", "90 K"),
    ],
    cautions: &[BUILD_BY_THE_MANUAL],
    formula: |given| {
        let grown = given.number("housing_expansion")? * given.number("housing_rise")?
            - given.number("journal_expansion")? * given.number("journal_rise")?;
        let change = given.number("size")? * grown * 1e-6;
        let mut computed = Computed::default();
        computed.put("change", change);
        if let Some(cold) = given.optional("cold") {
            computed.put("hot", cold + change);
        }
        Ok(computed)
    },
};
