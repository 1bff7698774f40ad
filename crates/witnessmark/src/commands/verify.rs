//! `verify`: is a logbook, or the whole record, as it was written?

use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};

use clap::Args;
use logbook::ChainReport;
use serde_json::json;
use store::carried::LeftOut;
use store::folder::knowledge_files;
use store::repair::{Repaired, repair_into};
use store::{Opening, Place, SqliteStore, Store};

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
    /// Copies every entry and photo that is as it was written into a new record, and names what was left out.
    #[arg(long, value_name = "NEWDIR", conflicts_with_all = ["what", "tail"])]
    repair_into: Option<PathBuf>,
}

impl Verify {
    pub(crate) async fn run(self, desk: &Desk) -> Done {
        if let Some(target) = &self.repair_into {
            return repaired(desk, target).await;
        }
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
            "state": report.state, "tails": ends, "complaints": complaints}))?;
    } else {
        for (job, hash) in &report.ends {
            desk.talk.line(&format!("job {job}: chain ends {}", tail(hash)), 2)?;
        }
        if report.agrees() {
            desk.talk.line(&format!("as written: {} entries, {} pictures", report.entries, report.attachments), 2)?;
        }
        desk.talk.line(&format!("state hash {}", report.state), 2)?;
    }
    if report.agrees() {
        return Ok(Exit::Fine);
    }
    for complaint in complaints {
        complain(&format!("witnessmark: {}: {complaint}", desk.store.name()));
    }
    let copy = match &desk.store {
        Place::Folder(_) => "witnessmark verify --repair-into NEWDIR",
        Place::Server(_) => "witnessmark export --all --out NEWDIR",
    };
    let why = format!("it is not as it was written; restore it from a backup, or copy what is sound with `{copy}`");
    Err(Trouble::new(Exit::Problem, "vouch for the record", why))
}

/// Copies what is sound into a new record and says what is not.
async fn repaired(desk: &Desk, target: &Path) -> Done {
    let doing = format!("repair into {}", target.display());
    let Some(folder) = desk.store.folder() else {
        let why = "the record lies on a server, and only one in a folder is mended this way; `witnessmark export --all --out \
                   NEWDIR` carries out what is sound and names the rest, and `import` takes it in at another place";
        return Err(Trouble::new(Exit::Refused, doing, why));
    };
    if target.is_file() || std::fs::read_dir(target).is_ok_and(|mut items| items.next().is_some()) {
        let why = "it is there and not empty; name a new folder";
        return Err(Trouble::new(Exit::Conflict, doing, why));
    }
    let store = desk.look().await?;
    let copy = SqliteStore::open(Opening::of(target)).await?;
    let bar = Bar::new("copying", &desk.talk);
    let done = repair_into(&store, folder, &copy, &mut |p| bar.at(p.done, p.of)).await;
    bar.away();
    let mut done = done.map_err(|error| Trouble::carried(&doing, &error))?;
    let own = folder.join("knowledge");
    if own.is_dir() {
        match knowledge_files(&own) {
            Ok(files) => {
                for (name, bytes) in files {
                    let path = target.join("knowledge").join(&name);
                    let written = path.parent().map_or(Ok(()), std::fs::create_dir_all);
                    written.and_then(|()| std::fs::write(&path, bytes)).map_err(|e| Trouble::file(&doing, &e))?;
                }
            }
            Err((path, error)) => done
                .left_out
                .push(LeftOut { what: format!("knowledge file {}", path.display()), why: error.to_string() }),
        }
    }
    let state = store::state_hash(&copy).await?.to_string();
    copy.close().await;
    store.close().await;
    told_of_repair(desk, target, &done, &state)?;
    if done.left_out.is_empty() && done.doubted.is_empty() {
        return Ok(Exit::Fine);
    }
    let gaps = match done.gaps.len() {
        0 => String::new(),
        n => format!(
            "; the copy goes on without {}, and `verify` will go on saying so",
            count(n, "lost stretch of a chain", "lost stretches of chains")
        ),
    };
    let why = format!(
        "{} named above; a backup may still hold them{gaps}",
        count(done.left_out.len(), "thing is", "things are")
    );
    Err(Trouble::new(Exit::Problem, "copy everything", why))
}

fn told_of_repair(desk: &Desk, target: &Path, done: &Repaired, state: &str) -> Result<(), Trouble> {
    if desk.talk.json() {
        desk.talk.answer(&json!({"store": target.display().to_string(), "entries": done.entries,
            "attachments": done.attachments, "left_out": done.left_out, "doubted": done.doubted, "gaps": done.gaps,
            "state": state}))?;
    } else {
        desk.talk.line(
            &format!(
                "copied: {} entries and {} pictures into {}, byte for byte; the record in {} is as it was; state hash {state}",
                done.entries,
                done.attachments,
                target.display(),
                desk.store.name()
            ),
            2,
        )?;
    }
    for one in &done.left_out {
        complain(&format!("witnessmark: left out: {one}"));
    }
    for one in &done.doubted {
        complain(&format!("witnessmark: doubtful: {one}"));
    }
    Ok(())
}
