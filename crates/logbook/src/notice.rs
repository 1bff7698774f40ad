//! Complaints about the record: they stand beside the state and never stop the fold.

use anatomy::EntryId;
use serde::{Deserialize, Serialize};

use crate::words::words;

words! {
    /// What a notice is about.
    NoticeCode {
        /// An entry of a kind this build does not know is carried, not read.
        UnknownKind = "unknown-kind",
        /// An entry in a version newer than this build is carried, not read.
        NewerVersion = "newer-version",
        /// An entry does not fit its kind; it is carried, not read.
        UnreadableEntry = "unreadable-entry",
        /// A correction does not fit the entry it puts right; it has no effect.
        UnreadableCorrection = "unreadable-correction",
        /// An entry of another job lies among these; it has no effect here.
        OtherJob = "other-job",
        /// Two different entries have one id; the one whose text sorts first counts.
        SameIdTwice = "same-id-twice",
        /// A withdrawal or correction names an entry that is not here.
        TargetMissing = "target-missing",
        /// Withdrawals take each other back in a circle; none of them has effect.
        WithdrawalCircle = "withdrawal-circle",
        /// The clock of a device cannot have been right.
        ClockDoubted = "clock-doubted",
        /// One place has two readings of one kind; both are kept.
        TwoReadings = "two-readings",
        /// The engine sheet has two different figures for one thing.
        FiguresDiffer = "figures-differ",
        /// An entry names a place this engine does not have.
        PositionNotOnEngine = "position-not-on-engine",
        /// A reading names a gauge that nobody described.
        GaugeNotDescribed = "gauge-not-described",
        /// Readings were taken with a gauge that is doubted.
        GaugeDoubted = "gauge-doubted",
    }
}

/// One complaint about the record.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Notice {
    /// What kind of complaint.
    pub code: NoticeCode,
    /// The entries it is about, in id order.
    pub about: Vec<EntryId>,
    /// What is odd, in a sentence without full stop.
    pub message: String,
    /// The next move.
    pub what_to_do: String,
}
