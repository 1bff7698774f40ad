//! Threads, preload from torque, and preload from angle.

use std::f64::consts::PI;

use quantity::Unit;

use crate::catalogue::{Calculator, Computed, Domain, Group, Input, Output};
use crate::error::CalcError;
use crate::given::Given;

/// The pitch diameter of an ISO metric thread.
///
/// # Source
/// ISO 724 \[published\]: `d - 0.649519 P`.
#[must_use]
pub fn pitch_diameter(diameter: f64, pitch: f64) -> f64 {
    diameter - 3.0 * 3.0_f64.sqrt() / 8.0 * pitch
}

/// The root diameter of an ISO metric external thread.
///
/// # Source
/// ISO 68-1 \[published\]: `d - 1.226869 P`.
#[must_use]
pub fn root_diameter(diameter: f64, pitch: f64) -> f64 {
    diameter - 17.0 * 3.0_f64.sqrt() / 24.0 * pitch
}

/// The minor diameter of an ISO metric nut thread.
///
/// # Source
/// ISO 724 \[published\]: `d - 1.082532 P`.
#[must_use]
pub fn nut_minor_diameter(diameter: f64, pitch: f64) -> f64 {
    diameter - 5.0 * 3.0_f64.sqrt() / 8.0 * pitch
}

/// The tensile stress area of an ISO metric thread.
///
/// # Source
/// ISO 898-1 \[published\]: the circle of the mean of pitch and root diameter.
#[must_use]
pub fn stress_area(diameter: f64, pitch: f64) -> f64 {
    let mean = f64::midpoint(pitch_diameter(diameter, pitch), root_diameter(diameter, pitch));
    PI / 4.0 * mean * mean
}

/// The tensile stress area of a Unified inch thread.
///
/// # Source
/// ANSI B1.1 as given in Shigley's Mechanical Engineering Design, table 8-2 \[published\]: `pi/4 (D - 0.9743/n)^2`.
#[must_use]
pub fn unified_stress_area(diameter: f64, pitch: f64) -> f64 {
    let mean = diameter - 0.9743 * pitch;
    PI / 4.0 * mean * mean
}

/// The three lever arms of the long form: (pitch, thread friction, friction under the head), in the unit of the diameters.
///
/// # Source
/// Machinery's Handbook, 31st edition, page 1665, equation 22 \[published\]; 60 degree thread.
#[must_use]
pub fn torque_arms(
    pitch: f64,
    pitch_diameter: f64,
    bearing_diameter: f64,
    thread_friction: f64,
    bearing_friction: f64,
) -> (f64, f64, f64) {
    let flank = 30.0_f64.to_radians().cos();
    (pitch / (2.0 * PI), thread_friction * pitch_diameter / (2.0 * flank), bearing_friction * bearing_diameter / 2.0)
}

/// The torque per load of the full screw form, with the wedge angle kept exact, in the unit of the diameters.
///
/// # Source
/// Shigley's Mechanical Engineering Design, raising torque of a screw with collar \[published\].
#[must_use]
pub fn raising_torque_arm(
    pitch: f64,
    mean_diameter: f64,
    collar_diameter: f64,
    thread_friction: f64,
    collar_friction: f64,
) -> f64 {
    let drag = thread_friction / 30.0_f64.to_radians().cos();
    mean_diameter / 2.0 * (pitch + PI * drag * mean_diameter) / (PI * mean_diameter - drag * pitch)
        + collar_friction * collar_diameter / 2.0
}

fn pitch_given(given: &Given) -> Result<Option<f64>, CalcError> {
    match (given.optional("pitch"), given.optional("threads_per_inch")) {
        (Some(_), Some(_)) => {
            Err(given.do_not_go_together("pitch and threads_per_inch say the same thing twice; give one of them"))
        }
        (Some(pitch), None) => Ok(Some(pitch)),
        (None, Some(threads)) => Ok(Some(25.4 / threads)),
        (None, None) => Ok(None),
    }
}

/// Sizes and strength of a thread.
pub const THREAD: Calculator = Calculator {
    id: "thread",
    group: Group::Threads,
    name: "Thread",
    meaning: "sizes and stress area of a thread, and the loads it stands at a given strength",
    inputs: &[
        Input::number("diameter", Unit::MILLIMETRE, "outside diameter of the thread"),
        Input::number("pitch", Unit::MILLIMETRE, "pitch").optional(),
        Input::number("threads_per_inch", Unit::ONE, "threads per inch, instead of the pitch").optional(),
        Input::text("profile", "metric or unified").or("metric"),
        Input::number("proof_stress", Unit::MEGAPASCAL, "proof stress of the bolt, for the proof load").optional(),
        Input::number("tensile_strength", Unit::MEGAPASCAL, "tensile strength of the bolt, for the breaking load")
            .optional(),
    ],
    outputs: &[
        Output::new("pitch_diameter", Unit::MILLIMETRE, "pitch diameter"),
        Output::new("root_diameter", Unit::MILLIMETRE, "root diameter of the bolt"),
        Output::new("nut_minor_diameter", Unit::MILLIMETRE, "minor diameter of the nut, the drill is a little larger"),
        Output::new("stress_area", Unit::SQUARE_MILLIMETRE, "tensile stress area"),
        Output::new("proof_load", Unit::NEWTON, "load at the proof stress"),
        Output::new("breaking_load", Unit::NEWTON, "load at the tensile strength"),
    ],
    sources: &[
        "ISO 724 and ISO 68-1, basic sizes [published]",
        "ISO 898-1, stress area [published]",
        "ANSI B1.1 by Shigley's Mechanical Engineering Design, table 8-2, for unified threads [published]",
    ],
    example: &[("diameter", "10 mm"), ("pitch", "1.5 mm"), ("proof_stress", "830 MPa")],
    cautions: &[],
    formula: |given| {
        let diameter = given.number("diameter")?;
        let Some(pitch) = pitch_given(given)? else { return Err(given.missing("pitch")) };
        if root_diameter(diameter, pitch) <= 0.0 {
            return Err(given.out_of_domain("diameter", "is too small for this pitch; look for exchanged values"));
        }
        let mut computed = Computed::default();
        computed.put("pitch_diameter", pitch_diameter(diameter, pitch));
        let area = match given.text("profile").unwrap_or("metric").to_lowercase().as_str() {
            "metric" => {
                computed.put("root_diameter", root_diameter(diameter, pitch));
                stress_area(diameter, pitch)
            }
            "unified" => unified_stress_area(diameter, pitch),
            _ => return Err(given.out_of_domain("profile", "is neither metric nor unified")),
        };
        computed.put("nut_minor_diameter", nut_minor_diameter(diameter, pitch));
        computed.put("stress_area", area);
        if let Some(stress) = given.optional("proof_stress") {
            computed.put("proof_load", area * stress);
        }
        if let Some(strength) = given.optional("tensile_strength") {
            computed.put("breaking_load", area * strength);
        }
        Ok(computed)
    },
};

/// Preload from torque, and torque from preload, short and long form.
pub const BOLT_PRELOAD: Calculator = Calculator {
    id: "bolt-preload",
    group: Group::Threads,
    name: "Bolt preload from torque",
    meaning: "preload that a torque gives, or torque that a preload needs, by the short form (one factor) and the long form (friction of thread and head)",
    inputs: &[
        Input::number("torque", Unit::NEWTON_METRE, "tightening torque").optional(),
        Input::number("preload", Unit::NEWTON, "preload wanted, instead of the torque").optional(),
        Input::number("diameter", Unit::MILLIMETRE, "outside diameter of the thread"),
        Input::number(
            "nut_factor",
            Unit::ONE,
            "short form: torque over preload and diameter, with its doubt, such as 0.18±0.03",
        )
        .optional(),
        Input::number("pitch", Unit::MILLIMETRE, "long form: pitch").optional(),
        Input::number("threads_per_inch", Unit::ONE, "threads per inch, instead of the pitch").optional(),
        Input::number(
            "thread_friction",
            Unit::ONE,
            "long form: friction in the thread, with its doubt, such as 0.12±0.02",
        )
        .optional()
        .within(Domain::NotNegative),
        Input::number(
            "bearing_friction",
            Unit::ONE,
            "long form: friction under the head, with its doubt; that of the thread when not given",
        )
        .optional()
        .within(Domain::NotNegative),
        Input::number(
            "bearing_diameter",
            Unit::MILLIMETRE,
            "long form: effective diameter of the rubbing ring under the head",
        )
        .optional(),
        Input::number("pitch_diameter", Unit::MILLIMETRE, "pitch diameter; from diameter and pitch when not given")
            .optional(),
    ],
    outputs: &[
        Output::new("preload_short", Unit::NEWTON, "preload by the short form"),
        Output::new("preload_long", Unit::NEWTON, "preload by the long form"),
        Output::new("torque_short", Unit::NEWTON_METRE, "torque by the short form"),
        Output::new("torque_long", Unit::NEWTON_METRE, "torque by the long form"),
        Output::new("pitch_term", Unit::NEWTON_METRE, "torque that stretches the bolt"),
        Output::new("thread_term", Unit::NEWTON_METRE, "torque lost in the thread"),
        Output::new("bearing_term", Unit::NEWTON_METRE, "torque lost under the head"),
        Output::new("equivalent_nut_factor", Unit::ONE, "nut factor that the long form comes to"),
        Output::new("tensile_stress", Unit::MEGAPASCAL, "pull over the stress area"),
        Output::new("torsion_stress", Unit::MEGAPASCAL, "twist of the shank while tightening"),
        Output::new("combined_stress", Unit::MEGAPASCAL, "both together by the distortion-energy rule"),
    ],
    sources: &[
        "short form T = K F d [published: Shigley's Mechanical Engineering Design]",
        "long form [published: Machinery's Handbook, 31st edition, page 1665, equation 22]",
        "combined stress by distortion energy [published: standard texts on bolted joints]",
    ],
    example: &[
        ("torque", "40 N.m"),
        ("diameter", "10 mm"),
        ("pitch", "1.5 mm"),
        ("thread_friction", "0.12±0.02"),
        ("bearing_diameter", "13.5 mm"),
    ],
    cautions: &[],
    formula: bolt_preload,
};

fn bolt_preload(given: &Given) -> Result<Computed, CalcError> {
    let diameter = given.number("diameter")?;
    let (torque, preload) = (given.optional("torque"), given.optional("preload"));
    match (torque, preload) {
        (Some(_), Some(_)) => {
            return Err(given.do_not_go_together("torque and preload were both given; give the one that is known"));
        }
        (None, None) => return Err(given.missing("torque")),
        _ => {}
    }
    let pitch = pitch_given(given)?;
    let long_wanted =
        pitch.is_some() || given.optional("thread_friction").is_some() || given.optional("bearing_diameter").is_some();
    let nut_factor = given.optional("nut_factor");
    if nut_factor.is_none() && !long_wanted {
        return Err(given.missing("nut_factor"));
    }
    let mut computed = Computed::default();
    if let Some(factor) = nut_factor {
        if let Some(torque) = torque {
            computed.put("preload_short", torque * 1000.0 / (factor * diameter));
        }
        if let Some(preload) = preload {
            computed.put("torque_short", factor * preload * diameter / 1000.0);
        }
    }
    if long_wanted {
        let Some(pitch) = pitch else { return Err(given.missing("pitch")) };
        let thread_friction = given.number("thread_friction")?;
        let bearing_friction = given.optional("bearing_friction").unwrap_or(thread_friction);
        let bearing_diameter = given.number("bearing_diameter")?;
        let middle = given.optional("pitch_diameter").unwrap_or_else(|| pitch_diameter(diameter, pitch));
        let root = root_diameter(diameter, pitch);
        if middle <= 0.0 || root <= 0.0 {
            return Err(given.out_of_domain("diameter", "is too small for this pitch; look for exchanged values"));
        }
        let (a, b, c) = torque_arms(pitch, middle, bearing_diameter, thread_friction, bearing_friction);
        let arm = a + b + c;
        let force = match (torque, preload) {
            (Some(torque), _) => {
                let force = torque * 1000.0 / arm;
                computed.put("preload_long", force);
                force
            }
            (None, preload) => {
                let force = preload.unwrap_or(0.0);
                computed.put("torque_long", force * arm / 1000.0);
                force
            }
        };
        computed.put("pitch_term", force * a / 1000.0);
        computed.put("thread_term", force * b / 1000.0);
        computed.put("bearing_term", force * c / 1000.0);
        computed.put("equivalent_nut_factor", arm / diameter);
        let stress_diameter = f64::midpoint(middle, root);
        let pull = force / (PI / 4.0 * stress_diameter * stress_diameter);
        let twist = 16.0 * force * (a + b) / (PI * stress_diameter.powi(3));
        computed.put("tensile_stress", pull);
        computed.put("torsion_stress", twist);
        computed.put("combined_stress", (pull * pull + 3.0 * twist * twist).sqrt());
        computed.note(format!(
            "{:.0} % of the torque stretches the bolt, {:.0} % is lost in the thread, {:.0} % under the head",
            100.0 * a / arm,
            100.0 * b / arm,
            100.0 * c / arm
        ));
        if given.optional("bearing_friction").is_none() && given.u("thread_friction") > 0.0 {
            computed.note("friction under the head was taken as that of the thread, so its doubt moves both together");
        }
    }
    if given.u("nut_factor") <= 0.0 && given.u("thread_friction") <= 0.0 {
        computed
            .note("friction was given without doubt; a preload from torque is rarely better than a quarter either way");
    }
    Ok(computed)
}

/// Preload from a turning angle.
pub const BOLT_ANGLE: Calculator = Calculator {
    id: "bolt-angle",
    group: Group::Threads,
    name: "Bolt preload from angle",
    meaning: "preload gained by turning past snug, or the angle that a preload needs, as long as nothing yields",
    inputs: &[
        Input::number("pitch", Unit::MILLIMETRE, "pitch").optional(),
        Input::number("threads_per_inch", Unit::ONE, "threads per inch, instead of the pitch").optional(),
        Input::number("bolt_stiffness", Unit::KILONEWTON_PER_MILLIMETRE, "stiffness of the bolt"),
        Input::number("joint_stiffness", Unit::KILONEWTON_PER_MILLIMETRE, "stiffness of the clamped parts"),
        Input::number("angle", Unit::DEGREE, "angle past snug").optional().within(Domain::NotNegative),
        Input::number("preload", Unit::NEWTON, "preload to be gained, instead of the angle").optional(),
    ],
    outputs: &[
        Output::new("preload_gain", Unit::NEWTON, "preload gained by the angle"),
        Output::new("angle_needed", Unit::DEGREE, "angle for the preload"),
        Output::new("stretch", Unit::MILLIMETRE, "how much the bolt grows longer"),
        Output::new("bolt_share", Unit::ONE, "stiffness of the bolt over that of bolt and joint"),
    ],
    sources: &[
        "two springs in a row, worked out here; the same form in Shigley's Mechanical Engineering Design [published]",
    ],
    example: &[
        ("pitch", "1.5 mm"),
        ("bolt_stiffness", "200 kN/mm"),
        ("joint_stiffness", "1000 kN/mm"),
        ("angle", "90 deg"),
    ],
    cautions: &[],
    formula: |given| {
        let Some(pitch) = pitch_given(given)? else { return Err(given.missing("pitch")) };
        let (bolt, joint) = (given.number("bolt_stiffness")?, given.number("joint_stiffness")?);
        let together = bolt * joint / (bolt + joint) * 1000.0;
        let mut computed = Computed::default();
        let gain = match (given.optional("angle"), given.optional("preload")) {
            (Some(angle), None) => {
                let gain = angle / 360.0 * pitch * together;
                computed.put("preload_gain", gain);
                gain
            }
            (None, Some(preload)) => {
                computed.put("angle_needed", preload / (pitch * together) * 360.0);
                preload
            }
            (Some(_), Some(_)) => {
                return Err(given.do_not_go_together("angle and preload were both given; give the one that is known"));
            }
            (None, None) => return Err(given.missing("angle")),
        };
        computed.put("stretch", gain / (bolt * 1000.0));
        computed.put("bolt_share", bolt / (bolt + joint));
        computed.note("holds while bolt and joint stay elastic; past yield the load stays nearly flat");
        Ok(computed)
    },
};
