//! The trade's rules on when more checking is pointless, each on several engines; and choices that it would recognise.
//!
//! `cases/rules/NN-words.toml` holds one rule: jobs told entry by entry, and what must come of them. Limits are the rules' own,
//! loose on purpose, and never from a run. `cases/rules/README.md` says how a file is written. `cases/choices/` holds choices in the same
//! form.

#![expect(
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    reason = "helpers of tests stop at the first surprise"
)]

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use anatomy::{EngineLayout, Position};
use inference::lanes::{Engine, Extra};
use knowledge::Knowledge;
use logbook::{JobState, fold, seal_story, story_from_lines};
use serde::Deserialize;
use serde_json::{Value, json};
use workup::{Belief, Case, CheckWorth, beliefs, findings, network, work_up};

fn knowledge() -> &'static Knowledge {
    static LOADED: OnceLock<Knowledge> = OnceLock::new();
    LOADED.get_or_init(|| Knowledge::builtin().expect("the built-in knowledge loads"))
}

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

/// One thing that must come of a job.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct Want {
    /// A figure of the case: see [`Job::figure`].
    of: Option<String>,
    above: Option<f64>,
    below: Option<f64>,
    /// Another figure that the first is above.
    more_than: Option<String>,
    /// Higher, or lower, than before `then`.
    rises: bool,
    falls: bool,
    /// Within so much of what it was before `then`.
    stays_within: Option<f64>,
    /// More than so many times what it was before `then`.
    times_above: Option<f64>,
    /// Less than so many times what it was before `then`.
    times_below: Option<f64>,
    /// `again` moves it less than `then` did.
    moves_less_again: bool,
    /// For checks: whether any of them pays at these places.
    pays: Option<bool>,
    /// One of these checks is among the first advised.
    first: Vec<String>,
    within: Option<usize>,
    /// None of these is advised, nor any check of these stages.
    not_advised: Vec<String>,
    not_advised_stage: Vec<String>,
    /// None of these is open at all.
    not_open: Vec<String>,
    /// Nothing that is open turns the crank or runs the engine.
    nothing_turns: bool,
    /// Each of these is held back, and said so.
    withheld: Vec<String>,
    /// The words in which each of those is held back hold this.
    because: String,
    /// Each of these is open, whether it pays or not: a check, or a check and a place.
    open: Vec<String>,
    /// What is advised first is of no such stage.
    first_not_of_stage: Vec<String>,
    stop: Option<bool>,
    last_chance: Vec<String>,
    no_last_chance: bool,
    /// One of these is the best option.
    best: Vec<String>,
    /// Options by what they come to on average, the cheapest first; none of them struck out.
    order: Vec<String>,
    struck_out: Vec<String>,
    /// Why it does not hold yet. Where it does, the test asks for this to be taken off.
    not_yet: Option<String>,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct EngineHere {
    value: String,
    layout: Value,
}

fn folder(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../cases").join(name)
}

fn engines() -> BTreeMap<String, EngineHere> {
    let text = fs::read_to_string(folder("rules").join("engines.toml")).expect("engines.toml");
    toml::from_str(&text).expect("engines.toml reads")
}

/// `a-{1,2}-{x,y}` is `a-1-x`, `a-1-y`, `a-2-x`, `a-2-y`.
fn expanded(text: &str) -> Vec<String> {
    let Some(from) = text.find('{') else { return vec![text.to_owned()] };
    let to = text.get(from..).and_then(|rest| rest.find('}')).expect("a closing brace") + from;
    let (before, inside, after) = (&text[..from], &text[from + 1..to], &text[to + 1..]);
    inside.split(',').flat_map(|one| expanded(&format!("{before}{}{after}", one.trim()))).collect()
}

/// A job told line by line.
struct Job {
    layout: EngineLayout,
    lines: Vec<String>,
}

impl Job {
    fn on(engine: &EngineHere) -> Self {
        let layout = serde_json::from_value(engine.layout.clone()).expect("a layout");
        let mut job = Self { layout, lines: Vec::new() };
        let money = |amount: &str| json!({"amount": amount, "currency": "EUR"});
        job.tell("job-opened", json!({"title": "rule"}));
        job.tell("engine-described", json!({"layout": engine.layout}));
        job.tell("money-told", json!({"labour_rate": money("90")}));
        let vehicle = json!({"value": money(&engine.value), "horizon_months": 36, "miles_per_year": 12000});
        job.tell("vehicle-described", vehicle);
        job
    }

    fn tell(&mut self, kind: &str, body: Value) {
        let minute = self.lines.len();
        let at = format!("2026-03-02T{:02}:{:02}:00Z", 6 + minute / 60, minute % 60);
        let line = json!({"at": at, "by": "bench", "device": "bench-1", "kind": kind, "body": body});
        self.lines.push(line.to_string());
    }

    /// Tells one line of a rule file, which may stand for several entries.
    fn told(&mut self, line: &str) {
        if line.starts_with('{') {
            let entry: Value = serde_json::from_str(line).unwrap_or_else(|e| panic!("{line}: {e}"));
            self.tell(entry["kind"].as_str().expect("a kind"), entry["body"].clone());
            return;
        }
        for line in expanded(line) {
            let words: Vec<&str> = line.split_whitespace().collect();
            match words.as_slice() {
                ["stage", stages @ ..] => {
                    stages.iter().for_each(|stage| self.tell("stage-reached", json!({"stage": stage})));
                }
                ["look", check, reading, at, outcome] => self.tell(
                    "reading-taken",
                    json!({"check": check, "reading": reading, "position": at, "outcome": outcome}),
                ),
                ["read", check, reading, at, text, unit] => self.tell(
                    "reading-taken",
                    json!({"check": check, "reading": reading, "position": at, "value": {"text": text, "unit": unit}}),
                ),
                ["compression", unit, values @ ..] => {
                    for (cylinder, text) in (1..).zip(values) {
                        let value = json!({"text": text, "unit": unit});
                        let at = format!("cyl-{cylinder}");
                        let body =
                            json!({"check": "compression-dry", "reading": "pressure", "position": at, "value": value});
                        self.tell("reading-taken", body);
                    }
                }
                ["quote", option, price] => {
                    let price = json!({"amount": price, "currency": "EUR"});
                    self.tell(
                        "quote-received",
                        json!({"supplier": "counter", "option": option, "price": price, "lead_days": [2, 4]}),
                    );
                }
                ["told", attribute, value] => {
                    self.tell("attribute-told", json!({"attribute": attribute, "value": value, "told_by": "shop"}));
                }
                _ => panic!("not a line of a rule: {line}"),
            }
        }
    }

    fn state(&self) -> JobState {
        let lines = story_from_lines(&self.lines.join("\n")).expect("a story");
        fold(&seal_story("rule", &lines).expect("a sealed story"))
    }

    /// Works the job as far as it is told. What the store would refuse is a mistake of the file.
    fn worked(&self) -> Worked<'_> {
        let state = self.state();
        let case = work_up(&state, knowledge()).expect("a case");
        let odd: Vec<&String> = case.notices.iter().map(|n| &n.message).collect();
        assert!(case.findings.iter().all(|f| f.seen.is_some()), "a reading says nothing: {odd:?}");
        Worked { layout: &self.layout, state, case }
    }
}

struct Worked<'j> {
    layout: &'j EngineLayout,
    state: JobState,
    case: Case,
}

impl Worked<'_> {
    fn open(&self) -> impl Iterator<Item = &CheckWorth> {
        self.case.advice.next.iter().chain(&self.case.advice.rest)
    }

    fn beliefs<'a>(&'a self, id: &'a str, places: &'a [String]) -> Vec<&'a Belief> {
        let here = |b: &&Belief| {
            let at = b.position.map_or_else(|| "engine".to_owned(), |p| p.address());
            b.id == id && places.contains(&at)
        };
        let found: Vec<&Belief> = self.case.causes.iter().chain(&self.case.conditions).filter(here).collect();
        assert_eq!(found.len(), places.len(), "beliefs of {id} at {places:?}");
        found
    }

    /// The lines of some checks that look at nothing but these places; all places where none are named.
    fn lines(&self, checks: &[String], places: &[String]) -> Vec<&CheckWorth> {
        checks.iter().for_each(|c| assert!(knowledge().check(c).is_some(), "no check {c}"));
        let labels: Vec<String> = places.iter().map(|p| self.layout.label(&p.parse().expect("an address"))).collect();
        let inside = |c: &CheckWorth| {
            let at = |p: &Position| places.contains(&p.address());
            let alone = c.round.is_empty() && (at(&c.position) || c.also.iter().any(|l| labels.contains(l)));
            places.is_empty() || alone || (!c.round.is_empty() && c.round.iter().all(at))
        };
        self.open().filter(|c| checks.contains(&c.check) && inside(c)).collect()
    }

    /// A figure of the case, by words:
    ///
    /// - `chance CONDITION PLACE STATE|STATE`: the likeliest place; without states any but the first;
    /// - `odds CONDITION PLACE`: the logarithm of the odds of any state but the first;
    /// - `any CONDITION PLACES`: that one of the places at least has it;
    /// - `block BLOCK PLACE CLASS|CLASS`: a block in one of these classes;
    /// - `worth CHECKS PLACES`: the highest worth of one of the checks at these places, in labour units, its cost not taken off;
    /// - `net CHECKS PLACES`: the same with its cost taken off;
    /// - `cost OPTION`: what an option comes to on average to the horizon.
    fn figure(&self, words: &str) -> f64 {
        let words: Vec<&str> = words.split_whitespace().collect();
        match words.as_slice() {
            ["chance", id, at, states @ ..] => {
                let places = expanded(at);
                let states: Vec<&str> = states.iter().flat_map(|s| s.split('|')).collect();
                let chance = |b: &&Belief| {
                    let named = b.states.iter().filter(|(s, _)| states.contains(&s.as_str())).map(|(_, p)| p).sum();
                    if states.is_empty() { b.p } else { named }
                };
                self.beliefs(id, &places).iter().map(chance).fold(0.0, f64::max)
            }
            ["odds", id, at] => {
                let p = self.figure(&format!("chance {id} {at}"));
                (p / (1.0 - p)).ln()
            }
            ["any", id, at] => self.somewhere(id, &expanded(at)),
            ["block", id, at, classes] => {
                let label = self.layout.label(&at.parse().expect("an address"));
                let many = self.case.blocks.iter().filter(|b| b.id == *id).count() > 1;
                let here = self.case.blocks.iter().find(|b| b.id == *id && (!many || b.name.contains(&label)));
                let block = here.unwrap_or_else(|| panic!("no block {id} at {at}"));
                block.classes.iter().filter(|(c, _)| classes.split('|').any(|k| k == c)).map(|(_, p)| p).sum()
            }
            ["worth", checks] => self.worth(&expanded(checks), &[]),
            ["worth", checks, at] => self.worth(&expanded(checks), &expanded(at)),
            ["net", checks, at] => {
                let lines = self.lines(&expanded(checks), &expanded(at));
                lines.iter().map(|c| c.net).fold(f64::NEG_INFINITY, f64::max)
            }
            ["cost", option] => {
                let line = self.case.options.iter().find(|o| o.id == *option);
                line.unwrap_or_else(|| panic!("no option {option}")).expected
            }
            _ => panic!("not a figure of a case: {words:?}"),
        }
    }

    fn worth(&self, checks: &[String], places: &[String]) -> f64 {
        self.lines(checks, places).iter().map(|c| c.worth).fold(0.0, f64::max)
    }

    /// Chance that a condition is not in its first state at one of the places at least.
    fn somewhere(&self, condition: &str, places: &[String]) -> f64 {
        let net = network::engine_net(self.layout, &workup::told(&self.state, knowledge()), knowledge());
        let (found, _) = findings::of_state(&self.state, self.layout, &net, knowledge());
        let gathered = beliefs::gather(&net, self.layout, knowledge(), &found);
        let engine = Engine::build(&net.net, &gathered.readings).expect("an engine");
        let run = engine.run(&Extra::default()).expect("a run");
        let none: Vec<(usize, Vec<f64>)> = places
            .iter()
            .map(|at| {
                let variable = net.sites.get(&(condition.to_owned(), at.parse().expect("an address"))).expect("a site");
                let states = net.net.variables.get(*variable).expect("a variable").states.len();
                (*variable, (0..states).map(|s| if s == 0 { 1.0 } else { 0.0 }).collect())
            })
            .collect();
        1.0 - run.probability(&none)
    }

    fn advised(&self) -> Vec<String> {
        self.case.advice.next.iter().map(|c| format!("{} at {} {:+.2}", c.check, c.place, c.ahead())).collect()
    }
}

/// What is not as the rule says.
fn amiss(want: &Want, jobs: &[Worked<'_>]) -> Vec<String> {
    let mut out = Vec::new();
    let after = &jobs[1.min(jobs.len() - 1)];
    let mut hold = |holds: bool, why: String| {
        if !holds {
            out.push(why);
        }
    };
    if let Some(of) = &want.of {
        let is = after.figure(of);
        want.above.iter().for_each(|least| hold(is > *least, format!("{of} is {is:.4}, not above {least}")));
        want.below.iter().for_each(|most| hold(is < *most, format!("{of} is {is:.4}, not below {most}")));
        if let Some(than) = &want.more_than {
            let other = after.figure(than);
            hold(is > other, format!("{of} is {is:.4}, {than} {other:.4}"));
        }
        let was = jobs[0].figure(of);
        hold(!want.rises || is > was, format!("{of} was {was:.4} and is {is:.4}: it should rise"));
        hold(!want.falls || is < was, format!("{of} was {was:.4} and is {is:.4}: it should fall"));
        want.stays_within.iter().for_each(|by| {
            hold((is - was).abs() < *by, format!("{of} was {was:.4} and is {is:.4}: it should stay within {by}"));
        });
        want.times_above.iter().for_each(|times| {
            hold(is > was * times, format!("{of} was {was:.4} and is {is:.4}: not more than {times} times"));
        });
        want.times_below.iter().for_each(|times| {
            hold(is < was * times, format!("{of} was {was:.4} and is {is:.4}: {times} times are too much"));
        });
        if want.moves_less_again {
            let last = jobs.last().expect("a job").figure(of);
            let (first, second) = ((is - was).abs(), (last - is).abs());
            hold(second < first, format!("{of}: {was:.3}, {is:.3}, {last:.3}: the repeat should move it less"));
        }
        if let Some(pays) = want.pays {
            let words: Vec<&str> = of.split_whitespace().collect();
            let places = words.get(2).map_or_else(Vec::new, |at| expanded(at));
            let lines = after.lines(&expanded(words.get(1).expect("checks")), &places);
            let paying: Vec<String> = lines
                .iter()
                .filter(|c| after.case.advice.next.iter().any(|n| n.check == c.check && n.place == c.place))
                .map(|c| format!("{} at {} worth {:.3}, net {:+.3}", c.check, c.place, c.worth, c.ahead()))
                .collect();
            hold(paying.is_empty() != pays, format!("{of}: should pay: {pays}; paying: {paying:?}"));
        }
    }
    let known = |checks: &[String]| checks.iter().for_each(|c| assert!(knowledge().check(c).is_some(), "no check {c}"));
    let next = &after.case.advice.next;
    if !want.first.is_empty() {
        known(&want.first);
        let among = next.iter().take(want.within.unwrap_or(1)).any(|c| want.first.contains(&c.check));
        hold(among, format!("one of {:?} should be first, not {:?}", want.first, after.advised()));
    }
    known(&want.not_advised);
    let unwanted =
        next.iter().find(|c| want.not_advised.contains(&c.check) || want.not_advised_stage.contains(&c.stage));
    hold(unwanted.is_none(), format!("{:?} is advised: {:?}", unwanted.map(|c| &c.check), after.advised()));
    known(&want.not_open);
    let open = after.open().find(|c| want.not_open.contains(&c.check));
    hold(open.is_none(), format!("{:?} is open", open.map(|c| &c.check)));
    for wanted in &want.open {
        let words: Vec<&str> = wanted.split_whitespace().collect();
        let (check, at) =
            (expanded(words.first().expect("a check")), words.get(1).map_or_else(Vec::new, |at| expanded(at)));
        hold(!after.lines(&check, &at).is_empty(), format!("{wanted} is not open"));
    }
    let leads = next.first().filter(|c| want.first_not_of_stage.contains(&c.stage));
    hold(leads.is_none(), format!("{:?} comes first", leads.map(|c| &c.check)));
    let turns = after
        .open()
        .filter_map(|c| knowledge().check(&c.check))
        .find(|check| check.stage == "engine-running" || check.prerequisites.iter().any(|p| p == "crank-turns"));
    hold(!want.nothing_turns || turns.is_none(), format!("{:?} is open and turns the crank", turns.map(|c| &c.id)));
    known(&want.withheld);
    for check in &want.withheld {
        hold(
            after.case.advice.withheld.iter().any(|w| w.check == *check && w.why.contains(&want.because)),
            format!("{check} is not said to be held back"),
        );
    }
    if let Some(stop) = want.stop {
        let says = after.case.advice.stop.as_ref();
        hold(says.is_some() == stop, format!("stop should be {stop}: {says:?}, {:?}", after.advised()));
        // A stop names the reading that would open it again, where there is one.
        if let Some(says) = says.filter(|_| stop) {
            let anything = after.case.advice.rest.iter().any(|c| c.worth > 0.0);
            let named = says.nearest.as_ref().is_some_and(|n| says.words.contains(n));
            hold(!anything || named, format!("the stop names no reading: {}", says.words));
        }
    }
    let listed = &after.case.advice.last_chance;
    for check in &want.last_chance {
        let name = &knowledge().check(check).unwrap_or_else(|| panic!("no check {check}")).name;
        hold(listed.contains(name), format!("{check} is not a last chance: {listed:?}"));
    }
    hold(!want.no_last_chance || listed.is_empty(), format!("nothing should be a last chance: {listed:?}"));
    let line =
        |id: &String| after.case.options.iter().find(|o| o.id == *id).unwrap_or_else(|| panic!("no option {id}"));
    for id in &want.struck_out {
        hold(line(id).struck_out.is_some(), format!("{id} is not struck out"));
    }
    let costs: Vec<f64> = want.order.iter().map(|id| line(id).expected).collect();
    let open = want.order.iter().all(|id| line(id).struck_out.is_none());
    hold(open && costs.is_sorted(), format!("{:?} come to {costs:.1?}, all open: {open}", want.order));
    let best = &after.case.advice.best;
    hold(want.best.is_empty() || want.best.contains(best), format!("{best} is best, not {:?}", want.best));
    out
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
