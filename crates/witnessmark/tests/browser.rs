//! The bench as a person with a phone uses it: the built binary serves a record, a browser of phone size works it by touch.
//!
//! The first invented job is told whole, from the first question to the last paper, through the pages alone. The test
//! walks the lines of its story; what a line needs is a page, a form and its fields, whichever the line is.
//!
//! Screenshots are left in `target/screens/`. With `WITNESSMARK_SCREENS=all` every page of every invented job is pictured
//! at three widths, light and dark; without it, a few of them. Without a browser and its driver the test fails and says
//! what to install.

#![expect(
    clippy::expect_used,
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test stops at the first surprise, and drives other programs"
)]

#[path = "browser/lan.rs"]
mod lan;

use std::collections::{BTreeMap, BTreeSet};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use fantoccini::elements::{Element, ElementRef};
use fantoccini::error::CmdError;
use fantoccini::{Client, ClientBuilder, Locator};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Value, json};

const STORY: &str = include_str!("../../../cases/0001-tolvane-carrier/story.jsonl");
/// Jobs that are still open: name of the pages, story, title, and how many of its lines are told.
const HALFWAY: [(&str, &str, &str, usize); 2] = [
    ("early", STORY, "Tolvane Carrier, boiled on the hill", 60),
    (
        "halfway",
        include_str!("../../../cases/0002-ostrand-h6/story.jsonl"),
        "Ostrand H6 flatbed, shakes and smokes white cold",
        178,
    ),
];

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

/// Starts the bench; answers where it is.
fn bench(folder: &Path, store: &str) -> (Running, String) {
    let mut child = ours(folder, &["--json", "--store", store, "serve", "--port", "0"])
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

/// One page of the HTTP interface.
fn asked(base: &str, path: &str) -> Value {
    let (status, body) = fetched(base, path);
    let text = String::from_utf8_lossy(&body);
    assert_eq!(status, 200, "{path}: {text}");
    serde_json::from_str(&text).unwrap_or_else(|e| panic!("{path}: {e}: {text}"))
}

/// The leaves of a body, as the fields of a form name them.
fn leaves(at: &str, value: &Value, out: &mut BTreeMap<String, String>) {
    let under = |part: &str| if at.is_empty() { part.to_owned() } else { format!("{at}.{part}") };
    match value {
        Value::Object(map) => {
            let part = |name: &str| map.get(name).and_then(Value::as_str);
            match (part("text"), part("unit"), part("amount"), part("currency"), map.len()) {
                (Some(text), Some(unit), _, _, 2) => drop(out.insert(at.to_owned(), format!("{text} {unit}"))),
                (_, _, Some(amount), Some(currency), 2) => {
                    drop(out.insert(at.to_owned(), format!("{currency} {amount}")))
                }
                _ => map.iter().for_each(|(k, v)| leaves(&under(k), v, out)),
            }
        }
        Value::Array(list) if !list.is_empty() && list.iter().all(Value::is_string) => {
            let lines: Vec<&str> = list.iter().filter_map(Value::as_str).collect();
            out.insert(at.to_owned(), lines.join("\n"));
        }
        // Bolts are typed one a line, a sequence of them in a row.
        Value::Array(list) if at == "bolts" => {
            let part = |bolt: &Value, name: &str| bolt[name]["text"].as_str().unwrap_or_default().to_owned();
            let wet = |bolt: &Value| if bolt["wet"] == "yes" { " wet" } else { "" };
            let lines: Vec<String> =
                list.iter().map(|b| format!("{} {}{}", part(b, "along"), part(b, "across"), wet(b))).collect();
            out.insert(at.to_owned(), lines.join("\n"));
        }
        Value::Array(list) if at == "sequence" => {
            let places: Vec<String> = list.iter().map(Value::to_string).collect();
            out.insert(at.to_owned(), places.join(" "));
        }
        Value::Array(list) => list.iter().enumerate().for_each(|(n, v)| leaves(&under(&n.to_string()), v, out)),
        Value::String(text) => drop(out.insert(at.to_owned(), text.clone())),
        Value::Null => {}
        Value::Bool(_) | Value::Number(_) => drop(out.insert(at.to_owned(), value.to_string())),
    }
}

/// Finds the form that an entry of some content is written by, and what is to be touched in it.
const FORM: &str = "const [action, said] = arguments; \
    const fits = f => { let n = 0; for (const h of f.querySelectorAll('input[type=hidden]')) { \
        if (h.name === 'entry' || h.name === 'back') continue; \
        if (said[h.name] !== h.value) return -1; n++; } return n; }; \
    const forms = [...document.querySelectorAll('form')].filter(f => new URL(f.action).pathname.endsWith(action)); \
    const form = forms.filter(f => fits(f) >= 0).sort((a, b) => fits(b) - fits(a) || !!a.closest('#panel') - !!b.closest('#panel'))[0]; \
    if (!form) return null; \
    const missing = [], fields = []; let button = form.querySelector('button[type=submit]'); \
    for (const [name, value] of Object.entries(said)) { \
        const named = form.querySelector(`[name=\"${name}\"]`); \
        const boxes = [...form.querySelectorAll(`[name^=\"${name}.\"][type=checkbox]`)]; \
        const key = [...form.querySelectorAll(`button[name=\"${name}\"]`)].find(b => b.value === value); \
        if (key) button = key; \
        else if (named && named.type === 'hidden') continue; \
        else if (named) fields.push([named.tagName === 'SELECT' ? 'select' : named.type, value, named]); \
        else if (boxes.length) for (const v of value.split('\\n')) { \
            const box = boxes.find(b => b.value === v); \
            if (box) fields.push(['checkbox', v, box]); else missing.push(name + '=' + v); } \
        else missing.push(name); } \
    const shut = new Set(); \
    for (const e of [form, button, ...fields.map(f => f[2])]) \
        for (let d = e.closest('details'); d; d = d.parentElement.closest('details')) if (!d.open) shut.add(d); \
    const folds = [...shut].sort((a, b) => a.contains(b) ? -1 : b.contains(a) ? 1 : 0).map(d => d.querySelector(':scope > summary')); \
    return {missing, fields, button, folds};";

/// The page on which entries of a kind are written.
fn page_of(kind: &str) -> &'static str {
    match kind {
        "complaint-heard" | "engine-described" | "vehicle-described" | "attribute-told" | "money-told"
        | "promise-made" | "customer-told" | "outside-answered" => "hear",
        "approval-asked"
        | "approval-given"
        | "limits-told"
        | "approval-refused"
        | "option-chosen"
        | "option-ruled-out"
        | "cause-named"
        | "cause-unknown-signed" => "choose",
        "quote-received"
        | "cost-booked"
        | "time-worked"
        | "part-ordered"
        | "part-arrived"
        | "part-returned"
        | "machine-order-sent"
        | "machine-work-returned" => "order",
        "build-step-done"
        | "hold-point-signed"
        | "hold-point-passed-open"
        | "bag-emptied"
        | "stage-left-out"
        | "bolts-placed"
        | "bolt-tightened"
        | "bolt-restarted"
        | "joint-disturbed"
        | "part-fitted" => "build",
        "engine-run" | "outcome-found" => "prove",
        "handed-back" | "comeback-opened" | "comeback-decided" | "job-closed" => "hand-back",
        _ => "strip",
    }
}

/// The page from which a reading of a phase is entered.
fn page_of_phase(phase: &str) -> &'static str {
    match phase {
        "arrival" => "order",
        "as-left" => "prove",
        "recheck" => "hand-back",
        _ => "test",
    }
}

type Touched = Result<(), CmdError>;

/// A person with a phone at a bench.
struct Hand {
    client: Client,
    base: String,
    folder: PathBuf,
    job: String,
    who: String,
    kept: usize,
    pictured: BTreeSet<String>,
}

impl Hand {
    async fn path(&self) -> Result<String, CmdError> {
        Ok(self.client.current_url().await?.as_str().trim_start_matches(&self.base).to_owned())
    }

    fn element(&self, found: &Value) -> Element {
        let id = found.as_object().and_then(|o| o.values().next()).and_then(Value::as_str).expect("an element");
        Element::from_element_id(self.client.clone(), ElementRef::from(id.to_owned()))
    }

    async fn tap(&self, selector: &str) -> Touched {
        self.client.find(Locator::Css(selector)).await?.click().await
    }

    /// Touches what leads to another page, and waits until that page is there.
    async fn leave(&self, by: &Element) -> Touched {
        self.client.execute("window.left = 1", Vec::new()).await?;
        by.click().await?;
        for _ in 0..200 {
            let script = "return !window.left && document.readyState === 'complete'";
            // Between two pages there is nothing to ask.
            if self.client.execute(script, Vec::new()).await.is_ok_and(|there| there == json!(true)) {
                return Ok(());
            }
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
        Err(CmdError::WaitTimeout)
    }

    async fn leave_by(&self, selector: &str) -> Touched {
        self.leave(&self.client.find(Locator::Css(selector)).await?).await
    }

    /// Goes to a page of the job by its tab.
    async fn moment(&self, word: &str) -> Touched {
        let there = format!("/jobs/{}/{word}", self.job);
        if self.path().await?.split(['?', '#']).next() == Some(there.as_str()) {
            return Ok(());
        }
        let tab = format!("nav.tabs a[href='{there}']");
        // At the field only the way back stays of the tabs.
        if !self.client.find(Locator::Css(&tab)).await?.is_displayed().await? {
            self.leave_by("nav.tabs a[aria-current]").await?;
        }
        if self.path().await?.split(['?', '#']).next() == Some(there.as_str()) {
            return Ok(());
        }
        self.leave_by(&tab).await
    }

    /// Says who works here now.
    async fn called(&mut self, who: &str) -> Touched {
        if self.who == who {
            return Ok(());
        }
        self.tap("details.who summary").await?;
        let field = self.client.find(Locator::Css("#who-name")).await?;
        field.clear().await?;
        field.send_keys(who).await?;
        self.leave_by("details.who button").await?;
        who.clone_into(&mut self.who);
        Ok(())
    }

    async fn fill(&self, kind: &str, value: &str, field: &Element) -> Touched {
        match kind {
            "select" => field.select_by_value(value).await,
            "checkbox" => field.click().await,
            // What the day picker gives; its keys follow the language of the browser.
            "date" => {
                let script = "arguments[0].value = arguments[1]";
                self.client.execute(script, vec![serde_json::to_value(field)?, json!(value)]).await.map(drop)
            }
            "file" => field.send_keys(value).await,
            _ => {
                field.clear().await?;
                field.send_keys(value).await
            }
        }
    }

    /// Fills the form of the page that takes this content, and keeps it.
    async fn write(&self, action: &str, said: &BTreeMap<String, String>) -> Touched {
        let mut found = Value::Null;
        for _ in 0..200 {
            found = self.client.execute(FORM, vec![json!(action), json!(said)]).await?;
            if !found.is_null() {
                break;
            }
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
        assert!(
            !found.is_null(),
            "{} has no form for {action} {said:?}\n{}",
            self.path().await?,
            words(&self.client).await
        );
        assert_eq!(found["missing"], json!([]), "the form {action} does not ask for this");
        for fold in found["folds"].as_array().unwrap() {
            self.element(fold).click().await?;
        }
        for field in found["fields"].as_array().unwrap() {
            let (kind, value) = (field[0].as_str().unwrap(), field[1].as_str().unwrap());
            self.fill(kind, value, &self.element(&field[2])).await?;
        }
        self.leave(&self.element(&found["button"])).await
    }

    /// Reads and ticks the cautions that hold a field up; the bench asks for more of them than a story tells.
    async fn heed(&self) -> Touched {
        for _ in 0..12 {
            let Ok(tick) = self.client.find(Locator::Css(".caution.hold form button")).await else { return Ok(()) };
            assert!(
                self.client.find(Locator::Css("input[name=value]")).await.is_err(),
                "a field beside an unread hold"
            );
            self.leave(&tick).await?;
        }
        panic!("a hold that cannot be ticked: {}", words(&self.client).await)
    }

    /// The same where the cautions stand in a fold of a page.
    async fn heed_in(&self, place: &str) -> Touched {
        let script = "const b = document.querySelector(arguments[0]); if (!b) return null; const folds = []; \
            for (let d = b.closest('details'); d; d = d.parentElement.closest('details')) \
                if (!d.open) folds.unshift(d.querySelector(':scope > summary')); return [...folds, b]";
        for _ in 0..12 {
            let button = json!(format!("{place} .caution.hold form button"));
            let found = self.client.execute(script, vec![button]).await?;
            let Some(touch) = found.as_array() else { return Ok(()) };
            let (button, folds) = touch.split_last().expect("a button");
            for fold in folds {
                self.element(fold).click().await?;
            }
            self.leave(&self.element(button)).await?;
        }
        panic!("{place} has a hold that cannot be ticked: {}", words(&self.client).await)
    }

    /// Takes a reading: its check, its place, its number by the keypad or its outcome by its key.
    async fn read(&self, body: &Value) -> Touched {
        let text = |name: &str| body[name].as_str().unwrap_or_default().to_owned();
        let (check, reading, position) = (text("check"), text("reading"), text("position"));
        let phase = body["phase"].as_str().filter(|p| *p != "as-found").unwrap_or_default();
        let address = format!("enter?check={check}&reading={reading}&position={position}&phase={phase}'");
        let offered = self.client.find(Locator::Css(&format!(".go a[href$='{address}]"))).await;
        if let Ok(next) = offered {
            self.leave(&next).await?;
        } else {
            self.moment(page_of_phase(phase)).await?;
            self.client.find(Locator::Css("#another-check")).await?.select_by_value(&check).await?;
            self.leave_by("form:has(#another-check) button").await?;
            for (list, part) in
                [("Places", format!("position={position}&")), ("Readings of this check", format!("reading={reading}&"))]
            {
                let chip = format!("nav[aria-label='{list}'] a[href*='{part}']:not([aria-current])");
                if let Ok(chip) = self.client.find(Locator::Css(&chip)).await {
                    self.leave(&chip).await?;
                }
            }
        }
        self.heed().await?;
        fits(&self.client, &format!("{check} {reading}")).await;
        self.at(&position).await?;
        if let Value::Array(stations) = &body["stations"] {
            return self.lay_an_edge(body, stations).await;
        }
        let mut said = BTreeMap::new();
        for name in ["spot", "note"] {
            said.insert(name, text(name));
        }
        if let Value::Object(t) = &body["temperature"] {
            said.insert("temperature", format!("{} {}", t["text"].as_str().unwrap(), t["unit"].as_str().unwrap()));
        }
        said.retain(|_, value| !value.is_empty());
        if !said.is_empty() {
            self.tap("details:has(#note) > summary").await?;
        }
        for (name, value) in said {
            let field = self.client.find(Locator::Css(&format!("#{name}"))).await?;
            self.fill("text", &value, &field).await?;
        }
        if let Some(outcome) = body["outcome"].as_str() {
            return self.leave_by(&format!("button[name=value][value='{outcome}']")).await;
        }
        let used = format!("{}|{}", text("gauge"), text("label"));
        self.client.find(Locator::Css("#gauge-used")).await?.select_by_value(&used).await?;
        let (number, unit) = (body["value"]["text"].as_str().unwrap(), body["value"]["unit"].as_str().unwrap());
        if let Ok(units) = self.client.find(Locator::Css("select[name=unit]")).await {
            units.select_by_value(unit).await?;
        }
        for key in number.chars() {
            let key = if key == '-' { '±' } else { key };
            self.tap(&format!(".keypad button[data-key='{key}']")).await?;
        }
        let field = self.client.find(Locator::Css("input[name=value]")).await?;
        assert_eq!(field.prop("value").await?.as_deref(), Some(number), "the keypad types into the field");
        seen(&self.client, "390-told-keypad").await;
        self.leave_by(".keypad button.keep").await
    }

    /// Waits until the field stands at a place, as a person who reads its heading does.
    async fn at(&self, position: &str) -> Touched {
        let script = "const p = document.querySelector('.entering input[name=position]'); return p ? p.value : null";
        for _ in 0..500 {
            let there = self.client.execute(script, Vec::new()).await?;
            if there.is_null() || there == json!(position) {
                return Ok(());
            }
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
        panic!("{} never stood at {position}: {}", self.path().await?, words(&self.client).await)
    }

    /// Enters a straightedge station by station, in the fold of its field.
    async fn lay_an_edge(&self, body: &Value, stations: &[Value]) -> Touched {
        let form = "form.stations-form";
        let fold = format!("details:not([open]):has({form}) > summary");
        if let Ok(fold) = self.client.find(Locator::Css(&fold)).await {
            fold.click().await?;
        }
        let text = |name: &str| body[name].as_str().unwrap_or_default();
        let select = |name: &str| format!("{form} select[name='{name}']");
        self.client.find(Locator::Css(&select("spot"))).await?.select_by_value(text("spot")).await?;
        for (row, station) in stations.iter().enumerate() {
            for name in ["along", "enters", "refused"] {
                let Some(figure) = station[name]["text"].as_str() else { continue };
                let field = format!("{form} input[name='{name}-{row}']");
                self.fill("text", figure, &self.client.find(Locator::Css(&field)).await?).await?;
            }
        }
        let used = format!("{}|{}", text("gauge"), text("label"));
        self.client.find(Locator::Css(&format!("{form} #edge-used"))).await?.select_by_value(&used).await?;
        fits(&self.client, "a straightedge station by station").await;
        seen(&self.client, "390-told-straightedge").await;
        self.leave_by(&format!("{form} button.keep")).await
    }

    /// Takes a bolt through a stage: on the walk where it stands, or by beginning one.
    async fn tighten(&self, body: &Value) -> Touched {
        let mut said = BTreeMap::new();
        leaves("", body, &mut said);
        let bolt = said.remove("bolt").unwrap();
        let asked = self.client.execute(
            "const f = document.querySelector('form.bolt'); return f && Object.fromEntries(new FormData(f))",
            Vec::new(),
        );
        let asked = asked.await?;
        let same = said.iter().all(|(k, v)| asked[k] == json!(v));
        if !same || asked["bolt"] != json!(bolt) {
            self.moment("build").await?;
            self.write("/bolts", &said).await?;
        }
        self.leave_by(&format!("form.bolt button[data-bolt='{bolt}']")).await
    }

    /// Keeps a picture: the drawing as the browser shows it stands for what a camera would give.
    async fn photograph(&self, body: &Value) -> Touched {
        let here = self.client.current_url().await?;
        let drawings = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../cases/0001-tolvane-carrier");
        let mut drawings: Vec<PathBuf> = std::fs::read_dir(drawings).unwrap().map(|f| f.unwrap().path()).collect();
        drawings.retain(|p| p.extension().is_some_and(|e| e == "svg"));
        drawings.sort();
        let drawing = drawings[self.kept % drawings.len()].canonicalize().unwrap();
        self.client.goto(&format!("file://{}", drawing.display())).await?;
        let photo = self.folder.join("photo.png");
        std::fs::write(&photo, self.client.screenshot().await?).unwrap();
        self.client.goto(here.as_str()).await?;
        self.moment("strip").await?;
        let mut said = BTreeMap::from([("photo".to_owned(), photo.display().to_string())]);
        leaves("", body, &mut said);
        said.remove("sha256");
        if said.remove("drawn").as_deref() == Some("true") {
            said.insert("drawn".to_owned(), "yes".to_owned());
        }
        self.write("/photos", &said).await
    }

    /// Writes one line of a story through the page and the form that its kind has.
    async fn line(&self, kind: &str, body: &Value) -> Touched {
        match kind {
            "reading-taken" => self.read(body).await,
            "bolt-tightened" => self.tighten(body).await,
            "photo-kept" => self.photograph(body).await,
            _ => {
                let mut said = BTreeMap::new();
                leaves("", body, &mut said);
                // A form has an entry of its own; the one that a body points at goes under another name.
                if let Some(pointed) = said.remove("entry") {
                    said.insert("on-entry".to_owned(), pointed);
                }
                self.moment(page_of(kind)).await?;
                for (part, attribute) in [("stage", "data-stage"), ("fault", "data-check")] {
                    if let Some(id) = said.get(part) {
                        self.heed_in(&format!("[{attribute}='{id}']")).await?;
                    }
                }
                self.write(&format!("/tell/{kind}"), &said).await
            }
        }
    }

    fn entries(&self) -> Vec<Value> {
        let all = asked(&self.base, &format!("/api/1/jobs/{}/entries", self.job));
        all["entries"].as_array().unwrap().clone()
    }

    /// What was kept by the last touch; the record has it, whatever the page says.
    async fn kept(&mut self, kind: &str) -> Option<Value> {
        for _ in 0..60 {
            let mut entries = self.entries();
            let last = entries.pop();
            if entries.len() >= self.kept && last.as_ref().is_some_and(|e| e["kind"] == kind) {
                self.kept = entries.len() + 1;
                return last;
            }
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
        None
    }

    /// Tells one line; a page that brought itself up to date under the finger is touched once more.
    async fn tell(&mut self, by: &str, kind: &str, body: &Value) -> Value {
        let mut stumbled = String::new();
        for _ in 0..6 {
            if let Err(e) = self.called(by).await {
                stumbled = e.to_string();
                continue;
            }
            match self.line(kind, body).await {
                Ok(()) => {
                    if let Some(entry) = self.kept(kind).await {
                        return entry;
                    }
                    panic!("{kind} {body} is not kept; the page says:\n{}", words(&self.client).await);
                }
                Err(e) => stumbled = e.to_string(),
            }
            if let Some(entry) = self.kept(kind).await {
                return entry;
            }
            self.client.refresh().await.unwrap();
        }
        panic!("{kind} {body} cannot be touched: {stumbled}\n{}", words(&self.client).await)
    }

    /// Opens a job on the wall.
    async fn open(&mut self, by: &str, body: &Value) -> Value {
        self.client.goto(&self.base).await.unwrap();
        self.called(by).await.unwrap();
        let mut said = BTreeMap::new();
        leaves("", body, &mut said);
        self.write("/jobs", &said).await.unwrap();
        until_it_says(&self.client, body["title"].as_str().unwrap()).await;
        self.job = self.path().await.unwrap().split('/').nth(2).unwrap().to_owned();
        self.kept = 0;
        self.kept("job-opened").await.expect("the job is opened")
    }

    /// A picture of the first page after each kind of entry.
    async fn picture(&mut self, kind: &str) {
        if self.pictured.insert(kind.to_owned()) {
            seen(&self.client, &format!("390-told-{:03}-{kind}", self.kept)).await;
        }
    }
}

/// Puts the ids that entries got in this record in the place of a story's labels.
fn resolved(value: &Value, ids: &BTreeMap<String, String>) -> Value {
    match value {
        Value::String(text) => match text.strip_prefix('@') {
            Some(label) => json!(ids.get(label).unwrap_or_else(|| panic!("no entry is called {label}"))),
            None => value.clone(),
        },
        Value::Array(list) => list.iter().map(|v| resolved(v, ids)).collect(),
        Value::Object(map) => map.iter().map(|(k, v)| (k.clone(), resolved(v, ids))).collect(),
        Value::Null | Value::Bool(_) | Value::Number(_) => value.clone(),
    }
}

fn text_of_pdf(folder: &Path, bytes: &[u8]) -> String {
    let file = folder.join("paper.pdf");
    std::fs::write(&file, bytes).unwrap();
    let done = Command::new("pdftotext").arg("-layout").arg(&file).arg("-").output();
    let done = done.expect("pdftotext: install the package poppler-utils, or run ./test, which does");
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    String::from_utf8_lossy(&done.stdout).into_owned()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_phone_tells_the_first_job_from_the_first_question_to_the_last_paper() {
    let folder = tempfile::tempdir().unwrap();
    let (_serving, base) = bench(folder.path(), "store");
    let (_driving, port) = driver();
    let client = browser(port, folder.path(), 390, 844).await;
    let mut hand = Hand {
        client: client.clone(),
        base: base.clone(),
        folder: folder.path().to_owned(),
        job: String::new(),
        who: String::new(),
        kept: 0,
        pictured: BTreeSet::new(),
    };
    client.goto(&base).await.unwrap();
    fits(&client, "the empty wall").await;
    seen(&client, "390-told-000-empty").await;

    let mut ids = BTreeMap::new();
    let mut told = Vec::new();
    for line in STORY.lines().filter(|l| !l.trim().is_empty()) {
        let line: Value = serde_json::from_str(line).unwrap();
        let (by, kind) = (line["by"].as_str().unwrap(), line["kind"].as_str().unwrap());
        let body = resolved(&line["body"], &ids);
        if kind == "caution-ticked" && hand.entries().iter().any(|e| e["kind"] == kind && e["body"] == body) {
            told.push((json!(kind), body));
            continue;
        }
        let entry = if kind == "job-opened" { hand.open(by, &body).await } else { hand.tell(by, kind, &body).await };
        let mut wanted = body;
        if kind == "photo-kept" {
            // What the browser photographs of a drawing is another file than the drawing.
            wanted["sha256"] = entry["body"]["sha256"].clone();
        }
        assert_eq!(entry["kind"], json!(kind));
        assert_eq!(entry["body"], wanted, "{kind}, told by touch, says something else than the story");
        assert_eq!(entry["by"], json!(by), "{kind} is under another name");
        if let Some(label) = line["label"].as_str() {
            ids.insert(label.to_owned(), entry["id"].as_str().unwrap().to_owned());
        }
        hand.picture(kind).await;
        told.push((json!(kind), wanted));
    }
    let kept: Vec<(Value, Value)> =
        hand.entries().into_iter().map(|e| (e["kind"].clone(), e["body"].clone())).collect();
    // Cautions are the bench's own: it may hold a field up for one that the story does not mention.
    let apart = |all: &[(Value, Value)]| -> (Vec<String>, Vec<(Value, Value)>) {
        let (ticks, rest): (Vec<_>, Vec<_>) = all.iter().cloned().partition(|(kind, _)| kind == "caution-ticked");
        (ticks.into_iter().map(|(_, body)| body["caution"].as_str().unwrap().to_owned()).collect(), rest)
    };
    let ((ticked, kept), (in_story, story)) = (apart(&kept), apart(&told));
    assert_eq!(kept, story, "the record is the story, line by line");
    assert!(in_story.iter().all(|c| ticked.contains(c)), "{in_story:?} {ticked:?}");

    // Every moment shows the whole job after a reload, and the ten papers come out of it.
    for moment in ["hear", "test", "strip", "choose", "order", "build", "prove", "hand-back"] {
        client.goto(&format!("{base}/jobs/{}/{moment}", hand.job)).await.unwrap();
        until_it_says(&client, "Chain ends").await;
        fits(&client, moment).await;
    }
    let opened = told[0].1["title"].as_str().unwrap();
    let tail = asked(&base, &format!("/api/1/jobs/{}", hand.job))["tail"].as_str().unwrap().to_owned();
    let papers = client.find_all(Locator::Css("a[href*='/papers/'][href$='size=a4']")).await.unwrap();
    let mut links = Vec::new();
    for paper in &papers {
        links.push(paper.attr("href").await.unwrap().unwrap());
    }
    // All but the machine order: heads were exchanged, nothing was sent away.
    assert_eq!(links.len(), 10, "{links:?}");
    assert!(!links.iter().any(|link| link.contains("machine-order")), "{links:?}");
    for link in links {
        let (status, body) = fetched(&base, &link);
        assert_eq!(status, 200, "{link}: {}", String::from_utf8_lossy(&body));
        let text = text_of_pdf(folder.path(), &body);
        assert!(text.contains(&tail), "{link} does not carry the end of the chain:\n{text}");
        let plain = text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(
            plain.contains(opened) || plain.contains("FN 417 C") || plain.contains("K-0417"),
            "{link} names no job:\n{text}"
        );
    }

    another_engine_of_the_kind(&mut hand, &told).await;
    client.close().await.unwrap();
}

/// The next engine of the kind: its figures come out of the first job's file; one entry is put right, one taken back.
async fn another_engine_of_the_kind(hand: &mut Hand, told: &[(Value, Value)]) {
    let (status, sheet) = fetched(&hand.base, &format!("/jobs/{}/sheet.toml", hand.job));
    assert_eq!(status, 200, "{}", String::from_utf8_lossy(&sheet));
    let file = hand.folder.join("engine-sheet.toml");
    std::fs::write(&file, &sheet).unwrap();
    hand.open("Nell", &json!({"title": "The next one of the kind"})).await;
    let engine = told.iter().find(|(kind, _)| kind == "engine-described").unwrap();
    hand.tell("Nell", "engine-described", &engine.1).await;

    hand.moment("strip").await.unwrap();
    let said = BTreeMap::from([("sheet".to_owned(), file.display().to_string())]);
    hand.write("/sheet", &said).await.unwrap();
    let adopted = hand.kept("sheet-adopted").await.expect("the sheet is taken over");
    assert_eq!(adopted["kind"], "sheet-adopted");
    let typed = told.iter().filter(|(kind, _)| kind == "engine-figure-set").count();
    assert_eq!(adopted["body"]["figures"].as_array().unwrap().len(), typed);

    let heard = json!({"words": "It boils."});
    let heard = hand.tell("Nell", "complaint-heard", &heard).await;
    let at = format!("/entries/{}", heard["id"].as_str().unwrap());
    hand.moment("hear").await.unwrap();
    hand.tap("details.written > summary").await.unwrap();
    hand.leave_by(&format!("a[href$='{at}']")).await.unwrap();
    fits(&hand.client, "one entry").await;
    seen(&hand.client, "390-told-999-put-right").await;
    let right = [("words", "It boils on the hill."), ("put-right-because", "heard again on the telephone")];
    hand.write(&at, &right.map(|(k, v)| (k.to_owned(), v.to_owned())).into()).await.unwrap();
    let right = hand.kept("entry-corrected").await.expect("the entry is put right");
    assert_eq!(right["kind"], "entry-corrected");
    assert_eq!(right["body"]["body"], json!({"words": "It boils on the hill."}));
    assert_eq!(right["body"]["entry"], heard["id"]);
    until_it_says(&hand.client, "It boils on the hill.").await;

    hand.tap("details.written > summary").await.unwrap();
    hand.leave_by(&format!("a[href$='{at}']")).await.unwrap();
    let back = [("reason", "said of another car")];
    let withdraw = format!("/withdraw/{}", heard["id"].as_str().unwrap());
    hand.write(&withdraw, &back.map(|(k, v)| (k.to_owned(), v.to_owned())).into()).await.unwrap();
    let back = hand.kept("entry-withdrawn").await.expect("the entry is taken back");
    assert_eq!(back["kind"], "entry-withdrawn");
    assert_eq!(back["body"]["reason"], "said of another car");
}

/// Every page of the demo's jobs, as far as the screens differ.
fn pages_of(base: &str, whole: bool) -> Vec<(String, String)> {
    let mut out = vec![("wall".to_owned(), "/".to_owned()), ("no-such-page".to_owned(), "/nothing".to_owned())];
    out.push(("no-such-job".to_owned(), "/jobs/019c8e60-4600-7000-8fb2-000000000000/test".to_owned()));
    out.push(("gauges".to_owned(), "/gauges".to_owned()));
    out.push(("calculators".to_owned(), "/calculators".to_owned()));
    out.push(("residues".to_owned(), "/residues".to_owned()));
    out.push(("sources".to_owned(), "/sources".to_owned()));
    let worked = mechanics::catalogue().iter().filter(|c| whole || c.id == "bearing-clearance" || c.id == "seat-fit");
    for c in worked {
        let asked: Vec<String> = c
            .example
            .iter()
            .map(|(key, text)| format!("{key}={}", text.bytes().map(|b| format!("%{b:02X}")).collect::<String>()))
            .collect();
        out.push((format!("calculator-{}", c.id), format!("/calculators/{}?{}", c.id, asked.join("&"))));
    }
    for job in asked(base, "/api/1/jobs")["jobs"].as_array().unwrap() {
        let id = job["id"].as_str().unwrap();
        let title = job["title"].as_str().unwrap();
        let name = title.split_whitespace().next().unwrap().to_lowercase();
        let mut add = |page: &str, rest: &str| out.push((format!("{name}-{page}"), format!("/jobs/{id}/{rest}")));
        for moment in ["hear", "test", "strip", "choose", "order", "build", "prove", "hand-back"] {
            if whole || moment == "test" || moment == "choose" {
                add(moment, moment);
            }
        }
        if !whole {
            continue;
        }
        add("place-cylinder", "place/cyl-1");
        add("place-head", "place/bank-A");
        add("place-none", "place/cyl-99");
        add("field-number", "enter?check=proof-compression&reading=pressure&position=cyl-1&phase=as-left");
        add("field-outcome", "enter?check=proof-cooling-hold&phase=as-left");
        add("field-refused", "enter?check=no-such-check");
        add("field-past-the-scale", "enter?check=compression-dry&reading=pressure&position=cyl-1&value=99&unit=bar");
        add("bolts-begin", "bolts");
        add("bolts", "bolts?joint=head&position=bank-A&stage=4&angle=90");
        let entries = asked(base, &format!("/api/1/jobs/{id}/entries"));
        let entries = entries["entries"].as_array().unwrap();
        let number = |e: &&Value| e["kind"] == "reading-taken" && e["body"]["value"].is_object();
        for (name, entry) in [("number", entries.iter().find(number)), ("told", entries.get(1))] {
            if let Some(id) = entry.and_then(|e| e["id"].as_str()) {
                add(&format!("entry-{name}"), &format!("entries/{id}"));
                if name == "number" {
                    add("kept", &format!("kept/{id}"));
                }
            }
        }
    }
    out
}

/// Tells the beginnings of stories into the demo's record: pages of open jobs have forms and advice that closed ones lack.
fn tell_beginnings(folder: &Path, store: &str) {
    for (name, story, title, lines) in HALFWAY {
        let told: String = story.lines().take(lines).map(|l| format!("{l}\n")).collect();
        let told = told.replacen(title, &format!("{name} {title}"), 1);
        assert!(told.contains(name), "{name}: the title of its story changed");
        let entries = logbook::seal_story(name, &logbook::story_from_lines(&told).unwrap()).unwrap();
        let file = folder.join(format!("{name}.jsonl"));
        std::fs::write(&file, logbook::export(&entries)).unwrap();
        let done = ours(folder, &["--store", store, "import", &file.display().to_string()]).output().unwrap();
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_page_fits_a_phone_a_tablet_and_a_wide_screen_light_and_dark() {
    #[expect(clippy::disallowed_methods, reason = "whoever starts the tests says how much is pictured")]
    let whole = std::env::var("WITNESSMARK_SCREENS").is_ok_and(|w| w == "all");
    let folder = tempfile::tempdir().unwrap();
    let done =
        ours(folder.path(), &["demo", "--out", "demo", "--no-serve", "--quiet"]).output().expect("our own program");
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    tell_beginnings(folder.path(), "demo");
    let (_serving, base) = bench(folder.path(), "demo");
    let (_driving, port) = driver();
    let pages = pages_of(&base, whole);
    // As high as the pages are long, so that a picture holds the whole of one.
    for (width, height) in [(390, 7000), (820, 5000), (1440, 4000)] {
        let client = browser(port, folder.path(), width, height).await;
        client.goto(&format!("{base}/nothing")).await.unwrap();
        for theme in ["light", "dark"] {
            client.execute("localStorage.setItem('theme', arguments[0])", vec![json!(theme)]).await.unwrap();
            for (name, path) in &pages {
                client.goto(&format!("{base}{path}")).await.unwrap();
                until_it_rests(&client).await;
                fits(&client, &format!("{name} at {width} px")).await;
                reads(&client, &format!("{name} at {width} px, {theme}")).await;
                seen(&client, &format!("{name}-{width}-{theme}")).await;
                let open_ones = name == "gauges" || name.starts_with("halfway-");
                if whole && open_ones && width != 820 {
                    client
                        .execute("document.querySelectorAll('main details').forEach(d => d.open = true)", Vec::new())
                        .await
                        .unwrap();
                    fits(&client, &format!("{name} at {width} px, every fold open")).await;
                    reads(&client, &format!("{name} at {width} px, {theme}, every fold open")).await;
                    seen(&client, &format!("{name}-open-{width}-{theme}")).await;
                }
            }
        }
        client.close().await.unwrap();
    }
}

/// Waits until the work-up of the page is there.
async fn until_it_rests(client: &Client) {
    for _ in 0..400 {
        let text = words(client).await;
        let under_way = ["Working the readings", "work-up is under way", "being weighed", "hangs on is being worked"];
        if !under_way.iter().any(|words| text.contains(words)) {
            return;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    panic!("the work-up does not come:\n{}", words(client).await);
}

/// Every word stands out from its ground by 7:1 (WCAG 2.2, 1.4.6), in the pictures too.
async fn reads(client: &Client, where_: &str) {
    let script = "const rgb = c => (c.match(/[\\d.]+/g) || []).map(Number); \
        const lum = c => { const [r, g, b] = c.map(v => { v /= 255; return v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; }); \
            return 0.2126 * r + 0.7152 * g + 0.0722 * b; }; \
        const ground = e => { for (; e; e = e.parentElement) { const c = rgb(getComputedStyle(e).backgroundColor); \
            if (c.length === 3 || c[3] > 0.99) return c.slice(0, 3); } return [255, 255, 255]; }; \
        const out = []; \
        for (const e of document.querySelectorAll('body *')) { \
            if (![...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim())) continue; \
            const box = e.getBoundingClientRect(); if (!box.width || box.right < 0) continue; \
            const style = getComputedStyle(e); if (style.visibility === 'hidden') continue; \
            const svg = e.closest('svg'); \
            const ink = rgb(svg ? style.fill : style.color).slice(0, 3); \
            if (ink.length < 3) continue; \
            const a = lum(ink), b = lum(ground(svg ? svg.parentElement : e)); \
            const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05); \
            if (ratio < 6.995) out.push([Math.round(ratio * 100) / 100, e.tagName, e.className.toString(), e.textContent.trim().slice(0, 40)]); \
        } return out.slice(0, 8)";
    let found = client.execute(script, Vec::new()).await.unwrap();
    assert_eq!(found, json!([]), "{where_} has words that are hard to read");
}
