//! What the tests share: one sample body of every kind, and ways to make entries.

use anatomy::{EntryId, JobId};
use jiff::Timestamp;
use logbook::{Content, Entry, EntryBody, Unsealed};

/// One line of every kind, in the first format.
pub(crate) const FORMAT_1: &str = include_str!("../formats/v1/entries.jsonl");

/// 2026-02-24T07:40:00Z in milliseconds.
pub(crate) const START_MS: u64 = 1_771_918_800_000;

/// Bags filled and asked back, in the format that they came with.
const FORMAT_11: &str = include_str!("../formats/v11/entries.jsonl");

pub(crate) fn format_1() -> Vec<Entry> {
    FORMAT_1.lines().map(|line| Entry::from_line(line).expect("a line of the first format")).collect()
}

/// Bodies of all kinds but withdrawals and corrections, which need a target; the bags as they are written today too.
pub(crate) fn sample_bodies() -> Vec<EntryBody> {
    let bags = FORMAT_11.lines().map(|line| Entry::from_line(line).expect("a line of that format"));
    format_1()
        .into_iter()
        .chain(bags.filter(|entry| entry.kind().contains("bag")))
        .collect::<Vec<Entry>>()
        .iter()
        .filter_map(|entry| match entry.content() {
            Content::Known(EntryBody::EntryWithdrawn(_) | EntryBody::EntryCorrected(_)) => None,
            Content::Known(body) => Some(body.clone()),
            other @ (Content::UnknownKind | Content::NewerVersion(_) | Content::Unreadable { .. }) => {
                panic!("{other:?}")
            }
        })
        .collect()
}

pub(crate) fn job() -> JobId {
    JobId::from_time_and_chance(START_MS, [1; 10])
}

pub(crate) fn id(minute: u64, chance: u8) -> EntryId {
    EntryId::from_time_and_chance(START_MS + minute * 60_000, [chance; 10])
}

pub(crate) fn at(minute: u64) -> Timestamp {
    Timestamp::from_millisecond(i64::try_from(START_MS + minute * 60_000).expect("small")).expect("a time")
}

pub(crate) fn made(minute: u64, chance: u8, body: &EntryBody) -> Unsealed {
    Unsealed::new(job(), at(minute), "Ida", "bench phone", id(minute, chance), body).expect("a good body")
}

/// Seals entries into one chain, in the order given.
pub(crate) fn chained(unsealed: &[Unsealed]) -> Vec<Entry> {
    let mut chain = logbook::Chain::new(job());
    unsealed.iter().map(|entry| chain.append_unsealed(entry.clone()).expect("a good body")).collect()
}

pub(crate) fn body(kind: &str, json: &str) -> EntryBody {
    let kind = logbook::Kind::from_word(kind).expect("a kind");
    let value = serde_json::from_str(json).expect("JSON");
    EntryBody::read(kind, kind.latest_version(), &value).expect("a good body").expect("a known version")
}

/// Gives a small number as a byte of chance.
pub(crate) fn small(n: usize) -> u8 {
    u8::try_from(n).expect("fewer than 256")
}
