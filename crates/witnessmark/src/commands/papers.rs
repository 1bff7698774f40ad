//! `papers`: the papers of a job as PDF.

use std::path::{Path, PathBuf};

use clap::Args;
use documents::papers::{JobPapers, Paper, PaperError, PaperSize, typeset};
use knowledge::Knowledge;
use serde_json::{Value, json};
use workup::Case;

use crate::desk::{Desk, Job, write_file};
use crate::surroundings;
use crate::talk::complain;
use crate::trouble::{Done, Exit, Trouble};

/// Writes the papers of a job as PDF.
#[derive(Debug, Args)]
pub(crate) struct Papers {
    /// The job, or a logbook file.
    job: String,
    /// The folder.
    #[arg(long, value_name = "DIR", default_value = ".")]
    out: PathBuf,
    /// Only this paper: customer-report, estimate, machine-order, parts-list, build-sheet or proof; may be said again.
    #[arg(long, value_name = "PAPER")]
    only: Vec<String>,
    /// Size of the sheets: a4 or letter.
    #[arg(long, value_name = "SIZE", default_value = "a4")]
    size: String,
    /// The shop as it stands in the title block.
    #[arg(long, value_name = "NAME")]
    shop: Option<String>,
    /// Date of issue in the title block [default: today].
    #[arg(long, value_name = "DATE")]
    issued: Option<String>,
    /// Writes over files that are there.
    #[arg(long)]
    force: bool,
}

/// How the papers are to come out.
pub(crate) struct Manner<'a> {
    /// Which.
    pub(crate) only: &'a [Paper],
    /// On what sheets.
    pub(crate) size: PaperSize,
    /// Whose they are.
    pub(crate) shop: Option<&'a str>,
    /// Date of issue.
    pub(crate) issued: String,
    /// Whether files that are there may be written over.
    pub(crate) force: bool,
}

/// What became of some papers.
#[derive(Default)]
pub(crate) struct Outcome {
    /// Paper, file and number of sheets.
    pub(crate) written: Vec<(Paper, PathBuf, usize)>,
    /// Why others were not made.
    pub(crate) refused: Vec<PaperError>,
}

/// Today, as it stands in a title block.
pub(crate) fn today() -> String {
    surroundings::today().to_string()
}

/// Typesets and writes papers; answers what was written, and what could not be made and why.
pub(crate) fn write(
    job: &Job,
    case: &Case,
    knowledge: &Knowledge,
    folder: &Path,
    manner: &Manner<'_>,
) -> Result<Outcome, Trouble> {
    std::fs::create_dir_all(folder).map_err(|e| Trouble::file(format!("make the folder {}", folder.display()), &e))?;
    let tail = job.tail();
    let from = JobPapers {
        case,
        state: &job.state,
        knowledge,
        chain_tail: &tail,
        issued: manner.issued.clone(),
        shop: manner.shop,
    };
    let mut out = Outcome::default();
    for paper in manner.only {
        match typeset(*paper, &from, manner.size) {
            Ok(set) => {
                let path = folder.join(format!("{}.pdf", paper.word()));
                write_file(&path, &set.pdf, manner.force)?;
                out.written.push((*paper, path, set.pages));
            }
            Err(error) => out.refused.push(error),
        }
    }
    Ok(out)
}

impl Papers {
    pub(crate) async fn run(self, desk: &Desk) -> Done {
        let unknown = |what: &str, word: &str, known: &str| {
            Trouble::new(Exit::Usage, "write the papers", format!("`{word}` is no {what}; choose from {known}"))
        };
        let known: Vec<&str> = Paper::ALL.iter().map(|p| p.word()).collect();
        let only = match self.only.as_slice() {
            [] => Paper::ALL.to_vec(),
            words => {
                let paper = |w: &String| Paper::from_word(w).ok_or_else(|| unknown("paper", w, &known.join(", ")));
                words.iter().map(paper).collect::<Result<_, _>>()?
            }
        };
        let size = PaperSize::from_word(&self.size).ok_or_else(|| unknown("size", &self.size, "a4, letter"))?;
        let issued = match &self.issued {
            Some(text) => text.parse::<jiff::civil::Date>().map(|d| d.to_string()).map_err(|e| {
                Trouble::new(Exit::Usage, format!("read the date `{text}`"), format!("{e}; write it as 2026-02-24"))
            })?,
            None => today(),
        };
        let job = desk.job(&self.job).await?;
        let knowledge = desk.knowledge()?;
        let case = desk.case(&job.state, &knowledge)?;
        let manner = Manner { only: &only, size, shop: self.shop.as_deref(), issued, force: self.force };
        let Outcome { written, refused } = write(&job, &case, &knowledge, &self.out, &manner)?;
        let t = &desk.talk;
        if t.json() {
            let rows: Vec<Value> = written
                .iter()
                .map(|(paper, path, sheets)| {
                    json!({"paper": paper.word(), "file": path.display().to_string(), "sheets": sheets})
                })
                .collect();
            let why: Vec<String> = refused.iter().map(ToString::to_string).collect();
            t.answer(&json!({"written": rows, "refused": why}))?;
        } else {
            for (paper, path, sheets) in &written {
                let sheets = if *sheets == 1 { "1 sheet".to_owned() } else { format!("{sheets} sheets") };
                t.line(&format!("{}: {}, {sheets}", paper.title(), path.display()), 2)?;
            }
        }
        match refused.first() {
            None => Ok(Exit::Fine),
            Some(_) => {
                for error in &refused {
                    complain(&format!("witnessmark: {error}"));
                }
                let ruled =
                    refused.iter().all(|e| matches!(e, PaperError::CauseUnnamed { .. } | PaperError::NoOption { .. }));
                Err(Trouble::Silent(if ruled { Exit::Refused } else { Exit::Problem }))
            }
        }
    }
}
