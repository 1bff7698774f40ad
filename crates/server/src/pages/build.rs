//! Who: the technician with a wrench, interrupted often. Moment: Build.
//! Why so: stages in the sequence of the work, the one written in last open, so that one comes back to where one
//! stopped; its caution stands above its first step, and a hold point is signed below the steps it closes.

use knowledge::limits::AppliesTo;
use knowledge::workshop::{BuildStage, Hold, Instruction, Signer};
use logbook::{Fact, FigureFor, HoldPointPassedOpen, Kind, Moment, RunKind};
use maud::{Markup, html};
use workup::bags::{self, Bag};
use workup::curing;
use workup::gates::{self, Answer, HoldPoint};
use workup::tightening::{self, HowFar};

use super::View;
use crate::marks::{Stripe, stripe};
use crate::surroundings;
use crate::words::{count, when};

/// The stage that puts oil and coolant in.
const FILLING: &str = "wait";

/// Whether a step was told, or the readings after the work that it takes are there and inside.
fn done(view: &View, stage: &BuildStage, step: usize) -> bool {
    let Some(known) = stage.steps.get(step) else { return false };
    view.state().steps_done.iter().any(|s| curing::is_step(s, stage, step + 1, known))
        || taken(view, &known.reads).is_some_and(|t| t.good)
}

/// The readings after the work of some checks.
fn taken<'v>(view: &'v View, reads: &[String]) -> Option<gates::Taken<'v>> {
    let (case, layout) = view.case.as_ref().zip(view.state().layout.as_ref())?;
    gates::taken(reads, &case.findings, layout, view.knowledge())
}

/// The steps of a stage that this engine has, with their numbers; what was done stays.
fn steps_of<'a>(view: &View, stage: &'a BuildStage) -> Vec<(usize, &'a str)> {
    let here = |(n, step): &(usize, &Instruction)| done(view, stage, *n) || step.belongs(|a| view.was_stated(a));
    stage.steps.iter().enumerate().filter(here).map(|(n, step)| (n, step.words.as_str())).collect()
}

/// The hold points of a stage that this engine has; what was signed or passed stays.
fn holds_of<'a>(view: &View, stage: &'a BuildStage) -> Vec<HoldPoint<'a>> {
    gates::of_stage(view.state(), &view.stated, stage)
}

/// Whether nothing is left to do at a hold point: it is answered, or was read after the work where nothing waits for a name.
fn answered(view: &View, point: &HoldPoint<'_>) -> bool {
    matches!(point.answer, Answer::Signed | Answer::Fitted) || point.by_reading(taken(view, &point.hold.reads).as_ref())
}

/// What the engine's manual says for a hold point, or that it must be looked up there.
fn from_manual(view: &View, hold: &Hold) -> Markup {
    let asked = |item: &String| hold.limits.contains(item) || hold.manual.contains(item);
    let rows: Vec<_> = view.state().sheet.iter().filter(|f| asked(&f.item)).collect();
    html! {
        @for f in &rows {
            p.quiet {
                "Engine's manual: "
                (f.bound.word()) " " (f.text)
                @if let Some(high) = &f.text_high { " to " (high) }
                " " (f.unit) ", meant for " (f.stands_for().word()) " (" (f.document) ", page " (f.page) ")"
            }
        }
        @if !hold.manual.is_empty() && !rows.iter().any(|f| f.stands_for() != FigureFor::Service) {
            p.strong {
                "The figure to build to stands in the engine's manual: look it up and set it down as an engine figure. "
                "There is none to fall back on."
            }
        }
    }
}

fn state_of(view: &View, stage: &BuildStage) -> Stripe {
    let read = |step: &Instruction| taken(view, &step.reads).is_some();
    let any = view.state().steps_done.iter().any(|s| s.stage == stage.id)
        || view.state().holds_signed.iter().any(|h| h.stage == stage.id)
        || stage.steps.iter().any(read);
    let all = steps_of(view, stage).iter().all(|(n, _)| done(view, stage, *n));
    let bags = workup::bags::asked_at(view.state(), view.knowledge(), &stage.id);
    // What is left in a bag is not built in.
    let all = all && !bags.iter().any(|b| b.standing().is_open());
    let proved = holds_of(view, stage).iter().all(|h| answered(view, h));
    match (any, all, proved) {
        (false, _, _) => Stripe::NotStarted,
        (true, false, _) => Stripe::Begun,
        (true, true, false) => Stripe::Hollow,
        (true, true, true) => Stripe::Full,
    }
}

/// How far the bolts of a joint are, as a stripe.
fn bolts_state(view: &View, joint: &str, at: Option<anatomy::Position>) -> Stripe {
    match tightening::how_far(view.state(), joint, at) {
        HowFar::NotStarted => Stripe::NotStarted,
        HowFar::Begun => Stripe::Begun,
        HowFar::Done => Stripe::Hollow,
        HowFar::Proved => Stripe::Full,
        HowFar::Disturbed => Stripe::Broken,
    }
}

/// The page.
pub(crate) fn page(view: &View) -> Markup {
    let told = |name: &str| view.told(name);
    let mut stages: Vec<&BuildStage> = view
        .knowledge()
        .steps
        .iter()
        .map(|s| &s.value)
        .filter(|s| s.applies.iter().all(|a| told(&a.attribute).is_none_or(|v| a.any_of.iter().any(|x| x == v))))
        .collect();
    stages.sort_by_key(|s| s.order);
    // What this work does not reach stands folded below, so that the next stage is the next thing to do.
    let reached = view.case.as_ref().map(|c| &c.reach.stages).filter(|r| !r.is_empty());
    let (stages, others): (Vec<&BuildStage>, Vec<&BuildStage>) =
        stages.into_iter().partition(|s| reached.is_none_or(|r| r.contains(&s.id)));
    let joints = tightening::joints(view.state());
    // One comes back to where one stopped: the stage written in last, or the one after it when that is finished.
    let last = view
        .state()
        .steps_done
        .iter()
        .map(|s| (s.in_entry, &s.stage))
        .chain(view.state().holds_signed.iter().map(|h| (h.in_entry, &h.stage)))
        .max();
    let touched = last.and_then(|(_, stage)| stages.iter().position(|s| s.id == *stage));
    let first = match touched {
        None => Some(0),
        Some(n) if stages.get(n).is_some_and(|s| state_of(view, s) == Stripe::Full) => Some(n + 1),
        Some(n) => Some(n),
    };
    let body = html! {
        @let healed = |h: &&Fact<HoldPointPassedOpen>| {
            view.state().holds_signed.iter().any(|s| s.stage == h.stage && s.hold == h.hold)
        };
        @let passed: Vec<_> = view.state().holds_open.iter().filter(|h| !healed(h)).collect();
        @if !passed.is_empty() {
            section.sheet.stop {
                h2 { "Passed without proof" }
                ul {
                    @for h in &passed {
                        li { (h.hold) ": " (h.reason) " (" (h.by) ")" }
                    }
                }
            }
        }
        @if !joints.is_empty() {
            section.sheet {
                h2 { "Joints" }
                ul.rows {
                    @for (joint, at) in &joints {
                        @let bolts = view.state().bolt_stages(joint, *at);
                        @let how_far = bolts_state(view, joint, *at);
                        li {
                            p {
                                b { (super::bolts::joint_name(view, joint)) }
                                @if let Some(p) = at { ", " (view.place(p)) }
                                (stripe(how_far))
                            }
                            (super::bolts::rosette(view, joint, *at, None))
                            (super::bolts::rows(&bolts))
                            @if view.takes(Kind::BoltTightened) {
                                p {
                                    a.button href=(super::bolts::go_on(view, joint, *at)) {
                                        @if how_far == Stripe::Full { "Another stage, if the manual has one" } @else {
                                            "Go on with it"
                                        }
                                    }
                                }
                            }
                        }
                    }
                }
            }
        }
        (bags_out(view, &stages))
        (before_the_start(view))
        ol.stages-build {
            @for (n, stage) in stages.iter().enumerate() {
                li { (one(view, stage, first == Some(n))) }
            }
        }
        (not_reached(view, &others))
        section.sheet {
            h2 { "Bolts" }
            details.fold id="walk" open[joints.is_empty()] {
                summary { "Tighten bolt by bolt" }
                (super::bolts::begin(view, &super::bolts::Walk::default()))
            }
            (view.form(Kind::BoltsPlaced, "Set down where the bolts of a joint stand", &[]))
            (view.form(Kind::BoltRestarted, "A bolt starts again", &[]))
            (view.form(Kind::JointDisturbed, "A finished joint was disturbed", &[]))
        }
        (view.form(Kind::PartFitted, "A part was fitted", &[]))
        (view.form(Kind::NoteWritten, "Write a note", &[]))
        (view.photo_form(None))
        (view.all_cautions())
        @let stated = |name: &str| view.was_stated(name);
        @let all = view.knowledge().keeps.iter();
        @let keeps = all.filter(|k| !AppliesTo::spoken_against(&k.applies, stated)).collect::<Vec<_>>();
        details.fold {
            summary { "What keeps its place" }
            ul {
                @for k in &keeps {
                    li {
                        b { (k.part) }
                        ": "
                        (k.words)
                    }
                }
            }
        }
        (view.written("Written down here", super::of_moments(&[Moment::Build])))
    };
    view.page(Moment::Build, &body, None)
}

/// The bags that are out, and those among them that no stage listed below asks back, with their keys.
fn bags_out(view: &View, stages: &[&BuildStage]) -> Markup {
    let open = bags::open(view.state());
    let listed = |bag: &Bag<'_>| {
        let asked = bags::stages_of(bag, view.state(), view.knowledge());
        asked.iter().any(|s| stages.iter().any(|here| here.id == s.id))
    };
    let elsewhere: Vec<&Bag<'_>> = open.iter().filter(|bag| !listed(bag)).collect();
    html! {
        @if !open.is_empty() {
            details.fold.sheet id="bags-out" open[elsewhere.len() == open.len()] {
                summary { (count(open.len(), "bag is", "bags are")) " out" }
                p { (bags::named(&open)) }
                p {
                    a.button.plain href=(view.link("bags")) { "All bags" }
                }
                @if !elsewhere.is_empty() {
                    p.quiet { "No stage of this work asks for these:" }
                    ul.tray {
                        @for bag in &elsewhere { (super::bags::cell(view, bag, super::bags::At::Build)) }
                    }
                }
            }
        }
    }
}

/// The hold points that the first start waits for, before it.
fn before_the_start(view: &View) -> Markup {
    let state = view.state();
    let started = state.runs.iter().any(|r| r.run == RunKind::FirstStart);
    let begun = !(state.steps_done.is_empty() && state.holds_signed.is_empty() && state.bolts.is_empty());
    let open = gates::before_the_start(state, view.knowledge());
    html! {
        @if begun && !started && !open.is_empty() {
            details.fold.sheet id="before-start" {
                summary {
                    "Before the first start: " (count(open.len(), "hold point open", "hold points open"))
                }
                ul {
                    @for point in &open {
                        li { (point.name()) }
                    }
                }
                p.quiet {
                    "Each is signed with what was measured, passed with a reason and a name, or its stage is said not to \
                     be touched."
                }
            }
        }
    }
}

/// The stages that this work does not reach, and those that somebody said are not touched.
fn not_reached(view: &View, stages: &[&BuildStage]) -> Markup {
    html! {
        @if !stages.is_empty() {
            details.fold.sheet id="not-reached" {
                summary { (count(stages.len(), "stage", "stages")) " that this work does not reach" }
                @for stage in stages {
                    @if let Some(told) = view.state().stages_left_out.iter().rfind(|l| l.stage == stage.id) {
                        p.strong { (stage.title) ": not touched, " (told.reason) " (" (told.by) ")" }
                    }
                }
                ol.stages-build {
                    @for stage in stages {
                        li { (one(view, stage, false)) }
                    }
                }
            }
        }
    }
}

/// What cures: at the stage that put it on while it runs, and at the stage that fills, which waits for it.
fn clocks(view: &View, stage: &BuildStage) -> Markup {
    let now = surroundings::now();
    let all = curing::clocks(view.state(), view.knowledge());
    let here: Vec<_> = all.iter().filter(|c| c.runs(now) && (c.stage.id == stage.id || stage.id == FILLING)).collect();
    html! {
        @for c in &here {
            p.strong data-until=(c.until.to_string()) {
                (c.wait.what) ": on since " (when(c.step.made_at)) " (" (c.step.made_by) "). No "
                (c.wait.holds_up.as_deref().unwrap_or("next step")) " before " (when(c.until))
                " at the earliest; the tube decides."
            }
        }
    }
}

/// The readings after the work that a hold point writes down.
fn read(view: &View, hold: &Hold) -> Markup {
    html! {
        @if let Some(taken) = taken(view, &hold.reads) {
            p {
                "Read after the work: "
                @for (n, f) in taken.last.iter().enumerate() {
                    @if n > 0 { "; " }
                    (f.place) " " b { (f.shown) } " " span.quiet { (f.verdict.words()) }
                }
            }
        }
    }
}

/// The part that answers a hold point.
fn fitted(view: &View, hold: &Hold) -> String {
    let parts = view.state().fitted.iter().filter(|f| hold.fitted.contains(&f.part));
    parts
        .map(|f| format!("{}, {}", super::part_name(view.knowledge(), &f.part), f.made_by))
        .collect::<Vec<_>>()
        .join("; ")
}

fn one(view: &View, stage: &BuildStage, open: bool) -> Markup {
    let cautions = view.cautions_for(&stage.caution_ids);
    let holding = view.holding(&cautions);
    let (steps, holds) = (steps_of(view, stage), holds_of(view, stage));
    let left = steps.iter().filter(|(n, _)| !done(view, stage, *n)).count();
    let bags = bags::asked_at(view.state(), view.knowledge(), &stage.id);
    let out = bags.iter().filter(|b| b.standing().is_open()).count();
    let untouched = !stage.always && state_of(view, stage) == Stripe::NotStarted && stage.after_seeing.is_empty();
    let mind: Vec<_> = stage.warnings.iter().filter(|w| w.belongs(|a| view.was_stated(a))).collect();
    html! {
        details.fold.sheet id=(format!("stage-{}", stage.id)) data-stage=(stage.id) open[open] {
            summary {
                (stage.title)
                " "
                span.standing {
                    (stripe(state_of(view, stage)))
                    span.quiet {
                        " "
                        @if left > 0 { (count(left, "step open", "steps open")) } @else {
                            @let unsigned = holds.iter().filter(|h| !answered(view, h)).count();
                            @if unsigned > 0 { (count(unsigned, "hold point open", "hold points open")) }
                        }
                        @if out > 0 { ", " (count(out, "bag out", "bags out")) }
                    }
                }
            }
            (view.cautions(&cautions))
            @if !mind.is_empty() {
                ul.warnings {
                    @for w in &mind {
                        li { (w.words) }
                    }
                }
            }
            (clocks(view, stage))
            (super::bags::asked_at(view, &stage.id))
            ol.steps {
                @for (n, step) in &steps {
                    @let number = (n + 1).to_string();
                    li value=(number) class=(if done(view, stage, *n) { "done" } else { "" }) {
                        span { (step) }
                        @if done(view, stage, *n) {
                            " "
                            b { "done" }
                        } @else if holding.is_empty() {
                            form.one.step
                                method="post"
                                action=(view.link("tell/build-step-done"))
                                data-once=""
                            {
                                input type="hidden" name="entry" value=(surroundings::new_entry());
                                input type="hidden" name="back" value=(view.here);
                                input type="hidden" name="stage" value=(stage.id);
                                input type="hidden" name="step" value=(number);
                                input type="text" name="note" aria-label="Note on this step" placeholder="note, if any";
                                button type="submit" { "Done" }
                            }
                        }
                    }
                }
            }
            @if untouched && view.case.as_ref().is_some_and(|c| c.reach.stages.contains(&stage.id)) {
                (view.form(Kind::StageLeftOut, "This stage is not touched", &[("stage", stage.id.clone())]))
            }
            @if !holding.is_empty() {
                p.quiet { "Tick the caution, then the steps open." }
            }
            @for point in &holds {
                @let h = point.hold;
                div.holdpoint {
                    p {
                        b { "Hold point: " }
                        (h.record)
                        " "
                        span.quiet {
                            ({
                                match h.sign {
                                    Signer::Technician => "signed by the technician",
                                    Signer::SecondPerson => "a second pair of eyes signs",
                                    Signer::Owner => "the owner signs",
                                }
                            })
                        }
                    }
                    (from_manual(view, h))
                    @if let Some([outer, inner]) = &h.difference {
                        p.quiet { "What is wanted is the difference: " (outer) " less " (inner) "." }
                    }
                    (read(view, h))
                    @for s in {
                        view.state()
                            .holds_signed
                            .iter()
                            .filter(|s| s.stage == stage.id && s.hold == h.record)
                    } {
                        p {
                            b { "Signed " }
                            (s.by)
                            @if let Some(second) = &s.second { " and " (second) }
                            @if let Some(v) = &gates::value_of(s) { ", " (v.text) " " (v.unit) }
                            @if let Some((outer, inner)) = s.outer.as_ref().zip(s.inner.as_ref()) {
                                " (" (outer.text) " less " (inner.text) " " (inner.unit) ")"
                            }
                            @if let Some(at) = &s.position { ", " (view.place(at)) }
                        }
                    }
                    @if !point.open_at.is_empty() {
                        p {
                            b { "Still open: " }
                            (point.open_at.join(", "))
                            ". "
                            span.quiet {
                                "Sign each place, or sign once without a place for all that this work touches."
                            }
                        }
                    }
                    @if point.answer == Answer::Fitted {
                        p { b { "Answered" } " by a new part: " (fitted(view, h)) }
                    }
                    @for o in {
                        view.state()
                            .holds_open
                            .iter()
                            .filter(|o| point.answer == Answer::PassedOpen && o.stage == stage.id && o.hold == h.record)
                    } {
                        p.strong { "Passed without proof by " (o.by) ": " (o.reason) }
                    }
                    // What was read may still be signed by name.
                    @if !matches!(point.answer, Answer::Signed | Answer::Fitted) && holding.is_empty() {
                        ({
                            let mut filled = vec![("stage", stage.id.clone()), ("hold", h.record.clone())];
                            filled.extend(point.next_at.map(|at| ("position", at.to_string())));
                            view.form(Kind::HoldPointSigned, "Sign it", &filled)
                        })
                        @if point.answer == Answer::Open && !answered(view, point) {
                            ({
                                view.form(
                                    Kind::HoldPointPassedOpen,
                                    "Pass it without proof, with a reason and a name",
                                    &[("stage", stage.id.clone()), ("hold", h.record.clone())],
                                )
                            })
                        }
                    }
                }
            }
        }
    }
}
