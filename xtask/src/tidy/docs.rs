//! Every Rust file opens by saying what it is.

use super::Complaint;
use crate::tree::Tree;

/// Words from the lines of a room's `lib.rs` that say what it takes and gives, and what it must not know.
const ROOM_LINES: &[&str] = &["comes in", "goes out", "must not"];

/// Gives a complaint for each Rust file that does not open with a module comment, and for each room whose opening lacks
/// one of its lines.
#[must_use]
pub fn complaints(tree: &Tree) -> Vec<Complaint> {
    let mut complaints = Vec::new();
    for file in tree.with("", ".rs") {
        let opening = file
            .text
            .lines()
            .map(str::trim_start)
            .find(|line| !line.is_empty() && !line.starts_with("#!") && !line.starts_with("// "));
        if !opening.is_some_and(|line| line.starts_with("//!") && line.trim().len() > 3) {
            complaints.push(Complaint::of(
                &file.path,
                1,
                "does not open with `//!` and a sentence: say what the file is",
            ));
        }
    }
    for file in tree.with("crates/", "/src/lib.rs") {
        let opening: String = file.text.lines().take_while(|line| line.starts_with("//!") || line.is_empty()).collect();
        let opening = opening.to_lowercase();
        for wanted in ROOM_LINES {
            if !opening.contains(wanted) {
                complaints.push(Complaint::of(
                    &file.path,
                    1,
                    format!("its opening has no line with `{wanted}`: say what comes in, what goes out and what it must not know"),
                ));
            }
        }
    }
    complaints
}
