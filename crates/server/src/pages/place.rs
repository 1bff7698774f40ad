//! Who: the technician who tapped a place on the drawing. Moments: Test and Strip.
//! Why so: what was read here stands before what can be read here, as one looks before one touches.
//! Checks that pay come first and open; each holds its cautions above its key.

use anatomy::Position;
use logbook::{Kind, Moment, Phase};
use maud::{Markup, html};
use workup::Finding;

use super::View;
use super::test::{along, finding};
use crate::surroundings;

/// Whether a place belongs to the cylinder of another.
fn belongs(place: &Position, to: &Position) -> bool {
    let beside = |cylinder: u8| place.pair().is_some_and(|(a, b)| a == cylinder || b == cylinder);
    to.cylinder().is_some_and(|cylinder| place.cylinder() == Some(cylinder) || beside(cylinder))
}

/// Readings by when they were taken, first those as found; a part never mixes before the work with after it.
fn by_phase<'a>(view: &View, here: &[&'a Finding]) -> Vec<(String, Vec<&'a Finding>)> {
    let phase = |f: &Finding| {
        view.state().readings.iter().find(|r| r.entry.to_string() == f.entry).map_or(Phase::AsFound, |r| r.phase)
    };
    let with = |wanted: Phase| -> Option<(String, Vec<&'a Finding>)> {
        let of: Vec<&Finding> = here.iter().copied().filter(|f| phase(f) == wanted).collect();
        let mut days: Vec<String> =
            of.iter().filter_map(|f| Some(surroundings::day_of(f.at.parse().ok()?).to_string())).collect();
        days.dedup();
        let name = crate::words::sentence(&crate::words::words(wanted.word()));
        (!of.is_empty()).then(|| (format!("{name}, {}", days.join(" and ")), of))
    };
    Phase::ALL.iter().copied().filter_map(with).collect()
}

/// The page of one place.
pub(crate) fn page(view: &View, position: &Position) -> Markup {
    let here: Vec<_> = view.case.iter().flat_map(|c| &c.findings).filter(|f| f.position == *position).collect();
    let pays = |id: &str| {
        let next = view.case.iter().flat_map(|c| &c.advice.next);
        next.filter(|c| c.check == id).any(|c| c.position == *position || c.round.contains(position))
    };
    let mut checks: Vec<_> = view
        .knowledge()
        .checks
        .iter()
        .filter(|c| c.scope.contains(&position.scope()))
        .filter(|c| workup::impossible_now(view.state(), view.knowledge(), c).is_none())
        .filter(|c| c.applies.iter().all(|a| view.told(&a.attribute).is_none_or(|v| v == a.value)))
        .collect();
    checks.sort_by_key(|c| !pays(&c.id));
    let parts: Vec<Position> = view
        .state()
        .layout
        .as_ref()
        .map(|layout| layout.all_positions())
        .unwrap_or_default()
        .into_iter()
        .filter(|p| p != position && belongs(p, position))
        .collect();
    let marks = view.marks();
    let body = html! {
        h2 { (crate::words::sentence(&view.place(position))) }
        (view.faces_at(position))
        (super::waiting(view))
        @if here.is_empty() && view.case.is_some() {
            p.quiet { "No reading here yet." }
        }
        @for (phase, findings) in by_phase(view, &here) {
            h3.thin { (phase) }
            ul.findings {
                @for f in &findings { (finding(view, f)) }
            }
        }
        (view.measured_at(position))
        (along(view, |s| here.iter().any(|f| s.holds(f))))
        @if !parts.is_empty() {
            h2.thin { "At the same cylinder" }
            ul.places {
                @for p in &parts {
                    li {
                        a href=(view.link(&format!("place/{}", p.address()))) {
                            (view.place(p))
                            ({
                                crate::marks::mark(
                                    marks
                                        .get(p)
                                        .copied()
                                        .unwrap_or(documents::pictures::Mark::None),
                                )
                            })
                        }
                    }
                }
            }
        }
        (view.photos(Some(position)))
        h2.thin { "What can be read here now" }
        @if checks.is_empty() {
            p.quiet { "Nothing at this stage of strip-down." }
        }
        ol.checks {
            @for c in &checks {
                @let cautions = view.cautions_for(&c.cautions);
                li data-check=(c.id) {
                    details.fold open[pays(&c.id)] {
                        summary {
                            (c.name)
                            @if pays(&c.id) {
                                b.tag { "pays now" }
                            }
                        }
                        (view.cautions(&cautions))
                        @if view.holding(&cautions).is_empty() {
                            p {
                                a   .button
                                    href=({
                                        view.link(
                                            &format!(
                                                "enter?check={}&position={}",
                                                c.id,
                                                position.address(),
                                            ),
                                        )
                                    })
                                { "Enter" }
                            }
                        } @else {
                            p.quiet { "Tick the caution, then enter." }
                        }
                    }
                }
            }
        }
        (view.photo_form(Some(position)))
        ({
            view.form(
                Kind::NoteWritten,
                "Write a note on this place",
                &[("position", position.address())],
            )
        })
        ({
            view.form(
                Kind::ResidueSeen,
                "A residue was seen here",
                &[("position", position.address())],
            )
        })
    };
    view.page(Moment::Strip, &body, None)
}
