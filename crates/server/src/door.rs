//! Routes of the pages, and serving them on this machine.

use std::collections::BTreeMap;
use std::future::Future;
use std::net::{Ipv4Addr, SocketAddr};
use std::sync::Arc;
use std::time::Duration;

use anatomy::{EntryId, JobId, Position};
use axum::Router;
use axum::body::to_bytes;
use axum::extract::{DefaultBodyLimit, Form, Multipart, Path, Query, Request, State};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, Uri, header};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use documents::papers::{Paper, PaperSize};
use logbook::{EntryBody, EntryWithdrawn, HistoryLine, JobState, Kind, Moment, PhotoKept};
use store::{ContentId, Standing, Store};
use thiserror::Error;
use tokio::net::TcpListener;
use workup::practice;

use crate::desk::Bench;
use crate::entering::{Given, Refused};
use crate::forms::Typed;
use crate::lan::Listening;
use crate::log::Event;
use crate::pages::{self, Asking, View, asking, enter, who};
use crate::photos::{self, Picture};
use crate::trouble::{FieldTrouble, OnPage, OnWire, Trouble, with_trouble};
use crate::{api, asked, forms, guard, lan, listing, live, log, machine, offline, papers, pressed, surroundings};

/// The largest photo taken, in bytes \[ours\].
const LARGEST_PHOTO: usize = 12 * 1024 * 1024;
/// The largest of everything else, in bytes: an entry is words and figures.
const LARGEST_BODY: usize = 1024 * 1024;

/// Why the bench cannot be served.
#[derive(Debug, Error)]
pub enum ServeError {
    /// The port cannot be had.
    #[error("cannot listen on 127.0.0.1:{port}: {why}; choose another port, or end what uses this one")]
    Port {
        /// The port.
        port: u16,
        /// What the system said.
        why: std::io::Error,
    },
    /// Serving broke off.
    #[error("serving broke off: {0}; start it again, everything kept is on the disk")]
    BrokeOff(std::io::Error),
}

/// Takes a port of this machine, and of no other address; 0 takes any free one.
///
/// # Errors
/// [`ServeError::Port`] when the port is in use or not allowed.
pub async fn bind(port: u16) -> Result<TcpListener, ServeError> {
    TcpListener::bind(SocketAddr::from((Ipv4Addr::LOCALHOST, port))).await.map_err(|why| ServeError::Port { port, why })
}

/// How serving ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stopped {
    /// Every request under way was answered.
    AllAnswered,
    /// Some took longer than [`serve`] waits.
    BrokenOff,
}

/// How long requests under way may go on after the bench was told to stop \[ours\]: longer than keeping an entry takes, and
/// shorter than anybody waits for a computer to go off.
const GRACE: Duration = Duration::from_secs(5);

/// Serves the bench until `until` ends, on this machine and, where it is listened on, on the network; pages that listen are
/// then let go at once, and requests under way are answered for a few seconds more.
///
/// # Errors
/// [`ServeError::BrokeOff`] when the system takes the port away.
pub async fn serve(
    bench: Bench,
    listener: TcpListener,
    network: Option<Listening>,
    until: impl Future<Output = ()> + Send + 'static,
) -> Result<Stopped, ServeError> {
    let around = bench.around().clone();
    let keeps = bench.store().standing() == Standing::Writable;
    around.hearer.hear(&Event::Opened { version: env!("CARGO_PKG_VERSION"), keeps });
    let stop = around.clone();
    let told = async move {
        until.await;
        stop.close();
    };
    let out = lan::tls::serving(bench.clone(), network);
    let here = axum::serve(listener, router(bench)).with_graceful_shutdown(told).into_future();
    let serving = async { tokio::try_join!(here, out).map(|((), ())| ()) };
    let too_long = async {
        around.closing().await;
        tokio::time::sleep(GRACE).await;
    };
    tokio::select! {
        done = serving => done.map(|()| Stopped::AllAnswered).map_err(ServeError::BrokeOff),
        () = too_long => Ok(Stopped::BrokenOff),
    }
}

/// The method and path of every route under `/api/1/`, as `/api/1/openapi.json` lists them.
#[must_use]
pub fn api_routes() -> Vec<(&'static str, String)> {
    api::routes().into_iter().map(|(method, path, _)| (method, path)).collect()
}

/// Every page and the HTTP interface, for browsers on this machine.
pub fn router(bench: Bench) -> Router {
    routes(&bench)
        .layer(middleware::from_fn(guard::guard))
        .layer(middleware::from_fn_with_state(bench.clone(), log::request))
        .with_state(bench)
}

/// The same for a device that the gate has let in, as far as its role may.
pub(crate) fn for_devices(bench: &Bench) -> Router {
    routes(bench)
        .layer(middleware::from_fn(lan::roles::ensure))
        .layer(middleware::from_fn_with_state(bench.clone(), log::request))
        .with_state(bench.clone())
}

fn routes(bench: &Bench) -> Router<Bench> {
    let mut router = Router::new()
        .route("/", get(wall))
        .route("/jobs", post(open_job))
        .route("/practice", post(open_practice))
        .route("/jobs/{id}", get(job))
        .route("/jobs/{id}/live", get(live::live))
        .route("/jobs/{id}/enter", get(enter_page).post(enter_reading))
        .route("/jobs/{id}/kept/{entry}", get(kept))
        .route("/jobs/{id}/place/{position}", get(place))
        .route("/jobs/{id}/tell/{kind}", post(tell))
        .route("/jobs/{id}/withdraw/{entry}", post(withdraw))
        .route("/jobs/{id}/entries/{entry}", get(one_entry).post(put_right))
        .route("/jobs/{id}/bolts", get(bolts))
        .route("/jobs/{id}/bags", get(bag_board))
        .route("/jobs/{id}/sheet", post(take_sheet))
        .route("/jobs/{id}/sheet.toml", get(give_sheet))
        .route("/jobs/{id}/photos", post(photo).layer(DefaultBodyLimit::max(LARGEST_PHOTO + 64 * 1024)))
        .route("/jobs/{id}/papers/{file}", get(paper))
        .route("/jobs/{id}/price-list", get(listing::page).post(listing::take))
        .route("/jobs/{id}/page", post(asked::make))
        .route("/jobs/{id}/page/{file}", get(asked::give))
        .route("/jobs/{id}/look.html", get(asked::look))
        .route("/jobs/{id}/answer", post(asked::answer))
        .route("/jobs/{id}/{moment}", get(moment))
        .route("/gauges", get(gauges))
        .route("/machine-work", get(machine_work))
        .route("/own-jobs", get(own_jobs))
        .route("/residues", get(residues))
        .route("/sources", get(sources))
        .route("/calculators", get(calculators))
        .route("/calculators/{id}", get(calculator))
        .route("/attachments/{sha256}", get(attachment))
        .route("/attachments/{sha256}/small", get(small_photo))
        .route("/who", post(set_who))
        .route("/health", get(health))
        .route("/queue", get(offline::queue_page))
        .route("/where.json", get(offline::whereabouts))
        .route("/jobs/{id}/offline.json", get(offline::ahead))
        .route("/bench.css", get(css))
        .route("/bench.js", get(js))
        .route("/mark.svg", get(mark))
        .route("/fonts/{name}", get(font));
    for (path, handler) in offline::files() {
        router = router.route(path, handler);
    }
    for (_, path, handler) in api::routes() {
        router = router.route(&path, handler);
    }
    router
        .layer(pressed::layer())
        // After the pressing: these pages show codes that let a device in.
        .merge(lan::pages_here())
        .fallback(nothing_here)
        .method_not_allowed_fallback(other_method)
        .layer(middleware::from_fn(refused_in_its_form))
        .layer(DefaultBodyLimit::max(LARGEST_BODY))
        .layer(middleware::from_fn_with_state(bench.clone(), offline::answered))
        .layer(middleware::from_fn_with_state(bench.clone(), pages::told_of_standing))
}

pub(crate) type Shown = Result<Response, OnPage>;

/// A trouble in the form that the asker reads: a program gets a problem document, a person a page.
fn in_its_form(uri: &Uri, trouble: Trouble) -> Response {
    if uri.path().starts_with("/api/") { OnWire(trouble).into_response() } else { OnPage(trouble).into_response() }
}

/// The longest refusal of the framework that is repeated, in bytes \[ours\].
const LONGEST_REFUSAL: usize = 4096;

/// What the framework refuses before a handler is asked (an address, a query or a body of no form) is told like every other trouble.
async fn refused_in_its_form(request: Request, next: Next) -> Response {
    let uri = request.uri().clone();
    let response = next.run(request).await;
    let kind = response.headers().get(header::CONTENT_TYPE);
    let bare = kind.is_none_or(|kind| kind.as_bytes().starts_with(b"text/plain"));
    if !(response.status().is_client_error() && bare) {
        return response;
    }
    let status = response.status();
    let said = to_bytes(response.into_body(), LONGEST_REFUSAL).await.unwrap_or_default();
    let said = String::from_utf8_lossy(&said).trim().to_owned();
    let why = if said.is_empty() { "look at the address and at what is sent".to_owned() } else { said };
    in_its_form(&uri, Trouble::new(status, "the request cannot be read", why))
}

async fn nothing_here(uri: Uri) -> Response {
    let why = "look at the address, or go to the list of all jobs";
    in_its_form(&uri, Trouble::not_found("there is no such page", why))
}

pub(crate) async fn other_method(method: Method, uri: Uri) -> Response {
    let why = format!("{method} is not done at {}; the description is at /api/1/openapi.json", uri.path());
    in_its_form(&uri, Trouble::new(StatusCode::METHOD_NOT_ALLOWED, "this cannot be done here", why))
}

/// Whether the record can be read and anything is kept, for a program that looks now and then; no word of what is in it.
async fn health(State(bench): State<Bench>) -> Response {
    let readable = bench.store().entries_after(0, 1).await.is_ok();
    let (status, state) = match (readable, bench.store().standing()) {
        (false, _) => (StatusCode::SERVICE_UNAVAILABLE, "unreadable"),
        (true, Standing::ReadOnly { .. }) => (StatusCode::SERVICE_UNAVAILABLE, "read-only"),
        (true, Standing::Writable) => (StatusCode::OK, "ok"),
    };
    let answer = serde_json::json!({
        "state": state,
        "version": env!("CARGO_PKG_VERSION"),
        "last_backup": bench.around().last_backup().map(|at| at.to_string()),
    });
    (status, axum::Json(answer)).into_response()
}

async fn wall(State(bench): State<Bench>, Query(asked): Query<Typed>, headers: HeaderMap) -> Shown {
    let mut jobs = bench.jobs().await?;
    let find = asked.get("find").map_or("", |f| f.trim());
    jobs.retain(|job| pages::wall::is_meant(&job.state, find));
    Ok(pages::wall::page(&bench, &jobs, &who(&bench, &headers), find, &Typed::new(), &[]).into_response())
}

async fn gauges(State(bench): State<Bench>, headers: HeaderMap) -> Shown {
    let jobs = bench.jobs().await?;
    Ok(pages::gauges::page(&bench, &jobs, &who(&bench, &headers)).into_response())
}

/// Leads a code typed from a paper to the form that takes what came back.
async fn machine_work(State(bench): State<Bench>, Query(asked): Query<Typed>, headers: HeaderMap) -> Shown {
    let code = asked.get("code").map_or("", |c| c.trim());
    let why = if code.is_empty() {
        "type the code that stands on the machine order".to_owned()
    } else {
        match machine::led_by(&bench, code).await? {
            Ok(page) => return Ok(Redirect::to(&page).into_response()),
            Err(why) => why.to_string(),
        }
    };
    let page = pages::wall::unknown_code(&who(&bench, &headers), code, &why);
    Ok((StatusCode::NOT_FOUND, page).into_response())
}

/// What the shop's own finished jobs say; counted anew each time, beside the pages that are being shown.
async fn own_jobs(State(bench): State<Bench>, headers: HeaderMap) -> Shown {
    let jobs = bench.jobs().await?;
    let book = bench.knowledge().without_learnt();
    let counted = tokio::task::spawn_blocking(move || {
        let states: Vec<logbook::JobState> = jobs.iter().map(|job| job.state.clone()).collect();
        workup::learning::learn(&states, &book, surroundings::now())
    });
    let broken = |why: String| Trouble::new(StatusCode::INTERNAL_SERVER_ERROR, "the jobs cannot be counted", why);
    let lesson =
        counted.await.map_err(|error| broken(error.to_string()))?.map_err(|error| broken(error.to_string()))?;
    Ok(pages::own_jobs::page(&bench, &lesson, &who(&bench, &headers)).into_response())
}

/// What a residue may be; the place that it was found at stands in the address.
async fn residues(State(bench): State<Bench>, Query(asked): Query<Typed>, headers: HeaderMap) -> Shown {
    let place = asked.get("place").map(String::as_str).filter(|p| !p.is_empty());
    if let Some(place) = place
        && !bench.knowledge().places.iter().any(|p| p.id == place)
    {
        return Err(Trouble::not_found(
            "there is no such place",
            format!("no residue is known at `{place}`; look at all of them and choose the place there"),
        )
        .into());
    }
    Ok(pages::residues::page(&bench, place, &who(&bench, &headers)).into_response())
}

async fn sources(State(bench): State<Bench>, headers: HeaderMap) -> Shown {
    Ok(pages::sources::page(&bench, &who(&bench, &headers)).into_response())
}

async fn calculators(State(bench): State<Bench>, headers: HeaderMap) -> Shown {
    Ok(pages::calculators::list(&who(&bench, &headers)).into_response())
}

/// A calculator; what was typed stands in the address, and a field left empty was not typed.
async fn calculator(
    State(bench): State<Bench>,
    Path(id): Path<String>,
    Query(mut typed): Query<Typed>,
    headers: HeaderMap,
) -> Shown {
    let calculator =
        mechanics::calculator(&id).map_err(|error| Trouble::not_found("there is no such calculator", error))?;
    typed.retain(|_, text| !text.trim().is_empty());
    let answer = (!typed.is_empty()).then(|| api::answer(calculator, &typed));
    let status = match &answer {
        Some(Err(_)) => StatusCode::UNPROCESSABLE_ENTITY,
        Some(Ok(_)) | None => StatusCode::OK,
    };
    let page = pages::calculators::page(calculator, &who(&bench, &headers), &typed, answer.as_ref());
    Ok((status, page).into_response())
}

/// The entry id of a form: made where the form was filled in, so that a second touch is the same entry.
pub(crate) fn entry_of(typed: &Typed) -> Result<EntryId, Trouble> {
    match typed.get("entry").map(String::as_str) {
        None | Some("") => Ok(surroundings::new_entry()),
        Some(text) => {
            text.parse().map_err(|e| Trouble::fields("the form has no good id", vec![FieldTrouble::new("entry", e)]))
        }
    }
}

async fn open_job(State(bench): State<Bench>, headers: HeaderMap, Form(typed): Form<Typed>) -> Shown {
    let by = who(&bench, &headers);
    let state = logbook::JobState::default();
    let body = match forms::body(Kind::JobOpened, &state, bench.knowledge(), &typed) {
        Ok(body) => body,
        Err(errors) => {
            let jobs = bench.jobs().await?;
            let page = pages::wall::page(&bench, &jobs, &by, "", &typed, &errors);
            return Ok(with_trouble(page, Trouble::fields("the job is not opened", errors)));
        }
    };
    // The form carries the id of the job it would open, so that a second touch opens the same one.
    let job: JobId = typed.get("back").and_then(|t| t.parse().ok()).unwrap_or_else(surroundings::new_job);
    bench.keep(job, entry_of(&typed)?, &by, surroundings::DEVICE, &body).await?;
    Ok(Redirect::to(&format!("/jobs/{job}/hear")).into_response())
}

/// Opens a practice job: its entries are kept one by one like any others, and it stands on its first page.
async fn open_practice(State(bench): State<Bench>, headers: HeaderMap, Form(typed): Form<Typed>) -> Shown {
    let by = who(&bench, &headers);
    // The form carries the id of the job, so that a second touch opens the same one.
    let job: JobId = typed.get("back").and_then(|t| t.parse().ok()).unwrap_or_else(surroundings::new_job);
    let (mut state, there) = match bench.store().last_of(job).await? {
        Some(_) => {
            let job = bench.job(job).await?;
            // The shop's rates are told with the opening, and are none of the story.
            let told = job.entries.iter().filter(|e| e.kind() != Kind::MoneyTold.word()).count();
            (job.state.clone(), told)
        }
        None => (JobState::default(), 0),
    };
    // What an earlier touch kept is not kept twice.
    for number in there.. {
        let Some(body) = practice::entry(number, &state, bench.knowledge()) else { break };
        let body = body.map_err(|why| {
            Trouble::new(
                StatusCode::CONFLICT,
                "the practice job does not fit this shop's knowledge",
                format!("{why}; open a job of your own instead"),
            )
        })?;
        let (_, kept) = bench.keep(job, surroundings::new_entry(), &by, surroundings::DEVICE, &body).await?;
        state = kept.state.clone();
    }
    Ok(Redirect::to(&format!("/jobs/{job}/hear")).into_response())
}

async fn job(State(bench): State<Bench>, Path(id): Path<String>) -> Shown {
    let job = bench.job(pages::job_id(&id)?).await?;
    let moment = job.state.moment.unwrap_or(Moment::Hear);
    Ok(Redirect::to(&format!("/jobs/{id}/{}", moment.word())).into_response())
}

async fn moment(
    State(bench): State<Bench>,
    Path((id, word)): Path<(String, String)>,
    Query(asked): Query<BTreeMap<String, String>>,
    headers: HeaderMap,
) -> Shown {
    let job = bench.job(pages::job_id(&id)?).await?;
    let mut view = View::of(&bench, &job, &who(&bench, &headers), format!("/jobs/{id}/{word}"));
    view.kept = asked.get("kept").cloned().filter(|e| e.parse::<EntryId>().is_ok());
    view.code = asked.get("code").cloned();
    Ok(moment_page(&view, &word)?.into_response())
}

fn moment_page(view: &View, word: &str) -> Result<maud::Markup, Trouble> {
    let moment = Moment::ALL.iter().copied().find(|m| m.word() == word).ok_or_else(|| {
        let all: Vec<&str> = Moment::ALL.iter().map(|m| m.word()).collect();
        Trouble::not_found("a job has no such page", format!("`{word}` is none; there are {}", all.join(", ")))
    })?;
    Ok(match moment {
        Moment::Hear => pages::hear::page(view),
        Moment::Test | Moment::Strip => pages::test::page(view, moment),
        Moment::Choose => pages::choose::page(view),
        Moment::Order => pages::order::page(view),
        Moment::Build => pages::build::page(view),
        Moment::Prove => pages::prove::page(view),
        Moment::HandBack => pages::hand_back::page(view),
    })
}

fn given(typed: &Typed) -> Given {
    let text = |name: &str| typed.get(name).cloned().unwrap_or_default();
    let used = text("gauge-used");
    let (gauge, label) = used.split_once('|').unwrap_or((&used, ""));
    Given {
        check: text("check"),
        reading: text("reading"),
        position: text("position"),
        value: text("value"),
        unit: text("unit"),
        phase: text("phase"),
        spot: text("spot"),
        gauge: gauge.to_owned(),
        label: label.to_owned(),
        temperature: text("temperature"),
        note: text("note"),
        mean_of: text("mean_of"),
        stations: enter::stations_typed(typed),
    }
}

/// Text as it may stand in an address or a cookie.
pub(crate) fn escaped(text: &str) -> String {
    let plain = |b: u8| b.is_ascii_alphanumeric() || b == b'-';
    text.bytes().map(|b| if plain(b) { char::from(b).to_string() } else { format!("%{b:02X}") }).collect()
}

/// The address of a field, with what was typed into it: a caution that is ticked in between loses nothing.
fn field_address(id: &str, given: &Given) -> String {
    let parts = [
        ("check", &given.check),
        ("reading", &given.reading),
        ("position", &given.position),
        ("phase", &given.phase),
        ("value", &given.value),
        ("unit", &given.unit),
        ("note", &given.note),
        ("spot", &given.spot),
        ("stations", &given.stations),
    ];
    let asked: Vec<String> =
        parts.iter().filter(|(_, v)| !v.is_empty()).map(|(k, v)| format!("{k}={}", escaped(v))).collect();
    format!("/jobs/{id}/enter?{}", asked.join("&"))
}

async fn enter_page(
    State(bench): State<Bench>,
    Path(id): Path<String>,
    Query(asked): Query<Typed>,
    headers: HeaderMap,
) -> Shown {
    let job = bench.job(pages::job_id(&id)?).await?;
    let given = given(&asked);
    let here = field_address(&id, &given);
    let mut view = View::of(&bench, &job, &who(&bench, &headers), here);
    view.kept = asked.get("kept").cloned().filter(|e| e.parse::<EntryId>().is_ok());
    let status = if bench.knowledge().check(&given.check).is_some() { StatusCode::OK } else { StatusCode::NOT_FOUND };
    Ok((status, enter::page(&view, &given, enter::Back::default())).into_response())
}

async fn enter_reading(
    State(bench): State<Bench>,
    Path(id): Path<String>,
    headers: HeaderMap,
    Form(typed): Form<Typed>,
) -> Shown {
    let job = bench.job(pages::job_id(&id)?).await?;
    let given = given(&typed);
    let here = field_address(&id, &given);
    let view = View::of(&bench, &job, &who(&bench, &headers), here);
    let again = |status: StatusCode, errors: &[FieldTrouble], question: Option<&quantity::Question>| {
        let mut trouble = Trouble::fields("the reading is not kept", errors.to_vec());
        trouble.status = status;
        if let Some(question) = question {
            trouble = Trouble::fields(trouble.title, vec![FieldTrouble::new("value", question)]);
        }
        with_trouble(enter::page(&view, &given, enter::Back::refused(errors, question)), trouble)
    };
    let unfit = StatusCode::UNPROCESSABLE_ENTITY;
    let entry = entry_of(&typed)?;
    let stood = job.stood(entry);
    // A work-up of an earlier chain may withhold what is possible now, and a reading that was taken is a fact.
    let case = view.case.as_deref().filter(|_| view.current && job.has(entry).is_none());
    match given.body(&stood.state, bench.knowledge(), case) {
        Ok(body) => {
            let past = workup::scales::past_the_end_of(&stood.state, bench.knowledge(), &body);
            if let Some(notice) = past.filter(|_| !typed.contains_key(enter::READ_SO)) {
                let back = enter::Back { past: Some(&notice), ..enter::Back::default() };
                let why = format!("{}; {}", notice.message, notice.what_to_do);
                let trouble = Trouble::fields("the reading is not kept", vec![FieldTrouble::new("value", why)]);
                return Ok(with_trouble(enter::page(&view, &given, back), trouble));
            }
            let body = EntryBody::ReadingTaken(body);
            match bench.keep(job.id, entry, &view.who, surroundings::DEVICE, &body).await {
                Ok(_) => Ok(Redirect::to(&format!("/jobs/{id}/kept/{entry}")).into_response()),
                // Nothing typed is lost: the field comes back with what refused it.
                Err(trouble) if !trouble.errors.is_empty() => Ok(again(trouble.status, &trouble.errors, None)),
                Err(trouble) => Err(trouble.into()),
            }
        }
        Err(why) => match Refused::from(why) {
            Refused::Fields(errors) => Ok(again(unfit, &errors, None)),
            Refused::Asks(question) => Ok(again(unfit, &[], Some(&question))),
        },
    }
}

async fn kept(State(bench): State<Bench>, Path((id, entry)): Path<(String, String)>, headers: HeaderMap) -> Shown {
    let job = bench.job(pages::job_id(&id)?).await?;
    let entry: EntryId = entry.parse().map_err(|e| Trouble::not_found("there is no such entry", e))?;
    let view = View::of(&bench, &job, &who(&bench, &headers), format!("/jobs/{id}/test"));
    Ok(enter::kept(&view, entry).into_response())
}

async fn place(State(bench): State<Bench>, Path((id, position)): Path<(String, String)>, headers: HeaderMap) -> Shown {
    let job = bench.job(pages::job_id(&id)?).await?;
    let nowhere = |why: String| Trouble::not_found("the engine has no such place", why);
    let position: Position = position.parse().map_err(|e: anatomy::AddressError| nowhere(e.to_string()))?;
    if let Some(layout) = &job.state.layout {
        layout.ensure(&position).map_err(|e| nowhere(e.to_string()))?;
    }
    let here = format!("/jobs/{id}/place/{}", position.address());
    let view = View::of(&bench, &job, &who(&bench, &headers), here);
    Ok(pages::place::page(&view, &position).into_response())
}

/// Where a form leads back to; only into the same job, so that no form can be made to lead away.
pub(crate) fn back_to(typed: &Typed, id: &str, entry: EntryId) -> Redirect {
    let within = format!("/jobs/{id}/");
    let ours = |b: &&String| b.starts_with(&within) || b.as_str() == "/gauges";
    let back = typed.get("back").filter(ours).cloned().unwrap_or_else(|| format!("{within}test"));
    let and = if back.contains('?') { '&' } else { '?' };
    Redirect::to(&format!("{back}{and}kept={entry}"))
}

async fn tell(
    State(bench): State<Bench>,
    Path((id, word)): Path<(String, String)>,
    headers: HeaderMap,
    Form(typed): Form<Typed>,
) -> Shown {
    let job = bench.job(pages::job_id(&id)?).await?;
    let kind = Kind::from_word(&word)
        .ok_or_else(|| Trouble::not_found("there is no such kind of entry", format!("`{word}` is none of ours")))?;
    let by = who(&bench, &headers);
    let entry = entry_of(&typed)?;
    let stood = job.stood(entry);
    let (status, errors) = match with_code(&bench, kind, entry, job.has(entry), &typed)
        .await?
        .and_then(|typed| forms::body(kind, &stood.state, bench.knowledge(), &typed))
    {
        Ok(body) => match bench.keep(job.id, entry, &by, surroundings::DEVICE, &body).await {
            Ok(_) => return Ok(back_to(&typed, &id, entry).into_response()),
            Err(trouble) if trouble.errors.is_empty() => return Err(trouble.into()),
            Err(trouble) => (trouble.status, trouble.errors),
        },
        Err(errors) => (StatusCode::UNPROCESSABLE_ENTITY, errors),
    };
    let back = typed.get("back").cloned().unwrap_or_default();
    let word = back.strip_prefix(&format!("/jobs/{id}/")).and_then(|w| w.split(['?', '/', '#']).next());
    let moment = word.filter(|w| Moment::ALL.iter().any(|m| m.word() == *w));
    let here = if back.starts_with(&format!("/jobs/{id}/")) { back.clone() } else { format!("/jobs/{id}/test") };
    let here = moment.map_or(here, |moment| format!("/jobs/{id}/{moment}"));
    let board = (word == Some("bags")).then(|| {
        let joint = here.split_once("?joint=").map(|(_, joint)| joint.split('&').next().unwrap_or_default());
        joint.map(str::to_owned)
    });
    let mut view = View::of(&bench, &job, &by, here);
    let mut trouble = Trouble::fields("the entry was not kept", errors.clone());
    trouble.status = status;
    view.returned = Some((kind, typed, errors));
    let page = match (moment, board) {
        (Some(moment), _) => moment_page(&view, moment)?,
        (None, Some(joint)) => pages::bags::page(&view, joint.as_deref()),
        (None, None) => view.form_alone(kind),
    };
    Ok(with_trouble(page, trouble))
}

/// What was typed, with the code that a new machine order gets where none was typed.
async fn with_code(
    bench: &Bench,
    kind: Kind,
    entry: EntryId,
    kept: Option<&logbook::Entry>,
    typed: &Typed,
) -> Result<Result<Typed, Vec<FieldTrouble>>, Trouble> {
    let mut whole = typed.clone();
    if kind == Kind::MachineOrderSent {
        let there = typed.get("code").map_or("", |c| c.trim());
        // An order that was kept before has its code, whichever codes were given since.
        if let Some(code) = kept.and_then(|kept| kept.body().get("code")?.as_str()) {
            if there.is_empty() {
                whole.insert("code".to_owned(), code.to_owned());
            }
            return Ok(Ok(whole));
        }
        match machine::code_for(bench, entry, there).await? {
            Ok(code) => drop(whole.insert("code".to_owned(), code)),
            Err(why) => return Ok(Err(vec![crate::entering::field(&why)])),
        }
    }
    Ok(Ok(whole))
}

async fn withdraw(
    State(bench): State<Bench>,
    Path((id, target)): Path<(String, String)>,
    headers: HeaderMap,
    Form(typed): Form<Typed>,
) -> Shown {
    let job = bench.job(pages::job_id(&id)?).await?;
    let target = written(&job.state, &target)?.entry;
    let entry = entry_of(&typed)?;
    let reason = typed.get("reason").map_or("", |r| r.trim());
    let reason = if reason.is_empty() { "taken back at the bench" } else { reason }.to_owned();
    let body = EntryBody::EntryWithdrawn(EntryWithdrawn { entry: target, reason });
    bench.keep(job.id, entry, &who(&bench, &headers), surroundings::DEVICE, &body).await?;
    Ok(back_to(&typed, &id, entry).into_response())
}

/// The line of the job's history that an entry in an address means.
fn written<'s>(state: &'s JobState, entry: &str) -> Result<&'s HistoryLine, Trouble> {
    let id: EntryId = entry.parse().map_err(|e| Trouble::not_found("there is no such entry", e))?;
    let line = state.history.iter().find(|h| h.entry == id);
    line.ok_or_else(|| Trouble::not_found("the job has no such entry", id))
}

fn entry_view(view: &View, entry: &str) -> Result<(EntryId, Kind), Trouble> {
    let line = written(view.state(), entry)?;
    let kind = Kind::from_word(&line.kind)
        .ok_or_else(|| Trouble::not_found("this build does not know that kind of entry", &line.kind))?;
    Ok((line.entry, kind))
}

async fn one_entry(State(bench): State<Bench>, Path((id, entry)): Path<(String, String)>, headers: HeaderMap) -> Shown {
    let job = bench.job(pages::job_id(&id)?).await?;
    let view = View::of(&bench, &job, &who(&bench, &headers), format!("/jobs/{id}/entries/{entry}"));
    let (entry, kind) = entry_view(&view, &entry)?;
    Ok(pages::entry::page(&view, entry, kind, None, &[]).into_response())
}

async fn put_right(
    State(bench): State<Bench>,
    Path((id, entry)): Path<(String, String)>,
    headers: HeaderMap,
    Form(typed): Form<Typed>,
) -> Shown {
    let job = bench.job(pages::job_id(&id)?).await?;
    let kept = entry_of(&typed)?;
    let stood = job.stood(kept);
    let view = View::of(&bench, &stood, &who(&bench, &headers), format!("/jobs/{id}/entries/{entry}"));
    let (target, kind) = entry_view(&view, &entry)?;
    match pages::entry::right_body(&view, target, kind, &typed) {
        Ok(body) => {
            bench.keep(job.id, kept, &view.who, surroundings::DEVICE, &EntryBody::EntryCorrected(body)).await?;
            Ok(back_to(&typed, &id, kept).into_response())
        }
        Err(errors) => {
            let page = pages::entry::page(&view, target, kind, Some(&typed), &errors);
            Ok(with_trouble(page, Trouble::fields("it is not put right", errors)))
        }
    }
}

async fn bolts(
    State(bench): State<Bench>,
    Path(id): Path<String>,
    Query(asked): Query<Typed>,
    headers: HeaderMap,
) -> Shown {
    let job = bench.job(pages::job_id(&id)?).await?;
    let walk = pages::bolts::Walk::of(&asked);
    let mut view = View::of(&bench, &job, &who(&bench, &headers), walk.address(&id));
    view.kept = asked.get("kept").cloned().filter(|e| e.parse::<EntryId>().is_ok());
    Ok(pages::bolts::page(&view, &walk).into_response())
}

async fn bag_board(
    State(bench): State<Bench>,
    Path(id): Path<String>,
    Query(asked): Query<Typed>,
    headers: HeaderMap,
) -> Shown {
    let job = bench.job(pages::job_id(&id)?).await?;
    let mut view = View::of(&bench, &job, &who(&bench, &headers), format!("/jobs/{id}/bags"));
    let joint = pages::bags::asked_joint(&view, &asked);
    view.here = pages::bags::address(&id, joint.as_deref());
    view.kept = asked.get("kept").cloned().filter(|e| e.parse::<EntryId>().is_ok());
    Ok(pages::bags::page(&view, joint.as_deref()).into_response())
}

async fn give_sheet(State(bench): State<Bench>, Path(id): Path<String>) -> Shown {
    let job = bench.job(pages::job_id(&id)?).await?;
    if job.state.sheet.is_empty() {
        return Err(Trouble::not_found("the engine has no figures yet", "type them under Test or Strip first").into());
    }
    let name = job.state.layout.as_ref().map_or_else(|| "engine".to_owned(), anatomy::EngineLayout::in_words);
    let text = logbook::sheet_to_toml(&logbook::sheet_export(&job.state, &name))
        .map_err(|e| Trouble::new(StatusCode::INTERNAL_SERVER_ERROR, "the engine sheet cannot be written", e))?;
    let headers = [
        (header::CONTENT_TYPE, "application/toml; charset=utf-8"),
        (header::CONTENT_DISPOSITION, "attachment; filename=\"engine-sheet.toml\""),
    ];
    Ok((headers, text).into_response())
}

async fn take_sheet(
    State(bench): State<Bench>,
    Path(id): Path<String>,
    headers: HeaderMap,
    mut parts: Multipart,
) -> Shown {
    let job = bench.job(pages::job_id(&id)?).await?;
    let wrong =
        |message: String| Trouble::fields("the engine sheet is not taken", vec![FieldTrouble::new("sheet", message)]);
    let mut typed = Typed::new();
    while let Some(part) = parts.next_field().await.map_err(|e| wrong(e.body_text()))? {
        let name = part.name().unwrap_or_default().to_owned();
        if name == "sheet" {
            typed.insert("file".to_owned(), part.file_name().unwrap_or_default().to_owned());
        }
        let text = part.text().await.map_err(|e| wrong(format!("{}; send a text file", e.body_text())))?;
        typed.insert(name, text);
    }
    let text = typed.get("sheet").filter(|t| !t.trim().is_empty());
    let text = text.ok_or_else(|| wrong("no file was chosen; choose the engine sheet".to_owned()))?;
    let json = typed.get("file").is_some_and(|f| f.to_ascii_lowercase().ends_with(".json"));
    let sheet = if json { logbook::sheet_from_json(text) } else { logbook::sheet_from_toml(text) };
    let sheet = sheet.map_err(|e| wrong(e.to_string()))?;
    let entry = entry_of(&typed)?;
    let body = logbook::sheet_import(&sheet, &job.stood(entry).state).map_err(|e| wrong(e.to_string()))?;
    bench.keep(job.id, entry, &who(&bench, &headers), surroundings::DEVICE, &body).await?;
    Ok(back_to(&typed, &id, entry).into_response())
}

/// The fields of a form with a file, and the file; `what` and `next` say what is wrong where it does not come through.
pub(crate) async fn of_parts(
    parts: &mut Multipart,
    file: &str,
    what: &'static str,
    next: &str,
) -> Result<(Typed, Option<axum::body::Bytes>), Trouble> {
    let broken = |e: axum::extract::multipart::MultipartError| {
        Trouble::new(e.status(), what, format!("{}; {next}", e.body_text()))
    };
    let mut typed = Typed::new();
    let mut bytes = None;
    while let Some(part) = parts.next_field().await.map_err(broken)? {
        let name = part.name().unwrap_or_default().to_owned();
        if name == file {
            bytes = Some(part.bytes().await.map_err(broken)?);
        } else {
            typed.insert(name, part.text().await.map_err(broken)?);
        }
    }
    Ok((typed, bytes))
}

async fn photo(State(bench): State<Bench>, Path(id): Path<String>, headers: HeaderMap, mut parts: Multipart) -> Shown {
    let job = bench.job(pages::job_id(&id)?).await?;
    let (typed, photo) =
        of_parts(&mut parts, "photo", "the photo did not come through", "at most 12 MB are taken").await?;
    let photo = photo.filter(|p| !p.is_empty()).ok_or_else(|| {
        Trouble::fields("no photo was chosen", vec![FieldTrouble::new("photo", "choose a photo, or take one")])
    })?;
    let kind = Picture::of(&photo).ok_or_else(|| {
        Trouble::new(StatusCode::UNSUPPORTED_MEDIA_TYPE, "this is no photo we take", "send it as JPEG, PNG or WebP")
    })?;
    let caption = typed.get("caption").map(|c| c.trim()).filter(|c| !c.is_empty()).ok_or_else(|| {
        Trouble::fields("the photo has no caption", vec![FieldTrouble::new("caption", "say what it shows")])
    })?;
    let position = match typed.get("position").map(|p| p.trim()).filter(|p| !p.is_empty()) {
        None => None,
        Some(text) => Some(text.parse().map_err(|e: anatomy::AddressError| {
            Trouble::fields("the place is none", vec![FieldTrouble::new("position", e)])
        })?),
    };
    let entry = entry_of(&typed)?;
    if let (Some(position), Some(layout)) = (&position, &job.stood(entry).state.layout) {
        layout
            .ensure(position)
            .map_err(|e| Trouble::fields("the engine has no such place", vec![FieldTrouble::new("position", e)]))?;
    }
    let alone = photos::alone(kind, photo).map_err(|why| {
        Trouble::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            "the photo cannot be read",
            format!("{why}; nothing was kept, take it again or send it as another file"),
        )
    })?;
    let kept = bench.store().keep_attachment(alone, kind.media_type()).await?;
    let body = PhotoKept {
        sha256: kept.id.to_string(),
        caption: caption.to_owned(),
        drawn: typed.contains_key("drawn"),
        position,
        bag: typed.get("bag").map(|b| b.trim().to_owned()).filter(|b| !b.is_empty()),
    };
    bench.keep(job.id, entry, &who(&bench, &headers), surroundings::DEVICE, &EntryBody::PhotoKept(body)).await?;
    Ok(back_to(&typed, &id, entry).into_response())
}

async fn attachment(State(bench): State<Bench>, Path(sha256): Path<String>) -> Shown {
    let id: ContentId = sha256.parse().map_err(|e| Trouble::not_found("there is no such picture", e))?;
    let bytes = bench.store().attachment(id).await?;
    let drawn = bytes.starts_with(b"<svg") || bytes.starts_with(b"<?xml");
    let kind = Picture::of(&bytes)
        .map(Picture::media_type)
        .or(drawn.then_some("image/svg+xml"))
        .unwrap_or("application/octet-stream");
    let headers = [
        (header::CONTENT_TYPE, kind),
        // A drawing may hold script; opened by itself it may run none.
        (header::CONTENT_SECURITY_POLICY, "default-src 'none'; style-src 'unsafe-inline'; sandbox"),
        // A name always means the same bytes.
        (header::CACHE_CONTROL, "private, max-age=31536000, immutable"),
    ];
    Ok((headers, bytes).into_response())
}

/// A photo as small as a list shows it. What is no photo, or cannot be opened, comes as it is.
async fn small_photo(State(bench): State<Bench>, Path(sha256): Path<String>) -> Shown {
    let id: ContentId = sha256.parse().map_err(|e| Trouble::not_found("there is no such picture", e))?;
    let made = match bench.small().get(&sha256) {
        Some(small) => Some(small),
        None => {
            let photo = bench.store().attachment(id).await?;
            if Picture::of(&photo).is_none() {
                return attachment(State(bench), Path(sha256)).await;
            }
            // Opening a large photo keeps a processor busy for a moment.
            let made = tokio::task::spawn_blocking(move || crate::small::small(&photo)).await;
            let made = made.ok().and_then(Result::ok).map(Arc::<[u8]>::from);
            made.inspect(|small| bench.small().put(&sha256, small))
        }
    };
    let Some(small) = made else { return attachment(State(bench), Path(sha256)).await };
    let headers = [
        (header::CONTENT_TYPE, Picture::Jpeg.media_type()),
        (header::CACHE_CONTROL, "private, max-age=31536000, immutable"),
    ];
    Ok((headers, small.to_vec()).into_response())
}

async fn paper(
    State(bench): State<Bench>,
    Path((id, file)): Path<(String, String)>,
    Query(asked): Query<BTreeMap<String, String>>,
    method: Method,
    headers: HeaderMap,
) -> Shown {
    let word = file.strip_suffix(".pdf").unwrap_or(&file);
    let paper = Paper::from_word(word).ok_or_else(|| {
        let all: Vec<&str> = Paper::ALL.iter().map(|p| p.word()).collect();
        Trouble::not_found("there is no such paper", format!("`{word}` is none; there are {}", all.join(", ")))
    })?;
    let size = asked.get("size").map_or("a4", String::as_str);
    let size = PaperSize::from_word(size).ok_or_else(|| {
        let why = format!("`{size}` is no size; it is a4 or letter");
        Trouble::fields("the size is unknown", vec![FieldTrouble::new("size", why)])
    })?;
    let (job, worked) = bench.case(pages::job_id(&id)?).await?;
    let case = worked.map_err(|why| Trouble::new(StatusCode::CONFLICT, "the paper cannot be made", why))?;
    let knowledge = std::sync::Arc::clone(bench.knowledge());
    let at = std::sync::Arc::clone(&job);
    let made = tokio::task::spawn_blocking(move || papers::made(&at, &case, &knowledge, paper, size)).await;
    let made = made.map_err(|_| {
        Trouble::new(
            StatusCode::INTERNAL_SERVER_ERROR,
            "the paper broke off",
            "this is a fault of the program; every entry is kept",
        )
    })??;
    // A look at the heading hands nothing out, and a page of another site cannot make this one write.
    if method == Method::GET && guard::asked_here(&headers) && !made.is_issued(&job.state) {
        let entry = surroundings::new_entry();
        let body = EntryBody::PaperIssued(made.issued);
        bench.keep(job.id, entry, &who(&bench, &headers), surroundings::DEVICE, &body).await?;
    }
    Ok(([(header::CONTENT_TYPE, "application/pdf")], made.pdf).into_response())
}

async fn set_who(headers: HeaderMap, Form(typed): Form<Typed>) -> Shown {
    let name: String = typed.get("by").map_or("", |b| b.trim()).chars().take(60).collect();
    if name.is_empty() {
        return Err(Trouble::fields("nobody is named", vec![FieldTrouble::new("by", "type a name or a sign")]).into());
    }
    let by = if matches!(asking(), Asking::Here) { "bench_by" } else { "__Host-by" };
    let secure = if by == "bench_by" { "" } else { " Secure;" };
    let cookie = format!("{by}={}; Path=/;{secure} SameSite=Strict; HttpOnly; Max-Age=31536000", escaped(&name));
    let back = headers.get(header::REFERER).and_then(|r| r.to_str().ok()).and_then(|r| r.split_once("://"));
    let path = back.and_then(|(_, rest)| rest.find('/').and_then(|at| rest.get(at..))).unwrap_or("/").to_owned();
    let mut response = Redirect::to(if path.starts_with("//") { "/" } else { &path }).into_response();
    if let Ok(value) = HeaderValue::from_str(&cookie) {
        response.headers_mut().insert(header::SET_COOKIE, value);
    }
    Ok(response)
}

/// A file of ours that a browser asks for anew each time.
pub(crate) fn no_cache(kind: &'static str, text: &'static str) -> Response {
    ([(header::CONTENT_TYPE, kind), (header::CACHE_CONTROL, "no-cache")], text).into_response()
}

pub(crate) async fn css(Query(asked): Query<Typed>) -> Response {
    offline::of_build(&asked, "text/css; charset=utf-8", offline::css())
}

async fn js(Query(asked): Query<Typed>) -> Response {
    offline::of_build(&asked, "text/javascript; charset=utf-8", include_str!("../assets/bench.js"))
}

pub(crate) async fn font(Path(name): Path<String>, Query(asked): Query<Typed>) -> Shown {
    if name == "licence.txt" {
        return Ok(no_cache("text/plain; charset=utf-8", include_str!("../assets/fonts/LICENCE.txt")));
    }
    let found = offline::FONTS.iter().find(|(path, _)| path.strip_prefix("/fonts/") == Some(&name));
    let (_, bytes) = found.ok_or_else(|| Trouble::not_found("there is no such font", &name))?;
    Ok(offline::of_build(&asked, "font/woff2", *bytes))
}

pub(crate) async fn mark() -> Response {
    let svg = pages::LOGO.replacen("<svg ", "<svg xmlns='http://www.w3.org/2000/svg' color='#15181A' ", 1);
    ([(header::CONTENT_TYPE, "image/svg+xml")], svg).into_response()
}
