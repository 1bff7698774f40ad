//! The papers of a job as PDF: asked for here, typeset in the documents room.

use axum::http::StatusCode;
use documents::papers::{JobPapers, Paper, PaperError, PaperSize, revision, typeset};
use knowledge::Knowledge;
use logbook::{JobState, PaperIssued, fold, issue_basis};
use store::ContentId;
use workup::Case;

use crate::desk::Job;
use crate::surroundings;
use crate::trouble::Trouble;

/// A paper, and what is written down about it when it leaves the shop.
#[derive(Debug)]
pub(crate) struct Made {
    pub(crate) pdf: Vec<u8>,
    pub(crate) issued: PaperIssued,
}

impl Made {
    /// Whether the very same bytes have left the shop already.
    pub(crate) fn is_issued(&self, state: &JobState) -> bool {
        state.papers.iter().any(|p| p.paper == self.issued.paper && p.sha256 == self.issued.sha256)
    }
}

/// Typesets a paper.
pub(crate) fn made(
    job: &Job,
    case: &Case,
    knowledge: &Knowledge,
    paper: Paper,
    size: PaperSize,
) -> Result<Made, Trouble> {
    let basis = issue_basis(&job.entries, paper.in_logbook());
    let state = fold(basis.entries);
    let day = surroundings::day_of_issue(&basis);
    let from =
        JobPapers { case, state: &state, knowledge, chain_tail: basis.tail(), issued: day.to_string(), shop: None };
    let set = typeset(paper, &from, size).map_err(|error| {
        let status = match error {
            PaperError::CauseUnnamed { .. }
            | PaperError::NoOption { .. }
            | PaperError::NothingToOpen { .. }
            | PaperError::NothingToRead { .. }
            | PaperError::NothingOrdered { .. }
            | PaperError::NothingToLabel { .. }
            | PaperError::NotBilled { .. }
            | PaperError::NoEngine { .. } => StatusCode::CONFLICT,
            PaperError::Typesetting { .. } => StatusCode::INTERNAL_SERVER_ERROR,
        };
        Trouble::new(status, "the paper cannot be made", error)
    })?;
    let issued = PaperIssued {
        paper: paper.in_logbook(),
        sha256: ContentId::of(&set.pdf).to_string(),
        revision: revision(paper, &state),
        knowledge: Some(case.knowledge.clone()),
        tail: Some(basis.tail().to_owned()),
    };
    Ok(Made { pdf: set.pdf, issued })
}
