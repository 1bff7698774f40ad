//! Purchase orders: one sheet a supplier, with what the supplier must know to send the right part, and what is looked at when
//! it comes.

use logbook::{Fact, PartOrdered};

use super::PaperError;
use super::sheet::{Cell, Sheet};
use super::words::{Desk, capital, day};

/// Writes the orders that went to each supplier, in the sequence in which each was first ordered from.
pub(crate) fn write(sheet: &mut Sheet, desk: &Desk<'_>) -> Result<(), PaperError> {
    let suppliers = suppliers(desk);
    if suppliers.is_empty() {
        return Err(PaperError::NothingOrdered { job: desk.case.job.clone() });
    }
    for (n, (supplier, orders)) in suppliers.iter().enumerate() {
        if n > 0 {
            sheet.anew();
        }
        one(sheet, desk, supplier, orders);
    }
    Ok(())
}

type Orders<'a> = Vec<&'a Fact<PartOrdered>>;

/// What is open or came, by supplier; what went back for good is ordered no more.
fn suppliers<'a>(desk: &Desk<'a>) -> Vec<(&'a str, Orders<'a>)> {
    let mut out: Vec<(&str, Orders<'_>)> = Vec::new();
    let same = |a: &str, b: &str| a.trim().to_lowercase() == b.trim().to_lowercase();
    for order in &desk.state.orders {
        match out.iter_mut().find(|(supplier, _)| same(supplier, &order.supplier)) {
            Some((_, orders)) => orders.push(order),
            None => out.push((&order.supplier, vec![order])),
        }
    }
    out
}

fn one(sheet: &mut Sheet, desk: &Desk<'_>, supplier: &str, orders: &Orders<'_>) {
    let first = orders.iter().filter_map(|o| o.need_by).min();
    let under = first.map(|day| format!("first needed by {day}")).unwrap_or_default();
    sheet.statement(format!("Order to {supplier}"), under);
    let vehicle = &desk.state.vehicle;
    let mut parts: Vec<String> = [&vehicle.make, &vehicle.model].into_iter().flatten().cloned().collect();
    parts.extend(vehicle.year.map(|y| y.to_string()));
    let vin = vehicle.vin.as_ref().map(|vin| format!("number {vin}"));
    parts.extend(vin);
    let built = desk.state.engine.as_ref().and_then(|e| e.built.clone());
    sheet.fields(vec![
        ("For the engine".to_owned(), Some(desk.engine_identity())),
        ("Built".to_owned(), built.or_else(|| Some("not told".to_owned()))),
        (
            "Deliver to".to_owned(),
            desk.knowledge.shop.as_ref().map(|s| s.address.join(", ")).filter(|address| !address.is_empty()),
        ),
        ("In".to_owned(), Some(parts.join(", ")).filter(|v| !v.is_empty()).or_else(|| Some("not told".to_owned()))),
    ]);
    sheet.heading("Ordered");
    let rows: Vec<Vec<Cell>> = orders.iter().map(|order| row(desk, order)).collect();
    sheet.table(
        &[
            ("Part", Some(2.4)),
            ("No.", None),
            ("Ordered", Some(1.1)),
            ("Promised", Some(1.1)),
            ("Needed by", Some(1.1)),
            ("Price of all", Some(1.3)),
        ],
        rows,
    );
    terms(sheet, desk, orders);
    looks(sheet, desk, orders);
    sheet.heading("Please");
    sheet.list(vec![
        "Send what fits the engine's number. If another part takes the place of one, call before you send it."
            .to_owned(),
        "Write this job number on the parcel and on the bill.".to_owned(),
        "Say at once when a day cannot be kept.".to_owned(),
    ]);
    sheet.fields(vec![
        ("Confirmed by, day".to_owned(), None),
        ("Day it leaves".to_owned(), None),
        ("Instead of a part above, with its number".to_owned(), None),
    ]);
    if let Some(shop) = &desk.knowledge.shop {
        shop.words.order.iter().for_each(|words| sheet.small(words.clone()));
    }
}

fn row(desk: &Desk<'_>, order: &Fact<PartOrdered>) -> Vec<Cell> {
    let quoted = desk.state.quotes.iter().find(|q| Some(q.in_entry) == order.quote);
    let price = order.price.or(quoted.map(|q| q.price));
    let known = desk.part(&order.part).map(|part| part.quantity.clone());
    let holds: Vec<String> = order.holds.iter().map(|part| desk.part_name(part)).collect();
    let holds = if holds.is_empty() { known.unwrap_or_default() } else { format!("with: {}", holds.join("; ")) };
    let date = |day: Option<jiff::civil::Date>| day.map_or_else(String::new, |d| d.to_string());
    let late = order.promised.zip(order.need_by).is_some_and(|(promised, needed)| promised > needed);
    let late = if late { "later than needed: sooner, please".to_owned() } else { String::new() };
    vec![
        Cell { note: holds, ..Cell::strong(desk.part_name(&order.part)) },
        Cell::of(order.quantity.to_string()),
        Cell::of(day(&order.made_at)),
        Cell { note: late, ..Cell::of(date(order.promised)) },
        Cell::of(date(order.need_by)),
        price.map_or_else(Cell::line, |price| Cell::of(price.to_string())),
    ]
}

/// By which quotes, and what comes back.
fn terms(sheet: &mut Sheet, desk: &Desk<'_>, orders: &Orders<'_>) {
    let mut items = Vec::new();
    for order in orders {
        let name = desk.part_name(&order.part);
        if let Some(quote) = desk.state.quotes.iter().find(|q| Some(q.in_entry) == order.quote) {
            let says = [
                Some(format!("price {}", quote.price)),
                quote.freight.map(|f| format!("freight {f}")),
                quote.warranty.as_ref().map(|w| format!("warranty: {w}")),
                (!quote.includes.is_empty()).then(|| format!("with {}", quote.includes.join(", "))),
            ];
            let says: Vec<String> = says.into_iter().flatten().collect();
            items.push(format!("{name}: by your quote of {}: {}", day(&quote.made_at), says.join("; ")));
        }
        if let Some(deposit) = order.core_deposit {
            let due = order.core_due.map(|d| format!(" by {d}")).unwrap_or_default();
            items.push(format!("{name}: deposit {deposit} on the old part, which we send back{due}"));
        }
    }
    if !items.is_empty() {
        sheet.heading("Agreed");
        sheet.list(items);
    }
}

/// What is looked at when it comes: whoever packs it knows then what it will be sent back for.
fn looks(sheet: &mut Sheet, desk: &Desk<'_>, orders: &Orders<'_>) {
    let items: Vec<String> = orders
        .iter()
        .filter_map(|order| {
            let looks = workup::arrivals::looks_for(desk.knowledge, &order.part);
            (!looks.is_empty()).then(|| format!("{}: {}", desk.part_name(&order.part), looks.join("; ")))
        })
        .collect();
    if !items.is_empty() {
        sheet.heading("We look at these when it comes");
        sheet.list(items.into_iter().map(|item| capital(&item)).collect());
    }
}
