//! The network of one engine: layout and knowledge turned into worst-of variables, readings into evidence.
//!
//! This is the only place where words of the trade meet the words of inference.

use std::collections::{BTreeMap, BTreeSet};

use anatomy::{EngineLayout, Position, Scope};
use inference::worst::{Link, Reading, ReadingLink, Variable, WorstNet};
use knowledge::{Check, Condition, Given, Knowledge, Numeric, Observed, ReadingKind, Worse, with_factor};
use statrs::distribution::{ContinuousCDF, Normal};

/// Chance that any outcome is entered by a slip, so that no reading is impossible by itself \[ours\].
const SLIP: f64 = 1e-7;
/// A numeric reading stands for at least this part of its background spread to either side \[ours\].
const LEAST_HALF_WIDTH: f64 = 0.25;

/// The network of one engine and the way back from its variables to the trade.
#[derive(Debug, Clone)]
pub struct EngineNet {
    /// Worst-of variables: causes first, then conditions site by site.
    pub net: WorstNet,
    /// Variable of each cause.
    pub causes: BTreeMap<String, usize>,
    /// Variable of each condition at each site.
    pub sites: BTreeMap<(String, Position), usize>,
    /// What each variable is, by index.
    pub what: Vec<What>,
    /// What the engine is known to be, by attribute.
    pub attributes: BTreeMap<String, String>,
}

/// What a variable of the network stands for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum What {
    /// A root cause, by id.
    Cause(String),
    /// A condition at a site.
    Condition(String, Position),
}

/// Says whether every attribute asked for is known and has the value asked for.
#[must_use]
pub fn applies(wanted: &[knowledge::AttributeIs], attributes: &BTreeMap<String, String>) -> bool {
    wanted.iter().all(|a| attributes.get(&a.attribute).is_some_and(|v| *v == a.value))
}

/// Collects what is known of the engine: the layout's own attributes, overruled by what was told.
#[must_use]
pub fn attributes(
    layout: &EngineLayout,
    told: &BTreeMap<String, String>,
    knowledge: &Knowledge,
) -> BTreeMap<String, String> {
    let mut out = BTreeMap::new();
    for attribute in &knowledge.attributes {
        if let Some(value) = layout.attribute(&attribute.id) {
            out.insert(attribute.id.clone(), value.to_owned());
        }
    }
    // An oil cooler that nobody has spoken of is taken as fitted: it is the cheap look-alike of a failed gasket.
    let cooler = out.entry("oil-cooler-fitted".to_owned()).or_insert_with(|| "yes".to_owned());
    if cooler == "unknown" {
        "yes".clone_into(cooler);
    }
    for (name, value) in told {
        out.insert(name.clone(), value.clone());
    }
    out
}

/// Conditions in an order in which parents stand before their children.
pub(crate) fn parents_first(knowledge: &Knowledge) -> Vec<&Condition> {
    let mut done: BTreeSet<&str> = BTreeSet::new();
    let mut out: Vec<&Condition> = Vec::new();
    let mut left: Vec<&Condition> = knowledge.conditions.iter().map(|c| &c.value).collect();
    while !left.is_empty() {
        let known: BTreeSet<&str> = left.iter().map(|c| c.id.as_str()).collect();
        let (ready, rest): (Vec<&Condition>, Vec<&Condition>) = left.into_iter().partition(|c| {
            c.parents.iter().all(|p| done.contains(p.condition.as_str()) || !known.contains(p.condition.as_str()))
        });
        if ready.is_empty() {
            // A loop is refused by the lint of the knowledge; what is in it cannot be ordered.
            break;
        }
        for c in &ready {
            done.insert(&c.id);
        }
        out.extend(ready);
        left = rest;
    }
    out
}

/// Rows of a link: nothing for a state that is not named, the table for one that is.
fn rows(
    parent_states: &[String],
    given: &BTreeMap<String, Vec<f64>>,
    child_states: usize,
    factor: f64,
) -> Vec<Vec<f64>> {
    let nothing: Vec<f64> = (0..child_states).map(|k| if k == 0 { 1.0 } else { 0.0 }).collect();
    parent_states
        .iter()
        .map(|state| given.get(state).map_or_else(|| nothing.clone(), |row| with_factor(row, factor)))
        .collect()
}

/// The network that knowledge says this engine has.
#[must_use]
pub fn engine_net(layout: &EngineLayout, told: &BTreeMap<String, String>, knowledge: &Knowledge) -> EngineNet {
    let attributes = attributes(layout, told, knowledge);
    let mut out = EngineNet {
        net: WorstNet::default(),
        causes: BTreeMap::new(),
        sites: BTreeMap::new(),
        what: Vec::new(),
        attributes: attributes.clone(),
    };
    for cause in &knowledge.causes {
        let prior = cause.prior_for(told_of(&attributes));
        out.causes.insert(cause.id.clone(), out.net.variables.len());
        out.what.push(What::Cause(cause.id.clone()));
        out.net.variables.push(Variable {
            name: cause.id.clone(),
            states: cause.states.clone(),
            own: prior.to_vec(),
            links: Vec::new(),
            root: true,
            region: Vec::new(),
        });
    }
    for condition in parents_first(knowledge) {
        if !applies(&condition.applies, &attributes) {
            continue;
        }
        for scope in &condition.scope {
            for position in layout.positions(*scope) {
                add_site(&mut out, layout, knowledge, condition, *scope, &position);
            }
        }
    }
    out
}

/// Looks an attribute up among those known.
pub(crate) fn told_of<'a>(attributes: &'a BTreeMap<String, String>) -> impl Fn(&str) -> Option<&'a str> {
    move |name| attributes.get(name).map(String::as_str)
}

/// Where a site belongs, as a path for inference: bank, cylinder, part. Bearings form a region of their own.
fn region(layout: &EngineLayout, position: &Position) -> Vec<u16> {
    const BOTTOM_END: u16 = 1000;
    let bank = layout
        .bank_of(position)
        .and_then(|bank| layout.banks().iter().position(|b| *b == bank))
        .and_then(|i| u16::try_from(i).ok());
    let place = |list: Vec<Position>| list.iter().position(|p| p == position).and_then(|i| u16::try_from(i).ok());
    match position.scope() {
        Scope::Engine => Vec::new(),
        Scope::Bank | Scope::AdjacentPair | Scope::Cam => bank.into_iter().collect(),
        Scope::Cylinder => bank.into_iter().chain(position.cylinder().map(u16::from)).collect(),
        scope @ (Scope::ValveIntake | Scope::ValveExhaust) => {
            let kind = u16::from(scope == Scope::ValveExhaust) * 500;
            let valve = place(layout.positions(scope)).map(|i| i + kind);
            bank.into_iter().chain(position.cylinder().map(u16::from)).chain(valve).collect()
        }
        scope @ (Scope::MainBearing | Scope::RodBearing) => {
            let kind = u16::from(scope == Scope::RodBearing) * 500;
            [BOTTOM_END].into_iter().chain(place(layout.positions(scope)).map(|i| i + kind)).collect()
        }
    }
}

fn add_site(
    out: &mut EngineNet,
    layout: &EngineLayout,
    knowledge: &Knowledge,
    condition: &Condition,
    scope: Scope,
    position: &Position,
) {
    let states = condition.states.len();
    let Some(prior) = condition.prior_for(scope, told_of(&out.attributes)).map(<[f64]>::to_vec) else { return };
    let mut links = Vec::new();
    for link in &condition.causes {
        if link.scope.is_some_and(|s| s != scope) {
            continue;
        }
        let (Some(parent), Some(cause)) =
            (out.causes.get(&link.cause), knowledge.causes.iter().find(|c| c.id == link.cause))
        else {
            continue;
        };
        let factor = condition.factor_on_cause(&link.cause, told_of(&out.attributes));
        links.push(Link { parent: *parent, given: rows(&cause.states, &link.given, states, factor) });
    }
    for link in &condition.parents {
        if link.for_scope.is_some_and(|s| s != scope) {
            continue;
        }
        let Some(parent_condition) = knowledge.conditions.iter().find(|c| c.id == link.condition) else { continue };
        let factor = condition.factor_on_parent(&link.condition, told_of(&out.attributes));
        for site in layout.related(link.at, position) {
            if let Some(parent) = out.sites.get(&(link.condition.clone(), site)) {
                links
                    .push(Link { parent: *parent, given: rows(&parent_condition.states, &link.given, states, factor) });
            }
        }
    }
    let index = out.net.variables.len();
    out.sites.insert((condition.id.clone(), *position), index);
    out.what.push(What::Condition(condition.id.clone(), *position));
    out.net.variables.push(Variable {
        name: format!("{}@{}", condition.id, position.address()),
        states: condition.states.clone(),
        own: prior,
        links,
        root: false,
        region: region(layout, position),
    });
}

/// From what one state gives a reading to the chance of better and of equal.
type Pairs = Box<dyn Fn(&Given) -> [f64; 2]>;
/// From what one state gives a reading to the chance of one outcome or a better one.
type AtMost = Box<dyn Fn(&Given) -> f64>;

/// What was read, in the terms of a reading's table.
#[derive(Debug, Clone, PartialEq)]
pub enum Seen {
    /// One of the outcomes, by place in the list.
    Outcome(usize),
    /// A number in the table's own measure (after normalising), half a step of its last digit, and its doubt.
    Number {
        /// The value.
        value: f64,
        /// Half of one step of the last digit typed.
        half_step: f64,
        /// Standard uncertainty.
        u: f64,
    },
}

/// The variables that a reading looks at from one site, each with its table.
#[must_use]
pub fn observed<'k>(
    net: &EngineNet,
    layout: &EngineLayout,
    reading: &'k knowledge::Reading,
    position: &Position,
) -> Vec<(usize, &'k BTreeMap<String, Given>)> {
    let mut out = Vec::new();
    for observe in &reading.observes {
        match &observe.of {
            Observed::Cause(cause) => {
                if let Some(index) = net.causes.get(cause) {
                    out.push((*index, &observe.given));
                }
            }
            Observed::Condition(condition) => {
                for site in layout.related(observe.at, position) {
                    if let Some(index) = net.sites.get(&(condition.clone(), site)) {
                        out.push((*index, &observe.given));
                    }
                }
            }
        }
    }
    out
}

/// Chance that a draw is better than the cut: the worst-of scale runs from best to worst.
fn beyond(mean_sd: [f64; 2], cut: f64, worse: Worse, min: Option<f64>, extra_u: f64) -> f64 {
    let [mean, sd] = mean_sd;
    let spread = sd.hypot(extra_u);
    let Ok(normal) = Normal::new(mean, spread) else { return 0.0 };
    let floor = min.map_or(0.0, |m| normal.cdf(m));
    let below = ((normal.cdf(cut) - floor) / (1.0 - floor).max(1e-300)).clamp(0.0, 1.0);
    match worse {
        Worse::Higher => below,
        Worse::Lower => 1.0 - below,
    }
}

/// A background that may also be a slip of the pen, which is as likely for every outcome.
fn slip(pair: [f64; 2], best: bool) -> [f64; 2] {
    let [below, here] = pair;
    if best {
        return [0.0, here.max(SLIP)];
    }
    let below = below.clamp(SLIP, 1.0 - 2.0 * SLIP);
    [below, here.max(SLIP).min(1.0 - below)]
}

/// A reading that was taken, as evidence for inference; and the background's own chances without a slip of the pen, for an
/// outcome. A figure may lie as far out as it will.
#[must_use]
pub fn evidence(
    net: &EngineNet,
    layout: &EngineLayout,
    reading: &knowledge::Reading,
    position: &Position,
    seen: &Seen,
    name: &str,
    echo: f64,
) -> (Reading, [f64; 2]) {
    let looked = observed(net, layout, reading, position);
    let mild = |best: bool| if best { [0.0, 1.0] } else { [1.0, 0.0] };
    let (own, sure, pairs): ([f64; 2], [f64; 2], Pairs) = match (&reading.kind, seen) {
        (ReadingKind::Graded { background, .. } | ReadingKind::Nominal { background, .. }, Seen::Outcome(l)) => {
            let l = *l;
            let pair = move |row: &[f64]| [row.iter().take(l).sum::<f64>(), row.get(l).copied().unwrap_or(0.0)];
            (
                slip(pair(background), l == 0),
                pair(background),
                Box::new(move |given| match given {
                    Given::Chances(row) => pair(row),
                    Given::Normal(_) => mild(l == 0),
                }),
            )
        }
        (ReadingKind::Numeric(Numeric { background, worse, min, .. }), Seen::Number { value, half_step, u }) => {
            let half = half_step.max(LEAST_HALF_WIDTH * background[1]);
            let (worse, min, value, u) = (*worse, *min, *value, *u);
            let (better, far) = match worse {
                Worse::Higher => (value - half, value + half),
                Worse::Lower => (value + half, value - half),
            };
            let pair = move |row: [f64; 2]| {
                let below = beyond(row, better, worse, min, u);
                let within = beyond(row, far, worse, min, u);
                [below, (within - below).max(0.0)]
            };
            (
                slip(pair(*background), false),
                slip(pair(*background), false),
                Box::new(move |given| match given {
                    Given::Normal(row) => pair(*row),
                    Given::Chances(_) => mild(false),
                }),
            )
        }
        // A number for a look, or a look for a number: refused earlier; says nothing here.
        _ => ([0.0, 1.0], [0.0, 1.0], Box::new(move |_| mild(true))),
    };
    let best = matches!(seen, Seen::Outcome(0));
    let links = looked
        .into_iter()
        .map(|(parent, given)| {
            let states = net.net.variables.get(parent).map_or(&[][..], |v| &v.states);
            let given = states.iter().map(|s| given.get(s).map_or_else(|| mild(best), &*pairs)).collect();
            ReadingLink { parent, given }
        })
        .collect();
    (Reading { name: name.to_owned(), own, links, echo }, sure)
}

/// How the outcomes of an open reading are cut: cumulative factors per level but the last.
///
/// # Shapes
/// One entry per cut, from the best outcome on; each holds a factor per variable and the background's own chance.
#[derive(Debug, Clone)]
pub struct Cut {
    /// The background's chance of this outcome or a better one.
    pub own: f64,
    /// Per observed variable: the chance, by state, that its draw is this outcome or a better one.
    pub factors: Vec<(usize, Vec<f64>)>,
}

/// The cuts of an open reading at a site, and the names of its outcomes from best to worst.
#[must_use]
pub fn cuts(
    net: &EngineNet,
    layout: &EngineLayout,
    reading: &knowledge::Reading,
    position: &Position,
) -> (Vec<Cut>, Vec<String>) {
    let looked = observed(net, layout, reading, position);
    let (names, levels): (Vec<String>, Vec<AtMost>) = match &reading.kind {
        ReadingKind::Graded { outcomes, .. } | ReadingKind::Nominal { outcomes, .. } => {
            let levels = (0..outcomes.len().saturating_sub(1))
                .map(|l| -> AtMost {
                    Box::new(move |given: &Given| match given {
                        Given::Chances(row) => row.iter().take(l + 1).sum::<f64>().min(1.0),
                        Given::Normal(_) => 1.0,
                    })
                })
                .collect();
            (outcomes.clone(), levels)
        }
        ReadingKind::Numeric(Numeric { worse, min, bands, .. }) => {
            let (worse, min) = (*worse, *min);
            let levels = bands
                .iter()
                .filter_map(|b| b.to)
                .map(|to| -> AtMost {
                    Box::new(move |given: &Given| match given {
                        Given::Normal(row) => beyond(*row, to, worse, min, 0.0),
                        Given::Chances(_) => 1.0,
                    })
                })
                .collect();
            (bands.iter().map(|b| b.id.clone()).collect(), levels)
        }
    };
    let background = match &reading.kind {
        ReadingKind::Graded { background, .. } | ReadingKind::Nominal { background, .. } => {
            Given::Chances(background.clone())
        }
        ReadingKind::Numeric(numeric) => Given::Normal(numeric.background),
    };
    let cuts = levels
        .iter()
        .map(|level| Cut {
            own: level(&background),
            factors: looked
                .iter()
                .map(|(parent, given)| {
                    let states = net.net.variables.get(*parent).map_or(&[][..], |v| &v.states);
                    (*parent, states.iter().map(|s| given.get(s).map_or(1.0, level)).collect())
                })
                .collect(),
        })
        .collect();
    (cuts, names)
}

/// Places at which a check can be done on this engine.
#[must_use]
pub fn sites_of(layout: &EngineLayout, check: &Check) -> Vec<Position> {
    check.scope.iter().flat_map(|s| layout.positions(*s)).collect()
}
