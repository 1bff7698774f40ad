//! `cargo xtask tidy`: prints each complaint, and ends with 1 when there is one. `cargo xtask bench-peers`: times the exact engine beside
//! a general-purpose library.
#![expect(clippy::print_stdout, clippy::print_stderr, reason = "the bench is a door: it speaks to a terminal")]

use std::path::{Path, PathBuf};
use std::process::ExitCode;

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    match words.iter().map(String::as_str).collect::<Vec<_>>().as_slice() {
        ["tidy"] => tidy(),
        ["bench-peers"] => bench_peers(),
        _ => {
            eprintln!("usage: cargo xtask tidy|bench-peers");
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

/// Gives the root of the project: the folder above this package.
fn root() -> PathBuf {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    here.parent().unwrap_or(here).to_owned()
}
