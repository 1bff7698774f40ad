//! When nothing more is kept every page says so; the wall says when the last backup was made.
#![expect(clippy::unwrap_used, reason = "clippy lets only the tests themselves off, not the functions they share")]

use std::path::Path;
use std::sync::Arc;

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::{Request, StatusCode, header};
use jiff::{SignedDuration, Timestamp};
use knowledge::Knowledge;
use server::Bench;
use store::backups::Noted;
use store::{Backups, Opening, SqliteStore, Store};
use tower::ServiceExt;

const STORY: &str = include_str!("../../../cases/0001-tolvane-carrier/story.jsonl");
const HERE: &str = "127.0.0.1:7447";

/// A folder with the record of the van.
async fn van(folder: &Path) -> String {
    let store = SqliteStore::open(Opening::of(folder)).await.unwrap();
    let lines = logbook::story_from_lines(STORY).unwrap();
    let entries = logbook::seal_story("van", &lines).unwrap();
    store.append(&entries).await.unwrap();
    store.close().await;
    entries.first().unwrap().job().to_string()
}

fn bench(store: SqliteStore) -> Bench {
    Bench::new(store, Arc::new(Knowledge::builtin().unwrap()), "Ansel")
}

async fn send(app: &Router, request: Request<Body>) -> (StatusCode, String) {
    let answer = app.clone().oneshot(request).await.unwrap();
    let status = answer.status();
    let bytes = to_bytes(answer.into_body(), usize::MAX).await.unwrap();
    (status, String::from_utf8_lossy(&bytes).into_owned())
}

async fn get(app: &Router, path: &str) -> (StatusCode, String) {
    send(app, Request::get(path).header(header::HOST, HERE).body(Body::empty()).unwrap()).await
}

#[tokio::test(flavor = "multi_thread")]
async fn every_page_says_in_one_line_when_nothing_more_is_kept_and_what_to_do() {
    let folder = tempfile::tempdir().unwrap();
    let job = van(folder.path()).await;
    let line = "Nothing more is kept now: ";
    let pages = |job: &str| -> Vec<String> {
        let of_job = ["hear", "test", "strip", "choose", "order", "build", "prove", "hand-back", "bolts"];
        let of_job = of_job.iter().map(|moment| format!("/jobs/{job}/{moment}"));
        let others = ["/", "/gauges", "/calculators", "/calculators/compression-ratio", "/no-such-page"];
        of_job.chain(others.map(ToOwned::to_owned)).collect()
    };
    let app = server::router(bench(SqliteStore::open_to_read(folder.path()).await.unwrap()));
    for path in pages(&job) {
        let (_, page) = get(&app, &path).await;
        assert_eq!(page.matches(line).count(), 1, "{path}");
        assert!(page.contains("open it for writing to keep something"), "{path} says what to do");
    }
    let (status, said) = get(&app, "/health").await;
    assert_eq!(status, StatusCode::SERVICE_UNAVAILABLE);
    assert!(said.contains("\"state\":\"read-only\"") && !said.contains(folder.path().to_str().unwrap()), "{said}");
    // What is sent all the same is refused, with the line above it.
    let form = Request::post(format!("/jobs/{job}/tell/note-written"))
        .header(header::HOST, HERE)
        .header("sec-fetch-site", "same-origin")
        .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
        .body(Body::from("text=a+knock"))
        .unwrap();
    let (status, page) = send(&app, form).await;
    assert_eq!(status, StatusCode::SERVICE_UNAVAILABLE);
    assert!(page.contains(line) && page.contains("othing can be kept"), "{page}");
    // A record that keeps says nothing of the kind.
    let app = server::router(bench(SqliteStore::open(Opening::of(folder.path())).await.unwrap()));
    for path in pages(&job) {
        assert!(!get(&app, &path).await.1.contains(line), "{path}");
    }
    assert_eq!(get(&app, "/health").await.0, StatusCode::OK);
}

#[tokio::test(flavor = "multi_thread")]
async fn the_wall_says_quietly_when_the_last_backup_was_made_and_warns_of_an_old_one() {
    let folder = tempfile::tempdir().unwrap();
    van(folder.path()).await;
    let store = SqliteStore::open(Opening::of(folder.path())).await.unwrap();
    let wall = async |days: u32| {
        let app = server::router(bench(store.clone()).minding_backups(folder.path(), days));
        get(&app, "/").await.1
    };
    let warning = "class=\"sheet clash backups\"";
    let none = wall(7).await;
    assert!(none.contains(warning) && none.contains("No backup of this record has been made: "), "{none}");
    assert!(wall(0).await.contains("No backup of this record has been made yet."));
    let note = |days: i64, proved: bool| {
        let at = Timestamp::now() - SignedDuration::from_hours(24 * days + 1);
        let noted = Noted { at, entries: 3, state: "ab".to_owned() };
        let backups = Backups { made: Some(noted.clone()), proved: proved.then_some(noted) };
        backups.note(folder.path()).unwrap();
    };
    note(2, true);
    let fresh = wall(7).await;
    assert!(!fresh.contains(warning) && fresh.contains("Last backup 2 days ago ("), "{fresh}");
    assert!(fresh.contains("proved by a drill"), "{fresh}");
    note(12, false);
    let old = wall(7).await;
    assert!(old.contains(warning) && old.contains("The last backup was made 12 days ago ("), "{old}");
    assert!(old.contains("more than 7 days: make one at the command line, witnessmark backup"), "{old}");
    assert!(!wall(30).await.contains(warning));
    assert!(!wall(0).await.contains(warning), "nought never warns");
    // A demo minds no backups.
    let app = server::router(bench(store.clone()));
    assert!(!get(&app, "/").await.1.contains("ackup"));
    // A note that cannot be read is no note.
    std::fs::write(folder.path().join("backups.json"), b"half").unwrap();
    assert!(wall(7).await.contains("No backup of this record has been made: "));
}
