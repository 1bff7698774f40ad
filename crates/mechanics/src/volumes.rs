//! Swept volume, compression ratio, and what milling a face does to it.

use std::f64::consts::PI;

use quantity::Unit;

use crate::catalogue::{Calculator, Computed, Domain, Group, Input, Output};
use crate::cautions::{BUILD_BY_THE_MANUAL, CUTTING, THINNER};
use crate::error::CalcError;
use crate::given::Given;

/// The volume of a cylinder from diameter and height, in mm³ from mm.
#[must_use]
pub fn cylinder_volume(diameter_mm: f64, height_mm: f64) -> f64 {
    PI / 4.0 * diameter_mm * diameter_mm * height_mm
}

/// The compression ratio from swept and clearance volume, in any one unit.
#[must_use]
pub fn compression_ratio(swept: f64, clearance: f64) -> f64 {
    (swept + clearance) / clearance
}

/// What a cut does to the volume left with the piston at the top.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Milled {
    /// Taken away by the cut.
    pub lost: f64,
    /// Left after it.
    pub clearance: f64,
    /// Compression ratio before.
    pub ratio_before: f64,
    /// Compression ratio after.
    pub ratio_after: f64,
}

/// What a cut does to volume and compression ratio; none when no volume is left.
///
/// # Units
/// Volumes in cm³, the open area in cm², the cut in mm.
/// # Source
/// Geometry: open area times depth, while the chamber wall is upright.
#[must_use]
pub fn milled(swept: f64, clearance: f64, open_area: f64, cut: f64) -> Option<Milled> {
    let lost = open_area * cut / 10.0;
    let after = clearance - lost;
    (after > 0.0).then(|| Milled {
        lost,
        clearance: after,
        ratio_before: compression_ratio(swept, clearance),
        ratio_after: compression_ratio(swept, after),
    })
}

const CC: f64 = 1000.0;

/// The clearance volume before a cut, from itself or from the ratio.
pub(crate) fn clearance_before(given: &Given, swept: f64) -> Result<f64, CalcError> {
    match (given.optional("clearance"), given.optional("compression_ratio")) {
        (Some(clearance), None) => Ok(clearance),
        (None, Some(ratio)) => Ok(swept / (ratio - 1.0)),
        (Some(_), Some(_)) => {
            Err(given.do_not_go_together("clearance and compression_ratio say the same thing twice; give one of them"))
        }
        (None, None) => Err(given.missing("clearance")),
    }
}

pub(crate) fn swept_volume(given: &Given) -> Result<f64, CalcError> {
    match (given.optional("swept"), given.optional("bore"), given.optional("stroke")) {
        (Some(_), Some(_), _) | (Some(_), _, Some(_)) => {
            Err(given
                .do_not_go_together("swept was given beside bore or stroke; give either swept, or bore and stroke"))
        }
        (Some(swept), None, None) => Ok(swept),
        (None, Some(bore), Some(stroke)) => Ok(cylinder_volume(bore, stroke) / CC),
        (None, None, _) => Err(given.missing("bore")),
        (None, Some(_), None) => Err(given.missing("stroke")),
    }
}

pub(crate) const SWEPT_INPUTS: [Input; 3] = [
    Input::number("bore", Unit::MILLIMETRE, "cylinder diameter").optional(),
    Input::number("stroke", Unit::MILLIMETRE, "piston travel").optional(),
    Input::number("swept", Unit::CUBIC_CENTIMETRE, "swept volume of one cylinder, instead of bore and stroke")
        .optional(),
];

pub(crate) const CLEARANCE_INPUTS: [Input; 2] = [
    Input::number("clearance", Unit::CUBIC_CENTIMETRE, "volume left with the piston at the top, before the cut")
        .optional(),
    Input::number("compression_ratio", Unit::ONE, "compression ratio before the cut, instead of clearance")
        .optional()
        .within(Domain::Between(1.001, 100.0)),
];

/// Compression ratio from measured volumes.
pub const COMPRESSION_RATIO: Calculator = Calculator {
    id: "compression-ratio",
    group: Group::Volumes,
    name: "Compression ratio",
    meaning: "compression ratio of one cylinder from measured volumes",
    inputs: &[
        SWEPT_INPUTS[0],
        SWEPT_INPUTS[1],
        SWEPT_INPUTS[2],
        Input::number("chamber", Unit::CUBIC_CENTIMETRE, "volume of the chamber in the head, by burette"),
        Input::number("gasket_thickness", Unit::MILLIMETRE, "thickness of the head gasket when tightened")
            .or("0 mm")
            .within(Domain::NotNegative),
        Input::number("gasket_bore", Unit::MILLIMETRE, "diameter of the gasket opening; the bore when not given")
            .optional(),
        Input::number(
            "deck",
            Unit::MILLIMETRE,
            "how far the piston stands below the face at the top, negative when proud",
        )
        .or("0 mm")
        .within(Domain::Any),
        Input::number("dish", Unit::CUBIC_CENTIMETRE, "volume of the piston dish, negative for a dome")
            .or("0 cc")
            .within(Domain::Any),
        Input::number("cylinders", Unit::ONE, "how many cylinders, for the whole displacement").or("1"),
    ],
    outputs: &[
        Output::new("swept", Unit::CUBIC_CENTIMETRE, "swept volume of one cylinder"),
        Output::new("gasket_volume", Unit::CUBIC_CENTIMETRE, "volume inside the gasket"),
        Output::new("deck_volume", Unit::CUBIC_CENTIMETRE, "volume above the piston up to the face"),
        Output::new("clearance", Unit::CUBIC_CENTIMETRE, "volume left with the piston at the top"),
        Output::new("compression_ratio", Unit::ONE, "compression ratio"),
        Output::new("total", Unit::CUBIC_CENTIMETRE, "displacement of all cylinders"),
    ],
    workings: &[
        "swept = pi / 4 × bore² × stroke / 1000",
        "gasket_bore = bore",
        "gasket_volume = pi / 4 × gasket_bore² × gasket_thickness / 1000",
        "deck_volume = pi / 4 × bore² × deck / 1000",
        "clearance = chamber + gasket_volume + deck_volume + dish",
        "compression_ratio = (swept + clearance) / clearance",
        "total = swept × cylinders",
    ],
    sources: &["geometry, worked out here: (swept + clearance) / clearance"],
    example: &[
        ("bore", "88 mm"),
        ("stroke", "86 mm"),
        ("chamber", "46 cc"),
        ("gasket_thickness", "0.70 mm"),
        ("gasket_bore", "89.5 mm"),
        ("deck", "0.30 mm"),
        ("dish", "6 cc"),
    ],
    cautions: &[
        "Measure a chamber with thin oil, or water with a drop of soap: solvents and fuel burn, and their vapour is breathed.",
    ],
    formula: |given| {
        let swept = swept_volume(given)?;
        let (thickness, deck) = (given.number("gasket_thickness")?, given.number("deck")?);
        let bore = given.optional("bore");
        let opening = given.optional("gasket_bore").or(bore);
        let gasket = match opening {
            Some(opening) => cylinder_volume(opening, thickness) / CC,
            None if thickness > 0.0 => return Err(given.missing("gasket_bore")),
            None => 0.0,
        };
        let above = match bore {
            Some(bore) => cylinder_volume(bore, deck) / CC,
            None if deck.abs() > 0.0 => {
                return Err(
                    given.do_not_go_together("a deck height needs the bore; give bore and stroke instead of swept")
                );
            }
            None => 0.0,
        };
        let clearance = given.number("chamber")? + gasket + above + given.number("dish")?;
        if clearance <= 0.0 {
            return Err(given.do_not_go_together("no volume is left with the piston at the top; look at the signs of deck (below the face is positive) and dish (a dome is negative)"));
        }
        let mut computed = Computed::default();
        computed.put("swept", swept);
        computed.put("gasket_volume", gasket);
        computed.put("deck_volume", above);
        computed.put("clearance", clearance);
        computed.put("compression_ratio", compression_ratio(swept, clearance));
        computed.put("total", swept * given.number("cylinders")?);
        Ok(computed)
    },
};

/// Compression ratio after milling.
pub const MILLING_EFFECT: Calculator = Calculator {
    id: "milling-effect",
    group: Group::Volumes,
    name: "What milling does to the ratio",
    meaning: "volume lost and compression ratio after a cut off a head or block face",
    inputs: &[
        SWEPT_INPUTS[0],
        SWEPT_INPUTS[1],
        SWEPT_INPUTS[2],
        CLEARANCE_INPUTS[0],
        CLEARANCE_INPUTS[1],
        Input::number("open_area", Unit::SQUARE_CENTIMETRE, "area of the chamber opening in the face"),
        Input::number("cut", Unit::MILLIMETRE, "depth taken off the face").within(Domain::NotNegative),
    ],
    outputs: &[
        Output::new("volume_lost", Unit::CUBIC_CENTIMETRE, "volume taken away by the cut"),
        Output::new("clearance_after", Unit::CUBIC_CENTIMETRE, "clearance volume after the cut"),
        Output::new("ratio_before", Unit::ONE, "compression ratio before the cut"),
        Output::new("ratio_after", Unit::ONE, "compression ratio after the cut"),
    ],
    workings: &[
        "swept = pi / 4 × bore² × stroke / 1000",
        "clearance = swept / (compression_ratio - 1)",
        "volume_lost = open_area × cut / 10",
        "clearance_after = clearance - volume_lost",
        "ratio_before = (swept + clearance) / clearance",
        "ratio_after = (swept + clearance_after) / clearance_after",
    ],
    sources: &[
        "geometry, worked out here: open area times depth; holds while the chamber wall is upright, about the first half millimetre [common-practice]",
    ],
    example: &[
        ("bore", "86 mm"),
        ("stroke", "86 mm"),
        ("compression_ratio", "10.5"),
        ("open_area", "45 cm2"),
        ("cut", "0.20 mm"),
    ],
    cautions: &[THINNER, CUTTING],
    formula: |given| {
        let swept = swept_volume(given)?;
        let clearance = clearance_before(given, swept)?;
        let cut = given.number("cut")?;
        let Some(after) = milled(swept, clearance, given.number("open_area")?, cut) else {
            return Err(
                given.out_of_domain("cut", "would leave no clearance volume; look for a mistyped depth or area")
            );
        };
        let mut computed = Computed::default();
        computed.put("volume_lost", after.lost);
        computed.put("clearance_after", after.clearance);
        computed.put("ratio_before", after.ratio_before);
        computed.put("ratio_after", after.ratio_after);
        if cut > 0.5 {
            computed.note(
                "cut over half a millimetre: measure the chamber by burette afterwards, the opening changes with depth",
            );
        }
        Ok(computed)
    },
};

/// Piston deck height and squish from part sizes.
pub const PISTON_DECK: Calculator = Calculator {
    id: "piston-deck",
    group: Group::Volumes,
    name: "Piston deck height",
    meaning: "how far the piston stands below the face at the top, from the sizes of the parts",
    inputs: &[
        Input::number("block_height", Unit::MILLIMETRE, "from the crank line to the block face"),
        Input::number("stroke", Unit::MILLIMETRE, "piston travel"),
        Input::number("rod", Unit::MILLIMETRE, "connecting rod length between centres"),
        Input::number("compression_height", Unit::MILLIMETRE, "from the pin centre to the piston crown"),
        Input::number("gasket_thickness", Unit::MILLIMETRE, "thickness of the head gasket when tightened")
            .or("0 mm")
            .within(Domain::NotNegative),
    ],
    outputs: &[
        Output::new("deck", Unit::MILLIMETRE, "piston below the face, negative when proud"),
        Output::new("squish", Unit::MILLIMETRE, "gap between piston crown and a flat head face"),
    ],
    workings: &["deck = block_height - stroke / 2 - rod - compression_height", "squish = deck + gasket_thickness"],
    sources: &["geometry, worked out here: block height less half the stroke, the rod and the compression height"],
    example: &[
        ("block_height", "206.50 mm"),
        ("stroke", "86 mm"),
        ("rod", "134 mm"),
        ("compression_height", "29.20 mm"),
        ("gasket_thickness", "0.70 mm"),
    ],
    cautions: &[BUILD_BY_THE_MANUAL],
    formula: |given| {
        let deck = given.number("block_height")?
            - given.number("stroke")? / 2.0
            - given.number("rod")?
            - given.number("compression_height")?;
        let mut computed = Computed::default();
        computed.put("deck", deck);
        computed.put("squish", deck + given.number("gasket_thickness")?);
        Ok(computed)
    },
};
