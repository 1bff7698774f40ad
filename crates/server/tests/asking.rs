//! Customer pages at the bench: made and asked, given as a file, answered by their code, void when what they show changes.
#![expect(clippy::unwrap_used, reason = "clippy lets only the tests themselves off, not the functions they share")]

use std::sync::Arc;

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::{Request, Response, StatusCode, header};
use knowledge::Knowledge;
use serde_json::{Value, json};
use server::Bench;
use store::{Opening, SqliteStore, Store};
use tower::ServiceExt;

const STORY: &str = include_str!("../../../cases/0001-tolvane-carrier/story.jsonl");
const HERE: &str = "127.0.0.1:7447";
/// So much of the van's story is told when its cause is named and nothing is chosen.
const CAUSE_NAMED: usize = 119;

/// A bench on a new store with the van as it stood after so many lines of its story.
struct Shop {
    app: Router,
    store: SqliteStore,
    job: String,
    _folder: tempfile::TempDir,
}

impl Shop {
    async fn after(lines: usize) -> Shop {
        let folder = tempfile::tempdir().unwrap();
        let store = SqliteStore::open(Opening::of(folder.path().join("record"))).await.unwrap();
        let text: String = STORY.lines().take(lines).map(|l| format!("{l}\n")).collect();
        let entries = logbook::seal_story("van", &logbook::story_from_lines(&text).unwrap()).unwrap();
        store.append(&entries).await.unwrap();
        let job = entries.first().unwrap().job().to_string();
        let bench = Bench::new(store.clone(), Arc::new(Knowledge::builtin().unwrap()), "Ansel");
        Shop { app: server::router(bench), store, job, _folder: folder }
    }

    async fn send(&self, request: Request<Body>) -> (Response<()>, String) {
        let answer = self.app.clone().oneshot(request).await.unwrap();
        let (parts, body) = answer.into_parts();
        let bytes = to_bytes(body, usize::MAX).await.unwrap();
        (Response::from_parts(parts, ()), String::from_utf8_lossy(&bytes).into_owned())
    }

    async fn get(&self, rest: &str) -> (Response<()>, String) {
        let path = if rest.starts_with('/') { rest.to_owned() } else { format!("/jobs/{}/{rest}", self.job) };
        self.send(Request::get(path).header(header::HOST, HERE).body(Body::empty()).unwrap()).await
    }

    async fn post(&self, rest: &str, form: &[(&str, &str)]) -> (Response<()>, String) {
        let escape = |text: &str| -> String { text.bytes().map(|b| format!("%{b:02X}")).collect() };
        let body: Vec<String> = form.iter().map(|(k, v)| format!("{}={}", escape(k), escape(v))).collect();
        let request = Request::post(format!("/jobs/{}/{rest}", self.job))
            .header(header::HOST, HERE)
            .header("sec-fetch-site", "same-origin")
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .body(Body::from(body.join("&")));
        self.send(request.unwrap()).await
    }

    async fn post_entry(&self, n: u8, body: &Value) -> (Response<()>, Value) {
        let key = anatomy::EntryId::from_time_and_chance(1_772_900_000_000 + u64::from(n), [n; 10]).to_string();
        let request = Request::post(format!("/api/1/jobs/{}/entries", self.job))
            .header(header::HOST, HERE)
            .header("idempotency-key", key)
            .header(header::CONTENT_TYPE, "application/json");
        let (answer, text) = self.send(request.body(Body::from(body.to_string())).unwrap()).await;
        (answer, serde_json::from_str(&text).unwrap_or(Value::Null))
    }

    /// The job over HTTP; its work-up is there when this comes back.
    async fn job(&self) -> Value {
        let (_, text) = self.get(&format!("/api/1/jobs/{}", self.job)).await;
        serde_json::from_str(&text).unwrap()
    }

    async fn entries(&self) -> usize {
        self.store.entries_of(self.job.parse().unwrap()).await.unwrap().len()
    }

    /// The last request of the job.
    async fn request(&self) -> Value {
        self.job().await.get("requests").and_then(Value::as_array).and_then(|all| all.last()).unwrap().clone()
    }
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
    out.split_whitespace().collect::<Vec<_>>().join(" ")
}

const QUESTION: [(&str, &str); 2] = [("ceiling", "EUR 2900"), ("answer_by", "2999-01-01")];

fn said<'a>(code: &'a str, answer: &'a str) -> Vec<(&'a str, &'a str)> {
    vec![("code", code), ("answer", answer), ("who", "owner"), ("how", "telephone"), ("words", "Do it, and call me.")]
}

#[tokio::test(flavor = "multi_thread")]
async fn a_page_is_made_given_as_a_file_and_answered_by_its_code() {
    let shop = Shop::after(CAUSE_NAMED).await;
    let before = shop.entries().await;
    let (answer, look) = shop.get("look.html").await;
    assert_eq!((answer.status(), shop.entries().await), (StatusCode::OK, before), "a look asks nothing");
    assert!(look.contains("only a look"));
    let policy = answer.headers().get(header::CONTENT_SECURITY_POLICY).unwrap().to_str().unwrap();
    assert!(policy.contains("sandbox") && !policy.contains("script-src"), "{policy}");

    let (answer, page) = shop.post("page", &QUESTION).await;
    assert_eq!(answer.status(), StatusCode::SEE_OTHER, "{}", words_of(&page));
    assert_eq!(shop.entries().await, before + 1);
    let (answer, _) = shop.post("page", &QUESTION).await;
    assert_eq!(
        (answer.status(), shop.entries().await),
        (StatusCode::SEE_OTHER, before + 1),
        "the same page is asked once"
    );
    let request = shop.request().await;
    assert_eq!(request["standing"]["is"], "open", "{request}");
    let code = request["code"].as_str().unwrap().to_owned();
    let (answer, file) = shop.get(&format!("page/{code}.html")).await;
    assert_eq!(answer.status(), StatusCode::OK, "{}", words_of(&file));
    let disposition = answer.headers().get(header::CONTENT_DISPOSITION).unwrap().to_str().unwrap();
    assert!(disposition.starts_with("attachment") && disposition.contains(&code), "{disposition}");
    assert!(
        file.contains(&code) && file.contains("2999-01-01") && !file.contains("<script") && !file.contains("http://")
    );
    let (_, choose) = shop.get("choose").await;
    let choose = words_of(&choose);
    for part in [code.as_str(), "The customer page as a file", "Code the customer read out", "own devices only"] {
        assert!(choose.contains(part), "{part}: {choose}");
    }
    let (_, wall) = shop.get("/").await;
    assert!(words_of(&wall).contains(&format!("code {code}")), "the wall names what is waited for");
    let (_, found) = shop.get(&format!("/?find={}", code.to_lowercase())).await;
    assert!(words_of(&found).contains("1 job open"), "the wall finds a job by its code");

    // What was typed comes back with what is near it.
    let typed = code.replace('-', "");
    let mut signs: Vec<char> = typed.chars().collect();
    let place = (0..6).find(|n| signs.get(*n) != signs.get(n + 1)).unwrap();
    signs.swap(place, place + 1);
    let swapped: String = signs.into_iter().collect();
    let (answer, page) = shop.post("answer", &said(&swapped, "yes")).await;
    assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY);
    let page = words_of(&page);
    assert!(page.contains(&format!("`{swapped}` is no code")) && page.contains(&code), "{page}");
    let (answer, page) = shop.post("answer", &said("222-222-2", "yes")).await;
    assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY);
    assert!(words_of(&page).contains("no request has the code 222-222-2"), "{}", words_of(&page));
    let (answer, page) = shop.post("answer", &[said(&typed, "yes"), vec![("ceiling", "EUR 2901")]].concat()).await;
    assert_eq!(answer.status(), StatusCode::CONFLICT, "{}", words_of(&page));
    assert!(page.contains("Do it, and call me."), "nothing typed is lost");
    assert_eq!(shop.entries().await, before + 1);

    let (answer, page) = shop.post("answer", &said(&typed.to_lowercase(), "yes")).await;
    assert_eq!(answer.status(), StatusCode::SEE_OTHER, "{}", words_of(&page));
    let job = shop.job().await;
    let yes = job["state"]["approvals"].as_array().unwrap().last().unwrap();
    assert_eq!((&yes["body"]["asked"], &yes["body"]["page"]), (&request["asked"], &request["page"]), "{yes}");
    assert_eq!(yes["body"]["ceiling"]["amount"], "2900.00", "a yes without a sum is a yes to what was asked");
    assert_eq!(shop.request().await["standing"]["is"], "answered");
    let (_, choose) = shop.get("choose").await;
    assert!(choose.contains("What was agreed and what is committed, repair"), "the strip stands under the approval");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_page_whose_price_changed_takes_no_yes_and_wall_and_choose_say_ask_again() {
    let shop = Shop::after(CAUSE_NAMED).await;
    let (answer, page) = shop.post("page", &QUESTION).await;
    assert_eq!(answer.status(), StatusCode::SEE_OTHER, "{}", words_of(&page));
    let request = shop.request().await;
    let code = request["code"].as_str().unwrap().to_owned();
    let rate = json!({"kind": "money-told", "body": {"labour_rate": {"amount": "91.00", "currency": "EUR"}}});
    let (answer, problem) = shop.post_entry(1, &rate).await;
    assert_eq!(answer.status(), StatusCode::CREATED, "{problem}");
    let now = shop.request().await;
    assert_eq!(now["standing"]["is"], "void", "{now}");
    let first = &now["standing"]["changed"][0];
    assert!(first["what"].as_str().unwrap().starts_with("price: ") && first["was"] != first["is"], "{now}");
    let before = shop.entries().await;
    let (answer, page) = shop.post("answer", &said(&code, "yes")).await;
    assert_eq!(answer.status(), StatusCode::CONFLICT);
    let page = words_of(&page);
    for part in ["void", "price: ", "ask again", "make a new page under Choose"] {
        assert!(page.contains(part), "{part}: {page}");
    }
    let yes = json!({"kind": "approval-given", "body": {"covers": "repair", "ceiling": {"amount": "2900.00", "currency": "EUR"},
        "who": "owner", "how": "telephone", "words": "yes", "asked": request["asked"]}});
    let (answer, problem) = shop.post_entry(2, &yes).await;
    assert_eq!(answer.status(), StatusCode::CONFLICT, "{problem}");
    assert!(problem["detail"].as_str().unwrap().contains("void"), "{problem}");
    let (answer, page) = shop.get(&format!("page/{code}.html")).await;
    assert_eq!(answer.status(), StatusCode::CONFLICT, "{}", words_of(&page));
    assert_eq!(shop.entries().await, before);
    let (_, choose) = shop.get("choose").await;
    assert!(words_of(&choose).contains("Ask again: what the page shows has changed."), "{}", words_of(&choose));
    let (_, wall) = shop.get("/").await;
    assert!(words_of(&wall).contains("being asked again for a yes for repair"), "{}", words_of(&wall));
    // Asked again it is another request, and that one takes the yes.
    let (answer, _) = shop.post("page", &QUESTION).await;
    assert_eq!(answer.status(), StatusCode::SEE_OTHER);
    let again = shop.request().await;
    assert_ne!(again["code"], request["code"]);
    let (answer, page) = shop.post("answer", &said(again["code"].as_str().unwrap(), "yes")).await;
    assert_eq!(answer.status(), StatusCode::SEE_OTHER, "{}", words_of(&page));
}

#[tokio::test(flavor = "multi_thread")]
async fn no_page_is_made_while_nobody_answers_for_the_cause_and_a_bad_form_loses_nothing() {
    let shop = Shop::after(CAUSE_NAMED - 1).await;
    let before = shop.entries().await;
    let (answer, page) = shop.post("page", &QUESTION).await;
    assert_eq!(answer.status(), StatusCode::CONFLICT);
    assert!(words_of(&page).contains("why the engine failed is not named"), "{}", words_of(&page));
    let (answer, _) = shop.get("look.html").await;
    assert_eq!(answer.status(), StatusCode::CONFLICT);
    let (answer, _) = shop.post("tell/cause-unknown-signed", &[("by", "Ansel")]).await;
    assert_eq!(answer.status(), StatusCode::SEE_OTHER);
    let (answer, page) = shop.post("page", &[("ceiling", "much"), ("words", "May we, then?")]).await;
    assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY);
    assert!(page.contains("much") && page.contains("May we, then?"), "nothing typed is lost");
    let (answer, page) = shop.post("page", &[("ceiling", "EUR 2900"), ("answer_by", "1999-01-01")]).await;
    assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY, "{}", words_of(&page));
    assert_eq!(shop.entries().await, before + 1);
    let (answer, look) = shop.get("look.html").await;
    assert_eq!(answer.status(), StatusCode::OK);
    assert!(look.contains("Ansel signs for that"), "the signature is printed");
}
