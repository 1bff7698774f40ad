//! What a request from the network passes: a host that the certificate names, a page of our own where something is changed, a
//! paired device with a session, and then the table of roles.

use axum::Router;
use axum::body::{Body, Bytes, to_bytes};
use axum::extract::{DefaultBodyLimit, Request, State};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, Uri, header};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use futures_util::StreamExt;
use jiff::{SignedDuration, Timestamp};
use std::time::Duration;
use tower::ServiceExt;

use super::devices::{self, Standing};
use super::{Lan, LanError, folder, locked, pairing, plain};
use crate::desk::Bench;
use crate::log::Event;
use crate::pages::{self, Asking};
use crate::trouble::{OnPage, OnWire, Trouble};
use crate::{door, guard, log};

/// The key of a paired device, and the token of its session.
const KEY: &str = "__Host-device";
const TOKEN: &str = "__Host-session";
/// How long something that was sent while a device was locked waits for the PIN \[ours\].
const HOLD: SignedDuration = SignedDuration::from_mins(10);
/// How many devices may have something waiting \[ours\], and the largest of it: a photo with its form.
const HOLDS: usize = 8;
const LARGEST_HELD: usize = 13 * 1024 * 1024;
/// How often a page that listens is looked at, whether its device is still one \[ours\].
const LOOK: Duration = Duration::from_secs(1);
/// A year, for browsers that come by name [published: OWASP ASVS 5.0, 3.4.1].
const INSIST: HeaderValue = HeaderValue::from_static("max-age=31536000");

/// Something that was sent by a device that had to type its PIN first.
#[derive(Debug, Clone)]
pub(super) struct Held {
    /// Which one: the page that asks for the PIN names it.
    pub(super) id: String,
    at: Timestamp,
    method: Method,
    uri: Uri,
    kind: Option<HeaderValue>,
    body: Bytes,
}

/// What handlers for devices stand on.
#[derive(Debug, Clone)]
pub(super) struct Gate {
    pub(super) lan: Lan,
    pub(super) inside: Router,
}

/// Everything that a device on the network can reach.
pub(crate) fn router(bench: &Bench, lan: &Lan) -> Router {
    let gate = Gate { lan: lan.clone(), inside: door::for_devices(bench) };
    Router::new()
        .route("/pair", get(pairing::page).post(pairing::pair))
        .route("/pair/wait", get(pairing::wait))
        .route("/pair.js", get(pairing::script))
        .route("/pin", get(pairing::pin_page).post(pairing::unlock))
        .route("/sign-out", post(pairing::sign_out))
        .route("/authority.crt", get(plain::authority))
        .route_layer(middleware::from_fn_with_state(bench.clone(), log::request))
        .method_not_allowed_fallback(door::other_method)
        .layer(DefaultBodyLimit::max(64 * 1024))
        .fallback_service(gate.inside.clone())
        .layer(middleware::from_fn_with_state(bench.clone(), pages::told_of_standing))
        .layer(middleware::from_fn_with_state(gate.clone(), pass))
        .with_state(gate)
}

/// Whether a program asks, or the script of a page: neither reads a page, and both send again what they have.
fn is_program(path: &str, headers: &HeaderMap) -> bool {
    let text = |name: &str| headers.get(name).and_then(|h| h.to_str().ok()).unwrap_or_default();
    let (accepts, mode) = (text("accept"), text("sec-fetch-mode"));
    let by_script = !mode.is_empty() && mode != "navigate";
    path.starts_with("/api/") || by_script || (accepts.contains("json") && !accepts.contains("text/html"))
}

/// Lets a request through or says why not, and puts the policy on what goes out.
async fn pass(State(gate): State<Gate>, request: Request, next: Next) -> Response {
    let wire = is_program(request.uri().path(), request.headers());
    let host = guard::host(request.headers(), request.uri()).unwrap_or_default();
    let reading = matches!(*request.method(), Method::GET | Method::HEAD | Method::OPTIONS);
    let named = gate.named(&host);
    let refuse = |why: &'static str, trouble: Trouble| {
        gate.lan.hear(&Event::DeviceRefused { why });
        in_form(wire, trouble)
    };
    let answered = Asking::Stranger.scope(async {
        if !gate.lan.is_on() {
            refuse("off", off())
        } else if named.is_none() {
            refuse(
                "host",
                Trouble::new(
                    StatusCode::MISDIRECTED_REQUEST,
                    "this bench does not answer under that name",
                    "open it at the name or address that stands in its list of devices",
                ),
            )
        } else if !reading && !guard::is_ours(request.headers(), &host) {
            refuse(
                "site",
                Trouble::new(
                    StatusCode::FORBIDDEN,
                    "the request comes from another site",
                    "nothing was kept; open the page on the bench itself and send it from there",
                ),
            )
        } else {
            gate.admit(request, next, reading, wire).await
        }
    });
    let mut response = answered.await;
    guard::cover(&mut response);
    if named == Some(true) {
        response.headers_mut().insert(header::STRICT_TRANSPORT_SECURITY, INSIST);
    }
    response
}

fn in_form(wire: bool, trouble: Trouble) -> Response {
    if wire { OnWire(trouble).into_response() } else { OnPage(trouble).into_response() }
}

fn off() -> Trouble {
    Trouble::new(
        StatusCode::SERVICE_UNAVAILABLE,
        "the bench is not on the network any more",
        "it was turned off at its computer; what is kept is there",
    )
}

impl From<LanError> for Trouble {
    fn from(error: LanError) -> Self {
        let (status, title) = match &error {
            LanError::Off => (StatusCode::CONFLICT, "the bench is not on the network"),
            LanError::NoDevice(_) | LanError::NoNumber(_) => (StatusCode::NOT_FOUND, "there is no such device"),
            LanError::Named(_) | LanError::Reach { .. } | LanError::Name(_) | LanError::Address(_) => {
                (StatusCode::UNPROCESSABLE_ENTITY, "the device is not offered")
            }
            LanError::System { .. }
            | LanError::Spoiled { .. }
            | LanError::NoAddress
            | LanError::OtherName { .. }
            | LanError::Ports(_)
            | LanError::Certificate(_)
            | LanError::Port { .. } => (StatusCode::SERVICE_UNAVAILABLE, "the devices cannot be read or written"),
        };
        Trouble::new(status, title, error)
    }
}

/// A cookie of the device.
fn cookie<'h>(headers: &'h HeaderMap, name: &str) -> Option<&'h str> {
    let cookies = headers.get_all(header::COOKIE).iter().filter_map(|c| c.to_str().ok());
    let found = cookies.flat_map(|c| c.split(';')).find_map(|c| c.trim().strip_prefix(name)?.strip_prefix('='));
    found.filter(|value| value.len() == 32)
}

/// The key that a request carries.
pub(super) fn key_of(headers: &HeaderMap) -> Option<&str> {
    cookie(headers, KEY)
}

fn set(response: &mut Response, name: &str, value: &str, life: SignedDuration) {
    let life = life.as_secs();
    let cookie = format!("{name}={value}; Path=/; Secure; HttpOnly; SameSite=Strict; Max-Age={life}");
    if let Ok(cookie) = HeaderValue::from_str(&cookie) {
        response.headers_mut().append(header::SET_COOKIE, cookie);
    }
}

/// Gives a device its key.
pub(super) fn give_key(response: &mut Response, key: &str) {
    set(response, KEY, key, devices::COOKIE);
}

/// Gives a device the token of its session.
pub(super) fn give_token(response: &mut Response, token: &str) {
    set(response, TOKEN, token, devices::SESSION);
}

/// Ends the session on the device's side too.
pub(super) fn take_token(response: &mut Response) {
    set(response, TOKEN, "", SignedDuration::ZERO);
}

/// Tells a device that was removed to clear what it keeps of the shop.
pub(super) fn clear(response: &mut Response) {
    let what = HeaderValue::from_static("\"cache\", \"cookies\", \"storage\"");
    response.headers_mut().insert("clear-site-data", what);
    set(response, KEY, "", SignedDuration::ZERO);
    take_token(response);
}

/// What says how a device gets in; 401 asks for a way to show who one is.
pub(super) fn unpaired(wire: bool, removed: bool) -> Response {
    let trouble = Trouble::new(
        StatusCode::UNAUTHORIZED,
        if removed { "this device was removed" } else { "this device is not paired" },
        "pair it at the computer of the bench",
    );
    let mut response =
        if wire { OnWire(trouble).into_response() } else { pages::pairing::unpaired(removed).into_response() };
    if !wire {
        *response.status_mut() = StatusCode::UNAUTHORIZED;
    }
    challenge(&mut response);
    if removed {
        clear(&mut response);
    }
    response
}

/// RFC 9110 wants every 401 to name a way in; this one is a pairing.
pub(super) fn challenge(response: &mut Response) {
    let way = HeaderValue::from_static("Pairing realm=\"the bench\"");
    response.headers_mut().insert(header::WWW_AUTHENTICATE, way);
}

/// What everybody may fetch: what the pages look like, and how a device is paired.
fn is_open(path: &str) -> bool {
    matches!(path, "/pair" | "/pair/wait" | "/pair.js" | "/authority.crt" | "/bench.css" | "/mark.svg")
        || path.starts_with("/fonts/")
}

/// What a page or its worker fetches by itself: nobody touched the device for it. A person asks for a document, or sends one;
/// a program that says nothing of it is asked by a person.
fn by_itself(path: &str, headers: &HeaderMap, reading: bool) -> bool {
    let wanted = headers.get("sec-fetch-dest").and_then(|d| d.to_str().ok()).unwrap_or("document");
    let fetched = reading && !matches!(wanted, "document" | "iframe");
    fetched || path.ends_with("/live") || matches!(path, "/bench.js" | "/health" | "/where.json")
}

impl Gate {
    /// Whether the certificate is for a host, and whether the host is a name.
    fn named(&self, host: &str) -> Option<bool> {
        let showing = self.lan.showing()?;
        let name = guard::without_port(host);
        if showing.names.iter().any(|n| n.eq_ignore_ascii_case(name)) {
            return Some(true);
        }
        let address: std::net::IpAddr = name.parse().ok()?;
        showing.addresses.contains(&address).then_some(false)
    }

    async fn admit(&self, request: Request, next: Next, reading: bool, wire: bool) -> Response {
        let path = request.uri().path().to_owned();
        if is_open(&path) {
            return next.run(request).await;
        }
        let by_itself = by_itself(&path, request.headers(), reading);
        let key = cookie(request.headers(), KEY).map(ToOwned::to_owned);
        let token = cookie(request.headers(), TOKEN).map(ToOwned::to_owned);
        let standing = match self.lan.book() {
            Ok(book) => book.standing(key.as_deref(), token.as_deref(), self.lan.now()),
            Err(error) => return in_form(wire, error.into()),
        };
        match standing {
            Standing::Unknown | Standing::Removed => {
                let removed = matches!(standing, Standing::Removed);
                let why = if removed { "removed" } else { "unpaired" };
                self.lan.hear(&Event::DeviceRefused { why });
                unpaired(wire, removed)
            }
            Standing::SignedOut { .. } if path == "/pin" => next.run(request).await,
            Standing::SignedOut { id, name } => self.ask_pin(&id, &name, request, reading, wire).await,
            Standing::Open(asker) => {
                let about_itself = matches!(path.as_str(), "/pin" | "/sign-out");
                if asker.locked && !reading && !about_itself {
                    return self.ask_pin(&asker.id, &asker.device, request, reading, wire).await;
                }
                if !by_itself && !asker.locked {
                    self.touched(&asker.id);
                }
                let response = Asking::Device(asker).scope(next.run(request)).await;
                self.while_paired(response, key, token)
            }
        }
    }

    /// Writes down that a device was touched, where that is news.
    fn touched(&self, id: &str) {
        let now = self.lan.now();
        if self.lan.book().is_ok_and(|book| book.is_news(id, now)) {
            // Where the disk refuses it the device locks early, and nothing else is lost.
            let _noted = self.lan.change(|book, now| book.touched(id, now));
        }
    }

    /// A page that listens is let go when its device is removed or signed out.
    fn while_paired(&self, response: Response, key: Option<String>, token: Option<String>) -> Response {
        let kind = response.headers().get(header::CONTENT_TYPE).and_then(|k| k.to_str().ok());
        if !kind.is_some_and(|kind| kind.starts_with("text/event-stream")) {
            return response;
        }
        let lan = self.lan.clone();
        let gone = async move {
            loop {
                tokio::time::sleep(LOOK).await;
                let standing = lan.book().map(|b| b.standing(key.as_deref(), token.as_deref(), lan.now()));
                if !lan.is_on() || !matches!(standing, Ok(Standing::Open(_))) {
                    return;
                }
            }
        };
        let (parts, body) = response.into_parts();
        let until = body.into_data_stream().take_until(Box::pin(gone));
        Response::from_parts(parts, Body::from_stream(until))
    }

    /// Asks for the PIN; what a person sent is held until it is typed, so that nothing is typed twice.
    async fn ask_pin(&self, id: &str, name: &str, request: Request, reading: bool, wire: bool) -> Response {
        self.lan.hear(&Event::DeviceLocked);
        if wire {
            let why = "nothing was kept; open the bench in the browser, type the PIN of this device, and send it again";
            let trouble = Trouble::new(StatusCode::UNAUTHORIZED, "this device is locked", why);
            let mut response = OnWire(trouble).into_response();
            challenge(&mut response);
            return response;
        }
        let back = request.uri().path_and_query().map_or("/", |p| p.as_str()).to_owned();
        let held = if reading { None } else { self.hold(id, request).await };
        let back = if reading { back } else { "/".to_owned() };
        let asked = pages::pairing::PinAsked { name, back: &back, held: held.as_deref(), wrong: None };
        let mut response = (StatusCode::UNAUTHORIZED, pages::pairing::pin(&asked)).into_response();
        challenge(&mut response);
        response
    }

    /// Keeps what was sent for a while; none where it is too large.
    async fn hold(&self, device: &str, request: Request) -> Option<String> {
        let (parts, body) = request.into_parts();
        let body = to_bytes(body, LARGEST_HELD).await.ok()?;
        let id = folder::secret().ok()?;
        let now = self.lan.now();
        let one = Held {
            id: id.clone(),
            at: now,
            method: parts.method,
            uri: parts.uri,
            kind: parts.headers.get(header::CONTENT_TYPE).cloned(),
            body,
        };
        let mut held = locked(&self.lan.inner.held);
        held.retain(|_, h| now.duration_since(h.at) < HOLD);
        if held.len() >= HOLDS && !held.contains_key(device) {
            let oldest = held.iter().min_by_key(|(_, h)| h.at).map(|(device, _)| device.clone());
            oldest.and_then(|device| held.remove(&device));
        }
        held.insert(device.to_owned(), one);
        Some(id)
    }

    /// What a device sent before its PIN was asked for.
    pub(super) fn take_held(&self, device: &str, id: &str) -> Option<Held> {
        let now = self.lan.now();
        let mut held = locked(&self.lan.inner.held);
        held.retain(|_, h| now.duration_since(h.at) < HOLD);
        held.get(device).filter(|h| h.id == id)?;
        held.remove(device)
    }

    /// Sends what was held once more, for a device that has typed its PIN.
    pub(super) async fn send_again(&self, held: Held, asker: super::Asker, headers: &HeaderMap) -> Response {
        let mut request = Request::builder().method(held.method).uri(held.uri);
        if let Some(kind) = held.kind {
            request = request.header(header::CONTENT_TYPE, kind);
        }
        for name in [header::HOST, header::COOKIE] {
            for value in headers.get_all(&name) {
                request = request.header(&name, value);
            }
        }
        match request.body(Body::from(held.body)) {
            Ok(request) => match Asking::Device(asker).scope(self.inside.clone().oneshot(request)).await {
                Ok(response) => response,
                Err(never) => match never {},
            },
            Err(_) => in_form(
                false,
                Trouble::new(StatusCode::BAD_REQUEST, "it cannot be sent again", "go back and send it once more"),
            ),
        }
    }
}
