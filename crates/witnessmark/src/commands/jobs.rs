//! `jobs`: the list of jobs.

use clap::Args;
use serde_json::json;
use store::Store;
use workup::words::words;

use crate::desk::Desk;
use crate::show::count;
use crate::talk::Tone;
use crate::trouble::{Done, Exit};

/// Lists the jobs.
#[derive(Debug, Args)]
pub(crate) struct Jobs {}

impl Jobs {
    pub(crate) async fn run(self, desk: &Desk) -> Done {
        let store = desk.look().await?;
        let kept = store.jobs().await?;
        let mut rows = Vec::new();
        let t = &desk.talk;
        if kept.is_empty() {
            t.say("no jobs yet; open one with `witnessmark new`");
        }
        for one in kept {
            let job = desk.load(&store, one.job).await?;
            let state = &job.state;
            let title = state.title.clone().unwrap_or_else(|| "without a title".to_owned());
            let engine = state
                .layout
                .as_ref()
                .map_or_else(|| "engine not described".to_owned(), anatomy::EngineLayout::in_words);
            let moment = state.moment.map_or_else(|| "-".to_owned(), |m| words(m.word()));
            let promised = state.promised.map(|d| d.to_string());
            if t.json() {
                rows.push(json!({"job": one.job.to_string(), "title": title, "engine": engine, "moment": moment,
                    "entries": one.entries, "tail": job.tail(), "promised": promised, "closed": state.closed.is_some()}));
                continue;
            }
            t.line(&format!("{}  {}", one.job, t.tone(Tone::Strong, &title)), 2)?;
            let promised = promised.map_or_else(String::new, |d| format!("; promised {d}"));
            let closed = if state.closed.is_some() { "; closed" } else { "" };
            let entries = usize::try_from(one.entries).unwrap_or(usize::MAX);
            t.line(
                &format!(
                    "  {engine}; moment: {moment}; {}, chain ends {}{promised}{closed}",
                    count(entries, "entry", "entries"),
                    job.tail()
                ),
                2,
            )?;
        }
        if t.json() {
            t.answer(&rows)?;
        }
        store.close().await;
        Ok(Exit::Fine)
    }
}
