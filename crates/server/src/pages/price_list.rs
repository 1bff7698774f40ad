//! Who: the counter, with a supplier's table. Moment: Order.
//! Why so: what would be taken stands before it is kept, line by line, since a wrong column makes every price wrong; below it stands
//! only what the list itself does not say.

use logbook::QuoteReceived;
use maud::{Markup, html};
use workup::price_list::{self, COLUMNS, CURRENCY, DAYS, SUPPLIER};

use super::View;
use crate::forms::Typed;
use crate::surroundings;
use crate::words::{amount, count};
use logbook::Moment;

/// How many rows can be named by their words at once.
pub(crate) const NAMED: usize = 6;

/// What a look at a list gave.
#[derive(Debug)]
pub(crate) enum Looked {
    /// Nobody has given one yet.
    Not,
    /// It cannot be taken, and why.
    Wrong(String),
    /// What would be taken, each with its line, and how many rows are for no need.
    Found(Vec<(u64, QuoteReceived)>, usize),
}

/// The page: the list, what it does not say, and what would be taken.
pub(crate) fn page(view: &View, typed: &Typed, looked: &Looked) -> Markup {
    let text = typed.get("text").map_or("", String::as_str);
    let told = |name: &str| typed.get(name).map_or("", String::as_str);
    let headings = price_list::headings(text);
    let body = html! {
        section.sheet {
            h2 { "Quotes out of a price list" }
            @match looked {
                Looked::Not => {
                    p { "A table as CSV, its first line naming the columns. Nothing is kept before you have seen what would be taken." }
                }
                Looked::Wrong(why) => {
                    p.wrongline id="list-wrong" role="alert" { (crate::words::sentence(why)) "." }
                }
                Looked::Found(quotes, left) => {
                    @if quotes.is_empty() {
                        p.strong { "No row is for a need that is known. Name rows by their words below, then look again." }
                    } @else {
                        p { (count(quotes.len(), "quote would be kept:", "quotes would be kept:")) }
                        ul.rows {
                            @for (line, quote) in quotes {
                                li {
                                    b {
                                        ({
                                            price_list::need_name(
                                                view.state(),
                                                view.knowledge(),
                                                quote.need.as_deref().or(quote.option.as_deref()).unwrap_or_default(),
                                            )
                                        })
                                    }
                                    ", " (amount(&quote.price)) " from " (quote.supplier)
                                    @let [best, worst] = quote.lead_days;
                                    @if best == worst {
                                        ", " (count(usize::try_from(best).unwrap_or(0), "day", "days"))
                                    } @else { ", " (best) " to " (worst) " days" }
                                    span.quiet { " · line " (line) }
                                }
                            }
                        }
                    }
                    p.quiet { (count(*left, "row is for no need of this job.", "rows are for no need of this job.")) }
                }
            }
            form method="post" action=(view.link("price-list")) enctype="multipart/form-data" {
                @if text.is_empty() {
                    label for="list-file" { "The file" }
                    input type="file" id="list-file" name="file" accept=".csv,text/csv,text/plain";
                    label for="list-text" { "Or its text" }
                    textarea id="list-text" name="text" rows="6" {}
                } @else {
                    textarea hidden name="text" { "\n" (text) }
                }
                label for="list-supplier" { (SUPPLIER) ", where no column says so" }
                input type="text" id="list-supplier" name="supplier" value=(told("supplier"));
                label for="list-currency" { (CURRENCY) ", where none stands" }
                input type="text" id="list-currency" name="currency" value=(told("currency")) placeholder="EUR" size="5";
                label for="list-days" { (DAYS) ", at best and at worst, where no column says so" }
                input type="text" id="list-days" name="days" value=(told("days")) placeholder="2..5";
                @if !headings.is_empty() {
                    details.fold open[matches!(looked, Looked::Wrong(_))] {
                        summary { (COLUMNS) }
                        @for (n, name) in price_list::may_be().enumerate() {
                            @let field = format!("column.{name}");
                            label for=(format!("column-{n}")) { (crate::words::sentence(name)) }
                            select id=(format!("column-{n}")) name=(field) {
                                option value="" { "as its heading says" }
                                @for heading in &headings {
                                    option value=(heading) selected[told(&field) == heading] { (heading) }
                                }
                            }
                        }
                    }
                    details.fold open[matches!(looked, Looked::Found(quotes, _) if quotes.is_empty())] {
                        summary { "Rows named by their words" }
                        @for n in 0..NAMED {
                            @let (need, words) = (format!("take.{n}.need"), format!("take.{n}.words"));
                            label for=(format!("need-{n}")) { "For" }
                            select id=(format!("need-{n}")) name=(need) {
                                option value="" { "nothing" }
                                @for (id, name, _) in price_list::needs(view.knowledge()) {
                                    option value=(id) selected[told(&need) == id] { (name) }
                                }
                            }
                            label for=(format!("words-{n}")) { "the row that holds" }
                            input type="text" id=(format!("words-{n}")) name=(words) value=(told(&words));
                        }
                    }
                }
                @if let Looked::Found(quotes, _) = looked {
                    @for n in 0..quotes.len() {
                        input type="hidden" name=(format!("entry.{n}")) value=(surroundings::new_entry());
                    }
                }
                p {
                    @if matches!(looked, Looked::Found(quotes, _) if !quotes.is_empty()) {
                        button type="submit" name="step" value="keep" { "Keep them" }
                        " "
                        button.plain type="submit" name="step" value="look" { "Look again" }
                    } @else {
                        button type="submit" name="step" value="look" { "Look what it holds" }
                    }
                }
            }
            p {
                a.button.plain href=(view.link("price-list")) { "Another list" }
                " "
                a.button.plain href=(view.link("order#quotes")) { "Back to the quotes" }
            }
        }
    };
    view.page(Moment::Order, &body, None)
}
