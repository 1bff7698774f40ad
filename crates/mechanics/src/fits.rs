//! Press fits and what heat leaves of them.

use std::f64::consts::PI;

use quantity::Unit;

use crate::catalogue::{Calculator, Computed, Domain, Group, Input, Output};

/// Press fit of two cylinders.
pub const PRESS_FIT: Calculator = Calculator {
    id: "press-fit",
    group: Group::Fits,
    name: "Press fit",
    meaning: "contact pressure, ring stress and push-out force of a press fit",
    inputs: &[
        Input::number("diameter", Unit::MILLIMETRE, "diameter of the joint"),
        Input::number("outer_diameter", Unit::MILLIMETRE, "outside diameter of the outer part"),
        Input::number("inner_diameter", Unit::MILLIMETRE, "hole of the inner part, zero when solid")
            .or("0 mm")
            .within(Domain::NotNegative),
        Input::number("interference", Unit::MILLIMETRE, "interference on the diameter").within(Domain::NotNegative),
        Input::number("outer_modulus", Unit::GIGAPASCAL, "stiffness of the outer metal"),
        Input::number("inner_modulus", Unit::GIGAPASCAL, "stiffness of the inner metal"),
        Input::number("outer_poisson", Unit::ONE, "cross contraction of the outer metal")
            .or("0.3")
            .within(Domain::Between(0.0, 0.5)),
        Input::number("inner_poisson", Unit::ONE, "cross contraction of the inner metal")
            .or("0.3")
            .within(Domain::Between(0.0, 0.5)),
        Input::number("length", Unit::MILLIMETRE, "length of the joint, for the force").optional(),
        Input::number("friction", Unit::ONE, "friction in the joint, for the force").optional(),
    ],
    outputs: &[
        Output::new("pressure", Unit::MEGAPASCAL, "contact pressure"),
        Output::new("outer_hoop", Unit::MEGAPASCAL, "ring stress in the outer part at the joint, pulling"),
        Output::new("inner_hoop", Unit::MEGAPASCAL, "ring stress in the inner part at the joint, pressing is negative"),
        Output::new("force", Unit::KILONEWTON, "force to push it in or out"),
    ],
    sources: &[
        "thick cylinders after Lame [published: Shigley's Mechanical Engineering Design, press and shrink fits]",
    ],
    example: &[
        ("diameter", "36 mm"),
        ("outer_diameter", "60 mm"),
        ("inner_diameter", "30 mm"),
        ("interference", "0.13 mm"),
        ("outer_modulus", "71 GPa"),
        ("inner_modulus", "120 GPa"),
    ],
    cautions: &[],
    formula: |given| {
        let (joint, outer, inner) =
            (given.number("diameter")?, given.number("outer_diameter")?, given.number("inner_diameter")?);
        if outer <= joint {
            return Err(
                given.out_of_domain("outer_diameter", "is not larger than the joint; look for exchanged values")
            );
        }
        if inner >= joint {
            return Err(
                given.out_of_domain("inner_diameter", "is not smaller than the joint; look for exchanged values")
            );
        }
        let outside = (outer * outer + joint * joint) / (outer * outer - joint * joint);
        let inside = (joint * joint + inner * inner) / (joint * joint - inner * inner);
        let give = (outside + given.number("outer_poisson")?) / (given.number("outer_modulus")? * 1000.0)
            + (inside - given.number("inner_poisson")?) / (given.number("inner_modulus")? * 1000.0);
        let pressure = given.number("interference")? / (joint * give);
        let mut computed = Computed::default();
        computed.put("pressure", pressure);
        computed.put("outer_hoop", pressure * outside);
        computed.put("inner_hoop", -pressure * inside);
        if let (Some(length), Some(friction)) = (given.optional("length"), given.optional("friction")) {
            computed.put("force", PI * joint * length * pressure * friction / 1000.0);
        }
        computed.note(
            "elastic and round all the way; a head round a seat is neither, so compare with it and promise nothing",
        );
        Ok(computed)
    },
};

/// What heat leaves of the interference of a valve-seat insert.
pub const SEAT_FIT: Calculator = Calculator {
    id: "seat-fit",
    group: Group::Fits,
    name: "Seat insert with heat",
    meaning: "interference left of a seat insert when hot, when it lets go, and the heat that opens it for fitting",
    inputs: &[
        Input::number("diameter", Unit::MILLIMETRE, "outside diameter of the insert"),
        Input::number("interference", Unit::MILLIMETRE, "interference on the diameter when cold")
            .within(Domain::NotNegative),
        Input::number("head_expansion", Unit::MILLIONTH_PER_KELVIN, "expansion of the head metal"),
        Input::number("seat_expansion", Unit::MILLIONTH_PER_KELVIN, "expansion of the insert metal")
            .within(Domain::NotNegative),
        Input::number("head_rise", Unit::KELVIN_DIFFERENCE, "how much warmer than the room the head is")
            .or("0 K")
            .within(Domain::Any),
        Input::number("seat_rise", Unit::KELVIN_DIFFERENCE, "how much warmer than the room the insert is")
            .or("0 K")
            .within(Domain::Any),
        Input::number("fitting_clearance", Unit::MILLIMETRE, "clearance wanted for sliding it in")
            .or("0 mm")
            .within(Domain::NotNegative),
    ],
    outputs: &[
        Output::new("left", Unit::MILLIMETRE, "interference left at these temperatures, negative when loose"),
        Output::new("lost", Unit::MILLIMETRE, "interference lost"),
        Output::new("lets_go_at", Unit::KELVIN_DIFFERENCE, "rise of head and insert together at which nothing is left"),
        Output::new(
            "heat_to_fit",
            Unit::KELVIN_DIFFERENCE,
            "rise of the head alone that opens it by the interference and the clearance",
        ),
    ],
    sources: &["linear expansion, worked out here"],
    example: &[
        ("diameter", "36 mm"),
        ("interference", "0.130 mm"),
        ("head_expansion", "22 ppm/K"),
        ("seat_expansion", "12 ppm/K"),
        ("head_rise", "180 K"),
        ("seat_rise", "180 K"),
    ],
    cautions: &[],
    formula: |given| {
        let (diameter, interference) = (given.number("diameter")?, given.number("interference")?);
        let (head, seat) = (given.number("head_expansion")? * 1e-6, given.number("seat_expansion")? * 1e-6);
        let lost = diameter * (head * given.number("head_rise")? - seat * given.number("seat_rise")?);
        let mut computed = Computed::default();
        computed.put("left", interference - lost);
        computed.put("lost", lost);
        if head > seat {
            computed.put("lets_go_at", interference / (diameter * (head - seat)));
        } else {
            computed.note("the head grows no more than the insert: heat of both together does not loosen it");
        }
        computed.put("heat_to_fit", (interference + given.number("fitting_clearance")?) / (head * diameter));
        Ok(computed)
    },
};
