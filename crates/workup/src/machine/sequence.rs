//! The order of work, and what belongs to a machine order though nobody ordered it.

use std::collections::BTreeMap;

use anatomy::{EngineLayout, Position};
use knowledge::Knowledge;
use knowledge::limits::AppliesTo;
use knowledge::workshop::{DoneBy, Operation, Order, Requirement};
use logbook::{JobState, MachineOrderSent};

use super::{OrderLine, PieceAt, ordered, read_here};
use crate::work::operation;

/// The lines of an order in the order of work: what must be done before something else stands before it, and what waits for
/// nothing keeps its place.
#[must_use]
pub fn lines<'a>(order: &'a MachineOrderSent, knowledge: &'a Knowledge) -> Vec<OrderLine<'a>> {
    let known = |l: &'a logbook::MachineLine| operation(knowledge, &l.operation);
    let mut left: Vec<OrderLine<'a>> =
        order.lines.iter().enumerate().map(|(place, line)| OrderLine { place, line, operation: known(line) }).collect();
    let mut out = Vec::new();
    while !left.is_empty() {
        let free = |line: &OrderLine<'_>| !left.iter().any(|other| is_before(other, line));
        // What other work must not be paid for without comes first of all: a cracked head is given no new guides.
        let first = |line: &OrderLine<'_>| free(line) && left.iter().any(|other| asks(other, Order::Before, line));
        // A loop of requirements is refused by the lint; what is in one keeps its place.
        let next = left.iter().position(first).or_else(|| left.iter().position(free)).unwrap_or(0);
        out.push(left.remove(next));
    }
    out
}

/// Whether the work of one line is done before that of another.
fn is_before(first: &OrderLine<'_>, then: &OrderLine<'_>) -> bool {
    asks(then, Order::Before, first) || asks(first, Order::After, then)
}

/// Whether the work of one line asks for that of another, before or after it.
fn asks(of: &OrderLine<'_>, order: Order, other: &OrderLine<'_>) -> bool {
    let requires = of.operation.map_or(&[][..], |o| o.requires.as_slice());
    requires.iter().any(|r| r.order == order && r.operation == other.line.operation)
}

/// Why some work belongs to an order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Belongs {
    /// It is done before the work that was ordered.
    First,
    /// It is done after it.
    Then,
    /// It is the same cut on the other bank.
    OtherBank,
}

/// Work that belongs to an order and is not ordered.
#[derive(Debug, Clone, Copy)]
pub struct Unordered<'k> {
    /// Why it belongs there.
    pub belongs: Belongs,
    /// The work.
    pub operation: &'k Operation,
    /// Where it is done.
    pub position: Position,
    /// The part it is done to.
    pub at: PieceAt,
    /// When it is needed, in words of the trade.
    pub when: &'k str,
    /// Whether it is needed every time.
    pub always: bool,
    /// The work that asks for it.
    pub asked_by: &'k Operation,
}

impl Unordered<'_> {
    /// What it is and what to do about it, in one sentence without full stop.
    #[must_use]
    pub fn words(&self, layout: &EngineLayout) -> String {
        let what = format!("{} ({}; {})", self.operation.name, self.at.name(layout), self.when);
        let asks = format!("\u{201c}{}\u{201d}", self.asked_by.name);
        match (self.belongs, self.always) {
            (Belongs::First, true) => format!(
                "First: {what}. It comes before {asks}, and is neither ordered nor read here: order it, or ask for its result"
            ),
            (Belongs::First, false) => format!("First, perhaps: {what}. Ask before {asks} is begun"),
            (Belongs::Then, true) => {
                format!("After it: {what}. It follows {asks} and is not ordered: order it, or say who does it")
            }
            (Belongs::Then, false) => format!("After it, perhaps: {what}. Ask whether {asks} calls for it"),
            (Belongs::OtherBank, _) => {
                format!(
                    "The other bank: {what}. Suggested, so that both banks stay alike: order it, or leave it out knowingly"
                )
            }
        }
    }
}

/// What belongs to an order and is neither ordered in the job nor read here: earlier work first, then later work, then the
/// equal cut on the other bank.
#[must_use]
pub fn unordered<'k>(
    state: &JobState,
    layout: &EngineLayout,
    knowledge: &'k Knowledge,
    order: &MachineOrderSent,
) -> Vec<Unordered<'k>> {
    let told = crate::work::stated(state, layout, knowledge);
    let mut out: Vec<Unordered<'k>> = Vec::new();
    for line in &order.lines {
        let Some(asked_by) = operation(knowledge, &line.operation) else { continue };
        for wanted in &asked_by.requires {
            for found in belonging(layout, knowledge, &told, asked_by, wanted, &line.position) {
                let here = ordered(state, layout, knowledge, &wanted.operation, &found.at)
                    || read_here(state, layout, found.operation, &found.at)
                    // The same cut by its own name is as good on the other bank.
                    || (found.belongs == Belongs::OtherBank && ordered(state, layout, knowledge, &asked_by.id, &found.at));
                let listed = out.iter().any(|o| o.operation.id == found.operation.id && o.at == found.at);
                if !here && !listed {
                    out.push(found);
                }
            }
        }
    }
    out.sort_by_key(|o| (o.belongs, !o.always));
    out
}

/// The work that one requirement calls for, at each place it calls for it.
fn belonging<'k>(
    layout: &EngineLayout,
    knowledge: &'k Knowledge,
    told: &BTreeMap<String, String>,
    asked_by: &'k Operation,
    wanted: &'k Requirement,
    at: &Position,
) -> Vec<Unordered<'k>> {
    let Some(work) = operation(knowledge, &wanted.operation) else { return Vec::new() };
    if AppliesTo::spoken_against(&wanted.applies, |name| told.get(name).map(String::as_str)) {
        return Vec::new();
    }
    let unordered = |belongs, position: Position| Unordered {
        belongs,
        operation: work,
        position,
        at: PieceAt::of(layout, Some(work), &position),
        when: &wanted.when,
        always: wanted.always,
        asked_by,
    };
    if wanted.other_bank {
        let own = PieceAt::of(layout, Some(asked_by), at).position;
        let Some(own) = layout.bank_of(&own) else { return Vec::new() };
        let others = layout.banks().into_iter().filter(|bank| *bank != own);
        return others.map(|bank| unordered(Belongs::OtherBank, Position::Bank(bank))).collect();
    }
    // What the own shop does is on its build sheet.
    match wanted.order {
        _ if work.done_by == DoneBy::Shop => Vec::new(),
        Order::Before => vec![unordered(Belongs::First, fitting(asked_by, work, layout, at))],
        Order::After => vec![unordered(Belongs::Then, *at)],
        Order::With => Vec::new(),
    }
}

/// Where required work is done: at the place itself, or at the part where one is done to the whole of it.
fn fitting(asked_by: &Operation, work: &Operation, layout: &EngineLayout, at: &Position) -> Position {
    if asked_by.per == work.per { *at } else { PieceAt::of(layout, Some(work), at).position }
}
