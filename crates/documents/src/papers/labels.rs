//! Labels to cut out: bags and cells of small parts, what was ordered, and the pieces that go to a machine shop.

use super::PaperError;
use super::sheet::{Label, Sheet};
use super::words::{Desk, capital, day, tail};

/// Writes the labels: first what was bagged, then what was ordered, then what goes to be machined.
pub(crate) fn write(sheet: &mut Sheet, desk: &Desk<'_>) -> Result<(), PaperError> {
    let mut labels = bags(desk);
    labels.extend(ordered(desk));
    labels.extend(machined(desk));
    if labels.is_empty() {
        return Err(PaperError::NothingToLabel { job: desk.case.job.clone() });
    }
    sheet.small("Cut along the lines. A label stays with its piece until that is fitted.");
    sheet.labels(labels);
    Ok(())
}

fn foot(desk: &Desk<'_>) -> String {
    let title = if desk.case.title.is_empty() { "engine job" } else { &desk.case.title };
    format!("job {} · {title}", tail(&desk.case.job))
}

fn bags(desk: &Desk<'_>) -> Vec<Label> {
    let bagged = desk.state.bags.iter().map(|b| {
        let from = Some(workup::bags::came_from(b, desk.state, desk.knowledge)).filter(|from| !from.is_empty());
        let stage = workup::bags::stage_of(b, desk.state, desk.knowledge);
        let lines = [
            from.map(|from| capital(&from)),
            b.count.map(|n| if n == 1 { "1 piece".to_owned() } else { format!("{n} pieces") }),
            b.marks.as_ref().map(|m| format!("marks: {m}")),
            workup::bags::keeps_place(b, desk.knowledge),
            stage.map(|s| format!("back in at: {}", s.title)),
        ];
        Label {
            mark: b.bag.clone(),
            name: desk.part_name(&b.part),
            lines: lines.into_iter().flatten().collect(),
            foot: foot(desk),
        }
    });
    bagged.collect()
}

fn ordered(desk: &Desk<'_>) -> Vec<Label> {
    let orders = desk.state.orders.iter().map(|o| {
        let lines = [
            Some(format!("{} from {}, ordered {}", o.quantity, o.supplier, day(&o.made_at))),
            o.core_due.map(|d| format!("old part goes back by {d}")),
            Some("looked at by, day:".to_owned()),
        ];
        Label {
            mark: String::new(),
            name: desk.part_name(&o.part),
            lines: lines.into_iter().flatten().collect(),
            foot: foot(desk),
        }
    });
    orders.collect()
}

fn machined(desk: &Desk<'_>) -> Vec<Label> {
    let mut out = Vec::new();
    for order in &desk.state.machine_orders {
        for piece in workup::machine::pieces(order, desk.layout, desk.knowledge) {
            out.push(Label {
                mark: order.code.clone(),
                name: capital(&piece.at.name(desk.layout)),
                lines: vec![format!("to {}", order.shop), "bare, clean, with its caps and dowels".to_owned()],
                foot: foot(desk),
            });
        }
    }
    out
}
