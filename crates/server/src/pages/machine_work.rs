//! Who: the counter, with a machinist's paper in hand. Moment: Order.
//! Why so: what is away stands first, part by part in the order of work, with what ought to come before it; the answer is keyed in
//! under the code, a row for each line, and then stands beside what was found, with its next move.

use anatomy::EngineLayout;
use logbook::{Fact, Figure, Kind, MachineLine, MachineOrderSent};
use maud::{Markup, html};
use workup::awaited::{self, JobDate};
use workup::machine::back::{LineBack, MachineBack, word_of};
use workup::machine::sequence::{Unordered, unordered};
use workup::machine::{OrderLine, PieceAt, pieces, same_code};

use super::View;
use crate::machine;
use crate::words::{sentence, within, words};

fn figure(f: &Figure) -> String {
    format!("{} {}", f.text, f.unit)
}

/// What is away, what came back, and the forms for both.
pub(crate) fn section(view: &View, date: &JobDate<'_>) -> Markup {
    let state = view.state();
    let away = awaited::work(state);
    let notices = super::wall::of_machine_work(state, view.knowledge());
    html! {
        section.sheet id="machine-work" {
            h2 { "Machine work" }
            @for n in &notices {
                p.nextmove role="alert" data-notice=(n.code) {
                    b { (sentence(&n.message)) }
                    "; "
                    (n.what_to_do)
                    "."
                }
            }
            @for order in &away { (at_the_shop(view, order, date)) }
            @if let Some(layout) = &state.layout {
                @let (backs, _) = workup::machine::back::of_state(state, layout, view.knowledge());
                @for back in &backs { (came_back(back)) }
            }
            @if state.machine_orders.is_empty() {
                p.quiet { "No machine order has gone out." }
            }
            (view.form(Kind::MachineOrderSent, "Send a machine order", &[]))
        }
    }
}

/// One order that is away.
fn at_the_shop(view: &View, order: &Fact<MachineOrderSent>, date: &JobDate<'_>) -> Markup {
    html! {
        p class=(if date.is_set_by(order.in_entry) { "strong sets-date" } else { "strong" }) {
            "At "
            (order.shop)
            ": order "
            span.code { (order.code) }
            @if let Some(d) = order.promised { ", promised " time { (d) } }
            @if let Some(d) = order.need_by { ", needed " time { (d) } }
            @if date.is_set_by(order.in_entry) { " (sets the date)" }
        }
        @match &view.state().layout {
            Some(layout) => {
                @let open = unordered(view.state(), layout, view.knowledge(), &order.body);
                @if !open.is_empty() {
                    ul.belongs {
                        @for u in &open { (belongs(view, layout, order, u)) }
                    }
                }
                @for piece in pieces(order, layout, view.knowledge()) {
                    h3 { (sentence(&piece.at.name(layout))) }
                    ol {
                        @for line in &piece.lines { (ordered(view, line, &piece.at)) }
                    }
                }
            }
            None => {}
        }
        @let ids: Vec<String> = order
            .lines
            .iter()
            .filter_map(|l| view.knowledge().operations.iter().find(|k| k.id == l.operation))
            .flat_map(|k| k.cautions.iter().cloned())
            .collect();
        @let ids: std::collections::BTreeSet<String> = view
            .cautions_for(&ids)
            .into_iter()
            .collect();
        (view.cautions(&ids.into_iter().collect::<Vec<_>>()))
        (answer(view, order))
    }
}

/// One line of an order, in the order of work.
fn ordered(view: &View, line: &OrderLine<'_>, at: &PieceAt) -> Markup {
    let l: &MachineLine = line.line;
    html! {
        li {
            (line.name())
            // The part itself stands above.
            @if at.piece.is_none() || at.position != l.position {
                ", "
                (view.place(&l.position))
            }
            @if let Some(f) = &l.as_found { ", found [" (figure(f)) "]" }
            @match (&l.want, &l.want_high) {
                (Some(low), Some(high)) => { ", wanted " (figure(low)) " to " (figure(high)) }
                (Some(one), None) => { ", wanted " (figure(one)) }
                (None, Some(high)) => { ", wanted at most " (figure(high)) }
                (None, None) => {}
            }
            @if let Some(f) = &l.leave_at_least { ", leave at least " (figure(f)) }
            @if let Some(n) = &l.note { " (" (n) ")" }
            (view.measured_at(&l.position))
        }
    }
}

/// Work that belongs to an order and is not ordered, with the form that orders it.
fn belongs(view: &View, layout: &EngineLayout, order: &Fact<MachineOrderSent>, u: &Unordered<'_>) -> Markup {
    html! {
        li data-belongs=(u.operation.id) {
            p.nextmove { (u.words(layout)) "." }
            ({
                view.form(
                    Kind::MachineOrderSent,
                    &format!("Order it: {}", within(&u.operation.name)),
                    &[
                        ("shop", order.shop.clone()),
                        ("lines.0.operation", u.operation.id.clone()),
                        ("lines.0.position", u.position.address()),
                    ],
                )
            })
        }
    }
}

/// The form that takes what came back of an order, a row for each line that is not back yet.
fn answer(view: &View, order: &Fact<MachineOrderSent>) -> Markup {
    let kind = Kind::MachineWorkReturned;
    let given = [("code", order.code.clone()), ("order", order.in_entry.to_string())];
    let returned = view.came_back(kind, &given).is_some();
    if !view.takes(kind) && !returned {
        return html! {};
    }
    let meant = view.code.as_ref().is_some_and(|code| same_code(code, &order.code));
    let named = |n: usize| {
        let line = order.lines.get(n);
        let what = line.map_or_else(String::new, |l| {
            format!(", {}, {}", within(&view.need_name(&l.operation)), view.place(&l.position))
        });
        format!("Line {}{what}", n + 1)
    };
    let fields = if order.lines.is_empty() {
        crate::forms::fields(kind, view.state(), view.knowledge())
    } else {
        machine::return_of(order, named)
    };
    html! {
        details.fold id=[meant.then_some("back")] open[returned || meant] {
            summary { "It came back: order " (order.code) }
            (view.form_of(kind, &given, fields, "Keep it"))
        }
    }
}

/// What came back of an order, beside what was found.
fn came_back(back: &MachineBack) -> Markup {
    html! {
        p {
            "Back: order "
            span.code { (back.code) }
            " from "
            (back.shop)
            @if let Some(b) = &back.done_by { ", done by " (b) }
        }
        ul.rows {
            @for l in &back.lines { (line_back(l)) }
        }
    }
}

fn line_back(l: &LineBack) -> Markup {
    html! {
        li data-as-left=(l.operation) data-verdict=[l.verdict.map(word_of)] {
            p {
                (l.name)
                ", "
                (l.place)
                ": "
                b { (words(l.result.word())) }
                @if let Some(f) = &l.as_found { ", found [" (f) "]" }
                @if let Some(f) = &l.as_left {
                    ", left at "
                    b { (f) }
                    " by the machine shop's word"
                }
                @if let Some(v) = l.verdict { ": " b { (word_of(v)) } }
                @if let Some(n) = &l.note { " (" (n) ")" }
            }
            @if l.as_left.is_some() {
                p.quiet { (l.reason) }
            }
            @if let Some(next) = &l.next_move {
                p.nextmove { (sentence(next)) "." }
            }
        }
    }
}
