//! Every outside check value is looked at by a test.

use super::Complaint;
use crate::tree::Tree;

/// Where they stand.
const CHECKS: &str = "reference/checks.json";

/// A complaint for every id of the outside checks that no test names.
#[must_use]
pub fn complaints(tree: &Tree) -> Vec<Complaint> {
    let Some(file) = tree.with(CHECKS, "").next() else { return Vec::new() };
    let Ok(serde_json::Value::Array(all)) = serde_json::from_str(&file.text) else {
        return vec![Complaint::of(CHECKS, 0, "is no list of JSON objects")];
    };
    let tests: String =
        tree.with("crates/", ".rs").filter(|f| f.path.contains("/tests/")).map(|f| f.text.as_str()).collect();
    let named = |id: &str| tests.contains(&format!("\"{id}\""));
    all.iter()
        .filter_map(|check| check.get("id").and_then(serde_json::Value::as_str))
        .filter(|id| !named(id))
        .map(|id| Complaint::of(CHECKS, 0, format!("{id} is looked at by no test; name it in the one that does")))
        .collect()
}
