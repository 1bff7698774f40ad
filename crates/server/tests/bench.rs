//! The door: a request goes in, a page or an answer comes out, an entry is in the record.
#![expect(clippy::unwrap_used, reason = "clippy lets only the tests themselves off, not the functions they share")]

use std::collections::BTreeSet;
use std::sync::Arc;

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::{Request, Response, StatusCode, header};
use futures_util::StreamExt;
use knowledge::Knowledge;
use serde_json::{Value, json};
use server::Bench;
use store::{Opening, SqliteStore, Store};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tower::ServiceExt;

const STORY: &str = include_str!("../../../cases/0001-tolvane-carrier/story.jsonl");
const HERE: &str = "127.0.0.1:7447";
const MOMENTS: [&str; 8] = ["hear", "test", "strip", "choose", "order", "build", "prove", "hand-back"];

/// A bench on a new store with the van as it stood after so many lines of its story.
struct Shop {
    app: Router,
    store: SqliteStore,
    job: String,
    _folder: tempfile::TempDir,
}

impl Shop {
    async fn after(lines: usize) -> Shop {
        Self::told(STORY, lines).await
    }

    async fn told(story: &str, lines: usize) -> Shop {
        let folder = tempfile::tempdir().unwrap();
        let store = SqliteStore::open(Opening::of(folder.path().join("record"))).await.unwrap();
        let text: String = story.lines().take(lines).map(|l| format!("{l}\n")).collect();
        let entries = logbook::seal_story("van", &logbook::story_from_lines(&text).unwrap()).unwrap();
        store.append(&entries).await.unwrap();
        let job = entries.first().map(|e| e.job().to_string()).unwrap_or_default();
        let bench = Bench::new(store.clone(), Arc::new(Knowledge::builtin().unwrap()), "Ansel");
        Shop { app: server::router(bench), store, job, _folder: folder }
    }

    /// A bench on a new store with a job of some entries made by hand.
    async fn with(told: &[(&str, Value)]) -> Shop {
        let shop = Shop::after(0).await;
        let (answer, _) = shop.post_form("/jobs", &[("title", "Ostrand, invented")]).await;
        let to = answer.headers().get(header::LOCATION).unwrap().to_str().unwrap();
        let job = to.split('/').nth(2).unwrap().to_owned();
        let shop = Shop { job, ..shop };
        for (n, (kind, body)) in told.iter().enumerate() {
            let key = key(100 + u8::try_from(n).unwrap());
            let (answer, problem) = shop.post_entry(&key, &json!({"kind": kind, "body": body}), None).await;
            assert_eq!(answer.status(), StatusCode::CREATED, "{problem}");
        }
        shop
    }

    async fn send(&self, request: Request<Body>) -> (Response<()>, String) {
        let answer = self.app.clone().oneshot(request).await.unwrap();
        let (parts, body) = answer.into_parts();
        let bytes = to_bytes(body, usize::MAX).await.unwrap();
        (Response::from_parts(parts, ()), String::from_utf8_lossy(&bytes).into_owned())
    }

    async fn get(&self, path: &str) -> (Response<()>, String) {
        self.send(Request::get(path).header(header::HOST, HERE).body(Body::empty()).unwrap()).await
    }

    async fn post_form(&self, path: &str, form: &[(&str, &str)]) -> (Response<()>, String) {
        let escape = |text: &str| -> String { text.bytes().map(|b| format!("%{b:02X}")).collect() };
        let body: Vec<String> = form.iter().map(|(k, v)| format!("{}={}", escape(k), escape(v))).collect();
        let request = Request::post(path)
            .header(header::HOST, HERE)
            .header("sec-fetch-site", "same-origin")
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .body(Body::from(body.join("&")));
        self.send(request.unwrap()).await
    }

    async fn post_entry(&self, key: &str, body: &Value, seen: Option<&str>) -> (Response<()>, Value) {
        let mut request = Request::post(format!("/api/1/jobs/{}/entries", self.job))
            .header(header::HOST, HERE)
            .header("idempotency-key", key)
            .header(header::CONTENT_TYPE, "application/json");
        if let Some(tag) = seen {
            request = request.header(header::IF_MATCH, tag);
        }
        let (answer, text) = self.send(request.body(Body::from(body.to_string())).unwrap()).await;
        let value = serde_json::from_str(&text).unwrap_or(Value::Null);
        (answer, value)
    }

    /// Does what a refusal asks for: ticks a caution, opens a closed job, or writes down a new yes.
    async fn make_way(&self, said: &str) {
        let tell = |kind: &str| format!("/jobs/{}/tell/{kind}", self.job);
        if let Some((_, caution)) = said.split_once("held up by the caution ") {
            let caution = caution.split(',').next().unwrap();
            let (answer, _) = self.post_form(&tell("caution-ticked"), &[("caution", caution)]).await;
            assert_eq!(answer.status(), StatusCode::SEE_OTHER, "{caution}");
        } else if said.contains("the job is closed") {
            let entries = self.store.entries_of(self.job.parse().unwrap()).await.unwrap();
            let lines = entries.iter().map(|e| serde_json::from_str::<Value>(&e.line).unwrap());
            let closed = |l: &Value| l.get("kind").is_some_and(|k| k == "job-closed");
            let last = lines.rev().find(closed).and_then(|l| l.get("id")?.as_str().map(str::to_owned)).unwrap();
            let address = format!("/jobs/{}/withdraw/{}", self.job, last);
            let (answer, _) = self.post_form(&address, &[]).await;
            assert_eq!(answer.status(), StatusCode::SEE_OTHER);
        } else {
            assert!(said.contains("under Choose"), "{said}");
            for covers in ["diagnosis", "teardown", "repair"] {
                let yes = [
                    ("covers", covers),
                    ("ceiling", "EUR 900000"),
                    ("who", "owner"),
                    ("how", "telephone"),
                    ("words", "yes"),
                ];
                let (answer, page) = self.post_form(&tell("approval-given"), &yes).await;
                assert_eq!(answer.status(), StatusCode::SEE_OTHER, "{covers}: {}", words_of(&page));
            }
        }
    }

    async fn entries(&self) -> usize {
        self.store.entries_of(self.job.parse().unwrap()).await.unwrap().len()
    }

    /// The job over HTTP; its work-up is there when this comes back.
    async fn job(&self) -> (Response<()>, Value) {
        let (answer, text) = self.get(&format!("/api/1/jobs/{}", self.job)).await;
        (answer, serde_json::from_str(&text).unwrap())
    }

    /// Ticks every caution that a check holds.
    async fn tick(&self, check: &str) {
        let knowledge = Knowledge::builtin().unwrap();
        for caution in &knowledge.check(check).unwrap().cautions {
            let (answer, _) =
                self.post_form(&format!("/jobs/{}/tell/caution-ticked", self.job), &[("caution", caution)]).await;
            assert_eq!(answer.status(), StatusCode::SEE_OTHER, "{caution}");
        }
    }
}

fn key(n: u8) -> String {
    anatomy::EntryId::from_time_and_chance(1_772_000_000_000 + u64::from(n), [n; 10]).to_string()
}

/// The text of a page without its tags, with one blank between words.
fn words_of(page: &str) -> String {
    let mut out = String::new();
    let mut inside = false;
    for c in page.chars() {
        match c {
            '<' => inside = true,
            '>' => {
                inside = false;
                out.push(' ');
            }
            c if !inside => out.push(c),
            _ => {}
        }
    }
    let plain = out.replace("&amp;", "&").replace("&quot;", "\"").replace("&lt;", "<").replace("&gt;", ">");
    plain.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[tokio::test(flavor = "multi_thread")]
async fn the_wall_lists_the_job_and_every_moment_shows_its_chain() {
    let shop = Shop::after(usize::MAX).await;
    let (answer, wall) = shop.get("/").await;
    assert_eq!(answer.status(), StatusCode::OK);
    assert!(wall.contains("Tolvane Carrier, boiled on the hill"), "the wall names the job");
    let (_, job) = shop.job().await;
    let tail = job["tail"].as_str().unwrap();
    for moment in MOMENTS {
        let (answer, page) = shop.get(&format!("/jobs/{}/{moment}", shop.job)).await;
        assert_eq!(answer.status(), StatusCode::OK, "{moment}");
        assert!(page.contains(tail), "{moment} carries the end of the chain");
        assert!(!page.contains(" style=") && !page.contains("onclick"), "{moment} holds no inline style or script");
        let policy = answer.headers().get(header::CONTENT_SECURITY_POLICY).unwrap().to_str().unwrap();
        assert!(policy.contains("script-src 'self'") && !policy.contains("unsafe"), "{policy}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_reading_entered_is_kept_and_a_reload_shows_it() {
    let shop = Shop::after(34).await;
    let before = shop.entries().await;
    shop.tick("compression-dry").await;
    let ticked = shop.entries().await;
    let form = [("check", "compression-dry"), ("reading", "pressure"), ("position", "cyl-1"), ("value", "11,7 bar")];
    let (answer, page) = shop.post_form(&format!("/jobs/{}/enter", shop.job), &form).await;
    assert_eq!(answer.status(), StatusCode::SEE_OTHER, "{}", words_of(&page));
    assert!(before < ticked && shop.entries().await == ticked + 1);
    let to = answer.headers().get(header::LOCATION).unwrap().to_str().unwrap().to_owned();
    let (answer, page) = shop.get(&to).await;
    assert_eq!(answer.status(), StatusCode::OK);
    assert!(words_of(&page).contains("11,7 bar Cranking compression"), "the digits stay as typed: {}", words_of(&page));
    let (_, job) = shop.job().await;
    let readings = job["state"]["readings"].as_array().unwrap();
    assert!(readings.iter().any(|r| r["check"] == "compression-dry" && r["position"] == "cyl-1"), "{readings:?}");
    // Undo is an entry of its own, and the reading no longer stands.
    let entry = to.rsplit('/').next().unwrap();
    let (answer, _) = shop.post_form(&format!("/jobs/{}/withdraw/{entry}", shop.job), &[]).await;
    assert_eq!(answer.status(), StatusCode::SEE_OTHER);
    assert_eq!(shop.entries().await, ticked + 2);
    let (_, job) = shop.job().await;
    let readings = job["state"]["readings"].as_array().unwrap();
    assert!(!readings.iter().any(|r| r["check"] == "compression-dry" && r["position"] == "cyl-1"), "{readings:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn an_ambiguous_figure_comes_back_as_a_question_with_both_readings() {
    let shop = Shop::after(34).await;
    shop.tick("block-deck-straightedge").await;
    for stage in ["top-end-open", "block-open"] {
        let path = format!("/jobs/{}/tell/stage-reached", shop.job);
        shop.post_form(&path, &[("stage", stage)]).await;
    }
    shop.job().await;
    let before = shop.entries().await;
    let form =
        [("check", "block-deck-straightedge"), ("reading", "gap"), ("position", "bank-A"), ("value", "1,234 mm")];
    let (answer, page) = shop.post_form(&format!("/jobs/{}/enter", shop.job), &form).await;
    assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY);
    assert!(page.contains("value=\"1.234 mm\"") && page.contains("value=\"1234 mm\""), "{}", words_of(&page));
    assert_eq!(shop.entries().await, before, "nothing is guessed");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_form_that_does_not_fit_comes_back_with_what_was_typed() {
    let shop = Shop::after(34).await;
    let form = [("supplier", "Quayside Motor Stores"), ("price", "ninety"), ("lead_days.0", "1"), ("lead_days.1", "3")];
    let path = format!("/jobs/{}/tell/quote-received", shop.job);
    let (answer, page) =
        shop.post_form(&path, &[&form[..], &[("back", &format!("/jobs/{}/order", shop.job))]].concat()).await;
    assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY);
    assert!(page.contains("Quayside Motor Stores") && page.contains("ninety"), "nothing typed is lost");
}

#[tokio::test(flavor = "multi_thread")]
async fn the_same_key_twice_is_one_entry_and_another_body_is_refused() {
    let shop = Shop::after(34).await;
    shop.tick("compression-dry").await;
    let note = json!({"kind": "note-written", "body": {"text": "stain at the side tank"}});
    let before = shop.entries().await;
    let (first, one) = shop.post_entry(&key(1), &note, None).await;
    let (second, two) = shop.post_entry(&key(1), &note, None).await;
    assert_eq!((first.status(), second.status()), (StatusCode::CREATED, StatusCode::OK));
    assert_eq!((&one["kept"], &one["rank"]), (&two["kept"], &two["rank"]));
    assert_eq!(shop.entries().await, before + 1);
    let other = json!({"kind": "note-written", "body": {"text": "something else"}});
    let (third, problem) = shop.post_entry(&key(1), &other, None).await;
    assert_eq!(third.status(), StatusCode::UNPROCESSABLE_ENTITY, "{problem}");
    assert_eq!(shop.entries().await, before + 1);
    let reading = json!({"kind": "reading-taken", "body":
        {"check": "compression-dry", "reading": "pressure", "position": "cyl-2",
         "value": {"text": "12.0", "unit": "bar"}}});
    let (first, one) = shop.post_entry(&key(2), &reading, None).await;
    let (second, two) = shop.post_entry(&key(2), &reading, None).await;
    assert_eq!((first.status(), second.status()), (StatusCode::CREATED, StatusCode::OK), "{one} {two}");
    assert_eq!(shop.entries().await, before + 2);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_wrong_place_check_or_unit_is_a_problem_that_names_its_field() {
    let shop = Shop::after(34).await;
    let reading = |check: &str, position: &str, value: &str| {
        let body = json!({"check": check, "reading": "pressure", "position": position, "value": value});
        json!({"kind": "reading-taken", "body": body})
    };
    let tried = [
        ("position", reading("compression-dry", "cyl-9", "12 bar")),
        ("position", reading("compression-dry", "main-2", "12 bar")),
        ("check", reading("compresion-dry", "cyl-1", "12 bar")),
        ("value", reading("compression-dry", "cyl-1", "12 mm")),
        ("value", reading("compression-dry", "cyl-1", "-3 bar")),
        ("kind", json!({"kind": "reading-eaten", "body": {}})),
        ("attribute", json!({"kind": "attribute-told", "body": {"attribute": "colour", "value": "blue"}})),
    ];
    let before = shop.entries().await;
    for (n, (field, body)) in tried.iter().enumerate() {
        let (answer, problem) = shop.post_entry(&key(10 + u8::try_from(n).unwrap()), body, None).await;
        assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY, "{body} {problem}");
        assert_eq!(answer.headers().get(header::CONTENT_TYPE).unwrap(), "application/problem+json");
        assert_eq!(problem["errors"][0]["field"], *field, "{problem}");
        assert_eq!(problem["status"], 422);
    }
    assert_eq!(shop.entries().await, before);
    let (answer, problem) = shop.post_entry("no-key", &tried[0].1, None).await;
    assert_eq!(answer.status(), StatusCode::BAD_REQUEST, "{problem}");
}

#[tokio::test(flavor = "multi_thread")]
async fn taking_back_over_http_needs_the_chain_as_it_is() {
    let shop = Shop::after(34).await;
    let (_, kept) =
        shop.post_entry(&key(1), &json!({"kind": "note-written", "body": {"text": "wrong job"}}), None).await;
    let back = json!({"kind": "entry-withdrawn", "body": {"entry": kept["kept"], "reason": "wrong job"}});
    let (answer, _) = shop.post_entry(&key(2), &back, None).await;
    assert_eq!(answer.status(), StatusCode::PRECONDITION_REQUIRED);
    let (answer, _) = shop.post_entry(&key(2), &back, Some("\"0000\"")).await;
    assert_eq!(answer.status(), StatusCode::PRECONDITION_FAILED);
    let (job, _) = shop.job().await;
    let tag = job.headers().get(header::ETAG).unwrap().to_str().unwrap().to_owned();
    let (answer, body) = shop.post_entry(&key(2), &back, Some(&tag)).await;
    assert_eq!(answer.status(), StatusCode::CREATED, "{body}");
}

#[tokio::test(flavor = "multi_thread")]
async fn no_check_is_shown_without_its_cautions_and_a_hold_comes_before_the_field() {
    let knowledge = Knowledge::builtin().unwrap();
    let caution = |id: &str| knowledge.cautions.iter().find(|c| c.id == id).unwrap();
    let plain = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    // Before anything is ticked: the story up to its first question, without its ticks.
    let shop = Shop::after(14).await;
    let (_, job) = shop.job().await;
    let advice = &job["case"]["advice"];
    let checks: Vec<&Value> = ["next", "rest"].iter().flat_map(|list| advice[*list].as_array().unwrap()).collect();
    assert!(checks.len() > 20, "there is something to walk: {}", checks.len());
    let (_, page) = shop.get(&format!("/jobs/{}/test", shop.job)).await;
    let shown: Vec<&str> = page.split("<article class=\"check\"").skip(1).collect();
    assert!(shown.len() > 20, "the checks of the advice are on the page: {}", shown.len());
    let mut held = BTreeSet::new();
    for check in &checks {
        let id = check["check"].as_str().unwrap();
        let card = shown.iter().find(|c| c.starts_with(&format!(" data-check=\"{id}\""))).unwrap();
        let card = words_of(card.split("</article>").next().unwrap());
        for its in check["cautions"].as_array().unwrap() {
            let its = caution(its.as_str().unwrap());
            assert!(card.contains(&plain(&its.text)), "{id} without {}", its.id);
            if its.hold {
                held.insert((id.to_owned(), check["position"].as_str().unwrap().to_owned()));
            }
        }
    }
    assert!(!held.is_empty());
    for (id, position) in &held {
        let (_, page) = shop.get(&format!("/jobs/{}/enter?check={id}&position={position}", shop.job)).await;
        assert!(!page.contains("name=\"value\" value=\"\"") && !page.contains("id=\"value\""), "{id} offers its field");
        for its in &knowledge.check(id).unwrap().cautions {
            let its = caution(its);
            let concerns = job["case"]["advice"].to_string().contains(&its.id);
            assert!(!concerns || !its.hold || words_of(&page).contains(&plain(&its.text)), "{id} {}", its.id);
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn other_sites_and_other_hosts_are_refused() {
    let shop = Shop::after(34).await;
    let before = shop.entries().await;
    let path = format!("/jobs/{}/tell/note-written", shop.job);
    let post = || Request::post(&path).header(header::CONTENT_TYPE, "application/x-www-form-urlencoded");
    let body = || Body::from("text=hello");
    let cross = post().header(header::HOST, HERE).header("sec-fetch-site", "cross-site").body(body()).unwrap();
    assert_eq!(shop.send(cross).await.0.status(), StatusCode::FORBIDDEN);
    let old =
        post().header(header::HOST, HERE).header(header::ORIGIN, "http://elsewhere.example").body(body()).unwrap();
    assert_eq!(shop.send(old).await.0.status(), StatusCode::FORBIDDEN);
    let foreign = Request::get("/").header(header::HOST, "bench.example:7447").body(Body::empty()).unwrap();
    assert_eq!(shop.send(foreign).await.0.status(), StatusCode::MISDIRECTED_REQUEST);
    assert_eq!(shop.entries().await, before);
    let own = post().header(header::HOST, HERE).header(header::ORIGIN, format!("http://{HERE}")).body(body()).unwrap();
    assert_eq!(shop.send(own).await.0.status(), StatusCode::SEE_OTHER);
    assert_eq!(shop.entries().await, before + 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_job_is_opened_described_and_worked_up_by_forms_alone() {
    let shop = Shop::after(1).await;
    let (answer, _) = shop.post_form("/jobs", &[("title", "Ostrand H6, shakes cold")]).await;
    assert_eq!(answer.status(), StatusCode::SEE_OTHER);
    let to = answer.headers().get(header::LOCATION).unwrap().to_str().unwrap().to_owned();
    let job = to.split('/').nth(2).unwrap();
    let engine = [
        ("layout.arrangement", "inline"),
        ("layout.cylinders", "6"),
        ("layout.fuel", "diesel"),
        ("layout.valve_gear", "pushrod"),
    ];
    let (answer, page) = shop.post_form(&format!("/jobs/{job}/tell/engine-described"), &engine).await;
    assert_eq!(answer.status(), StatusCode::SEE_OTHER, "{}", words_of(&page));
    let (_, text) = shop.get(&format!("/api/1/jobs/{job}")).await;
    let read: Value = serde_json::from_str(&text).unwrap();
    assert!(read["case"]["advice"]["next"].as_array().unwrap().len() > 1, "{}", read["no_case_because"]);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_photo_is_kept_pinned_and_shown() {
    let shop = Shop::after(34).await;
    // One grey dot, with a word about the place where it was taken.
    let png: &[u8] = b"\x89PNG\x0d\x0a\x1a\x0a\x00\x00\x00\x0dIHDR\x00\x00\x00\x01\x00\x00\x00\x01\x08\x00\x00\x00\x00:~\x9bU\x00\x00\x00\x11tEXtLocation\x00GPSPLACE\xc1E\xcc\x04\x00\x00\x00\x0aIDATx\x9cc`\x00\x00\x00\x02\x00\x01H\xaf\xa4q\x00\x00\x00\x00IEND\xaeB`\x82";
    let mut body = Vec::new();
    for (name, value) in [("caption", "stain at the side tank"), ("position", "cyl-3")] {
        body.extend(format!("--cut\r\ncontent-disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n").bytes());
    }
    body.extend(b"--cut\r\ncontent-disposition: form-data; name=\"photo\"; filename=\"a.png\"\r\n\r\n");
    body.extend(png);
    body.extend(b"\r\n--cut--\r\n");
    let request = Request::post(format!("/jobs/{}/photos", shop.job))
        .header(header::HOST, HERE)
        .header(header::CONTENT_TYPE, "multipart/form-data; boundary=cut")
        .body(Body::from(body))
        .unwrap();
    let (answer, page) = shop.send(request).await;
    assert_eq!(answer.status(), StatusCode::SEE_OTHER, "{}", words_of(&page));
    let (_, page) = shop.get(&format!("/jobs/{}/place/cyl-3", shop.job)).await;
    let at = page.find("/attachments/").expect("the photo is on the page of its place");
    let (answer, picture) = shop.get(page.get(at..at + 77).unwrap()).await;
    assert_eq!(answer.status(), StatusCode::OK);
    assert_eq!(answer.headers().get(header::CONTENT_TYPE).unwrap(), "image/png");
    assert!(picture.contains("IDAT") && !picture.contains("GPSPLACE"), "what it says besides its picture is taken off");
    // The list shows a small one of it; a picture that there is not is none there either.
    assert!(page.contains(&format!("src=\"{}/small\"", page.get(at..at + 77).unwrap())), "{page}");
    for _ in 0..2 {
        let (answer, _) = shop.get(&format!("{}/small", page.get(at..at + 77).unwrap())).await;
        assert_eq!(answer.status(), StatusCode::OK);
        assert_eq!(answer.headers().get(header::CONTENT_TYPE).unwrap(), "image/jpeg");
    }
    let (answer, _) = shop.get(&format!("/attachments/{}/small", "0".repeat(64))).await;
    assert_eq!(answer.status(), StatusCode::NOT_FOUND);
}

#[tokio::test(flavor = "multi_thread")]
async fn the_description_and_the_routes_name_each_other() {
    let shop = Shop::after(1).await;
    let (_, text) = shop.get("/api/1/openapi.json").await;
    let description: Value = serde_json::from_str(&text).unwrap();
    assert_eq!(description["openapi"], "3.1.0");
    let described: BTreeSet<(String, String)> = description["paths"]
        .as_object()
        .unwrap()
        .iter()
        .flat_map(|(path, methods)| methods.as_object().unwrap().keys().map(move |m| (m.clone(), path.clone())))
        .collect();
    let served: BTreeSet<(String, String)> = server::api_routes().into_iter().map(|(m, p)| (m.to_owned(), p)).collect();
    assert_eq!(described, served);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_page_that_listens_hears_of_the_entry_and_then_of_the_work_up() {
    let shop = Shop::after(34).await;
    shop.tick("compression-dry").await;
    shop.job().await;
    let request = Request::get(format!("/jobs/{}/live?panel=advice", shop.job)).header(header::HOST, HERE);
    let answer = shop.app.clone().oneshot(request.body(Body::empty()).unwrap()).await.unwrap();
    assert_eq!(answer.headers().get(header::CONTENT_TYPE).unwrap(), "text/event-stream");
    let mut stream = answer.into_body().into_data_stream();
    let mut heard = String::new();
    let body = json!({"kind": "reading-taken", "body":
        {"check": "compression-dry", "reading": "pressure", "position": "cyl-4", "value": "8.6 bar"}});
    shop.post_entry(&key(1), &body, None).await;
    while !(heard.contains("event: kept") && heard.rsplit("event: kept").next().unwrap().contains("event: case")) {
        let next = tokio::time::timeout(std::time::Duration::from_secs(20), stream.next()).await.unwrap();
        heard.push_str(&String::from_utf8_lossy(&next.unwrap().unwrap()));
    }
    let fragment = heard.rsplit("event: case").next().unwrap();
    assert!(fragment.contains("8.6 bar"), "the panel is of the new chain: {}", words_of(fragment));
}

#[tokio::test(flavor = "multi_thread")]
async fn the_advice_comes_first_and_what_weighs_for_and_against_follows() {
    let shop = Shop::after(34).await;
    shop.tick("compression-dry").await;
    shop.job().await;
    let request = Request::get(format!("/jobs/{}/live?panel=advice", shop.job)).header(header::HOST, HERE);
    let answer = shop.app.clone().oneshot(request.body(Body::empty()).unwrap()).await.unwrap();
    let mut stream = answer.into_body().into_data_stream();
    let body = json!({"kind": "reading-taken", "body":
        {"check": "compression-dry", "reading": "pressure", "position": "cyl-4", "value": "8.6 bar"}});
    shop.post_entry(&key(1), &body, None).await;
    let mut heard = String::new();
    let events = |heard: &str| -> Vec<String> {
        let after = heard.rsplit("event: kept").next().unwrap_or_default();
        after.split("event: case").skip(1).filter(|e| e.contains("\n\n")).map(words_of).collect()
    };
    while events(&heard).len() < 2 {
        let next = tokio::time::timeout(std::time::Duration::from_secs(20), stream.next()).await.unwrap();
        heard.push_str(&String::from_utf8_lossy(&next.unwrap().unwrap()));
    }
    let told = events(&heard);
    assert!(told[0].contains("8.6 bar") && told[0].contains("being weighed"), "{}", told[0]);
    assert!(told[1].contains("8.6 bar") && !told[1].contains("being weighed"), "{}", told[1]);
    assert!(told[1].contains("for: "), "{}", told[1]);
    // Whoever asks for the work-up itself gets it whole.
    let (_, job) = shop.job().await;
    assert!(job["case"].get("weighing").is_none());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_paper_comes_as_pdf_and_an_estimate_waits_for_the_cause() {
    let shop = Shop::after(34).await;
    let (answer, paper) = shop.get(&format!("/jobs/{}/papers/customer-report.pdf?size=letter", shop.job)).await;
    assert_eq!(answer.status(), StatusCode::OK);
    assert!(paper.starts_with("%PDF"));
    let issued = shop.entries().await;
    let (_, job) = shop.job().await;
    let left = job["state"]["papers"].as_array().unwrap();
    assert_eq!(left.len(), 1, "{left:?}");
    assert_eq!((&left[0]["body"]["paper"], &left[0]["body"]["revision"]), (&json!("customer-page"), &json!("A")));
    let (_, again) = shop.get(&format!("/jobs/{}/papers/customer-report.pdf?size=letter", shop.job)).await;
    assert!(again == paper && shop.entries().await == issued, "the same paper is written down once");
    let other = Request::get(format!("/jobs/{}/papers/parts-list.pdf", shop.job))
        .header(header::HOST, HERE)
        .header("sec-fetch-site", "cross-site");
    shop.send(other.body(Body::empty()).unwrap()).await;
    assert_eq!(shop.entries().await, issued, "a page of another site does not make this one write");
    shop.post_entry(&key(9), &json!({"kind": "note-written", "body": {"text": "rang"}}), None).await;
    let (_, later) = shop.get(&format!("/jobs/{}/papers/customer-report.pdf?size=letter", shop.job)).await;
    let (_, job) = shop.job().await;
    assert!(later != paper && job["state"]["papers"][1]["body"]["revision"] == "B", "{}", job["state"]["papers"]);
    let (answer, page) = shop.get(&format!("/jobs/{}/papers/estimate.pdf", shop.job)).await;
    assert_eq!(answer.status(), StatusCode::CONFLICT, "{}", words_of(&page));
}

#[tokio::test(flavor = "multi_thread")]
async fn an_unknown_address_of_the_interface_is_a_problem_and_not_a_page() {
    let shop = Shop::after(1).await;
    for (path, status) in [("/api/1/nothing", 404), ("/api/1/jobs/not-an-id", 404)] {
        let (answer, text) = shop.get(path).await;
        assert_eq!(answer.status().as_u16(), status);
        assert_eq!(answer.headers().get(header::CONTENT_TYPE).unwrap(), "application/problem+json", "{text}");
    }
    let delete = Request::delete("/api/1/jobs").header(header::HOST, HERE).body(Body::empty()).unwrap();
    let (answer, text) = shop.send(delete).await;
    assert_eq!(answer.status(), StatusCode::METHOD_NOT_ALLOWED, "{text}");
    let (answer, page) = shop.get("/?find=FN%20417").await;
    assert_eq!(answer.status(), StatusCode::OK);
    assert!(!page.contains("boiled on the hill"), "the vehicle is not described after one entry");
}

#[tokio::test(flavor = "multi_thread")]
async fn an_order_over_the_ceiling_is_a_conflict_with_both_amounts_on_wire_and_page() {
    let eur = |amount: &str| json!({"amount": amount, "currency": "EUR"});
    let yes =
        json!({"covers": "repair", "ceiling": eur("1000.00"), "who": "owner", "how": "telephone", "words": "yes"});
    let shop = Shop::with(&[("approval-given", yes)]).await;
    let order = |price: &str| {
        json!({"kind": "part-ordered", "body":
        {"part": "head", "supplier": "Fennmouth", "quantity": 1, "price": eur(price)}})
    };
    let (answer, problem) = shop.post_entry(&key(1), &order("1000.01"), None).await;
    assert_eq!(answer.status(), StatusCode::CONFLICT, "{problem}");
    assert_eq!(answer.headers().get(header::CONTENT_TYPE).unwrap(), "application/problem+json");
    assert_eq!((&problem["status"], &problem["errors"][0]["field"]), (&json!(409), &json!("price")));
    let detail = problem["detail"].as_str().unwrap();
    assert!(detail.contains("EUR 1,000.01") && detail.contains("EUR 1,000.00") && detail.contains("yes"), "{detail}");
    let (answer, kept) = shop.post_entry(&key(2), &order("900.00"), None).await;
    assert_eq!(answer.status(), StatusCode::CREATED, "{kept}");
    let before = shop.entries().await;
    let back = format!("/jobs/{}/order", shop.job);
    let form =
        [("part", "gasket"), ("supplier", "Quayside"), ("quantity", "1"), ("price", "EUR 100.01"), ("back", &back)];
    let (answer, page) = shop.post_form(&format!("/jobs/{}/tell/part-ordered", shop.job), &form).await;
    assert_eq!(answer.status(), StatusCode::CONFLICT);
    let said = words_of(&page);
    assert!(said.contains("EUR 1,000.01") && said.contains("EUR 1,000.00") && said.contains("under Choose"), "{said}");
    assert!(page.contains("Quayside"), "nothing typed is lost");
    assert_eq!(shop.entries().await, before);
    let (job, read) = shop.job().await;
    assert_eq!((&read["committed"][0]["used"], &read["committed"][0]["ceiling"]), (&eur("900.00"), &eur("1000.00")));
    let tag = job.headers().get(header::ETAG).unwrap().to_str().unwrap().to_owned();
    let right = json!({"kind": "entry-corrected", "body":
        {"entry": key(2), "body": order("1000.01")["body"], "reason": "misread"}});
    let (answer, problem) = shop.post_entry(&key(3), &right, Some(&tag)).await;
    assert_eq!(answer.status(), StatusCode::CONFLICT, "a correction is no way round: {problem}");
    let (_, page) = shop.get(&format!("/jobs/{}/choose", shop.job)).await;
    let said = words_of(&page).replace('\u{a0}', " ");
    assert!(said.contains("Repair: EUR 900.00 committed, of up to EUR 1,000.00"), "{said}");
}

#[tokio::test(flavor = "multi_thread")]
async fn cautions_and_a_closed_job_are_refused_over_http_too() {
    let layout = json!({"arrangement": "inline", "cylinders": 4, "fuel": "petrol", "valve_gear": "twin-cam"});
    let shop = Shop::with(&[("engine-described", json!({"layout": layout}))]).await;
    let reading = json!({"kind": "reading-taken", "body":
        {"check": "compression-dry", "reading": "pressure", "position": "cyl-1", "value": "12 bar"}});
    let (answer, problem) = shop.post_entry(&key(1), &reading, None).await;
    assert_eq!(
        (answer.status(), &problem["errors"][0]["field"]),
        (StatusCode::CONFLICT, &json!("caution")),
        "{problem}"
    );
    let knowledge = Knowledge::builtin().unwrap();
    for (n, caution) in knowledge.cautions.iter().enumerate() {
        let tick = json!({"kind": "caution-ticked", "body": {"caution": caution.id}});
        shop.post_entry(&key(20 + u8::try_from(n).unwrap()), &tick, None).await;
    }
    let (answer, problem) = shop.post_entry(&key(1), &reading, None).await;
    assert_eq!(answer.status(), StatusCode::CREATED, "{problem}");
    let end = json!({"kind": "job-closed", "body": {"how": "handed-back"}});
    shop.post_entry(&key(4), &end, None).await;
    let (answer, problem) = shop.post_entry(&key(5), &reading, None).await;
    assert_eq!(answer.status(), StatusCode::CONFLICT, "{problem}");
    assert!(problem["detail"].as_str().unwrap().contains("the job is closed"), "{problem}");
    let (_, page) = shop.get(&format!("/jobs/{}/test", shop.job)).await;
    assert!(words_of(&page).contains("No check is offered") && !page.contains("data-check="), "{}", words_of(&page));
    let (answer, _) = shop.post_form(&format!("/jobs/{}/withdraw/{}", shop.job, key(4)), &[]).await;
    assert_eq!(answer.status(), StatusCode::SEE_OTHER);
    let (answer, problem) = shop.post_entry(&key(5), &reading, None).await;
    assert_eq!(answer.status(), StatusCode::CREATED, "open again: {problem}");
}

#[tokio::test(flavor = "multi_thread")]
async fn the_first_start_is_a_conflict_while_a_hold_point_is_open_and_build_says_which() {
    let marks = STORY.lines().position(|l| l.contains("\"marks after two turns\"")).unwrap();
    let shop = Shop::told(STORY, marks).await;
    let start = json!({"kind": "engine-run", "body": {"run": "first-start"}});
    let ticks = ["cranking-interference", "moving-parts-running", "exhaust-gas", "hot-coolant-pressure"];
    for (n, caution) in (0..).zip(ticks) {
        let tick = json!({"kind": "caution-ticked", "body": {"caution": caution}});
        let (answer, said) = shop.post_entry(&key(40 + n), &tick, None).await;
        assert_eq!(answer.status(), StatusCode::CREATED, "{said}");
    }
    let mut said = Value::Null;
    for n in 0..9 {
        let (answer, problem) = shop.post_entry(&key(60), &start, None).await;
        assert_eq!(answer.status(), StatusCode::CONFLICT, "{problem}");
        said = problem;
        let held = said["detail"].as_str().unwrap().contains("hold point");
        if held {
            break;
        }
        let detail = said["detail"].as_str().unwrap();
        let caution = detail.split("caution ").nth(1).unwrap().split(',').next().unwrap();
        let tick = json!({"kind": "caution-ticked", "body": {"caution": caution}});
        assert_eq!(shop.post_entry(&key(50 + n), &tick, None).await.0.status(), StatusCode::CREATED);
    }
    let detail = said["detail"].as_str().unwrap();
    assert!(detail.contains("marks after two turns") && detail.contains("pass it with a reason"), "{detail}");
    let (_, page) = shop.get(&format!("/jobs/{}/build", shop.job)).await;
    let words = words_of(&page);
    assert!(words.contains("Before the first start:") && words.contains("marks after two turns"), "{words}");
}

#[tokio::test(flavor = "multi_thread")]
async fn offers_for_one_need_stand_in_one_table_with_what_they_come_to() {
    let offer = |supplier: &str, price: &str, freight: &str, days: [u32; 2]| {
        let money = |amount: &str| json!({"amount": amount, "currency": "EUR"});
        json!({"supplier": supplier, "need": "head_gasket", "price": money(price), "freight": money(freight), "lead_days": days})
    };
    let told = [
        ("quote-received", offer("Quayside Stores", "58.00", "9.00", [1, 2])),
        ("quote-received", offer("Hollin Parts", "61.50", "4.50", [3, 4])),
    ];
    let shop = Shop::with(&told).await;
    let (_, page) = shop.get(&format!("/jobs/{}/order", shop.job)).await;
    let words = words_of(&page);
    // By hand: 61.50 + 4.50 is less than 58 + 9.
    let place = |text: &str| words.find(text).unwrap_or_else(|| panic!("{text}: {words}"));
    assert!(place("Hollin Parts (cheapest)") < place("Quayside Stores (soonest)"), "{words}");
    assert!(words.contains("EUR 66.00") && words.contains("EUR 67.00"), "{words}");
}

/// The leaves of a body, as the fields of a form name them.
fn leaves(at: &str, value: &Value, out: &mut Vec<(String, String)>) {
    let under = |part: &str| if at.is_empty() { part.to_owned() } else { format!("{at}.{part}") };
    match value {
        Value::Object(map) => {
            let part = |name: &str| map.get(name).and_then(Value::as_str);
            match (part("text"), part("unit"), part("amount"), part("currency"), map.len()) {
                (Some(text), Some(unit), _, _, 2) => out.push((at.to_owned(), format!("{text} {unit}"))),
                (_, _, Some(amount), Some(currency), 2) => out.push((at.to_owned(), format!("{currency} {amount}"))),
                _ => map.iter().for_each(|(k, v)| leaves(&under(k), v, out)),
            }
        }
        Value::Array(list) if !list.is_empty() && list.iter().all(Value::is_string) && at != "quotes" => {
            let lines: Vec<&str> = list.iter().filter_map(Value::as_str).collect();
            out.push((at.to_owned(), lines.join("\n")));
        }
        // Bolts are typed one a line, a sequence of them in a row.
        Value::Array(list) if at == "bolts" => {
            let part =
                |bolt: &Value, name: &str| bolt.pointer(&format!("/{name}/text")).unwrap().as_str().unwrap().to_owned();
            let wet = |bolt: &Value| if bolt.get("wet") == Some(&json!("yes")) { " wet" } else { "" };
            let line = |b: &Value| format!("{} {}{}", part(b, "along"), part(b, "across"), wet(b));
            out.push((at.to_owned(), list.iter().map(line).collect::<Vec<_>>().join("\n")));
        }
        Value::Array(list) if at == "sequence" => {
            out.push((at.to_owned(), list.iter().map(Value::to_string).collect::<Vec<_>>().join(" ")));
        }
        Value::Array(list) => list.iter().enumerate().for_each(|(n, v)| leaves(&under(&n.to_string()), v, out)),
        Value::String(text) => out.push((at.to_owned(), text.clone())),
        Value::Null => {}
        Value::Bool(_) | Value::Number(_) => out.push((at.to_owned(), value.to_string())),
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn whatever_the_invented_jobs_hold_a_form_can_write() {
    let stories = [
        STORY,
        include_str!("../../../cases/0002-ostrand-h6/story.jsonl"),
        include_str!("../../../cases/0003-merrowin-f2/story.jsonl"),
    ];
    // Readings have the keypad, pictures the camera.
    let elsewhere = ["job-opened", "reading-taken", "photo-kept"];
    let mut seen = BTreeSet::new();
    for story in stories {
        let shop = Shop::told(story, usize::MAX).await;
        for entry in shop.store.entries_of(shop.job.parse().unwrap()).await.unwrap() {
            let line: Value = serde_json::from_str(&entry.line).unwrap();
            let (kind, body) = (line["kind"].as_str().unwrap(), &line["body"]);
            let mut said = Vec::new();
            leaves("", body, &mut said);
            let asked: Vec<&str> = said.iter().map(|(name, _)| name.as_str()).collect();
            if elsewhere.contains(&kind) || !seen.insert(format!("{kind} {asked:?}")) {
                continue;
            }
            // The boxes of a list are numbered as they stand on the page, and every quote of the job is one.
            let all = shop.store.entries_of(shop.job.parse().unwrap()).await.unwrap();
            let all = all.iter().map(|e| serde_json::from_str::<Value>(&e.line).unwrap());
            let quotes: Vec<String> =
                all.filter(|e| e["kind"] == "quote-received").map(|e| e["id"].as_str().unwrap().to_owned()).collect();
            for (name, value) in &mut said {
                if name == "entry" {
                    "on-entry".clone_into(name);
                } else if name.starts_with("quotes.") {
                    *name = format!("quotes.{}", quotes.iter().position(|q| q == value).unwrap());
                }
            }
            let form: Vec<(&str, &str)> = said.iter().map(|(k, v)| (k.as_str(), v.as_str())).collect();
            let address = format!("/jobs/{}/tell/{kind}", shop.job);
            let (mut answer, mut page) = shop.post_form(&address, &form).await;
            // Told a second time, it meets what the story has come to since: what stands in the way is cleared as a user would.
            for _ in 0..9 {
                if answer.status() != StatusCode::CONFLICT {
                    break;
                }
                shop.make_way(&words_of(&page)).await;
                (answer, page) = shop.post_form(&address, &form).await;
            }
            assert_eq!(answer.status(), StatusCode::SEE_OTHER, "{kind} {body}: {}", words_of(&page));
            let entries = shop.store.entries_of(shop.job.parse().unwrap()).await.unwrap();
            let kept: Value = serde_json::from_str(&entries.last().unwrap().line).unwrap();
            let mut wanted = body.clone();
            if let Value::Object(map) = &mut wanted {
                map.retain(|_, v| !v.as_array().is_some_and(Vec::is_empty));
            }
            assert_eq!(kept["body"], wanted, "{kind}: the form writes something else");
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn every_calculator_answers_on_its_page_and_on_the_wire_as_its_catalogue_says() {
    let escape = |text: &str| -> String { text.bytes().map(|b| format!("%{b:02X}")).collect() };
    let shop = Shop::after(1).await;
    let (_, list) = shop.get("/calculators").await;
    let (_, description) = shop.get("/api/1/openapi.json").await;
    let description: Value = serde_json::from_str(&description).unwrap();
    for c in mechanics::catalogue() {
        assert!(list.contains(&format!("/calculators/{}\"", c.id)), "{} is in the list", c.id);
        let asked: Vec<String> = c.example.iter().map(|(key, text)| format!("{key}={}", escape(text))).collect();
        let (answer, page) = shop.get(&format!("/calculators/{}?{}", c.id, asked.join("&"))).await;
        assert_eq!(answer.status(), StatusCode::OK, "{}: {}", c.id, words_of(&page));
        let wanted = c.calculate(c.example).unwrap();
        for line in &wanted.results {
            let figure = mechanics::shown::figure(line);
            assert!(page.contains(&figure.value), "{}: {} {}", c.id, line.key, figure.value);
        }
        for caution in c.cautions {
            let from_the_second: String = caution.chars().skip(1).collect();
            assert!(page.contains(&from_the_second.replace('"', "&quot;")), "{}: its caution is on its page", c.id);
        }
        let formulas = words_of(&page);
        for line in c.workings.iter().filter(|line| line.contains(" = ")) {
            assert!(formulas.contains(line), "{}: {line:?} is on its page", c.id);
        }
        for input in c.inputs {
            assert!(page.contains(&format!("name=\"{}\"", input.key)), "{}: a field for {}", c.id, input.key);
        }
        let (answer, said) = shop.get(&format!("/api/1/calculators/{}?{}", c.id, asked.join("&"))).await;
        assert_eq!(answer.status(), StatusCode::OK, "{}: {said}", c.id);
        assert_eq!(said, serde_json::to_string(&wanted).unwrap(), "{}", c.id);
        let get = &description["paths"][format!("/api/1/calculators/{}", c.id)]["get"];
        let described: BTreeSet<&str> =
            get["parameters"].as_array().unwrap().iter().filter_map(|p| p["name"].as_str()).collect();
        let keys = c.inputs.iter().map(|i| i.key);
        let common = mechanics::doubt::COMMON_KEYS.iter().map(|k| k.key);
        assert_eq!(described, keys.chain(common).collect::<BTreeSet<_>>(), "{}", c.id);
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_field_of_a_calculator_that_cannot_be_read_is_named_and_nothing_typed_is_lost() {
    let shop = Shop::after(1).await;
    let (answer, page) = shop.get("/calculators/bearing-clearance?housing=57.007mm&wall=2.485mm&journal=fifty").await;
    assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY);
    assert!(page.contains("value=\"fifty\"") && page.contains("value=\"57.007mm\""), "{}", words_of(&page));
    let (answer, problem) =
        shop.get("/api/1/calculators/bearing-clearance?housing=57.007mm&wall=2.485mm&journal=fifty").await;
    assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY, "{problem}");
    assert_eq!(answer.headers().get(header::CONTENT_TYPE).unwrap(), "application/problem+json");
    let problem: Value = serde_json::from_str(&problem).unwrap();
    assert_eq!(problem["errors"][0]["field"], "journal", "{problem}");
    for path in ["/calculators/bearing", "/api/1/calculators/bearing"] {
        let (answer, _) = shop.get(path).await;
        assert_eq!(answer.status(), StatusCode::NOT_FOUND, "{path}");
    }
}

#[test]
fn every_calculator_that_a_check_names_is_there() {
    let knowledge = knowledge::Knowledge::builtin().unwrap();
    let named: Vec<(&str, &str)> =
        knowledge.checks.iter().flat_map(|c| c.calculators.iter().map(|id| (c.id.as_str(), id.as_str()))).collect();
    assert!(named.len() > 15, "{named:?}");
    for (check, id) in named {
        assert!(mechanics::calculator(id).is_ok(), "{check} names a calculator {id:?} that is not there");
    }
}

/// The stripe that stands beside something on the build page.
fn stripe_of(page: &str, from: &str) -> String {
    let rest = page.split_once(from).unwrap().1;
    let mark = rest.split_once("class=\"state joint\"").unwrap().1;
    mark.split_once("<span>").and_then(|(_, word)| Some(word.split_once("</span>")?.0.to_owned())).unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stage_and_a_joint_show_how_far_they_are_begun_done_and_proved() {
    let layout = json!({"arrangement": "inline", "cylinders": 4, "fuel": "petrol", "valve_gear": "twin-cam",
                        "follower": "direct-bucket", "liner": "none"});
    let shop = Shop::with(&[("engine-described", json!({"layout": layout}))]).await;
    let tell = async |n: u8, kind: &str, body: Value| {
        let (answer, problem) = shop.post_entry(&key(n), &json!({"kind": kind, "body": body}), None).await;
        assert_eq!(answer.status(), StatusCode::CREATED, "{problem}");
    };
    let page = async || shop.get(&format!("/jobs/{}/build", shop.job)).await.1;
    let stage = "data-stage=\"covers\"";
    let before = stripe_of(&page().await, stage);
    for step in ["1", "2", "3"] {
        tell(step.parse().unwrap(), "build-step-done", json!({"stage": "covers", "step": step})).await;
        let now = stripe_of(&page().await, stage);
        let wanted = if step == "3" { "done without proof" } else { "begun" };
        assert_eq!(now, wanted, "after step {step}; before: {before}");
    }
    tell(4, "hold-point-signed", json!({"stage": "covers", "hold": "gallery O-rings counted", "by": "Ansel"})).await;
    assert_eq!(stripe_of(&page().await, stage), "done, proof kept");

    let bolt = |bolt: u16, stage: u16, striped: Option<&str>| {
        json!({"joint": "head", "bolt": bolt, "stage": stage, "position": "bank-A", "label": "TW-1",
               "torque": {"text": "30", "unit": "N·m"}, "striped": striped})
    };
    let joint = "<h2>Joints</h2>";
    tell(5, "bolt-tightened", bolt(1, 1, None)).await;
    tell(6, "bolt-tightened", bolt(2, 1, None)).await;
    assert_eq!(stripe_of(&page().await, joint), "done without proof");
    tell(7, "bolt-tightened", bolt(1, 2, Some("yes"))).await;
    assert_eq!(stripe_of(&page().await, joint), "begun", "one bolt stands a stage behind");
    tell(8, "bolt-tightened", bolt(2, 2, Some("yes"))).await;
    let whole = page().await;
    assert_eq!(stripe_of(&whole, joint), "done, proof kept");
    assert!(whole.contains("Used stretch bolts go to scrap"), "the caution stands where bolts are tightened");
    assert!(!whole.contains("Flat tappet") && !whole.contains("liner protrusion"), "this engine has neither");
    tell(9, "joint-disturbed", json!({"joint": "head", "position": "bank-A", "reason": "gasket slipped"})).await;
    assert_eq!(stripe_of(&page().await, joint), "disturbed since");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_place_keeps_what_was_found_apart_from_what_was_left() {
    let story = include_str!("../../../cases/0002-ostrand-h6/story.jsonl");
    let shop = Shop::told(story, story.lines().count()).await;
    shop.job().await;
    let (_, page) = shop.get(&format!("/jobs/{}/place/cyl-4", shop.job)).await;
    let heads: Vec<usize> = ["As found, 2025-07-", "As left, 2025-07-", "Recheck, 2026-09-22"]
        .iter()
        .map(|h| page.find(&format!("<h3 class=\"thin\">{h}")).unwrap_or_else(|| panic!("no {h}")))
        .collect();
    assert!(heads.is_sorted(), "{heads:?}");
    let found = &page[heads[0]..heads[1]];
    assert!(found.contains("17.0 bar") && !found.contains("26.4 bar"), "as found and as left stand apart");
    assert!(page[heads[1]..heads[2]].contains("26.4 bar") && page[heads[2]..].contains("25.8 bar"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_figure_past_the_end_of_its_gauge_is_asked_back_before_it_is_kept() {
    let shop = Shop::after(34).await;
    shop.tick("compression-dry").await;
    let before = shop.entries().await;
    let mut form = vec![
        ("check", "compression-dry"),
        ("reading", "pressure"),
        ("position", "cyl-1"),
        ("value", "26"),
        ("unit", "bar"),
        ("gauge-used", "comp_gauge|"),
        ("note", "cold"),
    ];
    let path = format!("/jobs/{}/enter", shop.job);
    let (answer, page) = shop.post_form(&path, &form).await;
    let said = words_of(&page);
    assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY, "{said}");
    assert!(said.contains("26 bar is past the end of the scale") && said.contains("reads to 300 psi"), "{said}");
    assert!(said.contains("1000 psi") && said.contains("keep it"), "the gauge that reads so far: {said}");
    assert!(page.contains(r#"name="note" value="cold""#), "nothing typed is lost");
    assert_eq!(shop.entries().await, before, "it is not kept yet");
    form.push(("read-so", "yes"));
    let (answer, page) = shop.post_form(&path, &form).await;
    assert_eq!(answer.status(), StatusCode::SEE_OTHER, "{}", words_of(&page));
    assert_eq!(shop.entries().await, before + 1, "whoever read it has the last word");
}

#[tokio::test(flavor = "multi_thread")]
async fn readings_that_cannot_both_be_true_stand_first_on_the_page_with_the_way_to_put_them_right() {
    let layout = json!({"arrangement": "inline", "cylinders": 4, "fuel": "petrol", "valve_gear": "twin-cam"});
    let shop = Shop::with(&[
        ("engine-described", json!({"layout": layout})),
        ("stage-reached", json!({"stage": "head-on-bench"})),
    ])
    .await;
    let mut entries = Vec::new();
    for (n, check, reading, outcome) in
        [(1, "seat-insert-look", "line", "missing"), (2, "valve-seal-soap-air", "bubbles", "no-bubbles")]
    {
        shop.tick(check).await;
        let body = json!({"check": check, "reading": reading, "position": "cyl-2-ex-1", "outcome": outcome});
        let (answer, kept) = shop.post_entry(&key(n), &json!({"kind": "reading-taken", "body": body}), None).await;
        assert_eq!(answer.status(), StatusCode::CREATED, "{kept}");
        entries.push(kept["kept"].as_str().unwrap().to_owned());
    }
    let path = format!("/jobs/{}/test", shop.job);
    let mut page = shop.get(&path).await.1;
    // The work-up comes when it is ready.
    for _ in 0..200 {
        if page.contains("These do not go together") {
            break;
        }
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
        page = shop.get(&path).await.1;
    }
    let section = page.split("These do not go together").nth(1).expect("the section");
    let section = section.split("</section>").next().unwrap();
    assert!(section.contains("missing") && section.contains("no bubbles"), "{}", words_of(section));
    for entry in &entries {
        assert!(section.contains(&format!("/jobs/{}/entries/{entry}", shop.job)), "{}", words_of(section));
    }
    assert!(words_of(section).contains("until then none of them counts"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_page_of_trouble_says_what_it_is_why_and_where_to_go() {
    let shop = Shop::after(34).await;
    let other = anatomy::JobId::from_time_and_chance(1, [7; 10]);
    for (path, status, wanted) in [
        (
            "/nothing".to_owned(),
            StatusCode::NOT_FOUND,
            "There is no such page Look at the address, or go to the list of all jobs. All jobs",
        ),
        (format!("/jobs/{other}/test"), StatusCode::NOT_FOUND, "There is no such job"),
        (format!("/jobs/{}/place/cyl-99", shop.job), StatusCode::NOT_FOUND, "cyl-99"),
        (format!("/jobs/{}/enter?check=no-such-check", shop.job), StatusCode::NOT_FOUND, "no-such-check"),
    ] {
        let (answer, page) = shop.get(&path).await;
        assert_eq!(answer.status(), status, "{path}");
        assert!(words_of(&page).contains(wanted), "{path}: {}", words_of(&page));
        assert!(page.contains("href=\"/\""), "{path} has a way out");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn an_old_part_stands_under_order_until_it_went_back() {
    let eur = |amount: &str| json!({"amount": amount, "currency": "EUR"});
    let order = json!({"part": "recon_head", "supplier": "Fennmouth", "quantity": 1, "core_deposit": eur("180.00"),
                       "core_due": "2099-03-27"});
    let yes =
        json!({"covers": "repair", "ceiling": eur("9000.00"), "who": "owner", "how": "telephone", "words": "yes"});
    let shop = Shop::with(&[("approval-given", yes), ("part-ordered", order)]).await;
    let page = || async { words_of(&shop.get(&format!("/jobs/{}/order", shop.job)).await.1).replace('\u{a0}', " ") };
    let said = page().await;
    assert!(
        said.contains(
            "The old part for reconditioned or exchange head , to Fennmouth, deposit EUR 180.00, by 2099-03-27"
        ),
        "{said}"
    );
    assert!(said.contains("days left") && said.contains("It went back"), "{said}");
    let wall = words_of(&shop.get("/").await.1);
    assert!(wall.contains("the old part for reconditioned or exchange head, back to Fennmouth"), "{wall}");
    let back = [("part", "old head"), ("why", "core"), ("order", &key(101))];
    let (answer, refused) = shop.post_form(&format!("/jobs/{}/tell/part-returned", shop.job), &back).await;
    assert_eq!(answer.status(), StatusCode::SEE_OTHER, "{}", words_of(&refused));
    let said = page().await;
    assert!(said.contains("went back") && said.contains("old head") && !said.contains("days left"), "{said}");
    assert!(said.contains("On the way Reconditioned or exchange head"), "the new one is still awaited: {said}");
}

impl Shop {
    /// A form as the queue of a phone sends it; answers status and what is said.
    async fn queued(&self, path: &str, by: &str, form: &[(&str, &str)]) -> (StatusCode, Value) {
        let escape = |text: &str| -> String { text.bytes().map(|b| format!("%{b:02X}")).collect() };
        let body: Vec<String> = form.iter().map(|(k, v)| format!("{}={}", escape(k), escape(v))).collect();
        let request = Request::post(path)
            .header(header::HOST, HERE)
            .header("sec-fetch-site", "same-origin")
            .header(header::ACCEPT, "application/json")
            .header("bench-by", escape(by))
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .body(Body::from(body.join("&")));
        self.answered(request.unwrap()).await
    }

    /// The same with a file.
    async fn queued_file(&self, path: &str, form: &[(&str, &str)], file: (&str, &str, &[u8])) -> (StatusCode, Value) {
        let mut body = Vec::new();
        for (name, value) in form {
            body.extend(
                format!("--edge\r\ncontent-disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n").bytes(),
            );
        }
        let (name, called, bytes) = file;
        let head = format!("--edge\r\ncontent-disposition: form-data; name=\"{name}\"; filename=\"{called}\"\r\n\r\n");
        body.extend(head.bytes());
        body.extend(bytes);
        body.extend(b"\r\n--edge--\r\n");
        let request = Request::post(path)
            .header(header::HOST, HERE)
            .header("sec-fetch-site", "same-origin")
            .header(header::ACCEPT, "application/json")
            .header(header::CONTENT_TYPE, "multipart/form-data; boundary=edge")
            .body(Body::from(body));
        self.answered(request.unwrap()).await
    }

    async fn answered(&self, request: Request<Body>) -> (StatusCode, Value) {
        let (answer, text) = self.send(request).await;
        let value = serde_json::from_str(&text).unwrap_or(Value::String(text));
        (answer.status(), value)
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn every_kind_of_form_may_be_sent_again_and_is_kept_once_and_other_content_under_its_id_is_refused() {
    let shop = Shop::after(37).await;
    let at = |rest: &str| format!("/jobs/{}/{rest}", shop.job);
    let sheet = shop.get(&at("sheet.toml")).await.1;
    let png = PNG.to_vec();
    shop.tick("compression-dry").await;
    let compression = |id: u8, value: &'static str| {
        (
            at("enter"),
            vec![
                ("entry", key(id)),
                ("check", "compression-dry".to_owned()),
                ("reading", "pressure".to_owned()),
                ("position", "cyl-1".to_owned()),
                ("value", value.to_owned()),
                ("unit", "bar".to_owned()),
            ],
        )
    };
    let told = |id: u8, kind: &str, said: &[(&str, &str)]| {
        let mut form = vec![("entry", key(id))];
        for (name, value) in said {
            form.push((Box::leak((*name).to_owned().into_boxed_str()), (*value).to_owned()));
        }
        (at(&format!("tell/{kind}")), form)
    };
    // A form, and the same id with other content.
    let pairs = [
        (compression(1, "11,9"), compression(1, "12.4")),
        (told(2, "note-written", &[("text", "Dowel missing.")]), told(2, "note-written", &[("text", "Dowel bent.")])),
        (
            told(
                3,
                "machine-order-sent",
                &[("shop", "Hollin"), ("lines.0.operation", "head_resurface"), ("lines.0.position", "bank-A")],
            ),
            told(
                3,
                "machine-order-sent",
                &[("shop", "Marrow"), ("lines.0.operation", "head_resurface"), ("lines.0.position", "bank-A")],
            ),
        ),
        (told(4, "stage-reached", &[("stage", "block-open")]), told(4, "stage-reached", &[("stage", "top-end-open")])),
    ];
    for ((path, form), (_, other)) in &pairs {
        let form: Vec<(&str, &str)> = form.iter().map(|(k, v)| (*k, v.as_str())).collect();
        let other: Vec<(&str, &str)> = other.iter().map(|(k, v)| (*k, v.as_str())).collect();
        let (status, said) = shop.queued(path, "Nell", &form).await;
        assert_eq!(status, StatusCode::OK, "{path}: {said}");
        assert_eq!(said["kept"], true, "{said}");
        assert_eq!(said["entry"], form[0].1, "{said}");
        assert!(said["next"].as_str().unwrap().starts_with("/jobs/"), "{said}");
        let count = shop.entries().await;
        // Sent again, also when somebody else has said in between who works here.
        for by in ["Nell", "Ansel"] {
            let (status, said) = shop.queued(path, by, &form).await;
            assert_eq!((status, &said["kept"]), (StatusCode::OK, &json!(true)), "{path}: {said}");
        }
        let (status, said) = shop.queued(path, "Nell", &other).await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{path}: {said}");
        assert!(said["errors"][0]["message"].as_str().unwrap().contains("kept already"), "{said}");
        assert_eq!(shop.entries().await, count, "{path}");
    }
    // The block is open since: what was kept before it is still the same when it comes again.
    let ((path, form), _) = &pairs[0];
    let form: Vec<(&str, &str)> = form.iter().map(|(k, v)| (*k, v.as_str())).collect();
    let (status, said) = shop.queued(path, "Nell", &form).await;
    assert_eq!((status, &said["kept"]), (StatusCode::OK, &json!(true)), "{said}");
    let late = key(9);
    let mut new: Vec<(&str, &str)> = form.clone();
    new[0].1 = &late;
    let (status, said) = shop.queued(path, "Nell", &new).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "a new one of that kind is refused: {said}");

    let note = key(2);
    let last =
        |entries: Vec<store::KeptEntry>| -> Value { serde_json::from_str(&entries.last().unwrap().line).unwrap() };
    // Put right, taken back, a photo, a sheet: each twice.
    let right = [
        ("entry", key(5)),
        ("text", "Dowel missing, left.".to_owned()),
        ("put-right-because", "looked again".to_owned()),
    ];
    let right: Vec<(&str, &str)> = right.iter().map(|(k, v)| (*k, v.as_str())).collect();
    let back = [("entry", key(6)), ("reason", "said twice".to_owned())];
    let back: Vec<(&str, &str)> = back.iter().map(|(k, v)| (*k, v.as_str())).collect();
    let photo = [("entry", key(7)), ("caption", "The dowel hole".to_owned())];
    let photo: Vec<(&str, &str)> = photo.iter().map(|(k, v)| (*k, v.as_str())).collect();
    let adopt = [("entry", key(8))];
    let adopt: Vec<(&str, &str)> = adopt.iter().map(|(k, v)| (*k, v.as_str())).collect();
    let mut count = shop.entries().await;
    for what in ["right", "back", "photo", "sheet"] {
        let mut first = None;
        for _ in 0..3 {
            let (status, said) = match what {
                "right" => shop.queued(&at(&format!("entries/{note}")), "Nell", &right).await,
                "back" => shop.queued(&at(&format!("withdraw/{note}")), "Nell", &back).await,
                "photo" => shop.queued_file(&at("photos"), &photo, ("photo", "dowel.png", &png)).await,
                _ => shop.queued_file(&at("sheet"), &adopt, ("sheet", "sheet.toml", sheet.as_bytes())).await,
            };
            assert_eq!((status, &said["kept"]), (StatusCode::OK, &json!(true)), "{what}: {said}");
            let entries = shop.store.entries_of(shop.job.parse().unwrap()).await.unwrap();
            assert_eq!(entries.len(), count + 1, "{what}");
            let now = last(entries);
            assert_eq!(first.get_or_insert(now.clone()), &now, "{what}");
        }
        count += 1;
    }
    // A job is opened under the id that the phone made, once.
    let (job, entry) = (key(50), key(51));
    let open = [("entry", entry.as_str()), ("back", job.as_str()), ("title", "Ostrand, invented")];
    for _ in 0..2 {
        let (status, said) = shop.queued("/jobs", "Nell", &open).await;
        assert_eq!((status, &said["job"]), (StatusCode::OK, &json!(job)), "{said}");
        assert_eq!(shop.store.entries_of(job.parse().unwrap()).await.unwrap().len(), 1);
    }
    let other = [("entry", entry.as_str()), ("back", job.as_str()), ("title", "Another")];
    assert_eq!(shop.queued("/jobs", "Nell", &other).await.0, StatusCode::UNPROCESSABLE_ENTITY);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_form_of_a_phone_that_is_refused_is_answered_with_the_words_of_the_page() {
    let shop = Shop::after(37).await;
    let at = |rest: &str| format!("/jobs/{}/{rest}", shop.job);
    shop.tick("compression-dry").await;
    let reading = |value: &'static str| {
        vec![
            ("check", "compression-dry"),
            ("reading", "pressure"),
            ("position", "cyl-1"),
            ("value", value),
            ("unit", "bar"),
            ("gauge-used", "comp_gauge|"),
        ]
    };
    for (value, word) in [("1,234", "1.234"), ("99", "past the end"), ("much", "no number"), ("", "nothing was typed")]
    {
        let (status, said) = shop.queued(&at("enter"), "Nell", &reading(value)).await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{value}: {said}");
        assert!(
            said["errors"].to_string().contains(word) || said["errors"][0]["message"].as_str().unwrap().contains("end"),
            "{value}: {said}"
        );
        assert_eq!(said["errors"][0]["field"], "value", "{said}");
    }
    let (status, said) = shop.queued(&at("tell/note-written"), "Nell", &[]).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{said}");
    let (status, said) = shop.queued(&at("tell/no-such-kind"), "Nell", &[]).await;
    assert_eq!((status, &said["title"]), (StatusCode::NOT_FOUND, &json!("there is no such kind of entry")), "{said}");
    let (status, said) =
        shop.queued("/jobs/019c8e60-4600-7000-8fb2-000000000000/enter", "Nell", &reading("11.9")).await;
    assert_eq!(status, StatusCode::NOT_FOUND, "{said}");
}

#[tokio::test(flavor = "multi_thread")]
async fn two_phones_out_of_reach_read_one_place_both_are_kept_and_a_third_is_asked_for() {
    let shop = Shop::after(37).await;
    shop.tick("compression-dry").await;
    let one = |id: String, value: &'static str| {
        vec![
            ("entry", id),
            ("check", "compression-dry".to_owned()),
            ("reading", "pressure".to_owned()),
            ("position", "cyl-1".to_owned()),
            ("value", value.to_owned()),
            ("unit", "bar".to_owned()),
        ]
    };
    let before = shop.entries().await;
    for (by, form) in [("Nell", one(key(1), "12.1")), ("Ansel", one(key(2), "9.2"))] {
        let form: Vec<(&str, &str)> = form.iter().map(|(k, v)| (*k, v.as_str())).collect();
        let (status, said) = shop.queued(&format!("/jobs/{}/enter", shop.job), by, &form).await;
        assert_eq!(status, StatusCode::OK, "{said}");
    }
    assert_eq!(shop.entries().await, before + 2);
    let (_, page) =
        shop.get(&format!("/jobs/{}/enter?check=compression-dry&reading=pressure&position=cyl-1", shop.job)).await;
    let page = words_of(&page);
    assert!(page.contains("Nell") && page.contains("Ansel"), "{page}");
    assert!(page.contains("take a third"), "{page}");
    let (_, job) = shop.job().await;
    let asked: Vec<&Value> = job["case"]["notices"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|n| {
            let about = n["about"].to_string();
            about.contains(&key(1)) && about.contains(&key(2))
        })
        .collect();
    assert!(!asked.is_empty(), "nobody asks for a third: {}", job["case"]["notices"]);
}

#[tokio::test(flavor = "multi_thread")]
async fn the_files_of_the_phone_come_under_one_version_and_the_list_ahead_names_pages_that_are_there() {
    let shop = Shop::after(37).await;
    let (answer, worker) = shop.get("/sw.js").await;
    assert_eq!(answer.status(), StatusCode::OK);
    assert!(answer.headers()[header::CONTENT_TYPE].to_str().unwrap().starts_with("text/javascript"));
    let version = worker.split('"').nth(1).unwrap().to_owned();
    assert_eq!(version.len(), 12, "{version}");
    let files: Vec<String> = {
        let list = worker.split("FILES = ").nth(1).unwrap().lines().next().unwrap().trim_end_matches(';');
        serde_json::from_str(list).unwrap()
    };
    let (_, page) = shop.get("/").await;
    let (_, style) = shop.get("/bench.css").await;
    for file in &files {
        let (answer, _) = shop.get(file).await;
        assert_eq!(answer.status(), StatusCode::OK, "{file}");
        if let Some((_, v)) = file.split_once("?v=") {
            assert_eq!(v, version, "{file}");
            assert!(page.contains(file.as_str()) || style.contains(file.as_str()), "the page asks for {file}");
        }
    }
    let policy = answer.headers()[header::CONTENT_SECURITY_POLICY].to_str().unwrap();
    assert!(policy.contains("worker-src 'self'") && policy.contains("manifest-src 'self'"), "{policy}");
    let (answer, manifest) = shop.get("/manifest.webmanifest").await;
    assert_eq!(answer.headers()[header::CONTENT_TYPE], "application/manifest+json");
    let manifest: Value = serde_json::from_str(&manifest).unwrap();
    for icon in manifest["icons"].as_array().unwrap() {
        assert_eq!(shop.get(icon["src"].as_str().unwrap()).await.0.status(), StatusCode::OK, "{icon}");
    }
    // Script of a page, over the wire without compression.
    let mut script = 0;
    for file in files.iter().filter(|f| f.contains(".js")) {
        script += shop.get(file).await.1.len();
    }
    assert!(script <= 60 * 1024, "{script} bytes of script in a page");

    let (_, list) = shop.get(&format!("/jobs/{}/offline.json", shop.job)).await;
    let list: Value = serde_json::from_str(&list).unwrap();
    let pages = list["pages"].as_array().unwrap();
    assert!(pages.len() > 40 && pages.len() <= 320, "{}", pages.len());
    let entries = shop.entries().await;
    for page in pages {
        let (answer, _) = shop.get(page.as_str().unwrap()).await;
        assert_eq!(answer.status(), StatusCode::OK, "{page}");
    }
    assert_eq!(shop.entries().await, entries, "fetching ahead writes nothing down");
}

/// An entry id that a device made so many minutes ago.
#[expect(
    clippy::disallowed_methods,
    reason = "how much is left is told by the bench's own clock, which this is held against"
)]
fn made_before(minutes: u64, n: u8) -> String {
    let now = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).unwrap().as_millis();
    let ms = u64::try_from(now).unwrap() - minutes * 60_000;
    anatomy::EntryId::from_time_and_chance(ms, [n; 10]).to_string()
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_set_going_is_told_on_every_page_and_the_wall_after_a_restart_until_it_is_read() {
    // Before anybody ticks a caution.
    let shop = Shop::after(14).await;
    let start = format!("/jobs/{}/tell/wait-started", shop.job);
    let hold = |entry: &str| -> Vec<(&str, String)> {
        let fixed = [("check", "cooling-pressure-hold"), ("position", "engine")];
        fixed.iter().map(|(k, v)| (*k, (*v).to_owned())).chain([("entry", entry.to_owned())]).collect()
    };
    let send = async |entry: &str| {
        let form = hold(entry);
        let form: Vec<(&str, &str)> = form.iter().map(|(k, v)| (*k, v.as_str())).collect();
        shop.post_form(&start, &form).await
    };
    // What holds the reading up holds the start up, too: the pressure is on before the time runs.
    let before = shop.entries().await;
    let (answer, page) = send(&made_before(0, 1)).await;
    assert_ne!(answer.status(), StatusCode::SEE_OTHER, "{}", words_of(&page));
    assert!(words_of(&page).contains("nobody has ticked"), "{}", words_of(&page));
    assert_eq!(shop.entries().await, before);
    shop.tick("cooling-pressure-hold").await;
    // A check that is read at once is not timed.
    let other = [("check", "compression-dry"), ("position", "cyl-1")];
    let (answer, page) = shop.post_form(&start, &other).await;
    assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY);
    assert!(page.contains("cooling-pressure-hold"), "{}", words_of(&page));

    let field = format!("/jobs/{}/enter?check=cooling-pressure-hold&position=engine", shop.job);
    let (_, page) = shop.get(&field).await;
    assert!(words_of(&page).contains("It is read after 15 minutes (common practice)"), "{}", words_of(&page));
    let (answer, page) = send(&made_before(3, 2)).await;
    assert_eq!(answer.status(), StatusCode::SEE_OTHER, "{}", words_of(&page));
    // Another bench on the same record: nothing of the time lives in the one that took the entry.
    let bench = Bench::new(shop.store.clone(), Arc::new(Knowledge::builtin().unwrap()), "Ansel");
    let shop = Shop { app: server::router(bench), ..shop };
    let pages =
        [format!("/jobs/{}/test", shop.job), format!("/jobs/{}/strip", shop.job), "/".to_owned(), field.clone()];
    for path in &pages {
        let (_, page) = shop.get(path).await;
        let said = words_of(&page);
        assert!(
            said.contains("Cooling system pressure hold, 15 minutes, engine 12 minutes left since"),
            "{path}: {said}"
        );
    }
    // Set going anew, by a device that says so late: one line, and it is ready.
    let anew = made_before(16, 3);
    let (answer, _) = shop.post_form(&format!("/jobs/{}/withdraw/{}", shop.job, made_before(0, 0)), &[]).await;
    assert_eq!(answer.status(), StatusCode::NOT_FOUND);
    let (_, job) = shop.job().await;
    let first = job["state"]["waits"][0]["in_entry"].as_str().unwrap().to_owned();
    let (answer, _) = shop.post_form(&format!("/jobs/{}/withdraw/{first}", shop.job), &[]).await;
    assert_eq!(answer.status(), StatusCode::SEE_OTHER);
    let (_, page) = shop.get(&pages[0]).await;
    assert!(!page.contains("data-ready-at="), "what is taken back does not stand: {}", words_of(&page));
    let form = hold(&anew);
    let form: Vec<(&str, &str)> = form.iter().map(|(k, v)| (*k, v.as_str())).collect();
    let (answer, page) = shop.post_form(&start, &form).await;
    assert_eq!(answer.status(), StatusCode::SEE_OTHER, "{}", words_of(&page));
    for path in &pages {
        let (_, page) = shop.get(path).await;
        assert!(words_of(&page).contains("ready: read it now"), "{path}: {}", words_of(&page));
        assert_eq!(page.matches("data-ready-at=").count(), 1, "{path}");
    }
    // The second reading ends it.
    let read =
        [("check", "cooling-pressure-hold"), ("reading", "hold"), ("position", "engine"), ("value", "slow-drop")];
    let (answer, page) = shop.post_form(&format!("/jobs/{}/enter", shop.job), &read).await;
    assert_eq!(answer.status(), StatusCode::SEE_OTHER, "{}", words_of(&page));
    for path in &pages {
        let (_, page) = shop.get(path).await;
        assert!(!page.contains("data-ready-at="), "{path}: {}", words_of(&page));
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn sealant_that_cures_is_told_on_every_page_and_the_wall_until_its_time_is_over() {
    let shop = Shop::after(14).await;
    let told = format!("/jobs/{}/tell/build-step-done", shop.job);
    let pages = [format!("/jobs/{}/test", shop.job), format!("/jobs/{}/build", shop.job), "/".to_owned()];
    for (minutes, n) in [(75, 1), (10, 2)] {
        let entry = made_before(minutes, n);
        let form = [("entry", entry.as_str()), ("stage", "covers"), ("step", "1")];
        let (answer, page) = shop.post_form(&told, &form).await;
        assert_eq!(answer.status(), StatusCode::SEE_OTHER, "{}", words_of(&page));
        for path in &pages {
            let (_, page) = shop.get(path).await;
            let said = words_of(&page);
            let runs = said.contains("50 minutes left since") && said.contains("no oil before");
            assert_eq!(runs, minutes == 10, "{path}: {said}");
        }
    }
    let (_, page) = shop.get(&pages[0]).await;
    assert!(page.contains("/build#stage-covers"), "the way on is the stage that was sealed");
}

/// The bytes that come over the wire for one address, head and all, as a browser asks for it.
async fn on_the_wire(at: std::net::SocketAddr, path: &str) -> Vec<u8> {
    let mut stream = tokio::net::TcpStream::connect(at).await.unwrap();
    let asked = format!("GET {path} HTTP/1.1\r\nHost: {at}\r\nAccept-Encoding: gzip\r\nConnection: close\r\n\r\n");
    stream.write_all(asked.as_bytes()).await.unwrap();
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).await.unwrap();
    assert!(answer.starts_with(b"HTTP/1.1 200"), "{path}: {}", String::from_utf8_lossy(&answer));
    answer
}

/// What stands between two quotation marks after a word.
fn quoted(text: &str, before: &str) -> Vec<String> {
    text.split(before).skip(1).filter_map(|t| t.split('"').next()).map(ToOwned::to_owned).collect()
}

/// The fonts of a style, each with the characters that it holds.
fn fonts_of(style: &str) -> Vec<(String, Vec<(u32, u32)>)> {
    let number = |text: &str| u32::from_str_radix(text, 16).unwrap();
    let range = |text: &str| match text.trim().trim_start_matches("U+").split_once('-') {
        Some((first, last)) => (number(first), number(last)),
        None => (number(text.trim().trim_start_matches("U+")), number(text.trim().trim_start_matches("U+"))),
    };
    let faces = style.split("@font-face").skip(1).map(|face| {
        let ranges = face.split("unicode-range:").nth(1).unwrap().split(';').next().unwrap();
        (quoted(face, "url(\"").remove(0), ranges.split(',').map(range).collect())
    });
    faces.collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn the_first_page_comes_in_150_kb_with_60_kb_of_script_at_most() {
    let shop = Shop::after(usize::MAX).await;
    shop.job().await;
    let bench = Bench::new(shop.store.clone(), Arc::new(Knowledge::builtin().unwrap()), "Ansel");
    let listener = server::bind(0).await.unwrap();
    let at = listener.local_addr().unwrap();
    let (stop, stopped) = tokio::sync::oneshot::channel::<()>();
    let serving = tokio::spawn(server::serve(bench, listener, None, async { drop(stopped.await) }));
    let (_, wall) = shop.get("/").await;
    let (_, style) = shop.get("/bench.css").await;
    let (_, worker) = shop.get("/sw.js").await;
    // Everything that the page and its worker name, each once; what has a version is not fetched a second time.
    let mut files: BTreeSet<String> = BTreeSet::from(["/sw.js".to_owned()]);
    files.extend(quoted(&wall, "<link rel=\"stylesheet\" href=\""));
    files.extend(quoted(&wall, "src=\"").into_iter().filter(|src| src.contains(".js")));
    files.extend(
        serde_json::from_str::<Vec<String>>(worker.split("FILES = ").nth(1).unwrap().split(";\n").next().unwrap())
            .unwrap(),
    );
    let (mut common, mut script) = (0, 0);
    for file in &files {
        let bytes = on_the_wire(at, file).await.len();
        common += bytes;
        script += if file.contains(".js") { bytes } else { 0 };
    }
    assert!(script <= 60_000 && script > 10_000, "{script} bytes of script");
    let wall_bytes = on_the_wire(at, "/").await.len();
    for moment in MOMENTS {
        let path = format!("/jobs/{}/{moment}", shop.job);
        let (_, page) = shop.get(&path).await;
        let mut all = common + wall_bytes + on_the_wire(at, &path).await.len();
        for (font, ranges) in fonts_of(&style) {
            let prints = |c: char| ranges.iter().any(|(first, last)| (*first..=*last).contains(&u32::from(c)));
            if !files.contains(&font) && (words_of(&page) + &words_of(&wall)).contains(prints) {
                all += on_the_wire(at, &font).await.len();
            }
        }
        assert!(all <= 150_000, "the wall and {moment}: {all} bytes, {common} of them files, {script} of those script");
    }
    stop.send(()).unwrap();
    serving.await.unwrap().unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn pages_go_out_compressed_and_events_photos_and_codes_of_pairing_do_not() {
    let shop = Shop::after(34).await;
    let asked = |path: &str| {
        let request = Request::get(path).header(header::HOST, HERE).header(header::ACCEPT_ENCODING, "gzip, br");
        shop.app.clone().oneshot(request.body(Body::empty()).unwrap())
    };
    let encoding = |answer: &Response<Body>| {
        answer.headers().get(header::CONTENT_ENCODING).map(|e| e.to_str().unwrap().to_owned())
    };
    for path in [
        "/".to_owned(),
        format!("/jobs/{}/test", shop.job),
        "/bench.css".to_owned(),
        format!("/api/1/jobs/{}", shop.job),
    ] {
        let answer = asked(&path).await.unwrap();
        assert_eq!(encoding(&answer).as_deref(), Some("gzip"), "{path}");
    }
    for path in [format!("/jobs/{}/live", shop.job), "/devices".to_owned(), "/fonts/bold.woff2".to_owned()] {
        let answer = asked(&path).await.unwrap();
        assert_eq!(answer.status(), StatusCode::OK, "{path}");
        assert_eq!(encoding(&answer), None, "{path}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn the_first_font_of_the_pages_holds_letters_of_names_figures_and_units() {
    let shop = Shop::after(0).await;
    let (_, style) = shop.get("/bench.css").await;
    let fonts = fonts_of(&style);
    assert_eq!(fonts.len(), 4);
    let holds = |(_, ranges): &&(String, Vec<(u32, u32)>), c: char| {
        ranges.iter().any(|(first, last)| (*first..=*last).contains(&u32::from(c)))
    };
    let first: Vec<_> = fonts.iter().filter(|(name, _)| !name.contains("signs")).collect();
    for c in "Größe, naïve façade, Çelik, Œuvre, ÿ, Škare, Åse, Þór; ±0,02 mm · 90° · µm · 12 N·m · 3 × 4² ³ ½ ¼ ¾ “„’‘”–— … € ′ ″ ≤ ≥ ≈ − ← → ↑ ↓ ✓ Δ Ω μ ⁻¹ ₂ ‰ √ ∞ ≠".chars() {
        assert!(first.iter().all(|font| holds(font, c)), "{c} is in no first font");
    }
    for c in "⅓⅔⅛⅜⅝⅞αβ⚠↔↘".chars() {
        assert!(fonts.iter().filter(|font| holds(font, c)).count() >= 2, "{c} is in no font");
    }
    // Asked for by its version a file is fetched once; without one it may change tomorrow.
    let version = quoted(&style, ".woff2?v=").remove(0);
    for (path, lasts) in [
        (format!("/fonts/regular.woff2?v={version}"), true),
        ("/fonts/regular.woff2".to_owned(), false),
        (format!("/bench.css?v={version}"), true),
        ("/bench.css?v=0123".to_owned(), false),
    ] {
        let (answer, _) = shop.get(&path).await;
        let said = answer.headers()[header::CACHE_CONTROL].to_str().unwrap().to_owned();
        assert_eq!(said.contains("immutable"), lasts, "{path}: {said}");
    }
    let (answer, licence) = shop.get("/fonts/licence.txt").await;
    assert_eq!(answer.status(), StatusCode::OK);
    assert!(licence.contains("SIL OPEN FONT LICENSE") && licence.contains("AIRBUS"));
}

/// A picture of one point.
const PNG: &[u8] = &[
    0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a, 0, 0, 0, 0x0d, 0x49, 0x48, 0x44, 0x52, 0, 0, 0, 1, 0, 0, 0, 1, 8,
    0, 0, 0, 0, 0x3a, 0x7e, 0x9b, 0x55, 0, 0, 0, 0x0a, 0x49, 0x44, 0x41, 0x54, 0x78, 0x9c, 0x63, 0x60, 0, 0, 0, 2, 0,
    1, 0x48, 0xaf, 0xa4, 0x71, 0, 0, 0, 0, 0x49, 0x45, 0x4e, 0x44, 0xae, 0x42, 0x60, 0x82,
];

#[tokio::test(flavor = "multi_thread")]
async fn a_straightedge_is_entered_row_by_row_and_the_place_shows_the_map_of_its_face() {
    let upto = STORY.lines().position(|line| line.contains("\"flat-f\"")).unwrap();
    let shop = Shop::told(STORY, upto).await;
    shop.tick("head-straightedge").await;
    shop.job().await;
    let (_, page) = shop.get(&format!("/jobs/{}/enter?check=head-straightedge&position=bank-A", shop.job)).await;
    for words in ["A–D along left, 420 mm ✓", "D–F across rear, 175 mm", "name=\"refused-8\""] {
        assert!(page.replace("<!-- -->", "").contains(words), "{words}: {}", words_of(&page));
    }
    let fixed = [("check", "head-straightedge"), ("reading", "gap"), ("position", "bank-A"), ("spot", "across-rear")];
    let rows = |along: &'static str| {
        [
            ("along-0", "0"),
            ("refused-0", "0.02"),
            ("along-1", "87.5"),
            ("enters-1", "0.04"),
            ("refused-1", "0.05"),
            ("along-2", along),
            ("refused-2", "0.02"),
        ]
    };
    let enter = format!("/jobs/{}/enter", shop.job);
    let before = shop.entries().await;
    let (answer, page) = shop.post_form(&enter, &[&fixed[..], &rows("190")[..]].concat()).await;
    assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY);
    assert!(
        page.contains("lies beyond the face") && page.contains("value=\"87.5\"") && page.contains("value=\"190\""),
        "{}",
        words_of(&page)
    );
    assert_eq!(shop.entries().await, before);
    let (answer, page) = shop.post_form(&enter, &[&fixed[..], &rows("175")[..]].concat()).await;
    assert_eq!(answer.status(), StatusCode::SEE_OTHER, "{}", words_of(&page));
    let (_, job) = shop.job().await;
    let kept = job["state"]["readings"].as_array().unwrap().last().unwrap().clone();
    assert_eq!((kept["spot"].as_str(), kept["stations"].as_array().map(Vec::len)), (Some("across-rear"), Some(3)));
    assert_eq!(job["case"]["faces"][0]["verdict"], "outside", "{}", job["case"]["faces"][0]["reason"]);
    let (_, page) = shop.get(&format!("/jobs/{}/place/bank-A", shop.job)).await;
    assert!(
        page.contains("The face, bent as measured") && page.contains("Limit of its flatness 0.08 mm"),
        "{}",
        words_of(&page)
    );

    // The same over the interface; what does not fit names its field.
    let sent = |spot: &str, stations: &Value| json!({"kind": "reading-taken", "body": {"check": "head-straightedge", "position": "bank-A", "spot": spot, "stations": stations}});
    let good = json!([{"along": "0 mm", "refused": "0.03 mm"}, {"along": {"text": "87.5", "unit": "mm"}, "enters": "0.03 mm", "refused": "0.04 mm"}, {"along": "175 mm", "refused": "0.03 mm"}]);
    let (answer, problem) = shop.post_entry(&key(61), &sent("G-H", &good), None).await;
    assert_eq!(answer.status(), StatusCode::CREATED, "{problem}");
    let (answer, problem) = shop.post_entry(&key(62), &sent("A-B", &good), None).await;
    assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY);
    assert_eq!(problem["errors"][0]["field"], "spot", "{problem}");
    // The entry's own page writes what it says, and puts it right.
    let entry = kept["entry"].as_str().unwrap();
    let (_, page) = shop.get(&format!("/jobs/{}/entries/{entry}", shop.job)).await;
    assert!(page.contains("87.5 mm: 0.04 mm..0.05 mm"), "{}", words_of(&page));
    let right = [
        ("stations", "0: ..0.02\n87.5: 0.03..0.04\n175: ..0.02"),
        ("position", "bank-A"),
        ("spot", "across-rear"),
        ("put-right-because", "misread"),
    ];
    let (answer, page) = shop.post_form(&format!("/jobs/{}/entries/{entry}", shop.job), &right).await;
    assert_eq!(answer.status(), StatusCode::SEE_OTHER, "{}", words_of(&page));
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_assumed_of_an_engine_is_said_as_people_say_it() {
    let shop = Shop::after(10).await;
    shop.job().await;
    let (_, page) = shop.get(&format!("/jobs/{}/hear", shop.job)).await;
    let (_, assumed) = page.split_once("Assumed, because nobody said: ").expect("something is assumed");
    let assumed = assumed.split_once("</p>").map_or(assumed, |(said, _)| said);
    assert!(assumed.contains("one head") && assumed.contains("5 main bearings"), "{assumed}");
    assert!(!assumed.contains("heads") && !assumed.contains("per-bank") && !assumed.contains("free-end"), "{assumed}");
}

/// Order out, as left in, finding and date moved.
#[tokio::test]
async fn a_machine_order_goes_out_with_a_code_and_comes_back_by_it_line_by_line() {
    let layout = json!({"arrangement": "inline", "cylinders": 4, "fuel": "petrol", "valve_gear": "twin-cam", "head_material": "iron"});
    let part = json!({"part": "head_gasket", "supplier": "Quayside Parts", "quantity": 1, "promised": "2030-01-05"});
    let shop = Shop::with(&[
        ("engine-described", json!({"layout": layout})),
        ("promise-made", json!({"promised": "2030-01-09"})),
        ("part-ordered", part),
    ])
    .await;
    let tell = |kind: &str| format!("/jobs/{}/tell/{kind}", shop.job);
    let order_page = format!("/jobs/{}/order", shop.job);
    let back = order_page.as_str();
    // A row without its place is named, and nothing typed is lost.
    let half = [
        ("back", back),
        ("shop", "Harrow Machine Shop"),
        ("lines.0.operation", "head_resurface"),
        ("datum", "cam bores"),
    ];
    let (answer, page) = shop.post_form(&tell("machine-order-sent"), &half).await;
    assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY);
    assert!(
        words_of(&page).contains("line 1: say where on the engine") && page.contains("value=\"cam bores\""),
        "{page}"
    );
    let out = [
        ("back", back),
        ("shop", "Harrow Machine Shop"),
        ("datum", "cam bores"),
        ("promised", "2030-01-12"),
        ("lines.0.operation", "head_resurface"),
        ("lines.0.position", "bank-A"),
        ("lines.0.want_high", "0.03 mm"),
        ("lines.1.operation", "head_pressure_test"),
        ("lines.1.position", "bank-A"),
    ];
    let (answer, page) = shop.post_form(&tell("machine-order-sent"), &out).await;
    assert_eq!(answer.status(), StatusCode::SEE_OTHER, "{}", words_of(&page));
    let (_, job) = shop.job().await;
    let sent = &job["state"]["machine_orders"][0];
    let code = sent["body"]["code"].as_str().unwrap().to_owned();
    assert_eq!(logbook::shortcode::read(&code), Ok(code.clone()), "a code of ours was made");
    let (_, page) = shop.get(&order_page).await;
    let said = words_of(&page);
    assert!(said.contains(&code) && said.contains("First: Crack test, dye or magnetic"), "{said}");
    assert!(!said.contains("First: Pressure test"), "it is ordered: {said}");
    assert!(said.contains(&format!("Machine work {code} sets the date: 2030-01-12")), "{said}");
    assert!(
        said.contains("3 days after the day promised to the customer, 2030-01-09: ask Harrow Machine Shop"),
        "{said}"
    );
    // The test stands before the cut, whatever the sequence it was typed in.
    let list = said.find("Pressure test head").unwrap();
    assert!(list < said.find("Resurface head deck, wanted at most 0.03 mm").unwrap(), "{said}");

    // A code typed as one likes opens the form of its order; two signs that changed places are near it.
    let typed = code.to_lowercase().replace('-', "%20");
    let (answer, _) = shop.get(&format!("/machine-work?code={typed}")).await;
    assert_eq!(answer.status(), StatusCode::SEE_OTHER);
    let to = answer.headers().get(header::LOCATION).unwrap().to_str().unwrap().to_owned();
    assert!(to.starts_with(&format!("{order_page}?code=")) && to.ends_with("#back"), "{to}");
    let (_, page) = shop.get(to.trim_end_matches("#back")).await;
    assert!(
        page.contains("id=\"back\" open") && page.contains("lines.0.as_left") && page.contains("lines.1.result"),
        "{page}"
    );
    let mut wrong: Vec<char> = code.chars().collect();
    let place = (0..2).find(|n| wrong[*n] != wrong[n + 1]).unwrap();
    wrong.swap(place, place + 1);
    let wrong: String = wrong.into_iter().collect();
    let (answer, page) = shop.get(&format!("/machine-work?code={wrong}")).await;
    assert_eq!(answer.status(), StatusCode::NOT_FOUND);
    assert!(words_of(&page).contains(&format!("near it are {code}")) && page.contains(&wrong), "{page}");

    let id = sent["in_entry"].as_str().unwrap();
    let row = |more: &[(&'static str, &'static str)]| -> Vec<(String, String)> {
        let fixed = [
            ("back", back),
            ("code", &code),
            ("order", id),
            ("lines.0.operation", "head_resurface"),
            ("lines.0.position", "bank-A"),
            ("lines.1.operation", "head_pressure_test"),
            ("lines.1.position", "bank-A"),
        ];
        let own = |(k, v): &(&str, &str)| ((*k).to_owned(), (*v).to_owned());
        fixed.iter().map(own).chain(more.iter().map(own)).collect()
    };
    let post = |form: Vec<(String, String)>| {
        let (shop, path) = (&shop, tell("machine-work-returned"));
        async move {
            let form: Vec<(&str, &str)> = form.iter().map(|(k, v)| (k.as_str(), v.as_str())).collect();
            shop.post_form(&path, &form).await
        }
    };
    // A figure without its result is asked for beside its row, and stays typed.
    let (answer, page) = post(row(&[("lines.1.as_left", "3 bar"), ("lines.1.note", "held five minutes")])).await;
    assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY);
    assert!(words_of(&page).contains("line 2: say whether it was done"), "{}", words_of(&page));
    assert!(page.contains("value=\"held five minutes\""), "{page}");
    let (answer, page) = post(row(&[])).await;
    assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY);
    assert!(words_of(&page).contains("say of one line at least"), "{}", words_of(&page));
    // The second line comes back first: the first one is still away and still sets the date.
    let (answer, page) = post(row(&[("lines.1.result", "done"), ("lines.1.note", "held")])).await;
    assert_eq!(answer.status(), StatusCode::SEE_OTHER, "{}", words_of(&page));
    let (_, page) = shop.get(&order_page).await;
    assert!(words_of(&page).contains(&format!("Machine work {code} sets the date")), "{}", words_of(&page));
    // 0.20 mm lies 0.17 mm beyond what was wanted, with one step of 0.01 mm of doubt: outside.
    let (answer, page) = post(row(&[("lines.0.result", "done"), ("lines.0.as_left", "0.20 mm")])).await;
    assert_eq!(answer.status(), StatusCode::SEE_OTHER, "{}", words_of(&page));
    let (_, page) = shop.get(&order_page).await;
    let said = words_of(&page);
    assert!(page.contains("data-notice=\"as-left-outside\"") && said.contains("do not build it in"), "{said}");
    assert!(said.contains("left at 0.20 mm by the machine shop's word: outside"), "{said}");
    assert!(said.contains("sets the date: 2030-01-05") && said.contains("4 days before the day promised"), "{said}");
    let (_, wall) = shop.get("/").await;
    assert!(words_of(&wall).contains("do not build it in"), "{}", words_of(&wall));
    let (_, found) = shop.get(&format!("/?find={code}")).await;
    assert!(found.contains(&shop.job), "a job is found by the code of its order");
    let (_, job) = shop.job().await;
    let line = &job["case"]["machine"][1]["lines"][0];
    assert_eq!((line["phase"].as_str(), line["verdict"].as_str()), (Some("as-left"), Some("outside")), "{line}");
    assert_eq!(job["case"]["proof"]["pairs"], json!([]), "it is no reading of ours");
}

#[tokio::test]
async fn over_http_a_machine_order_without_a_code_gets_one_and_an_unknown_code_is_refused_with_its_neighbours() {
    let layout = json!({"arrangement": "inline", "cylinders": 4, "fuel": "petrol", "valve_gear": "twin-cam"});
    let shop = Shop::with(&[("engine-described", json!({"layout": layout}))]).await;
    let line = json!({"operation": "head_resurface", "position": "bank-A"});
    let order = json!({"kind": "machine-order-sent", "body": {"shop": "Harrow Machine Shop", "lines": [line]}});
    let (answer, said) = shop.post_entry(&key(40), &order, None).await;
    assert_eq!(answer.status(), StatusCode::CREATED, "{said}");
    let (answer, said) = shop.post_entry(&key(40), &order, None).await;
    assert_eq!(answer.status(), StatusCode::OK, "sent again it is the same entry with the same code: {said}");
    let (_, job) = shop.job().await;
    let code = job["state"]["machine_orders"][0]["body"]["code"].as_str().unwrap().to_owned();
    let taken =
        json!({"kind": "machine-order-sent", "body": {"shop": "Harrow Machine Shop", "code": code, "lines": [line]}});
    let (answer, said) = shop.post_entry(&key(41), &taken, None).await;
    assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY);
    assert!(said.to_string().contains("leave it empty and one is made"), "{said}");
    let slip = format!("{}2", &code[..code.len() - 1]);
    let back = |code: &str| {
        json!({"kind": "machine-work-returned", "body": {"code": code, "lines": [
        {"operation": "head_resurface", "position": "bank-A", "result": "done"}]}})
    };
    let slip = if slip == code { format!("{}3", &code[..code.len() - 1]) } else { slip };
    let (answer, said) = shop.post_entry(&key(42), &back(&slip), None).await;
    assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY);
    assert!(said.to_string().contains(&format!("near it are {code}")), "{said}");
    let (answer, said) = shop.post_entry(&key(43), &back(&code), None).await;
    assert_eq!(answer.status(), StatusCode::CREATED, "{said}");
}

#[tokio::test(flavor = "multi_thread")]
async fn what_a_part_turned_out_to_be_is_asked_told_and_counted() {
    let shop = Shop::told(STORY, usize::MAX).await;
    // The questions come with the work-up.
    let mut page = String::new();
    for _ in 0..600 {
        let (answer, now) = shop.get(&format!("/jobs/{}/prove", shop.job)).await;
        assert_eq!(answer.status(), StatusCode::OK);
        page = now;
        if page.contains("value=\"gasket-cylinder-coolant\"") {
            break;
        }
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    assert!(
        page.contains("What it turned out to be") && page.contains("value=\"gasket-cylinder-coolant\""),
        "{}",
        words_of(&page)
    );
    let (_, before) = shop.get("/own-jobs").await;
    assert!(words_of(&before).contains("job counts"), "{}", words_of(&before));
    let form = [
        ("condition", "gasket-cylinder-coolant"),
        ("position", "cyl-3"),
        ("state", "leaking"),
        ("how", "seen with the part out"),
    ];
    let (answer, page) = shop.post_form(&format!("/jobs/{}/tell/outcome-found", shop.job), &form).await;
    assert_eq!(answer.status(), StatusCode::SEE_OTHER, "{}", words_of(&page));
    let (answer, after) = shop.get("/own-jobs").await;
    assert_eq!(answer.status(), StatusCode::OK);
    assert!(
        after.contains("data-odds=\"gasket-cylinder-coolant\"")
            && !before.contains("data-odds=\"gasket-cylinder-coolant\"")
    );
    assert!(words_of(&after).contains("Too few jobs told it; the book stays"), "{}", words_of(&after));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_practice_job_leads_through_its_first_steps() {
    let shop = Shop::told(STORY, 1).await;
    let id = "019c8e60-4600-7000-8fb2-2f3f4afc79aa";
    let (answer, _) = shop.post_form("/practice", &[("back", id)]).await;
    assert_eq!(answer.status(), StatusCode::SEE_OTHER);
    let kept = shop.store.entries_of(id.parse().unwrap()).await.unwrap().len();
    // A second touch opens the same one and adds nothing.
    shop.post_form("/practice", &[("back", id)]).await;
    assert_eq!(shop.store.entries_of(id.parse().unwrap()).await.unwrap().len(), kept);
    let (_, page) = shop.get(&format!("/jobs/{id}/hear")).await;
    assert!(words_of(&page).contains("Practice, step 1 of 6"), "{}", words_of(&page));
    let form = [("fault", "sensors"), ("answer", "excluded"), ("how", "cold values agree with the air")];
    let (answer, page) = shop.post_form(&format!("/jobs/{id}/tell/outside-answered"), &form).await;
    assert_eq!(answer.status(), StatusCode::SEE_OTHER, "{}", words_of(&page));
    let (_, page) = shop.get(&format!("/jobs/{id}/hear")).await;
    assert!(words_of(&page).contains("Practice, step 2 of 6"), "{}", words_of(&page));
    // The key leads to where the reading is entered, and what was entered before stands there.
    let link =
        page.split("class=\"button\" href=\"").find(|part| part.contains("/enter?check=compression-dry")).unwrap();
    let link = link.split('"').next().unwrap().replace("&amp;", "&");
    let (answer, page) = shop.get(&link).await;
    assert_eq!(answer.status(), StatusCode::OK);
    assert!(words_of(&page).contains("cylinder 3"), "{}", words_of(&page));
    // Other jobs have no such strip.
    let (_, page) = shop.get(&format!("/jobs/{}/hear", shop.job)).await;
    assert!(!words_of(&page).contains("Practice, step"));
}

/// What stands in the cell of a bag, on whatever page.
fn cell_of<'p>(page: &'p str, bag: &str) -> &'p str {
    let from = page.find(&format!("data-bag=\"{bag}\""));
    assert!(from.is_some(), "no bag {bag}: {}", words_of(page));
    let rest = page.get(from.unwrap()..).unwrap();
    rest.get(1..).and_then(|r| r.find("class=\"cell\"")).map_or(rest, |end| rest.get(..end).unwrap())
}

#[tokio::test(flavor = "multi_thread")]
async fn a_bag_gets_the_next_number_and_is_asked_back_at_its_stage_until_it_is_empty() {
    let layout = json!({"arrangement": "inline", "cylinders": 4, "fuel": "petrol", "valve_gear": "pushrod"});
    let figure = |text: &str| json!({"text": text, "unit": "mm"});
    let bolt = |x: &str, y: &str| json!({"along": figure(x), "across": figure(y)});
    let placed = json!({"joint": "head", "position": "bank-A",
                        "bolts": [bolt("0", "0"), bolt("90", "0"), bolt("0", "80"), bolt("90", "80")]});
    let shop = Shop::with(&[("engine-described", json!({"layout": layout})), ("bolts-placed", placed)]).await;
    let at = |rest: &str| format!("/jobs/{}/{rest}", shop.job);
    let page = async |rest: &str| {
        let (answer, page) = shop.get(&at(rest)).await;
        assert_eq!(answer.status(), StatusCode::OK, "{rest}");
        page
    };
    let board = page("bags").await;
    assert!(
        board.contains("name=\"bag\" value=\"1\"") && board.contains("Nothing is bagged yet"),
        "{}",
        words_of(&board)
    );
    assert!(!board.contains("from_bolts"), "without a joint there are no bolts to tick");
    // A joint that was tapped: its bolts stand as boxes beside their drawing.
    let board = page("bags?joint=head").await;
    for n in 0..4 {
        assert!(board.contains(&format!("name=\"from_bolts.{n}\" value=\"{}\"", n + 1)), "{n}");
    }
    let back = at("bags?joint=head");
    let tell = at("tell/part-bagged");
    let form = [
        ("back", back.as_str()),
        ("part", "head bolts"),
        ("bag", "1"),
        ("count", "2"),
        ("joint", "head"),
        ("position", "bank-A"),
        ("from_bolts.1", "2"),
        ("from_bolts.3", "4"),
        ("own_place", "yes"),
    ];
    let (answer, said) = shop.post_form(&tell, &form).await;
    assert_eq!(answer.status(), StatusCode::SEE_OTHER, "{}", words_of(&said));
    let to = answer.headers()[header::LOCATION].to_str().unwrap().to_owned();
    assert!(to.starts_with(&format!("{back}&kept=")), "one goes on at the same joint: {to}");
    let entries = shop.store.entries_of(shop.job.parse().unwrap()).await.unwrap();
    let kept: Value = serde_json::from_str(&entries.last().unwrap().line).unwrap();
    assert_eq!((&kept["v"], &kept["body"]["from_bolts"]), (&json!(2), &json!([2, 4])));
    // What cannot be comes back on the board with what was typed.
    let mut wrong = form;
    (wrong[2].1, wrong[7]) = ("2", ("from_bolts.3", "9"));
    let (answer, said) = shop.post_form(&tell, &wrong).await;
    assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY, "{}", words_of(&said));
    assert!(
        said.contains("no bolt 9") && said.contains("value=\"head bolts\"") && said.contains("Fill a bag"),
        "{said}"
    );

    for (bag, part, stage) in [("2", "pushrods", "valvegear_ohv"), ("tray B", "fan bolts", "")] {
        let form = [("part", part), ("bag", bag), ("stage", stage)];
        assert_eq!(shop.post_form(&tell, &form).await.0.status(), StatusCode::SEE_OTHER);
    }
    let board = page("bags").await;
    assert!(board.contains("name=\"bag\" value=\"3\"") && board.contains("Out: 3 bags"));
    let places: Vec<usize> =
        ["tray B", "2", "1"].map(|bag| board.find(&format!("data-bag=\"{bag}\"")).unwrap()).to_vec();
    assert!(places.is_sorted(), "what came off last stands first");
    let first = words_of(cell_of(&board, "1"));
    for says in ["Head to block, bolts 2, 4", "2 pieces", "Each back to its own place", "Head on"] {
        assert!(first.contains(says), "{says}: {first}");
    }
    assert!(words_of(cell_of(&board, "tray B")).contains("No stage of the build asks for it"));

    // A photo of what lies in a bag stands in its cell.
    let photo = [("entry", key(7)), ("caption", "Pushrods as they stood".to_owned()), ("bag", "2".to_owned())];
    let photo: Vec<(&str, &str)> = photo.iter().map(|(k, v)| (*k, v.as_str())).collect();
    let (status, said) = shop.queued_file(&at("photos"), &photo, ("photo", "rods.png", PNG)).await;
    assert_eq!(status, StatusCode::OK, "{said}");
    assert!(cell_of(&page("bags").await, "2").contains("Pushrods as they stood"));

    // Build asks each back at its stage; what no stage asks for stands above them.
    let build = page("build").await;
    let stage = |page: &str, id: &str| {
        let rest = page.split_once(&format!("data-stage=\"{id}\"")).unwrap().1.to_owned();
        rest.split("data-stage=").next().unwrap().to_owned()
    };
    let head = stage(&build, "head_fit");
    assert!(head.contains("data-bag=\"1\"") && head.contains("1 bag out") && !head.contains("data-bag=\"2\""));
    assert!(stage(&build, "valvegear_ohv").contains("data-bag=\"2\""));
    assert!(!stage(&build, "block_ready").contains("data-bag"));
    let above = build.split("data-stage=").next().unwrap();
    assert!(above.contains("3 bags are out") && above.contains("data-bag=\"tray B\""), "{}", words_of(above));
    for rest in ["prove", "hand-back"] {
        assert!(words_of(&page(rest).await).contains("3 bags not emptied"), "{rest}");
    }
    let empty = at("tell/bag-emptied");
    let build_page = at("build");
    let end = |bag: &'static str, how: &'static str, words: &'static str| {
        [("back", build_page.clone()), ("bag", bag.to_owned()), ("how", how.to_owned()), ("words", words.to_owned())]
    };
    let send = async |form: [(&str, String); 4]| {
        let form: Vec<(&str, &str)> = form.iter().map(|(k, v)| (*k, v.as_str())).collect();
        shop.post_form(&empty, &form).await
    };
    let (answer, said) = send(end("2", "something-wrong", "")).await;
    assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY);
    assert!(words_of(&said).contains("what is missing or damaged"), "{}", words_of(&said));
    let (answer, said) = send(end("9", "back-in", "")).await;
    assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY, "{}", words_of(&said));
    assert!(words_of(&said).contains("the bags are 1, 2, tray B"), "{}", words_of(&said));
    for form in [end("2", "something-wrong", "exhaust 3 is bent"), end("1", "not-used", "new ones went in")] {
        let (answer, said) = send(form).await;
        assert_eq!(answer.status(), StatusCode::SEE_OTHER, "{}", words_of(&said));
    }
    let build = page("build").await;
    assert!(words_of(&stage(&build, "head_fit")).contains("Not used again : new ones went in"));
    assert!(words_of(cell_of(&build, "2")).contains("Something missing or damaged : exhaust 3 is bent"));
    for bag in ["2", "tray B"] {
        assert_eq!(send(end(bag, "back-in", "")).await.0.status(), StatusCode::SEE_OTHER);
    }
    let board = page("bags").await;
    assert!(
        board.contains("Out: 0 bags") && board.contains("Emptied: 3 bags") && board.contains("Every bag is emptied")
    );
    assert!(!page("hand-back").await.contains("not emptied"));
}

/// A phone that was out of reach sends a bag and what became of it; each is kept once, however often it comes.
#[tokio::test(flavor = "multi_thread")]
async fn bags_that_waited_on_a_phone_come_in_once() {
    let shop = Shop::after(10).await;
    let at = |rest: &str| format!("/jobs/{}/{rest}", shop.job);
    let (_, ahead) = shop.get(&at("offline.json")).await;
    assert!(ahead.contains(&at("bags")), "the board is fetched ahead");
    let (filled, emptied) = (key(1), key(2));
    let fill = [("entry", filled.as_str()), ("part", "cover bolts"), ("bag", "1"), ("joint", "cover")];
    let empty = [("entry", emptied.as_str()), ("bag", "1"), ("how", "back-in"), ("stage", "covers")];
    let before = shop.entries().await;
    for _ in 0..2 {
        for (kind, form) in [("part-bagged", &fill), ("bag-emptied", &empty)] {
            let (status, said) = shop.queued(&at(&format!("tell/{kind}")), "Ansel", form).await;
            assert_eq!((status, &said["kept"]), (StatusCode::OK, &json!(true)), "{kind}: {said}");
        }
    }
    assert_eq!(shop.entries().await, before + 2);
    assert!(shop.get(&at("bags")).await.1.contains("Emptied: 1 bag"));
}

const PRICES: &str = "\
Article;Net;Core;Lead time
Head gasket, layered steel, 1.2 mm;61,50;;2-4
Head, reconditioned, with seats and guides;742,00;180,00;5 to 8
Sump plug;1,10;;1
";

impl Shop {
    /// Gives a price list with what is said beside it.
    async fn list(&self, fields: &[(&str, &str)]) -> (Response<()>, String) {
        let mut body = String::new();
        for (name, text) in fields {
            let file = if *name == "file" { "; filename=\"list.csv\"" } else { "" };
            body.push_str(&format!("--cut\r\ncontent-disposition: form-data; name=\"{name}\"{file}\r\n\r\n{text}\r\n"));
        }
        body.push_str("--cut--\r\n");
        let request = Request::post(format!("/jobs/{}/price-list", self.job))
            .header(header::HOST, HERE)
            .header("sec-fetch-site", "same-origin")
            .header(header::CONTENT_TYPE, "multipart/form-data; boundary=cut")
            .body(Body::from(body));
        self.send(request.unwrap()).await
    }

    /// How many quotes the job has.
    async fn quotes(&self) -> usize {
        let entries = self.store.entries_of(self.job.parse().unwrap()).await.unwrap();
        entries.iter().filter(|e| e.line.contains("\"kind\":\"quote-received\"")).count()
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_price_list_is_looked_at_on_the_bench_and_then_kept_once() {
    let shop = Shop::told(STORY, 12).await;
    let (answer, page) = shop.get(&format!("/jobs/{}/price-list", shop.job)).await;
    assert_eq!(answer.status(), StatusCode::OK);
    assert!(page.contains("type=\"file\""));
    // Nothing says whose list it is: asked by the label of the field, and what was given is still there.
    let takes = [("take.0.need", "head_gasket"), ("take.0.words", "layered")];
    let (answer, page) = shop.list(&[&[("file", PRICES)], takes.as_slice()].concat()).await;
    assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY);
    let said = words_of(&page);
    assert!(said.contains("say it under *Whose list it is*") && !said.contains("--supplier"), "{said}");
    assert!(
        page.contains("Head gasket, layered steel") && page.contains("value=\"layered\""),
        "what was given is there"
    );
    let told = [
        ("text", PRICES),
        ("supplier", "Hollin Parts"),
        ("take.0.need", "head_gasket"),
        ("take.0.words", "layered"),
        ("take.1.need", "head_exchange_fit"),
        ("take.1.words", "reconditioned"),
    ];
    let before = shop.quotes().await;
    let (answer, page) = shop.list(&told).await;
    assert_eq!(answer.status(), StatusCode::OK, "{}", words_of(&page));
    let said = words_of(&page);
    assert!(said.contains("2 quotes would be kept") && said.contains("1 row is for no need"), "{said}");
    assert_eq!(shop.quotes().await, before, "to look keeps nothing");
    let ids: Vec<String> = (0..2)
        .map(|n| {
            let from = page.split(&format!("name=\"entry.{n}\" value=\"")).nth(1).unwrap();
            from.split('"').next().unwrap().to_owned()
        })
        .collect();
    let mut keep = told.to_vec();
    keep.extend([("entry.0", ids[0].as_str()), ("entry.1", ids[1].as_str()), ("step", "keep")]);
    for _ in 0..2 {
        let (answer, page) = shop.list(&keep).await;
        assert_eq!(answer.status(), StatusCode::SEE_OTHER, "{}", words_of(&page));
        assert_eq!(shop.quotes().await, before + 2, "a second touch keeps nothing twice");
    }
    let (_, page) = shop.get(&format!("/jobs/{}/order", shop.job)).await;
    assert!(words_of(&page).contains("Hollin Parts"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_residue_is_looked_up_by_where_it_was_found_and_ends_in_the_next_check() {
    let shop = Shop::told(STORY, 1).await;
    let known = Knowledge::builtin().unwrap();
    let (answer, all) = shop.get("/residues").await;
    assert_eq!(answer.status(), StatusCode::OK);
    let (answer, at_plugs) = shop.get("/residues?place=plug").await;
    assert_eq!(answer.status(), StatusCode::OK);
    for residue in &known.residues {
        let section = format!("id=\"{}\"", residue.id);
        assert!(all.contains(&section), "{}", residue.id);
        assert_eq!(at_plugs.contains(&section), residue.places.iter().any(|p| p == "plug"), "{}", residue.id);
        for next in &residue.next {
            let check = known.check(next).expect("a check");
            assert!(words_of(&all).to_lowercase().contains(&check.name.to_lowercase()), "{}: {next}", residue.id);
        }
    }
    // Whoever tries a solvent or the check after it reads its caution first.
    let acid = known.cautions.iter().find(|c| c.id == "acid-and-caustic").expect("the caution");
    assert!(words_of(&at_plugs).contains(&acid.text));
    let (answer, page) = shop.get("/residues?place=moon").await;
    assert_eq!(answer.status(), StatusCode::NOT_FOUND);
    assert!(page.contains("moon"), "{}", words_of(&page));
}

#[tokio::test(flavor = "multi_thread")]
async fn every_text_says_how_it_was_read_and_what_rests_on_it() {
    let shop = Shop::told(STORY, 1).await;
    let known = Knowledge::builtin().unwrap();
    let (answer, page) = shop.get("/sources").await;
    assert_eq!(answer.status(), StatusCode::OK);
    for text in &known.sources {
        assert!(page.contains(&format!("id=\"text-{}\"", text.id)), "{}", text.id);
    }
    let things = known.all_tagged();
    let memory =
        things.iter().flat_map(|t| &t.tags).filter(|t| t.source.kind == knowledge::SourceKind::FromMemory).count();
    assert!(words_of(&page).contains(&format!("{memory} from memory")), "{}", words_of(&page));
}
