//! Every screen as somebody meets it who hears it, who sees little, who makes it four times larger, or who has no pointer.
//!
//! One bench serves the three invented jobs and one that is half way; a real browser walks its pages. What axe-core finds is
//! named with its page and its element. Screenshots of the journey by keys are left in `target/screens/`. Without a browser and
//! its driver the tests fail and say what to install.
#![expect(
    clippy::expect_used,
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test stops at the first surprise, and drives other programs"
)]

use std::collections::{BTreeMap, BTreeSet};
use std::net::{TcpListener, TcpStream};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::time::Duration;

use fantoccini::actions::{InputSource, KeyAction, KeyActions};
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
            ("residues", "/residues"),
            ("sources", "/sources"),
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
                "bags",
                "bags?joint=head",
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
        ("half way", OSTRAND, 178),
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
        ("b", OSTRAND, 178),
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

/// Keeps a picture of what is seen.
async fn picture(client: &Client, name: &str) {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../target/screens");
    std::fs::create_dir_all(&folder).unwrap();
    std::fs::write(folder.join(format!("{name}.png")), client.screenshot().await.unwrap()).unwrap();
}

const TAB: char = '\u{E004}';
const ENTER: char = '\u{E007}';

/// Somebody with a keyboard and nothing else.
struct Keys {
    client: Client,
    stops: usize,
}

impl Keys {
    async fn press(&self, keys: &str) {
        let mut all = KeyActions::new("keys".to_owned());
        for value in keys.chars() {
            all = all.then(KeyAction::Down { value }).then(KeyAction::Up { value });
        }
        self.client.perform_actions(all).await.unwrap();
    }

    /// What has the focus: whether it is what is looked for, whether that is seen, and how it is called.
    async fn stop(&self, wanted: &str) -> Value {
        let script = "const e = document.activeElement; if (!e || e === document.body) return null; \
            const s = getComputedStyle(e), r = e.getBoundingClientRect(); \
            window.stops = window.stops || new Map(); \
            if (!window.stops.has(e)) window.stops.set(e, window.stops.size); \
            return {there: e.matches(arguments[0]), \
                ring: s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2, \
                seen: r.width > 0 && r.height > 0 && r.bottom > 0 && r.top < innerHeight && r.right > 0 && r.left < innerWidth, \
                which: window.stops.get(e), name: e.outerHTML.slice(0, 120)}";
        self.client.execute(script, vec![json!(wanted)]).await.unwrap()
    }

    /// Goes on from stop to stop until it stands on what is wanted; every stop shows where one is.
    async fn walk_to(&mut self, wanted: &str) {
        let mut last = Value::Null;
        for _ in 0..600 {
            self.press(&TAB.to_string()).await;
            let stop = self.stop(wanted).await;
            if stop.is_null() {
                // Past the last stop of the page the browser itself is next, then the first again.
                assert!(!last.is_null(), "no stop between two ends on the way to {wanted}");
                last = stop;
                continue;
            }
            self.stops += 1;
            assert_eq!(stop["ring"], json!(true), "nothing shows that one stands on {}", stop["name"]);
            assert_eq!(stop["seen"], json!(true), "out of sight: {}", stop["name"]);
            assert_ne!(stop["which"], last["which"], "a trap: {}", stop["name"]);
            if stop["there"] == json!(true) {
                return;
            }
            last = stop;
        }
        let page = self.client.current_url().await.unwrap();
        panic!("the keys do not lead to {wanted} on {page}");
    }

    /// Presses Enter where one stands, and waits for the page that it leads to.
    async fn enter(&self) {
        self.client.execute("window.left = 1", Vec::new()).await.unwrap();
        self.press(&ENTER.to_string()).await;
        for _ in 0..400 {
            let there = "return !window.left && document.readyState === 'complete'";
            // Between two pages there is nothing to ask.
            if self.client.execute(there, Vec::new()).await.is_ok_and(|there| there == json!(true)) {
                return rests(&self.client).await;
            }
            tokio::time::sleep(Duration::from_millis(25)).await;
        }
        panic!("Enter leads nowhere on {}", self.client.current_url().await.unwrap());
    }

    /// Opens the folds around a form, the outermost first.
    async fn unfold(&mut self, form: &str) {
        let script = "document.querySelectorAll('[data-wanted]').forEach(e => delete e.dataset.wanted); \
            const f = document.querySelector(arguments[0]); f.dataset.wanted = 1; let n = 0; \
            for (let d = f.closest('details'); d; d = d.parentElement.closest('details')) if (!d.open) { d.dataset.way = ++n; } return n";
        let folds = self.client.execute(script, vec![json!(form)]).await.unwrap();
        for fold in (1..=folds.as_u64().unwrap()).rev() {
            self.walk_to(&format!("details[data-way='{fold}'] > summary")).await;
            self.press(&ENTER.to_string()).await;
        }
    }

    async fn seen(&self, name: &str) {
        picture(&self.client, &format!("1440-keys-{name}")).await;
    }
}

/// One starts the time at the field, the other has the job open and reads nothing anew.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn two_people_see_the_same_time_running_without_reading_the_page_again() {
    let shop = Shop::told(&[("a", TOLVANE, 34)]).await;
    let (one, other) = (shop.browser(390, 844).await, shop.browser(1440, 900).await);
    let page = format!("{}/jobs/{}/test", shop.base, shop.jobs[0]);
    open(&other, &page).await;
    let field = "enter?check=cooling-pressure-hold&position=engine";
    open(&one, &page.replace("/test", &format!("/{field}"))).await;
    for _ in 0..6 {
        let Ok(tick) = one.find(fantoccini::Locator::Css(".caution.hold form button")).await else { break };
        tick.click().await.unwrap();
        tokio::time::sleep(Duration::from_millis(1500)).await;
    }
    one.find(fantoccini::Locator::Css(".start button")).await.unwrap().click().await.unwrap();
    let line = "const l = document.querySelector('header.job .timed'); return l && l.innerText.replace(/\\s+/g, ' ')";
    let mut seen = [Value::Null, Value::Null];
    for _ in 0..200 {
        seen = [one.execute(line, Vec::new()).await.unwrap(), other.execute(line, Vec::new()).await.unwrap()];
        if seen[0] == seen[1] && seen[0].as_str().is_some_and(|said| said.contains("15 minutes left since")) {
            break;
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    assert!(seen[0].as_str().unwrap_or_default().contains("15 minutes left since"), "{seen:?}");
    assert_eq!(seen[0], seen[1], "both are told the same");
    // The clock of the page runs on by itself: sixteen minutes later it is ready.
    let later = "const now = Date.now(); Date.now = () => now + 16 * 60000";
    other.execute(later, Vec::new()).await.unwrap();
    for _ in 0..100 {
        seen[1] = other.execute(line, Vec::new()).await.unwrap();
        if seen[1].as_str().unwrap_or_default().contains("ready: read it now") {
            break;
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    assert!(seen[1].as_str().unwrap_or_default().contains("ready: read it now"), "{seen:?}");
    let said = other.execute("return document.querySelector('.status').innerText", Vec::new()).await.unwrap();
    assert!(said.as_str().unwrap().contains("ready: read it now"), "{said}");
    picture(&one, "390-standing").await;
    picture(&other, "1440-standing").await;
    one.close().await.unwrap();
    other.close().await.unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn with_keys_alone_a_job_is_opened_a_reading_entered_work_chosen_and_a_hold_point_signed() {
    // As it stood before the work was chosen; the yes to the repair is there.
    let upto = TOLVANE.lines().position(|line| line.contains("\"option-chosen\"")).unwrap();
    let shop = Shop::told(&[("a", TOLVANE, upto)]).await;
    let job = shop.jobs[0].clone();
    let client = shop.browser(1440, 900).await;
    let mut keys = Keys { client: client.clone(), stops: 0 };
    let kept = || async {
        let entries = shop.store.entries_of(job.parse().unwrap()).await.unwrap();
        serde_json::from_str::<Value>(&entries.last().unwrap().line).unwrap()
    };
    open(&client, &format!("{}/", shop.base)).await;
    keys.walk_to(&format!("main a[href^='/jobs/{job}']")).await;
    keys.seen("wall").await;
    keys.enter().await;

    keys.walk_to(&format!("nav.tabs a[href='/jobs/{job}/test']")).await;
    keys.enter().await;
    // The list of checks takes the letters of a name.
    keys.walk_to("#another-check").await;
    let name = "[...document.querySelectorAll('#another-check option')].find(o => o.value === 'head-hardness-test').textContent.trim()";
    let name = client.execute(&format!("return {name}"), Vec::new()).await.unwrap();
    keys.press(&name.as_str().unwrap().chars().take(30).collect::<String>()).await;
    let chosen = client.execute("return document.querySelector('#another-check').value", Vec::new()).await.unwrap();
    assert_eq!(chosen, json!("head-hardness-test"), "the letters of {name} choose it");
    keys.walk_to("form:has(#another-check) button").await;
    keys.enter().await;
    for _ in 0..6 {
        let hold = client.execute("return !!document.querySelector('.caution.hold form button')", Vec::new()).await;
        if hold.unwrap() == json!(false) {
            break;
        }
        keys.walk_to(".caution.hold form button").await;
        keys.enter().await;
    }
    keys.walk_to("input[name=value]").await;
    keys.press("57").await;
    keys.seen("reading").await;
    keys.enter().await;
    let entry = kept().await;
    assert_eq!(
        (&entry["kind"], &entry["body"]["check"]),
        (&json!("reading-taken"), &json!("head-hardness-test")),
        "{entry}"
    );
    assert_eq!(entry["body"]["value"]["text"], json!("57"), "{entry}");

    keys.walk_to(&format!("nav.tabs a[href='/jobs/{job}/choose']")).await;
    keys.enter().await;
    let form = "form[action$='/tell/option-chosen']:has(input[name=option][value=exchange-recon-heads])";
    keys.unfold(form).await;
    for (field, said) in [("by", "owner"), ("reason", "soft head, sound bottom end")] {
        keys.walk_to(&format!("{form} [name={field}]")).await;
        keys.press(said).await;
    }
    keys.walk_to(&format!("{form} button")).await;
    keys.seen("choice").await;
    keys.enter().await;
    let entry = kept().await;
    assert_eq!(entry["kind"], json!("option-chosen"), "{entry}");
    assert_eq!(entry["body"]["option"], json!("exchange-recon-heads"), "{entry}");

    keys.walk_to(&format!("nav.tabs a[href='/jobs/{job}/build']")).await;
    keys.enter().await;
    let form = "form[action$='/tell/hold-point-signed']";
    keys.unfold(form).await;
    let form = "form[data-wanted]";
    let hold = format!("return document.querySelector('{form} [name=hold]').value");
    let hold = client.execute(&hold, Vec::new()).await.unwrap();
    keys.walk_to(&format!("{form} [name=by]")).await;
    let filled = client.execute("return document.activeElement.value", Vec::new()).await.unwrap();
    if filled == json!("") {
        keys.press("Nell").await;
    }
    keys.walk_to(&format!("{form} button")).await;
    keys.seen("hold-point").await;
    keys.enter().await;
    let entry = kept().await;
    assert_eq!((&entry["kind"], &entry["body"]["hold"]), (&json!("hold-point-signed"), &hold), "{entry}");
    assert!(keys.stops > 100, "{}", keys.stops);
    client.close().await.unwrap();
}
