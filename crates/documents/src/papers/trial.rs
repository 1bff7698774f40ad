//! How good the advice is, on one sheet: what ways of testing cost, and whether stated chances came true.

use workup::simulate::{Range, Report, Way};

use super::sheet::{Cell, Sheet, TitleBlock};
use super::{PaperError, PaperSize, Typeset, press};
use crate::pictures::{stated_and_seen, ways_of_testing};

const TITLE: &str = "How good the advice is";
/// Kinds of thing that stand in the table \[ours\].
const KINDS: usize = 8;

/// Typesets a trial of the advice.
///
/// # Errors
/// [`PaperError::Typesetting`] where the typesetter refuses.
pub fn typeset_trial(
    report: &Report,
    issued: &str,
    shop: Option<&str>,
    size: PaperSize,
) -> Result<Typeset, PaperError> {
    let block = TitleBlock {
        owner: shop.unwrap_or("Engine repair workshop").to_owned(),
        letterhead: Vec::new(),
        title: TITLE.to_owned(),
        kind: "Trial".to_owned(),
        number: "none".to_owned(),
        engine: report.engine.clone(),
        issued: issued.to_owned(),
        revision: "A".to_owned(),
        made_by: "witnessmark".to_owned(),
        chain: "none".to_owned(),
        language: "en".to_owned(),
    };
    let mut sheet = Sheet::new(TITLE, block, size);
    sheet.text(basis(report));
    let knowledge: String = report.knowledge.chars().take(8).collect();
    sheet.small(format!(
        "Seed {}; knowledge {knowledge}. The same seed and knowledge give the same figures.",
        report.seed
    ));
    sheet.heading("What it costs");
    sheet.strong(verdict(report));
    let picture = sheet.picture(ways_of_testing(&report.ways), "What each way of testing costs on average", 1.0);
    sheet.pictures(vec![picture]);
    let rows = report.ways.iter().map(|w| {
        let saves = if w.way == Way::Advice { String::new() } else { between(&w.advice_saves, 2) };
        let figure = |x: f64, digits: usize| format!("{x:.digits$}");
        vec![
            Cell::of(w.words),
            Cell::of(figure(w.total, 2)),
            Cell::of(figure(w.checks, 2)),
            Cell::of(figure(w.option, 2)),
            Cell::of(figure(w.readings, 1)),
            Cell::of(figure(w.right, 0)),
            Cell::of(saves),
        ]
    });
    let columns = [
        ("Way of testing", Some(1.0)),
        ("In all", None),
        ("Checks", None),
        ("Repair", None),
        ("Readings", None),
        ("Right in 100", None),
        ("The advice saves", None),
    ];
    sheet.table(&columns, rows.collect());
    sheet.small(format!(
        "Labour units (hours of the shop) an engine. The fixed list: {}. Right: the option chosen was the one that is really cheapest. Savings engine by engine; in brackets what holds 95 times in 100.",
        report.list
    ));
    sheet.heading("Whether stated chances came true");
    let honesty = &report.honesty;
    let picture = sheet.picture(stated_and_seen(&honesty.bins), "Chances stated, and how often it was so", 0.62);
    sheet.pictures(vec![picture]);
    sheet.fields(figures(report).into_iter().map(|(name, figure)| (name.to_owned(), Some(figure))).collect());
    let rows = honesty.kinds.iter().take(KINDS).map(|k| {
        let share = |p: f64| Cell::of(format!("{:.1} %", 100.0 * p));
        vec![
            Cell::of(k.name.clone()),
            Cell::of(k.statements.to_string()),
            share(k.stated),
            share(k.seen),
            share(k.oracle),
        ]
    });
    let columns = [
        ("About what, the furthest off first", Some(1.0)),
        ("Statements", None),
        ("Stated", None),
        ("Seen", None),
        ("Stated by who knows the true chances", None),
    ];
    sheet.table(&columns, rows.collect());
    press::print("trial", issued, &sheet)
}

/// What was tried, in a sentence.
fn basis(report: &Report) -> String {
    let drawn = if report.spread > 0.0 {
        format!(
            "{} engines were drawn from chances that differ from those of the knowledge by {} in log-odds",
            report.engines, report.spread
        )
    } else {
        format!("{} engines were drawn from the chances of the knowledge", report.engines)
    };
    format!(
        "{drawn}, each brought in with a complaint, and each tested in every way below. It shows whether the sums follow from \
         the chances; whether the chances are those of the world only records of jobs can show. What may come back after the \
         repair enters by its chance."
    )
}

/// What the advice saves against the fixed list, the single steps and no checks, and whether that is sure.
fn verdict(report: &Report) -> String {
    let against = |way: Way| report.ways.iter().find(|w| w.way == way);
    let said = [Way::FixedList, Way::OneStep, Way::NoChecks].into_iter().filter_map(against).map(|w| {
        let saved = &w.advice_saves;
        let sure =
            if saved.low > 0.0 || saved.high < 0.0 { "" } else { ", which so few engines cannot tell from nothing" };
        format!("{} against \"{}\"{sure}", between(saved, 2), w.words)
    });
    format!("In labour units an engine the advice saves {}.", said.collect::<Vec<_>>().join("; "))
}

fn between(range: &Range, digits: usize) -> String {
    format!("{:.digits$} ({:.digits$} to {:.digits$})", range.mean, range.low, range.high)
}

/// The figures of the statements, with their names.
#[must_use]
pub fn figures(report: &Report) -> Vec<(&'static str, String)> {
    let h = &report.honesty;
    let [brier, brier_oracle] = h.brier;
    let [log, log_oracle] = h.log_loss;
    vec![
        ("Statements", h.statements.to_string()),
        ("Mean squared error (Brier)", format!("{brier:.4}; of who knows the true chances {brier_oracle:.4}")),
        ("Mean loss by logarithm", format!("{log:.4}; of who knows the true chances {log_oracle:.4}")),
        (
            "Expected calibration error",
            format!(
                "{}; of who knows the true chances {:.4}",
                between(&h.calibration_error, 4),
                h.calibration_error_oracle
            ),
        ),
        ("Slope of seen on stated log-odds", between(&h.slope, 2)),
        ("Slope of real on expected cost", between(&h.cost_slope, 2)),
        (
            "Stated above 80 %",
            format!(
                "{} statements, stated {:.1} %, seen {:.1} % ({:.1} to {:.1})",
                h.confident.statements,
                100.0 * h.confident.stated,
                100.0 * h.confident.seen.mean,
                100.0 * h.confident.seen.low,
                100.0 * h.confident.seen.high
            ),
        ),
    ]
}
