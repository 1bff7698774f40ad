//! The record as a whole: lines, chain, fold, formats, stories.

#![expect(clippy::expect_used, clippy::panic, clippy::indexing_slicing, reason = "helpers of tests")]

mod common;

mod asking;
mod chain;
mod codes;
mod folding;
mod formats;
mod lines;
mod stories;
