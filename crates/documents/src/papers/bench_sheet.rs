//! The bench sheet: the blank twin of the screens for a bench without one. The checks stand in the sequence in which they are
//! advised, the places of each in the sequence in which the page asks for them, so that the sheet is keyed in from top to
//! bottom.

use knowledge::{Check, Reading, ReadingKind};
use workup::Finding;

use super::PaperError;
use super::sheet::{Cell, Sheet};
use super::words::{Desk, capital, own, plain};

/// The most checks on one sheet \[ours\]: more than a day's worth is printed anew when it is known what pays.
const MOST: usize = 8;

/// Writes the bench sheet.
pub(crate) fn write(sheet: &mut Sheet, desk: &Desk<'_>) -> Result<(), PaperError> {
    let mut checks: Vec<&Check> = Vec::new();
    for next in &desk.case.advice.next {
        let Some(check) = desk.knowledge.check(&next.check).map(|c| &c.value) else { continue };
        if !checks.iter().any(|c| c.id == check.id) && checks.len() < MOST {
            checks.push(check);
        }
    }
    if checks.is_empty() {
        return Err(PaperError::NothingToRead { job: desk.case.job.clone() });
    }
    sheet.text(format!(
        "{}. {}. Write down what the gauge shows, digit by digit, with its unit; two readings of one place both stay. Key it in \
         from top to bottom: the page asks in this sequence.",
        desk.engine_identity(),
        capital(&desk.case.front)
    ));
    sheet.fields(vec![("Read by, day".to_owned(), None), ("Gauges, by their marks".to_owned(), None)]);
    desk.heads(sheet, &[]);
    for (n, check) in (1..).zip(checks) {
        one(sheet, desk, n, check);
    }
    sheet.fields(vec![("Seen besides".to_owned(), None), ("".to_owned(), None)]);
    Ok(())
}

fn one(sheet: &mut Sheet, desk: &Desk<'_>, n: usize, check: &Check) {
    sheet.heading(format!("{n}. {}", check.name));
    desk.cautions(sheet, &check.cautions);
    let fits = |r: &&Reading| r.applies.iter().all(|a| desk.told(&a.attribute).is_none_or(|v| v == a.value));
    let readings: Vec<&Reading> = check.readings.iter().filter(fits).collect();
    let places: Vec<anatomy::Position> = check.scope.iter().flat_map(|s| desk.layout.positions(*s)).collect();
    for reading in &readings {
        if readings.len() > 1 {
            sheet.subheading(capital(&plain(&reading.id)));
        }
        match &reading.kind {
            ReadingKind::Numeric(numeric) => {
                let limit = own_limit(desk, reading);
                let unit = if numeric.unit.is_empty() { String::new() } else { format!(", {}", numeric.unit) };
                sheet.text(format!("Figure{unit}. {limit}"));
            }
            ReadingKind::Graded { outcomes, .. } | ReadingKind::Nominal { outcomes, .. } => {
                let words: Vec<String> = outcomes.iter().map(|o| plain(o)).collect();
                sheet.text(format!("One of: {}.", words.join(" / ")));
            }
        }
        let rows: Vec<Vec<Cell>> = places
            .iter()
            .map(|at| {
                let before = taken(desk, check, reading, at);
                let place = capital(&desk.place(at, &check.name));
                vec![Cell::strong(place), Cell::of(before.unwrap_or_default()), Cell::line(), Cell::line()]
            })
            .collect();
        sheet.table(
            &[("Where", Some(1.5)), ("In the record", Some(1.2)), ("Reading", Some(1.5)), ("Note", Some(1.8))],
            rows,
        );
    }
}

/// What stands in the record already.
fn taken(desk: &Desk<'_>, check: &Check, reading: &Reading, at: &anatomy::Position) -> Option<String> {
    let same = |f: &&Finding| f.check == check.id && f.reading == reading.id && f.position == *at && !f.after_repair;
    desk.case.findings.iter().rfind(same).map(|f| f.shown.clone())
}

/// The engine's own figure for a reading, or a line for it; a usual figure of ours is no target.
fn own_limit(desk: &Desk<'_>, reading: &Reading) -> String {
    let items: Vec<String> = reading.limits.iter().map(|l| l.limit.clone()).collect();
    let own_figures = desk.own_figures(&items, None);
    if own_figures.is_empty() {
        "The engine's own limit, with its page: ______________________".to_owned()
    } else {
        format!("The engine's own: {}.", own_figures.iter().map(|f| own(f)).collect::<Vec<_>>().join("; "))
    }
}
