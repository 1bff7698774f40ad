//! Who: whoever is new, in the first five minutes. Moment: all of them, above the page that the step is done on.
//! Why so: one step stands open with one sentence and one key, since nobody reads six; what is done stays in sight, because it
//! shows how much of a job is behind and how little is left.

use maud::{Markup, html};
use workup::practice::{At, Step, is_practice, steps};

use super::View;

/// The steps of a practice job; nothing on any other.
pub(super) fn strip(view: &View) -> Markup {
    if !is_practice(view.state()) {
        return html! {};
    }
    let steps = steps(view.state());
    let next = steps.iter().position(|s| !s.done);
    let done = steps.iter().filter(|s| s.done).count();
    html! {
        section.sheet.practice aria-label="Practice" {
            h2 { "Practice, step " (next.map_or(steps.len(), |n| n + 1)) " of " (steps.len()) }
            @match next.and_then(|n| steps.get(n)) {
                Some(step) => {
                    p.strong { (step.title) }
                    p { (step.says) }
                    p {
                        a.button href=(link(view, step)) { "Go there" }
                    }
                }
                None => {
                    p {
                        "That was a whole job. A real one begins on the list of jobs with "
                        b { "Open a job" }
                        "; this one can be practised on further."
                    }
                    p {
                        a.button href="/" { "To all jobs" }
                    }
                }
            }
            @if done > 0 && next.is_some() {
                p.quiet {
                    "Done: "
                    ({
                        steps.iter().filter(|s| s.done).map(|s| s.title.trim_end_matches('?').to_lowercase()).collect::<Vec<_>>().join(", ")
                    })
                    "."
                }
            }
        }
    }
}

fn link(view: &View, step: &Step) -> String {
    match step.at {
        At::Moment(moment) => view.link(moment.word()),
        At::Entering { check, reading, position } => {
            view.link(&format!("enter?check={check}&reading={reading}&position={}", position.address()))
        }
    }
}
