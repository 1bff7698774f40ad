//! `cargo xtask tidy`: prints each complaint, and ends with 1 when there is one. `cargo xtask bench-peers`: times the exact engine beside
//! a general-purpose library. `cargo xtask fuzz`: searches for inputs on which a parser does not keep its promises.
#![expect(clippy::print_stdout, clippy::print_stderr, reason = "the bench is a door: it speaks to a terminal")]

use std::path::{Path, PathBuf};
use std::process::ExitCode;

fn main() -> ExitCode {
    match xtask::fuzz::as_compiler() {
        Ok(None) => {}
        Ok(Some(code)) => return ExitCode::from(u8::try_from(code).unwrap_or(1)),
        Err(error) => {
            eprintln!("cannot compile: {error:#}");
            return ExitCode::FAILURE;
        }
    }
    let words: Vec<String> = std::env::args().skip(1).collect();
    match words.iter().map(String::as_str).collect::<Vec<_>>().as_slice() {
        ["tidy"] => tidy(),
        ["bench-peers"] => bench_peers(),
        ["fuzz", rest @ ..] => fuzz(rest),
        _ => {
            eprintln!("usage: cargo xtask tidy|bench-peers|fuzz");
            ExitCode::from(2)
        }
    }
}

fn tidy() -> ExitCode {
    match xtask::tidy::tidy(&root()) {
        Ok(complaints) if complaints.is_empty() => {
            println!("tidy");
            ExitCode::SUCCESS
        }
        Ok(complaints) => {
            for complaint in &complaints {
                println!("{complaint}");
            }
            eprintln!("{} complaints", complaints.len());
            ExitCode::FAILURE
        }
        Err(error) => {
            eprintln!("cannot look: {error:#}");
            ExitCode::from(6)
        }
    }
}

fn bench_peers() -> ExitCode {
    match xtask::peers::bench_peers(&root()) {
        Ok(path) => {
            println!("written: {}", path.display());
            ExitCode::SUCCESS
        }
        Err(error) => {
            eprintln!("cannot time: {error:#}");
            ExitCode::FAILURE
        }
    }
}

fn fuzz(words: &[&str]) -> ExitCode {
    match xtask::fuzz::fuzz(&root(), words, |line| println!("{line}")) {
        Ok(0) => ExitCode::SUCCESS,
        Ok(found) => {
            eprintln!("{found} found: mend what does not hold and keep the file under fuzz/found");
            ExitCode::FAILURE
        }
        Err(error) => {
            eprintln!("cannot search: {error:#}");
            ExitCode::from(6)
        }
    }
}

/// Gives the root of the project: the folder above this package.
fn root() -> PathBuf {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    here.parent().unwrap_or(here).to_owned()
}
