//! What a machinist works on one part (P12): datum, worked surfaces, tolerance frames after ISO 1101, figures beside them.

use knowledge::limits::Characteristic;
use knowledge::workshop::Works;

use super::drawing::{Anchor, Drawing, Pen, THICK, count, fitted, lines};

/// A tolerance frame.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Frame {
    /// What is bounded.
    pub is: Characteristic,
    /// The width of the zone, as it is written.
    pub zone: String,
}

/// One kind of work on the part; figures as they are written, with their unit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Worked {
    /// Its number on the sheet.
    pub number: usize,
    /// What is done, and where.
    pub name: String,
    /// How it is drawn; nothing where it has no shape, as a test.
    pub works: Option<Works>,
    /// As found.
    pub as_found: Option<String>,
    /// What is wanted.
    pub wanted: Option<String>,
    /// What must be left.
    pub leave: Option<String>,
    /// What the engine sheet bounds of its form.
    pub frames: Vec<Frame>,
    /// The finish, where the engine sheet holds one.
    pub surface: Option<String>,
}

/// What is to be said of a part.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Cut {
    /// The part.
    pub piece: String,
    /// The face or axis everything is measured from.
    pub datum: String,
    /// The work, in the order it is done.
    pub worked: Vec<Worked>,
}

const WIDTH: f64 = 620.0;
/// Where the words begin, beside the sketches.
const BESIDE: f64 = 214.0;
/// The least height of a sketch with the words beside it.
const SKETCH: f64 = 132.0;
/// The foot, where the datum is named.
const FOOT: f64 = 30.0;
/// Letters.
const NAME: f64 = 13.0;
const FIGURE: f64 = 14.0;
const ROW: f64 = 19.0;
/// The height of a tolerance frame and of its first compartment.
const FRAME: f64 = 20.0;

impl Worked {
    /// Its figures in words.
    fn figures(&self) -> Vec<String> {
        [
            self.as_found.as_ref().map(|f| format!("as found ({f})")),
            self.wanted.as_ref().map(|w| format!("wanted {w}")),
            self.leave.as_ref().map(|l| format!("leave at least {l}")),
        ]
        .into_iter()
        .flatten()
        .collect()
    }

    fn in_words(&self) -> String {
        let mut parts = self.figures();
        parts.extend(self.frames.iter().map(|f| {
            let from = if f.is.from_datum() { " to datum A" } else { "" };
            format!("{} {}{from}", f.is.words(), f.zone)
        }));
        parts.extend(self.surface.as_ref().map(|s| format!("surface {s}")));
        let said = if parts.is_empty() { String::new() } else { format!(": {}", parts.join(", ")) };
        format!("{} {}{said}", self.number, self.name)
    }

    /// The name on as many lines as it takes.
    fn named(&self) -> Vec<String> {
        lines(&self.name, NAME, WIDTH - BESIDE - 34.0).into_iter().take(2).collect()
    }

    /// How high its words stand.
    fn height(&self) -> f64 {
        let frames = if self.frames.is_empty() && self.surface.is_none() { 0.0 } else { FRAME + 10.0 };
        count(self.named().len()) * (NAME + 3.0) + count(self.figures().len()) * ROW + frames + 8.0
    }
}

/// One drawing of a part: a sketch for each kind of surface that is worked, the work beside it with its number. Empty where
/// nothing of it has a shape. The sketches are not to scale; the figures rule.
#[must_use]
pub fn cut_sketch(cut: &Cut) -> String {
    let mut kinds: Vec<Works> = Vec::new();
    for works in cut.worked.iter().filter_map(|w| w.works) {
        if !kinds.contains(&works) {
            kinds.push(works);
        }
    }
    if kinds.is_empty() {
        return String::new();
    }
    let of = |kind: Works| cut.worked.iter().filter(move |w| w.works == Some(kind));
    let tall = |kind: &Works| of(*kind).map(Worked::height).sum::<f64>().max(SKETCH);
    let height = kinds.iter().map(tall).sum::<f64>() + FOOT;
    let datum = if cut.datum.is_empty() { "not told" } else { &cut.datum };
    let said: Vec<String> = kinds.iter().flat_map(|kind| of(*kind)).map(Worked::in_words).collect();
    let desc = format!("{}. Datum A: {datum}. {}. Not to scale.", cut.piece, said.join("; "));
    let mut d = Drawing::new(WIDTH, height, "What to work", &desc);
    let mut top = 0.0;
    for kind in kinds {
        let room = tall(&kind);
        let numbers: Vec<String> = of(kind).map(|w| w.number.to_string()).collect();
        sketch(&mut d, kind, top + (room - SKETCH) / 2.0, &numbers);
        let mut y = top + 6.0;
        for worked in of(kind) {
            beside(&mut d, worked, y);
            y += worked.height();
        }
        top += room;
        d.line((8.0, top), (WIDTH - 8.0, top), &Pen::help());
    }
    datum_sign(&mut d, (20.0, top + 4.0));
    d.text((58.0, top + 22.0), NAME, Anchor::Start, false, &fitted(&format!("A, the datum: {datum}"), NAME, 440.0));
    d.text((WIDTH - 8.0, top + 22.0), 12.0, Anchor::End, false, "not to scale");
    d.finish()
}

/// The words of one kind of work.
fn beside(d: &mut Drawing, worked: &Worked, top: f64) {
    let mut y = top + NAME;
    d.circle((BESIDE + 9.0, y - 4.5), 9.5, &Pen::outline(1.2));
    d.text((BESIDE + 9.0, y), 12.0, Anchor::Middle, true, &worked.number.to_string());
    for line in worked.named() {
        d.text((BESIDE + 26.0, y), NAME, Anchor::Start, true, &line);
        y += NAME + 3.0;
    }
    for line in worked.figures() {
        y += ROW - (NAME + 3.0) + 12.0;
        let strong = line.starts_with("wanted");
        d.text((BESIDE + 26.0, y), FIGURE, Anchor::Start, strong, &fitted(&line, FIGURE, WIDTH - BESIDE - 34.0));
        y += 4.0;
    }
    let mut x = BESIDE + 26.0;
    for frame in &worked.frames {
        x += frame_at(d, (x, y + 2.0), frame) + 10.0;
    }
    if let Some(surface) = &worked.surface {
        surface_sign(d, (x, y + 2.0), surface);
    }
}

/// A tolerance frame with its compartments; gives its width.
fn frame_at(d: &mut Drawing, (x, y): (f64, f64), frame: &Frame) -> f64 {
    let value = count(frame.zone.chars().count()) * 8.2 + 12.0;
    d.rect((x, y), (FRAME + 4.0, FRAME), &Pen::outline(1.0));
    characteristic(d, (x + FRAME / 2.0 + 2.0, y + FRAME / 2.0), frame.is);
    d.rect((x + FRAME + 4.0, y), (value, FRAME), &Pen::outline(1.0));
    d.text((x + FRAME + 4.0 + value / 2.0, y + 15.0), FIGURE, Anchor::Middle, false, &frame.zone);
    let mut width = FRAME + 4.0 + value;
    if frame.is.from_datum() {
        d.rect((x + width, y), (FRAME, FRAME), &Pen::outline(1.0));
        d.text((x + width + FRAME / 2.0, y + 15.0), FIGURE, Anchor::Middle, true, "A");
        width += FRAME;
    }
    width
}

/// The symbol of a characteristic, drawn round a point.
fn characteristic(d: &mut Drawing, (x, y): (f64, f64), is: Characteristic) {
    let pen = Pen::line(1.4);
    match is {
        Characteristic::Flatness => {
            d.polygon(&[(x - 8.0, y + 5.0), (x - 3.0, y - 5.0), (x + 8.0, y - 5.0), (x + 3.0, y + 5.0)], &pen);
        }
        Characteristic::Straightness => d.line((x - 8.0, y), (x + 8.0, y), &pen),
        Characteristic::Roundness => d.circle((x, y), 6.5, &pen),
        Characteristic::Cylindricity => {
            d.circle((x, y), 5.0, &pen);
            d.line((x - 9.0, y + 7.0), (x - 3.0, y - 7.0), &pen);
            d.line((x + 3.0, y + 7.0), (x + 9.0, y - 7.0), &pen);
        }
        Characteristic::Parallelism => {
            d.line((x - 6.0, y + 7.0), (x, y - 7.0), &pen);
            d.line((x, y + 7.0), (x + 6.0, y - 7.0), &pen);
        }
        Characteristic::RunOut => {
            d.line((x - 6.0, y + 7.0), (x + 4.0, y - 5.0), &pen);
            d.polygon(&[(x + 6.5, y - 8.0), (x + 5.5, y - 1.0), (x, y - 5.5)], &Pen::solid());
        }
        Characteristic::Surface => {}
    }
}

/// The sign of a surface that is cut, after ISO 21920-1, with its figure.
fn surface_sign(d: &mut Drawing, (x, y): (f64, f64), words: &str) {
    let pen = Pen::line(1.4);
    d.line((x, y + 10.0), (x + 5.5, y + FRAME), &pen);
    d.line((x + 5.5, y + FRAME), (x + 17.0, y), &pen);
    d.line((x, y + 10.0), (x + 11.2, y + 10.0), &pen);
    let wide = count(words.chars().count()) * 7.6 + 6.0;
    d.line((x + 17.0, y), (x + 17.0 + wide, y), &pen);
    d.text((x + 20.0, y + 14.0), NAME, Anchor::Start, false, words);
}

/// The datum triangle with its letter in a frame, from its upper left corner.
fn datum_sign(d: &mut Drawing, (x, y): (f64, f64)) {
    d.polygon(&[(x - 8.0, y), (x + 8.0, y), (x, y + 9.0)], &Pen::solid());
    d.line((x, y + 9.0), (x, y + 12.0), &Pen::line(1.0));
    d.rect((x + 12.0, y + 2.0), (20.0, 20.0), &Pen::outline(1.0));
    d.line((x, y + 12.0), (x + 12.0, y + 12.0), &Pen::line(1.0));
    d.text((x + 22.0, y + 17.0), FIGURE, Anchor::Middle, true, "A");
}

/// A datum triangle whose point touches a line from below, with its letter.
fn datum_below(d: &mut Drawing, (x, y): (f64, f64)) {
    d.polygon(&[(x - 9.0, y + 11.0), (x + 9.0, y + 11.0), (x, y)], &Pen::solid());
    d.line((x, y + 11.0), (x, y + 15.0), &Pen::line(1.0));
    d.rect((x - 9.0, y + 15.0), (18.0, 17.0), &Pen::outline(1.0));
    d.text((x, y + 28.0), 13.0, Anchor::Middle, true, "A");
}

/// A dimension line with its two arrows, upright.
fn upright(d: &mut Drawing, x: f64, (from, to): (f64, f64)) {
    d.line((x, from + 8.0), (x, to - 8.0), &Pen::line(1.0));
    d.polygon(&[(x, from), (x - 3.5, from + 9.0), (x + 3.5, from + 9.0)], &Pen::solid());
    d.polygon(&[(x, to), (x - 3.5, to - 9.0), (x + 3.5, to - 9.0)], &Pen::solid());
}

/// A dimension line with its two arrows, level.
fn level(d: &mut Drawing, y: f64, (from, to): (f64, f64)) {
    d.line((from + 8.0, y), (to - 8.0, y), &Pen::line(1.0));
    d.polygon(&[(from, y), (from + 9.0, y - 3.5), (from + 9.0, y + 3.5)], &Pen::solid());
    d.polygon(&[(to, y), (to - 9.0, y - 3.5), (to - 9.0, y + 3.5)], &Pen::solid());
}

/// The numbers of the work at a worked surface, on a line that leads to it.
fn lead(d: &mut Drawing, at: (f64, f64), to: (f64, f64), numbers: &[String]) {
    d.line(at, to, &Pen::line(1.0));
    d.circle(at, 2.5, &Pen::solid());
    let words = numbers.join(", ");
    let wide = (count(words.chars().count()) * 7.0 + 10.0).max(19.0);
    d.rect((to.0 - wide / 2.0, to.1 - 15.0), (wide, 16.0), &Pen::outline(1.2));
    d.text((to.0, to.1 - 3.0), 12.0, Anchor::Middle, true, &words);
}

/// The sketch of a kind of surface, in a room of its own.
fn sketch(d: &mut Drawing, kind: Works, top: f64, numbers: &[String]) {
    match kind {
        Works::Face => face(d, top, numbers),
        Works::Bore => bore(d, top, numbers),
        Works::Ledge => ledge(d, top, numbers),
        Works::Journal => journal(d, top, numbers),
        Works::ValveSeat => valve_seat(d, top, numbers),
    }
}

/// A block in section, hatched, between datum and worked face.
fn face(d: &mut Drawing, top: f64, numbers: &[String]) {
    let (upper, lower) = (top + 32.0, top + 92.0);
    d.rect((22.0, upper), (124.0, lower - upper), &Pen::outline(1.0));
    d.hatch((22.0, upper), (124.0, lower - upper), 12.0);
    d.line((16.0, upper), (152.0, upper), &Pen::line(THICK * 2.0));
    d.line((16.0, lower), (152.0, lower), &Pen::line(THICK));
    for y in [upper, lower] {
        d.line((152.0, y), (186.0, y), &Pen::help());
    }
    upright(d, 176.0, (upper, lower));
    datum_below(d, (84.0, lower));
    lead(d, (56.0, upper), (44.0, upper - 14.0), numbers);
}

/// Two hatched walls with the hole between them, its axis and its diameter.
fn bore(d: &mut Drawing, top: f64, numbers: &[String]) {
    let (upper, lower) = (top + 26.0, top + 96.0);
    for x in [22.0, 130.0] {
        d.rect((x, upper), (36.0, lower - upper), &Pen::outline(1.0));
        d.hatch((x, upper), (36.0, lower - upper), 10.0);
    }
    for x in [58.0, 130.0] {
        d.line((x, upper), (x, lower), &Pen::line(THICK * 2.0));
    }
    d.line((58.0, lower), (130.0, lower), &Pen::line(1.0));
    d.line((94.0, upper - 8.0), (94.0, lower + 8.0), &Pen::chain(1.0));
    level(d, upper + 34.0, (58.0, 130.0));
    datum_below(d, (148.0, lower));
    lead(d, (58.0, upper + 14.0), (40.0, upper - 10.0), numbers);
}

/// A wall with its ledge, the flange that stands on it, and the height above the deck.
fn ledge(d: &mut Drawing, top: f64, numbers: &[String]) {
    let (deck, step, lower) = (top + 40.0, top + 70.0, top + 104.0);
    let wall = [(22.0, deck), (78.0, deck), (78.0, step), (100.0, step), (100.0, lower), (22.0, lower)];
    d.polygon(&wall, &Pen::outline(1.0));
    d.hatch((22.0, deck), (56.0, lower - deck), 11.0);
    d.hatch((78.0, step), (22.0, lower - step), 11.0);
    d.line((78.0, step), (100.0, step), &Pen::line(THICK * 2.0));
    d.line((16.0, deck), (78.0, deck), &Pen::line(THICK));
    // The flange stands proud of the deck.
    let flange = [(80.0, deck - 9.0), (150.0, deck - 9.0), (150.0, lower), (104.0, lower), (104.0, step), (80.0, step)];
    d.polygon(&flange, &Pen::line(1.0));
    for y in [deck - 9.0, deck] {
        d.line((150.0, y), (186.0, y), &Pen::help());
    }
    // Too near to one another for arrows between them: they point from outside.
    d.line((176.0, deck - 25.0), (176.0, deck - 16.0), &Pen::line(1.0));
    d.polygon(&[(176.0, deck - 9.0), (172.5, deck - 18.0), (179.5, deck - 18.0)], &Pen::solid());
    d.line((176.0, deck + 7.0), (176.0, deck + 16.0), &Pen::line(1.0));
    d.polygon(&[(176.0, deck), (172.5, deck + 9.0), (179.5, deck + 9.0)], &Pen::solid());
    d.polygon(&[(44.0, deck - 11.0), (62.0, deck - 11.0), (53.0, deck)], &Pen::solid());
    d.text((53.0, deck - 14.0), 13.0, Anchor::Middle, true, "A");
    lead(d, (89.0, step), (126.0, lower + 20.0), numbers);
}

/// A bearing surface between two webs, its axis and its diameter.
fn journal(d: &mut Drawing, top: f64, numbers: &[String]) {
    let (upper, lower) = (top + 42.0, top + 90.0);
    for x in [22.0, 140.0] {
        d.rect((x, upper - 18.0), (22.0, lower - upper + 36.0), &Pen::outline(1.0));
        d.hatch((x, upper - 18.0), (22.0, lower - upper + 36.0), 9.0);
    }
    d.rect((44.0, upper), (96.0, lower - upper), &Pen::outline(1.0));
    for y in [upper, lower] {
        d.line((44.0, y), (140.0, y), &Pen::line(THICK * 2.0));
    }
    let middle = f64::midpoint(upper, lower);
    d.line((8.0, middle), (186.0, middle), &Pen::chain(1.0));
    upright(d, 118.0, (upper, lower));
    datum_below(d, (176.0, middle));
    lead(d, (74.0, upper), (92.0, upper - 22.0), numbers);
}

/// A seat cut into the chamber wall, with the guide below it, from which it is centred.
fn valve_seat(d: &mut Drawing, top: f64, numbers: &[String]) {
    let (upper, cone, throat, lower) = (top + 24.0, top + 40.0, top + 62.0, top + 100.0);
    let left =
        [(22.0, upper), (50.0, upper), (66.0, cone), (66.0, throat), (84.0, throat), (84.0, lower), (22.0, lower)];
    let right: Vec<(f64, f64)> = left.iter().map(|(x, y)| (188.0 - x, *y)).collect();
    d.polygon(&left, &Pen::outline(1.0));
    d.polygon(&right, &Pen::outline(1.0));
    for x in [22.0, 122.0] {
        d.hatch((x, cone), (44.0, lower - cone), 10.0);
    }
    d.line((50.0, upper), (66.0, cone), &Pen::line(THICK * 2.0));
    d.line((138.0, upper), (122.0, cone), &Pen::line(THICK * 2.0));
    d.line((94.0, upper - 8.0), (94.0, lower + 4.0), &Pen::chain(1.0));
    datum_below(d, (94.0, lower));
    lead(d, (58.0, upper + 8.0), (36.0, upper - 4.0), numbers);
}
