//! Readings that machine work puts right, where nobody has ordered any.

use anatomy::Position;
use knowledge::workshop::{DoneBy, Operation};
use quantity::Verdict;
use workup::Finding;
use workup::machine::PieceAt;

use super::{Detail, found};
use crate::papers::sheet::Sheet;
use crate::papers::words::{Desk, capital};

/// A part that could be sent, with the work that is held against what was found of it.
pub(super) struct Draft<'a> {
    at: PieceAt,
    work: Vec<(&'a Operation, Position)>,
}

/// The parts that could be sent.
pub(super) fn all<'a>(desk: &Desk<'a>) -> Vec<Draft<'a>> {
    // What the chosen way does not do is not offered for cutting.
    let allowed: Option<Vec<&str>> =
        desk.state.chosen.as_ref().map(|c| desk.operations(&c.option).iter().map(|o| o.id.as_str()).collect());
    let outside: Vec<&Finding> =
        desk.as_found().into_iter().filter(|f| f.verdict == Verdict::Outside && f.value.is_some()).collect();
    let offered: Vec<&Operation> = desk
        .knowledge
        .operations
        .iter()
        .map(|o| &o.value)
        .filter(|o| allowed.as_ref().is_none_or(|ids| ids.contains(&o.id.as_str())))
        .filter(|o| o.done_by != DoneBy::Shop)
        .collect();
    let mut out: Vec<Draft<'a>> = Vec::new();
    for f in outside {
        for operation in offered.iter().copied().filter(|o| found::concerns(desk, f, o) && found::of_piece(desk, f, o))
        {
            let at = PieceAt::of(desk.layout, Some(operation), &f.position);
            let draft = match out.iter_mut().find(|d| d.at == at) {
                Some(there) => there,
                None => {
                    out.push(Draft { at, work: Vec::new() });
                    let Some(last) = out.last_mut() else { continue };
                    last
                }
            };
            if !draft.work.iter().any(|(o, p)| o.id == operation.id && *p == f.position) {
                draft.work.push((operation, f.position));
            }
        }
    }
    out
}

/// One part that could be sent.
pub(super) fn write(sheet: &mut Sheet, desk: &Desk<'_>, draft: &Draft<'_>, detail: Detail) {
    let work: Vec<(Option<&Operation>, Position)> = draft.work.iter().map(|(o, p)| (Some(*o), *p)).collect();
    let mut names: Vec<&str> = Vec::new();
    for (operation, _) in &draft.work {
        if !names.contains(&operation.name.as_str()) {
            names.push(&operation.name);
        }
    }
    sheet.statement(
        format!("Draft, nothing is ordered: {}", draft.at.name(desk.layout)),
        "Readings of it are outside a limit that machine work is held against.",
    );
    sheet.fields(vec![
        ("Engine".to_owned(), Some(desk.engine_identity())),
        ("Front".to_owned(), Some(desk.case.front.trim_start_matches("front is ").to_owned())),
        ("Work that is held against it".to_owned(), Some(names.join("; "))),
        ("Datum, measured from".to_owned(), None),
        ("Must be left at least".to_owned(), None),
        ("To, and needed by".to_owned(), None),
    ]);
    ruled_out(sheet, desk);
    let mut cautions: Vec<String> = Vec::new();
    for id in draft.work.iter().flat_map(|(o, _)| &o.cautions) {
        if !cautions.contains(id) {
            cautions.push(id.clone());
        }
    }
    super::cautioned(sheet, desk, &cautions, detail);
    let listed = found::readings(desk, &work);
    found::table(sheet, desk, &listed, detail);
    found::along(sheet, desk, &listed);
    let mut places: Vec<Position> = draft.work.iter().map(|(_, p)| *p).collect();
    places.dedup();
    found::pictured(sheet, desk, &places, &listed, detail);
    found::limits(sheet, desk, &work, &listed, detail);
    sheet.heading("As left, for the machinist");
    sheet.fields(["As left", "Remarks", "Done by", "Day and signature"].map(|n| (n.to_owned(), None)).to_vec());
}

/// What is ruled out, so that nobody cuts a piece that is given up.
fn ruled_out(sheet: &mut Sheet, desk: &Desk<'_>) {
    if let Some(chosen) = &desk.state.chosen {
        sheet.strong(format!("The way that was chosen: {}.", desk.option_name(&chosen.option)));
    }
    let out = desk.case.options.iter().filter_map(|o| Some(format!("{}: {}", o.name, o.struck_out.as_ref()?.why)));
    let out: Vec<String> = out.map(|line| capital(&line)).collect();
    if !out.is_empty() {
        sheet.strong("Ask before cutting. Ruled out so far:");
        sheet.list(out);
    }
}
