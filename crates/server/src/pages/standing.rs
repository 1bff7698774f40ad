//! Who: whoever set something going that must stand, and went on to other work; and whoever comes by. Moments: all, and the wall.
//! Why so: one line a thing, on every page of its job under the title, so that it is met wherever one works; when it is ready
//! the line changes its side and leads to the field. The times are those of the record, so they outlast a restart.

use anatomy::Position;
use jiff::Timestamp;
use knowledge::Check;
use logbook::{Kind, Phase};
use maud::{Markup, html};
use workup::curing::{self, Clock};
use workup::timed::{self, Timed};

use super::View;
use crate::desk::{Bench, Job};
use crate::surroundings;
use crate::words::{sentence, when};

/// How much is left, or that it is ready, in words.
fn left(t: &Timed<'_>, now: Timestamp) -> String {
    // Up to the next whole minute: it is never called ready before it is.
    let minutes = |until: Timestamp| (until.duration_since(now).as_secs() + 59).div_euclid(60);
    let to_go = minutes(t.ready);
    if to_go > 0 {
        return format!("{} left", span(to_go));
    }
    if t.latest.is_some_and(|latest| latest <= now) {
        return "too long by now: it says less than it would have; read it all the same, or set it going anew"
            .to_owned();
    }
    "ready: read it now".to_owned()
}

fn span(minutes: i64) -> String {
    match (minutes / 60, minutes % 60) {
        (0, 1) => "1 minute".to_owned(),
        (0, m) => format!("{m} minutes"),
        (h, 0) => format!("{h} h"),
        (h, m) => format!("{h} h {m} min"),
    }
}

/// One thing that stands, with its field as the way on.
fn line(job: &Job, t: &Timed<'_>, now: Timestamp) -> Markup {
    let place = job.state.layout.as_ref().map_or_else(|| t.position.address(), |layout| layout.label(&t.position));
    let phase = if t.phase == Phase::AsFound { String::new() } else { format!("&phase={}", t.phase.word()) };
    let field = format!("/jobs/{}/enter?check={}&position={}{phase}", job.id, t.check.id, t.position.address());
    html! {
        p   .timed
            .ready[t.ready <= now]
            data-ready-at=(t.ready.as_millisecond())
            data-latest=[t.latest.map(Timestamp::as_millisecond)]
        {
            a href=(field) { (t.check.name) ", " (place) }
            " "
            b data-left="" { (left(t, now)) }
            span.since {
                " since "
                time datetime=(t.since) { (when(t.since)) }
                ", ready at "
                time datetime=(t.ready) { (when(t.ready)) }
                @if let Some(latest) = t.latest {
                    ", at the latest "
                    time datetime=(latest) { (when(latest)) }
                }
                ", set going by "
                (t.by)
            }
        }
    }
}

/// What stands on a job; an empty place where nothing does, which a page fills by itself.
pub(crate) fn strip(bench: &Bench, job: &Job) -> Markup {
    let now = surroundings::now();
    html! {
        div.standing-now data-standing="" {
            @for t in timed::standing(&job.state, bench.knowledge()) { (line(job, &t, now)) }
            @for c in curing::clocks(&job.state, bench.knowledge()).iter().filter(|c| c.runs(now)) { (cures(job, c, now)) }
        }
    }
}

/// One thing that cures, with its stage of the build as the way on; nothing is read when it is over, so it just goes.
fn cures(job: &Job, clock: &Clock<'_>, now: Timestamp) -> Markup {
    let minutes = (clock.until.duration_since(now).as_secs() + 59).div_euclid(60);
    let holds = clock.wait.holds_up.as_deref().unwrap_or("the next step");
    html! {
        p.timed data-ready-at=(clock.until.as_millisecond()) data-over="over, unless the tube says more" {
            a href=(format!("/jobs/{}/build#stage-{}", job.id, clock.stage.id)) { (sentence(&clock.wait.what)) }
            " "
            b data-left="" { (span(minutes)) " left" }
            span.since {
                " since "
                time datetime=(clock.step.made_at) { (when(clock.step.made_at)) }
                ", no "
                (holds)
                " before "
                time datetime=(clock.until) { (when(clock.until)) }
                "; the tube decides"
            }
        }
    }
}

/// The way to set a check going, beside its field.
pub(crate) fn start(view: &View, check: &Check, position: &Position, phase: Phase) -> Markup {
    let Some(stands) = &check.stands else { return html! {} };
    let all = timed::standing(view.state(), view.knowledge());
    let under_way = all.iter().any(|t| t.check.id == check.id && t.position == *position && t.phase == phase);
    let at = position.address();
    let mut fields = vec![("check", check.id.as_str()), ("position", at.as_str())];
    if phase != Phase::AsFound {
        fields.push(("phase", phase.word()));
    }
    html! {
        section.start .on[under_way] {
            p {
                @if under_way { "It stands; how long still is said above. " } @else { (sentence(&stands.begins)) "? " }
                "It is read after "
                (timed::length(stands))
                " ("
                (stands.source)
                ")."
            }
            (view.button(Kind::WaitStarted, &fields, if under_way { "Start the time anew" } else { "Start the time" }))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_left_is_said_in_minutes_then_in_hours() {
        assert_eq!([1, 15, 60, 75, 480].map(span), ["1 minute", "15 minutes", "1 h", "1 h 15 min", "8 h"]);
    }
}
