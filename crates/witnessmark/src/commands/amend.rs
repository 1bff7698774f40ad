//! `withdraw` and `correct`: what was entered is taken back or put right, and stays in the record.

use clap::Args;
use logbook::{EntryBody, EntryCorrected, EntryWithdrawn, Kind};
use serde_json::Value;
use workup::entering::{found, place, read_value};

use super::enter::keep;
use crate::desk::{Desk, Job, entry, entry_meant, json_argument};
use crate::trouble::{Done, Exit, Trouble};

/// Takes an entry back; it stays in the record.
#[derive(Debug, Args)]
pub(crate) struct Withdraw {
    /// The job.
    job: String,
    /// The entry: its id, four or more characters of its start or end, or `last`.
    entry: String,
    /// Why.
    #[arg(long)]
    reason: String,
    /// Who [default: the person logged in].
    #[arg(long)]
    by: Option<String>,
}

/// Puts an entry right; both stay in the record.
#[derive(Debug, Args)]
pub(crate) struct Correct {
    /// The job.
    job: String,
    /// The entry: its id, four or more characters of its start or end, or `last`.
    entry: String,
    /// The right value of a reading, figure with unit or outcome.
    #[arg(allow_hyphen_values = true)]
    value: Option<String>,
    /// The right place of a reading.
    #[arg(long)]
    position: Option<String>,
    /// The whole right body as JSON, `@file` or `-`; for entries of any kind.
    #[arg(long, conflicts_with_all = ["value", "position"])]
    body: Option<String>,
    /// Why.
    #[arg(long)]
    reason: String,
    /// Who [default: the person logged in].
    #[arg(long)]
    by: Option<String>,
}

impl Withdraw {
    pub(crate) async fn run(self, desk: &Desk) -> Done {
        let knowledge = desk.knowledge()?;
        let taken = desk.take_up(&self.job).await?;
        let target = entry_meant(&taken.job, &self.entry)?;
        let before = desk.case(&taken.job.state, &knowledge).ok();
        let body = EntryBody::EntryWithdrawn(EntryWithdrawn { entry: target, reason: self.reason.clone() });
        let unsealed = entry(taken.id, self.by.as_deref(), &body)?;
        let about = unsealed.id;
        keep(desk, &knowledge, taken, before, unsealed, about, &format!("kept, {target} withdrawn")).await
    }
}

impl Correct {
    pub(crate) async fn run(self, desk: &Desk) -> Done {
        let knowledge = desk.knowledge()?;
        let taken = desk.take_up(&self.job).await?;
        let target = entry_meant(&taken.job, &self.entry)?;
        let new_body = self.new_body(&taken.job, target, &knowledge)?;
        let before = desk.case(&taken.job.state, &knowledge).ok();
        let line = taken.job.state.history.iter().find(|h| h.entry == target);
        let kind = line.and_then(|line| Kind::from_word(&line.kind));
        let v = kind.map(|kind| kind.version_for(&new_body)).filter(|v| line.is_some_and(|line| *v > line.version));
        let body =
            EntryBody::EntryCorrected(EntryCorrected { entry: target, body: new_body, reason: self.reason.clone(), v });
        let unsealed = entry(taken.id, self.by.as_deref(), &body)?;
        keep(desk, &knowledge, taken, before, unsealed, target, "kept, put right").await
    }

    /// The whole new body, checked against its kind.
    fn new_body(
        &self,
        job: &Job,
        target: anatomy::EntryId,
        knowledge: &knowledge::Knowledge,
    ) -> Result<Value, Trouble> {
        let refuse = |why: String| Trouble::new(Exit::Refused, "correct the entry", why);
        let Some(line) = job.state.history.iter().find(|h| h.entry == target) else {
            return Err(Trouble::new(Exit::NotFound, "correct the entry", "the job has no such entry"));
        };
        let kind = Kind::from_word(&line.kind)
            .ok_or_else(|| refuse(format!("its kind {} is not known to this build", line.kind)))?;
        let body = match (&self.body, kind) {
            (Some(text), _) => json_argument(text, "the body")?,
            (None, Kind::ReadingTaken) => {
                let Some(taken) = job.state.readings.iter().find(|r| r.entry == target) else {
                    return Err(refuse("the reading does not count; correct the one that does".to_owned()));
                };
                let not_taken = |why| Trouble::not_taken("correct the entry", &self.job, &why);
                let (check, reading) = found(knowledge, &taken.check, &taken.reading).map_err(not_taken)?;
                let mut body = line.body.clone();
                let Value::Object(fields) = &mut body else { return Err(refuse("its body is no object".to_owned())) };
                if self.value.is_none() && self.position.is_none() {
                    return Err(Trouble::new(
                        Exit::Usage,
                        "correct the entry",
                        "nothing new was said; give the right value, --position or --body",
                    ));
                }
                if self.value.is_some() && fields.contains_key("stations") {
                    let why = "a straightedge read station by station has no one value; give the whole right reading with --body";
                    return Err(refuse(why.to_owned()));
                }
                if let Some(text) = &self.value {
                    let (outcome, figure) = read_value(check, reading, text, "").map_err(not_taken)?;
                    fields.remove("outcome");
                    fields.remove("value");
                    fields.remove("repeats");
                    fields.remove("mean_of");
                    fields.remove("axes");
                    if let Some(outcome) = outcome {
                        fields.insert("outcome".to_owned(), Value::from(outcome));
                    }
                    if let Some(figure) = figure {
                        let figure = serde_json::to_value(figure).map_err(|e| refuse(e.to_string()))?;
                        fields.insert("value".to_owned(), figure);
                    }
                }
                if let Some(text) = &self.position {
                    let Some(layout) = &job.state.layout else {
                        return Err(refuse("nobody has described the engine".to_owned()));
                    };
                    let position = place(layout, check, text).map_err(not_taken)?;
                    fields.insert("position".to_owned(), Value::from(position.address()));
                }
                body
            }
            (None, _) => {
                return Err(Trouble::new(
                    Exit::Usage,
                    "correct the entry",
                    format!("{} is no reading; give the whole right body with --body", line.kind),
                ));
            }
        };
        match EntryBody::read(kind, line.version.max(kind.version_for(&body)), &body) {
            Ok(_) => Ok(body),
            Err(error) => Err(refuse(format!("the body does not fit {}: {error}", line.kind))),
        }
    }
}
