//! Limits of the trade: where a reading is good, where it is doubtful, where it is out.
//!
//! A [`Limit`] is a fallback rule. The figure of the engine's own data always wins; where there is none, the limit says
//! in which [`Band`] a reading lies. Bounds are kept as text, so that trailing digits survive.

use crate::load::{Complaint, Located};
use crate::source::{Source, SourceKind};
use quantity::Unit;
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use std::fmt;

/// A figure kept as it was written, with the number it stands for.
///
/// Refuses anything that is not a finite decimal number.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Figure {
    text: String,
    value: f64,
}

/// Why a text is not a figure.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "{text} is not a finite decimal number, expected a figure such as 0.0030; next move: write digits with a point"
)]
pub struct FigureError {
    text: String,
}

impl Figure {
    /// The text as written, trailing digits kept.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }

    /// The number the text stands for; finite.
    #[must_use]
    pub fn value(&self) -> f64 {
        self.value
    }

    /// One step of the last digit written, so 0.001 for `0.102` and 1 for `414`.
    #[must_use]
    pub fn step(&self) -> f64 {
        let decimals = self.text.split_once('.').map_or(0, |(_, digits)| digits.len());
        10f64.powi(-i32::try_from(decimals).unwrap_or(0))
    }
}

impl TryFrom<String> for Figure {
    type Error = FigureError;
    fn try_from(text: String) -> Result<Self, FigureError> {
        let plain = !text.is_empty() && text.chars().all(|c| c.is_ascii_digit() || matches!(c, '.' | '-'));
        match text.parse::<f64>() {
            Ok(value) if plain && value.is_finite() => Ok(Self { text, value }),
            _ => Err(FigureError { text }),
        }
    }
}

impl From<Figure> for String {
    fn from(figure: Figure) -> Self {
        figure.text
    }
}

impl fmt::Display for Figure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

/// Which side of a limit is the bad one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Side {
    /// Less is better: two upper edges.
    Max,
    /// More is better: two lower edges.
    Min,
    /// Both too little and too much are bad: four edges.
    Range,
    /// A stated value with a tolerance either side: four edges and a nominal.
    Target,
    /// The bands say what the reading means, not whether it is good.
    Classify,
    /// Sizes come in steps; the edges say how far the steps may go.
    Steps,
}

/// Where a reading lies against a limit, best first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Band {
    /// Inside the keep edges.
    Good,
    /// Between keep and reject edge: measure again with a better tool or judge with other evidence; not a pass.
    Marginal,
    /// Beyond the reject edge.
    Out,
}

/// Which of the four edges is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum EdgeName {
    /// Below this the part is out.
    LowReject,
    /// From here up the part is good.
    LowKeep,
    /// Up to here the part is good.
    HighKeep,
    /// Above this the part is out.
    HighReject,
}

impl EdgeName {
    /// The four names from the lowest edge to the highest.
    pub const ALL: [Self; 4] = [Self::LowReject, Self::LowKeep, Self::HighKeep, Self::HighReject];

    fn field(self) -> &'static str {
        match self {
            Self::LowReject => "low_reject",
            Self::LowKeep => "low_keep",
            Self::HighKeep => "high_keep",
            Self::HighReject => "high_reject",
        }
    }
}

/// One edge of a limit: `high_reject = { at = "0.004", alternate = "0.102", source = { ... } }`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Edge {
    /// The figure, in the limit's unit.
    pub at: Figure,
    /// The same edge in the limit's alternate unit, rounded.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub alternate: Option<Figure>,
    /// Where this edge comes from when that differs from the limit's own source.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub source: Option<Source>,
}

/// What a figure is counted against: `per = { of = "bore-diameter", value = "1", unit = "in", scales = true }`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Per {
    /// The size that is meant, such as `bore-diameter`.
    pub of: String,
    /// How much of it the figure is for.
    pub value: Figure,
    /// The unit of that size.
    pub unit: String,
    /// Whether the figure grows with the size; if not, the size is only the window the reading is taken over.
    pub scales: bool,
}

/// What an engine must be for a fact to hold: the attribute has one of the values.
///
/// Several of these must all hold. An attribute nobody has told of does not hold.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AppliesTo {
    /// The attribute, such as `fuel`.
    pub attribute: String,
    /// The values it may have.
    pub any_of: Vec<String>,
}

impl AppliesTo {
    /// Whether every entry holds for an engine whose attributes `told` looks up; an empty list always holds.
    pub fn all_hold<'a>(list: &[Self], told: impl Fn(&str) -> Option<&'a str>) -> bool {
        list.iter().all(|entry| told(&entry.attribute).is_some_and(|value| entry.any_of.iter().any(|v| v == value)))
    }

    /// Whether anything told of the engine speaks against the list; what nobody told does not, and `unknown` is not told.
    pub fn spoken_against<'a>(list: &[Self], told: impl Fn(&str) -> Option<&'a str>) -> bool {
        list.iter().any(|entry| {
            told(&entry.attribute).is_some_and(|value| value != "unknown" && !entry.any_of.iter().any(|v| v == value))
        })
    }

    /// The attributes of the list that nobody has told, so that it can neither hold nor be spoken against.
    pub fn to_be_settled<'a, 'l>(list: &'l [Self], told: impl Fn(&str) -> Option<&'a str>) -> Vec<&'l str> {
        let untold = |entry: &&Self| told(&entry.attribute).is_none_or(|value| value == "unknown");
        list.iter().filter(untold).map(|entry| entry.attribute.as_str()).collect()
    }
}

/// What of form, run-out or surface a limit bounds, in the characteristics of ISO 1101.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Characteristic {
    /// All of a face between two parallel planes.
    Flatness,
    /// A line between two parallel lines, an axis within a cylinder.
    Straightness,
    /// A section between two circles of one centre.
    Roundness,
    /// A surface between two cylinders of one axis.
    Cylindricity,
    /// A face between two planes parallel to the datum.
    Parallelism,
    /// The reading of a dial in one turn about the datum.
    RunOut,
    /// The roughness of a surface, which has a symbol of its own.
    Surface,
}

impl Characteristic {
    /// The characteristic in words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Characteristic::Flatness => "flatness",
            Characteristic::Straightness => "straightness",
            Characteristic::Roundness => "roundness",
            Characteristic::Cylindricity => "cylindricity",
            Characteristic::Parallelism => "parallelism",
            Characteristic::RunOut => "run-out",
            Characteristic::Surface => "surface",
        }
    }

    /// Whether it is counted from a datum.
    #[must_use]
    pub const fn from_datum(self) -> bool {
        matches!(self, Characteristic::Parallelism | Characteristic::RunOut)
    }
}

/// How a limit stands on a drawing: `tolerance = { is = "roundness", across = true }`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Tolerance {
    /// What it bounds.
    pub is: Characteristic,
    /// Whether its figure is a difference of diameters; the zone of ISO 1101 is one of radii, half of it.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub across: bool,
}

/// When in a job a limit is used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LimitStage {
    /// On a part that has run.
    Service,
    /// On parts being put together.
    Assembly,
    /// After the repair.
    Proof,
    /// A correction to another reading.
    Correction,
    /// For planning only.
    Planning,
    /// A witness at strip-down only.
    Teardown,
}

/// How far the writer trusts a limit for an engine it was not written for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Confidence {
    /// A hint.
    Low,
    /// Holds for most car engines.
    Medium,
    /// Holds for nearly all.
    High,
}

/// What the three bands of a classifying limit mean, in words.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Meaning {
    /// Up to the first edge.
    pub first: String,
    /// Between the edges.
    pub middle: String,
    /// Beyond the last edge.
    pub last: String,
}

/// A worked reading that the limit must judge as expected; every file proves itself by these.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Example {
    /// What the reading stands for, as one sentence.
    pub name: String,
    /// The reading.
    pub given: Given,
    /// The band it must fall in.
    pub expect: Band,
}

/// The reading of an example.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Given {
    /// The figure read.
    pub reading: Figure,
    /// Its unit: the limit's unit or its alternate unit.
    pub unit: String,
    /// The size the limit scales with, in the unit of its `per`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub size: Option<Figure>,
}

/// A fallback rule that says in which band a reading lies.
///
/// # Units
/// All edges are in `unit`; readings passed to the methods must be in it as well.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Limit {
    /// The name other files use.
    pub id: String,
    /// What is measured, in trade words.
    pub name: String,
    /// The theme it is filed under.
    pub group: String,
    /// The unit's symbol.
    pub unit: String,
    /// What the unit counts, when the symbol alone does not say it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub measure: Option<String>,
    /// A second unit every edge is also given in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub alternate_unit: Option<String>,
    /// Which side is bad.
    pub side: Side,
    /// What of form or surface it bounds, where it bounds one: what a drawing shows it as.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tolerance: Option<Tolerance>,
    /// Below this the part is out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub low_reject: Option<Edge>,
    /// From here up the part is good.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub low_keep: Option<Edge>,
    /// Up to here the part is good.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub high_keep: Option<Edge>,
    /// Above this the part is out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub high_reject: Option<Edge>,
    /// Why a reject edge is missing: the reading alone is then never a reason to reject on that side.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub no_reject: Option<String>,
    /// The stated value of a target.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub nominal: Option<Figure>,
    /// The sizes that are made, for a limit of steps.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub steps: Vec<Figure>,
    /// What the bands mean, for a classifying limit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub meaning: Option<Meaning>,
    /// What the figure is counted against.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub per: Option<Per>,
    /// What the engine must be.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub applies: Vec<AppliesTo>,
    /// When it is used.
    pub stage: LimitStage,
    /// True when it may judge a finding but is never printed as a figure to build to.
    #[serde(default)]
    pub judge_only: bool,
    /// Under what conditions the reading is taken.
    pub basis: String,
    /// How far it is trusted.
    pub confidence: Confidence,
    /// What a reader ought to know.
    #[serde(default)]
    pub note: String,
    /// What to do when the reading is out.
    #[serde(default)]
    pub if_out: String,
    /// Cautions of taking the reading.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub cautions: Vec<String>,
    /// Where the limit comes from; an edge may say otherwise.
    pub source: Source,
    /// Readings the limit proves itself on.
    #[serde(default, rename = "example", skip_serializing_if = "Vec::is_empty")]
    pub examples: Vec<Example>,
}

/// The four edges of a limit as numbers, in the limit's unit; none where the side has no such edge.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Edges {
    /// Below this the part is out.
    pub low_reject: Option<f64>,
    /// From here up the part is good.
    pub low_keep: Option<f64>,
    /// Up to here the part is good.
    pub high_keep: Option<f64>,
    /// Above this the part is out.
    pub high_reject: Option<f64>,
}

impl Edges {
    /// The band of a value; a value on an edge takes the better band.
    #[must_use]
    pub fn band(self, value: f64) -> Band {
        if self.low_reject.is_some_and(|edge| value < edge) || self.high_reject.is_some_and(|edge| value > edge) {
            Band::Out
        } else if self.low_keep.is_some_and(|edge| value < edge) || self.high_keep.is_some_and(|edge| value > edge) {
            Band::Marginal
        } else {
            Band::Good
        }
    }
}

impl Limit {
    /// The edge of that name, with its text and source, or nothing when the side has no such edge.
    #[must_use]
    pub fn edge(&self, name: EdgeName) -> Option<&Edge> {
        match name {
            EdgeName::LowReject => self.low_reject.as_ref(),
            EdgeName::LowKeep => self.low_keep.as_ref(),
            EdgeName::HighKeep => self.high_keep.as_ref(),
            EdgeName::HighReject => self.high_reject.as_ref(),
        }
    }

    /// The source of one edge: its own, or the limit's.
    #[must_use]
    pub fn source_of(&self, name: EdgeName) -> &Source {
        self.edge(name).and_then(|edge| edge.source.as_ref()).unwrap_or(&self.source)
    }

    /// The edges as numbers, in the limit's unit and not scaled by any size.
    #[must_use]
    pub fn edges(&self) -> Edges {
        let at = |edge: &Option<Edge>| edge.as_ref().map(|e| e.at.value());
        Edges {
            low_reject: at(&self.low_reject),
            low_keep: at(&self.low_keep),
            high_keep: at(&self.high_keep),
            high_reject: at(&self.high_reject),
        }
    }

    /// Whether the limit needs the size named by its `per` before it can judge a reading.
    #[must_use]
    pub fn needs_size(&self) -> bool {
        self.per.as_ref().is_some_and(|per| per.scales)
    }

    /// The edges for one size, or nothing when a size is needed and none, or none above zero, is given.
    ///
    /// # Units
    /// `size` in the unit of `per`; the edges come out in the limit's unit.
    #[must_use]
    pub fn edges_for(&self, size: Option<f64>) -> Option<Edges> {
        let edges = self.edges();
        let Some(per) = self.per.as_ref().filter(|per| per.scales) else {
            return Some(edges);
        };
        let times = size.filter(|s| s.is_finite() && *s > 0.0)? / per.value.value();
        let scaled = |edge: Option<f64>| edge.map(|e| e * times);
        Some(Edges {
            low_reject: scaled(edges.low_reject),
            low_keep: scaled(edges.low_keep),
            high_keep: scaled(edges.high_keep),
            high_reject: scaled(edges.high_reject),
        })
    }

    /// The band of a reading in the limit's unit.
    ///
    /// Nothing when the limit only classifies, when the reading is not finite, or when a size is needed and not given.
    #[must_use]
    pub fn judge(&self, value: f64, size: Option<f64>) -> Option<Band> {
        if self.side == Side::Classify || !value.is_finite() {
            return None;
        }
        self.edges_for(size).map(|edges| edges.band(value))
    }

    /// What a reading means under a classifying limit, in words; nothing for any other limit.
    #[must_use]
    pub fn meaning_of(&self, value: f64) -> Option<&str> {
        let meaning = self.meaning.as_ref().filter(|_| value.is_finite())?;
        Some(match self.edges().band(value) {
            Band::Good => &meaning.first,
            Band::Marginal => &meaning.middle,
            Band::Out => &meaning.last,
        })
    }
}

/// A value turned from one unit symbol into another; nothing when a symbol is unknown or the two measure unlike things.
fn convert(value: f64, from: &str, to: &str) -> Option<f64> {
    Unit::from_symbol(from).ok()?.convert(value, Unit::from_symbol(to).ok()?).ok()
}

/// Says what is wrong with a source tag: a published one must name an entry of `sources/`.
pub(crate) fn source_fault(source: &Source, known: &BTreeSet<String>) -> Option<(String, String)> {
    match (&source.kind, &source.reference) {
        (SourceKind::Published, None) => {
            Some(("is published but names no source".into(), "add ref with an id of the sources folder".into()))
        }
        (_, Some(id)) if !known.contains(id) => Some((
            format!("names source {id}, which the sources folder does not hold"),
            "add the source or mend the id".into(),
        )),
        _ => None,
    }
}

/// Everything wrong with the limits: ids, sides, order of edges, units, sources, cautions and worked examples.
///
/// `cautions` and `sources` are the ids the other folders hold.
#[must_use]
pub fn lint_limits(
    limits: &[Located<Limit>],
    cautions: &BTreeSet<String>,
    sources: &BTreeSet<String>,
) -> Vec<Complaint> {
    let mut out = Vec::new();
    let mut seen = BTreeSet::new();
    for limit in limits {
        if !seen.insert(limit.id.as_str()) {
            out.push(limit.complaint("id", format!("{} stands twice", limit.id), "give every limit its own id"));
        }
        lint_edges(limit, &mut out);
        lint_alternate(limit, &mut out);
        lint_words(limit, cautions, sources, &mut out);
        lint_examples(limit, &mut out);
    }
    out
}

fn lint_edges(limit: &Located<Limit>, out: &mut Vec<Complaint>) {
    let (low, high) = match limit.side {
        Side::Max | Side::Classify => (false, true),
        Side::Min => (true, false),
        Side::Range | Side::Target | Side::Steps => (true, true),
    };
    for name in EdgeName::ALL {
        let wanted = match name {
            EdgeName::LowReject | EdgeName::LowKeep => low,
            EdgeName::HighKeep | EdgeName::HighReject => high,
        };
        let reject = matches!(name, EdgeName::LowReject | EdgeName::HighReject);
        match (wanted, limit.edge(name)) {
            (true, None) if !(reject && limit.no_reject.is_some()) => {
                out.push(limit.complaint(
                    name.field(),
                    "is missing for this side",
                    "add the edge, or say under no_reject why there is none",
                ));
            }
            (false, Some(_)) => {
                out.push(limit.complaint(
                    name.field(),
                    "stands on the good side",
                    "take the edge out or mend the side",
                ));
            }
            _ => {}
        }
    }
    let ordered: Vec<(EdgeName, f64)> =
        EdgeName::ALL.iter().filter_map(|n| limit.edge(*n).map(|e| (*n, e.at.value()))).collect();
    for pair in ordered.windows(2) {
        if let [(_, lower), (name, upper)] = pair
            && lower >= upper
        {
            out.push(limit.complaint(
                name.field(),
                format!("{upper} is not above the edge before it, {lower}"),
                "put the edges in rising order",
            ));
        }
    }
    let edges = limit.edges();
    match (&limit.nominal, limit.side == Side::Target) {
        (None, true) => out.push(limit.complaint("nominal", "a target states no value", "add nominal")),
        (Some(_), false) => {
            out.push(limit.complaint("nominal", "only a target states a value", "take it out or make the side target"))
        }
        (Some(n), true) if edges.band(n.value()) != Band::Good => {
            out.push(limit.complaint("nominal", "lies outside the keep edges", "mend the nominal or the edges"));
        }
        _ => {}
    }
    if (limit.side == Side::Steps) == limit.steps.is_empty() {
        out.push(limit.complaint(
            "steps",
            "steps and the side steps belong together",
            "give the steps, or mend the side",
        ));
    }
    if limit.steps.windows(2).any(|pair| matches!(pair, [a, b] if a.value() >= b.value())) {
        out.push(limit.complaint("steps", "do not rise", "sort the steps"));
    }
    if (limit.side == Side::Classify) != limit.meaning.is_some() {
        out.push(limit.complaint(
            "meaning",
            "meaning and the side classify belong together",
            "give the meaning, or mend the side",
        ));
    }
    if limit.per.as_ref().is_some_and(|per| per.value.value() <= 0.0) {
        out.push(limit.complaint("per", "is not above zero", "give how much of the size the figure is for"));
    }
}

fn lint_alternate(limit: &Located<Limit>, out: &mut Vec<Complaint>) {
    let figures: Vec<(EdgeName, &Edge)> =
        EdgeName::ALL.iter().filter_map(|n| limit.edge(*n).map(|e| (*n, e))).collect();
    let Some(unit) = &limit.alternate_unit else {
        for (name, _) in figures.iter().filter(|(_, e)| e.alternate.is_some()) {
            out.push(limit.complaint(
                name.field(),
                "gives a second figure without a second unit",
                "add alternate_unit",
            ));
        }
        return;
    };
    for (name, edge) in figures {
        match &edge.alternate {
            None => out.push(limit.complaint(name.field(), format!("is not given in {unit}"), "add alternate")),
            Some(second) => {
                let Some(exact) = convert(edge.at.value(), &limit.unit, unit) else {
                    out.push(limit.complaint(
                        "alternate_unit",
                        format!("{} and {unit} do not measure the same thing", limit.unit),
                        "use a unit of the same kind or take it out",
                    ));
                    return;
                };
                if (second.value() - exact).abs() > 0.500_001 * second.step() {
                    out.push(limit.complaint(
                        name.field(),
                        format!("{} {} is {exact:.6} {unit}, not {second}", edge.at, limit.unit),
                        "work the second figure out again",
                    ));
                }
            }
        }
    }
}

fn lint_words(
    limit: &Located<Limit>,
    cautions: &BTreeSet<String>,
    sources: &BTreeSet<String>,
    out: &mut Vec<Complaint>,
) {
    if limit.stage == LimitStage::Assembly && !limit.judge_only {
        out.push(limit.complaint(
            "judge_only",
            "an assembly clearance is never given by a fallback",
            "set judge_only = true",
        ));
    }
    for (field, text) in
        [("name", &limit.name), ("group", &limit.group), ("unit", &limit.unit), ("basis", &limit.basis)]
    {
        if text.trim().is_empty() {
            out.push(limit.complaint(field, "is empty", "fill it in"));
        }
    }
    let units = [Some(&limit.unit), limit.alternate_unit.as_ref(), limit.per.as_ref().map(|per| &per.unit)];
    for unit in units.into_iter().flatten().filter(|unit| Unit::from_symbol(unit).is_err()) {
        out.push(limit.complaint("unit", format!("{unit} is not a unit symbol"), "use the symbol of a known unit"));
    }
    for caution in limit.cautions.iter().filter(|c| !cautions.contains(*c)) {
        out.push(limit.complaint(
            "cautions",
            format!("names caution {caution}, which there is none of"),
            "mend the id",
        ));
    }
    let own = std::iter::once(("source", &limit.source));
    let edges = EdgeName::ALL.iter().filter_map(|n| Some((n.field(), limit.edge(*n)?.source.as_ref()?)));
    for (field, source) in own.chain(edges) {
        if let Some((message, next)) = source_fault(source, sources) {
            out.push(limit.complaint(field, message, next));
        }
    }
}

fn lint_examples(limit: &Located<Limit>, out: &mut Vec<Complaint>) {
    for example in &limit.examples {
        let given = &example.given;
        let Some(value) = convert(given.reading.value(), &given.unit, &limit.unit) else {
            out.push(limit.complaint(
                "example",
                format!("{}: unit {} does not fit {}", example.name, given.unit, limit.unit),
                "use the limit's unit or its alternate",
            ));
            continue;
        };
        match limit.judge(value, given.size.as_ref().map(Figure::value)) {
            Some(band) if band == example.expect => {}
            band => out.push(limit.complaint(
                "example",
                format!("{}: expected {:?}, found {band:?}", example.name, example.expect),
                "mend the limit, or the example if its working is wrong",
            )),
        }
    }
}
