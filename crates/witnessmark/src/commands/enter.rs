//! `enter`: a reading into a kept job, refused where it cannot be, answered with its finding and how the advice moved.

use clap::Args;
use knowledge::{AttributeIs, Check, Knowledge, Reading, ReadingKind};
use logbook::{EntryBody, Figure, JobState, Phase, ReadingBody, Unsealed};
use quantity::{Reply, Unit, parse_quantity};
use serde_json::json;
use server::entering::{kept, place};
use server::words::words;
use workup::Case;

use crate::desk::{Desk, Job, TakenUp, entry};
use crate::show::Sheet;
use crate::talk::Tone;
use crate::trouble::{Done, Exit, Trouble};

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
    /// A figure with its unit (`8.4 bar`, `7 thou`) or an outcome in words.
    #[arg(allow_hyphen_values = true)]
    value: String,
    /// The kind of gauge, an id of the knowledge.
    #[arg(long)]
    gauge: Option<String>,
    /// The mark on the gauge.
    #[arg(long)]
    label: Option<String>,
    /// Who read it [default: the person logged in].
    #[arg(long)]
    by: Option<String>,
    /// Anything else.
    #[arg(long)]
    note: Option<String>,
    /// Where within the place, such as line-A-F or top-thrust.
    #[arg(long)]
    spot: Option<String>,
    /// as-found, arrival, as-left or recheck [default: as-found].
    #[arg(long)]
    phase: Option<String>,
}

impl Enter {
    pub(crate) async fn run(self, desk: &Desk) -> Done {
        let knowledge = desk.knowledge()?;
        let taken = desk.take_up(&self.job).await?;
        let before = desk.case(&taken.job.state, &knowledge).ok();
        let body = self.body(&taken.job.state, &knowledge, before.as_ref())?;
        let unsealed = entry(taken.id, self.by.as_deref(), &EntryBody::ReadingTaken(body))?;
        let about = unsealed.id;
        keep(desk, &knowledge, taken, before, unsealed, about, "kept").await
    }

    /// The body of the entry, or the rule that refuses it.
    fn body(&self, state: &JobState, knowledge: &Knowledge, before: Option<&Case>) -> Result<ReadingBody, Trouble> {
        let refuse = |why: String| Trouble::new(Exit::Refused, "enter the reading", why);
        let Some(layout) = &state.layout else {
            return Err(refuse(
                "nobody has described the engine; do that first, `witnessmark tell JOB engine-described …`".to_owned(),
            ));
        };
        let (check, reading) = found(knowledge, &self.reading).map_err(refuse)?;
        let position = place(layout, check, &self.position).map_err(refuse)?;
        let phase = match self.phase.as_deref() {
            None => None,
            Some(word) => Some(Phase::ALL.iter().copied().find(|p| p.word() == word).ok_or_else(|| {
                Trouble::new(
                    Exit::Usage,
                    "read --phase",
                    format!("`{word}` is none; say as-found, arrival, as-left or recheck"),
                )
            })?),
        };
        possible(state, knowledge, check, reading, phase, before).map_err(refuse)?;
        if let Some(gauge) = &self.gauge
            && knowledge.gauge(gauge).is_none()
        {
            let near: Vec<&str> = check.gauges.iter().map(String::as_str).collect();
            let near =
                if near.is_empty() { String::new() } else { format!("; this check is read with {}", near.join(", ")) };
            return Err(refuse(format!(
                "no gauge is called `{gauge}`{near}; `witnessmark knowledge list gauge` has them all"
            )));
        }
        let (outcome, value) = read_value(check, reading, &self.value)?;
        Ok(ReadingBody {
            check: check.id.clone(),
            reading: reading.id.clone(),
            position,
            outcome,
            value,
            spot: self.spot.clone(),
            phase,
            gauge: self.gauge.clone(),
            label: self.label.clone(),
            temperature: None,
            note: self.note.clone(),
        })
    }
}

/// Finds check and reading; the near ones are named when there is none.
fn found<'k>(knowledge: &'k Knowledge, text: &str) -> Result<(&'k Check, &'k Reading), String> {
    let (check_id, reading_id) = match text.split_once('/') {
        Some((check, reading)) => (check, Some(reading)),
        None => (text, None),
    };
    let Some(check) = knowledge.check(check_id) else {
        let near: Vec<&str> = knowledge
            .checks
            .iter()
            .map(|c| c.id.as_str())
            .filter(|id| check_id.split('-').any(|part| part.len() > 3 && id.contains(part)))
            .take(5)
            .collect();
        let near = if near.is_empty() { String::new() } else { format!("; near it are {}", near.join(", ")) };
        return Err(format!("no check is called `{check_id}`{near}; `witnessmark knowledge list check` has them all"));
    };
    let ids: Vec<&str> = check.readings.iter().map(|r| r.id.as_str()).collect();
    let wanted = match (reading_id, ids.as_slice()) {
        (Some(id), _) => id,
        (None, [one]) => one,
        (None, _) => {
            return Err(format!(
                "{check_id} has several readings; say which: {check_id}/{}",
                ids.join(&format!(", {check_id}/"))
            ));
        }
    };
    let reading = check.readings.iter().find(|r| r.id == wanted);
    reading
        .map(|r| (&check.value, r))
        .ok_or_else(|| format!("{check_id} has no reading `{wanted}`; it has {}", ids.join(", ")))
}

/// Refuses a reading that this engine, or this stage of strip-down, cannot give.
fn possible(
    state: &JobState,
    knowledge: &Knowledge,
    check: &Check,
    reading: &Reading,
    phase: Option<Phase>,
    before: Option<&Case>,
) -> Result<(), String> {
    let told = |name: &str| state.attribute(name);
    let unfit = check
        .applies
        .iter()
        .chain(&reading.applies)
        .find(|a: &&AttributeIs| told(&a.attribute).is_some_and(|v| v != a.value));
    if let Some(a) = unfit {
        return Err(format!(
            "{} is for engines with {} {}, and this one has {}; correct the engine if that is wrong",
            check.name,
            words(&a.attribute),
            words(&a.value),
            told(&a.attribute).map(words).unwrap_or_default()
        ));
    }
    if phase.is_some_and(|p| p != Phase::AsFound) {
        return Ok(());
    }
    if let Some(why) = workup::impossible_now(state, knowledge, check) {
        return Err(format!(
            "{}: {why}; a stage is told with `witnessmark tell JOB stage-reached '{{\"stage\": \"...\"}}'`, and what was \
             done all the same is written down with `witnessmark note`",
            check.name
        ));
    }
    if workup::opened::closed_again(state) || check.stage == workup::opened::AFTER_REPAIR {
        return Ok(());
    }
    match before.and_then(|case| case.advice.withheld.iter().find(|w| w.check == check.id)) {
        Some(w) => Err(format!(
            "{} is withheld: {}; if it was done all the same, write it down with `witnessmark note`",
            check.name, w.why
        )),
        None => Ok(()),
    }
}

/// Reads the value as the reading wants it.
pub(crate) fn read_value(
    check: &Check,
    reading: &Reading,
    text: &str,
) -> Result<(Option<String>, Option<Figure>), Trouble> {
    match &reading.kind {
        ReadingKind::Graded { outcomes, .. } | ReadingKind::Nominal { outcomes, .. } => {
            let word = text.trim().to_lowercase().replace(' ', "-");
            match outcomes.iter().find(|o| **o == word) {
                Some(outcome) => Ok((Some(outcome.clone()), None)),
                None => Err(Trouble::new(
                    Exit::Refused,
                    "enter the reading",
                    format!("{} cannot come out as `{text}`; it is one of {}", check.name, outcomes.join(", ")),
                )),
            }
        }
        ReadingKind::Numeric(numeric) => {
            let doing = format!("read the value `{text}`");
            let unit = Unit::from_symbol(&numeric.unit).map_err(|e| Trouble::new(Exit::Problem, &doing, e))?;
            let typed = match parse_quantity(text, Some(unit)) {
                Ok(Reply::Value(typed)) => typed,
                Ok(Reply::Question(question)) => {
                    return Err(Trouble::new(
                        Exit::Usage,
                        doing,
                        format!("{question}; type it so that one reading is left"),
                    ));
                }
                Err(error) => {
                    return Err(Trouble::new(
                        Exit::Usage,
                        doing,
                        format!("{error} (this reading is in {})", numeric.unit),
                    ));
                }
            };
            let value = typed.value_in(unit).map_err(|e| Trouble::new(Exit::Usage, &doing, e))?;
            if let Some(min) = numeric.min
                && value < min
            {
                return Err(Trouble::new(
                    Exit::Refused,
                    "enter the reading",
                    format!(
                        "{text} is below {min} {}, which this reading cannot be; look at the sign and the unit",
                        numeric.unit
                    ),
                ));
            }
            Ok((None, Some(kept(text, &typed))))
        }
    }
}

/// Keeps an entry in a job that was taken up, and says what it did to the finding and the advice.
pub(crate) async fn keep(
    desk: &Desk,
    knowledge: &Knowledge,
    taken: TakenUp,
    before: Option<Case>,
    unsealed: Unsealed,
    about: anatomy::EntryId,
    said: &str,
) -> Done {
    desk.keep(&taken.store, &[unsealed]).await?;
    let job = desk.load(&taken.store, taken.id).await?;
    taken.store.close().await;
    after_keeping(desk, knowledge, before.as_ref(), &job, about, said)
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
    let says = |notice: &&workup::Notice| notice.about.contains(&entry.to_string());
    for notice in case.notices.iter().filter(says) {
        t.line(&format!("  note: {}; {}", notice.message, notice.what_to_do), 4)?;
    }
    let Some(before) = before else { return Ok(Exit::Fine) };
    let option =
        |c: &Case| format!("{}, {} on average", sheet.option_name(&c.advice.best), sheet.money(c.advice.expected));
    let next = |c: &Case| match (c.advice.next.first(), &c.advice.stop) {
        (Some(n), _) => format!("{}, {} (worth {})", n.name, n.place, sheet.money(n.net)),
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
