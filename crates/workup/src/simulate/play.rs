//! The ways of testing, let run on one engine.

use std::cell::OnceCell;

use anatomy::{EngineLayout, Position};
use inference::lanes::{Engine, Extra, Laid, LanesError, drawn};
use knowledge::{Check, Checklist, Knowledge};
use logbook::JobState;

use super::honest::Played;
use super::truth::{Model, Truth};
use super::{Way, at_its_best, events};
use crate::advice::{self, Advice, CheckWorth, Scene, Taking};
use crate::findings::Finding;
use crate::money::{Bills, BlockHere, Terms};
use crate::network::{EngineNet, applies, sites_of};
use crate::{Remembered, beliefs, exactly, money, opened};

/// After so many steps a way of testing is stopped: more than any technician would go along with \[ours\].
const MOST_STEPS: usize = 60;

/// What the shop believes, and the job as it was begun.
pub(super) struct Shop<'a> {
    pub(super) knowledge: &'a Knowledge,
    pub(super) layout: &'a EngineLayout,
    pub(super) net: &'a EngineNet,
    pub(super) blocks: &'a [BlockHere],
    pub(super) begun: &'a JobState,
    pub(super) list: &'a Checklist,
    pub(super) remembered: &'a Remembered,
}

/// What one way of testing came to on one engine, in labour units.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Bill {
    pub(super) checks: f64,
    pub(super) option: f64,
    /// What was expected of it by all that was read.
    pub(super) expected: f64,
    pub(super) readings: usize,
    /// Whether the option chosen is the cheapest one in truth.
    pub(super) right: bool,
}

impl Bill {
    pub(super) fn total(&self) -> f64 {
        self.checks + self.option
    }
}

/// One engine on the bench: what was found so far, and what that took.
struct Bench {
    state: JobState,
    findings: Vec<Finding>,
    spent: f64,
}

/// What the shop sees in a bench.
struct Look {
    advice: Advice,
    /// What every choice really costs from here.
    truly: Vec<f64>,
}

/// How far ahead the advice looks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Steps {
    One,
    Two,
}

impl Shop<'_> {
    /// Lets every way of testing run on an engine.
    pub(super) fn every_way(&self, truth: &Truth<'_>) -> Result<Played, LanesError> {
        let none = self.bench();
        let first = self.look(&none, truth, Steps::One)?;
        let bill = |bench: &Bench, look: &Look| self.bill(bench, look);
        let mut out = Played { ways: Vec::new(), predicted: 0.0, realised: 0.0, events: Vec::new() };
        for way in Way::ALL {
            let paid = match way {
                Way::AllKnown => self.knowing_all(&none, &first.truly),
                Way::NoChecks => bill(&none, &first),
                Way::EveryCheck => {
                    let bench = self.every_check(truth);
                    self.knowing_all(&bench, &self.truly(&bench, truth)?)
                }
                Way::FixedList => {
                    let bench = self.fixed_list(truth);
                    bill(&bench, &self.look(&bench, truth, Steps::One)?)
                }
                Way::OneStep => {
                    let (bench, look) = self.step_by_step(truth, Steps::One, best_alone)?;
                    bill(&bench, &look)
                }
                Way::Advice => {
                    let (bench, look) = self.step_by_step(truth, Steps::Two, |advice| advice.next.first())?;
                    let paid = bill(&bench, &look);
                    let stated = self.stated(&bench)?;
                    let oracle =
                        if truth.model.as_believed { stated.clone() } else { oracle(truth.model, &bench.findings)? };
                    out.predicted = look.advice.expected;
                    out.realised = paid.option;
                    out.events = events(self, truth.model, truth.states, &stated, &oracle);
                    paid
                }
            };
            out.ways.push(paid);
        }
        Ok(out)
    }

    fn bench(&self) -> Bench {
        Bench { state: self.begun.clone(), findings: Vec::new(), spent: 0.0 }
    }

    fn bill(&self, bench: &Bench, look: &Look) -> Bill {
        let option = look.truly.get(look.advice.choice).copied().unwrap_or(f64::NAN);
        let right = option <= least(&look.truly) + 1e-9;
        let expected = look.advice.expected;
        Bill { checks: bench.spent, option, expected, readings: bench.findings.len(), right }
    }

    fn knowing_all(&self, bench: &Bench, truly: &[f64]) -> Bill {
        let option = least(truly);
        Bill { checks: bench.spent, option, expected: option, readings: bench.findings.len(), right: true }
    }

    /// Follows a rule from look to look until it names no check.
    fn step_by_step(
        &self,
        truth: &Truth<'_>,
        steps: Steps,
        rule: impl Fn(&Advice) -> Option<&CheckWorth>,
    ) -> Result<(Bench, Look), LanesError> {
        let mut bench = self.bench();
        let mut look = self.look(&bench, truth, steps)?;
        for _ in 0..MOST_STEPS {
            let Some(next) = rule(&look.advice) else { break };
            let Some(check) = self.knowledge.check(&next.check) else { break };
            let places = if next.round.is_empty() { vec![next.position] } else { next.round.clone() };
            let before = bench.findings.len();
            self.take(&mut bench, truth, check, &places);
            if bench.findings.len() == before {
                break;
            }
            look = self.look(&bench, truth, steps)?;
        }
        Ok((bench, look))
    }

    fn fixed_list(&self, truth: &Truth<'_>) -> Bench {
        let mut bench = self.bench();
        for does in &self.list.does {
            let Some(check) = self.knowledge.check(&does.check) else { continue };
            let wanted = |at: &Position| {
                does.where_not_best.as_ref().is_none_or(|other| {
                    let here = bench.findings.iter().filter(|f| f.check == *other && f.position == *at);
                    here.into_iter().any(|f| !at_its_best(f, self.knowledge))
                })
            };
            let places: Vec<Position> = sites_of(self.layout, check).into_iter().filter(wanted).collect();
            self.take_if_possible(&mut bench, truth, check, &places);
        }
        bench
    }

    fn every_check(&self, truth: &Truth<'_>) -> Bench {
        let mut bench = self.bench();
        for stage in self.knowledge.stages.iter().filter(|s| s.id != opened::AFTER_REPAIR) {
            for check in self.knowledge.checks.iter().filter(|c| c.stage == stage.id) {
                let places = sites_of(self.layout, check);
                self.take_if_possible(&mut bench, truth, check, &places);
            }
        }
        bench
    }

    /// Does a check, unless the engine, how far it is open, or something found forbids it.
    fn take_if_possible(&self, bench: &mut Bench, truth: &Truth<'_>, check: &Check, places: &[Position]) {
        let reached = opened::open_now(&bench.state, self.knowledge);
        let hard = bench.findings.iter().any(|f| advice::forbidden(f, check, self.knowledge).is_some());
        let shut = opened::shut_out(check, &reached, self.knowledge).is_some();
        if !hard && !shut && !places.is_empty() && applies(&check.applies, &self.net.attributes) {
            self.take(bench, truth, check, places);
        }
    }

    /// Does a check at some places, opening the engine for it.
    fn take(&self, bench: &mut Bench, truth: &Truth<'_>, check: &Check, places: &[Position]) {
        let reached = opened::open_now(&bench.state, self.knowledge);
        let missing = opened::missing(check, &reached, self.knowledge);
        bench.spent += Taking::of(check, places.len(), &missing, &bench.findings, self.knowledge).cost();
        bench.state.stages_reached.extend(missing.into_iter().map(str::to_owned));
        for at in places {
            for reading in check.readings.iter().filter(|r| applies(&r.applies, &self.net.attributes)) {
                let done = |f: &Finding| f.check == check.id && f.reading == reading.id && f.position == *at;
                if !bench.findings.iter().any(done) {
                    bench.findings.extend(truth.show(check, &reading.id, at, &bench.findings));
                }
            }
        }
    }

    /// Works the bench up as the product does, and holds its choices against the engine as it is.
    fn look(&self, bench: &Bench, truth: &Truth<'_>, steps: Steps) -> Result<Look, LanesError> {
        let advice = self.worked(bench, |scene| {
            let mut advised = advice::advise(scene);
            if steps == Steps::Two {
                advised.look_ahead(scene);
            }
            advised.advice(scene)
        })?;
        Ok(Look { advice, truly: self.truly(bench, truth)? })
    }

    /// The chance of any state but the mildest, variable by variable.
    fn stated(&self, bench: &Bench) -> Result<Vec<f64>, LanesError> {
        let chance = |scene: &Scene<'_, '_>, v| scene.run.marginal(v).iter().skip(1).sum();
        self.worked(bench, |scene| (0..self.net.what.len()).map(|v| chance(scene, v)).collect())
    }

    fn worked<T>(&self, bench: &Bench, show: impl FnOnce(&Scene<'_, '_>) -> T) -> Result<T, LanesError> {
        let Shop { knowledge, layout, net, blocks, remembered, .. } = *self;
        let gathered = beliefs::gather(net, layout, knowledge, &bench.findings);
        let terms = Terms::of(&bench.state, knowledge);
        let drawn = drawn(&net.net, &gathered.readings, advice::DRAWS, advice::SEED)?;
        let before = remembered.before(net, layout, knowledge, blocks, &terms)?;
        let engine = Laid::out(&net.net, &gathered.readings)?.among(&drawn.likely);
        let slower = OnceCell::new();
        let (_, run, _) = exactly(&net.net, &gathered.readings, &engine, &slower, drawn.ln_left_out)?;
        Ok(show(&Scene {
            knowledge,
            layout,
            net,
            run: &run,
            draws: &drawn.draws,
            blocks,
            state: &bench.state,
            findings: &bench.findings,
            terms: &terms,
            donors: &before.donors,
        }))
    }

    /// What every choice really costs from a bench on.
    fn truly(&self, bench: &Bench, truth: &Truth<'_>) -> Result<Vec<f64>, LanesError> {
        let Shop { knowledge, layout, net, blocks, remembered, .. } = *self;
        let terms = Terms::of(&bench.state, knowledge);
        let before = remembered.before(net, layout, knowledge, blocks, &terms)?;
        let stated = money::options(net, blocks, layout, knowledge, &bench.state.quotes, &terms, &before.donors);
        let choices = money::choices(stated, net, blocks, layout, knowledge, &terms);
        let classes: Vec<usize> = blocks.iter().map(|b| b.class_in(truth.states)).collect();
        Ok(Bills::of(&choices).expected(truth.states, &classes))
    }
}

/// Of the checks and rounds that pay by themselves the one that pays most, those that need no opening first.
fn best_alone(advice: &Advice) -> Option<&CheckWorth> {
    let shut = |c: &CheckWorth| c.access_minutes > 0.0;
    let better = |a: &&CheckWorth, b: &&CheckWorth| shut(b).cmp(&shut(a)).then_with(|| a.net.total_cmp(&b.net));
    advice.next.iter().filter(|c| c.net > 0.0).max_by(better)
}

fn least(costs: &[f64]) -> f64 {
    costs.iter().copied().fold(f64::INFINITY, f64::min)
}

/// What somebody who knows the true network would state of the same findings.
fn oracle(model: &Model<'_>, findings: &[Finding]) -> Result<Vec<f64>, LanesError> {
    let readings = beliefs::gather(&model.net, model.layout, &model.knowledge, findings).readings;
    let engine = Engine::without_differences(&model.net.net, &readings)?;
    let run = engine.run(&Extra::default())?;
    Ok((0..model.net.what.len()).map(|v| run.marginal(v).iter().skip(1).sum()).collect())
}
