//! Who: the counter, telephone in hand. Moment: Hear.
//! Why so: the customer's words first and untouched, then one question at a time, each answered with one key; *I do not
//! know* is always among the keys. What is answered moves up into the list and is not asked again.

use anatomy::{Assumed, EngineLayout};
use knowledge::ToldBy;
use logbook::{Kind, Moment, VehicleDescribed};
use maud::{Markup, html};

use super::View;
use crate::surroundings;
use crate::words::{amount, sentence, title, when, words};

/// One thing that nobody said of the engine, as people say it.
fn assumed_in_words(layout: &EngineLayout, assumed: &Assumed) -> String {
    let value = words(&assumed.value);
    match (assumed.field, assumed.value.as_str()) {
        ("heads", _) if layout.heads().len() == 1 => "one head".to_owned(),
        ("heads", "per-bank") => "one head on each bank".to_owned(),
        ("heads", _) => "one head on each cylinder".to_owned(),
        ("liner", "none") => "no liners".to_owned(),
        ("seat", "integral") => "seats cut into the head".to_owned(),
        ("seat", "insert") => "seats as inserts".to_owned(),
        ("bore_kind", _) => value,
        ("front", _) => format!("front at the {value}"),
        ("numbering", _) => "cylinders counted after ISO 1204".to_owned(),
        ("main_bearings" | "rod_journals", _) => format!("{value} {}", words(assumed.field)),
        (field, _) => format!("{} {value}", words(field)),
    }
}

/// The page.
pub(crate) fn page(view: &View) -> Markup {
    let state = view.state();
    let body = html! {
        section.sheet {
            h2 { "The complaint" }
            @for c in &state.complaints {
                blockquote {
                    p { "“" (c.words) "”" }
                    footer.quiet {
                        (when(c.made_at))
                        " · "
                        (c.made_by)
                        @if let Some(t) = &c.when { " · when: " (t) }
                        @if let Some(t) = &c.how_long { " · how long: " (t) }
                        @if let Some(t) = &c.done_since { " · since then: " (t) }
                    }
                }
            }
            @for c in &state.comebacks {
                blockquote.back {
                    p { "Came back: “" (c.words) "”" }
                    footer.quiet { (when(c.made_at)) " · " (c.made_by) }
                }
            }
            @if state.complaints.is_empty() {
                (view.form_open(Kind::ComplaintHeard, &[], "Keep the words"))
            } @else { (view.form(Kind::ComplaintHeard, "More words", &[])) }
        }
        section.sheet {
            h2 { "The engine" }
            @match &state.layout {
                Some(layout) => {
                    p {
                        b { (layout.in_words()) }
                        ". "
                        (sentence(&layout.front_statement()))
                        "."
                    }
                    @let assumed = layout.assumed();
                    @if !assumed.is_empty() {
                        p.quiet {
                            "Assumed, because nobody said: "
                            @for (n, a) in assumed.iter().enumerate() {
                                @if n > 0 { ", " }
                                (assumed_in_words(layout, a))
                            }
                            "."
                        }
                    }
                    (view.form(Kind::EngineDescribed, "Describe it anew", &[]))
                }
                None => div id="engine-described" {
                    (view.form_open(Kind::EngineDescribed, &[], "Keep the engine"))
                },
            }
        }
        (questions(view))
        section.sheet {
            h2 { "The vehicle" }
            (vehicle(&state.vehicle))
            (view.form(Kind::VehicleDescribed, "Say more of the vehicle", &[]))
        }
        section.sheet {
            h2 { "Money and days" }
            dl.facts {
                @if let Some(m) = &state.rates.labour_rate {
                    dt { "A billed hour" }
                    dd { (amount(m)) }
                }
                @if let Some(m) = &state.rates.standing_per_day {
                    dt { "A day standing" }
                    dd { (amount(m)) }
                }
                @if let Some(d) = state.promised {
                    dt { "Promised" }
                    dd { (d) }
                }
            }
            (view.form(Kind::MoneyTold, "Rates and values", &[]))
            (view.form(Kind::PromiseMade, "Promise a day, or move it", &[]))
            (view.form(Kind::CustomerTold, "Something was said to the customer", &[]))
        }
        (outside(view))
        (view.form(Kind::NoteWritten, "Write a note", &[]))
        (view.form(Kind::ComebackOpened, "It came back", &[]))
        (view.written("Written down here", super::of_moments(&[Moment::Hear])))
    };
    view.page(Moment::Hear, &body, None)
}

fn vehicle(v: &VehicleDescribed) -> Markup {
    let odometer = v.odometer.as_ref().map(|f| format!("{} {}", f.text, f.unit));
    let rows = [
        ("Make", v.make.clone()),
        ("Model", v.model.clone()),
        ("Plate", v.plate.clone()),
        ("Identification number", v.vin.clone()),
        ("Year", v.year.map(|y| y.to_string())),
        ("Odometer", odometer),
        ("Believed", v.odometer_believed.map(|k| k.word().to_owned())),
        ("Worth in order", v.value.as_ref().map(amount)),
    ];
    html! {
        dl.facts {
            @for (name, value) in &rows {
                @if let Some(value) = value {
                    dt { (name) }
                    dd { (value) }
                }
            }
        }
        @if rows.iter().all(|(_, v)| v.is_none()) {
            p.quiet { "Nothing said yet." }
        }
    }
}

/// The questions that move the odds, one open at a time.
fn questions(view: &View) -> Markup {
    let asked: Vec<_> = view.knowledge().attributes.iter().filter(|a| a.told_by == ToldBy::OwnerOrShop).collect();
    let (told, open): (Vec<_>, Vec<_>) = asked.into_iter().partition(|a| view.told(&a.id).is_some());
    html! {
        section.sheet id="questions" {
            h2 { "What moves the odds" }
            @if !told.is_empty() {
                dl.facts {
                    @for a in &told {
                        dt { (title(&a.id)) }
                        dd { (words(view.told(&a.id).unwrap_or_default())) }
                    }
                }
            }
            @if let Some(first) = open.first() { (question(view, first)) }
            @if open.len() > 1 {
                details.fold {
                    summary { "The other " (open.len() - 1) " questions" }
                    @for a in open.iter().skip(1) { (question(view, a)) }
                }
            }
            @if open.is_empty() {
                p.quiet { "Everything is answered." }
            }
        }
    }
}

fn question(view: &View, a: &knowledge::Attribute) -> Markup {
    let unknown = a.values.iter().any(|v| v == "unknown");
    let told_by = format!("told-by-{}", a.id);
    html! {
        form.question method="post" action=(view.link("tell/attribute-told")) data-once="" {
            input type="hidden" name="entry" value=(surroundings::new_entry());
            input type="hidden" name="back" value=(view.here);
            input type="hidden" name="attribute" value=(a.id);
            fieldset {
                legend { (title(&a.id)) }
                p.quiet { (a.plain) }
                div.field {
                    label for=(told_by) { "Told by" }
                    input type="text" id=(told_by) name="told_by" value=(view.who);
                }
                div.outcome-keys {
                    @for v in a.values.iter().filter(|v| *v != "unknown") {
                        button.key type="submit" name="value" value=(v) { (words(v)) }
                    }
                    @if unknown {
                        button.key type="submit" name="value" value="unknown" { "I do not know" }
                    }
                }
                @if !unknown {
                    p.quiet { "If nobody knows, leave it: nothing is assumed from silence." }
                }
            }
        }
    }
}

/// What looks like the engine and is not.
fn outside(view: &View) -> Markup {
    let Some(case) = &view.case else { return html! {} };
    html! {
        details.fold.sheet {
            summary { "Outside the engine: what else explains this complaint" }
            ul.checks {
                @for o in &case.outside {
                    li data-check=(o.id) {
                        h3 {
                            (o.name)
                            ": "
                            (o.state)
                            @if let Some(how) = &o.how {
                                span.quiet { " (" (how) ")" }
                            }
                        }
                        @if o.state == "open" {
                            p { (o.check) " " (format!("{:.0} min", o.minutes)) }
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
