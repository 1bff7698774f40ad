//! `calc`: the bench calculators of the catalogue.

use std::path::Path;

use clap::Args;
use mechanics::shown::figure;
use mechanics::{CalcError, Calculator, Group, Input, catalogue};

use crate::desk::{Desk, read_text};
use crate::talk::Tone;
use crate::trouble::{Done, Exit, Trouble};

/// Bench calculators; without a name, lists them.
#[derive(Debug, Args)]
#[command(disable_help_flag = true)]
pub(crate) struct Calc {
    /// The calculator; without keys it says what it wants.
    name: Option<String>,
    /// What it is told, with units (`bore=88mm`, `torque=40N.m`); `points=@file.csv` for tables.
    #[arg(value_name = "key=value")]
    told: Vec<String>,
    /// Print help; behind a name, what that calculator wants and how it works
    #[arg(short, long)]
    help: bool,
}

impl Calc {
    pub(crate) fn run(self, desk: &Desk) -> Done {
        let t = &desk.talk;
        if self.help && self.name.is_none() {
            t.bytes(crate::help_of("calc").as_bytes())?;
            return Ok(Exit::Fine);
        }
        let Some(name) = &self.name else {
            if t.json() {
                t.answer(&catalogue())?;
                return Ok(Exit::Fine);
            }
            let wide = catalogue().iter().map(|c| c.id.len()).max().unwrap_or(0);
            for group in Group::ALL {
                t.line(group.heading(), 0)?;
                for c in catalogue().iter().filter(|c| c.group == group) {
                    t.line(&format!("  {:<wide$}  {}", t.tone(Tone::Strong, c.id), c.meaning), wide + 4)?;
                    let told: Vec<String> = c.inputs.iter().map(with_unit).collect();
                    t.line(&format!("  {:<wide$}  told {}", "", told.join(", ")), wide + 4)?;
                    for source in c.sources {
                        let text = format!("  {:<wide$}  source: {source}", "");
                        t.line(&t.tone(Tone::Faint, &text), wide + 4)?;
                    }
                }
            }
            t.say("`witnessmark calc NAME` says what a calculator wants, with an example");
            return Ok(Exit::Fine);
        };
        let doing = format!("calculate {name}");
        let calculator = mechanics::calculator(name).map_err(|e| Trouble::new(Exit::NotFound, &doing, e))?;
        if self.told.is_empty() || self.help {
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
            let figure = figure(line);
            let other = figure.other.as_ref().map_or_else(String::new, |other| format!(" = {other}"));
            t.line(
                &format!("{:<wide$}  {}{other}  {meaning}", line.key, t.tone(Tone::Strong, &figure.in_one())),
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
        t.say(&format!("`witnessmark calc {name}` says how each figure is worked out"));
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

/// An input with its unit, as in a list.
fn with_unit(input: &Input) -> String {
    match input.unit_symbol() {
        "" | "1" => input.key.to_owned(),
        unit => format!("{} {unit}", input.key),
    }
}

fn example(calculator: &Calculator) -> String {
    format!("for example: {}", calculator.example_command())
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
        t.line(&format!("  {:<wide$}  {} ({}; {})", i.key, i.meaning, i.how(), i.need()), wide + 4)?;
    }
    t.line("answers", 0)?;
    for o in c.outputs {
        t.line(&format!("  {:<wide$}  {}, {}", o.key, o.meaning, o.counted()), wide + 4)?;
    }
    t.line("worked out so", 0)?;
    for line in c.workings {
        t.line(&format!("  {line}"), 4)?;
    }
    t.line(&example(c), 2)?;
    for caution in c.cautions {
        t.line(&format!("{}: {caution}", t.tone(Tone::Strong, "caution")), 9)?;
    }
    for source in c.sources {
        t.line(&t.tone(Tone::Faint, &format!("source: {source}")), 8)?;
    }
    for common in mechanics::doubt::COMMON_KEYS {
        t.line(&t.tone(Tone::Faint, &format!("also {}: {}", common.example, common.meaning)), 5)?;
    }
    Ok(Exit::Fine)
}
