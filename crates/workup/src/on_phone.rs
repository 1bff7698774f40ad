//! What a phone needs to judge a reading by itself while the shop is out of reach: the limits of each place, the doubt of each
//! gauge and the units, as numbers. They are taken from where a work-up takes them, so that both say the same.
//!
//! The phone judges one plain figure. Means, ovals, stations and whatever else it cannot read it leaves to the shop.

use std::collections::BTreeMap;

use anatomy::{EngineLayout, EntryId, Position};
use jiff::Timestamp;
use knowledge::{Check, Knowledge, Normalise, Numeric, Reading, ReadingKind, Worse};
use logbook::{EngineFigure, JobState, Phase, ReadingTaken, ReadingValue};
use quantity::{Reply, Risks, Unit, Zone, parse_quantity};
use serde::Serialize;

use crate::findings::{self, Context, Gauges};
use crate::network;

/// Words that mean units of different size in different shops, or a unit only beside a certain kind of quantity.
const WORDS: [&str; 26] = [
    "mil",
    "mils",
    "tenth",
    "tenths",
    "hundredth",
    "hundredths",
    "thousandth",
    "thousandths",
    "gal",
    "gals",
    "gallon",
    "gallons",
    "qt",
    "qts",
    "quart",
    "quarts",
    "lb",
    "lbs",
    "pound",
    "pounds",
    "kg",
    "nm",
    "c",
    "f",
    "deg",
    "°",
];

/// How a reading is judged on a phone.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Judging {
    /// A look: the first outcome is sound; of ordered ones the last is outside.
    Look {
        /// The outcomes in their sequence.
        outcomes: Vec<String>,
        /// Whether they are ordered from best to worst.
        graded: bool,
    },
    /// A figure.
    Figure(Box<Figure>),
}

/// How a figure is judged; all numbers in the unit of the reading.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Figure {
    /// The unit of the reading.
    pub unit: String,
    /// The least it can be.
    pub min: Option<f64>,
    /// How many of the reading's unit one of each unit is, and what is added then.
    pub units: BTreeMap<String, [f64; 2]>,
    /// Which unit a written word means, as words are compared.
    pub written: BTreeMap<String, String>,
    /// Words that have to be asked back.
    pub asked: Vec<String>,
    /// Whether a lone point before three digits is asked back, and a lone comma is a sign of thousands.
    pub thousands: bool,
    /// Whether readings are judged by their share of the best, and the higher is the better.
    pub share: Option<Share>,
    /// The zones there are.
    pub zones: Vec<PhoneZone>,
    /// Which zone a place has, by its address.
    pub of: BTreeMap<String, usize>,
    /// Standard uncertainty by what the gauge field says, kind and mark; nothing where the gauge is doubted. The step of
    /// what was typed is the least there is.
    pub gauges: BTreeMap<String, Option<f64>>,
    /// The chance of being wrong that is taken for inside, and for outside.
    pub risks: [f64; 2],
}

/// What the share of the best is taken of.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Share {
    /// The best read so far.
    pub best: Option<f64>,
    /// Whether a lower figure is the worse one.
    pub lower_is_worse: bool,
}

/// The edges that hold at a place.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PhoneZone {
    /// Lower reject, lower keep, upper keep, upper reject; none where no limit is known.
    pub edges: Option<[Option<f64>; 4]>,
    /// The engine's own figure that shares are taken of, where there is one.
    pub whole: Option<f64>,
    /// The limit by name.
    pub name: String,
}

/// Gives what a phone judges a reading by, at each of some places; nothing for a face that is read whole.
#[must_use]
pub fn judging(
    state: &JobState,
    layout: &EngineLayout,
    knowledge: &Knowledge,
    (check, reading): (&Check, &Reading),
    places: &[Position],
    phase: Phase,
) -> Option<Judging> {
    let numeric = match &reading.kind {
        ReadingKind::Graded { outcomes, .. } => {
            return Some(Judging::Look { outcomes: outcomes.clone(), graded: true });
        }
        ReadingKind::Nominal { outcomes, .. } => {
            return Some(Judging::Look { outcomes: outcomes.clone(), graded: false });
        }
        ReadingKind::Numeric(numeric) => numeric,
    };
    let attributes = network::attributes(layout, &crate::told(state, knowledge), knowledge);
    let sheet: Vec<EngineFigure> = state.sheet.iter().map(|f| f.body.clone()).collect();
    let stated = |g: &logbook::Fact<logbook::GaugeDescribed>| {
        (g.body.gauge.clone(), g.body.u.as_ref().map(|u| (u.text.clone(), u.unit.clone())))
    };
    let gauges: Gauges = state.gauges.iter().map(|(label, g)| (label.clone(), stated(g))).collect();
    let context = Context { layout, attributes: &attributes, knowledge, sheet: &sheet, gauges: &gauges };
    let unit = Unit::from_symbol(&numeric.unit).ok()?;
    let (mut zones, mut of) = (Vec::<PhoneZone>::new(), BTreeMap::new());
    for place in places {
        let zone = zone(&blank(check, reading, place, phase), check, reading, numeric, &context);
        let at = zones.iter().position(|known| *known == zone).unwrap_or_else(|| {
            zones.push(zone);
            zones.len() - 1
        });
        of.insert(place.address(), at);
    }
    let (written, asked) = words(unit);
    let place = places.first()?;
    Some(Judging::Figure(Box::new(Figure {
        unit: numeric.unit.clone(),
        min: numeric.min,
        units: factors(unit),
        written,
        asked,
        thousands: matches!(parse_quantity("1.234", Some(unit)), Ok(Reply::Question(_))),
        share: (numeric.normalise == Normalise::SpecOrBest && !findings::stands_alone(&context)).then(|| Share {
            best: best(state, (check, reading), numeric, phase, &context),
            lower_is_worse: numeric.worse == Worse::Lower,
        }),
        zones,
        of,
        gauges: doubts(state, &blank(check, reading, place, phase), check, reading, numeric, &context),
        risks: [Risks::default().wrongly_inside(), Risks::default().wrongly_outside()],
    })))
}

/// A reading before anything was read.
fn blank(check: &Check, reading: &Reading, place: &Position, phase: Phase) -> ReadingTaken {
    ReadingTaken {
        entry: EntryId::from_time_and_chance(0, [0; 10]),
        at: Timestamp::UNIX_EPOCH,
        by: String::new(),
        check: check.id.clone(),
        reading: reading.id.clone(),
        position: *place,
        value: ReadingValue::Number { text: String::new(), unit: String::new() },
        spot: None,
        phase,
        gauge: None,
        label: None,
        temperature: None,
        note: None,
        repeats: Vec::new(),
        mean_of: None,
        stations: Vec::new(),
        axes: Vec::new(),
        gauge_doubted_by: None,
    }
}

fn zone(taken: &ReadingTaken, check: &Check, reading: &Reading, numeric: &Numeric, context: &Context<'_>) -> PhoneZone {
    let own = findings::own_figure(check, reading, numeric, taken, context);
    let bands = || findings::bands_as_edges(numeric);
    if numeric.normalise == Normalise::SpecOrBest && (own.is_some() || !findings::stands_alone(context)) {
        let whole = own.as_ref().and_then(|l| l.edges.iter().flatten().copied().reduce(f64::max));
        return PhoneZone { edges: bands(), whole, name: "bands of the check itself".to_owned() };
    }
    let own = own.or_else(|| findings::alone(reading, numeric, &taken.position, context));
    let used =
        own.or_else(|| reading.limits.iter().find_map(|r| findings::fallback(r, numeric, &taken.position, context)));
    let name = used.as_ref().map_or_else(|| "bands of the check itself".to_owned(), |l| l.name.clone());
    let edges = used.map(|l| l.edges).or_else(|| bands().filter(|_| numeric.normalise == Normalise::None));
    let edges = edges.filter(|e| Zone::new(e[0], e[1], e[2], e[3]).is_ok());
    PhoneZone { edges, whole: None, name }
}

/// The best of its kind among what was read in the same phase of the job.
fn best(
    state: &JobState,
    (check, reading): (&Check, &Reading),
    numeric: &Numeric,
    phase: Phase,
    context: &Context<'_>,
) -> Option<f64> {
    let after = phase != Phase::AsFound;
    let same = |r: &&ReadingTaken| {
        r.gauge_doubted_by.is_none()
            && r.check == check.id
            && r.reading == reading.id
            && (r.phase != Phase::AsFound) == after
    };
    let values = state.readings.iter().filter(same).filter_map(|r| findings::number_of(r, context)).map(|(_, _, v)| v);
    values.reduce(if numeric.worse == Worse::Lower { f64::max } else { f64::min })
}

/// The doubt of each gauge that the field offers.
fn doubts(
    state: &JobState,
    blank: &ReadingTaken,
    check: &Check,
    reading: &Reading,
    numeric: &Numeric,
    context: &Context<'_>,
) -> BTreeMap<String, Option<f64>> {
    let u = |gauge: Option<&str>, label: Option<&str>| {
        let taken = ReadingTaken { gauge: gauge.map(str::to_owned), label: label.map(str::to_owned), ..blank.clone() };
        findings::uncertainty(&taken, reading, numeric, 0.0, context).u
    };
    let mut out = BTreeMap::from([("|".to_owned(), Some(u(None, None)))]);
    for kind in check.gauges.iter().chain(reading.gauge.as_ref()) {
        out.insert(format!("{kind}|"), Some(u(Some(kind), None)));
    }
    for (label, gauge) in &state.gauges {
        let kind = &gauge.body.gauge;
        let doubted = state.doubted_gauges.contains_key(label);
        out.insert(format!("{kind}|{label}"), (!doubted).then(|| u(Some(kind), Some(label))));
    }
    out
}

fn factors(to: Unit) -> BTreeMap<String, [f64; 2]> {
    let of = |unit: Unit| {
        let factor = unit.convert_difference(1.0, to).ok()?;
        let zero = unit.convert(0.0, to).ok()?;
        Some((unit.symbol().to_owned(), [factor, zero]))
    };
    Unit::of(to.dimension()).filter_map(of).collect()
}

/// Which unit a word means beside a figure of a kind, and which words are asked back.
fn words(unit: Unit) -> (BTreeMap<String, String>, Vec<String>) {
    let spelled = Unit::spellings_of(unit.dimension());
    let mut written: BTreeMap<String, String> =
        spelled.map(|(word, unit)| (word.to_owned(), unit.symbol().to_owned())).collect();
    let mut asked = Vec::new();
    for word in WORDS {
        match parse_quantity(&format!("2 {word}"), Some(unit)) {
            Ok(Reply::Question(_)) => {
                written.remove(word);
                asked.push(word.to_owned());
            }
            Ok(Reply::Value(typed)) if typed.number.total_cmp(&2.0).is_eq() => {
                written.insert(word.to_owned(), typed.unit.symbol().to_owned());
            }
            Ok(Reply::Value(_)) | Err(_) => drop(written.remove(word)),
        }
    }
    (written, asked)
}
