//! Faces: what gaps under a straightedge, told station by station, say about a whole face.
//!
//! The lines of one face are taken together ([`mechanics::straightedge`]): all faces that explain the readings leave an
//! interval of flatness, and the verdict on the face is drawn from that interval, not from a gap. Each line keeps its own
//! finding; the face gets one more. What lies between the stations is unseen, and a pattern that holds nothing is told
//! which line is missing.

use std::collections::BTreeMap;

use anatomy::{EngineLayout, Position};
use knowledge::{FaceOf, Knowledge, ReadingKind};
use logbook::{EngineFigure, Figure, JobState, Phase, ReadingTaken};
use mechanics::straightedge::{
    EdgeAssumptions, EdgeLine, EdgeStation, EdgeSurvey, StraightedgeError, stretch_interval,
};
use mechanics::warp::{FaceShape, WarpFrame, WarpPrior, face_shape, warp_of_survey};
use quantity::print::printed;
use quantity::{Unit, Verdict};
use serde::Serialize;

use crate::findings::{self, Context, Finding, LimitUsed, Spoken};
use crate::network::EngineNet;

/// A line that a straightedge is laid along: its name, the letters of its ends, and where they lie on a face that is one long
/// from the front to the rear and one wide from the left to the right, as one faces the front.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// Its name.
    pub name: &'static str,
    /// The letters marked at its ends, the one it is measured from first.
    pub ends: [char; 2],
    /// The end it is measured from.
    pub from: [f64; 2],
    /// Its other end.
    pub to: [f64; 2],
}

const fn line(name: &'static str, ends: [char; 2], from: [f64; 2], to: [f64; 2]) -> Line {
    Line { name, ends, from, to }
}

/// The lines there are: three along, three across, two slanting.
pub const LINES: &[Line] = &[
    line("along-left", ['A', 'D'], [0.0, 0.0], [1.0, 0.0]),
    line("along-middle", ['B', 'E'], [0.0, 0.5], [1.0, 0.5]),
    line("along-right", ['C', 'F'], [0.0, 1.0], [1.0, 1.0]),
    line("across-front", ['A', 'C'], [0.0, 0.0], [0.0, 1.0]),
    line("across-middle", ['G', 'H'], [0.5, 0.0], [0.5, 1.0]),
    line("across-rear", ['D', 'F'], [1.0, 0.0], [1.0, 1.0]),
    line("diagonal-1", ['A', 'F'], [0.0, 0.0], [1.0, 1.0]),
    line("diagonal-2", ['C', 'D'], [0.0, 1.0], [1.0, 0.0]),
];

impl Line {
    /// The line that a spot names: by its name, or by the letters of its ends in either sequence (`line-A-F`, `F-A`).
    #[must_use]
    pub fn named(spot: &str) -> Option<Line> {
        let spot = spot.trim();
        if let Some(known) = LINES.iter().find(|line| line.name == spot) {
            return Some(*known);
        }
        let letters: Vec<char> = spot.trim_start_matches("line").chars().filter(char::is_ascii_alphanumeric).collect();
        let &[a, b] = letters.as_slice() else { return None };
        let (a, b) = (a.to_ascii_uppercase(), b.to_ascii_uppercase());
        LINES.iter().find_map(|line| match line.ends {
            [from, to] if from == a && to == b => Some(*line),
            [from, to] if from == b && to == a => Some(Line { ends: [a, b], from: line.to, to: line.from, ..*line }),
            _ => None,
        })
    }

    /// How it is kept as a spot: by its name, or by its ends where it is measured from the other one.
    #[must_use]
    pub fn spot(&self) -> String {
        let as_named = LINES.iter().any(|line| line == self);
        if as_named { self.name.to_owned() } else { format!("line-{}-{}", self.ends[0], self.ends[1]) }
    }

    /// Its name with the letters of its ends.
    #[must_use]
    pub fn words(&self) -> String {
        format!("{} (from {} to {})", self.name.replace('-', " "), self.ends[0], self.ends[1])
    }

    /// How long it is on a face of this length and width.
    #[must_use]
    pub fn length(&self, face: [f64; 2]) -> f64 {
        ((self.to[0] - self.from[0]) * face[0]).hypot((self.to[1] - self.from[1]) * face[1])
    }

    /// The place on a face of this length and width so far along the line.
    #[must_use]
    pub fn place(&self, along: f64, face: [f64; 2]) -> [f64; 2] {
        let part = along / self.length(face).max(f64::MIN_POSITIVE);
        [0, 1].map(|k: usize| {
            let (from, to) = (self.from.get(k).copied().unwrap_or(0.0), self.to.get(k).copied().unwrap_or(0.0));
            (from + (to - from) * part) * face.get(k).copied().unwrap_or(0.0)
        })
    }
}

/// Two figures between which a third lies, in mm.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Between {
    /// The least.
    pub least: f64,
    /// The greatest.
    pub greatest: f64,
}

/// A straightedge as it was laid down.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LaidLine {
    /// The entry.
    pub entry: String,
    /// The line's name.
    pub name: String,
    /// The letters of its ends.
    pub ends: String,
    /// The end it is measured from: along the face from its front, across from its left, in mm.
    pub from: [f64; 2],
    /// Its other end.
    pub to: [f64; 2],
    /// Its stations.
    pub stations: Vec<LaidStation>,
    /// Between what its own straightness lies at its stations.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub straightness: Option<Between>,
}

/// A station in mm.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct LaidStation {
    /// How far along the line.
    pub along: f64,
    /// Along and across the face.
    pub at: [f64; 2],
    /// The thickest blade that entered; nought where none did.
    pub enters: f64,
    /// The thinnest that was refused; left out where none was tried.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub refused: Option<f64>,
}

/// The worst stretch of the length that is looked for.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WorstStretch {
    /// Its length in mm.
    pub over: f64,
    /// Between what its straightness lies.
    pub straightness: Between,
    /// The line it lies on.
    pub line: String,
    /// Where on the line it begins and ends, in mm.
    pub from_to: [f64; 2],
    /// What it is held against, and how it comes out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub judged: Option<(LimitUsed, Verdict)>,
}

/// A smooth face through the middle of what the readings allow: a picture and no verdict.
///
/// Rows run across and columns along; the columns of a row stand next to one another.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Surface {
    /// Places along, one a column, in mm.
    pub along: Vec<f64>,
    /// Places across, one a row.
    pub across: Vec<f64>,
    /// Heights in mm.
    pub height: Vec<f64>,
    /// Whether something was measured near.
    pub seen: Vec<bool>,
}

/// What the lines laid on one face say together.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Face {
    /// The check.
    pub check: String,
    /// Its name.
    pub check_name: String,
    /// Which reading of it.
    pub reading: String,
    /// Where on the engine.
    pub position: Position,
    /// In words.
    pub place: String,
    /// What the face is called.
    pub name: String,
    /// When in the life of the job.
    pub phase: Phase,
    /// Whether it was read after the repair.
    pub after_repair: bool,
    /// Its length and width in mm, where the engine sheet has them.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub size: Option<[f64; 2]>,
    /// The lines.
    pub lines: Vec<LaidLine>,
    /// What is missing before anything can be said of the face.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub missing: Vec<String>,
    /// Between what the flatness lies at the stations, whatever the face's shape, in mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub flatness: Option<Between>,
    /// The greatest flatness of a smooth face, in mm: no station off its neighbours by more than the readings call for and a
    /// little. It informs and decides nothing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub smooth_greatest: Option<f64>,
    /// The worst stretch of its length along a line.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stretch: Option<WorstStretch>,
    /// What it looks like, in words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub shape: Option<String>,
    /// A smooth face through the readings.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub surface: Option<Surface>,
    /// What it is held against.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub limit: Option<LimitUsed>,
    /// The verdict on the face.
    pub verdict: Verdict,
    /// Why.
    pub reason: String,
    /// What would help.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub next_move: Option<String>,
}

/// What every face says of itself: nothing is known off the stations.
pub const UNSEEN: &str = "what lies between the stations was not measured";

/// The face's length and width in mm by the engine sheet, a figure for this place before one for all; nothing for the one
/// that nobody has told.
#[must_use]
pub fn size_told(sheet: &[EngineFigure], of: &FaceOf, position: &Position) -> [Option<f64>; 2] {
    let fits = |f: &&EngineFigure, item: &str| {
        f.item == item
            && f.at.as_ref().is_none_or(|at| at == position)
            && f.scope.is_none_or(|scope| scope == position.scope())
    };
    [&of.length, &of.width].map(|item| {
        let figure = sheet.iter().filter(|f| fits(f, item)).max_by_key(|f| f.at.is_some())?;
        logbook::number_in(&figure.text, &figure.unit, "mm").filter(|mm| *mm > 0.0)
    })
}

/// The names of the two sizes, as the engine sheet asks for them.
#[must_use]
pub fn size_names(of: &FaceOf) -> [(&str, String); 2] {
    let capital = crate::words::sentence(&of.name);
    [
        (&of.length, format!("{capital}: length between the front and the rear marks (A to D)")),
        (&of.width, format!("{capital}: width between the left and the right marks (A to C)")),
    ]
}

/// The faces of a job whose gaps are told station by station; each adds one finding to the others.
#[must_use]
pub fn of_state(
    state: &JobState,
    layout: &EngineLayout,
    net: &EngineNet,
    knowledge: &Knowledge,
    findings: &mut Vec<Finding>,
) -> Vec<Face> {
    let mut groups: BTreeMap<(&str, &str, Position, &str), Vec<&ReadingTaken>> = BTreeMap::new();
    let good = |r: &&ReadingTaken| !r.stations.is_empty() && r.gauge_doubted_by.is_none();
    for taken in state.readings.iter().filter(good) {
        groups.entry((&taken.check, &taken.reading, taken.position, taken.phase.word())).or_default().push(taken);
    }
    if groups.is_empty() {
        return Vec::new();
    }
    findings::with_context(state, layout, net, knowledge, |context| {
        let mut faces = Vec::new();
        for taken in groups.values() {
            let Some((face, finding)) = judged(taken, context, findings) else { continue };
            findings.extend(finding);
            faces.push(face);
        }
        faces
    })
}

/// One face and the finding on it; no finding where the lines do not hold it, so that each line speaks for itself.
fn judged(taken: &[&ReadingTaken], context: &Context<'_>, findings: &[Finding]) -> Option<(Face, Option<Finding>)> {
    let first = *taken.first()?;
    let check = context.knowledge.check(&first.check)?;
    let reading = check.readings.iter().find(|r| r.id == first.reading)?;
    let (Some(of), ReadingKind::Numeric(numeric)) = (&reading.face, &reading.kind) else { return None };
    let own = findings.iter().find(|f| f.entry == first.entry.to_string())?;
    let spoken = own.spoken();
    let limit = findings::limit_used(check, reading, numeric, first, context);
    let told = size_told(context.sheet, of, &first.position);
    let mut face = Face {
        check: check.id.clone(),
        check_name: check.name.clone(),
        reading: reading.id.clone(),
        position: first.position,
        place: own.place.clone(),
        name: of.name.clone(),
        phase: first.phase,
        after_repair: own.after_repair,
        size: None,
        lines: Vec::new(),
        missing: Vec::new(),
        flatness: None,
        smooth_greatest: None,
        stretch: None,
        shape: None,
        surface: None,
        limit,
        verdict: Verdict::CannotTell,
        reason: String::new(),
        next_move: None,
    };
    let [Some(length), Some(width)] = told else {
        let names = size_names(of);
        let lacks = names.iter().zip(told).filter(|(_, told)| told.is_none());
        face.missing = lacks.map(|((_, name), _)| format!("{name} is not on the engine sheet")).collect();
        face.reason =
            "without the size of the face the stations have no place on it; each line is judged by itself".into();
        face.next_move = Some("measure it, or read it in the engine's manual, and write it on the engine sheet".into());
        return Some((face, None));
    };
    face.size = Some([length, width]);
    face.lines = taken.iter().filter_map(|one| laid(one, [length, width])).collect();
    face.missing = unread(&face.lines);
    if face.missing.is_empty() {
        survey(&mut face, of, first, context, &spoken);
    } else {
        face.reason = "the lines do not bound the face yet; each line is judged by itself".into();
        face.next_move = Some("read what is missing and enter the line again".into());
    }
    let finding = face.flatness.map(|flatness| finding(&face, own, flatness, &spoken));
    Some((face, finding))
}

/// A reading as a line on a face of this size.
fn laid(taken: &ReadingTaken, face: [f64; 2]) -> Option<LaidLine> {
    let line = Line::named(taken.spot.as_deref()?)?;
    let mm = |figure: &Figure| figure.number_in("mm");
    let stations = taken.stations.iter().filter_map(|station| {
        let along = mm(&station.along)?;
        let enters = station.enters.as_ref().map_or(Some(0.0), mm)?;
        let refused = station.refused.as_ref().and_then(mm);
        Some(LaidStation { along, at: line.place(along, face), enters, refused })
    });
    Some(LaidLine {
        entry: taken.entry.to_string(),
        name: line.name.to_owned(),
        ends: line.ends.iter().collect(),
        from: line.place(0.0, face),
        to: line.place(line.length(face), face),
        stations: stations.collect(),
        straightness: None,
    })
}

/// What the lines themselves lack: stations, blades that were refused.
fn unread(lines: &[LaidLine]) -> Vec<String> {
    let mut missing = Vec::new();
    for line in lines {
        let name = line.name.replace('-', " ");
        if line.stations.len() < 3 {
            missing.push(format!("{name} has fewer than three stations: read both ends and the middle at least"));
        }
        let open: Vec<String> =
            line.stations.iter().filter(|s| s.refused.is_none()).map(|s| printed(s.along, 4)).collect();
        if !open.is_empty() {
            missing.push(format!(
                "{name} has no refused blade at {} mm: say the thinnest that does not enter",
                open.join(", ")
            ));
        }
    }
    missing
}

/// The doubt of edge and blades, in mm.
///
/// The step of the blades is the interval itself, so the part of a blade's doubt that is half a step is taken off.
fn assumptions(of: &FaceOf, first: &ReadingTaken, context: &Context<'_>) -> EdgeAssumptions {
    let edge = first
        .label
        .as_ref()
        .and_then(|label| context.gauges.get(label))
        .filter(|(kind, _)| *kind == of.edge)
        .and_then(|(_, stated)| stated.as_ref())
        .and_then(|(text, unit)| logbook::number_in(text, unit, "mm"));
    let in_mm = |id: &str, step: bool| {
        let gauge = context.knowledge.gauge(id)?;
        let u = gauge.u.or_else(|| gauge.worked_u())?;
        let own = if step { gauge.resolution.map_or(0.0, |r| r / 12.0_f64.sqrt()) } else { 0.0 };
        let left = (u * u - own * own).max(0.0).sqrt();
        Unit::from_symbol(&gauge.unit).ok()?.convert_difference(left, Unit::MILLIMETRE).ok()
    };
    EdgeAssumptions {
        edge_u: edge.or_else(|| in_mm(&of.edge, false)).unwrap_or(0.0),
        blade_u: in_mm(&of.blade, true).unwrap_or(0.0),
        kink_allowance: None,
    }
}

/// Asks the lines together.
fn survey(face: &mut Face, of: &FaceOf, first: &ReadingTaken, context: &Context<'_>, spoken: &Spoken) {
    let assumed = assumptions(of, first, context);
    let margin = 2.0 * assumed.edge_u.hypot(assumed.blade_u);
    straightness(face, of, margin, context);
    let lines: Vec<EdgeLine> = face.lines.iter().map(edge).collect();
    let any = EdgeSurvey::new(&lines, assumed).and_then(|survey| Ok((survey.quick()?, survey)));
    let (interval, held) = match any {
        Ok(found) => found,
        Err(error) => return refused(face, &error),
    };
    let smooth = EdgeAssumptions { kink_allowance: Some(mechanics::straightedge::KINK_ALLOWANCE), ..assumed };
    let smooth = EdgeSurvey::new(&lines, smooth).ok();
    let flatness = Between { least: tenth(interval.least), greatest: tenth(interval.ceiling) };
    face.flatness = Some(flatness);
    face.smooth_greatest =
        smooth.as_ref().and_then(|s| s.quick().ok()).map(|s| tenth(s.ceiling).min(flatness.greatest));
    let drawn = smooth.as_ref().unwrap_or(&held);
    face.surface = surface(face, drawn);
    let heights = drawn.middle().unwrap_or_default();
    let points: Vec<[f64; 3]> = held.stations().iter().zip(&heights).map(|(at, h)| [at[0], at[1], h.height]).collect();
    face.shape = face_shape(&points).and_then(|shape| shape_in_words(&shape, flatness.least, spoken));
    judge(face, flatness, spoken);
    if face.verdict == Verdict::CannotTell && face.limit.is_some() {
        let loosest = held.middle().ok().and_then(|heights| {
            let wide = |h: &mechanics::straightedge::EdgeHeight| h.high - h.low;
            let most = held.stations().iter().zip(heights).max_by(|a, b| wide(&a.1).total_cmp(&wide(&b.1)))?;
            Some((*most.0, wide(&most.1)))
        });
        face.next_move = loosest.map(|(at, width)| what_to_add(face, at, width, spoken));
    }
}

/// To a tenth of a micrometre, so that the last digits of a machine are not shown.
fn tenth(mm: f64) -> f64 {
    (mm * 1e4).round() / 1e4
}

fn edge(line: &LaidLine) -> EdgeLine {
    let station =
        |s: &LaidStation| EdgeStation { place: s.at, passes: s.enters, refused: s.refused.unwrap_or(s.enters) };
    line.stations.iter().map(station).collect()
}

/// How straight each line is, and the worst stretch of all.
fn straightness(face: &mut Face, of: &FaceOf, margin: f64, context: &Context<'_>) {
    let mut worst: Option<WorstStretch> = None;
    for line in &mut face.lines {
        let gaps: Vec<(f64, f64, f64)> = line
            .stations
            .iter()
            .map(|s| (s.along, (s.enters - margin).max(0.0), s.refused.unwrap_or(s.enters) + margin))
            .collect();
        let between = |found: &mechanics::straightedge::StretchInterval| Between {
            least: tenth(found.least),
            greatest: tenth(found.greatest),
        };
        line.straightness = stretch_interval(&gaps, f64::INFINITY).as_ref().map(between);
        let Some(found) = stretch_interval(&gaps, of.stretch_mm) else { continue };
        let here = between(&found);
        match &mut worst {
            Some(held) => {
                held.straightness.least = held.straightness.least.max(here.least);
                if here.greatest > held.straightness.greatest {
                    held.straightness.greatest = here.greatest;
                    line.name.clone_into(&mut held.line);
                    held.from_to = [found.from, found.to];
                }
            }
            None => {
                worst = Some(WorstStretch {
                    over: of.stretch_mm,
                    straightness: here,
                    line: line.name.clone(),
                    from_to: [found.from, found.to],
                    judged: None,
                });
            }
        }
    }
    if let (Some(worst), Some(id)) = (&mut worst, &of.stretch_limit) {
        let limit = findings::limit_by_id(id, context);
        worst.judged = limit.map(|limit| {
            let verdict = verdict(worst.straightness, &limit);
            (limit, verdict)
        });
    }
    face.stretch = worst;
}

/// Why the lines give no interval, in the names of the lines.
fn refused(face: &mut Face, error: &StraightedgeError) {
    let mut words = error.to_string();
    for (number, line) in face.lines.iter().enumerate().rev() {
        words = words.replace(&format!("line {}", number + 1), &line.name.replace('-', " "));
    }
    if let StraightedgeError::Loose { .. } = error {
        let unlaid: Vec<String> =
            LINES.iter().filter(|l| face.lines.iter().all(|laid| laid.name != l.name)).map(Line::words).collect();
        face.missing.push(words);
        face.reason = "these lines do not bound the flatness of the face; each line is judged by itself".into();
        face.next_move = Some(if unlaid.is_empty() {
            "read a station wherever two lines cross, on both of them".to_owned()
        } else {
            format!(
                "lay the edge along {} as well, with a station wherever it crosses a line that is read, and read that line there too",
                unlaid.join(" or ")
            )
        });
    } else {
        face.missing.push(words);
        face.reason = "the lines give no interval; each line is judged by itself".into();
        face.next_move = Some("read the place that is named once more, and take the wrong entry back".into());
    }
}

/// The verdict that an interval allows: where an edge of the limit lies inside it, none.
fn verdict(found: Between, limit: &LimitUsed) -> Verdict {
    let [_, _, keep, reject] = limit.edges;
    let (Some(keep), Some(reject)) = (keep.or(reject), reject.or(keep)) else { return Verdict::CannotTell };
    if found.greatest <= keep {
        Verdict::Inside
    } else if found.least > reject {
        Verdict::Outside
    } else if found.least > keep && found.greatest <= reject {
        Verdict::ByJudgement
    } else {
        Verdict::CannotTell
    }
}

fn judge(face: &mut Face, flatness: Between, spoken: &Spoken) {
    let stations: usize = face.lines.iter().map(|l| l.stations.len()).sum();
    let mut reason = format!(
        "{} lines, {stations} readings: flatness between {} and {} at the stations, whatever the shape; {UNSEEN}",
        face.lines.len(),
        spoken.say(flatness.least, 3),
        spoken.say(flatness.greatest, 3),
    );
    if let Some(smooth) = face.smooth_greatest.filter(|s| *s < flatness.greatest) {
        reason.push_str(&format!("; a smooth face: at most {}", spoken.say(smooth, 3)));
    }
    if let Some(limit) = &face.limit {
        face.verdict = verdict(flatness, limit);
        let [_, _, keep, reject] = limit.edges;
        let edge = |words: &str, edge: Option<f64>| edge.map(|x| format!("{words} {}", spoken.say(x, 3)));
        let edges: Vec<String> = [edge("good to", keep), edge("out over", reject.filter(|_| reject != keep))]
            .into_iter()
            .flatten()
            .collect();
        let own = if limit.own { "the engine's own figure" } else { "fallback" };
        reason.push_str(&format!("; {}: {}; {own}, {}", limit.name, edges.join(", "), limit.source));
    } else {
        reason.push_str("; no limit is known for it");
        face.next_move = Some("type this engine's own figure into the engine sheet with document and page".to_owned());
    }
    face.reason = reason;
    match face.verdict {
        Verdict::ByJudgement => {
            face.next_move = Some(
                "surely not out and not surely good: the technician decides, with what else was found, whether it stays"
                    .to_owned(),
            );
        }
        Verdict::Inside | Verdict::Outside | Verdict::CannotTell => {}
    }
}

/// The line or the station that would narrow the interval most: where the height of the face is held least.
fn what_to_add(face: &Face, at: [f64; 2], width: f64, spoken: &Spoken) -> String {
    let near = |station: &&LaidStation| (station.at[0] - at[0]).hypot(station.at[1] - at[1]) <= 1.0;
    let here: Vec<String> = face
        .lines
        .iter()
        .filter_map(|line| {
            let station = line.stations.iter().find(near)?;
            Some(format!("{} mm of {}", printed(station.along, 4), line.name.replace('-', " ")))
        })
        .collect();
    let size = face.size.unwrap_or([1.0, 1.0]);
    let distance = |line: &Line| {
        let (from, to) = (line.place(0.0, size), line.place(line.length(size), size));
        let run = [to[0] - from[0], to[1] - from[1]];
        ((at[0] - from[0]) * run[1] - (at[1] - from[1]) * run[0]).abs() / run[0].hypot(run[1]).max(f64::MIN_POSITIVE)
    };
    let unlaid = LINES.iter().filter(|l| face.lines.iter().all(|laid| laid.name != l.name));
    let line = unlaid.min_by(|a, b| distance(a).total_cmp(&distance(b)));
    let blades = format!(
        "an edge of the limit lies inside the interval; the face is held least at {} (its height to {} only): read that station again with blades closer together",
        here.join(" and "),
        spoken.say(width, 2)
    );
    match line {
        Some(line) => format!(
            "{blades}, or lay the edge along {} as well, with stations where it crosses the others",
            line.words()
        ),
        None => format!("{blades}, or take a dial on a bridge"),
    }
}

/// The smooth face through the readings, over the whole face.
fn surface(face: &Face, survey: &EdgeSurvey) -> Option<Surface> {
    let [length, width] = face.size?;
    let laid: Vec<[[f64; 2]; 2]> = face.lines.iter().map(|l| [l.from, l.to]).collect();
    let frame = WarpFrame::over([0.0, 0.0], [length, width]);
    let drawn = warp_of_survey(survey, &laid, &WarpPrior::USUAL, &frame).ok()?;
    let round = |list: Vec<f64>| list.into_iter().map(tenth).collect::<Vec<f64>>();
    Some(Surface {
        along: round(drawn.along),
        across: round(drawn.across),
        height: round(drawn.height),
        seen: drawn.seen,
    })
}

/// What the shape is called, where one part of it stands out: at least half of the least flatness.
fn shape_in_words(shape: &FaceShape, least: f64, spoken: &Spoken) -> Option<String> {
    let over = |x: f64, above: &'static str, below: &'static str| if x > 0.0 { above } else { below };
    let parts = [
        (
            shape.bow.abs(),
            format!(
                "bow along: the middle lies about {} {} the ends",
                spoken.say(shape.bow.abs(), 2),
                over(shape.bow, "above", "below")
            ),
        ),
        (
            shape.crown.abs(),
            format!(
                "bow across: the middle lies about {} {} the sides",
                spoken.say(shape.crown.abs(), 2),
                over(shape.crown, "above", "below")
            ),
        ),
        (
            shape.twist.abs(),
            format!(
                "twist: the corners {} stand about {} over the other two",
                over(shape.twist, "A and F", "C and D"),
                spoken.say(shape.twist.abs(), 2)
            ),
        ),
        (
            shape.local.abs(),
            format!(
                "local {} of about {} near {} mm from the front and {} mm from the left",
                over(shape.local, "rise", "sink"),
                spoken.say(shape.local.abs(), 2),
                printed(shape.local_at[0], 3),
                printed(shape.local_at[1], 3)
            ),
        ),
    ];
    let (size, words) = parts.into_iter().max_by(|a, b| a.0.total_cmp(&b.0))?;
    (least > 0.0 && size >= least / 2.0).then_some(words)
}

/// The finding on the whole face, beside those of its lines; it adds no evidence, the lines have given theirs.
fn finding(face: &Face, own: &Finding, flatness: Between, spoken: &Spoken) -> Finding {
    let middle = f64::midpoint(flatness.least, flatness.greatest);
    Finding {
        shown: format!(
            "{} to {} {}",
            printed(flatness.least * spoken.per, 3),
            printed(flatness.greatest * spoken.per, 3),
            spoken.unit
        ),
        value: Some(middle),
        u: Some((flatness.greatest - flatness.least) / 12.0_f64.sqrt()),
        measure: None,
        verdict: face.verdict,
        p_inside: None,
        p_outside: None,
        guard: None,
        rule: Some("inside where the whole interval is good, outside where the whole of it is out; where an edge of the limit lies inside the interval it cannot tell".to_owned()),
        limit: face.limit.clone(),
        reason: face.reason.clone(),
        next_move: face.next_move.clone(),
        spot: Some(WHOLE.to_owned()),
        whole_face: true,
        seen: None,
        ..own.clone()
    }
}

/// The spot of the finding on a whole face.
const WHOLE: &str = "all-lines-together";
