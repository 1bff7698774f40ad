//! Loads and lints the knowledge of the trade.
//!
//! - What it is for: the facts a technician judges by live in data files, one table a fact, each with its source.
//!   This room reads them into types and says what is wrong with them.
//! - What comes in: the files under `knowledge/`, compiled in, or a shop's own folder that replaces some of them.
//! - What goes out: [`Knowledge`], its [`KnowledgeVersion`], and [`Complaint`]s with file, line, field and next move.
//! - What it must not know: a job, a reading, a belief. It computes no verdict.
//!
//! Modules in reading order: [`source`], [`load`], [`network`] (causes, conditions, checks, blocks, outside faults),
//! [`limits`], [`gauges`], [`workshop`], [`shop`], [`learnt`] (what a shop's own jobs say), [`lint`], [`things`] (everything with the
//! tags of its figures).

pub mod gauges;
pub mod learnt;
pub mod limits;
pub mod lint;
pub mod load;
pub mod network;
pub mod shop;
pub mod source;
pub mod things;
pub mod workshop;

use anatomy::Scope;
use std::path::Path;

pub use gauges::Gauge;
pub use learnt::{Adopted, Learnt, Odds, Showing};
pub use limits::Limit;
pub use load::{Complaint, FileSet, KnowledgeVersion, LoadError, Located, read_tables};
pub use network::{
    Attribute, AttributeIs, Band, Block, BlockLife, BlockMember, BlockPer, Cause, CauseLink, Check, Checklist,
    Condition, ConditionExample, ConditionPriorBy, Consumables, Does, ExampleGiven, FaceOf, Forbidden, Forbids, Given,
    IfLeft, LeftMode, LimitRef, Modifier, Normalise, Numeric, Observe, Observed, OutsideFault, ParentLink,
    Prerequisite, PriorBy, Reading, ReadingExample, ReadingKind, Remedy, Repeat, Shuts, Stage, Stands, ToldBy, Tool,
    Travel, WaitFor, Worse, with_factor, worst_of,
};
pub use shop::{Shop, ShopTax, ShopWords};
pub use source::{Source, SourceKind};
pub use things::{Tag, Thing};
pub use workshop::QuoteAge;
use workshop::{
    Arrival, BuildStage, CallSheet, Caution, Joint, Keep, Operation, Place, Reference, RepairOption, Residue, Rule,
    Waiting,
};

/// Everything the trade knows, as read from one set of files.
///
/// # Invariants
/// every table could be read; whether the tables agree with each other is what [`Knowledge::lint`] says
#[derive(Debug, Clone, PartialEq)]
pub struct Knowledge {
    /// What may be said of an engine as a whole.
    pub attributes: Vec<Located<Attribute>>,
    /// Root causes.
    pub causes: Vec<Located<Cause>>,
    /// Conditions of parts.
    pub conditions: Vec<Located<Condition>>,
    /// Checks with their readings.
    pub checks: Vec<Located<Check>>,
    /// How far an engine is open, in order.
    pub stages: Vec<Located<Stage>>,
    /// What must be so before a check.
    pub prerequisites: Vec<Located<Prerequisite>>,
    /// Tools and the gauges they may be.
    pub tools: Vec<Located<Tool>>,
    /// Fixed lists of checks that advice is held against.
    pub checklists: Vec<Located<Checklist>>,
    /// How repeats count, with its source.
    pub repeats: Vec<Located<Repeat>>,
    /// The chance that a later agreeing reading of a group at a site is nothing but an echo of an earlier one.
    pub repeat_echo: f64,
    /// What is not the engine but looks like it.
    pub outside: Vec<Located<OutsideFault>>,
    /// Parts that are mended together.
    pub blocks: Vec<Located<Block>>,
    /// How far vehicles travel; the first table counts.
    pub travel: Vec<Located<Travel>>,
    /// Limits for readings.
    pub limits: Vec<Located<Limit>>,
    /// Gauges and their uncertainty.
    pub gauges: Vec<Located<Gauge>>,
    /// Work that mends something.
    pub operations: Vec<Located<Operation>>,
    /// Ways to put the engine right.
    pub options: Vec<Located<RepairOption>>,
    /// How a quote past its day is carried; the first table counts.
    pub quote_ages: Vec<Located<QuoteAge>>,
    /// What to ask before something is bought.
    pub calls: Vec<Located<CallSheet>>,
    /// Joints and the parts that opening them calls for.
    pub joints: Vec<Located<Joint>>,
    /// What to look at when parts come in.
    pub arrivals: Vec<Located<Arrival>>,
    /// Rules about parts and building.
    pub rules: Vec<Located<Rule>>,
    /// Parts that keep their place.
    pub keeps: Vec<Located<Keep>>,
    /// Waiting times.
    pub waits: Vec<Located<Waiting>>,
    /// Stages of the build with their hold points.
    pub steps: Vec<Located<BuildStage>>,
    /// Cautions.
    pub cautions: Vec<Located<Caution>>,
    /// Residues and what they may be.
    pub residues: Vec<Located<Residue>>,
    /// Places residues are found at.
    pub places: Vec<Located<Place>>,
    /// The shop itself, where it has told who it is.
    pub shop: Option<Shop>,
    /// What the shop's own jobs say, where it has taken that up.
    pub learnt: Learnt,
    /// The list of sources.
    pub sources: Vec<Located<Reference>>,
    /// The fingerprint of all files.
    pub version: KnowledgeVersion,
}

/// Takes the tables, or notes what is wrong and goes on with none.
fn take<T>(read: Result<Vec<Located<T>>, LoadError>, complaints: &mut Vec<Complaint>) -> Vec<Located<T>> {
    match read {
        Ok(tables) => tables,
        Err(error) => {
            complaints.extend_from_slice(error.complaints());
            Vec::new()
        }
    }
}

impl Knowledge {
    /// The knowledge compiled into the program.
    ///
    /// # Errors
    /// `LoadError::Files` with a complaint for each table that cannot be read.
    pub fn builtin() -> Result<Self, LoadError> {
        Self::from_files(&FileSet::builtin())
    }

    /// The knowledge compiled in, with every folder that `root` holds replaced by the shop's own.
    ///
    /// # Errors
    /// `LoadError::Unreadable` or `LoadError::UnknownFolder` about the folder itself, `LoadError::Files` with a complaint
    /// for each table that cannot be read.
    pub fn from_folder(root: &Path) -> Result<Self, LoadError> {
        Self::from_files(&FileSet::from_folder(root)?)
    }

    /// The knowledge in a set of files.
    ///
    /// # Errors
    /// `LoadError::Files` with a complaint for each table that cannot be read, all folders together.
    pub fn from_files(files: &FileSet) -> Result<Self, LoadError> {
        let mut wrong = Vec::new();
        let repeats: Vec<Located<Repeat>> = take(read_tables(files, "checks", "repeat"), &mut wrong);
        let shops: Vec<Located<Shop>> = take(read_tables(files, "shop", "shop"), &mut wrong);
        wrong.extend(shop::complaints(&shops));
        let mut knowledge = Self {
            attributes: take(read_tables(files, "causes", "attribute"), &mut wrong),
            causes: take(read_tables(files, "causes", "cause"), &mut wrong),
            conditions: take(read_tables(files, "conditions", "condition"), &mut wrong),
            checks: take(read_tables(files, "checks", "check"), &mut wrong),
            stages: take(read_tables(files, "checks", "stage"), &mut wrong),
            prerequisites: take(read_tables(files, "checks", "prerequisite"), &mut wrong),
            tools: take(read_tables(files, "checks", "tool"), &mut wrong),
            checklists: take(read_tables(files, "checks", "checklist"), &mut wrong),
            repeat_echo: repeats.first().map_or(0.0, |repeat| repeat.echo),
            repeats,
            outside: take(read_tables(files, "outside", "outside"), &mut wrong),
            blocks: take(read_tables(files, "blocks", "block"), &mut wrong),
            travel: take(read_tables(files, "blocks", "travel"), &mut wrong),
            limits: take(read_tables(files, "limits", "limit"), &mut wrong),
            gauges: take(read_tables(files, "gauges", "gauge"), &mut wrong),
            operations: take(read_tables(files, "operations", "operation"), &mut wrong),
            options: take(read_tables(files, "options", "option"), &mut wrong),
            quote_ages: take(read_tables(files, "quotes", "quote_age"), &mut wrong),
            calls: take(read_tables(files, "options", "call"), &mut wrong),
            joints: take(read_tables(files, "parts", "joint"), &mut wrong),
            arrivals: take(read_tables(files, "parts", "arrival"), &mut wrong),
            rules: {
                let mut rules = take(read_tables(files, "parts", "rule"), &mut wrong);
                rules.extend(take(read_tables(files, "steps", "rule"), &mut wrong));
                rules
            },
            keeps: take(read_tables(files, "steps", "keep"), &mut wrong),
            waits: take(read_tables(files, "steps", "wait"), &mut wrong),
            steps: take(read_tables(files, "steps", "stage"), &mut wrong),
            cautions: take(read_tables(files, "cautions", "caution"), &mut wrong),
            residues: take(read_tables(files, "residues", "residue"), &mut wrong),
            places: take(read_tables(files, "residues", "place"), &mut wrong),
            shop: shops.into_iter().next().map(|shop| shop.value),
            learnt: {
                let adopted: Vec<Located<Adopted>> = take(read_tables(files, "learnt", "learnt"), &mut wrong);
                let adopted = adopted.into_iter().next();
                let counts = adopted.as_ref().is_some_and(|a| a.against == files.book().as_str());
                let odds = take(read_tables(files, "learnt", "odds"), &mut wrong);
                let showings = take(read_tables(files, "learnt", "showing"), &mut wrong);
                Learnt { adopted, odds, showings, counts, replaced: Vec::new() }
            },
            sources: {
                let mut sources = take(read_tables(files, "sources", "source"), &mut wrong);
                sources.extend(take(read_tables(files, "checks", "source"), &mut wrong));
                sources
            },
            version: files.version(),
        };
        wrong.extend(knowledge.learnt_complaints().into_iter().filter(|_| knowledge.learnt.counts));
        let mildest: Vec<(String, String)> = knowledge.first_states();
        let Self { learnt, checks, .. } = &mut knowledge;
        learnt.put_into(checks, |of| mildest.iter().find(|(id, _)| id == of).map(|(_, state)| state.clone()));
        wrong.sort();
        wrong.dedup();
        if wrong.is_empty() { Ok(knowledge) } else { Err(LoadError::Files(wrong)) }
    }

    /// The same knowledge without what the shop's own jobs say: the book.
    #[must_use]
    pub fn without_learnt(&self) -> Self {
        let mut book = self.clone();
        for check in std::mem::take(&mut book.learnt).replaced {
            book.checks.iter_mut().filter(|c| c.id == check.id).for_each(|c| c.clone_from(&check));
        }
        book
    }

    /// The mildest state of every cause and condition, by id.
    fn first_states(&self) -> Vec<(String, String)> {
        let causes = self.causes.iter().map(|c| (&c.id, &c.states));
        let all = causes.chain(self.conditions.iter().map(|c| (&c.id, &c.states)));
        all.filter_map(|(id, states)| Some((id.clone(), states.first()?.clone()))).collect()
    }

    /// What is wrong with what the shop's own jobs say.
    pub(crate) fn learnt_complaints(&self) -> Vec<Complaint> {
        let outcomes = |check: &str, reading: &str| match &self.reading(check, reading)?.kind {
            ReadingKind::Graded { outcomes, .. } | ReadingKind::Nominal { outcomes, .. } => Some(outcomes.len()),
            ReadingKind::Numeric(_) => None,
        };
        learnt::complaints(&self.learnt, |of| self.states_of(of).map(<[String]>::to_vec), outcomes)
    }

    /// The states of a cause or condition, mildest first.
    #[must_use]
    pub fn states_of(&self, id: &str) -> Option<&[String]> {
        let cause = self.cause(id).map(|c| c.value.states.as_slice());
        cause.or_else(|| self.condition(id).map(|c| c.value.states.as_slice()))
    }

    /// The name of a cause or condition in trade words.
    #[must_use]
    pub fn name_of(&self, id: &str) -> Option<&str> {
        let cause = self.cause(id).map(|c| c.value.name.as_str());
        cause.or_else(|| self.condition(id).map(|c| c.value.name.as_str()))
    }

    /// The name of the shop, where it has told one.
    #[must_use]
    pub fn shop_name(&self) -> Option<&str> {
        self.shop.as_ref().map(|shop| shop.name.as_str())
    }

    /// The cause of that id.
    #[must_use]
    pub fn cause(&self, id: &str) -> Option<&Located<Cause>> {
        self.causes.iter().find(|cause| cause.id == id)
    }

    /// The condition of that id.
    #[must_use]
    pub fn condition(&self, id: &str) -> Option<&Located<Condition>> {
        self.conditions.iter().find(|condition| condition.id == id)
    }

    /// The check of that id.
    #[must_use]
    pub fn check(&self, id: &str) -> Option<&Located<Check>> {
        self.checks.iter().find(|check| check.id == id)
    }

    /// The reading of a check, by their ids.
    #[must_use]
    pub fn reading(&self, check: &str, reading: &str) -> Option<&Reading> {
        self.check(check)?.value.readings.iter().find(|one| one.id == reading)
    }

    /// The limit of that id.
    #[must_use]
    pub fn limit(&self, id: &str) -> Option<&Located<Limit>> {
        self.limits.iter().find(|limit| limit.id == id)
    }

    /// The gauge of that id.
    #[must_use]
    pub fn gauge(&self, id: &str) -> Option<&Located<Gauge>> {
        self.gauges.iter().find(|gauge| gauge.id == id)
    }

    /// The block of that id.
    #[must_use]
    pub fn block(&self, id: &str) -> Option<&Located<Block>> {
        self.blocks.iter().find(|block| block.id == id)
    }

    /// The stage of that id.
    #[must_use]
    pub fn stage(&self, id: &str) -> Option<&Located<Stage>> {
        self.stages.iter().find(|stage| stage.id == id)
    }

    /// Those of some cautions that speak of an engine: what nobody told of it speaks against none.
    pub fn cautions_for<'a>(&self, ids: &[String], told: impl Fn(&str) -> Option<&'a str>) -> Vec<String> {
        let concerns = |id: &&String| {
            let found = self.cautions.iter().find(|c| c.id == **id);
            found.is_none_or(|c| c.concerns(&told))
        };
        ids.iter().filter(concerns).cloned().collect()
    }

    /// The limit a reading is held against at a kind of place on an engine, where the engine's own figure is missing.
    ///
    /// The limits of the reading are tried in their order. The first one fits whose scope and attributes hold and whose
    /// own attributes nothing told of the engine speaks against; what nobody told does not speak against it.
    pub fn limit_for<'a>(
        &self,
        reading: &Reading,
        scope: Scope,
        told: impl Fn(&str) -> Option<&'a str>,
    ) -> Option<&Located<Limit>> {
        reading
            .limits
            .iter()
            .filter(|one| one.scope.is_none_or(|s| s == scope) && AttributeIs::all_hold(&one.applies, &told))
            .find_map(|one| {
                let limit = self.limit(&one.limit)?;
                let spoken_against = |attribute: &str, any_of: &[String]| {
                    told(attribute).is_some_and(|value| !any_of.iter().any(|v| v == value))
                };
                (!limit.applies.iter().any(|a| spoken_against(&a.attribute, &a.any_of))).then_some(limit)
            })
    }
}
