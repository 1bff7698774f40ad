//! The pages of devices: at the computer of the bench, and, to look and to remove, on a device of the owner.

use axum::Router;
use axum::extract::{Form, Path, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post};

use super::{Lan, LanError, NewDevice, Role, plain, qr};
use crate::desk::Bench;
use crate::door::Shown;
use crate::forms::Typed;
use crate::pages::{Asking, asking, devices as page, who};
use crate::trouble::Trouble;

/// The routes of these pages.
pub(crate) fn routes() -> Router<Bench> {
    Router::new()
        .route("/devices", get(list))
        .route("/devices/pair", post(pair))
        .route("/devices/pairing/{offer}", get(pairing).post(answer))
        .route("/devices/remove/{device}", post(remove))
        .route("/devices/authority.crt", get(authority))
}

fn lan(bench: &Bench) -> Result<&Lan, Trouble> {
    bench.around().lan.as_ref().ok_or_else(|| {
        let why = "start it with `witnessmark serve` on its own folder, which has a place for devices";
        Trouble::not_found("this bench has no devices", why)
    })
}

/// Whether who asks sits at the computer of the bench.
fn is_here() -> bool {
    matches!(asking(), Asking::Here)
}

fn listed(bench: &Bench, headers: &HeaderMap, typed: &Typed, wrong: Option<&str>) -> Result<maud::Markup, Trouble> {
    let Some(lan) = &bench.around().lan else {
        return Ok(page::list(&who(bench, headers), None, &[], &[], typed, wrong, is_here()));
    };
    let standing = lan.standing()?;
    let (devices, waiting) = (lan.devices()?, lan.waiting()?);
    Ok(page::list(&who(bench, headers), standing.as_ref(), &devices, &waiting, typed, wrong, is_here()))
}

async fn list(State(bench): State<Bench>, headers: HeaderMap) -> Shown {
    Ok(listed(&bench, &headers, &Typed::new(), None)?.into_response())
}

async fn authority(State(bench): State<Bench>) -> Shown {
    Ok(plain::certificate(lan(&bench)?)?)
}

async fn pair(State(bench): State<Bench>, headers: HeaderMap, Form(typed): Form<Typed>) -> Shown {
    let of = |name: &str| typed.get(name).map_or("", |t| t.trim()).to_owned();
    let unfit = |why: &str| -> Result<Response, Trouble> {
        Ok((StatusCode::UNPROCESSABLE_ENTITY, listed(&bench, &headers, &typed, Some(why))?).into_response())
    };
    let Some(role) = Role::from_word(&of("role")) else {
        return Ok(unfit("choose what the device is for")?);
    };
    let reach = Some(of("reach")).filter(|r| !r.is_empty());
    let device = NewDevice { name: of("name"), person: of("person"), role, reach };
    match lan(&bench)?.offer(&device) {
        Ok(offered) => Ok(Redirect::to(&format!("/devices/pairing/{}", offered.id)).into_response()),
        Err(why @ (LanError::Named(_) | LanError::Reach { .. })) => Ok(unfit(&why.to_string())?),
        Err(why) => Err(why.into()),
    }
}

async fn pairing(State(bench): State<Bench>, Path(id): Path<String>, headers: HeaderMap) -> Shown {
    let lan = lan(&bench)?;
    let who = who(&bench, &headers);
    let book = lan.book()?;
    if let Some(name) = book.paired_by(&id) {
        return Ok(page::paired(&who, name).into_response());
    }
    if let Some(waiting) = book.waiting(lan.now()).iter().find(|w| w.id == id) {
        return Ok(page::compare(&who, waiting).into_response());
    }
    let offered = lan.offered(&id).filter(|_| book.is_open(&id, lan.now()));
    Ok(match (offered, lan.standing()?) {
        (Some(offered), Some(standing)) => {
            let picture = qr::svg(&offered.url, "Picture with the address of this bench and a code that holds once");
            page::offer(&who, &offered, &standing, &picture).into_response()
        }
        _ => (StatusCode::GONE, page::over(&who)).into_response(),
    })
}

async fn answer(State(bench): State<Bench>, Path(id): Path<String>, Form(typed): Form<Typed>) -> Shown {
    let matches = match typed.get("numbers").map(String::as_str) {
        Some("match") => true,
        Some("differ") => false,
        _ => {
            let why = "say whether the numbers on both screens match";
            return Err(Trouble::new(StatusCode::UNPROCESSABLE_ENTITY, "nothing was said", why).into());
        }
    };
    lan(&bench)?.answer(&id, matches)?;
    let to = if matches { format!("/devices/pairing/{id}") } else { "/devices".to_owned() };
    Ok(Redirect::to(&to).into_response())
}

async fn remove(State(bench): State<Bench>, Path(id): Path<String>) -> Shown {
    lan(&bench)?.remove(&id)?;
    let mut response = Redirect::to("/devices").into_response();
    response.headers_mut().insert(header::CACHE_CONTROL, axum::http::HeaderValue::from_static("no-store"));
    Ok(response)
}
