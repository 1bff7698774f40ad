//! Server-sent events of one job: `kept` when an entry is on the disk, `case` when the work-up is there.
//!
//! `case` carries the panel that the page asked for as HTML, so that a page is brought up to date without being read
//! anew and without a second description of how it looks.

use std::convert::Infallible;
use std::time::Duration;

use anatomy::JobId;
use axum::extract::{Path, Query, State};
use axum::http::HeaderMap;
use axum::response::sse::{Event, KeepAlive, Sse};
use futures_util::stream::{self, Stream};
use serde::Deserialize;
use tokio::sync::broadcast::error::RecvError;

use crate::desk::{Bench, Happened};
use crate::pages::{self, Panel};
use crate::trouble::OnPage;

/// What a page wants to be told.
#[derive(Debug, Deserialize)]
pub(crate) struct Wanted {
    #[serde(default)]
    panel: Panel,
    entry: Option<String>,
    /// The chain whose work-up the page already shows.
    have: Option<String>,
}

/// The stream of a job.
pub(crate) async fn live(
    State(bench): State<Bench>,
    Path(id): Path<String>,
    Query(wanted): Query<Wanted>,
    headers: HeaderMap,
) -> Result<Sse<impl Stream<Item = Result<Event, Infallible>>>, OnPage> {
    let id: JobId = pages::job_id(&id)?;
    let who = pages::who(&bench, &headers);
    let news = bench.listen();
    let job = bench.job(id).await?;
    // A page is drawn before it listens: what was worked in between is sent at once.
    let at_once = bench.standing(&job).current && wanted.have.as_deref() != Some(job.tail());
    let start = (bench, news, at_once, wanted, who);
    let events = stream::unfold(start, move |(bench, mut news, at_once, wanted, who)| async move {
        let mut now = at_once;
        loop {
            let happened = if now {
                Happened::Worked
            } else {
                let heard = tokio::select! {
                    heard = news.recv() => heard,
                    // A page that listens does not hold up closing; it listens anew once the bench is open again.
                    () = bench.around().closing() => return None,
                };
                match heard {
                    Ok(heard) if heard.job == id => heard.what,
                    Ok(_) => continue,
                    Err(RecvError::Lagged(_)) => Happened::Worked,
                    Err(RecvError::Closed) => return None,
                }
            };
            now = false;
            let Ok(job) = bench.job(id).await else { continue };
            let event = match happened {
                Happened::Kept { entry, kind } => {
                    let said = serde_json::json!({"entry": entry.to_string(), "kind": kind, "tail": job.tail()});
                    Event::default().event("kept").data(said.to_string())
                }
                Happened::Worked => {
                    let html = pages::panel(&bench, &job, &who, wanted.panel, wanted.entry.as_deref());
                    Event::default().event("case").id(job.tail()).data(html.into_string())
                }
            };
            return Some((Ok(event), (bench, news, false, wanted, who)));
        }
    });
    Ok(Sse::new(events).keep_alive(KeepAlive::new().interval(Duration::from_secs(20))))
}
