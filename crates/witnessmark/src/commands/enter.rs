//! `enter`: a reading into a kept job, refused where it cannot be, answered with its finding and how the advice moved.

use clap::Args;
use knowledge::Knowledge;
use logbook::{EntryBody, JobState, Kind, Unsealed, fold_with};
use serde_json::json;
use store::Store;
use workup::Case;
use workup::asking::{ensure_answer, hangs_on_page};
use workup::entering::{Given, ensure};

use crate::desk::{Desk, Job, TakenUp, entry};
use crate::show::Sheet;
use crate::talk::Tone;
use crate::trouble::{Done, Exit, Trouble};

/// What a refused reading could not do.
pub(crate) const DOING: &str = "enter the reading";

/// How often an entry is judged anew because another shop was faster \[ours\].
const TURNS: u32 = 100;

/// Enters a reading and says how the advice moved.
#[derive(Debug, Args)]
pub(crate) struct Enter {
    /// The job.
    job: String,
    /// The check and which of its readings, such as compression-dry/pressure; a check with one reading needs no more.
    #[arg(value_name = "CHECK/READING")]
    reading: String,
    /// Where: engine, bank-A, cyl-3, pair-3-4, cyl-3-in-1, main-2, rod-3, cam-A-in; for a cylinder also the name on this engine.
    position: String,
    /// A figure with its unit (`8.4 bar`, `7 thou`), several of the same thing (`0.05; 0.06; 0.05 mm`), a bore on three axes (`0: 88.02;
    /// 45: 88.03; 90: 88.01 mm`), or an outcome in words.
    #[arg(allow_hyphen_values = true, required_unless_present = "stations")]
    value: Option<String>,
    /// The kind of gauge, an id of the knowledge.
    #[arg(long)]
    gauge: Option<String>,
    /// The mark on the gauge.
    #[arg(long)]
    label: Option<String>,
    /// Who read it [default: the person logged in].
    #[arg(long)]
    by: Option<String>,
    /// How many readings the figure is the mean of, where they are not typed one by one.
    #[arg(long, value_name = "N")]
    mean_of: Option<u32>,
    /// Anything else.
    #[arg(long)]
    note: Option<String>,
    /// Where within the place, such as line-A-F or top-thrust.
    #[arg(long)]
    spot: Option<String>,
    /// The line that a straightedge lay along, by its name or its end letters, such as along-left or A-D; with --stations.
    #[arg(long, value_name = "LINE", requires = "stations", conflicts_with = "spot")]
    line: Option<String>,
    /// A straightedge station by station in place of the value: how far along, the thickest blade that enters, the thinnest
    /// that is refused (`0: ..0.03; 150: 0.05..0.06; 300: ..0.03 mm`).
    #[arg(long, value_name = "STATIONS", conflicts_with = "mean_of")]
    stations: Option<String>,
    /// as-found, arrival, as-left or recheck [default: as-found].
    #[arg(long)]
    phase: Option<String>,
}

impl Enter {
    pub(crate) async fn run(self, desk: &Desk) -> Done {
        let knowledge = desk.knowledge()?;
        let taken = desk.take_up(&self.job).await?;
        let before = desk.case(&taken.job.state, &knowledge).ok();
        let (check, reading) = self.reading.split_once('/').unwrap_or((&self.reading, ""));
        let text = |told: &Option<String>| told.clone().unwrap_or_default();
        let given = Given {
            check: check.to_owned(),
            reading: reading.to_owned(),
            position: self.position.clone(),
            value: text(&self.value),
            unit: String::new(),
            phase: text(&self.phase),
            spot: text(self.line.as_ref().map_or(&self.spot, |_| &self.line)),
            gauge: text(&self.gauge),
            label: text(&self.label),
            temperature: String::new(),
            note: text(&self.note),
            mean_of: self.mean_of.map(|n| n.to_string()).unwrap_or_default(),
            stations: text(&self.stations),
        };
        let body = given
            .body(&taken.job.state, &knowledge, before.as_ref())
            .map_err(|why| Trouble::not_taken(DOING, &self.job, &why))?;
        let unsealed = entry(taken.id, self.by.as_deref(), &EntryBody::ReadingTaken(body))?;
        let about = unsealed.id;
        keep(desk, &knowledge, taken, before, unsealed, about, "kept").await
    }
}

/// Keeps an entry that the job allows, and says what it did to the finding and the advice.
pub(crate) async fn keep(
    desk: &Desk,
    knowledge: &Knowledge,
    mut taken: TakenUp,
    before: Option<Case>,
    unsealed: Unsealed,
    about: anatomy::EntryId,
    said: &str,
) -> Done {
    let mut turn = 0;
    let mut anew = None;
    let carried = loop {
        turn += 1;
        let case = if turn == 1 { before.as_ref() } else { anew.as_ref() };
        let (after, body) = allowed(knowledge, &taken, &unsealed, case)?;
        let carried = carried(desk, &taken, &after, &unsealed.by, &body).await?;
        let mut together = vec![unsealed.clone()];
        together.extend(carried.iter().cloned());
        if desk.keep_after(&taken, &together).await? {
            break carried;
        }
        if turn >= TURNS {
            return Err(Trouble::new(Exit::Conflict, DOING, "others write into this job all the time; try again"));
        }
        // Another shop was faster, and what it wrote may forbid this one, or have changed what a customer page shows.
        taken.job = desk.load(&taken.store, taken.id).await?;
        Desk::ensure_writable(&taken.job)?;
        anew = if hangs_on_page(&taken.job.state, &body) { desk.case(&taken.job.state, knowledge).ok() } else { None };
    };
    for other in carried.iter().filter(|c| c.job != taken.id) {
        desk.talk.say(&format!("witnessmark: the gauge is used in job {} as well; it is told there too", other.job));
    }
    let job = desk.load(&taken.store, taken.id).await?;
    taken.store.close().await;
    after_keeping(desk, knowledge, before.as_ref(), &job, about, said)
}

/// What is said here of a gauge, for the other open jobs that lean on it; a job that a newer build wrote is left alone.
async fn carried(
    desk: &Desk,
    taken: &TakenUp,
    after: &JobState,
    by: &str,
    body: &EntryBody,
) -> Result<Vec<Unsealed>, Trouble> {
    if !workup::gauges::concerns_others(body) {
        return Ok(Vec::new());
    }
    let mut jobs = Vec::new();
    for kept in taken.store.jobs().await? {
        if kept.job != taken.id {
            jobs.push(desk.load(&taken.store, kept.job).await?);
        }
    }
    jobs.retain(|job| Desk::ensure_writable(job).is_ok());
    let others: Vec<&JobState> = jobs.iter().map(|job| &job.state).collect();
    let carried = workup::gauges::carried(after, body, &others);
    carried.iter().map(|(job, body)| entry(*job, Some(by), body)).collect()
}

/// Passes an entry that the job as it stands allows: the job with it, and what it says. `case` is the work-up of that job.
pub(crate) fn allowed(
    knowledge: &Knowledge,
    taken: &TakenUp,
    unsealed: &Unsealed,
    case: Option<&Case>,
) -> Result<(JobState, EntryBody), Trouble> {
    let doing = match unsealed.kind.as_str() {
        "reading-taken" => DOING.to_owned(),
        kind => format!("keep {kind}"),
    };
    let after = fold_with(&taken.job.entries, unsealed.clone()).map_err(|e| Trouble::new(Exit::Refused, &doing, e))?;
    let read = Kind::from_word(&unsealed.kind).map(|kind| EntryBody::read(kind, unsealed.v, &unsealed.body));
    match read {
        Some(Ok(Some(body))) => ensure(&taken.job.state, &after, knowledge, &body)
            .and_then(|()| ensure_answer(&taken.job.state, knowledge, case, &body))
            .map_err(|why| Trouble::not_taken(&doing, &taken.id.to_string(), &why))
            .map(|()| (after, body)),
        Some(Ok(None) | Err(_)) | None => Err(Trouble::new(Exit::Refused, &doing, "this build does not write it")),
    }
}

/// Says what was kept, its finding, and how the advice moved.
fn after_keeping(
    desk: &Desk,
    knowledge: &Knowledge,
    before: Option<&Case>,
    job: &Job,
    entry: anatomy::EntryId,
    kept: &str,
) -> Done {
    let t = &desk.talk;
    let after = desk.case(&job.state, knowledge);
    if t.json() {
        let case = after.as_ref().ok();
        let finding = case.and_then(|c| c.findings.iter().find(|f| f.entry == entry.to_string()));
        let next = |c: Option<&Case>| {
            c.and_then(|c| c.advice.next.first())
                .map(|n| json!({"check": n.check, "position": n.position, "net": n.net}))
        };
        let best = |c: Option<&Case>| c.map(|c| json!({"option": c.advice.best, "expected": c.advice.expected}));
        t.answer(&json!({
            "kept": entry.to_string(), "job": job.state.job.map(|j| j.to_string()), "tail": job.tail(), "finding": finding,
            "best": {"before": best(before), "after": best(case)},
            "next": {"before": next(before), "after": next(case)},
            "stop": case.and_then(|c| c.advice.stop.as_ref()),
            "machine": case.and_then(|c| c.machine.iter().find(|back| back.entry == entry.to_string())),
            "code": job.state.machine_orders.iter().find(|o| o.in_entry == entry).map(|o| o.code.as_str()),
            "sets_date": workup::awaited::JobDate::of(&job.state).sets().map(|(by, day)| {
                json!({"entry": by.entry().to_string(), "day": day})
            }),
        }))?;
        return Ok(Exit::Fine);
    }
    t.line(&format!("{kept}: entry {entry}, chain ends {}", job.tail()), 2)?;
    let case = match after {
        Ok(case) => case,
        Err(trouble) => {
            if let Some(line) = trouble.line() {
                t.say(&format!("{line} (the entry is kept all the same)"));
            }
            return Ok(Exit::Fine);
        }
    };
    let sheet = Sheet { talk: t, case: &case, job, knowledge, full: true };
    if let Some(finding) = case.findings.iter().find(|f| f.entry == entry.to_string()) {
        sheet.finding(finding)?;
    }
    sheet.machine_of(entry)?;
    let says = |notice: &&workup::Notice| notice.about.contains(&entry.to_string());
    for notice in case.notices.iter().filter(says) {
        t.line(&format!("  note: {}; {}", notice.message, notice.what_to_do), 4)?;
    }
    let Some(before) = before else { return Ok(Exit::Fine) };
    let option =
        |c: &Case| format!("{}, {} on average", sheet.option_name(&c.advice.best), sheet.money(c.advice.expected));
    let next = |c: &Case| match (c.advice.next.first(), &c.advice.stop) {
        (Some(n), _) => format!("{}, {} (worth {})", n.name, n.place, sheet.money(n.ahead())),
        (None, Some(stop)) => format!("STOP: {}", stop.words),
        (None, None) => "nothing".to_owned(),
    };
    for (label, was, is, moved) in [
        ("best way", option(before), option(&case), before.advice.best != case.advice.best),
        (
            "next check",
            next(before),
            next(&case),
            before.advice.next.first().map(|n| &n.check) != case.advice.next.first().map(|n| &n.check),
        ),
    ] {
        if was == is {
            t.line(&format!("  {label}: {is} (as before)"), 14)?;
        } else {
            let word = if moved { t.tone(Tone::Strong, "now") } else { "now".to_owned() };
            t.line(&format!("  {label} was {was}"), 14)?;
            t.line(&format!("  {label} {word} {is}"), 14)?;
        }
    }
    Ok(Exit::Fine)
}
