//! `simulate`: how good the advice is, tried on drawn engines.

use std::path::PathBuf;

use anatomy::{Arrangement, EngineLayout, Fuel, ValveGear};
use clap::Args;
use documents::papers::{PaperSize, trial_figures, typeset_trial};
use documents::pictures::{stated_and_seen, ways_of_testing};
use logbook::JobState;
use serde_json::json;
use workup::WorkUpError;
use workup::simulate::{Plan, Report, SimulateError, Way, simulate};

use crate::desk::{Desk, write_file};
use crate::progress::Bar;
use crate::surroundings;
use crate::talk::Tone;
use crate::trouble::{Done, Exit, Trouble};

/// How good the advice is: draws engines, tests each in several ways, and compares the bills; also whether the chances stated
/// came true as often as they were stated.
///
/// Without a job the engine is a plain inline four: petrol, two cams, four valves per cylinder, nothing else told.
#[derive(Debug, Args)]
pub(crate) struct Simulate {
    /// How many engines.
    #[arg(long, default_value_t = 100)]
    engines: usize,
    /// Seed: the same seed gives the same answer.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// By how much the true chances differ from those of the knowledge, in log-odds: 0 not at all, 0.3 a little, 1 far.
    #[arg(long, default_value_t = 0.0)]
    spread: f64,
    /// The engine and the terms of this job, or of this logbook file; its readings are left aside.
    #[arg(long, value_name = "JOB")]
    like: Option<String>,
    /// Folder for the trial as JSON, PDF and two pictures.
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Size of the sheet: a4 or letter.
    #[arg(long, value_name = "SIZE", default_value = "a4")]
    size: String,
    /// Writes over files that are there.
    #[arg(long)]
    force: bool,
}

const DOING: &str = "try the advice";

impl Simulate {
    pub(crate) async fn run(self, desk: &Desk) -> Done {
        let knowledge = desk.knowledge()?;
        let size = PaperSize::from_word(&self.size).ok_or_else(|| {
            Trouble::new(Exit::Usage, "read --size", format!("`{}` is no size of sheets; say a4 or letter", self.size))
        })?;
        let begun = match &self.like {
            Some(job) => desk.job(job).await?.state,
            None => plain()?,
        };
        let plan = Plan { engines: self.engines, seed: self.seed, spread: self.spread };
        let bar = Bar::new("engines tried", &desk.talk);
        let of = u64::try_from(plan.engines).unwrap_or(u64::MAX);
        let report = simulate(&begun, &knowledge, &plan, |done| bar.at(u64::try_from(done).unwrap_or(0), of));
        bar.away();
        let report = report.map_err(|error| {
            let exit = match &error {
                SimulateError::Plan(_) => Exit::Usage,
                SimulateError::WorkUp(WorkUpError::NoEngine) => Exit::NotFound,
                SimulateError::WorkUp(WorkUpError::Lanes(_)) | SimulateError::NoList => Exit::Problem,
            };
            Trouble::new(exit, DOING, error)
        })?;
        let written = self.write(&report, size)?;
        if desk.talk.json() {
            let mut answer = serde_json::to_value(&report).map_err(|e| Trouble::new(Exit::Problem, DOING, e))?;
            if let Some(answer) = answer.as_object_mut() {
                answer.insert("written".to_owned(), json!(written));
            }
            desk.talk.answer(&answer)?;
        } else {
            say(desk, &report)?;
            for file in written {
                desk.talk.line(&file, 2)?;
            }
        }
        Ok(Exit::Fine)
    }

    /// Writes what was asked for; answers the files.
    fn write(&self, report: &Report, size: PaperSize) -> Result<Vec<String>, Trouble> {
        let Some(folder) = &self.out else { return Ok(Vec::new()) };
        std::fs::create_dir_all(folder)
            .map_err(|e| Trouble::file(format!("make the folder {}", folder.display()), &e))?;
        let issued = surroundings::today().to_string();
        let pdf = typeset_trial(report, &issued, None, size).map_err(|e| Trouble::new(Exit::Problem, DOING, e))?.pdf;
        let whole = serde_json::to_string_pretty(report).map_err(|e| Trouble::new(Exit::Problem, DOING, e))? + "\n";
        let files = [
            ("trial.json", whole.into_bytes()),
            ("trial.pdf", pdf),
            ("ways-of-testing.svg", ways_of_testing(&report.ways).into_bytes()),
            ("stated-and-seen.svg", stated_and_seen(&report.honesty.bins).into_bytes()),
        ];
        let mut written = Vec::new();
        for (name, bytes) in files {
            let path = folder.join(name);
            write_file(&path, &bytes, self.force)?;
            written.push(path.display().to_string());
        }
        Ok(written)
    }
}

/// The beginning of a job on a plain engine.
fn plain() -> Result<JobState, Trouble> {
    let layout = EngineLayout::plain(Arrangement::Inline, 4, Fuel::Petrol, ValveGear::TwinCam)
        .map_err(|e| Trouble::new(Exit::Problem, DOING, e))?;
    Ok(JobState { layout: Some(layout), ..JobState::default() })
}

fn say(desk: &Desk, report: &Report) -> Result<(), Trouble> {
    let t = &desk.talk;
    t.line(&t.tone(Tone::Strong, &format!("{} engines like this: {}", report.engines, report.engine)), 2)?;
    if report.spread > 0.0 {
        t.line(&format!("their true chances differ by {} in log-odds from those believed", report.spread), 2)?;
    }
    t.line("labour units an engine, on average; in brackets what holds 95 times in 100", 2)?;
    t.line(&format!("{:<35}{:>7}{:>8}{:>7}  the advice saves", "", "in all", "checks", "right"), 2)?;
    for w in &report.ways {
        let saves = if w.way == Way::Advice {
            String::new()
        } else {
            let s = &w.advice_saves;
            format!("{:.2} ({:.2} to {:.2})", s.mean, s.low, s.high)
        };
        let row = format!("{:<35}{:>7.2}{:>8.2}{:>5.0} %  {saves}", w.words, w.total, w.checks, w.right);
        t.line(row.trim_end(), 2)?;
    }
    t.line(&format!("the fixed list: {}", report.list), 2)?;
    for (name, figure) in trial_figures(report) {
        t.line(&format!("{name}: {figure}"), 4)?;
    }
    Ok(())
}
