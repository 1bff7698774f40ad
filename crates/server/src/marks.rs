//! The state marks: six states of a reading between its limit lines, four states of a joint under its painted stripe.
//!
//! Shape and word carry the state, colour only helps; the drawings follow the shop's own sheet of marks.

use documents::pictures::Mark;
use maud::{Markup, PreEscaped, html};
use quantity::Verdict;

/// The state of work on a joint.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Stripe {
    /// Not started.
    NotStarted,
    /// Begun and not done.
    Begun,
    /// Done without proof.
    Hollow,
    /// Done, proof kept.
    Full,
    /// Disturbed since.
    Broken,
}

const LIMITS: &str = "<path d='M3 8.5H45M3 39.2H45' stroke='currentColor' stroke-width='2.9'/>";
const HEXAGON: &str = "<path d='M36.9 29.6 24 37 11.1 29.6V14.7L24 7.3 36.9 14.7ZM3 40.4H45' fill='none' \
                       stroke='currentColor' stroke-width='2.9'/>";

fn svg(class: &str, inside: &str) -> Markup {
    PreEscaped(format!(
        "<svg class='mark {class}' viewBox='0 -6 48 58' width='32' height='38' aria-hidden='true' \
         focusable='false'>{inside}</svg>"
    ))
}

/// The mark of a state with its word beside it.
pub(crate) fn mark(mark: Mark) -> Markup {
    let (class, word, inside) = match mark {
        Mark::None => ("none", "not measured", String::new()),
        Mark::Inside => (
            "inside",
            "inside",
            "<path d='M24 14.2V33.4' stroke='currentColor' stroke-width='3.4'/>\
             <circle cx='24' cy='23.8' r='5.5' fill='currentColor'/>"
                .to_owned(),
        ),
        Mark::ByJudgement => (
            "judge",
            "usable by judgement",
            "<path d='M3 20.5H45' stroke='currentColor' stroke-width='1.6' stroke-dasharray='5 3.5'/>\
             <circle cx='24' cy='14.6' r='4.4' fill='currentColor'/>"
                .to_owned(),
        ),
        Mark::CannotTell => (
            "cannot",
            "this gauge cannot tell",
            "<path d='M24 -2V23.8' stroke='currentColor' stroke-width='3.4'/>\
             <circle class='hole' cx='24' cy='10.9' r='6.7' stroke='currentColor' stroke-width='2.9'/>"
                .to_owned(),
        ),
        Mark::Outside => (
            "outside",
            "outside",
            "<path d='M14.4 -4H33.6V24.8H14.4Z M1 6.1H47V10.9H1Z' fill='currentColor'/>".to_owned(),
        ),
        Mark::Again => (
            "again",
            "measure again",
            "<path d='M17.8 19a6.24 5.76 0 1 1 7.2 5.3v2.9' fill='none' stroke='currentColor' stroke-width='3.6'/>\
             <circle cx='25' cy='33.4' r='2.2' fill='currentColor'/>"
                .to_owned(),
        ),
    };
    html! {
        span class=(format!("state {class}")) {
            (svg(class, &format!("{LIMITS}{inside}")))
            span { (word) }
        }
    }
}

/// The mark of a joint with its word beside it.
pub(crate) fn stripe(stripe: Stripe) -> Markup {
    let (word, inside) = match stripe {
        Stripe::NotStarted => ("not started", ""),
        Stripe::Begun => ("begun", ""),
        Stripe::Hollow => (
            "done without proof",
            "<path class='hole' d='M19.2 5.5H28.8V49.5H19.2Z' stroke='currentColor' stroke-width='2.6'/>",
        ),
        Stripe::Full => ("done, proof kept", "<path d='M19.2 5.5H28.8V49.5H19.2Z' fill='currentColor'/>"),
        Stripe::Broken => {
            ("disturbed since", "<path d='M16.8 7.4H26.4V35.7H16.8Z M36 35.6H45.6V49.5H36Z' fill='currentColor'/>")
        }
    };
    html! {
        span class="state joint" {
            (svg("joint", &format!("{HEXAGON}{inside}")))
            span { (word) }
        }
    }
}

/// The mark of a verdict; a reading by a doubted gauge asks to be measured again whatever it gave.
pub(crate) const fn of_verdict(verdict: Verdict, doubted: bool) -> Mark {
    match (verdict, doubted) {
        (_, true) => Mark::Again,
        (Verdict::Inside, false) => Mark::Inside,
        (Verdict::ByJudgement, false) => Mark::ByJudgement,
        (Verdict::CannotTell, false) => Mark::CannotTell,
        (Verdict::Outside, false) => Mark::Outside,
    }
}

/// How strongly a mark asks to be seen where a place has several readings.
pub(crate) const fn weight(mark: Mark) -> u8 {
    match mark {
        Mark::None => 0,
        Mark::Inside => 1,
        Mark::ByJudgement => 2,
        Mark::CannotTell => 3,
        Mark::Again => 4,
        Mark::Outside => 5,
    }
}
