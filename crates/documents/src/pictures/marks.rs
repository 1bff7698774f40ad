//! The six marks of a reading: two limit lines, and where the dot stands. Shape carries the meaning, colour only helps.

use std::collections::{BTreeMap, BTreeSet};

use anatomy::Position;
use quantity::Verdict;
use workup::Finding;

use super::drawing::{Anchor, Drawing, INK, PAPER, Pen};

/// The state of a place, as its mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Mark {
    /// Not measured.
    None,
    /// Inside its limit.
    Inside,
    /// Usable by judgement.
    ByJudgement,
    /// This gauge cannot tell.
    CannotTell,
    /// Outside its limit.
    Outside,
    /// Measure again.
    Again,
}

impl Mark {
    /// Every mark, in the order of a key.
    pub const ALL: [Mark; 6] =
        [Mark::None, Mark::Inside, Mark::ByJudgement, Mark::CannotTell, Mark::Outside, Mark::Again];

    /// The mark of a verdict.
    #[must_use]
    pub fn of(verdict: Verdict) -> Mark {
        match verdict {
            Verdict::Inside => Mark::Inside,
            Verdict::ByJudgement => Mark::ByJudgement,
            Verdict::CannotTell => Mark::CannotTell,
            Verdict::Outside => Mark::Outside,
        }
    }

    /// The words shown beside it; a verdict has its own.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Mark::None => "not measured",
            Mark::Inside => Verdict::Inside.words(),
            Mark::ByJudgement => Verdict::ByJudgement.words(),
            Mark::CannotTell => Verdict::CannotTell.words(),
            Mark::Outside => Verdict::Outside.words(),
            Mark::Again => "measure again",
        }
    }

    /// The class a style sheet knows it by.
    #[must_use]
    pub fn class(self) -> &'static str {
        match self {
            Mark::None => "mark-none",
            Mark::Inside => "mark-inside",
            Mark::ByJudgement => "mark-by-judgement",
            Mark::CannotTell => "mark-cannot-tell",
            Mark::Outside => "mark-outside",
            Mark::Again => "mark-again",
        }
    }

    fn colour(self) -> &'static str {
        match self {
            Mark::None => "#4A4F55",
            Mark::Inside => "#004F6B",
            Mark::ByJudgement => INK,
            Mark::CannotTell => "#6E4300",
            Mark::Outside => "#9B003F",
            Mark::Again => "#5B2E9E",
        }
    }

    /// Draws the mark around a middle, so wide.
    pub(crate) fn draw(self, on: &mut Drawing, at: (f64, f64), size: f64) {
        let k = size / 48.0;
        let p = |x: f64, y: f64| (at.0 + x * k, at.1 + y * k);
        let colour = self.colour();
        let line = |width: f64| Pen { class: "mark-line", stroke: colour, fill: "none", width: width * k, dashes: "" };
        let solid = Pen { class: "mark-solid", stroke: "none", fill: colour, width: 0.0, dashes: "" };
        on.group(self.class());
        on.line(p(-21.12, -15.36), p(21.12, -15.36), &line(2.88));
        on.line(p(-21.12, 15.36), p(21.12, 15.36), &line(2.88));
        match self {
            Mark::None => {}
            Mark::Inside => {
                on.line(p(0.0, -9.6), p(0.0, 9.6), &line(3.36));
                on.circle(p(0.0, 0.0), 5.52 * k, &solid);
            }
            Mark::ByJudgement => {
                // The dot sits on the line itself, and the line is broken for it: neither inside nor out.
                on.circle(
                    p(0.0, -15.36),
                    10.4 * k,
                    &Pen { class: "mark-gap", stroke: "none", fill: PAPER, width: 0.0, dashes: "" },
                );
                on.circle(p(0.0, -15.36), 7.4 * k, &solid);
            }
            Mark::CannotTell => {
                on.line(p(0.0, -25.92), p(0.0, 0.0), &line(3.36));
                let ring = Pen { class: "mark-ring", stroke: colour, fill: PAPER, width: 2.88 * k, dashes: "" };
                on.circle(p(0.0, -12.96), 6.72 * k, &ring);
            }
            Mark::Outside => {
                on.rect(p(-9.6, -27.84), (19.2 * k, 28.8 * k), &solid);
                on.rect(p(-21.12, -17.76), (42.24 * k, 4.8 * k), &solid);
            }
            Mark::Again => {
                let n = super::drawing::number;
                let (x, y) = p(-6.24, -4.8);
                let d = format!(
                    "M{},{} a{},{} 0 1 1 {},{} v{}",
                    n(x),
                    n(y),
                    n(6.24 * k),
                    n(5.76 * k),
                    n(7.2 * k),
                    n(5.28 * k),
                    n(2.88 * k)
                );
                on.path(&d, &line(3.6));
                on.circle(p(0.96, 9.6), 2.16 * k, &solid);
            }
        }
        on.end();
    }
}

/// One mark by itself, to stand in a line of text.
#[must_use]
pub fn mark_alone(mark: Mark) -> String {
    let mut drawing = Drawing::new(24.0, 24.0, mark.words(), mark.words());
    mark.draw(&mut drawing, (12.0, 13.0), 22.0);
    drawing.finish()
}

/// The key of the six marks.
#[must_use]
pub fn mark_key() -> String {
    let words: Vec<&str> = Mark::ALL.iter().map(|m| m.words()).collect();
    let desc = format!("The six marks of a reading: {}.", words.join(", "));
    let mut drawing = Drawing::new(640.0, 56.0, "Key of the marks", &desc);
    for (n, mark) in Mark::ALL.iter().enumerate() {
        let column = super::drawing::count(n % 3);
        let row = super::drawing::count(n / 3);
        let (x, y) = (16.0 + column * 210.0, 15.0 + row * 28.0);
        mark.draw(&mut drawing, (x, y), 22.0);
        drawing.text((x + 20.0, y + 4.0), 12.0, Anchor::Start, false, mark.words());
    }
    drawing.finish()
}

/// The mark of every place with a reading: of several the one that asks for the most attention. `again` holds the
/// entries of readings whose gauge is doubted.
#[must_use]
pub fn marks_of<'a>(
    findings: impl IntoIterator<Item = &'a Finding>,
    again: &BTreeSet<String>,
) -> BTreeMap<Position, Mark> {
    let mut out: BTreeMap<Position, Mark> = BTreeMap::new();
    for finding in findings {
        let mark = if again.contains(&finding.entry) { Mark::Again } else { Mark::of(finding.verdict) };
        let here = out.entry(finding.position).or_insert(mark);
        *here = (*here).max(mark);
    }
    out
}
