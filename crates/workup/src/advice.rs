//! Advice: what each open check is worth in money after its own minutes, when to stop, and the options side by side.
//!
//! The worth of a check is what the best choice costs now, less what it costs on average when the outcome is known.
//! Both are averages over engines drawn from the exact joint distribution given the evidence: in each drawn engine every
//! part has a state, so every option has a cost and every outcome of every check a chance, whatever the check looks at.
//! An outcome that would not change the choice adds nothing, so a check that can only confirm is worth nothing. A saving
//! that the number of draws could have made by chance is not counted.

mod sample;

use std::collections::{BTreeMap, BTreeSet};

use anatomy::{EngineLayout, Position};
use inference::lanes::{Draws, Run};
use knowledge::{Check, Knowledge};
use logbook::JobState;
use rayon::prelude::*;
use sample::{Ask, ByKind, Mostly, Sample, means};
use serde::Serialize;

use crate::findings::{Finding, LimitUsed};
use crate::money::{self, Bill, Bills, BlockHere, Donors, OptionHere, OptionLine, OptionMoney, StruckOut, Terms};
use crate::network::{self, EngineNet, What};
use crate::opened;

/// Engines drawn from the exact distribution \[ours\].
pub const DRAWS: usize = 4096;
/// The first draw; the same case always draws the same engines.
pub const SEED: u64 = 1;
/// A saving smaller than this many of its standard errors is not counted \[ours\].
const SURE: f64 = 3.0;
/// A saving below this, in labour units, is none: it is a difference of sums that are equal but for their last digits.
const LEAST: f64 = 1e-9;
/// From here on a condition rules an option out \[ours\].
const RULES_OUT: f64 = 0.9;
/// From here on a spun bearing or a jumped drive forbids running or cranking the engine \[ours\].
const UNSAFE: f64 = 0.3;
/// From here on a condition is more likely than not.
const LIKELY: f64 = 0.5;
/// A last-chance check may take this long, setting up included \[ours\].
const LAST_CHANCE_MINUTES: f64 = 40.0;
/// What must be so before a witness is looked at that any hand would wipe away.
const UNTOUCHED: &str = "untouched-surface";
/// The stage at which nothing is open yet.
const STANDING: &str = "engine-in-car-not-running";
/// Most outcome cells that one check is split into \[ours\].
const MOST_CELLS: usize = 16;

/// Chances of one block's classes.
#[derive(Debug, Clone, Serialize)]
pub struct BlockBelief {
    /// The block.
    pub id: String,
    /// Its name.
    pub name: String,
    /// Classes, mildest first, with their probabilities.
    pub classes: Vec<(String, f64)>,
}

/// An open check and what it is worth.
#[derive(Debug, Clone, Serialize)]
pub struct CheckWorth {
    /// The check.
    pub check: String,
    /// Its name.
    pub name: String,
    /// Where.
    pub position: Position,
    /// Where, in the names of this engine.
    pub place: String,
    /// Other places where it is worth as much.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub also: Vec<String>,
    /// For a round, one check at several places in one go: the places.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub round: Vec<Position>,
    /// The stage of strip-down it needs.
    pub stage: String,
    /// Minutes of the check itself.
    pub minutes: f64,
    /// Minutes of opening the engine far enough first.
    pub access_minutes: f64,
    /// Cost in labour units.
    pub cost: f64,
    /// Worth in labour units, its own cost not taken off.
    pub worth: f64,
    /// Worth less cost.
    pub net: f64,
    /// Chance that the outcome changes the choice.
    pub p_changes: f64,
    /// What can come out.
    pub outcomes: Vec<Outcome>,
    /// Whether a stage that cannot be undone makes it impossible later.
    pub last_chance: bool,
    /// Cautions to be shown where the check is done.
    pub cautions: Vec<String>,
}

/// One outcome of an open check.
#[derive(Debug, Clone, Serialize)]
pub struct Outcome {
    /// In words.
    pub words: String,
    /// Its probability.
    pub p: f64,
    /// The option that would then be best.
    pub then: String,
    /// What that option opens, where it mends only what it opens.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub opens: Vec<String>,
    /// The name of the option that the other heads get, where they do.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub others: Option<String>,
    /// The same by place among the priced choices.
    #[serde(skip)]
    choice: usize,
}

/// The advice of a work-up.
#[derive(Debug, Clone, Serialize)]
pub struct Advice {
    /// Open checks that pay, the best first.
    pub next: Vec<CheckWorth>,
    /// Open checks that do not pay, the nearest first.
    pub rest: Vec<CheckWorth>,
    /// Why to stop, where no check pays.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stop: Option<Stop>,
    /// Cheap checks that the next one-way stage makes impossible.
    pub last_chance: Vec<String>,
    /// Checks that are not offered, and why.
    pub withheld: Vec<Withheld>,
    /// The best option now.
    pub best: String,
    /// The option after it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub runner_up: Option<String>,
    /// What the best choice costs on average, in labour units.
    pub expected: f64,
    /// What knowing everything would save, in labour units: all further checks together cannot be worth more.
    pub ceiling: f64,
}

/// The reason to stop testing.
#[derive(Debug, Clone, Serialize)]
pub struct Stop {
    /// How many checks are still open.
    pub checks_left: usize,
    /// The open check that comes nearest to paying.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub nearest: Option<String>,
    /// Its minutes.
    pub minutes: f64,
    /// Chance that it would change the choice.
    pub p_changes: f64,
    /// In words.
    pub words: String,
}

/// A check that is not offered.
#[derive(Debug, Clone, Serialize)]
pub struct Withheld {
    /// The check.
    pub check: String,
    /// Why.
    pub why: String,
}

/// Everything the advice is worked from.
#[derive(Debug)]
pub struct Scene<'a, 'r> {
    /// The knowledge.
    pub knowledge: &'a Knowledge,
    /// The engine.
    pub layout: &'a EngineLayout,
    /// Its network.
    pub net: &'a EngineNet,
    /// The evidence worked.
    pub run: &'a Run<'r>,
    /// Engines drawn from it.
    pub draws: &'a Draws,
    /// The blocks.
    pub blocks: &'a [BlockHere],
    /// The state of the job.
    pub state: &'a JobState,
    /// The findings.
    pub findings: &'a [Finding],
    /// The terms.
    pub terms: &'a Terms,
    /// The other engines that options would put in.
    pub donors: &'a Donors,
}

/// Choices priced with the engine opened so far, in every drawn engine.
struct Priced<'k> {
    /// Every option, and of one that mends only what it opens every way of opening.
    options: Vec<OptionHere<'k>>,
    /// Names of the blocks.
    blocks: Vec<String>,
    /// Expected cost, in labour units: kind after kind of engine, option after option.
    table: Vec<Vec<f64>>,
    /// Its mean per option.
    expected: Vec<f64>,
    /// The best option now, with its mean.
    best: (usize, f64),
    /// The allowed options that are cheaper than the best in some kind of engine.
    contenders: Vec<usize>,
    /// What each contender saves over the best: kind after kind of engine.
    savings: Vec<f64>,
    /// Per contender: its savings summed over the drawn engines, and their squares.
    sums: Vec<(f64, f64)>,
}

impl<'k> Priced<'k> {
    /// The choices of a scene, not priced yet.
    fn choices(scene: &Scene<'k, '_>, terms: &Terms) -> Vec<OptionHere<'k>> {
        let Scene { net, blocks, layout, knowledge, donors, .. } = *scene;
        let stated = money::options(net, blocks, layout, knowledge, &scene.state.quotes, terms, donors);
        money::choices(stated, net, blocks, layout, knowledge, terms)
    }

    fn of(scene: &Scene<'k, '_>, sample: &Sample, options: Vec<OptionHere<'k>>) -> Self {
        let bills = Bills::of(&options);
        let row = |d: &usize| {
            let classes = sample.classes.get(*d).map_or(&[][..], Vec::as_slice);
            bills.expected(sample.draws.draw(*d), classes)
        };
        let table: Vec<Vec<f64>> = sample.of_kind.par_iter().map(row).collect();
        let expected = sample.means(&table);
        let blocks = scene.blocks.iter().map(|b| b.name.clone()).collect();
        let best = (0, f64::INFINITY);
        Self { options, table, expected, best, contenders: Vec::new(), savings: Vec::new(), sums: Vec::new(), blocks }
    }

    /// The same with the best of the allowed options found, and what stands against it.
    fn among(self, allowed: &[bool], sample: &Sample) -> Self {
        let best = smallest(&self.expected, allowed);
        let saving = |row: &Vec<f64>, option: usize| {
            let stay = row.get(best.0).copied().unwrap_or(0.0);
            stay - row.get(option).copied().unwrap_or(stay)
        };
        let dearer = |option: &usize| self.table.iter().all(|row| saving(row, *option) <= 0.0);
        let contenders: Vec<usize> = (0..self.options.len())
            .filter(|i| *i != best.0 && allowed.get(*i) == Some(&true))
            .filter(|i| !dearer(i))
            .collect();
        let savings: Vec<f64> = self.table.iter().flat_map(|row| contenders.iter().map(|o| saving(row, *o))).collect();
        let mut sums = vec![(0.0, 0.0); contenders.len()];
        for (row, n) in savings.chunks_exact(contenders.len().max(1)).zip(&sample.counts) {
            for (sum, saving) in sums.iter_mut().zip(row) {
                sum.0 += n * saving;
                sum.1 += n * saving * saving;
            }
        }
        Self { best, contenders, savings, sums, ..self }
    }

    /// What each contender saves over the best in a kind of engine.
    fn savings(&self, kind: usize) -> &[f64] {
        let width = self.contenders.len();
        self.savings.get(kind * width..(kind + 1) * width).unwrap_or_default()
    }

    /// Whether a choice takes every head off whatever is found.
    fn takes_heads_off(&self, scene: &Scene<'_, '_>, choice: usize) -> bool {
        let shuts = |stage: &String| scene.knowledge.stage(stage).and_then(|s| s.shuts);
        let access = self.options.get(choice).map_or(&[][..], |o| &o.option.access);
        access.iter().any(|stage| shuts(stage) == Some(knowledge::Shuts::Cranking))
    }

    /// The name of the option that the other heads get, where a choice gives them one.
    fn others(&self, choice: usize) -> Option<String> {
        self.options.get(choice).and_then(|o| o.beside).map(|o| o.name.clone())
    }

    /// The names of what a choice opens, where it is a choice of what to open.
    fn opens(&self, choice: usize) -> Vec<String> {
        let opened = self.options.get(choice).and_then(|o| o.opens.as_ref());
        opened.into_iter().flatten().filter_map(|i| self.blocks.get(*i).cloned()).collect()
    }
}

fn count(n: usize) -> f64 {
    u32::try_from(n).map_or(1.0, f64::from).max(1.0)
}

fn smallest(costs: &[f64], allowed: &[bool]) -> (usize, f64) {
    let mut best = (0, f64::INFINITY);
    for (index, cost) in costs.iter().enumerate() {
        if allowed.get(index).copied().unwrap_or(false) && *cost < best.1 {
            best = (index, *cost);
        }
    }
    best
}

/// What knowing the outcome of something is worth.
struct Worth {
    /// What is saved on average.
    saving: f64,
    /// Chance that the outcome changes the choice.
    p_changes: f64,
    /// Per outcome: its chance, and the choice that would then be best.
    cells: Vec<(f64, usize)>,
}

impl Worth {
    fn of(ask: &Ask, sample: &Sample, priced: &Priced<'_>) -> Self {
        let ByKind { kinds, sums, unlisted } = ask.by_kind(sample);
        let (total, width) = (ask.words.len(), priced.contenders.len());
        let by_cell = || kinds.iter().zip(sums.chunks_exact(total.max(1)));
        // What the engines that are not listed save, and its squares: of all engines less the listed ones.
        let mut rest = priced.sums.clone();
        let mut chance: Vec<f64> = ask.usual.iter().map(|p| p * unlisted).collect();
        let mut listed = vec![0.0; total * width];
        for ((kind, n), weights) in by_cell() {
            let savings = priced.savings(*kind);
            for (rest, saving) in rest.iter_mut().zip(savings) {
                rest.0 -= n * saving;
                rest.1 -= n * saving * saving;
            }
            for (cell, (chance, (w, _))) in chance.iter_mut().zip(weights).enumerate() {
                *chance += w;
                let sums = listed.get_mut(cell * width..(cell + 1) * width).unwrap_or_default();
                for (sum, saving) in sums.iter_mut().zip(savings) {
                    *sum += w * saving;
                }
            }
        }
        if unlisted <= 0.0 {
            rest.fill((0.0, 0.0));
        }
        let n = count(sample.draws.count);
        let error = |cell: usize, place: usize, mean: f64| {
            let usual = ask.usual.get(cell).copied().unwrap_or(0.0);
            let others = rest.get(place).map_or(0.0, |(_, squares)| squares * usual * usual);
            let here: f64 = by_cell()
                .map(|((kind, _), weights)| {
                    let saving = priced.savings(*kind).get(place).copied().unwrap_or(0.0);
                    weights.get(cell).map_or(0.0, |(_, squares)| squares * saving * saving)
                })
                .sum();
            (((others + here) / n - mean * mean).max(0.0) / n).sqrt()
        };
        let mut out = Self { saving: 0.0, p_changes: 0.0, cells: Vec::with_capacity(total) };
        for (cell, (p, usual)) in chance.iter().zip(&ask.usual).enumerate() {
            let p = p / n;
            let mut best = (priced.best.0, LEAST);
            let here = listed.get(cell * width..(cell + 1) * width).unwrap_or_default();
            for (place, ((sum, (rest, _)), option)) in here.iter().zip(&rest).zip(&priced.contenders).enumerate() {
                let mean = (sum + usual * rest) / n;
                if mean > best.1 && mean > SURE * error(cell, place, mean) {
                    best = (*option, mean);
                }
            }
            if best.0 != priced.best.0 {
                out.saving += best.1;
                out.p_changes += p;
            }
            out.cells.push((p, best.0));
        }
        out
    }

    /// Per outcome: whether it changes the choice, or whether it does not.
    fn changing(&self, now: usize, wanted: bool) -> Vec<bool> {
        self.cells.iter().map(|(_, choice)| (*choice != now) == wanted).collect()
    }

    /// The same with every outcome in words.
    fn told(self, ask: Ask, priced: &Priced<'_>) -> (f64, f64, Vec<Outcome>) {
        let outcome = |((p, choice), words): ((f64, usize), String)| Outcome {
            words,
            p,
            then: priced.options.get(choice).map_or_else(String::new, |o| o.option.id.clone()),
            opens: priced.opens(choice),
            others: priced.others(choice),
            choice,
        };
        (self.saving, self.p_changes, self.cells.into_iter().zip(ask.words).map(outcome).collect())
    }
}

fn withheld(check: &Check, scene: &Scene<'_, '_>, spun: f64, jumped: f64, hard_stop: bool) -> Option<String> {
    if check.stage == opened::AFTER_REPAIR {
        return Some("a proof check: done after the repair, whatever it is worth".to_owned());
    }
    if let Some(why) = opened::shut_out(check, &scene.terms.reached, scene.knowledge) {
        return Some(why.to_owned());
    }
    if hard_stop && (check.stage == opened::RUNNING || check.prerequisites.iter().any(|p| p == "crank-turns")) {
        return Some("the crank stops hard by hand: do not crank or run it".to_owned());
    }
    let cranks = check.stage == opened::RUNNING || check.cautions.iter().any(|c| c == "cranking-interference");
    if spun > UNSAFE && cranks {
        return Some(format!("a bearing has probably spun ({:.0} in 100): do not run or crank it", spun * 100.0));
    }
    if jumped > UNSAFE && cranks && scene.net.attributes.get("interference").is_none_or(|v| v != "no") {
        return Some(format!("the timing drive has probably jumped ({:.0} in 100): do not crank it", jumped * 100.0));
    }
    None
}

/// Why a check waits for another one on the same head, if it does.
fn waits<'k>(scene: &Scene<'k, '_>, check: &'k Check, position: &Position) -> Option<&'k str> {
    let bank = scene.layout.bank_of(position)?;
    let waits = |wait: &&knowledge::WaitFor| {
        let first = scene.knowledge.check(&wait.check);
        let of_this_engine = first.is_some_and(|c| network::applies(&c.applies, &scene.net.attributes));
        let done = scene.findings.iter().any(|f| {
            f.check == wait.check
                && !f.after_repair
                && !f.measure_again
                && scene.layout.bank_of(&f.position) == Some(bank)
        });
        let likely = scene
            .net
            .sites
            .iter()
            .filter(|((id, at), _)| *id == wait.condition && scene.layout.bank_of(at) == Some(bank))
            .any(|(_, variable)| {
                let states = scene.net.net.variables.get(*variable).map_or(&[][..], |v| &v.states);
                let meant = states.iter().zip(scene.run.marginal(*variable)).filter(|(s, _)| wait.states.contains(s));
                meant.map(|(_, p)| p).sum::<f64>() > LIKELY
            });
        of_this_engine && !done && likely
    };
    check.wait_for.iter().find(waits).map(|wait| wait.why.as_str())
}

fn worst_site(scene: &Scene<'_, '_>, conditions: &[&str], states: &[&str]) -> f64 {
    let mut worst = 0.0_f64;
    for (index, what) in scene.net.what.iter().enumerate() {
        let What::Condition(id, _) = what else { continue };
        if !conditions.contains(&id.as_str()) {
            continue;
        }
        let Some(variable) = scene.net.net.variables.get(index) else { continue };
        let chances = scene.run.marginal(index);
        let p: f64 =
            variable.states.iter().zip(chances).filter(|(s, _)| states.contains(&s.as_str())).map(|(_, p)| p).sum();
        worst = worst.max(p);
    }
    worst
}

/// Works out blocks, options and advice.
#[must_use]
pub fn advise(scene: &Scene<'_, '_>) -> (Vec<BlockBelief>, Vec<OptionLine>, Advice) {
    let options = Priced::choices(scene, scene.terms);
    let sample = Sample::of(scene, &options);
    let priced = Priced::of(scene, &sample, options);
    let beyond = crate::bounds::beyond(scene, &priced.options);
    let struck: Vec<Option<StruckOut>> =
        priced.options.iter().zip(beyond).map(|(o, beyond)| struck_out(o, scene).or(beyond)).collect();
    let mut allowed: Vec<bool> = struck.iter().map(Option::is_none).collect();
    if !allowed.iter().any(|a| *a) {
        allowed = vec![true; struck.len()];
    }
    let priced = priced.among(&allowed, &sample);
    let beliefs = block_beliefs(scene, &sample.classes);
    let advice = advice(scene, &sample, &priced, &allowed);
    let lines = option_lines(scene, &priced, &sample, &struck);
    (beliefs, lines, advice)
}

fn block_beliefs(scene: &Scene<'_, '_>, classes: &[Vec<usize>]) -> Vec<BlockBelief> {
    let n = count(classes.len());
    scene
        .blocks
        .iter()
        .enumerate()
        .map(|(b, block)| {
            let share = |k: usize| count_of(classes, b, k) / n;
            let chances = block.classes.iter().enumerate().map(|(k, name)| (name.clone(), share(k))).collect();
            BlockBelief { id: block.id.clone(), name: block.name.clone(), classes: chances }
        })
        .collect()
}

fn count_of(classes: &[Vec<usize>], block: usize, class: usize) -> f64 {
    let hits = classes.iter().filter(|row| row.get(block) == Some(&class)).count();
    u32::try_from(hits).map_or(0.0, f64::from)
}

fn struck_out(option: &OptionHere<'_>, scene: &Scene<'_, '_>) -> Option<StruckOut> {
    if let Some(said) = scene.state.ruled_out.iter().rfind(|r| r.option == option.option.id) {
        let entry = said.body.entry.map(|e| e.to_string());
        let reading = entry.as_ref().and_then(|e| scene.findings.iter().find(|f| f.entry == *e)).map(in_words);
        return Some(StruckOut { why: said.because.clone(), entry, reading });
    }
    for rule in &option.option.ruled_out_by {
        for ((id, _), variable) in &scene.net.sites {
            if *id != rule.condition {
                continue;
            }
            let Some(named) = scene.net.net.variables.get(*variable) else { continue };
            let Some(place) = named.states.iter().position(|s| *s == rule.state) else { continue };
            if scene.run.marginal(*variable).get(place).copied().unwrap_or(0.0) < RULES_OUT {
                continue;
            }
            // The reading that looks at this very thing and is furthest from sound.
            let reading = scene
                .findings
                .iter()
                .filter(|f| !f.after_repair && !f.measure_again && looks_at(f, *variable, scene))
                .max_by_key(|f| (severity(f), f.at.clone()));
            if let Some(finding) = reading {
                return Some(StruckOut {
                    why: rule.why.clone(),
                    entry: Some(finding.entry.clone()),
                    reading: Some(in_words(finding)),
                });
            }
        }
    }
    None
}

fn severity(finding: &Finding) -> u8 {
    match finding.verdict {
        quantity::Verdict::Outside => 3,
        quantity::Verdict::ByJudgement => 2,
        quantity::Verdict::CannotTell => 1,
        quantity::Verdict::Inside => 0,
    }
}

fn looks_at(finding: &Finding, variable: usize, scene: &Scene<'_, '_>) -> bool {
    scene.knowledge.reading(&finding.check, &finding.reading).is_some_and(|r| {
        network::observed(scene.net, scene.layout, r, &finding.position).iter().any(|(v, _)| *v == variable)
    })
}

/// A finding in one line.
#[must_use]
pub fn in_words(finding: &Finding) -> String {
    let limit =
        finding.limit.as_ref().map_or("", |l: &LimitUsed| if l.own { " (engine sheet)" } else { " (fallback)" });
    format!("{}, {}: {}, {}{limit}", finding.check_name, finding.place, finding.shown, finding.verdict.words())
}

/// The findings that something rests on: all but those to be measured again.
fn good<'a>(scene: &Scene<'a, '_>) -> impl Iterator<Item = &'a Finding> {
    scene.findings.iter().filter(|f| !f.measure_again)
}

fn candidates<'a>(scene: &Scene<'a, '_>) -> Vec<(&'a Check, Position)> {
    let done: BTreeSet<(&str, &str, String)> =
        good(scene).map(|f| (f.check.as_str(), f.reading.as_str(), f.position.address())).collect();
    let mut out = Vec::new();
    for check in &scene.knowledge.checks {
        if !network::applies(&check.applies, &scene.net.attributes) {
            continue;
        }
        for position in network::sites_of(scene.layout, check) {
            let open = check.readings.iter().any(|r| {
                network::applies(&r.applies, &scene.net.attributes)
                    && !done.contains(&(check.id.as_str(), r.id.as_str(), position.address()))
            });
            if open {
                out.push((&check.value, position));
            }
        }
    }
    out
}

fn advice(scene: &Scene<'_, '_>, sample: &Sample, now: &Priced<'_>, allowed: &[bool]) -> Advice {
    let best = now.best;
    let spun = worst_site(scene, &["rod-bearing", "main-bearing"], &["spun"]);
    let jumped = worst_site(scene, &["timing-drive"], &["jumped", "broken"]);
    let hard_stop = good(scene).any(|f| f.check == "crank-turned-by-hand" && f.shown == "stops hard");
    let mut kept_back: BTreeMap<String, String> = BTreeMap::new();
    let mut open = Vec::new();
    for (check, position) in candidates(scene) {
        if let Some(why) = waits(scene, check, &position) {
            kept_back.insert(check.id.clone(), why.to_owned());
            continue;
        }
        match withheld(check, scene, spun, jumped, hard_stop) {
            Some(why) => {
                kept_back.insert(check.id.clone(), why);
            }
            None => {
                // A wet test says something only where the dry one was low.
                if check.id == "compression-wet" && !low_dry(scene, &position) {
                    continue;
                }
                open.push((check, position));
            }
        }
    }
    // Options priced with the engine opened further, once per set of stages.
    let mut further: BTreeMap<Vec<&str>, Priced<'_>> = BTreeMap::new();
    let stages = |check: &Check| opened::missing(check, &scene.terms.reached, scene.knowledge);
    for (check, _) in &open {
        let missing = stages(check);
        if missing.is_empty() || further.contains_key(&missing) {
            continue;
        }
        let mut terms = scene.terms.clone();
        terms.reached.extend(missing.iter().map(|s| (*s).to_owned()));
        let then = Priced::of(scene, sample, Priced::choices(scene, &terms));
        further.insert(missing, then.among(allowed, sample));
    }
    let single: Vec<Valued<'_>> = open
        .into_par_iter()
        .filter_map(|(check, position)| {
            let missing = stages(check);
            let then = further.get(&missing).unwrap_or(now);
            value_of(scene, sample, check, &position, &missing, then, best.1)
        })
        .collect();
    let in_one_go: Vec<CheckWorth> = rounds(scene, &single)
        .into_par_iter()
        .filter_map(|(position, members)| {
            let check = members.first()?.check;
            let missing = stages(check);
            let then = further.get(&missing).unwrap_or(now);
            round_of(scene, sample, check, position, &members, &missing, then, best.1)
        })
        .collect();
    let mut list: Vec<CheckWorth> = single.into_iter().map(|v| v.worth).chain(in_one_go).collect();
    // What can be done with the engine as it stands comes before what must be opened first.
    list.sort_by(|a, b| {
        let shut = |c: &CheckWorth| c.net > 0.0 && c.access_minutes > 0.0;
        let net = |c: &CheckWorth| (c.net / LEAST).round();
        shut(a)
            .cmp(&shut(b))
            .then_with(|| net(b).total_cmp(&net(a)))
            .then_with(|| a.check.cmp(&b.check))
            .then_with(|| a.position.cmp(&b.position))
    });
    let mut merged: Vec<CheckWorth> = Vec::new();
    for worth in list {
        let same = |m: &&mut CheckWorth| {
            let alone = m.round.is_empty() && worth.round.is_empty();
            alone && m.check == worth.check && (m.net - worth.net).abs() < 1e-9 && m.worth > 0.0
        };
        match merged.iter_mut().find(same) {
            Some(same) => same.also.push(worth.place),
            None => merged.push(worth),
        }
    }
    let (next, rest): (Vec<CheckWorth>, Vec<CheckWorth>) = merged.into_iter().partition(|c| c.net > 0.0);
    let stop = next.is_empty().then(|| {
        let nearest = rest.iter().find(|c| c.worth > 0.0).or_else(|| rest.first());
        let minutes = nearest.map_or(0.0, |c| c.minutes + c.access_minutes);
        let p_changes = nearest.map_or(0.0, |c| c.p_changes);
        let words = match nearest {
            Some(c) if c.worth > 0.0 => format!(
                "no open check pays: the nearest, {} at {}, takes {minutes:.0} minutes and changes the choice in {:.0} of 100",
                c.name, c.place, p_changes * 100.0
            ),
            Some(_) => "no open check can change the choice".to_owned(),
            None => "nothing is left to check".to_owned(),
        };
        Stop { checks_left: rest.len(), nearest: nearest.map(|c| c.name.clone()), minutes, p_changes, words }
    });
    let last_chance = if scene.terms.reached.contains("top-end-open") || scene.terms.reached.contains("block-open") {
        Vec::new()
    } else {
        next.iter()
            .chain(&rest)
            .filter(|c| c.last_chance && c.minutes <= LAST_CHANCE_MINUTES && c.check != "compression-wet")
            .map(|c| c.name.clone())
            .collect::<BTreeSet<String>>()
            .into_iter()
            .collect()
    };
    let name = |index: usize| now.options.get(index).map_or_else(String::new, |o| o.option.id.clone());
    let id = |index: usize| now.options.get(index).map(|o| o.option.id.as_str());
    let mut others: Vec<usize> =
        (0..now.options.len()).filter(|i| id(*i) != id(best.0) && allowed.get(*i) == Some(&true)).collect();
    others.sort_by(|a, b| {
        let cost = |i: &usize| now.expected.get(*i).copied().unwrap_or(f64::INFINITY);
        cost(a).total_cmp(&cost(b))
    });
    let ceiling = ceiling(&now.table, &sample.counts, allowed, best.0);
    Advice {
        next,
        rest,
        stop,
        last_chance,
        withheld: kept_back.into_iter().map(|(check, why)| Withheld { check, why }).collect(),
        best: name(best.0),
        runner_up: others.first().map(|i| name(*i)),
        expected: best.1,
        ceiling,
    }
}

/// What knowing everything would save on average: no set of checks can be worth more. The mean is over the drawn engines, of
/// which a kind may have one or a thousand.
fn ceiling(table: &[Vec<f64>], counts: &[f64], allowed: &[bool], now: usize) -> f64 {
    let saved: Vec<Vec<f64>> =
        table.iter().map(|row| vec![row.get(now).copied().unwrap_or(0.0) - smallest(row, allowed).1]).collect();
    means(&saved, counts).first().copied().unwrap_or(0.0)
}

fn low_dry(scene: &Scene<'_, '_>, position: &Position) -> bool {
    good(scene).any(|f| {
        f.check == "compression-dry"
            && f.position == *position
            && !f.after_repair
            && f.verdict != quantity::Verdict::Inside
    })
}

/// A check at one place with its worth, and what a round needs of it.
struct Valued<'k> {
    check: &'k Check,
    worth: CheckWorth,
    /// The chance that everything it reads comes out at its best.
    best: Mostly,
    /// Where some outcomes turn the choice: the chance of the others, and the likeliest that does.
    alarm: Option<(Mostly, String)>,
}

fn value_of<'k>(
    scene: &Scene<'k, '_>,
    sample: &Sample,
    check: &'k Check,
    position: &Position,
    missing: &[&str],
    then: &Priced<'_>,
    now: f64,
) -> Option<Valued<'k>> {
    // With the engine opened further, the same options cost something else; the saving is counted from there.
    let base = then.best;
    let mut asks: Vec<Ask> = check
        .readings
        .iter()
        .filter(|r| network::applies(&r.applies, &scene.net.attributes))
        .filter(|r| !good(scene).any(|f| f.check == check.id && f.reading == r.id && f.position == *position))
        .map(|r| network::cuts(scene.net, scene.layout, r, position))
        .filter(|(cuts, _)| cuts.iter().any(|c| !c.factors.is_empty()))
        .map(|(cuts, words)| Ask::of(&cuts, worded(words), sample))
        .collect();
    if asks.is_empty() {
        return None;
    }
    if asks.len() > 1 {
        for ask in &mut asks {
            ask.telling = Worth::of(ask, sample, then).saving;
        }
        asks.sort_by(|a, b| b.telling.total_cmp(&a.telling));
        // The readings that tell most, as many as fit the grid.
        let mut size = 1;
        let fit = asks.iter().take_while(|a| {
            size *= a.words.len();
            size <= MOST_CELLS
        });
        let keep = fit.count().max(1);
        asks.truncate(keep);
    }
    let ask = Ask::all(asks)?;
    let worth = Worth::of(&ask, sample, then);
    // Every reading at its best: the first of the joint outcomes.
    let best = ask.first();
    // Where every outcome turns the choice, none of them is an alarm.
    let alarms = worth.changing(base.0, true);
    let alarm = (alarms.contains(&true) && alarms.contains(&false)).then(|| {
        let turning = worth.cells.iter().zip(&ask.words).zip(&alarms).filter(|(_, alarm)| **alarm);
        let likeliest = turning.max_by(|((a, _), _), ((b, _), _)| a.0.total_cmp(&b.0));
        (ask.any(&worth.changing(base.0, false)), likeliest.map_or_else(String::new, |((_, words), _)| words.clone()))
    });
    let valued = can_wait(scene, check, &[*position], then, base.0, worth.told(ask, then));
    let place = Where { position: *position, round: Vec::new(), words: scene.layout.label(position) };
    Some(Valued { check, worth: priced_check(scene, check, place, missing, base.1 - now, valued), best, alarm })
}

/// Caps the worth of a look at a head through a closed engine where the best choice takes that head off.
///
/// What such a look tells is seen better with the head on the bench, so knowing it now saves no more than taking the
/// head off in vain, in the outcomes after which it would stay on.
fn can_wait(
    scene: &Scene<'_, '_>,
    check: &Check,
    at: &[Position],
    then: &Priced<'_>,
    now: usize,
    (saving, p_changes, outcomes): (f64, f64, Vec<Outcome>),
) -> (f64, f64, Vec<Outcome>) {
    let closed = check.stage == STANDING || check.stage == opened::RUNNING;
    let banks: Option<BTreeSet<_>> = at.iter().map(|p| scene.layout.bank_of(p)).collect();
    let (true, Some(banks)) = (closed, banks) else { return (saving, p_changes, outcomes) };
    let head = |bank| scene.blocks.iter().position(|b| b.position == Position::Bank(bank));
    let heads: Vec<usize> = banks.into_iter().filter_map(head).collect();
    let comes_off = |choice: usize| {
        then.options.get(choice).is_some_and(|option| match &option.opens {
            Some(opened) => option.beside.is_some() || heads.iter().all(|h| opened.contains(h)),
            None => then.takes_heads_off(scene, choice),
        })
    };
    if heads.is_empty() || !comes_off(now) {
        return (saving, p_changes, outcomes);
    }
    let stays_on: f64 = outcomes.iter().filter(|o| !comes_off(o.choice)).map(|o| o.p).sum();
    let in_vain = then.options.get(now).map_or(0.0, OptionHere::opening);
    (saving.min(stays_on * in_vain), p_changes, outcomes)
}

/// Where a check is done: at one place, or at several in one go.
struct Where {
    position: Position,
    round: Vec<Position>,
    words: String,
}

/// A check with its worth and its price. `dearer`: what the best choice costs more with the engine opened further.
fn priced_check(
    scene: &Scene<'_, '_>,
    check: &Check,
    place: Where,
    missing: &[&str],
    dearer: f64,
    (saving, p_changes, outcomes): (f64, f64, Vec<Outcome>),
) -> CheckWorth {
    let further = scene.findings.iter().any(|f| f.check == check.id);
    let each = if check.minutes_further > 0.0 { check.minutes_further } else { check.minutes_first };
    let first = if further { each } else { check.minutes_first };
    let places = count(place.round.len());
    let minutes = first + each * (places - 1.0);
    let access: f64 = missing.iter().filter_map(|s| scene.knowledge.stage(s)).map(|s| s.access_minutes / 60.0).sum();
    let running = if check.stage == opened::RUNNING {
        scene.knowledge.stage(opened::RUNNING).map_or(0.0, |s| s.access_minutes)
    } else {
        0.0
    };
    let used = places
        * match check.consumables {
            knowledge::Consumables::None => 0.0,
            knowledge::Consumables::Low => 0.03,
            knowledge::Consumables::Medium => 0.15,
            knowledge::Consumables::High => 0.5,
        };
    let cost = (minutes + running) / 60.0 + access + used;
    // What the choice costs now, less opening, checking and the choice after the outcome.
    let net = saving - (dearer + access).max(0.0) - (minutes + running) / 60.0 - used;
    // Done on a closed engine only: on its way, under its own power, or before anything was touched.
    let closed = opened::needs_closed(check, scene.knowledge) || check.prerequisites.iter().any(|p| p == UNTOUCHED);
    let one_way = check.stage == opened::RUNNING || check.stage == STANDING && closed;
    CheckWorth {
        check: check.id.clone(),
        name: check.name.clone(),
        position: place.position,
        place: place.words,
        also: Vec::new(),
        round: place.round,
        stage: check.stage.clone(),
        minutes: minutes + running,
        access_minutes: access * 60.0,
        cost,
        worth: saving,
        net,
        p_changes,
        outcomes,
        last_chance: one_way,
        cautions: scene.knowledge.cautions_for(&check.cautions, network::told_of(&scene.net.attributes)),
    }
}

/// Outcomes as words.
fn worded(ids: Vec<String>) -> Vec<String> {
    ids.into_iter().map(|id| id.replace('-', " ")).collect()
}

/// In a round the places that do not come out at their best are counted up to here \[ours\].
const COUNTED: usize = 3;

/// The rounds worth a look: one check at all its open places of a head, and of the engine.
fn rounds<'v, 'k>(scene: &Scene<'_, '_>, single: &'v [Valued<'k>]) -> Vec<(Position, Vec<&'v Valued<'k>>)> {
    let mut groups: BTreeMap<(&str, Position), Vec<&Valued<'_>>> = BTreeMap::new();
    let heads = scene.layout.banks().len();
    for valued in single {
        let position = &valued.worth.position;
        let bank = scene.layout.bank_of(position);
        let by_valve = matches!(position.scope(), anatomy::Scope::ValveIntake | anatomy::Scope::ValveExhaust);
        if heads > 1
            && let Some(bank) = bank
        {
            groups.entry((valued.check.id.as_str(), Position::Bank(bank))).or_default().push(valued);
        }
        if heads == 1 || !by_valve {
            groups.entry((valued.check.id.as_str(), Position::Engine)).or_default().push(valued);
        }
    }
    groups.into_iter().filter(|(_, members)| members.len() > 1).map(|((_, at), members)| (at, members)).collect()
}

/// What the places of a round are called.
fn places(members: &[&Valued<'_>]) -> &'static str {
    use anatomy::Scope;
    let scopes: BTreeSet<Scope> = members.iter().map(|m| m.worth.position.scope()).collect();
    let only = |wanted: &[Scope]| scopes.iter().all(|s| wanted.contains(s));
    match () {
        () if only(&[Scope::ValveIntake, Scope::ValveExhaust]) => "valves",
        () if only(&[Scope::Cylinder]) => "cylinders",
        () if only(&[Scope::MainBearing, Scope::RodBearing]) => "bearings",
        () if only(&[Scope::Bank]) => "heads",
        () => "places",
    }
}

/// A round: one check at several places in one go, judged by how many of them come out as would turn the choice or,
/// where no single outcome would, not at their best. Which ones it is says more, so its worth is at least this.
#[expect(clippy::too_many_arguments, reason = "one call, the same terms as a single check")]
fn round_of(
    scene: &Scene<'_, '_>,
    sample: &Sample,
    check: &Check,
    position: Position,
    members: &[&Valued<'_>],
    missing: &[&str],
    then: &Priced<'_>,
    now: f64,
) -> Option<CheckWorth> {
    let base = then.best;
    let n = members.len();
    let most = COUNTED.min(n);
    // Two ways to count, and the one that says more: what is not at its best, and what would turn the choice.
    let by_alarm = members.iter().find_map(|m| m.alarm.as_ref()).map(|(_, words)| format!("{words} or worse"));
    let counted = [Some("not at its best".to_owned()), by_alarm].into_iter().enumerate().filter_map(|(way, what)| {
        let what = what?;
        let well: Vec<&Mostly> = match way {
            0 => members.iter().map(|m| &m.best).collect(),
            _ => members.iter().filter_map(|m| m.alarm.as_ref().map(|(quiet, _)| quiet)).collect(),
        };
        let words = (0..=most)
            .map(|k| match k {
                0 => format!("none of {n}: {what}"),
                k if k == most && most < n => format!("{k} or more of {n}: {what}"),
                k => format!("{k} of {n}: {what}"),
            })
            .collect();
        let ask = match most {
            2 => Ask::counted::<3>(&well, words),
            _ => Ask::counted::<{ COUNTED + 1 }>(&well, words),
        };
        Some(Worth::of(&ask, sample, then).told(ask, then))
    });
    let at: Vec<Position> = members.iter().map(|m| m.worth.position).collect();
    let valued = can_wait(scene, check, &at, then, base.0, counted.max_by(|a, b| a.0.total_cmp(&b.0))?);
    let place = Where {
        position,
        round: members.iter().map(|m| m.worth.position).collect(),
        words: if position == Position::Engine {
            format!("{n} {} of the engine", places(members))
        } else {
            format!("{n} {} of {}", places(members), scene.layout.label(&position))
        },
    };
    let round = priced_check(scene, check, place, missing, base.1 - now, valued);
    // A round that one of its places does as well is none.
    let single = members.iter().map(|m| m.worth.net).fold(f64::NEG_INFINITY, f64::max);
    (round.worth > 0.0 && round.net > single).then_some(round)
}

fn option_lines(
    scene: &Scene<'_, '_>,
    priced: &Priced<'_>,
    sample: &Sample,
    struck: &[Option<StruckOut>],
) -> Vec<OptionLine> {
    let Priced { options, table, expected, .. } = priced;
    let currency = scene.state.rates.labour_rate.as_ref().map(|m| m.currency().code().to_owned());
    let n = count(sample.kind.len());
    let allowed: Vec<bool> = struck.iter().map(Option::is_none).collect();
    let mut first = vec![0.0; options.len()];
    for (row, n) in table.iter().zip(&sample.counts) {
        if let Some(hits) = first.get_mut(smallest(row, &allowed).0) {
            *hits += n;
        }
    }
    let cost = |index: usize| expected.get(index).copied().unwrap_or(f64::INFINITY);
    let id = |index: usize| options.get(index).map(|o| o.option.id.as_str());
    // Of an option that can be opened in several ways, the best one is shown.
    let best_way = |index: &usize| {
        let same = (0..options.len()).filter(|i| id(*i) == id(*index));
        let out = |i: &usize| allowed.get(*i) != Some(&true);
        same.min_by(|a, b| out(a).cmp(&out(b)).then(cost(*a).total_cmp(&cost(*b)))) == Some(*index)
    };
    let share_first = |index: usize| -> f64 {
        let hits = (0..options.len()).filter(|i| id(*i) == id(index)).filter_map(|i| first.get(i)).sum::<f64>();
        hits / n
    };
    let mut lines: Vec<OptionLine> = options
        .iter()
        .enumerate()
        .filter(|(index, _)| best_way(index))
        .map(|(index, option)| {
            let struck = struck.get(index).cloned().flatten();
            // Price now in each drawn engine, and the chance of running to the horizon without coming back.
            let bill =
                |d: &usize| option.bill(sample.draws.draw(*d), sample.classes.get(*d).map_or(&[][..], Vec::as_slice));
            let by_kind: Vec<Bill> = sample.of_kind.iter().map(bill).collect();
            let bills: Vec<Bill> = sample.kind.iter().filter_map(|k| by_kind.get(*k)).copied().collect();
            let mut low: Vec<f64> = bills.iter().map(|b| b.price.lo).collect();
            let mut high: Vec<f64> = bills.iter().map(|b| b.price.hi).collect();
            let clear: f64 = bills.iter().map(|b| b.runs).sum();
            let car_lost = option.option.residual.as_ref().is_some_and(|r| r.car_lost);
            let price = [quantile(&mut low, 0.1), quantile(&mut high, 0.9)];
            let mean = expected.get(index).copied().unwrap_or(0.0);
            let money = scene.terms.rate.zip(currency.clone()).map(|(rate, currency)| OptionMoney {
                currency,
                expected: mean * rate,
                price: [price[0] * rate, price[1] * rate],
            });
            OptionLine {
                id: option.option.id.clone(),
                name: option.option.name_for(Some(scene.layout.heads().len())).to_owned(),
                expected: mean,
                price,
                money,
                days: option.days,
                p_trouble_free: (!car_lost).then(|| (clear / n).clamp(0.0, 1.0)),
                p_first: share_first(index),
                renewed: option.option.renewed.clone(),
                kept: option.option.kept.clone(),
                unknown_history: option.option.unknown_history.clone(),
                warranty: option.option.warranty.clone(),
                struck_out: struck,
                price_from: option
                    .quoted
                    .as_ref()
                    .map_or_else(|| option.option.money_source.to_string(), |s| format!("quote of {s}")),
                opens: priced.opens(index),
                others: priced.others(index),
                made: option.made(scene.blocks, scene.layout, scene.knowledge),
            }
        })
        .collect();
    lines.sort_by(|a, b| a.struck_out.is_some().cmp(&b.struck_out.is_some()).then(a.expected.total_cmp(&b.expected)));
    lines
}

fn quantile(values: &mut [f64], p: f64) -> f64 {
    values.sort_by(f64::total_cmp);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a place in a short list")]
    let place = (p * (count(values.len()) - 1.0)).round() as usize;
    values.get(place).copied().unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::ceiling;

    #[test]
    fn the_ceiling_counts_each_drawn_engine_and_not_each_kind() {
        // Three engines of four are of a kind for which the present choice is the best; the fourth would save 8.
        let (table, counts) = (vec![vec![2.0, 5.0], vec![9.0, 1.0]], [3.0, 1.0]);
        assert!((ceiling(&table, &counts, &[true, true], 0) - 2.0).abs() < 1e-12);
        assert!(ceiling(&table, &counts, &[true, false], 0).abs() < 1e-12);
    }
}
