//! Every screen as somebody meets it who hears it, who sees little, or who makes it four times larger.
//!
//! One bench serves the three invented jobs and one that is half way; a real browser walks its pages. What axe-core finds is
//! named with its page and its element. Without a browser and its driver the tests fail and say what to install.
#![expect(
    clippy::expect_used,
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test stops at the first surprise, and drives other programs"
)]

use std::collections::{BTreeMap, BTreeSet};
use std::net::{TcpListener, TcpStream};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::time::Duration;

use fantoccini::{Client, ClientBuilder};
use hyper_util::client::legacy::connect::HttpConnector;
use knowledge::Knowledge;
use serde_json::{Value, json};
use server::Bench;
use store::{Opening, SqliteStore, Store};

const TOLVANE: &str = include_str!("../../../cases/0001-tolvane-carrier/story.jsonl");
const OSTRAND: &str = include_str!("../../../cases/0002-ostrand-h6/story.jsonl");
const MERROWIN: &str = include_str!("../../../cases/0003-merrowin-f2/story.jsonl");
/// The judge of pages; `axe/README.md` says where it is from.
const AXE: &str = include_str!("axe/axe.min.js");
const MOMENTS: [&str; 8] = ["hear", "test", "strip", "choose", "order", "build", "prove", "hand-back"];

/// A program that ends with the test.
struct Running(Child);

impl Drop for Running {
    fn drop(&mut self) {
        let _gone = self.0.kill();
        let _reaped = self.0.wait();
    }
}

/// A bench on a port, with stories told as far as named.
struct Shop {
    base: String,
    jobs: Vec<String>,
    store: SqliteStore,
    _driving: Running,
    driver: u16,
    folder: tempfile::TempDir,
}

impl Shop {
    async fn told(stories: &[(&str, &str, usize)]) -> Shop {
        let folder = tempfile::tempdir().unwrap();
        let store = SqliteStore::open(Opening::of(folder.path().join("record"))).await.unwrap();
        let mut jobs = Vec::new();
        for (seed, story, lines) in stories {
            let text: String = story.lines().take(*lines).map(|l| format!("{l}\n")).collect();
            let entries = logbook::seal_story(seed, &logbook::story_from_lines(&text).unwrap()).unwrap();
            store.append(&entries).await.unwrap();
            jobs.push(entries.first().unwrap().job().to_string());
        }
        let bench = Bench::new(store.clone(), Arc::new(Knowledge::builtin().unwrap()), "Nell");
        let listener = server::bind(0).await.unwrap();
        let base = format!("http://{}", listener.local_addr().unwrap());
        tokio::spawn(server::serve(bench, listener, None, std::future::pending()));
        let driver = TcpListener::bind(("127.0.0.1", 0)).unwrap().local_addr().unwrap().port();
        let driving = Command::new("chromedriver")
            .arg(format!("--port={driver}"))
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("chromedriver: install the packages chromium and chromium-driver, or run ./test, which does");
        let driving = Running(driving);
        for _ in 0..100 {
            if TcpStream::connect(("127.0.0.1", driver)).is_ok() {
                break;
            }
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
        Shop { base, jobs, store, _driving: driving, driver, folder }
    }

    /// A browser of a size; a phone is touched, a wide screen is not.
    async fn browser(&self, width: u32, height: u32) -> Client {
        let mut options = json!({"args": [
            "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--hide-scrollbars",
            "--disable-background-networking", "--disable-component-update", "--disable-sync",
            format!("--user-data-dir={}", self.folder.path().join(format!("browser-{width}")).display()),
            format!("--window-size={width},{height}"),
        ]});
        if width < 1000 {
            let metrics = json!({"width": width, "height": height, "pixelRatio": 1.0, "touch": true});
            options["mobileEmulation"] = json!({"deviceMetrics": metrics});
        }
        let wanted = serde_json::Map::from_iter([("goog:chromeOptions".to_owned(), options)]);
        ClientBuilder::new(HttpConnector::new())
            .capabilities(wanted)
            .connect(&format!("http://127.0.0.1:{}", self.driver))
            .await
            .expect("a browser")
    }

    /// Every kind of page, each with a name; of a closed job all that it has, of an open one its moments.
    async fn pages(&self) -> Vec<(String, String)> {
        let fixed = [
            ("wall", "/"),
            ("nothing found", "/?find=nothing-of-the-sort"),
            ("no such page", "/nothing"),
            ("no such job", "/jobs/019c8e60-4600-7000-8fb2-000000000000/test"),
            ("gauges", "/gauges"),
            ("queue", "/queue"),
            ("devices", "/devices"),
            ("no such code", "/machine-work?code=ABC"),
            ("calculators", "/calculators"),
            ("calculator", "/calculators/bearing-clearance"),
            ("calculator answered", "/calculators/unit?value=7%20thou&to=mm"),
        ];
        let mut out: Vec<_> = fixed.iter().map(|(name, path)| ((*name).to_owned(), (*path).to_owned())).collect();
        for (n, job) in self.jobs.iter().enumerate() {
            let mut add = |rest: &str| out.push((format!("job {n} {rest}"), format!("/jobs/{job}/{rest}")));
            MOMENTS.iter().for_each(|moment| add(moment));
            let entries = self.store.entries_of(job.parse().unwrap()).await.unwrap();
            let entries: Vec<Value> = entries.iter().map(|e| serde_json::from_str(&e.line).unwrap()).collect();
            let number = entries.iter().find(|e| e["kind"] == "reading-taken" && e["body"]["value"].is_object());
            if let Some(id) = number.and_then(|e| e["id"].as_str()) {
                add(&format!("entries/{id}"));
                add(&format!("kept/{id}"));
            }
            for rest in [
                "place/cyl-1",
                "place/bank-A",
                "enter?check=head-straightedge&position=bank-A",
                "enter?check=compression-dry&reading=pressure&position=cyl-1",
                "enter?check=proof-compression&reading=pressure&position=cyl-1&phase=as-left",
                "enter?check=proof-cooling-hold&phase=as-left",
                "bolts",
            ] {
                // Each kind of page once closed and once open; the moments of every job.
                if n == 0 || n + 1 == self.jobs.len() {
                    add(rest);
                }
            }
            if n == 0 {
                add("place/cyl-99");
                add("enter?check=no-such-check");
                add("bolts?joint=head&position=bank-A&stage=4&angle=90");
            }
        }
        out
    }
}

/// Opens a page and waits until its work-up is there.
async fn open(client: &Client, address: &str) {
    client.goto(address).await.unwrap();
    rests(client).await;
}

async fn rests(client: &Client) {
    let under_way = ["Working the readings", "work-up is under way", "being weighed", "hangs on is being worked"];
    for _ in 0..1200 {
        let text = client.execute("return document.body ? document.body.innerText : ''", Vec::new()).await.unwrap();
        let text = text.as_str().unwrap_or_default().to_owned();
        if !under_way.iter().any(|words| text.contains(words)) {
            return;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    panic!("the work-up does not come");
}

const UNFOLD: &str = "document.querySelectorAll('main details').forEach(d => d.open = true)";

/// Has axe-core look at a page; gives each finding that is serious or critical, with its elements.
const LOOK: &str = "const [rules, done] = [arguments[0], arguments[arguments.length - 1]]; \
    const only = rules ? {type: 'rule', values: rules} \
        : {type: 'tag', values: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']}; \
    axe.run(document, {runOnly: only, resultTypes: ['violations'], \
        rules: rules ? {} : {'target-size': {enabled: true}, 'color-contrast': {enabled: false}, 'color-contrast-enhanced': {enabled: true}}}) \
    .then(r => done(r.violations.filter(v => v.impact === 'serious' || v.impact === 'critical') \
        .flatMap(v => v.nodes.slice(0, 4).map(n => v.id + ': ' + n.html.slice(0, 140) + ' ' + n.failureSummary.replace(/\\s+/g, ' ').slice(0, 160)))), \
        e => done(['axe-core broke off: ' + e]))";

/// The findings of one kind of page, in both lights, with every fold open.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn axe_core_finds_nothing_serious_on_any_screen_in_either_light() {
    let shop = Shop::told(&[
        ("a", TOLVANE, usize::MAX),
        ("b", OSTRAND, usize::MAX),
        ("c", MERROWIN, usize::MAX),
        ("half way", OSTRAND, 171),
    ])
    .await;
    let client = shop.browser(390, 844).await;
    let pages = shop.pages().await;
    let mut found: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    let mut looked = 0;
    for (name, path) in &pages {
        open(&client, &format!("{}{path}", shop.base)).await;
        client.execute(UNFOLD, Vec::new()).await.unwrap();
        client.execute(AXE, Vec::new()).await.unwrap();
        // Names, sequence and sizes are the same in both lights; only the contrast is looked at twice.
        let contrast = json!(["color-contrast-enhanced", "link-in-text-block"]);
        for (light, rules) in [("light", Value::Null), ("dark", contrast)] {
            client.execute("document.documentElement.dataset.theme = arguments[0]", vec![json!(light)]).await.unwrap();
            let said = client.execute_async(LOOK, vec![rules]).await.unwrap();
            for finding in said.as_array().expect("a list of findings") {
                found.entry(finding.as_str().unwrap().to_owned()).or_default().insert(format!("{name}, {light}"));
            }
            looked += 1;
        }
    }
    client.close().await.unwrap();
    assert!(looked >= 100, "only {looked} looks");
    assert!(found.is_empty(), "{} findings: {found:#?}", found.len());
}

/// WCAG 2.2, 1.4.10: a page 1280 px wide made four times larger has 320 px by 256 px to stand in.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn no_page_scrolls_sideways_at_320_px_nor_four_times_enlarged() {
    let shop = Shop::told(&[
        ("a", TOLVANE, usize::MAX),
        ("b", OSTRAND, 171),
        ("c", MERROWIN, usize::MAX),
        ("early", TOLVANE, 60),
    ])
    .await;
    let client = shop.browser(320, 256).await;
    let mut wide = Vec::new();
    for (name, path) in shop.pages().await {
        open(&client, &format!("{}{path}", shop.base)).await;
        for folds in ["shut", "open"] {
            if folds == "open" {
                client.execute(UNFOLD, Vec::new()).await.unwrap();
            }
            let script = "const right = e => e.getBoundingClientRect().right; \
                const inside = e => { for (let p = e.parentElement; p && p !== document.body; p = p.parentElement) \
                    if (getComputedStyle(p).overflowX !== 'visible') return true; return false; }; \
                return [innerWidth, document.documentElement.scrollWidth, [...document.querySelectorAll('body *')] \
                    .filter(e => right(e) > 320.5 && !inside(e)).slice(0, 3).map(e => e.outerHTML.slice(0, 120))]";
            let said = client.execute(script, Vec::new()).await.unwrap();
            if said[0] != json!(320) || said[1].as_f64() > Some(320.0) {
                wide.push(format!("{name}, folds {folds}: {said}"));
            }
        }
    }
    client.close().await.unwrap();
    assert!(wide.is_empty(), "{wide:#?}");
}
