//! The bench with the shop out of reach, as a person with a phone has it: the program is killed under the browser, entries go
//! on, pages are read again, the browser is shut and opened, and when the program is back everything is in the record once.
//!
//! `WITNESSMARK_OFFLINE=300,40` sends so many readings and photos; without it a few of each.

#![expect(
    clippy::expect_used,
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test stops at the first surprise, and drives other programs"
)]

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

use fantoccini::{Client, ClientBuilder, Locator};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Value, json};

const STORY: &str = include_str!("../../../cases/0001-tolvane-carrier/story.jsonl");
/// As far as this the story is told: the engine is described, nothing is ticked and nothing measured.
const TOLD: usize = 14;
const PASSPHRASE: &str = "a long word for a backup";

/// A program that ends with the test.
struct Running(Child);

impl Drop for Running {
    fn drop(&mut self) {
        let _gone = self.0.kill();
        let _reaped = self.0.wait();
    }
}

fn ours(folder: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_witnessmark"));
    command
        .env_clear()
        .env("WITNESSMARK_BY", "Nell")
        .env("WITNESSMARK_PASSPHRASE", PASSPHRASE)
        .env("COLUMNS", "200")
        .current_dir(folder)
        .args(arguments);
    command
}

/// Serves the record of the folder on a port, until it is dropped.
fn shop(folder: &Path, port: u16) -> Running {
    let port = port.to_string();
    let mut child = ours(folder, &["--json", "--store", "store", "serve", "--port", &port])
        .stdout(Stdio::piped())
        .spawn()
        .expect("our own program");
    let mut out = BufReader::new(child.stdout.take().unwrap());
    let mut text = String::new();
    while !text.trim_end().ends_with('}') {
        assert!(out.read_line(&mut text).unwrap() > 0, "the bench said nothing: {text}");
    }
    Running(child)
}

fn free_port() -> u16 {
    TcpListener::bind(("127.0.0.1", 0)).unwrap().local_addr().unwrap().port()
}

/// A port that no program gets by itself: while the shop is away nobody else takes it.
fn port_of_shop() -> u16 {
    static NEXT: AtomicUsize = AtomicUsize::new(0);
    let start = 20_000 + std::process::id() as usize % 400 * 20;
    loop {
        let port = u16::try_from(start + NEXT.fetch_add(1, Ordering::SeqCst)).unwrap();
        if TcpListener::bind(("127.0.0.1", port)).is_ok() {
            return port;
        }
    }
}

fn driver() -> (Running, u16) {
    let port = free_port();
    let child = Command::new("chromedriver")
        .arg(format!("--port={port}"))
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .expect("chromedriver: install the packages chromium and chromium-driver, or run ./test, which does");
    let running = Running(child);
    for _ in 0..100 {
        if TcpStream::connect(("127.0.0.1", port)).is_ok() {
            return (running, port);
        }
        std::thread::sleep(Duration::from_millis(100));
    }
    panic!("chromedriver does not answer on port {port}");
}

/// A phone: the same name is the same phone, with what it kept.
async fn phone(port: u16, folder: &Path, name: &str, width: u32) -> Client {
    let mut wanted = serde_json::Map::new();
    wanted.insert(
        "goog:chromeOptions".to_owned(),
        json!({
            "args": [
                "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--hide-scrollbars",
                "--disable-background-networking", "--disable-component-update", "--disable-sync",
                format!("--user-data-dir={}", folder.join(name).display()),
                format!("--window-size={width},844"),
            ],
            "mobileEmulation": {"deviceMetrics": {"width": width, "height": 844, "pixelRatio": 1.0, "touch": true}},
        }),
    );
    ClientBuilder::new(HttpConnector::new())
        .capabilities(wanted)
        .connect(&format!("http://127.0.0.1:{port}"))
        .await
        .expect("a browser")
}

/// A command to the browser that its driver has no word for.
async fn below(driven: u16, client: &Client, command: &str, said: Value) {
    let session = client.session_id().await.unwrap().expect("a session");
    let body = json!({"cmd": command, "params": said}).to_string();
    let mut stream = TcpStream::connect(("127.0.0.1", driven)).unwrap();
    write!(
        stream,
        "POST /session/{session}/goog/cdp/execute HTTP/1.1\r\nHost: 127.0.0.1:{driven}\r\nConnection: close\r\n\
         Content-Type: application/json\r\nContent-Length: {}\r\n\r\n{body}",
        body.len()
    )
    .unwrap();
    let mut answer = String::new();
    BufReader::new(stream).read_line(&mut answer).unwrap();
    assert!(answer.starts_with("HTTP/1.1 200"), "{answer}");
}

async fn words(client: &Client) -> String {
    let text = client.execute("return document.body ? document.body.innerText : ''", Vec::new()).await;
    text.ok().and_then(|text| text.as_str().map(str::to_owned)).unwrap_or_default()
}

async fn until(client: &Client, what: &str, script: &str) -> Value {
    for _ in 0..600 {
        if let Ok(found) = client.execute(script, Vec::new()).await
            && !matches!(found, Value::Null | Value::Bool(false))
        {
            return found;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    let at = client.current_url().await.map(|url| url.to_string()).unwrap_or_default();
    panic!("{what} does not come about; {at} says:\n{}", words(client).await);
}

async fn until_it_says(client: &Client, text: &str) {
    let script = format!("return document.body && document.body.innerText.includes({})", json!(text));
    until(client, &format!("`{text}`"), &script).await;
}

/// Keeps a picture of what is seen.
async fn seen(client: &Client, name: &str) {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../target/screens");
    std::fs::create_dir_all(&folder).unwrap();
    std::fs::write(folder.join(format!("{name}.png")), client.screenshot().await.unwrap()).unwrap();
}

/// Nothing reaches past the right edge, and everything to be tapped is large enough.
async fn fits(client: &Client, where_: &str) {
    let script = "return [document.documentElement.scrollWidth, window.innerWidth, \
        [...document.querySelectorAll('button, main a, input, select, summary')].filter(e => { \
            const r = e.getBoundingClientRect(); \
            return r.width > 0 && r.height > 0 && r.height < 43.5 && getComputedStyle(e).display !== 'inline' \
                && !e.closest('svg') && e.type !== 'checkbox' && e.type !== 'radio' && e.type !== 'hidden'; \
        }).map(e => e.outerHTML.slice(0, 90))]";
    let found = client.execute(script, Vec::new()).await.unwrap();
    assert!(found[0].as_f64() <= found[1].as_f64(), "{where_} scrolls sideways: {found}");
    assert_eq!(found[2], json!([]), "{where_} has targets under 44 px");
}

/// A record of its own with the beginning of a story in it, and a browser's driver.
struct Yard {
    folder: tempfile::TempDir,
    port: u16,
    job: String,
}

impl Yard {
    fn new() -> Yard {
        Yard::told(TOLD)
    }

    fn told(lines: usize) -> Yard {
        let folder = tempfile::tempdir().unwrap();
        let told: String = STORY.lines().take(lines).map(|l| format!("{l}\n")).collect();
        let entries = logbook::seal_story("yard", &logbook::story_from_lines(&told).unwrap()).unwrap();
        let file = folder.path().join("yard.jsonl");
        std::fs::write(&file, logbook::export(&entries)).unwrap();
        let done = ours(folder.path(), &["--store", "store", "import", "yard.jsonl"]).output().unwrap();
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
        Yard { job: entries[0].job().to_string(), port: port_of_shop(), folder }
    }

    fn open(&self) -> Running {
        shop(self.folder.path(), self.port)
    }

    fn at(&self, rest: &str) -> String {
        format!("http://127.0.0.1:{}/jobs/{}/{rest}", self.port, self.job)
    }

    fn field(&self, place: &str) -> String {
        self.at(&format!("enter?check=compression-dry&reading=pressure&position={place}"))
    }

    /// What the record holds of the job.
    fn entries(&self) -> Vec<Value> {
        let host = format!("127.0.0.1:{}", self.port);
        let mut stream = TcpStream::connect(&host).unwrap();
        let path = format!("/api/1/jobs/{}/entries", self.job);
        write!(stream, "GET {path} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n").unwrap();
        let mut answer = String::new();
        stream.read_to_string(&mut answer).unwrap();
        let body = answer.split_once("\r\n\r\n").expect("a head").1;
        let said: Value = serde_json::from_str(body).unwrap_or_else(|e| panic!("{e}: {answer}"));
        said["entries"].as_array().unwrap().clone()
    }

    fn of_kind(&self, kind: &str) -> Vec<Value> {
        self.entries().into_iter().filter(|e| e["kind"] == kind).map(|e| e["body"].clone()).collect()
    }

    /// Waits until so many entries of a kind are in the record.
    async fn has(&self, kind: &str, count: usize) {
        for _ in 0..1200 {
            if self.of_kind(kind).len() >= count {
                return;
            }
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
        panic!("{} of {count} entries of {kind} came", self.of_kind(kind).len());
    }
}

/// How many entries this phone holds.
async fn held(client: &Client) -> u64 {
    let script =
        "const done = arguments[arguments.length - 1]; benchQueue.all().then(all => done(all.length), () => done(-1))";
    client.execute_async(script, Vec::new()).await.unwrap().as_u64().expect("the queue of the phone")
}

/// Ticks the cautions that hold the field up.
async fn heed(client: &Client) {
    for _ in 0..12 {
        let Ok(tick) = client.find(Locator::Css(".caution.hold form button")).await else { return };
        let count = "return document.querySelectorAll('.caution.hold form button').length";
        let before = client.execute(count, Vec::new()).await.unwrap();
        tick.click().await.unwrap();
        let fewer = format!(
            "return document.readyState === 'complete' && document.querySelectorAll('.caution.hold form button').length < {before}"
        );
        until(client, "a tick", &fewer).await;
    }
}

/// Chooses the unit of the gauge.
async fn in_bar(client: &Client) {
    client.find(Locator::Css("select[name=unit]")).await.unwrap().select_by_value("bar").await.unwrap();
}

/// Types a value by the keys of the pad and keeps it.
async fn keyed(client: &Client, value: &str) {
    for key in value.chars() {
        client.find(Locator::Css(&format!(".keypad button[data-key='{key}']"))).await.unwrap().click().await.unwrap();
    }
    client.find(Locator::Css(".keypad button.keep")).await.unwrap().click().await.unwrap();
}

/// The same at once, where it is done by the hundred.
async fn typed(client: &Client, value: &str) {
    until(client, "the field", "return document.getElementById('value') !== null").await;
    typed_now(client, value).await;
    until_it_says(client, &format!("{value} bar.")).await;
}

/// Fills the field that is there and keeps it.
async fn typed_now(client: &Client, value: &str) {
    let script =
        "document.getElementById('value').value = arguments[0]; document.querySelector('.number-form').requestSubmit()";
    client.execute(script, vec![json!(value)]).await.unwrap();
}

/// Opens the job on the phone and waits until it goes on without the shop.
async fn taken_along(client: &Client, yard: &Yard) {
    client.goto(&yard.at("test")).await.unwrap();
    until(client, "the job on the phone", "return document.querySelector('[data-ready]') !== null").await;
}

fn asked_for() -> (usize, usize) {
    #[expect(clippy::disallowed_methods, reason = "whoever starts the tests says how much is sent")]
    let said = std::env::var("WITNESSMARK_OFFLINE").unwrap_or_default();
    let (readings, photos) = said.split_once(',').unwrap_or_default();
    (readings.parse().unwrap_or(30), photos.parse().unwrap_or(4))
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_day_without_the_shop_two_restarts_and_everything_arrives_once() {
    let (readings, photos) = asked_for();
    let yard = Yard::new();
    let (_driving, driven) = driver();
    let serving = yard.open();
    let client = phone(driven, yard.folder.path(), "phone", 390).await;
    taken_along(&client, &yard).await;
    assert!(words(&client).await.contains("goes on without Wi-Fi"));

    // The shop is gone. The field opens by its tick on the phone, and walks on by itself.
    drop(serving);
    client.goto(&yard.field("cyl-1")).await.unwrap();
    until_it_says(&client, "from this phone").await;
    assert!(words(&client).await.contains("As of "), "{}", words(&client).await);
    assert!(client.find(Locator::Css("input[name=value]")).await.is_err(), "a field beside an unread hold");
    heed(&client).await;
    let ticks = held(&client).await;
    assert!(ticks > 0, "the ticks are on the phone");
    in_bar(&client).await;
    let mut sent: Vec<String> = Vec::new();
    for place in 1..=4 {
        let at = client.execute("return document.querySelector('[data-round]').dataset.at", Vec::new()).await.unwrap();
        assert_eq!(at, json!(format!("cyl-{place}")), "the field walks on in the sequence of the engine");
        let value = format!("11.{place}");
        keyed(&client, &value).await;
        until_it_says(&client, &format!("{value} bar.")).await;
        fits(&client, "a field kept on this phone").await;
        seen(&client, &format!("390-offline-field-{place}")).await;
        if place == 2 {
            client
                .execute("document.documentElement.dataset.theme = 'dark'; scrollTo(0, 0)", Vec::new())
                .await
                .unwrap();
            seen(&client, "390-offline-field-dark").await;
        }
        sent.push(value);
    }
    until_it_says(&client, "Every place of this check is read").await;
    let chip = "return document.querySelector('nav[aria-label=Places] a[data-at=cyl-2]').innerText";
    assert!(client.execute(chip, Vec::new()).await.unwrap().as_str().unwrap().contains("on this phone"));
    let badge = format!("{} on this phone", held(&client).await);
    until_it_says(&client, &badge).await;

    // Photos of a place, while the shop is gone.
    let picture = yard.folder.path().join("photo.png");
    std::fs::write(&picture, client.screenshot().await.unwrap()).unwrap();
    for n in 0..photos {
        client.goto(&yard.at("place/cyl-2")).await.unwrap();
        until_it_says(&client, "from this phone").await;
        let fold = "document.querySelector('#photo-file').closest('details').open = true; \
            document.querySelector('#photo-caption').value = arguments[0]";
        client.execute(fold, vec![json!(format!("plug well {n}"))]).await.unwrap();
        let file = client.find(Locator::Css("#photo-file")).await.unwrap();
        file.send_keys(&picture.display().to_string()).await.unwrap();
        client.execute("document.querySelector('#photo-file').form.requestSubmit()", Vec::new()).await.unwrap();
        until_it_says(&client, &format!("Photo: plug well {n}.")).await;
    }

    // The rest of the readings: the page is read again, the browser is shut and opened, all while the shop is gone.
    let mut client = client;
    let mut restarts = 0;
    for n in sent.len()..readings {
        if n % (readings / 3) == 0 && restarts < 2 {
            let before = held(&client).await;
            client.close().await.unwrap();
            client = phone(driven, yard.folder.path(), "phone", 390).await;
            client.goto(&yard.field("cyl-1")).await.unwrap();
            until_it_says(&client, "from this phone").await;
            assert_eq!(held(&client).await, before, "nothing is lost with the browser");
            restarts += 1;
        }
        client.goto(&yard.field(&format!("cyl-{}", n % 4 + 1))).await.unwrap();
        let value = format!("12.{n}");
        typed(&client, &value).await;
        sent.push(value);
    }
    assert_eq!(restarts, 2);
    client.goto(&format!("http://127.0.0.1:{}/queue", yard.port)).await.unwrap();
    until_it_says(&client, "Waiting for the shop").await;
    assert_eq!(held(&client).await, ticks + (readings + photos) as u64);
    until_it_says(&client, "Cranking compression, dry, cylinder 1: 11.1 bar").await;
    fits(&client, "what waits").await;
    seen(&client, "390-offline-queue").await;

    // Back for a moment, gone again, back for good.
    let serving = yard.open();
    yard.has("reading-taken", 6).await;
    drop(serving);
    tokio::time::sleep(Duration::from_millis(300)).await;
    let _serving = yard.open();
    until_it_says(&client, "Nothing waits on this phone").await;
    let found = yard.of_kind("reading-taken");
    let mut came = BTreeMap::new();
    for body in found.iter().filter(|b| b["check"] == "compression-dry") {
        *came.entry(body["value"]["text"].as_str().unwrap().to_owned()).or_insert(0) += 1;
    }
    let wanted: BTreeMap<String, i32> = sent.into_iter().map(|value| (value, 1)).collect();
    assert_eq!(came, wanted, "each reading is in the record exactly once");
    assert_eq!(yard.of_kind("photo-kept").len(), photos, "each photo is in the record exactly once");
    assert_eq!(yard.of_kind("caution-ticked").len() as u64, ticks);
    client.close().await.unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_reading_is_on_this_phone_then_in_the_shop_then_in_the_backup() {
    let yard = Yard::new();
    let (_driving, driven) = driver();
    let serving = yard.open();
    let client = phone(driven, yard.folder.path(), "narrow", 320).await;
    taken_along(&client, &yard).await;
    client.goto(&yard.field("cyl-1")).await.unwrap();
    heed(&client).await;
    let line = "return document.querySelector('[data-where]').innerText";
    let says = async || client.execute(line, Vec::new()).await.unwrap().as_str().unwrap().to_owned();
    let before = yard.entries().len();
    assert!(says().await.contains(&format!("{before} in the shop")), "{}", says().await);
    drop(serving);
    keyed(&client, "11.9").await;
    until_it_says(&client, "1 on this phone").await;
    fits(&client, "a field at 320 px").await;
    seen(&client, "320-offline-field").await;

    let serving = yard.open();
    let here = "const w = document.querySelector('[data-where]').innerText; return !w.includes('on this phone') && ";
    until(&client, "in the shop", &format!("{here}w.includes('{} in the shop')", before + 1)).await;
    assert!(!says().await.contains("all in the backup"), "{}", says().await);
    drop(serving);
    let done = ours(yard.folder.path(), &["--store", "store", "backup", "--to", "away.backup"]).output().unwrap();
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    let _serving = yard.open();
    client.goto(&yard.at("test")).await.unwrap();
    until(
        &client,
        "in the backup",
        "return document.querySelector('[data-where]').innerText.includes('all in the backup')",
    )
    .await;
    let entry = yard.entries().iter().find(|e| e["body"]["check"] == "compression-dry").unwrap()["id"].clone();
    client.goto(&yard.at(&format!("kept/{}", entry.as_str().unwrap()))).await.unwrap();
    until_it_says(&client, "Kept in the shop and in the backup").await;
    client.close().await.unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_the_shop_refuses_stays_in_sight_until_it_is_put_right_or_thrown_away() {
    let yard = Yard::new();
    let (_driving, driven) = driver();
    let serving = yard.open();
    let client = phone(driven, yard.folder.path(), "refused", 820).await;
    taken_along(&client, &yard).await;
    client.goto(&yard.field("cyl-1")).await.unwrap();
    heed(&client).await;
    drop(serving);
    for value in ["1,234", "much"] {
        typed_now(&client, value).await;
        until_it_says(&client, &format!(": {value}")).await;
    }
    let _serving = yard.open();
    until_it_says(&client, "The shop did not take 2 entries of this phone.").await;
    client.goto(&format!("http://127.0.0.1:{}/queue", yard.port)).await.unwrap();
    until_it_says(&client, "The shop did not take these").await;
    let page = words(&client).await;
    assert!(page.contains("1.234") && page.contains("no number"), "the shop's own words: {page}");
    fits(&client, "what was refused").await;
    seen(&client, "820-offline-refused").await;
    client.execute("document.documentElement.dataset.theme = 'dark'", Vec::new()).await.unwrap();
    seen(&client, "820-offline-refused-dark").await;

    // The first is put right on the page of the shop, which asks which of two was meant.
    client.find(Locator::Css("[data-queue-refused] button")).await.unwrap().click().await.unwrap();
    until(&client, "the question", "return document.querySelector('.question button.key') !== null").await;
    client.find(Locator::Css(".question button.key")).await.unwrap().click().await.unwrap();
    until_it_says(&client, "Kept in the shop").await;
    client.goto(&format!("http://127.0.0.1:{}/queue", yard.port)).await.unwrap();
    until(&client, "one row", "return document.querySelectorAll('[data-queue-refused] [data-rows] > li').length === 1")
        .await;
    // The other is thrown away, at the second touch.
    let last = "[data-queue-refused] button:last-of-type";
    client.find(Locator::Css(last)).await.unwrap().click().await.unwrap();
    assert_eq!(held(&client).await, 1);
    client.find(Locator::Css(last)).await.unwrap().click().await.unwrap();
    until_it_says(&client, "Nothing waits on this phone").await;
    assert_eq!(yard.of_kind("reading-taken").iter().filter(|b| b["check"] == "compression-dry").count(), 1);
    client.close().await.unwrap();
}

/// The line is as it should be.
const GOOD: usize = 0;
/// It breaks: before a form, within it, or after the shop has kept the entry.
const BREAKING: usize = 1;
/// It ends at a shop that wants a PIN first.
const LOCKED: usize = 2;

/// A line between phone and shop, and how often it broke.
fn line_to(shop: u16) -> (u16, Arc<AtomicUsize>, Arc<AtomicUsize>) {
    let listener = TcpListener::bind(("127.0.0.1", 0)).unwrap();
    let port = listener.local_addr().unwrap().port();
    let (state, cuts) = (Arc::new(AtomicUsize::new(GOOD)), Arc::new(AtomicUsize::new(0)));
    let (is_now, counted) = (Arc::clone(&state), Arc::clone(&cuts));
    std::thread::spawn(move || {
        let forms = Arc::new(AtomicUsize::new(0));
        for caller in listener.incoming() {
            let (is_now, counted, forms) = (Arc::clone(&is_now), Arc::clone(&counted), Arc::clone(&forms));
            std::thread::spawn(move || {
                caller.ok().and_then(|caller| passed_on(caller, shop, &forms, &is_now, &counted))
            });
        }
    });
    (port, state, cuts)
}

fn passed_on(
    mut caller: TcpStream,
    shop: u16,
    forms: &AtomicUsize,
    state: &AtomicUsize,
    cuts: &AtomicUsize,
) -> Option<()> {
    let mut request = Vec::new();
    let mut part = [0_u8; 8192];
    let (head, length) = loop {
        let got = caller.read(&mut part).ok().filter(|n| *n > 0)?;
        request.extend(&part[..got]);
        if let Some(end) = request.windows(4).position(|w| w == b"\r\n\r\n") {
            let head = String::from_utf8_lossy(&request[..end]).to_lowercase();
            let length = head.split("content-length: ").nth(1).and_then(|l| l.lines().next()?.trim().parse().ok());
            break (end, length.unwrap_or(0_usize));
        }
    };
    while request.len() < head + 4 + length {
        let got = caller.read(&mut part).ok().filter(|n| *n > 0)?;
        request.extend(&part[..got]);
    }
    let posted = request.starts_with(b"POST");
    if posted && state.load(Ordering::SeqCst) == LOCKED {
        let answer = "HTTP/1.1 423 Locked\r\nContent-Type: application/problem+json\r\nContent-Length: 2\r\nConnection: close\r\n\r\n{}";
        return caller.write_all(answer.as_bytes()).ok();
    }
    let form = posted && state.load(Ordering::SeqCst) == BREAKING;
    let cut = if form { forms.fetch_add(1, Ordering::SeqCst) % 4 } else { 3 };
    if cut < 3 {
        cuts.fetch_add(1, Ordering::SeqCst);
    }
    if cut == 0 {
        return None;
    }
    let mut shop = TcpStream::connect(("127.0.0.1", shop)).ok()?;
    // One request a line: the head says so to the shop, whose answer says so to the browser.
    let first = request.windows(2).position(|w| w == b"\r\n")? + 2;
    shop.write_all(&request[..first]).ok()?;
    shop.write_all(b"Connection: close\r\n").ok()?;
    let rest: Vec<u8> = String::from_utf8_lossy(&request[first..head + 4])
        .lines()
        .filter(|line| !line.to_lowercase().starts_with("connection:"))
        .flat_map(|line| format!("{line}\r\n").into_bytes())
        .collect();
    shop.write_all(&rest).ok()?;
    if cut == 1 {
        return shop.write_all(&request[head + 4..head + 4 + length / 2]).ok();
    }
    shop.write_all(&request[head + 4..]).ok()?;
    if cut == 2 {
        // The shop keeps it and says so to nobody.
        let mut answer = Vec::new();
        shop.read_to_end(&mut answer).ok()?;
        return None;
    }
    std::io::copy(&mut shop, &mut caller).ok().map(drop)
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_line_that_breaks_before_within_and_after_keeps_each_entry_once() {
    let yard = Yard::new();
    let (_driving, driven) = driver();
    let _serving = yard.open();
    let (line, state, cuts) = line_to(yard.port);
    let client = phone(driven, yard.folder.path(), "bad-line", 390).await;
    let at = |rest: &str| format!("http://127.0.0.1:{line}/jobs/{}/{rest}", yard.job);
    client.goto(&at("test")).await.unwrap();
    until(&client, "the job on the phone", "return document.querySelector('[data-ready]') !== null").await;
    client.goto(&at("enter?check=compression-dry&reading=pressure&position=cyl-1")).await.unwrap();
    heed(&client).await;
    state.store(BREAKING, Ordering::SeqCst);
    let mut wanted = BTreeMap::new();
    for n in 0..20 {
        client
            .goto(&at(&format!("enter?check=compression-dry&reading=pressure&position=cyl-{}", n % 4 + 1)))
            .await
            .unwrap();
        let value = format!("10.{n}");
        typed_now(&client, &value).await;
        until_it_says(&client, &value).await;
        let settled = "return !document.querySelector('.number-form.sending')";
        until(&client, "an answer or none", settled).await;
        wanted.insert(value, 1);
    }
    client.goto(&format!("http://127.0.0.1:{line}/queue")).await.unwrap();
    // Sent by the clock it takes its time; a person who touches the key does not wait for that.
    let sent = "if (!window.touched || Date.now() - window.touched > 400) { window.touched = Date.now(); \
        document.querySelector('[data-send-now]').click(); } return !document.querySelector('[data-queue-empty]').hidden";
    until(&client, "an empty queue", sent).await;
    assert!(cuts.load(Ordering::SeqCst) > 5, "the line broke {} times", cuts.load(Ordering::SeqCst));

    // A shop that wants a PIN gets nothing and loses nothing.
    state.store(LOCKED, Ordering::SeqCst);
    client.goto(&at("enter?check=compression-dry&reading=pressure&position=cyl-3")).await.unwrap();
    typed_now(&client, "9.7").await;
    until_it_says(&client, "The shop asks for your PIN first.").await;
    assert_eq!(held(&client).await, 1);
    state.store(GOOD, Ordering::SeqCst);
    client.goto(&format!("http://127.0.0.1:{line}/queue")).await.unwrap();
    until_it_says(&client, "Nothing waits on this phone").await;
    wanted.insert("9.7".to_owned(), 1);
    let mut came = BTreeMap::new();
    for body in yard.of_kind("reading-taken").iter().filter(|b| b["check"] == "compression-dry") {
        *came.entry(body["value"]["text"].as_str().unwrap().to_owned()).or_insert(0) += 1;
    }
    assert_eq!(came, wanted, "each reading is in the record exactly once");
    client.close().await.unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn without_a_safe_connection_every_page_says_that_this_phone_needs_the_shop() {
    let yard = Yard::new();
    let (_driving, driven) = driver();
    let _serving = yard.open();
    let client = phone(driven, yard.folder.path(), "plain", 320).await;
    let source = "Object.defineProperty(window, 'isSecureContext', {value: false})";
    below(driven, &client, "Page.addScriptToEvaluateOnNewDocument", json!({"source": source})).await;
    for page in ["test", "hear"] {
        client.goto(&yard.at(page)).await.unwrap();
        until_it_says(&client, "This phone cannot work without Wi-Fi.").await;
        fits(&client, "the notice").await;
    }
    seen(&client, "320-offline-plain").await;
    client.close().await.unwrap();
}

/// A figure of a face or a fit, its unit and its gauge, as somebody types it.
fn typed_ways(edge: f64, unit: quantity::Unit) -> Vec<(String, String)> {
    use quantity::Unit;
    let own = unit.symbol();
    let mut out = Vec::new();
    for (n, near) in [0.9, 0.985, 0.999, 1.0, 1.001, 1.015, 1.1].into_iter().enumerate() {
        let value = edge * near;
        match n % 4 {
            0 => out.push((format!("{value:.3}"), own.to_owned())),
            1 => out.push((format!("{value:.2}").replace('.', ","), own.to_owned())),
            2 => out.push((format!("{value:.4} {own}"), own.to_owned())),
            _ => out.push((format!("{value:.1}"), own.to_owned())),
        }
    }
    let other = match own {
        "mm" => Some((Unit::THOU, "thou")),
        "kPa" | "bar" => Some((Unit::PSI, "PSI")),
        _ => None,
    };
    if let Some((other, word)) = other {
        for near in [0.97, 1.0, 1.03] {
            let there = unit.convert(edge * near, other).unwrap();
            out.push((format!("{there:.1} {word}"), own.to_owned()));
            out.push((format!("{there:.2}").replace('.', ","), other.symbol().to_owned()));
        }
    }
    for odd in ["1,234", "2 mil", "3 tenths", "1/64", "1 1/2", "-0,02", "+7", ",5"] {
        out.push((odd.to_owned(), own.to_owned()));
    }
    out
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_phone_judges_as_the_shop_does() {
    use logbook::{EntryBody, Phase, Unsealed};
    use workup::entering::{Given, Rule};
    use workup::on_phone::{Judging, judging};

    // As far as its engine's figures and its first four compressions.
    let yard = Yard::told(41);
    let text: String = STORY.lines().take(41).map(|l| format!("{l}\n")).collect();
    let entries = logbook::seal_story("yard", &logbook::story_from_lines(&text).unwrap()).unwrap();
    let state = logbook::fold(&entries);
    let layout = state.layout.as_ref().unwrap();
    let knowledge = knowledge::Knowledge::builtin().unwrap();
    let told = workup::told(&state, &knowledge);
    let net = workup::network::engine_net(layout, &told, &knowledge);
    let mark = state.gauges.iter().next().map(|(label, g)| format!("{}|{label}", g.body.gauge)).unwrap();

    let (mut asked, mut expected) = (Vec::new(), Vec::new());
    let mut id = 0_u64;
    for check in knowledge.checks.iter().map(|c| &c.value) {
        if workup::impossible_now(&state, &knowledge, check).is_some() && check.stage != "after-repair" {
            continue;
        }
        let places: Vec<_> = check.scope.iter().flat_map(|s| layout.positions(*s)).collect();
        let Some(place) = places.first() else { continue };
        for reading in &check.readings {
            let phase = if check.stage == "after-repair" { Phase::AsLeft } else { Phase::AsFound };
            let by = judging(&state, layout, &knowledge, (check, reading), &places, phase).unwrap();
            let ways = match &by {
                Judging::Look { outcomes, .. } => outcomes.iter().map(|o| (o.clone(), String::new())).collect(),
                Judging::Figure(figure) => {
                    let unit = quantity::Unit::from_symbol(&figure.unit).unwrap();
                    let zone = &figure.zones[figure.of[&place.address()]];
                    let whole = figure.share.as_ref().map(|share| zone.whole.or(share.best).unwrap_or(1.0));
                    let mut edges: Vec<f64> = zone.edges.iter().flatten().flatten().copied().collect();
                    edges.dedup_by(|a, b| a.total_cmp(b).is_eq());
                    edges.iter().flat_map(|edge| typed_ways(edge * whole.unwrap_or(1.0), unit)).collect::<Vec<_>>()
                }
            };
            let by = serde_json::to_value(&by).unwrap();
            for (n, (value, unit)) in ways.into_iter().enumerate() {
                let used = if check.gauges.iter().any(|g| mark.starts_with(&format!("{g}|"))) && n % 2 == 0 {
                    mark.as_str()
                } else {
                    "|"
                };
                let (gauge, label) = used.split_once('|').unwrap();
                let given = Given {
                    check: check.id.clone(),
                    reading: reading.id.clone(),
                    position: place.address(),
                    value: value.clone(),
                    unit: unit.clone(),
                    phase: phase.word().to_owned(),
                    gauge: gauge.to_owned(),
                    label: label.to_owned(),
                    ..Given::default()
                };
                id += 1;
                let said = match given.body(&state, &knowledge, None) {
                    Err(why) if matches!(why.rule, Rule::Asks(_)) => json!("question"),
                    Err(why) if matches!(why.rule, Rule::OtherEngine) => continue,
                    Err(_) => Value::Null,
                    Ok(body) => {
                        let entry = anatomy_id(id);
                        let at = state.history.last().unwrap().at;
                        let more =
                            Unsealed::new(entries[0].job(), at, "Nell", "phone", entry, &EntryBody::ReadingTaken(body));
                        let after = logbook::fold_with(&entries, more.unwrap()).unwrap();
                        let (findings, _) = workup::findings::of_state(&after, layout, &net, &knowledge);
                        let found = findings.iter().find(|f| f.entry == entry.to_string() && !f.whole_face);
                        found.map_or(Value::Null, |f| serde_json::to_value(f.verdict).unwrap())
                    }
                };
                let reading = json!({"position": place.address(), "value": value, "unit": unit, "gauge": used});
                asked.push(json!([by, reading]));
                expected.push((format!("{} {} {value} {unit} by {used}", check.id, reading), said));
            }
        }
    }
    assert!(expected.len() >= 200, "only {} readings", expected.len());
    let count = |word: &str| expected.iter().filter(|(_, said)| said == word).count();
    for word in ["inside", "by-judgement", "outside", "cannot-tell", "question"] {
        assert!(count(word) >= 5, "only {} readings are {word}", count(word));
    }

    let (_driving, driven) = driver();
    let _serving = yard.open();
    let client = phone(driven, yard.folder.path(), "judge", 390).await;
    client.goto(&yard.field("cyl-1")).await.unwrap();
    let script = "return arguments[0].map(([by, reading]) => benchJudge.verdict(by, reading))";
    let found = client.execute(script, vec![json!(asked)]).await.unwrap();
    let differ: Vec<String> = found
        .as_array()
        .unwrap()
        .iter()
        .zip(&expected)
        .filter(|(here, (_, there))| *here != there)
        .map(|(here, (what, there))| format!("{what}: {here} on the phone, {there} in the shop"))
        .collect();
    assert!(differ.is_empty(), "{} of {} differ:\n{}", differ.len(), expected.len(), differ.join("\n"));
    // The page carries the same figures.
    let carried = "return JSON.parse(document.querySelector('[data-round]').dataset.round).judge";
    let carried = client.execute(carried, Vec::new()).await.unwrap();
    let check = &knowledge.check("compression-dry").unwrap().value;
    let places: Vec<_> = check.scope.iter().flat_map(|s| layout.positions(*s)).collect();
    let by = judging(&state, layout, &knowledge, (check, &check.readings[0]), &places, Phase::AsFound).unwrap();
    assert_eq!(plain(&carried), plain(&serde_json::to_value(by).unwrap()));
    client.close().await.unwrap();
}

/// The same with every number as a number of one kind.
fn plain(value: &Value) -> Value {
    match value {
        Value::Number(number) => json!(number.as_f64()),
        Value::Array(list) => list.iter().map(plain).collect(),
        Value::Object(map) => Value::Object(map.iter().map(|(k, v)| (k.clone(), plain(v))).collect()),
        Value::Null | Value::Bool(_) | Value::String(_) => value.clone(),
    }
}

/// An id after all of the story.
fn anatomy_id(n: u64) -> anatomy::EntryId {
    anatomy::EntryId::from_time_and_chance(1_790_000_000_000 + n, [7; 10])
}
