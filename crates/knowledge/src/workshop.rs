//! The workshop's knowledge: operations, repair options with their money tables, parts by joint, build stages,
//! cautions, residues and the list of sources.
//!
//! Money is in labour units: 1 is the price of one billed hour in the own shop. Machine-shop work and parts are in the
//! same unit, so that the tables outlive a year and a country; a quote replaces them.

use crate::AttributeIs;
use crate::limits::{AppliesTo, source_fault};
use crate::load::{Complaint, Located};
use crate::source::Source;
use anatomy::Scope;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// A spread from low to high, written `[lo, hi]`.
///
/// The figure is taken as equally likely anywhere between the two (rectangular): mean in the middle, standard deviation
/// the width over root twelve. `lo` may equal `hi`; both are finite; a price may be negative where money comes back.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "[f64; 2]", into = "[f64; 2]")]
pub struct Span {
    /// The low end.
    pub lo: f64,
    /// The high end.
    pub hi: f64,
}

/// Why two figures are not a spread.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("[{lo}, {hi}] is not a spread, expected two finite figures, the lower one first; next move: swap or mend them")]
pub struct SpanError {
    lo: f64,
    hi: f64,
}

impl Span {
    /// The spread of nothing.
    pub const ZERO: Self = Self { lo: 0.0, hi: 0.0 };

    /// A spread from `lo` to `hi`.
    ///
    /// # Errors
    /// `SpanError` when a figure is not finite or `lo` lies above `hi`.
    pub fn new(lo: f64, hi: f64) -> Result<Self, SpanError> {
        if lo.is_finite() && hi.is_finite() && lo <= hi { Ok(Self { lo, hi }) } else { Err(SpanError { lo, hi }) }
    }

    /// The expected figure under the rectangular spread.
    #[must_use]
    pub fn mean(self) -> f64 {
        f64::midpoint(self.lo, self.hi)
    }

    /// The standard deviation under the rectangular spread.
    #[must_use]
    pub fn deviation(self) -> f64 {
        (self.hi - self.lo) / 12f64.sqrt()
    }

    /// Both ends times a factor that is not negative; a negative or unfinished factor counts as 0.
    #[must_use]
    pub fn times(self, factor: f64) -> Self {
        let factor = if factor.is_finite() { factor.max(0.0) } else { 0.0 };
        Self { lo: self.lo * factor, hi: self.hi * factor }
    }

    /// Low ends added, high ends added: wide on purpose, since prices of one job rise and fall together.
    #[must_use]
    pub fn plus(self, other: Self) -> Self {
        Self { lo: self.lo + other.lo, hi: self.hi + other.hi }
    }
}

impl TryFrom<[f64; 2]> for Span {
    type Error = SpanError;
    fn try_from([lo, hi]: [f64; 2]) -> Result<Self, SpanError> {
        Self::new(lo, hi)
    }
}

impl From<Span> for [f64; 2] {
    fn from(span: Span) -> Self {
        [span.lo, span.hi]
    }
}

/// What an operation's hours or price are counted by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum PerWhat {
    /// Once for the engine.
    Engine,
    /// Each head.
    Head,
    /// Each head, or the block.
    HeadOrBlock,
    /// Each deck face.
    Deck,
    /// Each cylinder.
    Cylinder,
    /// Each connecting rod.
    Rod,
    /// Each valve.
    Valve,
    /// Each exhaust valve.
    ExhaustValve,
    /// Each camshaft.
    Cam,
    /// Each face machined.
    Face,
    /// Each hole.
    Hole,
    /// Each stud.
    Stud,
    /// Each crack.
    Crack,
    /// Each turbocharger.
    Turbo,
    /// One set of the engine.
    Set,
}

/// Who does an operation.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum DoneBy {
    /// The own shop.
    Shop,
    /// A machine shop.
    Machine,
    /// Either.
    Either,
}

/// A condition an operation puts right, and which of its states.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Cure {
    /// The condition.
    pub condition: String,
    /// The states it is put right from.
    pub states: Vec<String>,
}

/// When a required operation is done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Order {
    /// Before this one is paid for.
    Before,
    /// Together with it or after.
    #[default]
    With,
    /// After it: what this one does decides what the other starts from.
    After,
}

/// The part that a piece of machine work is done to: what travels to the machine shop, and what one sheet is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Piece {
    /// A head, with what is pressed into it.
    Head,
    /// The block.
    Block,
    /// The crankshaft.
    Crankshaft,
    /// Connecting rods with their caps.
    Rods,
    /// Valves by themselves.
    Valves,
    /// The cover over the timing drive.
    TimingCover,
}

impl Piece {
    /// The part in words, as it stands within a sentence.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Piece::Head => "head",
            Piece::Block => "block",
            Piece::Crankshaft => "crankshaft",
            Piece::Rods => "connecting rods",
            Piece::Valves => "valves",
            Piece::TimingCover => "timing cover",
        }
    }
}

/// What is worked of a part, as it is drawn for the machine shop.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Works {
    /// A flat face.
    Face,
    /// A round hole.
    Bore,
    /// A ledge in a bore that something stands on.
    Ledge,
    /// A bearing surface of a shaft.
    Journal,
    /// A valve seat, centred from its guide.
    ValveSeat,
}

/// Another operation that one drags in.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Requirement {
    /// The other operation.
    pub operation: String,
    /// When it is needed, in trade words.
    pub when: String,
    /// True when it is needed every time the `applies` holds.
    #[serde(default)]
    pub always: bool,
    /// Before it, with it, or after it.
    #[serde(default)]
    pub order: Order,
    /// Done to the same part of the other bank.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub other_bank: bool,
    /// What the engine must be.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub applies: Vec<AppliesTo>,
}

/// A piece of work with its hours or price, what it cures, what it drags in and what to check after it.
///
/// # Units
/// `labour` in hours; `machine` in labour units.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Operation {
    /// The name other files use.
    pub id: String,
    /// The work in trade words.
    pub name: String,
    /// What hours and price are counted by.
    pub per: PerWhat,
    /// Who does it.
    pub done_by: DoneBy,
    /// The part it is done to, where a machine shop gets one; else the place says.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub piece: Option<Piece>,
    /// What of the part is worked, where it can be drawn.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub works: Option<Works>,
    /// What of the part the work must leave alone.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub spares: Vec<String>,
    /// Hours in the own shop, opening that another operation already counts left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub labour: Option<Span>,
    /// Price of the machine shop.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub machine: Option<Span>,
    /// What it puts right.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub cures: Vec<Cure>,
    /// What else it puts right that no condition stands for.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub side_jobs: Vec<String>,
    /// What it drags in.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub requires: Vec<Requirement>,
    /// An operation that asks for this one and is asked for by it: each is done once.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub done_once_with: Option<String>,
    /// The joints it opens.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub opens: Vec<String>,
    /// What the figures wanted and as left of it measure, where a reading as found may measure something else.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub measures: Option<String>,
    /// Limits the work is held against afterwards.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub limits_after: Vec<String>,
    /// Checks done afterwards.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub checks_after: Vec<String>,
    /// Cautions shown before it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub cautions: Vec<String>,
    /// Why it carries no caution, where it carries none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub harmless: Option<String>,
    /// What a reader ought to know.
    #[serde(default)]
    pub note: String,
    /// Where hours and price come from.
    pub source: Source,
}

/// How long the car waits: `lead = { words = "2-7 days", days = [2.0, 7.0] }`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Lead {
    /// The wait in the words shown.
    pub words: String,
    /// The shortest and longest wait in days.
    pub days: Span,
}

/// How a price grows with the size of the engine: price x (1 - share + share x count / reference).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Growth {
    /// What is counted: `valves` of the block instance, `cylinders`, `rods`, `cams` or `heads`.
    pub of: String,
    /// The count the price was worked out for.
    pub reference: f64,
    /// The part of the price that grows, 0 to 1.
    pub share: f64,
}

impl Growth {
    /// The factor for a count; 1 at the reference count.
    #[must_use]
    pub fn factor(&self, count: f64) -> f64 {
        1.0 - self.share + self.share * count / self.reference
    }
}

/// What putting one block right costs under an option, by the block's class, per instance of the block.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BlockCost {
    /// The block.
    pub block: String,
    /// Labour units by class.
    pub class: BTreeMap<String, Span>,
    /// How the price grows with the engine.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub growth: Option<Growth>,
    /// Strip-down stages that this block alone calls for, once its class is not the first; stages reached are credited.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub access: Vec<String>,
    /// The joints that work on this block opens.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub opens: Vec<String>,
    /// The joints that a class opens besides.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub opens_in: BTreeMap<String, Vec<String>>,
    /// Operations of the option that the price of every class holds.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub work: Vec<String>,
}

/// What an option leaves in a block: the chance by class that it brings the engine back, and what that costs then.
///
/// The chance is for the reference horizon of [`HORIZON_MILES`]; [`BlockLeft::chance`] gives it for another one.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BlockLeft {
    /// The block.
    pub block: String,
    /// Chance of coming back within the reference horizon, by class.
    pub class: BTreeMap<String, f64>,
    /// Miles by which most of those that come back at all have done so (the Weibull scale), by class.
    pub scale_miles: BTreeMap<String, f64>,
    /// How the hazard grows: 1 is even, above 1 is wear.
    pub shape: f64,
    /// Classes after which the parts whose life is known ([`crate::BlockLife`]) are new; in the others they keep their age.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub new_in: Vec<String>,
    /// Labour units when it comes back: repair then, tow, goodwill.
    pub comeback: Span,
}

/// The road the chances of coming back are stated for, in miles: three years of 12 000.
pub const HORIZON_MILES: f64 = 36_000.0;

/// No chance of coming back is taken as higher than this: some are sold, parked or scrapped first.
pub const CHANCE_CAP: f64 = 0.99;

impl BlockLeft {
    /// The chance of coming back within `miles`, or nothing for a class not listed or a distance that is not 0 or more.
    ///
    /// The stated chance times `W(miles) / W(36 000)`, where `W(m) = 1 - exp(-(m / scale)^shape)`; at most 0.99.
    #[must_use]
    pub fn chance(&self, class: &str, miles: f64) -> Option<f64> {
        let (p, scale) = (*self.class.get(class)?, *self.scale_miles.get(class)?);
        let come_back = |miles: f64| 1.0 - (-(miles / scale).powf(self.shape)).exp();
        (miles >= 0.0 && miles.is_finite()).then(|| (p * come_back(miles) / come_back(HORIZON_MILES)).min(CHANCE_CAP))
    }
}

/// What closing up costs when a stage was reached and the option pays for no refit of that block itself.
///
/// To be added, for each instance of the block, to the price of the classes named, once the stage has been reached.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PutBack {
    /// The strip-down stage that was reached.
    pub stage: String,
    /// The block each instance of which has to be closed.
    pub block: String,
    /// The classes whose price does not hold the closing already.
    pub classes: Vec<String>,
    /// Labour units for each instance.
    pub cost: Span,
}

/// A part priced one by one under an option.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PartCost {
    /// The condition at one site.
    pub condition: String,
    /// Its state.
    pub state: String,
    /// Labour units for each site in that state, on top of the block's price.
    pub cost: Span,
    /// The joints that renewing it opens, where the option opens them for nothing else.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub opens: Vec<String>,
}

/// One line of what an option costs whatever is found: work, a part, fluids, freight.
///
/// The items that are not for each head add up to `fixed` of the option, those for each head to `fixed_per_head`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Item {
    /// What it is, where its operations do not say it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub what: Option<String>,
    /// The operations of the option that this line pays.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub operations: Vec<String>,
    /// The joints whose once-only parts this line pays, as far as no line names the part itself.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub joints: Vec<String>,
    /// Single parts that this line pays.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub parts: Vec<String>,
    /// True when the price is for each head.
    #[serde(default)]
    pub per_head: bool,
    /// The operation whose freight it is: a quote for that operation says its own freight.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub freight_of: Option<String>,
    /// Labour units.
    pub cost: Span,
}

/// A finding that takes an option off the list.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RuledOutBy {
    /// The condition.
    pub condition: String,
    /// The state that rules the option out.
    pub state: String,
    /// Why, in one sentence.
    pub why: String,
}

/// A block whose state makes an old part unfit to go back.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CoreLost {
    /// The block.
    pub block: String,
    /// The mildest class in which it is unfit; worse ones are too.
    pub from: String,
}

/// A cause that another engine of the same family has as well, in the same state.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Inherits {
    /// The cause.
    pub cause: String,
    /// Why, in one sentence.
    pub why: String,
}

/// Another engine of the same kind that nobody has opened.
///
/// Its parts stand as the conditions say of an engine with the inherited causes and no others; what is left in its blocks
/// comes back as under `left_as`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Donor {
    /// The option as under which its blocks are left.
    pub left_as: String,
    /// Blocks that are renewed before it goes in.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub renews: Vec<String>,
    /// Causes in which it is like the present engine.
    pub inherits: Vec<Inherits>,
}

/// What an option brings of its own, whatever the engine's state.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Residual {
    /// Chance within the reference horizon that the option itself goes wrong: a bad donor, a bad rebuild, a bad part.
    pub goes_wrong: f64,
    /// Labour units when it does.
    pub comeback: Span,
    /// The other engine that it puts in, where it does; what comes of that one is on top.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub donor: Option<Donor>,
    /// True when the owner no longer has the car.
    #[serde(default)]
    pub car_lost: bool,
    /// What the owner gets for the car as it stands, as a share of its value in order; only when the car is lost.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub share_kept: Option<Span>,
    /// Value of the car in order, in labour units, taken when nobody has told it; only when the car is lost.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub value_if_untold: Option<Span>,
    /// How the figures came about, in one sentence.
    pub why: String,
}

/// One way to go on, with its words for the owner and its money tables.
///
/// Expected cost = fixed + `fixed_per_head` x heads + missing access + sum over block instances of (cost by class +
/// chance left by class x comeback) + sum over sites of `per_part` + `put_back` of stages reached + residual. All of it in
/// labour units.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RepairOption {
    /// The name other files use.
    pub id: String,
    /// The name for the owner.
    pub name: String,
    /// The name where the engine has one head, for an option whose name speaks of heads.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name_of_one: Option<String>,
    /// What is new afterwards.
    pub renewed: Vec<String>,
    /// What stays.
    pub kept: Vec<String>,
    /// What nobody knows the history of.
    pub unknown_history: Vec<String>,
    /// What warranty is usual.
    pub warranty: String,
    /// Who usually carries which risk.
    pub risks: Vec<Carried>,
    /// How long the car waits.
    pub lead: Lead,
    /// What the whole of it usually comes to; for showing, not for reckoning.
    pub whole_price: Span,
    /// How it goes wrong.
    pub goes_wrong: Vec<String>,
    /// What comes on top.
    pub hidden_costs: Vec<String>,
    /// When it is the wrong choice.
    pub wrong_when: Vec<String>,
    /// When it is the right one.
    pub best_when: Vec<String>,
    /// Whether the present engine stays in the car.
    pub keeps_engine: bool,
    /// Why it does not take away what made the engine fail, in words for the owner; an option without them pays for that.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub leaves_cause: Option<String>,
    /// Strip-down stages it needs whatever is found; stages reached are credited.
    pub access: Vec<String>,
    /// The option under which a block stays that this one does not open.
    ///
    /// Set where the option mends only what it opens: what to open is then chosen with it, by the stages under
    /// [`BlockCost::access`]. An option with `fixed_per_head` is then chosen head by head.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub left_alone: Option<String>,
    /// The option that the other heads may get where this one is done to some heads only.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub beside: Option<String>,
    /// Labour units whatever is found.
    pub fixed: Span,
    /// How `fixed` grows with the engine.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fixed_growth: Option<Growth>,
    /// Labour units for each head whatever is found.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fixed_per_head: Option<Span>,
    /// Operations it always includes.
    pub operations: Vec<String>,
    /// What `fixed` and `fixed_per_head` are made of, line by line.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub items: Vec<Item>,
    /// Price by block and class; every class of every block for an option that keeps the engine, none otherwise.
    #[serde(default, rename = "cost", skip_serializing_if = "Vec::is_empty")]
    pub costs: Vec<BlockCost>,
    /// What it leaves by block and class; every class of every block for an option that keeps the engine.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub left: Vec<BlockLeft>,
    /// What closing up costs where the option pays for no refit.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub put_back: Vec<PutBack>,
    /// Parts priced one by one.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub per_part: Vec<PartCost>,
    /// What takes it off the list.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub ruled_out_by: Vec<RuledOutBy>,
    /// What makes the old part unfit to go back, so that a supplier keeps the deposit; any of these does.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub core_lost: Vec<CoreLost>,
    /// What it brings of its own.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub residual: Option<Residual>,
    /// Where the words come from.
    pub source: Source,
    /// Where the money tables come from.
    pub money_source: Source,
}

/// How the price of a quote is carried that is past its day.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct QuoteAge {
    /// The id.
    pub id: String,
    /// Days for which a quote counts as it stands that names no last day.
    pub holds_days: u16,
    /// How far to either side the price may lie from the first day past on, in per cent.
    pub spread_percent: f64,
    /// What comes to that for each month begun, in per cent.
    pub spread_per_month_percent: f64,
    /// By how much prices rise for each month begun, in per cent of the price quoted.
    pub drift_per_month_percent: f64,
    /// Months after which it is carried no further.
    pub most_months: u32,
    /// Where the figures come from.
    pub source: Source,
}

/// What to ask before something is bought for an option.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CallSheet {
    /// The name other files use.
    pub id: String,
    /// The option that it is bought for.
    pub option: String,
    /// What the sheet is called.
    pub name: String,
    /// The questions.
    pub questions: Vec<CallQuestion>,
    /// Where the questions come from.
    pub source: Source,
    /// Where their figures come from.
    pub figures: Source,
}

/// A question to a seller.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CallQuestion {
    /// What it is about.
    pub group: CallGroup,
    /// The question.
    pub ask: String,
    /// What a good answer is.
    pub good: String,
    /// How often the answer is a bad one.
    pub bad: f64,
    /// What a bad one costs where nobody asked, in labour units.
    pub loss: Span,
}

/// What a question to a seller is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum CallGroup {
    /// Which part or engine it is.
    Identity,
    /// How far it has run.
    Mileage,
    /// What was tested on it.
    Tests,
    /// What comes with it.
    Included,
    /// What has to be moved over.
    Fit,
    /// When and how it may come back.
    Terms,
    /// The old part that goes back.
    Core,
}

impl CallGroup {
    /// What it is about, in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Identity => "which one it is",
            Self::Mileage => "how far it has run",
            Self::Tests => "what was tested",
            Self::Included => "what comes with it",
            Self::Fit => "what has to be moved over",
            Self::Terms => "terms",
            Self::Core => "our old part",
        }
    }
}

/// Everything wrong with the call sheets: ids, options that are none, figures that are no chances or prices.
#[must_use]
pub fn lint_calls(calls: &[Located<CallSheet>], options: &[Located<RepairOption>]) -> Vec<Complaint> {
    let mut out = Vec::new();
    lint_ids(calls, |c| &c.id, &mut out);
    for call in calls {
        if !options.iter().any(|o| o.id == call.option) {
            out.push(call.complaint("option", format!("names {}, which is no option", call.option), "name an option"));
        }
        if calls.iter().filter(|c| c.option == call.option).count() > 1 {
            out.push(call.complaint("option", format!("{} has another sheet", call.option), "put them into one"));
        }
        for question in &call.questions {
            if question.ask.trim().is_empty() || question.good.trim().is_empty() {
                out.push(call.complaint("questions", "a question, or its good answer, has no words", "say both"));
            }
            let cost = question.loss;
            if !(0.0..1.0).contains(&question.bad) || cost.lo < 0.0 || cost.hi < cost.lo {
                out.push(call.complaint(
                    "questions",
                    format!("{}: a chance from 0 to 1 and a price from low to high are wanted", question.ask),
                    "correct `bad` or `loss`",
                ));
            }
        }
    }
    out
}

/// A risk of an option and who usually carries it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Carried {
    /// What may happen.
    pub risk: Risk,
    /// Who pays for it then.
    pub who: Bearer,
    /// How far, in words for the owner.
    pub words: String,
}

/// What may happen after a repair was chosen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Risk {
    /// More is found once it is open.
    MoreFound,
    /// It takes longer than told.
    Late,
    /// What was bought fails.
    PartFails,
    /// The work done fails.
    WorkFails,
    /// It must be taken out and fitted again.
    LabourAgain,
    /// What was kept fails.
    KeptFails,
    /// What made it fail comes back.
    CauseLeft,
    /// The deposit on the old part is kept.
    Deposit,
}

impl Risk {
    /// What may happen, in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::MoreFound => "more is found once it is open",
            Self::Late => "it takes longer than told",
            Self::PartFails => "what was bought fails",
            Self::WorkFails => "the work done fails",
            Self::LabourAgain => "it must be fitted a second time",
            Self::KeptFails => "what was kept fails",
            Self::CauseLeft => "what made it fail comes back",
            Self::Deposit => "the deposit on the old part is kept",
        }
    }
}

/// Who carries a risk.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Bearer {
    /// The customer.
    Customer,
    /// The shop that does the work.
    Shop,
    /// The machine shop.
    MachineShop,
    /// Whoever sold the part.
    Supplier,
}

impl Bearer {
    /// Who, in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Customer => "customer",
            Self::Shop => "shop",
            Self::MachineShop => "machine shop",
            Self::Supplier => "supplier",
        }
    }
}

impl RepairOption {
    /// The name for the owner of an engine with this many heads; nothing for an engine that nobody described yet.
    #[must_use]
    pub fn name_for(&self, heads: Option<usize>) -> &str {
        self.name_of_one.as_deref().filter(|_| heads == Some(1)).unwrap_or(&self.name)
    }
}

/// Whether a part is used again.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Reuse {
    /// Once only.
    Never,
    /// Measured against the named limit, then decided.
    Inspect,
    /// Cleaned and used again.
    Free,
}

/// A quantity that can be counted from the layout: `times` for each of `of`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Count {
    /// `engine`, `heads`, `banks`, `cylinders`, `valves`, `intake-valves`, `exhaust-valves` or `cams`.
    pub of: String,
    /// How many for each.
    pub times: u32,
}

/// A part that belongs to a joint.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Part {
    /// The name other files use.
    pub id: String,
    /// The name in trade words.
    pub name: String,
    /// How many, in words.
    pub quantity: String,
    /// How many, counted from the layout, where that can be said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub count: Option<Count>,
    /// Whether it is used again.
    pub reuse: Reuse,
    /// Limits that decide, where it is inspected and a limit exists.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub limits: Vec<String>,
    /// What the engine must be to have it; empty for every engine. What nobody told does not take it off a list.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub applies: Vec<AppliesTo>,
    /// What kind of part it is.
    pub kind: String,
    /// Why it is treated so.
    #[serde(default)]
    pub why: String,
    /// What to look at when it comes in.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub arrival_checks: Vec<String>,
    /// Where it comes from.
    pub source: Source,
}

/// A joint of the engine and the parts that opening it calls for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Joint {
    /// The name other files use.
    pub id: String,
    /// The name in trade words.
    pub name: String,
    /// Its parts.
    #[serde(rename = "part")]
    pub parts: Vec<Part>,
    /// Where the grouping comes from.
    pub source: Source,
}

/// What to look at when a whole engine or a large part comes in.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Arrival {
    /// The name other files use.
    pub id: String,
    /// What comes in.
    pub item: String,
    /// The options and operations under whose name it is ordered.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub comes_as: Vec<String>,
    /// What to look at.
    pub checks: Vec<String>,
    /// Where it comes from.
    pub source: Source,
}

/// A rule of the workshop in one sentence.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Rule {
    /// The name other files use.
    pub id: String,
    /// What it is about: `parts`, `orientation`, `tightening`, `reckoning`.
    pub about: String,
    /// The rule.
    pub words: String,
    /// Where it comes from.
    pub source: Source,
}

/// Which parts keep their place.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Keep {
    /// The name other files use.
    pub id: String,
    /// The part.
    pub part: String,
    /// The rule.
    pub words: String,
    /// Whether it may change its place at all.
    pub may_move: bool,
    /// What the engine must be to have it; empty for every engine. What nobody told does not take it away.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub applies: Vec<AppliesTo>,
    /// Where it comes from.
    pub source: Source,
}

/// How long something needs before the next step.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Waiting {
    /// The name other files use.
    pub id: String,
    /// What is waited for.
    pub what: String,
    /// How long, in words; the tube or sheet rules.
    pub time: String,
    /// The least of it in minutes, for the clock that begins with the step that it follows.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub least_minutes: Option<u32>,
    /// What is not done before it is over, in words, for the clock.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub holds_up: Option<String>,
    /// Where it comes from.
    pub source: Source,
}

/// Who signs a hold point.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Signer {
    /// The technician.
    Technician,
    /// A second pair of eyes.
    SecondPerson,
    /// The owner.
    Owner,
}

/// A point where the build stops until something is written down and signed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Hold {
    /// What is written down.
    pub record: String,
    /// The limits it may be held against; the one whose `applies` holds for the engine is taken.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub limits: Vec<String>,
    /// Rows of the engine sheet that it is built to and that have no fallback: ids of limits or of operations. Each is
    /// asked for from the engine's manual.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub manual: Vec<String>,
    /// What the engine must be to have it; empty for every engine. What nobody told does not take it away.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub applies: Vec<AppliesTo>,
    /// Kinds of place at which it is written down, one by one; empty where it is written down once. A signature that
    /// names a place speaks for that place, one that names none for every place that the work touches.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub each: Vec<Scope>,
    /// Parts, by id: one of them fitted answers it, and no signature is asked for.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub fitted: Vec<String>,
    /// Checks, by id, whose readings after the work are what it writes down: they stand on the sheet beside it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub reads: Vec<String>,
    /// Where it is the difference of two sizes: what the larger and what the smaller one is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub difference: Option<[String; 2]>,
    /// True when an entry must stand behind the signature: a photo, a reading, a part fitted.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub evidence: bool,
    /// True when the engine is not started before it is answered: what the first minute would ruin.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub before_start: bool,
    /// True when it says that everything ordered is here: no build step after it before it is answered.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub kit: bool,
    /// Who signs.
    pub sign: Signer,
}

/// Outcomes of a reading that call for something.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Seen {
    /// The check.
    pub check: String,
    /// Its reading.
    pub reading: String,
    /// Any of these outcomes.
    pub any_of: Vec<String>,
}

/// One thing to do or to mind at a stage, for every engine or for those it belongs to.
///
/// Written as bare words, or as `{ words = "...", applies = [...] }`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(from = "InstructionForm", into = "InstructionForm")]
pub struct Instruction {
    /// The words.
    pub words: String,
    /// What the engine must be; empty for every engine. What nobody told does not take it away.
    pub applies: Vec<AppliesTo>,
    /// Checks, by id, whose readings after the work are what it does; empty where it reads nothing.
    pub reads: Vec<String>,
    /// The joint whose bolts it tightens, by id.
    pub bolts: Option<String>,
    /// The wait that begins when it is done, by id.
    pub cures: Option<String>,
}

#[derive(Clone, Serialize, Deserialize)]
#[serde(untagged)]
enum InstructionForm {
    Always(String),
    Where(InstructionWhere),
}

#[derive(Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct InstructionWhere {
    words: String,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    applies: Vec<AppliesTo>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    reads: Vec<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    bolts: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    cures: Option<String>,
}

impl From<InstructionForm> for Instruction {
    fn from(form: InstructionForm) -> Self {
        let of = match form {
            InstructionForm::Always(words) => {
                InstructionWhere { words, applies: Vec::new(), reads: Vec::new(), bolts: None, cures: None }
            }
            InstructionForm::Where(of) => of,
        };
        Self { words: of.words, applies: of.applies, reads: of.reads, bolts: of.bolts, cures: of.cures }
    }
}

impl From<Instruction> for InstructionForm {
    fn from(one: Instruction) -> Self {
        let Instruction { words, applies, reads, bolts, cures } = one;
        if applies.is_empty() && reads.is_empty() && bolts.is_none() && cures.is_none() {
            return Self::Always(words);
        }
        Self::Where(InstructionWhere { words, applies, reads, bolts, cures })
    }
}

impl Instruction {
    /// Whether nothing told of the engine speaks against it.
    pub fn belongs<'a>(&self, told: impl Fn(&str) -> Option<&'a str>) -> bool {
        !AppliesTo::spoken_against(&self.applies, told)
    }
}

/// One stage of putting an engine together.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BuildStage {
    /// The name other files use.
    pub id: String,
    /// Its place in the order.
    pub order: u32,
    /// The stage in trade words.
    pub title: String,
    /// What the engine must be; empty for every engine.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub applies: Vec<AppliesTo>,
    /// The joints that it closes: whoever opens one of them reaches this stage.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub closes: Vec<String>,
    /// The joints that it puts together: what was bagged of them is asked back here.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub makes: Vec<String>,
    /// The kind of place whose caps it fits, each by its number and its arrow.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub caps: Option<Scope>,
    /// Operations after which it is due though they open none of its joints.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub after: Vec<String>,
    /// True when every build has it, whatever was opened.
    #[serde(default)]
    pub always: bool,
    /// What was seen that calls for it, any one of these, whatever is opened: readings as found that stand.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub after_seeing: Vec<Seen>,
    /// What is done, in order. A step is told by its number here, those of other engines counted.
    pub steps: Vec<Instruction>,
    /// Where it stops for a signature.
    #[serde(rename = "hold")]
    pub holds: Vec<Hold>,
    /// What ruins the work, in words.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub warnings: Vec<Instruction>,
    /// Cautions shown before it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub caution_ids: Vec<String>,
    /// Why it carries no caution, where it carries none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub harmless: Option<String>,
    /// Gauges used.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub gauges: Vec<String>,
    /// Whether the stage as a whole is signed.
    pub signed: bool,
    /// Where it comes from.
    pub source: Source,
}

/// A warning that protects a person, shown before the work it belongs to.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Caution {
    /// The name other files use.
    pub id: String,
    /// True when it is shown once at the start of every job.
    #[serde(default)]
    pub always: bool,
    /// True when it is shown wherever a joint is tightened bolt by bolt.
    #[serde(default)]
    pub tightening: bool,
    /// True when work is not offered before the technician has ticked it.
    pub hold: bool,
    /// What makes it pointless: with any of these known of the engine it is not shown. What nobody told does not.
    #[serde(default)]
    pub not_for: Vec<AttributeIs>,
    /// What to do and what not to do.
    pub text: String,
    /// When it is shown, in words.
    pub when: String,
    /// Where it comes from.
    pub source: Source,
}

impl Caution {
    /// Whether it speaks of an engine whose attributes `told` looks up.
    pub fn concerns<'a>(&self, told: impl Fn(&str) -> Option<&'a str>) -> bool {
        !self.not_for.iter().any(|one| one.holds(&told))
    }
}

/// Whether something dissolves a residue.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Dissolves {
    /// It does.
    Yes,
    /// In part.
    Partly,
    /// It does not.
    No,
    /// Nobody has tried.
    Unknown,
}

/// What four common things do to a residue, gentlest first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DissolvedBy {
    /// Water.
    pub water: Dissolves,
    /// Alcohol.
    pub alcohol: Dissolves,
    /// Brake cleaner.
    pub brake_cleaner: Dissolves,
    /// Acid or caustic, on a scraped sample only.
    pub acid: Dissolves,
}

/// One thing a residue may be, with its chance from the look alone.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Likely {
    /// What it may be.
    pub what: String,
    /// The condition it would point at.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub condition: Option<String>,
    /// The cause it would point at.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cause: Option<String>,
    /// Its chance, on engines that reach strip-down.
    pub p: f64,
}

/// A residue, how it looks, what dissolves it and what it may be.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Residue {
    /// The name other files use.
    pub id: String,
    /// Its colour.
    pub colour: String,
    /// Its texture.
    pub texture: String,
    /// Where it is found.
    pub places: Vec<String>,
    /// What dissolves it.
    pub dissolves: DissolvedBy,
    /// What it may be; the chances add up to 1.
    pub likely: Vec<Likely>,
    /// What it proves of the engine, unless a solvent did otherwise than listed.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub proves: Vec<AttributeIs>,
    /// Checks that tell them apart.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub next: Vec<String>,
    /// What a reader ought to know.
    #[serde(default)]
    pub note: String,
    /// Where the look comes from.
    pub source: Source,
    /// Where the chances come from.
    pub likelihood_source: Source,
}

/// A place where residues are found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Place {
    /// The name residues use.
    pub id: String,
    /// The name in trade words.
    pub name: String,
    /// Where the wording comes from.
    pub source: Source,
}

/// A text that figures are taken from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Reference {
    /// The id a source tag names.
    pub id: String,
    /// Title, with number and edition where known.
    pub title: String,
    /// Who brought it out, and what kind of text it is.
    pub publisher: String,
    /// The place inside it that was used.
    #[serde(default)]
    pub at: String,
    /// How it was read.
    pub read: Read,
    /// What a reader ought to know.
    #[serde(default)]
    pub note: String,
}

/// How a text was read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Read {
    /// The text itself was open.
    AsSeen,
    /// Another text quotes it.
    SecondHand,
    /// Named from memory; open it before showing it to a customer.
    Believed,
    /// Nobody wrote down how it was read; open it before showing it to a customer.
    Untold,
}

/// The ids that the rest of the knowledge holds, against which references are checked.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Known {
    /// Conditions and their states, mildest first.
    pub conditions: BTreeMap<String, Vec<String>>,
    /// Causes.
    pub causes: BTreeSet<String>,
    /// Checks.
    pub checks: BTreeSet<String>,
    /// Graded readings as `check/reading`, and their outcomes.
    pub outcomes: BTreeMap<String, Vec<String>>,
    /// Strip-down stages.
    pub stages: BTreeSet<String>,
    /// Blocks and their classes, mildest first.
    pub blocks: BTreeMap<String, Vec<String>>,
    /// Limits.
    pub limits: BTreeSet<String>,
    /// Gauges.
    pub gauges: BTreeSet<String>,
    /// Cautions.
    pub cautions: BTreeSet<String>,
    /// Sources.
    pub sources: BTreeSet<String>,
    /// Joints.
    pub joints: BTreeSet<String>,
    /// Parts.
    pub parts: BTreeSet<String>,
    /// Operations.
    pub operations: BTreeSet<String>,
    /// Waits of the build that have a least time.
    pub waits: BTreeSet<String>,
    /// Attributes of an engine and the values each may have.
    pub attributes: BTreeMap<String, Vec<String>>,
}

/// The ids of a list of tables.
pub fn ids<T>(tables: &[Located<T>], id: impl Fn(&T) -> &str) -> BTreeSet<String> {
    tables.iter().map(|table| id(&table.value).to_owned()).collect()
}

fn lint_ids<T>(tables: &[Located<T>], id: impl Fn(&T) -> &str, out: &mut Vec<Complaint>) {
    let mut seen = BTreeSet::new();
    for table in tables {
        let name = id(&table.value);
        if name.trim().is_empty() || !seen.insert(name.to_owned()) {
            out.push(table.complaint(
                "id",
                format!("{name:?} is empty or stands twice"),
                "give every table its own id",
            ));
        }
    }
}

fn lint_source<T>(table: &Located<T>, field: &str, source: &Source, known: &Known, out: &mut Vec<Complaint>) {
    if let Some((message, next)) = source_fault(source, &known.sources) {
        out.push(table.complaint(field, message, next));
    }
}

fn lint_names<'a, T>(
    table: &Located<T>,
    field: &str,
    names: impl IntoIterator<Item = &'a String>,
    known: &BTreeSet<String>,
    out: &mut Vec<Complaint>,
) {
    for name in names.into_iter().filter(|name| !known.contains(*name)) {
        out.push(table.complaint(
            field,
            format!("names {name}, which there is none of"),
            "mend the id, or add what it names",
        ));
    }
}

fn lint_applies<T>(table: &Located<T>, field: &str, applies: &[AppliesTo], known: &Known, out: &mut Vec<Complaint>) {
    for one in applies {
        let Some(values) = known.attributes.get(&one.attribute) else {
            out.push(table.complaint(
                field,
                format!("names attribute {}, which there is none of", one.attribute),
                "mend the attribute",
            ));
            continue;
        };
        if one.any_of.is_empty() {
            out.push(table.complaint(field, format!("{} names no value", one.attribute), "name one value or more"));
        }
        for value in one.any_of.iter().filter(|v| !values.contains(v)) {
            out.push(table.complaint(
                field,
                format!("{} has no value {value}, expected one of {}", one.attribute, values.join(", ")),
                "mend the value",
            ));
        }
    }
}

fn lint_state<T>(
    table: &Located<T>,
    field: &str,
    condition: &str,
    states: &[String],
    known: &Known,
    out: &mut Vec<Complaint>,
) {
    let Some(all) = known.conditions.get(condition) else {
        out.push(table.complaint(field, format!("names condition {condition}, which there is none of"), "mend the id"));
        return;
    };
    for state in states {
        if !all.contains(state) {
            out.push(table.complaint(
                field,
                format!("{condition} has no state {state}, expected one of {}", all.join(", ")),
                "mend the state",
            ));
        } else if all.first() == Some(state) {
            out.push(table.complaint(
                field,
                format!("{state} is the sound state of {condition}"),
                "name a state that is worse",
            ));
        }
    }
    if states.is_empty() {
        out.push(table.complaint(field, format!("names no state of {condition}"), "name at least one"));
    }
}

fn lint_cautions<T>(
    table: &Located<T>,
    field: &str,
    cautions: &[String],
    harmless: Option<&String>,
    known: &Known,
    out: &mut Vec<Complaint>,
) {
    lint_names(table, field, cautions, &known.cautions, out);
    if cautions.is_empty() == harmless.is_none_or(|why| why.trim().is_empty()) {
        out.push(table.complaint(
            field,
            "needs cautions, or under harmless the reason why it can hurt nobody, and not both",
            "name the cautions, or say why there are none",
        ));
    }
}

/// Everything wrong with the operations: ids, references, prices, cautions, and loops of requirements not stated.
#[must_use]
pub fn lint_operations(operations: &[Located<Operation>], known: &Known) -> Vec<Complaint> {
    let mut out = Vec::new();
    lint_ids(operations, |o| &o.id, &mut out);
    for op in operations {
        lint_source(op, "source", &op.source, known, &mut out);
        lint_names(op, "requires", op.requires.iter().map(|r| &r.operation), &known.operations, &mut out);
        lint_names(op, "done_once_with", &op.done_once_with, &known.operations, &mut out);
        lint_names(op, "opens", &op.opens, &known.joints, &mut out);
        lint_names(op, "limits_after", &op.limits_after, &known.limits, &mut out);
        lint_names(op, "checks_after", &op.checks_after, &known.checks, &mut out);
        lint_cautions(op, "cautions", &op.cautions, op.harmless.as_ref(), known, &mut out);
        for cure in &op.cures {
            lint_state(op, "cures", &cure.condition, &cure.states, known, &mut out);
        }
        let (shop, machine) = (op.labour.is_some(), op.machine.is_some());
        let fits = match op.done_by {
            DoneBy::Shop => shop,
            DoneBy::Machine => machine && !shop,
            DoneBy::Either => shop || machine,
        };
        if !fits {
            out.push(op.complaint(
                "done_by",
                "does not fit the hours and prices given",
                "give labour for the shop, machine for the machine shop",
            ));
        }
        if [op.labour, op.machine].into_iter().flatten().any(|span| span.lo < 0.0 || span.hi <= 0.0) {
            out.push(op.complaint("labour", "is not above zero", "give hours or a price"));
        }
    }
    lint_loops(operations, &mut out);
    out
}

/// Complains of every pair of operations that ask for each other, straight or over others, without saying so.
fn lint_loops(operations: &[Located<Operation>], out: &mut Vec<Complaint>) {
    let asks: BTreeMap<&str, Vec<&str>> =
        operations.iter().map(|o| (o.id.as_str(), o.requires.iter().map(|r| r.operation.as_str()).collect())).collect();
    let reached = |start: &str| {
        let mut found = BTreeSet::new();
        let mut open: Vec<&str> = asks.get(start).cloned().unwrap_or_default();
        while let Some(next) = open.pop() {
            if found.insert(next) {
                open.extend(asks.get(next).into_iter().flatten());
            }
        }
        found
    };
    let all: BTreeMap<&str, BTreeSet<&str>> = asks.keys().map(|id| (*id, reached(id))).collect();
    for op in operations {
        let id = op.id.as_str();
        let back =
            all.get(id).into_iter().flatten().filter(|other| all.get(*other).is_some_and(|set| set.contains(id)));
        let partners: Vec<&str> = back.copied().filter(|other| *other != id).collect();
        let stated: Vec<&str> = op.done_once_with.iter().map(String::as_str).collect();
        if partners != stated {
            out.push(op.complaint(
                "requires",
                format!("asks in a loop with [{}], stated is [{}]", partners.join(", "), stated.join(", ")),
                "break the loop, or state it with done_once_with on both",
            ));
        }
    }
}

/// Everything wrong with the options: ids, references, and money tables that miss a class of a block.
#[must_use]
pub fn lint_options(options: &[Located<RepairOption>], known: &Known) -> Vec<Complaint> {
    let mut out = Vec::new();
    lint_ids(options, |o| &o.id, &mut out);
    for option in options {
        lint_source(option, "source", &option.source, known, &mut out);
        lint_source(option, "money_source", &option.money_source, known, &mut out);
        lint_names(option, "operations", &option.operations, &known.operations, &mut out);
        lint_names(option, "access", &option.access, &known.stages, &mut out);
        for cost in &option.costs {
            lint_names(option, "cost.access", &cost.access, &known.stages, &mut out);
            lint_names(option, "cost.opens", &cost.opens, &known.joints, &mut out);
            lint_names(option, "cost.opens_in", cost.opens_in.values().flatten(), &known.joints, &mut out);
            let unpriced = cost.opens_in.keys().find(|class| !cost.class.contains_key(*class));
            if let Some(class) = unpriced {
                out.push(option.complaint(
                    "cost.opens_in",
                    format!("{}: {class} is no class of it", cost.block),
                    "name a class that has a price",
                ));
            }
            if !cost.access.is_empty() && cost.opens.is_empty() {
                out.push(option.complaint(
                    "cost.opens",
                    format!("{} has to be reached and opens no joint, so no build stage would close it", cost.block),
                    "name the joints that work on it opens",
                ));
            }
        }
        lint_items(option, known, &mut out);
        for part in &option.per_part {
            lint_names(option, "per_part.opens", &part.opens, &known.joints, &mut out);
            lint_state(option, "per_part", &part.condition, std::slice::from_ref(&part.state), known, &mut out);
        }
        for rule in &option.ruled_out_by {
            lint_state(option, "ruled_out_by", &rule.condition, std::slice::from_ref(&rule.state), known, &mut out);
            if rule.why.trim().is_empty() {
                out.push(option.complaint("ruled_out_by", "does not say why", "say why in one sentence"));
            }
        }
        lint_risks(option, &mut out);
        for lost in &option.core_lost {
            if !known.blocks.get(&lost.block).is_some_and(|classes| classes.iter().skip(1).any(|c| *c == lost.from)) {
                out.push(option.complaint(
                    "core_lost",
                    format!("names class {} of block {}, which is none but a sound one", lost.from, lost.block),
                    "name a block and the mildest class in which it is no core",
                ));
            }
        }
        if let Some(alone) = &option.left_alone {
            let other = options.iter().find(|o| o.id == *alone);
            if other.is_none_or(|o| !o.keeps_engine || o.left_alone.is_some()) {
                out.push(option.complaint(
                    "left_alone",
                    format!("names {alone}, which is no option that keeps the engine and opens nothing by choice"),
                    "name the option that leaves a block as it is",
                ));
            }
            if option.fixed_per_head.is_none() && option.costs.iter().all(|c| c.access.is_empty()) {
                out.push(option.complaint(
                    "left_alone",
                    "has nothing to choose from: no block says what must be opened for it",
                    "give cost.access, or take left_alone out",
                ));
            }
        }
        if let Some(beside) = &option.beside {
            let other = options.iter().find(|o| o.id == *beside);
            let by_head = |o: &RepairOption| o.fixed_per_head.is_some() && o.left_alone.is_some();
            if !by_head(option) || other.is_none_or(|o| !by_head(o)) {
                out.push(option.complaint(
                    "beside",
                    format!("{beside} and this option are not both done head by head"),
                    "give both fixed_per_head and left_alone, or take beside out",
                ));
            }
        }
        let donor = option.residual.as_ref().and_then(|r| r.donor.as_ref());
        if let Some(donor) = donor
            && !options.iter().any(|o| o.id == donor.left_as && o.keeps_engine)
        {
            out.push(option.complaint(
                "residual.donor.left_as",
                format!("names {}, which is no option that keeps the engine", donor.left_as),
                "name the option that leaves a block as it is",
            ));
        }
        lint_money(option, known, &mut out);
    }
    out
}

/// Items that do not add up to what the option costs whatever is found, and operations that nothing pays.
/// Who carries what: each risk once, in words, and none of those forgotten that the option itself shows.
fn lint_risks(option: &Located<RepairOption>, out: &mut Vec<Complaint>) {
    let said = |risk: Risk| option.risks.iter().filter(|c| c.risk == risk).count();
    for carried in &option.risks {
        if said(carried.risk) > 1 {
            let what = format!("says twice who pays when {}", carried.risk.words());
            out.push(option.complaint("risks", what, "keep one of them, and say in its words how far"));
        }
        if carried.words.trim().is_empty() {
            let what = format!("does not say how far, when {}", carried.risk.words());
            out.push(option.complaint("risks", what, "say how far in a few words"));
        }
    }
    let shown = [(Risk::KeptFails, option.keeps_engine), (Risk::Deposit, !option.core_lost.is_empty())];
    let forgotten = shown.into_iter().find(|(risk, there)| *there && said(*risk) == 0).map(|(risk, _)| risk);
    if let Some(risk) = forgotten {
        let what = format!("does not say who pays when {}", risk.words());
        out.push(option.complaint("risks", what, "say who carries it, and how far"));
    }
}

fn lint_items(option: &Located<RepairOption>, known: &Known, out: &mut Vec<Complaint>) {
    for item in &option.items {
        lint_names(option, "items.operations", &item.operations, &known.operations, out);
        lint_names(option, "items.joints", &item.joints, &known.joints, out);
        lint_names(option, "items.parts", &item.parts, &known.parts, out);
        lint_names(option, "items.freight_of", &item.freight_of, &known.operations, out);
        if item.operations.is_empty() && item.what.as_ref().is_none_or(|w| w.trim().is_empty()) {
            out.push(option.complaint("items", "a line says neither what it is nor which operation", "name one"));
        }
        for id in item.operations.iter().filter(|id| !option.operations.contains(id)) {
            out.push(option.complaint(
                "items.operations",
                format!("{id} is paid here and is no operation of the option"),
                "add it to operations, or take it out here",
            ));
        }
    }
    let sum = |per_head: bool| {
        let lines = option.items.iter().filter(|i| i.per_head == per_head);
        lines.fold(Span::ZERO, |all, item| all.plus(item.cost))
    };
    let head = option.fixed_per_head.unwrap_or(Span::ZERO);
    for (field, stated, lines) in [("fixed", option.fixed, sum(false)), ("fixed_per_head", head, sum(true))] {
        if (stated.lo - lines.lo).abs() > 1e-9 || (stated.hi - lines.hi).abs() > 1e-9 {
            out.push(option.complaint(
                "items",
                format!(
                    "add up to [{:.2}, {:.2}] and {field} is [{:.2}, {:.2}]",
                    lines.lo, lines.hi, stated.lo, stated.hi
                ),
                "mend the lines or the sum",
            ));
        }
    }
    let mut paid: Vec<&String> = option.items.iter().flat_map(|i| &i.operations).collect();
    for work in option.costs.iter().flat_map(|c| &c.work) {
        if !option.operations.contains(work) {
            out.push(option.complaint(
                "cost.work",
                format!("{work} is paid here and is no operation of the option"),
                "add it to operations, or take it out here",
            ));
        }
        paid.push(work);
    }
    for id in &option.operations {
        match paid.iter().filter(|p| **p == id).count() {
            1 => {}
            0 => out.push(option.complaint(
                "operations",
                format!("{id} is paid by no line"),
                "name it in one of items, or under work of a block",
            )),
            more => {
                out.push(option.complaint("operations", format!("{id} is paid {more} times"), "keep one line for it"))
            }
        }
    }
}

fn lint_money(option: &Located<RepairOption>, known: &Known, out: &mut Vec<Complaint>) {
    let growths = option.costs.iter().filter_map(|c| c.growth.as_ref()).chain(option.fixed_growth.as_ref());
    for growth in growths {
        if !(growth.reference > 0.0 && (0.0..=1.0).contains(&growth.share)) {
            out.push(option.complaint(
                "growth",
                "needs a reference above 0 and a share from 0 to 1",
                "mend the figures",
            ));
        }
    }
    let costs: Vec<(&str, BTreeSet<&str>)> =
        option.costs.iter().map(|c| (c.block.as_str(), c.class.keys().map(String::as_str).collect())).collect();
    let left: Vec<(&str, BTreeSet<&str>)> =
        option.left.iter().map(|l| (l.block.as_str(), l.class.keys().map(String::as_str).collect())).collect();
    for (field, tables) in [("cost", &costs), ("left", &left)] {
        if !option.keeps_engine {
            if !tables.is_empty() {
                out.push(option.complaint(
                    field,
                    "prices blocks of an engine that leaves the car",
                    "take the tables out",
                ));
            }
            continue;
        }
        for (block, classes) in &known.blocks {
            let wanted: BTreeSet<&str> = classes.iter().map(String::as_str).collect();
            let found: Vec<&BTreeSet<&str>> = tables.iter().filter(|(b, _)| b == block).map(|(_, c)| c).collect();
            if found != [&wanted] {
                out.push(option.complaint(
                    field,
                    format!("{block}: expected one table with the classes {}", classes.join(", ")),
                    "give every class of the block once",
                ));
            }
        }
        for (block, _) in tables.iter().filter(|(b, _)| !known.blocks.contains_key(*b)) {
            out.push(option.complaint(field, format!("names block {block}, which there is none of"), "mend the block"));
        }
    }
    for back in &option.put_back {
        lint_names(option, "put_back", [&back.stage], &known.stages, out);
        let classes: BTreeSet<String> = known.blocks.get(&back.block).into_iter().flatten().cloned().collect();
        lint_names(option, "put_back", &back.classes, &classes, out);
    }
    for left in &option.left {
        if !left.class.keys().eq(left.scale_miles.keys()) || left.scale_miles.values().any(|miles| *miles < 1.0) {
            out.push(option.complaint(
                "left",
                format!("{}: every class needs a scale of at least a mile", left.block),
                "give scale_miles for the same classes",
            ));
        }
        if !left.class.values().all(|p| (0.0..=CHANCE_CAP).contains(p)) || left.shape < 0.5 || left.comeback.lo < 0.0 {
            out.push(option.complaint(
                "left",
                format!("{}: needs chances from 0 to 0.99, a shape of 0.5 or more and a cost not below 0", left.block),
                "mend the figures",
            ));
        }
        let order = known.blocks.get(&left.block).map(Vec::as_slice).unwrap_or_default();
        lint_names(option, "left.new_in", &left.new_in, &order.iter().cloned().collect(), out);
        let chances: Vec<f64> = order.iter().filter_map(|class| left.class.get(class).copied()).collect();
        if left.class.len() == order.len()
            && chances.windows(2).any(|w| matches!(w, [a, b] if a > b))
            && !option.renews(&left.block)
        {
            out.push(option.complaint(
                "left",
                format!("{}: a worse class comes back less often though nothing is done to it", left.block),
                "mend the chances",
            ));
        }
    }
    let lost = option.residual.as_ref().is_some_and(|r| r.car_lost);
    if let Some(residual) = &option.residual {
        if let Some(donor) = &residual.donor {
            lint_names(option, "residual.donor.inherits", donor.inherits.iter().map(|i| &i.cause), &known.causes, out);
            let blocks: BTreeSet<String> = known.blocks.keys().cloned().collect();
            lint_names(option, "residual.donor.renews", &donor.renews, &blocks, out);
        }
        if !(0.0..=CHANCE_CAP).contains(&residual.goes_wrong) || residual.comeback.lo < 0.0 {
            out.push(option.complaint(
                "residual",
                "needs a chance from 0 to 0.99 and a cost not below 0",
                "mend the figures",
            ));
        }
        if residual.car_lost != (residual.share_kept.is_some() && residual.value_if_untold.is_some()) {
            out.push(option.complaint(
                "residual",
                "share_kept and value_if_untold belong to a car that is lost",
                "give both, or say car_lost = false",
            ));
        }
    }
    if option.lead.days.lo < 0.0 {
        out.push(option.complaint("lead", "is below 0 days", "give days from 0 up"));
    }
    if option.fixed.lo < 0.0 && !lost {
        out.push(option.complaint("fixed", "is below 0", "only a sold car brings money back"));
    }
}

impl RepairOption {
    /// Whether the option spends money on any class of that block.
    #[must_use]
    pub fn renews(&self, block: &str) -> bool {
        self.costs.iter().filter(|c| c.block == block).any(|c| c.class.values().any(|span| span.hi > 0.0))
    }
}

/// Everything wrong with the joints and parts: ids, sources, limits named.
#[must_use]
pub fn lint_joints(joints: &[Located<Joint>], known: &Known) -> Vec<Complaint> {
    const COUNTED: [&str; 8] =
        ["engine", "heads", "banks", "cylinders", "valves", "intake-valves", "exhaust-valves", "cams"];
    let mut out = Vec::new();
    lint_ids(joints, |j| &j.id, &mut out);
    let mut seen = BTreeSet::new();
    for joint in joints {
        lint_source(joint, "source", &joint.source, known, &mut out);
        for part in &joint.parts {
            if !seen.insert(part.id.as_str()) {
                out.push(joint.complaint("part.id", format!("{} stands twice", part.id), "give every part its own id"));
            }
            lint_source(joint, "part.source", &part.source, known, &mut out);
            lint_names(joint, "part.limits", &part.limits, &known.limits, &mut out);
            lint_applies(joint, "part.applies", &part.applies, known, &mut out);
            if let Some(count) = part.count.as_ref().filter(|c| !COUNTED.contains(&c.of.as_str()) || c.times == 0) {
                out.push(joint.complaint(
                    "part.count",
                    format!("{}: {} is not counted in a layout", part.id, count.of),
                    "use one of the counted words",
                ));
            }
        }
        if joint.parts.is_empty() {
            out.push(joint.complaint("part", "has no parts", "add what opening it calls for"));
        }
    }
    out
}

/// Everything wrong with the build stages: order, limits, gauges, cautions, sources.
#[must_use]
pub fn lint_build(stages: &[Located<BuildStage>], known: &Known) -> Vec<Complaint> {
    let mut out = Vec::new();
    lint_ids(stages, |s| &s.id, &mut out);
    let mut last = 0;
    for stage in stages {
        if stage.order <= last {
            out.push(stage.complaint(
                "order",
                format!("{} does not come after {last}", stage.order),
                "number the stages in file order",
            ));
        }
        last = stage.order;
        lint_applies(stage, "applies", &stage.applies, known, &mut out);
        lint_names(stage, "closes", &stage.closes, &known.joints, &mut out);
        lint_names(stage, "makes", &stage.makes, &known.joints, &mut out);
        lint_names(stage, "after", &stage.after, &known.operations, &mut out);
        for hold in &stage.holds {
            lint_applies(stage, "hold.applies", &hold.applies, known, &mut out);
            lint_names(stage, "hold.fitted", &hold.fitted, &known.parts, &mut out);
            lint_names(stage, "hold.reads", &hold.reads, &known.checks, &mut out);
        }
        lint_seen(stage, known, &mut out);
        for (field, list) in [("steps", &stage.steps), ("warnings", &stage.warnings)] {
            for one in list {
                lint_applies(stage, field, &one.applies, known, &mut out);
                lint_names(stage, field, &one.reads, &known.checks, &mut out);
                lint_names(stage, field, &one.bolts, &known.joints, &mut out);
                lint_names(stage, field, &one.cures, &known.waits, &mut out);
                if one.words.trim().is_empty() {
                    out.push(stage.complaint(field, "has a line without words", "say what is done or minded"));
                }
            }
        }
        let rows = known.limits.union(&known.operations).cloned().collect();
        lint_names(stage, "hold.manual", stage.holds.iter().flat_map(|h| &h.manual), &rows, &mut out);
        if !stage.always && stage.closes.is_empty() && stage.after.is_empty() && stage.after_seeing.is_empty() {
            out.push(stage.complaint(
                "closes",
                "no work reaches this stage, so its hold points would stand on no sheet",
                "name the joints it closes or the work it follows, or say always = true",
            ));
        }
        lint_source(stage, "source", &stage.source, known, &mut out);
        lint_names(stage, "hold.limits", stage.holds.iter().flat_map(|h| &h.limits), &known.limits, &mut out);
        lint_names(stage, "gauges", &stage.gauges, &known.gauges, &mut out);
        lint_cautions(stage, "caution_ids", &stage.caution_ids, stage.harmless.as_ref(), known, &mut out);
        if stage.holds.is_empty() || stage.steps.is_empty() {
            out.push(stage.complaint(
                "hold",
                "has no steps or no hold point",
                "a stage does something and stops for a signature",
            ));
        }
    }
    let closed: BTreeSet<&String> = stages.iter().flat_map(|s| &s.closes).collect();
    let never: Vec<&str> = known.joints.iter().filter(|j| !closed.contains(j)).map(String::as_str).collect();
    if let Some(last) = stages.last().filter(|_| !never.is_empty()) {
        out.push(last.complaint(
            "closes",
            format!("no stage closes {}: who opens it would get no hold point", never.join(", ")),
            "name it under closes of the stage that puts it together",
        ));
    }
    let made: BTreeSet<&String> = stages.iter().flat_map(|s| &s.makes).collect();
    let never: Vec<&str> = known.joints.iter().filter(|j| !made.contains(j)).map(String::as_str).collect();
    if let Some(last) = stages.last().filter(|_| !made.is_empty() && !never.is_empty()) {
        out.push(last.complaint(
            "makes",
            format!("no stage makes {}: what was bagged of it would be asked back nowhere", never.join(", ")),
            "name it under makes of the stage that puts it together",
        ));
    }
    out
}

/// What calls for a stage must be an outcome that somebody can tell.
fn lint_seen(stage: &Located<BuildStage>, known: &Known, out: &mut Vec<Complaint>) {
    for seen in &stage.after_seeing {
        let wanted = format!("{}/{}", seen.check, seen.reading);
        let Some(outcomes) = known.outcomes.get(&wanted) else {
            let near = known.outcomes.keys().filter(|k| k.starts_with(&format!("{}/", seen.check)));
            let near: Vec<&str> = near.map(String::as_str).collect();
            let move_on = if near.is_empty() { "name a check of the knowledge".to_owned() } else { near.join(", ") };
            out.push(stage.complaint(
                "after_seeing",
                format!("{wanted} is no graded reading of the knowledge"),
                move_on,
            ));
            continue;
        };
        if seen.any_of.is_empty() {
            out.push(stage.complaint("after_seeing", format!("{wanted} names no outcome"), outcomes.join(", ")));
        }
        for outcome in seen.any_of.iter().filter(|o| !outcomes.contains(o)) {
            out.push(stage.complaint(
                "after_seeing",
                format!("{outcome} is no outcome of {wanted}"),
                outcomes.join(", "),
            ));
        }
    }
}

/// Everything wrong with the cautions: ids, empty words, sources.
#[must_use]
pub fn lint_caution_tables(cautions: &[Located<Caution>], known: &Known) -> Vec<Complaint> {
    let mut out = Vec::new();
    lint_ids(cautions, |c| &c.id, &mut out);
    for caution in cautions {
        lint_source(caution, "source", &caution.source, known, &mut out);
        if caution.text.trim().is_empty() || caution.when.trim().is_empty() {
            out.push(caution.complaint("text", "is empty", "say what to do and when"));
        }
    }
    if !cautions.iter().any(|c| c.always) {
        out.extend(
            cautions.first().map(|c| {
                c.complaint("always", "no caution is shown at the start of a job", "mark the first one always")
            }),
        );
    }
    out
}

/// Everything wrong with the residues: ids, places, chances that do not add up to 1, references.
#[must_use]
pub fn lint_residues(residues: &[Located<Residue>], places: &[Located<Place>], known: &Known) -> Vec<Complaint> {
    let mut out = Vec::new();
    lint_ids(residues, |r| &r.id, &mut out);
    lint_ids(places, |p| &p.id, &mut out);
    let place_ids = ids(places, |p| &p.id);
    for residue in residues {
        lint_source(residue, "source", &residue.source, known, &mut out);
        lint_source(residue, "likelihood_source", &residue.likelihood_source, known, &mut out);
        lint_names(residue, "places", &residue.places, &place_ids, &mut out);
        lint_names(residue, "next", &residue.next, &known.checks, &mut out);
        lint_names(
            residue,
            "likely.cause",
            residue.likely.iter().filter_map(|l| l.cause.as_ref()),
            &known.causes,
            &mut out,
        );
        let conditions: BTreeSet<String> = known.conditions.keys().cloned().collect();
        lint_names(
            residue,
            "likely.condition",
            residue.likely.iter().filter_map(|l| l.condition.as_ref()),
            &conditions,
            &mut out,
        );
        let total: f64 = residue.likely.iter().map(|l| l.p).sum();
        if (total - 1.0).abs() > 1e-9 || residue.likely.iter().any(|l| !(0.0..=1.0).contains(&l.p)) {
            out.push(residue.complaint("likely", format!("the chances add up to {total}"), "make them add up to 1"));
        }
        if residue.likely.iter().any(|l| l.cause.is_some() && l.condition.is_some()) {
            out.push(residue.complaint("likely", "points at a cause and a condition at once", "keep one of the two"));
        }
    }
    out
}

/// Everything wrong with the list of sources: ids and empty titles.
#[must_use]
pub fn lint_references(references: &[Located<Reference>]) -> Vec<Complaint> {
    let mut out = Vec::new();
    lint_ids(references, |r| &r.id, &mut out);
    for reference in references {
        if reference.title.trim().is_empty() || reference.publisher.trim().is_empty() {
            out.push(reference.complaint("title", "is empty", "give title and publisher"));
        }
    }
    out
}

/// Everything wrong with the short tables: arrivals, rules, parts that keep their place, waiting times.
#[must_use]
pub fn lint_rules(
    arrivals: &[Located<Arrival>],
    rules: &[Located<Rule>],
    keeps: &[Located<Keep>],
    waits: &[Located<Waiting>],
    known: &Known,
) -> Vec<Complaint> {
    let mut out = Vec::new();
    lint_ids(arrivals, |a| &a.id, &mut out);
    lint_ids(rules, |r| &r.id, &mut out);
    lint_ids(keeps, |k| &k.id, &mut out);
    lint_ids(waits, |w| &w.id, &mut out);
    for table in arrivals {
        lint_source(table, "source", &table.source, known, &mut out);
    }
    for table in rules {
        lint_source(table, "source", &table.source, known, &mut out);
    }
    for table in keeps {
        lint_applies(table, "applies", &table.applies, known, &mut out);
        lint_source(table, "source", &table.source, known, &mut out);
    }
    for table in waits {
        lint_source(table, "source", &table.source, known, &mut out);
    }
    out
}
