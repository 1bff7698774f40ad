//! The findings: what a second technician needs to stand where the first one stands. Every reading as found with its
//! doubt, its limit and whose that is; what is believed and what speaks for and against it; what is worth reading next,
//! or why nothing is; the ways to put it right.

use quantity::Verdict;
use quantity::print::printed;
use workup::{Belief, Finding};

use super::sheet::{Cell, Sheet};
use super::words::{Desk, capital, day, described, plain};
use crate::pictures::reading::{share_of_best, shown_unit};
use crate::pictures::{Breadth, check_ladder, of_ten_in_words};

/// From which chance on a condition stands on the sheet \[ours\].
const TOLD: f64 = 0.1;
/// Most conditions on the sheet \[ours\].
const BELIEFS: usize = 12;
/// Most reasons for and against one of them \[ours\].
const REASONS: usize = 3;
/// Least weight of a reason that is told \[ours\]: it moves the odds by three tenths.
const WEIGHT: f64 = 0.262;

/// Writes the findings.
pub(crate) fn write(sheet: &mut Sheet, desk: &Desk<'_>) {
    sheet.text(format!("{}. {}.", desk.engine_identity(), capital(&desk.case.front)));
    for complaint in &desk.state.complaints {
        sheet.quote(&complaint.words, String::new());
    }
    notices(sheet, desk);
    readings(sheet, desk);
    outside(sheet, desk);
    beliefs(sheet, desk);
    next(sheet, desk);
    ways(sheet, desk);
    let knowledge: String = desk.case.knowledge.chars().take(8).collect();
    sheet.small(format!(
        "Chances speak of engines like this one with these very readings. A limit named as usual is the trade's and stands \
         in for the engine's own, which goes before it. Doubt is one standard uncertainty. Judged by knowledge {knowledge}."
    ));
}

/// What is wrong with the record: it stands before what rests on it.
fn notices(sheet: &mut Sheet, desk: &Desk<'_>) {
    if desk.case.notices.is_empty() {
        return;
    }
    sheet.heading("To be settled first");
    let words = desk.case.notices.iter().map(|n| capital(&format!("{}; {}.", n.message, n.what_to_do)));
    sheet.list(words.collect());
}

/// The readings of one check by one person on one day, in the sequence taken.
struct Round<'a> {
    first: &'a Finding,
    all: Vec<&'a Finding>,
}

fn readings(sheet: &mut Sheet, desk: &Desk<'_>) {
    sheet.heading("Readings as found");
    let mut rounds: Vec<Round<'_>> = Vec::new();
    for f in desk.as_found() {
        let same =
            |r: &&mut Round<'_>| (&r.first.check, &r.first.by, day(&r.first.at)) == (&f.check, &f.by, day(&f.at));
        match rounds.iter_mut().find(same) {
            Some(round) => round.all.push(f),
            None => rounds.push(Round { first: f, all: vec![f] }),
        }
    }
    if rounds.is_empty() {
        sheet.text("Nothing has been read yet.");
        return;
    }
    let rows: Vec<Vec<Cell>> = rounds.iter().map(|round| one_round(desk, round)).collect();
    sheet.table(
        &[("Check, by, with what, against what", Some(2.3)), ("Not inside", Some(2.2)), ("Inside", Some(1.7))],
        rows,
    );
    for s in desk.case.series.iter().filter(|s| !s.after_repair) {
        sheet.text(format!("{}: {}.", s.name(), s.plain));
    }
}

fn one_round(desk: &Desk<'_>, round: &Round<'_>) -> Vec<Cell> {
    let several = round.all.iter().any(|f| f.reading != round.first.reading);
    let words = |f: &Finding| {
        let place = if f.position == anatomy::Position::Engine { String::new() } else { desk.place_of(f) };
        let spot = f.spot.clone().unwrap_or_default();
        let reading = if several { plain(&f.reading) } else { String::new() };
        let of: Vec<String> = [capital(&place), spot, reading].into_iter().filter(|w| !w.is_empty()).collect();
        let of = of.join(", ");
        if of.is_empty() { f.shown.clone() } else { format!("{of}: {}", f.shown) }
    };
    let judged = |f: &Finding| match f.p_outside.filter(|p| (0.005..=0.995).contains(p)) {
        Some(p) => format!("{} ({}; outside with {:.0} %)", words(f), desk.mark(f).words(), 100.0 * p),
        None => format!("{} ({})", words(f), desk.mark(f).words()),
    };
    let (inside, odd): (Vec<&Finding>, Vec<&Finding>) =
        round.all.iter().copied().partition(|f| f.verdict == Verdict::Inside && !f.measure_again);
    // Gauge, doubt and limit are mostly the same along a round, and stand once.
    let mut with: Vec<String> = Vec::new();
    for f in &round.all {
        for word in [with_what(f), against(f)].into_iter().filter(|w| !w.is_empty()) {
            if !with.contains(&word) {
                with.push(word);
            }
        }
    }
    let note = [vec![format!("{}, {}", round.first.by, day(&round.first.at))], with].concat().join("; ");
    vec![
        Cell { note, ..Cell::of(round.first.check_name.clone()) },
        Cell::strong(odd.iter().map(|f| judged(f)).collect::<Vec<_>>().join("; ")),
        Cell::of(inside.iter().map(|f| words(f)).collect::<Vec<_>>().join("; ")),
    ]
}

/// The gauge and the doubt of a reading, in the unit in which it was typed.
fn with_what(f: &Finding) -> String {
    let (unit, way) = shown_unit(f);
    // A doubt is a difference: where the scale has its own zero, only the span counts.
    let doubt = f.u.map(|u| format!("doubt {} {unit}", printed((way(u) - way(0.0)).abs(), 2)));
    [f.gauge.clone(), doubt].into_iter().flatten().collect::<Vec<_>>().join(", ")
}

/// The limit that a reading was held against, and whose it is.
fn against(f: &Finding) -> String {
    let Some(limit) = &f.limit else { return String::new() };
    let (unit, way) = shown_unit(f);
    let share = share_of_best(f).is_some();
    let figure = |x: f64| {
        if share {
            format!("{} % of the best", printed(100.0 * x, 3))
        } else {
            format!("{} {unit}", printed(way(x), 4))
        }
    };
    let [low_out, low_keep, high_keep, high_out] = limit.edges;
    let edges = match (low_keep.or(low_out), high_keep.or(high_out)) {
        (Some(low), Some(high)) => format!("{} to {}", figure(low), figure(high)),
        (None, Some(high)) => format!("at most {}", figure(high)),
        (Some(low), None) => format!("at least {}", figure(low)),
        (None, None) => return String::new(),
    };
    if limit.own { format!("{edges} (engine's own: {})", limit.source) } else { format!("{edges} (usual)") }
}

/// What may be wrong besides the engine.
fn outside(sheet: &mut Sheet, desk: &Desk<'_>) {
    let lines = desk.case.outside.iter().map(|o| {
        let how = o.how.as_ref().map(|h| format!(" ({h})")).unwrap_or_default();
        match o.state.as_str() {
            "open" => format!("{}: open. {}", o.name, capital(&plain(&o.check))),
            state => format!("{}: {}{how}", o.name, plain(state)),
        }
    });
    let lines: Vec<String> = lines.collect();
    if !lines.is_empty() {
        sheet.heading("Is it the engine at all?");
        sheet.list(lines);
    }
}

fn beliefs(sheet: &mut Sheet, desk: &Desk<'_>) {
    sheet.heading("What is believed, and what speaks for and against it");
    let case = desk.case;
    let told: Vec<&Belief> = case.causes.iter().chain(&case.conditions).filter(|b| b.p >= TOLD).take(BELIEFS).collect();
    if told.is_empty() {
        sheet.text("Nothing stands out so far.");
        return;
    }
    let rows = told.iter().map(|b| {
        let states: Vec<String> = b
            .states
            .iter()
            .skip(1)
            .filter(|(_, p)| *p >= 0.02 && b.states.len() > 2)
            .map(|(state, p)| format!("{} {:.0} %", plain(state), 100.0 * p))
            .collect();
        let reasons = |side: &dyn Fn(f64) -> bool| {
            let mut all: Vec<_> = b.reasons.iter().filter(|r| side(r.weight)).collect();
            all.sort_by(|a, b| b.weight.abs().total_cmp(&a.weight.abs()));
            let words = all.iter().take(REASONS).map(|r| format!("{} ({})", r.words, times(r.weight.abs().exp())));
            words.collect::<Vec<_>>().join("; ")
        };
        let cause = if b.cause { "root cause" } else { "" };
        vec![
            Cell { note: cause.to_owned(), ..Cell::strong(format!("{}{}", b.name, desk.also_at(b.position))) },
            Cell { note: states.join(", "), ..Cell::of(of_ten_in_words(b.p)) },
            Cell::of(format!("{:.0} %", 100.0 * b.before)),
            Cell::of(reasons(&|w| w > WEIGHT)),
            Cell::of(reasons(&|w| w < -WEIGHT)),
        ]
    });
    let rows: Vec<Vec<Cell>> = rows.collect();
    sheet.table(
        &[
            ("What", Some(1.6)),
            ("How sure", Some(1.3)),
            ("Before", None),
            ("For it", Some(2.8)),
            ("Against it", Some(1.7)),
        ],
        rows,
    );
    sheet.small("In brackets: by how much the reading moves the odds, all other readings kept.");
}

/// A factor of the odds; beyond a thousand nobody needs its digits.
fn times(factor: f64) -> String {
    match factor {
        f if f > 1000.0 => "over \u{d7} 1,000".to_owned(),
        f if f >= 10.0 => format!("\u{d7} {f:.0}"),
        f => format!("\u{d7} {f:.1}"),
    }
}

fn next(sheet: &mut Sheet, desk: &Desk<'_>) {
    let advice = &desk.case.advice;
    if desk.state.closed.is_some() {
        return;
    }
    sheet.heading("What is worth reading next");
    if let Some(stop) = &advice.stop {
        sheet.statement("No further check pays", stop.words.clone());
    }
    if !(advice.next.is_empty() && advice.rest.is_empty()) {
        let svg = check_ladder(advice, desk.state.rates.labour_rate.as_ref(), Breadth::Sheet);
        let alt = described(&svg);
        let picture = sheet.picture(svg, alt, 0.8);
        sheet.pictures(vec![picture]);
    }
    for check in advice.next.iter().take(1) {
        desk.cautions(sheet, &check.cautions);
    }
    if !advice.last_chance.is_empty() {
        let name = |id: &String| desk.knowledge.check(id).map_or_else(|| plain(id), |c| c.name.clone());
        let names: Vec<String> = advice.last_chance.iter().map(name).collect();
        sheet.text(format!("Last chance, before opening goes on: {}.", names.join("; ")));
    }
}

fn ways(sheet: &mut Sheet, desk: &Desk<'_>) {
    sheet.heading("Ways to put it right");
    let chosen = desk.state.chosen.as_ref().map(|c| c.option.as_str());
    let rows = desk.case.options.iter().map(|o| {
        let name = if Some(o.id.as_str()) == chosen { format!("{} (chosen)", o.name) } else { o.name.clone() };
        let out = o.struck_out.as_ref().map(|s| s.why.clone()).unwrap_or_default();
        let runs = o.p_trouble_free.map(of_ten_in_words).unwrap_or_default();
        vec![
            Cell { struck: !out.is_empty(), ..Cell::of(name) },
            Cell::of(if out.is_empty() { desk.price(o) } else { String::new() }),
            Cell::of(if out.is_empty() { runs } else { out }),
        ]
    });
    let rows: Vec<Vec<Cell>> = rows.collect();
    sheet.table(
        &[("Way", Some(2.0)), ("Price now", Some(1.4)), ("Runs on without trouble, or why not", Some(2.6))],
        rows,
    );
    if let Some(first) = desk.case.options.iter().find(|o| o.id == desk.case.advice.best) {
        sheet.text(format!("Costs least on average, all that may follow counted in: {}.", first.name));
    }
}
