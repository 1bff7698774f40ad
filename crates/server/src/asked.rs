//! Customer pages: made and written down, given as a file, answered by their code.

use std::collections::BTreeSet;

use anatomy::EntryId;
use axum::extract::{Form, Path, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use logbook::{AnswerCode, Channel, EntryBody, JobState, Moment};
use workup::asking::{self, Standing};
use workup::customer_page::{CustomerPage, PageError, Question};

use crate::desk::{Bench, Job};
use crate::door::{Shown, back_to, entry_of};
use crate::forms::Typed;
use crate::pages::{self, View, asking as page, who};
use crate::surroundings;
use crate::trouble::{FieldTrouble, Trouble};

/// What a page that is shown at the bench may do: nothing but be looked at.
const LOOK: &str = "default-src 'none'; style-src 'unsafe-inline'; sandbox";

fn not_made(error: &PageError) -> Trouble {
    Trouble::new(StatusCode::CONFLICT, "the customer page cannot be made", error)
}

/// Choose with one of its forms, as it came back.
fn back(
    bench: &Bench,
    id: &str,
    job: &std::sync::Arc<Job>,
    by: &str,
    came: (&'static str, Typed, Vec<FieldTrouble>),
    status: StatusCode,
) -> Response {
    let mut view = View::of(bench, job, by, format!("/jobs/{id}/{}", Moment::Choose.word()));
    view.asking = Some(came);
    (status, pages::choose::page(&view)).into_response()
}

/// Who sends a form, the entry that it is to become, and the job as it stands.
async fn met(
    bench: &Bench,
    id: &str,
    headers: &HeaderMap,
    typed: &Typed,
) -> Result<(String, EntryId, std::sync::Arc<Job>), Trouble> {
    let (by, entry) = (who(bench, headers), entry_of(typed)?);
    Ok((by, entry, bench.job(pages::job_id(id)?).await?))
}

/// Makes the page of a question and asks it; asked again while nothing has changed, it is the same request.
pub(crate) async fn make(
    State(bench): State<Bench>,
    Path(id): Path<String>,
    headers: HeaderMap,
    Form(typed): Form<Typed>,
) -> Shown {
    let (by, entry, job) = met(&bench, &id, &headers, &typed).await?;
    // A second touch of the same form is the same entry.
    if job.entries.iter().any(|e| e.id() == entry) {
        return Ok(back_to(&typed, &id, entry).into_response());
    }
    let question = match page::question(&job.state, &typed) {
        Ok(question) => question,
        Err(errors) => {
            return Ok(back(&bench, &id, &job, &by, (page::PAGE, typed, errors), StatusCode::UNPROCESSABLE_ENTITY));
        }
    };
    let (job, worked) = bench.case(job.id).await?;
    let case = worked.map_err(|why| Trouble::new(StatusCode::CONFLICT, "the customer page cannot be made", why))?;
    let made = match CustomerPage::of(&case, &job.state, bench.knowledge(), &question) {
        Ok(made) => made,
        Err(error) => {
            let field = if matches!(error, PageError::OtherCurrency { .. }) { "ceiling" } else { "form" };
            let errors = vec![FieldTrouble::new(field, &error)];
            return Ok(back(&bench, &id, &job, &by, (page::PAGE, typed, errors), StatusCode::CONFLICT));
        }
    };
    let hash = made.hash();
    let same = job.state.approvals_asked.iter().rev().find(|ask| {
        let holds = || matches!(page::standing(&bench, &job, ask), Standing::Open | Standing::Overdue { .. });
        ask.code.is_some() && ask.page.as_deref() == Some(&hash) && holds()
    });
    if let Some(same) = same {
        return Ok(back_to(&typed, &id, same.in_entry).into_response());
    }
    let mut codes = BTreeSet::new();
    for other in bench.jobs().await? {
        codes.extend(asking::codes(&other.state).map(str::to_owned));
    }
    let body = EntryBody::ApprovalAsked(asking::asked(job.id, &made, &question, Channel::Page, &codes));
    bench.keep(job.id, entry, &by, surroundings::DEVICE, &body).await?;
    Ok(back_to(&typed, &id, entry).into_response())
}

/// Gives the page of a request as a file, as long as it holds.
pub(crate) async fn give(State(bench): State<Bench>, Path((id, file)): Path<(String, String)>) -> Shown {
    let text = file.strip_suffix(".html").unwrap_or(&file);
    let none = |why: String| Trouble::not_found("there is no such customer page", why);
    let code = AnswerCode::read(text).map_err(|error| none(error.to_string()))?;
    let (job, worked) = bench.case(pages::job_id(&id)?).await?;
    let ask = job.state.approvals_asked.iter().rfind(|ask| ask.code.as_deref() == Some(code.as_str()));
    let ask = ask.ok_or_else(|| none(format!("no request of this job has the code {code}; look under Choose")))?;
    let void = |why: String| Trouble::new(StatusCode::CONFLICT, "the customer page no longer holds", why);
    let standing = page::standing(&bench, &job, ask);
    if let Standing::Void { .. } | Standing::AskedAgain { .. } = standing {
        return Err(void(format!("the request {code} is {}; ask again under Choose", standing.in_words())).into());
    }
    let case = worked.map_err(void)?;
    let made = CustomerPage::of(&case, &job.state, bench.knowledge(), &Question::of(ask)).map_err(|e| not_made(&e))?;
    // What was answered is given as long as it would still be the same.
    if made.hash() != ask.page.as_deref().unwrap_or_default() {
        return Err(
            void(format!("what the page under {code} showed has changed; its answer is kept under Choose")).into()
        );
    }
    let headers = [
        (header::CONTENT_TYPE, "text/html; charset=utf-8".to_owned()),
        (header::CONTENT_SECURITY_POLICY, LOOK.to_owned()),
        (header::CONTENT_DISPOSITION, format!("attachment; filename=\"customer-page-{code}.html\"")),
    ];
    Ok((headers, page::written(&job, &made, Some(ask), bench.knowledge())).into_response())
}

/// Shows the page as it would be, without a code; nothing is asked.
pub(crate) async fn look(State(bench): State<Bench>, Path(id): Path<String>) -> Shown {
    let (job, worked) = bench.case(pages::job_id(&id)?).await?;
    let case = worked.map_err(|why| Trouble::new(StatusCode::CONFLICT, "the customer page cannot be made", why))?;
    let question = at_most(&job.state, &case).ok_or_else(|| not_made(&PageError::NoPrice))?;
    let made = CustomerPage::of(&case, &job.state, bench.knowledge(), &question).map_err(|e| not_made(&e))?;
    let headers = [(header::CONTENT_TYPE, "text/html; charset=utf-8"), (header::CONTENT_SECURITY_POLICY, LOOK)];
    Ok((headers, page::written(&job, &made, None, bench.knowledge())).into_response())
}

/// A question about the chosen way, else the best, with the high end of its price as ceiling.
fn at_most(state: &JobState, case: &workup::Case) -> Option<Question> {
    let asked = state.chosen.as_ref().map_or(case.advice.best.as_str(), |c| c.option.as_str());
    let money = case.options.iter().find(|o| o.id == asked)?.money.as_ref()?;
    let typed = format!("{} {:.0}", money.currency, money.price[1].ceil());
    let ceiling = match quantity::parse_money(&typed, None).ok()? {
        quantity::MoneyReply::Value(ceiling) => ceiling,
        quantity::MoneyReply::Question { .. } => return None,
    };
    let option = Some(asked.to_owned());
    Some(Question { covers: logbook::Covers::Repair, option, ceiling, words: None, answer_by: None })
}

/// Keeps the answer that came with a code.
pub(crate) async fn answer(
    State(bench): State<Bench>,
    Path(id): Path<String>,
    headers: HeaderMap,
    Form(typed): Form<Typed>,
) -> Shown {
    let (by, entry, job) = met(&bench, &id, &headers, &typed).await?;
    let unfit = StatusCode::UNPROCESSABLE_ENTITY;
    let answered = match page::answered(&job.state, &typed) {
        Ok(answered) => answered,
        Err(errors) => return Ok(back(&bench, &id, &job, &by, (page::ANSWER, typed, errors), unfit)),
    };
    let jobs = bench.jobs().await?;
    let found = asking::meant(&answered.code, jobs.iter().map(|j| &j.state), surroundings::today());
    let ask = match found {
        Ok((state, ask)) if state.job == Some(job.id) => ask.clone(),
        Ok((state, _)) => {
            let other = state.title.as_deref().unwrap_or("another job");
            let why = format!("`{}` is the code of another job, {other}; keep the answer there", answered.code);
            let errors = vec![FieldTrouble::new("code", why)];
            return Ok(back(&bench, &id, &job, &by, (page::ANSWER, typed, errors), unfit));
        }
        Err(why) => {
            let errors = vec![FieldTrouble::new("code", why)];
            return Ok(back(&bench, &id, &job, &by, (page::ANSWER, typed, errors), unfit));
        }
    };
    let body = answered.body(&ask);
    match bench.keep(job.id, entry, &by, surroundings::DEVICE, &body).await {
        Ok(_) => Ok(back_to(&typed, &id, entry).into_response()),
        Err(mut trouble) if !trouble.errors.is_empty() => {
            // What is wrong with the request stands beside its code.
            for error in trouble.errors.iter_mut().filter(|e| e.field == "asked" || e.field == "page") {
                "code".clone_into(&mut error.field);
            }
            Ok(back(&bench, &id, &job, &by, (page::ANSWER, typed, trouble.errors), trouble.status))
        }
        Err(trouble) => Err(trouble.into()),
    }
}
