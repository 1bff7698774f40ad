//! The outside checks of `reference/checks.json`.

use serde_json::Value;

/// The check of an id.
pub(crate) fn entry(id: &str) -> Value {
    let all: Vec<Value> = serde_json::from_str(include_str!("../../../../reference/checks.json")).unwrap();
    all.into_iter().find(|entry| entry["id"] == id).unwrap_or_else(|| panic!("no entry {id}"))
}
