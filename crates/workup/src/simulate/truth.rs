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
        let complaint = beliefs::complaint(&net, &knowledge);
        // A power of two of draws and more, from which the first ones are taken.
        let seed = plan.seed.wrapping_add(u64::try_from(place).unwrap_or(0).wrapping_mul(0x1_0001));
        let engines = drawn(&net.net, &[complaint], engines, seed)?.draws;
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
            let best = at_its_best(earlier, knowledge);
            let agreeing = (0..TRIES).map(draw).find(|seen| beliefs::is_best(reading, seen) == best);
            seen = agreeing.unwrap_or(seen);
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
