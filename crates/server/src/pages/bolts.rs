//! Who: the technician with the wrench on the bolt, called away in the middle of it. Moment: Build.
//! Why so: torque, wrench and stage are said once, then one broad key a bolt; the page always stands at the bolt that is
//! next by the record, so that after a call or a dead battery one goes on at the right one and none is done twice.

use std::collections::BTreeMap;

use anatomy::Position;
use logbook::{BoltTightened, Kind, Moment};
use maud::{Markup, PreEscaped, html};
use quantity::Unit;
use workup::entering::figure;
use workup::tightening::pattern;

use super::View;
use crate::door::escaped;
use crate::forms::{self, Form, Typed};
use crate::surroundings;
use crate::trouble::FieldTrouble;
use crate::words::words;

/// What is the same for every bolt of a walk.
const SAID: [&str; 8] = ["joint", "position", "stage", "torque", "angle", "label", "age", "striped"];

/// More stages than any joint is tightened in \[ours\].
const MOST_STAGES: u16 = 20;

/// A walk over the bolts of one joint in one stage, as its address says it.
#[derive(Debug, Clone, Default)]
pub(crate) struct Walk(Typed);

impl Walk {
    /// Reads a walk out of an address.
    pub(crate) fn of(asked: &Typed) -> Walk {
        let said = |name: &&str| asked.get(*name).map(|v| v.trim()).filter(|v| !v.is_empty());
        Walk(SAID.iter().filter_map(|name| said(name).map(|v| ((*name).to_owned(), v.to_owned()))).collect())
    }

    /// The address that leads back to it.
    pub(crate) fn address(&self, job: &str) -> String {
        let asked: Vec<String> = self.0.iter().map(|(k, v)| format!("{k}={}", escaped(v))).collect();
        format!("/jobs/{job}/bolts?{}", asked.join("&"))
    }

    fn said(&self, name: &str) -> &str {
        self.0.get(name).map_or("", String::as_str)
    }

    fn position(&self) -> Option<Position> {
        self.said("position").parse().ok()
    }

    fn stage(&self) -> u16 {
        self.said("stage").parse().unwrap_or(0)
    }

    fn at_stage(&self, stage: u16) -> Walk {
        let mut said = self.0.clone();
        said.insert("stage".to_owned(), stage.to_string());
        Walk(said)
    }

    /// What is said wrongly or not at all.
    fn wrong(&self, view: &View) -> Vec<FieldTrouble> {
        let mut out = Vec::new();
        if view.knowledge().joints.iter().all(|j| j.id != self.said("joint")) {
            out.push(FieldTrouble::new("joint", "say which joint it is"));
        }
        if !(1..=MOST_STAGES).contains(&self.stage()) {
            let why = format!("say which stage, counted from 1 and at most {MOST_STAGES}");
            out.push(FieldTrouble::new("stage", why));
        }
        if let (false, Some(layout)) = (self.said("position").is_empty(), &view.state().layout) {
            let there = self.said("position").parse::<Position>().map_err(|e| e.to_string());
            if let Err(why) = there.and_then(|p| layout.ensure(&p).map_err(|e| e.to_string())) {
                out.push(FieldTrouble::new("position", why));
            }
        }
        for (name, unit) in [("torque", "N·m"), ("angle", "°")] {
            let text = self.said(name);
            if let (false, Err(why)) = (text.is_empty(), figure(name, text, Unit::from_symbol(unit).ok())) {
                out.push(FieldTrouble::new(name, why));
            }
        }
        if self.said("torque").is_empty() && self.said("angle").is_empty() {
            out.push(FieldTrouble::new(
                "torque",
                "say the torque or the angle of this stage, as the engine's manual has it",
            ));
        }
        out
    }
}

/// The name of a joint.
pub(crate) fn joint_name(view: &View, joint: &str) -> String {
    let found = view.knowledge().joints.iter().find(|j| j.id == joint);
    found.map_or_else(|| words(joint), |j| j.name.clone())
}

fn of_joint<'v>(view: &'v View, joint: &str, at: Option<Position>) -> impl Iterator<Item = &'v BoltTightened> {
    view.state().bolts.iter().map(|b| &b.body).filter(move |b| b.joint == joint && b.position == at)
}

/// How many bolts the joint has: as many as were set down, else as far as anybody has touched them.
fn last_bolt(view: &View, joint: &str, at: Option<Position>) -> u16 {
    let touched = of_joint(view, joint, at).map(|b| b.bolt).max().unwrap_or(0);
    let placed = pattern(view.state(), joint, at).and_then(|p| u16::try_from(p.bolts.len()).ok());
    touched.max(placed.unwrap_or(0))
}

/// The bolts where they stand, with the next one marked; nothing where nobody has set them down.
pub(crate) fn rosette(view: &View, joint: &str, at: Option<Position>, next: Option<u16>) -> Markup {
    let Some(pattern) = pattern(view.state(), joint, at) else { return html! {} };
    let wet: Vec<String> = pattern.wet().iter().map(u16::to_string).collect();
    html! {
        figure.picture.whole {
            (PreEscaped(documents::pictures::bolt_rosette(&pattern, &joint_name(view, joint), next)))
        }
        p.quiet { (pattern.whose.words()) }
        @if !wet.is_empty() {
            p { b { "Wet holes: " } "bolts " (wet.join(", ")) ", with the sealer that the manual names." }
        }
        @if let Some(threads) = &pattern.threads {
            p { b { "Threads: " } (threads) }
        }
    }
}

/// The stage in which the next bolt stands.
fn stage_next(bolts: &BTreeMap<u16, u16>, last: u16) -> u16 {
    let stages = (1..=last).map(|bolt| bolts.get(&bolt).copied().unwrap_or(0));
    match (stages.clone().min(), stages.max()) {
        (Some(low), Some(high)) if low < high => low + 1,
        (_, high) => high.unwrap_or(0).max(1),
    }
}

/// Where the walk over a joint goes on, with what was said of that stage before.
pub(crate) fn go_on(view: &View, joint: &str, at: Option<Position>) -> String {
    let stage = stage_next(&view.state().bolt_stages(joint, at), last_bolt(view, joint, at));
    let mut said = Typed::new();
    let mut say = |name: &str, value: Option<String>| {
        if let Some(value) = value {
            said.insert(name.to_owned(), value);
        }
    };
    say("joint", Some(joint.to_owned()));
    say("position", at.map(|p| p.address()));
    say("stage", Some(stage.to_string()));
    if let Some(b) = of_joint(view, joint, at).filter(|b| b.stage == stage).last() {
        say("torque", b.torque.as_ref().map(|f| format!("{} {}", f.text, f.unit)));
        say("angle", b.angle.as_ref().map(|f| format!("{} {}", f.text, f.unit)));
        say("label", b.label.clone());
        say("age", b.age.map(|a| a.word().to_owned()));
        say("striped", b.striped.map(|s| s.word().to_owned()));
    }
    Walk(said).address(&view.job.id.to_string())
}

/// Every bolt with the stage it stands at.
pub(crate) fn rows(bolts: &BTreeMap<u16, u16>) -> Markup {
    html! {
        ol.bolts aria-label="Bolts" {
            @for (bolt, stage) in bolts {
                li {
                    b { (bolt) }
                    " stage "
                    (stage)
                }
            }
        }
    }
}

/// What is asked once before a walk.
pub(crate) fn begin(view: &View, walk: &Walk) -> Markup {
    let errors = if walk.0.is_empty() { Vec::new() } else { walk.wrong(view) };
    html! {
        (cautions(view))
        (questions(view, walk, &errors))
    }
}

/// What can hurt where a joint is tightened.
fn cautions(view: &View) -> Markup {
    let ids: Vec<String> = view.knowledge().cautions.iter().filter(|c| c.tightening).map(|c| c.id.clone()).collect();
    view.cautions(&view.cautions_for(&ids))
}

fn questions(view: &View, walk: &Walk, errors: &[FieldTrouble]) -> Markup {
    let fields = forms::fields(Kind::BoltTightened, view.state(), view.knowledge());
    let form = Form {
        action: String::new(),
        fields: fields.into_iter().filter(|f| f.name != "bolt").collect(),
        typed: &walk.0,
        errors,
        back: String::new(),
        button: "",
    };
    html! {
        form.ask.walk method="get" action=(view.link("bolts")) {
            p.quiet {
                "Torque, angle and sequence are those of this engine's manual; there is no other figure to fall back on."
            }
            @for f in &form.fields { (form.field(f, "walk")) }
            button type="submit" { "Begin" }
        }
    }
}

fn set_to(walk: &Walk) -> String {
    let with_unit = |text: &str, unit: &str| match (text.is_empty(), text.ends_with(|c: char| c.is_ascii_digit())) {
        (true, _) => None,
        (false, true) => Some(format!("{text} {unit}")),
        (false, false) => Some(text.to_owned()),
    };
    let all = [with_unit(walk.said("torque"), "N·m"), with_unit(walk.said("angle"), "°")];
    all.into_iter().flatten().collect::<Vec<_>>().join(" and ")
}

/// The page.
pub(crate) fn page(view: &View, walk: &Walk) -> Markup {
    let (joint, at) = (walk.said("joint"), walk.position());
    if !walk.wrong(view).is_empty() {
        let body = html! {
            section.sheet {
                h2 { "Tighten bolt by bolt" }
                (begin(view, walk))
            }
        };
        return view.page(Moment::Build, &body, None);
    }
    let stage = walk.stage();
    let bolts = view.state().bolt_stages(joint, at);
    let last = last_bolt(view, joint, at);
    let stands = |bolt: u16| bolts.get(&bolt).copied().unwrap_or(0);
    let behind = (1..=last).find(|bolt| stands(*bolt) + 1 < stage);
    let open = (1..=last).find(|bolt| stands(*bolt) < stage);
    // Of a joint whose bolts are set down one knows how many there are.
    let counted = pattern(view.state(), joint, at).is_some();
    let next = open.or_else(|| (stage == 1 && !counted).then_some(last.saturating_add(1)));
    // For a page that goes on by itself while the shop is out of reach.
    let after = |bolt: u16| {
        let open = (bolt.saturating_add(1)..=last).filter(|b| stands(*b) < stage);
        open.map(|b| b.to_string()).collect::<Vec<_>>().join(" ")
    };
    let job = view.job.id.to_string();
    let finished = last > 0 && open.is_none();
    let body = html! {
        article.entering {
            h2 {
                (joint_name(view, joint))
                @if let Some(p) = &at {
                    span.place { ", " (view.place(p)) }
                }
                ": stage "
                (stage)
            }
            (cautions(view))
            @match (behind, next) {
                (Some(bolt), _) => {
                    p.wrong {
                        b { "Bolt " (bolt) " is not through stage " (stage - 1) " yet. " }
                        "If the manual has that stage, take it there first."
                    }
                    p {
                        a.button href=(go_on(view, joint, at)) { "To stage " (stands(bolt) + 1) }
                    }
                }
                (None, Some(bolt)) => {
                    form.bolt
                        method="post"
                        action=(view.link("tell/bolt-tightened"))
                        data-once=""
                        data-bolts=(after(bolt))
                        data-counting=[(stage == 1 && !counted).then_some("")]
                    {
                        input type="hidden" name="entry" value=(surroundings::new_entry());
                        input type="hidden" name="back" value=(walk.address(&job));
                        @for (name, value) in &walk.0 {
                            input type="hidden" name=(name) value=(value);
                        }
                        input type="hidden" name="bolt" value=(bolt);
                        button.big.wide-key type="submit" data-bolt=(bolt) {
                            "Bolt " (bolt) " is through, " (set_to(walk))
                        }
                    }
                }
                (None, None) => p.strong {
                    @if last == 0 { "No bolt of this joint is through stage 1 yet." } @else {
                        "All " (last) " bolts are through stage " (stage) "."
                    }
                },
            }
            (rosette(view, joint, at, next))
            (rows(&bolts))
            @if finished {
                details.fold open[next.is_none()] {
                    summary {
                        @if next.is_some() { "Bolt " (last) " was the last: on to stage " (stage + 1) } @else {
                            "On to stage " (stage + 1)
                        }
                    }
                    @let mut on = walk.at_stage(stage + 1);
                    @let _forgotten = (on.0.remove("torque"), on.0.remove("angle"));
                    (questions(view, &on, &[]))
                }
            }
            @let mut given = vec![("joint", joint.to_owned())];
            @let _place = at.map(|p| given.push(("position", p.address())));
            (view.form(Kind::BoltRestarted, "A bolt starts again", &given))
            (view.form(Kind::BoltsPlaced, if counted { "Set the bolts down anew" } else { "Set down where the bolts stand" }, &given))
            (view.form(Kind::NoteWritten, "Write a note", &[]))
            p {
                a.button.plain href=(view.link("build")) { "Back to Build" }
            }
        }
    };
    view.page(Moment::Build, &body, None)
}
