//! `papers`: the papers of a job as PDF.

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

use clap::Args;
use documents::papers::{JobPapers, Paper, PaperError, PaperSize, Typeset, due, revision, typeset};
use knowledge::Knowledge;
use logbook::{EntryBody, PaperIssued, fold, issue_basis};
use rayon::prelude::*;
use serde_json::{Value, json};
use store::{ContentId, Store};
use workup::Case;

use crate::desk::{Desk, Job, entry, is_path, write_file};
use crate::progress::Bar;
use crate::surroundings;
use crate::talk::complain;
use crate::trouble::{Done, Exit, Trouble};

/// Writes the papers of a job as PDF.
#[derive(Debug, Args)]
pub(crate) struct Papers {
    /// The job, or a logbook file.
    #[arg(required_unless_present = "all")]
    job: Option<String>,
    /// Every job of the record, each into a folder of its own.
    #[arg(long, conflicts_with = "job")]
    all: bool,
    /// The folder.
    #[arg(long, value_name = "DIR", default_value = ".")]
    out: PathBuf,
    /// Only this paper, such as estimate, machine-order or invoice; may be said again [default: those that are due].
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
    /// Date of issue; left out: today, or the day on which the same paper was issued.
    pub(crate) issued: Option<String>,
    /// Whether files that are there may be written over.
    pub(crate) force: bool,
}

/// What became of some papers.
#[derive(Default)]
pub(crate) struct Outcome {
    /// Paper, file and number of sheets.
    pub(crate) written: Vec<(Paper, PathBuf, usize)>,
    /// What is to be written down about those that have not left the shop before.
    pub(crate) issued: Vec<PaperIssued>,
    /// Why others were not made.
    pub(crate) refused: Vec<PaperError>,
}

/// Typesets papers side by side and writes them; answers what was written, and what could not be made and why. `each` hears of
/// every paper that is through.
pub(crate) fn write(
    job: &Job,
    case: &Case,
    knowledge: &Knowledge,
    folder: &Path,
    manner: &Manner<'_>,
    each: &(dyn Fn() + Sync),
) -> Result<Outcome, Trouble> {
    std::fs::create_dir_all(folder).map_err(|e| Trouble::file(format!("make the folder {}", folder.display()), &e))?;
    let mut out = Outcome::default();
    let made: Vec<_> = manner
        .only
        .par_iter()
        .map(|paper| {
            let made = set(*paper, job, case, knowledge, manner);
            each();
            made
        })
        .collect();
    for (paper, made) in manner.only.iter().zip(made) {
        match made {
            Ok((set, issued)) => {
                let path = folder.join(format!("{}.pdf", paper.word()));
                write_file(&path, &set.pdf, manner.force)?;
                let same = |p: &PaperIssued| p.paper == issued.paper && p.sha256 == issued.sha256;
                if !job.state.papers.iter().any(|p| same(p)) {
                    out.issued.push(issued);
                }
                out.written.push((*paper, path, set.pages));
            }
            Err(error) => out.refused.push(error),
        }
    }
    Ok(out)
}

/// Typesets one paper, with what is to be written down when it leaves the shop.
fn set(
    paper: Paper,
    job: &Job,
    case: &Case,
    knowledge: &Knowledge,
    manner: &Manner<'_>,
) -> Result<(Typeset, PaperIssued), PaperError> {
    let basis = issue_basis(&job.entries, paper.in_logbook());
    let state = fold(basis.entries);
    let day = || surroundings::day_of_issue(&basis).to_string();
    let from = JobPapers {
        case,
        state: &state,
        knowledge,
        chain_tail: basis.tail(),
        issued: manner.issued.clone().unwrap_or_else(day),
        shop: manner.shop,
    };
    let set = typeset(paper, &from, manner.size)?;
    let issued = PaperIssued {
        paper: paper.in_logbook(),
        sha256: ContentId::of(&set.pdf).to_string(),
        revision: revision(paper, &state),
        knowledge: Some(case.knowledge.clone()),
        tail: Some(basis.tail().to_owned()),
    };
    Ok((set, issued))
}

impl Papers {
    pub(crate) async fn run(self, desk: &Desk) -> Done {
        let unknown = |what: &str, word: &str, known: &str| {
            Trouble::new(Exit::Usage, "write the papers", format!("`{word}` is no {what}; choose from {known}"))
        };
        let known: Vec<&str> = Paper::ALL.iter().map(|p| p.word()).collect();
        let named = match self.only.as_slice() {
            [] => None,
            words => {
                let paper = |w: &String| Paper::from_word(w).ok_or_else(|| unknown("paper", w, &known.join(", ")));
                Some(words.iter().map(paper).collect::<Result<Vec<_>, _>>()?)
            }
        };
        let size = PaperSize::from_word(&self.size).ok_or_else(|| unknown("size", &self.size, "a4, letter"))?;
        let day = |text: &String| {
            text.parse::<jiff::civil::Date>().map(|d| d.to_string()).map_err(|e| {
                Trouble::new(Exit::Usage, format!("read the date `{text}`"), format!("{e}; write it as 2026-02-24"))
            })
        };
        let issued = self.issued.as_ref().map(day).transpose()?;
        let knowledge = desk.knowledge()?;
        let jobs = match &self.job {
            Some(job) => vec![(job.clone(), desk.job(job).await?)],
            None => every_job(desk).await?,
        };
        let bar = Bar::new("papers", &desk.talk);
        let through = AtomicU64::new(0);
        let (mut written, mut refused) = (Vec::new(), Vec::new());
        let mut of = 0_u64;
        for (name, job) in &jobs {
            let case = desk.case(&job.state, &knowledge)?;
            let only = named.clone().unwrap_or_else(|| due(&case, &job.state, &knowledge));
            of += u64::try_from(only.len()).unwrap_or_default();
            let each = || bar.at(through.fetch_add(1, Ordering::Relaxed) + 1, of);
            let folder = if self.all { self.out.join(name) } else { self.out.clone() };
            let manner =
                Manner { only: &only, size, shop: self.shop.as_deref(), issued: issued.clone(), force: self.force };
            let done = write(job, &case, &knowledge, &folder, &manner, &each)?;
            // A paper made from a file belongs to a record that lies elsewhere.
            if !done.issued.is_empty() && !is_path(name) {
                write_down(desk, name, done.issued).await?;
            }
            written.extend(done.written);
            refused.extend(done.refused);
        }
        bar.away();
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
                let ruled = refused.iter().all(|e| e.is_ruled());
                Err(Trouble::Silent(if ruled { Exit::Refused } else { Exit::Problem }))
            }
        }
    }
}

/// Every job of the record, by its id.
async fn every_job(desk: &Desk) -> Result<Vec<(String, Job)>, Trouble> {
    let store = desk.look().await?;
    let mut jobs = Vec::new();
    for kept in store.jobs().await? {
        jobs.push((kept.job.to_string(), desk.load(&store, kept.job).await?));
    }
    store.close().await;
    Ok(jobs)
}

/// Writes down that papers left the shop.
async fn write_down(desk: &Desk, job: &str, issued: Vec<PaperIssued>) -> Result<(), Trouble> {
    let taken = desk.take_up(job).await.map_err(|trouble| match trouble {
        Trouble::Said { exit, why, .. } => Trouble::new(
            exit,
            "write down that the papers left the shop",
            format!("{why}; the files are there, and a paper fetched at the bench is written down by the bench"),
        ),
        silent @ (Trouble::Silent(_) | Trouble::NobodyReads) => silent,
    })?;
    let entries: Vec<_> = issued
        .into_iter()
        .map(|paper| entry(taken.id, None, &EntryBody::PaperIssued(paper)))
        .collect::<Result<_, _>>()?;
    desk.keep(&taken.store, &entries).await?;
    taken.store.close().await;
    Ok(())
}
