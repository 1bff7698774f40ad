//! One build for the program and for its tests: both ask the same features of every library.

use std::collections::BTreeSet;
use std::path::Path;
use std::process::Command;

use anyhow::{Context, Result, bail};

use super::Complaint;

/// Where the features that only tests need are asked for the program too.
const MANIFEST: &str = "crates/witnessmark/Cargo.toml";

/// Gives a complaint for each library that the program alone would build with other features than the whole project does.
///
/// # Errors
///
/// When cargo cannot be run
pub fn complaints(root: &Path) -> Result<Vec<Complaint>> {
    let whole = libraries(root, &["--workspace", "-e", "normal,build,dev"])?;
    let program = libraries(root, &["-p", "witnessmark", "-e", "normal,build"])?;
    let apart = program.difference(&whole).map(|library| {
        Complaint::of(
            MANIFEST,
            0,
            format!(
                "`{library}` is built a second time for the tests, with more features: ask for them here too, beside the others"
            ),
        )
    });
    Ok(apart.collect())
}

/// Libraries with their features, one text each.
fn libraries(root: &Path, asked: &[&str]) -> Result<BTreeSet<String>> {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let answer = Command::new(cargo)
        .current_dir(root)
        .args(["tree", "--locked", "--prefix", "none", "--no-dedupe", "-f", "{p} [{f}]"])
        .args(asked)
        .output()
        .context("cannot run cargo tree")?;
    if !answer.status.success() {
        bail!("cargo tree failed: {}", String::from_utf8_lossy(&answer.stderr).trim());
    }
    let text = String::from_utf8_lossy(&answer.stdout);
    // Our own rooms stand with their folder.
    Ok(text.lines().filter(|line| !line.contains('/')).map(str::to_owned).collect())
}
