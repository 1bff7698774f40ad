//! What was typed becomes a body: read, held against the knowledge and the engine, refused field by field.
//!
//! The rules are those of the command line's `enter` and `tell`; both doors call the same rooms.

use std::collections::BTreeMap;

use anatomy::{EngineLayout, Position, Scope};
use knowledge::{AttributeIs, Check, Knowledge, Reading, ReadingKind};
use logbook::{Figure, JobState, Kind, Phase, ReadingBody};
use quantity::{Question, Reply, Typed, Unit, parse_quantity};
use serde_json::Value;
use workup::Case;

use crate::trouble::FieldTrouble;
use crate::words::words;

/// A reading as typed.
#[derive(Debug, Clone, Default)]
pub(crate) struct Given {
    pub(crate) check: String,
    pub(crate) reading: String,
    pub(crate) position: String,
    /// A figure with or without its unit, or an outcome in words.
    pub(crate) value: String,
    /// The unit that stood beside the number; left out: that of the reading.
    pub(crate) unit: String,
    pub(crate) phase: String,
    pub(crate) spot: String,
    pub(crate) gauge: String,
    pub(crate) label: String,
    pub(crate) temperature: String,
    pub(crate) note: String,
}

/// Why a reading was not taken.
#[derive(Debug, Clone)]
pub(crate) enum Refused {
    /// Fields that do not fit.
    Fields(Vec<FieldTrouble>),
    /// The value has more than one reading, and only the typist can say which.
    Asks(Question),
}

fn one(field: &str, message: impl ToString) -> Refused {
    Refused::Fields(vec![FieldTrouble::new(field, message)])
}

fn told(text: &str) -> Option<String> {
    let text = text.trim();
    (!text.is_empty()).then(|| text.to_owned())
}

impl Given {
    /// The body of the entry, or what refuses it.
    pub(crate) fn body(
        &self,
        state: &JobState,
        knowledge: &Knowledge,
        case: Option<&Case>,
    ) -> Result<ReadingBody, Refused> {
        self.read(state, knowledge, |check, reading, phase| possible(state, knowledge, check, reading, phase, case))
    }

    /// The body of a reading that was taken earlier and is put right: what can be read now does not matter.
    pub(crate) fn body_put_right(&self, state: &JobState, knowledge: &Knowledge) -> Result<ReadingBody, Refused> {
        self.read(state, knowledge, |_, _, _| Ok(()))
    }

    fn read(
        &self,
        state: &JobState,
        knowledge: &Knowledge,
        allowed: impl Fn(&Check, &Reading, Option<Phase>) -> Result<(), String>,
    ) -> Result<ReadingBody, Refused> {
        let Some(layout) = &state.layout else {
            return Err(one("position", "nobody has described the engine; do that first, under Hear"));
        };
        let (check, reading) = found(knowledge, &self.check, &self.reading)?;
        let position = place(layout, check, &self.position).map_err(|why| one("position", why))?;
        let phase = phase(&self.phase)?;
        allowed(check, reading, phase).map_err(|why| one("check", why))?;
        if let Some(gauge) = told(&self.gauge)
            && knowledge.gauge(&gauge).is_none()
        {
            return Err(one("gauge", format!("no gauge is called `{gauge}`; choose one of the list, or leave it out")));
        }
        let (outcome, value) = read_value(check, reading, &self.value, &self.unit)?;
        let temperature = match told(&self.temperature) {
            None => None,
            Some(text) => Some(figure(&text, Unit::from_symbol("°C").ok()).map_err(|why| one("temperature", why))?),
        };
        Ok(ReadingBody {
            check: check.id.clone(),
            reading: reading.id.clone(),
            position,
            outcome,
            value,
            spot: told(&self.spot),
            phase,
            gauge: told(&self.gauge),
            label: told(&self.label),
            temperature,
            note: told(&self.note),
        })
    }
}

fn phase(word: &str) -> Result<Option<Phase>, Refused> {
    match word.trim() {
        "" => Ok(None),
        word => Phase::ALL
            .iter()
            .copied()
            .find(|p| p.word() == word)
            .map(Some)
            .ok_or_else(|| one("phase", format!("`{word}` is none; it is as-found, arrival, as-left or recheck"))),
    }
}

/// Finds check and reading; the near ones are named when there is none.
pub(crate) fn found<'k>(
    knowledge: &'k Knowledge,
    check_id: &str,
    reading_id: &str,
) -> Result<(&'k Check, &'k Reading), Refused> {
    let Some(check) = knowledge.check(check_id) else {
        let near: Vec<&str> = knowledge
            .checks
            .iter()
            .map(|c| c.id.as_str())
            .filter(|id| check_id.split('-').any(|part| part.len() > 3 && id.contains(part)))
            .take(5)
            .collect();
        let near = if near.is_empty() { String::new() } else { format!("; near it are {}", near.join(", ")) };
        return Err(one("check", format!("no check is called `{check_id}`{near}")));
    };
    let reading = match (reading_id, check.value.readings.as_slice()) {
        ("", [only]) => Some(only),
        (id, all) => all.iter().find(|r| r.id == id),
    };
    reading.map(|r| (&check.value, r)).ok_or_else(|| {
        let ids: Vec<&str> = check.readings.iter().map(|r| r.id.as_str()).collect();
        one("reading", format!("{check_id} has no reading `{reading_id}`; it has {}", ids.join(", ")))
    })
}

/// Reads a place: an address, or the name of a cylinder on this engine.
///
/// # Errors
/// Says what is wrong with the place: no such address, not on this engine, or not where the check is done.
pub fn place(layout: &EngineLayout, check: &Check, text: &str) -> Result<Position, String> {
    let position = match text.parse::<Position>() {
        Ok(position) => position,
        Err(error) => match layout.cylinder_named(text) {
            Ok(cylinder) if check.scope.contains(&Scope::Cylinder) => Position::Cylinder(cylinder),
            Ok(_) | Err(_) => return Err(error.to_string()),
        },
    };
    layout.ensure(&position).map_err(|error| error.to_string())?;
    if !check.scope.contains(&position.scope()) {
        let scopes: Vec<&str> = check.scope.iter().map(|s| s.word()).collect();
        return Err(format!(
            "{} is done per {}, not at {}; choose such a place",
            check.name,
            scopes.join(" or "),
            position.address()
        ));
    }
    Ok(position)
}

/// Refuses a reading that this engine, or this stage of strip-down, cannot give.
pub(crate) fn possible(
    state: &JobState,
    knowledge: &Knowledge,
    check: &Check,
    reading: &Reading,
    phase: Option<Phase>,
    case: Option<&Case>,
) -> Result<(), String> {
    let unfit = check
        .applies
        .iter()
        .chain(&reading.applies)
        .find(|a: &&AttributeIs| state.attribute(&a.attribute).is_some_and(|v| v != a.value));
    if let Some(a) = unfit {
        return Err(format!(
            "{} is for engines with {} {}, and this one has {}; correct the engine if that is wrong",
            check.name,
            words(&a.attribute),
            words(&a.value),
            state.attribute(&a.attribute).map(words).unwrap_or_default()
        ));
    }
    if phase.is_some_and(|p| p != Phase::AsFound) {
        return Ok(());
    }
    if let Some(why) = workup::impossible_now(state, knowledge, check) {
        return Err(format!("{}: {why}; the stage is told under Strip", check.name));
    }
    if workup::opened::closed_again(state) || check.stage == workup::opened::AFTER_REPAIR {
        return Ok(());
    }
    match case.and_then(|case| case.advice.withheld.iter().find(|w| w.check == check.id)) {
        Some(w) => {
            Err(format!("{} is withheld: {}; if it was done all the same, write it down as a note", check.name, w.why))
        }
        None => Ok(()),
    }
}

/// Reads the value as the reading wants it.
fn read_value(
    check: &Check,
    reading: &Reading,
    text: &str,
    beside: &str,
) -> Result<(Option<String>, Option<Figure>), Refused> {
    match &reading.kind {
        ReadingKind::Graded { outcomes, .. } | ReadingKind::Nominal { outcomes, .. } => {
            let word = text.trim().to_lowercase().replace(' ', "-");
            match outcomes.iter().find(|o| **o == word) {
                Some(outcome) => Ok((Some(outcome.clone()), None)),
                None if word.is_empty() => Err(one("value", "nothing was chosen; take what you saw")),
                None => Err(one(
                    "value",
                    format!("{} cannot come out as `{text}`; it is one of {}", check.name, outcomes.join(", ")),
                )),
            }
        }
        ReadingKind::Numeric(numeric) => {
            let unit = Unit::from_symbol(&numeric.unit).map_err(|e| one("value", e))?;
            let shown = if beside.is_empty() { unit } else { Unit::from_symbol(beside).map_err(|e| one("unit", e))? };
            let typed = match parse_quantity(text, Some(shown)) {
                Ok(Reply::Value(typed)) => typed,
                Ok(Reply::Question(question)) => return Err(Refused::Asks(question)),
                Err(error) => return Err(one("value", format!("{error} (this reading is in {})", numeric.unit))),
            };
            let value = typed.value_in(unit).map_err(|e| one("value", e))?;
            if let Some(min) = numeric.min
                && value < min
            {
                return Err(one(
                    "value",
                    format!(
                        "{text} is below {min} {}, which this reading cannot be; look at the sign and the unit",
                        numeric.unit
                    ),
                ));
            }
            Ok((None, Some(kept(text, &typed))))
        }
    }
}

/// A typed figure with its unit, for any field.
pub(crate) fn figure(text: &str, expected: Option<Unit>) -> Result<Figure, String> {
    match parse_quantity(text, expected) {
        Ok(Reply::Value(typed)) => Ok(kept(text, &typed)),
        Ok(Reply::Question(question)) => Err(format!("{question}; type it so that one reading is left")),
        Err(error) => Err(error.to_string()),
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
pub(crate) fn in_one_way(typed: &Typed) -> String {
    let plain = format!("{} {}", typed.number, typed.unit.symbol());
    let zero = if plain.contains('.') { "0" } else { ".0" };
    let longer = format!("{}{zero} {}", typed.number, typed.unit.symbol());
    let same = |text: &String| match parse_quantity(text, Some(typed.unit)) {
        Ok(Reply::Value(again)) => again.number.total_cmp(&typed.number).is_eq(),
        Ok(Reply::Question(_)) | Err(_) => false,
    };
    [plain.clone(), longer].into_iter().find(same).unwrap_or(plain)
}

/// Refuses a body that names something the knowledge or the engine does not have: it would be kept and mean nothing.
pub(crate) fn known(kind: Kind, body: &Value, state: &JobState, knowledge: &Knowledge) -> Result<(), FieldTrouble> {
    let field = |name: &str| body.get(name).and_then(Value::as_str);
    for place in ["position", "at"] {
        if let (Some(text), Some(layout)) = (field(place), &state.layout)
            && let Ok(position) = text.parse()
        {
            layout.ensure(&position).map_err(|e| FieldTrouble::new(place, e))?;
        }
    }
    named(kind, body, knowledge).into_iter().try_for_each(|(name, ids)| match field(name) {
        Some(id) if !ids.contains(&id) => {
            Err(FieldTrouble::new(name, format!("no {name} is called `{id}`; there are {}", ids.join(", "))))
        }
        _ => Ok(()),
    })
}

/// The fields of a kind that name something of the knowledge, and what they may name.
fn named<'k>(kind: Kind, body: &Value, knowledge: &'k Knowledge) -> BTreeMap<&'static str, Vec<&'k str>> {
    let field = |name: &str| body.get(name).and_then(Value::as_str).unwrap_or_default().to_owned();
    let mut out = BTreeMap::new();
    let mut may = |name: &'static str, ids: Vec<&'k str>| {
        out.insert(name, ids);
    };
    if kind == Kind::StageReached {
        may("stage", knowledge.stages.iter().map(|s| s.id.as_str()).collect());
    }
    if kind == Kind::CautionTicked {
        may("caution", knowledge.cautions.iter().map(|c| c.id.as_str()).collect());
    }
    if kind == Kind::OutsideAnswered {
        may("fault", knowledge.outside.iter().map(|o| o.id.as_str()).collect());
    }
    if kind == Kind::ResidueSeen {
        may("residue", knowledge.residues.iter().map(|r| r.id.as_str()).collect());
    }
    if kind == Kind::GaugeDescribed {
        may("gauge", knowledge.gauges.iter().map(|g| g.id.as_str()).collect());
    }
    if matches!(kind, Kind::OptionChosen | Kind::OptionRuledOut | Kind::QuoteReceived) {
        may("option", knowledge.options.iter().map(|o| o.id.as_str()).collect());
    }
    if kind == Kind::CauseNamed {
        may("cause", knowledge.causes.iter().map(|c| c.id.as_str()).collect());
    }
    if kind == Kind::OutcomeFound {
        may("condition", knowledge.conditions.iter().map(|c| c.id.as_str()).collect());
        if let Some(condition) = knowledge.condition(&field("condition")) {
            may("state", condition.states.iter().map(String::as_str).collect());
        }
    }
    if kind == Kind::ReadingSkipped {
        may("check", knowledge.checks.iter().map(|c| c.id.as_str()).collect());
    }
    if kind == Kind::AttributeTold {
        may("attribute", knowledge.attributes.iter().map(|a| a.id.as_str()).collect());
        if let Some(attribute) = knowledge.attributes.iter().find(|a| a.id == field("attribute")) {
            may("value", attribute.values.iter().map(String::as_str).collect());
        }
    }
    out
}
