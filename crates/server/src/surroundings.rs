//! Everything the bench asks of its surroundings: the clock and chance for new ids.

#![expect(clippy::disallowed_methods, reason = "this is the one module that asks the clock")]

use anatomy::{EntryId, JobId};
use jiff::Timestamp;
use jiff::civil::Date;

/// The device that entries from a browser on this machine name.
pub(crate) const DEVICE: &str = "bench browser";

fn fresh() -> (u64, [u8; 10]) {
    let bytes = *uuid::Uuid::now_v7().as_bytes();
    let mut chance = [0_u8; 10];
    for (to, from) in chance.iter_mut().zip(bytes.iter().skip(6)) {
        *to = *from;
    }
    let ms = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).map_or(0, |d| d.as_millis());
    (u64::try_from(ms).unwrap_or(0), chance)
}

/// A new entry id.
pub(crate) fn new_entry() -> EntryId {
    let (ms, chance) = fresh();
    EntryId::from_time_and_chance(ms, chance)
}

/// A new job id.
pub(crate) fn new_job() -> JobId {
    let (ms, chance) = fresh();
    JobId::from_time_and_chance(ms, chance)
}

/// The time inside an entry id, which is the time its device made it.
pub(crate) fn time_of(id: EntryId) -> Timestamp {
    let ms = i64::try_from(id.unix_ms()).unwrap_or(i64::MAX);
    Timestamp::from_millisecond(ms).unwrap_or(Timestamp::MAX)
}

/// The moment now.
pub(crate) fn now() -> Timestamp {
    Timestamp::now()
}

/// A stopwatch, started now.
#[derive(Debug)]
pub(crate) struct Stopwatch(std::time::Instant);

impl Stopwatch {
    /// Starts one.
    pub(crate) fn start() -> Self {
        Self(std::time::Instant::now())
    }

    /// Milliseconds since then.
    pub(crate) fn ms(&self) -> u64 {
        u64::try_from(self.0.elapsed().as_millis()).unwrap_or(u64::MAX)
    }
}

/// Today on this machine.
pub(crate) fn today() -> Date {
    jiff::ZonedDateTime::now().date()
}

/// The day that a paper is dated: when the same one was issued, else today, and never before what it tells.
pub(crate) fn day_of_issue(basis: &logbook::IssueBasis<'_>) -> Date {
    basis.day(today(), day_of)
}

/// The day here at a moment.
pub(crate) fn day_of(at: Timestamp) -> Date {
    at.to_zoned_datetime(jiff::tz::TimeZone::system()).date()
}

/// Day and minute here at a moment, as the clock on the wall shows them.
pub(crate) fn minute_of(at: Timestamp) -> String {
    at.to_zoned_datetime(jiff::tz::TimeZone::system()).strftime("%Y-%m-%d %H:%M").to_string()
}
