//! Who: the technician before he trusts a gauge, and whoever finds one off. Moment: any.
//! Why so: what is doubted stands first, then what ran out, since these cost readings; each gauge says what it is fit for and
//! which open jobs lean on it, and its forms stand with it. What is said here is said in every open job that has the gauge.

use std::sync::Arc;

use logbook::{JobState, Kind};
use maud::{Markup, html};
use workup::gauges::{GaugeLine, register};

use super::{View, shell};
use crate::desk::{Bench, Job};
use crate::surroundings;
use crate::words::{count, sentence, when};

/// The register.
pub(crate) fn page(bench: &Bench, jobs: &[Arc<Job>], who: &str) -> Markup {
    let states: Vec<&JobState> = jobs.iter().map(|job| &job.state).collect();
    let lines = register(&states, bench.knowledge(), surroundings::today());
    let body = html! {
        main id="main" {
            h1 { "Gauges" }
            p.quiet {
                "A gauge found off turns every reading by it in every open job into \"measure again\". A gauge is the same one "
                "in two jobs when its mark and its kind are the same."
            }
            @if lines.is_empty() {
                p { "No gauge is named in any job. Lay one ready on the Test page of a job." }
            }
            div.gauges {
                @for line in &lines { (gauge(bench, jobs, who, line)) }
            }
        }
    };
    shell("Gauges", who, &body)
}

fn gauge(bench: &Bench, jobs: &[Arc<Job>], who: &str, g: &GaugeLine) -> Markup {
    // Any open job that has the gauge takes the entry; the bench carries it to the others.
    let job = g.jobs.first().and_then(|leaning| jobs.iter().find(|j| j.id == leaning.job));
    let view = job.map(|job| View::of(bench, job, who, "/gauges"));
    html! {
        section.sheet.gauge data-gauge=(g.label) {
            h2 {
                (g.label)
                span.quiet { " " (g.name) }
            }
            @if let (Some(since), Some(why)) = (g.doubted_since, &g.doubted_why) {
                p.strong { "Doubted since " (when(since)) ": " (why) "." }
            }
            @for against in &g.against {
                p.gaugeword { (sentence(against)) "." }
            }
            dl.withheld {
                dt { "Zero last checked" }
                dd {
                    @match g.zero_checked {
                        Some(at) => (when(at)),
                        None => "not told",
                    }
                    @if !g.check_before_use.is_empty() {
                        span.quiet { " · before use: " (g.check_before_use) }
                    }
                }
                dt { "Calibrated" }
                dd {
                    @match g.calibrated {
                        Some(day) => (day),
                        None => "not told",
                    }
                    @if let Some(until) = g.calibrated_until { ", holds until " (until) }
                }
                @for (heading, list) in [
                    ("Decides", &g.fit_for),
                    ("With a guard band or several readings", &g.with_care),
                    ("Not for", &g.not_fit_for),
                ] {
                    @if !list.is_empty() {
                        dt { (heading) }
                        dd { (list.join("; ")) }
                    }
                }
                dt { "Open jobs that have it" }
                dd {
                    @if g.jobs.is_empty() { "none" }
                    @for (n, leaning) in g.jobs.iter().enumerate() {
                        @if n > 0 { "; " }
                        a href=(format!("/jobs/{}/test", leaning.job)) { (leaning.title) }
                        " (" (count(leaning.readings, "reading", "readings")) ")"
                    }
                }
            }
            @if let Some(view) = &view {
                @let label = ("label", g.label.clone());
                @let kind = ("gauge", g.kind.clone().unwrap_or_default());
                @if g.kind.is_some() {
                    (view.form(Kind::GaugeDescribed, "Zero checked, or calibrated", &[label.clone(), kind]))
                }
                @if g.doubted_since.is_none() {
                    (view.form(Kind::GaugeDoubted, "It is found off", std::slice::from_ref(&label)))
                } @else {
                    (view.form(Kind::GaugeCleared, "It was found good", std::slice::from_ref(&label)))
                }
            }
        }
    }
}
