//! The trade's rules on when more checking is pointless, each on several engines; and choices that it would recognise.
//!
//! `cases/rules/NN-words.toml` holds one rule: jobs told entry by entry, and what must come of them. Limits are the rules' own,
//! loose on purpose, and never from a run. `cases/rules/README.md` says how a file is written. `cases/choices/` holds choices in the same
//! form.

#![expect(clippy::expect_used, clippy::panic, reason = "helpers of tests stop at the first surprise")]

mod telling;

use std::collections::BTreeMap;
use std::fs;
use std::path::PathBuf;

use serde::Deserialize;
use telling::{EngineHere, Job, Want, Worked, amiss, folder};

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct RuleFile {
    rule: Option<u32>,
    says: String,
    case: Vec<RuleCase>,
}

/// One engine on which a rule is held.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct RuleCase {
    engine: String,
    about: String,
    /// Whether the case was not looked at while odds and prices were set.
    #[serde(default)]
    kept_aside: bool,
    entries: Vec<String>,
    /// Further entries: what is expected is held after them, and against the job before them.
    #[serde(default)]
    then: Vec<String>,
    /// Entries of the job that it is held against, in place of `then`.
    #[serde(default)]
    against: Vec<String>,
    /// Further entries after those, for what a second step does.
    #[serde(default)]
    again: Vec<String>,
    expect: Vec<Want>,
}

fn engines() -> BTreeMap<String, EngineHere> {
    let text = fs::read_to_string(folder("rules").join("engines.toml")).expect("engines.toml");
    toml::from_str(&text).expect("engines.toml reads")
}

/// A job as told before `then`, after it, and after `again`.
fn steps(case: &RuleCase, engine: &EngineHere) -> Vec<Job> {
    let told = |lists: &[&Vec<String>]| {
        let mut job = Job::on(engine);
        lists.iter().copied().flatten().for_each(|line| job.told(line));
        job
    };
    let mut out = vec![told(&[&case.entries, &case.against])];
    if !case.then.is_empty() {
        out.push(told(&[&case.entries, &case.then]));
    }
    if !case.again.is_empty() {
        out.push(told(&[&case.entries, &case.then, &case.again]));
    }
    out
}

/// The files of a folder, by name.
fn told_in(name: &str) -> Vec<(String, RuleFile)> {
    let entries = fs::read_dir(folder(name)).expect("a folder of cases");
    let mut paths: Vec<PathBuf> = entries.map(|e| e.expect("an entry").path()).collect();
    paths.sort();
    paths.retain(|p| p.extension().is_some_and(|e| e == "toml") && p.file_stem().is_some_and(|s| s != "engines"));
    paths
        .into_iter()
        .map(|path| {
            let text = fs::read_to_string(&path).expect("a rule");
            let name = path.file_stem().map(|s| s.to_string_lossy().into_owned()).unwrap_or_default();
            let read = toml::from_str(&text).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
            (name, read)
        })
        .collect()
}

/// Holds every case of a folder against what it expects.
fn all_hold(folder: &str) {
    let engines = engines();
    let mut wrong = Vec::new();
    for (name, file) in told_in(folder) {
        for case in &file.case {
            let engine = engines.get(&case.engine).unwrap_or_else(|| panic!("{name}: no engine {}", case.engine));
            let jobs = steps(case, engine);
            let worked: Vec<Worked<'_>> = jobs.iter().map(Job::worked).collect();
            for want in &case.expect {
                let found = amiss(want, &worked);
                let aside = if case.kept_aside { ", kept aside" } else { "" };
                let mut say = |why: &str| wrong.push(format!("{name}, {} ({}{aside}): {why}", case.engine, case.about));
                match &want.not_yet {
                    None => found.iter().for_each(|why| say(why)),
                    Some(reason) if found.is_empty() => say(&format!("holds now, so take `not_yet` off: {reason}")),
                    Some(_) => {}
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{} expectations:\n{}", wrong.len(), wrong.join("\n"));
}

#[test]
fn every_rule_holds_on_every_engine() {
    all_hold("rules");
}

#[test]
fn every_choice_falls_as_the_trade_expects() {
    all_hold("choices");
}

#[test]
fn every_rule_is_held_on_two_engines_at_least_and_on_one_more_that_was_kept_aside() {
    let rules = told_in("rules");
    let numbers: Vec<Option<u32>> = rules.iter().map(|(_, file)| file.rule).collect();
    assert_eq!(numbers, (1..=22).map(Some).collect::<Vec<_>>(), "one file a rule, in order");
    for (name, file) in &rules {
        assert!(!file.says.is_empty(), "{name} says what the trade says");
        let kinds = |aside: bool| {
            let engines = file.case.iter().filter(|c| c.kept_aside == aside).map(|c| &c.engine);
            engines.collect::<std::collections::BTreeSet<_>>()
        };
        assert!(kinds(false).len() >= 2, "{name} is held on {:?} only", kinds(false));
        assert!(!kinds(true).is_empty(), "{name} has no case that was kept aside");
        let judged = |w: &Want| format!("{w:?}") != format!("{:?}", Want::default());
        assert!(file.case.iter().all(|c| c.expect.iter().any(judged)), "{name}: a case that expects nothing");
    }
}
