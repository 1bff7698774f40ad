//! `knowledge`: what the trade knows, listed, shown with its sources, and looked through for faults.

use std::path::PathBuf;

use clap::{Args, Subcommand};
use knowledge::{Complaint, FileSet, Knowledge, LoadError, SourceKind, Thing, things::tagged};
use serde_json::{Value, json};

use crate::desk::{Desk, knowledge_exit};
use crate::show::count;
use crate::talk::Tone;
use crate::trouble::{Done, Exit, Trouble};

/// The knowledge of the trade with its sources.
#[derive(Debug, Args)]
pub(crate) struct KnowledgeCommand {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Lists the kinds, or everything of one kind.
    List {
        /// The kind, such as check, condition, cause, limit, gauge, option, caution.
        kind: Option<String>,
    },
    /// Shows one thing as it stands in its file, with its sources.
    Show {
        /// Its id.
        id: String,
    },
    /// Counts the figures by where they come from, or lists those of one tag.
    Sources {
        /// The tag: published, common-practice, elicited or from-memory.
        tag: Option<String>,
    },
    /// Looks the files through and says what is wrong with them.
    Check {
        /// The shop's own folder.
        #[arg(long, value_name = "DIR")]
        folder: Option<PathBuf>,
    },
}

impl KnowledgeCommand {
    pub(crate) fn run(self, desk: &Desk) -> Done {
        match self.what {
            What::List { kind } => list(desk, kind.as_deref()),
            What::Show { id } => show(desk, &id),
            What::Sources { tag } => sources(desk, tag.as_deref()),
            What::Check { folder } => check(desk, folder),
        }
    }
}

fn list(desk: &Desk, kind: Option<&str>) -> Done {
    let known = desk.knowledge()?;
    let all = known.things();
    let mut kinds: Vec<(&str, usize)> = Vec::new();
    for row in &all {
        match kinds.iter_mut().find(|(k, _)| *k == row.kind) {
            Some((_, n)) => *n += 1,
            None => kinds.push((row.kind, 1)),
        }
    }
    let t = &desk.talk;
    let Some(kind) = kind else {
        if t.json() {
            let kinds: serde_json::Map<String, Value> =
                kinds.iter().map(|(k, n)| ((*k).to_owned(), Value::from(*n))).collect();
            t.answer(&json!({"version": known.version.as_str(), "kinds": kinds}))?;
            return Ok(Exit::Fine);
        }
        for (kind, n) in kinds {
            t.line(&format!("{kind:<14}{n:>5}"), 2)?;
        }
        t.line(&format!("version {}", known.version), 2)?;
        return Ok(Exit::Fine);
    };
    let wanted = kind.trim_end_matches('s');
    let found: Vec<&Thing> = all.iter().filter(|r| r.kind == kind || r.kind == wanted).collect();
    if found.is_empty() {
        let names: Vec<&str> = kinds.iter().map(|(k, _)| *k).collect();
        return Err(Trouble::new(
            Exit::NotFound,
            format!("list `{kind}`"),
            format!("there is no such kind; there are {}", names.join(", ")),
        ));
    }
    if t.json() {
        let list: Vec<Value> = found
            .iter()
            .map(|r| json!({"kind": r.kind, "id": r.id, "name": r.name, "file": r.file, "line": r.line}))
            .collect();
        t.answer(&list)?;
        return Ok(Exit::Fine);
    }
    let wide = found.iter().map(|r| r.id.len()).max().unwrap_or(0).min(34);
    for row in found {
        t.line(&format!("{:<wide$}  {}", row.id, row.name), wide + 2)?;
    }
    Ok(Exit::Fine)
}

fn sources(desk: &Desk, tag: Option<&str>) -> Done {
    let known = desk.knowledge()?;
    let things = known.all_tagged();
    let t = &desk.talk;
    let Some(wanted) = tag else {
        let counts: Vec<(&str, usize)> =
            SourceKind::ALL.iter().map(|kind| (kind.word(), tagged(&things, *kind).len())).collect();
        if t.json() {
            let counts: serde_json::Map<String, Value> =
                counts.iter().map(|(word, n)| ((*word).to_owned(), Value::from(*n))).collect();
            t.answer(&json!({"version": known.version.as_str(), "tags": counts}))?;
            return Ok(Exit::Fine);
        }
        for (word, n) in counts {
            t.line(&format!("{word:<16}{n:>5}"), 2)?;
        }
        return Ok(Exit::Fine);
    };
    let Some(kind) = SourceKind::ALL.into_iter().find(|kind| kind.word() == wanted) else {
        let all = SourceKind::ALL.map(SourceKind::word);
        return Err(Trouble::new(
            Exit::NotFound,
            format!("list the figures tagged `{wanted}`"),
            format!("there is no such tag; there are {}", all.join(", ")),
        ));
    };
    let found = tagged(&things, kind);
    if t.json() {
        let list: Vec<Value> = found
            .iter()
            .map(|(thing, tag)| {
                json!({"kind": thing.kind, "id": thing.id, "name": thing.name, "of": tag.of, "source": tag.source,
                    "file": thing.file, "line": thing.line})
            })
            .collect();
        t.answer(&list)?;
        return Ok(Exit::Fine);
    }
    for (thing, tag) in found {
        let of = if tag.of.is_empty() { String::new() } else { format!(": {}", tag.of) };
        t.line(&format!("{} {}{of} ({}:{}) {}", thing.kind, thing.id, thing.file, thing.line, tag.source), 4)?;
    }
    Ok(Exit::Fine)
}

fn show(desk: &Desk, id: &str) -> Done {
    let known = desk.knowledge()?;
    let files = desk.files()?;
    let all = known.things();
    let found: Vec<&Thing> = all.iter().filter(|r| r.id == id).collect();
    if found.is_empty() {
        let near: Vec<&str> = all
            .iter()
            .filter(|r| id.len() > 2 && (r.id.contains(id) || id.contains(&r.id)))
            .map(|r| r.id.as_str())
            .take(6)
            .collect();
        let near = if near.is_empty() {
            "`witnessmark knowledge list KIND` has them all".to_owned()
        } else {
            format!("near it are {}", near.join(", "))
        };
        return Err(Trouble::new(Exit::NotFound, format!("show `{id}`"), format!("nothing has that id; {near}")));
    }
    let t = &desk.talk;
    let mut answers = Vec::new();
    for row in found {
        let text = table_text(&files, row);
        if t.json() {
            let table: Option<Value> =
                toml::from_str::<toml::Table>(&text).ok().and_then(|t| serde_json::to_value(t).ok());
            answers.push(json!({"kind": row.kind, "id": row.id, "file": row.file, "line": row.line, "table": table}));
        } else {
            t.line(&t.tone(Tone::Strong, &format!("{} {} ({}:{})", row.kind, row.id, row.file, row.line)), 2)?;
            for line in text.trim_end().lines() {
                t.line(line, 4)?;
            }
        }
    }
    if t.json() {
        t.answer(&answers)?;
    }
    Ok(Exit::Fine)
}

/// The text of one table of a file: from its heading to the next one of the same height.
fn table_text(files: &FileSet, row: &Thing) -> String {
    let text = files.paths().find(|path| row.file.ends_with(path)).and_then(|path| files.text(path)).unwrap_or("");
    let heading = |line: &str| line.starts_with("[[") && !line.contains('.');
    let mut out = String::new();
    for (place, line) in text.lines().enumerate().skip(row.line.saturating_sub(1)) {
        if place >= row.line && heading(line) {
            break;
        }
        out.push_str(line);
        out.push('\n');
    }
    out
}

fn check(desk: &Desk, folder: Option<PathBuf>) -> Done {
    let folder = folder.or_else(|| desk.knowledge_folder());
    let (read, name) = match &folder {
        Some(folder) => (Knowledge::from_folder(folder), folder.display().to_string()),
        None => (Knowledge::builtin(), "the knowledge built in".to_owned()),
    };
    let (complaints, known): (Vec<Complaint>, Option<Knowledge>) = match read {
        Ok(known) => (known.lint(), Some(known)),
        Err(LoadError::Files(complaints)) => (complaints, None),
        Err(error) => return Err(Trouble::new(knowledge_exit(&error), format!("check {name}"), error)),
    };
    let t = &desk.talk;
    if t.json() {
        t.answer(&json!({"version": known.as_ref().map(|k| k.version.as_str()), "complaints": complaints}))?;
    } else {
        for complaint in &complaints {
            t.line(&complaint.to_string(), 4)?;
        }
        if complaints.is_empty() {
            let things = known.as_ref().map_or(0, |k| k.things().len());
            t.line(&format!("nothing to complain of: {things} tables in {name}"), 2)?;
        } else {
            t.say(&format!("{} in {name}", count(complaints.len(), "complaint", "complaints")));
        }
    }
    Ok(if complaints.is_empty() { Exit::Fine } else { Exit::Problem })
}
