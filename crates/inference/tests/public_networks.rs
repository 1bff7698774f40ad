//! Posteriors of public networks, compared with those of a general-purpose library.
#![expect(clippy::unwrap_used, clippy::indexing_slicing, clippy::panic, reason = "test helpers may stop the test")]

use std::collections::BTreeMap;
use std::path::PathBuf;

use inference::{DEFAULT_LIMIT, Evidence, JunctionTree, Network};

// Source:   reference/networks/*.bif, public networks; where they come from is in PROVENANCE.md there
// Value by: reference/networks/make_reference.py: pyAgrum 3.3.1, tables in double precision, its
//           two tree methods agreeing within 1e-11
// Digits:   double precision; tolerance 1e-9 on every posterior and, relative, on the probability of
//           the evidence [ours]; both sides round differently, in networks of up to 1041 variables
const TOLERANCE: f64 = 1e-9;

#[derive(serde::Deserialize)]
struct Reference {
    evidence: BTreeMap<String, usize>,
    p_evidence: f64,
    posteriors: BTreeMap<String, Vec<f64>>,
}

fn file(name: &str) -> String {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../reference/networks").join(name);
    std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

fn network(name: &str) -> Network {
    Network::from_bif(&file(&format!("{name}.bif"))).unwrap_or_else(|e| panic!("{name}: {e}"))
}

fn references(name: &str) -> BTreeMap<String, Reference> {
    serde_json::from_str(&file(&format!("ref_{name}.json"))).unwrap()
}

fn evidence(network: &Network, reference: &Reference) -> Evidence {
    let mut evidence = Evidence::default();
    for (variable, &state) in &reference.evidence {
        evidence.hard.insert(network.index_of(variable).unwrap(), state);
    }
    evidence
}

fn agrees(name: &str) {
    let network = network(name);
    let free = JunctionTree::new(&network, DEFAULT_LIMIT).unwrap();
    let sets = references(name);
    assert_eq!(sets.keys().collect::<Vec<_>>(), ["a", "b"]);
    for (set, reference) in sets {
        let evidence = evidence(&network, &reference);
        let fitted = JunctionTree::for_evidence(&network, &evidence, DEFAULT_LIMIT).unwrap();
        for (tree, laid_out) in [(&free, "for any evidence"), (&fitted, "for this evidence")] {
            let ours = tree.posteriors(&evidence).unwrap();
            assert_eq!(reference.posteriors.len(), network.variables().len());
            let mut farthest = 0.0_f64;
            for (variable, theirs) in &reference.posteriors {
                let marginal = &ours.marginals[network.index_of(variable).unwrap()];
                assert_eq!(marginal.len(), theirs.len());
                for (p, q) in marginal.iter().zip(theirs) {
                    farthest = farthest.max((p - q).abs());
                }
            }
            let relative = (ours.p_evidence() / reference.p_evidence - 1.0).abs();
            assert!(farthest < TOLERANCE, "{name} {set} {laid_out}: {farthest}");
            assert!(relative < TOLERANCE, "{name} {set} {laid_out}: {relative}");
            let alone = tree.log10_p_evidence(&evidence).unwrap();
            assert!((alone - ours.log10_p_evidence).abs() < 1e-12);
        }
    }
}

#[test]
fn asia_agrees_with_the_library() {
    agrees("asia");
}

#[test]
fn alarm_agrees_with_the_library() {
    agrees("alarm");
}

#[test]
fn child_agrees_with_the_library() {
    agrees("child");
}

#[test]
fn insurance_agrees_with_the_library() {
    agrees("insurance");
}

#[test]
fn hailfinder_agrees_with_the_library() {
    agrees("hailfinder");
}

#[test]
fn hepar2_agrees_with_the_library() {
    agrees("hepar2");
}

#[test]
fn andes_agrees_with_the_library() {
    agrees("andes");
}

#[test]
fn pigs_agrees_with_the_library() {
    agrees("pigs");
}

#[test]
fn water_agrees_with_the_library() {
    agrees("water");
}

#[test]
fn pathfinder_agrees_with_the_library() {
    agrees("pathfinder");
}

#[test]
fn munin3_agrees_with_the_library() {
    agrees("munin3");
}

#[test]
fn every_public_network_written_and_read_again_is_equal_to_the_last_bit() {
    for name in [
        "asia",
        "alarm",
        "child",
        "insurance",
        "hailfinder",
        "hepar2",
        "andes",
        "pigs",
        "water",
        "pathfinder",
        "munin3",
    ] {
        let network = network(name);
        let again = Network::from_bif(&network.to_bif()).unwrap();
        assert!(again == network, "{name}");
    }
}

#[test]
fn without_evidence_the_evidence_is_certain() {
    for name in ["alarm", "hailfinder", "munin3"] {
        let tree = JunctionTree::new(&network(name), DEFAULT_LIMIT).unwrap();
        let ours = tree.posteriors(&Evidence::default()).unwrap();
        assert!(ours.log10_p_evidence.abs() < 1e-12, "{name}");
        for marginal in &ours.marginals {
            assert!((marginal.iter().sum::<f64>() - 1.0).abs() < 1e-12, "{name}");
        }
    }
}

#[test]
fn the_same_question_gets_the_same_bits_from_two_trees_built_apart() {
    let network = network("insurance");
    let evidence = evidence(&network, &references("insurance")["a"]);
    let one = JunctionTree::new(&network, DEFAULT_LIMIT).unwrap();
    let two = JunctionTree::new(&network, DEFAULT_LIMIT).unwrap();
    let (one, two) = (one.posteriors(&evidence).unwrap(), two.posteriors(&evidence).unwrap());
    for (a, b) in one.marginals.iter().flatten().zip(two.marginals.iter().flatten()) {
        assert_eq!(a.to_bits(), b.to_bits());
    }
}

#[test]
fn a_limit_that_is_too_low_is_answered_with_the_largest_clique() {
    let network = network("water");
    let error = JunctionTree::new(&network, 100_000).unwrap_err();
    let text = error.to_string();
    assert!(text.contains("more than the limit of 100000") && text.contains("the largest, with "), "{text}");
}

/// The best explanation is at least as probable as any other we can think of: the states of the
/// posteriors' maxima and every change of one variable.
#[test]
fn no_single_change_makes_the_most_probable_explanation_more_probable() {
    for name in ["alarm", "hepar2", "insurance"] {
        let network = network(name);
        let evidence = evidence(&network, &references(name)["b"]);
        let tree = JunctionTree::new(&network, DEFAULT_LIMIT).unwrap();
        let best = tree.most_probable(&evidence).unwrap();
        let p = inference::brute::joint_probability(&network, &evidence, &best.states);
        assert!((p.log10() - best.log10_p).abs() < 1e-9, "{name}");
        for (v, variable) in network.variables().iter().enumerate() {
            for state in 0..variable.states.len() {
                let mut other = best.states.clone();
                other[v] = state;
                let q = inference::brute::joint_probability(&network, &evidence, &other);
                assert!(q <= p * (1.0 + 1e-12), "{name} {}", variable.name);
            }
        }
    }
}
