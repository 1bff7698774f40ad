//! The record: bodies of entries, sealed lines, stories, carried records.

use std::path::Path;

use anatomy::{EntryId, JobId};
use logbook::{Content, Entry, EntryBody, FIRST_PREV, ImportedLine, Unsealed};
use serde_json::Value;
use store::carried::{LOGBOOK, MANIFEST, Source, check};

use super::text;
use crate::{Holds, ensure};

/// Entries that a made-up device could have made, told apart by a number.
fn unsealed(n: u64, kind: &str, v: u32, body: Value) -> Unsealed {
    let at = jiff::Timestamp::UNIX_EPOCH;
    let (id, job) = (EntryId::from_time_and_chance(n, [1; 10]), JobId::from_time_and_chance(0, [2; 10]));
    Unsealed { id, job, at, by: "Ansel".to_owned(), device: "bench".to_owned(), kind: kind.to_owned(), v, body }
}

/// The body of an entry: what was read and written anew says the same and is of no newer version; sealed, its line gives the
/// entry again; a fold of it ends with a state, the same whichever way it came.
///
/// # Shapes
/// A line with kind and version, then the body as JSON
/// # Errors
/// What does not hold.
pub fn body(bytes: &[u8]) -> Holds {
    let Some((head, json)) = text(bytes).and_then(|text| text.split_once('\n')) else { return Ok(()) };
    let Some((kind, version)) = head.split_once(' ') else { return Ok(()) };
    let (Ok(version), Ok(body)) = (version.parse::<u32>(), serde_json::from_str::<Value>(json)) else { return Ok(()) };
    let entry = match unsealed(1, kind, version, body).seal(FIRST_PREV) {
        Ok(entry) => entry,
        Err(error) => return ensure(!error.to_string().is_empty(), || "a complaint without words".to_owned()),
    };
    sealed(&entry)?;
    if let Content::Known(read) = entry.content() {
        written_anew(read, version)?;
    }
    let state = logbook::fold(std::slice::from_ref(&entry));
    let twice = logbook::fold(&[entry.clone(), entry.clone()]);
    ensure(state == twice, || format!("an entry that comes twice changes the job: {}", entry.line()))
}

/// The line of an entry gives the entry again.
fn sealed(entry: &Entry) -> Holds {
    match Entry::from_line(entry.line()) {
        Ok(again) => ensure(again == *entry, || format!("read again it is another entry: {}", entry.line())),
        Err(error) => Err(format!("sealed and not read: {error}: {}", entry.line())),
    }
}

/// A body written anew says the same.
fn written_anew(read: &EntryBody, version: u32) -> Holds {
    let written = serde_json::to_value(read).map_err(|error| format!("{read:?} cannot be written: {error}"))?;
    ensure(read.version() <= version, || format!("version {version} is written as {}", read.version()))?;
    match EntryBody::read(read.kind(), read.version(), &written) {
        Ok(Some(again)) => {
            ensure(again == *read, || format!("written as {written} it says {again:?} and not {read:?}"))
        }
        other => Err(format!("written as {written} it is read as {other:?}")),
    }
}

/// Lines of a logbook: every byte is kept; a line that is an entry is sealed; what cannot be read is named by its number; a
/// chain that holds has no line that cannot be read.
///
/// # Errors
/// What does not hold.
pub fn lines(bytes: &[u8]) -> Holds {
    let read = logbook::import(bytes);
    ensure(read.bytes() == bytes, || "not every byte came back".to_owned())?;
    for line in &read.lines {
        match line {
            ImportedLine::Entry(entry) => sealed(entry)?,
            ImportedLine::Unreadable { why, .. } => {
                ensure(!why.to_string().is_empty(), || "a complaint without words".to_owned())?;
            }
        }
    }
    let count = bytes.split(|byte| *byte == b'\n').count();
    for (line, why) in read.unreadable() {
        ensure((1..=count).contains(&line), || format!("line {line} of {count}: {why}"))?;
    }
    let entries = read.entries();
    match logbook::verify(bytes) {
        Ok(_) => ensure(read.unreadable().is_empty(), || "the chain holds, and a line cannot be read".to_owned())?,
        Err(error) => ensure(!error.to_string().is_empty(), || "a complaint without words".to_owned())?,
    }
    folds(&entries)
}

/// A fold ends with the same state in whichever sequence the entries came.
fn folds(entries: &[Entry]) -> Holds {
    let state = logbook::fold(entries);
    let backwards: Vec<Entry> = entries.iter().rev().cloned().collect();
    ensure(logbook::fold(&backwards) == state, || {
        "the job depends on the sequence in which its entries came".to_owned()
    })
}

/// A story: what is sealed hangs together and folds to the same job in whichever sequence it comes.
///
/// # Errors
/// What does not hold.
pub fn story(bytes: &[u8]) -> Holds {
    let Some(text) = text(bytes) else { return Ok(()) };
    let sealed = logbook::story_from_lines(text).and_then(|lines| logbook::seal_story("tried", &lines));
    let entries = match sealed {
        Ok(entries) => entries,
        Err(error) => {
            let said = error.to_string();
            return ensure(said.contains("line "), || format!("a complaint without its line: {said}"));
        }
    };
    let written = logbook::export(&entries);
    if let Err(error) = logbook::verify(written.as_bytes()) {
        return Err(format!("what was sealed does not hang together: {error}"));
    }
    for entry in &entries {
        if let Content::Known(read) = entry.content() {
            written_anew(read, entry.version())?;
        }
    }
    folds(&entries)
}

/// A carried record: lines alone, and a folder whose manifest is the input, are read or refused with words; lines that are taken
/// hold no line that cannot be read.
///
/// # Errors
/// What does not hold.
pub fn carried(bytes: &[u8]) -> Holds {
    let wrong = |error: std::io::Error| error.to_string();
    let folder = tempfile::tempdir().map_err(wrong)?;
    let write = |name: &str, bytes: &[u8]| std::fs::write(folder.path().join(name), bytes).map_err(wrong);
    write(LOGBOOK, bytes)?;
    match taken(&Source::Lines(folder.path().join(LOGBOOK))) {
        Ok(entries) => {
            let read = logbook::import(bytes);
            let there = read.entries().len();
            ensure(usize::try_from(entries) == Ok(there), || format!("{entries} of {there} entries are taken"))?;
            let strange = read.lines.iter().any(|line| {
                matches!(line, ImportedLine::Unreadable { bytes, .. } if !bytes.iter().all(u8::is_ascii_whitespace))
            });
            ensure(!strange, || "a line that cannot be read was passed over".to_owned())?;
        }
        Err(said) => ensure(!said.is_empty(), || "a complaint without words".to_owned())?,
    }
    write(MANIFEST, bytes)?;
    write("attachments.jsonl", bytes)?;
    let _refused = taken(&Source::Folder(Path::to_owned(folder.path())));
    Ok(())
}

fn taken(source: &Source) -> Result<u64, String> {
    check(source, &mut |_| ()).map(|checked| checked.entries).map_err(|error| error.to_string())
}
