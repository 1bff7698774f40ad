//! The hand-back paper: what was done and what was not, running in, when to come back, and who stands for what.

use jiff::civil::Date;
use jiff::{Span, Timestamp};
use logbook::{HandedBack, Recheck};

use super::sheet::{Cell, Sheet};
use super::words::{Desk, capital, day, figure, promised};

/// Writes the hand-back paper; before the engine went back, with lines to write on.
pub(crate) fn write(sheet: &mut Sheet, desk: &Desk<'_>) {
    // It goes into the glove box as one leaf, where that is possible.
    sheet.least_scale = Some(0.84);
    let handed = desk.state.handed_back.as_ref();
    let proof = &desk.case.proof;
    sheet.statement(proof.standing.words(), proof.reason.clone());
    let back: Option<&HandedBack> = handed.map(|h| &h.body);
    let on = handed.map(|h| day(&h.made_at));
    sheet.fields(vec![
        ("Vehicle".to_owned(), Some(desk.vehicle()).filter(|v| !v.is_empty())),
        ("Engine".to_owned(), Some(desk.engine_identity())),
        ("Handed back, day".to_owned(), on),
        ("Odometer at hand-back".to_owned(), back.and_then(|b| b.odometer.as_ref()).map(figure)),
    ]);
    let lists = [
        ("Done", back.map(|b| b.done.clone()).unwrap_or_default()),
        ("Not done", back.map(|b| b.not_done.clone()).unwrap_or_default()),
        ("Watch for", back.map(|b| b.watch_for.clone()).unwrap_or_default()),
    ];
    for (name, items) in lists {
        if !items.is_empty() {
            sheet.heading(name);
            sheet.list(items.iter().map(|item| capital(item)).collect());
        }
    }
    running_in(sheet, desk);
    come_back(sheet, desk, back);
    warranty(sheet, desk, handed.map(|h| (&h.body, h.made_at)));
    old_parts(sheet, desk);
    if let Some(shop) = &desk.knowledge.shop {
        shop.words.hand_back.iter().for_each(|words| sheet.small(words.clone()));
    }
    sheet.fields(vec![("For the shop, day".to_owned(), None), ("Owner, day".to_owned(), None)]);
}

/// How the first kilometres are driven, where the engine was built up.
fn running_in(sheet: &mut Sheet, desk: &Desk<'_>) {
    if desk.case.reach.stages.is_empty() {
        return;
    }
    let rules: Vec<String> =
        desk.knowledge.rules.iter().filter(|r| r.about == "running-in").map(|r| r.words.clone()).collect();
    if rules.is_empty() {
        return;
    }
    sheet.heading("Running in");
    sheet.list(rules);
    sheet.small("Where the engine's own manual says otherwise, the manual holds.");
}

fn come_back(sheet: &mut Sheet, desk: &Desk<'_>, back: Option<&HandedBack>) {
    sheet.heading("Come back");
    let checks: Vec<&Recheck> = back.into_iter().flat_map(|b| b.first_check.iter().chain(&b.further_checks)).collect();
    let mut rows: Vec<Vec<Cell>> = checks
        .iter()
        .map(|check| {
            vec![
                Cell::strong(capital(&check.what)),
                check.by_date.map_or_else(Cell::line, |d| Cell::of(d.to_string())),
                check.by_distance.as_ref().map_or_else(Cell::line, |d| Cell::of(figure(d))),
                Cell::line(),
            ]
        })
        .collect();
    // Proofs that could not be taken yet are a reason to come back too.
    for later in desk.case.proof.due_later() {
        let name = later.name.strip_prefix("Proof: ").unwrap_or(&later.name);
        let due = later.due.clone().unwrap_or_default();
        rows.push(vec![Cell::strong(capital(name)), Cell::line(), Cell::of(due), Cell::line()]);
    }
    if rows.is_empty() {
        rows.push(vec![Cell::line(), Cell::line(), Cell::line(), Cell::line()]);
    }
    sheet.table(
        &[("For what", Some(2.2)), ("By day", Some(1.0)), ("Or by", Some(1.0)), ("Done, by whom", Some(1.4))],
        rows,
    );
}

/// The last day of some months from a moment, as the calendar counts them.
fn until(at: Timestamp, months: u32) -> Option<Date> {
    let from: Date = day(&at).parse().ok()?;
    from.checked_add(Span::new().try_months(i64::from(months)).ok()?).ok()
}

fn warranty(sheet: &mut Sheet, desk: &Desk<'_>, handed: Option<(&HandedBack, Timestamp)>) {
    sheet.heading("Who stands for what");
    let back = handed.map(|(back, _)| back);
    let option = desk.option().map(|o| o.warranty.clone()).filter(|w| !w.is_empty());
    let words = back.and_then(|b| b.warranty.clone()).or(option);
    let months = handed.and_then(|(back, at)| {
        let months = back.warranty_months?;
        let last = until(at, months).map(|d| format!(", until {d}")).unwrap_or_default();
        Some(if months == 1 { format!("1 month{last}") } else { format!("{months} months{last}") })
    });
    sheet.fields(vec![("The shop stands for".to_owned(), words), ("For how long".to_owned(), months)]);
    let chosen: Vec<_> = desk.state.chosen.iter().flat_map(|c| c.quotes.clone()).collect();
    let ordered: Vec<_> = desk.state.orders.iter().filter_map(|o| o.quote).collect();
    let machined: Vec<_> = desk.state.machine_orders.iter().filter_map(|o| o.quote).collect();
    let rows: Vec<Vec<Cell>> = desk
        .state
        .quotes
        .iter()
        .filter(|q| [&chosen, &ordered, &machined].iter().any(|list| list.contains(&q.in_entry)))
        .map(|q| {
            let words = promised(q).unwrap_or_else(|| "no warranty told".to_owned());
            let what = q.need.as_deref().map_or_else(
                || q.option.as_deref().map_or_else(String::new, |o| desk.option_name(o)),
                |need| desk.operation(need).map_or_else(|| desk.part_name(need), |o| o.name.clone()),
            );
            vec![Cell::of(capital(&what)), Cell::of(q.supplier.clone()), Cell::of(words)]
        })
        .collect();
    sheet.table(&[("Bought in", Some(2.0)), ("From", Some(1.6)), ("They stand for it", Some(2.4))], rows);
    sheet.small("What the law gives a customer where you live stands beside this and is not made less by it.");
}

/// Old parts whose deposit is still out.
fn old_parts(sheet: &mut Sheet, desk: &Desk<'_>) {
    let items: Vec<String> = workup::cores::of(desk.state)
        .into_iter()
        .map(|core| {
            let name = desk.part_name(&core.order.part);
            let back = if core.back.is_some() { "went back" } else { "goes back" };
            let deposit = core.order.core_deposit.map(|d| format!(", deposit {d}")).unwrap_or_default();
            let owed = if core.back.is_some() { "; nothing to pay for it by you" } else { "" };
            format!("The old part for {name} {back} to {}{deposit}{owed}", core.order.supplier)
        })
        .collect();
    if !items.is_empty() {
        sheet.heading("Old parts");
        sheet.list(items);
    }
}
