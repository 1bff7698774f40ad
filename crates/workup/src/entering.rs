//! The rules by which an entry is taken: one set for every door.
//!
//! What was typed becomes a body ([`Given`], [`body_of`]); then the body is held against the job, the knowledge, the hold
//! points and the approvals ([`ensure`]). A refusal says which field it is about, what was found, what was expected and
//! what may be said instead. The next move is the door's to word: which command, which page.

use anatomy::{EngineLayout, EntryId, Position, Scope};
use knowledge::{AttributeIs, Check, Knowledge, Reading, ReadingKind};
use logbook::{AxisSize, EdgeStation, Ending, EntryBody, Figure, InForce, JobState, Kind, Phase, ReadingBody, RunKind};
use quantity::print::printed;
use quantity::{Question, Reply, Typed, Unit, parse_quantity};
use serde_json::Value;

use crate::Case;
use crate::bags;
use crate::committed::{self, Beyond};
use crate::faces::{self, Line};
use crate::gates;
use crate::opened;
use crate::tightening;
use crate::words::words;

/// Which rule refused an entry: what a door words the next move by.
#[derive(Debug, Clone, PartialEq)]
pub enum Rule {
    /// The engine is not described.
    NoEngine,
    /// The knowledge has no such thing.
    Unknown,
    /// There is no such place on this engine, or the check is not done there.
    Place,
    /// A word that is none of its list.
    Word,
    /// The engine is of another kind than the check is for.
    OtherEngine,
    /// The engine is not open far enough, or too far.
    Stage,
    /// The check is withheld, because something else comes first.
    Withheld,
    /// The value cannot be read.
    Value,
    /// The value has more than one reading, and only the typist can say which.
    Asks(Box<Question>),
    /// The value can be read and cannot be.
    Impossible,
    /// The body does not fit its kind.
    Body,
    /// There is no such entry in the job.
    NoEntry,
    /// The entry is withdrawn already.
    Withdrawn,
    /// A caution holds the work up until it is ticked.
    Caution(String),
    /// An open hold point holds it up, or the signature lacks what the hold point asks for.
    Hold,
    /// It goes beyond what was approved.
    Ceiling,
    /// The request that it answers does not hold.
    Asked,
    /// The job is closed.
    Closed,
    /// The kind has a way of its own.
    OwnWay,
}

/// Why an entry is not taken.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{found}{}", rest(.expected, .instead))]
pub struct NotTaken {
    /// The rule that refused it.
    pub rule: Rule,
    /// The field of the body that it is about.
    pub field: String,
    /// What was found.
    pub found: String,
    /// What was expected; it leads to `instead` where that is not empty.
    pub expected: String,
    /// What may be said instead.
    pub instead: Vec<String>,
}

fn rest(expected: &str, instead: &[String]) -> String {
    match (expected, instead) {
        ("", []) => String::new(),
        (lead, []) => format!("; {lead}"),
        (lead, list) => format!("; {lead} {}", list.join(", ")),
    }
}

impl NotTaken {
    pub(crate) fn new(rule: Rule, field: impl Into<String>, found: impl ToString) -> Self {
        let (found, field) = (found.to_string(), field.into());
        Self { rule, field, found, expected: String::new(), instead: Vec::new() }
    }

    pub(crate) fn expecting(self, expected: impl Into<String>) -> Self {
        Self { expected: expected.into(), ..self }
    }

    fn instead<T: ToString>(self, lead: &str, list: impl IntoIterator<Item = T>) -> Self {
        let instead: Vec<String> = list.into_iter().map(|one| one.to_string()).collect();
        if instead.is_empty() { self } else { Self { expected: lead.to_owned(), instead, ..self } }
    }
}

/// A reading as typed; a field that was not typed is empty.
#[derive(Debug, Clone, Default)]
pub struct Given {
    /// The check.
    pub check: String,
    /// Which of its readings; empty where it has only one.
    pub reading: String,
    /// An address, or the name of a cylinder on this engine.
    pub position: String,
    /// A figure with or without its unit, or an outcome in words.
    pub value: String,
    /// The unit that stood beside the number; left out: that of the reading.
    pub unit: String,
    /// When in the life of the job.
    pub phase: String,
    /// Where within the place.
    pub spot: String,
    /// The kind of gauge.
    pub gauge: String,
    /// The mark on it.
    pub label: String,
    /// Temperature of the part or the oil.
    pub temperature: String,
    /// Anything else.
    pub note: String,
    /// How many readings the value is the mean of.
    pub mean_of: String,
    /// A straightedge laid down once, in place of the value: `how far along: blade that enters..blade refused`, with semicolons
    /// or on lines of their own; a blade that was not tried or did not enter is left out. The line is the spot.
    pub stations: String,
}

fn told(text: &str) -> Option<String> {
    let text = text.trim();
    (!text.is_empty()).then(|| text.to_owned())
}

impl Given {
    /// The body of the entry; `case` is the work-up of the job as it stands, where there is one.
    ///
    /// # Errors
    /// The first rule that refuses it.
    pub fn body(&self, state: &JobState, knowledge: &Knowledge, case: Option<&Case>) -> Result<ReadingBody, NotTaken> {
        self.read(state, knowledge, |check, reading, phase| possible(state, knowledge, check, reading, phase, case))
    }

    /// The body of a reading that was taken earlier and is put right: what can be read now does not matter.
    ///
    /// # Errors
    /// The first rule that refuses it.
    pub fn body_put_right(&self, state: &JobState, knowledge: &Knowledge) -> Result<ReadingBody, NotTaken> {
        self.read(state, knowledge, |_, _, _| Ok(()))
    }

    fn read(
        &self,
        state: &JobState,
        knowledge: &Knowledge,
        allowed: impl Fn(&Check, &Reading, Option<Phase>) -> Result<(), NotTaken>,
    ) -> Result<ReadingBody, NotTaken> {
        let layout = described(state)?;
        let (check, reading) = found(knowledge, &self.check, &self.reading)?;
        let position = place(layout, check, &self.position)?;
        let phase = phase(&self.phase)?;
        allowed(check, reading, phase)?;
        gauge(knowledge, check, &self.gauge)?;
        let axes = self.axes(check, reading)?;
        let stations = self.stations(state, check, reading, position)?;
        let (outcome, value, repeats) = match several(reading, &self.value, &self.unit) {
            _ if !stations.is_empty() || !axes.is_empty() => (None, None, Vec::new()),
            Some(texts) => (None, None, read_repeats(check, reading, &texts, &self.unit)?),
            None => {
                let (outcome, value) = read_value(check, reading, &self.value, &self.unit)?;
                (outcome, value, Vec::new())
            }
        };
        let mean_of = mean_of(&self.mean_of, value.is_some())?;
        let temperature = match told(&self.temperature) {
            None => None,
            Some(text) => Some(figure("temperature", &text, Unit::from_symbol("°C").ok())?),
        };
        Ok(ReadingBody {
            check: check.id.clone(),
            reading: reading.id.clone(),
            position,
            outcome,
            value,
            spot: self.spot_of(&stations),
            phase,
            gauge: told(&self.gauge),
            label: told(&self.label),
            temperature,
            note: told(&self.note),
            mean_of,
            repeats,
            stations,
            axes,
        })
    }

    /// The sizes of a bore on three axes, where they were typed as the value: `0: 88.02; 45: 88.03; 90: 88.01 mm`.
    fn axes(&self, check: &Check, reading: &Reading) -> Result<Vec<AxisSize>, NotTaken> {
        if !self.value.contains(':') {
            return Ok(Vec::new());
        }
        let ReadingKind::Numeric(numeric) = &reading.kind else { return Ok(Vec::new()) };
        let wrong = |why: String| {
            NotTaken::new(Rule::Value, "value", why).expecting("type it as 0: 88.02; 45: 88.03; 90: 88.01 mm")
        };
        if !reading.three_axes {
            let why = format!("{} of {} is not read on three axes", reading.id, check.name);
            return Err(
                NotTaken::new(Rule::Value, "value", why).expecting("type one figure, or several with semicolons")
            );
        }
        let texts: Vec<&str> = self.value.split(';').map(str::trim).filter(|text| !text.is_empty()).collect();
        let behind = texts.last().map_or("", |last| last.trim_start_matches(|c: char| !c.is_alphabetic() && c != 'µ'));
        let unit = [behind, &self.unit, &numeric.unit].into_iter().find(|unit| !unit.is_empty());
        let unit = unit.and_then(|unit| Unit::from_symbol(unit).ok());
        let mut out = Vec::new();
        for text in texts {
            let (angle, size) =
                text.split_once(':').ok_or_else(|| wrong(format!("`{text}` does not name its axis")))?;
            let degrees = angle.trim().trim_end_matches(['°', ' ']).parse::<u16>();
            let degrees = degrees.ok().filter(|degrees| [0, 45, 90].contains(degrees));
            let degrees = degrees.ok_or_else(|| wrong(format!("`{text}`: the axes are at 0, 45 and 90 degrees")))?;
            out.push(AxisSize { degrees, size: figure("value", size.trim(), unit)? });
        }
        out.sort_by_key(|axis| axis.degrees);
        if out.iter().map(|axis| axis.degrees).ne([0, 45, 90]) {
            return Err(wrong(format!("`{}` has not each axis once", self.value)));
        }
        if told(&self.mean_of).is_some() {
            return Err(wrong("a mean stands beside three axes".to_owned()));
        }
        Ok(out)
    }

    /// Where within the place: for stations the line in the way it is kept.
    fn spot_of(&self, stations: &[EdgeStation]) -> Option<String> {
        let line = Line::named(&self.spot).filter(|_| !stations.is_empty());
        line.map(|line| line.spot()).or_else(|| told(&self.spot))
    }

    /// The stations of a straightedge as typed, rising along their line.
    fn stations(
        &self,
        state: &JobState,
        check: &Check,
        reading: &Reading,
        position: Position,
    ) -> Result<Vec<EdgeStation>, NotTaken> {
        if told(&self.stations).is_none() {
            return Ok(Vec::new());
        }
        let wrong = |why: String| NotTaken::new(Rule::Value, "stations", why);
        if told(&self.value).is_some() || told(&self.mean_of).is_some() {
            return Err(wrong("a value stands beside the stations".to_owned())
                .expecting("leave it out: the widest blade that enters is the value"));
        }
        let texts = self.stations.split([';', '\n']).map(str::trim).filter(|text| !text.is_empty());
        let mut out =
            texts.map(|text| read_station(text, &self.unit)).collect::<Result<Vec<EdgeStation>, NotTaken>>()?;
        let along = |station: &EdgeStation| station.along.number_in("mm").unwrap_or(0.0);
        out.sort_by(|a, b| along(a).total_cmp(&along(b)));
        let sheet: Vec<logbook::EngineFigure> = state.sheet.iter().map(|f| f.body.clone()).collect();
        ensure_stations(&sheet, check, reading, &position, &self.spot, &out)?;
        Ok(out)
    }
}

/// One station as typed: how far along, a colon, the blade that enters, two dots, the blade that is refused.
///
/// A unit behind the last blade stands for both, else `beside`, else millimetres; how far along is in millimetres.
fn read_station(text: &str, beside: &str) -> Result<EdgeStation, NotTaken> {
    let wrong = |why: String| {
        NotTaken::new(Rule::Value, "stations", why)
            .expecting("type it as 150: 0.05..0.06, or 150: ..0.03 where no blade enters")
    };
    let (along, gap) = text.split_once(':').ok_or_else(|| wrong(format!("`{text}` names no blade")))?;
    if along.trim().is_empty() {
        return Err(wrong(format!("`{text}` does not say how far along the line it is")));
    }
    let (enters, refused) = gap
        .split_once("..")
        .ok_or_else(|| wrong(format!("`{text}` does not say between which blades the gap lies")))?;
    let behind = refused.trim().trim_start_matches(|c: char| c.is_ascii_digit() || matches!(c, '.' | ',' | '/' | ' '));
    let unit = [behind, beside, "mm"].into_iter().find(|unit| !unit.is_empty()).and_then(|u| Unit::from_symbol(u).ok());
    let blade = |text: &str| told(text).map(|text| figure("stations", &text, unit)).transpose();
    let station = EdgeStation {
        along: figure("stations", along.trim(), Some(Unit::MILLIMETRE))?,
        enters: blade(enters)?,
        refused: blade(refused)?,
    };
    if station.enters.is_none() && station.refused.is_none() {
        return Err(wrong(format!("`{text}` has no blade")));
    }
    Ok(station)
}

/// Stations nearer than this are one place, in mm \[ours\].
const SAME_PLACE: f64 = 1.0;

/// Passes stations on a line there is, on the face, none of them twice, no refused blade thinner than the one that enters.
fn ensure_stations(
    sheet: &[logbook::EngineFigure],
    check: &Check,
    reading: &Reading,
    position: &Position,
    spot: &str,
    stations: &[EdgeStation],
) -> Result<(), NotTaken> {
    let Some(of) = &reading.face else {
        let why = format!("{} is not read station by station", check.name);
        return Err(NotTaken::new(Rule::Value, "stations", why).expecting("type its value instead"));
    };
    let Some(line) = Line::named(spot) else {
        let found = if spot.trim().is_empty() {
            "the stations lie on no line".to_owned()
        } else {
            format!("`{spot}` is no line of a straightedge")
        };
        let lines = faces::LINES.iter().map(|l| format!("{} ({}-{})", l.name, l.ends[0], l.ends[1]));
        return Err(NotTaken::new(Rule::Word, "spot", found).instead("it is one of", lines));
    };
    let wrong = |why: String, next: &str| Err(NotTaken::new(Rule::Impossible, "stations", why).expecting(next));
    let told = faces::size_told(sheet, of, position);
    let length = if let [Some(length), Some(width)] = told { Some(line.length([length, width])) } else { None };
    let mut before: Option<f64> = None;
    for station in stations {
        let name = format!("{}, {} {}", line.name.replace('-', " "), station.along.text, station.along.unit);
        let mm = |figure: &Figure| figure.number_in("mm");
        let blade = |figure: &Option<Figure>| figure.as_ref().and_then(mm);
        let Some(along) = mm(&station.along) else {
            return wrong(format!("{name}: this is no length"), "type how far along the line the station is, in mm");
        };
        if along < 0.0 || [&station.enters, &station.refused].iter().any(|f| blade(f).is_some_and(|mm| mm < 0.0)) {
            return wrong(
                format!("{name}: a figure is below nought"),
                "measure from the end that the line is named from",
            );
        }
        if let Some(length) = length.filter(|length| along > length + SAME_PLACE) {
            let why = format!("{name} lies beyond the face: the line is {} mm long", printed(length, 4));
            return wrong(
                why,
                "measure again from its first end, or put the size of the face right on the engine sheet",
            );
        }
        if before.is_some_and(|last| along - last <= SAME_PLACE) {
            return wrong(
                format!("{name} is read twice"),
                "keep the better of the two, or lay the edge once more as an entry of its own",
            );
        }
        before = Some(along);
        if let (Some(enters), Some(refused)) = (blade(&station.enters), blade(&station.refused))
            && refused < enters
        {
            let why = format!(
                "{name}: the blade of {} {} enters and a thinner one is refused",
                station.enters.as_ref().map_or("", |f| &f.text),
                station.enters.as_ref().map_or("", |f| &f.unit)
            );
            return wrong(why, "swap the two, or read the place again");
        }
    }
    Ok(())
}

/// How many readings a mean is of.
fn mean_of(text: &str, one_number: bool) -> Result<Option<u32>, NotTaken> {
    let Some(text) = told(text) else { return Ok(None) };
    let wrong = |why: String| NotTaken::new(Rule::Value, "mean_of", why);
    let n: u32 =
        text.parse().map_err(|_| wrong(format!("`{text}` is no number of readings")).expecting("type 2 or more"))?;
    if !one_number {
        return Err(wrong("it belongs to one number".to_owned()).expecting("leave it out where all readings are typed"));
    }
    match n {
        0 | 1 => Err(wrong(format!("{n} makes no mean")).expecting("type 2 or more, or leave it out")),
        n => Ok(Some(n)),
    }
}

/// Several readings of the same thing in one text: with semicolons between, or with spaces where they are no one number.
fn several(reading: &Reading, text: &str, beside: &str) -> Option<Vec<String>> {
    let ReadingKind::Numeric(numeric) = &reading.kind else { return None };
    let of_number =
        |c: char| c.is_ascii_digit() || matches!(c, '+' | '-' | '.' | ',' | '/' | '\u{2212}') || c.is_whitespace();
    let parts: Vec<&str> = if text.contains(';') {
        text.split(';').map(str::trim).filter(|part| !part.is_empty()).collect()
    } else {
        let shown = Unit::from_symbol(if beside.is_empty() { &numeric.unit } else { beside }).ok();
        if parse_quantity(text, shown).is_ok() {
            return None;
        }
        let numbers = text.trim().trim_end_matches(|c: char| !c.is_ascii_digit());
        if !numbers.chars().all(of_number) {
            return None;
        }
        numbers.split_whitespace().map(|part| part.trim_end_matches(',')).collect()
    };
    if parts.len() < 2 {
        return None;
    }
    // The unit behind the last stands for all that have none.
    let unit = if text.contains(';') {
        parts.last().map_or("", |last| last.trim_start_matches(of_number))
    } else {
        text.trim().trim_start_matches(of_number)
    };
    let whole = |part: &str| if part.chars().all(of_number) { format!("{part} {unit}") } else { part.to_owned() };
    Some(parts.into_iter().map(whole).map(|part| part.trim().to_owned()).collect())
}

fn read_repeats(check: &Check, reading: &Reading, texts: &[String], beside: &str) -> Result<Vec<Figure>, NotTaken> {
    let mut out: Vec<Figure> = Vec::new();
    for text in texts {
        let (_, figure) = read_value(check, reading, text, beside)?;
        let Some(figure) = figure else { continue };
        if let Some(first) = out.first().filter(|first| first.unit != figure.unit) {
            let why = format!("{text} stands beside {} {}", first.text, first.unit);
            return Err(NotTaken::new(Rule::Value, "value", why).expecting("type all of them in one unit"));
        }
        out.push(figure);
    }
    Ok(out)
}

fn described(state: &JobState) -> Result<&EngineLayout, NotTaken> {
    let none = || NotTaken::new(Rule::NoEngine, "position", "nobody has described the engine");
    state.layout.as_ref().ok_or_else(none)
}

fn phase(word: &str) -> Result<Option<Phase>, NotTaken> {
    let Some(word) = told(word) else { return Ok(None) };
    let found = Phase::ALL.iter().copied().find(|p| p.word() == word);
    found.map(Some).ok_or_else(|| {
        NotTaken::new(Rule::Word, "phase", format!("`{word}` is no phase")).instead("it is one of", Phase::ALL)
    })
}

fn gauge(knowledge: &Knowledge, check: &Check, id: &str) -> Result<(), NotTaken> {
    match told(id) {
        Some(id) if knowledge.gauge(&id).is_none() => {
            Err(NotTaken::new(Rule::Unknown, "gauge", format!("no gauge is called `{id}`"))
                .instead("this check is read with", &check.gauges))
        }
        _ => Ok(()),
    }
}

/// Finds check and reading.
///
/// # Errors
/// [`Rule::Unknown`] with those near it, or with the readings that the check has.
pub fn found<'k>(
    knowledge: &'k Knowledge,
    check_id: &str,
    reading_id: &str,
) -> Result<(&'k Check, &'k Reading), NotTaken> {
    let Some(check) = knowledge.check(check_id) else {
        let ids = knowledge.checks.iter().map(|c| c.id.as_str());
        return Err(NotTaken::new(Rule::Unknown, "check", format!("no check is called `{check_id}`"))
            .instead("near it are", near(check_id, ids)));
    };
    let reading = match (reading_id, check.value.readings.as_slice()) {
        ("", [only]) => Some(only),
        (id, all) => all.iter().find(|r| r.id == id),
    };
    reading.map(|r| (&check.value, r)).ok_or_else(|| {
        let found = match reading_id {
            "" => format!("{check_id} has several readings, and none is named"),
            id => format!("{check_id} has no reading `{id}`"),
        };
        NotTaken::new(Rule::Unknown, "reading", found).instead("it has", check.readings.iter().map(|r| &r.id))
    })
}

/// The ids that share a part with one that is none of them.
fn near<'k>(id: &str, all: impl Iterator<Item = &'k str>) -> Vec<&'k str> {
    let parts = || id.split(['-', '_']).filter(|part| part.len() > 3);
    all.filter(|known| parts().any(|part| known.contains(part))).take(5).collect()
}

/// Reads a place: an address, or the name of a cylinder on this engine.
///
/// # Errors
/// [`Rule::Place`]: no such address, not on this engine, or not where the check is done.
pub fn place(layout: &EngineLayout, check: &Check, text: &str) -> Result<Position, NotTaken> {
    let nowhere = |why: String| NotTaken::new(Rule::Place, "position", why);
    let position = match text.parse::<Position>() {
        Ok(position) => position,
        Err(error) => match layout.cylinder_named(text) {
            Ok(cylinder) if check.scope.contains(&Scope::Cylinder) => Position::Cylinder(cylinder),
            Ok(_) | Err(_) => return Err(nowhere(error.to_string())),
        },
    };
    fits(layout, check, &position)?;
    Ok(position)
}

fn fits(layout: &EngineLayout, check: &Check, position: &Position) -> Result<(), NotTaken> {
    on_engine(layout, "position", position)?;
    if check.scope.contains(&position.scope()) {
        return Ok(());
    }
    let scopes: Vec<&str> = check.scope.iter().map(|s| s.word()).collect();
    let why = format!("{} is done per {}, not at {}", check.name, scopes.join(" or "), position.address());
    Err(NotTaken::new(Rule::Place, "position", why).expecting("choose such a place"))
}

fn on_engine(layout: &EngineLayout, field: &str, position: &Position) -> Result<(), NotTaken> {
    layout.ensure(position).map_err(|error| NotTaken::new(Rule::Place, field, error))
}

/// Passes a reading that this engine, at this stage of strip-down, can give.
///
/// # Errors
/// [`Rule::OtherEngine`], [`Rule::Stage`] or [`Rule::Withheld`].
pub fn possible(
    state: &JobState,
    knowledge: &Knowledge,
    check: &Check,
    reading: &Reading,
    phase: Option<Phase>,
    case: Option<&Case>,
) -> Result<(), NotTaken> {
    let refuse = |rule: Rule, why: String| Err(NotTaken::new(rule, "check", why));
    let unfit = check
        .applies
        .iter()
        .chain(&reading.applies)
        .find(|a: &&AttributeIs| state.attribute(&a.attribute).is_some_and(|v| v != a.value));
    if let Some(a) = unfit {
        let why = format!(
            "{} is for engines with {} {}, and this one has {}",
            check.name,
            words(&a.attribute),
            words(&a.value),
            state.attribute(&a.attribute).map(words).unwrap_or_default()
        );
        return refuse(Rule::OtherEngine, why);
    }
    if phase.is_some_and(|p| p != Phase::AsFound) {
        return Ok(());
    }
    if let Some(why) = opened::impossible_now(state, knowledge, check) {
        return refuse(Rule::Stage, format!("{}: {why}", check.name));
    }
    if opened::closed_again(state) || check.stage == opened::AFTER_REPAIR {
        return Ok(());
    }
    match case.and_then(|case| case.advice.withheld.iter().find(|w| w.check == check.id)) {
        Some(w) => refuse(Rule::Withheld, format!("{} is withheld: {}", check.name, w.why)),
        None => Ok(()),
    }
}

/// Reads the value as the reading wants it; `beside` is the unit that stood beside the field.
///
/// # Errors
/// [`Rule::Word`] with the outcomes there are, [`Rule::Value`], [`Rule::Asks`] or [`Rule::Impossible`].
pub fn read_value(
    check: &Check,
    reading: &Reading,
    text: &str,
    beside: &str,
) -> Result<(Option<String>, Option<Figure>), NotTaken> {
    match &reading.kind {
        ReadingKind::Graded { outcomes, .. } | ReadingKind::Nominal { outcomes, .. } => {
            let word = text.trim().to_lowercase().replace(' ', "-");
            if let Some(outcome) = outcomes.iter().find(|o| **o == word) {
                return Ok((Some(outcome.clone()), None));
            }
            let found = if word.is_empty() {
                "nothing was chosen".to_owned()
            } else {
                format!("{} cannot come out as `{text}`", check.name)
            };
            Err(NotTaken::new(Rule::Word, "value", found).instead("it is one of", outcomes))
        }
        ReadingKind::Numeric(numeric) => {
            let unit =
                |field: &str, symbol: &str| Unit::from_symbol(symbol).map_err(|e| NotTaken::new(Rule::Value, field, e));
            let wanted = unit("value", &numeric.unit)?;
            let shown = if beside.is_empty() { wanted } else { unit("unit", beside)? };
            let unread = |why: String| {
                NotTaken::new(Rule::Value, "value", format!("{why} (this reading is in {})", numeric.unit))
            };
            let typed = match parse_quantity(text, Some(shown)) {
                Ok(Reply::Value(typed)) => typed,
                Ok(Reply::Question(question)) => return Err(asks("value", question)),
                Err(error) => return Err(unread(error.to_string())),
            };
            let value = typed.value_in(wanted).map_err(|e| unread(e.to_string()))?;
            if let Some(min) = numeric.min
                && value < min
            {
                let why = format!("{text} is below {min} {}, which this reading cannot be", numeric.unit);
                let wrong = NotTaken::new(Rule::Impossible, "value", why);
                return Err(wrong.expecting("look at the sign and the unit"));
            }
            Ok((None, Some(kept(text, &typed))))
        }
    }
}

fn asks(field: &str, question: Question) -> NotTaken {
    let ways: Vec<String> = question.readings.iter().map(in_one_way).collect();
    NotTaken::new(Rule::Asks(Box::new(question.clone())), field, question.ask).instead("say one of", ways)
}

/// A typed figure with its unit, for any field.
///
/// # Errors
/// [`Rule::Value`], or [`Rule::Asks`] where it has more than one reading.
pub fn figure(field: &str, text: &str, expected: Option<Unit>) -> Result<Figure, NotTaken> {
    match parse_quantity(text, expected) {
        Ok(Reply::Value(typed)) => Ok(kept(text, &typed)),
        Ok(Reply::Question(question)) => Err(asks(field, question)),
        Err(error) => Err(NotTaken::new(Rule::Value, field, error)),
    }
}

/// The digits as typed, without the unit behind them where they read the same without it.
#[must_use]
pub fn kept(text: &str, typed: &Typed) -> Figure {
    let bare = text.trim().trim_end_matches(|c: char| !c.is_ascii_digit()).trim_end();
    let same = match parse_quantity(bare, Some(typed.unit)) {
        Ok(Reply::Value(again)) => again.number.total_cmp(&typed.number).is_eq() && again.unit == typed.unit,
        Ok(Reply::Question(_)) | Err(_) => false,
    };
    let text = if same { bare } else { text.trim() };
    Figure { text: text.to_owned(), unit: typed.unit.symbol().to_owned() }
}

/// One reading of an ambiguous text, written so that it has only that reading.
#[must_use]
pub fn in_one_way(typed: &Typed) -> String {
    let plain = format!("{} {}", typed.number, typed.unit.symbol());
    let zero = if plain.contains('.') { "0" } else { ".0" };
    let longer = format!("{}{zero} {}", typed.number, typed.unit.symbol());
    let same = |text: &String| match parse_quantity(text, Some(typed.unit)) {
        Ok(Reply::Value(again)) => again.number.total_cmp(&typed.number).is_eq(),
        Ok(Reply::Question(_)) | Err(_) => false,
    };
    [plain.clone(), longer].into_iter().find(same).unwrap_or(plain)
}

/// Reads a body of a kind other than a reading.
///
/// # Errors
/// [`Rule::Body`] with what does not fit; [`Rule::Unknown`] where it names what the knowledge does not have.
pub fn body_of(kind: Kind, body: &Value, state: &JobState, knowledge: &Knowledge) -> Result<EntryBody, NotTaken> {
    known(kind, body, state, knowledge)?;
    match EntryBody::read(kind, kind.latest_version(), body) {
        Ok(Some(body)) => Ok(crate::asking::with_page(state, body)),
        Ok(None) => Err(NotTaken::new(Rule::Body, "kind", "this build does not write that version")),
        Err(error) => {
            let why = format!("it does not fit {}: {error}", kind.word());
            Err(NotTaken::new(Rule::Body, "body", why).expecting("correct that field"))
        }
    }
}

/// Passes a body that names only what the knowledge, the engine and the job have; another would be kept and mean nothing.
///
/// # Errors
/// [`Rule::Place`], [`Rule::NoEntry`], or [`Rule::Unknown`] with what there is.
pub fn known(kind: Kind, body: &Value, state: &JobState, knowledge: &Knowledge) -> Result<(), NotTaken> {
    for (name, ids) in named(kind, body, knowledge) {
        one_of(name, text(body, name), &ids)?;
    }
    let lines = body.get("lines").and_then(Value::as_array).into_iter().flatten();
    let operations: Vec<&str> = knowledge.operations.iter().map(|o| o.id.as_str()).collect();
    for (n, line) in lines.enumerate() {
        one_of("operation", text(line, "operation"), &operations).map_err(|e| within(e, n))?;
        placed(state, line).map_err(|e| within(e, n))?;
    }
    placed(state, body)?;
    crate::machine::ensure_return(kind, body, state)?;
    for name in ["order", "quote", "asked", "entry"] {
        if let Some(id) = text(body, name).and_then(|t| t.parse::<EntryId>().ok()) {
            in_job(state, name, id)?;
        }
    }
    let quotes = body.get("quotes").and_then(Value::as_array).into_iter().flatten();
    for id in quotes.filter_map(Value::as_str).filter_map(|t| t.parse().ok()) {
        in_job(state, "quotes", id)?;
    }
    Ok(())
}

fn text<'v>(body: &'v Value, name: &str) -> Option<&'v str> {
    body.get(name).and_then(Value::as_str)
}

fn within(error: NotTaken, line: usize) -> NotTaken {
    NotTaken { field: format!("lines.{line}.{}", error.field), ..error }
}

fn placed(state: &JobState, body: &Value) -> Result<(), NotTaken> {
    for name in ["position", "at"] {
        if let (Some(text), Some(layout)) = (text(body, name), &state.layout)
            && let Ok(position) = text.parse()
        {
            on_engine(layout, name, &position)?;
        }
    }
    Ok(())
}

fn in_job(state: &JobState, name: &str, id: EntryId) -> Result<(), NotTaken> {
    if state.history.iter().any(|h| h.entry == id) {
        return Ok(());
    }
    Err(NotTaken::new(Rule::NoEntry, name, format!("the job has no entry {id}")))
}

fn one_of(name: &str, id: Option<&str>, ids: &[&str]) -> Result<(), NotTaken> {
    /// A list up to this long is shown whole \[ours\].
    const SHOWN_WHOLE: usize = 24;
    let Some(id) = id.filter(|id| !ids.contains(id)) else { return Ok(()) };
    let wrong = NotTaken::new(Rule::Unknown, name, format!("no {name} is called `{id}`"));
    let near = near(id, ids.iter().copied());
    Err(if ids.len() <= SHOWN_WHOLE {
        wrong.instead("there are", ids)
    } else if near.is_empty() {
        wrong.instead("the first there are", ids.iter().take(SHOWN_WHOLE))
    } else {
        wrong.instead("near it are", near)
    })
}

/// The fields of a kind that name something of the knowledge, and what they may name.
fn named<'k>(kind: Kind, body: &Value, knowledge: &'k Knowledge) -> Vec<(&'static str, Vec<&'k str>)> {
    let field = |name: &str| text(body, name).unwrap_or_default().to_owned();
    let steps = || knowledge.steps.iter().map(|s| s.id.as_str()).collect();
    let joints = || knowledge.joints.iter().map(|j| j.id.as_str()).collect();
    match kind {
        Kind::StageReached => vec![("stage", knowledge.stages.iter().map(|s| s.id.as_str()).collect())],
        Kind::CautionTicked => vec![("caution", knowledge.cautions.iter().map(|c| c.id.as_str()).collect())],
        Kind::OutsideAnswered => vec![("fault", knowledge.outside.iter().map(|o| o.id.as_str()).collect())],
        Kind::ResidueSeen => vec![
            ("residue", knowledge.residues.iter().map(|r| r.id.as_str()).collect()),
            ("place", knowledge.places.iter().map(|p| p.id.as_str()).collect()),
        ],
        Kind::GaugeDescribed => vec![("gauge", knowledge.gauges.iter().map(|g| g.id.as_str()).collect())],
        Kind::OptionChosen
        | Kind::OptionRuledOut
        | Kind::QuoteReceived
        | Kind::ApprovalAsked
        | Kind::ApprovalRefused => vec![("option", knowledge.options.iter().map(|o| o.id.as_str()).collect())],
        Kind::CauseNamed => vec![("cause", knowledge.causes.iter().map(|c| c.id.as_str()).collect())],
        Kind::OutcomeFound => {
            let of = field("condition");
            let states = knowledge.states_of(&of).unwrap_or_default().iter().map(String::as_str).collect();
            let conditions = knowledge.conditions.iter().map(|c| c.id.as_str());
            let conditions = conditions.chain(knowledge.causes.iter().map(|c| c.id.as_str())).collect();
            vec![("condition", conditions), ("state", states)]
        }
        Kind::WaitStarted => {
            let timed = knowledge.checks.iter().filter(|c| c.stands.is_some());
            vec![("check", timed.map(|c| c.id.as_str()).collect())]
        }
        Kind::ReadingSkipped => vec![("check", knowledge.checks.iter().map(|c| c.id.as_str()).collect())],
        Kind::AttributeTold => {
            let attribute = knowledge.attributes.iter().find(|a| a.id == field("attribute"));
            let values = attribute.map(|a| a.values.iter().map(String::as_str));
            let attributes = knowledge.attributes.iter().map(|a| a.id.as_str()).collect();
            vec![("attribute", attributes), ("value", values.into_iter().flatten().collect())]
        }
        Kind::PartBagged => {
            let keeps = knowledge.keeps.iter().map(|k| k.id.as_str()).collect();
            vec![("joint", joints()), ("stage", steps()), ("keep", keeps)]
        }
        Kind::BuildStepDone | Kind::StageLeftOut | Kind::BagEmptied => vec![("stage", steps())],
        Kind::HoldPointSigned | Kind::HoldPointPassedOpen => {
            let stage = knowledge.steps.iter().find(|s| s.id == field("stage"));
            let holds = stage.map(|s| s.holds.iter().map(|h| h.record.as_str()));
            vec![("stage", steps()), ("hold", holds.into_iter().flatten().collect())]
        }
        Kind::BoltsPlaced | Kind::BoltTightened | Kind::BoltRestarted | Kind::JointDisturbed => {
            vec![("joint", joints())]
        }
        Kind::JobOpened
        | Kind::ComplaintHeard
        | Kind::EngineDescribed
        | Kind::VehicleDescribed
        | Kind::PromiseMade
        | Kind::CustomerTold
        | Kind::EngineFigureSet
        | Kind::SheetAdopted
        | Kind::GaugeDoubted
        | Kind::GaugeCleared
        | Kind::ReadingTaken
        | Kind::PhotoKept
        | Kind::AdviceOverruled
        | Kind::MoneyTold
        | Kind::LimitsTold
        | Kind::ApprovalGiven
        | Kind::TimeWorked
        | Kind::CostBooked
        | Kind::CauseUnknownSigned
        | Kind::PartOrdered
        | Kind::PartArrived
        | Kind::PartFitted
        | Kind::PartReturned
        | Kind::MachineOrderSent
        | Kind::MachineWorkReturned
        | Kind::EngineRun
        | Kind::PaperIssued
        | Kind::HandedBack
        | Kind::ComebackOpened
        | Kind::ComebackDecided
        | Kind::JobClosed
        | Kind::PersonalDataErased
        | Kind::NoteWritten
        | Kind::EntryWithdrawn
        | Kind::EntryCorrected => Vec::new(),
    }
}

/// What may still be written into a closed job: words, papers, what comes back later, and what opens it again.
const AFTER_CLOSE: &[Kind] = &[
    Kind::NoteWritten,
    Kind::PhotoKept,
    Kind::CustomerTold,
    Kind::PaperIssued,
    Kind::PartReturned,
    Kind::OutcomeFound,
    Kind::PersonalDataErased,
    Kind::ComebackOpened,
];

/// Whether a kind may be written into a job as it stands; a closed one takes few.
#[must_use]
pub fn open_for(state: &JobState, kind: Kind) -> bool {
    state.closed.is_none() || AFTER_CLOSE.contains(&kind) || kind == Kind::JobClosed
}

/// How a closed job ended, in words; none while it is open. A closed job is offered no advice.
#[must_use]
pub fn ended(state: &JobState) -> Option<String> {
    let closed = state.closed.as_ref()?;
    let how = match closed.how {
        Ending::HandedBack => "the engine was handed back",
        Ending::TakenAway => "the engine was taken away as it was",
        Ending::Scrapped => "the engine was scrapped",
    };
    Some(format!("the job is closed: {how}"))
}

/// Passes an entry that the job as it stands allows: `after` is the same job with the entry in it.
///
/// # Errors
/// [`Rule::Closed`], [`Rule::NoEntry`], [`Rule::Withdrawn`], [`Rule::Caution`], [`Rule::Hold`], [`Rule::Ceiling`];
/// for a correction also what refuses the new body.
pub fn ensure(state: &JobState, after: &JobState, knowledge: &Knowledge, body: &EntryBody) -> Result<(), NotTaken> {
    let target = if let EntryBody::EntryWithdrawn(b) = body {
        Some(b.entry)
    } else if let EntryBody::EntryCorrected(b) = body {
        Some(b.entry)
    } else {
        None
    };
    let kind = match target {
        None => Some(body.kind()),
        Some(id) => {
            in_job(state, "entry", id)?;
            let line = state.history.iter().find(|h| h.entry == id);
            if let Some(InForce::Withdrawn { by }) = line.map(|l| &l.status) {
                let why = format!("it is withdrawn already, by entry {by}");
                let withdrawn = NotTaken::new(Rule::Withdrawn, "entry", why);
                return Err(withdrawn.expecting("withdraw that one to bring it back"));
            }
            line.and_then(|l| Kind::from_word(&l.kind))
        }
    };
    if kind.is_none_or(|k| !open_for(state, k))
        && let Some(ended) = ended(state)
    {
        return Err(NotTaken::new(Rule::Closed, "kind", ended).expecting("reopen it first"));
    }
    if let EntryBody::EntryCorrected(correction) = body {
        corrected(state, knowledge, kind, &correction.body)?;
    } else {
        held_up(state, knowledge, body)?;
        gates::ensure(state, knowledge, body)?;
        tightening::ensure(body)?;
        bags::ensure(state, body)?;
    }
    let corrects = matches!(body, EntryBody::EntryCorrected(_));
    committed::ensure_within(state, after, corrects).map_err(|beyond| {
        let fields = [
            (Kind::TimeWorked, "time"),
            (Kind::CostBooked, "amount"),
            (Kind::OptionChosen, "option"),
            (Kind::MachineOrderSent, "quote"),
            (Kind::EntryCorrected, "entry"),
            (Kind::EntryWithdrawn, "entry"),
            (Kind::MoneyTold, "labour_rate"),
        ];
        let its = fields.iter().find(|(kind, _)| *kind == body.kind()).map_or("price", |(_, field)| field);
        let field = if matches!(beyond, Beyond::Lifted { .. }) { "ceiling" } else { its };
        NotTaken::new(Rule::Ceiling, field, beyond).expecting("a new yes comes first")
    })
}

/// A correction is held to what its kind is held to; what moved on since the entry does not count against it.
fn corrected(state: &JobState, knowledge: &Knowledge, kind: Option<Kind>, body: &Value) -> Result<(), NotTaken> {
    let Some(kind) = kind else {
        let why = "the kind of the entry is not known to this build";
        return Err(NotTaken::new(Rule::Body, "entry", why).expecting("open the job with the newer build"));
    };
    if matches!(kind, Kind::EntryWithdrawn | Kind::EntryCorrected) {
        let why = "a withdrawal or a correction is undone by withdrawing it";
        return Err(NotTaken::new(Rule::OwnWay, "entry", why));
    }
    let body = body_of(kind, body, state, knowledge)?;
    gates::ensure_corrected(state, knowledge, &body)?;
    tightening::ensure(&body)?;
    bags::ensure(state, &body)?;
    let EntryBody::ReadingTaken(reading) = body else { return Ok(()) };
    let (check, of) = found(knowledge, &reading.check, &reading.reading)?;
    fits(described(state)?, check, &reading.position)?;
    gauge(knowledge, check, reading.gauge.as_deref().unwrap_or_default())?;
    match (&reading.outcome, &reading.value) {
        (Some(outcome), _) => read_value(check, of, outcome, "").map(|_| ()),
        (None, Some(value)) => read_value(check, of, &value.text, &value.unit).map(|_| ()),
        (None, None) if !reading.axes.is_empty() && of.three_axes => Ok(()),
        (None, None) if !reading.axes.is_empty() => {
            let why = format!("{} of {} is not read on three axes", of.id, check.name);
            Err(NotTaken::new(Rule::Value, "axes", why).expecting("give its value"))
        }
        (None, None) if !reading.stations.is_empty() => {
            let sheet: Vec<logbook::EngineFigure> = state.sheet.iter().map(|f| f.body.clone()).collect();
            let spot = reading.spot.as_deref().unwrap_or_default();
            ensure_stations(&sheet, check, of, &reading.position, spot, &reading.stations)
        }
        (None, None) => reading.repeats.iter().try_for_each(|f| read_value(check, of, &f.text, &f.unit).map(|_| ())),
    }
}

/// The cautions among some that hold work up on this engine and are not ticked.
#[must_use]
pub fn holding(ids: &[String], state: &JobState, knowledge: &Knowledge) -> Vec<String> {
    let told = crate::told(state, knowledge);
    let attribute = |name: &str| told.get(name).map(String::as_str).or_else(|| state.attribute(name));
    let holds = |id: &String| {
        let found = knowledge.cautions.iter().find(|c| c.id == *id);
        // One that the knowledge does not have cannot be read, so it holds.
        found.is_none_or(|c| c.hold) && !state.cautions_ticked.contains(id)
    };
    knowledge.cautions_for(ids, attribute).into_iter().filter(holds).collect()
}

fn ticked(ids: &[String], what: &str, state: &JobState, knowledge: &Knowledge) -> Result<(), NotTaken> {
    let Some(id) = holding(ids, state, knowledge).into_iter().next() else { return Ok(()) };
    let text = knowledge.cautions.iter().find(|c| c.id == id).map_or_else(|| words(&id), |c| c.text.clone());
    let why = format!("{what} is held up by the caution {id}, which nobody has ticked: {text}");
    Err(NotTaken::new(Rule::Caution(id), "caution", why).expecting("read it, keep to it, tick it"))
}

/// Passes work whose cautions are ticked and whose hold points before it are witnessed.
fn held_up(state: &JobState, knowledge: &Knowledge, body: &EntryBody) -> Result<(), NotTaken> {
    let build = |id: &str| knowledge.steps.iter().map(|s| &s.value).find(|s| s.id == id);
    let stage = if let EntryBody::ReadingTaken(b) = body {
        let Some(check) = knowledge.check(&b.check) else { return Ok(()) };
        return ticked(&check.cautions, &check.name, state, knowledge);
    } else if let EntryBody::WaitStarted(b) = body {
        let Some(check) = knowledge.check(&b.check) else { return Ok(()) };
        fits(described(state)?, check, &b.position)?;
        return ticked(&check.cautions, &check.name, state, knowledge);
    } else if let EntryBody::BuildStepDone(b) = body {
        build(&b.stage)
    } else if let EntryBody::HoldPointSigned(b) = body {
        build(&b.stage)
    } else if let EntryBody::EngineRun(b) = body {
        Some(gates::FIRST_START).filter(|_| b.run == RunKind::FirstStart).and_then(build)
    } else {
        None
    };
    let Some(stage) = stage else { return Ok(()) };
    ticked(&stage.caution_ids, &stage.title, state, knowledge)
}
