//! What must not stand in any file: paths of one machine, hosts of one network, words of the planning table.
//!
//! The list is written in pieces that the compiler joins, so that this file does not hold the words it looks for.

use super::Complaint;
use crate::tree::Tree;

/// Paths that mean something on one machine only.
const PATHS: &[&str] = &[
    concat!("/wo", "rk/"),
    concat!("/ro", "ot/"),
    concat!("/tm", "p/"),
    concat!("/ho", "me/"),
    concat!("/Use", "rs/"),
    concat!("C:", "\\Users"),
];

/// Hosts that serve packages: a build may reach them through its tools, a file must not name them.
const HOSTS: &[&str] = &[
    concat!("index.", "crates.io"),
    concat!("static.", "crates.io"),
    concat!("registry.", "npmjs.org"),
    concat!("pypi.", "org"),
    concat!("files.", "pythonhosted.org"),
    concat!("proxy.", "golang.org"),
];

/// Words that belong to a plan or to the making of the program, not to the program. Compared as whole words.
const WORDS: &[&str] = &[
    concat!("blue", "print"),
    concat!("sub", "agent"),
    concat!("sub-", "agent"),
    concat!("work", "ing paper"),
    concat!("language ", "model"),
    concat!("the ", "brief"),
    concat!("FIX", "ME later"),
];

/// The one source a locked library may come from.
const INDEX: &str = concat!("registry+https://github.com/rust-lang/", "crates.io-index");

/// Gives a complaint for each line that holds one of them, and for each locked library from elsewhere.
#[must_use]
pub fn complaints(tree: &Tree) -> Vec<Complaint> {
    let mut complaints = Vec::new();
    for file in &tree.files {
        if file.path == "Cargo.lock" {
            for (at, line) in file.text.lines().enumerate() {
                if let Some(source) = line.strip_prefix("source = ")
                    && source.trim_matches('"') != INDEX
                {
                    complaints.push(Complaint::of(
                        &file.path,
                        at + 1,
                        "locks a library from another place than the public index: use the published one",
                    ));
                }
            }
            continue;
        }
        for (at, line) in file.text.lines().enumerate() {
            for path in PATHS.iter().filter(|path| holds_path(line, path)) {
                complaints.push(Complaint::of(
                    &file.path,
                    at + 1,
                    format!("names `{path}`, a path of one machine: make it relative or ask the system for one"),
                ));
            }
            for host in HOSTS.iter().filter(|host| line.contains(**host)) {
                complaints.push(Complaint::of(
                    &file.path,
                    at + 1,
                    format!("names the package host `{host}`: take it out"),
                ));
            }
            let small = line.to_lowercase();
            for word in WORDS.iter().filter(|word| holds_word(&small, &word.to_lowercase())) {
                complaints.push(Complaint::of(
                    &file.path,
                    at + 1,
                    format!("says `{word}`, a word of the planning table: say it in words of the trade or the code"),
                ));
            }
        }
    }
    complaints
}

/// Says whether a line holds a path that begins here, and not in the middle of a longer one, such as a folder of docs.
fn holds_path(line: &str, path: &str) -> bool {
    line.match_indices(path).any(|(at, _)| {
        let before = line.get(..at).and_then(|text| text.chars().next_back());
        !before.is_some_and(|c| c.is_alphanumeric() || matches!(c, '_' | '-' | '.' | '}' | ')' | '>'))
    })
}

fn holds_word(line: &str, word: &str) -> bool {
    line.match_indices(word).any(|(at, found)| {
        let before = line.get(..at).and_then(|text| text.chars().next_back());
        let after = line.get(at + found.len()..).and_then(|text| text.chars().next());
        !before.is_some_and(char::is_alphanumeric) && !after.is_some_and(char::is_alphanumeric)
    })
}
