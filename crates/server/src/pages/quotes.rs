//! Who: the counter, with two offers on the desk. Moment: Order.
//! Why so: one table a need, since only offers for the same thing can be held against each other; what it comes to with
//! freight stands first, then when it is here and what else it brings. One that ran out stands last and says so.

use logbook::Kind;
use maud::{Markup, html};
use workup::quotes::{Holds, Need, Offer, by_need};

use super::View;
use crate::surroundings;
use crate::words::{amount, count, sentence};

/// The quotes of the job, need by need, and the form for another.
pub(super) fn side_by_side(view: &View) -> Markup {
    let needs = by_need(view.state(), view.knowledge(), surroundings::today());
    html! {
        section.sheet id="quotes" {
            h2 { "Quotes" }
            @if needs.is_empty() {
                p.quiet { "No quote yet." }
            }
            @for need in &needs { (one(view, need)) }
            (view.form(Kind::QuoteReceived, "A quote came in", &[]))
            @if view.takes(Kind::QuoteReceived) {
                p {
                    a href=(view.link("price-list")) { "Quotes out of a price list" }
                }
            }
        }
    }
}

fn one(view: &View, need: &Need<'_>) -> Markup {
    let name = if need.whole { view.option_name(need.id) } else { view.need_name(need.id) };
    html! {
        h3 { (sentence(&name)) }
        div.scroll {
            table.quotes {
                thead {
                    tr {
                        th { "From" }
                        th { "Here for" }
                        th { "Days" }
                        th { "Price and freight" }
                        th { "Deposit" }
                        th { "Warranty" }
                        th { "Holds" }
                    }
                }
                tbody {
                    @for offer in &need.offers { (row(offer)) }
                }
            }
        }
    }
}

fn row(offer: &Offer<'_>) -> Markup {
    let q = offer.quote;
    let [best, worst] = q.lead_days;
    let marks = [("cheapest", offer.cheapest), ("soonest", offer.soonest)];
    let marks: Vec<&str> = marks.iter().filter(|(_, is)| *is).map(|(word, _)| *word).collect();
    let ran_out = matches!(offer.holds, Holds::RanOut(_)) && !offer.taken;
    html! {
        tr class=(if ran_out { "ran-out" } else { "" }) {
            th scope="row" {
                (q.supplier)
                @if !marks.is_empty() {
                    " "
                    span.quiet { "(" (marks.join(", ")) ")" }
                }
                @if !q.includes.is_empty() {
                    p.quiet { "with " (q.includes.join(", ")) }
                }
                @if let Some(note) = &q.note {
                    p.quiet { (note) }
                }
            }
            td data-label="Here for" {
                @match offer.together {
                    Some(together) => b { (amount(&together)) },
                    None => "two currencies",
                }
            }
            td data-label="Days" {
                @if best == worst { (best) } @else { (best) " to " (worst) }
            }
            td data-label="Price and freight" {
                (amount(&q.price))
                @match &q.freight {
                    Some(freight) => {
                        " + "
                        (amount(freight))
                    }
                    None => span.quiet { ", ask for the freight" },
                }
            }
            td data-label="Deposit" class=(if q.core_deposit.is_none() { "none" } else { "" }) {
                @if let Some(m) = &q.core_deposit { (amount(m)) } @else { "–" }
            }
            td data-label="Warranty" class=(if q.warranty_months.is_none() && q.warranty.is_none() { "none" } else { "" }) {
                @match (q.warranty_months, &q.warranty) {
                    (Some(m), _) => (count(usize::try_from(m).unwrap_or(0), "month", "months")),
                    (None, Some(words)) => (words),
                    (None, None) => "–",
                }
            }
            td data-label="Holds" {
                @if offer.taken { "taken up" } @else if ran_out { b { (offer.holds.words()) } } @else {
                    (offer.holds.words())
                }
                @if let Some(aged) = &offer.aged {
                    p.quiet { (aged.words(q.price)) }
                }
            }
        }
    }
}
