//! Cranking pressure, air pressure at height, and leak-down to hole size.

use quantity::Unit;

use crate::catalogue::{Calculator, Computed, Domain, Group, Input, Output};
use crate::error::CalcError;
use crate::given::Given;

/// Specific gas constant of dry air, J/(kg K) [published: U.S. Standard Atmosphere 1976, 287.053; gas tables round to 287.05].
pub const AIR_GAS_CONSTANT: f64 = 287.05;
/// Ratio of specific heats of air [published: gas tables].
pub const AIR_HEAT_RATIO: f64 = 1.4;

/// The pressure ratio below which flow through a nozzle no longer grows.
///
/// # Source
/// Isentropic flow, `(2/(k+1))^(k/(k-1))` \[published: gas-dynamics texts\].
#[must_use]
pub fn critical_pressure_ratio(heat_ratio: f64) -> f64 {
    (2.0 / (heat_ratio + 1.0)).powf(heat_ratio / (heat_ratio - 1.0))
}

/// The flow function of a nozzle for a ratio of downstream to upstream absolute pressure, choked or not.
///
/// # Source
/// Isentropic flow of a perfect gas \[published: gas-dynamics texts\].
#[must_use]
pub fn flow_function(pressure_ratio: f64, heat_ratio: f64) -> f64 {
    let k = heat_ratio;
    let ratio = pressure_ratio.clamp(critical_pressure_ratio(k), 1.0);
    (2.0 * k / (k - 1.0) * (ratio.powf(2.0 / k) - ratio.powf((k + 1.0) / k))).max(0.0).sqrt()
}

/// The mass flow of air through an orifice, in kg/s.
///
/// # Units
/// Effective area (area times discharge coefficient) in m², absolute pressures in Pa, upstream temperature in K.
#[must_use]
pub fn orifice_mass_flow(effective_area: f64, upstream: f64, downstream: f64, temperature: f64) -> f64 {
    effective_area * upstream * flow_function(downstream / upstream, AIR_HEAT_RATIO)
        / (AIR_GAS_CONSTANT * temperature).sqrt()
}

/// The piston's distance from its top at a crank angle from the top, in the unit of stroke and rod.
#[must_use]
pub fn piston_travel(stroke: f64, rod: f64, degrees_from_top: f64) -> f64 {
    let throw = stroke / 2.0;
    let angle = degrees_from_top.to_radians();
    let lean = throw / rod * angle.sin();
    throw * (1.0 - angle.cos()) + rod * (1.0 - (1.0 - lean * lean).sqrt())
}

/// The air pressure of the U.S. Standard Atmosphere 1976 at a geopotential height up to 11 km, in Pa from m.
///
/// # Source
/// U.S. Standard Atmosphere 1976, lowest layer \[published\].
#[must_use]
pub fn standard_pressure(geopotential_height: f64) -> f64 {
    101_325.0 * (1.0 - 0.0065 * geopotential_height / 288.15).powf(5.255_88)
}

/// The geopotential height for a geometric height, both in m.
///
/// # Source
/// U.S. Standard Atmosphere 1976, earth radius 6 356 766 m \[published\].
#[must_use]
pub fn geopotential(geometric_height: f64) -> f64 {
    const EARTH: f64 = 6_356_766.0;
    geometric_height * EARTH / (EARTH + geometric_height)
}

/// Leak-down per cent to the hole that would leak as much.
pub const LEAK_DOWN: Calculator = Calculator {
    id: "leak-down",
    group: Group::Air,
    name: "Leak-down to hole size",
    meaning: "the round hole that would leak as much as the cylinder does, whatever the tester's orifice and pressure",
    inputs: &[
        Input::number("orifice", Unit::MILLIMETRE, "diameter of the tester's orifice"),
        Input::number("supply", Unit::KILOPASCAL, "regulated gauge pressure before the orifice"),
        Input::number("reading", Unit::KILOPASCAL, "gauge pressure in the cylinder")
            .optional()
            .within(Domain::NotNegative),
        Input::number(
            "percent",
            Unit::PERCENT,
            "leak-down reading instead of the pressure: share of the supply pressure that is lost",
        )
        .optional()
        .within(Domain::Between(0.0, 100.0)),
        Input::number("atmosphere", Unit::KILOPASCAL, "air pressure around the engine, absolute").or("101.325 kPa"),
        Input::number("temperature", Unit::CELSIUS, "temperature of the air, the same before and after the orifice")
            .or("20 °C")
            .within(Domain::Any),
        Input::number("orifice_coefficient", Unit::ONE, "discharge coefficient of the orifice").or("1"),
        Input::number("leak_coefficient", Unit::ONE, "discharge coefficient taken for the leak").or("1"),
    ],
    outputs: &[
        Output::new("percent", Unit::PERCENT, "share of the supply pressure that is lost"),
        Output::new("leak_diameter", Unit::MILLIMETRE, "diameter of the round hole that leaks as much"),
        Output::new("leak_area", Unit::SQUARE_MILLIMETRE, "area of that hole"),
        Output::new("area_ratio", Unit::ONE, "that area over the area of the orifice"),
        Output::new(
            "free_air_flow",
            Unit::LITRE_PER_MINUTE,
            "air lost, at the pressure and temperature around the engine",
        ),
    ],
    sources: &[
        "isentropic flow of air through two nozzles in a row, choked or not, equal mass flow [published: gas-dynamics texts]",
        "air: heat ratio 1.4, gas constant 287.05 J/(kg K) [published: U.S. Standard Atmosphere 1976]",
    ],
    example: &[("orifice", "0.040 in"), ("supply", "80 psi"), ("reading", "70 psi")],
    cautions: &[],
    formula: leak_down,
};

fn leak_down(given: &Given) -> Result<Computed, CalcError> {
    let supply = given.number("supply")?;
    let (reading, key) = match (given.optional("reading"), given.optional("percent")) {
        (Some(reading), None) => (reading, "reading"),
        (None, Some(percent)) => (supply * (1.0 - percent / 100.0), "percent"),
        (Some(_), Some(_)) => {
            return Err(given.do_not_go_together("reading and percent say the same thing twice; give one of them"));
        }
        (None, None) => return Err(given.missing("reading")),
    };
    if reading > supply {
        return Err(
            given.out_of_domain(key, "is above the supply pressure; look whether the two gauges were exchanged")
        );
    }
    if reading <= 0.0 {
        return Err(given.out_of_domain(
            key,
            "leaves no pressure in the cylinder: the leak is larger than this tester can measure; fit a larger orifice",
        ));
    }
    let atmosphere = given.number("atmosphere")?;
    let (before, inside) = (supply + atmosphere, reading + atmosphere);
    let orifice = given.number("orifice")?;
    let orifice_area = std::f64::consts::PI / 4.0 * orifice * orifice;
    let effective = orifice_area * given.number("orifice_coefficient")?;
    let kelvin = given.number("temperature")? + 273.15;
    let flow = orifice_mass_flow(effective * 1e-6, before * 1e3, inside * 1e3, kelvin);
    let per_area = orifice_mass_flow(1e-6, inside * 1e3, atmosphere * 1e3, kelvin);
    let leak_area = flow / per_area / given.number("leak_coefficient")?;
    let mut computed = Computed::default();
    computed.put("percent", 100.0 * (1.0 - reading / supply));
    computed.put("leak_diameter", (4.0 * leak_area / std::f64::consts::PI).sqrt());
    computed.put("leak_area", leak_area);
    computed.put("area_ratio", leak_area / orifice_area);
    computed.put("free_air_flow", flow * AIR_GAS_CONSTANT * kelvin / (atmosphere * 1e3) * 1000.0 * 60.0);
    let critical = critical_pressure_ratio(AIR_HEAT_RATIO);
    computed.note(if inside / before < critical { "the orifice is choked" } else { "the orifice is not choked" });
    computed.note(if atmosphere / inside < critical { "the leak is choked" } else { "the leak is not choked" });
    computed.note("a per cent without the tester's orifice and pressure is no measurement; the hole size is");
    Ok(computed)
}

/// Cranking pressure to be expected.
pub const CRANKING_PRESSURE: Calculator = Calculator {
    id: "cranking-pressure",
    group: Group::Air,
    name: "Cranking pressure",
    meaning: "gauge pressure to be expected when cranking with the throttle open",
    inputs: &[
        Input::number("compression_ratio", Unit::ONE, "compression ratio from volumes")
            .within(Domain::Between(1.0, 100.0)),
        Input::number("intake_closing", Unit::DEGREE, "crank angle past the bottom at which the intake valve closes")
            .optional()
            .within(Domain::Between(0.0, 179.0)),
        Input::number("stroke", Unit::MILLIMETRE, "piston travel, needed with intake_closing").optional(),
        Input::number("rod", Unit::MILLIMETRE, "connecting rod length between centres, needed with intake_closing")
            .optional(),
        Input::number(
            "exponent",
            Unit::ONE,
            "exponent of the compression; cold slow cranking lies between 1.2 and 1.3",
        )
        .or("1.25")
        .within(Domain::Between(1.0, 1.67)),
        Input::number("air_pressure", Unit::KILOPASCAL, "air pressure around the engine, absolute").or("101.325 kPa"),
    ],
    outputs: &[
        Output::new("effective_ratio", Unit::ONE, "ratio from intake closing to the top"),
        Output::new("absolute_pressure", Unit::KILOPASCAL, "pressure at the top, absolute"),
        Output::new("gauge_pressure", Unit::KILOPASCAL, "pressure at the top as a gauge shows it"),
    ],
    sources: &[
        "polytropic compression and slider-crank geometry, worked out here",
        "exponent between 1.2 and 1.3 when cranking [common-practice]",
    ],
    example: &[("compression_ratio", "9.98"), ("intake_closing", "50 deg"), ("stroke", "86 mm"), ("rod", "134 mm")],
    cautions: &[],
    formula: |given| {
        let ratio = given.number("compression_ratio")?;
        let effective = match given.optional("intake_closing") {
            None => ratio,
            Some(closing) => {
                let stroke = given.number("stroke")?;
                let rod = given.number("rod")?;
                if rod <= stroke / 2.0 {
                    return Err(
                        given.out_of_domain("rod", "is not longer than half the stroke; look for exchanged values")
                    );
                }
                1.0 + (ratio - 1.0) * piston_travel(stroke, rod, 180.0 - closing) / stroke
            }
        };
        let air = given.number("air_pressure")?;
        let top = air * effective.powf(given.number("exponent")?);
        let mut computed = Computed::default();
        computed.put("effective_ratio", effective);
        computed.put("absolute_pressure", top);
        computed.put("gauge_pressure", top - air);
        computed.note("the figure itself is doubtful by about a tenth, mostly through the exponent; cylinders compared with one another are not");
        Ok(computed)
    },
};

/// Air pressure at height.
pub const ALTITUDE_PRESSURE: Calculator = Calculator {
    id: "altitude-pressure",
    group: Group::Air,
    name: "Air pressure at height",
    meaning: "standard air pressure at a height above the sea, and how much lower than at the sea",
    inputs: &[
        Input::number("height", Unit::METRE, "height above the sea as on a map")
            .optional()
            .within(Domain::Between(-500.0, 11_019.0)),
        Input::number("geopotential_height", Unit::METRE, "height as an altimeter shows it, instead of height")
            .optional()
            .within(Domain::Between(-500.0, 11_000.0)),
    ],
    outputs: &[
        Output::new("pressure", Unit::KILOPASCAL, "standard air pressure, absolute"),
        Output::new("share", Unit::PERCENT, "of the pressure at the sea"),
    ],
    sources: &["U.S. Standard Atmosphere 1976, lowest layer, 0 to 11 km [published]"],
    example: &[("height", "1500 m")],
    cautions: &[],
    formula: |given| {
        let height = match (given.optional("height"), given.optional("geopotential_height")) {
            (Some(height), None) => geopotential(height),
            (None, Some(height)) => height,
            (Some(_), Some(_)) => return Err(given.do_not_go_together("two heights were given; keep one of them")),
            (None, None) => return Err(given.missing("height")),
        };
        let pressure = standard_pressure(height);
        let mut computed = Computed::default();
        computed.put("pressure", pressure / 1000.0);
        computed.put("share", pressure / 101_325.0 * 100.0);
        computed.note("weather moves the pressure by some per cent; a barometer beats this figure");
        Ok(computed)
    },
};
