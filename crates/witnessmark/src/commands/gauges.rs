//! `gauges`: the register of gauges over all jobs.

use clap::Args;
use logbook::JobState;
use store::Store;

use crate::desk::Desk;
use crate::show::count;
use crate::surroundings;
use crate::talk::Tone;
use crate::trouble::{Done, Exit};

/// Lists the gauges of the shop: what each is fit for, its zero and calibration, and which open jobs lean on it.
#[derive(Debug, Args)]
pub(crate) struct Gauges {}

impl Gauges {
    pub(crate) async fn run(self, desk: &Desk) -> Done {
        let knowledge = desk.knowledge()?;
        let store = desk.look().await?;
        let mut jobs = Vec::new();
        for kept in store.jobs().await? {
            jobs.push(desk.load(&store, kept.job).await?);
        }
        store.close().await;
        let states: Vec<&JobState> = jobs.iter().map(|job| &job.state).collect();
        let lines = workup::gauges::register(&states, &knowledge, surroundings::today());
        let t = &desk.talk;
        if t.json() {
            t.answer(&lines)?;
            return Ok(Exit::Fine);
        }
        if lines.is_empty() {
            t.say("no gauge is named in any job; lay one ready with `witnessmark tell JOB gauge-described`");
        }
        let or = |day: Option<jiff::civil::Date>| day.map_or_else(|| "not told".to_owned(), |d| d.to_string());
        for g in &lines {
            t.line(&format!("{}  {}", t.tone(Tone::Strong, &g.label), g.name), 2)?;
            if let (Some(since), Some(why)) = (g.doubted_since, &g.doubted_why) {
                t.line(
                    &format!("  {} since {}: {why}", t.tone(Tone::Outside, "doubted"), surroundings::day_of(since)),
                    4,
                )?;
            }
            for against in &g.against {
                t.line(&format!("  note: {against}"), 4)?;
            }
            let until = g.calibrated_until.map_or_else(String::new, |d| format!(", holds until {d}"));
            t.line(
                &format!(
                    "  zero checked: {}; calibrated: {}{until}",
                    or(g.zero_checked.map(surroundings::day_of)),
                    or(g.calibrated)
                ),
                4,
            )?;
            for (label, list) in
                [("decides", &g.fit_for), ("with a guard band or repeats", &g.with_care), ("not for", &g.not_fit_for)]
            {
                if !list.is_empty() {
                    t.line(&format!("  {label}: {}", list.join("; ")), 4)?;
                }
            }
            for job in &g.jobs {
                t.line(&format!("  in {}: {}", job.title, count(job.readings, "reading", "readings")), 4)?;
            }
        }
        Ok(Exit::Fine)
    }
}
