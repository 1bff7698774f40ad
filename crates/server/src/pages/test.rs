//! Who: the technician, one hand free. Moments: Test and Strip, which share their advice.
//! Why so: the next check stands first with its caution and its key, then the engine as it lies, then what is known.
//! Everything that does not pay is folded away below, so that the page ends where the work ends.

use std::collections::BTreeMap;

use anatomy::{Bank, EngineLayout, Position};
use documents::pictures::{self, Breadth};
use logbook::{Kind, Moment, Phase};
use maud::{Markup, PreEscaped, html};
use workup::{Belief, CheckWorth, Finding, Series};

use super::{Panel, View, panel_place};
use crate::marks;
use crate::words::{count, inside, of_engines, sentence, within, words};

/// The page of Test or of Strip.
pub(crate) fn page(view: &View, moment: Moment) -> Markup {
    let strip = moment == Moment::Strip;
    let body = html! {
        @if strip { (stages(view)) }
        (panel_place(&advice(view)))
        (another(view, Phase::AsFound, "Another reading"))
        div.columns {
            (view.form(Kind::NoteWritten, "Write a note", &[]))
            (view.photo_form(None))
            @if strip {
                div {
                    (view.form(Kind::ResidueSeen, "A residue was seen", &[]))
                    p {
                        a.button href="/residues" { "Which residue is it?" }
                    }
                }
                div {
                    (view.form(Kind::PartBagged, "Bag or mark parts", &[]))
                    p {
                        a.button href=(view.link("bags")) {
                            @let out = workup::bags::open(view.state()).len();
                            "The bags"
                            @if out > 0 { ", " (out) " out" }
                        }
                    }
                }
            }
            (view.form(Kind::GaugeDescribed, "Lay a gauge ready", &[]))
            (view.form(Kind::GaugeDoubted, "A gauge is doubtful", &[]))
            (view.form(Kind::GaugeCleared, "A doubted gauge was found good", &[]))
            ({
                view.form(
                    Kind::EngineFigureSet,
                    "Type a figure of the engine's own sheet",
                    &[],
                )
            })
            (view.sheet_form())
            (view.form(Kind::ReadingSkipped, "Leave a check out", &[]))
            (view.form(Kind::AdviceOverruled, "Advice not followed", &[]))
        }
        (view.all_cautions())
        (view.photos(None))
        ({
            view.written(
                "Written down here",
                super::of_moments(&[Moment::Test, Moment::Strip]),
            )
        })
    };
    view.page(moment, &body, Some((Panel::Advice, None)))
}

/// How far the engine is open, and the next stages.
fn stages(view: &View) -> Markup {
    let reached = workup::opened::open_now(view.state(), view.knowledge());
    let before = workup::opened::reached(&view.state().stages_reached, view.knowledge());
    let opens =
        |s: &knowledge::Stage| !s.needs.is_empty() || s.id == workup::opened::AFTER_REPAIR || reached.contains(&s.id);
    html! {
        section.sheet.stages {
            h2 { "How far it is open" }
            ul.inline {
                @for stage in view.knowledge().stages.iter().filter(|s| opens(s)) {
                    @let there = reached.contains(&stage.id);
                    li class=(if there { "there" } else { "" }) {
                        span {
                            (words(&stage.id))
                            @if stage.one_way { " (no way back without new parts)" }
                        }
                        @if there {
                            b { "reached" }
                        } @else {
                            @if before.contains(&stage.id) { span.quiet { "closed again" } }
                            ({
                                view.button(
                                    Kind::StageReached,
                                    &[("stage", &stage.id)],
                                    "Reached now",
                                )
                            })
                        }
                    }
                }
            }
            @let case = view.case.as_ref().filter(|_| view.state().closed.is_none());
            @let next = case.and_then(|c| workup::teardown::next_stage(c, view.state(), view.knowledge()));
            @if let Some(stage) = next {
                p {
                    "Before it is opened as far as "
                    b { (words(&stage.id)) }
                    ", the customer says yes to what that costs: "
                    a.button href=(view.link("papers/teardown-estimate.pdf?size=a4")) { "Teardown estimate, A4" }
                    " "
                    a.button href=(view.link("papers/teardown-estimate.pdf?size=letter")) { "Letter" }
                }
            }
        }
    }
}

/// What the work-up says to do: the panel that is brought up to date by itself.
pub(crate) fn advice(view: &View) -> Markup {
    if let Some(ended) = workup::entering::ended(view.state()) {
        return html! {
            section.sheet {
                h2 { "Closed" }
                p { (sentence(&ended)) ". No check is offered." }
                p {
                    a.button href=(view.link("hand-back")) { "Open it again" }
                }
            }
            @if view.case.is_some() {
                (heads(view))
                div.two {
                    (found(view))
                    (beliefs(view))
                }
            }
        };
    }
    let waiting = super::waiting(view);
    let Some(case) = &view.case else { return waiting };
    let advice = &case.advice;
    let always: Vec<String> =
        super::missing(&case.cautions, &view.state().cautions_ticked).into_iter().cloned().collect();
    html! {
        (waiting)
        @if !always.is_empty() {
            section.sheet {
                h2 { "Before anything else" }
                (view.cautions(&always))
            }
        }
        @if let Some(stop) = &advice.stop {
            section.sheet.stop {
                @if case.weighing {
                    h2 { "Looking two steps ahead" }
                    p { "No check pays by itself; whether two do together is being worked out." }
                } @else {
                    h2 { "STOP" }
                }
                p.big { (sentence(&stop.words)) "." }
                @let left = by_check(&advice.rest).len();
                @if left > 0 {
                    p {
                        (count(left, "check is left open", "checks are left open"))
                        ", at "
                        (count(stop.checks_left, "place", "places"))
                        "."
                    }
                }
                p {
                    a.button href=(view.link("choose")) { "Choose the repair" }
                }
            }
        }
        (clashes(view))
        (outside(view))
        div.two {
            div {
                @if let Some(first) = advice.next.first() {
                    section.sheet.next {
                        h2 { "Next check" }
                        (check(view, first, true))
                        @if let Some((second, lead)) = advice.lead() {
                            p.quiet {
                                "Leads until it costs "
                                (view.money(lead))
                                " more; then "
                                (second.name)
                                ", "
                                (second.place)
                                "."
                            }
                        }
                    }
                }
                @if advice.next.len() > 1 {
                    section {
                        h2.thin { "After that" }
                        ol.checks {
                            @for c in advice.next.iter().skip(1).take(5) {
                                li { (folded(view, c, 0)) }
                            }
                        }
                        @if advice.next.len() > 6 {
                            details.fold {
                                summary {
                                    ({
                                        count(
                                            advice.next.len() - 6,
                                            "more check that pays",
                                            "more checks that pay",
                                        )
                                    })
                                }
                                ol.checks {
                                    @for c in advice.next.iter().skip(6) {
                                        li { (folded(view, c, 0)) }
                                    }
                                }
                            }
                        }
                    }
                }
                @let ladder = |breadth| {
                    PreEscaped(pictures::check_ladder(advice, view.state().rates.labour_rate.as_ref(), breadth))
                };
                figure.picture.whole.wide-only { (ladder(Breadth::Sheet)) }
                figure.picture.whole.narrow-only { (ladder(Breadth::Phone)) }
                @if !advice.last_chance.is_empty() {
                    section.sheet {
                        h2 { "Last chance before it is taken apart" }
                        ul {
                            @for name in &advice.last_chance {
                                li { (name) }
                            }
                        }
                    }
                }
                @if !advice.rest.is_empty() {
                    @let rest = by_check(&advice.rest);
                    details.fold {
                        summary {
                            ({
                                count(
                                    rest.len(),
                                    "check that does not pay now",
                                    "checks that do not pay now",
                                )
                            })
                            ", at "
                            (count(advice.rest.len(), "place", "places"))
                        }
                        ol.checks {
                            @for list in &rest {
                                @if let Some(c) = list.first() {
                                    li { (folded(view, c, list.len() - 1)) }
                                }
                            }
                        }
                    }
                }
                @if !advice.withheld.is_empty() { (withheld(view)) }
            }
            (heads(view))
        }
        div.two { (found(view)) (beliefs(view)) }
    }
}

/// Readings that cannot all be true, each with the way to put it right.
fn clashes(view: &View) -> Markup {
    let Some(case) = &view.case else { return html! {} };
    html! {
        @for notice in case.notices.iter().filter(|n| n.sets_aside()) {
            section.sheet.clash {
                h2 { "These do not go together" }
                ul {
                    @for finding in case.findings.iter().filter(|f| notice.about.split(' ').any(|e| e == f.entry)) {
                        li {
                            b { (finding.check_name) }
                            ", "
                            (finding.place)
                            ": "
                            (finding.shown)
                            " "
                            a href=(view.link(&format!("entries/{}", finding.entry))) { "Put it right" }
                        }
                    }
                }
                p { (sentence(&notice.what_to_do)) "." }
            }
        }
    }
}

/// What is not the engine and is not excluded: asked first.
fn outside(view: &View) -> Markup {
    let Some(case) = &view.case else { return html! {} };
    let mut open: Vec<_> = case.outside.iter().filter(|o| o.state == "open").collect();
    open.sort_by(|a, b| a.minutes.total_cmp(&b.minutes));
    let found: Vec<_> = case.outside.iter().filter(|o| o.state == "found").collect();
    html! {
        @for o in &found {
            p.strong { "Found outside the engine: " (o.name) " (" (o.how.as_deref().unwrap_or("")) ")" }
        }
        @if !open.is_empty() {
            details.fold.sheet {
                summary {
                    "Is it the engine at all? "
                    (count(open.len(), "thing", "things"))
                    " outside it not excluded"
                }
                ul.checks {
                    @for o in &open {
                        li data-check=(o.id) {
                            h3 {
                                (o.name)
                                span.quiet { " " (format!("{:.0} min", o.minutes)) }
                            }
                            p { (o.check) }
                            (view.cautions(&o.cautions))
                            @if view.holding(&o.cautions).is_empty() {
                                ({
                                    view.form(
                                        Kind::OutsideAnswered,
                                        "Answer",
                                        &[("fault", o.id.clone())],
                                    )
                                })
                            }
                        }
                    }
                }
            }
        }
    }
}

/// The places of a check, the ones without a reading first.
fn places(view: &View, c: &CheckWorth) -> Vec<Position> {
    let mut all = if c.round.is_empty() { vec![c.position] } else { c.round.clone() };
    all.sort_by_key(|p| view.state().readings.iter().any(|r| r.check == c.check && r.position == *p));
    all
}

/// Checks with all their places together, the best place of each first.
fn by_check(list: &[CheckWorth]) -> Vec<Vec<&CheckWorth>> {
    let mut out: Vec<Vec<&CheckWorth>> = Vec::new();
    for c in list {
        match out.iter_mut().find(|g| g.first().is_some_and(|o| o.check == c.check)) {
            Some(group) => group.push(c),
            None => out.push(vec![c]),
        }
    }
    out
}

/// A check in one line; its cautions and its key are inside.
fn folded(view: &View, c: &CheckWorth, more: usize) -> Markup {
    html! {
        details.fold {
            summary {
                (c.name)
                span.place {
                    ", "
                    (c.place)
                    @if more > 0 { " and " (count(more, "more place", "more places")) }
                }
                span.quiet {
                    " · "
                    (format!("{:.0} min", c.minutes + c.access_minutes))
                    " · "
                    @if c.pays() { "worth " (view.money(c.ahead())) } @else { "does not pay" }
                }
            }
            (check(view, c, false))
        }
    }
}

/// One check: what it costs, what it is worth, what it can change, its cautions, and the way to its field.
fn check(view: &View, c: &CheckWorth, whole: bool) -> Markup {
    let known = view.knowledge().check(&c.check);
    let blocked = known.and_then(|k| workup::impossible_now(view.state(), view.knowledge(), k));
    let place = if c.also.is_empty() { c.place.clone() } else { format!("{} (and {})", c.place, c.also.join("; ")) };
    let mut outcomes: Vec<_> = c.outcomes.iter().filter(|o| o.p > 0.0005).collect();
    outcomes.sort_by(|a, b| b.p.total_cmp(&a.p));
    let best = view.case.as_ref().map_or("", |case| case.advice.best.as_str());
    let few = if whole { 6 } else { 0 };
    html! {
        article.check data-check=(c.check) {
            h3 {
                (c.name)
                span.place { ", " (place) }
            }
            p.figures {
                b { (format!("{:.0} min", c.minutes)) }
                @if c.access_minutes > 0.0 { (format!(" and {:.0} min to open", c.access_minutes)) }
                " · "
                @if c.pays() {
                    "worth "
                    b { (view.money(c.ahead())) }
                    " after its own cost of "
                    (view.money(c.cost))
                } @else {
                    "costs "
                    b { (view.money(c.cost)) }
                    ", worth "
                    (view.money(c.worth))
                }
                " · changes the choice in "
                (of_engines(c.p_changes))
                @if c.last_chance { " · last chance" }
            }
            @if let Some(together) = &c.together {
                p.quiet { (sentence(&together.in_words())) "." }
            }
            (view.cautions(&c.cautions))
            @match blocked {
                Some(why) => p.quiet {
                    (sentence(&why))
                    ". "
                    a href=(view.link("strip")) { "Tell the stage" }
                },
                None => p.go {
                    @if view.holding(&c.cautions).is_empty() {
                        @for p in places(view, c).iter().take(if whole { 8 } else { 1 }) {
                            a   .button
                                href=({
                                    view.link(
                                        &format!("enter?check={}&position={}", c.check, p.address()),
                                    )
                                })
                            {
                                "Enter"
                                @if !c.round.is_empty() { " " (view.place(p)) }
                            }
                        }
                    } @else {
                        span.quiet { "Tick the caution, then enter." }
                    }
                },
            }
            @if few > 0 && !outcomes.is_empty() {
                table.outcomes {
                    caption { "What each outcome would change" }
                    tbody {
                        @for o in outcomes.iter().take(few) {
                            tr {
                                th scope="row" { (o.words) }
                                td { (of_engines(o.p)) }
                                td {
                                    @if o.then == best && o.opens.is_empty() { "no change" } @else {
                                        "then "
                                        (within(&view.option_name(&o.then)))
                                        @if !o.opens.is_empty() {
                                            span.quiet { ", opening " (inside(&o.opens)) }
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

/// Checks that are not offered, by reason.
fn withheld(view: &View) -> Markup {
    let Some(case) = &view.case else { return html! {} };
    let mut by_reason: BTreeMap<&str, Vec<String>> = BTreeMap::new();
    for w in &case.advice.withheld {
        let name = view.knowledge().check(&w.check).map_or_else(|| words(&w.check), |c| c.name.clone());
        by_reason.entry(&w.why).or_default().push(name);
    }
    html! {
        details.fold {
            summary {
                ({
                    count(
                        case.advice.withheld.len(),
                        "check withheld, and why",
                        "checks withheld, and why",
                    )
                })
            }
            dl.withheld {
                @for (why, names) in &by_reason {
                    dt { (why) }
                    dd { (names.join("; ")) }
                }
            }
        }
    }
}

/// The figure and its limit in a few words; a look that has no limit has none.
pub(crate) fn reason(f: &Finding) -> Option<String> {
    let measured = f.value.is_some() || f.limit.is_some();
    measured.then(|| sentence(&f.reason.split("; ").take(2).collect::<Vec<_>>().join("; ")))
}

/// Why a finding stands as it does: the figure and its limit at once, where they come from behind a fold.
fn why(f: &Finding, alone: bool) -> Markup {
    let reason = reason(f);
    let rest: Vec<&str> = f.reason.split("; ").skip(2).collect();
    html! {
        p.quiet {
            @if f.limit.as_ref().is_some_and(|l| !l.own) {
                b { "A fallback, not this engine's own figure. " }
            }
            @if let Some(reason) = &reason { (reason) }
            @if let Some(g) = &f.gauge { " · " (g) }
            @if alone {
                @if reason.is_some() || f.gauge.is_some() { " · " }
                (f.by)
            }
        }
        @if let Some(word) = &f.gauge_word {
            p.gaugeword { (sentence(word)) "." }
        }
        @if reason.is_some() && !rest.is_empty() {
            details.fold.source {
                summary { "Where the limit comes from" }
                p.quiet { (sentence(&rest.join("; "))) "." }
            }
        }
    }
}

/// One finding: mark and word, value, limit and where the limit is from.
pub(crate) fn finding(view: &View, f: &Finding) -> Markup {
    let what = f.name();
    html! {
        li.finding data-entry=(f.entry) {
            (marks::mark(view.mark_of(f)))
            div {
                p {
                    b.value { (f.shown) }
                    " "
                    (what)
                    span.place {
                        ", "
                        (f.place)
                        @if let Some(s) = &f.spot { ", " (words(s)) }
                    }
                }
                (why(f, true))
                @if let Some(next) = &f.next_move {
                    p.nextmove { (next) }
                }
            }
            // What is said of a whole face rests on the entries of its lines; each of them is taken back by itself.
            @if !f.whole_face { (view.take_back(&f.entry, "Take back")) }
        }
    }
}

/// Findings of one reading, place and verdict stand together; the one furthest out speaks for the others.
fn together(view: &View, list: &[&Finding]) -> Markup {
    let mut groups: Vec<Vec<&Finding>> = Vec::new();
    for f in list.iter().copied() {
        let same = |g: &&mut Vec<&Finding>| {
            g.first().is_some_and(|o| {
                (&o.check, &o.reading, o.position, view.mark_of(o), o.whole_face)
                    == (&f.check, &f.reading, f.position, view.mark_of(f), f.whole_face)
            })
        };
        match groups.iter_mut().find(same) {
            Some(group) => group.push(f),
            None => groups.push(vec![f]),
        }
    }
    let out = |f: &&&Finding| f.p_inside.unwrap_or(1.0);
    html! {
        ul.findings {
            @for g in &groups {
                @if let (Some(f), true) = (g.iter().min_by(|a, b| out(a).total_cmp(&out(b))), g.len() > 1) {
                    li.finding {
                        (marks::mark(view.mark_of(f)))
                        div {
                            p {
                                b.value {
                                    ({
                                        g.iter()
                                            .map(|f| f.shown.as_str())
                                            .collect::<Vec<_>>()
                                            .join(", ")
                                    })
                                }
                                " "
                                (f.check_name)
                                span.place { ", " (f.place) }
                            }
                            (why(f, false))
                            @if let Some(next) = &f.next_move {
                                p.nextmove { (next) }
                            }
                        }
                        a.button.plain href=(view.link(&format!("place/{}", f.position.address()))) {
                            "One by one"
                        }
                    }
                } @else {
                    @for f in g { (finding(view, f)) }
                }
            }
        }
    }
}

/// Readings taken, the ones that ask for something first.
fn found(view: &View) -> Markup {
    let Some(case) = &view.case else { return html! {} };
    let mut list: Vec<&Finding> = case.findings.iter().filter(|f| !f.after_repair).collect();
    list.sort_by_key(|f| (u8::MAX - marks::weight(view.mark_of(f)), f.value.is_none()));
    let (odd, sound): (Vec<&Finding>, Vec<&Finding>) =
        list.into_iter().partition(|f| view.mark_of(f) != pictures::Mark::Inside);
    html! {
        section {
            h2.thin { "Readings taken" }
            @if odd.is_empty() && sound.is_empty() {
                p.quiet { "None yet." }
            }
            (along(view, |s| !s.after_repair))
            (together(view, odd.get(..odd.len().min(12)).unwrap_or_default()))
            @if odd.len() > 12 {
                details.fold {
                    summary {
                        ({
                            count(
                                odd.len() - 12,
                                "more that is not inside",
                                "more that are not inside",
                            )
                        })
                    }
                    (together(view, odd.get(12..).unwrap_or_default()))
                }
            }
            @if !sound.is_empty() {
                details.fold {
                    summary { (count(sound.len(), "reading inside", "readings inside")) }
                    (together(view, &sound))
                }
            }
        }
    }
}

/// Readings of one kind along the engine, those that ask for something first.
pub(crate) fn along(view: &View, wanted: impl Fn(&Series) -> bool) -> Markup {
    let all: Vec<&Series> = view.case.iter().flat_map(|c| &c.series).filter(|s| wanted(s)).collect();
    html! {
        @if !all.is_empty() {
            section.along {
                h3 { "Along the engine" }
                ul.findings {
                    @for s in &all {
                        li.finding data-series=(s.check) {
                            (marks::mark(marks::of_verdict(s.verdict, false)))
                            div {
                                p { (s.name()) }
                                p.quiet { (sentence(&s.words)) "." }
                            }
                            @if let Some(worst) = s.places.first() {
                                a.button.plain href=(view.link(&format!("place/{}", worst.address()))) {
                                    "The worst"
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// What is believed, each with its reasons.
fn beliefs(view: &View) -> Markup {
    let Some(case) = &view.case else { return html! {} };
    let helper = |id: &str| view.knowledge().condition(id).is_some_and(|c| c.helper);
    let causes: Vec<&Belief> = case.causes.iter().filter(|b| b.p >= 0.1).take(4).collect();
    let mut conditions: Vec<&Belief> = case.conditions.iter().filter(|b| b.p >= 0.1 && !helper(&b.id)).collect();
    // What the readings moved comes before what every engine of this age has.
    let moved = |b: &Belief| (b.p - b.before).abs() + b.p / 10.0;
    conditions.sort_by(|a, b| moved(b).total_cmp(&moved(a)));
    let one = |b: &&Belief| {
        html! {
            li {
                p {
                    b { (b.name) }
                    @if b.position.is_some_and(|p| p != Position::Engine) {
                        span.place { ", " (b.place) }
                    }
                    ": "
                    (of_engines(b.p))
                    " engines like this"
                    span.quiet { " (untested " (of_engines(b.before)) ")" }
                }
                @let beam = if b.reasons.is_empty() { String::new() } else { pictures::reasons(b) };
                @let list = if beam.is_empty() { "reasons" } else { "reasons narrow-only" };
                @if !beam.is_empty() {
                    figure.picture.wide-only { (PreEscaped(beam)) }
                }
                @if case.weighing {
                    p.quiet { "The readings for and against are being weighed." }
                } @else if b.reasons.is_empty() {
                    p.quiet { "No reading moves it." }
                } @else {
                    ul class=(list) {
                        @for r in b.reasons.iter().take(3) {
                            li { (if r.weight > 0.0 { "for: " } else { "against: " }) (r.words) }
                        }
                    }
                }
            }
        }
    };
    html! {
        section {
            h2.thin { "What is believed, and why" }
            h3 { "Why it failed" }
            ul.beliefs {
                @for b in &causes { (one(b)) }
            }
            @if causes.is_empty() {
                p.quiet { "No cause stands out." }
            }
            h3 { "What is wrong with it" }
            ul.beliefs {
                @for b in conditions.iter().take(6) { (one(b)) }
            }
            @if conditions.is_empty() {
                p.quiet { "Nothing stands out." }
            }
            @if conditions.len() > 6 {
                details.fold {
                    summary { (count(conditions.len() - 6, "more condition", "more conditions")) }
                    ul.beliefs {
                        @for b in conditions.iter().skip(6) { (one(b)) }
                    }
                }
            }
        }
    }
}

/// The heads from the fire side; every place leads to what was read there.
fn heads(view: &View) -> Markup {
    let Some(layout) = &view.state().layout else { return html! {} };
    let marks = view.marks();
    let links: BTreeMap<Position, String> =
        layout.all_positions().into_iter().map(|p| (p, view.link(&format!("place/{}", p.address())))).collect();
    html! {
        section {
            h2.thin { "The engine, place by place" }
            p.quiet { (sentence(&layout.front_statement())) "." }
            div.banks {
                @for bank in layout.banks() { (bank_of(view, layout, bank, &marks, &links)) }
            }
        }
    }
}

/// One bank: its head, and its places in words.
fn bank_of(
    view: &View,
    layout: &EngineLayout,
    bank: Bank,
    marks: &BTreeMap<Position, pictures::Mark>,
    links: &BTreeMap<Position, String>,
) -> Markup {
    let head = Position::Bank(bank);
    let drawn = |breadth| PreEscaped(pictures::head_from_fire_side(layout, &head, marks, links, breadth));
    html! {
        div {
            figure.picture.head.wide-only { (drawn(Breadth::Sheet)) }
            figure.picture.head.narrow-only { (drawn(Breadth::Phone)) }
            ul.places {
                li {
                    a href=(view.link(&format!("place/{}", head.address()))) {
                        (view.place(&head))
                        @if let Some(m) = marks.get(&head) { (marks::mark(*m)) }
                    }
                }
                @for cylinder in layout.cylinders_of(bank) {
                    @let p = Position::Cylinder(cylinder);
                    li {
                        a href=(view.link(&format!("place/{}", p.address()))) {
                            (view.place(&p))
                            (marks::mark(marks.get(&p).copied().unwrap_or(pictures::Mark::None)))
                        }
                    }
                }
            }
        }
    }
}

/// Any other reading, by the name of its check.
pub(crate) fn another(view: &View, phase: Phase, label: &str) -> Markup {
    html! {
        form.another method="get" action=(view.link("enter")) {
            @if phase != Phase::AsFound {
                input type="hidden" name="phase" value=(phase.word());
            }
            label for="another-check" { (label) }
            select id="another-check" name="check" required {
                option value="" { "choose a check" }
                @for stage in &view.knowledge().stages {
                    optgroup label=(words(&stage.id)) {
                        @for c in {
                            view.knowledge()
                                .checks
                                .iter()
                                .filter(|c| c.stage == stage.id)
                        } {
                            option value=(c.id) { (c.name) }
                        }
                    }
                }
            }
            button type="submit" { "Enter" }
        }
    }
}
