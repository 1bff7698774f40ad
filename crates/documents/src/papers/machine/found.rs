//! What was found of a part, its pictures, and the limits it is held against.

use anatomy::Position;
use knowledge::workshop::Operation;
use workup::Finding;
use workup::machine::PieceAt;

use super::Detail;
use crate::papers::sheet::{Cell, Sheet};
use crate::papers::words::{Desk, capital, described, lower, own, plain};
use crate::pictures::{Breadth, face_map, measured_at, reading_between_limits};

/// How many readings stand on a sheet that has to hold a whole part, the worst of them \[ours\].
const ROWS: [usize; 3] = [24, 10, 0];

/// Whether one of the limits of an operation is one of a reading.
pub(super) fn concerns(desk: &Desk<'_>, finding: &Finding, operation: &Operation) -> bool {
    desk.reading(finding).is_some_and(|r| r.limits.iter().any(|l| operation.limits_after.contains(&l.limit)))
}

/// Whether a reading is one of the part of some work: not so where its check follows work on other parts alone.
pub(super) fn of_piece(desk: &Desk<'_>, finding: &Finding, operation: &Operation) -> bool {
    let Some(piece) = operation.piece else { return true };
    let after = desk.knowledge.operations.iter().filter(|o| o.checks_after.contains(&finding.check));
    let mut pieces = after.filter_map(|o| o.piece).peekable();
    pieces.peek().is_none() || pieces.any(|p| p == piece)
}

/// Whether a reading belongs to a place: its very place, or for a head a place on that bank's faces.
pub(super) fn near(desk: &Desk<'_>, place: Position, at: Position) -> bool {
    place == at
        || (matches!(at, Position::Bank(_))
            && matches!(place, Position::Pair(_))
            && desk.layout.bank_of(&place) == at.bank())
}

/// As-found readings of some work on a part: those that the work is held against or checked by, else all figures of its
/// places.
pub(super) fn readings<'a>(desk: &Desk<'a>, work: &[(Option<&Operation>, Position)]) -> Vec<&'a Finding> {
    let all: Vec<&Finding> = desk.as_found().into_iter().filter(|f| f.value.is_some()).collect();
    let mut out: Vec<&Finding> = Vec::new();
    for (operation, at) in work {
        let piece = PieceAt::of(desk.layout, *operation, at);
        let whole = piece.position == *at;
        let there = |f: &Finding| {
            near(desk, f.position, *at) || (whole && PieceAt::of(desk.layout, *operation, &f.position) == piece)
        };
        let of_work = |f: &Finding, o: &Operation| {
            of_piece(desk, f, o) && (concerns(desk, f, o) || o.checks_after.contains(&f.check))
        };
        let bound: Vec<&Finding> =
            all.iter().copied().filter(|f| there(f) && operation.is_some_and(|o| of_work(f, o))).collect();
        let near_it = || all.iter().copied().filter(|f| near(desk, f.position, *at)).collect();
        // A test leaves nothing, so that other figures of the place say nothing of it.
        let tests = operation.is_some_and(|o| o.works.is_none());
        let chosen: Vec<&Finding> = if bound.is_empty() && !tests { near_it() } else { bound };
        for f in chosen {
            if !out.iter().any(|o| o.entry == f.entry && o.reading == f.reading && o.whole_face == f.whole_face) {
                out.push(f);
            }
        }
    }
    out
}

/// How sure a reading is to be inside; what was not judged counts as sure.
fn inside(f: &Finding) -> f64 {
    f.p_inside.unwrap_or(1.0)
}

/// The table of what was found; of many readings the worst.
pub(super) fn table(sheet: &mut Sheet, desk: &Desk<'_>, findings: &[&Finding], detail: Detail) {
    if findings.is_empty() {
        return;
    }
    let most = ROWS.get(detail as usize).copied().unwrap_or(usize::MAX);
    if most == 0 {
        sheet.small(format!(
            "As found: what this order is about stands in brackets above, all {} readings in the findings.",
            findings.len()
        ));
        return;
    }
    sheet.heading("As found");
    let mut kept: Vec<(usize, &Finding)> = findings.iter().copied().enumerate().collect();
    kept.sort_by(|a, b| inside(a.1).total_cmp(&inside(b.1)));
    kept.truncate(most);
    kept.sort_by_key(|(place, _)| *place);
    let rows: Vec<Vec<Cell>> = kept
        .iter()
        .map(|(_, f)| {
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
    if findings.len() > kept.len() {
        let more = findings.len() - kept.len();
        sheet.small(format!("The worst {} of {}; the other {more} stand in the findings.", kept.len(), findings.len()));
    }
    if detail == Detail::Full {
        let mut words: Vec<&String> = findings.iter().filter_map(|f| f.gauge_word.as_ref()).collect();
        words.dedup();
        for word in words {
            sheet.small(format!("{}.", capital(word)));
        }
    }
}

/// How the same readings run along the engine, so that one piece is not cut by itself where all of them ask for it.
pub(super) fn along(sheet: &mut Sheet, desk: &Desk<'_>, findings: &[&Finding]) {
    for series in desk.case.series.iter().filter(|s| findings.iter().any(|f| s.holds(f))) {
        sheet.text(format!("Along the engine, {}: {}.", lower(&series.name()), series.words));
    }
}

/// What the figures read at some places look like together, and the one furthest out between its limits.
pub(super) fn pictured(sheet: &mut Sheet, desk: &Desk<'_>, places: &[Position], listed: &[&Finding], detail: Detail) {
    if detail == Detail::Bare {
        return;
    }
    let here = |at: Position| places.iter().any(|p| near(desk, at, *p));
    let near_it: Vec<&Finding> = desk.as_found().into_iter().filter(|f| here(f.position)).collect();
    let mut maps = Vec::new();
    for face in desk.case.faces.iter().filter(|f| !f.after_repair && here(f.position)) {
        let svg = face_map(face, desk.layout, Breadth::Sheet);
        if svg.is_empty() {
            sheet.text(format!("{}: {}.", capital(&face.name), face.reason));
        } else {
            let alt = described(&svg);
            maps.push(sheet.picture(svg, alt, if detail == Detail::Full { 0.7 } else { 0.5 }));
        }
    }
    sheet.pictures(maps);
    let mut beside = Vec::new();
    for svg in measured_at(&near_it) {
        let alt = described(&svg);
        let title = alt.split(". ").next().unwrap_or_default().to_owned();
        beside.push((title, sheet.picture(svg, alt, 1.0)));
    }
    let worst = listed.iter().filter(|f| f.limit.is_some()).min_by(|a, b| inside(a).total_cmp(&inside(b)));
    if let Some((f, svg)) = worst.and_then(|f| Some((f, reading_between_limits(f)?))) {
        let alt = described(&svg);
        let strip = sheet.picture(svg, alt, 1.0);
        beside.push((format!("{}{}", f.name(), desk.also_at(Some(f.position))), strip));
    }
    sheet.row(beside);
}

/// The limits: the engine's own figures, else the fallback the reading was judged by, named as such.
pub(super) fn limits(
    sheet: &mut Sheet,
    desk: &Desk<'_>,
    work: &[(Option<&Operation>, Position)],
    findings: &[&Finding],
    detail: Detail,
) {
    sheet.heading("Limits");
    let mut rows: Vec<Vec<Cell>> = Vec::new();
    let mut seen = Vec::new();
    for (operation, at) in work {
        let mut items: Vec<String> = operation.map(|o| o.limits_after.clone()).unwrap_or_default();
        for f in findings {
            items.extend(desk.reading(f).into_iter().flat_map(|r| r.limits.iter().map(|l| l.limit.clone())));
            items.push(format!("{}/{}", f.check, f.reading));
        }
        for f in desk.own_figures(&items, Some(*at)) {
            let said = (f.item.clone(), own(f));
            if seen.contains(&said) {
                continue;
            }
            let name = desk
                .knowledge
                .limit(&f.item)
                .map_or_else(|| capital(&plain(&f.item.replace('/', ", "))), |l| l.name.clone());
            rows.push(vec![Cell::of(name), Cell::strong(said.1.clone()), Cell::of("engine's own sheet")]);
            seen.push(said);
        }
    }
    let none = rows.is_empty();
    sheet.table(&[("What", Some(1.7)), ("Limit", Some(3.4)), ("From", Some(1.2))], rows);
    if none {
        sheet.fields(vec![("From the engine's manual, with page".to_owned(), None)]);
    }
    let mut told: Vec<&str> = Vec::new();
    for f in findings {
        let Some(limit) = f.limit.as_ref().filter(|l| !l.own) else { continue };
        if detail != Detail::Full && told.contains(&limit.id.as_str()) {
            continue;
        }
        told.push(&limit.id);
        sheet.small(format!(
            "{} at {} was judged by a fallback, {} ({}); it judges what was found and is no figure to cut to.",
            f.name(),
            desk.place_of(f),
            limit.name,
            limit.source
        ));
    }
}
