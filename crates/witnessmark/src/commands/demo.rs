//! `demo`: the invented jobs, loaded into a store of their own, with their papers and the bench.

use std::collections::BTreeSet;
use std::path::PathBuf;

use anatomy::JobId;
use clap::Args;
use documents::papers::{PaperSize, due};
use include_dir::{Dir, include_dir};
use knowledge::{Knowledge, ReadingKind};
use logbook::Entry;
use serde::Deserialize;
use serde_json::json;
use store::{Place, Record, Store};
use workup::Case;

use crate::commands::papers::{self, Manner};
use crate::commands::serve;
use crate::desk::{Desk, Job};
use crate::show::Sheet;
use crate::talk::Tone;
use crate::trouble::{Done, Exit, Trouble};

/// The cases, compiled in; which of them are demos says each one itself.
static CASES: Dir<'static> = include_dir!("$CARGO_MANIFEST_DIR/../../cases");

/// Loads the invented jobs, prints their work-ups, writes their papers and opens the bench.
#[derive(Debug, Args)]
pub(crate) struct Demo {
    /// The folder of the demo's own record.
    #[arg(long, value_name = "DIR", default_value = "witnessmark-demo")]
    out: PathBuf,
    /// Only the jobs, their work-ups and papers; the bench is not opened.
    #[arg(long)]
    no_serve: bool,
    /// The port of the bench; 0 takes any free one.
    #[arg(long, default_value_t = serve::PORT)]
    port: u16,
    /// Writes everything, not only the first lines of each part.
    #[arg(long)]
    full: bool,
}

#[derive(Debug, Deserialize)]
struct Expect {
    #[serde(default)]
    demo: bool,
}

/// One invented job.
struct Invented {
    seed: String,
    entries: Vec<Entry>,
    pictures: Vec<(&'static [u8], &'static str)>,
}

/// Reads the compiled-in cases that call themselves demos; the text says what one of them lacks.
fn invented() -> Result<(Vec<Invented>, Vec<String>), Trouble> {
    let mut out = Vec::new();
    let mut lacking = Vec::new();
    let mut folders: Vec<&Dir<'static>> = CASES.dirs().collect();
    folders.sort_by_key(|d| d.path().to_path_buf());
    for folder in folders {
        let seed = folder.path().display().to_string();
        let text = |name: &str| folder.get_file(folder.path().join(name)).and_then(|f| f.contents_utf8());
        let broken = |why: String| Trouble::new(Exit::Problem, format!("load the invented job {seed}"), why);
        let expect =
            text("expect.toml").map(toml::from_str::<Expect>).transpose().map_err(|e| broken(e.to_string()))?;
        if !expect.is_some_and(|e| e.demo) {
            continue;
        }
        let Some(story) = text("story.jsonl") else {
            lacking.push(seed);
            continue;
        };
        let lines = logbook::story_from_lines(story).map_err(|e| broken(e.to_string()))?;
        let entries = logbook::seal_story(&seed, &lines).map_err(|e| broken(e.to_string()))?;
        let pictures = folder
            .files()
            .filter_map(|f| {
                let kind = match f.path().extension().and_then(|e| e.to_str()) {
                    Some("svg") => "image/svg+xml",
                    Some("png") => "image/png",
                    Some("jpg" | "jpeg") => "image/jpeg",
                    _ => return None,
                };
                Some((f.contents(), kind))
            })
            .collect();
        out.push(Invented { seed, entries, pictures });
    }
    Ok((out, lacking))
}

impl Demo {
    pub(crate) async fn run(self, desk: &Desk) -> Done {
        let (jobs, lacking) = invented()?;
        for seed in &lacking {
            desk.talk.say(&format!("the invented job {seed} has no story in this build; left out"));
        }
        let knowledge = desk.knowledge()?;
        self.only_ours(&jobs).await?;
        let store = Record::open(&Place::Folder(self.out.clone())).await?;
        let mut shown = Vec::new();
        for one in &jobs {
            store.append(&one.entries).await.map_err(|error| {
                Trouble::new(
                    Trouble::from_append(&error),
                    format!("load the invented job {}", one.seed),
                    format!("{error}; to begin anew, name another folder with --out"),
                )
            })?;
            for (bytes, kind) in &one.pictures {
                store.keep_attachment(bytes.to_vec(), kind).await?;
            }
            if let Some(id) = one.entries.first().map(Entry::job) {
                shown.push(desk.load(&store, id).await?);
            }
        }
        store.close().await;
        let t = &desk.talk;
        let mut cases = Vec::new();
        for job in &shown {
            let case = desk.case(&job.state, &knowledge)?;
            cases.push(case);
            let Some(case) = cases.last().filter(|_| !t.json()) else { continue };
            t.line(&t.tone(Tone::Strong, &"=".repeat(60)), 0)?;
            Sheet { talk: t, case, job, knowledge: &knowledge, full: self.full }.write()?;
            t.gap()?;
        }
        if t.json() {
            t.answer(&json!({"store": self.out.display().to_string(), "cases": cases}))?;
            return Ok(Exit::Fine);
        }
        self.papers(desk, &shown, &cases, &knowledge)?;
        self.what_next(desk, &shown, cases.first(), &knowledge)?;
        if self.no_serve {
            return Ok(Exit::Fine);
        }
        t.gap()?;
        let place = Place::Folder(self.out.clone());
        serve::open(desk, &place, knowledge, self.port, &serve::Service::default()).await
    }

    /// Writes the papers of every job beside the record.
    fn papers(&self, desk: &Desk, shown: &[Job], cases: &[Case], knowledge: &Knowledge) -> Result<(), Trouble> {
        let t = &desk.talk;
        t.line(&t.tone(Tone::Strong, "Papers"), 0)?;
        for (job, case) in shown.iter().zip(cases) {
            let id = job.state.job.map(|j| j.to_string()).unwrap_or_default();
            let folder = self.out.join("papers").join(id.get(..8).unwrap_or(&id));
            let due = due(case, &job.state, knowledge);
            let manner = Manner { only: &due, size: PaperSize::A4, shop: None, issued: None, force: true };
            let done = papers::write(job, case, knowledge, &folder, &manner, &|| {});
            t.line(&format!("  {}: {} papers in {}", case.title, done.written.len(), folder.display()), 6)?;
            for failure in done.failed {
                t.line(&format!("  {}", failure.why), 6)?;
            }
        }
        t.gap()?;
        Ok(())
    }

    /// Refuses a record that holds other jobs than the invented ones.
    async fn only_ours(&self, jobs: &[Invented]) -> Result<(), Trouble> {
        if !self.out.join(store::folder::RECORD_FILE).exists() {
            return Ok(());
        }
        let ours: BTreeSet<JobId> = jobs.iter().filter_map(|j| j.entries.first().map(Entry::job)).collect();
        let store = Record::open_to_read(&Place::Folder(self.out.clone())).await?;
        let kept = store.jobs().await?;
        store.close().await;
        match kept.iter().find(|k| !ours.contains(&k.job)) {
            None => Ok(()),
            Some(other) => Err(Trouble::new(
                Exit::Refused,
                format!("load the invented jobs into {}", self.out.display()),
                format!("its record holds job {}, which is not one of them; name another folder with --out", other.job),
            )),
        }
    }

    fn what_next(
        &self,
        desk: &Desk,
        shown: &[Job],
        first_case: Option<&Case>,
        knowledge: &Knowledge,
    ) -> Result<(), Trouble> {
        let t = &desk.talk;
        let Some(first) = shown.first() else {
            t.line("This build holds no invented jobs.", 0)?;
            return Ok(());
        };
        let store = self.out.display();
        let id = first.state.job.map(|j| j.to_string()).unwrap_or_default();
        t.line(&t.tone(Tone::Strong, "What to try next"), 0)?;
        let when = first.state.chosen.as_ref().map(|c| c.made_at).or(first.state.opened_at);
        let when = when.map(|at| at.to_string()).unwrap_or_default();
        t.line(&format!("  witnessmark --store {store} jobs"), 6)?;
        t.line(&format!("  witnessmark --store {store} workup {id} --full"), 6)?;
        t.line(
            &format!(
                "  witnessmark --store {store} workup {id} --at {when}   (as it stood when the repair was chosen)"
            ),
            6,
        )?;
        if let Some((what, place, value)) = first_case.and_then(|case| to_enter(case, knowledge)) {
            t.line(&format!("  witnessmark --store {store} enter {id} {what} {place} \"{value}\""), 6)?;
        }
        t.line(&format!("  witnessmark --store {store} export {id} --out job.jsonl"), 6)?;
        t.line(&format!("  witnessmark --store {store} papers {id} --out papers"), 6)?;
        t.line(&format!("  witnessmark --store {store} serve"), 6)?;
        Ok(())
    }
}

/// A reading that can be entered now, with its worst outcome, so that something moves.
fn to_enter(case: &Case, knowledge: &Knowledge) -> Option<(String, String, String)> {
    case.advice.next.iter().chain(&case.advice.rest).filter(|c| c.access_minutes <= 0.0).find_map(|c| {
        knowledge.check(&c.check)?.readings.iter().find_map(|r| match &r.kind {
            ReadingKind::Graded { outcomes, .. } | ReadingKind::Nominal { outcomes, .. } => {
                Some((format!("{}/{}", c.check, r.id), c.position.address(), outcomes.last()?.replace('-', " ")))
            }
            ReadingKind::Numeric(_) => None,
        })
    })
}
