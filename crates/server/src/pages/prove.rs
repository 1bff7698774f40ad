//! Who: the technician after the first start, later the owner. Moment: Prove.
//! Why so: each reading as found beside the same as left, place by place, since only the pair proves; what is not read
//! again yet stands above them, because it is the work that is left.

use logbook::{Kind, Moment, Phase};
use maud::{Markup, html};
use workup::Finding;

use super::{Panel, View, panel_place};
use crate::marks;
use crate::words::words;

/// The page.
pub(crate) fn page(view: &View) -> Markup {
    let body = html! {
        section.sheet {
            h2 { "Runs" }
            @if view.state().runs.is_empty() {
                p.quiet { "It has not run since the repair." }
            }
            ul.rows {
                @for r in &view.state().runs {
                    li {
                        p {
                            b { (words(r.run.word())) }
                            @if let Some(t) = &r.time { ", " (t.text) " " (t.unit) }
                            @if let Some(d) = &r.distance { ", " (d.text) " " (d.unit) }
                            @if let Some(w) = &r.words { ": " (w) }
                        }
                    }
                }
            }
            (view.form(Kind::EngineRun, "The engine was run", &[]))
        }
        (left(view))
        (super::test::another(view, Phase::AsLeft, "Another reading after the work"))
        (panel_place(&pairs(view)))
        (view.form(Kind::OutcomeFound, "What a condition turned out to be", &[]))
        (view.form(Kind::NoteWritten, "Write a note", &[]))
        (view.photo_form(None))
        (view.written("Written down here", super::of_moments(&[Moment::Prove])))
    };
    view.page(Moment::Prove, &body, Some((Panel::Proof, None)))
}

/// The checks after the repair, with the places where they are not read yet.
fn left(view: &View) -> Markup {
    let Some(layout) = &view.state().layout else { return super::waiting(view) };
    let checks: Vec<_> = view
        .knowledge()
        .checks
        .iter()
        .filter(|c| c.stage == workup::opened::AFTER_REPAIR)
        .filter(|c| c.applies.iter().all(|a| view.told(&a.attribute).is_none_or(|v| v == a.value)))
        .collect();
    html! {
        section.sheet {
            h2 { "Checks after the repair" }
            ul.checks {
                @for c in &checks {
                    @let places: Vec<_> = c
                        .scope
                        .iter()
                        .flat_map(|s| layout.positions(*s))
                        .collect();
                    @let open: Vec<_> = places
                        .iter()
                        .filter(|p| {
                            !view
                                .state()
                                .readings
                                .iter()
                                .any(|r| {
                                    r.check == c.id && r.position == **p
                                        && r.phase == Phase::AsLeft
                                })
                        })
                        .collect();
                    li data-check=(c.id) {
                        h3 {
                            (c.name)
                            span.quiet { " " (places.len() - open.len()) " of " (places.len()) " read" }
                        }
                        @let cautions = view.cautions_for(&c.cautions);
                        @if let Some(p) = open.first() {
                            (view.cautions(&cautions))
                            p {
                                a   .button
                                    href=({
                                        view.link(
                                            &format!(
                                                "enter?check={}&position={}&phase=as-left",
                                                c.id,
                                                p.address(),
                                            ),
                                        )
                                    })
                                { "Enter: " (view.place(p)) }
                            }
                        } @else { (view.cautions(&[])) }
                    }
                }
            }
        }
    }
}

/// As found beside as left.
pub(crate) fn pairs(view: &View) -> Markup {
    let waiting = super::waiting(view);
    let Some(case) = &view.case else { return waiting };
    let group = |f: &Finding| view.knowledge().check(&f.check).map_or_else(String::new, |c| c.group.clone());
    let before = |after: &Finding| -> Vec<&Finding> {
        let same = |f: &&Finding| {
            !f.after_repair
                && f.position == after.position
                && f.unit == after.unit
                && (f.check == after.check || group(f) == group(after))
        };
        case.findings.iter().filter(same).collect()
    };
    let after: Vec<&Finding> = case.findings.iter().filter(|f| f.after_repair).collect();
    html! {
        (waiting)
        section {
            h2.thin { "As found beside as left" }
            @if after.is_empty() {
                p.quiet { "Nothing is read as left yet." }
            } @else {
                div.scroll {
                    table.pairs {
                        thead {
                            tr {
                                th { "Reading" }
                                th { "As found" }
                                th { "As left" }
                                th { "Verdict" }
                            }
                        }
                        tbody {
                            @for f in &after {
                                tr {
                                    th scope="row" {
                                        (f.check_name)
                                        ", "
                                        (f.place)
                                        @if let Some(s) = &f.spot { ", " (s) }
                                    }
                                    td data-label="As found" {
                                        @let found = before(f);
                                        @if found.is_empty() {
                                            span.quiet { "not read before" }
                                        }
                                        ({
                                            found
                                                .iter()
                                                .map(|b| b.shown.as_str())
                                                .collect::<Vec<_>>()
                                                .join(", ")
                                        })
                                    }
                                    td data-label="As left" {
                                        b { (f.shown) }
                                    }
                                    td {
                                        (marks::mark(view.mark_of(f)))
                                        @if let Some(reason) = super::test::reason(f) {
                                            p.quiet { (reason) }
                                        }
                                    }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}
