//! The machine order: one sheet a part, with one drawing, datum, as-found figures, limits, what must be left alone, the order of
//! work, and room for the answer.

mod drafts;
mod found;

use anatomy::Position;
use knowledge::limits::{AppliesTo, Characteristic, Tolerance};
use knowledge::workshop::{DoneBy, Operation, Works};
use logbook::{Bound, EngineFigure, MachineLine};
use workup::Finding;
use workup::machine::{OrderLine, PieceAt, PieceOrder, pieces, sequence};

use super::sheet::{Cell, Sheet};
use super::words::{Desk, capital, described, figure, plain};
use super::{PaperError, PaperSize, Typeset, press};
use crate::pictures::{Cut, Frame, Worked, cut_sketch};

/// How much of what was found stands on a sheet, so that a part fits on one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Detail {
    /// All of it, with its pictures.
    Full,
    /// Fewer readings and the maps of faces, small.
    Fewer,
    /// The worst readings alone.
    Bare,
}

impl Detail {
    /// How small a sheet may be set before less stands on it \[ours\]: letters stay at 6 points.
    const fn least_scale(self) -> f64 {
        match self {
            Detail::Full => 0.84,
            Detail::Fewer => 0.76,
            Detail::Bare => 0.6,
        }
    }
}

/// Typesets the machine order with as much of what was found as leaves each part on one sheet.
pub(super) fn fitted(
    desk: &Desk<'_>,
    issued: &str,
    size: PaperSize,
    blank: impl Fn(PaperSize) -> Sheet,
) -> Result<Typeset, PaperError> {
    const PAPER: &str = super::Paper::MachineOrder.word();
    // Nobody works from a draft; it may be as long as it is.
    let ordered = !desk.state.machine_orders.is_empty();
    let with = |detail: Detail| {
        let mut sheet = blank(size);
        sheet.least_scale = ordered.then(|| detail.least_scale());
        let parts = write(&mut sheet, desk, detail);
        (sheet, parts.max(1))
    };
    if ordered {
        for detail in [Detail::Full, Detail::Fewer] {
            let (mut sheet, parts) = with(detail);
            sheet.one_sheet = true;
            if let Some(set) = press::print_within(PAPER, issued, &sheet, parts)? {
                return Ok(set);
            }
        }
    }
    let (sheet, _) = with(if ordered { Detail::Bare } else { Detail::Full });
    press::print(PAPER, issued, &sheet)
}

/// Writes the machine order; gives how many parts it is about.
fn write(sheet: &mut Sheet, desk: &Desk<'_>, detail: Detail) -> usize {
    let parts: Vec<PieceOrder<'_>> =
        desk.state.machine_orders.iter().flat_map(|order| pieces(order, desk.layout, desk.knowledge)).collect();
    for piece in &parts {
        if !sheet.is_empty() {
            sheet.new_page();
        }
        part(sheet, desk, piece, detail);
    }
    if !parts.is_empty() {
        return parts.len();
    }
    let drafts = drafts::all(desk);
    for draft in &drafts {
        if !sheet.is_empty() {
            sheet.new_page();
        }
        drafts::write(sheet, desk, draft, detail);
    }
    if drafts.is_empty() {
        nothing(sheet, desk);
    }
    drafts.len()
}

/// Says that there is nothing to send.
fn nothing(sheet: &mut Sheet, desk: &Desk<'_>) {
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

/// Lines of one kind of work that want the same.
struct Work<'a> {
    number: usize,
    name: String,
    operation: Option<&'a Operation>,
    lines: Vec<OrderLine<'a>>,
    /// What a figure as found measures, where it is another measure than the wanted one.
    other_measure: Option<String>,
}

impl<'a> Work<'a> {
    /// The line that speaks for all.
    fn line(&self) -> Option<&'a MachineLine> {
        self.lines.first().map(|l| l.line)
    }

    /// What is wanted, in words.
    fn wanted(&self) -> Option<String> {
        let line = self.line()?;
        match (&line.want, &line.want_high) {
            (Some(low), Some(high)) => Some(format!("{} to {}", figure(low), figure(high))),
            (Some(one), None) => Some(figure(one)),
            (None, Some(high)) => Some(format!("at most {}", figure(high))),
            (None, None) => None,
        }
    }

    fn leave(&self) -> Option<String> {
        self.line()?.leave_at_least.as_ref().map(figure)
    }
}

/// The work on a part, what wants the same together, in the order of work.
fn work<'a>(desk: &Desk<'_>, piece: &PieceOrder<'a>) -> Vec<Work<'a>> {
    let mut out: Vec<Work<'a>> = Vec::new();
    for line in &piece.lines {
        let same = |w: &&mut Work<'a>| {
            w.line().is_some_and(|l| {
                (&l.operation, &l.want, &l.want_high, &l.leave_at_least, &l.note)
                    == (
                        &line.line.operation,
                        &line.line.want,
                        &line.line.want_high,
                        &line.line.leave_at_least,
                        &line.line.note,
                    )
            })
        };
        let measure = line.operation.and_then(|o| o.measures.as_ref());
        let here = found::readings(desk, &[(line.operation, line.line.position)]);
        let read_as = line.line.as_found.as_ref().and_then(|found| measured_as(desk, &here, found));
        // Figures of two measures are not set beside each other as if one became the other.
        let other = read_as.filter(|read| measure.is_some_and(|m| m != read));
        match out.iter_mut().find(same) {
            Some(there) => there.lines.push(*line),
            None => out.push(Work {
                number: out.len() + 1,
                name: line.name(),
                operation: line.operation,
                lines: vec![*line],
                other_measure: other,
            }),
        }
    }
    out
}

/// What a figure as found measures, where it is that of a reading of the place.
fn measured_as(desk: &Desk<'_>, here: &[&Finding], found: &logbook::Figure) -> Option<String> {
    let near_it = || desk.as_found().into_iter().filter(|f| f.value.is_some() && f.shown == figure(found));
    let reading = here.iter().copied().find(|f| f.shown == figure(found)).or_else(|| near_it().next());
    match &reading.and_then(|f| desk.reading(f))?.kind {
        knowledge::ReadingKind::Numeric(numeric) => numeric.measures.clone(),
        knowledge::ReadingKind::Graded { .. } | knowledge::ReadingKind::Nominal { .. } => None,
    }
}

/// One part of an order that went out.
fn part(sheet: &mut Sheet, desk: &Desk<'_>, piece: &PieceOrder<'_>, detail: Detail) {
    let order = piece.order;
    let all = work(desk, piece);
    let places: Vec<(Option<&Operation>, Position)> =
        piece.lines.iter().map(|l| (l.operation, l.line.position)).collect();
    sheet.statement(capital(&piece.at.name(desk.layout)), format!("Order {} to {}", order.code, order.shop));
    let alone = pieces(order, desk.layout, desk.knowledge).len() < 2;
    let datum = if alone { "Datum A, measured from" } else { "Datum A, told for the whole order" };
    let mut fields = vec![
        ("Engine".to_owned(), Some(format!("{}; {}", desk.engine_identity(), desk.case.front))),
        (datum.to_owned(), order.datum.clone()),
        ("Needed by".to_owned(), order.need_by.map(|d| d.to_string())),
    ];
    if let Some(day) = order.promised {
        fields.push(("Promised by the machine shop".to_owned(), Some(day.to_string())));
    }
    sheet.fields(fields);
    let first: Vec<String> = sequence::unordered(desk.state, desk.layout, desk.knowledge, &order.body)
        .iter()
        .filter(|u| piece.lines.iter().any(|l| l.operation.is_some_and(|o| o.id == u.asked_by.id)))
        .map(|u| format!("{}.", u.words(desk.layout)))
        .collect();
    if !first.is_empty() {
        sheet.strong("Ask before the work is begun:");
        sheet.list(first);
    }
    order_of_work(sheet, desk, &all);
    let cut = Cut {
        piece: capital(&piece.at.name(desk.layout)),
        datum: order.datum.clone().unwrap_or_default(),
        worked: all.iter().map(|w| worked(desk, w)).collect(),
    };
    let svg = cut_sketch(&cut);
    if !svg.is_empty() {
        let alt = described(&svg);
        let sketch = sheet.picture(svg, alt, sketch_width(detail));
        sheet.pictures(vec![sketch]);
    }
    unbounded(sheet, desk, &all);
    leave_alone(sheet, &all);
    let mut cautions: Vec<String> = Vec::new();
    for id in all.iter().filter_map(|w| w.operation).flat_map(|o| &o.cautions) {
        if !cautions.contains(id) {
            cautions.push(id.clone());
        }
    }
    cautioned(sheet, desk, &cautions, detail);
    let listed = found::readings(desk, &places);
    found::table(sheet, desk, &listed, detail);
    found::along(sheet, desk, &listed);
    let mut at: Vec<Position> = places.iter().map(|(_, p)| *p).collect();
    at.dedup();
    found::pictured(sheet, desk, &at, &listed, detail);
    found::limits(sheet, desk, &places, &listed, detail);
    answer(sheet, desk, piece);
}

/// How wide the drawing stands, in parts of the line.
const fn sketch_width(detail: Detail) -> f64 {
    match detail {
        Detail::Full => 0.86,
        Detail::Fewer => 0.74,
        Detail::Bare => 0.6,
    }
}

/// The lines in the order of work, with what is wanted of each.
fn order_of_work(sheet: &mut Sheet, desk: &Desk<'_>, all: &[Work<'_>]) {
    sheet.heading("Order of work");
    let rows: Vec<Vec<Cell>> = all
        .iter()
        .map(|w| {
            let many = w.lines.len() > WIDE_PLACES;
            let found =
                |l: &OrderLine<'_>| l.line.as_found.as_ref().map(|f| format!(" ({})", figure(f))).unwrap_or_default();
            let places: Vec<String> = w.lines.iter().map(|l| format!("{}{}", place(desk, l, many), found(l))).collect();
            let measure = w.operation.and_then(|o| o.measures.clone()).unwrap_or_default();
            let cuts = w.operation.is_none_or(|o| o.works.is_some());
            let leave = w.leave().unwrap_or_else(|| if cuts { "not told; ask before cutting" } else { "" }.to_owned());
            let note = w.line().and_then(|l| l.note.clone()).map(|n| capital(&n)).unwrap_or_default();
            vec![
                Cell::strong(w.number.to_string()),
                Cell { note, ..Cell::strong(w.name.clone()) },
                Cell::of(capital(&places.join(", "))),
                Cell { note: measure, ..Cell::of(w.wanted().unwrap_or_default()) },
                Cell::of(leave),
            ]
        })
        .collect();
    sheet.table(
        &[
            ("No.", None),
            ("Work", Some(2.5)),
            ("Where (as found)", Some(2.1)),
            ("Wanted", Some(1.5)),
            ("Must be left at least", Some(1.4)),
        ],
        rows,
    );
    for w in all {
        if let (Some(read_as), Some(found)) = (&w.other_measure, w.line().and_then(|l| l.as_found.as_ref())) {
            let what = format!("{} as found: {}, {read_as}", w.number, figure(found));
            sheet.text(format!("{what}. This is another measure than the wanted one."));
        }
    }
}

/// More places than this are written in short \[ours\].
const WIDE_PLACES: usize = 3;

/// Where a line is: the part itself, or the place on it.
fn place(desk: &Desk<'_>, line: &OrderLine<'_>, short: bool) -> String {
    let at = line.line.position;
    let piece = PieceAt::of(desk.layout, line.operation, &at);
    if piece.position == at && piece.piece.is_some() {
        return piece.name(desk.layout);
    }
    if short { plain(&at.address()) } else { desk.place(&at, &line.name()) }
}

/// One kind of work as it is drawn.
fn worked(desk: &Desk<'_>, w: &Work<'_>) -> Worked {
    let places = match w.lines.as_slice() {
        [] => String::new(),
        [one] => desk.also_at(Some(one.line.position)),
        several => format!(", {} places", several.len()),
    };
    let single = if let [one] = w.lines.as_slice() { Some(one.line) } else { None };
    let found = single.and_then(|l| l.as_found.as_ref()).filter(|_| w.other_measure.is_none());
    let figures = own_tolerances(desk, w);
    let zone = |(is, f): &(Tolerance, &EngineFigure)| Some(Frame { is: is.is, zone: zone_of(*is, f)? });
    Worked {
        number: w.number,
        name: format!("{}{places}", w.name),
        works: w.operation.and_then(|o| o.works),
        as_found: found.map(figure),
        wanted: w.wanted(),
        leave: w.leave(),
        frames: figures.iter().filter(|(t, _)| t.is != Characteristic::Surface).filter_map(zone).collect(),
        surface: figures.iter().find(|(t, _)| t.is == Characteristic::Surface).map(|(_, f)| finish_of(desk, f)),
    }
}

/// Whether a characteristic is one of the surface that is worked: a guide is not held to the run-out of the seat above it.
const fn suits(works: Option<Works>, is: Characteristic) -> bool {
    let round = matches!(is, Characteristic::Roundness | Characteristic::Cylindricity | Characteristic::Straightness);
    match (works, is) {
        (None, _) => false,
        (Some(_), Characteristic::Surface) => true,
        (Some(Works::Face | Works::Ledge), _) => {
            matches!(is, Characteristic::Flatness | Characteristic::Parallelism)
        }
        (Some(Works::Bore), _) => round,
        (Some(Works::Journal), _) => round || matches!(is, Characteristic::RunOut),
        (Some(Works::ValveSeat), _) => matches!(is, Characteristic::Roundness | Characteristic::RunOut),
    }
}

/// The figures of the engine's own sheet that bound form or surface after some work, one of each characteristic.
fn own_tolerances<'d>(desk: &Desk<'d>, w: &Work<'_>) -> Vec<(Tolerance, &'d EngineFigure)> {
    let items = w.operation.map(|o| o.limits_after.clone()).unwrap_or_default();
    let at = w.line().map(|l| l.position);
    let mut out: Vec<(Tolerance, &EngineFigure)> = Vec::new();
    for f in desk.own_figures(&items, at) {
        let Some(tolerance) = desk.knowledge.limit(&f.item).and_then(|l| l.tolerance) else { continue };
        let works = w.operation.and_then(|o| o.works);
        let fits = f.scope.is_none_or(|scope| at.is_some_and(|p| p.scope() == scope)) && suits(works, tolerance.is);
        if fits && !out.iter().any(|(t, _)| t.is == tolerance.is) {
            out.push((tolerance, f));
        }
    }
    out
}

/// The zone of a figure after ISO 1101: of a difference of diameters half of it, since the zone lies between two radii.
fn zone_of(tolerance: Tolerance, f: &EngineFigure) -> Option<String> {
    let text = match f.bound {
        Bound::Max => f.text.as_str(),
        Bound::Range => f.text_high.as_deref()?,
        Bound::Min | Bound::Nominal => return None,
    };
    if !tolerance.across {
        return Some(format!("{text} {}", f.unit));
    }
    let number = logbook::number_in(text, &f.unit, &f.unit)? / 2.0;
    let digits = text.split_once(['.', ',']).map_or(0, |(_, digits)| digits.len()) + 1;
    let half = format!("{number:.digits$}");
    Some(format!("{} {}", half.trim_end_matches('0').trim_end_matches('.'), f.unit))
}

/// A finish as it stands beside its sign.
fn finish_of(desk: &Desk<'_>, f: &EngineFigure) -> String {
    let measure = desk.knowledge.limit(&f.item).and_then(|l| l.measure.clone()).unwrap_or_else(|| "Ra".to_owned());
    let high = f.text_high.as_ref().map(|h| format!(" to {h}")).unwrap_or_default();
    format!("{measure} {}{high} {}", f.text, f.unit)
}

/// What the work is held against and the engine sheet has no figure for: it is asked of the manual and never filled in.
fn unbounded(sheet: &mut Sheet, desk: &Desk<'_>, all: &[Work<'_>]) {
    let mut open: Vec<&'static str> = Vec::new();
    let mut halved = false;
    for w in all {
        let own = own_tolerances(desk, w);
        halved |= own.iter().any(|(t, _)| t.across);
        let limits = w.operation.map(|o| o.limits_after.as_slice()).unwrap_or_default();
        for limit in limits.iter().filter_map(|id| desk.knowledge.limit(id)) {
            let here = !AppliesTo::spoken_against(&limit.applies, |name| desk.told(name));
            let suits = |t: &Tolerance| here && suits(w.operation.and_then(|o| o.works), t.is);
            let Some(tolerance) = limit.tolerance.filter(suits) else { continue };
            if !own.iter().any(|(t, _)| t.is == tolerance.is) && !open.contains(&tolerance.is.words()) {
                open.push(tolerance.is.words());
            }
        }
    }
    if halved {
        sheet.small(
            "A frame of roundness or cylindricity holds the zone of ISO 1101, which lies between two radii: half of the \
             difference of diameters that the engine sheet has.",
        );
    }
    if !open.is_empty() {
        let what = format!("{}, from the engine's manual, with page", capital(&open.join(", ")));
        sheet.fields(vec![(what, None)]);
    }
}

/// The cautions of the work: each by itself, or all in one frame where the sheet is full.
fn cautioned(sheet: &mut Sheet, desk: &Desk<'_>, ids: &[String], detail: Detail) {
    if detail == Detail::Full {
        desk.cautions(sheet, ids);
        return;
    }
    let here = desk.knowledge.cautions_for(ids, |name| desk.told(name));
    let texts: Vec<(&str, bool)> = here.iter().filter_map(|id| desk.caution(id)).collect();
    if texts.is_empty() {
        return;
    }
    let held = |(text, hold): &(&str, bool)| if *hold { format!("HOLD: {text}") } else { (*text).to_owned() };
    sheet.caution(texts.iter().map(held).collect::<Vec<_>>().join(" "), false);
}

/// What the work must leave alone.
fn leave_alone(sheet: &mut Sheet, all: &[Work<'_>]) {
    let mut spared: Vec<&str> = Vec::new();
    for words in all.iter().filter_map(|w| w.operation).flat_map(|o| &o.spares) {
        if !spared.contains(&words.as_str()) {
            spared.push(words);
        }
    }
    let spared = if spared.is_empty() { String::new() } else { format!("{}; ", spared.join("; ")) };
    sheet.strong(format!("Leave alone: {spared}whatever this sheet does not name stays as it is."));
}

/// More lines than this are answered two beside each other \[ours\].
const WIDE_ROWS: usize = 6;

/// What became of a line, in few words.
fn told_of(done: &logbook::MachineReturn) -> String {
    let note = done.note.as_ref().map(|n| format!(", {n}")).unwrap_or_default();
    format!("{}{note}", plain(done.result.word()))
}

/// Rows to answer on, two lines of the order beside each other.
fn narrow_rows(
    sheet: &mut Sheet,
    desk: &Desk<'_>,
    lines: &[OrderLine<'_>],
    answer: impl Fn(&OrderLine<'_>) -> [Cell; 2],
) {
    let cells = |l: Option<&OrderLine<'_>>| {
        l.map_or_else(
            || vec![Cell::default(), Cell::default(), Cell::default()],
            |l| {
                let name = l.name();
                let short = name.split([',', ':']).next().unwrap_or_default();
                let [left, result] = answer(l);
                vec![Cell::of(format!("Line {}: {}, {short}", l.place + 1, place(desk, l, true))), left, result]
            },
        )
    };
    let half = lines.len().div_ceil(2);
    let rows = (0..half).map(|n| [cells(lines.get(n)), cells(lines.get(n + half))].concat()).collect();
    let heads = [("Line", Some(2.2)), ("As left, unit", Some(1.1)), ("Done, otherwise, not", Some(1.3))];
    sheet.table(&[heads, heads].concat(), rows);
}

/// Room for the answer, line by line, or the answer where it came.
fn answer(sheet: &mut Sheet, desk: &Desk<'_>, piece: &PieceOrder<'_>) {
    let order = piece.order;
    sheet.heading(format!("As left, for the machinist; order {}", order.code));
    let back: Vec<_> = desk.state.machine_returns.iter().filter(|r| workup::machine::answers(r, order)).collect();
    let done = |l: &OrderLine<'_>| {
        let same = |b: &&logbook::MachineReturn| b.operation == l.line.operation && b.position == l.line.position;
        back.iter().rev().find_map(|r| r.lines.iter().rfind(|b| same(b)))
    };
    let cell = |text: Option<String>| text.map_or_else(Cell::line, Cell::strong);
    if piece.lines.len() > WIDE_ROWS {
        narrow_rows(sheet, desk, &piece.lines, |l| {
            let done = done(l);
            [cell(done.and_then(|d| d.as_left.as_ref()).map(figure)), cell(done.map(told_of))]
        });
    } else {
        let rows: Vec<Vec<Cell>> = piece
            .lines
            .iter()
            .map(|l| {
                let (done, name) = (done(l), l.name());
                let place = capital(&place(desk, l, false));
                vec![
                    Cell { note: place, ..Cell::of(format!("Line {}: {name}", l.place + 1)) },
                    cell(done.and_then(|d| d.as_left.as_ref()).map(figure)),
                    cell(done.map(|d| plain(d.result.word()))),
                    cell(done.map(|d| d.note.clone().unwrap_or_default())),
                ]
            })
            .collect();
        sheet.table(
            &[
                ("Work and place", Some(2.4)),
                ("As left, with unit", Some(1.2)),
                ("Done, otherwise, not done", Some(1.5)),
                ("Remarks, gauge", Some(1.9)),
            ],
            rows,
        );
    }
    sheet.fields(vec![("Done by, day and signature".to_owned(), back.last().and_then(|r| r.done_by.clone()))]);
    sheet.small(
        "Stop and call before cutting below what must be left, or when the piece is not as this sheet says. The \
         engine's own manual and the rules of your shop come before this sheet.",
    );
}
