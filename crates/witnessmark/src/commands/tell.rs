//! `tell` and `note`: any other kind of entry, its body checked before it is kept.

use clap::Args;
use knowledge::Knowledge;
use logbook::{EntryBody, Kind, NoteWritten};
use serde_json::Value;
use workup::entering::{body_of, known};

use super::{enter, machine};
use crate::desk::{Desk, TakenUp, entry, entry_under, fresh, json_argument};
use crate::trouble::{Done, Exit, Trouble};

/// Kinds of entry that have a command of their own.
const OWN_COMMAND: &[(Kind, &str)] = &[
    (Kind::ReadingTaken, "enter"),
    (Kind::EntryWithdrawn, "withdraw"),
    (Kind::EntryCorrected, "correct"),
    (Kind::JobOpened, "new"),
];

/// Enters anything else, with its body as JSON.
#[derive(Debug, Args)]
pub(crate) struct Tell {
    /// The job.
    job: String,
    /// The kind of entry, such as stage-reached, money-told, caution-ticked, quote-received.
    kind: String,
    /// Its body as JSON, `@file`, or `-` for standard input.
    body: String,
    /// Who [default: the person logged in].
    #[arg(long)]
    by: Option<String>,
}

/// Writes a note.
#[derive(Debug, Args)]
pub(crate) struct Note {
    /// The job.
    job: String,
    /// The words.
    text: String,
    /// Where on the engine.
    #[arg(long)]
    position: Option<String>,
    /// Who [default: the person logged in].
    #[arg(long)]
    by: Option<String>,
}

impl Tell {
    pub(crate) async fn run(self, desk: &Desk) -> Done {
        let knowledge = desk.knowledge()?;
        let kind = Kind::from_word(&self.kind).ok_or_else(|| {
            let all: Vec<&str> = Kind::ALL.iter().map(|k| k.word()).collect();
            Trouble::new(
                Exit::Usage,
                "understand the kind of entry",
                format!("`{}` is none; there are {}", self.kind, all.join(", ")),
            )
        })?;
        let own = OWN_COMMAND.iter().find(|(its, _)| *its == kind).map(|(_, command)| *command);
        if let Some(command) = own {
            return Err(Trouble::new(
                Exit::Refused,
                format!("tell {}", self.kind),
                format!("it has a command of its own; use `witnessmark {command}`"),
            ));
        }
        let value = json_argument(&self.body, &self.kind)?;
        let taken = desk.take_up(&self.job).await?;
        let made = fresh()?;
        let value = if kind == Kind::MachineOrderSent {
            machine::with_code(desk, &taken.store, made.0, value).await?
        } else {
            value
        };
        let body = body_of(kind, &value, &taken.job.state, &knowledge)
            .map_err(|why| Trouble::not_taken(format!("tell {}", self.kind), &self.job, &why))?;
        let before = desk.case(&taken.job.state, &knowledge).ok();
        let unsealed = entry_under(made, taken.id, self.by.as_deref(), &body)?;
        let said =
            machine::code_of(&body).map_or_else(|| "kept".to_owned(), |code| format!("kept with the code {code}"));
        enter::keep(desk, &knowledge, taken, before, unsealed, made.0, &said).await
    }
}

impl Note {
    pub(crate) async fn run(self, desk: &Desk) -> Done {
        let knowledge = desk.knowledge()?;
        let position = match &self.position {
            None => None,
            Some(text) => Some(
                text.parse().map_err(|e: anatomy::AddressError| Trouble::new(Exit::Refused, "write the note", e))?,
            ),
        };
        if self.text.trim().is_empty() {
            return Err(Trouble::new(Exit::Usage, "write the note", "it is empty; give it words"));
        }
        let taken = desk.take_up(&self.job).await?;
        let body = EntryBody::NoteWritten(NoteWritten { text: self.text.clone(), position });
        let fields = serde_json::to_value(&body).unwrap_or(Value::Null);
        known(Kind::NoteWritten, &fields, &taken.job.state, &knowledge)
            .map_err(|why| Trouble::not_taken("write the note", &self.job, &why))?;
        keep(desk, &knowledge, taken, self.by.as_deref(), &body).await
    }
}

/// Keeps an entry that the job allows, and says what it did.
pub(crate) async fn keep(
    desk: &Desk,
    knowledge: &Knowledge,
    taken: TakenUp,
    by: Option<&str>,
    body: &EntryBody,
) -> Done {
    let before = desk.case(&taken.job.state, knowledge).ok();
    let unsealed = entry(taken.id, by, body)?;
    let about = unsealed.id;
    enter::keep(desk, knowledge, taken, before, unsealed, about, "kept").await
}
