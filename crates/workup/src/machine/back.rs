//! What came back from a machine shop: figures as left, judged, beside what was found.
//!
//! A figure as left is the machine shop's word on its own work. It is held against what the order asked for and against the
//! limits of the engine sheet, with the shop's stated doubt or one taken from the figure itself, and shown as a finding of the
//! phase *as left*. It is kept apart from the findings of this shop: no belief moves on it and no proof rests on it. What the
//! part is like when it is here says a reading of our own, and where the two differ by more than their doubts explain, that is
//! said too.

use std::collections::BTreeMap;

use anatomy::{EngineLayout, Position};
use knowledge::workshop::Operation;
use knowledge::{Check, Knowledge, Normalise, Numeric, Reading, ReadingKind, Worse};
use logbook::{
    Bound, EngineFigure, Fact, Figure, JobState, MachineLine, MachineOrderSent, MachineResult, MachineReturn,
    MachineWorkReturned, Phase, ReadingTaken, ReadingValue,
};
use quantity::measured::uniform_uncertainty;
use quantity::print::printed;
use quantity::{Reply, Risks, Unit, Verdict, Zone, decide, parse_quantity};
use serde::Serialize;

use super::{PieceAt, answers};
use crate::findings::{Context, Finding, Gauges, judge_all};
use crate::notice::Notice;
use crate::words::{sentence, within, words};
use crate::work::operation;

/// The coverage factor at which two readings of one thing are compared: the E number of ISO 13528 with expanded uncertainties of
/// k = 2 \[from memory\].
const COVERAGE: f64 = 2.0;

/// A return of one machine order.
#[derive(Debug, Clone, Serialize)]
pub struct MachineBack {
    /// The entry.
    pub entry: String,
    /// When it was written down.
    pub at: String,
    /// The code of the order.
    pub code: String,
    /// The machine shop, as the order names it.
    pub shop: String,
    /// Who did the work, where told.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub done_by: Option<String>,
    /// Line by line.
    pub lines: Vec<LineBack>,
}

/// One line of a return.
#[derive(Debug, Clone, Serialize)]
pub struct LineBack {
    /// The work.
    pub operation: String,
    /// Its name.
    pub name: String,
    /// Where.
    pub position: Position,
    /// Where, in the names this engine uses.
    pub place: String,
    /// What became of it.
    pub result: MachineResult,
    /// As found, as the order has it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub as_found: Option<String>,
    /// As left, as the machine shop wrote it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub as_left: Option<String>,
    /// Always *as left*: by the machine shop, and never a reading of this shop.
    pub phase: Phase,
    /// What the machine shop remarked.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// The worst verdict of all it was held against; nothing where it could be held against nothing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub verdict: Option<Verdict>,
    /// What it was held against.
    pub against: Vec<Against>,
    /// The standard uncertainty it was judged with, in the unit of the figure.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub u: Option<f64>,
    /// Whether the machine shop stated that doubt; else it was taken from the figure.
    pub u_stated: bool,
    /// The reading of this shop that looks at the same thing after the work, where there is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub own: Option<OwnReading>,
    /// Why it is judged as it is.
    pub reason: String,
    /// The next move.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub next_move: Option<String>,
}

/// Something that a figure as left was held against.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Against {
    /// What it is called.
    pub name: String,
    /// Where it stands.
    pub source: String,
    /// Its edges in the unit of the figure: lower reject, lower keep, upper keep, upper reject.
    pub edges: [Option<f64>; 4],
    /// The verdict.
    pub verdict: Verdict,
    /// The chance of being inside the keep edges.
    pub p_inside: f64,
}

/// A reading of this shop beside a figure as left.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OwnReading {
    /// The entry.
    pub entry: String,
    /// As read.
    pub shown: String,
    /// Whether the two differ by no more than their doubts explain; nothing where they cannot be compared.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub agrees: Option<bool>,
}

/// Everything that came back, in the order written down, with what it gives cause to say.
#[must_use]
pub fn of_state(state: &JobState, layout: &EngineLayout, knowledge: &Knowledge) -> (Vec<MachineBack>, Vec<Notice>) {
    if state.machine_returns.is_empty() {
        return (Vec::new(), Vec::new());
    }
    let attributes = crate::network::attributes(layout, &crate::told(state, knowledge), knowledge);
    let sheet: Vec<EngineFigure> = state.sheet.iter().map(|f| f.body.clone()).collect();
    let gauges: Gauges = BTreeMap::new();
    let context = Context { layout, attributes: &attributes, knowledge, sheet: &sheet, gauges: &gauges };
    let mut notices = Vec::new();
    let mut out = Vec::new();
    for back in &state.machine_returns {
        let order = state.machine_orders.iter().rfind(|order| answers(back, order));
        let shop = order.map_or_else(|| "the machine shop".to_owned(), |o| o.shop.clone());
        let mut lines = Vec::new();
        for told in &back.lines {
            let line = Judging { state, order, back, told, context: &context }.line();
            if !outdone(state, back, told) {
                notices.extend(notice(&line, &shop, back));
            }
            lines.push(line);
        }
        out.push(MachineBack {
            entry: back.in_entry.to_string(),
            at: back.made_at.to_string(),
            code: back.code.clone(),
            shop,
            done_by: back.done_by.clone(),
            lines,
        });
    }
    (out, notices)
}

/// Whether something later speaks of the same work at the same place: another return, or another order of it.
fn outdone(state: &JobState, back: &Fact<MachineWorkReturned>, told: &MachineReturn) -> bool {
    let same = |operation: &str, at: &Position| operation == told.operation && *at == told.position;
    let returned = state.machine_returns.iter().filter(|r| r.in_entry > back.in_entry);
    let sent = state.machine_orders.iter().filter(|o| o.in_entry > back.in_entry);
    returned.flat_map(|r| &r.lines).any(|l| same(&l.operation, &l.position))
        || sent.flat_map(|o| &o.lines).any(|l| same(&l.operation, &l.position))
}

/// What a line gives cause to say, with the next move.
fn notice(line: &LineBack, shop: &str, back: &Fact<MachineWorkReturned>) -> Option<Notice> {
    let about = back.in_entry.to_string();
    let what = format!("{}, {}, order {}", line.name, within(&line.place), back.code);
    let said = line.note.as_ref().map_or_else(String::new, |note| format!(": {note}"));
    let left = line.as_left.clone().unwrap_or_default();
    let own_inside =
        line.own.as_ref().is_some_and(|own| own.agrees == Some(true)) && line.verdict == Some(Verdict::Inside);
    let made = |code: &str, message: String, next: &str| Some(Notice::new(code, &about, message, next));
    if line.result == MachineResult::NotDone {
        return made(
            "machine-work-not-done",
            format!("{what}: not done by {shop}{said}"),
            "order it again, at another machine shop where this one cannot, or choose a way that does without it",
        );
    }
    if line.verdict == Some(Verdict::Outside) {
        let out = line.against.iter().find(|a| a.verdict == Verdict::Outside);
        let limit = out.map_or_else(String::new, |a| format!(" {} ({})", a.name, a.source));
        return made(
            "as-left-outside",
            format!("{what}: left at {left} by {shop}, outside{limit}"),
            "do not build it in: read it here, then send it back to be put right, or choose a way that renews the part",
        );
    }
    if line.own.as_ref().is_some_and(|own| own.agrees == Some(false)) {
        let own = line.own.as_ref().map_or("", |own| own.shown.as_str());
        return made(
            "as-left-differs",
            format!("{what}: {shop} says {left}, read here {own}; the two doubts together do not explain it"),
            "read it once more with another gauge, and ask the machine shop what it measured and with what",
        );
    }
    (line.result == MachineResult::Otherwise && !own_inside).then(|| {
        Notice::new(
            "machine-work-otherwise",
            &about,
            format!("{what}: done otherwise than asked by {shop}{said}"),
            "read the part here and hold it against the engine sheet before it is built in; send it back where it does not fit",
        )
    })
}

/// One line being judged.
#[derive(Clone, Copy)]
struct Judging<'a> {
    state: &'a JobState,
    order: Option<&'a Fact<MachineOrderSent>>,
    back: &'a Fact<MachineWorkReturned>,
    told: &'a MachineReturn,
    context: &'a Context<'a>,
}

/// A reading that a figure as left is one of.
#[derive(Clone, Copy)]
struct Same<'k> {
    check: &'k Check,
    reading: &'k Reading,
    numeric: &'k Numeric,
}

impl<'a> Judging<'a> {
    fn line(self) -> LineBack {
        let told = self.told;
        let known = operation(self.context.knowledge, &told.operation);
        let asked = self.asked();
        let mut out = LineBack {
            operation: told.operation.clone(),
            name: known.map_or_else(|| sentence(&words(&told.operation)), |o| o.name.clone()),
            position: told.position,
            place: self.context.layout.label(&told.position),
            result: told.result,
            as_found: asked.and_then(|a| a.as_found.as_ref()).map(said),
            as_left: told.as_left.as_ref().map(said),
            phase: Phase::AsLeft,
            note: told.note.clone(),
            verdict: None,
            against: Vec::new(),
            u: None,
            u_stated: false,
            own: None,
            reason: String::new(),
            next_move: None,
        };
        let read = known.zip(told.as_left.as_ref()).and_then(|(o, left)| self.same(o, asked, left));
        if let Some(left) = &told.as_left {
            self.judged(&mut out, known, asked, left, read);
        } else {
            "the machine shop gave no figure".clone_into(&mut out.reason);
        }
        out.next_move = next_move(&out, known, read, self.context.knowledge);
        out
    }

    /// The line of the order that this answers.
    fn asked(self) -> Option<&'a MachineLine> {
        let told = self.told;
        self.order?.lines.iter().find(|l| l.operation == told.operation && l.position == told.position)
    }

    fn judged(
        self,
        out: &mut LineBack,
        known: Option<&Operation>,
        asked: Option<&MachineLine>,
        left: &Figure,
        read: Option<Same<'_>>,
    ) {
        let Some((value, step)) = read_figure(left) else {
            out.reason = format!("`{}` cannot be read as a figure", said(left));
            return;
        };
        let stated = self.told.u.as_ref().and_then(|u| u.number_in(&left.unit)).filter(|u| *u > 0.0);
        // A shop writes down the digit its gauge shows; that it is good for one step of it is taken for granted [ours], as a
        // spread that is equally likely anywhere in it (JCGM 100:2008, 4.3.7).
        let u = stated.unwrap_or_else(|| uniform_uncertainty(step));
        out.u = Some(u);
        out.u_stated = stated.is_some();
        let mut leave_unseen = None;
        if let Some(asked) = asked {
            out.against.extend(against_order(asked, self.order, left, (value, u), read));
            leave_unseen = asked.leave_at_least.as_ref().filter(|least| !same_measure(asked, least, left)).map(said);
        }
        if let Some(known) = known {
            out.against.extend(self.against_sheet(known, left, (value, u)));
        }
        if let Some(read) = read {
            let finding = self.finding(read, left, u);
            out.against.extend(finding.as_ref().and_then(|f| against_limit(f, left)));
            out.own = self.own(read, left, (value, u));
        }
        out.verdict = worst(&out.against);
        let doubt = format!(
            "u {} {} {}",
            printed(u, 2),
            left.unit,
            if out.u_stated { "as the machine shop states it" } else { "taken from the last digit, none was stated" }
        );
        let held: Vec<String> =
            out.against.iter().map(|a| format!("{}, {}: {}", a.name, a.source, word_of(a.verdict))).collect();
        out.reason = if held.is_empty() {
            format!("nothing to hold it against is known: type the wanted figure or the engine's own; {doubt}")
        } else {
            format!("{}; {doubt}", held.join("; "))
        };
        if let Some(least) = leave_unseen {
            out.reason.push_str(&format!("; whether {least} was left is not told by it"));
        }
    }

    /// The reading that a figure as left is one of: the one the figure as found was read by, else the only one that the work is
    /// checked by in such a unit.
    fn same(self, known: &Operation, asked: Option<&MachineLine>, left: &Figure) -> Option<Same<'a>> {
        let knowledge = self.context.knowledge;
        let numeric = |reading: &'a Reading| match &reading.kind {
            ReadingKind::Numeric(numeric) => Some(numeric),
            ReadingKind::Graded { .. } | ReadingKind::Nominal { .. } => None,
        };
        let fits = |same: &Same<'a>| {
            left.number_in(&same.numeric.unit).is_some()
                && same.numeric.normalise != Normalise::SpecOrBest
                && (known.measures.is_none() || known.measures == same.numeric.measures)
        };
        let found = asked.and_then(|a| a.as_found.as_ref());
        if let Some(found) = found {
            let taken = self.state.readings.iter().rev().find(|r| {
                let same_figure = matches!(&r.value, ReadingValue::Number { text, unit } if *text == found.text && *unit == found.unit);
                same_figure && self.is_at(known, &r.position)
            })?;
            let check = &knowledge.check(&taken.check)?.value;
            let reading = check.readings.iter().find(|r| r.id == taken.reading)?;
            return Some(Same { check, reading, numeric: numeric(reading)? }).filter(fits);
        }
        let mut all = known
            .checks_after
            .iter()
            .filter_map(|id| knowledge.check(id).map(|c| &c.value))
            .filter(|c| c.scope.contains(&self.told.position.scope()))
            .flat_map(|check| {
                check.readings.iter().filter_map(move |r| Some(Same { check, reading: r, numeric: numeric(r)? }))
            })
            .filter(fits);
        let only = all.next()?;
        all.next().is_none().then_some(only)
    }

    /// Whether a place is that of the line, or one on the part where the line is for the whole of it.
    fn is_at(self, known: &Operation, at: &Position) -> bool {
        let piece = |p: &Position| PieceAt::of(self.context.layout, Some(known), p);
        *at == self.told.position
            || (self.told.position == piece(&self.told.position).position && piece(at) == piece(&self.told.position))
    }

    /// The figure as a reading of a part that comes to be fitted: it has to meet the figure for new parts where there is one.
    fn finding(self, read: Same<'_>, left: &Figure, u: f64) -> Option<Finding> {
        let label = "as left".to_owned();
        let stated = (format!("{u}"), left.unit.clone());
        let gauges: Gauges = BTreeMap::from([(label.clone(), (String::new(), Some(stated)))]);
        let context = Context { gauges: &gauges, ..*self.context };
        let taken = ReadingTaken {
            entry: self.back.in_entry,
            at: self.back.made_at,
            by: self.back.done_by.clone().unwrap_or_else(|| self.back.made_by.clone()),
            check: read.check.id.clone(),
            reading: read.reading.id.clone(),
            position: self.told.position,
            value: ReadingValue::Number { text: left.text.clone(), unit: left.unit.clone() },
            spot: None,
            phase: Phase::Arrival,
            gauge: None,
            label: Some(label),
            temperature: None,
            note: None,
            repeats: Vec::new(),
            mean_of: None,
            stations: Vec::new(),
            axes: Vec::new(),
            gauge_doubted_by: None,
        };
        judge_all(&[taken], &context, &mut Vec::new()).into_iter().next()
    }

    /// The last reading of this shop of the same thing after the work came back.
    fn own(self, read: Same<'_>, left: &Figure, (value, u): (f64, f64)) -> Option<OwnReading> {
        let same = |r: &&ReadingTaken| {
            r.entry > self.back.in_entry
                && r.phase != Phase::AsFound
                && r.check == read.check.id
                && r.reading == read.reading.id
                && r.position == self.told.position
                && r.gauge_doubted_by.is_none()
        };
        let taken = self.state.readings.iter().rev().find(same)?;
        let judged = judge_all(std::slice::from_ref(taken), self.context, &mut Vec::new()).into_iter().next();
        let own = judged.as_ref().and_then(|f| {
            Some((in_unit_of(f.value?, f.unit.as_deref()?, left)?, length_in(f.u?, f.unit.as_deref()?, left)?))
        });
        Some(OwnReading {
            entry: taken.entry.to_string(),
            shown: judged.as_ref().map_or_else(String::new, |f| f.shown.clone()),
            agrees: own.map(|(own, own_u)| (own - value).abs() <= COVERAGE * own_u.hypot(u)),
        })
    }

    /// Figures of the engine sheet for the work itself, or for other work that measures the same.
    fn against_sheet(self, known: &Operation, left: &Figure, value: (f64, f64)) -> Vec<Against> {
        let knowledge = self.context.knowledge;
        let at = self.told.position;
        let same = |item: &str| {
            item == known.id
                || operation(knowledge, item).is_some_and(|o| o.measures.is_some() && o.measures == known.measures)
        };
        let here = |f: &&EngineFigure| {
            same(&f.item) && f.at.is_none_or(|p| p == at) && f.scope.is_none_or(|scope| scope == at.scope())
        };
        let one = |f: &EngineFigure| {
            let low = logbook::number_in(&f.text, &f.unit, &left.unit)?;
            let high = f.text_high.as_ref().and_then(|t| logbook::number_in(t, &f.unit, &left.unit));
            let edges = match f.bound {
                Bound::Max => [None, None, Some(low), Some(low)],
                Bound::Min => [Some(low), Some(low), None, None],
                Bound::Range => [Some(low), Some(low), high, high],
                Bound::Nominal => return None,
            };
            let name = operation(knowledge, &f.item).map_or_else(|| words(&f.item), |o| o.name.clone());
            held(within(&name), format!("{}, page {}", f.document, f.page), edges, value)
        };
        self.context.sheet.iter().filter(here).filter_map(one).collect()
    }
}

/// The limit of the reading, in the unit of the figure.
fn against_limit(finding: &Finding, left: &Figure) -> Option<Against> {
    let limit = finding.limit.as_ref()?;
    let unit = finding.unit.as_deref()?;
    Some(Against {
        name: within(&limit.name),
        source: format!("{}{}", if limit.own { "" } else { "fallback, " }, limit.source),
        edges: limit.edges.map(|edge| edge.and_then(|edge| in_unit_of(edge, unit, left))),
        verdict: finding.verdict,
        p_inside: finding.p_inside?,
    })
}

/// What the order asked for, as far as the figure says anything of it.
fn against_order(
    asked: &MachineLine,
    order: Option<&Fact<MachineOrderSent>>,
    left: &Figure,
    value: (f64, f64),
    read: Option<Same<'_>>,
) -> Vec<Against> {
    let source = order.map_or_else(|| "the order".to_owned(), |o| format!("order {}", o.code));
    let number = |figure: &Option<Figure>| figure.as_ref().and_then(|f| f.number_in(&left.unit));
    let wanted = match (number(&asked.want), number(&asked.want_high)) {
        (Some(low), Some(high)) => Some([Some(low), Some(low), Some(high), Some(high)]),
        (None, Some(high)) => Some([None, None, Some(high), Some(high)]),
        // One figure is an edge only where it is known which side is the bad one.
        (Some(one), None) => read.map(|same| match same.numeric.worse {
            Worse::Higher => [None, None, Some(one), Some(one)],
            Worse::Lower => [Some(one), Some(one), None, None],
        }),
        (None, None) => None,
    };
    let least = asked.leave_at_least.as_ref().filter(|least| same_measure(asked, least, left));
    let least = least.and_then(|f| f.number_in(&left.unit)).map(|least| [Some(least), Some(least), None, None]);
    let mut out = Vec::new();
    out.extend(wanted.and_then(|edges| held("what was wanted".to_owned(), source.clone(), edges, value)));
    out.extend(least.and_then(|edges| held("what must be left".to_owned(), source, edges, value)));
    out
}

/// Whether what must be left is of the same measure as the figure as left: nobody orders less than must be left, so where what
/// is wanted lies below it, the two measure different things; the same holds of a figure as found where nothing is wanted.
fn same_measure(asked: &MachineLine, least: &Figure, left: &Figure) -> bool {
    let number = |figure: &Option<Figure>| figure.as_ref().and_then(|f| f.number_in(&left.unit));
    let Some(least) = least.number_in(&left.unit) else { return false };
    let compared = number(&asked.want_high).or_else(|| number(&asked.want)).or_else(|| number(&asked.as_found));
    compared.is_none_or(|figure| figure >= least)
}

fn held(name: String, source: String, edges: [Option<f64>; 4], (value, u): (f64, f64)) -> Option<Against> {
    let zone = Zone::new(edges[0], edges[1], edges[2], edges[3]).ok()?;
    let decision = decide(value, u, &zone, Risks::default()).ok()?;
    Some(Against { name, source, edges, verdict: decision.verdict, p_inside: decision.p_inside })
}

/// The verdict that the others do not make better.
fn worst(against: &[Against]) -> Option<Verdict> {
    let rank = |verdict: Verdict| match verdict {
        Verdict::Inside => 0,
        Verdict::ByJudgement => 1,
        Verdict::CannotTell => 2,
        Verdict::Outside => 3,
    };
    against.iter().map(|a| a.verdict).max_by_key(|verdict| rank(*verdict))
}

/// A verdict on a figure that somebody else read.
#[must_use]
pub const fn word_of(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Inside => "inside",
        Verdict::ByJudgement => "to be judged",
        Verdict::CannotTell => "cannot tell",
        Verdict::Outside => "outside",
    }
}

fn next_move(
    line: &LineBack,
    known: Option<&Operation>,
    read: Option<Same<'_>>,
    knowledge: &Knowledge,
) -> Option<String> {
    if line.result == MachineResult::NotDone {
        return None;
    }
    if let Some(own) = &line.own {
        let words = match own.agrees {
            Some(true) => "the two agree within their doubts",
            Some(false) => "the two do not agree",
            None => "the two cannot be compared",
        };
        return Some(format!("read here after it: {}; {words}", own.shown));
    }
    let after = known.and_then(|o| o.checks_after.iter().find_map(|id| knowledge.check(id)));
    let check = read.map(|same| same.check.name.clone()).or_else(|| after.map(|check| check.name.clone()));
    let check = check.map_or_else(|| "read it here".to_owned(), |name| format!("read it here ({})", within(&name)));
    Some(format!("{check} before it is built in: what a machine shop says of its own work is no proof"))
}

/// A figure as it is said.
fn said(figure: &Figure) -> String {
    if figure.unit.is_empty() { figure.text.clone() } else { format!("{} {}", figure.text, figure.unit) }
}

/// The number of a figure with one step of its last digit, both in its own unit.
fn read_figure(figure: &Figure) -> Option<(f64, f64)> {
    let unit = Unit::from_symbol(&figure.unit).ok()?;
    match parse_quantity(&figure.text, Some(unit)).ok()? {
        Reply::Value(typed) => Some((typed.value_in(unit).ok()?, typed.resolution_in(unit).ok()?)),
        Reply::Question(_) => None,
    }
}

/// A number of one unit in the unit of a figure.
fn in_unit_of(value: f64, unit: &str, figure: &Figure) -> Option<f64> {
    Unit::from_symbol(unit).ok()?.convert(value, Unit::from_symbol(&figure.unit).ok()?).ok()
}

/// A difference of one unit in the unit of a figure.
fn length_in(value: f64, unit: &str, figure: &Figure) -> Option<f64> {
    Unit::from_symbol(unit).ok()?.convert_difference(value, Unit::from_symbol(&figure.unit).ok()?).ok()
}
