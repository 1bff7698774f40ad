//! The record of a job: entries, their stored form, and the fold to what is known about the job.
//!
//! * **For:** nothing is lost, nothing is rewritten, and everyone who holds the same entries sees the same job.
//! * **Comes in:** what was done, seen or said, with the device's own time and id; JSON Lines from another device.
//! * **Goes out:** sealed [`Entry`] lines that hang together by SHA-256, a [`JobState`] with [`Notice`]s, a
//!   [`ChainReport`] or the first bad line by number and reason.
//! * **Must not:** know the knowledge files, the clock or the store. Ids and times come in as arguments; which limit a
//!   reading keeps is judged elsewhere.
//!
//! Modules in reading order: [`words`] (closed lists), [`bodies`] (what each kind of entry holds), [`kinds`] (all kinds
//! and their versions), [`entry`] (the sealed line), [`chain`] (appending and verifying), [`lines`] (JSON Lines in and
//! out), [`notice`], [`state`] (what the fold knows), [`force`] (withdrawals and corrections), [`mod@fold`],
//! [`asking`] (the code and the hash of a customer page), [`sheet`] (the maker's own figures, for reuse), [`shortcode`] (what
//! papers carry out and back), [`story`] (stories written by hand).

pub mod asking;
pub mod bodies;
pub mod chain;
pub mod entry;
pub mod fold;
pub mod force;
pub mod issue;
pub mod kinds;
pub mod lines;
pub mod notice;
pub mod sheet;
pub mod shortcode;
pub mod state;
pub mod story;
pub mod words;

pub use asking::{AnswerCode, CodeError, page_hash};
pub use bodies::*;
pub use chain::{BadLine, Chain, ChainError, ChainReport, JobChain, verify, verify_against_tail};
pub use entry::{Content, Entry, FIRST_PREV, LineError, SealError, Unsealed};
pub use fold::{Folding, fold, fold_with};
pub use issue::{IssueBasis, issue_basis};
pub use kinds::{EntryBody, Kind};
pub use lines::{Imported, ImportedLine, WriteRefused, ensure_writable, export, import};
pub use notice::{Notice, NoticeCode};
pub use sheet::{
    EngineSheet, SheetError, sheet_export, sheet_from_json, sheet_from_toml, sheet_import, sheet_to_json, sheet_to_toml,
};
pub use state::{CauseAnswer, Fact, HistoryLine, InForce, JobState, ReadingTaken, ReadingValue};
pub use story::{StoryError, StoryLine, seal_story, story_from_lines};
pub use words::*;
