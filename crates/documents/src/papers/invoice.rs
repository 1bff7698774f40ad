//! The invoice: what is to be paid, line by line, with tax by the rules told, beside what was agreed.

use logbook::Kind;
use quantity::Prices;
use workup::invoice::{Invoice, Line};

use super::PaperError;
use super::sheet::{Cell, Sheet};
use super::words::{Desk, capital, day, figure, plain};

/// Writes the invoice.
pub(crate) fn write(sheet: &mut Sheet, desk: &Desk<'_>) -> Result<(), PaperError> {
    let invoice = Invoice::of(desk.state)
        .map_err(|why| PaperError::NotBilled { job: desk.case.job.clone(), why: why.to_string() })?;
    // A few lines too many are set a little smaller.
    sheet.least_scale = Some(0.86);
    let shop = desk.knowledge.shop.as_ref();
    let payment = shop.and_then(|shop| shop.payment.clone()).unwrap_or_default();
    sheet.statement(format!("To pay: {}", invoice.sum.total), payment);
    let customer = desk.state.customer.as_ref().map(|code| format!("customer {code}"));
    sheet.fields(vec![
        ("To, name and address".to_owned(), None),
        ("In the books of the shop".to_owned(), Some(customer.unwrap_or_else(|| "no code is told".to_owned()))),
        ("Number of the invoice".to_owned(), None),
        ("Vehicle".to_owned(), Some(desk.vehicle()).filter(|v| !v.is_empty())),
        ("Engine".to_owned(), Some(desk.engine_identity())),
        ("Work done".to_owned(), Some(when(desk))),
    ]);
    lines(sheet, desk, &invoice);
    agreed(sheet, desk, &invoice);
    deposits(sheet, desk, &invoice);
    if let Some(shop) = shop {
        shop.words.invoice.iter().for_each(|words| sheet.small(words.clone()));
    }
    sheet.small("Local law on invoices goes before anything printed here.");
    Ok(())
}

/// From the first reading or work to the last work or run before it went back.
fn when(desk: &Desk<'_>) -> String {
    let work = [Kind::ReadingTaken, Kind::StageReached, Kind::BuildStepDone, Kind::TimeWorked, Kind::EngineRun];
    let handed = desk.state.handed_back.as_ref().map(|h| h.made_at);
    let told = desk.state.history.iter().filter(|line| work.iter().any(|kind| kind.word() == line.kind));
    let mut days: Vec<String> =
        told.filter(|line| handed.is_none_or(|handed| line.at <= handed)).map(|line| day(&line.at)).collect();
    days.sort();
    match (days.first(), days.last()) {
        (Some(first), Some(last)) if first != last => format!("{first} to {last}"),
        (Some(one), _) => one.clone(),
        (None, _) => "no day is told".to_owned(),
    }
}

/// What a line is, in the names that papers use.
fn what(desk: &Desk<'_>, line: &Line) -> String {
    let state = desk.state;
    let order = state.orders.iter().find(|o| Some(o.in_entry) == line.entry);
    if let Some(order) = order {
        let name = desk.part_name(&order.part);
        return if order.quantity > 1 { format!("{name}, {}", order.quantity) } else { name };
    }
    if let Some(time) = state.time_worked.iter().find(|t| Some(t.in_entry) == line.entry) {
        return format!("{}: {}", capital(&time.what), figure(&time.time));
    }
    if let Some(quote) = state.quotes.iter().find(|q| Some(q.in_entry) == line.entry) {
        let of = quote
            .need
            .as_deref()
            .map(|need| desk.operation(need).map_or_else(|| desk.part_name(need), |o| o.name.clone()));
        let of = of.or_else(|| quote.option.as_deref().map(|option| desk.option_name(option)));
        return format!("{}, as quoted", of.unwrap_or_else(|| "The whole".to_owned()));
    }
    capital(&line.what)
}

fn lines(sheet: &mut Sheet, desk: &Desk<'_>, invoice: &Invoice) {
    sheet.heading("Line by line");
    let mut rows: Vec<Vec<Cell>> = invoice
        .lines
        .iter()
        .map(|line| {
            vec![
                Cell::of(what(desk, line)),
                Cell::of(line.from.clone().unwrap_or_else(|| "own shop".to_owned())),
                Cell::of(line.charge.map(|charge| charge.word()).unwrap_or_default()),
                Cell::strong(line.amount.to_string()),
            ]
        })
        .collect();
    let mut sum = |words: Cell, amount: String, strong: bool| {
        let amount = if strong { Cell::strong(amount) } else { Cell::of(amount) };
        rows.push(vec![words, Cell::default(), Cell::default(), amount]);
    };
    let rates = &desk.state.rates;
    let percent = rates.tax_percent.as_deref().unwrap_or_default().trim().trim_end_matches('%').trim_end();
    if let Some(rules) = &invoice.rules {
        let how = workup::estimate::tax_in_words(rates, rules, "a line of no kind is taxed");
        let held = match rules.prices {
            Prices::WithTax => "in the lines",
            Prices::WithoutTax => "on top",
        };
        sum(Cell::of("Without tax"), invoice.sum.net.to_string(), false);
        let name = format!("{} {percent} %, {held}", capital(rates.tax_word()));
        sum(Cell { note: how, ..Cell::of(name) }, invoice.sum.tax.to_string(), false);
    }
    sum(Cell::strong("To pay"), invoice.sum.total.to_string(), true);
    sheet.table(&[("What", Some(3.4)), ("From", Some(1.6)), ("For", Some(0.9)), ("Price", Some(1.4))], rows);
    if invoice.rules.is_none() {
        sheet.small("No tax is told for this job, so none is reckoned.");
    }
}

/// What was agreed, by whom, how and when, and what is billed of it.
fn agreed(sheet: &mut Sheet, desk: &Desk<'_>, invoice: &Invoice) {
    sheet.heading("What you agreed to");
    let rows: Vec<Vec<Cell>> = invoice
        .agreed
        .iter()
        .map(|one| {
            vec![
                Cell::of(capital(&plain(one.covers.word()))),
                Cell::of(one.ceiling.to_string()),
                Cell::strong(one.billed.to_string()),
            ]
        })
        .collect();
    sheet.table(&[("For", Some(1.6)), ("The most it may cost", Some(1.4)), ("Billed, tax included", Some(1.4))], rows);
    let said: Vec<String> = desk
        .state
        .approvals
        .iter()
        .map(|a| {
            format!(
                "{}, up to {}: {}, {}, {}: “{}”",
                capital(&plain(a.covers.word())),
                a.ceiling,
                a.who,
                plain(a.how.word()),
                day(&a.made_at),
                a.words
            )
        })
        .collect();
    sheet.list(said);
}

fn deposits(sheet: &mut Sheet, desk: &Desk<'_>, invoice: &Invoice) {
    if invoice.deposits.is_empty() {
        return;
    }
    sheet.heading("Deposits on old parts, not in the sum");
    let rows: Vec<Vec<Cell>> = invoice
        .deposits
        .iter()
        .map(|deposit| {
            let back = if deposit.back { "the old part went back" } else { "the old part is still here" };
            vec![
                Cell::of(desk.part_name(&deposit.part)),
                Cell::of(deposit.supplier.clone()),
                Cell::of(deposit.amount.to_string()),
                Cell::of(back),
            ]
        })
        .collect();
    sheet.table(&[("Part", Some(1.8)), ("Supplier", Some(1.6)), ("Deposit", Some(1.1)), ("Old part", Some(1.5))], rows);
}
