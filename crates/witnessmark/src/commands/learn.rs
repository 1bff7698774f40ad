//! `learn`: what the shop's own finished jobs say of the odds and of its checks; taken up, or taken back.

use clap::{Args, Subcommand};
use knowledge::{Adopted, FileSet, Knowledge};
use logbook::JobState;
use serde_json::json;
use store::Store;
use workup::learning::{self, Lesson, OddsLesson, ShowingLesson, Standing};
use workup::words::{per_cent, words};

use crate::desk::{Desk, knowledge_exit, write_file};
use crate::show::count;
use crate::surroundings;
use crate::talk::Tone;
use crate::trouble::{Done, Exit, Trouble};

/// The file of what was learnt, inside the knowledge folder.
const FOLDER: &str = "learnt";
const FILE: &str = "odds.toml";
/// What stood there before; no knowledge file by its name.
const BEFORE: &str = "odds.toml.before";

/// What the shop's own finished jobs say beside the book; taken up, or taken back.
#[derive(Debug, Args)]
pub(crate) struct Learn {
    #[command(subcommand)]
    what: Option<What>,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Counts the finished jobs and shows book and shop side by side (the same as no word).
    Show,
    /// Lists what a job can still tell: what its parts turned out to be.
    Ask {
        /// The job.
        job: String,
    },
    /// Takes up what foretells better than the book: learnt/odds.toml in the shop's own knowledge folder.
    Adopt {
        /// Why.
        #[arg(long)]
        because: String,
        /// Who [default: the person logged in].
        #[arg(long)]
        by: Option<String>,
    },
    /// Takes the last adoption back: what stood before stands again.
    Undo,
}

impl Learn {
    pub(crate) async fn run(self, desk: &Desk) -> Done {
        match self.what {
            None | Some(What::Show) => show(desk).await,
            Some(What::Ask { job }) => ask(desk, &job).await,
            Some(What::Adopt { because, by }) => adopt(desk, because, by).await,
            Some(What::Undo) => undo(desk),
        }
    }
}

/// The files without what was learnt before, and the knowledge they are.
fn book(desk: &Desk) -> Result<(FileSet, Knowledge), Trouble> {
    let files = desk.files()?.without_learnt();
    let knowledge = Knowledge::from_files(&files)
        .map_err(|error| Trouble::new(knowledge_exit(&error), "read the knowledge", error))?;
    Ok((files, knowledge))
}

async fn lesson(desk: &Desk, book: &Knowledge) -> Result<Lesson, Trouble> {
    let store = desk.look().await?;
    let mut jobs: Vec<JobState> = Vec::new();
    let kept = store.jobs().await?;
    for one in &kept {
        jobs.push(desk.load(&store, one.job).await?.state);
    }
    store.close().await;
    learning::learn(&jobs, book, surroundings::now())
        .map_err(|why| Trouble::new(Exit::Problem, "learn from the jobs", why))
}

async fn show(desk: &Desk) -> Done {
    let (_, book) = book(desk)?;
    let lesson = lesson(desk, &book).await?;
    let in_use = desk.knowledge()?.learnt;
    let t = &desk.talk;
    if t.json() {
        let adopted = in_use.adopted.as_ref().map(|a| &a.value);
        t.answer(&json!({"lesson": lesson, "adopted": adopted, "counts": in_use.counts}))?;
        return Ok(Exit::Fine);
    }
    print(desk, &lesson)?;
    t.gap()?;
    match &in_use.adopted {
        Some(a) if in_use.counts => {
            let used = count(in_use.odds.len() + in_use.showings.len(), "figure", "figures");
            t.line(&format!("in use: {used}, taken up on {} by {}: {}", a.on, a.by, a.because), 2)?;
        }
        Some(a) => t.line(
            &format!(
                "what was taken up on {} counts for nothing: causes, conditions or checks have changed since; \
                 `witnessmark learn adopt` learns again",
                a.on
            ),
            2,
        )?,
        None => {
            t.line("in use: the book alone; `witnessmark learn adopt --because WHY` takes up what is marked used", 2)?
        }
    }
    Ok(Exit::Fine)
}

fn print(desk: &Desk, lesson: &Lesson) -> Result<(), Trouble> {
    let t = &desk.talk;
    t.heading(&format!("What {} say", count(lesson.jobs, "finished job", "finished jobs")))?;
    if lesson.odds.is_empty() {
        t.line(
            "Nobody has told yet what a condition turned out to be. `witnessmark learn ask JOB` lists what a job can tell.",
            2,
        )?;
    }
    for one in &lesson.odds {
        t.line(&t.tone(Tone::Strong, &odds_name(one)), 2)?;
        for (at, state) in one.states.iter().enumerate() {
            let of = |list: &[f64]| list.get(at).copied().unwrap_or(0.0);
            t.line(
                &format!(
                    "  {:<24} told {:>5.1}   book {:>5}   shop {:>5}",
                    words(state),
                    of(&one.told),
                    per_cent(of(&one.book)),
                    per_cent(of(&one.learnt))
                ),
                4,
            )?;
        }
        t.line(&format!("  {}", standing_words(one)), 4)?;
    }
    if !lesson.showings.is_empty() {
        t.gap()?;
        t.heading("How checks showed it")?;
        let (few, enough): (Vec<&ShowingLesson>, Vec<&ShowingLesson>) =
            lesson.showings.iter().partition(|s| s.standing == Standing::TooFew);
        for one in enough {
            t.line(&showing_words(one), 2)?;
        }
        if !few.is_empty() {
            let many = count(few.len(), "check was", "checks were");
            t.line(&format!("{many} told of by too few jobs; --json lists them"), 2)?;
        }
    }
    if !lesson.left_out.is_empty() {
        t.gap()?;
        t.line(
            &format!(
                "{} not counted: open, with nothing told of their parts",
                count(lesson.left_out.len(), "job", "jobs")
            ),
            2,
        )?;
    }
    Ok(())
}

fn odds_name(one: &OddsLesson) -> String {
    let place = one.scope.map(|s| format!(", {}", words(s.word()))).unwrap_or_default();
    format!("{}{place}", one.name)
}

fn standing_words(one: &OddsLesson) -> String {
    let odd = if one.odd < learning::ODD { "; the count is odd under the book" } else { "" };
    format!("{}{odd}", one.standing.words())
}

fn showing_words(one: &ShowingLesson) -> String {
    format!(
        "{} ({}), {} {}: showed it in {} of {}; book {}, shop {}; {}",
        one.check_name,
        words(&one.reading),
        one.name,
        words(&one.state),
        one.showed,
        one.told,
        per_cent(one.book),
        per_cent(one.learnt),
        if one.standing == Standing::Used && one.row.is_empty() {
            "a figure: shown, not used"
        } else {
            one.standing.words()
        }
    )
}

async fn ask(desk: &Desk, job: &str) -> Done {
    let knowledge = desk.knowledge()?;
    let state = desk.job(job).await?.state;
    let case = desk.case(&state, &knowledge)?;
    let list = learning::to_tell(&state, &case, &knowledge);
    let t = &desk.talk;
    if t.json() {
        t.answer(&list)?;
        return Ok(Exit::Fine);
    }
    if list.is_empty() {
        t.say("nothing is left to tell: no check spoke of anything that is not told");
        return Ok(Exit::Fine);
    }
    t.line("Tell what was seen, sound parts too, with `witnessmark tell JOB outcome-found BODY`:", 2)?;
    for one in &list {
        t.line(&format!("{}, {}: {}", one.name, one.place, one.states.join(" / ")), 2)?;
        let body =
            json!({"condition": one.condition, "position": one.position.address(), "state": "STATE", "how": "HOW"});
        t.line(&format!("  {body}"), 4)?;
    }
    Ok(Exit::Fine)
}

/// The folder that what was learnt stands in; a record on a server has none of its own, so `--knowledge` names one there.
fn folder(desk: &Desk) -> Result<std::path::PathBuf, Trouble> {
    let beside = || desk.store.folder().map(|folder| folder.join("knowledge"));
    let root = desk.knowledge.clone().or_else(beside).ok_or_else(|| {
        let why =
            "a record on a server has no folder for it; name the shop's own knowledge folder with --knowledge DIR";
        Trouble::new(Exit::Usage, "find the shop's own knowledge", why)
    })?;
    Ok(root.join(FOLDER))
}

async fn adopt(desk: &Desk, because: String, by: Option<String>) -> Done {
    let doing = "take up what the jobs say";
    if because.trim().is_empty() {
        return Err(Trouble::new(Exit::Usage, doing, "--because is empty; say in a few words why"));
    }
    let folder = folder(desk)?;
    let (files, book) = book(desk)?;
    let lesson = lesson(desk, &book).await?;
    if lesson.used() == 0 {
        let why = "none of the figures foretells the jobs better than the book does; `witnessmark learn` shows them";
        return Err(Trouble::new(Exit::Refused, doing, why));
    }
    let adopted = Adopted {
        against: files.book().as_str().to_owned(),
        on: surroundings::now().strftime("%Y-%m-%d").to_string(),
        by: by.unwrap_or_else(surroundings::person),
        because,
        jobs: lesson.jobs,
    };
    let text = lesson.file(adopted).text().map_err(|why| Trouble::new(Exit::Problem, doing, why))?;
    // What is written is read once more before it counts.
    let name = format!("{FOLDER}/{FILE}");
    Knowledge::from_files(&files.with_texts(&[(&name, &text)]))
        .map_err(|error| Trouble::new(knowledge_exit(&error), doing, error))?;
    std::fs::create_dir_all(&folder)
        .map_err(|error| Trouble::file(format!("make the folder {}", folder.display()), &error))?;
    let path = folder.join(FILE);
    let before = folder.join(BEFORE);
    match std::fs::read(&path) {
        Ok(stood) => write_file(&before, &stood, true)?,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => remove(&before)?,
        Err(error) => return Err(Trouble::file(format!("read {}", path.display()), &error)),
    }
    write_file(&path, text.as_bytes(), true)?;
    let t = &desk.talk;
    if t.json() {
        t.answer(&json!({"file": path.display().to_string(), "used": lesson.used(), "jobs": lesson.jobs}))?;
    } else {
        print(desk, &lesson)?;
        t.gap()?;
        let used = count(lesson.used(), "figure counts", "figures count");
        t.line(
            &format!(
                "{used} from now on, in {}; a bench that is open takes it up when it is opened again",
                path.display()
            ),
            2,
        )?;
        t.line("`witnessmark learn undo` takes it back", 2)?;
    }
    Ok(Exit::Fine)
}

fn remove(path: &std::path::Path) -> Result<(), Trouble> {
    match std::fs::remove_file(path) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
            Err(Trouble::file(format!("take {} away", path.display()), &error))
        }
        Ok(()) | Err(_) => Ok(()),
    }
}

fn undo(desk: &Desk) -> Done {
    let folder = folder(desk)?;
    let (path, before) = (folder.join(FILE), folder.join(BEFORE));
    if !path.exists() {
        let why = format!("there is no {}; the book alone is in use", path.display());
        return Err(Trouble::new(Exit::NotFound, "take the last adoption back", why));
    }
    let t = &desk.talk;
    let says = if before.exists() {
        std::fs::rename(&before, &path).map_err(|error| Trouble::file(format!("write {}", path.display()), &error))?;
        "what was taken up before counts again"
    } else {
        remove(&path)?;
        // An empty folder would say that the shop has odds of its own.
        let _stays_where_other_files_are = std::fs::remove_dir(&folder);
        "the book alone is in use again"
    };
    if t.json() {
        t.answer(&json!({"in_use": says}))?;
    } else {
        t.line(says, 2)?;
    }
    Ok(Exit::Fine)
}
