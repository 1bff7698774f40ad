//! Who: the technician who doubts a percentage, and the owner. Moment: after jobs are done.
//! Why so: book and shop stand side by side for each condition, with the count that the shop's figure rests on, since a share
//! of four jobs and one of forty are not the same; what differs from the book stands first, because it asks for a look.

use maud::{Markup, html};
use workup::learning::{Lesson, OddsLesson, ShowingLesson, Standing};

use super::shell;
use crate::desk::Bench;
use workup::words::per_cent;

use crate::words::{count, words};

/// The page.
pub(crate) fn page(bench: &Bench, lesson: &Lesson, who: &str) -> Markup {
    let learnt = &bench.knowledge().learnt;
    let (odd, plain): (Vec<&OddsLesson>, Vec<&OddsLesson>) =
        lesson.odds.iter().partition(|o| o.standing == Standing::Used || o.odd < workup::learning::ODD);
    let body = html! {
        main id="main" {
            h1 { "What our own jobs say" }
            p.quiet {
                (count(lesson.jobs, "job counts", "jobs count"))
                ": closed, or told what a part turned out to be. The book is worth as many jobs as it takes to outvote a run of luck; "
                "nothing changes until the owner takes it up."
            }
            @match &learnt.adopted {
                Some(a) if learnt.counts => {
                    p.strong {
                        "In use: "
                        (count(learnt.odds.len() + learnt.showings.len(), "figure", "figures"))
                        ", taken up on " (a.on) " by " (a.by) ": " (a.because) "."
                    }
                }
                Some(a) => {
                    p.strong {
                        "What was taken up on " (a.on)
                        " counts for nothing: causes, conditions or checks have changed since. It has to be learnt again."
                    }
                }
                None => { p { "In use: the book alone." } }
            }
            @if lesson.used() > 0 {
                p {
                    (count(lesson.used(), "figure foretells", "figures foretell"))
                    " these jobs better than the book. The owner takes them up on the shop's computer with "
                    code { "witnessmark learn adopt" }
                    " and takes them back with "
                    code { "witnessmark learn undo" }
                    "."
                }
            }
            @if lesson.odds.is_empty() {
                p { "Nobody has told yet what a part turned out to be. It is asked for on the Prove page of every job." }
            }
            @for one in odd.into_iter().chain(plain) { (odds(one)) }
            @if !lesson.showings.is_empty() {
                @let (few, enough): (Vec<&ShowingLesson>, Vec<&ShowingLesson>) =
                    lesson.showings.iter().partition(|s| s.standing == Standing::TooFew);
                section.sheet {
                    h2 { "How checks showed it" }
                    @if enough.is_empty() {
                        p.quiet { "No check has been held against what was told in five jobs yet." }
                    }
                    ul.rows {
                        @for one in &enough { (showing(one)) }
                    }
                    @if !few.is_empty() {
                        details.fold {
                            summary { (count(few.len(), "check that few jobs told of", "checks that few jobs told of")) }
                            ul.rows {
                                @for one in &few { (showing(one)) }
                            }
                        }
                    }
                }
            }
            p {
                a.button href="/sources" { "Where the figures of the book come from" }
            }
            @if !lesson.left_out.is_empty() {
                p.quiet {
                    (count(lesson.left_out.len(), "job is", "jobs are"))
                    " not counted: open, with nothing told of their parts."
                }
            }
        }
    };
    shell("What our own jobs say", who, &body)
}

fn odds(one: &OddsLesson) -> Markup {
    let at = |list: &[f64], place: usize| per_cent(list.get(place).copied().unwrap_or(0.0));
    html! {
        section.sheet data-odds=(one.of) {
            h2 {
                (one.name)
                @if let Some(scope) = one.scope {
                    span.quiet { ", " (words(scope.word())) }
                }
            }
            table.figures {
                thead {
                    tr {
                        th scope="col" { "Turned out" }
                        th scope="col" { "Told" }
                        th scope="col" { "Book" }
                        th scope="col" { "Our jobs" }
                    }
                }
                tbody {
                    @for (place, state) in one.states.iter().enumerate() {
                        tr {
                            th scope="row" { (words(state)) }
                            td { (jobs(one.told.get(place).copied().unwrap_or(0.0))) }
                            td { (at(&one.book, place)) }
                            td { (at(&one.learnt, place)) }
                        }
                    }
                }
            }
            p class=(if one.standing == Standing::Used { "strong" } else { "quiet" }) {
                (crate::words::sentence(one.standing.words())) "."
                @if one.odd < workup::learning::ODD { " The count is odd under the book." }
            }
        }
    }
}

/// A number of jobs; a job with several places counts in parts.
fn jobs(n: f64) -> String {
    let text = format!("{n:.1}");
    text.strip_suffix(".0").map_or(text.clone(), str::to_owned)
}

fn showing(one: &ShowingLesson) -> Markup {
    html! {
        li data-showing=(one.check) {
            p {
                b { (one.check_name) }
                ", " (words(&one.reading)) ": "
                (one.name) " " (words(&one.state)) ", showed it in "
                b { (one.showed) " of " (one.told) }
                "; book " (per_cent(one.book)) ", our jobs " (per_cent(one.learnt)) "."
            }
            p class=(if one.standing == Standing::Differs { "strong" } else { "quiet" }) {
                @if one.standing == Standing::Used && one.row.is_empty() {
                    "A figure: shown, not used."
                } @else {
                    (crate::words::sentence(one.standing.words())) "."
                }
            }
        }
    }
}
