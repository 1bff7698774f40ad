//! What a calculator is, the list of them, and the answer.

use std::fmt;

use quantity::{Currency, Money, Unit};
use serde::ser::{SerializeMap, SerializeStruct};
use serde::{Serialize, Serializer};

use crate::doubt::{COMMON_KEYS, Drawn, Share, check_by_draws, combine};
use crate::error::CalcError;
use crate::given::Given;
use crate::shown::asked_in;

/// The probability that a normal value lies within one standard uncertainty of its mean.
pub const COVERAGE_OF_ONE_U: f64 = 0.682_689_492_137_085_9;

/// The numerical step of the propagation, as a part of the standard uncertainty.
const STEP: f64 = 0.01;

/// What an input is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum InputKind {
    /// One number with a unit, and an uncertainty if it has one.
    Number,
    /// A word or a name.
    Text,
    /// One of a few words.
    Choice,
    /// Rows of numbers.
    Table,
    /// Rows of words and numbers, read by the calculator itself.
    Lines,
}

/// What part of the work a calculator belongs to; the list, the page and the handbook are sorted by it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Group {
    /// Faces of head and block.
    Faces,
    /// Bores, pistons and rings.
    Bores,
    /// Crank, journals and bearings.
    Bearings,
    /// Volumes, ratio and timing.
    Volumes,
    /// Valves and springs.
    Valves,
    /// Press fits, limits and fits.
    Fits,
    /// Threads, bolts and torque.
    Threads,
    /// Pressures and leaks.
    Air,
    /// How long parts last and how far a vehicle has gone.
    Lives,
    /// Doubt, limits and units.
    Judging,
    /// What goes on a paper.
    Papers,
}

impl Group {
    /// Every group, in the sequence of the list.
    pub const ALL: [Self; 11] = [
        Self::Faces,
        Self::Bores,
        Self::Bearings,
        Self::Volumes,
        Self::Valves,
        Self::Fits,
        Self::Threads,
        Self::Air,
        Self::Lives,
        Self::Judging,
        Self::Papers,
    ];

    /// Its heading for people.
    #[must_use]
    pub const fn heading(self) -> &'static str {
        match self {
            Self::Faces => "Faces of head and block",
            Self::Bores => "Bores, pistons and rings",
            Self::Bearings => "Crank, journals and bearings",
            Self::Volumes => "Volumes, ratio and timing",
            Self::Valves => "Valves and springs",
            Self::Fits => "Press fits, limits and fits",
            Self::Threads => "Threads, bolts and torque",
            Self::Air => "Pressures and leaks",
            Self::Lives => "Lives and mileages",
            Self::Judging => "Doubt, limits and units",
            Self::Papers => "For the papers",
        }
    }
}

/// Which numbers an input takes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Domain {
    /// Any finite number.
    Any,
    /// Zero or more.
    NotNegative,
    /// Above zero.
    Positive,
    /// Between two numbers, both included, in the unit of the input.
    Between(f64, f64),
}

impl Domain {
    /// Whether it takes this number.
    #[must_use]
    pub fn takes(self, value: f64) -> bool {
        match self {
            Self::Any => value.is_finite(),
            Self::NotNegative => value >= 0.0,
            Self::Positive => value > 0.0,
            Self::Between(low, high) => value >= low && value <= high,
        }
    }
}

/// One thing a calculator is told.
#[derive(Debug, Clone, Copy)]
pub struct Input {
    /// The key before the equals sign.
    pub key: &'static str,
    /// The unit it is computed in; any unit of the kind may be typed. None for text, and for numbers of any kind.
    pub unit: Option<Unit>,
    /// What it is, in one line.
    pub meaning: &'static str,
    /// Whether it must be given.
    pub required: bool,
    /// What is taken when it is not given, as text.
    pub default: Option<&'static str>,
    /// Number, text or table.
    pub kind: InputKind,
    /// Which numbers it takes.
    pub domain: Domain,
    /// The words it takes, for a choice.
    pub choices: &'static [&'static str],
    /// For a table: whether every cell is one and the same kind of reading, so that a unit typed once holds for all of them.
    pub alike: bool,
}

impl Input {
    pub(crate) const fn number(key: &'static str, unit: Unit, meaning: &'static str) -> Self {
        Self {
            key,
            unit: Some(unit),
            meaning,
            required: true,
            default: None,
            kind: InputKind::Number,
            domain: Domain::Positive,
            choices: &[],
            alike: false,
        }
    }

    pub(crate) const fn any_number(key: &'static str, meaning: &'static str) -> Self {
        Self::bare(key, meaning, InputKind::Number)
    }

    pub(crate) const fn text(key: &'static str, meaning: &'static str) -> Self {
        Self::bare(key, meaning, InputKind::Text)
    }

    pub(crate) const fn choice(key: &'static str, meaning: &'static str, choices: &'static [&'static str]) -> Self {
        let mut input = Self::bare(key, meaning, InputKind::Choice);
        input.choices = choices;
        input
    }

    pub(crate) const fn lines(key: &'static str, meaning: &'static str) -> Self {
        Self::bare(key, meaning, InputKind::Lines)
    }

    const fn bare(key: &'static str, meaning: &'static str, kind: InputKind) -> Self {
        Self {
            key,
            unit: None,
            meaning,
            required: true,
            default: None,
            kind,
            domain: Domain::Any,
            choices: &[],
            alike: false,
        }
    }

    pub(crate) const fn table(key: &'static str, unit: Unit, meaning: &'static str) -> Self {
        Self {
            key,
            unit: Some(unit),
            meaning,
            required: true,
            default: None,
            kind: InputKind::Table,
            domain: Domain::Any,
            choices: &[],
            alike: false,
        }
    }

    pub(crate) const fn readings(key: &'static str, unit: Unit, meaning: &'static str) -> Self {
        let mut input = Self::table(key, unit, meaning);
        input.alike = true;
        input
    }

    pub(crate) const fn optional(mut self) -> Self {
        self.required = false;
        self
    }

    pub(crate) const fn or(mut self, default: &'static str) -> Self {
        self.required = false;
        self.default = Some(default);
        self
    }

    pub(crate) const fn within(mut self, domain: Domain) -> Self {
        self.domain = domain;
        self
    }

    /// The unit as shown to people: its symbol, `any`, or nothing for text.
    #[must_use]
    pub const fn unit_symbol(&self) -> &'static str {
        match (self.unit, self.kind) {
            (Some(unit), _) => unit.symbol(),
            (None, InputKind::Number) => "any",
            (None, InputKind::Text | InputKind::Choice | InputKind::Table | InputKind::Lines) => "",
        }
    }
}

impl Serialize for Input {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut row = serializer.serialize_struct("Input", 7)?;
        row.serialize_field("key", self.key)?;
        row.serialize_field("unit", self.unit_symbol())?;
        row.serialize_field("meaning", self.meaning)?;
        row.serialize_field("required", &self.required)?;
        row.serialize_field("default", &self.default)?;
        row.serialize_field("kind", &self.kind)?;
        row.serialize_field("choices", self.choices)?;
        row.end()
    }
}

/// One thing a calculator says.
#[derive(Debug, Clone, Copy)]
pub struct Output {
    /// The key in the result.
    pub key: &'static str,
    /// Its unit; none when it takes the unit of an input.
    pub unit: Option<Unit>,
    /// What it is, in one line.
    pub meaning: &'static str,
}

impl Output {
    pub(crate) const fn new(key: &'static str, unit: Unit, meaning: &'static str) -> Self {
        Self { key, unit: Some(unit), meaning }
    }

    pub(crate) const fn any(key: &'static str, meaning: &'static str) -> Self {
        Self { key, unit: None, meaning }
    }
}

impl Serialize for Output {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut row = serializer.serialize_struct("Output", 3)?;
        row.serialize_field("key", self.key)?;
        row.serialize_field("unit", self.unit.map_or("any", Unit::symbol))?;
        row.serialize_field("meaning", self.meaning)?;
        row.end()
    }
}

/// A bench calculator: what it is told, what it says, where its formula comes from, and the formula.
#[derive(Debug, Clone, Copy)]
pub struct Calculator {
    /// Its id, in trade words with hyphens.
    pub id: &'static str,
    /// What part of the work it belongs to.
    pub group: Group,
    /// Its name for people.
    pub name: &'static str,
    /// What it answers, in one line.
    pub meaning: &'static str,
    /// What it is told.
    pub inputs: &'static [Input],
    /// What it says.
    pub outputs: &'static [Output],
    /// How each result is worked out, line by line in the keys, so that anybody can do it again by hand: `key = …` in plain
    /// arithmetic of the declared units and of degrees, with `with KEY:`, `with KEY=word:`, `without KEY:` or `else:` before it where
    /// it holds only then, and `key is …` in words where it is a search or a table. A key that was given is not worked out.
    pub workings: &'static [&'static str],
    /// Where its formula comes from, each with its tag.
    pub sources: &'static [&'static str],
    /// One worked call, as keys and texts.
    pub example: &'static [(&'static str, &'static str)],
    /// What to beware of where its answer is used; shown wherever the answer is.
    pub cautions: &'static [&'static str],
    /// The bare formula, without propagation of doubt; use [`Calculator::run`].
    pub formula: fn(&Given) -> Result<Computed, CalcError>,
}

/// What a bare formula hands back.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Computed {
    /// Key, value, unit where it is not the declared one, and doubt of the formula's own.
    pub lines: Vec<(&'static str, f64, Option<Unit>, f64)>,
    /// Key and amount, for results in money.
    pub money: Vec<(&'static str, Money)>,
    /// Key of a result and the parts of its own doubt, where the formula knows them one by one.
    pub shares: Vec<(&'static str, Vec<Share>)>,
    /// Remarks for people.
    pub notes: Vec<String>,
}

impl Computed {
    pub(crate) fn put(&mut self, key: &'static str, value: f64) {
        self.lines.push((key, value, None, 0.0));
    }

    pub(crate) fn put_with(&mut self, key: &'static str, value: f64, u: f64) {
        self.lines.push((key, value, None, u));
    }

    pub(crate) fn put_in(&mut self, key: &'static str, value: f64, unit: Unit) {
        self.lines.push((key, value, Some(unit), 0.0));
    }

    pub(crate) fn put_money(&mut self, key: &'static str, amount: Money) {
        self.money.push((key, amount));
    }

    pub(crate) fn note(&mut self, note: impl Into<String>) {
        self.notes.push(note.into());
    }
}

/// What a value of an answer is counted in: a unit of measure or a currency.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ResultUnit {
    /// A unit of measure.
    Measure(Unit),
    /// A currency of ISO 4217.
    Money(Currency),
}

impl ResultUnit {
    /// The symbol of the unit, or the three letters of the currency.
    #[must_use]
    pub fn symbol(self) -> &'static str {
        match self {
            Self::Measure(unit) => unit.symbol(),
            Self::Money(currency) => currency.code(),
        }
    }
}

impl fmt::Display for ResultUnit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.symbol())
    }
}

impl PartialEq<Unit> for ResultUnit {
    fn eq(&self, other: &Unit) -> bool {
        matches!(self, Self::Measure(unit) if unit == other)
    }
}

impl PartialEq<ResultUnit> for Unit {
    fn eq(&self, other: &ResultUnit) -> bool {
        other == self
    }
}

impl Serialize for ResultUnit {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.symbol())
    }
}

/// One value of an answer.
#[derive(Debug, Clone, PartialEq)]
pub struct ResultLine {
    /// Its key.
    pub key: &'static str,
    /// The value, in `unit`; for money the nearest number to the exact amount.
    pub value: f64,
    /// The unit, or the currency.
    pub unit: ResultUnit,
    /// The standard uncertainty in `unit` (for a temperature a difference), where an input carried one.
    pub u: Option<f64>,
    /// The probability that the true value lies within one `u`, for a normal distribution.
    pub coverage: Option<f64>,
    /// The exact amount as text with all its minor digits, for money.
    pub exact: Option<String>,
    /// What the draws say, when they were asked for.
    pub drawn: Option<Drawn>,
    /// The unit that whoever asked works in, where it is not `unit`: figures for people lead with it.
    pub asked_in: Option<Unit>,
}

/// What a calculator says.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// The calculator's id.
    pub calculator: &'static str,
    /// The values, in the sequence of the calculator's outputs.
    pub results: Vec<ResultLine>,
    /// Where the doubt of each result comes from: key of the result, and its parts.
    pub budget: Vec<(&'static str, Vec<Share>)>,
    /// Remarks for people.
    pub notes: Vec<String>,
    /// What to beware of where the answer is used.
    pub cautions: &'static [&'static str],
    /// How each value is worked out.
    pub workings: &'static [&'static str],
    /// Where the formula comes from.
    pub sources: &'static [&'static str],
}

impl Answer {
    /// The line with this key.
    #[must_use]
    pub fn line(&self, key: &str) -> Option<&ResultLine> {
        self.results.iter().find(|line| line.key == key)
    }

    /// The value with this key.
    #[must_use]
    pub fn value(&self, key: &str) -> Option<f64> {
        self.line(key).map(|line| line.value)
    }
}

struct Results<'a>(&'a [ResultLine]);

impl Serialize for Results<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(Some(self.0.len()))?;
        for line in self.0 {
            map.serialize_entry(line.key, line)?;
        }
        map.end()
    }
}

impl Serialize for ResultLine {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let further = if self.exact.is_some() { 1 } else { 0 } + if self.drawn.is_some() { 5 } else { 0 };
        let mut row = serializer.serialize_struct("ResultLine", 4 + further)?;
        row.serialize_field("value", &self.value)?;
        row.serialize_field("unit", &self.unit)?;
        row.serialize_field("u", &self.u)?;
        row.serialize_field("coverage", &self.coverage)?;
        if let Some(exact) = &self.exact {
            row.serialize_field("exact", exact)?;
        }
        if let Some(drawn) = &self.drawn {
            row.serialize_field("mean_by_draws", &drawn.mean)?;
            row.serialize_field("u_by_draws", &drawn.u)?;
            row.serialize_field("interval_by_draws", &[drawn.low, drawn.high])?;
            row.serialize_field("digits_agreed", &drawn.digits_agreed(self.value, self.u.unwrap_or(0.0)))?;
            row.serialize_field("draws_answered", &drawn.answered)?;
        }
        row.end()
    }
}

struct Budget<'a>(&'a [(&'static str, Vec<Share>)]);

impl Serialize for Budget<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_map(self.0.iter().map(|(key, shares)| (key, shares)))
    }
}

impl Serialize for Answer {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut answer = serializer.serialize_struct("Answer", 7)?;
        answer.serialize_field("calculator", self.calculator)?;
        answer.serialize_field("result", &Results(&self.results))?;
        answer.serialize_field("notes", &self.notes)?;
        answer.serialize_field("cautions", self.cautions)?;
        answer.serialize_field("workings", self.workings)?;
        answer.serialize_field("sources", self.sources)?;
        answer.serialize_field("budget", &Budget(&self.budget))?;
        answer.end()
    }
}

impl Serialize for Calculator {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut entry = serializer.serialize_struct("Calculator", 11)?;
        entry.serialize_field("calculator", self.id)?;
        entry.serialize_field("group", &self.group)?;
        entry.serialize_field("name", self.name)?;
        entry.serialize_field("meaning", self.meaning)?;
        entry.serialize_field("inputs", self.inputs)?;
        entry.serialize_field("results", self.outputs)?;
        entry.serialize_field("cautions", self.cautions)?;
        entry.serialize_field("workings", self.workings)?;
        entry.serialize_field("sources", self.sources)?;
        let example: Vec<String> = self.example.iter().map(|(key, text)| format!("{key}={text}")).collect();
        entry.serialize_field("example", &example)?;
        entry.serialize_field("common_keys", &COMMON_KEYS)?;
        entry.end()
    }
}

impl Calculator {
    /// Reads the typed texts and answers.
    ///
    /// # Errors
    /// [`CalcError`], naming the key, what was typed and the next move.
    pub fn calculate(&'static self, pairs: &[(&str, &str)]) -> Result<Answer, CalcError> {
        self.run(&Given::read(self, pairs)?)
    }

    /// Answers from what was read, with the doubt of the inputs carried through to every result.
    ///
    /// Each input with an uncertainty is moved a little up and down on its own, and the change of a result per step gives its
    /// sensitivity. The inputs count as independent, except those that `one_gauge` says move together. What each input
    /// brings stands in the budget of the answer. With `draws` the answer is checked by [`crate::doubt::monte_carlo`].
    ///
    /// # Errors
    /// [`CalcError`], when the values make no sense together.
    /// # Source
    /// JCGM 100:2008, 5.1.2 and 5.1.3 with note 2, and 5.2.2 for correlated inputs \[published\].
    pub fn run(&'static self, given: &Given) -> Result<Answer, CalcError> {
        let computed = (self.formula)(given)?;
        let doubtful = given.doubtful();
        let sides: Vec<_> = doubtful
            .iter()
            .map(|(key, u)| {
                let step = u * STEP;
                (step, (self.formula)(&given.moved(key, step)), (self.formula)(&given.moved(key, -step)))
            })
            .collect();
        let mut results = Vec::new();
        let mut budget = Vec::new();
        for (key, value, unit, own) in &computed.lines {
            let declared = self.outputs.iter().find(|output| output.key == *key).and_then(|output| output.unit);
            let unit_is_declared = unit.is_none();
            let unit = unit.or(declared).unwrap_or(Unit::ONE);
            let there = |side: &Result<Computed, CalcError>| {
                side.as_ref().ok().and_then(|moved| moved.lines.iter().find(|other| other.0 == *key)).map(|line| line.1)
            };
            let mut parts = Vec::with_capacity(doubtful.len());
            for ((_, u), (step, up, down)) in doubtful.iter().zip(&sides) {
                let slope = match (there(up), there(down)) {
                    (Some(up), Some(down)) => (up - down) / (2.0 * step),
                    (Some(up), None) => (up - value) / step,
                    (None, Some(down)) => (value - down) / step,
                    (None, None) => 0.0,
                };
                parts.push(slope * u);
            }
            let carries_doubt = *own > 0.0 || !doubtful.is_empty();
            let (u, shares) = combine(given, &doubtful, &parts, *own)?;
            let known = computed.shares.iter().find(|(of, _)| of == key).map(|(_, shares)| shares.clone());
            let shares = known.unwrap_or(shares);
            if !value.is_finite()
                || !u.is_finite()
                || shares.iter().any(|share| !share.share.is_finite() || !share.sensitivity.is_finite())
            {
                return Err(CalcError::DoNotGoTogether {
                    calculator: self.id,
                    why: format!("{key} or its doubt comes out as no finite number; look for a mistyped value"),
                });
            }
            if carries_doubt {
                budget.push((*key, shares));
            }
            let u = carries_doubt.then_some(u);
            // Adding zero turns a minus zero into a plain one.
            results.push(ResultLine {
                key,
                value: *value + 0.0,
                unit: ResultUnit::Measure(unit),
                u,
                coverage: u.map(|_| COVERAGE_OF_ONE_U),
                exact: None,
                drawn: None,
                asked_in: unit_is_declared.then(|| asked_in(unit, given.typed_in())).flatten(),
            });
        }
        results.extend(computed.money.iter().map(|(key, amount)| ResultLine {
            key,
            value: amount.to_f64(),
            unit: ResultUnit::Money(amount.currency()),
            u: None,
            coverage: None,
            exact: Some(amount.amount().to_string()),
            drawn: None,
            asked_in: None,
        }));
        let mut notes = computed.notes;
        notes.extend(given.notes());
        let mut answer = Answer {
            calculator: self.id,
            results,
            budget,
            notes,
            cautions: self.cautions,
            workings: self.workings,
            sources: self.sources,
        };
        if let Some(draws) = given.draws() {
            check_by_draws(self, given, draws, &mut answer)?;
        }
        Ok(answer)
    }
}

/// Every calculator, in the sequence of a job: measuring, judging, building.
static CATALOGUE: &[Calculator] = &[
    crate::volumes::COMPRESSION_RATIO,
    crate::volumes::MILLING_EFFECT,
    crate::volumes::PISTON_DECK,
    crate::timing::CAM_TIMING_SHIFT,
    crate::timing::INTAKE_FACE_CUT,
    crate::bores::BORE_WEAR,
    crate::machining::BORE_SERIES,
    crate::machining::BORE_OVERSIZE,
    crate::roundness::ROUNDNESS,
    crate::roundness::CYLINDRICITY,
    crate::roundness::LINE_STRAIGHTNESS,
    crate::bores::PISTON_CLEARANCE,
    crate::bores::RING_GAP,
    crate::machining::CRANK_UNDERSIZE,
    crate::bearings::BEARING_CLEARANCE,
    crate::bearings::BEARING_CRUSH,
    crate::bearings::PLASTIC_STRIP,
    crate::bearings::OIL_CLEARANCE_HEAT,
    crate::flatness::FLATNESS_GRID,
    crate::straightedge::FLATNESS_STRAIGHTEDGE,
    crate::cut_plan::CUT_PLAN,
    crate::fits::PRESS_FIT,
    crate::fits::SEAT_FIT,
    crate::limits_and_fits::FIT,
    crate::fasteners::THREAD,
    crate::fasteners::BOLT_PRELOAD,
    crate::fasteners::BOLT_ANGLE,
    crate::valves::VALVE_SPRING,
    crate::valves::VALVE_LASH,
    crate::air::LEAK_DOWN,
    crate::air::CRANKING_PRESSURE,
    crate::air::ALTITUDE_PRESSURE,
    crate::lives::LIFE_SURVIVAL,
    crate::lives::MILEAGE,
    crate::conformity::CONFORMITY,
    crate::budget::UNCERTAINTY_BUDGET,
    crate::estimate_lines::ESTIMATE_LINES,
    crate::vin::VIN,
    crate::convert::UNIT,
];

/// Every calculator.
#[must_use]
pub fn catalogue() -> &'static [Calculator] {
    CATALOGUE
}

/// The calculator of this id.
///
/// # Errors
/// [`CalcError::UnknownCalculator`], with the nearest name.
pub fn calculator(id: &str) -> Result<&'static Calculator, CalcError> {
    CATALOGUE.iter().find(|entry| entry.id == id).ok_or_else(|| {
        let near =
            CATALOGUE.iter().min_by_key(|entry| distance(entry.id, id)).filter(|entry| distance(entry.id, id) <= 3);
        let part = CATALOGUE.iter().find(|entry| !id.is_empty() && entry.id.contains(id));
        let suggestion = near.or(part).map_or_else(
            || "type calc without a name for the list".to_owned(),
            |entry| format!("{} is the nearest; type calc without a name for the list", entry.id),
        );
        CalcError::UnknownCalculator { name: id.to_owned(), suggestion }
    })
}

/// Reads the typed texts for a calculator and answers.
///
/// # Errors
/// [`CalcError`], naming what was typed and the next move.
/// # Example
/// ```
/// let answer = mechanics::calculate("compression-ratio", &[("swept", "823.7 cc"), ("chamber", "100 cc")])?;
/// assert!((answer.value("compression_ratio").unwrap() - 9.237).abs() < 5e-4);
/// # Ok::<(), mechanics::CalcError>(())
/// ```
pub fn calculate(id: &str, pairs: &[(&str, &str)]) -> Result<Answer, CalcError> {
    calculator(id)?.calculate(pairs)
}

/// How many letters must change to make one word of another.
pub(crate) fn distance(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().take(64).collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, x) in a.chars().take(64).enumerate() {
        let mut next = vec![i + 1];
        for (j, y) in b.iter().enumerate() {
            let diagonal = row.get(j).copied().unwrap_or(0) + usize::from(x != *y);
            let above = row.get(j + 1).copied().unwrap_or(0) + 1;
            let left = next.last().copied().unwrap_or(0) + 1;
            next.push(diagonal.min(above).min(left));
        }
        row = next;
    }
    row.last().copied().unwrap_or(0)
}
