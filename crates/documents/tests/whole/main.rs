//! Pictures and papers of made-up engines and of the demo jobs.
#![expect(
    clippy::unwrap_used,
    clippy::panic,
    reason = "clippy lets only the tests themselves off, not the functions they share"
)]

mod common;
mod customer_page;
mod papers;
mod pictures;
mod reading;
mod shop_papers;
mod trial;
