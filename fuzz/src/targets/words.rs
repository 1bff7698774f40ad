//! The words of the command line.

use std::ffi::OsString;

use super::text;
use crate::{Holds, ensure};

/// Words, one a line, are a command or a line that says why not; the line is one line, and nothing in it steers a terminal.
///
/// # Errors
/// What does not hold.
pub fn command(bytes: &[u8]) -> Holds {
    let Some(text) = text(bytes) else { return Ok(()) };
    let typed = text.split('\n').map(OsString::from);
    let words: Vec<OsString> = std::iter::once(OsString::from("witnessmark")).chain(typed).collect();
    match witnessmark::understand(&words) {
        Ok(asked) => ensure(!asked.is_empty(), || "a command without a name".to_owned()),
        Err(said) => {
            ensure(!said.trim().is_empty(), || "a complaint without words".to_owned())?;
            let steers = said.chars().find(|c| c.is_control() && *c != '\n');
            ensure(steers.is_none(), || format!("{steers:?} goes to the terminal in {said:?}"))?;
            // Help is a text of its own; what cannot be understood is said on one line.
            ensure(said.contains("Usage:") || !said.contains('\n'), || format!("more than one line: {said:?}"))
        }
    }
}
