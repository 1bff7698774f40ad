//! The bench as a person with a phone uses it: the built binary serves a job, a browser of phone size works it by touch.
//!
//! Screenshots are left in `target/screens/`. Without a browser and its driver the test fails and says what to install.

#![expect(
    clippy::expect_used,
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test stops at the first surprise, and drives other programs"
)]

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use fantoccini::{Client, ClientBuilder, Locator};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::json;

/// How many entries of the first invented job are kept before the browser takes over: complaint, engine, first looks.
const TOLD: usize = 26;

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
    command.env_clear().env("WITNESSMARK_BY", "Nell").env("COLUMNS", "200").current_dir(folder).args(arguments);
    command
}

/// The first invented job, told as far as [`TOLD`], in a store of its own; its id.
fn half_told(folder: &Path) -> String {
    let run = |arguments: &[&str]| {
        let done = ours(folder, arguments).output().expect("our own program");
        assert!(done.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&done.stderr));
    };
    run(&["demo", "--out", "whole", "--no-serve", "--quiet"]);
    run(&["--store", "whole", "export", "Tolvane", "--out", "whole.jsonl"]);
    let whole = std::fs::read_to_string(folder.join("whole.jsonl")).unwrap();
    let part: Vec<&str> = whole.lines().take(TOLD).collect();
    std::fs::write(folder.join("part.jsonl"), part.join("\n") + "\n").unwrap();
    run(&["--store", "store", "import", "part.jsonl"]);
    let first: serde_json::Value = serde_json::from_str(part[0]).unwrap();
    first["job"].as_str().unwrap().to_owned()
}

/// Starts the bench; answers where it is.
fn bench(folder: &Path) -> (Running, String) {
    let mut child = ours(folder, &["--json", "--store", "store", "serve", "--port", "0"])
        .stdout(Stdio::piped())
        .spawn()
        .expect("our own program");
    let mut line = String::new();
    let mut out = BufReader::new(child.stdout.take().unwrap());
    let mut text = String::new();
    while !text.trim_end().ends_with('}') {
        line.clear();
        assert!(out.read_line(&mut line).unwrap() > 0, "the bench said nothing: {text}");
        text.push_str(&line);
    }
    let said: serde_json::Value = serde_json::from_str(&text).unwrap();
    (Running(child), said["bench"].as_str().unwrap().trim_end_matches('/').to_owned())
}

fn free_port() -> u16 {
    TcpListener::bind(("127.0.0.1", 0)).unwrap().local_addr().unwrap().port()
}

/// Starts the browser's driver.
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

async fn browser(port: u16, folder: &Path, width: u32, height: u32) -> Client {
    let mut wanted = serde_json::Map::new();
    wanted.insert(
        "goog:chromeOptions".to_owned(),
        json!({
            "args": [
                "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--hide-scrollbars",
                "--disable-background-networking", "--disable-component-update", "--disable-sync",
                format!("--user-data-dir={}", folder.join(format!("browser-{width}")).display()),
                format!("--window-size={width},{height}"),
            ],
            "mobileEmulation": {"deviceMetrics": {"width": width, "height": height, "pixelRatio": 1.0, "touch": true}},
        }),
    );
    ClientBuilder::new(HttpConnector::new())
        .capabilities(wanted)
        .connect(&format!("http://127.0.0.1:{port}"))
        .await
        .expect("a browser")
}

/// Keeps a picture of what is seen.
async fn seen(client: &Client, name: &str) {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../target/screens");
    std::fs::create_dir_all(&folder).unwrap();
    std::fs::write(folder.join(format!("{name}.png")), client.screenshot().await.unwrap()).unwrap();
}

async fn words(client: &Client) -> String {
    // By script and not by element: the page may be exchanged while it is read.
    let text = client.execute("return document.body ? document.body.innerText : ''", Vec::new()).await.unwrap();
    text.as_str().unwrap_or_default().to_owned()
}

/// Waits until the page says something.
async fn until_it_says(client: &Client, text: &str) {
    for _ in 0..200 {
        if words(client).await.contains(text) {
            return;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    panic!("the page never says `{text}`:\n{}", words(client).await);
}

/// Nothing on the page reaches past its right edge, and everything to be tapped is large enough.
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

/// One page or paper by plain HTTP: status and body.
fn fetched(base: &str, path: &str) -> (u16, Vec<u8>) {
    let host = base.trim_start_matches("http://");
    let mut stream = TcpStream::connect(host).unwrap();
    write!(stream, "GET {path} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n").unwrap();
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).unwrap();
    let end = answer.windows(4).position(|w| w == b"\r\n\r\n").expect("a head") + 4;
    let head = String::from_utf8_lossy(&answer[..end]).into_owned();
    let status = head.split_whitespace().nth(1).and_then(|s| s.parse().ok()).expect("a status");
    (status, answer[end..].to_vec())
}

async fn tap(client: &Client, selector: &str) {
    let element = client.find(Locator::Css(selector)).await.unwrap_or_else(|e| panic!("{selector}: {e}"));
    element.click().await.unwrap_or_else(|e| panic!("{selector}: {e}"));
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_phone_works_a_job_from_the_wall_to_the_papers() {
    let folder = tempfile::tempdir().unwrap();
    let id = half_told(folder.path());
    let (_serving, base) = bench(folder.path());
    let (_driving, port) = driver();
    let client = browser(port, folder.path(), 390, 844).await;

    client.goto(&base).await.unwrap();
    until_it_says(&client, "Tolvane Carrier, boiled on the hill").await;
    fits(&client, "the wall").await;
    seen(&client, "390-wall").await;
    tap(&client, "a.jobname").await;

    // Every moment answers, fits, and carries the end of the chain.
    for moment in ["hear", "test", "strip", "choose", "order", "build", "prove", "hand-back"] {
        client.goto(&format!("{base}/jobs/{id}/{moment}")).await.unwrap();
        until_it_says(&client, "Chain ends").await;
        fits(&client, moment).await;
        seen(&client, &format!("390-{moment}")).await;
    }

    // A cranking compression: hold cautions are ticked before there is a field at all.
    let place = |cylinder: u8| {
        format!("{base}/jobs/{id}/enter?check=compression-dry&reading=pressure&position=cyl-{cylinder}&unit=bar")
    };
    client.goto(&place(1)).await.unwrap();
    assert!(client.find(Locator::Css("input[name=value]")).await.is_err(), "a field beside an unread hold");
    let mut holds = 0;
    while client.find(Locator::Css(".caution.hold form button")).await.is_ok() {
        tap(&client, ".caution.hold form button").await;
        holds += 1;
        assert!(holds < 12, "a hold that cannot be ticked");
        tokio::time::sleep(Duration::from_millis(150)).await;
    }
    assert!(holds > 0, "cranking has hold cautions");
    seen(&client, "390-keypad").await;

    let mut kept = Vec::new();
    for (cylinder, figure) in [(1, "12.1"), (2, "12.0"), (3, "8.4"), (4, "8.6")] {
        client.goto(&place(cylinder)).await.unwrap();
        fits(&client, "the keypad").await;
        for key in figure.chars() {
            let key = client.find(Locator::Css(&format!(".keypad button[data-key='{key}']"))).await.unwrap();
            key.click().await.unwrap();
        }
        let field = client.find(Locator::Css("input[name=value]")).await.unwrap();
        assert_eq!(field.prop("value").await.unwrap().as_deref(), Some(figure), "the keypad types into the field");
        if let Ok(choice) = client.find(Locator::Css("select[name=unit]")).await {
            choice.select_by_value("bar").await.unwrap();
        }
        tap(&client, "form button.keep").await;
        until_it_says(&client, &format!("{figure} bar")).await;
        kept.push(figure);
    }
    seen(&client, "390-kept").await;

    // The readings survive a reload, are judged, and the advice has followed them.
    client.goto(&format!("{base}/jobs/{id}/test")).await.unwrap();
    for figure in kept {
        until_it_says(&client, &format!("{figure} bar")).await;
    }
    until_it_says(&client, "outside").await;
    seen(&client, "390-test-after").await;

    // The papers that the job is ready for, and the estimate that waits for its cause.
    for paper in ["customer-report", "machine-order", "parts-list", "build-sheet", "proof"] {
        let (status, body) = fetched(&base, &format!("/jobs/{id}/papers/{paper}.pdf?size=a4"));
        assert_eq!(status, 200, "{paper}");
        assert!(body.windows(5).take(64).any(|w| w == b"%PDF-"), "{paper}");
    }
    let (status, why) = fetched(&base, &format!("/jobs/{id}/papers/estimate.pdf?size=letter"));
    assert_eq!(status, 409, "{}", String::from_utf8_lossy(&why));
    client.close().await.unwrap();

    // The same pages on a tablet and on a wide screen.
    for (width, height) in [(820, 1180), (1440, 900)] {
        let client = browser(port, folder.path(), width, height).await;
        for moment in ["test", "choose"] {
            client.goto(&format!("{base}/jobs/{id}/{moment}")).await.unwrap();
            until_it_says(&client, "Chain ends").await;
            fits(&client, moment).await;
            seen(&client, &format!("{width}-{moment}")).await;
        }
        client.close().await.unwrap();
    }
}
