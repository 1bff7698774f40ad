//! `papers`: the papers of a job, of several, or of all, as PDF.

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

/// Writes the papers of jobs as PDF. One paper that cannot be made keeps no other back.
#[derive(Debug, Args)]
#[command(after_help = EXITS)]
pub(crate) struct Papers {
    /// The job, or a logbook file; of several each gets a folder of its own, named after its title and number.
    #[arg(value_name = "JOB", required_unless_present = "all")]
    jobs: Vec<String>,
    /// Every job of the record, each into a folder of its own.
    #[arg(long, conflicts_with = "jobs")]
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

/// What the exit code says where some papers were made and others not.
const EXITS: &str = "\
What cannot be made is named and everything else is made. Exit codes: 0 all were made; 4 a rule keeps some
back; 5 a file of that name is there with other content; any other code that all failures share; 1 they
failed for several reasons.";

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

/// Why something was not made.
#[derive(Debug)]
pub(crate) struct Failure {
    /// The exit code that it alone would give.
    pub(crate) exit: Exit,
    /// What and why, with the next move.
    pub(crate) why: String,
}

impl Failure {
    fn of(job: &str, trouble: Trouble) -> Self {
        let (exit, trouble) = match trouble {
            Trouble::Said { exit, doing, why } => (exit, Trouble::new(exit, format!("{doing}, job {job}"), why)),
            silent @ Trouble::Silent(exit) => (exit, silent),
            nobody @ Trouble::NobodyReads => (Exit::Problem, nobody),
        };
        let line = trouble.line().unwrap_or_default();
        Self { exit, why: line.trim_start_matches("witnessmark: ").to_owned() }
    }
}

impl From<PaperError> for Failure {
    fn from(error: PaperError) -> Self {
        let exit = if error.is_ruled() { Exit::Refused } else { Exit::Problem };
        Self { exit, why: format!("cannot write the {error}") }
    }
}

/// A paper that was written: which, its file and its number of sheets.
pub(crate) type Written = (Paper, PathBuf, usize);

/// What became of some papers.
#[derive(Default)]
pub(crate) struct Outcome {
    /// What was written.
    pub(crate) written: Vec<Written>,
    /// What is to be written down about those that have not left the shop before.
    pub(crate) issued: Vec<PaperIssued>,
    /// Why others were not made.
    pub(crate) failed: Vec<Failure>,
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
) -> Outcome {
    let mut out = Outcome::default();
    let name = number(job);
    if let Err(error) = std::fs::create_dir_all(folder) {
        let trouble = Trouble::file(format!("make the folder {}", folder.display()), &error);
        out.failed.push(Failure::of(&name, trouble));
        return out;
    }
    let made: Vec<_> = manner
        .only
        .par_iter()
        .map(|paper| {
            let made = set(*paper, job, case, knowledge, manner).map_err(Failure::from).and_then(|(set, issued)| {
                let path = folder.join(format!("{}.pdf", paper.word()));
                write_file(&path, &set.pdf, manner.force).map_err(|trouble| Failure::of(&name, trouble))?;
                Ok((path, set.pages, issued))
            });
            each();
            made
        })
        .collect();
    for (paper, made) in manner.only.iter().zip(made) {
        match made {
            Ok((path, pages, issued)) => {
                let same = |p: &PaperIssued| p.paper == issued.paper && p.sha256 == issued.sha256;
                if !job.state.papers.iter().any(|p| same(p)) {
                    out.issued.push(issued);
                }
                out.written.push((*paper, path, pages));
            }
            Err(failure) => out.failed.push(failure),
        }
    }
    out
}

/// The number of a job as it stands on its papers: the end of its id.
fn number(job: &Job) -> String {
    let id = job.state.job.map(|id| id.to_string()).unwrap_or_default();
    id.get(id.len().saturating_sub(8)..).unwrap_or(&id).to_owned()
}

/// The letters of a title in the name of a folder at most \[ours\].
const TITLE_LETTERS: usize = 48;

/// The folder of a job among others: its title in letters that every disk takes, and its number.
pub(crate) fn folder_name(job: &Job) -> String {
    let title = job.state.title.as_deref().unwrap_or_default().to_lowercase();
    let mut name = String::new();
    for c in title.chars() {
        if c.is_ascii_alphanumeric() {
            name.push(c);
        } else if !name.is_empty() && !name.ends_with('-') {
            name.push('-');
        }
        if name.len() >= TITLE_LETTERS {
            break;
        }
    }
    let name = name.trim_end_matches('-');
    format!("{}-{}", if name.is_empty() { "job" } else { name }, number(job))
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
        let (jobs, mut failed) = self.taken(desk).await?;
        let apart = self.all || jobs.len() + failed.len() > 1;
        let bar = Bar::new(if apart { "jobs" } else { "papers" }, &desk.talk);
        let through = AtomicU64::new(0);
        let of_jobs = u64::try_from(jobs.len()).unwrap_or_default();
        let step = |of: u64| bar.at(through.fetch_add(1, Ordering::Relaxed) + 1, of);
        let made: Vec<Outcome> = jobs
            .par_iter()
            .map(|(_, job)| {
                let done = match desk.case(&job.state, &knowledge) {
                    Ok(case) => {
                        let only = named.clone().unwrap_or_else(|| due(&case, &job.state, &knowledge));
                        let of = u64::try_from(only.len()).unwrap_or_default();
                        let each = || {
                            if !apart {
                                step(of)
                            }
                        };
                        let folder = if apart { self.out.join(folder_name(job)) } else { self.out.clone() };
                        let shop = self.shop.as_deref();
                        let manner = Manner { only: &only, size, shop, issued: issued.clone(), force: self.force };
                        write(job, &case, &knowledge, &folder, &manner, &each)
                    }
                    Err(trouble) => Outcome { failed: vec![Failure::of(&number(job), trouble)], ..Outcome::default() },
                };
                if apart {
                    step(of_jobs);
                }
                done
            })
            .collect();
        let mut written = Vec::new();
        for ((name, job), done) in jobs.iter().zip(made) {
            failed.extend(done.failed);
            // A paper made from a file belongs to a record that lies elsewhere.
            if !done.issued.is_empty()
                && !is_path(name)
                && let Err(trouble) = write_down(desk, name, done.issued).await
            {
                failed.push(Failure::of(&number(job), trouble));
            }
            written.push((job, done.written));
        }
        bar.away();
        self.tell(desk, &written, &failed, apart)?;
        for failure in &failed {
            complain(&format!("witnessmark: {}", failure.why));
        }
        match failed.as_slice() {
            [] => Ok(Exit::Fine),
            [first, rest @ ..] => {
                let alike = rest.iter().all(|f| f.exit == first.exit);
                Err(Trouble::Silent(if alike { first.exit } else { Exit::Problem }))
            }
        }
    }

    /// Says what was written.
    fn tell(
        &self,
        desk: &Desk,
        written: &[(&Job, Vec<Written>)],
        failed: &[Failure],
        apart: bool,
    ) -> Result<(), Trouble> {
        let t = &desk.talk;
        if t.json() {
            let row = |job: &Job, (paper, path, sheets): &Written| {
                json!({"job": job.state.job.map(|id| id.to_string()), "paper": paper.word(),
                       "file": path.display().to_string(), "sheets": sheets})
            };
            let rows: Vec<Value> =
                written.iter().flat_map(|(job, papers)| papers.iter().map(|paper| row(job, paper))).collect();
            let (refused, failed): (Vec<&Failure>, Vec<&Failure>) =
                failed.iter().partition(|failure| failure.exit == Exit::Refused);
            let why = |list: &[&Failure]| list.iter().map(|failure| failure.why.clone()).collect::<Vec<_>>();
            t.answer(&json!({"written": rows, "refused": why(&refused), "failed": why(&failed)}))?;
            return Ok(());
        }
        let count = |n: usize, one: &str| workup::words::count(n, one, &format!("{one}s"));
        for (job, papers) in written {
            if apart {
                let sheets = papers.iter().map(|(_, _, sheets)| sheets).sum();
                let folder = self.out.join(folder_name(job));
                let said =
                    format!("{}, {} in {}", count(papers.len(), "paper"), count(sheets, "sheet"), folder.display());
                t.line(&format!("{}: {said}", job.state.title.as_deref().unwrap_or("job")), 2)?;
                continue;
            }
            for (paper, path, sheets) in papers {
                t.line(&format!("{}: {}, {}", paper.title(), path.display(), count(*sheets, "sheet")), 2)?;
            }
        }
        Ok(())
    }

    /// The jobs that are meant, each once, and those that cannot be read. One job alone that cannot be is a trouble of its own.
    async fn taken(&self, desk: &Desk) -> Result<(Vec<(String, Job)>, Vec<Failure>), Trouble> {
        let names: Vec<String> = if self.all { every_job(desk).await? } else { self.jobs.clone() };
        let (mut jobs, mut failed): (Vec<(String, Job)>, Vec<Failure>) = (Vec::new(), Vec::new());
        for name in names {
            match desk.job(&name).await {
                Ok(job) if jobs.iter().any(|(_, known)| known.state.job == job.state.job) => {}
                Ok(job) => jobs.push((name, job)),
                Err(trouble) if self.jobs.len() == 1 => return Err(trouble),
                Err(trouble) => failed.push(Failure::of(&name, trouble)),
            }
        }
        Ok((jobs, failed))
    }
}

/// The ids of every job of the record.
async fn every_job(desk: &Desk) -> Result<Vec<String>, Trouble> {
    let store = desk.look().await?;
    let jobs = store.jobs().await?.iter().map(|kept| kept.job.to_string()).collect();
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
