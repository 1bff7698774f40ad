//! Who: the counter, with the customer on the telephone. Moment: Choose, between the choice and the order.
//! Why so: what waits stands first, each with its code and whether it still holds; then the answer by code, since the code is
//! what the customer has in hand; a new page last, because it is made least often.

use anatomy::EntryId;
use documents::customer_page::{Leaf, file};
use knowledge::Knowledge;
use logbook::{
    AnswerCode, ApprovalAsked, ApprovalGiven, ApprovalRefused, Channel, Covers, EntryBody, Fact, JobState, Kind,
};
use maud::{Markup, html};
use quantity::Money;
use serde_json::Value;
use workup::asking::{self, Standing};
use workup::customer_page::{CustomerPage, PageError, Question};

use super::View;
use crate::desk::{Bench, Job};
use crate::forms::{self, Ask, Form, Typed, may, need};
use crate::surroundings;
use crate::trouble::FieldTrouble;
use crate::words::{amount, title, words};

/// The form by which a page is asked for.
pub(crate) const PAGE: &str = "page";
/// The form by which an answer is kept.
pub(crate) const ANSWER: &str = "answer";

/// How a request stands, as far as the bench knows now.
pub(crate) fn standing(bench: &Bench, job: &std::sync::Arc<Job>, ask: &Fact<ApprovalAsked>) -> Standing {
    let today = surroundings::today();
    let told = asking::standing_without_case(&job.state, ask, today);
    if told != Standing::NotWorked {
        return told;
    }
    // Only what hangs on the work-up asks for one.
    let now = bench.standing(job);
    if !now.current {
        return Standing::NotWorked;
    }
    asking::standing(&job.state, bench.knowledge(), now.case.as_deref(), ask, today)
}

/// The requests that wait, each with its code and how it stands.
pub(crate) fn requests(view: &View) -> Markup {
    let state = view.state();
    let waits = asking::waiting_for_answer(state, surroundings::today());
    html! {
        @if !waits.is_empty() {
            section.sheet.requests {
                h2 { "Asked and not answered" }
                @for ask in &waits { (request(view, ask)) }
            }
        }
    }
}

fn request(view: &View, ask: &Fact<ApprovalAsked>) -> Markup {
    let standing = standing(&view.bench, &view.job, ask);
    let code = ask.code.as_deref().map(asking::shown);
    html! {
        article.request {
            h3 {
                (title(ask.covers.word()))
                ", up to "
                (amount(&ask.ceiling))
                @if let Some(code) = &code {
                    ", code "
                    span.code { (code) }
                }
            }
            p.quiet { "“" (ask.words) "” " (crate::words::when(ask.made_at)) }
            @match &standing {
                Standing::Void { changed } => {
                    p.strong { "Ask again: what the page shows has changed." }
                    ul {
                        @for change in changed {
                            li { (workup::words::sentence(&change.in_words())) }
                        }
                    }
                }
                Standing::Overdue { answer_by } => p.strong { "Overdue: an answer was asked for by " (answer_by) "." },
                Standing::NotWorked => p.quiet role="status" { "Whether what the page shows still holds is being worked." },
                Standing::Open => {
                    @if let Some(day) = ask.answer_by { p { "An answer is asked for by " (day) "." } }
                }
                Standing::Answered { .. } | Standing::AskedAgain { .. } => ""
            }
            @if let (Some(code), Standing::Open | Standing::Overdue { .. }) = (&code, &standing) {
                p {
                    a.button.plain href=(view.link(&format!("page/{code}.html"))) download=(format!("customer-page-{code}.html")) {
                        "The customer page as a file"
                    }
                }
            }
        }
    }
}

/// The form for an answer by code, and the one for a new page.
pub(crate) fn forms(view: &View) -> Markup {
    if !view.takes(Kind::ApprovalAsked) {
        return html! {};
    }
    let codes = asking::codes(view.state()).next().is_some();
    html! {
        @if codes || view.asking_came_back(ANSWER).is_some() {
            details.fold id="answer" open {
                summary { "An answer came, with a code" }
                (form(view, ANSWER, answer_fields(), "Keep the answer"))
            }
        }
        details.fold id="make-page" open[view.asking_came_back(PAGE).is_some()] {
            summary { "Make the customer page" }
            p.quiet {
                "One file that opens without an account. Send it by any message, or print it. The answer comes back with a short "
                "code, by voice or in writing. A link is not offered: this bench answers the shop's own devices only, so a link "
                "would open nowhere else."
            }
            @match ready(view) {
                Ok(()) => {
                    @if let Some(way) = asked_about(view) {
                        p { "It asks about " b { (way.name) } ", " (crate::words::price(way)) " now." }
                    }
                    (form(view, PAGE, page_fields(view.state()), "Make it and ask"))
                    p {
                        a.button.plain href=(view.link("look.html")) { "Look at it first, nothing is asked" }
                    }
                }
                Err(why) => p.strong { "Not yet: " (why) "." }
            }
        }
    }
}

/// The way that a new page asks about: the chosen one, else the one that costs least on average.
fn asked_about(view: &View) -> Option<&workup::OptionLine> {
    let case = view.case.as_deref()?;
    let asked = view.state().chosen.as_ref().map_or(case.advice.best.as_str(), |c| c.option.as_str());
    case.options.iter().find(|o| o.id == asked)
}

/// Whether anything stands in the way of a page; while the job is worked nothing is said to.
fn ready(view: &View) -> Result<(), PageError> {
    if view.state().cause.is_none() {
        return Err(PageError::CauseUnnamed);
    }
    let Some(case) = &view.case else { return Ok(()) };
    if case.options.iter().all(|o| o.money.is_none()) {
        return Err(PageError::NoPrice);
    }
    Ok(())
}

fn form(view: &View, which: &'static str, fields: Vec<forms::Field>, button: &str) -> Markup {
    let none = Typed::new();
    let returned = view.asking_came_back(which);
    Form {
        action: view.link(which),
        fields,
        typed: returned.map_or(&none, |(typed, _)| typed),
        errors: returned.map_or(&[], |(_, errors)| errors),
        back: view.here.clone(),
        button,
    }
    .show()
}

fn page_fields(state: &JobState) -> Vec<forms::Field> {
    let covers = [Covers::Repair, Covers::FurtherWork];
    let mut fields = vec![
        need("ceiling", "The most it may cost, all in", Ask::Money),
        may("answer_by", "Answer by", Ask::Day),
        may("words", "The question in your own words", Ask::Long),
    ];
    // Work beyond the repair is asked for after the repair was.
    if state.approvals.iter().any(|a| a.covers == Covers::Repair) {
        let covers = covers.iter().map(|c| (c.word().to_owned(), words(c.word()))).collect();
        fields.insert(0, need("covers", "For what", Ask::Pick(covers)));
    }
    fields
}

fn answer_fields() -> Vec<forms::Field> {
    let said = [("yes", "Yes"), ("no", "No")].map(|(word, shown)| (word.to_owned(), shown.to_owned()));
    vec![
        need("code", "Code the customer read out", Ask::Line),
        need("answer", "The answer", Ask::Pick(said.to_vec())),
        may("ceiling", "With a yes: the most it may cost, where it is less than asked", Ask::Money),
        need("who", "Who said so", Ask::Line),
        need(
            "how",
            "How it came",
            Ask::Pick(Channel::ALL.iter().map(|c| (c.word().to_owned(), words(c.word()))).collect()),
        ),
        need("words", "The exact words", Ask::Long),
    ]
}

fn text<'v>(value: &'v Value, name: &str) -> Option<&'v str> {
    value.get(name).and_then(Value::as_str)
}

fn money(value: &Value, name: &str) -> Option<Money> {
    value.get(name).and_then(|m| serde_json::from_value(m.clone()).ok())
}

/// The question of a form.
pub(crate) fn question(state: &JobState, typed: &Typed) -> Result<Question, Vec<FieldTrouble>> {
    let said = forms::answers(&page_fields(state), typed, forms::currency(state))?;
    let covers = text(&said, "covers");
    let answer_by: Option<jiff::civil::Date> = text(&said, "answer_by").and_then(|day| day.parse().ok());
    if let Some(day) = answer_by.filter(|day| *day < surroundings::today()) {
        return Err(vec![FieldTrouble::new("answer_by", format!("{day} is over; name a day to come"))]);
    }
    let ceiling = money(&said, "ceiling")
        .ok_or_else(|| vec![FieldTrouble::new("ceiling", "the ceiling is not told; type the most it may cost")])?;
    Ok(Question {
        covers: Covers::ALL.iter().copied().find(|c| Some(c.word()) == covers).unwrap_or(Covers::Repair),
        option: state.chosen.as_ref().map(|c| c.option.clone()),
        ceiling,
        words: text(&said, "words").map(str::to_owned),
        answer_by,
    })
}

/// What an answer form says, once its code is known to mean a request.
#[derive(Debug)]
pub(crate) struct Answered {
    pub(crate) code: String,
    pub(crate) yes: bool,
    ceiling: Option<Money>,
    who: String,
    how: Channel,
    words: String,
}

/// The answer of a form.
pub(crate) fn answered(state: &JobState, typed: &Typed) -> Result<Answered, Vec<FieldTrouble>> {
    let said = forms::answers(&answer_fields(), typed, forms::currency(state))?;
    let of = |name: &str| text(&said, name).unwrap_or_default().to_owned();
    let how = of("how");
    let how = Channel::ALL.iter().copied().find(|c| c.word() == how).ok_or_else(|| {
        vec![FieldTrouble::new("how", format!("`{how}` is no way an answer comes; choose one of the list"))]
    })?;
    let yes = match of("answer").as_str() {
        "yes" => true,
        "no" => false,
        other => return Err(vec![FieldTrouble::new("answer", format!("`{other}` is neither yes nor no"))]),
    };
    Ok(Answered { code: of("code"), yes, ceiling: money(&said, "ceiling"), who: of("who"), how, words: of("words") })
}

impl Answered {
    /// The entry, as an answer to a request.
    pub(crate) fn body(self, ask: &Fact<ApprovalAsked>) -> EntryBody {
        let Self { ceiling, who, how, words, yes, .. } = self;
        let (asked, page, covers): (Option<EntryId>, _, _) = (Some(ask.in_entry), ask.page.clone(), ask.covers);
        if yes {
            let ceiling = ceiling.unwrap_or(ask.ceiling);
            EntryBody::ApprovalGiven(ApprovalGiven { ceiling, covers, who, how, words, page, asked })
        } else {
            let option = ask.option.clone();
            EntryBody::ApprovalRefused(ApprovalRefused { covers, who, how, words, option, asked, page })
        }
    }
}

/// The file of a page.
pub(crate) fn written(
    job: &Job,
    page: &CustomerPage,
    ask: Option<&Fact<ApprovalAsked>>,
    knowledge: &Knowledge,
) -> Vec<u8> {
    let code = ask.and_then(|ask| ask.code.as_deref()).and_then(|code| AnswerCode::read(code).ok());
    let issued = ask.map_or_else(surroundings::today, |ask| surroundings::day_of(ask.made_at)).to_string();
    // Given again it has the same bytes: it carries the chain as it was when it was asked.
    let asked = ask.and_then(|ask| job.entries.iter().find(|entry| entry.id() == ask.in_entry));
    let hash = asked.map_or(job.hash(), logbook::Entry::hash);
    let chain_tail = hash.get(hash.len().saturating_sub(8)..).unwrap_or(hash);
    file(page, &Leaf { shop: knowledge.shop_name(), code: code.as_ref(), issued: &issued, chain_tail })
}
