//! Who: the counter, and the technician at the start of the day. Moment: all of them.
//! Why so: what somebody waits for stands first, since a call not made costs a day; below it every job is one row.
//! A row answers the four questions asked on the phone: what is it, where is it, what holds it up, when is it promised.

use std::sync::Arc;

use knowledge::Knowledge;
use logbook::{JobState, Kind};
use maud::{Markup, html};
use workup::Notice;
use workup::asking::{self, Standing};
use workup::awaited::{self, Coming, JobDate};

use crate::desk::{Bench, Job};
use crate::forms::{Form, Typed};
use crate::trouble::FieldTrouble;
use crate::words::{amount, count, within, words};
use crate::{forms, surroundings};

/// What came back from a machine shop and gives cause to say something, with the next move.
pub(crate) fn of_machine_work(state: &JobState, knowledge: &Knowledge) -> Vec<Notice> {
    state.layout.as_ref().map_or_else(Vec::new, |layout| workup::machine::back::of_state(state, layout, knowledge).1)
}

/// What a job waits for, in short sentences.
fn waits(bench: &Bench, job: &Arc<Job>) -> Vec<String> {
    let (state, knowledge) = (&job.state, bench.knowledge());
    let mut out: Vec<String> = asking::waiting_for_answer(state, surroundings::today())
        .into_iter()
        .map(|ask| {
            let code = ask.code.as_deref().map(|c| format!(", code {}", asking::shown(c))).unwrap_or_default();
            let yes = format!("a yes for {}, up to {}{code}", words(ask.covers.word()), amount(&ask.ceiling));
            match super::asking::standing(bench, job, ask) {
                Standing::Void { changed } => {
                    let first = changed.first().map(|c| format!(": {}", c.in_words())).unwrap_or_default();
                    format!("being asked again for {yes}: what the page shows has changed{first}")
                }
                Standing::Overdue { answer_by } => format!("{yes}, overdue since {answer_by}"),
                Standing::Open | Standing::NotWorked | Standing::Answered { .. } | Standing::AskedAgain { .. } => yes,
            }
        })
        .collect();
    for notice in of_machine_work(state, knowledge) {
        out.push(format!("a move on {}; {}", notice.message, notice.what_to_do));
    }
    let date = JobDate::of(state);
    let today = Some(surroundings::today());
    let late = date.sets().filter(|_| date.is_late(today));
    let told = |entry| late.as_ref().is_some_and(|(setter, _)| setter.entry() == entry);
    if let Some((setter, day)) = &late {
        let name = match setter.what {
            Coming::Part(part) => within(&super::part_name(knowledge, &part.part)),
            Coming::Work(order) => format!("machine work {}", order.code),
        };
        out.push(format!("{name}, which sets the date, {day}: {}", date.words(today).join("; ")));
    }
    for part in awaited::parts(state).into_iter().filter(|part| !told(part.in_entry)) {
        let day = part.promised.map(|d| format!(", promised {d}")).unwrap_or_default();
        let name = within(&super::part_name(knowledge, &part.part));
        out.push(format!("{name} from {}{day}", part.supplier));
    }
    for core in workup::cores::of(state).into_iter().filter(|c| c.back.is_none()) {
        let clock = core.clock(surroundings::today()).map(|c| format!(", {c}")).unwrap_or_default();
        let name = within(&super::part_name(knowledge, &core.order.part));
        out.push(format!("the old part for {name}, back to {}{clock}", core.order.supplier));
    }
    for order in awaited::work(state).into_iter().filter(|order| !told(order.in_entry)) {
        let promised = order.promised.map(|d| format!(", promised {d}"));
        let day = promised.or_else(|| order.need_by.map(|d| format!(", needed {d}"))).unwrap_or_default();
        out.push(format!("machine work {} at {}{day}", order.code, order.shop));
    }
    for id in workup::quotes::run_out(state, knowledge, surroundings::today()) {
        if let Some(quote) = state.quotes.iter().find(|q| q.in_entry == id) {
            let why = if quote.valid_until.is_some() { "its quote ran out" } else { "its quote is old" };
            out.push(format!("a new price from {}: {why}", quote.supplier));
        }
    }
    if state.layout.is_none() {
        out.push("the engine's description".to_owned());
    }
    out
}

/// The last thing said to or by the customer, or noted.
fn last_words(state: &JobState) -> Option<(jiff::Timestamp, String)> {
    let told = state.customer_told.iter().map(|t| (t.made_at, format!("told: {}", t.words)));
    let heard = state.complaints.iter().map(|c| (c.made_at, format!("heard: {}", c.words)));
    let back = state.comebacks.iter().map(|c| (c.made_at, format!("came back: {}", c.words)));
    let noted = state.notes.iter().map(|n| (n.made_at, n.text.clone()));
    let closed = state.closed.iter().map(|c| (c.made_at, c.words.clone().unwrap_or_default()));
    told.chain(heard).chain(back).chain(noted).chain(closed).max_by_key(|(at, _)| *at)
}

fn row(job: &Arc<Job>, bench: &Bench) -> Markup {
    let state = &job.state;
    let waits = waits(bench, job);
    let moment = state.moment.map_or("opened", super::tab);
    let late = state.closed.is_none() && state.promised.is_some_and(|d| d < surroundings::today());
    let path = state.moment.map_or("hear", logbook::Moment::word);
    html! {
        li.jobrow {
            a.jobname href=(format!("/jobs/{}/{path}", job.id)) {
                b { (job.title()) }
                span.quiet {
                    ({
                        state
                            .layout
                            .as_ref()
                            .map_or_else(
                                || "engine not described yet".to_owned(),
                                anatomy::EngineLayout::in_words,
                            )
                    })
                }
            }
            span.moment { (moment) }
            span.waits {
                @if state.closed.is_some() { "closed" } @else if waits.is_empty() {
                    "nothing holds it up"
                } @else {
                    b { "waits for " }
                    (waits.first().map_or("", String::as_str))
                    @if waits.len() > 1 {
                        " and "
                        (count(waits.len() - 1, "more thing", "more things"))
                    }
                }
            }
            span class=(if late { "promised late" } else { "promised" }) {
                @if let Some(day) = state.promised {
                    @if late {
                        b { "was promised " }
                    } @else { "promised " }
                    time { (day) }
                } @else { "no day promised" }
            }
            (super::standing::strip(bench, job))
            @if let Some((at, words)) = last_words(state) {
                span.lastwords {
                    time.quiet { (crate::words::when(at)) }
                    " "
                    (words.chars().take(140).collect::<String>())
                    @if words.chars().count() > 140 { "…" }
                }
            }
        }
    }
}

/// Whether a job is meant by some words: each stands in its title, codes, plate, identification number or vehicle, or is the
/// code of a machine order or of one of its customer pages.
pub(crate) fn is_meant(state: &JobState, find: &str) -> bool {
    let v = &state.vehicle;
    let texts = [&state.title, &state.customer, &v.plate, &v.vin, &v.make, &v.model];
    let codes = state.machine_orders.iter().map(|o| &o.code);
    let mut all: String = texts.into_iter().flatten().chain(codes).map(|t| format!("{} ", t.to_lowercase())).collect();
    for code in asking::codes(state) {
        all.push_str(&format!("{} {} ", code.to_lowercase(), asking::shown(code).to_lowercase()));
    }
    find.to_lowercase().split_whitespace().all(|word| all.contains(word))
}

/// Where the code of a paper that came back is typed.
fn by_code(typed: &str, wrong: Option<&str>) -> Markup {
    html! {
        form.another method="get" action="/machine-work" {
            label for="code" { "Machine work came back: the code on its paper" }
            @if let Some(why) = wrong {
                p.wrongline id="code-wrong" role="alert" { (why) }
            }
            input
                type="text"
                id="code"
                name="code"
                value=(typed)
                autocomplete="off"
                autocapitalize="characters"
                aria-describedby=[wrong.map(|_| "code-wrong")];
            button type="submit" { "Open it" }
        }
    }
}

/// The answer to a code that no machine order has; what was typed is still there.
pub(crate) fn unknown_code(who: &str, typed: &str, why: &str) -> Markup {
    let body = html! {
        main id="main" {
            h1 { "No such machine order" }
            (by_code(typed, Some(why)))
            p {
                a.button href="/" { "To all jobs" }
            }
        }
    };
    super::shell("No such machine order", who, &body)
}

/// Where a practice job is opened; at length where there is no job yet.
fn practice(at_length: bool) -> Markup {
    html! {
        form.another method="post" action="/practice" {
            @if at_length {
                h2.thin { "New here?" }
                p {
                    "A practice job leads through a whole job in six steps, about five minutes: an invented engine, half tested. It "
                    "counts for nothing."
                }
            }
            input type="hidden" name="back" value=(surroundings::new_job());
            button.plain[!at_length] type="submit" { "Open a practice job" }
        }
    }
}

/// The wall.
pub(crate) fn page(
    bench: &Bench,
    jobs: &[Arc<Job>],
    who: &str,
    find: &str,
    typed: &Typed,
    errors: &[FieldTrouble],
) -> Markup {
    let (open, closed): (Vec<_>, Vec<_>) = jobs.iter().partition(|j| j.state.closed.is_none());
    let chase: Vec<(&Arc<Job>, Vec<String>)> =
        open.iter().map(|j| (*j, waits(bench, j))).filter(|(_, waits)| !waits.is_empty()).collect();
    let backups = bench.around().backup_line(jobs.iter().filter_map(|j| j.state.opened_at).min());
    let fields = forms::fields(Kind::JobOpened, &JobState::default(), bench.knowledge());
    let form = Form {
        action: "/jobs".to_owned(),
        fields,
        typed,
        errors,
        back: surroundings::new_job().to_string(),
        button: "Open the job",
    };
    let body = html! {
        main id="main" {
            h1 { "Jobs" }
            @if let Some(line) = backups.as_ref().filter(|line| line.too_old) {
                p.sheet.clash.backups role="status" { (line.words) }
            }
            form.another method="get" action="/" {
                label for="find" { "Find a job" }
                input
                    type="text"
                    id="find"
                    name="find"
                    value=(find)
                    placeholder="title, plate, last of the VIN, customer code, code of a page";
                button type="submit" { "Find" }
            }
            @if !chase.is_empty() {
                section.sheet.chase {
                    h2 { "To chase first today" }
                    ul {
                        @for (job, waits) in &chase {
                            @for wait in waits {
                                li {
                                    a   href=({
                                            format!(
                                                "/jobs/{}/{}",
                                                job.id,
                                                job.state.moment.map_or("hear", logbook::Moment::word),
                                            )
                                        })
                                    { (job.title()) }
                                    " waits for "
                                    (wait)
                                }
                            }
                        }
                    }
                }
            }
            @if open.iter().any(|j| !awaited::work(&j.state).is_empty()) { (by_code("", None)) }
            section {
                h2.thin {
                    @if open.is_empty() { "Open jobs" } @else { (count(open.len(), "job open", "jobs open")) }
                }
                ul.wall {
                    @for job in &open { (row(job, bench)) }
                }
                @if open.is_empty() {
                    p.quiet {
                        @if find.is_empty() { "No job is open." } @else {
                            "No open job has these words."
                        }
                    }
                }
            }
            @if jobs.is_empty() && find.is_empty() { (practice(true)) }
            details.fold.sheet open[!errors.is_empty() || jobs.is_empty()] {
                summary { "Open a job" }
                (form.show())
            }
            @if !jobs.is_empty() && find.is_empty() { (practice(false)) }
            @if !closed.is_empty() {
                section {
                    h2.thin { (count(closed.len(), "job closed", "jobs closed")) }
                    ul.wall {
                        @for job in &closed { (row(job, bench)) }
                    }
                }
            }
            @if let Some(line) = backups.as_ref().filter(|line| !line.too_old) {
                p.quiet.backups { (line.words) }
            }
            @if super::sees_devices() {
                p {
                    a.tools href="/devices" { "Phones and tablets" }
                }
            }
        }
    };
    super::shell("Jobs", who, &body)
}
