//! The report to the customer: what was told, what was found, what is believed, what can be done.

use quantity::Verdict;
use workup::customer_page::{TOLD, beliefs_told, ways_shown};
use workup::{Belief, Finding, OptionLine};

use super::sheet::{Cell, Sheet};
use super::words::{Desk, capital, days, described, figure, plain};
use crate::pictures::{
    Breadth, Mark, approval_strip, cost_intervals, face_map, of_ten_in_words, reading_between_limits, ten_engines,
};

/// How many readings are listed \[ours\].
const READINGS: usize = 8;
/// How many of them are drawn \[ours\].
const DRAWN: usize = 4;
/// How many kinds of reading are told along the engine \[ours\].
const ALONG: usize = 3;

/// Writes the report.
pub(crate) fn write(sheet: &mut Sheet, desk: &Desk<'_>) {
    said(sheet, desk);
    found(sheet, desk);
    believed(sheet, desk);
    options(sheet, desk);
    decided(sheet, desk);
    handed_back(sheet, desk);
    sheet.heading("About this report");
    sheet.text(
        "It tells what was read, seen and judged up to the day of issue. Chances speak of engines like this one and \
         are no promise about yours. Until the work is done a price has a low end and a high end, and nothing above the \
         agreed ceiling is spent without your new yes. Ask for the readings behind any line; they are kept and can be \
         shown.",
    );
}

fn said(sheet: &mut Sheet, desk: &Desk<'_>) {
    let vehicle = desk.vehicle();
    if !vehicle.is_empty() {
        sheet.text(vehicle);
    }
    if desk.state.complaints.is_empty() {
        return;
    }
    sheet.heading("What you told us");
    for complaint in &desk.state.complaints {
        let parts = [
            complaint.when.as_ref().map(|w| format!("when: {w}")),
            complaint.how_long.as_ref().map(|w| format!("how long: {w}")),
            complaint.done_since.as_ref().map(|w| format!("done since: {w}")),
        ];
        sheet.quote(&complaint.words, parts.into_iter().flatten().collect::<Vec<_>>().join("; "));
    }
}

/// Outside before by judgement before what no gauge could tell; figures before looks; of one thing the worst first.
fn severity(f: &Finding) -> (u8, bool, f64) {
    let rank = match f.verdict {
        Verdict::Outside => 0,
        Verdict::ByJudgement => 1,
        Verdict::CannotTell => 2,
        Verdict::Inside => 3,
    };
    let worse = f.value.map_or(0.0, |value| if f.lower_is_worse { value } else { -value });
    (rank, f.value.is_none(), worse)
}

fn found(sheet: &mut Sheet, desk: &Desk<'_>) {
    sheet.heading("What we looked at and what we found");
    let mut all = desk.as_found();
    if all.is_empty() {
        sheet.text("Nothing has been measured yet.");
        return;
    }
    // Different things stay in the sequence they were looked at; of one thing the worst reading comes first.
    let thing = |f: &Finding| (f.check.clone(), f.reading.clone(), f.position);
    let mut things = Vec::new();
    for f in &all {
        if !things.contains(&thing(f)) {
            things.push(thing(f));
        }
    }
    all.sort_by(|a, b| {
        let place = |f: &Finding| things.iter().position(|t| *t == thing(f));
        let (a_rank, a_look, a_worse) = severity(a);
        let (b_rank, b_look, b_worse) = severity(b);
        (a_rank, a_look, place(a)).cmp(&(b_rank, b_look, place(b))).then(a_worse.total_cmp(&b_worse))
    });
    let sound = all.iter().filter(|f| f.verdict == Verdict::Inside).count();
    // One line a reading and place: the worst of several stands for them.
    let mut odd: Vec<&Finding> = Vec::new();
    for f in all.iter().copied().filter(|f| f.verdict != Verdict::Inside) {
        if !odd.iter().any(|o| (&o.check, &o.reading, o.position) == (&f.check, &f.reading, f.position)) {
            odd.push(f);
        }
    }
    let rows = odd.iter().take(READINGS).map(|f| {
        let reading = plain(&f.reading);
        let words = match f.value {
            Some(_) => f.shown.clone(),
            None if f.reading == "result" => f.shown.clone(),
            None => format!("{reading}: {}", f.shown),
        };
        vec![
            Cell::of(f.check_name.clone()),
            Cell::of(capital(&desk.place_of(f))),
            Cell::strong(words),
            Cell::of(judged(desk, f)),
        ]
    });
    let rows: Vec<Vec<Cell>> = rows.collect();
    sheet.table(&[("Looked at", Some(3.2)), ("Where", Some(1.5)), ("Found", Some(1.8)), ("Judged", Some(1.6))], rows);
    let other = all.len() - sound;
    let rest = match (other, odd.len() > READINGS) {
        (0, _) => String::new(),
        (_, false) => format!(" The other {other} stand above, one line for each place."),
        (_, true) => {
            format!(" The other {other} speak of {} places; the {READINGS} that matter most stand above.", odd.len())
        }
    };
    sheet.text(format!("{sound} of {} readings were inside their limits.{rest}", all.len()));
    let odd_along = desk.case.series.iter().filter(|s| !s.after_repair && s.verdict != Verdict::Inside);
    for s in odd_along.take(ALONG) {
        sheet.text(format!("{}: {}.", s.name(), s.plain));
    }
    not_the_engine(sheet, desk);
    let drawn: Vec<&Finding> = odd.iter().copied().filter(|f| f.value.is_some()).take(DRAWN).collect();
    let mut row = Vec::new();
    for f in drawn {
        if let Some(svg) = reading_between_limits(f) {
            let alt = described(&svg);
            row.push((format!("{}{}", f.name(), desk.also_at(Some(f.position))), sheet.picture(svg, alt, 1.0)));
        }
    }
    sheet.row(row);
    faces(sheet, desk);
    let heads = desk.layout.heads().len();
    sheet.subheading(if heads == 1 {
        "The head, seen from the fire side"
    } else {
        "The heads, seen from the fire side"
    });
    desk.heads(sheet, &all);
}

/// The maps of faces that are not flat, or of which it cannot be told.
fn faces(sheet: &mut Sheet, desk: &Desk<'_>) {
    let odd =
        desk.case.faces.iter().filter(|f| !f.after_repair && f.flatness.is_some() && f.verdict != Verdict::Inside);
    for face in odd {
        let svg = face_map(face, desk.layout, Breadth::Sheet);
        if svg.is_empty() {
            continue;
        }
        let heading = capital(&format!("{}{}", face.name, desk.also_at(Some(face.position))));
        sheet.subheading(heading);
        let alt = described(&svg);
        let picture = sheet.picture(svg, alt, 0.8);
        sheet.pictures(vec![picture]);
    }
}

/// The mark in a customer's words: a look has no limit to be outside of.
fn judged(desk: &Desk<'_>, f: &Finding) -> String {
    let mark = desk.mark(f);
    match mark {
        Mark::Outside if f.value.is_none() => "a sign of trouble".to_owned(),
        Mark::Outside => "outside its limit".to_owned(),
        Mark::ByJudgement if f.value.is_none() => "to be judged".to_owned(),
        Mark::None | Mark::Inside | Mark::ByJudgement | Mark::CannotTell | Mark::Again => mark.words().to_owned(),
    }
}

fn not_the_engine(sheet: &mut Sheet, desk: &Desk<'_>) {
    let of = |word: &str| desk.case.outside.iter().filter(|o| o.state == word).collect::<Vec<_>>();
    for o in of("found") {
        let how = o.how.as_ref().map(|h| format!(" ({h})")).unwrap_or_default();
        sheet.text(format!("Found outside the engine: {}{how}.", o.name));
    }
    let excluded: Vec<&str> = of("excluded").iter().map(|o| o.name.as_str()).collect();
    if !excluded.is_empty() {
        sheet.text(format!("Ruled out, so that it is the engine: {}.", excluded.join("; ")));
    }
}

fn believed(sheet: &mut Sheet, desk: &Desk<'_>) {
    sheet.heading("What we believe");
    match &desk.state.cause {
        Some(logbook::CauseAnswer::Named(named)) => {
            let name =
                desk.knowledge.cause(&named.cause).map_or_else(|| capital(&plain(&named.cause)), |c| c.name.clone());
            let why = named.because.as_ref().map(|b| format!(": {b}")).unwrap_or_default();
            sheet.strong(format!("Why it failed, named by {}: {name}{why}.", named.by));
        }
        Some(logbook::CauseAnswer::UnknownSigned(signed)) => {
            sheet.strong(format!("Why it failed is unknown; {} signs for that.", signed.by));
        }
        None => {}
    }
    let told = beliefs_told(desk.case, desk.knowledge);
    let causes = desk.case.causes.iter().filter(|b| b.p >= TOLD).take(3);
    let chosen: Vec<&Belief> = causes.chain(told.into_iter().take(5)).collect();
    if chosen.is_empty() {
        sheet.text("Nothing stands out so far.");
        return;
    }
    let mut rows = Vec::new();
    for b in chosen {
        let place = desk.also_at(b.position);
        // A bearing is named by its place already.
        let twice = place.to_lowercase().contains(&b.name.to_lowercase());
        let name = if twice { capital(&b.place) } else { format!("{}{place}", b.name) };
        let svg = ten_engines(b.p);
        let alt = described(&svg);
        let picture = sheet.picture(svg, alt, 44.0);
        rows.push(vec![
            Cell::of(name),
            Cell { picture: Some(picture), ..Cell::default() },
            Cell::of(of_ten_in_words(b.p)),
        ]);
    }
    sheet.table(&[("What", Some(2.6)), ("Of ten engines", None), ("In words", Some(2.7))], rows);
}

fn options(sheet: &mut Sheet, desk: &Desk<'_>) {
    sheet.heading("What can be done");
    let chosen = desk.state.chosen.as_ref().map(|c| c.option.as_str());
    // What is ruled out stands below, with its reason.
    let mut open = ways_shown(desk.case, desk.knowledge, chosen);
    open.retain(|o| o.struck_out.is_none());
    if open.is_empty() {
        sheet.text("No way is open yet.");
    }
    let rows: Vec<Vec<Cell>> = open
        .iter()
        .map(|o| {
            let mut name = o.name.clone();
            if Some(o.id.as_str()) == chosen {
                name = format!("{name} (chosen)");
            }
            let opens =
                if o.opens.is_empty() { String::new() } else { format!("opens {}", o.opens.join("; ").to_lowercase()) };
            let renewed = o.renewed.iter().map(|w| plain(w)).collect::<Vec<_>>().join(", ");
            let runs = o.p_trouble_free.map_or_else(|| "nothing left to run".to_owned(), of_ten_in_words);
            vec![
                Cell { note: opens, ..Cell::strong(name) },
                Cell::of(desk.price(o)),
                Cell::of(days(o.days)),
                Cell::of(if renewed.is_empty() { "nothing".to_owned() } else { renewed }),
                Cell::of(runs.trim_start_matches("about ").trim_end_matches(" like this").to_owned()),
                Cell::of(desk.warranty(o)),
            ]
        })
        .collect();
    sheet.table(
        &[
            ("Way", Some(2.1)),
            ("Price now", Some(1.35)),
            ("Days", Some(0.75)),
            ("Renewed", Some(1.7)),
            ("Run on without trouble", Some(1.2)),
            ("Warranty", Some(1.9)),
        ],
        rows,
    );
    if open.iter().any(|o| o.money.is_none()) {
        sheet.small("Prices are in labour units, one for each billed hour, until the shop has told its hourly rate.");
    }
    let lines: Vec<OptionLine> = open.iter().map(|o| (*o).clone()).collect();
    if !lines.is_empty() {
        let svg = cost_intervals(&lines, Breadth::Sheet);
        let alt = described(&svg);
        let picture = sheet.picture(svg, alt, 0.95);
        sheet.pictures(vec![picture]);
    }
    let out: Vec<Vec<Cell>> = desk
        .case
        .options
        .iter()
        .filter_map(|o| {
            let why = o.struck_out.as_ref()?;
            let finding = why.entry.as_ref().and_then(|e| desk.finding(e));
            let shown = finding.map(|f| format!("{}{}: {}", f.name(), desk.also_at(Some(f.position)), f.shown));
            let reading = shown.map(|s| format!(" Shown by: {s}.")).unwrap_or_default();
            let name = Cell { text: o.name.clone(), struck: true, ..Cell::default() };
            Some(vec![name, Cell::of(format!("{}{reading}", why.why))])
        })
        .collect();
    if !out.is_empty() {
        sheet.subheading("Ruled out, and why");
        sheet.table(&[("Way", Some(1.2)), ("Why not", Some(2.6))], out);
    }
}

fn decided(sheet: &mut Sheet, desk: &Desk<'_>) {
    let state = desk.state;
    sheet.heading("What is recommended and what was decided");
    match desk.case.options.iter().find(|o| o.id == desk.case.advice.best) {
        Some(best) => sheet.text(format!(
            "On average this way costs you least in the end, all that may follow counted in: {}.",
            best.name
        )),
        None => sheet.text("No way is recommended yet."),
    }
    if let Some(chosen) = &state.chosen {
        sheet.strong(format!(
            "Chosen by {}: {}. Reason: {}.",
            chosen.by,
            desk.option_name(&chosen.option),
            chosen.reason
        ));
    }
    let rows: Vec<Vec<Cell>> = state
        .approvals
        .iter()
        .map(|a| {
            vec![
                Cell::of(capital(&plain(a.covers.word()))),
                Cell::strong(format!("up to {}", a.ceiling)),
                Cell::of(format!("{}, {}", a.who, plain(a.how.word()))),
                Cell::of(format!("“{}”", a.words)),
            ]
        })
        .collect();
    sheet.table(
        &[("Yes to", Some(1.0)), ("Ceiling", Some(1.3)), ("Who and how", Some(1.4)), ("Words", Some(3.0))],
        rows,
    );
    let agreed = workup::committed::courses(state).into_iter().filter(|course| !course.ceilings.is_empty());
    for course in agreed {
        let svg = approval_strip(&course, Breadth::Sheet);
        let alt = described(&svg);
        sheet.subheading(format!("What was agreed for the {}, and what is committed", plain(course.covers.word())));
        let picture = sheet.picture(svg, alt, 0.8);
        sheet.pictures(vec![picture]);
    }
    for refusal in &state.refusals {
        let of = refusal.option.as_ref().map(|o| format!(" ({})", desk.option_name(o))).unwrap_or_default();
        sheet.text(format!("Refused by {}: {}{of}: “{}”", refusal.who, plain(refusal.covers.word()), refusal.words));
    }
}

fn handed_back(sheet: &mut Sheet, desk: &Desk<'_>) {
    let Some(back) = &desk.state.handed_back else { return };
    sheet.heading("Hand-back");
    for (name, items) in [("Done", &back.done), ("Not done", &back.not_done), ("Watch for", &back.watch_for)] {
        if !items.is_empty() {
            sheet.subheading(name);
            sheet.list(items.iter().map(|i| capital(i)).collect());
        }
    }
    let mut fields = Vec::new();
    for check in back.first_check.iter().chain(&back.further_checks) {
        let by = [check.by_date.map(|d| d.to_string()), check.by_distance.as_ref().map(figure)];
        let by = by.into_iter().flatten().collect::<Vec<_>>().join(" or ");
        let when = if by.is_empty() { String::new() } else { format!(", by {by}") };
        fields.push(("Come back for".to_owned(), Some(format!("{}{when}", check.what))));
    }
    if let Some(words) = &back.warranty {
        let months = back.warranty_months.map(|m| format!("{m} months. ")).unwrap_or_default();
        fields.push(("Warranty".to_owned(), Some(format!("{months}{words}"))));
    }
    if let Some(odometer) = &back.odometer {
        fields.push(("Odometer at hand-back".to_owned(), Some(figure(odometer))));
    }
    sheet.fields(fields);
}
