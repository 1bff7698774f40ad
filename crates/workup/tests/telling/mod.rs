//! Jobs told in short lines, and what must come of them: shared by the rules, the choices and the whole cases.
//!
//! The lines stand in [`Job::told`], the figures in [`Worked::figure`], what can be expected in [`Want`].

#![expect(
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    reason = "helpers of tests stop at the first surprise"
)]

use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use anatomy::{EngineLayout, Position};
use inference::lanes::{Engine, Extra};
use knowledge::Knowledge;
use logbook::{Content, JobState, ReadingValue, fold, seal_story, story_from_lines};
use serde::Deserialize;
use serde_json::{Value, json};
use workup::entering::ensure;
use workup::{Belief, Case, CheckWorth, Finding, beliefs, findings, network, work_up};

pub(crate) fn knowledge() -> &'static Knowledge {
    static LOADED: OnceLock<Knowledge> = OnceLock::new();
    LOADED.get_or_init(|| Knowledge::builtin().expect("the built-in knowledge loads"))
}

/// One thing that must come of a job.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(crate) struct Want {
    /// A figure of the case: see [`Job::figure`].
    pub(crate) of: Option<String>,
    pub(crate) above: Option<f64>,
    pub(crate) below: Option<f64>,
    /// Another figure that the first is above.
    pub(crate) more_than: Option<String>,
    /// Higher, or lower, than before `then`.
    pub(crate) rises: bool,
    pub(crate) falls: bool,
    /// Within so much of what it was before `then`.
    pub(crate) stays_within: Option<f64>,
    /// More than so many times what it was before `then`.
    pub(crate) times_above: Option<f64>,
    /// Less than so many times what it was before `then`.
    pub(crate) times_below: Option<f64>,
    /// `again` moves it less than `then` did.
    pub(crate) moves_less_again: bool,
    /// For checks: whether any of them pays at these places.
    pub(crate) pays: Option<bool>,
    /// One of these checks is among the first advised.
    pub(crate) first: Vec<String>,
    pub(crate) within: Option<usize>,
    /// None of these is advised, nor any check of these stages.
    pub(crate) not_advised: Vec<String>,
    pub(crate) not_advised_stage: Vec<String>,
    /// None of these is open at all.
    pub(crate) not_open: Vec<String>,
    /// Nothing that is open turns the crank or runs the engine.
    pub(crate) nothing_turns: bool,
    /// Each of these is held back, and said so.
    pub(crate) withheld: Vec<String>,
    /// The words in which each of those is held back hold this.
    pub(crate) because: String,
    /// Each of these is open, whether it pays or not: a check, or a check and a place.
    pub(crate) open: Vec<String>,
    /// What is advised first is of no such stage.
    pub(crate) first_not_of_stage: Vec<String>,
    pub(crate) stop: Option<bool>,
    pub(crate) last_chance: Vec<String>,
    pub(crate) no_last_chance: bool,
    /// One of these is the best option.
    pub(crate) best: Vec<String>,
    /// Options by what they come to on average, the cheapest first; none of them struck out.
    pub(crate) order: Vec<String>,
    pub(crate) struck_out: Vec<String>,
    pub(crate) not_struck_out: Vec<String>,
    /// None of these is the best option.
    pub(crate) not_best: Vec<String>,
    /// What is advised first is at one of these places.
    pub(crate) first_at: Vec<String>,
    /// `CHECK READING PLACE`, or `CHECK READING PLACE WORD` where several were read there: WORD is the mark of the gauge or the
    /// value as typed. The last such finding has one of the verdicts.
    pub(crate) finding: Option<String>,
    pub(crate) verdict: Vec<String>,
    /// That finding asks to be measured again and nothing rests on it.
    pub(crate) again: Option<bool>,
    /// The words of that finding, of its reason or of its next move hold this.
    pub(crate) says: String,
    /// A notice with this code is shown.
    pub(crate) notice: Option<String>,
    pub(crate) no_notice: Option<String>,
    /// An entry as JSON that is not taken at this moment.
    pub(crate) refused: Option<String>,
    /// A part that is still to come.
    pub(crate) awaited: Option<String>,
    /// The trade's reason.
    pub(crate) why: String,
    /// Why it does not hold yet. Where it does, the test asks for this to be taken off.
    pub(crate) not_yet: Option<String>,
}

/// An engine that a job is told on.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct EngineHere {
    pub(crate) value: String,
    pub(crate) layout: Value,
    /// Whose it is, where a case names one: invented, as all names here.
    #[serde(default)]
    pub(crate) called: Option<String>,
}

pub(crate) fn folder(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../cases").join(name)
}

/// `a-{1,2}-{x,y}` is `a-1-x`, `a-1-y`, `a-2-x`, `a-2-y`.
pub(crate) fn expanded(text: &str) -> Vec<String> {
    let Some(from) = text.find('{') else { return vec![text.to_owned()] };
    let to = text.get(from..).and_then(|rest| rest.find('}')).expect("a closing brace") + from;
    let (before, inside, after) = (&text[..from], &text[from + 1..to], &text[to + 1..]);
    inside.split(',').flat_map(|one| expanded(&format!("{before}{}{after}", one.trim()))).collect()
}

/// A job told line by line.
pub(crate) struct Job {
    pub(crate) layout: EngineLayout,
    lines: Vec<String>,
}

impl Job {
    pub(crate) fn on(engine: &EngineHere) -> Self {
        let layout = serde_json::from_value(engine.layout.clone()).expect("a layout");
        let mut job = Self { layout, lines: Vec::new() };
        let money = |amount: &str| json!({"amount": amount, "currency": "EUR"});
        job.tell("job-opened", json!({"title": engine.called.as_deref().unwrap_or("rule")}));
        job.tell("engine-described", json!({"layout": engine.layout}));
        job.tell("money-told", json!({"labour_rate": money("90")}));
        let vehicle = json!({"value": money(&engine.value), "horizon_months": 36, "miles_per_year": 12000});
        job.tell("vehicle-described", vehicle);
        job
    }

    fn tell(&mut self, kind: &str, body: Value) {
        let mut line = json!({"by": "bench", "device": "bench-1", "kind": kind, "body": body});
        self.keep(&mut line);
    }

    fn keep(&mut self, line: &mut Value) {
        let minute = self.lines.len();
        line["at"] = json!(format!("2026-03-02T{:02}:{:02}:00Z", 6 + minute / 60, minute % 60));
        self.lines.push(line.to_string());
    }

    /// Tells one line of a rule file, which may stand for several entries.
    pub(crate) fn told(&mut self, line: &str) {
        if line.starts_with('{') {
            let mut entry: Value = serde_json::from_str(line).unwrap_or_else(|e| panic!("{line}: {e}"));
            (entry["by"], entry["device"]) = (json!("bench"), json!("bench-1"));
            self.keep(&mut entry);
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
                ["complaint", words @ ..] => self.tell("complaint-heard", json!({"words": words.join(" ")})),
                ["outside", fault, answer, how @ ..] => {
                    self.tell("outside-answered", json!({"fault": fault, "answer": answer, "how": how.join(" ")}));
                }
                ["gauge", gauge, label] => {
                    self.tell("gauge-described", json!({"gauge": gauge, "label": label, "zero_checked": "yes"}));
                }
                ["doubt", label, reason @ ..] => {
                    self.tell("gauge-doubted", json!({"label": label, "reason": reason.join(" ")}));
                }
                ["read", check, reading, at, text, unit, "with", gauge, label] => {
                    let mark = format!(r#""label":"{label}""#);
                    if !self.lines.iter().any(|told| told.contains("gauge-described") && told.contains(&mark)) {
                        self.told(&format!("gauge {gauge} {label}"));
                    }
                    let body = json!({
                        "check": check, "reading": reading, "position": at, "value": {"text": text, "unit": unit},
                        "gauge": gauge, "label": label,
                    });
                    self.tell("reading-taken", body);
                }
                ["told", attribute, value] => {
                    self.tell("attribute-told", json!({"attribute": attribute, "value": value, "told_by": "shop"}));
                }
                _ => panic!("not a line of a rule: {line}"),
            }
        }
    }

    pub(crate) fn state(&self) -> JobState {
        let lines = story_from_lines(&self.lines.join("\n")).expect("a story");
        fold(&seal_story("rule", &lines).expect("a sealed story"))
    }

    /// Works the job as far as it is told. What the store would refuse is a mistake of the file.
    pub(crate) fn worked(&self) -> Worked<'_> {
        let state = self.state();
        let case = work_up(&state, knowledge()).expect("a case");
        let odd: Vec<&String> = case.notices.iter().map(|n| &n.message).collect();
        let mute = case.findings.iter().find(|f| f.seen.is_none() && !f.measure_again);
        assert!(mute.is_none(), "a reading says nothing: {:?} {odd:?}", mute.map(|f| (&f.check, &f.shown, &f.reason)));
        Worked { layout: &self.layout, lines: &self.lines, state, case }
    }
}

pub(crate) struct Worked<'j> {
    layout: &'j EngineLayout,
    lines: &'j [String],
    state: JobState,
    case: Case,
}

impl Worked<'_> {
    fn open(&self) -> impl Iterator<Item = &CheckWorth> {
        self.case.advice.next.iter().chain(&self.case.advice.rest)
    }

    /// A finding by its words: see [`Want::finding`].
    fn finding(&self, words: &str) -> Option<&Finding> {
        let words: Vec<&str> = words.split_whitespace().collect();
        let [check, reading, at, more @ ..] = words.as_slice() else { panic!("not a finding: {words:?}") };
        assert!(knowledge().check(check).is_some(), "no check {check}");
        let marked = |f: &Finding, word: &str| {
            let taken = self.state.readings.iter().find(|r| r.entry.to_string() == f.entry);
            let typed = taken.is_some_and(|r| matches!(&r.value, ReadingValue::Number { text, .. } if text == word));
            typed || taken.is_some_and(|r| r.label.as_deref() == Some(word))
        };
        let here = |f: &&Finding| {
            f.check == *check
                && f.reading == *reading
                && f.position.address() == *at
                && !f.whole_face
                && more.iter().all(|word| marked(f, word))
        };
        self.case.findings.iter().rev().find(here)
    }

    /// Why an entry is not taken, were it told now.
    fn refusal(&self, entry: &str) -> Option<String> {
        let entry: Value = serde_json::from_str(entry).unwrap_or_else(|e| panic!("{entry}: {e}"));
        let mut with = self.lines.to_vec();
        let line = json!({
            "at": "2026-03-03T06:00:00Z", "by": "bench", "device": "bench-1", "kind": entry["kind"], "body": entry["body"],
        });
        with.push(line.to_string());
        let entries =
            seal_story("rule", &story_from_lines(&with.join("\n")).expect("a story")).expect("a sealed story");
        let Content::Known(body) = entries.last().expect("an entry").content() else { panic!("{entry} does not read") };
        ensure(&self.state, &fold(&entries), knowledge(), body).err().map(|e| e.to_string())
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
pub(crate) fn amiss(want: &Want, jobs: &[Worked<'_>]) -> Vec<String> {
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
    if let Some(wanted) = &want.finding {
        match after.finding(wanted) {
            None => hold(false, format!("there is no finding {wanted}")),
            Some(f) => {
                let is = serde_json::to_value(f.verdict).expect("a word");
                let meant = is.as_str().is_some_and(|is| want.verdict.iter().any(|v| v == is));
                let came = format!("{wanted} is {is}: {}; {:?}", f.reason, f.next_move);
                hold(want.verdict.is_empty() || meant, format!("{came}; not {:?}", want.verdict));
                hold(
                    want.again.is_none_or(|again| again == f.measure_again),
                    format!("{came}; again: {:?}", want.again),
                );
                let words = format!("{} {} {}", f.shown, f.reason, f.next_move.as_deref().unwrap_or_default());
                hold(words.contains(&want.says), format!("{came}: not a word of {:?}", want.says));
            }
        }
    }
    let codes: Vec<&str> = after.case.notices.iter().map(|n| n.code.as_str()).collect();
    let noticed = |code: &String| codes.contains(&code.as_str());
    hold(want.notice.as_ref().is_none_or(noticed), format!("no notice {:?}: {codes:?}", want.notice));
    hold(!want.no_notice.as_ref().is_some_and(noticed), format!("there is a notice {:?}", want.no_notice));
    if let Some(entry) = &want.refused {
        let why = after.refusal(entry);
        hold(
            why.as_ref().is_some_and(|why| why.contains(&want.because)),
            format!("{entry} is taken, or else: {why:?}"),
        );
    }
    if let Some(part) = &want.awaited {
        let parts = workup::awaited::parts(&after.state);
        hold(parts.iter().any(|p| p.body.part == *part), format!("{part} is not awaited"));
    }
    let known = |checks: &[String]| checks.iter().for_each(|c| assert!(knowledge().check(c).is_some(), "no check {c}"));
    let next = &after.case.advice.next;
    if !want.first.is_empty() {
        known(&want.first);
        let among = next.iter().take(want.within.unwrap_or(1)).any(|c| want.first.contains(&c.check));
        hold(among, format!("one of {:?} should be first, not {:?}", want.first, after.advised()));
    }
    let first_at = next.first().map(|c| c.position.address());
    let there = first_at.as_ref().is_some_and(|at| want.first_at.contains(at));
    hold(
        want.first_at.is_empty() || there,
        format!("first at {first_at:?}, not {:?}: {:?}", want.first_at, after.advised()),
    );
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
    for id in &want.not_struck_out {
        let why = line(id).struck_out.as_ref().map(|s| &s.why);
        hold(why.is_none(), format!("{id} is struck out: {why:?}"));
    }
    let costs: Vec<f64> = want.order.iter().map(|id| line(id).expected).collect();
    let open = want.order.iter().all(|id| line(id).struck_out.is_none());
    hold(open && costs.is_sorted(), format!("{:?} come to {costs:.1?}, all open: {open}", want.order));
    let best = &after.case.advice.best;
    let ranked: Vec<String> =
        after.case.options.iter().take(5).map(|o| format!("{} {:.1}", o.id, o.expected)).collect();
    hold(want.best.is_empty() || want.best.contains(best), format!("{best} is best, not {:?}: {ranked:?}", want.best));
    hold(!want.not_best.contains(best), format!("{best} is best: {ranked:?}"));
    out
}
