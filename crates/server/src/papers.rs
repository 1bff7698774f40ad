//! The papers of a job as PDF: asked for here, typeset in the documents room.

use axum::http::StatusCode;
use documents::papers::{JobPapers, Paper, PaperError, PaperSize, typeset};
use knowledge::Knowledge;
use workup::Case;

use crate::desk::Job;
use crate::surroundings;
use crate::trouble::Trouble;

/// The bytes of a paper.
pub(crate) fn pdf(
    job: &Job,
    case: &Case,
    knowledge: &Knowledge,
    paper: Paper,
    size: PaperSize,
) -> Result<Vec<u8>, Trouble> {
    let issued = surroundings::today().to_string();
    let papers = JobPapers { case, state: &job.state, knowledge, chain_tail: job.tail(), issued, shop: None };
    typeset(paper, &papers, size).map(|made| made.pdf).map_err(|error| {
        let status = match error {
            PaperError::CauseUnnamed { .. } | PaperError::NoOption { .. } | PaperError::NoEngine { .. } => {
                StatusCode::CONFLICT
            }
            PaperError::Typesetting { .. } => StatusCode::INTERNAL_SERVER_ERROR,
        };
        Trouble::new(status, "the paper cannot be made", error)
    })
}
