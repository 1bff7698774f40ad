//! Decisions are numbered without gap and have their four parts; links between papers lead somewhere.

use super::Complaint;
use crate::tree::Tree;

const DECISIONS: &str = "docs/decisions/";
const PARTS: &[&str] = &["## What we face", "## What we chose", "## What else was weighed", "## What follows"];

/// Gives the complaints about decision records and about links that lead nowhere.
#[must_use]
pub fn complaints(tree: &Tree) -> Vec<Complaint> {
    let mut complaints = Vec::new();
    let mut wanted = 1;
    for file in tree.with(DECISIONS, ".md") {
        let name = file.path.strip_prefix(DECISIONS).unwrap_or("");
        let number = name.split_once('-').map(|(number, _)| number).filter(|number| number.len() == 4);
        let Some(number) = number.and_then(|number| number.parse::<u32>().ok()) else {
            complaints.push(Complaint::of(&file.path, 0, "is not named NNNN-words.md"));
            continue;
        };
        if number != wanted {
            complaints.push(Complaint::of(
                &file.path,
                0,
                format!(
                    "has number {number:04} where {wanted:04} comes next: numbers have no gap and are never used twice"
                ),
            ));
        }
        wanted = number + 1;
        if !file.text.starts_with(&format!("# {number:04} ")) {
            complaints.push(Complaint::of(&file.path, 1, format!("does not open with `# {number:04} ` and its title")));
        }
        for part in PARTS.iter().filter(|part| !file.text.contains(**part)) {
            complaints.push(Complaint::of(&file.path, 0, format!("has no part `{part}`")));
        }
    }
    for file in tree.with("", ".md") {
        for (at, line) in file.text.lines().enumerate() {
            for target in links(line) {
                if !leads_somewhere(tree, &file.path, target) {
                    complaints.push(Complaint::of(
                        &file.path,
                        at + 1,
                        format!("links to `{target}`, which is not there"),
                    ));
                }
            }
        }
    }
    complaints
}

/// Gives the targets of the links in a line.
fn links(line: &str) -> impl Iterator<Item = &str> {
    line.split("](").skip(1).filter_map(|rest| rest.split(')').next())
}

fn leads_somewhere(tree: &Tree, from: &str, target: &str) -> bool {
    if target.contains("://") || target.starts_with('#') || target.starts_with("mailto:") {
        return true;
    }
    let target = target.split('#').next().unwrap_or("");
    let here = tree.root.join(from);
    here.parent().is_some_and(|folder| folder.join(target).exists())
}
