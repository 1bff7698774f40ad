//! What a cut off a face does to cam timing and to the intake faces of a V.

use std::f64::consts::PI;

use quantity::Unit;

use crate::catalogue::{Calculator, Computed, Domain, Group, Input, Output};
use crate::cautions::{CUTTING, TURN_BY_HAND};
use crate::error::CalcError;
use crate::given::Given;

/// The pitch radius of a chain sprocket, in the unit of the pitch.
///
/// # Source
/// Chord of a circle \[published: Machinery's Handbook, sprocket geometry\].
#[must_use]
pub fn chain_radius(pitch: f64, teeth: f64) -> f64 {
    pitch / (2.0 * (PI / teeth).sin())
}

/// The pitch radius of a toothed-belt pulley, in the unit of the pitch.
///
/// # Source
/// Circumference of a circle \[published: Machinery's Handbook, belt geometry\].
#[must_use]
pub fn belt_radius(pitch: f64, teeth: f64) -> f64 {
    pitch * teeth / (2.0 * PI)
}

/// Length of the tight strand and of its wrap that changes with the centre distance.
fn strand(centres: f64, radius_difference: f64) -> f64 {
    (centres * centres - radius_difference * radius_difference).sqrt()
        + radius_difference * (radius_difference / centres).asin()
}

/// What a cut does to an overhead cam.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CamLag {
    /// Pitch radius of the cam wheel, in the unit of the pitch.
    pub cam_radius: f64,
    /// Pitch radius of the crank wheel.
    pub crank_radius: f64,
    /// Turn of the cam, in degrees of the cam.
    pub cam_degrees: f64,
}

/// How far the cam lags after a cut, from the wheels that were given.
///
/// # Errors
/// [`CalcError`] when a wheel is missing or the wheels would touch.
pub(crate) fn cam_lag(given: &Given, cut: f64) -> Result<CamLag, CalcError> {
    let radius = match given.text("drive").unwrap_or("chain") {
        "chain" => chain_radius,
        "belt" => belt_radius,
        _ => return Err(given.out_of_domain("drive", "is neither chain nor belt; a gear drive does not shift")),
    };
    let (pitch, centres) = (given.number("pitch")?, given.number("centres")?);
    let cam = radius(pitch, given.number("cam_teeth")?);
    let crank = radius(pitch, given.number("crank_teeth")?);
    if centres - cut <= cam + crank {
        return Err(
            given.out_of_domain("centres", "would let the two wheels touch; look for a mistyped distance or pitch")
        );
    }
    let lag = (strand(centres, cam - crank) - strand(centres - cut, cam - crank)) / cam;
    Ok(CamLag { cam_radius: cam, crank_radius: crank, cam_degrees: lag.to_degrees() })
}

/// What is said beside a lag.
pub(crate) const LATE_OR_EARLY: &str = "late when the tight strand runs straight up to the cam, which is the usual case; early when it is the strand on the other side";

/// Cam timing after a cut.
pub const CAM_TIMING_SHIFT: Calculator = Calculator {
    id: "cam-timing-shift",
    group: Group::Volumes,
    name: "Cam timing after a cut",
    meaning: "how far an overhead cam lags when a cut brings it nearer to the crank",
    inputs: &[
        Input::number("cam_teeth", Unit::ONE, "teeth of the cam wheel").within(Domain::Between(6.0, 1000.0)),
        Input::number("crank_teeth", Unit::ONE, "teeth of the crank wheel").within(Domain::Between(6.0, 1000.0)),
        Input::number("pitch", Unit::MILLIMETRE, "pitch of chain or belt"),
        Input::number("centres", Unit::MILLIMETRE, "distance from crank centre to cam centre before the cut"),
        Input::number("cut", Unit::MILLIMETRE, "depth taken off along the line of centres").within(Domain::NotNegative),
        Input::choice("drive", "what drives the cam; a gear drive does not shift", &["chain", "belt"]).or("chain"),
    ],
    outputs: &[
        Output::new("cam_radius", Unit::MILLIMETRE, "pitch radius of the cam wheel"),
        Output::new("crank_radius", Unit::MILLIMETRE, "pitch radius of the crank wheel"),
        Output::new("cam_lag", Unit::DEGREE, "turn of the cam, in cam degrees"),
        Output::new("crank_lag", Unit::DEGREE, "the same in crank degrees"),
    ],
    workings: &[
        "with drive=chain: cam_radius = pitch / (2 × sin(180 / cam_teeth))",
        "with drive=chain: crank_radius = pitch / (2 × sin(180 / crank_teeth))",
        "with drive=belt: cam_radius = pitch × cam_teeth / (2 × pi)",
        "with drive=belt: crank_radius = pitch × crank_teeth / (2 × pi)",
        "apart = cam_radius - crank_radius",
        "strand_before = sqrt(centres² - apart²) + apart × pi / 180 × asin(apart / centres)",
        "strand_after = sqrt((centres - cut)² - apart²) + apart × pi / 180 × asin(apart / (centres - cut))",
        "cam_lag = 180 / pi × (strand_before - strand_after) / cam_radius",
        "crank_lag = 2 × cam_lag",
    ],
    sources: &[
        "geometry of the tight strand, worked out here: it keeps its number of links while the centres come nearer",
    ],
    example: &[
        ("cam_teeth", "42"),
        ("crank_teeth", "21"),
        ("pitch", "9.525 mm"),
        ("centres", "420 mm"),
        ("cut", "0.25 mm"),
    ],
    cautions: &[
        "A check figure: cam timing is set by the engine's own marks, tools and manual, never by a shift worked out here.",
        TURN_BY_HAND,
    ],
    formula: |given| {
        let shift = cam_lag(given, given.number("cut")?)?;
        let mut computed = Computed::default();
        computed.put("cam_radius", shift.cam_radius);
        computed.put("crank_radius", shift.crank_radius);
        computed.put("cam_lag", shift.cam_degrees);
        computed.put("crank_lag", 2.0 * shift.cam_degrees);
        computed.note(LATE_OR_EARLY);
        Ok(computed)
    },
};

/// Intake faces of a V engine after an equal cut off both decks.
pub const INTAKE_FACE_CUT: Calculator = Calculator {
    id: "intake-face-cut",
    group: Group::Volumes,
    name: "Intake faces of a V engine",
    meaning: "what to take off the intake faces and the end rails after an equal cut off both banks",
    inputs: &[
        Input::number("v_angle", Unit::DEGREE, "angle between the banks").within(Domain::Between(1.0, 180.0)),
        Input::number("face_angle", Unit::DEGREE, "angle of the intake face's normal above the level")
            .within(Domain::Between(0.0, 85.0)),
        Input::number("cut", Unit::MILLIMETRE, "depth taken off each bank").within(Domain::NotNegative),
    ],
    outputs: &[
        Output::new("each_face", Unit::MILLIMETRE, "depth off each intake face"),
        Output::new("end_rails", Unit::MILLIMETRE, "depth off the manifold's end rails"),
    ],
    workings: &[
        "each_face = cut × sin(v_angle / 2) / cos(face_angle)",
        "end_rails = cut × cos(v_angle / 2 - face_angle) / cos(face_angle)",
    ],
    sources: &["geometry, worked out here"],
    example: &[("v_angle", "90 deg"), ("face_angle", "55 deg"), ("cut", "0.25 mm")],
    cautions: &[
        "A check figure: whether faces may be cut, and how far, stands in the engine's own manual; dry-fit heads, gaskets and manifold before any cut.",
        CUTTING,
    ],
    formula: |given| {
        let half = (given.number("v_angle")? / 2.0).to_radians();
        let face = given.number("face_angle")?.to_radians();
        let cut = given.number("cut")?;
        let mut computed = Computed::default();
        computed.put("each_face", cut * half.sin() / face.cos());
        computed.put("end_rails", cut * (half - face).cos() / face.cos());
        computed
            .note("holds for ports square to the face and the same cut on both banks; unequal cuts tilt the manifold");
        Ok(computed)
    },
};
