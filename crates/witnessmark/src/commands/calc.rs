//! `calc`: the bench calculators of the catalogue.

use std::path::Path;

use clap::Args;
use mechanics::{CalcError, Calculator, catalogue};
use quantity::print::{printed, printed_with_doubt};

use crate::desk::{Desk, read_text};
use crate::talk::Tone;
use crate::trouble::{Done, Exit, Trouble};

/// Bench calculators; without a name, lists them.
#[derive(Debug, Args)]
pub(crate) struct Calc {
    /// The calculator; without keys it says what it wants.
    name: Option<String>,
    /// What it is told, with units (`bore=88mm`, `torque=40N.m`); `points=@file.csv` for tables.
    #[arg(value_name = "key=value")]
    told: Vec<String>,
}

impl Calc {
    pub(crate) fn run(self, desk: &Desk) -> Done {
        let t = &desk.talk;
        let Some(name) = &self.name else {
            if t.json() {
                t.answer(&catalogue())?;
                return Ok(Exit::Fine);
            }
            let wide = catalogue().iter().map(|c| c.id.len()).max().unwrap_or(0);
            for c in catalogue() {
                t.line(&format!("{:<wide$}  {}", t.tone(Tone::Strong, c.id), c.meaning), wide + 2)?;
            }
            t.say("`witnessmark calc NAME` says what a calculator wants, with an example");
            return Ok(Exit::Fine);
        };
        let doing = format!("calculate {name}");
        let calculator = mechanics::calculator(name).map_err(|e| Trouble::new(Exit::NotFound, &doing, e))?;
        if self.told.is_empty() {
            return describe(desk, calculator);
        }
        let mut pairs = Vec::new();
        for text in &self.told {
            let Some((key, value)) = text.split_once('=') else {
                return Err(Trouble::new(
                    Exit::Usage,
                    doing,
                    format!("`{text}` is no key=value; {}", example(calculator)),
                ));
            };
            let value = match value.strip_prefix('@') {
                Some(path) => read_text(Path::new(path))?,
                None => value.to_owned(),
            };
            pairs.push((key.to_owned(), value));
        }
        let pairs: Vec<(&str, &str)> = pairs.iter().map(|(k, v)| (k.as_str(), v.as_str())).collect();
        let answer = calculator.calculate(&pairs).map_err(|e| Trouble::new(exit_of(&e), &doing, e))?;
        if t.json() {
            t.answer(&answer)?;
            return Ok(Exit::Fine);
        }
        let wide = answer.results.iter().map(|r| r.key.len()).max().unwrap_or(0);
        for line in &answer.results {
            let meaning = calculator.outputs.iter().find(|o| o.key == line.key).map_or("", |o| o.meaning);
            let figure = match line.u.filter(|u| *u > 0.0) {
                Some(u) => {
                    let (value, doubt) = printed_with_doubt(line.value, u);
                    doubt.map_or_else(|| value.clone(), |doubt| format!("{value} (u {doubt})"))
                }
                None => printed(line.value, 5),
            };
            t.line(
                &format!(
                    "{:<wide$}  {}  {meaning}",
                    line.key,
                    t.tone(Tone::Strong, &with_unit(&figure, line.unit.symbol()))
                ),
                wide + 2,
            )?;
        }
        for note in &answer.notes {
            t.line(&format!("note: {note}"), 6)?;
        }
        for caution in answer.cautions {
            t.line(&format!("{}: {caution}", t.tone(Tone::Strong, "caution")), 9)?;
        }
        for source in answer.sources {
            t.line(&t.tone(Tone::Faint, &format!("source: {source}")), 8)?;
        }
        Ok(Exit::Fine)
    }
}

fn exit_of(error: &CalcError) -> Exit {
    match error {
        CalcError::UnknownCalculator { .. } => Exit::NotFound,
        CalcError::UnknownKey { .. }
        | CalcError::Twice { .. }
        | CalcError::MissingKey { .. }
        | CalcError::WrongUnit { .. }
        | CalcError::Ambiguous { .. }
        | CalcError::NotRead { .. }
        | CalcError::OutOfDomain { .. }
        | CalcError::BadTable { .. }
        | CalcError::DoNotGoTogether { .. } => Exit::Usage,
    }
}

fn example(calculator: &Calculator) -> String {
    let words: Vec<String> = calculator
        .example
        .iter()
        .map(
            |(key, text)| {
                if text.contains([' ', ';', '(']) { format!("'{key}={text}'") } else { format!("{key}={text}") }
            },
        )
        .collect();
    format!("for example: witnessmark calc {} {}", calculator.id, words.join(" "))
}

fn describe(desk: &Desk, c: &'static Calculator) -> Done {
    let t = &desk.talk;
    if t.json() {
        t.answer(c)?;
        return Ok(Exit::Fine);
    }
    t.line(&format!("{}: {}", t.tone(Tone::Strong, c.name), c.meaning), 2)?;
    let wide = c.inputs.iter().map(|i| i.key.len()).chain(c.outputs.iter().map(|o| o.key.len())).max().unwrap_or(0);
    for i in c.inputs {
        let unit = i.unit_symbol();
        let need = match (i.required, i.default) {
            (true, _) => "needed".to_owned(),
            (false, Some(default)) => format!("{default} if not given"),
            (false, None) => "may be left out".to_owned(),
        };
        let unit = if unit.is_empty() || unit == "1" { String::new() } else { format!(", in {unit}") };
        t.line(&format!("  {:<wide$}  {}{unit} ({need})", i.key, i.meaning), wide + 4)?;
    }
    t.line("answers", 0)?;
    for o in c.outputs {
        t.line(
            &format!(
                "  {:<wide$}  {}, in {}",
                o.key,
                o.meaning,
                o.unit.map_or("the unit given", quantity::Unit::symbol)
            ),
            wide + 4,
        )?;
    }
    t.line(&example(c), 2)?;
    for source in c.sources {
        t.line(&t.tone(Tone::Faint, &format!("source: {source}")), 8)?;
    }
    Ok(Exit::Fine)
}

/// A figure with its unit; a bare number has none to show.
fn with_unit(figure: &str, symbol: &str) -> String {
    if symbol == "1" { figure.to_owned() } else { format!("{figure} {symbol}") }
}
