//! A small writer of SVG: shapes with a class and presentation attributes, so that print needs no style sheet and a
//! page may colour by class.

use std::fmt::Write;

/// The ink of print.
pub(crate) const INK: &str = "#15181A";
/// What is not the matter: help lines, things of no weight.
pub(crate) const FAINT: &str = "#4A4F55";
/// The paper.
pub(crate) const PAPER: &str = "#FFFFFF";
/// The family of letters; the papers and the pages carry it.
const FAMILY: &str = "B612, sans-serif";
/// Width of a letter of that family, in parts of its size; on the wide side, so that nothing is cut \[ours\].
const LETTER: f64 = 0.54;

/// Line widths after the habit of ISO 128: thick is twice thin.
pub(crate) const THIN: f64 = 1.0;
/// The thick line.
pub(crate) const THICK: f64 = 2.0;

/// How a shape is drawn.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Pen {
    /// Class for style sheets.
    pub(crate) class: &'static str,
    /// Colour of the line, or `none`.
    pub(crate) stroke: &'static str,
    /// Colour of the area, or `none`.
    pub(crate) fill: &'static str,
    /// Width of the line.
    pub(crate) width: f64,
    /// Dashes, where it is no full line.
    pub(crate) dashes: &'static str,
}

impl Pen {
    /// A line of this width in ink.
    pub(crate) const fn line(width: f64) -> Self {
        Self { class: "wm-line", stroke: INK, fill: "none", width, dashes: "" }
    }

    /// A thin line that helps and is not the thing.
    pub(crate) const fn help() -> Self {
        Self { class: "wm-help", stroke: FAINT, fill: "none", width: THIN, dashes: "" }
    }

    /// A dashed line: hidden, or behind.
    pub(crate) const fn hidden() -> Self {
        Self { class: "wm-help", stroke: FAINT, fill: "none", width: THIN, dashes: "4 3" }
    }

    /// A chain line: an axis, or a border of what is allowed.
    pub(crate) const fn chain(width: f64) -> Self {
        Self { class: "wm-line", stroke: INK, fill: "none", width, dashes: "12 3 2 3" }
    }

    /// An outline with paper inside.
    pub(crate) const fn outline(width: f64) -> Self {
        Self { class: "wm-outline", stroke: INK, fill: PAPER, width, dashes: "" }
    }

    /// An area of ink.
    pub(crate) const fn solid() -> Self {
        Self { class: "wm-solid", stroke: "none", fill: INK, width: 0.0, dashes: "" }
    }

    fn attributes(&self) -> String {
        let mut out = format!("class=\"{}\" fill=\"{}\" stroke=\"{}\"", self.class, self.fill, self.stroke);
        if self.stroke != "none" {
            let _fits = write!(out, " stroke-width=\"{}\"", number(self.width));
        }
        if !self.dashes.is_empty() {
            let _fits = write!(out, " stroke-dasharray=\"{}\"", self.dashes);
        }
        out
    }
}

/// Where a text hangs on its point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Anchor {
    /// The point is its start.
    Start,
    /// The point is its middle.
    Middle,
    /// The point is its end.
    End,
}

/// A picture being drawn.
#[derive(Debug)]
pub(crate) struct Drawing {
    width: f64,
    height: f64,
    title: String,
    desc: String,
    body: String,
    /// Whether parts of it can be followed as links; a picture that is one image would hide them from a reader.
    linked: bool,
}

impl Drawing {
    /// An empty picture of this size, with its name and what it says in words.
    pub(crate) fn new(width: f64, height: f64, title: &str, desc: &str) -> Self {
        let (title, desc) = (title.to_owned(), desc.to_owned());
        Self { width, height, title, desc, body: String::new(), linked: false }
    }

    /// The whole picture.
    pub(crate) fn finish(self) -> String {
        let (w, h) = (number(self.width), number(self.height));
        let role = if self.linked { "group" } else { "img" };
        let (title, desc) = (escape(&self.title), escape(&self.desc));
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" class=\"wm-picture\" viewBox=\"0 0 {w} {h}\" width=\"{w}\" \
             height=\"{h}\" role=\"{role}\" aria-label=\"{title}\" font-family=\"{FAMILY}\"><title>{title}</title>\
             <desc>{desc}</desc>{}</svg>",
            self.body
        )
    }

    /// A straight line.
    pub(crate) fn line(&mut self, from: (f64, f64), to: (f64, f64), pen: &Pen) {
        self.add(&format!(
            "<line x1=\"{}\" y1=\"{}\" x2=\"{}\" y2=\"{}\" {}/>",
            number(from.0),
            number(from.1),
            number(to.0),
            number(to.1),
            pen.attributes()
        ));
    }

    /// A rectangle from its upper left corner.
    pub(crate) fn rect(&mut self, at: (f64, f64), size: (f64, f64), pen: &Pen) {
        self.add(&format!(
            "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" {}/>",
            number(at.0),
            number(at.1),
            number(size.0.max(0.0)),
            number(size.1.max(0.0)),
            pen.attributes()
        ));
    }

    /// A circle.
    pub(crate) fn circle(&mut self, at: (f64, f64), radius: f64, pen: &Pen) {
        self.add(&format!(
            "<circle cx=\"{}\" cy=\"{}\" r=\"{}\" {}/>",
            number(at.0),
            number(at.1),
            number(radius),
            pen.attributes()
        ));
    }

    /// An ellipse.
    pub(crate) fn ellipse(&mut self, at: (f64, f64), radii: (f64, f64), pen: &Pen) {
        self.add(&format!(
            "<ellipse cx=\"{}\" cy=\"{}\" rx=\"{}\" ry=\"{}\" {}/>",
            number(at.0),
            number(at.1),
            number(radii.0),
            number(radii.1),
            pen.attributes()
        ));
    }

    /// A closed shape.
    pub(crate) fn polygon(&mut self, points: &[(f64, f64)], pen: &Pen) {
        let points: Vec<String> = points.iter().map(|(x, y)| format!("{},{}", number(*x), number(*y))).collect();
        self.add(&format!("<polygon points=\"{}\" {}/>", points.join(" "), pen.attributes()));
    }

    /// A path in the words of SVG; only numbers of our own go in.
    pub(crate) fn path(&mut self, d: &str, pen: &Pen) {
        self.add(&format!("<path d=\"{d}\" {}/>", pen.attributes()));
    }

    /// A line of text.
    pub(crate) fn text(&mut self, at: (f64, f64), size: f64, anchor: Anchor, strong: bool, words: &str) {
        let anchor = match anchor {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        };
        let weight = if strong { " font-weight=\"700\"" } else { "" };
        self.add(&format!(
            "<text class=\"wm-text\" x=\"{}\" y=\"{}\" font-size=\"{}\" text-anchor=\"{anchor}\" \
             fill=\"{INK}\"{weight}>{}</text>",
            number(at.0),
            number(at.1),
            number(size),
            escape(words)
        ));
    }

    /// A strong line of text, struck out.
    pub(crate) fn struck(&mut self, at: (f64, f64), size: f64, words: &str) {
        self.add(&format!(
            "<text class=\"wm-text\" x=\"{}\" y=\"{}\" font-size=\"{}\" fill=\"{INK}\" font-weight=\"700\" \
             text-decoration=\"line-through\">{}</text>",
            number(at.0),
            number(at.1),
            number(size),
            escape(words)
        ));
    }

    /// Slanting lines over a rectangle: not offered, not open, taken.
    pub(crate) fn hatch(&mut self, at: (f64, f64), size: (f64, f64), step: f64) {
        let pen = Pen::help();
        if !(size.0.is_finite() && size.1.is_finite() && step > 0.0) {
            return;
        }
        let mut start = step;
        // Each line runs from the left or lower edge up to the right, cut where the rectangle ends.
        while start < size.0 + size.1 {
            let from = if start <= size.1 { (at.0, at.1 + start) } else { (at.0 + start - size.1, at.1 + size.1) };
            let to = if start <= size.0 { (at.0 + start, at.1) } else { (at.0 + size.0, at.1 + start - size.0) };
            self.line(from, to, &pen);
            start += step;
        }
    }

    /// Opens a group, or a link where there is somewhere to go.
    pub(crate) fn open(&mut self, place: &str, words: &str, link: Option<&str>) {
        match link {
            Some(href) => {
                self.linked = true;
                self.add(&format!(
                    "<a href=\"{}\" class=\"wm-place\" data-place=\"{}\" aria-label=\"{}\">",
                    escape(href),
                    escape(place),
                    escape(words)
                ));
            }
            None => self.add(&format!("<g class=\"wm-place\" data-place=\"{}\">", escape(place))),
        }
    }

    /// Closes what was opened.
    pub(crate) fn close(&mut self, linked: bool) {
        self.add(if linked { "</a>" } else { "</g>" });
    }

    /// Opens a plain group of a class.
    pub(crate) fn group(&mut self, class: &str) {
        self.add(&format!("<g class=\"{}\">", escape(class)));
    }

    /// Closes a plain group.
    pub(crate) fn end(&mut self) {
        self.add("</g>");
    }

    pub(super) fn add(&mut self, markup: &str) {
        self.body.push_str(markup);
    }
}

/// A number in as few digits as the eye needs.
pub(crate) fn number(value: f64) -> String {
    let text = format!("{:.2}", if value.is_finite() { value } else { 0.0 });
    let short = text.trim_end_matches('0').trim_end_matches('.');
    if short == "-0" { "0".to_owned() } else { short.to_owned() }
}

/// Text as it may stand between tags and inside quotes; what XML cannot carry becomes a blank.
pub(crate) fn escape(words: &str) -> String {
    let mut out = String::with_capacity(words.len());
    for c in words.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\u{fffe}' | '\u{ffff}' => out.push(' '),
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

/// About how wide a text stands.
pub(crate) fn wide(words: &str, size: f64) -> f64 {
    count(words.chars().count()) * size * LETTER
}

/// A count as a length.
pub(crate) fn count(n: usize) -> f64 {
    u32::try_from(n).map_or(f64::from(u32::MAX), f64::from)
}

/// A text broken at blanks into lines of this width.
pub(crate) fn lines(words: &str, size: f64, width: f64) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    for word in words.split_whitespace() {
        match out.last_mut() {
            Some(line) if wide(line, size) + wide(word, size) + size * LETTER <= width => {
                line.push(' ');
                line.push_str(word);
            }
            Some(_) | None => out.push(word.to_owned()),
        }
    }
    out
}

/// A text cut to a width, with dots where something is missing.
pub(crate) fn fitted(words: &str, size: f64, width: f64) -> String {
    if wide(words, size) <= width {
        return words.to_owned();
    }
    let mut out = String::new();
    for c in words.chars() {
        if wide(&out, size) + 2.0 * size * LETTER > width {
            break;
        }
        out.push(c);
    }
    format!("{}…", out.trim_end())
}

/// A round step that gives a few marks over a range.
fn round_step(range: f64, marks: f64) -> f64 {
    let raw = (range / marks).max(1e-9);
    let power = 10f64.powf(raw.log10().floor());
    let share = raw / power;
    let factor = if share <= 1.0 {
        1.0
    } else if share <= 2.0 {
        2.0
    } else if share <= 5.0 {
        5.0
    } else {
        10.0
    };
    factor * power
}

/// A few round marks over a range; none over a range that is none.
pub(crate) fn round_marks(low: f64, high: f64, marks: f64) -> Vec<f64> {
    if !(low.is_finite() && high.is_finite() && low < high) {
        return Vec::new();
    }
    let step = round_step(high - low, marks);
    let first = (low / step).ceil() * step;
    // Twice as many as asked for is the most that rounding a step can give.
    (0..32u8).map(|k| first + f64::from(k) * step).take_while(|at| *at <= high).collect()
}

/// A whole number in groups of three.
pub(crate) fn grouped(value: f64) -> String {
    workup::words::grouped(value)
}
