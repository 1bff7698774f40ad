//! The log, for whoever runs the bench as a service: one line an event, as JSON.
//!
//! Events are a closed list of typed fields. There is no place in them for a name, a job, an address with what was typed
//! into it, or what a request carried; a route stands as its pattern.

use std::fmt;
use std::sync::Arc;

use axum::extract::{MatchedPath, Request, State};
use axum::middleware::Next;
use axum::response::Response;
use serde::Serialize;
use store::{Standing, Store};

use crate::desk::Bench;
use crate::surroundings;

/// Something that happened to the bench.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(tag = "event", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Event {
    /// It answers from now on.
    Opened {
        /// The version of the program.
        version: &'static str,
        /// Whether it keeps anything.
        keeps: bool,
    },
    /// A request was answered.
    Request {
        /// The method.
        method: String,
        /// The pattern of the route, `none` where there is no such route.
        route: String,
        /// The status of the answer.
        status: u16,
        /// How long it took until the answer began.
        ms: u64,
        /// Whether the store keeps anything after it.
        keeps: bool,
    },
    /// The network can be listened on, after it could not at the start.
    NetworkOpened,
    /// The certificate that the bench shows was made anew.
    CertificateRenewed,
    /// The certificate that the bench shows could not be made anew.
    CertificateNotRenewed,
    /// A device was paired.
    DevicePaired,
    /// A device was not paired.
    PairingRefused {
        /// Why, one word: `unknown`, `used`, `late`, `no-match`, `too-many`.
        why: &'static str,
    },
    /// A request of a device was turned away before anything was looked at.
    DeviceRefused {
        /// Why, one word: `unpaired`, `removed`, `host`, `site`, `off`.
        why: &'static str,
    },
    /// A device was asked for its PIN.
    DeviceLocked,
    /// A PIN was wrong.
    WrongPin {
        /// Whether it was the last one that the device had.
        last: bool,
    },
    /// A device was removed.
    DeviceRemoved {
        /// By whom or by what: `owner`, `wrong-pin`.
        why: &'static str,
    },
    /// It was told to stop; requests under way go on.
    Stopping,
    /// It is closed, and everything kept is on the disk.
    Closed {
        /// Whether requests had to be broken off.
        broken_off: bool,
    },
}

impl Event {
    /// Gives the event as one line of JSON, with the time now.
    #[must_use]
    pub fn line(&self) -> String {
        #[derive(Serialize)]
        struct Line<'e> {
            at: String,
            #[serde(flatten)]
            event: &'e Event,
        }
        serde_json::to_string(&Line { at: surroundings::now().to_string(), event: self }).unwrap_or_default()
    }
}

type Hearing = dyn Fn(&Event) + Send + Sync;

/// Who hears of events.
#[derive(Clone, Default)]
pub(crate) struct Hearer(pub(crate) Option<Arc<Hearing>>);

impl Hearer {
    pub(crate) fn hear(&self, event: &Event) {
        if let Some(hearer) = &self.0 {
            hearer(event);
        }
    }
}

impl fmt::Debug for Hearer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(if self.0.is_some() { "Hearer" } else { "Nobody" })
    }
}

/// Tells of a request once its answer begins.
pub(crate) async fn request(State(bench): State<Bench>, request: Request, next: Next) -> Response {
    if bench.around().hearer.0.is_none() {
        return next.run(request).await;
    }
    let begun = surroundings::Stopwatch::start();
    let method = request.method().to_string();
    let route = request.extensions().get::<MatchedPath>().map_or_else(|| "none".to_owned(), |p| p.as_str().to_owned());
    let response = next.run(request).await;
    bench.around().hearer.hear(&Event::Request {
        method,
        route,
        status: response.status().as_u16(),
        ms: begun.ms(),
        keeps: bench.store().standing() == Standing::Writable,
    });
    response
}
