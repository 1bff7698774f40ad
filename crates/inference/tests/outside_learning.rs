//! Learning from records against values worked out elsewhere.
//!
//! Source and value by: `reference/learning/learning_example.json` in rational arithmetic and `learn_examples.json` with
//! `NumPy` and `SciPy`, by the scripts beside them; neither knows this code.

#![expect(clippy::unwrap_used, clippy::panic, clippy::indexing_slicing, reason = "the helpers of a test may fail it")]

use inference::learning::{Known, Learnt, Record, Test, by_expectation, completions, exact, gain, learnt, tail};
use proptest::prelude::*;
use serde_json::Value;

fn parsed(text: &str) -> Value {
    serde_json::from_str(text).unwrap()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("no number in {value}"))
}

fn near(ours: f64, theirs: f64, tolerance: f64, what: &str) {
    assert!((ours - theirs).abs() <= tolerance, "{what}: {ours}, expected {theirs} within {tolerance}");
}

/// The small example: two states, one test, eight records, three of them open.
fn small() -> (Known, Vec<Record>, Value) {
    let example = parsed(include_str!("../../../reference/learning/learning_example.json"));
    let known = Known {
        shares: vec![0.45, 0.55],
        worth: 8.0,
        tests: vec![Test { positive: vec![0.85, 0.07], worth: vec![12.0, 12.0] }],
    };
    let record = |job: &Value| {
        let possible = job["possible"].as_array().unwrap();
        Record {
            possible: (0..2).map(|state| possible.iter().any(|p| p.as_u64() == Some(state))).collect(),
            results: vec![Some(job["result"].as_u64() == Some(1))],
            weight: 1.0,
        }
    };
    let records = example["jobs"].as_array().unwrap().iter().map(record).collect();
    (known, records, example)
}

#[test]
fn the_small_example_in_rational_arithmetic() {
    let (known, records, example) = small();
    near(completions(&records), number(&example["completions"]), 0.0, "completions");
    let all = exact(&known, &records).unwrap().unwrap();
    let want = &example["exact"];
    near(all.shares[0], 17_077_169_318.0 / 31_569_897_335.0, 1e-12, "share, as a fraction");
    near(all.shares[0], number(&want["share_gasket"]), 1e-12, "share");
    near(all.positive[0][0], number(&want["sens"]), 1e-12, "sensitivity");
    near(all.positive[0][1], number(&want["false_pos"]), 1e-12, "false positives");
    let proved: Vec<Record> = records.iter().filter(|r| r.known().is_some()).cloned().collect();
    let only = learnt(&known, &proved).unwrap();
    let want = &example["proved_only"];
    near(only.shares[0], number(&want["share_gasket"]), 1e-12, "share of the proved");
    near(only.positive[0][0], number(&want["sens"]), 1e-12, "sensitivity of the proved");
    near(only.positive[0][1], number(&want["false_pos"]), 1e-12, "false positives of the proved");
}

/// The larger example: four faults, two tests, fourteen records, four of them open.
fn larger() -> (Known, Vec<Record>, Value) {
    let all = parsed(include_str!("../../../reference/learning/learn_examples.json"));
    let worked = &all["worked"];
    let words = |key: &str| -> Vec<String> {
        worked[key].as_array().unwrap().iter().map(|w| w.as_str().unwrap().to_owned()).collect()
    };
    let (faults, checks) = (words("faults"), words("checks"));
    let shares = worked["prior_mean"].as_array().unwrap().iter().map(number).collect();
    let tests = checks
        .iter()
        .map(|check| {
            let of = |fault: &String| &worked["sens_prior"][format!("{check}|{fault}")];
            Test {
                positive: faults.iter().map(|f| number(&of(f)[0])).collect(),
                worth: faults.iter().map(|f| number(&of(f)[1])).collect(),
            }
        })
        .collect();
    let known = Known { shares, worth: number(&worked["prior_strength"]), tests };
    let record = |job: &Value| {
        let possible = job["possible"].as_array().unwrap();
        Record {
            possible: faults.iter().map(|f| possible.iter().any(|p| p.as_str() == Some(f))).collect(),
            results: job["results"].as_array().unwrap().iter().map(|r| r.as_u64().map(|r| r == 1)).collect(),
            weight: 1.0,
        }
    };
    let records = worked["jobs"].as_array().unwrap().iter().map(record).collect();
    (known, records, all.clone())
}

fn compare(ours: &Learnt, want: &Value, all: &Value, tolerance: f64) {
    let worked = &all["worked"];
    for (state, share) in want["fault_prior"].as_array().unwrap().iter().enumerate() {
        near(ours.shares[state], number(share), tolerance, &format!("share {state}"));
    }
    for (test, check) in worked["checks"].as_array().unwrap().iter().enumerate() {
        for (state, fault) in worked["faults"].as_array().unwrap().iter().enumerate() {
            let key = format!("{}|{}", check.as_str().unwrap(), fault.as_str().unwrap());
            near(ours.positive[test][state], number(&want["p_positive"][&key]), tolerance, &key);
        }
    }
}

#[test]
fn fourteen_jobs_with_four_faults_and_two_checks() {
    let (known, records, all) = larger();
    let worked = &all["worked"];
    near(completions(&records), number(&worked["assignments_enumerated"]), 0.0, "completions");
    let ours = exact(&known, &records).unwrap().unwrap();
    compare(&ours, &worked["exact"], &all, 1e-10);
    let em = by_expectation(&known, &records).unwrap();
    compare(&em, &worked["em_with_pseudocounts"], &all, 1e-9);
    assert!(learnt(&known, &records).unwrap().exact);
}

#[test]
fn how_odd_a_count_is() {
    let all = parsed(include_str!("../../../reference/learning/learn_examples.json"));
    for one in all["conflict"].as_array().unwrap() {
        let count = |key: &str| u32::try_from(one[key].as_u64().unwrap()).unwrap();
        near(tail(count("k"), count("n"), 0.85, 12.0), number(&one["p_tail"]), 1e-10, &one.to_string());
    }
}

#[test]
fn what_learning_gains_on_records_it_has_not_seen() {
    let (known, records, all) = larger();
    let want = &all["guard_loo"];
    let ours = gain(&known, &records).unwrap().unwrap();
    near(ours.mean, number(&want["mean_gain_nats"]), 1e-12, "mean");
    near(ours.error, number(&want["se"]), 1e-12, "standard error");
    near(ours.records, number(&want["n"]), 0.0, "records");
    assert!(!ours.speaks_for(), "the book was right in these jobs");
}

/// Only suspicious engines are opened: 9 of 10 with a positive check, 15 of 100 with a negative one. What is counted on the
/// opened ones alone is far off; with the unopened ones as records of which nothing but the check is known it comes right.
#[test]
fn negatives_and_unopened_jobs_correct_for_what_was_opened() {
    let all = parsed(include_str!("../../../reference/learning/learn_examples.json"));
    let bias = &all["verification_bias"];
    let (se, sp) = (number(&bias["true"][0]), number(&bias["true"][1]));
    let share = 0.45;
    let known = Known {
        shares: vec![0.5, 0.5],
        worth: 1e-3,
        tests: vec![Test { positive: vec![0.5, 0.5], worth: vec![1e-3, 1e-3] }],
    };
    let jobs = 100_000.0;
    let mut records = Vec::new();
    for (bad, yes) in [(true, true), (true, false), (false, true), (false, false)] {
        let positive = if bad { se } else { 1.0 - sp };
        let here = if bad { share } else { 1.0 - share } * if yes { positive } else { 1.0 - positive };
        let opened = if yes { 0.9 } else { 0.15 };
        for (possible, part) in [(vec![bad, !bad], opened), (vec![true, true], 1.0 - opened)] {
            records.push(Record { possible, results: vec![Some(yes)], weight: jobs * here * part });
        }
    }
    let ours = learnt(&known, &records).unwrap();
    assert!(!ours.exact, "records that count in part are not summed one by one");
    near(ours.shares[0], share, 1e-4, "share");
    near(ours.positive[0][0], se, 1e-4, "sensitivity");
    near(1.0 - ours.positive[0][1], sp, 1e-4, "specificity");
    // What the opened ones alone say, by the same counts: the reference's own naive figures, which it has from random draws.
    let opened: Vec<Record> = records.iter().filter(|r| r.known().is_some()).cloned().collect();
    let naive = learnt(&known, &opened).unwrap();
    near(naive.positive[0][0], number(&bias["naive_se_sp"][0]), 2e-3, "naive sensitivity");
    near(1.0 - naive.positive[0][1], number(&bias["naive_se_sp"][1]), 5e-3, "naive specificity");
}

#[test]
fn what_does_not_fit_is_named() {
    let (known, mut records, _) = small();
    records[3].results.clear();
    let error = learnt(&known, &records).unwrap_err().to_string();
    assert!(error.contains("record number 3") && error.contains("1 tests"), "{error}");
    let (_, records, _) = small();
    let error = learnt(&Known { worth: 0.0, ..known }, &records).unwrap_err().to_string();
    assert!(error.contains("worth"), "{error}");
}

proptest! {
    /// Records that say nothing change nothing; what was known is worth its records; whole records are counted.
    #[test]
    fn counts_weigh_against_what_was_known(
        share in 0.05..0.95f64, worth in 1.0..40.0f64, first in 0_u32..30, second in 0_u32..30, silent in 0_usize..6,
    ) {
        let known = Known { shares: vec![share, 1.0 - share], worth, tests: Vec::new() };
        let record = |possible: [bool; 2]| Record { possible: possible.to_vec(), results: Vec::new(), weight: 1.0 };
        let mut records: Vec<Record> = Vec::new();
        records.extend((0..first).map(|_| record([true, false])));
        records.extend((0..second).map(|_| record([false, true])));
        let (k, n) = (f64::from(first), f64::from(first + second));
        let want = (share * worth + k) / (worth + n);
        prop_assert!((learnt(&known, &records).unwrap().shares[0] - want).abs() < 1e-12);
        records.extend((0..silent).map(|_| record([true, true])));
        let both = [exact(&known, &records).unwrap().unwrap(), by_expectation(&known, &records).unwrap()];
        for one in both {
            prop_assert!((one.shares[0] - want).abs() < 1e-9, "{one:?}, expected {want}");
        }
    }
}
