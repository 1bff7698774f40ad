//! Findings: every reading held against its limit, and put into the measure that the network speaks.
//!
//! The engine's own figure comes first; a fallback says that it is one and where it comes from. A reading that
//! cannot be judged still counts for the network where it can, and says why it cannot be judged.

use std::collections::BTreeMap;

use anatomy::{EngineLayout, Position};
use knowledge::{Gauge, Knowledge, Limit, Normalise, Numeric, ReadingKind, Worse};
use logbook::{Bound, EngineFigure, JobState, ReadingTaken, ReadingValue};
use quantity::decision::guard_band;
use quantity::print::printed;
use quantity::{Reply, Risks, Unit, Verdict, Zone, decide, parse_quantity};
use serde::Serialize;

use crate::network::{EngineNet, Seen, applies};
use crate::notice::Notice;
use crate::settle::{Candidate, Doubt, Question};

/// A reading with its verdict.
#[derive(Debug, Clone, Serialize)]
pub struct Finding {
    /// The entry it rests on.
    pub entry: String,
    /// When it was read.
    pub at: String,
    /// By whom.
    pub by: String,
    /// The check.
    pub check: String,
    /// The check in words.
    pub check_name: String,
    /// Which reading of the check.
    pub reading: String,
    /// Where on the engine.
    pub position: Position,
    /// Where, in the names this engine uses.
    pub place: String,
    /// What was read, as typed or in the words of the outcome.
    pub shown: String,
    /// The value in the reading's unit, where it is a number.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value: Option<f64>,
    /// The unit of `value`, `u` and the limit's edges.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// The unit in which it was typed, where it is a number: what is said of it is said in that unit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub typed_unit: Option<String>,
    /// Standard uncertainty in the same unit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub u: Option<f64>,
    /// What the value was turned into for the network (ratio to the limit, per cent of the best, ...).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub measure: Option<f64>,
    /// The verdict, one of four.
    pub verdict: Verdict,
    /// Chance of being inside the keep edges.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub p_inside: Option<f64>,
    /// Chance of being beyond the reject edges.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub p_outside: Option<f64>,
    /// Width of the guard band at the nearest edge, in the reading's unit: so far off the edge a value must lie to be called.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub guard: Option<f64>,
    /// The rule by which the verdict was drawn, in words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rule: Option<String>,
    /// The limit it was held against.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub limit: Option<LimitUsed>,
    /// The gauge, by name.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gauge: Option<String>,
    /// What spoke against the gauge on the day of the reading: its zero, its calibration.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gauge_word: Option<String>,
    /// Why this verdict.
    pub reason: String,
    /// What would help, where the verdict leaves a question.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub next_move: Option<String>,
    /// Whether its gauge was found doubtful, or it cannot be true beside another: then no verdict, belief or advice rests on it.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub measure_again: bool,
    /// Whether it was read after the repair.
    pub after_repair: bool,
    /// Which spot of several, where one was named.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub spot: Option<String>,
    /// Whether it is the finding on a whole face, from all its lines together; each line has one of its own beside it.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub whole_face: bool,
    /// Whether it is the oval through the sizes on three axes, so that none is hidden between them.
    #[serde(skip)]
    pub three_axes: bool,
    /// Whether a smaller figure is the worse one.
    #[serde(skip)]
    pub lower_is_worse: bool,
    /// What the network takes from it.
    #[serde(skip)]
    pub seen: Option<Seen>,
}

impl Finding {
    /// A reading at a place before anything is known of it.
    pub(crate) fn blank(
        check: &knowledge::Check,
        reading: &knowledge::Reading,
        position: &Position,
        layout: &EngineLayout,
    ) -> Self {
        Self {
            entry: String::new(),
            at: String::new(),
            by: String::new(),
            check: check.id.clone(),
            check_name: check.name.clone(),
            reading: reading.id.clone(),
            position: *position,
            place: layout.label(position),
            shown: String::new(),
            value: None,
            unit: None,
            typed_unit: None,
            u: None,
            measure: None,
            verdict: Verdict::CannotTell,
            p_inside: None,
            p_outside: None,
            guard: None,
            rule: None,
            limit: None,
            gauge: None,
            gauge_word: None,
            reason: String::new(),
            next_move: None,
            measure_again: false,
            after_repair: false,
            spot: None,
            whole_face: false,
            three_axes: false,
            lower_is_worse: matches!(&reading.kind, ReadingKind::Numeric(n) if n.worse == Worse::Lower),
            seen: None,
        }
    }

    /// The name of what was read; see [`crate::series::named`].
    #[must_use]
    pub fn name(&self) -> String {
        crate::series::named(&self.check_name, &self.reading)
    }

    /// How its figures are said: in the unit it was typed in, so that one quantity has one unit in one sentence.
    #[must_use]
    pub fn spoken(&self) -> Spoken {
        let own = self.unit.clone().unwrap_or_default();
        let typed = self.typed_unit.as_deref().and_then(|typed| Spoken::by(&own, typed));
        typed.unwrap_or(Spoken { unit: own, per: 1.0 })
    }
}

/// A unit that figures are said in.
#[derive(Debug, Clone, PartialEq)]
pub struct Spoken {
    /// Its symbol.
    pub unit: String,
    /// How many of it make one of the unit the figures are in.
    pub per: f64,
}

impl Spoken {
    /// From a unit to another of the same zero; nothing where the zeros differ, as those of temperatures do.
    fn by(from: &str, to: &str) -> Option<Self> {
        let (from, to) = (Unit::from_symbol(from).ok()?, Unit::from_symbol(to).ok()?);
        let same_zero = from.convert(0.0, to).ok()?.abs() < f64::EPSILON;
        let per = from.convert(1.0, to).ok()?;
        same_zero.then(|| Spoken { unit: to.symbol().to_owned(), per })
    }

    /// A figure as it is said, with its unit.
    #[must_use]
    pub fn say(&self, figure: f64, digits: i32) -> String {
        format!("{} {}", printed(figure * self.per, digits), self.unit)
    }
}

/// The limit a reading was held against.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LimitUsed {
    /// Its id, or the item of the engine sheet.
    pub id: String,
    /// Its name.
    pub name: String,
    /// Edges in the reading's unit: lower reject, lower keep, upper keep, upper reject.
    pub edges: [Option<f64>; 4],
    /// Whether it is the engine's own figure.
    pub own: bool,
    /// Where it comes from, in words.
    pub source: String,
}

/// Gauges of a shop by their label: the kind of gauge, and its own stated uncertainty as typed text and unit.
pub type Gauges = BTreeMap<String, (String, Option<(String, String)>)>;

/// What findings are judged with.
#[derive(Debug)]
pub struct Context<'a> {
    /// The engine.
    pub layout: &'a EngineLayout,
    /// What the engine is known to be.
    pub attributes: &'a BTreeMap<String, String>,
    /// The knowledge.
    pub knowledge: &'a Knowledge,
    /// The engine's own figures.
    pub sheet: &'a [EngineFigure],
    /// Gauges of the shop: label to its stated uncertainty as typed text and unit.
    pub gauges: &'a Gauges,
}

/// Findings of a job, with complaints about single readings.
#[must_use]
pub fn of_state(
    state: &JobState,
    layout: &EngineLayout,
    net: &EngineNet,
    knowledge: &Knowledge,
) -> (Vec<Finding>, Vec<Notice>) {
    let past = crate::scales::past_the_end(state, knowledge);
    let (mut findings, mut notices) = with_context(state, layout, net, knowledge, |context| {
        let mut notices = Vec::new();
        if past.is_empty() {
            return (judge_all(&state.readings, context, &mut notices), notices);
        }
        // A needle on its stop is no reading: nothing rests on it and nothing is compared with it.
        let mut readings = state.readings.clone();
        for taken in &mut readings {
            let entry = taken.entry.to_string();
            if past.iter().any(|notice| notice.about == entry) {
                taken.gauge_doubted_by = taken.gauge_doubted_by.or(Some(taken.entry));
            }
        }
        (judge_all(&readings, context, &mut notices), notices)
    });
    for finding in &mut findings {
        if let Some(notice) = past.iter().find(|notice| notice.about == finding.entry) {
            finding.reason = format!("{}: no verdict rests on it", notice.message);
            finding.doubted(&notice.what_to_do);
        }
    }
    crate::gauges::mark(state, knowledge, &mut findings, &mut notices);
    (findings, notices)
}

/// Does something with what findings of a job are judged with.
pub(crate) fn with_context<T>(
    state: &JobState,
    layout: &EngineLayout,
    net: &EngineNet,
    knowledge: &Knowledge,
    then: impl FnOnce(&Context<'_>) -> T,
) -> T {
    let sheet: Vec<EngineFigure> = state.sheet.iter().map(|f| f.body.clone()).collect();
    let gauges: Gauges = state
        .gauges
        .iter()
        .map(|(label, g)| {
            let u = g.body.u.as_ref().map(|u| (u.text.clone(), u.unit.clone()));
            (label.clone(), (g.body.gauge.clone(), u))
        })
        .collect();
    then(&Context { layout, attributes: &net.attributes, knowledge, sheet: &sheet, gauges: &gauges })
}

/// The limit a reading is held against: the engine's own figure, then the fallbacks in their order.
pub(crate) fn limit_used(
    check: &knowledge::Check,
    reading: &knowledge::Reading,
    numeric: &Numeric,
    taken: &ReadingTaken,
    context: &Context<'_>,
) -> Option<LimitUsed> {
    own_figure(check, reading, numeric, taken, context)
        .or_else(|| reading.limits.iter().find_map(|r| fallback(r, numeric, &taken.position, context)))
}

/// A limit by its id, in mm: the engine's own figure before what the knowledge has.
pub(crate) fn limit_by_id(id: &str, context: &Context<'_>) -> Option<LimitUsed> {
    let own = context
        .sheet
        .iter()
        .rfind(|f| f.item == id && f.bound == Bound::Max && f.stands_for != Some(logbook::FigureFor::New))
        .and_then(|f| {
            let (value, _) = in_unit(&f.text, &f.unit, "mm").ok()?;
            Some((value, format!("{}, page {}", f.document, f.page)))
        });
    let limit = context.knowledge.limit(id)?;
    match own {
        Some((value, source)) => Some(LimitUsed {
            id: id.to_owned(),
            name: limit.name.clone(),
            edges: [None, None, Some(value), Some(value)],
            own: true,
            source,
        }),
        None => fallback_in(limit, "mm", context),
    }
}

/// Findings for all readings that stand, in the order they were taken.
#[must_use]
pub fn judge_all(readings: &[ReadingTaken], context: &Context<'_>, notices: &mut Vec<Notice>) -> Vec<Finding> {
    // The best of its kind, for readings that are compared among themselves.
    let mut best: BTreeMap<(String, String, bool), f64> = BTreeMap::new();
    for taken in readings.iter().filter(|r| r.gauge_doubted_by.is_none()) {
        if let Some((_, numeric, value)) = number_of(taken, context) {
            let after = taken.phase != logbook::Phase::AsFound;
            let entry = best.entry((taken.check.clone(), taken.reading.clone(), after)).or_insert(value);
            *entry = match numeric.worse {
                Worse::Lower => entry.max(value),
                Worse::Higher => entry.min(value),
            };
        }
    }
    let mut findings: Vec<Finding> =
        readings.iter().filter_map(|taken| judge_or_ask_again(taken, context, &best, notices)).collect();
    ask_for_the_third_axis(&mut findings);
    findings
}

/// Judges a reading; one whose gauge was found doubtful only asks to be taken again.
fn judge_or_ask_again(
    taken: &ReadingTaken,
    context: &Context<'_>,
    best: &BTreeMap<(String, String, bool), f64>,
    notices: &mut Vec<Notice>,
) -> Option<Finding> {
    if taken.gauge_doubted_by.is_none() {
        return judge(taken, context, best, notices);
    }
    // What keeps a doubted reading from being compared is of no interest; what keeps it from being read is.
    let mut complaints = Vec::new();
    let Some(mut finding) = judge(taken, context, best, &mut complaints) else {
        notices.append(&mut complaints);
        return None;
    };
    let gauge = taken.label.as_ref().map_or_else(|| "a gauge".to_owned(), |label| format!("gauge {label}"));
    finding.reason = format!("taken with {gauge}, which was found doubtful: no verdict rests on it");
    finding.doubted("measure it again with a gauge that is good");
    Some(finding)
}

/// The reading of a bore that two axes may give too small.
const OUT_OF_ROUND: &str = "out-of-round";
/// The reading beside it that says how far the bore has worn over its standard size.
const WEAR: &str = "wear";
/// What the spot of an out-of-round holds that was read on the third axis as well.
const THIRD_AXIS: &str = "45";

/// Asks for the axis at 45 degrees where an oval that two axes hide could turn the verdict.
///
/// Two axes at right angles read an oval of depth A, turned by t, as A cos 2t: nothing at all at 45 degrees. What bounds A is
/// the wear. A bore that only wore is nowhere under its standard size; its mean at a height is at most standard + wear - d/2,
/// with d the out-of-round of that height, so A is at most 2 wear - d. One figure for all heights leaves some height where d
/// may be nothing: there it is 2 wear. Without a wear nothing bounds it.
fn ask_for_the_third_axis(findings: &mut [Finding]) {
    let asks: Vec<(usize, String)> = findings
        .iter()
        .enumerate()
        .filter_map(|(index, finding)| third_axis(finding, findings).map(|words| (index, words)))
        .collect();
    for (index, words) in asks {
        if let Some(finding) = findings.get_mut(index) {
            finding.next_move = Some(match finding.next_move.take() {
                Some(before) => format!("{before}; {words}"),
                None => words,
            });
        }
    }
}

/// The words that ask for the third axis, where it is wanted.
fn third_axis(finding: &Finding, findings: &[Finding]) -> Option<String> {
    let in_bore = finding.reading == OUT_OF_ROUND && matches!(finding.position, Position::Cylinder(_));
    if !in_bore || finding.measure_again || finding.verdict == Verdict::Outside {
        return None;
    }
    let of_this_bore = |f: &&Finding| {
        f.check == finding.check
            && f.position == finding.position
            && f.after_repair == finding.after_repair
            && !f.measure_again
    };
    let on_three = |f: &Finding| {
        f.reading == OUT_OF_ROUND && (f.three_axes || f.spot.as_ref().is_some_and(|s| s.contains(THIRD_AXIS)))
    };
    if findings.iter().filter(of_this_bore).any(on_three) {
        return None;
    }
    let [low_reject, low_keep, high_keep, high_reject] = finding.limit.as_ref()?.edges;
    let zone = Zone::new(low_reject, low_keep, high_keep, high_reject).ok()?;
    let (read, u) = (finding.value?, finding.u?);
    let wear =
        findings.iter().filter(of_this_bore).filter(|f| f.reading == WEAR).filter_map(|f| Some((f.value?, f.u?)));
    let most = wear.max_by(|a, b| a.0.total_cmp(&b.0)).map(|(wear, u_wear)| {
        let at_this_height = if finding.spot.is_some() { read } else { 0.0 };
        ((2.0 * wear - at_this_height).max(read), (2.0 * u_wear).hypot(u))
    });
    let unit = finding.unit.as_deref().unwrap_or("");
    let hidden = match most {
        None => "and no wear is read that would bound it".to_owned(),
        Some((oval, u_oval)) => {
            let then = decide(oval, u_oval, &zone, Risks::default()).ok()?.verdict;
            if then == finding.verdict && then != Verdict::CannotTell {
                return None;
            }
            format!("here up to {} {unit} by the wear", printed(oval, 2))
        }
    };
    Some(format!(
        "read a third axis at 45 degrees at each height: two axes can hide an oval turned between them, {hidden}; enter the three sizes of a height as 0: ...; 45: ...; 90: ..., and the oval through them is worked out"
    ))
}

fn reading_of<'k>(
    taken: &ReadingTaken,
    knowledge: &'k Knowledge,
) -> Option<(&'k knowledge::Check, &'k knowledge::Reading)> {
    let check = knowledge.check(&taken.check)?;
    let reading = check.readings.iter().find(|r| r.id == taken.reading)?;
    Some((check, reading))
}

/// A typed number in the unit of its reading, with half a step of its last digit.
pub(crate) fn number_of<'k>(taken: &ReadingTaken, context: &Context<'k>) -> Option<(f64, &'k Numeric, f64)> {
    let (_, reading) = reading_of(taken, context.knowledge)?;
    let ReadingKind::Numeric(numeric) = &reading.kind else { return None };
    let ReadingValue::Number { text, unit } = &taken.value else { return None };
    let (value, half) = in_unit(text, unit, &numeric.unit).ok()?;
    Some((half, numeric, value))
}

/// Reads typed text with its unit and answers value and half a step in another unit.
fn in_unit(text: &str, unit: &str, wanted: &str) -> Result<(f64, f64), String> {
    let given = Unit::from_symbol(unit).map_err(|e| e.to_string())?;
    let wanted = Unit::from_symbol(wanted).map_err(|e| e.to_string())?;
    match parse_quantity(text, Some(given)).map_err(|e| e.to_string())? {
        Reply::Value(typed) => {
            let value = typed.value_in(wanted).map_err(|e| e.to_string())?;
            let step = typed.resolution_in(wanted).map_err(|e| e.to_string())?;
            Ok((value, step / 2.0))
        }
        Reply::Question(question) => Err(question.to_string()),
    }
}

fn judge(
    taken: &ReadingTaken,
    context: &Context<'_>,
    best: &BTreeMap<(String, String, bool), f64>,
    notices: &mut Vec<Notice>,
) -> Option<Finding> {
    let about = taken.entry.to_string();
    let Some(check) = context.knowledge.check(&taken.check) else {
        notices.push(Notice::new(
            "unknown-check",
            &about,
            format!("the reading names a check {:?} that the knowledge does not have", taken.check),
            "correct the entry, or add the check to the shop's own knowledge",
        ));
        return None;
    };
    let Some(reading) = check.readings.iter().find(|r| r.id == taken.reading) else {
        let known: Vec<&str> = check.readings.iter().map(|r| r.id.as_str()).collect();
        notices.push(Notice::new(
            "unknown-reading",
            &about,
            format!("check {} has no reading {:?}; it has {}", check.id, taken.reading, known.join(", ")),
            "correct the entry with one of these",
        ));
        return None;
    };
    if let Err(error) = context.layout.ensure(&taken.position) {
        notices.push(Notice::new("place-not-on-engine", &about, error.to_string(), "correct the place of the reading"));
        return None;
    }
    if !check.scope.contains(&taken.position.scope()) {
        let scopes: Vec<String> = check.scope.iter().map(ToString::to_string).collect();
        notices.push(Notice::new(
            "wrong-kind-of-place",
            &about,
            format!("check {} is done per {}, not at {}", check.id, scopes.join(" or "), taken.position.address()),
            "correct the place of the reading",
        ));
        return None;
    }
    if !applies(&check.applies, context.attributes) {
        notices.push(Notice::new(
            "check-not-for-this-engine",
            &about,
            format!("check {} is not for this kind of engine; the reading is shown but moves no belief", check.id),
            "correct the engine's description, or leave the reading as a remark",
        ));
    }
    let mut finding = Finding {
        entry: about.clone(),
        at: taken.at.to_string(),
        by: taken.by.clone(),
        after_repair: check.stage == "after-repair" || taken.phase != logbook::Phase::AsFound,
        spot: taken.spot.clone(),
        three_axes: !taken.axes.is_empty(),
        ..Finding::blank(check, reading, &taken.position, context.layout)
    };
    match (&reading.kind, &taken.value) {
        (
            ReadingKind::Graded { outcomes, .. } | ReadingKind::Nominal { outcomes, .. },
            ReadingValue::Outcome(outcome),
        ) => {
            let Some(place) = outcomes.iter().position(|o| o == outcome) else {
                notices.push(Notice::new(
                    "unknown-outcome",
                    &about,
                    format!(
                        "{} of {} cannot be {outcome:?}; it is one of {}",
                        reading.id,
                        check.id,
                        outcomes.join(", ")
                    ),
                    "correct the entry with one of these",
                ));
                return None;
            };
            finding.shown = outcome.replace('-', " ");
            finding.seen = Some(Seen::Outcome(place));
            let graded = matches!(reading.kind, ReadingKind::Graded { .. });
            finding.verdict = if place == 0 {
                Verdict::Inside
            } else if graded && place + 1 == outcomes.len() {
                Verdict::Outside
            } else {
                Verdict::ByJudgement
            };
            finding.reason = format!(
                "outcome {} of {} ({})",
                place + 1,
                outcomes.len(),
                if graded { "ordered from best to worst" } else { "the first is the sound look" }
            );
        }
        (ReadingKind::Numeric(numeric), ReadingValue::Number { text, unit }) => {
            judge_number(&mut finding, taken, check, reading, numeric, (text, unit), context, best, notices)?;
        }
        (ReadingKind::Numeric(numeric), ReadingValue::Outcome(outcome)) => {
            notices.push(Notice::new(
                "number-wanted",
                &about,
                format!("{} of {} is a number in {}, not {outcome:?}", reading.id, check.id, numeric.unit),
                "correct the entry with the figure as read",
            ));
            return None;
        }
        (
            ReadingKind::Graded { outcomes, .. } | ReadingKind::Nominal { outcomes, .. },
            ReadingValue::Number { text, .. },
        ) => {
            notices.push(Notice::new(
                "look-wanted",
                &about,
                format!("{} of {} is one of {}, not {text:?}", reading.id, check.id, outcomes.join(", ")),
                "correct the entry with one of these",
            ));
            return None;
        }
    }
    if !applies(&check.applies, context.attributes) || !applies(&reading.applies, context.attributes) {
        finding.seen = None;
    }
    Some(finding)
}

#[expect(clippy::too_many_arguments, reason = "one step of judge, split off for length")]
fn judge_number(
    finding: &mut Finding,
    taken: &ReadingTaken,
    check: &knowledge::Check,
    reading: &knowledge::Reading,
    numeric: &Numeric,
    (text, unit): (&str, &str),
    context: &Context<'_>,
    best: &BTreeMap<(String, String, bool), f64>,
    notices: &mut Vec<Notice>,
) -> Option<()> {
    let about = finding.entry.clone();
    finding.shown = if text.trim_end().ends_with(unit) { text.to_owned() } else { format!("{text} {unit}") };
    let (value, half) = match in_unit(text, unit, &numeric.unit) {
        Ok(pair) => pair,
        Err(why) => {
            notices.push(Notice::new("figure-unreadable", &about, why, "correct the entry with figure and unit"));
            return None;
        }
    };
    finding.value = Some(value);
    finding.unit = Some(numeric.unit.clone());
    finding.typed_unit = Some(unit.to_owned());
    let spoken = finding.spoken();
    // The step is that of one reading; a mean has digits that no gauge shows.
    let of_axes = taken.axes.iter().map(|axis| &axis.size);
    let singles: Vec<(f64, f64)> =
        taken.repeats.iter().chain(of_axes).filter_map(|f| in_unit(&f.text, &f.unit, &numeric.unit).ok()).collect();
    let half = singles.iter().map(|(_, half)| *half).reduce(f64::max).unwrap_or(half);
    let mut doubt = uncertainty(taken, reading, numeric, half, context);
    let mut of_mean = String::new();
    if let Some(n) = taken.mean_of {
        let scatter = scatter(&singles);
        finding.shown = if singles.is_empty() {
            format!("{}, mean of {n}", finding.shown)
        } else {
            let texts: Vec<&str> = taken.repeats.iter().map(|f| f.text.as_str()).collect();
            format!("{} {unit}, mean {}", texts.join(", "), finding.shown)
        };
        doubt = doubt.of_mean(n, scatter);
        of_mean = mean_in_words(n, scatter, &doubt, &spoken);
    }
    if let Some((sizes, factor)) = three_axes(taken, &numeric.unit) {
        finding.shown = format!("{}, oval {}", sizes, finding.shown);
        doubt = doubt.times(factor);
    }
    let u = doubt.u;
    finding.u = Some(u);
    finding.gauge.clone_from(&doubt.gauge);
    // The limit: the engine's own figure, then the fallbacks in their order.
    let own = own_figure(check, reading, numeric, taken, context);
    let alone = if own.is_none() { alone(reading, numeric, &taken.position, context) } else { None };
    let fallback = reading.limits.iter().find_map(|r| fallback(r, numeric, &taken.position, context));
    let used = own.clone().or_else(|| fallback.clone());
    let key = (taken.check.clone(), taken.reading.clone(), taken.phase != logbook::Phase::AsFound);
    let measure = match numeric.normalise {
        Normalise::None => Some((1.0, value)),
        Normalise::Limit => used.as_ref().and_then(|l| reference(l, numeric.worse)).map(|edge| (edge, value / edge)),
        Normalise::Spec => used.as_ref().and_then(|l| keep(l, numeric.worse)).map(|edge| (edge, value / edge)),
        Normalise::SpecOrBest => {
            let spec = own.as_ref().and_then(|l| l.edges.iter().flatten().copied().reduce(f64::max));
            let best = || best.get(&key).copied().filter(|_| !stands_alone(context));
            // As good as the best can be, where it is better than it must be.
            let least = || alone.as_ref().and_then(|l| whole_of(l, numeric)).map(|whole| whole.max(value));
            spec.or_else(best).or_else(least).map(|whole| (whole, value / whole))
        }
    };
    match measure {
        Some((scale, measure)) if scale > 0.0 && measure.is_finite() => {
            finding.measure = Some(measure);
            finding.seen = Some(Seen::Number { value: measure, half_step: half / scale, u: u / scale });
        }
        _ => {
            notices.push(Notice::new(
                "no-figure-to-compare",
                &about,
                format!("{} of {} is judged against the engine's own figure, and none is known", reading.id, check.id),
                "type the figure into the engine sheet with document and page",
            ));
        }
    }
    // Readings compared among themselves are judged on their share of the best; one that stands alone is not its own best.
    let by_share = numeric.normalise == Normalise::SpecOrBest && (own.is_some() || !stands_alone(context));
    let used = alone.or(used);
    let (judged, judged_u) = match (by_share, finding.measure) {
        (true, Some(share)) => (share, u * share / value.abs().max(1e-12)),
        _ => (value, u),
    };
    let edges = if by_share { bands_as_edges(numeric) } else { used.as_ref().map(|l| l.edges) };
    let edges = edges.or_else(|| bands_as_edges(numeric).filter(|_| numeric.normalise == Normalise::None));
    let zone = edges.and_then(|e| Zone::new(e[0], e[1], e[2], e[3]).ok().map(|z| (e, z)));
    // What one of the judged figure is in the reading's unit.
    let scale = if judged_u > 0.0 { u / judged_u } else { 1.0 };
    match zone {
        Some((edges, zone)) => match decide(judged, judged_u, &zone, Risks::default()) {
            Ok(decision) => {
                finding.verdict = decision.verdict;
                finding.p_inside = Some(decision.p_inside);
                finding.p_outside = Some(decision.p_outside);
                finding.limit = match (&used, by_share) {
                    (Some(used), false) => Some(used.clone()),
                    _ => Some(LimitUsed {
                        id: format!("{}/{}", check.id, reading.id),
                        name: "bands of the check itself".to_owned(),
                        edges,
                        own: false,
                        source: check.likelihood_source.to_string(),
                    }),
                };
                finding.guard = guard_band(u, 1.0 - Risks::default().wrongly_inside()).ok();
                let (unit, per) = if by_share { (OF_THE_BEST, 100.0) } else { (spoken.unit.as_str(), spoken.per) };
                let edges = edges.map(|edge| edge.map(|x| x * per));
                finding.rule = rule(judged * per, edges, unit, scale / per, finding);
                finding.reason = reason(finding, &spoken, by_share.then_some(judged), doubt.assumed);
            }
            Err(error) => finding.reason = error.to_string(),
        },
        None => finding.reason = "no limit is known for this reading".to_owned(),
    }
    finding.reason.push_str(&of_mean);
    finding.next_move = match (finding.verdict, zone) {
        (Verdict::Inside, _) => None,
        (Verdict::CannotTell, None) => {
            Some("type this engine's own figure into the engine sheet with document and page".to_owned())
        }
        (Verdict::CannotTell, Some((_, zone))) => {
            let mut gauges = fitting(check, reading, numeric, context);
            gauges.iter_mut().for_each(|g| g.u *= spoken.per);
            let (doubt, scale) = (&doubt.times(spoken.per), scale * spoken.per);
            Some(Question { value: judged, zone, scale, doubt, unit: &spoken.unit, gauges }.next_move())
        }
        (Verdict::ByJudgement, _) => Some(
            "surely not out and not surely good: the technician decides, with what else was found, whether it stays"
                .to_owned(),
        ),
        (Verdict::Outside, _) => reading
            .limits
            .iter()
            .filter_map(|r| context.knowledge.limit(&r.limit))
            // What to do next on another kind of engine is no advice for this one.
            .find(|limit| !spoken_against(limit, context))
            .filter(|limit| !limit.if_out.is_empty())
            .map(|limit| limit.if_out.clone()),
    };
    Some(())
}

/// The sizes on three axes in words, and how many times the doubt of one size that of the oval through them is.
///
/// With half = (D0 - D90) / 2 and off = D45 - (D0 + D90) / 2 the oval is 2 root(half^2 + off^2). The doubts of half and off are
/// those of one size times root 1/2 and root 3/2, and they do not go together; so the oval's is 2 root((half^2 / 2 + 3 off^2 / 2) /
/// (half^2 + off^2)) of it (JCGM 100:2008, 5.1.2). Of a round bore the larger end is taken.
fn three_axes(taken: &ReadingTaken, unit: &str) -> Option<(String, f64)> {
    let [across, slanting, along] = taken.axes.as_slice() else { return None };
    let size = |axis: &logbook::AxisSize| axis.size.number_in(unit);
    let (d0, d45, d90) = (size(across)?, size(slanting)?, size(along)?);
    let (half, off) = ((d0 - d90) / 2.0, d45 - f64::midpoint(d0, d90));
    let square = half * half + off * off;
    let share = if square > 0.0 { (0.5 * half * half + 1.5 * off * off) / square } else { 1.5 };
    let texts: Vec<&str> = taken.axes.iter().map(|axis| axis.size.text.as_str()).collect();
    Some((format!("{} {} at 0, 45 and 90 degrees", texts.join(", "), across.size.unit), 2.0 * share.sqrt()))
}

/// The standard deviation of single readings; nothing for fewer than two.
fn scatter(singles: &[(f64, f64)]) -> Option<f64> {
    let n = f64::from(u32::try_from(singles.len()).ok().filter(|n| *n > 1)?);
    let mean = singles.iter().map(|(x, _)| x).sum::<f64>() / n;
    Some((singles.iter().map(|(x, _)| (x - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt())
}

/// What the doubt of a mean is made of.
fn mean_in_words(n: u32, scatter: Option<f64>, doubt: &Doubt, spoken: &Spoken) -> String {
    let seen = scatter.map_or_else(String::new, |s| format!(", they scatter by {}", spoken.say(s, 2)));
    let own = doubt.repeats.map_or_else(
        || "nothing is known of how they scatter, so that the mean counts as one reading".to_owned(),
        |each| {
            let own = each / f64::from(n.max(1)).sqrt();
            format!(
                "u of the mean by itself {}, and {} that all of them share",
                spoken.say(own, 2),
                spoken.say(doubt.shared, 2)
            )
        },
    );
    format!("; mean of {n} readings{seen}: {own}")
}

/// What readings compared among themselves are judged in.
const OF_THE_BEST: &str = "% of the best";

/// The decision rule in words, at the edges on the side of the value.
fn rule(judged: f64, edges: [Option<f64>; 4], unit: &str, scale: f64, finding: &Finding) -> Option<String> {
    let [low_reject, low_keep, high_keep, high_reject] = edges;
    let guard = finding.guard? / scale;
    let low_side = match (low_keep, high_keep) {
        (Some(low), Some(high)) => judged - low < high - judged,
        (low, _) => low.is_some(),
    };
    let (keep, reject) = if low_side { (low_keep?, low_reject) } else { (high_keep?, high_reject) };
    let reject = reject.unwrap_or(keep);
    let (inward, outward) = if low_side { ("above", "under") } else { ("under", "above") };
    let risk = Risks::default().wrongly_inside() * 100.0;
    Some(format!(
        "each verdict may be wrong once in {:.0}: inside from {guard} {unit} {inward} {} {unit}, outside from {guard} {unit} {outward} {} {unit}",
        100.0 / risk,
        printed(keep, 3),
        printed(reject, 3),
        guard = printed(guard, 2),
    ))
}

fn reason(finding: &Finding, spoken: &Spoken, share: Option<f64>, assumed: bool) -> String {
    let mut out = String::new();
    if let Some(limit) = &finding.limit {
        let [low_reject, low_keep, high_keep, high_reject] = limit.edges;
        let (unit, per) = if share.is_some() { (OF_THE_BEST, 100.0) } else { (spoken.unit.as_str(), spoken.per) };
        let print = |x: f64| printed(x * per, 3);
        let mut parts = Vec::new();
        if let Some(x) = low_keep {
            parts.push(format!("good from {} {unit}", print(x)));
        }
        if let Some(x) = high_keep {
            parts.push(format!("good to {} {unit}", print(x)));
        }
        if let Some(x) = low_reject.filter(|x| Some(*x) != low_keep) {
            parts.push(format!("out under {} {unit}", print(x)));
        }
        if let Some(x) = high_reject.filter(|x| Some(*x) != high_keep) {
            parts.push(format!("out over {} {unit}", print(x)));
        }
        out = format!("{}: {}", limit.name, parts.join(", "));
        if let Some(share) = share {
            let place = if share < 1.0 { format!("{} {unit}", print(share)) } else { "the best of them".to_owned() };
            out = format!("{place}; {out}");
        }
        out.push_str(if limit.own { "; the engine's own figure, " } else { "; fallback, " });
        out.push_str(&limit.source);
    }
    if let (Some(u), Some(inside)) = (finding.u, finding.p_inside) {
        out.push_str(&format!(
            "; u {}{}, chance inside {:.0} %",
            spoken.say(u, 2),
            if assumed { " (assumed)" } else { "" },
            inside * 100.0
        ));
    }
    if let Some(guard) = finding.guard {
        out.push_str(&format!("; guard band {}", spoken.say(guard, 2)));
    }
    out
}

/// The doubt of a reading in its unit, from the shop's own gauge, else the gauge named, else the usual one, else the step.
pub(crate) fn uncertainty(
    taken: &ReadingTaken,
    reading: &knowledge::Reading,
    numeric: &Numeric,
    half: f64,
    context: &Context<'_>,
) -> Doubt {
    let step = quantity::measured::resolution_uncertainty(half * 2.0);
    // The gauge of the shop with its own stated doubt.
    if let Some((gauge, stated)) = taken.label.as_ref().and_then(|l| context.gauges.get(l)) {
        let kind = context.knowledge.gauge(gauge);
        let stated = stated.as_ref().and_then(|(text, unit)| in_unit(text, unit, &numeric.unit).ok()).map(|(u, _)| u);
        if let Some(u) = stated.or_else(|| kind.and_then(|g| gauge_u(g, numeric))) {
            return split(u, step, kind.map(|k| &**k), taken.label.clone(), false);
        }
    }
    let named = taken.gauge.as_ref().or(reading.gauge.as_ref());
    if let Some(found) = named.and_then(|id| context.knowledge.gauge(id))
        && let Some(u) = gauge_u(found, numeric)
    {
        return split(u, step, Some(found), Some(found.name.clone()), taken.gauge.is_none());
    }
    split(step, step, None, None, true)
}

/// Splits the doubt of one reading as the budget of its kind of gauge does; the step of the figure is in every reading.
fn split(u: f64, step: f64, kind: Option<&Gauge>, gauge: Option<String>, assumed: bool) -> Doubt {
    // The share that only one reading has: all of the budget less what an endless mean keeps.
    let share = kind
        .and_then(|k| Some((k.u_of_mean(1)?, k.u_of_mean(u32::MAX)?)))
        .map(|(one, endless)| if one > 0.0 { (1.0 - (endless / one).powi(2)).clamp(0.0, 1.0).sqrt() } else { 0.0 });
    let repeats = share.map(|share| u * share);
    let kept = (u.powi(2) - repeats.unwrap_or(0.0).powi(2)).max(0.0).sqrt();
    Doubt { u: u.max(step), shared: kept.max(step), repeats, gauge, assumed, taken: 1 }
}

fn gauge_u(gauge: &Gauge, numeric: &Numeric) -> Option<f64> {
    let u = gauge.u.or_else(|| gauge.worked_u())?;
    let from = Unit::from_symbol(&gauge.unit).ok()?;
    let to = Unit::from_symbol(&numeric.unit).ok()?;
    from.convert_difference(u, to).ok().map(f64::abs)
}

/// The gauges that can take a reading: those fit for one of its limits, else those the check may be done with.
///
/// A gauge without a step gives no figure by itself and is left out, and so is one that only screens for the limit.
fn fitting<'k>(
    check: &knowledge::Check,
    reading: &knowledge::Reading,
    numeric: &Numeric,
    context: &Context<'k>,
) -> Vec<Candidate<'k>> {
    let limits: Vec<&str> = reading.limits.iter().map(|l| l.limit.as_str()).collect();
    let screens = knowledge::gauges::Worth::ScreeningOnly;
    let note = |g: &'k Gauge| -> Option<&'k str> {
        if limits.is_empty() {
            return check.gauges.contains(&g.id).then_some("");
        }
        let fit = g.fits.iter().find(|f| limits.contains(&f.limit.as_str()) && f.worth != screens)?;
        Some(fit.note.as_str())
    };
    let all = context.knowledge.gauges.iter().filter(|g| g.resolution.is_some());
    all.filter_map(|g| Some(Candidate { name: &g.name, u: gauge_u(g, numeric)?, note: note(g)? })).collect()
}

/// The edge that a ratio of one stands on.
fn reference(limit: &LimitUsed, worse: Worse) -> Option<f64> {
    let [low_reject, low_keep, high_keep, high_reject] = limit.edges;
    match worse {
        Worse::Higher => high_reject.or(high_keep),
        Worse::Lower => low_reject.or(low_keep),
    }
    .filter(|x| *x > 0.0)
}

/// The edge up to which the engine is good: the least or the most that is allowed.
fn keep(limit: &LimitUsed, worse: Worse) -> Option<f64> {
    let [low_reject, low_keep, high_keep, high_reject] = limit.edges;
    match worse {
        Worse::Higher => high_keep.or(high_reject),
        Worse::Lower => low_reject.or(low_keep),
    }
    .filter(|x| *x > 0.0)
}

pub(crate) fn bands_as_edges(numeric: &Numeric) -> Option<[Option<f64>; 4]> {
    let first = numeric.bands.first()?.to?;
    let second = numeric.bands.get(1).and_then(|b| b.to).unwrap_or(first);
    Some(match numeric.worse {
        Worse::Higher => [None, None, Some(first), Some(second)],
        Worse::Lower => [Some(second), Some(first), None, None],
    })
}

pub(crate) fn own_figure(
    check: &knowledge::Check,
    reading: &knowledge::Reading,
    numeric: &Numeric,
    taken: &ReadingTaken,
    context: &Context<'_>,
) -> Option<LimitUsed> {
    let position = &taken.position;
    let ids: Vec<String> = reading
        .limits
        .iter()
        .map(|l| l.limit.clone())
        .chain([format!("{}/{}", check.id, reading.id), check.id.clone()])
        .collect();
    // A figure for new parts or for assembly does not judge a part that has run; one that arrives to be fitted has to
    // meet the figure for new, where there is one.
    let arrives = taken.phase == logbook::Phase::Arrival;
    let new = |f: &EngineFigure| f.stands_for == Some(logbook::FigureFor::New);
    let serves = |f: &EngineFigure| f.stands_for.is_none_or(|s| s == logbook::FigureFor::Service) || arrives && new(f);
    // A figure for this very place beats one for its kind of place, which beats one for all.
    let rank = |f: &EngineFigure| (new(f), f.at.as_ref() == Some(position), f.scope == Some(position.scope()));
    // A nominal size is no limit; only a reading that is held against the given value may use it.
    let held = |f: &EngineFigure| {
        f.bound != Bound::Nominal || matches!(numeric.normalise, Normalise::Spec | Normalise::SpecOrBest)
    };
    let fits = |f: &&EngineFigure| {
        ids.contains(&f.item)
            && serves(f)
            && held(f)
            && f.at.as_ref().is_none_or(|at| at == position)
            && f.scope.is_none_or(|scope| scope == position.scope())
    };
    let figure = context.sheet.iter().filter(fits).max_by_key(|f| rank(f))?;
    let (value, _) = in_unit(&figure.text, &figure.unit, &numeric.unit).ok()?;
    let high = figure.text_high.as_ref().and_then(|t| in_unit(t, &figure.unit, &numeric.unit).ok()).map(|x| x.0);
    let edges = match figure.bound {
        Bound::Max => [None, None, Some(value), Some(value)],
        Bound::Min => [Some(value), Some(value), None, None],
        Bound::Range => [Some(value), Some(value), high, high],
        Bound::Nominal => match numeric.worse {
            Worse::Higher => [None, None, Some(value), Some(value)],
            Worse::Lower => [Some(value), Some(value), None, None],
        },
    };
    // One figure given twice, to keep and to reject, stands as two edges.
    Some(LimitUsed {
        id: figure.item.clone(),
        // A figure that belongs to no limit of the knowledge is called by what was read.
        name: context
            .knowledge
            .limit(&figure.item)
            .map_or_else(|| crate::series::named(&check.name, &reading.id), |l| l.name.clone()),
        edges,
        own: true,
        source: format!("{}, page {}", figure.document, figure.page),
    })
}

/// Whether something told of the engine speaks against a limit; what nothing speaks against may be used.
fn spoken_against(limit: &Limit, context: &Context<'_>) -> bool {
    limit.applies.iter().any(|a| context.attributes.get(&a.attribute).is_some_and(|told| !a.any_of.contains(told)))
}

pub(crate) fn fallback(
    reference: &knowledge::LimitRef,
    numeric: &Numeric,
    position: &Position,
    context: &Context<'_>,
) -> Option<LimitUsed> {
    if reference.scope.is_some_and(|s| s != position.scope()) || !applies(&reference.applies, context.attributes) {
        return None;
    }
    fallback_in(context.knowledge.limit(&reference.limit)?, &numeric.unit, context)
}

/// Whether an engine has one cylinder only, which cannot be compared with another.
pub(crate) fn stands_alone(context: &Context<'_>) -> bool {
    context.layout.description().cylinders == 1
}

/// What a reading that is compared among cylinders is held against where there is but one.
pub(crate) fn alone(
    reading: &knowledge::Reading,
    numeric: &Numeric,
    position: &Position,
    context: &Context<'_>,
) -> Option<LimitUsed> {
    let stands = numeric.normalise == Normalise::SpecOrBest && stands_alone(context);
    stands.then(|| reading.alone.iter().find_map(|r| fallback(r, numeric, position, context))).flatten()
}

/// What a whole reading is taken to be where a limit says the least: the limit is to it as the first band ends.
fn whole_of(limit: &LimitUsed, numeric: &Numeric) -> Option<f64> {
    let share = numeric.bands.first().and_then(|band| band.to)?;
    let [low_reject, low_keep, high_keep, high_reject] = limit.edges;
    let least = match numeric.worse {
        Worse::Higher => high_keep.or(high_reject),
        Worse::Lower => low_keep.or(low_reject),
    }?;
    (share > 0.0).then(|| least / share)
}

/// A limit of the knowledge in a unit, where nothing told of the engine speaks against it.
fn fallback_in(limit: &Limit, unit: &str, context: &Context<'_>) -> Option<LimitUsed> {
    if spoken_against(limit, context) {
        return None;
    }
    let size = limit.per.as_ref().filter(|p| p.scales).and_then(|per| {
        let figure = context.sheet.iter().find(|f| f.item == per.of)?;
        in_unit(&figure.text, &figure.unit, &per.unit).ok().map(|x| x.0)
    });
    let edges = limit.edges_for(size)?;
    let from = Unit::from_symbol(&limit.unit).ok()?;
    let to = Unit::from_symbol(unit).ok()?;
    let turn = |x: Option<f64>| x.and_then(|x| from.convert(x, to).ok());
    let edges = [turn(edges.low_reject), turn(edges.low_keep), turn(edges.high_keep), turn(edges.high_reject)];
    edges.iter().any(Option::is_some).then(|| LimitUsed {
        id: limit.id.clone(),
        name: limit.name.clone(),
        edges,
        own: false,
        source: limit.source.to_string(),
    })
}
