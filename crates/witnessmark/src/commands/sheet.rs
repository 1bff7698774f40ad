//! `sheet`: the engine's own figures out of a job for the next one of its kind, or into a job.

use std::path::PathBuf;

use clap::{Args, Subcommand};
use logbook::{sheet_export, sheet_from_json, sheet_from_toml, sheet_import, sheet_to_json, sheet_to_toml};

use super::enter::keep;
use crate::desk::{Desk, entry, read_text, write_file};
use crate::show::count;
use crate::trouble::{Done, Exit, Trouble};

/// The engine's own figures: out of a job, or into one.
#[derive(Debug, Args)]
pub(crate) struct Sheet {
    /// The job.
    job: String,
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Writes the figures as an engine sheet, TOML unless the file ends in .json.
    Export {
        /// The file; `-` is standard output.
        #[arg(default_value = "-")]
        file: PathBuf,
        /// What the sheet is called [default: the engine in words].
        #[arg(long)]
        name: Option<String>,
        /// Writes over a file that is there.
        #[arg(long)]
        force: bool,
    },
    /// Takes the figures of a sheet over.
    Import {
        /// The file, TOML unless it ends in .json.
        file: PathBuf,
        /// Who [default: the person logged in].
        #[arg(long)]
        by: Option<String>,
    },
}

fn is_json(path: &std::path::Path) -> bool {
    path.extension().is_some_and(|e| e.eq_ignore_ascii_case("json"))
}

impl Sheet {
    pub(crate) async fn run(self, desk: &Desk) -> Done {
        match self.what {
            What::Export { file, name, force } => {
                let job = desk.job(&self.job).await?;
                if job.state.sheet.is_empty() {
                    return Err(Trouble::new(
                        Exit::NotFound,
                        "write the engine sheet",
                        "the job has no figures of the engine yet; type them with `witnessmark tell JOB engine-figure-set …`",
                    ));
                }
                let name = name.unwrap_or_else(|| {
                    job.state.layout.as_ref().map_or_else(|| "engine".to_owned(), anatomy::EngineLayout::in_words)
                });
                let sheet = sheet_export(&job.state, &name);
                let text =
                    if is_json(&file) || desk.talk.json() { sheet_to_json(&sheet) } else { sheet_to_toml(&sheet) };
                let text = text.map_err(|e| Trouble::new(Exit::Problem, "write the engine sheet", e))?;
                if file.as_os_str() == "-" {
                    desk.talk.bytes(format!("{}\n", text.trim_end()).as_bytes())?;
                } else {
                    write_file(&file, text.as_bytes(), force)?;
                    desk.talk.say(&format!(
                        "{} written to {}",
                        count(sheet.figures.len(), "figure", "figures"),
                        file.display()
                    ));
                }
                Ok(Exit::Fine)
            }
            What::Import { file, by } => {
                let knowledge = desk.knowledge()?;
                let text = read_text(&file)?;
                let read = if is_json(&file) { sheet_from_json(&text) } else { sheet_from_toml(&text) };
                let sheet = read.map_err(|e| Trouble::new(Exit::Usage, format!("read {}", file.display()), e))?;
                let taken = desk.take_up(&self.job).await?;
                let body = sheet_import(&sheet, &taken.job.state)
                    .map_err(|e| Trouble::new(Exit::Refused, "take the sheet over", e))?;
                let before = desk.case(&taken.job.state, &knowledge).ok();
                let unsealed = entry(taken.id, by.as_deref(), &body)?;
                let about = unsealed.id;
                let kept = format!("kept, {} of {}", count(sheet.figures.len(), "figure", "figures"), sheet.sheet);
                keep(desk, &knowledge, taken, before, unsealed, about, &kept).await
            }
        }
    }
}
