//! Hold points of the build, how each is answered, and what an unanswered one holds up.
//!
//! A hold point is answered by a signature with what it asks for, by a part that makes it needless, or by a name and a
//! reason that pass it open, which every later paper prints. What is written down at each of several places is signed
//! when each of them is: a signature that names a place speaks for that one only. Until those that the first minute of running would ruin are
//! answered, as far as the work reaches for sure, the engine is not started; until what was ordered is here, nothing is
//! built on. What reaches a stage by a belief alone stands on the sheet and holds nothing up.

use std::collections::BTreeMap;

use anatomy::{EngineLayout, Position};
use knowledge::Knowledge;
use knowledge::limits::AppliesTo;
use knowledge::workshop::{BuildStage, Hold, Seen, Signer};
use logbook::{
    Bound, BuildStepDone, EngineFigure, EntryBody, Figure, HoldPointSigned, JobState, PartFitted, Phase, ReadingValue,
    RunKind, StageLeftOut,
};

use quantity::Verdict;

use crate::entering::{NotTaken, Rule};
use crate::findings::Finding;
use crate::work::{Judged, hold_is_here, stated};
use crate::{arrivals, awaited, words};

/// The stage of the build in which the engine is started first.
pub(crate) const FIRST_START: &str = "first_start";

/// Most hold points that a refusal names \[ours\]; the rest are counted.
const NAMED: usize = 4;

/// How a hold point is answered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Answer {
    /// Not at all.
    Open,
    /// By a signature.
    Signed,
    /// By a new part that makes it needless.
    Fitted,
    /// By a name and a reason, without its proof.
    PassedOpen,
}

/// A hold point of this engine and this work.
#[derive(Debug, Clone)]
pub struct HoldPoint<'k> {
    /// The stage that it closes.
    pub stage: &'k BuildStage,
    /// What it asks for.
    pub hold: &'k Hold,
    /// How it is answered.
    pub answer: Answer,
    /// The places that nobody signed for yet, where others are signed, in the names this engine uses.
    pub open_at: Vec<String>,
    /// The first of them, for the next signature.
    pub next_at: Option<Position>,
}

impl<'k> HoldPoint<'k> {
    /// A hold point as a job stands.
    fn of(state: &JobState, stage: &'k BuildStage, hold: &'k Hold) -> Self {
        let places = unsigned(state, stage, hold);
        let label = |p: &Position| state.layout.as_ref().map_or_else(|| p.to_string(), |l| l.label(p));
        let open_at = places.iter().map(label).collect();
        Self { stage, hold, answer: answer(state, stage, hold), open_at, next_at: places.first().copied() }
    }

    /// Whether the readings after the work that it writes down are there and good, where nothing waits for a name: it is
    /// open, the technician signs it, and the first start does not wait for it.
    #[must_use]
    pub fn by_reading(&self, taken: Option<&Taken<'_>>) -> bool {
        let wants_a_name = self.hold.before_start || self.hold.sign != Signer::Technician;
        self.answer == Answer::Open && self.open_at.is_empty() && !wants_a_name && taken.is_some_and(|t| t.good)
    }

    /// Stage and record, as a refusal names it, with the places that are left where some are signed.
    #[must_use]
    pub fn name(&self) -> String {
        let left = if self.open_at.is_empty() {
            String::new()
        } else {
            format!(" ({})", words::first_of(&self.open_at, NAMED))
        };
        format!("{}: {}{left}", self.stage.title, self.hold.record)
    }
}

/// The readings after the work that a hold point or a step writes down.
#[derive(Debug, Clone)]
pub struct Taken<'a> {
    /// The last of each reading at each place, in the order taken.
    pub last: Vec<&'a Finding>,
    /// Whether each place of one of the checks was read and every one of these readings is inside.
    pub good: bool,
}

/// The readings after the work of some checks, as far as there are any.
///
/// # Shapes
/// one for each check, reading and place; of several spots the last
#[must_use]
pub fn taken<'a>(
    reads: &[String],
    findings: &'a [Finding],
    layout: &EngineLayout,
    knowledge: &Knowledge,
) -> Option<Taken<'a>> {
    let mut last: Vec<&Finding> = Vec::new();
    for f in findings.iter().filter(|f| f.after_repair && reads.contains(&f.check)) {
        last.retain(|o| (&o.check, &o.reading, o.position) != (&f.check, &f.reading, f.position));
        last.push(f);
    }
    if last.is_empty() {
        return None;
    }
    let everywhere = |id: &String| {
        let check = knowledge.check(id);
        let places = check.into_iter().flat_map(|c| &c.scope).flat_map(|scope| layout.positions(*scope));
        let mut read = places.map(|p| last.iter().any(|f| f.check == *id && f.position == p)).peekable();
        read.peek().is_some() && read.all(|there| there)
    };
    let good = reads.iter().any(everywhere) && last.iter().all(|f| f.verdict == Verdict::Inside);
    Some(Taken { last, good })
}

/// Where a signature holds: the place it names, else that of the reading it rests on; nothing where it holds for all.
fn signed_at(state: &JobState, b: &HoldPointSigned) -> Option<Position> {
    b.position.or_else(|| state.readings.iter().find(|r| Some(r.entry) == b.entry).map(|r| r.position))
}

/// The places of a hold point that nobody signed for, where somebody signed for others of its kind; none before the
/// first signature, and none once one of them speaks for all.
fn unsigned(state: &JobState, stage: &BuildStage, hold: &Hold) -> Vec<Position> {
    let Some(layout) = &state.layout else { return Vec::new() };
    let signed: Vec<Option<Position>> = state
        .holds_signed
        .iter()
        .filter(|h| h.stage == stage.id && h.hold == hold.record)
        .map(|h| signed_at(state, h).filter(|p| hold.each.contains(&p.scope())))
        .collect();
    if signed.is_empty() || signed.contains(&None) {
        return Vec::new();
    }
    let all = hold.each.iter().flat_map(|scope| layout.positions(*scope));
    all.filter(|p| !signed.contains(&Some(*p))).collect()
}

/// How a hold point of a stage is answered; a signature after it was passed open answers it in full.
#[must_use]
pub fn answer(state: &JobState, stage: &BuildStage, hold: &Hold) -> Answer {
    let here = |s: &str, h: &str| s == stage.id && h == hold.record;
    if state.holds_signed.iter().any(|h| here(&h.stage, &h.hold)) && unsigned(state, stage, hold).is_empty() {
        Answer::Signed
    } else if state.fitted.iter().any(|f| hold.fitted.contains(&f.part)) {
        Answer::Fitted
    } else if state.holds_open.iter().any(|h| here(&h.stage, &h.hold)) {
        Answer::PassedOpen
    } else {
        Answer::Open
    }
}

/// The hold points of a stage that this engine has, in their order; what is written down stays.
#[must_use]
pub fn of_stage<'k>(state: &JobState, told: &BTreeMap<String, String>, stage: &'k BuildStage) -> Vec<HoldPoint<'k>> {
    let all = stage.holds.iter().map(|hold| HoldPoint::of(state, stage, hold));
    let here = |h: &HoldPoint<'_>| {
        let written = !matches!(h.answer, Answer::Open | Answer::Fitted) || !h.open_at.is_empty();
        hold_is_here(h.hold, written, |name| told.get(name).map(String::as_str))
    };
    all.filter(here).collect()
}

/// The hold points of every stage that the work reaches for sure, in the order of the build.
fn hold_points<'k>(state: &JobState, knowledge: &'k Knowledge, told: &BTreeMap<String, String>) -> Vec<HoldPoint<'k>> {
    let judged = Judged { state, knowledge, attributes: told, blocks: &[], conditions: &[] };
    let reached = judged.sure_reach().stages;
    let stages = knowledge.steps.iter().map(|s| &s.value).filter(|s| reached.contains(&s.id));
    stages.flat_map(|stage| of_stage(state, told, stage)).collect()
}

/// Whether a reading as found saw what calls for a stage.
pub(crate) fn was_seen(state: &JobState, seen: &Seen) -> bool {
    state.readings.iter().any(|r| {
        r.phase == Phase::AsFound
            && r.check == seen.check
            && r.reading == seen.reading
            && matches!(&r.value, ReadingValue::Outcome(o) if seen.any_of.contains(o))
    })
}

/// Passes a build entry that no open hold point forbids.
///
/// # Errors
/// [`Rule::Hold`] with the hold points that are open, or the field that a signature lacks.
pub(crate) fn ensure(state: &JobState, knowledge: &Knowledge, body: &EntryBody) -> Result<(), NotTaken> {
    let stage = |id: &str| knowledge.steps.iter().map(|s| &s.value).find(|s| s.id == id);
    if let EntryBody::HoldPointSigned(b) = body {
        let hold = stage(&b.stage).and_then(|s| s.holds.iter().find(|h| h.record == b.hold));
        return hold.map_or(Ok(()), |hold| signature(state, hold, b));
    }
    if let EntryBody::BuildStepDone(b) = body {
        return stage(&b.stage).map_or(Ok(()), |s| kit_first(state, knowledge, s, b));
    }
    if let EntryBody::PartFitted(b) = body {
        return good_to_fit(state, b);
    }
    if let EntryBody::StageLeftOut(b) = body {
        return stage(&b.stage).map_or(Ok(()), |s| may_be_left(state, s, b));
    }
    let first_start = matches!(body, EntryBody::EngineRun(b) if b.run == RunKind::FirstStart);
    if first_start { started(state, knowledge) } else { Ok(()) }
}

/// The hold points that an engine waits for before its first start.
#[must_use]
pub fn before_the_start<'k>(state: &JobState, knowledge: &'k Knowledge) -> Vec<HoldPoint<'k>> {
    let Some(start) = knowledge.steps.iter().find(|s| s.id == FIRST_START).map(|s| s.order) else {
        return Vec::new();
    };
    let Some(layout) = &state.layout else { return Vec::new() };
    let told = stated(state, layout, knowledge);
    // What nobody told stands on the sheet; only what is known to be there holds the engine up.
    let known = |h: &Hold| AppliesTo::all_hold(&h.applies, |name| told.get(name).map(String::as_str));
    let mut all = hold_points(state, knowledge, &told);
    all.retain(|h| h.hold.before_start && h.stage.order < start && h.answer == Answer::Open && known(h.hold));
    all
}

fn started(state: &JobState, knowledge: &Knowledge) -> Result<(), NotTaken> {
    let open = before_the_start(state, knowledge);
    if open.is_empty() {
        return Ok(());
    }
    let mut names: Vec<String> = open.iter().take(NAMED).map(HoldPoint::name).collect();
    if open.len() > NAMED {
        names.push(format!("and {} more", open.len() - NAMED));
    }
    let how_many =
        if open.len() == 1 { "a hold point is".to_owned() } else { format!("{} hold points are", open.len()) };
    let why = format!("{how_many} open before the first start: {}", names.join("; "));
    Err(NotTaken::new(Rule::Hold, "run", why).expecting(
        "sign each with what was measured, pass it with a reason and a name, or say which stage was not touched",
    ))
}

/// Passes a signature that is put right: it brings what its hold point asks for. What is here by now does not count.
///
/// # Errors
/// As [`ensure`].
pub(crate) fn ensure_corrected(state: &JobState, knowledge: &Knowledge, body: &EntryBody) -> Result<(), NotTaken> {
    let EntryBody::HoldPointSigned(b) = body else { return Ok(()) };
    let stage = knowledge.steps.iter().find(|s| s.id == b.stage);
    let hold = stage.and_then(|s| s.holds.iter().find(|h| h.record == b.hold));
    hold.map_or(Ok(()), |hold| brings(state, hold, b))
}

const OR_PASS: &str = "or pass the hold point with a reason and a name";

/// A signature with what its hold point asks for, and everything here where it says so.
fn signature(state: &JobState, hold: &Hold, b: &HoldPointSigned) -> Result<(), NotTaken> {
    let missing = if hold.kit { missing(state) } else { Vec::new() };
    if !missing.is_empty() {
        let why = format!("not everything is here: {}", missing.join("; "));
        let next = format!("sign it when it is, {OR_PASS}");
        return Err(NotTaken::new(Rule::Hold, "hold", why).expecting(next));
    }
    brings(state, hold, b)
}

/// What a signature measured: the value as written, else the difference of the two sizes that stand in it.
///
/// # Units
/// those of the larger size; as many decimals as the finer of the two has
#[must_use]
pub fn value_of(b: &HoldPointSigned) -> Option<Figure> {
    b.value.clone().or_else(|| difference(b.outer.as_ref()?, b.inner.as_ref()?))
}

/// One size less another.
fn difference(outer: &Figure, inner: &Figure) -> Option<Figure> {
    let by = outer.number_in(&outer.unit)? - inner.number_in(&outer.unit)?;
    let places = decimals(outer).max(decimals(inner));
    Some(Figure { text: format!("{by:.places$}"), unit: outer.unit.clone() })
}

/// How many decimals a figure is typed with; a fraction counts as five.
fn decimals(figure: &Figure) -> usize {
    if figure.text.contains('/') {
        return 5;
    }
    figure.text.rsplit_once(['.', ',']).map_or(0, |(_, after)| after.trim().len())
}

/// What was measured, and where: as written into the signature, else as the reading says that it rests on.
fn measured(state: &JobState, b: &HoldPointSigned) -> Option<(Figure, Option<Position>)> {
    if let Some(value) = value_of(b) {
        return Some((value, b.position));
    }
    let reading = state.readings.iter().find(|r| Some(r.entry) == b.entry)?;
    let ReadingValue::Number { text, unit } = &reading.value else { return None };
    Some((Figure { text: text.clone(), unit: unit.clone() }, b.position.or(Some(reading.position))))
}

/// The two sizes of a signature fit each other, and the value beside them.
fn sizes_fit(b: &HoldPointSigned) -> Result<(), NotTaken> {
    let refused = |field: &str, why: String, next: &str| Err(NotTaken::new(Rule::Hold, field, why).expecting(next));
    let (outer, inner) = match (&b.outer, &b.inner) {
        (Some(outer), Some(inner)) => (outer, inner),
        (None, None) => return Ok(()),
        (Some(_), None) => {
            return refused("inner", "one size makes no clearance".to_owned(), "write the other one too");
        }
        (None, Some(_)) => {
            return refused("outer", "one size makes no clearance".to_owned(), "write the other one too");
        }
    };
    let Some(less) = difference(outer, inner) else {
        let why = format!("{} {} and {} {} cannot be compared", outer.text, outer.unit, inner.text, inner.unit);
        return refused("inner", why, "write both as lengths, such as 55.04 mm");
    };
    let by = less.number_in(&less.unit).unwrap_or_default();
    if by <= 0.0 {
        let why = format!("{} {} is not larger than {} {}", outer.text, outer.unit, inner.text, inner.unit);
        return refused("outer", why, "write the bore first and what runs in it second, and measure again");
    }
    let Some(value) = &b.value else { return Ok(()) };
    let step = 10_f64.powi(-i32::try_from(decimals(&less)).unwrap_or_default());
    // A value rounded to its own last digit is the same value.
    let rounded = 10_f64.powi(-i32::try_from(decimals(value)).unwrap_or_default());
    let same = logbook::number_in(&format!("{rounded}"), &value.unit, &less.unit).unwrap_or(step);
    let said = value.number_in(&less.unit);
    if said.is_some_and(|said| (said - by).abs() <= 0.5 * step.max(same) + 1e-9) {
        return Ok(());
    }
    let why = format!(
        "{} {} is not {} less {}, which is {} {}",
        value.text, value.unit, outer.text, inner.text, less.text, less.unit
    );
    refused("value", why, "put the wrong one of the three right, or leave the value out")
}

/// A signature with the second name, the evidence and the figure that its hold point asks for.
fn brings(state: &JobState, hold: &Hold, b: &HoldPointSigned) -> Result<(), NotTaken> {
    let refused = |field: &str, why: String| NotTaken::new(Rule::Hold, field, why);
    let or_pass = OR_PASS;
    if hold.sign == Signer::SecondPerson {
        let second = b.second.as_deref().map(str::trim).unwrap_or_default();
        if second.is_empty() || second.eq_ignore_ascii_case(b.by.trim()) {
            let why = format!("{} wants a second pair of eyes, and only {} signs", hold.record, b.by.trim());
            return Err(refused("second", why).expecting(format!("let another person look and sign too, {or_pass}")));
        }
    }
    if hold.evidence && b.entry.is_none() {
        let why = format!("{} rests on a photo, a reading or a part fitted, and none is named", hold.record);
        return Err(refused("entry", why).expecting(format!("keep the photo first and choose it, {or_pass}")));
    }
    sizes_fit(b)?;
    let read = state.readings.iter().any(|r| Some(r.entry) == b.entry);
    if !(hold.limits.is_empty() && hold.manual.is_empty()) && value_of(b).is_none() && !read {
        let why =
            format!("{} is signed with what was measured, and neither a value nor a reading stands here", hold.record);
        return Err(refused("value", why)
            .expecting(format!("write the worst of them down, or choose the reading it rests on, {or_pass}")));
    }
    let Some((value, position)) = measured(state, b) else { return Ok(()) };
    let own = state.sheet.iter().filter(|f| hold.limits.contains(&f.item) || hold.manual.contains(&f.item));
    let at = |f: &EngineFigure| {
        f.at.is_none_or(|at| Some(at) == position)
            && f.scope.is_none_or(|scope| position.is_none_or(|p| p.scope() == scope))
    };
    match own.filter(|f| at(f)).find(|f| beyond(&value, f)) {
        None => Ok(()),
        Some(figure) => {
            let why = format!(
                "{} {} is not {}, which the engine's manual asks for ({}, page {})",
                value.text,
                value.unit,
                asked(figure),
                figure.document,
                figure.page
            );
            Err(refused("value", why).expecting(format!("measure again and put it right, {or_pass}")))
        }
    }
}

/// A figure of the manual as what is asked for.
fn asked(figure: &EngineFigure) -> String {
    match figure.bound {
        Bound::Max => format!("at most {} {}", figure.text, figure.unit),
        Bound::Min => format!("at least {} {}", figure.text, figure.unit),
        Bound::Range => {
            format!("{} to {} {}", figure.text, figure.text_high.as_deref().unwrap_or_default(), figure.unit)
        }
        Bound::Nominal => format!("{} {}", figure.text, figure.unit),
    }
}

/// Whether a value lies outside a figure of the manual; a nominal size says nothing of how far one may be off it.
fn beyond(value: &Figure, figure: &EngineFigure) -> bool {
    let Some(measured) = value.number_in(&figure.unit) else { return false };
    let edge = |text: &str| logbook::number_in(text, &figure.unit, &figure.unit);
    let (low, high) = match figure.bound {
        Bound::Max => (None, edge(&figure.text)),
        Bound::Min => (edge(&figure.text), None),
        Bound::Range => (edge(&figure.text), figure.text_high.as_deref().and_then(edge)),
        Bound::Nominal => (None, None),
    };
    // A value typed with the very digits of the edge meets it, in whatever unit.
    let slack = 1e-9 * (1.0 + measured.abs());
    low.is_some_and(|low| measured < low - slack) || high.is_some_and(|high| measured > high + slack)
}

/// What was ordered or sent out and is not here, in words.
fn missing(state: &JobState) -> Vec<String> {
    let parts = awaited::parts(state).into_iter().map(|o| format!("{} from {}", words::words(&o.part), o.supplier));
    let work = awaited::work(state).into_iter().map(|o| format!("machine work {} at {}", o.code, o.shop));
    let failed = arrivals::failed(state).into_iter().map(|here| {
        let looks: Vec<&str> = here.failed().collect();
        let part = words::words(&here.arrival.part);
        format!("{part}, which is here and failed a look ({}): send it back or look again", looks.join("; "))
    });
    parts.chain(work).chain(failed).collect()
}

/// A part that failed a look when it came is not fitted while it stands so.
fn good_to_fit(state: &JobState, b: &PartFitted) -> Result<(), NotTaken> {
    let failed = arrivals::failed(state);
    let its = |h: &&arrivals::Here<'_>| h.arrival.part == b.part && (b.order.is_none() || b.order == h.arrival.order);
    let Some(here) = failed.iter().find(its) else { return Ok(()) };
    let looks: Vec<&str> = here.failed().collect();
    let why = format!("{} failed a look when it came: {}", words::words(&b.part), looks.join("; "));
    Err(NotTaken::new(Rule::Hold, "part", why).expecting(
        "send it back (`part-returned`), or look again and write down what it gave (`part-arrived`, quantity 0)",
    ))
}

/// Nothing is built on before what was ordered is here, or somebody answers for beginning without it.
fn kit_first(
    state: &JobState,
    knowledge: &Knowledge,
    stage: &BuildStage,
    step: &BuildStepDone,
) -> Result<(), NotTaken> {
    let kit = knowledge.steps.iter().map(|s| &s.value).find_map(|s| Some((s, s.holds.iter().find(|h| h.kit)?)));
    let Some((first, hold)) = kit else { return Ok(()) };
    let missing = missing(state);
    if stage.order <= first.order || missing.is_empty() || answer(state, first, hold) != Answer::Open {
        return Ok(());
    }
    let why = format!("step {} of {} waits until everything is here: {}", step.step, stage.title, missing.join("; "));
    Err(NotTaken::new(Rule::Hold, "stage", why).expecting(format!(
        "write the arrival down under Order, or pass the hold point {} of {} with a reason and a name",
        hold.record, first.title
    )))
}

/// A stage is left out only before anything of it is written down, and not where metal or every build calls for it.
fn may_be_left(state: &JobState, stage: &BuildStage, b: &StageLeftOut) -> Result<(), NotTaken> {
    let refused = |why: String, next: &str| Err(NotTaken::new(Rule::Hold, "stage", why).expecting(next));
    let begun = state.steps_done.iter().any(|s| s.stage == stage.id)
        || state.holds_signed.iter().any(|h| h.stage == stage.id)
        || state.holds_open.iter().any(|h| h.stage == stage.id);
    if begun {
        let next = "answer its hold points one by one, or take back what was written down by mistake";
        return refused(format!("{} is begun, so it was touched", stage.title), next);
    }
    if stage.always {
        return refused(format!("{} belongs to every build", stage.title), "answer its hold points one by one");
    }
    if stage.after_seeing.iter().any(|seen| was_seen(state, seen)) {
        let why = format!("{} is called for by what was seen", stage.title);
        return refused(why, "answer its hold points one by one");
    }
    if b.reason.trim().is_empty() || b.by.trim().is_empty() {
        return refused("a stage is left out with a reason and a name".to_owned(), "write both");
    }
    Ok(())
}
