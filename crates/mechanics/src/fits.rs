//! Press fits, what heat leaves of them, and the heat and cold that open them for fitting.

use std::f64::consts::PI;

use quantity::Unit;

use crate::catalogue::{Calculator, Computed, Domain, Group, Input, Output};
use crate::cautions::{COLD, HOT};
use crate::error::CalcError;
use crate::given::Given;

/// What a metal is taken for when its word is given instead of figures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Metal {
    /// The word.
    pub word: &'static str,
    /// Linear expansion between the room and about 200 °C, in millionths per kelvin.
    pub expansion: f64,
    /// Stiffness, in gigapascal.
    pub modulus: f64,
    /// Cross contraction.
    pub poisson: f64,
    /// Where the figures are from, with a tag.
    pub source: &'static str,
}

const fn metal(word: &'static str, expansion: f64, modulus: f64, poisson: f64, source: &'static str) -> Metal {
    Metal { word, expansion, modulus, poisson, source }
}

/// The metals that can be given by word.
pub const METALS: &[Metal] = &[
    metal(
        "aluminium-head",
        21.5,
        71.0,
        0.33,
        "cast alloys 319.0 and A357.0: 21 to 22, 70 to 72 GPa [published: makeitfrom.com, pages of both alloys]",
    ),
    metal(
        "grey-iron",
        11.0,
        110.0,
        0.26,
        "expansion [published: makeitfrom.com, page of grey cast iron]; stiffness 100 to 135 GPa by grade [from-memory]",
    ),
    metal("ductile-iron", 11.5, 169.0, 0.275, "[from-memory]"),
    metal(
        "steel",
        11.5,
        207.0,
        0.292,
        "stiffness [published: Shigley's Mechanical Engineering Design, physical constants of materials]; expansion 11 to 12 [common-practice]",
    ),
    metal("hard-steel-seat", 11.0, 210.0, 0.3, "[from-memory]"),
    metal("sintered-seat", 12.0, 120.0, 0.3, "[elicited]; varies with make, ask the maker of the insert"),
    metal("cobalt-seat", 12.0, 210.0, 0.3, "[from-memory]"),
    metal("bronze-seat", 17.5, 115.0, 0.34, "[from-memory]"),
    metal("beryllium-copper-seat", 17.0, 128.0, 0.3, "[from-memory]"),
    metal("aluminium", 23.1, 70.0, 0.35, "pure metal [published: element table of pymatgen-core 2026.10.16]"),
    metal("iron", 11.8, 211.0, 0.29, "pure metal [published: element table of pymatgen-core 2026.10.16]"),
    metal("copper", 16.5, 130.0, 0.34, "pure metal [published: element table of pymatgen-core 2026.10.16]"),
];

/// The words of [`METALS`].
const METAL_WORDS: &[&str] = &[
    "aluminium-head",
    "grey-iron",
    "ductile-iron",
    "steel",
    "hard-steel-seat",
    "sintered-seat",
    "cobalt-seat",
    "bronze-seat",
    "beryllium-copper-seat",
    "aluminium",
    "iron",
    "copper",
];

/// The metal of a word.
#[must_use]
pub fn metal_of(word: &str) -> Option<&'static Metal> {
    METALS.iter().find(|metal| metal.word == word)
}

/// The keys under which one part's metal is given.
struct MetalKeys {
    material: &'static str,
    expansion: &'static str,
    modulus: &'static str,
    poisson: &'static str,
}

const OUTER: MetalKeys = MetalKeys {
    material: "outer_material",
    expansion: "outer_expansion",
    modulus: "outer_modulus",
    poisson: "outer_poisson",
};
const INNER: MetalKeys = MetalKeys {
    material: "inner_material",
    expansion: "inner_expansion",
    modulus: "inner_modulus",
    poisson: "inner_poisson",
};
const HEAD: MetalKeys = MetalKeys {
    material: "head_material",
    expansion: "head_expansion",
    modulus: "head_modulus",
    poisson: "head_poisson",
};
const SEAT: MetalKeys = MetalKeys {
    material: "seat_material",
    expansion: "seat_expansion",
    modulus: "seat_modulus",
    poisson: "seat_poisson",
};

impl MetalKeys {
    fn word(&self, given: &Given) -> Option<&'static Metal> {
        given.text(self.material).and_then(metal_of)
    }

    /// Expansion per kelvin: the typed figure goes before the word.
    fn expansion(&self, given: &Given) -> Result<f64, CalcError> {
        given
            .optional(self.expansion)
            .or(self.word(given).map(|metal| metal.expansion))
            .map(|millionths| millionths * 1e-6)
            .ok_or_else(|| given.missing(self.expansion))
    }

    /// Stiffness in megapascal and cross contraction; the latter is 0.3 when nothing says otherwise.
    fn elastic(&self, given: &Given) -> Result<(f64, f64), CalcError> {
        let word = self.word(given);
        let modulus = given
            .optional(self.modulus)
            .or(word.map(|metal| metal.modulus))
            .ok_or_else(|| given.missing(self.modulus))?;
        let poisson = given.optional(self.poisson).or(word.map(|metal| metal.poisson)).unwrap_or(0.3);
        Ok((modulus * 1000.0, poisson))
    }

    fn note(&self, given: &Given, computed: &mut Computed) {
        if let Some(metal) = self.word(given) {
            computed.note(format!(
                "{}: expansion {} µm/(m·K), stiffness {} GPa, cross contraction {}; {}; a typed figure goes before these",
                metal.word.replace('-', " "), metal.expansion, metal.modulus, metal.poisson, metal.source
            ));
        }
    }
}

/// How a joint of two rings gives: interference per pressure, and ring stress per pressure on both sides.
struct Joint {
    diameter: f64,
    /// Interference on the diameter per pressure, mm/MPa.
    give: f64,
    /// Ring stress of the outer part at the joint per pressure.
    outside: f64,
    /// Ring stress of the inner part at the joint per pressure, without sign.
    inside: f64,
}

impl Joint {
    /// Thick cylinders: the sizes in mm, the metals as stiffness in megapascal and cross contraction.
    fn new(diameter: f64, outer: f64, inner: f64, outside_metal: (f64, f64), inside_metal: (f64, f64)) -> Self {
        let outside = (outer * outer + diameter * diameter) / (outer * outer - diameter * diameter);
        let inside = (diameter * diameter + inner * inner) / (diameter * diameter - inner * inner);
        let strain = (outside + outside_metal.1) / outside_metal.0 + (inside - inside_metal.1) / inside_metal.0;
        Self { diameter, give: diameter * strain, outside, inside }
    }

    /// Force in kN that slides the joint at a pressure.
    fn force(&self, pressure: f64, length: f64, friction: f64) -> f64 {
        PI * self.diameter * length * pressure * friction / 1000.0
    }
}

fn ring_sizes(
    given: &Given,
    joint: f64,
    outer_key: &'static str,
    inner_key: &'static str,
) -> Result<(f64, f64), CalcError> {
    let (outer, inner) = (given.number(outer_key)?, given.number(inner_key)?);
    if outer <= joint {
        return Err(given.out_of_domain(outer_key, "is not larger than the joint; look for exchanged values"));
    }
    if inner >= joint {
        return Err(given.out_of_domain(inner_key, "is not smaller than the joint; look for exchanged values"));
    }
    Ok((outer, inner))
}

/// The pressure asked for, typed or as a force, none when neither was.
fn wanted_pressure(given: &Given, diameter: f64, length_key: &'static str) -> Result<Option<f64>, CalcError> {
    match (given.optional("wanted_pressure"), given.optional("wanted_force")) {
        (Some(_), Some(_)) => {
            Err(given
                .do_not_go_together("wanted_pressure and wanted_force were both given; give the one that is wanted"))
        }
        (Some(pressure), None) => Ok(Some(pressure)),
        (None, Some(force)) => {
            Ok(Some(force * 1000.0 / (PI * diameter * given.number(length_key)? * given.number("friction")?)))
        }
        (None, None) => Ok(None),
    }
}

const RING_NOTE: &str =
    "elastic and round all the way; a head round a seat is neither, so compare with it and promise nothing";

/// Press fit of two cylinders.
pub const PRESS_FIT: Calculator = Calculator {
    id: "press-fit",
    group: Group::Fits,
    name: "Press fit",
    meaning: "contact pressure, ring stress and push-out force of a press fit, or the interference that a pressure or a force needs",
    inputs: &[
        Input::number("diameter", Unit::MILLIMETRE, "diameter of the joint"),
        Input::number("outer_diameter", Unit::MILLIMETRE, "outside diameter of the outer part"),
        Input::number("inner_diameter", Unit::MILLIMETRE, "hole of the inner part, zero when solid")
            .or("0 mm")
            .within(Domain::NotNegative),
        Input::number("interference", Unit::MILLIMETRE, "interference on the diameter")
            .optional()
            .within(Domain::NotNegative),
        Input::number("wanted_pressure", Unit::MEGAPASCAL, "contact pressure wanted, instead of the interference")
            .optional(),
        Input::number("wanted_force", Unit::KILONEWTON, "force it must hold, instead of the interference").optional(),
        Input::choice("outer_material", "outer metal, instead of its figures", METAL_WORDS).optional(),
        Input::choice("inner_material", "inner metal, instead of its figures", METAL_WORDS).optional(),
        Input::number("outer_modulus", Unit::GIGAPASCAL, "stiffness of the outer metal").optional(),
        Input::number("inner_modulus", Unit::GIGAPASCAL, "stiffness of the inner metal").optional(),
        Input::number(
            "outer_poisson",
            Unit::ONE,
            "cross contraction of the outer metal, 0.3 when nothing says otherwise",
        )
        .optional()
        .within(Domain::Between(0.0, 0.5)),
        Input::number(
            "inner_poisson",
            Unit::ONE,
            "cross contraction of the inner metal, 0.3 when nothing says otherwise",
        )
        .optional()
        .within(Domain::Between(0.0, 0.5)),
        Input::number("length", Unit::MILLIMETRE, "length of the joint, for the force").optional(),
        Input::number("friction", Unit::ONE, "friction in the joint, for the force").optional(),
    ],
    outputs: &[
        Output::new("interference_wanted", Unit::MILLIMETRE, "interference on the diameter for what is wanted"),
        Output::new("pressure", Unit::MEGAPASCAL, "contact pressure"),
        Output::new("outer_hoop", Unit::MEGAPASCAL, "ring stress in the outer part at the joint, pulling"),
        Output::new("inner_hoop", Unit::MEGAPASCAL, "ring stress in the inner part at the joint, pressing is negative"),
        Output::new("force", Unit::KILONEWTON, "force to push it in or out"),
    ],
    workings: &[
        "outer_ring = (outer_diameter² + diameter²) / (outer_diameter² - diameter²)",
        "inner_ring = (diameter² + inner_diameter²) / (diameter² - inner_diameter²)",
        "give = diameter × ((outer_ring + outer_poisson) / outer_modulus + (inner_ring - inner_poisson) / inner_modulus) / 1000",
        "with interference: pressure = interference / give",
        "with wanted_pressure: pressure = wanted_pressure",
        "with wanted_force: pressure = 1000 × wanted_force / (pi × diameter × length × friction)",
        "without interference: interference_wanted = pressure × give",
        "outer_hoop = pressure × outer_ring",
        "inner_hoop = -pressure × inner_ring",
        "force = pi × diameter × length × pressure × friction / 1000",
        "a metal given by its word brings modulus and poisson; the notes name them",
    ],
    sources: &[
        "thick cylinders after Lame [published: Shigley's Mechanical Engineering Design, press and shrink fits]",
        "figures of metals by word: each answer names its source and tag",
    ],
    example: &[
        ("diameter", "36 mm"),
        ("outer_diameter", "60 mm"),
        ("inner_diameter", "30 mm"),
        ("interference", "0.13 mm"),
        ("outer_material", "aluminium-head"),
        ("inner_material", "sintered-seat"),
    ],
    cautions: &[
        "A check figure: the interference of a part of an engine, and how it is fitted, stands in the engine's own manual or on the part's paper.",
        "Pressing stores force: stand out of line of press and part, guard the eyes, and let nobody hold the part by hand.",
        HOT,
        COLD,
    ],
    formula: press_fit,
};

fn press_fit(given: &Given) -> Result<Computed, CalcError> {
    let diameter = given.number("diameter")?;
    let (outer, inner) = ring_sizes(given, diameter, "outer_diameter", "inner_diameter")?;
    let joint = Joint::new(diameter, outer, inner, OUTER.elastic(given)?, INNER.elastic(given)?);
    let mut computed = Computed::default();
    let pressure = match (given.optional("interference"), wanted_pressure(given, diameter, "length")?) {
        (Some(interference), None) => interference / joint.give,
        (None, Some(pressure)) => {
            computed.put("interference_wanted", pressure * joint.give);
            pressure
        }
        (Some(_), Some(_)) => {
            return Err(
                given.do_not_go_together("interference and a wanted pressure or force were both given; keep one")
            );
        }
        (None, None) => return Err(given.missing("interference")),
    };
    computed.put("pressure", pressure);
    computed.put("outer_hoop", pressure * joint.outside);
    computed.put("inner_hoop", -pressure * joint.inside);
    if let (Some(length), Some(friction)) = (given.optional("length"), given.optional("friction")) {
        computed.put("force", joint.force(pressure, length, friction));
    }
    computed.note(RING_NOTE);
    OUTER.note(given, &mut computed);
    INNER.note(given, &mut computed);
    Ok(computed)
}

/// What heat leaves of the interference of a valve-seat insert, and the heat and cold for fitting it.
pub const SEAT_FIT: Calculator = Calculator {
    id: "seat-fit",
    group: Group::Fits,
    name: "Seat insert with heat",
    meaning: "interference and hold left of a seat insert when hot, when it lets go, what a hold needs, and the heat and cold that let it slide in",
    inputs: &[
        Input::number("diameter", Unit::MILLIMETRE, "outside diameter of the insert"),
        Input::number("interference", Unit::MILLIMETRE, "interference on the diameter when cold")
            .optional()
            .within(Domain::NotNegative),
        Input::number(
            "wanted_pressure",
            Unit::MEGAPASCAL,
            "contact pressure wanted when hot, instead of the interference",
        )
        .optional(),
        Input::number("wanted_force", Unit::KILONEWTON, "push-out force wanted when hot, instead of the interference")
            .optional(),
        Input::choice("head_material", "metal of the head, instead of its figures", METAL_WORDS).optional(),
        Input::choice("seat_material", "metal of the insert, instead of its figures", METAL_WORDS).optional(),
        Input::number("head_expansion", Unit::MILLIONTH_PER_KELVIN, "expansion of the head metal").optional(),
        Input::number("seat_expansion", Unit::MILLIONTH_PER_KELVIN, "expansion of the insert metal")
            .optional()
            .within(Domain::NotNegative),
        Input::number("head_rise", Unit::KELVIN_DIFFERENCE, "how much warmer than the room the head is")
            .or("0 K")
            .within(Domain::Any),
        Input::number("seat_rise", Unit::KELVIN_DIFFERENCE, "how much warmer than the room the insert is")
            .or("0 K")
            .within(Domain::Any),
        Input::number(
            "boss_diameter",
            Unit::MILLIMETRE,
            "diameter of head metal that carries the insert, for the pressure",
        )
        .optional(),
        Input::number("seat_inner_diameter", Unit::MILLIMETRE, "hole of the insert, for the pressure").optional(),
        Input::number("head_modulus", Unit::GIGAPASCAL, "stiffness of the head metal").optional(),
        Input::number("seat_modulus", Unit::GIGAPASCAL, "stiffness of the insert metal").optional(),
        Input::number(
            "head_poisson",
            Unit::ONE,
            "cross contraction of the head metal, 0.3 when nothing says otherwise",
        )
        .optional()
        .within(Domain::Between(0.0, 0.5)),
        Input::number(
            "seat_poisson",
            Unit::ONE,
            "cross contraction of the insert metal, 0.3 when nothing says otherwise",
        )
        .optional()
        .within(Domain::Between(0.0, 0.5)),
        Input::number("depth", Unit::MILLIMETRE, "depth of the insert in the head, for the force").optional(),
        Input::number("friction", Unit::ONE, "friction between insert and head, for the force").optional(),
        Input::number("fitting_clearance", Unit::MILLIMETRE, "clearance wanted for sliding it in")
            .or("0 mm")
            .within(Domain::NotNegative),
        Input::number("room", Unit::CELSIUS, "temperature of the room, where the sizes were measured")
            .or("20 °C")
            .within(Domain::Any),
        Input::number("head_at", Unit::CELSIUS, "temperature the head is heated to for fitting")
            .optional()
            .within(Domain::Any),
        Input::number("seat_at", Unit::CELSIUS, "temperature the insert is cooled to for fitting")
            .optional()
            .within(Domain::Any),
    ],
    outputs: &[
        Output::new("interference_wanted", Unit::MILLIMETRE, "cold interference that leaves what is wanted when hot"),
        Output::new("left", Unit::MILLIMETRE, "interference left at these temperatures, negative when loose"),
        Output::new("lost", Unit::MILLIMETRE, "interference lost"),
        Output::new("lets_go_at", Unit::KELVIN_DIFFERENCE, "rise of head and insert together at which nothing is left"),
        Output::new("lets_go_temperature", Unit::CELSIUS, "that temperature, both alike"),
        Output::new("pressure_cold", Unit::MEGAPASCAL, "contact pressure at room temperature"),
        Output::new("pressure_hot", Unit::MEGAPASCAL, "contact pressure at these temperatures"),
        Output::new("head_hoop", Unit::MEGAPASCAL, "ring stress in the head at the insert, cold, pulling"),
        Output::new("seat_hoop", Unit::MEGAPASCAL, "ring stress in the insert, cold, pressing is negative"),
        Output::new("force_cold", Unit::KILONEWTON, "force to push it out, cold"),
        Output::new("force_hot", Unit::KILONEWTON, "force to push it out at these temperatures"),
        Output::new(
            "heat_to_fit",
            Unit::KELVIN_DIFFERENCE,
            "rise of the head alone that opens it by the interference and the clearance",
        ),
        Output::new(
            "head_temperature",
            Unit::CELSIUS,
            "temperature of the head for sliding in, the insert as cold as given, or at room temperature",
        ),
        Output::new(
            "seat_temperature",
            Unit::CELSIUS,
            "temperature of the insert for sliding in, the head as hot as given",
        ),
        Output::new(
            "clearance_when_fitting",
            Unit::MILLIMETRE,
            "clearance with both as given, negative is interference",
        ),
    ],
    workings: &[
        "lost = diameter × (head_expansion × head_rise - seat_expansion × seat_rise) / 1000000",
        "outer_ring = (boss_diameter² + diameter²) / (boss_diameter² - diameter²)",
        "inner_ring = (diameter² + seat_inner_diameter²) / (diameter² - seat_inner_diameter²)",
        "give = diameter × ((outer_ring + head_poisson) / head_modulus + (inner_ring - seat_poisson) / seat_modulus) / 1000",
        "with wanted_pressure: interference_wanted = wanted_pressure × give + lost",
        "with wanted_force: interference_wanted = 1000 × wanted_force / (pi × diameter × depth × friction) × give + lost",
        "interference = interference_wanted",
        "left = interference - lost",
        "lets_go_at = 1000000 × interference / (diameter × (head_expansion - seat_expansion))",
        "lets_go_temperature = room + lets_go_at",
        "pressure_cold = interference / give",
        "pressure_hot = max(0, left) / give",
        "head_hoop = pressure_cold × outer_ring",
        "seat_hoop = -pressure_cold × inner_ring",
        "force_cold = pi × diameter × depth × pressure_cold × friction / 1000",
        "force_hot = pi × diameter × depth × pressure_hot × friction / 1000",
        "heat_to_fit = 1000000 × (interference + fitting_clearance) / (head_expansion × diameter)",
        "with seat_at: shrunk = seat_expansion × diameter × (room - seat_at) / 1000000",
        "without seat_at: shrunk = 0",
        "opened = head_expansion × diameter × (head_at - room) / 1000000",
        "head_temperature = room + 1000000 × max(0, interference + fitting_clearance - shrunk) / (head_expansion × diameter)",
        "seat_temperature = room - 1000000 × max(0, interference + fitting_clearance - opened) / (seat_expansion × diameter)",
        "clearance_when_fitting = opened + shrunk - interference",
        "a metal given by its word brings expansion, modulus and poisson; the notes name them",
    ],
    sources: &[
        "linear expansion, worked out here",
        "thick cylinders after Lame [published: Shigley's Mechanical Engineering Design, press and shrink fits]",
        "figures of metals by word: each answer names its source and tag",
    ],
    example: &[
        ("diameter", "36 mm"),
        ("interference", "0.130 mm"),
        ("head_material", "aluminium-head"),
        ("seat_material", "sintered-seat"),
        ("head_rise", "180 K"),
        ("seat_rise", "180 K"),
        ("boss_diameter", "60 mm"),
        ("seat_inner_diameter", "30 mm"),
        ("fitting_clearance", "0.03 mm"),
        ("seat_at", "-78 °C"),
    ],
    cautions: &[
        "How much interference, and how hot the oven and how cold the insert may be, stands in the manual of engine or insert; these are check figures.",
        HOT,
        "An aged light-alloy head loses its temper when held hotter or longer than its maker allows; it then stays soft.",
        COLD,
        "Frost on a cold insert is water in the joint: wipe it and fit it at once, square, in one go.",
    ],
    formula: seat_fit,
};

fn seat_fit(given: &Given) -> Result<Computed, CalcError> {
    let diameter = given.number("diameter")?;
    let (head, seat) = (HEAD.expansion(given)?, SEAT.expansion(given)?);
    let lost = diameter * (head * given.number("head_rise")? - seat * given.number("seat_rise")?);
    let joint = match (given.optional("boss_diameter"), given.optional("seat_inner_diameter")) {
        (Some(_), Some(_)) => {
            let (outer, inner) = ring_sizes(given, diameter, "boss_diameter", "seat_inner_diameter")?;
            Some(Joint::new(diameter, outer, inner, HEAD.elastic(given)?, SEAT.elastic(given)?))
        }
        (None, None) => None,
        _ => {
            return Err(
                given.do_not_go_together("boss_diameter and seat_inner_diameter belong together; give both or none")
            );
        }
    };
    let mut computed = Computed::default();
    let interference = match (given.optional("interference"), wanted_pressure(given, diameter, "depth")?, &joint) {
        (Some(interference), None, _) => interference,
        (None, Some(pressure), Some(joint)) => {
            let wanted = pressure * joint.give + lost;
            computed.put("interference_wanted", wanted);
            wanted
        }
        (None, Some(_), None) => return Err(given.missing("boss_diameter")),
        (Some(_), Some(_), _) => {
            return Err(
                given.do_not_go_together("interference and a wanted pressure or force were both given; keep one")
            );
        }
        (None, None, _) => return Err(given.missing("interference")),
    };
    let left = interference - lost;
    computed.put("left", left);
    computed.put("lost", lost);
    if head > seat {
        let rise = interference / (diameter * (head - seat));
        computed.put("lets_go_at", rise);
        computed.put("lets_go_temperature", given.number("room")? + rise);
    } else {
        computed.note("the head grows no more than the insert: heat of both together does not loosen it");
    }
    if let Some(joint) = joint {
        hold(given, &joint, interference, left, &mut computed);
    }
    fitting(given, diameter, interference, (head, seat), &mut computed)?;
    HEAD.note(given, &mut computed);
    SEAT.note(given, &mut computed);
    Ok(computed)
}

/// Pressures, ring stresses and forces, cold and hot.
fn hold(given: &Given, joint: &Joint, interference: f64, left: f64, computed: &mut Computed) {
    let (cold, hot) = (interference / joint.give, left.max(0.0) / joint.give);
    computed.put("pressure_cold", cold);
    computed.put("pressure_hot", hot);
    computed.put("head_hoop", cold * joint.outside);
    computed.put("seat_hoop", -cold * joint.inside);
    if let (Some(depth), Some(friction)) = (given.optional("depth"), given.optional("friction")) {
        computed.put("force_cold", joint.force(cold, depth, friction));
        computed.put("force_hot", joint.force(hot, depth, friction));
    }
    computed.note(RING_NOTE);
    if given.optional("head_rise").is_some_and(|rise| rise != 0.0) {
        computed.note("stiffness is taken as at room temperature; hot light alloy gives some per cent more, so the hot hold is at most this");
    }
}

/// Temperatures that let the insert slide in.
fn fitting(
    given: &Given,
    diameter: f64,
    interference: f64,
    (head, seat): (f64, f64),
    computed: &mut Computed,
) -> Result<(), CalcError> {
    let room = given.number("room")?;
    let opening = interference + given.number("fitting_clearance")?;
    computed.put("heat_to_fit", opening / (head * diameter));
    let shrunk = given.optional("seat_at").map_or(0.0, |at| seat * diameter * (room - at));
    if shrunk < 0.0 {
        return Err(given.out_of_domain("seat_at", "is warmer than the room; an insert is cooled for fitting"));
    }
    let opened = given.optional("head_at").map_or(0.0, |at| head * diameter * (at - room));
    if opened < 0.0 {
        return Err(given.out_of_domain("head_at", "is colder than the room; a head is heated for fitting"));
    }
    computed.put("head_temperature", room + (opening - shrunk).max(0.0) / (head * diameter));
    if given.optional("head_at").is_some() {
        if seat > 0.0 {
            let cold = room - (opening - opened).max(0.0) / (seat * diameter);
            if cold > -273.15 {
                computed.put("seat_temperature", cold);
            } else {
                computed
                    .note("no cold is deep enough at this head temperature: heat the head more or press the insert");
            }
        }
        computed.put("clearance_when_fitting", opened + shrunk - interference);
    }
    Ok(())
}
