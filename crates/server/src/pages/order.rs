//! Who: the counter, then whoever opens the parcel. Moment: Order.
//! Why so: what is on the way stands first in the sequence of its days, the last one being the one that sets the date;
//! quotes and machine work below, each with the form that answers it.

use logbook::{Kind, Moment, Phase, ReturnKind};
use maud::{Markup, html};

use super::View;
use crate::surroundings;
use crate::words::{amount, sentence, within, words};

/// The page.
pub(crate) fn page(view: &View) -> Markup {
    let state = view.state();
    let mut coming = workup::awaited::parts(state);
    coming.sort_by_key(|o| (o.promised.is_none(), o.promised));
    let latest = coming.iter().filter_map(|o| o.promised).max();
    let away = workup::awaited::machine_work(state);
    let body = html! {
        section.sheet {
            h2 { "On the way" }
            @if coming.is_empty() {
                p.quiet { "No part is on the way." }
            }
            ul.rows {
                @for o in &coming {
                    li  class=({
                            if latest.is_some() && o.promised == latest {
                                "sets-date"
                            } else {
                                ""
                            }
                        })
                    {
                        p {
                            b { (sentence(&view.part_name(&o.part))) }
                            " × "
                            (o.quantity)
                            " from "
                            (o.supplier)
                            ", "
                            @if let Some(d) = o.promised {
                                "promised "
                                time { (d) }
                                @if o.promised == latest {
                                    b { " (sets the date)" }
                                }
                            } @else { "no day promised" }
                            @if let Some(d) = o.need_by { ", needed " time { (d) } }
                            @if let Some(m) = &o.price { ", " (amount(m)) }
                        }
                        ({
                            view.form(
                                Kind::PartArrived,
                                "It arrived",
                                &[
                                    ("part", o.part.clone()),
                                    ("order", o.in_entry.to_string()),
                                ],
                            )
                        })
                    }
                }
            }
            (view.form(Kind::PartOrdered, "Order a part", &[]))
        }
        section.sheet {
            h2 { "Arrived" }
            @if state.arrivals.is_empty() {
                p.quiet { "Nothing has arrived yet." }
            }
            ul.rows {
                @for a in &state.arrivals {
                    li {
                        p {
                            b { (sentence(&view.part_name(&a.part))) }
                            @if let Some(q) = a.quantity { " × " (q) }
                            @if let Some(b) = &a.batch { ", batch " (b) }
                            @if a.checks.is_empty() {
                                span.quiet { "; nobody looked at it yet" }
                            }
                            @for c in &a.checks {
                                "; "
                                (c.what)
                                ": "
                                b { (words(c.result.word())) }
                                @if let Some(n) = &c.note { " (" (n) ")" }
                            }
                        }
                    }
                }
            }
            (view.form(Kind::PartArrived, "A part arrived", &[]))
            (super::test::another(view, Phase::Arrival, "Measure a part that arrived"))
            (view.form(Kind::PartReturned, "A part goes back", &[]))
        }
        (cores(view))
        section.sheet {
            h2 { "Machine work" }
            @for o in &away {
                p.strong {
                    "At "
                    (o.shop)
                    ": order "
                    span.code { (o.code) }
                    @if let Some(d) = o.need_by { ", needed " time { (d) } }
                }
                ul {
                    @for l in &o.lines {
                        li {
                            (view.need_name(&l.operation))
                            ", "
                            (view.place(&l.position))
                            @if let Some(f) = &l.as_found { ", found [" (f.text) " " (f.unit) "]" }
                            @if let Some(f) = &l.want { ", wanted " (f.text) " " (f.unit) }
                            @if let Some(f) = &l.want_high { " to " (f.text) " " (f.unit) }
                            @if let Some(f) = &l.leave_at_least {
                                ", leave at least "
                                (f.text)
                                " "
                                (f.unit)
                            }
                            (view.measured_at(&l.position))
                        }
                    }
                }
                @let ids: Vec<String> = o
                    .lines
                    .iter()
                    .filter_map(|l| {
                        view.knowledge().operations.iter().find(|k| k.id == l.operation)
                    })
                    .flat_map(|k| k.cautions.iter().cloned())
                    .collect();
                @let ids: std::collections::BTreeSet<String> = view
                    .cautions_for(&ids)
                    .into_iter()
                    .collect();
                (view.cautions(&ids.into_iter().collect::<Vec<_>>()))
                ({
                    view.form(
                        Kind::MachineWorkReturned,
                        "It came back",
                        &[("code", o.code.clone()), ("order", o.in_entry.to_string())],
                    )
                })
            }
            @for r in &state.machine_returns {
                p {
                    "Back: order "
                    span.code { (r.code) }
                    @if let Some(b) = &r.done_by { ", done by " (b) }
                }
                ul {
                    @for l in &r.lines {
                        li {
                            (view.need_name(&l.operation))
                            ", "
                            (view.place(&l.position))
                            ": "
                            b { (words(l.result.word())) }
                            @if let Some(f) = &l.as_left { ", left at " (f.text) " " (f.unit) }
                            @if let Some(n) = &l.note { " (" (n) ")" }
                        }
                    }
                }
            }
            @if state.machine_orders.is_empty() {
                p.quiet { "No machine order has gone out." }
            }
            (view.form(Kind::MachineOrderSent, "Send a machine order", &[]))
        }
        (super::quotes::side_by_side(view))
        (view.form(Kind::CostBooked, "Money was spent", &[]))
        (view.form(Kind::TimeWorked, "Time was worked", &[]))
        (view.photo_form(None))
        (view.written("Written down here", super::of_moments(&[Moment::Order])))
    };
    view.page(Moment::Order, &body, None)
}

/// Old parts that go back against their deposit, those that are still here first, by their day.
fn cores(view: &View) -> Markup {
    let cores = workup::cores::of(view.state());
    if cores.is_empty() {
        return html! {};
    }
    html! {
        section.sheet {
            h2 { "Old parts that go back" }
            ul.rows {
                @for core in &cores {
                    li {
                        p {
                            "The old part for "
                            b { (within(&view.part_name(&core.order.part))) }
                            ", to "
                            (core.order.supplier)
                            @if let Some(m) = &core.order.core_deposit { ", deposit " (amount(m)) }
                            @if let Some(d) = core.order.core_due { ", by " time { (d) } }
                            @if let Some(clock) = core.clock(surroundings::today()) {
                                ": "
                                b { (clock) }
                            }
                            @if let Some(back) = core.back {
                                ": "
                                b { "went back " (surroundings::day_of(back.made_at)) }
                                " ("
                                (view.part_name(&back.part))
                                @if let Some(n) = &back.note { ", " (n) }
                                ")"
                            }
                        }
                        @if core.back.is_none() {
                            ({
                                view.form(
                                    Kind::PartReturned,
                                    "It went back",
                                    &[
                                        ("why", ReturnKind::Core.word().to_owned()),
                                        ("order", core.order.in_entry.to_string()),
                                    ],
                                )
                            })
                        }
                    }
                }
            }
        }
    }
}
