//! Who: the machinist or technician with a micrometer in the other hand. Moment: any, and no job is needed.
//! Why so: the fields stand in the order in which things are measured, each with its unit; the answer stands above them once
//! there is one, and what it rests on below it. An address holds the whole question, so that it can be kept and sent.

use maud::{Markup, PreEscaped, html};
use mechanics::shown::figure;
use mechanics::{Answer, CalcError, Calculator, Group, Input, InputKind, catalogue};

use super::{SIGN, shell};
use crate::forms::Typed;

/// The list.
pub(crate) fn list(who: &str) -> Markup {
    let body = html! {
        main id="main" {
            h1 { "Bench calculators" }
            p.quiet {
                "Each carries the doubt of what is typed through to its answer: 88.02 ± 0.01. Any unit of the kind may be typed."
            }
            @for group in Group::ALL {
                @let here: Vec<&Calculator> = catalogue().iter().filter(|c| c.group == group).collect();
                @if !here.is_empty() {
                    section {
                        h2.thin { (group.heading()) }
                        ul.calculators {
                            @for c in here {
                                li {
                                    a href=(format!("/calculators/{}", c.id)) {
                                        b { (c.name) }
                                        span.quiet { (c.meaning) }
                                    }
                                }
                            }
                        }
                    }
                }
            }
            p {
                a.button href="/residues" { "What is this on the part?" }
                " "
                a.button href="/sources" { "Where the figures of the book come from" }
            }
        }
    };
    shell("Bench calculators", who, &body)
}

/// A calculator, with what was typed and what it says.
pub(crate) fn page(
    c: &'static Calculator,
    who: &str,
    typed: &Typed,
    answer: Option<&Result<Answer, CalcError>>,
) -> Markup {
    let trouble = answer.and_then(|a| a.as_ref().err());
    let example: Vec<String> =
        c.example.iter().map(|(key, text)| format!("{key}={}", crate::door::escaped(text))).collect();
    let body = html! {
        main id="main" {
            p.back { a href="/calculators" { "All calculators" } }
            h1 { (c.name) }
            p { (crate::words::sentence(c.meaning)) "." }
            @if measured(c) {
                p.quiet {
                    "Another unit may be typed behind a number: 7 thou, 2.25 in. A standard uncertainty u stands behind ±: 57.007 ± 0.002."
                }
            }
            (cautions(c.cautions))
            @if let Some(Ok(answer)) = answer { (said(c, answer, super::sketches::of(c, typed))) }
            @if let Some(error) = trouble {
                p.wrong role="alert" { (crate::words::sentence(&error.to_string())) "." }
            }
            section.sheet {
                form.calculator method="get" action=(format!("/calculators/{}", c.id)) {
                    @for input in c.inputs {
                        (field(input, typed, trouble))
                    }
                    @if measured(c) { details.fold open[mechanics::doubt::COMMON_KEYS.iter().any(|k| typed.contains_key(k.key))] {
                        summary { "More on the doubt" }
                        @for common in mechanics::doubt::COMMON_KEYS {
                            div.field {
                                label for=(common.key) { (crate::words::title(common.key)) }
                                input
                                    type="text"
                                    id=(common.key)
                                    name=(common.key)
                                    value=(typed.get(common.key).map_or("", String::as_str))
                                    autocomplete="off";
                                p.quiet { (common.meaning) ". For example: " span.code { (common.example) } }
                            }
                        }
                    } }
                    button type="submit" { "Work it out" }
                    a.button.plain href=(format!("/calculators/{}?{}", c.id, example.join("&"))) { "Show the example" }
                }
            }
            section {
                h2.thin { "What it says, and where it comes from" }
                @if !matches!(answer, Some(Ok(_))) {
                    ul {
                        @for output in c.outputs {
                            li { (crate::words::sentence(output.meaning)) ", " (output.counted()) }
                        }
                    }
                }
                (workings(c))
                @for source in c.sources { p.quiet { "Source: " (source) "." } }
                p.quiet { "On the command line: " span.code { (c.example_command()) } }
            }
        }
    };
    shell(c.name, who, &body)
}

/// How each result is worked out, in the keys, and what the keys stand for.
fn workings(c: &Calculator) -> Markup {
    let kinds =
        |input: &Input| if input.unit_symbol() == "1" { String::new() } else { format!(", {}", input.unit_symbol()) };
    html! {
        details.fold {
            summary { "How each figure is worked out" }
            ul.workings {
                @for line in c.workings {
                    li { @if line.contains(" = ") { span.code { (line) } } @else { (crate::words::sentence(line)) } }
                }
            }
            div.scroll {
                table {
                    thead { tr { th { "Word" } th { "What it stands for" } } }
                    tbody {
                        @for input in c.inputs.iter().filter(|i| i.kind != InputKind::Choice) {
                            tr { td { span.code { (input.key) } } td { (typed_out(input.meaning)) (kinds(input)) } }
                        }
                        @for output in c.outputs {
                            tr { td { span.code { (output.key) } } td { (crate::words::sentence(output.meaning)) ", " (output.counted()) } }
                        }
                    }
                }
            }
        }
    }
}

pub(super) fn cautions(all: &[&str]) -> Markup {
    html! {
        @if !all.is_empty() {
            ul.cautions {
                @for text in all {
                    li.caution {
                        (PreEscaped(SIGN))
                        div { (crate::words::sentence(text)) }
                    }
                }
            }
        }
    }
}

/// Whether it must be given, a word to choose written as the list below it has it.
fn need(input: &Input) -> String {
    match input.default {
        Some(default) if input.kind == InputKind::Choice => {
            input.need().replace(default, &crate::words::words(default))
        }
        _ => input.need(),
    }
}

fn field(input: &Input, typed: &Typed, trouble: Option<&CalcError>) -> Markup {
    let value = typed.get(input.key).map_or("", String::as_str);
    let here = trouble.filter(|t| t.key() == Some(input.key));
    // What is typed as a number or chosen speaks for itself; a row of cells does not.
    let how = match input.kind {
        InputKind::Table | InputKind::Lines => {
            Some(format!("{}, one row a line.", crate::words::sentence(&input.how())))
        }
        InputKind::Number | InputKind::Text | InputKind::Choice => None,
    };
    let hint = how.as_ref().map(|_| format!("{}-how", input.key));
    html! {
        div class=(if here.is_some() { "field bad" } else { "field" }) {
            label for=(input.key) {
                (typed_out(input.meaning))
                @if !input.required {
                    " "
                    span.may { "(" (need(input)) ")" }
                }
            }
            @match input.kind {
                InputKind::Number | InputKind::Text => {
                    div.with-unit {
                        input
                            type="text"
                            id=(input.key)
                            name=(input.key)
                            value=(value)
                            autocomplete="off"
                            aria-describedby=[hint.as_deref()]
                            aria-invalid=[here.map(|_| "true")];
                        @if !matches!(input.unit_symbol(), "" | "1" | "any") && !has_unit(value) {
                            span.unit { (input.unit_symbol()) }
                        }
                    }
                }
                InputKind::Choice => {
                    select id=(input.key) name=(input.key) aria-describedby=[hint.as_deref()] {
                        @if input.default.is_none() { option value="" { "not told" } }
                        @for choice in input.choices {
                            option value=(choice) selected[*choice == value || (value.is_empty() && input.default == Some(*choice))] {
                                (crate::words::words(choice))
                            }
                        }
                    }
                }
                InputKind::Table | InputKind::Lines => {
                    textarea
                        id=(input.key)
                        name=(input.key)
                        rows="6"
                        spellcheck="false"
                        aria-describedby=[hint.as_deref()]
                        aria-invalid=[here.map(|_| "true")]
                    { (rows(value)) }
                }
            }
            @if let Some(how) = how { p.quiet id=[hint.as_deref()] { (how) } }
        }
    }
}

/// Whether a unit was typed with the number: the unit of the field would stand beside it as a second one.
fn has_unit(value: &str) -> bool {
    value.contains(|c: char| c.is_alphabetic() || matches!(c, '°' | '%' | '"'))
}

/// Whether anything that was measured is typed: only that has a unit and a doubt.
fn measured(c: &Calculator) -> bool {
    c.inputs.iter().any(|input| input.kind == InputKind::Number)
}

/// Words with what is to be typed set apart.
fn typed_out(text: &str) -> Markup {
    html! {
        @for (place, part) in crate::words::sentence(text).split('`').enumerate() {
            @if place % 2 == 1 { span.code { (part) } } @else { (part) }
        }
    }
}

/// Rows that were written behind one another, one below the other.
fn rows(text: &str) -> String {
    if text.contains('\n') {
        return text.to_owned();
    }
    text.split(';').map(str::trim).collect::<Vec<_>>().join("\n")
}

fn said(c: &'static Calculator, answer: &Answer, sketch: Option<(String, String)>) -> Markup {
    let meaning = |key: &str| c.outputs.iter().find(|o| o.key == key).map_or("", |o| o.meaning);
    html! {
        section.sheet.answer aria-live="polite" {
            dl.figures {
                @for line in &answer.results {
                    @let figure = figure(line);
                    div {
                        dt { (crate::words::sentence(meaning(line.key))) }
                        dd {
                            b.value { (figure.value) " " (figure.unit) }
                            @if let Some(other) = &figure.other {
                                br;
                                span.quiet { (other) }
                            }
                            @if let Some(u) = &figure.u {
                                br;
                                span.quiet { "u " (u) " " (figure.unit) }
                            }
                            @if let Some(drawn) = &line.drawn {
                                br;
                                span.quiet {
                                    "by draws: u "
                                    (quantity::print::printed(drawn.u, 2))
                                    ", 95 in 100 between "
                                    (quantity::print::printed(drawn.low, 5))
                                    " and "
                                    (quantity::print::printed(drawn.high, 5))
                                    " " (line.unit.symbol())
                                }
                            }
                        }
                    }
                }
            }
            @if let Some((sheet, phone)) = sketch {
                div.picture.whole.wide-only { (PreEscaped(sheet)) }
                div.picture.whole.narrow-only { (PreEscaped(phone)) }
            }
            @if !answer.notes.is_empty() {
                ul.notes {
                    @for note in &answer.notes { li { (crate::words::sentence(note)) } }
                }
            }
            @if !answer.budget.is_empty() {
                details.fold {
                    summary { "Where the doubt comes from" }
                    div.scroll {
                        table {
                            thead {
                                tr {
                                    th { "Result" }
                                    th { "Input" }
                                    th { "Its u" }
                                    th { "Change per unit" }
                                    th { "Share" }
                                }
                            }
                            tbody {
                                @for (key, shares) in &answer.budget {
                                    @for share in shares {
                                        tr {
                                            td { (crate::words::words(key)) }
                                            td { (crate::words::words(&share.input)) }
                                            td { (quantity::print::printed(share.u, 2)) " " (share.unit) }
                                            td { (quantity::print::printed(share.sensitivity, 3)) }
                                            td { (quantity::print::printed(100.0 * share.share, 2)) " %" }
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
