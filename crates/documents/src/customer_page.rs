//! The page for the customer as one file: what is asked, what is wrong, the ways side by side, and how to answer.
//!
//! It is HTML that opens in any browser without an account. It loads nothing, runs nothing and holds no link: pictures and
//! styles stand in the file, and its policy forbids everything else. What people wrote goes in as text and cannot become
//! markup. The prose is kept at a reading age of twelve (`tests/whole/reading.rs` has the formula).

use logbook::AnswerCode;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use workup::OptionLine;
use workup::customer_page::{CustomerPage, Way};

use crate::pictures::{Breadth, cost_intervals, ten_engines};

/// The styles of the page.
const STYLE: &str = include_str!("../assets/customer-page.css");
/// Nothing may be loaded, sent or run; only the styles in the file count.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'";

/// What a page says of itself, besides what it offers.
#[derive(Debug, Clone)]
pub struct Leaf<'a> {
    /// The name of the shop, where it has told one.
    pub shop: Option<&'a str>,
    /// The code of the request; none for a look at a page that is not sent.
    pub code: Option<&'a AnswerCode>,
    /// The date of issue, such as `2026-11-27`.
    pub issued: &'a str,
    /// The last eight characters of the logbook's chain.
    pub chain_tail: &'a str,
}

/// Writes the page of a request as one HTML file.
#[must_use]
pub fn file(page: &CustomerPage, leaf: &Leaf<'_>) -> Vec<u8> {
    let shop = leaf.shop.unwrap_or("The engine workshop");
    let version: String = page.hash().chars().take(8).collect();
    let whole = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(POLICY);
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="robots" content="noindex";
                title { (shop) ": " (page.title) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                (head(page, leaf, shop))
                main {
                    (asked(page, leaf))
                    (told(page))
                    (wrong(page))
                    section {
                        h2 { "Why it failed" }
                        p { (page.cause) }
                    }
                    (ways(page))
                    (moves(page))
                    (about())
                }
                footer {
                    p {
                        "Job " (page.job) ", page " (version) ", record " (leaf.chain_tail) ", made on "
                        (leaf.issued) "."
                    }
                }
            }
        }
    };
    whole.into_string().into_bytes()
}

/// A picture as it stands within a page, where it needs no name space.
fn inline(svg: &str) -> PreEscaped<String> {
    PreEscaped(svg.replacen(" xmlns=\"http://www.w3.org/2000/svg\"", "", 1))
}

fn head(page: &CustomerPage, leaf: &Leaf<'_>, shop: &str) -> Markup {
    let field = |name: &str, says: &str| {
        html! {
            @if !says.is_empty() {
                div {
                    dt { (name) }
                    dd { (says) }
                }
            }
        }
    };
    html! {
        header {
            p { b { (shop) } }
            h1 { (page.title) }
            dl.meta {
                (field("Job", &page.job))
                (field("Customer", page.customer.as_deref().unwrap_or("")))
                (field("Vehicle", &page.vehicle))
                (field("Engine", &page.engine))
                (field("Date", leaf.issued))
            }
        }
    }
}

/// What is asked, and how the answer comes back.
fn asked(page: &CustomerPage, leaf: &Leaf<'_>) -> Markup {
    html! {
        section.ask {
            h2 { "What we ask you" }
            p.question { (page.question) }
            p {
                "The most it may cost: "
                b { (page.ceiling) }
                ". This holds all work, all parts and all tax. "
                @if page.may_pass {
                    "It can turn out that this is not enough. Then we stop and ask you first."
                } @else { "If we find more, we stop and ask you first." }
            }
            @if let Some(day) = page.answer_by {
                p {
                    "Please answer by "
                    b { (day) }
                    "."
                }
            }
            @if let Some(day) = page.prices_until {
                p { "The first of the prices we were given holds until " (day) "." }
            }
            @match leaf.code {
                Some(code) => {
                    h3 { "How to answer" }
                    p { "Your code is" }
                    p.code { (code) }
                    ol {
                        li { "Call us, or reply to the message that this page came with." }
                        li { "Give us the code." }
                        li { "Say yes or no. If it is yes, say the most it may cost." }
                    }
                    p { "We write your words down just as you say them. No answer means no work." }
                    p {
                        "If a price or a day on this page changes, this page no longer counts. We then make a new one "
                        "and ask you again."
                    }
                }
                None => p.mark {
                    "This is only a look at the page. It has no code and was not sent. It can not be answered."
                }
            }
        }
    }
}

fn told(page: &CustomerPage) -> Markup {
    html! {
        @if !page.told.is_empty() {
            section {
                h2 { "What you told us" }
                @for words in &page.told {
                    blockquote { "“" (words) "”" }
                }
            }
        }
    }
}

fn wrong(page: &CustomerPage) -> Markup {
    html! {
        section {
            h2 { "What is wrong" }
            @if page.wrong.is_empty() {
                p { "No fault stands out so far." }
            } @else {
                p {
                    "How sure are we? Each row shows ten engines that read as yours does. The lined ones have the fault."
                }
                ul.wrong {
                    @for one in &page.wrong {
                        li {
                            b { (one.sure) ". " (one.what) "." }
                            (inline(&ten_engines(one.p)))
                            span.quiet { (workup::words::sentence(&one.words)) "." }
                        }
                    }
                }
            }
            @for found in &page.beside {
                p { "Found beside the engine: " (found) "." }
            }
        }
    }
}

fn ways(page: &CustomerPage) -> Markup {
    let lines: Vec<OptionLine> =
        page.ways.iter().map(|way| OptionLine { name: way.name.clone(), ..way.line.clone() }).collect();
    html! {
        section {
            h2 { "What you can do" }
            p {
                "Here are the ways side by side. Each price has a low end and a high end. We think that the true price will "
                "lie in between."
            }
            @if let Some(tax) = &page.tax {
                p { (tax) }
            }
            figure.wide { (inline(&cost_intervals(&lines, Breadth::Sheet))) }
            figure.narrow { (inline(&cost_intervals(&lines, Breadth::Phone))) }
            ul.ways {
                @for one in &page.ways { (way(one)) }
            }
            p.quiet {
                "Who pays for what is as is usual here. The law where you live may give you more."
            }
        }
    }
}

fn way(way: &Way) -> Markup {
    let mut class = "way".to_owned();
    for (is, word) in [(way.asked, " asked"), (way.ruled_out.is_some(), " out")] {
        if is {
            class.push_str(word);
        }
    }
    html! {
        li class=(class) {
            h3 { (way.name) }
            @if way.asked {
                b.tag { "We ask about this one" }
            }
            @if way.best {
                b.tag { "Costs least in the end, on average" }
            }
            @if let Some(why) = &way.ruled_out {
                p { "This is ruled out: " (why.trim_end_matches('.')) "." }
            }
            dl {
                dt { "Price now" }
                dd { b { (way.price) } }
                @if let Some(with_tax) = &way.with_tax {
                    dt { "With the tax" }
                    dd { b { (with_tax) } }
                }
                dt { "Time until it is ready" }
                dd { (way.days) }
                @if let Some(runs) = &way.runs {
                    dt { "Will run on with no more trouble" }
                    dd { (runs) }
                }
                dt { "Warranty" }
                dd { (way.warranty) }
                @for bears in &way.bears {
                    dt {
                        @if bears.who == "You" || bears.who == "We" { (bears.who) " pay if" } @else { (bears.who) " pays if" }
                    }
                    dd {
                        ul {
                            @for risk in &bears.risks {
                                li { (risk) }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn moves(page: &CustomerPage) -> Markup {
    let name = page.ways.iter().find(|way| way.asked).map_or("", |way| way.name.as_str());
    html! {
        @if !page.moves.is_empty() {
            section {
                h2 { "What can move the price" }
                p { "This can go wrong or come on top with the way we ask about, " (name) ":" }
                ul {
                    @for one in &page.moves {
                        li { (one) }
                    }
                }
            }
        }
    }
}

fn about() -> Markup {
    html! {
        section {
            h2 { "About this page" }
            p {
                "This page is one file. It loads nothing and it holds no link. A link would work inside our shop only. So "
                "the answer comes to us by voice or in a message, with the code."
            }
            p {
                "The odds speak of engines like yours. They are no promise. Ask us for the readings behind them; we keep "
                "them and can show you."
            }
            p { "Keep this page. It shows what you were asked." }
        }
    }
}
