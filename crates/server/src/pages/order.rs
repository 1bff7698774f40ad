//! Who: the counter, then whoever opens the parcel. Moment: Order.
//! Why so: what is on the way stands first in the sequence of its days, the last one being the one that sets the date;
//! quotes and machine work below, each with the form that answers it.

use logbook::{Fact, Kind, Moment, PartOrdered, Phase, ReturnKind};
use maud::{Markup, html};

use workup::arrivals::Here;
use workup::awaited::{Coming, JobDate};

use super::{View, machine_work};
use crate::words::{amount, sentence, within, words};
use crate::{forms, surroundings};

/// The page.
pub(crate) fn page(view: &View) -> Markup {
    let state = view.state();
    let date = JobDate::of(state);
    let coming = date.coming.iter().filter_map(|c| match c.what {
        Coming::Part(part) => Some(part),
        Coming::Work(_) => None,
    });
    let coming: Vec<_> = coming.collect();
    let body = html! {
        section.sheet {
            h2 { "On the way" }
            (sets_the_date(view, &date))
            @if coming.is_empty() {
                p.quiet { "No part is on the way." }
            }
            ul.rows {
                @for o in &coming {
                    li  class=({
                            if date.is_set_by(o.in_entry) {
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
                                @if date.is_set_by(o.in_entry) {
                                    b { " (sets the date)" }
                                }
                            } @else { "no day promised" }
                            @if let Some(d) = o.need_by { ", needed " time { (d) } }
                            @if let Some(m) = &o.price { ", " (amount(m)) }
                        }
                        (arrived(view, o))
                    }
                }
            }
            @if date.sets().is_none() {
                @for word in date.words(None) {
                    p.nextmove { (sentence(&word)) "." }
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
                @for one in &workup::arrivals::here(state, view.knowledge()) { (here(view, one)) }
            }
            (view.form(Kind::PartArrived, "A part arrived", &[]))
            (super::test::another(view, Phase::Arrival, "Measure a part that arrived"))
            (view.form(Kind::PartReturned, "A part goes back", &[]))
        }
        (cores(view))
        (machine_work::section(view, &date))
        (super::quotes::side_by_side(view))
        (view.form(Kind::CostBooked, "Money was spent", &[]))
        (view.form(Kind::TimeWorked, "Time was worked", &[]))
        (view.photo_form(None))
        (view.written("Written down here", super::of_moments(&[Moment::Order])))
    };
    view.page(Moment::Order, &body, None)
}

/// The form of an arrival, with the looks that the part wants.
fn arrived(view: &View, order: &Fact<PartOrdered>) -> Markup {
    let given = [("part", order.part.clone()), ("order", order.in_entry.to_string())];
    let looks = workup::arrivals::looks_for(view.knowledge(), &order.part);
    looked_at(view, "It arrived", &given, &looks)
}

fn looked_at(view: &View, heading: &str, given: &[(&'static str, String)], looks: &[String]) -> Markup {
    let fields = forms::arrival(view.state(), view.knowledge(), looks, given);
    html! {
        details.fold open[view.came_back(Kind::PartArrived, given).is_some()] {
            summary { (heading) }
            (view.form_of(Kind::PartArrived, given, fields, "Keep it"))
        }
    }
}

/// Something that arrived: whether it is trusted, what is still to be looked at, and the way back where it failed.
fn here(view: &View, one: &Here<'_>) -> Markup {
    let arrival = one.arrival;
    let failed: Vec<&str> = one.failed().collect();
    let order = arrival.order.map(|id| id.to_string());
    let given = |extra: &[(&'static str, String)]| -> Vec<(&'static str, String)> {
        let mut out = vec![("part", arrival.part.clone())];
        out.extend(order.clone().map(|id| ("order", id)));
        out.extend_from_slice(extra);
        out
    };
    html! {
        li data-arrived=(arrival.in_entry) {
            p {
                b { (sentence(&view.part_name(&arrival.part))) }
                @if let Some(q) = arrival.quantity { " × " (q) }
                @if let Some(b) = &arrival.batch { ", batch " (b) }
                @if one.back.is_some() {
                    ": "
                    b { "went back" }
                } @else if !failed.is_empty() {
                    ": "
                    b.outside { "not to be fitted" }
                } @else if !one.looks.is_empty() && one.is_trusted() {
                    ": "
                    b { "looked at and good" }
                } @else if one.looks.is_empty() {
                    span.quiet { "; nobody looked at it yet" }
                }
                @for look in &one.looks {
                    "; "
                    (look.what)
                    ": "
                    b { (words(look.result.word())) }
                    @if let Some(n) = &look.note { " (" (n) ")" }
                }
            }
            @if let Some(back) = one.back {
                p.quiet {
                    "Went back as "
                    (words(back.why.word()))
                    @if let Some(pays) = back.pays { ", paid by: " (words(pays.word())) }
                    @if back.again == Some(anatomy::Known::No) { "; no other comes in its place" } @else {
                        "; another is to come in its place"
                    }
                }
            } @else {
                @if !one.untaken.is_empty() {
                    p.nextmove { "Still to be looked at: " (one.untaken.join("; ")) "." }
                    (looked_at(view, "Look at it", &given(&[("quantity", "0".to_owned())]), &one.untaken))
                }
                @if !failed.is_empty() {
                    p.nextmove { "It failed: " (failed.join("; ")) ". Send it back, or look again." }
                    ({
                        looked_at(
                            view,
                            "Look again",
                            &given(&[("quantity", "0".to_owned())]),
                            &failed.iter().map(|f| (*f).to_owned()).collect::<Vec<_>>(),
                        )
                    })
                    ({
                        view.form(
                            Kind::PartReturned,
                            "Send it back",
                            &given(&[("why", ReturnKind::Damaged.word().to_owned())]),
                        )
                    })
                }
            }
        }
    }
}

/// What sets the date, parts and machine work alike, and what that means beside the day promised to the customer.
fn sets_the_date(view: &View, date: &JobDate<'_>) -> Markup {
    let today = Some(surroundings::today());
    let words = date.words(today);
    html! {
        @if let Some((setter, day)) = date.sets() {
            p class=(if date.is_late(today) { "big late" } else { "big" }) data-sets-date=(setter.entry()) {
                ({
                    match setter.what {
                        Coming::Part(part) => sentence(&view.part_name(&part.part)),
                        Coming::Work(order) => format!("Machine work {}", order.code),
                    }
                })
                " sets the date: "
                time { (day) }
            }
        }
        @if !words.is_empty() && date.sets().is_some() {
            p.nextmove { (sentence(&words.join("; "))) "." }
        }
    }
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
