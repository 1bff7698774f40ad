//! `machine-work-returned`: what came back from a machine shop, by the code on its paper; and the code of a new order.

use anatomy::{EntryId, JobId};
use clap::Args;
use logbook::{EntryBody, Fact, Figure, Kind, MachineOrderSent, MachineResult};
use serde_json::{Map, Value, json};
use store::{Record, Store};
use workup::entering::{body_of, figure};
use workup::machine::{order_of, unknown_code};

use super::enter;
use crate::desk::{Desk, entry};
use crate::trouble::{Done, Exit, Trouble};

/// What a refused return could not do.
const DOING: &str = "take machine work back";

/// Takes machine work back by the code on its paper; without a line, shows what was ordered.
#[derive(Debug, Args)]
pub(crate) struct MachineBack {
    /// The short code on the machine order, spaced as you like.
    code: String,
    /// What became of a line: its number on the paper, then done, otherwise or not-done, then the figure as left with its unit,
    /// then a semicolon and a note (`1 done 0.09 mm`, `2 not-done; cracked at seat 3`). Once for each line.
    #[arg(long = "line", value_name = "LINE", allow_hyphen_values = true)]
    lines: Vec<String>,
    /// The standard uncertainty that the machine shop states for a line: its number, then the figure (`1 0.002 mm`).
    #[arg(long = "doubt", value_name = "DOUBT")]
    doubts: Vec<String>,
    /// Who did the work.
    #[arg(long)]
    done_by: Option<String>,
    /// Who writes it down [default: the person logged in].
    #[arg(long)]
    by: Option<String>,
}

fn refused(why: impl std::fmt::Display) -> Trouble {
    Trouble::new(Exit::Refused, DOING, why)
}

impl MachineBack {
    pub(crate) async fn run(self, desk: &Desk) -> Done {
        let knowledge = desk.knowledge()?;
        let job = self.job(desk).await?.to_string();
        let taken = desk.take_up(&job).await?;
        let order = order_of(&taken.job.state, &self.code).ok_or_else(|| refused("the order is gone; try again"))?;
        if self.lines.is_empty() && !order.lines.is_empty() {
            let t = &desk.talk;
            let at = |line: &logbook::MachineLine| {
                let name =
                    workup::work::operation(&knowledge, &line.operation).map_or(line.operation.as_str(), |o| &o.name);
                let layout = taken.job.state.layout.as_ref();
                format!("{name}, {}", layout.map_or_else(|| line.position.address(), |l| l.label(&line.position)))
            };
            if t.json() {
                t.answer(&json!({"job": job, "code": order.code, "shop": order.shop, "lines": order.lines}))?;
            } else {
                t.line(
                    &format!(
                        "order {} to {}, of {}",
                        order.code,
                        order.shop,
                        taken.job.state.title.as_deref().unwrap_or("")
                    ),
                    2,
                )?;
                for (n, line) in order.lines.iter().enumerate() {
                    t.line(&format!("  {}. {}", n + 1, at(line)), 5)?;
                }
            }
            return Err(Trouble::new(
                Exit::Usage,
                DOING,
                "nothing is said of its lines; say --line \"1 done 0.09 mm\" for each that came back",
            ));
        }
        let body = self.body(order)?;
        let body = body_of(Kind::MachineWorkReturned, &body, &taken.job.state, &knowledge)
            .map_err(|why| Trouble::not_taken(DOING, &job, &why))?;
        let before = desk.case(&taken.job.state, &knowledge).ok();
        let unsealed = entry(taken.id, self.by.as_deref(), &body)?;
        let about = unsealed.id;
        enter::keep(desk, &knowledge, taken, before, unsealed, about, "kept").await
    }

    /// The job whose order has the code; of two, the one opened last.
    async fn job(&self, desk: &Desk) -> Result<JobId, Trouble> {
        let store = desk.look().await?;
        let mut codes = Vec::new();
        let mut found = None;
        for kept in store.jobs().await? {
            let job = desk.load(&store, kept.job).await?;
            if order_of(&job.state, &self.code).is_some() {
                found = Some(kept.job);
            }
            codes.extend(job.state.machine_orders.iter().map(|o| o.code.clone()));
        }
        store.close().await;
        let codes: Vec<&str> = codes.iter().map(String::as_str).collect();
        found.ok_or_else(|| Trouble::new(Exit::NotFound, DOING, unknown_code(&self.code, &codes)))
    }

    fn body(&self, order: &Fact<MachineOrderSent>) -> Result<Value, Trouble> {
        let mut lines: Vec<(usize, Map<String, Value>)> = Vec::new();
        for text in &self.lines {
            let (n, line) = told(text, order)?;
            if lines.iter().any(|(there, _)| *there == n) {
                return Err(refused(format!("`{text}`: line {n} is told twice; tell it once")));
            }
            lines.push((n, line));
        }
        for text in &self.doubts {
            let (n, rest) = numbered(text, order)?;
            let (_, line) = lines.iter_mut().find(|(there, _)| *there == n).ok_or_else(|| {
                refused(format!("`{text}`: nothing is told of line {n}; say --line \"{n} done ...\" too"))
            })?;
            line.insert("u".to_owned(), value(&typed(rest, text)?));
        }
        lines.sort_by_key(|(n, _)| *n);
        let mut body = Map::from_iter([
            ("code".to_owned(), Value::from(order.code.clone())),
            ("order".to_owned(), Value::from(order.in_entry.to_string())),
            ("lines".to_owned(), lines.into_iter().map(|(_, line)| Value::Object(line)).collect()),
        ]);
        if let Some(by) = &self.done_by {
            body.insert("done_by".to_owned(), Value::from(by.clone()));
        }
        Ok(Value::Object(body))
    }
}

/// The number a text begins with, as that of a line of the order, and what follows.
fn numbered<'t>(text: &'t str, order: &Fact<MachineOrderSent>) -> Result<(usize, &'t str), Trouble> {
    let (number, rest) = text.trim().split_once(char::is_whitespace).unwrap_or((text.trim(), ""));
    let n = number.trim_end_matches([':', '.']).parse::<usize>().ok().filter(|n| (1..=order.lines.len()).contains(n));
    let n = n.ok_or_else(|| {
        let count = order.lines.len();
        refused(format!("`{text}` does not begin with the number of a line; order {} has {count}", order.code))
    })?;
    Ok((n, rest.trim()))
}

/// What became of one line.
fn told(text: &str, order: &Fact<MachineOrderSent>) -> Result<(usize, Map<String, Value>), Trouble> {
    let (n, rest) = numbered(text, order)?;
    let (said, note) = rest.split_once(';').unwrap_or((rest, ""));
    let (word, left) = said.trim().split_once(char::is_whitespace).unwrap_or((said.trim(), ""));
    let result = MachineResult::ALL.iter().find(|r| r.word() == word).ok_or_else(|| {
        let all: Vec<&str> = MachineResult::ALL.iter().map(|r| r.word()).collect();
        refused(format!("`{text}`: `{word}` is none of {}; type it as `{n} done 0.09 mm`", all.join(", ")))
    })?;
    let asked = order.lines.get(n - 1).ok_or_else(|| refused(format!("order {} has no line {n}", order.code)))?;
    let mut line = Map::from_iter([
        ("operation".to_owned(), Value::from(asked.operation.clone())),
        ("position".to_owned(), Value::from(asked.position.address())),
        ("result".to_owned(), Value::from(result.word())),
    ]);
    if !left.trim().is_empty() {
        line.insert("as_left".to_owned(), value(&typed(left.trim(), text)?));
    }
    if !note.trim().is_empty() {
        line.insert("note".to_owned(), Value::from(note.trim()));
    }
    Ok((n, line))
}

fn typed(figure_text: &str, whole: &str) -> Result<Figure, Trouble> {
    figure("as_left", figure_text, None).map_err(|why| refused(format!("`{whole}`: {why}")))
}

fn value(figure: &Figure) -> Value {
    json!({"text": figure.text, "unit": figure.unit})
}

/// A body told as JSON, with the code that a new machine order gets where it has none; the id is that of the entry it becomes.
pub(crate) async fn with_code(desk: &Desk, store: &Record, id: EntryId, mut body: Value) -> Result<Value, Trouble> {
    let Some(typed) = body.get("code").map_or(Some(""), Value::as_str) else { return Ok(body) };
    let mut taken = Vec::new();
    for kept in store.jobs().await? {
        let job = desk.load(store, kept.job).await?;
        taken.extend(workup::machine::taken(&job.state, id));
    }
    let code = workup::machine::code_for(id, typed, &taken)
        .map_err(|why| Trouble::new(Exit::Refused, "tell machine-order-sent", why))?;
    if let Value::Object(map) = &mut body {
        map.insert("code".to_owned(), Value::from(code));
    }
    Ok(body)
}

/// The code of an order just kept, to be written on its paper.
pub(crate) fn code_of(body: &EntryBody) -> Option<&str> {
    if let EntryBody::MachineOrderSent(order) = body { Some(&order.code) } else { None }
}
