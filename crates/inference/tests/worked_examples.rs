//! Networks small enough to be summed exactly on paper, and evidence at the edge of what numbers hold.
#![expect(clippy::unwrap_used, clippy::indexing_slicing, clippy::panic, reason = "test helpers may stop the test")]

use inference::{
    DEFAULT_LIMIT, Evidence, EvidenceError, InferenceError, JunctionTree, Network, Posteriors, Table, Variable, brute,
};

fn close(ours: f64, exact: f64, what: &str) {
    assert!((ours - exact).abs() < 1e-13, "{what}: {ours} instead of {exact}");
}

fn by_both(network: &Network, evidence: &Evidence) -> [Posteriors; 2] {
    [
        JunctionTree::new(network, DEFAULT_LIMIT).unwrap().posteriors(evidence).unwrap(),
        brute::posteriors(network, evidence).unwrap(),
    ]
}

fn chest_clinic() -> Network {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../reference/networks/asia.bif");
    Network::from_bif(&std::fs::read_to_string(path).unwrap()).unwrap_or_else(|e| panic!("{e}"))
}

// Source:   chest-clinic network, Lauritzen and Spiegelhalter 1988, J. R. Stat. Soc. B 50
//           [published: tables as stored in reference/networks/asia.bif]
// Value by: summing the full joint of 2^8 rows in exact fractions, reference/networks/chest_clinic.py;
//           that is not elimination, so it checks us
// Digits:   exact, the sums are finite decimals or written as fractions; tolerance 1e-13 [ours] covers our
//           own rounding and nothing else
#[test]
fn the_chest_clinic_has_its_exact_sums() {
    let network = chest_clinic();
    for ours in by_both(&network, &Evidence::default()) {
        for (name, exact) in [
            ("asia", 0.01),
            ("tub", 0.0104),
            ("smoke", 0.5),
            ("lung", 0.055),
            ("bronc", 0.45),
            ("either", 0.064828),
            ("xray", 0.11029004),
            ("dysp", 0.4359706),
        ] {
            let v = network.index_of(name).unwrap();
            close(ours.probability(v, 0).unwrap(), exact, name);
        }
    }
    let evidence = network.evidence(&[("xray", "yes")]).unwrap();
    for ours in by_both(&network, &evidence) {
        close(ours.p_evidence(), 0.11029004, "xray");
        for (name, exact) in [
            ("asia", 41_455.0 / 3_151_144.0),
            ("tub", 36_400.0 / 393_893.0),
            ("smoke", 1_896_310.0 / 2_757_251.0),
            ("lung", 192_500.0 / 393_893.0),
            ("bronc", 13_960_683.0 / 27_572_510.0),
            ("either", 226_898.0 / 393_893.0),
            ("xray", 1.0),
            ("dysp", 25_239_323.0 / 39_389_300.0),
        ] {
            let v = network.index_of(name).unwrap();
            close(ours.probability(v, 0).unwrap(), exact, name);
        }
    }
}

/// One shared root, two parts that depend on it, and a finding that is the worst of what the two
/// parts and a background give: chance of at most level l is background[l] * a[l][A] * b[l][B].
fn worst_of_two() -> Network {
    // By state of the part, then by level.
    let at_most_a = [[1.0, 1.0, 1.0], [0.6, 0.9, 1.0], [0.2, 0.5, 1.0]];
    let at_most_b = [[1.0, 1.0, 1.0], [0.3, 0.7, 1.0]];
    let background = [0.9, 0.98, 1.0];
    let mut finding = Vec::new();
    for a in at_most_a {
        for b in at_most_b {
            let at_most = |l: usize| background[l] * a[l] * b[l];
            finding.extend([at_most(0), at_most(1) - at_most(0), at_most(2) - at_most(1)]);
        }
    }
    Network::new(
        vec![
            Variable::new("root", ["0", "1"]),
            Variable::new("A", ["0", "1", "2"]),
            Variable::new("B", ["0", "1"]),
            Variable::new("f", ["0", "1", "2"]),
            Variable::new("a", ["pass", "fail"]),
        ],
        vec![
            Table { child: 0, parents: vec![], values: vec![0.7, 0.3] },
            Table { child: 1, parents: vec![0], values: vec![0.8, 0.15, 0.05, 0.4, 0.35, 0.25] },
            Table { child: 2, parents: vec![0], values: vec![0.9, 0.1, 0.6, 0.4] },
            Table { child: 3, parents: vec![1, 2], values: finding },
            Table { child: 4, parents: vec![1], values: vec![0.95, 0.05, 0.3, 0.7, 0.05, 0.95] },
        ],
    )
    .unwrap()
}

// Source:   invented numbers, made for hand calculation
// Value by: products and sums on paper: given the root the parts are independent, so the chance of at
//           most level 1 is .98 * Z_A * Z_B with Z_A = (.96, .84), Z_B = (.97, .88), of at most level 0
//           .9 * (.9, .66) * (.93, .72); times the root's (.7, .3) the differences are (.1114932, .0890208)
// Digits:   finite decimals and their quotients; tolerance 1e-13 [ours] covers our own rounding only
#[test]
fn the_worst_of_two_parts_and_a_background_comes_out_as_on_paper() {
    let network = worst_of_two();
    for ours in by_both(&network, &Evidence::default()) {
        for (level, exact) in [0.655614, 0.200514, 0.143872].into_iter().enumerate() {
            close(ours.marginals[3][level], exact, "f");
        }
    }
    let seen = network.evidence(&[("f", "1")]).unwrap();
    for ours in by_both(&network, &seen) {
        close(ours.p_evidence(), 0.200514, "evidence");
        for (state, joint) in [0.1114932, 0.0890208].into_iter().enumerate() {
            close(ours.marginals[0][state], joint / 0.200514, "root");
        }
        for (state, joint) in [0.089344, 0.0777735, 0.0333965].into_iter().enumerate() {
            close(ours.marginals[1][state], joint / 0.200514, "A");
        }
        // What a later look at A would say: pass .95, .3, .05 of those.
        let pass = (0.95 * 0.089344 + 0.3 * 0.0777735 + 0.05 * 0.0333965) / 0.200514;
        close(ours.marginals[4][0], pass, "a");
    }
    // The same look as a likelihood on A instead of a variable of its own.
    let mut soft = seen.clone();
    soft.weigh(&network, "A", &[0.95, 0.3, 0.05]).unwrap();
    let mut hard = seen;
    hard.observe(&network, "a", "pass").unwrap();
    for (one, other) in by_both(&network, &soft).iter().zip(by_both(&network, &hard)) {
        close(one.log10_p_evidence, other.log10_p_evidence, "both ways");
        for v in 0..3 {
            for (p, q) in one.marginals[v].iter().zip(&other.marginals[v]) {
                close(*p, *q, "both ways");
            }
        }
    }
}

/// One cause with two states and `count` findings that depend on it and nothing else.
fn cause_and_findings(count: usize, given: [f64; 2]) -> Network {
    let mut variables = vec![Variable::new("cause", ["no", "yes"])];
    let mut tables = vec![Table { child: 0, parents: vec![], values: vec![0.75, 0.25] }];
    for finding in 1..=count {
        variables.push(Variable::new(format!("finding {finding}"), ["no", "yes"]));
        tables.push(Table {
            child: finding,
            parents: vec![0],
            values: vec![1.0 - given[0], given[0], 1.0 - given[1], given[1]],
        });
    }
    Network::new(variables, tables).unwrap()
}

// Value by: with n equal findings the joint is .75 * p^n and .25 * q^n, so the logarithm of the
//           evidence and the odds of the cause have a closed form
// Digits:   logarithms of up to 4000 carry about 1e-12; tolerance 1e-9 [ours]
#[test]
fn evidence_of_a_probability_far_below_the_smallest_number_is_weighed_right() {
    for (count, given) in
        [(100, [0.01, 0.01]), (200, [0.001, 0.001]), (2000, [0.01, 0.01]), (100, [0.009, 0.01]), (120, [0.01, 0.0001])]
    {
        let network = cause_and_findings(count, given);
        let tree = JunctionTree::new(&network, DEFAULT_LIMIT).unwrap();
        let mut evidence = Evidence::default();
        for finding in 1..=count {
            evidence.hard.insert(finding, 1);
        }
        let ours = tree.posteriors(&evidence).unwrap();
        let n = f64::from(u32::try_from(count).unwrap());
        let (no, yes) = (0.75_f64.log10() + n * given[0].log10(), 0.25_f64.log10() + n * given[1].log10());
        let most = no.max(yes);
        let exact = most + (10_f64.powf(no - most) + 10_f64.powf(yes - most)).log10();
        assert!((ours.log10_p_evidence - exact).abs() < 1e-9, "{count}: {exact}");
        let p_yes = 10_f64.powf(yes - exact);
        assert!((ours.marginals[0][1] - p_yes).abs() < 1e-9, "{count}: {p_yes}");
        let best = tree.most_probable(&evidence).unwrap();
        assert_eq!(best.states[0], usize::from(yes > no));
        assert!((best.log10_p - most).abs() < 1e-9);
    }
}

/// Three findings on one cause with a fair prior, each seen as "no"; `no` and `yes` are the chances
/// of that given each state of the cause.
fn three_findings(no: [f64; 3], yes: [f64; 3]) -> Result<Posteriors, InferenceError> {
    let network = cause_and_findings(3, [0.5, 0.5]);
    let (variables, mut tables) = (network.variables().to_vec(), network.tables().to_vec());
    for finding in 0..3 {
        tables[finding + 1].values = vec![no[finding], 1.0 - no[finding], yes[finding], 1.0 - yes[finding]];
    }
    let network = Network::new(variables, tables).unwrap();
    let evidence = network.evidence(&[("finding 1", "no"), ("finding 2", "no"), ("finding 3", "no")]).unwrap();
    JunctionTree::new(&network, DEFAULT_LIMIT).unwrap().posteriors(&evidence)
}

// Value by: the joint is .75 * product of `no` and .25 * product of `yes`
// Digits:   tolerance 1e-9 [ours] on the logarithm and on the posterior
#[test]
fn findings_that_pull_hard_in_both_directions_are_weighed_or_the_answer_is_withheld() {
    // Up to odds of 1e-270 at one place everything is weighed.
    for (no, yes) in [
        ([1e-200, 1e-60, 1.0], [1.0, 1.0, 1e-255]),
        ([1e-270, 1.0, 1.0], [1.0, 1.0, 1e-270]),
        ([1e-250, 1e-300, 1e-10], [1e-250, 1e-300, 1e-10]),
        ([1e-300, 1.0, 1.0], [1.0, 1.0, 1e-200]),
    ] {
        let ours = three_findings(no, yes).unwrap();
        let sum = |p: [f64; 3]| p.iter().map(|p| p.log10()).sum::<f64>();
        let (no, yes) = (0.75_f64.log10() + sum(no), 0.25_f64.log10() + sum(yes));
        let exact = no.max(yes) + (1.0 + 10_f64.powf(-(no - yes).abs())).log10();
        assert!((ours.log10_p_evidence - exact).abs() < 1e-9, "{exact}");
        assert!((ours.marginals[0][1] - 10_f64.powf(yes - exact)).abs() < 1e-9);
    }
    // Beyond that an answer would be a guess: possible, and said to be so, but not answered.
    for (no, yes) in [
        ([1e-300, 1.0, 1.0], [1.0, 1.0, 1e-300]),
        ([1e-300, 1e-300, 1.0], [1.0, 1.0, 0.0]),
        ([1e-200, 1e-200, 1.0], [1.0, 1.0, 1e-299]),
    ] {
        let error = three_findings(no, yes).unwrap_err();
        assert!(matches!(error, InferenceError::TooImprobable { .. }), "{error}");
    }
    // And a true contradiction is still told apart.
    let error = three_findings([1e-300, 0.0, 1.0], [1.0, 1.0, 0.0]).unwrap_err();
    assert!(matches!(error, InferenceError::Impossible { .. }), "{error}");
}

#[test]
fn impossible_evidence_is_answered_with_the_pieces_that_contradict_each_other() {
    let network = chest_clinic();
    let tree = JunctionTree::new(&network, DEFAULT_LIMIT).unwrap();
    // A visit, a shadow and breathlessness have nothing to do with it; "either" is "tub or lung".
    let evidence = network
        .evidence(&[("asia", "yes"), ("tub", "yes"), ("either", "no"), ("xray", "yes"), ("dysp", "yes")])
        .unwrap();
    for error in [
        tree.posteriors(&evidence).unwrap_err(),
        tree.most_probable(&evidence).unwrap_err(),
        tree.log10_p_evidence(&evidence).unwrap_err(),
    ] {
        let InferenceError::Impossible { mut conflict } = error else {
            panic!("{error}");
        };
        conflict.sort();
        assert_eq!(conflict, ["either = no", "tub = yes"]);
    }
    assert!(tree.posteriors(&evidence).unwrap_err().to_string().starts_with("the evidence is impossible: "));
}

#[test]
fn evidence_that_does_not_fit_the_network_is_refused_by_name() {
    let network = chest_clinic();
    let tree = JunctionTree::new(&network, DEFAULT_LIMIT).unwrap();
    assert_eq!(
        network.evidence(&[("smoking", "yes")]).unwrap_err().to_string(),
        "there is no variable \"smoking\" in this network; check the spelling"
    );
    assert_eq!(
        network.evidence(&[("smoke", "often")]).unwrap_err().to_string(),
        "variable \"smoke\" has no state \"often\"; its states are yes, no"
    );
    assert_eq!(
        network.evidence(&[("smoke", "yes"), ("smoke", "no")]).unwrap_err().to_string(),
        "variable \"smoke\" is said to be both \"yes\" and \"no\"; keep one of them"
    );
    let mut evidence = Evidence::default();
    for (weights, says) in [
        (vec![1.0], "has 1 weights"),
        (vec![1.0, f64::NAN], "has the weight NaN"),
        (vec![1.0, -0.5], "has the weight -0.5"),
        (vec![0.0, 0.0], "is zero for every state"),
    ] {
        let error = evidence.weigh(&network, "smoke", &weights).unwrap_err();
        assert!(error.to_string().contains(says), "{error}");
        let mut given = Evidence::default();
        given.soft.insert(network.index_of("smoke").unwrap(), weights);
        // Compared as text: a weight that is not a number equals nothing, not even itself.
        assert_eq!(tree.posteriors(&given).unwrap_err().to_string(), error.to_string());
    }
    let mut far = Evidence::default();
    far.hard.insert(99, 0);
    assert!(matches!(
        tree.posteriors(&far),
        Err(InferenceError::Evidence(EvidenceError::UnknownIndex { index: 99, .. }))
    ));
}

#[test]
fn a_tree_laid_out_for_an_observation_asks_for_it() {
    let network = chest_clinic();
    let tree =
        JunctionTree::for_evidence(&network, &network.evidence(&[("either", "yes")]).unwrap(), DEFAULT_LIMIT).unwrap();
    let error = tree.posteriors(&network.evidence(&[("xray", "yes")]).unwrap()).unwrap_err();
    assert_eq!(
        error.to_string(),
        "the tree was laid out for evidence on \"either\", which is not observed; observe it, or lay out a tree without it"
    );
    // Another state of it, and further evidence, are fine.
    let evidence = network.evidence(&[("either", "no"), ("dysp", "yes")]).unwrap();
    let ours = tree.posteriors(&evidence).unwrap();
    let theirs = brute::posteriors(&network, &evidence).unwrap();
    for (p, q) in ours.marginals.iter().flatten().zip(theirs.marginals.iter().flatten()) {
        close(*p, *q, "either = no");
    }
}

#[test]
fn a_network_that_would_fill_any_memory_is_refused_before_memory_is_asked_for() {
    // Sixty causes, each pair with a common finding: one clique of sixty.
    let mut variables: Vec<Variable> = (0..60).map(|v| Variable::new(format!("cause {v}"), ["0", "1"])).collect();
    let mut tables: Vec<Table> =
        (0..60).map(|child| Table { child, parents: vec![], values: vec![0.5, 0.5] }).collect();
    for a in 0..60 {
        for b in 0..a {
            let child = variables.len();
            variables.push(Variable::new(format!("finding {a} {b}"), ["0", "1"]));
            tables.push(Table { child, parents: vec![a, b], values: vec![0.9, 0.1, 0.5, 0.5, 0.4, 0.6, 0.2, 0.8] });
        }
    }
    let network = Network::new(variables, tables).unwrap();
    let text = JunctionTree::new(&network, DEFAULT_LIMIT).unwrap_err().to_string();
    assert!(text.contains("the largest, with 1152921504606846976 entries, joins cause "), "{text}");
    assert!(text.contains("48 more"), "{text}");
    // With all but ten causes observed it is an easy network.
    let observed = (10..60).collect();
    assert!(JunctionTree::for_observed(&network, &observed, DEFAULT_LIMIT).is_ok());
}

#[test]
fn empty_and_one_state_networks_are_answered() {
    let empty = Network::new(vec![], vec![]).unwrap();
    let ours = JunctionTree::new(&empty, DEFAULT_LIMIT).unwrap().posteriors(&Evidence::default()).unwrap();
    assert!(ours.marginals.is_empty() && ours.log10_p_evidence.abs() < f64::EPSILON);
    let sure =
        Network::new(vec![Variable::new("sure", ["so"])], vec![Table { child: 0, parents: vec![], values: vec![1.0] }])
            .unwrap();
    let tree = JunctionTree::new(&sure, DEFAULT_LIMIT).unwrap();
    for evidence in [Evidence::default(), sure.evidence(&[("sure", "so")]).unwrap()] {
        let ours = tree.posteriors(&evidence).unwrap();
        assert_eq!(ours.marginals, [[1.0]]);
        assert_eq!(tree.most_probable(&evidence).unwrap().states, [0]);
    }
}
