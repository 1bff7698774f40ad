//! Every route of the description of the HTTP interface, and every page, is sent requests that nobody would send on purpose: none is
//! answered with a fault of ours, none takes long, each refusal over the wire is a problem document, and what was said to be kept is
//! in the record.
#![expect(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "clippy lets only the tests themselves off, not the functions they share"
)]

use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::{HeaderMap, HeaderValue, Request, StatusCode, header};
use knowledge::Knowledge;
use serde_json::{Value, json};
use server::Bench;
use store::{Opening, SqliteStore, Store};
use tower::ServiceExt;

const STORY: &str = include_str!("../../cases/0001-tolvane-carrier/story.jsonl");
const HERE: &str = "127.0.0.1:7447";
/// Requests for each route \[ours\]; the variable says another number.
const REQUESTS: u64 = 200;
const HOW_MANY: &str = "WITNESSMARK_FUZZ_REQUESTS";
/// How long an answer may take.
const LONGEST: Duration = Duration::from_secs(5);

/// Numbers from a seed.
struct Chance(u64);

impl Chance {
    /// Source: `SplitMix64`, Steele, Lea and Flood 2014 \[published\].
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    fn below(&mut self, n: usize) -> usize {
        usize::try_from(self.next() % u64::try_from(n.max(1)).unwrap()).unwrap()
    }

    fn one_in(&mut self, n: usize) -> bool {
        self.below(n) == 0
    }

    fn of<'l, T: ?Sized>(&mut self, list: &[&'l T]) -> &'l T {
        list[self.below(list.len())]
    }
}

/// Texts that mean something somewhere.
const TEXTS: &[&str] = &[
    "",
    " ",
    "0",
    "-1",
    "1",
    "3",
    "1e308",
    "1e-320",
    "NaN",
    "inf",
    "-0",
    "999999999999999999999999",
    "88 mm",
    "88mm±0.01mm",
    "1,234 mm",
    "7 thou",
    "6.1 bar",
    "1;2;3;4",
    "0 0; 1 1; 2 2",
    "a,b\n1,2\n3,4",
    "EUR 12.50",
    "12",
    "50 %",
    "20 °C",
    "1/0",
    "½ in",
    "cyl-1",
    "cyl-99",
    "engine",
    "bank-a",
    "yes",
    "no",
    "true",
    "null",
    "{}",
    "[]",
    "\"",
    "'",
    "<script>",
    "&amp;",
    "../../etc",
    "\0",
    "\n",
    "\r\nX: y",
    "\u{1b}[31m",
    "\u{202e}",
    "é",
    "ß",
    "İ",
    "😀",
    "2026-03-14",
    "2026-02-30",
    "-9999-01-01",
    "9999-12-31T23:59:59Z",
    "019c8d12-3456-7abc-8def-0123456789ab",
    "00000000-0000-0000-0000-000000000000",
    "test",
    "compression",
    "cylinder_pressure",
    "note-written",
    "reading-taken",
    "job-opened",
];

fn text(chance: &mut Chance) -> String {
    match chance.below(12) {
        0 => chance.of(TEXTS).repeat(1 + chance.below(400)),
        1 => format!("{}{}", chance.of(TEXTS), chance.of(TEXTS)),
        2 => (0..chance.below(40))
            .filter_map(|_| char::from_u32(u32::try_from(chance.below(0x0011_0000)).unwrap()))
            .collect(),
        3 => format!("{}", f64::from_bits(chance.next())),
        _ => chance.of(TEXTS).to_owned(),
    }
}

fn json(chance: &mut Chance, deep: usize) -> Value {
    match chance.below(if deep > 4 { 5 } else { 8 }) {
        0 => Value::Null,
        1 => Value::Bool(chance.one_in(2)),
        2 => json!(f64::from_bits(chance.next())),
        3 => json!(chance.next()),
        4 => Value::from(text(chance)),
        5 | 6 => (0..chance.below(4)).map(|_| json(chance, deep + 1)).collect(),
        _ => Value::Object((0..chance.below(4)).map(|_| (text(chance), json(chance, deep + 1))).collect()),
    }
}

/// A value with one thing in it changed.
fn spoilt(chance: &mut Chance, value: &mut Value) {
    match value {
        Value::Object(map) if !map.is_empty() && !chance.one_in(5) => {
            let key = map.keys().nth(chance.below(map.len())).unwrap().clone();
            if chance.one_in(4) {
                map.remove(&key);
            } else if chance.one_in(6) {
                map.insert(text(chance), json(chance, 2));
            } else {
                spoilt(chance, map.get_mut(&key).unwrap());
            }
        }
        Value::Array(list) if !list.is_empty() && !chance.one_in(3) => {
            let at = chance.below(list.len());
            if chance.one_in(3) {
                let again = list[at].clone();
                list.extend(std::iter::repeat_n(again, 1 + chance.below(30)));
            } else {
                spoilt(chance, &mut list[at]);
            }
        }
        Value::String(_) if !chance.one_in(3) => *value = Value::from(text(chance)),
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) | Value::Array(_) | Value::Object(_) => {
            *value = json(chance, 2);
        }
    }
}

/// A value of a form, as far as the description gives it.
fn of_form(chance: &mut Chance, whole: &Value, form: &Value, deep: usize) -> Value {
    if let Some(named) = form.get("$ref").and_then(Value::as_str) {
        let there = whole.pointer(named.trim_start_matches('#')).unwrap_or(&Value::Null);
        return if deep > 8 { Value::Null } else { of_form(chance, whole, there, deep + 1) };
    }
    if let Some(list) = form.get("enum").and_then(Value::as_array) {
        return list[chance.below(list.len())].clone();
    }
    let kind = match form.get("type") {
        Some(Value::String(kind)) => kind.as_str(),
        Some(Value::Array(kinds)) => kinds[chance.below(kinds.len())].as_str().unwrap_or("null"),
        _ => "object",
    };
    match kind {
        "string" if form.get("format").is_some_and(|f| f == "uuid") => Value::from(key(chance)),
        "string" if form.get("format").is_some_and(|f| f == "date") => Value::from("2026-03-14"),
        "string" => Value::from(text(chance)),
        "integer" | "number" => json!(chance.below(100)),
        "boolean" => Value::Bool(chance.one_in(2)),
        "array" => {
            let of = form.get("items").unwrap_or(&Value::Null);
            (0..chance.below(4)).map(|_| of_form(chance, whole, of, deep + 1)).collect()
        }
        "null" => Value::Null,
        _ => {
            let parts = form.get("properties").and_then(Value::as_object);
            let needed = |name: &str| {
                form.get("required").and_then(Value::as_array).is_some_and(|list| list.iter().any(|n| n == name))
            };
            let mut map = serde_json::Map::new();
            for (name, part) in parts.into_iter().flatten() {
                if needed(name) || chance.one_in(2) {
                    map.insert(name.clone(), of_form(chance, whole, part, deep + 1));
                }
            }
            Value::Object(map)
        }
    }
}

fn key(chance: &mut Chance) -> String {
    let random: Vec<u8> = (0..10).map(|_| u8::try_from(chance.below(256)).unwrap()).collect();
    let time = 1_772_000_000_000 + chance.next() % 1_000_000_000;
    anatomy::EntryId::from_time_and_chance(time, random.try_into().unwrap()).to_string()
}

fn escaped(text: &str) -> String {
    text.bytes()
        .map(|b| if b.is_ascii_alphanumeric() { char::from(b).to_string() } else { format!("%{b:02X}") })
        .collect()
}

/// A part of a path that is no id of a job.
fn part(chance: &mut Chance) -> String {
    match chance.below(8) {
        0 => "%FF%FE".to_owned(),
        1 => "%".to_owned(),
        2 => "%2e%2e%2f%2e%2e".to_owned(),
        3 => key(chance),
        4 => "a".repeat(1 + chance.below(5_000)),
        _ => match escaped(&text(chance)) {
            empty if empty.is_empty() => "%20".to_owned(),
            part => part,
        },
    }
}

struct Shop {
    app: Router,
    store: SqliteStore,
    job: String,
    bodies: Vec<(String, Value)>,
    _folder: tempfile::TempDir,
}

impl Shop {
    async fn after(lines: usize) -> Shop {
        let folder = tempfile::tempdir().unwrap();
        let store = SqliteStore::open(Opening::of(folder.path().join("record"))).await.unwrap();
        let told = logbook::story_from_lines(STORY).unwrap();
        let all = logbook::seal_story("van", &told).unwrap();
        store.append(&all[..lines]).await.unwrap();
        let job = all[0].job().to_string();
        let bodies = all.iter().map(|e| (e.kind().to_owned(), e.body().clone())).collect();
        let bench = Bench::new(store.clone(), Arc::new(Knowledge::builtin().unwrap()), "Ansel");
        Shop { app: server::router(bench), store, job, bodies, _folder: folder }
    }

    /// Sends a request and sees that its answer is one that may be given; gives status, headers and body.
    async fn send(&self, request: Request<Body>, what: &str) -> (StatusCode, HeaderMap, Vec<u8>) {
        let shown = format!("{what}: {} {}\n{:?}", request.method(), request.uri(), request.headers());
        let shown: String = shown.chars().take(3_000).collect();
        let app = self.app.clone();
        let answering = tokio::spawn(async move {
            let answer = app.oneshot(request).await.unwrap();
            let (parts, body) = answer.into_parts();
            // Live pages never end.
            let lives = parts.headers.get(header::CONTENT_TYPE).is_some_and(|t| t == "text/event-stream");
            let body = if lives { Vec::new() } else { to_bytes(body, usize::MAX).await.unwrap().to_vec() };
            (parts.status, parts.headers, body)
        });
        let Ok(answer) = tokio::time::timeout(LONGEST, answering).await else { panic!("no answer in time\n{shown}") };
        let Ok((status, headers, body)) = answer else { panic!("a panic\n{shown}") };
        let said = String::from_utf8_lossy(&body).into_owned();
        let said: String = said.chars().take(2_000).collect();
        assert!(status.as_u16() < 500, "{status}\n{shown}\n{said}");
        (status, headers, body)
    }

    /// The same over the wire: a refusal is a problem document, all else is JSON.
    async fn send_api(&self, request: Request<Body>, what: &str) -> StatusCode {
        let shown: String = format!("{what}: {} {}", request.method(), request.uri()).chars().take(2_000).collect();
        let (status, headers, body) = self.send(request, what).await;
        let kind = headers.get(header::CONTENT_TYPE).map_or("", |k| k.to_str().unwrap());
        let said = String::from_utf8_lossy(&body);
        if status.is_client_error() {
            assert_eq!(kind, "application/problem+json", "{status}\n{shown}\n{said}");
            let problem: Value = serde_json::from_slice(&body).unwrap();
            let is_text =
                |name: &str| problem.get(name).and_then(Value::as_str).is_some_and(|text| !text.trim().is_empty());
            assert!(is_text("title"), "{shown}\n{said}");
            assert_eq!(problem.get("status"), Some(&json!(status.as_u16())), "{shown}\n{said}");
        } else {
            assert!(serde_json::from_slice::<Value>(&body).is_ok(), "{shown}\n{said}");
        }
        status
    }

    async fn entries(&self) -> usize {
        self.store.entries_after(0, 1_000_000).await.unwrap().len()
    }

    /// A request to a route of the description.
    fn request(
        &self,
        chance: &mut Chance,
        whole: &Value,
        path: &str,
        method: &str,
        told: &Value,
    ) -> (Request<Body>, String) {
        let mut address = String::new();
        for (n, piece) in path.split('/').enumerate() {
            if n > 0 {
                address.push('/');
            }
            match piece.starts_with('{') {
                true if chance.one_in(4) => address.push_str(&part(chance)),
                true => address.push_str(&self.job),
                false => address.push_str(piece),
            }
        }
        let mut pairs = Vec::new();
        let mut headers = Vec::new();
        let parameters = told.get("parameters").and_then(Value::as_array).map(Vec::as_slice).unwrap_or_default();
        // A third says what the description says, so that it comes behind the door; the others more or less than that.
        let careless = !chance.one_in(3);
        for parameter in parameters {
            let parameter = match parameter.get("$ref").and_then(Value::as_str) {
                Some(named) => whole.pointer(named.trim_start_matches('#')).unwrap(),
                None => parameter,
            };
            let (name, place) = (parameter["name"].as_str().unwrap(), parameter["in"].as_str().unwrap());
            let needed = parameter.get("required").is_some_and(|r| r == true);
            let example = parameter.get("example").and_then(Value::as_str);
            let value = match example {
                Some(example) if !(careless && chance.one_in(4)) => example.to_owned(),
                _ if name == "Idempotency-Key" && !chance.one_in(6) => key(chance),
                _ if name == "If-Match" && chance.one_in(2) => "*".to_owned(),
                _ => {
                    let made = of_form(chance, whole, &parameter["schema"], 0);
                    made.as_str().map_or_else(|| made.to_string(), str::to_owned)
                }
            };
            let left_out = match needed || example.is_some() {
                true => careless && chance.one_in(12),
                false => !careless || !chance.one_in(5),
            };
            match place {
                _ if left_out => {}
                "query" => pairs.push((name.to_owned(), value)),
                "header" => headers.push((name.to_owned(), value)),
                _ => {}
            }
        }
        if chance.one_in(10) {
            pairs.push((text(chance), text(chance)));
        }
        if chance.one_in(20) && !pairs.is_empty() {
            pairs.push(pairs[chance.below(pairs.len())].clone());
        }
        let mut query: Vec<String> = pairs.iter().map(|(k, v)| format!("{}={}", escaped(k), escaped(v))).collect();
        if chance.one_in(25) {
            query.push(chance.of(&["%FF=%FE", "%", "=", "&&", "a[b]=c", "a=%E2%82"]).to_owned());
        }
        if !query.is_empty() {
            address = format!("{address}?{}", query.join("&"));
        }
        let method =
            if chance.one_in(25) { chance.of(&["DELETE", "PUT", "PATCH", "TRACE", "POST", "ODD"]) } else { method };
        let mut request = Request::builder().method(method.to_uppercase().as_str()).uri(&address);
        let host = if chance.one_in(40) { chance.of(&["elsewhere", "", "[::1", "localhost:99999"]) } else { HERE };
        request = request.header(header::HOST, host);
        for (name, value) in headers {
            if let Ok(value) = HeaderValue::from_bytes(value.as_bytes()) {
                request = request.header(name, value);
            }
        }
        if chance.one_in(30) {
            request = request.header("x-long", "y".repeat(20_000));
        }
        if chance.one_in(30) {
            request = request.header(header::COOKIE, chance.of(&["who=%FF", "who=", "=;=;", "who=a; who=b"]));
        }
        let body = match told.pointer("/requestBody/content/application~1json/schema") {
            Some(form) => self.body(chance, whole, form, path),
            None if chance.one_in(20) => b"{}".to_vec(),
            None => Vec::new(),
        };
        if !body.is_empty() && !chance.one_in(30) {
            let kinds = [
                "text/plain",
                "application/json; charset=latin1",
                "multipart/form-data",
                "application/x-www-form-urlencoded",
                "odd",
            ];
            let kind = if chance.one_in(20) { chance.of(&kinds) } else { "application/json" };
            request = request.header(header::CONTENT_TYPE, kind);
        }
        let shown = String::from_utf8_lossy(&body).chars().take(1_500).collect();
        (request.body(Body::from(body)).unwrap(), shown)
    }

    fn body(&self, chance: &mut Chance, whole: &Value, form: &Value, path: &str) -> Vec<u8> {
        let mut value = if path.ends_with("/entries") && !chance.one_in(5) {
            let (kind, body) = &self.bodies[chance.below(self.bodies.len())];
            json!({"kind": kind, "body": body})
        } else {
            of_form(chance, whole, form, 0)
        };
        match chance.below(10) {
            0 | 1 => {}
            2 => return text(chance).into_bytes(),
            3 => {
                let mut bytes = value.to_string().into_bytes();
                bytes.truncate(chance.below(bytes.len()));
                return bytes;
            }
            4 => {
                let mut bytes = value.to_string().into_bytes();
                let at = chance.below(bytes.len());
                bytes[at] = u8::try_from(chance.below(256)).unwrap();
                return bytes;
            }
            5 if chance.one_in(4) => {
                let deep = 10_000;
                return format!("{{\"kind\":\"note-written\",\"body\":{}{}}}", "[".repeat(deep), "]".repeat(deep))
                    .into_bytes();
            }
            6 if chance.one_in(10) => return vec![b'['; 1_100_000],
            _ => (0..=chance.below(3)).for_each(|_| spoilt(chance, &mut value)),
        }
        value.to_string().into_bytes()
    }
}

fn how_many() -> u64 {
    std::env::var_os(HOW_MANY).map_or(REQUESTS, |n| n.to_str().unwrap().parse().unwrap())
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_route_of_the_description_answers_whatever_it_is_sent() {
    let shop = Shop::after(12).await;
    let asked = Request::get("/api/1/openapi.json").header(header::HOST, HERE).body(Body::empty()).unwrap();
    let (_, _, description) = shop.send(asked, "").await;
    let whole: Value = serde_json::from_slice(&description).unwrap();
    let described: Vec<(String, String, Value)> = whole["paths"]
        .as_object()
        .unwrap()
        .iter()
        .flat_map(|(path, ways)| {
            ways.as_object().unwrap().iter().map(|(m, told)| (path.clone(), m.clone(), told.clone()))
        })
        .collect();
    let routes = server::api_routes();
    assert_eq!(described.len(), routes.len(), "every route is described");
    for (method, path) in &routes {
        assert!(described.iter().any(|(p, m, _)| p == path && m == method), "{method} {path} is described");
    }
    let mut kept = shop.entries().await;
    for (n, (path, method, told)) in described.iter().enumerate() {
        let mut chance = Chance(u64::try_from(n).unwrap());
        let mut well = 0;
        for _ in 0..how_many() {
            let (request, body) = shop.request(&mut chance, &whole, path, method, told);
            let status = shop.send_api(request, &body).await;
            well += u64::from(status.is_success());
            kept += usize::from(status == StatusCode::CREATED);
        }
        assert!(well >= 5, "{method} {path}: {well} requests were well, too few to try what comes behind the door");
    }
    assert_eq!(shop.entries().await, kept, "what was said to be kept is in the record, and nothing else");
    let all = shop.store.entries_of(shop.job.parse().unwrap()).await.unwrap();
    let lines: String = all.iter().map(|e| format!("{}\n", e.line)).collect();
    logbook::verify(lines.as_bytes()).unwrap();
}

const PAGES: &[(&str, &str)] = &[
    ("get", "/"),
    ("post", "/jobs"),
    ("get", "/jobs/{id}"),
    ("get", "/jobs/{id}/live"),
    ("get", "/jobs/{id}/enter"),
    ("post", "/jobs/{id}/enter"),
    ("get", "/jobs/{id}/kept/{entry}"),
    ("get", "/jobs/{id}/place/{position}"),
    ("post", "/jobs/{id}/tell/{kind}"),
    ("post", "/jobs/{id}/withdraw/{entry}"),
    ("get", "/jobs/{id}/entries/{entry}"),
    ("post", "/jobs/{id}/entries/{entry}"),
    ("get", "/jobs/{id}/bolts"),
    ("post", "/jobs/{id}/sheet"),
    ("get", "/jobs/{id}/sheet.toml"),
    ("post", "/jobs/{id}/photos"),
    ("post", "/jobs/{id}/page"),
    ("get", "/jobs/{id}/page/{file}"),
    ("get", "/jobs/{id}/look.html"),
    ("post", "/jobs/{id}/answer"),
    ("get", "/jobs/{id}/{moment}"),
    ("get", "/gauges"),
    ("get", "/machine-work"),
    ("get", "/calculators"),
    ("get", "/calculators/{id}"),
    ("get", "/attachments/{sha256}"),
    ("get", "/attachments/{sha256}/small"),
    ("post", "/who"),
    ("get", "/health"),
    ("get", "/queue"),
    ("get", "/where.json"),
    ("get", "/jobs/{id}/offline.json"),
    ("get", "/fonts/{name}"),
];

/// Requests that were once answered otherwise than by a problem document: method, address, content type, body.
const FOUND: &[(&str, &str, &str, &str)] = &[("GET", "/api/1/jobs/%FF%FE", "", "")];

#[tokio::test]
async fn what_was_found_is_answered_by_a_problem_document() {
    let shop = Shop::after(1).await;
    for (method, address, kind, body) in FOUND {
        let request = Request::builder().method(*method).uri(*address).header(header::HOST, HERE);
        let request = request.header(header::CONTENT_TYPE, *kind).body(Body::from(*body)).unwrap();
        let status = shop.send_api(request, body).await;
        assert!(status.is_client_error(), "{method} {address}: {status}");
    }
}

/// Names of fields of forms; the rest are made up.
const FIELDS: &[&str] = &[
    "entry",
    "title",
    "customer",
    "promised",
    "back",
    "check",
    "reading",
    "position",
    "unit",
    "value",
    "phase",
    "spot",
    "gauge",
    "gauge-used",
    "label",
    "temperature",
    "note",
    "mean-of",
    "caption",
    "photo",
    "find",
    "code",
    "words",
    "covers",
    "ceiling",
    "who",
    "how",
    "name",
    "sheet",
    "kept",
    "supplier",
    "price",
    "days",
    "caution",
    "stage",
    "amount",
    "stations",
    "axes",
    "outcome",
    "answer",
    "by",
    "layout",
    "cylinders",
];

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_page_answers_whatever_it_is_sent() {
    let shop = Shop::after(12).await;
    let entry = shop.store.entries_of(shop.job.parse().unwrap()).await.unwrap()[4].id.to_string();
    let kinds: Vec<&str> = logbook::Kind::ALL.iter().map(|kind| kind.word()).collect();
    let moments: Vec<&str> = logbook::Moment::ALL.iter().map(|moment| moment.word()).collect();
    let ids: Vec<&str> = mechanics::catalogue().iter().map(|c| c.id).collect();
    for (n, (method, path)) in PAGES.iter().enumerate() {
        let mut chance = Chance(1_000 + u64::try_from(n).unwrap());
        for _ in 0..how_many() {
            let mut address = String::new();
            for piece in path.split('/').skip(1) {
                address.push('/');
                match piece {
                    _ if piece.starts_with('{') && chance.one_in(5) => address.push_str(&part(&mut chance)),
                    "{id}" if path.starts_with("/calc") => address.push_str(chance.of(&ids)),
                    "{id}" => address.push_str(&shop.job),
                    "{entry}" => address.push_str(&entry),
                    "{kind}" => address.push_str(chance.of(&kinds)),
                    "{moment}" => address.push_str(chance.of(&moments)),
                    "{position}" => address.push_str(chance.of(&["cyl-1", "engine", "bank-a", "main-1", "cyl-4-ex-1"])),
                    _ if piece.starts_with('{') => address.push_str(&part(&mut chance)),
                    _ => address.push_str(piece),
                }
            }
            let form: Vec<String> = (0..chance.below(8))
                .map(|_| {
                    let name = if chance.one_in(6) { text(&mut chance) } else { chance.of(FIELDS).to_owned() };
                    format!("{}={}", escaped(&name), escaped(&text(&mut chance)))
                })
                .collect();
            let form = form.join("&");
            let mut request = Request::builder()
                .method(method.to_uppercase().as_str())
                .header(header::HOST, HERE)
                .header("sec-fetch-site", "same-origin");
            let body = if *method == "get" {
                address = format!("{address}?{form}");
                Body::empty()
            } else {
                request = request.header(header::CONTENT_TYPE, "application/x-www-form-urlencoded");
                Body::from(form.clone())
            };
            let request = request.uri(&address).body(body).unwrap();
            shop.send(request, &form).await;
        }
    }
    let all = shop.store.entries_of(shop.job.parse().unwrap()).await.unwrap();
    let lines: String = all.iter().map(|e| format!("{}\n", e.line)).collect();
    logbook::verify(lines.as_bytes()).unwrap();
}

/// The smallest photo there is: one grey pixel.
const PHOTO: &[u8] = include_bytes!("../seeds/photo/02.png");

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_caption_is_kept_as_it_was_typed_and_shown_as_words() {
    let shop = Shop::after(4).await;
    let mut chance = Chance(77);
    let (mut kept, times) = (0, how_many().min(400));
    for n in 0..times {
        let caption = if n == 0 { "<script>".to_owned() } else { text(&mut chance) };
        let edge = "----a-line-that-stands-in-no-photo";
        let mut body =
            format!("--{edge}\r\nContent-Disposition: form-data; name=\"caption\"\r\n\r\n{caption}\r\n").into_bytes();
        body.extend(
            format!("--{edge}\r\nContent-Disposition: form-data; name=\"photo\"; filename=\"a.png\"\r\n\r\n").bytes(),
        );
        body.extend_from_slice(PHOTO);
        body.extend(format!("\r\n--{edge}--\r\n").bytes());
        let request = Request::post(format!("/jobs/{}/photos", shop.job))
            .header(header::HOST, HERE)
            .header("sec-fetch-site", "same-origin")
            .header(header::CONTENT_TYPE, format!("multipart/form-data; boundary={edge}"))
            .body(Body::from(body));
        let (status, _, page) = shop.send(request.unwrap(), &caption).await;
        if caption.trim().is_empty() {
            assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{caption:?}");
            continue;
        }
        if status.is_client_error() {
            // A refusal is told; nothing was kept in silence.
            assert!(!page.is_empty(), "{caption:?}");
            continue;
        }
        kept += 1;
        let last = shop.store.entries_of(shop.job.parse().unwrap()).await.unwrap().pop().unwrap();
        let line: Value = serde_json::from_str(&last.line).unwrap();
        assert_eq!(line.pointer("/body/caption"), Some(&Value::from(caption.trim())), "{caption:?}");
    }
    assert!(kept * 2 > times, "{kept} of {times} were kept");
    let request =
        Request::get(format!("/jobs/{}/test", shop.job)).header(header::HOST, HERE).body(Body::empty()).unwrap();
    let (_, _, page) = shop.send(request, "the page with all photos").await;
    let page = String::from_utf8(page).unwrap();
    assert!(page.contains("&lt;script&gt;"), "the words are shown: {page}");
    assert!(!page.contains("<script>"), "and are words");
}
