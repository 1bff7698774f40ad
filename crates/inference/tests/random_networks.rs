//! The junction tree against plain enumeration, on thousands of seeded random networks.
#![expect(clippy::unwrap_used, clippy::indexing_slicing, clippy::panic, reason = "test helpers may stop the test")]

use inference::{DEFAULT_LIMIT, Evidence, InferenceError, JunctionTree, Network, Table, Variable, brute};

// Value by: summing (or going through) every combination of states, module `brute`: no cliques, no
//           messages, no scaling, so it checks us
// Digits:   double precision on both sides; tolerance 1e-12 [ours] on every posterior and on the
//           decimal logarithm of the probability of the evidence
const TOLERANCE: f64 = 1e-12;

const NETWORKS: u64 = 6000;

/// Splitmix: small, seeded, the same on every machine.
struct Chance(u64);

impl Chance {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    fn below(&mut self, bound: usize) -> usize {
        usize::try_from(self.next() % u64::try_from(bound).unwrap()).unwrap()
    }

    /// Between zero and one.
    fn share(&mut self) -> f64 {
        f64::from(u32::try_from(self.next() >> 32).unwrap()) / f64::from(u32::MAX)
    }

    fn row(&mut self, columns: usize, zeros: usize) -> Vec<f64> {
        let certain = self.below(columns);
        let mut row: Vec<f64> = (0..columns)
            .map(|_| {
                if self.below(10) < zeros {
                    0.0
                } else {
                    // Now and then a very small entry.
                    self.share() * 10_f64.powi(-i32::try_from(self.below(3) * self.below(5)).unwrap())
                }
            })
            .collect();
        row[certain] += 0.1;
        let sum: f64 = row.iter().sum();
        for p in &mut row {
            *p /= sum;
        }
        row
    }

    fn network(&mut self) -> Network {
        loop {
            let count = 2 + self.below(9);
            let most_states = 2 + self.below(3);
            let states: Vec<usize> = (0..count).map(|_| 1 + self.below(most_states)).collect();
            if states.iter().product::<usize>() > 6000 {
                continue;
            }
            // Arrows follow a random order, so that they do not follow the indices.
            let mut order: Vec<usize> = (0..count).collect();
            for place in (1..count).rev() {
                order.swap(place, self.below(place + 1));
            }
            let zeros = self.below(8);
            let tables = (0..count)
                .map(|place| {
                    let mut parents: Vec<usize> = Vec::new();
                    for _ in 0..self.below(4) {
                        if place > 0 {
                            let parent = order[self.below(place)];
                            if !parents.contains(&parent) {
                                parents.push(parent);
                            }
                        }
                    }
                    let child = order[place];
                    let rows: usize = parents.iter().map(|&p| states[p]).product();
                    Table { child, parents, values: (0..rows).flat_map(|_| self.row(states[child], zeros)).collect() }
                })
                .collect();
            let variables = states
                .iter()
                .enumerate()
                .map(|(v, &n)| Variable::new(format!("v{v}"), (0..n).map(|s| format!("s{s}"))))
                .collect();
            return Network::new(variables, tables).unwrap();
        }
    }

    fn evidence(&mut self, network: &Network) -> Evidence {
        let mut evidence = Evidence::default();
        for (v, variable) in network.variables().iter().enumerate() {
            let n = variable.states.len();
            if self.below(3) == 0 {
                evidence.hard.insert(v, self.below(n));
            }
            if self.below(4) == 0 {
                let size = 10_f64.powi(i32::try_from(self.below(9)).unwrap() - 4);
                let mut weights: Vec<f64> =
                    (0..n).map(|_| if self.below(5) == 0 { 0.0 } else { self.share() * size }).collect();
                weights[self.below(n)] = size;
                evidence.soft.insert(v, weights);
            }
        }
        evidence
    }
}

fn same(ours: &inference::Posteriors, theirs: &inference::Posteriors, seed: u64) {
    assert!(
        (ours.log10_p_evidence - theirs.log10_p_evidence).abs() < TOLERANCE,
        "seed {seed}: {} {}",
        ours.log10_p_evidence,
        theirs.log10_p_evidence
    );
    for (v, (a, b)) in ours.marginals.iter().zip(&theirs.marginals).enumerate() {
        assert_eq!(a.len(), b.len());
        for (p, q) in a.iter().zip(b) {
            assert!((p - q).abs() < TOLERANCE, "seed {seed} variable {v}: {p} {q}");
        }
    }
}

#[test]
fn posteriors_equal_enumeration_and_impossible_evidence_is_recognised() {
    let mut impossible = 0;
    for seed in 0..NETWORKS {
        let mut chance = Chance(seed);
        let network = chance.network();
        let evidence = chance.evidence(&network);
        let free = JunctionTree::new(&network, DEFAULT_LIMIT).unwrap();
        let fitted = JunctionTree::for_evidence(&network, &evidence, DEFAULT_LIMIT).unwrap();
        match brute::posteriors(&network, &evidence) {
            Ok(theirs) => {
                same(&free.posteriors(&evidence).unwrap(), &theirs, seed);
                same(&fitted.posteriors(&evidence).unwrap(), &theirs, seed);
            }
            Err(InferenceError::Impossible { .. }) => {
                impossible += 1;
                for tree in [&free, &fitted] {
                    conflict_is_smallest(&network, &evidence, tree, seed);
                }
            }
            Err(other) => panic!("seed {seed}: {other}"),
        }
    }
    assert!(impossible > 100, "only {impossible} impossible cases were drawn");
}

/// What is named as contradicting is impossible together, and possible without any one of it.
fn conflict_is_smallest(network: &Network, all: &Evidence, tree: &JunctionTree, seed: u64) {
    let Err(InferenceError::Impossible { conflict }) = tree.posteriors(all) else {
        panic!("seed {seed}: not recognised as impossible");
    };
    let part = |left_out: Option<usize>| {
        let mut evidence = Evidence::default();
        for (place, words) in conflict.iter().enumerate() {
            if Some(place) == left_out {
                continue;
            }
            if let Some(name) = words.strip_prefix("the likelihood of ") {
                let v = network.index_of(name).unwrap();
                evidence.soft.insert(v, all.soft[&v].clone());
            } else {
                let (name, state) = words.split_once(" = ").unwrap();
                evidence.observe(network, name, state).unwrap();
            }
        }
        evidence
    };
    assert!(brute::posteriors(network, &part(None)).is_err(), "seed {seed}");
    for place in 0..conflict.len() {
        assert!(brute::posteriors(network, &part(Some(place))).is_ok(), "seed {seed}: {conflict:?} is not smallest");
    }
}

#[test]
fn the_most_probable_explanation_is_as_probable_as_the_best_of_all_combinations() {
    for seed in 0..NETWORKS / 2 {
        let mut chance = Chance(seed + 1_000_000);
        let network = chance.network();
        let evidence = chance.evidence(&network);
        let tree = JunctionTree::new(&network, DEFAULT_LIMIT).unwrap();
        match brute::most_probable(&network, &evidence) {
            Ok(theirs) => {
                let ours = tree.most_probable(&evidence).unwrap();
                assert!((ours.log10_p - theirs.log10_p).abs() < TOLERANCE, "seed {seed}");
                let p = brute::joint_probability(&network, &evidence, &ours.states);
                assert!((p.log10() - theirs.log10_p).abs() < TOLERANCE, "seed {seed}");
            }
            Err(InferenceError::Impossible { .. }) => {
                assert!(matches!(tree.most_probable(&evidence), Err(InferenceError::Impossible { .. })), "seed {seed}")
            }
            Err(other) => panic!("seed {seed}: {other}"),
        }
    }
}

#[test]
fn random_networks_written_and_read_again_are_equal_to_the_last_bit() {
    for seed in 0..500 {
        let network = Chance(seed + 2_000_000).network();
        let text = network.to_bif();
        let again = Network::from_bif(&text).unwrap_or_else(|e| panic!("seed {seed}: {e}"));
        assert!(again == network, "seed {seed}");
        assert_eq!(again.to_bif(), text);
    }
}

#[test]
fn evidence_without_content_moves_nothing() {
    for seed in 0..500 {
        let mut chance = Chance(seed + 3_000_000);
        let network = chance.network();
        let tree = JunctionTree::new(&network, DEFAULT_LIMIT).unwrap();
        let before = tree.posteriors(&Evidence::default()).unwrap();
        let mut empty = Evidence::default();
        for (v, variable) in network.variables().iter().enumerate() {
            empty.soft.insert(v, vec![1.0; variable.states.len()]);
        }
        same(&tree.posteriors(&empty).unwrap(), &before, seed);
    }
}

/// A hard observation is a likelihood that is zero elsewhere.
#[test]
fn a_likelihood_of_one_state_only_is_an_observation() {
    for seed in 0..500 {
        let mut chance = Chance(seed + 4_000_000);
        let network = chance.network();
        let tree = JunctionTree::new(&network, DEFAULT_LIMIT).unwrap();
        let v = chance.below(network.variables().len());
        let n = network.variables()[v].states.len();
        let state = chance.below(n);
        let (mut hard, mut soft) = (Evidence::default(), Evidence::default());
        hard.hard.insert(v, state);
        let mut weights = vec![0.0; n];
        weights[state] = 1.0;
        soft.soft.insert(v, weights);
        match (tree.posteriors(&hard), tree.posteriors(&soft)) {
            (Ok(one), Ok(other)) => same(&one, &other, seed),
            (Err(_), Err(_)) => {}
            _ => panic!("seed {seed}"),
        }
    }
}
