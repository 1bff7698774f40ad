//! The chance of keeping a limit, and the verdict drawn from it.

use quantity::{Risks, Unit, Zone, conformity_factor, decide, guard_band};

use crate::catalogue::{Calculator, Computed, Domain, Group, Input, Output};
use crate::error::CalcError;
use crate::given::Given;

/// Chance of keeping a limit.
pub const CONFORMITY: Calculator = Calculator {
    id: "conformity",
    group: Group::Judging,
    name: "Conformity",
    meaning: "chance that a value keeps its limits, the guard band that makes it sure enough, and the verdict",
    inputs: &[
        Input::any_number("value", "the value read, with its standard uncertainty if known, such as 86.018mm±0.004mm"),
        Input::any_number("u", "standard uncertainty, when not typed with the value")
            .optional()
            .within(Domain::NotNegative),
        Input::any_number("lower", "keep edge below").optional(),
        Input::any_number("upper", "keep edge above").optional(),
        Input::any_number("reject_lower", "reject edge below, further out than lower").optional(),
        Input::any_number("reject_upper", "reject edge above, further out than upper").optional(),
        Input::number("risk", Unit::PERCENT, "chance of a wrong verdict that is put up with, either way")
            .or("5 %")
            .within(Domain::Between(0.000_001, 50.0)),
    ],
    outputs: &[
        Output::new("probability_inside", Unit::ONE, "chance of being inside the keep edges"),
        Output::new("probability_between", Unit::ONE, "chance of lying between keep edge and reject edge"),
        Output::new("probability_outside", Unit::ONE, "chance of being beyond a reject edge"),
        Output::any("guard_band", "margin that makes an accepted value keep one limit with the wanted chance"),
        Output::any("accept_from", "smallest value to accept without question"),
        Output::any("accept_to", "largest value to accept without question"),
        Output::new(
            "distance",
            Unit::ONE,
            "distance to the nearest keep edge in standard uncertainties, negative outside",
        ),
    ],
    sources: &[
        "JCGM 106:2012, sections 7 and 8 [published]; the four verdicts are this project's own, their rule is in the notes",
    ],
    example: &[("value", "86.018 mm ± 0.004 mm"), ("lower", "86.000 mm"), ("upper", "86.022 mm")],
    cautions: &[],
    formula: conformity,
};

fn conformity(given: &Given) -> Result<Computed, CalcError> {
    let value = given.number("value")?;
    let unit = given.unit("value");
    let u = match (given.optional("u"), given.u("value")) {
        (Some(_), typed) if typed > 0.0 => {
            return Err(
                given.do_not_go_together("the uncertainty was given twice, with the value and as u; keep one of them")
            );
        }
        (Some(u), _) => u,
        (None, typed) => typed,
    };
    let (lower, upper) = (given.optional("lower"), given.optional("upper"));
    if lower.is_none() && upper.is_none() {
        return Err(given.missing("upper"));
    }
    let zone = Zone::new(given.optional("reject_lower"), lower, upper, given.optional("reject_upper"))
        .map_err(|error| given.do_not_go_together(error.to_string()))?;
    let risk = given.number("risk")? / 100.0;
    let risks = Risks::new(risk, risk).map_err(|error| given.out_of_domain("risk", error.to_string()))?;
    let decision = decide(value, u, &zone, risks).map_err(|error| given.do_not_go_together(error.to_string()))?;
    let guard = guard_band(u, 1.0 - risk).map_err(|error| given.do_not_go_together(error.to_string()))?;
    let mut computed = Computed::default();
    computed.put("probability_inside", decision.p_inside);
    computed.put("probability_between", decision.p_between);
    computed.put("probability_outside", decision.p_outside);
    computed.put_in("guard_band", guard, unit.difference_unit());
    if let Some(lower) = lower {
        computed.put_in("accept_from", lower + guard, unit);
    }
    if let Some(upper) = upper {
        computed.put_in("accept_to", upper - guard, unit);
    }
    if u > 0.0 {
        let to_upper = upper.map(|edge| (edge - value) / u);
        let to_lower = lower.map(|edge| (value - edge) / u);
        let nearest = to_upper.into_iter().chain(to_lower).fold(f64::INFINITY, f64::min);
        computed.put("distance", nearest);
        if let (Some(lower), Some(upper)) = (lower, upper)
            && lower + guard > upper - guard
        {
            computed.note("the guard bands meet: no value read with this gauge can be accepted without question; take a better gauge or more readings");
        }
    } else {
        computed.note("no uncertainty was given, so the value was taken as exact; a gauge always has some");
    }
    computed.note(format!("verdict: {}", decision.verdict.words()));
    let factor = conformity_factor(1.0 - risk).map_err(|error| given.out_of_domain("risk", error.to_string()))?;
    computed.note(format!(
        "rule: inside when the chance of not keeping the keep edges is at most {:.3} % ({factor:.3} u from a single edge), outside when the chance of being usable is at most that, usable by judgement when it is surely not beyond a reject edge, else this gauge cannot tell",
        risk * 100.0
    ));
    Ok(computed)
}
