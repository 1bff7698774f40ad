//! A price list: which of its columns is which, which of its rows is for which need; and quotes as such a list.

use std::collections::BTreeMap;

use knowledge::Knowledge;
use logbook::{JobState, QuoteReceived};
use quantity::{Currency, Money, MoneyReply, parse_money};

use crate::words::words;

/// The headings of a table that is written, and the first word by which each is read.
const HEADINGS: [&str; 12] = [
    "supplier",
    "for",
    "price",
    "currency",
    "freight",
    "deposit",
    "days from",
    "days to",
    "warranty months",
    "holds until",
    "includes",
    "note",
];

/// The labels of the fields of a page.
pub const SUPPLIER: &str = "Whose list it is";
/// As [`SUPPLIER`].
pub const CURRENCY: &str = "Currency of bare amounts";
/// As [`SUPPLIER`].
pub const DAYS: &str = "Days until it is here";
/// As [`SUPPLIER`].
pub const COLUMNS: &str = "Which column is which";

/// What a column may be, and the headings by which it is known besides its own name; small letters, single spaces.
const KNOWN: &[(&str, &[&str])] = &[
    ("supplier", &["from", "vendor", "shop"]),
    ("for", &["need", "operation"]),
    ("item", &["description", "article", "part", "what", "text"]),
    ("price", &["unit price", "net price", "net", "each", "amount"]),
    ("currency", &[]),
    ("freight", &["carriage", "shipping"]),
    ("deposit", &["core", "core deposit", "old part"]),
    ("days", &["lead time", "delivery"]),
    ("days from", &[]),
    ("days to", &[]),
    ("warranty months", &["warranty"]),
    ("holds until", &["valid until", "valid to"]),
    ("includes", &["included"]),
    ("note", &["remark", "remarks"]),
];

/// Where what a list does not say is said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// With the options of a command.
    Command,
    /// In the fields of a page.
    Page,
}

impl Way {
    /// How something is said: the option with an example, or the field by its label.
    fn say(self, option: &str, field: &str) -> String {
        match self {
            Self::Command => format!("say it with `--{option}`"),
            Self::Page => format!("say it under *{field}*"),
        }
    }
}

/// What was said beside the list.
#[derive(Debug, Clone)]
pub struct Told<'a> {
    /// Whose list it is, where no column says so.
    pub supplier: Option<&'a str>,
    /// The currency of bare amounts.
    pub currency: Option<Currency>,
    /// Days at best and at worst, where no column says so.
    pub days: Option<[u32; 2]>,
    /// Where it is said.
    pub way: Way,
    /// Column by heading, as said.
    pub columns: Vec<(String, String)>,
    /// Need by words of its row, as said.
    pub takes: Vec<(String, String)>,
}

/// What a list holds for a job.
#[derive(Debug, Clone)]
pub struct Read {
    /// The quotes, each with the line of the file it stands in.
    pub quotes: Vec<(u64, QuoteReceived)>,
    /// How many rows are for nothing that is known.
    pub left: usize,
}

/// Two halves of `WHAT=WORDS`.
///
/// # Errors
/// A text without both halves, named.
pub fn pairs(list: &[String]) -> Result<Vec<(String, String)>, String> {
    list.iter()
        .map(|text| match text.split_once('=') {
            Some((what, words)) if !what.trim().is_empty() && !words.trim().is_empty() => {
                Ok((what.trim().to_owned(), words.trim().to_owned()))
            }
            Some(_) | None => Err(format!("`{text}` has no `=` with words on both sides; write `price=Net each`")),
        })
        .collect()
}

/// Days at best and at worst: `3`, `2..5`, `2-5`, `2 to 5`.
///
/// # Errors
/// A text that is no number of days, or has the longer time first.
pub fn days(text: &str) -> Result<[u32; 2], String> {
    let wrong = || format!("`{text}` is no number of days; write `3`, `2..5` or `2 to 5`");
    let numbers: Vec<&str> = text.split(|c: char| !c.is_ascii_digit()).filter(|n| !n.is_empty()).collect();
    let strange = text.chars().any(|c| c.is_ascii_alphabetic()) && !text.contains("to") && !text.contains("day");
    let read = |n: &&str| n.parse::<u32>().map_err(|_| wrong());
    match (strange, numbers.as_slice()) {
        (false, [one]) => read(one).map(|n| [n, n]),
        (false, [best, worst]) => {
            let (best, worst) = (read(best)?, read(worst)?);
            if best <= worst {
                Ok([best, worst])
            } else {
                Err(format!("`{text}` has the longer time first; swap them"))
            }
        }
        _ => Err(wrong()),
    }
}

/// A currency by its code.
///
/// # Errors
/// A code that no currency has.
pub fn currency(code: &str) -> Result<Currency, String> {
    Currency::from_code(&code.trim().to_uppercase())
        .ok_or_else(|| format!("`{code}` is no currency; write its code of three letters, such as EUR"))
}

/// The words of a cell without the one apostrophe by which table programs are told that they are words.
fn bare(cell: &str) -> Option<&str> {
    Some(cell.strip_prefix('\'').unwrap_or(cell).trim()).filter(|words| !words.is_empty())
}

/// A heading as it is compared.
fn normal(text: &str) -> String {
    let small = text.to_lowercase().replace(['_', '-', '.', ':'], " ");
    small.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Which column is which: as said, else by the headings that are known; two that could be the same are asked about.
fn columns(headings: &csv::StringRecord, told: &Told<'_>) -> Result<BTreeMap<&'static str, usize>, String> {
    let mut out: BTreeMap<&'static str, usize> = BTreeMap::new();
    let all = || headings.iter().map(|h| format!("`{h}`")).collect::<Vec<_>>().join(", ");
    for (what, heading) in &told.columns {
        let Some((name, _)) = KNOWN.iter().find(|(name, _)| *name == normal(what)) else {
            let names: Vec<&str> = KNOWN.iter().map(|(name, _)| *name).collect();
            return Err(format!("`{what}` is nothing a column can be; there are {}", names.join(", ")));
        };
        let place = headings.iter().position(|h| normal(h) == normal(heading));
        let place = place.ok_or_else(|| format!("no column is headed `{heading}`; there are {}", all()))?;
        out.insert(name, place);
    }
    for (name, others) in KNOWN {
        if out.contains_key(name) {
            continue;
        }
        let is = |h: &str| normal(h) == *name || others.contains(&normal(h).as_str());
        let here: Vec<usize> = (0..headings.len()).filter(|n| headings.get(*n).is_some_and(is)).collect();
        // A column that was said to be one thing is not taken for another.
        let free: Vec<usize> = here.into_iter().filter(|n| !out.values().any(|taken| taken == n)).collect();
        match free.as_slice() {
            [] => {}
            [one] => {
                out.insert(name, *one);
            }
            [first, ..] => {
                let own = free.iter().find(|n| headings.get(**n).is_some_and(|h| normal(h) == *name));
                let Some(own) = own else {
                    let names: Vec<String> =
                        free.iter().filter_map(|n| headings.get(*n)).map(|h| format!("`{h}`")).collect();
                    let one = headings.get(*first).unwrap_or_default();
                    let say = told.way.say(&format!("column \"{name}={one}\""), COLUMNS);
                    return Err(format!("{} could all be the {name}; {say}", names.join(" and ")));
                };
                out.insert(name, *own);
            }
        }
    }
    if !out.contains_key("price") {
        let say = told.way.say("column price=HEADING", COLUMNS);
        return Err(format!("no column is the price; {say}, there are {}", all()));
    }
    Ok(out)
}

/// The needs of the knowledge by id and by name: whether each is a whole option.
#[must_use]
pub fn needs(knowledge: &Knowledge) -> Vec<(String, String, bool)> {
    let operations = knowledge.operations.iter().map(|o| (o.id.clone(), o.name.clone(), false));
    let parts = knowledge.joints.iter().flat_map(|j| &j.value.parts).map(|p| (p.id.clone(), p.name.clone(), false));
    let options = knowledge.options.iter().map(|o| (o.id.clone(), o.name.clone(), true));
    operations.chain(parts).chain(options).collect()
}

/// The name of what a quote is for.
#[must_use]
pub fn need_name(state: &JobState, knowledge: &Knowledge, id: &str) -> String {
    let heads = state.layout.as_ref().map(|layout| layout.heads().len());
    let option = knowledge.options.iter().find(|o| o.id == id).map(|o| o.name_for(heads).to_owned());
    option
        .or_else(|| needs(knowledge).into_iter().find(|(its, ..)| its == id).map(|(_, name, _)| name))
        .unwrap_or_else(|| words(id))
}

/// A reader of a list; tables written where the comma is the decimal sign are parted by semicolons.
fn reader(text: &str) -> csv::Reader<&[u8]> {
    let first = text.lines().next().unwrap_or_default();
    let parted = if first.matches(';').count() > first.matches(',').count() { b';' } else { b',' };
    csv::ReaderBuilder::new()
        .delimiter(parted)
        .trim(csv::Trim::All)
        .flexible(false)
        .from_reader(text.trim_start_matches('\u{feff}').as_bytes())
}

/// What stands over the columns of a list; nothing where it cannot be read.
#[must_use]
pub fn headings(text: &str) -> Vec<String> {
    let mut reader = reader(text);
    reader.headers().map(|h| h.iter().map(str::to_owned).collect()).unwrap_or_default()
}

/// What a column may be, by its name.
pub fn may_be() -> impl Iterator<Item = &'static str> {
    KNOWN.iter().map(|(name, _)| *name)
}

/// Reads a price list.
///
/// # Errors
/// In words, with the line where there is one: a heading or line that cannot be read, columns or rows that are told apart by
/// nothing that was said, a cell that is no amount, day or number.
pub fn read(text: &str, told: &Told<'_>, knowledge: &Knowledge) -> Result<Read, String> {
    let mut reader = reader(text);
    let headings = reader.headers().map_err(|e| format!("its heading cannot be read: {e}"))?.clone();
    let columns = columns(&headings, told)?;
    let rows: Vec<(u64, csv::StringRecord)> = reader
        .records()
        .map(|row| {
            let row = row.map_err(|e| format!("{e}; mend that line"))?;
            Ok((row.position().map_or(0, csv::Position::line), row))
        })
        .collect::<Result<_, String>>()?;
    let all = needs(knowledge);
    let takes = takes(&rows, told, &all)?;
    let mut out = Read { quotes: Vec::new(), left: 0 };
    for (line, row) in &rows {
        let cell = |name: &str| columns.get(name).and_then(|n| row.get(*n)).map(str::trim).filter(|c| !c.is_empty());
        let by_column = cell("for").and_then(|text| {
            let text = bare(text)?;
            all.iter().find(|(id, name, _)| id == text || normal(name) == normal(text))
        });
        let by_words = takes.iter().find(|(its, _)| its == line).map(|(_, need)| *need);
        let Some((id, _, whole)) = by_words.or(by_column) else {
            out.left += 1;
            continue;
        };
        let quote = quote(&cell, told, id, *whole).map_err(|why| format!("line {line}: {why}"))?;
        out.quotes.push((*line, quote));
    }
    Ok(out)
}

type Known = (String, String, bool);

/// The lines that were taken by their words.
fn takes<'a>(
    rows: &[(u64, csv::StringRecord)],
    told: &Told<'_>,
    all: &'a [Known],
) -> Result<Vec<(u64, &'a Known)>, String> {
    let mut out = Vec::new();
    for (need, words) in &told.takes {
        let Some(known) = all.iter().find(|(id, name, _)| id == need || normal(name) == normal(need)) else {
            let near: Vec<&str> =
                all.iter().map(|(id, ..)| id.as_str()).filter(|id| id.contains(need.as_str())).take(5).collect();
            let near = if near.is_empty() { String::new() } else { format!("; near it are {}", near.join(", ")) };
            return Err(format!("`{need}` is no operation, part or option of the knowledge{near}"));
        };
        let has = |row: &csv::StringRecord| row.iter().any(|cell| normal(cell).contains(&normal(words)));
        let here: Vec<u64> = rows.iter().filter(|(_, row)| has(row)).map(|(line, _)| *line).collect();
        match here.as_slice() {
            [one] => out.push((*one, known)),
            [] => return Err(format!("no row holds `{words}`")),
            several => {
                let lines: Vec<String> = several.iter().take(8).map(u64::to_string).collect();
                return Err(format!(
                    "`{words}` stands in {} rows (lines {}); give more of its words",
                    several.len(),
                    lines.join(", ")
                ));
            }
        }
    }
    Ok(out)
}

fn quote<'c>(
    cell: &impl Fn(&str) -> Option<&'c str>,
    told: &Told<'_>,
    id: &str,
    whole: bool,
) -> Result<QuoteReceived, String> {
    let currency = match cell("currency") {
        Some(code) => Some(self::currency(code)?),
        None => told.currency,
    };
    let money = |name: &str| -> Result<Option<Money>, String> {
        let Some(text) = cell(name) else { return Ok(None) };
        match parse_money(text, currency) {
            Ok(MoneyReply::Value(money)) => Ok(Some(money)),
            Ok(MoneyReply::Question { ask, .. }) => Err(format!("{name}: {ask}")),
            Err(error) => {
                let say = told.way.say("currency EUR", CURRENCY);
                Err(format!("{name} `{text}`: {error}; where no currency stands, {say}"))
            }
        }
    };
    let price = money("price")?.ok_or("it has no price; fill the cell or take the row out")?;
    if price.amount() < quantity::Decimal::ZERO {
        return Err(format!("price {price} is below nought; mend the cell"));
    }
    let supplier = cell("supplier").and_then(bare).or(told.supplier).map(str::to_owned);
    let supplier =
        supplier.ok_or_else(|| format!("nobody says whose it is; {}", told.way.say("supplier NAME", SUPPLIER)))?;
    let whole_number = |name: &str| -> Result<Option<u32>, String> {
        let digits = |text: &str| text.split_whitespace().next().unwrap_or_default().parse::<u32>();
        cell(name).map(|t| digits(t).map_err(|_| format!("{name} `{t}` is no whole number"))).transpose()
    };
    let lead_days = match (whole_number("days from")?, whole_number("days to")?, cell("days")) {
        (Some(best), Some(worst), _) => days(&format!("{best}..{worst}"))?,
        (_, _, Some(text)) => days(text)?,
        (Some(one), None, None) | (None, Some(one), None) => [one, one],
        (None, None, None) => {
            told.days.ok_or_else(|| format!("nobody says in how many days; {}", told.way.say("days 2..5", DAYS)))?
        }
    };
    let valid_until = cell("holds until")
        .map(|t| t.parse().map_err(|_| format!("holds until `{t}` is no day; write it as 2026-03-14")))
        .transpose()?;
    let includes = cell("includes")
        .and_then(bare)
        .map_or_else(Vec::new, |t| t.split(';').map(str::trim).filter(|i| !i.is_empty()).map(str::to_owned).collect());
    Ok(QuoteReceived {
        supplier,
        price,
        lead_days,
        need: (!whole).then(|| id.to_owned()),
        option: whole.then(|| id.to_owned()),
        warranty: None,
        warranty_months: whole_number("warranty months")?,
        core_deposit: money("deposit")?,
        freight: money("freight")?,
        valid_until,
        used_odometer: None,
        note: cell("note").and_then(bare).or_else(|| cell("item").and_then(bare)).map(str::to_owned),
        includes,
    })
}

/// A cell that no table program takes for a formula; one apostrophe before it says that it is words, as [`bare`] reads it.
fn plain(text: &str) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r', '\'']) { format!("'{text}") } else { text.to_owned() }
}

/// The quotes as a table with the headings that an import knows.
///
/// # Errors
/// None that is known: it is written to memory.
pub fn table<'q>(quotes: impl IntoIterator<Item = &'q QuoteReceived>) -> Result<Vec<u8>, csv::Error> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(HEADINGS)?;
    let money = |m: &Option<Money>| m.as_ref().map_or_else(String::new, |m| m.amount().to_string());
    for q in quotes {
        writer.write_record([
            plain(&q.supplier),
            plain(q.need.as_deref().or(q.option.as_deref()).unwrap_or_default()),
            q.price.amount().to_string(),
            q.price.currency().code().to_owned(),
            money(&q.freight),
            money(&q.core_deposit),
            q.lead_days[0].to_string(),
            q.lead_days[1].to_string(),
            q.warranty_months.map_or_else(String::new, |m| m.to_string()),
            q.valid_until.map_or_else(String::new, |d| d.to_string()),
            plain(&q.includes.join("; ")),
            plain(q.note.as_deref().unwrap_or_default()),
        ])?;
    }
    writer.into_inner().map_err(|error| csv::Error::from(error.into_error()))
}
