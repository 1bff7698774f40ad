//! What a bench is told of its surroundings besides record and knowledge: who hears its log, which backups it minds, and
//! that it is about to close.

use std::path::PathBuf;
use std::sync::Arc;

use jiff::Timestamp;
use store::Backups;
use tokio::sync::watch;

use crate::lan::Lan;
use crate::log::{Event, Hearer};
use crate::surroundings;

/// The surroundings of a bench.
#[derive(Debug, Clone)]
pub(crate) struct Around {
    pub(crate) hearer: Hearer,
    /// The folder in which backups are noted, and after how many days one is too old.
    pub(crate) backups: Option<(PathBuf, u32)>,
    /// The network of the shop, where this bench has a folder for it.
    pub(crate) lan: Option<Lan>,
    closing: Arc<watch::Sender<bool>>,
}

impl Default for Around {
    fn default() -> Self {
        Self { hearer: Hearer::default(), backups: None, lan: None, closing: Arc::new(watch::Sender::new(false)) }
    }
}

/// What the wall says of backups.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct BackupLine {
    /// The sentence.
    pub(crate) words: String,
    /// Whether somebody is to do something.
    pub(crate) too_old: bool,
}

impl Around {
    /// Tells those who wait that the bench closes.
    pub(crate) fn close(&self) {
        self.closing.send_replace(true);
        self.hearer.hear(&Event::Stopping);
    }

    /// Comes back when the bench closes.
    pub(crate) async fn closing(&self) {
        let mut seen = self.closing.subscribe();
        // The sender lives as long as this does.
        let _closed = seen.wait_for(|closing| *closing).await;
    }

    /// When the last backup was made, where backups are minded and one was.
    pub(crate) fn last_backup(&self) -> Option<Timestamp> {
        let (folder, _) = self.backups.as_ref()?;
        Backups::of(folder).made.map(|made| made.at)
    }

    /// How many entries of the record the last backup holds, where backups are minded; none made is none.
    pub(crate) fn backed_up(&self) -> Option<u64> {
        let (folder, _) = self.backups.as_ref()?;
        Some(Backups::of(folder).made.map_or(0, |made| made.entries))
    }

    /// What there is to say of backups; `oldest` is when the first job was opened.
    pub(crate) fn backup_line(&self, oldest: Option<Timestamp>) -> Option<BackupLine> {
        let (folder, limit) = self.backups.as_ref()?;
        let backups = Backups::of(folder);
        let now = surroundings::now();
        let too_old = |since: Timestamp| *limit > 0 && days_between(since, now) > i64::from(*limit);
        let next = "make one at the command line, witnessmark backup, and keep it away from this computer";
        let Some(made) = backups.made else {
            // A record without a job has nothing to lose yet.
            let too_old = too_old(oldest?);
            let words = if too_old {
                format!("No backup of this record has been made: {next}.")
            } else {
                "No backup of this record has been made yet.".to_owned()
            };
            return Some(BackupLine { words, too_old });
        };
        let day = surroundings::minute_of(made.at);
        let age = match days_between(made.at, now) {
            0 => "today".to_owned(),
            1 => "1 day ago".to_owned(),
            n => format!("{n} days ago"),
        };
        let proved = backups.proved.filter(|proved| proved.state == made.state);
        let proved = proved.map_or(String::new(), |p| format!(", proved by a drill {}", surroundings::minute_of(p.at)));
        Some(if too_old(made.at) {
            let days = if *limit == 1 { "day" } else { "days" };
            let words = format!("The last backup was made {age} ({day}), more than {limit} {days}: {next}.");
            BackupLine { words, too_old: true }
        } else {
            BackupLine { words: format!("Last backup {age} ({day}){proved}."), too_old: false }
        })
    }
}

fn days_between(since: Timestamp, now: Timestamp) -> i64 {
    now.duration_since(since).as_secs().max(0) / 86_400
}
