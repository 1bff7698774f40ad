//! `workup`: a job judged, on paper or as JSON.

use clap::Args;
use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;

use crate::desk::{Desk, Job};
use crate::show::Sheet;
use crate::trouble::{Done, Exit, Trouble};

/// Findings, beliefs, advice and options of a job.
#[derive(Debug, Args)]
pub(crate) struct Workup {
    /// The job, or a logbook file.
    job: String,
    /// Writes everything, not only the first lines of each part.
    #[arg(long)]
    full: bool,
    /// As it stood at this time: `2026-02-24` (end of that day) or `2026-02-24T09:30:00Z`.
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
}

impl Workup {
    pub(crate) async fn run(self, desk: &Desk) -> Done {
        let mut job = desk.job(&self.job).await?;
        if let Some(text) = &self.at {
            job = until(job, text)?;
        }
        let knowledge = desk.knowledge()?;
        let case = desk.case(&job.state, &knowledge)?;
        if desk.talk.json() {
            desk.talk.answer(&case)?;
        } else {
            Sheet { talk: &desk.talk, case: &case, job: &job, knowledge: &knowledge, full: self.full }.write()?;
        }
        Ok(Exit::Fine)
    }
}

/// The job with the entries made until a time.
fn until(job: Job, text: &str) -> Result<Job, Trouble> {
    let instant: Option<Timestamp> = text.parse().ok().or_else(|| {
        let day: Date = text.parse().ok()?;
        let next = day.tomorrow().ok()?;
        TimeZone::UTC.to_timestamp(next.at(0, 0, 0, 0)).ok()
    });
    let Some(instant) = instant else {
        return Err(Trouble::new(
            Exit::Usage,
            "read the time of --at",
            format!("`{text}` is no time; write 2026-02-24 or 2026-02-24T09:30:00Z"),
        ));
    };
    let entries: Vec<logbook::Entry> = job.entries.into_iter().filter(|e| e.at() <= instant).collect();
    if entries.is_empty() {
        return Err(Trouble::new(
            Exit::NotFound,
            "work the job up",
            format!("it had no entries at {text}; choose a later time"),
        ));
    }
    Ok(Job::of(entries))
}
