//! Small networks and small decisions against values worked out elsewhere.
//!
//! Source and value by: beside every entry of `reference/checks.json`, in its fields `source` and `how_verified`; each entry
//! names its own tolerance. The networks go through the general exact engine.

#![expect(clippy::unwrap_used, clippy::panic, clippy::indexing_slicing, reason = "the helpers of a test may fail it")]

use inference::decision::{
    Decision, DecisionError, Suspect, TwoWayCheck, cheapest_sequence, expected_cost, mean_and_spread,
};
use inference::{DEFAULT_LIMIT, JunctionTree, Network, Posteriors, Table, Variable};
use serde_json::Value;

fn entry(id: &str) -> Value {
    let all: Vec<Value> = serde_json::from_str(include_str!("../../../reference/checks.json")).unwrap();
    all.into_iter().find(|entry| entry["id"] == id).unwrap_or_else(|| panic!("no entry {id}"))
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("no number in {value}"))
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap_or_else(|| panic!("no list in {value}")).iter().map(number).collect()
}

/// Holds a figure against the expected one of an entry, within the tolerance that the entry states.
fn agrees(e: &Value, what: &str, got: f64, expected: &Value) {
    let (expected, within) = (number(expected), number(&e["tolerance"]["value"]));
    assert_eq!(e["tolerance"]["kind"], "absolute");
    assert!((got - expected).abs() <= within, "{} {what}: got {got}, the source says {expected}", e["id"]);
}

fn agree(e: &Value, what: &str, got: &[f64], expected: &Value) {
    assert_eq!(got.len(), expected.as_array().unwrap().len(), "{what}");
    for (got, expected) in got.iter().zip(expected.as_array().unwrap()) {
        agrees(e, what, *got, expected);
    }
}

// ---- networks ----------------------------------------------------------------------------------------------------------

/// The chest clinic from the figures of the entry; every variable has the states yes and no.
fn clinic(model: &Value) -> Network {
    let p = |name: &str| number(&model[name]);
    let rows = |chances: &[f64]| chances.iter().flat_map(|p| [*p, 1.0 - p]).collect::<Vec<_>>();
    let names = ["A", "S", "T", "L", "B", "E", "X", "D"];
    let table = |child: usize, parents: &[usize], chances: &[f64]| Table {
        child,
        parents: parents.to_vec(),
        values: rows(chances),
    };
    assert_eq!(model["E"], "T or L");
    Network::new(
        names.iter().map(|name| Variable::new(*name, ["yes", "no"])).collect(),
        vec![
            table(0, &[], &[p("P(A)")]),
            table(1, &[], &[p("P(S)")]),
            table(2, &[0], &[p("P(T|A)"), p("P(T|~A)")]),
            table(3, &[1], &[p("P(L|S)"), p("P(L|~S)")]),
            table(4, &[1], &[p("P(B|S)"), p("P(B|~S)")]),
            table(5, &[2, 3], &[1.0, 1.0, 1.0, 0.0]),
            table(6, &[5], &[p("P(X|E)"), p("P(X|~E)")]),
            table(7, &[5, 4], &[p("P(D|E,B)"), p("P(D|E,~B)"), p("P(D|~E,B)"), p("P(D|~E,~B)")]),
        ],
    )
    .unwrap()
}

fn answer(network: &Network, observed: &[(&str, &str)]) -> Posteriors {
    let evidence = network.evidence(observed).unwrap();
    JunctionTree::new(network, DEFAULT_LIMIT).unwrap().posteriors(&evidence).unwrap()
}

fn chance(network: &Network, posteriors: &Posteriors, variable: &str, state: &str) -> f64 {
    let index = network.index_of(variable).unwrap();
    posteriors.probability(index, network.state_of(index, state).unwrap()).unwrap()
}

#[test]
fn the_chest_clinic_answers_four_questions() {
    for id in ["bn-asia-1", "bn-asia-2", "bn-asia-3", "bn-asia-4"] {
        let e = entry(id);
        let network = clinic(&e["inputs"]["model"]);
        let evidence = e["inputs"]["evidence"].as_object().unwrap();
        let observed: Vec<(&str, &str)> =
            evidence.iter().map(|(name, state)| (name.as_str(), state.as_str().unwrap())).collect();
        let posteriors = answer(&network, &observed);
        agrees(&e, "evidence", posteriors.p_evidence(), &e["expected"]["P_evidence"]);
        let expected = e["expected"]["posterior"].as_object().unwrap();
        assert_eq!(expected.len() + observed.len(), 8, "{id}");
        for (name, value) in expected {
            agrees(&e, name, chance(&network, &posteriors, name, "yes"), value);
        }
    }
}

#[test]
fn a_car_that_does_not_start_has_no_fuel_or_dirty_plugs() {
    let e = entry("bn-carstart");
    let model = &e["inputs"]["model"];
    let p = |name: &str| number(&model[name]);
    let start = [p("P(start|fuel,clean)"), p("P(start|fuel,dirty)"), p("P(start|no fuel)"), p("P(start|no fuel)")];
    let two = |chance: f64| vec![chance, 1.0 - chance];
    let meter = [numbers(&model["meter|fuel (full,half,empty)"]), numbers(&model["meter|no fuel"])].concat();
    let network = Network::new(
        vec![
            Variable::new("fuel", ["yes", "no"]),
            Variable::new("plugs", ["clean", "dirty"]),
            Variable::new("meter", ["full", "half", "empty"]),
            Variable::new("start", ["yes", "no"]),
        ],
        vec![
            Table { child: 0, parents: vec![], values: two(p("P(fuel)")) },
            Table { child: 1, parents: vec![], values: two(p("P(plugs clean)")) },
            Table { child: 2, parents: vec![0], values: meter },
            Table { child: 3, parents: vec![0, 1], values: start.iter().flat_map(|p| [*p, 1.0 - p]).collect() },
        ],
    )
    .unwrap();
    let cases: [(&str, &[(&str, &str)]); 2] =
        [("no_start", &[("start", "no")]), ("no_start_meter_half", &[("start", "no"), ("meter", "half")])];
    for (name, observed) in cases {
        let posteriors = answer(&network, observed);
        let expected = &e["expected"][name];
        agrees(&e, name, posteriors.p_evidence(), &expected["P_evidence"]);
        agrees(&e, name, chance(&network, &posteriors, "fuel", "no"), &expected["P(fuel=no)"]);
        agrees(&e, name, chance(&network, &posteriors, "plugs", "dirty"), &expected["P(plugs dirty)"]);
    }
}

// ---- decisions ---------------------------------------------------------------------------------------------------------

#[test]
fn the_well_is_drilled_after_a_test_that_does_not_speak_against_it() {
    let e = entry("dec-wildcatter");
    let (inputs, expected) = (&e["inputs"], &e["expected"]);
    let drill = numbers(&inputs["payoff_drill_k$"]);
    let decision = Decision::new(numbers(&inputs["P(dry,wet,soaking)"]), vec![vec![0.0; 3], drill]).unwrap();
    agrees(&e, "without", decision.best().value, &expected["EMV_no_test"]);
    agrees(&e, "certainty", decision.worth_of_certainty(), &expected["EVPI"]);
    let likelihoods = ["P(NS,OS,CS|dry)", "P(.|wet)", "P(.|soaking)"].map(|row| numbers(&inputs[row]));
    let worth = decision.worth_of_reading(&likelihoods).unwrap();
    agrees(&e, "free test", worth.value, &expected["EV_with_free_test"]);
    agrees(&e, "gain", worth.gain, &expected["EVSI"]);
    let cost = number(&inputs["test_cost_k$"]);
    agrees(&e, "paid test", worth.value - cost, &expected["EMV_test"]);
    agree(&e, "outcomes", &worth.outcomes.iter().map(|o| o.chance).collect::<Vec<_>>(), &expected["P_outcome"]);
    for (outcome, name) in worth.outcomes.iter().zip(["NS", "OS", "CS"]) {
        assert_eq!(["do not drill", "drill"][outcome.best.act], expected["policy"][name], "{name}");
    }
    assert_eq!(if worth.gain > cost { "test" } else { "no test" }, expected["best"]);
}

#[test]
fn a_used_car_is_worth_a_perfect_test() {
    let e = entry("dec-usedcar");
    let (inputs, expected) = (&e["inputs"], &e["expected"]);
    let i = |name: &str| number(&inputs[name]);
    let (gain, repairs) = (i("value") - i("price"), [i("repair_peach"), i("repair_lemon")]);
    let guarantee = |name: &str| number(&inputs["guarantee"][name]);
    let covered = |repair: f64| {
        if repair > guarantee("full_cover_if_repair_over") { 0.0 } else { repair * (1.0 - guarantee("covers")) }
    };
    let acts = vec![
        vec![0.0; 2],
        repairs.iter().map(|repair| gain - repair).collect(),
        repairs.iter().map(|repair| gain - guarantee("price") - covered(*repair)).collect(),
    ];
    let decision = Decision::new(vec![i("P(peach)"), 1.0 - i("P(peach)")], acts).unwrap();
    let values = decision.expected();
    for (value, name) in values.iter().zip(["EMV_none", "EMV_buy", "EMV_guarantee"]) {
        agrees(&e, name, *value, &expected[name]);
    }
    let certain = decision.if_certain();
    agrees(&e, "certain", mean_and_spread(&certain).0, &expected["EV_perfect_information"]);
    agrees(&e, "worth", decision.worth_of_certainty(), &expected["EVPI"]);
    let tested: Vec<(f64, f64)> = certain.iter().map(|(p, x)| (*p, x - i("test_cost"))).collect();
    let (mean, spread) = mean_and_spread(&tested);
    agrees(&e, "tested", mean, &expected["EMV_test"]);
    agrees(&e, "spread", spread, &expected["sd"]);
    agrees(&e, "peach", tested[0].1, &expected["outcomes"]["peach"]);
    agrees(&e, "lemon", tested[1].1, &expected["outcomes"]["lemon"]);
    // A reading that tells the states apart for certain is worth certainty, and one that tells nothing is worth nothing.
    let telling = decision.worth_of_reading(&[vec![1.0, 0.0], vec![0.0, 1.0]]).unwrap();
    agrees(&e, "telling", telling.gain, &expected["EVPI"]);
    assert!(decision.worth_of_reading(&[vec![0.3, 0.7], vec![0.3, 0.7]]).unwrap().gain < 1e-12);
}

#[test]
fn a_test_that_changes_no_choice_is_worth_nothing() {
    let e = entry("dec-usedcar-test");
    let (inputs, expected) = (&e["inputs"], &e["expected"]);
    let i = |name: &str| number(&inputs[name]);
    let gain = i("value_good") - i("price");
    let decision =
        Decision::new(vec![i("P(good)"), 1.0 - i("P(good)")], vec![vec![0.0; 2], vec![gain, gain - i("repair_bad")]])
            .unwrap();
    agrees(&e, "without", decision.best().value, &expected["gain_no_test"]);
    let rows = ["P(pass|good)", "P(pass|bad)"].map(|name| vec![i(name), 1.0 - i(name)]);
    let worth = decision.worth_of_reading(&rows).unwrap();
    agrees(&e, "gain", worth.gain, &expected["EVSI"]);
    let [pass, fail] = &worth.outcomes[..] else { panic!("two outcomes") };
    agrees(&e, "pass", pass.chance, &expected["P_pass"]);
    agrees(&e, "good", pass.states[0], &expected["P_good_pass"]);
    agrees(&e, "good", fail.states[0], &expected["P_good_fail"]);
    agrees(&e, "buy", pass.best.value, &expected["gain_pass"]);
    agrees(&e, "buy", fail.best.value, &expected["gain_fail"]);
    assert_eq!((decision.best().act, pass.best.act, fail.best.act), (1, 1, 1));
}

fn suspects(chances: &Value, look: &Value, mend: Option<&Value>) -> Vec<Suspect> {
    let (chances, look) = (numbers(chances), numbers(look));
    let mend = mend.map_or_else(|| vec![0.0; look.len()], numbers);
    chances.into_iter().zip(look).zip(mend).map(|((chance, look), mend)| Suspect { chance, look, mend }).collect()
}

fn places(value: &Value) -> Vec<usize> {
    value.as_array().unwrap().iter().map(|place| usize::try_from(place.as_u64().unwrap()).unwrap()).collect()
}

#[test]
fn suspects_are_looked_at_by_chance_over_cost() {
    let e = entry("dec-pc");
    let listed = suspects(&e["inputs"]["p"], &e["inputs"]["cost"], None);
    let cheapest = cheapest_sequence(&listed).unwrap();
    assert_eq!(cheapest.rank, places(&e["expected"]["order_0based"]));
    agrees(&e, "cost", cheapest.cost, &e["expected"]["expected_cost"]);
    agrees(&e, "as listed", expected_cost(&listed, &[0, 1, 2, 3, 4]).unwrap(), &e["expected"]["cost_in_listed_order"]);

    let e = entry("dec-observe-repair");
    let listed = suspects(&e["inputs"]["p"], &e["inputs"]["co"], Some(&e["inputs"]["cr"]));
    let cheapest = cheapest_sequence(&listed).unwrap();
    assert_eq!(cheapest.rank, places(&e["expected"]["order_0based"]));
    agrees(&e, "cost", cheapest.cost, &e["expected"]["expected_cost"]);
    // No other sequence is cheaper.
    for rank in [[0, 1, 2], [0, 2, 1], [1, 0, 2], [1, 2, 0], [2, 0, 1], [2, 1, 0]] {
        assert!(expected_cost(&listed, &rank).unwrap() >= cheapest.cost - 1e-12, "{rank:?}");
    }
}

#[test]
fn a_check_with_two_outcomes_moves_the_chance_by_its_ratios() {
    let e = entry("dec-bayes-simple");
    // The figures stand in the words of the entry: prior .08, sensitivity .90, specificity .85.
    let words = e["calculation"].as_str().unwrap();
    let after_word = |word: &str| -> f64 {
        let rest = words.split(word).nth(1).unwrap().trim_start();
        rest.split([',', ';']).next().unwrap().parse().unwrap()
    };
    let check = TwoWayCheck { sensitivity: after_word("sensitivity"), specificity: after_word("specificity") };
    let [yes, no] = check.after(after_word("prior")).unwrap();
    agrees(&e, "yes", yes, &e["expected"]["post_pos"]);
    agrees(&e, "no", no, &e["expected"]["post_neg"]);
    let [up, down] = check.ratios();
    agrees(&e, "ratio of a yes", up, &e["expected"]["LR+"]);
    agrees(&e, "ratio of a no", down, &e["expected"]["LR-"]);
}

#[test]
fn what_is_wrong_with_a_decision_is_named() {
    let refused = |chances: Vec<f64>, payoffs| Decision::new(chances, payoffs).unwrap_err().to_string();
    assert!(refused(vec![0.5, 0.4], vec![vec![1.0, 2.0]]).contains("sum to 0.9"));
    assert!(refused(vec![0.5, 0.5], vec![vec![1.0]]).contains("row of act 0"));
    assert!(refused(vec![0.5, 0.5], vec![vec![1.0, f64::NAN]]).contains("NaN"));
    assert!(refused(vec![0.5, 0.5], vec![]).contains("acts"));
    let two = [Suspect { chance: 0.5, look: 1.0, mend: 0.0 }; 2];
    assert!(matches!(expected_cost(&two, &[0, 0]), Err(DecisionError::Length { .. })));
    assert!(matches!(expected_cost(&two, &[0, 2]), Err(DecisionError::Length { .. })));
    let free = [Suspect { look: -1.0, ..two[0] }, two[1]];
    assert!(matches!(cheapest_sequence(&free), Err(DecisionError::Amount { .. })));
}
