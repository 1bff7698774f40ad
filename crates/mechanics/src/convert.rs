//! One unit into another.

use quantity::Unit;

use crate::catalogue::{Calculator, Computed, Group, Input, Output};

/// One unit into another.
pub const UNIT: Calculator = Calculator {
    id: "unit",
    group: Group::Judging,
    name: "Unit",
    meaning: "a value in another unit of its kind, by exact factors",
    inputs: &[
        Input::any_number("value", "the value with its unit, such as 7 thou"),
        Input::text("to", "the unit wanted, such as mm"),
    ],
    outputs: &[Output::any("value", "the value in the unit wanted")],
    workings: &[
        "value is the number times the exact factor of its unit over that of the unit wanted; temperatures also shift by their zero",
    ],
    sources: &[
        "NIST Special Publication 811 (2008), appendix B [published]; inch = 25.4 mm and pound = 0.453 592 37 kg by definition",
    ],
    example: &[("value", "7 thou"), ("to", "mm")],
    cautions: &[],
    formula: |given| {
        let value = given.number("value")?;
        let from = given.unit("value");
        let to = given.text("to").ok_or_else(|| given.missing("to"))?;
        let alike = || Unit::of(from.dimension()).map(Unit::symbol).collect::<Vec<_>>().join(", ");
        let to = Unit::from_symbol(to).map_err(|_| {
            given.out_of_domain("to", format!("is no unit known here; units of {} are {}", from.dimension(), alike()))
        })?;
        // `20 °C` into a difference is a mistake, `10 °F` of difference is typed as Δ°F.
        let converted = from.convert(value, to).map_err(|_| {
            given.out_of_domain(
                "to",
                format!(
                    "is a unit of {}, the value is a {}; units of it are {}",
                    to.dimension(),
                    from.dimension(),
                    alike()
                ),
            )
        })?;
        let u = from
            .convert_difference(given.u("value"), to)
            .map_err(|error| given.do_not_go_together(error.to_string()))?;
        let mut computed = Computed::default();
        computed.lines.push(("value", converted, Some(to), u));
        Ok(computed)
    },
};
