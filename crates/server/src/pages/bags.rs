//! Who: the technician with small parts in one hand, at the strip; later whoever builds. Moment: Strip.
//! Why so: one cell a bag in the sequence of the strip, the last first, for what came off last goes on first; the number is
//! largest in it, because it is all that a bag says of itself. The next free number stands ready above them.

use anatomy::Position;
use knowledge::limits::AppliesTo;
use logbook::{BagEnd, Kind, Moment};
use maud::{Markup, html};
use workup::bags::{self, Bag, Standing};

use super::View;
use crate::door::escaped;
use crate::forms::{self, Ask, Typed};
use crate::surroundings;
use crate::words::{count, sentence, when};

/// Where a bag is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum At<'a> {
    /// On the board: what the build wants of it is folded.
    Board,
    /// Under Build, where no stage asks for it.
    Build,
    /// At the stage that asks for it.
    Stage(&'a str),
}

/// Marks up to this many letters are set large \[ours\].
const SHORT: usize = 4;

/// The joint that a bag is filled from, as an address says it.
pub(crate) fn asked_joint(view: &View, asked: &Typed) -> Option<String> {
    let joint = asked.get("joint")?.trim();
    view.knowledge().joints.iter().find(|j| j.id == joint).map(|j| j.id.clone())
}

/// The address of the board, with the joint that a bag is filled from.
pub(crate) fn address(job: &str, joint: Option<&str>) -> String {
    let joint = joint.map(|j| format!("?joint={}", escaped(j))).unwrap_or_default();
    format!("/jobs/{job}/bags{joint}")
}

/// The page.
pub(crate) fn page(view: &View, joint: Option<&str>) -> Markup {
    let mut all = bags::all(view.state());
    all.reverse();
    let (open, emptied): (Vec<&Bag<'_>>, Vec<&Bag<'_>>) = all.iter().partition(|b| b.standing().is_open());
    let body = html! {
        (fill(view, joint))
        section id="out" {
            h2.thin { "Out: " (count(open.len(), "bag", "bags")) }
            @if open.is_empty() {
                p.quiet {
                    @if all.is_empty() { "Nothing is bagged yet." } @else { "Every bag is emptied." }
                }
            }
            ul.tray {
                @for bag in &open { (cell(view, bag, At::Board)) }
            }
        }
        @if !emptied.is_empty() {
            details.fold id="emptied" open[open.is_empty()] {
                summary { "Emptied: " (count(emptied.len(), "bag", "bags")) }
                ul.tray {
                    @for bag in &emptied { (cell(view, bag, At::Board)) }
                }
            }
        }
        @if !all.is_empty() {
            p {
                a.button.plain href=(view.link("papers/labels.pdf?size=a4")) { "Labels to cut out, A4" }
                a.button.plain href=(view.link("papers/labels.pdf?size=letter")) { "Letter" }
            }
        }
        p {
            a.button.plain href=(view.link("strip")) { "Back to Strip" }
            a.button.plain href=(view.link("build")) { "To Build" }
        }
        ({
            view.written("Written down of bags", |kind| matches!(kind, Kind::PartBagged | Kind::BagEmptied))
        })
    };
    view.page(Moment::Strip, &body, None)
}

/// Where the bolts of a joint were set down, the last time somebody did.
fn placed_at(view: &View, joint: &str) -> Option<Option<Position>> {
    view.state().bolts_placed.iter().rfind(|p| p.joint == joint).map(|p| p.position)
}

/// The form that fills a bag, with the joints of this engine to tap before it.
fn fill(view: &View, joint: Option<&str>) -> Markup {
    if !view.takes(Kind::PartBagged) {
        return html! {};
    }
    let (state, known) = (view.state(), view.knowledge());
    let mut fields = forms::fields(Kind::PartBagged, state, known);
    let mut given: Vec<(&'static str, String)> = Vec::new();
    let bolts = joint.and_then(|j| workup::tightening::pattern(state, j, placed_at(view, j)?));
    let said = |name: &str| view.was_stated(name);
    let mut words: Vec<String> =
        known.keeps.iter().filter(|k| !AppliesTo::spoken_against(&k.applies, said)).map(|k| k.part.clone()).collect();
    if let Some(joint) = joint {
        given.push(("joint", joint.to_owned()));
        let parts = known.joints.iter().filter(|j| j.id == joint).flat_map(|j| &j.parts);
        words.extend(parts.map(|p| p.name.clone()));
    }
    fields.retain(|f| f.name != "from_bolts" || bolts.is_some());
    for field in &mut fields {
        match (&*field.name, joint) {
            ("part", _) => field.ask = Ask::Suggest(words.clone()),
            ("joint", Some(joint)) => field.ask = Ask::Fixed(joint.to_owned()),
            ("from_bolts", Some(_)) => {
                field.ask = Ask::Ticks(bolts.iter().flat_map(|p| &p.bolts).map(|b| b.number).collect());
                field.rare = false;
            }
            _ => {}
        }
    }
    html! {
        section.sheet {
            h2 {
                "Fill a bag"
                @if let Some(joint) = joint { ": " (super::bolts::joint_name(view, joint)) }
            }
            details.fold {
                summary { @if joint.is_some() { "From another joint" } @else { "From which joint" } }
                nav.chips aria-label="Joints" {
                    @for (id, name) in joints(view) {
                        a   href=(address(&view.job.id.to_string(), Some(id)))
                            aria-current=[(joint == Some(id)).then_some("true")]
                        { (name) }
                    }
                    @if joint.is_some() {
                        a href=(view.link("bags")) { "From none" }
                    }
                }
            }
            @if let Some(joint) = joint {
                (super::bolts::rosette(view, joint, placed_at(view, joint).flatten(), None))
            }
            (view.form_of(Kind::PartBagged, &given, fields, "It is in the bag"))
        }
    }
}

/// The joints of this engine, in the sequence of the strip: what is built last comes off first.
fn joints(view: &View) -> Vec<(&str, &str)> {
    let said = |name: &str| view.told(name);
    let stages = view.knowledge().steps.iter().map(|s| &s.value);
    let mut stages: Vec<_> = stages.filter(|s| !AppliesTo::spoken_against(&s.applies, said)).collect();
    stages.sort_by_key(|s| std::cmp::Reverse(s.order));
    let made = stages.into_iter().flat_map(|s| &s.makes);
    made.filter_map(|id| view.knowledge().joints.iter().find(|j| j.id == *id))
        .map(|j| (j.id.as_str(), j.name.as_str()))
        .collect()
}

/// How a bag stands: a shape and a word.
fn standing(bag: &Bag<'_>) -> Markup {
    let (class, sign) = match bag.standing() {
        Standing::Out => ("out", "○"),
        Standing::SomethingWrong => ("wanting", "!"),
        Standing::BackIn => ("in", "✓"),
        Standing::NotUsed => ("unused", "–"),
    };
    html! {
        p class=(format!("bagstate {class}")) {
            span aria-hidden="true" { (sign) }
            " "
            b { (sentence(bag.standing().words())) }
            @if let Some(end) = bag.end {
                @if let Some(words) = &end.words { ": " (words) }
                span.quiet { " " (when(end.made_at)) " · " (end.made_by) }
            }
        }
    }
}

/// One bag with all that is known of it, and its keys while the build waits for it.
pub(crate) fn cell(view: &View, bag: &Bag<'_>, at: At<'_>) -> Markup {
    let open = bag.standing().is_open();
    let stages = bags::stages_of(bag, view.state(), view.knowledge());
    html! {
        li.cell data-bag=(bag.mark) data-open=(if open { "yes" } else { "no" }) {
            p.mark {
                span.unseen { "Bag " }
                span class=(if bag.mark.chars().count() > SHORT { "long" } else { "short" }) { (bag.mark) }
            }
            div {
                @for part in &bag.parts {
                    @let from = bags::came_from(part, view.state(), view.knowledge());
                    p {
                        b { (workup::words::words(&part.part)) }
                        @if let Some(n) = part.count { " · " (count(usize::try_from(n).unwrap_or_default(), "piece", "pieces")) }
                        @if let Some(marks) = &part.marks { " · marks: " (marks) }
                    }
                    @if !from.is_empty() {
                        p.quiet { "From: " (from) }
                    }
                    @if let Some(keeps) = bags::keeps_place(part, view.knowledge()) {
                        p.keeps { (sentence(&keeps)) }
                    }
                }
                @if at == At::Board && open {
                    p.quiet {
                        @if stages.is_empty() { "No stage of the build asks for it; say it here when it is back in." } @else {
                            "Goes back in at "
                            @for (n, s) in stages.iter().enumerate() {
                                @if n > 0 { ", " }
                                a href=(view.link(&format!("build#stage-{}", s.id))) { (s.title) }
                            }
                        }
                    }
                }
                (standing(bag))
                (pictures(bag))
                @if open { (keys(view, bag, at)) }
                @else if at == At::Board {
                    @if let Some(end) = bag.end {
                        (view.take_back(&end.in_entry.to_string(), "It is not: take that back"))
                    }
                }
            }
        }
    }
}

fn pictures(bag: &Bag<'_>) -> Markup {
    html! {
        @if !bag.photos.is_empty() {
            ul.photos {
                @for p in &bag.photos {
                    li {
                        a href=(format!("/attachments/{}", p.sha256)) {
                            img src=(format!("/attachments/{}/small", p.sha256)) alt=(p.caption) loading="lazy";
                        }
                        span {
                            (p.caption)
                            @if p.drawn { " (drawn, no photograph)" }
                        }
                    }
                }
            }
        }
    }
}

/// What is tapped when a bag is asked back, and the camera.
fn keys(view: &View, bag: &Bag<'_>, at: At<'_>) -> Markup {
    let mark = bag.mark.to_owned();
    let stage = if let At::Stage(stage) = at { Some(stage) } else { None };
    let with = |how: BagEnd| {
        let mut given = vec![("bag", mark.clone()), ("how", how.word().to_owned())];
        given.extend(stage.map(|s| ("stage", s.to_owned())));
        given
    };
    let back = with(BagEnd::BackIn);
    let back: Vec<(&str, &str)> = back.iter().map(|(name, value)| (*name, value.as_str())).collect();
    let (wrong, unused) = (with(BagEnd::SomethingWrong), with(BagEnd::NotUsed));
    let returned = [&wrong, &unused].iter().any(|given| view.came_back(Kind::BagEmptied, given).is_some());
    let said = |heading: &str, given: &[(&'static str, String)], label: &'static str| {
        let mut fields: Vec<forms::Field> =
            given.iter().map(|(name, value)| forms::need(*name, "", Ask::Fixed(value.clone()))).collect();
        fields.push(forms::need("words", label, Ask::Line));
        html! {
            @if view.takes(Kind::BagEmptied) {
                details.fold open[view.came_back(Kind::BagEmptied, given).is_some()] {
                    summary { (heading) }
                    (view.form_of(Kind::BagEmptied, given, fields, "Keep it"))
                }
            }
        }
    };
    let asked = html! {
        div.bagkeys { (view.button(Kind::BagEmptied, &back, "Back in")) }
        (said("Something is missing or damaged", &wrong, "What is missing or damaged"))
        (said("Not used again", &unused, "What went in instead, and where this goes"))
    };
    html! {
        @if at == At::Board {
            (camera(view, bag))
            @if view.takes(Kind::BagEmptied) {
                details.fold open[returned] {
                    summary { "It is asked back" }
                    (asked)
                }
            }
        } @else { (asked) }
    }
}

/// A photo of what lies in a bag, pinned to where it came from.
fn camera(view: &View, bag: &Bag<'_>) -> Markup {
    let entry = surroundings::new_entry();
    let position = bag.parts.iter().rev().find_map(|p| p.position);
    let (file, caption) = (format!("photo-{entry}"), format!("caption-{entry}"));
    html! {
        details.fold {
            summary { "Photo of it" }
            form.ask method="post" action=(view.link("photos")) enctype="multipart/form-data" data-once="" {
                input type="hidden" name="entry" value=(entry);
                input type="hidden" name="back" value=(view.here);
                input type="hidden" name="bag" value=(bag.mark);
                @if let Some(at) = position { input type="hidden" name="position" value=(at.address()); }
                div.field {
                    label for=(file) { "Photo (JPEG, PNG or WebP, up to 12 MB)" }
                    input
                        type="file"
                        id=(file)
                        name="photo"
                        accept="image/jpeg,image/png,image/webp"
                        capture="environment"
                        required;
                }
                div.field {
                    label for=(caption) { "What it shows" }
                    input type="text" id=(caption) name="caption" value=(format!("Bag {}: {}", bag.mark, bag.holds())) required;
                }
                button type="submit" { "Keep the photo" }
            }
        }
    }
}

/// The bags that a stage of the build asks back; those emptied there stand below in one line.
pub(crate) fn asked_at(view: &View, stage: &str) -> Markup {
    let all = bags::asked_at(view.state(), view.knowledge(), stage);
    let (open, emptied): (Vec<&Bag<'_>>, Vec<&Bag<'_>>) = all.iter().partition(|b| b.standing().is_open());
    html! {
        @if !all.is_empty() {
            div.bagsback data-bags=(open.len()) {
                @if !open.is_empty() {
                    h4 { "Bags for this stage" }
                    ul.tray {
                        @for bag in open.iter().rev() { (cell(view, bag, At::Stage(stage))) }
                    }
                }
                @for bag in &emptied {
                    div.emptied {
                        p { "Bag " b { (bag.mark) } ", " (bag.holds()) }
                        (standing(bag))
                    }
                }
            }
        }
    }
}

/// Bags that are still out, in one line that leads to the board; nothing where none is.
pub(crate) fn still_out(view: &View) -> Markup {
    let open = bags::open(view.state());
    html! {
        @if !open.is_empty() {
            section.sheet.bagsout data-bags=(open.len()) {
                h2 { (count(open.len(), "bag", "bags")) " not emptied" }
                p { (bags::named(&open)) }
                p {
                    a.button href=(view.link("bags")) { "To the bags" }
                }
            }
        }
    }
}
