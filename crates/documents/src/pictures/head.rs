//! One head from the fire side, drawn from the places of the layout (P1).

use std::collections::BTreeMap;

use anatomy::{EngineLayout, Fuel, Position};

use super::drawing::{Anchor, Drawing, Pen, THICK, THIN, count, wide};
use super::marks::Mark;
use super::prices::Breadth;

/// Radius of a chamber on the drawing.
const R: f64 = 80.0;
/// From one cylinder to the next.
const PITCH: f64 = 2.3 * R;
/// Left and right of the head.
const SIDE: f64 = 96.0;
/// Above the head, at least.
const TOP: f64 = 66.0;
/// As wide as a phone shows a picture.
const PHONE: f64 = 350.0;
/// A head longer than this is drawn smaller than its letters are meant.
const LONG: f64 = 1000.0;
/// What a word on a phone is never smaller than, and what a valve's is not drawn below.
const READ: f64 = 12.5;
const LEAST: f64 = 9.0;
/// Half of the head's width.
const HALF: f64 = 1.45 * R;

/// A valve in its chamber: middle and radius in chamber radii.
type Seat = (f64, f64, f64);

/// Where the valves and the plug of one chamber sit.
struct Chamber {
    intake: Vec<Seat>,
    exhaust: Vec<Seat>,
    plug: (f64, f64),
}

/// A layout of seats for so many valves; the true one is the engine's own, this one is for finding one's way.
fn chamber(intake: u8, exhaust: u8) -> Chamber {
    let of = |i: &[Seat], e: &[Seat], plug: (f64, f64)| Chamber { intake: i.to_vec(), exhaust: e.to_vec(), plug };
    match (intake, exhaust) {
        (1, 1) => of(&[(-0.44, -0.08, 0.42)], &[(0.46, -0.08, 0.36)], (0.02, 0.62)),
        (2, 1) => of(&[(-0.4, -0.34, 0.34), (0.4, -0.34, 0.34)], &[(0.0, 0.48, 0.32)], (-0.52, 0.36)),
        (1, 2) => of(&[(0.0, -0.44, 0.4)], &[(-0.36, 0.42, 0.3), (0.36, 0.42, 0.3)], (0.56, -0.2)),
        (2, 2) => {
            of(&[(-0.39, -0.38, 0.34), (0.39, -0.38, 0.34)], &[(-0.37, 0.42, 0.29), (0.37, 0.42, 0.29)], (0.0, 0.02))
        }
        (3, 2) => of(
            &[(-0.6, -0.22, 0.28), (0.0, -0.6, 0.28), (0.6, -0.22, 0.28)],
            &[(-0.34, 0.48, 0.26), (0.34, 0.48, 0.26)],
            (0.0, 0.04),
        ),
        (2, 3) => of(
            &[(-0.36, -0.48, 0.28), (0.36, -0.48, 0.28)],
            &[(-0.6, 0.22, 0.25), (0.0, 0.6, 0.25), (0.6, 0.22, 0.25)],
            (0.0, -0.04),
        ),
        (i, e) => {
            let largest = f64::from(i.max(e).max(1));
            let radius = (0.9 / largest).min(0.3);
            let row = |n: u8, y: f64, r: f64| -> Vec<Seat> {
                let at = |k: u8| (f64::from(k) + 0.5) / f64::from(n.max(1)) * 1.6 - 0.8;
                (0..n).map(|k| (at(k), y, r)).collect()
            };
            Chamber { intake: row(i, -0.38, radius), exhaust: row(e, 0.4, radius * 0.88), plug: (0.0, 0.02) }
        }
    }
}

/// The cylinders one head covers, from the place that names the head.
pub(super) fn covered(layout: &EngineLayout, head: &Position) -> Vec<u8> {
    let heads = layout.heads();
    let own = head.cylinder().and_then(|c| heads.iter().find(|h| h.cylinders.contains(&c)));
    match own {
        Some(one) => one.cylinders.clone(),
        None => layout
            .bank_of(head)
            .or_else(|| layout.banks().first().copied())
            .map_or_else(Vec::new, |bank| layout.cylinders_of(bank)),
    }
}

/// What the picture shows of one place.
struct Scene<'a> {
    layout: &'a EngineLayout,
    marks: &'a BTreeMap<Position, Mark>,
    links: &'a BTreeMap<Position, String>,
    drawing: Drawing,
    breadth: Breadth,
    /// Units of the drawing to a point of the screen, where it is shown smaller than it is drawn.
    smaller: f64,
    /// How much larger letters stand on a sheet, where a long head is drawn smaller than a short one.
    larger: f64,
    /// Where the casting begins.
    top: f64,
}

/// One head seen from the fire side. `links`: where a tap on a place leads.
///
/// Cylinders stand in the order of the layout, from the end the engine is counted from; the arrow says which end is the
/// front. Bolts and water passages are a sketch, as the layout does not hold them.
#[must_use]
pub fn head_from_fire_side(
    layout: &EngineLayout,
    head: &Position,
    marks: &BTreeMap<Position, Mark>,
    links: &BTreeMap<Position, String>,
    breadth: Breadth,
) -> String {
    let cylinders = covered(layout, head);
    let width = 2.0 * SIDE + count(cylinders.len()) * PITCH;
    let smaller = match breadth {
        Breadth::Sheet => 1.0,
        Breadth::Phone => (width / PHONE).max(1.0),
    };
    let top = TOP.max(2.6 * READ * smaller);
    let height = top + 2.0 * HALF + (2.0 * READ * smaller).max(30.0);
    let counted_from_front = layout.numbering().first_end() == layout.front();
    let name = match layout.banks().len() {
        0 | 1 => "The head".to_owned(),
        _ => layout.bank_of(head).map_or_else(|| "The head".to_owned(), |b| format!("Head of {}", bank(layout, b))),
    };
    let title = format!("{name} from the fire side");
    let desc = described(layout, &cylinders, marks, counted_from_front);
    let drawing = Drawing::new(width, height, &title, &desc);
    let mut scene =
        Scene { layout, marks, links, drawing, breadth, smaller, larger: (width / LONG).clamp(1.0, 1.25), top };
    scene.casting(&cylinders, width);
    if layout.banks().len() > 1 {
        // Two heads of one engine look alike; each says which it is.
        let size = scene.letters(15.0);
        let foot = (SIDE - 22.0, top + 2.0 * HALF + 5.0 + size);
        scene.drawing.text(foot, size, Anchor::Start, false, &name.replacen('H', "h", 1));
    }
    scene.front(counted_from_front, width);
    for (n, cylinder) in cylinders.iter().enumerate() {
        scene.cylinder(*cylinder, (SIDE + (count(n) + 0.5) * PITCH, top + HALF));
    }
    for (n, cylinder) in cylinders.iter().enumerate() {
        let pair = Position::Pair(*cylinder);
        if n + 1 < cylinders.len() && marks.contains_key(&pair) {
            scene.bridge(&pair, (SIDE + count(n + 1) * PITCH, top + HALF));
        }
    }
    if let Some(b) = layout.bank_of(head).or_else(|| cylinders.first().and_then(|c| layout.bank_of_cylinder(*c))) {
        scene.face(&Position::Bank(b), width);
    }
    scene.drawing.finish()
}

fn bank(layout: &EngineLayout, bank: anatomy::Bank) -> String {
    layout.label(&Position::Bank(bank))
}

/// The picture in words.
fn described(
    layout: &EngineLayout,
    cylinders: &[u8],
    marks: &BTreeMap<Position, Mark>,
    counted_from_front: bool,
) -> String {
    let names: Vec<String> = cylinders.iter().filter_map(|c| layout.cylinder_name(*c)).collect();
    let side = if counted_from_front { "left" } else { "right" };
    let mut said = Vec::new();
    for (position, mark) in marks {
        let here = match position {
            Position::Pair(n) => cylinders.contains(n),
            Position::Bank(b) => cylinders.iter().any(|c| layout.bank_of_cylinder(*c) == Some(*b)),
            Position::Cylinder(n) => cylinders.contains(n),
            Position::ValveIntake { cylinder, .. } | Position::ValveExhaust { cylinder, .. } => {
                cylinders.contains(cylinder)
            }
            Position::Engine | Position::MainBearing(_) | Position::RodBearing(_) | Position::Cam(_) => false,
        };
        if here {
            said.push(format!("{}: {}", layout.label(position), mark.words()));
        }
    }
    let marked = if said.is_empty() { "no place is marked".to_owned() } else { said.join("; ") };
    format!(
        "Seen from the fire side, front at the {side}. Cylinders {}, each with {} intake and {} exhaust valves. \
         {marked}. Bolts and water passages are a sketch.",
        names.join(", "),
        layout.intake_valves_per_cylinder(),
        layout.exhaust_valves_per_cylinder()
    )
}

impl Scene<'_> {
    /// The size of letters that stand so large on a sheet: on a phone as large as one can read.
    fn letters(&self, on_a_sheet: f64) -> f64 {
        match self.breadth {
            Breadth::Sheet => on_a_sheet * self.larger,
            Breadth::Phone => on_a_sheet.max(READ * self.smaller),
        }
    }

    /// The outline of the casting, bolts around the chambers, water passages between.
    fn casting(&mut self, cylinders: &[u8], width: f64) {
        let n = cylinders.len();
        let top = self.top;
        let d = &mut self.drawing;
        d.rect((SIDE - 22.0, top), (width - 2.0 * SIDE + 44.0, 2.0 * HALF), &Pen::outline(THICK));
        d.line((SIDE - 32.0, top + HALF), (width - SIDE + 32.0, top + HALF), &Pen::chain(0.7));
        for k in 0..=n {
            for side in [-1.0, 1.0] {
                let at = (SIDE + count(k) * PITCH, top + HALF + side * 1.2 * R);
                hexagon(d, at, 0.13 * R);
            }
        }
        for k in 0..n {
            for (side, shift) in [(-1.0, -0.5), (-1.0, 0.5), (1.0, -0.5), (1.0, 0.5)] {
                let x = SIDE + (count(k) + 0.5) * PITCH + shift * 0.95 * R;
                d.ellipse((x, top + HALF + side * 1.24 * R), (0.17 * R, 0.085 * R), &Pen::hidden());
            }
        }
    }

    /// The arrow to the front, at the true end.
    fn front(&mut self, at_the_left: bool, width: f64) {
        let (size, top, breadth) = (self.letters(15.0), self.top, self.breadth);
        let d = &mut self.drawing;
        let (x, to) = if at_the_left { (SIDE - 40.0, -1.0) } else { (width - SIDE + 40.0, 1.0) };
        let y = top + HALF;
        d.line((x, y + 8.0), (x + to * 28.0, y + 8.0), &Pen::line(THICK));
        d.polygon(&[(x + to * 48.0, y + 8.0), (x + to * 26.0, y), (x + to * 26.0, y + 16.0)], &Pen::solid());
        match (breadth, at_the_left) {
            (Breadth::Sheet, _) => d.text((x + to * 24.0, y - 8.0), size, Anchor::Middle, true, "FRONT"),
            // Too wide for the side of the casting: in the corner above the arrow.
            (Breadth::Phone, true) => d.text((2.0, size), size, Anchor::Start, true, "FRONT"),
            (Breadth::Phone, false) => d.text((width - 2.0, size), size, Anchor::End, true, "FRONT"),
        }
    }

    fn cylinder(&mut self, cylinder: u8, at: (f64, f64)) {
        let place = Position::Cylinder(cylinder);
        let name = self.layout.cylinder_name(cylinder).unwrap_or_else(|| cylinder.to_string());
        let linked = self.open(&place, None);
        let size = self.letters(26.0);
        let d = &mut self.drawing;
        d.circle(at, R, &Pen::outline(THIN));
        d.text((at.0, at.1 - HALF - 10.0), size, Anchor::Middle, true, &name);
        if let Some(mark) = self.marks.get(&place) {
            let beside = wide(&name, size) / 2.0 + 24.0 * size / 26.0;
            mark.draw(d, (at.0 + beside, at.1 - HALF - 10.0 - 0.35 * size), 30.0 * size / 26.0);
        }
        d.close(linked);
        let seats = chamber(self.layout.intake_valves_per_cylinder(), self.layout.exhaust_valves_per_cylinder());
        let many = (seats.intake.len() > 1, seats.exhaust.len() > 1);
        for (number, seat) in (1u8..).zip(&seats.intake) {
            let word = if many.0 { format!("in {number}") } else { "in".to_owned() };
            self.valve(&Position::ValveIntake { cylinder, number }, at, *seat, &word);
        }
        for (number, seat) in (1u8..).zip(&seats.exhaust) {
            let word = if many.1 { format!("ex {number}") } else { "ex".to_owned() };
            self.valve(&Position::ValveExhaust { cylinder, number }, at, *seat, &word);
        }
        self.plug((at.0 + seats.plug.0 * R, at.1 + seats.plug.1 * R));
    }

    fn valve(&mut self, place: &Position, at: (f64, f64), seat: Seat, word: &str) {
        let middle = (at.0 + seat.0 * R, at.1 + seat.1 * R);
        let radius = seat.2 * R;
        let linked = self.open(place, Some(word));
        let mark = self.marks.get(place);
        let d = &mut self.drawing;
        d.circle(middle, radius, &Pen::outline(THICK));
        d.circle(middle, radius * 0.84, &Pen::help());
        let size = (radius * 0.5).min(15.0 * self.larger);
        match mark {
            // Too small to read: the shape alone, and the word in the list of places.
            Some(mark) if size < LEAST * self.smaller => mark.draw(d, middle, radius * 1.3),
            None if size < LEAST * self.smaller => {}
            Some(mark) => {
                mark.draw(d, (middle.0, middle.1 - radius * 0.2), radius * 0.92);
                d.text((middle.0, middle.1 + radius * 0.62), size, Anchor::Middle, false, word);
            }
            None => d.text((middle.0, middle.1 + size * 0.35), size, Anchor::Middle, false, word),
        }
        d.close(linked);
    }

    /// A cross for the plug, a crossed circle for the injector.
    fn plug(&mut self, at: (f64, f64)) {
        let arm = 0.1 * R;
        let d = &mut self.drawing;
        if self.layout.fuel() == Fuel::Diesel {
            d.circle(at, arm, &Pen::outline(THIN));
        }
        d.line((at.0 - arm, at.1 - arm), (at.0 + arm, at.1 + arm), &Pen::line(THICK));
        d.line((at.0 - arm, at.1 + arm), (at.0 + arm, at.1 - arm), &Pen::line(THICK));
    }

    /// The bridge between two chambers.
    fn bridge(&mut self, place: &Position, at: (f64, f64)) {
        let linked = self.open(place, None);
        if let Some(mark) = self.marks.get(place) {
            let d = &mut self.drawing;
            d.rect((at.0 - 13.0, at.1 - 13.0), (26.0, 26.0), &Pen { stroke: "none", ..Pen::outline(THIN) });
            mark.draw(d, at, 22.0);
        }
        self.drawing.close(linked);
    }

    /// The face of the head as a whole.
    fn face(&mut self, place: &Position, width: f64) {
        if !self.marks.contains_key(place) && !self.links.contains_key(place) {
            return;
        }
        let linked = self.open(place, Some("face"));
        let (size, top, breadth) = (self.letters(13.5), self.top, self.breadth);
        let d = &mut self.drawing;
        let (at, large, word) = match breadth {
            Breadth::Sheet => {
                let at = (width - SIDE + 34.0, top - 22.0);
                (at, 30.0, (at.0 + 18.0, at.1 + 5.0))
            }
            // Under the casting, where there is room for a word.
            Breadth::Phone => {
                let word = (width - SIDE + 22.0 - wide("face", size), top + 2.0 * HALF + 5.0 + size);
                ((word.0 - 0.9 * size, word.1 - 0.35 * size), 1.2 * size, word)
            }
        };
        if let Some(mark) = self.marks.get(place) {
            mark.draw(d, at, large);
        }
        d.text(word, size, Anchor::Start, false, "face");
        d.close(linked);
    }

    /// Opens a place, as a link where there is one; says whether it is one. A word drawn in it that its name does not have
    /// stands before the name: who speaks to a screen says what is seen.
    fn open(&mut self, place: &Position, drawn: Option<&str>) -> bool {
        let link = self.links.get(place).map(String::as_str);
        let state = self.marks.get(place).copied().unwrap_or(Mark::None);
        let name = self.layout.label(place);
        let name = drawn.map_or_else(|| name.clone(), |word| format!("{word}, {name}"));
        let words = format!("{name}: {}", state.words());
        self.drawing.open(&place.address(), &words, link);
        link.is_some()
    }
}

/// A hexagon head.
fn hexagon(on: &mut Drawing, at: (f64, f64), radius: f64) {
    let corners: Vec<(f64, f64)> = (0..6)
        .map(|k| {
            let angle = std::f64::consts::FRAC_PI_3 * f64::from(k) + std::f64::consts::FRAC_PI_6;
            (at.0 + radius * angle.cos(), at.1 + radius * angle.sin())
        })
        .collect();
    on.polygon(&corners, &Pen::outline(THIN));
    on.circle(at, radius * 0.45, &Pen::help());
}
