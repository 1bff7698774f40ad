//! The door from outside: the built binary on real input in temporary folders.
#![expect(
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    reason = "a test that cannot go on stops where it stands"
)]

mod asking;
mod jobs;
mod keeping;
mod knowing;
mod lan;
mod learning;
mod manners;
#[path = "../../../store/tests/postgres_server/mod.rs"]
mod postgres_server;
mod quotes;
mod shared;
mod shop;
