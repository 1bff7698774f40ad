//! Advice: what each open check is worth in money after its own minutes, when to stop, and the options side by side.
//!
//! The worth of a check is what the best choice costs now, less what it costs on average when the outcome is known.
//! Both are averages over engines drawn from the exact joint distribution given the evidence: in each drawn engine every
//! part has a state, so every option has a cost and every outcome of every check a chance, whatever the check looks at.
//! An outcome that would not change the choice adds nothing, so a check that can only confirm is worth nothing. A saving
//! that the number of draws could have made by chance is not counted.

mod ahead;
mod priced;
mod sample;
mod worth;

use std::collections::{BTreeMap, BTreeSet};

use anatomy::{EngineLayout, Position};
use inference::lanes::{Draws, Run};
use knowledge::{Check, Forbidden, Knowledge, ReadingKind};
use logbook::JobState;
use priced::{Priced, smallest};
use rayon::prelude::*;
use sample::{Ask, Mostly, Sample, means};
use serde::Serialize;
use worth::Worth;

use crate::findings::{Finding, LimitUsed};
use crate::money::{self, Bill, BlockHere, Donors, OptionHere, OptionLine, OptionMoney, RiskLine, StruckOut, Terms};
use crate::network::{self, EngineNet, Seen, What};
use crate::opened;
use crate::quotes::aged::Aged;

/// Engines drawn from the exact distribution \[ours\].
pub const DRAWS: usize = 4096;
/// The first draw; the same case always draws the same engines.
pub const SEED: u64 = 1;
/// A saving smaller than this many of its standard errors is not counted \[ours\].
const SURE: f64 = 3.0;
/// A saving below this, in labour units, is none: it is a difference of sums that are equal but for their last digits.
const LEAST: f64 = 1e-9;
/// What two checks are worth together is known to about this, in labour units \[ours\].
const RESOLVED: f64 = 0.1;
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
    /// Where another check may follow and both are worth more than this one alone.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub together: Option<Together>,
    /// Chance that the outcome changes the choice.
    pub p_changes: f64,
    /// What can come out.
    pub outcomes: Vec<Outcome>,
    /// Whether a stage that cannot be undone makes it impossible later.
    pub last_chance: bool,
    /// Cautions to be shown where the check is done.
    pub cautions: Vec<String>,
}

/// A check with the one that may follow it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Together {
    /// Worth of both, in labour units, all costs taken off.
    pub net: f64,
    /// What the best other check is worth by itself: so much of it is not owed to this one.
    pub without: f64,
    /// What follows, by outcome.
    pub follows: Vec<Follows>,
}

/// What pays after an outcome.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Follows {
    /// The outcome in words.
    pub after: String,
    /// The check.
    pub check: String,
    /// Its name.
    pub name: String,
    /// Where, in the names of this engine.
    pub place: String,
}

/// Checks that may follow that are told in words \[ours\].
const TOLD: usize = 3;

impl Together {
    /// What may follow, in a sentence.
    #[must_use]
    pub fn in_words(&self) -> String {
        let mut by_check: Vec<(&Follows, Vec<&str>)> = Vec::new();
        for follows in &self.follows {
            match by_check.iter_mut().find(|(f, _)| f.check == follows.check && f.place == follows.place) {
                Some((_, after)) => after.push(&follows.after),
                None => by_check.push((follows, vec![&follows.after])),
            }
        }
        let told = by_check
            .iter()
            .take(TOLD)
            .map(|(f, after)| format!("{}, {}, after {}", f.name, f.place, after.join(" or ")));
        format!("worth more with what may follow: {}", told.collect::<Vec<_>>().join("; "))
    }
}

impl CheckWorth {
    /// What it is worth after all costs, with the check that may follow it.
    #[must_use]
    pub fn ahead(&self) -> f64 {
        self.together.as_ref().map_or(self.net, |t| t.net.max(self.net))
    }

    /// What it is worth with the check that may follow it, its own cost not taken off.
    #[must_use]
    pub fn worth_ahead(&self) -> f64 {
        self.worth + self.ahead() - self.net
    }

    /// Whether it pays, by itself or with the check that may follow it. A check that tells nothing pays with no other: whatever
    /// follows it would pay as much without it.
    #[must_use]
    pub fn pays(&self) -> bool {
        self.net > 0.0 || self.together.as_ref().is_some_and(|t| t.net > t.without.max(0.0) + RESOLVED)
    }
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
    /// The same by place among the priced choices.
    #[serde(skip)]
    pub(crate) choice: usize,
    /// The option after it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub runner_up: Option<String>,
    /// What the best choice costs on average, in labour units.
    pub expected: f64,
    /// What knowing everything would save, in labour units: all further checks together cannot be worth more.
    pub ceiling: f64,
}

impl Advice {
    /// The check after the first one, and by how much more the first could cost, in labour units, before that other one would
    /// be the better next step. Nothing where fewer than two pay, or where the first stands there for another reason.
    #[must_use]
    pub fn lead(&self) -> Option<(&CheckWorth, f64)> {
        let (first, others) = self.next.split_first()?;
        let second = others.iter().find(|c| c.check != first.check)?;
        let lead = first.ahead() - second.ahead();
        (lead > LEAST).then_some((second, lead))
    }
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

/// Every option of a scene, and of one that mends only what it opens every way of opening.
fn choices<'k>(scene: &Scene<'k, '_>, terms: &Terms) -> Vec<OptionHere<'k>> {
    let Scene { net, blocks, layout, knowledge, donors, .. } = *scene;
    let stated = money::options(net, blocks, layout, knowledge, &scene.state.quotes, terms, donors);
    money::choices(stated, net, blocks, layout, knowledge, terms)
}

fn count(n: usize) -> f64 {
    u32::try_from(n).map_or(1.0, f64::from).max(1.0)
}

fn withheld(check: &Check, scene: &Scene<'_, '_>, spun: f64, jumped: f64) -> Option<String> {
    if check.stage == opened::AFTER_REPAIR {
        return Some("a proof check: done after the repair, whatever it is worth".to_owned());
    }
    if let Some(why) = opened::shut_out(check, &scene.terms.reached, scene.knowledge) {
        return Some(why.to_owned());
    }
    if let Some(why) = good(scene).find_map(|finding| forbidden(finding, check, scene.knowledge)) {
        return Some(why.to_owned());
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

/// Why a finding forbids a check, where it does.
pub(crate) fn forbidden<'k>(finding: &Finding, check: &Check, knowledge: &'k Knowledge) -> Option<&'k str> {
    let Some(Seen::Outcome(place)) = finding.seen else { return None };
    let reading = knowledge.reading(&finding.check, &finding.reading)?;
    let (ReadingKind::Graded { outcomes, .. } | ReadingKind::Nominal { outcomes, .. }) = &reading.kind else {
        return None;
    };
    let shown = outcomes.get(place)?;
    let concerns = |what: Forbidden| match what {
        Forbidden::Running => check.stage == opened::RUNNING,
        Forbidden::Turning => turns_the_crank(check),
    };
    reading.forbids.iter().find(|f| f.outcome == *shown && concerns(f.what)).map(|f| f.why.as_str())
}

/// Whether a check runs or cranks the engine.
pub(crate) fn turns_the_crank(check: &Check) -> bool {
    check.stage == opened::RUNNING || check.prerequisites.iter().any(|p| p == "crank-turns")
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

/// What is said of a scene: blocks, options and advice, by what each check is worth alone.
pub(crate) struct Advised<'k> {
    /// What each block needs.
    pub(crate) blocks: Vec<BlockBelief>,
    /// The options side by side.
    pub(crate) options: Vec<OptionLine>,
    considered: Considered<'k>,
}

/// Works out blocks, options and advice, one step ahead.
pub(crate) fn advise<'k>(scene: &Scene<'k, '_>) -> Advised<'k> {
    let options = choices(scene, scene.terms);
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
    let blocks = block_beliefs(scene, &sample.classes);
    let options = option_lines(scene, &priced, &sample, &struck);
    Advised { blocks, options, considered: Considered::of(scene, sample, priced, allowed) }
}

impl Advised<'_> {
    /// The advice as far as it was worked.
    pub(crate) fn advice(&self, scene: &Scene<'_, '_>) -> Advice {
        self.considered.advice(scene)
    }
}

impl<'k> Advised<'k> {
    /// Looks two steps ahead as well.
    pub(crate) fn look_ahead(&mut self, scene: &Scene<'k, '_>) {
        self.considered.look_ahead(scene);
    }
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
        let sites: Vec<(usize, usize)> = scene
            .net
            .sites
            .iter()
            .filter(|((id, _), _)| *id == rule.condition)
            .filter_map(|(_, variable)| {
                let named = scene.net.net.variables.get(*variable)?;
                Some((*variable, named.states.iter().position(|s| *s == rule.state)?))
            })
            .collect();
        let chance =
            |&(variable, place): &(usize, usize)| scene.run.marginal(variable).get(place).copied().unwrap_or(0.0);
        let sure: Vec<usize> = sites.iter().filter(|site| chance(site) >= RULES_OUT).map(|(v, _)| *v).collect();
        // Where nobody knows at which place it is, it may be sure all the same that it is at one of them.
        let meant = if !sure.is_empty() {
            sure
        } else if sites.iter().map(chance).sum::<f64>() >= RULES_OUT && somewhere(scene, &sites) >= RULES_OUT {
            sites.iter().map(|(variable, _)| *variable).collect()
        } else {
            continue;
        };
        // The reading that looks at this very thing and is furthest from sound.
        let reading = scene
            .findings
            .iter()
            .filter(|f| !f.after_repair && !f.measure_again && meant.iter().any(|v| looks_at(f, *v, scene)))
            .max_by_key(|f| (severity(f), f.at.clone()));
        if let Some(finding) = reading {
            return Some(StruckOut {
                why: rule.why.clone(),
                entry: Some(finding.entry.clone()),
                reading: Some(in_words(finding)),
            });
        }
    }
    None
}

/// Chance that one of these variables at least is in the state named with it.
fn somewhere(scene: &Scene<'_, '_>, sites: &[(usize, usize)]) -> f64 {
    let none: Vec<(usize, Vec<f64>)> = sites
        .iter()
        .map(|&(variable, place)| {
            let count = scene.net.net.variables.get(variable).map_or(0, |v| v.states.len());
            (variable, (0..count).map(|s| if s == place { 0.0 } else { 1.0 }).collect())
        })
        .collect();
    1.0 - scene.run.probability(&none)
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
    format!("{}, {}{limit}", as_shown(finding), finding.verdict.words())
}

/// What was read, and where, in one line without its verdict.
pub(crate) fn as_shown(finding: &Finding) -> String {
    format!("{}, {}: {}", finding.check_name, finding.place, finding.shown)
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

/// Puts checks into the sequence in which they are told, the one to do next first.
///
/// What can be done with the engine as it stands comes before what must be opened first. A check that pays only by what may
/// follow it goes before others where nothing is worth more. Where worths cannot be told apart, what pays alone goes first.
fn in_sequence(list: &mut [CheckWorth]) {
    let rounded = |x: f64| (x / LEAST).round();
    let most = list.iter().map(|c| rounded(c.ahead())).fold(f64::NEG_INFINITY, f64::max);
    let late = |c: &CheckWorth| {
        let leans = c.net <= 0.0 && rounded(c.ahead()) < most;
        c.pays() && (c.access_minutes > 0.0 || leans)
    };
    let named = |a: &CheckWorth, b: &CheckWorth| a.check.cmp(&b.check).then_with(|| a.position.cmp(&b.position));
    list.sort_by(|a, b| {
        let by_worth = rounded(b.ahead()).total_cmp(&rounded(a.ahead()));
        late(a).cmp(&late(b)).then(by_worth).then_with(|| named(a, b))
    });
    let Some(first) = list.first().filter(|c| c.pays()) else { return };
    let (group, near) = (late(first), first.ahead() - RESOLVED);
    let leaders = list.iter().take_while(|c| c.pays() && late(c) == group && c.ahead() > near).count();
    let by_itself =
        |a: &CheckWorth, b: &CheckWorth| rounded(b.net).total_cmp(&rounded(a.net)).then_with(|| named(a, b));
    list.get_mut(..leaders).unwrap_or_default().sort_by(by_itself);
}

/// The open checks and rounds of a scene, each with what it asks.
struct Considered<'k> {
    candidates: Vec<Candidate>,
    sample: Sample,
    now: Priced<'k>,
    /// Options priced with the engine opened further, by the stages that this takes.
    further: BTreeMap<Vec<&'k str>, Priced<'k>>,
    /// The checks that are not offered, and why.
    kept_back: BTreeMap<String, String>,
    /// Per option: whether it is not struck out.
    allowed: Vec<bool>,
}

/// A check or a round that could be done.
struct Candidate {
    worth: CheckWorth,
    asked: Asked,
    /// Whether it is listed whatever may follow it: a round is not where one of its places does as well.
    listed: bool,
}

impl<'k> Considered<'k> {
    fn of(scene: &Scene<'k, '_>, sample: Sample, now: Priced<'k>, allowed: Vec<bool>) -> Self {
        let spun = worst_site(scene, &["rod-bearing", "main-bearing"], &["spun"]);
        let jumped = worst_site(scene, &["timing-drive"], &["jumped", "broken"]);
        let mut kept_back: BTreeMap<String, String> = BTreeMap::new();
        let mut open = Vec::new();
        for (check, position) in candidates(scene) {
            if let Some(why) = waits(scene, check, &position) {
                kept_back.insert(check.id.clone(), why.to_owned());
                continue;
            }
            match withheld(check, scene, spun, jumped) {
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
        let stages = |check: &Check| opened::missing(check, &scene.terms.reached, scene.knowledge);
        let sets: BTreeSet<Vec<&'k str>> =
            open.iter().map(|(check, _)| stages(check)).filter(|m| !m.is_empty()).collect();
        let opened_for = |missing: Vec<&'k str>| {
            let mut terms = scene.terms.clone();
            terms.reached.extend(missing.iter().map(|s| (*s).to_owned()));
            let then = Priced::of(scene, &sample, choices(scene, &terms));
            (missing, then.among(&allowed, &sample))
        };
        let sets: Vec<Vec<&'k str>> = sets.into_iter().collect();
        let further: BTreeMap<Vec<&'k str>, Priced<'k>> = sets.into_par_iter().map(opened_for).collect();
        let single: Vec<Valued<'_>> = open
            .into_par_iter()
            .filter_map(|(check, position)| {
                let missing = stages(check);
                let then = further.get(&missing).unwrap_or(&now);
                value_of(scene, &sample, check, &position, &missing, then, now.best.1)
            })
            .collect();
        let in_one_go: Vec<(CheckWorth, Asked, bool)> = rounds(scene, &single)
            .into_par_iter()
            .filter_map(|(position, members)| {
                let check = members.first()?.check;
                let missing = stages(check);
                let then = further.get(&missing).unwrap_or(&now);
                let (round, asked) = round_of(scene, &sample, check, position, &members, &missing, then, now.best.1)?;
                // A round that one of its places does as well is none.
                let alone = members.iter().map(|m| m.worth.net).fold(f64::NEG_INFINITY, f64::max);
                let pays = round.worth > 0.0 && round.net > alone;
                Some((round, asked, pays))
            })
            .collect();
        let singles = single.into_iter().map(|v| (v.worth, v.asked, true));
        let all = singles.chain(in_one_go).map(|(worth, asked, listed)| Candidate { worth, asked, listed });
        Self { candidates: all.collect(), sample, now, further, kept_back, allowed }
    }

    /// Looks two steps ahead, and notes where another check may follow.
    fn look_ahead(&mut self, scene: &Scene<'k, '_>) {
        let access = |stages: &[&str]| -> f64 {
            stages.iter().filter_map(|s| scene.knowledge.stage(s)).map(|s| s.access_minutes / 60.0).sum()
        };
        let Self { candidates, now, further, sample, .. } = self;
        let steps: Vec<ahead::Step<'_, 'k>> = candidates
            .iter()
            .enumerate()
            .filter_map(|(place, Candidate { worth, asked, .. })| {
                let check = scene.knowledge.check(&worth.check)?;
                let missing = opened::missing(check, &scene.terms.reached, scene.knowledge);
                let then = further.get(&missing).unwrap_or(now);
                let doing = worth.cost - access(&missing);
                let Asked { ask, level, waits } = asked;
                let (level, waits) = (*level, *waits);
                let (saving, net) = (worth.worth, worth.net);
                Some(ahead::Step { place, check: &worth.check, ask, then, missing, doing, saving, net, level, waits })
            })
            .collect();
        let capped = |step: &ahead::Step<'_, '_>, leads: usize, worth: &Worth| {
            let listed = candidates.get(step.place).map(|c| &c.worth);
            let listed = listed.and_then(|listed| Some((listed, scene.knowledge.check(&listed.check)?)));
            let most = listed.map(|(listed, check)| {
                let at = if listed.round.is_empty() { vec![listed.position] } else { listed.round.clone() };
                most_while_it_can_wait(scene, check, &at, step.then, leads, worth)
            });
            worth.saving.min(most.unwrap_or(f64::INFINITY))
        };
        let found = ahead::ahead(&steps, sample, access, capped);
        drop(steps);
        let told: Vec<(usize, Together)> = found
            .into_iter()
            .filter_map(|ahead::Ahead { place, net, follows }| {
                let first = &candidates.get(place)?.worth;
                let others = candidates.iter().enumerate().filter(|(other, _)| *other != place);
                let without = others.map(|(_, c)| c.worth.net).fold(f64::NEG_INFINITY, f64::max);
                let follow = |(outcome, next): (&Outcome, Option<usize>)| {
                    let next = &candidates.get(next?)?.worth;
                    let after = outcome.words.clone();
                    Some(Follows {
                        after,
                        check: next.check.clone(),
                        name: next.name.clone(),
                        place: next.place.clone(),
                    })
                };
                let follows = first.outcomes.iter().zip(follows).filter_map(follow).collect();
                Some((place, Together { net, without, follows }))
            })
            .collect();
        for (place, together) in told {
            if let Some(first) = candidates.get_mut(place) {
                first.worth.together = Some(together);
            }
        }
    }

    /// The checks in the sequence in which they are told, and when to stop.
    fn advice(&self, scene: &Scene<'_, '_>) -> Advice {
        let Self { now, sample, allowed, .. } = self;
        let best = now.best;
        let listed = |c: &Candidate| (c.listed || c.worth.together.is_some()).then(|| c.worth.clone());
        let mut list: Vec<CheckWorth> = self.candidates.iter().filter_map(listed).collect();
        in_sequence(&mut list);
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
        let (next, rest): (Vec<CheckWorth>, Vec<CheckWorth>) = merged.into_iter().partition(CheckWorth::pays);
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
        let last_chance = if scene.terms.reached.contains("top-end-open") || scene.terms.reached.contains("block-open")
        {
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
            withheld: self
                .kept_back
                .iter()
                .map(|(check, why)| Withheld { check: check.clone(), why: why.clone() })
                .collect(),
            best: name(best.0),
            choice: best.0,
            runner_up: others.first().map(|i| name(*i)),
            expected: best.1,
            ceiling,
        }
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
    asked: Asked,
}

/// What a check or a round asks.
struct Asked {
    ask: Ask,
    /// What it would be worth if the choices cost the same now.
    level: f64,
    /// Whether what it tells is seen better later.
    waits: bool,
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
            let worth = Worth::of(ask, sample, then);
            ask.telling = (worth.saving, worth.level);
        }
        let by_telling =
            |a: &Ask, b: &Ask| b.telling.0.total_cmp(&a.telling.0).then_with(|| b.telling.1.total_cmp(&a.telling.1));
        asks.sort_by(by_telling);
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
    let most = most_while_it_can_wait(scene, check, &[*position], then, base.0, &worth);
    let asked = Asked { level: worth.level, waits: most.is_finite(), ask };
    let (saving, p_changes, outcomes) = worth.told(&asked.ask, then);
    let place = Where { position: *position, round: Vec::new(), words: scene.layout.label(position) };
    let worth = priced_check(scene, check, place, missing, base.1 - now, (saving.min(most), p_changes, outcomes));
    Some(Valued { check, worth, best, alarm, asked })
}

/// The most that a look at a head through a closed engine is worth where the best choice takes that head off.
///
/// What such a look tells is seen better with the head on the bench, so knowing it now saves no more than taking the
/// head off in vain, in the outcomes after which it would stay on.
fn most_while_it_can_wait(
    scene: &Scene<'_, '_>,
    check: &Check,
    at: &[Position],
    then: &Priced<'_>,
    now: usize,
    worth: &Worth,
) -> f64 {
    let closed = check.stage == STANDING || check.stage == opened::RUNNING;
    let banks: Option<BTreeSet<_>> = at.iter().map(|p| scene.layout.bank_of(p)).collect();
    let (true, Some(banks)) = (closed, banks) else { return f64::INFINITY };
    let head = |bank| scene.blocks.iter().position(|b| b.position == Position::Bank(bank));
    let heads: Vec<usize> = banks.into_iter().filter_map(head).collect();
    let comes_off = |choice: usize| {
        then.options.get(choice).is_some_and(|option| match &option.opens {
            Some(opened) => option.beside.is_some() || heads.iter().all(|h| opened.contains(h)),
            None => then.takes_heads_off(scene, choice),
        })
    };
    if heads.is_empty() || !comes_off(now) {
        return f64::INFINITY;
    }
    let stays_on: f64 = worth.cells.iter().filter(|(_, choice)| !comes_off(*choice)).map(|(p, _)| p).sum();
    let in_vain = then.options.get(now).map_or(0.0, OptionHere::opening);
    stays_on * in_vain
}

/// Where a check is done: at one place, or at several in one go.
struct Where {
    position: Position,
    round: Vec<Position>,
    words: String,
}

/// What doing a check takes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Taking {
    /// Minutes of the check at all its places, warming the engine up included.
    pub(crate) minutes: f64,
    /// Labour units of opening the engine far enough.
    pub(crate) access: f64,
    /// Labour units of what it uses up.
    pub(crate) used: f64,
}

impl Taking {
    /// For so many places in one go, with stages still missing and findings there already.
    pub(crate) fn of(
        check: &Check,
        places: usize,
        missing: &[&str],
        findings: &[Finding],
        knowledge: &Knowledge,
    ) -> Self {
        let further = findings.iter().any(|f| f.check == check.id);
        let each = if check.minutes_further > 0.0 { check.minutes_further } else { check.minutes_first };
        let first = if further { each } else { check.minutes_first };
        let places = count(places);
        let running = if check.stage == opened::RUNNING {
            knowledge.stage(opened::RUNNING).map_or(0.0, |s| s.access_minutes)
        } else {
            0.0
        };
        let used = match check.consumables {
            knowledge::Consumables::None => 0.0,
            knowledge::Consumables::Low => 0.03,
            knowledge::Consumables::Medium => 0.15,
            knowledge::Consumables::High => 0.5,
        };
        Self {
            minutes: first + each * (places - 1.0) + running,
            access: missing.iter().filter_map(|s| knowledge.stage(s)).map(|s| s.access_minutes / 60.0).sum(),
            used: places * used,
        }
    }

    /// In labour units.
    pub(crate) fn cost(self) -> f64 {
        self.minutes / 60.0 + self.access + self.used
    }
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
    let places = place.round.len().max(1);
    let Taking { minutes, access, used } = Taking::of(check, places, missing, scene.findings, scene.knowledge);
    let cost = Taking { minutes, access, used }.cost();
    // What the choice costs now, less opening, checking and the choice after the outcome.
    let net = saving - (dearer + access).max(0.0) - minutes / 60.0 - used;
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
        minutes,
        access_minutes: access * 60.0,
        cost,
        worth: saving,
        net,
        together: None,
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
) -> Option<(CheckWorth, Asked)> {
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
        Some((Worth::of(&ask, sample, then), ask))
    });
    let says_more = |a: &(Worth, Ask), b: &(Worth, Ask)| {
        a.0.saving.total_cmp(&b.0.saving).then_with(|| a.0.level.total_cmp(&b.0.level))
    };
    let (worth, ask) = counted.max_by(says_more)?;
    let at: Vec<Position> = members.iter().map(|m| m.worth.position).collect();
    let most = most_while_it_can_wait(scene, check, &at, then, base.0, &worth);
    let asked = Asked { level: worth.level, waits: most.is_finite(), ask };
    let (saving, p_changes, outcomes) = worth.told(&asked.ask, then);
    let valued = (saving.min(most), p_changes, outcomes);
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
    Some((round, asked))
}

/// Whose quote prices a whole option, and how old it is where it is past its day.
fn quote_of(scene: &Scene<'_, '_>, option: &str, supplier: &str) -> String {
    let quote = money::quote_for(&scene.state.quotes, option);
    let aged = quote.and_then(|q| Some(Aged::of(scene.state, scene.knowledge, q)?.words(q.price)));
    aged.map_or_else(|| format!("quote of {supplier}"), |aged| format!("{supplier}, {aged}"))
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
                risks: RiskLine::of(option.option, &scene.state.quotes),
                struck_out: struck,
                price_from: option
                    .quoted
                    .as_ref()
                    .map_or_else(|| option.option.money_source.to_string(), |s| quote_of(scene, &option.option.id, s)),
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
