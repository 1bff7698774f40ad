//! Two shops on one record: each with a bench of its own, both on the same PostgreSQL server.
#![expect(clippy::unwrap_used, reason = "clippy lets only the tests themselves off, not the functions they share")]

#[path = "../../store/tests/postgres_server/mod.rs"]
mod postgres_server;

use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::{Request, StatusCode, header};
use futures_util::StreamExt;
use knowledge::Knowledge;
use postgres_server::{OWNER, Server};
use serde_json::{Value, json};
use server::Bench;
use store::postgres::WRITING_LOCK;
use store::{PgOpening, PgStore, Store};
use tower::ServiceExt;

const HERE: &str = "127.0.0.1:7447";

/// A shop on the record of a database.
struct Shop {
    app: Router,
    store: PgStore,
}

impl Shop {
    async fn on(server: &Server, database: &str) -> Shop {
        let address = server.address(database, OWNER).parse().unwrap();
        let store = PgStore::open(PgOpening::of(address)).await.unwrap();
        let bench = Bench::new(store.clone(), Arc::new(Knowledge::builtin().unwrap()), "Ansel");
        Shop { app: server::router(bench), store }
    }

    async fn send(&self, request: Request<Body>) -> (StatusCode, String, String) {
        let answer = self.app.clone().oneshot(request).await.unwrap();
        let to = answer.headers().get(header::LOCATION).map(|to| to.to_str().unwrap().to_owned()).unwrap_or_default();
        let status = answer.status();
        let bytes = to_bytes(answer.into_body(), usize::MAX).await.unwrap();
        (status, to, String::from_utf8_lossy(&bytes).into_owned())
    }

    async fn get(&self, path: &str) -> (StatusCode, String) {
        let (status, _, text) =
            self.send(Request::get(path).header(header::HOST, HERE).body(Body::empty()).unwrap()).await;
        (status, text)
    }

    /// Sends a form as a browser does.
    async fn form(&self, path: &str, form: &str) -> (StatusCode, String, String) {
        let request = Request::post(path)
            .header(header::HOST, HERE)
            .header("sec-fetch-site", "same-origin")
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .body(Body::from(form.to_owned()));
        self.send(request.unwrap()).await
    }

    /// Opens a job and gives its id.
    async fn opens(&self, title: &str) -> String {
        let (status, to, page) = self.form("/jobs", &format!("title={title}")).await;
        assert_eq!(status, StatusCode::SEE_OTHER, "{page}");
        to.split('/').nth(2).unwrap().to_owned()
    }

    async fn post(&self, job: &str, n: u8, body: &Value) -> (StatusCode, String) {
        let key = anatomy::EntryId::from_time_and_chance(1_772_000_000_000 + u64::from(n), [n; 10]).to_string();
        let request = Request::post(format!("/api/1/jobs/{job}/entries"))
            .header(header::HOST, HERE)
            .header("idempotency-key", key)
            .header(header::CONTENT_TYPE, "application/json")
            .body(Body::from(body.to_string()));
        let (status, _, text) = self.send(request.unwrap()).await;
        (status, text)
    }

    /// The stream of a page that is open on a job.
    async fn listens(&self, job: &str) -> axum::body::BodyDataStream {
        let request = Request::get(format!("/jobs/{job}/live")).header(header::HOST, HERE);
        let answer = self.app.clone().oneshot(request.body(Body::empty()).unwrap()).await.unwrap();
        assert_eq!(answer.status(), StatusCode::OK);
        answer.into_body().into_data_stream()
    }
}

fn complaint(words: &str) -> Value {
    json!({"kind": "complaint-heard", "body": {"words": words}})
}

fn note(text: &str) -> Value {
    json!({"kind": "note-written", "body": {"text": text}})
}

/// Reads a stream for at most so long, or until it has said something so often.
async fn heard(stream: &mut axum::body::BodyDataStream, what: &str, times: usize, longest: Duration) -> String {
    let mut heard = String::new();
    let listening = async {
        while heard.matches(what).count() < times {
            let Some(next) = stream.next().await else { return };
            heard.push_str(&String::from_utf8_lossy(&next.unwrap()));
        }
    };
    let _in_time = tokio::time::timeout(longest, listening).await;
    heard
}

#[tokio::test(flavor = "multi_thread")]
async fn what_one_shop_keeps_the_other_one_shows() {
    let server = Server::shared();
    let database = server.database();
    let (harbour, hillside) = (Shop::on(server, &database).await, Shop::on(server, &database).await);
    let job = harbour.opens("Ostrand%20van").await;
    let layout = json!({"arrangement": "inline", "cylinders": 4, "fuel": "petrol", "valve_gear": "twin-cam"});
    let (status, said) = hillside.post(&job, 1, &json!({"kind": "engine-described", "body": {"layout": layout}})).await;
    assert_eq!(status, StatusCode::CREATED, "{said}");
    let (status, said) = harbour.post(&job, 2, &complaint("oil like milk under the cap")).await;
    assert_eq!(status, StatusCode::CREATED, "{said}");
    // A device that heard no answer asks at the other shop's bench.
    let (status, said) = hillside.post(&job, 2, &complaint("oil like milk under the cap")).await;
    assert!(status.is_success(), "{status}: {said}");
    let (status, said) = hillside.post(&job, 2, &complaint("other words")).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{said}");
    for shop in [&harbour, &hillside] {
        let (status, page) = shop.get(&format!("/jobs/{job}/hear")).await;
        assert_eq!(status, StatusCode::OK);
        assert!(page.contains("oil like milk under the cap"), "the page of the other shop has it too");
        assert!(shop.get("/").await.1.contains("Ostrand van"));
    }
    assert_eq!(harbour.store.entries_of(job.parse().unwrap()).await.unwrap().len(), 3);
    let picture = harbour.store.keep_attachment(b"\x89PNG\x0d\x0a\x1a\x0a".to_vec(), "image/png").await.unwrap();
    let (status, _) = hillside.get(&format!("/attachments/{}", picture.id)).await;
    assert_eq!(status, StatusCode::OK);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_page_that_is_open_in_one_shop_hears_of_the_other_one_and_of_its_own_once() {
    let server = Server::shared();
    let database = server.database();
    let (harbour, hillside) = (Shop::on(server, &database).await, Shop::on(server, &database).await);
    let job = harbour.opens("Ostrand%20van").await;
    let other = harbour.opens("Fennmouth%20tug").await;
    let (mut here, mut there) = (harbour.listens(&job).await, hillside.listens(&job).await);
    // Whoever follows has marked where it begins by then.
    tokio::time::sleep(Duration::from_millis(500)).await;
    hillside.post(&other, 1, &note("of another job")).await;
    harbour.post(&job, 2, &note("first")).await;
    // On a busy machine the follower begins so early that it hears of the opening too.
    let at_hillside = heard(&mut there, "note-written", 1, Duration::from_secs(20)).await;
    assert!(at_hillside.contains("note-written"), "{at_hillside}");
    harbour.post(&job, 3, &note("second")).await;
    let at_harbour = heard(&mut here, "event: kept", 3, Duration::from_secs(5)).await;
    assert_eq!(at_harbour.matches("event: kept").count(), 2, "what a bench keeps by itself is told once: {at_harbour}");
    let at_hillside = heard(&mut there, "note-written", 1, Duration::from_secs(20)).await;
    assert!(at_hillside.contains("note-written"), "{at_hillside}");
}

/// How many hold the lock of whoever writes, or wait for it.
fn at_the_lock(server: &Server, database: &str, granted: bool) -> String {
    let not = if granted { "" } else { "NOT " };
    server.sql(
        database,
        &format!(
            "SELECT count(*) FROM pg_locks WHERE locktype = 'advisory' AND objid = {WRITING_LOCK} AND {not}granted \
             AND database = (SELECT oid FROM pg_database WHERE datname = current_database())"
        ),
    )
}

/// Takes the lock, so that whoever comes waits with what was judged before.
async fn hold(server: &Server, database: &str) -> std::process::Child {
    let sql = format!("SELECT pg_advisory_lock({WRITING_LOCK}); SELECT pg_sleep(60)");
    let holder = server.psql_command(database, OWNER, &sql).spawn().unwrap();
    while at_the_lock(server, database, true) != "1" {
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    holder
}

/// Comes back when so many wait for the lock.
async fn waiting(server: &Server, database: &str, many: usize) {
    while at_the_lock(server, database, false) != many.to_string() {
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
}

fn let_go(server: &Server, database: &str) {
    server.sql(
        database,
        "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = current_database() \
         AND pid <> pg_backend_pid() AND query LIKE '%pg_sleep(60)%'",
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_yes_to_a_page_that_another_shop_voids_while_it_is_kept_is_not_kept() {
    const STORY: &str = include_str!("../../../cases/0001-tolvane-carrier/story.jsonl");
    let server = Server::shared();
    let database = server.database();
    let (harbour, hillside) = (Shop::on(server, &database).await, Shop::on(server, &database).await);
    // The van with its cause named and nothing chosen.
    let told: String = STORY.lines().take(119).map(|line| format!("{line}\n")).collect();
    let entries = logbook::seal_story("van", &logbook::story_from_lines(&told).unwrap()).unwrap();
    harbour.store.append(&entries).await.unwrap();
    let job = entries.first().unwrap().job().to_string();
    let question = "ceiling=EUR+2900&answer_by=2999-01-01";
    let (status, _, page) = harbour.form(&format!("/jobs/{job}/page"), question).await;
    assert_eq!(status, StatusCode::SEE_OTHER, "{page}");
    // The work-up of the chain as it is now is there when this comes back, so that the yes waits for nothing but the lock.
    let (_, read) = harbour.get(&format!("/api/1/jobs/{job}")).await;
    let read: Value = serde_json::from_str(&read).unwrap();
    let request = read["requests"].as_array().unwrap().last().unwrap();
    assert_eq!(request["standing"]["is"], "open", "{request}");
    let code = request["code"].as_str().unwrap();
    let yes = format!("code={code}&answer=yes&who=owner&how=telephone&words=Do+it,+and+call+me.");
    let rate = json!({"kind": "money-told", "body": {"labour_rate": {"amount": "91.00", "currency": "EUR"}}});
    let (before, answering) = (entries.len() + 1, format!("/jobs/{job}/answer"));
    let mut holder = hold(server, &database).await;
    // The price comes to the lock first; the yes was judged before it was kept.
    let (changed, answered, ()) = tokio::join!(
        hillside.post(&job, 1, &rate),
        async {
            waiting(server, &database, 1).await;
            harbour.form(&answering, &yes).await
        },
        async {
            waiting(server, &database, 2).await;
            let_go(server, &database);
        }
    );
    holder.wait().unwrap();
    assert_eq!(changed.0, StatusCode::CREATED, "{}", changed.1);
    assert_eq!(answered.0, StatusCode::CONFLICT, "{}", answered.2);
    assert!(answered.2.contains("ask again"), "{}", answered.2);
    assert_eq!(harbour.store.entries_of(job.parse().unwrap()).await.unwrap().len(), before + 1, "the price alone");
}

#[tokio::test(flavor = "multi_thread")]
async fn two_orders_at_once_in_two_shops_do_not_pass_the_ceiling_together() {
    let server = Server::shared();
    let database = server.database();
    let (harbour, hillside) = (Shop::on(server, &database).await, Shop::on(server, &database).await);
    let eur = |amount: &str| json!({"amount": amount, "currency": "EUR"});
    let job = harbour.opens("Ostrand%20van").await;
    let yes =
        json!({"covers": "repair", "ceiling": eur("1000.00"), "who": "owner", "how": "telephone", "words": "yes"});
    let (status, said) = harbour.post(&job, 1, &json!({"kind": "approval-given", "body": yes})).await;
    assert_eq!(status, StatusCode::CREATED, "{said}");
    let order = |from: &str| {
        json!({"kind": "part-ordered", "body":
        {"part": "head", "supplier": from, "quantity": 1, "price": eur("600.00")}})
    };
    // Nobody writes while this one holds the lock: both orders are judged by the job as it stands now.
    let mut holder = hold(server, &database).await;
    let (fennmouth, quayside) = (order("Fennmouth"), order("Quayside"));
    let (one, other, ()) = tokio::join!(harbour.post(&job, 2, &fennmouth), hillside.post(&job, 3, &quayside), async {
        waiting(server, &database, 2).await;
        let_go(server, &database);
    });
    holder.wait().unwrap();
    let mut both = [one, other];
    both.sort_by_key(|(status, _)| *status);
    assert_eq!((both[0].0, both[1].0), (StatusCode::CREATED, StatusCode::CONFLICT), "{} {}", both[0].1, both[1].1);
    assert!(both[1].1.contains("EUR 1,200.00") && both[1].1.contains("EUR 1,000.00"), "{}", both[1].1);
    let (_, read) = hillside.get(&format!("/api/1/jobs/{job}")).await;
    let read: Value = serde_json::from_str(&read).unwrap();
    assert_eq!(read["committed"][0]["used"], eur("600.00"), "{}", read["committed"]);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_server_that_is_away_is_said_on_page_and_wire_and_work_goes_on_when_it_is_back() {
    let mut server = Server::start(&[]);
    let database = server.database();
    let address = server.address(&database, OWNER).parse().unwrap();
    let store = PgStore::open(PgOpening::of(address).patient_for(Duration::from_secs(3))).await.unwrap();
    let bench = Bench::new(store.clone(), Arc::new(Knowledge::builtin().unwrap()), "Ansel");
    let shop = Shop { app: server::router(bench), store };
    let job = shop.opens("Ostrand%20van").await;
    let server = tokio::task::spawn_blocking(move || {
        server.kill();
        server
    });
    let mut server = server.await.unwrap();
    let (status, said) = shop.post(&job, 1, &note("nobody hears it")).await;
    assert_eq!(status, StatusCode::SERVICE_UNAVAILABLE, "{said}");
    assert!(said.contains("look whether the server runs"), "{said}");
    let (status, page) = shop.get(&format!("/jobs/{job}")).await;
    assert!(status == StatusCode::SERVICE_UNAVAILABLE && page.contains("look whether the server runs"), "{page}");
    let back = tokio::task::spawn_blocking(move || {
        server.up();
        server
    });
    let _server = back.await.unwrap();
    let (status, said) = shop.post(&job, 1, &note("nobody hears it")).await;
    assert_eq!(status, StatusCode::CREATED, "{said}");
    assert_eq!(shop.store.entries_of(job.parse().unwrap()).await.unwrap().len(), 2);
}
