//! `cargo xtask fuzz`: every parser searched for as long as it is told, led by the branches that an input takes; then every route.
//!
//! The stable compiler can note which branches were taken, where it is asked to by a pass of its own; nothing else is needed. Only our
//! own rooms are built so: this program stands between cargo and the compiler and adds the words ([`as_compiler`]), so that the
//! libraries stay as they are built for the tests.

use std::ffi::OsString;
use std::fs;
use std::path::Path;
use std::process::Command;

use anyhow::{Context, Result, bail, ensure};

/// Says to this program that it stands before the compiler.
const BEFORE_COMPILER: &str = "WITNESSMARK_BEFORE_COMPILER";
/// Names the parser to the search.
const WHICH: &str = "WITNESSMARK_FUZZ";
/// Seconds for each parser, where none are told \[ours\].
const SECONDS: u64 = 60;
/// Requests for each route, where none are told \[ours\].
const REQUESTS: u64 = 2_000;
/// What has the compiler note the branches, and the two sides of each comparison.
const NOTES: &[&str] = &[
    "-Cpasses=sancov-module",
    "-Cllvm-args=-sanitizer-coverage-level=4",
    "-Cllvm-args=-sanitizer-coverage-inline-8bit-counters",
    "-Cllvm-args=-sanitizer-coverage-pc-table",
    "-Cllvm-args=-sanitizer-coverage-trace-compares",
    // Overflow of numbers is a find too, and every debug assertion.
    "-Coverflow-checks=yes",
    "-Cdebug-assertions=yes",
];
/// Seconds and megabytes that one input may take \[ours\].
const LIMITS: &[&str] = &["-timeout=5", "-rss_limit_mb=2048"];

/// What was asked for.
#[derive(Debug, PartialEq, Eq)]
struct Asked {
    seconds: u64,
    requests: u64,
    parsers: Vec<String>,
}

/// What came of one parser.
#[derive(Debug, Default, PartialEq, Eq)]
struct Outcome {
    tried: String,
    branches: String,
    kept: usize,
    found: Vec<String>,
}

/// Searches, and prints a line for each parser; answers how many inputs were found on which something does not hold.
///
/// # Shapes
/// `[--seconds N] [--requests N] [PARSER...]`; without a parser all of them and every route, `routes` for these alone
///
/// # Errors
/// Words that are not understood, a program that cannot be built or run.
pub fn fuzz(root: &Path, words: &[&str], mut say: impl FnMut(&str)) -> Result<usize> {
    let asked = read(words)?;
    let known = lines(Command::new("cargo").current_dir(root).args([
        "run",
        "--quiet",
        "--release",
        "--locked",
        "-p",
        "fuzz",
        "--bin",
        "lay-seeds",
    ]))?;
    if let Some(strange) = asked.parsers.iter().find(|name| *name != "routes" && !known.contains(name)) {
        bail!("there is no parser `{strange}`; there are {} and routes", known.join(", "));
    }
    let wanted = |name: &str| asked.parsers.is_empty() || asked.parsers.iter().any(|asked| asked == name);
    let parsers: Vec<&String> = known.iter().filter(|name| wanted(name)).collect();
    let mut found = 0;
    if !parsers.is_empty() {
        say("building our own rooms so that they note the branches");
        build(root)?;
        say(&format!("{:<14} {:>12} {:>9} {:>8}  found", "parser", "tried", "branches", "kept"));
    }
    for name in parsers {
        let outcome = search(root, name, asked.seconds)?;
        found += outcome.found.len();
        let files = if outcome.found.is_empty() { "nothing".to_owned() } else { outcome.found.join(", ") };
        say(&format!("{name:<14} {:>12} {:>9} {:>8}  {files}", outcome.tried, outcome.branches, outcome.kept));
    }
    if wanted("routes") {
        say(&format!("routes: {} requests each", asked.requests));
        found += usize::from(!routes(root, asked.requests)?);
    }
    Ok(found)
}

fn read(words: &[&str]) -> Result<Asked> {
    let mut asked = Asked { seconds: SECONDS, requests: REQUESTS, parsers: Vec::new() };
    let mut rest = words.iter();
    while let Some(word) = rest.next() {
        let number = |next: Option<&&str>| -> Result<u64> {
            let next = next.with_context(|| format!("{word} wants a number behind it"))?;
            next.parse().with_context(|| format!("{word} {next}: not a whole number"))
        };
        match *word {
            "--seconds" => asked.seconds = number(rest.next())?,
            "--requests" => asked.requests = number(rest.next())?,
            option if option.starts_with('-') => bail!("`{option}` is not known; there are --seconds and --requests"),
            parser => asked.parsers.push(parser.to_owned()),
        }
    }
    Ok(asked)
}

/// Builds the search with our own rooms noting their branches.
fn build(root: &Path) -> Result<()> {
    let this = std::env::current_exe().context("cannot find this program")?;
    let built = Command::new("cargo")
        .current_dir(root)
        .args(["build", "--quiet", "--release", "--locked", "-p", "fuzz", "--features", "guided", "--bin", "guided"])
        .env("RUSTC_WORKSPACE_WRAPPER", this)
        .env(BEFORE_COMPILER, "yes")
        .status()
        .context("cannot run cargo build")?;
    ensure!(built.success(), "the search cannot be built");
    Ok(())
}

/// Stands before the compiler where it was asked to, and gives its exit code; none where it was not.
///
/// # Errors
/// When the compiler cannot be run.
pub fn as_compiler() -> Result<Option<i32>> {
    if std::env::var_os(BEFORE_COMPILER).is_none() {
        return Ok(None);
    }
    let words: Vec<OsString> = std::env::args_os().skip(1).collect();
    let (compiler, rest) = words.split_first().context("no compiler was named")?;
    let mut command = Command::new(compiler);
    command.args(rest);
    if is_noted(rest) {
        command.args(NOTES);
    }
    let ended = command.status().context("cannot run the compiler")?;
    Ok(Some(ended.code().unwrap_or(1)))
}

/// Says whether what is compiled is a part of what is searched: not a program or a macro of the build, which could not be linked.
fn is_noted(words: &[OsString]) -> bool {
    let pairs = || words.iter().zip(words.iter().skip(1));
    let named = |name: &str| pairs().find(|(word, _)| *word == name).and_then(|(_, value)| value.to_str());
    let crate_name = named("--crate-name");
    crate_name.is_some_and(|name| !name.starts_with("build_script") && name != "___")
        && named("--crate-type") != Some("proc-macro")
}

/// Searches one parser from where the last search ended.
fn search(root: &Path, name: &str, seconds: u64) -> Result<Outcome> {
    let room = root.join("target/fuzz").join(name);
    let (kept, start, ends) = (room.join("kept"), room.join("start"), room.join("found"));
    for folder in [&kept, &start, &ends] {
        fs::create_dir_all(folder).with_context(|| format!("cannot make {}", folder.display()))?;
    }
    let longest = lines(
        Command::new("cargo")
            .current_dir(root)
            .args(["run", "--quiet", "--release", "--locked", "-p", "fuzz", "--bin", "lay-seeds", "--", name])
            .arg(&start),
    )?;
    let before = names(&ends)?;
    let said = Command::new(root.join("target/release/guided"))
        .current_dir(&room)
        .env(WHICH, name)
        .args(LIMITS)
        .arg(format!("-max_total_time={seconds}"))
        .arg(format!("-max_len={}", longest.first().map_or("4096", String::as_str)))
        .arg(format!("-artifact_prefix={}/", ends.display()))
        .args(["-print_final_stats=1", "-use_value_profile=0", "-len_control=20"])
        .args([&kept, &start])
        .output()
        .context("cannot run the search")?;
    let said = String::from_utf8_lossy(&said.stderr).into_owned();
    fs::write(room.join("said.txt"), &said).context("cannot keep what the search said")?;
    let after = names(&ends)?;
    let number = |line: &str, word: &str| line.split_once(word).map(|(_, rest)| rest.trim().to_owned());
    let first = |text: String| text.split_whitespace().next().unwrap_or("?").to_owned();
    let last =
        |word: &str| said.lines().rev().find_map(|line| number(line, word)).map_or_else(|| "?".to_owned(), first);
    Ok(Outcome {
        tried: last("stat::number_of_executed_units:"),
        branches: last(" cov: "),
        kept: names(&kept)?.len(),
        found: after
            .into_iter()
            .filter(|name| !before.contains(name))
            .map(|file| format!("target/fuzz/{name}/found/{file}"))
            .collect(),
    })
}

/// Sends every route so many requests; says whether all held.
fn routes(root: &Path, requests: u64) -> Result<bool> {
    let ended = Command::new("cargo")
        .current_dir(root)
        .args(["test", "--quiet", "--release", "--locked", "-p", "fuzz", "--test", "routes"])
        .env("WITNESSMARK_FUZZ_REQUESTS", requests.to_string())
        .status()
        .context("cannot run cargo test")?;
    Ok(ended.success())
}

fn names(folder: &Path) -> Result<Vec<String>> {
    let items = fs::read_dir(folder).with_context(|| format!("cannot list {}", folder.display()))?;
    let mut names: Vec<String> =
        items.map(|item| item.map(|item| item.file_name().to_string_lossy().into_owned())).collect::<Result<_, _>>()?;
    names.sort();
    Ok(names)
}

fn lines(command: &mut Command) -> Result<Vec<String>> {
    let shown = format!("{command:?}");
    let output = command.output().with_context(|| format!("cannot run {shown}"))?;
    ensure!(output.status.success(), "{shown} ended badly: {}", String::from_utf8_lossy(&output.stderr));
    Ok(String::from_utf8_lossy(&output.stdout).lines().map(str::to_owned).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_read_or_refused_with_what_there_is() {
        let asked = read(&["--seconds", "5", "money", "vin"]).unwrap();
        assert_eq!((asked.seconds, asked.requests, asked.parsers.len()), (5, REQUESTS, 2));
        assert_eq!(read(&[]).unwrap().seconds, SECONDS);
        assert!(read(&["--seconds"]).unwrap_err().to_string().contains("wants a number"));
        assert!(read(&["--minutes", "1"]).unwrap_err().to_string().contains("--seconds"));
    }

    #[test]
    fn programs_and_macros_of_the_build_are_left_as_they_are() {
        let words = |text: &str| text.split(' ').map(OsString::from).collect::<Vec<_>>();
        assert!(is_noted(&words("--crate-name quantity --crate-type lib")));
        assert!(!is_noted(&words("--crate-name build_script_build --crate-type bin")));
        assert!(!is_noted(&words("--crate-name told --crate-type proc-macro")));
        assert!(!is_noted(&words("-vV")), "what asks the compiler for its version");
    }
}
