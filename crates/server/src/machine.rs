//! Machine orders and their returns at this door: one row of questions for each line, the code that the program makes, and where
//! a typed code leads.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::sync::Arc;

use anatomy::EntryId;
use knowledge::Knowledge;
use knowledge::workshop::DoneBy;
use logbook::{Fact, JobState, Kind, MachineOrderSent, MachineResult};
use serde_json::Value;
use workup::entering::NotTaken;
use workup::machine::Taken;

use crate::desk::{Bench, Job};
use crate::forms::{Ask, Field, Typed, may, need, pick, places, rare};
use crate::trouble::{FieldTrouble, Trouble};

/// How many lines a form for a new order asks for \[ours\]; those after the first stand in the fold.
const LINES: usize = 6;

/// The questions of a machine order.
pub(crate) fn order_fields(state: &JobState, knowledge: &Knowledge, quotes: Vec<(String, String)>) -> Vec<Field> {
    let longest = state.machine_orders.iter().map(|o| o.lines.len()).max().unwrap_or(0);
    let sent = knowledge.operations.iter().filter(|o| o.done_by != DoneBy::Shop);
    let work: Vec<(String, String)> = sent.map(|o| (o.id.clone(), o.name.clone())).collect();
    let mut out = vec![
        need("shop", "To which machine shop", Ask::Line),
        may("code", "Short code on the order, left empty: one is made", Ask::Line),
        may("datum", "Face or axis all is measured from", Ask::Line),
        may("need_by", "Day needed", Ask::Day),
        may("promised", "Day the machine shop promised", Ask::Day),
        rare("quote", "By which quote", Ask::Pick(quotes)),
    ];
    for n in 0..LINES.max(longest) {
        let which = if n == 0 { String::new() } else { format!("Line {}: ", n + 1) };
        let ask = |name: &str, label: &str, ask: Ask| {
            let (name, label) = (format!("lines.{n}.{name}"), format!("{which}{label}"));
            if n == 0 { may(name, label, ask) } else { rare(name, label, ask) }
        };
        out.extend([
            ask("operation", "What to do", Ask::Pick(work.clone())),
            ask("position", "Where", places(state)),
            ask("as_found", "As found (with unit)", Ask::Figure("")),
            ask("want", "Wanted, or its lower edge", Ask::Figure("")),
            ask("want_high", "Upper edge", Ask::Figure("")),
            ask("leave_at_least", "What must be left", Ask::Figure("")),
            ask("note", "Note", Ask::Line),
        ]);
    }
    out
}

/// The questions of what came back, with as many rows as the longest order or return has lines.
pub(crate) fn return_fields(state: &JobState, knowledge: &Knowledge) -> Vec<Field> {
    let sent = state.machine_orders.iter().map(|o| o.lines.len());
    let back = state.machine_returns.iter().map(|r| r.lines.len());
    let rows = sent.chain(back).max().unwrap_or(0).max(1);
    let work: Vec<(String, String)> = knowledge.operations.iter().map(|o| (o.id.clone(), o.name.clone())).collect();
    let orders = state.machine_orders.iter().map(|o| (o.in_entry.to_string(), format!("{} at {}", o.code, o.shop)));
    let mut out = vec![
        need("code", "Short code on the order", Ask::Line),
        may("order", "The order", Ask::Pick(orders.collect())),
    ];
    for n in 0..rows {
        let line = n + 1;
        out.push(may(format!("lines.{n}.operation"), format!("Line {line}: what was asked"), Ask::Pick(work.clone())));
        out.push(may(format!("lines.{n}.position"), format!("Line {line}: where"), places(state)));
        out.extend(row(n, &format!("Line {line}")));
    }
    out.push(may("done_by", "Who did it", Ask::Line));
    out
}

/// The answers of one row; `which` line it is.
fn row(n: usize, which: &str) -> [Field; 4] {
    [
        may(
            format!("lines.{n}.result"),
            format!("{which}: what became of it"),
            pick(MachineResult::ALL, MachineResult::word),
        ),
        may(format!("lines.{n}.as_left"), format!("{which}: as left (with unit)"), Ask::Figure("")),
        may(format!("lines.{n}.note"), format!("{which}: note"), Ask::Line),
        rare(
            format!("lines.{n}.u"),
            format!("{which}: standard uncertainty that the machine shop states (with unit)"),
            Ask::Figure(""),
        ),
    ]
}

/// The questions of what came back of one order: what its lines are is known, and what became of each is asked.
pub(crate) fn return_of(order: &Fact<MachineOrderSent>, named: impl Fn(usize) -> String) -> Vec<Field> {
    let fixed = |name: Cow<'static, str>, value: String| Field {
        name,
        label: Cow::Borrowed(""),
        ask: Ask::Fixed(value),
        need: false,
        rare: false,
    };
    let mut out = vec![fixed("code".into(), order.code.clone()), fixed("order".into(), order.in_entry.to_string())];
    for (n, line) in order.lines.iter().enumerate() {
        out.push(fixed(format!("lines.{n}.operation").into(), line.operation.clone()));
        out.push(fixed(format!("lines.{n}.position").into(), line.position.address()));
        out.extend(row(n, &named(n)));
    }
    out.push(may("done_by", "Who did it", Ask::Line));
    out
}

/// The rows of a form that anything was typed into, by number: the parts of each that were.
fn rows(typed: &Typed) -> BTreeMap<usize, Vec<&str>> {
    let mut out: BTreeMap<usize, Vec<&str>> = BTreeMap::new();
    for (name, _) in typed.iter().filter(|(_, text)| !text.trim().is_empty()) {
        let mut parts = name.split('.');
        if let (Some("lines"), Some(n), Some(part)) = (parts.next(), parts.next(), parts.next())
            && let Ok(n) = n.parse()
        {
            out.entry(n).or_default().push(part);
        }
    }
    out
}

/// Whether a kind is written in rows.
const fn in_rows(kind: Kind) -> bool {
    matches!(kind, Kind::MachineOrderSent | Kind::MachineWorkReturned)
}

/// What is missing in a row; a row of a return of which only the order's own words stand there is not back yet.
pub(crate) fn missing(kind: Kind, state: &JobState, typed: &Typed) -> Vec<FieldTrouble> {
    if !in_rows(kind) {
        return Vec::new();
    }
    let back = kind == Kind::MachineWorkReturned;
    let needed: &[(&str, &str)] = if back {
        &[("result", "say whether it was done, done otherwise, or not done")]
    } else {
        &[("operation", "say what to do"), ("position", "say where on the engine")]
    };
    let rows = rows(typed);
    let mut out = Vec::new();
    for (n, parts) in rows.iter().filter(|(_, parts)| !back || is_told(parts)) {
        let open = needed.iter().filter(|(name, _)| !parts.contains(name));
        out.extend(
            open.map(|(name, say)| FieldTrouble::new(format!("lines.{n}.{name}"), format!("line {}: {say}", n + 1))),
        );
    }
    let told = rows.values().any(|parts| is_told(parts));
    let code = typed.get("code").map_or("", |c| c.trim());
    let asked = workup::machine::order_of(state, code).is_some_and(|o| !o.lines.is_empty());
    if back && asked && !told {
        out.push(FieldTrouble::new("lines.0.result", "say of one line at least what became of it"));
    }
    out
}

/// Whether a row of a return says more than what was asked.
fn is_told(parts: &[&str]) -> bool {
    parts.iter().any(|part| !matches!(*part, "operation" | "position"))
}

/// The numbers of the rows that become lines, in sequence.
pub(crate) fn kept_rows(kind: Kind, typed: &Typed) -> Vec<usize> {
    let back = kind == Kind::MachineWorkReturned;
    rows(typed).into_iter().filter(|(_, parts)| !back || is_told(parts)).map(|(n, _)| n).collect()
}

/// Takes the rows of a return out of which nobody filled anything.
pub(crate) fn without_blank(kind: Kind, root: &mut Value, typed: &Typed) {
    if kind != Kind::MachineWorkReturned {
        return;
    }
    let kept = kept_rows(kind, typed);
    if let Some(Value::Array(lines)) = root.get_mut("lines") {
        let mut n = 0;
        lines.retain(|_| {
            n += 1;
            kept.contains(&(n - 1))
        });
    }
}

/// The field of a form that a line of the body came from.
pub(crate) fn typed_field(kind: Kind, field: &str, typed: &Typed) -> Option<String> {
    let rest = field.strip_prefix("lines.").filter(|_| in_rows(kind))?;
    let (n, name) = rest.split_once('.')?;
    let place = *kept_rows(kind, typed).get(n.parse::<usize>().ok()?)?;
    Some(format!("lines.{place}.{name}"))
}

/// The code of a new order, as it is typed or made.
pub(crate) async fn code_for(bench: &Bench, entry: EntryId, typed: &str) -> Result<Result<String, NotTaken>, Trouble> {
    let jobs = bench.jobs().await?;
    let taken: Vec<Taken> = jobs.iter().flat_map(|j| workup::machine::taken(&j.state, entry)).collect();
    Ok(workup::machine::code_for(entry, typed, &taken))
}

/// Where a typed code leads: the page of its job and the code as it is printed, or what it may have meant.
pub(crate) async fn led_by(bench: &Bench, code: &str) -> Result<Result<String, NotTaken>, Trouble> {
    let jobs = bench.jobs().await?;
    let has = |job: &Arc<Job>| Some((job.id, workup::machine::order_of(&job.state, code)?.clone(), Arc::clone(job)));
    // Of two orders that a code was typed for, the one that is away is meant.
    let away = |(_, order, job): &(_, Fact<MachineOrderSent>, Arc<Job>)| !workup::awaited::is_back(&job.state, order);
    let all: Vec<_> = jobs.iter().filter_map(has).collect();
    if let Some((job, order, _)) = all.iter().find(|found| away(found)).or_else(|| all.first()) {
        let code = &order.code;
        return Ok(Ok(format!("/jobs/{job}/order?code={}#back", crate::door::escaped(code))));
    }
    let codes: Vec<&str> = jobs.iter().flat_map(|j| &j.state.machine_orders).map(|o| o.code.as_str()).collect();
    Ok(Err(workup::machine::unknown_code(code, &codes)))
}
