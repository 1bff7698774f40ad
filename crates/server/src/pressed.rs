//! Answers that go out compressed: pages, style, script, JSON and drawings, where a browser takes gzip.
//!
//! Compressing tells a length, and who sees lengths and can put text of his own beside a secret learns the secret letter by
//! letter (BREACH). Here he finds none. Keys and tokens of a device are cookies, which are no part of an answer, and are sent
//! for pages of this site alone (`SameSite=Strict`), so that another site can ask for no page in a device's name. No form
//! carries a token: what changes something is told apart by where it comes from (`guard.rs`). The pages that do show a secret,
//! the codes of pairing and the page that asks for the PIN, are merged outside this layer (`door::routes`, `lan/gate.rs`).
//! Events are no such type and go out as they happen.

use axum::http::header;
use tower_http::CompressionLevel;
use tower_http::compression::CompressionLayer;
use tower_http::compression::predicate::{And, Predicate, SizeAbove};

/// What gains by it; photos, fonts and papers are compressed in themselves.
const KINDS: [&str; 8] = [
    "text/html",
    "text/css",
    "text/javascript",
    "text/plain",
    "application/json",
    "application/problem+json",
    "application/manifest+json",
    "image/svg+xml",
];
/// Below this the frame costs more than it saves, in bytes \[ours\].
const SMALL: u64 = 512;

/// Lets through what is of such a kind.
#[derive(Debug, Clone, Copy)]
pub(crate) struct OfKind;

impl Predicate for OfKind {
    fn should_compress<B>(&self, response: &axum::http::Response<B>) -> bool
    where
        B: axum::body::HttpBody,
    {
        let kind = response.headers().get(header::CONTENT_TYPE).and_then(|k| k.to_str().ok()).unwrap_or_default();
        let kind = kind.split(';').next().unwrap_or_default().trim();
        KINDS.contains(&kind)
    }
}

/// The layer.
pub(crate) fn layer() -> CompressionLayer<And<SizeAbove, OfKind>> {
    // Not the fastest: of a page of 490 kB that level makes 67 kB, this one 55 kB in a few milliseconds more.
    CompressionLayer::new().quality(CompressionLevel::Default).compress_when(SizeAbove::new(SMALL).and(OfKind))
}
