//! Whole cases, each told from the complaint to the choice in one file: `cases/whole/NN-words.toml`.
//!
//! What must come of them was written from the trade's logic before the first run, in ranges. `cases/whole/README.md` says how a file is
//! written and what it may expect.

#![expect(clippy::expect_used, clippy::panic, reason = "helpers of tests stop at the first surprise")]

mod telling;

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::PathBuf;

use anatomy::{Arrangement, Fuel};
use rayon::prelude::*;
use serde::Deserialize;
use telling::{EngineHere, Job, Want, amiss, folder, knowledge};

/// A case told in moments.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Whole {
    says: String,
    /// What kind of trap it holds.
    trap: Option<String>,
    /// What is wrong with the engine in truth, as far as the story tells.
    truth: String,
    engine: EngineHere,
    cut: Vec<Cut>,
}

/// A moment: what was done until then, and what must come of it.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Cut {
    about: String,
    entries: Vec<String>,
    expect: Vec<Want>,
}

/// Whether something is held against the moment before.
fn compares(want: &Want) -> bool {
    let by_figure = [want.stays_within, want.times_above, want.times_below];
    want.rises || want.falls || by_figure.iter().any(Option::is_some)
}

/// Whether it says what is to be done next, or not to be done.
fn advises(want: &Want) -> bool {
    let lists = [&want.first, &want.not_advised, &want.not_open, &want.withheld, &want.last_chance, &want.first_at];
    want.stop.is_some() || want.pays.is_some() || want.nothing_turns || lists.iter().any(|list| !list.is_empty())
}

fn whole() -> Vec<(String, Whole)> {
    let entries = fs::read_dir(folder("whole")).expect("a folder of cases");
    let mut paths: Vec<PathBuf> = entries.map(|e| e.expect("an entry").path()).collect();
    paths.retain(|p| p.extension().is_some_and(|e| e == "toml"));
    paths.sort();
    let read = |path: PathBuf| {
        let text = fs::read_to_string(&path).expect("a case");
        let name = path.file_stem().map(|s| s.to_string_lossy().into_owned()).unwrap_or_default();
        (name, toml::from_str(&text).unwrap_or_else(|e| panic!("{}: {e}", path.display())))
    };
    paths.into_iter().map(read).collect()
}

/// What does not hold in one case, with the moment it belongs to.
fn wrong_in(name: &str, case: &Whole) -> Vec<String> {
    let mut wrong = Vec::new();
    let mut job = Job::on(&case.engine);
    for (place, cut) in case.cut.iter().enumerate() {
        // What rises or falls does so against the moment before.
        let mut before = Job::on(&case.engine);
        case.cut.iter().take(place).flat_map(|c| &c.entries).for_each(|line| before.told(line));
        cut.entries.iter().for_each(|line| job.told(line));
        let compared = cut.expect.iter().any(compares);
        let jobs = if compared { vec![before.worked(), job.worked()] } else { vec![job.worked()] };
        for want in &cut.expect {
            let found = amiss(want, &jobs);
            let mut say = |what: &str| wrong.push(format!("{name}, {}: {what} (because: {})", cut.about, want.why));
            match &want.not_yet {
                None => found.iter().for_each(|what| say(what)),
                Some(reason) if found.is_empty() => say(&format!("holds now, so take `not_yet` off: {reason}")),
                Some(_) => {}
            }
        }
    }
    wrong
}

#[test]
fn every_whole_case_comes_out_as_an_engine_builder_would_have_it() {
    assert!(!knowledge().checks.is_empty(), "the knowledge is there");
    // Each case lays out its own engine; more at once only fight for the cores.
    let wrong: Vec<String> = whole().par_iter().flat_map(|(name, case)| wrong_in(name, case)).collect();
    assert!(wrong.is_empty(), "{} expectations:\n{}", wrong.len(), wrong.join("\n"));
}

/// The stories that stand in folders of their own, each with an `expect.toml`.
fn long_stories() -> usize {
    let entries = fs::read_dir(folder(".")).expect("the cases");
    entries.filter(|e| e.as_ref().expect("an entry").path().join("expect.toml").is_file()).count()
}

#[test]
fn there_are_twenty_whole_cases_five_kinds_of_trap_and_every_kind_of_layout() {
    let all = whole();
    assert!(all.len() + long_stories() >= 20, "{} and {}", all.len(), long_stories());
    let traps: BTreeSet<&str> = all.iter().filter_map(|(_, case)| case.trap.as_deref()).collect();
    let kinds = ["contradictory-readings", "history-that-lies", "look-alike", "reconditioned-head-bad", "wrong-gauge"];
    assert!(kinds.iter().all(|kind| traps.contains(kind)), "{traps:?}");
    assert!(traps.iter().all(|trap| kinds.contains(trap)), "{traps:?}: what kind of trap is that?");
    let mut layouts: BTreeMap<(Arrangement, u8), usize> = BTreeMap::new();
    let mut fuels: BTreeMap<Fuel, usize> = BTreeMap::new();
    for (_, case) in &all {
        let layout = Job::on(&case.engine).layout;
        *layouts.entry((layout.description().arrangement, layout.description().cylinders)).or_default() += 1;
        *fuels.entry(layout.description().fuel).or_default() += 1;
    }
    let has = |arrangement, cylinders| layouts.contains_key(&(arrangement, cylinders));
    assert!([1, 2, 3, 4, 5, 6].iter().all(|n| has(Arrangement::Inline, *n)), "{layouts:?}");
    assert!([2, 6, 8, 12].iter().all(|n| has(Arrangement::V, *n)), "{layouts:?}");
    assert!([4, 6].iter().all(|n| has(Arrangement::Flat, *n)), "{layouts:?}");
    let (petrol, diesel) = (fuels[&Fuel::Petrol], fuels[&Fuel::Diesel]);
    assert!(petrol.abs_diff(diesel) <= 3, "petrol {petrol}, diesel {diesel}: on a par");
}

#[test]
fn a_whole_case_has_several_moments_and_each_expects_something_for_a_reason() {
    for (name, case) in whole() {
        assert!(!case.says.is_empty() && !case.truth.is_empty(), "{name} tells what an engine builder sees in it");
        assert!(case.engine.called.is_some(), "{name}: whose engine is it?");
        assert!(case.cut.len() >= 2, "{name} has {} moments", case.cut.len());
        let told = |word: &str| case.cut.iter().flat_map(|c| &c.entries).any(|e| e.starts_with(word));
        assert!(told("complaint ") && told("look history-interview"), "{name}: what was told when it came in?");
        let wants: Vec<&Want> = case.cut.iter().flat_map(|c| &c.expect).collect();
        assert!(wants.iter().all(|w| !w.why.is_empty()), "{name}: an expectation without its reason");
        assert!(wants.iter().any(|w| w.finding.is_some()), "{name} expects no finding");
        assert!(wants.iter().any(|w| w.of.is_some()), "{name} expects no belief");
        assert!(wants.iter().any(|w| advises(w)), "{name} expects no advice");
        assert!(wants.iter().any(|w| !w.best.is_empty() || !w.not_best.is_empty()), "{name} expects no choice");
        assert!(case.cut.iter().all(|c| !c.expect.is_empty()), "{name}: a moment that expects nothing");
    }
}
