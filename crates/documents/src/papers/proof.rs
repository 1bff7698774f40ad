//! The proof: as left beside as found, what is missing, and whether the repair is proved.

use std::collections::{BTreeMap, BTreeSet};

use anatomy::Position;
use knowledge::Check;
use logbook::Phase;
use quantity::Verdict;
use workup::Finding;
use workup::opened::AFTER_REPAIR;

use super::sheet::{Cell, Sheet};
use super::words::{Desk, capital, day, described, figure, plain, what};
use crate::pictures::reading::shown_unit;
use crate::pictures::{ThenNow, then_and_now};

/// The columns of single readings.
const COLUMNS: [(&str, Option<f64>); 5] =
    [("Reading", Some(2.6)), ("Where", Some(1.6)), ("Found", Some(1.4)), ("Judged", Some(1.5)), ("Day", Some(1.1))];

/// A proof that is asked for: a check at a place.
struct Asked<'a> {
    check: &'a Check,
    position: Position,
}

/// Writes the proof.
pub(crate) fn write(sheet: &mut Sheet, desk: &Desk<'_>) {
    // A reading of a later recheck or a comeback neither proves nor disproves what left the shop.
    let later: BTreeSet<String> =
        desk.state.readings.iter().filter(|r| r.phase == Phase::Recheck).map(|r| r.entry.to_string()).collect();
    let all = desk.case.findings.iter().filter(|f| f.after_repair);
    let (rechecks, after): (Vec<&Finding>, Vec<&Finding>) = all.partition(|f| later.contains(&f.entry));
    let asked = asked(desk);
    let missing: Vec<&Asked<'_>> =
        asked.iter().filter(|a| !after.iter().any(|f| f.check == a.check.id && f.position == a.position)).collect();
    let bad: Vec<&Finding> = latest(&after).into_iter().filter(|f| f.verdict != Verdict::Inside).collect();
    let open = &desk.state.holds_open;
    if asked.is_empty() {
        sheet.statement("No proof is asked for", "No repair option is chosen, so no proof belongs to it yet.");
    } else if missing.is_empty() && bad.is_empty() && open.is_empty() {
        sheet.statement("Proved", "Every proof that this repair asks for was taken, and the last of each is inside.");
    } else {
        sheet.statement("Not proved", "What is missing or not inside is listed below.");
    }
    if !missing.is_empty() {
        sheet.heading("Missing proof");
        sheet.list(missing.iter().map(|a| format!("{}, {}", a.check.name, desk.place(&a.position))).collect());
    }
    if !bad.is_empty() {
        sheet.heading("Not inside after the work");
        let rows = bad.iter().map(|f| row(desk, f)).collect();
        sheet.table(&COLUMNS, rows);
    }
    if !open.is_empty() {
        sheet.heading("Hold points passed without proof");
        let words =
            |h: &logbook::Fact<logbook::HoldPointPassedOpen>| format!("{}: {}, {}", capital(&h.hold), h.by, h.reason);
        sheet.list(open.iter().map(words).collect());
    }
    pairs(sheet, desk, &after);
    if !rechecks.is_empty() {
        sheet.heading("At later rechecks");
        let rows = rechecks.iter().map(|f| row(desk, f)).collect();
        sheet.table(&COLUMNS, rows);
    }
    runs(sheet, desk);
    handing_over(sheet);
}

/// The proofs that the work of the option asks for, at every place of theirs.
fn asked<'a>(desk: &Desk<'a>) -> Vec<Asked<'a>> {
    let Some(chosen) = &desk.state.chosen else { return Vec::new() };
    let ids: BTreeSet<&str> =
        desk.operations(&chosen.option).iter().flat_map(|o| o.checks_after.iter().map(String::as_str)).collect();
    let mut out = Vec::new();
    for check in desk.knowledge.checks.iter().map(|c| &c.value) {
        let asked = ids.contains(check.id.as_str()) && check.stage == AFTER_REPAIR;
        if asked && workup::network::applies(&check.applies, &desk.attributes) {
            for scope in &check.scope {
                out.extend(desk.layout.positions(*scope).into_iter().map(|position| Asked { check, position }));
            }
        }
    }
    out
}

/// The last reading of each kind, place and spot.
fn latest<'a>(findings: &[&'a Finding]) -> Vec<&'a Finding> {
    let mut out: Vec<&Finding> = Vec::new();
    for f in findings {
        let same =
            |o: &Finding| (&o.check, &o.reading, o.position, &o.spot) == (&f.check, &f.reading, f.position, &f.spot);
        match out.iter_mut().find(|o| same(o)) {
            Some(there) => *there = f,
            None => out.push(f),
        }
    }
    out
}

fn row(desk: &Desk<'_>, f: &Finding) -> Vec<Cell> {
    vec![
        Cell::of(what(f)),
        Cell::of(desk.place(&f.position)),
        Cell::strong(f.shown.clone()),
        Cell::of(desk.mark(f).words()),
        Cell::of(day(&f.at)),
    ]
}

/// As left beside as found: the same place, and a check that looks at the same thing in the same unit.
fn pairs(sheet: &mut Sheet, desk: &Desk<'_>, after: &[&Finding]) {
    let before = desk.as_found();
    let group = |f: &Finding| desk.knowledge.check(&f.check).map(|c| c.group.clone());
    let mut rows = Vec::new();
    let mut used: BTreeSet<&str> = BTreeSet::new();
    // By reading and unit: the places that have a figure both times.
    let mut drawn: BTreeMap<(String, String), Vec<ThenNow>> = BTreeMap::new();
    for f in after {
        let found: Vec<&&Finding> = before
            .iter()
            .filter(|b| b.position == f.position && b.unit == f.unit && group(b) == group(f) && group(f).is_some())
            .collect();
        // A check taken again as it was beats one that merely looks at the same thing; of several spots the worst
        // stands.
        let same: Vec<&&Finding> =
            found.iter().copied().filter(|b| b.check == f.check && b.reading == f.reading).collect();
        let among = if same.is_empty() { &found } else { &same };
        let inside = |b: &&&&Finding| b.p_inside.unwrap_or(if b.verdict == Verdict::Inside { 1.0 } else { 0.0 });
        let pair = among.iter().min_by(|a, b| inside(a).total_cmp(&inside(b))).copied();
        used.extend(found.iter().map(|b| b.entry.as_str()));
        if let (Some(now), Some(then)) = (f.value, pair.and_then(|b| b.value)) {
            let (unit, convert) = shown_unit(f);
            let place = capital(&desk.place(&f.position));
            let list = drawn.entry((f.check_name.clone(), unit)).or_default();
            // A place read again is drawn as it was last.
            list.retain(|p| p.place != place);
            list.push(ThenNow { place, then: convert(then), now: convert(now) });
        }
        let (shown, judged) = pair.map_or_else(
            || ("not taken".to_owned(), String::new()),
            |b| (b.shown.clone(), desk.mark(b).words().to_owned()),
        );
        let spot = f.spot.as_ref().map(|s| format!(", {}", plain(s))).unwrap_or_default();
        rows.push(vec![
            Cell::of(what(f)),
            Cell::of(format!("{}{spot}", desk.place(&f.position))),
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
            ("Reading", Some(2.3)),
            ("Where", Some(1.2)),
            ("As found", Some(1.4)),
            ("As left", Some(1.4)),
            ("Day", Some(1.1)),
        ],
        rows,
    );
    for ((name, unit), pairs) in drawn.iter().filter(|(_, pairs)| pairs.len() > 1) {
        let svg = then_and_now(name, unit, pairs);
        let alt = described(&svg);
        sheet.subheading(format!("{name}, then and now"));
        let picture = sheet.picture(svg, alt, 0.8);
        sheet.pictures(vec![picture]);
    }
    let lost: Vec<String> = before
        .iter()
        .filter(|b| b.verdict == Verdict::Outside && !used.contains(b.entry.as_str()))
        .map(|b| format!("{}{}: {}", what(b), desk.also_at(Some(b.position)), b.shown))
        .collect();
    let mut lost: Vec<String> = lost;
    lost.dedup();
    if !lost.is_empty() && !after.is_empty() {
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

fn handing_over(sheet: &mut Sheet) {
    sheet.fields(vec![("Technician, day".to_owned(), None), ("Owner, day".to_owned(), None)]);
}
