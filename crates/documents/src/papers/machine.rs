//! The machine order: one sheet a piece, with datum, as-found figures, limits, what must be left, and room for the
//! answer.

use anatomy::Position;
use knowledge::workshop::{DoneBy, Operation, PerWhat};
use logbook::{Fact, MachineLine, MachineOrderSent};
use quantity::Verdict;
use workup::Finding;

use super::sheet::{Cell, Sheet};
use super::words::{Desk, capital, described, figure, lower, own, plain};
use crate::pictures::{Breadth, Cut, cut_sketch, face_map, measured_at, reading_between_limits};

/// Writes the machine order.
pub(crate) fn write(sheet: &mut Sheet, desk: &Desk<'_>) {
    for order in &desk.state.machine_orders {
        for line in &order.lines {
            if !sheet.is_empty() {
                sheet.new_page();
            }
            ordered(sheet, desk, order, line);
        }
    }
    if !sheet.is_empty() {
        return;
    }
    drafts(sheet, desk);
    if !sheet.is_empty() {
        return;
    }
    sheet.strong("No machine work is ordered.");
    let Some(chosen) = &desk.state.chosen else {
        sheet.text(
            "No reading so far is outside a limit that machine work puts right. When one is, this sheet names the \
             piece, the datum, what was found and what must be left.",
        );
        return;
    };
    let sent: Vec<String> = desk
        .operations(&chosen.option)
        .iter()
        .filter(|o| o.done_by == DoneBy::Machine)
        .map(|o| format!("{}: {}", o.name, desk.counted(o.per)))
        .collect();
    let way = desk.option_name(&chosen.option);
    if sent.is_empty() {
        sheet.text(format!("The way that was chosen calls for none: {way}."));
    } else {
        sheet.text(format!("The way that was chosen, {way}, usually sends this to a machine shop:"));
        sheet.list(sent);
    }
}

/// One line of an order that went out.
fn ordered(sheet: &mut Sheet, desk: &Desk<'_>, order: &Fact<MachineOrderSent>, line: &MachineLine) {
    let operation = desk.operation(&line.operation);
    let name = operation.map_or_else(|| capital(&plain(&line.operation)), |o| o.name.clone());
    sheet.statement(
        format!("{name}: {}", desk.place(&line.position, &name)),
        format!("Order {} to {}", order.code, order.shop),
    );
    let wanted = match (&line.want, &line.want_high) {
        (Some(low), Some(high)) => Some(format!("{} to {}", figure(low), figure(high))),
        (Some(one), None) => Some(figure(one)),
        (None, Some(high)) => Some(format!("at most {}", figure(high))),
        (None, None) => None,
    };
    let here = readings_at(desk, line.position, operation);
    let measure = operation.and_then(|o| o.measures.clone());
    let read_as = line.as_found.as_ref().and_then(|found| measured_as(desk, &here, found));
    // Figures of two measures are not set beside each other as if one became the other.
    let alike = measure.is_none() || read_as.is_none() || measure == read_as;
    sheet.fields(vec![
        ("Engine".to_owned(), Some(desk.engine_identity())),
        ("Datum, measured from".to_owned(), order.datum.clone()),
        (measure.as_ref().map_or_else(|| "Wanted".to_owned(), |m| format!("Wanted, {m}")), wanted.clone()),
        (
            "Must be left at least".to_owned(),
            Some(line.leave_at_least.as_ref().map_or_else(|| "not told; ask before cutting".to_owned(), figure)),
        ),
        ("Needed by".to_owned(), order.need_by.map(|d| d.to_string())),
    ]);
    if let Some(note) = &line.note {
        sheet.strong(capital(note));
    }
    if let (false, Some(found), Some(read_as)) = (alike, &line.as_found, &read_as) {
        sheet.text(format!("As found: {}, {read_as}. This is another measure than the wanted one.", figure(found)));
    }
    // Only a face is drawn as one: a bore, a ledge or a journal is not a block with a cut on top.
    if operation.is_none_or(|o| matches!(o.per, PerWhat::Head | PerWhat::HeadOrBlock | PerWhat::Deck | PerWhat::Face)) {
        let svg = cut_sketch(&Cut {
            datum: order.datum.clone().unwrap_or_default(),
            face: format!("{name}{}", desk.also_at(Some(line.position))),
            as_found: line.as_found.as_ref().filter(|_| alike).map(figure),
            wanted: wanted.clone(),
            leave: line.leave_at_least.as_ref().map(figure),
        });
        let alt = described(&svg);
        let sketch = sheet.picture(svg, alt, 0.52);
        sheet.pictures(vec![sketch]);
    } else if let Some(found) = line.as_found.as_ref().filter(|_| alike) {
        sheet.fields(vec![("As found".to_owned(), Some(figure(found)))]);
    }
    sheet.small(format!("{}.", capital(&desk.case.front)));
    let cautions = operation.map(|o| o.cautions.clone()).unwrap_or_default();
    desk.cautions(sheet, &cautions);
    as_found(sheet, desk, &here);
    along(sheet, desk, &here);
    pictured(sheet, desk, line.position, &here);
    limits(sheet, desk, operation, &here, line.position);
    answer(sheet, desk, order, line);
}

/// What a figure as found measures, where it is that of a reading of the place.
fn measured_as(desk: &Desk<'_>, here: &[&Finding], found: &logbook::Figure) -> Option<String> {
    let reading = here.iter().find(|f| f.shown == figure(found)).and_then(|f| desk.reading(f))?;
    match &reading.kind {
        knowledge::ReadingKind::Numeric(numeric) => numeric.measures.clone(),
        knowledge::ReadingKind::Graded { .. } | knowledge::ReadingKind::Nominal { .. } => None,
    }
}

/// As-found readings of the piece: those that the operation's limits speak of, else all figures of the place.
fn readings_at<'a>(desk: &Desk<'a>, at: Position, operation: Option<&Operation>) -> Vec<&'a Finding> {
    let here: Vec<&Finding> =
        desk.as_found().into_iter().filter(|f| f.value.is_some() && near(desk, f.position, at)).collect();
    let bound: Vec<&Finding> =
        here.iter().copied().filter(|f| operation.is_some_and(|o| concerns(desk, f, o))).collect();
    if bound.is_empty() { here } else { bound }
}

/// Whether a reading belongs to the piece: its very place, or for a head a place on that bank's faces.
fn near(desk: &Desk<'_>, place: Position, at: Position) -> bool {
    place == at
        || (matches!(at, Position::Bank(_))
            && matches!(place, Position::Pair(_))
            && desk.layout.bank_of(&place) == at.bank())
}

/// Whether one of the limits of an operation is one of a reading.
fn concerns(desk: &Desk<'_>, finding: &Finding, operation: &Operation) -> bool {
    desk.reading(finding).is_some_and(|r| r.limits.iter().any(|l| operation.limits_after.contains(&l.limit)))
}

fn as_found(sheet: &mut Sheet, desk: &Desk<'_>, findings: &[&Finding]) {
    if findings.is_empty() {
        return;
    }
    sheet.heading("As found");
    let rows: Vec<Vec<Cell>> = findings
        .iter()
        .map(|f| {
            let at = desk.also_at(Some(f.position));
            let at = at.trim_start_matches(", ");
            let spot = f.spot.as_ref().map(|s| plain(s)).unwrap_or_default();
            let whereabouts = match (at.is_empty(), spot.is_empty()) {
                (true, true) => desk.place_of(f),
                (true, false) => spot,
                (false, true) => at.to_owned(),
                (false, false) => format!("{at}, {spot}"),
            };
            vec![
                Cell::of(f.name()),
                Cell::of(capital(&whereabouts)),
                Cell::strong(format!("({})", f.shown)),
                Cell::of(desk.mark(f).words()),
                Cell::of(f.gauge.clone().unwrap_or_else(|| "not named".to_owned())),
            ]
        })
        .collect();
    sheet.table(
        &[
            ("Reading", Some(2.6)),
            ("Where", Some(2.0)),
            ("As found", Some(1.2)),
            ("Judged", Some(1.3)),
            ("Gauge", Some(1.8)),
        ],
        rows,
    );
    let mut words: Vec<&String> = findings.iter().filter_map(|f| f.gauge_word.as_ref()).collect();
    words.dedup();
    for word in words {
        sheet.small(format!("{}.", capital(word)));
    }
}

/// How the same readings run along the engine, so that one piece is not cut by itself where all of them ask for it.
fn along(sheet: &mut Sheet, desk: &Desk<'_>, findings: &[&Finding]) {
    for series in desk.case.series.iter().filter(|s| findings.iter().any(|f| s.holds(f))) {
        sheet.text(format!("Along the engine, {}: {}.", lower(&series.name()), series.words));
    }
}

/// What the figures read at the piece look like together, and the one furthest out between its limits.
fn pictured(sheet: &mut Sheet, desk: &Desk<'_>, at: Position, listed: &[&Finding]) {
    let near_it: Vec<&Finding> = desk.as_found().into_iter().filter(|f| near(desk, f.position, at)).collect();
    let mut pictures = Vec::new();
    for face in desk.case.faces.iter().filter(|f| !f.after_repair && near(desk, f.position, at)) {
        let svg = face_map(face, desk.layout, Breadth::Sheet);
        if svg.is_empty() {
            sheet.text(format!("{}: {}.", capital(&face.name), face.reason));
        } else {
            let alt = described(&svg);
            pictures.push(sheet.picture(svg, alt, 0.8));
        }
    }
    let mut beside = Vec::new();
    for svg in measured_at(&near_it) {
        let alt = described(&svg);
        let title = alt.split(". ").next().unwrap_or_default().to_owned();
        beside.push((title, sheet.picture(svg, alt, 1.0)));
    }
    let inside = |f: &&&Finding| f.p_inside.unwrap_or(1.0);
    let worst = listed.iter().filter(|f| f.limit.is_some()).min_by(|a, b| inside(a).total_cmp(&inside(b)));
    sheet.pictures(pictures);
    if let Some((f, svg)) = worst.and_then(|f| Some((f, reading_between_limits(f)?))) {
        let alt = described(&svg);
        let strip = sheet.picture(svg, alt, 1.0);
        beside.push((format!("{}{}", f.name(), desk.also_at(Some(f.position))), strip));
    }
    sheet.row(beside);
}

/// The limits: the engine's own figures, else the fallback the reading was judged by, named as such.
fn limits(sheet: &mut Sheet, desk: &Desk<'_>, operation: Option<&Operation>, findings: &[&Finding], at: Position) {
    sheet.heading("Limits");
    let mut items: Vec<String> = operation.map(|o| o.limits_after.clone()).unwrap_or_default();
    for f in findings {
        items.extend(desk.reading(f).into_iter().flat_map(|r| r.limits.iter().map(|l| l.limit.clone())));
        items.push(format!("{}/{}", f.check, f.reading));
    }
    let figures = desk.own_figures(&items, Some(at));
    let rows: Vec<Vec<Cell>> = figures
        .iter()
        .map(|f| {
            let name = desk
                .knowledge
                .limit(&f.item)
                .map_or_else(|| capital(&plain(&f.item.replace('/', ", "))), |l| l.name.clone());
            vec![Cell::of(name), Cell::strong(own(f)), Cell::of("engine's own sheet")]
        })
        .collect();
    let none = rows.is_empty();
    sheet.table(&[("What", Some(1.7)), ("Limit", Some(3.4)), ("From", Some(1.2))], rows);
    if none {
        sheet.fields(vec![("From the engine's manual, with page".to_owned(), None)]);
    }
    for f in findings {
        let Some(limit) = f.limit.as_ref().filter(|l| !l.own) else { continue };
        sheet.small(format!(
            "{} at {} was judged by a fallback, {} ({}); it judges what was found and is no figure to cut to.",
            f.name(),
            desk.place_of(f),
            limit.name,
            limit.source
        ));
    }
}

/// Room for the answer, or the answer where it came.
fn answer(sheet: &mut Sheet, desk: &Desk<'_>, order: &Fact<MachineOrderSent>, line: &MachineLine) {
    sheet.heading(format!("As left, for the machinist; order {}", order.code));
    let back = desk.state.machine_returns.iter().find(|r| r.code == order.code);
    let done = back.and_then(|r| {
        let same = |l: &&logbook::MachineReturn| l.operation == line.operation && l.position == line.position;
        r.lines.iter().find(same)
    });
    sheet.fields(vec![
        ("As left".to_owned(), done.and_then(|d| d.as_left.as_ref()).map(figure)),
        ("Result".to_owned(), done.map(|d| plain(d.result.word()))),
        ("Remarks".to_owned(), done.and_then(|d| d.note.clone())),
        ("Done by".to_owned(), back.and_then(|r| r.done_by.clone())),
        ("Day and signature".to_owned(), None),
    ]);
    sheet.small(
        "Stop and call before cutting below what must be left, or when the piece is not as this sheet says. The \
         engine's own manual and the rules of your shop come before this sheet.",
    );
}

/// Readings that machine work puts right, where nobody has ordered any.
fn drafts(sheet: &mut Sheet, desk: &Desk<'_>) {
    // What the chosen way does not do is not offered for cutting.
    let allowed: Option<Vec<&str>> =
        desk.state.chosen.as_ref().map(|c| desk.operations(&c.option).iter().map(|o| o.id.as_str()).collect());
    let outside: Vec<&Finding> =
        desk.as_found().into_iter().filter(|f| f.verdict == Verdict::Outside && f.value.is_some()).collect();
    let mut places: Vec<Position> = Vec::new();
    for f in &outside {
        if !places.contains(&f.position) {
            places.push(f.position);
        }
    }
    for place in places {
        let here: Vec<&Finding> = outside.iter().copied().filter(|f| f.position == place).collect();
        let work: Vec<&Operation> = desk
            .knowledge
            .operations
            .iter()
            .map(|o| &o.value)
            .filter(|o| allowed.as_ref().is_none_or(|ids| ids.contains(&o.id.as_str())))
            .filter(|o| o.done_by != DoneBy::Shop && here.iter().any(|f| concerns(desk, f, o)))
            .collect();
        let Some(first) = work.first() else { continue };
        if !sheet.is_empty() {
            sheet.new_page();
        }
        sheet.statement(
            format!("Draft, nothing is ordered: {}", desk.place(&place, &first.name)),
            "These readings are outside a limit that machine work is held against.",
        );
        sheet.fields(vec![
            ("Engine".to_owned(), Some(desk.engine_identity())),
            ("Front".to_owned(), Some(desk.case.front.trim_start_matches("front is ").to_owned())),
            (
                "Work that is held against it".to_owned(),
                Some(work.iter().map(|o| o.name.as_str()).collect::<Vec<_>>().join("; ")),
            ),
            ("Datum, measured from".to_owned(), None),
            ("Must be left at least".to_owned(), None),
            ("To, and needed by".to_owned(), None),
        ]);
        ruled_out(sheet, desk);
        desk.cautions(sheet, &first.cautions);
        let at_place = readings_at(desk, place, Some(first));
        as_found(sheet, desk, &at_place);
        along(sheet, desk, &at_place);
        pictured(sheet, desk, place, &at_place);
        limits(sheet, desk, Some(first), &here, place);
        sheet.heading("As left, for the machinist");
        sheet.fields(["As left", "Remarks", "Done by", "Day and signature"].map(|n| (n.to_owned(), None)).to_vec());
    }
}

/// What is ruled out, so that nobody cuts a piece that is given up.
fn ruled_out(sheet: &mut Sheet, desk: &Desk<'_>) {
    if let Some(chosen) = &desk.state.chosen {
        sheet.strong(format!("The way that was chosen: {}.", desk.option_name(&chosen.option)));
    }
    let out = desk.case.options.iter().filter_map(|o| Some(format!("{}: {}", o.name, o.struck_out.as_ref()?.why)));
    let out: Vec<String> = out.collect();
    if !out.is_empty() {
        sheet.strong("Ask before cutting. Ruled out so far:");
        sheet.list(out);
    }
}
