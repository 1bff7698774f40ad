//! The page without encryption: it says how a device is paired, hands out the certificate of the authority, and takes nothing.

use axum::Router;
use axum::extract::{DefaultBodyLimit, Request, State};
use axum::http::{HeaderMap, Method, StatusCode, Uri, header};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Response};
use axum::routing::get;

use super::{Lan, LanError};
use crate::door::{self, Shown};
use crate::guard;
use crate::pages::Asking;
use crate::pages::pairing as page;
use crate::trouble::{OnPage, Trouble};

/// The whole of it.
pub(crate) fn router(lan: &Lan) -> Router {
    Router::new()
        .route("/", get(how))
        .route("/authority.crt", get(authority_plain))
        .route("/bench.css", get(door::css))
        .route("/mark.svg", get(door::mark))
        .route("/fonts/{name}", get(door::font))
        .fallback(elsewhere)
        .method_not_allowed_fallback(nothing_taken)
        .layer(DefaultBodyLimit::max(1024))
        .layer(middleware::from_fn_with_state(lan.clone(), cover))
        .with_state(lan.clone())
}

/// Puts the policy on what goes out; nothing is said once the network is turned off.
async fn cover(State(lan): State<Lan>, request: Request, next: Next) -> Response {
    let answer = async {
        if lan.is_on() {
            return next.run(request).await;
        }
        let why = "it was turned off at its computer";
        OnPage(Trouble::new(StatusCode::SERVICE_UNAVAILABLE, "the bench is not on the network any more", why))
            .into_response()
    };
    let mut response = Asking::Stranger.scope(answer).await;
    guard::cover(&mut response);
    response
}

async fn how(State(lan): State<Lan>, headers: HeaderMap, uri: Uri) -> Shown {
    let standing = lan.standing()?.ok_or(LanError::Off)?;
    // The device goes on where it came from, where that is one of ours.
    let host = guard::host(&headers, &uri).unwrap_or_default();
    let asked = guard::without_port(&host);
    let reached = standing.reached_at();
    let same = reached.iter().find(|r| r.trim_matches(['[', ']']).eq_ignore_ascii_case(asked));
    let reach = same.cloned().unwrap_or_else(|| standing.surest());
    let secure = format!("https://{reach}:{}/pair", standing.settings.port);
    Ok(page::how(&secure).into_response())
}

/// The certificate of the authority, under the type that devices know it by.
pub(super) fn certificate(lan: &Lan) -> Result<Response, Trouble> {
    let der = lan.authority_certificate()?;
    let der = der.ok_or_else(|| Trouble::not_found("there is no authority yet", LanError::Off))?;
    let headers = [
        (header::CONTENT_TYPE, "application/x-x509-ca-cert"),
        (header::CONTENT_DISPOSITION, "attachment; filename=\"witnessmark-authority.crt\""),
    ];
    Ok((headers, der).into_response())
}

async fn authority_plain(State(lan): State<Lan>) -> Shown {
    Ok(certificate(&lan)?)
}

/// The same on the secure side.
pub(super) async fn authority(State(gate): State<super::gate::Gate>) -> Shown {
    Ok(certificate(&gate.lan)?)
}

async fn elsewhere() -> Shown {
    Err(Trouble::not_found("there is nothing here but how to pair a device", "go to the first page").into())
}

async fn nothing_taken(method: Method) -> Shown {
    let why = format!("{method} is not done here: nothing is entered over a line that others can read");
    Err(Trouble::new(StatusCode::METHOD_NOT_ALLOWED, "this page takes nothing", why).into())
}
