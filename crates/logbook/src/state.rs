//! What the fold knows about a job.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Deref;

use anatomy::{EngineLayout, EntryId, JobId, Position};
use jiff::Timestamp;
use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::bodies::*;
use crate::notice::Notice;
use crate::words::{Moment, Phase};

/// Something an entry says, with the entry, the time and the person behind it; reads like the body itself.
///
/// Its own fields have names that no body uses, so that `fact.at` or `fact.by` always means the body's.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Fact<T> {
    /// The entry it stands in; for a corrected entry the first one.
    pub in_entry: EntryId,
    /// When the entry was made, by the device's clock.
    pub made_at: Timestamp,
    /// Who made the entry.
    pub made_by: String,
    /// What.
    pub body: T,
}

impl<T> Deref for Fact<T> {
    type Target = T;
    fn deref(&self) -> &T {
        &self.body
    }
}

/// What a reading gave.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ReadingValue {
    /// One of the named outcomes of the reading.
    Outcome(String),
    /// A number as shown, with its unit.
    Number {
        /// The digits as typed.
        text: String,
        /// The unit symbol.
        unit: String,
    },
}

/// One reading in force.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ReadingTaken {
    /// The entry it stands in; for a corrected one the first.
    pub entry: EntryId,
    /// When, by the device's clock.
    pub at: Timestamp,
    /// Who.
    pub by: String,
    /// The check.
    pub check: String,
    /// Which reading of the check.
    pub reading: String,
    /// Where.
    pub position: Position,
    /// What it gave.
    pub value: ReadingValue,
    /// Where within the place.
    pub spot: Option<String>,
    /// When in the life of the job.
    pub phase: Phase,
    /// The kind of gauge.
    pub gauge: Option<String>,
    /// The mark on the gauge.
    pub label: Option<String>,
    /// Temperature of the part or the oil.
    pub temperature: Option<Figure>,
    /// Anything else.
    pub note: Option<String>,
    /// The readings one by one, where several were taken of the same thing; `value` is their mean.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub repeats: Vec<Figure>,
    /// How many readings `value` is the mean of.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mean_of: Option<u32>,
    /// Where it is a straightedge laid down once: its stations, from the end that the line in `spot` is named from; `value` is
    /// the widest blade that entered.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub stations: Vec<EdgeStation>,
    /// Where it is a bore on three axes: its sizes; `value` is the oval through them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub axes: Vec<AxisSize>,
    /// The entry that doubts its gauge: this reading asks to be measured again.
    pub gauge_doubted_by: Option<EntryId>,
}

/// Whether an entry counts.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "is")]
pub enum InForce {
    /// It counts as it stands.
    Standing,
    /// It was put right; the newer body counts.
    Corrected {
        /// The correction that counts.
        by: EntryId,
    },
    /// It was taken back.
    Withdrawn {
        /// The withdrawal that counts.
        by: EntryId,
    },
    /// It has no effect here; a notice says why.
    WithoutEffect,
}

/// One entry in the history of the job, in force or not.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HistoryLine {
    /// The entry.
    pub entry: EntryId,
    /// When, by the device's clock.
    pub at: Timestamp,
    /// Who.
    pub by: String,
    /// On which device.
    pub device: String,
    /// The word of the kind.
    pub kind: String,
    /// The version of the kind.
    pub version: u32,
    /// The body as stored.
    pub body: Value,
    /// Whether it counts.
    pub status: InForce,
}

/// Why the engine failed, as somebody answers for it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum CauseAnswer {
    /// A cause was named.
    Named(Fact<CauseNamed>),
    /// Somebody signed that it is unknown.
    UnknownSigned(Fact<CauseUnknownSigned>),
}

/// Everything that is known about a job.
///
/// # Shapes
/// lists are in id order; where only one answer can hold (layout, choice, cause) the entry with the latest id holds
/// # Invariants
/// a pure function of the set of entries: the order in which they arrived does not matter; nothing here is ever stored as
/// truth
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct JobState {
    /// The job; none while there are no entries.
    pub job: Option<JobId>,
    /// The title.
    pub title: Option<String>,
    /// The shop's code for the customer.
    pub customer: Option<String>,
    /// When the job was opened.
    pub opened_at: Option<Timestamp>,
    /// The job this one comes back from.
    pub comeback_of: Option<JobId>,
    /// The day promised last.
    pub promised: Option<Date>,
    /// The moment of the latest entry that belongs to one.
    pub moment: Option<Moment>,
    /// Every moment that has entries.
    pub moments: BTreeSet<Moment>,

    /// Complaints.
    pub complaints: Vec<Fact<ComplaintHeard>>,
    /// The engine layout.
    pub layout: Option<EngineLayout>,
    /// The engine as described last.
    pub engine: Option<Fact<EngineDescribed>>,
    /// The vehicle, field by field as told last.
    pub vehicle: VehicleDescribed,
    /// Engine attributes that were told, not those that follow from the layout ([`JobState::attribute`] knows both).
    pub attributes: BTreeMap<String, String>,
    /// Every date promised.
    pub promises: Vec<Fact<PromiseMade>>,
    /// Everything said to the customer.
    pub customer_told: Vec<Fact<CustomerTold>>,

    /// Readings in force.
    pub readings: Vec<ReadingTaken>,
    /// What was set going and must stand before it is read, in id order.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub waits: Vec<Fact<WaitStarted>>,
    /// Checks left out on purpose.
    pub skipped: Vec<Fact<ReadingSkipped>>,
    /// Answers about what is not the engine, by fault; the latest one of each.
    pub outside: BTreeMap<String, Fact<OutsideAnswered>>,
    /// Residues seen.
    pub residues: Vec<Fact<ResidueSeen>>,
    /// Pictures kept.
    pub photos: Vec<Fact<PhotoKept>>,
    /// Stages reached.
    pub stages_reached: BTreeSet<String>,
    /// Of these, the ones reached after the engine last ran, in the order told: what was open before is closed by then.
    pub stages_since_run: Vec<String>,
    /// Each time a stage was told, in the order told.
    pub stages_told: Vec<Fact<StageReached>>,
    /// Cautions ticked.
    pub cautions_ticked: BTreeSet<String>,
    /// Bags and marks.
    pub bags: Vec<Fact<PartBagged>>,
    /// Advice not followed.
    pub overruled: Vec<Fact<AdviceOverruled>>,
    /// The maker's figures, with those of a sheet taken over.
    pub sheet: Vec<Fact<EngineFigure>>,
    /// Gauges, by the mark on them; the latest description of each.
    pub gauges: BTreeMap<String, Fact<GaugeDescribed>>,
    /// Every time a gauge was laid ready, in id order.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub gauges_laid: Vec<Fact<GaugeDescribed>>,
    /// Doubted gauges, by the mark on them.
    pub doubted_gauges: BTreeMap<String, Fact<GaugeDoubted>>,
    /// Gauges found good after a doubt, by the mark on them: the entry that said so last.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub cleared_gauges: BTreeMap<String, EntryId>,

    /// Rates and values, field by field as told last.
    pub rates: MoneyTold,
    /// What the customer cannot go beyond, as told one after the other.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub limits: Vec<Fact<LimitsTold>>,
    /// Questions for a yes.
    pub approvals_asked: Vec<Fact<ApprovalAsked>>,
    /// Approvals.
    pub approvals: Vec<Fact<ApprovalGiven>>,
    /// Refusals.
    pub refusals: Vec<Fact<ApprovalRefused>>,
    /// Time worked.
    pub time_worked: Vec<Fact<TimeWorked>>,
    /// Money spent.
    pub costs: Vec<Fact<CostBooked>>,
    /// Quotes.
    pub quotes: Vec<Fact<QuoteReceived>>,
    /// Repair options ruled out.
    pub ruled_out: Vec<Fact<OptionRuledOut>>,
    /// The repair option chosen last.
    pub chosen: Option<Fact<OptionChosen>>,
    /// Why the engine failed, as answered last.
    pub cause: Option<CauseAnswer>,

    /// Parts ordered.
    pub orders: Vec<Fact<PartOrdered>>,
    /// Parts arrived.
    pub arrivals: Vec<Fact<PartArrived>>,
    /// Parts fitted.
    pub fitted: Vec<Fact<PartFitted>>,
    /// Parts sent back.
    pub returns: Vec<Fact<PartReturned>>,
    /// Machine orders.
    pub machine_orders: Vec<Fact<MachineOrderSent>>,
    /// Machine work returned.
    pub machine_returns: Vec<Fact<MachineWorkReturned>>,

    /// Build steps done.
    pub steps_done: Vec<Fact<BuildStepDone>>,
    /// Hold points signed.
    pub holds_signed: Vec<Fact<HoldPointSigned>>,
    /// Hold points passed without proof.
    pub holds_open: Vec<Fact<HoldPointPassedOpen>>,
    /// Bags asked back, and what became of each.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub bags_emptied: Vec<Fact<BagEmptied>>,
    /// Stages of the build that this work does not touch.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub stages_left_out: Vec<Fact<StageLeftOut>>,
    /// Bolts of joints, set down where they stand.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub bolts_placed: Vec<Fact<BoltsPlaced>>,
    /// Bolts tightened, stage by stage.
    pub bolts: Vec<Fact<BoltTightened>>,
    /// Bolts that started again.
    pub bolt_restarts: Vec<Fact<BoltRestarted>>,
    /// Joints disturbed.
    pub disturbed: Vec<Fact<JointDisturbed>>,

    /// Runs of the engine.
    pub runs: Vec<Fact<EngineRun>>,
    /// Papers that left the shop.
    pub papers: Vec<Fact<PaperIssued>>,
    /// The hand-back.
    pub handed_back: Option<Fact<HandedBack>>,
    /// Comebacks.
    pub comebacks: Vec<Fact<ComebackOpened>>,
    /// Who bears them.
    pub comeback_decisions: Vec<Fact<ComebackDecided>>,
    /// What conditions turned out to be.
    pub outcomes: Vec<Fact<OutcomeFound>>,
    /// How the job ended.
    pub closed: Option<Fact<JobClosed>>,
    /// Erasures of what was kept about a customer.
    pub erased: Vec<Fact<PersonalDataErased>>,
    /// Notes.
    pub notes: Vec<Fact<NoteWritten>>,

    /// Every entry, in force or not.
    pub history: Vec<HistoryLine>,
    /// Complaints about the record.
    pub notices: Vec<Notice>,
}

impl JobState {
    /// Gives an engine attribute: as told, else as it follows from the layout.
    #[must_use]
    pub fn attribute(&self, name: &str) -> Option<&str> {
        let told = self.attributes.get(name).map(String::as_str);
        told.or_else(|| self.layout.as_ref().and_then(|layout| layout.attribute(name)))
    }

    /// Gives the readings of one check at one place, in id order.
    #[must_use]
    pub fn readings_of(&self, check: &str, reading: &str, position: &Position) -> Vec<&ReadingTaken> {
        self.readings.iter().filter(|r| r.check == check && r.reading == reading && r.position == *position).collect()
    }

    /// Gives the state without history and notices: what the job is, not how it was written down.
    #[must_use]
    pub fn facts_only(&self) -> JobState {
        JobState { history: Vec::new(), notices: Vec::new(), ..self.clone() }
    }

    /// Gives, for one joint, the bolts whose last stage stands, as pairs of bolt and stage in bolt order; restarts and
    /// disturbances after a tightening take it away.
    #[must_use]
    pub fn bolt_stages(&self, joint: &str, position: Option<Position>) -> BTreeMap<u16, u16> {
        enum Done {
            Tightened(u16, u16),
            Restarted(u16, u16),
            Disturbed(Option<u16>),
        }
        let here = |other_joint: &str, other: Option<Position>| other_joint == joint && other == position;
        let mut done: Vec<(EntryId, Done)> = Vec::new();
        let tightened = self.bolts.iter().filter(|b| here(&b.joint, b.position));
        done.extend(tightened.map(|b| (b.in_entry, Done::Tightened(b.bolt, b.stage))));
        let restarted = self.bolt_restarts.iter().filter(|b| here(&b.joint, b.position));
        done.extend(restarted.map(|b| (b.in_entry, Done::Restarted(b.bolt, b.stage))));
        let disturbed = self.disturbed.iter().filter(|d| here(&d.joint, d.position));
        done.extend(disturbed.map(|d| (d.in_entry, Done::Disturbed(d.bolt))));
        done.sort_by_key(|(entry, _)| *entry);
        let mut stages = BTreeMap::new();
        for (_, what) in done {
            match what {
                Done::Tightened(bolt, stage) => {
                    stages.insert(bolt, stage);
                }
                Done::Restarted(bolt, stage) if stage > 1 => {
                    stages.insert(bolt, stage - 1);
                }
                Done::Restarted(bolt, _) | Done::Disturbed(Some(bolt)) => {
                    stages.remove(&bolt);
                }
                Done::Disturbed(None) => stages.clear(),
            }
        }
        stages
    }
}
