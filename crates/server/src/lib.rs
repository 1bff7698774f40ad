//! The bench in the browser: pages, forms, live rows and the HTTP interface, on this machine and, where the owner turned it
//! on, for paired devices on the shop's own network.
//!
//! * **For:** the technician with one free hand, the counter, and programs that speak HTTP.
//! * **Comes in:** requests from browsers on this machine and from paired devices; the store and the knowledge, handed over in a [`Bench`].
//! * **Goes out:** pages that work without script, entries kept in the store, JSON under `/api/1/`, server-sent events.
//! * **Must not:** compute a verdict, a belief or a figure of the trade. It shows rows of a [`workup::Case`] and of a
//!   [`logbook::JobState`], and writes entries. Out of reach of it, a page judges one plain figure by what
//!   [`workup::on_phone`] gives along, and is tried against a work-up.
//!
//! Modules in reading order: [`desk`] (the bench: jobs, entries, the last work-up of each job), `entering` (what [`workup::entering`] refuses, in the words of a
//! page), `forms` (a form for each kind of entry), `machine` (rows and codes of machine orders), `door` (routes, guards),
//! `around` (backups, log, closing), `log` (events without names), `live` (server-sent events), `api` (the HTTP interface),
//! [`lan`] (the shop's own network: authority, devices, roles), `asked` (customer pages and their answers), `offline` (what lets the
//! bench go on without the shop), `pressed` (what goes out compressed, and why that is safe), `papers`, `photos`, `marks`, `words`, then `pages`, one module a screen.

mod api;
mod around;
mod asked;
pub mod desk;
mod door;
mod entering;
mod forms;
mod guard;
pub mod lan;
mod listing;
mod live;
mod log;
mod machine;
mod marks;
mod offline;
mod pages;
mod papers;
mod photos;
mod pressed;
mod small;
mod surroundings;
mod trouble;
mod words;

pub use desk::Bench;
pub use door::{ServeError, Stopped, api_routes, bind, router, serve};
pub use log::Event;
pub use photos::kept_of;
pub use small::small;
