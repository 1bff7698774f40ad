//! All checks in one call.
//!
//! Modules in reading order: [`rooms`] (arrows between rooms), [`docs`] (every source file says what it is),
//! [`words`] (what must not stand in a file), [`figures`] (no figure of the trade in code), [`papers`] (decisions and
//! links), [`licences`] (what the libraries ask of us), [`features`] (one build for the program and its tests), [`outside`] (a test for
//! every outside check).

pub mod docs;
pub mod features;
pub mod figures;
pub mod licences;
pub mod outside;
pub mod papers;
pub mod rooms;
pub mod words;

use std::fmt;
use std::path::Path;

use anyhow::Result;

use crate::tree::Tree;

/// One thing that is not tidy.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Complaint {
    /// The file, below the root.
    pub file: String,
    /// The line, counted from 1, or 0 for the file as a whole.
    pub line: usize,
    /// What is wrong and what to do.
    pub message: String,
}

impl Complaint {
    pub(crate) fn of(file: &str, line: usize, message: impl Into<String>) -> Self {
        Self { file: file.to_owned(), line, message: message.into() }
    }
}

impl fmt::Display for Complaint {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.line == 0 {
            write!(f, "{}: {}", self.file, self.message)
        } else {
            write!(f, "{}:{}: {}", self.file, self.line, self.message)
        }
    }
}

/// Gives every complaint about the working folder, by file and line.
///
/// # Errors
///
/// When the folder cannot be read, or cargo cannot say which libraries are used
pub fn tidy(root: &Path) -> Result<Vec<Complaint>> {
    let tree = Tree::read(root)?;
    let mut complaints = Vec::new();
    complaints.extend(rooms::complaints(&tree));
    complaints.extend(docs::complaints(&tree));
    complaints.extend(words::complaints(&tree));
    complaints.extend(figures::complaints(&tree));
    complaints.extend(outside::complaints(&tree));
    complaints.extend(papers::complaints(&tree));
    complaints.extend(licences::complaints(root)?);
    complaints.extend(features::complaints(root)?);
    complaints.sort();
    complaints.dedup();
    Ok(complaints)
}
