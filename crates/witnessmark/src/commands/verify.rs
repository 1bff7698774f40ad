//! `verify`: is a logbook, or the whole record, as it was written?

use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::path::Path;

use clap::Args;
use logbook::ChainReport;
use serde_json::json;
use store::Store;

use crate::desk::{Desk, is_path, read_bytes, tail};
use crate::progress::Bar;
use crate::show::count;
use crate::talk::complain;
use crate::trouble::{Done, Exit, Trouble};

/// Says whether a logbook is as it was written.
#[derive(Debug, Args)]
pub(crate) struct Verify {
    /// A logbook file, or a job; left out: the whole record.
    what: Option<String>,
    /// The whole record with its pictures.
    #[arg(long, conflicts_with = "what")]
    all: bool,
    /// The eight characters printed on a paper.
    #[arg(long, value_name = "XXXXXXXX", conflicts_with = "all")]
    tail: Option<String>,
}

impl Verify {
    pub(crate) async fn run(self, desk: &Desk) -> Done {
        let Some(text) = &self.what else {
            if self.tail.is_some() {
                return Err(Trouble::new(Exit::Usage, "verify", "--tail belongs to one job or file; name it"));
            }
            return whole_record(desk).await;
        };
        let bytes = if is_path(text) {
            read_bytes(Path::new(text))?
        } else {
            let store = desk.look().await?;
            let id = desk.job_id(&store, text).await?;
            let mut bytes = Vec::new();
            for entry in store.entries_of(id).await? {
                bytes.extend_from_slice(entry.line.as_bytes());
                bytes.push(b'\n');
            }
            store.close().await;
            bytes
        };
        let checked = match &self.tail {
            Some(tail) => logbook::verify_against_tail(&bytes, tail),
            None => logbook::verify(&bytes),
        };
        match checked {
            Ok(report) if report.lines == 0 => {
                Err(Trouble::new(Exit::Problem, format!("verify {text}"), "there is no entry in it; export it again"))
            }
            Ok(report) => good(desk, &report),
            Err(error) => {
                if desk.talk.json() {
                    desk.talk.answer(&json!({"agrees": false, "complaints": [error.to_string()]}))?;
                }
                Err(Trouble::new(Exit::Problem, format!("vouch for {text}"), error))
            }
        }
    }
}

fn good(desk: &Desk, report: &ChainReport) -> Done {
    if desk.talk.json() {
        let ends: BTreeMap<String, String> =
            report.jobs.iter().map(|(job, chain)| (job.to_string(), chain.tail8())).collect();
        desk.talk.answer(&json!({"agrees": true, "entries": report.lines, "tails": ends, "complaints": []}))?;
        return Ok(Exit::Fine);
    }
    for (job, chain) in &report.jobs {
        desk.talk.line(
            &format!(
                "as written: job {job}, {}, chain ends {}",
                count(chain.entries, "entry", "entries"),
                chain.tail8()
            ),
            2,
        )?;
    }
    Ok(Exit::Fine)
}

async fn whole_record(desk: &Desk) -> Done {
    let store = desk.look().await?;
    let bar = Bar::new("verifying", &desk.talk);
    let mut watch = |p: store::verify::Progress| {
        bar.at(p.done, p.of);
        ControlFlow::Continue(())
    };
    let report = store.verify(&mut watch).await;
    bar.away();
    let report = report?;
    store.close().await;
    let complaints: Vec<String> = report.complaints.iter().map(ToString::to_string).collect();
    if desk.talk.json() {
        let ends: BTreeMap<String, String> =
            report.ends.iter().map(|(job, hash)| (job.to_string(), tail(hash))).collect();
        desk.talk
            .answer(&json!({"agrees": report.agrees(), "entries": report.entries, "attachments": report.attachments,
            "tails": ends, "complaints": complaints}))?;
    } else {
        for (job, hash) in &report.ends {
            desk.talk.line(&format!("job {job}: chain ends {}", tail(hash)), 2)?;
        }
        if report.agrees() {
            desk.talk.line(&format!("as written: {} entries, {} pictures", report.entries, report.attachments), 2)?;
        }
    }
    if report.agrees() {
        return Ok(Exit::Fine);
    }
    for complaint in complaints {
        complain(&format!("witnessmark: {}: {complaint}", desk.store.name()));
    }
    Err(Trouble::new(
        Exit::Problem,
        "vouch for the record",
        "it is not as it was written; restore it from a copy that agrees",
    ))
}
