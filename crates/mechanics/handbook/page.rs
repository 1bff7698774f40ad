//! The handbook's page of calculators, out of their catalogue. The example writes it, a test compares it.

use std::fmt::Write as _;

use mechanics::shown::figure;
use mechanics::{Calculator, Group, catalogue};

/// The page.
#[must_use]
pub(crate) fn page() -> String {
    let mut out = String::from(
        "# Bench calculators\n\n\
         <!-- Written by `cargo run -p mechanics --example handbook` from the catalogue in `crates/mechanics`. Change it there. -->\n\n\
         The same calculators stand on the command line (`witnessmark calc NAME key=value …`), on the bench (*Calculators*, at the\n\
         top of every page) and in the HTTP interface (`/api/1/calculators/NAME?key=value`). A number may carry its standard\n\
         uncertainty, `88.02mm±0.01mm`, or an expanded one with its factor, `±0.02mm (k=2)`; it is carried through to every result,\n\
         and the answer says which input brings which part of it. Any unit of the kind may be typed.\n\n\
         Every calculator also takes:\n\n",
    );
    for common in mechanics::doubt::COMMON_KEYS {
        let _never = writeln!(out, "- `{}`: {}", common.example, common.meaning);
    }
    for group in Group::ALL {
        let _never = write!(out, "\n## {}\n", group.heading());
        for calculator in catalogue().iter().filter(|c| c.group == group) {
            one(&mut out, calculator);
        }
    }
    out
}

fn one(out: &mut String, c: &'static Calculator) {
    let _never = write!(out, "\n### {}\n\n`{}`: {}.\n\n", c.name, c.id, c.meaning);
    for caution in c.cautions {
        let _never = writeln!(out, "> **Caution.** {caution}\n");
    }
    out.push_str("| Told | What it is | How |\n| --- | --- | --- |\n");
    for input in c.inputs {
        let _never =
            writeln!(out, "| `{}` | {} | {}; {} |", input.key, cell(input.meaning), cell(&input.how()), input.need());
    }
    out.push_str("\n| Says | What it is | Unit |\n| --- | --- | --- |\n");
    for output in c.outputs {
        let unit = output.unit.map_or("as typed", |unit| if unit.symbol() == "1" { "" } else { unit.symbol() });
        let _never = writeln!(out, "| `{}` | {} | {unit} |", output.key, cell(output.meaning));
    }
    let _never = write!(out, "\n```\n{}\n", c.example_command());
    match c.calculate(c.example) {
        Ok(answer) => {
            for line in &answer.results {
                let figure = figure(line);
                let beside = figure.other.as_ref().map_or_else(String::new, |other| format!(" = {other}"));
                let _never = writeln!(out, "{}  {}{beside}", line.key, figure.in_one());
            }
        }
        Err(error) => {
            let _never = writeln!(out, "{error}");
        }
    }
    out.push_str("```\n\nWorked out so:\n\n");
    for line in c.workings {
        match line.split_once(" = ") {
            Some(_) => {
                let _never = writeln!(out, "- `{line}`");
            }
            None => {
                let _never = writeln!(out, "- {line}");
            }
        }
    }
    out.push('\n');
    for source in c.sources {
        let _never = writeln!(out, "Source: {source}.\n");
    }
    while out.ends_with("\n\n") {
        out.pop();
    }
}

/// Text as it may stand in a table.
fn cell(text: &str) -> String {
    text.replace('|', "\\|")
}
