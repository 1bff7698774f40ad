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

/// What a strength class of bolts promises.
struct Strength {
    word: &'static str,
    /// The largest thread it holds for, mm.
    up_to: f64,
    /// Stress under proof load, in megapascal.
    proof: f64,
    /// Lower yield stress or stress at 0.2 % lasting stretch, in megapascal.
    yielding: f64,
    /// Least tensile strength, in megapascal.
    tensile: f64,
}

const fn strength(word: &'static str, up_to: f64, proof: f64, yielding: f64, tensile: f64) -> Strength {
    Strength { word, up_to, proof, yielding, tensile }
}

const fn ksi(word: &'static str, inches: f64, proof: f64, yielding: f64, tensile: f64) -> Strength {
    const MEGAPASCAL: f64 = 6.894_757_293_168;
    strength(word, inches * 25.4, proof * MEGAPASCAL, yielding * MEGAPASCAL, tensile * MEGAPASCAL)
}

/// The words of [`STRENGTHS`].
const PROPERTY_CLASSES: &[&str] =
    &["4.6", "4.8", "5.6", "5.8", "6.8", "8.8", "9.8", "10.9", "12.9", "SAE-2", "SAE-5", "SAE-8"];

/// Least strengths by class [published: ISO 898-1:2013, table 3; SAE J429 by Shigley's Mechanical Engineering Design, table of
/// SAE specifications for steel bolts].
const STRENGTHS: &[Strength] = &[
    strength("4.6", 39.0, 225.0, 240.0, 400.0),
    strength("4.8", 39.0, 310.0, 340.0, 420.0),
    strength("5.6", 39.0, 280.0, 300.0, 500.0),
    strength("5.8", 39.0, 380.0, 420.0, 520.0),
    strength("6.8", 39.0, 440.0, 480.0, 600.0),
    strength("8.8", 16.0, 580.0, 640.0, 800.0),
    strength("8.8", 39.0, 600.0, 660.0, 830.0),
    strength("9.8", 16.0, 650.0, 720.0, 900.0),
    strength("10.9", 39.0, 830.0, 940.0, 1040.0),
    strength("12.9", 39.0, 970.0, 1100.0, 1220.0),
    ksi("SAE-2", 0.75, 55.0, 57.0, 74.0),
    ksi("SAE-2", 1.5, 33.0, 36.0, 60.0),
    ksi("SAE-5", 1.0, 85.0, 92.0, 120.0),
    ksi("SAE-5", 1.5, 74.0, 81.0, 105.0),
    ksi("SAE-8", 1.5, 120.0, 130.0, 150.0),
];

/// The strength behind the class that was given, none when none was.
fn strength_given(given: &Given, diameter: f64) -> Result<Option<&'static Strength>, CalcError> {
    let Some(word) = given.text("property_class") else { return Ok(None) };
    STRENGTHS
        .iter()
        .find(|row| row.word == word && diameter <= row.up_to + 1e-9)
        .map(Some)
        .ok_or_else(|| given.out_of_domain("property_class", "is not made in this diameter; look at the bolt again"))
}

/// The yield strength typed, or that of the class typed.
fn yield_given(given: &Given, diameter: f64) -> Result<Option<f64>, CalcError> {
    match (given.optional("yield_strength"), strength_given(given, diameter)?) {
        (Some(_), Some(_)) => {
            Err(given
                .do_not_go_together("yield_strength and property_class say the same thing twice; give one of them"))
        }
        (typed, class) => Ok(typed.or(class.map(|class| class.yielding))),
    }
}

/// A thread of the standard lists: name, diameter and pitch in mm.
type Listed = (&'static str, f64, f64);

const fn inch(name: &'static str, diameter: f64, threads: f64) -> Listed {
    (name, diameter * 25.4, 25.4 / threads)
}

/// Threads up to 25 mm that are met on engines [published: ISO 262 for metric, ASME B1.1 for unified].
const LISTED: &[Listed] = &[
    ("M4 x 0.7", 4.0, 0.7),
    ("M5 x 0.8", 5.0, 0.8),
    ("M6 x 1", 6.0, 1.0),
    ("M7 x 1", 7.0, 1.0),
    ("M8 x 1.25", 8.0, 1.25),
    ("M8 x 1", 8.0, 1.0),
    ("M10 x 1.5", 10.0, 1.5),
    ("M10 x 1.25", 10.0, 1.25),
    ("M10 x 1", 10.0, 1.0),
    ("M12 x 1.75", 12.0, 1.75),
    ("M12 x 1.5", 12.0, 1.5),
    ("M12 x 1.25", 12.0, 1.25),
    ("M14 x 2", 14.0, 2.0),
    ("M14 x 1.5", 14.0, 1.5),
    ("M14 x 1.25", 14.0, 1.25),
    ("M16 x 2", 16.0, 2.0),
    ("M16 x 1.5", 16.0, 1.5),
    ("M18 x 2.5", 18.0, 2.5),
    ("M18 x 1.5", 18.0, 1.5),
    ("M20 x 2.5", 20.0, 2.5),
    ("M20 x 1.5", 20.0, 1.5),
    ("M22 x 2.5", 22.0, 2.5),
    ("M22 x 1.5", 22.0, 1.5),
    ("M24 x 3", 24.0, 3.0),
    ("M24 x 2", 24.0, 2.0),
    inch("No. 10-24 UNC", 0.19, 24.0),
    inch("No. 10-32 UNF", 0.19, 32.0),
    inch("1/4-20 UNC", 0.25, 20.0),
    inch("1/4-28 UNF", 0.25, 28.0),
    inch("5/16-18 UNC", 0.3125, 18.0),
    inch("5/16-24 UNF", 0.3125, 24.0),
    inch("3/8-16 UNC", 0.375, 16.0),
    inch("3/8-24 UNF", 0.375, 24.0),
    inch("7/16-14 UNC", 0.4375, 14.0),
    inch("7/16-20 UNF", 0.4375, 20.0),
    inch("1/2-13 UNC", 0.5, 13.0),
    inch("1/2-20 UNF", 0.5, 20.0),
    inch("9/16-12 UNC", 0.5625, 12.0),
    inch("9/16-18 UNF", 0.5625, 18.0),
    inch("5/8-11 UNC", 0.625, 11.0),
    inch("5/8-18 UNF", 0.625, 18.0),
    inch("3/4-10 UNC", 0.75, 10.0),
    inch("3/4-16 UNF", 0.75, 16.0),
    inch("7/8-9 UNC", 0.875, 9.0),
    inch("7/8-14 UNF", 0.875, 14.0),
    inch("1-8 UNC", 1.0, 8.0),
    inch("1-12 UNF", 1.0, 12.0),
];

/// How far a measured thread is from a listed one; a bolt reads up to some tenths below its nominal diameter.
fn strangeness(listed: &Listed, diameter: f64, pitch: f64) -> f64 {
    let below = listed.1 - diameter;
    let off = (below - 0.3).max(-below).max(0.0);
    // A pitch gauge tells about two per cent apart, a calliper a tenth of a millimetre.
    (listed.2 / pitch).ln().abs() / 0.02 + off / 0.1 + below.abs() / 10.0
}

/// The listed threads near a measured diameter and pitch, nearest first; empty when none is near.
///
/// # Units
/// Outside diameter and pitch in mm.
/// # Source
/// ISO 262 and ASME B1.1 for the list \[published\]; what counts as near is a choice of our own \[ours\].
#[must_use]
pub fn nearest_threads(diameter: f64, pitch: f64) -> Vec<&'static str> {
    let mut near: Vec<(f64, &'static str)> = LISTED
        .iter()
        .map(|listed| (strangeness(listed, diameter, pitch), listed.0))
        .filter(|(strange, _)| *strange < 6.0)
        .collect();
    near.sort_by(|a, b| a.0.total_cmp(&b.0));
    near.into_iter().map(|(_, name)| name).collect()
}

fn nearest_note(diameter: f64, pitch: f64) -> String {
    match nearest_threads(diameter, pitch).as_slice() {
        [] => "no listed thread is near: measure the pitch over ten threads and the diameter again".to_owned(),
        [one] => format!("nearest listed thread: {one}"),
        [one, others @ ..] => {
            format!(
                "nearest listed thread: {one}; easily taken for it: {}; try a thread gauge, never force",
                others.join(", ")
            )
        }
    }
}

/// What to say when the pitch is missing: the threads that the diameter alone leaves.
fn pitch_missing(given: &Given, diameter: f64) -> CalcError {
    let near: Vec<&str> = LISTED
        .iter()
        .filter(|(_, listed, _)| (-0.02..=0.4).contains(&(listed - diameter)))
        .map(|listed| listed.0)
        .collect();
    if near.is_empty() {
        return given.missing("pitch");
    }
    let why =
        format!("names no thread without its pitch; it may be {}; add pitch= or threads_per_inch=", near.join(", "));
    given.out_of_domain("diameter", why)
}

/// The usual cautions of a bolt that is tightened.
const TIGHTENING_CAUTIONS: &[&str] = &[
    "A check figure, nothing to tighten to: torque, angle, sequence and oiling come from the engine's own manual and from nowhere else.",
    "A bolt tightened to or past its yield is used once; measure its length against the manual and renew it when in doubt.",
    "A bolt can snap at yield: pull evenly on a whole wrench, with a footing that holds if it lets go, and eyes protected.",
];

/// Scatter of the preload by method of tightening, in per cent either way.
///
/// [published: NASA NSTS 08307 for torque on dry, plated and oiled bolts; Machinery's Handbook, accuracy of bolt preload
/// application methods, for the others; both as quoted in public notes on preload].
const METHODS: &[(&str, f64)] = &[
    ("feel", 35.0),
    ("torque-dry", 35.0),
    ("torque-plated", 30.0),
    ("torque-oiled", 25.0),
    ("angle", 15.0),
    ("load-washer", 10.0),
    ("yield-sensing", 8.0),
    ("stretch", 5.0),
    ("strain-gauge", 1.0),
];
/// The words of [`METHODS`].
const METHOD_WORDS: &[&str] = &[
    "feel",
    "torque-dry",
    "torque-plated",
    "torque-oiled",
    "angle",
    "load-washer",
    "yield-sensing",
    "stretch",
    "strain-gauge",
];

fn scatter_given(given: &Given) -> Option<f64> {
    let word = given.text("method")?;
    METHODS.iter().find(|(known, _)| *known == word).map(|(_, percent)| percent / 100.0)
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

/// The stress area of the thread that was given: unified when its threads per inch were typed, metric otherwise.
fn area_given(given: &Given, diameter: f64, pitch: f64) -> f64 {
    if given.optional("threads_per_inch").is_some() {
        unified_stress_area(diameter, pitch)
    } else {
        stress_area(diameter, pitch)
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
        Input::choice("profile", "profile of the thread", &["metric", "unified"]).or("metric"),
        Input::choice("property_class", "strength class on the bolt head, for the loads", PROPERTY_CLASSES).optional(),
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
        Output::new("yield_load", Unit::NEWTON, "load at which the thread yields"),
        Output::new("breaking_load", Unit::NEWTON, "load at the tensile strength"),
    ],
    workings: &[
        "pitch = 25.4 / threads_per_inch",
        "pitch_diameter = diameter - 3 × sqrt(3) / 8 × pitch",
        "root_diameter = diameter - 17 × sqrt(3) / 24 × pitch",
        "nut_minor_diameter = diameter - 5 × sqrt(3) / 8 × pitch",
        "with profile=metric: stress_area = pi / 4 × ((pitch_diameter + root_diameter) / 2)²",
        "with profile=unified: stress_area = pi / 4 × (diameter - 0.9743 × pitch)²",
        "proof_load = proof_stress × stress_area",
        "yield_load is the yield strength of property_class times stress_area",
        "breaking_load = tensile_strength × stress_area",
        "property_class brings proof_stress and tensile_strength from its table",
    ],
    sources: &[
        "ISO 724 and ISO 68-1, basic sizes [published]",
        "ISO 898-1, stress area [published]",
        "ANSI B1.1 by Shigley's Mechanical Engineering Design, table 8-2, for unified threads [published]",
        "ISO 898-1:2013, table 3, and SAE J429 by Shigley's Mechanical Engineering Design, for the strength classes [published]",
    ],
    example: &[("diameter", "10 mm"), ("pitch", "1.5 mm"), ("property_class", "10.9")],
    cautions: &[
        "Proof and breaking loads are those of a new bolt of the class; a stretched, rusted or nicked one stands less.",
    ],
    formula: |given| {
        let diameter = given.number("diameter")?;
        let Some(pitch) = pitch_given(given)? else { return Err(pitch_missing(given, diameter)) };
        if root_diameter(diameter, pitch) <= 0.0 {
            return Err(given.out_of_domain("diameter", "is too small for this pitch; look for exchanged values"));
        }
        let mut computed = Computed::default();
        computed.put("pitch_diameter", pitch_diameter(diameter, pitch));
        let area = if given.text("profile") == Some("unified") {
            unified_stress_area(diameter, pitch)
        } else {
            computed.put("root_diameter", root_diameter(diameter, pitch));
            stress_area(diameter, pitch)
        };
        computed.put("nut_minor_diameter", nut_minor_diameter(diameter, pitch));
        computed.put("stress_area", area);
        let class = strength_given(given, diameter)?;
        if let Some(stress) = given.optional("proof_stress").or(class.map(|class| class.proof)) {
            computed.put("proof_load", area * stress);
        }
        if let Some(class) = class {
            computed.put("yield_load", area * class.yielding);
        }
        if let Some(strength) = given.optional("tensile_strength").or(class.map(|class| class.tensile)) {
            computed.put("breaking_load", area * strength);
        }
        computed.note(nearest_note(diameter, pitch));
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
        Input::choice("method", "how it is tightened, for the published scatter of the preload", METHOD_WORDS)
            .optional(),
        Input::number(
            "yield_strength",
            Unit::MEGAPASCAL,
            "yield strength of the bolt, for the share of it that is used",
        )
        .optional(),
        Input::choice(
            "property_class",
            "strength class on the bolt head, instead of the yield strength",
            PROPERTY_CLASSES,
        )
        .optional(),
    ],
    outputs: &[
        Output::new("preload_short", Unit::NEWTON, "preload by the short form"),
        Output::new("preload_long", Unit::NEWTON, "preload by the long form"),
        Output::new("preload_least", Unit::NEWTON, "least preload by the scatter of the method"),
        Output::new("preload_greatest", Unit::NEWTON, "greatest preload by the scatter of the method"),
        Output::new("torque_short", Unit::NEWTON_METRE, "torque by the short form"),
        Output::new("torque_long", Unit::NEWTON_METRE, "torque by the long form"),
        Output::new("pitch_term", Unit::NEWTON_METRE, "torque that stretches the bolt"),
        Output::new("thread_term", Unit::NEWTON_METRE, "torque lost in the thread"),
        Output::new("bearing_term", Unit::NEWTON_METRE, "torque lost under the head"),
        Output::new("equivalent_nut_factor", Unit::ONE, "nut factor that the long form comes to"),
        Output::new("tensile_stress", Unit::MEGAPASCAL, "pull over the stress area"),
        Output::new("torsion_stress", Unit::MEGAPASCAL, "twist of the shank while tightening"),
        Output::new("combined_stress", Unit::MEGAPASCAL, "both together by the distortion-energy rule"),
        Output::new("yield_share", Unit::PERCENT, "combined stress over the yield strength"),
        Output::new(
            "pull_share",
            Unit::PERCENT,
            "pull alone over the yield strength, as it stays when the wrench is off",
        ),
    ],
    workings: &[
        "pitch = 25.4 / threads_per_inch",
        "bearing_friction = thread_friction",
        "pitch_diameter = diameter - 3 × sqrt(3) / 8 × pitch",
        "preload_short = 1000 × torque / (nut_factor × diameter)",
        "torque_short = nut_factor × preload × diameter / 1000",
        "pitch_arm = pitch / (2 × pi)",
        "thread_arm = thread_friction × pitch_diameter / (2 × cos(30))",
        "bearing_arm = bearing_friction × bearing_diameter / 2",
        "with torque: preload_long = 1000 × torque / (pitch_arm + thread_arm + bearing_arm)",
        "with preload: torque_long = preload × (pitch_arm + thread_arm + bearing_arm) / 1000",
        "with torque: pull = preload_long",
        "with preload: pull = preload",
        "pitch_term = pull × pitch_arm / 1000",
        "thread_term = pull × thread_arm / 1000",
        "bearing_term = pull × bearing_arm / 1000",
        "equivalent_nut_factor = (pitch_arm + thread_arm + bearing_arm) / diameter",
        "without threads_per_inch: stress_diameter = (pitch_diameter + diameter - 17 × sqrt(3) / 24 × pitch) / 2",
        "with threads_per_inch: stress_diameter = diameter - 0.9743 × pitch",
        "tensile_stress = pull / (pi / 4 × stress_diameter²)",
        "torsion_stress = 16 × pull × (pitch_arm + thread_arm) / (pi × stress_diameter³)",
        "combined_stress = sqrt(tensile_stress² + 3 × torsion_stress²)",
        "yield_share = 100 × combined_stress / yield_strength",
        "pull_share = 100 × tensile_stress / yield_strength",
        "preload_least is the preload less the published scatter of the method",
        "preload_greatest is the preload and the published scatter of the method",
        "property_class brings yield_strength from its table",
    ],
    sources: &[
        "short form T = K F d [published: Shigley's Mechanical Engineering Design]",
        "long form [published: Machinery's Handbook, 31st edition, page 1665, equation 22]",
        "combined stress by distortion energy [published: standard texts on bolted joints]",
        "scatter by method [published: NASA NSTS 08307 and Machinery's Handbook, as quoted in public notes on preload]",
        "ISO 898-1:2013, table 3, and SAE J429, for the strength classes [published]",
    ],
    example: &[
        ("torque", "40 N.m"),
        ("diameter", "10 mm"),
        ("pitch", "1.5 mm"),
        ("thread_friction", "0.12±0.02"),
        ("bearing_diameter", "13.5 mm"),
        ("method", "torque-oiled"),
        ("property_class", "10.9"),
    ],
    cautions: TIGHTENING_CAUTIONS,
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
    let yielding = yield_given(given, diameter)?;
    let mut computed = Computed::default();
    let mut preload_found = preload;
    if let Some(factor) = nut_factor {
        if let Some(torque) = torque {
            let force = torque * 1000.0 / (factor * diameter);
            computed.put("preload_short", force);
            preload_found = Some(force);
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
                preload_found = Some(force);
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
        let unified = given.optional("threads_per_inch").is_some();
        let stress_diameter = if unified { diameter - 0.9743 * pitch } else { f64::midpoint(middle, root) };
        let pull = force / (PI / 4.0 * stress_diameter * stress_diameter);
        let twist = 16.0 * force * (a + b) / (PI * stress_diameter.powi(3));
        computed.put("tensile_stress", pull);
        computed.put("torsion_stress", twist);
        let combined = (pull * pull + 3.0 * twist * twist).sqrt();
        computed.put("combined_stress", combined);
        if let Some(yielding) = yielding {
            computed.put("yield_share", 100.0 * combined / yielding);
            computed.put("pull_share", 100.0 * pull / yielding);
            if combined > yielding {
                computed.note(
                    "the thread yields before this torque is reached: the true preload is lower than the figure here",
                );
            }
        }
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
    if let (Some(scatter), Some(force)) = (scatter_given(given), preload_found) {
        computed.put("preload_least", force * (1.0 - scatter));
        computed.put("preload_greatest", force * (1.0 + scatter));
        computed.note(format!(
            "published scatter of the method: {:.0} % either way, all causes together; the doubt beside the values is that of the friction typed",
            100.0 * scatter
        ));
    }
    if yielding.is_some() && !long_wanted {
        computed.note("the share of yield needs the long form; add pitch, thread_friction and bearing_diameter");
    }
    if given.u("nut_factor") <= 0.0 && given.u("thread_friction") <= 0.0 {
        computed
            .note("friction was given without doubt; a preload from torque is rarely better than a quarter either way");
    }
    Ok(computed)
}

/// Preload from a turning angle, up to yield and past it.
pub const BOLT_ANGLE: Calculator = Calculator {
    id: "bolt-angle",
    group: Group::Threads,
    name: "Bolt preload from angle",
    meaning: "preload and stretch gained by turning past snug, the angle that a preload needs, and where the bolt yields",
    inputs: &[
        Input::number("pitch", Unit::MILLIMETRE, "pitch").optional(),
        Input::number("threads_per_inch", Unit::ONE, "threads per inch, instead of the pitch").optional(),
        Input::number("angle", Unit::DEGREE, "angle past snug").optional().within(Domain::NotNegative),
        Input::number("preload", Unit::NEWTON, "preload to be gained, instead of the angle").optional(),
        Input::number("diameter", Unit::MILLIMETRE, "outside diameter of the thread").optional(),
        Input::number("waist_diameter", Unit::MILLIMETRE, "diameter of the waist; of the plain shank when it has none")
            .optional(),
        Input::number("waist_length", Unit::MILLIMETRE, "length of the waist or shank within the grip").optional(),
        Input::number(
            "thread_length",
            Unit::MILLIMETRE,
            "free thread within the grip, and about half of what is engaged",
        )
        .optional(),
        Input::number("bolt_modulus", Unit::GIGAPASCAL, "stiffness of the bolt's steel").or("205 GPa"),
        Input::number("bolt_stiffness", Unit::KILONEWTON_PER_MILLIMETRE, "stiffness of the bolt, instead of its sizes")
            .optional(),
        Input::number("joint_stiffness", Unit::KILONEWTON_PER_MILLIMETRE, "stiffness of the clamped parts").optional(),
        Input::number("joint_ratio", Unit::ONE, "stiffness of the clamped parts over that of the bolt, instead of it")
            .optional(),
        Input::number("snug_preload", Unit::NEWTON, "preload at snug, before the angle").optional(),
        Input::number("snug_torque", Unit::NEWTON_METRE, "snug torque, instead of the preload at snug").optional(),
        Input::number("nut_factor", Unit::ONE, "torque over preload and diameter, needed with the snug torque")
            .optional(),
        Input::number("yield_strength", Unit::MEGAPASCAL, "yield strength of the bolt, for the angle where it yields")
            .optional(),
        Input::choice(
            "property_class",
            "strength class on the bolt head, instead of the yield strength",
            PROPERTY_CLASSES,
        )
        .optional(),
        Input::number(
            "thread_friction",
            Unit::ONE,
            "friction in the thread, for the twist that lowers the yield point",
        )
        .optional()
        .within(Domain::NotNegative),
    ],
    outputs: &[
        Output::new("preload_gain", Unit::NEWTON, "preload gained by the angle"),
        Output::new("preload_total", Unit::NEWTON, "preload with that at snug"),
        Output::new("angle_needed", Unit::DEGREE, "angle for the preload"),
        Output::new("stretch", Unit::MILLIMETRE, "how much the bolt grows longer past snug"),
        Output::new("lasting_stretch", Unit::MILLIMETRE, "how much of it stays when the bolt is taken out"),
        Output::new("yield_load", Unit::NEWTON, "load at which the weakest section yields"),
        Output::new("angle_at_yield", Unit::DEGREE, "angle past snug at which it yields"),
        Output::new("bolt_stiffness", Unit::KILONEWTON_PER_MILLIMETRE, "stiffness of the bolt"),
        Output::new("bolt_share", Unit::ONE, "stiffness of the bolt over that of bolt and joint"),
    ],
    workings: &[
        "pitch = 25.4 / threads_per_inch",
        "without threads_per_inch: stress_area = pi / 4 × (diameter - (3 / 8 + 17 / 24) / 2 × sqrt(3) × pitch)²",
        "with threads_per_inch: stress_area = pi / 4 × (diameter - 0.9743 × pitch)²",
        "with waist_diameter: waist = waist_length / (pi / 4 × waist_diameter²)",
        "without waist_diameter: waist = 0",
        "bolt_stiffness = bolt_modulus / (waist + thread_length / stress_area)",
        "joint_stiffness = joint_ratio × bolt_stiffness",
        "bolt_share = bolt_stiffness / (bolt_stiffness + joint_stiffness)",
        "with snug_torque: snug_preload = 1000 × snug_torque / (nut_factor × diameter)",
        "without snug_torque: snug_preload = 0",
        "per_degree = 1000 × pitch / 360 × bolt_stiffness × joint_stiffness / (bolt_stiffness + joint_stiffness)",
        "yield_load is the yield strength times the weakest section, lowered by the twist where thread_friction is given: over the root of 1 + 3 × (4 × (pitch / (2 × pi) + thread_friction × pitch diameter / (2 × cos 30°)) / diameter of the section)²",
        "angle_at_yield = (yield_load - snug_preload) / per_degree",
        "angle_needed = preload / per_degree",
        "turned = angle",
        "turned = angle_needed",
        "with property_class: beyond = max(0, turned - angle_at_yield)",
        "with yield_strength: beyond = max(0, turned - angle_at_yield)",
        "else: beyond = 0",
        "preload_gain = (turned - beyond) × per_degree",
        "preload_total = snug_preload + (turned - beyond) × per_degree",
        "lasting_stretch = beyond / 360 × pitch",
        "stretch = (turned - beyond) × per_degree / (1000 × bolt_stiffness) + beyond / 360 × pitch",
    ],
    sources: &[
        "two springs in a row, worked out here; the same form in Shigley's Mechanical Engineering Design [published]",
        "flat load past yield, and twist by distortion energy [published: standard texts on bolted joints]",
        "bolt steel 205 GPa [common-practice]",
        "ISO 898-1:2013, table 3, and SAE J429, for the strength classes [published]",
    ],
    example: &[
        ("pitch", "1.5 mm"),
        ("angle", "90 deg"),
        ("diameter", "10 mm"),
        ("waist_diameter", "7.5 mm"),
        ("waist_length", "70 mm"),
        ("thread_length", "32 mm"),
        ("joint_ratio", "3"),
        ("snug_torque", "20 N.m"),
        ("nut_factor", "0.168±0.02"),
        ("property_class", "10.9"),
    ],
    cautions: TIGHTENING_CAUTIONS,
    formula: bolt_angle,
};

/// Stiffness in kN/mm of a bolt: typed, or from waist and thread as rods in a row.
fn bolt_stiffness(given: &Given, pitch: f64) -> Result<f64, CalcError> {
    if let Some(typed) = given.optional("bolt_stiffness") {
        return Ok(typed);
    }
    let (Some(diameter), Some(thread)) = (given.optional("diameter"), given.optional("thread_length")) else {
        return Err(given.do_not_go_together(
            "the stiffness of the bolt is not known; give bolt_stiffness, or diameter, thread_length, waist_diameter and waist_length",
        ));
    };
    let waist = match (given.optional("waist_diameter"), given.optional("waist_length")) {
        (Some(across), Some(along)) => along / (PI / 4.0 * across * across),
        (None, None) => 0.0,
        _ => return Err(given.do_not_go_together("waist_diameter and waist_length belong together; give both or none")),
    };
    if root_diameter(diameter, pitch) <= 0.0 {
        return Err(given.out_of_domain("diameter", "is too small for this pitch; look for exchanged values"));
    }
    Ok(given.number("bolt_modulus")? / (waist + thread / area_given(given, diameter, pitch)))
}

/// Preload at snug in N, zero when nothing was given.
fn snug(given: &Given) -> Result<f64, CalcError> {
    match (given.optional("snug_preload"), given.optional("snug_torque")) {
        (Some(_), Some(_)) => {
            Err(given.do_not_go_together("snug_preload and snug_torque were both given; give the one that is known"))
        }
        (Some(preload), None) => Ok(preload),
        (None, Some(torque)) => Ok(torque * 1000.0 / (given.number("nut_factor")? * given.number("diameter")?)),
        (None, None) => Ok(0.0),
    }
}

/// Load in N at which the weakest section yields, none when strength or section are not known.
fn yield_load(given: &Given, pitch: f64) -> Result<Option<f64>, CalcError> {
    let diameter = given.optional("diameter");
    let Some(yielding) = yield_given(given, diameter.unwrap_or(0.0))? else { return Ok(None) };
    let thread = diameter.map(|diameter| area_given(given, diameter, pitch));
    let waist = given.optional("waist_diameter").map(|waist| PI / 4.0 * waist * waist);
    let Some(area) = [thread, waist].into_iter().flatten().reduce(f64::min) else {
        return Err(given.do_not_go_together("the load at yield needs a section; add diameter and waist_diameter"));
    };
    let twist = match (given.optional("thread_friction"), diameter) {
        (Some(friction), Some(diameter)) => {
            let (slope, drag, _) = torque_arms(pitch, pitch_diameter(diameter, pitch), 0.0, friction, 0.0);
            // Shear of a round section per pull: 16 T / (pi d^3) over 4 F / (pi d^2).
            4.0 * (slope + drag) / (4.0 * area / PI).sqrt()
        }
        _ => 0.0,
    };
    Ok(Some(area * yielding / (1.0 + 3.0 * twist * twist).sqrt()))
}

fn bolt_angle(given: &Given) -> Result<Computed, CalcError> {
    let Some(pitch) = pitch_given(given)? else { return Err(given.missing("pitch")) };
    let bolt = bolt_stiffness(given, pitch)?;
    let joint = match (given.optional("joint_stiffness"), given.optional("joint_ratio")) {
        (Some(joint), None) => joint,
        (None, Some(ratio)) => ratio * bolt,
        (Some(_), Some(_)) => {
            return Err(given.do_not_go_together("joint_stiffness and joint_ratio were both given; give one of them"));
        }
        (None, None) => return Err(given.missing("joint_stiffness")),
    };
    let snug = snug(given)?;
    let limit = yield_load(given, pitch)?;
    if limit.is_some_and(|limit| snug > limit) {
        return Err(given.do_not_go_together("the bolt yields before snug; look at the snug torque and the diameters"));
    }
    // N per degree, before yield.
    let rise = pitch / 360.0 * bolt * joint / (bolt + joint) * 1000.0;
    let at_yield = limit.map(|limit| (limit - snug) / rise);
    let mut computed = Computed::default();
    let angle = match (given.optional("angle"), given.optional("preload")) {
        (Some(angle), None) => angle,
        (None, Some(preload)) => preload / rise,
        (Some(_), Some(_)) => {
            return Err(given.do_not_go_together("angle and preload were both given; give the one that is known"));
        }
        (None, None) => return Err(given.missing("angle")),
    };
    let beyond = at_yield.map_or(0.0, |at_yield| (angle - at_yield).max(0.0));
    if beyond > 0.0 && given.optional("preload").is_some() {
        return Err(
            given.out_of_domain("preload", "is more than the bolt can carry: it yields before; look at its class")
        );
    }
    let gain = (angle - beyond) * rise;
    if given.optional("angle").is_some() {
        computed.put("preload_gain", gain);
    } else {
        computed.put("angle_needed", angle);
    }
    if snug > 0.0 {
        computed.put("preload_total", snug + gain);
    }
    // Past yield the load stays flat, so the joint does not give any more and the bolt takes all of the movement.
    let lasting = beyond / 360.0 * pitch;
    computed.put("stretch", gain / (bolt * 1000.0) + lasting);
    if let (Some(limit), Some(at_yield)) = (limit, at_yield) {
        computed.put("lasting_stretch", lasting);
        computed.put("yield_load", limit);
        computed.put("angle_at_yield", at_yield);
    }
    computed.put("bolt_stiffness", bolt);
    computed.put("bolt_share", bolt / (bolt + joint));
    computed.note(if beyond > 0.0 {
        "past yield: the load stays nearly flat, so the angle scatters little in load and much in stretch; the bolt is used up"
    } else if limit.is_some() {
        "before yield: bolt and joint both give; a joint that settles takes some of the angle"
    } else {
        "holds while bolt and joint stay elastic; past yield the load stays nearly flat"
    });
    if limit.is_some() && given.optional("thread_friction").is_none() {
        computed.note("without the friction of the thread the twist is left out: while being turned the bolt yields a tenth to a third earlier");
    }
    Ok(computed)
}
