//! What a machinist cuts: the datum, the face, and the figures between them (P12).

use super::drawing::{Anchor, Drawing, Pen, THICK, fitted};

/// What is to be said between datum and face; figures as they are written, with their unit.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Cut {
    /// The face or axis everything is measured from.
    pub datum: String,
    /// What is worked.
    pub face: String,
    /// As found.
    pub as_found: Option<String>,
    /// What is wanted.
    pub wanted: Option<String>,
    /// What must be left.
    pub leave: Option<String>,
}

const WIDTH: f64 = 560.0;
const HEIGHT: f64 = 200.0;
/// The datum line and the line of the worked face.
const DATUM: f64 = 150.0;
const FACE: f64 = 52.0;

/// A sketch with datum triangle and figures, as-found ones in brackets. It is a sketch and not to scale; the words
/// rule.
#[must_use]
pub fn cut_sketch(cut: &Cut) -> String {
    let lines: Vec<String> = [
        cut.as_found.as_ref().map(|f| format!("as found ({f})")),
        cut.wanted.as_ref().map(|w| format!("wanted {w}")),
        cut.leave.as_ref().map(|l| format!("leave at least {l}")),
    ]
    .into_iter()
    .flatten()
    .collect();
    let datum = if cut.datum.is_empty() { "not told" } else { &cut.datum };
    let desc = format!("Datum A: {datum}. Worked: {}. {}. Not to scale.", cut.face, lines.join("; "));
    let mut d = Drawing::new(WIDTH, HEIGHT, "What to cut", &desc);
    // The piece in section, hatched, between datum and worked face.
    d.rect((30.0, FACE), (150.0, DATUM - FACE), &Pen::outline(1.0));
    d.hatch((30.0, FACE), (150.0, DATUM - FACE), 12.0);
    d.line((24.0, FACE), (186.0, FACE), &Pen::line(THICK * 2.0));
    d.line((24.0, DATUM), (186.0, DATUM), &Pen::line(THICK));
    // Datum triangle, and its letter in a frame, after ISO 1101.
    d.polygon(&[(92.0, DATUM + 16.0), (118.0, DATUM + 16.0), (105.0, DATUM)], &Pen::solid());
    d.line((105.0, DATUM + 16.0), (105.0, DATUM + 24.0), &Pen::line(1.0));
    d.rect((94.0, DATUM + 24.0), (22.0, 20.0), &Pen::outline(1.0));
    d.text((105.0, DATUM + 39.0), 14.0, Anchor::Middle, true, "A");
    d.text((124.0, DATUM + 39.0), 14.0, Anchor::Start, false, &fitted(&format!("datum: {datum}"), 14.0, 330.0));
    d.text((30.0, FACE - 14.0), 14.0, Anchor::Start, true, &fitted(&cut.face, 14.0, WIDTH - 40.0));
    // The dimension.
    for y in [FACE, DATUM] {
        d.line((186.0, y), (236.0, y), &Pen::help());
    }
    d.line((224.0, FACE + 9.0), (224.0, DATUM - 9.0), &Pen::line(1.0));
    d.polygon(&[(224.0, FACE), (220.0, FACE + 11.0), (228.0, FACE + 11.0)], &Pen::solid());
    d.polygon(&[(224.0, DATUM), (220.0, DATUM - 11.0), (228.0, DATUM - 11.0)], &Pen::solid());
    let mut y = 84.0;
    for line in &lines {
        d.text((246.0, y), 16.0, Anchor::Start, true, &fitted(line, 16.0, WIDTH - 252.0));
        y += 24.0;
    }
    d.text((WIDTH - 8.0, DATUM + 39.0), 12.0, Anchor::End, false, "not to scale");
    d.finish()
}
