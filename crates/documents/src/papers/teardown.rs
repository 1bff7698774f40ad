//! The teardown estimate: what opening costs before anybody knows what it shows, what putting it back costs, what opening
//! destroys, and the customer's answer.

use workup::estimate::Range;
use workup::teardown::{self, Line, Teardown};

use super::PaperError;
use super::sheet::{Cell, Sheet};
use super::words::{Desk, capital, lower, plain};

/// Writes the teardown estimate.
pub(crate) fn write(sheet: &mut Sheet, desk: &Desk<'_>) -> Result<(), PaperError> {
    let stage = teardown::next_stage(desk.case, desk.state, desk.knowledge);
    let teardown = stage.and_then(|stage| teardown::of(desk.state, desk.layout, desk.knowledge, stage));
    let Some(teardown) = teardown else {
        return Err(PaperError::NothingToOpen { job: desk.case.job.clone() });
    };
    let to = teardown.stages.last().map(|s| plain(&s.id)).unwrap_or_default();
    let words = "What is wrong can be said better once the engine is open. This is the price of opening it and of putting it \
                 back; what it then needs is estimated anew, and nothing of that is begun before you say yes to it.";
    sheet.statement(format!("Opening the engine as far as: {to}"), words);
    sheet.fields(vec![
        ("If you stop there".to_owned(), Some(owed(teardown.stop_here))),
        ("If it is put back as it was".to_owned(), Some(owed(teardown.put_back))),
    ]);
    if teardown.one_way {
        sheet.strong(
            "Opened so far, the engine may not go back to the state it came in: what sealed it is destroyed, and a worn part \
             that is disturbed may no longer hold.",
        );
    }
    lines(sheet, desk, &teardown);
    destroyed(sheet, desk, &teardown);
    so_far(sheet, desk);
    answer(sheet, desk);
    Ok(())
}

fn range(range: &Range) -> String {
    if range.lo == range.hi { range.lo.to_string() } else { format!("{} to {}", range.lo, range.hi) }
}

fn owed(sum: Option<Range>) -> String {
    sum.as_ref().map_or_else(|| "open: the hourly rate is not told".to_owned(), range)
}

fn lines(sheet: &mut Sheet, desk: &Desk<'_>, teardown: &Teardown<'_>) {
    sheet.heading("What is done");
    let unit = if desk.state.rates.labour_rate.is_some() { "at the shop's rate" } else { "in hours; no rate is told" };
    let row = |line: &Line| {
        let short = |x: f64| quantity::print::printed(x, 3);
        let hours = if line.units.hi - line.units.lo < 1e-9 {
            format!("{} h", short(line.units.lo))
        } else {
            format!("{} to {} h, parts as well", short(line.units.lo), short(line.units.hi))
        };
        let price = line.price.as_ref().map_or_else(|| "price open".to_owned(), range);
        vec![Cell::of(line.what.clone()), Cell::of(hours), Cell::strong(price)]
    };
    let mut rows: Vec<Vec<Cell>> = teardown.opening.iter().map(row).collect();
    rows.extend(teardown.closing.iter().map(row));
    sheet.table(&[("What", Some(2.6)), ("How", Some(1.6)), ("Price", Some(1.4))], rows);
    let tax = workup::customer_page::tax(desk.state)
        .unwrap_or_else(|| "Whether tax is in them is not told: the shop writes it down.".to_owned());
    sheet.small(format!(
        "Prices are {unit}, from low to high where nobody can know yet. {tax} Local law on estimates goes before anything \
         printed here."
    ));
    if let Some(shop) = &desk.knowledge.shop {
        shop.words.estimate.iter().for_each(|words| sheet.small(words.clone()));
    }
}

fn destroyed(sheet: &mut Sheet, desk: &Desk<'_>, teardown: &Teardown<'_>) {
    if teardown.destroyed.is_empty() {
        return;
    }
    sheet.heading("Destroyed by opening, new when it is put back");
    let mut rows: Vec<Vec<Cell>> = Vec::new();
    for one in &teardown.destroyed {
        let settle = desk.to_be_settled(&one.part.applies);
        let count = desk.quantity(one.part);
        rows.push(vec![
            Cell::of(capital(&lower(one.joint))),
            Cell { note: settle, ..Cell::strong(one.part.name.clone()) },
            Cell::of(count),
        ]);
    }
    sheet.table(&[("Joint", Some(1.4)), ("Part", Some(2.2)), ("How many", Some(1.0))], rows);
}

/// What was said yes to so far.
fn so_far(sheet: &mut Sheet, desk: &Desk<'_>) {
    let all = workup::committed::committed(desk.state);
    let Some(agreed) = all.iter().find(|c| c.covers == logbook::Covers::Teardown) else { return };
    let Some(ceiling) = &agreed.ceiling else { return };
    let used = agreed.used.as_ref().map(|used| format!("; {used} of it is used")).unwrap_or_default();
    sheet.text(format!("Agreed for opening so far: up to {ceiling}{used}."));
}

fn answer(sheet: &mut Sheet, desk: &Desk<'_>) {
    sheet.heading("Your answer");
    sheet.text(
        "You may stop after opening and pay only that. Say which sum must not be passed before you are asked again, and by when \
         you decide what follows; until then the engine lies open, and bare metal rusts.",
    );
    let asked = desk.state.approvals_asked.iter().rfind(|a| a.covers == logbook::Covers::Teardown);
    sheet.fields(vec![
        ("Highest sum before I am asked again".to_owned(), asked.map(|a| format!("asked for: {}", a.ceiling))),
        ("I decide by, day".to_owned(), None),
        ("Open it / leave it closed".to_owned(), None),
        ("Old parts: keep for me / dispose of".to_owned(), None),
        ("For the customer, name and day".to_owned(), None),
    ]);
}
