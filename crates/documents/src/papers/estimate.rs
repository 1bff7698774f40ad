//! The written estimate: what is done, with which parts, line by line with its price, on which quotes, under which
//! ceiling.

use jiff::ToSpan;
use jiff::civil::Date;
use quantity::{Money, Prices};
use workup::estimate::{Group, Price, Range};
use workup::{Estimate, OptionLine, RiskLine};

use super::PaperError;
use super::sheet::{Cell, Sheet};
use super::words::{Desk, capital, days, lower, plain};

/// Writes the estimate.
pub(crate) fn write(sheet: &mut Sheet, desk: &Desk<'_>) -> Result<(), PaperError> {
    let job = || desk.case.job.clone();
    let cause = match &desk.state.cause {
        None => return Err(PaperError::CauseUnnamed { job: job() }),
        Some(logbook::CauseAnswer::Named(named)) => {
            let name =
                desk.knowledge.cause(&named.cause).map_or_else(|| capital(&plain(&named.cause)), |c| c.name.clone());
            format!("{name}, named by {}", named.by)
        }
        Some(logbook::CauseAnswer::UnknownSigned(signed)) => format!("unknown, signed by {}", signed.by),
    };
    let option = desk.option().ok_or_else(|| PaperError::NoOption { job: job() })?;
    // What the lines add up to, with the tax where it comes on top; the price at the choice stands below with what moved it.
    let priced = desk.case.estimate.as_ref().filter(|estimate| estimate.option == option.id).and_then(to_pay);
    let priced = priced.as_ref().map_or_else(|| desk.price(option), range);
    sheet.statement(format!("{}: {priced}", option.name), format!("{}; {}", ready(option.days), price_from(option)));
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
        ("Warranty".to_owned(), Some(desk.warranty(option))),
    ];
    // What others carry is their warranty; how far each goes stands with the way on the bench.
    let yours = RiskLine::by_bearer(&option.risks).into_iter().find(|(who, _)| *who == CUSTOMER);
    if let Some((_, risks)) = yours {
        let risks: Vec<&str> = risks.into_iter().map(|r| r.risk.as_str()).collect();
        fields.push(("Customer's risk".to_owned(), Some(risks.join("; "))));
    }
    if !option.opens.is_empty() {
        fields.push(("Opens".to_owned(), Some(option.opens.iter().map(|o| lower(o)).collect::<Vec<_>>().join("; "))));
    }
    sheet.fields(fields);
    if let Some(estimate) = &desk.case.estimate {
        lines(sheet, desk, estimate);
        tail(sheet, desk, estimate);
        parts(sheet, desk, estimate);
    }
    quotes(sheet, desk, &option.id);
    approvals(sheet, desk);
    moves(sheet, desk, desk.case.estimate.as_ref(), &option.id);
    terms(sheet, desk);
    Ok(())
}

/// The customer, among those who carry a risk.
const CUSTOMER: &str = "customer";

/// How long it takes, in words.
fn ready(span: [f64; 2]) -> String {
    match days(span).as_str() {
        "none" => "no wait".to_owned(),
        "1" => "1 day until it is ready".to_owned(),
        several => format!("{several} days until it is ready"),
    }
}

/// Where the price comes from, in a customer's words; the source of a usual price stands in the knowledge.
fn price_from(option: &OptionLine) -> String {
    if option.price_from.starts_with("quote of ") {
        format!("price from the {}", option.price_from)
    } else {
        "a usual price from low to high, until quotes take its place".to_owned()
    }
}

/// An amount, or two that it lies between.
fn range(range: &Range) -> String {
    if range.lo == range.hi {
        return range.lo.to_string();
    }
    format!("{} to {}", range.lo, without_code(&range.hi))
}

/// The amount alone, where the code stands before it already.
fn without_code(money: &Money) -> String {
    let text = money.to_string();
    text.split_once(' ').map_or(text.clone(), |(_, amount)| amount.to_owned())
}

fn price(price: &Price) -> Cell {
    match price {
        Price::Known(r) => Cell::strong(range(r)),
        Price::In(line) => Cell::of(format!("in {}", lower(line))),
        Price::NotSaid => Cell::of("the quote does not say"),
        Price::Open(missing) => Cell { note: missing.clone(), ..Cell::strong("price open") },
    }
}

/// Whether a line stands in a list without prices.
fn beside_the_price(price: &Price) -> bool {
    match price {
        Price::In(_) | Price::NotSaid => true,
        Price::Known(_) | Price::Open(_) => false,
    }
}

/// Says so where the price can come to more than was agreed; tax comes on top of both or of neither.
fn over_the_ceiling(sheet: &mut Sheet, desk: &Desk<'_>, estimate: &Estimate) {
    let all = workup::committed::committed(desk.state);
    let ceiling = all.iter().find(|c| c.covers == logbook::Covers::Repair).and_then(|c| c.ceiling.as_ref());
    let (Some(total), Some(ceiling)) = (&to_pay(estimate), ceiling) else { return };
    if total.hi.currency() == ceiling.currency() && total.hi.to_f64() > ceiling.to_f64() {
        let used = all.iter().find(|c| c.covers == logbook::Covers::Repair).and_then(|c| c.used.as_ref());
        let used = used.map(|used| format!(" So far {used} of it is committed.")).unwrap_or_default();
        sheet.strong(format!(
            "This can come to more than the {ceiling} agreed for the repair: its high end is the price where everything is \
             found that may still be. Nothing beyond what is agreed is begun before it is asked for and agreed.{used}"
        ));
    }
}

/// What is to be paid for the lines that have a price: with tax where it comes on top.
fn to_pay(estimate: &Estimate) -> Option<Range> {
    let total = estimate.total?;
    Some(estimate.tax.as_ref().and_then(|tax| tax.to_pay(&total)).unwrap_or(total))
}

/// The rows that add up the lines: the total, and the tax by the rules that are told.
fn totals(estimate: &Estimate) -> Vec<Vec<Cell>> {
    let mut rows = vec![total(estimate)];
    let Some(tax) = &estimate.tax else { return rows };
    let name =
        |words: &str| Cell { note: tax.how.clone(), ..Cell::of(format!("{words} {}, {} %", tax.name, percent(tax))) };
    let row = |first: Cell, sum: Cell| vec![first, Cell::default(), Cell::default(), sum];
    match tax.prices {
        None => {}
        Some(Prices::WithoutTax) => {
            rows.push(row(name("On top:"), Cell::of(range(&tax.on_top))));
            rows.push(row(Cell::strong("Total with tax"), Cell::strong(range(&tax.with))));
        }
        Some(Prices::WithTax) => rows.push(row(name("In it:"), Cell::of(range(&tax.inside)))),
    }
    rows
}

/// The rate without its sign.
fn percent(tax: &workup::estimate::Tax) -> &str {
    tax.percent.trim().trim_end_matches('%').trim_end()
}

/// The row that adds up the lines.
fn total(estimate: &Estimate) -> Vec<Cell> {
    let open = match estimate.open {
        0 => String::new(),
        1 => "and 1 line whose price is open".to_owned(),
        n => format!("and {n} lines whose price is open"),
    };
    let total = estimate.total.as_ref().map_or_else(|| "open".to_owned(), range);
    vec![Cell::strong("Total"), Cell::default(), Cell::default(), Cell { note: open, ..Cell::strong(total) }]
}

/// The lines by what they are for; what the whole price holds already stands as a list without prices.
fn lines(sheet: &mut Sheet, desk: &Desk<'_>, estimate: &Estimate) {
    sheet.heading("Line by line");
    let words = |group: Group| match group {
        Group::Always => "Work and parts",
        Group::Opening => "Opening that is still to be done",
        Group::Found => "What the readings call for",
        Group::Besides => "Asked for besides",
    };
    let widths = [Some(3.4), Some(1.3), Some(1.35), Some(1.65)];
    let heads = ["What", "Who", "How reckoned", "Price"];
    let columns = |first: bool| -> Vec<(&str, Option<f64>)> {
        heads.iter().map(|h| if first { *h } else { "" }).zip(widths).collect()
    };
    let mut first = true;
    let several = estimate.lines.iter().any(|l| l.group != Group::Always);
    let priced = |group: Group| estimate.lines.iter().filter(move |l| l.group == group && !beside_the_price(&l.price));
    let groups = [Group::Always, Group::Opening, Group::Found, Group::Besides];
    let last = groups.into_iter().rfind(|g| priced(*g).next().is_some());
    for group in groups {
        let mut rows: Vec<Vec<Cell>> = priced(group)
            .map(|line| {
                vec![
                    Cell::of(line.what.clone()),
                    Cell::of(line.who.clone()),
                    Cell::of(line.how.clone()),
                    price(&line.price),
                ]
            })
            .collect();
        if rows.is_empty() {
            continue;
        }
        // The total closes the last table, so that it never opens a sheet by itself.
        if Some(group) == last {
            rows.extend(totals(estimate));
        }
        if several {
            sheet.subheading(words(group));
        }
        sheet.table(&columns(first), rows);
        first = false;
    }
    if last.is_none() {
        sheet.table(&columns(true), totals(estimate));
    }
    over_the_ceiling(sheet, desk, estimate);
    let listed = |price: &dyn Fn(&Price) -> bool| -> Vec<String> {
        estimate.lines.iter().filter(|l| price(&l.price)).map(|l| format!("{} ({})", l.what, l.who)).collect()
    };
    let inside = listed(&|p| matches!(p, Price::In(_)));
    if !inside.is_empty() {
        sheet.subheading("Work that is in this price");
        sheet.list(inside);
    }
    let unsaid = listed(&|p| *p == Price::NotSaid);
    if !unsaid.is_empty() {
        sheet.subheading("Usual work of this way; nobody has held it against the words of the quote");
        sheet.list(unsaid);
        sheet.small("The price holds what the quote includes. Ask before you say yes, where you have not: each line here is done within the price, done for more, or not needed.");
    }
    if estimate.lines.iter().any(|l| l.how.ends_with(" h") || l.how.ends_with(" min") || l.how.contains("units")) {
        let rate = desk
            .state
            .rates
            .labour_rate
            .as_ref()
            .map_or_else(|| "the hourly rate is not told yet".to_owned(), |rate| format!("one is {rate}"));
        sheet.small(format!(
            "Hours (h) are billed hours in the own shop. Units are the price of one billed hour each, for bought parts and \
             machine work ({rate}): a usual price, until a quote takes its place."
        ));
    }
}

/// What does not stand in the lines: why the total differs, deposits, tax.
fn tail(sheet: &mut Sheet, desk: &Desk<'_>, estimate: &Estimate) {
    if let Some(shown) = estimate.when_chosen.as_ref().filter(|_| !estimate.differs.is_empty()) {
        let mut rows = vec![vec![Cell::of("Price of this way when it was chosen"), Cell::of(range(shown))]];
        rows.extend(estimate.differs.iter().map(|d| vec![Cell::of(capital(&d.why)), Cell::of(signed(&d.by))]));
        sheet.subheading("Why the total is not the price at the choice");
        sheet.table(&[("", Some(4.3)), ("", Some(3.0))], rows);
    }
    let mut fields = Vec::new();
    for deposit in &estimate.deposits {
        fields.push((
            "Deposit".to_owned(),
            Some(format!("{} to {}, comes back with the old part; not in the total", deposit.amount, deposit.supplier)),
        ));
    }
    if let Some(tax) = estimate.tax.as_ref().filter(|tax| tax.prices.is_none()) {
        fields.push((
            format!("Tax of {} per cent", percent(tax)),
            Some(format!(
                "if it comes on top: {}, together {}; if these prices hold it already: {} of them. The shop strikes out \
                 what does not hold.",
                range(&tax.on_top),
                range(&tax.with),
                range(&tax.inside)
            )),
        ));
    } else if estimate.tax.is_none() && desk.state.rates.tax_percent.is_none() {
        fields.push(("Tax".to_owned(), Some("not told; the shop writes down whether it is in the price".to_owned())));
    }
    sheet.fields(fields);
}

/// A difference with its sign.
fn signed(range: &Range) -> String {
    let one = |money: &Money| {
        let text = without_code(money);
        if text.starts_with('-') { text } else { format!("+{text}") }
    };
    let code = range.lo.currency().code().to_owned();
    if range.lo == range.hi {
        format!("{code} {}", one(&range.lo))
    } else {
        format!("{code} {} to {}", one(&range.lo), one(&range.hi))
    }
}

fn parts(sheet: &mut Sheet, desk: &Desk<'_>, estimate: &Estimate) {
    if estimate.parts.is_empty() {
        return;
    }
    let all_inside =
        estimate.parts.iter().all(|p| p.price == estimate.parts.first().map_or(p.price.clone(), |f| f.price.clone()));
    let rows: Vec<Vec<Cell>> = estimate
        .parts
        .iter()
        .map(|joint| {
            let name =
                desk.knowledge.joints.iter().find(|j| j.id == joint.joint).map_or_else(String::new, |j| j.name.clone());
            let named = joint.parts.iter().filter_map(|id| desk.part(id));
            let parts: Vec<String> = named
                .map(|p| {
                    let open = desk.to_be_settled(&p.applies);
                    if open.is_empty() { p.name.clone() } else { format!("{} ({open})", p.name) }
                })
                .collect();
            let mut row = vec![Cell::of(name), Cell::of(parts.join("; "))];
            if !all_inside {
                row.push(price(&joint.price));
            }
            row
        })
        .collect();
    sheet.heading("Parts used once only that opening calls for");
    if all_inside {
        sheet.table(&[("Joint", Some(1.2)), ("Parts", Some(4.0))], rows);
        if let Some(Price::In(whole)) = estimate.parts.first().map(|p| &p.price) {
            sheet.small(format!(
                "Their price is in {whole}. The parts list has the others, how many, and what was ordered."
            ));
        }
    } else {
        sheet.table(&[("Joint", Some(1.2)), ("Parts", Some(3.0)), ("Price", Some(2.0))], rows);
        sheet.small("The parts list has the others, how many, and what was ordered.");
    }
}

fn quotes(sheet: &mut Sheet, desk: &Desk<'_>, option: &str) {
    let chosen = workup::quotes::aged::taken(desk.state);
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

fn moves(sheet: &mut Sheet, desk: &Desk<'_>, estimate: Option<&Estimate>, option: &str) {
    let Some(known) = desk.known_option(option) else { return };
    let mut items: Vec<String> = estimate.map_or_else(Vec::new, |estimate| estimate.old_quotes.clone());
    items.extend(known.goes_wrong.iter().map(|w| capital(w)));
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
    let taken = workup::quotes::aged::taken(desk.state);
    // Of the quotes that this estimate rests on; one that nobody took up ends nothing.
    let rests_on = |q: &&logbook::Fact<logbook::QuoteReceived>| match &desk.state.chosen {
        Some(chosen) => taken.contains(&q.in_entry) || q.option.as_ref() == Some(&chosen.option),
        None => true,
    };
    let until = desk.state.quotes.iter().filter(rests_on).filter_map(|q| q.valid_until).min();
    sheet.fields(vec![
        ("Labour rate".to_owned(), rates.labour_rate.as_ref().map(|r| format!("{r} a billed hour"))),
        ("Holds until".to_owned(), holds_until(desk, until)),
        ("For the shop".to_owned(), None),
        ("For the customer, with day".to_owned(), None),
    ]);
    if let Some(shop) = &desk.knowledge.shop {
        shop.words.estimate.iter().for_each(|words| sheet.small(words.clone()));
    }
}

/// The last day: that of the first quote that runs out, or that of the shop where it comes sooner.
fn holds_until(desk: &Desk<'_>, quotes: Option<Date>) -> Option<String> {
    let days = desk.knowledge.shop.as_ref().and_then(|shop| shop.estimate_days);
    let issued: Option<Date> = desk.issued.parse().ok();
    let own = days.zip(issued).and_then(|(days, issued)| issued.checked_add(i64::from(days).days()).ok());
    match (quotes, own) {
        (Some(quote), _) if issued.is_some_and(|issued| quote < issued) => {
            Some(format!("{quote}: the first quote has run out; ask for new prices"))
        }
        (Some(quote), Some(own)) if own < quote => Some(own.to_string()),
        (Some(quote), _) => Some(format!("{quote}, the first day a quote runs out")),
        (None, own) => own.map(|own| own.to_string()),
    }
}
