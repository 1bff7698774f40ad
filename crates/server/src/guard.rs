//! What every request on this machine passes first: only this machine, only our own pages may send, and a strict policy on
//! what a page may load. What comes over the network passes `lan/gate.rs` instead.

use axum::extract::Request;
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, Uri, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use crate::pages::Asking;
use crate::trouble::{OnPage, OnWire, Trouble};

/// No inline script, no inline style, nothing from elsewhere.
pub(crate) const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; \
                                 font-src 'self'; connect-src 'self'; worker-src 'self'; manifest-src 'self'; \
                                 form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

/// The host that a request names: in its header, or in its address where the protocol has no such header.
pub(crate) fn host(headers: &HeaderMap, uri: &Uri) -> Option<String> {
    let named = headers.get(header::HOST).and_then(|h| h.to_str().ok()).map(ToOwned::to_owned);
    named.or_else(|| uri.authority().map(ToString::to_string))
}

/// The name or address of a host, without brackets and port.
pub(crate) fn without_port(host: &str) -> &str {
    match host.strip_prefix('[') {
        Some(rest) => rest.split(']').next().unwrap_or(""),
        None => host.split(':').next().unwrap_or(""),
    }
}

/// Whether a host is this machine, whatever the port.
fn is_this_machine(host: &str) -> bool {
    matches!(without_port(host), "127.0.0.1" | "localhost" | "::1")
}

/// Whether a request that changes something comes from our own page, or from no page at all.
pub(crate) fn is_ours(headers: &HeaderMap, host: &str) -> bool {
    let text = |name: &str| headers.get(name).and_then(|h| h.to_str().ok());
    if let Some(site) = text("sec-fetch-site") {
        return matches!(site, "same-origin" | "none");
    }
    // An old browser: it names where the form stood. A program names nothing and carries nobody's cookies.
    text("origin").is_none_or(|origin| origin.split_once("://").is_some_and(|(_, from)| from == host))
}

/// Whether a page is asked for by a person or a program, and not by a page of another site.
pub(crate) fn asked_here(headers: &HeaderMap) -> bool {
    let site = headers.get("sec-fetch-site").and_then(|h| h.to_str().ok());
    site.is_none_or(|site| matches!(site, "same-origin" | "none"))
}

/// Lets a request through or says why not, and puts the policy on what goes out. Who comes this way sits at this computer.
pub(crate) async fn guard(request: Request, next: Next) -> Response {
    Asking::Here.scope(guarded(request, next)).await
}

async fn guarded(request: Request, next: Next) -> Response {
    let wire = request.uri().path().starts_with("/api/");
    let refuse =
        |trouble: Trouble| if wire { OnWire(trouble).into_response() } else { OnPage(trouble).into_response() };
    let host = host(request.headers(), request.uri()).unwrap_or_default();
    let reading = matches!(*request.method(), Method::GET | Method::HEAD | Method::OPTIONS);
    let mut response = if !is_this_machine(&host) {
        refuse(Trouble::new(
            StatusCode::MISDIRECTED_REQUEST,
            "this bench answers on this machine only",
            "the request names another host; open http://127.0.0.1 with the port shown at start",
        ))
    } else if !reading && !is_ours(request.headers(), &host) {
        refuse(Trouble::new(
            StatusCode::FORBIDDEN,
            "the request comes from another site",
            "nothing was kept; open the page on the bench itself and send it from there",
        ))
    } else {
        next.run(request).await
    };
    cover(&mut response);
    response
}

/// Puts the policy on an answer, whatever it is.
pub(crate) fn cover(response: &mut Response) {
    let headers = response.headers_mut();
    if !headers.contains_key(header::CONTENT_SECURITY_POLICY) {
        headers.insert(header::CONTENT_SECURITY_POLICY, HeaderValue::from_static(POLICY));
    }
    headers.insert(header::X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff"));
    headers.insert(header::REFERRER_POLICY, HeaderValue::from_static("same-origin"));
    if !headers.contains_key(header::CACHE_CONTROL) {
        headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    }
}
