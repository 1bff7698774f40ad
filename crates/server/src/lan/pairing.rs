//! What a device does by itself: it shows an offer and chooses a PIN, waits to be let in, types its PIN, signs out.

use axum::extract::{ConnectInfo, Form, Query, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};

use super::devices::{NotPaired, Shown, Standing, Wrong};
use super::gate::{self, Gate};
use super::tls::Peer;
use super::{folder, locked, pin};
use crate::door::{Shown as Answered, no_cache};
use crate::forms::Typed;
use crate::log::Event;
use crate::pages::pairing::{self as page, PinAsked};

pub(super) async fn script() -> Response {
    no_cache("text/javascript; charset=utf-8", include_str!("../../assets/pair.js"))
}

/// The form of a device that is to be paired. The secret of the picture stands behind `#` and never reaches the server here.
pub(super) async fn page() -> Response {
    page::form("", "", None).into_response()
}

/// Takes what a device shows and the PIN that it chose; the owner lets it in after comparing the numbers.
pub(super) async fn pair(
    State(gate): State<Gate>,
    ConnectInfo(peer): ConnectInfo<Peer>,
    Form(typed): Form<Typed>,
) -> Answered {
    let of = |name: &str| typed.get(name).map_or("", |t| t.trim());
    let (secret, code, pin) = (of("secret"), of("code"), of("pin"));
    let again = |why: &str| (StatusCode::UNPROCESSABLE_ENTITY, page::form(secret, code, Some(why))).into_response();
    if let Err(seconds) = gate.lan.try_from(peer.address.ip()) {
        gate.lan.hear(&Event::PairingRefused { why: NotPaired::TooMany.word() });
        let minutes = seconds.div_ceil(60);
        let why = format!("that were too many tries; wait {minutes} minutes, then ask for a new code at the bench");
        let page = page::form(secret, code, Some(&why));
        let mut response = (StatusCode::TOO_MANY_REQUESTS, page).into_response();
        response.headers_mut().insert(header::RETRY_AFTER, HeaderValue::from(seconds));
        return Ok(response);
    }
    if let Some(why) = pin::refused(pin) {
        return Ok(again(why));
    }
    if of("again") != pin {
        return Ok(again("the two PINs are not the same; type it twice"));
    }
    let shown = match (secret.is_empty(), code.is_empty()) {
        (false, _) => Shown::Secret(secret.to_owned()),
        (true, false) => Shown::Code(code.to_owned()),
        (true, true) => return Ok(again("type the code that stands on the screen of the bench")),
    };
    match gate.lan.claim(shown, pin, &peer.seed).await? {
        Ok(key) => {
            let mut response = Redirect::to("/pair/wait").into_response();
            gate::give_key(&mut response, &key);
            Ok(response)
        }
        Err(why) => {
            gate.lan.hear(&Event::PairingRefused { why: why.word() });
            let (status, words) = match why {
                NotPaired::Used => (
                    StatusCode::CONFLICT,
                    "this code was used before; if that was not you, say at the bench that the numbers do not match, and \
                     ask for a new one",
                ),
                NotPaired::Late => (StatusCode::GONE, "this code is over; it holds for ten minutes, ask for a new one"),
                NotPaired::Unknown | NotPaired::NoMatch | NotPaired::TooMany => {
                    (StatusCode::UNPROCESSABLE_ENTITY, "there is no such code; compare it with the screen of the bench")
                }
            };
            Ok((status, page::form("", "", Some(words))).into_response())
        }
    }
}

/// Shows the number while the owner compares it, and opens the bench once the device is let in.
pub(super) async fn wait(State(gate): State<Gate>, headers: HeaderMap) -> Answered {
    let key = gate::key_of(&headers).unwrap_or_default();
    let book = gate.lan.book()?;
    if let Some(number) = book.number_for(key, gate.lan.now()) {
        return Ok(page::waiting(&number).into_response());
    }
    let token = folder::secret()?;
    if gate.lan.change(|book, now| book.first_session(key, &token, now))? {
        gate.lan.hear(&Event::DevicePaired);
        let mut response = Redirect::to("/").into_response();
        gate::give_token(&mut response, &token);
        return Ok(response);
    }
    match book.standing(Some(key), None, gate.lan.now()) {
        Standing::SignedOut { .. } | Standing::Open(_) => Ok(Redirect::to("/").into_response()),
        Standing::Unknown | Standing::Removed => Ok((StatusCode::UNAUTHORIZED, page::not_let_in()).into_response()),
    }
}

/// Only into our own pages.
fn back_of(text: &str) -> &str {
    let ours = text.starts_with('/') && !text.starts_with("//") && !text.contains(['\\', '\r', '\n']);
    if ours { text } else { "/" }
}

/// The device that a key is of, whether it has a session or not.
fn device_of(gate: &Gate, headers: &HeaderMap) -> Result<Option<(String, String)>, super::LanError> {
    Ok(match gate.lan.book()?.standing(gate::key_of(headers), None, gate.lan.now()) {
        Standing::SignedOut { id, name } => Some((id, name)),
        Standing::Open(asker) => Some((asker.id, asker.device)),
        Standing::Unknown | Standing::Removed => None,
    })
}

pub(super) async fn pin_page(State(gate): State<Gate>, Query(asked): Query<Typed>, headers: HeaderMap) -> Answered {
    let Some((_, name)) = device_of(&gate, &headers)? else { return Ok(gate::unpaired(false, false)) };
    let back = back_of(asked.get("back").map_or("/", String::as_str));
    Ok(page::pin(&PinAsked { name: &name, back, held: None, wrong: None }).into_response())
}

/// Takes a PIN; where it is right a new session begins, and what was held is sent.
pub(super) async fn unlock(State(gate): State<Gate>, headers: HeaderMap, Form(typed): Form<Typed>) -> Answered {
    let Some((id, name)) = device_of(&gate, &headers)? else { return Ok(gate::unpaired(false, false)) };
    let of = |name: &str| typed.get(name).map_or("", |t| t.trim());
    let back = back_of(of("back"));
    let held = Some(of("held")).filter(|h| !h.is_empty());
    let wrong = |status: StatusCode, why: &str| {
        (status, page::pin(&PinAsked { name: &name, back, held, wrong: Some(why) })).into_response()
    };
    match gate.lan.unlock(&id, of("pin")).await? {
        Ok(token) => {
            let waiting = held.and_then(|held| gate.take_held(&id, held));
            let now = gate.lan.book()?.standing(gate::key_of(&headers), Some(&token), gate.lan.now());
            let mut response = match (waiting, now) {
                (Some(waiting), Standing::Open(asker)) => gate.send_again(waiting, asker, &headers).await,
                _ => Redirect::to(back).into_response(),
            };
            gate::give_token(&mut response, &token);
            Ok(response)
        }
        Err(Wrong::Pin { left }) => {
            gate.lan.hear(&Event::WrongPin { last: false });
            let why = if left > 5 {
                "that is not the PIN of this device".to_owned()
            } else {
                format!("that is not the PIN of this device; {left} more wrong ones and it is no longer paired")
            };
            let mut response = wrong(StatusCode::UNAUTHORIZED, &why);
            gate::challenge(&mut response);
            Ok(response)
        }
        Err(Wrong::Wait { seconds }) => {
            let why = format!("wait {}, then try again; nothing was looked at now", in_words(seconds));
            let mut response = wrong(StatusCode::TOO_MANY_REQUESTS, &why);
            response.headers_mut().insert(header::RETRY_AFTER, HeaderValue::from(seconds));
            Ok(response)
        }
        Err(Wrong::Unpaired) => {
            gate.lan.hear(&Event::WrongPin { last: true });
            gate.lan.hear(&Event::DeviceRemoved { why: "wrong-pin" });
            locked(&gate.lan.inner.held).remove(&id);
            Ok(gate::unpaired(false, true))
        }
    }
}

fn in_words(seconds: u64) -> String {
    match seconds {
        0..=90 => format!("{seconds} seconds"),
        more => format!("{} minutes", more.div_ceil(60)),
    }
}

/// Ends the session; the device stays paired and asks for its PIN.
pub(super) async fn sign_out(State(gate): State<Gate>, headers: HeaderMap) -> Answered {
    if let Some((id, _)) = device_of(&gate, &headers)? {
        gate.lan.change(|book, _| book.signed_out(&id))?;
        locked(&gate.lan.inner.held).remove(&id);
    }
    let mut response = Redirect::to("/pin").into_response();
    gate::take_token(&mut response);
    Ok(response)
}
