//! Files that people write by hand: knowledge, engine sheets, price lists, records of lives, tables of readings.

use std::sync::OnceLock;

use knowledge::{FileSet, Knowledge, LoadError, Located, read_tables};
use serde::Serialize;
use serde::de::DeserializeOwned;

use super::text;
use crate::{Holds, ensure};

/// A table of the knowledge written anew and read again says the same.
fn again<T: DeserializeOwned + Serialize + PartialEq>(files: &FileSet, folder: &str, key: &str) -> Holds {
    let Ok(tables) = read_tables::<T>(files, folder, key) else { return Ok(()) };
    let path = format!("{folder}/again.toml");
    for table in tables {
        let wrong =
            |error: toml::ser::Error| format!("{folder}, [[{key}]] at line {}: cannot be written: {error}", table.line);
        let value = toml::Value::try_from(&table.value).map_err(wrong)?;
        let whole = toml::Table::from_iter([(key.to_owned(), toml::Value::Array(vec![value]))]);
        let written = toml::to_string(&whole).map_err(wrong)?;
        let files = FileSet::from_texts(&[(&path, &written)]);
        match read_tables::<T>(&files, folder, key) {
            Ok(read) => {
                let same = |one: &Located<T>| one.value == table.value;
                ensure(read.first().is_some_and(same) && read.len() == 1, || {
                    format!("written as\n{written}\nit says another thing")
                })?;
            }
            Err(error) => return Err(format!("written as\n{written}\nit is not read: {error}")),
        }
    }
    Ok(())
}

/// A file of the knowledge: every complaint names the file, a line inside it, a field and the next move; what is read can be
/// written and read again; the lint of it ends.
///
/// # Shapes
/// A line with the name of the folder, then the file
/// # Errors
/// What does not hold.
pub fn knowledge(bytes: &[u8]) -> Holds {
    let Some((folder, text)) = text(bytes).and_then(|text| text.split_once('\n')) else { return Ok(()) };
    if !knowledge::load::FOLDERS.iter().any(|(known, _)| *known == folder) {
        return Ok(());
    }
    let path = format!("{folder}/tried.toml");
    let files = FileSet::from_texts(&[(&path, text)]);
    let lines = text.split('\n').count();
    match Knowledge::from_files(&files) {
        Ok(read) => {
            for complaint in read.lint() {
                complaint_holds(&complaint, lines)?;
            }
        }
        Err(LoadError::Files(complaints)) => {
            ensure(!complaints.is_empty(), || "refused without a complaint".to_owned())?;
            for complaint in &complaints {
                complaint_holds(complaint, lines)?;
                ensure(complaint.file == path && complaint.line > 0, || format!("no place: {complaint}"))?;
            }
            return Ok(());
        }
        Err(error) => return Err(format!("a text is no folder: {error}")),
    }
    use knowledge::network as n;
    use knowledge::workshop as w;
    match folder {
        "blocks" => {
            again::<n::Block>(&files, folder, "block").and_then(|()| again::<n::Travel>(&files, folder, "travel"))
        }
        "cautions" => again::<w::Caution>(&files, folder, "caution"),
        "causes" => {
            again::<n::Cause>(&files, folder, "cause").and_then(|()| again::<n::Attribute>(&files, folder, "attribute"))
        }
        "checks" => {
            again::<n::Stage>(&files, folder, "stage")?;
            again::<n::Prerequisite>(&files, folder, "prerequisite")?;
            again::<n::Tool>(&files, folder, "tool")?;
            again::<n::Checklist>(&files, folder, "checklist")
        }
        "conditions" => again::<n::Condition>(&files, folder, "condition"),
        "gauges" => again::<knowledge::Gauge>(&files, folder, "gauge"),
        "limits" => again::<knowledge::Limit>(&files, folder, "limit"),
        "operations" => again::<w::Operation>(&files, folder, "operation"),
        "options" => again::<w::RepairOption>(&files, folder, "option")
            .and_then(|()| again::<w::CallSheet>(&files, folder, "call")),
        "outside" => again::<n::OutsideFault>(&files, folder, "outside"),
        "parts" => again::<w::Joint>(&files, folder, "joint").and_then(|()| again::<w::Rule>(&files, folder, "rule")),
        "residues" => again::<w::Residue>(&files, folder, "residue"),
        "shop" => again::<knowledge::Shop>(&files, folder, "shop"),
        "sources" => again::<w::Reference>(&files, folder, "source"),
        "steps" => {
            again::<w::BuildStage>(&files, folder, "stage").and_then(|()| again::<w::Waiting>(&files, folder, "wait"))
        }
        _ => Ok(()),
    }
}

fn complaint_holds(complaint: &knowledge::Complaint, lines: usize) -> Holds {
    let said = !complaint.message.is_empty() && !complaint.field.is_empty() && !complaint.next.is_empty();
    ensure(said && complaint.line <= lines, || format!("of {lines} lines: {complaint}"))
}

/// A sheet of an engine's own figures: written as TOML and as JSON it is read as the same sheet.
///
/// # Errors
/// What does not hold.
pub fn sheet(bytes: &[u8]) -> Holds {
    let Some(text) = text(bytes) else { return Ok(()) };
    for read in [logbook::sheet_from_toml(text), logbook::sheet_from_json(text)] {
        let sheet = match read {
            Ok(sheet) => sheet,
            Err(error) => {
                ensure(!error.to_string().is_empty(), || "a complaint without words".to_owned())?;
                continue;
            }
        };
        let wrong = |error: logbook::SheetError| format!("{sheet:?}: {error}");
        let toml = logbook::sheet_to_toml(&sheet).map_err(wrong)?;
        ensure(logbook::sheet_from_toml(&toml).map_err(wrong)? == sheet, || format!("another sheet as\n{toml}"))?;
        let json = logbook::sheet_to_json(&sheet).map_err(wrong)?;
        ensure(logbook::sheet_from_json(&json).map_err(wrong)? == sheet, || format!("another sheet as {json}"))?;
        let _taken = logbook::sheet_import(&sheet, &logbook::JobState::default());
    }
    Ok(())
}

/// The built-in knowledge, read once.
fn builtin() -> Result<&'static Knowledge, String> {
    static BUILTIN: OnceLock<Result<Knowledge, String>> = OnceLock::new();
    BUILTIN.get_or_init(|| Knowledge::builtin().map_err(|error| error.to_string())).as_ref().map_err(Clone::clone)
}

/// A price list: the quotes that it holds, written as a table, are read as the same quotes; a complaint names a line or a heading.
///
/// # Errors
/// What does not hold.
pub fn price_list(bytes: &[u8]) -> Holds {
    let Some(text) = text(bytes) else { return Ok(()) };
    let knowledge = builtin()?;
    let quotes = match witnessmark::price_list(text, knowledge) {
        Ok(quotes) => quotes,
        Err(said) => return ensure(!said.trim().is_empty(), || "a complaint without words".to_owned()),
    };
    let table = witnessmark::price_table(&quotes)?;
    let table = String::from_utf8(table).map_err(|error| error.to_string())?;
    for row in csv::ReaderBuilder::new().has_headers(false).from_reader(table.as_bytes()).records() {
        let row = row.map_err(|error| format!("written as\n{table}\nit is no table: {error}"))?;
        let formula = row.iter().find(|cell| cell.starts_with(['=', '+', '-', '@']));
        ensure(formula.is_none(), || format!("a table program takes {formula:?} for a formula"))?;
    }
    match witnessmark::price_list(&table, knowledge) {
        Ok(again) => ensure(again == quotes, || format!("written as\n{table}\n{quotes:?}\nis\n{again:?}")),
        Err(said) => Err(format!("written as\n{table}\nit is not read: {said}")),
    }
}

/// Records of lives: what is read has an age that counts, and a complaint names its line.
///
/// # Errors
/// What does not hold.
pub fn life_records(bytes: &[u8]) -> Holds {
    let Some(text) = text(bytes) else { return Ok(()) };
    match witnessmark::life_records(text) {
        Ok(records) => {
            let refused = inference::life::History::of(&records).err();
            ensure(refused.is_none_or(|error| !error.to_string().is_empty()), || "a complaint without words".to_owned())
        }
        Err(said) => {
            ensure(said.contains("line ") || said.contains("record "), || format!("a complaint without a line: {said}"))
        }
    }
}

/// A calculator: what it answers is finite, and the same when it is asked once more; a complaint names a key or what was typed.
///
/// # Shapes
/// A line with the id of a calculator, then a line `key=text` for each key; form feeds part the lines of a table
/// # Errors
/// What does not hold.
pub fn calculator(bytes: &[u8]) -> Holds {
    let Some((id, rest)) = text(bytes).and_then(|text| text.split_once('\n')) else { return Ok(()) };
    let Ok(calculator) = mechanics::calculator(id) else { return Ok(()) };
    let told: Vec<(&str, String)> = rest
        .split('\n')
        .filter_map(|line| line.split_once('='))
        .map(|(key, text)| (key, text.replace('\u{c}', "\n")))
        .collect();
    let pairs: Vec<(&str, &str)> = told.iter().map(|(key, text)| (*key, text.as_str())).collect();
    match calculator.calculate(&pairs) {
        Ok(answer) => {
            for line in &answer.results {
                ensure(line.value.is_finite() && line.u.is_none_or(|u| u.is_finite() && u >= 0.0), || {
                    format!("{id} answers {} with {} and doubt {:?}", line.key, line.value, line.u)
                })?;
            }
            ensure(calculator.calculate(&pairs).as_ref() == Ok(&answer), || {
                format!("{id} answers another thing when asked again")
            })
        }
        Err(error) => ensure(!error.to_string().is_empty(), || "a complaint without words".to_owned()),
    }
}
