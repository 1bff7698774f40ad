//! Machine work: what travels to a machine shop, in which order it is done, what belongs to it, and what came back.
//!
//! Lines of an order are gathered by the part they are done to, since one sheet is about one part. What a machine shop tells of
//! its own work is shown and judged ([`back`]); it proves nothing and moves no belief until the part is read here.

pub mod back;
pub mod sequence;

use anatomy::{Bank, EngineLayout, EntryId, HeadDivision, Position};
use knowledge::Knowledge;
use knowledge::workshop::{Operation, Piece};
use logbook::{Fact, JobState, Kind, MachineLine, MachineOrderSent, MachineWorkReturned, shortcode};
use serde_json::Value;

use crate::entering::{NotTaken, Rule};
use crate::work::operation;

/// A part that travels, by what it is and where it sits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct PieceAt {
    /// What it is; nothing where only the place says.
    pub piece: Option<Piece>,
    /// Where: the bank or cylinder of a head, the engine for what there is one of.
    pub position: Position,
}

impl PieceAt {
    /// The part of an operation at a place.
    #[must_use]
    pub fn of(layout: &EngineLayout, operation: Option<&Operation>, at: &Position) -> Self {
        let by_place = matches!(at, Position::Bank(_)).then_some(Piece::Head);
        let piece = operation.and_then(|o| o.piece).or(by_place);
        let position = match piece {
            Some(Piece::Head) => head_at(layout, at),
            Some(Piece::Block | Piece::Crankshaft | Piece::Rods | Piece::Valves | Piece::TimingCover) => {
                Position::Engine
            }
            None => *at,
        };
        Self { piece, position }
    }

    /// What it is called on this engine, as it stands within a sentence.
    #[must_use]
    pub fn name(&self, layout: &EngineLayout) -> String {
        let alone = layout.heads().len() < 2;
        match (self.piece, self.position) {
            (Some(piece), Position::Engine) => piece.words().to_owned(),
            (Some(piece), _) if alone => piece.words().to_owned(),
            (Some(piece), at) => format!("{}, {}", piece.words(), crate::words::within(&layout.label(&at))),
            (None, at) => crate::words::within(&layout.label(&at)),
        }
    }
}

/// Where the head of a place is: its bank, or its cylinder where each has a head of its own.
fn head_at(layout: &EngineLayout, at: &Position) -> Position {
    let own = layout.head_division() == HeadDivision::PerCylinder;
    if let (true, Some(cylinder)) = (own, at.cylinder()) {
        return Position::Cylinder(cylinder);
    }
    let only = || (layout.banks().len() == 1).then_some(Bank::A);
    layout.bank_of(at).or_else(only).map_or(*at, Position::Bank)
}

/// One line of an order with what the knowledge says of its work.
#[derive(Debug, Clone, Copy)]
pub struct OrderLine<'a> {
    /// Its place among the lines as ordered, from 0.
    pub place: usize,
    /// The line.
    pub line: &'a MachineLine,
    /// Its work; nothing where the knowledge has none of that name.
    pub operation: Option<&'a Operation>,
}

impl OrderLine<'_> {
    /// The name of the work.
    #[must_use]
    pub fn name(&self) -> String {
        self.operation
            .map_or_else(|| crate::words::sentence(&crate::words::words(&self.line.operation)), |o| o.name.clone())
    }
}

/// Everything that one order wants done to one part.
#[derive(Debug, Clone)]
pub struct PieceOrder<'a> {
    /// The part.
    pub at: PieceAt,
    /// The order.
    pub order: &'a Fact<MachineOrderSent>,
    /// Its lines for this part, in the order of work.
    pub lines: Vec<OrderLine<'a>>,
}

/// The parts of an order, in the sequence of their first line.
#[must_use]
pub fn pieces<'a>(
    order: &'a Fact<MachineOrderSent>,
    layout: &EngineLayout,
    knowledge: &'a Knowledge,
) -> Vec<PieceOrder<'a>> {
    let mut out: Vec<PieceOrder<'a>> = Vec::new();
    for line in sequence::lines(&order.body, knowledge) {
        let at = PieceAt::of(layout, line.operation, &line.line.position);
        match out.iter_mut().find(|p| p.at == at) {
            Some(there) => there.lines.push(line),
            None => out.push(PieceOrder { at, order, lines: vec![line] }),
        }
    }
    let first = |p: &PieceOrder<'_>| p.lines.iter().map(|l| l.place).min();
    out.sort_by_key(first);
    out
}

/// Whether a return answers an order: by its entry, else by the code on it, where it was written after the order.
#[must_use]
pub fn answers(back: &Fact<MachineWorkReturned>, order: &Fact<MachineOrderSent>) -> bool {
    let by_code = || same_code(&back.code, &order.code) && back.in_entry > order.in_entry;
    back.order.map_or_else(by_code, |entry| entry == order.in_entry)
}

/// Whether two codes are the same, however they were spaced and in small or large letters.
#[must_use]
pub fn same_code(a: &str, b: &str) -> bool {
    shortcode::bare(a) == shortcode::bare(b)
}

/// The order of a code, the latest where an older one had the same.
#[must_use]
pub fn order_of<'s>(state: &'s JobState, code: &str) -> Option<&'s Fact<MachineOrderSent>> {
    state.machine_orders.iter().rfind(|order| same_code(&order.code, code))
}

/// A code that a machine order has.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Taken {
    /// The code.
    pub code: String,
    /// Whether some of its work is still away.
    pub away: bool,
}

/// The codes that the machine orders of a job have; that of one entry is left out.
#[must_use]
pub fn taken(state: &JobState, but: EntryId) -> Vec<Taken> {
    let orders = state.machine_orders.iter().filter(|order| order.in_entry != but);
    orders.map(|order| Taken { code: order.code.clone(), away: !crate::awaited::is_back(state, order) }).collect()
}

/// The code of a new order: one that was typed, else one made from the entry; `taken` are the codes of the orders of every job.
///
/// # Errors
/// A typed code of an order that is still away: what came back would answer both.
pub fn code_for(entry: EntryId, typed: &str, taken: &[Taken]) -> Result<String, NotTaken> {
    let typed = typed.trim();
    let mut same = taken.iter().filter(|other| same_code(&other.code, typed));
    if typed.is_empty() {
        return Ok(shortcode::code_of(entry, |code| taken.iter().any(|other| same_code(&other.code, code))));
    }
    if same.any(|other| other.away) {
        let why = format!("another machine order that is not back has the code `{typed}`");
        return Err(refused("code", why, "leave it empty and one is made", Vec::new()));
    }
    Ok(typed.to_owned())
}

fn refused(field: impl Into<String>, found: String, expected: &str, instead: Vec<String>) -> NotTaken {
    NotTaken { rule: Rule::Unknown, field: field.into(), found, expected: expected.to_owned(), instead }
}

/// Why no order has a code, with what it may have meant; `codes` are those there are.
#[must_use]
pub fn unknown_code(typed: &str, codes: &[&str]) -> NotTaken {
    let near: Vec<String> = shortcode::near(typed, codes.iter().copied()).into_iter().map(str::to_owned).collect();
    let mut why = format!("no machine order has the code `{}`", typed.trim());
    if let Err(error @ (shortcode::CodeError::Check(_) | shortcode::CodeError::Sign(..))) = shortcode::read(typed) {
        why = format!("{why}: {error}");
    }
    match (near.is_empty(), codes.is_empty()) {
        (false, _) => refused("code", why, "near it are", near),
        (true, false) => {
            refused("code", why, "there are", codes.iter().take(12).map(|code| (*code).to_owned()).collect())
        }
        (true, true) => refused("code", why, "no machine order has gone out", Vec::new()),
    }
}

/// Passes a return whose code and lines are those of an order of the job.
pub(crate) fn ensure_return(kind: Kind, body: &Value, state: &JobState) -> Result<(), NotTaken> {
    if kind != Kind::MachineWorkReturned {
        return Ok(());
    }
    let text = |value: &Value, name: &str| value.get(name).and_then(Value::as_str).map(str::to_owned);
    let Some(code) = text(body, "code") else { return Ok(()) };
    let codes: Vec<&str> = state.machine_orders.iter().map(|o| o.code.as_str()).collect();
    let named = text(body, "order");
    let order = match &named {
        // Two orders may have had one code that was typed: then the entry says which is meant.
        Some(named) => {
            state.machine_orders.iter().find(|o| o.in_entry.to_string() == *named && same_code(&o.code, &code))
        }
        None => None,
    };
    let order = order.or_else(|| order_of(state, &code)).ok_or_else(|| unknown_code(&code, &codes))?;
    if let Some(named) = named.filter(|named| *named != order.in_entry.to_string()) {
        let why = format!("code `{code}` is that of another order than {named}");
        return Err(refused("order", why, "leave the order out: the code names it", Vec::new()));
    }
    let lines = body.get("lines").and_then(Value::as_array).into_iter().flatten();
    for (n, line) in lines.enumerate().filter(|_| !order.lines.is_empty()) {
        let (Some(operation), Some(at)) = (text(line, "operation"), text(line, "position")) else { continue };
        if order.lines.iter().any(|l| l.operation == operation && l.position.address() == at) {
            continue;
        }
        let why = format!("order {} has no line `{operation}` at {at}", order.code);
        let there = order.lines.iter().map(|l| format!("{} at {}", l.operation, l.position.address())).collect();
        return Err(refused(format!("lines.{n}.operation"), why, "it has", there));
    }
    Ok(())
}

/// Whether something was ordered for a part, in any order of the job.
fn ordered(state: &JobState, layout: &EngineLayout, knowledge: &Knowledge, wanted: &str, at: &PieceAt) -> bool {
    let known = operation(knowledge, wanted);
    let lines = state.machine_orders.iter().flat_map(|o| &o.lines);
    lines.filter(|l| l.operation == wanted).any(|l| PieceAt::of(layout, known, &l.position).position == at.position)
}

/// Whether one of the checks of some work was read here at its part.
fn read_here(state: &JobState, layout: &EngineLayout, known: &Operation, at: &PieceAt) -> bool {
    let of = |r: &&logbook::ReadingTaken| known.checks_after.contains(&r.check) && r.gauge_doubted_by.is_none();
    state.readings.iter().filter(of).any(|r| PieceAt::of(layout, Some(known), &r.position).position == at.position)
}
