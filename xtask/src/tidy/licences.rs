//! What the libraries ask of us: each one must be usable under a licence on the list.

use std::path::Path;
use std::process::Command;

use anyhow::{Context, Result, bail};
use serde_json::Value;

use super::Complaint;

/// Licences that ask for no more than their text and names being kept, by their SPDX names.
const ALLOWED: &[&str] = &[
    "0BSD",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "CC0-1.0",
    "CDLA-Permissive-2.0",
    "ISC",
    "MIT",
    "MIT-0",
    "Unicode-3.0",
    "Unlicense",
    "Zlib",
];

/// Libraries of tests and trials alone, under licences that ask for more: they are in no binary that anybody is handed (decisions 16
/// and 40).
const OF_TESTS: &[(&str, &str)] = &[("webdriver", "MPL-2.0"), ("libfuzzer-sys", "(MIT OR Apache-2.0) AND NCSA")];

/// Gives a complaint for each library of the build for this machine whose licence is not on the list.
///
/// # Errors
///
/// When cargo cannot be run or does not answer in its own form
pub fn complaints(root: &Path) -> Result<Vec<Complaint>> {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let version = Command::new("rustc").arg("-vV").output().context("cannot run rustc: install the Rust toolchain")?;
    let version = String::from_utf8_lossy(&version.stdout).into_owned();
    let host = version.lines().find_map(|line| line.strip_prefix("host: ")).context("rustc does not name its host")?;
    let answer = Command::new(cargo)
        .current_dir(root)
        .args(["metadata", "--format-version", "1", "--locked", "--filter-platform", host])
        .output()
        .context("cannot run cargo metadata")?;
    if !answer.status.success() {
        bail!("cargo metadata failed: {}", String::from_utf8_lossy(&answer.stderr).trim());
    }
    let answer: Value = serde_json::from_slice(&answer.stdout).context("cargo metadata did not answer in JSON")?;
    let packages = answer.get("packages").and_then(Value::as_array).context("cargo metadata lists no packages")?;
    // The list holds every locked package; those of other platforms are not in the graph.
    let in_graph: Vec<&str> = answer
        .pointer("/resolve/nodes")
        .and_then(Value::as_array)
        .into_iter()
        .flatten()
        .filter_map(|node| node.get("id").and_then(Value::as_str))
        .collect();
    let mut complaints = Vec::new();
    for package in packages {
        let text = |field: &str| package.get(field).and_then(Value::as_str);
        // Our own packages have no source.
        if text("source").is_none() || !text("id").is_some_and(|id| in_graph.contains(&id)) {
            continue;
        }
        let name = format!("{} {}", text("name").unwrap_or("?"), text("version").unwrap_or("?"));
        match text("license") {
            Some(licence) if allowed(licence) => {}
            Some(licence) if OF_TESTS.contains(&(text("name").unwrap_or("?"), licence)) => {}
            Some(licence) => complaints.push(Complaint::of(
                "Cargo.lock",
                0,
                format!("{name} is under `{licence}`, which is not on the list: use another library, or widen the list with a decision record"),
            )),
            None => complaints.push(Complaint::of("Cargo.lock", 0, format!("{name} names no licence: look, and use another library if in doubt"))),
        }
    }
    Ok(complaints)
}

/// Says whether an SPDX expression can be met with the list: `OR` needs one side, `AND` both; `/` is an old `OR`.
fn allowed(expression: &str) -> bool {
    let spaced = expression.replace('/', " OR ").replace('(', " ( ").replace(')', " ) ");
    let words: Vec<&str> = spaced.split_whitespace().collect();
    let mut rest = words.as_slice();
    either(&mut rest) && rest.is_empty()
}

fn either(words: &mut &[&str]) -> bool {
    let mut good = both(words);
    while let [word, rest @ ..] = *words
        && word.eq_ignore_ascii_case("or")
    {
        *words = rest;
        good |= both(words);
    }
    good
}

fn both(words: &mut &[&str]) -> bool {
    let mut good = one(words);
    while let [word, rest @ ..] = *words
        && word.eq_ignore_ascii_case("and")
    {
        *words = rest;
        good &= one(words);
    }
    good
}

fn one(words: &mut &[&str]) -> bool {
    match *words {
        ["(", rest @ ..] => {
            *words = rest;
            let good = either(words);
            let [")", rest @ ..] = *words else {
                return false;
            };
            *words = rest;
            good
        }
        [licence, with, exception, rest @ ..] if with.eq_ignore_ascii_case("with") => {
            *words = rest;
            ALLOWED.contains(&format!("{licence} WITH {exception}").as_str())
        }
        [licence, rest @ ..] => {
            *words = rest;
            ALLOWED.contains(licence)
        }
        [] => false,
    }
}

#[cfg(test)]
mod tests {
    use super::allowed;

    // The grammar is that of SPDX licence expressions, annex D of the SPDX specification 2.3 [published].
    #[test]
    fn one_side_of_or_is_enough_and_both_sides_of_and_are_needed() {
        assert!(allowed("MIT OR Apache-2.0"));
        assert!(allowed("MIT/Apache-2.0"));
        assert!(allowed("GPL-3.0-only OR MIT"));
        assert!(allowed("(MIT OR Apache-2.0) AND Unicode-3.0"));
        assert!(allowed("Apache-2.0 WITH LLVM-exception OR Apache-2.0 OR MIT"));
        assert!(!allowed("MIT AND GPL-3.0-only"));
        assert!(!allowed("GPL-3.0-only"));
        assert!(!allowed("(GPL-3.0-only OR LGPL-3.0-only) AND MIT"));
        assert!(!allowed("(MIT"));
        assert!(!allowed(""));
    }
}
