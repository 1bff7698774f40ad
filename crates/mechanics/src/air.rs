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

/// The mass flow of air through a component by its sonic conductance and critical pressure ratio, in kg/s.
///
/// # Units
/// Conductance in m³/(s Pa), absolute pressures in Pa, upstream temperature in K.
/// # Source
/// ISO 6358-1:2013, choked and subsonic flow, reference air 1.185 kg/m³ at 293.15 K \[published\].
#[must_use]
pub fn conductance_mass_flow(conductance: f64, critical: f64, upstream: f64, downstream: f64, temperature: f64) -> f64 {
    let choked = conductance * 1.185 * upstream * (293.15 / temperature).sqrt();
    let ratio = (downstream / upstream).min(1.0);
    if ratio <= critical {
        return choked;
    }
    let along = (ratio - critical) / (1.0 - critical);
    choked * (1.0 - along * along).max(0.0).sqrt()
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

/// A tester whose orifice is laid down: word, orifice in mm, supply in kPa.
type Tester = (&'static str, f64, f64);

const PSI: f64 = 6.894_757_293_168;

/// Testers by word.
///
/// Orifices [published: FAA AC 43.13-1B change 1, paragraph 8-14, as quoted in an FAA safety-team notice of November 2011:
/// 0.040 in for bores under 5 in, 0.060 in from 5 in, each 0.250 in long with a 60 degree approach]; the supply of 80 psi
/// [from-memory: same paragraph].
const TESTERS: &[Tester] =
    &[("bore-under-5-in", 0.040 * 25.4, 80.0 * PSI), ("bore-from-5-in", 0.060 * 25.4, 80.0 * PSI)];
/// The words of [`TESTERS`].
const TESTER_WORDS: &[&str] = &["bore-under-5-in", "bore-from-5-in"];

/// Leak-down per cent to the hole that would leak as much, and back.
pub const LEAK_DOWN: Calculator = Calculator {
    id: "leak-down",
    group: Group::Air,
    name: "Leak-down to hole size",
    meaning: "the round hole that would leak as much as the cylinder does, whatever the tester's orifice and pressure; or what a tester shows for a hole",
    inputs: &[
        Input::choice(
            "tester",
            "tester of the public advisory circular, by bore, instead of orifice and supply",
            TESTER_WORDS,
        )
        .optional(),
        Input::number("orifice", Unit::MILLIMETRE, "diameter of the tester's orifice").optional(),
        Input::number("supply", Unit::KILOPASCAL, "regulated gauge pressure before the orifice").optional(),
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
        Input::number(
            "hole",
            Unit::MILLIMETRE,
            "diameter of a round hole instead of a reading: what would the tester show",
        )
        .optional()
        .within(Domain::NotNegative),
        Input::number("atmosphere", Unit::KILOPASCAL, "air pressure around the engine, absolute").or("101.325 kPa"),
        Input::number("temperature", Unit::CELSIUS, "temperature of the air, the same before and after the orifice")
            .or("20 °C")
            .within(Domain::Any),
        Input::number("orifice_coefficient", Unit::ONE, "discharge coefficient of the orifice").or("1"),
        Input::number("leak_coefficient", Unit::ONE, "discharge coefficient taken for the leak").or("1"),
    ],
    outputs: &[
        Output::new("percent", Unit::PERCENT, "share of the supply pressure that is lost"),
        Output::new("cylinder_pressure", Unit::KILOPASCAL, "gauge pressure in the cylinder"),
        Output::new("leak_diameter", Unit::MILLIMETRE, "diameter of the round hole that leaks as much"),
        Output::new("leak_area", Unit::SQUARE_MILLIMETRE, "area of that hole"),
        Output::new("area_ratio", Unit::ONE, "that area over the area of the orifice"),
        Output::new(
            "free_air_flow",
            Unit::LITRE_PER_MINUTE,
            "air lost, at the pressure and temperature around the engine",
        ),
    ],
    workings: &[
        "with percent: cylinder_pressure = supply × (1 - percent / 100)",
        "with reading: cylinder_pressure = reading",
        "cylinder_pressure is, for a hole, where the flow in through the orifice equals the flow out through it",
        "percent = 100 × (1 - cylinder_pressure / supply)",
        "orifice_area = pi / 4 × orifice²",
        "ratio_in = max(0.528282, (cylinder_pressure + atmosphere) / (supply + atmosphere))",
        "ratio_out = max(0.528282, atmosphere / (cylinder_pressure + atmosphere))",
        "flow_in = sqrt(7 × (ratio_in^(2 / 1.4) - ratio_in^(2.4 / 1.4)))",
        "flow_out = sqrt(7 × (ratio_out^(2 / 1.4) - ratio_out^(2.4 / 1.4)))",
        "leak_area = orifice_area × orifice_coefficient / leak_coefficient × (supply + atmosphere) × flow_in / ((cylinder_pressure + atmosphere) × flow_out)",
        "leak_diameter = sqrt(4 × leak_area / pi)",
        "area_ratio = leak_area / orifice_area",
        "free_air_flow = 0.06 × orifice_area × orifice_coefficient × (supply + atmosphere) × flow_in × sqrt(287.05 × (temperature + 273.15)) / atmosphere",
        "tester brings orifice and supply",
    ],
    sources: &[
        "isentropic flow of air through two nozzles in a row, choked or not, equal mass flow [published: gas-dynamics texts]",
        "air: heat ratio 1.4, gas constant 287.05 J/(kg K) [published: U.S. Standard Atmosphere 1976]",
        "testers by bore: FAA AC 43.13-1B change 1, paragraph 8-14, as quoted in an FAA safety-team notice [published]; their 80 psi [from-memory]",
    ],
    example: &[("orifice", "0.040 in"), ("supply", "80 psi"), ("reading", "70 psi")],
    cautions: &[
        "Air in a cylinder can turn the engine with force: piston at its top, every other plug out, hands, hair and tools clear of fan, belts and flywheel, and a holder on the crank that cannot fly off.",
        "Open the air slowly, and let it off before the hose comes off; guard eyes and ears.",
    ],
    formula: leak_down,
};

/// Orifice in mm and supply in kPa: typed, or those of the tester.
fn tester(given: &Given) -> Result<(f64, f64), CalcError> {
    let preset = given.text("tester").and_then(|word| TESTERS.iter().find(|(known, _, _)| *known == word));
    match (preset, given.optional("orifice")) {
        (Some(_), Some(_)) => {
            Err(given.do_not_go_together("tester and orifice say the same thing twice; give one of them"))
        }
        (Some((_, orifice, supply)), None) => Ok((*orifice, given.optional("supply").unwrap_or(*supply))),
        (None, _) => Ok((given.number("orifice")?, given.number("supply")?)),
    }
}

/// Gauge pressure in the cylinder, in kPa, at which orifice and hole pass the same air: found by halving.
fn pressure_behind(effective_orifice: f64, effective_hole: f64, supply: f64, atmosphere: f64) -> f64 {
    let before = supply + atmosphere;
    // Flow in less flow out falls as the pressure rises.
    let surplus = |inside: f64| {
        effective_orifice * before * flow_function(inside / before, AIR_HEAT_RATIO)
            - effective_hole * inside * flow_function(atmosphere / inside, AIR_HEAT_RATIO)
    };
    let (mut low, mut high) = (atmosphere, before);
    for _ in 0..200 {
        let middle = f64::midpoint(low, high);
        if surplus(middle) > 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    f64::midpoint(low, high) - atmosphere
}

fn leak_down(given: &Given) -> Result<Computed, CalcError> {
    let (orifice, supply) = tester(given)?;
    let atmosphere = given.number("atmosphere")?;
    let orifice_area = std::f64::consts::PI / 4.0 * orifice * orifice;
    let effective = orifice_area * given.number("orifice_coefficient")?;
    let leak_coefficient = given.number("leak_coefficient")?;
    let (reading, key) = match (given.optional("reading"), given.optional("percent"), given.optional("hole")) {
        (Some(reading), None, None) => (reading, "reading"),
        (None, Some(percent), None) => (supply * (1.0 - percent / 100.0), "percent"),
        (None, None, Some(hole)) => {
            let hole = std::f64::consts::PI / 4.0 * hole * hole * leak_coefficient;
            (pressure_behind(effective, hole, supply, atmosphere), "hole")
        }
        (None, None, None) => return Err(given.missing("reading")),
        _ => {
            return Err(given
                .do_not_go_together("reading, percent and hole say the same thing in three ways; give one of them"));
        }
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
    let (before, inside) = (supply + atmosphere, reading + atmosphere);
    let kelvin = given.number("temperature")? + 273.15;
    let flow = orifice_mass_flow(effective * 1e-6, before * 1e3, inside * 1e3, kelvin);
    let per_area = orifice_mass_flow(1e-6, inside * 1e3, atmosphere * 1e3, kelvin);
    let leak_area = flow / per_area / leak_coefficient;
    let mut computed = Computed::default();
    computed.put("percent", 100.0 * (1.0 - reading / supply));
    computed.put("cylinder_pressure", reading);
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

/// Cylinders compared with one another, and the cranking pressure to be expected.
pub const CRANKING_PRESSURE: Calculator = Calculator {
    id: "cranking-pressure",
    group: Group::Air,
    name: "Cranking pressure",
    meaning: "cylinders compared with one another by their readings, and the span of gauge pressure to be expected when cranking with the throttle open",
    inputs: &[
        Input::readings(
            "readings",
            Unit::KILOPASCAL,
            "gauge readings of all cylinders in their sequence, such as 1210,1180,1195,940",
        )
        .optional(),
        Input::number(
            "compression_ratio",
            Unit::ONE,
            "compression ratio from volumes, for the pressure to be expected",
        )
        .optional()
        .within(Domain::Between(1.0, 100.0)),
        Input::number("intake_closing", Unit::DEGREE, "crank angle past the bottom at which the intake valve closes")
            .optional()
            .within(Domain::Between(0.0, 179.0)),
        Input::number("stroke", Unit::MILLIMETRE, "stroke, needed when the closing of the intake is told").optional(),
        Input::number(
            "rod",
            Unit::MILLIMETRE,
            "connecting rod length between centres, needed when the closing of the intake is told",
        )
        .optional(),
        Input::number("exponent", Unit::ONE, "exponent of the compression, for the middle of the span")
            .or("1.25")
            .within(Domain::Between(1.0, 1.67)),
        Input::number("exponent_low", Unit::ONE, "least exponent: cold engine, slow cranking, leaks")
            .or("1.20")
            .within(Domain::Between(1.0, 1.67)),
        Input::number("exponent_high", Unit::ONE, "greatest exponent: warm engine, fast cranking")
            .or("1.30")
            .within(Domain::Between(1.0, 1.67)),
        Input::number("air_pressure", Unit::KILOPASCAL, "air pressure around the engine, absolute").optional(),
        Input::number("height", Unit::METRE, "height of the shop above the sea, instead of the air pressure")
            .optional()
            .within(Domain::Between(-500.0, 11_019.0)),
    ],
    outputs: &[
        Output::new(
            "lowest_to_highest",
            Unit::PERCENT,
            "lowest reading over the highest: needs no figure from outside",
        ),
        Output::new("lowest_to_mean", Unit::PERCENT, "lowest reading over the mean of the others"),
        Output::new("lowest_cylinder", Unit::ONE, "place of the lowest reading in the sequence typed"),
        Output::new("gauge_low", Unit::KILOPASCAL, "lower end of what a gauge may show"),
        Output::new("gauge_pressure", Unit::KILOPASCAL, "middle of what a gauge may show"),
        Output::new("gauge_high", Unit::KILOPASCAL, "upper end of what a gauge may show"),
        Output::new("effective_ratio", Unit::ONE, "ratio from intake closing to the top"),
        Output::new("absolute_pressure", Unit::KILOPASCAL, "pressure at the top, absolute, in the middle of the span"),
        Output::new("air_pressure", Unit::KILOPASCAL, "air pressure around the engine, absolute"),
    ],
    workings: &[
        "lowest_to_highest is 100 times the lowest reading over the highest",
        "lowest_to_mean is 100 times the lowest reading over the mean of the others",
        "lowest_cylinder is the place of the lowest reading",
        "with air_pressure: air_pressure is that given",
        "with height: air_pressure is that of altitude-pressure for the height; else 101.325 kPa",
        "travel = stroke / 2 × (1 - cos(180 - intake_closing)) + rod × (1 - sqrt(1 - (stroke / 2 / rod × sin(180 - intake_closing))²))",
        "with intake_closing: effective_ratio = 1 + (compression_ratio - 1) × travel / stroke",
        "without intake_closing: effective_ratio = compression_ratio",
        "gauge_low = air_pressure × effective_ratio^min(exponent_low, exponent) - air_pressure",
        "gauge_pressure = air_pressure × effective_ratio^exponent - air_pressure",
        "gauge_high = air_pressure × effective_ratio^max(exponent_high, exponent) - air_pressure",
        "absolute_pressure = gauge_pressure + air_pressure",
    ],
    sources: &[
        "polytropic compression and slider-crank geometry, worked out here",
        "exponent between 1.2 and 1.3 when cranking [common-practice]",
        "U.S. Standard Atmosphere 1976, for the height [published]",
    ],
    example: &[
        ("readings", "1210,1180,1195,940"),
        ("compression_ratio", "9.98"),
        ("intake_closing", "50 deg"),
        ("stroke", "86 mm"),
        ("rod", "134 mm"),
        ("height", "400 m"),
    ],
    cautions: &[
        "Cranking turns everything: fuel and ignition off as the manual says, hands and tools clear of fan and belts, no flame near the plug holes.",
        "On a diesel shut the fuel off as the manual says and never spray starting fluid: injected or sprayed fuel fires, and a line of injection pressure that is open cuts skin.",
    ],
    formula: cranking_pressure,
};

fn cranking_pressure(given: &Given) -> Result<Computed, CalcError> {
    let readings: Vec<f64> = given.table("readings").iter().flatten().copied().collect();
    let mut computed = Computed::default();
    if !readings.is_empty() {
        compare(given, &readings, &mut computed)?;
    }
    let Some(ratio) = given.optional("compression_ratio") else {
        if readings.is_empty() {
            return Err(given.missing("readings"));
        }
        return Ok(computed);
    };
    let effective = match given.optional("intake_closing") {
        None => {
            computed.note("without intake_closing the whole stroke was taken, which is too much; add intake_closing, stroke and rod");
            ratio
        }
        Some(closing) => {
            let (stroke, rod) = (given.number("stroke")?, given.number("rod")?);
            if rod <= stroke / 2.0 {
                return Err(given.out_of_domain("rod", "is not longer than half the stroke; look for exchanged values"));
            }
            1.0 + (ratio - 1.0) * piston_travel(stroke, rod, 180.0 - closing) / stroke
        }
    };
    let (low, high) = (given.number("exponent_low")?, given.number("exponent_high")?);
    if low > high {
        return Err(given.out_of_domain("exponent_low", "is above exponent_high; look for exchanged values"));
    }
    let air = match (given.optional("air_pressure"), given.optional("height")) {
        (Some(_), Some(_)) => {
            return Err(given.do_not_go_together("air_pressure and height say the same thing twice; give one of them"));
        }
        (Some(air), None) => air,
        (None, Some(height)) => standard_pressure(geopotential(height)) / 1000.0,
        (None, None) => {
            computed.note("neither air_pressure nor height was given: 101.325 kPa taken, as at the sea");
            101.325
        }
    };
    let middle = given.number("exponent")?;
    let gauge = |exponent: f64| air * effective.powf(exponent) - air;
    let span = (gauge(low.min(middle)), gauge(high.max(middle)));
    computed.put("gauge_low", span.0);
    computed.put("gauge_pressure", gauge(middle));
    computed.put("gauge_high", span.1);
    computed.put("effective_ratio", effective);
    computed.put("absolute_pressure", gauge(middle) + air);
    computed.put("air_pressure", air);
    computed.note("the span is that of the exponent alone; gauge, hose, throttle and cranking speed come on top, cylinders compared with one another need none of it");
    if let Some(highest) = readings.iter().copied().reduce(f64::max) {
        computed.note(if highest < span.0 {
            "the best cylinder reads below the span: look at throttle, cranking speed, gauge and valve timing before the cylinders"
        } else if highest > span.1 {
            "the best cylinder reads above the span: look at ratio, gauge, deposits and oil in the cylinder"
        } else {
            "the best cylinder reads within the span"
        });
    }
    Ok(computed)
}

/// The cylinders against one another.
fn compare(given: &Given, readings: &[f64], computed: &mut Computed) -> Result<(), CalcError> {
    if readings.len() < 2 {
        return Err(given.do_not_go_together("one reading compares with nothing; give the readings of all cylinders"));
    }
    if let Some(bad) = readings.iter().find(|reading| **reading < 0.0) {
        return Err(
            given.do_not_go_together(format!("a reading of {bad} kPa is below zero; look for a mistyped value"))
        );
    }
    let highest = readings.iter().copied().fold(0.0, f64::max);
    let (place, lowest) =
        (1_u32..).zip(readings.iter().copied()).min_by(|a, b| a.1.total_cmp(&b.1)).unwrap_or((1, 0.0));
    if highest <= 0.0 {
        return Err(
            given.do_not_go_together("no cylinder reads any pressure; look at gauge, hose and valve timing first")
        );
    }
    let others = (1_u32..).zip(readings).filter(|(other, _)| *other != place);
    let (sum, count) = others.fold((0.0, 0.0), |(sum, count), (_, reading)| (sum + reading, count + 1.0));
    computed.put("lowest_to_highest", 100.0 * lowest / highest);
    computed.put("lowest_to_mean", 100.0 * lowest * count / sum);
    computed.put("lowest_cylinder", f64::from(place));
    computed.note("compare the cylinders first: one gauge, one engine, one battery; the limit of the difference stands in the engine's manual");
    Ok(())
}

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
    workings: &[
        "geopotential_height = 6356766 × height / (6356766 + height)",
        "pressure = 101.325 × (1 - 0.0065 × geopotential_height / 288.15)^5.25588",
        "share = 100 × pressure / 101.325",
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
