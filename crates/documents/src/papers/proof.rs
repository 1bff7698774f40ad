//! The proof: as left beside as found, what is missing, and whether the repair is proved.

use std::collections::{BTreeMap, BTreeSet};

use workup::proof::Standing;
use workup::{Finding, comeback};

use super::sheet::{Cell, Sheet};
use super::words::{Desk, capital, day, described, figure, plain};
use crate::pictures::reading::shown_unit;
use crate::pictures::{ThenNow, then_and_now};

/// The columns of single readings.
const COLUMNS: [(&str, Option<f64>); 5] =
    [("Reading", Some(3.0)), ("Where", Some(1.4)), ("Found", Some(1.3)), ("Judged", Some(1.5)), ("Day", Some(1.1))];

/// Writes the proof.
pub(crate) fn write(sheet: &mut Sheet, desk: &Desk<'_>) {
    let proof = &desk.case.proof;
    sheet.statement(proof.standing.words(), proof.reason.clone());
    let missing: Vec<String> =
        proof.open().map(|a| format!("{}{}", short(&a.name), desk.also_at(Some(a.position)))).collect();
    if !missing.is_empty() {
        sheet.heading("Missing proof");
        sheet.list(missing);
    }
    let later: Vec<String> = proof
        .due_later()
        .filter_map(|a| Some(format!("{}{}: {}", short(&a.name), desk.also_at(Some(a.position)), a.due.as_ref()?)))
        .collect();
    if !later.is_empty() {
        sheet.heading("Due later");
        sheet.list(later);
    }
    single(sheet, desk, "Not inside after the work", &proof.not_inside);
    if !proof.unanswered.is_empty() {
        sheet.heading("Hold points open");
        sheet.list(proof.unanswered.clone());
    }
    if !proof.passed_open.is_empty() {
        sheet.heading("Hold points passed without proof");
        let words = |h: &workup::proof::PassedOpen| format!("{}: {}, {}", capital(&h.hold), h.by, h.reason);
        sheet.list(proof.passed_open.iter().map(words).collect());
    }
    pairs(sheet, desk);
    machined(sheet, desk);
    rechecks(sheet, desk);
    runs(sheet, desk);
    handing_over(sheet, proof.standing);
}

/// What was read; that it is a proof is what the whole paper says.
fn name(finding: &Finding) -> String {
    short(&finding.name())
}

/// The name of a proof without the word before it.
fn short(name: &str) -> String {
    capital(name.strip_prefix("Proof: ").unwrap_or(name))
}

/// A table of single readings, by entry.
fn single(sheet: &mut Sheet, desk: &Desk<'_>, heading: &str, entries: &[String]) {
    let rows: Vec<Vec<Cell>> = entries.iter().filter_map(|e| desk.finding(e)).map(|f| row(desk, f)).collect();
    if !rows.is_empty() {
        sheet.heading(heading);
        sheet.table(&COLUMNS, rows);
    }
}

fn row(desk: &Desk<'_>, f: &Finding) -> Vec<Cell> {
    vec![
        Cell::of(name(f)),
        Cell::of(capital(&desk.place_of(f))),
        Cell::strong(f.shown.clone()),
        Cell::of(desk.mark(f).words()),
        Cell::of(day(&f.at)),
    ]
}

/// What was read later beside what was left and what was found, and whose warranty held when it came back.
fn rechecks(sheet: &mut Sheet, desk: &Desk<'_>) {
    let rows: Vec<Vec<Cell>> = comeback::then_and_now(desk.state, desk.knowledge, &desk.case.findings)
        .iter()
        .map(|row| {
            let shown = |f: Option<&Finding>| Cell::of(f.map(|f| f.shown.clone()).unwrap_or_default());
            vec![
                Cell { note: day(&row.now.at), ..Cell::of(name(row.now)) },
                Cell::of(capital(&desk.place_of(row.now))),
                shown(row.found),
                shown(row.left),
                Cell::strong(row.now.shown.clone()),
                Cell::of(desk.mark(row.now).words()),
            ]
        })
        .collect();
    if !rows.is_empty() {
        sheet.heading("At later rechecks");
        sheet.table(
            &[
                ("Reading, day", Some(2.3)),
                ("Where", Some(1.3)),
                ("As found", Some(1.1)),
                ("As left", Some(1.1)),
                ("Now", Some(1.1)),
                ("Judged", Some(1.1)),
            ],
            rows,
        );
    }
    let Some(back) = comeback::last(desk.state) else { return };
    sheet.heading("It came back");
    let holds = |w: &comeback::Warranty| {
        let word = if w.holds { "holds until" } else { "ended" };
        format!("{} months, {word} {}", w.months, w.until)
    };
    let mut fields = vec![("Came back".to_owned(), Some(format!("{}: \u{201c}{}\u{201d}", back.day, back.words)))];
    if let Some(days) = back.days {
        let ran = back.ran.as_ref().map(|ran| format!(", {ran}")).unwrap_or_default();
        fields.push(("Since it was handed back".to_owned(), Some(format!("{days} days{ran}"))));
    }
    fields.extend(back.shop.as_ref().map(|shop| ("Our warranty".to_owned(), Some(holds(shop)))));
    for part in &back.parts {
        let batch = part.batch.as_ref().map(|b| format!(", batch {b}")).unwrap_or_default();
        fields.push((
            format!("{}, {}", desk.part_name(&part.part), part.supplier),
            Some(format!("{} from the day it came{batch}", holds(&part.warranty))),
        ));
    }
    if !back.not_done.is_empty() {
        fields.push(("Handed back as not done".to_owned(), Some(back.not_done.join("; "))));
    }
    for decided in &desk.state.comeback_decisions {
        fields.push((
            "Borne by".to_owned(),
            Some(format!("{}: {} ({})", plain(decided.bearer.word()), decided.because, day(&decided.made_at))),
        ));
    }
    sheet.fields(fields);
}

/// What machine shops say of their own work, beside what was found and what was read here after it.
fn machined(sheet: &mut Sheet, desk: &Desk<'_>) {
    let mut rows = Vec::new();
    for back in &desk.case.machine {
        for line in &back.lines {
            let own = line.own.as_ref().map_or_else(|| "not read here yet".to_owned(), |own| own.shown.clone());
            let judged = line.verdict.map(workup::machine::back::word_of).unwrap_or_default();
            rows.push(vec![
                Cell { note: format!("{}, order {}", back.shop, back.code), ..Cell::of(line.name.clone()) },
                Cell::of(capital(&desk.place(&line.position, &line.name))),
                Cell::of(line.as_found.clone().unwrap_or_default()),
                Cell {
                    note: judged.to_owned(),
                    ..Cell::of(line.as_left.clone().unwrap_or_else(|| plain(line.result.word())))
                },
                Cell::of(own),
            ]);
        }
    }
    if rows.is_empty() {
        return;
    }
    sheet.heading("As left, by the word of the machine shop");
    sheet.text("What a machine shop says of its own work is no proof; the proof is what was read here after it.");
    sheet.table(
        &[
            ("Work", Some(2.5)),
            ("Where", Some(1.2)),
            ("As found", Some(1.2)),
            ("As left", Some(1.3)),
            ("Read here", Some(1.4)),
        ],
        rows,
    );
}

/// As left beside as found.
fn pairs(sheet: &mut Sheet, desk: &Desk<'_>) {
    let proof = &desk.case.proof;
    let mut rows = Vec::new();
    // By reading and unit: the places that have a figure both times.
    let mut drawn: BTreeMap<(String, String), Vec<ThenNow>> = BTreeMap::new();
    for pair in &proof.pairs {
        let Some(f) = desk.finding(&pair.after) else { continue };
        let before = pair.before.as_ref().and_then(|e| desk.finding(e));
        if let (Some(now), Some(then)) = (f.value, before.and_then(|b| b.value)) {
            let (unit, convert) = shown_unit(f);
            let place = capital(&desk.place_of(f));
            let list = drawn.entry((f.check_name.clone(), unit)).or_default();
            // A place read again is drawn as it was last.
            list.retain(|p| p.place != place);
            list.push(ThenNow { place, then: convert(then), now: convert(now) });
        }
        let (shown, judged) = before.map_or_else(
            || ("not taken".to_owned(), String::new()),
            |b| (b.shown.clone(), desk.mark(b).words().to_owned()),
        );
        let spot = f.spot.as_ref().map(|s| format!(", {}", plain(s))).unwrap_or_default();
        rows.push(vec![
            Cell::of(name(f)),
            Cell::of(format!("{}{spot}", capital(&desk.place_of(f)))),
            Cell { note: judged, ..Cell::of(shown) },
            Cell { note: desk.mark(f).words().to_owned(), ..Cell::strong(f.shown.clone()) },
            Cell::of(day(&f.at)),
        ]);
    }
    sheet.heading("As left beside as found");
    if rows.is_empty() {
        sheet.text("Nothing has been read after the work.");
    }
    sheet.table(
        &[
            ("Reading", Some(2.7)),
            ("Where", Some(1.2)),
            ("As found", Some(1.3)),
            ("As left", Some(1.3)),
            ("Day", Some(1.1)),
        ],
        rows,
    );
    for ((name, unit), pairs) in drawn.iter().filter(|(_, pairs)| pairs.len() > 1) {
        let svg = then_and_now(&short(name), unit, pairs);
        let alt = described(&svg);
        sheet.subheading(format!("{}, then and now", short(name)));
        let picture = sheet.picture(svg, alt, 0.8);
        sheet.pictures(vec![picture]);
    }
    let mut said = BTreeSet::new();
    let lost: Vec<String> = proof
        .not_again
        .iter()
        .filter_map(|e| desk.finding(e))
        .map(|b| format!("{}{}: {}", b.name(), desk.also_at(Some(b.position)), b.shown))
        .filter(|words| said.insert(words.clone()))
        .collect();
    if !lost.is_empty() && !proof.pairs.is_empty() {
        sheet.subheading("Outside as found, and not read again after the work");
        sheet.list(lost);
        sheet.small("A part that was renewed has no reading of the old part to stand beside; the parts list names it.");
    }
}

fn runs(sheet: &mut Sheet, desk: &Desk<'_>) {
    let rows: Vec<Vec<Cell>> = desk
        .state
        .runs
        .iter()
        .map(|r| {
            let long = [r.time.as_ref().map(figure), r.distance.as_ref().map(figure)];
            vec![
                Cell::of(capital(&plain(r.run.word()))),
                Cell::of(long.into_iter().flatten().collect::<Vec<_>>().join(", ")),
                Cell::of(r.words.clone().unwrap_or_default()),
                Cell::of(format!("{}, {}", r.made_by, day(&r.made_at))),
            ]
        })
        .collect();
    sheet.heading("Runs of the engine");
    if rows.is_empty() {
        sheet.text("The engine has not run yet.");
    }
    sheet.table(&[("Run", Some(1.0)), ("How long", Some(1.0)), ("Noticed", Some(2.6)), ("By, day", Some(1.4))], rows);
}

fn handing_over(sheet: &mut Sheet, standing: Standing) {
    if standing == Standing::NotProved {
        sheet.text("Whoever signs now takes the engine over with what is listed above still open.");
    }
    sheet.fields(vec![("Technician, day".to_owned(), None), ("Owner, day".to_owned(), None)]);
}
