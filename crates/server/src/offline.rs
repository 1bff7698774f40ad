//! What lets the bench go on while the shop is out of reach: the files of the page on the phone, what is fetched ahead of a
//! job, and answers for the queue in which a phone holds its entries until they are kept here.
//!
//! The queue itself lives in the browser (`assets/queue.js`, `assets/sw.js`). Here a form is answered as it always was; an
//! asker that takes JSON gets the same answer without the page: that it is kept and where to go next, or a problem document.

use std::sync::OnceLock;

use anatomy::{EntryId, JobId};
use axum::Json;
use axum::body::Body;
use axum::extract::{Path, Query, Request, State};
use axum::http::{HeaderMap, Method, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use axum::routing::{MethodRouter, get};
use knowledge::Check;
use logbook::{Moment, Phase};
use maud::{Markup, html};
use serde_json::json;
use sha2::{Digest, Sha256};
use store::Store;

use crate::desk::{Bench, Job};
use crate::door::Shown;
use crate::forms::Typed;
use crate::pages::{self, View, who};
use crate::trouble::{OnWire, Trouble};

/// The header by which a form that waited on a phone names who filled it in.
pub(crate) const FILLED_BY: &str = "bench-by";

/// How many pages of a job are fetched ahead at most \[ours\]: the fields of an opened engine and its places are fewer.
const AHEAD: usize = 320;

const CSS: &str = include_str!("../assets/bench.css");
const JS: &str = include_str!("../assets/bench.js");
const QUEUE: &str = include_str!("../assets/queue.js");
const JUDGE: &str = include_str!("../assets/judge.js");
const PHONE: &str = include_str!("../assets/phone.js");
const WORKER: &str = include_str!("../assets/sw.js");

/// The mark as pictures, for phones that take no drawing: how it is named, how wide and high in pixels, what for.
const ICONS: [(&str, u32, &str, &[u8]); 3] = [
    ("/icons/192.png", 192, "any", include_bytes!("../assets/mark-192.png")),
    ("/icons/512.png", 512, "any", include_bytes!("../assets/mark-512.png")),
    ("/icons/maskable.png", 512, "maskable", include_bytes!("../assets/mark-maskable.png")),
];

/// The fonts of the pages, each weight in two parts; a browser fetches the signs only where a page prints one
/// (`assets/fonts/subset.py` makes them, and says what is in which).
pub(crate) const FONTS: [(&str, &[u8]); 4] = [
    ("/fonts/regular.woff2", include_bytes!("../assets/fonts/regular.woff2")),
    ("/fonts/bold.woff2", include_bytes!("../assets/fonts/bold.woff2")),
    ("/fonts/regular-signs.woff2", include_bytes!("../assets/fonts/regular-signs.woff2")),
    ("/fonts/bold-signs.woff2", include_bytes!("../assets/fonts/bold-signs.woff2")),
];
/// How many of them a phone fetches ahead: offline, a rare sign is drawn by a font of the phone.
const FONTS_AHEAD: usize = 2;

/// What this build serves, in twelve digits: a page, its style and its script always belong together.
pub(crate) fn version() -> &'static str {
    static VERSION: OnceLock<String> = OnceLock::new();
    VERSION.get_or_init(|| {
        let mut all = Sha256::new();
        for text in [CSS, JS, QUEUE, JUDGE, PHONE, WORKER, pages::LOGO, env!("CARGO_PKG_VERSION")] {
            all.update(text.as_bytes());
        }
        for (_, _, _, picture) in ICONS {
            all.update(picture);
        }
        for (_, font) in FONTS {
            all.update(font);
        }
        all.finalize().iter().take(6).fold(String::new(), |hex, byte| format!("{hex}{byte:02x}"))
    })
}

/// The address of a file of this build.
pub(crate) fn of_this_build(path: &str) -> String {
    format!("{path}?v={}", version())
}

/// A file of this build. Asked for by the version it is of, it never changes, and is fetched once; asked for without one, or
/// by another build's, it is asked for anew each time.
pub(crate) fn of_build(asked: &Typed, kind: &'static str, content: impl Into<Body>) -> Response {
    let same = asked.get("v").is_some_and(|v| v == version());
    let keep = if same { "private, max-age=31536000, immutable" } else { "no-cache" };
    ([(header::CONTENT_TYPE, kind), (header::CACHE_CONTROL, keep)], content.into()).into_response()
}

/// The style, in which every font is named by the version of this build.
pub(crate) fn css() -> &'static str {
    static STYLE: OnceLock<String> = OnceLock::new();
    STYLE.get_or_init(|| CSS.replace(".woff2\"", &format!(".woff2?v={}\"", version())))
}

/// The files that belong to no job, each with its handler.
pub(crate) fn files() -> Vec<(&'static str, MethodRouter<Bench>)> {
    let mut out = vec![
        ("/queue.js", get(|Query(asked): Query<Typed>| async move { script(&asked, QUEUE) })),
        ("/judge.js", get(|Query(asked): Query<Typed>| async move { script(&asked, JUDGE) })),
        ("/phone.js", get(|Query(asked): Query<Typed>| async move { script(&asked, PHONE) })),
        ("/sw.js", get(worker)),
        ("/manifest.webmanifest", get(manifest)),
    ];
    for (path, _, _, picture) in ICONS {
        let give = move || async move {
            ([(header::CONTENT_TYPE, "image/png"), (header::CACHE_CONTROL, "private, max-age=86400")], picture)
        };
        out.push((path, get(give)));
    }
    out
}

fn script(asked: &Typed, text: impl Into<Body>) -> Response {
    of_build(asked, "text/javascript; charset=utf-8", text)
}

/// The service worker, with the version and the files that it keeps.
async fn worker() -> Response {
    let mut files: Vec<String> = ["/bench.css", "/bench.js", "/queue.js", "/judge.js", "/phone.js"]
        .iter()
        .chain(FONTS.iter().take(FONTS_AHEAD).map(|(path, _)| path))
        .map(|path| of_this_build(path))
        .collect();
    files.extend(["/mark.svg", "/manifest.webmanifest"].map(str::to_owned));
    // The large icons are for the home screen alone, which has them from the shop.
    files.extend(ICONS.iter().take(1).map(|(path, _, _, _)| (*path).to_owned()));
    let head = format!("const VERSION = {}, FILES = {};\n", json!(version()), json!(files));
    script(&Typed::new(), format!("{head}{WORKER}"))
}

async fn manifest() -> Response {
    let pictures = ICONS.iter().map(|(path, size, purpose, _)| {
        json!({"src": path, "sizes": format!("{size}x{size}"), "type": "image/png", "purpose": purpose})
    });
    let drawn = json!({"src": "/mark.svg", "sizes": "any", "type": "image/svg+xml", "purpose": "any"});
    let said = json!({
        "name": "witnessmark, the bench", "short_name": "witnessmark", "lang": "en", "id": "/",
        "description": "Readings, looks and photos at the engine, with the shop in reach or not.",
        "start_url": "/", "scope": "/", "display": "standalone",
        "background_color": "#f3efe6", "theme_color": "#15181a",
        "icons": pictures.chain([drawn]).collect::<Vec<_>>(),
    });
    let headers = [(header::CONTENT_TYPE, "application/manifest+json"), (header::CACHE_CONTROL, "no-cache")];
    (headers, said.to_string()).into_response()
}

/// Whether the asker takes JSON in the place of a page.
fn takes_json(headers: &HeaderMap) -> bool {
    let accept = headers.get(header::ACCEPT).and_then(|a| a.to_str().ok()).unwrap_or_default();
    accept.contains("application/json") && !accept.contains("text/html")
}

/// Answers a form in JSON where the asker takes that: what a page would have said, without the page.
pub(crate) async fn answered(State(bench): State<Bench>, request: Request, next: Next) -> Response {
    let form = *request.method() == Method::POST && !request.uri().path().starts_with("/api/");
    if !form || !takes_json(request.headers()) {
        return next.run(request).await;
    }
    let sent_to = request.uri().path().to_owned();
    let mut response = next.run(request).await;
    if let Some(trouble) = response.extensions_mut().remove::<Trouble>() {
        return OnWire(trouble).into_response();
    }
    let led = response.headers().get(header::LOCATION).and_then(|l| l.to_str().ok()).map(ToOwned::to_owned);
    if let (true, Some(next)) = (response.status().is_redirection(), led) {
        let job = job_in(&next).or_else(|| job_in(&sent_to));
        let tail = match job {
            Some(job) => bench.job(job).await.ok().map(|job| job.tail().to_owned()),
            None => None,
        };
        let said = json!({
            "kept": true, "entry": entry_in(&next), "job": job.map(|job| job.to_string()), "tail": tail, "next": next,
        });
        return Json(said).into_response();
    }
    if response.status().is_success() {
        return response;
    }
    let status = response.status();
    let why = status.canonical_reason().unwrap_or("refused").to_lowercase();
    OnWire(Trouble::new(status, "the form was not taken", format!("{why}; read the page again and send it from there")))
        .into_response()
}

fn job_in(path: &str) -> Option<JobId> {
    path.strip_prefix("/jobs/")?.split(['/', '?']).next()?.parse().ok()
}

fn entry_in(path: &str) -> Option<String> {
    let (_, after) = path.rsplit_once("kept=").or_else(|| path.rsplit_once("/kept/"))?;
    after.parse::<EntryId>().ok().map(|id| id.to_string())
}

/// Where entries are, in one line: so many in the shop, so many of them in the backup; the page adds those on this phone.
pub(crate) fn where_line(shop: usize, backup: Option<usize>) -> Markup {
    html! {
        p.whereabouts data-where="" data-shop=(shop) data-backup=[backup] {
            a href="/queue" {
                span.phone data-phone="" hidden {}
                " "
                span data-in-shop="" { (in_the_shop(shop)) }
                @if let Some(n) = backup {
                    " "
                    span data-in-backup="" { (in_the_backup(n, shop)) }
                }
            }
        }
    }
}

fn in_the_shop(n: usize) -> String {
    format!("{n} in the shop")
}

fn in_the_backup(n: usize, shop: usize) -> String {
    if n >= shop && shop > 0 { "all in the backup".to_owned() } else { format!("{n} in the backup") }
}

/// The line of a job.
pub(crate) fn where_of(bench: &Bench, job: &Job) -> Markup {
    where_line(job.entries.len(), bench.around().backed_up().map(|entries| job.in_backup(entries)))
}

/// How many entries the whole record has, and how many of them the last backup holds.
async fn of_record(bench: &Bench) -> Result<(usize, Option<usize>), Trouble> {
    let kept: u64 = bench.store().jobs().await?.iter().map(|job| job.entries).sum();
    let shop = usize::try_from(kept).unwrap_or(usize::MAX);
    let backup = bench.around().backed_up().map(|n| usize::try_from(n).unwrap_or(usize::MAX).min(shop));
    Ok((shop, backup))
}

/// The counts of the line, for a page that stayed open: of a job that is named, else of the whole record.
pub(crate) async fn whereabouts(State(bench): State<Bench>, Query(asked): Query<Typed>) -> Shown {
    let (shop, backup) = match asked.get("job") {
        Some(id) => {
            let job = bench.job(pages::job_id(id)?).await?;
            (job.entries.len(), bench.around().backed_up().map(|entries| job.in_backup(entries)))
        }
        None => of_record(&bench).await?,
    };
    let said = json!({
        "shop": shop, "backup": backup,
        "words": {"shop": in_the_shop(shop), "backup": backup.map(|n| in_the_backup(n, shop))},
        "last_backup": bench.around().last_backup().map(|at| at.to_string()),
    });
    Ok(Json(said).into_response())
}

/// The page of what waits on this phone.
pub(crate) async fn queue_page(State(bench): State<Bench>, headers: HeaderMap) -> Shown {
    let (shop, backup) = of_record(&bench).await?;
    Ok(pages::queue::page(&who(&bench, &headers), &where_line(shop, backup)).into_response())
}

/// The address under which a field is fetched ahead: without its place, which the page changes by itself.
fn field(job: &str, check: &str, reading: &str, phase: Option<Phase>) -> String {
    let phase = phase.map_or_else(String::new, |phase| format!("&phase={}", phase.word()));
    format!("/jobs/{job}/enter?check={check}&reading={reading}{phase}")
}

/// The pages that a phone fetches ahead of a job, what is needed soonest first.
pub(crate) async fn ahead(State(bench): State<Bench>, Path(id): Path<String>, headers: HeaderMap) -> Shown {
    let job = bench.job(pages::job_id(&id)?).await?;
    let view = View::of(&bench, &job, &who(&bench, &headers), format!("/jobs/{id}/test"));
    let mut out: Vec<String> = Moment::ALL.iter().map(|m| view.link(m.word())).collect();
    out.push(view.link("bags"));
    let fits = |check: &Check| check.applies.iter().all(|a| view.told(&a.attribute).is_none_or(|v| v == a.value));
    let begun = job.state.moments.contains(&Moment::Build) || job.state.moments.contains(&Moment::Prove);
    let advised: Vec<&str> = view.case.iter().flat_map(|c| &c.advice.next).map(|next| next.check.as_str()).collect();
    if job.state.layout.is_some() {
        let mut checks: Vec<&Check> = view.knowledge().checks.iter().map(|c| &c.value).filter(|c| fits(c)).collect();
        checks.sort_by_key(|c| !advised.contains(&c.id.as_str()));
        for check in checks {
            let now = workup::impossible_now(&job.state, view.knowledge(), check).is_none();
            for reading in &check.readings {
                if now {
                    out.push(field(&id, &check.id, &reading.id, None));
                }
                if begun {
                    out.push(field(&id, &check.id, &reading.id, Some(Phase::AsLeft)));
                }
            }
        }
    }
    out.push("/".to_owned());
    out.push("/queue".to_owned());
    out.push("/gauges".to_owned());
    let places = job.state.layout.as_ref().map(anatomy::EngineLayout::all_positions).unwrap_or_default();
    out.extend(places.iter().map(|p| view.link(&format!("place/{}", p.address()))));
    out.truncate(AHEAD);
    Ok(Json(json!({"job": id, "tail": job.tail(), "pages": out})).into_response())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_job_and_the_entry_are_found_in_an_address() {
        let id = "019c8e60-4600-7000-8fb2-000000000000";
        assert_eq!(job_in(&format!("/jobs/{id}/test?kept={id}")).map(|j| j.to_string()).as_deref(), Some(id));
        assert_eq!(entry_in(&format!("/jobs/{id}/test?kept={id}")).as_deref(), Some(id));
        assert_eq!(entry_in(&format!("/jobs/{id}/kept/{id}")).as_deref(), Some(id));
        assert_eq!(entry_in("/"), None);
        assert_eq!(job_in("/gauges"), None);
    }

    #[test]
    fn everything_backed_up_is_said_in_words_and_a_rest_in_figures() {
        assert_eq!(in_the_backup(4, 4), "all in the backup");
        assert_eq!(in_the_backup(3, 4), "3 in the backup");
        assert_eq!(in_the_backup(0, 0), "0 in the backup");
    }
}
