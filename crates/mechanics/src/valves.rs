//! Valve springs and lash.

use quantity::Unit;

use crate::catalogue::{Calculator, Computed, Domain, Group, Input, Output};
use crate::cautions::{BUILD_BY_THE_MANUAL, TURN_BY_HAND};

/// Spring rate and load after the seat has sunk.
pub const VALVE_SPRING: Calculator = Calculator {
    id: "valve-spring",
    group: Group::Valves,
    name: "Valve spring",
    meaning: "spring rate from two loads, the seat load after the seat was cut, and the shim that brings it back",
    inputs: &[
        Input::number("load_1", Unit::NEWTON, "load at the first height"),
        Input::number("height_1", Unit::MILLIMETRE, "first height, usually fitted and closed"),
        Input::number("load_2", Unit::NEWTON, "load at the second height"),
        Input::number("height_2", Unit::MILLIMETRE, "second height, usually open"),
        Input::number("sunk", Unit::MILLIMETRE, "how much deeper the valve sits, so how much longer the spring stands")
            .or("0 mm")
            .within(Domain::Any),
    ],
    outputs: &[
        Output::new("rate", Unit::NEWTON_PER_MILLIMETRE, "spring rate"),
        Output::new("seat_load", Unit::NEWTON, "load at the first height plus what the valve has sunk"),
        Output::new("change", Unit::PERCENT, "change of the seat load"),
        Output::new("shim", Unit::MILLIMETRE, "shim that brings the load back"),
    ],
    workings: &[
        "rate = (load_2 - load_1) / (height_1 - height_2)",
        "seat_load = load_1 - rate × sunk",
        "change = 100 × (seat_load / load_1 - 1)",
        "shim = sunk",
    ],
    sources: &["linear spring, worked out here"],
    example: &[
        ("load_1", "300 N"),
        ("height_1", "38.0 mm"),
        ("load_2", "700 N"),
        ("height_2", "28.5 mm"),
        ("sunk", "0.80 mm"),
    ],
    cautions: &[
        "A compressed spring flies when it slips: use a compressor that holds it, wear eye protection, keep the face out of its line.",
    ],
    formula: |given| {
        let (load_1, load_2) = (given.number("load_1")?, given.number("load_2")?);
        let (height_1, height_2) = (given.number("height_1")?, given.number("height_2")?);
        if (height_1 - height_2).abs() < 1e-9 {
            return Err(given.out_of_domain("height_2", "equals height_1; two different heights are needed for a rate"));
        }
        let rate = (load_2 - load_1) / (height_1 - height_2);
        if rate <= 0.0 {
            return Err(given.do_not_go_together(
                "the load falls as the spring is pressed together; look for exchanged loads or heights",
            ));
        }
        let sunk = given.number("sunk")?;
        let seat = load_1 - rate * sunk;
        let mut computed = Computed::default();
        computed.put("rate", rate);
        computed.put("seat_load", seat);
        computed.put("change", (seat / load_1 - 1.0) * 100.0);
        computed.put("shim", sunk);
        computed.note("after shimming look for room before the coils touch, at full lift");
        Ok(computed)
    },
};

/// Shim for a wanted lash.
pub const VALVE_LASH: Calculator = Calculator {
    id: "valve-lash",
    group: Group::Valves,
    name: "Valve lash",
    meaning: "shim that gives the wanted lash under a bucket",
    inputs: &[
        Input::number("shim", Unit::MILLIMETRE, "thickness of the shim now fitted"),
        Input::number("lash", Unit::MILLIMETRE, "lash measured").within(Domain::NotNegative),
        Input::number("wanted", Unit::MILLIMETRE, "lash wanted").within(Domain::NotNegative),
    ],
    outputs: &[Output::new("new_shim", Unit::MILLIMETRE, "thickness of the shim to fit")],
    workings: &["new_shim = shim + lash - wanted"],
    sources: &["geometry, worked out here: old shim plus lash measured less lash wanted"],
    example: &[("shim", "2.70 mm"), ("lash", "0.15 mm"), ("wanted", "0.20 mm")],
    cautions: &[BUILD_BY_THE_MANUAL, TURN_BY_HAND],
    formula: |given| {
        let new = given.number("shim")? + given.number("lash")? - given.number("wanted")?;
        if new <= 0.0 {
            return Err(given.do_not_go_together(
                "no shim is thin enough; the stem stands too high, look at the seat and the stem length",
            ));
        }
        let mut computed = Computed::default();
        computed.put("new_shim", new);
        if given.number("lash")? <= 0.0 {
            computed.note("a lash of zero may hide a valve held open; fit a thinner shim and measure again");
        }
        Ok(computed)
    },
};
