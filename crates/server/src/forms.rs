//! A form for each kind of entry: its questions, and how the answers become the body.
//!
//! Questions stand in the order in which they are asked at the bench. What may be left out says so by not being asked
//! for first; an error comes back beside its field with everything that was typed.

use std::collections::BTreeMap;

use anatomy::{Arrangement, Fuel, Known, Metal, TimingDrive, ValveGear};
use knowledge::Knowledge;
use logbook::{
    ArrivalResult, Bearer, BoltAge, Bound, Channel, Covers, Ending, EntryBody, FigureFor, GoodReadings, JobState, Kind,
    MachineResult, OutsideAnswer, ReturnKind, RunKind,
};
use maud::{Markup, html};
use quantity::{Currency, MoneyReply, Unit, parse_money};
use serde_json::{Map, Value};
use workup::entering::{body_of, figure};

use crate::surroundings;
use crate::trouble::FieldTrouble;
use crate::words::{title, words};

/// What was typed into a form, field by field.
pub(crate) type Typed = BTreeMap<String, String>;

/// What a question wants for an answer.
#[derive(Debug, Clone)]
pub(crate) enum Ask {
    /// A few words.
    Line,
    /// Some sentences.
    Long,
    /// One thing a line.
    List,
    /// A day.
    Day,
    /// A whole number.
    Count,
    /// An amount with its currency.
    Money,
    /// A figure with its unit; the unit taken when none is typed.
    Figure(&'static str),
    /// One of a list: word and what is shown.
    Pick(Vec<(String, String)>),
    /// Given by the page, not asked.
    Fixed(String),
}

/// One question of a form.
#[derive(Debug, Clone)]
pub(crate) struct Field {
    /// Where the answer goes in the body; dots lead into it.
    pub(crate) name: &'static str,
    pub(crate) label: &'static str,
    pub(crate) ask: Ask,
    pub(crate) need: bool,
}

/// The answers that a question offers: word and what is shown.
type Choices = Vec<(String, String)>;

/// What a question wants, before a job is known.
#[derive(Clone, Copy)]
enum Wants {
    Line,
    Long,
    List,
    Day,
    Count,
    Money,
    Figure(&'static str),
    Pick(fn(&JobState, &Knowledge) -> Choices),
}

use Wants::{Count, Day, Figure, Line, List, Long, Money, Pick};

/// One question, before a job is known.
struct Asked {
    name: &'static str,
    label: &'static str,
    wants: Wants,
    need: bool,
}

const fn need(name: &'static str, label: &'static str, wants: Wants) -> Asked {
    Asked { name, label, wants, need: true }
}

const fn may(name: &'static str, label: &'static str, wants: Wants) -> Asked {
    Asked { name, label, wants, need: false }
}

fn pick<T: Copy>(all: &[T], word: impl Fn(T) -> &'static str) -> Choices {
    all.iter().map(|case| (word(*case).to_owned(), words(word(*case)))).collect()
}

fn ids<'k>(list: impl Iterator<Item = (&'k str, &'k str)>) -> Choices {
    list.map(|(id, name)| (id.to_owned(), name.to_owned())).collect()
}

fn known_or_not(_: &JobState, _: &Knowledge) -> Choices {
    pick(Known::ALL, Known::word)
}

fn covers(_: &JobState, _: &Knowledge) -> Choices {
    pick(Covers::ALL, Covers::word)
}

fn channels(_: &JobState, _: &Knowledge) -> Choices {
    pick(Channel::ALL, Channel::word)
}

fn places(state: &JobState, _: &Knowledge) -> Choices {
    let layout = state.layout.as_ref();
    layout.map_or_else(Vec::new, |l| l.all_positions().iter().map(|p| (p.address(), l.label(p))).collect())
}

fn gauges_laid(state: &JobState, _: &Knowledge) -> Choices {
    let shown = |(label, kind): (&String, &str)| (label.clone(), format!("{label} ({})", words(kind)));
    state.gauges.iter().map(|(label, g)| shown((label, &g.body.gauge))).collect()
}

fn orders(state: &JobState, _: &Knowledge) -> Choices {
    let shown = |part: &str, supplier: &str| format!("{} from {supplier}", words(part));
    state.orders.iter().map(|o| (o.in_entry.to_string(), shown(&o.part, &o.supplier))).collect()
}

fn machine_orders(state: &JobState, _: &Knowledge) -> Choices {
    state.machine_orders.iter().map(|o| (o.in_entry.to_string(), format!("{} at {}", o.code, o.shop))).collect()
}

fn asked(state: &JobState, _: &Knowledge) -> Choices {
    let shown = |covers: Covers, ceiling| format!("{}, {}", words(covers.word()), crate::words::amount(ceiling));
    state.approvals_asked.iter().map(|a| (a.in_entry.to_string(), shown(a.covers, &a.ceiling))).collect()
}

fn quotes(state: &JobState, _: &Knowledge) -> Choices {
    let shown = |supplier: &str, of: &str, price| format!("{supplier}, {}, {}", words(of), crate::words::amount(price));
    let of = |q: &logbook::QuoteReceived| q.need.clone().or_else(|| q.option.clone()).unwrap_or_default();
    state.quotes.iter().map(|q| (q.in_entry.to_string(), shown(&q.supplier, &of(q), &q.price))).collect()
}

fn steps(_: &JobState, k: &Knowledge) -> Choices {
    ids(k.steps.iter().map(|s| (s.id.as_str(), s.title.as_str())))
}

fn joints(_: &JobState, k: &Knowledge) -> Choices {
    ids(k.joints.iter().map(|j| (j.id.as_str(), j.name.as_str())))
}

fn operations(_: &JobState, k: &Knowledge) -> Choices {
    ids(k.operations.iter().map(|o| (o.id.as_str(), o.name.as_str())))
}

fn options(_: &JobState, k: &Knowledge) -> Choices {
    ids(k.options.iter().map(|o| (o.id.as_str(), o.name.as_str())))
}

/// The questions of each kind that has a form, in the order in which they are asked.
///
/// A kind that is not here comes about through a page of its own, through the command line, or not by hand at all.
static FORMS: &[(Kind, &[Asked])] = &[
    (
        Kind::JobOpened,
        &[
            need("title", "A few words to find it by", Line),
            may("customer", "Your code for the customer (no names)", Line),
            may("promised", "Day promised", Day),
        ],
    ),
    (
        Kind::ComplaintHeard,
        &[
            need("words", "The complaint, in the customer's own words", Long),
            may("when", "When does it show?", Line),
            may("how_long", "For how long already?", Line),
            may("done_since", "What was done since?", Line),
        ],
    ),
    (
        Kind::EngineDescribed,
        &[
            need(
                "layout.arrangement",
                "How the cylinders stand",
                Pick(|_, _| pick(Arrangement::ALL, Arrangement::word)),
            ),
            need("layout.cylinders", "How many cylinders", Count),
            need("layout.fuel", "Fuel", Pick(|_, _| pick(Fuel::ALL, Fuel::word))),
            need("layout.valve_gear", "Valve gear", Pick(|_, _| pick(ValveGear::ALL, ValveGear::word))),
            may("layout.valves_per_cylinder", "Valves in each cylinder", Count),
            may("layout.head_material", "Head", Pick(|_, _| pick(Metal::ALL, Metal::word))),
            may("layout.block_material", "Block", Pick(|_, _| pick(Metal::ALL, Metal::word))),
            may("layout.timing_drive", "Cam drive", Pick(|_, _| pick(TimingDrive::ALL, TimingDrive::word))),
            may("layout.interference", "Can an open valve meet a piston?", Pick(known_or_not)),
            may("layout.oil_cooler", "Oil cooler fitted?", Pick(known_or_not)),
            may("layout.front_note", "Where its front points in the vehicle", Line),
            may("maker", "Maker", Line),
            may("family", "Engine type", Line),
            may("number", "Number on the block", Line),
        ],
    ),
    (
        Kind::VehicleDescribed,
        &[
            may("make", "Make", Line),
            may("model", "Model", Line),
            may("plate", "Plate", Line),
            may("vin", "Vehicle identification number", Line),
            may("year", "Model year", Count),
            may("odometer", "Odometer as shown (with unit)", Figure("km")),
            may("odometer_believed", "Can it be believed?", Pick(known_or_not)),
            may("value", "Worth in running order", Money),
            may("horizon_months", "Months the owner wants to keep it", Count),
            may("miles_per_year", "Miles in a year", Count),
        ],
    ),
    (
        Kind::AttributeTold,
        &[
            need("attribute", "What", Pick(|_, k| ids(k.attributes.iter().map(|x| (x.id.as_str(), x.plain.as_str()))))),
            need("value", "Answer", Line),
            may("told_by", "Told by", Line),
        ],
    ),
    (Kind::PromiseMade, &[need("promised", "Day promised", Day), may("words", "What was said", Line)]),
    (Kind::CustomerTold, &[need("words", "What was said or sent", Long), need("how", "How", Pick(channels))]),
    (
        Kind::MoneyTold,
        &[
            may("labour_rate", "Price of a billed hour", Money),
            may("standing_per_day", "What a day standing costs the customer", Money),
            may("tax_percent", "Tax on top, per cent", Line),
            may("parts_markup_percent", "Added on parts, per cent", Line),
            may("scrap_value", "Scrap value", Money),
        ],
    ),
    (
        Kind::EngineFigureSet,
        &[
            need("item", "Which figure", Pick(|_, k| ids(k.limits.iter().map(|x| (x.id.as_str(), x.name.as_str()))))),
            need("bound", "It is", Pick(|_, _| pick(Bound::ALL, Bound::word))),
            need("text", "Figure, digits as printed", Line),
            may("text_high", "Upper figure of a range", Line),
            need("unit", "Unit", Line),
            may("stands_for", "Meant for", Pick(|_, _| pick(FigureFor::ALL, FigureFor::word))),
            may("at", "Only for this place", Pick(places)),
            need("document", "Document", Line),
            need("page", "Page", Line),
        ],
    ),
    (
        Kind::GaugeDescribed,
        &[
            need("gauge", "Kind of gauge", Pick(|_, k| ids(k.gauges.iter().map(|x| (x.id.as_str(), x.name.as_str()))))),
            need("label", "Mark on it", Line),
            may("u", "Its own standard uncertainty (with unit)", Figure("")),
            may("zero_checked", "Zero checked?", Pick(known_or_not)),
            may("calibrated", "Last calibrated", Day),
            may("note", "Note", Line),
        ],
    ),
    (
        Kind::GaugeDoubted,
        &[
            need("label", "Gauge", Pick(gauges_laid)),
            need("reason", "Why it is doubted", Line),
            may("off_by", "Off by (with unit)", Figure("")),
        ],
    ),
    (
        Kind::GaugeCleared,
        &[
            need("label", "Gauge", Pick(gauges_laid)),
            need("how", "How it was found good", Line),
            need("good", "Which readings are good", Pick(|_, _| pick(GoodReadings::ALL, GoodReadings::word))),
        ],
    ),
    (
        Kind::ReadingSkipped,
        &[
            need("check", "Check", Pick(|_, k| ids(k.checks.iter().map(|x| (x.id.as_str(), x.name.as_str()))))),
            may("position", "Where (left out: everywhere)", Pick(places)),
            need("reason", "Why it is left out", Line),
        ],
    ),
    (
        Kind::OutsideAnswered,
        &[
            need("fault", "What", Pick(|_, k| ids(k.outside.iter().map(|x| (x.id.as_str(), x.name.as_str()))))),
            need("answer", "Answer", Pick(|_, _| pick(OutsideAnswer::ALL, OutsideAnswer::word))),
            need("how", "How it was found out", Line),
        ],
    ),
    (
        Kind::ResidueSeen,
        &[
            need("position", "Where", Pick(places)),
            need(
                "residue",
                "Residue",
                Pick(|_, k| {
                    k.residues.iter().map(|r| (r.id.clone(), format!("{} ({})", title(&r.id), r.colour))).collect()
                }),
            ),
            may("place", "Surface", Pick(|_, k| ids(k.places.iter().map(|x| (x.id.as_str(), x.name.as_str()))))),
            may("note", "Note", Line),
        ],
    ),
    (
        Kind::StageReached,
        &[need(
            "stage",
            "The engine is now",
            Pick(|_, k| k.stages.iter().map(|s| (s.id.clone(), words(&s.id))).collect()),
        )],
    ),
    (
        Kind::CautionTicked,
        &[need("caution", "Caution", Pick(|_, k| k.cautions.iter().map(|c| (c.id.clone(), words(&c.id))).collect()))],
    ),
    (
        Kind::PartBagged,
        &[
            need("part", "What", Line),
            need("bag", "Bag or cell", Line),
            may("count", "How many", Count),
            may("position", "Where it came from", Pick(places)),
            may("marks", "Marks made", Line),
        ],
    ),
    (Kind::AdviceOverruled, &[need("advice", "What was advised", Line), need("reason", "Why not", Line)]),
    (
        Kind::ApprovalAsked,
        &[
            need("covers", "For what", Pick(covers)),
            need("ceiling", "Ceiling asked for", Money),
            need("how", "How", Pick(channels)),
            need("words", "The words used", Long),
            may("option", "Repair option", Pick(options)),
        ],
    ),
    (
        Kind::ApprovalGiven,
        &[
            need("covers", "For what", Pick(covers)),
            need("ceiling", "The most it may cost, all in", Money),
            need("who", "Who said yes", Line),
            need("how", "How", Pick(channels)),
            need("words", "The exact words", Long),
            may("asked", "Answers the question", Pick(asked)),
        ],
    ),
    (
        Kind::ApprovalRefused,
        &[
            need("covers", "To what", Pick(covers)),
            need("who", "Who said no", Line),
            need("how", "How", Pick(channels)),
            need("words", "The exact words", Long),
            may("option", "Repair option", Pick(options)),
            may("asked", "Answers the question", Pick(asked)),
        ],
    ),
    (
        Kind::TimeWorked,
        &[
            need("time", "How long", Figure("h")),
            need("what", "On what", Line),
            may("covers", "Counts against", Pick(covers)),
        ],
    ),
    (
        Kind::CostBooked,
        &[
            need("what", "For what", Line),
            need("amount", "How much", Money),
            may("supplier", "To whom", Line),
            may("covers", "Counts against", Pick(covers)),
        ],
    ),
    (
        Kind::QuoteReceived,
        &[
            need("supplier", "Who quotes", Line),
            need("price", "Price, without freight and deposit", Money),
            need("lead_days.0", "Days at best", Count),
            need("lead_days.1", "Days at worst", Count),
            may("option", "For a whole repair option", Pick(options)),
            may("need", "Or for one thing needed", Line),
            may("freight", "Freight", Money),
            may("core_deposit", "Deposit on the old part", Money),
            may("warranty_months", "Months of warranty", Count),
            may("valid_until", "Holds until", Day),
            may("used_odometer", "Mileage of a used engine, as told", Figure("km")),
            may("includes", "Includes, one a line", List),
        ],
    ),
    (
        Kind::OptionRuledOut,
        &[
            need("option", "Repair option", Pick(options)),
            need("because", "Why", Line),
            may("source", "Where that is written", Line),
        ],
    ),
    (
        Kind::OptionChosen,
        &[
            need("option", "Repair option", Pick(options)),
            need("by", "Who chooses", Line),
            need("reason", "Why", Line),
            may("quotes.0", "On which quote", Pick(quotes)),
        ],
    ),
    (
        Kind::CauseNamed,
        &[
            need("cause", "Why it failed", Pick(|_, k| ids(k.causes.iter().map(|x| (x.id.as_str(), x.name.as_str()))))),
            need("by", "Who says so", Line),
            may("because", "On what grounds", Line),
        ],
    ),
    (
        Kind::CauseUnknownSigned,
        &[need("by", "Who signs that it is unknown", Line), may("because", "What was tried", Line)],
    ),
    (
        Kind::PartOrdered,
        &[
            need("part", "Part", Line),
            need("supplier", "From whom", Line),
            need("quantity", "How many", Count),
            may("price", "Price of all of them", Money),
            may("quote", "Follows the quote", Pick(quotes)),
            may("promised", "Day promised", Day),
            may("need_by", "Day needed", Day),
            may("core_deposit", "Deposit on the old part", Money),
            may("core_due", "Old part taken back until", Day),
        ],
    ),
    (
        Kind::PartArrived,
        &[
            need("part", "Part", Line),
            may("order", "The order it belongs to", Pick(orders)),
            may("quantity", "How many (left out: all)", Count),
            may("batch", "Batch or serial number", Line),
            may("checks.0.what", "First look: at what", Line),
            may("checks.0.result", "First look: result", Pick(|_, _| pick(ArrivalResult::ALL, ArrivalResult::word))),
            may("checks.1.what", "Second look: at what", Line),
            may("checks.1.result", "Second look: result", Pick(|_, _| pick(ArrivalResult::ALL, ArrivalResult::word))),
        ],
    ),
    (
        Kind::PartFitted,
        &[
            need("part", "Part", Line),
            may("position", "Where", Pick(places)),
            may("batch", "Batch or serial number", Line),
            may("order", "The order it came with", Pick(orders)),
        ],
    ),
    (
        Kind::PartReturned,
        &[
            need("part", "Part", Line),
            need("why", "Why it goes back", Pick(|_, _| pick(ReturnKind::ALL, ReturnKind::word))),
            may("order", "The order it came with", Pick(orders)),
            may("note", "Note", Line),
        ],
    ),
    (
        Kind::MachineOrderSent,
        &[
            need("shop", "To which machine shop", Line),
            need("code", "Short code on the order", Line),
            may("quote", "Follows the quote", Pick(quotes)),
            may("datum", "Face or axis all is measured from", Line),
            may("need_by", "Day needed", Day),
            may("lines.0.operation", "What to do", Pick(operations)),
            may("lines.0.position", "Where", Pick(places)),
            may("lines.0.as_found", "As found (with unit)", Figure("")),
            may("lines.0.want", "Wanted, or its lower edge", Figure("")),
            may("lines.0.want_high", "Upper edge", Figure("")),
            may("lines.0.leave_at_least", "What must be left", Figure("")),
            may("lines.0.note", "Note", Line),
        ],
    ),
    (
        Kind::MachineWorkReturned,
        &[
            need("code", "Short code on the order", Line),
            may("order", "The order", Pick(machine_orders)),
            may("done_by", "Who did it", Line),
            may("lines.0.operation", "What was asked", Pick(operations)),
            may("lines.0.position", "Where", Pick(places)),
            may("lines.0.result", "What became of it", Pick(|_, _| pick(MachineResult::ALL, MachineResult::word))),
            may("lines.0.as_left", "As left (with unit)", Figure("")),
            may("lines.0.note", "Note", Line),
        ],
    ),
    (
        Kind::BuildStepDone,
        &[
            need("stage", "Stage of the build", Pick(steps)),
            need("step", "Step", Line),
            may("position", "Where", Pick(places)),
            may("note", "Note", Line),
        ],
    ),
    (
        Kind::HoldPointSigned,
        &[
            need("stage", "Stage of the build", Pick(steps)),
            need("hold", "Hold point", Line),
            need("by", "Who signs", Line),
            may("second", "Second pair of eyes", Line),
            may("value", "What was measured (with unit)", Figure("")),
            may("position", "Where", Pick(places)),
        ],
    ),
    (
        Kind::HoldPointPassedOpen,
        &[
            need("stage", "Stage of the build", Pick(steps)),
            need("hold", "Hold point", Line),
            need("by", "Who answers for it", Line),
            need("reason", "Why it is passed without proof", Line),
        ],
    ),
    (
        Kind::BoltTightened,
        &[
            need("joint", "Joint", Pick(joints)),
            may("position", "Which head or cap", Pick(places)),
            need("bolt", "Bolt, by the tightening sequence", Count),
            need("stage", "Stage", Count),
            may("torque", "Torque as set", Figure("N·m")),
            may("angle", "Angle as turned", Figure("°")),
            may("label", "Mark on the wrench", Line),
            may("age", "Bolt is", Pick(|_, _| pick(BoltAge::ALL, BoltAge::word))),
            may("striped", "Stripe drawn across bolt and flange?", Pick(known_or_not)),
        ],
    ),
    (
        Kind::BoltRestarted,
        &[
            need("joint", "Joint", Pick(joints)),
            may("position", "Which head or cap", Pick(places)),
            need("bolt", "Bolt", Count),
            need("stage", "Starts again with stage", Count),
            need("reason", "Why", Line),
        ],
    ),
    (
        Kind::JointDisturbed,
        &[
            need("joint", "Joint", Pick(joints)),
            may("position", "Which head or cap", Pick(places)),
            may("bolt", "The one bolt (left out: all)", Count),
            need("reason", "Why", Line),
        ],
    ),
    (
        Kind::EngineRun,
        &[
            need("run", "How it was run", Pick(|_, _| pick(RunKind::ALL, RunKind::word))),
            may("time", "How long", Figure("min")),
            may("distance", "How far", Figure("km")),
            may("words", "What was noticed", Long),
        ],
    ),
    (
        Kind::HandedBack,
        &[
            may("done", "Done, one a line", List),
            may("not_done", "Not done, one a line", List),
            may("watch_for", "Watch for, one a line", List),
            may("first_check.what", "First look to take", Line),
            may("first_check.by_date", "By which day", Day),
            may("first_check.by_distance", "By which distance", Figure("km")),
            may("warranty_months", "Months of warranty", Count),
            may("warranty", "What the warranty covers and what not", Long),
            may("odometer", "Odometer at hand-back", Figure("km")),
        ],
    ),
    (
        Kind::ComebackOpened,
        &[need("words", "The customer's words", Long), may("odometer", "Odometer as shown", Figure("km"))],
    ),
    (
        Kind::ComebackDecided,
        &[need("bearer", "Who bears it", Pick(|_, _| pick(Bearer::ALL, Bearer::word))), need("because", "Why", Line)],
    ),
    (
        Kind::OutcomeFound,
        &[
            need(
                "condition",
                "Condition",
                Pick(|_, k| ids(k.conditions.iter().map(|x| (x.id.as_str(), x.name.as_str())))),
            ),
            need("position", "Where", Pick(places)),
            need("state", "What it turned out to be", Line),
            need("how", "How it was found out", Line),
        ],
    ),
    (
        Kind::JobClosed,
        &[
            need("how", "How the job ends", Pick(|_, _| pick(Ending::ALL, Ending::word))),
            may("words", "Anything else", Line),
        ],
    ),
    (Kind::NoteWritten, &[need("text", "Note", Long), may("position", "Where on the engine", Pick(places))]),
    (Kind::EntryWithdrawn, &[need("entry", "Entry", Line), need("reason", "Why it is taken back", Line)]),
];

/// The questions of a kind, with the answers that this job allows.
pub(crate) fn fields(kind: Kind, state: &JobState, knowledge: &Knowledge) -> Vec<Field> {
    let asked = FORMS.iter().find(|(its, _)| *its == kind).map_or(&[][..], |(_, asked)| asked);
    asked
        .iter()
        .filter_map(|a| {
            let ask = match a.wants {
                Line => Ask::Line,
                Long => Ask::Long,
                List => Ask::List,
                Day => Ask::Day,
                Count => Ask::Count,
                Money => Ask::Money,
                Figure(unit) => Ask::Figure(unit),
                Pick(choices) => match choices(state, knowledge) {
                    // Nothing to choose from yet: what must be answered is written, the rest is not asked.
                    none if none.is_empty() && a.need => Ask::Line,
                    none if none.is_empty() => return None,
                    some => Ask::Pick(some),
                },
            };
            Some(Field { name: a.name, label: a.label, ask, need: a.need })
        })
        .collect()
}

/// Whether a kind is written by a button too, beside which nothing can be said when it is refused.
pub(crate) fn by_button(kind: Kind) -> bool {
    matches!(kind, Kind::BuildStepDone | Kind::StageReached | Kind::CautionTicked | Kind::OutsideAnswered)
}

/// Reads a form into the body of its kind, or says field by field what does not fit.
pub(crate) fn body(
    kind: Kind,
    state: &JobState,
    knowledge: &Knowledge,
    typed: &Typed,
) -> Result<EntryBody, Vec<FieldTrouble>> {
    let fields = fields(kind, state, knowledge);
    if fields.is_empty() {
        return Err(vec![FieldTrouble::new("kind", format!("{} is not written by a form", kind.word()))]);
    }
    let currency = state.rates.labour_rate.as_ref().map(quantity::Money::currency);
    let mut errors = Vec::new();
    let mut root = Value::Object(Map::new());
    for field in &fields {
        let text = typed.get(field.name).map_or("", |t| t.trim());
        if text.is_empty() {
            if field.need {
                errors.push(FieldTrouble::new(field.name, format!("{} is not answered; it is needed", field.label)));
            }
            continue;
        }
        match answer(&field.ask, text, currency) {
            Ok(value) => put(&mut root, field.name, value),
            Err(why) => errors.push(FieldTrouble::new(field.name, why)),
        }
    }
    if !errors.is_empty() {
        return Err(errors);
    }
    body_of(kind, &root, state, knowledge).map_err(|why| {
        let mut error = crate::entering::field(&why);
        if fields.iter().all(|f| f.name != error.field) {
            // What does not fit is named in the sentence; it stands beside that field.
            let named = fields.iter().find(|f| error.message.contains(f.name.rsplit('.').next().unwrap_or(f.name)));
            named.map_or("form", |f| f.name).clone_into(&mut error.field);
        }
        vec![error]
    })
}

/// One answer as it stands in a body.
fn answer(ask: &Ask, text: &str, currency: Option<Currency>) -> Result<Value, String> {
    let json = |made: Result<Value, serde_json::Error>| made.map_err(|e| e.to_string());
    match ask {
        Ask::Line | Ask::Long | Ask::Pick(_) | Ask::Fixed(_) => Ok(Value::from(text)),
        Ask::List => Ok(text.lines().map(str::trim).filter(|l| !l.is_empty()).map(Value::from).collect()),
        Ask::Day => match text.parse::<jiff::civil::Date>() {
            Ok(day) => Ok(Value::from(day.to_string())),
            Err(_) => Err(format!("`{text}` is no day; write it as 2026-03-14")),
        },
        Ask::Count => {
            text.parse::<u32>().map(Value::from).map_err(|_| format!("`{text}` is no whole number; type digits only"))
        }
        Ask::Money => match parse_money(text, currency) {
            Ok(MoneyReply::Value(money)) => json(serde_json::to_value(money)),
            Ok(MoneyReply::Question { ask, .. }) => Err(ask),
            Err(error) => Err(error.to_string()),
        },
        Ask::Figure(unit) => {
            let unit = if unit.is_empty() { None } else { Unit::from_symbol(unit).ok() };
            json(serde_json::to_value(figure("value", text, unit).map_err(|e| e.to_string())?))
        }
    }
}

/// Puts a value where a dotted name leads; a number in it is a place in a list.
fn put(at: &mut Value, name: &str, value: Value) {
    let (first, rest) = name.split_once('.').map_or((name, None), |(first, rest)| (first, Some(rest)));
    let inner = match first.parse::<usize>() {
        Ok(place) => {
            if !at.is_array() {
                *at = Value::Array(Vec::new());
            }
            let Value::Array(list) = at else { return };
            while list.len() <= place {
                list.push(Value::Null);
            }
            list.get_mut(place)
        }
        Err(_) => {
            if !at.is_object() {
                *at = Value::Object(Map::new());
            }
            let Value::Object(map) = at else { return };
            Some(map.entry(first.to_owned()).or_insert(Value::Null))
        }
    };
    let Some(inner) = inner else { return };
    match rest {
        None => *inner = value,
        Some(rest) => put(inner, rest, value),
    }
}

/// A form as it is shown.
#[derive(Debug)]
pub(crate) struct Form<'a> {
    /// Where it is sent.
    pub(crate) action: String,
    pub(crate) fields: Vec<Field>,
    pub(crate) typed: &'a Typed,
    pub(crate) errors: &'a [FieldTrouble],
    /// The page that follows.
    pub(crate) back: String,
    /// What the button says.
    pub(crate) button: &'a str,
}

impl Form<'_> {
    /// The form with its fields, what was typed, and what was wrong with it.
    pub(crate) fn show(&self) -> Markup {
        let id = surroundings::new_entry();
        html! {
            form.ask method="post" action=(self.action) data-once="" {
                input type="hidden" name="entry" value=(id);
                input type="hidden" name="back" value=(self.back);
                @if !self.errors.is_empty() {
                    div.wrong role="alert" {
                        b { "Not kept yet. " }
                        "Everything typed is still here."
                        ul {
                            @for e in self.errors {
                                li { (e.message) }
                            }
                        }
                    }
                }
                @for f in &self.fields { (self.field(f, &id.to_string())) }
                button type="submit" { (self.button) }
            }
        }
    }

    fn field(&self, f: &Field, form: &str) -> Markup {
        let there = self.typed.get(f.name).map_or("", String::as_str);
        let wrong = self.errors.iter().find(|e| e.field == f.name);
        let id = format!("f-{}-{}", form.get(24..).unwrap_or(form), f.name);
        let hint = format!("{id}-wrong");
        let label = html! {
            label for=(id) {
                (f.label)
                @if !f.need {
                    span.may { " (may be left out)" }
                }
            }
        };
        if let Ask::Fixed(value) = &f.ask {
            return html! {
                input type="hidden" name=(f.name) value=(value);
            };
        }
        html! {
            div class=(if wrong.is_some() { "field bad" } else { "field" }) {
                (label)
                @if let Some(e) = wrong {
                    p.wrongline id=(hint) { (e.message) }
                }
                @match &f.ask {
                    Ask::Long | Ask::List => textarea
                        id=(id)
                        name=(f.name)
                        rows="3"
                        required[f.need]
                        aria-describedby=[wrong.map(|_| &hint)]
                    { (there) },
                    Ask::Figure(unit) => span.with-unit {
                        (self.input(f, &id, wrong.map(|_| hint.as_str())))
                        @if !unit.is_empty() {
                            span.unit { (unit) }
                        }
                    },
                    Ask::Line | Ask::Money | Ask::Count | Ask::Day => ({
                        self.input(f, &id, wrong.map(|_| hint.as_str()))
                    }),
                    Ask::Pick(list) => select
                        id=(id)
                        name=(f.name)
                        required[f.need]
                        aria-describedby=[wrong.map(|_| &hint)]
                    {
                        option value="" { "–" }
                        @for (word, shown) in list {
                            option value=(word) selected[word == there] { (shown) }
                        }
                    },
                    Ask::Fixed(_) => "",
                }
            }
        }
    }
    /// A field of one line.
    fn input(&self, f: &Field, id: &str, hint: Option<&str>) -> Markup {
        let (kind, mode, pattern, example) = match f.ask {
            Ask::Day => ("date", None, None, None),
            Ask::Count => ("text", Some("numeric"), Some("[0-9]*"), None),
            Ask::Money => ("text", None, None, Some("EUR 120")),
            Ask::Line | Ask::Figure(_) | Ask::Long | Ask::List | Ask::Pick(_) | Ask::Fixed(_) => {
                ("text", None, None, None)
            }
        };
        html! {
            input
                type=(kind)
                inputmode=[mode]
                pattern=[pattern]
                placeholder=[example]
                id=(id)
                name=(f.name)
                value=(self.typed.get(f.name).map_or("", String::as_str))
                required[f.need]
                aria-describedby=[hint];
        }
    }
}
