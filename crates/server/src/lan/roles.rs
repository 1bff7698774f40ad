//! Who may do what: one table of routes, one of kinds of entries. What is in neither is allowed to nobody.
//!
//! The tables hold for paired devices. Whoever sits at the computer of the bench acts as its owner, as ever.

use axum::extract::{MatchedPath, Request};
use axum::http::{Method, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use logbook::{Entry, EntryBody, Kind};
use serde::{Deserialize, Serialize};

use super::Asker;
use crate::pages::{Asking, asking};
use crate::trouble::{OnPage, OnWire, Trouble};

/// What a device may do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// Whatever is done to the engine; no money and no yes of a customer.
    Technician,
    /// Everything of a job, money and customers too.
    Counter,
    /// Everything, the devices too.
    Owner,
}

impl Role {
    /// Every role.
    pub const ALL: [Role; 3] = [Role::Technician, Role::Counter, Role::Owner];

    /// Gives its word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Role::Technician => "technician",
            Role::Counter => "counter",
            Role::Owner => "owner",
        }
    }

    /// Finds the role of a word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Role> {
        Self::ALL.into_iter().find(|role| role.word() == word)
    }
}

/// Every device.
const ALL: &[Role] = &Role::ALL;
/// Those who speak with customers and suppliers.
const OFFICE: &[Role] = &[Role::Counter, Role::Owner];
/// The owner alone.
const OWNER: &[Role] = &[Role::Owner];
/// Nobody but who sits at the computer of the bench.
const HERE: &[Role] = &[];

/// Method, pattern of the route, who may. Looking at the head of something (HEAD) is getting it.
const ROUTES: &[(&str, &str, &[Role])] = &[
    ("GET", "/", ALL),
    ("POST", "/jobs", ALL),
    ("POST", "/practice", ALL),
    ("GET", "/jobs/{id}", ALL),
    ("GET", "/jobs/{id}/live", ALL),
    ("GET", "/jobs/{id}/enter", ALL),
    ("POST", "/jobs/{id}/enter", ALL),
    ("GET", "/jobs/{id}/kept/{entry}", ALL),
    ("GET", "/jobs/{id}/place/{position}", ALL),
    ("POST", "/jobs/{id}/tell/{kind}", ALL),
    ("POST", "/jobs/{id}/withdraw/{entry}", ALL),
    ("GET", "/jobs/{id}/entries/{entry}", ALL),
    ("POST", "/jobs/{id}/entries/{entry}", ALL),
    ("GET", "/jobs/{id}/bolts", ALL),
    ("GET", "/jobs/{id}/bags", ALL),
    ("POST", "/jobs/{id}/sheet", ALL),
    ("GET", "/jobs/{id}/sheet.toml", ALL),
    ("POST", "/jobs/{id}/photos", ALL),
    ("GET", "/jobs/{id}/papers/{file}", ALL),
    ("GET", "/jobs/{id}/price-list", OFFICE),
    ("POST", "/jobs/{id}/price-list", OFFICE),
    ("POST", "/jobs/{id}/page", OFFICE),
    ("GET", "/jobs/{id}/page/{file}", OFFICE),
    ("GET", "/jobs/{id}/look.html", OFFICE),
    ("POST", "/jobs/{id}/answer", OFFICE),
    ("GET", "/jobs/{id}/{moment}", ALL),
    ("GET", "/gauges", ALL),
    ("GET", "/machine-work", ALL),
    ("GET", "/own-jobs", ALL),
    ("GET", "/residues", ALL),
    ("GET", "/sources", ALL),
    ("GET", "/calculators", ALL),
    ("GET", "/calculators/{id}", ALL),
    ("GET", "/attachments/{sha256}", ALL),
    ("GET", "/attachments/{sha256}/small", ALL),
    ("POST", "/who", ALL),
    ("GET", "/health", ALL),
    ("GET", "/queue", ALL),
    ("GET", "/where.json", ALL),
    ("GET", "/jobs/{id}/offline.json", ALL),
    ("GET", "/queue.js", ALL),
    ("GET", "/judge.js", ALL),
    ("GET", "/phone.js", ALL),
    ("GET", "/sw.js", ALL),
    ("GET", "/manifest.webmanifest", ALL),
    ("GET", "/icons/192.png", ALL),
    ("GET", "/icons/512.png", ALL),
    ("GET", "/icons/maskable.png", ALL),
    ("GET", "/bench.css", ALL),
    ("GET", "/bench.js", ALL),
    ("GET", "/mark.svg", ALL),
    ("GET", "/fonts/{name}", ALL),
    ("GET", "/devices", OWNER),
    ("POST", "/devices/remove/{device}", OWNER),
    ("POST", "/devices/pair", HERE),
    ("GET", "/devices/pairing/{offer}", HERE),
    ("POST", "/devices/pairing/{offer}", HERE),
    ("GET", "/devices/authority.crt", OWNER),
    ("GET", "/api/1/jobs", ALL),
    ("POST", "/api/1/jobs", ALL),
    ("GET", "/api/1/jobs/{id}", ALL),
    ("GET", "/api/1/jobs/{id}/entries", ALL),
    ("POST", "/api/1/jobs/{id}/entries", ALL),
    ("GET", "/api/1/calculators", ALL),
    ("GET", "/api/1/openapi.json", ALL),
];

/// What the pages look like, which everybody may fetch.
const LOOKS: &[&str] = &["/bench.css", "/mark.svg", "/fonts/{name}"];

/// The calculators: one route each, out of their catalogue.
const CALCULATORS: &str = "/api/1/calculators/";

/// Gives the table: method, pattern of the route, which roles may use it; none: whoever sits at the computer of the bench.
#[must_use]
pub fn routes() -> Vec<(&'static str, &'static str, &'static [Role])> {
    ROUTES.to_vec()
}

/// Whether a role may use a route.
pub(crate) fn may(role: Role, method: &Method, pattern: &str) -> bool {
    let method = if *method == Method::HEAD { "GET" } else { method.as_str() };
    if method == "GET" && pattern.starts_with(CALCULATORS) {
        return true;
    }
    ROUTES.iter().any(|(m, p, who)| *m == method && *p == pattern && who.contains(&role))
}

/// Who may enter a kind.
const fn who_enters(kind: Kind) -> &'static [Role] {
    match kind {
        Kind::MoneyTold
        | Kind::LimitsTold
        | Kind::ApprovalAsked
        | Kind::ApprovalGiven
        | Kind::ApprovalRefused
        | Kind::CostBooked
        | Kind::QuoteReceived
        | Kind::PartOrdered
        | Kind::MachineOrderSent
        | Kind::ComebackDecided => OFFICE,
        Kind::PersonalDataErased => OWNER,
        Kind::JobOpened
        | Kind::ComplaintHeard
        | Kind::EngineDescribed
        | Kind::VehicleDescribed
        | Kind::AttributeTold
        | Kind::PromiseMade
        | Kind::CustomerTold
        | Kind::EngineFigureSet
        | Kind::SheetAdopted
        | Kind::GaugeDescribed
        | Kind::GaugeDoubted
        | Kind::GaugeCleared
        | Kind::ReadingTaken
        | Kind::WaitStarted
        | Kind::ReadingSkipped
        | Kind::OutsideAnswered
        | Kind::ResidueSeen
        | Kind::PhotoKept
        | Kind::StageReached
        | Kind::CautionTicked
        | Kind::PartBagged
        | Kind::AdviceOverruled
        | Kind::TimeWorked
        | Kind::OptionRuledOut
        | Kind::OptionChosen
        | Kind::CauseNamed
        | Kind::CauseUnknownSigned
        | Kind::PartArrived
        | Kind::PartFitted
        | Kind::PartReturned
        | Kind::MachineWorkReturned
        | Kind::BuildStepDone
        | Kind::HoldPointSigned
        | Kind::HoldPointPassedOpen
        | Kind::BagEmptied
        | Kind::StageLeftOut
        | Kind::BoltsPlaced
        | Kind::BoltTightened
        | Kind::BoltRestarted
        | Kind::JointDisturbed
        | Kind::EngineRun
        | Kind::PaperIssued
        | Kind::HandedBack
        | Kind::ComebackOpened
        | Kind::OutcomeFound
        | Kind::JobClosed
        | Kind::NoteWritten
        | Kind::EntryWithdrawn
        | Kind::EntryCorrected => ALL,
    }
}

/// Whether the device that asks may enter something now; whoever sits at the computer of the bench may.
///
/// What is withdrawn or put right counts as what it was.
pub(crate) fn ensure_may_enter(body: &EntryBody, entries: &[Entry]) -> Result<(), Trouble> {
    let asker = match asking() {
        Asking::Here => return Ok(()),
        Asking::Device(asker) => asker,
        Asking::Stranger => return Err(nobody()),
    };
    if asker.locked {
        let next = "nothing was kept; type the PIN of this device, and send it again";
        return Err(Trouble::new(StatusCode::UNAUTHORIZED, "this device is locked", next));
    }
    let target = if let EntryBody::EntryWithdrawn(gone) = body {
        Some(gone.entry)
    } else if let EntryBody::EntryCorrected(right) = body {
        Some(right.entry)
    } else {
        None
    };
    let of = target.and_then(|id| entries.iter().find(|e| e.id() == id)).map(Entry::kind);
    let kinds = [Some(body.kind()), of.and_then(Kind::from_word)];
    match kinds.into_iter().flatten().find(|kind| !who_enters(*kind).contains(&asker.role)) {
        None => Ok(()),
        Some(kind) => Err(not_allowed(&asker, who_enters(kind))),
    }
}

fn nobody() -> Trouble {
    Trouble::new(StatusCode::UNAUTHORIZED, "this device is not paired", "pair it at the computer of the bench")
}

/// Who may, in words.
fn not_allowed(asker: &Asker, who: &[Role]) -> Trouble {
    let who: Vec<&str> = who.iter().map(|role| role.word()).collect();
    let who = if who.is_empty() { "whoever sits at the computer of the bench".to_owned() } else { who.join(" or ") };
    let detail = format!("this device was paired for the {}; it is done by {who}", asker.role.word());
    Trouble::new(StatusCode::FORBIDDEN, "this device may not do that", detail)
}

/// Lets a request of a device through where its role may use the route.
pub(crate) async fn ensure(request: Request, next: Next) -> Response {
    let pattern = request.extensions().get::<MatchedPath>().map(|p| p.as_str().to_owned());
    let asker = match asking() {
        Asking::Device(asker) => asker,
        Asking::Stranger if pattern.as_deref().is_some_and(|p| LOOKS.contains(&p)) => return next.run(request).await,
        // Whoever sits at the computer of the bench does not come this way; if somebody does, the answer is no.
        Asking::Stranger | Asking::Here => return refused(&request, nobody()),
    };
    match pattern {
        Some(pattern) if may(asker.role, request.method(), &pattern) => next.run(request).await,
        Some(pattern) => {
            let method = request.method().as_str();
            let who = ROUTES.iter().find(|(m, p, _)| *m == method && *p == pattern).map_or(HERE, |(_, _, who)| who);
            refused(&request, not_allowed(&asker, who))
        }
        // There is no such route; the answer says so and shows nothing.
        None => next.run(request).await,
    }
}

fn refused(request: &Request, trouble: Trouble) -> Response {
    if request.uri().path().starts_with("/api/") {
        OnWire(trouble).into_response()
    } else {
        OnPage(trouble).into_response()
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    /// Every route that the door and the pages of the devices lay out, by their source.
    fn laid_out() -> BTreeSet<(String, String)> {
        let mut out = BTreeSet::new();
        for text in [include_str!("../door.rs"), include_str!("here.rs")] {
            for part in text.split(".route(\"").skip(1) {
                let (pattern, rest) = part.split_once('"').unwrap();
                let rest = rest.split(".route(").next().unwrap();
                for (word, method) in [("get(", "GET"), ("post(", "POST"), ("put(", "PUT"), ("delete(", "DELETE")] {
                    let at = rest.find(word).filter(|at| rest.find(';').is_none_or(|end| *at < end));
                    if at.is_some() {
                        out.insert((method.to_owned(), pattern.to_owned()));
                    }
                }
            }
        }
        for (path, _) in crate::offline::files() {
            out.insert(("GET".to_owned(), path.to_owned()));
        }
        for (method, path) in crate::api_routes() {
            out.insert((method.to_ascii_uppercase(), path));
        }
        out
    }

    #[test]
    fn the_table_names_every_route_that_there_is_and_no_other() {
        let laid_out = laid_out();
        assert!(laid_out.len() > 50, "{laid_out:?}");
        let table: BTreeSet<(String, String)> =
            ROUTES.iter().map(|(m, p, _)| ((*m).to_owned(), (*p).to_owned())).collect();
        assert_eq!(table.len(), ROUTES.len(), "a route stands twice");
        let of_calculators = |(m, p): &&(String, String)| m == "GET" && p.starts_with(CALCULATORS);
        let missing: Vec<_> = laid_out.difference(&table).filter(|route| !of_calculators(route)).collect();
        assert!(missing.is_empty(), "say in lan/roles.rs who may use these: {missing:?}");
        let gone: Vec<_> = table.difference(&laid_out).collect();
        assert!(gone.is_empty(), "these are in the table of lan/roles.rs and nowhere else: {gone:?}");
    }

    #[test]
    fn what_is_not_in_the_table_is_nobodys() {
        for role in Role::ALL {
            for (method, path) in [
                ("GET", "/export"),
                ("DELETE", "/"),
                ("TRACE", "/"),
                ("POST", "/api/1/calculators/x"),
                ("PUT", "/jobs"),
            ] {
                assert!(!may(role, &method.parse().unwrap(), path), "{} {method} {path}", role.word());
            }
            assert!(!may(role, &Method::POST, "/devices/pair"), "pairing is for who sits at the bench");
            assert_eq!(may(role, &Method::GET, "/devices"), role == Role::Owner);
            assert!(may(role, &Method::HEAD, "/"));
        }
    }

    #[test]
    fn money_and_a_customers_yes_are_not_the_technicians() {
        let of = |role: Role| -> BTreeSet<&str> {
            Kind::ALL.iter().filter(|k| who_enters(**k).contains(&role)).map(|k| k.word()).collect()
        };
        let (technician, counter, owner) = (of(Role::Technician), of(Role::Counter), of(Role::Owner));
        assert_eq!(owner.len(), Kind::ALL.len());
        assert!(technician.is_subset(&counter) && counter.is_subset(&owner));
        for word in
            ["approval-given", "approval-asked", "quote-received", "part-ordered", "machine-order-sent", "money-told"]
        {
            assert!(!technician.contains(word) && counter.contains(word), "{word}");
        }
        for word in ["reading-taken", "hold-point-signed", "photo-kept", "note-written"] {
            assert!(technician.contains(word), "{word}");
        }
        assert!(!counter.contains("personal-data-erased"));
    }
}
