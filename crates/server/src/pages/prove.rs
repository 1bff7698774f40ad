//! Who: the technician after the first start, later the owner. Moment: Prove.
//! Why so: each reading as found beside the same as left, place by place, since only the pair proves; what is not read
//! again yet stands above them, because it is the work that is left.

use logbook::{Kind, Moment, Phase};
use maud::{Markup, html};
use workup::{Finding, learning};

use super::{Panel, View, panel_place};
use crate::words::words;
use crate::{forms, marks};

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
        (super::bags::still_out(view))
        (left(view))
        (super::test::another(view, Phase::AsLeft, "Another reading after the work"))
        (panel_place(&pairs(view)))
        (turned_out(view))
        (view.form(Kind::NoteWritten, "Write a note", &[]))
        (view.photo_form(None))
        (view.written("Written down here", super::of_moments(&[Moment::Prove])))
    };
    view.page(Moment::Prove, &body, Some((Panel::Proof, None)))
}

/// What parts turned out to be: what is told, and what readings spoke of and nobody has told the end of.
fn turned_out(view: &View) -> Markup {
    let outcomes = &view.state().outcomes;
    let asked =
        view.case.as_ref().map(|case| learning::to_tell(view.state(), case, view.knowledge())).unwrap_or_default();
    html! {
        section.sheet id="turned-out" {
            h2 { "What it turned out to be" }
            p.quiet {
                "Told for the shop's own odds, sound parts as well as bad ones. "
                a href="/own-jobs" { "What our own jobs say" }
                "."
            }
            @if !outcomes.is_empty() {
                ul.rows {
                    @for o in outcomes {
                        li {
                            b { (view.knowledge().name_of(&o.condition).unwrap_or(&o.condition)) }
                            ", " (view.place(&o.position)) ": "
                            b { (words(&o.state)) }
                            span.quiet { " · " (o.how) }
                        }
                    }
                }
            }
            @for one in &asked { (ask(view, one)) }
            (view.form(Kind::OutcomeFound, "Another one", &[]))
        }
    }
}

/// Asks what one condition turned out to be: its states to pick from, and how that was seen.
fn ask(view: &View, one: &learning::ToTell) -> Markup {
    const HOW: [&str; 4] = [
        "seen with the part out",
        "measured on the bench",
        "tested at the machine shop",
        "proved by running after the repair",
    ];
    let given = [("condition", one.condition.clone()), ("position", one.position.address())];
    if !view.takes(Kind::OutcomeFound) && view.came_back(Kind::OutcomeFound, &given).is_none() {
        return html! {};
    }
    let mut fields = forms::fields(Kind::OutcomeFound, view.state(), view.knowledge());
    for field in &mut fields {
        let fixed =
            given.iter().find(|(name, _)| field.name == *name).map(|(_, value)| forms::Ask::Fixed(value.clone()));
        if field.name == "how" {
            field.ask = forms::Ask::Suggest(HOW.map(str::to_owned).to_vec());
        }
        let states = || one.states.iter().map(|s| (s.clone(), words(s))).collect();
        let picked = (field.name == "state").then(states);
        if let Some(ask) = fixed.or(picked.map(forms::Ask::Pick)) {
            field.ask = ask;
        }
    }
    html! {
        details.fold open[view.came_back(Kind::OutcomeFound, &given).is_some()] {
            summary { (one.name) ", " (one.place) }
            (view.form_of(Kind::OutcomeFound, &given, fields, "Keep it"))
        }
    }
}

/// Whether the repair is proved, and the proofs that are asked for and not read yet; before a choice every one there is.
fn left(view: &View) -> Markup {
    let Some(case) = &view.case else { return super::waiting(view) };
    let proof = &case.proof;
    let mut checks: Vec<&str> = proof.asked.iter().map(|a| a.check.as_str()).collect();
    checks.dedup();
    html! {
        section.sheet {
            h2 { "Is it proved?" }
            p.big data-proof=(proof.standing.word()) {
                (proof.standing.words())
            }
            p { (proof.reason) }
            @if !proof.unanswered.is_empty() {
                p.strong { "Hold points open: " (proof.unanswered.join("; ")) }
            }
            @for h in &proof.passed_open {
                p.strong { "Passed without proof: " (h.hold) ", " (h.by) ": " (h.reason) }
            }
            ul.checks {
                @for id in &checks {
                    @let here: Vec<_> = proof.asked.iter().filter(|a| a.check == *id).collect();
                    @let open = here.iter().find(|a| a.entry.is_none());
                    @let cautions = view
                        .knowledge()
                        .check(id)
                        .map(|c| view.cautions_for(&c.cautions))
                        .unwrap_or_default();
                    li data-check=(id) {
                        h3 {
                            (here.first().map_or("", |a| a.name.as_str()))
                            span.quiet {
                                " "
                                (here.iter().filter(|a| a.entry.is_some()).count())
                                " of "
                                (here.len())
                                " read"
                                @if let Some(due) = here.iter().find_map(|a| a.due.as_ref()) { ", due " (due) }
                            }
                        }
                        @if let Some(a) = open {
                            (view.cautions(&cautions))
                            p {
                                a   .button
                                    href=({
                                        view.link(
                                            &format!(
                                                "enter?check={}&position={}&phase=as-left",
                                                a.check,
                                                a.position.address(),
                                            ),
                                        )
                                    })
                                { "Enter: " (view.place(&a.position)) }
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
    let finding = |entry: &str| case.findings.iter().find(|f| f.entry == entry);
    let pairs: Vec<(&Finding, Option<&Finding>)> = case
        .proof
        .pairs
        .iter()
        .filter_map(|p| Some((finding(&p.after)?, p.before.as_deref().and_then(finding))))
        .collect();
    html! {
        (waiting)
        (super::test::along(view, |s| s.after_repair))
        section {
            h2.thin { "As found beside as left" }
            @if pairs.is_empty() {
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
                            @for (f, before) in &pairs {
                                tr {
                                    th scope="row" {
                                        (f.check_name)
                                        ", "
                                        (f.place)
                                        @if let Some(s) = &f.spot { ", " (words(s)) }
                                    }
                                    td data-label="As found" {
                                        @match before {
                                            Some(b) => (b.shown),
                                            None => span.quiet { "not read before" },
                                        }
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
