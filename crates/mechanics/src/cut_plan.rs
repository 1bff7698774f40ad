//! What to take off a face, and what that does to height, ratio, squish and cam timing.

use quantity::Unit;

use crate::catalogue::{Calculator, Computed, Domain, Group, Input, Output};
use crate::cautions::{CUTTING, THINNER};
use crate::error::CalcError;
use crate::given::Given;
use crate::timing::{LATE_OR_EARLY, cam_lag};
use crate::volumes::{CLEARANCE_INPUTS, SWEPT_INPUTS, clearance_before, cylinder_volume, milled, swept_volume};

/// Everything a cut changes, from what was measured.
pub const CUT_PLAN: Calculator = Calculator {
    id: "cut-plan",
    group: Group::Faces,
    name: "What to take off a face",
    meaning: "depth of the cut that makes a face of head or block flat, and what it leaves of height, ratio, squish and cam timing",
    inputs: &[
        Input::number("flatness", Unit::MILLIMETRE, "flatness of the face as the smallest zone").within(Domain::Between(0.0, 5.0)),
        Input::number(
            "datum_rise",
            Unit::MILLIMETRE,
            "highest to lowest point of the face when the part stands on its own locating faces, where it is machined that way",
        )
        .optional()
        .within(Domain::Between(0.0, 10.0)),
        Input::number("clean_up", Unit::MILLIMETRE, "taken off beyond that, so that the cut cleans up everywhere")
            .or("0.03 mm")
            .within(Domain::Between(0.0, 1.0)),
        Input::choice("face", "which face is cut", &["head", "block"]).or("head"),
        Input::number("height", Unit::MILLIMETRE, "height of the part as measured, at its lowest place").optional(),
        Input::number("minimum_height", Unit::MILLIMETRE, "least height that the engine's own manual allows").optional(),
        SWEPT_INPUTS[0],
        SWEPT_INPUTS[1],
        SWEPT_INPUTS[2],
        CLEARANCE_INPUTS[0],
        CLEARANCE_INPUTS[1],
        Input::number(
            "open_area",
            Unit::SQUARE_CENTIMETRE,
            "area of the chamber opening in the head's face; for a block the bore counts",
        )
        .optional(),
        Input::number("squish", Unit::MILLIMETRE, "gap between piston crown and head face before the cut, gasket included")
            .optional(),
        Input::number("cam_radius", Unit::MILLIMETRE, "pitch radius of an overhead cam's wheel, where chain or belt runs straight up to it")
            .optional(),
        Input::number("cam_teeth", Unit::ONE, "teeth of the cam wheel, instead of its radius").optional().within(Domain::Between(6.0, 1000.0)),
        Input::number("crank_teeth", Unit::ONE, "teeth of the crank wheel").optional().within(Domain::Between(6.0, 1000.0)),
        Input::number("pitch", Unit::MILLIMETRE, "pitch of chain or belt").optional(),
        Input::number("centres", Unit::MILLIMETRE, "distance from crank centre to cam centre before the cut").optional(),
        Input::choice("drive", "what drives the cam", &["chain", "belt"]).optional(),
    ],
    outputs: &[
        Output::new("depth_free", Unit::MILLIMETRE, "depth of the cut with the face set level on a free table"),
        Output::new("depth_datum", Unit::MILLIMETRE, "depth of the cut with the part on its own locating faces"),
        Output::new("height_after", Unit::MILLIMETRE, "height that is left"),
        Output::new("height_after_low", Unit::MILLIMETRE, "the same less twice its doubt: what is held against the minimum"),
        Output::new("spare", Unit::MILLIMETRE, "how much of that lies above the minimum height, negative when below"),
        Output::new("volume_lost", Unit::CUBIC_CENTIMETRE, "volume taken away by the cut, each cylinder"),
        Output::new("clearance_after", Unit::CUBIC_CENTIMETRE, "volume left with the piston at the top"),
        Output::new("ratio_before", Unit::ONE, "compression ratio before the cut"),
        Output::new("ratio_after", Unit::ONE, "compression ratio after the cut"),
        Output::new("squish_after", Unit::MILLIMETRE, "gap between piston crown and head face after the cut, same gasket"),
        Output::new("cam_lag", Unit::DEGREE, "how far an overhead cam lags, in cam degrees"),
        Output::new("crank_lag", Unit::DEGREE, "the same in crank degrees"),
    ],
    workings: &[
        "depth_free = flatness + clean_up",
        "depth_datum = datum_rise + clean_up",
        "without datum_rise: depth = depth_free",
        "with datum_rise: depth = depth_datum",
        "height_after = height - depth",
        "height_after_low is height_after less twice the root of the sum of squares of the doubts of height, clean_up and flatness, or datum_rise where it is given",
        "spare = height_after_low - minimum_height",
        "swept = pi / 4 × bore² × stroke / 1000",
        "clearance = swept / (compression_ratio - 1)",
        "with face=block: open_area = pi / 4 × bore² / 100",
        "volume_lost = open_area × depth / 10",
        "clearance_after = clearance - volume_lost",
        "ratio_before = (swept + clearance) / clearance",
        "ratio_after = (swept + clearance_after) / clearance_after",
        "squish_after = squish - depth",
        "with cam_radius: cam_lag = 180 / pi × depth / cam_radius",
        "with cam_teeth: cam_lag is that of cam-timing-shift for a cut of depth",
        "crank_lag = 2 × cam_lag",
    ],
    sources: &[
        "geometry, worked out here: on a free table a face is set to its smallest zone, so the cut is the flatness and a clean-up; on the part's own locating faces it is highest less lowest point there, never less",
        "0.02 to 0.05 mm for the clean-up [common-practice]",
        "ratio, and cam lag by teeth: as in milling-effect and cam-timing-shift; by radius: depth over radius, the strand running straight up",
    ],
    example: &[
        ("flatness", "0.07 mm"),
        ("clean_up", "0.03 mm"),
        ("height", "132.95 mm"),
        ("minimum_height", "132.60 mm"),
        ("bore", "86 mm"),
        ("stroke", "86 mm"),
        ("compression_ratio", "10.5"),
        ("open_area", "45 cm2"),
        ("squish", "1.00 mm"),
        ("cam_radius", "50 mm"),
    ],
    cautions: &[THINNER, CUTTING],
    formula: cut_plan,
};

fn cut_plan(given: &Given) -> Result<Computed, CalcError> {
    let (flatness, clean_up) = (given.number("flatness")?, given.number("clean_up")?);
    let mut computed = Computed::default();
    let free = flatness + clean_up;
    computed.put("depth_free", free);
    let depth = match given.optional("datum_rise") {
        None => {
            computed.note("the figures hold for a free table; a part that stands on its own locating faces loses more where these are not level with the face");
            free
        }
        Some(rise) => {
            if rise + 2.0 * given.u("datum_rise").hypot(given.u("flatness")) < flatness - 1e-9 {
                return Err(given.out_of_domain(
                    "datum_rise",
                    format!("is less than the flatness of {flatness} mm, which no way of holding the part allows; it must lie between {flatness} mm and 10 mm, so look for a mistyped value"),
                ));
            }
            computed.put("depth_datum", rise + clean_up);
            computed.note("the figures hold for the part on its own locating faces");
            rise + clean_up
        }
    };
    if flatness <= 0.0 {
        computed.note("the face is flat: leave it alone unless its surface calls for a cut");
    }
    height(given, &mut computed, depth)?;
    volumes(given, &mut computed, depth)?;
    if let Some(squish) = given.optional("squish") {
        computed.put("squish_after", squish - depth);
        if squish <= depth {
            computed.note("DO NOT CUT: the piston would meet the head; a thicker gasket is the least that is needed");
        }
        computed.note("valves come nearer to the pistons by the depth of the cut: measure that clearance on assembly, against the engine's own manual");
    }
    cam(given, &mut computed, depth)?;
    Ok(computed)
}

/// What is left of the height, and whether that may be.
fn height(given: &Given, computed: &mut Computed, depth: f64) -> Result<(), CalcError> {
    let (height, minimum) = (given.optional("height"), given.optional("minimum_height"));
    let Some(height) = height else {
        if minimum.is_some() {
            return Err(given.missing("height"));
        }
        computed.note("no height was given: whether the part may be cut at all is not judged");
        return Ok(());
    };
    if depth >= height {
        return Err(given.out_of_domain(
            "height",
            format!(
                "is less than the cut of {depth:.3} mm; it must lie above that, so look for a mistyped value or unit"
            ),
        ));
    }
    let rise = if given.optional("datum_rise").is_some() { "datum_rise" } else { "flatness" };
    let doubt = [rise, "clean_up", "height"].iter().map(|key| given.u(key).powi(2)).sum::<f64>().sqrt();
    let low = height - depth - 2.0 * doubt;
    computed.put("height_after", height - depth);
    computed.put("height_after_low", low);
    let Some(minimum) = minimum else {
        computed.note("no minimum height was given: look it up in the engine's own manual before cutting");
        return Ok(());
    };
    computed.put("spare", low - minimum);
    if height < minimum {
        computed.note("DO NOT CUT: the part is below its minimum height already");
    } else if low < minimum {
        computed.note(if height - depth < minimum {
            "DO NOT CUT: it would leave the part below its minimum height"
        } else {
            "DO NOT CUT before the height is measured better: what is left may lie below the minimum"
        });
    }
    Ok(())
}

/// What the cut does to volume and ratio, where enough was given for it.
fn volumes(given: &Given, computed: &mut Computed, depth: f64) -> Result<(), CalcError> {
    let block = given.text("face") == Some("block");
    let area = match (block, given.optional("open_area"), given.optional("bore")) {
        (true, Some(_), _) => {
            return Err(
                given.do_not_go_together("open_area belongs to a head; for a block give the bore, or face=head")
            );
        }
        (true, None, Some(bore)) => cylinder_volume(bore, 1.0) / 100.0,
        (true, None, None) => return volumes_not_asked(given, "bore"),
        (false, Some(area), _) => area,
        (false, None, _) => return volumes_not_asked(given, "open_area"),
    };
    if given.optional("clearance").is_none() && given.optional("compression_ratio").is_none() {
        computed.put("volume_lost", area * depth / 10.0);
        return Ok(());
    }
    let swept = swept_volume(given)?;
    let Some(after) = milled(swept, clearance_before(given, swept)?, area, depth) else {
        return Err(given.do_not_go_together(format!(
            "a cut of {depth:.3} mm would leave no volume with the piston at the top; look for a mistyped flatness, area or clearance"
        )));
    };
    computed.put("volume_lost", after.lost);
    computed.put("clearance_after", after.clearance);
    computed.put("ratio_before", after.ratio_before);
    computed.put("ratio_after", after.ratio_after);
    if depth > 0.5 && !block {
        computed.note(
            "cut over half a millimetre: measure the chamber by burette afterwards, the opening changes with depth",
        );
    }
    Ok(())
}

/// A ratio without an area cannot be answered; nothing of it given is no fault.
fn volumes_not_asked(given: &Given, missing: &'static str) -> Result<(), CalcError> {
    let asked = ["clearance", "compression_ratio"].iter().any(|key| given.optional(key).is_some());
    if asked { Err(given.missing(missing)) } else { Ok(()) }
}

/// What the cut does to an overhead cam, where its wheels were given.
fn cam(given: &Given, computed: &mut Computed, depth: f64) -> Result<(), CalcError> {
    let by_teeth = ["cam_teeth", "crank_teeth", "pitch", "centres"].iter().any(|key| given.optional(key).is_some());
    let degrees = match (given.optional("cam_radius"), by_teeth) {
        (Some(_), true) => {
            return Err(given.do_not_go_together(
                "cam_radius was given beside teeth, pitch or centres; give the radius alone, or the four others",
            ));
        }
        (Some(radius), false) if radius <= depth => {
            return Err(given.out_of_domain(
                "cam_radius",
                format!("must lie above the cut of {depth:.3} mm; look for a mistyped value or unit"),
            ));
        }
        (Some(radius), false) => (depth / radius).to_degrees(),
        (None, true) => cam_lag(given, depth)?.cam_degrees,
        (None, false) => return Ok(()),
    };
    computed.put("cam_lag", degrees);
    computed.put("crank_lag", 2.0 * degrees);
    computed.note(LATE_OR_EARLY);
    if given.text("face") != Some("block") {
        computed.note("a head that is bowed has bowed cam bores too, and a cut does not straighten them: check that the cam turns freely before cutting");
    }
    Ok(())
}
