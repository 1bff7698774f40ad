//! What a search begins with: files of its own, everything that was ever found, and what the project itself holds of the kind.

use std::fs;
use std::path::{Path, PathBuf};

/// Gives the folder of this package.
#[must_use]
pub fn here() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Gives name and bytes of every file of a folder, by name; none where there is no folder.
///
/// # Errors
/// When a file cannot be read.
pub fn files(folder: &Path) -> std::io::Result<Vec<(String, Vec<u8>)>> {
    let mut paths: Vec<PathBuf> = match fs::read_dir(folder) {
        Ok(items) => items.map(|item| item.map(|item| item.path())).collect::<Result<_, _>>()?,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Vec::new(),
        Err(error) => return Err(error),
    };
    paths.retain(|path| path.is_file());
    paths.sort();
    paths
        .into_iter()
        .map(|path| {
            let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
            fs::read(&path).map(|bytes| (name, bytes))
        })
        .collect()
}

/// Gives what was found for a parser, by name of the file.
///
/// # Errors
/// When a file cannot be read.
pub fn found(target: &str) -> std::io::Result<Vec<(String, Vec<u8>)>> {
    files(&here().join("found").join(target))
}

/// Gives every seed of a parser with a name for each.
///
/// # Errors
/// When a file cannot be read.
pub fn of(target: &str) -> std::io::Result<Vec<(String, Vec<u8>)>> {
    let mut seeds = files(&here().join("seeds").join(target))?;
    seeds.extend(found(target)?.into_iter().map(|(name, bytes)| (format!("found-{name}"), bytes)));
    seeds.extend(match target {
        "knowledge" => tables()?,
        "story" => stories()?,
        "body" => bodies()?,
        "lines" | "carried" => sealed(target)?,
        "calculator" => calculators(),
        _ => Vec::new(),
    });
    Ok(seeds)
}

/// Every table of the built-in knowledge, each under a line that names its folder.
fn tables() -> std::io::Result<Vec<(String, Vec<u8>)>> {
    let mut out = Vec::new();
    for (folder, _) in knowledge::load::FOLDERS {
        for (name, bytes) in files(&here().join("../knowledge").join(folder))? {
            let text = String::from_utf8_lossy(&bytes).into_owned();
            let heading = |table: &str| table.split_once("]]").map(|(key, _)| key.to_owned());
            let mut pieces: Vec<(String, String)> = Vec::new();
            // A table begins at the margin; what is below it in the file belongs to it.
            for table in text.split("\n[[").skip(usize::from(!text.starts_with("[["))) {
                let table = table.trim_start_matches("[[");
                match (heading(table), pieces.last_mut()) {
                    (Some(key), Some((_, whole))) if key.contains('.') => {
                        whole.push_str("\n[[");
                        whole.push_str(table);
                    }
                    (Some(key), _) => pieces.push((key, format!("[[{table}"))),
                    (None, _) => {}
                }
            }
            for (n, (_, piece)) in pieces.into_iter().enumerate() {
                out.push((format!("{folder}-{name}-{n}"), format!("{folder}\n{piece}").into_bytes()));
            }
        }
    }
    Ok(out)
}

/// The invented jobs: the lines of each in runs of twelve.
fn stories() -> std::io::Result<Vec<(String, Vec<u8>)>> {
    let mut out = Vec::new();
    for job in whole_stories()? {
        for (n, run) in job.lines().collect::<Vec<_>>().chunks(12).enumerate() {
            let first = if n == 0 { "" } else { job.lines().next().unwrap_or_default() };
            out.push((format!("run-{}-{n}", out.len()), format!("{first}\n{}", run.join("\n")).into_bytes()));
        }
    }
    Ok(out)
}

fn whole_stories() -> std::io::Result<Vec<String>> {
    let mut out = Vec::new();
    let mut folders: Vec<PathBuf> =
        fs::read_dir(here().join("../cases"))?.map(|item| item.map(|item| item.path())).collect::<Result<_, _>>()?;
    folders.sort();
    for folder in folders {
        if let Ok(text) = fs::read_to_string(folder.join("story.jsonl")) {
            out.push(text);
        }
    }
    Ok(out)
}

/// Kind, version and body of every entry of the invented jobs.
fn bodies() -> std::io::Result<Vec<(String, Vec<u8>)>> {
    let mut out = Vec::new();
    for entry in entries()? {
        let text = format!("{} {}\n{}", entry.kind(), entry.version(), entry.body());
        out.push((format!("body-{}", out.len()), text.into_bytes()));
    }
    Ok(out)
}

fn entries() -> std::io::Result<Vec<logbook::Entry>> {
    let mut out = Vec::new();
    for (n, text) in whole_stories()?.iter().enumerate() {
        let lines = logbook::story_from_lines(text).map_err(std::io::Error::other)?;
        out.extend(logbook::seal_story(&format!("seed {n}"), &lines).map_err(std::io::Error::other)?);
    }
    Ok(out)
}

/// Sealed lines, in runs of six from the beginning of a job.
fn sealed(target: &str) -> std::io::Result<Vec<(String, Vec<u8>)>> {
    let mut jobs: Vec<Vec<logbook::Entry>> = Vec::new();
    for entry in entries()? {
        match jobs.last_mut() {
            Some(job) if job.first().is_some_and(|first| first.job() == entry.job()) => job.push(entry),
            _ => jobs.push(vec![entry]),
        }
    }
    let runs = jobs.iter().map(|job| logbook::export(job.get(..6).unwrap_or(job)));
    Ok(runs.enumerate().map(|(n, text)| (format!("{target}-{n}"), text.into_bytes())).collect())
}

/// Every calculator with its own example: its id, then a line for each key.
fn calculators() -> Vec<(String, Vec<u8>)> {
    let written = |c: &mechanics::Calculator| {
        // A table has several lines; inside an input they are parted by form feeds.
        let lines = c.example.iter().map(|(key, text)| format!("{key}={}", text.replace('\n', "\u{c}")));
        std::iter::once(c.id.to_owned()).chain(lines).collect::<Vec<_>>().join("\n")
    };
    mechanics::catalogue().iter().map(|c| (c.id.to_owned(), written(c).into_bytes())).collect()
}
