//! The parts list: what opening each joint calls for, what is ordered, what is here, and what sets the date.

use std::collections::BTreeSet;

use knowledge::workshop::{Part, Reuse};
use logbook::{Fact, PartArrived, PartOrdered};
use workup::awaited::{self, Awaited, Basis, Coming, JobDate};

use super::sheet::{Cell, Sheet};
use super::words::{Desk, capital, day, described, plain};
use crate::pictures::{PartLine, parts_line};

/// Writes the parts list.
pub(crate) fn write(sheet: &mut Sheet, desk: &Desk<'_>) {
    orders(sheet, desk);
    // Before what it is said of; at the end it would stand on a sheet by itself.
    rules(sheet, desk);
    joints(sheet, desk);
}

/// What has come of an order; nothing while none of it has.
fn here(desk: &Desk<'_>, order: &Fact<PartOrdered>) -> Option<String> {
    let same = |a: &&Fact<PartArrived>| {
        a.order == Some(order.in_entry) || (a.order.is_none() && a.part == order.part && a.in_entry > order.in_entry)
    };
    let first = desk.state.arrivals.iter().find(same)?;
    let batch = first.batch.as_ref().map(|b| format!(", batch {b}")).unwrap_or_default();
    let came = day(&first.made_at);
    Some(match awaited::missing(desk.state, order) {
        Some(missing) => format!("{missing} still missing{batch}"),
        None => format!("here {came}{batch}"),
    })
}

/// A day, or nothing.
fn date(day: Option<impl std::fmt::Display>) -> String {
    day.map_or_else(String::new, |d| d.to_string())
}

/// The name of something on the way.
fn name_of(desk: &Desk<'_>, what: &Awaited<'_>) -> String {
    match what.what {
        Coming::Part(part) => desk.part_name(&part.part),
        Coming::Work(order) => format!("Machine work {}", order.code),
    }
}

/// What sets the date, parts and machine work alike, and what that means for the day promised to the customer.
fn sets_the_date(sheet: &mut Sheet, desk: &Desk<'_>, date: &JobDate<'_>) {
    if let Some((setter, last)) = date.sets() {
        let (name, basis) = (name_of(desk, setter), setter.day.map_or("", |(_, basis)| basis.words()));
        let words: Vec<String> = date.words(None).iter().map(|w| capital(w)).collect();
        sheet.statement(format!("{name}, {basis} {last}, sets the date"), format!("{}.", words.join(". ")));
        return;
    }
    let all = desk.state.orders.iter().filter_map(|o| o.promised.map(|d| (d, o.part.as_str()))).max();
    if let Some((last, part)) = all.filter(|_| date.coming.is_empty()) {
        let words = format!("{}, promised {last}, set the date; all parts are here", desk.part_name(part));
        sheet.statement(words, "The part that was promised last.");
    }
}

fn orders(sheet: &mut Sheet, desk: &Desk<'_>) {
    sheet.heading("Ordered and arrived");
    let orders = &desk.state.orders;
    if orders.is_empty() && desk.state.machine_orders.is_empty() {
        sheet.text("Nothing is ordered yet.");
        return;
    }
    let due = JobDate::of(desk.state);
    sets_the_date(sheet, desk, &due);
    let parts = orders.iter().map(|o| PartLine {
        name: desk.part_name(&o.part),
        ordered: day(&o.made_at),
        promised: o.promised.map(|d| d.to_string()),
        need_by: o.need_by.map(|d| d.to_string()),
        arrived: desk.state.arrivals.iter().find(|a| a.order == Some(o.in_entry)).map(|a| day(&a.made_at)),
        sets_the_date: due.is_set_by(o.in_entry),
    });
    let machined = desk.state.machine_orders.iter().map(|o| {
        let back = desk.state.machine_returns.iter().rev().find(|r| workup::machine::answers(r, o));
        let told = due.coming.iter().find(|c| c.entry() == o.in_entry).and_then(|c| c.day);
        PartLine {
            name: format!("Machine work {}, {}", o.code, o.shop),
            ordered: day(&o.made_at),
            promised: o.promised.or(told.filter(|(_, b)| *b == Basis::Quoted).map(|(d, _)| d)).map(|d| d.to_string()),
            need_by: o.need_by.map(|d| d.to_string()),
            arrived: back.filter(|_| awaited::is_back(desk.state, o)).map(|r| day(&r.made_at)),
            sets_the_date: due.is_set_by(o.in_entry),
        }
    });
    let lines: Vec<PartLine> = parts.chain(machined).collect();
    let svg = parts_line(&lines);
    let alt = described(&svg);
    let line = sheet.picture(svg, alt, 1.0);
    sheet.pictures(vec![line]);
    machine_work(sheet, desk);
    let rows: Vec<Vec<Cell>> = orders
        .iter()
        .map(|o| {
            let came = here(desk, o);
            let core = [
                o.core_deposit.as_ref().map(|d| format!("deposit {d}")),
                o.core_due.map(|d| format!("old part back by {d}")),
            ];
            let core = core.into_iter().flatten().collect::<Vec<_>>().join(", ");
            vec![
                Cell::strong(desk.part_name(&o.part)),
                Cell::of(o.quantity.to_string()),
                Cell::of(o.supplier.clone()),
                Cell::of(date(o.promised)),
                Cell::of(date(o.need_by)),
                Cell { note: core, ..Cell::of(came.unwrap_or_else(|| "not here yet".to_owned())) },
            ]
        })
        .collect();
    sheet.table(
        &[
            ("Part", Some(1.9)),
            ("No.", None),
            ("Supplier", Some(1.6)),
            ("Promised", Some(1.2)),
            ("Needed by", Some(1.2)),
            ("Arrived, old part", Some(2.0)),
        ],
        rows,
    );
    looks(sheet, desk);
    let returned: Vec<String> = desk
        .state
        .returns
        .iter()
        .map(|r| {
            let note = r.note.as_ref().map(|n| format!(", {n}")).unwrap_or_default();
            let pays = r.pays.map(|b| format!(", paid by: {}", plain(b.word()))).unwrap_or_default();
            format!("{}, as {}{pays}{note}", desk.part_name(&r.part), plain(r.why.word()))
        })
        .collect();
    if !returned.is_empty() {
        sheet.subheading("Sent back");
        sheet.list(returned);
    }
}

/// The machine orders, and what has come back of each.
fn machine_work(sheet: &mut Sheet, desk: &Desk<'_>) {
    let rows: Vec<Vec<Cell>> = desk
        .state
        .machine_orders
        .iter()
        .map(|o| {
            let back: Vec<_> = desk.state.machine_returns.iter().filter(|r| workup::machine::answers(r, o)).collect();
            let came = match (awaited::is_back(desk.state, o), back.last()) {
                (true, Some(last)) => format!("back {}", day(&last.made_at)),
                (_, Some(_)) => "in part".to_owned(),
                (_, None) => "not back yet".to_owned(),
            };
            vec![
                Cell::strong(format!("Machine work {}", o.code)),
                Cell::of(o.shop.clone()),
                Cell::of(date(o.promised)),
                Cell::of(date(o.need_by)),
                Cell::of(came),
            ]
        })
        .collect();
    sheet.table(
        &[
            ("Machine work", Some(1.9)),
            ("Shop", Some(1.9)),
            ("Promised", Some(1.2)),
            ("Needed by", Some(1.2)),
            ("Back", Some(1.6)),
        ],
        rows,
    );
}

/// The looks taken at what arrived, and those it still wants.
fn looks(sheet: &mut Sheet, desk: &Desk<'_>) {
    let mut rows = Vec::new();
    for here in workup::arrivals::here(desk.state, desk.knowledge) {
        let looks: Vec<String> = here
            .looks
            .iter()
            .map(|look| {
                let note = look.note.as_ref().map(|n| format!(", {n}")).unwrap_or_default();
                format!("{}: {}{note}", capital(&look.what), plain(look.result.word()))
            })
            .collect();
        let open = here.back.is_none() && !here.untaken.is_empty();
        let untaken = if open { format!("still to be looked at: {}", here.untaken.join("; ")) } else { String::new() };
        if !looks.is_empty() || !untaken.is_empty() {
            let name = desk.part_name(&here.arrival.part);
            rows.push(vec![Cell::of(name), Cell { note: untaken, ..Cell::of(looks.join("; ")) }]);
        }
    }
    if !rows.is_empty() {
        sheet.subheading("Looked at when it came");
        sheet.table(&[("Part", Some(1.4)), ("Looked at, and how it was", Some(3.8))], rows);
    }
}

fn joints(sheet: &mut Sheet, desk: &Desk<'_>) {
    let opened = &desk.case.reach.joints;
    // A joint of which this engine has no part is none of it.
    let known: Vec<_> = desk
        .knowledge
        .joints
        .iter()
        .filter(|j| opened.contains(&j.id) && j.value.parts.iter().any(|p| desk.has_part(p)))
        .collect();
    sheet.heading("What opening each joint calls for");
    let mut stages: Vec<_> =
        desk.knowledge.stages.iter().filter(|s| desk.state.stages_reached.contains(&s.id)).collect();
    stages.sort_by_key(|s| s.order);
    let reached: Vec<String> = stages.iter().map(|s| plain(&s.id)).collect();
    if !reached.is_empty() {
        sheet.text(format!("Opened so far: {}.", reached.join(", ")));
    }
    if known.is_empty() {
        sheet.text("No joint is opened by the work that is chosen so far.");
        return;
    }
    let fitted: BTreeSet<&str> = desk.state.fitted.iter().map(|f| f.part.as_str()).collect();
    let ordered: BTreeSet<&str> = desk.state.orders.iter().map(|o| o.part.as_str()).collect();
    let complete = desk.state.orders.iter().filter(|o| awaited::missing(desk.state, o).is_none());
    let arrived: BTreeSet<&str> = complete.map(|o| o.part.as_str()).collect();
    let kit_with = |part: &Part| {
        let same = |held: &String| *held == part.id || held.trim().eq_ignore_ascii_case(&part.name);
        desk.state.orders.iter().find(|o| o.holds.iter().any(same))
    };
    sheet.small(
        "For each part: how many, whether it is used again and why, and whether it is ordered or fitted. Parts that are to be \
         settled stay until somebody has looked; the supplier's own list for the engine's number decides.",
    );
    for joint in known {
        let mut rows: Vec<Vec<Cell>> = Vec::new();
        for part in joint.value.parts.iter().filter(|p| desk.has_part(p)) {
            let reuse = match part.reuse {
                Reuse::Never => "once only: renew",
                Reuse::Inspect => "measure or look, then decide",
                Reuse::Free => "clean and use again",
            };
            let kit = kit_with(part);
            let one_of = |ids: &BTreeSet<&str>| {
                ids.contains(part.id.as_str()) || kit.is_some_and(|kit| ids.contains(kit.part.as_str()))
            };
            let have = match (one_of(&fitted), one_of(&arrived), one_of(&ordered)) {
                (true, _, _) => "fitted",
                (false, true, _) => "here",
                (false, false, true) => "ordered",
                (false, false, false) => "",
            };
            let number: u32 = desk.state.orders.iter().filter(|o| o.part == part.id).map(|o| o.quantity).sum();
            let have = if number > 1 && !have.is_empty() { format!("{have}, {number}") } else { have.to_owned() };
            let within = kit.filter(|kit| kit.part != part.id);
            let within = within.map(|kit| format!("in: {}", plain(&kit.part))).unwrap_or_default();
            rows.push(vec![
                Cell { note: desk.to_be_settled(&part.applies), ..Cell::of(part.name.clone()) },
                Cell::of(desk.quantity(part)),
                Cell { note: part.why.clone(), ..Cell::of(reuse) },
                Cell { tick: Some(!have.is_empty()), text: format!(" {have}"), note: within, ..Cell::default() },
            ]);
        }
        sheet.subheading(joint.name.clone());
        sheet.table(&[("", Some(1.9)), ("", Some(2.3)), ("", Some(2.2)), ("", Some(1.1))], rows);
    }
}

fn rules(sheet: &mut Sheet, desk: &Desk<'_>) {
    let items: Vec<String> =
        desk.knowledge.rules.iter().filter(|r| r.about == "parts").map(|r| r.words.clone()).collect();
    if !items.is_empty() {
        sheet.heading("When ordering");
        sheet.list(items);
    }
}
