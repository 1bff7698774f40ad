//! What each kind of entry holds. One struct a kind, in the order of the eight moments.
//!
//! Numbers that people typed stay text with their unit ([`Figure`]), so that the digits shown by the instrument survive.
//! Dates are plain calendar dates. A field that may be missing is left out, never written as `null`.

use std::collections::BTreeMap;

use anatomy::{EngineLayout, EntryId, JobId, Known, Position, Scope};
use jiff::civil::Date;
use quantity::tax::part_of_one;
use quantity::{Charge, Money, Prices, Rounding, TaxBy, TaxRules};
use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::words::{
    ArrivalResult, BagEnd, Bearer, BoltAge, Bound, Channel, Covers, Dissolves, Ending, FigureFor, GoodReadings,
    MachineResult, OutsideAnswer, Paper, Phase, ReturnKind, RunKind,
};

/// Writes body structs: clonable, comparable, stored with missing fields left out and unknown fields refused.
macro_rules! bodies {
    ($($(#[$outer:meta])* $name:ident {
        $($(#[$need_doc:meta])* $need:ident : $need_ty:ty,)*
        $(; $($(#[$may_doc:meta])* $may:ident ? : $may_ty:ty,)*
        $(; $($(#[$list_doc:meta])* $list:ident * : $list_ty:ty,)*)?)?
    })+) => { $(
        $(#[$outer])*
        #[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
        #[serde(deny_unknown_fields)]
        pub struct $name {
            $($(#[$need_doc])* pub $need: $need_ty,)*
            $($($(#[$may_doc])* #[serde(default, skip_serializing_if = "Option::is_none")] pub $may: Option<$may_ty>,)*
            $($($(#[$list_doc])* #[serde(default, skip_serializing_if = "Vec::is_empty")] pub $list: Vec<$list_ty>,)*)?)?
        }
    )+ };
}

bodies! {
    /// A number as typed, with its unit symbol; an empty unit means a bare count or ratio.
    Figure {
        /// The digits as typed, such as `0.180` or `-0,05`.
        text: String,
        /// The unit symbol, such as `mm`.
        unit: String,
    }

    /// One fact that a page showed.
    ShownFact {
        /// Of what it speaks, such as `price: Exchange engine`.
        what: String,
        /// What the page said of it.
        says: String,
    }

    // ---- Hear ----

    /// A job was opened.
    JobOpened {
        /// A few words to find it by.
        title: String,
        ;
        /// The shop's own code for the customer; names and numbers of people are not kept in the logbook.
        customer?: String,
        /// The day promised.
        promised?: Date,
        /// The earlier job this one comes back from.
        comeback_of?: JobId,
    }
    /// The complaint, in the customer's own words.
    ComplaintHeard {
        /// The words.
        words: String,
        ;
        /// When it shows.
        when?: String,
        /// For how long already.
        how_long?: String,
        /// What was done since.
        done_since?: String,
    }
    /// The engine was described.
    EngineDescribed {
        /// Its layout.
        layout: EngineLayout,
        ;
        /// Who made it.
        maker?: String,
        /// The engine family or type.
        family?: String,
        /// The number on the block or plate.
        number?: String,
        /// When it was built.
        built?: String,
    }
    #[derive(Default)]
    /// The vehicle or machine was described; of several descriptions the later field wins.
    VehicleDescribed {
        ;
        /// Make.
        make?: String,
        /// Model.
        model?: String,
        /// Registration plate.
        plate?: String,
        /// Vehicle identification number.
        vin?: String,
        /// Model year.
        year?: u16,
        /// Odometer as shown.
        odometer?: Figure,
        /// Whether the odometer can be believed.
        odometer_believed?: Known,
        /// What the vehicle is worth in running order.
        value?: Money,
        /// For how many months the customer wants to keep it.
        horizon_months?: u32,
        /// How far it goes in a year.
        miles_per_year?: u32,
    }
    /// A fact that moves the odds was told.
    AttributeTold {
        /// Name of the engine attribute.
        attribute: String,
        /// Its value, a word of that attribute.
        value: String,
        ;
        /// Who said so or where it was read.
        told_by?: String,
    }
    /// The date promised to the customer was set or moved.
    PromiseMade {
        /// The day.
        promised: Date,
        ;
        /// What was said.
        words?: String,
    }
    /// Something was said or sent to the customer.
    CustomerTold {
        /// The words.
        words: String,
        /// How.
        how: Channel,
    }

    // ---- Test and Strip ----

    /// A figure of the maker was typed into the engine sheet.
    EngineFigure {
        /// What it is about: the id of a limit or another item of the knowledge.
        item: String,
        /// What it bounds.
        bound: Bound,
        /// The number as typed; the lower one of a range.
        text: String,
        /// The unit symbol.
        unit: String,
        /// The document it was read in.
        document: String,
        /// The page.
        page: String,
        ;
        /// The upper number of a range.
        text_high?: String,
        /// What it is for; left out: service.
        stands_for?: FigureFor,
        /// The kind of place it holds for; left out: all.
        scope?: Scope,
        /// The one place it holds for; left out: all.
        at?: Position,
        /// Anything else.
        note?: String,
    }
    /// An engine sheet from an earlier job of the same engine was taken over.
    SheetAdopted {
        /// Name of the sheet.
        sheet: String,
        ; ;
        /// Its figures.
        figures*: EngineFigure,
    }
    /// A gauge was laid ready.
    GaugeDescribed {
        /// The kind of gauge, an id of the knowledge.
        gauge: String,
        /// The mark on this one gauge.
        label: String,
        ;
        /// Its standard uncertainty, when it has its own.
        u?: Figure,
        /// Whether its zero was checked.
        zero_checked?: Known,
        /// The date of its last calibration.
        calibrated?: Date,
        /// Anything else.
        note?: String,
    }
    /// A gauge turned out doubtful; every reading by it asks to be measured again.
    GaugeDoubted {
        /// The mark on the gauge.
        label: String,
        /// Why.
        reason: String,
        ;
        /// By how much it was off.
        off_by?: Figure,
    }
    /// A doubted gauge was looked at and found good, for all its readings or for those after this.
    GaugeCleared {
        /// The mark on the gauge.
        label: String,
        /// How that was found out.
        how: String,
        /// Which readings by it are good.
        good: GoodReadings,
    }
    /// A reading was taken: either one of the named outcomes or a number.
    ReadingBody {
        /// The check, an id of the knowledge.
        check: String,
        /// Which reading of the check.
        reading: String,
        /// Where.
        position: Position,
        ;
        /// The outcome, a word of that reading.
        outcome?: String,
        /// The number as shown.
        value?: Figure,
        /// Where within the place, such as `line-A-F` or `top-thrust`.
        spot?: String,
        /// When in the life of the job; left out: as found.
        phase?: Phase,
        /// The kind of gauge, an id of the knowledge.
        gauge?: String,
        /// The mark on the gauge.
        label?: String,
        /// Temperature of the part or the oil.
        temperature?: Figure,
        /// Anything else.
        note?: String,
        /// How many readings `value` is the mean of, where they were not written down one by one; from version 2.
        mean_of?: u32,
        ;
        /// Two or more readings of the same thing, one after the other, in one unit; their mean counts, and `value` is
        /// left out; from version 2.
        repeats*: Figure,
        /// A straightedge laid down once: blade by blade what its stations say, in sequence from the end that the line is named
        /// from; `spot` is the line, the widest blade that entered is the value, and `value` and `repeats` are left out; from
        /// version 3.
        stations*: EdgeStation,
        /// The sizes of a bore at one height on three axes, 45 degrees apart: the oval that goes through them is the value, and
        /// `value` and `repeats` are left out; from version 3.
        axes*: AxisSize,
    }
    /// A size across a bore on one axis.
    AxisSize {
        /// The axis in degrees, counted from across the crank: 0, 45 or 90.
        degrees: u16,
        /// The size, or how far it is off the setting of the gauge.
        size: Figure,
    }
    /// One place along a straightedge, and between which blades the gap lies.
    EdgeStation {
        /// How far along, from the end that the line is named from.
        along: Figure,
        ;
        /// The thickest blade that enters; left out: none does.
        enters?: Figure,
        /// The thinnest blade that is refused; left out: none was tried that is.
        refused?: Figure,
    }
    /// Something was set going that must stand a while before it is read: a pressure that is to hold, oil on the pistons.
    WaitStarted {
        /// The check.
        check: String,
        /// Where.
        position: Position,
        ;
        /// When in the life of the job; left out: as found.
        phase?: Phase,
    }
    /// A check was left out on purpose.
    ReadingSkipped {
        /// The check.
        check: String,
        /// Why.
        reason: String,
        ;
        /// Which reading; left out: all of them.
        reading?: String,
        /// Where; left out: everywhere.
        position?: Position,
        /// When in the life of the job.
        phase?: Phase,
    }
    /// A question about what is not the engine was answered.
    OutsideAnswered {
        /// The outside fault, an id of the knowledge.
        fault: String,
        /// The answer.
        answer: OutsideAnswer,
        /// How it was found out.
        how: String,
    }
    /// A residue was seen.
    ResidueSeen {
        /// Where on the engine.
        position: Position,
        /// The residue, an id of the knowledge.
        residue: String,
        ;
        /// The surface, a word of the knowledge such as `chamber`.
        place?: String,
        /// What each solvent did to it.
        dissolves?: BTreeMap<String, Dissolves>,
        /// Anything else.
        note?: String,
    }
    /// A picture was kept.
    PhotoKept {
        /// SHA-256 of the file, 64 small hexadecimal digits.
        sha256: String,
        /// What it shows.
        caption: String,
        /// Whether it is a drawing made by the program and not a photograph.
        drawn: bool,
        ;
        /// Where on the engine.
        position?: Position,
        /// The bag whose parts it shows.
        bag?: String,
    }
    /// The engine was opened as far as a stage.
    StageReached {
        /// The stage, an id of the knowledge.
        stage: String,
    }
    /// A caution was read and ticked.
    CautionTicked {
        /// The caution, an id of the knowledge.
        caution: String,
    }
    /// Small parts were bagged or marked so that they find back.
    PartBagged {
        /// What.
        part: String,
        /// The bag or cell.
        bag: String,
        ;
        /// Where it came from.
        position?: Position,
        /// How many.
        count?: u32,
        /// Marks made: number, direction.
        marks?: String,
        /// The joint that it was taken from, an id of the knowledge.
        joint?: String,
        /// The build stage that it goes back in at; left out: the one that puts its joint together.
        stage?: String,
        /// Whether each goes back to the very place it came from.
        own_place?: Known,
        /// The rule that says so, an id of the knowledge.
        keep?: String,
        ;
        /// The bolts of the joint that lie in it, by their number in the tightening sequence.
        from_bolts*: u16,
    }
    /// Advice was not followed.
    AdviceOverruled {
        /// What was advised, in the words shown.
        advice: String,
        /// Why not.
        reason: String,
    }

    // ---- Choose ----

    #[derive(Default)]
    /// The money that choices are made with; of several the later field wins.
    MoneyTold {
        ;
        /// Price of a billed hour in the shop.
        labour_rate?: Money,
        /// What a day standing costs the customer.
        standing_per_day?: Money,
        /// Tax on top, in per cent, as typed.
        tax_percent?: String,
        /// What the shop adds on parts, in per cent, as typed.
        parts_markup_percent?: String,
        /// What the engine or vehicle brings as scrap.
        scrap_value?: Money,
        /// What the tax is called where the shop stands.
        tax_name?: String,
        /// Whether the amounts of this job hold the tax already.
        prices?: Prices,
        /// Where the tax is rounded; left out: on the total.
        tax_by?: TaxBy,
        /// How it is rounded; left out: the middle away from zero.
        tax_rounding?: Rounding,
        ;
        /// What is taxed; none named: everything.
        taxed*: Charge,
    }
    #[derive(Default)]
    /// What the customer cannot go beyond; of several the later field wins.
    LimitsTold {
        ;
        /// The most that may be paid for putting it right.
        most?: Money,
        /// The day by which it must run.
        ready_by?: Date,
        /// A bill that may come in the bad case, everything included.
        bad_bill?: Money,
        /// Whether that bill could be borne.
        bears?: Known,
        /// Who said so.
        who?: String,
    }
    /// The customer was asked for a yes.
    ApprovalAsked {
        /// For what.
        covers: Covers,
        /// The ceiling asked for.
        ceiling: Money,
        /// How.
        how: Channel,
        /// The words used.
        words: String,
        ;
        /// SHA-256 of what the page showed ([`crate::asking::page_hash`]).
        page?: String,
        /// The repair option asked about.
        option?: String,
        /// The short code by which the answer comes back: seven signs, the last of them a check sign.
        code?: String,
        /// The day until which an answer is asked for.
        answer_by?: Date,
        ;
        /// What the page showed, fact by fact, so that it can be said what has changed since.
        shown*: ShownFact,
    }
    /// The customer said yes.
    ApprovalGiven {
        /// The most it may cost, everything included.
        ceiling: Money,
        /// For what.
        covers: Covers,
        /// Who said yes.
        who: String,
        /// How.
        how: Channel,
        /// The exact words.
        words: String,
        ;
        /// SHA-256 of the page it was said about.
        page?: String,
        /// The entry that asked.
        asked?: EntryId,
    }
    /// The customer said no.
    ApprovalRefused {
        /// To what.
        covers: Covers,
        /// Who said no.
        who: String,
        /// How.
        how: Channel,
        /// The exact words.
        words: String,
        ;
        /// The repair option refused.
        option?: String,
        /// The entry that asked.
        asked?: EntryId,
        /// SHA-256 of the page it was said about.
        page?: String,
    }
    /// Time was worked on the job.
    TimeWorked {
        /// How long, in hours or minutes.
        time: Figure,
        /// On what.
        what: String,
        ;
        /// What it counts against.
        covers?: Covers,
    }
    /// Money was spent on the job.
    CostBooked {
        /// For what.
        what: String,
        /// How much.
        amount: Money,
        ;
        /// To whom.
        supplier?: String,
        /// What it counts against.
        covers?: Covers,
    }
    /// A quote came in, for something needed or for a whole repair option.
    QuoteReceived {
        /// Who quotes.
        supplier: String,
        /// The price, without freight and deposit.
        price: Money,
        /// Days until it is here: at best and at worst.
        lead_days: [u32; 2],
        ;
        /// What is needed: an operation, part or option need of the knowledge.
        need?: String,
        /// The repair option it is for.
        option?: String,
        /// What the warranty is.
        warranty?: String,
        /// Months of warranty.
        warranty_months?: u32,
        /// Deposit that comes back with the old part.
        core_deposit?: Money,
        /// Freight.
        freight?: Money,
        /// The last day the price holds.
        valid_until?: Date,
        /// Mileage of a used engine, as told.
        used_odometer?: Figure,
        /// Anything else.
        note?: String,
        ;
        /// What the price includes.
        includes*: String,
    }
    /// A repair option was ruled out; it stays visible, struck out.
    OptionRuledOut {
        /// The option, an id of the knowledge.
        option: String,
        /// Why, in words.
        because: String,
        ;
        /// The entry that rules it out.
        entry?: EntryId,
        /// Where the fact is written that rules it out.
        source?: String,
    }
    /// A repair option was chosen.
    OptionChosen {
        /// The option, an id of the knowledge.
        option: String,
        /// Who chose.
        by: String,
        /// Why.
        reason: String,
        ; ;
        /// The quotes it is built on.
        quotes*: EntryId,
    }
    /// The reason the engine failed was named.
    CauseNamed {
        /// The cause, an id of the knowledge.
        cause: String,
        /// Who says so.
        by: String,
        ;
        /// On what grounds.
        because?: String,
    }
    /// Somebody signed that the reason is unknown.
    CauseUnknownSigned {
        /// Who signs.
        by: String,
        ;
        /// What was tried.
        because?: String,
    }

    // ---- Order ----

    /// A part was ordered.
    PartOrdered {
        /// The part, an id of the knowledge or the supplier's words.
        part: String,
        /// From whom.
        supplier: String,
        /// How many.
        quantity: u32,
        ;
        /// Price of all of them.
        price?: Money,
        /// The day promised.
        promised?: Date,
        /// The day it is needed.
        need_by?: Date,
        /// The quote it follows.
        quote?: EntryId,
        /// Deposit that comes back with the old part.
        core_deposit?: Money,
        /// The last day the old part is taken back.
        core_due?: Date,
        ;
        /// Of a kit or set: the parts that it holds, ids of the knowledge or words.
        holds*: String,
    }
    /// One look at an arrived part.
    ArrivalCheck {
        /// What was looked at.
        what: String,
        /// What it gave.
        result: ArrivalResult,
        ;
        /// Anything else.
        note?: String,
    }
    /// A part arrived.
    PartArrived {
        /// The part.
        part: String,
        ;
        /// The order it belongs to.
        order?: EntryId,
        /// How many arrived; left out: all.
        quantity?: u32,
        /// Batch or serial number.
        batch?: String,
        ;
        /// The looks taken.
        checks*: ArrivalCheck,
    }
    /// A part was fitted.
    PartFitted {
        /// The part.
        part: String,
        ;
        /// Where.
        position?: Position,
        /// Batch or serial number.
        batch?: String,
        /// The order it came with.
        order?: EntryId,
    }
    /// A part went back to its supplier.
    PartReturned {
        /// The part.
        part: String,
        /// Why it went back.
        why: ReturnKind,
        ;
        /// The order it came with or stands against.
        order?: EntryId,
        /// Anything else.
        note?: String,
        /// Whether a new one is to come in its place under the same order; left out: it is, unless it is an old part.
        again?: Known,
        /// Who pays for sending it back and for the time lost.
        pays?: Bearer,
    }
    /// One line of a machine order.
    MachineLine {
        /// What to do, an id of the knowledge.
        operation: String,
        /// Where.
        position: Position,
        ;
        /// As found.
        as_found?: Figure,
        /// What is wanted: the lower edge, or the one figure.
        want?: Figure,
        /// What is wanted: the upper edge.
        want_high?: Figure,
        /// What must be left.
        leave_at_least?: Figure,
        /// Anything else.
        note?: String,
    }
    /// A machine order went out.
    MachineOrderSent {
        /// To which machine shop.
        shop: String,
        /// The short code printed on it.
        code: String,
        ;
        /// The face or axis everything is measured from.
        datum?: String,
        /// The day it is needed.
        need_by?: Date,
        /// The day the machine shop promised it.
        promised?: Date,
        /// The quote it follows.
        quote?: EntryId,
        ;
        /// The lines.
        lines*: MachineLine,
    }
    /// One line of what came back from the machine shop.
    MachineReturn {
        /// What was asked.
        operation: String,
        /// Where.
        position: Position,
        /// What became of it.
        result: MachineResult,
        ;
        /// As left.
        as_left?: Figure,
        /// Standard uncertainty of that, where the machine shop states one.
        u?: Figure,
        /// Anything else.
        note?: String,
    }
    /// Machine work came back.
    MachineWorkReturned {
        /// The short code printed on the order.
        code: String,
        ;
        /// The order.
        order?: EntryId,
        /// Who did it.
        done_by?: String,
        ;
        /// The lines.
        lines*: MachineReturn,
    }

    // ---- Build ----

    /// A step of the build was done.
    BuildStepDone {
        /// The build stage, an id of the knowledge.
        stage: String,
        /// The step, its id or its number in the stage.
        step: String,
        ;
        /// Where.
        position?: Position,
        /// Anything else.
        note?: String,
    }
    /// A hold point was signed.
    HoldPointSigned {
        /// The build stage.
        stage: String,
        /// The hold point.
        hold: String,
        /// Who signs.
        by: String,
        ;
        /// The second pair of eyes.
        second?: String,
        /// What was measured.
        value?: Figure,
        /// Where.
        position?: Position,
        /// The reading it rests on.
        entry?: EntryId,
        /// The larger of two sizes whose difference is what was measured, such as a bore.
        outer?: Figure,
        /// The smaller of them, such as a journal.
        inner?: Figure,
    }
    /// A hold point was passed without its proof.
    HoldPointPassedOpen {
        /// The build stage.
        stage: String,
        /// The hold point.
        hold: String,
        /// Who answers for it.
        by: String,
        /// Why.
        reason: String,
    }
    /// A bag was asked back, and this became of it; of several the last holds.
    BagEmptied {
        /// The bag or cell, as it was named when it was filled.
        bag: String,
        /// What became of it.
        how: BagEnd,
        ;
        /// The build stage that asked for it.
        stage?: String,
        /// What is missing or damaged, or why it is not used again.
        words?: String,
    }
    /// A stage of the build is not touched by this work.
    StageLeftOut {
        /// The build stage.
        stage: String,
        /// Who answers for it.
        by: String,
        /// Why.
        reason: String,
    }
    /// Where one bolt of a joint stands.
    BoltAt {
        /// From the front along the engine, from any one point for all bolts of the joint.
        along: Figure,
        /// Across, from the same point.
        across: Figure,
        ;
        /// Whether its hole reaches into coolant or oil, so that it wants sealer.
        wet?: Known,
    }
    /// The bolts of a joint were set down where they stand.
    BoltsPlaced {
        /// The joint, an id of the knowledge.
        joint: String,
        ;
        /// Which head or cap; left out: every one of this joint.
        position?: Position,
        /// How the threads are wetted, as the engine's manual says, such as `engine oil` or `dry`.
        threads?: String,
        /// The manual.
        document?: String,
        /// Its page.
        page?: String,
        ;
        /// The bolts.
        bolts*: BoltAt,
        /// The manual's sequence: bolts by their place in the list above, from 1; left out: none was typed.
        sequence*: u16,
    }
    /// A bolt was tightened through one stage.
    BoltTightened {
        /// The joint, an id of the knowledge.
        joint: String,
        /// The bolt by its place in the tightening sequence, from 1.
        bolt: u16,
        /// The stage, from 1.
        stage: u16,
        ;
        /// Which head or cap, when there are several of this joint.
        position?: Position,
        /// Torque as set.
        torque?: Figure,
        /// Angle as turned.
        angle?: Figure,
        /// The mark on the wrench.
        label?: String,
        /// New or used.
        age?: BoltAge,
        /// Whether the stripe was drawn across bolt and flange.
        striped?: Known,
    }
    /// Tightening was interrupted and this bolt starts again.
    BoltRestarted {
        /// The joint.
        joint: String,
        /// The bolt.
        bolt: u16,
        /// The stage it starts again with.
        stage: u16,
        /// Why.
        reason: String,
        ;
        /// Which head or cap.
        position?: Position,
    }
    /// A finished joint was disturbed; its stripes are broken.
    JointDisturbed {
        /// The joint.
        joint: String,
        /// Why.
        reason: String,
        ;
        /// Which head or cap.
        position?: Position,
        /// The one bolt; left out: all of them.
        bolt?: u16,
    }

    // ---- Prove and hand back ----

    /// The engine was run.
    EngineRun {
        /// How.
        run: RunKind,
        ;
        /// How long.
        time?: Figure,
        /// How far.
        distance?: Figure,
        /// What was noticed.
        words?: String,
    }
    /// A paper left the shop.
    PaperIssued {
        /// Which.
        paper: Paper,
        /// SHA-256 of the file.
        sha256: String,
        /// Its revision letter, `A` first.
        revision: String,
        ;
        /// Which version of the knowledge it was judged by.
        knowledge?: String,
        /// The eight characters of the chain printed on it.
        tail?: String,
    }
    /// A look to take later.
    Recheck {
        /// What to look at.
        what: String,
        ;
        /// By which day.
        by_date?: Date,
        /// By which distance.
        by_distance?: Figure,
    }
    /// The engine went back to its owner.
    HandedBack {
        ;
        /// The first look to take.
        first_check?: Recheck,
        /// Months of warranty.
        warranty_months?: u32,
        /// What the warranty covers and what not.
        warranty?: String,
        /// Odometer at hand-back.
        odometer?: Figure,
        ;
        /// What was done.
        done*: String,
        /// What was not done.
        not_done*: String,
        /// What to watch for.
        watch_for*: String,
        /// Later looks.
        further_checks*: Recheck,
    }
    /// The engine came back.
    ComebackOpened {
        /// The customer's words.
        words: String,
        ;
        /// Odometer as shown.
        odometer?: Figure,
    }
    /// Who bears the comeback was decided.
    ComebackDecided {
        /// Who.
        bearer: Bearer,
        /// Why.
        because: String,
        ;
        /// The entry it rests on.
        entry?: EntryId,
    }
    /// What a condition turned out to be, for the shop's own odds.
    OutcomeFound {
        /// The condition, an id of the knowledge.
        condition: String,
        /// Where.
        position: Position,
        /// The state, a word of that condition.
        state: String,
        /// How it was found out.
        how: String,
    }
    /// The job ended.
    JobClosed {
        /// How.
        how: Ending,
        ;
        /// Anything else.
        words?: String,
    }
    /// What the shop kept about a customer was erased from the customer store.
    PersonalDataErased {
        /// The shop's code for the customer.
        customer: String,
        /// Who did it.
        by: String,
    }

    // ---- At any time ----

    /// A note.
    NoteWritten {
        /// The words.
        text: String,
        ;
        /// Where.
        position?: Position,
    }
    /// An entry is taken back; it stays in the record.
    EntryWithdrawn {
        /// Which entry.
        entry: EntryId,
        /// Why.
        reason: String,
    }
    /// An entry is put right; both stay in the record.
    EntryCorrected {
        /// Which entry, or a correction of it.
        entry: EntryId,
        /// The whole new body, of the same kind as the entry.
        body: Value,
        /// Why.
        reason: String,
        ;
        /// The version of the body; left out: the version of the entry.
        v?: u32,
    }
}

impl EngineFigure {
    /// Gives the service limit when nothing else was said.
    #[must_use]
    pub fn stands_for(&self) -> FigureFor {
        self.stands_for.unwrap_or(FigureFor::Service)
    }
}

impl Figure {
    /// Gives the number that the digits say, in the figure's unit; nothing where they can be read in no or in two ways.
    #[must_use]
    pub fn number(&self) -> Option<f64> {
        number_in(&self.text, &self.unit, &self.unit)
    }

    /// Gives the number that the digits say, in another unit; nothing where that measures something else.
    #[must_use]
    pub fn number_in(&self, unit: &str) -> Option<f64> {
        number_in(&self.text, &self.unit, unit)
    }

    /// Gives the thickest blade that entered anywhere along a straightedge, nought in the unit of the blades where none did;
    /// nothing for no stations.
    pub(crate) fn widest(stations: &[EdgeStation]) -> Option<Figure> {
        let thick = |f: &&Figure| f.number_in("mm").unwrap_or(0.0);
        let entered = stations.iter().filter_map(|s| s.enters.as_ref()).max_by(|a, b| thick(a).total_cmp(&thick(b)));
        let none = || {
            let unit = stations.iter().find_map(|s| s.refused.as_ref()).or(stations.first().map(|s| &s.along))?;
            Some(Figure { text: "0".to_owned(), unit: unit.unit.clone() })
        };
        entered.cloned().or_else(none)
    }

    /// Gives the oval that goes through three sizes 45 degrees apart, two digits beyond the finest of them; nothing for others.
    ///
    /// A size on the axis at angle `a` is `mean + oval / 2 * cos(2 (a - turned))`; three of them leave the oval as the root below.
    pub(crate) fn oval(axes: &[AxisSize]) -> Option<Figure> {
        let [across, slanting, along] = axes else { return None };
        let [d0, d45, d90] = [across, slanting, along].map(|axis| axis.size.number());
        let (half, off) = ((d0? - d90?) / 2.0, d45? - f64::midpoint(d0?, d90?));
        let after = |text: &str| text.split_once(['.', ',']).map_or(0, |(_, digits)| digits.len());
        let digits = axes.iter().map(|axis| after(axis.size.text.trim())).max()? + 2;
        Some(Figure { text: format!("{:.digits$}", 2.0 * half.hypot(off)), unit: across.size.unit.clone() })
    }

    /// Gives the mean of some figures of one unit, two digits beyond the finest of them; nothing for none.
    pub(crate) fn mean(figures: &[Figure]) -> Option<Figure> {
        let numbers: Vec<f64> = figures.iter().filter_map(Figure::number).collect();
        let n = u32::try_from(numbers.len()).ok().filter(|n| *n > 0)?;
        let after = |text: &str| text.split_once(['.', ',']).map_or(0, |(_, digits)| digits.len());
        let digits = figures.iter().map(|f| after(f.text.trim())).max()? + 2;
        let mean = numbers.iter().sum::<f64>() / f64::from(n);
        Some(Figure { text: format!("{mean:.digits$}"), unit: figures.first()?.unit.clone() })
    }
}

/// Gives what digits typed for one unit say in another; nothing where they can be read in no or in two ways, or where
/// the units do not measure the same.
#[must_use]
pub fn number_in(text: &str, typed_for: &str, unit: &str) -> Option<f64> {
    match quantity::parse_quantity(text, Some(quantity::Unit::from_symbol(typed_for).ok()?)).ok()? {
        quantity::Reply::Value(typed) => typed.value_in(quantity::Unit::from_symbol(unit).ok()?).ok(),
        quantity::Reply::Question(_) => None,
    }
}

impl MoneyTold {
    /// How tax is reckoned; nothing while the rate, or whether prices hold it, is not told, or where there is none.
    #[must_use]
    pub fn tax_rules(&self) -> Option<TaxRules> {
        let rate = part_of_one(self.tax_percent.as_deref()?).filter(|rate| !rate.is_zero())?;
        Some(TaxRules {
            rate,
            by: self.tax_by.unwrap_or_default(),
            prices: self.prices?,
            rounding: self.tax_rounding.unwrap_or_default(),
        })
    }

    /// Whether a charge is taxed.
    #[must_use]
    pub fn taxes(&self, charge: Charge) -> bool {
        self.taxed.is_empty() || self.taxed.contains(&charge)
    }

    /// What the tax is called here.
    #[must_use]
    pub fn tax_word(&self) -> &str {
        self.tax_name.as_deref().unwrap_or("tax")
    }
}
