//! An engine as it really is, and what it shows to whoever looks.

use std::collections::BTreeMap;

use anatomy::{EngineLayout, Position};
use inference::lanes::{Draws, LanesError, drawn};
use inference::luck::Luck;
use knowledge::{Check, Given, Knowledge, Numeric, Reading, ReadingKind, Worse};
use quantity::Verdict;
use statrs::distribution::{ContinuousCDF, Normal};

use super::otherwise::otherwise;
use super::{Plan, at_its_best};
use crate::beliefs;
use crate::findings::Finding;
use crate::network::{EngineNet, Seen, engine_net, observed};

/// Tries to draw an echo that agrees before it is taken as it comes.
const TRIES: u64 = 40;

/// A true network, and engines drawn from it.
pub(super) struct Model<'a> {
    pub(super) layout: &'a EngineLayout,
    /// The knowledge that would be right.
    pub(super) knowledge: Knowledge,
    pub(super) net: EngineNet,
    engines: Draws,
    luck: Luck,
    /// Whether it is what the shop believes.
    pub(super) as_believed: bool,
    kinds: BTreeMap<String, usize>,
}

impl<'a> Model<'a> {
    /// Draws so many engines that were brought in with a complaint.
    pub(super) fn drawn(
        believed: &Knowledge,
        layout: &'a EngineLayout,
        told: &BTreeMap<String, String>,
        plan: &Plan,
        place: usize,
        engines: usize,
    ) -> Result<Self, LanesError> {
        let luck = Luck::of(plan.seed).nth(u64::try_from(place).unwrap_or(u64::MAX));
        let knowledge = otherwise(believed, plan.spread, luck.at("otherwise"));
        let net = engine_net(layout, told, &knowledge);
        let given = beliefs::before_any_check(&net, &knowledge);
        // Every model has draws of its own.
        let seed = plan.seed.wrapping_add(u64::try_from(place).unwrap_or(0).wrapping_mul(0x1_0001));
        let engines = drawn(&net.net, &given, engines, seed)?.draws;
        let kinds =
            believed.causes.iter().map(|c| c.id.clone()).chain(believed.conditions.iter().map(|c| c.id.clone()));
        let kinds = kinds.enumerate().map(|(place, id)| (id, place)).collect();
        Ok(Self { layout, knowledge, net, engines, luck, as_believed: plan.spread <= 0.0, kinds })
    }

    /// How many engines were drawn.
    pub(super) fn count(&self) -> usize {
        self.engines.count
    }

    /// One of the engines.
    pub(super) fn engine(&self, place: usize) -> Truth<'_> {
        let luck = self.luck.at("engine").nth(u64::try_from(place).unwrap_or(u64::MAX));
        Truth { model: self, states: self.engines.draw(place), luck }
    }

    /// The place of a cause or a kind of condition among all of them.
    pub(super) fn kind(&self, id: &str) -> Option<usize> {
        self.kinds.get(id).copied()
    }
}

/// An engine as it really is.
pub(super) struct Truth<'m> {
    pub(super) model: &'m Model<'m>,
    /// A state for every variable.
    pub(super) states: &'m [u8],
    luck: Luck,
}

impl Truth<'_> {
    /// What one reading of a check shows at a place; nothing where it looks at nothing here.
    ///
    /// The same question has the same answer, whenever it is asked; but what was said before may be heard again.
    pub(super) fn show(&self, check: &Check, reading: &str, at: &Position, before: &[Finding]) -> Option<Finding> {
        let Model { layout, knowledge, net, .. } = self.model;
        let reading = knowledge.reading(&check.id, reading)?;
        let looked = observed(net, layout, reading, at);
        if looked.is_empty() {
            return None;
        }
        let luck = self.luck.at(&check.id).at(&reading.id).at(&at.address());
        let draw = |again: u64| self.seen(reading, &looked, luck.nth(again));
        let mut seen = draw(0);
        let looks_at = |f: &&Finding| {
            let other = knowledge.reading(&f.check, &f.reading);
            let same = other.map(|r| observed(net, layout, r, at)).unwrap_or_default();
            same.iter().any(|(v, _)| looked.iter().any(|(w, _)| v == w))
        };
        let mut earlier = before.iter().filter(|f| {
            f.position == *at
                && (f.check != check.id || f.reading == reading.id)
                && knowledge.check(&f.check).is_some_and(|c| c.group == check.group)
        });
        if let Some(earlier) = earlier.rfind(looks_at)
            && luck.at("echo").unit() < knowledge.repeat_echo
        {
            // The same hand and gauge say the same again, whatever the engine is; another check of the group agrees as it can.
            let best = at_its_best(earlier, knowledge);
            let agreeing = || (0..TRIES).map(draw).find(|seen| beliefs::is_best(reading, seen) == best);
            let same = (earlier.check == check.id).then(|| earlier.seen.clone()).flatten();
            seen = same.or_else(agreeing).unwrap_or(seen);
        }
        Some(finding(check, reading, at, layout, seen))
    }

    /// The worst of what the background and everything looked at would show.
    fn seen(&self, reading: &Reading, looked: &[(usize, &BTreeMap<String, Given>)], luck: Luck) -> Seen {
        let given = looked.iter().filter_map(|(variable, given)| {
            let names = &self.model.net.net.variables.get(*variable)?.states;
            let state = names.get(usize::from(*self.states.get(*variable)?))?;
            Some((*variable, given.get(state)?))
        });
        let by = |variable: usize| luck.nth(u64::try_from(variable + 1).unwrap_or(u64::MAX));
        match &reading.kind {
            ReadingKind::Graded { background, .. } | ReadingKind::Nominal { background, .. } => {
                let others = given.filter_map(|(variable, given)| match given {
                    Given::Chances(chances) => Some(outcome(chances, by(variable))),
                    Given::Normal(_) => None,
                });
                Seen::Outcome(others.fold(outcome(background, luck), usize::max))
            }
            ReadingKind::Numeric(numeric) => {
                let others = given.filter_map(|(variable, given)| match given {
                    Given::Normal(figure) => Some(value(*figure, numeric, by(variable))),
                    Given::Chances(_) => None,
                });
                let worst = |a: f64, b: f64| if numeric.worse == Worse::Higher { a.max(b) } else { a.min(b) };
                let value = others.fold(value(numeric.background, numeric, luck), worst);
                Seen::Number { value, half_step: 0.0, u: 0.0 }
            }
        }
    }
}

fn outcome(chances: &[f64], luck: Luck) -> usize {
    let mut left = luck.unit();
    let passed = chances.iter().take_while(|p| {
        left -= **p;
        left >= 0.0
    });
    passed.count().min(chances.len().saturating_sub(1))
}

fn value([mean, sd]: [f64; 2], numeric: &Numeric, luck: Luck) -> f64 {
    let Ok(normal) = Normal::new(mean, sd) else { return mean };
    match numeric.min {
        None => mean + sd * luck.normal(),
        Some(min) => {
            let floor = normal.cdf(min);
            normal.inverse_cdf(floor + (1.0 - floor) * luck.unit()).clamp(min, mean + 12.0 * sd)
        }
    }
}

/// The finding that a reading of a drawn engine gives.
fn finding(check: &Check, reading: &Reading, at: &Position, layout: &EngineLayout, seen: Seen) -> Finding {
    let best = beliefs::is_best(reading, &seen);
    let (shown, measure) = match (&reading.kind, &seen) {
        (ReadingKind::Graded { outcomes, .. } | ReadingKind::Nominal { outcomes, .. }, Seen::Outcome(place)) => {
            (outcomes.get(*place).map_or_else(String::new, |o| o.replace('-', " ")), None)
        }
        (_, Seen::Number { value, .. }) => (format!("{value:.3}"), Some(*value)),
        (ReadingKind::Numeric(_), Seen::Outcome(_)) => (String::new(), None),
    };
    let verdict = if best { Verdict::Inside } else { Verdict::Outside };
    Finding { shown, measure, verdict, seen: Some(seen), ..Finding::blank(check, reading, at, layout) }
}

#[cfg(test)]
mod tests {
    use anatomy::{Arrangement, Fuel, ValveGear};

    use super::*;
    use crate::network::{cuts, sites_of};

    #[test]
    fn what_engines_show_comes_as_often_as_the_tables_of_advice_say() {
        let knowledge = Knowledge::builtin().unwrap();
        let layout = EngineLayout::plain(Arrangement::Inline, 1, Fuel::Petrol, ValveGear::TwinCam).unwrap();
        let plan = Plan { engines: 3000, seed: 5, spread: 0.0 };
        let model = Model::drawn(&knowledge, &layout, &BTreeMap::new(), &plan, 0, plan.engines).unwrap();
        let mut compared = 0;
        for check in knowledge.checks.iter().filter(|c| c.stage != crate::opened::AFTER_REPAIR) {
            let Some(at) = sites_of(&layout, check).first().copied() else { continue };
            for reading in &check.readings {
                let (cuts, names) = cuts(&model.net, &layout, reading, &at);
                if cuts.iter().all(|c| c.factors.is_empty()) {
                    continue;
                }
                // Chance of the best outcome by the table, engine by engine, beside how often it was seen.
                let (mut expected, mut spread, mut seen) = (0.0, 0.0, 0.0);
                for engine in 0..model.count() {
                    let truth = model.engine(engine);
                    let p = cuts[0].factors.iter().fold(cuts[0].own, |p, (variable, factor)| {
                        p * factor.get(usize::from(truth.states[*variable])).copied().unwrap_or(1.0)
                    });
                    expected += p;
                    spread += p * (1.0 - p);
                    let shown = truth.show(check, &reading.id, &at, &[]).unwrap();
                    seen += f64::from(u8::from(at_its_best(&shown, &knowledge)));
                }
                let off = (seen - expected) / f64::max(spread, 1.0).sqrt();
                assert!(off.abs() < 4.5, "{}/{} {}: {seen} seen, {expected} expected", check.id, reading.id, names[0]);
                compared += 1;
            }
        }
        assert!(compared > 80, "{compared}");
    }

    #[test]
    fn a_question_has_one_answer_and_a_repeat_is_an_echo_as_often_as_stated() {
        let knowledge = Knowledge::builtin().unwrap();
        let layout = EngineLayout::plain(Arrangement::Inline, 1, Fuel::Petrol, ValveGear::TwinCam).unwrap();
        let plan = Plan { engines: 2000, seed: 9, spread: 0.0 };
        let model = Model::drawn(&knowledge, &layout, &BTreeMap::new(), &plan, 0, plan.engines).unwrap();
        let (dry, again) = (knowledge.check("compression-dry").unwrap(), knowledge.check("leak-down").unwrap());
        let at = sites_of(&layout, dry)[0];
        let same = |a: &Finding, b: &Finding| a.seen == b.seen;
        for engine in 0..50 {
            let truth = model.engine(engine);
            let show = |check: &Check, reading: &str| truth.show(check, reading, &at, &[]).unwrap();
            assert!(same(&show(dry, "pressure"), &show(dry, "pressure")));
            assert!(same(&show(again, "percent"), &show(again, "percent")));
        }
        // A second dry reading of a cylinder whose first one was low: an echo agrees where the engine would not.
        let agreed = |echo: bool| {
            let mut agree = 0;
            for engine in 0..model.count() {
                let truth = model.engine(engine);
                let mut first = truth.show(dry, "pressure", &at, &[]).unwrap();
                first.seen = Some(Seen::Number { value: 0.2, half_step: 0.0, u: 0.0 });
                let before = if echo { vec![first] } else { Vec::new() };
                let second = truth.show(dry, "pressure", &at, &before).unwrap();
                agree += u32::from(!at_its_best(&second, &knowledge));
            }
            f64::from(agree) / 2000.0
        };
        let (own, with_echo) = (agreed(false), agreed(true));
        let expected = own + knowledge.repeat_echo * (1.0 - own);
        assert!((with_echo - expected).abs() < 0.05, "{own} alone, {with_echo} with an echo, {expected} expected");
    }
}
