//! No figure of the trade in code: those live in `knowledge/`, each with its source.
//!
//! A rule of thumb and not a proof. It looks for a name that carries a unit next to a number, such as
//! `let reject_mm = 0.05`, in the rooms that judge, and lets it pass where a comment at hand says where the number is
//! from (`Source`, `\[ours\]`, `[published`) or where it is only a conversion. `mechanics` and `quantity` hold formulas and
//! units, whose numbers have their source in the doc comment of the function, so they are not looked at.

use super::Complaint;
use crate::tree::Tree;

const ROOMS: &[&str] = &["crates/workup/src/", "crates/logbook/src/", "crates/store/src/", "crates/witnessmark/src/"];

const UNIT_ENDINGS: &[&str] = &[
    "_mm", "_um", "_in", "_thou", "_nm", "_bar", "_kpa", "_psi", "_pct", "_percent", "_minutes", "_miles", "_km",
    "_celsius", "_degrees", "_hours", "_cc", "_newton",
];

/// How many lines above a number may hold its source.
const REACH: usize = 4;

/// Gives a complaint for each number beside a name with a unit that has no source at hand.
#[must_use]
pub fn complaints(tree: &Tree) -> Vec<Complaint> {
    let mut complaints = Vec::new();
    for file in ROOMS.iter().flat_map(|room| tree.with(room, ".rs")) {
        let lines: Vec<&str> = file.text.lines().collect();
        for (at, line) in lines.iter().enumerate() {
            // Tests stand at the end of a file and may hold any number.
            if line.contains("#[cfg(test)]") {
                break;
            }
            if !gives_a_figure(line) {
                continue;
            }
            let near = lines.iter().take(at + 1).skip(at.saturating_sub(REACH));
            let excused = near.into_iter().any(|line| {
                line.contains("Source")
                    || line.contains("[ours")
                    || line.contains("\\[ours")
                    || line.contains("[published")
            });
            if !excused {
                complaints.push(Complaint::of(
                    &file.path,
                    at + 1,
                    "gives a number to a name with a unit: put the figure into knowledge/ with its source, or say where it is from in a comment",
                ));
            }
        }
    }
    complaints
}

/// Says whether a line gives a literal number to a name that carries a unit.
fn gives_a_figure(line: &str) -> bool {
    let code = line.split("//").next().unwrap_or("");
    let lower = code.to_lowercase();
    UNIT_ENDINGS.iter().any(|ending| {
        lower.match_indices(ending).any(|(at, _)| {
            let after = lower.get(at + ending.len()..).unwrap_or("");
            if after.starts_with(|c: char| c.is_alphanumeric() || c == '_') {
                return false;
            }
            // `name: f64 = 0.05`, `name = 0.05`, `name: 0.05`
            let rest = after.trim_start();
            let rest = rest.strip_prefix(':').map_or(rest, |rest| rest.trim_start());
            let rest = rest.strip_prefix("f64").map_or(rest, str::trim_start);
            let rest = match rest.strip_prefix('=') {
                Some(rest) if !rest.starts_with('=') => rest.trim_start(),
                Some(_) => return false,
                None => rest,
            };
            // Nought and one are not figures of the trade.
            let number: String = rest.chars().take_while(|c| c.is_ascii_digit() || matches!(c, '.' | '_')).collect();
            number.starts_with(|c: char| c.is_ascii_digit())
                && !matches!(number.trim_end_matches(['.', '_']), "0" | "0.0" | "1" | "1.0")
        })
    })
}

#[cfg(test)]
mod tests {
    use super::gives_a_figure;

    #[test]
    fn a_number_beside_a_name_with_a_unit_is_a_figure() {
        assert!(gives_a_figure("const REJECT_MM: f64 = 0.05;"));
        assert!(gives_a_figure("let lift_mm = 9.2;"));
        assert!(gives_a_figure("    Head { bow_mm: 0.18 }"));
    }

    #[test]
    fn a_name_alone_a_comparison_and_nought_are_no_figures() {
        assert!(!gives_a_figure("fn bow(limit_mm: f64) -> f64 {"));
        assert!(!gives_a_figure("if bow_mm == 0.5 {"));
        assert!(!gives_a_figure("let bow_mm = 0.0;"));
        assert!(!gives_a_figure("// bow_mm = 0.5 in the example"));
        assert!(!gives_a_figure("let bow_mm_text = 3;"));
    }
}
