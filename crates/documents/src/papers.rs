//! The papers of a job, typeset.
//!
//! Each paper is a list of blocks (`sheet`), worked out of the case, the job and the knowledge by a module of its
//! own; one template lays all of them out (`templates/paper.typ`, through `press`). What people wrote goes in as data
//! and cannot become markup.

mod bench_sheet;
mod build;
mod customer;
mod estimate;
mod findings;
mod hand_back;
mod invoice;
mod labels;
mod machine;
mod parts;
mod press;
mod proof;
mod purchase;
mod sheet;
mod teardown;
mod trial;
mod words;

use knowledge::Knowledge;
use logbook::JobState;
use workup::Case;

use sheet::{Sheet, TitleBlock};
pub use trial::{figures as trial_figures, typeset_trial};

/// One of the papers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Paper {
    /// The blank twin of the screens.
    BenchSheet,
    /// What was found and is believed, for the next technician.
    Findings,
    /// What was found, what can be done, in the customer's words.
    CustomerReport,
    /// What opening the engine costs, before anybody knows what it shows.
    Teardown,
    /// The written estimate.
    Estimate,
    /// What suppliers send parts by.
    PurchaseOrder,
    /// What a machine shop cuts from.
    MachineOrder,
    /// Parts that opening calls for, orders and arrivals.
    PartsList,
    /// Labels to cut out.
    Labels,
    /// The build with its hold points.
    BuildSheet,
    /// As left beside as found.
    Proof,
    /// What the owner takes along.
    HandBack,
    /// What is to be paid.
    Invoice,
}

impl Paper {
    /// Every paper, in the order of the job.
    pub const ALL: [Paper; 13] = [
        Paper::BenchSheet,
        Paper::Findings,
        Paper::CustomerReport,
        Paper::Teardown,
        Paper::Estimate,
        Paper::PurchaseOrder,
        Paper::MachineOrder,
        Paper::PartsList,
        Paper::Labels,
        Paper::BuildSheet,
        Paper::Proof,
        Paper::HandBack,
        Paper::Invoice,
    ];

    /// The word of the paper, fit for a file name.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Paper::BenchSheet => "bench-sheet",
            Paper::Findings => "findings",
            Paper::PurchaseOrder => "purchase-order",
            Paper::Labels => "labels",
            Paper::HandBack => "hand-back",
            Paper::Invoice => "invoice",
            Paper::CustomerReport => "customer-report",
            Paper::Teardown => "teardown-estimate",
            Paper::Estimate => "estimate",
            Paper::MachineOrder => "machine-order",
            Paper::PartsList => "parts-list",
            Paper::BuildSheet => "build-sheet",
            Paper::Proof => "proof",
        }
    }

    /// The paper of a word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Paper> {
        Self::ALL.into_iter().find(|p| p.word() == word)
    }

    /// The title printed on it.
    #[must_use]
    pub const fn title(self) -> &'static str {
        match self {
            Paper::BenchSheet => "Bench sheet",
            Paper::Findings => "Findings",
            Paper::PurchaseOrder => "Order for parts",
            Paper::Labels => "Labels",
            Paper::HandBack => "Hand-back",
            Paper::Invoice => "Invoice",
            Paper::CustomerReport => "Report to the customer",
            Paper::Teardown => "Teardown estimate",
            Paper::Estimate => "Estimate",
            Paper::MachineOrder => "Machine order",
            Paper::PartsList => "Parts list",
            Paper::BuildSheet => "Build sheet",
            Paper::Proof => "Proof",
        }
    }

    /// Whether it is written to somebody outside the shop, so that it says who the shop is.
    #[must_use]
    pub const fn leaves(self) -> bool {
        match self {
            Paper::CustomerReport
            | Paper::Teardown
            | Paper::Estimate
            | Paper::PurchaseOrder
            | Paper::MachineOrder
            | Paper::Proof
            | Paper::HandBack
            | Paper::Invoice => true,
            Paper::BenchSheet | Paper::Findings | Paper::PartsList | Paper::Labels | Paper::BuildSheet => false,
        }
    }

    /// The word under which the logbook keeps that it left the shop.
    #[must_use]
    pub const fn in_logbook(self) -> logbook::Paper {
        match self {
            Paper::BenchSheet => logbook::Paper::BenchSheet,
            Paper::Findings => logbook::Paper::Findings,
            Paper::PurchaseOrder => logbook::Paper::PurchaseOrder,
            Paper::Labels => logbook::Paper::Labels,
            Paper::HandBack => logbook::Paper::HandBack,
            Paper::Invoice => logbook::Paper::Invoice,
            Paper::CustomerReport => logbook::Paper::CustomerPage,
            Paper::Teardown => logbook::Paper::TeardownEstimate,
            Paper::Estimate => logbook::Paper::Estimate,
            Paper::MachineOrder => logbook::Paper::MachineOrder,
            Paper::PartsList => logbook::Paper::PartsList,
            Paper::BuildSheet => logbook::Paper::BuildSheet,
            Paper::Proof => logbook::Paper::Proof,
        }
    }
}

/// The size of the sheets.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum PaperSize {
    /// 210 mm by 297 mm.
    A4,
    /// 8.5 in by 11 in.
    Letter,
}

impl PaperSize {
    /// Both sizes.
    pub const ALL: [PaperSize; 2] = [PaperSize::A4, PaperSize::Letter];

    /// The size of a word, `a4` or `letter`.
    #[must_use]
    pub fn from_word(word: &str) -> Option<PaperSize> {
        match word {
            "a4" | "A4" => Some(PaperSize::A4),
            "letter" | "Letter" => Some(PaperSize::Letter),
            _ => None,
        }
    }
}

/// What the papers of one job are made from.
#[derive(Debug, Clone)]
pub struct JobPapers<'a> {
    /// The judged job.
    pub case: &'a Case,
    /// What was told of the job.
    pub state: &'a JobState,
    /// The knowledge it was judged by.
    pub knowledge: &'a Knowledge,
    /// The last eight characters of the logbook's chain.
    pub chain_tail: &'a str,
    /// The date of issue, such as `2026-11-27`.
    pub issued: String,
    /// The name of the shop, where it has told one.
    pub shop: Option<&'a str>,
}

impl<'a> JobPapers<'a> {
    /// Whose papers they are: as named for this once, else the shop of the knowledge.
    #[must_use]
    pub fn owner(&self) -> &'a str {
        owner(self.shop, self.knowledge)
    }
}

/// The shop as it stands on papers: as named for this once, else that of the knowledge.
#[must_use]
pub fn owner<'a>(named: Option<&'a str>, knowledge: &'a Knowledge) -> &'a str {
    named.or(knowledge.shop_name()).unwrap_or("Engine repair workshop")
}

/// A finished paper.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Typeset {
    /// The file.
    pub pdf: Vec<u8>,
    /// How many sheets it has.
    pub pages: usize,
    /// What the typesetter remarked; empty when all is well.
    pub remarks: Vec<String>,
}

/// Why there is no paper.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PaperError {
    /// An estimate was asked for and nobody has said why the engine failed.
    #[error(
        "estimate of job {job}: why the engine failed is not named, so the repair might not last; name the cause \
         (`cause-named`), or have somebody sign that it is unknown (`cause-unknown-signed`)"
    )]
    CauseUnnamed {
        /// The job.
        job: String,
    },
    /// An estimate was asked for and there is nothing to estimate.
    #[error("estimate of job {job}: no repair option is open; take a ruled-out option back, or tell prices and rates")]
    NoOption {
        /// The job.
        job: String,
    },
    /// A teardown estimate was asked for and nothing is left to open.
    #[error(
        "teardown estimate of job {job}: neither the next check nor the best way asks for opening the engine further; the \
         estimate has what is to be done"
    )]
    NothingToOpen {
        /// The job.
        job: String,
    },
    /// A bench sheet was asked for and no check is open.
    #[error("bench sheet of job {job}: no check is open that this engine can still give; the report has what was read")]
    NothingToRead {
        /// The job.
        job: String,
    },
    /// Orders were asked for and nothing is ordered.
    #[error("orders of job {job}: nothing is ordered; order a part (`part-ordered`) first")]
    NothingOrdered {
        /// The job.
        job: String,
    },
    /// Labels were asked for and nothing is bagged, ordered or sent out.
    #[error("labels of job {job}: nothing is bagged, ordered or sent to a machine shop yet")]
    NothingToLabel {
        /// The job.
        job: String,
    },
    /// An invoice was asked for and cannot be made.
    #[error("invoice of job {job}: {why}")]
    NotBilled {
        /// The job.
        job: String,
        /// Why.
        why: String,
    },
    /// The job has no engine.
    #[error("{paper} of job {job}: nobody has described the engine; enter one (`engine-described`) first")]
    NoEngine {
        /// The paper.
        paper: &'static str,
        /// The job.
        job: String,
    },
    /// The typesetter could not lay the paper out.
    #[error("{paper}: the typesetter could not lay it out: {why}; keep the job as it is and report this text")]
    Typesetting {
        /// The paper.
        paper: &'static str,
        /// What it said.
        why: String,
    },
}

impl PaperError {
    /// Whether a rule of the shop keeps the paper back, and no fault.
    #[must_use]
    pub const fn is_ruled(&self) -> bool {
        match self {
            Self::CauseUnnamed { .. }
            | Self::NoOption { .. }
            | Self::NothingToOpen { .. }
            | Self::NothingToRead { .. }
            | Self::NothingOrdered { .. }
            | Self::NothingToLabel { .. }
            | Self::NotBilled { .. } => true,
            Self::NoEngine { .. } | Self::Typesetting { .. } => false,
        }
    }
}

/// The papers that a job has something for: those of finding out while it is found out, an estimate of teardown only while
/// something is to be opened, a machine order as long as work may still be sent or once it was, orders and labels once there is something on them, hand-back and invoice once it comes to that.
#[must_use]
pub fn due(case: &Case, state: &JobState, knowledge: &Knowledge) -> Vec<Paper> {
    let open = state.closed.is_none();
    let handed = state.handed_back.is_some();
    let wanted = |paper: &Paper| match paper {
        Paper::BenchSheet => open && !handed && !case.advice.next.is_empty(),
        Paper::Teardown => open && workup::teardown::next_stage(case, state, knowledge).is_some(),
        Paper::PurchaseOrder => !state.orders.is_empty(),
        // When the work is over, a sheet that says that nothing was sent is none.
        Paper::MachineOrder => !state.machine_orders.is_empty() || (open && !handed),
        Paper::Labels => !state.orders.is_empty() || !state.bags.is_empty() || !state.machine_orders.is_empty(),
        Paper::HandBack => handed || !state.runs.is_empty(),
        Paper::Invoice => handed,
        Paper::Findings
        | Paper::CustomerReport
        | Paper::Estimate
        | Paper::PartsList
        | Paper::BuildSheet
        | Paper::Proof => true,
    };
    Paper::ALL.into_iter().filter(wanted).collect()
}

/// Typesets one paper of a job.
///
/// # Errors
/// [`PaperError::CauseUnnamed`] for an estimate while the cause is open, [`PaperError::NothingToOpen`] for a teardown
/// estimate of an engine that is open as far as anybody wants, [`PaperError::NothingToRead`], [`PaperError::NothingOrdered`],
/// [`PaperError::NothingToLabel`] and [`PaperError::NotBilled`] for papers that have nothing to say yet, [`PaperError::NoEngine`] for a job without
/// one, [`PaperError::Typesetting`] where the typesetter refuses.
pub fn typeset(paper: Paper, job: &JobPapers<'_>, size: PaperSize) -> Result<Typeset, PaperError> {
    let Some(layout) = job.state.layout.as_ref() else {
        return Err(PaperError::NoEngine { paper: paper.word(), job: job.case.job.clone() });
    };
    let desk = words::Desk::new(job, layout);
    let mut sheet = Sheet::new(paper.title(), title_block(paper, job), size);
    match paper {
        Paper::MachineOrder => {
            let blank = |size| Sheet::new(paper.title(), title_block(paper, job), size);
            return machine::fitted(&desk, &job.issued, size, blank);
        }
        Paper::BenchSheet => bench_sheet::write(&mut sheet, &desk)?,
        Paper::Findings => findings::write(&mut sheet, &desk),
        Paper::PurchaseOrder => purchase::write(&mut sheet, &desk)?,
        Paper::Labels => labels::write(&mut sheet, &desk)?,
        Paper::HandBack => hand_back::write(&mut sheet, &desk),
        Paper::Invoice => invoice::write(&mut sheet, &desk)?,
        Paper::CustomerReport => customer::write(&mut sheet, &desk),
        Paper::Teardown => teardown::write(&mut sheet, &desk)?,
        Paper::Estimate => estimate::write(&mut sheet, &desk)?,
        Paper::PartsList => parts::write(&mut sheet, &desk),
        Paper::BuildSheet => build::write(&mut sheet, &desk),
        Paper::Proof => proof::write(&mut sheet, &desk),
    }
    press::print(paper.word(), &job.issued, &sheet)
}

/// Where the shop stands, how to reach it, and its numbers, line by line.
fn letterhead(job: &JobPapers<'_>) -> Vec<String> {
    let Some(shop) = &job.knowledge.shop else { return Vec::new() };
    let lines = [shop.address.join(", "), shop.reach.join(", "), shop.registration.join(", ")];
    lines.into_iter().filter(|line| !line.is_empty()).collect()
}

/// What every sheet says about itself, after ISO 7200; made by whoever wrote last into the record that it prints.
fn title_block(paper: Paper, job: &JobPapers<'_>) -> TitleBlock {
    TitleBlock {
        owner: job.owner().to_owned(),
        letterhead: if paper.leaves() { letterhead(job) } else { Vec::new() },
        title: if job.case.title.is_empty() { "Engine job".to_owned() } else { job.case.title.clone() },
        kind: paper.title().to_owned(),
        number: words::tail(&job.case.job),
        engine: job.case.engine.clone(),
        issued: job.issued.clone(),
        revision: revision(paper, job.state),
        made_by: job.state.history.last().map_or_else(String::new, |line| line.by.clone()),
        chain: job.chain_tail.to_owned(),
        language: "en".to_owned(),
    }
}

/// The letter of the next issue of a paper: `A` for the first, then on; the second alphabet has two letters.
#[must_use]
pub fn revision(paper: Paper, state: &JobState) -> String {
    let issues = state.papers.iter().filter(|p| p.paper == paper.in_logbook()).count();
    let letter = |n: usize| u8::try_from(n % 26).map_or('A', |k| char::from(b'A' + k));
    match issues / 26 {
        0 => letter(issues).to_string(),
        more => format!("{}{}", letter(more - 1), letter(issues)),
    }
}
