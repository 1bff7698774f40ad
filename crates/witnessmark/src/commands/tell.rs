//! `tell` and `note`: any other kind of entry, its body checked before it is kept.

use clap::Args;
use knowledge::Knowledge;
use logbook::{EntryBody, JobState, Kind, NoteWritten};
use serde_json::Value;

use super::enter;
use crate::desk::{Desk, entry, json_argument};
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
        let body = match EntryBody::read(kind, kind.latest_version(), &value) {
            Ok(Some(body)) => body,
            Ok(None) => {
                return Err(Trouble::new(
                    Exit::Usage,
                    format!("tell {}", self.kind),
                    "this build does not write that version",
                ));
            }
            Err(error) => {
                return Err(Trouble::new(
                    Exit::Usage,
                    format!("tell {}", self.kind),
                    format!("the body does not fit: {error}; correct that field"),
                ));
            }
        };
        keep(desk, &knowledge, &self.job, self.by.as_deref(), &body, |state| known(kind, &value, state, &knowledge))
            .await
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
        let body = EntryBody::NoteWritten(NoteWritten { text: self.text.clone(), position });
        let fields = serde_json::to_value(&body).unwrap_or(Value::Null);
        keep(desk, &knowledge, &self.job, self.by.as_deref(), &body, |state| {
            known(Kind::NoteWritten, &fields, state, &knowledge)
        })
        .await
    }
}

async fn keep(
    desk: &Desk,
    knowledge: &Knowledge,
    job: &str,
    by: Option<&str>,
    body: &EntryBody,
    allowed: impl Fn(&JobState) -> Result<(), String>,
) -> Done {
    let taken = desk.take_up(job).await?;
    allowed(&taken.job.state)
        .map_err(|why| Trouble::new(Exit::Refused, format!("tell {}", body.kind().word()), why))?;
    let before = desk.case(&taken.job.state, knowledge).ok();
    let unsealed = entry(taken.id, by, body)?;
    let about = unsealed.id;
    enter::keep(desk, knowledge, taken, before, unsealed, about, "kept").await
}

/// Refuses a body that names something the knowledge or the engine does not have: it would be kept and mean nothing.
fn known(kind: Kind, body: &Value, state: &JobState, knowledge: &Knowledge) -> Result<(), String> {
    let field = |name: &str| body.get(name).and_then(Value::as_str);
    let among = |name: &str, ids: Vec<&str>| match field(name) {
        Some(id) if !ids.contains(&id) => Err(format!("no {name} is called `{id}`; there are {}", ids.join(", "))),
        _ => Ok(()),
    };
    for place in ["position", "at"] {
        if let (Some(text), Some(layout)) = (field(place), &state.layout)
            && let Ok(position) = text.parse()
        {
            layout.ensure(&position).map_err(|e| e.to_string())?;
        }
    }
    let states = |id: Option<&str>| id.and_then(|id| knowledge.condition(id)).map(|c| &c.states);
    let values =
        |id: Option<&str>| id.and_then(|id| knowledge.attributes.iter().find(|a| a.id == id)).map(|a| &a.values);
    // The field of each kind that names something of the knowledge, and what it may name.
    let named: Vec<(&[Kind], &str, Vec<&str>)> = vec![
        (&[Kind::StageReached], "stage", knowledge.stages.iter().map(|s| s.id.as_str()).collect()),
        (&[Kind::CautionTicked], "caution", knowledge.cautions.iter().map(|c| c.id.as_str()).collect()),
        (&[Kind::OutsideAnswered], "fault", knowledge.outside.iter().map(|o| o.id.as_str()).collect()),
        (&[Kind::ResidueSeen], "residue", knowledge.residues.iter().map(|r| r.id.as_str()).collect()),
        (&[Kind::GaugeDescribed], "gauge", knowledge.gauges.iter().map(|g| g.id.as_str()).collect()),
        (
            &[Kind::OptionChosen, Kind::OptionRuledOut, Kind::QuoteReceived],
            "option",
            knowledge.options.iter().map(|o| o.id.as_str()).collect(),
        ),
        (&[Kind::CauseNamed], "cause", knowledge.causes.iter().map(|c| c.id.as_str()).collect()),
        (&[Kind::OutcomeFound], "condition", knowledge.conditions.iter().map(|c| c.id.as_str()).collect()),
        (&[Kind::OutcomeFound], "state", words(states(field("condition")))),
        (&[Kind::ReadingSkipped], "check", knowledge.checks.iter().map(|c| c.id.as_str()).collect()),
        (&[Kind::AttributeTold], "attribute", knowledge.attributes.iter().map(|a| a.id.as_str()).collect()),
        (&[Kind::AttributeTold], "value", words(values(field("attribute")))),
    ];
    named.into_iter().filter(|(kinds, _, _)| kinds.contains(&kind)).try_for_each(|(_, name, ids)| among(name, ids))
}

/// A list of words, as words.
fn words(list: Option<&Vec<String>>) -> Vec<&str> {
    list.map(|w| w.iter().map(String::as_str).collect()).unwrap_or_default()
}
