//! Paper and voice: results go to standard output, talk goes to standard error.

use std::io::{self, Write};

use quantity::Verdict;

use crate::surroundings;

/// How the answers are to look.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Manner {
    /// Answers as JSON.
    pub(crate) json: bool,
    /// One line an item, plain ASCII signs.
    pub(crate) plain: bool,
    /// No talk.
    pub(crate) quiet: bool,
    /// No colour.
    pub(crate) no_colour: bool,
    /// Nobody is asked anything.
    pub(crate) no_input: bool,
}

/// Where a command writes.
#[derive(Debug)]
pub(crate) struct Talk {
    manner: Manner,
    colour: bool,
    width: usize,
}

/// How a piece of text is set off.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Tone {
    /// A heading or a name.
    Strong,
    /// Beside the point.
    Faint,
    /// A reading inside its limits.
    Inside,
    /// A reading to be judged by a person.
    Judgement,
    /// A reading beyond its limits, or something to stop for.
    Outside,
}

impl Talk {
    /// Paper and voice for a manner.
    pub(crate) fn new(manner: Manner) -> Self {
        let colour = !(manner.no_colour || manner.plain || surroundings::colour_off()) && surroundings::on_terminal();
        let width = if manner.plain { usize::MAX } else { surroundings::width() };
        Self { manner, colour, width }
    }

    /// Whether answers are JSON.
    pub(crate) fn json(&self) -> bool {
        self.manner.json
    }

    /// Whether nobody is to be asked anything.
    pub(crate) fn no_input(&self) -> bool {
        self.manner.no_input
    }

    /// Sets a piece of text off, where there is colour.
    pub(crate) fn tone(&self, tone: Tone, text: &str) -> String {
        if !self.colour {
            return text.to_owned();
        }
        let code = match tone {
            Tone::Strong => "1",
            Tone::Faint => "2",
            Tone::Inside => "36",
            Tone::Judgement => "33",
            Tone::Outside => "1;35",
        };
        format!("\u{1b}[{code}m{text}\u{1b}[0m")
    }

    /// The sign and word of a verdict: two limit lines and where the reading lies.
    pub(crate) fn mark(&self, verdict: Verdict) -> String {
        let (sign, tone) = match verdict {
            Verdict::Inside => ("|-o-| ", Tone::Inside),
            Verdict::ByJudgement => ("|---o ", Tone::Judgement),
            Verdict::CannotTell => ("|-(o|)", Tone::Judgement),
            Verdict::Outside => ("|---|o", Tone::Outside),
        };
        self.tone(tone, &format!("{sign} {}", verdict.words()))
    }

    /// Writes a line, broken at words (not where a blank may not break, U+00A0); further lines stand under `hang` blanks.
    pub(crate) fn line(&self, text: &str, hang: usize) -> io::Result<()> {
        let mut out = io::stdout().lock();
        for line in wrapped(text, self.width, hang) {
            writeln!(out, "{}", line.replace('\u{a0}', " "))?;
        }
        Ok(())
    }

    /// Writes an empty line.
    pub(crate) fn gap(&self) -> io::Result<()> {
        writeln!(io::stdout().lock())
    }

    /// Writes a heading under a thin line.
    pub(crate) fn heading(&self, text: &str) -> io::Result<()> {
        self.gap()?;
        let rule = if self.manner.plain { 0 } else { self.width.min(100).saturating_sub(text.chars().count() + 4) };
        self.line(&format!("{} {}", self.tone(Tone::Strong, &format!("-- {text}")), "-".repeat(rule)), 0)
    }

    /// Writes bytes as they are.
    pub(crate) fn bytes(&self, bytes: &[u8]) -> io::Result<()> {
        let mut out = io::stdout().lock();
        out.write_all(bytes)?;
        out.flush()
    }

    /// Writes an answer as JSON.
    pub(crate) fn answer<T: serde::Serialize>(&self, answer: &T) -> io::Result<()> {
        let text = serde_json::to_string_pretty(answer).map_err(io::Error::other)?;
        self.bytes(format!("{text}\n").as_bytes())
    }

    /// Says something on the side, unless quiet was asked for; nobody listening is no trouble.
    pub(crate) fn say(&self, text: &str) {
        if !self.manner.quiet {
            complain(text);
        }
    }
}

/// Writes one line to standard error, whatever was asked for.
pub(crate) fn complain(text: &str) {
    // Where standard error is closed there is nowhere to complain to.
    let _nobody = writeln!(io::stderr().lock(), "{}", harmless(text));
}

/// A text in which nothing steers a terminal: what would is written out, since it was typed or stands in a file.
pub(crate) fn harmless(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        if c.is_control() && c != '\n' {
            out.extend(c.escape_default());
        } else {
            out.push(c);
        }
    }
    out
}

/// Width of a text without its colour codes.
fn seen_width(text: &str) -> usize {
    let mut inside = false;
    let mut count = 0;
    for c in text.chars() {
        match (inside, c) {
            (false, '\u{1b}') => inside = true,
            (true, 'm') => inside = false,
            (false, _) => count += 1,
            (true, _) => {}
        }
    }
    count
}

/// Breaks a text at words; its own leading blanks stay, and what follows hangs.
pub(crate) fn wrapped(text: &str, width: usize, hang: usize) -> Vec<String> {
    let clean: String = text.chars().map(|c| if c.is_control() && c != '\u{1b}' { ' ' } else { c }).collect();
    if seen_width(&clean) <= width {
        return vec![clean];
    }
    let lead = clean.chars().take_while(|c| *c == ' ').count();
    let mut lines = Vec::new();
    let mut line = " ".repeat(lead);
    let mut empty = true;
    let body = clean.get(lead..).unwrap_or("");
    for word in body.split(' ') {
        let need = seen_width(word) + usize::from(!empty);
        if !empty && seen_width(&line) + need > width {
            lines.push(line.trim_end().to_owned());
            line = " ".repeat(hang.min(width / 2));
            empty = true;
        }
        if !empty {
            line.push(' ');
        }
        line.push_str(word);
        empty = empty && word.is_empty();
    }
    if !line.trim().is_empty() {
        lines.push(line.trim_end().to_owned());
    }
    lines
}

/// A whole number in groups of three.
pub(crate) fn grouped(value: f64) -> String {
    workup::words::grouped(value)
}
