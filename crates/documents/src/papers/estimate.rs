//! The written estimate: what is done, with which parts, on which quotes, under which ceiling.

use std::collections::BTreeSet;

use knowledge::workshop::{DoneBy, Operation, Reuse};

use super::PaperError;
use super::sheet::{Cell, Sheet};
use super::words::{Desk, capital, days, hours, plain};

/// Writes the estimate.
pub(crate) fn write(sheet: &mut Sheet, desk: &Desk<'_>) -> Result<(), PaperError> {
    let job = || desk.case.job.clone();
    let cause = match &desk.state.cause {
        None => return Err(PaperError::CauseUnnamed { job: job() }),
        Some(logbook::CauseAnswer::Named(named)) => {
            let name = desk.knowledge.cause(&named.cause).map_or_else(|| plain(&named.cause), |c| c.name.clone());
            format!("{name}, named by {}", named.by)
        }
        Some(logbook::CauseAnswer::UnknownSigned(signed)) => format!("unknown, signed by {}", signed.by),
    };
    let option = desk.option().ok_or_else(|| PaperError::NoOption { job: job() })?;
    sheet.statement(
        format!("{}: {}", option.name, desk.price(option)),
        format!("{} days until it is ready; price from: {}", days(option.days), option.price_from),
    );
    let chosen = desk.state.chosen.as_ref();
    let who = chosen.map_or_else(
        || "nobody yet; this is the way that costs least on average".to_owned(),
        |c| format!("{}: {}", c.by, c.reason),
    );
    let mut fields = vec![
        ("Vehicle".to_owned(), Some(desk.vehicle()).filter(|v| !v.is_empty())),
        ("Engine".to_owned(), Some(desk.engine_identity())),
        ("Chosen by".to_owned(), Some(who)),
        ("Why it failed".to_owned(), Some(cause)),
        ("Warranty".to_owned(), Some(option.warranty.clone())),
    ];
    if !option.opens.is_empty() {
        fields.push(("Opens".to_owned(), Some(option.opens.join("; "))));
    }
    sheet.fields(fields);
    let operations = desk.operations(&option.id);
    work(sheet, desk, &operations);
    parts(sheet, desk, &operations);
    quotes(sheet, desk, &option.id);
    approvals(sheet, desk);
    moves(sheet, desk, &option.id);
    terms(sheet, desk);
    Ok(())
}

fn work(sheet: &mut Sheet, desk: &Desk<'_>, operations: &[&Operation]) {
    if operations.is_empty() {
        return;
    }
    sheet.heading("Work");
    let rows: Vec<Vec<Cell>> = operations
        .iter()
        .map(|o| {
            let by = match o.done_by {
                DoneBy::Shop => "own shop",
                DoneBy::Machine => "machine shop",
                DoneBy::Either => "own or machine shop",
            };
            let each = [hours(o.labour, "h"), hours(o.machine, "units")];
            let each: Vec<String> = each.into_iter().filter(|w| !w.is_empty()).collect();
            vec![
                Cell::of(o.name.clone()),
                Cell::of(by),
                Cell::of(desk.counted(o.per)),
                Cell::of(if each.is_empty() { "as quoted".to_owned() } else { each.join(" and ") }),
            ]
        })
        .collect();
    sheet.table(
        &[("What", Some(3.4)), ("Who", Some(1.2)), ("Counted by", Some(1.6)), ("Usually, each", Some(1.5))],
        rows,
    );
    sheet.small(
        "Hours and units are the trade's usual spread for one of each, and no price; one unit is the price of one \
         billed hour. A quote, where there is one, takes their place.",
    );
}

fn parts(sheet: &mut Sheet, desk: &Desk<'_>, operations: &[&Operation]) {
    let joints: BTreeSet<&str> = operations.iter().flat_map(|o| o.opens.iter().map(String::as_str)).collect();
    let mut rows = Vec::new();
    for joint in desk.knowledge.joints.iter().filter(|j| joints.contains(j.id.as_str())) {
        let once = joint.value.parts.iter().filter(|p| p.reuse == Reuse::Never);
        let named: Vec<String> = once.map(|p| format!("{}: {}", p.name, desk.quantity(p))).collect();
        if !named.is_empty() {
            rows.push(vec![Cell::of(joint.name.clone()), Cell::of(named.join("; "))]);
        }
    }
    if rows.is_empty() {
        return;
    }
    sheet.heading("Parts that opening calls for, used once only");
    sheet.table(&[("Joint", Some(1.2)), ("Parts and how many", Some(4.0))], rows);
    sheet.small("Parts that this engine does not have fall away. The parts list has the others, and what was ordered.");
}

fn quotes(sheet: &mut Sheet, desk: &Desk<'_>, option: &str) {
    let chosen: Vec<_> = desk.state.chosen.iter().flat_map(|c| c.quotes.clone()).collect();
    let rows: Vec<Vec<Cell>> = desk
        .state
        .quotes
        .iter()
        .filter(|q| chosen.contains(&q.in_entry) || q.option.as_deref() == Some(option))
        .map(|q| {
            let need = q.need.as_deref().and_then(|n| desk.operation(n).map(|o| o.name.clone()));
            let what = need
                .or_else(|| q.option.as_deref().map(|o| format!("whole: {}", desk.option_name(o))))
                .or_else(|| q.need.as_deref().map(plain))
                .unwrap_or_else(|| "the job".to_owned());
            let includes = if q.includes.is_empty() { String::new() } else { format!(" ({})", q.includes.join(", ")) };
            let extra = [
                q.freight.as_ref().map(|f| format!("freight {f}")),
                q.core_deposit.as_ref().map(|d| format!("deposit {d}, back with the old part")),
                q.valid_until.map(|d| format!("holds until {d}")),
                q.warranty.clone(),
            ];
            let extra = extra.into_iter().flatten().collect::<Vec<_>>().join("; ");
            vec![
                Cell::of(q.supplier.clone()),
                Cell::of(format!("{what}{includes}")),
                Cell::strong(q.price.to_string()),
                Cell::of(lead(q.lead_days)),
                Cell::of(extra),
            ]
        })
        .collect();
    if rows.is_empty() {
        return;
    }
    sheet.heading("Quotes it stands on");
    sheet.table(
        &[("From", Some(1.5)), ("For", Some(2.6)), ("Price", Some(1.2)), ("Days", Some(0.7)), ("Besides", Some(1.7))],
        rows,
    );
}

fn lead([low, high]: [u32; 2]) -> String {
    if low == high { low.to_string() } else { format!("{low} to {high}") }
}

fn approvals(sheet: &mut Sheet, desk: &Desk<'_>) {
    sheet.heading("Approvals");
    if desk.state.approvals.is_empty() {
        sheet.text("None yet. Nothing is done before there is one.");
    }
    let rows: Vec<Vec<Cell>> = desk
        .state
        .approvals
        .iter()
        .map(|a| {
            vec![
                Cell::of(capital(&plain(a.covers.word()))),
                Cell::strong(a.ceiling.to_string()),
                Cell::of(a.who.clone()),
                Cell::of(format!("{}, {}", plain(a.how.word()), super::words::day(&a.made_at))),
                Cell::of(format!("“{}”", a.words)),
            ]
        })
        .collect();
    sheet.table(
        &[
            ("For", Some(0.9)),
            ("Ceiling", Some(1.2)),
            ("Who", Some(1.1)),
            ("How and when", Some(1.3)),
            ("Words", Some(2.8)),
        ],
        rows,
    );
    sheet.text("Nothing above the ceiling is spent before a new yes is written down here.");
}

fn moves(sheet: &mut Sheet, desk: &Desk<'_>, option: &str) {
    let Some(known) = desk.known_option(option) else { return };
    let mut items: Vec<String> = known.goes_wrong.iter().map(|w| capital(w)).collect();
    items.extend(known.hidden_costs.iter().map(|w| capital(w)));
    if items.is_empty() {
        return;
    }
    sheet.heading("What can move the price");
    sheet.list(items);
}

fn terms(sheet: &mut Sheet, desk: &Desk<'_>) {
    sheet.heading("Terms");
    let rates = &desk.state.rates;
    let until = desk.state.quotes.iter().filter_map(|q| q.valid_until).min();
    sheet.fields(vec![
        ("Labour rate".to_owned(), rates.labour_rate.as_ref().map(|r| format!("{r} a billed hour"))),
        (
            "Tax".to_owned(),
            rates
                .tax_percent
                .as_ref()
                .map(|t| format!("{t} per cent as told; the shop says whether it is in the price")),
        ),
        ("Holds until".to_owned(), until.map(|d| format!("{d}, the first day a quote runs out"))),
        ("For the shop".to_owned(), None),
        ("For the customer, with day".to_owned(), None),
    ]);
}
