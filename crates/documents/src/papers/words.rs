//! How papers say things: places, prices, dates, names, and the look-ups that all papers share.

use std::collections::{BTreeMap, BTreeSet};

use anatomy::{EngineLayout, Position, Scope};
use knowledge::limits::AppliesTo;
use knowledge::workshop::{Operation, Part, PerWhat, RepairOption};
use knowledge::{Knowledge, Reading};
use logbook::{EngineFigure, Figure, JobState};
use workup::{Case, Finding, OptionLine};

use super::JobPapers;
use super::sheet::Sheet;
use crate::pictures::drawing::grouped;
use crate::pictures::{Breadth, Mark, head_from_fire_side, mark_key, marks_of};

/// Everything a paper is written from, with look-ups.
#[derive(Debug)]
pub(crate) struct Desk<'a> {
    pub(crate) case: &'a Case,
    pub(crate) state: &'a JobState,
    pub(crate) knowledge: &'a Knowledge,
    pub(crate) layout: &'a EngineLayout,
    /// The date of issue.
    pub(crate) issued: &'a str,
    /// What the engine is known to be.
    pub(crate) attributes: BTreeMap<String, String>,
    /// The same as far as somebody stated it.
    pub(crate) stated: BTreeMap<String, String>,
}

impl<'a> Desk<'a> {
    /// The desk of a job.
    pub(crate) fn new(job: &'a JobPapers<'a>, layout: &'a EngineLayout) -> Self {
        let told = workup::told(job.state, job.knowledge);
        let attributes = workup::network::attributes(layout, &told, job.knowledge);
        let stated = workup::work::stated(job.state, layout, job.knowledge);
        Self {
            case: job.case,
            state: job.state,
            knowledge: job.knowledge,
            layout,
            issued: &job.issued,
            attributes,
            stated,
        }
    }

    /// What is known of one attribute of the engine.
    pub(crate) fn told(&self, name: &str) -> Option<&str> {
        self.attributes.get(name).map(String::as_str)
    }

    /// What somebody stated of one attribute of the engine.
    pub(crate) fn was_stated(&self, name: &str) -> Option<&str> {
        self.stated.get(name).map(String::as_str)
    }

    /// The chosen option, else the best one.
    pub(crate) fn option(&self) -> Option<&'a OptionLine> {
        let id = self.state.chosen.as_ref().map_or(self.case.advice.best.as_str(), |c| c.option.as_str());
        self.case.options.iter().find(|o| o.id == id)
    }

    /// What the knowledge says of an option.
    pub(crate) fn known_option(&self, id: &str) -> Option<&'a RepairOption> {
        workup::work::option(self.knowledge, id)
    }

    /// The name of an option.
    pub(crate) fn option_name(&self, id: &str) -> String {
        let line = self.case.options.iter().find(|o| o.id == id).map(|o| o.name.clone());
        let heads = self.state.layout.as_ref().map(|layout| layout.heads().len());
        let known = || self.known_option(id).map(|o| o.name_for(heads).to_owned());
        line.or_else(known).unwrap_or_else(|| plain(id))
    }

    /// The warranty of an option: as quoted for the way chosen, else what is usual.
    pub(crate) fn warranty(&self, option: &OptionLine) -> String {
        let chosen = self.state.chosen.as_ref().filter(|c| c.option == option.id);
        let quoted = chosen.and_then(|chosen| {
            let rests_on = |q: &&logbook::Fact<logbook::QuoteReceived>| {
                q.option.as_ref() == Some(&option.id)
                    && (chosen.quotes.is_empty() || chosen.quotes.contains(&q.in_entry))
            };
            self.state.quotes.iter().filter(rests_on).filter_map(|q| promised(q)).next_back()
        });
        quoted.unwrap_or_else(|| option.warranty.clone())
    }

    /// An operation by id.
    pub(crate) fn operation(&self, id: &str) -> Option<&'a Operation> {
        workup::work::operation(self.knowledge, id)
    }

    /// The operations that the job calls for as far as told.
    pub(crate) fn operations(&self, option: &str) -> Vec<&'a Operation> {
        workup::work::operations(self.state, self.knowledge, option)
    }

    /// A reading by its entry.
    pub(crate) fn finding(&self, entry: &str) -> Option<&'a Finding> {
        self.case.findings.iter().find(|f| f.entry == entry)
    }

    /// A part by id, with the id of its joint.
    pub(crate) fn part(&self, id: &str) -> Option<&'a Part> {
        self.knowledge.joints.iter().flat_map(|j| &j.value.parts).find(|p| p.id == id)
    }

    /// The name of a part as ordered: that of the knowledge, or the words of who ordered.
    pub(crate) fn part_name(&self, part: &str) -> String {
        self.part(part).map_or_else(|| capital(&plain(part)), |p| p.name.clone())
    }

    /// How many of a part, counted from the layout where that can be said, else in words.
    pub(crate) fn quantity(&self, part: &Part) -> String {
        let Some(count) = &part.count else { return part.quantity.clone() };
        let of = match count.of.as_str() {
            "engine" => 1,
            "heads" => self.layout.heads().len(),
            "banks" => self.layout.banks().len(),
            "cylinders" => usize::from(self.layout.cylinders()),
            "valves" => usize::from(self.layout.valves_per_cylinder()) * usize::from(self.layout.cylinders()),
            "intake-valves" => self.layout.positions(Scope::ValveIntake).len(),
            "exhaust-valves" => self.layout.positions(Scope::ValveExhaust).len(),
            "cams" => self.layout.cams().len(),
            _ => return part.quantity.clone(),
        };
        let all = (of * usize::try_from(count.times).unwrap_or(1)).to_string();
        // Cylinders are often opened one by one, and then only theirs are wanted.
        if count.of == "cylinders" && of > 1 {
            format!("{} for each cylinder opened, {all} for all", count.times)
        } else {
            all
        }
    }

    /// What has to be settled before it is sure that the engine has a part; empty where nothing has.
    pub(crate) fn to_be_settled(&self, applies: &[AppliesTo]) -> String {
        let open = AppliesTo::to_be_settled(applies, |name| self.was_stated(name));
        if open.is_empty() {
            return String::new();
        }
        let words: Vec<String> = open.into_iter().map(plain).collect();
        format!("to be settled: {} of this engine", words.join(", "))
    }

    /// Whether a part belongs to this engine as far as anybody told.
    pub(crate) fn has_part(&self, part: &Part) -> bool {
        !AppliesTo::spoken_against(&part.applies, |name| self.was_stated(name))
    }

    /// How often an operation is counted on this engine, and what it is counted by.
    pub(crate) fn counted(&self, per: PerWhat) -> String {
        let l = self.layout;
        let heads = l.heads().len();
        match per {
            PerWhat::Engine | PerWhat::Set => "once".to_owned(),
            PerWhat::Head => many(heads, "head", "heads"),
            PerWhat::Deck => many(heads, "deck face", "deck faces"),
            PerWhat::Cylinder => format!("each cylinder, as needed (of {})", l.cylinders()),
            PerWhat::Rod => format!("each rod, as needed (of {})", l.cylinders()),
            PerWhat::Valve => {
                many(usize::from(l.valves_per_cylinder()) * usize::from(l.cylinders()), "valve", "valves")
            }
            PerWhat::ExhaustValve => many(l.positions(Scope::ValveExhaust).len(), "exhaust valve", "exhaust valves"),
            PerWhat::Cam => many(l.cams().len(), "camshaft", "camshafts"),
            PerWhat::HeadOrBlock => "each head, or the block".to_owned(),
            PerWhat::Face => "each face".to_owned(),
            PerWhat::Hole => "each hole".to_owned(),
            PerWhat::Stud => "each stud".to_owned(),
            PerWhat::Crack => "each crack".to_owned(),
            PerWhat::Turbo => "each turbocharger".to_owned(),
        }
    }

    /// The price of an option now, low to high.
    pub(crate) fn price(&self, option: &OptionLine) -> String {
        match &option.money {
            Some(m) if m.price[1] - m.price[0] < 0.5 => format!("{}\u{a0}{}", m.currency, grouped(m.price[0])),
            Some(m) => format!("{}\u{a0}{} to {}", m.currency, grouped(m.price[0]), grouped(m.price[1])),
            None => format!("{:.1} to {:.1} labour units", option.price[0], option.price[1]),
        }
    }

    /// The as-found readings.
    pub(crate) fn as_found(&self) -> Vec<&'a Finding> {
        self.case.findings.iter().filter(|f| !f.after_repair).collect()
    }

    /// A reading of the knowledge.
    pub(crate) fn reading(&self, finding: &Finding) -> Option<&'a Reading> {
        self.knowledge.reading(&finding.check, &finding.reading)
    }

    /// The readings whose gauge is doubted, by entry.
    pub(crate) fn again(&self) -> BTreeSet<String> {
        let doubted = self.state.readings.iter().filter(|r| r.gauge_doubted_by.is_some());
        doubted.map(|r| r.entry.to_string()).collect()
    }

    /// The mark of a finding.
    pub(crate) fn mark(&self, finding: &Finding) -> Mark {
        if self.again().contains(&finding.entry) { Mark::Again } else { Mark::of(finding.verdict) }
    }

    /// Draws the heads with the marks of some findings, and the key; small heads stand side by side.
    pub(crate) fn heads(&self, sheet: &mut Sheet, findings: &[&'a Finding]) {
        let marks = marks_of(findings.iter().copied(), &self.again());
        let heads = self.layout.heads();
        let beside = heads.len() > 1 && heads.iter().all(|h| h.cylinders.len() <= 2);
        let (mut row, mut column) = (Vec::new(), Vec::new());
        for head in &heads {
            let position = match (head.cylinders.as_slice(), heads.len() > self.layout.banks().len()) {
                ([one, ..], true) => Position::Cylinder(*one),
                _ => Position::Bank(head.bank),
            };
            let svg = head_from_fire_side(self.layout, &position, &marks, &BTreeMap::new(), Breadth::Sheet);
            let alt = described(&svg);
            // A head of few cylinders would otherwise be drawn as large as one of many.
            let width = match head.cylinders.len() {
                0 | 1 => 0.42,
                2 => 0.58,
                3 => 0.78,
                _ => 1.0,
            };
            if beside {
                row.push((capital(&self.layout.label(&position)), sheet.picture(svg, alt, 1.0)));
            } else {
                column.push(sheet.picture(svg, alt, width));
            }
        }
        sheet.row(row);
        let key = mark_key();
        let alt = described(&key);
        column.push(sheet.picture(key, alt, 0.82));
        sheet.pictures(column);
    }

    /// The engine's own figures for any of some items, at a place if they are for one.
    pub(crate) fn own_figures(&self, items: &[String], at: Option<Position>) -> Vec<&'a EngineFigure> {
        let fits = |f: &EngineFigure| items.contains(&f.item) && f.at.is_none_or(|p| at.is_none_or(|a| a == p));
        self.state.sheet.iter().map(|f| &f.body).filter(|f| fits(f)).collect()
    }

    /// A caution's words and whether it holds the work.
    pub(crate) fn caution(&self, id: &str) -> Option<(&'a str, bool)> {
        self.knowledge.cautions.iter().find(|c| c.id == id).map(|c| (c.value.text.as_str(), c.value.hold))
    }

    /// Writes the cautions of a piece of work that concern this engine.
    pub(crate) fn cautions(&self, sheet: &mut Sheet, ids: &[String]) {
        for id in self.knowledge.cautions_for(ids, |name| self.told(name)) {
            if let Some((text, hold)) = self.caution(&id) {
                sheet.caution(text, hold);
            }
        }
    }

    /// The vehicle in a few words.
    pub(crate) fn vehicle(&self) -> String {
        let v = &self.state.vehicle;
        let mut parts: Vec<String> = [&v.make, &v.model].into_iter().flatten().cloned().collect();
        parts.extend(v.year.map(|y| y.to_string()));
        let mut out = parts.join(" ");
        if let Some(plate) = &v.plate {
            out = format!("{out}, plate {plate}");
        }
        if let Some(odometer) = &v.odometer {
            out = format!("{out}, odometer {}", figure(odometer));
        }
        out.trim_start_matches(", ").to_owned()
    }

    /// Whether a place is the one bank there is, which needs no name.
    fn only_bank(&self, at: &Position) -> bool {
        matches!(at, Position::Bank(_)) && self.layout.banks().len() < 2
    }

    /// Where something of that name is; on an engine of one bank the name says which piece it is.
    pub(crate) fn place(&self, at: &Position, name: &str) -> String {
        if self.only_bank(at) { piece(name).to_owned() } else { self.layout.label(at) }
    }

    /// Where a reading was taken.
    pub(crate) fn place_of(&self, finding: &Finding) -> String {
        self.place(&finding.position, &finding.check_name)
    }

    /// A place as an addition after a comma, where it says anything.
    pub(crate) fn also_at(&self, at: Option<Position>) -> String {
        match at.filter(|p| *p != Position::Engine && !self.only_bank(p)) {
            Some(place) => format!(", {}", self.layout.label(&place)),
            None => String::new(),
        }
    }

    /// The engine's make, number and layout.
    pub(crate) fn engine_identity(&self) -> String {
        let engine = self.state.engine.as_ref();
        let parts = engine.map(|e| {
            [e.maker.clone(), e.family.clone(), e.number.as_ref().map(|n| format!("number {n}"))]
                .into_iter()
                .flatten()
                .collect::<Vec<_>>()
                .join(", ")
        });
        match parts {
            Some(words) if !words.is_empty() => format!("{words}; {}", self.case.engine),
            Some(_) | None => self.case.engine.clone(),
        }
    }
}

/// The piece of the one bank that a check or an operation is done to, as its name has it.
fn piece(name: &str) -> &'static str {
    let name = name.to_lowercase();
    match (name.contains("head"), name.contains("block") || name.contains("deck")) {
        (true, true) => "head and block",
        (false, true) => "block",
        (false, false) if name.contains("gasket") => "head gasket",
        (_, false) => "head",
    }
}

/// A figure of the engine's own sheet with where it is written.
pub(crate) fn own(figure: &EngineFigure) -> String {
    use logbook::Bound;
    let what = match figure.bound {
        Bound::Max => format!("at most {} {}", figure.text, figure.unit),
        Bound::Min => format!("at least {} {}", figure.text, figure.unit),
        Bound::Nominal => format!("{} {}", figure.text, figure.unit),
        Bound::Range => {
            format!("{} to {} {}", figure.text, figure.text_high.as_deref().unwrap_or("?"), figure.unit)
        }
    };
    let note = figure.note.as_ref().map(|n| format!(", {n}")).unwrap_or_default();
    let part = match figure.stands_for() {
        logbook::FigureFor::Service => "in service",
        logbook::FigureFor::New => "new",
        logbook::FigureFor::Assembly => "when assembling",
    };
    format!("{what} {part}{note} ({}, page {})", figure.document, figure.page)
}

/// A figure with its unit.
pub(crate) fn figure(f: &Figure) -> String {
    if f.unit.is_empty() { f.text.clone() } else { format!("{} {}", f.text, f.unit) }
}

/// The words of a picture: what stands in its `desc`.
pub(crate) fn described(svg: &str) -> String {
    let inner = |tag: &str| -> Option<&str> {
        let from = svg.find(&format!("<{tag}>"))? + tag.len() + 2;
        let to = svg.find(&format!("</{tag}>"))?;
        svg.get(from..to)
    };
    let words = [inner("title"), inner("desc")].into_iter().flatten().collect::<Vec<_>>().join(". ");
    words.replace("&lt;", "<").replace("&gt;", ">").replace("&quot;", "\"").replace("&#39;", "'").replace("&amp;", "&")
}

/// What a quote promises as warranty: its words, with the months where they do not name them.
pub(crate) fn promised(quote: &logbook::QuoteReceived) -> Option<String> {
    let months = quote.warranty_months.map(|m| if m == 1 { "1 month".to_owned() } else { format!("{m} months") });
    match (months, quote.warranty.clone()) {
        (Some(months), Some(words)) if !words.contains(&months) => Some(format!("{months}; {words}")),
        (_, Some(words)) => Some(words),
        (months, None) => months,
    }
}

/// Days until it is ready.
pub(crate) fn days(days: [f64; 2]) -> String {
    if days[1] < 0.5 {
        "none".to_owned()
    } else if days[0] >= days[1] {
        format!("{:.0}", days[1])
    } else {
        format!("{:.0} to {:.0}", days[0], days[1])
    }
}

/// The last eight characters.
pub(crate) fn tail(text: &str) -> String {
    let skip = text.chars().count().saturating_sub(8);
    text.chars().skip(skip).collect()
}

/// An id as people write it.
pub(crate) fn plain(id: &str) -> String {
    id.replace(['-', '_'], " ")
}

/// The first letter small.
pub(crate) fn lower(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_lowercase().chain(letters).collect())
}

/// The first letter large.
pub(crate) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// One or many.
pub(crate) fn many(n: usize, one: &str, more: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { more })
}

/// A moment to the minute, in universal time.
pub(crate) fn minute(at: &jiff::Timestamp) -> String {
    at.strftime("%Y-%m-%d %H:%M").to_string()
}

/// The day of a moment, as year, month and day.
pub(crate) fn day(at: &impl std::fmt::Display) -> String {
    at.to_string().chars().take(10).collect()
}
