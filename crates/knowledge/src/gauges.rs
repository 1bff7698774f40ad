//! Gauges and what their readings are worth: an uncertainty budget each, and the limits they can decide.
//!
//! A budget follows the evaluation of bounds (half width over root three) and of repeats (standard deviation as it is).
//! Standard uncertainty u is the root of the sum of squares; expanded uncertainty is twice that.

use crate::limits::source_fault;
use crate::load::{Complaint, Located};
use crate::source::Source;
use quantity::Unit;
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

/// How one part of a budget spreads.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Shape {
    /// Anywhere between two bounds: u is the half width over root three.
    Rectangular,
    /// A spread of repeats, already a standard deviation.
    Repeats,
}

/// One line of a budget: `{ what = "half step", size = 0.0005, shape = "rectangular", u = 0.000289 }`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Component {
    /// What the doubt comes from.
    pub what: String,
    /// Half width or standard deviation, in the gauge's unit.
    pub size: f64,
    /// Which of the two.
    pub shape: Shape,
    /// The standard uncertainty it gives, rounded to three figures.
    pub u: f64,
}

impl Component {
    /// The standard uncertainty worked out from size and shape, in the gauge's unit.
    #[must_use]
    pub fn worked(&self) -> f64 {
        match self.shape {
            Shape::Rectangular => self.size / 3f64.sqrt(),
            Shape::Repeats => self.size,
        }
    }
}

/// What a gauge is worth against one limit, best first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Worth {
    /// Ratio 4 or more: decides.
    Fit,
    /// Ratio 2 to 4: decides with a guard band.
    GuardBand,
    /// Ratio 1 to 2: repeat and average, or screen only.
    Repeat,
    /// Ratio under 1: screens only.
    ScreeningOnly,
}

impl Worth {
    /// The worth of a ratio of tolerance span to four standard uncertainties.
    #[must_use]
    pub fn of_ratio(ratio: f64) -> Self {
        if ratio >= 4.0 {
            Self::Fit
        } else if ratio >= 2.0 {
            Self::GuardBand
        } else if ratio >= 1.0 {
            Self::Repeat
        } else {
            Self::ScreeningOnly
        }
    }
}

/// One limit a gauge is used for, and how well it can decide it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FitFor {
    /// The limit.
    pub limit: String,
    /// The tolerance span the ratio is taken of: the limit itself or the width of its marginal band.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub span: Option<f64>,
    /// The unit of the span: the gauge's unit unless the note says how one turns into the other.
    pub unit: String,
    /// Span over four standard uncertainties, rounded to one decimal.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ratio: Option<f64>,
    /// What that is worth.
    pub worth: Worth,
    /// What a reader ought to know.
    #[serde(default)]
    pub note: String,
}

/// How often a look-and-see test is right; for gauges that give no number.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Detection {
    /// Chance of finding what is there.
    pub finds: f64,
    /// Chance of finding nothing where there is nothing.
    pub clears: f64,
}

/// How long a check of a gauge's zero holds: `{ hours = 12, source = { kind = "common-practice" } }`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ZeroRule {
    /// Hours after the check in which a reading may rest on it.
    pub hours: u32,
    /// Where that comes from.
    pub source: Source,
}

/// A kind of gauge, its uncertainty budget and the limits it is fit for.
///
/// # Units
/// All figures in `unit`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Gauge {
    /// The name other files use.
    pub id: String,
    /// The name in trade words.
    pub name: String,
    /// The word the checks use for this tool, where they have one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tool: Option<String>,
    /// One step of the scale.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub resolution: Option<f64>,
    /// The unit of all figures here.
    pub unit: String,
    /// The end of its scale: nothing above it can be read with this gauge.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reads_to: Option<f64>,
    /// The budget, line by line; empty for a look-and-see test.
    #[serde(default, rename = "component", skip_serializing_if = "Vec::is_empty")]
    pub components: Vec<Component>,
    /// Standard uncertainty of one reading.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u: Option<f64>,
    /// Expanded uncertainty, twice `u`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expanded: Option<f64>,
    /// Standard uncertainty when only the difference of two readings counts and the setting falls out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u_of_difference: Option<f64>,
    /// How often it is right, for a look-and-see test.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub detection: Option<Detection>,
    /// Months between calibrations; 0 where there is nothing to calibrate.
    pub calibration_months: u32,
    /// How long a check of its zero holds; nothing where the kind has no zero to check.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub zero: Option<ZeroRule>,
    /// What to do before trusting it today.
    #[serde(default)]
    pub check_before_use: String,
    /// The limits it is used for.
    #[serde(default, rename = "fit", skip_serializing_if = "Vec::is_empty")]
    pub fits: Vec<FitFor>,
    /// What it must not be used for.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub not_fit_for: Vec<String>,
    /// How it lies.
    #[serde(default)]
    pub traps: String,
    /// Where the component sizes come from.
    pub source: Source,
    /// Where the way of turning bounds into uncertainties comes from.
    pub method: Source,
}

impl Gauge {
    /// The standard uncertainty worked out from the budget, in the gauge's unit; nothing without a budget.
    #[must_use]
    pub fn worked_u(&self) -> Option<f64> {
        (!self.components.is_empty()).then(|| self.components.iter().map(|c| c.worked().powi(2)).sum::<f64>().sqrt())
    }

    /// The standard uncertainty of a mean of n readings, in the gauge's unit: only the repeats shrink.
    ///
    /// Nothing without a budget or for no readings.
    #[must_use]
    pub fn u_of_mean(&self, n: u32) -> Option<f64> {
        if n == 0 || self.components.is_empty() {
            return None;
        }
        let squares = self.components.iter().map(|c| match c.shape {
            Shape::Rectangular => c.worked().powi(2),
            Shape::Repeats => c.worked().powi(2) / f64::from(n),
        });
        Some(squares.sum::<f64>().sqrt())
    }
}

/// Whether a rounded figure says the same as the worked one, to half a step of its third figure.
fn agrees(written: f64, worked: f64) -> bool {
    if worked <= 0.0 {
        return written == 0.0;
    }
    let step = 10f64.powf(worked.log10().floor() - 2.0);
    (written - worked).abs() <= 0.51 * step
}

/// Everything wrong with the gauges: ids, limits named, budgets that do not recompute, sources.
///
/// `limits`, `tools` and `sources` are the ids the other folders hold.
#[must_use]
pub fn lint_gauges(
    gauges: &[Located<Gauge>],
    limits: &BTreeSet<String>,
    tools: &BTreeSet<String>,
    sources: &BTreeSet<String>,
) -> Vec<Complaint> {
    let mut out = Vec::new();
    let mut seen = BTreeSet::new();
    for gauge in gauges {
        if !seen.insert(gauge.id.as_str()) {
            out.push(gauge.complaint("id", format!("{} stands twice", gauge.id), "give every gauge its own id"));
        }
        if Unit::from_symbol(&gauge.unit).is_err() {
            out.push(gauge.complaint(
                "unit",
                format!("{} is not a unit symbol", gauge.unit),
                "use the symbol of a known unit",
            ));
        }
        if let Some(tool) = gauge.tool.as_ref().filter(|t| !tools.contains(*t)) {
            out.push(gauge.complaint(
                "tool",
                format!("names tool {tool}, which no check knows"),
                "use a tool word of the checks folder",
            ));
        }
        let zero = gauge.zero.iter().map(|rule| ("zero", &rule.source));
        for (field, source) in [("source", &gauge.source), ("method", &gauge.method)].into_iter().chain(zero) {
            if let Some((message, next)) = source_fault(source, sources) {
                out.push(gauge.complaint(field, message, next));
            }
        }
        if gauge.reads_to.is_some_and(|end| !(end.is_finite() && end > gauge.resolution.unwrap_or(0.0))) {
            out.push(gauge.complaint(
                "reads_to",
                "is no end of a scale",
                "give a figure above one step, or leave it out",
            ));
        }
        lint_budget(gauge, &mut out);
        lint_fits(gauge, limits, &mut out);
    }
    out
}

fn lint_budget(gauge: &Located<Gauge>, out: &mut Vec<Complaint>) {
    for part in &gauge.components {
        if !(part.size > 0.0 && agrees(part.u, part.worked())) {
            out.push(gauge.complaint(
                "component",
                format!("{}: u is {}, worked out {:.3e}", part.what, part.u, part.worked()),
                "work it out again",
            ));
        }
    }
    match (gauge.worked_u(), gauge.u, gauge.expanded, &gauge.detection) {
        (Some(worked), Some(u), Some(expanded), None) => {
            if !agrees(u, worked) {
                out.push(gauge.complaint(
                    "u",
                    format!("is {u}, the budget gives {worked:.3e}"),
                    "take the root of the sum of squares",
                ));
            }
            if !agrees(expanded, 2.0 * worked) {
                out.push(gauge.complaint(
                    "expanded",
                    format!("is {expanded}, twice u is {:.3e}", 2.0 * worked),
                    "double u",
                ));
            }
        }
        (None, None, None, Some(detection)) => {
            if ![detection.finds, detection.clears].iter().all(|p| (0.0..=1.0).contains(p)) {
                out.push(gauge.complaint("detection", "is not a chance", "give figures from 0 to 1"));
            }
        }
        _ => out.push(gauge.complaint(
            "u",
            "needs a budget with u and expanded, or a detection and neither",
            "give one of the two",
        )),
    }
    if let (Some(u), Some(difference)) = (gauge.worked_u(), gauge.u_of_difference)
        && !(difference > 0.0 && difference <= u * 2f64.sqrt())
    {
        out.push(gauge.complaint(
            "u_of_difference",
            format!("{difference} is not between 0 and root two times u"),
            "work it out from the parts that do not cancel",
        ));
    }
}

fn lint_fits(gauge: &Located<Gauge>, limits: &BTreeSet<String>, out: &mut Vec<Complaint>) {
    for fit in &gauge.fits {
        if !limits.contains(&fit.limit) {
            out.push(gauge.complaint(
                "fit.limit",
                format!("names limit {}, which there is none of", fit.limit),
                "mend the id",
            ));
        }
        if fit.unit != gauge.unit && fit.note.trim().is_empty() {
            out.push(gauge.complaint(
                "fit.unit",
                format!("{} differs from the gauge's {}", fit.unit, gauge.unit),
                "say in the note how one turns into the other",
            ));
        }
        match (fit.span, fit.ratio, gauge.worked_u()) {
            (Some(span), Some(ratio), Some(u)) => {
                let worked = span / (4.0 * u);
                if (ratio - worked).abs() > 0.051 {
                    out.push(gauge.complaint(
                        "fit.ratio",
                        format!("{}: is {ratio}, worked out {worked:.2}", fit.limit),
                        "divide the span by four u",
                    ));
                }
                if Worth::of_ratio(worked) != fit.worth {
                    out.push(gauge.complaint(
                        "fit.worth",
                        format!("{}: a ratio of {worked:.2} is worth {:?}", fit.limit, Worth::of_ratio(worked)),
                        "mend the worth",
                    ));
                }
            }
            (None, None, _) => {}
            _ => out.push(gauge.complaint(
                "fit.span",
                format!("{}: span and ratio belong together", fit.limit),
                "give both or neither",
            )),
        }
    }
}
