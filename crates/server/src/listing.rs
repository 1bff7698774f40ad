//! A price list on the bench: looked at, then kept.

use axum::extract::{Multipart, Path, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Redirect};
use logbook::{EntryBody, Kind, QuoteReceived};
use workup::price_list::{self, Told, Way};

use crate::desk::{Bench, Job};
use crate::door::{Shown, of_parts};
use crate::forms::Typed;
use crate::pages::price_list::{Looked, NAMED};
use crate::pages::{self, View, who};
use crate::surroundings;
use crate::trouble::{FieldTrouble, Trouble};

/// The page before a list is given.
pub(crate) async fn page(State(bench): State<Bench>, Path(id): Path<String>, headers: HeaderMap) -> Shown {
    let job = bench.job(pages::job_id(&id)?).await?;
    let view = View::of(&bench, &job, &who(&bench, &headers), format!("/jobs/{id}/price-list"));
    Ok(pages::price_list::page(&view, &Typed::new(), &Looked::Not).into_response())
}

/// Looks at a list, or keeps what a look found.
pub(crate) async fn take(
    State(bench): State<Bench>,
    Path(id): Path<String>,
    headers: HeaderMap,
    mut parts: Multipart,
) -> Shown {
    let job = bench.job(pages::job_id(&id)?).await?;
    let (mut typed, file) =
        of_parts(&mut parts, "file", "the list did not come through", "at most 1 MB is taken").await?;
    if let Some(file) = file.filter(|file| !file.is_empty()) {
        let text = String::from_utf8(file.to_vec()).map_err(|_| {
            let next = "it is not UTF-8 text; save the table as CSV in UTF-8, or paste its text";
            Trouble::fields("the list cannot be read", vec![FieldTrouble::new("file", next)])
        })?;
        typed.insert("text".to_owned(), text);
    }
    let by = who(&bench, &headers);
    let looked = look(&bench, &job, &typed);
    if let (Looked::Found(quotes, _), Some("keep")) = (&looked, typed.get("step").map(String::as_str)) {
        for (number, (_, quote)) in quotes.iter().enumerate() {
            keep(&bench, &job, &by, &typed, number, quote).await?;
        }
        return Ok(Redirect::to(&format!("/jobs/{id}/order#quotes")).into_response());
    }
    let wrong = matches!(looked, Looked::Wrong(_));
    let view = View::of(&bench, &job, &by, format!("/jobs/{id}/price-list"));
    let page = pages::price_list::page(&view, &typed, &looked).into_response();
    Ok(if wrong { (StatusCode::UNPROCESSABLE_ENTITY, page).into_response() } else { page })
}

/// Keeps a quote under the id that the look gave it, so that a second touch keeps nothing twice.
async fn keep(
    bench: &Bench,
    job: &Job,
    by: &str,
    typed: &Typed,
    number: usize,
    quote: &QuoteReceived,
) -> Result<(), Trouble> {
    let entry = match typed.get(&format!("entry.{number}")).map(|text| text.parse()) {
        Some(Ok(entry)) => entry,
        Some(Err(_)) | None => surroundings::new_entry(),
    };
    let value = serde_json::to_value(quote)
        .map_err(|why| Trouble::new(StatusCode::INTERNAL_SERVER_ERROR, "a quote cannot be written", why))?;
    // Judged as if it had been typed into the form of a quote.
    let body: EntryBody = workup::entering::body_of(Kind::QuoteReceived, &value, &job.state, bench.knowledge())
        .map_err(|why| Trouble::new(StatusCode::UNPROCESSABLE_ENTITY, "a quote of the list does not fit", why))?;
    bench.keep(job.id, entry, by, surroundings::DEVICE, &body).await?;
    Ok(())
}

fn look(bench: &Bench, job: &Job, typed: &Typed) -> Looked {
    let told = |name: &str| typed.get(name).map(|t| t.trim()).filter(|t| !t.is_empty());
    let Some(text) = typed.get("text").filter(|t| !t.trim().is_empty()) else {
        return Looked::Wrong("no list was given; choose its file or paste its text".to_owned());
    };
    let columns = price_list::may_be()
        .filter_map(|name| Some((name.to_owned(), told(&format!("column.{name}"))?.to_owned())))
        .collect();
    let takes = (0..NAMED)
        .filter_map(|n| {
            Some((told(&format!("take.{n}.need"))?.to_owned(), told(&format!("take.{n}.words"))?.to_owned()))
        })
        .collect();
    let read = || {
        let currency = match told("currency") {
            Some(code) => Some(price_list::currency(code)?),
            None => job.state.rates.labour_rate.map(|rate| rate.currency()),
        };
        let days = told("days").map(price_list::days).transpose()?;
        let said = Told { supplier: told("supplier"), currency, days, way: Way::Page, columns, takes };
        price_list::read(text.trim_start_matches(['\r', '\n']), &said, bench.knowledge())
    };
    match read() {
        Ok(read) => Looked::Found(read.quotes, read.left),
        Err(why) => Looked::Wrong(why),
    }
}
