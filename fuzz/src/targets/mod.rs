//! What each parser promises, whatever it is handed.

pub mod networks;
pub mod pictures;
pub mod records;
pub mod tables;
pub mod texts;
pub mod words;

/// The text of some bytes, where they are one.
fn text(bytes: &[u8]) -> Option<&str> {
    std::str::from_utf8(bytes).ok()
}
