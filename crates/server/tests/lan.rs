//! The bench on the shop's own network, over real connections: off by default, paired devices only, roles, PINs, renewal.
#![expect(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "clippy lets only the tests themselves off, not the functions they share"
)]

use std::collections::BTreeMap;
use std::io::{Read, Write};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicI64, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use axum::body::{Body, to_bytes};
use axum::http::{HeaderMap, Request, StatusCode, header};
use hyper_util::rt::TokioIo;
use jiff::Timestamp;
use knowledge::Knowledge;
use server::lan::{Lan, LanError, NewDevice, Role, Settings, listen, role_table};
use server::{Bench, Stopped};
use store::{Opening, SqliteStore, Store};
use tokio::net::{TcpListener, TcpStream};
use tokio_rustls::TlsConnector;
use tokio_rustls::rustls::client::WebPkiServerVerifier;
use tokio_rustls::rustls::crypto::ring;
use tokio_rustls::rustls::pki_types::{CertificateDer, ServerName, UnixTime};
use tokio_rustls::rustls::time_provider::TimeProvider;
use tokio_rustls::rustls::{ClientConfig, RootCertStore, SupportedProtocolVersion, version};

const STORY: &str = include_str!("../../../cases/0001-tolvane-carrier/story.jsonl");
const NAME: &str = "bench.home.arpa";
const PIN: &str = "583920";
/// 2026-03-02 08:00 UTC, and the clock of a trial moves from there.
const BEGIN: i64 = 1_772_438_400;

/// Minutes since the begin, for bench and devices alike.
#[derive(Debug, Clone, Default)]
struct Clock(Arc<AtomicI64>);

impl Clock {
    fn second(&self) -> i64 {
        BEGIN + self.0.load(Ordering::SeqCst)
    }

    fn now(&self) -> Timestamp {
        Timestamp::from_second(self.second()).unwrap()
    }

    fn minutes(&self, more: i64) {
        self.0.fetch_add(60 * more, Ordering::SeqCst);
    }

    fn days(&self, more: i64) {
        self.minutes(more * 24 * 60);
    }
}

impl TimeProvider for Clock {
    fn current_time(&self) -> Option<UnixTime> {
        let since = u64::try_from(self.second()).ok()?;
        Some(UnixTime::since_unix_epoch(Duration::from_secs(since)))
    }
}

fn settings() -> Settings {
    Settings {
        on: true,
        name: "bench".into(),
        addresses: vec!["127.0.0.1".parse().unwrap()],
        port: 0,
        pairing_port: Some(0),
    }
}

/// A bench that is open here and on the network.
struct Shop {
    lan: Lan,
    clock: Clock,
    events: Arc<Mutex<Vec<String>>>,
    secure: SocketAddr,
    plain: SocketAddr,
    here: SocketAddr,
    job: String,
    store: SqliteStore,
    stop: Option<tokio::sync::oneshot::Sender<()>>,
    served: tokio::task::JoinHandle<Stopped>,
}

impl Shop {
    async fn open(folder: &Path) -> Shop {
        let clock = Clock::default();
        Self::open_at(folder, clock).await
    }

    async fn open_at(folder: &Path, clock: Clock) -> Shop {
        // A bench that was closed may still rest for a moment with its record in hand: each opening has one of its own.
        let record = (0..).map(|n| folder.join(format!("record-{n}"))).find(|record| !record.exists()).unwrap();
        let store = SqliteStore::open(Opening::of(record)).await.unwrap();
        let text: String = STORY.lines().take(30).map(|l| format!("{l}\n")).collect();
        let entries = logbook::seal_story("van", &logbook::story_from_lines(&text).unwrap()).unwrap();
        store.append(&entries).await.unwrap();
        let job = entries.first().unwrap().job().to_string();
        let time = clock.clone();
        let lan = Lan::told_the_time(&folder.join("network"), move || time.now());
        if lan.settings().unwrap().is_none() {
            lan.turn_on(&settings(), false).unwrap();
        }
        let events: Arc<Mutex<Vec<String>>> = Arc::default();
        let heard = Arc::clone(&events);
        let bench = Bench::new(store.clone(), Arc::new(Knowledge::builtin().unwrap()), "Ansel")
            .knowing_devices(lan.clone())
            .heard_by(move |event| heard.lock().unwrap().push(event.line()));
        let network = listen(&lan).await.unwrap().unwrap();
        let (secure, plain) = (*network.open_at().first().unwrap(), network.paired_at().unwrap());
        let listener = server::bind(0).await.unwrap();
        let here = listener.local_addr().unwrap();
        let (stop, stopped) = tokio::sync::oneshot::channel::<()>();
        let served = tokio::spawn(async move {
            let until = async {
                let _told = stopped.await;
            };
            server::serve(bench, listener, Some(network), until).await.unwrap()
        });
        Shop { lan, clock, events, secure, plain, here, job, store, stop: Some(stop), served }
    }

    async fn close(mut self) -> Stopped {
        self.stop.take().unwrap().send(()).unwrap();
        let stopped = self.served.await.unwrap();
        self.store.close().await;
        stopped
    }

    fn phone(&self) -> Phone {
        Phone {
            at: self.secure,
            host: NAME.to_owned(),
            cookies: BTreeMap::new(),
            roots: self.roots(),
            clock: self.clock.clone(),
        }
    }

    fn roots(&self) -> Arc<RootCertStore> {
        let mut roots = RootCertStore::empty();
        roots.add(CertificateDer::from(self.lan.authority_certificate().unwrap().unwrap())).unwrap();
        Arc::new(roots)
    }

    fn offer(&self, name: &str, role: Role) -> server::lan::Offered {
        let device = NewDevice { name: name.into(), person: format!("{name}'s person"), role, reach: None };
        self.lan.offer(&device).unwrap()
    }

    /// A device that was paired the whole way.
    async fn paired(&self, name: &str, role: Role) -> Phone {
        let offered = self.offer(name, role);
        let mut phone = self.phone();
        let secret = offered.url.split_once('#').unwrap().1;
        let (status, _, page) = phone.pair(&[("secret", secret)]).await;
        assert_eq!(status, StatusCode::SEE_OTHER, "{page}");
        self.lan.answer(&offered.id, true).unwrap();
        let (status, headers, _) = phone.get("/pair/wait").await;
        assert_eq!((status, headers.get(header::LOCATION).unwrap().to_str().unwrap()), (StatusCode::SEE_OTHER, "/"));
        phone
    }

    fn heard(&self, words: &str) -> usize {
        self.events.lock().unwrap().iter().filter(|line| line.contains(words)).count()
    }

    async fn entries(&self) -> usize {
        self.store.entries_of(self.job.parse().unwrap()).await.unwrap().len()
    }
}

/// A browser with cookies that trusts the authority of the shop, and nobody else.
#[derive(Clone)]
struct Phone {
    at: SocketAddr,
    host: String,
    cookies: BTreeMap<String, String>,
    roots: Arc<RootCertStore>,
    clock: Clock,
}

type Answer = (StatusCode, HeaderMap, String);

impl Phone {
    fn config(&self, versions: &[&'static SupportedProtocolVersion]) -> ClientConfig {
        let provider = Arc::new(ring::default_provider());
        let verifier = WebPkiServerVerifier::builder_with_provider(Arc::clone(&self.roots), Arc::clone(&provider))
            .build()
            .unwrap();
        ClientConfig::builder_with_details(provider, Arc::new(self.clock.clone()))
            .with_protocol_versions(versions)
            .unwrap()
            .with_webpki_verifier(verifier)
            .with_no_client_auth()
    }

    async fn connected(
        &self,
        versions: &[&'static SupportedProtocolVersion],
    ) -> std::io::Result<tokio_rustls::client::TlsStream<TcpStream>> {
        let name = ServerName::try_from(self.host.trim_matches(['[', ']']).to_owned()).unwrap();
        let stream = TcpStream::connect(self.at).await?;
        TlsConnector::from(Arc::new(self.config(versions))).connect(name, stream).await
    }

    async fn begin(&mut self, request: Request<Body>) -> axum::http::Response<hyper::body::Incoming> {
        let stream = self.connected(&[&version::TLS13, &version::TLS12]).await.unwrap();
        let (mut sender, connection) = hyper::client::conn::http1::handshake(TokioIo::new(stream)).await.unwrap();
        tokio::spawn(connection);
        let answer = sender.send_request(request).await.unwrap();
        for set in answer.headers().get_all(header::SET_COOKIE) {
            let text = set.to_str().unwrap();
            let (name, value) = text.split(';').next().unwrap().split_once('=').unwrap();
            if text.contains("Max-Age=0") {
                self.cookies.remove(name);
            } else {
                self.cookies.insert(name.to_owned(), value.to_owned());
            }
        }
        answer
    }

    async fn send(&mut self, request: Request<Body>) -> Answer {
        let (parts, body) = self.begin(request).await.into_parts();
        let bytes = to_bytes(Body::new(body), usize::MAX).await.unwrap();
        (parts.status, parts.headers, String::from_utf8_lossy(&bytes).into_owned())
    }

    fn request(&self, method: &str, path: &str) -> axum::http::request::Builder {
        let cookies: Vec<String> = self.cookies.iter().map(|(k, v)| format!("{k}={v}")).collect();
        let mut request = Request::builder()
            .method(method)
            .uri(path)
            .header(header::HOST, format!("{}:{}", self.host, self.at.port()));
        if !cookies.is_empty() {
            request = request.header(header::COOKIE, cookies.join("; "));
        }
        request
    }

    async fn get(&mut self, path: &str) -> Answer {
        let request = self.request("GET", path).body(Body::empty()).unwrap();
        self.send(request).await
    }

    async fn post(&mut self, path: &str, form: &[(&str, &str)]) -> Answer {
        let request = self
            .request("POST", path)
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .header(header::ORIGIN, format!("https://{}:{}", self.host, self.at.port()))
            .body(Body::from(encoded(form)))
            .unwrap();
        self.send(request).await
    }

    async fn pair(&mut self, shown: &[(&str, &str)]) -> Answer {
        let form: Vec<(&str, &str)> = shown.iter().copied().chain([("pin", PIN), ("again", PIN)]).collect();
        self.post("/pair", &form).await
    }
}

fn encoded(form: &[(&str, &str)]) -> String {
    let escape = |text: &str| -> String { text.bytes().map(|b| format!("%{b:02X}")).collect() };
    let pairs: Vec<String> = form.iter().map(|(k, v)| format!("{}={}", escape(k), escape(v))).collect();
    pairs.join("&")
}

/// A request in the clear.
async fn plainly(at: SocketAddr, request: Request<Body>) -> Answer {
    let stream = TcpStream::connect(at).await.unwrap();
    let (mut sender, connection) = hyper::client::conn::http1::handshake(TokioIo::new(stream)).await.unwrap();
    tokio::spawn(connection);
    let (parts, body) = sender.send_request(request).await.unwrap().into_parts();
    let bytes = to_bytes(Body::new(body), usize::MAX).await.unwrap();
    (parts.status, parts.headers, String::from_utf8_lossy(&bytes).into_owned())
}

/// An address of the table with something in each of its places.
fn filled(pattern: &str, job: &str) -> String {
    let entry = "0197a000-0000-7000-8000-000000000000";
    [
        ("{id}", job),
        ("{entry}", entry),
        ("{position}", "cylinder-1"),
        ("{kind}", "note-written"),
        ("{file}", "none"),
        ("{moment}", "test"),
        ("{sha256}", "00"),
        ("{name}", "regular.woff2"),
        ("{device}", "nobody"),
        ("{offer}", "none"),
    ]
    .iter()
    .fold(pattern.to_owned(), |path, (place, with)| {
        if path.starts_with("/calculators/") { path.replace("{id}", "displacement") } else { path.replace(place, with) }
    })
}

#[tokio::test(flavor = "multi_thread")]
async fn nothing_listens_on_the_network_until_the_owner_turns_it_on() {
    let folder = tempfile::tempdir().unwrap();
    let place = folder.path().join("network");
    let lan = Lan::of(&place);
    assert!(!lan.is_on() && listen(&lan).await.unwrap().is_none());
    assert!(!place.exists(), "looking makes no folder");
    lan.turn_off().unwrap();
    assert!(!place.exists(), "turning off what is not on makes none either");
    assert!(matches!(
        lan.offer(&NewDevice { name: "a".into(), person: "b".into(), role: Role::Owner, reach: None }),
        Err(LanError::Off)
    ));
    for (name, address) in [
        ("", "10.0.0.1"),
        ("Bench", "10.0.0.1"),
        ("a.b", "10.0.0.1"),
        ("-a", "10.0.0.1"),
        ("a", "8.8.8.8"),
        ("a", "100.64.0.1"),
        ("a", "2001:db8::1"),
    ] {
        let wanted = Settings { name: name.into(), addresses: vec![address.parse().unwrap()], ..settings() };
        assert!(lan.turn_on(&wanted, false).is_err(), "{name} {address}");
    }
    assert!(!place.exists(), "what is refused leaves nothing");
    lan.turn_on(&settings(), false).unwrap();
    assert!(lan.is_on());
    let fingerprint = lan.standing().unwrap().unwrap().fingerprint;
    lan.turn_off().unwrap();
    assert!(listen(&lan).await.unwrap().is_none());
    assert_eq!(lan.turn_on(&settings(), false).unwrap().fingerprint, fingerprint, "the authority stays");
    let other = Settings { name: "other".into(), ..settings() };
    assert!(matches!(lan.turn_on(&other, false), Err(LanError::OtherName { .. })));
    assert_ne!(lan.turn_on(&other, true).unwrap().fingerprint, fingerprint);
}

#[cfg(unix)]
#[tokio::test(flavor = "multi_thread")]
async fn keys_and_devices_are_readable_by_their_owner_only() {
    use std::os::unix::fs::PermissionsExt;
    let folder = tempfile::tempdir().unwrap();
    let shop = Shop::open(folder.path()).await;
    shop.paired("phone", Role::Technician).await;
    let place = folder.path().join("network");
    let mode = |path: &Path| std::fs::metadata(path).unwrap().permissions().mode() & 0o777;
    assert_eq!(mode(&place), 0o700);
    let mut names = Vec::new();
    for file in std::fs::read_dir(&place).unwrap() {
        let file = file.unwrap();
        assert_eq!(mode(&file.path()), 0o600, "{:?}", file.file_name());
        names.push(file.file_name().into_string().unwrap());
    }
    names.sort();
    assert_eq!(names, ["authority.json", "devices.json", "lock", "network.json", "server.json"]);
    let book = std::fs::read_to_string(place.join("devices.json")).unwrap();
    assert!(book.contains("argon2id") && !book.contains(PIN), "{book}");
    // The network is no part of what is carried.
    let out = folder.path().join("out");
    store::carried::export(
        &store::Record::from(shop.store.clone()),
        &out,
        store::carried::Beside { made_by: "trial".into(), made_at: None, knowledge: Vec::new() },
        &mut |_| {},
    )
    .await
    .unwrap();
    let mut carried = Vec::new();
    for file in std::fs::read_dir(&out).unwrap() {
        carried.push(file.unwrap().file_name().into_string().unwrap());
    }
    assert!(!carried.iter().any(|name| name.contains("network") || name.contains("device")), "{carried:?}");
    shop.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_unpaired_device_gets_401_everywhere_but_where_it_pairs() {
    let folder = tempfile::tempdir().unwrap();
    let shop = Shop::open(folder.path()).await;
    let mut phone = shop.phone();
    let looks = ["/bench.css", "/mark.svg", "/fonts/{name}"];
    let mut walked = 0;
    for (method, pattern, _) in role_table() {
        let path = filled(pattern, &shop.job);
        let answer = if method == "GET" { phone.get(&path).await } else { phone.post(&path, &[]).await };
        let expected = if looks.contains(&pattern) { StatusCode::OK } else { StatusCode::UNAUTHORIZED };
        assert_eq!(answer.0, expected, "{method} {path}");
        assert_policy(&path, &answer.1);
        assert!(!answer.2.contains("Tolvane"), "{method} {path} shows the shop");
        if expected == StatusCode::UNAUTHORIZED {
            assert!(answer.1.contains_key(header::WWW_AUTHENTICATE), "{method} {path}");
            assert!(!answer.1.contains_key("clear-site-data"), "a device that was never one keeps what it has");
        }
        walked += 1;
    }
    assert!(walked > 40);
    for path in ["/nothing", "/../etc/passwd", "/pin", "/api/1/calculators/displacement"] {
        assert_eq!(phone.get(path).await.0, StatusCode::UNAUTHORIZED, "{path}");
    }
    assert_eq!(phone.post("/pin", &[("pin", PIN)]).await.0, StatusCode::UNAUTHORIZED);
    for path in ["/pair", "/pair.js", "/authority.crt"] {
        let (status, headers, _) = phone.get(path).await;
        assert_eq!(status, StatusCode::OK, "{path}");
        assert_policy(path, &headers);
    }
    let program = phone.request("GET", "/api/1/jobs").body(Body::empty()).unwrap();
    let (_, headers, body) = phone.send(program).await;
    assert_eq!(headers.get(header::CONTENT_TYPE).unwrap(), "application/problem+json", "{body}");
    // The host is one that the certificate names, and a change comes from a page of our own.
    let mut elsewhere = phone.request("GET", "/pair").body(Body::empty()).unwrap();
    elsewhere.headers_mut().insert(header::HOST, "bench.example:4178".parse().unwrap());
    assert_eq!(phone.send(elsewhere).await.0, StatusCode::MISDIRECTED_REQUEST);
    let mut foreign = phone.request("POST", "/pair").body(Body::empty()).unwrap();
    foreign.headers_mut().insert(header::ORIGIN, "https://example.test".parse().unwrap());
    assert_eq!(phone.send(foreign).await.0, StatusCode::FORBIDDEN);
    assert!(
        shop.heard(r#""why":"unpaired""#) > 40
            && shop.heard(r#""why":"host""#) == 1
            && shop.heard(r#""why":"site""#) == 1
    );
    assert_eq!(shop.close().await, Stopped::AllAnswered);
}

/// What every answer carries, also one that tells of an error.
fn assert_policy(path: &str, headers: &HeaderMap) {
    let policy = headers.get(header::CONTENT_SECURITY_POLICY).expect(path);
    let policy = policy.to_str().unwrap();
    for part in ["default-src 'none'", "base-uri 'none'", "frame-ancestors 'none'"] {
        assert!(policy.contains(part) || policy.contains("sandbox"), "{path}: {policy}");
    }
    assert!(!policy.contains("unsafe-eval"), "{path}");
    assert_eq!(headers.get(header::X_CONTENT_TYPE_OPTIONS).unwrap(), "nosniff", "{path}");
    assert!(headers.contains_key(header::REFERRER_POLICY) && headers.contains_key(header::CACHE_CONTROL), "{path}");
    assert_eq!(headers.get(header::STRICT_TRANSPORT_SECURITY).unwrap(), "max-age=31536000", "{path}");
    for cookie in headers.get_all(header::SET_COOKIE) {
        let cookie = cookie.to_str().unwrap();
        for part in ["; Secure", "; HttpOnly", "; SameSite=Strict", "; Path=/"] {
            assert!(cookie.starts_with("__Host-") && cookie.contains(part), "{path}: {cookie}");
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_device_is_paired_by_picture_and_number_and_signs_with_its_person() {
    let folder = tempfile::tempdir().unwrap();
    let shop = Shop::open(folder.path()).await;
    // The owner asks for it at the bench.
    let here = |method: &str, path: &str, form: &[(&str, &str)]| {
        Request::builder()
            .method(method)
            .uri(path)
            .header(header::HOST, format!("127.0.0.1:{}", shop.here.port()))
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .body(Body::from(encoded(form)))
            .unwrap()
    };
    let form = [("name", "bench phone"), ("person", "Ilse"), ("role", "technician"), ("reach", NAME)];
    let (status, headers, page) = plainly(shop.here, here("POST", "/devices/pair", &form)).await;
    assert_eq!(status, StatusCode::SEE_OTHER, "{page}");
    let offer = headers.get(header::LOCATION).unwrap().to_str().unwrap().to_owned();
    let (status, _, page) = plainly(shop.here, here("GET", &offer, &[])).await;
    assert_eq!(status, StatusCode::OK);
    assert!(
        page.contains("class='qr'") && page.contains(&format!("https://{NAME}:{}/pair", shop.secure.port())),
        "{page}"
    );
    let fingerprint = shop.lan.standing().unwrap().unwrap().fingerprint;
    assert!(page.contains(fingerprint.get(..23).unwrap()) && page.contains(fingerprint.get(72..).unwrap()));
    let code = page.split("class=\"match\">").nth(1).unwrap().split('<').next().unwrap().to_owned();
    // The device types the code, with a weak PIN first, which costs nothing.
    let mut phone = shop.phone();
    for (pin, again) in [("123456", "123456"), ("199012", "199012"), ("58392", "58392"), (PIN, "583921")] {
        let (status, _, page) = phone.post("/pair", &[("code", &code), ("pin", pin), ("again", again)]).await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{pin}");
        assert!(
            page.contains(&code) && !page.contains(&format!("value=\"{pin}\"")),
            "the code stays, the PIN does not"
        );
    }
    let (status, headers, page) = phone.pair(&[("code", &code.to_lowercase())]).await;
    assert_eq!(status, StatusCode::SEE_OTHER, "{page}");
    assert_policy("/pair", &headers);
    assert_eq!(phone.cookies.get("__Host-device").unwrap().len(), 32, "128 bits");
    assert_eq!(phone.get("/").await.0, StatusCode::UNAUTHORIZED, "not before the owner said so");
    let (status, _, page) = phone.get("/pair/wait").await;
    assert_eq!(status, StatusCode::OK);
    let number = page.split("class=\"match\">").nth(1).unwrap().split('<').next().unwrap().to_owned();
    assert!(number.len() == 4 && number.bytes().all(|b| b.is_ascii_digit()), "{number}");
    let (_, _, page) = plainly(shop.here, here("GET", &offer, &[])).await;
    assert!(page.contains(&number) && page.contains("Ilse"), "the same number on both screens: {page}");
    let (_, _, list) = plainly(shop.here, here("GET", "/devices", &[])).await;
    assert!(list.contains("waits to be let in"));
    let (status, _, _) = plainly(shop.here, here("POST", &offer, &[("numbers", "match")])).await;
    assert_eq!(status, StatusCode::SEE_OTHER);
    let (status, _, _) = phone.get("/pair/wait").await;
    assert_eq!((status, phone.cookies.len()), (StatusCode::SEE_OTHER, 2));
    let (status, headers, wall) = phone.get("/").await;
    assert_eq!(status, StatusCode::OK);
    assert_policy("/", &headers);
    assert!(wall.contains("Ilse") && wall.contains("Sign this device out") && !wall.contains("Phones and tablets"));
    // What it enters is signed by its person, and names the device.
    let before = shop.entries().await;
    let path = format!("/jobs/{}/tell/note-written", shop.job);
    let (status, _, page) = phone.post(&path, &[("text", "seen over the network")]).await;
    assert_eq!(status, StatusCode::SEE_OTHER, "{page}");
    let entries = shop.store.entries_of(shop.job.parse().unwrap()).await.unwrap();
    assert_eq!(entries.len(), before + 1);
    let last = entries.last().unwrap().entry().unwrap();
    let line = entries.last().unwrap().line.clone();
    assert_eq!(last.kind(), "note-written");
    assert!(line.contains("\"Ilse\"") && line.contains("bench phone"), "{line}");
    // A photo is larger than a form, and a long note larger than a PIN.
    let (status, _, _) = phone.post(&path, &[("text", &"a".repeat(40_000))]).await;
    assert_eq!(status, StatusCode::SEE_OTHER);
    let part = "--b\r\ncontent-disposition: form-data; name=\"photo\"; filename=\"a\"\r\n\r\n";
    let request = phone
        .request("POST", &format!("/jobs/{}/photos", shop.job))
        .header(header::CONTENT_TYPE, "multipart/form-data; boundary=b")
        .body(Body::from(format!("{part}{}\r\n--b--\r\n", "x".repeat(2 << 20))));
    let (status, _, page) = phone.send(request.unwrap()).await;
    assert_eq!(status, StatusCode::UNSUPPORTED_MEDIA_TYPE, "it came through whole and is no photo: {page}");
    // Another name may sign.
    let (_, headers, _) = phone.post("/who", &[("by", "Bram")]).await;
    assert_policy("/who", &headers);
    assert!(phone.get("/").await.2.contains("Bram"));
    assert_eq!((shop.heard("device-paired"), shop.heard("Ilse"), shop.heard(&code)), (1, 0, 0));
    shop.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_offer_used_twice_late_guessed_or_with_other_numbers_pairs_nobody() {
    let folder = tempfile::tempdir().unwrap();
    let shop = Shop::open(folder.path()).await;
    let offered = shop.offer("phone", Role::Technician);
    let secret = offered.url.split_once('#').unwrap().1.to_owned();
    let (mut first, mut second) = (shop.phone(), shop.phone());
    assert_eq!(first.pair(&[("secret", &secret)]).await.0, StatusCode::SEE_OTHER);
    let (status, _, page) = second.pair(&[("secret", &secret)]).await;
    assert_eq!(status, StatusCode::CONFLICT, "{page}");
    assert_eq!(second.pair(&[("code", &offered.code)]).await.0, StatusCode::CONFLICT, "nor by its code");
    assert!(second.cookies.is_empty());
    let waiting = shop.lan.waiting().unwrap();
    assert!(waiting.first().unwrap().another_tried, "the owner is told");
    // The numbers differ: nobody is let in, and the device is told.
    shop.lan.answer(&offered.id, false).unwrap();
    assert_eq!(first.get("/pair/wait").await.0, StatusCode::UNAUTHORIZED);
    assert_eq!(first.get("/").await.0, StatusCode::UNAUTHORIZED);
    assert!(shop.lan.answer(&offered.id, true).is_err(), "what was refused is not let in afterwards");
    // Late.
    let late = shop.offer("phone", Role::Technician);
    shop.clock.minutes(10);
    let (status, _, _) = first.pair(&[("code", &late.code)]).await;
    assert_eq!(status, StatusCode::GONE);
    // Ten minutes to compare the numbers, too.
    let slow = shop.offer("phone", Role::Technician);
    assert_eq!(first.pair(&[("code", &slow.code)]).await.0, StatusCode::SEE_OTHER);
    shop.clock.minutes(10);
    assert!(shop.lan.answer(&slow.id, true).is_err());
    assert_eq!(first.get("/pair/wait").await.0, StatusCode::UNAUTHORIZED);
    // Guessing is bounded.
    shop.clock.minutes(11);
    let mut seen = BTreeMap::new();
    for n in 0..14 {
        let guess = format!("{n:08}");
        let (status, headers, _) = second.pair(&[("code", &guess)]).await;
        *seen.entry(status.as_u16()).or_insert(0) += 1;
        assert_eq!(headers.contains_key(header::RETRY_AFTER), status == StatusCode::TOO_MANY_REQUESTS);
    }
    assert_eq!(seen, BTreeMap::from([(422, 10), (429, 4)]));
    shop.clock.minutes(11);
    assert_eq!(second.pair(&[("code", "00000000")]).await.0, StatusCode::UNPROCESSABLE_ENTITY, "and starts anew");
    assert!(shop.lan.devices().unwrap().is_empty());
    for (why, times) in [("used", 2), ("late", 1), ("no-match", 1), ("unknown", 11), ("too-many", 4)] {
        assert_eq!(shop.heard(&format!(r#""event":"pairing-refused","why":"{why}""#)), times, "{why}");
    }
    shop.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_role_reaches_what_the_table_says_and_nothing_else() {
    let folder = tempfile::tempdir().unwrap();
    let shop = Shop::open(folder.path()).await;
    for role in Role::ALL {
        let mut phone = shop.paired(role.word(), role).await;
        for (method, pattern, who) in role_table() {
            let path = filled(pattern, &shop.job);
            let request = if method == "GET" {
                phone.request("GET", &path).body(Body::empty())
            } else {
                phone
                    .request("POST", &path)
                    .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
                    .body(Body::from("by=x"))
            };
            // Heads only: one of them is a stream.
            let answer = phone.begin(request.unwrap()).await;
            let refused = answer.status() == StatusCode::FORBIDDEN;
            assert_eq!(refused, !who.contains(&role), "{} {method} {path}: {}", role.word(), answer.status());
            assert_ne!(answer.status(), StatusCode::UNAUTHORIZED, "{} {method} {path}", role.word());
            assert_policy(&path, answer.headers());
        }
        for (method, path) in
            [("GET", "/export"), ("DELETE", "/"), ("TRACE", "/"), ("OPTIONS", "/jobs"), ("PUT", "/who")]
        {
            let request = phone.request(method, path).body(Body::empty()).unwrap();
            let status = phone.begin(request).await.status();
            assert!(matches!(status.as_u16(), 403..=405), "{} {method} {path}: {status}", role.word());
        }
        // Kinds of entries, by the form and by the interface.
        let money = role != Role::Technician;
        let (status, _, page) =
            phone.post(&format!("/jobs/{}/tell/money-told", shop.job), &[("labour_rate", "EUR 91")]).await;
        assert_eq!(status == StatusCode::FORBIDDEN, !money, "{} {status} {page}", role.word());
        let body = r#"{"kind": "money-told", "body": {"labour_rate": {"amount": "92.00", "currency": "EUR"}}}"#;
        let key = anatomy::EntryId::from_time_and_chance(1_772_900_000_000, [role as u8; 10]).to_string();
        let request = phone
            .request("POST", &format!("/api/1/jobs/{}/entries", shop.job))
            .header("idempotency-key", key)
            .header(header::CONTENT_TYPE, "application/json")
            .body(Body::from(body))
            .unwrap();
        let (status, _, answer) = phone.send(request).await;
        assert_eq!(status, if money { StatusCode::CREATED } else { StatusCode::FORBIDDEN }, "{answer}");
    }
    // What was not a technician's to say is not a technician's to take back.
    let entries = shop.store.entries_of(shop.job.parse().unwrap()).await.unwrap();
    let money = entries.iter().map(|e| e.entry().unwrap()).rfind(|e| e.kind() == "money-told").unwrap();
    let mut technician = shop.paired("another", Role::Technician).await;
    let (status, _, _) = technician.post(&format!("/jobs/{}/withdraw/{}", shop.job, money.id()), &[]).await;
    assert_eq!(status, StatusCode::FORBIDDEN);
    // Whoever sits at the bench is asked for nothing.
    let here = Request::get("/devices").header(header::HOST, "127.0.0.1").body(Body::empty()).unwrap();
    assert_eq!(plainly(shop.here, here).await.0, StatusCode::OK);
    shop.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn after_half_an_hour_looking_goes_on_and_entering_asks_for_the_pin_and_loses_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let shop = Shop::open(folder.path()).await;
    let mut phone = shop.paired("phone", Role::Technician).await;
    shop.clock.minutes(31);
    let (status, _, page) = phone.get(&format!("/jobs/{}/test", shop.job)).await;
    assert_eq!(status, StatusCode::OK);
    assert!(page.contains("Locked: "), "the page says so");
    let before = shop.entries().await;
    let path = format!("/jobs/{}/tell/note-written", shop.job);
    let (status, _, page) = phone.post(&path, &[("text", "typed with oily hands")]).await;
    assert_eq!((status, shop.entries().await), (StatusCode::UNAUTHORIZED, before));
    assert!(page.contains("not lost"), "{page}");
    let held = page.split("name=\"held\" value=\"").nth(1).unwrap().split('"').next().unwrap().to_owned();
    let token = phone.cookies.get("__Host-session").unwrap().clone();
    let (status, _, page) = phone.post("/pin", &[("pin", "583921"), ("held", &held)]).await;
    assert_eq!((status, shop.entries().await), (StatusCode::UNAUTHORIZED, before), "{page}");
    assert!(page.contains(&held), "a wrong PIN does not lose it either");
    let (status, headers, _) = phone.post("/pin", &[("pin", PIN), ("held", &held)]).await;
    assert_eq!((status, shop.entries().await), (StatusCode::SEE_OTHER, before + 1));
    assert!(headers.get(header::LOCATION).unwrap().to_str().unwrap().contains("kept="));
    assert_ne!(phone.cookies.get("__Host-session").unwrap(), &token, "a new token at each sign-in");
    let line = shop.store.entries_of(shop.job.parse().unwrap()).await.unwrap().last().unwrap().line.clone();
    assert!(line.contains("typed with oily hands"), "{line}");
    // The old token is worth nothing.
    let mut old = phone.clone();
    old.cookies.insert("__Host-session".into(), token);
    assert_eq!(old.get("/").await.0, StatusCode::UNAUTHORIZED);
    // A program is told, and keeps what it has.
    shop.clock.minutes(31);
    let request = phone.request("POST", &format!("/api/1/jobs/{}/entries", shop.job)).body(Body::from("{}")).unwrap();
    let (status, headers, body) = phone.send(request).await;
    assert_eq!(status, StatusCode::UNAUTHORIZED);
    assert!(
        headers.get(header::CONTENT_TYPE).unwrap() == "application/problem+json" && body.contains("locked"),
        "{body}"
    );
    // Signed out nothing is shown; after fourteen days neither, however often it was touched.
    assert_eq!(phone.post("/pin", &[("pin", PIN)]).await.0, StatusCode::SEE_OTHER);
    let session = phone.cookies.get("__Host-session").unwrap().clone();
    assert_eq!(phone.post("/sign-out", &[]).await.0, StatusCode::SEE_OTHER);
    phone.cookies.insert("__Host-session".into(), session);
    let (status, _, page) = phone.get("/gauges").await;
    assert_eq!(status, StatusCode::UNAUTHORIZED, "a token that was signed out");
    assert!(page.contains("value=\"/gauges\""), "it goes on where it was going");
    assert_eq!(
        phone.post("/pin", &[("pin", PIN), ("back", "//elsewhere.test")]).await.1.get(header::LOCATION).unwrap(),
        "/"
    );
    for _ in 0..14 * 24 * 3 {
        shop.clock.minutes(20);
        if phone.get("/health").await.0 != StatusCode::OK {
            break;
        }
    }
    let _ = phone.get("/").await;
    shop.clock.days(14);
    assert_eq!(phone.get("/").await.0, StatusCode::UNAUTHORIZED);
    assert_eq!(phone.post("/pin", &[("pin", PIN)]).await.0, StatusCode::SEE_OTHER, "it stays paired");
    assert_eq!(phone.get("/").await.0, StatusCode::OK);
    assert!(shop.heard("device-locked") >= 3 && shop.heard("wrong-pin") == 1);
    shop.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn ten_wrong_pins_unpair_one_device_and_leave_the_other_alone() {
    let folder = tempfile::tempdir().unwrap();
    let shop = Shop::open(folder.path()).await;
    let mut phone = shop.paired("phone", Role::Counter).await;
    let mut other = shop.paired("tablet", Role::Technician).await;
    let mut seen = Vec::new();
    for _ in 0..40 {
        let (status, headers, _) = phone.post("/pin", &[("pin", "000000")]).await;
        let wait = headers.get(header::RETRY_AFTER).map(|w| w.to_str().unwrap().parse::<i64>().unwrap());
        seen.push((status.as_u16(), wait));
        if let Some(seconds) = wait {
            assert_eq!(phone.post("/pin", &[("pin", PIN)]).await.0, StatusCode::TOO_MANY_REQUESTS, "nor the right one");
            shop.clock.minutes(seconds / 60);
        }
        if headers.contains_key("clear-site-data") {
            break;
        }
        assert_eq!(other.get("/gauges").await.0, StatusCode::OK);
        if shop.clock.second() > BEGIN + 20 * 60 {
            assert_eq!(other.post("/pin", &[("pin", PIN)]).await.0, StatusCode::SEE_OTHER);
        }
    }
    assert_eq!(seen.iter().filter(|(status, _)| *status == 401).count(), 10, "{seen:?}");
    let waits: Vec<i64> = seen.iter().filter_map(|(_, wait)| *wait).collect();
    assert_eq!(waits, [60, 120, 300, 900, 1800]);
    assert_eq!(phone.get("/").await.0, StatusCode::UNAUTHORIZED);
    let names: Vec<String> = shop.lan.devices().unwrap().into_iter().map(|d| d.name).collect();
    assert_eq!(names, ["tablet"]);
    assert_eq!(other.get("/").await.0, StatusCode::OK);
    assert_eq!((shop.heard(r#""last":true"#), shop.heard(r#""why":"wrong-pin""#)), (1, 1));
    shop.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn many_pins_at_once_are_no_more_tries() {
    let folder = tempfile::tempdir().unwrap();
    let shop = Shop::open(folder.path()).await;
    let phone = shop.paired("phone", Role::Counter).await;
    let tries = (0..30).map(|_| {
        let mut phone = phone.clone();
        tokio::spawn(async move { phone.post("/pin", &[("pin", "000001")]).await.0.as_u16() })
    });
    let mut looked_at = 0;
    for one in tries.collect::<Vec<_>>() {
        looked_at += usize::from(one.await.unwrap() == 401);
    }
    assert_eq!(looked_at, 5, "then it is waited");
    shop.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_removed_device_is_out_at_once_its_open_pages_too() {
    let folder = tempfile::tempdir().unwrap();
    let shop = Shop::open(folder.path()).await;
    let mut owner = shop.paired("owner's phone", Role::Owner).await;
    let mut phone = shop.paired("lost phone", Role::Technician).await;
    let request = phone.request("GET", &format!("/jobs/{}/live?panel=advice", shop.job)).body(Body::empty()).unwrap();
    let (parts, stream) = phone.begin(request).await.into_parts();
    assert_eq!(parts.status, StatusCode::OK);
    // The owner is not at the bench: the list and removing are open to an owner's device, pairing is not.
    let (status, _, list) = owner.get("/devices").await;
    assert_eq!(status, StatusCode::OK);
    assert!(list.contains("lost phone") && list.contains("last seen") && !list.contains("Show the picture"));
    let id = shop.lan.devices().unwrap().into_iter().find(|d| d.name == "lost phone").unwrap().id;
    assert_eq!(owner.post(&format!("/devices/remove/{id}"), &[]).await.0, StatusCode::SEE_OTHER);
    let (status, headers, page) = phone.get("/").await;
    assert_eq!(status, StatusCode::UNAUTHORIZED, "{page}");
    assert_eq!(headers.get("clear-site-data").unwrap(), "\"cache\", \"cookies\", \"storage\"");
    let ended = tokio::time::timeout(Duration::from_secs(5), to_bytes(Body::new(stream), usize::MAX)).await;
    assert!(ended.is_ok(), "a page that listens is let go");
    assert_eq!(owner.get("/").await.0, StatusCode::OK);
    assert!(shop.lan.remove("lost phone").is_err());
    assert_eq!(shop.heard(r#""event":"device-removed","why":"owner""#), 1);
    assert_eq!(shop.heard("lost phone"), 0, "no name in the log");
    shop.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_pairing_outlives_a_restart_and_both_doors_close_in_time() {
    let folder = tempfile::tempdir().unwrap();
    let shop = Shop::open(folder.path()).await;
    let phone = shop.paired("phone", Role::Technician).await;
    let clock = shop.clock.clone();
    let request = phone.request("GET", &format!("/jobs/{}/live?panel=advice", shop.job)).body(Body::empty()).unwrap();
    let (_, stream) = phone.clone().begin(request).await.into_parts();
    #[expect(clippy::disallowed_methods, reason = "how long closing takes is what is tried")]
    let begun = std::time::Instant::now();
    assert_eq!(shop.close().await, Stopped::AllAnswered);
    assert!(begun.elapsed() < Duration::from_secs(4), "{:?}", begun.elapsed());
    drop(stream);
    let shop = Shop::open_at(folder.path(), clock).await;
    let mut again = Phone { at: shop.secure, ..phone };
    let (status, _, page) = again.get("/").await;
    assert_eq!(status, StatusCode::OK, "{page}");
    // Turned off at the command line, in another process: the open bench answers no more.
    let other = Lan::of(&folder.path().join("network"));
    other.turn_off().unwrap();
    let refused = tokio::time::timeout(Duration::from_secs(5), again.connected(&[&version::TLS13])).await.unwrap();
    assert!(refused.is_err(), "nobody is spoken to");
    shop.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn only_tls_1_2_and_1_3_are_spoken_and_only_the_shops_own_names_are_certified() {
    let folder = tempfile::tempdir().unwrap();
    let shop = Shop::open(folder.path()).await;
    let mut phone = shop.phone();
    for version in [&version::TLS13, &version::TLS12] {
        let stream = phone.connected(&[version]).await.unwrap();
        assert_eq!(stream.get_ref().1.protocol_version(), Some(version.version));
    }
    for host in ["127.0.0.1", "bench.local"] {
        phone.host = host.into();
        let (status, headers, _) = phone.get("/pair").await;
        assert_eq!(status, StatusCode::OK, "{host}");
        assert_eq!(headers.contains_key(header::STRICT_TRANSPORT_SECURITY), host == "bench.local", "by name only");
    }
    for host in ["other.home.arpa", "bench.example", "192.168.1.9"] {
        phone.host = host.into();
        assert!(phone.connected(&[&version::TLS13]).await.is_err(), "{host}");
    }
    // A hello of TLS 1.1, written out by hand (RFC 4346, 7.4.1.2), is answered by a fatal alert: handshake_failure (40) or
    // protocol_version (70).
    let at = shop.secure;
    let answer = tokio::task::spawn_blocking(move || {
        let mut hello = vec![3, 2];
        hello.extend([7_u8; 32]);
        hello.push(0);
        hello.extend([0, 4, 0xC0, 0x13, 0x00, 0x2F, 1, 0]);
        let groups = [0, 10, 0, 4, 0, 2, 0, 23, 0, 11, 0, 2, 1, 0];
        hello.extend([0, u8::try_from(groups.len()).unwrap()]);
        hello.extend(groups);
        let length = u8::try_from(hello.len()).unwrap();
        let mut record = vec![22, 3, 1, 0, length + 4, 1, 0, 0, length];
        record.extend(hello);
        let mut stream = std::net::TcpStream::connect(at).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(5))).unwrap();
        stream.write_all(&record).unwrap();
        let mut answer = Vec::new();
        stream.read_to_end(&mut answer).unwrap();
        answer
    })
    .await
    .unwrap();
    assert!(matches!(answer.as_slice(), [21, 3, _, 0, 2, 2, 40 | 70]), "{answer:?}");
    shop.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_certificate_is_made_anew_thirty_days_ahead_and_after_four_hundred_days_phones_still_connect() {
    let folder = tempfile::tempdir().unwrap();
    let shop = Shop::open(folder.path()).await;
    let mut phone = shop.paired("phone", Role::Technician).await;
    let first = shop.lan.standing().unwrap().unwrap();
    assert!(!shop.lan.renew().unwrap(), "not before it is due");
    shop.clock.days(359);
    assert!(!shop.lan.renew().unwrap());
    shop.clock.days(2);
    assert!(shop.lan.renew().unwrap());
    let second = shop.lan.standing().unwrap().unwrap();
    assert!(second.certificate_until > first.certificate_until);
    assert_eq!(second.fingerprint, first.fingerprint, "the phones trust the authority, and that stays");
    // Without a new start the next connection gets the new one.
    shop.clock.days(39);
    assert_eq!(phone.get("/pair").await.0, StatusCode::OK, "400 days after the start");
    assert_eq!(phone.post("/pin", &[("pin", PIN)]).await.0, StatusCode::SEE_OTHER, "and still paired");
    // A bench that was asleep all the while makes one as it opens.
    let clock = shop.clock.clone();
    shop.close().await;
    clock.days(400);
    let shop = Shop::open_at(folder.path(), clock).await;
    phone.at = shop.secure;
    assert_eq!(phone.get("/pair").await.0, StatusCode::OK);
    // Another address is put into a new certificate.
    let lan = shop.lan.clone();
    let moved =
        Settings { addresses: vec!["127.0.0.1".parse().unwrap(), "192.168.4.7".parse().unwrap()], ..settings() };
    lan.turn_on(&moved, false).unwrap();
    assert_eq!(lan.standing().unwrap().unwrap().addresses.len(), 2);
    phone.host = "192.168.4.7".into();
    assert_eq!(phone.get("/pair").await.0, StatusCode::OK, "and is answered at");
    assert!(shop.heard("certificate-renewed") >= 1);
    shop.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_page_in_the_clear_says_how_to_pair_hands_out_the_certificate_and_takes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let shop = Shop::open(folder.path()).await;
    let ask = |method: &str, path: &str| {
        let host = format!("127.0.0.1:{}", shop.plain.port());
        Request::builder().method(method).uri(path).header(header::HOST, host).body(Body::empty()).unwrap()
    };
    let (status, headers, page) = plainly(shop.plain, ask("GET", "/")).await;
    assert_eq!(status, StatusCode::OK);
    assert!(
        headers.contains_key(header::CONTENT_SECURITY_POLICY)
            && !headers.contains_key(header::STRICT_TRANSPORT_SECURITY)
    );
    assert!(page.contains("this phone cannot work without Wi-Fi") && !page.contains("<form"), "{page}");
    assert!(page.contains(&format!("https://127.0.0.1:{}/pair", shop.secure.port())));
    let stream = TcpStream::connect(shop.plain).await.unwrap();
    let (mut sender, connection) = hyper::client::conn::http1::handshake(TokioIo::new(stream)).await.unwrap();
    tokio::spawn(connection);
    let (parts, body) = sender.send_request(ask("GET", "/authority.crt")).await.unwrap().into_parts();
    assert_eq!(parts.headers.get(header::CONTENT_TYPE).unwrap(), "application/x-x509-ca-cert");
    let der = to_bytes(Body::new(body), usize::MAX).await.unwrap();
    assert_eq!(der.to_vec(), shop.lan.authority_certificate().unwrap().unwrap());
    for (method, path, expected) in [
        ("POST", "/", 405),
        ("GET", "/jobs", 404),
        ("POST", "/pair", 404),
        ("GET", "/pair", 404),
        ("GET", "/api/1/jobs", 404),
        ("TRACE", "/", 405),
    ] {
        let (status, _, page) = plainly(shop.plain, ask(method, path)).await;
        assert_eq!(status.as_u16(), expected, "{method} {path}");
        assert!(!page.contains("Tolvane"));
    }
    shop.close().await;
}

/// A program of this machine.
fn program(name: &str) -> PathBuf {
    let path = std::env::var_os("PATH").expect("a search path");
    let found = std::env::split_paths(&path).map(|p| p.join(name)).find(|p| p.is_file());
    found.expect("the second client: install the packages openssl and curl")
}

#[tokio::test(flavor = "multi_thread")]
async fn other_peoples_programs_take_the_certificate_and_refuse_the_rest() {
    let folder = tempfile::tempdir().unwrap();
    // These programs look at the clock of the machine.
    let clock = Clock::default();
    clock.0.store(Timestamp::now().as_second() - BEGIN, Ordering::SeqCst);
    let shop = Shop::open_at(folder.path(), clock).await;
    let der = folder.path().join("authority.crt");
    std::fs::write(&der, shop.lan.authority_certificate().unwrap().unwrap()).unwrap();
    let pem = folder.path().join("authority.pem");
    let run = |program: PathBuf, words: Vec<String>| async move {
        let run = move || std::process::Command::new(program).args(words).stdin(std::process::Stdio::null()).output();
        let run = tokio::task::spawn_blocking(run);
        let out = tokio::time::timeout(Duration::from_secs(30), run).await.unwrap().unwrap().unwrap();
        (
            out.status.success(),
            format!("{}{}", String::from_utf8_lossy(&out.stdout), String::from_utf8_lossy(&out.stderr)),
        )
    };
    let words = |text: String| text.split(' ').map(ToOwned::to_owned).collect::<Vec<String>>();
    let openssl = program("openssl");
    let (made, said) =
        run(openssl.clone(), words(format!("x509 -inform der -in {} -out {} -text", der.display(), pem.display())))
            .await;
    assert!(made, "{said}");
    let text = std::fs::read_to_string(&pem).unwrap();
    for part in ["CA:TRUE, pathlen:0", "Name Constraints: critical", "DNS:bench.home.arpa", "DNS:bench.local"] {
        assert!(text.contains(part), "{part}: {text}");
    }
    let (_, said) =
        run(openssl.clone(), words(format!("x509 -inform der -in {} -noout -fingerprint -sha256", der.display())))
            .await;
    assert!(said.contains(&shop.lan.standing().unwrap().unwrap().fingerprint), "{said}");
    let at = shop.secure;
    let talk = |more: &str| {
        words(format!(
            "s_client -connect {at} -servername {NAME} -CAfile {} -verify_return_error -verify_hostname {more}",
            pem.display()
        ))
    };
    let (fine, said) = run(openssl.clone(), talk(NAME)).await;
    assert!(fine && said.contains("Verification: OK") && said.contains("TLSv1.3"), "{said}");
    let (fine, said) = run(openssl.clone(), talk(&format!("{NAME} -tls1_2"))).await;
    assert!(fine && said.contains("TLSv1.2"), "{said}");
    let (fine, said) = run(openssl.clone(), talk(&format!("{NAME} -tls1_1 -cipher DEFAULT@SECLEVEL=0"))).await;
    assert!(!fine && said.contains("alert"), "{said}");
    let (fine, said) = run(openssl, talk("other.home.arpa")).await;
    assert!(!fine, "{said}");
    let curl = program("curl");
    let asked = |host: &str, path: &str| {
        words(format!(
            "-sS -i --cacert {} --resolve {host}:{}:127.0.0.1 https://{host}:{}{path}",
            pem.display(),
            at.port(),
            at.port()
        ))
    };
    let (fine, said) = run(curl.clone(), asked("bench.local", "/")).await;
    assert!(
        fine && said.starts_with("HTTP/1.1 401") && said.to_lowercase().contains("strict-transport-security"),
        "{said}"
    );
    let (fine, said) = run(curl.clone(), asked("127.0.0.1", "/pair")).await;
    assert!(fine && said.starts_with("HTTP/1.1 200"), "{said}");
    let (fine, _) = run(curl, asked("bench.example", "/pair")).await;
    assert!(!fine, "a name that is not certified");
    shop.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_port_that_is_taken_leaves_the_bench_open_here_and_is_said() {
    let folder = tempfile::tempdir().unwrap();
    let taken = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let lan = Lan::of(folder.path());
    let wanted = Settings { port: taken.local_addr().unwrap().port(), pairing_port: None, ..settings() };
    lan.turn_on(&wanted, false).unwrap();
    let listening = listen(&lan).await.unwrap().unwrap();
    assert!(listening.open_at().is_empty() && listening.paired_at().is_none());
    let why: Vec<String> = listening.not_yet().iter().map(ToString::to_string).collect();
    assert!(why.len() == 1 && why.first().unwrap().contains(&taken.local_addr().unwrap().to_string()), "{why:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_spoiled_book_lets_nobody_in() {
    let folder = tempfile::tempdir().unwrap();
    let shop = Shop::open(folder.path()).await;
    let mut phone = shop.paired("phone", Role::Owner).await;
    let book = folder.path().join("network").join("devices.json");
    let text = std::fs::read(&book).unwrap();
    std::fs::write(&book, text.get(..text.len() / 2).unwrap()).unwrap();
    let (status, headers, page) = phone.get("/").await;
    assert_eq!(status, StatusCode::SERVICE_UNAVAILABLE);
    assert_policy("/", &headers);
    assert!(!page.contains("Tolvane"));
    std::fs::write(&book, text).unwrap();
    assert_eq!(phone.get("/").await.0, StatusCode::OK);
    shop.close().await;
}
