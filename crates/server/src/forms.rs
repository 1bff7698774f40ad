//! A form for each kind of entry: its questions, and how the answers become the body.
//!
//! Questions stand in the order in which they are asked at the bench. What may be left out says so by not being asked
//! for first; an error comes back beside its field with everything that was typed.

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};

use anatomy::{
    Arrangement, BoreKind, End, Follower, Fuel, GasketKind, HeadDivision, Induction, Known, Liner, Metal, Scope,
    SeatKind, TimingDrive, ValveGear, Working,
};
use knowledge::Knowledge;
use logbook::{
    ArrivalResult, BagEnd, Bearer, BoltAge, Bound, Channel, Covers, Dissolves, Ending, EntryBody, FigureFor,
    GoodReadings, JobState, Kind, OutsideAnswer, Phase, ReadingValue, ReturnKind, RunKind,
};
use maud::{Markup, html};
use quantity::{Charge, Currency, MoneyReply, Prices, Rounding, TaxBy, Unit, parse_money};
use serde_json::{Map, Value};
use workup::entering::{body_of, figure};

use crate::surroundings;
use crate::trouble::FieldTrouble;
use crate::words::{title, words};

/// The field of an entry that a body points at; `entry` itself is the id of the form's own entry.
const ON_ENTRY: &str = "on-entry";

fn in_body(name: &str) -> &str {
    if name == ON_ENTRY { "entry" } else { name }
}

/// What was typed into a form, field by field.
pub(crate) type Typed = BTreeMap<String, String>;

/// What a question wants for an answer.
#[derive(Debug, Clone)]
pub(crate) enum Ask {
    /// A few words.
    Line,
    /// A few words, with some that are often meant.
    Suggest(Vec<String>),
    /// A mark; the number proposed where none is typed.
    Numbered(u32),
    /// Some sentences.
    Long,
    /// One thing a line.
    List,
    /// Bolts, one a line: along, across, and `wet` where the hole is.
    Bolts,
    /// Whole numbers, in sequence.
    Counts,
    /// Any of some numbers, each with a box to tick.
    Ticks(Vec<u16>),
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
    /// Any of a list, each with a box to tick.
    Several(Vec<(String, String)>),
    /// Given by the page, not asked.
    Fixed(String),
}

/// One question of a form.
#[derive(Debug, Clone)]
pub(crate) struct Field {
    /// Where the answer goes in the body; dots lead into it.
    pub(crate) name: Cow<'static, str>,
    pub(crate) label: Cow<'static, str>,
    pub(crate) ask: Ask,
    pub(crate) need: bool,
    /// Seldom asked: stands in the fold below the others.
    pub(crate) rare: bool,
}

pub(crate) fn need(name: impl Into<Cow<'static, str>>, label: impl Into<Cow<'static, str>>, ask: Ask) -> Field {
    Field { name: name.into(), label: label.into(), ask, need: true, rare: false }
}

pub(crate) fn may(name: impl Into<Cow<'static, str>>, label: impl Into<Cow<'static, str>>, ask: Ask) -> Field {
    Field { name: name.into(), label: label.into(), ask, need: false, rare: false }
}

pub(crate) fn rare(name: impl Into<Cow<'static, str>>, label: impl Into<Cow<'static, str>>, ask: Ask) -> Field {
    Field { name: name.into(), label: label.into(), ask, need: false, rare: true }
}

pub(crate) fn pick<T: Copy>(all: &[T], word: impl Fn(T) -> &'static str) -> Ask {
    Ask::Pick(all.iter().map(|case| (word(*case).to_owned(), words(word(*case)))).collect())
}

fn several<T: Copy>(all: &[T], word: impl Fn(T) -> &'static str) -> Ask {
    Ask::Several(all.iter().map(|case| (word(*case).to_owned(), words(word(*case)))).collect())
}

fn ids<'k>(list: impl Iterator<Item = (&'k str, &'k str)>) -> Ask {
    Ask::Pick(list.map(|(id, name)| (id.to_owned(), name.to_owned())).collect())
}

/// The looks at something that arrived, as the form counts them; no part wants more.
const LOOKS: [&str; 12] = [
    "First", "Second", "Third", "Fourth", "Fifth", "Sixth", "Seventh", "Eighth", "Ninth", "Tenth", "Eleventh",
    "Twelfth",
];

fn looked() -> Ask {
    pick(ArrivalResult::ALL, ArrivalResult::word)
}

/// The field by which a form says that its looks were named by the page, so that those without a result were not taken.
const LOOKS_NAMED: &str = "looks-named";

/// The questions about something that arrived, with the looks that it wants; `given` are the answers of the page.
pub(crate) fn arrival(
    state: &JobState,
    knowledge: &Knowledge,
    looks: &[String],
    given: &[(&'static str, String)],
) -> Vec<Field> {
    let mut fields: Vec<Field> = fields(Kind::PartArrived, state, knowledge);
    fields.retain(|f| !f.name.starts_with("checks."));
    for (name, value) in given {
        for field in fields.iter_mut().filter(|f| f.name == *name) {
            field.ask = Ask::Fixed(value.clone());
        }
    }
    fields.push(may(LOOKS_NAMED, "", Ask::Fixed("yes".to_owned())));
    for (n, look) in looks.iter().take(LOOKS.len()).enumerate() {
        fields.push(may(format!("checks.{n}.what"), "", Ask::Fixed(look.clone())));
        fields.push(may(format!("checks.{n}.result"), title(look), looked()));
        fields.push(rare(format!("checks.{n}.note"), format!("Note: {look}"), Ask::Line));
    }
    // One more, for what only the eye finds.
    let n = looks.len();
    if n < LOOKS.len() {
        fields.push(rare(format!("checks.{n}.what"), "Anything else looked at", Ask::Line));
        fields.push(rare(format!("checks.{n}.result"), "What that gave", looked()));
        fields.push(rare(format!("checks.{n}.note"), "Note on it", Ask::Line));
    }
    fields
}

/// Without the looks that the page named and nobody took.
fn looks_taken(typed: &Typed) -> Cow<'_, Typed> {
    if !typed.contains_key(LOOKS_NAMED) {
        return Cow::Borrowed(typed);
    }
    let mut out = typed.clone();
    for n in 0..LOOKS.len() {
        let blank = |field: &str| typed.get(&format!("checks.{n}.{field}")).is_none_or(|t| t.trim().is_empty());
        if blank("result") && blank("note") {
            out.remove(&format!("checks.{n}.what"));
        }
    }
    Cow::Owned(out)
}

pub(crate) fn places(state: &JobState) -> Ask {
    state.layout.as_ref().map_or(Ask::Line, |layout| {
        Ask::Pick(layout.all_positions().iter().map(|p| (p.address(), layout.label(p))).collect())
    })
}

/// Places that are bolted on: heads, caps, cams.
fn caps(state: &JobState) -> Ask {
    let bolted =
        |p: &anatomy::Position| matches!(p.scope(), Scope::Bank | Scope::MainBearing | Scope::RodBearing | Scope::Cam);
    state.layout.as_ref().map_or(Ask::Line, |layout| {
        let all = layout.all_positions();
        Ask::Pick(all.iter().filter(|p| bolted(p)).map(|p| (p.address(), layout.label(p))).collect())
    })
}

fn gauges_laid(state: &JobState) -> Ask {
    let list: Vec<(String, String)> =
        state.gauges.iter().map(|(label, g)| (label.clone(), format!("{label} ({})", words(&g.body.gauge)))).collect();
    if list.is_empty() { Ask::Line } else { Ask::Pick(list) }
}

fn orders(state: &JobState, knowledge: &Knowledge) -> Ask {
    Ask::Pick(
        state
            .orders
            .iter()
            .map(|o| {
                (o.in_entry.to_string(), format!("{} from {}", crate::pages::part_name(knowledge, &o.part), o.supplier))
            })
            .collect(),
    )
}

fn steps(knowledge: &Knowledge) -> Ask {
    ids(knowledge.steps.iter().map(|s| (s.id.as_str(), s.title.as_str())))
}

fn joints(knowledge: &Knowledge) -> Ask {
    ids(knowledge.joints.iter().map(|j| (j.id.as_str(), j.name.as_str())))
}

/// The rules of what keeps its place, each as the trade says it.
fn keeps(knowledge: &Knowledge) -> Ask {
    Ask::Pick(knowledge.keeps.iter().map(|k| (k.id.clone(), format!("{}: {}", k.part, k.words))).collect())
}

fn bags(state: &JobState) -> Ask {
    let shown = |bag: &workup::bags::Bag<'_>| (bag.mark.to_owned(), format!("{}: {}", bag.mark, bag.holds()));
    let list: Vec<(String, String)> = workup::bags::all(state).iter().map(shown).collect();
    if list.is_empty() { Ask::Line } else { Ask::Pick(list) }
}

fn options(state: &JobState, knowledge: &Knowledge) -> Ask {
    let heads = state.layout.as_ref().map(|layout| layout.heads().len());
    ids(knowledge.options.iter().map(|o| (o.id.as_str(), o.name_for(heads))))
}

/// The checks that stand a while before they are read.
fn timed(knowledge: &Knowledge) -> Ask {
    ids(knowledge.checks.iter().filter(|c| c.stands.is_some()).map(|c| (c.id.as_str(), c.name.as_str())))
}

fn all_readings(knowledge: &Knowledge) -> Ask {
    let of = |c: &knowledge::Check| -> Vec<(String, String)> {
        let several = c.readings.len() > 1;
        let named = c.readings.iter().filter(|_| several);
        named.map(|r| (r.id.clone(), format!("{}: {}", c.name, words(&r.id)))).collect()
    };
    Ask::Pick(knowledge.checks.iter().flat_map(|c| of(&c.value)).collect())
}

/// Quotes by who gave them and for what.
fn quotes(state: &JobState) -> Vec<(String, String)> {
    let what = |q: &logbook::QuoteReceived| words(q.option.as_deref().or(q.need.as_deref()).unwrap_or("the work"));
    let shown = |q: &logbook::QuoteReceived| format!("{}: {}, {}", q.supplier, what(q), crate::words::amount(&q.price));
    state.quotes.iter().map(|q| (q.in_entry.to_string(), shown(q))).collect()
}

/// What a signature or a decision can rest on: readings and photos, the latest first.
fn grounds(state: &JobState, knowledge: &Knowledge) -> Ask {
    let place = |p: &anatomy::Position| state.layout.as_ref().map_or_else(|| p.address(), |layout| layout.label(p));
    let readings = state.readings.iter().map(|r| {
        let value = match &r.value {
            ReadingValue::Outcome(outcome) => words(outcome),
            ReadingValue::Number { text, unit } => format!("{text} {unit}"),
        };
        let check = knowledge.check(&r.check).map_or_else(|| words(&r.check), |c| c.name.clone());
        let phase = if r.phase == Phase::AsFound { String::new() } else { format!(", {}", words(r.phase.word())) };
        (r.entry, format!("{value}, {check}, {}{phase}", place(&r.position)))
    });
    let photos = state.photos.iter().map(|p| (p.in_entry, format!("photo: {}", p.caption)));
    let fitted = state.fitted.iter().map(|f| (f.in_entry, format!("fitted: {}", workup::words::words(&f.part))));
    let mut all: Vec<(anatomy::EntryId, String)> = readings.chain(photos).chain(fitted).collect();
    all.sort_by(|a, b| b.cmp(a));
    Ask::Pick(all.into_iter().map(|(id, shown)| (id.to_string(), shown)).collect())
}

/// What may be written on the engine sheet: every limit, and what a hold point is built to though no limit judges it.
fn sheet_rows(knowledge: &Knowledge) -> Ask {
    let limits = knowledge.limits.iter().map(|l| (l.id.as_str(), l.name.as_str()));
    let built_to: BTreeSet<&str> =
        knowledge.steps.iter().flat_map(|s| &s.holds).flat_map(|h| &h.manual).map(String::as_str).collect();
    let work = knowledge.operations.iter().filter(|o| built_to.contains(o.id.as_str()));
    let faces = knowledge.checks.iter().flat_map(|c| &c.value.readings).filter_map(|r| r.face.as_ref());
    let sizes: Vec<(&str, String)> = faces.flat_map(workup::faces::size_names).collect();
    ids(limits
        .chain(work.map(|o| (o.id.as_str(), o.name.as_str())))
        .chain(sizes.iter().map(|(id, name)| (*id, name.as_str()))))
}

/// The questions of a kind.
#[expect(clippy::too_many_lines, reason = "one arm a kind; cutting it up would only scatter the list")]
pub(crate) fn fields(kind: Kind, state: &JobState, knowledge: &Knowledge) -> Vec<Field> {
    let known = || pick(Known::ALL, Known::word);
    let covers = || pick(Covers::ALL, Covers::word);
    let channel = || pick(Channel::ALL, Channel::word);
    let dissolves = || pick(Dissolves::ALL, Dissolves::word);
    match kind {
        Kind::JobOpened => vec![
            need("title", "A few words to find it by", Ask::Line),
            may("customer", "Your code for the customer (no names)", Ask::Line),
            may("promised", "Day promised", Ask::Day),
        ],
        Kind::ComplaintHeard => vec![
            need("words", "The complaint, in the customer's own words", Ask::Long),
            may("when", "When does it show?", Ask::Line),
            may("how_long", "For how long already?", Ask::Line),
            may("done_since", "What was done since?", Ask::Line),
        ],
        Kind::EngineDescribed => vec![
            need("layout.arrangement", "How the cylinders stand", pick(Arrangement::ALL, Arrangement::word)),
            may(
                "layout.works",
                "How it works (two-stroke and rotary are not covered)",
                pick(Working::ALL, Working::word),
            ),
            need("layout.cylinders", "How many cylinders", Ask::Count),
            need("layout.fuel", "Fuel", pick(Fuel::ALL, Fuel::word)),
            need("layout.valve_gear", "Valve gear", pick(ValveGear::ALL, ValveGear::word)),
            may("layout.valves_per_cylinder", "Valves in each cylinder", Ask::Count),
            may("layout.head_material", "Head", pick(Metal::ALL, Metal::word)),
            may("layout.block_material", "Block", pick(Metal::ALL, Metal::word)),
            may("layout.timing_drive", "Cam drive", pick(TimingDrive::ALL, TimingDrive::word)),
            may("layout.interference", "Can an open valve meet a piston?", known()),
            may("layout.front_note", "Where its front points in the vehicle", Ask::Line),
            may("maker", "Maker", Ask::Line),
            may("family", "Engine type", Ask::Line),
            may("number", "Number on the block", Ask::Line),
            rare("built", "Built", Ask::Line),
            rare("layout.gasket", "Head gasket", pick(GasketKind::ALL, GasketKind::word)),
            rare("layout.follower", "What follows the cam", pick(Follower::ALL, Follower::word)),
            rare("layout.seat", "Valve seats", pick(SeatKind::ALL, SeatKind::word)),
            rare("layout.induction", "Induction", pick(Induction::ALL, Induction::word)),
            rare("layout.oil_cooler", "Oil cooler fitted?", known()),
            rare("layout.liner", "Liners", pick(Liner::ALL, Liner::word)),
            rare("layout.bore_kind", "Bores", pick(BoreKind::ALL, BoreKind::word)),
            rare("layout.heads", "Heads", pick(HeadDivision::ALL, HeadDivision::word)),
            rare("layout.intake_valves_per_cylinder", "Inlet valves in each cylinder", Ask::Count),
            rare("layout.main_bearings", "Main bearings", Ask::Count),
            rare("layout.rod_journals", "Rod journals of the crank", Ask::Count),
            rare("layout.bank_split.0", "Cylinders in the first bank", Ask::Count),
            rare("layout.bank_split.1", "Cylinders in the second bank", Ask::Count),
            rare("layout.front", "Which end is called the front", pick(End::ALL, End::word)),
            rare(
                "layout.numbering.by",
                "How cylinders are counted",
                Ask::Pick(vec![
                    ("from-free-end".to_owned(), "from the belt end, as most road vehicles".to_owned()),
                    ("iso-1204".to_owned(), "from the flywheel end, after ISO 1204".to_owned()),
                    ("maker".to_owned(), "by the maker's own names, below".to_owned()),
                ]),
            ),
            rare("layout.numbering.cylinder_names", "Maker's names of the cylinders, one a line", Ask::List),
            rare("layout.numbering.first_end", "The maker counts from", pick(End::ALL, End::word)),
            rare("layout.numbering.bank_names", "Maker's names of the banks, one a line", Ask::List),
            rare("layout.numbering.document", "Where these names are written", Ask::Line),
        ],
        Kind::VehicleDescribed => vec![
            may("make", "Make", Ask::Line),
            may("model", "Model", Ask::Line),
            may("plate", "Plate", Ask::Line),
            may("vin", "Vehicle identification number", Ask::Line),
            may("year", "Model year", Ask::Count),
            may("odometer", "Odometer as shown (with unit)", Ask::Figure("km")),
            may("odometer_believed", "Can it be believed?", known()),
            may("value", "Worth in running order", Ask::Money),
            may("horizon_months", "Months the owner wants to keep it", Ask::Count),
            may("miles_per_year", "Miles in a year", Ask::Count),
        ],
        Kind::AttributeTold => vec![
            need("attribute", "What", ids(knowledge.attributes.iter().map(|a| (a.id.as_str(), a.plain.as_str())))),
            need("value", "Answer", Ask::Line),
            may("told_by", "Told by", Ask::Line),
        ],
        Kind::PromiseMade => {
            vec![need("promised", "Day promised", Ask::Day), may("words", "What was said", Ask::Line)]
        }
        Kind::CustomerTold => {
            vec![need("words", "What was said or sent", Ask::Long), need("how", "How", channel())]
        }
        Kind::MoneyTold => vec![
            may("labour_rate", "Price of a billed hour", Ask::Money),
            may("standing_per_day", "What a day standing costs the customer", Ask::Money),
            may("tax_percent", "Tax, per cent", Ask::Line),
            may("prices", "The amounts of this job are", pick(Prices::ALL, Prices::word)),
            may("parts_markup_percent", "Added on parts, per cent", Ask::Line),
            may("scrap_value", "Scrap value", Ask::Money),
            rare("tax_name", "What the tax is called", Ask::Line),
            rare("taxed", "Only this is taxed (none: everything)", several(Charge::ALL, Charge::word)),
            rare("tax_by", "Tax is rounded on", pick(TaxBy::ALL, TaxBy::word)),
            rare("tax_rounding", "How it is rounded", pick(Rounding::ALL, Rounding::word)),
        ],
        Kind::LimitsTold => vec![
            may("most", "The most that may be paid for putting it right", Ask::Money),
            may("ready_by", "Day by which it must run", Ask::Day),
            may("bad_bill", "A bill that may come in the bad case", Ask::Money),
            may("bears", "Could that bill be borne?", known()),
            may("who", "Who says so", Ask::Line),
        ],
        Kind::EngineFigureSet => vec![
            need("item", "Which figure", sheet_rows(knowledge)),
            need("bound", "It is", pick(Bound::ALL, Bound::word)),
            need("text", "Figure, digits as printed", Ask::Line),
            may("text_high", "Upper figure of a range", Ask::Line),
            need("unit", "Unit", Ask::Line),
            may("stands_for", "Meant for", pick(FigureFor::ALL, FigureFor::word)),
            need("document", "Document", Ask::Line),
            need("page", "Page", Ask::Line),
            rare("at", "Only for this place", places(state)),
            rare("scope", "For each", pick(Scope::ALL, Scope::word)),
            rare("note", "Note", Ask::Line),
        ],
        Kind::GaugeDescribed => vec![
            need("gauge", "Kind of gauge", ids(knowledge.gauges.iter().map(|g| (g.id.as_str(), g.name.as_str())))),
            need("label", "Mark on it", Ask::Line),
            may("u", "Its own standard uncertainty (with unit)", Ask::Figure("")),
            may("zero_checked", "Zero checked?", known()),
            may("calibrated", "Last calibrated", Ask::Day),
            may("note", "Note", Ask::Line),
        ],
        Kind::GaugeDoubted => vec![
            need("label", "Gauge", gauges_laid(state)),
            need("reason", "Why it is doubted", Ask::Line),
            may("off_by", "Off by (with unit)", Ask::Figure("")),
        ],
        Kind::GaugeCleared => vec![
            need("label", "Gauge", gauges_laid(state)),
            need("how", "How it was found good", Ask::Line),
            need("good", "Which readings are good", pick(GoodReadings::ALL, GoodReadings::word)),
        ],
        Kind::WaitStarted => vec![
            need("check", "Check", timed(knowledge)),
            need("position", "Where", places(state)),
            rare("phase", "When", pick(Phase::ALL, Phase::word)),
        ],
        Kind::ReadingSkipped => vec![
            need("check", "Check", ids(knowledge.checks.iter().map(|c| (c.id.as_str(), c.name.as_str())))),
            may("position", "Where (left out: everywhere)", places(state)),
            need("reason", "Why it is left out", Ask::Line),
            rare("reading", "Only one reading of it", all_readings(knowledge)),
            rare("phase", "Only when", pick(Phase::ALL, Phase::word)),
        ],
        Kind::OutsideAnswered => vec![
            need("fault", "What", ids(knowledge.outside.iter().map(|o| (o.id.as_str(), o.name.as_str())))),
            need("answer", "Answer", pick(OutsideAnswer::ALL, OutsideAnswer::word)),
            need("how", "How it was found out", Ask::Line),
        ],
        Kind::ResidueSeen => vec![
            need("position", "Where", places(state)),
            need(
                "residue",
                "Residue",
                Ask::Pick(
                    knowledge
                        .residues
                        .iter()
                        .map(|r| (r.id.clone(), format!("{} ({})", title(&r.id), r.colour)))
                        .collect(),
                ),
            ),
            may("place", "Surface", ids(knowledge.places.iter().map(|p| (p.id.as_str(), p.name.as_str())))),
            may("note", "Note", Ask::Line),
            rare("dissolves.water", "Does water dissolve it?", dissolves()),
            rare("dissolves.alcohol", "Does alcohol?", dissolves()),
            rare("dissolves.brake_cleaner", "Does brake cleaner?", dissolves()),
            rare("dissolves.acid", "Does acid, on a scraped sample?", dissolves()),
        ],
        Kind::StageReached => vec![need(
            "stage",
            "The engine is now",
            Ask::Pick(knowledge.stages.iter().map(|s| (s.id.clone(), words(&s.id))).collect()),
        )],
        Kind::CautionTicked => vec![need(
            "caution",
            "Caution",
            Ask::Pick(knowledge.cautions.iter().map(|c| (c.id.clone(), words(&c.id))).collect()),
        )],
        Kind::PartBagged => vec![
            need("part", "What", Ask::Line),
            need("bag", "Bag or cell", Ask::Numbered(workup::bags::next_free(state))),
            may("count", "How many", Ask::Count),
            may("joint", "From which joint", joints(knowledge)),
            may("position", "Where it came from", places(state)),
            may("own_place", "Does each go back to its own place?", known()),
            may("marks", "Marks made", Ask::Line),
            rare("from_bolts", "Bolts of the joint, by their number in the sequence", Ask::Counts),
            rare("keep", "What keeps its place", keeps(knowledge)),
            rare("stage", "Goes back in at (left out: where its joint is put together)", steps(knowledge)),
        ],
        Kind::BagEmptied => vec![
            need("bag", "Which bag", bags(state)),
            need("how", "What became of it", pick(BagEnd::ALL, BagEnd::word)),
            may("words", "What is missing or damaged, or what went in instead", Ask::Line),
            rare("stage", "At which stage", steps(knowledge)),
        ],
        Kind::AdviceOverruled => {
            vec![need("advice", "What was advised", Ask::Line), need("reason", "Why not", Ask::Line)]
        }
        Kind::ApprovalAsked => vec![
            need("covers", "For what", covers()),
            need("ceiling", "Ceiling asked for", Ask::Money),
            need("how", "How", channel()),
            need("words", "The words used", Ask::Long),
            may("option", "Repair option", options(state, knowledge)),
        ],
        Kind::ApprovalGiven => vec![
            need("covers", "For what", covers()),
            need("ceiling", "The most it may cost, all in", Ask::Money),
            need("who", "Who said yes", Ask::Line),
            need("how", "How", channel()),
            need("words", "The exact words", Ask::Long),
            may("asked", "Answers the question", asked(state)),
        ],
        Kind::ApprovalRefused => vec![
            need("covers", "To what", covers()),
            need("who", "Who said no", Ask::Line),
            need("how", "How", channel()),
            need("words", "The exact words", Ask::Long),
            may("option", "Repair option", options(state, knowledge)),
            may("asked", "Answers the question", asked(state)),
        ],
        Kind::TimeWorked => vec![
            need("time", "How long", Ask::Figure("h")),
            need("what", "On what", Ask::Line),
            may("covers", "Counts against", covers()),
        ],
        Kind::CostBooked => vec![
            need("what", "For what", Ask::Line),
            need("amount", "How much", Ask::Money),
            may("supplier", "To whom", Ask::Line),
            may("covers", "Counts against", covers()),
        ],
        Kind::QuoteReceived => vec![
            need("supplier", "Who quotes", Ask::Line),
            need("price", "Price, without freight and deposit", Ask::Money),
            need("lead_days.0", "Days at best", Ask::Count),
            need("lead_days.1", "Days at worst", Ask::Count),
            may("option", "For a whole repair option", options(state, knowledge)),
            may("need", "Or for one thing needed", Ask::Line),
            may("freight", "Freight", Ask::Money),
            may("core_deposit", "Deposit on the old part", Ask::Money),
            may("warranty_months", "Months of warranty", Ask::Count),
            may("includes", "Includes, one a line", Ask::List),
            rare("warranty", "Warranty in words", Ask::Line),
            rare("valid_until", "Holds until", Ask::Day),
            rare("used_odometer", "Mileage of a used engine, as told", Ask::Figure("km")),
            rare("note", "Note", Ask::Line),
        ],
        Kind::OptionRuledOut => vec![
            need("option", "Repair option", options(state, knowledge)),
            need("because", "Why", Ask::Line),
            may(ON_ENTRY, "The reading that rules it out", grounds(state, knowledge)),
            may("source", "Where that is written", Ask::Line),
        ],
        Kind::OptionChosen => vec![
            need("option", "Repair option", options(state, knowledge)),
            need("by", "Who chooses", Ask::Line),
            need("reason", "Why", Ask::Line),
            may("quotes", "Quotes it rests on", Ask::Several(quotes(state))),
        ],
        Kind::CauseNamed => vec![
            need("cause", "Why it failed", ids(knowledge.causes.iter().map(|c| (c.id.as_str(), c.name.as_str())))),
            need("by", "Who says so", Ask::Line),
            may("because", "On what grounds", Ask::Line),
        ],
        Kind::CauseUnknownSigned => {
            vec![need("by", "Who signs that it is unknown", Ask::Line), may("because", "What was tried", Ask::Line)]
        }
        Kind::PartOrdered => vec![
            need("part", "Part", Ask::Line),
            need("supplier", "From whom", Ask::Line),
            need("quantity", "How many", Ask::Count),
            may("price", "Price of all of them", Ask::Money),
            may("promised", "Day promised", Ask::Day),
            may("need_by", "Day needed", Ask::Day),
            may("quote", "By which quote", Ask::Pick(quotes(state))),
            rare("core_deposit", "Deposit on the old part", Ask::Money),
            rare("core_due", "Old part taken back until", Ask::Day),
            rare("holds", "A kit or set: the parts it holds, one a line", Ask::List),
        ],
        Kind::PartArrived => {
            let mut fields = vec![
                need("part", "Part", Ask::Line),
                may("order", "The order it belongs to", orders(state, knowledge)),
                may("quantity", "How many, if not all", Ask::Count),
                may("batch", "Batch or serial number", Ask::Line),
            ];
            for (n, name) in LOOKS.iter().enumerate() {
                let rare_from = |n: usize, field: Field| Field { rare: n > 1, ..field };
                let asks = [("what", "at what", Ask::Line), ("result", "result", looked())];
                for (word, says, ask) in asks {
                    fields.push(rare_from(n, may(format!("checks.{n}.{word}"), format!("{name} look: {says}"), ask)));
                }
                fields.push(rare(format!("checks.{n}.note"), format!("{name} look: note"), Ask::Line));
            }
            fields
        }
        Kind::PartFitted => vec![
            need("part", "Part", Ask::Line),
            may("position", "Where", places(state)),
            may("batch", "Batch or serial number", Ask::Line),
            may("order", "The order it came with", orders(state, knowledge)),
        ],
        Kind::PartReturned => vec![
            need("part", "Part", Ask::Line),
            need("why", "Why it goes back", pick(ReturnKind::ALL, ReturnKind::word)),
            may("order", "The order it came with", orders(state, knowledge)),
            may("again", "Is a new one to come in its place?", known()),
            may("pays", "Who pays for sending it back and the time lost", pick(Bearer::ALL, Bearer::word)),
            may("note", "Note", Ask::Line),
        ],
        Kind::MachineOrderSent => crate::machine::order_fields(state, knowledge, quotes(state)),
        Kind::MachineWorkReturned => crate::machine::return_fields(state, knowledge),
        Kind::BuildStepDone => vec![
            need("stage", "Stage of the build", steps(knowledge)),
            need("step", "Step", Ask::Line),
            may("position", "Where", places(state)),
            may("note", "Note", Ask::Line),
        ],
        Kind::HoldPointSigned => vec![
            need("stage", "Stage of the build", steps(knowledge)),
            need("hold", "Hold point", Ask::Line),
            need("by", "Who signs", Ask::Line),
            may("second", "Second pair of eyes", Ask::Line),
            may("value", "What was measured (with unit)", Ask::Figure("")),
            rare("outer", "Or the larger size, such as the bore (with unit)", Ask::Figure("")),
            rare("inner", "and the smaller one, such as the journal (with unit)", Ask::Figure("")),
            may(ON_ENTRY, "The reading or photo that proves it", grounds(state, knowledge)),
            rare("position", "Where; empty for every place that this work touches", places(state)),
        ],
        Kind::HoldPointPassedOpen => vec![
            need("stage", "Stage of the build", steps(knowledge)),
            need("hold", "Hold point", Ask::Line),
            need("by", "Who answers for it", Ask::Line),
            need("reason", "Why it is passed without proof", Ask::Line),
        ],
        Kind::StageLeftOut => vec![
            need("stage", "Stage of the build", steps(knowledge)),
            need("by", "Who answers for it", Ask::Line),
            need("reason", "Why it is not touched", Ask::Line),
        ],
        Kind::BoltsPlaced => vec![
            need("joint", "Joint", joints(knowledge)),
            may("position", "Which head or cap", caps(state)),
            need("bolts", "Bolts, one a line: millimetres along from the front, across, and wet", Ask::Bolts),
            may("sequence", "The manual's sequence, by the lines above", Ask::Counts),
            may("document", "Which manual", Ask::Line),
            may("page", "Page", Ask::Line),
            may("threads", "Threads, as the manual says: dry, oil, sealer", Ask::Line),
        ],
        Kind::BoltTightened => vec![
            need("joint", "Joint", joints(knowledge)),
            may("position", "Which head or cap", caps(state)),
            need("bolt", "Bolt, by the tightening sequence", Ask::Count),
            need("stage", "Stage", Ask::Count),
            may("torque", "Torque as set", Ask::Figure("N·m")),
            may("angle", "Angle as turned", Ask::Figure("°")),
            may("label", "Mark on the wrench", Ask::Line),
            may("age", "Bolt is", pick(BoltAge::ALL, BoltAge::word)),
            may("striped", "Stripe drawn across bolt and flange?", known()),
        ],
        Kind::BoltRestarted => vec![
            need("joint", "Joint", joints(knowledge)),
            may("position", "Which head or cap", caps(state)),
            need("bolt", "Bolt", Ask::Count),
            need("stage", "Starts again with stage", Ask::Count),
            need("reason", "Why", Ask::Line),
        ],
        Kind::JointDisturbed => vec![
            need("joint", "Joint", joints(knowledge)),
            may("position", "Which head or cap", caps(state)),
            may("bolt", "The one bolt (left out: all)", Ask::Count),
            need("reason", "Why", Ask::Line),
        ],
        Kind::EngineRun => vec![
            need("run", "How it was run", pick(RunKind::ALL, RunKind::word)),
            may("time", "How long", Ask::Figure("min")),
            may("distance", "How far", Ask::Figure("km")),
            may("words", "What was noticed", Ask::Long),
        ],
        Kind::HandedBack => vec![
            may("done", "Done, one a line", Ask::List),
            may("not_done", "Not done, one a line", Ask::List),
            may("watch_for", "Watch for, one a line", Ask::List),
            may("first_check.what", "First look to take", Ask::Line),
            may("first_check.by_date", "By which day", Ask::Day),
            may("first_check.by_distance", "By which distance", Ask::Figure("km")),
            may("warranty_months", "Months of warranty", Ask::Count),
            may("warranty", "What the warranty covers and what not", Ask::Long),
            may("odometer", "Odometer at hand-back", Ask::Figure("km")),
            rare("further_checks.0.what", "A later look", Ask::Line),
            rare("further_checks.0.by_date", "Later look: by which day", Ask::Day),
            rare("further_checks.0.by_distance", "Later look: by which distance", Ask::Figure("km")),
            rare("further_checks.1.what", "One more", Ask::Line),
            rare("further_checks.1.by_date", "One more: by which day", Ask::Day),
            rare("further_checks.1.by_distance", "One more: by which distance", Ask::Figure("km")),
        ],
        Kind::ComebackOpened => vec![
            need("words", "The customer's words", Ask::Long),
            may("odometer", "Odometer as shown", Ask::Figure("km")),
        ],
        Kind::ComebackDecided => {
            vec![
                need("bearer", "Who bears it", pick(Bearer::ALL, Bearer::word)),
                need("because", "Why", Ask::Line),
                may(ON_ENTRY, "The reading it rests on", grounds(state, knowledge)),
            ]
        }
        Kind::OutcomeFound => vec![
            need("condition", "Condition", ids(knowledge.conditions.iter().map(|c| (c.id.as_str(), c.name.as_str())))),
            need("position", "Where", places(state)),
            need("state", "What it turned out to be", Ask::Line),
            need("how", "How it was found out", Ask::Line),
        ],
        Kind::JobClosed => vec![
            need("how", "How the job ends", pick(Ending::ALL, Ending::word)),
            may("words", "Anything else", Ask::Line),
        ],
        Kind::NoteWritten => {
            vec![need("text", "Note", Ask::Long), may("position", "Where on the engine", places(state))]
        }
        Kind::EntryWithdrawn => {
            vec![need("entry", "Entry", Ask::Line), need("reason", "Why it is taken back", Ask::Line)]
        }
        // These come about through their own pages, through the command line, or not by hand at all.
        Kind::ReadingTaken
        | Kind::PhotoKept
        | Kind::SheetAdopted
        | Kind::PaperIssued
        | Kind::PersonalDataErased
        | Kind::EntryCorrected => Vec::new(),
    }
}

fn asked(state: &JobState) -> Ask {
    Ask::Pick(
        state
            .approvals_asked
            .iter()
            .map(|a| {
                (a.in_entry.to_string(), format!("{}, {}", words(a.covers.word()), crate::words::amount(&a.ceiling)))
            })
            .collect(),
    )
}

/// The currency of the shop's prices, where a rate is told.
pub(crate) fn currency(state: &JobState) -> Option<Currency> {
    state.rates.labour_rate.as_ref().map(quantity::Money::currency)
}

/// Reads what was typed into some fields, or says field by field what does not fit.
pub(crate) fn answers(fields: &[Field], typed: &Typed, currency: Option<Currency>) -> Result<Value, Vec<FieldTrouble>> {
    let (mut root, errors) = read(fields, typed, currency);
    if !errors.is_empty() {
        return Err(errors);
    }
    without_gaps(&mut root);
    Ok(root)
}

/// What was typed into some fields as far as it fits, gaps of lists left in, and what does not fit.
fn read(fields: &[Field], typed: &Typed, currency: Option<Currency>) -> (Value, Vec<FieldTrouble>) {
    let mut errors = Vec::new();
    let mut root = Value::Object(Map::new());
    for field in fields {
        let text = typed.get(&*field.name).map_or("", |t| t.trim());
        if let Ask::Several(list) = &field.ask {
            let ticked = list.iter().enumerate().filter(|(n, _)| typed.contains_key(&format!("{}.{n}", field.name)));
            let ticked: Vec<Value> = ticked.map(|(_, (word, _))| Value::from(word.as_str())).collect();
            if !ticked.is_empty() {
                put(&mut root, &field.name, Value::Array(ticked));
            }
            continue;
        }
        // Numbers are typed in a row, or ticked one by one.
        if text.is_empty() && matches!(field.ask, Ask::Counts | Ask::Ticks(_)) {
            let under = format!("{}.", field.name);
            let ticked = typed.iter().filter(|(name, _)| name.starts_with(&under));
            let mut numbers: Vec<u16> = ticked.filter_map(|(_, number)| number.trim().parse().ok()).collect();
            if !numbers.is_empty() {
                numbers.sort_unstable();
                put(&mut root, &field.name, numbers.into_iter().map(Value::from).collect());
                continue;
            }
        }
        if text.is_empty() {
            if field.need {
                errors.push(FieldTrouble::new(&*field.name, format!("{} is not answered; it is needed", field.label)));
            }
            continue;
        }
        match answer(&field.ask, text, currency) {
            Ok(value) => put(&mut root, in_body(&field.name), value),
            Err(why) => errors.push(FieldTrouble::new(&*field.name, why)),
        }
    }
    (root, errors)
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
    let taken = looks_taken(typed);
    let typed = taken.as_ref();
    let (mut root, mut errors) = read(&fields, typed, currency(state));
    errors.extend(crate::machine::missing(kind, state, typed));
    if !errors.is_empty() {
        return Err(errors);
    }
    crate::machine::without_blank(kind, &mut root, typed);
    without_gaps(&mut root);
    body_of(kind, &root, state, knowledge).map_err(|why| {
        let mut error = crate::entering::field(&why);
        if let Some(field) = crate::machine::typed_field(kind, &error.field, typed) {
            error.field = field;
        }
        if fields.iter().all(|f| in_body(&f.name) != error.field) {
            // What does not fit is named in the sentence; it stands beside that field.
            let named = fields.iter().find(|f| error.message.contains(f.name.rsplit('.').next().unwrap_or(&f.name)));
            error.field = named.map_or_else(|| "form".to_owned(), |f| f.name.to_string());
        }
        vec![error]
    })
}

/// Whether a kind is written by a button too, beside which nothing can be said when it is refused.
pub(crate) fn by_button(kind: Kind) -> bool {
    matches!(
        kind,
        Kind::BuildStepDone
            | Kind::BagEmptied
            | Kind::StageReached
            | Kind::CautionTicked
            | Kind::OutsideAnswered
            | Kind::WaitStarted
    )
}

/// One answer as it stands in a body.
fn answer(ask: &Ask, text: &str, currency: Option<Currency>) -> Result<Value, String> {
    let json = |made: Result<Value, serde_json::Error>| made.map_err(|e| e.to_string());
    match ask {
        Ask::Line | Ask::Suggest(_) | Ask::Numbered(_) | Ask::Long | Ask::Pick(_) | Ask::Several(_) | Ask::Fixed(_) => {
            Ok(Value::from(text))
        }
        Ask::List => Ok(text.lines().map(str::trim).filter(|l| !l.is_empty()).map(Value::from).collect()),
        Ask::Bolts => text.lines().map(str::trim).filter(|l| !l.is_empty()).map(bolt).collect(),
        Ask::Counts | Ask::Ticks(_) => text
            .split(|c: char| !c.is_ascii_digit())
            .filter(|n| !n.is_empty())
            .map(|n| {
                n.parse::<u16>().map(Value::from).map_err(|_| format!("`{n}` is no bolt; type its place in the list"))
            })
            .collect(),
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

/// One bolt as typed on a line of its own: along, across, and `wet`.
fn bolt(line: &str) -> Result<Value, String> {
    let mut parts: Vec<&str> = line.split([' ', '\t', ';', '/']).filter(|p| !p.is_empty() && *p != "mm").collect();
    let wet = parts.last().is_some_and(|p| p.eq_ignore_ascii_case("wet"));
    if wet {
        parts.pop();
    }
    let [along, across] = parts.as_slice() else {
        return Err(format!(
            "`{line}` is no bolt; type along and across in millimetres, such as `95 76`, and `wet` behind it"
        ));
    };
    let length = |text: &str| {
        let read = figure("bolts", text, Unit::from_symbol("mm").ok()).map_err(|e| format!("`{line}`: {e}"))?;
        serde_json::to_value(read).map_err(|e| e.to_string())
    };
    let mut out = Map::new();
    out.insert("along".to_owned(), length(along)?);
    out.insert("across".to_owned(), length(across)?);
    if wet {
        out.insert("wet".to_owned(), Value::from(Known::Yes.word()));
    }
    Ok(Value::Object(out))
}

/// A kept bolt as it is typed.
fn bolt_line(bolt: &Value) -> Option<String> {
    let text = |name: &str| {
        let figure = bolt.get(name)?;
        let (text, unit) = (figure.get("text")?.as_str()?, figure.get("unit")?.as_str()?);
        Some(if unit == "mm" { text.to_owned() } else { format!("{text}{unit}") })
    };
    let wet = if bolt.get("wet").and_then(Value::as_str) == Some(Known::Yes.word()) { " wet" } else { "" };
    Some(format!("{} {}{wet}", text("along")?, text("across")?))
}

/// Takes places of a list out that nobody filled.
fn without_gaps(at: &mut Value) {
    match at {
        Value::Array(list) => {
            list.retain(|v| !v.is_null());
            list.iter_mut().for_each(without_gaps);
        }
        Value::Object(map) => map.values_mut().for_each(without_gaps),
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => {}
    }
}

/// What is typed into a form when it shows a body that is kept: the reverse of [`body`].
pub(crate) fn typed_of(fields: &[Field], body: &Value) -> Typed {
    let at = |name: &str| {
        name.split('.').try_fold(body, |at, part| match part.parse::<usize>() {
            Ok(place) => at.get(place),
            Err(_) => at.get(part),
        })
    };
    let text = |value: &Value| match value {
        Value::String(text) => text.clone(),
        Value::Array(list) if list.iter().any(Value::is_object) => {
            list.iter().filter_map(bolt_line).collect::<Vec<_>>().join("\n")
        }
        Value::Array(list) if list.iter().any(Value::is_number) => {
            list.iter().map(Value::to_string).collect::<Vec<_>>().join(" ")
        }
        Value::Array(list) => list.iter().filter_map(Value::as_str).collect::<Vec<_>>().join("\n"),
        Value::Object(map) => {
            let part = |name: &str| map.get(name).and_then(Value::as_str);
            match (part("text"), part("unit"), part("currency"), part("amount")) {
                (Some(text), Some(unit), _, _) => format!("{text} {unit}"),
                (_, _, Some(currency), Some(amount)) => format!("{currency} {amount}"),
                _ => String::new(),
            }
        }
        Value::Null => String::new(),
        Value::Bool(_) | Value::Number(_) => value.to_string(),
    };
    let mut out = Typed::new();
    for field in fields {
        let Some(value) = at(in_body(&field.name)) else { continue };
        if let (Ask::Several(list), Value::Array(there)) = (&field.ask, value) {
            let ticked = list.iter().enumerate().filter(|(_, (word, _))| there.iter().any(|v| v == word.as_str()));
            out.extend(ticked.map(|(n, _)| (format!("{}.{n}", field.name), "yes".to_owned())));
        } else {
            out.insert(field.name.to_string(), text(value));
        }
    }
    out
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
                @for f in self.fields.iter().filter(|f| !f.rare) { (self.field(f, &id.to_string())) }
                @let rare: Vec<&Field> = self.fields.iter().filter(|f| f.rare).collect();
                @if !rare.is_empty() {
                    details.fold.more open[rare.iter().any(|f| self.is_filled(f) || self.is_wrong(f))] {
                        summary { "More that may be said" }
                        @for f in &rare { (self.field(f, &id.to_string())) }
                    }
                }
                button type="submit" { (self.button) }
            }
        }
    }

    fn is_filled(&self, f: &Field) -> bool {
        self.typed.get(&*f.name).is_some_and(|t| !t.is_empty())
    }

    fn is_wrong(&self, f: &Field) -> bool {
        self.errors.iter().any(|e| e.field == f.name)
    }

    /// One question with what was typed into it; `form` tells its labels from those of other forms of the page.
    pub(crate) fn field(&self, f: &Field, form: &str) -> Markup {
        let there = self.typed.get(&*f.name).map_or("", String::as_str);
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
        if let Ask::Several(list) = &f.ask {
            return html! {
                @if !list.is_empty() {
                    fieldset.field {
                        legend {
                            (f.label)
                            span.may { " (may be left out)" }
                        }
                        @for (n, (word, shown)) in list.iter().enumerate() {
                            @let name = format!("{}.{n}", f.name);
                            label.tick {
                                input
                                    type="checkbox"
                                    name=(name)
                                    value=(word)
                                    checked[self.typed.contains_key(&name)];
                                span { (shown) }
                            }
                        }
                    }
                }
            };
        }
        if let Ask::Ticks(numbers) = &f.ask {
            return html! {
                fieldset.field.ticks {
                    legend {
                        (f.label)
                        span.may { " (may be left out)" }
                    }
                    @for (n, number) in numbers.iter().enumerate() {
                        @let name = format!("{}.{n}", f.name);
                        label.tick {
                            input
                                type="checkbox"
                                name=(name)
                                value=(number)
                                checked[self.typed.contains_key(&name)];
                            span { (number) }
                        }
                    }
                }
            };
        }
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
                    Ask::Line => input
                        type="text"
                        id=(id)
                        name=(f.name)
                        value=(there)
                        required[f.need]
                        aria-describedby=[wrong.map(|_| &hint)];,
                    Ask::Money => input
                        type="text"
                        id=(id)
                        name=(f.name)
                        value=(there)
                        required[f.need]
                        placeholder="EUR 120"
                        aria-describedby=[wrong.map(|_| &hint)];,
                    Ask::Figure(unit) => span.with-unit {
                        input
                            type="text"
                            inputmode="text"
                            id=(id)
                            name=(f.name)
                            value=(there)
                            required[f.need]
                            aria-describedby=[wrong.map(|_| &hint)];
                        @if !unit.is_empty() {
                            span.unit { (unit) }
                        }
                    },
                    Ask::Count => input
                        type="text"
                        inputmode="numeric"
                        pattern="[0-9]*"
                        id=(id)
                        name=(f.name)
                        value=(there)
                        required[f.need]
                        aria-describedby=[wrong.map(|_| &hint)];,
                    Ask::Day => input
                        type="date"
                        id=(id)
                        name=(f.name)
                        value=(there)
                        required[f.need]
                        aria-describedby=[wrong.map(|_| &hint)];,
                    Ask::Long => textarea
                        id=(id)
                        name=(f.name)
                        rows="3"
                        required[f.need]
                        aria-describedby=[wrong.map(|_| &hint)]
                    { (there) },
                    Ask::Suggest(words) => {
                        input
                            type="text"
                            id=(id)
                            name=(f.name)
                            value=(there)
                            required[f.need]
                            list=(format!("{id}-words"))
                            aria-describedby=[wrong.map(|_| &hint)];
                        datalist id=(format!("{id}-words")) {
                            @for word in words { option value=(word) {} }
                        }
                    },
                    Ask::Numbered(next) => input
                        type="text"
                        id=(id)
                        name=(f.name)
                        value=(if there.is_empty() { next.to_string() } else { there.to_owned() })
                        data-next=(next)
                        required[f.need]
                        autocomplete="off"
                        aria-describedby=[wrong.map(|_| &hint)];,
                    Ask::Counts => input
                        type="text"
                        inputmode="numeric"
                        id=(id)
                        name=(f.name)
                        value=(there)
                        required[f.need]
                        placeholder="5 6 3 8 4 7"
                        aria-describedby=[wrong.map(|_| &hint)];,
                    Ask::Bolts => textarea
                        id=(id)
                        name=(f.name)
                        rows="6"
                        required[f.need]
                        placeholder="0 0\n0 76 wet\n95 0"
                        aria-describedby=[wrong.map(|_| &hint)]
                    { (there) },
                    Ask::List => textarea
                        id=(id)
                        name=(f.name)
                        rows="3"
                        required[f.need]
                        aria-describedby=[wrong.map(|_| &hint)]
                    { (there) },
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
                    Ask::Several(_) | Ask::Ticks(_) | Ask::Fixed(_) => "",
                }
            }
        }
    }
}
