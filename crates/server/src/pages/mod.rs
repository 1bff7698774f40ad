//! The pages. Each module is one screen and opens with three lines: who, which moment, why this arrangement.

pub(crate) mod asking;
pub(crate) mod bags;
pub(crate) mod bolts;
pub(crate) mod build;
pub(crate) mod calculators;
pub(crate) mod choose;
pub(crate) mod devices;
pub(crate) mod enter;
pub(crate) mod entry;
pub(crate) mod gauges;
pub(crate) mod hand_back;
pub(crate) mod hear;
pub(crate) mod machine_work;
pub(crate) mod order;
pub(crate) mod own_jobs;
pub(crate) mod pairing;
pub(crate) mod place;
mod practice;
pub(crate) mod price_list;
pub(crate) mod prove;
pub(crate) mod queue;
mod quotes;
pub(crate) mod residues;
pub(crate) mod sketches;
pub(crate) mod sources;
pub(crate) mod standing;
pub(crate) mod test;
pub(crate) mod wall;

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use anatomy::{JobId, Position};
use axum::extract::{Request, State};
use axum::http::{HeaderMap, header};
use axum::middleware::Next;
use axum::response::Response;
use documents::pictures::{Breadth, Mark};
use knowledge::Knowledge;
use logbook::{InForce, JobState, Kind, Moment};
use maud::{DOCTYPE, Markup, PreEscaped, html};
use serde::Deserialize;
use store::{Standing, Store};
use workup::{Case, Finding};

use crate::desk::{Bench, Job};
use crate::forms::{self, Form, Typed};
use crate::lan::{Asker, Role};
use crate::offline::of_this_build;
use crate::trouble::{FieldTrouble, Trouble};
use crate::words::{title, when, words};
use crate::{marks, surroundings};

/// What a moment is called on its tab.
pub(crate) const fn tab(moment: Moment) -> &'static str {
    match moment {
        Moment::Hear => "Hear",
        Moment::Test => "Test",
        Moment::Strip => "Strip",
        Moment::Choose => "Choose",
        Moment::Order => "Order",
        Moment::Build => "Build",
        Moment::Prove => "Prove",
        Moment::HandBack => "Hand back",
    }
}

/// The panel of a page that a work-up brings up to date.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Panel {
    /// Next check, STOP, what is believed.
    #[default]
    Advice,
    /// The repair options.
    Options,
    /// What a reading moved.
    Moved,
    /// As found beside as left.
    Proof,
}

impl Panel {
    const fn word(self) -> &'static str {
        match self {
            Panel::Advice => "advice",
            Panel::Options => "options",
            Panel::Moved => "moved",
            Panel::Proof => "proof",
        }
    }
}

/// Reads a job id out of an address.
pub(crate) fn job_id(text: &str) -> Result<JobId, Trouble> {
    text.parse().map_err(|e| Trouble::not_found("there is no such job", e))
}

/// Who works at this browser: whose name stood on the page when a form was filled, else as the cookie says.
pub(crate) fn who(bench: &Bench, headers: &HeaderMap) -> String {
    // A form that waited on a phone comes under the name it was filled in under.
    let filled = headers.get(crate::offline::FILLED_BY).and_then(|h| h.to_str().ok()).map(unescaped);
    if let Some(name) = filled.map(|name| name.trim().chars().take(60).collect::<String>()).filter(|n| !n.is_empty()) {
        return name;
    }
    let cookies = headers.get_all(header::COOKIE).iter().filter_map(|c| c.to_str().ok());
    let asking = asking();
    // A device from the network has a cookie that no other site and no other port can have set.
    let by = if matches!(asking, Asking::Here) { "bench_by=" } else { "__Host-by=" };
    let named = cookies.flat_map(|c| c.split(';')).find_map(|c| c.trim().strip_prefix(by));
    let name = named.map(unescaped).filter(|n| !n.trim().is_empty());
    name.unwrap_or_else(|| match asking {
        Asking::Device(asker) => asker.person,
        Asking::Here | Asking::Stranger => bench.by().to_owned(),
    })
}

/// Who asks: whoever sits at the computer of the bench, a paired device, or a device that nobody knows yet.
#[derive(Debug, Clone)]
pub(crate) enum Asking {
    Here,
    Device(Asker),
    Stranger,
}

impl Asking {
    /// Answers a request of this asker.
    pub(crate) async fn scope<F: Future>(self, answering: F) -> F::Output {
        ASKING.scope(self, answering).await
    }
}

/// Who asks; nobody that is known where no door has said who it is.
pub(crate) fn asking() -> Asking {
    ASKING.try_with(Clone::clone).unwrap_or(Asking::Stranger)
}

/// Whether who asks is shown the list of devices.
pub(crate) fn sees_devices() -> bool {
    match asking() {
        Asking::Here => true,
        Asking::Device(asker) => asker.role == Role::Owner,
        Asking::Stranger => false,
    }
}

/// Undoes the two-digit escapes of a cookie.
fn unescaped(text: &str) -> String {
    let mut bytes = Vec::new();
    let mut left = text.as_bytes();
    while let Some((first, rest)) = left.split_first() {
        let escaped = (*first == b'%').then(|| rest.get(..2)).flatten();
        let byte = escaped.and_then(|d| std::str::from_utf8(d).ok()).and_then(|d| u8::from_str_radix(d, 16).ok());
        match byte {
            Some(byte) => {
                bytes.push(byte);
                left = rest.get(2..).unwrap_or_default();
            }
            None => {
                bytes.push(*first);
                left = rest;
            }
        }
    }
    String::from_utf8_lossy(&bytes).into_owned()
}

/// Everything a page of a job is drawn from.
#[derive(Debug)]
pub(crate) struct View {
    pub(crate) bench: Bench,
    pub(crate) job: Arc<Job>,
    pub(crate) who: String,
    /// The last work-up known.
    pub(crate) case: Option<Arc<Case>>,
    /// Whether it is of the present chain.
    pub(crate) current: bool,
    /// Why there is no work-up.
    pub(crate) trouble: Option<String>,
    /// The page it stands on, for forms that come back to it.
    pub(crate) here: String,
    /// An entry just kept.
    pub(crate) kept: Option<String>,
    /// The code of a machine order that led here: its form stands open.
    pub(crate) code: Option<String>,
    /// A form that came back with troubles: its kind, what was typed, what was wrong.
    pub(crate) returned: Option<(Kind, Typed, Vec<FieldTrouble>)>,
    /// A form about a customer page that came back: which, what was typed, what was wrong.
    pub(crate) asking: Option<(&'static str, Typed, Vec<FieldTrouble>)>,
    told: BTreeMap<String, String>,
    stated: BTreeMap<String, String>,
}

impl View {
    pub(crate) fn of(bench: &Bench, job: &Arc<Job>, who: &str, here: impl Into<String>) -> Self {
        let standing = bench.standing(job);
        Self {
            bench: bench.clone(),
            job: Arc::clone(job),
            who: who.to_owned(),
            case: standing.case,
            current: standing.current,
            trouble: standing.trouble,
            here: here.into(),
            kept: None,
            code: None,
            returned: None,
            asking: None,
            told: workup::told(&job.state, bench.knowledge()),
            stated: (job.state.layout.as_ref())
                .map(|layout| workup::work::stated(&job.state, layout, bench.knowledge()))
                .unwrap_or_default(),
        }
    }

    pub(crate) fn state(&self) -> &JobState {
        &self.job.state
    }

    pub(crate) fn knowledge(&self) -> &Knowledge {
        self.bench.knowledge()
    }

    /// The address of something of this job.
    pub(crate) fn link(&self, rest: &str) -> String {
        format!("/jobs/{}/{rest}", self.job.id)
    }

    /// An attribute of the engine, as told, proved or built.
    pub(crate) fn told(&self, name: &str) -> Option<&str> {
        let told = self.told.get(name).map(String::as_str);
        told.or_else(|| self.state().layout.as_ref().and_then(|layout| layout.attribute(name)))
    }

    /// An attribute of the engine as somebody stated or told it; what was merely filled in is left out.
    pub(crate) fn was_stated(&self, name: &str) -> Option<&str> {
        self.stated.get(name).map(String::as_str)
    }

    /// The cautions of some work on this engine.
    pub(crate) fn cautions_for(&self, ids: &[String]) -> Vec<String> {
        self.knowledge().cautions_for(ids, |name| self.told(name))
    }

    /// The cautions that hold work up and are not ticked.
    pub(crate) fn holding(&self, ids: &[String]) -> Vec<String> {
        let holds = |id: &&String| {
            let found = self.knowledge().cautions.iter().find(|c| c.id == **id);
            // One that the knowledge does not have cannot be read, so it holds.
            found.is_none_or(|c| c.hold) && !self.state().cautions_ticked.contains(*id)
        };
        ids.iter().filter(holds).cloned().collect()
    }

    /// Cautions in full where the work is, with a tick where they hold it up.
    pub(crate) fn cautions(&self, ids: &[String]) -> Markup {
        let ticked = |id: &&String| self.state().cautions_ticked.contains(*id);
        let (read, open): (Vec<&String>, Vec<&String>) = ids.iter().partition(ticked);
        html! {
            @if !open.is_empty() {
                ul.cautions {
                    @for id in &open { (self.caution(id)) }
                }
            }
            @if !read.is_empty() {
                details.fold.read {
                    summary {
                        "Read and ticked: "
                        ({
                            read.iter()
                                .map(|id| words(id))
                                .collect::<Vec<_>>()
                                .join(", ")
                        })
                    }
                    ul.cautions {
                        @for id in &read { (self.caution(id)) }
                    }
                }
            }
        }
    }

    fn caution(&self, id: &str) -> Markup {
        let found = self.knowledge().cautions.iter().find(|c| c.id == id);
        let ticked = self.state().cautions_ticked.contains(id);
        let hold = found.is_none_or(|c| c.hold);
        let text = found.map_or_else(|| words(id), |c| c.text.clone());
        html! {
            li class=(if hold && !ticked { "caution hold" } else { "caution" }) data-caution=(id) {
                (PreEscaped(SIGN))
                div {
                    @if hold {
                        b {
                            @if ticked { "Hold, read and ticked. " } @else { "Hold. " }
                        }
                    }
                    (text)
                    @if !ticked {
                        ({
                            self.button(
                                Kind::CautionTicked,
                                &[("caution", id)],
                                if hold { "I have read it and keep to it" } else { "Read" },
                            )
                        })
                    }
                }
            }
        }
    }

    /// A button that writes an entry whose fields are known.
    pub(crate) fn button(&self, kind: Kind, fields: &[(&str, &str)], label: &str) -> Markup {
        if !self.takes(kind) {
            return html! {};
        }
        html! {
            form.one method="post" action=(self.link(&format!("tell/{}", kind.word()))) data-once="" {
                input type="hidden" name="entry" value=(surroundings::new_entry());
                input type="hidden" name="back" value=(self.here);
                @for (name, value) in fields {
                    input type="hidden" name=(name) value=(value);
                }
                button type="submit" { (label) }
            }
        }
    }

    /// A form for a kind, folded until it is wanted; one that came back with troubles is open.
    pub(crate) fn form(&self, kind: Kind, heading: &str, given: &[(&'static str, String)]) -> Markup {
        if !self.takes(kind) && self.came_back(kind, given).is_none() {
            return html! {};
        }
        let returned = self.came_back(kind, given);
        html! {
            details.fold id=[given.is_empty().then_some(kind.word())] open[returned.is_some()] {
                summary { (heading) }
                (self.form_open(kind, given, "Keep it"))
            }
        }
    }

    /// What came back with troubles, when it is of this kind and of the same given answers.
    pub(crate) fn came_back(
        &self,
        kind: Kind,
        given: &[(&'static str, String)],
    ) -> Option<&(Kind, Typed, Vec<FieldTrouble>)> {
        let same = |typed: &Typed| given.iter().all(|(name, value)| typed.get(*name) == Some(value));
        self.returned.as_ref().filter(|(k, typed, _)| *k == kind && same(typed))
    }

    /// What came back with troubles of a form about a customer page.
    pub(crate) fn asking_came_back(&self, which: &str) -> Option<(&Typed, &[FieldTrouble])> {
        let found = self.asking.as_ref().filter(|(form, _, _)| *form == which);
        found.map(|(_, typed, errors)| (typed, errors.as_slice()))
    }

    /// Whether the job as it stands takes entries of a kind; what would be refused is not offered.
    pub(crate) fn takes(&self, kind: Kind) -> bool {
        workup::entering::open_for(self.state(), kind)
    }

    /// A form for a kind, open.
    pub(crate) fn form_open(&self, kind: Kind, given: &[(&'static str, String)], button: &str) -> Markup {
        // What was typed into a form that is refused comes back with it.
        if !self.takes(kind) && self.came_back(kind, given).is_none() {
            return html! {};
        }
        let mut fields = forms::fields(kind, self.state(), self.knowledge());
        for (name, value) in given {
            for field in fields.iter_mut().filter(|f| f.name == *name) {
                field.ask = forms::Ask::Fixed(value.clone());
            }
        }
        self.form_of(kind, given, fields, button)
    }

    /// A form for a kind with questions of its own, open.
    pub(crate) fn form_of(
        &self,
        kind: Kind,
        given: &[(&'static str, String)],
        fields: Vec<forms::Field>,
        button: &str,
    ) -> Markup {
        let none = Typed::new();
        let returned = self.came_back(kind, given);
        let mut typed = returned.map_or(none, |(_, typed, _)| typed.clone());
        if fields.iter().any(|f| f.name == "by") && !typed.contains_key("by") {
            typed.insert("by".to_owned(), self.who.clone());
        }
        Form {
            action: self.link(&format!("tell/{}", kind.word())),
            fields,
            typed: &typed,
            errors: returned.map_or(&[], |(_, _, errors)| errors),
            back: self.here.clone(),
            button,
        }
        .show()
    }

    /// A page with the form that came back alone, for pages that do not hold it.
    pub(crate) fn form_alone(&self, kind: Kind) -> Markup {
        let body = html! {
            section.sheet {
                h2 { (title(kind.word())) }
                (self.form_open(kind, &[], "Keep it"))
                p {
                    a.button.plain href=(self.here) { "Back without keeping it" }
                }
            }
        };
        self.page(kind.moment().unwrap_or(Moment::Test), &body, None)
    }

    /// The name of a repair option.
    pub(crate) fn option_name(&self, id: &str) -> String {
        let found = self.knowledge().options.iter().find(|o| o.id == id);
        let heads = self.state().layout.as_ref().map(|layout| layout.heads().len());
        found.map_or_else(|| words(id), |o| o.name_for(heads).to_owned())
    }

    /// The name of a part: that of the knowledge, or the words of who wrote it.
    pub(crate) fn part_name(&self, id: &str) -> String {
        part_name(self.knowledge(), id)
    }

    /// What a quote is asked for: work, a part, or words.
    pub(crate) fn need_name(&self, id: &str) -> String {
        let operation = self.knowledge().operations.iter().find(|o| o.id == id);
        operation.map_or_else(|| self.part_name(id), |o| o.name.clone())
    }

    /// The name of a place.
    pub(crate) fn place(&self, position: &Position) -> String {
        self.state().layout.as_ref().map_or_else(|| position.address(), |layout| layout.label(position))
    }

    /// Labour units as money.
    pub(crate) fn money(&self, units: f64) -> String {
        crate::words::money(self.state(), units)
    }

    /// The mark of a finding.
    pub(crate) fn mark_of(&self, finding: &Finding) -> Mark {
        let doubted =
            self.state().readings.iter().any(|r| r.gauge_doubted_by.is_some() && r.entry.to_string() == finding.entry);
        marks::of_verdict(finding.verdict, doubted)
    }

    /// The strongest mark at each place, of what was found before any repair.
    pub(crate) fn marks(&self) -> BTreeMap<Position, Mark> {
        let mut out: BTreeMap<Position, Mark> = BTreeMap::new();
        let findings = self.case.iter().flat_map(|c| &c.findings).filter(|f| !f.after_repair);
        for finding in findings {
            let mark = self.mark_of(finding);
            let there = out.entry(finding.position).or_insert(mark);
            if marks::weight(mark) > marks::weight(*there) {
                *there = mark;
            }
        }
        out
    }

    /// The entries of some kinds that stand, the latest first, each with a way to take it back.
    pub(crate) fn written(&self, heading: &str, wanted: impl Fn(Kind) -> bool) -> Markup {
        let lines: Vec<_> =
            self.state().history.iter().rev().filter(|h| Kind::from_word(&h.kind).is_some_and(&wanted)).collect();
        html! {
            details.fold.written {
                summary { (heading) " (" (lines.len()) ")" }
                @if lines.is_empty() {
                    p.quiet { "Nothing yet." }
                }
                ul.entries {
                    @for line in lines.iter().take(200) {
                        @let back = matches!(line.status, InForce::Withdrawn { .. });
                        li class=(if back { "withdrawn" } else { "" }) {
                            span.when { (when(line.at)) " · " (line.by) }
                            b { (title(&line.kind)) }
                            " "
                            (self.said(&line.body))
                            @match &line.status {
                                InForce::Standing => {}
                                InForce::Corrected { .. } => span.quiet { " put right since" },
                                InForce::Withdrawn { .. } => span.quiet { " taken back" },
                                InForce::WithoutEffect => span.quiet { " without effect" },
                            }
                            " "
                            a.button.plain href=(self.link(&format!("entries/{}", line.entry))) {
                                "Put right or take back"
                            }
                        }
                    }
                }
            }
        }
    }

    /// The cautions of this engine, those read and those still to be read.
    pub(crate) fn all_cautions(&self) -> Markup {
        let ids: Vec<String> = self.knowledge().cautions.iter().map(|c| c.id.clone()).collect();
        let ids = self.cautions_for(&ids);
        let open = ids.iter().filter(|id| !self.state().cautions_ticked.contains(*id)).count();
        html! {
            details.fold id="cautions" {
                summary { "Cautions for this engine (" (open) " not read yet)" }
                ul.cautions {
                    @for id in ids.iter().filter(|id| !self.state().cautions_ticked.contains(*id)) {
                        (self.caution(id))
                    }
                    @for id in ids.iter().filter(|id| self.state().cautions_ticked.contains(*id)) {
                        (self.caution(id))
                    }
                }
            }
        }
    }

    /// Taking the figures of an engine sheet over, and giving this engine's as one.
    pub(crate) fn sheet_form(&self) -> Markup {
        html! {
            details.fold id="sheet-adopted" {
                summary { "The engine sheet as a file" }
                @if !self.state().sheet.is_empty() {
                    p {
                        a.button.plain href=(self.link("sheet.toml")) {
                            "Save " (crate::words::count(self.state().sheet.len(), "figure", "figures")) " for the next one"
                        }
                    }
                }
                form
                    .ask
                    method="post"
                    action=(self.link("sheet"))
                    enctype="multipart/form-data"
                    data-once=""
                {
                    input type="hidden" name="entry" value=(surroundings::new_entry());
                    input type="hidden" name="back" value=(self.here);
                    div.field {
                        label for="sheet-file" { "Engine sheet (TOML, or JSON)" }
                        input type="file" id="sheet-file" name="sheet" accept=".toml,.json" required;
                    }
                    p.quiet { "Every figure comes with its document and page; read them against the book before you rely on them." }
                    button type="submit" { "Take its figures over" }
                }
            }
        }
    }

    /// What a body says, in one line, with names in the place of ids.
    pub(crate) fn said(&self, body: &serde_json::Value) -> String {
        use serde_json::Value;
        let text = match body {
            Value::Object(map) => {
                map.iter().map(|(k, v)| format!("{}: {}", words(k), self.leaf(k, v))).collect::<Vec<_>>().join(" · ")
            }
            Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) | Value::Array(_) => self.leaf("", body),
        };
        if text.chars().count() > SAID { text.chars().take(SAID).chain("…".chars()).collect() } else { text }
    }

    fn leaf(&self, key: &str, value: &serde_json::Value) -> String {
        use serde_json::Value;
        match value {
            Value::String(text) => self.named(key, text),
            Value::Object(map) => match (map.get("amount"), map.get("currency"), map.get("text"), map.get("unit")) {
                (Some(amount), Some(currency), _, _) => {
                    format!("{} {}", self.leaf("", currency), self.leaf("", amount))
                }
                (_, _, Some(text), Some(unit)) => format!("{} {}", self.leaf("text", text), self.leaf("unit", unit)),
                _ => {
                    map.iter().map(|(k, v)| format!("{} {}", words(k), self.leaf(k, v))).collect::<Vec<_>>().join(", ")
                }
            },
            Value::Array(list) => list.iter().map(|v| self.leaf(key, v)).collect::<Vec<_>>().join("; "),
            Value::Null => String::new(),
            Value::Bool(yes) => if *yes { "yes" } else { "no" }.to_owned(),
            Value::Number(_) => value.to_string(),
        }
    }

    /// The name of what a field of a body points at.
    fn named(&self, key: &str, text: &str) -> String {
        if text.len() == 64 && text.bytes().all(|b| b.is_ascii_hexdigit()) {
            return text.chars().take(8).collect();
        }
        if let Ok(entry) = text.parse::<anatomy::EntryId>() {
            let line = self.state().history.iter().find(|h| h.entry == entry);
            return line.map_or_else(|| text.to_owned(), |l| format!("{}, {}", words(&l.kind), when(l.at)));
        }
        let known = self.knowledge();
        match key {
            "check" => known.check(text).map_or_else(|| words(text), |c| c.name.clone()),
            "position" | "at" => text.parse().map_or_else(|_| text.to_owned(), |p| self.place(&p)),
            "gauge" => known.gauge(text).map_or_else(|| words(text), |g| g.name.clone()),
            "option" => self.option_name(text),
            "part" | "holds" => self.part_name(text),
            "need" | "operation" => self.need_name(text),
            "joint" => bolts::joint_name(self, text),
            "condition" => known.condition(text).map_or_else(|| words(text), |c| c.name.clone()),
            "cause" => known.cause(text).map_or_else(|| words(text), |c| c.name.clone()),
            "reading" | "outcome" | "stage" | "caution" | "attribute" | "residue" | "fault" | "state" | "covers"
            | "result" | "how" | "run" | "phase" | "stands_for" | "value" => words(text),
            _ => text.to_owned(),
        }
    }

    /// The button that withdraws an entry.
    pub(crate) fn take_back(&self, entry: &str, label: &str) -> Markup {
        html! {
            form
                .one
                .small
                method="post"
                action=(self.link(&format!("withdraw/{entry}")))
                data-once=""
            {
                input type="hidden" name="entry" value=(surroundings::new_entry());
                input type="hidden" name="back" value=(self.here);
                button.plain type="submit" { (label) }
            }
        }
    }

    /// The faces of a place whose straightedge readings are told station by station: the map, or what is missing for one.
    pub(crate) fn faces_at(&self, at: &Position) -> Markup {
        let faces = self.case.iter().flat_map(|c| &c.faces).filter(|f| f.position == *at);
        html! {
            @for face in faces {
                section.face {
                    h3.thin {
                        (crate::words::sentence(&face.name))
                        ", all lines together"
                        @if face.after_repair { " (" (crate::words::words(face.phase.word())) ")" }
                    }
                    @if let Some(layout) = &self.state().layout {
                        @let map = documents::pictures::face_map(face, layout, Breadth::Sheet);
                        @if !map.is_empty() {
                            figure.picture.whole.wide-only { (PreEscaped(map)) }
                            figure.picture.whole.narrow-only {
                                (PreEscaped(documents::pictures::face_map(face, layout, Breadth::Phone)))
                            }
                        }
                    }
                    @if !face.missing.is_empty() {
                        ul.missing {
                            @for line in &face.missing {
                                li { (crate::words::sentence(line)) "." }
                            }
                        }
                        p { (crate::words::sentence(&face.reason)) "." }
                        @if let Some(next) = &face.next_move {
                            p.nextmove { (crate::words::sentence(next)) "." }
                        }
                    }
                }
            }
        }
    }

    /// What the figures read at a place before any repair look like together.
    pub(crate) fn measured_at(&self, at: &Position) -> Markup {
        let findings = self.case.iter().flat_map(|c| &c.findings);
        let here: Vec<&Finding> = findings.filter(|f| f.position == *at && !f.after_repair).collect();
        html! {
            @for svg in documents::pictures::measured_at(&here) {
                figure.picture.whole { (PreEscaped(svg)) }
            }
        }
    }

    /// Photos, each a thumbnail that leads to the whole picture.
    pub(crate) fn photos(&self, at: Option<&Position>) -> Markup {
        let photos: Vec<_> =
            self.state().photos.iter().filter(|p| at.is_none_or(|at| p.position.as_ref() == Some(at))).collect();
        html! {
            @if !photos.is_empty() {
                ul.photos {
                    @for p in &photos {
                        li {
                            a href=(format!("/attachments/{}", p.sha256)) {
                                img src=(format!("/attachments/{}/small", p.sha256))
                                    alt=(p.caption)
                                    loading="lazy";
                            }
                            span {
                                (p.caption)
                                @if p.drawn { " (drawn, no photograph)" }
                                @if let Some(at) = &p.position { "; " (self.place(at)) }
                            }
                        }
                    }
                }
            }
        }
    }

    /// The form that takes a photo.
    pub(crate) fn photo_form(&self, at: Option<&Position>) -> Markup {
        html! {
            details.fold {
                summary { "Keep a photo" }
                form
                    .ask
                    method="post"
                    action=(self.link("photos"))
                    enctype="multipart/form-data"
                    data-once=""
                {
                    input type="hidden" name="entry" value=(surroundings::new_entry());
                    input type="hidden" name="back" value=(self.here);
                    @if let Some(at) = at {
                        input type="hidden" name="position" value=(at.address());
                    }
                    div.field {
                        label for="photo-file" { "Photo (JPEG, PNG or WebP, up to 12 MB)" }
                        input
                            type="file"
                            id="photo-file"
                            name="photo"
                            accept="image/jpeg,image/png,image/webp"
                            capture="environment"
                            required;
                    }
                    @if let (None, Some(layout)) = (at, &self.state().layout) {
                        div.field {
                            label for="photo-position" { "Where on the engine" }
                            select id="photo-position" name="position" {
                                option value="" { "–" }
                                @for p in layout.all_positions() {
                                    option value=(p.address()) { (layout.label(&p)) }
                                }
                            }
                        }
                    }
                    div.field {
                        label for="photo-caption" { "What it shows" }
                        input type="text" id="photo-caption" name="caption" required;
                    }
                    label.tick {
                        input type="checkbox" name="drawn" value="yes";
                        span { "It is drawn, no photograph" }
                    }
                    button type="submit" { "Keep the photo" }
                }
            }
        }
    }

    /// A whole page of the job: heading, tabs, what was just kept, the body, and the title block at the foot.
    pub(crate) fn page(&self, moment: Moment, body: &Markup, live: Option<(Panel, Option<&str>)>) -> Markup {
        let vehicle = &self.state().vehicle;
        let car: Vec<&str> =
            [&vehicle.make, &vehicle.model, &vehicle.plate].into_iter().flatten().map(String::as_str).collect();
        let listen = live.map(|(panel, entry)| {
            let entry = entry.map(|e| format!("&entry={e}")).unwrap_or_default();
            // What is still being weighed is not had: it may be there before the page listens.
            let whole = self.current && self.case.as_ref().is_none_or(|case| !case.weighing);
            let have = if whole { format!("&have={}", self.job.tail()) } else { String::new() };
            self.link(&format!("live?panel={}{entry}{have}", panel.word()))
        });
        let inner = html! {
            header.job {
                h1 { (self.job.title()) }
                p.quiet {
                    @if let Some(layout) = &self.state().layout { (layout.in_words()) } @else {
                        "engine not described yet"
                    }
                    @if !car.is_empty() { " · " (car.join(" ")) }
                    @if let Some(day) = self.state().promised {
                        " · promised "
                        time { (day) }
                    }
                }
                (crate::offline::where_of(&self.bench, &self.job))
                (standing::strip(&self.bench, &self.job))
                @if let Some(closed) = &self.state().closed {
                    p.closed {
                        b { "This job is closed: " (words(closed.how.word())) ". " }
                        "It still takes notes, photos, papers, what the customer was told, what was found later and a comeback. Taking \"job closed\" back, below Hand back, opens it again."
                    }
                }
            }
            nav.tabs aria-label="Moments of the job" {
                ol {
                    @for m in Moment::ALL {
                        @let there = self.state().moments.contains(m);
                        li {
                            a   href=(self.link(m.word()))
                                aria-current=[(*m == moment).then_some("page")]
                                class=(if there { "there" } else { "" })
                            { (tab(*m)) }
                        }
                    }
                }
            }
            @if let Some((kind, _, errors)) = &self.returned
                && forms::by_button(*kind)
            {
                div.wrong role="alert" {
                    b { "Not kept. " }
                    @for e in errors { (e.message) ". " }
                }
            }
            div .status
                role="status"
                aria-live="polite"
                data-live=[listen]
                data-tail=(self.job.tail())
            {
                @if let Some(entry) = &self.kept {
                    div.kept {
                        span { "Kept in the shop." }
                        (self.take_back(entry, "Undo"))
                    }
                }
            }
            main id="main" { (practice::strip(self)) (body) }
            (self.title_block(moment))
        };
        shell(self.job.title(), &self.who, &inner)
    }

    /// The title block, after ISO 7200.
    fn title_block(&self, moment: Moment) -> Markup {
        let sheet = Moment::ALL.iter().position(|m| *m == moment).map_or(1, |p| p + 1);
        let knowledge: String = self.knowledge().version.as_str().chars().take(8).collect();
        html! {
            footer.titleblock aria-label="Title block" {
                dl {
                    div.wide {
                        dt { "Title" }
                        dd { (self.job.title()) }
                    }
                    div {
                        dt { "Moment" }
                        dd { (tab(moment)) }
                    }
                    div {
                        dt { "Sheet" }
                        dd { (sheet) " of 8" }
                    }
                    div {
                        dt { "Customer" }
                        dd { (self.state().customer.as_deref().unwrap_or("–")) }
                    }
                    div.wide {
                        dt { "Job" }
                        dd.code { (self.job.id) }
                    }
                    div {
                        dt { "Chain ends" }
                        dd.code data-tail-shown="" { (self.job.tail()) }
                    }
                    div.entries-count {
                        dt { "Entries" }
                        dd { (self.job.entries.len()) }
                    }
                    div {
                        dt { "Knowledge" }
                        dd.code { (knowledge) }
                    }
                }
            }
        }
    }
}

/// The name of a part: that of the knowledge, or the words of who wrote it.
pub(crate) fn part_name(knowledge: &Knowledge, id: &str) -> String {
    let part = knowledge.joints.iter().flat_map(|j| &j.value.parts).find(|p| p.id == id);
    part.map_or_else(|| words(id), |p| p.name.clone())
}

/// The most of a body that is said in one line, in letters.
const SAID: usize = 260;

/// One panel, as a page holds it and as a work-up replaces it.
pub(crate) fn panel(bench: &Bench, job: &Arc<Job>, who: &str, panel: Panel, entry: Option<&str>) -> Markup {
    match panel {
        Panel::Advice => test::advice(&View::of(bench, job, who, format!("/jobs/{}/test", job.id))),
        Panel::Options => choose::options(&View::of(bench, job, who, format!("/jobs/{}/choose", job.id))),
        Panel::Moved => enter::moved(&View::of(bench, job, who, format!("/jobs/{}/test", job.id)), entry.unwrap_or("")),
        Panel::Proof => prove::pairs(&View::of(bench, job, who, format!("/jobs/{}/prove", job.id))),
    }
}

/// A place of a page that a work-up replaces.
pub(crate) fn panel_place(inside: &Markup) -> Markup {
    html! {
        div id="panel" { (inside) }
    }
}

/// What stands where a work-up is not there yet.
pub(crate) fn waiting(view: &View) -> Markup {
    html! {
        @if let Some(why) = &view.trouble {
            section.sheet {
                h2 { "No work-up" }
                p { (why) }
                @if view.state().layout.is_none() {
                    p {
                        a.button href=(view.link("hear#engine-described")) { "Describe the engine" }
                    }
                }
            }
        } @else if view.case.is_none() {
            section.sheet {
                h2 { "Working the readings" }
                p {
                    "This takes up to three seconds. The page fills by itself; without script, read it again."
                }
            }
        } @else if !view.current {
            p.stale { "As it stood before the last entry; the new work-up is under way." }
        }
    }
}

/// The kinds whose entries belong to one of some moments.
pub(crate) fn of_moments(moments: &[Moment]) -> impl Fn(Kind) -> bool + '_ {
    move |kind| kind.moment().is_some_and(|m| moments.contains(&m))
}

tokio::task_local! {
    /// The bench that answers the request under way; every page asks it whether anything is kept.
    static ANSWERING: Bench;
    /// Who asks, as the door that the request came by says.
    static ASKING: Asking;
}

/// Lets every page of a request know the bench, also one that tells of an error.
pub(crate) async fn told_of_standing(State(bench): State<Bench>, request: Request, next: Next) -> Response {
    ANSWERING.scope(bench, next.run(request)).await
}

/// One plain line when nothing more is kept.
fn not_kept() -> Markup {
    let standing = ANSWERING.try_with(|bench| bench.store().standing());
    let Ok(Standing::ReadOnly { because }) = standing else { return html! {} };
    html! {
        p.notkept role="status" {
            b { "Nothing more is kept now: " }
            (because)
            "."
        }
    }
}

/// One plain line while a device may look and not enter.
fn locked_line() -> Markup {
    let Asking::Device(Asker { locked: true, .. }) = asking() else { return html! {} };
    html! {
        p.notkept role="status" {
            b { "Locked: " }
            "you can look; before anything is kept the PIN is asked for. "
            a href="/pin" { "Type it now" }
        }
    }
}

/// The whole document around a page.
pub(crate) fn shell(heading: &str, who: &str, body: &Markup) -> Markup {
    shell_again(heading, who, body, None)
}

/// The same, read again by itself after so many seconds.
pub(crate) fn shell_again(heading: &str, who: &str, body: &Markup, again: Option<u32>) -> Markup {
    let stranger = matches!(asking(), Asking::Stranger);
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                @if let Some(seconds) = again { meta http-equiv="refresh" content=(seconds); }
                title { (heading) " · witnessmark" }
                link rel="stylesheet" href=(of_this_build("/bench.css"));
                link rel="icon" type="image/svg+xml" href="/mark.svg";
                @if !stranger {
                    link rel="manifest" href="/manifest.webmanifest" crossorigin="use-credentials";
                    link rel="apple-touch-icon" href="/icons/192.png";
                    // Before the page itself, so that no form is sent past it.
                    script src=(of_this_build("/queue.js")) {}
                    script defer src=(of_this_build("/judge.js")) {}
                    script type="module" src=(of_this_build("/bench.js")) {}
                    script type="module" src=(of_this_build("/phone.js")) {}
                }
            }
            body data-by=(who) {
                a.skip href="#main" { "To the content" }
                nav.top aria-label="The bench" {
                    a.home href="/" {
                        (PreEscaped(LOGO))
                        span { "witnessmark" }
                    }
                    div.right {
                        @if !stranger {
                            a.tools href="/gauges" { "Gauges" }
                            a.tools href="/calculators" { "Calculators" }
                        }
                        @if !who.is_empty() {
                            details.who {
                                summary { (who) }
                                form method="post" action="/who" {
                                    label for="who-name" { "Who works here now?" }
                                    input type="text" id="who-name" name="by" value=(who) required;
                                    button type="submit" { "That is me" }
                                }
                                @if let Asking::Device(_) = asking() {
                                    form method="post" action="/sign-out" {
                                        button.plain type="submit" { "Sign this device out" }
                                    }
                                }
                            }
                        }
                        button
                            .plain
                            .theme
                            type="button"
                            data-theme-switch=""
                            hidden
                            aria-label="light or dark"
                        { (PreEscaped(HALF)) }
                    }
                }
                (not_kept())
                (locked_line())
                (body)
            }
        }
    }
}

/// The general sign of danger, a triangle after ISO 3864.
const SIGN: &str = "<svg class='sign' viewBox='0 0 30 27' width='30' height='27' aria-hidden='true' focusable='false'>\
    <path d='M15 2 28.5 25.5H1.5Z' fill='none' stroke='currentColor' stroke-width='2.4' stroke-linejoin='round'/>\
    <path d='M15 9.5V17.5M15 20.3V22.8' stroke='currentColor' stroke-width='2.8'/></svg>";

/// A disc, half of it dark.
const HALF: &str = "<svg viewBox='0 0 24 24' width='24' height='24' aria-hidden='true' focusable='false'>\
    <circle cx='12' cy='12' r='9' fill='none' stroke='currentColor' stroke-width='2'/>\
    <path d='M12 3a9 9 0 0 1 0 18Z' fill='currentColor'/></svg>";

/// A bolt head on a flange with its stripe.
pub(crate) const LOGO: &str = "<svg viewBox='0 2 48 50' width='26' height='27' aria-hidden='true' focusable='false'>\
    <path d='M36.9 29.6 24 37 11.1 29.6V14.7L24 7.3 36.9 14.7ZM3 40.4H45' fill='none' stroke='currentColor' \
    stroke-width='2.9'/><path d='M19.2 5.5H28.8V49.5H19.2Z' fill='currentColor'/></svg>";

/// Ids that are in a list and not in a set.
pub(crate) fn missing<'a>(all: &'a [String], there: &BTreeSet<String>) -> Vec<&'a String> {
    all.iter().filter(|id| !there.contains(*id)).collect()
}
