//! The engine sheet: the maker's own figures, typed once with document and page, kept for the next job of the same engine.

use anatomy::EngineLayout;
use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::bodies::{EngineFigure, SheetAdopted};
use crate::kinds::EntryBody;
use crate::state::JobState;

/// A set of figures for one engine, free of any job.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EngineSheet {
    /// What the sheet is called.
    pub sheet: String,
    /// Who made the engine.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub maker: Option<String>,
    /// The engine family or type.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub family: Option<String>,
    /// Its layout.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub layout: Option<EngineLayout>,
    /// The figures.
    #[serde(default)]
    pub figures: Vec<EngineFigure>,
}

/// Why a text is no engine sheet, or a sheet cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum SheetError {
    /// The text cannot be read.
    #[error("engine sheet: {0}; correct the file at that place")]
    Unreadable(String),
    /// A figure contradicts itself.
    #[error("engine sheet {sheet}: {why}")]
    Figure {
        /// The sheet.
        sheet: String,
        /// What does not fit.
        why: String,
    },
    /// The sheet is for another engine.
    #[error(
        "engine sheet {sheet} is for {theirs}, this job's engine is {ours}; choose another sheet or correct the engine layout"
    )]
    OtherEngine {
        /// The sheet.
        sheet: String,
        /// The engine of the sheet.
        theirs: String,
        /// The engine of the job.
        ours: String,
    },
}

/// Gives the figures of a job as a sheet for later jobs.
#[must_use]
pub fn sheet_export(state: &JobState, name: &str) -> EngineSheet {
    EngineSheet {
        sheet: name.to_owned(),
        maker: state.engine.as_ref().and_then(|engine| engine.maker.clone()),
        family: state.engine.as_ref().and_then(|engine| engine.family.clone()),
        layout: state.layout.clone(),
        figures: state.sheet.iter().map(|fact| fact.body.clone()).collect(),
    }
}

/// Gives the body of the entry that takes a sheet over into a job.
///
/// # Errors
/// [`SheetError::OtherEngine`] when sheet and job know their layouts and the numbers of cylinders, the arrangement, the
/// fuel or the valve gear differ; [`SheetError::Figure`] when a figure contradicts itself.
pub fn sheet_import(sheet: &EngineSheet, state: &JobState) -> Result<EntryBody, SheetError> {
    if let (Some(theirs), Some(ours)) = (&sheet.layout, &state.layout)
        && theirs.in_words() != ours.in_words()
    {
        return Err(SheetError::OtherEngine {
            sheet: sheet.sheet.clone(),
            theirs: theirs.in_words(),
            ours: ours.in_words(),
        });
    }
    let body = EntryBody::SheetAdopted(SheetAdopted { sheet: sheet.sheet.clone(), figures: sheet.figures.clone() });
    body.ensure().map_err(|why| SheetError::Figure { sheet: sheet.sheet.clone(), why })?;
    Ok(body)
}

/// Gives a sheet as TOML.
///
/// # Errors
/// [`SheetError::Unreadable`] when the sheet cannot be written.
pub fn sheet_to_toml(sheet: &EngineSheet) -> Result<String, SheetError> {
    toml::to_string(sheet).map_err(|error| SheetError::Unreadable(error.to_string()))
}

/// Gives a sheet as JSON.
///
/// # Errors
/// [`SheetError::Unreadable`] when the sheet cannot be written.
pub fn sheet_to_json(sheet: &EngineSheet) -> Result<String, SheetError> {
    serde_json::to_string_pretty(sheet).map_err(|error| SheetError::Unreadable(error.to_string()))
}

/// Reads a sheet from TOML.
///
/// # Errors
/// [`SheetError::Unreadable`] with line and field.
pub fn sheet_from_toml(text: &str) -> Result<EngineSheet, SheetError> {
    toml::from_str(text).map_err(|error| SheetError::Unreadable(error.to_string()))
}

/// Reads a sheet from JSON.
///
/// # Errors
/// [`SheetError::Unreadable`] with line and field.
pub fn sheet_from_json(text: &str) -> Result<EngineSheet, SheetError> {
    serde_json::from_str(text).map_err(|error| SheetError::Unreadable(error.to_string()))
}
