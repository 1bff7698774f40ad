//! The chance of keeping a limit, and the verdict drawn from it.

use quantity::{
    Risks, Unit, Verdict, Zone, conformity_factor, decide, gauge_that_settles, global_risks, guard_band,
    repeats_that_settle, with_process,
};

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
        Input::any_number(
            "repeatability",
            "the part of u that repeating the reading divides; the rest all repeats share",
        )
        .optional()
        .within(Domain::NotNegative),
        Input::any_number("process_mean", "mean of true values of such parts, where it is known").optional(),
        Input::any_number("process_spread", "standard deviation of true values of such parts")
            .optional()
            .within(Domain::Positive),
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
        Output::any("gauge_that_settles", "largest standard uncertainty with which this value would be settled"),
        Output::new(
            "repeats_that_settle",
            Unit::PIECE,
            "how many readings would settle it, when their mean stays where it is",
        ),
        Output::any("value_with_process", "the value, pulled towards what the process is known to make"),
        Output::any("u_with_process", "its standard uncertainty"),
        Output::new(
            "consumer_risk",
            Unit::ONE,
            "part of all such parts that is accepted although bad, without guard band",
        ),
        Output::new(
            "producer_risk",
            Unit::ONE,
            "part of all such parts that is refused although good, without guard band",
        ),
        Output::new("consumer_risk_guarded", Unit::ONE, "the same with the guard band"),
        Output::new("producer_risk_guarded", Unit::ONE, "the same with the guard band"),
    ],
    workings: &[
        "probability_inside is the normal chance, with mean value and spread u, of lying between lower and upper",
        "probability_between is the same between a keep edge and its reject edge",
        "probability_outside is the same beyond a reject edge, or beyond a keep edge that has none",
        "guard_band is u times the point of the normal law that is passed with the chance risk",
        "accept_from = lower + guard_band",
        "accept_to = upper - guard_band",
        "distance is the lesser of (upper - value) / u and (value - lower) / u",
        "gauge_that_settles is the largest u with which the verdict is another than cannot tell",
        "repeats_that_settle is the least count n for which the root of (u² - repeatability²) + repeatability² / n settles it",
        "weight = process_spread² / (process_spread² + u²)",
        "value_with_process = weight × value + (1 - weight) × process_mean",
        "u_with_process = u × sqrt(weight)",
        "consumer_risk is the chance, over all parts of the process, that the true value is bad and the reading good",
        "producer_risk is the chance that the true value is good and the reading bad",
        "consumer_risk_guarded is the same as consumer_risk with the limits drawn in by guard_band",
        "producer_risk_guarded is the same as producer_risk with the limits drawn in by guard_band",
    ],
    sources: &[
        "JCGM 106:2012, sections 7, 8 and 9.5 [published]; the four verdicts are this project's own, their rule is in the notes",
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
    let refused = |error: quantity::DecisionError| given.do_not_go_together(error.to_string());
    let process = match (given.optional("process_mean"), given.optional("process_spread")) {
        (Some(mean), Some(spread)) => Some((mean, spread)),
        (Some(_), None) => return Err(given.missing("process_spread")),
        (None, Some(_)) => return Err(given.missing("process_mean")),
        (None, None) => None,
    };
    let (judged, u_judged) = match process {
        Some(process) => with_process(value, u, process).map_err(refused)?,
        None => (value, u),
    };
    let decision = decide(judged, u_judged, &zone, risks).map_err(refused)?;
    let guard = guard_band(u, 1.0 - risk).map_err(refused)?;
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
    settling(given, (value, u), &zone, risks, &mut computed)?;
    if let Some(process) = process {
        computed.put_in("value_with_process", judged, unit);
        computed.put_in("u_with_process", u_judged, unit.difference_unit());
        computed.note(
            "the chances count what the process is known to make; without it leave process_mean and process_spread out",
        );
        of_the_process(given, process, u, (lower, upper), guard, &mut computed)?;
    }
    computed.note(format!("verdict: {}", decision.verdict.words()));
    if decision.verdict == Verdict::CannotTell {
        computed.note(
            "what would settle it, when the value stays where it is, stands above: a better gauge, or more readings",
        );
    }
    let factor = conformity_factor(1.0 - risk).map_err(|error| given.out_of_domain("risk", error.to_string()))?;
    computed.note(format!(
        "rule: inside when the chance of not keeping the keep edges is at most {:.3} % ({factor:.3} u from a single edge), outside when the chance of being usable is at most that, usable by judgement when it is surely not beyond a reject edge, else this gauge cannot tell",
        risk * 100.0
    ));
    Ok(computed)
}

/// What would settle the value as read: the doubt of a better gauge, or the number of repeats.
fn settling(
    given: &Given,
    (value, u): (f64, f64),
    zone: &Zone,
    risks: Risks,
    computed: &mut Computed,
) -> Result<(), CalcError> {
    let refused = |error: quantity::DecisionError| given.do_not_go_together(error.to_string());
    let difference = given.unit("value").difference_unit();
    let widest = gauge_that_settles(value, zone, risks).map_err(refused)?;
    if widest.is_finite() && widest > 0.0 {
        computed.put_in("gauge_that_settles", widest, difference);
    } else if widest > 0.0 {
        computed.note("any gauge settles this value");
    } else {
        computed.note("no gauge settles a value that stands on its edge");
    }
    let Some(repeatability) = given.optional("repeatability") else { return Ok(()) };
    if repeatability > u {
        return Err(given.out_of_domain(
            "repeatability",
            "is larger than the uncertainty it is a part of; give u of one reading with everything in it",
        ));
    }
    let shared = ((u - repeatability) * (u + repeatability)).sqrt();
    match repeats_that_settle(value, shared, repeatability, zone, risks).map_err(refused)? {
        Some(count) => computed.put("repeats_that_settle", f64::from(count)),
        None => computed
            .note("no number of repeats settles this value: what all readings share is too wide; take a better gauge"),
    }
    Ok(())
}

/// Risks over all parts that the process makes.
fn of_the_process(
    given: &Given,
    process: (f64, f64),
    u: f64,
    (lower, upper): (Option<f64>, Option<f64>),
    guard: f64,
    computed: &mut Computed,
) -> Result<(), CalcError> {
    if u <= 0.0 {
        return Ok(());
    }
    // A missing edge stands so far off that nothing reaches it.
    let far = 40.0 * process.1.hypot(u);
    let low = lower.unwrap_or_else(|| upper.map_or(process.0, |edge| edge.min(process.0)) - far);
    let high = upper.unwrap_or_else(|| lower.map_or(process.0, |edge| edge.max(process.0)) + far);
    for (margin, consumer, producer) in
        [(0.0, "consumer_risk", "producer_risk"), (guard, "consumer_risk_guarded", "producer_risk_guarded")]
    {
        let (accepted_bad, refused_good) = global_risks(process, u, (low, high), margin)
            .map_err(|error| given.do_not_go_together(error.to_string()))?;
        computed.put(consumer, accepted_bad);
        computed.put(producer, refused_good);
    }
    Ok(())
}
