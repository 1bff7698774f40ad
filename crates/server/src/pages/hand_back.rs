//! Who: the counter and the owner, keys on the desk. Moment: Hand back.
//! Why so: done, not done, watch for, in the order in which they are said aloud; then the papers to print, and last
//! what is only needed when the engine comes back.

use documents::papers::Paper;
use logbook::{Kind, Moment, Phase};
use maud::{Markup, html};
use workup::comeback;

use super::View;
use crate::words::{when, words};

/// The page.
pub(crate) fn page(view: &View) -> Markup {
    let state = view.state();
    let list = |heading: &str, items: &[String]| {
        html! {
            @if !items.is_empty() {
                h3 { (heading) }
                ul {
                    @for i in items {
                        li { (i) }
                    }
                }
            }
        }
    };
    let body = html! {
        (super::bags::still_out(view))
        section.sheet {
            h2 { "Handed back" }
            @if let Some(proof) = view.case.as_ref().map(|c| &c.proof) {
                p data-proof=(proof.standing.word()) {
                    b { (proof.standing.words()) }
                    ": "
                    (proof.reason)
                }
            }
            @match &state.handed_back {
                Some(h) => {
                    p.quiet {
                        (when(h.made_at))
                        " · "
                        (h.made_by)
                        @if let Some(o) = &h.odometer { " · odometer " (o.text) " " (o.unit) }
                    }
                    (list("Done", &h.done))
                    (list("Not done", &h.not_done))
                    (list("Watch for", &h.watch_for))
                    @if let Some(c) = &h.first_check {
                        p {
                            b { "First look: " }
                            (c.what)
                            @if let Some(d) = c.by_date { ", by " (d) }
                            @if let Some(d) = &c.by_distance { " or " (d.text) " " (d.unit) }
                        }
                    }
                    @for c in &h.further_checks {
                        p {
                            "Later: "
                            (c.what)
                            @if let Some(d) = c.by_date { ", by " (d) }
                            @if let Some(d) = &c.by_distance { " or " (d.text) " " (d.unit) }
                        }
                    }
                    @if let Some(w) = &h.warranty {
                        p {
                            b { "Warranty: " }
                            (w)
                            @if let Some(m) = h.warranty_months { " (" (m) " months)" }
                        }
                    }
                    (view.form(Kind::HandedBack, "Write it anew", &[]))
                }
                None => (view.form_open(Kind::HandedBack, &[], "Hand it back")),
            }
        }
        @let due = match &view.case {
            Some(case) => documents::papers::due(case, state, view.knowledge()),
            None => Paper::ALL.to_vec(),
        };
        section.sheet {
            h2 { "Papers" }
            ul.rows {
                @for paper in due {
                    li {
                        p.paper {
                            b { (paper.title()) }
                            " "
                            a   .button
                                href=(view.link(&format!("papers/{}.pdf?size=a4", paper.word())))
                            { "A4" }
                            " "
                            a   .button
                                href=({
                                    view.link(
                                        &format!("papers/{}.pdf?size=letter", paper.word()),
                                    )
                                })
                            { "Letter" }
                        }
                    }
                }
            }
            @if !state.papers.is_empty() {
                h3 { "Left the shop" }
                ul {
                    @for p in &state.papers {
                        li {
                            (words(p.paper.word()))
                            ", revision "
                            (p.revision)
                            span.quiet {
                                " "
                                (when(p.made_at))
                                @if let Some(t) = &p.tail { " · chain " (t) }
                            }
                        }
                    }
                }
            }
        }
        section.sheet {
            h2 { "Promises" }
            ul {
                @for p in &state.promises {
                    li {
                        (p.promised)
                        @if let Some(w) = &p.words { ": " (w) }
                        span.quiet { " " (when(p.made_at)) }
                    }
                }
            }
            @if state.promises.is_empty() {
                p.quiet { "No day was promised." }
            }
            (view.form(Kind::PromiseMade, "Promise a day, or move it", &[]))
        }
        section.sheet {
            h2 { "If it comes back" }
            @for c in &state.comebacks {
                p {
                    "“"
                    (c.words)
                    "” "
                    span.quiet { (when(c.made_at)) }
                }
            }
            (who_answers(view))
            @for d in &state.comeback_decisions {
                p {
                    b { "Borne by: " (words(d.bearer.word())) }
                    ": "
                    (d.because)
                }
            }
            (view.form(Kind::ComebackOpened, "It came back", &[]))
            @if !state.comebacks.is_empty() {
                (super::test::another(view, Phase::Recheck, "Read it again"))
            }
            (view.form(Kind::ComebackDecided, "Decide who bears it", &[]))
        }
        section.sheet {
            h2 { "The end of the job" }
            @match &state.closed {
                Some(c) => {
                    p {
                        b { "Closed: " (words(c.how.word())) }
                        @if let Some(w) = &c.words { ". " (w) }
                    }
                    (view.take_back(&c.in_entry.to_string(), "Open it again"))
                }
                None => (view.form(Kind::JobClosed, "Close the job", &[])),
            }
        }
        (view.photos(None))
        (view.written("Everything written down", |_| true))
    };
    view.page(Moment::HandBack, &body, None)
}

/// Whose warranty still holds, what was not done, and what is read now beside what was left.
fn who_answers(view: &View) -> Markup {
    let Some(back) = comeback::last(view.state()) else { return html! {} };
    let holds = |w: &comeback::Warranty| {
        if w.holds { format!("holds until {}", w.until) } else { format!("ended {}", w.until) }
    };
    let findings = view.case.as_ref().map_or(&[][..], |case| &case.findings);
    let rows = comeback::then_and_now(view.state(), view.knowledge(), findings);
    let shown = |f: Option<&workup::findings::Finding>| f.map_or_else(|| "not read".to_owned(), |f| f.shown.clone());
    html! {
        dl.lists {
            @if let Some(days) = back.days {
                dt { "Since it was handed back" }
                dd {
                    (crate::words::count(usize::try_from(days).unwrap_or_default(), "day", "days"))
                    @if let Some(ran) = &back.ran { ", " (ran) }
                }
            }
            @if let Some(shop) = &back.shop {
                dt { "Our warranty, " (shop.months) " months" }
                dd { (holds(shop)) }
            }
            @for part in &back.parts {
                dt { (crate::words::sentence(&super::part_name(view.knowledge(), &part.part))) ", " (part.supplier) }
                dd {
                    (part.warranty.months) " months from the day it came: " (holds(&part.warranty))
                    @if let Some(batch) = &part.batch { ", batch " (batch) }
                }
            }
            @if !back.not_done.is_empty() {
                dt { "Handed back as not done" }
                dd { (back.not_done.join("; ")) }
            }
        }
        @if !rows.is_empty() {
            div.scroll {
                table {
                    thead { tr { th { "Reading" } th { "As found" } th { "As left" } th { "Now" } } }
                    tbody {
                        @for row in &rows {
                            tr {
                                td { (row.now.name()) ", " (row.now.place) }
                                td { (shown(row.found)) }
                                td { (shown(row.left)) }
                                td { b { (row.now.shown) } " " span.quiet { (row.now.verdict.words()) } }
                            }
                        }
                    }
                }
            }
        }
    }
}
