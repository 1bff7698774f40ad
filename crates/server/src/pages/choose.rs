//! Who: technician and counter together, then the customer. Moment: Choose.
//! Why so: prices as intervals on one scale, since a single figure would promise; what is ruled out stays, struck out
//! with the reading that does it. Cause and approval stand beside the choice: none of the three holds alone.

use anatomy::Known;
use documents::pictures;
use logbook::{CauseAnswer, Covers, JobState, Kind, Moment};
use maud::{Markup, PreEscaped, html};
use workup::bounds::Bounds;
use workup::choosing::Question;
use workup::committed::{Committed, Course};
use workup::{Case, OptionLine, RiskLine};

use super::{Panel, View, panel_place};
use crate::words::{amount, days, expected, inside, of_engines, price, title, when, words};

/// The page.
pub(crate) fn page(view: &View) -> Markup {
    let state = view.state();
    let body = html! {
        section.sheet {
            h2 { "Chosen" }
            @match &state.chosen {
                Some(c) => p.big {
                    (view.option_name(&c.option))
                    span.quiet { " by " (c.by) ": " (c.reason) }
                },
                None => p { "Nothing is chosen yet." },
            }
        }
        section.sheet {
            h2 { "Why it failed" }
            @match &state.cause {
                Some(CauseAnswer::Named(c)) => p {
                    b {
                        ({
                            view.knowledge()
                                .cause(&c.cause)
                                .map_or_else(|| crate::words::title(&c.cause), |k| k.name.clone())
                        })
                    }
                    " ("
                    (c.by)
                    @if let Some(b) = &c.because { ": " (b) }
                    ")"
                },
                Some(CauseAnswer::UnknownSigned(c)) => p {
                    b { "Unknown" }
                    ", signed by "
                    (c.by)
                    @if let Some(b) = &c.because { ": " (b) }
                },
                None => p.strong {
                    "Not named yet. An estimate leaves only with the cause, or with a signature that it is unknown."
                },
            }
            (view.form(Kind::CauseNamed, "Name the cause", &[]))
            (view.form(Kind::CauseUnknownSigned, "Sign that it is unknown", &[]))
        }
        (limits(view))
        (panel_place(&options(view)))
        (approvals(view))
        (view.form(Kind::QuoteReceived, "A quote came in", &[]))
        (view.form(Kind::OptionRuledOut, "Rule an option out", &[]))
        (view.form(Kind::MoneyTold, "Rates and values", &[]))
        (view.written("Written down here", super::of_moments(&[Moment::Choose])))
    };
    view.page(Moment::Choose, &body, Some((Panel::Options, None)))
}

/// The options side by side.
pub(crate) fn options(view: &View) -> Markup {
    let waiting = super::waiting(view);
    let Some(case) = &view.case else { return html! { (waiting) (super::asking::requests(view)) } };
    let (open, out): (Vec<&OptionLine>, Vec<&OptionLine>) = case.options.iter().partition(|o| o.struck_out.is_none());
    let picture = |breadth| PreEscaped(pictures::cost_intervals(&case.options, breadth));
    html! {
        (waiting)
        (super::asking::requests(view))
        section {
            h2.thin { "Ways to put it right" }
            @if view.state().rates.labour_rate.is_none() {
                p.quiet {
                    "In labour units, one billed hour each: the hourly rate is not told yet."
                }
            }
            figure.picture.wide-only { (picture(pictures::Breadth::Sheet)) }
            figure.picture.whole.narrow-only { (picture(pictures::Breadth::Phone)) }
            @if let Some(first) = case.first_place.as_ref().filter(|f| !f.words.is_empty()) {
                h3 { "How sure is the first place?" }
                ul {
                    @for words in &first.words {
                        li { (words) }
                    }
                }
            }
            (hangs_on(case))
            (bad_case(view, case))
            ol.options {
                @for o in &open {
                    li { (option(view, case, o)) }
                }
            }
            @if !out.is_empty() {
                h3 { "Ruled out" }
                ul.options {
                    @for o in &out {
                        li {
                            article.option.out {
                                h4 {
                                    s { (o.name) }
                                }
                                @if let Some(s) = &o.struck_out {
                                    p { (s.why) }
                                    @if let Some(r) = &s.reading {
                                        p.quiet { "Ruled out by: " (r) }
                                    }
                                }
                                p.quiet { "Otherwise " (price(o)) }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// What the customer cannot go beyond.
fn limits(view: &View) -> Markup {
    let bounds = Bounds::of(view.state());
    html! {
        section.sheet {
            h2 { "What the customer cannot go beyond" }
            ul {
                @if let Some((most, _)) = bounds.most {
                    li { "To pay at most: " b { (amount(most)) } }
                }
                @if let Some((day, _)) = bounds.ready_by {
                    li { "It must run by " b { (day) } }
                }
                @if let Some((bill, bears, _)) = bounds.bad_bill {
                    li {
                        "A bill of "
                        b { (amount(bill)) }
                        @match bears {
                            Known::Yes => " in the bad case could be borne",
                            Known::No => " in the bad case could not be borne",
                            Known::Unknown => " in the bad case: no answer"
                        }
                    }
                }
            }
            @if bounds.most.is_none() && bounds.ready_by.is_none() && bounds.bad_bill.is_none() {
                p { "No limit is told: nothing is struck out for money or days." }
            }
            (view.form(Kind::LimitsTold, "Tell a limit", &[]))
        }
    }
}

/// The question about the bad case, with its two answers.
fn bad_case(view: &View, case: &Case) -> Markup {
    let asks = case.comparison.as_ref().and_then(|c| c.asks.as_ref());
    let answer = |asks: &Question, bears: Known| [("bad_bill", asks.bill.clone()), ("bears", bears.word().to_owned())];
    html! {
        @if let Some(asks) = asks {
            h3 { "To ask the customer" }
            p.strong { (asks.words) }
            (view.form(Kind::LimitsTold, "No, not that much", &answer(asks, Known::No)))
            (view.form(Kind::LimitsTold, "Yes, if it must be", &answer(asks, Known::Yes)))
        }
    }
}

/// What the difference between the two that lead hangs on.
fn hangs_on(case: &Case) -> Markup {
    html! {
        @if case.weighing {
            p.quiet role="status" { "What the difference hangs on is being worked." }
        }
        @if let Some(hangs_on) = case.comparison.as_ref().and_then(|c| c.hangs_on.as_ref()) {
            h3 { "What the difference hangs on" }
            p { (hangs_on.words) "." }
            ol {
                @for hinge in &hangs_on.on {
                    li {
                        b { (title(hinge.of_it)) }
                        ": "
                        (hinge.what)
                        "."
                        span.quiet { " " (title(&hinge.next)) "." }
                    }
                }
            }
        }
    }
}

fn list(label: &str, items: &[String]) -> Markup {
    html! {
        @if !items.is_empty() {
            div {
                dt { (label) }
                dd { (items.iter().map(|w| words(w)).collect::<Vec<_>>().join(", ")) }
            }
        }
    }
}

fn option(view: &View, case: &Case, o: &OptionLine) -> Markup {
    let best = o.id == case.advice.best;
    let drawn = case.comparison.as_ref().and_then(|all| Some((all, all.way(&o.id)?)));
    let chosen = view.state().chosen.as_ref().is_some_and(|c| c.option == o.id);
    html! {
        article class=(if best { "option best" } else { "option" }) {
            h4 {
                (o.name)
                @if best {
                    b.tag { "least on average" }
                }
                @if chosen {
                    b.tag { "chosen" }
                }
            }
            dl.figures {
                div {
                    dt { "To pay now" }
                    dd {
                        b { (price(o)) }
                    }
                }
                div {
                    dt { "Ready in" }
                    dd { (days(o.days)) }
                }
                div {
                    dt { "On average, with comebacks" }
                    dd { (expected(o)) }
                }
                @if let Some((all, way)) = &drawn {
                    div {
                        dt { "In the good case, in the bad case" }
                        dd {
                            (all.amount(way.cost[0]))
                            " to "
                            (all.amount(way.cost[1]))
                        }
                    }
                    div {
                        dt { "Dearer than what turns out cheapest" }
                        dd {
                            (all.amount(way.regret))
                            " on average, in the bad case "
                            (all.amount(way.regrets[1]))
                        }
                    }
                }
                @if let Some(p) = o.p_trouble_free {
                    div {
                        dt { "Run without trouble" }
                        dd { (of_engines(p)) }
                    }
                }
                div {
                    dt { "Cheapest in the end" }
                    dd { (of_engines(o.p_first)) }
                }
            }
            @if let Some(agreed) = above(o, view.state()).filter(|_| chosen) {
                p.gaugeword {
                    "Agreed for the repair are " b { (agreed) } ". The high end is the price where everything is found that may "
                    "still be; nothing beyond what is agreed is begun before it is asked for and agreed."
                }
            }
            @if !o.opens.is_empty() {
                p.quiet {
                    "To open: "
                    (inside(&o.opens))
                    @if let Some(others) = &o.others { "; the other heads: " (others) }
                }
            }
            details.fold {
                summary { "Renewed, kept, unknown" }
                dl.lists {
                    (list("Renewed", &o.renewed))
                    (list("Kept", &o.kept))
                    (list("Of unknown history", &o.unknown_history))
                    div {
                        dt { "Warranty" }
                        dd { (o.warranty) }
                    }
                    div {
                        dt { "Price from" }
                        dd { (o.price_from) }
                    }
                }
            }
            details.fold {
                summary { "Who carries which risk" }
                dl.lists {
                    @for (who, risks) in RiskLine::by_bearer(&o.risks) {
                        div {
                            dt { "The " (who) }
                            dd { ul { @for risk in risks { li { (risk.in_words()) } } } }
                        }
                    }
                }
                p.quiet { "As is usual; what a quote or the law says goes before it." }
            }
            @if let Some(call) = case.calls.iter().find(|c| c.option == o.id) {
                details.fold {
                    summary { "Before money goes out: what to ask" }
                    ol.asks {
                        @for question in &call.questions {
                            li {
                                (question.ask)
                                p.quiet {
                                    "Good: "
                                    (question.good)
                                    @if question.tells() {
                                        ". The answer is worth "
                                        (view.money(question.worth))
                                        "."
                                    } @else { "." }
                                }
                            }
                        }
                    }
                    p.quiet {
                        "The answer worth most first; the odds of bad answers are "
                        (call.figures)
                        "."
                    }
                }
            }
            @if !chosen {
                ({
                    view.form(
                        Kind::OptionChosen,
                        "Choose this",
                        &[("option", o.id.clone())],
                    )
                })
            }
        }
    }
}

/// What is agreed for the repair, where a way can come to more than that.
fn above(o: &OptionLine, state: &JobState) -> Option<String> {
    let all = workup::committed::committed(state);
    let ceiling = all.iter().find(|c| c.covers == Covers::Repair)?.ceiling.as_ref()?;
    let money = o.money.as_ref().filter(|m| m.currency == ceiling.currency().code())?;
    (money.price[1] > ceiling.to_f64() + 0.5).then(|| amount(ceiling))
}

/// Questions for a yes, and what was answered.
fn approvals(view: &View) -> Markup {
    let state = view.state();
    let waits = workup::asking::waiting_for_answer(state, crate::surroundings::today());
    // A page is answered by its code; what was asked in words, by a form of its own.
    let in_words = waits.iter().filter(|ask| ask.code.is_none());
    html! {
        section.sheet {
            h2 { "Approval" }
            @for a in in_words {
                ({
                    view.form(
                        Kind::ApprovalGiven,
                        &format!("The customer said yes to {}, up to {}", words(a.covers.word()), amount(&a.ceiling)),
                        &[
                            ("asked", a.in_entry.to_string()),
                            ("covers", a.covers.word().to_owned()),
                        ],
                    )
                })
            }
            (super::asking::forms(view))
            ul {
                @for a in &state.approvals {
                    li {
                        b { (title(a.covers.word())) }
                        ", ceiling "
                        b { (amount(&a.ceiling)) }
                        ": "
                        (a.who)
                        ", "
                        (words(a.how.word()))
                        ", “"
                        (a.words)
                        "” "
                        span.quiet { (when(a.made_at)) }
                    }
                }
                @for r in &state.refusals {
                    li {
                        b { "Refused" }
                        ", "
                        (words(r.covers.word()))
                        ": "
                        (r.who)
                        ", “"
                        (r.words)
                        "” "
                        span.quiet { (when(r.made_at)) }
                    }
                }
            }
            @for one in &workup::committed::committed(state) { (committed(one)) }
            @for course in workup::committed::courses(state).iter().filter(|c| !c.ceilings.is_empty()) { (strip(course)) }
            (view.form(Kind::ApprovalAsked, "Ask for a yes in words", &[]))
            @if waits.is_empty() { (view.form(Kind::ApprovalGiven, "The customer said yes", &[])) }
            (view.form(Kind::ApprovalRefused, "The customer said no", &[]))
        }
    }
}

/// What was agreed over time, and what is committed below it.
fn strip(course: &Course) -> Markup {
    let picture = |breadth| PreEscaped(pictures::approval_strip(course, breadth));
    html! {
        h3 { "Agreed and committed: " (words(course.covers.word())) }
        figure.picture.wide-only { (picture(pictures::Breadth::Sheet)) }
        figure.picture.whole.narrow-only { (picture(pictures::Breadth::Phone)) }
    }
}

/// What an approval allows, and what is used of it.
fn committed(one: &Committed) -> Markup {
    html! {
        details.fold.committed {
            summary {
                (title(one.covers.word()))
                ": "
                b {
                    @match &one.used {
                        Some(used) => (amount(used)),
                        None => "nothing"
                    }
                }
                " committed"
                @match &one.ceiling {
                    Some(ceiling) => { ", of up to " b { (amount(ceiling)) } },
                    None => ", and no yes is written down"
                }
            }
            ul {
                @if let Some(added) = &one.added {
                    li { "added on parts: " (amount(added)) }
                }
                @if let Some(tax) = &one.tax {
                    li { "tax on top of what follows: " (amount(tax)) }
                }
                @for line in &one.lines {
                    li {
                        (line.what)
                        @if let Some(from) = &line.from { ", " (from) }
                        @if let Some(m) = &line.amount { ": " (amount(m)) }
                        @if let Some(why) = &line.uncounted {
                            span.quiet { " not counted: " (why) }
                        }
                    }
                }
            }
        }
    }
}
