//! The lane engine against plain enumeration on thousands of small random worst-of networks.

#![expect(
    clippy::indexing_slicing,
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a test over small tables whose shapes it makes itself"
)]

use inference::lanes::{Engine, Extra, Laid, drawn, forward_draws};
use inference::unroll::unroll;
use inference::worst::{Link, Reading, ReadingLink, Variable, WorstNet, cumulative};
use inference::{DEFAULT_LIMIT, JunctionTree};

/// A small generator of repeatable chance (splitmix64; constants from its public definition).
struct Chance(u64);
impl Chance {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / 9_007_199_254_740_992.0
    }
    fn below(&mut self, n: usize) -> usize {
        ((self.next() * n as f64) as usize).min(n - 1)
    }
    fn row(&mut self, n: usize) -> Vec<f64> {
        let raw: Vec<f64> = (0..n).map(|_| self.next() + 0.02).collect();
        let sum: f64 = raw.iter().sum();
        let mut out: Vec<f64> = raw.iter().map(|x| x / sum).collect();
        let rest: f64 = out[1..].iter().sum();
        out[0] = 1.0 - rest;
        out
    }
}

fn network(chance: &mut Chance) -> (WorstNet, Vec<Reading>) {
    let roots = 1 + chance.below(3);
    let others = 2 + chance.below(5);
    let mut net = WorstNet::default();
    for index in 0..roots + others {
        let states = 2 + chance.below(2);
        let mut links = Vec::new();
        if index >= roots {
            // A shared table now and then, so that the split for many alike parents is met.
            let shared = chance.next() < 0.4;
            let table: Vec<Vec<f64>> = (0..3).map(|_| chance.row(states)).collect();
            for parent in 0..index {
                if chance.next() < 0.55 {
                    let rows = net.variables[parent].states.len();
                    let mut given: Vec<Vec<f64>> =
                        if shared { table[..rows].to_vec() } else { (0..rows).map(|_| chance.row(states)).collect() };
                    if chance.next() < 0.5 && !shared {
                        given[0] = (0..states).map(|s| if s == 0 { 1.0 } else { 0.0 }).collect();
                    }
                    links.push(Link { parent, given });
                }
            }
        }
        net.variables.push(Variable {
            name: format!("v{index}"),
            states: (0..states).map(|s| format!("s{s}")).collect(),
            own: chance.row(states),
            links,
            root: index < roots,
            region: (0..chance.below(3)).map(|_| u16::from(chance.next() < 0.5)).collect(),
        });
    }
    let mut readings = Vec::new();
    for r in 0..chance.below(5) {
        let mut pair = |best: bool| {
            let row = chance.row(3);
            if best { [0.0, row[0] + row[1]] } else { [row[0], row[1]] }
        };
        let best = r % 2 == 0;
        let own = pair(best);
        let mut links = Vec::new();
        for parent in 0..net.variables.len() {
            let given: Vec<[f64; 2]> = (0..net.variables[parent].states.len()).map(|_| pair(best)).collect();
            links.push(ReadingLink { parent, given });
        }
        links.retain(|_| chance.next() < 0.5);
        let echo = if chance.next() < 0.3 { 0.4 } else { 0.0 };
        readings.push(Reading { name: format!("r{r}"), own, links, echo });
    }
    (net, readings)
}

/// Chance of one joint state and of the readings given it, by the definition of the worst of draws.
fn joint(net: &WorstNet, readings: &[Reading], state: &[usize]) -> f64 {
    let mut p = 1.0;
    for (index, variable) in net.variables.iter().enumerate() {
        let at_most = |k: usize| {
            let mut c = cumulative(&variable.own)[k];
            for link in &variable.links {
                c *= cumulative(&link.given[state[link.parent]])[k];
            }
            c
        };
        let k = state[index];
        p *= at_most(k) - if k == 0 { 0.0 } else { at_most(k - 1) };
    }
    for reading in readings {
        let mut upper = reading.own[0] + reading.own[1];
        let mut lower = reading.own[0];
        for link in &reading.links {
            let [below, here] = link.given[state[link.parent]];
            upper *= below + here;
            lower *= below;
        }
        p *= reading.echo + (1.0 - reading.echo) * (upper - lower);
    }
    p
}

struct Truth {
    p: f64,
    marginals: Vec<Vec<f64>>,
    event: f64,
}

fn enumerate(net: &WorstNet, readings: &[Reading], event: &[(usize, Vec<f64>)]) -> Truth {
    let cards: Vec<usize> = net.variables.iter().map(|v| v.states.len()).collect();
    let total: usize = cards.iter().product();
    let mut truth = Truth { p: 0.0, marginals: cards.iter().map(|c| vec![0.0; *c]).collect(), event: 0.0 };
    for mut code in 0..total {
        let state: Vec<usize> = cards
            .iter()
            .map(|c| {
                let s = code % c;
                code /= c;
                s
            })
            .collect();
        let p = joint(net, readings, &state);
        truth.p += p;
        for (index, s) in state.iter().enumerate() {
            truth.marginals[index][*s] += p;
        }
        truth.event += p * event.iter().map(|(v, f)| f[state[*v]]).product::<f64>();
    }
    truth
}

#[test]
fn posteriors_events_and_left_out_readings_equal_enumeration() {
    let mut chance = Chance(20_261_125);
    for case in 0..3000 {
        let (net, readings) = network(&mut chance);
        let mut event: Vec<(usize, Vec<f64>)> = Vec::new();
        for v in 0..net.variables.len() {
            if chance.next() < 0.4 {
                event.push((v, (0..net.variables[v].states.len()).map(|_| chance.next()).collect()));
            }
        }
        let truth = enumerate(&net, &readings, &event);
        let engine = Engine::build(&net, &readings).unwrap();
        let run = engine.run(&Extra::default()).unwrap();
        assert!((run.ln_p() - truth.p.ln()).abs() < 1e-11, "case {case}: {} {}", run.ln_p(), truth.p.ln());
        for (v, expected) in truth.marginals.iter().enumerate() {
            for (got, want) in run.marginal(v).iter().zip(expected) {
                assert!((got - want / truth.p).abs() < 1e-11, "case {case} variable {v}: {got} {}", want / truth.p);
            }
        }
        let p = run.probability(&event);
        assert!((p - truth.event / truth.p).abs() < 1e-11, "case {case}: event {p} {}", truth.event / truth.p);
        assert!(run.accuracy() < 1e-9, "case {case}: {}", run.accuracy());
        // The same constraints as a run of their own, and an event under it.
        let mut extra = Extra::default();
        if let Some((v, f)) = event.first() {
            extra.multiply(*v, f);
        }
        let narrowed = run.with(&extra).unwrap();
        let first = enumerate(&net, &readings, &event[..event.len().min(1)]);
        assert!(((narrowed.ln_p()) - first.event.ln()).abs() < 1e-11, "case {case}");
        let rest = narrowed.probability(&event[event.len().min(1)..]);
        assert!((rest - truth.event / first.event).abs() < 1e-10, "case {case}");
        // One reading left out.
        if !readings.is_empty() {
            let out = chance.below(readings.len());
            let mut fewer = readings.clone();
            fewer.remove(out);
            let without = enumerate(&net, &fewer, &[]);
            let extra = Extra { without: [out].into(), ..Extra::default() };
            let run = run.with(&extra).unwrap();
            assert!((run.ln_p() - without.p.ln()).abs() < 1e-11, "case {case}");
            for (v, expected) in without.marginals.iter().enumerate() {
                for (got, want) in run.marginal(v).iter().zip(expected) {
                    assert!((got - want / without.p).abs() < 1e-11, "case {case}");
                }
            }
        }
    }
}

#[test]
fn the_plain_form_gives_the_same_posteriors_in_the_general_engine() {
    let mut chance = Chance(77);
    for case in 0..600 {
        let (net, readings) = network(&mut chance);
        let truth = enumerate(&net, &readings, &[]);
        let (plain, evidence, places) = unroll(&net, &readings).unwrap();
        let again = inference::Network::from_bif(&plain.to_bif()).unwrap();
        assert_eq!(again.tables(), plain.tables());
        let tree = JunctionTree::for_evidence(&plain, &evidence, DEFAULT_LIMIT).unwrap();
        let posteriors = tree.posteriors(&evidence).unwrap();
        let log = posteriors.log10_p_evidence * std::f64::consts::LN_10;
        assert!((log - truth.p.ln()).abs() < 1e-11, "case {case}: {log} {}", truth.p.ln());
        for (v, expected) in truth.marginals.iter().enumerate() {
            for (got, want) in posteriors.marginals[places[v]].iter().zip(expected) {
                assert!((got - want / truth.p).abs() < 1e-11, "case {case} variable {v}: {got} {}", want / truth.p);
            }
        }
    }
}

#[test]
fn drawn_states_follow_the_exact_joint_distribution() {
    // Pairs of variables: the share of draws against the exact chance, in standard errors of that share.
    let mut chance = Chance(5);
    let (mut worst, mut compared) = (0.0_f64, 0);
    for _ in 0..150 {
        let (net, readings) = network(&mut chance);
        let engine = Engine::build(&net, &readings).unwrap();
        let run = engine.run(&Extra::default()).unwrap();
        let draws = run.draws(4000, 11);
        assert_eq!(draws, run.draws(4000, 11));
        let (a, b) = (chance.below(net.variables.len()), chance.below(net.variables.len()));
        for i in 0..net.variables[a].states.len() {
            for j in 0..net.variables[b].states.len() {
                let one = |n: usize, s: usize| (0..n).map(|k| if k == s { 1.0 } else { 0.0 }).collect::<Vec<f64>>();
                let mut event = vec![(a, one(net.variables[a].states.len(), i))];
                event.push((b, one(net.variables[b].states.len(), j)));
                let p = run.probability(&event);
                let hits = (0..draws.count)
                    .filter(|d| usize::from(draws.draw(*d)[a]) == i && usize::from(draws.draw(*d)[b]) == j)
                    .count();
                let share = hits as f64 / draws.count as f64;
                let error = (p * (1.0 - p) / draws.count as f64).sqrt().max(1e-4);
                worst = worst.max((share - p).abs() / error);
                compared += 1;
            }
        }
    }
    // About 900 comparisons: the largest of that many normal deviates lies under 4.8 in all but 1 of 700 runs.
    assert!(compared > 500 && worst < 4.8, "{compared} {worst}");
}

#[test]
fn an_engine_cut_into_parts_answers_the_same() {
    let mut chance = Chance(19);
    let mut cut_up = 0;
    for case in 0..600 {
        let (net, readings) = network(&mut chance);
        let whole = Engine::build(&net, &readings).unwrap();
        let parts = Engine::build(&net, &readings).unwrap().cut(1.0);
        cut_up += usize::from(parts.parts() > 1);
        let (a, b) = (whole.run(&Extra::default()).unwrap(), parts.run(&Extra::default()).unwrap());
        assert!((a.ln_p() - b.ln_p()).abs() < 1e-11, "case {case}");
        assert!(b.accuracy() < 1e-9, "case {case}: {}", b.accuracy());
        // Marginals that were asked for, and those that were not.
        let few = parts.run_for(&Extra::default(), &[0]).unwrap();
        for v in 0..net.variables.len() {
            for ((x, y), z) in a.marginal(v).iter().zip(b.marginal(v)).zip(few.marginal(v)) {
                assert!((x - y).abs() < 1e-11 && (x - z).abs() < 1e-11, "case {case} variable {v}: {x} {y} {z}");
            }
        }
        for (x, y) in a.roots().iter().zip(b.roots()) {
            assert!((x - y).abs() < 1e-11, "case {case}: {x} {y}");
        }
        let v = chance.below(net.variables.len());
        let event = vec![(v, (0..net.variables[v].states.len()).map(|_| chance.next()).collect::<Vec<f64>>())];
        assert!((a.probability(&event) - b.probability(&event)).abs() < 1e-11, "case {case}");
        let mut extra = Extra::default();
        extra.multiply(v, &event[0].1);
        extra.without.extend((!readings.is_empty()).then_some(0));
        let (c, d) = (a.with(&extra).unwrap(), b.with(&extra).unwrap());
        assert!((c.ln_p() - d.ln_p()).abs() < 1e-11, "case {case}");
    }
    assert!(cut_up > 300, "{cut_up} of 600 were cut");
}

#[test]
fn draws_do_not_depend_on_the_parts() {
    let mut chance = Chance(23);
    for _ in 0..60 {
        let (net, readings) = network(&mut chance);
        let whole = Engine::without_differences(&net, &readings).unwrap();
        let parts = Engine::without_differences(&net, &readings).unwrap().cut(1.0);
        let (a, b) = (whole.run(&Extra::default()).unwrap(), parts.run_for(&Extra::default(), &[]).unwrap());
        let (a, b) = (a.draws(2000, 3), b.draws(2000, 3));
        assert_eq!(b, parts.run(&Extra::default()).unwrap().draws(2000, 3));
        // The lanes come in another order, so single draws differ; the shares of the states must not.
        for v in 0..net.variables.len() {
            for s in 0..net.variables[v].states.len() {
                let share = |d: &inference::lanes::Draws| {
                    (0..d.count).filter(|i| usize::from(d.draw(*i)[v]) == s).count() as f64 / d.count as f64
                };
                assert!((share(&a) - share(&b)).abs() < 0.08, "{} {}", share(&a), share(&b));
            }
        }
    }
}

#[test]
fn some_root_states_alone_are_the_evidence_that_the_others_are_out() {
    let mut chance = Chance(29);
    for case in 0..600 {
        let (net, readings) = network(&mut chance);
        let Some(root) = net.variables.iter().position(|v| v.root) else { continue };
        let cards: Vec<usize> = net.variables.iter().filter(|v| v.root).map(|v| v.states.len()).collect();
        // The first root runs slowest: its first state are the first codes.
        let kept: usize = cards.iter().skip(1).product();
        let states: Vec<u32> = (0..u32::try_from(kept).unwrap()).collect();
        let among = Laid::out(&net, &readings).unwrap().among(&states);
        let mut extra = Extra::default();
        extra.multiply(root, &(0..cards[0]).map(|s| if s == 0 { 1.0 } else { 0.0 }).collect::<Vec<f64>>());
        let engine = Engine::build(&net, &readings).unwrap();
        let (a, b) = (engine.run(&extra).unwrap(), among.run(&Extra::default()).unwrap());
        assert!((a.ln_p() - b.ln_p()).abs() < 1e-11, "case {case}");
        for v in 0..net.variables.len() {
            for (x, y) in a.marginal(v).iter().zip(b.marginal(v)) {
                assert!((x - y).abs() < 1e-11, "case {case} variable {v}: {x} {y}");
            }
        }
    }
}

#[test]
fn what_is_left_out_stays_below_its_bound() {
    let mut chance = Chance(31);
    for case in 0..400 {
        let (net, readings) = network(&mut chance);
        let drawn = drawn(&net, &readings, 64, 1).unwrap();
        let (whole, among) =
            (Engine::build(&net, &readings).unwrap(), Laid::out(&net, &readings).unwrap().among(&drawn.likely));
        let (a, b) = (whole.run(&Extra::default()).unwrap(), among.run(&Extra::default()).unwrap());
        let bound = (drawn.ln_left_out - b.ln_p()).exp();
        assert!(bound < 1e-9, "case {case}: {bound}");
        assert!((a.ln_p() - b.ln_p()).abs() < bound + 1e-11, "case {case}");
        for v in 0..net.variables.len() {
            for (x, y) in a.marginal(v).iter().zip(b.marginal(v)) {
                assert!((x - y).abs() < bound + 1e-11, "case {case} variable {v}: {x} {y}");
            }
        }
    }
}

#[test]
fn engines_drawn_forward_follow_the_prior() {
    let mut chance = Chance(37);
    for case in 0..60 {
        let (net, _) = network(&mut chance);
        let truth = enumerate(&net, &[], &[]);
        let draws = forward_draws(&net, 8000, 5).unwrap();
        for (v, expected) in truth.marginals.iter().enumerate() {
            for (s, p) in expected.iter().enumerate() {
                let hits = (0..draws.count).filter(|i| usize::from(draws.draw(*i)[v]) == s).count();
                let error = (p * (1.0 - p) / 8000.0).sqrt().max(2e-4);
                // About 500 comparisons: 5 standard errors are passed by chance in one of 3000 runs.
                assert!((hits as f64 / 8000.0 - p).abs() < 5.0 * error, "case {case} variable {v} state {s}");
            }
        }
    }
}
