//! The network of the trade: causes, conditions of parts, checks with their readings, blocks and what is not the engine.
//!
//! One rule combines everything graded. States and outcomes stand mildest first; what is found is the worst of
//! independent draws: one from the prior (or the background of a reading), one from each cause and one from each
//! part that is not in its own mildest state. [`worst_of`] is that rule for draws already chosen.

use crate::limits::AppliesTo;
use crate::source::Source;
use anatomy::{RelativeSite, Scope};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Something said of the engine as a whole: the attribute has the value.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AttributeIs {
    /// The attribute, such as `fuel`.
    pub attribute: String,
    /// The value it has.
    pub value: String,
}

impl AttributeIs {
    /// Whether the attribute is known to have the value; an attribute nobody told has none.
    pub fn holds<'a>(&self, told: impl Fn(&str) -> Option<&'a str>) -> bool {
        told(&self.attribute) == Some(self.value.as_str())
    }

    /// Whether all of a list hold; an empty list does.
    pub fn all_hold<'a>(list: &[Self], told: impl Fn(&str) -> Option<&'a str>) -> bool {
        list.iter().all(|one| one.holds(&told))
    }
}

/// Who can say an attribute.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ToldBy {
    /// It is read off the described engine.
    Layout,
    /// The owner or the shop has to be asked.
    OwnerOrShop,
}

/// A thing that may be said of an engine as a whole, with the words for it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Attribute {
    /// The id other tables name.
    pub id: String,
    /// What it means, in one sentence.
    pub plain: String,
    /// The values it may have.
    pub values: Vec<String>,
    /// Who can say it.
    pub told_by: ToldBy,
    /// Where the wording comes from.
    pub source: Source,
}

/// A prior that replaces the general one when an attribute has a value; where several fit, the last one wins.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PriorBy {
    /// The attribute.
    pub attribute: String,
    /// Its value.
    pub value: String,
    /// Chances of the states, mildest first.
    pub prior: Vec<f64>,
}

/// A root cause: what happened to the engine as a whole.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Cause {
    /// The id other tables name.
    pub id: String,
    /// The name in trade words.
    pub name: String,
    /// What is meant, for a reader outside the trade.
    pub plain: String,
    /// The states, mildest first.
    pub states: Vec<String>,
    /// Chances of the states before anything is known.
    pub prior: Vec<f64>,
    /// Priors for engines of which more is known.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub prior_by: Vec<PriorBy>,
    /// Chance by state that it brings the engine in with a complaint that may take a head off; several causes add up as
    /// independent chances.
    pub brings_in: Vec<f64>,
    /// Checks that tell of this cause.
    pub revealed_by: Vec<String>,
    /// What takes it away once it is named, so that the repair lasts.
    #[serde(default, rename = "remedy", skip_serializing_if = "Vec::is_empty")]
    pub remedies: Vec<Remedy>,
    /// Why nothing besides the repair takes it away, where nothing does.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub no_remedy: Option<String>,
    /// Where the chances come from.
    pub source: Source,
}

/// Work that takes a cause away.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Remedy {
    /// What it is, in trade words.
    pub what: String,
    /// The operations of the knowledge that do it: an option that holds one of them pays for it already.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub operations: Vec<String>,
    /// What the engine must be; empty for every engine.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub applies: Vec<AppliesTo>,
    /// True when it is done outside the engine, so that another engine in its place needs it as well.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub outside: bool,
    /// Labour units.
    pub cost: crate::workshop::Span,
    /// Where the price comes from.
    pub source: Source,
}

impl Cause {
    /// The prior for an engine: that of the last fitting `prior_by`, else the general one.
    pub fn prior_for<'a>(&self, told: impl Fn(&str) -> Option<&'a str>) -> &[f64] {
        let fitting = self.prior_by.iter().rev().find(|by| told(&by.attribute) == Some(by.value.as_str()));
        fitting.map_or(&self.prior, |by| &by.prior)
    }
}

/// What a cause alone brings to a condition.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CauseLink {
    /// The cause.
    pub cause: String,
    /// The one scope of the condition it speaks for; every scope when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scope: Option<Scope>,
    /// For each state of the cause but the mildest: chances of the condition's states, mildest first.
    pub given: BTreeMap<String, Vec<f64>>,
}

/// What another condition at a related place brings to a condition.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ParentLink {
    /// The other condition.
    pub condition: String,
    /// Where it is, seen from the place of this one; each such place draws by itself.
    pub at: RelativeSite,
    /// The one scope of this condition it speaks for; every scope when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub for_scope: Option<Scope>,
    /// For states of the other condition but the mildest: chances of this condition's states; a state left out brings
    /// nothing.
    pub given: BTreeMap<String, Vec<f64>>,
}

/// A factor on one link for engines with an attribute: the chance of harm is multiplied, no harm takes the rest.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Modifier {
    /// The attribute.
    pub attribute: String,
    /// Its value.
    pub value: String,
    /// The cause whose links are meant; either this or `parent`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cause: Option<String>,
    /// The other condition whose links are meant; either this or `cause`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub parent: Option<String>,
    /// The factor.
    pub multiply: f64,
}

/// How trouble grows when a state is left in an engine.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LeftMode {
    /// It comes with distance, by a Weibull law of the shape and scale given.
    Weibull,
    /// The engine must not run with it.
    Immediate,
    /// Nothing that can be timed.
    None,
}

/// What follows when the engine goes back into service with a state.
///
/// # Units
/// `scale_miles` in miles, `shape` is a pure number.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct IfLeft {
    /// The state left.
    pub state: String,
    /// How trouble grows.
    pub mode: LeftMode,
    /// Shape of the Weibull law.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub shape: Option<f64>,
    /// Scale of the Weibull law: the miles by which 63 of 100 have gone on to the next stage.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scale_miles: Option<f64>,
    /// Conditions or causes it leads to.
    pub leads_to: Vec<String>,
    /// In words.
    pub note: String,
}

/// A prior of a condition for engines with an attribute; where several fit, the last one wins.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ConditionPriorBy {
    /// The attribute.
    pub attribute: String,
    /// Its value.
    pub value: String,
    /// Chances of the states by scope, mildest first.
    pub prior: BTreeMap<Scope, Vec<f64>>,
}

/// A worked example of a condition: with these causes and parents, one site of each, the chance of at least a state.
///
/// It names two facts or more, so that it tries the rule of combination and does not restate a figure.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ConditionExample {
    /// What the example says, as a sentence.
    pub name: String,
    /// The scope looked at.
    pub scope: Scope,
    /// Causes and their states.
    #[serde(default)]
    pub causes: BTreeMap<String, String>,
    /// Other conditions and their states, at one place each.
    #[serde(default)]
    pub parents: BTreeMap<String, String>,
    /// The state that is at least reached.
    pub reaches: String,
    /// The chance of that lies between these two.
    pub between: [f64; 2],
}

/// A condition of a part: the states it may be in and what brings them about.
///
/// # Shapes
/// every list of chances has one entry for each state, mildest first, and sums to one
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Condition {
    /// The id other tables name.
    pub id: String,
    /// The name in trade words.
    pub name: String,
    /// What is meant, in one sentence.
    pub plain: String,
    /// The kinds of place that have it.
    pub scope: Vec<Scope>,
    /// The states, mildest first.
    pub states: Vec<String>,
    /// A link between others only: it is not mended, needs no check of its own and belongs to no block.
    #[serde(default)]
    pub helper: bool,
    /// What must hold for an engine to have it at all.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub applies: Vec<AttributeIs>,
    /// Chances of the states by scope with every cause and parent mildest.
    pub prior: BTreeMap<Scope, Vec<f64>>,
    /// Priors for engines of which more is known.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub prior_by: Vec<ConditionPriorBy>,
    /// What causes bring.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub causes: Vec<CauseLink>,
    /// What other conditions bring.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub parents: Vec<ParentLink>,
    /// Factors on links.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub modifiers: Vec<Modifier>,
    /// What follows when a state is left.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub if_left: Vec<IfLeft>,
    /// Worked examples.
    #[serde(default, rename = "example", skip_serializing_if = "Vec::is_empty")]
    pub examples: Vec<ConditionExample>,
    /// Where the chances come from.
    pub source: Source,
}

impl Condition {
    /// The prior at a scope for an engine, or nothing when the condition is not of that scope.
    pub fn prior_for<'a>(&self, scope: Scope, told: impl Fn(&str) -> Option<&'a str>) -> Option<&[f64]> {
        let fitting = self.prior_by.iter().rev().filter(|by| told(&by.attribute) == Some(by.value.as_str()));
        fitting.filter_map(|by| by.prior.get(&scope)).next().or_else(|| self.prior.get(&scope)).map(Vec::as_slice)
    }

    /// The factor on the links of a cause for an engine; 1 where no modifier fits.
    pub fn factor_on_cause<'a>(&self, cause: &str, told: impl Fn(&str) -> Option<&'a str>) -> f64 {
        self.factor(|m| m.cause.as_deref() == Some(cause), told)
    }

    /// The factor on the links of a parent for an engine; 1 where no modifier fits.
    pub fn factor_on_parent<'a>(&self, parent: &str, told: impl Fn(&str) -> Option<&'a str>) -> f64 {
        self.factor(|m| m.parent.as_deref() == Some(parent), told)
    }

    fn factor<'a>(&self, meant: impl Fn(&Modifier) -> bool, told: impl Fn(&str) -> Option<&'a str>) -> f64 {
        let fitting = self.modifiers.iter().filter(|m| meant(m) && told(&m.attribute) == Some(m.value.as_str()));
        fitting.map(|m| m.multiply).product()
    }
}

/// A link's chances with the harm multiplied; the first entry takes the rest.
#[must_use]
pub fn with_factor(given: &[f64], factor: f64) -> Vec<f64> {
    let mut harm: Vec<f64> = given.iter().map(|p| p * factor).collect();
    let mut total: f64 = harm.iter().skip(1).sum();
    // Harm that is certain may come out above one by its last digit.
    if total > 1.0 && total < 1.0 + ROUNDING {
        harm.iter_mut().for_each(|p| *p = (*p / total).min(1.0));
        total = 1.0;
    }
    if let Some(first) = harm.first_mut() {
        *first = 1.0 - total;
    }
    harm
}

/// What sums of chances may be out by because of their last digits.
const ROUNDING: f64 = 1e-12;

/// The chances of the worst of independent draws over the same states.
///
/// # Shapes
/// every draw lists its chances mildest first and has the length of the first; entries that are missing count as 0
#[must_use]
pub fn worst_of(draws: &[&[f64]]) -> Vec<f64> {
    let states = draws.first().map_or(0, |draw| draw.len());
    let at_most = |state: usize| -> f64 { draws.iter().map(|draw| draw.iter().take(state + 1).sum::<f64>()).product() };
    let mut below = 0.0;
    let mut chances = Vec::with_capacity(states);
    for state in 0..states {
        let up_to = at_most(state);
        chances.push(up_to - below);
        below = up_to;
    }
    chances
}

/// How much stuff a check uses up.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Consumables {
    /// Nothing.
    None,
    /// Rags and cleaner.
    Low,
    /// A kit or a bath.
    Medium,
    /// A part.
    High,
}

/// What a reading looks at.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub enum Observed {
    /// A condition, by id.
    Condition(String),
    /// A root cause, by id.
    Cause(String),
}

impl Observed {
    /// The id of what is looked at.
    #[must_use]
    pub fn id(&self) -> &str {
        match self {
            Self::Condition(id) | Self::Cause(id) => id,
        }
    }
}

/// What a state of the thing observed does to a reading.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub enum Given {
    /// Chances of the outcomes this state alone would bring, best outcome first.
    Chances(Vec<f64>),
    /// Mean and spread of the reading under this state.
    Normal([f64; 2]),
}

/// One thing a reading looks at, and what each of its states but the mildest does.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Observe {
    /// The condition or cause.
    pub of: Observed,
    /// Where it is, seen from the place of the check.
    pub at: RelativeSite,
    /// By state; a state left out does nothing.
    pub given: BTreeMap<String, Given>,
}

/// A limit a reading may be held against.
///
/// A reading lists several in the order they are tried: see [`crate::Knowledge::limit_for`].
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LimitRef {
    /// The limit.
    pub limit: String,
    /// The one kind of place it speaks for; every kind when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scope: Option<Scope>,
    /// What must hold for the engine.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub applies: Vec<AttributeIs>,
}

/// What a numeric reading is divided by before it meets its table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Normalise {
    /// Nothing: the table is in the reading's unit.
    None,
    /// The edge beyond which the limit is out; 1 is at the limit.
    Limit,
    /// The engine's own figure; 1 is at it.
    Spec,
    /// The engine's own figure or, where there is none, the best reading of its kind on this engine.
    SpecOrBest,
}

/// Which way a reading gets worse.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Worse {
    /// More is worse.
    Higher,
    /// Less is worse.
    Lower,
}

/// A span of a numeric reading with a name; bands go from best to worst.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Band {
    /// The name.
    pub id: String,
    /// Where it ends; the last one has no end.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to: Option<f64>,
}

/// What a numeric reading is like.
///
/// # Units
/// the technician enters `unit`; `background`, the tables and `bands` are in that unit divided as `normalise` says
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Numeric {
    /// The unit it is entered in.
    pub unit: String,
    /// What exactly is read, in words.
    pub measures: Option<String>,
    /// What it is divided by.
    pub normalise: Normalise,
    /// Which way it gets worse.
    pub worse: Worse,
    /// The least it can be.
    pub min: Option<f64>,
    /// Mean and spread with everything observed in its mildest state.
    pub background: [f64; 2],
    /// The bands from best to worst.
    pub bands: Vec<Band>,
}

/// The kind of a reading.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub enum ReadingKind {
    /// Outcomes from best to worst.
    Graded {
        /// The outcomes.
        outcomes: Vec<String>,
        /// Their chances with everything observed in its mildest state.
        background: Vec<f64>,
    },
    /// Outcomes whose order says which look hides which, not which is worse; the arithmetic is the same.
    Nominal {
        /// The outcomes.
        outcomes: Vec<String>,
        /// Their chances with everything observed in its mildest state.
        background: Vec<f64>,
    },
    /// A figure.
    Numeric(Numeric),
}

impl ReadingKind {
    /// The names of the outcomes or bands, best first.
    #[must_use]
    pub fn classes(&self) -> Vec<&str> {
        match self {
            Self::Graded { outcomes, .. } | Self::Nominal { outcomes, .. } => {
                outcomes.iter().map(String::as_str).collect()
            }
            Self::Numeric(numeric) => numeric.bands.iter().map(|band| band.id.as_str()).collect(),
        }
    }
}

/// One thing observed in an example, in a state, at one place.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ExampleGiven {
    /// The condition.
    pub condition: String,
    /// Its state.
    pub state: String,
}

/// A worked example of a graded reading: with these parts in these states, the chance of at least an outcome.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ReadingExample {
    /// What the example says, as a sentence.
    pub name: String,
    /// Two parts or more, one place each.
    pub given: Vec<ExampleGiven>,
    /// The outcome that is at least reached.
    pub reaches: String,
    /// The chance of that lies between these two.
    pub between: [f64; 2],
}

/// One answer a check gives at each place it is done.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "RawReading")]
pub struct Reading {
    /// The id inside its check.
    pub id: String,
    /// Outcomes or figure.
    pub kind: ReadingKind,
    /// What must hold for the engine, on top of what the check asks.
    pub applies: Vec<AttributeIs>,
    /// What it looks at.
    pub observes: Vec<Observe>,
    /// The limits it is held against, first fitting one first.
    pub limits: Vec<LimitRef>,
    /// Of a reading that is compared among cylinders: the limits it is held against where there is but one.
    pub alone: Vec<LimitRef>,
    /// The gauge it is usually taken with.
    pub gauge: Option<String>,
    /// For the gap under a straightedge on a face: what the face's flatness is worked out with.
    pub face: Option<FaceOf>,
    /// For the out-of-round of a bore: whether it can be told by three sizes, on the axes at 0, 45 and 90 degrees.
    pub three_axes: bool,
    /// Outcomes after which the engine is not run, or not turned, any more.
    pub forbids: Vec<Forbids>,
    /// Worked examples.
    pub examples: Vec<ReadingExample>,
}

/// An outcome that forbids what would do further damage.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Forbids {
    /// The outcome.
    pub outcome: String,
    /// What it forbids.
    pub what: Forbidden,
    /// Why, in words for the technician.
    pub why: String,
}

/// What an outcome forbids.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Forbidden {
    /// Checks with the engine running.
    Running,
    /// Checks that turn the crank, running ones included.
    Turning,
}

/// What a face's flatness is worked out with, where gaps under a straightedge are told station by station.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FaceOf {
    /// What the face is called.
    pub name: String,
    /// The item of the engine sheet that is its length, from the marks at the front to those at the rear.
    pub length: String,
    /// The item of the engine sheet that is its width, from the left marks to the right ones.
    pub width: String,
    /// The length of the stretch whose worst place is looked for along each line, in mm.
    pub stretch_mm: f64,
    /// The limit that such a stretch is held against.
    pub stretch_limit: Option<String>,
    /// The gauge whose doubt the edge has, where the one used has none of its own.
    pub edge: String,
    /// The gauge whose doubt a blade has.
    pub blade: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum RawKind {
    Graded,
    Nominal,
    Numeric,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct RawObserve {
    condition: Option<String>,
    cause: Option<String>,
    at: RelativeSite,
    given: BTreeMap<String, Vec<f64>>,
}

/// A reading as it stands in the file, before its fields are held against its kind.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct RawReading {
    id: String,
    kind: RawKind,
    #[serde(default)]
    applies: Vec<AttributeIs>,
    outcomes: Option<Vec<String>>,
    unit: Option<String>,
    measures: Option<String>,
    normalise: Option<Normalise>,
    worse: Option<Worse>,
    min: Option<f64>,
    background: Vec<f64>,
    bands: Option<Vec<Band>>,
    #[serde(default)]
    limits: Vec<LimitRef>,
    #[serde(default)]
    alone: Vec<LimitRef>,
    gauge: Option<String>,
    face: Option<FaceOf>,
    #[serde(default)]
    three_axes: bool,
    #[serde(default)]
    forbids: Vec<Forbids>,
    observes: Vec<RawObserve>,
    #[serde(default)]
    example: Vec<ReadingExample>,
}

/// Why a reading does not hold together.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("reading {reading}: {message}")]
struct ReadingError {
    reading: String,
    message: String,
}

impl TryFrom<RawReading> for Reading {
    type Error = ReadingError;

    fn try_from(raw: RawReading) -> Result<Self, Self::Error> {
        let wrong = |message: String| ReadingError { reading: raw.id.clone(), message };
        let needs = |field: &str| wrong(format!("a {} reading needs `{field}`", raw.kind.word()));
        let numeric = raw.kind == RawKind::Numeric;
        let not_for = if numeric {
            let stray = [("outcomes", raw.outcomes.is_some()), ("forbids", !raw.forbids.is_empty())];
            stray.into_iter().find(|(_, there)| *there).map(|(field, _)| field)
        } else {
            let stray = [
                ("unit", raw.unit.is_some()),
                ("measures", raw.measures.is_some()),
                ("normalise", raw.normalise.is_some()),
                ("worse", raw.worse.is_some()),
                ("min", raw.min.is_some()),
                ("bands", raw.bands.is_some()),
                ("limits", !raw.limits.is_empty()),
                ("gauge", raw.gauge.is_some()),
                ("face", raw.face.is_some()),
                ("three_axes", raw.three_axes),
            ];
            stray.into_iter().find(|(_, there)| *there).map(|(field, _)| field)
        };
        if let Some(field) = not_for {
            return Err(wrong(format!("a {} reading has no `{field}`", raw.kind.word())));
        }
        let kind = if numeric {
            let [mean, spread] = raw.background[..] else {
                return Err(wrong("the `background` of a numeric reading is its mean and its spread".into()));
            };
            ReadingKind::Numeric(Numeric {
                unit: raw.unit.clone().ok_or_else(|| needs("unit"))?,
                measures: raw.measures.clone(),
                normalise: raw.normalise.ok_or_else(|| needs("normalise"))?,
                worse: raw.worse.ok_or_else(|| needs("worse"))?,
                min: raw.min,
                background: [mean, spread],
                bands: raw.bands.clone().ok_or_else(|| needs("bands"))?,
            })
        } else {
            let outcomes = raw.outcomes.clone().ok_or_else(|| needs("outcomes"))?;
            let background = raw.background.clone();
            if raw.kind == RawKind::Graded {
                ReadingKind::Graded { outcomes, background }
            } else {
                ReadingKind::Nominal { outcomes, background }
            }
        };
        let mut observes = Vec::with_capacity(raw.observes.len());
        for observe in &raw.observes {
            let of = match (&observe.condition, &observe.cause) {
                (Some(id), None) => Observed::Condition(id.clone()),
                (None, Some(id)) => Observed::Cause(id.clone()),
                (None, None) | (Some(_), Some(_)) => {
                    return Err(wrong("each entry of `observes` names either a condition or a cause".into()));
                }
            };
            let mut given = BTreeMap::new();
            for (state, figures) in &observe.given {
                let value = if numeric {
                    let [mean, spread] = figures[..] else {
                        return Err(wrong(format!(
                            "{} {state}: `given` of a numeric reading is a mean and a spread",
                            of.id()
                        )));
                    };
                    Given::Normal([mean, spread])
                } else {
                    Given::Chances(figures.clone())
                };
                given.insert(state.clone(), value);
            }
            observes.push(Observe { of, at: observe.at, given });
        }
        Ok(Self {
            id: raw.id,
            kind,
            applies: raw.applies,
            observes,
            limits: raw.limits,
            alone: raw.alone,
            gauge: raw.gauge,
            face: raw.face,
            three_axes: raw.three_axes,
            forbids: raw.forbids,
            examples: raw.example,
        })
    }
}

impl RawKind {
    fn word(self) -> &'static str {
        match self {
            Self::Graded => "graded",
            Self::Nominal => "nominal",
            Self::Numeric => "numeric",
        }
    }
}

/// A diagnostic act with the readings it gives.
///
/// # Units
/// minutes of work, the engine being open as far as the stage says
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Check {
    /// The id other tables name.
    pub id: String,
    /// The name in trade words.
    pub name: String,
    /// How far the engine must be open.
    pub stage: String,
    /// The kinds of place it is done at.
    pub scope: Vec<Scope>,
    /// What must hold for the engine.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub applies: Vec<AttributeIs>,
    /// True for what nobody can take again after the work: what somebody told, marks on a part that is thrown away.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub once: bool,
    /// For a proof that nobody can take before the hand-back: when it falls due, in words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub due_later: Option<String>,
    /// What must be so beforehand.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub prerequisites: Vec<String>,
    /// Minutes for the first place, setting up the tool included.
    pub minutes_first: f64,
    /// Minutes for each further place.
    pub minutes_further: f64,
    /// How long what is set going must stand before it is read, where it must.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stands: Option<Stands>,
    /// The tools.
    pub tools: Vec<String>,
    /// The gauges those tools may be, as far as the check gives figures.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub gauges: Vec<String>,
    /// How much stuff it uses up.
    pub consumables: Consumables,
    /// Cautions shown before it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub cautions: Vec<String>,
    /// Bench calculators that work something out of its readings.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub calculators: Vec<String>,
    /// Checks of one group look at the same thing by the same physics.
    pub group: String,
    /// Checks that come first, because they may make this one pointless.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub wait_for: Vec<WaitFor>,
    /// Working figures and warnings.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// Where the way of doing it comes from.
    pub source: Source,
    /// Where the chances, means and spreads come from.
    pub likelihood_source: Source,
    /// What it answers.
    pub readings: Vec<Reading>,
}

/// The time that something set going must stand before it is read: calendar time, in which other work is done.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Stands {
    /// The shortest time, in minutes.
    pub minutes: u32,
    /// The longest time after which it still says the same, in minutes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub most_minutes: Option<u32>,
    /// What has been done when the time begins, as a sentence without its full stop.
    pub begins: String,
    /// Where the times come from.
    pub source: Source,
}

/// A fixed list of checks that is done on every engine. Advice is held against it and never follows it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Checklist {
    /// The id.
    pub id: String,
    /// The name in trade words.
    pub name: String,
    /// What it comes to, in one sentence.
    pub plain: String,
    /// Its checks, in the sequence in which they are done.
    pub does: Vec<Does>,
    /// Where the list comes from.
    pub source: Source,
}

/// One check of a list, at every place where it can be done.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Does {
    /// The check.
    pub check: String,
    /// Only at the places where this other check did not come out at its best.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub where_not_best: Option<String>,
}

/// A check that comes before another on the same head, while a condition there is more likely than not.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct WaitFor {
    /// The check that comes first.
    pub check: String,
    /// The condition on that head.
    pub condition: String,
    /// Its states that are meant.
    pub states: Vec<String>,
    /// Why, in one sentence.
    pub why: String,
}

/// How far the engine is open.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Stage {
    /// The id other tables name.
    pub id: String,
    /// Its place in the order.
    pub order: u32,
    /// Minutes to get there from the stage before.
    pub access_minutes: f64,
    /// Whether getting there cannot be undone without new parts.
    pub one_way: bool,
    /// Stages of strip-down it stands on, itself included; empty for a closed engine.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub needs: Vec<String>,
    /// What the engine can no longer do from here on, until it is built up again.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub shuts: Option<Shuts>,
    /// The joints that getting there opens, each of which the build has to close again.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub opens: Vec<String>,
    /// Joints that are open only where something was read of this stage.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub opens_where_read: Vec<OpenWhereRead>,
    /// In words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// Where the minutes come from.
    pub source: Source,
}

/// A joint that a reading as found at a kind of place shows to be open.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OpenWhereRead {
    /// The kind of place that was read.
    pub scope: Scope,
    /// The joint.
    pub joint: String,
}

/// What an engine that is open so far can no longer do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Shuts {
    /// It cannot run.
    Running,
    /// It can neither run nor be cranked or held under pressure.
    Cranking,
}

/// Something that must be so before a check.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Prerequisite {
    /// The id other tables name.
    pub id: String,
    /// What must be so.
    pub text: String,
    /// Whether only a closed engine can meet it.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub closed: bool,
    /// Where it comes from.
    pub source: Source,
}

/// A tool, and the gauges it may be: the bridge from a check to the uncertainty of its reading.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Tool {
    /// The id other tables name.
    pub id: String,
    /// The gauges it may be; none for a tool that gives no figure.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub gauges: Vec<String>,
    /// Where it comes from.
    pub source: Source,
}

/// How readings of one group count when they repeat each other.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Repeat {
    /// The chance that a later agreeing reading is nothing but an echo of the earlier one.
    pub echo: f64,
    /// Where it comes from.
    pub source: Source,
}

/// A fault that is not in the engine's mechanics but looks as if it were.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OutsideFault {
    /// The id other tables name.
    pub id: String,
    /// The name in trade words.
    pub name: String,
    /// Words of a complaint it brings.
    pub complaints: Vec<String>,
    /// Conditions it can be taken for.
    pub mimics: Vec<String>,
    /// What to look at first, in words.
    pub check: String,
    /// Minutes of that look.
    pub minutes: f64,
    /// Whether, once it is found, the complaint says nothing of the engine any more.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub explains: bool,
    /// Cautions shown before it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub cautions: Vec<String>,
    /// What must hold for the engine.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub applies: Vec<AttributeIs>,
    /// Where it comes from.
    pub source: Source,
}

/// What a block is counted by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum BlockPer {
    /// One for each bank.
    Bank,
    /// One for the engine.
    Engine,
}

/// A condition whose states put a block into a class.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BlockMember {
    /// The condition.
    pub condition: String,
    /// For each of its states but the mildest: the class it puts the block into.
    pub class: BTreeMap<String, String>,
}

/// Parts that are mended together, in classes of what the mending takes; the worst class of any member counts.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Block {
    /// The id other tables name.
    pub id: String,
    /// The name in trade words.
    pub name: String,
    /// What it is counted by.
    pub per: BlockPer,
    /// The classes, mildest first.
    pub classes: Vec<String>,
    /// The conditions that decide the class.
    #[serde(rename = "member")]
    pub members: Vec<BlockMember>,
    /// How long parts of it last, where that is known of engines like this one.
    #[serde(default, rename = "life", skip_serializing_if = "Vec::is_empty")]
    pub lives: Vec<BlockLife>,
    /// Where the grouping comes from.
    pub source: Source,
}

/// How long a part of a block lasts, in two ages that a technician can state.
///
/// Where one applies and the mileage is told, it takes the place of the stated chance of a sound block coming back.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BlockLife {
    /// The part and what becomes of it, in trade words.
    pub part: String,
    /// What must be told of the engine; all of them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub applies: Vec<AttributeIs>,
    /// The age by which one in ten has failed, in miles.
    pub tenth_miles: f64,
    /// The age by which half have failed, in miles.
    pub half_miles: f64,
    /// How sure that is: nine times in ten the true half-life lies within this factor.
    pub half_factor: f64,
    /// The same of the gap between the two ages.
    pub gap_factor: f64,
    /// Where the ages come from.
    pub source: Source,
}

/// How far vehicles travel and how often their odometers lie, for what is behind a claimed mileage.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Travel {
    /// The id.
    pub id: String,
    /// Miles a year on average.
    pub yearly_miles: f64,
    /// Spread of the natural logarithm of the distance among vehicles of one age.
    pub spread: f64,
    /// Chance that an odometer was turned back.
    pub turned_back: f64,
    /// Chance that instrument or engine is another one.
    pub swapped: f64,
    /// Chance that kilometres were taken for miles or the other way round.
    pub wrong_unit: f64,
    /// Least and greatest share of the truth that is left after turning back.
    pub share_left: [f64; 2],
    /// Chance that the mileage told of a loose engine was lowered.
    pub loose_turned_back: f64,
    /// Chance that it belongs to another engine.
    pub loose_swapped: f64,
    /// Where the figures come from.
    pub source: Source,
}
